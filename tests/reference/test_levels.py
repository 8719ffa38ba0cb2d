"""The dispatched kernels have the same bits at every x86-64 level, each built for itself."""

import platform
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from farhear import _core

ROOT = Path(__file__).resolve().parents[2]
# The flags of CMakeLists.txt that bear on arithmetic.
FLAGS = ["-std=c++20", "-O3", "-ffp-contract=off", "-fno-math-errno", "-fno-trapping-math"]
# Features that tell the levels apart (x86-64 psABI, table of micro-architecture levels), as
# /proc/cpuinfo spells them.
NEEDS = {
    "x86-64": set(),
    "x86-64-v2": {"sse4_1", "sse4_2", "ssse3", "popcnt"},
    "x86-64-v3": {"avx", "avx2", "bmi1", "bmi2", "f16c", "fma", "movbe"},
    "x86-64-v4": {"avx2", "fma", "avx512f", "avx512bw", "avx512cd", "avx512dq", "avx512vl"},
}


def processor_flags():
    """Features of this processor; empty where they cannot be read."""
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        return set()
    return set(next((line for line in lines if line.startswith("flags")), "").split())


def build(folder, name, source, *options):
    """Compile one source of the core with its driver; the program's path."""
    compiler = shutil.which("g++")
    if platform.machine() != "x86_64" or compiler is None:
        pytest.skip("needs g++ on x86-64")
    sources = [ROOT / f"cpp/src/{source}.cpp", ROOT / f"cpp/tests/levels_{name}.cpp"]
    program = folder / f"levels_{name}"
    command = [compiler, *FLAGS, *options, f"-I{ROOT / 'cpp/include'}", *sources, "-o", program]
    subprocess.run(command, check=True, timeout=300)
    return program


def build_level(folder, name, source, level):
    """Build without dispatch for one level; skip where this processor lacks it."""
    if missing := NEEDS[level] - processor_flags():
        pytest.skip(f"this processor lacks {level}: {', '.join(sorted(missing))}")
    return build(folder, name, source, f"-march={level}", "-DFARHEAR_NO_CLONES")


def answer(program, columns):
    """What the program makes of the columns, as numbers."""
    raw = np.concatenate(columns).tobytes()
    reply = subprocess.run([program], input=raw, check=True, capture_output=True, timeout=60)
    return np.frombuffer(reply.stdout)


@pytest.mark.parametrize("level", NEEDS)
def test_sun(level, tmp_path):
    rng = np.random.default_rng(11)
    n = 100_003  # no multiple of a vector length
    columns = [rng.uniform(-2.2e9, 4.1e9, n), rng.uniform(-90, 90, n), rng.uniform(-180, 360, n)]
    columns[1][:4] = [90.0, -90.0, 0.0, np.nan]
    there = answer(build_level(tmp_path, "sun", "sun", level), columns).reshape(2, n)
    for ours, theirs in zip(_core.sun.position(*columns), there, strict=True):
        known = ~np.isnan(ours)
        np.testing.assert_array_equal(known, ~np.isnan(theirs))
        np.testing.assert_array_equal(ours[known].view(np.int64), theirs[known].view(np.int64))


@pytest.fixture(scope="module")
def maps_dispatched(tmp_path_factory):
    """Places, and the product that this processor is dispatched to."""
    rng = np.random.default_rng(12)
    n = 1_003  # no multiple of a block
    columns = [rng.uniform(-90, 90, n), rng.uniform(-180, 360, n), rng.uniform(-85, 85, n)]
    program = build(tmp_path_factory.mktemp("maps"), "maps", "map_terms")
    return columns, answer(program, columns)


@pytest.mark.parametrize("level", NEEDS)
def test_maps(level, tmp_path, maps_dispatched):
    columns, dispatched = maps_dispatched
    alone = answer(build_level(tmp_path, "maps", "map_terms", level), columns)
    assert np.ptp(alone) > 0.0
    np.testing.assert_array_equal(alone.view(np.int64), dispatched.view(np.int64))


@pytest.fixture(scope="module")
def rays_dispatched(tmp_path_factory):
    """Layers and hops, and the rays of the kernel that this processor is dispatched to."""
    rng = np.random.default_rng(13)
    n = 1_003
    foe = rng.uniform(0.3, 4.0, n)
    fof2, hmf2 = foe * rng.uniform(1.3, 6.0, n), rng.uniform(200, 450, n)
    fof1 = foe + (fof2 - foe) * rng.uniform(0.05, 0.8, n)
    hmf1 = 110 + (hmf2 - 110) * rng.uniform(0.3, 0.6, n)
    columns = [foe, np.full(n, 110.0), np.full(n, 20.0), fof1, hmf1, 0.6 * (hmf1 - 110)]
    columns += [fof2, hmf2, rng.uniform(40, 140, n), rng.uniform(50, 4000, n)]
    program = build(tmp_path_factory.mktemp("rays"), "rays", "rays")
    return columns, answer(program, columns)


@pytest.mark.parametrize("level", NEEDS)
def test_rays(level, tmp_path, rays_dispatched):
    columns, dispatched = rays_dispatched
    assert dispatched.size == 1_003 * (3 * (4 * 9 + 2 + 8) + 3)
    alone = answer(build_level(tmp_path, "rays", "rays", level), columns)
    np.testing.assert_array_equal(alone.view(np.int64), dispatched.view(np.int64))

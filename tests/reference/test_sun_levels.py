"""The sun has the same bits at every x86-64 level: each is built for itself, without dispatch."""

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


@pytest.mark.parametrize("level", NEEDS)
def test_bits_of_each_level(level, tmp_path):
    compiler = shutil.which("g++")
    if platform.machine() != "x86_64" or compiler is None:
        pytest.skip("needs g++ on x86-64")
    if missing := NEEDS[level] - processor_flags():
        pytest.skip(f"this processor lacks {level}: {', '.join(sorted(missing))}")
    program = tmp_path / "levels_sun"
    sources = [ROOT / "cpp/src/sun.cpp", ROOT / "cpp/tests/levels_sun.cpp"]
    include = f"-I{ROOT / 'cpp/include'}"
    options = [*FLAGS, f"-march={level}", "-DFARHEAR_NO_CLONES", include]
    subprocess.run([compiler, *options, *sources, "-o", program], check=True, timeout=300)
    rng = np.random.default_rng(11)
    n = 100_003  # no multiple of a vector length
    columns = [rng.uniform(-2.2e9, 4.1e9, n), rng.uniform(-90, 90, n), rng.uniform(-180, 360, n)]
    columns[1][:4] = [90.0, -90.0, 0.0, np.nan]
    raw = np.concatenate(columns).tobytes()
    reply = subprocess.run([program], input=raw, check=True, capture_output=True, timeout=60)
    there = np.frombuffer(reply.stdout).reshape(2, n)
    for ours, theirs in zip(_core.sun.position(*columns), there, strict=True):
        known = ~np.isnan(ours)
        np.testing.assert_array_equal(known, ~np.isnan(theirs))
        np.testing.assert_array_equal(ours[known].view(np.int64), theirs[known].view(np.int64))

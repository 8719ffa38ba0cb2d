"""What the kernels cost and how far they are from the machine's limits, by counting.

Run by ``bash tests/nightly.sh roofline`` with a build that keeps its symbols (one instruction
level, so that the count and the clock see the same code); needs valgrind and g++.

Instructions come from valgrind's callgrind. "Elementary" is the share of them that callgrind puts
into our elementary functions (vector_math.hpp, inlined) and the C library's. Bytes are what goes in
and out of an evaluation once. The two limits are measured in the same run: instructions a
nanosecond of a loop of independent vector sums and products, and bytes a nanosecond of a copy of
64 MB. "Limit" is the larger of the two shares: 1 would be a kernel that cannot be faster without
doing less.
"""

import os
import re
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import numpy as np

SMALL = 20_000  # evaluations under callgrind, which takes fifty times as long
LARGE = 1_000_000
SEED = "rng = np.random.default_rng(1)\n"
PLACES = "lat, lon, lat2, lon2 = (rng.uniform(-80, 80, n) for _ in range(4))\n"
INSTANTS = "t = rng.uniform(9.5e8, 1.8e9, n)\n"
KERNELS = {
    # name: what comes before, the call, evaluations of n, bytes of one, functions counted
    "zone, to local": (
        "from farhear import _core, clock\nz = clock._get_zone('Europe/Tallinn')\n" + INSTANTS,
        "z.to_local(t)", "n", 16, "*Zone::to_local*",
    ),
    "sun, position": (
        "from farhear import _core\n" + PLACES + INSTANTS,
        "_core.sun.position(t, lat, lon)", "n", 40, "farhear::sun::position*",
    ),
    "sphere, distance and bearings": (
        "from farhear import _core\n" + PLACES,
        "_core.path.sphere(lat, lon, lat2, lon2)", "n", 56, "farhear::path::sphere*",
    ),
    "ellipsoid, inverse": (
        "from farhear import _core\n" + PLACES,
        "_core.path.inverse(lat, lon, lat2, lon2)", "n", 56, "farhear::path::inverse*",
    ),
    "maps, foF2 and M(3000)F2": (
        "from farhear import _core\nfrom farhear._core_models import maps\nm = maps()\n"
        + PLACES + "k = n // 24\nlat, lon, lat2 = lat[:k].copy(), lon[:k].copy(), lat2[:k].copy()\n"
        "hours, index = np.arange(24.0), np.full(24, 60.0)\n",
        "_core.ionosphere.product(m, lat, lon, lat2, [3] * 24, hours, index)",
        "n // 24 * 24", 17, "farhear::ionosphere::product*",
    ),
    "ray, traced": (
        "from farhear import _core\n"
        "f = lambda *v: np.full(n, float(v[0])) if len(v) == 1 else rng.uniform(*v, n)\n"
        "layers = [f(1, 3), f(110), f(20), f(0), f(180), f(40), f(5, 9), f(220, 400), f(60, 90)]\n"
        "freq, el = f(4, 20), f(3, 70)\n",
        "_core.rays.trace(layers, freq, el)", "n", 112, "farhear::rays::trace*",
    ),
    "likelihood, 24 frequencies of a site": (
        "import farhear as fh\nfrom farhear.times import UtcTimes\nk = n // 1000\n"
        "t = UtcTimes(1.73e9 + 4000.0 * np.arange(k))\n"
        "freq = np.linspace(5900, 17900, 24)[:, None]\n"
        "args = (45.0, 25.0, 58.4, 26.7, freq, t)\n"
        "more = dict(power_kw=250.0, f107_sfu=180.0, tx_gain_dbi=17.0, brief=True)\n",
        "fh.reception.likelihood(*args, **more)",
        "24 * k", 120, "farhear::reception::likelihood*",
    ),
}  # fmt: skip
PEAK = r"""
#include <cstdio>
#include <ctime>
using V [[gnu::vector_size(32)]] = double;
int main() {
    const V a = V{} + 1e-3, b = V{} + 1.0000000001;
    V s0 = a, s1 = a, s2 = a, s3 = a, s4 = a, s5 = a;
    V p0 = b, p1 = b, p2 = b, p3 = b, p4 = b, p5 = b;
    double best = 0.0;
    for (int run = 0; run < 5; ++run) {
        const std::clock_t begin = std::clock();
        constexpr long kRounds = 30'000'000;
        for (long n = 0; n < kRounds; ++n) {
            s0 += a, s1 += a, s2 += a, s3 += a, s4 += a, s5 += a;
            p0 *= b, p1 *= b, p2 *= b, p3 *= b, p4 *= b, p5 *= b;
            asm volatile("" : "+x"(s0), "+x"(s1), "+x"(s2), "+x"(s3), "+x"(s4), "+x"(s5),
                         "+x"(p0), "+x"(p1), "+x"(p2), "+x"(p3), "+x"(p4), "+x"(p5));
        }
        const double took_ns = 1e9 * double(std::clock() - begin) / CLOCKS_PER_SEC;
        best = std::max(best, 14.0 * kRounds / took_ns);  // and two of the loop itself
    }
    std::printf("%g\n", best);
}
"""


def peak_instructions_per_ns() -> float:
    """Independent vector sums and products a nanosecond."""
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "peak.cpp"
        source.write_text("#include <algorithm>\n" + PEAK, encoding="utf-8")
        program = Path(folder) / "peak"
        flags = ["-O3", "-mavx2", "-ffp-contract=off"]
        subprocess.run(["g++", *flags, source, "-o", program], check=True)
        return float(subprocess.run([program], check=True, capture_output=True).stdout)


def peak_bytes_per_ns() -> float:
    """Of a copy: read and written."""
    source = np.ones(8_000_000)
    target = np.empty_like(source)
    took = []
    for _ in range(5):
        start = time.process_time()
        np.copyto(target, source)
        took.append(time.process_time() - start)
    return 2 * source.nbytes / min(took) / 1e9


def script(name: str, n: int, runs: int) -> str:
    """Program that runs a kernel and prints evaluations and the best time of one call."""
    before, call, count, _, _ = KERNELS[name]
    return (
        f"import time\nimport numpy as np\nn = {n}\n{SEED}{before}\ntook = []\n"
        f"for _ in range({runs}):\n    start = time.process_time()\n    {call}\n"
        f"    took.append(time.process_time() - start)\nprint({count}, min(took))\n"
    )


def run(command: list[str], text: str) -> tuple[int, float]:
    """Evaluations and seconds that a program prints."""
    environment = os.environ | {"OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run(
        [*command, sys.executable, "-c", text], check=True, capture_output=True, env=environment
    )
    count, seconds = done.stdout.split()
    return int(count), float(seconds)


def counted(name: str) -> tuple[float, float]:
    """Instructions of an evaluation and the share of elementary functions in them."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "out"
        tool = ["valgrind", "--tool=callgrind", f"--callgrind-out-file={out}"]
        tool.append(f"--toggle-collect={KERNELS[name][4]}")
        n, _ = run(tool, script(name, SMALL, 1))
        by_place = Counter(self_costs(out.read_text(encoding="utf-8")))
    elementary = sum(
        cost
        for (file, object_), cost in by_place.items()
        if "vector_math" in file or "libm" in object_
    )
    total = sum(by_place.values())
    return total / n, elementary / total


def self_costs(text: str) -> dict[tuple[str, str], int]:
    """Instructions by source file and by library, from callgrind's file format."""
    names: dict[tuple[str, str], str] = {}
    out: dict[tuple[str, str], int] = {}
    now = {"ob": "", "fl": ""}
    called = False
    for line in text.splitlines():
        found = re.match(r"(ob|fl|fi|fe)=(\(\d+\))(?: (.*))?$", line)
        if found:
            kind, number, name = found.groups()
            key = "ob" if kind == "ob" else "fl"
            if name:
                names[key, number] = name
            now[key] = names[key, number]
        elif line.startswith(("cfi=", "cfl=", "cob=")):
            found = re.match(r"c(ob|f[il])=(\(\d+\))(?: (.*))?$", line)
            if found and found.group(3):
                names["ob" if found.group(1) == "ob" else "fl", found.group(2)] = found.group(3)
        elif line.startswith("calls="):
            called = True
        elif re.match(r"[+*\-\d]", line):
            if not called:
                place = (now["fl"], now["ob"])
                out[place] = out.get(place, 0) + int(line.split()[1])
            called = False
    return out


def main() -> None:
    """Print the table."""
    instructions_peak, bytes_peak = peak_instructions_per_ns(), peak_bytes_per_ns()
    print(f"limits: {instructions_peak:.1f} instructions/ns, {bytes_peak:.1f} bytes/ns")
    print(f"{'kernel':38s} {'ns':>8s} {'instr.':>8s} {'element.':>8s} {'bytes':>6s} {'limit':>6s}")
    for name, (_, _, _, size, _) in KERNELS.items():
        n, seconds = run([], script(name, LARGE, 7))
        instructions, elementary = counted(name)
        ns = seconds / n * 1e9
        share = max(instructions / ns / instructions_peak, size / ns / bytes_peak)
        print(
            f"{name:38s} {ns:8.4g} {instructions:8.5g} {elementary:8.0%} {size:6d} {share:6.0%}",
            flush=True,
        )


if __name__ == "__main__":
    main()

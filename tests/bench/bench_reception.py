"""Speed of the likelihood, and of two threads: ``python tests/bench/bench_reception.py``.

No peer from outside: nothing general computes this. The rate itself is the figure; for scale it is
set against numpy evaluating one log-normal noise sum (two sources) as often. Many frequencies of
one pair of ends share the ionosphere, so they are shown beside a single one.
"""

import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from _timing import QUICK, best_s, row, size

import farhear as fh
from farhear.reception import likelihood

HOURS = 24 * (2 if QUICK else 120)


class TimeLikelihood:
    """40 circuits of 500 to 15,000 km at every hour of four months."""

    def setup(self) -> None:
        begin = np.datetime64("2024-11-01T00:30")
        self.utc = fh.utc(begin + np.arange(HOURS).astype("timedelta64[h]"), naive_is_utc=True)
        self.lat = np.linspace(-30.0, 50.0, 40)[:, None]
        self.lon = np.linspace(-120.0, 120.0, 40)[:, None]
        self.run(slice(0, 1))  # reads the maps and coastlines

    def run(self, part: slice, long_path: str = "both", engine: str = "rays") -> None:
        likelihood(
            self.lat[part],
            self.lon[part],
            58.4,
            26.7,
            9600.0,
            self.utc,
            power_kw=100.0,
            f107_sfu=150.0,
            long_path=long_path,
            engine=engine,
        )

    def time_bands(self, long_path: str) -> None:
        """Twelve frequencies from one site 1500 km away."""
        likelihood(
            45.0,
            25.0,
            58.4,
            26.7,
            np.linspace(5000.0, 22000.0, 12)[:, None],
            self.utc,
            power_kw=100.0,
            f107_sfu=150.0,
            long_path=long_path,
        )

    def time_mirror(self) -> None:
        self.run(slice(None), "short", "mirror")

    def time_short(self) -> None:
        self.run(slice(None), "short")

    def time_both(self) -> None:
        self.run(slice(None))

    def time_two_threads(self) -> None:
        with ThreadPoolExecutor(2) as pool:
            list(pool.map(self.run, [slice(0, None, 2), slice(1, None, 2)]))


def numpy_noise_sum(n: int) -> float:
    """Processor seconds per element of the same moment matching of two sources in numpy."""
    fa = np.linspace(20.0, 60.0, n)
    c = 10 / np.log(10)

    def call() -> object:
        out = []
        for deciles in ((10.6, 2.0), (5.3, 2.0)):
            mean = variance = 0.0
            for source, decile in zip((fa, fa - 15.0), deciles, strict=True):
                sigma = decile / 1.2816 / c
                power = np.exp(source / c + sigma**2 / 2)
                mean, variance = mean + power, variance + power**2 * np.expm1(sigma**2)
            total = np.log1p(variance / mean**2)
            out.append((c * (np.log(mean) - total / 2), c * np.sqrt(total)))
        return out

    return best_s(call) / n


def main() -> None:
    case = TimeLikelihood()
    case.setup()
    n = 40 * HOURS
    peer = numpy_noise_sum(size(1_000_000))
    print(f"40 circuits x {HOURS} hours, one core, processor time, best of some runs")
    row("numpy, the noise sum alone", peer, 1)
    for name, call in (("short path", case.time_short), ("both paths", case.time_both)):
        each = best_s(call) / n
        row(f"likelihood, {name}", each, 1)
        print(f"{'':52s} as much as {each / peer:.0f} numpy noise sums")
    row("the same by mirrors, short path", best_s(case.time_mirror) / n, 1)
    for long_path in ("short", "both"):
        each = best_s(lambda way=long_path: case.time_bands(way)) / (12 * HOURS)
        row(f"12 frequencies of one site, {long_path}", each, 1)
    one = best_s(case.time_both, clock=time.perf_counter)
    two = best_s(case.time_two_threads, clock=time.perf_counter)
    print(f"two threads: {one / two:.2f} x one (wall time)")


if __name__ == "__main__":
    main()

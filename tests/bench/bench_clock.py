"""Zone conversion against pandas in the same run: `python tests/bench/bench_clock.py`.

Methods named time_* are read by asv; main() prints nanoseconds per instant and the ratio.
"""

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
from _timing import best_s, size

import farhear as fh
from farhear import clock

COUNT = size(1_000_000)
ZONES = ("Europe/London", "America/Denver")
KINDS = ("core_to_local", "to_local", "pandas_to_local", "to_utc", "pandas_to_utc")
FIRST_S, END_S = 946684800, 1893456000  # 2000-01-01 to 2030-01-01


def instants(order: str) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Whole seconds 2000-2029, seed 3."""
    t = np.sort(np.random.default_rng(3).integers(FIRST_S, END_S, COUNT)).astype(np.float64)
    if order == "shuffled":
        np.random.default_rng(4).shuffle(t)
    return t


class TimeClock:
    """One zone and one order at a time."""

    params = (ZONES, ("sorted", "shuffled"))
    param_names = ("zone", "order")

    def setup(self, zone: str, order: str) -> None:
        self.unix_s = instants(order)
        self.utc = fh.UtcTimes(self.unix_s)
        self.index = pd.DatetimeIndex(self.utc.datetime64.astype("datetime64[s]"), tz="UTC")
        self.core = clock._zone(zone)
        self.wall = clock.to_local(self.utc, zone)
        self.wall_s = self.wall.astype(np.int64).astype(np.float64)
        self.naive = pd.DatetimeIndex(self.wall)
        self.once = np.ones(COUNT, dtype=bool)

    def time_core_to_local(self, zone: str, order: str) -> None:
        self.core.to_local(self.unix_s)

    def time_to_local(self, zone: str, order: str) -> None:
        clock.to_local(self.utc, zone)

    def time_pandas_to_local(self, zone: str, order: str) -> None:
        self.index.tz_convert(zone).tz_localize(None).to_numpy()

    def time_to_utc(self, zone: str, order: str) -> None:
        clock.to_utc(self.wall, zone, ambiguous="earlier")

    def time_pandas_to_utc(self, zone: str, order: str) -> None:
        # True = summer time = the earlier of two readings in these zones
        self.naive.tz_localize(zone, ambiguous=self.once).tz_convert("UTC")


def best_ns(call: Callable[[], object], repeats: int = 9) -> float:
    """Best of several runs, per instant. [ns]"""
    return best_s(call, repeats) / COUNT * 1e9


def main() -> None:
    print(f"{COUNT} instants 2000-2029, {clock.tzdata_edition()}, ns per instant, best of 9")
    bench = TimeClock()
    for zone in ZONES:
        for order in ("sorted", "shuffled"):
            bench.setup(zone, order)
            pandas_wall = bench.index.tz_convert(zone).tz_localize(None).to_numpy()
            assert np.array_equal(pandas_wall, bench.wall)
            row = {
                name: best_ns(partial(getattr(bench, f"time_{name}"), zone, order))
                for name in KINDS
            }
            print(
                f"{zone:16} {order:9}"
                f" to_local: core {row['core_to_local']:5.2f}, face {row['to_local']:5.2f},"
                f" pandas {row['pandas_to_local']:6.1f}"
                f" = {row['pandas_to_local'] / row['to_local']:5.1f}x;"
                f" to_utc: face {row['to_utc']:5.2f}, pandas {row['pandas_to_utc']:6.1f}"
                f" = {row['pandas_to_utc'] / row['to_utc']:5.1f}x"
            )


if __name__ == "__main__":
    main()

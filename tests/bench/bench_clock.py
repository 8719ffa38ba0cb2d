"""Zone conversion against pandas in the same run: `python tests/bench/bench_clock.py`.

Methods named time_* are read by asv.
"""

from functools import partial
from typing import Any

import numpy as np
import pandas as pd
from _timing import best_s, row, size

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


def main() -> None:
    print(f"{COUNT} instants 2000-2029, {clock.tzdata_edition()}, best of 9")
    bench = TimeClock()
    for zone in ZONES:
        for order in ("sorted", "shuffled"):
            bench.setup(zone, order)
            pandas_wall = bench.index.tz_convert(zone).tz_localize(None).to_numpy()
            assert np.array_equal(pandas_wall, bench.wall)
            took = {
                name: best_s(partial(getattr(bench, f"time_{name}"), zone, order), 9)
                for name in KINDS
            }
            local, utc = (took[f"pandas_{way}"] / COUNT for way in ("to_local", "to_utc"))
            where = f"{zone}, {order}"
            row(f"{where}: to local, core", took["core_to_local"], COUNT, "pandas", local)
            asked = 10.0 if order == "sorted" else 18.0
            row(f"{where}: to local", took["to_local"], COUNT, "pandas", local, asked=asked)
            row(f"{where}: to UTC", took["to_utc"], COUNT, "pandas", utc)


if __name__ == "__main__":
    main()

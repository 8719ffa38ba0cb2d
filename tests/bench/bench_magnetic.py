"""Speed of the magnetic field against ppigrf: ``python tests/bench/bench_magnetic.py``."""

import datetime as dt

import numpy as np
import ppigrf
from _timing import best_s, row, size

from farhear import magnetic

N, N_PEER = size(100_000), size(10_000)


class TimeField:
    """Random places at 300 km, one date."""

    def setup(self) -> None:
        rng = np.random.default_rng(14)
        self.lat = np.degrees(np.arcsin(rng.uniform(-1.0, 1.0, N)))
        self.lon = rng.uniform(-180.0, 180.0, N)

    def time_components(self) -> None:
        magnetic.components(self.lat, self.lon, 300.0, 2025.0)

    def time_field(self) -> None:
        magnetic.field(self.lat, self.lon, 300.0, 2025.0)

    def time_ppigrf(self) -> None:
        date = dt.datetime(2025, 1, 1)  # noqa: DTZ001 (ppigrf takes naive dates)
        ppigrf.igrf(self.lon[:N_PEER], self.lat[:N_PEER], 300.0, date)


def main() -> None:
    case = TimeField()
    case.setup()
    peer = best_s(case.time_ppigrf, 2) / N_PEER
    row("ppigrf, three components", peer, 1)
    row("components", best_s(case.time_components), N, "ppigrf", peer)
    row("dip, modip and gyrofrequency too", best_s(case.time_field), N, "ppigrf", peer)


if __name__ == "__main__":
    main()

"""Speed of antenna tables: ``python tests/bench/bench_antenna.py``.

No peer from outside: for scale, numpy evaluating the plain array factor of one curtain at as many
directions, without element, screen, ground, normalisation or logarithm.
"""

import math

import numpy as np
from _timing import best_s, row, size

from farhear import antenna


class TimeTables:
    """Tables of n circuits with one antenna, with many frequencies, slewed, and with none known."""

    def setup(self) -> None:
        self.n = size(20_000)
        self.off_deg = np.linspace(-180.0, 180.0, self.n)
        self.freq_khz = np.linspace(5900.0, 6200.0, 64)[np.arange(self.n) % 64]
        self.design = antenna.curtain(4, 4, 0.5, design_khz=6050.0)

    def time_one_shape(self) -> None:
        antenna.elevation_table_dbi("HR 4/4/0.5", self.freq_khz, self.off_deg)

    def time_64_frequencies_of_one_design(self) -> None:
        antenna.elevation_table_dbi(self.design, self.freq_khz, self.off_deg)

    def time_not_known(self) -> None:
        antenna.elevation_table_dbi(None, self.freq_khz, self.off_deg, power_kw=100.0)

    def time_preparing_one(self) -> None:
        antenna.peak(self.design, 6000.0)

    def time_preparing_one_slewed(self) -> None:
        antenna.peak(antenna.curtain(4, 4, 0.5, slew_deg=15.0), 6000.0)


def numpy_array_factor(n: int) -> float:
    """Processor seconds per direction of the bare array factor of 4 x 4 in numpy."""
    across = np.linspace(-1.0, 1.0, n)
    up = np.linspace(0.0, 1.0, n)

    def call() -> object:
        columns = sum(np.exp(1j * math.pi * i * across) for i in range(4))
        rows = sum(np.sin(math.pi * (i + 1) * up) for i in range(4))
        return np.abs(columns * rows) ** 2

    return best_s(call) / n


def main() -> None:
    case = TimeTables()
    case.setup()
    peer = numpy_array_factor(size(200_000))
    print("tables of 46 elevations through the Python face, processor time, best of some runs")
    row("numpy, bare array factor, 46 directions", 46 * peer, 1)
    for name, call in (
        ("table, one shape", case.time_one_shape),
        ("table, 64 frequencies of one design", case.time_64_frequencies_of_one_design),
        ("table, antenna not known", case.time_not_known),
    ):
        row(name, best_s(call), case.n, "numpy", 46 * peer)
    row("preparing HR 4/4/0.5", best_s(case.time_preparing_one), 1)
    row("preparing HR 4/4/0.5 slewed (three times)", best_s(case.time_preparing_one_slewed), 1)


if __name__ == "__main__":
    main()

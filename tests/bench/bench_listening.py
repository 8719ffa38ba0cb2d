"""Speed of the listening subject: ``python tests/bench/bench_listening.py``.

Peer for the splines: SciPy's monotone cubic through the same knots. No peer for the rest, so the
rates stand for themselves.
"""

import numpy as np
from _timing import best_s, row, size
from scipy.interpolate import PchipInterpolator

from farhear import listening


class TimeListening:
    """Arrays long enough that the call itself does not count."""

    def setup(self) -> None:
        rng = np.random.default_rng(3)
        self.n = size(200_000)
        self.few = size(10_000)
        self.level = rng.uniform(-20.0, 60.0, self.n)
        self.offset = rng.uniform(0.0, 19.9, self.n)
        self.fields = rng.uniform(0.0, 60.0, (4, self.n))
        self.offsets = np.array([0.0, 5.0, -5.0, 10.0])

    def time_ladder(self) -> None:
        listening.ladder(self.level, 12.0, 10.0)

    def time_protection(self) -> None:
        listening.relative_protection_db(self.offset)

    def time_choose_mode(self) -> None:
        listening.choose_mode(0.0, upper_db=self.level, lower_db=0.0, cochannel_db=-5.0)

    def time_interference_source(self) -> None:
        listening.interference_source(
            self.fields, 11.0, 9.0, offset_khz=self.offsets, freq_khz=9600.0, mode="LSB"
        )

    def time_sinpo(self) -> None:
        listening.sinpo(
            field_dbuv_m=self.level[: self.few],
            field_lower_db=11.0,
            field_upper_db=8.0,
            snr_db=self.level[: self.few],
            noise_lower_db=5.0,
            noise_upper_db=10.0,
            signal_to_interference_db=20.0,
            interference_lower_db=8.0,
            interference_upper_db=8.0,
            freq_over_muf=0.7,
        )


def main() -> None:
    case = TimeListening()
    case.setup()
    knots = np.array([0.0, 0.1, 0.3, 1.0, 2.0, 3.0, 4.0, 5.0, 10.0, 15.0, 20.0])
    spline = PchipInterpolator(knots, listening.relative_protection_db(knots))
    peer = best_s(lambda: spline(case.offset)) / case.n
    print(f"{case.n} elements, one core, processor time, best of some runs")
    row("ladder, five rungs", best_s(case.time_ladder), case.n)
    protection = best_s(case.time_protection)
    row("relative_protection_db", protection, case.n, "SciPy's spline alone", peer)
    row("choose_mode", best_s(case.time_choose_mode), case.n)
    row("interference_source, four stations", best_s(case.time_interference_source), case.n)
    row("sinpo", best_s(case.time_sinpo), case.few)


if __name__ == "__main__":
    main()

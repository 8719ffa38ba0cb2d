"""External radio noise at the receiver: man-made surroundings and the galaxy.

Medians and deciles of Recommendation ITU-R P.372 (galactic read, man-made from memory). Lightning
noise is not modelled yet: expect likelihoods too high in the tropics and on summer evenings on the
lower bands.
"""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from farhear import _core
from farhear._arrays import as_float64, check_range, flatten, restore
from farhear.errors import InputError

__all__ = ["ENVIRONMENTS", "Noise", "combine", "galactic", "man_made"]

ENVIRONMENTS = {
    "city": _core.noise.Environment.CITY,
    "residential": _core.noise.Environment.RESIDENTIAL,
    "rural": _core.noise.Environment.RURAL,
    "quiet rural": _core.noise.Environment.QUIET_RURAL,
}


class Noise(NamedTuple):
    """Median noise figure above k T0 b and its decile deviations, both positive. [dB]"""

    fa_db: Any
    upper_decile_db: Any
    lower_decile_db: Any


def _frequency(freq_khz: ArrayLike) -> Any:
    values = as_float64("freq_khz", freq_khz)
    check_range("freq_khz", values, 1600.0, 30000.0, "kHz, not MHz")
    return values


def man_made(environment: str, freq_khz: ArrayLike) -> Noise:
    """Man-made noise of "city", "residential", "rural" or "quiet rural" surroundings. [dB]

    Modern homes often exceed these medians by 10-20 dB (switching supplies, data over power lines;
    common practice): a measured figure is better.

    Examples
    --------
    >>> round(float(man_made("residential", 6000.0).fa_db), 2)
    50.95
    """
    if environment not in ENVIRONMENTS:
        raise InputError(f"noise = {environment!r} is none of {', '.join(map(repr, ENVIRONMENTS))}")
    values = _frequency(freq_khz)
    out = _core.noise.man_made(ENVIRONMENTS[environment], flatten(values.shape, values / 1e3)[0])
    return Noise(*(restore(v, values.shape) for v in out))


def galactic(freq_khz: ArrayLike) -> Noise:
    """Galactic noise above the ionosphere, 52 - 23 log10(f in MHz). [dB]"""
    values = _frequency(freq_khz)
    out = _core.noise.galactic(flatten(values.shape, values / 1e3)[0])
    return Noise(*(restore(v, values.shape) for v in out))


def combine(*sources: Noise) -> Noise:
    """Sum of independent log-normal sources (scalars) by moment matching. [dB]"""
    columns = [np.array([float(s[i]) for s in sources]) for i in range(3)]
    return Noise(*_core.noise.combine(*columns))

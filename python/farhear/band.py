"""Broadcast bands by metre name. A band is a name for kHz; always store kHz.

References
----------
.. [1] ITU Radio Regulations, Article 5. Outer edges of 120, 90, 75, 60, 49, 41, 19, 16 and 15 m
   agree with public summaries of the WRC-97/03 allocations and FCC DA-08-530 / DA-10-762; the
   edges of 31, 25, 22, 13 and 11 m and the gap of 60 m around 5000 kHz are from memory.
   Edges differ by ITU Region (75 and 41 m) and out-of-band use exists.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from farhear._arrays import as_float64, restore

__all__ = ["BANDS", "OTHER", "Band", "name_of"]

OTHER = "other"
"""Name given to a frequency outside every broadcast band."""


@dataclass(frozen=True, slots=True)
class Band:
    """One broadcast band: name such as '49 m' and its segments in kHz, edges included."""

    name: str
    segments_khz: tuple[tuple[float, float], ...]


BANDS: tuple[Band, ...] = (
    Band("120 m", ((2300.0, 2495.0),)),
    Band("90 m", ((3200.0, 3400.0),)),
    Band("75 m", ((3900.0, 4000.0),)),
    Band("60 m", ((4750.0, 4995.0), (5005.0, 5060.0))),
    Band("49 m", ((5900.0, 6200.0),)),
    Band("41 m", ((7200.0, 7450.0),)),
    Band("31 m", ((9400.0, 9900.0),)),
    Band("25 m", ((11600.0, 12100.0),)),
    Band("22 m", ((13570.0, 13870.0),)),
    Band("19 m", ((15100.0, 15800.0),)),
    Band("16 m", ((17480.0, 17900.0),)),
    Band("15 m", ((18900.0, 19020.0),)),
    Band("13 m", ((21450.0, 21850.0),)),
    Band("11 m", ((25670.0, 26100.0),)),
)
"""The bands, from low to high frequency."""


def name_of(freq_khz: ArrayLike) -> NDArray[np.str_]:
    """Name of the broadcast band that holds each frequency.

    Parameters
    ----------
    freq_khz
        Frequency, any shape. [kHz]

    Returns
    -------
    Band names ('49 m'), or 'other' outside the bands and for NaN; same shape.

    Examples
    --------
    >>> name_of([6070.0, 7050.0]).tolist()
    ['49 m', 'other']
    """
    freq = as_float64("freq_khz", freq_khz)
    names = np.full(freq.shape, OTHER, dtype="U8")
    for band in BANDS:
        for low_khz, high_khz in band.segments_khz:
            names[(freq >= low_khz) & (freq <= high_khz)] = band.name
    named: NDArray[np.str_] = restore(names.reshape(-1), freq.shape)
    return named

"""Broadcast bands by metre name. A band is a name for kHz; always store kHz.

The edges come from the shipped table `bands`, which says row by row what agrees with a public text
and what is from memory. They differ by ITU Region (75 and 41 m), and out-of-band use exists.

References
----------
.. [1] ITU Radio Regulations, Article 5.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from farhear import _data
from farhear._arrays import as_float64, restore

__all__ = ["BANDS", "OTHER", "Band", "name_of"]

OTHER = "other"
"""Name given to a frequency outside every broadcast band."""


@dataclass(frozen=True, slots=True)
class Band:
    """One broadcast band: name such as '49 m' and its segments in kHz, edges included."""

    name: str
    segments_khz: tuple[tuple[float, float], ...]


def _read() -> tuple[Band, ...]:
    segments: dict[str, list[tuple[float, float]]] = {}
    for row in csv.DictReader(io.StringIO(_data.read_text("bands", "broadcast_bands.csv"))):
        edges_khz = (float(row["low_khz"]), float(row["high_khz"]))
        segments.setdefault(row["band"], []).append(edges_khz)
    found = (Band(name, tuple(sorted(parts))) for name, parts in segments.items())
    return tuple(sorted(found, key=lambda one: one.segments_khz[0]))


BANDS: tuple[Band, ...] = _read()
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

"""Broadcast bands by metre name. A band is only a name for kHz; always store kHz.

The edges are those of the ITU Radio Regulations, Article 5, with a status for each segment: some
agree with public texts, some are from memory (see the column `status` of :func:`bands`). Edges
differ by ITU Region (the notes say where).

Transmitters outside the bands are common: Radio Regulations 4.4 lets a station use any frequency if
it disturbs nobody. By practice they are met around 4000-4100, 5800-5900, 6200-6400, 6800-7200,
7450-7800, 9250-9400, 9900-9990, 11500-11600, 12100-12200, 13870-13900, 15000-15100, 15800-15850 and
17900-17950 kHz. So "outside the bands" is a fact about a name, not a fault of a log.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from itertools import groupby

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from farhear._arrays import as_float64, restore
from farhear._data import read_text
from farhear.errors import InputError

__all__ = ["BANDS", "OTHER", "Band", "band_edges", "band_of", "bands", "name_of"]

OTHER = "other"
"""Name that :func:`name_of` gives to a frequency outside every broadcast band."""


@dataclass(frozen=True, slots=True)
class Band:
    """One broadcast band: name such as '49 m' and its segments in kHz, edges included.

    Neighbouring allocation segments are one; a gap (60 m around 5000 kHz) stays a gap.
    """

    name: str
    segments_khz: tuple[tuple[float, float], ...]


def _read() -> pd.DataFrame:
    rows = list(csv.DictReader(io.StringIO(read_text("bands", "broadcast_bands.csv"))))
    frame = pd.DataFrame(rows)
    frame[["low_khz", "high_khz"]] = frame[["low_khz", "high_khz"]].astype(np.float64)
    return frame.sort_values("low_khz", ignore_index=True)


def _join(frame: pd.DataFrame) -> tuple[Band, ...]:
    out = []
    segments = zip(frame["band"], frame["low_khz"], frame["high_khz"], strict=True)
    for name, group in groupby(segments, key=lambda segment: segment[0]):
        joined: list[tuple[float, float]] = []
        for _, low_khz, high_khz in group:
            if joined and joined[-1][1] == low_khz:
                joined[-1] = (joined[-1][0], high_khz)
            else:
                joined.append((low_khz, high_khz))
        out.append(Band(str(name), tuple(joined)))
    return tuple(out)


BANDS: tuple[Band, ...] = _join(_read())
"""The bands, from low to high frequency (from long to short wavelength)."""

_LOW_KHZ = np.array([low for band in BANDS for low, _ in band.segments_khz])
_HIGH_KHZ = np.array([high for band in BANDS for _, high in band.segments_khz])
_NAMES = np.array([band.name for band in BANDS for _ in band.segments_khz] + [""])


def bands() -> pd.DataFrame:
    """Return the allocation segments, a fresh copy.

    Returns
    -------
    DataFrame, one row per segment from low to high: low_khz, high_khz [kHz], band ("49 m"), note
    (Regions, footnotes), status (what the edges rest on).

    References
    ----------
    .. [1] ITU Radio Regulations, Article 5.
    """
    return _read()[["low_khz", "high_khz", "band", "note", "status"]]


def band_of(freq_khz: ArrayLike) -> NDArray[np.str_]:
    """Name of the broadcast band that holds each frequency, edges included.

    Parameters
    ----------
    freq_khz
        Frequency, any shape. [kHz]

    Returns
    -------
    Band names ("49 m"), "" outside the bands and for NaN; same shape, a scalar for a scalar.

    Examples
    --------
    >>> band_of([6070.0, 7050.0]).tolist()
    ['49 m', '']
    """
    freq = as_float64("freq_khz", freq_khz)
    at = np.searchsorted(_LOW_KHZ, freq, side="right") - 1
    inside = (at >= 0) & (freq <= _HIGH_KHZ[at])
    named: NDArray[np.str_] = restore(_NAMES[np.where(inside, at, -1)].reshape(-1), freq.shape)
    return named


def name_of(freq_khz: ArrayLike) -> NDArray[np.str_]:
    """Return :func:`band_of` with the word 'other' for what is in no band, for tables and charts.

    Examples
    --------
    >>> name_of([6070.0, 7050.0]).tolist()
    ['49 m', 'other']
    """
    names = np.asarray(band_of(freq_khz))
    worded: NDArray[np.str_] = restore(np.where(names == "", OTHER, names).reshape(-1), names.shape)
    return worded


def band_edges(name: str) -> tuple[float, float]:
    """Outer edges of a band. [kHz]

    Parameters
    ----------
    name
        Band name such as "49 m"; "49m" and "49" are taken too.

    Returns
    -------
    Lowest and highest frequency of the band. [kHz] The 60 m band has a gap, see `BANDS`.

    Raises
    ------
    InputError
        For a name that is no broadcast band; the text lists the names.

    Examples
    --------
    >>> band_edges("49 m")
    (5900.0, 6200.0)
    """
    number = name.strip().removesuffix("m").strip()
    for band in BANDS:
        if band.name == f"{number} m":
            return band.segments_khz[0][0], band.segments_khz[-1][1]
    known = ", ".join(band.name for band in BANDS)
    raise InputError(f"name = {name!r} is not a broadcast band; the bands are {known}")

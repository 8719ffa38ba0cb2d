"""Sporadic E: how strong the layer is, month by month, as a distribution over the days.

The maps are monthly medians and deciles of foEs of the years before 1968. They know nothing of a
particular day: sporadic E is patchy and moody; the likelihood only knows how often it is strong.
"""

from __future__ import annotations

from functools import cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from farhear import _core, _data
from farhear._arrays import FLUX_SFU, Floats, Indices, as_float64, check_place, check_range, pair
from farhear._core_models import field
from farhear.times import unix_s

__all__ = ["SporadicE", "probability_above", "sporadic_e"]


@cache
def maps() -> _core.sporadic.Maps:
    """Return the maps of foEs of all months."""
    tables = [
        np.frombuffer(_data.read_bytes("es", f"es_{name}.f64"), dtype="<f8").astype(np.float64)
        for name in ("lower", "median", "upper")
    ]
    return _core.sporadic.Maps(*tables)


class SporadicE(NamedTuple):
    """foEs over the days of a month. [MHz]"""

    lower_decile_mhz: Any
    median_mhz: Any
    upper_decile_mhz: Any


def sporadic_e(utc: Any, lat_deg: ArrayLike, lon_deg: ArrayLike, f107_sfu: ArrayLike) -> SporadicE:
    """Median and deciles of foEs, interpolated to the day. [MHz]

    Parameters
    ----------
    utc
        Instants (see `farhear.utc`).
    lat_deg, lon_deg
        Places, north and east positive. [deg]
    f107_sfu
        12-month smoothed 10.7 cm flux, 50 to 400. [sfu]

    Returns
    -------
    SporadicE of the broadcast shape. The deciles are those that the likelihood uses: kept at least
    5 % away from the median and within a factor of 4 of it, because the maps ring where ionosondes
    were few. NaN in gives NaN out.

    Raises
    ------
    InputError
        On naive times, values out of range, shapes that do not broadcast.

    References
    ----------
    Bradley, Adv. Space Res. 31(3), 577, 2003; coefficients as shipped with PyIRI (see data/es).

    Examples
    --------
    >>> summer = sporadic_e("2024-07-15T11:00Z", 45.0, 10.0, 150.0)
    >>> winter = sporadic_e("2024-12-15T11:00Z", 45.0, 10.0, 150.0)
    >>> bool(summer.upper_decile_mhz > 6.0 > winter.upper_decile_mhz)
    True
    """
    columns = {"lat_deg": as_float64("lat_deg", lat_deg), "lon_deg": as_float64("lon_deg", lon_deg)}
    check_place(columns["lat_deg"], columns["lon_deg"])
    flux = as_float64("f107_sfu", f107_sfu)
    check_range("f107_sfu", flux, *FLUX_SFU)
    pairing = pair(columns, {"utc": unix_s(utc), "f107_sfu": flux})

    def call(
        instants: list[Floats], rows: Indices, index: Indices, _each: list[Floats]
    ) -> dict[str, Floats]:
        args: tuple[Any, ...] = (*pairing.rows, *instants, rows, index)
        lower, median, upper = _core.sporadic.foes(maps(), field(), *args)
        return {"lower": lower, "median": median, "upper": upper}

    found = pairing.run(call)
    return SporadicE(found["lower"][()], found["median"][()], found["upper"][()])


def probability_above(
    freq_mhz: ArrayLike,
    utc: Any,
    lat_deg: ArrayLike,
    lon_deg: ArrayLike,
    f107_sfu: ArrayLike,
) -> Any:
    """Share of the days of the month on which foEs exceeds a frequency. Arguments broadcast.

    Examples
    --------
    >>> strong = probability_above(5.6, "2024-07-15T11:00Z", 45.0, 10.0, 150.0)
    >>> 0.1 < float(strong) < 0.6
    True
    """
    es = sporadic_e(utc, lat_deg, lon_deg, f107_sfu)
    freq = as_float64("freq_mhz", freq_mhz)
    check_range("freq_mhz", freq, 0.1, 100.0)
    arrays = np.broadcast_arrays(freq, *es)
    flat = [np.ascontiguousarray(a, dtype=np.float64).reshape(-1) for a in arrays]
    return _core.sporadic.probability_above(*flat).reshape(arrays[0].shape)[()]

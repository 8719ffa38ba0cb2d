"""The geomagnetic main field (IGRF-14): dip, modified dip, gyrofrequency.

The maps of foF2 are drawn in modified dip, absorption and the highest usable frequency contain the
gyrofrequency. Field at 300 km for the F2 layer, at 100 km for absorption.

The field is the International Geomagnetic Reference Field, 14th generation: years 1900 to 2030,
linear between epochs of five years, the last five a forecast. A later year is refused, not
extrapolated.
"""

from __future__ import annotations

from functools import cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from farhear import _core
from farhear._arrays import (
    Floats,
    as_float64,
    broadcast_shape,
    check_place,
    check_range,
    flatten,
    restore,
)
from farhear._data import read_text
from farhear.errors import InputError

__all__ = ["Components", "Field", "components", "field", "geomagnetic_lat_deg", "model"]

_LATER = "IGRF-14 ends there; a later date needs a later generation of the field"


class Components(NamedTuple):
    """Field vector in the local geodetic frame. [nT]"""

    north_nt: Any
    east_nt: Any
    down_nt: Any


class Field(NamedTuple):
    """What ionospheric maps and absorption need from the field."""

    dip_deg: Any
    modip_deg: Any
    gyro_mhz: Any


def _read_shc(text: str) -> tuple[Floats, Floats]:
    """Epochs and coefficients [epoch, 195] of a spherical harmonic coefficient file."""
    rows = [line.split() for line in text.splitlines() if line and not line.startswith("#")]
    first_degree, last_degree, count = (int(word) for word in rows[0][:3])
    epochs = np.array([float(word) for word in rows[1]])
    expected = [
        (n, sign * m)
        for n in range(first_degree, last_degree + 1)
        for m in range(n + 1)
        for sign in ((1, -1) if m else (1,))
    ]
    found = [(int(row[0]), int(row[1])) for row in rows[2:]]
    if found != expected or epochs.size != count:
        raise InputError("the field coefficients are not in the order g10 g11 h11 g20 ...")
    table = np.array([[float(word) for word in row[2:]] for row in rows[2:]])
    return epochs, np.ascontiguousarray(table.T)


@cache
def model() -> _core.magnetic.Model:
    """Return the shipped IGRF-14 as the core's immutable model, read once."""
    epochs, table = _read_shc(read_text("igrf", "IGRF14.shc"))
    return _core.magnetic.Model(epochs, table.reshape(-1))


def _paired(
    lat_deg: ArrayLike, lon_deg: ArrayLike, height_km: ArrayLike, year: ArrayLike
) -> tuple[list[Floats], tuple[int, ...]]:
    lat, lon = as_float64("lat_deg", lat_deg), as_float64("lon_deg", lon_deg)
    height, when = as_float64("height_km", height_km), as_float64("year", year)
    check_place(lat, lon)
    check_range("height_km", height, -10.0, 10000.0)
    check_range("year", when, model().first_year, model().last_year, _LATER)
    shape = broadcast_shape(lat_deg=lat, lon_deg=lon, height_km=height, year=when)
    return flatten(shape, when, lat, lon, height), shape


def _sum(flat: list[Floats]) -> tuple[Floats, Floats, Floats]:
    """Return the field of flat arrays (year, lat, lon, height), whatever the order of the years.

    The core sums blocks of places of one date, so equal dates are brought together first.
    """
    when = flat[0]
    changes = np.count_nonzero(when[1:] != when[:-1])
    if changes <= when.size // 64:
        north, east, down = model().components(*flat)
        return north, east, down
    order: NDArray[np.intp] = np.argsort(when, kind="stable")
    parts = model().components(*(np.ascontiguousarray(a[order]) for a in flat))
    out = []
    for part in parts:
        back = np.empty_like(part)
        back[order] = part
        out.append(back)
    return out[0], out[1], out[2]


def components(
    lat_deg: ArrayLike, lon_deg: ArrayLike, height_km: ArrayLike, year: ArrayLike
) -> Components:
    """Field vector at places, heights and dates; the arguments broadcast.

    Parameters
    ----------
    lat_deg, lon_deg
        Geodetic latitude -90 .. 90 and longitude -180 .. 360, WGS84. [deg]
    height_km
        Height above the ellipsoid, -10 .. 10000. [km]
    year
        Date as decimal year, 1900 .. 2030. [year]

    Returns
    -------
    Components
        north_nt, east_nt, down_nt of the broadcast shape. [nT] NaN gives NaN.

    Raises
    ------
    InputError
        On a value out of range or shapes that do not broadcast.

    References
    ----------
    .. [1] IAGA Division V-MOD, IGRF-14, doi:10.5281/zenodo.14012302.

    Examples
    --------
    >>> here = components(80.0, 0.0, 0.0, 2025.0)
    >>> print(f"{here.north_nt:.1f} {here.east_nt:.1f} {here.down_nt:.1f}")
    6527.4 141.6 54782.5
    """
    flat, shape = _paired(lat_deg, lon_deg, height_km, year)
    return Components(*(restore(part, shape) for part in _sum(flat)))


def field(lat_deg: ArrayLike, lon_deg: ArrayLike, height_km: ArrayLike, year: ArrayLike) -> Field:
    """Dip, modified dip and electron gyrofrequency; the arguments broadcast.

    Parameters
    ----------
    lat_deg, lon_deg
        Geodetic latitude -90 .. 90 and longitude -180 .. 360, WGS84. [deg]
    height_km
        Height above the ellipsoid, -10 .. 10000; 300 for the F2 layer, 100 for absorption. [km]
    year
        Date as decimal year, 1900 .. 2030. [year]

    Returns
    -------
    Field
        dip_deg: inclination, positive where the field points down (north). [deg]
        modip_deg: arctan(dip / sqrt(cos lat)) with the dip in radians. [deg]
        gyro_mhz: gyrofrequency of an electron in the total field. [MHz]
        All of the broadcast shape; NaN gives NaN.

    Raises
    ------
    InputError
        On a value out of range or shapes that do not broadcast.

    References
    ----------
    .. [1] IAGA Division V-MOD, IGRF-14, doi:10.5281/zenodo.14012302.
    .. [2] Modified dip: K. Rawer's definition, as used with the CCIR maps of foF2.

    Examples
    --------
    >>> f = field(50.0, 10.0, 300.0, 2025.0)
    >>> print(f"{f.dip_deg:.3f} {f.modip_deg:.3f} {f.gyro_mhz:.4f}")
    65.426 54.927 1.2004
    """
    flat, shape = _paired(lat_deg, lon_deg, height_km, year)
    parts = _core.magnetic.derive(*_sum(flat), flat[1])
    return Field(*(restore(part, shape) for part in parts))


def geomagnetic_lat_deg(lat_deg: ArrayLike, lon_deg: ArrayLike, year: float) -> Any:
    """Latitude in the frame of the tilted dipole of a date. [deg]

    Good for "high or low latitude" decisions only: the dipole's dip is wrong by up to some 30 deg
    near the magnetic equator, so the maps never use it.

    Parameters
    ----------
    lat_deg, lon_deg
        Latitude -90 .. 90 and longitude -180 .. 360. [deg]
    year
        Date as decimal year, 1900 .. 2030, one for all places. [year]

    Returns
    -------
    numpy scalar or ndarray of the broadcast shape, -90 .. 90. [deg] NaN gives NaN.

    Raises
    ------
    InputError
        On a value out of range or shapes that do not broadcast.

    Examples
    --------
    >>> print(f"{geomagnetic_lat_deg(50.0, 10.0, 2025.0):.2f}")
    50.28
    """
    lat, lon = as_float64("lat_deg", lat_deg), as_float64("lon_deg", lon_deg)
    when = as_float64("year", year)
    check_place(lat, lon)
    check_range("year", when, model().first_year, model().last_year, _LATER)
    if when.ndim:
        raise InputError(f"year has shape {when.shape}; one date is needed for all places")
    shape = broadcast_shape(lat_deg=lat, lon_deg=lon)
    return restore(model().geomagnetic_lat_deg(float(when), *flatten(shape, lat, lon)), shape)

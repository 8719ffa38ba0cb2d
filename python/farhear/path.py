"""Distance and direction between two places, points on the way, and the locator.

Two earths are used, each where it is right. What is shown or compared with a map comes from the
WGS84 ellipsoid (:func:`inverse`, :func:`direct`); the equations of the sky wave are written for a
sphere of radius 6371 km (:func:`sphere`, :func:`points`), whose distances are up to 0.6 % off.

Everywhere: latitude before longitude, north and east positive, latitudes within +-90, longitudes
within [-180, 360]; results have longitudes in (-180, 180] and azimuths clockwise from north in
[0, 360). Arguments broadcast against each other; NaN means missing and passes through.
"""

from __future__ import annotations

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
    in_blocks,
    restore,
)
from farhear.errors import InputError

__all__ = [
    "EARTH_RADIUS_KM",
    "Direct",
    "Inverse",
    "Locator",
    "Points",
    "Sphere",
    "direct",
    "from_locator",
    "inverse",
    "locator",
    "points",
    "sphere",
]

EARTH_RADIUS_KM: float = _core.path.EARTH_RADIUS_KM
"""Radius of the sphere of the sky-wave equations. [km]"""


class Inverse(NamedTuple):
    """Shortest line between two places on WGS84; each field has the broadcast shape."""

    distance_km: Any
    """Length. [km]"""
    azimuth_deg: Any
    """Direction at place 1 towards place 2. [deg]"""
    back_azimuth_deg: Any
    """Direction at place 2 towards place 1: where the antenna there must look. [deg]"""


class Direct(NamedTuple):
    """End of a line on WGS84; each field has the broadcast shape."""

    lat_deg: Any
    """Latitude of the end. [deg]"""
    lon_deg: Any
    """Longitude of the end. [deg]"""
    back_azimuth_deg: Any
    """Direction at the end towards the start. [deg]"""


class Sphere(NamedTuple):
    """Great circle on the sphere; each field has the broadcast shape."""

    distance_km: Any
    """Length of the short way. [km]"""
    azimuth_deg: Any
    """Direction at place 1 towards place 2. [deg]"""


class Points(NamedTuple):
    """Places on a great circle; each field has the broadcast shape."""

    lat_deg: Any
    """Latitude. [deg]"""
    lon_deg: Any
    """Longitude. [deg]"""


class Locator(NamedTuple):
    """Cell of a locator; each field has the shape of the text."""

    lat_deg: Any
    """Latitude of the centre. [deg]"""
    lon_deg: Any
    """Longitude of the centre. [deg]"""
    half_lat_deg: Any
    """Half the height of the cell. [deg]"""
    half_lon_deg: Any
    """Half the width of the cell. [deg]"""


def _check_place(lat_deg: Floats, lon_deg: Floats, which: str = "") -> None:
    """As _arrays.check_place, with the number of the place inside the name."""
    hint = "latitude comes before longitude: are the two swapped?"
    check_range(f"lat{which}_deg", lat_deg, -90.0, 90.0, hint)
    check_range(f"lon{which}_deg", lon_deg, -180.0, 360.0)


def _ends(
    lat1_deg: ArrayLike, lon1_deg: ArrayLike, lat2_deg: ArrayLike, lon2_deg: ArrayLike
) -> tuple[Floats, Floats, Floats, Floats]:
    lat1 = as_float64("lat1_deg", lat1_deg)
    lon1 = as_float64("lon1_deg", lon1_deg)
    lat2 = as_float64("lat2_deg", lat2_deg)
    lon2 = as_float64("lon2_deg", lon2_deg)
    _check_place(lat1, lon1, "1")
    _check_place(lat2, lon2, "2")
    return lat1, lon1, lat2, lon2


def inverse(
    lat1_deg: ArrayLike, lon1_deg: ArrayLike, lat2_deg: ArrayLike, lon2_deg: ArrayLike
) -> Inverse:
    """Distance and azimuths of the shortest line between two places on WGS84.

    Within 0.1 um of GeographicLib everywhere, near-antipodal places included.

    Parameters
    ----------
    lat1_deg, lon1_deg
        Place 1, for a broadcast the transmitter. [deg]
    lat2_deg, lon2_deg
        Place 2, the receiver. [deg]

    Returns
    -------
    Inverse
        distance_km, azimuth_deg (at 1 towards 2), back_azimuth_deg (at 2 towards 1), each of the
        broadcast shape; NaN where an argument is NaN. Coincident places have no direction: the
        azimuth is 0 and the back azimuth 180 by convention. At a pole the azimuth counts from the
        meridian of the longitude given. Between exact antipodes many lines are equally short; the
        one over the pole nearer to place 1 is given (the north pole for a place on the equator).

    Raises
    ------
    InputError
        On a latitude beyond +-90, a longitude outside [-180, 360], or shapes that do not broadcast.

    References
    ----------
    .. [1] C. F. F. Karney, Algorithms for geodesics, J. Geodesy 87 (2013), 43-55.
    .. [2] NIMA TR8350.2, 3rd edition, table 3.1 (the ellipsoid; table number from memory).

    Examples
    --------
    >>> from farhear import path
    >>> line = path.inverse(40.6, -73.8, 51.6, -0.5)
    >>> f"{line.distance_km:.3f} km, {line.azimuth_deg:.3f}, back {line.back_azimuth_deg:.3f}"
    '5551.759 km, 51.199, back 287.822'
    """
    ends = _ends(lat1_deg, lon1_deg, lat2_deg, lon2_deg)
    lat1, lon1, lat2, lon2 = ends
    shape = broadcast_shape(lat1_deg=lat1, lon1_deg=lon1, lat2_deg=lat2, lon2_deg=lon2)
    found = in_blocks(_core.path.inverse, *flatten(shape, *ends))
    return Inverse(*(restore(x, shape) for x in found))


def direct(
    lat_deg: ArrayLike, lon_deg: ArrayLike, azimuth_deg: ArrayLike, distance_km: ArrayLike
) -> Direct:
    """Place reached on WGS84 from a start along an azimuth after a distance.

    Parameters
    ----------
    lat_deg, lon_deg
        Start. [deg]
    azimuth_deg
        Direction at the start, within [-360, 360]. [deg]
    distance_km
        Length of the line, within [-100000, 100000]; negative runs backwards. [km]

    Returns
    -------
    Direct
        lat_deg, lon_deg of the end and back_azimuth_deg, the direction there towards the start,
        each of the broadcast shape; NaN where an argument is NaN. (After more than half the way
        round, or a negative distance, it is the direction back along the line.)

    Raises
    ------
    InputError
        On a value out of range, or shapes that do not broadcast.

    References
    ----------
    .. [1] C. F. F. Karney, Algorithms for geodesics, J. Geodesy 87 (2013), 43-55.

    Examples
    --------
    >>> from farhear import path
    >>> end = path.direct(40, 0, 30, 10000)
    >>> f"{end.lat_deg:.6f} {end.lon_deg:.6f}"
    '41.793310 137.844900'
    """
    lat = as_float64("lat_deg", lat_deg)
    lon = as_float64("lon_deg", lon_deg)
    azimuth = as_float64("azimuth_deg", azimuth_deg)
    distance = as_float64("distance_km", distance_km)
    check_place(lat, lon)
    check_range("azimuth_deg", azimuth, -360.0, 360.0)
    check_range("distance_km", distance, -1e5, 1e5)
    shape = broadcast_shape(lat_deg=lat, lon_deg=lon, azimuth_deg=azimuth, distance_km=distance)
    flat = flatten(shape, lat, lon, azimuth, distance)
    return Direct(*(restore(x, shape) for x in in_blocks(_core.path.direct, *flat)))


def sphere(
    lat1_deg: ArrayLike, lon1_deg: ArrayLike, lat2_deg: ArrayLike, lon2_deg: ArrayLike
) -> Sphere:
    """Great-circle distance and azimuth on the sphere of the sky-wave equations, quickly.

    Parameters
    ----------
    lat1_deg, lon1_deg, lat2_deg, lon2_deg
        The two places. [deg]

    Returns
    -------
    Sphere
        distance_km on a radius of 6371 km and azimuth_deg at place 1, each of the broadcast shape;
        NaN where an argument is NaN. Coincident places and exact antipodes have no direction: 0.

    Raises
    ------
    InputError
        As :func:`inverse`.

    References
    ----------
    .. [1] Plain spherical trigonometry. The radius is common ITU-R practice.

    Examples
    --------
    >>> from farhear import path
    >>> float(round(path.sphere(45, 25, 51.5, 0).distance_km, 4))
    1975.0843
    """
    ends = _ends(lat1_deg, lon1_deg, lat2_deg, lon2_deg)
    lat1, lon1, lat2, lon2 = ends
    shape = broadcast_shape(lat1_deg=lat1, lon1_deg=lon1, lat2_deg=lat2, lon2_deg=lon2)
    return Sphere(*(restore(x, shape) for x in _core.path.sphere(*flatten(shape, *ends))))


def points(
    lat1_deg: ArrayLike,
    lon1_deg: ArrayLike,
    lat2_deg: ArrayLike,
    lon2_deg: ArrayLike,
    fraction: ArrayLike,
    long_path: bool = False,
) -> Points:
    """Places on the great circle from place 1 to place 2 on the sphere.

    Parameters
    ----------
    lat1_deg, lon1_deg, lat2_deg, lon2_deg
        The two places. [deg]
    fraction
        How far on the way: 0 at place 1, 1 at place 2; values outside run on, within +-10000.
        It broadcasts like the others: fractions of shape (n,) against places of shape (m, 1) give
        n points on each of m paths. [ratio]
    long_path
        Go the other way round the earth.

    Returns
    -------
    Points
        lat_deg, lon_deg of the broadcast shape; NaN where an argument is NaN. Where the places
        coincide or are antipodal (to 1e-12 rad) the line starts northwards, the long path
        southwards; from a pole it starts along the Greenwich meridian.

    Raises
    ------
    InputError
        As :func:`inverse`.

    References
    ----------
    .. [1] Plain spherical trigonometry.

    Examples
    --------
    >>> from farhear import path
    >>> middle = path.points(45, 25, 51.5, 0, 0.5)
    >>> f"{middle.lat_deg:.4f} {middle.lon_deg:.4f}"
    '48.9290 13.3081'
    """
    ends = _ends(lat1_deg, lon1_deg, lat2_deg, lon2_deg)
    lat1, lon1, lat2, lon2 = ends
    part = as_float64("fraction", fraction)
    check_range("fraction", part, -1e4, 1e4)
    shape = broadcast_shape(
        lat1_deg=lat1, lon1_deg=lon1, lat2_deg=lat2, lon2_deg=lon2, fraction=part
    )
    lat1, lon1, lat2, lon2, part = flatten(shape, *ends, part)
    points = _core.path.sphere_points(lat1, lon1, lat2, lon2, part, bool(long_path))
    return Points(*(restore(x, shape) for x in points))


# ---- locator -------------------------------------------------------------------------------------

# Base of each pair of characters; the cell shrinks by it. Letters and digits take turns.
_BASES = (18, 10, 24, 10, 24)
_LENGTHS = (2, 4, 6, 8, 10)


def locator(lat_deg: ArrayLike, lon_deg: ArrayLike, characters: int = 6) -> Any:
    """Maidenhead locator of a place: letters and digits that name a cell of the world.

    Parameters
    ----------
    lat_deg, lon_deg
        Places. [deg]
    characters
        2, 4, 6, 8 or 10. The cells measure 10 x 20 degrees, 1 x 2 degrees, 2.5' x 5', 15" x 30" and
        0.625" x 1.25" (latitude x longitude). Four characters tell a reader the district, six the
        quarter of the town: share no more than you mean to.

    Returns
    -------
    str, or an array of object of the broadcast shape
        Pairs of longitude then latitude: capital letters A-R, digits, small letters a-x, digits,
        small letters. A place on the border of two cells belongs to the northern or eastern one;
        the north pole belongs to the last cell. Longitude 180 is -180. "" where an argument is NaN.

    Raises
    ------
    InputError
        On a place out of range or another number of characters.

    References
    ----------
    .. [1] IARU Region 1 VHF Managers Handbook (the system of 1980; first six characters; from
       memory). Pairs beyond the sixth character follow common practice.

    Examples
    --------
    >>> from farhear import path
    >>> path.locator(58.4, 26.7)
    'KO38ij'
    """
    if characters not in _LENGTHS:
        raise InputError(f"characters = {characters!r} is not one of 2, 4, 6, 8, 10")
    lat = as_float64("lat_deg", lat_deg)
    lon = as_float64("lon_deg", lon_deg)
    check_place(lat, lon)
    shape = broadcast_shape(lat_deg=lat, lon_deg=lon)
    flat_lat, flat_lon = flatten(shape, lat, lon)
    missing = np.isnan(flat_lat) | np.isnan(flat_lon)
    bases = _BASES[: characters // 2]
    count = int(np.prod(_BASES))
    finer = int(np.prod(_BASES[len(bases) :], dtype=np.int64))
    # Count the finest cells at once: one rounding, so that a border given in decimals stays a
    # border, and a short locator is always the beginning of a longer one.
    row = _cell(np.where(missing, 0.0, flat_lat) + 90.0, 180.0, count) // finer
    column = _cell(np.mod(np.where(missing, 0.0, flat_lon) + 180.0, 360.0), 360.0, count) // finer
    codes = np.empty((flat_lat.size, characters), dtype=np.uint8)
    for place in range(len(bases) - 1, -1, -1):
        base = bases[place]
        first = ord("0") if place % 2 else ord("A") if place == 0 else ord("a")
        codes[:, 2 * place] = column % base + first
        codes[:, 2 * place + 1] = row % base + first
        column //= base
        row //= base
    text = np.empty(flat_lat.size, dtype=object)
    text[:] = [bytes(line).decode("ascii") for line in codes]
    text[missing] = ""
    return restore(text, shape)


def _cell(from_edge_deg: Floats, span_deg: float, count: int) -> NDArray[np.int64]:
    """Number of the cell; a value within 2e-9 cells below a border counts as on it."""
    number = from_edge_deg / span_deg * count
    near = np.rint(number)
    number = np.where(np.abs(number - near) < 2e-9, near, number)
    return np.asarray(np.minimum(np.floor(number), count - 1), dtype=np.int64)


def from_locator(text: Any) -> Locator:
    """Centre and half-size of the cell of a Maidenhead locator.

    Parameters
    ----------
    text
        Locator of 2, 4, 6, 8 or 10 characters, capital or small, or an array of them; spaces around
        it do not count. "" means missing.

    Returns
    -------
    Locator
        lat_deg, lon_deg of the centre and half_lat_deg, half_lon_deg, each of the shape of `text`;
        NaN for "".

    Raises
    ------
    InputError
        On a wrong length, or a character that cannot stand in its place (the error names both).

    References
    ----------
    .. [1] As :func:`locator`.

    Examples
    --------
    >>> from farhear import path
    >>> cell = path.from_locator("KO38")
    >>> float(cell.lat_deg), float(cell.lon_deg), float(cell.half_lat_deg), float(cell.half_lon_deg)
    (58.5, 27.0, 0.5, 1.0)
    """
    texts = np.asarray(text, dtype=object)
    flat = texts.reshape(-1)
    cells = np.empty((4, flat.size))
    for i, one in enumerate(flat):
        cells[:, i] = _read_cell(one, f"[{i}]" if texts.shape else "")
    return Locator(*(restore(row, texts.shape) for row in cells))


def _read_cell(text: object, index: str) -> tuple[float, float, float, float]:
    name = f"locator{index} = {text!r}"
    if not isinstance(text, str):
        raise InputError(f"{name} is not text")
    marks = text.strip().upper()
    if not marks:
        return np.nan, np.nan, np.nan, np.nan
    if len(marks) not in _LENGTHS:
        raise InputError(f"{name} has {len(marks)} characters, expected 2, 4, 6, 8 or 10")
    column, row, count = 0, 0, 1
    for place, mark in enumerate(marks):
        base = _BASES[place // 2]
        first, last = ("0", "9") if place // 2 % 2 else ("A", chr(ord("A") + base - 1))
        if not first <= mark <= last:
            raise InputError(
                f"{name}: character {place + 1} is {mark!r}, expected {first} to {last}"
            )
        value = ord(mark) - ord(first)
        if place % 2 == 0:
            count *= base
            column = column * base + value
        else:
            row = row * base + value
    return (
        (row + 0.5) * 180.0 / count - 90.0,
        (column + 0.5) * 360.0 / count - 180.0,
        90.0 / count,
        180.0 / count,
    )

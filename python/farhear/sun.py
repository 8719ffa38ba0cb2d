"""The sun: where it stands, when it rises and sets, and the line where day ends, at any height.

All angles are geometric and seen from the Earth's centre: no refraction, no parallax. The sun that
is *seen* at the horizon stands about 0.57 deg higher; :data:`HORIZON_ZENITH_DEG` holds that.
"""

from __future__ import annotations

import datetime as dt
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
from farhear.times import UtcTimes, unix_s

__all__ = [
    "HORIZON_ZENITH_DEG",
    "Position",
    "RiseSet",
    "SubsolarPoint",
    "Terminator",
    "events",
    "position",
    "subsolar",
    "terminator",
    "zenith_at_height",
]

HORIZON_ZENITH_DEG = 90.833
"""Zenith angle of sunrise and sunset on the ground: 34' of refraction and 16' of half disc."""

_STATES = np.array(["happens", "always above", "always below", "missing"])
_DAY_S = 86400.0


class Position(NamedTuple):
    """Direction of the sun."""

    zenith_deg: Any
    azimuth_deg: Any


class SubsolarPoint(NamedTuple):
    """Where the sun is overhead."""

    lat_deg: Any
    lon_deg: Any


class RiseSet(NamedTuple):
    """First rise and first set of a day, and whether there are any."""

    rise_utc: UtcTimes
    set_utc: UtcTimes
    state: Any


class Terminator(NamedTuple):
    """A closed line around the Earth."""

    lat_deg: Floats
    lon_deg: Floats


def position(utc: Any, lat_deg: ArrayLike, lon_deg: ArrayLike) -> Position:
    """Zenith angle and azimuth of the sun.

    Parameters
    ----------
    utc
        Instants, whatever :func:`farhear.utc` accepts. UTC is taken as universal time.
    lat_deg, lon_deg
        Place, north and east positive, -90 to 90 and -180 to 360; broadcast with `utc`. Times on
        one axis and places on another (``utc.reshape(-1, 1)``) are computed fastest: the terms of
        each are then worked out once. [deg]

    Returns
    -------
    Position
        `zenith_deg` 0 to 180, geometric (no refraction, no parallax), and `azimuth_deg` clockwise
        from north, 0 <= a < 360; arrays of the broadcast shape, numpy scalars for scalar
        arguments. NaN in gives NaN in both. At a pole the azimuth is counted from the meridian
        of `lon_deg`. [deg]

    Raises
    ------
    InputError
        On times without a zone, places out of range, shapes that do not broadcast.

    Notes
    -----
    Within 0.02 deg on the sky for 1990 to 2035: 0.015 found against the DE421 ephemeris [2]_ (rms
    0.004), against NREL's SPA 0.012 in 1900 and 0.008 in 2100. The error of the azimuth itself is
    that divided by sin(zenith). The same bits on every processor.

    References
    ----------
    .. [1] J. Meeus, Astronomical Algorithms, 2nd ed., 1998, chapter 25 (low accuracy) and 12.
    .. [2] W. M. Folkner et al., The planetary and lunar ephemeris DE 421, IPN Progress Report
       42-178, 2009.

    Examples
    --------
    >>> from farhear import sun
    >>> here = sun.position("2026-06-21T12:00Z", 58.4, 26.7)
    >>> print(f"{here.zenith_deg:.2f} {here.azimuth_deg:.1f}")
    39.65 219.5
    """
    t, lat, lon = unix_s(utc), as_float64("lat_deg", lat_deg), as_float64("lon_deg", lon_deg)
    check_place(lat, lon)
    shape = broadcast_shape(utc=t, lat_deg=lat, lon_deg=lon)
    time_axes, place_axes = _varying(shape, t), _varying(shape, lat, lon)
    if shape and not set(time_axes) & set(place_axes):
        place_shape = broadcast_shape(lat_deg=lat, lon_deg=lon)
        grid = _core.sun.position_grid(
            np.ascontiguousarray(t).reshape(-1), *flatten(place_shape, lat, lon)
        )
        # the grid has the axes of time first; an axis along which nothing varies has length 1
        rest = [axis for axis in range(len(shape)) if axis not in time_axes]
        order = np.argsort([*time_axes, *rest])
        mixed = [shape[axis] for axis in (*time_axes, *rest)]
        return Position(*(np.ascontiguousarray(g.reshape(mixed).transpose(order)) for g in grid))
    flat = _core.sun.position(*flatten(shape, t, lat, lon))
    return Position(*(restore(f, shape) for f in flat))


def _varying(shape: tuple[int, ...], *arrays: Floats) -> list[int]:
    """Axes of `shape` along which one of the arrays has more than one element."""
    return [
        axis
        for axis in range(len(shape))
        if any(a.ndim >= (back := len(shape) - axis) and a.shape[-back] != 1 for a in arrays)
    ]


def subsolar(utc: Any) -> SubsolarPoint:
    """Place where the sun is overhead.

    Parameters
    ----------
    utc
        Instants, whatever :func:`farhear.utc` accepts.

    Returns
    -------
    SubsolarPoint
        `lat_deg` (the declination) and `lon_deg` in [-180, 180], shape of `utc`. [deg]

    Raises
    ------
    InputError
        On times without a zone.

    References
    ----------
    .. [1] J. Meeus, Astronomical Algorithms, 2nd ed., 1998, chapters 12 and 25.

    Examples
    --------
    >>> from farhear import sun
    >>> here = sun.subsolar("2026-06-21T12:00Z")
    >>> print(f"{here.lat_deg:.2f} {here.lon_deg:.2f}")
    23.44 0.46
    """
    t = unix_s(utc)
    declination_rad, hour_angle_rad = _core.sun.subsolar(np.ascontiguousarray(t).reshape(-1))
    return SubsolarPoint(
        restore(np.degrees(declination_rad), t.shape),
        restore(np.degrees(-hour_angle_rad), t.shape),
    )


def zenith_at_height(height_km: ArrayLike, screening_km: ArrayLike = 0.0) -> Any:
    """Zenith angle at which the sun rises and sets for a point high above the ground.

    Parameters
    ----------
    height_km
        Height of the point, 0 to 100,000. [km]
    screening_km
        Height up to which the air lets no useful rays through, at most `height_km`; 35 km is in
        use for the D region (common practice, no source). [km]

    Returns
    -------
    90 + acos((6371 + screening) / (6371 + height)), the broadcast shape; NaN passes. Straight rays
    and a point-like sun: 90 at height 0, where :data:`HORIZON_ZENITH_DEG` is what one sees. [deg]

    Raises
    ------
    InputError
        On heights out of range or a screening height above the point.

    Examples
    --------
    >>> from farhear import sun
    >>> [round(float(z), 2) for z in sun.zenith_at_height([80, 110, 300])]
    [99.03, 100.57, 107.25]
    """
    height = as_float64("height_km", height_km)
    screening = as_float64("screening_km", screening_km)
    shape = broadcast_shape(height_km=height, screening_km=screening)
    check_range("height_km", height, 0.0, 1e5)
    check_range("screening_km", screening, 0.0, 1e5)
    return restore(_core.sun.zenith_at_height_deg(*flatten(shape, height, screening)), shape)


def events(
    date: Any,
    lat_deg: ArrayLike,
    lon_deg: ArrayLike,
    zone: str | None,
    zenith_deg: ArrayLike = HORIZON_ZENITH_DEG,
    height_km: ArrayLike = 0.0,
) -> RiseSet:
    """First rise and first set of the sun on a calendar day.

    Parameters
    ----------
    date
        `datetime.date`, ISO text ("2026-06-21"), datetime64 of whole days, a zone-free pandas
        index of days, or an array of these.
    lat_deg, lon_deg
        Place, north and east positive; broadcast with `date`. [deg]
    zone
        IANA name of the zone whose calendar day is meant, 23 to 25 hours when clocks change.
        None means the UTC day.
    zenith_deg
        Geometric zenith angle to cross: 90.833 sunrise and sunset, 96 civil, 102 nautical, 108
        astronomical twilight. [deg]
    height_km
        Above 0: sunrise and sunset at that height, that is, through :func:`zenith_at_height`
        (no refraction; `zenith_deg` must then be left alone). [km]

    Returns
    -------
    RiseSet
        `rise_utc` and `set_utc` (:class:`farhear.UtcTimes`, NaN where there is none) and `state`:
        "happens" (a rise, a set or both), "always above", "always below", or "missing" where an
        argument is NaN. On a day with two rises, as near the borders of polar day, the first is
        given. The set may come before the rise.

    Raises
    ------
    InputError
        On a date that is none, a datetime (its day depends on the zone), places or angles out of
        range, an unknown zone, `zenith_deg` together with `height_km`.

    Notes
    -----
    Within a minute of an ephemeris below 60 deg of latitude; where the sun only grazes the angle,
    its error of 0.02 deg can make minutes, and decide whether the day has an event at all.

    References
    ----------
    .. [1] NOAA, solar calculation details: 90.833 deg for sunrise and sunset.

    Examples
    --------
    >>> from farhear import sun
    >>> day = sun.events("2026-03-20", 58.4, 26.7, None)
    >>> print(day.state, day.rise_utc, day.set_utc)
    happens UtcTimes([2026-03-20T04:15:30Z], shape=()) UtcTimes([2026-03-20T16:27:09Z], shape=())
    """
    start, end = _day_spans(date, zone)
    lat, lon = as_float64("lat_deg", lat_deg), as_float64("lon_deg", lon_deg)
    height = as_float64("height_km", height_km)
    angle = as_float64("zenith_deg", zenith_deg)
    check_place(lat, lon)
    check_range("zenith_deg", angle, 0.0, 180.0)
    shape = broadcast_shape(
        date=start, lat_deg=lat, lon_deg=lon, zenith_deg=angle, height_km=height
    )
    if ((height > 0.0) & (angle != HORIZON_ZENITH_DEG)).any():
        raise InputError(
            "zenith_deg and height_km are both given; zenith_deg is an angle on the ground, "
            "height_km makes its own"
        )
    angle = np.where(height == 0.0, angle, zenith_at_height(height))
    rise, fall, code = in_blocks(_core.sun.events, *flatten(shape, start, end, lat, lon, angle))
    return RiseSet(
        UtcTimes(rise.reshape(shape)),
        UtcTimes(fall.reshape(shape)),
        restore(_STATES[code], shape),
    )


def _day_spans(date: Any, zone: str | None) -> tuple[Floats, Floats]:
    """First second of each calendar day and of the next one, shape of `date`. [unix s]"""
    days = _days(date)
    if zone is None:
        start = np.where(np.isnat(days), np.nan, days.astype(np.int64) * _DAY_S)
        return np.asarray(start, np.float64), np.asarray(start + _DAY_S, np.float64)
    from farhear.clock import day_span

    spans = np.full((*days.shape, 2), np.nan)
    known = ~np.isnat(days)
    if known.any():
        spans[known] = day_span(days[known], zone).unix_s
    return spans[..., 0], spans[..., 1]


def _days(date: Any) -> NDArray[np.datetime64]:
    """Turn what the caller has into datetime64[D], or say what is no date."""
    if hasattr(date, "to_numpy") and not isinstance(date, dt.date):  # pandas index or column
        date = date.to_numpy()
    if isinstance(date, dt.datetime):
        raise InputError(f"date = {date.isoformat()} is an instant; say which day by date.date()")
    if isinstance(date, dt.date):
        days = np.array(date, dtype="datetime64[D]")
    elif isinstance(date, str):
        try:
            days = np.array(dt.date.fromisoformat(date), dtype="datetime64[D]")
        except ValueError:
            raise InputError(f"date {date!r} is not ISO 8601, for example 2026-06-21") from None
    elif isinstance(date, (np.datetime64, np.ndarray)) and np.issubdtype(date.dtype, np.datetime64):
        stamps = np.asarray(date)
        days = stamps.astype("datetime64[D]")
        if not np.array_equal(days[~np.isnat(days)], stamps[~np.isnat(stamps)]):
            raise InputError("date holds instants within a day; give whole days (datetime64[D])")
    elif isinstance(date, (list, tuple, np.ndarray)):
        parts = [_days(part) for part in date]
        if len({part.shape for part in parts}) > 1:
            raise InputError("date is a nested list of unequal lengths")
        days = np.array(parts, dtype="datetime64[D]")
    else:
        raise InputError(f"{type(date).__name__} {date!r} is not a date")
    known = days[~np.isnat(days)]
    if known.size and (
        known.min() < np.datetime64("1900-01-01") or known.max() > np.datetime64("2100-12-31")
    ):
        raise InputError(f"date {known.min()} or {known.max()} is outside the years 1900-2100")
    return days


def terminator(
    utc: Any, height_km: ArrayLike = 0.0, points: int = 361, screening_km: ArrayLike = 0.0
) -> Terminator:
    """Line around the Earth where the sun rises or sets for points at a height.

    Parameters
    ----------
    utc
        Instants, whatever :func:`farhear.utc` accepts.
    height_km
        Height, broadcast with `utc`. 0 is the ground, where the line is that of zenith angle
        90.833; above, that of :func:`zenith_at_height`. [km]
    points
        Number of points of the line, equally spaced as seen from the subsolar point, clockwise
        from north; the first is repeated at the end. 2 to 1,000,000.
    screening_km
        See :func:`zenith_at_height`. [km]

    Returns
    -------
    Terminator
        `lat_deg` and `lon_deg` (-180 to 180, jumping at the date line), shape of `utc` and
        `height_km` broadcast plus one axis of length `points`. NaN in gives NaN. [deg]

    Raises
    ------
    InputError
        On times without a zone, heights or `points` out of range.

    References
    ----------
    .. [1] Own derivation: points at one angular distance from the subsolar point, on the sphere.

    Examples
    --------
    >>> from farhear import sun
    >>> line = sun.terminator("2026-06-21T12:00Z", height_km=110)
    >>> line.lat_deg.shape, round(float(line.lat_deg.min()), 2)
    ((361,), -77.13)
    """
    t = unix_s(utc)
    height = as_float64("height_km", height_km)
    screening = as_float64("screening_km", screening_km)
    shape = broadcast_shape(utc=t, height_km=height, screening_km=screening)
    angle = zenith_at_height(height, screening)
    angle = np.where(height == 0.0, HORIZON_ZENITH_DEG, angle)
    if isinstance(points, bool) or not isinstance(points, (int, np.integer)) or points < 2:
        raise InputError(f"points = {points!r} is not a whole number of 2 or more")
    t, angle = flatten(shape, t, angle)
    lat, lon = _core.sun.terminator(t, angle, int(points))
    return Terminator(lat.reshape(*shape, points), lon.reshape(*shape, points))

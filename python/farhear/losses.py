"""What weakens a sky wave besides distance: auroral zone, D region, flares, storms, the ground.

Losses are positive, in dB, and continuous in every argument. Most constants are from memory and
stand marked in the core's header `losses.hpp`; what each may cost:

- auroral table: every entry from memory, 0.5-21 dB; a wrong cell is worth about 1 dB.
- D region: exponential profile to 95 km, no deviative part: low by a factor of about two against
  fits to measurements by day; 1 km of h' is 40-50 % of the loss. Fit its scale to the log.
- flares and polar caps: laws from memory, a factor of 1.5 of the loss is possible; the edge of
  the cap is our own guess, 4 degrees of it are all or nothing.
- ground: smooth and flat; land 15 and 0.005 S/m. Dry ground (4, 0.001) loses 2 dB more at 20
  degrees of elevation, 4 dB more at 40; wet ground (30, 0.01) 1 dB less. Below 10 they agree.
- land or sea: outline good to 50 km, then blurred over 100 km on purpose.
"""

from __future__ import annotations

import json
from functools import cache
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from farhear import _core, _data
from farhear._arrays import (
    Floats,
    as_float64,
    broadcast_shape,
    check_place,
    check_range,
    flatten,
    restore,
)
from farhear.times import unix_s
from farhear.zone import regions

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = [
    "DProfile",
    "Deciles",
    "auroral_db",
    "d_profile_db",
    "d_region_db",
    "day_deciles",
    "flare_db",
    "ground_reflection_db",
    "land",
    "local_time_h",
    "polar_cap_db",
    "quiet_d_profile",
    "reflected_share",
    "sea_share",
    "storm_factor",
]


class DProfile(NamedTuple):
    """Exponential D region: height where density meets collisions [km], steepness [1/km]."""

    h_prime_km: Any
    beta_per_km: Any


class Deciles(NamedTuple):
    """Deviation of the lower and upper decile from the median, both positive. [dB]"""

    lower_db: Any
    upper_db: Any


def auroral_db(
    geomagnetic_lat_deg: ArrayLike,
    local_time_h: ArrayLike,
    season_phase: ArrayLike,
    distance_km: ArrayLike,
) -> Any:
    """Median loss by the auroral zone and what else goes with geomagnetic latitude. [dB]

    Parameters
    ----------
    geomagnetic_lat_deg
        Of the control point, or the mean of the control points of a long path. [deg]
    local_time_h
        Mean local time at the middle of the path, 0 to 24. [h]
    season_phase
        -1 at the December solstice, +1 at the June solstice, 0 at the equinoxes.
    distance_km
        Length of the whole path, 0 to 40100; the two tables are blended over 2000-3000. [km]

    Returns
    -------
    float or ndarray of the broadcast shape, 0 within 40 degrees of the geomagnetic equator. [dB]
        NaN in any argument gives NaN.

    Raises
    ------
    InputError
        On values out of range, or shapes that do not broadcast.

    References
    ----------
    .. [1] Recommendation ITU-R P.533, Table 2 (every entry from memory). Interpolation is our own.

    Examples
    --------
    >>> round(float(auroral_db(65.0, 8.5, 0.0, 1500.0)), 2)
    17.0
    """
    lat = as_float64("geomagnetic_lat_deg", geomagnetic_lat_deg)
    time = as_float64("local_time_h", local_time_h)
    season = as_float64("season_phase", season_phase)
    distance = as_float64("distance_km", distance_km)
    check_range("geomagnetic_lat_deg", lat, -90.0, 90.0)
    check_range("local_time_h", time, 0.0, 24.0)
    check_range("season_phase", season, -1.0, 1.0)
    check_range("distance_km", distance, 0.0, 40100.0)
    return _one(
        _core.losses.auroral_db,
        geomagnetic_lat_deg=lat,
        local_time_h=time,
        season_phase=season,
        distance_km=distance,
    )


def local_time_h(utc: Any, lon_deg: ArrayLike) -> Any:
    """Mean local time, 0 to 24: UTC and four minutes a degree east. [h]

    Examples
    --------
    >>> round(float(local_time_h("2026-11-25T22:00Z", 45.0)), 6)
    1.0
    """
    lon = as_float64("lon_deg", lon_deg)
    check_range("lon_deg", lon, -180.0, 360.0)
    return _one(_core.losses.local_time_h, lon_deg=lon, utc=unix_s(utc))


def quiet_d_profile(zenith_deg: ArrayLike) -> DProfile:
    """Quiet D region under a sun at a zenith angle.

    71 km and 0.39/km overhead, 77 km and 0.33/km at 80 degrees, 86 km and 0.50/km in the dark; the
    way between is our own.

    Parameters
    ----------
    zenith_deg
        Zenith angle of the sun at the crossing, 0 to 180. [deg]

    Returns
    -------
    DProfile of the argument's shape: h_prime_km [km], beta_per_km [1/km].

    References
    ----------
    .. [1] Wait and Spies, NBS Technical Note 300 (1964) (the form, as quoted).
    .. [2] Measurements of Thomson, McRae and others (the three pairs, from memory).

    Examples
    --------
    >>> profile = quiet_d_profile(80.0)
    >>> round(float(profile.h_prime_km), 6), round(float(profile.beta_per_km), 6)
    (77.0, 0.33)
    """
    return DProfile(*_call(_core.losses.quiet_d_profile, zenith_deg=_zenith(zenith_deg)))


def d_profile_db(
    freq_khz: ArrayLike,
    gyro_longitudinal_mhz: ArrayLike,
    h_prime_km: ArrayLike,
    beta_per_km: ArrayLike,
    *,
    elevation_deg: ArrayLike = 90.0,
) -> Any:
    """Absorption of one crossing of an exponential D region, 55 to 95 km. [dB]

    Appleton-Hartree, quasi-longitudinal, nondeviative, on the sphere.

    Parameters
    ----------
    freq_khz
        Wave, 500 to 40000. [kHz]
    gyro_longitudinal_mhz
        Gyrofrequency times the cosine between ray and field, within 2.5; positive for the O wave,
        negative for the X wave. [MHz]
    h_prime_km, beta_per_km
        Profile, 50 to 95 and 0.15 to 1. [km], [1/km]
    elevation_deg
        Elevation of the ray at the ground, 0 to 90. [deg]

    Returns
    -------
    float or ndarray of the broadcast shape. [dB] NaN in any argument gives NaN.

    Raises
    ------
    InputError
        On values out of range, or shapes that do not broadcast.

    References
    ----------
    .. [1] Wait and Spies, NBS Technical Note 300 (1964), as quoted.

    Examples
    --------
    >>> round(float(d_profile_db(6000.0, 1.2, 71.0, 0.39)), 2)
    3.05
    """
    freq, gyro = _freq(freq_khz), _gyro(gyro_longitudinal_mhz)
    height, beta = as_float64("h_prime_km", h_prime_km), as_float64("beta_per_km", beta_per_km)
    check_range("h_prime_km", height, 50.0, 95.0)
    check_range("beta_per_km", beta, 0.15, 1.0)
    return _one(
        _core.losses.d_profile_db,
        freq_khz=freq / 1e3,
        gyro_longitudinal_mhz=gyro,
        h_prime_km=height,
        beta_per_km=beta,
        elevation_deg=_cosine(elevation_deg),
    )


def d_region_db(
    freq_khz: ArrayLike,
    gyro_longitudinal_mhz: ArrayLike,
    zenith_deg: ArrayLike,
    elevation_deg: ArrayLike,
    *,
    xray_w_m2: ArrayLike = 0.0,
) -> Any:
    """Absorption of one crossing of the D region under the sun. [dB]

    Parameters
    ----------
    freq_khz, gyro_longitudinal_mhz, elevation_deg
        As for :func:`d_profile_db`.
    zenith_deg
        Zenith angle of the sun at the crossing, 0 to 180; see :func:`quiet_d_profile`. [deg]
    xray_w_m2
        Solar X-ray flux at 0.1-0.8 nm, 0 to 0.1; 0 is quiet. It deepens the layer as a flare does;
        use it or :func:`flare_db`, never both. [W/m^2]

    Returns
    -------
    float or ndarray of the broadcast shape. [dB] NaN in any argument gives NaN.

    Raises
    ------
    InputError
        On values out of range, or shapes that do not broadcast.

    References
    ----------
    .. [1] Wait and Spies, NBS Technical Note 300 (1964), as quoted.
    .. [2] McRae and Thomson (2004), change of the profile in flares (from memory).

    Examples
    --------
    >>> day, night = d_region_db(6000.0, 1.2, [0.0, 110.0], 90.0)
    >>> round(float(day), 2), round(float(night), 3)
    (3.05, 0.011)
    """
    flux = as_float64("xray_w_m2", xray_w_m2)
    check_range("xray_w_m2", flux, 0.0, 0.1)
    return _one(
        _core.losses.d_region_db,
        freq_khz=_freq(freq_khz) / 1e3,
        gyro_longitudinal_mhz=_gyro(gyro_longitudinal_mhz),
        zenith_deg=_zenith(zenith_deg),
        elevation_deg=_cosine(elevation_deg),
        xray_w_m2=flux,
    )


def flare_db(
    freq_khz: ArrayLike,
    xray_w_m2: ArrayLike,
    zenith_deg: ArrayLike,
    *,
    elevation_deg: ArrayLike = 90.0,
) -> Any:
    """Loss that a solar flare adds to one crossing of the D region. [dB]

    Parameters
    ----------
    freq_khz
        Wave, 500 to 40000. [kHz]
    xray_w_m2
        Solar X-ray flux at 0.1-0.8 nm, 0 to 0.1 (M1 is 1e-5). [W/m^2]
    zenith_deg
        Zenith angle of the sun at the crossing, 0 to 180; no loss from 90 on. [deg]
    elevation_deg
        Elevation of the ray at the ground, 0 to 90. [deg]

    Returns
    -------
    float or ndarray of the broadcast shape. [dB] NaN in any argument gives NaN.

    Raises
    ------
    InputError
        On values out of range, or shapes that do not broadcast.

    References
    ----------
    .. [1] NOAA, documentation of the D-region absorption product (from memory). One study found it
       too low for an X2 flare.

    Examples
    --------
    >>> round(float(flare_db(9600.0, 1e-5, 30.0)), 2)  # M1
    1.66
    """
    flux = as_float64("xray_w_m2", xray_w_m2)
    check_range("xray_w_m2", flux, 0.0, 0.1)
    return _one(
        _core.losses.flare_db,
        freq_khz=_freq(freq_khz) / 1e3,
        xray_w_m2=flux,
        zenith_deg=_zenith(zenith_deg),
        elevation_deg=_cosine(elevation_deg),
    )


def polar_cap_db(
    freq_khz: ArrayLike,
    flux_2_pfu: ArrayLike,
    flux_5_pfu: ArrayLike,
    zenith_deg: ArrayLike,
    geomagnetic_lat_deg: ArrayLike,
    *,
    elevation_deg: ArrayLike = 90.0,
) -> Any:
    """Loss of one crossing of the D region by solar protons over a polar cap. [dB]

    Parameters
    ----------
    freq_khz
        Wave, 500 to 40000. [kHz]
    flux_2_pfu, flux_5_pfu
        Integral flux of protons of more than 2.2 and of more than 5.2 MeV, 0 to 1e7; the first
        rules by night, the second by day. [1/(cm^2 s sr)]
    zenith_deg
        Zenith angle of the sun at the crossing, 0 to 180; day and night blend over 80-100. [deg]
    geomagnetic_lat_deg
        Of the crossing; the edge of the cap is blended over 58-66 (own assumption). [deg]
    elevation_deg
        Elevation of the ray at the ground, 0 to 90. [deg]

    Returns
    -------
    float or ndarray of the broadcast shape. [dB] NaN in any argument gives NaN.

    Raises
    ------
    InputError
        On values out of range, or shapes that do not broadcast.

    References
    ----------
    .. [1] NOAA, documentation of the D-region absorption product (from memory).

    Examples
    --------
    >>> round(float(polar_cap_db(30000.0, 0.0, 100.0, 60.0, 75.0)), 3)
    1.15
    """
    two, five = as_float64("flux_2_pfu", flux_2_pfu), as_float64("flux_5_pfu", flux_5_pfu)
    lat = as_float64("geomagnetic_lat_deg", geomagnetic_lat_deg)
    check_range("flux_2_pfu", two, 0.0, 1e7)
    check_range("flux_5_pfu", five, 0.0, 1e7)
    check_range("geomagnetic_lat_deg", lat, -90.0, 90.0)
    return _one(
        _core.losses.polar_cap_db,
        freq_khz=_freq(freq_khz) / 1e3,
        flux_2_pfu=two,
        flux_5_pfu=five,
        zenith_deg=_zenith(zenith_deg),
        geomagnetic_lat_deg=lat,
        elevation_deg=_cosine(elevation_deg),
    )


def storm_factor(kp: ArrayLike, modip_deg: ArrayLike) -> Any:
    """Factor on foF2 in a geomagnetic storm, 0.75 to 1: a proxy of our own.

    1 up to Kp 4 and within 30 degrees of modip; 0.75 at Kp 9 beyond 50 degrees. That storms lower
    foF2 by 5 to 30 % after Kp 6 is common practice, no source.

    Parameters
    ----------
    kp
        Largest Kp of the last day, 0 to 9.
    modip_deg
        Modified dip latitude of the place. [deg]

    Returns
    -------
    float or ndarray of the broadcast shape. NaN in any argument gives NaN.

    Examples
    --------
    >>> storm_factor([4.0, 9.0], 55.0).round(6).tolist()
    [1.0, 0.75]
    """
    kps, modip = as_float64("kp", kp), as_float64("modip_deg", modip_deg)
    check_range("kp", kps, 0.0, 9.0)
    check_range("modip_deg", modip, -90.0, 90.0)
    return _one(_core.losses.storm_factor, kp=kps, modip_deg=modip)


def reflected_share(
    freq_khz: ArrayLike,
    elevation_deg: ArrayLike,
    *,
    permittivity_ratio: ArrayLike,
    conductivity_s_m: ArrayLike,
) -> Any:
    """Share of the power that flat ground reflects, mean of both polarisations (Fresnel).

    Parameters
    ----------
    freq_khz
        Wave, 500 to 40000. [kHz]
    elevation_deg
        Above the ground, 0 to 90. [deg]
    permittivity_ratio
        Relative permittivity of the ground, 1.01 to 1000.
    conductivity_s_m
        Conductivity of the ground, 0 to 1e9. [S/m]

    Returns
    -------
    float or ndarray of the broadcast shape, 0 to 1. NaN in any argument gives NaN.

    Raises
    ------
    InputError
        On values out of range, or shapes that do not broadcast.

    References
    ----------
    .. [1] Fresnel's formulas, any textbook of electromagnetics.

    Examples
    --------
    >>> glass = reflected_share(10e3, 90.0, permittivity_ratio=2.25, conductivity_s_m=0.0)
    >>> round(float(glass), 6)  # ((1.5 - 1) / (1.5 + 1))^2
    0.04
    """
    permittivity = as_float64("permittivity_ratio", permittivity_ratio)
    conductivity = as_float64("conductivity_s_m", conductivity_s_m)
    check_range("permittivity_ratio", permittivity, 1.01, 1000.0)
    check_range("conductivity_s_m", conductivity, 0.0, 1e9)
    return _one(
        _core.losses.reflected_share,
        permittivity_ratio=permittivity,
        conductivity_s_m=conductivity,
        freq_khz=_freq(freq_khz) / 1e3,
        elevation_deg=_sine(elevation_deg),
    )


def ground_reflection_db(
    freq_khz: ArrayLike, elevation_deg: ArrayLike, sea_share: ArrayLike
) -> Any:
    """Loss of one reflection from the ground between two hops. [dB]

    Sea (relative permittivity 80, 5 S/m) and average land (15, 0.005 S/m), powers mixed in
    proportion. Hills, ice and cities are not in it.

    Parameters
    ----------
    freq_khz
        Wave, 500 to 40000. [kHz]
    elevation_deg
        Of the hop, 0 to 90. [deg]
    sea_share
        Share of sea about the place, 0 to 1; see :func:`sea_share`.

    Returns
    -------
    float or ndarray of the broadcast shape. [dB] NaN in any argument gives NaN.

    Raises
    ------
    InputError
        On values out of range, or shapes that do not broadcast.

    References
    ----------
    .. [1] Fresnel's formulas, any textbook; ground constants common practice, near those of
       Recommendation ITU-R P.527 (from memory).

    Examples
    --------
    >>> sea, land = ground_reflection_db(9600.0, 10.0, [1.0, 0.0])
    >>> bool(sea < 0.5 < land < 5.0)
    True
    """
    share = as_float64("sea_share", sea_share)
    check_range("sea_share", share, 0.0, 1.0)
    return _one(
        _core.losses.ground_reflection_db,
        freq_khz=_freq(freq_khz) / 1e3,
        elevation_deg=_sine(elevation_deg),
        sea_share=share,
    )


def sea_share(lat_deg: ArrayLike, lon_deg: ArrayLike) -> Any:
    """Share of sea within 100 km of a place, from the shipped outline of the continents.

    Parameters
    ----------
    lat_deg, lon_deg
        Places. [deg]

    Returns
    -------
    float or ndarray of the broadcast shape, 0 (land) to 1 (sea). NaN gives NaN. Lakes count as
    land but the Caspian; small islands are missing; the outline is good to about 50 km.

    Raises
    ------
    InputError
        On a place out of range, or shapes that do not broadcast.

    References
    ----------
    .. [1] Natural Earth, 1:110 million (`data/world/PROVENANCE.md`).

    Examples
    --------
    >>> sea_share([58.4, 30.0], [26.7, -40.0]).tolist()  # Tartu, mid-Atlantic
    [0.0, 1.0]
    """
    lat, lon = as_float64("lat_deg", lat_deg), as_float64("lon_deg", lon_deg)
    check_place(lat, lon)
    return _one(land().sea_share, lat_deg=lat, lon_deg=lon)


@cache
def land() -> _core.losses.Land:
    """Return the map of land and sea, built once from the shipped outline."""
    outline = json.loads(_data.read_text("world", "land.geojson"))
    polygons = [feature["geometry"]["coordinates"] for feature in outline["features"]]
    return _core.losses.Land(regions([polygons]))


def day_deciles(freq_over_muf_ratio: ArrayLike, geomagnetic_lat_deg: ArrayLike) -> Deciles:
    """How far single days stray from the monthly median power, both positive. [dB]

    Parameters
    ----------
    freq_over_muf_ratio
        Frequency over basic MUF, 0 or above; held outside 0.8 to 5. Where the MUF of the day is
        modelled by itself use 0.8, or its spread counts twice.
    geomagnetic_lat_deg
        Largest of the path; the two classes of the table are blended over 55-65. [deg]

    Returns
    -------
    Deciles of the broadcast shape: lower_db, upper_db. [dB] NaN in any argument gives NaN.

    Raises
    ------
    InputError
        On values out of range, or shapes that do not broadcast.

    References
    ----------
    .. [1] Recommendation ITU-R P.842 (table from memory).

    Examples
    --------
    >>> [round(float(v), 6) for v in day_deciles(0.8, 50.0)]
    [8.0, 6.0]
    """
    ratio = as_float64("freq_over_muf_ratio", freq_over_muf_ratio)
    lat = as_float64("geomagnetic_lat_deg", geomagnetic_lat_deg)
    check_range("freq_over_muf_ratio", ratio, 0.0, np.inf)
    check_range("geomagnetic_lat_deg", lat, -90.0, 90.0)
    return Deciles(
        *_call(_core.losses.day_deciles, freq_over_muf_ratio=ratio, geomagnetic_lat_deg=lat)
    )


# ------------------------------------------------------------------- arguments


def _freq(freq_khz: ArrayLike) -> Floats:
    values = as_float64("freq_khz", freq_khz)
    check_range("freq_khz", values, 500.0, 40000.0, "kHz, not MHz")
    return values


def _gyro(gyro_longitudinal_mhz: ArrayLike) -> Floats:
    values = as_float64("gyro_longitudinal_mhz", gyro_longitudinal_mhz)
    check_range("gyro_longitudinal_mhz", values, -2.5, 2.5)
    return values


def _zenith(zenith_deg: ArrayLike) -> Floats:
    values = as_float64("zenith_deg", zenith_deg)
    check_range("zenith_deg", values, 0.0, 180.0)
    return values


def _elevation(elevation_deg: ArrayLike) -> Floats:
    values = as_float64("elevation_deg", elevation_deg)
    check_range("elevation_deg", values, 0.0, 90.0)
    return values


def _cosine(elevation_deg: ArrayLike) -> Floats:
    return np.asarray(np.cos(np.radians(_elevation(elevation_deg))))


def _sine(elevation_deg: ArrayLike) -> Floats:
    return np.asarray(np.sin(np.radians(_elevation(elevation_deg))))


def _call(function: Callable[..., tuple[Any, ...]], **arrays: Floats) -> list[Any]:
    """Broadcast the columns, let the core work, give each result its shape."""
    shape = broadcast_shape(**arrays)
    return [restore(out, shape) for out in function(*flatten(shape, *arrays.values()))]


def _one(function: Callable[..., tuple[Any, ...]], **arrays: Floats) -> Any:
    """Do as _call does, for one result."""
    (out,) = _call(function, **arrays)
    return out

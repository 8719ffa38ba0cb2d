"""Long paths by a combined method: the field between a lower and an upper frequency, no modes.

An optional comparison beside the rays, for paths of 7000 km and more: Recommendation ITU-R P.533,
section 5.3, every constant from memory. Its additive constant is remembered in three ways that
differ by 5.0 dB; so much the level may be off, whatever the rest.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from farhear import ionosphere, magnetic, path, sun
from farhear._arrays import FLUX_SFU, Floats, as_float64, check_place, check_range
from farhear.errors import InputError
from farhear.times import UtcTimes, unix_s

__all__ = [
    "CONSTANTS_DB",
    "Combined",
    "blend_dbuv_m",
    "bracket",
    "field_dbuv_m",
    "lower_mhz",
    "upper_ratio",
]

CONSTANTS_DB = {"self-consistent": -34.8, "first": -36.4 + 3.7, "second": -30.0 + 0.2}
"""Additive constant less the other losses: what 3 MW asks for, and two pairs from memory. [dB]"""
SPREAD_DB = max(CONSTANTS_DB.values()) - min(CONSTANTS_DB.values())

_R0_KM = 6371.0
_SHORTEST_KM = 7000.0
_MIRROR_KM = 300.0
_DAY_S = 86400.0
# by month, January first; the southern hemisphere six months later
_BOTH_NORTH = (1.10, 1.05, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.05, 1.10)
_ONE_NORTH = (1.05, 1.02, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.02, 1.05)
_AT_60 = (1.30, 1.15, 1.03, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.03, 1.15, 1.30)


class Combined(NamedTuple):
    """Field, the two reference frequencies, and how far the three constants lie apart."""

    field_dbuv_m: float
    upper_mhz: float
    lower_mhz: float
    spread_db: float


def bracket(freq_mhz: float, upper_mhz: float, lower_mhz: float, gyro_mhz: float) -> float:
    """Share of the free-space level: 0 at both reference frequencies, greatest between.

    Examples
    --------
    >>> round(bracket(9.6, 22.0, 6.0, 1.2), 4)
    0.3969
    """
    a = (upper_mhz + gyro_mhz) ** 2
    b = (lower_mhz + gyro_mhz) ** 2
    x = (freq_mhz + gyro_mhz) ** 2
    return 1.0 - a / (a + b) * (b / x + x / a)


def upper_ratio(now_mhz: float, noon_mhz: float, least_mhz: float, azimuth_deg: float) -> float:
    """Upper reference frequency over F2(4000)MUF, from its values now, at noon and at its least.

    The weights are those of an east-west and of a north-south path, linear in azimuth between.

    Examples
    --------
    >>> round(upper_ratio(1.0, 1.0, 0.3, 90.0), 4), round(upper_ratio(0.6, 1.0, 0.3, 0.0), 4)
    (1.354, 1.3931)
    """
    share = abs(90.0 - azimuth_deg % 180.0) / 90.0  # 0 east-west, 1 north-south
    w = 0.1 + share * 0.1
    x = 1.2 - share * 1.0
    y = 0.6 - share * 0.2
    root = math.pow(noon_mhz / now_mhz, 1 / 3)
    return 1.2 + w * now_mhz / noon_mhz + x * (root - 1.0) + y * math.pow(least_mhz / noon_mhz, 2)


def lower_mhz(
    cos_zeniths: Floats,
    cos_incidence: float,
    path_km: float,
    r12: float,
    gyro_mhz: float,
    winter: float = 1.0,
    latitude: float = 1.0,
) -> float:
    """Lower reference frequency without its floor. [MHz] `cos_zeniths`: of all passes at 90 km.

    Examples
    --------
    >>> cos_i = math.cos(math.asin(6371 * math.cos(math.radians(4.2615)) / 6461))
    >>> round(lower_mhz(np.full(4, 0.5), cos_i, 9000.0, 50.0, 1.2, 1.05), 3)
    8.819
    """
    passes = float(np.sqrt(np.maximum(cos_zeniths, 0.0)).sum())
    root = math.sqrt((1 + 0.009 * r12) * passes / (cos_incidence * math.log(9.5e6 / path_km)))
    return (5.3 * winter * root - gyro_mhz) * latitude


def blend_dbuv_m(distance_km: float, short_dbuv_m: float, long_dbuv_m: float) -> float:
    """Between the modal method at 7000 km and this one at 9000 km.

    Examples
    --------
    >>> round(blend_dbuv_m(8000.0, 30.0, 24.0), 2)
    27.1
    """
    share = min(max((distance_km - 7000.0) / 2000.0, 0.0), 1.0)
    short, long = 10 ** (0.01 * short_dbuv_m), 10 ** (0.01 * long_dbuv_m)
    return 100 * math.log10(short + share * (long - short))


def field_dbuv_m(
    tx_lat_deg: float,
    tx_lon_deg: float,
    rx_lat_deg: float,
    rx_lon_deg: float,
    freq_khz: float,
    utc: Any,
    *,
    power_kw: float,
    f107_sfu: float,
    tx_gain_dbi: float = 0.0,
    long_path: bool = False,
    constant: str = "self-consistent",
) -> Combined:
    """Median field of one long circuit at one instant. [dB(uV/m)]

    Parameters
    ----------
    tx_lat_deg, tx_lon_deg, rx_lat_deg, rx_lon_deg
        Ends. [deg]
    freq_khz
        Frequency, 1600 to 30000. [kHz]
    utc
        One instant.
    power_kw, tx_gain_dbi
        Power, and the highest gain at elevations up to 8 deg. [kW, dBi]
    f107_sfu
        12-month smoothed 10.7 cm flux. [sfu]
    long_path
        The long way round.
    constant
        One of `CONSTANTS_DB`.

    Returns
    -------
    Combined. `spread_db` is SPREAD_DB: the distance between the remembered constants.

    Raises
    ------
    InputError
        On paths under 7000 km, values out of range, more than one instant.

    References
    ----------
    Recommendation ITU-R P.533, section 5.3 [memory throughout].
    """
    if constant not in CONSTANTS_DB:
        raise InputError(f"constant = {constant!r} is none of {', '.join(map(repr, CONSTANTS_DB))}")
    for name, value, low, high in (
        ("freq_khz", freq_khz, 1600.0, 30000.0),
        ("power_kw", power_kw, 1e-9, 1e5),
        ("f107_sfu", f107_sfu, *FLUX_SFU),
    ):
        check_range(name, as_float64(name, value), low, high)
    check_place(as_float64("tx_lat_deg", tx_lat_deg), as_float64("tx_lon_deg", tx_lon_deg), "tx_")
    check_place(as_float64("rx_lat_deg", rx_lat_deg), as_float64("rx_lon_deg", rx_lon_deg), "rx_")
    when = unix_s(utc)
    if when.size != 1 or np.isnan(when).any():
        raise InputError("utc must be one instant")
    t = float(when.reshape(-1)[0])
    line = path.sphere(tx_lat_deg, tx_lon_deg, rx_lat_deg, rx_lon_deg)
    distance = float(line.distance_km)
    azimuth = float(line.azimuth_deg)
    if long_path:
        distance, azimuth = 2 * math.pi * _R0_KM - distance, azimuth + 180.0
    if distance < _SHORTEST_KM:
        raise InputError(f"the path is {distance:.0f} km long; this method begins at 7000 km")

    def points(fractions: list[float]) -> Any:
        return path.points(
            tx_lat_deg, tx_lon_deg, rx_lat_deg, rx_lon_deg, fractions, long_path=long_path
        )

    hops = math.ceil(distance / 4000.0)
    ends = points([0.5 / hops, 1.0 - 0.5 / hops])
    year = float(UtcTimes(np.array(t)).datetime64.astype("datetime64[Y]").astype(int)) + 1970.5
    gyro = float(np.mean(magnetic.field(ends.lat_deg, ends.lon_deg, 100.0, year).gyro_mhz))
    day = math.floor(t / _DAY_S) * _DAY_S

    upper = math.inf
    for lat, lon in zip(ends.lat_deg, ends.lon_deg, strict=True):
        noon = day + ((12.0 - float(lon) / 15.0) % 24.0) * 3600.0
        times = np.concatenate([[t, noon], day + np.arange(24) * 3600.0])
        layers = ionosphere.characteristics(UtcTimes(times), float(lat), float(lon), f107_sfu)
        muf = 1.1 * layers.m3000f2_ratio * layers.fof2_mhz
        ratio = upper_ratio(muf[0], muf[1], muf[2:].min(), azimuth)
        upper = min(upper, float(ratio * muf[0]))

    passes = math.ceil(distance / 3000.0)
    hop_km = distance / passes
    elevation, slant = _hop(hop_km)
    inside = _R0_KM * (math.acos(_R0_KM * math.cos(elevation) / (_R0_KM + 90.0)) - elevation)
    at = points(
        [
            (i * hop_km + offset) / distance
            for i in range(passes)
            for offset in (inside, hop_km - inside)
        ]
    )
    cos_incidence = math.sqrt(1 - (_R0_KM * math.cos(elevation) / (_R0_KM + 90.0)) ** 2)
    winter = _winter(t, tx_lat_deg, rx_lat_deg)
    latitude = _latitude(t, float(np.mean(ends.lat_deg)))
    r12 = float(ionosphere.r12_from_f107(f107_sfu))

    def raw(instant: float) -> float:
        zenith = sun.position(UtcTimes(np.array(instant)), at.lat_deg, at.lon_deg).zenith_deg
        cosines = np.cos(np.radians(np.asarray(zenith)))
        return lower_mhz(cosines, cos_incidence, passes * slant, r12, gyro, winter, latitude)

    least = math.sqrt(distance / 3000.0)
    lower = max(raw(t), least)
    if lower < 2 * least:  # it decays for three hours after it has fallen to twice the least
        for minutes in range(5, 181, 5):
            if raw(t - 60.0 * minutes) >= 2 * least:
                lower = max(lower, 2 * least * math.exp(-0.23 * minutes / 60.0))
                break

    free_km = hops * _hop(distance / hops)[1]
    angle = distance / _R0_KM
    gap = min(10 * math.log10(angle / max(abs(math.sin(angle)), 1e-9)), 15.0)
    level = (139.6 - 20 * math.log10(free_km)) * bracket(freq_khz / 1e3, upper, lower, gyro)
    field = level + CONSTANTS_DB[constant] + 10 * math.log10(power_kw) + tx_gain_dbi + gap
    return Combined(field, upper, lower, SPREAD_DB)


def _hop(hop_km: float) -> tuple[float, float]:
    """Elevation [rad] and slant path [km] of a hop over a mirror at 300 km."""
    half = hop_km / (2 * _R0_KM)
    elevation = math.atan2(math.cos(half) - _R0_KM / (_R0_KM + _MIRROR_KM), math.sin(half))
    return elevation, 2 * _R0_KM * math.sin(half) / math.cos(elevation + half)


def _of_month(table: tuple[float, ...], t_unix_s: float, south: bool) -> float:
    """Linear between the middles of the months, half a year later in the south."""
    month = t_unix_s / (365.2425 / 12 * _DAY_S) - 0.5 + (6.0 if south else 0.0)
    before = math.floor(month)
    share = month - before
    return table[before % 12] * (1 - share) + table[(before + 1) % 12] * share


def _winter(t_unix_s: float, tx_lat_deg: float, rx_lat_deg: float) -> float:
    """Winter factor by the zones of both ends."""
    north = sum(lat > 35.0 for lat in (tx_lat_deg, rx_lat_deg))
    south = sum(lat < -35.0 for lat in (tx_lat_deg, rx_lat_deg))
    if north == 2:
        return _of_month(_BOTH_NORTH, t_unix_s, False)
    if south == 2:
        return _of_month(_BOTH_NORTH, t_unix_s, True)
    if north == 1 and south == 0:
        return _of_month(_ONE_NORTH, t_unix_s, False)
    if south == 1 and north == 0:
        return _of_month(_ONE_NORTH, t_unix_s, True)
    return 1.0


def _latitude(t_unix_s: float, lat_deg: float) -> float:
    """Winter-anomaly factor: 1 up to 30 and at 90 degrees of latitude, the table at 60."""
    lat = abs(lat_deg)
    share = max(0.0, (lat - 30.0) / 30.0 if lat <= 60.0 else (90.0 - lat) / 30.0)
    return 1.0 + share * (_of_month(_AT_60, t_unix_s, lat_deg < 0.0) - 1.0)

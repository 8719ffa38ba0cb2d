"""The listener's home: place, clock, noise, antenna, and what changed when.

A station file is TOML::

    name = "Home"
    lat_deg = 58.4
    lon_deg = 26.7
    time_zone = "Europe/Tallinn"
    noise = "residential"
    antenna = "20 m long wire"

    [[setups]]
    from_date = 2025-09-01
    to_date = 2025-12-31        # left out: still in use
    receiver = "general coverage receiver"
    antenna = "20 m long wire"
    note = "9 kHz filter"

.. caution:: Exact home coordinates tell everyone where the listener lives, and a log tells when
   nobody is at home. Keep the station file private; one decimal of a degree is enough for the
   calculations and is a cell of some 11 km.
"""

from __future__ import annotations

import datetime as dt
import itertools
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from farhear.errors import InputError
from farhear.tables import decode, near_name, read_bytes_of

if TYPE_CHECKING:
    from farhear.charts.pictures import StationPictures

__all__ = ["NOISE_CLASSES", "Setup", "Station", "read_station"]

NOISE_CLASSES = ("city", "residential", "rural", "quiet rural")
"""Environments of man-made noise, ITU-R P.372."""

_TEXT_LIMIT = 200


def _text(key: str, value: object, *, may_be_empty: bool = True) -> str:
    if not isinstance(value, str):
        raise InputError(f"{key} = {value!r} is not text")
    if len(value) > _TEXT_LIMIT:
        raise InputError(f"{key} is longer than {_TEXT_LIMIT} characters")
    if not may_be_empty and not value.strip():
        raise InputError(f"{key} is empty")
    return value


def _number(key: str, value: object, low: float, high: float, hint: str = "") -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise InputError(f"{key} = {value!r} is not a number")
    if not low <= value <= high or not math.isfinite(value):
        text = f"{key} = {value:g} is outside [{low:g}, {high:g}]"
        raise InputError(f"{text}; {hint}" if hint else text)
    return float(value)


def _date(key: str, value: object) -> dt.date:
    if isinstance(value, str):
        try:
            value = dt.date.fromisoformat(value)
        except ValueError:
            raise InputError(f"{key} = {value!r} is not a date written YYYY-MM-DD") from None
    if isinstance(value, dt.datetime) or not isinstance(value, dt.date):
        raise InputError(f"{key} = {value!r} is not a date written YYYY-MM-DD")
    return value


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """Receiver and antenna in use from one day to another, both included.

    `to_date` None means still in use.
    """

    from_date: dt.date
    to_date: dt.date | None = None
    receiver: str = ""
    antenna: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        _date("from_date", self.from_date)
        if self.to_date is not None and _date("to_date", self.to_date) < self.from_date:
            raise InputError(
                f"to_date = {self.to_date.isoformat()} is before "
                f"from_date = {self.from_date.isoformat()}"
            )
        for key in ("receiver", "antenna", "note"):
            _text(key, getattr(self, key))


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """One home.

    Parameters
    ----------
    name
        Free name.
    lat_deg, lon_deg
        Home, north and east positive, [-90, 90] and [-180, 180]. [deg]
        See the caution of this module before sharing them.
    time_zone
        Zone name of the tz database, for example 'Europe/Tallinn'.
    noise
        Environment ('city', 'residential', 'rural', 'quiet rural'), or the measured man-made
        noise figure at the listening frequency, [0, 120] (bound: common practice, no source).
        [dB above k T0 B]
    antenna
        Free text.
    bandwidth_hz
        Receiver bandwidth, [50, 20000]. [Hz]
    required_snr_db
        Signal to noise in `bandwidth_hz` that counts as heard, [-30, 60]. [dB]
        17 dB: intelligible with effort (common practice, no source).
    min_elevation_deg
        Lowest usable elevation of arrival, [0, 30]. [deg]
    setups
        Dated setups, see :class:`Setup`; they must not overlap.

    Raises
    ------
    InputError
        On a value out of range, an unknown zone, overlapping setups, or coordinates that fit the
        zone only when swapped.
    """

    name: str
    lat_deg: float
    lon_deg: float
    time_zone: str
    noise: str | float = "residential"
    antenna: str = ""
    bandwidth_hz: float = 9000.0
    required_snr_db: float = 17.0
    min_elevation_deg: float = 3.0
    setups: tuple[Setup, ...] = ()

    def __post_init__(self) -> None:
        put = object.__setattr__
        _text("name", self.name, may_be_empty=False)
        _text("antenna", self.antenna)
        swapped = "latitude comes before longitude: are the two swapped?"
        put(self, "lat_deg", _number("lat_deg", self.lat_deg, -90.0, 90.0, swapped))
        put(self, "lon_deg", _number("lon_deg", self.lon_deg, -180.0, 180.0))
        _text("time_zone", self.time_zone, may_be_empty=False)
        _check_zone(self.time_zone)
        _check_not_swapped(self.lat_deg, self.lon_deg, self.time_zone)
        put(self, "noise", _checked_noise(self.noise))
        put(self, "bandwidth_hz", _number("bandwidth_hz", self.bandwidth_hz, 50.0, 20000.0))
        put(self, "required_snr_db", _number("required_snr_db", self.required_snr_db, -30.0, 60.0))
        elevation_deg = _number("min_elevation_deg", self.min_elevation_deg, 0.0, 30.0)
        put(self, "min_elevation_deg", elevation_deg)
        put(self, "setups", _checked_setups(self.setups))

    @property
    def plot(self) -> StationPictures:
        """Charts: `day_night(utc, ...)`."""
        from farhear.charts.pictures import StationPictures

        return StationPictures(self)

    def _repr_html_(self) -> str:
        from farhear._rich import panel
        from farhear.path import locator

        noise = self.noise if isinstance(self.noise, str) else f"{self.noise:g} dB above k T0 B"
        facts = {
            "cell of 1 x 2 degrees": locator(self.lat_deg, self.lon_deg, 4),
            "time zone": self.time_zone,
            "noise": noise,
            "antenna": self.antenna or "not said",
            "heard from": f"{self.required_snr_db:g} dB in {self.bandwidth_hz:g} Hz on",
            "setups": ", ".join(one.from_date.isoformat() for one in self.setups) or "none",
        }
        return panel(self.name, facts, notes=["The place itself is not shown: notebooks travel."])

    @classmethod
    def from_toml(cls, path: str | Path) -> Station:
        """Read a station file; see the module text for its form.

        Raises
        ------
        InputError
            On a file that is not TOML, an unknown key (with the near name), a missing key, or a
            value that :class:`Station` refuses.
        OSError
            When the file cannot be opened.
        """
        path = Path(path)
        text = decode(read_bytes_of(path), path.name)
        try:
            content = tomllib.loads(text)
        except (ValueError, RecursionError) as cause:  # numbers and nests without end, too
            raise InputError(f"{path.name} is not TOML: {cause}") from None
        try:
            return _from_mapping(content)
        except InputError as fault:
            raise InputError(f"{path.name}: {fault}") from None

    def setup_on(self, date: dt.date) -> Setup | None:
        """Return the setup in use on a local date, or None."""
        for setup in self.setups:
            if setup.from_date <= date and (setup.to_date is None or date <= setup.to_date):
                return setup
        return None


def read_station(path: str | Path) -> Station:
    """Read a station file, the same as :meth:`Station.from_toml`."""
    return Station.from_toml(path)


def _from_mapping(content: Mapping[str, Any]) -> Station:
    _check_keys(content, tuple(f.name for f in fields(Station)), "")
    for key in ("name", "lat_deg", "lon_deg", "time_zone"):
        if key not in content:
            raise InputError(f"key {key!r} is missing")
    values = dict(content)
    raw = values.pop("setups", [])
    if not isinstance(raw, list):
        raise InputError("setups is not a list of tables; write [[setups]]")
    setups: list[Setup] = []
    for index, entry in enumerate(raw):
        where = f"setups[{index}]"
        if not isinstance(entry, dict):
            raise InputError(f"{where} is not a table; write [[setups]]")
        _check_keys(entry, tuple(f.name for f in fields(Setup)), f"{where}.")
        if "from_date" not in entry:
            raise InputError(f"key '{where}.from_date' is missing")
        dated = dict(entry)
        try:
            for key in ("from_date", "to_date"):
                if key in dated:
                    dated[key] = _date(key, dated[key])
            setups.append(Setup(**dated))
        except InputError as fault:
            raise InputError(f"{where}.{fault}") from None
    return Station(setups=tuple(setups), **values)


def _check_keys(content: Mapping[str, Any], known: tuple[str, ...], prefix: str) -> None:
    for key in content:
        if key not in known:
            raise InputError(f"unknown key '{prefix}{key}'{near_name(key, known)}")


def _checked_noise(noise: object) -> str | float:
    if isinstance(noise, str):
        if noise not in NOISE_CLASSES:
            raise InputError(
                f"noise = {noise!r} is none of {', '.join(map(repr, NOISE_CLASSES))}"
                f"{near_name(noise, NOISE_CLASSES)}"
            )
        return noise
    return _number("noise", noise, 0.0, 120.0)


def _checked_setups(setups: object) -> tuple[Setup, ...]:
    if not isinstance(setups, (tuple, list)) or not all(isinstance(s, Setup) for s in setups):
        raise InputError("setups is not a tuple of Setup")
    order = sorted(range(len(setups)), key=lambda i: setups[i].from_date)
    for i, j in itertools.pairwise(order):
        if setups[i].to_date is None or setups[i].to_date >= setups[j].from_date:
            ends = "has no to_date" if setups[i].to_date is None else f"ends {setups[i].to_date}"
            raise InputError(
                f"setups[{i}] and setups[{j}] overlap: "
                f"the first {ends}, the second starts {setups[j].from_date}"
            )
    return tuple(setups[i] for i in order)


def _check_zone(zone: str) -> None:
    from farhear import clock

    try:
        clock.offset_min("2026-01-01T00:00Z", zone)
    except InputError as fault:
        raise InputError(f"time_zone = {zone!r}: {fault}") from None


@lru_cache(maxsize=1)
def _zone_places() -> dict[str, tuple[float, float]]:
    """Principal place of each zone from the tz database's zone.tab, empty when not installed."""
    try:
        table = (files("tzdata") / "zoneinfo" / "zone.tab").read_text("utf-8")
    except (ModuleNotFoundError, FileNotFoundError):
        return {}
    places = {}
    for line in table.splitlines():
        if line.startswith("#"):
            continue
        _, place, zone = line.split("\t")[:3]
        cut = max(place.rfind("+"), place.rfind("-"))
        places[zone] = (_iso6709_deg(place[:cut], 2), _iso6709_deg(place[cut:], 3))
    return places


def _iso6709_deg(text: str, degree_digits: int) -> float:
    sign = -1.0 if text[0] == "-" else 1.0
    digits = text[1:]
    parts = [digits[:degree_digits], digits[degree_digits : degree_digits + 2]]
    parts.append(digits[degree_digits + 2 :] or "0")
    return sign * sum(float(part) / 60.0**i for i, part in enumerate(parts))


def _arc_deg(lat1_deg: float, lon1_deg: float, lat2_deg: float, lon2_deg: float) -> float:
    a, b = math.radians(lat1_deg), math.radians(lat2_deg)
    half = math.sin((a - b) / 2) ** 2
    half += math.cos(a) * math.cos(b) * math.sin(math.radians(lon1_deg - lon2_deg) / 2) ** 2
    return math.degrees(2 * math.asin(min(1.0, math.sqrt(half))))


_FAR_DEG = 25.0
_NEAR_DEG = 15.0


def _check_not_swapped(lat_deg: float, lon_deg: float, zone: str) -> None:
    """Refuse a home far from its zone's principal place that is near it when swapped.

    25 and 15 degrees: common practice, no source. It lets pass every home whose swap is not nearer.
    """
    place = _zone_places().get(zone)
    if place is None or abs(lon_deg) > 90.0:
        return
    far = _arc_deg(lat_deg, lon_deg, *place) > _FAR_DEG
    if far and _arc_deg(lon_deg, lat_deg, *place) < _NEAR_DEG:
        raise InputError(
            f"lat_deg = {lat_deg:g}, lon_deg = {lon_deg:g} is far from time_zone {zone!r}, "
            "but near it when swapped: latitude comes before longitude"
        )

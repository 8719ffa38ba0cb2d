"""Civil time: zones, wall clocks and broadcast seasons, 1900-2100.

Everything in farhear is UTC; this is the door to and from what a clock on the wall shows. Zone
rules come from the PyPI package ``tzdata``, or from the system's zone files where that package is
missing; :func:`tzdata_edition` names the source, because future changes are today's law and a
result is only as good as the edition behind it.
"""

from __future__ import annotations

import datetime as dt
import difflib
import os
import re
from functools import lru_cache
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from farhear import _core
from farhear._arrays import Floats, restore
from farhear.errors import InputError
from farhear.times import UtcTimes, utc

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
"""Days of the week in the order of ISO 8601 and of `datetime.weekday`."""

__all__ = [
    "day_span",
    "offset_min",
    "season",
    "season_span",
    "to_local",
    "to_utc",
    "tzdata_edition",
    "weekday",
    "zone_names",
]

_DAY_S = 86400.0
_AMBIGUOUS = {
    "raise": _core.clock.Ambiguous.RAISE,
    "earlier": _core.clock.Ambiguous.EARLIER,
    "later": _core.clock.Ambiguous.LATER,
}
_MISSING = {"raise": _core.clock.Missing.RAISE, "shift": _core.clock.Missing.SHIFT}

# --- where the rules come from ---------------------------------------------------------------


def _system_folders() -> list[Path]:
    told = [Path(p) for p in os.environ.get("TZDIR", "").split(os.pathsep) if p]
    usual = ["/usr/share/zoneinfo", "/usr/lib/zoneinfo", "/usr/share/lib/zoneinfo", "/etc/zoneinfo"]
    return [p for p in [*told, *map(Path, usual)] if p.is_absolute() and p.is_dir()]


def _package() -> Traversable | None:
    try:
        root = resources.files("tzdata")
    except ModuleNotFoundError:
        return None
    return root if root.joinpath("zones").is_file() else None


@lru_cache(maxsize=1)
def _source() -> tuple[Traversable, tuple[str, ...], str]:
    """Folder of the zone files, the names in it, and the edition in words."""
    package = _package()
    if package is not None:
        import tzdata  # type: ignore[import-untyped, unused-ignore]

        names = package.joinpath("zones").read_text(encoding="utf-8").split()
        edition = f"PyPI tzdata {tzdata.__version__} (IANA {tzdata.IANA_VERSION})"
        return package.joinpath("zoneinfo"), tuple(sorted(names)), edition
    for folder in _system_folders():
        found = _names_in(folder)
        if found:
            return folder, found, f"system {_system_version(folder)} ({folder})"
    raise InputError("no time zone rules found; install the PyPI package tzdata")


def _names_in(folder: Path) -> tuple[str, ...]:
    skipped = {"posix", "right", "posixrules", "localtime"}  # copies, leap seconds, a setting
    names = []
    for path in folder.rglob("*"):
        relative = path.relative_to(folder)
        if relative.parts[0] not in skipped and path.is_file():
            with path.open("rb") as file:
                if file.read(4) == b"TZif":
                    names.append(relative.as_posix())
    return tuple(sorted(names))


def _system_version(folder: Path) -> str:
    rules = folder / "tzdata.zi"
    if rules.is_file():
        with rules.open(encoding="utf-8", errors="replace") as file:
            match = re.match(r"# version (\S+)", file.readline())
        if match:
            return match.group(1)
    stamp = folder / "+VERSION"
    if stamp.is_file():
        return stamp.read_text(encoding="utf-8", errors="replace").strip()
    return "edition unknown"


def tzdata_edition() -> str:
    """Name the source and edition of the zone rules in use; keep it with every result.

    Returns
    -------
    Text such as ``PyPI tzdata 2026.6 (IANA 2026f)`` or ``system 2025b (/usr/share/zoneinfo)``.
    """
    return _source()[2]


def zone_names() -> list[str]:
    """Return the names of all zones in the edition in use, sorted."""
    return list(_source()[1])


@lru_cache(maxsize=64)
def _zone(name: str) -> _core.clock.Zone:
    folder, names, edition = _source()
    # Only names on the list are ever opened, so no text can lead out of the folder.
    if not isinstance(name, str) or name not in names:
        raise InputError(f"zone {name!r} is not in {edition}{_near(str(name), names)}")
    return _core.clock.Zone(name, folder.joinpath(*name.split("/")).read_bytes())


def _near(name: str, names: tuple[str, ...]) -> str:
    folded: dict[str, str] = {}
    for known in names:  # the full name, and its last part: "tallinn" finds Europe/Tallinn
        folded.setdefault(known.lower(), known)
        folded.setdefault(known.lower().rpartition("/")[2], known)
    wanted = name.strip().lower().replace(" ", "_")
    close = difflib.get_close_matches(wanted, folded, n=5, cutoff=0.7)
    near = list(dict.fromkeys(folded[c] for c in close))[:3]
    return f"; near names: {', '.join(near)}" if near else "; see fh.clock.zone_names()"


def _get_zone(name: str) -> _core.clock.Zone:
    try:
        return _zone(name)
    except TypeError:  # not hashable
        raise InputError(f"zone {name!r} is not the name of a time zone") from None


# --- UTC to wall ------------------------------------------------------------------------------


def _flat_unix_s(value: Any) -> tuple[Floats, tuple[int, ...]]:
    t = utc(value).unix_s
    return np.ascontiguousarray(t).reshape(-1), t.shape


def to_local(utc: Any, zone: str) -> Any:
    """Wall-clock readings of instants.

    Parameters
    ----------
    utc
        Instants of any shape, whatever `fh.utc` takes.
    zone
        Name of a time zone, such as "Europe/Tallinn".

    Returns
    -------
    numpy datetime64[s] of the same shape: **wall time, not UTC**, in whole seconds (a fraction is
    dropped, downwards). A missing instant gives NaT.

    Raises
    ------
    InputError
        Unknown zone (the text offers near names); naive times; years outside 1900-2100.

    References
    ----------
    RFC 9636, The Time Zone Information Format (TZif), 2024.

    Examples
    --------
    >>> print(to_local("2026-11-26T01:30Z", "America/New_York"))
    2026-11-25T20:30:00
    """
    t, shape = _flat_unix_s(utc)
    return restore(_get_zone(zone).to_local(t).view("datetime64[s]"), shape)


def offset_min(utc: Any, zone: str) -> Any:
    """Offset of wall time from UTC, east positive. [min]

    Parameters
    ----------
    utc
        Instants of any shape, whatever `fh.utc` takes.
    zone
        Name of a time zone.

    Returns
    -------
    float64 of the same shape [min]; not always whole (local mean time before about 1920). NaN for
    a missing instant.

    Raises
    ------
    InputError
        As :func:`to_local`.

    Examples
    --------
    >>> print(offset_min("2026-01-01T00:00Z", "Asia/Kathmandu"))
    345.0
    """
    t, shape = _flat_unix_s(utc)
    return restore(_get_zone(zone).offset_s(t) / 60.0, shape)


# --- wall to UTC ------------------------------------------------------------------------------


def _refuse_aware(what: str) -> InputError:
    return InputError(
        f"wall time {what} has a time zone already; a wall time has none. "
        "Use fh.utc(...) for times with a zone"
    )


def _wall_s(value: Any) -> Floats:
    """Wall readings as seconds since 1970-01-01T00:00 of the same clock. [s]"""
    if isinstance(value, UtcTimes):
        raise _refuse_aware(repr(value))
    dtype = getattr(value, "dtype", None)
    if dtype is not None and getattr(dtype, "tz", None) is not None:
        raise _refuse_aware(f"of type {dtype}")
    if isinstance(value, np.datetime64) or (
        isinstance(dtype, np.dtype) and np.issubdtype(dtype, np.datetime64)
    ):
        stamps = np.asarray(value)
        if np.datetime_data(stamps.dtype)[0] == "s":
            seconds = stamps.astype("datetime64[s]", copy=False).view(np.int64).astype(np.float64)
        else:
            seconds = stamps.astype("datetime64[us]").astype(np.int64) / 1e6
        missing = np.isnat(stamps)
        return np.where(missing, np.nan, seconds) if missing.any() else np.asarray(seconds)
    if isinstance(value, str):
        try:
            parsed = dt.datetime.fromisoformat(value)
        except ValueError:
            raise InputError(
                f"wall time {value!r} is not ISO 8601 without a zone, for example 2026-11-25T20:30"
            ) from None
        return _wall_s(parsed)
    if isinstance(value, dt.datetime):
        if value != value:  # pandas NaT
            return np.array(np.nan)
        if value.tzinfo is not None:
            raise _refuse_aware(value.isoformat())
        return np.array((value - dt.datetime(1970, 1, 1)) / dt.timedelta(seconds=1))  # noqa: DTZ001
    if isinstance(value, (list, tuple)):
        if not value:
            return np.empty(0)
        parts = [_wall_s(v) for v in value]
        if len({p.shape for p in parts}) > 1:
            raise InputError("wall: the rows of the list differ in length")
        return np.array(parts)
    if dtype is not None and hasattr(value, "tolist"):  # array or column of texts or datetimes
        return _wall_s(value.tolist())
    raise InputError(f"{type(value).__name__} {value!r} is not a wall time")


def _policy(name: str, value: str, known: dict[str, Any]) -> Any:
    try:
        return known[value]
    except (KeyError, TypeError):
        allowed = ", ".join(repr(k) for k in known)
        raise InputError(f"{name} = {value!r} is not one of {allowed}") from None


def to_utc(
    wall: Any,
    zone: str,
    ambiguous: Literal["raise", "earlier", "later"] = "raise",
    missing: Literal["raise", "shift"] = "raise",
) -> UtcTimes:
    """Instants of wall-clock readings.

    When clocks go back, an hour of readings happens twice; when they go forward, an hour of
    readings never happens. Both raise unless told what to do: a guess would put a log entry an
    hour off without a trace.

    Parameters
    ----------
    wall
        Readings without a zone: datetime, ISO 8601 text, numpy datetime64 of any shape, naive
        pandas times, or a (nested) list of these. The `fold` mark of a datetime is not read.
    zone
        Name of a time zone.
    ambiguous
        For a reading that happens twice: "raise", or take the "earlier" or "later" instant.
    missing
        For a reading that never happens: "raise", or "shift" it forward by the length of the gap
        (02:30 in a gap from 02:00 to 03:00 is read as 03:30).

    Returns
    -------
    UtcTimes of the same shape; NaT gives NaN.

    Raises
    ------
    InputError
        Naming index, reading, zone and both instants; on a time that has a zone; on an unknown
        zone or policy; on years outside 1900-2100.

    Examples
    --------
    >>> to_utc("2026-11-25T20:30", "America/New_York")
    UtcTimes([2026-11-26T01:30:00Z], shape=())
    """
    policies = (
        _policy("ambiguous", ambiguous, _AMBIGUOUS),
        _policy("missing", missing, _MISSING),
    )
    found = _get_zone(zone)
    seconds = _wall_s(wall)
    flat = np.ascontiguousarray(seconds).reshape(-1)
    try:
        return UtcTimes(found.to_utc(flat, *policies).reshape(seconds.shape))
    except InputError as cause:
        raise InputError(_shaped_index(str(cause), seconds.shape)) from None


def _shaped_index(text: str, shape: tuple[int, ...]) -> str:
    """Turn the flat index of the core's complaint into one of the caller's array."""
    match = re.match(r"(\w+)\[(\d+)\]", text)
    if match is None or len(shape) < 2:
        return text
    index = np.unravel_index(int(match.group(2)), shape)
    return f"{match.group(1)}[{', '.join(str(int(i)) for i in index)}]{text[match.end() :]}"


def _days(date: Any) -> NDArray[np.datetime64]:
    if isinstance(date, dt.datetime) or not isinstance(date, (dt.date, str, np.datetime64)):
        kind = np.asarray(date).dtype
        if isinstance(date, dt.datetime) or kind not in (np.dtype("datetime64[D]"), object):
            raise InputError(
                f"date {date!r} is not a calendar date; give datetime.date, text such as "
                "2026-11-25, or numpy datetime64[D]"
            )
    if isinstance(date, np.datetime64) and date.dtype != np.dtype("datetime64[D]"):
        raise InputError(f"date {date!r} is not a calendar date but a time; use datetime64[D]")
    try:
        if isinstance(date, str):
            date = dt.date.fromisoformat(date)
        return np.asarray(date, dtype="datetime64[D]")
    except (TypeError, ValueError):
        raise InputError(f"date {date!r} is not a calendar date such as 2026-11-25") from None


def day_span(date: Any, zone: str) -> UtcTimes:
    """First instants of a local calendar day and of the next day.

    The length of the day is what it is: 23, 24 or 25 hours, or another where a zone moved. Days
    tile the time line: when clocks go back across midnight (St. John's till 2011), the repeated
    minutes count to the later day. Where midnight is skipped the day starts at the change.

    Parameters
    ----------
    date
        Local calendar date: datetime.date, ISO text, or numpy datetime64[D] of any shape.
    zone
        Name of a time zone.

    Returns
    -------
    UtcTimes of shape (..., 2): start, and end (not part of the day).

    Raises
    ------
    InputError
        On a date that the zone skipped (Pacific/Apia, 2011-12-30), an unknown zone, what is no
        date, NaT, or a day that does not lie in the years 1900-2100 of UTC.

    Examples
    --------
    >>> day_span("2026-10-25", "Europe/Tallinn")
    UtcTimes([2026-10-24T21:00:00Z, 2026-10-25T22:00:00Z], shape=(2,))
    """
    days = _days(date)
    if np.isnat(days).any():
        raise InputError("date is NaT; a day is needed")
    found = _get_zone(zone)
    midnight = days.astype(np.int64).astype(np.float64).reshape(-1) * _DAY_S
    try:
        span = found.first_instant(np.stack([midnight, midnight + _DAY_S], axis=-1).reshape(-1))
    except InputError:
        worst = days.reshape(-1)[int(np.argmax(np.abs(midnight)))]
        raise InputError(f"date {worst} is outside the years 1900-2100") from None
    span = span.reshape(-1, 2)
    skipped = span[:, 0] >= span[:, 1]
    if skipped.any():
        first = days.reshape(-1)[int(np.argmax(skipped))]
        raise InputError(f"date {first} does not exist in {zone}: the zone skipped it")
    return UtcTimes(span.reshape(*days.shape, 2))


def weekday(value: Any) -> Any:
    """ISO weekday, 1 = Monday to 7 = Sunday, of instants (in UTC) or of wall times.

    The two can differ for the same moment: Wednesday evening in New York is Thursday in UTC.

    Parameters
    ----------
    value
        UtcTimes (the weekday of the UTC date), or wall times as :func:`to_utc` takes them.

    Returns
    -------
    int64 of the same shape; 0 for a missing time.

    Examples
    --------
    >>> print(weekday(to_local("2026-11-26T01:30Z", "America/New_York")))
    3
    """
    seconds = value.unix_s if isinstance(value, UtcTimes) else _wall_s(value)
    missing = np.isnan(seconds)
    days = np.floor(np.where(missing, 0.0, seconds) / _DAY_S).astype(np.int64)
    return restore(np.where(missing, 0, (days + 3) % 7 + 1), seconds.shape)


# --- seasons ----------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def _season_names() -> NDArray[np.str_]:
    years = range(_core.clock.FIRST_SEASON_YEAR, _core.clock.LAST_SEASON_YEAR + 1)
    return np.array([*(f"{half}{y % 100:02d}" for y in years for half in "AB"), ""])


def season(utc: Any) -> Any:
    """Name of the broadcast season of instants.

    A runs from the last Sunday of March, 0100 UTC, to the last Sunday of October, 0100 UTC; B is
    the rest and bears the year in which it starts: January 2027 is in B26.

    Parameters
    ----------
    utc
        Instants of any shape, whatever `fh.utc` takes, from A50 (1950) to B49 (March 2050). In use
        since 1999; earlier names are reckoned backwards.

    Returns
    -------
    Text such as "A27", an array of texts for an array; "" for a missing instant.

    Raises
    ------
    InputError
        Naive times; instants outside the seasons.

    References
    ----------
    ITU Radio Regulations, Article 12.

    Examples
    --------
    >>> str(season("2027-01-15T18:00Z"))
    'B26'
    """
    t, shape = _flat_unix_s(utc)
    return restore(_season_names()[_core.clock.season_count(t)], shape)


def season_span(name: str) -> UtcTimes:
    """Start and end of a broadcast season.

    Parameters
    ----------
    name
        "A" or "B" and the last two digits of the year in which the season starts; the digits
        stand for 1950-2049.

    Returns
    -------
    UtcTimes of shape (2,): first instant, and first instant of the next season.

    Raises
    ------
    InputError
        On any other text; it says what is allowed.

    Examples
    --------
    >>> season_span("B26")
    UtcTimes([2026-10-25T01:00:00Z, 2027-03-28T01:00:00Z], shape=(2,))
    """
    if not isinstance(name, str):
        raise InputError(f"season {name!r} is not text such as A27 or B26")
    return UtcTimes(np.array(_core.clock.season_span(name), dtype=np.float64))

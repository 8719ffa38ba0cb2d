"""The log by evenings: when each check was, counted from sunset, and when a band opened.

An *evening* runs from local noon to the next local noon and bears the date on which it starts, so
that a check at 01:00 belongs to the evening before. A check counts where its middle lies.

When a band opened is never seen; it is known to lie between two checks. :func:`openings` gives the
two ends, and infinite ones where the log has only one of them: whoever compares clock times of
first hearings instead finds the band that was looked at more often (measured for this project).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from farhear import _core, clock
from farhear._arrays import Floats
from farhear.band import name_of
from farhear.errors import InputError
from farhear.log import OUTCOMES, Log
from farhear.schedule import Schedule
from farhear.station import Station
from farhear.sun import HORIZON_ZENITH_DEG
from farhear.tables import plain_name
from farhear.times import UtcTimes, iso_text, to_index, unix_s

__all__ = ["STATES", "Nights", "evening_of", "nights", "openings", "order_of", "table"]

STATES = ("between", "already open", "never open", "no usable check")
"""What the checks of one band on one evening say about its opening."""

_DAY_S = 86400.0
_MONDAY = 4  # 1970-01-05, days since 1970-01-01
_USABLE = {"heard": 1.0, "carrier_only": 0.0, "not_heard": 0.0}
_TEXTS = ("identity", "observer_id", "session_id", "setup_id")


class Nights(NamedTuple):
    """Sunset of each evening, and the sunrise that ends it; NaN where there is none."""

    sunset_utc: UtcTimes
    sunrise_utc: UtcTimes


def evening_of(utc: Any, zone: str) -> NDArray[np.datetime64]:
    """Date of the local noon before each instant.

    Parameters
    ----------
    utc
        Instants, any shape; whatever :func:`farhear.utc` accepts.
    zone
        Name of a time zone.

    Returns
    -------
    datetime64[D] of the same shape; NaT for a missing instant. The clock on the wall decides: noon
    is when it shows 12:00.

    Raises
    ------
    InputError
        On times without a zone, an unknown zone.

    Examples
    --------
    >>> str(evening_of("2026-11-26T01:00+02:00", "Europe/Tallinn"))
    '2026-11-25'
    """
    wall = np.asarray(clock.to_local(utc, zone))
    return np.asarray((wall - np.timedelta64(12, "h")).astype("datetime64[D]"))


def nights(evening: Any, station: Station) -> Nights:
    """Sunset and sunrise at home of evenings.

    Parameters
    ----------
    evening
        Local dates, datetime64[D] (or another datetime64, cut to days), 1-D.
    station
        Gives place and zone.

    Returns
    -------
    Nights
        `sunset_utc`, the first within 24 h after local noon of that date, and `sunrise_utc`, the
        first within 24 h after that sunset (after noon where there is none). NaN when the sun does
        not set or rise, as in polar day and night. Upper limb on the horizon with 34' of
        refraction, see :mod:`farhear.sun`.

    Examples
    --------
    >>> from farhear.station import Station
    >>> home = Station(name="Home", lat_deg=58.4, lon_deg=26.7, time_zone="Europe/Tallinn")
    >>> print(nights(np.array(["2026-03-20"], "datetime64[D]"), home).sunset_utc)
    UtcTimes([2026-03-20T16:27:09Z], shape=(1,))
    """
    days = np.asarray(evening).astype("datetime64[D]").reshape(-1)
    noon = days.astype("datetime64[s]") + np.timedelta64(12, "h")
    noon_s = clock.to_utc(noon, station.time_zone, ambiguous="earlier", missing="shift").unix_s
    lat, lon, angle = (
        np.full(days.size, value)
        for value in (station.lat_deg, station.lon_deg, HORIZON_ZENITH_DEG)
    )
    _, set_s, _ = _core.sun.events(noon_s, noon_s + _DAY_S, lat, lon, angle)
    from_s = np.where(np.isnan(set_s), noon_s, set_s + 1.0)
    rise_s, _, _ = _core.sun.events(from_s, from_s + _DAY_S, lat, lon, angle)
    return Nights(UtcTimes(set_s), UtcTimes(rise_s))


# The table --------------------------------------------------------------------------------------


def table(
    log: Log | pd.DataFrame, station: Station, *, schedule: Schedule | None = None
) -> pd.DataFrame:
    """Checks of a log with their evening, and their minutes after sunset at home.

    Parameters
    ----------
    log
        From :func:`farhear.log.read_log`, or a frame with its columns; `start_utc`, `end_utc`,
        `freq_khz` and `outcome` are needed.
    station
        The home.
    schedule
        Where given, a check of a channel whose broadcast the schedule has off the air at the
        middle of the check says nothing, whatever came of it: `heard` is NaN. The broadcast is
        that on the same frequency with `identity` the same broadcaster (any broadcaster where
        `identity` is empty). What the schedule does not list in that season stays as it is.

    Returns
    -------
    DataFrame, one row a check, in order of start (then end, then row):

    row
        As in the log; counted from 0 where it has none.
    start_utc, end_utc, middle_utc
        Instants, aware UTC, to the microsecond.
    evening
        Local date of the noon before the middle; midnights of datetime64[s], no zone.
    week
        Whole weeks since the Monday on or before the first evening of the log, from 0.
    freq_khz, band
        [kHz]; name of the broadcast band, "other" outside.
    identity, observer_id, session_id
        As in the log, "" where empty.
    setup_id
        As in the log; where empty, the `from_date` of the station's setup on the local date on
        which the check began, "" where it has none.
    outcome, heard
        Word, and 1.0 heard, 0.0 not_heard and carrier_only, NaN blocked and not_checked.
    on_air
        1.0 and 0.0 by the schedule; NaN where it does not tell or none was given.
    sunset_utc, sunrise_utc
        Sunset of the evening and the sunrise that ends it; NaT in polar day and night.
    start_min, end_min, middle_min
        Minutes after that sunset, negative before; NaN where there is none. [min]
    position
        Order of the check inside its evening, from 0.

    Raises
    ------
    InputError
        On columns that are missing, times that are missing or have no zone, an end before its
        start, an unknown outcome, a log without rows or without one that tells (naming what it
        has instead).
    """
    frame = log.frame if isinstance(log, Log) else log
    for name in ("start_utc", "end_utc", "freq_khz", "outcome"):
        if name not in frame.columns:
            raise InputError(f"log has no column {name!r}")
    if not len(frame):
        raise InputError("log has no rows: there is nothing to look at yet")
    count = len(frame)
    row = frame["row"].to_numpy(np.int64) if "row" in frame.columns else np.arange(count)
    start_s, end_s = (_instants(frame[name], name, row) for name in ("start_utc", "end_utc"))
    for at in np.flatnonzero(end_s < start_s)[:1]:
        raise InputError(
            f"log row {row[at]}: end_utc = {iso_text(float(end_s[at]))} is before "
            f"start_utc = {iso_text(float(start_s[at]))}"
        )
    outcome = np.array(frame["outcome"].tolist(), dtype=object)
    for at in np.flatnonzero(~np.isin(outcome, OUTCOMES))[:1]:
        raise InputError(
            f"log row {row[at]}: outcome = {outcome[at]!r} is none of {', '.join(OUTCOMES)}"
        )
    freq_khz = frame["freq_khz"].to_numpy(np.float64)
    middle_s = (start_s + end_s) / 2.0
    texts = {name: _texts(frame, name) for name in _TEXTS}
    on_air = np.full(count, np.nan)
    if schedule is not None:
        on_air = _on_air(schedule, freq_khz, texts["identity"], middle_s)
    heard = np.array([_USABLE.get(word, np.nan) for word in outcome.tolist()])
    heard[on_air == 0.0] = np.nan
    if np.isnan(heard).all():
        found = ", ".join(f"{(outcome == w).sum()} {w}" for w in OUTCOMES if (outcome == w).any())
        off = f", {int((on_air == 0.0).sum())} of them off the air" if (on_air == 0.0).any() else ""
        raise InputError(f"log has no row that tells: {found}{off}")
    texts["setup_id"] = setups_of(texts["setup_id"], start_s, station)
    order = np.lexsort((row, end_s, start_s))
    evening = evening_of(UtcTimes(middle_s), station.time_zone)[order]
    days, which = np.unique(evening, return_inverse=True)
    sunset, sunrise = nights(days, station)
    return framed(
        days,
        which,
        sunset.unix_s,
        sunrise.unix_s,
        start_s=start_s[order],
        end_s=end_s[order],
        row=row[order],
        freq_khz=freq_khz[order],
        outcome=outcome[order],
        heard=heard[order],
        on_air=on_air[order],
        texts={name: values[order] for name, values in texts.items()},
    )


def framed(
    days: NDArray[np.datetime64],
    which: NDArray[np.int64],
    sunset_s: Floats,
    sunrise_s: Floats,
    *,
    start_s: Floats,
    end_s: Floats,
    row: NDArray[np.int64],
    freq_khz: Floats,
    outcome: NDArray[Any],
    heard: Floats,
    on_air: Floats,
    texts: dict[str, NDArray[Any]],
) -> pd.DataFrame:
    """Columns of :func:`table` from rows in order of time; `which`: evening of each in `days`."""
    day = days.astype("datetime64[D]").astype(np.int64)
    monday = day.min() - (day.min() - _MONDAY) % 7
    middle_s = (start_s + end_s) / 2.0
    set_s = sunset_s[which]
    kinds, kind = np.unique(freq_khz, return_inverse=True)
    return pd.DataFrame(
        {
            "row": row,
            "start_utc": stamps(start_s),
            "end_utc": stamps(end_s),
            "middle_utc": stamps(middle_s),
            "evening": days.astype("datetime64[s]")[which],
            "week": (day[which] - monday) // 7,
            "freq_khz": freq_khz,
            "band": words(np.asarray(name_of(kinds)).astype(object), kind),
            **{name: words(*_coded(texts[name])) for name in _TEXTS},
            "outcome": words(*_coded(outcome)),
            "heard": heard,
            "on_air": on_air,
            "sunset_utc": stamps(set_s),
            "sunrise_utc": stamps(sunrise_s[which]),
            "start_min": (start_s - set_s) / 60.0,
            "end_min": (end_s - set_s) / 60.0,
            "middle_min": (middle_s - set_s) / 60.0,
            "position": _positions(which),
        }
    )


def _positions(which: NDArray[np.int64]) -> NDArray[np.int64]:
    """Number of earlier rows of the same evening."""
    order = np.argsort(which, kind="stable")
    counts = np.bincount(which)
    first = np.cumsum(counts) - counts
    out = np.empty(which.size, dtype=np.int64)
    out[order] = np.arange(which.size) - first[which[order]]
    return out


def _coded(values: NDArray[Any]) -> tuple[NDArray[Any], NDArray[np.int64]]:
    codes, known = pd.factorize(values)
    return np.asarray(known, dtype=object), codes.astype(np.int64)


def words(known: NDArray[Any], codes: NDArray[np.int64]) -> Any:
    """Text column of few different words."""
    few = pd.Series(known.tolist(), dtype=object).astype("str")
    return few.array.take(codes)


def stamps(instant_s: Floats) -> pd.DatetimeIndex:
    """Seconds since 1970 as an aware index to the microsecond; NaN becomes NaT."""
    missing = np.isnan(instant_s)
    if missing.any():
        return to_index(UtcTimes(instant_s)).as_unit("us")
    micro = np.rint(instant_s * 1e6).astype(np.int64).view("datetime64[us]")
    return pd.DatetimeIndex(micro).tz_localize("UTC")


def _instants(column: pd.Series[Any], name: str, row: NDArray[np.int64]) -> Floats:
    """Seconds since 1970; a missing one is refused."""
    for at in np.flatnonzero(column.isna().to_numpy())[:1]:
        more = f" ({int(column.isna().sum())} rows)" if column.isna().sum() > 1 else ""
        raise InputError(f"log row {row[at]}: {name} is missing{more}; a check needs both its ends")
    known = getattr(column.dtype, "tz", None) is not None or column.dtype.kind == "M"
    return np.array(unix_s(column if known else column.tolist()), dtype=np.float64)


def _texts(frame: pd.DataFrame, name: str) -> NDArray[Any]:
    if name not in frame.columns:
        return np.full(len(frame), "", dtype=object)
    column = frame[name]
    return np.array(column.astype(object).where(column.notna(), "").tolist(), dtype=object)


def setups_of(named: NDArray[Any], start_s: Floats, station: Station) -> NDArray[Any]:
    """Names of the setups, the empty ones from the station's dated setups."""
    empty = named == ""
    if not station.setups or not empty.any():
        return named
    local = clock.to_local(UtcTimes(start_s[empty]), station.time_zone).astype("datetime64[D]")
    days, which = np.unique(local, return_inverse=True)
    found = [station.setup_on(day) for day in days.tolist()]
    keys = np.array([one.from_date.isoformat() if one else "" for one in found], dtype=object)
    out = named.copy()
    out[empty] = keys[which]
    return out


def _on_air(
    schedule: Schedule, freq_khz: Floats, identity: NDArray[Any], middle_s: Floats
) -> Floats:
    """1.0 and 0.0 where the schedule lists the channel in that season, else NaN."""
    listed = schedule.frame
    of_row = listed["freq_khz"].to_numpy(np.float64)
    names = np.array([plain_name(name) for name in listed["broadcaster"].tolist()], dtype=object)
    seasons = listed["season"].to_numpy(dtype=object)
    season = np.asarray(clock.season(UtcTimes(middle_s))).astype(object)
    out = np.full(freq_khz.size, np.nan)
    channels: dict[tuple[float, str], list[int]] = {}
    for at, (khz, name) in enumerate(zip(freq_khz.tolist(), identity.tolist(), strict=True)):
        channels.setdefault((khz, plain_name(name)), []).append(at)
    for (khz, name), checks in channels.items():
        rows = np.flatnonzero((of_row == khz) & ((names == name) | (name == "")))
        if rows.size:
            on = schedule.on_air(UtcTimes(middle_s[checks]), rows=rows)
            own = seasons[rows][:, None]
            known = ((own == "") | (own == season[checks][None, :])).any(axis=0)
            out[checks] = np.where(known, on.any(axis=0), np.nan)
    return out


# Openings ---------------------------------------------------------------------------------------


def openings(
    table: pd.DataFrame,
    band: str | Sequence[str] | None = None,
    *,
    from_min: float = -120.0,
    to_min: float = 360.0,
) -> pd.DataFrame:
    """Between which two moments each band opened, evening by evening.

    Parameters
    ----------
    table
        From :func:`table`.
    band
        One band or several; None for all in the table, from low to high frequency.
    from_min, to_min
        Only checks whose middle lies here count, both ends included. [min after sunset]

    Returns
    -------
    DataFrame, one row for every evening of the table and every band, evenings in order, bands in
    the order asked for:

    evening, band
        As in the table.
    low_min
        End of the last check that heard nothing and was over when the first heard one began: up
        to its end the band was not open. -inf where there is none. [min after sunset]
    high_min
        End of the first heard check (the one that ended first): by then, at the latest, it was
        open; it may have opened while the check went on. +inf where nothing was heard. [min]
    checks, heard_count
        Checks that tell in that span, and those that heard something.
    state
        One of `STATES`: "between"; "already open" (low_min is -inf), "never open" (high_min is
        +inf), "no usable check" (both NaN, also on an evening without a sunset).

    Blocked channels are no evidence, and a carrier alone counts as nothing heard. That a check
    which heard nothing proves the band closed is an assumption: ears that miss an open band make
    low_min too late.

    Raises
    ------
    InputError
        On a band that the table does not have, a span without length, a table without any sunset.
    """
    bands = _bands(table, band)
    _check_span(from_min, to_min)
    if table["start_min"].isna().all():
        raise InputError(
            "no evening of the log has a sunset at home (polar day or night), so there are no "
            "minutes after sunset"
        )
    days, evening = _evenings(table)
    codes = _codes(table["band"], bands)
    heard, start, end, middle = (
        table[name].to_numpy(np.float64) for name in ("heard", "start_min", "end_min", "middle_min")
    )
    used = (codes >= 0) & ~np.isnan(heard) & (middle >= from_min) & (middle <= to_min)
    cell = evening[used] * len(bands) + codes[used]
    heard, start, end = heard[used] == 1.0, start[used], end[used]
    size = days.size * len(bands)
    checks = np.bincount(cell, minlength=size)
    heard_count = np.bincount(cell[heard], minlength=size)
    high, began = np.full(size, np.inf), np.full(size, np.inf)
    np.minimum.at(high, cell[heard], end[heard])
    first = heard & (end == high[cell])
    np.minimum.at(began, cell[first], start[first])
    before = ~heard & (end <= began[cell])
    low = np.full(size, -np.inf)
    np.maximum.at(low, cell[before], end[before])
    state = np.select(
        [checks == 0, heard_count == 0, np.isneginf(low)], [3, 2, 1], default=0
    ).astype(np.int64)
    low[checks == 0] = high[checks == 0] = np.nan
    return pd.DataFrame(
        {
            "evening": np.repeat(days, len(bands)),
            "band": words(np.array(bands, dtype=object), np.tile(np.arange(len(bands)), days.size)),
            "low_min": low,
            "high_min": high,
            "checks": checks,
            "heard_count": heard_count,
            "state": words(np.array(STATES, dtype=object), state),
        }
    )


def order_of(
    table: pd.DataFrame,
    band_a: str,
    band_b: str,
    *,
    from_min: float = -120.0,
    to_min: float = 360.0,
) -> pd.DataFrame:
    """Which of two bands was checked first, evening by evening.

    Parameters
    ----------
    table
        From :func:`table`.
    band_a, band_b
        The two bands.
    from_min, to_min
        As in :func:`openings`: only checks that count there count here. [min after sunset]

    Returns
    -------
    DataFrame, one row for every evening of the table: `evening`, and `first`: "a", "b", or "" when
    one of the two has no check that tells, or both began at the same moment.

    Raises
    ------
    InputError
        On a band that the table does not have, twice the same band, a span without length.
    """
    bands = _bands(table, (band_a, band_b))
    _check_span(from_min, to_min)
    days, evening = _evenings(table)
    codes = _codes(table["band"], bands)
    middle = table["middle_min"].to_numpy(np.float64)
    used = (codes >= 0) & table["heard"].notna().to_numpy()
    used &= (middle >= from_min) & (middle <= to_min)
    began = np.full((2, days.size), np.nan)
    np.fmin.at(began, (codes[used], evening[used]), table["start_min"].to_numpy(np.float64)[used])
    first = (began[0] < began[1]).astype(np.int64) + 2 * (began[1] < began[0])
    return pd.DataFrame(
        {"evening": days, "first": words(np.array(["", "a", "b"], dtype=object), first)}
    )


def _evenings(table: pd.DataFrame) -> tuple[NDArray[np.datetime64], NDArray[np.int64]]:
    days, which = np.unique(table["evening"].to_numpy(), return_inverse=True)
    return days, which.astype(np.int64)


def _check_span(from_min: float, to_min: float) -> None:
    if not from_min < to_min:
        raise InputError(f"from_min = {from_min:g} is not before to_min = {to_min:g}")


def _bands(table: pd.DataFrame, band: str | Iterable[str] | None) -> list[str]:
    codes, names = pd.factorize(table["band"])
    lowest_khz = np.full(len(names), np.inf)
    np.minimum.at(lowest_khz, codes, table["freq_khz"].to_numpy(np.float64))
    known = [str(names[at]) for at in np.argsort(lowest_khz, kind="stable")]
    if band is None:
        return known
    out = []
    for given in [band] if isinstance(band, str) else band:
        name = given if given in known else f"{given.lower().removesuffix('m').strip()} m"
        if name not in known:
            raise InputError(f"band = {given!r}: no check of it; the log has {', '.join(known)}")
        if name in out:
            raise InputError(f"band = {name!r} is given twice")
        out.append(name)
    if not out:
        raise InputError("band is an empty list")
    return out


def _codes(column: pd.Series[Any], bands: Sequence[str]) -> NDArray[np.int64]:
    """Position of each row's band in `bands`, -1 for none."""
    return pd.Index(bands).get_indexer(pd.Index(column)).astype(np.int64)

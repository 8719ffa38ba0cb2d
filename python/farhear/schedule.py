"""Broadcast schedules: read, check, and tell what is on the air at an instant.

Columns of a schedule file (see :mod:`farhear.tables` for the form of the file)

============== ======== ========================================================================
column         needed   meaning
============== ======== ========================================================================
freq_khz       yes      carrier, 1600 to 30000; not a multiple of 5 kHz is a warning. [kHz]
start_utc      yes      hhmm, 0000 to 2359
stop_utc       yes      hhmm, 0001 to 2400; 0000 means the midnight that ends the day; a stop
                        before the start means the next UTC day
days           yes      days of the week of the *UTC start*; see `days` of :func:`read_schedule`
broadcaster    yes      name
tx_lat_deg     yes      transmitter, north positive; may be empty where a table of sites has the
                        `site` (see :mod:`farhear.sites`). [deg]
tx_lon_deg     yes      transmitter, east positive, -180 to 180; likewise. [deg]
power_kw       yes      carrier power, above 0, at most 2000 (common practice, no source). [kW]
valid_from     no       first UTC day of start, YYYY-MM-DD; empty: no limit
valid_to       no       last UTC day of start, included; empty: no limit
language       no       ISO 639-3 code
site           no       transmitter site, name or code
azimuth_deg    no       direction of the beam from true north, 0 to 360; empty: non-directional.
                        Up to six at once: 120/300
slew_deg       no       electrical slew, -60 to 60 (common practice, no source); empty: 0. [deg]
antenna        no       antenna code
target         no       target zones as text (CIRAF numbers, up to 12, 30 characters in [1]_)
modulation     no       DSB (also AM, A3E), SSB (also USB, J3E, H3E) or DIGITAL; empty: DSB
============== ======== ========================================================================

References
----------
.. [1] ITU Radio Regulations, Resolution 535 (WRC-15 Final Acts, p. 336): items of a notice.
.. [2] FCC, "High frequency stations: seasonal operating frequency schedules": days 1 = Sunday.
.. [3] ISO 8601: days 1 = Monday (from memory).
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from farhear import band, clock
from farhear._arrays import Floats
from farhear.errors import InputError
from farhear.layouts import Layout, layout_for, read_cells
from farhear.sites import Sites, read_sites
from farhear.tables import (
    Column,
    Faults,
    Table,
    calendar_date,
    frequency_khz,
    language_code,
    near_name,
    number,
    parse_cells,
    plain_text,
)
from farhear.times import utc as to_utc

if TYPE_CHECKING:
    from farhear.charts.pictures import SchedulePictures

__all__ = ["DAY_CONVENTIONS", "Schedule", "read_schedule"]

DAY_CONVENTIONS = ("iso", "sunday1", "letters")
"""iso: 1 = Monday .. 7 = Sunday; sunday1: 1 = Sunday .. 7 = Saturday; letters: m t w h f a s."""

_DAY_S = 86400
_ALL_DAYS = 0b1111111
_LETTERS = {"m": 0, "t": 1, "w": 2, "h": 3, "f": 4, "a": 5, "s": 6}
_FULL_NAMES = tuple(day.lower() for day in clock.WEEKDAYS)
_NAMES = tuple(day[:3] for day in _FULL_NAMES)
_CHUNK_ELEMENTS = 4_000_000
_MOST_BEAMS = 6
_FAR_KM = 100.0  # from the site of that name; common practice, no source
_MODULATIONS = {
    "DSB": "DSB",
    "AM": "DSB",
    "A3E": "DSB",
    "SSB": "SSB",
    "USB": "SSB",
    "J3E": "SSB",
    "H3E": "SSB",
    "DIGITAL": "DIGITAL",
}
_CONVENTION_TEXT = (
    "the file has day digits, and 1 is Monday in ISO 8601 but Sunday in other lists; "
    "say days='iso' (1 = Monday) or days='sunday1' (1 = Sunday)"
)


class _NoConvention(Exception):
    """A cell of days that cannot be read without a stated convention."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule(Table):
    """A table of broadcasts.

    Beside the columns of the file, `frame` has `row` (line in the file), `start_min` and
    `stop_min` (minutes after 0000 UTC of the day of start; `stop_min` is up to 2879 when the
    broadcast crosses midnight), `days_mask` (bit 0 = Monday .. bit 6 = Sunday, of the UTC start),
    `band` and `season`, and `beams_deg`, the azimuths as text ("120/300") where there are several;
    `azimuth_deg` is then the first. `days` is rewritten as ISO digits.
    """

    season: str | None = None
    note: str = ""

    def __len__(self) -> int:
        return len(self.frame)

    @property
    def plot(self) -> SchedulePictures:
        """Charts: `around(station)`."""
        from farhear.charts.pictures import SchedulePictures

        return SchedulePictures(self)

    def _repr_html_(self) -> str:
        from farhear._rich import table_panel

        columns = ["freq_khz", "start_utc", "stop_utc", "days", "broadcaster", "language", "site"]
        return table_panel(f"Schedule {self.season or ''}".rstrip(), self, columns)

    def on_air(
        self, utc: Any, *, rows: slice | NDArray[np.intp] | None = None
    ) -> NDArray[np.bool_]:
        """Tell which broadcasts are on the air, exact to the second.

        A broadcast is on the air from its start (included) to its stop (excluded). The day of the
        week and the validity dates are those of the UTC day on which it starts: one that starts at
        2330 on the last valid day runs past midnight. A row with a season is cut at the season's
        ends (0100 UTC on the last Sunday of March and October).

        Parameters
        ----------
        utc
            Instants, any shape; whatever :func:`farhear.utc` accepts.
        rows
            Positions in `frame`; None for all.

        Returns
        -------
        bool, shape (rows, *shape of utc). A missing instant (NaN) is False.

        Raises
        ------
        InputError
            On times without a zone.
        """
        times = to_utc(utc)
        flat_s = times.unix_s.reshape(-1)
        frame = self.frame if rows is None else self.frame.iloc[rows]
        out = np.zeros((len(frame), flat_s.size), dtype=np.bool_)
        if out.size:
            spans = {name: _span_unix_s(name) for name in set(frame["season"]) if name}
            step = max(1, _CHUNK_ELEMENTS // flat_s.size)
            for begin in range(0, len(frame), step):
                part = frame.iloc[begin : begin + step]
                out[begin : begin + step] = _on_air(part, flat_s, spans)
        return out.reshape(len(frame), *times.shape)

    def stretches(
        self, rows: NDArray[np.intp], begin_s: float, end_s: float
    ) -> tuple[NDArray[np.intp], Floats, Floats]:
        """Stretches on the air without a break, cut to a window.

        Parameters
        ----------
        rows
            Positions in `frame`.
        begin_s, end_s
            The window. [s since 1970]

        Returns
        -------
        Position of the row, start and stop [s], in order of position and start. They agree with
        :meth:`on_air` to the second.
        """
        frame = self.frame.iloc[rows]
        start_s = frame["start_min"].to_numpy(np.float64) * 60.0
        stop_s = frame["stop_min"].to_numpy(np.float64) * 60.0
        mask = frame["days_mask"].to_numpy(np.int64)
        first = frame["valid_from"].to_numpy("datetime64[D]")
        final = frame["valid_to"].to_numpy("datetime64[D]")
        low = np.full(len(frame), begin_s)
        high = np.full(len(frame), end_s)
        seasons = frame["season"].to_numpy(dtype=object)
        for name in set(seasons) - {""}:
            span_s = _span_unix_s(name)
            low[seasons == name] = max(begin_s, span_s[0])
            high[seasons == name] = min(end_s, span_s[1])
        found: list[tuple[int, float, float]] = []
        for day in range(int(begin_s // _DAY_S) - 1, int(end_s // _DAY_S) + 1):
            date = np.datetime64(day, "D")
            runs = (mask >> ((day + 3) % 7)) & 1 == 1
            runs &= (np.isnat(first) | (first <= date)) & (np.isnat(final) | (date <= final))
            a = np.maximum(day * _DAY_S + start_s, low)
            b = np.minimum(day * _DAY_S + stop_s, high)
            where = np.flatnonzero(runs & (a < b))
            found += zip(rows[where].tolist(), a[where].tolist(), b[where].tolist(), strict=True)
        merged: list[tuple[int, float, float]] = []
        for position, a_s, b_s in sorted(found):
            if merged and merged[-1][0] == position and a_s <= merged[-1][2]:
                merged[-1] = (position, merged[-1][1], max(b_s, merged[-1][2]))
            else:
                merged.append((position, a_s, b_s))
        return (
            np.array([m[0] for m in merged], dtype=np.intp),
            np.array([m[1] for m in merged], dtype=np.float64),
            np.array([m[2] for m in merged], dtype=np.float64),
        )

    def as_if(self, season: str) -> Schedule:
        """Return the same broadcasts as if the list were valid in another season.

        Validity dates are dropped, all else is kept; `note` says so and travels into studies.
        For looking at a season whose list is not at hand; the real list of that season differs.
        """
        _span_unix_s(season)
        none = np.datetime64("NaT", "s")
        frame = self.frame.assign(season=season, valid_from=none, valid_to=none)
        frame["season"] = frame["season"].astype("str")
        text = f"list of {self.season or 'no stated season'} used as if it were valid in {season}"
        return dataclasses.replace(self, frame=frame, season=season, note=text)

    def joined(self, other: Schedule) -> Schedule:
        """Return one schedule of two, for example of an A and a B season.

        Each row keeps its season; `row` still counts lines in its file, named in a new column
        `source` of the three tables. The two files must have different names.
        """
        if self.source == other.source:
            raise InputError(f"both schedules come from a file named {self.source!r}")
        frames = {
            name: pd.concat(
                [getattr(table, name).assign(source=table.source) for table in (self, other)],
                ignore_index=True,
            )
            for name in ("frame", "rejects", "warnings")
        }
        return Schedule(
            **frames,
            rows_read=self.rows_read + other.rows_read,
            source=f"{self.source} + {other.source}",
            sha256=f"{self.sha256} {other.sha256}",
            season=self.season if self.season == other.season else None,
        )


def _on_air(
    frame: pd.DataFrame, t_unix_s: Floats, spans: Mapping[str, tuple[float, float]]
) -> NDArray[np.bool_]:
    missing = np.isnan(t_unix_s)
    whole_s = np.floor(np.where(missing, 0.0, t_unix_s)).astype(np.int64)
    day = (whole_s // _DAY_S).astype(np.int32)
    second = (whole_s % _DAY_S).astype(np.int32)
    weekday_bit = (np.uint8(1) << ((day + 3) % 7).astype(np.uint8)).astype(np.uint8)
    before_bit = (np.uint8(1) << ((day + 2) % 7).astype(np.uint8)).astype(np.uint8)

    def column(name: str, dtype: type) -> NDArray[Any]:
        return frame[name].to_numpy(dtype=dtype)[:, None]

    start_s = column("start_min", np.int32) * np.int32(60)
    stop_s = column("stop_min", np.int32) * np.int32(60)
    mask = column("days_mask", np.uint8)
    first_day = _days(frame["valid_from"], -(2**30))[:, None]
    last_day = _days(frame["valid_to"], 2**30)[:, None]
    on: NDArray[np.bool_] = (second >= start_s) & (second < stop_s) & ((mask & weekday_bit) != 0)
    on &= (day >= first_day) & (day <= last_day)
    crosses = np.flatnonzero(stop_s[:, 0] > _DAY_S)
    if crosses.size:
        late = second + np.int32(_DAY_S) < stop_s[crosses]
        late &= (mask[crosses] & before_bit) != 0
        late &= (day - 1 >= first_day[crosses]) & (day - 1 <= last_day[crosses])
        on[crosses] |= late
    seasons = frame["season"].to_numpy(dtype=object)
    for name, (begin_s, end_s) in spans.items():
        outside = (t_unix_s < begin_s) | (t_unix_s >= end_s)
        on[np.ix_(seasons == name, outside)] = False
    on[:, missing] = False
    return on


def _days(dates: pd.Series[Any], empty: int) -> NDArray[np.int32]:
    """Days since 1970-01-01, `empty` where there is no date."""
    stamps = dates.to_numpy(dtype="datetime64[D]")
    days = np.where(np.isnat(stamps), empty, stamps.astype(np.int64))
    return np.asarray(days, dtype=np.int32)


def _span_unix_s(season: str) -> tuple[float, float]:
    begin_s, end_s = clock.season_span(season).unix_s.tolist()
    return begin_s, end_s


def read_schedule(
    path: str | Path,
    *,
    days: str | None = None,
    columns: Mapping[str, str] | None = None,
    season: str | None = None,
    sites: Sites | str | Path | None = None,
    encoding: str | None = None,
    delimiter: str | None = None,
    layout: Layout | str | Path | None = None,
) -> Schedule:
    """Read a schedule from CSV, TSV, Excel, Parquet or fixed width.

    Parameters
    ----------
    path
        File of the form described in this module; it is only read.
    days
        How digits or letters in the column `days` are meant: 'iso' (1 = Monday), 'sunday1'
        (1 = Sunday) or 'letters' (m t w h f a s, h = Thursday, a = Saturday). Not needed when
        the file has only 'daily', '1234567' and names ('mon-fri', 'sat,sun').
        Digits may be listed ('135') or a range ('1-5', '6-1' wraps around).
    columns
        Our column name -> name in the file's header.
    season
        Season of the list, for example 'B25': rows that are never valid inside it are warned of,
        and :meth:`Schedule.on_air` is False outside it.
    sites
        Places of sites, for rows without coordinates: a table or its path.
    encoding, delimiter
        See :func:`farhear.layouts.read_cells`.
    layout
        How the file is laid out; None looks for a layout beside it (see :mod:`farhear.layouts`),
        where days, columns, season and sites can stand, too.

    Returns
    -------
    Schedule
        ``rows_read == len(frame) + number of rejected rows``. Rows whose coordinates are more than
        100 km from those of the site table are warned of.

    Raises
    ------
    InputError
        When the file as a whole cannot be understood: encoding, header, no rows, day digits
        without a convention.
    OSError
        When the file cannot be opened.
    """
    path = Path(path)
    how = layout_for(
        path,
        layout,
        [column.name for column in _columns(None, False, False)],
        days=days,
        season=season,
        columns=columns,
        encoding=encoding,
        delimiter=delimiter,
    )
    if how.days is not None and how.days not in DAY_CONVENTIONS:
        raise InputError(
            f"days = {how.days!r} is none of {', '.join(map(repr, DAY_CONVENTIONS))}"
            f"{near_name(how.days, DAY_CONVENTIONS)}"
        )
    span = _span_unix_s(how.season) if how.season is not None else None
    if sites is None and how.sites is not None:
        sites = path.parent / how.sites
    places = sites if isinstance(sites, Sites) or sites is None else read_sites(sites)
    cells = read_cells(path, layout=how)
    if not cells.rows:
        raise InputError(f"{cells.source} has a header but no rows: the schedule is empty")

    def check_row(values: dict[str, Any], texts: dict[str, str], rejects: Faults, row: int) -> None:
        _check_row(values, texts, rejects, row)
        if places is not None:
            _fill_place(values, places, rejects, row)

    columns_ = _columns(how.days, places is not None, cells.is_typed)
    try:
        frame, rejects, warnings = parse_cells(cells, columns_, check_row)
    except _NoConvention as fault:
        raise InputError(f"{cells.source}: days {fault}: {_CONVENTION_TEXT}") from None
    frame = _finished(frame, how.season)
    _warn(frame, warnings, how.season, span)
    if places is not None:
        _warn_places(frame, places, warnings)
    return Schedule.of(cells, frame, rejects, warnings, season=how.season)


def _fill_place(values: dict[str, Any], places: Sites, rejects: Faults, row: int) -> None:
    """Coordinates of the site where the row has none."""
    if not {"tx_lat_deg", "tx_lon_deg", "site"} <= values.keys():
        return  # refused already
    given = [values["tx_lat_deg"] is not None, values["tx_lon_deg"] is not None]
    if all(given):
        return
    if any(given):
        name = "tx_lat_deg" if given[1] else "tx_lon_deg"
        rejects.add(row, name, "", "empty, while the other coordinate is there")
        return
    if not values["site"]:
        rejects.add(row, "site", "", "neither a site nor coordinates")
        return
    place = places.place(values["site"])
    if place is None:
        hint = near_name(values["site"], places.frame["site"])
        reason = f"no coordinates, and {places.source} does not have this site{hint}"
        rejects.add(row, "site", values["site"], reason)
    else:
        values["tx_lat_deg"], values["tx_lon_deg"] = place


def _warn_places(frame: pd.DataFrame, places: Sites, warnings: Faults) -> None:
    """Doubt coordinates that are far from those of the site of that name."""
    from farhear import path

    found = [places.place(site) for site in frame["site"]]
    has = np.flatnonzero([place is not None for place in found])
    if not has.size:
        return
    lat_deg, lon_deg = np.array([found[i] for i in has], dtype=np.float64).T
    here = frame.iloc[has]
    far_km = path.inverse(
        here["tx_lat_deg"].to_numpy(), here["tx_lon_deg"].to_numpy(), lat_deg, lon_deg
    ).distance_km
    for row, site, km in zip(here["row"], here["site"], far_km, strict=True):
        if km > _FAR_KM:
            reason = f"{km:.0f} km from the place that {places.source} has for it"
            warnings.add(int(row), "site", site, reason)


def _finished(frame: pd.DataFrame, season: str | None) -> pd.DataFrame:
    """Add the derived columns and give every column its type."""
    start = np.array(frame["start_utc"].tolist(), dtype=np.int32)
    stop = np.array(frame["stop_utc"].tolist(), dtype=np.int32)
    stop = np.where(stop <= start, stop + 1440, stop)
    mask = np.array(frame["days"].tolist(), dtype=np.uint8)
    text = ("broadcaster", "language", "site", "antenna", "target", "modulation")
    out = pd.DataFrame({"row": frame["row"].to_numpy(dtype=np.int64)})
    out["freq_khz"] = frame["freq_khz"].to_numpy(dtype=np.float64)
    out["start_utc"] = [_hhmm(m) for m in start]
    out["stop_utc"] = [_hhmm(m if m <= 1440 else m - 1440) for m in stop]
    out["days"] = [_iso_digits(int(m)) for m in mask]
    for name in ("valid_from", "valid_to"):
        out[name] = np.array(frame[name].tolist(), dtype="datetime64[s]")
    beams = frame["azimuth_deg"].tolist()
    out["azimuth_deg"] = np.array([beam[0] if beam else np.nan for beam in beams], np.float64)
    for name in ("tx_lat_deg", "tx_lon_deg", "power_kw", "slew_deg"):
        out[name] = np.array(frame[name].tolist(), dtype=np.float64)
    for name in text:
        out[name] = frame[name].astype("str")
    out["start_min"] = start
    out["stop_min"] = stop.astype(np.int32)
    out["days_mask"] = mask
    out["band"] = band.name_of(out["freq_khz"].to_numpy())
    out["season"] = season or ""
    out["beams_deg"] = ["/".join(f"{b:g}" for b in beam) if len(beam) > 1 else "" for beam in beams]
    for name in ("start_utc", "stop_utc", "days", "band", "season", "beams_deg"):
        out[name] = out[name].astype("str")
    first = [c.name for c in _columns(None, False, False)]
    return out[["row", *first, *[name for name in out.columns if name not in ("row", *first)]]]


def _hhmm(minutes: int) -> str:
    return f"{minutes // 60:02d}{minutes % 60:02d}"


def _iso_digits(mask: int) -> str:
    return "".join(str(i + 1) for i in range(7) if mask >> i & 1)


def _warn(
    frame: pd.DataFrame,
    warnings: Faults,
    season: str | None,
    span: tuple[float, float] | None,
) -> None:
    freq = frame["freq_khz"].to_numpy()
    for at in np.flatnonzero(freq % 5.0 != 0.0):
        row = int(frame["row"].iloc[at])
        warnings.add(row, "freq_khz", f"{freq[at]:g}", "not a multiple of 5 kHz")
    for at in np.flatnonzero(frame["band"].to_numpy() == band.OTHER):
        row = int(frame["row"].iloc[at])
        warnings.add(row, "freq_khz", f"{freq[at]:g}", "outside the broadcast bands")
    for at in np.flatnonzero(frame["modulation"].to_numpy() == "DIGITAL"):
        row = int(frame["row"].iloc[at])
        warnings.add(row, "modulation", "DIGITAL", "an AM receiver hears noise here")
    if span is None:
        return
    # to the second: a broadcast that starts on valid_to may run into the next day
    start_s, stop_s = (frame[f"{n}_min"].to_numpy(np.float64) * 60.0 for n in ("start", "stop"))
    first_s = _days(frame["valid_from"], -(2**30)).astype(np.float64) * _DAY_S + start_s
    last_s = _days(frame["valid_to"], 2**30).astype(np.float64) * _DAY_S + stop_s
    for at in np.flatnonzero((first_s >= span[1]) | (last_s <= span[0])):
        row = int(frame["row"].iloc[at])
        start, stop = frame["valid_from"].iloc[at], frame["valid_to"].iloc[at]
        shown = " to ".join("open" if pd.isna(d) else str(d.date()) for d in (start, stop))
        warnings.add(row, "valid_from", shown, f"never valid in season {season}")


# Cells ------------------------------------------------------------------------------------------


def _columns(days: str | None, has_sites: bool, is_typed: bool) -> tuple[Column, ...]:
    def parse_days(text: str) -> int:
        return _days_mask(text, days)

    def of_day(parse: Callable[[str], int]) -> Callable[[str], int]:
        """In a spreadsheet 0930 is the number 930."""
        return lambda text: parse(text.zfill(4) if is_typed and text.isdecimal() else text)

    def place(name: str, parse: Callable[[str], float]) -> Column:
        return Column(name, parse, required=not has_sites, needed=not has_sites)

    lat_hint = "latitude comes before longitude: are the two swapped?"
    return (
        Column("freq_khz", frequency_khz),
        Column("start_utc", of_day(_start_min)),
        Column("stop_utc", of_day(_stop_min)),
        Column("days", parse_days),
        Column("valid_from", calendar_date, required=False, needed=False),
        Column("valid_to", calendar_date, required=False, needed=False),
        Column("broadcaster", plain_text(80)),
        Column("language", language_code, required=False, needed=False, empty=""),
        Column("site", plain_text(80), required=False, needed=False, empty=""),
        place("tx_lat_deg", number(-90.0, 90.0, hint=lat_hint)),
        place("tx_lon_deg", number(-180.0, 180.0)),
        Column("power_kw", number(0.0, 2000.0, open_low=True, hint="are these watts?")),
        Column("azimuth_deg", _beams, required=False, needed=False, empty=()),
        Column("slew_deg", number(-60.0, 60.0), required=False, needed=False, empty=0.0),
        Column("antenna", plain_text(40), required=False, needed=False, empty=""),
        Column("target", plain_text(80), required=False, needed=False, empty=""),
        Column("modulation", _modulation, required=False, needed=False, empty="DSB"),
    )


def _check_row(values: dict[str, Any], texts: dict[str, str], rejects: Faults, row: int) -> None:
    start, stop = values.get("start_utc"), values.get("stop_utc")
    if start is not None and stop is not None and start == stop % 1440 and stop != 1440:
        reason = "stop equals start; for a whole day write 0000 to 2400"
        rejects.add(row, "stop_utc", texts["stop_utc"], reason)
    first, last = values.get("valid_from"), values.get("valid_to")
    if isinstance(first, dt.date) and isinstance(last, dt.date) and last < first:
        rejects.add(row, "valid_to", texts["valid_to"], f"before valid_from {first.isoformat()}")


_azimuth_deg = number(0.0, 360.0)


def _beams(text: str) -> tuple[float, ...]:
    beams = tuple(_azimuth_deg(part.strip()) for part in text.split("/"))
    if len(beams) > _MOST_BEAMS:
        raise ValueError(f"more than {_MOST_BEAMS} azimuths")
    if len(set(beams)) != len(beams):
        raise ValueError("an azimuth stands twice")
    return beams


_FOUR_DIGITS = re.compile(r"\d{4}", re.ASCII)


def _clock_min(text: str) -> int:
    if not _FOUR_DIGITS.fullmatch(text):
        raise ValueError("not four digits hhmm, for example 0930")
    hour, minute = int(text[:2]), int(text[2:])
    if minute > 59 or hour > 24 or (hour == 24 and minute > 0):
        raise ValueError("no such time of day")
    return hour * 60 + minute


def _start_min(text: str) -> int:
    minutes = _clock_min(text)
    if minutes == 1440:
        raise ValueError("a start is 0000 to 2359; write 0000 and the days that follow")
    return minutes


def _stop_min(text: str) -> int:
    return _clock_min(text)


def _modulation(text: str) -> str:
    try:
        return _MODULATIONS[text.upper()]
    except KeyError:
        raise ValueError(f"none of {', '.join(_MODULATIONS)}") from None


_DIGITS = re.compile(r"[1-7]([1-7]|,[1-7])*|[1-7]-[1-7]", re.ASCII)


def _day_numbers(text: str, first: int) -> list[int]:
    """ISO day positions (0 = Monday) of digits; `first` is the position of digit 1."""
    spread = re.fullmatch(r"([1-7])-([1-7])", text)
    if spread:
        low, high = int(spread[1]), int(spread[2])
        digits = [(low - 1 + i) % 7 + 1 for i in range((high - low) % 7 + 1)]
    elif _DIGITS.fullmatch(text):
        digits = [int(c) for c in text if c != ","]
    else:
        raise ValueError("not digits 1 to 7, a range such as 1-5, day names, or daily")
    return [(d - 1 + first) % 7 for d in digits]


def _day_names(text: str) -> list[int] | None:
    """Positions of written-out days ('mon-fri', 'sat,sun'); None when these are no names."""
    positions: list[int] = []
    for part in re.split(r"[,\s]+", text):
        ends = [_NAMES.index(e[:3]) for e in part.split("-") if _is_name(e)]
        if not 1 <= len(ends) <= 2 or len(ends) != part.count("-") + 1:
            return None
        low, high = ends[0], ends[-1]
        positions += [(low + i) % 7 for i in range((high - low) % 7 + 1)]
    return positions


def _is_name(text: str) -> bool:
    return text in _NAMES or text in _FULL_NAMES


def _days_mask(text: str, convention: str | None) -> int:
    """Bits of the days of the week, bit 0 = Monday."""
    text = text.lower()
    if text in ("daily", "1234567", "1-7"):
        return _ALL_DAYS
    if text == "sat" and convention == "letters":
        raise ValueError("Saturday, or Sunday + Saturday + Tuesday? write a, or s t a")
    positions = _day_names(text)
    if positions is None and convention == "letters":
        letters = re.sub(r"[,\s]+", "", text)
        if not all(c in _LETTERS for c in letters):
            raise ValueError("not letters m t w h f a s, day names, or daily")
        positions = [_LETTERS[c] for c in letters]
    elif positions is None and convention is None and _DIGITS.fullmatch(text):
        raise _NoConvention(repr(text))
    elif positions is None:
        positions = _day_numbers(text, 6 if convention == "sunday1" else 0)
    if len(set(positions)) != len(positions):
        raise ValueError("a day is named twice")
    return sum(1 << p for p in positions)

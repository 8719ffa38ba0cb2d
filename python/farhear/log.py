"""The listener's log: read, audit, write, and add one check without losing any.

One row is one *check*: a look at one channel, with its start, its end and what came of it. A log
that holds only successes gives no rate; a check that heard nothing is a row like any other.

Columns of a log (see :mod:`farhear.tables` for the form of the file)

================= ====== =========================================================================
column            needed meaning
================= ====== =========================================================================
check_id          no     own key of the check; twice is a warning
session_id        no     key of the sitting
observer_id       no     who listened; a pseudonym will do
start_utc         yes    RFC 3339 with Z or an offset, seconds may be left out: 2026-11-25T18:00Z.
                         Without a zone, also as 25 Nov 2026 8:30 pm, only when the reader is
                         told `time_zone`.
end_utc           yes    the same; not before the start, at most a day after it
as_written        no     what was typed before it was turned into UTC
freq_khz          yes    nominal, 1600 to 30000; not a multiple of 5 kHz is a warning. [kHz]
freq_measured_khz no     as measured, 1600 to 30000. [kHz]
band              no     broadcast band as the listener named it ('49 m'); one that does not hold
                         `freq_khz` is a warning
demod             no     the receiver's mode: AM, USB or LSB
outcome           yes    heard, carrier_only, not_heard, blocked or not_checked; 1, yes, true are
                         read as heard and 0, no, false as not_heard. blocked: something else on
                         the channel made it impossible to tell, which is no absence.
identity          no     who it was; of a check that heard nothing: who was looked for
id_basis          no     announced, parallel, schedule, language or guess
id_confidence     no     sure, probable, tentative or unknown
sinpo             no     five digits 1 to 5 [1]_; empty when nothing was heard
sio               no     three digits 1 to 5, j after them: jammed
language          no     ISO 639-3 code
notes             no     free text
programme_notes   no     what was heard, with minutes
local_noise       no     noise on an empty channel in the same round, number or words
s_meter           no     number or words
setup_id          no     key of antenna and receiver
audio_ref         no     where an own recording lies
audio_sha256      no     its digest, 64 hexadecimal digits
================= ====== =========================================================================

Texts have no line breaks; blanks around them are dropped. Excel and Parquet files have the same
columns; ADIF has some of them (see :mod:`farhear.adif`).

A line that was cut off
-----------------------
:func:`append_check` ends each line with a quoted cell and a line end, so a line that a crash cut
short is known as such: :func:`read_log` refuses that row and reads the others, and the next
:func:`append_check` puts ``[cut off while writing]`` behind it, where it stays for all to see.

References
----------
.. [1] Recommendation ITU-R SM.1135 (from memory): SINPO. That an O above the worst of the others,
   and all 5 or all 1, deserve a doubt is a rule of raters; for SIO by analogy.
"""

from __future__ import annotations

import contextlib
import csv
import dataclasses
import datetime as dt
import hashlib
import io
import os
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from io import FileIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

import numpy as np
import pandas as pd

from farhear import adif, band, clock
from farhear._files import alone, put
from farhear.errors import InputError
from farhear.layouts import Layout, cells_of, layout_for
from farhear.station import Station
from farhear.tables import (
    Cells,
    Column,
    Faults,
    Table,
    cell_text,
    frequency_khz,
    guarded,
    language_code,
    near_name,
    one_of,
    parse_cells,
    plain_text,
    read_bytes_of,
)
from farhear.times import UtcTimes, iso_text, text_unix_s, unix_s

if TYPE_CHECKING:
    from farhear.charts.pictures import LogPictures
    from farhear.schedule import Schedule

__all__ = ["CUT_OFF", "OUTCOMES", "Log", "append_check", "read_log", "write_log"]

OUTCOMES = ("heard", "carrier_only", "not_heard", "blocked", "not_checked")
"""Outcomes of a check; the last two say nothing about propagation."""
CUT_OFF = "[cut off while writing]"
"""Mark behind a line that a crash cut short."""

_DAY_S = 86400.0
_TAIL_BYTES = 2**20
_BREAKS = re.compile(r"[\x00-\x08\x0a-\x1f\ud800-\udfff]")


@dataclass(frozen=True, slots=True, kw_only=True)
class Log(Table):
    """A table of checks.

    `frame` has `row` and the columns of this module: `start_utc` and `end_utc` as instants (to
    the microsecond), the two frequencies as numbers, the rest as text, empty where nothing was
    written. `row` counts lines in a CSV file and rows, from 1, in a Parquet file.

    Attributes
    ----------
    time_zone
        Zone in which stamps without one were read, or None.
    """

    time_zone: str | None = None

    def __len__(self) -> int:
        return len(self.frame)

    def plot(self, station: Station, schedule: Schedule | None = None) -> LogPictures:
        """Charts of the checks at a home: `openings(band)`, `hearing(band)`, `raster(band)`.

        Arguments as in :func:`farhear.evenings.table`.
        """
        from farhear.charts.pictures import LogPictures
        from farhear.evenings import table

        checks = table(self, station, schedule=schedule)
        return LogPictures(checks, station.name, station.time_zone)

    def _repr_html_(self) -> str:
        from farhear._rich import table_panel

        columns = ["start_utc", "end_utc", "freq_khz", "outcome", "identity", "sinpo", "notes"]
        return table_panel(self.text(), self, columns)

    def counts(self) -> dict[str, int]:
        """Number of checks of each outcome, all of `OUTCOMES`."""
        found = self.frame["outcome"].value_counts()
        return {name: int(found.get(name, 0)) for name in OUTCOMES}

    def text(self) -> str:
        """One sentence: how many checks, and how often something was heard of those that tell."""
        counts = self.counts()
        usable = counts["heard"] + counts["carrier_only"] + counts["not_heard"]
        apart = ", ".join(
            f"{counts[name]} {name.replace('_', ' ')}"
            for name in ("carrier_only", "blocked", "not_checked")
            if counts[name]
        )
        text = f"{len(self)} checks, {usable} of them tell: heard {counts['heard']} of {usable}"
        return f"{text} ({apart})" if apart else text


# Reading ----------------------------------------------------------------------------------------


def read_log(
    path: str | Path,
    *,
    time_zone: str | None = None,
    columns: Mapping[str, str] | None = None,
    encoding: str | None = None,
    delimiter: str | None = None,
    layout: Layout | str | Path | None = None,
    station: Station | None = None,
) -> Log:
    """Read a log from CSV, TSV, Excel, Parquet or ADIF, by its suffix; look it over.

    Parameters
    ----------
    path
        File of the form described in this module; it is only read.
    time_zone
        Zone of the stamps that have none, for example 'Europe/Tallinn': wall time. A reading that
        happens twice or never there is refused with the two instants it could mean; write the
        right one, or the offset, into the file. What was typed is kept in `as_written`, unless the
        file has a text of its own there. None: a stamp without a zone is refused.
    columns
        Our column name -> name in the file's header.
    encoding, delimiter
        Of a text file; see :func:`farhear.layouts.read_cells`.
    layout
        How the file is laid out; None looks for a layout beside it (see :mod:`farhear.layouts`).
    station
        To warn of local dates that none of its dated setups covers, where it has any.

    Returns
    -------
    Log
        ``rows_read == len(frame) + number of rejected rows``. Warned of: frequencies off the 5 kHz
        raster, bands that do not hold the frequency, doubtful ratings, a rating of nothing, checks
        without length, doubled checks and keys, checks of one observer with one setup that overlap
        on two frequencies, days without a setup, a last line without an end. A log may have no
        rows yet.

    Raises
    ------
    InputError
        When the file as a whole cannot be understood, or on an unknown zone.
    OSError
        When the file cannot be opened.
    """
    path = Path(path)
    how = layout_for(
        path,
        layout,
        COLUMNS,
        time_zone=time_zone,
        columns=columns,
        encoding=encoding,
        delimiter=delimiter,
    )
    if how.time_zone is not None:
        clock.offset_min("2026-01-01T00:00Z", how.time_zone)  # refuses an unknown zone
    cells, no_end = _log_cells(path, how)
    log = _parsed(cells, how.time_zone)
    warnings = Faults(list(log.warnings.itertuples(index=False, name=None)))
    if no_end and cells.rows:
        warnings.add(cells.rows[-1][0], "", "", "no line end: is the last line whole?")
    _audit(log.frame, warnings)
    if station is not None and station.setups:
        _warn_setups(log.frame, station, warnings)
    return dataclasses.replace(log, warnings=warnings.frame())


def _parsed(cells: Cells, time_zone: str | None) -> Log:
    """Typed rows, without the audit of one row against others."""
    cut = tuple(
        (first, "", ",".join(texts), "the line was cut off while it was written")
        for first, _, texts in cells.rows
        if texts[-1].endswith(CUT_OFF)
    )

    def check_row(values: dict[str, Any], texts: dict[str, str], rejects: Faults, row: int) -> None:
        start, end = values.get("start_utc"), values.get("end_utc")
        if start is None or end is None:
            return
        if not 0.0 <= end - start <= _DAY_S:
            reason = "before start_utc" if end < start else "more than a day after start_utc"
            rejects.add(row, "end_utc", texts["end_utc"], reason)
        stamps = [texts["start_utc"], texts["end_utc"]]
        if time_zone is not None and not values["as_written"] and not all(map(_has_zone, stamps)):
            values["as_written"] = f"{stamps[0]} to {stamps[1]} {time_zone}"

    known = dataclasses.replace(cells, faults=cells.faults + cut)
    frame, rejects, warnings = parse_cells(known, _columns(time_zone), check_row)
    out = pd.DataFrame({"row": frame["row"].to_numpy(dtype=np.int64)})
    for name in COLUMNS:
        if name in ("start_utc", "end_utc"):
            micro = np.rint(np.array(frame[name].tolist(), dtype=np.float64) * 1e6)
            index = pd.DatetimeIndex(micro.astype(np.int64).astype("datetime64[us]"))
            out[name] = index.tz_localize("UTC")
        elif name in ("freq_khz", "freq_measured_khz"):
            out[name] = np.array(frame[name].tolist(), dtype=np.float64)
        else:
            out[name] = frame[name].astype("str")
    return Log.of(cells, out, rejects, warnings, time_zone=time_zone)


def _log_cells(path: Path, how: Layout) -> tuple[Cells, bool]:
    """Cells, and whether the last line has no end; one that was cut off gets its mark."""
    data = read_bytes_of(path)
    digest = hashlib.sha256(data).hexdigest()
    suffix = path.suffix.lower()
    if suffix in (".adi", ".adif"):
        header, rows, faults = adif.adif_rows(data, path.name, COLUMNS, how.encoding)
        return Cells(path.name, digest, header, tuple(rows), tuple(faults), is_typed=True), False
    if suffix in (".xlsx", ".parquet") or how.encoding is not None or how.positions:
        return cells_of(data, path.name, layout=how), False
    delimiter = how.separator(path.name)
    file = io.BytesIO(data)
    tail = _tail(file)
    header = header_of(file, delimiter) if tail else ()
    kept, mark = _ending(tail, header, delimiter) if header else (0, b"\n")
    if mark != b"\n":
        data = data[: len(data) - len(tail) + kept] + mark
    cells = cells_of(data, path.name, layout=how)
    return dataclasses.replace(cells, sha256=digest), bool(tail) and mark == b"\n"


# Audit ------------------------------------------------------------------------------------------


def _audit(frame: pd.DataFrame, warnings: Faults) -> None:
    """Warn of what is possible but doubtful."""
    rows = frame["row"].tolist()
    freq = frame["freq_khz"].to_numpy()
    for at in np.flatnonzero(freq % 5.0 != 0.0):
        warnings.add(rows[at], "freq_khz", f"{freq[at]:.10g}", "not a multiple of 5 kHz")
    of_freq = band.name_of(freq)
    for row, khz, name, named in zip(rows, freq, of_freq, frame["band"].tolist(), strict=True):
        if named and f"{named.lower().removesuffix('m').strip()} m" != name:
            warnings.add(row, "band", named, f"{khz:.10g} kHz is {_worded(name)}")
    outcome = frame["outcome"].tolist()
    for name in ("sinpo", "sio"):
        for row, text, came in zip(rows, frame[name].tolist(), outcome, strict=True):
            if text:
                for reason in doubts_of_rating(text.rstrip("j"), came):
                    warnings.add(row, name, text, reason)
    _warn_times(frame, warnings)


def _worded(name: str) -> str:
    return "in no broadcast band" if name == band.OTHER else f"in the {name} broadcast band"


def doubts_of_rating(digits: str, outcome: str) -> list[str]:
    doubts = []
    if digits[-1] > min(digits[:-1]):
        doubts.append("O is above the worst of the others")
    if set(digits) in ({"5"}, {"1"}):
        doubts.append(f"all {digits[0]}: rare at a distance")
    if outcome in ("not_heard", "not_checked"):
        doubts.append(f"a rating, but the outcome is {outcome}")
    return doubts


def _warn_times(frame: pd.DataFrame, warnings: Faults) -> None:
    """Doubled keys and checks, checks without length, one receiver on two frequencies."""
    start, end = (unix_s(frame[name]) for name in ("start_utc", "end_utc"))
    rows = frame["row"].to_numpy()
    names = ("check_id", "outcome", "observer_id", "setup_id", "freq_khz", "identity")
    values = list(zip(*(frame[name].tolist() for name in names), strict=True))
    keys: dict[str, int] = {}
    of_channel: dict[tuple[object, ...], tuple[float, float, int]] = {}
    latest: dict[tuple[str, str], dict[float, tuple[float, int]]] = {}
    for at in np.lexsort((rows, end, start)):
        check_id, outcome, observer, setup, freq_khz, identity = values[at]
        row, begin_s, end_s = int(rows[at]), float(start[at]), float(end[at])
        if check_id and keys.setdefault(check_id, row) != row:
            warnings.add(row, "check_id", check_id, f"the key of row {keys[check_id]}, too")
        if outcome != "not_checked" and end_s == begin_s:
            warnings.add(row, "end_utc", iso_text(end_s), "equals start_utc: no time was spent")
        channel = (observer, setup, freq_khz, identity)
        before = of_channel.get(channel)
        best = latest.setdefault((observer, setup), {})
        clash = [n for khz, (e, n) in best.items() if khz != freq_khz and e > begin_s]
        if before is not None and before[:2] == (begin_s, end_s):
            warnings.add(row, "", iso_text(begin_s), f"the same check as in row {before[2]}")
            continue
        if outcome == "not_checked" or end_s == begin_s:
            of_channel.setdefault(channel, (begin_s, end_s, row))
            continue
        if clash:
            reason = f"overlaps row {clash[0]} on another frequency: one receiver?"
            warnings.add(row, "start_utc", iso_text(begin_s), reason)
        elif before is not None and before[1] > begin_s:
            reason = f"overlaps row {before[2]} of the same channel"
            warnings.add(row, "start_utc", iso_text(begin_s), reason)
        if before is None or end_s > before[1]:
            of_channel[channel] = (begin_s, end_s, row)
        if freq_khz not in best or end_s > best[freq_khz][0]:
            best[freq_khz] = (end_s, row)
        if len(best) > 2:  # the two that last longest are enough to find a clash
            del best[min(best, key=lambda khz: best[khz][0])]


def _warn_setups(frame: pd.DataFrame, station: Station, warnings: Faults) -> None:
    dates = clock.to_local(frame["start_utc"], station.time_zone).astype("datetime64[D]")
    days, first, counts = np.unique(dates, return_index=True, return_counts=True)
    for day, at, count in zip(days.tolist(), first, counts, strict=True):
        if station.setup_on(day) is None:
            reason = f"no setup of the station on this local date ({count} checks, first here)"
            warnings.add(int(frame["row"].iloc[at]), "start_utc", day.isoformat(), reason)


# Cells ------------------------------------------------------------------------------------------

_INSTANT = re.compile(
    r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d(:\d\d(\.\d{1,6})?)?(?P<zone>[Zz]|[+-]\d\d:\d\d)?", re.ASCII
)


def _has_zone(text: str) -> bool:
    found = _INSTANT.fullmatch(text)
    return found is not None and found["zone"] is not None


def instant(time_zone: str | None) -> Callable[[str], float]:
    """Parser of an RFC 3339 instant, seconds may be left out; bare stamps need a zone. [s]"""

    def parse(text: str) -> float:
        found = _INSTANT.fullmatch(text)
        if found is None and time_zone is not None:
            return _of_wall(_wall_words(text), time_zone)
        if found is None:
            raise ValueError("not an instant such as 2026-11-25T18:00Z")
        if found["zone"] is not None:
            return text_unix_s(text.upper())
        if time_zone is None:
            raise ValueError("no time zone; write Z at the end if it is UTC, or name its time_zone")
        return _of_wall(text.upper(), time_zone)

    return parse


_WORDS = re.compile(
    r"(?:(?P<weekday>[a-z]{3,9})\.?,?\s+)?(?P<day>\d{1,2})\s+(?P<month>[a-z]{3,9})\.?,?"
    r"(?:\s+(?P<year>\d{4}))?,?\s+(?P<hour>\d{1,2})(?:[:.](?P<minute>\d\d))?"
    r"(?:\s*(?P<half>[ap])\.?m\.?)?",
    re.ASCII | re.IGNORECASE,
)
_MONTHS = (
    *("january", "february", "march", "april", "may", "june", "july", "august"),
    *("september", "october", "november", "december"),
)


def _position(name: str, names: Sequence[str], what: str) -> int:
    for at, full in enumerate(names):
        if len(name) >= 3 and full.lower().startswith(name.lower()):
            return at
    raise ValueError(f"{name!r} is no {what}")


def _wall_words(text: str) -> str:
    """ISO form of a wall time in words: Wed 25 Nov 2026 8:30 pm, 25 November 2026 20:30."""
    found = _WORDS.fullmatch(text.strip())
    if found is None:
        raise ValueError("not a time such as 2026-11-25T20:30 or 25 Nov 2026 8:30 pm")
    if found["year"] is None:
        raise ValueError("no year; write it, for example 25 Nov 2026 20:30")
    hour, minute = int(found["hour"]), int(found["minute"] or 0)
    if found["half"]:
        if not 1 <= hour <= 12:
            raise ValueError("no such time of day with am or pm")
        hour = hour % 12 + (12 if found["half"].lower() == "p" else 0)
    elif found["minute"] is None:
        raise ValueError("an hour without minutes; write 20:30 or 8 pm")
    month = _position(found["month"], _MONTHS, "month") + 1
    try:
        wall = dt.datetime(int(found["year"]), month, int(found["day"]), hour, minute)  # noqa: DTZ001
    except ValueError:
        raise ValueError("no such day in the calendar, or no such time of day") from None
    if found["weekday"] is not None:
        weekday = _position(found["weekday"], clock.WEEKDAYS, "day of the week")
        if weekday != wall.weekday():
            raise ValueError(f"that day is a {clock.WEEKDAYS[wall.weekday()]}")
    return wall.isoformat()


def _of_wall(text: str, zone: str) -> float:
    """Instant of a wall reading; one that happens twice or never is refused with both."""
    try:
        return float(clock.to_utc(text, zone).unix_s)
    except InputError as cause:
        fault = cause
    try:
        both = [float(clock.to_utc(text, zone, which).unix_s) for which in ("earlier", "later")]
        what = "happens twice"
    except InputError:
        try:
            before_s = float(clock.to_utc(text, zone, missing="shift").unix_s)
        except InputError:
            raise fault from None
        gap_s = float(clock.offset_min(UtcTimes(np.array(before_s)), zone)) * 60.0
        wall_s = float(unix_s(text + "Z"))
        both, what = [wall_s - gap_s, before_s], "never happens"
    raise ValueError(
        f"{what} in {zone}: {iso_text(both[0])} or {iso_text(both[1])}? write the one that is meant"
    )


_OUTCOME_WORDS = {
    **{name: name for name in OUTCOMES},
    **dict.fromkeys(("1", "yes", "true"), "heard"),
    **dict.fromkeys(("0", "no", "false"), "not_heard"),
}


def outcome_word(text: str) -> str:
    """Parser of an outcome in words or as yes and no."""
    try:
        return _OUTCOME_WORDS[text.lower()]
    except KeyError:
        raise ValueError(
            f"not 1, 0, yes, no, {', '.join(OUTCOMES)}{near_name(text, OUTCOMES)}"
        ) from None


def _fits(pattern: str, reason: str) -> Callable[[str], str]:
    compiled = re.compile(pattern, re.ASCII)

    def parse(text: str) -> str:
        if not compiled.fullmatch(text.lower()):
            raise ValueError(reason)
        return text.lower()

    return parse


def _columns(time_zone: str | None) -> tuple[Column, ...]:
    def may_be(name: str, parse: Callable[[str], Any], empty: Any = "") -> Column:
        return Column(name, parse, required=False, needed=False, empty=empty)

    basis = ("announced", "parallel", "schedule", "language", "guess")
    confidence = ("sure", "probable", "tentative", "unknown")
    return (
        *(may_be(name, plain_text(80)) for name in ("check_id", "session_id", "observer_id")),
        Column("start_utc", instant(time_zone)),
        Column("end_utc", instant(time_zone)),
        may_be("as_written", plain_text(5000)),
        Column("freq_khz", frequency_khz),
        may_be("freq_measured_khz", frequency_khz, np.nan),
        may_be("band", plain_text(20)),
        may_be("demod", one_of(("AM", "USB", "LSB"))),
        Column("outcome", outcome_word),
        may_be("identity", plain_text(80)),
        may_be("id_basis", one_of(basis)),
        may_be("id_confidence", one_of(confidence)),
        may_be("sinpo", _fits("[1-5]{5}", "not five digits 1 to 5")),
        may_be("sio", _fits("[1-5]{3}j?", "not three digits 1 to 5, with or without a j")),
        may_be("language", language_code),
        *(may_be(name, plain_text(5000)) for name in ("notes", "programme_notes")),
        *(may_be(name, plain_text(80)) for name in ("local_noise", "s_meter", "setup_id")),
        may_be("audio_ref", plain_text(500)),
        may_be("audio_sha256", _fits("[0-9a-f]{64}", "not 64 hexadecimal digits")),
    )


COLUMNS = tuple(column.name for column in _columns(None))
_REQUIRED = tuple(column.name for column in _columns(None) if column.required)


# Writing ----------------------------------------------------------------------------------------


def write_log(log: Log | pd.DataFrame, path: str | Path) -> tuple[str, ...]:
    """Write checks in a form told by the suffix; the file is there whole or not at all.

    Parameters
    ----------
    log
        A log, or a frame with columns of this module (and `row`, which is not written). Columns
        that are not there are written empty.
    path
        Ends in .csv, .tsv, .xlsx or .parquet, all of which hold everything, or in .adi, which does
        not (see :mod:`farhear.adif`). Written beside its place and renamed.

    Returns
    -------
    Sentences on what the form could not hold; empty but for ADIF.

    Raises
    ------
    InputError
        When a row is not one that :func:`read_log` would accept, on an unknown column, another
        suffix, or when rows that were refused would be lost by writing over the file they are in.
    OSError
        When the file cannot be written.
    """
    path = Path(path)
    suffix = path.suffix.lower()
    if suffix not in _SUFFIXES:
        raise InputError(f"{path.name} does not end in one of {', '.join(_SUFFIXES)}")
    if isinstance(log, Log) and log.rows_rejected and path.exists():
        with path.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
        if digest == log.sha256:
            raise InputError(
                f"{path.name} has {log.rows_rejected} refused rows, which writing over it would "
                "lose; mend them or write another file"
            )
    cells = _cells_of(log.frame if isinstance(log, Log) else log)
    checked = accepted(cells, "log")
    notes: list[str] = []
    if suffix == ".adi":
        data, notes = adif.adif_bytes(checked)
    elif suffix == ".xlsx":
        data = _workbook(cells)
    elif suffix == ".parquet":
        out = io.BytesIO()
        checked.drop(columns="row").to_parquet(out, engine="pyarrow", index=False)
        data = out.getvalue()
    else:
        text = io.StringIO(newline="")
        writer = csv.writer(text, delimiter="\t" if suffix == ".tsv" else ",", lineterminator="\n")
        writer.writerow(cells.header)
        writer.writerows(map(guarded, texts) for _, _, texts in cells.rows)
        data = text.getvalue().encode("utf-8")
    put(path, data)
    return tuple(notes)


_SUFFIXES = (".csv", ".tsv", ".xlsx", ".parquet", ".adi")


def _workbook(cells: Cells) -> bytes:
    """One sheet; all cells but frequencies are texts, so that none is taken for a formula."""
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell

    book = Workbook(write_only=True)
    sheet = book.create_sheet("log")
    sheet.append(list(cells.header))
    for _, _, texts in cells.rows:
        row = []
        for name, text in zip(cells.header, texts, strict=True):
            is_number = name in ("freq_khz", "freq_measured_khz") and _fits_a_sheet(text)
            cell = WriteOnlyCell(sheet, value=float(text) if is_number else text or None)
            if text and not is_number:
                cell.data_type = "s"
            row.append(cell)
        sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _fits_a_sheet(text: str) -> bool:
    """Whether a number lives through the 15 digits that a spreadsheet keeps."""
    return bool(text) and float(f"{float(text):.15g}") == float(text)


def _cells_of(frame: pd.DataFrame) -> Cells:
    """Text cells in all our columns; rows are counted from 0, as in the frame."""
    for name in frame.columns:
        if name not in COLUMNS and name != "row":
            raise InputError(f"log has a column {name!r}, unknown{near_name(str(name), COLUMNS)}")
    texts: list[Iterable[str]] = []
    for name in COLUMNS:
        if name in frame.columns:
            texts.append(checked_texts(name, frame[name].tolist()))
        elif name in _REQUIRED:
            raise InputError(f"log has no column {name!r}")
        else:
            texts.append([""] * len(frame))
    rows = tuple((i, i, row) for i, row in enumerate(zip(*texts, strict=True)))
    return Cells("log", "", COLUMNS, rows)


def checked_texts(name: str, values: Sequence[object]) -> list[str]:
    texts = [cell_text(value) for value in values]
    for index, text in enumerate(texts):
        if _BREAKS.search(text):
            raise InputError(
                f"{name}[{index}] = {text[:80]!r} has a line break or another control character"
            )
    return texts


def accepted(cells: Cells, what: str) -> pd.DataFrame:
    """Rows as they will be read, or an error that names the first fault."""
    log = _parsed(cells, None)
    if len(log.rejects):
        row, column, value, reason = log.rejects.iloc[0]
        where = f"[{row}]" if what == "log" else ""
        raise InputError(f"{what}{where}: {column} = {value!r}: {reason}")
    return log.frame


# Adding one check -------------------------------------------------------------------------------


def append_check(path: str | Path, check: Mapping[str, Any]) -> None:
    """Add one check to a log in CSV; when this returns, the line is on the disk.

    A new file gets a header of all our columns; in one that is there the cells follow its header.
    A last line without an end is ended first: as it is when it is whole, else with the mark
    `CUT_OFF`, and :func:`read_log` reports it. Programs that add at once wait for each other
    (not on Windows: there only one may add at a time).

    Parameters
    ----------
    path
        Log in UTF-8 with commas and our column names.
    check
        Column -> value: text, number, or an instant with a zone. What is left out is empty.

    Raises
    ------
    InputError
        When :func:`read_log` would refuse the row, on a column that is unknown or not in the
        file's header, or when the file is no log. The file is then as it was.
    OSError
        When the file cannot be written; it is then as it was.

    Examples
    --------
    >>> append_check("log.csv", {
    ...     "start_utc": "2026-11-25T18:00Z", "end_utc": "2026-11-25T18:04Z",
    ...     "freq_khz": 6070, "outcome": "not_heard", "identity": "Radio Belmorant (invented)",
    ... })  # doctest: +SKIP
    """
    path = Path(path)
    for name in check:
        if name not in COLUMNS:
            raise InputError(f"check names {name!r}, unknown{near_name(name, COLUMNS)}")
    with alone(path.parent):
        _append(path, check)


def _append(path: Path, check: Mapping[str, Any]) -> None:
    is_new = not path.exists() or path.stat().st_size == 0
    if is_new:
        header: tuple[str, ...] = COLUMNS
    else:
        with path.open("rb") as file:
            header = header_of(file, ",")
        for name in (*_REQUIRED, *check):
            if name not in header:
                raise InputError(f"{path.name}: the header has no column {name!r}")
        if len(set(header)) != len(header):
            raise InputError(f"{path.name}: the header has a name twice")
    texts = [checked_texts(name, [check.get(name)])[0] for name in header]
    if '"' in texts[-1] or texts[-1].endswith(CUT_OFF):
        raise InputError(
            f"check: {header[-1]} = {texts[-1]!r}: in the last column of a log a double quote or "
            "the mark of a cut line cannot be told from a line cut short"
        )
    accepted(Cells("check", "", header, ((0, 0, tuple(texts)),)), "check")
    line = io.StringIO(newline="")
    csv.writer(line, lineterminator=",").writerow(map(guarded, texts[:-1]))
    new = f'{line.getvalue()}"{guarded(texts[-1])}"\n'.encode()
    if is_new:
        put(path, (",".join(COLUMNS) + "\n").encode())
    with path.open("r+b", buffering=0) as file:
        tail = _tail(file)
        size = file.seek(0, os.SEEK_END)
        kept = 0
        if tail:
            kept, ending = _ending(tail, header, ",")
            new = ending + new
        half = tail[kept:]  # of a character
        try:
            _write_at(file, size - len(half), new)
            os.fsync(file.fileno())
        except BaseException:
            with contextlib.suppress(OSError):
                _write_at(file, size - len(half), half)
                file.truncate(size)
            raise


def _write_at(file: FileIO, start: int, data: bytes) -> None:
    """Write all of it; the disk may take less at a time."""
    file.seek(start)
    while data:
        data = data[file.write(data) :]


def header_of(file: BinaryIO, delimiter: str) -> tuple[str, ...]:
    """Names in the header, empty when there is none."""
    file.seek(0)
    for line in file:
        for text in map(str.strip, line.decode("utf-8-sig", errors="replace").split("\r")):
            if text and not text.startswith("#"):
                try:
                    cells = next(csv.reader([text], delimiter=delimiter))
                except csv.Error:  # a cell without end
                    return ()
                return tuple(cell.strip() for cell in cells)
    return ()


def _tail(file: BinaryIO) -> bytes:
    """Bytes after the last line end."""
    size = file.seek(0, os.SEEK_END)
    file.seek(max(0, size - _TAIL_BYTES))
    data = file.read()
    return data[max(data.rfind(b"\n"), data.rfind(b"\r")) + 1 :]


def _ending(tail: bytes, header: Sequence[str], delimiter: str) -> tuple[int, bytes]:
    """How many bytes of a last line without an end to keep, and what ends it.

    A line of ours is whole only with a quoted last cell; one typed by hand may end in a text. Half
    a character is dropped, since nothing can read a file with it.
    """
    text = tail.decode("utf-8", errors="ignore")
    kept = len(text.encode("utf-8")) if tail.startswith(text.encode("utf-8")) else len(tail)
    try:
        cells = next(csv.reader([text], delimiter=delimiter, strict=True), [])
    except csv.Error:  # a quote is open
        return kept, f'{CUT_OFF}"\n'.encode()
    marked = any(cells[-1].endswith(CUT_OFF[:n]) for n in range(1, len(CUT_OFF))) if cells else True
    whole = len(cells) == len(header) and not text.endswith(delimiter) and not marked
    if whole and kept == len(tail):
        return kept, b"\n"
    return kept, f"{delimiter}{CUT_OFF}\n".encode()

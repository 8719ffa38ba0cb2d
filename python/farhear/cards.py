"""Reports that were sent and the verification cards that came back, as a table in CSV.

Columns (see :mod:`farhear.tables` for the form of the file)

============== ====== ============================================================================
column         header meaning
============== ====== ============================================================================
report_id      needed r and 12 hexadecimal digits, see :func:`report_id`; no two rows share one
broadcaster    needed to whom the report went
freq_khz       needed nominal frequency of the reception, 1600 to 30000. [kHz]
start_utc      needed the reception, instants with Z or an offset: 2026-11-25T18:00Z
end_utc        needed the same, after the start
tentative      needed yes or no: whether the report was tentative
sent_utc       needed when the report was sent, not before the reception ended
sent_by        needed post, e-mail, web form or other
sent_to        no     address it was sent to
return_postage no     what was put in for the answer
card_utc       needed when the answer came, not before the report was sent; empty while waiting
card_kind      needed paper, electronic, letter, or none (an answer that verifies nothing); empty
                      while waiting
site           no     transmitter site that the card verifies
note           no     free text
============== ====== ============================================================================

Texts have no line breaks. Further columns, comments before the header and all rows that are not
meant stay as they are, letter for letter, when a report or a card is added.

.. caution:: The file says whom the listener writes to, and where. Keep it private.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from farhear._files import alone, put
from farhear.errors import InputError
from farhear.layouts import cells_of, line_breaks
from farhear.log import instant
from farhear.tables import (
    Cells,
    Column,
    Faults,
    Table,
    cell_text,
    decode,
    frequency_khz,
    guarded,
    near_name,
    one_of,
    parse_cells,
    plain_text,
    read_bytes_of,
)
from farhear.times import iso_text, unix_s

if TYPE_CHECKING:
    from farhear.report import Report

__all__ = ["CARD_KINDS", "SENT_BY", "Cards", "add_card", "add_report", "read_cards", "report_id"]

SENT_BY = ("post", "e-mail", "web form", "other")
"""Ways of a report."""
CARD_KINDS = ("paper", "electronic", "letter", "none")
"""Kinds of an answer; none: one that verifies nothing."""

_DAY_S = 86400.0
_BREAKS = re.compile(r"[\x00-\x1f\x7f\ud800-\udfff]")
_BOM = b"\xef\xbb\xbf"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cards(Table):
    """A table of reports and cards.

    `frame` has `row` and the columns of this module: instants (NaT while there is no card),
    `freq_khz` as a number, `tentative` as bool, the rest as text, empty where nothing was written.
    """

    def __len__(self) -> int:
        return len(self.frame)

    def waiting(self, now: Any) -> pd.DataFrame:
        """Reports sent and not answered at an instant, those that wait longest first.

        Parameters
        ----------
        now
            One instant (see :func:`farhear.utc`). Reports sent later are left out, and cards that
            came later had not come yet.

        Returns
        -------
        DataFrame with report_id, broadcaster, freq_khz, start_utc, tentative, sent_utc, sent_by,
        sent_to, return_postage, and days_waited: whole days since it was sent. [d]

        Raises
        ------
        InputError
            On what is not one instant.
        """
        now_s = unix_s(now)
        if now_s.shape or np.isnan(now_s):
            raise InputError(f"now = {now!r} is not one instant")
        sent_s, card_s = (unix_s(self.frame[name]) for name in ("sent_utc", "card_utc"))
        keep = (sent_s <= now_s) & ~(card_s <= now_s)
        out = self.frame.loc[keep, list(_WAITING)].copy()
        out["days_waited"] = np.floor((now_s - sent_s[keep]) / _DAY_S).astype(np.int64)
        return out.sort_values(["sent_utc", "report_id"], ignore_index=True)


_WAITING = (
    *("report_id", "broadcaster", "freq_khz", "start_utc", "tentative", "sent_utc", "sent_by"),
    *("sent_to", "return_postage"),
)


# Reading ----------------------------------------------------------------------------------------


def read_cards(path: str | Path, *, encoding: str | None = None) -> Cards:
    """Read a table of reports and cards.

    Parameters
    ----------
    path
        File of the form described in this module; it is only read. It may have no rows yet.
    encoding
        Name of the encoding if it is not UTF-8.

    Returns
    -------
    Cards
        ``rows_read == len(frame) + number of rejected rows``. Warned of: a second report for one
        reception, a report_id that does not fit its row.

    Raises
    ------
    InputError
        When the file as a whole cannot be understood.
    OSError
        When the file cannot be opened.
    """
    path = Path(path)
    return _parsed(cells_of(read_bytes_of(path), path.name, encoding=encoding))


def _parsed(cells: Cells) -> Cards:
    rows_of: dict[str, int] = {}

    def check_row(values: dict[str, Any], texts: dict[str, str], rejects: Faults, row: int) -> None:
        key = values.get("report_id")
        if key is not None and rows_of.setdefault(key, row) != row:
            rejects.add(row, "report_id", key, f"the key of row {rows_of[key]}, too")
        for name, reason in _faults_of_times(values):
            rejects.add(row, name, texts[name], reason)

    frame, rejects, warnings = parse_cells(cells, _columns(), check_row)
    out = pd.DataFrame({"row": frame["row"].to_numpy(dtype=np.int64)})
    for name in COLUMNS:
        if name.endswith("_utc"):
            instant_s = np.array(frame[name].tolist(), dtype=np.float64)
            micro = np.where(np.isnan(instant_s), 0.0, np.rint(instant_s * 1e6)).astype(np.int64)
            stamps = micro.astype("datetime64[us]")
            stamps[np.isnan(instant_s)] = np.datetime64("NaT", "us")
            out[name] = pd.DatetimeIndex(stamps).tz_localize("UTC")
        elif name == "freq_khz":
            out[name] = np.array(frame[name].tolist(), dtype=np.float64)
        elif name == "tentative":
            out[name] = np.array(frame[name].tolist(), dtype=np.bool_)
        else:
            out[name] = frame[name].astype("str")
    _audit(out, warnings)
    return Cards.of(cells, out, rejects, warnings)


def _faults_of_times(values: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Column and reason of each thing that cannot be; what is missing is not judged."""
    faults = []
    start, end, sent = (values.get(name) for name in ("start_utc", "end_utc", "sent_utc"))
    if start is not None and end is not None and not start < end:
        faults.append(("end_utc", f"not after start_utc {iso_text(start)}"))
    if end is not None and sent is not None and sent < end:
        faults.append(("sent_utc", f"before the reception ended, {iso_text(end)}"))
    if "card_utc" in values and "card_kind" in values:
        came, kind = values["card_utc"], values["card_kind"]
        if np.isnan(came) != (kind == ""):
            lacking = "card_utc" if np.isnan(came) else "card_kind"
            faults.append((lacking, "empty; card_utc and card_kind go together"))
        if sent is not None and came < sent:
            faults.append(("card_utc", f"before the report was sent, {iso_text(sent)}"))
    return faults


def _audit(frame: pd.DataFrame, warnings: Faults) -> None:
    """Warn of two reports for one reception, and of keys that do not fit."""
    starts, ends = unix_s(frame["start_utc"]), unix_s(frame["end_utc"])
    names = ("row", "report_id", "broadcaster", "freq_khz")
    columns = [frame[name].tolist() for name in names]
    latest: dict[tuple[str, float], tuple[float, int]] = {}
    order = np.argsort(starts, kind="stable")
    for at in order.tolist():
        row, key, broadcaster, freq_khz = (column[at] for column in columns)
        start_s, end_s = float(starts[at]), float(ends[at])
        if key != _key(broadcaster, freq_khz, start_s, end_s):
            warnings.add(row, "report_id", key, "not the key of this reception: was it edited?")
        channel = (_folded(broadcaster), freq_khz)
        until_s, other = latest.get(channel, (-np.inf, 0))
        if until_s > start_s:
            warnings.add(row, "", key, f"the same reception as in row {other}")
        if end_s > until_s:
            latest[channel] = (end_s, row)


# Cells ------------------------------------------------------------------------------------------

_ID = re.compile(r"r[0-9a-f]{12}", re.ASCII)


def _report_id(text: str) -> str:
    if not _ID.fullmatch(text):
        raise ValueError("not an r and 12 hexadecimal digits")
    return text


def _yes_no(text: str) -> bool:
    try:
        return {"yes": True, "no": False}[text.lower()]
    except KeyError:
        raise ValueError("neither yes nor no") from None


def _columns() -> tuple[Column, ...]:
    def may_be(name: str, longest: int) -> Column:
        return Column(name, plain_text(longest), required=False, needed=False, empty="")

    return (
        Column("report_id", _report_id),
        Column("broadcaster", plain_text(80)),
        Column("freq_khz", frequency_khz),
        Column("start_utc", instant(None)),
        Column("end_utc", instant(None)),
        Column("tentative", _yes_no),
        Column("sent_utc", instant(None)),
        Column("sent_by", one_of(SENT_BY)),
        may_be("sent_to", 500),
        may_be("return_postage", 200),
        Column("card_utc", instant(None), needed=False, empty=np.nan),
        Column("card_kind", one_of(CARD_KINDS), needed=False, empty=""),
        may_be("site", 200),
        may_be("note", 5000),
    )


COLUMNS = tuple(column.name for column in _columns())


def report_id(report: Report) -> str:
    """Key of the reception that a report is about: r and 12 hexadecimal digits.

    Of the SHA-256 of broadcaster (letter case and blanks do not count), nominal frequency, start
    and end.
    """
    start_s, end_s = (float(unix_s(t)) for t in (report.start_utc, report.end_utc))
    return _key(report.broadcaster, report.freq_khz, start_s, end_s)


def _key(broadcaster: str, freq_khz: float, start_s: float, end_s: float) -> str:
    parts = (_folded(broadcaster), cell_text(freq_khz), iso_text(start_s), iso_text(end_s))
    return "r" + hashlib.sha256("\n".join(parts).encode("utf-8")).hexdigest()[:12]


def _folded(broadcaster: str) -> str:
    """One spelling of a name: without blanks, without letter case, compatible characters as one."""
    return "".join(unicodedata.normalize("NFKC", broadcaster.casefold()).split())


# Adding -----------------------------------------------------------------------------------------


def add_report(
    path: str | Path,
    report: Report,
    *,
    sent_utc: Any,
    sent_by: str,
    sent_to: str = "",
    return_postage: str = "",
    note: str = "",
    encoding: str | None = None,
) -> str:
    """Note that a report was sent. A new file is made where there is none.

    Parameters
    ----------
    path
        Table in CSV. It is written beside its place and renamed; programs that add at once wait
        for each other (not on Windows: there only one may add at a time).
    report
        From :func:`farhear.report.reception_report`.
    sent_utc
        Instant with a zone, datetime or text; not before the reception ended.
    sent_by
        One of `SENT_BY`.
    sent_to, return_postage, note
        Free text in one line.
    encoding
        Of a file that is not in UTF-8; it stays in it.

    Returns
    -------
    The report_id, which :func:`add_card` wants.

    Raises
    ------
    InputError
        When a report was sent for the same reception (same broadcaster, same nominal frequency,
        times that overlap); on a value that :func:`read_cards` would refuse; when the file has a
        row that it refuses. The file is then as it was.
    OSError
        When the file cannot be read or written.
    """
    path = _csv_path(path)
    key = report_id(report)
    given = {
        "report_id": key,
        "broadcaster": report.broadcaster,
        "freq_khz": report.freq_khz,
        "start_utc": report.start_utc,
        "end_utc": report.end_utc,
        "tentative": "yes" if report.tentative else "no",
        "sent_utc": sent_utc,
        "sent_by": sent_by,
        "sent_to": sent_to,
        "return_postage": return_postage,
        "note": note,
    }
    texts = {name: _cell(name, value) for name, value in given.items()}
    with alone(path.parent):
        _add_report(path, report, texts, encoding)
    return key


def _add_report(path: Path, report: Report, texts: Mapping[str, str], encoding: str | None) -> None:
    if not path.exists() or path.stat().st_size == 0:
        book = _Book(path, b"", Cells(path.name, "", COLUMNS, ()), [",".join(COLUMNS) + "\n"])
    else:
        book = _Book.read(path, encoding)
    start_s, end_s = (float(unix_s(t)) for t in (report.start_utc, report.end_utc))
    frame = book.cards.frame
    name = _folded(report.broadcaster)
    same = np.array([_folded(other) == name for other in frame["broadcaster"]], dtype=np.bool_)
    same &= (frame["freq_khz"] == report.freq_khz).to_numpy()
    same &= (unix_s(frame["start_utc"]) < end_s) & (unix_s(frame["end_utc"]) > start_s)
    for at in np.flatnonzero(same).tolist():
        there = frame.iloc[at]
        sent = iso_text(float(unix_s(there["sent_utc"])))
        to = f" to {there['sent_to']}" if there["sent_to"] else ""
        raise InputError(
            f"report: a report for the same reception, {there['report_id']}, was sent {sent} by "
            f"{there['sent_by']}{to}; one report for one reception"
        )
    lines = book.lines
    if lines and not lines[-1].endswith(("\n", "\r")):
        lines = [*lines[:-1], lines[-1] + book.line_end]
    row = book.row(texts)
    book.write([*lines, row], encoding, {**dict.fromkeys(COLUMNS, ""), **texts})


def add_card(
    path: str | Path,
    report_id: str,
    *,
    card_utc: Any,
    card_kind: str,
    site: str = "",
    note: str = "",
    encoding: str | None = None,
) -> None:
    """Note that an answer to a report came.

    An answer of the kind none may be followed by a card; its date is then kept in the note.

    Parameters
    ----------
    path
        Table in CSV, see :func:`add_report`.
    report_id
        Which report.
    card_utc
        When it came: instant with a zone, datetime or text; not before the report was sent.
    card_kind
        One of `CARD_KINDS`.
    site
        Transmitter site that the card verifies.
    note
        Free text in one line; it goes behind the note that is there.
    encoding
        Of a file that is not in UTF-8; it stays in it.

    Raises
    ------
    InputError
        On an unknown report_id (the near one is named), a card that is there already, one that
        came before the report was sent, a site without a card; on a value that :func:`read_cards`
        would refuse; when the file has a row that it refuses. The file is then as it was.
    OSError
        When the file cannot be read or written.
    """
    path = _csv_path(path)
    given = {"card_utc": card_utc, "card_kind": card_kind, "site": site, "note": note}
    texts = {name: _cell(name, value) for name, value in given.items()}
    for name in ("card_utc", "card_kind"):
        if not texts[name]:
            raise InputError(f"{name} is empty")
    with alone(path.parent):
        _add_card(path, report_id, texts, encoding)


def _add_card(path: Path, report_id: str, texts: dict[str, str], encoding: str | None) -> None:
    book = _Book.read(path, encoding)
    frame = book.cards.frame
    keys = frame["report_id"].tolist()
    if report_id not in keys:
        raise InputError(
            f"report_id = {report_id!r} is not in {path.name}{near_name(str(report_id), keys)}"
        )
    there = frame.iloc[keys.index(report_id)]
    notes = [there["note"]]
    if there["card_kind"]:
        came = iso_text(float(unix_s(there["card_utc"])))
        if there["card_kind"] != "none":
            raise InputError(
                f"report_id = {report_id!r} has a card already: {there['card_kind']}, {came}"
            )
        notes.append(f"answer without a card {came}")
    kind = texts["card_kind"].lower()
    if kind == "none" and texts["site"]:
        raise InputError(f"site = {texts['site']!r}: an answer of the kind none verifies no site")
    texts["note"] = "; ".join(part for part in (*notes, texts["note"]) if part)
    texts["site"] = texts["site"] or there["site"]
    first, last, old = next(row for row in book.cells.rows if row[0] == there["row"])
    known = {name: text.strip() for name, text in zip(book.cells.header, old, strict=True)}
    whole = {**dict.fromkeys(COLUMNS, ""), **known, **texts}
    lines = book.lines
    row = book.row({**dict(zip(book.cells.header, old, strict=True)), **texts})
    book.write([*lines[: first - 1], row, *lines[last:]], encoding, whole)


def _csv_path(path: str | Path) -> Path:
    path = Path(path)
    if path.suffix.lower() != ".csv":
        raise InputError(f"path = {path.name!r} does not end in .csv")
    return path


def _cell(name: str, value: Any) -> str:
    text = cell_text(value)
    if _BREAKS.search(text):
        raise InputError(
            f"{name} = {text[:80]!r} has a line break or another control character; "
            "write it in one line"
        )
    return text


@dataclass(frozen=True, slots=True)
class _Book:
    """A table as it lies in its file, line by line."""

    path: Path
    start: bytes  # a byte order mark, or nothing
    cells: Cells
    lines: list[str]

    @classmethod
    def read(cls, path: Path, encoding: str | None) -> _Book:
        data = read_bytes_of(path)
        cells = cells_of(data, path.name, encoding=encoding)
        start = _BOM if encoding is None and data.startswith(_BOM) else b""
        book = cls(path, start, cells, line_breaks(decode(data, path.name, encoding)))
        rejects = book.cards.rejects
        if len(rejects):
            row, column, value, reason = rejects.iloc[0]
            raise InputError(
                f"{path.name} has {book.cards.rows_rejected} refused rows; mend them first. "
                f"Row {row}: {column} = {value!r}: {reason}"
            )
        return book

    @property
    def cards(self) -> Cards:
        return _parsed(self.cells)

    @property
    def line_end(self) -> str:
        return "\r\n" if self.lines[0].endswith("\r\n") else "\n"

    def row(self, texts: Mapping[str, str]) -> str:
        """One line with the cells of the header."""
        for name, text in texts.items():
            if text and name not in self.cells.header:
                raise InputError(f"{self.path.name}: the header has no column {name!r}")
        line = io.StringIO(newline="")
        writer = csv.writer(line, lineterminator=self.line_end)
        writer.writerow([guarded(texts.get(name, "")) for name in self.cells.header])
        return line.getvalue()

    def write(self, lines: Sequence[str], encoding: str | None, row: Mapping[str, str]) -> None:
        """Write the lines when `row`, the new or changed one, will be accepted."""
        names = tuple(name for name in COLUMNS if name in row)
        new = Cells("row", "", names, ((0, 0, tuple(row[name] for name in names)),))
        for _, column, value, reason in _parsed(new).rejects.itertuples(index=False, name=None):
            raise InputError(f"{column} = {value!r}: {reason}")
        try:
            data = self.start + "".join(lines).encode(encoding or "utf-8")
        except UnicodeEncodeError as cause:
            raise InputError(
                f"{self.path.name}: {cause.object[cause.start]!r} does not fit {encoding}"
            ) from None
        after = _parsed(cells_of(data, self.path.name, encoding=encoding))
        before = self.cards
        added = after.rows_read - before.rows_read
        if after.rows_rejected or added != len(lines) - len(self.lines):
            raise AssertionError(f"{self.path.name}: the table would not be read back")
        put(self.path, data)

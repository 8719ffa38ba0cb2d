"""Reading tables without losing a row: what was read is either in `frame` or in `rejects`.

All readers of the package stand on :func:`farhear.layouts.read_cells` (bytes to text cells with
line numbers) and :func:`parse_cells` (text cells to typed columns, faults collected). The file is
only read, never changed.

Form of a table file
--------------------
CSV (RFC 4180) in UTF-8, with or without a byte order mark; another encoding must be named. Lines
that start with ``#`` *before* the header are comments. The first line that is neither empty nor a
comment is the header. Empty lines are not rows. Every other row is counted in `rows_read` and ends
up in exactly one of `frame` and `rejects`. By their suffix also ``.tsv`` and ``.tab`` (tabs),
``.xlsx`` (Excel) and ``.parquet``; and fixed width, where :mod:`farhear.layouts` says so.

In CSV and TSV a text that a spreadsheet would run as a formula is written with an apostrophe before
it, which the reader takes away again: ``'=1+1`` in the file is the text ``=1+1``.
"""

from __future__ import annotations

import codecs
import datetime as dt
import difflib
import math
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any, Self

import pandas as pd

from farhear.errors import InputError

__all__ = ["MAX_BYTES", "MAX_ROWS", "Cells", "Column", "Table", "near_name"]

MAX_BYTES = 64 * 2**20
"""Largest table file that is read. [bytes]"""
MAX_ROWS = 500_000
"""Largest number of rows that is read."""

_FAULT_COLUMNS = ("row", "column", "value", "reason")
_SHOWN_VALUE_CHARACTERS = 80
_SHOWN_CAUSE_CHARACTERS = 200
_KEPT_TEXTS = 10_000  # of a column, whose values need not be worked out again
_KNOWN_BINARY = (
    (b"PK\x03\x04", "a zip archive or a spreadsheet; a workbook's name ends in .xlsx"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet or document; save the sheet as CSV or .xlsx"),
    (b"%PDF", "a PDF document"),
    (b"\x1f\x8b", "gzip-compressed; unpack it first"),
    (b"PAR1", "a Parquet file; its name ends in .parquet"),
)
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0e-\x1f]")
_BREAKS = re.compile(r"[\x00-\x08\x0a-\x1f]")

RawRow = tuple[int, int, tuple[str, ...]]
"""First line, last line, cells as text."""
Fault = tuple[int, str, str, str]
"""Row, column, value, reason; row 0 means the whole file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """What a reader gives back.

    Attributes
    ----------
    frame
        The accepted rows, typed; its column `row` is the line in the file.
    rejects
        One line per fault of a refused row: `row` (line in the file as a text editor counts, so
        the header of a file without comments is line 1), `column` (empty when the whole row is
        meant), `value` (as written), `reason`.
    warnings
        The same columns, for doubts that do not refuse a row; `row` 0 means the whole file.
    rows_read
        Number of rows read; always ``len(frame) + rows_rejected``.
    source
        File name without its folder.
    sha256
        Digest of the file's bytes.
    """

    frame: pd.DataFrame
    rejects: pd.DataFrame
    warnings: pd.DataFrame
    rows_read: int
    source: str = ""
    sha256: str = ""

    def __post_init__(self) -> None:
        if self.rows_read != len(self.frame) + self.rows_rejected:
            raise AssertionError(
                f"{self.source}: {self.rows_read} rows read, {len(self.frame)} accepted, "
                f"{self.rows_rejected} rejected"
            )

    @classmethod
    def of(
        cls,
        read: Cells | Table,
        frame: pd.DataFrame,
        rejects: Faults,
        warnings: Faults,
        **more: Any,
    ) -> Self:
        """Table of what was read; `more` are the fields of a class below."""
        return cls(
            frame=frame,
            rejects=rejects.frame(),
            warnings=warnings.frame(),
            rows_read=read.rows_read,
            source=read.source,
            sha256=read.sha256,
            **more,
        )

    @property
    def rows_rejected(self) -> int:
        """Number of rows with at least one fault."""
        keys = [name for name in ("source", "row") if name in self.rejects.columns]
        return len(self.rejects[keys].drop_duplicates())


@dataclass(frozen=True, slots=True)
class Cells:
    """Text cells of a file, with the line on which each row starts.

    `faults` are those that the form of the file already shows; `is_typed` tells that the file held
    numbers and dates, not texts.
    """

    source: str
    sha256: str
    header: tuple[str, ...]
    rows: tuple[RawRow, ...]
    faults: tuple[Fault, ...] = ()
    is_typed: bool = False

    @property
    def rows_read(self) -> int:
        """Number of rows."""
        return len(self.rows)


@dataclass(frozen=True, slots=True)
class Column:
    """How one column is read.

    `parse` turns the stripped text of a cell into a value and raises ValueError with the reason.
    An empty cell becomes `empty`, unless `needed`: then the row is refused. `required` is about
    the header: without this column the file is refused.
    """

    name: str
    parse: Callable[[str], Any]
    required: bool = True
    needed: bool = True
    empty: Any = None


@dataclass(slots=True)
class Faults:
    """Collects rejects or warnings."""

    items: list[tuple[int, str, str, str]] = field(default_factory=list)

    def add(self, row: int, column: str, value: object, reason: str) -> None:
        """Note one fault; long values are shortened for the table."""
        text = str(value)
        if len(text) > _SHOWN_VALUE_CHARACTERS:
            text = text[: _SHOWN_VALUE_CHARACTERS - 3] + "..."
        self.items.append((row, column, text, reason))

    def frame(self) -> pd.DataFrame:
        """Return the faults in the order of the file."""
        ordered = sorted(self.items, key=lambda item: item[0])
        table = pd.DataFrame(ordered, columns=list(_FAULT_COLUMNS))
        return table.astype({"row": "int64", "column": "str", "value": "str", "reason": "str"})


# [1] OWASP, CSV Injection: a cell that begins with one of these may be run as a formula
_FORMULA = re.compile(r"'*[=+\-@\t\r\n]")


def guarded(text: str) -> str:
    """Cell of a CSV file that no spreadsheet runs: where it could, an apostrophe goes before it.

    Plain numbers stay as they are. :func:`unguarded` gives back what was there, apostrophes too.
    """
    is_risky = _FORMULA.match(text) and not _NUMBER.fullmatch(text)
    return f"'{text}" if is_risky else text


def unguarded(text: str) -> str:
    """What :func:`guarded` was given."""
    return text[1:] if text.startswith("'") and _FORMULA.match(text) else text


def csv_text(frame: pd.DataFrame, float_format: str | None = None) -> str:
    """A table as CSV for others' eyes and spreadsheets, its texts guarded."""
    out = frame.copy()
    for name in out.columns:
        if out[name].dtype.kind not in "biufmM":
            cells = out[name].astype(object)
            out[name] = cells.map(lambda cell: guarded(cell) if isinstance(cell, str) else cell)
    return out.to_csv(index=False, lineterminator="\n", float_format=float_format)


def frame_of(file: Path | BytesIO, name: str, **how: Any) -> pd.DataFrame:
    """A table in CSV as :func:`csv_text` writes it; `how` as in :func:`pandas.read_csv`.

    Raises
    ------
    InputError
        On what is no table; it says `name`.
    OSError
        When the file cannot be opened.
    """
    try:
        frame: pd.DataFrame = pd.read_csv(file, **how)
    except ValueError as cause:  # no text, no rows, a quote that never closes
        raise InputError(f"{name} is no table: {said_by(cause)}") from None
    for column in frame.columns:
        if frame[column].dtype.kind not in "biufmM":
            cells = frame[column]
            frame[column] = cells.map(lambda one: unguarded(one) if isinstance(one, str) else one)
    return frame


def near_name(name: str, known: Iterable[str]) -> str:
    """Return '; did you mean X?' when a known name is near, else an empty text."""
    spelled = {other.lower(): other for other in known}
    near = difflib.get_close_matches(name.lower(), list(spelled), n=1, cutoff=0.6)
    return f"; did you mean {spelled[near[0]]!r}?" if near else ""


def plain_name(name: str) -> str:
    """One spelling of a name, for comparing: blanks as one, letter case folded."""
    return " ".join(name.split()).casefold()


def said_by(cause: BaseException) -> str:
    """What another library says, cut to what fits a message: it may quote half of a file."""
    text = " ".join(str(cause).split())
    return text if len(text) <= _SHOWN_CAUSE_CHARACTERS else text[:_SHOWN_CAUSE_CHARACTERS] + "..."


def counted(count: int, what: str) -> str:
    """Such as "1 check" and "2 checks"."""
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def read_bytes_of(path: str | Path) -> bytes:
    """Return the bytes of a file, or refuse one that is too large."""
    path = Path(path)
    if "\0" in str(path):  # such as a TOML file may hold
        raise InputError(f"{str(path)!r} cannot be read: it is not the name of a file")
    with path.open("rb") as stream:
        data = stream.read(MAX_BYTES + 1)
    if len(data) > MAX_BYTES:
        raise InputError(f"{path.name} is larger than {MAX_BYTES // 2**20} MiB, the stated limit")
    return data


def decode(data: bytes, source: str, encoding: str | None = None) -> str:
    """Return text, or say which byte is in the way and what the caller can do.

    Raises
    ------
    InputError
        On an unknown encoding name, on bytes that do not fit, on binary content.
    """
    for magic, what in _KNOWN_BINARY:
        if data.startswith(magic):
            raise InputError(f"{source} is not a text table: it looks like {what}")
    if encoding is None:
        if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            raise InputError(f"{source} starts like UTF-16, not UTF-8; say encoding='utf-16'")
        nul = data.find(b"\0")
        if nul >= 0:
            line = data.count(b"\n", 0, nul) + 1
            raise InputError(
                f"{source} is not a text table: NUL byte at offset {nul} (line {line}); "
                "if it is text in another encoding, say encoding=..."
            )
        encoding = "utf-8-sig"
    try:
        if codecs.lookup(encoding).name.endswith("-escape"):  # for programs, not for tables
            raise LookupError
        text = data.decode(encoding)
    except UnicodeDecodeError as cause:
        start = cause.start
        line = data.count(b"\n", 0, start) + 1
        column = start - (data.rfind(b"\n", 0, start) + 1) + 1
        name = "UTF-8" if encoding == "utf-8-sig" else encoding
        raise InputError(
            f"{source}: byte 0x{data[start]:02X} at offset {start} (line {line}, byte {column}) "
            f"does not fit {name}; if the file is in another encoding, name it, "
            "for example encoding='cp1252'"
        ) from None
    except (LookupError, ValueError):  # a name, or a code that is none of texts
        raise InputError(f"encoding {encoding!r} is not known") from None
    control = _CONTROL.search(text)
    if control is not None:
        line = text.count("\n", 0, control.start()) + 1
        raise InputError(
            f"{source} is not a text table: control character 0x{ord(control.group()):02X} "
            f"in line {line}"
        )
    return text.removeprefix("\ufeff")


def parse_cells(
    cells: Cells,
    columns: Sequence[Column],
    check_row: Callable[[dict[str, Any], dict[str, str], Faults, int], None] | None = None,
    multiline: bool = False,
) -> tuple[pd.DataFrame, Faults, Faults]:
    """Turn text cells into typed columns; a row with any fault is refused, all faults named.

    Parameters
    ----------
    cells
        From :func:`read_cells`.
    columns
        Columns in the order of the result.
    check_row
        Called with the values parsed so far (only good ones), the row's text, the collector of
        faults and the line; for rules that need more than one column.
    multiline
        Whether a quoted cell may hold line breaks. When not, such a row is refused: a stray
        quote can swallow the rows after it.

    Returns
    -------
    frame, rejects, warnings
        The frame has a first column `row`; warnings name the file's columns that are not used.
    """
    known = [column.name for column in columns]
    missing = [c.name for c in columns if c.required and c.name not in cells.header]
    if missing:
        others = [name for name in cells.header if name not in known]
        hints = "".join(near_name(name, others) for name in missing)
        raise InputError(
            f"{cells.source}: column {', '.join(map(repr, missing))} is missing{hints}"
        )
    rejects, warnings = Faults(), Faults()
    refused = set()
    for row, name, value, reason in cells.faults:
        (rejects if row else warnings).add(row, name, value, reason)
        refused.add(row)
    for name in cells.header:
        if name not in known:
            hint = near_name(name, [k for k in known if k not in cells.header])
            warnings.add(0, name, "", f"column is not used{hint}")
    present = [column for column in columns if column.name in cells.header]
    absent = {column.name: column.empty for column in columns if column.name not in cells.header}
    known_texts: dict[str, dict[str, Any]] = {c.name: {} for c in present}
    for column in present:
        if not column.needed:
            known_texts[column.name][""] = column.empty
    good: list[dict[str, Any]] = []
    for first, last, texts in cells.rows:
        if first in refused:
            continue
        before = len(rejects.items)
        if last > first and not multiline:
            rejects.add(first, "", texts[0], f"a quoted cell runs over lines {first} to {last}")
        if len(texts) != len(cells.header):
            rejects.add(
                first, "", texts[0], f"{len(texts)} cells where the header has {len(cells.header)}"
            )
        if len(rejects.items) > before:
            continue
        as_text = {name: text.strip() for name, text in zip(cells.header, texts, strict=True)}
        for name, text in as_text.items() if cells.is_typed else ():
            if _BREAKS.search(text):
                rejects.add(first, name, text, "a line break or a control character")
        if len(rejects.items) > before:
            continue
        values: dict[str, Any] = {"row": first, **absent}
        doubts = []
        for column in present:
            name = column.name
            text, seen = as_text[name], known_texts[name]
            if text in seen:
                values[name] = seen[text]
            elif not text:
                rejects.add(first, name, text, "empty")
            else:
                try:
                    values[name] = column.parse(text)
                except ValueError as fault:
                    rejects.add(first, name, text, str(fault))
                    continue
                if text[0] in "=@":
                    doubts.append((name, text))
                elif len(seen) < _KEPT_TEXTS:
                    seen[text] = values[name]
        if check_row is not None:
            check_row(values, as_text, rejects, first)
        if len(rejects.items) == before:
            good.append(values)
            for name, text in doubts:
                reason = "begins like a formula: a spreadsheet may run it"
                warnings.add(first, name, text, reason)
    frame = pd.DataFrame.from_records(good, columns=["row", *known])
    return frame, rejects, warnings


# Cell parsers -----------------------------------------------------------------------------------

_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)


def number(
    low: float, high: float, *, open_low: bool = False, hint: str = ""
) -> Callable[[str], float]:
    """Parser of a plain decimal number within [low, high] (or (low, high] with `open_low`)."""
    left = "(" if open_low else "["

    def parse(text: str) -> float:
        if not _NUMBER.fullmatch(text):
            if text.lower().lstrip("+-") in ("nan", "inf", "infinity"):
                raise ValueError("not a finite number")
            comma = "; write a decimal point" if re.fullmatch(r"[+-]?\d+,\d+", text) else ""
            raise ValueError(f"not a number{comma}")
        value = float(text)
        if not math.isfinite(value):
            raise ValueError("not a finite number")
        if not low <= value <= high or (open_low and value == low):
            extra = f"; {hint}" if hint else ""
            raise ValueError(f"outside {left}{low:g}, {high:g}]{extra}")
        return value

    return parse


_in_hf_khz = number(1600.0, 30000.0)


def frequency_khz(text: str) -> float:
    """Parser of a frequency, 1600 to 30000; says so when it looks like MHz. [kHz]"""
    try:
        return _in_hf_khz(text)
    except ValueError as fault:
        try:
            mhz = float(text)
        except ValueError:
            raise fault from None
        if 1.6 <= mhz <= 30.0:
            raise ValueError(f"{fault}; it looks like MHz, write kHz") from None
        raise


_CODE = re.compile(r"[a-z]{3}", re.ASCII)


def language_code(text: str) -> str:
    """Parser of an ISO 639-3 code; the table is that of the package pycountry."""
    if not _CODE.fullmatch(text):
        raise ValueError("not an ISO 639-3 code of three small letters, for example eng")
    if text not in _languages():
        meant = _bibliographic().get(text)
        hint = f"; the code of that language is {meant}" if meant else ""
        raise ValueError(f"no ISO 639-3 code{hint}")
    return text


@cache
def _languages() -> frozenset[str]:
    import pycountry

    return frozenset(language.alpha_3 for language in pycountry.languages)


@cache
def _bibliographic() -> dict[str, str]:
    """Codes of ISO 639-2/B that differ, such as those made of English names."""
    import pycountry

    return {
        language.bibliographic: language.alpha_3
        for language in pycountry.languages
        if hasattr(language, "bibliographic")
    }


def calendar_date(text: str) -> dt.date:
    """Parser of a date written YYYY-MM-DD, years 1900 to 2100."""
    if not _DATE.fullmatch(text):
        raise ValueError("not a date written YYYY-MM-DD (03/06 is read in two ways)")
    try:
        value = dt.date.fromisoformat(text)
    except ValueError:
        raise ValueError("no such day in the calendar") from None
    if not 1900 <= value.year <= 2100:
        raise ValueError("outside the years 1900 to 2100")
    return value


def plain_text(longest: int) -> Callable[[str], str]:
    """Parser of free text of at most `longest` characters."""

    def parse(text: str) -> str:
        if len(text) > longest:
            raise ValueError(f"longer than {longest} characters")
        return text

    return parse


def one_of(known: Sequence[str]) -> Callable[[str], str]:
    """Parser of one of some words; small and capital letters are the same."""
    spelled = {word.lower(): word for word in known}

    def parse(text: str) -> str:
        try:
            return spelled[text.lower()]
        except KeyError:
            raise ValueError(f"none of {', '.join(known)}{near_name(text, known)}") from None

    return parse


def cell_text(value: Any) -> str:
    """How a typed value is written in a text table: a date without time, hhmm, 2026-11-25T18:00."""
    if isinstance(value, str):
        return value.strip()
    if pd.isna(value):
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dt.datetime):
        if value.tzinfo is not None:
            return value.astimezone(dt.UTC).isoformat().removesuffix("+00:00") + "Z"
        midnight = value.time() == dt.time()
        return value.date().isoformat() if midnight else value.isoformat()
    if isinstance(value, dt.time):
        return f"{value:%H%M}" if not value.second else value.isoformat()
    if isinstance(value, dt.timedelta) and value == dt.timedelta(days=1):
        return "2400"  # so does a sheet keep 24:00
    if isinstance(value, float):
        return repr(float(value)).removesuffix(".0")
    if isinstance(value, (int, dt.date)):
        return str(value)
    return re.sub(r"\s+", " ", str(value)).strip()

"""How a table file is laid out: CSV, TSV, Excel, Parquet or fixed width, and under which names.

What cannot be told from a file is written once into a small TOML file beside it, named after it:
`list.txt` has `list.txt.layout.toml`. The readers of schedules, sites and logs look for it; what a
caller says goes before it. All keys may be left out::

    days = "sunday1"          # schedule: what day digits mean
    season = "B26"            # schedule
    sites = "sites.csv"       # schedule: table of sites, in the same folder
    time_zone = "UTC"         # log: zone of stamps that have none
    encoding = "cp1252"
    delimiter = ";"
    sheet = "Sheet1"          # Excel; else the first sheet
    skip_lines = 3            # lines before the header, or before the rows of fixed width

    [columns]                 # our name = name in the file, or its number from 1 (no header then)
    freq_khz = "kHz"

    [positions]               # fixed width: first and last character, from 1
    freq_khz = [1, 5]
    start_utc = [7, 10]
"""

from __future__ import annotations

import csv
import dataclasses
import errno
import hashlib
import io
import itertools
import os
import tomllib
import warnings
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from farhear._files import alone, put, toml_value
from farhear.errors import InputError
from farhear.tables import (
    MAX_BYTES,
    MAX_ROWS,
    Cells,
    Fault,
    RawRow,
    cell_text,
    decode,
    near_name,
    read_bytes_of,
    said_by,
    unguarded,
)

__all__ = ["Layout", "cells_of", "layout_of", "read_cells", "read_layout", "write_layout"]

_ENDING = ".layout.toml"
_UNPACKED = 8  # size of an unpacked workbook or Parquet file against MAX_BYTES
_SHEET_ROWS = 2**20  # rows of a sheet in Excel


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """How one file is laid out, see the module; None or empty: not stated."""

    days: str | None = None
    season: str | None = None
    sites: str | None = None
    time_zone: str | None = None
    encoding: str | None = None
    delimiter: str | None = None
    sheet: str | None = None
    skip_lines: int = 0
    columns: Mapping[str, str | int] = field(default_factory=dict)
    positions: Mapping[str, tuple[int, int]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name in ("days", "season", "sites", "time_zone", "encoding", "delimiter", "sheet"):
            value = getattr(self, name)
            if value is not None and (not isinstance(value, str) or not value):
                raise InputError(f"{name} = {value!r} is not a text")
        if self.delimiter is not None and (len(self.delimiter) != 1 or self.delimiter in '"\r\n'):
            raise InputError(f"delimiter = {self.delimiter!r} is not one character")
        if not _is_whole(self.skip_lines) or not 0 <= self.skip_lines <= 10_000:
            raise InputError(f"skip_lines = {self.skip_lines!r} is no whole number in [0, 10000]")
        _check_columns(self.columns)
        _check_positions(self.positions)
        if self.columns and self.positions:
            raise InputError("columns and positions exclude each other: is the file fixed width?")
        pairs = {name: tuple(ends) for name, ends in self.positions.items()}
        object.__setattr__(self, "positions", pairs)

    @property
    def numbered(self) -> bool:
        """Whether columns are told by their numbers: the file then has no header."""
        return any(_is_whole(theirs) for theirs in self.columns.values())

    def separator(self, source: str) -> str:
        """Character between the cells of a text file of that name."""
        is_tabbed = Path(source).suffix.lower() in (".tsv", ".tab")
        return self.delimiter or ("\t" if is_tabbed else ",")

    def said(self, **given: Any) -> Layout:
        """Return the same with what a caller says; None leaves as it is."""
        return dataclasses.replace(self, **{k: v for k, v in given.items() if v is not None})


def _is_whole(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _check_columns(columns: object) -> None:
    if not isinstance(columns, Mapping):
        raise InputError(f"columns = {columns!r} is not a table of our name = name in the file")
    numbered = 0
    for ours, theirs in columns.items():
        if _is_whole(theirs):
            numbered += 1
            if not 1 <= theirs <= 1000:
                raise InputError(f"columns.{ours} = {theirs} is outside [1, 1000]")
        elif not isinstance(theirs, str) or not theirs.strip():
            raise InputError(f"columns.{ours} = {theirs!r} is neither a name nor a number")
    if numbered not in (0, len(columns)):
        raise InputError("columns mixes names and numbers; a file has a header or it has none")


def _check_positions(positions: object) -> None:
    if not isinstance(positions, Mapping):
        raise InputError(f"positions = {positions!r} is not a table of our name = [first, last]")
    taken: list[tuple[int, int, str]] = []
    for name, ends in positions.items():
        right = isinstance(ends, (list, tuple)) and len(ends) == 2 and all(map(_is_whole, ends))
        if not right or not 1 <= ends[0] <= ends[1] <= 10_000:
            raise InputError(
                f"positions.{name} = {ends!r} is not [first, last] with 1 <= first <= last <= 10000"
            )
        taken.append((ends[0], ends[1], name))
    taken.sort()
    for before, after in itertools.pairwise(taken):
        if after[0] <= before[1]:
            raise InputError(f"positions of {before[2]} and {after[2]} overlap")


def layout_of(path: str | Path, given: Layout | str | Path | None = None) -> Layout:
    """Layout given, or read from the file beside a table, or an empty one."""
    if isinstance(given, Layout):
        return given
    if given is not None:
        return read_layout(given)
    beside = Path(f"{path}{_ENDING}")
    return read_layout(beside) if beside.exists() else Layout()


def layout_for(
    path: str | Path,
    given: Layout | str | Path | None,
    known: Sequence[str],
    **said: Any,
) -> Layout:
    """:func:`layout_of` with what a caller says; its columns must be among those of the reader."""
    how = layout_of(path, given).said(**said)
    for name in (*how.columns, *how.positions):
        if name not in known:
            raise InputError(f"columns names {name!r}, unknown{near_name(name, known)}")
    return how


def read_layout(path: str | Path) -> Layout:
    """Read a layout, see the module.

    Raises
    ------
    InputError
        On what is no TOML, an unknown key (with the near name), a value out of range.
    OSError
        When the file cannot be opened.
    """
    path = Path(path)
    try:
        content = tomllib.loads(decode(read_bytes_of(path), path.name))
    except (ValueError, RecursionError) as cause:  # numbers and nests without end, too
        raise InputError(f"{path.name} is not TOML: {cause}") from None
    known = [one.name for one in fields(Layout)]
    for key in content:
        if key not in known:
            raise InputError(f"{path.name}: unknown key {key!r}{near_name(key, known)}")
    try:
        return Layout(**content)
    except InputError as fault:
        raise InputError(f"{path.name}: {fault}") from None


def write_layout(layout: Layout, table: str | Path) -> Path:
    """Write a layout beside a table, so that it need not be said again; return its path.

    Raises
    ------
    InputError
        On texts that are no Unicode.
    OSError
        When the file cannot be written, or there is one already: it is never replaced.
    """
    lines = []
    tables: dict[str, Mapping[str, Any]] = {}
    for one in fields(Layout):
        value = getattr(layout, one.name)
        if isinstance(value, Mapping):
            tables[one.name] = value
        elif value is not None and value != one.default:
            lines.append(f"{one.name} = {toml_value(value)}")
    for name, values in tables.items():
        if values:
            lines += [
                "",
                f"[{name}]",
                *(f"{toml_value(k)} = {toml_value(v)}" for k, v in values.items()),
            ]
    path = Path(f"{table}{_ENDING}")
    try:
        data = "".join(f"{line}\n" for line in lines).encode("utf-8")
    except UnicodeEncodeError:
        raise InputError("the layout has half a character, which no file can hold") from None
    with alone(path.parent):
        if path.exists():
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path))
        put(path, data)
    return path


# Any file ---------------------------------------------------------------------------------------


def read_cells(
    path: str | Path,
    *,
    encoding: str | None = None,
    delimiter: str | None = None,
    columns: Mapping[str, str] | None = None,
    layout: Layout | None = None,
) -> Cells:
    """Read a table file into text cells.

    Parameters
    ----------
    path
        The file; it is only read. Its suffix tells Excel and Parquet.
    encoding
        Name of the encoding if it is not UTF-8.
    delimiter
        One character between cells; None: a tab in .tsv and .tab, else a comma.
    columns
        Our column name -> name in the file's header, for files with other headers.
    layout
        How the file is laid out; the other arguments go before it.

    Raises
    ------
    InputError
        On an unreadable encoding, an empty file, a header with an empty or doubled name, a quote
        that never closes, a damaged file, one over `MAX_BYTES` or `MAX_ROWS`.
    OSError
        When the file cannot be opened.
    """
    path = Path(path)
    return cells_of(
        read_bytes_of(path),
        path.name,
        encoding=encoding,
        delimiter=delimiter,
        columns=columns,
        layout=layout,
    )


def cells_of(
    data: bytes,
    source: str,
    *,
    encoding: str | None = None,
    delimiter: str | None = None,
    columns: Mapping[str, str] | None = None,
    layout: Layout | None = None,
) -> Cells:
    """Text cells of the bytes of a file named `source`; see :func:`read_cells`."""
    how = (layout or Layout()).said(encoding=encoding, delimiter=delimiter, columns=columns)
    digest = hashlib.sha256(data).hexdigest()
    suffix = Path(source).suffix.lower()
    if suffix in (".xlsx", ".parquet"):
        faults: list[Fault] = []
        if suffix == ".xlsx":
            names, rows, faults = workbook_rows(data, source, how)
        else:
            names, rows = parquet_rows(data, source)
            if how.numbered:
                names = [f"column {i}" for i in range(1, len(names) + 1)]
        if not names:
            raise InputError(f"{source} is empty: no header line")
        header = checked_header(names, source, "", how.columns)
        ours = dict(zip(names, header, strict=True))
        shown = tuple((row, ours.get(name, name), *rest) for row, name, *rest in faults)
        return Cells(source, digest, header, tuple(rows), shown, is_typed=True)  # type: ignore[arg-type]
    text = decode(data, source, how.encoding)
    if how.positions:
        header, rows, faults = fixed_width_rows(text, source, how)
        return Cells(source, digest, header, tuple(rows), tuple(faults))
    header, rows = _delimited_rows(text, source, how)
    return Cells(source, digest, header, tuple(rows))


def _delimited_rows(text: str, source: str, how: Layout) -> tuple[tuple[str, ...], list[RawRow]]:
    lines, skipped = after_comments(text, how.skip_lines)
    delimiter = how.separator(source)
    rows = csv_rows(lines, skipped, source, delimiter, has_header=not how.numbered)
    first = next(rows, None)
    if first is None:
        raise InputError(f"{source} is empty: no header line")
    names = first[2]
    if how.numbered:
        names = tuple(f"column {i}" for i in range(1, len(names) + 1))
    header = checked_header(names, source, delimiter, how.columns)
    return header, [first, *rows] if how.numbered else list(rows)


def csv_rows(
    lines: list[str], skipped: int, source: str, delimiter: str, *, has_header: bool
) -> Iterator[RawRow]:
    """Rows of CSV with their first and last line, the header among them; blank ones left out.

    `skipped` lines stand before these in the file.
    """
    reader = csv.reader(lines, delimiter=delimiter, strict=True)
    is_guarded = any("'" in line for line in lines)
    count = 0
    first = skipped + 1
    try:
        for cells in reader:
            last = skipped + reader.line_num
            is_blank = not cells or (len(cells) == 1 and not cells[0].strip() and count > 0)
            if not is_blank:
                count += 1
                if count > MAX_ROWS + has_header:
                    raise InputError(f"{source} has more than {MAX_ROWS} rows, the stated limit")
                yield first, last, tuple(map(unguarded, cells) if is_guarded else cells)
            first = last + 1
    except csv.Error as cause:
        raise InputError(
            f"{source}: the row that starts in line {first} is not CSV: {cause}"
        ) from None


def line_breaks(text: str) -> list[str]:
    """Physical lines, ends kept, as an editor counts them."""
    return list(io.StringIO(text, newline=""))


def after_comments(text: str, skip_lines: int = 0) -> tuple[list[str], int]:
    """Return physical lines (ends kept) after those to skip, comments and empty lines, counted."""
    lines = line_breaks(text)
    skipped = min(skip_lines, len(lines))
    while skipped < len(lines) and (
        lines[skipped].lstrip().startswith("#") or not lines[skipped].strip()
    ):
        skipped += 1
    return lines[skipped:], skipped


def checked_header(
    cells: Sequence[str], source: str, delimiter: str, columns: Mapping[str, str | int]
) -> tuple[str, ...]:
    """Names of the columns, ours where `columns` says so."""
    names = [cell.strip() for cell in cells]
    if columns:
        meant = {k: v if isinstance(v, str) else f"column {v}" for k, v in columns.items()}
        for ours, theirs in meant.items():
            if theirs not in names:
                raise InputError(
                    f"{source}: columns[{ours!r}] = {theirs!r} is not in the header"
                    f"{near_name(theirs, names)}"
                )
        ours_of = {theirs: ours for ours, theirs in meant.items()}
        if len(ours_of) != len(meant):
            raise InputError(f"{source}: columns names one column of the file twice")
        names = [ours_of.get(name, name) for name in names]
    if len(names) == 1 and delimiter:
        for other in (";", "\t", "|", ","):
            if other != delimiter and other in names[0]:
                raise InputError(
                    f"{source}: the header has no {delimiter!r} but {other!r}; "
                    f"say delimiter={other!r}"
                )
    for position, name in enumerate(names, start=1):
        if not name:
            raise InputError(f"{source}: column {position} of the header has no name")
        if names.index(name) != position - 1:
            raise InputError(
                f"{source}: the header has {name!r} twice "
                f"(columns {names.index(name) + 1} and {position})"
            )
    return tuple(names)


# Files that are not delimited text --------------------------------------------------------------


def fixed_width_rows(
    text: str, source: str, layout: Layout
) -> tuple[tuple[str, ...], list[RawRow], list[Fault]]:
    """Header (our names), rows and faults of a file in which columns stand at fixed characters."""
    header = tuple(layout.positions)
    cuts = [slice(first - 1, last) for first, last in layout.positions.values()]
    used: set[int] = set().union(*(range(cut.start, cut.stop) for cut in cuts))
    rows: list[RawRow] = []
    faults: list[Fault] = []
    lost: tuple[int, str] | None = None
    for number, line in enumerate(line_breaks(text), start=1):
        if number <= layout.skip_lines or not line.strip() or line.lstrip().startswith("#"):
            continue
        rows.append((number, number, tuple(line[cut] for cut in cuts)))
        if "\t" in line:
            faults.append((number, "", line, "a tab: characters cannot be counted"))
        elif lost is None:
            at = next((i for i, c in enumerate(line) if i not in used and not c.isspace()), None)
            lost = None if at is None else (number, f"character {at + 1} ({line[at]!r})")
    if not rows:
        raise InputError(f"{source} has no rows after {layout.skip_lines} skipped lines")
    if lost is not None and not any(row == lost[0] for row, *_ in faults):
        faults.append((0, "", "", f"line {lost[0]} has text outside the positions, {lost[1]}"))
    return header, rows, faults


def workbook_rows(
    data: bytes, source: str, layout: Layout
) -> tuple[list[str], list[RawRow], list[Fault]]:
    """Header, rows and faults of one sheet of an Excel workbook (.xlsx).

    Rows are counted as the program that made the sheet shows them. A formula is a fault: what it
    would give is not looked at, and no expression is evaluated.
    """
    try:
        with warnings.catch_warnings(action="ignore"):  # on charts and the like, not on cells
            return _sheet_rows(data, source, layout)
    except InputError:
        raise
    except Exception as cause:  # whatever the library meets in a damaged file
        raise InputError(f"{source} is not a readable workbook: {said_by(cause)}") from None


def _sheet_rows(
    data: bytes, source: str, layout: Layout
) -> tuple[list[str], list[RawRow], list[Fault]]:
    import openpyxl

    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        _check_unpacked(sum(entry.file_size for entry in archive.infolist()), source)
    book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=False)
    names = book.sheetnames
    if layout.sheet is not None and layout.sheet not in names:
        hint = near_name(layout.sheet, names)
        raise InputError(f"{source} has no sheet {layout.sheet!r}{hint}")
    sheet = book[layout.sheet or names[0]]
    sheet.reset_dimensions()  # what a file says of its own size may leave rows out
    header: list[str] = []
    rows: list[RawRow] = []
    faults: list[Fault] = []
    for number, cells in enumerate(sheet.iter_rows(), start=1):
        if number > _SHEET_ROWS:
            raise InputError(f"{source} has a row after {_SHEET_ROWS}, the last that a sheet has")
        if number <= layout.skip_lines:
            continue
        texts = [cell_text(cell.value) for cell in cells]
        while texts and not texts[-1]:
            texts.pop()
        if not texts or (not header and texts[0].startswith("#")):
            continue
        if not header:
            header = [f"column {i}" for i in range(1, len(texts) + 1)] if layout.numbered else texts
            if not layout.numbered:
                continue
        faults += _cell_faults(cells, number, header)
        texts += [""] * (len(header) - len(texts))
        rows.append((number, number, tuple(texts)))
        if len(rows) > MAX_ROWS:
            raise InputError(f"{source} has more than {MAX_ROWS} rows, the stated limit")
    return header, rows, faults


def _check_unpacked(size: int, source: str) -> None:
    if size > _UNPACKED * MAX_BYTES:
        raise InputError(f"{source} unpacks to {size // 2**20} MiB, more than is read")


def _cell_faults(cells: Sequence[Any], row: int, header: Sequence[str]) -> list[Fault]:
    """Formulas and errors of one row; all else is up to the reader of a column."""
    faults = []
    for at, cell in enumerate(cells):
        if cell.data_type not in ("e", "f"):
            continue
        is_formula = cell.data_type == "f"
        reason = "a formula; save the sheet with values" if is_formula else "an error of the sheet"
        name = header[at] if at < len(header) else ""
        faults.append((row, name, cell_text(getattr(cell.value, "text", cell.value)), reason))
    return faults


def parquet_rows(data: bytes, source: str) -> tuple[list[str], list[RawRow]]:
    """Header and rows of a Parquet file; rows are counted from 1."""
    from pyarrow import parquet

    try:
        file = parquet.ParquetFile(io.BytesIO(data))
        meta = file.metadata
        if meta.num_rows > MAX_ROWS:
            raise InputError(f"{source} has more than {MAX_ROWS} rows, the stated limit")
        groups = [meta.row_group(i) for i in range(meta.num_row_groups)]
        _check_unpacked(sum(group.total_byte_size for group in groups), source)
        table = file.read()
        header = [str(name) for name in table.column_names]
        texts = [[cell_text(value) for value in column.to_pylist()] for column in table.columns]
    except InputError:
        raise
    except Exception as cause:  # whatever the library meets in a damaged file
        raise InputError(f"{source} is not a readable Parquet file: {said_by(cause)}") from None
    rows = [(i, i, row) for i, row in enumerate(zip(*texts, strict=True), start=1)]
    return header, rows

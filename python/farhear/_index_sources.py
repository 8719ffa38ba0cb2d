"""Files of daily indices: three layouts read in one way, and the download of one of them.

A layout says which columns of a file are read and how; `farhear.tables` does the rest, so that a
row is either typed or refused with a reason whatever the layout.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import math
import re
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from farhear._core import __version__
from farhear.errors import InputError
from farhear.layouts import after_comments, csv_rows, line_breaks
from farhear.tables import (
    MAX_BYTES,
    MAX_ROWS,
    Cells,
    Column,
    Faults,
    calendar_date,
    decode,
    number,
    parse_cells,
)

HOURS = tuple(f"{hour:02d}" for hour in range(0, 24, 3))
KP = [f"kp_{hour}" for hour in HOURS]
AP = [f"ap_{hour}" for hour in HOURS]
COLUMNS = ["date", "f107_obs_sfu", "f107_adj_sfu", *KP, *AP, "ap", "status", "source"]
STATUSES = ("observed", "interpolated", "predicted")

_KP_CREDIT = (
    "Kp and ap: GFZ Potsdam, CC BY 4.0; Matzka et al. (2021), Space Weather 19, "
    "doi:10.1029/2020SW002641"
)
_FLUX_CREDIT = (
    "F10.7: DRAO Penticton, Natural Resources Canada; Tapping (2013), Space Weather 11, "
    "doi:10.1002/swe.20064"
)
CELESTRAK_CREDITS = (
    "Compiled by CelesTrak, https://celestrak.org/SpaceData/",
    _KP_CREDIT,
    _FLUX_CREDIT,
)
GFZ_CREDITS = ("Compiled by GFZ Potsdam, https://kp.gfz.de/", _KP_CREDIT, _FLUX_CREDIT)
GFZ_URL = "https://kp.gfz.de/app/files/Kp_ap_Ap_SN_F107_since_1932.txt"

_WHOLE_OVER_PAUSE = 20.0  # a download may last this many times its longest pause [own]
_SHOWN_CHARACTERS = 200

_flux = number(40.0, 2000.0)
_ap = number(0.0, 400.0)
_kp = number(0.0, 9.0)


class Parsed(NamedTuple):
    """What is in a file of indices; `cut_off` when its very last row is among the rejects."""

    frame: pd.DataFrame
    rejects: pd.DataFrame
    read_count: int
    credits: tuple[str, ...]
    cut_off: bool


@dataclass(frozen=True)
class _Layout:
    """Columns by their names in the file; `ours` gives ours, `kinds` status and source of a code.

    `check` sees a row after its cells, as in `parse_cells`. `day` holds the date of the row.
    """

    columns: tuple[Column, ...]
    ours: Mapping[str, str]
    day: str
    credits: tuple[str, ...] = ()
    kind: str = ""
    kinds: Mapping[str, tuple[str, str]] | None = None
    check: Callable[[dict[str, Any], dict[str, str], Faults, int], None] | None = None


# Cells --------------------------------------------------------------------------------------------


def _third(text: str) -> float:
    """Return Kp as the exact third; 3.3, 3.33 and 3.333 all mean 3 + 1/3."""
    value = _kp(text)
    near = round(value * 3.0) / 3.0
    if abs(value - near) > 0.034:
        raise ValueError("Kp goes in thirds: 3.0, 3.3, 3.7")
    return near


def _third_of_ten(text: str) -> float:
    """Return Kp as the nearest third from ten times Kp: 33 is 3 + 1/3."""
    return round(_whole_to_90(text) * 0.3) / 3.0


def _or_missing(parse: Callable[[str], float]) -> Callable[[str], float]:
    """Parser that takes -1, -1.0 and -1.000 for a missing value (NaN)."""

    def either(text: str) -> float:
        return math.nan if re.fullmatch(r"-1(\.0*)?", text) else parse(text)

    return either


def _whole(low: int, high: int) -> Callable[[str], int]:
    """Parser of a whole number in [low, high]."""

    def parse(text: str) -> int:
        if not (text.isascii() and text.isdigit()):
            raise ValueError("not a whole number")
        if len(text) > 9 or not low <= int(text) <= high:
            raise ValueError(f"outside [{low}, {high}]")
        return int(text)

    return parse


_whole_to_90 = _whole(0, 90)


def _one_of(known: tuple[str, ...]) -> Callable[[str], str]:
    def parse(text: str) -> str:
        if text not in known:
            raise ValueError(f"not one of {', '.join(known)}")
        return text

    return parse


def _check_gfz_day(values: dict[str, Any], texts: dict[str, str], faults: Faults, row: int) -> None:
    """Put the date together; the file counts its days too, which tells a shifted column."""
    if not {"YYYY", "MM", "DD"} <= values.keys():
        return
    try:
        day = dt.date(values["YYYY"], values["MM"], values["DD"])
    except ValueError:
        written = f"{texts['YYYY']} {texts['MM']} {texts['DD']}"
        faults.add(row, "DD", written, "no such day in the calendar")
        return
    values["date"] = day
    since = (day - dt.date(1932, 1, 1)).days
    if values.get("days", since) != since:
        faults.add(row, "days", texts["days"], f"{day} is {since} days after 1932-01-01")


def _check_celestrak_kp(
    values: dict[str, Any], texts: dict[str, str], faults: Faults, row: int
) -> None:
    """A measured Kp is one of 28 values; a predicted one comes from an ap between theirs (22)."""
    if values.get("F10.7_DATA_TYPE") not in ("OBS", "INT"):
        return
    for name in (f"KP{k}" for k in range(1, 9)):
        third = values.get(name, math.nan)
        if third == third and round(third * 10.0) != int(texts[name]):
            faults.add(row, name, texts[name], "ten times a measured Kp goes 0, 3, 7, 10 .. 90")


# Layouts ------------------------------------------------------------------------------------------


def _may_be(name: str, parse: Callable[[str], Any], empty: Any = math.nan) -> Column:
    return Column(name, parse, required=False, needed=False, empty=empty)


_OWN = _Layout(
    columns=(
        Column("date", calendar_date),
        Column("f107_obs_sfu", _flux, needed=False, empty=math.nan),
        _may_be("f107_adj_sfu", _flux),
        *(_may_be(name, _third) for name in KP),
        *(_may_be(name, _ap) for name in (*AP, "ap")),
        Column("status", _one_of(STATUSES), required=False, empty="observed"),
        _may_be("source", str, empty=""),
    ),
    ours={},
    day="date",
)

_GFZ_NAMES = (
    *("YYYY", "MM", "DD", "days", "days_m", "Bsr", "dB"),
    *(f"Kp{k}" for k in range(1, 9)),
    *(f"ap{k}" for k in range(1, 9)),
    *("Ap", "SN", "F10.7obs", "F10.7adj", "D"),
)
_GFZ_OURS = {
    **{f"Kp{k}": name for k, name in enumerate(KP, start=1)},
    **{f"ap{k}": name for k, name in enumerate(AP, start=1)},
    "Ap": "ap",
    "F10.7obs": "f107_obs_sfu",
    "F10.7adj": "f107_adj_sfu",
}
_GFZ_KINDS = {
    "0": ("observed", "GFZ daily text, Kp preliminary"),
    "1": ("observed", "GFZ daily text, Kp definitive"),
    "2": ("observed", "GFZ daily text, Kp definitive"),
}
_GFZ = _Layout(
    columns=(
        Column("YYYY", _whole(1932, 2100)),
        Column("MM", _whole(1, 12)),
        Column("DD", _whole(1, 31)),
        Column("days", _whole(0, 99_999)),
        *(Column(f"Kp{k}", _or_missing(_third)) for k in range(1, 9)),
        *(Column(f"ap{k}", _or_missing(_ap)) for k in range(1, 9)),
        Column("Ap", _or_missing(_ap)),
        Column("F10.7obs", _or_missing(_flux)),
        Column("F10.7adj", _or_missing(_flux)),
        Column("D", _one_of(tuple(_GFZ_KINDS))),
        Column("date", calendar_date, required=False),  # put together by the check
    ),
    ours=_GFZ_OURS,
    day="date",
    credits=GFZ_CREDITS,
    kind="D",
    kinds=_GFZ_KINDS,
    check=_check_gfz_day,
)

_CELESTRAK_OURS = {
    "DATE": "date",
    **{f"KP{k}": name for k, name in enumerate(KP, start=1)},
    **{f"AP{k}": name for k, name in enumerate(AP, start=1)},
    "AP_AVG": "ap",
    "F10.7_OBS": "f107_obs_sfu",
    "F10.7_ADJ": "f107_adj_sfu",
}
_CELESTRAK_KINDS = {
    "OBS": ("observed", "CelesTrak CSV, measured"),
    "INT": ("interpolated", "CelesTrak CSV, flux interpolated"),
    "PRD": ("predicted", "CelesTrak CSV, 45-day prediction"),
    "PRM": ("predicted", "CelesTrak CSV, monthly prediction"),
}


def _given(name: str, parse: Callable[[str], float]) -> Column:
    return Column(name, parse, needed=False, empty=math.nan)


_CELESTRAK = _Layout(
    columns=(
        Column("DATE", calendar_date),
        *(_given(f"KP{k}", _third_of_ten) for k in range(1, 9)),
        *(_given(f"AP{k}", _ap) for k in range(1, 9)),
        _given("AP_AVG", _ap),
        _given("F10.7_OBS", _flux),
        _given("F10.7_ADJ", _flux),
        Column("F10.7_DATA_TYPE", _one_of(tuple(_CELESTRAK_KINDS))),
    ),
    ours=_CELESTRAK_OURS,
    day="DATE",
    credits=CELESTRAK_CREDITS,
    kind="F10.7_DATA_TYPE",
    kinds=_CELESTRAK_KINDS,
    check=_check_celestrak_kp,
)


# Reading ------------------------------------------------------------------------------------------


def parse_indices(data: bytes, source: str, short: str) -> Parsed:
    """Read the bytes of a file in whichever of the three layouts it is.

    Parameters
    ----------
    data
        The whole file.
    source, short
        Its name in messages, and as the source of a row that names none.

    Raises
    ------
    InputError
        Not text, or in none of the layouts; the text says what was found.
    """
    layout, cells = _recognised(data, source)
    seen: dict[dt.date, int] = {}

    def check(values: dict[str, Any], texts: dict[str, str], faults: Faults, row: int) -> None:
        if layout.check is not None:
            layout.check(values, texts, faults, row)
        if faults.items and faults.items[-1][0] == row:
            return
        day = values[layout.day]
        if day in seen:
            faults.add(row, layout.day, day, f"stands already in row {seen[day]}")
        else:
            seen[day] = row

    read, faults, _ = parse_cells(cells, layout.columns, check)
    if layout.kinds is not None:
        pairs = [layout.kinds[code] for code in read[layout.kind]]
        read = read.assign(status=[p[0] for p in pairs], source=[p[1] for p in pairs])
    read = read.rename(columns=dict(layout.ours))
    frame = pd.DataFrame({name: read[name] for name in COLUMNS})
    frame["date"] = frame["date"].astype("datetime64[ns]")
    numbers = [name for name in COLUMNS if name not in ("date", "status", "source")]
    frame[numbers] = frame[numbers].astype(np.float64)
    frame["source"] = [text or short for text in frame["source"]]
    frame = frame.sort_values("date", ignore_index=True)
    rejects = faults.frame()
    cut_off = bool(cells.rows) and cells.rows[-1][0] in set(rejects["row"])
    return Parsed(frame, rejects, len(cells.rows), layout.credits, cut_off)


def _recognised(data: bytes, source: str) -> tuple[_Layout, Cells]:
    """Tell the layout by the content, and cut the text into cells."""
    text = decode(data, source)
    lines, skipped = after_comments(text)
    comments = line_breaks(text)[:skipped]
    first = lines[0].strip() if lines else ""
    if first.startswith("<"):
        raise InputError(f"{source} is a web page or XML, not a table: it begins {_shown(first)}")
    named = [line for line in comments if re.match(r"#\s*Y{3,4}\s+MM\s+DD\b", line)]
    digest = hashlib.sha256(data).hexdigest()
    if named or re.match(r"\d{4}\s+\d{1,2}\s+\d{1,2}(\s|$)", first):
        names = named[-1].lstrip("# ").split() if named else None
        _check_gfz_names(names, first, source)
        rows = [
            (row, row, tuple(line.split()))
            for row, line in enumerate(lines, start=skipped + 1)
            if line.strip() and not line.lstrip().startswith("#")
        ]
        layout, header = _GFZ, _GFZ_NAMES
    else:
        rows = list(csv_rows(lines, skipped, source, ",", has_header=True))
        header = tuple(name.strip() for name in rows[0][2]) if rows else ()
        rows = rows[1:]
        layout = _layout_of_header(header, source)
    if len(rows) > MAX_ROWS:
        raise InputError(f"{source} has more than {MAX_ROWS} rows, the stated limit")
    return layout, Cells(source, digest, header, tuple(rows))


def _check_gfz_names(names: list[str] | None, first: str, source: str) -> None:
    """Refuse a blank-separated file with other columns; they are named in its last comment."""
    if names is None:
        count = len(first.split())
        if count != len(_GFZ_NAMES):
            raise InputError(
                f"{source}: its first row has {count} columns and no comment names them; the "
                f"daily text of GFZ has {len(_GFZ_NAMES)}: {' '.join(_GFZ_NAMES)}"
            )
    elif tuple(names[1:]) != _GFZ_NAMES[1:]:
        raise InputError(
            f"{source}: its columns are {_shown(' '.join(names))}; those of the daily text of GFZ "
            f"are {' '.join(_GFZ_NAMES)}"
        )


def _layout_of_header(header: tuple[str, ...], source: str) -> _Layout:
    shown = _shown(", ".join(header))
    if len(set(header)) != len(header):
        twice = next(name for name in header if header.count(name) > 1)
        raise InputError(f"{source}: column name {twice[:40]!r} stands twice in the header {shown}")
    if "DATE" in header and {"BSRN", "F10.7_OBS", "F10.7_DATA_TYPE"} & set(header):
        return _CELESTRAK
    lacking = [name for name in ("date", "f107_obs_sfu") if name not in header]
    if lacking:
        raise InputError(
            f"{source}: column {lacking[0]} is missing; the header is {shown}, which is not that "
            "of the daily files of GFZ or CelesTrak either"
        )
    unknown = [name for name in header if name not in COLUMNS]
    if unknown:
        raise InputError(f"{source}: column {unknown[0][:40]!r} is not one of {', '.join(COLUMNS)}")
    return _OWN


def _shown(text: str) -> str:
    """Quote a text, cut to what fits a message."""
    return repr(text if len(text) <= _SHOWN_CHARACTERS else text[:_SHOWN_CHARACTERS] + "...")


# Download -----------------------------------------------------------------------------------------


def download(url: str, timeout_s: float) -> bytes:
    """Fetch a file of at most `tables.MAX_BYTES` by http or https, redirects included.

    Parameters
    ----------
    url
        Address.
    timeout_s
        Longest wait for an answer and between two pieces; the whole may last 20 times as long. [s]

    Raises
    ------
    InputError
        Another scheme, no answer, an answer that is not 200, too much or too little of it.
    """
    import http.client
    import urllib.error
    import urllib.request
    from urllib.parse import urlsplit

    try:
        parts = urlsplit(url)
        fits = parts.scheme in ("http", "https") and bool(parts.hostname)
    except ValueError:
        fits = False
    if not fits:
        raise InputError(f"url = {_shown(url)}: only an address http://... or https://... is taken")
    if not 0.0 < timeout_s <= 3600.0:
        raise InputError(f"timeout_s = {timeout_s:g} is outside (0, 3600]")
    opener = urllib.request.OpenerDirector()  # not build_opener: that one takes file: and ftp: too
    for handler in (
        urllib.request.ProxyHandler,
        urllib.request.UnknownHandler,
        urllib.request.HTTPHandler,
        urllib.request.HTTPSHandler,
        urllib.request.HTTPDefaultErrorHandler,
        urllib.request.HTTPRedirectHandler,
        urllib.request.HTTPErrorProcessor,
    ):
        opener.add_handler(handler())
    until_s = time.monotonic() + _WHOLE_OVER_PAUSE * timeout_s
    try:
        request = urllib.request.Request(url, headers={"User-Agent": f"farhear/{__version__}"})
        with opener.open(request, timeout=timeout_s) as answer:
            return _body(answer, url, until_s)
    except InputError:
        raise
    except urllib.error.HTTPError as cause:
        cause.close()
        reason = " ".join(str(cause.reason).split())
        raise InputError(f"{url}: the server answers {cause.code} {_shown(reason)}") from None
    except TimeoutError:
        raise InputError(f"{url}: nothing came for {timeout_s:g} s") from None
    except (OSError, http.client.HTTPException, ValueError) as cause:
        why = cause.reason if isinstance(cause, urllib.error.URLError) else cause
        if isinstance(why, TimeoutError):
            raise InputError(f"{url}: no answer within {timeout_s:g} s") from None
        told = f"{type(why).__name__}: {why}"
        raise InputError(f"{url}: cannot be fetched ({told[:_SHOWN_CHARACTERS]})") from cause


def _body(answer: Any, url: str, until_s: float) -> bytes:
    """Read an answer to its end, which Content-Length or the last chunk tells."""
    if answer.status != 200:
        raise InputError(f"{url}: the server answers {answer.status}, not 200")
    declared: int | None = answer.length
    too_large = f"{url}: larger than {MAX_BYTES // 2**20} MiB, the stated limit"
    if declared is not None and declared > MAX_BYTES:
        raise InputError(too_large)
    pieces: list[bytes] = []
    size = 0
    while declared is None or size < declared:
        piece = answer.read1(65536)
        if not piece:
            break
        pieces.append(piece)
        size += len(piece)
        if size > MAX_BYTES:
            raise InputError(too_large)
        if time.monotonic() > until_s:
            raise InputError(f"{url}: too slow; {size} bytes had come when time was up")
    if declared is not None and size < declared:
        raise InputError(f"{url}: cut off, {size} of {declared} bytes came")
    return b"".join(pieces)

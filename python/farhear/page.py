"""A study as one HTML page: verdicts in words, charts that can be asked, tables to download.

The page is one file that opens from a disk without a network: the chart library is packed into it,
and a policy inside the page (Content Security Policy, level 3) forbids it to load anything and to
run any script but the two it came with, known by their digest. Without scripts, and on paper, the
charts are plain pictures.

.. caution:: A page is made to be handed on, and shows what it is given. Instants beside minutes
   after sunset give away the instant of sunset at home, and the sunsets of a season give away the
   home, however coarse the locator in the subtitle: to some 20 m when they are told to the second,
   to a kilometre when to the minute (measured for this project, on 75 evenings). So give minutes
   counted from sunset at the middle of the cell that the page names, or leave the instants out;
   where both are there, the page says so among its cautions. Checks by date and hour also tell when
   somebody is at home, and when nobody is.
"""

from __future__ import annotations

import base64
import hashlib
import itertools
import json
import math
import re
import zlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, TypeVar

import numpy as np
import pandas as pd
from markupsafe import Markup

from farhear import _page_svg as svg
from farhear._core import __version__
from farhear.errors import InputError
from farhear.verdicts import ALWAYS, Verdict

__all__ = ["SHOWN_ROWS", "PageContent", "page", "table_csv"]

SHOWN_ROWS = 200
"""So many rows of a table are on the screen; the download has all."""

_FEW_ROWS = 15  # a table up to here is unfolded from the start
_OPENINGS = ("evening", "band", "low_min", "high_min", "checks", "heard_count", "state")
_HOURS = ("band", "from_min", "checks", "heard", "ratio", "low", "high")
_VERDICT = (
    *("hunch", "question", "written_utc", "asked_before", "word", "heading", "sentence", "effect"),
    *("low", "high", "unit", "p_value", "p_method", "decided", "evenings", "counted", "notes"),
    "assumptions",
)
_MARKS = {True: "holds", False: "BROKEN", None: "not known"}
# Effect that means no difference, by the beginning of its unit.
_NO_DIFFERENCE = {"min": 0.0, "percentage points": 0.0, "times the odds": 1.0}
_INSTANTS = (
    "A table on this page gives instants, and the charts give minutes after sunset. Together they "
    "tell the instants of sunset, and the sunsets of a season tell the place from which they were "
    "reckoned to within a kilometre, even when they are rounded to whole minutes."
)
_LIBRARY = "plotly.js"
_NEEDS_QUOTES = re.compile(r'[,"\r\n]')
_Row = TypeVar("_Row")


@dataclass(frozen=True, slots=True, kw_only=True)
class PageContent:
    """What stands on a page.

    Attributes
    ----------
    title
        Of the study.
    subtitle
        Season, and the place no finer than it is meant to be shared, for example "B24, locator
        cell KO38 (111 km by 117 km)".
    verdicts
        One mapping a question: hunch, question, written_utc, asked_before, word, heading,
        sentence, effect, low, high, unit, p_value, p_method, decided, evenings, counted, notes,
        assumptions (each a text, and True, False or None); see
        :class:`farhear.verdicts.Verdict`. Figures may be None or NaN. p_adjusted and needed are
        shown where they are there.
    openings
        Columns of :func:`farhear.evenings.openings`: evening, band, low_min, high_min, checks,
        heard_count, state.
    hours
        Columns band, from_min (start of the half hour) [min after sunset], checks, heard, ratio,
        and low and high, the 95 % interval of the ratio; ratios from 0 to 1.
    tables
        More tables by name.
    credits
        Whose data and programs are behind the figures.
    digests
        SHA-256 by path.
    cautions
        What to think of before the page is handed on. One is added where a table has instants
        (columns of aware times, or whose names end in _utc), but for `from_cell`.
    from_cell
        Whether minutes after sunset were counted from the middle of the cell that the subtitle
        names; then instants beside them tell no more than the cell.
    about
        What the figures rest on. The first sentence stands at the head of the page too: data that
        are invented say so there.
    """

    title: str
    subtitle: str
    verdicts: list[dict[str, Any]]
    openings: pd.DataFrame
    hours: pd.DataFrame
    tables: dict[str, pd.DataFrame]
    credits: list[str]
    digests: dict[str, str]
    cautions: list[str]
    about: list[str]
    from_cell: bool = False

    def __post_init__(self) -> None:
        _check_columns("openings", self.openings, _OPENINGS)
        _check_columns("hours", self.hours, _HOURS)
        for place, one in enumerate(self.verdicts):
            for name in _VERDICT:
                if name not in one:
                    raise InputError(f"verdicts[{place}] has no {name!r}")


def _check_columns(name: str, frame: pd.DataFrame, needed: Iterable[str]) -> None:
    for column in needed:
        if column not in frame.columns:
            raise InputError(f"{name} has no column {column!r}")


def page(content: PageContent) -> bytes:
    """Make a page.

    Parameters
    ----------
    content
        See :class:`PageContent`.

    Returns
    -------
    One HTML file in UTF-8. The same content gives the same bytes on the same versions of farhear,
    plotly and zlib.

    Raises
    ------
    InputError
        On a verdict with a word that is none, on a column of a chart that holds no numbers.

    Notes
    -----
    Nothing on the page is a link to somewhere else. Texts are shown as they are, letter for letter,
    whatever marks they hold.
    """
    import jinja2

    templates = files("farhear") / "templates"
    code, style = (
        (templates / f"study.{kind}").read_text(encoding="utf-8").strip() for kind in ("js", "css")
    )
    library, digest, version = _library()
    environment = jinja2.Environment(
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    (openings, evenings), rates = _openings(content.openings), _rates(content.hours)
    looks = {band: svg.look(at) for at, band in enumerate(dict.fromkeys([*openings, *rates]))}
    rates = {band: rates[band] for band in looks if band in rates}
    text = environment.from_string((templates / "study.html").read_text(encoding="utf-8")).render(
        content=content,
        cautions=_cautions(content),
        version=__version__,
        policy=_policy(digest, _digest(code)),
        style=Markup(style),
        code=Markup(code),
        library=Markup(library),
        library_name=f"{_LIBRARY} {version}",
        library_digest=base64.b64decode(digest).hex(),
        verdicts=[_card(one) for one in content.verdicts],
        always=ALWAYS,
        tables=_tables(content),
        shown_rows=SHOWN_ROWS,
        looks=looks,
        places=list(looks),
        sample=svg.sample,
        openings=_openings_chart(openings, evenings, looks),
        hours=_hours_chart(rates, looks),
        data=_json(_chart_data(openings, rates, evenings, looks)),
        json=_json,
    )
    return text.encode("utf-8", "replace")


def _cautions(content: PageContent) -> list[str]:
    """Those given; and one more where instants stand beside minutes after sunset."""
    frames = [content.openings, content.hours, *content.tables.values()]
    has_instants = any(
        str(name).endswith("_utc") or _kind(frame.iloc[:, at]) == "instant"
        for frame in frames
        for at, name in enumerate(frame.columns)
    )
    leads = has_instants and len(content.openings) and not content.from_cell
    return [*content.cautions, *([_INSTANTS] if leads else [])]


# Safety -----------------------------------------------------------------------------------------


def _digest(script: str) -> str:
    """SHA-256 in base64, by which the page's policy knows a script."""
    return base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()


def _policy(*digests: str) -> str:
    """What the page may do: run these scripts, have styles and drawn images. Nothing is fetched."""
    scripts = " ".join(f"'sha256-{one}'" for one in digests)
    return (
        f"default-src 'none'; script-src {scripts}; style-src 'unsafe-inline'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )


def _json(value: object) -> Markup:
    """JSON that may stand inside a script element: no mark in it can end the element."""
    text = json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    for mark in "<>&":
        text = text.replace(mark, f"\\u{ord(mark):04x}")
    return Markup(text)


@cache
def _library() -> tuple[str, str, str]:
    """The chart library packed (zlib, base64), its digest for the policy, and its version."""
    from plotly.offline import get_plotlyjs, get_plotlyjs_version

    script: str = get_plotlyjs()
    packed = base64.b64encode(zlib.compress(script.encode(), 9)).decode("ascii")
    return packed, _digest(script), str(get_plotlyjs_version())


# Verdicts ---------------------------------------------------------------------------------------


def _figure(value: Any) -> float:
    return math.nan if value is None else float(value)


def _card(given: Mapping[str, Any]) -> dict[str, Any]:
    """A verdict with its figures in words and its picture."""
    verdict = Verdict(
        hunch=str(given["hunch"]),
        question=str(given["question"]),
        word=str(given["word"]),
        sentence=str(given["sentence"]),
        asked_before=given["asked_before"],
    )
    effect, low, high = (_figure(given[name]) for name in ("effect", "low", "high"))
    unit, needed = str(given["unit"]), _figure(given.get("needed"))
    marks = [
        {"text": str(text), "mark": _MARKS[holds], "is_broken": holds is not None and not holds}
        for text, holds in given["assumptions"]
    ]
    return {
        **given,
        "kind": verdict.word.lower().replace(" ", "-"),
        "order": verdict.order,
        "effect_text": _effect_text(effect, low, high, unit),
        "p_text": _p_text(given),
        "picture": _effect_picture(effect, low, high, unit),
        "needed": f"{needed:.0f}" if math.isfinite(needed) else "",
        "marks": marks,
        "tally": _tally([str(one["mark"]) for one in marks]),
    }


def _tally(marks: Sequence[str]) -> str:
    """How many assumptions are broken, not known, and hold; those there are none of left out."""
    words = {"BROKEN": "broken", "not known": "not known", "holds": "hold"}
    return ", ".join(
        f"{marks.count(mark)} {'holds' if mark == 'holds' and marks.count(mark) == 1 else word}"
        for mark, word in words.items()
        if mark in marks
    )


def _effect_text(effect: float, low: float, high: float, unit: str) -> str:
    if not math.isfinite(effect):
        return ""
    interval = "no interval"
    if not math.isnan(low) and not math.isnan(high):
        interval = f"95 % interval {low:.3g} to {high:.3g}"
    return " ".join(f"{effect:.3g} {unit} ({interval})".split())


def _p_text(given: Mapping[str, Any]) -> str:
    p, adjusted = _figure(given["p_value"]), _figure(given.get("p_adjusted"))
    if not math.isfinite(p):
        return ""
    more = f"; {adjusted:.2g} for the number of questions" if math.isfinite(adjusted) else ""
    return f"{p:.2g} ({given['p_method']}){more}" if given["p_method"] else f"{p:.2g}{more}"


def _effect_picture(effect: float, low: float, high: float, unit: str) -> Markup:
    nothing_at = next(
        (value for start, value in _NO_DIFFERENCE.items() if unit.startswith(start)), None
    )
    known = [None if math.isnan(value) else value for value in (effect, low, high)]
    words = f"Effect: {_effect_text(effect, low, high, unit)}"
    if nothing_at is not None:
        words += f"; {nothing_at:g} would be no difference"
    return svg.interval_svg(known[0], known[1], known[2], nothing_at, f"{words}.")


# Charts -----------------------------------------------------------------------------------------


def _dates(column: pd.Series[Any]) -> list[str]:
    """Dates as 2026-11-25; empty for a missing one."""
    if not len(column):
        return []
    try:
        days = pd.to_datetime(column)
    except (TypeError, ValueError):
        raise InputError(f"column {column.name!r} of a chart is not all dates") from None
    return [str(one) for one in days.dt.strftime("%Y-%m-%d").fillna("")]


def _numbers(frame: pd.DataFrame, name: str) -> list[float]:
    try:
        return [float(one) for one in frame[name].to_numpy(np.float64)]
    except (TypeError, ValueError):
        raise InputError(f"column {name!r} of a chart is not all numbers") from None


def _count(value: float) -> int:
    return int(value) if math.isfinite(value) else 0


def _end(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _by_band(rows: Iterable[tuple[Any, _Row]]) -> dict[str, list[_Row]]:
    out: dict[str, list[_Row]] = {}
    for band, row in rows:
        out.setdefault(str(band), []).append(row)
    return out


def _openings(frame: pd.DataFrame) -> tuple[dict[str, list[svg.Opening]], list[str]]:
    """Rows of each band, and the evenings in which they count; rows without a date left out."""
    dates = _dates(frame["evening"])
    evenings = sorted({date for date in dates if date})
    place = {date: at for at, date in enumerate(evenings)}
    lows, highs, checks, heard = (
        _numbers(frame, name) for name in ("low_min", "high_min", "checks", "heard_count")
    )
    columns = zip(dates, frame["band"], lows, highs, checks, heard, frame["state"], strict=True)
    rows = [
        (band, svg.Opening(place[date], _end(low), _end(high), _count(n), _count(k), str(state)))
        for date, band, low, high, n, k, state in columns
        if date
    ]
    return _by_band(rows), evenings


def _rates(frame: pd.DataFrame) -> dict[str, list[svg.Rate]]:
    """Half hours of each band in order; rows without a half hour left out."""
    columns = [_numbers(frame, name) for name in _HOURS[1:]]
    rows = [
        (band, svg.Rate(start, _count(checks), _count(heard), *(_end(one) for one in figures)))
        for band, start, checks, heard, *figures in zip(frame["band"], *columns, strict=True)
        if math.isfinite(start)
    ]
    return _by_band(sorted(rows, key=lambda row: row[1].from_min))


def _listed(names: Iterable[str]) -> str:
    *most, last = names
    return f"{', '.join(most)} and {last}" if most else last


def _openings_chart(
    openings: Mapping[str, Sequence[svg.Opening]],
    evenings: Sequence[str],
    looks: Mapping[str, svg.Look],
) -> dict[str, Any] | None:
    """Sentence and picture; None where there is nothing to draw."""
    if svg.span_min(openings) is None:
        return None
    rows = [row for of_band in openings.values() for row in of_band]
    counts = {
        "between": sum(r.low_min is not None and r.high_min is not None for r in rows),
        "over": sum(r.low_min is None and r.high_min is not None for r in rows),
        "not": sum(r.low_min is not None and r.high_min is None for r in rows),
    }
    rest = len(rows) - sum(counts.values())
    summary = (
        f"Shown: {_listed(openings)}, evenings {evenings[0]} to {evenings[-1]}. "
        f"Opened between two checks: {counts['between']}; open at the first check already: "
        f"{counts['over']}; not heard by the last: {counts['not']}; no usable check: {rest}."
    )
    alt = f"When each band opened, in minutes after sunset, evening by evening. {summary}"
    picture = svg.openings_svg(openings, evenings, looks, alt)
    return {"summary": summary, "picture": picture, "evenings": evenings, "bands": list(openings)}


def _hours_chart(
    rates: Mapping[str, Sequence[svg.Rate]], looks: Mapping[str, svg.Look]
) -> dict[str, Any] | None:
    """Sentence and picture; None where there is nothing to draw."""
    if not rates:
        return None
    rows = [row for of_band in rates.values() for row in of_band]
    first, last = min(r.from_min for r in rows), max(r.from_min for r in rows)
    summary = (
        f"Shown: {_listed(rates)}, {first:g} to {last + svg.HALF_HOUR_MIN:g} minutes after sunset. "
        f"{sum(r.heard for r in rows)} of {sum(r.checks for r in rows)} checks heard something."
    )
    alt = f"Share of checks that heard each band, by half hour after sunset. {summary}"
    own = {band: look for band, look in looks.items() if band in rates}
    return {"summary": summary, "picture": svg.hours_svg(rates, own, alt), "bands": list(rates)}


def _chart_data(
    openings: Mapping[str, Sequence[svg.Opening]],
    rates: Mapping[str, Sequence[svg.Rate]],
    evenings: Sequence[str],
    looks: Mapping[str, svg.Look],
) -> dict[str, Any]:
    """What the scripts draw from."""
    return {
        "bands": [{"name": band, **how._asdict()} for band, how in looks.items()],
        "evenings": list(evenings),
        "span_min": svg.span_min(openings),
        "half_hour_min": svg.HALF_HOUR_MIN,
        "openings": {band: [list(row) for row in rows] for band, rows in openings.items()},
        "hours": {band: [list(row) for row in rows] for band, rows in rates.items()},
    }


# Tables -----------------------------------------------------------------------------------------


def _tables(content: PageContent) -> list[dict[str, Any]]:
    """All tables of a page, each with its name in the file system and in the page."""
    given = [("openings", content.openings), ("hours", content.hours), *content.tables.items()]
    keys: list[str] = []
    for name, _ in given:
        plain = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:40] or "table"
        tries = (f"{plain}-{number}" if number > 1 else plain for number in itertools.count(1))
        keys.append(next(one for one in tries if one not in keys))
    return [_table(name, key, frame) for (name, frame), key in zip(given, keys, strict=True)]


def _table(name: str, key: str, frame: pd.DataFrame) -> dict[str, Any]:
    shown = frame.iloc[:SHOWN_ROWS]
    columns = [_shown(shown.iloc[:, at], frame.iloc[:, at]) for at in range(frame.shape[1])]
    return {
        "name": name,
        "key": key,
        "count": len(frame),
        "is_open": len(frame) <= _FEW_ROWS,
        "heads": [
            (str(head), pd.api.types.is_numeric_dtype(frame.iloc[:, at]))
            for at, head in enumerate(frame.columns)
        ],
        "rows": list(zip(*columns, strict=True)),
        "csv": {"file": f"{key}.csv", "text": table_csv(frame)},
    }


def _kind(column: pd.Series[Any]) -> str:
    """One of truth, number, instant, date, other."""
    types = pd.api.types
    if types.is_bool_dtype(column):
        return "truth"
    if types.is_numeric_dtype(column):
        return "number"
    if isinstance(column.dtype, pd.DatetimeTZDtype):
        return "instant"
    if types.is_datetime64_dtype(column):
        return "date"
    return "other"


def _times(column: pd.Series[Any], between: str) -> list[str]:
    """Instants in UTC with Z, to the second; midnights without a zone as dates."""
    if _kind(column) == "instant":
        form = f"%Y-%m-%d{between}%H:%M:%SZ"
        column = column.dt.tz_convert("UTC").dt.round("s")
    else:
        is_date = bool((column.dropna() == column.dropna().dt.normalize()).all())
        form = "%Y-%m-%d" if is_date else f"%Y-%m-%d{between}%H:%M:%S"
    return [str(one) for one in column.dt.strftime(form).fillna("")]


def _is_missing(value: Any) -> bool:
    return value is None or bool(np.ndim(value) == 0 and pd.isna(value))


def _truth(value: Any) -> str:
    return "" if _is_missing(value) else "yes" if value else "no"


def _shown(column: pd.Series[Any], whole: pd.Series[Any]) -> list[str]:
    """Cells for the screen; numbers rounded alike all through a column."""
    kind = _kind(whole)
    if kind == "number":
        form = _number_format(whole)
        return ["" if _is_missing(one) else _shown_number(float(one), form) for one in column]
    if kind in ("instant", "date"):
        return _times(column, " ")
    if kind == "truth":
        return [_truth(one) for one in column]
    return ["" if _is_missing(one) else str(one) for one in column]


def _number_format(column: pd.Series[Any]) -> str:
    values = np.abs(column.dropna().to_numpy(np.float64))
    values = values[np.isfinite(values)]
    if not values.size or bool((values == np.round(values)).all()):
        return ".0f" if not values.size or values.max() < 1e15 else ".6g"
    decimals = min(3, max(1, 3 - math.floor(math.log10(values.max()))))
    smallest = float(values[values > 0].min())
    return ".3g" if smallest < 0.5 * 10.0**-decimals and values.max() < 1.0 else f".{decimals}f"


def _shown_number(value: float, form: str) -> str:
    if math.isinf(value):
        return "∞" if value > 0 else "-∞"
    return f"{value:{form}}"


def _guarded(text: str) -> str:
    """Text that a spreadsheet does not take for a formula.

    References
    ----------
    OWASP, CSV Injection: cells that begin with = + - @, tab or carriage return. From memory.
    """
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r", "\n") else text


def _csv_cells(column: pd.Series[Any]) -> list[str]:
    kind = _kind(column)
    if kind in ("instant", "date"):
        return _times(column, "T")
    if kind == "truth":
        return [_truth(one) for one in column]
    return [_csv_cell(one) for one in column]


def _csv_cell(value: Any) -> str:
    if _is_missing(value):
        return ""
    if isinstance(value, (bool, np.bool_)):
        return _truth(value)
    if isinstance(value, (int, np.integer)):
        return str(int(value))
    if isinstance(value, (float, np.floating)):
        return repr(float(value))
    return _guarded(str(value))


def table_csv(frame: pd.DataFrame) -> str:
    """A table as CSV for a spreadsheet, all rows and columns.

    Parameters
    ----------
    frame
        Any table; its index is left out.

    Returns
    -------
    str with a header. Numbers are whole (``inf`` and ``-inf`` among them), instants in UTC like
    2026-11-25T18:00:00Z, midnights without a zone are dates, truth is yes and no, and what is
    missing is empty. Text that begins with = + - @, a tab or a line break gets an apostrophe before
    it, so that a spreadsheet does not run it.

    References
    ----------
    Fields and quotes as in RFC 4180, lines end with a line feed.

    Examples
    --------
    >>> import pandas as pd
    >>> print(table_csv(pd.DataFrame({"snr_db": [-3.5], "note": ["-3.5 by ear"]})), end="")
    snr_db,note
    -3.5,'-3.5 by ear
    """
    heads = [_guarded(str(head)) for head in frame.columns]
    columns = [_csv_cells(frame.iloc[:, at]) for at in range(frame.shape[1])]
    return "".join(_csv_line(cells) for cells in (heads, *zip(*columns, strict=True)))


def _csv_line(cells: Sequence[str]) -> str:
    """One row; the csv module of Python 3.11 leaves a lone carriage return without quotes."""
    if list(cells) == [""]:
        return '""\n'  # else it would be an empty line, which readers skip
    quoted = (
        '"{}"'.format(cell.replace('"', '""')) if _NEEDS_QUOTES.search(cell) else cell
        for cell in cells
    )
    return ",".join(quoted) + "\n"

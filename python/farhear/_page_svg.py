"""Pictures of a study's page as plain SVG: for paper, and for a browser that runs no script.

They draw what they are given and compute nothing but places. Colours are classes, which the style
sheet of the page fills in, so that one picture does for light, dark and paper. Bands are told apart
by panel or marker and dash as well as by colour.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from markupsafe import Markup

__all__ = [
    "COLOURS",
    "HALF_HOUR_MIN",
    "Look",
    "Opening",
    "Rate",
    "hours_svg",
    "interval_svg",
    "look",
    "openings_svg",
    "sample",
    "span_min",
]

COLOURS = 5
"""So many colours the style sheet has, --band-0 and on."""
HALF_HOUR_MIN = 30.0
"""Length of a row of the chart of hours. [min]"""

_SYMBOLS = ("circle", "square", "diamond", "cross", "x", "hourglass", "bowtie")
_DASHES = {"solid": "", "dash": "7 3", "dot": "2 2", "dashdot": "7 3 2 3"}
_WIDTH, _LEFT, _RIGHT = 720.0, 52.0, 8.0
_STUB = 0.07  # how far an open end is drawn, of the height


class Look(NamedTuple):
    """How a band is drawn; symbol and dash by their names in the chart library."""

    colour: int
    symbol: str
    dash: str


class Opening(NamedTuple):
    """One band on one evening; an end is None where it is open or not known."""

    evening: int
    low_min: float | None
    high_min: float | None
    checks: int
    heard_count: int
    state: str


class Rate(NamedTuple):
    """Hearing of one band in one half hour; None where there is no figure."""

    from_min: float
    checks: int
    heard: int
    ratio: float | None
    low: float | None
    high: float | None


def look(place: int) -> Look:
    """How the band at this place among the bands is drawn; the first 35 differ."""
    dashes = tuple(_DASHES)
    symbol = _SYMBOLS[place % len(_SYMBOLS)]
    return Look(place % COLOURS, symbol, dashes[place % len(dashes)])


# Elements ---------------------------------------------------------------------------------------


def _tag(name: str, text: str | Markup = "", **given: object) -> Markup:
    """One element; underscores in names of attributes stand for hyphens, as in `class_`."""
    written = [
        Markup(' {}="{}"').format(
            key.rstrip("_").replace("_", "-"), f"{value:.1f}" if type(value) is float else value
        )
        for key, value in given.items()
        if value != ""
    ]
    return Markup("<{0}{1}>{2}</{0}>").format(Markup(name), Markup("").join(written), text)


def _text(x: float, y: float, words: str, *, anchor: str = "start", class_: str = "") -> Markup:
    return _tag("text", words, x=x, y=y, text_anchor=anchor, class_=class_)


def _line(x1: float, y1: float, x2: float, y2: float, class_: str, dash: str = "") -> Markup:
    return _tag("line", x1=x1, y1=y1, x2=x2, y2=y2, class_=class_, stroke_dasharray=dash)


def _polygon(x: float, y: float, corners: Sequence[tuple[float, float]], class_: str) -> Markup:
    points = " ".join(f"{x + dx:.1f},{y + dy:.1f}" for dx, dy in corners)
    return _tag("polygon", points=points, class_=class_)


def _corners(symbol: str, r: float) -> list[tuple[float, float]]:
    """Outline of a marker that has corners."""
    if symbol == "square":
        return [(-r, -r), (r, -r), (r, r), (-r, r)]
    if symbol == "diamond":
        return [(0, -1.3 * r), (1.3 * r, 0), (0, 1.3 * r), (-1.3 * r, 0)]
    if symbol == "hourglass":
        return [(-r, -r), (r, -r), (-r, r), (r, r)]
    if symbol == "bowtie":
        return [(-r, -r), (r, r), (r, -r), (-r, r)]
    a, b = r / 2.5, 1.2 * r
    cross = [(a, -b), (a, -a), (b, -a), (b, a), (a, a), (a, b)]
    cross += [(-x, -y) for x, y in cross]
    if symbol == "cross":
        return cross
    turn = math.sqrt(0.5)
    return [(turn * (x - y), turn * (x + y)) for x, y in cross]


def _marker(x: float, y: float, how: Look, r: float = 3.5) -> Markup:
    class_ = f"fill-{how.colour}"
    if how.symbol == "circle":
        return _tag("circle", cx=x, cy=y, r=r, class_=class_)
    return _polygon(x, y, _corners(how.symbol, r), class_)


def _triangle(x: float, y: float, up: bool, class_: str) -> Markup:
    tip = -5.0 if up else 5.0
    return _polygon(x, y, [(-3.5, 0), (3.5, 0), (0, tip)], class_)


def _drawing(width: float, height: float, alt: str, parts: Sequence[Markup]) -> Markup:
    return _tag(
        "svg",
        Markup("").join(parts),
        viewBox=f"0 0 {width:.0f} {height:.0f}",
        role="img",
        aria_label=alt,
        class_="drawn",
    )


def sample(how: Look) -> Markup:
    """Line and marker of a band, to stand beside its name."""
    parts = (
        _line(1.0, 8.0, 31.0, 8.0, f"line-{how.colour}", _DASHES[how.dash]),
        _marker(16.0, 8.0, how, 4.0),
    )
    return _tag(
        "svg", Markup("").join(parts), viewBox="0 0 32 16", aria_hidden="true", class_="sample"
    )


# Scales -----------------------------------------------------------------------------------------


def _ticks(low: float, high: float, most: int) -> list[float]:
    """Round numbers from `low` to `high`, `most` of them at the most."""
    power = 10.0 ** math.floor(math.log10((high - low) / most))
    steps = (one * power for one in (1, 2, 5, 10, 20, 50))
    step = next(one for one in steps if (high - low) / one <= most - 1)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [at * step for at in range(first, last + 1)]


def _every(span: float, most: int, steps: Sequence[float]) -> float:
    """Smallest of `steps` that cuts a span in `most` parts or fewer; the last one at the most."""
    return next((step for step in steps if span / step <= most), steps[-1])


def span_min(openings: Mapping[str, Sequence[Opening]]) -> tuple[float, float] | None:
    """Lowest and highest known end, with room for the open ends; None for none. [min]"""
    ends = [
        end
        for rows in openings.values()
        for row in rows
        for end in (row.low_min, row.high_min)
        if end is not None
    ]
    if not ends:
        return None
    low, high = min(ends), max(ends)
    room = max(2 * _STUB * (high - low), 10.0)
    return low - room, high + room


# Openings ---------------------------------------------------------------------------------------


def openings_svg(
    openings: Mapping[str, Sequence[Opening]],
    evenings: Sequence[str],
    looks: Mapping[str, Look],
    alt: str,
) -> Markup:
    """Stretch in which each band opened, evening by evening, one panel a band.

    Parameters
    ----------
    openings
        Rows of each band.
    evenings
        All dates of the axis, "2026-11-25", in order; `Opening.evening` counts in them.
    looks
        How each band is drawn.
    alt
        The picture in a sentence.
    """
    span = span_min(openings)
    if span is None:
        return Markup("")
    height = max(84.0, min(150.0, 780.0 / len(openings)))
    parts = [_text(0.0, 12.0, "minutes after sunset, one panel a band", class_="quiet")]
    days = [dt.date.fromisoformat(one).toordinal() for one in evenings]
    for place, (band, rows) in enumerate(openings.items()):
        top = 22.0 + place * height
        parts += _panel(band, rows, days, looks[band], span, top, height - 26.0)
    foot = 22.0 + len(openings) * height
    parts += _dates(days, foot)
    return _drawing(_WIDTH, foot + 22.0, alt, parts)


def _day_x(day: float, days: Sequence[int]) -> float:
    first, last = days[0] - 0.7, days[-1] + 0.7
    return _LEFT + (day - first) / (last - first) * (_WIDTH - _LEFT - _RIGHT)


def _panel(
    band: str,
    rows: Sequence[Opening],
    days: Sequence[int],
    how: Look,
    span: tuple[float, float],
    top: float,
    height: float,
) -> list[Markup]:
    def y_of(minutes: float) -> float:
        return top + 18.0 + (span[1] - minutes) / (span[1] - span[0]) * height

    parts = [_text(_LEFT, top + 13.0, band, class_="strong")]
    step = _every(span[1] - span[0], 6, (5, 10, 30, 60, 120, 240, 480))
    for tick in range(math.ceil(span[0] / step), math.floor(span[1] / step) + 1):
        y = y_of(tick * step)
        parts.append(_line(_LEFT, y, _WIDTH - _RIGHT, y, "axis" if tick == 0 else "grid"))
        parts.append(_text(_LEFT - 6.0, y + 4.0, f"{tick * step:g}", anchor="end"))
    wide = min(7.0, max(1.5, 0.5 * (_day_x(1.0, days) - _day_x(0.0, days))))
    stub = _STUB * height
    for row in rows:
        x = _day_x(days[row.evening], days)
        parts += _bar(x, row, y_of, stub, wide, how.colour)
    return parts


def _bar(x: float, row: Opening, y_of: Any, stub: float, wide: float, colour: int) -> list[Markup]:
    """A stretch with two ends, or with one end and a triangle at the other."""
    if row.low_min is None and row.high_min is None:
        return []
    low = y_of(row.low_min) if row.low_min is not None else y_of(row.high_min) + stub
    high = y_of(row.high_min) if row.high_min is not None else y_of(row.low_min) - stub
    thick = wide if row.low_min is not None and row.high_min is not None else 0.35 * wide
    parts = [_tag("line", x1=x, y1=low, x2=x, y2=high, class_=f"line-{colour}", stroke_width=thick)]
    if row.low_min is None:
        parts.append(_triangle(x, low, False, f"fill-{colour}"))
    if row.high_min is None:
        parts.append(_triangle(x, high, True, f"fill-{colour}"))
    return parts


def _dates(days: Sequence[int], y: float) -> list[Markup]:
    step = int(_every(days[-1] - days[0], 6, (1, 2, 7, 14, 28, 56, 112, 224, 448, 896)))
    parts = []
    for day in range(days[0], days[-1] + 1, step):
        x = _day_x(day, days)
        date = dt.date.fromordinal(day).isoformat()
        near_edge = x > _WIDTH - 40.0
        parts.append(_line(x, y - 4.0, x, y, "axis"))
        end = _WIDTH if near_edge else x
        parts.append(_text(end, y + 14.0, date, anchor="end" if near_edge else "middle"))
    return parts


# Hours ------------------------------------------------------------------------------------------

_RATE_TOP, _RATE_HEIGHT = 44.0, 200.0
_EFFORT_TOP, _EFFORT_HEIGHT = 276.0, 90.0


def hours_svg(rates: Mapping[str, Sequence[Rate]], looks: Mapping[str, Look], alt: str) -> Markup:
    """Share of checks that heard each band by half hour, and the number of checks below.

    Parameters
    ----------
    rates
        Rows of each band, half hours in order.
    looks, alt
        As in :func:`openings_svg`.
    """
    starts = [row.from_min for rows in rates.values() for row in rows]
    if not starts:
        return Markup("")
    first, last = min(starts), max(starts) + HALF_HOUR_MIN
    most = max([1, *(row.checks for rows in rates.values() for row in rows)])

    def x_of(minutes: float) -> float:
        return _LEFT + (minutes - first) / (last - first) * (_WIDTH - _LEFT - _RIGHT)

    parts = _hours_frame(first, last, most, x_of)
    parts += _key(looks)
    for place, (band, rows) in enumerate(rates.items()):
        aside = (place + 0.5) / len(rates) - 0.5
        xs = [x_of(row.from_min + HALF_HOUR_MIN * (0.5 + 0.7 * aside)) for row in rows]
        parts += _rate_curve(xs, rows, looks[band])
        parts += _effort_curve(xs, rows, most, looks[band])
    return _drawing(_WIDTH, _EFFORT_TOP + _EFFORT_HEIGHT + 40.0, alt, parts)


def _rate_y(ratio: float) -> float:
    return _RATE_TOP + (1.0 - ratio) * _RATE_HEIGHT


def _effort_y(checks: float, most: float) -> float:
    return _EFFORT_TOP + (1.0 - checks / most) * _EFFORT_HEIGHT


def _hours_frame(first: float, last: float, most: int, x_of: Any) -> list[Markup]:
    right = _WIDTH - _RIGHT
    parts = [_text(0.0, 12.0, "heard, % of checks, with 95 % interval", class_="quiet")]
    for percent in (0, 25, 50, 75, 100):
        y = _rate_y(percent / 100.0)
        parts.append(_line(_LEFT, y, right, y, "grid" if percent else "axis"))
        parts.append(_text(_LEFT - 6.0, y + 4.0, f"{percent}", anchor="end"))
    parts.append(_text(0.0, _EFFORT_TOP - 12.0, "checks in the half hour", class_="quiet"))
    for tick in _ticks(0.0, most, most=4):
        if tick == round(tick):
            y = _effort_y(tick, most)
            parts.append(_line(_LEFT, y, right, y, "grid" if tick else "axis"))
            parts.append(_text(_LEFT - 6.0, y + 4.0, f"{tick:g}", anchor="end"))
    step = _every(last - first, 12, (30, 60, 120, 240))
    for at in range(math.ceil(first / step), math.floor(last / step) + 1):
        x = x_of(at * step)
        foot = _EFFORT_TOP + _EFFORT_HEIGHT
        parts.append(_line(x, _RATE_TOP, x, _rate_y(0.0), "grid"))
        parts.append(_line(x, _EFFORT_TOP, x, foot + 4.0, "grid"))
        parts.append(_text(x, foot + 18.0, f"{at * step:g}", anchor="middle"))
    parts.append(_text((_LEFT + right) / 2.0, foot + 34.0, "minutes after sunset", anchor="middle"))
    return parts


def _key(looks: Mapping[str, Look]) -> list[Markup]:
    """Bands with their lines, in a row below the title."""
    each = min(96.0, (_WIDTH - _LEFT) / max(1, len(looks)))
    parts = []
    for place, (band, how) in enumerate(looks.items()):
        x = _LEFT + place * each
        parts.append(_line(x, 28.0, x + 26.0, 28.0, f"line-{how.colour}", _DASHES[how.dash]))
        parts.append(_marker(x + 13.0, 28.0, how))
        parts.append(_text(x + 31.0, 32.0, band))
    return parts


def _joined(points: Sequence[tuple[float, float] | None], how: Look) -> list[Markup]:
    """A line through points, broken at a missing one."""
    runs: list[list[str]] = [[]]
    for point in points:
        if point is None:
            runs.append([])
        else:
            runs[-1].append(f"{point[0]:.1f},{point[1]:.1f}")
    return [
        _tag(
            "polyline",
            points=" ".join(run),
            class_=f"line-{how.colour} thin",
            stroke_dasharray=_DASHES[how.dash],
        )
        for run in runs
        if len(run) > 1
    ]


def _rate_curve(xs: Sequence[float], rows: Sequence[Rate], how: Look) -> list[Markup]:
    known = [row.ratio is not None for row in rows]
    at = [(x, _rate_y(row.ratio or 0.0)) for x, row in zip(xs, rows, strict=True)]
    parts = _joined([p if k else None for p, k in zip(at, known, strict=True)], how)
    for (x, y), row in zip(at, rows, strict=True):
        if row.low is not None and row.high is not None:
            parts.append(_line(x, _rate_y(row.low), x, _rate_y(row.high), f"line-{how.colour}"))
        if row.ratio is not None:
            parts.append(_marker(x, y, how))
    return parts


def _effort_curve(xs: Sequence[float], rows: Sequence[Rate], most: int, how: Look) -> list[Markup]:
    at = [(x, _effort_y(row.checks, most)) for x, row in zip(xs, rows, strict=True)]
    return [*_joined(at, how), *(_marker(x, y, how, 2.5) for x, y in at)]


# One effect -------------------------------------------------------------------------------------

_BAR_WIDTH, _BAR_EDGE = 340.0, 26.0


def interval_svg(
    effect: float | None, low: float | None, high: float | None, nothing_at: float | None, alt: str
) -> Markup:
    """Best guess and interval of an effect on a scale.

    Parameters
    ----------
    effect, low, high
        None where there is none. An infinite end gets a triangle.
    nothing_at
        The effect that means no difference; None where there is no such value.
    alt
        The picture in a sentence.
    """
    known = [v for v in (effect, low, high, nothing_at) if v is not None and math.isfinite(v)]
    if effect is None or not math.isfinite(effect):
        return Markup("")
    first, last = min(known), max(known)
    if last - first < 1e-9 * max(1.0, abs(last)):
        first, last = first - 1.0, last + 1.0

    def x_of(value: float) -> float:
        share = (value - first) / (last - first) if math.isfinite(value) else float(value > 0)
        return _BAR_EDGE + share * (_BAR_WIDTH - 2 * _BAR_EDGE)

    parts = [_line(6.0, 46.0, _BAR_WIDTH - 6.0, 46.0, "axis")]
    for tick in _ticks(first, last, most=5):
        parts.append(_line(x_of(tick), 43.0, x_of(tick), 49.0, "axis"))
        parts.append(_text(x_of(tick), 62.0, f"{tick:g}", anchor="middle"))
    if nothing_at is not None:
        x = x_of(nothing_at)
        anchor = "start" if x < 60.0 else "end" if x > _BAR_WIDTH - 60.0 else "middle"
        parts.append(_line(x, 16.0, x, 49.0, "quiet-line", "3 3"))
        edge = {"start": 6.0, "end": _BAR_WIDTH - 6.0, "middle": x}[anchor]
        parts.append(_text(edge, 11.0, "no difference", anchor=anchor, class_="quiet"))
    if low is not None and high is not None:
        parts += _whisker(low, high, x_of)
    parts.append(_tag("circle", cx=x_of(effect), cy=30.0, r=5.0, class_="ink-fill"))
    return _drawing(_BAR_WIDTH, 66.0, alt, parts)


def _whisker(low: float, high: float, x_of: Any) -> list[Markup]:
    parts = [_line(x_of(low), 30.0, x_of(high), 30.0, "ink-line")]
    for end, side in ((low, -1.0), (high, 1.0)):
        x = x_of(end)
        if math.isfinite(end):
            parts.append(_line(x, 23.0, x, 37.0, "ink-line"))
        else:
            parts.append(_polygon(x, 30.0, [(0, -5), (0, 5), (8 * side, 0)], "ink-fill"))
    return parts

"""Charts of verdicts: how far predictions match what was heard, and all answers on one page.

They draw what :mod:`farhear.reliability` and :mod:`farhear.verdicts` found; nothing is worked out
here but places on paper.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from farhear.charts import _layout, _style
from farhear.charts.logs import count_axis, effort_below
from farhear.reliability import SKILL, Reliability
from farhear.tables import counted
from farhear.verdicts import AGAINST, ALWAYS, CANNOT_TELL, NOT_SHOWN, SUPPORTED, WORDS, Verdict

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from farhear._arrays import Floats

__all__ = [
    "forest",
    "forest_alt",
    "forest_data",
    "reliability",
    "reliability_alt",
    "reliability_data",
]


# Reliability ------------------------------------------------------------------------------------

_BINS = 20


def reliability_data(told: Reliability) -> pd.DataFrame:
    """Rows of :func:`reliability`.

    Parameters
    ----------
    told
        From :func:`farhear.reliability.reliability`.

    Returns
    -------
    DataFrame, one row a predicted value, rising: `predicted`, `isotonic`, `low`, `high`, `count`,
    as in `told.curve`, those without a predicted value left out.
    """
    curve = told.curve[["predicted", "isotonic", "low", "high", "count"]].astype(np.float64)
    return curve[curve["predicted"].notna()].sort_values("predicted", ignore_index=True)


def reliability(told: Reliability, *, ax: Axes | None = None) -> Axes:
    """Draw what was heard when so much was predicted, over how often it was predicted.

    Parameters
    ----------
    told
        From :func:`farhear.reliability.reliability`.
    ax
        Where to draw; None makes an A5 page.

    Returns
    -------
    matplotlib Axes: x the predicted likelihood, y the share heard, with room below 0 in which an
    Axes of its own (the first of `child_axes`) has the number of checks in twentieths. Where the
    curve leaves the hatched band the predictions are off by more than luck; above the dashed
    line more was heard than predicted. No twentieth is left out.
    """
    data = reliability_data(told)
    with mpl.rc_context(_style.RC):
        ax = _layout.new_axes(ax)
        _layout.title_above(ax, "What was heard when so much was predicted", over=14.0)
        _percent_axes(ax)
        counts = effort_below(ax)
        counts.set_xlim(ax.get_xlim())
        _layout.note_below(ax, [_rests_on(told), *told.notes])
        known = data[data["isotonic"].notna()]
        if known.empty:
            return _layout.message(ax, "no predicted check that tells")
        _curve(ax, known)
        _histogram(counts, data)
        _figures(ax, told)
        _layout.key_above(ax, _reliability_key())
        return ax


def _percent_axes(ax: Axes) -> None:
    ticks = np.linspace(0.0, 1.0, 5)
    texts = ["0", "25 %", "50 %", "75 %", "100 %"]
    ax.set_xlim(-0.02, 1.02)
    ax.set_ylim(-0.42, 1.04)
    ax.set_xticks(ticks, texts)
    ax.set_yticks(ticks, texts)
    ax.set_xlabel("predicted likelihood")
    ax.set_ylabel("share of checks that heard", y=0.64)
    for share in ticks:
        ax.axhline(share, color=_layout.FAINT if share else _layout.DARK, lw=0.5, zorder=0.5)
    ax.plot([0.0, 1.0], [0.0, 1.0], color=_layout.DARK, lw=0.8, ls=(0, (4, 2)), gid="match")


def _curve(ax: Axes, data: pd.DataFrame) -> None:
    x, y, low, high = (
        data[name].to_numpy(np.float64) for name in ("predicted", "isotonic", "low", "high")
    )
    if x.size > 1:
        ax.fill_between(
            x, low, high, facecolor="#e2e2e2", edgecolor="#8f8f8f", hatch="....", lw=0.0, zorder=0.7
        ).set_gid("band")
    else:
        ax.vlines(x, low, high, color="#8f8f8f", lw=5.0, zorder=0.7).set_gid("band")
    (line,) = ax.plot(x, y, color="#0072B2", lw=1.8, zorder=3.0)
    line.set_gid("curve")
    if x.size <= 25:
        line.set(marker="o", markersize=4.0)


def _histogram(counts: Axes, data: pd.DataFrame) -> None:
    predicted, count = (data[name].to_numpy(np.float64) for name in ("predicted", "count"))
    cell = np.clip((predicted * _BINS).astype(np.int64), 0, _BINS - 1)
    many = np.bincount(cell, count, minlength=_BINS)
    at = (np.arange(_BINS) + 0.5) / _BINS
    counts.bar(at, many, width=0.85 / _BINS, color="#8c8c8c", ec="#4d4d4d", lw=0.4)
    count_axis(counts, float(many.max()))
    for x, number in zip(at, many, strict=True):
        if number:
            counts.annotate(
                f"{number:.0f}",
                (x, number),
                xytext=(0.0, 1.0),
                textcoords="offset points",
                ha="center",
                fontsize=6.0,
            )


def _figures(ax: Axes, told: Reliability) -> None:
    """Three figures in the corner that the curve keeps out of."""
    wanted = {
        "share heard": "heard",
        "mean predicted": "predicted on average",
        SKILL: "skill against month and hour",
    }
    lines = []
    for name, words in wanted.items():
        if not (told.summary["name"] == name).any():
            continue
        value, low, high = told.value(name)
        if not np.isfinite(value):
            continue
        percent = name != SKILL
        one, two, three = (
            f"{100.0 * v:.0f}" if percent else f"{round(v, 2) + 0.0:.2f}"
            for v in (value, low, high)
        )
        tail = f" ({two} to {three})" if np.isfinite(low) and np.isfinite(high) else ""
        lines.append(f"{words}: {one}{' %' if percent else ''}{tail}")
    if lines:
        ax.text(
            0.015,
            1.0,
            "\n".join(lines),
            va="top",
            fontsize=7.2,
            linespacing=1.4,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 2.0, "alpha": 0.85},
            zorder=3.5,
            gid="figures",
        )


def _reliability_key() -> list[Any]:
    return [
        Line2D([], [], color="#0072B2", lw=1.8, label="heard, never falling"),
        Line2D([], [], color=_layout.DARK, lw=0.8, ls=(0, (4, 2)), label="as predicted"),
        Patch(
            facecolor="#e2e2e2", edgecolor="#8f8f8f", hatch="....", lw=0.0, label="luck alone, 90 %"
        ),
        Patch(facecolor="#8c8c8c", edgecolor="#4d4d4d", lw=0.4, label="checks, below"),
    ]


def _rests_on(told: Reliability) -> str:
    return (
        f"{counted(told.checks_count, 'check')} in {counted(told.weeks_count, 'week')}; brackets: "
        "95 %, by weeks. The band is drawn check by check; where checks hang together luck strays "
        "farther."
    )


def reliability_alt(told: Reliability) -> str:
    """Say in words what :func:`reliability` shows."""
    data = reliability_data(told)
    known = data[data["isotonic"].notna()]
    if known.empty:
        return "Share heard against predicted likelihood; there is no check."
    above, below = (
        float(known.loc[where, "count"].sum() / known["count"].sum())
        for where in (known["isotonic"] > known["high"], known["isotonic"] < known["low"])
    )
    value, _, _ = told.value("share heard")
    mean, _, _ = told.value("mean predicted")
    return (
        f"Share heard against predicted likelihood, {counted(told.checks_count, 'check')} in "
        f"{counted(told.weeks_count, 'week')}: {100.0 * value:.0f} % heard, {100.0 * mean:.0f} % "
        f"predicted on average. The curve lies above the band of luck for {100.0 * above:.0f} % of "
        f"the checks and below it for {100.0 * below:.0f} %."
    )


# All verdicts -----------------------------------------------------------------------------------


class _Scale(NamedTuple):
    """How the figures of one unit are laid out."""

    kind: str
    low: float
    high: float
    null: float  # nothing found; NaN: the unit has no such value
    log: bool


_LOOK = {  # marker, fill, edge
    SUPPORTED: ("o", "#0072B2", "#0072B2"),
    AGAINST: ("X", "#D55E00", "#8a3d00"),
    NOT_SHOWN: ("s", "white", "#000000"),
    CANNOT_TELL: ("D", "#d0d0d0", "#6b6b6b"),
}
# what a unit begins with; what means nothing; whether ratios
_KINDS: tuple[tuple[str, float, bool], ...] = (
    ("percentage points", 0.0, False),
    ("min per week", 0.0, False),
    ("min", 0.0, False),
    ("times the odds", 1.0, True),
    ("chance", np.nan, False),
    ("%", np.nan, False),
)
_ROW_PT = 15.0
_QUESTION = 46
_LABEL_PT = 178.0


def forest_data(verdicts: Sequence[Verdict | Mapping[str, Any]]) -> pd.DataFrame:
    """Rows of :func:`forest`.

    Parameters
    ----------
    verdicts
        Verdicts, or what `results.json` of a study holds of them; :attr:`written_utc` of the
        latter orders them where all have one.

    Returns
    -------
    DataFrame, one row a line of the chart, grouped by unit in the order in which units first
    appear: `level` (0 a question, 1 one of its setups), `hunch`, `label`, `word`, `heading`,
    `effect`, `low`, `high`, `unit`, `kind` (what the scale is shared by), `p_value`, `p_adjusted`,
    `decided`, `evenings`, `counted`.
    """
    given = [_fields(one) for one in verdicts]
    if given and all(one["written_utc"] for one in given):
        given.sort(key=lambda one: str(one["written_utc"]))
    rows = []
    for one in given:
        parts = [(name, _fields(part)) for name, part in one["parts"].items()]
        kind = _kind_of([one, *(part for _, part in parts)])
        rows.append({**one, "level": 0, "label": one["asked"] or one["question"], "kind": kind})
        rows += [{**part, "level": 1, "label": str(name), "kind": kind} for name, part in parts]
    names = ["level", "hunch", "label", "word", "heading", "effect", "low", "high", "unit", "kind"]
    names += ["p_value", "p_adjusted", "decided", "evenings", "counted"]
    frame = pd.DataFrame(rows, columns=names)
    order = {kind: at for at, kind in enumerate(dict.fromkeys(frame["kind"]))}
    return frame.sort_values("kind", key=lambda k: k.map(order), kind="stable", ignore_index=True)


def _fields(one: Verdict | Mapping[str, Any]) -> dict[str, Any]:
    """What the chart wants of a verdict in either form."""
    texts = ("hunch", "asked", "question", "word", "heading", "unit", "written_utc")
    numbers = ("effect", "low", "high", "p_value", "p_adjusted", "decided", "evenings")
    is_dict = isinstance(one, Mapping)

    def get(name: str, other: Any) -> Any:
        value = one.get(name, other) if isinstance(one, Mapping) else getattr(one, name, other)
        return other if value is None else value

    out: dict[str, Any] = {name: get(name, "") for name in texts}
    out |= {name: float(get(name, np.nan)) for name in numbers}
    out["counted"] = get("counted", "evenings")
    out["heading"] = out["heading"] or out["word"]
    out["parts"] = get("parts", {}) if is_dict else get("details", {}).get("parts", {})
    return out


def _kind_of(group: Sequence[Mapping[str, Any]]) -> str:
    """What a question and its setups share the scale by; "" without a figure."""
    unit = next((str(one["unit"]) for one in group if np.isfinite(one["effect"])), "")
    return next((name for name, _, _ in _KINDS if unit.startswith(name)), unit)


def _scale_of(kind: str, part: pd.DataFrame) -> _Scale:
    """Scale that takes in all ends of a unit and the value that means nothing."""
    null, log = next(((null, log) for name, null, log in _KINDS if name == kind), (0.0, False))
    ends = part[["effect", "low", "high"]].to_numpy(np.float64)
    known = ends[np.isfinite(ends)]
    if kind == "chance":
        return _Scale(kind, 0.0, 1.0, null, log)
    if kind == "%":
        return _Scale(kind, 0.0, 100.0, null, log)
    if log:
        reach = float(np.abs(np.log(known[known > 0.0])).max(initial=np.log(2.0)))
        return _Scale(kind, float(np.exp(-reach)), float(np.exp(reach)), null, log)
    reach = _round_up(float(np.abs(known).max(initial=0.0)))
    return _Scale(kind, -reach, reach, null, log)


def _round_up(value: float) -> float:
    if value <= 0.0:
        return 1.0
    power = 10.0 ** np.floor(np.log10(value))
    return float(next(step for step in (1.0, 2.0, 3.0, 5.0, 10.0) if step * power >= value) * power)


def _across(scale: _Scale, values: Floats) -> Floats:
    """Places between 0 and 1; ends that are infinite lie just outside."""
    if scale.log:
        with np.errstate(divide="ignore"):
            values = np.log(np.maximum(values, 0.0))
        low, high = np.log(scale.low), np.log(scale.high)
    else:
        low, high = scale.low, scale.high
    return np.asarray(np.clip((values - low) / (high - low), -0.03, 1.03))


def forest(verdicts: Sequence[Verdict | Mapping[str, Any]], *, ax: Axes | None = None) -> Axes:
    """Draw all verdicts on one page: word, effect and interval, one row each.

    Parameters
    ----------
    verdicts
        Verdicts (:attr:`farhear.hunch.Answers.verdicts`), or what `results.json` holds of them.
    ax
        Where to draw; None makes an A5 page, higher with many rows.

    Returns
    -------
    matplotlib Axes: y in rows downwards; x from 0 to 1, which each unit fills with a scale of its
    own, written below its rows; a line where the unit has a value that means nothing. Setups of a
    question stand indented below it. The word stands in letters at the right, beside its mark.
    """
    data = forest_data(verdicts)
    with mpl.rc_context(_style.RC):
        places, height, scales = _places_of(data)
        own, left = ax is None, _LABEL_PT if len(data) else 0.0
        ax = _layout.new_axes(ax, height_in=(height * _ROW_PT + 130.0) / 72.0)
        _layout.title_above(ax, _forest_title(data), over=14.0 if len(data) else 0.0, left_pt=left)
        ax.set_xlim(-0.05, 1.05)
        ax.set_xticks([])
        ax.set_yticks([])
        _layout.note_below(ax, [_forest_note(data), ALWAYS], below_pt=6.0, left_pt=left)
        if data.empty:
            return _layout.message(ax, "no question asked")
        ax.set_ylim(height, -0.3)
        for side in ("top", "right", "left", "bottom"):
            ax.spines[side].set_visible(False)
        size = 6.4 if own else float(np.clip(6.4 * 22.0 / height, 4.5, 6.4))
        for scale, rows in scales:
            _block(ax, scale, data.iloc[rows], places[rows], size)
        _words(ax, data, places, size)
        _layout.key_above(ax, _forest_key(data), left_pt=left)
        return ax


def _places_of(data: pd.DataFrame) -> tuple[Floats, float, list[tuple[_Scale | None, Any]]]:
    """Height of each row's middle, of all, and the rows of each unit with their scale."""
    places = np.zeros(len(data))
    scales: list[tuple[_Scale | None, Any]] = []
    at = 0.0
    for kind in dict.fromkeys(data["kind"]):
        rows = np.flatnonzero((data["kind"] == kind).to_numpy(bool))
        for row in rows:
            tall = 1.0 if data["level"].iloc[row] else _lines_of(data.iloc[row])
            places[row] = at + tall / 2.0
            at += tall
        part = data.iloc[rows]
        scales.append((_scale_of(str(kind), part) if kind else None, rows))
        at += 1.5 if kind else 0.3
    return places, at, scales


def _lines_of(row: Any) -> float:
    return 1.15 if len(textwrap.wrap(str(row["label"]), _QUESTION)) < 2 else 1.45


def _block(ax: Axes, scale: _Scale | None, part: pd.DataFrame, places: Floats, size: float) -> None:
    """Rows of one unit with their scale below."""
    if scale is None:
        return
    top, foot = float(places.min()) - 0.6, float(places.max()) + 0.65
    if np.isfinite(scale.null):
        x = float(_across(scale, np.array([scale.null]))[0])
        ax.plot([x, x], [top, foot], color=_layout.DARK, lw=0.8, zorder=0.8, gid="null")
    _scale_line(ax, scale, foot, size)
    for row, y in zip(part.to_dict("records"), places, strict=True):
        _figure(ax, scale, row, float(y))


def _scale_line(ax: Axes, scale: _Scale, foot: float, size: float) -> None:
    ax.plot([0.0, 1.0], [foot, foot], color=_layout.DARK, lw=0.6, zorder=0.8)
    ticks = _ticks_of(scale)
    for value, x in zip(ticks, _across(scale, ticks), strict=True):
        ax.plot([x, x], [foot, foot + 0.15], color=_layout.DARK, lw=0.6)
        sign = "+" if not scale.log and np.isfinite(scale.null) and value > 0.0 else ""
        text = f"{sign}{value:.3g}"
        ax.text(x, foot + 0.22, text, ha="center", va="top", fontsize=size - 0.2)
    texts = {"chance": "chance", "%": "%", "times the odds": "times the odds"}
    name = texts.get(scale.kind, scale.kind)
    ax.text(1.055, foot + 0.22, name, ha="left", va="top", fontsize=size, fontstyle="italic")


def _ticks_of(scale: _Scale) -> Floats:
    if not scale.log:
        return np.linspace(scale.low, scale.high, 5)
    known = np.array([0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0])
    inside = known[(known >= scale.low * 0.999) & (known <= scale.high * 1.001)]
    return inside if inside.size >= 3 else np.array([scale.low, 1.0, scale.high])


def _figure(ax: Axes, scale: _Scale, row: Mapping[Any, Any], y: float) -> None:
    """Draw effect and interval of one row; an infinite end has an arrow."""
    marker, fill, edge = _LOOK[row["word"]]
    is_part = bool(row["level"])
    low, effect, high = _across(scale, np.array([row["low"], row["effect"], row["high"]]))
    if not np.isnan(low) and not np.isnan(high):
        width = 1.0 if is_part else 1.7
        ax.plot([low, high], [y, y], color=edge, lw=width, zorder=2.0, gid="interval")
        for end, arrow in ((row["low"], "<"), (row["high"], ">")):
            if np.isinf(end) or (scale.log and end == 0.0):
                x = float(_across(scale, np.array([end]))[0])
                ax.plot(x, y, arrow, color=edge, ms=4.0, zorder=2.0)
    if np.isfinite(row["effect"]):
        ax.plot(
            effect,
            y,
            marker,
            ms=4.2 if is_part else 6.0,
            mfc=fill,
            mec=edge,
            mew=0.9,
            zorder=3.0,
            gid="effect",
        )


def _words(ax: Axes, data: pd.DataFrame, places: Floats, size: float) -> None:
    """Question at the left; mark, word and figures at the right."""
    for row, y in zip(data.to_dict("records"), places, strict=True):
        label = _row_label(row)
        ax.annotate(
            label,
            (0.0, y),
            xycoords=ax.get_yaxis_transform(),
            xytext=(-_LABEL_PT, 0.0),
            textcoords="offset points",
            va="center",
            annotation_clip=False,
            fontsize=size - (0.4 if row["level"] else 0.0),
            color=_layout.DARK,
            linespacing=1.05,
            gid="label",
        )
        marker, fill, edge = _LOOK[row["word"]]
        ax.plot(
            1.02,
            y,
            marker,
            transform=ax.get_yaxis_transform(),
            ms=4.6,
            mfc=fill,
            mec=edge,
            mew=0.9,
            clip_on=False,
            gid="mark",
        )
        ax.annotate(
            _said(row),
            (1.02, y),
            xycoords=ax.get_yaxis_transform(),
            xytext=(7.0, 0.0),
            textcoords="offset points",
            va="center",
            fontsize=size - 0.2,
            linespacing=1.05,
            annotation_clip=False,
            gid="said",
        )


def _row_label(row: Mapping[Any, Any]) -> str:
    if row["level"]:
        return "      " + _layout.short(row["label"], _QUESTION - 4)
    lines = textwrap.wrap(f"{row['hunch']} {row['label']}", _QUESTION)
    if len(lines) > 2:
        lines = [lines[0], _layout.short(" ".join(lines[1:]), _QUESTION)]
    return "\n".join(lines)


def _said(row: Mapping[Any, Any]) -> str:
    """Word, then the effect with its interval and p."""
    word = row["word"]
    if row["heading"] != word:
        word += " (idea)"
    if not np.isfinite(row["effect"]):
        return f"{word}\nno figure" if not row["level"] else f"{word}, no figure"
    figures = f"{row['effect']:.3g}"
    if np.isfinite(row["low"]) or np.isfinite(row["high"]):
        figures += f" ({row['low']:.3g} to {row['high']:.3g})"
    p, name = row["p_adjusted"], "adjusted p"
    if not np.isfinite(p):
        p, name = row["p_value"], "p"
    if np.isfinite(p):
        figures += f", {name} " + ("< 0.001" if p < 0.001 else f"{p:.2g}")
    figures = figures
    return f"{word}, {figures}" if row["level"] else f"{word}\n{figures}"


def _forest_title(data: pd.DataFrame) -> str:
    many = counted(int((data["level"] == 0).sum()), "question")
    return f"What became of {many}: verdicts and effects"


def _forest_note(data: pd.DataFrame) -> str:
    text = "Bars: 95 % intervals. Each unit has a scale of its own; lengths of different units do"
    text += " not compare."
    if (data["level"] == 1).any():
        text += " Indented: one row a setup."
    if (data["heading"] != data["word"]).any():
        text += " (idea): asked after the data were seen, so it is no finding."
    return text


def _forest_key(data: pd.DataFrame) -> list[Any]:
    return [
        Line2D(
            [],
            [],
            ls="",
            marker=_LOOK[word][0],
            ms=5.5,
            mfc=_LOOK[word][1],
            mec=_LOOK[word][2],
            mew=0.9,
            label=f"{word}: {((data['word'] == word) & (data['level'] == 0)).sum()}",
        )
        for word in WORDS
        if (data["word"] == word).any()
    ]


def forest_alt(verdicts: Sequence[Verdict | Mapping[str, Any]]) -> str:
    """Say in words what :func:`forest` shows."""
    data = forest_data(verdicts)
    top = data[data["level"] == 0]
    if top.empty:
        return "Verdicts with their effects; no question was asked."
    said = []
    for row in top.head(12).to_dict("records"):
        figures = ""
        if np.isfinite(row["effect"]):
            figures = f" {row['effect']:.3g} {row['unit']}"
            if np.isfinite(row["low"]) and np.isfinite(row["high"]):
                figures += f", 95 % interval {row['low']:.3g} to {row['high']:.3g}"
        said.append(f"{row['hunch']} {row['heading']}{figures}")
    more = f"; and {len(top) - 12} more" if len(top) > 12 else ""
    return (
        f"Effects and intervals of {counted(len(top), 'question')}, one row each, grouped by unit: "
        f"{'; '.join(said)}{more}."
    )

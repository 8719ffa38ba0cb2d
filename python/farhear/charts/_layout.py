"""Places of words, keys, scales and dates round a picture, for the charts of logs and verdicts."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.transforms import ScaledTranslation
from numpy.typing import NDArray

from farhear._arrays import Floats
from farhear.charts import _style

__all__ = [
    "DARK",
    "DEPTH",
    "FAINT",
    "GREY",
    "MAP",
    "contrast_ratio",
    "date_axis",
    "days_of",
    "ink_on",
    "key_above",
    "message",
    "new_axes",
    "note_below",
    "room_in",
    "root",
    "scale_above",
    "short",
    "title_above",
]

MAP = "cividis"
"""Sequence of lightness for a filled picture: light is more, dark is less."""
DEPTH = LinearSegmentedColormap.from_list("farhear ink", ["#ffffff", "#00224e"])
"""Sequence of lightness for marks on white paper: white is none, dark is more."""
DARK, GREY, FAINT = "#000000", "#595959", "#cfcfcf"
"""Text and marks; text of less weight; grid lines, which carry no meaning of their own."""
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_NOTE_PT = 6.3
_ROOM_IN = 7.2  # of an A5 page, for text


# Making Axes ------------------------------------------------------------------------------------


def new_axes(ax: Axes | None, *, height_in: float = _style.A5_IN[1]) -> Axes:
    """Return the Axes given, or one of its own on A5 (higher where asked). [inch]"""
    if ax is not None:
        return ax
    size = (_style.A5_IN[0], max(height_in, _style.A5_IN[1]))
    figure = Figure(figsize=size, dpi=300, facecolor="white", layout="constrained")
    FigureCanvasAgg(figure)
    engine: Any = figure.get_layout_engine()
    engine.set(w_pad=0.12, h_pad=0.10)
    return figure.add_subplot()


def room_in(ax: Axes) -> float:
    """Width that text under or over an Axes may take. [inch]"""
    figure = root(ax)
    if figure.get_layout_engine() is not None and len(figure.axes) == 1:
        return float(figure.get_figwidth()) * _ROOM_IN / _style.A5_IN[0]
    return float(ax.get_position().width * figure.get_figwidth())


def root(what: Any) -> Figure:
    """Figure in which Axes or a part of a figure stands."""
    while not isinstance(what, Figure):
        what = what.figure
    return what


# Words round a picture --------------------------------------------------------------------------


def short(text: object, most: int) -> str:
    """Cut a text to so many characters, the cut shown.

    Examples
    --------
    >>> short("Noverrin External", 9)
    'Noverrin\u2026'
    """
    words = str(text)
    return words if len(words) <= most else words[: max(most - 1, 1)].rstrip() + "\u2026"


def _fits(ax: Axes, size_pt: float) -> int:
    """Characters of a size that fit into the width of an Axes."""
    return max(int(room_in(ax) * 72.0 / (0.56 * size_pt)), 12)


def title_above(ax: Axes, text: str, *, over: float = 0.0, left_pt: float = 0.0) -> None:
    """Write the title, wrapped; `over` points of room are left below it for a key.

    `left_pt`: so far left of the picture it begins, here and in the functions below. [pt]
    """
    lines = textwrap.wrap(text, _fits(ax, 10.8))
    title = ax.set_title("\n".join(lines), loc="left", pad=5.0 + over)
    if left_pt:
        title.set_transform(title.get_transform() + _shift(ax, left_pt))


def _shift(ax: Axes, left_pt: float) -> Any:
    return ScaledTranslation(-left_pt / 72.0, 0.0, root(ax).dpi_scale_trans)


def key_above(ax: Axes, handles: Sequence[Any], columns: int = 6, *, left_pt: float = 0.0) -> None:
    """Put the key of the marks between title and picture."""
    ax.legend(
        bbox_transform=ax.transAxes + _shift(ax, left_pt),
        handles=list(handles),
        loc="lower left",
        bbox_to_anchor=(0.0, 1.0),
        ncols=columns,
        frameon=False,
        fontsize=6.8,
        borderaxespad=0.3,
        handletextpad=0.5,
        columnspacing=1.6,
        borderpad=0.1,
    )


def scale_above(ax: Axes, image: Any, text: str, *, over: float = 0.022) -> Axes:
    """Put a scale of lightness at the upper right, above the picture, and return its Axes.

    `over`: room below it, of the height of the picture.
    """
    bar = ax.inset_axes((0.80, 1.0 + over, 0.20, 0.024))
    root(ax).colorbar(image, cax=bar, orientation="horizontal")
    bar.xaxis.set_ticks_position("top")
    bar.tick_params(length=1.5, pad=1.0, labelsize=6.0)
    ax.annotate(
        text,
        (0.79, 1.012 + over),
        xycoords="axes fraction",
        ha="right",
        va="center",
        fontsize=6.8,
    )
    return bar


def note_below(
    ax: Axes, sentences: Sequence[str], *, below_pt: float = 27.0, left_pt: float = 0.0
) -> None:
    """Write sentences under a picture, `below_pt` points below its lower edge."""
    width = _fits(ax, _NOTE_PT)
    lines = [line for one in sentences for line in textwrap.wrap(one, width)]
    ax.annotate(
        "\n".join(lines),
        (0.0, 0.0),
        xycoords="axes fraction",
        xytext=(-left_pt, -below_pt),
        textcoords="offset points",
        va="top",
        fontsize=_NOTE_PT,
        linespacing=1.3,
        annotation_clip=False,
        gid="note",
    )


def message(ax: Axes, text: str) -> Axes:
    """Say in the middle of a picture why there is nothing in it."""
    words = "\n".join(textwrap.wrap(text, 60))
    ax.text(
        0.5,
        0.5,
        words,
        transform=ax.transAxes,
        ha="center",
        va="center",
        fontsize=8.0,
        gid="message",
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 3.0},
    )
    return ax


# Dates ------------------------------------------------------------------------------------------


def days_of(values: Any) -> Floats:
    """Days since 1970-01-01 of dates or texts of dates; NaN where one is missing. [d]"""
    dates = pd.to_datetime(pd.Series(values), utc=True).dt.tz_localize(None)
    seconds = dates.to_numpy("datetime64[s]")
    out = seconds.astype(np.int64) / 86400.0
    return np.where(np.isnat(seconds), np.nan, out)


def date_axis(ax: Axes, first: float, last: float, *, axis: str = "x", most: int = 8) -> None:
    """Set the ticks of a date axis in whole days, months or years; `first`, `last` in days.

    Month names are English whatever the machine's settings are.
    """
    days = _tick_days(first, last, most)
    texts = _tick_texts(days, last - first > 1500.0, "\n" if axis == "x" else " ")
    at = days.astype(np.int64).astype(np.float64)
    if axis == "x":
        ax.set_xticks(at, texts)
        return
    ax.set_yticks(at, texts)


def _tick_days(first: float, last: float, most: int) -> NDArray[np.datetime64]:
    low, high = int(np.ceil(first)), int(np.floor(last))
    for step in (1, 2, 7, 14):
        if (high - low) / step <= most:
            return np.arange(low, high + 1, step).astype("datetime64[D]")
    ends = np.array([low, high]).astype("datetime64[D]").astype("datetime64[M]").astype(np.int64)
    for step in (1, 2, 3, 6, 12, 24, 60, 120):
        months = np.arange(-(-ends[0] // step) * step, ends[1] + 1, step)
        days = months.astype("datetime64[M]").astype("datetime64[D]")
        days = days[(days.astype(np.int64) >= low) & (days.astype(np.int64) <= high)]
        if days.size <= most:
            break
    return np.asarray(days)


def _tick_texts(days: NDArray[np.datetime64], only_years: bool, between: str) -> list[str]:
    texts, year_before = [], ""
    for day in days:
        year, month, date = str(day).split("-")
        text = f"{int(date)} {_MONTHS[int(month) - 1]}"
        if only_years and month == "01":
            text = year
        elif year != year_before:
            text += between + year
        year_before = year
        texts.append(text)
    return texts


# Colours ----------------------------------------------------------------------------------------


def _luminance(colour: Any) -> float:
    """Relative luminance of a colour in sRGB, 0 to 1 (WCAG 2.2, definition)."""
    rgb = np.array(mpl.colors.to_rgb(colour))
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return float(linear @ np.array([0.2126, 0.7152, 0.0722]))


def contrast_ratio(one: Any, other: Any) -> float:
    """Contrast of two colours, 1 to 21, as WCAG 2.2 defines it.

    Examples
    --------
    >>> contrast_ratio("black", "white")
    21.0
    """
    light = sorted((_luminance(one), _luminance(other)))
    return round((light[1] + 0.05) / (light[0] + 0.05), 6)


def ink_on(colour: Any) -> str:
    """Black or white, whichever reads better on a colour."""
    return max(("black", "white"), key=lambda ink: contrast_ratio(ink, colour))

"""Pages of panels, one panel a band: a season, and what a log saw.

A page is a whole figure, A5 on its side, so it takes no Axes. :mod:`~farhear.charts.dusk` and
:mod:`~farhear.charts.logs` draw one band alone, with more in it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib import patheffects
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from farhear.band import BANDS
from farhear.charts import _layout, _style
from farhear.charts.dusk import (
    intervals,
    likelihood_hours_data,
    mesh,
    openings_data,
    sun_curve,
)
from farhear.charts.logs import (
    THIN_CHECKS,
    effort,
    effort_below,
    hearing_rate_data,
    rates,
    share_frame,
)
from farhear.season import band_weeks, summary

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.axes import Axes

__all__ = [
    "dusk_page",
    "dusk_page_alt",
    "dusk_page_data",
    "hearing_page",
    "hearing_page_alt",
    "hearing_page_data",
    "hours_page",
    "hours_page_alt",
    "hours_page_data",
    "openings_page",
    "openings_page_alt",
    "openings_page_data",
]

# Okabe-Ito without its yellow, which is too pale for lines on white.
_COLOURS = ("#000000", "#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9", "#E69F00")
_MARKERS = ("o", "s", "^", "D", "v", "P", "X", "<", ">", "h", "p", "*", "d", "H")
_DASHES: tuple[Any, ...] = ("-", (0, (5, 1.5)), (0, (2, 1.2)), (0, (6, 1.5, 1.5, 1.5)))
_RC: Any = _style.RC | {
    "axes.titlesize": 7.5,
    "axes.labelsize": 7.0,
    "xtick.labelsize": 6.5,
    "ytick.labelsize": 6.5,
}
_HOURS = (0, 6, 12, 18, 24)
_IN_A_ROW = 5
_SUNS: tuple[tuple[str, Any], ...] = (("sunset", "-"), ("sunrise", (0, (4, 2))))


def _canvas(title: str, left: float) -> Figure:
    figure = Figure(figsize=_style.A5_IN, dpi=300, facecolor="white")
    FigureCanvasAgg(figure)
    figure.suptitle(title, x=left, y=0.965, ha="left", fontsize=9.5, fontweight="bold")
    return figure


def _bands(study: xr.Dataset) -> list[str]:
    return [str(name) for name in study["band"].to_numpy()]


def _head(study: xr.Dataset) -> str:
    return f"Season {study.attrs['season']} at {study.attrs['station']}"


# Hour against date ------------------------------------------------------------------------------


def hours_page_data(study: xr.Dataset) -> pd.DataFrame:
    """Cells of :func:`hours_page`: :func:`~farhear.charts.likelihood_hours_data` of each `band`."""
    parts = [likelihood_hours_data(study, name).assign(band=name) for name in _bands(study)]
    return pd.concat(parts, ignore_index=True)


def hours_page(study: xr.Dataset) -> Figure:
    """Draw the likelihood of far circuits over date and hour, one panel a band.

    Parameters
    ----------
    study
        From :func:`farhear.season_study`.

    Returns
    -------
    matplotlib Figure, A5 on its side. Sunset and sunrise at home are drawn as lines: white with a
    dark edge, sunset whole and sunrise dashed. Hours are UTC; local hours stand on the right when
    the zone keeps one offset all through the study, else a note says why not.
    """
    data = hours_page_data(study)
    with mpl.rc_context(_RC):
        names = _bands(study)
        far = f"{study.attrs['far_km']:g} km or more"
        figure = _canvas(f"{_head(study)}: when each band carries from {far}", 0.065)
        rows = max(1, math.ceil((len(names) + 1) / _IN_A_ROW))
        grid = figure.subplots(rows, _IN_A_ROW, sharex=True, sharey=True, squeeze=False)
        offset_h = _single_offset_h(study)
        axes = list(grid.ravel())
        image = None
        for index, name in enumerate(names):
            part = data[(data["band"] == name).to_numpy(bool)]
            image = mesh(axes[index], part)
            for sun, dash in _SUNS:
                sun_curve(axes[index], part.drop_duplicates("date"), sun, dash, named=False)
            if part["far_likelihood"].isna().all():
                _layout.message(axes[index], f"no site beyond {study.attrs['far_km']:g} km")
            _panel_frame(axes[index], name, index, len(names), offset_h)
        figure.text(0.012, 0.5, "hour of the day, UTC", rotation=90, va="center", fontsize=7.5)
        if offset_h is not None:
            text = f"local hour, UTC{offset_h:+g} h"
            figure.text(0.988, 0.5, text, rotation=270, va="center", ha="right", fontsize=7.5)
        figure.subplots_adjust(
            left=0.065, right=0.935, top=0.89, bottom=0.085, hspace=0.24, wspace=0.10
        )
        for axis in axes[len(names) :]:
            axis.set_visible(False)
        if image is not None:
            _key(figure, axes[len(names)], image, study, offset_h)
        return figure


def _single_offset_h(study: xr.Dataset) -> float | None:
    """Local minus UTC when one offset holds for the whole study."""
    offset_min = study["utc_offset_min"].to_numpy()
    # The hour in which the season changes may belong to the other side: judge by whole days.
    days = offset_min[1:-1] if offset_min.shape[0] > 2 else offset_min
    low, high = int(days.min()), int(days.max())
    return low / 60.0 if low == high else None


def _panel_frame(axis: Axes, name: str, index: int, count: int, offset_h: float | None) -> None:
    axis.set_title(name, loc="left", pad=2.0, fontweight="bold")
    axis.set_ylim(0.0, 24.0)
    axis.set_yticks(_HOURS)
    _layout.date_axis(axis, *axis.get_xlim(), most=3)
    axis.tick_params(length=2.0, pad=1.5, labelbottom=index + _IN_A_ROW >= count)
    if offset_h is not None and (index % _IN_A_ROW == _IN_A_ROW - 1 or index == count - 1):
        right = axis.twinx()
        right.set_ylim(0.0, 24.0)
        right.set_yticks(_HOURS)
        right.set_yticklabels([f"{(h + offset_h) % 24:g}" for h in _HOURS])
        right.tick_params(length=2.0, pad=1.5, labelsize=6.5)


def _key(figure: Figure, axis: Axes, image: Any, study: xr.Dataset, offset_h: float | None) -> None:
    """Colour key, line key and notes in the first free panel."""
    box = axis.get_position()
    bar = figure.add_axes((box.x0 + 0.035, box.y0 + box.height * 0.82, box.width - 0.03, 0.022))
    figure.colorbar(image, cax=bar, orientation="horizontal", ticks=[0.0, 0.5, 1.0])
    bar.set_title("likelihood of the best circuit", fontsize=6.5, pad=2.0)
    bar.tick_params(length=2.0, pad=1.0)
    index = str(study.attrs["index_status"]).replace(", ", ",\n")
    notes = f"as if all of the list were on the air\nsolar index:\n{index}"
    if offset_h is None:
        notes += "\nno local axis: the clock changes inside"
    left, wide = box.x0 + 0.035, 0.030
    for row, (sun, dash) in enumerate(_SUNS):
        y = box.y0 + box.height * (0.50 - 0.15 * row)
        line = mpl.lines.Line2D(
            [left, left + wide],
            [y, y],
            transform=figure.transFigure,
            color="white",
            lw=0.9,
            ls=dash,
        )
        line.set_path_effects([patheffects.withStroke(linewidth=1.9, foreground="black")])
        figure.add_artist(line)
        figure.text(left + wide + 0.008, y, f"{sun} at home", va="center", fontsize=6.5)
    y = box.y0 + box.height * 0.27
    figure.text(left, y, notes, va="top", fontsize=6.0, linespacing=1.35)


def hours_page_alt(study: xr.Dataset) -> str:
    """Say in words what :func:`hours_page` shows."""
    parts = []
    for row in summary(study).to_dict("records"):
        hours = row["open_hours_utc"]
        text = f"{row['band']} {hours} UTC" if hours else f"{row['band']} never on average"
        parts.append(text.replace("all day UTC", "all day"))
    first, last = _date_texts(study)
    return (
        f"{_head(study)}, {first} to {last}: one panel "
        f"per broadcast band, date across, hour of the day upward, shade for the likelihood of the "
        f"best circuit of {study.attrs['far_km']:g} km or more. Hours whose seasonal mean reaches "
        f"{study.attrs['threshold']:g}: {'; '.join(parts)}."
    )


# Opening after sunset ---------------------------------------------------------------------------


def dusk_page_data(study: xr.Dataset) -> pd.DataFrame:
    """Marks of :func:`dusk_page`.

    Returns
    -------
    DataFrame, rows of :func:`farhear.season.band_weeks` for the weeks of which half of the days
    open at dusk: `band`, `first_date`, `days`, `opening_days`, `opens_after_sunset_min` and the
    same `_p25` and `_p75`. [min]
    """
    weeks = band_weeks(study)
    names = ("", "_p25", "_p75")
    columns = ["band", "first_date", "days", "opening_days"]
    columns += [f"opens_after_sunset_min{tail}" for tail in names]
    enough = weeks["opening_days"] * 2 >= weeks["days"]
    return weeks.loc[enough, columns].reset_index(drop=True)


def dusk_page(study: xr.Dataset) -> Figure:
    """Draw when each band opens after sunset, week by week.

    Parameters
    ----------
    study
        From :func:`farhear.season_study`.

    Returns
    -------
    matplotlib Figure, A5 on its side. A mark is the median of the days of the week that open at
    dusk, the bar its quartiles; a week in which less than half of the days do has no mark and
    breaks the line. Bands without a mark are named below the picture.
    """
    weeks = dusk_page_data(study)
    with mpl.rc_context(_RC):
        far = f"{study.attrs['far_km']:g} km or more away"
        figure = _canvas(f"{_head(study)}: opening at dusk towards sites {far}", 0.085)
        axis = figure.add_axes((0.085, 0.145, 0.80, 0.745))
        order = _bands(study)
        shown = [name for name in order if (weeks["band"] == name).any()]
        labels: list[tuple[float, float, str, str]] = []
        for number, name in enumerate(shown):
            labels.append(_week_line(axis, weeks.loc[weeks["band"] == name], name, number))
        axis.axhline(0.0, color="black", lw=0.9)
        dates = _layout.days_of(study["date"].to_numpy())
        axis.set_xlim(dates[0] - 3.0, dates[-1] + 5.0)
        low, high = axis.get_ylim()
        axis.set_ylim(min(low, -30.0), max(high, 30.0))
        axis.annotate(
            "sunset",
            (0.0, 0.0),
            xycoords=("axes fraction", "data"),
            xytext=(3.0, 2.5),
            textcoords="offset points",
            fontsize=6.5,
        )
        _layout.date_axis(axis, *axis.get_xlim())
        axis.grid(axis="y", color="#cccccc", lw=0.5)
        axis.set_axisbelow(True)
        axis.set_ylabel("opening, minutes after sunset (negative: before)")
        for side in ("top", "right"):
            axis.spines[side].set_visible(False)
        _end_labels(axis, labels)
        figure.text(0.085, 0.035, _dusk_note(study, order, shown), fontsize=6.5, va="center")
        return figure


def _week_line(
    axis: Axes, part: pd.DataFrame, name: str, number: int
) -> tuple[float, float, str, str]:
    """Draw one band and return where its label belongs: x, y, text, colour."""
    colour = _COLOURS[number % len(_COLOURS)]
    dash = _DASHES[(number // len(_COLOURS) + number) % len(_DASHES)]
    x = _layout.days_of(part["first_date"]) + (part["days"].to_numpy(dtype=float) - 1.0) / 2.0
    order = np.argsort(x)
    x = x[order]
    y, low, high = (
        part[f"opens_after_sunset_min{tail}"].to_numpy(dtype=float)[order]
        for tail in ("", "_p25", "_p75")
    )
    gap = np.flatnonzero(np.diff(x) > 8.0) + 1  # a week without a mark breaks the line
    axis.plot(
        np.insert(x, gap, np.nan),
        np.insert(y, gap, np.nan),
        color=colour,
        ls=dash,
        lw=1.2,
        marker=_MARKERS[number % len(_MARKERS)],
        ms=3.6,
        mfc="white" if number % 2 else colour,
        mew=0.9,
    )
    axis.vlines(x, low, high, color=colour, lw=0.8)
    return float(x[-1]), float(y[-1]), name, colour


def _end_labels(axis: Axes, labels: Sequence[tuple[float, float, str, str]]) -> None:
    """Write band names right of the picture, moved apart, each tied to its line's last mark."""
    low, high = axis.get_ylim()
    right = axis.get_xlim()[1]
    gap = (high - low) * 0.045
    placed = low - gap
    for x, y, text, colour in sorted(labels, key=lambda item: item[1]):
        at = max(y, placed + gap)
        placed = at
        axis.annotate(
            text,
            (x, y),
            xytext=(right + 4.0, at),
            textcoords="data",
            va="center",
            fontsize=7.5,
            fontweight="bold",
            color="black",
            annotation_clip=False,
            arrowprops={"arrowstyle": "-", "lw": 0.5, "color": colour, "shrinkB": 3.0},
        )


def _dusk_note(study: xr.Dataset, order: Sequence[str], shown: Sequence[str]) -> str:
    others = [name for name in order if name not in shown]
    lines = [
        "Mark: median of the week's days that open at dusk; bar: their quartiles; "
        "no mark: less than half of the days do."
    ]
    if others:
        lines.append(
            "No mark all season (open at noon already, or closed all day): " + ", ".join(others)
        )
    lines.append(f"Solar index: {study.attrs['index_status']}")
    return "\n".join(lines)


def dusk_page_alt(study: xr.Dataset) -> str:
    """Say in words what :func:`dusk_page` shows."""
    parts = [
        f"{row['band']} on {row['opening_days']} days, {row['opens_after_sunset_min']:+.0f} min "
        f"(middle half {row['opens_after_sunset_min_p25']:+.0f} to "
        f"{row['opens_after_sunset_min_p75']:+.0f})"
        for row in summary(study).to_dict("records")
        if row["opening_days"] > 0
    ]
    first, last = _date_texts(study)
    said = "; ".join(parts) if parts else "no band opens at dusk"
    return (
        f"{_head(study)}, {first} to {last}: minutes "
        f"after sunset at which each band opens towards sites {study.attrs['far_km']:g} km or more "
        f"away, week by week. Medians of the season: {said}."
    )


def _date_texts(study: xr.Dataset) -> tuple[str, str]:
    dates = study["date"].to_numpy().astype("datetime64[D]")
    return str(dates[0]), str(dates[-1])


# What a log saw ---------------------------------------------------------------------------------


def _panels(count: int, title: str) -> tuple[Figure, list[Axes]]:
    """Panels with common axes under one title, five in a row at most."""
    figure = _canvas(title, 0.075)
    columns = min(max(count, 1), _IN_A_ROW)
    rows = math.ceil(max(count, 1) / columns)
    grid = figure.subplots(rows, columns, sharex=True, sharey=True, squeeze=False)
    figure.subplots_adjust(
        left=0.075, right=0.985, top=0.88, bottom=0.145, wspace=0.08, hspace=0.25
    )
    axes = list(grid.ravel())
    for axis in axes[count:]:
        axis.set_visible(False)
    return figure, axes


def _named_bands(frame: pd.DataFrame) -> list[str]:
    """Bands from low to high frequency; those of a club have the listener after a comma."""
    place = {band.name: at for at, band in enumerate(BANDS)}
    names = sorted(set(frame["band"].astype(str)))
    return sorted(names, key=lambda name: place.get(name.partition(",")[0], len(place)))


def _of_band(frame: pd.DataFrame, name: str) -> pd.DataFrame:
    return frame[(frame["band"].astype(str) == name).to_numpy(bool)]


def openings_page_data(openings: pd.DataFrame) -> pd.DataFrame:
    """Intervals of :func:`openings_page`: :func:`~farhear.charts.openings_data` of each `band`."""
    names = _named_bands(openings)
    parts = [openings_data(_of_band(openings, name)).assign(band=name) for name in names]
    return pd.concat(parts, ignore_index=True) if parts else openings_data(openings)


def openings_page(openings: pd.DataFrame, *, title: str) -> Figure:
    """Draw between which two moments each band opened, evening by evening.

    Parameters
    ----------
    openings
        From :func:`farhear.evenings.openings`, or as read from `data/openings.csv` of a study.
    title
        Above the picture.

    Returns
    -------
    matplotlib Figure, A5 on its side, one panel a band: a bar from the last check that heard
    nothing to the end of the first that heard; a triangle where one end is not known; a stroke at
    the foot is an evening without a usable check.
    """
    with mpl.rc_context(_RC):
        bands = _named_bands(openings)
        figure, axes = _panels(len(bands), f"{title}: between which checks each band opened")
        for band, axis in zip(bands, axes, strict=False):
            data = openings_data(_of_band(openings, band))
            days = _layout.days_of(data["date"])
            axis.set_xlim(days.min() - 1.0, days.max() + 1.0)
            intervals(axis, data, days)
            axis.axhline(0.0, color="black", lw=0.7)
            axis.set_title(band, loc="left", pad=2.0, fontweight="bold")
            axis.grid(axis="y", color="#cccccc", lw=0.5)
            axis.set_axisbelow(True)
            _layout.date_axis(axis, days.min(), days.max(), most=4)
        if not bands:
            _layout.message(axes[0], "no evening in the table")
        figure.supylabel("minutes after sunset in the middle of the cell", fontsize=7.0, x=0.01)
        figure.text(
            0.075,
            0.02,
            "Bar: from the last check that heard nothing to the first that heard; it opened in "
            "between. Open triangle down: heard from the first check on;\nup: not heard until the "
            "last. Stroke at the foot: no usable check. Line: sunset.",
            fontsize=6.5,
            va="bottom",
        )
        return figure


def openings_page_alt(openings: pd.DataFrame, *, title: str) -> str:
    """Say in words what :func:`openings_page` shows."""
    parts = []
    for band in _named_bands(openings):
        part = _of_band(openings, band)
        low, high = (part[n].to_numpy(dtype=float) for n in ("low_min", "high_min"))
        both = np.isfinite(low) & np.isfinite(high)
        text = f"{band}: seen to open between two checks on {int(both.sum())} evenings"
        if both.any():
            text += (
                f", in the middle one between {np.median(low[both]):.0f} and "
                f"{np.median(high[both]):.0f} min after sunset"
            )
        parts.append(text)
    if not parts:
        return f"{title}: openings of each band; there is no evening."
    days = pd.to_datetime(openings["evening"])
    return (
        f"{title}: one panel per band, evenings from {days.min():%Y-%m-%d} to "
        f"{days.max():%Y-%m-%d} across, minutes after sunset upward. {'; '.join(parts)}."
    )


def hearing_page_data(hours: pd.DataFrame) -> pd.DataFrame:
    """Half hours of :func:`hearing_page`: :func:`~farhear.charts.hearing_rate_data` of each."""
    parts = [hearing_rate_data(_of_band(hours, name)) for name in _named_bands(hours)]
    return pd.concat(parts, ignore_index=True) if parts else hearing_rate_data(hours)


def hearing_page(hours: pd.DataFrame, *, title: str) -> Figure:
    """Draw the share heard by half hour after sunset, and the number of checks below it.

    Parameters
    ----------
    hours
        From :func:`farhear.study.hearing_by_hour`, or as read from `data/hours.csv` of a study.
    title
        Above the picture.

    Returns
    -------
    matplotlib Figure, A5 on its side, one panel a band, drawn like
    :func:`~farhear.charts.hearing_rate`.
    """
    with mpl.rc_context(_RC):
        bands = _named_bands(hours)
        figure, axes = _panels(len(bands), f"{title}: what was heard, hour by hour")
        most = int(hours["checks"].max()) if len(hours) else 0
        for number, (band, axis) in enumerate(zip(bands, axes, strict=False)):
            data = hearing_rate_data(_of_band(hours, band))
            share_frame(axis, "")
            rates(axis, data)
            below = effort_below(axis, "")
            effort(below, data, most=most, figures=False)
            below.tick_params(labelright=number == len(bands) - 1)
            axis.set_xlim(
                hours["from_min"].min() / 60.0 - 0.2, hours["from_min"].max() / 60.0 + 0.7
            )
            below.set_xlim(axis.get_xlim())
            axis.set_title(band, loc="left", pad=2.0, fontweight="bold")
        if not bands:
            _layout.message(axes[0], "no check that tells")
        figure.supylabel("share of checks that heard", fontsize=7.0, x=0.01)
        figure.supxlabel("hours after sunset in the middle of the cell", fontsize=7.5, y=0.075)
        figure.text(
            0.075,
            0.03,
            "Mark: share of the checks of a half hour that heard; line: 95 % by whole weeks. "
            f"Below: number of checks, {most} at most. Hatched, mark hollow: fewer than "
            f"{THIN_CHECKS} checks.",
            fontsize=6.5,
            va="bottom",
        )
        return figure


def hearing_page_alt(hours: pd.DataFrame, *, title: str) -> str:
    """Say in words what :func:`hearing_page` shows."""
    parts = []
    for band in _named_bands(hours):
        part = _of_band(hours, band)
        ratio, from_min = (part[n].to_numpy(dtype=float) for n in ("ratio", "from_min"))
        best = int(np.argmax(ratio))
        parts.append(
            f"{band}: {int(part['checks'].sum())} checks, most heard from "
            f"{from_min[best] / 60.0:+.1f} h on ({100.0 * ratio[best]:.0f} %)"
        )
    said = "; ".join(parts) if parts else "There is no check that tells"
    return (
        f"{title}: one panel per band, hours after sunset across, share of checks that heard "
        f"upward, number of checks below. {said}."
    )

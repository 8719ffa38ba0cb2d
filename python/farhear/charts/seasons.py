"""Pictures of a season and of a log. They draw what a study holds and compute nothing.

Made for A5 on its side and for grey print: one hue-free order of lightness (cividis), lines told
apart by marker and dash as well as by colour (Okabe-Ito), labels at the lines. The same study
gives the same file, byte for byte, on one version of matplotlib; files carry no path, no user and
no date.
"""

from __future__ import annotations

import html
import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import matplotlib.dates as mdates
import numpy as np
import pandas as pd
from matplotlib import patheffects
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.axes import Axes

__all__ = [
    "A5_IN",
    "hearing",
    "hearing_alt",
    "hour_date",
    "hour_date_alt",
    "opening",
    "opening_alt",
    "openings_seen",
    "openings_seen_alt",
    "save",
]

A5_IN = (8.27, 5.83)
"""A5 on its side. [inch]"""

# Okabe-Ito without its yellow, which is too pale for lines on white.
_COLOURS = ("#000000", "#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9", "#E69F00")
_MARKERS = ("o", "s", "^", "D", "v", "P", "X", "<", ">", "h", "p", "*", "d", "H")
_DASHES: tuple[Any, ...] = ("-", (0, (5, 1.5)), (0, (2, 1.2)), (0, (6, 1.5, 1.5, 1.5)))
_RC: Any = {  # matplotlib types the names one by one
    "font.family": "DejaVu Sans",
    "font.size": 7.0,
    "axes.linewidth": 0.6,
    "axes.titlesize": 7.5,
    "axes.labelsize": 7.0,
    "xtick.labelsize": 6.5,
    "ytick.labelsize": 6.5,
    "svg.hashsalt": "farhear",
    "svg.fonttype": "path",
    "path.simplify": True,
    "hatch.linewidth": 0.4,
}
_HOURS = (0, 6, 12, 18, 24)
_IN_A_ROW = 5


def _months(interval: int) -> Any:
    make: Any = mdates.MonthLocator  # has no types
    return make(interval=interval)


def _date_format(text: str) -> Any:
    make: Any = mdates.DateFormatter  # has no types
    return make(text)


def _canvas() -> Figure:
    figure = Figure(figsize=A5_IN, dpi=300, facecolor="white")
    FigureCanvasAgg(figure)
    return figure


# Hour against date ------------------------------------------------------------------------------


def hour_date(study: xr.Dataset) -> Figure:
    """Draw the likelihood of far circuits over date and hour, one panel a band.

    Parameters
    ----------
    study
        From :func:`farhear.season.season_study`, all hours and a run of dates.

    Returns
    -------
    matplotlib Figure, A5 on its side. Sunset and sunrise at home are drawn as lines: white with a
    dark edge, sunset whole and sunrise dashed. Hours are UTC; local hours stand on the right when
    the zone keeps one offset all through the study, else a note says why not.
    """
    with mpl.rc_context(_RC):
        figure = _canvas()
        names = [str(name) for name in study["band"].to_numpy()]
        columns = 5
        rows = max(1, math.ceil((len(names) + 1) / columns))
        grid = figure.subplots(rows, columns, sharex=True, sharey=True, squeeze=False)
        offset_h = _single_offset_h(study)
        axes = list(grid.ravel())
        image = None
        for index, name in enumerate(names):
            image = _panel(axes[index], study, index)
            _panel_frame(axes[index], name, index, len(names), columns, offset_h)
        figure.suptitle(
            f"Season {study.attrs['season']} at {study.attrs['station']}: when each band carries "
            f"from {study.attrs['far_km']:g} km or more",
            x=0.065,
            y=0.975,
            ha="left",
            fontsize=9.5,
            fontweight="bold",
        )
        figure.text(0.012, 0.5, "hour of the day, UTC", rotation=90, va="center", fontsize=7.5)
        if offset_h is not None:
            text = f"local hour, UTC{offset_h:+g} h"
            figure.text(0.988, 0.5, text, rotation=270, va="center", ha="right", fontsize=7.5)
        figure.subplots_adjust(
            left=0.065, right=0.935, top=0.89, bottom=0.075, hspace=0.24, wspace=0.10
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


def _panel(axis: Axes, study: xr.Dataset, index: int) -> Any:
    dates = study["date"].to_numpy().astype("datetime64[D]").astype(float)
    hours = study["hour_utc"].to_numpy().astype(float)
    values = study["far_likelihood"].to_numpy()[index].T
    edges_x = np.append(dates, dates[-1] + 1.0)
    edges_y = np.append(hours, hours[-1] + 1.0)
    axis.set_facecolor("#ffffff")
    image = axis.pcolormesh(
        edges_x, edges_y, values, vmin=0.0, vmax=1.0, cmap="cividis", rasterized=True
    )
    edge = [patheffects.withStroke(linewidth=1.9, foreground="black")]
    for name, dash in (("sunset_hour_utc", "-"), ("sunrise_hour_utc", (0, (4, 2)))):
        hour = study[name].to_numpy().copy()
        hour[:-1][np.abs(np.diff(hour)) > 12.0] = np.nan  # the line passes midnight
        axis.plot(dates + 0.5, hour, color="white", lw=0.9, ls=dash, path_effects=edge)
    if np.isnan(values).all():
        text = f"no site beyond\n{study.attrs['far_km']:g} km in the list"
        axis.text(0.5, 0.5, text, transform=axis.transAxes, ha="center", va="center", fontsize=6.5)
    axis.set_xlim(edges_x[0], edges_x[-1])
    axis.set_ylim(0.0, 24.0)
    return image


def _panel_frame(
    axis: Axes, name: str, index: int, count: int, columns: int, offset_h: float | None
) -> None:
    axis.set_title(name, loc="left", pad=2.0, fontweight="bold")
    axis.set_yticks(_HOURS)
    first, last = axis.get_xlim()
    axis.xaxis.set_major_locator(_months(1 if last - first < 160.0 else 2))
    axis.xaxis.set_major_formatter(_date_format("%b"))
    axis.tick_params(length=2.0, pad=1.5)
    for label in axis.get_xticklabels():
        label.set_horizontalalignment("left")
    is_lowest = index + columns >= count
    axis.tick_params(labelbottom=is_lowest)
    if offset_h is not None and (index % columns == columns - 1 or index == count - 1):
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
    notes = f"as if all of the list were on the air\nsolar index:\n{_index_text(study)}"
    if offset_h is None:
        notes += "\nno local axis: the clock changes inside"
    left, wide = box.x0 + 0.035, 0.030
    for row, (text, dash) in enumerate((("sunset at home", "-"), ("sunrise at home", (0, (4, 2))))):
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
        figure.text(left + wide + 0.008, y, text, va="center", fontsize=6.5)
    y = box.y0 + box.height * 0.27
    figure.text(left, y, notes, va="top", fontsize=6.0, linespacing=1.35)


def _index_text(study: xr.Dataset) -> str:
    return str(study.attrs["index_status"]).replace(", ", ",\n")


def hour_date_alt(study: xr.Dataset, table: pd.DataFrame) -> str:
    """Say in words what :func:`hour_date` shows; `table` is `farhear.season.summary(study)`."""
    parts = []
    for row in table.to_dict("records"):
        hours = row["open_hours_utc"]
        text = f"{row['band']} {hours} UTC" if hours else f"{row['band']} never on average"
        parts.append(text.replace("all day UTC", "all day"))
    first, last = _date_texts(study)
    return (
        f"Season {study.attrs['season']} at {study.attrs['station']}, {first} to {last}: one panel "
        f"per broadcast band, date across, hour of the day upward, shade for the likelihood of the "
        f"best circuit of {study.attrs['far_km']:g} km or more. Hours whose seasonal mean reaches "
        f"{study.attrs['threshold']:g}: {'; '.join(parts)}."
    )


# Opening after sunset ---------------------------------------------------------------------------


def opening(study: xr.Dataset, weeks: pd.DataFrame) -> Figure:
    """Draw when each band opens after sunset, week by week.

    Parameters
    ----------
    study
        The study, for its title and span.
    weeks
        `farhear.season.band_weeks(study)`.

    Returns
    -------
    matplotlib Figure, A5 on its side. A mark is the median of the days of the week that open at
    dusk, the bar its quartiles; a week in which less than half of the days do has no mark and
    breaks the line. Bands without a mark are named below the picture.
    """
    with mpl.rc_context(_RC):
        figure = _canvas()
        axis = figure.add_axes((0.085, 0.145, 0.80, 0.745))
        order = [str(name) for name in study["band"].to_numpy()]
        weeks = weeks.loc[weeks["opening_days"] * 2 >= weeks["days"]]
        shown = [name for name in order if (weeks["band"] == name).any()]
        labels: list[tuple[float, float, str, str]] = []
        for number, name in enumerate(shown):
            labels.append(_week_line(axis, weeks.loc[weeks["band"] == name], name, number))
        axis.axhline(0.0, color="black", lw=0.9)
        dates = study["date"].to_numpy().astype("datetime64[D]").astype(float)
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
        axis.xaxis.set_major_locator(_months(1))
        axis.xaxis.set_major_formatter(_date_format("%b %Y"))
        axis.grid(axis="y", color="#cccccc", lw=0.5)
        axis.set_axisbelow(True)
        axis.set_ylabel("opening, minutes after sunset (negative: before)")
        for side in ("top", "right"):
            axis.spines[side].set_visible(False)
        _end_labels(axis, labels)
        figure.suptitle(
            f"Season {study.attrs['season']} at {study.attrs['station']}: opening at dusk towards "
            f"sites {study.attrs['far_km']:g} km or more away",
            x=0.085,
            y=0.965,
            ha="left",
            fontsize=9.5,
            fontweight="bold",
        )
        figure.text(0.085, 0.035, _opening_note(study, order, shown), fontsize=6.5, va="center")
        return figure


def _week_line(
    axis: Axes, part: pd.DataFrame, name: str, number: int
) -> tuple[float, float, str, str]:
    """Draw one band and return where its label belongs: x, y, text, colour."""
    colour = _COLOURS[number % len(_COLOURS)]
    dash = _DASHES[(number // len(_COLOURS) + number) % len(_DASHES)]
    x = part["first_date"].to_numpy(dtype="datetime64[D]").astype(float)
    x = x + (part["days"].to_numpy(dtype=float) - 1.0) / 2.0
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


def _opening_note(study: xr.Dataset, order: Sequence[str], shown: Sequence[str]) -> str:
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


def opening_alt(study: xr.Dataset, table: pd.DataFrame) -> str:
    """Say in words what :func:`opening` shows; `table` is `farhear.season.summary(study)`."""
    parts = [
        f"{row['band']} on {row['opening_days']} days, {row['opens_after_sunset_min']:+.0f} min "
        f"(middle half {row['opens_after_sunset_min_p25']:+.0f} to "
        f"{row['opens_after_sunset_min_p75']:+.0f})"
        for row in table.to_dict("records")
        if row["opening_days"] > 0
    ]
    first, last = _date_texts(study)
    said = "; ".join(parts) if parts else "no band opens at dusk"
    return (
        f"Season {study.attrs['season']} at {study.attrs['station']}, {first} to {last}: minutes "
        f"after sunset at which each band opens towards sites {study.attrs['far_km']:g} km or more "
        f"away, week by week. Medians of the season: {said}."
    )


def _date_texts(study: xr.Dataset) -> tuple[str, str]:
    dates = study["date"].to_numpy().astype("datetime64[D]")
    return str(dates[0]), str(dates[-1])


# What a log saw ---------------------------------------------------------------------------------


def _panels(count: int, title: str) -> tuple[Figure, list[Axes]]:
    """Panels with common axes under one title, five in a row at most."""
    figure = _canvas()
    columns = min(max(count, 1), _IN_A_ROW)
    rows = math.ceil(max(count, 1) / columns)
    grid = figure.subplots(rows, columns, sharex=True, sharey=True, squeeze=False)
    figure.suptitle(title, x=0.075, y=0.965, ha="left", fontsize=9.5, fontweight="bold")
    figure.subplots_adjust(
        left=0.075, right=0.985, top=0.88, bottom=0.145, wspace=0.08, hspace=0.25
    )
    axes = list(grid.ravel())
    for axis in axes[count:]:
        axis.set_visible(False)
    return figure, axes


def openings_seen(openings: pd.DataFrame, title: str) -> Figure:
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
    nothing to the end of the first that heard; a triangle where one end is not known.
    """
    with mpl.rc_context(_RC):
        bands = list(dict.fromkeys(openings["band"].astype(str)))
        figure, axes = _panels(len(bands), f"{title}: between which checks each band opened")
        for number, (band, axis) in enumerate(zip(bands, axes, strict=False)):
            part = openings[openings["band"] == band]
            colour = _COLOURS[number % len(_COLOURS)]
            x = pd.to_datetime(part["evening"]).to_numpy("datetime64[D]").astype(float)
            low, high = (part[n].to_numpy(dtype=float) for n in ("low_min", "high_min"))
            both = np.isfinite(low) & np.isfinite(high)
            axis.vlines(x[both], low[both], high[both], color=colour, lw=1.6)
            for ends, other, marker in ((high, low, "v"), (low, high, "^")):
                one = np.isfinite(ends) & ~np.isfinite(other) & ~np.isnan(other)
                axis.plot(x[one], ends[one], marker, color=colour, ms=3.4, mfc="white", mew=0.8)
            axis.axhline(0.0, color="black", lw=0.7)
            axis.set_title(band, loc="left", pad=2.0, fontweight="bold")
            axis.grid(axis="y", color="#cccccc", lw=0.5)
            axis.set_axisbelow(True)
            axis.xaxis.set_major_locator(mdates.AutoDateLocator(maxticks=4))
            axis.xaxis.set_major_formatter(_date_format("%d %b"))
        figure.supylabel("minutes after sunset in the middle of the cell", fontsize=7.0, x=0.01)
        figure.text(
            0.075,
            0.03,
            "Bar: from the last check that heard nothing to the first that heard; it opened in "
            "between. Open triangle down: heard from the first check on;\nup: not heard until the "
            "last. Line: sunset.",
            fontsize=6.5,
            va="bottom",
        )
        return figure


def openings_seen_alt(openings: pd.DataFrame) -> str:
    """Say in words what :func:`openings_seen` shows."""
    parts = []
    for band, part in openings.groupby("band", sort=False, observed=True):
        low, high = (part[n].to_numpy(dtype=float) for n in ("low_min", "high_min"))
        both = np.isfinite(low) & np.isfinite(high)
        text = f"{band}: seen to open between two checks on {int(both.sum())} evenings"
        if both.any():
            text += (
                f", in the middle one between {np.median(low[both]):.0f} and "
                f"{np.median(high[both]):.0f} min after sunset"
            )
        parts.append(text)
    days = pd.to_datetime(openings["evening"])
    return (
        f"One panel per band, evenings from {days.min():%Y-%m-%d} to {days.max():%Y-%m-%d} across, "
        f"minutes after sunset upward. {'; '.join(parts)}."
    )


def hearing(hours: pd.DataFrame, title: str) -> Figure:
    """Draw the share heard by half hour after sunset, and the number of checks below it.

    Parameters
    ----------
    hours
        From :func:`farhear.study.hearing_by_hour`, or as read from `data/hours.csv` of a study.
    title
        Above the picture.

    Returns
    -------
    matplotlib Figure, A5 on its side, one panel a band.
    """
    with mpl.rc_context(_RC):
        bands = list(dict.fromkeys(hours["band"].astype(str)))
        figure, axes = _panels(len(bands), f"{title}: what was heard, hour by hour")
        for number, (band, axis) in enumerate(zip(bands, axes, strict=False)):
            part = hours[hours["band"] == band]
            colour = _COLOURS[number % len(_COLOURS)]
            x = part["from_min"].to_numpy(dtype=float) / 60.0 + 0.25
            ratio, low, high = (part[n].to_numpy(dtype=float) for n in ("ratio", "low", "high"))
            axis.vlines(x, low, high, color=colour, lw=1.0)
            axis.plot(x, ratio, _MARKERS[number % len(_MARKERS)], color=colour, ms=3.6)
            checks = part["checks"].to_numpy(dtype=float)
            most = max(float(hours["checks"].max()), 1.0)
            axis.bar(
                x,
                -0.25 * checks / most,
                width=0.42,
                color="#dddddd",
                ec="#777777",
                hatch="////",
                lw=0.0,
            )
            axis.axhline(0.0, color="black", lw=0.7)
            axis.set_ylim(-0.3, 1.05)
            axis.set_yticks([0.0, 0.25, 0.5, 0.75, 1.0])
            axis.set_title(band, loc="left", pad=2.0, fontweight="bold")
            axis.grid(axis="y", color="#cccccc", lw=0.5)
            axis.set_axisbelow(True)
        figure.supylabel("share of checks that heard", fontsize=7.0, x=0.01)
        figure.supxlabel("hours after sunset in the middle of the cell", fontsize=7.5, y=0.085)
        figure.text(
            0.075,
            0.03,
            "Mark: share of the checks of a half hour that heard; line: 95 % by whole weeks. "
            f"Hatched below: number of checks, {int(hours['checks'].max())} at most.",
            fontsize=6.5,
            va="bottom",
        )
        return figure


def hearing_alt(hours: pd.DataFrame) -> str:
    """Say in words what :func:`hearing` shows."""
    parts = []
    for band, part in hours.groupby("band", sort=False, observed=True):
        ratio, from_min = (part[n].to_numpy(dtype=float) for n in ("ratio", "from_min"))
        best = int(np.argmax(ratio))
        parts.append(
            f"{band}: {int(part['checks'].sum())} checks, most heard from "
            f"{from_min[best] / 60.0:+.1f} h on ({100.0 * ratio[best]:.0f} %)"
        )
    return (
        "One panel per band, hours after sunset across, share of checks that heard upward, number "
        f"of checks below. {'; '.join(parts)}."
    )


# Files ------------------------------------------------------------------------------------------


def save(figure: Figure, path: str | Path, alt: str) -> None:
    """Write a figure as PNG (300 dpi) or SVG by the ending of the name, with its text in words.

    The text becomes the SVG's title element and the PNG's Description. No date, path or user is
    written.
    """
    path = Path(path)
    with mpl.rc_context(_RC):
        if path.suffix == ".svg":
            figure.savefig(path, format="svg", metadata={"Date": None, "Creator": "farhear"})
            _describe_svg(path, alt)
        else:
            figure.savefig(
                path, format="png", dpi=300, metadata={"Software": "farhear", "Description": alt}
            )


def _describe_svg(path: Path, alt: str) -> None:
    text = path.read_text(encoding="utf-8")
    at = text.index(">", text.index("<svg"))
    words = html.escape(alt)
    text = f'{text[:at]} role="img">\n <title>{words}</title>{text[at + 1 :]}'
    path.write_text(text, encoding="utf-8", newline="\n")

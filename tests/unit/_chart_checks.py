"""What every chart is held against, and data invented for the tests.

Colours are judged by `colorspacious` (CIE XYZ, CAM02-UCS, deficiencies after Machado et al. 2009),
contrast by the formula of WCAG 2.2, success criteria 1.4.3 and 1.4.11.
"""

from __future__ import annotations

import itertools
from typing import Any

import colorspacious
import matplotlib as mpl
import numpy as np
import pandas as pd
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.text import Text

import farhear as fh
from farhear.station import Station

WEST = Station(name="Home", lat_deg=58.4, lon_deg=26.7, time_zone="Europe/Tallinn")
FAR_NORTH = Station(name="Far north", lat_deg=78.2, lon_deg=15.6, time_zone="Arctic/Longyearbyen")
LONG = "The Listener Of The Long Northern Shores"  # 40 letters, as many as a club allows


def made(evenings: int = 20, first: str = "2024-09-15", **more: Any) -> Any:
    """An invented log of three bands."""
    return fh.simulate.season(
        np.random.default_rng(7),
        bands=["31 m", "41 m", "49 m"],
        evenings=evenings,
        first=first,
        opening_min={"31 m": 20.0, "41 m": 45.0, "49 m": 70.0},
        noticing=0.85,
        blocked_share=0.05,
        pattern="sparse",
        **more,
    )


def study(days: int = 30, first: str = "2024-11-01", fill: float | None = None) -> xr.Dataset:
    """A season with the variables that charts read, invented."""
    date = np.datetime64(first, "D") + np.arange(days)
    hour = np.arange(24)
    wave = 0.5 + 0.5 * np.cos(2.0 * np.pi * (hour[None, :] - 21.0) / 24.0)
    table = np.broadcast_to(wave, (days, 24))[None] * np.array([1.0, 0.5])[:, None, None]
    minutes = np.stack([np.linspace(-30.0, 20.0, days), np.full(days, np.nan)])
    sun = {"sunset_hour_utc": 14.5, "sunrise_hour_utc": 6.5}
    if fill is not None:
        table, minutes = np.full(table.shape, fill), np.full(minutes.shape, fill)
        sun = dict.fromkeys(sun, fill)
    return xr.Dataset(
        {
            "far_likelihood": (("band", "date", "hour_utc"), table),
            "dusk_opening_min": (("band", "date"), minutes),
            "dawn_closing_min": (("band", "date"), -minutes),
            **{name: (("date",), np.full(days, hour)) for name, hour in sun.items()},
        },
        {
            "band": np.array(["31 m", "49 m"], dtype=object),
            "date": date.astype("datetime64[ns]"),
            "hour_utc": hour,
        },
        {"far_km": 3000.0, "index_status": "invented"},
    )


# What a picture holds ---------------------------------------------------------------------------


def drawn(ax: Axes) -> Any:
    """The figure of a chart, laid out."""
    figure: Any = ax.figure
    figure.canvas.draw()
    return figure


def segments(ax: Axes, gid: str) -> np.ndarray[Any, Any]:
    """Upright strokes with a name, as rows x, low, high, in order."""
    found = [
        segment
        for one in ax.collections
        if isinstance(one, LineCollection) and one.get_gid() == gid
        for segment in one.get_segments()
    ]
    rows = np.array([[s[0, 0], s[:, 1].min(), s[:, 1].max()] for s in found]).reshape(-1, 3)
    return rows[np.lexsort(rows.T[::-1])]


def line(ax: Axes, gid: str) -> np.ndarray[Any, Any]:
    """All points of lines with a name, as rows x, y."""
    found = [np.column_stack(one.get_data()) for one in ax.lines if one.get_gid() == gid]
    return np.concatenate(found).astype(float) if found else np.zeros((0, 2))


def words(ax: Axes) -> str:
    """All text in a chart and the Axes that hang on it."""
    return "\n".join(text.get_text() for text in ax.figure.findobj(Text))


def check_looks(ax: Axes) -> None:
    """Every text lies on the page, is of 4.7 points at least, and reads against its ground."""
    figure = drawn(ax)
    page = figure.bbox
    for text in figure.findobj(Text):
        if not text.get_text().strip() or not text.get_visible() or text.get_clip_on():
            continue
        box = text.get_window_extent()
        where = f"{text.get_text()!r} at {box}"
        outside = (page.x0 - box.x0, box.x1 - page.x1, page.y0 - box.y0, box.y1 - page.y1)
        assert max(outside) <= 1.0, where
        assert text.get_fontsize() >= 4.7, where
    place = ax.get_window_extent()
    assert place.width >= 0.40 * page.width, "words leave no room for the picture"
    assert place.height >= 0.40 * page.height, "words leave no room for the picture"
    check_contrast(figure)
    check_apart(ax)
    for axis in (ax.xaxis, ax.yaxis):
        check_ticks(axis.get_ticklabels())


def check_ticks(labels: Any) -> None:
    """Labels of neighbouring ticks do not lie on one another."""
    boxes = [label.get_window_extent() for label in labels if label.get_text()]
    for one, after in itertools.pairwise(boxes):
        over_x = min(one.x1, after.x1) - max(one.x0, after.x0)
        over_y = min(one.y1, after.y1) - max(one.y0, after.y0)
        assert over_x <= 1.0 or over_y <= 2.0, "labels of ticks lie on one another"


def check_apart(ax: Axes) -> None:
    """Title, key, label of the axis and note do not lie on one another."""
    boxes = [("title", ax._left_title.get_window_extent())]
    if ax.get_legend() is not None:
        boxes.append(("key", ax.get_legend().get_window_extent()))
    if ax.get_xlabel():
        boxes.append(("label", ax.xaxis.label.get_window_extent()))
    boxes += [(t.get_gid(), t.get_window_extent()) for t in ax.texts if t.get_gid() == "note"]
    boxes += [("tick", t.get_window_extent()) for t in ax.get_xticklabels() if t.get_text()][:1]
    for at, (name, box) in enumerate(boxes):
        for other, there in boxes[at + 1 :]:
            over_x = min(box.x1, there.x1) - max(box.x0, there.x0)
            over_y = min(box.y1, there.y1) - max(box.y0, there.y0)
            assert over_x <= 1.0 or over_y <= 1.0, (name, other)


# Colours ----------------------------------------------------------------------------------------


def relative_luminance(colour: Any) -> float:
    """Y of a colour by colorspacious, which has its own linearisation of sRGB."""
    xyz = colorspacious.cspace_convert(mpl.colors.to_rgb(colour), "sRGB1", "XYZ100")
    return float(np.clip(xyz[1] / 100.0, 0.0, 1.0))


def contrast(one: Any, other: Any) -> float:
    """WCAG 2.2: (L1 + 0.05) / (L2 + 0.05)."""
    dark, light = sorted((relative_luminance(one), relative_luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def check_contrast(figure: Any, ground: str = "white") -> None:
    """Text on white paper has 4.5 : 1 (WCAG 2.2, 1.4.3); text in cells is checked apart."""
    for text in figure.findobj(Text):
        if text.get_text().strip() and text.get_color() != "white":
            assert contrast(text.get_color(), ground) >= 4.5, text.get_text()


def lightness(colour: Any) -> float:
    """J' of CAM02-UCS."""
    return float(colorspacious.cspace_convert(mpl.colors.to_rgb(colour), "sRGB1", "CAM02-UCS")[0])


def seen_apart(one: Any, other: Any) -> dict[str, float]:
    """Distance in CAM02-UCS for usual eyes and those that confuse red and green, and in grey."""
    rgb = np.array([mpl.colors.to_rgb(c) for c in (one, other)])
    out = {}
    for kind in ("usual", "deuteranomaly", "protanomaly"):
        space: Any = "sRGB1"
        if kind != "usual":
            space = {"name": "sRGB1+CVD", "cvd_type": kind, "severity": 100}
        lab = colorspacious.cspace_convert(rgb, space, "CAM02-UCS")
        out[kind] = float(np.linalg.norm(lab[0] - lab[1]))
    out["grey"] = abs(lightness(one) - lightness(other))
    return out


def shown(frame: pd.DataFrame) -> pd.DataFrame:
    """A table without order of rows, for comparison."""
    return frame.sort_values(list(frame.columns), ignore_index=True)

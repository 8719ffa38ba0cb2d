"""Charts of a log: when somebody listened, what was heard, on how many checks, by whom.

They draw what the tables hold; nothing is worked out here but places on paper.

Hours of listening tell when somebody is at home, and when nobody is; lines of sunset and sunrise
tell where. Look at what goes out before you give a chart of your own log away.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib import patheffects
from matplotlib.colors import ListedColormap
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from farhear import clock
from farhear.band import name_of
from farhear.charts import _layout, _style
from farhear.errors import InputError
from farhear.indices import Indices
from farhear.tables import counted
from farhear.times import UtcTimes, unix_s

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    from farhear._arrays import Floats
    from farhear.club import Club

__all__ = [
    "THIN_CHECKS",
    "club_coverage",
    "club_coverage_alt",
    "club_coverage_data",
    "hearing_rate",
    "hearing_rate_alt",
    "hearing_rate_data",
    "log_raster",
    "log_raster_alt",
    "log_raster_data",
    "solar_strip",
    "solar_strip_alt",
    "solar_strip_data",
]

THIN_CHECKS = 5
"""A share of fewer checks is hatched and hollow: it tells next to nothing."""

HOME = (
    "Hours of listening tell when nobody is home, and the sun's lines tell where home is: share "
    "with care."
)
_DAY_S = 86400.0
_CELL_H = 0.5
_INTERVAL = "#4f8fbd"
_STORM_KP = 5.0
_KP = tuple(f"kp_{hour:02d}" for hour in range(0, 24, 3))


# Raster of a log --------------------------------------------------------------------------------

_CHECKS = ("heard", "not heard", "blocked")
_SUN = ("sunset", "sunrise")
# from, to (of the height of a row, downwards), width [pt], colour
_MARK: dict[str, tuple[float, float, float, str]] = {
    "not heard": (0.04, 0.46, 1.3, "#D55E00"),
    "blocked": (-0.46, 0.0, 0.9, "#5b2a86"),
    "heard": (-0.46, 0.46, 1.5, "#000000"),
}
_UNSEEN = "#e3e3e3"


def log_raster_data(table: pd.DataFrame, *, time_zone: str = "UTC") -> pd.DataFrame:
    """Marks of :func:`log_raster`.

    Parameters
    ----------
    table
        From :func:`farhear.evenings.table`.
    time_zone
        Zone of the clock whose days and hours are shown.

    Returns
    -------
    DataFrame, one row a mark: `mark` ("heard", "not heard", "blocked" for checks that are no
    evidence, "sunset", "sunrise"), `day` (midnight of that clock), `hour` of that day, 0 to 24
    [h], `band` ("" of the sun). Checks lie at their middle. Channels that nobody checked have no
    row. In the chart each mark stands twice: in the row of its day, and 24 h further to the right
    in the row above.

    Raises
    ------
    InputError
        On an unknown zone, on missing columns.
    """
    for name in ("middle_utc", "heard", "outcome", "band", "sunset_utc", "sunrise_utc", "evening"):
        if name not in table.columns:
            raise InputError(f"table has no column {name!r}; see farhear.evenings.table")
    rows = table[(table["outcome"] != "not_checked").to_numpy(bool)]
    heard = rows["heard"].to_numpy(np.float64)
    mark = np.select([heard == 1.0, heard == 0.0], _CHECKS[:2], _CHECKS[2])
    evenings = table.drop_duplicates("evening")
    parts = [_placed(rows["middle_utc"], mark, rows["band"].astype(str).tolist(), time_zone)]
    for name in _SUN:
        at = evenings[f"{name}_utc"].dropna()
        parts.append(_placed(at, [name] * len(at), [""] * len(at), time_zone))
    return pd.concat(parts, ignore_index=True)


def _placed(utc: pd.Series[Any], mark: Any, band: Sequence[str], time_zone: str) -> pd.DataFrame:
    """Day and hour of instants on a clock."""
    seconds = unix_s(utc) if len(utc) else np.zeros(0)
    wall = clock.to_local(UtcTimes(np.floor(seconds)), time_zone).astype("datetime64[s]")
    day = wall.astype("datetime64[D]")
    hour = (wall - day).astype(np.int64) / 3600.0
    return pd.DataFrame(
        {
            "mark": np.asarray(mark, dtype=object).astype("U9").astype(object),
            "day": day.astype("datetime64[s]"),
            "hour": hour,
            "band": np.asarray(band, dtype=object),
        }
    )


def log_raster(table: pd.DataFrame, *, time_zone: str = "UTC", ax: Axes | None = None) -> Axes:
    """Draw a log with days down and the hours of two days across.

    Parameters
    ----------
    table
        From :func:`farhear.evenings.table`; of one band, where bands are not to lie together.
    time_zone
        Zone of the clock whose days and hours are shown; a log kept by local habits shows as
        upright edges under the zone of the home.
    ax
        Where to draw; None makes an A5 page.

    Returns
    -------
    matplotlib Axes: y in days since 1970-01-01, downwards; x in hours from the start of that day,
    0 to 48, so that each night shows in one piece. Heard is a black stroke of the full height of a
    row, not heard a lighter one in its lower half, blocked (or off the air) a thin one in its
    upper half; half hours without a check are grey ground.

    See :func:`log_raster_data` for what is drawn, and the module for a caution.
    """
    data = log_raster_data(table, time_zone=time_zone)
    with mpl.rc_context(_style.RC):
        ax = _layout.new_axes(ax)
        checks = data[~data["mark"].isin(_SUN)]
        _layout.title_above(ax, _raster_title(checks), over=14.0)
        ax.set_xlim(0.0, 48.0)
        ax.set_xticks(np.arange(0.0, 49.0, 6.0), [f"{h % 24}" for h in range(0, 48, 6)] + ["24"])
        ax.set_xlabel(f"hour of the day, {time_zone}; the right half is the next day")
        _layout.note_below(ax, [_raster_note(data), HOME])
        if checks.empty:
            ax.set_yticks([])
            return _layout.message(ax, "no check in this log")
        day = _layout.days_of(checks["day"])
        first, last = day.min(), day.max()
        _ground(ax, day, checks["hour"].to_numpy(np.float64), first, last)
        for mark in _MARK:
            _strokes(ax, checks[checks["mark"] == mark], mark, first)
        for mark, dash in zip(_SUN, ("-", (0, (4, 2))), strict=True):
            _sun_line(ax, data[data["mark"] == mark], mark, dash, first)
        ax.axvline(24.0, color=_layout.DARK, lw=0.6)
        ax.set_ylim(last + 0.5, first - 0.5)
        _layout.date_axis(ax, first, last, axis="y", most=12)
        _layout.key_above(ax, _raster_key(data), columns=7)
        return ax


def _raster_title(checks: pd.DataFrame) -> str:
    bands = list(dict.fromkeys(checks["band"]))
    what = ", ".join(bands) if 0 < len(bands) <= 8 else f"{len(bands)} bands"
    return f"Day by day: when the log was kept and what it heard{f' ({what})' if bands else ''}"


def _raster_note(data: pd.DataFrame) -> str:
    text = "Each check stands twice: in the row of its day, and at the right in the row above."
    if not data["mark"].isin(_SUN).any() and len(data):
        text += " No sunset and no sunrise at home on these evenings."
    return text


def _ground(ax: Axes, day: Floats, hour: Floats, first: float, last: float) -> None:
    """Grey where nobody listened; white half hours with a check."""
    seen = np.zeros((round(last - first) + 2, 96), dtype=np.float64)
    column = (hour / _CELL_H).astype(np.int64)
    row = np.rint(day - first).astype(np.int64)
    seen[row + 1, column] = 1.0
    seen[row, column + 48] = 1.0
    ax.imshow(
        seen[1:],
        extent=(0.0, 48.0, last + 0.5, first - 0.5),
        aspect="auto",
        interpolation="nearest",
        cmap=ListedColormap([_UNSEEN, "#ffffff"]),
        vmin=0.0,
        vmax=1.0,
        zorder=0.5,
    )


def _strokes(ax: Axes, part: pd.DataFrame, mark: str, first: float) -> None:
    """Strokes of one kind, in both halves."""
    if part.empty:
        return
    top, bottom, width, colour = _MARK[mark]
    day = _layout.days_of(part["day"])
    hour = part["hour"].to_numpy(np.float64)
    again = day > first
    x = np.append(hour, hour[again] + 24.0)
    y = np.append(day, day[again] - 1.0)
    strokes = ax.vlines(x, y + top, y + bottom, color=colour, lw=width, zorder=2.0)
    strokes.set_capstyle("butt")
    strokes.set_gid(mark)
    strokes.set_rasterized(x.size > 5000)


def _sun_line(ax: Axes, part: pd.DataFrame, name: str, dash: Any, first: float) -> None:
    """Line of the sun in both halves; it breaks at midnight and over two weeks without a log."""
    if part.empty:
        return
    day = _layout.days_of(part["day"])
    hour = part["hour"].to_numpy(np.float64)
    edge = [patheffects.withStroke(linewidth=2.4, foreground="white")]
    for shift in (0.0, 24.0):
        x, y = hour + shift, day - shift / 24.0
        cut = np.flatnonzero((np.diff(y) > 14.0) | (np.abs(np.diff(x)) > 12.0)) + 1
        (line,) = ax.plot(
            np.insert(x, cut, np.nan),
            np.insert(y, cut, np.nan),
            color="#0072B2",
            lw=1.1,
            ls=dash,
            marker="" if y.size > 1 else "_",
            path_effects=edge,
            zorder=3.0,
        )
        line.set_gid(name)
    at = int(np.argmin(np.abs(day - first)))
    ax.annotate(
        name,
        (hour[at], day[at]),
        xytext=(-3.0 if name == "sunset" else 3.0, -3.0),
        textcoords="offset points",
        ha="right" if name == "sunset" else "left",
        va="top",
        fontsize=6.5,
        color="#004a75",
        path_effects=[patheffects.withStroke(linewidth=2.0, foreground="white")],
        zorder=4.0,
    )


def _raster_key(data: pd.DataFrame) -> list[Any]:
    words = {"heard": "heard", "not heard": "not heard", "blocked": "blocked or off the air"}
    shapes: dict[str, Any] = {"heard": "|", "not heard": 3, "blocked": 2}  # strokes down and up
    keys: list[Any] = [
        Line2D(
            [],
            [],
            ls="",
            marker=shapes[name],
            ms=8.0 if name == "heard" else 4.0,
            mew=_MARK[name][2],
            color=_MARK[name][3],
            label=f"{words[name]}: {(data['mark'] == name).sum()}",
        )
        for name in _CHECKS
    ]
    keys.append(Patch(facecolor=_UNSEEN, edgecolor=_layout.GREY, lw=0.4, label="nobody listened"))
    for name, dash in zip(_SUN, ("-", (0, (4, 2))), strict=True):
        if (data["mark"] == name).any():
            keys.append(Line2D([], [], color="#0072B2", lw=1.1, ls=dash, label=name))
    return keys


def log_raster_alt(table: pd.DataFrame, *, time_zone: str = "UTC") -> str:
    """Say in words what :func:`log_raster` shows."""
    data = log_raster_data(table, time_zone=time_zone)
    checks = data[~data["mark"].isin(_SUN)]
    if checks.empty:
        return "Days down, the hours of two days across; the log has no check."
    hours = np.quantile(checks["hour"], [0.25, 0.75])
    many = ", ".join(f"{(checks['mark'] == one).sum()} {one}" for one in _CHECKS)
    return (
        f"Days from {checks['day'].min():%Y-%m-%d} to {checks['day'].max():%Y-%m-%d} down, the "
        f"hours of two days across ({time_zone}): {counted(len(checks), 'check')} on "
        f"{counted(checks['day'].nunique(), 'day')}, {many}. The middle half of the checks lies "
        f"between {_clock(hours[0])} and {_clock(hours[1])}."
    )


def _clock(hour: float) -> str:
    minutes = round(hour * 60.0) % 1440
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


# Share heard ------------------------------------------------------------------------------------


def hearing_rate_data(hours: pd.DataFrame) -> pd.DataFrame:
    """Rows of :func:`hearing_rate`.

    Parameters
    ----------
    hours
        From :func:`farhear.study.hearing_by_hour`, or as read from `data/hours.csv` of a study; of
        one band.

    Returns
    -------
    DataFrame, one row a half hour, in order: `band`, `from_h`, `to_h` (after sunset) [h],
    `checks`, `heard`, `ratio`, `low`, `high`, and `thin` (fewer checks than `THIN_CHECKS`).

    Raises
    ------
    InputError
        On several bands.
    """
    one_band(hours, "hours")
    start = hours["from_min"].to_numpy(np.float64) / 60.0
    names = ("checks", "heard", "ratio", "low", "high")
    numbers = {name: hours[name].to_numpy(np.float64) for name in names}
    out = pd.DataFrame(
        {"band": hours["band"].astype(str).tolist(), "from_h": start, "to_h": start + 0.5}
        | numbers
        | {"thin": numbers["checks"] < THIN_CHECKS}
    )
    known = out["from_h"].notna() & (out["checks"] > 0)
    return out[known].sort_values("from_h", ignore_index=True)


def one_band(frame: pd.DataFrame, name: str) -> str:
    """Band of a frame, "" of an empty one; InputError on several."""
    bands = list(dict.fromkeys(frame["band"].astype(str)))
    if len(bands) > 1:
        raise InputError(
            f"{name} holds {len(bands)} bands ({', '.join(bands[:4])}); one chart shows one: "
            f"{name}[{name}['band'] == {bands[0]!r}]"
        )
    return bands[0] if bands else ""


def hearing_rate(hours: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """Draw the share heard by half hour after sunset, over the number of checks it rests on.

    Parameters
    ----------
    hours
        From :func:`farhear.study.hearing_by_hour`; of one band.
    ax
        Where to draw; None makes an A5 page.

    Returns
    -------
    matplotlib Axes: x in hours after sunset, y the share, with room below 0 in which an Axes of
    its own (the first of `child_axes`) has the checks. A half hour of fewer than `THIN_CHECKS`
    checks is hatched and its mark hollow. No interval is drawn where there is none.

    See :func:`hearing_rate_data` for what is drawn, and the module for a caution.
    """
    data = hearing_rate_data(hours)
    with mpl.rc_context(_style.RC):
        ax = _layout.new_axes(ax)
        band = data["band"].iloc[0] if len(data) else "no band"
        _layout.title_above(ax, f"{band}: how often it was heard, by half hour", over=14.0)
        ax.set_xlabel("hours after sunset in the middle of the cell")
        share_frame(ax)
        below = effort_below(ax)
        _layout.note_below(ax, [_rate_note(data), "Hours of listening tell when nobody is home."])
        if data.empty:
            ax.set_xticks([])
            return _layout.message(ax, "no check that tells")
        rates(ax, data)
        effort(below, data)
        low, high = data["from_h"].min(), data["to_h"].max()
        room = max(1.0 - (high - low) / 2.0, 0.15)
        ax.set_xlim(low - room, high + room)
        below.set_xlim(ax.get_xlim())
        if low <= 0.0 <= high:
            ax.axvline(0.0, color=_layout.GREY, lw=0.7, zorder=0.8)
            _sunset_word(ax)
        _layout.key_above(ax, _rate_key(data))
        return ax


def share_frame(ax: Axes, name: str = "share of checks that heard") -> None:
    """Shares upward from 0 to 1, with room for the checks below."""
    ax.set_ylim(-0.42, 1.04)
    ax.set_yticks([0.0, 0.25, 0.5, 0.75, 1.0], ["0", "25 %", "50 %", "75 %", "100 %"])
    ax.set_ylabel(name, y=0.64)
    ax.axhline(0.0, color=_layout.DARK, lw=0.6, zorder=0.9)
    for share in (0.25, 0.5, 0.75, 1.0):
        ax.axhline(share, color=_layout.FAINT, lw=0.5, zorder=0.5)


def effort_below(ax: Axes, name: str = "checks") -> Axes:
    """Make an Axes for counts in the room below 0 of an Axes of shares."""
    below = ax.inset_axes((0.0, 0.0, 1.0, 0.21))
    below.patch.set_alpha(0.0)
    below.set_xticks([])
    below.yaxis.tick_right()
    below.yaxis.set_label_position("right")
    below.set_ylabel(name)
    below.set_yticks([])
    for side in ("top", "left", "bottom"):
        below.spines[side].set_visible(False)
    return below


def count_axis(below: Axes, most: float) -> None:
    """Set a scale of counts from 0 to a little more than `most`, ticks at whole numbers."""
    below.set_ylim(0.0, max(most, 1.0) * 1.3)
    below.set_yticks([0.0, most] if most >= 1.0 else [0.0])
    below.tick_params(axis="y", labelsize=6.0, pad=1.5)


def rates(ax: Axes, data: pd.DataFrame) -> None:
    """Draw shares and their intervals; thin half hours hollow over hatching."""
    x = (data["from_h"] + data["to_h"]).to_numpy() / 2.0
    thin = data["thin"].to_numpy(bool)
    ratio, low, high = (data[name].to_numpy(np.float64) for name in ("ratio", "low", "high"))
    for start, end in data.loc[thin, ["from_h", "to_h"]].to_numpy():
        ax.axvspan(
            start, end, facecolor="#f4f4f4", edgecolor="#a8a8a8", hatch="////", lw=0.0, zorder=0.3
        ).set_gid("thin")
    known = np.isfinite(low) & np.isfinite(high)
    lines = ax.vlines(x[known], low[known], high[known], color=_INTERVAL, lw=2.6)
    lines.set_gid("interval")
    for which, fill, name in ((~thin, "#0072B2", "share"), (thin, "white", "thin share")):
        ax.plot(
            x[which],
            ratio[which],
            "o",
            ms=4.6,
            mfc=fill,
            mec="#0072B2",
            mew=1.1,
            zorder=3.0,
            gid=name,
        )


def effort(below: Axes, data: pd.DataFrame, *, most: float = 0.0, figures: bool = True) -> None:
    """Draw the number of checks, on a scale to `most` at least."""
    x = (data["from_h"] + data["to_h"]).to_numpy() / 2.0
    checks = data["checks"].to_numpy(np.float64)
    bars = below.bar(x, checks, width=0.42, color="#8c8c8c", ec="#4d4d4d", lw=0.4)
    for bar, thin in zip(bars, data["thin"], strict=True):
        if thin:
            bar.set(facecolor="white", hatch="//////")
    count_axis(below, max(most, float(checks.max())))
    if figures and x.size <= 24:
        for at, many in zip(x, checks, strict=True):
            below.annotate(
                f"{many:.0f}",
                (at, many),
                xytext=(0.0, 1.0),
                textcoords="offset points",
                ha="center",
                fontsize=6.0,
            )


def _sunset_word(ax: Axes) -> None:
    ax.annotate(
        "sunset",
        (0.0, 1.0),
        xycoords=("data", "axes fraction"),
        xytext=(2.5, -2.5),
        textcoords="offset points",
        va="top",
        fontsize=6.5,
    )


def _rate_key(data: pd.DataFrame) -> list[Any]:
    mark: dict[str, Any] = {"ls": "", "marker": "o", "ms": 4.6, "mec": "#0072B2", "mew": 1.1}
    keys: list[Any] = [Line2D([], [], mfc="#0072B2", label="share heard", **mark)]
    if data["low"].notna().any():
        text = "95 % interval, by weeks"
        keys.append(Line2D([], [], color=_INTERVAL, lw=2.6, label=text))
    if data["thin"].any():
        text = f"fewer than {THIN_CHECKS} checks"
        keys.append(Line2D([], [], mfc="white", label=text, **mark))
        keys.append(Patch(facecolor="#f4f4f4", edgecolor="#a8a8a8", hatch="//////", label=text))
        keys.pop(-2)
    keys.append(Patch(facecolor="#8c8c8c", edgecolor="#4d4d4d", lw=0.4, label="checks, below"))
    return keys


def _rate_note(data: pd.DataFrame) -> str:
    total = f"{data['checks'].sum():.0f}"
    text = f"Rests on {total} checks that tell; blocked channels are left out."
    if len(data) and data["low"].isna().all():
        text += " No interval: one week, or one outcome only, does not give any."
    return text


def hearing_rate_alt(hours: pd.DataFrame) -> str:
    """Say in words what :func:`hearing_rate` shows."""
    data = hearing_rate_data(hours)
    if data.empty:
        return "Share of checks that heard by half hour after sunset; there is no check that tells."
    enough = data[~data["thin"] & data["ratio"].notna()]
    start = (
        f"{data['band'].iloc[0]}: share of checks that heard, by half hour from "
        f"{data['from_h'].min():+.1f} to {data['to_h'].max():+.1f} h after sunset, "
        f"{data['checks'].sum():.0f} checks, {int(data['thin'].sum())} half hours with fewer than "
        f"{THIN_CHECKS}."
    )
    if enough.empty:
        return f"{start} No half hour has enough checks to speak of."
    best, worst = (enough.loc[enough["ratio"].agg(how)] for how in ("idxmax", "idxmin"))
    return f"{start} Most heard {_half_hour(best)}, least {_half_hour(worst)}."


def _half_hour(row: Any) -> str:
    interval = ""
    if np.isfinite(row["low"]) and np.isfinite(row["high"]):
        interval = f", 95 % interval {100.0 * row['low']:.0f} to {100.0 * row['high']:.0f} %"
    share = f"{100.0 * row['ratio']:.0f} % of {row['checks']:.0f}{interval}"
    return f"from {row['from_h']:+.1f} h on ({share})"


# Solar strip ------------------------------------------------------------------------------------


def solar_strip_data(indices: Indices | pd.DataFrame) -> pd.DataFrame:
    """Rows of :func:`solar_strip`.

    Parameters
    ----------
    indices
        From :func:`farhear.load_indices`, or (rows of) its frame.

    Returns
    -------
    DataFrame, one row a date, in order: `date`, `f107_obs_sfu` [sfu], `kp_highest` (of the eight
    of the day, NaN where none is known), `status`.
    """
    frame = indices.frame if isinstance(indices, Indices) else indices
    kp = frame.reindex(columns=list(_KP)).to_numpy(np.float64)
    highest = np.full(len(frame), np.nan)
    known = ~np.isnan(kp).all(axis=1)
    highest[known] = np.nanmax(kp[known], axis=1)
    out = pd.DataFrame(
        {
            "date": pd.to_datetime(frame["date"]).to_numpy("datetime64[s]"),
            "f107_obs_sfu": frame["f107_obs_sfu"].to_numpy(np.float64),
            "kp_highest": highest,
            "status": frame["status"].astype(str).tolist(),
        }
    )
    return out.sort_values("date", ignore_index=True, kind="stable")


def solar_strip(
    indices: Indices | pd.DataFrame, *, under: Axes | None = None, ax: Axes | None = None
) -> Axes:
    """Draw the solar flux and the daily Kp on a narrow strip.

    Parameters
    ----------
    indices
        From :func:`farhear.load_indices`, or rows of its frame.
    under
        An Axes with dates across (days since 1970-01-01); the strip takes its span and hangs
        below it, its date labels moving down.
    ax
        Where to draw; None makes an A5 page, or hangs the strip under `under`.

    Returns
    -------
    matplotlib Axes: flux on the left scale as a line in the upper half; Kp as bars on the right
    scale (the first of `child_axes`), black from Kp 5 on, when a storm begins. Days that are only
    predicted are hatched.
    """
    data = solar_strip_data(indices)
    with mpl.rc_context(_style.RC):
        if ax is None and under is not None:
            ax = _hung(under)
        ax = _layout.new_axes(ax)
        days = _layout.days_of(data["date"])
        span = _span_of(days) if under is None else under.get_xlim()
        ax.set_xlim(*span)
        inside = (days >= span[0] - 32.0) & (days <= span[1])
        data, days = data[inside], days[inside]
        if under is None:
            over = 14.0
            _layout.title_above(ax, "The sun and the Earth's magnetic field, day by day", over=over)
            _layout.key_above(ax, _strip_key(data))
            _layout.note_below(ax, [_strip_note(data)])
        ax.set_ylabel("10.7 cm flux\n[sfu]", fontsize=6.5)
        bars = ax.inset_axes((0.0, 0.0, 1.0, 1.0))
        _kp_frame(bars, span)
        if data["f107_obs_sfu"].isna().all() and data["kp_highest"].isna().all():
            ax.set_xticks([])
            ax.set_yticks([])
            return _layout.message(ax, "no index for these dates")
        _predicted(ax, data, days)
        _flux_line(ax, data, days)
        _kp_bars(bars, data, days)
        if under is None:
            _layout.date_axis(ax, *span)
        else:
            ticks = under.get_xticks()
            ax.set_xticks(ticks, under.xaxis.get_major_formatter().format_ticks(list(ticks)))
        return ax


def _hung(under: Axes) -> Axes:
    """Return an Axes below another one, which lends it its date labels."""
    under.tick_params(axis="x", labelbottom=False)
    strip = under.inset_axes((0.0, -0.27, 1.0, 0.24))
    strip.tick_params(axis="x", labelbottom=True)
    for text in under.texts:  # sentences below make room for the strip
        if text.get_gid() == "note" and hasattr(text, "xyann"):
            height_pt = 14.0 + 0.27 * 0.60 * float(text.figure.get_figheight()) * 72.0  # type: ignore[union-attr]
            text.xyann = (text.xyann[0], text.xyann[1] - height_pt)
    return strip


def _span_of(days: Floats) -> tuple[float, float]:
    if not days.size:
        return 0.0, 1.0
    low, high = float(days.min()), float(days.max()) + 1.0
    return low, max(high, low + 3.0)


def _kp_frame(bars: Axes, span: tuple[float, float]) -> None:
    bars.patch.set_alpha(0.0)
    bars.set_xlim(*span)
    bars.set_xticks([])
    bars.set_ylim(0.0, 19.0)  # Kp ends at 9: the bars keep to the lower half
    bars.yaxis.tick_right()
    bars.yaxis.set_label_position("right")
    bars.set_yticks([0.0, _STORM_KP, 9.0])
    bars.set_ylabel("highest Kp\nof the day", fontsize=6.5, y=0.25)
    bars.axhline(_STORM_KP, color=_layout.GREY, lw=0.5, ls=(0, (2, 2)), zorder=0.5)


def _widths(days: Floats) -> Floats:
    """Days that each row stands for: one, but a predicted month reaches to the next row. [d]"""
    return np.append(np.minimum(np.diff(days), 31.0), 1.0)[: days.size]


def _predicted(ax: Axes, data: pd.DataFrame, days: Floats) -> None:
    told = (data["status"] == "predicted").to_numpy(bool)
    if not told.any():
        return
    start, end = days[told], days[told] + _widths(days)[told]
    first = np.flatnonzero(np.append(True, start[1:] > end[:-1]))
    for begin, last in zip(first, np.append(first[1:], start.size) - 1, strict=True):
        ax.axvspan(
            start[begin],
            end[last],
            facecolor="none",
            edgecolor="#8c8c8c",
            hatch="////",
            lw=0.0,
            zorder=0.3,
        ).set_gid("predicted")


def _flux_line(ax: Axes, data: pd.DataFrame, days: Floats) -> None:
    flux = data["f107_obs_sfu"].to_numpy(np.float64)
    if np.isnan(flux).all():
        ax.set_yticks([])
        return
    (line,) = ax.plot(days + 0.5, flux, color="#D55E00", lw=1.1, zorder=3.0)
    line.set_gid("flux")
    if flux.size == 1:
        line.set(marker="o", markersize=3.0)
    low, high = float(np.nanmin(flux)), float(np.nanmax(flux))
    reach = max(high - low, 10.0)
    ax.set_ylim(low - 1.35 * reach, high + 0.12 * reach)
    ax.set_yticks(_round_ticks(low, low + reach))


def _round_ticks(low: float, high: float) -> Floats:
    step = next(s for s in (5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 1e9) if (high - low) / s <= 3.0)
    return np.arange(np.ceil(low / step), np.floor(high / step) + 1.0) * step


def _kp_bars(bars: Axes, data: pd.DataFrame, days: Floats) -> None:
    kp = data["kp_highest"].to_numpy(np.float64)
    for which, colour, name in (
        (kp < _STORM_KP, "#8c8c8c", "kp below 5"),
        (kp >= _STORM_KP, "#000000", "kp 5 or more"),
    ):
        found = bars.vlines(days[which] + 0.5, 0.0, kp[which], color=colour, zorder=1.0)
        found.set_gid(name)
        found.set_linewidth(float(np.clip(360.0 / max(np.ptp(bars.get_xlim()), 1.0), 0.35, 6.0)))
        found.set_capstyle("butt")


def _strip_key(data: pd.DataFrame) -> list[Any]:
    keys: list[Any] = [
        Line2D([], [], color="#D55E00", lw=1.1, label="10.7 cm flux, as measured on Earth"),
        Line2D([], [], color="#8c8c8c", lw=4.0, label="Kp below 5"),
        Line2D([], [], color="#000000", lw=4.0, label="Kp 5 or more"),
    ]
    if (data["status"] == "predicted").any():
        keys.append(
            Patch(facecolor="white", edgecolor="#8c8c8c", hatch="//////", lw=0.0, label="predicted")
        )
    return keys


def _strip_note(data: pd.DataFrame) -> str:
    many = data["status"].value_counts()
    said = ", ".join(f"{many[name]} {name}" for name in sorted(many.index))
    return f"Rows by status of the flux: {said or 'none'}."


def solar_strip_alt(indices: Indices | pd.DataFrame) -> str:
    """Say in words what :func:`solar_strip` shows."""
    data = solar_strip_data(indices)
    known = data[data["f107_obs_sfu"].notna()]
    if known.empty:
        return "Solar flux and Kp by date; there is no value."
    storms = int((data["kp_highest"] >= _STORM_KP).sum())
    predicted = int((data["status"] == "predicted").sum())
    return (
        f"Solar flux and highest Kp of each day, {data['date'].min():%Y-%m-%d} to "
        f"{data['date'].max():%Y-%m-%d}: flux {known['f107_obs_sfu'].min():.0f} to "
        f"{known['f107_obs_sfu'].max():.0f} sfu; Kp 5 or more on {counted(storms, 'day')}; "
        f"{counted(predicted, 'row')} only predicted."
    )


# Checks of a club -------------------------------------------------------------------------------


def club_coverage_data(club: Club | pd.DataFrame, *, by: str = "week") -> pd.DataFrame:
    """Counts of :func:`club_coverage`.

    Parameters
    ----------
    club
        From :func:`farhear.club.merge`, or its `checks`; the former names members without a kept
        check too.
    by
        "week" (by its Monday, none left out) or "band".

    Returns
    -------
    DataFrame, one row for every member and every week or band, members as in the club's table:
    `member`, `week` or `band`, `checks`.

    Raises
    ------
    InputError
        On another `by`.
    """
    if by not in ("week", "band"):
        raise InputError(f"by = {by!r} is neither 'week' nor 'band'")
    checks = club if isinstance(club, pd.DataFrame) else club.checks
    members = list(dict.fromkeys(checks["member"].astype(str)))
    if not isinstance(club, pd.DataFrame):
        members = list(dict.fromkeys(club.counts["member"].astype(str)))
    kinds, code = _weeks(checks) if by == "week" else _bands(checks)
    who = pd.Index(members).get_indexer(pd.Index(checks["member"].astype(str)))
    known = code >= 0
    size = len(members) * len(kinds)
    cell = who[known] * len(kinds) + code[known]
    return pd.DataFrame(
        {
            "member": np.repeat(np.array(members, dtype=object), len(kinds)),
            by: np.tile(kinds, len(members)),
            "checks": np.bincount(cell, minlength=size)[:size],
        }
    )


def _weeks(checks: pd.DataFrame) -> tuple[NDArray[Any], NDArray[np.int64]]:
    """Mondays from first to last, and the place of each check among them, -1 for none."""
    given = checks["week"] if "week" in checks.columns else checks["evening"]
    day = _layout.days_of(given)
    known = ~np.isnan(day)
    if not known.any():
        return np.zeros(0, dtype="datetime64[s]"), np.full(len(checks), -1)
    monday = np.floor((day - 4.0) / 7.0) * 7.0 + 4.0  # 1970-01-05 was a Monday
    first, last = np.nanmin(monday), np.nanmax(monday)
    kinds = np.arange(first, last + 1.0, 7.0).astype(np.int64).astype("datetime64[D]")
    code = np.full(len(checks), -1, dtype=np.int64)
    code[known] = np.rint((monday[known] - first) / 7.0).astype(np.int64)
    return kinds.astype("datetime64[s]"), code


def _bands(checks: pd.DataFrame) -> tuple[NDArray[Any], NDArray[np.int64]]:
    """Bands from low to high frequency, and the place of each check among them."""
    khz = checks["freq_khz"].to_numpy(np.float64)
    names = np.asarray(name_of(khz)).astype(object).reshape(-1)
    kinds = list(dict.fromkeys(names[np.argsort(khz, kind="stable")]))
    code = pd.Index(kinds, dtype=object).get_indexer(pd.Index(names, dtype=object))
    return np.array(kinds, dtype=object), code.astype(np.int64)


def club_coverage(club: Club | pd.DataFrame, *, by: str = "week", ax: Axes | None = None) -> Axes:
    """Draw how many checks each member of a club gave, by week or by band.

    Parameters
    ----------
    club
        From :func:`farhear.club.merge`, or its `checks`.
    by
        "week" or "band".
    ax
        Where to draw; None makes an A5 page, higher with many members.

    Returns
    -------
    matplotlib Axes: one row a member, by name, the first on top; one column a week or band. The
    darker the more checks; white without number is none. Numbers stand in the cells where there
    are no more than 30 columns.

    Notes
    -----
    Names stand as the club's table has them, and weeks without checks tell when a member was away:
    the members have to want that.
    """
    data = club_coverage_data(club, by=by)
    with mpl.rc_context(_style.RC):
        members = list(dict.fromkeys(data["member"]))
        ax = _layout.new_axes(ax, height_in=1.4 + 0.155 * len(members))
        total = int(data["checks"].sum())
        _layout.title_above(ax, f"Checks of the club by member and {by}: {total}", over=-3.0)
        _layout.note_below(
            ax,
            ["White: no check. Names are the members' own; weeks away show in it, too."],
            below_pt=38.0,
        )
        if not total:
            ax.set(xticks=[], yticks=[])
            return _layout.message(ax, "no check of any member")
        table = data["checks"].to_numpy(np.float64).reshape(len(members), -1)
        image = _cells(ax, table)
        wide = 24 if len(members) <= 14 else 60  # two lines where the rows are high
        names = ["\n".join(textwrap.wrap(name, wide)) for name in members]
        ax.set_yticks(np.arange(len(members)), names)
        _columns(ax, data[by].iloc[: table.shape[1]], by)
        bar = _layout.scale_above(ax, image, "checks")
        bar.set_xticks([0.0, table.max()])
        return ax


def _cells(ax: Axes, table: Floats) -> Any:
    """Draw cells whose shade is the number in them; none is white."""
    most = float(table.max())
    image = ax.imshow(
        np.where(table > 0.0, table, np.nan),
        aspect="auto",
        interpolation="nearest",
        cmap=_layout.DEPTH,
        vmin=0.0,
        vmax=most,
    )
    for row in np.arange(table.shape[0] + 1) - 0.5:
        ax.axhline(row, color="white", lw=1.2)
    if table.shape[1] <= 30:
        size = float(np.clip(150.0 / table.shape[1], 5.0, 7.0))
        for row, column in np.argwhere(table > 0.0).tolist():
            many = table[row, column]
            ink = _layout.ink_on(image.cmap(image.norm(many)))
            ax.text(column, row, f"{many:.0f}", ha="center", va="center", fontsize=size, color=ink)
    ax.set_xlim(-0.5, table.shape[1] - 0.5)
    ax.set_ylim(table.shape[0] - 0.5, -0.5)
    return image


def _columns(ax: Axes, kinds: pd.Series[Any], by: str) -> None:
    if by == "band":
        ax.set_xticks(np.arange(len(kinds)), [str(kind) for kind in kinds])
        ax.set_xlabel("broadcast band")
        return
    days = _layout.days_of(kinds)
    _layout.date_axis(ax, days[0], days[-1])
    texts = [label.get_text() for label in ax.get_xticklabels()]
    ax.set_xticks((ax.get_xticks() - days[0]) / 7.0, texts)
    ax.set_xlim(-0.5, len(days) - 0.5)
    ax.set_xlabel("week that begins on Monday")


def club_coverage_alt(club: Club | pd.DataFrame, *, by: str = "week") -> str:
    """Say in words what :func:`club_coverage` shows."""
    data = club_coverage_data(club, by=by)
    if not data["checks"].sum():
        return f"Checks of a club by member and {by}; there is none."
    sums = data.groupby("member", sort=False)["checks"].sum()
    said = "; ".join(f"{name} {many}" for name, many in sums.head(20).items())
    more = f"; and {len(sums) - 20} more members" if len(sums) > 20 else ""
    empty = int((data["checks"] == 0).sum())
    return (
        f"Checks by member and {by}, {counted(len(sums), 'member')} by "
        f"{counted(data[by].nunique(), by)}, {empty} of {len(data)} cells without any: "
        f"{said}{more}."
    )

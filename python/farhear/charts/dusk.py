"""Charts of evenings: when a band opened, what is on tonight, at which hours a band carries.

They draw what the log's tables, a plan and a season hold; nothing is worked out here but places.
Openings are counted from sunset at home: with dates beside them they tell on which evenings
somebody listened, so a chart of one's own log wants care.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib import patheffects
from matplotlib.cm import ScalarMappable
from matplotlib.collections import PatchCollection
from matplotlib.colors import Normalize
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle

from farhear import clock
from farhear.charts import _layout, _style
from farhear.charts.logs import one_band
from farhear.errors import InputError
from farhear.tables import counted
from farhear.times import UtcTimes, unix_s

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.axes import Axes

    from farhear._arrays import Floats
    from farhear.evening import Plan

__all__ = [
    "evening_ladder",
    "evening_ladder_alt",
    "evening_ladder_data",
    "likelihood_hours",
    "likelihood_hours_alt",
    "likelihood_hours_data",
    "openings",
    "openings_alt",
    "openings_data",
]

_EVENTS = {
    "opening": ("sunset", "opened", "opens", "dusk_opening_min", "opens_after_sunset_min"),
    "closing": ("sunrise", "closed", "closes", "dawn_closing_min", "closes_after_sunrise_min"),
}
_LANES = 27
_HOUR_S = 3600.0
_EDGE = [patheffects.withStroke(linewidth=2.2, foreground="black")]


# Openings ---------------------------------------------------------------------------------------


def openings_data(
    openings: pd.DataFrame,
    model: xr.Dataset | pd.DataFrame | None = None,
    *,
    event: str = "opening",
    band: str | None = None,
) -> pd.DataFrame:
    """Rows of :func:`openings`.

    Parameters
    ----------
    openings
        From :func:`farhear.evenings.openings`, of one band; for closings a frame with the same
        columns, its minutes counted from sunrise.
    model
        From :func:`farhear.season.season_study`, or :func:`farhear.season.band_weeks` of it.
    event
        "opening" (from sunset) or "closing" (from sunrise).
    band
        Band of the model; None takes that of the openings.

    Returns
    -------
    DataFrame: `source` ("log", "model"), `date`, `low_min`, `high_min` (ends of the interval, or
    quartiles of a week of the model), `middle_min` (of the model; NaN where it does not change),
    `state` ("" of the model). [min after sunset or sunrise]

    Raises
    ------
    InputError
        On several bands, another event, a band that the model does not have.
    """
    if event not in _EVENTS:
        raise InputError(f"event = {event!r} is neither 'opening' nor 'closing'")
    of = one_band(openings, "openings")
    log = pd.DataFrame(
        {
            "source": "log",
            "date": pd.to_datetime(openings["evening"]).to_numpy("datetime64[s]"),
            "low_min": openings["low_min"].to_numpy(np.float64),
            "high_min": openings["high_min"].to_numpy(np.float64),
            "middle_min": np.nan,
            "state": openings["state"].astype(str).tolist(),
        }
    )
    if model is None:
        return log
    curve = _curve(model, event, of if band is None else band)
    if len(log):  # the model a week around the log
        around = pd.Timedelta(days=7)
        low, high = log["date"].min() - around, log["date"].max() + around
        curve = curve[((curve["date"] >= low) & (curve["date"] <= high)).to_numpy(bool)]
    return pd.concat([log, curve], ignore_index=True) if len(log) else curve


def _curve(model: xr.Dataset | pd.DataFrame, event: str, band: str) -> pd.DataFrame:
    """Rows of the model."""
    _, _, _, daily, weekly = _EVENTS[event]
    if isinstance(model, pd.DataFrame):
        names = list(dict.fromkeys(model["band"].astype(str)))
        part = model[(model["band"] == band).to_numpy(bool)].sort_values("first_date")
        dates = (
            _layout.days_of(part["first_date"]) + (part["days"].to_numpy(np.float64) - 1.0) / 2.0
        )
        columns = [part[f"{weekly}{tail}"].to_numpy(np.float64) for tail in ("_p25", "", "_p75")]
        few = (part[f"{event}_days"] * 2 < part["days"]).to_numpy(bool)
        low, middle, high = (np.where(few, np.nan, values) for values in columns)
        stamps = (dates * 86400.0).astype("datetime64[s]")
    else:
        names = [str(name) for name in model["band"].to_numpy()]
        stamps = model["date"].to_numpy().astype("datetime64[s]")
        at = names.index(band) if band in names else 0
        middle = model[daily].to_numpy()[at].astype(np.float64) if names else np.zeros(0)
        low = high = np.full(middle.size, np.nan)
    if band not in names:
        raise InputError(f"band = {band!r}: the model has {', '.join(names) or 'none'}")
    return pd.DataFrame(
        {
            "source": "model",
            "date": stamps,
            "low_min": low,
            "high_min": high,
            "middle_min": middle,
            "state": "",
        }
    )


def openings(
    openings: pd.DataFrame,
    model: xr.Dataset | pd.DataFrame | None = None,
    *,
    event: str = "opening",
    band: str | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw between which two moments a band opened (or closed), evening by evening.

    Parameters
    ----------
    openings, model, event, band
        As in :func:`openings_data`.
    ax
        Where to draw; None makes an A5 page.

    Returns
    -------
    matplotlib Axes: x in days since 1970-01-01, y in minutes after sunset (sunrise), which is the
    line at 0. A bar is the interval in which the change came; a hollow triangle points to the side
    on which an end is not known; a short stroke at the foot is an evening without a usable check.
    The model's curve is dashed, with its quartiles where they are given.
    """
    data = openings_data(openings, model, event=event, band=band)
    sun, happened, happens, _, _ = _EVENTS[event]
    name = one_band(openings, "openings") or band or "no band"
    with mpl.rc_context(_style.RC):
        ax = _layout.new_axes(ax)
        _layout.title_above(ax, f"{name}: between which checks it {happened}, by date", over=14.0)
        ax.set_ylabel(f"minutes after {sun} (negative: before)")
        _layout.note_below(ax, _opening_notes(data, sun, happened, happens))
        days = _layout.days_of(data["date"])
        ends = data[["low_min", "high_min", "middle_min"]].to_numpy(np.float64)
        if not len(data) or not np.isfinite(ends).any():
            ax.set(xticks=[], yticks=[])
            why = "no evening in the table"
            if len(data):
                why = f"no evening with a {sun} and a usable check"
            return _layout.message(ax, why)
        _opening_frame(ax, days, ends, sun)
        is_log = (data["source"] == "log").to_numpy(bool)
        intervals(ax, data[is_log], days[is_log])
        if not is_log.all():
            _model_curve(ax, data[~is_log], days[~is_log])
        _layout.key_above(ax, _opening_key(data, happens))
        return ax


def _opening_frame(ax: Axes, days: Floats, ends: Floats, sun: str) -> None:
    known = ends[np.isfinite(ends)]
    low, high = min(float(known.min()), 0.0), max(float(known.max()), 0.0)
    room = max((high - low) * 0.10, 8.0)
    ax.set_ylim(low - room, high + room)
    first, last = float(days.min()), float(days.max())
    side = max((last - first) * 0.015, 2.0 - (last - first) / 2.0, 0.7)
    ax.set_xlim(first - side, last + side)
    _layout.date_axis(ax, first, last)
    ax.grid(axis="y", color=_layout.FAINT, lw=0.5)
    ax.set_axisbelow(True)
    ax.axhline(0.0, color=_layout.DARK, lw=1.0, zorder=1.5, gid="sun")
    ax.annotate(
        sun,
        (1.0, 0.0),
        xycoords=("axes fraction", "data"),
        xytext=(3.0, 0.0),
        textcoords="offset points",
        va="center",
        fontsize=6.8,
        fontweight="bold",
        annotation_clip=False,
    )


def _pt_a_day(ax: Axes) -> float:
    wide_pt = 72.0 * ax.get_position().width * _layout.root(ax).get_figwidth()
    return float(wide_pt / max(float(np.ptp(ax.get_xlim())), 1.0))


def intervals(ax: Axes, part: pd.DataFrame, days: Floats) -> None:
    """Draw the intervals of a log: bars, triangles, strokes at the foot; set the x limits first."""
    low, high = (part[name].to_numpy(np.float64) for name in ("low_min", "high_min"))
    both = np.isfinite(low) & np.isfinite(high)
    wide = float(np.clip(0.62 * _pt_a_day(ax), 0.5, 3.4))
    bars = ax.vlines(days[both], low[both], high[both], color="#0072B2", lw=wide, zorder=2.0)
    bars.set_gid("interval")
    bars.set_capstyle("butt")
    size = float(np.clip(0.9 * _pt_a_day(ax), 2.0, 4.6))
    for end, other, marker, name in ((high, low, "v", "by"), (low, high, "^", "not until")):
        one = np.isfinite(end) & np.isinf(other)
        ax.plot(
            days[one],
            end[one],
            marker,
            ms=size,
            mfc="white",
            mec="#8a3d00",
            mew=0.8,
            zorder=2.5,
            gid=name,
        )
    none = (part["state"] == "no usable check").to_numpy(bool)
    foot = np.full(int(none.sum()), 0.012)
    ax.plot(
        days[none],
        foot,
        "|",
        ms=4.0,
        mew=float(np.clip(0.3 * _pt_a_day(ax), 0.3, 0.9)),
        color=_layout.GREY,
        transform=ax.get_xaxis_transform(),
        gid="no usable check",
    )


def _model_curve(ax: Axes, part: pd.DataFrame, days: Floats) -> None:
    low, middle, high = (part[f"{n}_min"].to_numpy(np.float64) for n in ("low", "middle", "high"))
    if np.isfinite(low).any():
        ax.fill_between(
            days, low, high, facecolor="#f0d9ae", edgecolor="#a06a00", lw=0.3, zorder=0.8
        ).set_gid("model quartiles")
    edge = [patheffects.withStroke(linewidth=3.0, foreground="white")]
    (line,) = ax.plot(
        days, middle, color="black", lw=1.5, ls=(0, (4, 1.6)), zorder=3.0, path_effects=edge
    )
    line.set_gid("model")
    alone = np.isfinite(middle)
    alone &= ~np.append(False, np.isfinite(middle[:-1])) & ~np.append(
        np.isfinite(middle[1:]), False
    )
    ax.plot(days[alone], middle[alone], "_", color="black", ms=5.0, mew=1.5, zorder=3.0)


def _opening_key(data: pd.DataFrame, happens: str) -> list[Any]:
    hollow: dict[str, Any] = {"ls": "", "ms": 4.6, "mfc": "white", "mec": "#8a3d00", "mew": 0.8}
    state = data["state"]
    low, high = (data[name].to_numpy(np.float64) for name in ("low_min", "high_min"))
    keys: list[Any] = [Line2D([], [], color="#0072B2", lw=3.0, label=f"{happens} in between")]
    if (np.isneginf(low) & np.isfinite(high)).any():
        keys.append(Line2D([], [], marker="v", label="before this", **hollow))
    if (np.isposinf(high) & np.isfinite(low)).any():
        keys.append(Line2D([], [], marker="^", label="after this, if at all", **hollow))
    if (state == "no usable check").any():
        mark: dict[str, Any] = {"ls": "", "marker": "|", "ms": 5.0, "color": _layout.GREY}
        keys.append(Line2D([], [], label="no usable check", **mark))
    if data["middle_min"].notna().any():
        keys.append(Line2D([], [], color="black", lw=1.5, ls=(0, (4, 1.6)), label="model"))
    if (data["source"].eq("model") & data["low_min"].notna()).any():
        text = "its middle half of a week"
        keys.append(Patch(facecolor="#f0d9ae", edgecolor="#a06a00", lw=0.3, label=text))
    return keys


def _opening_notes(data: pd.DataFrame, sun: str, happened: str, happens: str) -> list[str]:
    log = data[data["source"] == "log"]
    both = int(np.isfinite(log[["low_min", "high_min"]].to_numpy(np.float64)).all(axis=1).sum())
    notes = [
        f"{counted(both, 'evening')} of {len(log)} show the change between two checks. Long bars "
        "are few checks, not slow changes. Dates of listening tell when nobody is home."
    ]
    if data["middle_min"].notna().any():
        notes.append(
            f"Model: when the likelihood of the best far circuit crosses its threshold near {sun}; "
            "a typical month, not this evening."
        )
    elif (data["source"] == "model").any():
        notes.append(f"In the model the band {happens} at no time near {sun} on these dates.")
    return notes


def openings_alt(
    openings: pd.DataFrame,
    model: xr.Dataset | pd.DataFrame | None = None,
    *,
    event: str = "opening",
    band: str | None = None,
) -> str:
    """Say in words what :func:`openings` shows."""
    data = openings_data(openings, model, event=event, band=band)
    sun, happened, happens, _, _ = _EVENTS[event]
    log = data[data["source"] == "log"]
    low, high = (log[name].to_numpy(np.float64) for name in ("low_min", "high_min"))
    both = np.isfinite(low) & np.isfinite(high)
    name = one_band(openings, "openings") or band or "No band"
    text = f"{name}: between which checks the band {happened}, minutes after {sun} by date"
    if not len(log):
        text += "; no evening."
    else:
        text += (
            f", {counted(len(log), 'evening')} from {log['date'].min():%Y-%m-%d} to "
            f"{log['date'].max():%Y-%m-%d}, {int(both.sum())} with both ends known"
        )
        if both.any():
            text += (
                f", in the middle one between {np.median(low[both]):.0f} and "
                f"{np.median(high[both]):.0f} min"
            )
        text += "."
    said = data.loc[data["source"] == "model", "middle_min"].dropna()
    if len(said):
        text += f" The model {happens} from {said.min():.0f} to {said.max():.0f} min after {sun}."
    return text


# Ladder of an evening ---------------------------------------------------------------------------


def evening_ladder_data(plan: Plan, *, lanes: int = _LANES) -> pd.DataFrame:
    """Bars of :func:`evening_ladder`, in the pieces that have a likelihood of their own.

    Parameters
    ----------
    plan
        From :func:`farhear.plan`.
    lanes
        Lines to share among the bands; every band gets one at least.

    Returns
    -------
    DataFrame, one row a piece: `band`, `lane` (in the band, from 0), `rank` (index in
    `plan.frame`), `freq_khz`, `broadcaster`, `start_utc`, `end_utc` of the piece, `likelihood` of
    the piece, `best` (likelihood at its best instant). Bands from high to low frequency. The
    likeliest broadcasts come first into the lines of their band, and those that find no room
    are left out.
    """
    frame = plan.frame
    names = _band_order(frame)
    free = _shared_lanes(frame, names, lanes)
    placed = _placed(frame, free)
    columns = ["band", "freq_khz", "broadcaster", "likelihood"]
    chosen = frame.loc[[rank for rank, _ in placed], columns]
    chosen = chosen.rename(columns={"likelihood": "best"}).assign(
        rank=[rank for rank, _ in placed], lane=[lane for _, lane in placed]
    )
    out = chosen.merge(plan.steps, on="rank", how="left")
    place = out["band"].map({name: at for at, name in enumerate(names)})
    out = out.assign(place=place).sort_values(["place", "lane", "start_utc"], kind="stable")
    wanted = ["band", "lane", "rank", "freq_khz", "broadcaster", "start_utc", "end_utc"]
    return out[[*wanted, "likelihood", "best"]].reset_index(drop=True)


def _band_order(frame: pd.DataFrame) -> list[str]:
    """Bands from high to low frequency."""
    return list(dict.fromkeys(frame.sort_values("freq_khz", ascending=False)["band"].astype(str)))


def _shared_lanes(frame: pd.DataFrame, names: list[str], lanes: int) -> dict[str, int]:
    """Lines of each band: one, then one more in turn for those that have more to show."""
    free = dict.fromkeys(names, 1)
    wanted = frame["band"].astype(str).value_counts().to_dict()
    while sum(free.values()) < lanes:
        more = [name for name in names if free[name] < wanted[name]]
        more = more[: lanes - sum(free.values())]
        if not more:
            break
        for name in more:
            free[name] += 1
    return free


def _placed(frame: pd.DataFrame, free: dict[str, int]) -> list[tuple[int, int]]:
    """Rank and lane of each broadcast that finds room, the likeliest first."""
    taken: dict[tuple[str, int], list[tuple[Any, Any]]] = {}
    out = []
    for rank, band, start, end in zip(
        frame.index, frame["band"].astype(str), frame["start_utc"], frame["end_utc"], strict=True
    ):
        for lane in range(free[band]):
            spans = taken.setdefault((band, lane), [])
            if all(end <= begin or start >= stop for begin, stop in spans):
                spans.append((start, end))
                out.append((int(rank), lane))
                break
    return out


def evening_ladder(plan: Plan, *, lanes: int = _LANES, ax: Axes | None = None) -> Axes:
    """Draw what is on the air tonight, band under band.

    Parameters
    ----------
    plan
        From :func:`farhear.plan`.
    lanes
        Lines to share among the bands.
    ax
        Where to draw; None makes an A5 page.

    Returns
    -------
    matplotlib Axes: x in hours after the UTC midnight before the window, y in lines downwards. A
    bar is a broadcast on the air, its lightness the likelihood piece by piece (dark is likely);
    below it stand the likelihood at its best instant in percent, frequency and broadcaster. Hours
    are UTC below and local above.
    """
    data = evening_ladder_data(plan, lanes=lanes)
    with mpl.rc_context(_style.RC):
        ax = _layout.new_axes(ax)
        begin_s, end_s = (float(one) for one in plan.window.unix_s)
        midnight_s = np.floor(begin_s / 86400.0) * 86400.0
        x0, x1 = ((one - midnight_s) / _HOUR_S for one in (begin_s, end_s))
        ax.set_xlim(x0, x1)
        date = np.datetime64(int(midnight_s), "s").astype("datetime64[D]")
        _layout.title_above(ax, f"Tonight, band by band, {date} UTC", over=-3.0)
        _layout.note_below(ax, _ladder_notes(plan, data))
        _hours(ax, plan.time_zone, midnight_s, x0, x1)
        if data.empty:
            ax.set_yticks([])
            return _layout.message(ax, "nothing on the air in this window")
        data = data.assign(
            x0=(unix_s(data["start_utc"]) - midnight_s) / _HOUR_S,
            x1=(unix_s(data["end_utc"]) - midnight_s) / _HOUR_S,
        )
        row_of = _rows(data)
        total = len(row_of)
        ax.set_ylim(total, 0.0)
        _ladder_frame(ax, plan, data, row_of)
        for (band, lane), at in row_of.items():
            part = data[((data["band"] == band) & (data["lane"] == lane)).to_numpy(bool)]
            _lane(ax, part, at, total)
        scale = ScalarMappable(Normalize(0.0, 1.0), _layout.DEPTH)
        bar = _layout.scale_above(ax, scale, "likelihood of hearing it", over=0.055)
        bar.set_xticks([0.0, 0.5, 1.0], ["0", "50 %", "100 %"])
        return ax


def _rows(data: pd.DataFrame) -> dict[tuple[str, int], int]:
    pairs = dict.fromkeys(zip(data["band"].astype(str), data["lane"].astype(int), strict=True))
    return {pair: at for at, pair in enumerate(pairs)}


def _hours(ax: Axes, zone: str, midnight_s: float, x0: float, x1: float) -> None:
    """Write hours of UTC below, and of the local clock above."""
    step = next(s for s in (0.25, 0.5, 1.0, 2.0, 3.0, 6.0) if (x1 - x0) / s <= 13.0 or s == 6.0)
    at = np.arange(np.ceil(x0 / step), np.floor(x1 / step) + 1.0) * step
    ax.set_xticks(at, [f"{int(h) % 24:02d}:{round(h % 1 * 60):02d}" for h in at])
    ax.set_xlabel("UTC")
    ax.grid(axis="x", color=_layout.FAINT, lw=0.5)
    ax.set_axisbelow(True)
    local = np.asarray(clock.to_local(UtcTimes(midnight_s + at * _HOUR_S), zone))
    above = ax.secondary_xaxis("top")
    above.set_xticks(at, [str(one)[11:16] for one in local.astype("datetime64[m]")])
    above.tick_params(length=2.0, pad=1.0)
    above.set_ylabel("")
    ax.annotate(
        f"local time, {zone}",
        (0.0, 1.0),
        xycoords="axes fraction",
        xytext=(0.0, 12.0),
        textcoords="offset points",
        va="bottom",
        fontsize=6.8,
    )


def _ladder_frame(
    ax: Axes, plan: Plan, data: pd.DataFrame, row_of: dict[tuple[str, int], int]
) -> None:
    """Names of the bands at the left, how many are shown of how many at the right."""
    many = plan.frame["band"].astype(str).value_counts()
    shown = data.drop_duplicates("rank")["band"].astype(str).value_counts()
    ticks, names, counts = [], [], []
    for band in dict.fromkeys(band for band, _ in row_of):
        rows = [at for (name, _), at in row_of.items() if name == band]
        ticks.append((rows[0] + rows[-1] + 1.0) / 2.0)
        names.append(band)
        counts.append(f"{shown[band]} of {many[band]}")
        ax.axhline(rows[-1] + 1.0, color=_layout.GREY, lw=0.5)
    ax.set_yticks(ticks, names, fontweight="bold", fontsize=7.0)
    right = ax.secondary_yaxis("right")
    right.set_yticks(ticks, counts)
    right.tick_params(length=0.0, pad=2.0, labelsize=6.0)
    for name, text in (("home_sunset_utc", "sunset"), ("home_sunrise_utc", "sunrise")):
        _sun_mark(ax, plan, name, text)


def _sun_mark(ax: Axes, plan: Plan, name: str, text: str) -> None:
    at = plan.frame[name].dropna()
    begin_s, end_s = (float(one) for one in plan.window.unix_s)
    if at.empty or not begin_s <= float(unix_s(at.iloc[:1])[0]) <= end_s:
        return
    x = (float(unix_s(at.iloc[:1])[0]) - np.floor(begin_s / 86400.0) * 86400.0) / _HOUR_S
    ax.axvline(x, color="black", lw=1.0, ls=(0, (4, 2)), zorder=0.9, gid=text)
    ax.annotate(
        text,
        (x, 0.0),
        xycoords=("data", "axes fraction"),
        xytext=(2.0, 2.0),
        textcoords="offset points",
        fontsize=6.5,
        path_effects=[patheffects.withStroke(linewidth=2.0, foreground="white")],
        zorder=4.0,
    )


def _lane(ax: Axes, part: pd.DataFrame, row: int, total: int) -> None:
    """Draw the bars of one line, and what stands below them."""
    colours = _layout.DEPTH
    known = part["likelihood"].notna().to_numpy(bool)
    x0, x1 = (part[name].to_numpy(np.float64) for name in ("x0", "x1"))
    pieces = [Rectangle((a, row + 0.10), b - a, 0.36) for a, b in zip(x0, x1, strict=True)]
    faces = [
        colours(float(p)) if ok else "white"
        for p, ok in zip(part["likelihood"], known, strict=True)
    ]
    ax.add_collection(
        PatchCollection(pieces, facecolors=faces, edgecolors="none", zorder=2.0, gid="pieces")
    )
    ends = part.groupby("rank", sort=False).agg(
        x0=("x0", "min"), x1=("x1", "max"), known=("likelihood", "count")
    )
    texts = part.drop_duplicates("rank").set_index("rank")
    stops = [*ends["x0"].to_numpy()[1:], ax.get_xlim()[1]]
    size = float(np.clip(165.0 / total, 4.8, 6.2))
    pt_an_hour = 430.0 / float(np.ptp(ax.get_xlim()))
    for (rank, end), stop in zip(ends.iterrows(), stops, strict=True):
        hatch = "" if end["known"] else "xxxx"
        ax.add_patch(
            Rectangle(
                (end["x0"], row + 0.10),
                end["x1"] - end["x0"],
                0.36,
                facecolor="none",
                edgecolor="black",
                hatch=hatch,
                lw=0.6,
                zorder=2.2,
                gid=f"bar {rank}",
            )
        )
        room = int((stop - end["x0"]) * pt_an_hour / (0.58 * size))
        ax.text(
            end["x0"],
            row + 0.50,
            _bar_text(texts.loc[[rank]].iloc[0], room),
            fontsize=size,
            va="top",
            clip_on=True,
            path_effects=[patheffects.withStroke(linewidth=1.4, foreground="white")],
            zorder=1.8,
            gid=f"label {rank}",
        )


def _bar_text(row: Any, room: int) -> str:
    """Likelihood, frequency and name, as much of it as fits into so many characters."""
    chance = "?" if np.isnan(row["best"]) else f"{100.0 * row['best']:.0f} %"
    head = f"{chance} {row['freq_khz']:g}"
    if room < len(head):
        return chance
    whole = f"{head} {row['broadcaster']}"
    return _layout.short(whole, room) if room >= len(head) + 4 else head


def _ladder_notes(plan: Plan, data: pd.DataFrame) -> list[str]:
    shown = data["rank"].nunique()
    return [
        "Below each bar: likelihood at its best instant, frequency in kHz, broadcaster. "
        f"{shown} of {counted(len(plan.frame), 'broadcast')} shown, the likeliest of each band "
        "first (at the right: how many).",
        *plan.notes[:1],
    ]


def evening_ladder_alt(plan: Plan, *, lanes: int = _LANES) -> str:
    """Say in words what :func:`evening_ladder` shows."""
    data = evening_ladder_data(plan, lanes=lanes)
    if data.empty:
        return "Broadcasts of one evening, band under band; nothing is on the air in the window."
    best = plan.frame[plan.frame["likelihood"].notna()].head(3)
    said = "; ".join(
        f"{row['freq_khz']:g} kHz {row['broadcaster']} {100.0 * row['likelihood']:.0f} % at "
        f"{row['best_utc']:%H:%M}"
        for row in best.to_dict("records")
    )
    begin, end = (str(one)[:16].replace("T", " ") for one in plan.window.datetime64)
    return (
        f"Broadcasts from {begin} to {end} UTC on {counted(data['band'].nunique(), 'band')}, "
        f"{data['rank'].nunique()} of {len(plan.frame)} shown, lightness for the likelihood of "
        f"hearing them. Likeliest: {said or 'not known'}."
    )


# Hour against date ------------------------------------------------------------------------------


def likelihood_hours_data(study: xr.Dataset, band: str) -> pd.DataFrame:
    """Cells of :func:`likelihood_hours`.

    Parameters
    ----------
    study
        From :func:`farhear.season.season_study`.
    band
        One of its bands.

    Returns
    -------
    DataFrame, one row for every date and hour: `date`, `hour_utc`, `far_likelihood` [1],
    `sunset_hour_utc`, `sunrise_hour_utc` [h].

    Raises
    ------
    InputError
        On a band that the study does not have.
    """
    names = [str(name) for name in study["band"].to_numpy()]
    if band not in names:
        raise InputError(f"band = {band!r}: the study has {', '.join(names) or 'none'}")
    dates = study["date"].to_numpy().astype("datetime64[s]")
    hours = study["hour_utc"].to_numpy().astype(np.int64)
    values = study["far_likelihood"].to_numpy()[names.index(band)].astype(np.float64)
    sun = {
        name: np.repeat(study[name].to_numpy().astype(np.float64), hours.size)
        for name in ("sunset_hour_utc", "sunrise_hour_utc")
    }
    return pd.DataFrame(
        {
            "date": np.repeat(dates, hours.size),
            "hour_utc": np.tile(hours, dates.size),
            "far_likelihood": values.reshape(-1),
            **sun,
        }
    )


def likelihood_hours(study: xr.Dataset, band: str, *, ax: Axes | None = None) -> Axes:
    """Draw the likelihood of a band's far circuits over date and hour.

    Parameters
    ----------
    study, band
        As in :func:`likelihood_hours_data`.
    ax
        Where to draw; None makes an A5 page.

    Returns
    -------
    matplotlib Axes: x in days since 1970-01-01, y in hours of UTC; light is likely. Sunset at home
    is a whole line and sunrise a dashed one, each named at its right end.
    """
    data = likelihood_hours_data(study, band)
    far_km = float(study.attrs.get("far_km", np.nan))
    with mpl.rc_context(_style.RC):
        ax = _layout.new_axes(ax)
        far = f" from {far_km:g} km or more" if np.isfinite(far_km) else ""
        _layout.title_above(ax, f"{band}: when it carries{far}", over=-3.0)
        ax.set_ylabel("hour of the day, UTC")
        ax.set_ylim(0.0, 24.0)
        ax.set_yticks([0.0, 6.0, 12.0, 18.0, 24.0])
        if data.empty:
            ax.set_xticks([])
            return _layout.message(ax, "no date in this study")
        image = mesh(ax, data)
        _layout.date_axis(ax, *ax.get_xlim())
        known = data["far_likelihood"].notna().any()
        bar = _layout.scale_above(ax, image, "likelihood of the best circuit")
        bar.set_xticks([0.0, 0.5, 1.0], ["0", "50 %", "100 %"])
        suns = data.drop_duplicates("date")
        for name, dash in (("sunset", "-"), ("sunrise", (0, (4, 2)))):
            sun_curve(ax, suns, name, dash)
        _layout.note_below(ax, _hours_notes(study, suns))
        if not known:
            reach = f"no site beyond {far_km:g} km in the list" if far else "no likelihood"
            _layout.message(ax, reach)
        return ax


def mesh(ax: Axes, data: pd.DataFrame) -> Any:
    """Draw the cells of :func:`likelihood_hours_data` over their dates."""
    dates = data["date"].drop_duplicates()
    hours = data["hour_utc"].drop_duplicates().to_numpy(np.float64)
    days = _layout.days_of(dates)
    values = data["far_likelihood"].to_numpy(np.float64).reshape(days.size, hours.size).T
    # cells of one day; where days are left out the gap stays white
    whole = np.arange(days[0], days[-1] + 1.0)
    table = np.full((24, whole.size), np.nan)
    column = np.rint(days - days[0]).astype(np.int64)
    table[np.ix_(hours.astype(np.int64), column)] = values
    ax.set_facecolor("white")
    image = ax.pcolormesh(
        np.append(whole, whole[-1] + 1.0),
        np.arange(25.0),
        table,
        vmin=0.0,
        vmax=1.0,
        cmap=_layout.MAP,
        rasterized=True,
    )
    ax.set_xlim(whole[0], whole[-1] + 1.0)
    return image


def sun_curve(ax: Axes, suns: pd.DataFrame, name: str, dash: Any, *, named: bool = True) -> None:
    """Draw the hour of sunset or sunrise over the dates."""
    days = _layout.days_of(suns["date"]) + 0.5
    hour = suns[f"{name}_hour_utc"].to_numpy(np.float64).copy()
    if np.isnan(hour).all():
        return
    if hour.size > 1:
        hour[:-1][np.abs(np.diff(hour)) > 12.0] = np.nan  # the line passes midnight
    marker = "" if hour.size > 1 else "_"
    (line,) = ax.plot(days, hour, color="white", lw=1.1, ls=dash, marker=marker, path_effects=_EDGE)
    line.set_gid(name)
    if not named:
        return
    last = int(np.flatnonzero(np.isfinite(hour))[-1])
    ax.annotate(
        name,
        (days[last], hour[last]),
        xycoords="data",
        xytext=(-3.0, 5.0),
        textcoords="offset points",
        ha="right",
        fontsize=7.0,
        path_effects=[patheffects.withStroke(linewidth=2.5, foreground="white")],
    )


def _hours_notes(study: xr.Dataset, suns: pd.DataFrame) -> list[str]:
    notes = ["As if all of the list were on the air."]
    if "index_status" in study.attrs:
        notes.append(f"Solar index: {study.attrs['index_status']}.")
    missing = suns["sunset_hour_utc"].isna().sum()
    if missing:
        notes.append(f"No sunset at home on {missing} of {counted(len(suns), 'date')}.")
    notes.append("The sun's lines tell where home is: share with care.")
    return [" ".join(notes)]


def likelihood_hours_alt(study: xr.Dataset, band: str) -> str:
    """Say in words what :func:`likelihood_hours` shows."""
    data = likelihood_hours_data(study, band)
    known = data[data["far_likelihood"].notna()]
    if known.empty:
        return f"{band}: likelihood by date and hour of UTC; there is no value."
    mean = known.groupby("hour_utc")["far_likelihood"].mean()
    hours = mean.index.to_numpy(np.int64)
    best, worst = (int(hours[at]) for at in (np.argmax(mean), np.argmin(mean)))
    return (
        f"{band}: likelihood of the best far circuit by date ({data['date'].min():%Y-%m-%d} to "
        f"{data['date'].max():%Y-%m-%d}) and hour of UTC. On average highest in the hour from "
        f"{best:02d}:00 ({100.0 * mean[best]:.0f} %), lowest from {worst:02d}:00 "
        f"({100.0 * mean[worst]:.0f} %)."
    )

"""One circuit: where its decibels go, and the way its rays take.

The budget is drawn as it was worked out. The rays are traced anew for the picture, hop by hop
through the layers in the middle of each, because a list of modes has no points of rays.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, NamedTuple

import matplotlib as mpl
import numpy as np
import pandas as pd

from farhear import ionosphere, path
from farhear import rays as tracing
from farhear.charts import _style
from farhear.errors import InputError
from farhear.times import utc as to_utc

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from farhear._arrays import Floats
    from farhear.reception import Explanation

__all__ = [
    "RayPicture",
    "loss_budget",
    "loss_budget_alt",
    "loss_budget_data",
    "rays",
    "rays_alt",
    "rays_data",
    "rays_of",
]

# Loss budget ------------------------------------------------------------------------------------

# Rows that stand in one bar: what each is alone is no level of a signal on the air.
_MERGED = {
    "distance": ("field of 1 kW at 1 km", "distance", "field of 1 kW"),
    "noise": ("to power", "noise", "noise level"),
}
_TOTALS = ("field", "S/N")
_LEAST_DB = 0.05


def loss_budget_data(why: Explanation) -> pd.DataFrame:
    """Table of what :func:`loss_budget` draws.

    Parameters
    ----------
    why
        From :func:`farhear.reception.explain`.

    Returns
    -------
    DataFrame
        One row a bar, from top to bottom: `item`, `kind` ("gain", "loss", "total", "required",
        "margin"), `db`, `from_db` and `to_db` (where the bar starts and ends), `note`. The field
        of 1 kW at 1 km and the distance are one bar, the step to power and the noise another, so
        that no bar dwarfs the rest; items under 0.05 dB have no bar. Without rows where the budget
        has none.
    """
    rows, level = [], 0.0
    for item, db, text in _bars(why.budget):
        if item in _TOTALS:
            rows.append((item, "total", db, 0.0, db, text))
            level = db
        elif item == "required":
            rows.append(("required S/N", "required", -db, 0.0, -db, text))
        elif item == "margin":
            rows.append((item, "margin", db, level - db, level, text))
        elif not abs(db) < _LEAST_DB:
            kind = "gain" if db > 0.0 else "loss"
            rows.append((item, kind, db, level, level + db, text))
            level += db
    columns = ["item", "kind", "db", "from_db", "to_db", "note"]
    out = pd.DataFrame(rows, columns=columns)
    return out.astype(dict.fromkeys(["db", "from_db", "to_db"], "float64")).round(1)


def _bars(budget: pd.DataFrame) -> list[tuple[str, float, str]]:
    """Rows of a budget, those of `_MERGED` together."""
    records = budget.to_dict("records")
    value = {str(row["item"]): float(row["db"]) for row in records}
    notes = {str(row["item"]): str(row["note"]) for row in records}
    out = []
    for item in value:
        merged = next((one for one in _MERGED.values() if item in one[:2]), None)
        if merged is None or not set(merged[:2]) <= value.keys():
            out.append((item, value[item], notes[item]))
        elif item == merged[1]:
            first, second, name = merged
            after = item == "distance"
            text = f"after {notes[item]}" if after else "as a field at the receiver"
            out.append((name, value[first] + value[second], text))
    return out


def loss_budget(why: Explanation, *, title: str = "", ax: Axes | None = None) -> Axes:
    """Draw where the decibels of one circuit go, from the transmitter's power to the S/N.

    Parameters
    ----------
    why
        From :func:`farhear.reception.explain`.
    title
        The circuit in words, above the picture.
    ax
        Axes to draw in; None makes an A5 figure.

    Returns
    -------
    Axes
        Bars from top to bottom, decibels across: gains plain, losses hatched, totals dark. Each
        bar starts where the one above ended. The required S/N is a line through the last bars.
    """
    table = loss_budget_data(why)
    with mpl.rc_context(_style.RC):
        axis = _style.axes_in(ax, (0.195, 0.205, 0.78, 0.73))
        axis.set_title(f"Loss budget: {title}" if title else "Loss budget", loc="left", pad=6.0)
        axis.set_xlabel("dB above the field of 1 uV/m; the S/N in dB above the noise")
        if not _is_carried(table):
            axis.set_yticks([])
            _style.empty(axis, "no mode carries this circuit: nothing to add up")
        else:
            _draw_bars(axis, table)
        _style.note(axis, _budget_note(why, table), 0.125, left=-0.215)
        return axis


def _is_carried(table: pd.DataFrame) -> bool:
    """The budget comes down to an S/N."""
    return bool(np.isfinite(table.loc[table["item"] == "S/N", "db"]).any())


def _draw_bars(axis: Axes, table: pd.DataFrame) -> None:
    places = -np.arange(len(table), dtype=np.float64)
    start, end = (table[name].to_numpy() for name in ("from_db", "to_db"))
    low = float(np.nanmin([*start[np.isfinite(start)], *end[np.isfinite(end)], 0.0]))
    high = float(np.nanmax([*start[np.isfinite(start)], *end[np.isfinite(end)], 1.0]))
    room = 0.42 * (high - low)
    for y, row in zip(places, table.to_dict("records"), strict=True):
        _draw_bar(axis, float(y), row, 0.012 * (high - low))
    for y, level in zip(places[:-1], end[:-1], strict=True):
        axis.plot([level, level], [y - 0.36, y - 0.64], color="#6E6E6E", lw=0.6, zorder=2.0)
    _draw_required(axis, table, places)
    axis.axvline(0.0, color=_style.INK, lw=0.8, zorder=2.0)
    axis.set_yticks(places, [str(item) for item in table["item"]])
    for label, kind in zip(axis.get_yticklabels(), table["kind"], strict=True):
        label.set_fontweight("bold" if kind in ("total", "margin") else "normal")
        label.set_fontsize(8.0)
    axis.set_ylim(places[-1] - 0.7, 0.7)
    axis.set_xlim(low - 0.04 * (high - low), high + room)
    axis.grid(axis="x", color=_style.GRID, lw=0.4)
    axis.set_axisbelow(True)
    axis.tick_params(axis="y", length=0.0)
    for side in ("top", "right", "left"):
        axis.spines[side].set_visible(False)


def _draw_bar(axis: Axes, y: float, row: dict[Any, Any], gap: float) -> None:
    """One bar with its decibels and its note; a bar without an end has only the words."""
    kind, db = row["kind"], row["db"]
    if kind == "margin":
        kind = "gain" if db >= 0.0 else "loss"
    look = {"total": _style.TOTAL, "gain": _style.GAIN, "loss": _style.LOSS, "required": "white"}
    start, end = row["from_db"], row["to_db"]
    if np.isfinite(start) and np.isfinite(end):
        axis.barh(
            y,
            end - start,
            left=start,
            height=0.72,
            color=look[kind],
            edgecolor=_style.INK,
            linewidth=0.7,
            hatch=_style.HATCHES.get(kind, ""),
            zorder=3.0,
        )
    right = max(start, end) if np.isfinite([start, end]).all() else 0.0
    sign = "" if row["kind"] in ("total", "required") else "+" if db > 0.0 else ""
    note = f"   {row['note']}" if row["note"] else ""
    words = axis.annotate(
        f"{sign}{db:.1f} dB",
        (right + gap, y),
        va="center",
        fontsize=8.0,
        fontweight="bold",
        color=_style.INK,
        zorder=4.0,
        path_effects=_style.halo(2.0),
    )
    axis.annotate(
        note,
        (1.0, 0.5),
        xycoords=words,
        va="center",
        fontsize=7.0,
        color=_style.FAINT,
        zorder=4.0,
        path_effects=_style.halo(2.0),
    )


def _draw_required(axis: Axes, table: pd.DataFrame, places: Floats) -> None:
    """Line at the required S/N from the bar of the S/N down to the margin."""
    kinds = list(table["kind"])
    if "required" not in kinds or "S/N" not in list(table["item"]):
        return
    at = float(table["to_db"].to_numpy()[kinds.index("required")])
    top = float(places[list(table["item"]).index("S/N")])
    axis.plot(
        [at, at],
        [top + 0.48, float(places[-1]) - 0.5],
        color=_style.WAY,
        lw=1.6,
        ls=(0, (3.0, 1.2)),
        path_effects=_style.halo(3.0),
        zorder=3.5,
    )


def _budget_note(why: Explanation, table: pd.DataFrame) -> str:
    shown = " ".join(table["item"].astype(str))
    merged = {one for names in _MERGED.values() for one in names[:2]}
    quiet = [
        str(row["item"])
        for row in why.budget.to_dict("records")
        if abs(row["db"]) < _LEAST_DB and row["item"] not in merged
    ]
    lines = [_wrapped(why.sentence, 150)]
    key = "Plain: gain; hatched: loss; dark: total; dashed line: required S/N."
    if quiet and shown:
        key += f" 0 dB, not drawn: {', '.join(quiet)}."
    return "\n".join([*lines, _wrapped(key, 150)])


def _wrapped(text: str, width: int) -> str:
    """Words in lines of so many characters at most."""
    lines = [""]
    for word in text.split():
        if lines[-1] and len(lines[-1]) + 1 + len(word) > width:
            lines.append("")
        lines[-1] += f" {word}" if lines[-1] else word
    return "\n".join(lines)


def loss_budget_alt(why: Explanation, *, title: str = "") -> str:
    """Say in words what :func:`loss_budget` shows."""
    start = f"Loss budget of {title}" if title else "Loss budget"
    table = loss_budget_data(why)
    if not _is_carried(table):
        return f"{start} without a bar: no mode carries this circuit."
    value = dict(zip(table["item"], table["db"], strict=True))
    losses = table[table["kind"] == "loss"].sort_values("db")
    most = ", ".join(f"{row['item']} {row['db']:.0f} dB" for row in losses[:3].to_dict("records"))
    return (
        f"{start} in {len(table)} bars: from {value['transmitter power']:+.0f} dB above 1 kW to a "
        f"field of {value['field']:.0f} dB above 1 uV/m and a median S/N of {value['S/N']:.0f} dB, "
        f"{abs(value['margin']):.0f} dB {'above' if value['margin'] >= 0.0 else 'below'} the "
        f"required {value['required S/N']:.0f} dB; greatest losses: {most}."
    )


# Rays -------------------------------------------------------------------------------------------


class RayPicture(NamedTuple):
    """What :func:`rays` draws."""

    title: str
    """The circuit in words."""
    distance_km: float
    """Length of the way on the ground, at least 1. [km]"""
    layers: pd.DataFrame
    """Profiles along the way: `range_km`, then the columns of :class:`farhear.rays.Layers`."""
    height_km: Floats
    """Heights of `plasma_mhz`, shape (h,). [km]"""
    plasma_mhz: Floats
    """Plasma frequency, shape (h, rows of `layers`); 0 above the F2 peak. [MHz]"""
    points: pd.DataFrame
    """Points of the rays: `mode`, `hop` (from 1), `carried` (false: the layers do not bring a ray
    down there, so straight legs to a mirror are drawn), `range_km`, `height_km`."""
    modes: pd.DataFrame
    """Rows of the modes that are drawn, with their `mode` ("2F2", high rays "2F2 high")."""
    left_out: int
    """Other modes within the limit that are not drawn."""


_ROUND_EARTH_KM = path.EARTH_RADIUS_KM
_ES_KM = 105.0  # height of sporadic E, as in the sky-wave equations


def rays_of(
    tx_lat_deg: float,
    tx_lon_deg: float,
    rx_lat_deg: float,
    rx_lon_deg: float,
    freq_khz: float,
    utc: Any,
    modes: pd.DataFrame,
    *,
    f107_sfu: float,
    title: str = "",
    most: int = 3,
    within_db: float = 30.0,
) -> RayPicture:
    """Trace the rays of the strongest modes of one circuit for :func:`rays`.

    Parameters
    ----------
    tx_lat_deg, tx_lon_deg, rx_lat_deg, rx_lon_deg, freq_khz, utc, f107_sfu
        As they were given to :func:`farhear.skywave.modes`; of a home the middle of its cell.
    modes
        What that function returned, strongest first; may be empty. Modes of the way round of the
        first are drawn.
    title
        The circuit in words.
    most
        So many modes at most, 1 to 3.
    within_db
        Of the strongest, 0 to 200. [dB]

    Returns
    -------
    RayPicture

    Raises
    ------
    InputError
        On more than one instant, a number out of range, a table without the columns of modes.

    Notes
    -----
    Each hop has the monthly median layers of its own middle; its ray is the one of
    :func:`farhear.rays.trace` that lands after an equal share of the way. Its elevation may be some
    degrees off the one in `modes`, which is a mean over the hops, read from a coarser curve.
    Storms, and modes over both Es and F2, are not drawn.
    """
    for name, value, low, high in (("most", most, 1, 3), ("within_db", within_db, 0.0, 200.0)):
        if not low <= value <= high:
            raise InputError(f"{name} = {value:g} is outside [{low:g}, {high:g}]")
    when = to_utc(utc)
    if when.unix_s.size != 1 or not np.isfinite(when.unix_s).all():
        raise InputError("utc is not one instant")
    wanted = ["layer", "hops", "long_path", "field_dbuv_m"]
    if missing := [name for name in wanted if name not in modes]:
        raise InputError(f"modes has no column {', '.join(missing)}")
    four = (tx_lat_deg, tx_lon_deg, rx_lat_deg, rx_lon_deg)
    drawn, left_out = _chosen(modes, most, within_db)
    is_long = bool(len(drawn)) and bool(drawn["long_path"].iloc[0])
    short_km = float(path.sphere(*four).distance_km)
    whole_km = 2.0 * math.pi * _ROUND_EARTH_KM - short_km if is_long else max(short_km, 1.0)
    part = np.linspace(0.0, 1.0, 241)
    at = path.points(*four, part, long_path=is_long)
    along = ionosphere.median_layers(when, at.lat_deg, at.lon_deg, f107_sfu)
    layers = pd.DataFrame({"range_km": part * whole_km})
    for name in tracing.Layers._fields:
        layers[name] = np.broadcast_to(getattr(along, name), part.shape)
    top_km = 50.0 * math.ceil(float(layers["hmf2_km"].max()) / 50.0 + 0.5)
    height_km = np.arange(0.0, top_km + 1.0, 2.0)
    plasma = np.sqrt(np.maximum(tracing.plasma_mhz2(along, height_km[:, None]), 0.0))
    points = [
        _mode_points(four, is_long, whole_km, row, freq_khz / 1e3, when, f107_sfu)
        for row in drawn.to_dict("records")
    ]
    columns = ["mode", "hop", "carried", "range_km", "height_km"]
    table = pd.concat(points, ignore_index=True) if points else pd.DataFrame(columns=columns)
    return RayPicture(title, whole_km, layers, height_km, plasma, table, drawn, left_out)


def _chosen(modes: pd.DataFrame, most: int, within_db: float) -> tuple[pd.DataFrame, int]:
    """Modes to draw, strongest first, and how many others are as strong."""
    if modes.empty:
        return modes.assign(mode=pd.Series(dtype="str")), 0
    first = modes.iloc[0]
    strong = modes[
        (modes["field_dbuv_m"] >= first["field_dbuv_m"] - within_db)
        & (modes["long_path"] == first["long_path"])
    ]
    single = strong[strong["layer"].isin(["E", "F1", "F2", "Es"])]
    high = single["high_ray"] if "high_ray" in single else pd.Series(False, index=single.index)
    names = [
        f"{hops}{layer}{' high' if is_high else ''}"
        for hops, layer, is_high in zip(single["hops"], single["layer"], high, strict=True)
    ]
    drawn = single.assign(mode=names).drop_duplicates("mode")[:most].reset_index(drop=True)
    return drawn, len(strong) - len(drawn)


def _mode_points(
    four: tuple[float, float, float, float],
    is_long: bool,
    whole_km: float,
    mode: dict[Any, Any],
    freq_mhz: float,
    when: Any,
    f107_sfu: float,
) -> pd.DataFrame:
    """Points of one mode, hop after hop."""
    hops = int(mode["hops"])
    hop_km = whole_km / hops
    middle = path.points(*four, (np.arange(hops) + 0.5) / hops, long_path=is_long)
    layers = ionosphere.median_layers(when, middle.lat_deg, middle.lon_deg, f107_sfu)
    out = []
    for hop in range(hops):
        here = tracing.Layers(*(np.broadcast_to(one, hops)[hop] for one in layers))
        half = hop_half(here, freq_mhz, hop_km, str(mode["layer"]), bool(mode.get("high_ray")))
        range_km = np.concatenate([half[0], hop_km - half[0][-2::-1]])
        height_km = np.concatenate([half[1], half[1][-2::-1]])
        out.append(
            pd.DataFrame(
                {
                    "mode": mode["mode"],
                    "hop": hop + 1,
                    "carried": half[2],
                    "range_km": hop * hop_km + range_km,
                    "height_km": height_km,
                }
            )
        )
    return pd.concat(out, ignore_index=True)


def hop_half(
    layers: tracing.Layers, freq_mhz: float, hop_km: float, layer: str, high_ray: bool
) -> tuple[Floats, Floats, bool]:
    """First half of a hop.

    Parameters
    ----------
    layers
        One profile.
    freq_mhz, hop_km
        Frequency [MHz] and length of the hop on the ground [km].
    layer
        "E", "F1", "F2" or "Es".
    high_ray
        Of two rays that land there, the steeper.

    Returns
    -------
    range_km, height_km, carried
        Points from the ground to the top of the hop, and whether a ray lands there at all; if not,
        or for Es, the straight leg to a mirror.
    """
    if layer == "Es":
        return *_straight(0.5 * hop_km, _ES_KM), True
    region = {"E": 0, "F1": 1, "F2": 2}[layer]
    elevation = landing_elevation_deg(layers, freq_mhz, hop_km, region, high_ray)
    if elevation is None:
        has_f1 = float(np.ravel(layers.fof1_mhz)[0]) > 0.0
        region_name = "F2" if layer == "F1" and not has_f1 else layer
        turning = tracing.muf(layers, np.clip(hop_km, 1.0, 5000.0), region_name)
        return *_straight(0.5 * hop_km, float(turning.turning_km)), False
    range_km, height_km = ray_half(layers, freq_mhz, elevation)
    return range_km * (0.5 * hop_km / max(range_km[-1], 1e-9)), height_km, True


def landing_elevation_deg(
    layers: tracing.Layers, freq_mhz: float, hop_km: float, region: int, high_ray: bool
) -> float | None:
    """Elevation of the ray that lands at a distance, None where none does. [deg]"""
    grid = _elevations_deg(layers, freq_mhz, region)
    for _ in range(3):
        over = _over_km(layers, freq_mhz, grid, region) - hop_km
        ends = np.flatnonzero(over[:-1] * over[1:] <= 0.0)
        if not ends.size:
            return None
        at = ends[-1] if high_ray else ends[0]
        low, high = grid[at], grid[at + 1]
        share = over[at] / (over[at] - over[at + 1]) if over[at] != over[at + 1] else 0.0
        best = float(low + share * (high - low))
        grid = np.linspace(low, high, 41)
    return best


def _over_km(layers: tracing.Layers, freq_mhz: float, elevation_deg: Floats, region: int) -> Floats:
    """Ground range of rays that turn in a region, NaN for others. [km]"""
    found = tracing.trace(layers, freq_mhz, elevation_deg)
    return np.asarray(np.where(found.region == region, found.ground_range_km, np.nan))


def _elevations_deg(layers: tracing.Layers, freq_mhz: float, region: int) -> Floats:
    """Elevations to search, close together where a region stops turning rays. [deg]

    There the range of high rays grows without bound within a hundredth of a degree.
    """
    grid = np.linspace(0.0, 90.0, 721)
    turns = np.isfinite(_over_km(layers, freq_mhz, grid, region))
    out = [grid]
    for at in np.flatnonzero(turns[:-1] != turns[1:]):
        inside, outside = (grid[at], grid[at + 1]) if turns[at] else (grid[at + 1], grid[at])
        for _ in range(30):
            half = 0.5 * (inside + outside)
            if np.isfinite(_over_km(layers, freq_mhz, np.array([half]), region)[0]):
                inside = half
            else:
                outside = half
        side = -1.0 if turns[at] else 1.0  # where the region turns rays, seen from its edge
        out.append(np.clip(inside + side * np.geomspace(1e-7, 0.2, 60), 0.0, 90.0))
    return np.unique(np.concatenate(out))


def ray_half(
    layers: tracing.Layers, freq_mhz: float, elevation_deg: float, count: int = 120
) -> tuple[Floats, Floats]:
    """Ray from the ground up to where it turns: ground range and height. [km]

    Bouguer's rule for spherical layers, n r cos(elevation) the same all along the ray, with
    n^2 = 1 - (fN / f)^2. Steps shrink towards the turning point, where the ray runs flat.
    """
    top_km = float(tracing.trace(layers, freq_mhz, elevation_deg).turning_km)
    edge = np.linspace(1.0, 0.0, 16 * count + 1)
    u = 0.5 * (edge[1:] + edge[:-1])
    height = top_km * (1.0 - u**2)
    r_km = _ROUND_EARTH_KM + height
    index2 = 1.0 - tracing.plasma_mhz2(layers, height) / freq_mhz**2
    flat_km = _ROUND_EARTH_KM * math.cos(math.radians(elevation_deg))
    root = np.sqrt(np.maximum(index2 * r_km**2 - flat_km**2, 1e-6))
    step_km = _ROUND_EARTH_KM * flat_km / (r_km * root) * 2.0 * top_km * u / u.size
    range_km = np.concatenate([[0.0], np.cumsum(step_km)])
    keep = np.arange(0, edge.size, 16)
    return range_km[keep], top_km * (1.0 - edge[keep] ** 2)


def _straight(half_km: float, mirror_km: float) -> tuple[Floats, Floats]:
    """Straight leg on the round Earth, seen over a ground drawn straight. [km]"""
    share = np.linspace(0.0, 1.0, 49)
    angle = half_km / _ROUND_EARTH_KM
    top = _ROUND_EARTH_KM + mirror_km
    across, up = share * top * math.sin(angle), (1.0 - share) * _ROUND_EARTH_KM
    up = up + share * top * math.cos(angle)
    return _ROUND_EARTH_KM * np.arctan2(across, up), np.hypot(across, up) - _ROUND_EARTH_KM


def rays(drawn: RayPicture, *, ax: Axes | None = None) -> Axes:
    """Draw the rays of a circuit: height over the way on the ground.

    Parameters
    ----------
    drawn
        From :func:`rays_of`.
    ax
        Axes to draw in; None makes an A5 figure.

    Returns
    -------
    Axes
        Kilometres on the ground across, height upward. The ground is drawn straight, so a straight
        ray looks bent upward. Shade for the plasma frequency up to the F2 peak; thin lines at the
        peaks of E, F1 and F2; where there is no F1 layer its line has a gap.
    """
    with mpl.rc_context(_style.RC):
        axis = _style.axes_in(ax, (0.075, 0.245, 0.86, 0.68))
        _draw_layers(axis, drawn)
        for number, row in enumerate(drawn.modes.to_dict("records")):
            _draw_mode(axis, drawn, row, number)
        for at, word, side in ((0.0, "transmitter", "left"), (1.0, "home", "right")):
            axis.plot(
                at * drawn.distance_km,
                0.0,
                "^" if side == "left" else "s",
                ms=8.0,
                mfc=_style.INK if side == "left" else "white",
                mec=_style.INK,
                mew=1.4,
                clip_on=False,
                zorder=6.0,
            )
            axis.text(
                at,
                -0.062,
                word,
                transform=axis.transAxes,
                ha=side,
                va="top",
                fontsize=8.0,
                fontweight="bold",
            )
        axis.set_xlim(0.0, max(drawn.distance_km, 1.0))
        axis.set_ylim(0.0, float(drawn.height_km[-1]))
        axis.set_ylabel("height, km")
        axis.set_xlabel("way on the ground, km", labelpad=4.0)
        axis.xaxis.set_major_formatter(lambda x, _: f"{x:,.0f}")
        axis.set_title(
            f"Rays: {drawn.title}" if drawn.title else "Rays of a circuit", loc="left", pad=6.0
        )
        if drawn.modes.empty:
            _style.empty(axis, "no mode carries this circuit")
        else:
            axis.legend(
                loc="upper left",
                bbox_to_anchor=(-0.01, -0.125),
                ncols=3,
                frameon=False,
                fontsize=7.5,
                handlelength=3.4,
                columnspacing=1.4,
                borderaxespad=0.0,
            )
        _style.note(axis, _rays_note(drawn), 0.195)
        return axis


def _draw_layers(axis: Axes, drawn: RayPicture) -> None:
    range_km = drawn.layers["range_km"].to_numpy()
    shade = np.where(drawn.plasma_mhz > 0.0, drawn.plasma_mhz, np.nan)
    most = max(float(np.nanmax(drawn.plasma_mhz)), 0.1)
    if range_km[-1] > 0.0:
        mesh = axis.pcolormesh(
            range_km,
            drawn.height_km,
            shade,
            cmap=_SHADES,
            vmin=0.0,
            vmax=most,
            shading="nearest",
            rasterized=True,
            zorder=1.0,
        )
        figure = axis.get_figure(root=True)
        if figure is not None:
            bar = axis.inset_axes((1.012, 0.0, 0.013, 1.0))
            figure.colorbar(mesh, cax=bar)
            bar.set_ylabel("plasma frequency, MHz", fontsize=7.0, labelpad=2.0)
            bar.tick_params(length=2.0, pad=1.0, labelsize=6.5)
    for name, critical in (("E", "foe_mhz"), ("F1", "fof1_mhz"), ("F2", "fof2_mhz")):
        there = drawn.layers[critical].to_numpy() > 0.0
        peak = np.where(there, drawn.layers[f"hm{name.lower()}_km"].to_numpy(), np.nan)
        if not there.any():
            continue
        axis.plot(range_km, peak, color=_style.INK, lw=0.6, ls=(0, (1.0, 1.6)), zorder=2.0)
        at = int(np.flatnonzero(there)[0])
        axis.annotate(
            f"{name} peak",
            (range_km[at], peak[at]),
            xytext=(4.0, 1.5),
            textcoords="offset points",
            fontsize=7.5,
            color=_style.INK,
            path_effects=_style.halo(2.0),
            zorder=5.0,
        )


_SHADES = mpl.colors.LinearSegmentedColormap.from_list("shades", ["#FFFFFF", "#9DB2C4"])


def _draw_mode(axis: Axes, drawn: RayPicture, row: dict[Any, Any], number: int) -> None:
    """Rays of one mode; hops that the layers do not carry are drawn thin."""
    part = drawn.points[drawn.points["mode"] == row["mode"]]
    colour, dash = _style.SERIES[number], _style.DASHES[number]
    label = f"{row['mode']}: {_field(row)}" + ("" if part["carried"].all() else " (thin)")
    for hop, leg in part.groupby("hop"):
        x, y = leg["range_km"].to_numpy(), leg["height_km"].to_numpy()
        carried = bool(leg["carried"].iloc[0])
        axis.plot(
            x,
            y,
            color=colour,
            ls=dash,
            lw=1.8 if carried else 0.8,
            path_effects=_style.halo(3.6 if carried else 2.2),
            label=label if hop == 1 else None,
            marker=_style.MARKS[number],
            markevery=[int(np.argmax(y))],
            ms=5.5,
            mfc="white",
            mew=1.2,
            zorder=4.0 - 0.1 * number,
        )


def _field(row: dict[Any, Any]) -> str:
    elevation = max(float(row.get("elevation_deg", math.nan)), 0.0)
    return f"{row['field_dbuv_m']:.0f} dB(uV/m), leaves at {elevation:.0f} deg"


def _rays_note(drawn: RayPicture) -> str:
    lines = [
        "Monthly median layers; each hop goes through those in its middle. Mark: top of a hop. "
        "Angles: from the list of modes, mean of the hops.",
        "The ground is drawn straight: a straight ray looks bent upward. Heights are not to the "
        "scale of the ground. No shade above the F2 peak.",
    ]
    if len(drawn.points) and not drawn.points["carried"].all():
        lines.append("Thin: no ray lands there on the median day; straight legs to a mirror.")
    if drawn.left_out:
        lines.append(f"Not drawn: {drawn.left_out} other modes.")
    return "\n".join(lines)


def rays_alt(drawn: RayPicture) -> str:
    """Say in words what :func:`rays` shows."""
    start = f"Rays of {drawn.title}" if drawn.title else "Rays"
    start += f" over {_style.grouped(drawn.distance_km)} km of ground"
    if drawn.modes.empty:
        return f"{start}: no mode carries this circuit."
    parts = []
    for row in drawn.modes.to_dict("records"):
        part = drawn.points[drawn.points["mode"] == row["mode"]]
        tops = part.groupby("hop")["height_km"].max()
        thin = "" if part["carried"].all() else ", not carried on the median day"
        parts.append(
            f"{row['mode']} turns at {tops.min():.0f} to {tops.max():.0f} km, {_field(row)}{thin}"
        )
    return f"{start}: {'; '.join(parts)}."


def rays_data(drawn: RayPicture) -> pd.DataFrame:
    """Table of what :func:`rays` draws.

    Returns
    -------
    DataFrame
        One row a point: `part` (the mode, or "E peak", "F1 peak", "F2 peak"), `hop` (0 for a
        peak), `carried`, `range_km`, `height_km`, `critical_mhz` (of a peak; NaN for a ray). Peaks
        of an absent layer are left out. [km, MHz]
    """
    parts = []
    for name in ("E", "F1", "F2"):
        critical = drawn.layers[f"fo{name.lower()}_mhz"]
        there = critical > 0.0
        parts.append(
            pd.DataFrame(
                {
                    "part": f"{name} peak",
                    "hop": 0,
                    "carried": True,
                    "range_km": drawn.layers["range_km"],
                    "height_km": drawn.layers[f"hm{name.lower()}_km"],
                    "critical_mhz": critical,
                }
            )[there]
        )
    if len(drawn.points):
        parts.append(drawn.points.rename(columns={"mode": "part"}).assign(critical_mhz=np.nan))
    kept = [part for part in parts if len(part)]
    return pd.concat(kept, ignore_index=True).astype({"hop": np.int64, "carried": np.bool_})

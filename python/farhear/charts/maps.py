"""Maps: where it is day and night on a circuit's way, and what lies in which direction from home.

.. caution:: A map that is centred on a home tells where the listener lives. Both maps take the home
   as a locator of two or four characters and refuse a finer one: what is drawn, said or written
   into a file comes from the middle of that cell.

The outline of land is good for a small map, not for telling land from sea within some 50 km.
"""

from __future__ import annotations

import itertools
import json
import math
from collections.abc import Sequence
from functools import cache
from typing import TYPE_CHECKING, Any, NamedTuple

import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib.patches import PathPatch, Polygon
from matplotlib.path import Path as Shape

from farhear import _data, sun
from farhear import path as earth
from farhear.charts import _style
from farhear.errors import InputError
from farhear.times import utc as to_utc

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    from farhear._arrays import Floats

__all__ = [
    "ANTIPODE_KM",
    "HEIGHTS_KM",
    "DayNight",
    "around_home",
    "around_home_alt",
    "around_home_data",
    "around_home_of",
    "centred",
    "day_night",
    "day_night_alt",
    "day_night_data",
    "day_night_of",
]

HEIGHTS_KM = (0.0, 110.0, 300.0)
"""Heights of the terminators: the ground, the E layer, the F2 layer. [km]"""
ANTIPODE_KM = 20003.93
"""Distance of the antipode on WGS84, half a meridian. [km] Source: quarter meridian 10001.966 km,
common in geodesy texts; :func:`farhear.path.inverse` gives the same."""

_TERMINATOR_DASHES: tuple[Any, ...] = ("-", (0, (5.0, 1.8)), (0, (1.2, 1.4)))
_NIGHT = ("#000000", 0.13)  # colour and share of each of the tones laid over each other
_RING_KM = 2000.0
_LISTED = 24


# Both maps --------------------------------------------------------------------------------------


def _cell(home: str) -> earth.Locator:
    """Centre and half size of the home's cell; refuses what says too much."""
    cell = earth.from_locator(home)
    if not np.isfinite(cell.lat_deg):
        raise InputError("home is empty, expected a locator of two or four characters")
    if len(home.strip()) > 4:
        raise InputError(
            f"home has {len(home.strip())} characters; a map takes two or four, so that it does "
            "not tell where the listener lives"
        )
    return cell


@cache
def _land() -> tuple[tuple[Floats, ...], ...]:
    """Rings of each polygon of the shipped outline, columns longitude and latitude. [deg]"""
    found = json.loads(_data.read_text("world", "land.geojson"))["features"]
    return tuple(
        tuple(np.array(ring, dtype=np.float64) for ring in one["geometry"]["coordinates"])
        for one in found
    )


def _coast(ring: Floats) -> Floats:
    """Ring with NaN where its sides are cuts of the data set: at 180 degrees and along 90 S."""
    cut = np.abs(ring[:, 0]) >= 180.0
    cut |= ring[:, 1] <= -89.99
    both = np.flatnonzero(cut[:-1] & cut[1:]) + 1
    return np.insert(ring, both, np.nan, axis=0)


def _dense(ring: Floats, step_deg: float) -> Floats:
    """Ring with points put in, so that no side is longer than a step."""
    sides = np.maximum(np.ceil(np.abs(np.diff(ring, axis=0)).max(axis=1) / step_deg), 1.0)
    at = np.concatenate(
        [i + np.arange(n) / n for i, n in enumerate(sides.astype(int))] + [[len(ring) - 1.0]]
    )
    order = np.arange(len(ring))
    return np.column_stack([np.interp(at, order, ring[:, k]) for k in range(2)])


def _compound(rings: Sequence[Floats]) -> Shape:
    """One shape of closed rings; holes run the other way round."""
    codes = [[Shape.MOVETO] + [Shape.LINETO] * (len(r) - 2) + [Shape.CLOSEPOLY] for r in rings]
    return Shape(np.concatenate(list(rings)), np.concatenate(codes).astype(np.uint8))


def _place(lat_deg: float, lon_deg: float) -> str:
    """A place in words, to 0.1 degree."""
    north, east = "N" if lat_deg >= 0.0 else "S", "E" if lon_deg >= 0.0 else "W"
    return f"{abs(lat_deg):.1f}{north} {abs(lon_deg):.1f}{east}"


# Day and night ----------------------------------------------------------------------------------


class DayNight(NamedTuple):
    """What :func:`day_night` draws."""

    utc: str
    """The instant, ISO 8601."""
    ends: pd.DataFrame
    """`what` ("transmitter", "home"), `name`, `lat_deg`, `lon_deg`, `sun_deg` (elevation of the
    sun), `sun_text` (rise and set of the UTC day). None, one or two rows."""
    lines: pd.DataFrame
    """`line` ("terminator 0 km", ..., "short way", "long way"), `order`, `lat_deg`, `lon_deg`."""
    points: pd.DataFrame
    """`what` ("sun overhead", "ground point", "control point"), `number`, `lat_deg`, `lon_deg`."""
    distance_km: tuple[float, float]
    """Length of the short and the long way on the sphere, NaN without a circuit. [km]"""
    hops: int | None
    """Hops that the points belong to, 0 where no mode carries; None: modes were not given."""
    long_path: bool
    """The points lie on the long way."""


def day_night_of(
    utc: Any,
    *,
    home: str | None = None,
    tx_lat_deg: float = math.nan,
    tx_lon_deg: float = math.nan,
    site: str = "transmitter",
    modes: pd.DataFrame | None = None,
) -> DayNight:
    """Work out terminators, great circle and hop points for :func:`day_night`.

    Parameters
    ----------
    utc
        One instant, whatever :func:`farhear.utc` accepts.
    home
        Locator of the home's cell, two or four characters; None: no home.
    tx_lat_deg, tx_lon_deg
        Transmitter; NaN: none. With both ends the great circle is drawn. [deg]
    site
        Name of the transmitter's site.
    modes
        From :func:`farhear.skywave.modes` for this circuit: the first row, the strongest mode,
        gives the number of hops and the way round. None or empty: no hop points.

    Returns
    -------
    DayNight
        Ways are great circles on the sphere of the sky-wave equations, 181 points each.

    Raises
    ------
    InputError
        On more than one instant, a place out of range, a locator of more than four characters.
    """
    when = to_utc(utc)
    if when.unix_s.size != 1 or not np.isfinite(when.unix_s).all():
        raise InputError("utc is not one instant")
    ends = []
    if np.isfinite(tx_lat_deg) and np.isfinite(tx_lon_deg):
        ends.append(("transmitter", site, float(tx_lat_deg), float(tx_lon_deg)))
    if home is not None:
        cell = _cell(home)
        ends.append(("home", home.strip(), float(cell.lat_deg), float(cell.lon_deg)))
    lines = [
        _line(f"terminator {height:g} km", *sun.terminator(when, height, 721))
        for height in HEIGHTS_KM
    ]
    hops, is_long, distances = None if modes is None else 0, False, (math.nan, math.nan)
    points = _overhead(when)
    if len(ends) == 2:
        four = (ends[0][2], ends[0][3], ends[1][2], ends[1][3])
        part = np.linspace(0.0, 1.0, 181)
        lines += [
            _line(f"{name} way", *earth.points(*four, part, long_path=name == "long"))
            for name in ("short", "long")
        ]
        short_km = float(earth.sphere(*four).distance_km)
        distances = (short_km, 2.0 * math.pi * earth.EARTH_RADIUS_KM - short_km)
        if modes is not None and len(modes):
            hops, is_long = int(modes["hops"].iloc[0]), bool(modes["long_path"].iloc[0])
            hop_points = _hop_points(four, hops, is_long)
            points = pd.concat([points, hop_points], ignore_index=True)
    return DayNight(
        _iso(when),
        _ends(when, ends),
        pd.concat(lines, ignore_index=True),
        points,
        distances,
        hops,
        is_long,
    )


def _iso(when: Any) -> str:
    seconds = np.round(when.unix_s.reshape(-1)[0])
    return f"{np.datetime64(int(seconds), 's')}Z"


def _line(name: str, lat_deg: Floats, lon_deg: Floats) -> pd.DataFrame:
    lat, lon = np.ravel(lat_deg), np.ravel(lon_deg)
    order = np.arange(lat.size)
    return pd.DataFrame({"line": name, "order": order, "lat_deg": lat, "lon_deg": lon})


def _overhead(when: Any) -> pd.DataFrame:
    at = sun.subsolar(when)
    lat, lon = np.ravel(at.lat_deg), np.ravel(at.lon_deg)
    return pd.DataFrame({"what": "sun overhead", "number": 0, "lat_deg": lat, "lon_deg": lon})


def _hop_points(four: tuple[float, float, float, float], hops: int, is_long: bool) -> pd.DataFrame:
    """Ground between hops, and the middle of each hop, whose ionosphere the hop meets."""
    ground, control = np.arange(1, hops) / hops, (np.arange(hops) + 0.5) / hops
    at = earth.points(*four, np.concatenate([ground, control]), long_path=is_long)
    return pd.DataFrame(
        {
            "what": ["ground point"] * ground.size + ["control point"] * control.size,
            "number": [*range(1, hops), *range(1, hops + 1)],
            "lat_deg": at.lat_deg,
            "lon_deg": at.lon_deg,
        }
    )


def _ends(when: Any, ends: Sequence[tuple[str, str, float, float]]) -> pd.DataFrame:
    """Both ends with the sun at each."""
    rows = []
    for what, name, lat, lon in ends:
        zenith = float(np.ravel(sun.position(when, lat, lon).zenith_deg)[0])
        rows.append((what, name, lat, lon, 90.0 - zenith, _sun_text(_iso(when)[:10], lat, lon)))
    columns = ["what", "name", "lat_deg", "lon_deg", "sun_deg", "sun_text"]
    return pd.DataFrame(rows, columns=columns)


def _sun_text(date: str, lat_deg: float, lon_deg: float) -> str:
    """Rise and set of a UTC day in words."""
    day = sun.events(date, lat_deg, lon_deg, None)
    state = str(day.state)
    if state != "happens":
        return {"always above": "up all day", "always below": "down all day"}.get(state, state)
    parts = []
    for word, time in (("rises", day.rise_utc), ("sets", day.set_utc)):
        seconds = float(np.ravel(time.unix_s)[0])
        if np.isfinite(seconds):
            parts.append(f"{word} {str(np.datetime64(round(seconds / 60.0) * 60, 's'))[11:16]}")
    return ", ".join(parts)


def unrolled(lat_deg: Floats, lon_deg: Floats) -> Floats:
    """Line without a jump at the date line: columns longitude (beyond +-180 if need be), latitude.

    A line that passes exactly over a pole runs along the map's edge from one meridian to the other.
    """
    lon = np.unwrap(lon_deg, period=360.0)
    over = np.flatnonzero(np.abs(np.abs(np.diff(lon)) - 180.0) < 1e-3) + 1
    pole = np.copysign(90.0, lat_deg[over - 1])
    lat = np.insert(lat_deg, np.repeat(over, 2), np.repeat(pole, 2))
    lon = np.insert(lon, np.repeat(over, 2), np.ravel(np.column_stack([lon[over - 1], lon[over]])))
    return np.column_stack([lon, lat])


def split(lat_deg: Floats, lon_deg: Floats) -> Floats:
    """Line cut at 180 degrees: columns longitude and latitude, a row of NaN at every cut.

    The point on the edge is put in on both sides.
    """
    line = unrolled(lat_deg, lon_deg)
    pieces = []
    for turn in range(int(line[:, 0].min() // 360.0) - 1, int(line[:, 0].max() // 360.0) + 2):
        here = line - np.array([360.0 * turn, 0.0])
        pieces += _within(here)
    gap = np.full((1, 2), np.nan)
    if not pieces:  # a line of no length
        return gap
    return np.concatenate([part for piece in pieces for part in (piece, gap)][:-1])


def _within(line: Floats) -> list[Floats]:
    """Pieces of a line between 180 W and 180 E, with the points on the edges."""
    out: list[list[Floats]] = []
    for a, b in itertools.pairwise(line):
        inside = [t for t in (0.0, 1.0) if abs((a + t * (b - a))[0]) <= 180.0]
        if b[0] != a[0]:
            inside += [t for e in (-180.0, 180.0) if 0.0 < (t := (e - a[0]) / (b[0] - a[0])) < 1.0]
        if len(inside) < 2:
            continue
        first, last = a + min(inside) * (b - a), a + max(inside) * (b - a)
        if not out or not np.array_equal(out[-1][-1], first):
            out.append([first])
        out[-1].append(last)
    return [np.array(piece) for piece in out if not np.allclose(piece[0], piece[-1], atol=1e-9)]


def night_shapes(lat_deg: Floats, lon_deg: Floats, dark_pole: float) -> list[Floats]:
    """Dark side of a terminator as polygons on a map from 180 W to 180 E.

    Parameters
    ----------
    lat_deg, lon_deg
        Closed line of one terminator, shape (n,). [deg]
    dark_pole
        90 or -90: the pole in the dark, where the line goes round one. [deg]

    Returns
    -------
    list of float arrays of shape (m, 2)
        Longitude and latitude, beyond +-180 if need be: three copies, a turn apart. [deg]
    """
    line = unrolled(lat_deg, lon_deg)
    if abs(line[-1, 0] - line[0, 0]) > 180.0:
        line = np.concatenate([line, [[line[-1, 0], dark_pole], [line[0, 0], dark_pole]]])
    return [line + np.array([360.0 * turn, 0.0]) for turn in (-1, 0, 1)]


def day_night(drawn: DayNight, *, ax: Axes | None = None) -> Axes:
    """Draw day, night and a circuit on a map of the world.

    Parameters
    ----------
    drawn
        From :func:`day_night_of`.
    ax
        Axes to draw in; None makes an A5 figure.

    Returns
    -------
    Axes
        Longitude across and latitude upward, both in degrees. Night on the ground is toned and
        hatched; the tone deepens where it is night at 110 km and at 300 km too. The short way is
        whole, the long way dashed.
    """
    with mpl.rc_context(_style.RC):
        axis = _style.axes_in(ax, (0.05, 0.20, 0.925, 0.765))
        _world(axis)
        for name, part in drawn.lines.groupby("line", sort=False):
            lat, lon = part["lat_deg"].to_numpy(), part["lon_deg"].to_numpy()
            if str(name).startswith("terminator"):
                _night(axis, str(name), lat, lon, drawn.utc)
            else:
                _way(axis, str(name), split(lat, lon))
        _map_points(axis, drawn)
        _map_ends(axis, drawn.ends)
        axis.set_title(_day_night_title(drawn), loc="left", pad=6.0)
        axis.legend(
            loc="upper left",
            bbox_to_anchor=(0.0, -0.065),
            ncols=4,
            frameon=False,
            fontsize=7.5,
            handlelength=3.2,
            borderaxespad=0.0,
            columnspacing=1.6,
        )
        _style.note(axis, _day_night_note(drawn), 0.20)
        return axis


def _world(axis: Axes) -> None:
    for rings in _land():
        shape = _compound(rings)
        axis.add_patch(PathPatch(shape, facecolor=_style.LAND, edgecolor="none", zorder=1))
        for ring in rings:
            axis.plot(*_coast(ring).T, color=_style.COAST, lw=0.45, zorder=1.1)
    axis.set_xlim(-180.0, 180.0)
    axis.set_ylim(-90.0, 90.0)
    axis.set_aspect("equal", adjustable="box")
    axis.set_xticks(range(-180, 181, 60))
    axis.set_yticks(range(-90, 91, 30))
    axis.set_xticklabels([f"{abs(x)}{'W' if x < 0 else 'E' if x else ''}" for x in _TURN])
    axis.set_yticklabels([f"{abs(y)}{'S' if y < 0 else 'N' if y else ''}" for y in _UP])
    axis.tick_params(length=2.0, pad=2.0)
    axis.grid(color=_style.GRID, lw=0.3, zorder=1.2)
    axis.set_axisbelow(False)


_TURN, _UP = range(-180, 181, 60), range(-90, 91, 30)


def _night(axis: Axes, name: str, lat: Floats, lon: Floats, utc: str) -> None:
    """One terminator: the tone of its dark side, hatching for the ground, the line, its label."""
    number = [f"terminator {height:g} km" for height in HEIGHTS_KM].index(name)
    dark = -90.0 if float(sun.subsolar(utc).lat_deg) >= 0.0 else 90.0
    colour, share = _NIGHT
    for shape in night_shapes(lat, lon, dark):
        if shape[:, 0].max() < -180.0 or shape[:, 0].min() > 180.0:
            continue
        axis.add_patch(Polygon(shape, facecolor=colour, alpha=share, edgecolor="none", zorder=2.0))
        if number == 0:
            hatched = Polygon(
                shape,
                facecolor="none",
                edgecolor="#8A8A8A",
                linewidth=0.0,
                hatch=_style.HATCHES["night"],
                zorder=2.1,
            )
            axis.add_patch(hatched)
    words = ("sunset or sunrise on the ground", "at 110 km", "at 300 km")
    axis.plot(
        *split(lat, lon).T,
        color=_style.INK,
        ls=_TERMINATOR_DASHES[number],
        lw=1.0,
        zorder=2.5,
        label=words[number],
    )


def _way(axis: Axes, name: str, line: Floats) -> None:
    axis.plot(
        *line.T,
        color=_style.WAY,
        lw=2.0,
        ls="-" if name == "short way" else (0, (3.5, 1.6)),
        path_effects=_style.halo(3.4),
        zorder=4.0,
        label=name,
    )


def _map_points(axis: Axes, drawn: DayNight) -> None:
    look = {
        "sun overhead": ("*", "white", 11.0),
        "ground point": ("o", "white", 4.6),
        "control point": ("D", _style.WAY, 4.6),
    }
    words = {
        "sun overhead": "sun overhead",
        "ground point": "ground between hops",
        "control point": "middle of a hop",
    }
    for what, part in drawn.points.groupby("what", sort=False):
        marker, fill, size = look[str(what)]
        axis.plot(
            part["lon_deg"],
            part["lat_deg"],
            marker,
            ms=size,
            mfc=fill,
            mec=_style.INK,
            mew=0.9,
            clip_on=False,
            zorder=5.0,
            label=words[str(what)],
        )


def _map_ends(axis: Axes, ends: pd.DataFrame) -> None:
    """Both ends with their names; where they coincide nearly, one name above the other."""
    for number, row in enumerate(ends.to_dict("records")):
        is_home = row["what"] == "home"
        lon = (row["lon_deg"] + 180.0) % 360.0 - 180.0
        axis.plot(
            lon,
            row["lat_deg"],
            "s" if is_home else "^",
            ms=6.5,
            mfc="white" if is_home else _style.INK,
            mec=_style.INK,
            mew=1.4,
            clip_on=False,
            zorder=6.0,
        )
        right = lon > 110.0
        low = row["lat_deg"] > 75.0 or (not is_home and row["lat_deg"] < 75.0 and number == 0)
        axis.annotate(
            f"home cell {row['name']}" if is_home else row["name"],
            (lon, row["lat_deg"]),
            xytext=(-6.0 if right else 6.0, -6.0 if low else 6.0),
            textcoords="offset points",
            ha="right" if right else "left",
            va="top" if low else "bottom",
            fontsize=8.5,
            fontweight="bold",
            color=_style.INK,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.2},
            zorder=7.0,
        )


def _stamp(utc: str) -> str:
    return f"{utc[:10]} {utc[11:16]} UTC"


def _day_night_title(drawn: DayNight) -> str:
    title = f"Day and night at {_stamp(drawn.utc)}"
    if len(drawn.ends) == 2:
        short_km = _style.grouped(drawn.distance_km[0])
        title += f": {drawn.ends['name'].iloc[0]} to cell {drawn.ends['name'].iloc[1]}, "
        title += f"{short_km} km"
    return title


def _sun_sentence(row: dict[Any, Any]) -> str:
    where = f"home cell {row['name']}" if row["what"] == "home" else str(row["name"])
    side = "above" if row["sun_deg"] >= 0.0 else "below"
    return f"{where}: sun {abs(row['sun_deg']):.0f} deg {side} the horizon; {row['sun_text']}"


def _hops_text(drawn: DayNight, none: str) -> str:
    """What is known of hops, after a comma."""
    if drawn.hops is None:
        return ""
    way = "long" if drawn.long_path else "short"
    many = "s" if drawn.hops > 1 else ""
    return f", {drawn.hops} hop{many} on the {way} way" if drawn.hops else f", {none}"


def _day_night_note(drawn: DayNight) -> str:
    texts = [_sun_sentence(row) for row in drawn.ends.to_dict("records")]
    lines = ["  |  ".join(texts) + " (UTC)"] if texts else []
    if len(drawn.ends) == 2:
        short_km, long_km = (_style.grouped(km) for km in drawn.distance_km)
        said = _hops_text(drawn, "no mode, so no hop points")
        lines.append(f"Short way {short_km} km, long way {long_km} km{said}.")
    lines.append("Hatched: night on the ground; darker: night at 110 km too; darkest: at 300 km.")
    return "\n".join(lines)


def day_night_alt(drawn: DayNight) -> str:
    """Say in words what :func:`day_night` shows."""
    text = f"World map with day and night at {_stamp(drawn.utc)} on the ground, at 110 and 300 km."
    parts = [_sun_sentence(row) for row in drawn.ends.to_dict("records")]
    if len(drawn.ends) == 2:
        short_km, long_km = (_style.grouped(km) for km in drawn.distance_km)
        said = _hops_text(drawn, "no mode")
        parts.append(f"short way {short_km} km, long way {long_km} km{said}")
    return f"{text} {'; '.join(parts)}." if parts else text


def day_night_data(drawn: DayNight) -> pd.DataFrame:
    """Table of what :func:`day_night` draws.

    Returns
    -------
    DataFrame
        One row a point: `part` (the line, "transmitter", "home", "ground point", "control point"
        or "sun overhead"), `number` (place along the line or number of the point, from 0 or 1),
        `lat_deg`, `lon_deg`. [deg]
    """
    lines = drawn.lines.rename(columns={"line": "part", "order": "number"})
    ends = drawn.ends.rename(columns={"what": "part"}).assign(number=0)
    points = drawn.points.rename(columns={"what": "part"})
    columns = ["part", "number", "lat_deg", "lon_deg"]
    found = [table[columns] for table in (lines, ends, points) if len(table)]
    return pd.concat(found, ignore_index=True).astype({"number": np.int64})


# Around home ------------------------------------------------------------------------------------


def centred(
    home_lat_deg: float, home_lon_deg: float, lat_deg: Any, lon_deg: Any
) -> tuple[Floats, Floats]:
    """Places on the azimuthal-equidistant map of a home: distance and direction true from there.

    Parameters
    ----------
    home_lat_deg, home_lon_deg
        Middle of the map. [deg]
    lat_deg, lon_deg
        Places, any shape that broadcasts. [deg]

    Returns
    -------
    x_km, y_km
        East and north of the middle, broadcast shape. [km] On WGS84, by
        :func:`farhear.path.inverse`; the antipode itself, which is the whole rim, comes to lie
        where that function's convention puts it.
    """
    line = earth.inverse(home_lat_deg, home_lon_deg, lat_deg, lon_deg)
    azimuth_rad = np.radians(line.azimuth_deg)
    return (
        np.asarray(line.distance_km * np.sin(azimuth_rad)),
        np.asarray(line.distance_km * np.cos(azimuth_rad)),
    )


def around_home_of(schedule: pd.DataFrame, home: str) -> pd.DataFrame:
    """Work out distance, bearing and beams of the transmitters of a schedule.

    Parameters
    ----------
    schedule
        Rows of the frame of a :class:`farhear.Schedule`, for example those on the air: columns
        tx_lat_deg, tx_lon_deg, and if there are site, azimuth_deg, beams_deg.
    home
        Locator of the home's cell, two or four characters.

    Returns
    -------
    DataFrame
        One row a site and beam, clockwise from north: `home`, `number` (of the site, from 1),
        `site`, `tx_lat_deg`, `tx_lon_deg`, `distance_km` and `bearing_deg` (from home to the
        site, WGS84), `beam_deg` (azimuth of the beam at the site, NaN: none), `off_beam_deg`
        (between that beam and the direction home, 0 to 180; NaN: none). Without rows where the
        schedule has none.

    Raises
    ------
    InputError
        On a missing column, a place out of range, a locator of more than four characters.
    """
    missing = [name for name in ("tx_lat_deg", "tx_lon_deg") if name not in schedule]
    if missing:
        raise InputError(f"schedule has no column {', '.join(missing)}")
    cell = _cell(home)
    rows = _site_beams(schedule)
    line = earth.inverse(cell.lat_deg, cell.lon_deg, rows["tx_lat_deg"], rows["tx_lon_deg"])
    turn_deg = rows["beam_deg"] - line.back_azimuth_deg
    out = rows.assign(
        home=home.strip(),
        distance_km=line.distance_km,
        bearing_deg=line.azimuth_deg,
        off_beam_deg=np.abs((turn_deg + 180.0) % 360.0 - 180.0),
    )
    out = out.sort_values(["bearing_deg", "distance_km", "site", "beam_deg"], ignore_index=True)
    key = out[["site", "tx_lat_deg", "tx_lon_deg"]].apply(tuple, axis=1)
    out["number"] = pd.factorize(key)[0].astype(np.int64) + 1
    columns = ["home", "number", "site", "tx_lat_deg", "tx_lon_deg", "distance_km"]
    return out[[*columns, "bearing_deg", "beam_deg", "off_beam_deg"]]


def _site_beams(schedule: pd.DataFrame) -> pd.DataFrame:
    """Sites with each of their beams once."""
    found = set()
    for row in schedule.to_dict("records"):
        lat, lon = float(row["tx_lat_deg"]), float(row["tx_lon_deg"])
        site = row.get("site")
        name = site if isinstance(site, str) and site else _place(lat, lon)
        text = row.get("beams_deg")
        azimuth = row.get("azimuth_deg", math.nan)
        beams: list[Any] = text.split("/") if isinstance(text, str) and text else [azimuth]
        found |= {(name, lat, lon, None if pd.isna(one) else float(one)) for one in beams}
    plain = sorted(found, key=lambda one: (*one[:3], -1.0 if one[3] is None else one[3]))
    frame = pd.DataFrame(plain, columns=["site", "tx_lat_deg", "tx_lon_deg", "beam_deg"])
    numbers = dict.fromkeys(["tx_lat_deg", "tx_lon_deg", "beam_deg"], "float64")
    return frame.astype({"site": "str", **numbers})


def around_home(
    places: pd.DataFrame,
    home: str,
    *,
    reach_km: float | None = None,
    width_deg: float = 40.0,
    beam_km: float | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw the world as it lies around home, and where the transmitters send.

    Parameters
    ----------
    places
        From :func:`around_home_of`; may be empty.
    home
        Locator of the home's cell, two or four characters.
    reach_km
        Distance at the rim, 1,000 to 20,003.93; what is farther is counted beside the map. None:
        the next 2,000 km beyond the farthest transmitter, the whole world from 18,000 on and
        without any. [km]
    width_deg
        Width of a beam as drawn; a beam within half of it of the direction home is filled. 40 is
        common practice for curtain arrays, no source. [deg]
    beam_km
        Length of a beam as drawn, 100 to 5,000; None: a ninth of the reach. [km]
    ax
        Axes to draw in; None makes an A5 figure.

    Returns
    -------
    Axes
        Kilometres east and north of the middle of the cell. Rings every 2,000 km and bearings are
        true from there; a beam is drawn at its transmitter, in the direction that it has there.

    Raises
    ------
    InputError
        On a number out of range or a locator of more than four characters.
    """
    reach_km = _reach_km(places) if reach_km is None else reach_km
    beam_km = max(reach_km / 9.0, 100.0) if beam_km is None else beam_km
    for name, value, low, high in (
        ("reach_km", reach_km, 1000.0, ANTIPODE_KM),
        ("width_deg", width_deg, 1.0, 180.0),
        ("beam_km", beam_km, 100.0, 5000.0),
    ):
        if not low <= value <= high:
            raise InputError(f"{name} = {value:g} is outside [{low:g}, {high:g}]")
    cell = _cell(home)
    middle = (float(cell.lat_deg), float(cell.lon_deg))
    with mpl.rc_context(_style.RC):
        axis = _style.axes_in(ax, (0.02, 0.075, 0.60, 0.835))
        _around_land(axis, middle, reach_km)
        near = places[places["distance_km"] <= reach_km + 0.01]
        where_deg = _clear_bearing_deg(near["bearing_deg"].to_numpy(dtype=np.float64))
        _rings(axis, reach_km, where_deg)
        hidden = _beams(axis, middle, near, width_deg, beam_km)
        _sites(axis, middle, near, width_deg, reach_km)
        _home_cell(axis, cell, home, reach_km)
        _site_list(axis, places, width_deg, reach_km, hidden)
        _on_map(axis, f"rim: {_style.grouped(reach_km)} km", reach_km, where_deg)
        axis.set_title(_around_title(places, home), loc="left", pad=14.0)
        if places.empty:
            _style.empty(axis, "no transmitter in the list")
        return axis


def _around_title(places: pd.DataFrame, home: str) -> str:
    sites = places["number"].nunique()
    text = f"Around home, cell {home.strip()}"
    return f"{text}: {sites} transmitter site{'' if sites == 1 else 's'}" if sites else text


def _reach_km(places: pd.DataFrame) -> float:
    if places.empty:
        return ANTIPODE_KM
    rings = math.floor(float(places["distance_km"].max()) / _RING_KM) + 1
    return rings * _RING_KM if rings * _RING_KM < 19000.0 else ANTIPODE_KM


def _around_land(axis: Axes, middle: tuple[float, float], reach_km: float) -> None:
    """Land, with the sea as a disc; a ring round the antipode is turned inside out by the map."""
    turn = np.radians(np.linspace(0.0, 360.0, 721))
    disc = np.column_stack([np.cos(turn), np.sin(turn)])
    rim = Shape(reach_km * disc)
    axis.add_patch(PathPatch(rim, facecolor="white", edgecolor="none", zorder=0.5))
    axis.add_patch(PathPatch(rim, facecolor="none", edgecolor=_style.INK, lw=0.9, zorder=2.1))
    for rings in _land():
        flat = []
        for ring in rings:
            dense = _dense(ring, 0.5)
            flat.append(np.column_stack(centred(*middle, dense[:, 1], dense[:, 0])))
            line = _dense(ring, 2.0)
            coast = _coast(line)
            x, y = centred(*middle, coast[:, 1], coast[:, 0])
            far = np.hypot(np.diff(x), np.diff(y)) > 2500.0  # passes the antipode
            at = np.flatnonzero(far) + 1
            coast_line = axis.plot(
                np.insert(x, at, np.nan),
                np.insert(y, at, np.nan),
                color=_style.COAST,
                lw=0.45,
                zorder=1.1,
            )[0]
            coast_line.set_clip_path(rim, axis.transData)
        if _area_km2(flat[0]) < 0.0:
            flat.insert(0, ANTIPODE_KM * disc)
        patch = PathPatch(_compound(flat), facecolor=_style.LAND, edgecolor="none", zorder=1.0)
        axis.add_patch(patch)
        patch.set_clip_path(rim, axis.transData)
    axis.set_xlim(-1.075 * reach_km, 1.075 * reach_km)
    axis.set_ylim(-1.075 * reach_km, 1.075 * reach_km)
    axis.set_aspect("equal", adjustable="box")
    axis.set_axis_off()


def _area_km2(ring: Floats) -> float:
    """Signed area: positive where the ring runs counter-clockwise."""
    x, y = ring.T
    return float(0.5 * np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))


def _clear_bearing_deg(taken_deg: Floats) -> float:
    """Bearing between two lines for the distances, as far as can be from sites and their beams."""
    bearings = np.arange(15.0, 360.0, 30.0)
    away = np.abs((bearings[:, None] - taken_deg + 180.0) % 360.0 - 180.0)
    return float(bearings[np.argmax(away.min(axis=1))]) if taken_deg.size else 195.0


def _rings(axis: Axes, reach_km: float, where_deg: float) -> None:
    """Rings every 2,000 km with their distance at one bearing; bearings every 30 degrees."""
    turn = np.radians(np.linspace(0.0, 360.0, 361))
    for number, ring in enumerate(np.arange(_RING_KM, reach_km, _RING_KM), start=1):
        every_other = number % 2 == 0
        axis.plot(
            ring * np.sin(turn),
            ring * np.cos(turn),
            color="#7A7A7A" if every_other else "#A8A8A8",
            lw=0.6 if every_other else 0.4,
            zorder=2.0,
        )
        if (every_other or reach_km < 9000.0) and ring < 0.97 * reach_km:
            _on_map(axis, f"{ring:,.0f} km", ring, where_deg)
    for bearing in range(0, 360, 30):
        sine, cosine = math.sin(math.radians(bearing)), math.cos(math.radians(bearing))
        axis.plot([0.0, reach_km * sine], [0.0, reach_km * cosine], color="#A8A8A8", lw=0.4)
        axis.text(
            1.04 * reach_km * sine,
            1.04 * reach_km * cosine,
            {0: "N", 90: "E", 180: "S", 270: "W"}.get(bearing, f"{bearing}"),
            ha="center",
            va="center",
            fontsize=8.5 if bearing % 90 == 0 else 7.0,
            fontweight="bold" if bearing % 90 == 0 else "normal",
            color=_style.INK,
        )


def _on_map(axis: Axes, text: str, distance_km: float, bearing_deg: float) -> None:
    angle = math.radians(bearing_deg)
    axis.text(
        distance_km * math.sin(angle),
        distance_km * math.cos(angle),
        text,
        ha="center",
        va="center",
        fontsize=6.5,
        color=_style.INK,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6, "alpha": 0.9},
        zorder=3.5,
    )


def beam_outline(
    tx_lat_deg: float, tx_lon_deg: float, beam_deg: float, width_deg: float, beam_km: float
) -> tuple[Floats, Floats]:
    """Corners of a beam on the ground: from the transmitter out, along an arc, and back. [deg]"""
    out = np.linspace(0.0, beam_km, 13)
    across = np.linspace(-0.5, 0.5, 13) * width_deg
    azimuth = beam_deg + np.concatenate([np.full(13, across[0]), across, np.full(13, across[-1])])
    length = np.concatenate([out, np.full(13, beam_km), out[::-1]])
    end = earth.direct(tx_lat_deg, tx_lon_deg, np.mod(azimuth, 360.0), length)
    return np.asarray(end.lat_deg), np.asarray(end.lon_deg)


def _towards(off_beam_deg: Any, width_deg: float) -> NDArray[np.bool_]:
    return np.asarray(off_beam_deg <= width_deg / 2.0, dtype=np.bool_)


def _beams(
    axis: Axes,
    middle: tuple[float, float],
    places: pd.DataFrame,
    width_deg: float,
    beam_km: float,
) -> int:
    """Draw beams at their transmitters: filled towards home, hollow elsewhere.

    Returns how many are left out: a beam that holds the antipode would cover the rim.
    """
    hidden = 0
    for row in places[places["beam_deg"].notna()].to_dict("records"):
        towards = bool(_towards(row["off_beam_deg"], width_deg))
        ground = beam_outline(
            row["tx_lat_deg"], row["tx_lon_deg"], row["beam_deg"], width_deg, beam_km
        )
        x, y = centred(*middle, *ground)
        if np.hypot(np.diff(x), np.diff(y)).max() > 3.0 * beam_km:
            hidden += 1
            continue
        axis.add_patch(
            Polygon(
                np.column_stack([x, y]),
                closed=True,
                facecolor=_style.WAY if towards else "white",
                alpha=0.85 if towards else 0.75,
                edgecolor=_style.INK,
                lw=0.7,
                ls="-" if towards else (0, (2.0, 1.2)),
                zorder=3.2 if towards else 3.0,
            )
        )
    return hidden


def _sites(
    axis: Axes,
    middle: tuple[float, float],
    places: pd.DataFrame,
    width_deg: float,
    reach_km: float,
) -> None:
    """Marks and numbers of the sites, numbers moved apart."""
    taken: list[tuple[float, float]] = [(0.0, 0.0)]
    marks = []
    for number, part in places.groupby("number", sort=True):
        first = part.iloc[0]
        xy = centred(*middle, first["tx_lat_deg"], first["tx_lon_deg"])
        marks.append((int(str(number)), float(xy[0]), float(xy[1]), part))
        taken.append(marks[-1][1:3])
    for number, x, y, part in marks:
        around = bool(part["beam_deg"].isna().any())
        marker = "o" if around else "^"
        axis.plot(x, y, marker, ms=5.0, mfc=_style.INK, mec="white", mew=0.7, zorder=5.0)
        at = _free(x, y, taken, 0.052 * reach_km)
        taken.append(at)
        axis.text(
            *at,
            str(number),
            ha="center",
            va="center",
            fontsize=7.5,
            fontweight="bold",
            color=_style.INK,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5, "alpha": 0.85},
            zorder=6.0,
        )


def _free(
    x: float, y: float, taken: Sequence[tuple[float, float]], away: float
) -> tuple[float, float]:
    """Of sixteen places about a mark the one farthest from what stands there already."""
    others = np.array([one for one in taken if one != (x, y)] or [(0.0, 0.0)])
    best, most = (x, y), -1.0
    for step in range(16):
        angle = math.pi / 4.0 * step
        far = away * (1.0 if step < 8 else 1.6)
        spot = (x + far * math.sin(angle), y + far * math.cos(angle))
        room = min(float(np.hypot(*(others - spot).T).min()), 1.2 * away) - 0.05 * far
        if room > most:
            best, most = spot, room
    return best


def _home_cell(axis: Axes, cell: earth.Locator, home: str, reach_km: float) -> None:
    """The cell as it is, and a mark that can be seen when it is small."""
    lat, lon = float(cell.lat_deg), float(cell.lon_deg)
    up = np.array([-1, -1, 1, 1]) * float(cell.half_lat_deg)
    right = np.array([-1, 1, 1, -1]) * float(cell.half_lon_deg)
    corners_lon = (lon + right + 180.0) % 360.0 - 180.0
    corners = np.column_stack(centred(lat, lon, np.clip(lat + up, -90.0, 90.0), corners_lon))
    axis.add_patch(
        Polygon(corners, facecolor="white", edgecolor=_style.INK, lw=1.2, zorder=4.0, alpha=0.9)
    )
    if np.abs(corners).max() < 0.02 * reach_km:
        axis.plot(0.0, 0.0, "s", ms=6.5, mfc="white", mec=_style.INK, mew=1.4, zorder=4.5)


def _listed(places: pd.DataFrame, width_deg: float) -> list[tuple[bool, str]]:
    """One line a site: whether a beam points home, number, name, distance, bearing."""
    out = []
    for number, part in places.groupby("number", sort=True):
        home = bool(_towards(part["off_beam_deg"], width_deg).any())
        first = part.iloc[0]
        far, bearing = _style.grouped(first["distance_km"]), round(first["bearing_deg"]) % 360
        out.append((home, f"{number:>2} {first['site'][:16]:<16} {far:>6} km {bearing:>3} deg"))
    return out


def _site_list(
    axis: Axes, places: pd.DataFrame, width_deg: float, reach_km: float, hidden: int
) -> None:
    """Key beside the map."""
    listed = _listed(places, width_deg)
    shown = listed[:_LISTED]
    axis.text(1.03, 0.985, "from home: distance and bearing", transform=axis.transAxes, va="top")
    for line, (home, text) in enumerate(shown):
        axis.text(
            1.03,
            0.945 - 0.0295 * line,
            text,
            transform=axis.transAxes,
            va="top",
            family="DejaVu Sans Mono",
            fontsize=7.0,
            fontweight="bold" if home else "normal",
            color=_style.INK,
        )
    notes = ["bold, filled beam: within half its width of", "the direction home"]
    notes += ["hollow, dashed beam: points elsewhere", "round mark: no beam, or not known"]
    if len(listed) > len(shown):
        notes.insert(0, f"and {len(listed) - len(shown)} more sites")
    if (beyond := int((places["distance_km"] > reach_km + 0.01).sum())) > 0:
        notes.append(f"beyond {_style.grouped(reach_km)} km, not drawn: {beyond}")
    if hidden:
        notes.append(f"beside the antipode, not drawn: {hidden} beam{'s' if hidden > 1 else ''}")
    notes.append(f"rings every {_RING_KM:,.0f} km, true from the cell's middle")
    axis.text(
        1.03,
        0.945 - 0.0295 * len(shown) - 0.025,
        "\n".join(notes),
        transform=axis.transAxes,
        va="top",
        color=_style.FAINT,
        linespacing=1.35,
    )


def around_home_alt(places: pd.DataFrame, home: str, *, width_deg: float = 40.0) -> str:
    """Say in words what :func:`around_home` shows."""
    start = f"Map of the world around the cell {home.strip()}, distances and bearings true from it."
    if places.empty:
        return f"{start} No transmitter in the list."
    sites = places.drop_duplicates("number")
    towards = places[_towards(places["off_beam_deg"], width_deg)].drop_duplicates("number")
    by_distance = sites.sort_values("distance_km")
    near, far = by_distance.iloc[0], by_distance.iloc[-1]
    names = ", ".join(towards["site"].astype(str)) or "none"
    return (
        f"{start} Transmitter sites: {len(sites)}, from {near['site']} "
        f"({_style.grouped(near['distance_km'])} km, {near['bearing_deg']:.0f} deg) to "
        f"{far['site']} ({_style.grouped(far['distance_km'])} km, {far['bearing_deg']:.0f} deg); "
        f"with a beam towards home: {names}."
    )


def around_home_data(places: pd.DataFrame, home: str) -> pd.DataFrame:
    """Table of what :func:`around_home` draws: `places` with `x_km` and `y_km` on the map."""
    cell = _cell(home)
    x, y = centred(
        float(cell.lat_deg),
        float(cell.lon_deg),
        places["tx_lat_deg"].to_numpy(),
        places["tx_lon_deg"].to_numpy(),
    )
    return places.assign(x_km=x, y_km=y)

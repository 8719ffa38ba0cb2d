"""An attack on a study: how well can the home be found from what is given away?

The attack uses what a stranger has: the folder. It reads every text and every picture's metadata,
solves the minutes after sunset for the place whose sunset they were counted from, the distances for
the place they start at, and the likelihoods for the place at which the engine gives them, and asks
what the hours of listening alone say. A copy made by :meth:`farhear.study.Study.create` leads all
of them to the middle of the cell, which says no more than the cell.
"""

from __future__ import annotations

import dataclasses
import itertools
import re
import struct
import zlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from farhear import _core, clock, path
from farhear._arrays import Floats
from farhear.club import WITHHELD
from farhear.errors import InputError
from farhear.indices import load_indices
from farhear.scoring import checks_from_log
from farhear.station import Station
from farhear.study import Study, cell_km, likelihoods_of, told_fluxes
from farhear.sun import HORIZON_ZENITH_DEG
from farhear.tables import counted, said_by
from farhear.times import unix_s

__all__ = ["Attack", "Trace", "attack"]

_TEXTS = (".toml", ".md", ".json", ".csv", ".txt", ".svg", ".html")
_EMAIL = re.compile(r"[\w.+-]+@[\w-]+\.[\w.]+")
_LOCATOR = re.compile(r"\b[A-Ra-r]{2}\d{2}[A-Xa-x]{2}(?:\d{2})?\b")
_PAIR = re.compile(r"(-?\d{1,3}\.\d{2,})[,;\s]+(-?\d{1,3}\.\d{2,})")
_PATH = re.compile(r"(?:/home/|/Users/|[A-Z]:\\Users\\)[^\s\"'<>,]+")
_CHUNKS = {b"IHDR", b"IDAT", b"IEND", b"PLTE", b"pHYs", b"tRNS", b"gAMA", b"sRGB"}
_PNG_KEYS = ("Software", "Description", "Data-SHA-256")
_GRID = 21  # places to a side
_STEPS = 5  # times that the grid is laid finer
_NEAR_SHARE = 0.05  # of the cell: as near as this is the middle
_LIKELIHOOD_SIDE = 5
_MOST_CHECKS = 200
_GAP_DAYS = 5


@dataclass(frozen=True, slots=True)
class Trace:
    """What one way of attacking found.

    Attributes
    ----------
    way
        In words.
    lat_deg, lon_deg
        Place it leads to; NaN where it leads nowhere.
    radius_km
        How well the place is known; NaN where it is not.
    leads_on
        Whether it tells more than the cell.
    said
        In words.
    """

    way: str
    lat_deg: float
    lon_deg: float
    radius_km: float
    leads_on: bool
    said: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Attack:
    """What all ways of attacking found.

    Attributes
    ----------
    traces
        One for each way.
    cell_radius_km
        Half the diagonal of the cell.
    warnings
        What else should be thought of before sharing.
    """

    traces: tuple[Trace, ...]
    cell_radius_km: float
    warnings: tuple[str, ...]

    @property
    def holds(self) -> bool:
        """Whether no way tells more than the cell."""
        return not any(one.leads_on for one in self.traces)

    @property
    def best_radius_km(self) -> float:
        """How well a stranger knows the home. [km]"""
        known = [one.radius_km for one in self.traces if one.leads_on]
        return min([*known, self.cell_radius_km])

    def text(self) -> str:
        """All of it, for reading."""
        head = "No way tells more than the cell" if self.holds else "THE HOME CAN BE FOUND"
        lines = [
            f"{head}: it lies within {self.best_radius_km:.0f} km of a place that can be told."
        ]
        lines += [f"- {one.way}: {one.said}" for one in self.traces]
        return "\n".join([*lines, *self.warnings])


class _Home(NamedTuple):
    """One home of a study: its place as shown, and what counts from it."""

    name: str
    locator: str
    time_zone: str
    table: pd.DataFrame
    openings: pd.DataFrame


def _homes(study: Study) -> list[_Home]:
    """The home of a study, or those of a club's members whose place is shown."""
    table = study.evidence().table
    file = study.folder / "data" / "openings.csv"
    is_there = file.exists() and file.stat().st_size > 1
    openings = study.table("openings") if is_there else pd.DataFrame()
    about = study.about
    if about.locator:
        return [_Home("", about.locator, about.time_zone, table, openings)]
    out = []
    for name, place, zone in study.people():
        mine = table[(table["observer_id"] == name).to_numpy()]
        tail = f", {name}"
        own = openings[openings["band"].str.endswith(tail)] if len(openings) else openings
        if place != WITHHELD and len(mine):
            if len(own):
                own = own.assign(band=own["band"].str.removesuffix(tail))
            out.append(_Home(name, place, zone, mine, own))
    return out


def attack(study: Study) -> Attack:
    """Try to find the home that a study comes from.

    Parameters
    ----------
    study
        The folder that would be given away.

    Returns
    -------
    Attack

    Raises
    ------
    InputError
        On a study whose data cannot be read.
    OSError
        When a file cannot be read.
    """
    try:
        return _attacked(study)
    except InputError:
        raise
    except (KeyError, TypeError, ValueError) as cause:  # tables that are none of ours
        raise InputError(f"{study.folder.name}: data cannot be used: {said_by(cause)}") from None


def _attacked(study: Study) -> Attack:
    homes = _homes(study)
    traces = [_words(study, homes), _metadata(study.folder)]
    for home in homes:
        traces += [_sunsets(home), _hours(home)]
    if study.about.locator:
        traces += [*_distances(study, homes[0]), *_likelihoods(study, homes[0])]
    radii = [float(np.hypot(*cell_km(home.locator))) / 2.0 for home in homes]
    return Attack(
        traces=tuple(traces),
        cell_radius_km=min(radii, default=np.inf),
        warnings=tuple(line for home in homes for line in _warnings(home)),
    )


# Words and pictures -----------------------------------------------------------------------------


def _words(study: Study, homes: Sequence[_Home]) -> Trace:
    """Addresses, coordinates within a cell, fine locators, paths of a machine."""
    found = []
    place = (np.nan, np.nan)
    for file in sorted(study.folder.rglob("*")):
        if file.suffix not in _TEXTS or not file.is_file():
            continue
        name = file.relative_to(study.folder).as_posix()
        text = file.read_text("utf-8", errors="replace")
        if file.suffix in (".svg", ".html"):
            text = _visible(text)
        for kind, pattern in (("an address", _EMAIL), ("a path of a machine", _PATH)):
            if hit := pattern.search(text):
                found.append(f"{name} holds {kind}, {hit[0]!r}")
        for home in homes:
            for said, at in _places_in(text, home.locator):
                found.append(f"{name} holds {said}")
                place = at
    known = not np.isnan(place[0])
    return Trace(
        "words",
        *place,
        1.0 if known else np.nan,
        bool(found),
        "; ".join(found[:5]) if found else "no address, no coordinates, no finer locator",
    )


def _places_in(text: str, locator: str) -> Iterator[tuple[str, tuple[float, float]]]:
    """Finer locators of a cell, and coordinates in it that are not its middle."""
    for hit in _LOCATOR.finditer(text):
        fine = hit[0][:2].upper() + hit[0][2:4] + hit[0][4:].lower()
        if fine.startswith(locator) and len(fine) > max(len(locator), 4):
            at = path.from_locator(fine)
            yield f"the locator {hit[0]!r}", (float(at.lat_deg), float(at.lon_deg))
    if len(locator) < 4:
        return  # a field holds transmitters, too
    cell = path.from_locator(locator)
    for hit in _PAIR.finditer(text):
        up, right = float(hit[1]) - float(cell.lat_deg), float(hit[2]) - float(cell.lon_deg)
        inside = abs(up) <= float(cell.half_lat_deg) and abs(right) <= float(cell.half_lon_deg)
        if inside and max(abs(up), abs(right)) > 0.01:
            yield f"coordinates in the cell, {hit[0]!r}", (float(hit[1]), float(hit[2]))


def _visible(text: str) -> str:
    """Text of a page or picture without numbers of its drawing."""
    text = re.sub(r"<(path|use|script)\b.*?(/>|</\1>)", " ", text, flags=re.DOTALL)
    text = re.sub(r"<style\b.*?</style>", " ", text, flags=re.DOTALL)
    return re.sub(r"\b(d|points|viewBox|transform|style|x|y)=\"[^\"]*\"", " ", text)


def _metadata(folder: Path) -> Trace:
    """What pictures carry beside the picture."""
    found = []
    for file in sorted(folder.rglob("*.png")):
        name = file.relative_to(folder).as_posix()
        for kind, data in _png_chunks(file.read_bytes()):
            key = data.split(b"\0", 1)[0].decode("latin-1", errors="replace")
            if kind in (b"tEXt", b"iTXt", b"zTXt") and key in _PNG_KEYS:
                continue
            if kind not in _CHUNKS:
                found.append(f"{name} carries {kind.decode('latin-1')} {key[:40]!r}")
    for file in sorted([*folder.rglob("*.jpg"), *folder.rglob("*.jpeg"), *folder.rglob("*.wav")]):
        found.append(f"{file.relative_to(folder).as_posix()} may carry where it was made")
    said = "; ".join(found[:5]) if found else "pictures carry their description and nothing else"
    return Trace("pictures", np.nan, np.nan, np.nan, bool(found), said)


def _png_chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    at = 8
    while at + 8 <= len(data):
        (size,) = struct.unpack(">I", data[at : at + 4])
        kind, body = data[at + 4 : at + 8], data[at + 8 : at + 8 + size]
        if kind == b"zTXt":
            key, _, rest = body.partition(b"\0")
            body = key + b"\0" + zlib.decompress(rest[1:])
        yield kind, body
        at += 12 + size


# Figures ----------------------------------------------------------------------------------------


def _best_place(home: _Home, cost: Callable[[Floats, Floats], Floats]) -> tuple[float, float]:
    """Place about the cell where a cost is least, by grids ever finer."""
    cell = path.from_locator(home.locator)
    lat, lon = float(cell.lat_deg), float(cell.lon_deg)
    up, right = 1.5 * float(cell.half_lat_deg), 1.5 * float(cell.half_lon_deg)
    for _ in range(_STEPS):
        lats = np.clip(lat + np.linspace(-up, up, _GRID), -89.9, 89.9)
        lons = lon + np.linspace(-right, right, _GRID)
        grid = np.meshgrid(lats, lons, indexing="ij")
        value = cost(grid[0].reshape(-1), grid[1].reshape(-1))
        at = int(np.nanargmin(value))
        lat, lon = float(grid[0].reshape(-1)[at]), float(grid[1].reshape(-1)[at])
        up, right = 2.5 * up / (_GRID - 1), 2.5 * right / (_GRID - 1)
    return lat, lon


def _judged(home: _Home, way: str, lat: float, lon: float, radius_km: float, what: str) -> Trace:
    """Whether a place found is the middle of the cell."""
    cell = path.from_locator(home.locator)
    apart = float(path.inverse(cell.lat_deg, cell.lon_deg, lat, lon).distance_km)
    near = apart <= max(_NEAR_SHARE * max(cell_km(home.locator)), 2.0 * radius_km)
    said = f"{what} lead to {lat:.2f} {lon:.2f}, {apart:.1f} km from the middle of the cell"
    return Trace(way, lat, lon, radius_km, not near, said + (", which all know" if near else ""))


def _sunsets(home: _Home) -> Trace:
    """Solve the minutes after sunset for the place where that sunset was."""
    way = f"sunset {home.name}".rstrip()
    frame, table = home.openings, home.table
    if "high_min" not in frame or not len(frame):
        return Trace(way, np.nan, np.nan, np.nan, False, "no minutes after sunset are given")
    ends = _implied_sunsets(frame, table)
    if not len(ends):
        return Trace(way, np.nan, np.nan, np.nan, False, "no minutes fit a check")
    days, which = np.unique(ends["evening"].to_numpy("datetime64[D]"), return_inverse=True)
    implied = ends["sunset_s"].to_numpy(np.float64)

    def cost(lats: Floats, lons: Floats) -> Floats:
        set_s = _sunset_s(home, days, lats, lons)
        return np.asarray(np.nanmedian(np.abs(implied - set_s[:, which]), axis=1))

    lat, lon = _best_place(home, cost)
    return _judged(home, way, lat, lon, 1.0, f"minutes after sunset of {days.size} evenings")


def _sunset_s(home: _Home, days: Any, lats: Floats, lons: Floats) -> Floats:
    """Sunset of each evening at each place, (places, evenings). [s]"""
    noon = days.astype("datetime64[s]") + np.timedelta64(12, "h")
    noon_s = clock.to_utc(noon, home.time_zone, ambiguous="earlier", missing="shift").unix_s
    shape = (lats.size, noon_s.size)
    begin, lat, lon = (
        np.ascontiguousarray(np.broadcast_to(one, shape)).reshape(-1)
        for one in (noon_s, lats[:, None], lons[:, None])
    )
    angle = np.full(begin.size, HORIZON_ZENITH_DEG)
    _, set_s, _ = _core.sun.events(begin, begin + 86400.0, lat, lon, angle)
    return np.asarray(set_s).reshape(shape)


def _implied_sunsets(frame: pd.DataFrame, table: pd.DataFrame) -> pd.DataFrame:
    """Sunsets that the openings were counted from: end of a check less its minutes."""
    checks = table[["evening", "band", "end_utc", "end_min"]].copy()
    checks["band"] = checks["band"].astype(str)
    frame = frame[np.isfinite(frame["high_min"])].copy()
    frame["evening"] = pd.to_datetime(frame["evening"]).astype(checks["evening"].dtype)
    both = frame[["evening", "band", "high_min"]].merge(checks, on=["evening", "band"])
    # the check whose own minutes, counted from the middle, are nearest
    away = (both["end_min"] - both["high_min"]).abs()
    best = away.groupby([both["evening"], both["band"]]).idxmin()
    both = both.loc[best]
    return pd.DataFrame(
        {
            "evening": both["evening"],
            "sunset_s": unix_s(both["end_utc"]) - 60.0 * both["high_min"].to_numpy(np.float64),
        }
    )


def _distances(study: Study, home: _Home) -> list[Trace]:
    """Solve distances to known sites for where they start."""
    out = []
    for file in sorted((study.folder / "data").glob("*.csv")):
        frame = study.table(file.stem, nrows=5000)
        if not {"distance_km", "tx_lat_deg", "tx_lon_deg"} <= set(frame.columns):
            continue
        lat_deg, lon_deg, far = (
            frame[n].to_numpy(np.float64) for n in ("tx_lat_deg", "tx_lon_deg", "distance_km")
        )

        def cost(lats: Floats, lons: Floats, of: Sequence[Floats] = (lat_deg, lon_deg, far)) -> Any:
            found = path.inverse(of[0], of[1], lats[:, None], lons[:, None]).distance_km
            return np.nanmedian(np.abs(found - of[2]), axis=1)

        lat, lon = _best_place(home, cost)
        out.append(_judged(home, "distances", lat, lon, 1.0, f"distances in {file.name}"))
    return out


def _likelihoods(study: Study, home: _Home) -> list[Trace]:
    """Ask the engine for which place it gives these likelihoods."""
    said, schedule = study.predictions(), study.schedule()
    if said is None or schedule is None:
        return []
    log = study.log()
    checks = checks_from_log(log, study.about.station, schedule)
    began = log.frame.set_index("row").loc[checks.frame["row"], "start_utc"]
    keys = pd.DataFrame(
        {"start_utc": began.to_numpy(), "freq_khz": checks.frame["freq_khz"].to_numpy()}
    )
    stamped = said.frame.drop_duplicates(["start_utc", "freq_khz"])
    both = keys.merge(stamped, on=["start_utc", "freq_khz"], how="left")
    rows = np.flatnonzero(both["likelihood"].notna().to_numpy())[:_MOST_CHECKS]
    if not rows.size:
        return []
    given = both["likelihood"].to_numpy(np.float64)[rows]
    when, issued = unix_s(checks.frame["utc"].iloc[rows]), unix_s(both["issued_utc"].iloc[rows])
    told = told_fluxes(when, issued, load_indices())
    cell = path.from_locator(home.locator)
    steps = np.linspace(-0.8, 0.8, _LIKELIHOOD_SIDE).tolist()
    costs: dict[tuple[float, float], float] = {}
    for up, right in itertools.product(steps, steps):
        lat = float(cell.lat_deg) + up * float(cell.half_lat_deg)
        lon = float(cell.lon_deg) + right * float(cell.half_lon_deg)
        moved = dataclasses.replace(study.about.station, lat_deg=lat, lon_deg=lon)
        found = likelihoods_of(checks_from_log(log, moved, schedule), rows, *told)
        costs[lat, lon] = float(np.abs(found - given).mean())
    lat, lon = min(costs, key=lambda place: costs[place])
    step_km = max(cell_km(home.locator)) * 0.8 / (_LIKELIHOOD_SIDE - 1)
    what = f"likelihoods of {counted(rows.size, 'check')}"
    return [_judged(home, "likelihoods", lat, lon, step_km / 2.0, what)]


def _hours(home: _Home) -> Trace:
    """What the beginnings of sittings say, if they keep to sunset."""
    way = f"hours of listening {home.name}".rstrip()
    first = home.table.groupby("evening")["start_utc"].min()
    days = first.index.to_numpy("datetime64[D]")
    if days.size < 10:
        return Trace(way, np.nan, np.nan, np.nan, False, "too few evenings to say anything")
    began = unix_s(first)
    lats, lons = np.meshgrid(np.arange(-60.0, 61.0, 5.0), np.arange(-180.0, 180.0, 10.0))
    lats, lons = lats.reshape(-1), lons.reshape(-1)
    gap = (began - _sunset_s(home, days, lats, lons) + 43200.0) % 86400.0 - 43200.0
    values = np.column_stack([np.nanstd(gap, axis=1), np.abs(np.nanmean(gap, axis=1)), lats])
    near = values[(values[:, 0] <= 1.1 * np.nanmin(values[:, 0])) & (values[:, 1] < 10800.0)]
    area = float((np.cos(np.radians(near[:, 2])) * (5.0 * 111.2) * (10.0 * 111.2)).sum())
    radius = float(np.sqrt(area / np.pi))
    cell = float(np.hypot(*cell_km(home.locator))) / 2.0
    said = f"if sittings keep to sunset, they leave an area of {radius:.0f} km about"
    return Trace(way, np.nan, np.nan, radius, radius < cell, said)


def _warnings(home: _Home) -> list[str]:
    """What no figure tells."""
    days = np.unique(home.table["evening"].to_numpy("datetime64[D]"))
    gaps = np.diff(days).astype(np.int64)
    high, wide = cell_km(home.locator)
    who = f"{home.name}: " if home.name else ""
    out = []
    if len(home.locator) >= 4:
        out.append(
            f"{who}the cell has {high * wide:.0f} square kilometres. In thinly settled country few "
            "people may live there, and fewer with a receiver: a coarser one is `--characters 2`."
        )
    if gaps.size and gaps.max() >= _GAP_DAYS:
        at = int(np.argmax(gaps))
        out.append(
            f"{who}no checks from {days[at]} to {days[at + 1]} ({gaps[at]} days): gaps tell when "
            "nobody was at home. Share late, or leave the checks about it out."
        )
    return out


def check_home(result: Attack, home: Station) -> list[str]:
    """How far each place found is from the real home; for the owner's eyes only. [km]"""
    if not isinstance(home, Station):
        raise InputError("home is no Station")
    out = []
    for one in result.traces:
        if not np.isnan(one.lat_deg):
            away = path.inverse(home.lat_deg, home.lon_deg, one.lat_deg, one.lon_deg).distance_km
            out.append(f"{one.way}: {float(away):.0f} km from your home")
    return out

"""Large studies: one emitter over the world, many homes against a whole schedule, on any machine.

`world` and `homes` return plans: datasets of dask arrays, nothing of which is worked out before it
is asked for. dask runs them on threads, on processes or on a cluster, to the same bits; there is no
pool of our own. `to_zarr` writes a plan that does not fit into memory, chunk by chunk, and goes on
where it was when it was interrupted::

    study = coverage.world(9.6, 37.7, bands=["31 m"], power_kw=250.0, months=["2025-12"])
    coverage.to_zarr(study, "world.zarr")  # killed half-way? the same line again
    study = xarray.open_zarr("world.zarr")

With a `distributed.Client` in the same program the chunks are worked out by its workers, which
write to the same folder: all of them must see it. A worker that dies costs its chunk, no more.

How far this goes
-----------------
Measured on two cores: a cell of a world (10 frequencies, 24 hours, 12 months) takes 31 us of a core
and 7 bytes on the disk, so a world of 1 degree is 1.6 core hours and 1.3 GB, and a thousand of them
half an hour on 100 machines of 32 cores. A home against 400 broadcasts for a season takes 0.5 s,
so a thousand homes against 8,000 some 2.8 core hours. A season of 208 MB written chunk by
chunk took 33 MB more than a small one, at once 357 MB (`tests/bench/bench_scale.py`, with the
arithmetic).

A home's place is private: `homes` keeps places, and what is heard there gives them away in any
case. Share such a file with care.
"""

from __future__ import annotations

import hashlib
import json
import secrets
import shutil
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from farhear import band, path, reception
from farhear._arrays import Floats, as_float64, check_range
from farhear._files import alone
from farhear.antenna import Antenna, elevation_table_dbi
from farhear.errors import InputError
from farhear.schedule import Schedule
from farhear.season import (
    CELL,
    Driver,
    attrs_of,
    band_coordinate,
    best_of,
    blocks,
    broadcast_geometry,
    cell_variables,
    check_threshold,
    checked_chunks,
    circuit_keys,
    circuits,
    data_digests,
    date_coordinate,
    days_of,
    driver_of,
    fields,
    flux_variable,
    hour_coordinate,
    hours_of,
    instants_s,
    need,
    on_air_in,
    packed_cells,
    present_bands,
    rows_in_bands,
    season_of,
    usable,
)
from farhear.station import Station
from farhear.tables import near_name
from farhear.times import UtcTimes

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr

__all__ = ["WORLD_DEG", "homes", "to_zarr", "world"]

WORLD_DEG = (-90.0, -180.0, 90.0, 180.0)
"""South, west, north and east edge of the world. [deg]"""

_CALL = 100_000
"""Cells in one call of the core: bounds the memory of a worker (some 30 MB)."""
_CHUNK = 200_000
"""Cells in a chunk of a world, if nothing is said: some 10 s of work."""
_HOMES = 3000
"""Homes times broadcasts in a chunk, if nothing is said: some 5 s of work for six months."""
_AXIS_KM, _E2 = 6378.137, 0.00669437999014  # WGS84
_SUMMARY = np.dtype([("best_likelihood", np.float32), ("receivable_count", np.float32)])
_MARKS = "chunks_done"


# One emitter over the world ---------------------------------------------------------------------


def world(
    tx_lat_deg: float,
    tx_lon_deg: float,
    freq_khz: Iterable[float] | None = None,
    *,
    months: Iterable[str],
    power_kw: float,
    bands: Iterable[str] | None = None,
    hours: Sequence[int] = range(24),
    gain_dbi: float = 0.0,
    antenna: Antenna | str | None = None,
    azimuth_deg: float | None = None,
    indices: Any = None,
    f107_sfu: float | None = None,
    area_deg: tuple[float, float, float, float] = WORLD_DEG,
    step_deg: float = 1.0,
    noise: str | float = "residential",
    bandwidth_hz: float = 9000.0,
    required_snr_db: float = 17.0,
    min_elevation_deg: float = 3.0,
    long_path: str = "both",
    chunks: Mapping[str, int] | None = None,
) -> xr.Dataset:
    """Where in the world one emitter is heard, by month, hour and frequency: a plan.

    Parameters
    ----------
    tx_lat_deg, tx_lon_deg
        The emitter, north and east positive. [deg]
    freq_khz, bands
        Frequencies, 1600 to 30000 [kHz], or names of bands ('31 m'), each of which stands for the
        middle of its widest segment. Either the one or the other.
    months
        Written 'YYYY-MM'; each stands for its 15th day.
    power_kw
        Transmitter power. [kW]
    hours
        Hours of the UTC day, 0 to 23; h stands for h:30.
    gain_dbi
        Antenna gain in every direction, falling towards the horizon as over average ground. [dBi]
    antenna, azimuth_deg
        Instead of the gain an antenna, as text or description (see `farhear.antenna`), and where
        it is aimed. [deg]
    indices, f107_sfu
        As in `farhear.season_study`.
    area_deg, step_deg
        South, west, north and east edge of the area, and the side of a cell, which must divide
        it. The receivers stand at the middles of the cells. [deg]
    noise, bandwidth_hz, required_snr_db, min_elevation_deg, long_path
        Of all receivers, as in `farhear.reception.likelihood`.
    chunks
        At most so many 'month', 'hour_utc', 'freq_khz', 'lat_deg', 'lon_deg' in a chunk. None:
        square pieces of land and sea that take some 10 s.

    Returns
    -------
    xarray.Dataset
        Lazy, on (month, hour_utc, freq_khz, lat_deg, lon_deg): `likelihood` [1], `snr_db` [dB],
        `muf_mhz` [MHz], `limit`. Coordinates after CF-1.11: `lat_deg` and `lon_deg` with the
        bounds of the cells, `cell_area_km2` on WGS84, to weigh with.

    Raises
    ------
    InputError
        On values out of range (one cell is worked out at once to find them), an unknown band, a
        month that is none, a step that does not divide the area, wrong chunks, or when dask is not
        installed.
    """
    import xarray as xr

    freq = _frequencies(freq_khz, bands)
    day, hour = _months(months), hours_of(hours)
    driver = driver_of(indices, day, f107_sfu)
    if not 0.0 < step_deg <= 90.0:
        raise InputError(f"step_deg = {step_deg!r} is outside (0, 90]")
    south, west, north, east = area_deg
    lat_edges = _edges("lat", south, north, step_deg, (-90.0, 90.0))
    lon_edges = _edges("lon", west, east, step_deg, (-180.0, 360.0))
    lat, lon = (edges[:-1] + step_deg / 2.0 for edges in (lat_edges, lon_edges))
    if antenna is not None and gain_dbi != 0.0:
        raise InputError("an antenna brings its own gain; leave gain_dbi out")
    given: dict[str, Any] = {
        "tx_lat_deg": tx_lat_deg,
        "tx_lon_deg": tx_lon_deg,
        "antenna": antenna,
        "azimuth_deg": azimuth_deg,
        "power_kw": power_kw,
        "gain_dbi": gain_dbi,
        "noise": noise,
        "bandwidth_hz": bandwidth_hz,
        "required_snr_db": required_snr_db,
        "min_elevation_deg": min_elevation_deg,
        "long_path": long_path,
    }
    unix_s = instants_s(day, hour)
    _world_cells(unix_s[:1, :1], driver.f107_sfu[:1], freq, lat[:1], lon[:1], **given)
    dims = ("month", "hour_utc", "freq_khz", "lat_deg", "lon_deg")
    sizes = dict(zip(dims, (*unix_s.shape, freq.size, lat.size, lon.size), strict=True))
    if chunks is None:
        side = max(1, int((_CHUNK / (unix_s.size * freq.size)) ** 0.5))
        chunks = {"lat_deg": side, "lon_deg": side}
    cut = checked_chunks(chunks, sizes)
    axes = dict(zip("mhfyx", cut.values(), strict=True))
    cells = blocks(
        _world_cells,
        "mhfyx",
        CELL,
        axes,
        (unix_s, driver.f107_sfu, freq, lat, lon),
        ("mh", "m", "f", "y", "x"),
        **given,
    )
    variables = cell_variables(dims, fields(cells))
    for _, _, attrs in variables.values():
        attrs |= {"cell_measures": "area: cell_area_km2", "cell_methods": "area: point"}
    variables["f107_sfu"] = flux_variable("month", driver)
    coordinates = {
        "month": date_coordinate("month", day, "month; stands for this day, its 15th"),
        "hour_utc": hour_coordinate(hour),
        "freq_khz": ("freq_khz", freq, {"units": "kHz", "long_name": "carrier frequency"}),
        **_cell_coordinates(lat_edges, lon_edges),
    }
    attributes = _about("Where one emitter is heard", driver)
    for key, value in given.items():
        if value is not None:
            attributes[key] = str(value) if key in ("antenna", "noise") else value
    return xr.Dataset(variables, coordinates, attributes)


def _world_cells(
    unix_s: Floats,
    f107_sfu: Floats,
    freq_khz: Floats,
    lat_deg: Floats,
    lon_deg: Floats,
    *,
    tx_lat_deg: float,
    tx_lon_deg: float,
    antenna: Antenna | str | None,
    azimuth_deg: float | None,
    gain_dbi: float,
    **given: Any,
) -> NDArray[Any]:
    """Cells on (month, hour, frequency, latitude, longitude): places first, frequencies last.

    In that order the core prepares each place and each instant once.
    """
    places = np.stack(np.meshgrid(lat_deg, lon_deg, indexing="ij"), axis=-1).reshape(-1, 1, 1, 2)
    when = UtcTimes(unix_s.reshape(-1, 1))
    flux = np.repeat(f107_sfu, unix_s.shape[1])[:, None]
    out = np.empty((len(places), when.size, freq_khz.size), CELL)
    step = max(1, _CALL // out[0].size)
    for begin in range(0, len(places), step):
        lat, lon = np.moveaxis(places[begin : begin + step], -1, 0)
        gain: dict[str, Any] = {"tx_gain_dbi": gain_dbi}
        if antenna is not None:
            line = path.inverse(tx_lat_deg, tx_lon_deg, lat, lon)
            aimed = np.nan if azimuth_deg is None else azimuth_deg
            off_deg = (np.asarray(line.azimuth_deg) - aimed + 180.0) % 360.0 - 180.0
            off_deg, freq = np.broadcast_arrays(off_deg, freq_khz)
            table = elevation_table_dbi(
                antenna, freq.reshape(-1), off_deg.reshape(-1), power_kw=given["power_kw"]
            )
            gain = {
                "tx_pattern_dbi": table.gain_dbi.reshape(*freq.shape, -1),
                "tx_gain_sd_db": np.asarray(table.sd_db).reshape(freq.shape),
            }
        seen = reception.likelihood(
            tx_lat_deg,
            tx_lon_deg,
            lat,
            lon,
            freq_khz,
            when,
            f107_sfu=flux,
            brief=True,
            **gain,
            **given,
        )
        out[begin : begin + step] = packed_cells(seen)
    grid = out.reshape(lat_deg.size, lon_deg.size, *unix_s.shape, freq_khz.size)
    return grid.transpose(2, 3, 4, 0, 1)


def _frequencies(freq_khz: Iterable[float] | None, bands: Iterable[str] | None) -> Floats:
    if (freq_khz is None) == (bands is None):
        raise InputError("give either freq_khz or bands")
    if bands is not None:
        segments = {one.name: one.segments_khz for one in band.BANDS}
        freq_khz = []
        for name in bands:
            if name not in segments:
                raise InputError(f"bands names {name!r}{near_name(str(name), tuple(segments))}")
            low, high = max(segments[name], key=lambda edges: edges[1] - edges[0])
            freq_khz.append((low + high) / 2.0)
    freq = np.unique(as_float64("freq_khz", list(() if freq_khz is None else freq_khz)))
    if freq.size == 0 or np.isnan(freq).any():
        raise InputError("freq_khz or bands is empty, or holds a NaN")
    return freq


def _months(months: Iterable[str]) -> NDArray[np.int64]:
    """Days since 1970 of the 15ths."""
    texts = [months] if isinstance(months, str) else list(months)
    try:
        first = np.unique(np.array([np.datetime64(text, "M") for text in texts], "datetime64[M]"))
    except (ValueError, TypeError) as cause:
        raise InputError(f"months = {texts!r} are not written YYYY-MM: {cause}") from None
    if first.size == 0 or np.isnat(first).any():
        raise InputError(f"months = {texts!r} is empty or holds one that is missing")
    return first.astype("datetime64[D]").astype(np.int64) + 14


def _edges(
    which: str, low: float, high: float, step_deg: float, bounds: tuple[float, float]
) -> Floats:
    ends = as_float64(f"area_deg ({which})", (low, high))
    check_range(f"area_deg ({which})", ends, *bounds)
    count = round((high - low) / step_deg) if high > low else 0
    if count < 1 or abs(count * step_deg - (high - low)) > 1e-9:
        raise InputError(
            f"step_deg = {step_deg:g} does not divide area_deg: {which} {low:g} to {high:g}"
        )
    return low + step_deg * np.arange(count + 1, dtype=np.float64)


def _cell_coordinates(lat_edges: Floats, lon_edges: Floats) -> dict[str, Any]:
    """Middles, bounds and areas of the cells.

    Area between two parallels on the ellipsoid: J. P. Snyder, Map Projections, USGS Professional
    Paper 1395 (1987), equation 3-12 (number from memory; the tests hold it against pyproj).
    """
    out: dict[str, Any] = {}
    for name, edges, unit, standard, axis in (
        ("lat_deg", lat_edges, "degrees_north", "latitude", "Y"),
        ("lon_deg", lon_edges, "degrees_east", "longitude", "X"),
    ):
        bounds = f"{name.removesuffix('_deg')}_bounds_deg"
        middle = (edges[:-1] + edges[1:]) / 2.0
        attrs = {"units": unit, "standard_name": standard, "axis": axis, "bounds": bounds}
        attrs["long_name"] = f"{standard} of the receiver, the middle of the cell"
        out[name] = ((name,), middle, attrs)
        out[bounds] = ((name, "edge"), np.column_stack([edges[:-1], edges[1:]]))
    e, sine = _E2**0.5, np.sin(np.radians(lat_edges))
    q = (1.0 - _E2) * (sine / (1.0 - _E2 * sine**2) + np.arctanh(e * sine) / e)
    area_km2 = _AXIS_KM**2 / 2.0 * np.outer(np.diff(q), np.radians(np.diff(lon_edges)))
    attrs = {"units": "km2", "standard_name": "cell_area", "long_name": "area of the cell, WGS84"}
    out["cell_area_km2"] = (("lat_deg", "lon_deg"), area_km2, attrs)
    return out


# Many homes, one schedule -----------------------------------------------------------------------


def homes(
    stations: Sequence[Station],
    schedule: Schedule,
    season: str | None = None,
    indices: Any = None,
    *,
    dates: Iterable[Any] | None = None,
    hours: Sequence[int] = range(24),
    threshold: float = 0.5,
    f107_sfu: float | None = None,
    long_path: str = "both",
    chunks: Mapping[str, int] | None = None,
) -> xr.Dataset:
    """What each of many homes can receive of a schedule, by band, month and hour: a plan.

    Only the summary is kept, and only what is on the air is worked out, so that the memory depends
    neither on how many homes there are nor on how long the schedule is times the hours.

    Parameters
    ----------
    stations
        The homes.
    schedule, season, indices, dates, hours, threshold, f107_sfu, long_path
        As in `farhear.season_study`. The dates are taken by month; each month is worked out for
        the middle one of its dates, and what is on the air is counted on all of them.
    chunks
        At most so many 'receiver' in a chunk; None: so many that a chunk takes some 5 s.

    Returns
    -------
    xarray.Dataset
        Lazy, on (receiver, band, month, hour_utc): `best_likelihood`, the highest among the
        broadcasts that are on the air at that hour on at least one of the month's dates (NaN where
        there is none); `receivable_count`, how many of them reach the threshold, mean over those
        dates. [1]

    Raises
    ------
    InputError
        As `farhear.season_study`, on an empty list of stations, or when dask is not installed.
    """
    import xarray as xr

    stations = list(stations)
    if not stations or not all(isinstance(one, Station) for one in stations):
        raise InputError("stations is empty or holds something that is no Station")
    name = season_of(season, schedule)
    check_threshold(threshold)
    day, hour = days_of(name, dates), hours_of(hours)
    frame, left_out = usable(schedule)
    if chunks is None:
        chunks = {"receiver": max(1, _HOMES // len(frame))}
    cut = checked_chunks(chunks, {"receiver": len(stations)})
    rows = schedule.frame.index.get_indexer(frame.index)
    month = day.astype("datetime64[D]").astype("datetime64[M]")
    runs = [day[month == one] for one in np.unique(month)]
    middle = np.array([run[run.size // 2] for run in runs])
    driver = driver_of(indices, middle, f107_sfu)
    dates_on_air = np.stack(
        [
            on_air_in(rows, instants_s(run, hour), schedule=schedule, season=name).sum(
                axis=1, dtype=np.int16
            )
            for run in runs
        ],
        axis=1,
    )
    bands = present_bands(frame)
    summary = blocks(
        _summaries,
        "rbmh",
        _SUMMARY,
        {"r": cut["receiver"]},
        (np.array(stations, dtype=object),),
        ("r",),
        new={"b": len(bands), "m": len(runs), "h": hour.size},
        frame=frame,
        in_band=rows_in_bands(frame, bands),
        dates_on_air=dates_on_air,
        dates_count=np.array([run.size for run in runs]),
        unix_s=instants_s(middle, hour),
        f107_sfu=driver.f107_sfu,
        threshold=threshold,
        long_path=long_path,
    )
    source = "farhear.reception and the schedule"
    texts = {
        "best_likelihood": "highest likelihood among the broadcasts on the air",
        "receivable_count": f"broadcasts on the air whose likelihood is {threshold:g} or more, "
        "mean over the dates of the month",
    }
    dims = ("receiver", "band", "month", "hour_utc")
    variables: dict[str, Any] = {
        key: (dims, values, attrs_of("1", texts[key], source))
        for key, values in fields(summary).items()
    }
    variables["f107_sfu"] = flux_variable("month", driver)
    coordinates = {
        "band": band_coordinate(bands),
        "month": date_coordinate("month", middle, "middle date of the month's dates"),
        "dates_count": (
            ("month",),
            np.array([run.size for run in runs], np.int32),
            {"units": "1", "long_name": "dates of the month"},
        ),
        "hour_utc": hour_coordinate(hour),
        **_receiver_coordinates(stations),
    }
    attributes = {
        **_about(f"What many homes can receive in season {name}", driver),
        "season": name,
        "threshold": threshold,
        "long_path": long_path,
        "schedule": schedule.source,
        "schedule_sha256": schedule.sha256,
        "schedule_note": schedule.note,
        "schedule_rows_sha256": _sha256(frame.to_csv()),
        "left_out": f"{len(left_out)} digital broadcasts",
        "privacy": "receivers are homes: share this file with care",
    }
    return xr.Dataset(variables, coordinates, attributes)


def _summaries(
    stations: NDArray[Any],
    *,
    frame: pd.DataFrame,
    in_band: NDArray[np.bool_],
    dates_on_air: NDArray[np.int16],
    dates_count: NDArray[np.int64],
    unix_s: Floats,
    f107_sfu: Floats,
    threshold: float,
    long_path: str,
) -> NDArray[Any]:
    """`_SUMMARY` on (home, band, month, hour): hour by hour, what is on the air then."""
    months, hours = unix_s.shape
    out = np.zeros((stations.size, in_band.shape[1], months, hours), _SUMMARY)
    out["best_likelihood"] = np.nan
    for home, station in zip(out, stations, strict=True):
        keys = circuit_keys(frame, broadcast_geometry(station, frame))
        for h in range(hours):
            rows = np.flatnonzero(dates_on_air[:, :, h].any(axis=1))
            if not rows.size:
                continue
            at = unix_s[:, h : h + 1]
            cells = circuits(keys[rows], at, f107_sfu, station=station, long_path=long_path)
            likelihood, on = cells["likelihood"][:, :, 0], dates_on_air[rows, :, h]
            heard = np.where(on > 0, likelihood, np.float32(np.nan))
            best = best_of(heard[:, :, None], in_band[rows])
            home["best_likelihood"][:, :, h] = best[0, :, :, 0]
            # whole numbers, so that the sum does not depend on its order
            counted = in_band[rows].T.astype(np.int64) @ np.where(likelihood >= threshold, on, 0)
            home["receivable_count"][:, :, h] = counted / dates_count
    return out


def _receiver_coordinates(stations: list[Station]) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for name, unit, text in (
        ("lat_deg", "degrees_north", "latitude of the receiver"),
        ("lon_deg", "degrees_east", "longitude of the receiver"),
        ("bandwidth_hz", "Hz", "receiver bandwidth"),
        ("required_snr_db", "dB", "signal to noise that counts as heard"),
        ("min_elevation_deg", "degree", "lowest usable elevation"),
    ):
        values = np.array([getattr(one, name) for one in stations], np.float64)
        out[name] = (("receiver",), values, {"units": unit, "long_name": text})
    for name, text in (("name", "receiver"), ("noise", "surroundings, or noise figure in dB")):
        values = np.array([str(getattr(one, name)) for one in stations], dtype=object)
        out[f"receiver_{name}"] = (("receiver",), values, {"long_name": text})
    return out


def _about(title: str, driver: Driver) -> dict[str, Any]:
    import farhear

    return {
        "Conventions": "CF-1.11",
        "title": title,
        "source": f"farhear {farhear.__version__}",
        "index_status": driver.text(),
        "index_source": driver.digest,
        "data_digests": json.dumps(data_digests(), sort_keys=True),
    }


# Onto the disk ----------------------------------------------------------------------------------


def to_zarr(
    study: xr.Dataset,
    folder: str | Path,
    *,
    at_once: int = 64,
    progress: Callable[[int, int], None] | None = None,
) -> int:
    """Work out a plan chunk by chunk into a Zarr folder, or go on with one that was interrupted.

    A chunk is marked as done when all of it is written; what is not marked is worked out again. So
    the same call after an interruption, on this or another machine, gives the same folder as one
    without. Against a power cut there is no such promise: the system may have kept back what it
    said was written.

    Parameters
    ----------
    study
        From `world`, `homes`, or variables of `farhear.season_study` with chunks that are on the
        same dimensions; those that are not lazy are written along.
    folder
        Is made if it is not there. With workers on other machines: a folder that all of them see.
    at_once
        Chunks given to dask at a time, 1 or more; each running one is in memory. Several for every
        worker keep all of them busy.
    progress
        Called with the chunks done and in all, after each time.

    Returns
    -------
    Number of chunks that were worked out now.

    Raises
    ------
    InputError
        On a folder that another program is writing, or with something else, or with another
        question (its digest is the attribute `question_sha256`; any argument, the chunks, the data
        or the version of farhear may make it another one: the text says which); on a study without
        lazy variables, or with lazy variables that differ in their chunks or have uneven ones.
    """
    need("dask", "zarr")
    import dask.array as da
    import zarr
    from dask.base import compute

    lazy = {str(k): v.data for k, v in study.data_vars.items() if v.chunks is not None}
    chunks = _common_chunks(study, list(lazy))
    if at_once < 1:
        raise InputError(f"at_once = {at_once!r} is below 1")
    folder, question = Path(folder), _question(study)
    if not folder.exists():
        _lay_out(study, folder, question, tuple(map(len, chunks)))
    try:
        marks = zarr.open_array(folder / _MARKS, mode="r")
    except FileNotFoundError:
        raise InputError(f"{folder.name} is there already and no folder of to_zarr") from None
    asked: Any = marks.attrs["question"]
    for name in {**asked, **question}:
        if asked.get(name) != question.get(name):
            raise InputError(
                f"{folder.name} holds another question: {name} differs; give a new folder"
            )
    writes = da.map_blocks(
        _write,
        *lazy.values(),
        folder=folder,
        names=tuple(lazy),
        lengths=tuple(one[0] for one in chunks),
        chunks=tuple((1,) * len(one) for one in chunks),
        meta=np.empty((0,) * len(chunks), np.uint8),
    )
    with alone(folder, busy=f"{folder.name} is being written by another program"):
        for part in folder.rglob("*.partial"):  # of a chunk that was being written when it ended
            part.unlink()
        left = np.argwhere(marks[:] == 0).tolist()
        for begin in range(0, len(left), at_once):
            some = left[begin : begin + at_once]
            compute(*(writes.blocks[tuple(index)] for index in some))
            if progress is not None:
                progress(marks.size - len(left) + begin + len(some), marks.size)
    return len(left)


def _common_chunks(study: xr.Dataset, names: list[str]) -> tuple[tuple[int, ...], ...]:
    """The chunks that all lazy variables have."""
    if not names:
        raise InputError("study has no lazy variable; give season_study chunks")
    first = study[names[0]]
    for name in names:
        one = study[name]
        if (one.dims, one.chunks) != (first.dims, first.chunks):
            raise InputError(
                f"{name} and {names[0]} differ in their chunks; take one kind at a time"
            )
        if one.dtype.kind not in "fiu":
            raise InputError(f"{name} holds {one.dtype}, no numbers")
    chunks = first.chunks or ()
    for dim, lengths in zip(first.dims, chunks, strict=True):
        if len({*lengths[:-1]}) > 1 or lengths[-1] > lengths[0]:
            raise InputError(f"chunks along {dim} are uneven: {lengths}; use study.chunk")
    return chunks


def _question(study: xr.Dataset) -> dict[str, str]:
    """Digests of all that is known before the work: attributes, coordinates, chunks."""
    parts = {f"attribute {key}": _sha256(_json(value)) for key, value in study.attrs.items()}
    for name, variable in study.variables.items():
        about = [variable.dims, variable.shape, variable.dtype.str, variable.attrs, variable.chunks]
        if variable.chunks is None:
            values = variable.to_numpy()
            is_text = values.dtype.kind not in "biufmM"
            about.append(values.tolist() if is_text else values.tobytes().hex())
        parts[str(name)] = _sha256(_json(about))
    return parts


def _json(value: Any) -> str:
    return json.dumps(value, sort_keys=True, default=lambda v: np.asarray(v).tolist())


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _lay_out(
    study: xr.Dataset, folder: Path, question: dict[str, str], grid: tuple[int, ...]
) -> None:
    """Write everything but the chunks; the folder is there whole or not at all."""
    import zarr

    part = folder.with_name(f".farhear-{secrets.token_hex(8)}.part")
    try:
        # format 2: texts and consolidated metadata are part of it
        study.assign_attrs(question_sha256=_sha256(_json(question))).drop_encoding().to_zarr(
            part, compute=False, zarr_format=2, consolidated=True
        )
        zarr.create_array(
            part / _MARKS,
            shape=grid,
            chunks=(1,) * len(grid),
            dtype=np.uint8,
            fill_value=0,
            zarr_format=2,
            attributes={"question": question},
        )
        part.replace(folder)
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)
        raise


def _write(
    *blocks: NDArray[Any],
    folder: Path,
    names: tuple[str, ...],
    lengths: tuple[int, ...],
    block_id: tuple[int, ...],
) -> NDArray[np.uint8]:
    """Write one chunk of every variable, then mark it."""
    import zarr

    begins = [i * length for i, length in zip(block_id, lengths, strict=True)]
    for name, block in zip(names, blocks, strict=True):
        where = tuple(slice(b, b + n) for b, n in zip(begins, block.shape, strict=True))
        zarr.open_array(folder / name, mode="r+")[where] = block
    zarr.open_array(folder / _MARKS, mode="r+")[block_id] = 1
    return np.ones((1,) * len(block_id), np.uint8)

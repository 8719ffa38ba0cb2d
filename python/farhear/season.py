"""One season from one home: every broadcast, every date, every hour; and how each band runs.

The study is an `xarray.Dataset` on (broadcast, date, hour_utc) and (band, date, hour_utc). Hour h
stands for the instant h:30 UTC. `likelihood`, `snr_db` and `muf_mhz` are those of a broadcast *as
if it were on the air*; `on_air` says whether it is.

Two measures say how a band does towards the schedule's sites, whether on the air or not:
`open_likelihood` is the best of all its circuits, `far_likelihood` the best of those longer than
`far_km`. A near transmitter keeps many bands open all day, so opening and closing times are those
of `far_likelihood`: where it crosses the threshold, by linear interpolation between the hourly
values. They resolve some ten minutes of the *model*; what is heard at dusk differs by more.

With `chunks` the same study is a plan: dask arrays that are worked out when they are asked for, on
threads, processes or a cluster, to the same bits. `farhear.coverage.to_zarr` writes what does not
fit into memory, and goes on after an interruption.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from importlib.util import find_spec
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from farhear import band as bands
from farhear._arrays import Floats
from farhear.errors import InputError
from farhear.schedule import Schedule
from farhear.station import Station
from farhear.times import UtcTimes

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["TURN_STATES", "band_weeks", "season_study", "summary"]

HALF_HOUR_S = 1800.0
_HOUR_S = 3600.0
_DAY_S = 86400.0
_NOT_ON_AIR = 5
_BLOCK = 4096
"""Values per call of the core: a tenth of a second, the wait after Ctrl-C."""
_MOST_ELEMENTS = 200_000_000

CELL = np.dtype(
    [
        ("likelihood", np.float32),
        ("snr_db", np.float32),
        ("muf_mhz", np.float32),
        ("limit", np.uint8),
    ]
)
"""What is worked out of a circuit at an instant."""

TURN_STATES = {
    0: "happens",
    1: "open_throughout",
    2: "closed_throughout",
    3: "noon_says_no",
    4: "unknown",
}
"""What a half day holds. noon_says_no: a band that is open at noon does not open at dusk, one that
is closed at noon does not close at dusk, and the like at dawn. unknown: hours are missing, there
is no far circuit, or the sun does not rise or set."""


TURNS = ("dusk_opening", "dusk_closing", "dawn_opening", "dawn_closing")
_TURN = np.dtype(
    [(f"{turn}_{what}", kind) for turn in TURNS for what, kind in (("min", "f8"), ("state", "u1"))]
)


@dataclass(frozen=True, slots=True)
class Driver:
    """The 12-month smoothed flux of each date and where it comes from."""

    f107_sfu: Floats
    status: list[str]
    digest: str

    def text(self) -> str:
        parts = []
        for status in sorted(set(self.status)):
            parts.append(f"{status} on {self.status.count(status)} of {len(self.status)} dates")
        return ", ".join(parts)


def season_study(
    station: Station,
    schedule: Schedule,
    season: str | None = None,
    indices: Any = None,
    *,
    dates: Iterable[Any] | None = None,
    hours: Sequence[int] = range(24),
    threshold: float = 0.5,
    far_km: float = 3000.0,
    f107_sfu: float | None = None,
    long_path: str = "both",
    step_days: int = 7,
    chunks: Mapping[str, int] | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> xr.Dataset:
    """Work out a whole season for one home.

    Parameters
    ----------
    station
        The home.
    schedule
        Broadcasts; digital ones are left out (named in the attribute `left_out`).
    season
        For example 'B25'; None takes the schedule's. Any season that the solar indices cover.
    indices
        From `farhear.load_indices` or `farhear.read_indices`; None loads the shipped ones.
    dates
        UTC dates to study (within the season); None for all.
    hours
        Hours of the UTC day, 0 to 23; h stands for h:30. Opening times need all 24.
    threshold
        Likelihood from which a band counts as open, in (0, 1).
    far_km
        Circuits at least this long count for `far_likelihood`, [0, 20000]; 3000 km, about one hop
        of the F2 layer, is a choice of ours. [km]
    f107_sfu
        A fixed 12-month smoothed 10.7 cm flux instead of the indices, 50 to 400. [sfu]
    long_path
        'short', 'long' or 'both' ways around the Earth.
    step_days
        Of a run of dates every so many are worked out, 1 to 31; between them the same hour is
        interpolated (the sun's hours move by up to half an hour in a week, so likelihoods near dusk
        and dawn are smoothed by as much).
    chunks
        None works everything out now. Else nothing is: the study holds dask arrays, in pieces of at
        most so many 'broadcast' and so many 'date' (a name left out: all of them), and may be of
        any size. Results are the same to the bit, on whatever dask runs them. A piece takes 25 to
        120 us for each broadcast, worked-out date and hour, the less the more broadcasts a site
        has, for these share work. So cut dates first: `{"date": 1}` with `step_days` 1; with more,
        several times as many, for a piece also works out the dates on either side of it.
    progress
        Called with circuits done and circuits in all, after every block. Ctrl-C works between
        blocks. Not with `chunks`.

    Returns
    -------
    xarray.Dataset
        On (broadcast, date, hour_utc): `likelihood` [1], `snr_db` [dB], `muf_mhz` [MHz], `limit`
        (not_on_air where the schedule is silent), `on_air`. On (band, date, hour_utc):
        `open_likelihood`, `far_likelihood` (NaN for a band without a far circuit). On (band,
        date): `dusk_opening_min`, `dusk_closing_min` (minutes after sunset) and
        `dawn_opening_min`, `dawn_closing_min` (minutes after sunrise, negative before), each with
        a state (`TURN_STATES`). On (date, hour_utc): `sun_zenith_deg`, `utc_offset_min`. On date:
        `sunrise_hour_utc`, `sunset_hour_utc`, `f107_sfu`, its status. Conventions CF-1.11.

    Raises
    ------
    InputError
        On an unknown season, dates outside it, hours out of range, an empty schedule, a season
        that the indices do not cover, wrong chunks.
    """
    import xarray as xr

    import farhear._accessor  # noqa: F401  season.farhear

    name = season_of(season, schedule)
    check_threshold(threshold)
    if not 1 <= step_days <= 31:
        raise InputError(f"step_days = {step_days!r} is outside [1, 31]")
    if not 0.0 <= far_km <= 20000.0:
        raise InputError(f"far_km = {far_km!r} is outside [0, 20000]")
    day, hour = days_of(name, dates), hours_of(hours)
    frame, left_out = usable(schedule)
    if chunks is not None:
        if progress is not None:
            raise InputError("progress has nothing to count with chunks: dask works later")
        chunks = checked_chunks(chunks, {"broadcast": len(frame), "date": day.size})
    elif len(frame) * day.size * hour.size > _MOST_ELEMENTS:
        raise InputError(
            f"{len(frame)} broadcasts x {day.size} dates x {hour.size} hours is more than "
            f"{_MOST_ELEMENTS:g} values; give fewer dates or hours, or chunks"
        )
    driver = driver_of(indices, day, f107_sfu)
    geometry = broadcast_geometry(station, frame)
    # The half days around dusk and dawn reach into the neighbouring UTC dates.
    wide = np.unique([day - 1, day, day + 1]) if hour.size == 24 else day
    keep = np.isin(wide, day)
    wide_times = UtcTimes(instants_s(wide, hour))
    packed = blocks(
        _cells if chunks else partial(_on_threads, progress),
        "bdh",
        CELL,
        chunks and {"b": chunks["broadcast"], "d": _cut(day, wide, chunks["date"])},
        (circuit_keys(frame, geometry), wide),
        ("bk", "d"),
        new={"h": hour.size},
        some=_sampled(wide, step_days),
        hour=hour,
        flux=(day, driver.f107_sfu),
        station=station,
        long_path=long_path,
    )
    is_far = geometry["distance_km"] >= far_km
    band_names = present_bands(frame)
    in_band = rows_in_bands(frame, band_names)
    in_far_band = in_band & is_far[:, None]
    counted = np.hstack([in_band, in_far_band])
    best = (_later_best if chunks else best_of)(packed["likelihood"], counted)[0]
    sky = _sky(station, wide, wide_times)
    turns = (_later_turns if chunks else _turns)(
        best[len(band_names) :], wide_times.unix_s, sky, threshold
    )

    on_air = blocks(
        on_air_in,
        "bdh",
        np.dtype(np.bool_),
        chunks and {"b": chunks["broadcast"], "d": chunks["date"]},
        (schedule.frame.index.get_indexer(frame.index), wide_times.unix_s[keep]),
        ("b", "dh"),
        schedule=schedule,
        season=name,
    )
    kept = _later_kept if chunks else _kept
    packed, best = kept(packed, keep), kept(best, keep)
    cells = fields(packed)
    cells["limit"] = np.where(on_air, cells["limit"], np.uint8(_NOT_ON_AIR))
    sky = {key: value[keep] for key, value in sky.items()}
    turns = fields(turns[:, keep])

    three = ("broadcast", "date", "hour_utc")
    variables: dict[str, Any] = {
        **cell_variables(three, cells),
        "on_air": (
            three,
            on_air.astype(np.uint8),
            {
                **attrs_of("1", "whether the schedule has the broadcast on the air", "schedule"),
                "flag_values": np.array([0, 1], dtype=np.uint8),
                "flag_meanings": "silent on_air",
            },
        ),
        "open_likelihood": (
            ("band", "date", "hour_utc"),
            best[: len(band_names)],
            attrs_of(
                "1",
                "highest likelihood among the band's circuits, as if all were on the air",
                "likelihood",
            ),
        ),
        "far_likelihood": (
            ("band", "date", "hour_utc"),
            best[len(band_names) :],
            attrs_of(
                "1",
                f"highest likelihood among the band's circuits of {far_km:g} km or more, "
                "as if all were on the air",
                "likelihood",
            ),
        ),
        "far_count": (
            ("band",),
            in_far_band.sum(axis=0, dtype=np.int32),
            attrs_of("1", f"broadcasts from {far_km:g} km or more", "schedule"),
        ),
        "broadcasts_count": (
            ("band",),
            in_band.sum(axis=0, dtype=np.int32),
            attrs_of("1", "broadcasts of the schedule in the band", "schedule"),
        ),
        "f107_sfu": flux_variable("date", driver),
        "f107_status": (("date",), np.array(driver.status, dtype=object), {"long_name": "status"}),
    }
    variables |= _sky_variables(sky)
    variables |= _turn_variables(turns)
    coordinates: dict[str, Any] = {
        "date": date_coordinate("date", day, "UTC date"),
        "hour_utc": hour_coordinate(hour),
        "band": band_coordinate(band_names),
        **_broadcast_coordinates(frame, geometry),
    }
    attributes = _global_attributes(
        station,
        schedule,
        name,
        threshold,
        far_km,
        driver,
        left_out,
        long_path,
        step_days,
        hour.size,
    )
    study = xr.Dataset(variables, coordinates, attributes)
    return study.unify_chunks() if chunks else study


def season_of(season: str | None, schedule: Schedule) -> str:
    """The season that is given, else that of the schedule."""
    name = season if season is not None else schedule.season
    if name is None:
        raise InputError("season is not given and the schedule has none; say for example 'B25'")
    return name


def check_threshold(threshold: float) -> None:
    """Refuse a likelihood that no band could pass or fail."""
    if not 0.0 < threshold < 1.0:
        raise InputError(f"threshold = {threshold!r} is outside (0, 1)")


def attrs_of(units: str, long_name: str, source: str) -> dict[str, Any]:
    return {"units": units, "long_name": long_name, "source": source}


def _span_s(season: str) -> tuple[float, float]:
    from farhear import clock

    begin_s, end_s = clock.season_span(season).unix_s.tolist()
    return begin_s, end_s


def days_of(season: str, dates: Iterable[Any] | None) -> NDArray[np.int64]:
    """UTC days since 1970 of the season, or those asked for, sorted and checked."""
    begin_s, end_s = _span_s(season)
    first, last = int(begin_s // _DAY_S), int((end_s - 1.0) // _DAY_S)
    if dates is None:
        return np.arange(first, last + 1)
    try:
        stamps = np.array([np.datetime64(date, "D") for date in dates])
    except (ValueError, TypeError) as cause:
        raise InputError(f"dates holds something that is no date: {cause}") from None
    if stamps.size == 0:
        raise InputError("dates is empty")
    days = np.unique(stamps).astype(np.int64)
    for value in days:
        if not first <= value <= last:
            low, high = np.datetime64(first, "D"), np.datetime64(last, "D")
            raise InputError(
                f"dates: {np.datetime64(int(value), 'D')} is outside season {season}, "
                f"[{low}, {high}]"
            )
    return days


def hours_of(hours: Sequence[int]) -> NDArray[np.int64]:
    values = np.asarray(list(hours))
    if values.size == 0 or values.dtype.kind not in "iu":
        raise InputError(f"hours = {hours!r} is no list of whole hours")
    if values.min() < 0 or values.max() > 23:
        raise InputError(f"hours = {hours!r} is outside [0, 23]")
    return np.unique(values).astype(np.int64)


def usable(schedule: Schedule) -> tuple[pd.DataFrame, pd.DataFrame]:
    digital = schedule.frame["modulation"].to_numpy() == "DIGITAL"
    frame = schedule.frame.loc[~digital]
    if frame.empty:
        raise InputError("the schedule has no broadcast that an AM receiver can hear")
    return frame, schedule.frame.loc[digital]


def driver_of(indices: Any, day: NDArray[np.int64], f107_sfu: float | None) -> Driver:
    if f107_sfu is not None:
        if not 50.0 <= f107_sfu <= 400.0:
            raise InputError(f"f107_sfu = {f107_sfu!r} is outside [50, 400]")
        return Driver(np.full(day.size, float(f107_sfu)), ["given"] * day.size, "given by caller")
    if indices is None:
        from farhear.indices import load_indices

        indices = load_indices()
    flux = indices.f107_12month_sfu(UtcTimes(np.asarray(day * _DAY_S + _DAY_S / 2.0, np.float64)))
    values = np.asarray(flux.f107_sfu, dtype=np.float64)
    return Driver(values, [str(s) for s in flux.status], str(indices.name))


def broadcast_geometry(station: Station, frame: pd.DataFrame) -> dict[str, Any]:
    """Distance, directions and antenna gain of rows of a schedule, towards the station.

    Several beams at once share the power evenly [own]; the direction off the beam is that off the
    nearest of them.

    Returns
    -------
    Arrays of shape (rows,): `distance_km` [km]; `tx_bearing_deg`, `home_bearing_deg`,
    `off_beam_deg` [deg]; `tx_gain_dbi`, the highest gain over all elevations [dBi];
    `tx_gain_sd_db`, how well the antenna is known [dB]; and `pattern_dbi` of shape (rows, 46), the
    gain at elevations 0, 2 to 90 deg [dBi].
    """
    from farhear import antenna, path

    lat_deg = frame["tx_lat_deg"].to_numpy(np.float64)
    lon_deg = frame["tx_lon_deg"].to_numpy(np.float64)
    line = path.inverse(lat_deg, lon_deg, station.lat_deg, station.lon_deg)
    beams = [
        [float(one) for one in text.split("/")] if text else [first]
        for text, first in zip(frame["beams_deg"], frame["azimuth_deg"], strict=True)
    ]
    of = np.repeat(np.arange(len(frame)), [len(each) for each in beams])
    azimuth_deg = np.array([one for each in beams for one in each], dtype=np.float64)
    off_beam_deg = (line.azimuth_deg[of] - azimuth_deg + 180.0) % 360.0 - 180.0
    codes = [code if isinstance(code, str) else "" for code in frame["antenna"]]
    table = antenna.elevation_table_dbi(
        [codes[i] for i in of],
        frame["freq_khz"].to_numpy(np.float64)[of],
        off_beam_deg,
        slew_deg=frame["slew_deg"].to_numpy(np.float64)[of],
        power_kw=frame["power_kw"].to_numpy(np.float64)[of],
        unreadable="typical",
    )
    first = np.searchsorted(of, np.arange(len(frame)))
    gain_dbi, sd_db = table.gain_dbi[first], np.asarray(table.sd_db)[first]
    off_deg = np.abs(off_beam_deg)[first]
    for i in np.flatnonzero(np.bincount(of, minlength=len(frame)) > 1):
        mine = of == i
        gain_dbi[i] = 10.0 * np.log10(np.mean(10.0 ** (table.gain_dbi[mine] / 10.0), axis=0))
        off_deg[i] = np.abs(off_beam_deg[mine]).min()
    return {
        "distance_km": np.asarray(line.distance_km),
        "tx_bearing_deg": np.asarray(line.azimuth_deg),
        "home_bearing_deg": np.asarray(line.back_azimuth_deg),
        "off_beam_deg": off_deg,
        "tx_gain_dbi": gain_dbi.max(axis=1),
        "tx_gain_sd_db": sd_db,
        "pattern_dbi": gain_dbi,
    }


def _sampled(day: NDArray[np.int64], step_days: int) -> NDArray[np.int64] | None:
    """Every so many days of a run of days, its ends included; None: all, as where gaps are."""
    if step_days == 1 or day.size <= step_days or (np.diff(day) != 1).any():
        return None
    return np.unique(np.append(np.arange(day[0], day[-1], step_days), day[-1]))


def _cells(
    keys: Floats,
    day: NDArray[np.int64],
    *,
    some: NDArray[np.int64] | None,
    hour: NDArray[np.int64],
    flux: tuple[NDArray[np.int64], Floats],
    **given: Any,
) -> NDArray[Any]:
    """Work out the cells of rows on days, and between `some` days if not on all.

    A part of the days gives what all of them give: the days around it are worked out with it.
    """
    needed = day
    if some is not None:
        first, last = np.clip(np.searchsorted(some, day[[0, -1]]), 1, some.size - 1)
        needed = some[first - 1 : last + 1]
    cells = circuits(keys, instants_s(needed, hour), np.interp(needed, *flux), **given)
    return cells if some is None else _between(cells, needed, day)


def _between(cells: NDArray[Any], some: NDArray[np.int64], day: NDArray[np.int64]) -> NDArray[Any]:
    """Cells on (row, some days, hour) for all days: linear, or the nearest for codes."""
    after = np.clip(np.searchsorted(some, day), 1, some.size - 1)
    share = ((day - some[after - 1]) / (some[after] - some[after - 1])).astype(np.float32)
    nearest = np.where(share < 0.5, after - 1, after)
    share = share[None, :, None]
    out = np.empty((len(cells), day.size, cells.shape[2]), CELL)
    for key in CELL.names or ():
        values = cells[key]
        if values.dtype == np.uint8:
            out[key] = values[:, nearest]
        else:
            out[key] = values[:, after - 1] * (1 - share) + values[:, after] * share
    return out


def circuit_keys(frame: pd.DataFrame, geometry: dict[str, Any]) -> Floats:
    """What `circuits` needs of each row of a schedule, shape (rows, 51)."""
    return np.column_stack(
        [frame[c].to_numpy(np.float64) for c in ("tx_lat_deg", "tx_lon_deg", "freq_khz")]
        + [frame["power_kw"].to_numpy(np.float64), geometry["tx_gain_sd_db"]]
        + [geometry["pattern_dbi"]]
    )


def circuits(
    keys: Floats,
    unix_s: Floats,
    f107_sfu: Floats,
    *,
    station: Station,
    long_path: str,
    run: Callable[..., Iterable[int]] = map,
    progress: Callable[[int, int], None] | None = None,
) -> NDArray[Any]:
    """Work out the cells of every row at every time; equal circuits are worked out once.

    Parameters
    ----------
    keys
        From `circuit_keys`, shape (rows, 51).
    unix_s, f107_sfu
        Instants, shape (dates, hours), and the flux of each date. [s, sfu]
    station, long_path
        As in `season_study`.
    run
        `map`, or that of a pool.
    progress
        As in `season_study`.

    Returns
    -------
    `CELL`, shape (rows, dates, hours).
    """
    from farhear import reception

    different, which = np.unique(keys, axis=0, return_inverse=True)
    total = len(different)
    flat = UtcTimes(unix_s.reshape(-1))
    flux = np.repeat(f107_sfu, unix_s.shape[1])
    out = np.empty((total, flat.size), CELL)

    def work(block: tuple[slice, slice]) -> int:
        rows, some = different[block[0]], block[1]
        lat, lon, freq, power, sd = (c[:, None] for c in rows.T[:5])
        part = reception.likelihood(
            lat,
            lon,
            station.lat_deg,
            station.lon_deg,
            freq,
            flat[some],
            power_kw=power,
            f107_sfu=flux[some],
            tx_pattern_dbi=rows[:, None, 5:],
            tx_gain_sd_db=sd,
            noise=station.noise,
            bandwidth_hz=station.bandwidth_hz,
            required_snr_db=station.required_snr_db,
            long_path=long_path,
            min_elevation_deg=station.min_elevation_deg,
            brief=True,
        )
        out[block] = packed_cells(part)
        return part["likelihood"].size

    done = 0
    for count in run(work, _blocks_of(different, flat.size)):
        done += count
        if progress is not None:
            progress(done // flat.size, total)
    return out[which.reshape(-1)].reshape(len(keys), *unix_s.shape)


def _blocks_of(keys: Floats, instants: int) -> Iterator[tuple[slice, slice]]:
    """Rows and instants of each call: the rows of one site, which share its rays, or of several."""
    starts = np.flatnonzero((np.diff(keys[:, :2], axis=0, prepend=np.nan) != 0.0).any(axis=1))
    edges = [0]
    for begin, end in pairwise([*starts.tolist(), len(keys)]):
        if begin > edges[-1] and (end - edges[-1]) * instants > _BLOCK:
            edges.append(begin)
    for first, end in pairwise([*edges, len(keys)]):
        length = max(_BLOCK // (end - first), 1)
        for begin in range(0, instants, length):
            yield slice(first, end), slice(begin, begin + length)


def packed_cells(seen: xr.Dataset) -> NDArray[Any]:
    """Keep of what `farhear.reception.likelihood` returned the columns of `CELL`."""
    out = np.empty(seen["likelihood"].shape, CELL)
    for key in CELL.names or ():
        out[key] = seen[key].to_numpy()
    return out


def cell_variables(dims: tuple[str, ...], cells: Mapping[str, Any]) -> dict[str, Any]:
    """Variables of a dataset out of the `fields` of cells."""
    from farhear import reception

    limit = reception.flags(reception.LIMITS, "what limits reception")
    texts = {
        "likelihood": ("1", "likelihood that the broadcast is heard, as if it were on the air"),
        "snr_db": ("dB", "median signal to noise ratio, as if on the air"),
        "muf_mhz": ("MHz", "maximum usable frequency"),
    }
    variables: dict[str, Any] = {
        key: (dims, cells[key], attrs_of(*text, limit["source"])) for key, text in texts.items()
    }
    return variables | {"limit": (dims, cells["limit"], limit)}


def on_air_in(
    rows: NDArray[np.intp], unix_s: Floats, *, schedule: Schedule, season: str
) -> NDArray[np.bool_]:
    """Rows of a schedule at instants, shape (rows, dates, hours), cut at the season's ends."""
    begin_s, end_s = _span_s(season)
    inside = (unix_s >= begin_s) & (unix_s < end_s)
    return schedule.on_air(UtcTimes(unix_s), rows=rows) & inside


def instants_s(day: NDArray[np.int64], hour: NDArray[np.int64]) -> Floats:
    """Middles of the hours of days since 1970, shape (days, hours). [s]"""
    return day[:, None] * _DAY_S + hour[None, :] * _HOUR_S + HALF_HOUR_S


def present_bands(frame: pd.DataFrame) -> list[str]:
    """Bands that occur in a schedule, from low to high frequency."""
    present = set(frame["band"])
    names = [b.name for b in bands.BANDS if b.name in present]
    return names + ([bands.OTHER] if bands.OTHER in present else [])


def rows_in_bands(frame: pd.DataFrame, names: list[str]) -> NDArray[np.bool_]:
    """Which rows of a schedule are in which band, shape (rows, bands)."""
    of_row = frame["band"].to_numpy(dtype=object)
    return np.stack([of_row == name for name in names], axis=1)


def best_of(likelihood: NDArray[np.float32], counted: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Highest likelihood among the counted rows; NaN where none is.

    Shapes: (rows, dates, hours), (rows, n) to (1, n, dates, hours).
    """
    out = np.full((1, counted.shape[1], *likelihood.shape[1:]), np.nan, np.float32)
    for best, rows in zip(out[0], counted.T, strict=True):
        if rows.any():
            best[:] = np.fmax.reduce(likelihood[rows], axis=0)
    return out


# Now or later -----------------------------------------------------------------------------------


def _on_threads(progress: Callable[[int, int], None] | None, *args: Any, **given: Any) -> Any:
    """Run `_cells` on all cores."""
    pool = ThreadPoolExecutor(max_workers=os.cpu_count())
    try:
        return _cells(*args, **given, run=pool.map, progress=progress)
    finally:
        pool.shutdown(cancel_futures=True)


def blocks(
    function: Callable[..., Any],
    out: str,
    dtype: np.dtype[Any],
    cut: Mapping[str, int | tuple[int, ...]] | None,
    arrays: tuple[NDArray[Any], ...],
    axes: tuple[str, ...],
    new: Mapping[str, int] | None = None,
    **given: Any,
) -> Any:
    """Call a function now, or let dask call it for every block of the arrays.

    Parameters
    ----------
    function
        Takes the arrays, or blocks of them, and what is given.
    out, axes
        A letter for each axis of the result and of each array.
    dtype
        Of the result.
    cut
        Length or lengths of the blocks along an axis; others are whole. None: call it now.
    arrays
        Those that are cut.
    new
        Lengths of the axes of the result that no array has.
    **given
        For the function, the same for every block.
    """
    if cut is None:
        return function(*arrays, **given)
    import dask.array as da
    from dask.delayed import delayed

    parts: list[Any] = []
    for array, names in zip(arrays, axes, strict=True):
        parts += [da.from_array(array, chunks=tuple(cut.get(n, -1) for n in names)), names]
    # each of them travels to a worker once, not with every block
    once = {key: delayed(value, traverse=False) for key, value in given.items()}
    meta = np.empty((0,) * len(out), dtype)
    return da.blockwise(
        function, out, *parts, **once, new_axes=dict(new or {}), meta=meta, concatenate=True
    )


def fields(records: Any) -> dict[str, Any]:
    """Each field of an array of records as an array of its own."""
    return {key: _field(records, key) for key in records.dtype.names}


def _field(records: Any, key: str) -> Any:
    if isinstance(records, np.ndarray):
        return np.ascontiguousarray(records[key])
    return records.map_blocks(_field, key, dtype=records.dtype[key])


def _cut(day: NDArray[np.int64], wide: NDArray[np.int64], length: int) -> tuple[int, ...]:
    """Lengths of the blocks of `wide` that hold so many of `day` each."""
    edges = np.searchsorted(wide, day[length::length])
    return tuple(np.diff([0, *edges, wide.size]).tolist())


def _kept(values: NDArray[Any], keep: NDArray[np.bool_]) -> NDArray[Any]:
    return values[:, keep]


def _later_kept(values: Any, keep: NDArray[np.bool_]) -> Any:
    """What `_kept` returns, as a dask array: block by block, so that blocks stay what they are."""
    import dask.array as da

    lengths = values.chunks[1]
    parts = np.split(keep, np.cumsum(lengths)[:-1])
    days = da.from_array(keep, chunks=(lengths,))
    left = {"d": tuple(int(part.sum()) for part in parts)}
    return da.blockwise(
        _kept, "bdh", values, "bdh", days, "d", adjust_chunks=left, meta=values._meta
    )


def _later_best(likelihood: Any, counted: NDArray[np.bool_]) -> Any:
    """What `best_of` returns, as a dask array: block by block, then the best of the blocks."""
    import dask.array as da

    rows = da.from_array(counted, chunks=(likelihood.chunks[0], -1))
    meta = np.empty((0, 0, 0, 0), np.float32)
    best = da.blockwise(
        best_of, "bndh", likelihood, "bdh", rows, "bn", adjust_chunks={"b": 1}, meta=meta
    )
    highest = np.fmax.reduce
    return da.reduction(best, highest, highest, axis=0, keepdims=True, dtype=np.float32)


def _later_turns(likelihood: Any, *args: Any) -> Any:
    """What `_turns` returns, as a dask array: it needs whole runs of days, and they are small."""
    import dask.array as da

    others = [one for arg in args for one in (arg, None)]
    meta = np.empty((0, 0), _TURN)
    return da.blockwise(
        _turns, "nd", likelihood.rechunk(-1), "ndh", *others, meta=meta, concatenate=True
    )


def need(*packages: str) -> None:
    """Refuse to go on without packages of the extra `large`."""
    for package in packages:
        if find_spec(package) is None:
            raise InputError(
                f"the package {package} is not there; install it: pip install 'farhear[large]'"
            )


def checked_chunks(chunks: Mapping[str, int], sizes: Mapping[str, int]) -> dict[str, int]:
    """Chunks for every dimension that can be cut, no longer than it is.

    Raises
    ------
    InputError
        On another dimension, a length that is no whole number from 1, or when dask is not
        installed.
    """
    need("dask")
    if not isinstance(chunks, Mapping):
        raise InputError(f"chunks = {chunks!r} is no mapping such as {dict.fromkeys(sizes, 10)!r}")
    for key, length in chunks.items():
        if key not in sizes:
            raise InputError(f"chunks names {key!r}, which is none of {', '.join(sizes)}")
        if isinstance(length, bool) or not isinstance(length, (int, np.integer)) or length < 1:
            raise InputError(f"chunks[{key!r}] = {length!r} is no whole number from 1")
    return {key: min(int(chunks.get(key, size)), size) for key, size in sizes.items()}


# The sun at home --------------------------------------------------------------------------------


def _sky(station: Station, day: NDArray[np.int64], times: UtcTimes) -> dict[str, Any]:
    from farhear import clock, sun

    here = sun.position(times, station.lat_deg, station.lon_deg)
    dates = day.astype("datetime64[D]")
    events = sun.events(dates, station.lat_deg, station.lon_deg, station.time_zone)
    offset_min = clock.offset_min(times, station.time_zone)
    return {
        "zenith_deg": np.asarray(here.zenith_deg, dtype=np.float32),
        "rise_s": np.asarray(events.rise_utc.unix_s),
        "set_s": np.asarray(events.set_utc.unix_s),
        "offset_min": np.asarray(offset_min, dtype=np.float64),
    }


def _sky_variables(sky: dict[str, Any]) -> dict[str, Any]:
    text = "on the local calendar day of the same date; hour of the UTC day"
    return {
        "sun_zenith_deg": (
            ("date", "hour_utc"),
            sky["zenith_deg"],
            attrs_of("degree", "zenith angle of the sun at home", "farhear.sun"),
        ),
        "utc_offset_min": (
            ("date", "hour_utc"),
            sky["offset_min"].astype(np.int16),
            attrs_of("min", "local time minus UTC", "tz database"),
        ),
        "sunrise_hour_utc": (
            ("date",),
            sky["rise_s"] % _DAY_S / _HOUR_S,
            attrs_of("h", f"sunrise at home {text}", "farhear.sun"),
        ),
        "sunset_hour_utc": (
            ("date",),
            sky["set_s"] % _DAY_S / _HOUR_S,
            attrs_of("h", f"sunset at home {text}", "farhear.sun"),
        ),
    }


# Opening and closing ----------------------------------------------------------------------------


def crossing(
    t_s: Floats, value: Floats, threshold: float, *, rising: bool, last: bool = False
) -> tuple[float, int]:
    """When a band opens or closes in a half day, seen from solar noon.

    At dusk the run begins at noon and the first change counts, at dawn it ends at noon and the
    last change counts. So a band that is closed at noon can open at dusk and close at dawn, one
    that is open at noon the other way round; a second opening in the night is neither.

    Parameters
    ----------
    t_s, value
        Samples in order of time, shape (n,); a NaN value means unknown.
    threshold
        Level; a sample at the level counts as above. Linear interpolation between samples.
    rising
        Whether the way up or the way down is sought.
    last
        Whether noon is the end of the run (dawn) rather than its start (dusk).

    Returns
    -------
    time, state
        Time of the crossing (NaN when there is none) and a key of `TURN_STATES`.

    Examples
    --------
    >>> import numpy as np
    >>> crossing(np.array([0.0, 1.0]), np.array([0.25, 0.75]), 0.5, rising=True)
    (0.5, 0)
    """
    if value.size < 2 or np.isnan(value).any():
        return np.nan, 4
    above = value >= threshold
    if above.all():
        return np.nan, 1
    if not above.any():
        return np.nan, 2
    if above[-1 if last else 0] != (rising == last):
        return np.nan, 3
    turns = np.flatnonzero(above[1:] & ~above[:-1] if rising else above[:-1] & ~above[1:])
    i = int(turns[-1 if last else 0])
    share = (threshold - value[i]) / (value[i + 1] - value[i])
    return float(t_s[i] + share * (t_s[i + 1] - t_s[i])), 0


def _turns(
    likelihood: NDArray[np.float32], t_unix_s: Floats, sky: dict[str, Any], threshold: float
) -> NDArray[Any]:
    """Opening and closing around dusk (solar noon to midnight) and dawn (midnight to noon)."""
    n_band, n_day = likelihood.shape[0], t_unix_s.shape[0]
    origin_s = t_unix_s[0, 0] // _HOUR_S * _HOUR_S + HALF_HOUR_S
    slot = np.rint((t_unix_s - origin_s) / _HOUR_S).astype(np.int64).reshape(-1)
    series = np.full((n_band, slot[-1] + 1), np.nan)
    series[:, slot] = likelihood.reshape(n_band, -1)
    noon_s = (sky["rise_s"] + sky["set_s"]) / 2.0
    noon_s = np.where(sky["set_s"] > sky["rise_s"], noon_s, np.nan)
    out = np.zeros((n_band, n_day), _TURN)
    for part, begin_s, sun_s in (
        ("dusk", noon_s, sky["set_s"]),
        ("dawn", noon_s - _DAY_S / 2.0, sky["rise_s"]),
    ):
        for direction, rising in (("opening", True), ("closing", False)):
            minutes, state = (out[f"{part}_{direction}_{what}"] for what in ("min", "state"))
            minutes[:], state[:] = np.nan, 4
            for d in np.flatnonzero(~np.isnan(begin_s)):
                low = int(np.ceil((begin_s[d] - origin_s) / _HOUR_S))
                high = int(np.floor((begin_s[d] + _DAY_S / 2.0 - origin_s) / _HOUR_S))
                if low < 0 or high >= series.shape[1]:
                    continue
                t_s = origin_s + np.arange(low, high + 1) * _HOUR_S
                for b in range(n_band):
                    at_s, state[b, d] = crossing(
                        t_s,
                        series[b, low : high + 1],
                        threshold,
                        rising=rising,
                        last=part == "dawn",
                    )
                    minutes[b, d] = (at_s - sun_s[d]) / 60.0
    return out


def _turn_variables(turns: Mapping[str, Any]) -> dict[str, Any]:
    variables: dict[str, Any] = {}
    for name in TURNS:
        part, direction = name.split("_")
        event = "sunset" if part == "dusk" else "sunrise"
        verb = "opens" if direction == "opening" else "closes"
        variables[f"{name}_min"] = (
            ("band", "date"),
            turns[f"{name}_min"],
            {
                **attrs_of(
                    "min", f"when the band {verb} at {part}, after {event}", "far_likelihood"
                ),
                "comment": "the change of the half day nearest to solar noon, interpolated "
                "linearly between hourly values",
                "ancillary_variables": f"{name}_state",
            },
        )
        variables[f"{name}_state"] = (
            ("band", "date"),
            turns[f"{name}_state"],
            {
                "long_name": f"what the half day around {part} holds: does the band {verb[:-1]}?",
                "flag_values": np.array(list(TURN_STATES), dtype=np.uint8),
                "flag_meanings": " ".join(TURN_STATES.values()),
            },
        )
    return variables


# Coordinates and attributes ---------------------------------------------------------------------


def date_coordinate(dim: str, day: NDArray[np.int64], long_name: str) -> tuple[Any, ...]:
    """Days since 1970 as an axis of time."""
    stamps = (day * 86400).astype("datetime64[s]").astype("datetime64[ns]")
    return (dim,), stamps, {"standard_name": "time", "long_name": long_name, "axis": "T"}


def flux_variable(dim: str, driver: Driver) -> tuple[Any, ...]:
    """The flux that the results rest on."""
    text = "12-month smoothed solar flux at 10.7 cm, observed series"
    return (dim,), driver.f107_sfu, attrs_of("sfu", text, driver.digest)


def hour_coordinate(hour: NDArray[np.int64]) -> tuple[Any, ...]:
    """Hours of the UTC day, which stand for their middles."""
    text = "hour of the UTC day; h stands for the instant h:30"
    return ("hour_utc",), hour.astype(np.int16), {"units": "h", "long_name": text}


def band_coordinate(names: list[str]) -> tuple[Any, ...]:
    """Names of bands."""
    return ("band",), np.array(names, dtype=object), {"long_name": "broadcast band"}


def _broadcast_coordinates(frame: pd.DataFrame, geometry: dict[str, Floats]) -> dict[str, Any]:
    units = {
        "freq_khz": ("kHz", "carrier frequency"),
        "power_kw": ("kW", "carrier power"),
        "tx_lat_deg": ("degrees_north", "latitude of the transmitter"),
        "tx_lon_deg": ("degrees_east", "longitude of the transmitter"),
        "azimuth_deg": ("degree", "direction of maximum radiation; missing: non-directional"),
        "distance_km": ("km", "distance on WGS84"),
        "tx_bearing_deg": ("degree", "direction to home at the transmitter"),
        "home_bearing_deg": ("degree", "direction to the transmitter at home"),
        "off_beam_deg": ("degree", "angle between beam and direction to home"),
        "tx_gain_dbi": ("dBi", "highest antenna gain towards home over all elevations"),
        "tx_gain_sd_db": ("dB", "how well that antenna is known, standard deviation"),
    }
    out: dict[str, Any] = {
        "broadcast": (
            ("broadcast",),
            frame["row"].to_numpy(np.int64),
            {"long_name": "line of the broadcast in the schedule file"},
        )
    }
    for name in ("band", "broadcaster", "language", "site", "start_utc", "stop_utc", "days"):
        key = "broadcast_band" if name == "band" else name
        values = frame[name].to_numpy(dtype=object)
        out[key] = (("broadcast",), values, {"long_name": name.replace("_", " ")})
    for name, (unit, long_name) in units.items():
        values = geometry[name] if name in geometry else frame[name].to_numpy(np.float64)
        out[name] = (("broadcast",), values, {"units": unit, "long_name": long_name})
    return out


def _global_attributes(
    station: Station,
    schedule: Schedule,
    season: str,
    threshold: float,
    far_km: float,
    driver: Driver,
    left_out: pd.DataFrame,
    long_path: str,
    step_days: int,
    n_hours: int,
) -> dict[str, Any]:
    import farhear
    from farhear import clock

    return {
        "Conventions": "CF-1.11",
        "title": f"Shortwave broadcast season {season} at {station.name}",
        "source": f"farhear {farhear.__version__}",
        "season": season,
        "station": station.name,
        "time_zone": station.time_zone,
        "mid_latitude_home": int(30.0 <= abs(station.lat_deg) <= 60.0),
        "noise": str(station.noise),
        "bandwidth_hz": station.bandwidth_hz,
        "required_snr_db": station.required_snr_db,
        "min_elevation_deg": station.min_elevation_deg,
        "long_path": long_path,
        "step_days": step_days,
        "threshold": threshold,
        "far_km": far_km,
        "schedule": schedule.source,
        "schedule_sha256": schedule.sha256,
        "schedule_season": schedule.season or "",
        "schedule_note": schedule.note,
        "left_out": f"{len(left_out)} digital broadcasts",
        "index_status": driver.text(),
        "index_source": driver.digest,
        "tzdata_edition": clock.tzdata_edition(),
        "data_digests": json.dumps(data_digests(), sort_keys=True),
        "complete": int(n_hours == 24),
        "privacy": "distances and sun times place the home: share this file with care",
    }


def data_digests() -> dict[str, str]:
    """SHA-256 of the shipped data files that a study rests on."""
    from farhear import _data

    wanted = ("bands", "ccir", "igrf", "indices")
    return {
        f"{one.data_set}/{one.name}": one.sha256
        for one in _data.coverage()
        if one.data_set in wanted
    }


# Tables from a study ----------------------------------------------------------------------------


def band_weeks(study: xr.Dataset) -> pd.DataFrame:
    """How each band ran in each ISO week.

    Returns
    -------
    One row per band and ISO week: `season`, `band`, `iso_year`, `iso_week`, `first_date`, `days`;
    `opening_days` (days that open at dusk) and `opens_after_sunset_min` with `_p25`, `_p75`
    (median and quartiles over those days, NaN when none); `closing_days` and
    `closes_after_sunrise_min` likewise for closing at dawn; `day_openings_after_sunrise_min` and
    `day_closings_after_sunset_min` for bands of the day (median); `best_hour_utc` (hhmm, the
    instant of the hour with the highest mean of `far_likelihood`), `best_hour_local` (the same
    instant on the wall clock of the week's middle date), `highest_likelihood` (that mean), and
    `broadcasts_count`, `far_count`. A band without a far circuit has empty cells.
    """
    dates = pd.DatetimeIndex(study["date"].to_numpy())
    calendar = dates.isocalendar()
    weeks = (calendar["year"] * 100 + calendar["week"]).to_numpy(dtype=np.int64)
    hours = study["hour_utc"].to_numpy()
    far_likelihood = study["far_likelihood"].to_numpy()
    offset_min = study["utc_offset_min"].to_numpy()
    turns = {key: study[f"{key}_min"].to_numpy() for key in TURNS}
    rows: list[dict[str, Any]] = []
    for b, name in enumerate(study["band"].to_numpy()):
        for week in np.unique(weeks):
            at = np.flatnonzero(weeks == week)
            mean = far_likelihood[b, at].mean(axis=0, dtype=np.float64)
            best = int(np.argmax(mean))
            known = not np.isnan(mean[best])
            minute = int(hours[best]) * 60 + 30
            local = (minute + int(offset_min[at[at.size // 2], best])) % 1440
            opens = _spread(turns["dusk_opening"][b, at])
            closes = _spread(turns["dawn_closing"][b, at])
            rows.append(
                {
                    "season": study.attrs["season"],
                    "band": str(name),
                    "iso_year": int(week // 100),
                    "iso_week": int(week % 100),
                    "first_date": dates[at[0]].date().isoformat(),
                    "days": at.size,
                    "opening_days": opens[0],
                    "opens_after_sunset_min": opens[2],
                    "opens_after_sunset_min_p25": opens[1],
                    "opens_after_sunset_min_p75": opens[3],
                    "closing_days": closes[0],
                    "closes_after_sunrise_min": closes[2],
                    "closes_after_sunrise_min_p25": closes[1],
                    "closes_after_sunrise_min_p75": closes[3],
                    "day_opens_after_sunrise_min": _spread(turns["dawn_opening"][b, at])[2],
                    "day_closes_after_sunset_min": _spread(turns["dusk_closing"][b, at])[2],
                    "best_hour_utc": _hhmm(minute) if known else "",
                    "best_hour_local": _hhmm(local) if known else "",
                    "highest_likelihood": float(mean[best]),
                    "broadcasts_count": int(study["broadcasts_count"].to_numpy()[b]),
                    "far_count": int(study["far_count"].to_numpy()[b]),
                }
            )
    return pd.DataFrame(rows)


def _hhmm(minutes: int) -> str:
    return f"{minutes // 60:02d}{minutes % 60:02d}"


def _spread(minutes: Floats) -> tuple[int, float, float, float]:
    """Count, lower quartile, median, upper quartile of what is not NaN."""
    known = minutes[~np.isnan(minutes)]
    if known.size == 0:
        return 0, np.nan, np.nan, np.nan
    low, middle, high = np.quantile(known, [0.25, 0.5, 0.75])
    return known.size, float(low), float(middle), float(high)


def summary(study: xr.Dataset) -> pd.DataFrame:
    """One row per band for the whole study.

    Returns
    -------
    `band`, `broadcasts_count`, `open_hours_utc` and `open_hours_local` (hours whose mean
    `far_likelihood` reaches the threshold, as ranges hhmm-hhmm of whole hours; local by the
    clock of the middle date), `best_hour_utc`, `best_likelihood`, `opening_days`,
    `opens_after_sunset_min` with quartiles, `closes_after_sunrise_min`.
    """
    hours = study["hour_utc"].to_numpy()
    mean = study["far_likelihood"].to_numpy().mean(axis=1, dtype=np.float64)
    middle = study.sizes["date"] // 2
    offset_min = int(study["utc_offset_min"].to_numpy()[middle, len(hours) // 2])
    rows: list[dict[str, Any]] = []
    for b, name in enumerate(study["band"].to_numpy()):
        is_open = np.zeros(24, dtype=bool)
        is_open[hours] = mean[b] >= study.attrs["threshold"]
        best = int(np.argmax(mean[b]))
        opens = _spread(study["dusk_opening_min"].to_numpy()[b])
        closes = _spread(study["dawn_closing_min"].to_numpy()[b])
        rows.append(
            {
                "band": str(name),
                "broadcasts_count": int(study["broadcasts_count"].to_numpy()[b]),
                "open_hours_utc": hour_ranges(is_open),
                "open_hours_local": hour_ranges(is_open, offset_min),
                "best_hour_utc": "" if np.isnan(mean[b, best]) else f"{int(hours[best]):02d}30",
                "best_likelihood": float(mean[b, best]),
                "opening_days": opens[0],
                "opens_after_sunset_min": opens[2],
                "opens_after_sunset_min_p25": opens[1],
                "opens_after_sunset_min_p75": opens[3],
                "closes_after_sunrise_min": closes[2],
            }
        )
    return pd.DataFrame(rows)


def hour_ranges(is_open: NDArray[np.bool_], offset_min: int = 0) -> str:
    """Write the open ones of 24 hours as ranges, going round midnight.

    Examples
    --------
    >>> import numpy as np
    >>> hour_ranges(np.isin(np.arange(24), [22, 23, 0, 1, 12]))
    '1200-1300 2200-0200'
    >>> hour_ranges(np.ones(24, dtype=bool))
    'all day'
    """
    if is_open.all():
        return "all day"
    starts = np.flatnonzero(is_open & ~np.roll(is_open, 1))
    ranges = []
    for start in starts:
        length = 1
        while is_open[(start + length) % 24]:
            length += 1
        ends = (
            (int(start) * 60 + offset_min) % 1440,
            (int(start + length) * 60 + offset_min) % 1440,
        )
        ranges.append("-".join(_hhmm(m) for m in ends))
    return " ".join(ranges)

"""Does the likelihood agree with what was heard? Scores of checks, by the listener's own material.

A *check* is one look at one channel at one instant: heard or not. Checks come from a table that
anyone can write (:func:`read_checks`) or from the listener's log and a schedule
(:func:`checks_from_log`); :func:`score` sets the likelihood of :mod:`farhear.reception` against
them, :func:`fit_flux` finds the solar flux that fits them best.

What is scored, and how to read it
----------------------------------
Order (ROC area), size (Brier score) and worth (skill: share of the Brier score of a simpler
forecast that the likelihood takes away; 0 is no better, below 0 is worse). The simpler forecasts
are rates of *other* days of the same checks: of all, of the same path, of the same month and hour.
A log says how often its listener hears, with his ears and his noise; the likelihood is a
probability on the model's own terms. So everything is given twice: as it is, and after a
correction of two parameters that each day gets from the other days.

Checks of one day resemble each other: intervals come from drawing whole days. One listener, one
antenna, one season stay one listener, one antenna, one season.

Columns of a table of checks (see :mod:`farhear.tables` for the form of the file)

================ ======== ======================================================================
column           needed   meaning
================ ======== ======================================================================
utc              yes      instant, RFC 3339 with Z or an offset: 2026-11-25T18:00Z
tx_lat_deg       yes      emitter, north positive. [deg]
tx_lon_deg       yes      emitter, east positive, -180 to 180. [deg]
rx_lat_deg       yes      receiver. [deg]
rx_lon_deg       yes      receiver. [deg]
freq_khz         yes      1600 to 30000. [kHz]
heard            yes      1, yes, true or 0, no, false; or an outcome: heard, carrier_only,
                          not_heard, blocked, not_checked. The last two are kept, but say nothing.
                          carrier_only is heard where the required S/N is that of a carrier
                          (6 dB, `farhear.listening.LADDER`) or less, and not heard elsewhere.
power_kw         no [#a]_ above 0, at most 2000. [kW]
tx_gain_dbi      no       gain of the emitter's antenna towards the receiver, -60 to 40. [dBi]
bandwidth_hz     no       of the receiver, 0.01 to 1e6. [Hz]
required_snr_db  no       in that bandwidth, what counts as heard, -60 to 80. [dB]
noise_fa_db      no       measured noise figure at that frequency, -60 to 200. [dB above k T0 b]
block            no       what belongs together, as text; empty: the UTC day
================ ======== ======================================================================

.. [#a] An empty cell takes the value given to the reader.
"""

from __future__ import annotations

import contextlib
import itertools
import os
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from farhear import band, forecast, listening, magnetic, path, reception, skill, sun
from farhear._arrays import FLUX_SFU, Floats, as_float64, check_range
from farhear.errors import InputError
from farhear.indices import DRIVERS, Indices, load_indices
from farhear.layouts import read_cells
from farhear.log import OUTCOMES, Log, instant, outcome_word, read_log
from farhear.schedule import Schedule
from farhear.station import NOISE_CLASSES, Station
from farhear.tables import (
    Cells,
    Column,
    Faults,
    Table,
    counted,
    frequency_khz,
    near_name,
    number,
    parse_cells,
    plain_name,
    plain_text,
)
from farhear.times import UtcTimes, to_index, unix_s
from farhear.times import utc as to_utc

if TYPE_CHECKING:
    from farhear.skywave import Physics

__all__ = [
    "DISTANCE_EDGES_KM",
    "FEWEST_CHECKS",
    "FEWEST_DAYS",
    "FLUXES",
    "OUTCOMES",
    "Checks",
    "FluxFit",
    "Scores",
    "checks_from_log",
    "fit_flux",
    "read_checks",
    "score",
]

Codes = NDArray[np.int64]
Flags = NDArray[np.bool_]
Progress = Callable[[int, int], None]

FLUXES = (*DRIVERS, "forecast")
"""Fluxes that checks can be scored with."""
FEWEST_CHECKS = 30
"""Below this many checks a note says that they are too few to judge; common practice, no source."""
FEWEST_DAYS = 5
"""Below this many days (blocks) likewise."""
DISTANCE_EDGES_KM = (0.0, 500.0, 1500.0, 3000.0, 6000.0, 10000.0, np.inf)
"""Classes of distance, the lower edge belongs to the class. [km]"""

_RESIDUAL_EDGES = {
    "kp": (0.0, 2.0, 3.0, 4.0, 5.0, np.inf),
    "zenith_deg": (0.0, 60.0, 80.0, 90.0, 100.0, 120.0, np.inf),
    "geomagnetic_lat_deg": (0.0, 20.0, 40.0, 50.0, 60.0, 70.0, np.inf),
}
_FIT_SFU = (60.0, 250.0)  # mean flux after the offset
_FIT_STEP_SFU = 10.0
_FIT_DAYS = 3
_CHUNK = 2000
_DAY_S = 86400.0
_KP_S = 10800.0


# Tables of checks -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Checks(Table):
    """Checks of channels, with all that the likelihood needs to know about each.

    `frame` has, beside `row`: `utc` (aware), `tx_lat_deg`, `tx_lon_deg`, `rx_lat_deg`,
    `rx_lon_deg`, `freq_khz`, `outcome` (one of `OUTCOMES`), `heard` (1, 0, or NaN where the
    outcome says nothing), `power_kw`, `tx_gain_dbi`, `tx_gain_sd_db`, `bandwidth_hz`,
    `required_snr_db`, `noise` (environment; empty where the figure is measured), `noise_fa_db`,
    `min_elevation_deg`, `block` (text), and from a log `identity` and `schedule_row`.

    Attributes
    ----------
    pattern_dbi
        Gain at elevations 0, 2 to 90 deg, relative to `tx_gain_dbi`, shape (rows, 46), or empty
        for none. [dB]
    """

    pattern_dbi: Floats = field(default_factory=lambda: np.empty(0))

    def __len__(self) -> int:
        return len(self.frame)

    @property
    def is_evidence(self) -> Flags:
        """Rows that tell heard from not heard, shape (rows,)."""
        return np.asarray(self.frame["heard"].notna().to_numpy(dtype=np.bool_))

    def text(self) -> str:
        """One sentence: how many were read, refused, and count."""
        says = int(self.is_evidence.sum())
        text = (
            f"{self.source}: {self.rows_read} rows read, {len(self)} accepted, "
            f"{self.rows_rejected} refused; {says} count"
        )
        silent = self.frame.loc[~self.is_evidence, "outcome"].value_counts().sort_index()
        if len(silent):
            words = ", ".join(f"{count} {name}" for name, count in silent.items())
            text += f" (left out: {words})"
        return text


def _check_one_of(name: str, value: str, known: Sequence[str]) -> None:
    if value not in known:
        names = ", ".join(map(repr, known))
        raise InputError(f"{name} = {value!r} is none of {names}{near_name(value, known)}")


ENDS = ("tx_lat_deg", "tx_lon_deg", "rx_lat_deg", "rx_lon_deg")
NUMBERS = (
    *("power_kw", "tx_gain_dbi", "tx_gain_sd_db", "bandwidth_hz", "required_snr_db"),
    *("noise_fa_db", "min_elevation_deg"),
)
_LATITUDE = number(-90.0, 90.0, hint="latitude comes before longitude: are the two swapped?")
_LONGITUDE = number(-180.0, 180.0)
_DEFAULTED = {
    "power_kw": number(0.0, 2000.0, open_low=True, hint="are these watts?"),
    "tx_gain_dbi": number(-60.0, 40.0),
    "bandwidth_hz": number(0.01, 1e6),
    "required_snr_db": number(-60.0, 80.0),
}
_CHECK_COLUMNS = (
    Column("utc", instant(None)),
    *(Column(name, _LATITUDE if "lat" in name else _LONGITUDE) for name in ENDS),
    Column("freq_khz", frequency_khz),
    Column("heard", outcome_word),
    Column("noise_fa_db", number(-60.0, 200.0), False, False, np.nan),
    Column("block", plain_text(80), False, False, ""),
)


def read_checks(
    path: str | Path,
    *,
    power_kw: float | None = None,
    tx_gain_dbi: float = 0.0,
    bandwidth_hz: float = 9000.0,
    required_snr_db: float = 17.0,
    noise: str | float = "residential",
    columns: Mapping[str, str] | None = None,
    encoding: str | None = None,
    delimiter: str | None = None,
) -> Checks:
    """Read a table of checks from CSV.

    Parameters
    ----------
    path
        File of the form described in this module; it is only read.
    power_kw, tx_gain_dbi, bandwidth_hz, required_snr_db
        For rows that do not say; without a power such a row is refused. [kW], [dBi], [Hz], [dB]
    noise
        For rows without `noise_fa_db`: "city", "residential", "rural", "quiet rural", or a measured
        noise figure. [dB above k T0 b]
    columns
        Our column name -> name in the file's header.
    encoding, delimiter
        See :func:`farhear.layouts.read_cells`.

    Returns
    -------
    Checks
        ``rows_read == len(frame) + number of rejected rows``.

    Raises
    ------
    InputError
        When the file as a whole cannot be understood, has no rows, or a default is out of range.
    OSError
        When the file cannot be opened.
    """
    given = {"power_kw": power_kw, "tx_gain_dbi": tx_gain_dbi, "bandwidth_hz": bandwidth_hz}
    given["required_snr_db"] = required_snr_db
    for name, value in given.items():
        try:
            if value is not None:
                _DEFAULTED[name](repr(float(value)))
        except ValueError as fault:
            raise InputError(f"{name} = {value!r}: {fault}") from None
    environment, figure = _noise(noise)
    own = [Column(name, parse, False, False, given[name]) for name, parse in _DEFAULTED.items()]
    cells = _cells(path, [*_CHECK_COLUMNS, *own], columns, encoding, delimiter)
    if power_kw is None and "power_kw" not in cells.header:
        raise InputError(
            f"{cells.source}: there is no column 'power_kw', and no power_kw was given"
        )

    def check_row(values: dict[str, Any], _: dict[str, str], rejects: Faults, row: int) -> None:
        if values.get("power_kw", 0.0) is None:
            rejects.add(row, "power_kw", "", "empty, and no power_kw was given for such rows")

    frame, rejects, warnings = parse_cells(cells, [*_CHECK_COLUMNS, *own], check_row)
    measured = frame["noise_fa_db"].astype(np.float64)
    out = frame.rename(columns={"heard": "outcome"}).assign(
        noise=np.where(measured.isna(), environment, ""),
        noise_fa_db=measured.fillna(figure),
        tx_gain_sd_db=0.0,
        min_elevation_deg=1.0,
    )
    return _checks(out, cells, rejects, warnings)


def _noise(noise: str | float) -> tuple[str, float]:
    """Environment and measured figure, one of them empty."""
    if isinstance(noise, str):
        _check_one_of("noise", noise, NOISE_CLASSES)
        return noise, float("nan")
    figure = as_float64("noise", noise)
    check_range("noise", figure, -60.0, 200.0)
    return "", float(figure)


def _cells(
    path: str | Path,
    columns: Sequence[Column],
    renamed: Mapping[str, str] | None,
    encoding: str | None,
    delimiter: str | None,
) -> Cells:
    known = [column.name for column in columns]
    for name in renamed or ():
        if name not in known:
            raise InputError(f"columns names {name!r}, unknown{near_name(name, known)}")
    cells = read_cells(path, encoding=encoding, delimiter=delimiter, columns=renamed)
    if not cells.rows:
        raise InputError(f"{cells.source} has a header but no rows")
    return cells


def _checks(
    frame: pd.DataFrame,
    read: Cells | Table,
    rejects: Faults,
    warnings: Faults,
    pattern_dbi: Floats | None = None,
) -> Checks:
    """Types, derived columns, and doubts about doubled rows."""
    utc = pd.Series(to_index(UtcTimes(frame["utc"].to_numpy(np.float64))), frame.index)
    outcome, block = frame["outcome"].astype("str"), frame["block"].astype("str")
    numbers = frame[[*ENDS, "freq_khz", *NUMBERS]].astype(np.float64)
    easy = numbers["required_snr_db"] <= listening.LADDER["carrier audible"]
    heard = (outcome == "heard") | ((outcome == "carrier_only") & easy)
    look = pd.concat([utc.rename("utc"), numbers[[*ENDS, "freq_khz"]]], axis=1)
    out = look.assign(
        outcome=outcome,
        heard=heard.astype(np.float64).mask(outcome.isin(["blocked", "not_checked"])),
        **{name: numbers[name] for name in NUMBERS},
        noise=frame["noise"].astype("str"),
        block=block.where(block != "", utc.dt.strftime("%Y-%m-%d").astype("str")),
    )
    out.insert(0, "row", frame["row"].astype(np.int64))
    for name in ("identity", "schedule_row"):
        if name in frame:
            out[name] = frame[name]
    for row in out.loc[look.duplicated(), "row"]:
        warnings.add(int(row), "utc", "", "same instant, places and frequency as a row before")
    return Checks.of(
        read,
        out,
        rejects,
        warnings,
        pattern_dbi=np.empty(0) if pattern_dbi is None else pattern_dbi,
    )


def checks_from_log(log: Log | str | Path, station: Station, schedule: Schedule) -> Checks:
    """Look up in the schedule what each check of the listener's log was of.

    A check belongs to the broadcast that is on the air at its middle, on the same frequency, with
    `identity` the same broadcaster (small and capital letters are the same). The schedule gives
    place, power and beam, the station the receiver's side. A check of something else is refused
    with the reason: without an emitter there is no likelihood.

    Parameters
    ----------
    log
        From :func:`farhear.log.read_log`, or the path of a log. Of a check that heard nothing,
        `identity` is who was looked for.
    station, schedule
        The home, and the broadcasts on the air at the time.

    Returns
    -------
    Checks
        With `identity` and `schedule_row`, the line in the schedule. Where several broadcasts fit
        (one programme from two sites) the one with the largest power is taken, with a warning. The
        rejects and warnings of the log are among those here.

    Raises
    ------
    InputError
        As :func:`farhear.log.read_log`, or when the log has no rows.
    OSError
        When the file cannot be opened.
    """
    from farhear.season import broadcast_geometry

    table = log if isinstance(log, Log) else read_log(log)
    if not table.rows_read:
        raise InputError(f"{table.source} has a header but no rows")
    rejects, warnings = (
        Faults(list(faults.itertuples(index=False, name=None)))
        for faults in (table.rejects, table.warnings)
    )
    unnamed = table.frame["identity"] == ""
    for row in table.frame.loc[unnamed, "row"]:
        rejects.add(int(row), "identity", "", "empty: no broadcast to look up")
    frame = table.frame[~unnamed].reset_index(drop=True)
    middle_s = (unix_s(frame["start_utc"]) + unix_s(frame["end_utc"])) / 2.0
    at = _matches(frame, middle_s, schedule, rejects, warnings)
    known = at >= 0
    listed = schedule.frame.iloc[at[known]].reset_index(drop=True)
    used, which = np.unique(at[known], return_inverse=True)
    geometry = broadcast_geometry(station, schedule.frame.iloc[used])
    gain_dbi = geometry["tx_gain_dbi"][which]
    environment, figure = _noise(station.noise)
    out = listed[["tx_lat_deg", "tx_lon_deg", "freq_khz", "power_kw"]].assign(
        row=frame["row"].to_numpy()[known],
        utc=middle_s[known],
        rx_lat_deg=station.lat_deg,
        rx_lon_deg=station.lon_deg,
        tx_gain_dbi=gain_dbi,
        tx_gain_sd_db=geometry["tx_gain_sd_db"][which],
        bandwidth_hz=station.bandwidth_hz,
        required_snr_db=station.required_snr_db,
        noise=environment,
        noise_fa_db=figure,
        min_elevation_deg=station.min_elevation_deg,
        outcome=frame["outcome"].to_numpy()[known],
        block="",
        identity=frame["identity"].astype("str").to_numpy()[known],
        schedule_row=listed["row"],
    )
    pattern = geometry["pattern_dbi"][which] - gain_dbi[:, None]
    return _checks(out, table, rejects, warnings, pattern)


def _matches(
    frame: pd.DataFrame, middle_s: Floats, schedule: Schedule, rejects: Faults, warnings: Faults
) -> Codes:
    """Position in the schedule of each check, -1 where it is refused."""
    listed = schedule.frame
    freq, power = (listed[name].to_numpy(np.float64) for name in ("freq_khz", "power_kw"))
    names, wanted = (
        np.array([plain_name(name) for name in column], dtype=object)
        for column in (listed["broadcaster"], frame["identity"])
    )
    is_digital = (listed["modulation"] == "DIGITAL").to_numpy()
    checked = frame["freq_khz"].to_numpy(np.float64)
    out = np.full(len(frame), -1, dtype=np.int64)
    for khz in np.unique(checked):
        checks, rows = np.flatnonzero(checked == khz), np.flatnonzero(freq == khz)
        on_air = schedule.on_air(UtcTimes(middle_s[checks]), rows=rows)
        for column, check in enumerate(checks):
            line, shown = int(frame["row"].iloc[check]), str(frame["identity"].iloc[check])
            same = names[rows] == wanted[check]
            fits = rows[same & on_air[:, column]]
            analogue = fits[~is_digital[fits]]
            if analogue.size:
                out[check] = best = analogue[np.argmax(power[analogue])]
                if analogue.size > 1:
                    lines = ", ".join(str(int(row)) for row in listed["row"].iloc[analogue])
                    taken = f"the one of {power[best]:g} kW is taken"
                    reason = f"lines {lines} of the schedule fit; {taken}"
                    warnings.add(line, "identity", shown, reason)
                continue
            if fits.size:
                reason = "the schedule has it as digital, which no AM receiver hears"
            elif same.any():
                reason = f"not on the air on {khz:g} kHz at that time, says the schedule"
            else:
                reason = f"not in the schedule on {khz:g} kHz"
            rejects.add(line, "identity", shown, reason)
    return out


# The likelihood of checks -----------------------------------------------------------------------


class CheckFlux(NamedTuple):
    """Flux of each check, how uncertain it is, and in words where it comes from."""

    sfu: Floats
    sd_sfu: Floats
    text: str

    def moved(self, more_sfu: float) -> CheckFlux:
        """The same, so much higher, within the range of the likelihood."""
        return self._replace(sfu=np.clip(self.sfu + more_sfu, *FLUX_SFU))


def flux_of_checks(
    checks: Checks, f107_sfu: ArrayLike | None, driver: str, indices: Indices
) -> CheckFlux:
    """Solar flux of each check: as given, or by one of `FLUXES`."""
    count = len(checks)
    _check_one_of("driver", driver, FLUXES)
    if f107_sfu is not None:
        given = as_float64("f107_sfu", f107_sfu)
        check_range("f107_sfu", given, *FLUX_SFU)
        if given.shape not in ((), (count,)) or np.isnan(given).any():
            raise InputError(
                f"f107_sfu has shape {given.shape} or a gap; one number is needed, or one for each "
                f"of {count} checks"
            )
        return CheckFlux(
            np.broadcast_to(given, (count,)), np.zeros(count), "as given by the caller"
        )
    when = to_utc(checks.frame["utc"])
    if driver == "forecast":
        days, which = np.unique(when.unix_s // _DAY_S, return_inverse=True)
        told = [
            forecast.flux(indices, np.datetime64(int(day), "D"), UtcTimes((day + 0.5) * _DAY_S))
            for day in days
        ]
        sfu, sd_sfu = np.array([(one.f107_sfu, one.sd_sfu) for one in told], np.float64)[which].T
        text = f"12month mean as it could be told from {indices.name} before each day"
        return CheckFlux(sfu, sd_sfu, text)
    found = indices.f107_sfu(when, driver)
    status, times = np.unique(found.status, return_counts=True)
    words = ", ".join(f"{name} for {n}" for name, n in zip(status, times, strict=True))
    text = f"{driver} mean of {indices.name}: {words} of {counted(count, 'check')}"
    return CheckFlux(np.asarray(found.f107_sfu, dtype=np.float64), np.zeros(count), text)


def evaluate(
    checks: Checks, rows: Codes, flux: CheckFlux, physics: Physics | None, progress: Progress | None
) -> pd.DataFrame:
    """Likelihood, S/N and limit of some rows; circuits with the same ends stay together."""
    frame = checks.frame.iloc[rows].reset_index(drop=True)
    out = {name: np.full(rows.size, np.nan) for name in ("likelihood", "snr_db", "limit")}
    together = frame.sort_values([*ENDS, "freq_khz", "utc"]).groupby("noise")
    parts = [
        index[first : first + _CHUNK]
        for index in (group.index.to_numpy() for _, group in together)
        for first in range(0, index.size, _CHUNK)
    ]

    def work(where: Codes) -> int:
        of, some = rows[where], frame.iloc[where]
        numbers: dict[str, Any] = {name: some[name].to_numpy() for name in NUMBERS}
        figure = numbers.pop("noise_fa_db")
        lines: list[Any] = [some[name].to_numpy() for name in (*ENDS, "freq_khz")]
        found = reception.likelihood(
            *[*lines, to_utc(some["utc"])],
            f107_sfu=flux.sfu[of],
            f107_sd_sfu=flux.sd_sfu[of],
            tx_pattern_dbi=checks.pattern_dbi[of] if checks.pattern_dbi.size else None,
            noise=some["noise"].iloc[0] or figure,
            physics=physics,
            **numbers,
        )
        for name, values in out.items():
            values[where] = found[name].to_numpy()
        return where.size

    done = 0
    pool = ThreadPoolExecutor(max_workers=os.cpu_count())
    try:
        for count in pool.map(work, parts):
            done += count
            if progress is not None:
                progress(done, rows.size)
    finally:
        pool.shutdown(cancel_futures=True)
    limit = [reception.LIMITS[int(code)] for code in out["limit"]]
    found = pd.DataFrame(out, index=checks.frame.index[rows])
    return found.assign(limit=np.array(limit, dtype=object))


# Scores -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Scores:
    """Likelihood against checks; intervals by whole blocks (days), 90 %.

    Attributes
    ----------
    summary
        `name`, `of` ("as it is", "recalibrated", "checks"), `value`, `low`, `high`, `count`: share
        heard, mean likelihood, ROC area, Brier score, Brier skill against the overall rate, that of
        the same path (both places and band) and that of the same month and UTC hour, all three
        counted on other days; the two parameters of the recalibration.
    by_band, by_distance
        The same by band (a whole MHz outside the broadcast bands) and class of distance: `class`,
        `count`, `blocks_count`, `heard_ratio`, `likelihood_mean`, `gap` (heard less likelihood)
        with `gap_low` and `gap_high`, `recalibrated_gap` with its interval, `roc_area`, `brier`,
        `skill_overall`, `skill_path`, `skill_month_hour`, and the last four for `recalibrated_`.
    calibration
        See :func:`farhear.skill.calibration_curve`.
    residuals
        `against` (kp, zenith_deg and geomagnetic_lat_deg, without sign, at the middle of the path),
        `class`, and the columns up to the gaps as in `by_band`.
    recalibration
        The two parameters from all checks together.
    frame
        Every accepted check, with `f107_sfu`, `likelihood`, `recalibrated` (from other days),
        `snr_db`, `limit`, `band`, `distance_km`, `kp`, `zenith_deg`, `geomagnetic_lat_deg`.
    notes
        Sentences on what the figures rest on.
    """

    summary: pd.DataFrame
    by_band: pd.DataFrame
    by_distance: pd.DataFrame
    calibration: pd.DataFrame
    residuals: pd.DataFrame
    recalibration: skill.Recalibration
    frame: pd.DataFrame
    notes: list[str]


def score(
    checks: Checks,
    *,
    f107_sfu: ArrayLike | None = None,
    driver: str = "27day",
    indices: Indices | None = None,
    offset_sfu: float = 0.0,
    physics: Physics | None = None,
    n: int = 500,
    seed: int | np.random.Generator = 1,
    progress: Progress | None = None,
) -> Scores:
    """Set the likelihood against checks.

    Parameters
    ----------
    checks
        From :func:`read_checks` or :func:`checks_from_log`.
    f107_sfu
        Flux instead of the indices, one number or one for each check, 50 to 400. [sfu]
    driver
        Which mean of the observed flux of the indices, see `farhear.indices.DRIVERS`; "forecast" is
        the 12-month mean as it could be told on each day, with its error (`farhear.forecast`). The
        27 days before served best on the open recordings of the model card.
    indices
        From `farhear.read_indices`, also for Kp; None takes the shipped ones.
    offset_sfu
        Added to the flux, for example what :func:`fit_flux` found in *another* log; the sum is held
        within 50 and 400. [sfu]
    physics
        As in `farhear.reception.likelihood`, to try its options on checks of your own.
    n, seed
        Draws and seed of the intervals, see :func:`farhear.skill.block_interval`.
    progress
        Called with checks done and checks in all.

    Returns
    -------
    Scores
        Where the checks cannot tell, NaN and a note: intervals and what is learnt from other days
        for a single day, the ROC area when all outcomes are the same.

    Raises
    ------
    InputError
        When no check counts, on arguments out of range, on instants that the indices do not cover.
    """
    says = np.flatnonzero(checks.is_evidence)
    if not says.size:
        why = "".join(
            f" (the first refused: line {fault['row']}, {fault['column'] or 'row'}: "
            f"{fault['reason']})"
            for fault in checks.rejects.head(1).to_dict("records")
        )
        raise InputError(f"{checks.text()}; nothing to score{why}")
    indices = load_indices() if indices is None else indices
    flux = flux_of_checks(checks, f107_sfu, driver, indices)
    if not abs(offset_sfu) <= FLUX_SFU[1]:
        raise InputError(f"offset_sfu = {offset_sfu:g} is outside [-400, 400]")
    flux = flux.moved(offset_sfu)
    found = evaluate(checks, np.arange(len(checks)), flux, physics, progress)
    frame, notes = _described(checks.frame.assign(f107_sfu=flux.sfu, **found), indices)
    counted = frame.iloc[says]
    block, blocks_count = skill.to_codes("block", counted["block"])
    heard, likelihood = (counted[name].to_numpy(np.float64) for name in ("heard", "likelihood"))
    recalibrated = skill.recalibrated_by_block(heard, likelihood, block)
    frame["recalibrated"] = pd.Series(recalibrated, counted.index)
    sample = pd.DataFrame(
        {"heard": heard, "likelihood": likelihood, "recalibrated": recalibrated, "block": block}
    ).assign(
        **{name: skill.climatology(heard, group, block) for name, group in _groups(counted).items()}
    )
    learnt = skill.recalibrate(heard, likelihood)
    rng = np.random.default_rng(seed)
    interval = partial(skill.block_interval, n=n, seed=rng)
    residuals = [
        {"against": name, "class": in_class, **_gaps(part, interval)}
        for name, edges in _RESIDUAL_EDGES.items()
        for in_class, part in _parts(sample, _classes(counted[name].abs(), edges))
    ]
    summary = _summary(sample, learnt, interval)
    distance = _classes(counted["distance_km"], DISTANCE_EDGES_KM, " km")
    by_band, by_distance = (
        pd.DataFrame(
            {"class": name, **_gaps(part, interval), **_worths(part)}
            for name, part in _parts(sample, classes)
        )
        for classes in (_bands(counted), distance)
    )
    curve = skill.calibration_curve(heard, likelihood, block, n=n, seed=rng)
    return Scores(
        summary=summary,
        by_band=by_band,
        by_distance=by_distance,
        calibration=curve,
        residuals=pd.DataFrame(residuals),
        recalibration=learnt,
        frame=frame,
        notes=[*_notes(checks, heard, blocks_count, flux.text, offset_sfu), *notes],
    )


def _described(frame: pd.DataFrame, indices: Indices) -> tuple[pd.DataFrame, list[str]]:
    """The frame with where each path lies and how disturbed it was; notes on what is missing."""
    tx_lat, tx_lon, rx_lat, rx_lon = (frame[name].to_numpy(np.float64) for name in ENDS)
    times = to_utc(frame["utc"])
    middle = path.points(tx_lat, tx_lon, rx_lat, rx_lon, 0.5)
    model = magnetic.model()
    year = float(np.clip(frame["utc"].dt.year.median(), model.first_year, model.last_year))
    out = frame.assign(
        band=_bands(frame).astype("str"),
        distance_km=path.inverse(tx_lat, tx_lon, rx_lat, rx_lon).distance_km,
        kp=_kp(times, indices),
        zenith_deg=sun.position(times, middle.lat_deg, middle.lon_deg).zenith_deg,
        geomagnetic_lat_deg=magnetic.geomagnetic_lat_deg(middle.lat_deg, middle.lon_deg, year),
    )
    missing = int(out["kp"].isna().sum())
    if not missing:
        return out, []
    verb = "is" if missing == 1 else "are"
    text = f"{counted(missing, 'check')} {verb} outside the record of Kp: not in its residuals."
    return out, [text]


def _kp(times: UtcTimes, indices: Indices) -> Floats:
    """Measured Kp, NaN outside the record."""
    with contextlib.suppress(InputError):
        return np.asarray(indices.kp_at(times), dtype=np.float64)
    slots, which = np.unique(times.unix_s // _KP_S, return_inverse=True)
    out = np.full(slots.size, np.nan)
    for i in range(slots.size):
        with contextlib.suppress(InputError):
            out[i : i + 1] = indices.kp_at(UtcTimes(slots[i : i + 1] * _KP_S))
    return out[which]


def _bands(frame: pd.DataFrame) -> pd.Series[Any]:
    """Broadcast band of each row, a whole MHz outside them, ordered from low to high."""
    freq = frame["freq_khz"]
    named = pd.Series(np.asarray(band.band_of(freq)).astype(object), frame.index)
    named = named.where(named != "", (freq // 1000).astype(int).astype(str) + " MHz")
    order = freq.groupby(named).min().sort_values().index
    return named.astype(pd.CategoricalDtype(order, ordered=True))


def _classes(values: pd.Series[Any], edges: Sequence[float], unit: str = "") -> pd.Series[Any]:
    """Class of each value by name; NaN stays NaN."""
    names = [
        f"{low:g} to {high:g}{unit}" if np.isfinite(high) else f"{low:g} and more{unit}"
        for low, high in itertools.pairwise(edges)
    ]
    return pd.cut(values, list(edges), right=False, labels=names)


def _parts(sample: pd.DataFrame, classes: pd.Series[Any]) -> list[tuple[str, pd.DataFrame]]:
    """The sample by class, in the order of the classes."""
    groups = sample.groupby(classes.set_axis(sample.index), observed=True)
    return [(str(name), part) for name, part in groups]


def _groups(frame: pd.DataFrame) -> dict[str, Any]:
    """What the rates of other days are counted by; a path is two places (to 0.1 deg) and a band."""
    keys, when = frame[list(ENDS)].round(1).assign(band=frame["band"]), frame["utc"].dt
    return {
        "overall": np.zeros(len(frame)),
        "path": keys.groupby(list(keys.columns)).ngroup(),
        "month_hour": when.month * 24 + when.hour,
    }


_REFERENCES = {"overall": "overall rate", "path": "path", "month_hour": "month x hour"}
_FORECASTS = {"likelihood": "as it is", "recalibrated": "recalibrated"}
_Statistic = Callable[[Codes], Any]
_Interval = Callable[[_Statistic, Any], tuple[Any, Any]]


def _means(values: Floats) -> _Statistic:
    """Mean of each column as a function of row numbers."""
    return lambda rows: values[rows].mean(axis=0)


def _worth(sample: pd.DataFrame, forecast: str) -> _Statistic:
    return skill.worth(*(sample[name].to_numpy() for name in ("heard", forecast, *_REFERENCES)))


def _summary(
    sample: pd.DataFrame, learnt: skill.Recalibration, interval: _Interval
) -> pd.DataFrame:
    rows: list[tuple[str, str, float, float, float]] = []
    every = np.arange(len(sample))

    def add(names: list[str], of: str, statistic: _Statistic) -> None:
        ends = interval(statistic, sample["block"])
        for name, value, low, high in zip(names, statistic(every), *ends, strict=True):
            rows.append((name, of, float(value), float(low), float(high)))

    add(["share heard"], "checks", _means(sample[["heard"]].to_numpy()))
    names = ["ROC area", "Brier score", *(f"Brier skill, {v}" for v in _REFERENCES.values())]
    for column, of in _FORECASTS.items():
        add(["mean likelihood"], of, _means(sample[[column]].to_numpy()))
        add(names, of, _worth(sample, column))
    x, start = skill.to_logit(sample["likelihood"].to_numpy()), np.array([[learnt.a, learnt.b]])

    def parameters(at: Codes) -> Floats:
        weight = np.bincount(at, minlength=len(sample)).astype(np.float64)
        return np.asarray(skill.fit_two(x[None], sample["heard"].to_numpy(), weight, start)[0])

    add(["a, shift of the logit", "b, factor of the logit"], "recalibrated", parameters)
    frame = pd.DataFrame(rows, columns=["name", "of", "value", "low", "high"])
    return frame.assign(count=len(sample))


def _gaps(part: pd.DataFrame, interval: _Interval) -> dict[str, Any]:
    """How far a class is off: heard less likelihood."""
    gap = part[["heard"]].to_numpy() - part[list(_FORECASTS)].to_numpy()
    low, high = interval(_means(gap), part["block"])
    row: dict[str, Any] = {
        "count": len(part),
        "blocks_count": part["block"].nunique(),
        "heard_ratio": part["heard"].mean(),
        "likelihood_mean": part["likelihood"].mean(),
    }
    for i, name in enumerate(("gap", "recalibrated_gap")):
        row |= {name: gap[:, i].mean(), f"{name}_low": low[i], f"{name}_high": high[i]}
    return row


def _worths(part: pd.DataFrame) -> dict[str, float]:
    every = np.arange(len(part))
    area, *plain = _worth(part, "likelihood")(every)
    names = ["brier", *(f"skill_{name}" for name in _REFERENCES)]
    corrected = _worth(part, "recalibrated")(every)[1:]
    row = {"roc_area": area, **dict(zip(names, plain, strict=True))}
    return row | {f"recalibrated_{k}": v for k, v in zip(names, corrected, strict=True)}


def _notes(checks: Checks, heard: Floats, blocks: int, source: str, offset_sfu: float) -> list[str]:
    notes = [f"{checks.text()}.", f"Solar flux: {source}."]
    if offset_sfu:
        notes.append(f"{offset_sfu:+g} sfu were added to it.")
    if heard.size < FEWEST_CHECKS or blocks < FEWEST_DAYS:
        notes.append(
            f"Too few to judge: {counted(heard.size, 'check')} on {counted(blocks, 'day')}, and "
            f"at least {FEWEST_CHECKS} checks on {FEWEST_DAYS} days are needed."
        )
    if blocks == 1:
        notes.append(
            "All checks are of one day: no intervals, and nothing learnt from other days "
            "(recalibration, skill)."
        )
    if heard.min() == heard.max():
        notes.append(f"Every check was {'heard' if heard[0] else 'not heard'}: no ROC area.")
    carrier = int((checks.frame["outcome"] == "carrier_only").sum())
    if carrier:
        notes.append(
            f"{counted(carrier, 'check')} of a carrier only: heard where the required S/N is at "
            f"most {listening.LADDER['carrier audible']:g} dB, else not heard."
        )
    return notes


# An index from the checks themselves ------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class FluxFit:
    """Offset that, added to the flux, fits the checks best.

    Attributes
    ----------
    offset_sfu, low_sfu, high_sfu
        Best offset and its interval by whole blocks (days). [sfu]
    mean_f107_sfu
        Mean flux of the checks before the offset. [sfu]
    curve
        `offset_sfu`, `log_likelihood` (of all checks, natural logarithm), `a`, `b` (recalibration
        at that offset).
    checks_count, blocks_count
        What it rests on.
    notes
        Sentences to read with it.
    """

    offset_sfu: float
    low_sfu: float
    high_sfu: float
    mean_f107_sfu: float
    curve: pd.DataFrame
    checks_count: int
    blocks_count: int
    notes: list[str]


def fit_flux(
    checks: Checks,
    *,
    f107_sfu: ArrayLike | None = None,
    driver: str = "27day",
    indices: Indices | None = None,
    physics: Physics | None = None,
    n: int = 200,
    seed: int | np.random.Generator = 1,
    progress: Progress | None = None,
) -> FluxFit:
    """Find the effective index of checks: one offset on the flux for all of them.

    At each offset of a grid the likelihood is worked out and recalibrated with two parameters, so
    that the listener's ears and noise do not pass for the Sun; the offset under which the outcomes
    are most probable wins, between grid points by a parabola through it and its neighbours. The
    grid takes the mean flux of the checks from 60 to 250 sfu in steps of 10; each check's flux is
    held within 50 and 400. Whole days are drawn for the interval.

    Parameters
    ----------
    checks
        At least 30 that count, on at least 3 days (blocks), some heard and some not.
    f107_sfu, driver, indices, physics, n, seed
        As in :func:`score`.
    progress
        Called with offsets done and offsets in all.

    Returns
    -------
    FluxFit. Do not score the same checks with it: they would judge themselves.

    Raises
    ------
    InputError
        On too few checks or days, on one outcome only, on arguments out of range.
    """
    says = np.flatnonzero(checks.is_evidence)
    frame = checks.frame.iloc[says]
    heard = frame["heard"].to_numpy(dtype=np.float64)
    block, blocks_count = skill.to_codes("block", frame["block"])
    if says.size < FEWEST_CHECKS or blocks_count < _FIT_DAYS:
        raise InputError(
            f"an index needs at least {FEWEST_CHECKS} checks that count on {_FIT_DAYS} days; "
            f"here are {says.size} on {blocks_count}"
        )
    if heard.min() == heard.max():
        word = "was" if heard[0] == 0.0 else "was not"
        raise InputError(f"an index needs both outcomes; there is no check that {word} heard")
    flux = flux_of_checks(checks, f107_sfu, driver, load_indices() if indices is None else indices)
    mean = float(flux.sfu[says].mean())
    first, last = ((end - mean) / _FIT_STEP_SFU for end in _FIT_SFU)
    offset = np.arange(np.ceil(first), np.floor(last) + 1.0) * _FIT_STEP_SFU
    x = np.empty((offset.size, says.size))
    for i, more in enumerate(offset):
        found = evaluate(checks, says, flux.moved(more), physics, None)
        x[i] = skill.to_logit(found["likelihood"].to_numpy())
        if progress is not None:
            progress(i + 1, offset.size)

    start = np.tile([0.0, 1.0], (offset.size, 1))
    whole, ab = skill.log_likelihoods(x, heard, np.ones(says.size), start)
    best = skill.peak(offset, whole)

    def again(rows: Codes) -> float:
        weight = np.bincount(rows, minlength=says.size).astype(np.float64)
        return skill.peak(offset, skill.log_likelihoods(x, heard, weight, ab)[0])

    low, high = skill.block_interval(again, block, n, seed)
    notes = [f"Index fitted from {says.size} checks on {blocks_count} days."]
    if blocks_count < FEWEST_DAYS:
        notes.append("So few days give an interval that is too narrow.")
    if best <= offset[0] or best >= offset[-1]:
        notes.append("The best offset is at an end of the searched range: only a bound.")
    elif low <= offset[0] or high >= offset[-1]:
        notes.append("The interval reaches an end of the searched range: it may go on.")
    if low <= 0.0 <= high:
        notes.append("The interval holds 0: the checks do not ask for another flux.")
    return FluxFit(
        offset_sfu=best,
        low_sfu=low,
        high_sfu=high,
        mean_f107_sfu=mean,
        curve=pd.DataFrame(
            {"offset_sfu": offset, "log_likelihood": whole, "a": ab[:, 0], "b": ab[:, 1]}
        ),
        checks_count=int(says.size),
        blocks_count=blocks_count,
        notes=notes,
    )

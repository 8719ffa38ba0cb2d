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

References
----------
.. [1] G. W. Brier, Monthly Weather Review 78 (1950), 1-3 (from memory): the score.
.. [2] D. R. Cox, Biometrika 45 (1958), 562-565 (from memory): two parameters on the logit scale.
"""

from __future__ import annotations

import itertools
import os
import re
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from farhear import band, forecast, listening, skill
from farhear._arrays import Floats, as_float64, check_range
from farhear.errors import InputError
from farhear.indices import DRIVERS
from farhear.schedule import Schedule
from farhear.station import NOISE_CLASSES, Station
from farhear.tables import (
    Cells,
    Column,
    Faults,
    Table,
    near_name,
    number,
    parse_cells,
    plain_text,
    read_cells,
)
from farhear.times import UtcTimes, to_index, unix_s
from farhear.times import utc as to_utc

if TYPE_CHECKING:
    from farhear.indices import Indices
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

OUTCOMES = ("heard", "carrier_only", "not_heard", "blocked", "not_checked")
"""Outcomes of a check; the last two say nothing about propagation."""
FLUXES = (*DRIVERS, "forecast")
"""Fluxes that checks can be scored with."""
FEWEST_CHECKS = 30
"""Below this many checks a note says that they are too few to judge; common practice, no source."""
FEWEST_DAYS = 5
"""Below this many days (blocks) likewise."""
DISTANCE_EDGES_KM = (0.0, 500.0, 1500.0, 3000.0, 6000.0, 10000.0, np.inf)
"""Classes of distance, the lower edge belongs to the class. [km]"""

_FLUX_SFU = (50.0, 400.0)
_FIT_CHECKS = 30
_FIT_DAYS = 3
_CHUNK = 2000
_DAY_S = 86400.0
_KP_EDGES = (0.0, 2.0, 3.0, 4.0, 5.0, np.inf)
_ZENITH_EDGES_DEG = (0.0, 60.0, 80.0, 90.0, 100.0, 120.0, np.inf)
_MAGNETIC_EDGES_DEG = (0.0, 20.0, 40.0, 50.0, 60.0, 70.0, np.inf)


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


_INSTANT = re.compile(
    r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d(:\d\d(\.\d+)?)?(?P<zone>[Zz]|[+-]\d\d:\d\d)?", re.ASCII
)
_WORDS = {
    **{name: name for name in OUTCOMES},
    **dict.fromkeys(("1", "yes", "true"), "heard"),
    **dict.fromkeys(("0", "no", "false"), "not_heard"),
}


def _instant(text: str) -> float:
    """Seconds since 1970 of an RFC 3339 instant; the seconds may be left out."""
    found = _INSTANT.fullmatch(text)
    if found is None:
        raise ValueError("not an instant such as 2026-11-25T18:00Z")
    if found["zone"] is None:
        raise ValueError("no time zone; write Z at the end if it is UTC")
    return float(unix_s(text.upper()))


def _outcome(text: str) -> str:
    try:
        return _WORDS[text.lower()]
    except KeyError:
        raise ValueError(
            f"not 1, 0, yes, no, true, false, {', '.join(OUTCOMES)}{near_name(text, OUTCOMES)}"
        ) from None


_LATITUDE = number(-90.0, 90.0, hint="latitude comes before longitude: are the two swapped?")
_LONGITUDE = number(-180.0, 180.0)
_FREQ_KHZ = number(1600.0, 30000.0, hint="write kHz")
_OWN = (
    Column("power_kw", number(0.0, 2000.0, open_low=True, hint="are these watts?"), False, False),
    Column("tx_gain_dbi", number(-60.0, 40.0), False, False),
    Column("bandwidth_hz", number(0.01, 1e6), False, False),
    Column("required_snr_db", number(-60.0, 80.0), False, False),
    Column("noise_fa_db", number(-60.0, 200.0), False, False, np.nan),
)
_CHECK_COLUMNS = (
    Column("utc", _instant),
    Column("tx_lat_deg", _LATITUDE),
    Column("tx_lon_deg", _LONGITUDE),
    Column("rx_lat_deg", _LATITUDE),
    Column("rx_lon_deg", _LONGITUDE),
    Column("freq_khz", _FREQ_KHZ),
    Column("heard", _outcome),
    *_OWN,
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
    delimiter: str = ",",
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
        See :func:`farhear.tables.read_cells`.

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
    for column in _OWN[:4]:
        value = given[column.name]
        try:
            if value is not None:
                column.parse(repr(float(value)))
        except ValueError as fault:
            raise InputError(f"{column.name} = {value!r}: {fault}") from None
    environment, figure = _noise(noise)
    cells = _cells(path, _CHECK_COLUMNS, columns, encoding, delimiter)
    if power_kw is None and "power_kw" not in cells.header:
        raise InputError(
            f"{cells.source}: there is no column 'power_kw', and no power_kw was given"
        )

    def check_row(values: dict[str, Any], texts: dict[str, str], rejects: Faults, row: int) -> None:
        if power_kw is None and not texts.get("power_kw"):
            rejects.add(row, "power_kw", "", "empty, and no power_kw was given for such rows")

    frame, rejects, warnings = parse_cells(cells, _CHECK_COLUMNS, check_row)
    out = frame.rename(columns={"heard": "outcome"})
    for name, value in given.items():
        numbers = np.array(out[name].tolist(), dtype=np.float64)
        out[name] = np.where(np.isnan(numbers), np.nan if value is None else value, numbers)
    measured = np.array(out["noise_fa_db"].tolist(), dtype=np.float64)
    out["noise"] = np.where(np.isnan(measured), environment, "")
    out["noise_fa_db"] = np.where(np.isnan(measured), figure, measured)
    out["tx_gain_sd_db"] = 0.0
    out["min_elevation_deg"] = 1.0
    return _checks(out, cells, rejects, warnings)


def _noise(noise: str | float) -> tuple[str, float]:
    """Environment and measured figure, one of them empty."""
    if isinstance(noise, str):
        if noise not in NOISE_CLASSES:
            raise InputError(
                f"noise = {noise!r} is none of {', '.join(map(repr, NOISE_CLASSES))}"
                f"{near_name(noise, NOISE_CLASSES)}"
            )
        return noise, float("nan")
    figure = as_float64("noise", noise)
    check_range("noise", figure, -60.0, 200.0)
    return "", float(figure)


def _cells(
    path: str | Path,
    columns: tuple[Column, ...],
    renamed: Mapping[str, str] | None,
    encoding: str | None,
    delimiter: str,
) -> Cells:
    known = [column.name for column in columns]
    for name in renamed or ():
        if name not in known:
            raise InputError(f"columns names {name!r}, unknown{near_name(name, known)}")
    cells = read_cells(path, encoding=encoding, delimiter=delimiter, columns=renamed)
    if not cells.rows:
        raise InputError(f"{cells.source} has a header but no rows")
    return cells


_NUMBERS = (
    *("tx_lat_deg", "tx_lon_deg", "rx_lat_deg", "rx_lon_deg", "freq_khz", "power_kw"),
    *("tx_gain_dbi", "tx_gain_sd_db", "bandwidth_hz", "required_snr_db", "noise_fa_db"),
    "min_elevation_deg",
)


def _checks(
    frame: pd.DataFrame,
    cells: Cells,
    rejects: Faults,
    warnings: Faults,
    pattern_dbi: Floats | None = None,
) -> Checks:
    """Types, derived columns, and doubts about doubled rows."""
    out = pd.DataFrame({"row": frame["row"].to_numpy(dtype=np.int64)})
    seconds = np.array(frame["utc"].tolist(), dtype=np.float64)
    out["utc"] = to_index(UtcTimes(seconds))
    for name in _NUMBERS:
        out[name] = np.array(frame[name].tolist(), dtype=np.float64)
    for name in ("outcome", "noise", "block"):
        out[name] = frame[name].astype("str")
    outcome = out["outcome"].to_numpy(dtype=object)
    easy = out["required_snr_db"].to_numpy() <= listening.LADDER["carrier audible"]
    heard = (outcome == "heard") | ((outcome == "carrier_only") & easy)
    silent = (outcome == "blocked") | (outcome == "not_checked")
    out["heard"] = np.where(silent, np.nan, heard)
    days = out["utc"].dt.strftime("%Y-%m-%d").astype("str")
    out["block"] = out["block"].where(out["block"] != "", days)
    first = ["row", "utc", *_NUMBERS[:5], "outcome", "heard"]
    out = out[[*first, *[name for name in out.columns if name not in first]]]
    for name in ("identity", "schedule_row"):
        if name in frame.columns:
            out[name] = frame[name].to_numpy()
    places = out.duplicated(["utc", *_NUMBERS[:5]]).to_numpy()
    for row in out.loc[places, "row"]:
        warnings.add(int(row), "utc", "", "same instant, places and frequency as a row before")
    return Checks(
        frame=out,
        rejects=rejects.frame(),
        warnings=warnings.frame(),
        rows_read=len(cells.rows),
        source=cells.source,
        sha256=cells.sha256,
        pattern_dbi=np.empty(0) if pattern_dbi is None else pattern_dbi,
    )


_LOG_TEXT = (
    *("check_id", "session_id", "observer_id", "as_written", "freq_measured_khz", "demod"),
    *("id_basis", "id_confidence", "sinpo", "sio", "language", "notes", "programme_notes"),
    *("local_noise", "s_meter", "setup_id", "audio_ref", "audio_sha256"),
)
_LOG_COLUMNS = (
    Column("start_utc", _instant),
    Column("end_utc", _instant),
    Column("freq_khz", _FREQ_KHZ),
    Column("outcome", _outcome),
    Column("identity", plain_text(80), needed=False, empty=""),
    *(Column(name, plain_text(5000), False, False, "") for name in _LOG_TEXT),
)


def checks_from_log(
    path: str | Path,
    station: Station,
    schedule: Schedule,
    *,
    columns: Mapping[str, str] | None = None,
    encoding: str | None = None,
    delimiter: str = ",",
) -> Checks:
    """Read the listener's log and look up in the schedule what each check was of.

    A check belongs to the broadcast that is on the air at its middle, on the same frequency, with
    `identity` the same broadcaster (small and capital letters are the same). The schedule gives
    place, power and beam, the station the receiver's side. A check of something else is refused
    with the reason: without an emitter there is no likelihood.

    Parameters
    ----------
    path
        Log as CSV: `start_utc` and `end_utc` (RFC 3339 with Z or an offset, at most a day apart),
        `freq_khz`, `outcome` (see this module), `identity` (of a check that heard nothing: who was
        looked for). Other columns of a log are read past.
    station, schedule
        The home, and the broadcasts on the air at the time.
    columns, encoding, delimiter
        As in :func:`read_checks`.

    Returns
    -------
    Checks
        With `identity` and `schedule_row`, the line in the schedule. Where several broadcasts fit
        (one programme from two sites) the one with the largest power is taken, with a warning.

    Raises
    ------
    InputError, OSError
        As :func:`read_checks`.
    """
    from farhear.season import broadcast_geometry

    cells = _cells(path, _LOG_COLUMNS, columns, encoding, delimiter)
    frame, rejects, warnings = parse_cells(cells, _LOG_COLUMNS, _check_log_row)
    start, end = (np.array(frame[c].tolist(), np.float64) for c in ("start_utc", "end_utc"))
    middle_s = (start + end) / 2.0
    at = _matches(frame, middle_s, schedule, rejects, warnings)
    frame, middle_s, at = frame.loc[at >= 0], middle_s[at >= 0], at[at >= 0]
    of_schedule = schedule.frame.iloc[at]
    used, which = np.unique(at, return_inverse=True)
    geometry = broadcast_geometry(station, schedule.frame.iloc[used])
    gain_dbi = geometry["tx_gain_dbi"][which]
    environment, figure = _noise(station.noise)
    out = pd.DataFrame(
        {
            "row": frame["row"].to_numpy(),
            "utc": middle_s,
            "tx_lat_deg": of_schedule["tx_lat_deg"].to_numpy(),
            "tx_lon_deg": of_schedule["tx_lon_deg"].to_numpy(),
            "rx_lat_deg": station.lat_deg,
            "rx_lon_deg": station.lon_deg,
            "freq_khz": of_schedule["freq_khz"].to_numpy(),
            "power_kw": of_schedule["power_kw"].to_numpy(),
            "tx_gain_dbi": gain_dbi,
            "tx_gain_sd_db": geometry["tx_gain_sd_db"][which],
            "bandwidth_hz": station.bandwidth_hz,
            "required_snr_db": station.required_snr_db,
            "noise": environment,
            "noise_fa_db": figure,
            "min_elevation_deg": station.min_elevation_deg,
            "outcome": frame["outcome"].to_numpy(),
            "block": "",
            "identity": frame["identity"].astype("str").to_numpy(),
            "schedule_row": of_schedule["row"].to_numpy(),
        }
    )
    pattern = geometry["pattern_dbi"][which] - gain_dbi[:, None]
    return _checks(out, cells, rejects, warnings, pattern)


def _check_log_row(
    values: dict[str, Any], texts: dict[str, str], rejects: Faults, row: int
) -> None:
    start, end = values.get("start_utc"), values.get("end_utc")
    if start is not None and end is not None and not 0.0 <= end - start <= _DAY_S:
        reason = "before start_utc" if end < start else "more than a day after start_utc"
        rejects.add(row, "end_utc", texts["end_utc"], reason)
    if not texts["identity"]:
        rejects.add(row, "identity", "", "empty: no broadcast to look up")


def _plain_name(text: str) -> str:
    return " ".join(text.split()).casefold()


def _matches(
    frame: pd.DataFrame, middle_s: Floats, schedule: Schedule, rejects: Faults, warnings: Faults
) -> Codes:
    """Position in the schedule of each check, -1 where it is refused."""
    listed = schedule.frame
    freq = listed["freq_khz"].to_numpy(np.float64)
    power = listed["power_kw"].to_numpy(np.float64)
    names = np.array([_plain_name(name) for name in listed["broadcaster"]], dtype=object)
    is_digital = (listed["modulation"] == "DIGITAL").to_numpy()
    out = np.full(len(frame), -1, dtype=np.int64)
    wanted = np.array([_plain_name(name) for name in frame["identity"]], dtype=object)
    checked = np.array(frame["freq_khz"].tolist(), dtype=np.float64)
    lines = frame["row"].to_numpy(dtype=np.int64)
    for khz in np.unique(checked):
        checks = np.flatnonzero(checked == khz)
        rows = np.flatnonzero(freq == khz)
        on_air = schedule.on_air(UtcTimes(middle_s[checks]), rows=rows)
        for column, check in enumerate(checks):
            line, shown = int(lines[check]), str(frame["identity"].iloc[check])
            same = names[rows] == wanted[check]
            fits = rows[same & on_air[:, column]]
            analogue = fits[~is_digital[fits]]
            if not analogue.size:
                if fits.size:
                    reason = "the schedule has it as digital, which no AM receiver hears"
                elif same.any():
                    reason = f"not on the air on {khz:g} kHz at that time, says the schedule"
                else:
                    reason = f"not in the schedule on {khz:g} kHz"
                rejects.add(line, "identity", shown, reason)
                continue
            best = analogue[np.argmax(power[analogue])]
            if analogue.size > 1:
                others = ", ".join(str(int(r)) for r in listed["row"].iloc[analogue])
                reason = (
                    f"lines {others} of the schedule fit; the one of {power[best]:g} kW is taken"
                )
                warnings.add(line, "identity", shown, reason)
            out[check] = best
    return out


# The likelihood of checks -----------------------------------------------------------------------


def _indices(indices: Indices | None) -> Indices:
    if indices is not None:
        return indices
    from farhear.indices import load_indices

    return load_indices()


class _Flux(NamedTuple):
    """Flux of each check, how uncertain it is, and in words where it comes from."""

    sfu: Floats
    sd_sfu: Floats
    text: str

    def moved(self, more_sfu: float) -> _Flux:
        """The same, so much higher, within the range of the likelihood."""
        return self._replace(sfu=np.clip(self.sfu + more_sfu, *_FLUX_SFU))


def _flux(
    checks: Checks, f107_sfu: ArrayLike | None, driver: str, indices: Indices | None
) -> _Flux:
    sure = np.zeros(len(checks))
    if driver not in FLUXES:
        known = ", ".join(map(repr, FLUXES))
        raise InputError(f"driver = {driver!r} is none of {known}{near_name(driver, FLUXES)}")
    if f107_sfu is not None:
        given = as_float64("f107_sfu", f107_sfu)
        check_range("f107_sfu", given, *_FLUX_SFU)
        if given.shape not in ((), (len(checks),)) or np.isnan(given).any():
            raise InputError(
                f"f107_sfu has shape {given.shape} or a gap; one number is needed, or one for each "
                f"of {len(checks)} checks"
            )
        return _Flux(np.broadcast_to(given, (len(checks),)), sure, "as given by the caller")
    indices = _indices(indices)
    when = to_utc(checks.frame["utc"])
    if driver == "forecast":
        days, which = np.unique(unix_s(when) // _DAY_S, return_inverse=True)
        told = [
            forecast.flux(indices, np.datetime64(int(day), "D"), UtcTimes((day + 0.5) * _DAY_S))
            for day in days
        ]
        both = np.array([(one.f107_sfu, one.sd_sfu) for one in told], dtype=np.float64)
        text = f"12month mean as it could be told from {indices.name} before each day"
        return _Flux(both[which, 0], both[which, 1], text)
    found = indices.f107_sfu(when, driver)
    status = np.asarray(found.status)
    words = [f"{name} for {int((status == name).sum())}" for name in np.unique(status)]
    text = f"{driver} mean of {indices.name}: {', '.join(words)} of {len(checks)} checks"
    return _Flux(np.asarray(found.f107_sfu, dtype=np.float64), sure, text)


def _evaluate(
    checks: Checks,
    rows: Codes,
    flux: _Flux,
    *,
    physics: Physics | None,
    engine: str,
    long_path: str,
    progress: Callable[[int, int], None] | None = None,
) -> dict[str, NDArray[Any]]:
    """Likelihood, S/N and limit of some rows; circuits with the same ends stay together."""
    from farhear import reception

    frame = checks.frame
    columns = {name: frame[name].to_numpy(dtype=np.float64) for name in _NUMBERS}
    environment = frame["noise"].to_numpy(dtype=object)
    seconds = unix_s(frame["utc"])
    names = ("likelihood", "snr_db", "limit")
    out: dict[str, NDArray[Any]] = {
        "likelihood": np.full(rows.size, np.nan),
        "snr_db": np.full(rows.size, np.nan),
        "limit": np.zeros(rows.size, dtype=np.uint8),
    }
    parts: list[Codes] = []
    for kind in sorted(set(environment[rows])):
        here = np.flatnonzero(environment[rows] == kind)
        keys = [columns[n][rows[here]] for n in ("freq_khz", *_NUMBERS[3::-1])]
        here = here[np.lexsort((seconds[rows[here]], *keys))]
        parts += [here[i : i + _CHUNK] for i in range(0, here.size, _CHUNK)]

    def work(where: Codes) -> int:
        of = rows[where]
        one = {name: column[of] for name, column in columns.items()}
        seen = reception.likelihood(
            one["tx_lat_deg"],
            one["tx_lon_deg"],
            one["rx_lat_deg"],
            one["rx_lon_deg"],
            one["freq_khz"],
            UtcTimes(seconds[of]),
            power_kw=one["power_kw"],
            f107_sfu=flux.sfu[of],
            f107_sd_sfu=flux.sd_sfu[of],
            tx_gain_dbi=one["tx_gain_dbi"],
            tx_pattern_dbi=checks.pattern_dbi[of] if checks.pattern_dbi.size else None,
            tx_gain_sd_db=one["tx_gain_sd_db"],
            noise=str(environment[of[0]]) or one["noise_fa_db"],
            bandwidth_hz=one["bandwidth_hz"],
            required_snr_db=one["required_snr_db"],
            min_elevation_deg=one["min_elevation_deg"],
            long_path=long_path,
            engine=engine,
            physics=physics,
        )
        for name in names:
            out[name][where] = seen[name].to_numpy()
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
    return out


# Scores -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Scores:
    """Likelihood against checks; intervals by whole blocks (days), 90 % unless asked otherwise.

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


@dataclass(frozen=True, slots=True)
class _Sample:
    """The checks that count: outcome, likelihoods, references, blocks."""

    heard: Floats
    likelihood: Floats
    recalibrated: Floats
    references: dict[str, Floats]
    block: Codes
    interval: Callable[[Callable[[Codes], Any], Codes], tuple[Any, Any]]

    def take(self, rows: Any) -> _Sample:
        return _Sample(
            self.heard[rows],
            self.likelihood[rows],
            self.recalibrated[rows],
            {name: values[rows] for name, values in self.references.items()},
            self.block[rows],
            self.interval,
        )


def score(
    checks: Checks,
    *,
    f107_sfu: ArrayLike | None = None,
    driver: str = "27day",
    indices: Indices | None = None,
    offset_sfu: float = 0.0,
    physics: Physics | None = None,
    engine: str = "rays",
    long_path: str = "both",
    bins: int = 10,
    n: int = 500,
    seed: int | np.random.Generator = 1,
    level: float = 0.9,
    progress: Callable[[int, int], None] | None = None,
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
    physics, engine, long_path
        As in `farhear.reception.likelihood`.
    bins
        Of the calibration curve.
    n, seed, level
        Draws, seed and share of the intervals, see :func:`farhear.skill.block_interval`.
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
        why = "; ".join(
            f"line {fault['row']}, {fault['column'] or 'row'}: {fault['reason']}"
            for fault in checks.rejects.head(1).to_dict("records")
        )
        more = f" (the first refused: {why})" if why else ""
        raise InputError(f"{checks.text()}; nothing to score{more}")
    flux = _flux(checks, f107_sfu, driver, indices)
    if not abs(offset_sfu) <= _FLUX_SFU[1]:
        raise InputError(f"offset_sfu = {offset_sfu:g} is outside [-400, 400]")
    flux = flux.moved(offset_sfu)
    found = _evaluate(
        checks,
        np.arange(len(checks)),
        flux,
        physics=physics,
        engine=engine,
        long_path=long_path,
        progress=progress,
    )
    frame, notes = _described(checks, found, flux.sfu, _indices(indices))
    rng = np.random.default_rng(seed)
    code, blocks = skill.to_codes("block", frame["block"].to_numpy(dtype=object)[says])
    heard = frame["heard"].to_numpy(dtype=np.float64)[says]
    likelihood = found["likelihood"][says]
    recalibrated = skill.recalibrated_by_block(heard, likelihood, code)
    counted = frame.iloc[says]
    groups = {
        "overall": np.zeros(says.size, dtype=np.int64),
        "path": _path_of(counted),
        "month_hour": _month_hour(counted),
    }
    sample = _Sample(
        heard,
        likelihood,
        recalibrated,
        {name: skill.climatology(heard, group, code) for name, group in groups.items()},
        code,
        partial(_interval, n=n, rng=rng, level=level),
    )
    learnt = skill.recalibrate(heard, likelihood)
    whole = np.full(len(frame), np.nan)
    whole[says] = recalibrated
    frame["recalibrated"] = whole
    distance = _class_of(counted["distance_km"].to_numpy(np.float64), DISTANCE_EDGES_KM, " km")
    residuals = [
        _by_class(sample, *_class_of(np.abs(counted[name].to_numpy(np.float64)), edges))
        .assign(against=name)
        .loc[:, ["against", *_GAPS]]
        for name, edges in (
            ("kp", _KP_EDGES),
            ("zenith_deg", _ZENITH_EDGES_DEG),
            ("geomagnetic_lat_deg", _MAGNETIC_EDGES_DEG),
        )
    ]
    return Scores(
        summary=_summary(sample, learnt),
        by_band=_by_class(sample, *_band_of(counted["freq_khz"].to_numpy(np.float64))),
        by_distance=_by_class(sample, *distance),
        calibration=skill.calibration_curve(
            heard, likelihood, code, bins, n=n, seed=rng, level=level
        ),
        residuals=pd.concat(residuals, ignore_index=True),
        recalibration=learnt,
        frame=frame,
        notes=[*_notes(checks, heard, blocks, flux.text, offset_sfu), *notes],
    )


def _interval(
    statistic: Callable[[Codes], Any],
    block: Codes,
    *,
    n: int,
    rng: np.random.Generator,
    level: float,
) -> tuple[Any, Any]:
    return skill.block_interval(statistic, block, n, rng, level)


def _described(
    checks: Checks, found: dict[str, NDArray[Any]], flux: Floats, indices: Indices
) -> tuple[pd.DataFrame, list[str]]:
    """The frame with what the model says and where each path lies; notes on what is missing."""
    from farhear import magnetic, path, sun
    from farhear.reception import LIMITS

    frame = checks.frame.copy()
    tx_lat, tx_lon, rx_lat, rx_lon = (frame[name].to_numpy(np.float64) for name in _NUMBERS[:4])
    times = to_utc(frame["utc"])
    middle = path.points(tx_lat, tx_lon, rx_lat, rx_lon, 0.5)
    years = frame["utc"].dt.year.to_numpy()
    year = float(np.clip(np.median(years), magnetic.model().first_year, magnetic.model().last_year))
    kp, missing = _kp(times, indices)
    notes = []
    if missing:
        notes.append(f"{missing} checks are outside the record of Kp: not in its residuals.")
    frame["f107_sfu"] = flux
    frame["likelihood"] = found["likelihood"]
    frame["snr_db"] = found["snr_db"]
    frame["limit"] = np.array([LIMITS[int(code)] for code in found["limit"]], dtype=object)
    names, class_names = _band_of(frame["freq_khz"].to_numpy(np.float64))
    frame["band"] = np.array(class_names, dtype=object)[names]
    frame["distance_km"] = path.inverse(tx_lat, tx_lon, rx_lat, rx_lon).distance_km
    frame["kp"] = kp
    frame["zenith_deg"] = sun.position(times, middle.lat_deg, middle.lon_deg).zenith_deg
    frame["geomagnetic_lat_deg"] = magnetic.geomagnetic_lat_deg(
        middle.lat_deg, middle.lon_deg, year
    )
    return frame, notes


def _kp(times: UtcTimes, indices: Indices) -> tuple[Floats, int]:
    """Measured Kp, NaN outside the record, and how often."""
    try:
        return np.asarray(indices.kp_at(times), dtype=np.float64), 0
    except InputError:
        pass
    out = np.full(times.size, np.nan)
    slots = np.floor(times.unix_s / 10800.0)
    for slot in np.unique(slots):
        try:
            out[slots == slot] = indices.kp_at(UtcTimes(np.asarray(slot * 10800.0)))
        except InputError:
            continue
    return out, int(np.isnan(out).sum())


def _band_of(freq_khz: Floats) -> tuple[Codes, list[str]]:
    """Class and class names, from low to high: broadcast bands, whole MHz outside them."""
    named = np.asarray(band.band_of(freq_khz)).astype(object)
    outside = named == ""
    named[outside] = [f"{int(khz // 1000)} MHz" for khz in freq_khz[outside]]
    lowest = pd.Series(freq_khz).groupby(pd.Series(named)).min().sort_values()
    names = [str(name) for name in lowest.index]
    position = {name: i for i, name in enumerate(names)}
    return np.array([position[name] for name in named], dtype=np.int64), names


def _class_of(values: Floats, edges: tuple[float, ...], unit: str = "") -> tuple[Codes, list[str]]:
    """Class of each value, -1 for NaN, and the names of the classes."""
    names = [
        f"{low:g} to {high:g}{unit}" if np.isfinite(high) else f"{low:g} and more{unit}"
        for low, high in itertools.pairwise(edges)
    ]
    at = np.searchsorted(np.array(edges), values, side="right") - 1
    return np.where(np.isnan(values), -1, at).astype(np.int64), names


def _path_of(frame: pd.DataFrame) -> Codes:
    """One number for each pair of places (to 0.1 deg) and band."""
    keys = frame[list(_NUMBERS[:4])].round(1).assign(band=frame["band"])
    return np.asarray(keys.groupby(list(keys.columns)).ngroup().to_numpy(dtype=np.int64))


def _month_hour(frame: pd.DataFrame) -> Codes:
    when = frame["utc"].dt
    return np.asarray((when.month * 24 + when.hour).to_numpy(dtype=np.int64))


_REFERENCES = {
    "overall": "overall rate",
    "path": "path",
    "month_hour": "month x hour",
}
_GAPS = (
    *("class", "count", "blocks_count", "heard_ratio", "likelihood_mean"),
    *("gap", "gap_low", "gap_high"),
    *("recalibrated_gap", "recalibrated_gap_low", "recalibrated_gap_high"),
)


def _scores_of(sample: _Sample, likelihood: Floats) -> Callable[[Codes], Floats]:
    """ROC area, Brier score and skills of one forecast, as a function of row numbers."""
    known = not np.isnan(likelihood).any()
    rank, count = skill.to_codes("likelihood", likelihood) if known else (sample.block, 0)
    error = (likelihood - sample.heard) ** 2
    others = [(values - sample.heard) ** 2 for values in sample.references.values()]

    def at(rows: Codes) -> Floats:
        if not known:
            return np.full(2 + len(others), np.nan)
        own = skill.mean_or_nan(error[rows])
        skills = [skill.skill_of(own, skill.mean_or_nan(other[rows])) for other in others]
        return np.array([skill.area_of_ranks(sample.heard[rows], rank[rows], count), own, *skills])

    return at


def _summary(sample: _Sample, learnt: skill.Recalibration) -> pd.DataFrame:
    rows: list[tuple[str, str, float, float, float]] = []
    every = np.arange(sample.heard.size)

    def add(names: list[str], of: str, statistic: Callable[[Codes], Floats]) -> None:
        low, high = sample.interval(statistic, sample.block)
        for name, value, *ends in zip(names, statistic(every), low, high, strict=True):
            rows.append((name, of, float(value), float(ends[0]), float(ends[1])))

    add(["share heard"], "checks", lambda at: np.array([skill.mean_or_nan(sample.heard[at])]))
    names = ["ROC area", "Brier score"]
    names += [f"Brier skill, {text}" for text in _REFERENCES.values()]
    for of, likelihood in (
        ("as it is", sample.likelihood),
        ("recalibrated", sample.recalibrated),
    ):
        mean = partial(_means, likelihood)
        add(["mean likelihood"], of, mean)
        add(names, of, _scores_of(sample, likelihood))
    x, start = skill.to_logit(sample.likelihood), np.array([[learnt.a, learnt.b]])

    def parameters(at: Codes) -> Floats:
        weight = np.bincount(at, minlength=sample.heard.size).astype(np.float64)
        return np.asarray(skill.fit_two(x[None], sample.heard, weight, start)[0])

    add(["a, shift of the logit", "b, factor of the logit"], "recalibrated", parameters)
    frame = pd.DataFrame(rows, columns=["name", "of", "value", "low", "high"])
    return frame.assign(count=sample.heard.size)


def _means(values: Floats, rows: Codes) -> Floats:
    return np.array([skill.mean_or_nan(values[rows])])


def _by_class(sample: _Sample, code: Codes, names: list[str]) -> pd.DataFrame:
    """One row for each class that occurs, in the order of `names`."""
    rows: list[dict[str, Any]] = []
    for at in np.unique(code[code >= 0]):
        part = sample.take(code == at)
        gaps = np.stack([part.heard - part.likelihood, part.heard - part.recalibrated])
        every = np.arange(part.heard.size)
        low, high = part.interval(partial(_row_means, gaps), part.block)
        row: dict[str, Any] = {
            "class": names[at],
            "count": part.heard.size,
            "blocks_count": np.unique(part.block).size,
            "heard_ratio": skill.mean_or_nan(part.heard),
            "likelihood_mean": skill.mean_or_nan(part.likelihood),
        }
        for i, name in enumerate(("gap", "recalibrated_gap")):
            row |= {
                name: skill.mean_or_nan(gaps[i]),
                f"{name}_low": low[i],
                f"{name}_high": high[i],
            }
        row["roc_area"] = _scores_of(part, part.likelihood)(every)[0]
        keys = ["brier", *[f"skill_{name}" for name in _REFERENCES]]
        for prefix, likelihood in (("", part.likelihood), ("recalibrated_", part.recalibrated)):
            values = _scores_of(part, likelihood)(every)[1:].tolist()
            row |= dict(zip([prefix + key for key in keys], values, strict=True))
        rows.append(row)
    if not rows:
        return pd.DataFrame(columns=list(_GAPS))
    return pd.DataFrame(rows)


def _row_means(values: Floats, rows: Codes) -> Floats:
    return np.asarray(values[:, rows].mean(axis=1))


def _notes(checks: Checks, heard: Floats, blocks: int, source: str, offset_sfu: float) -> list[str]:
    notes = [f"{checks.text()}.", f"Solar flux: {source}."]
    if offset_sfu:
        notes.append(f"{offset_sfu:+g} sfu were added to it.")
    if heard.size < FEWEST_CHECKS or blocks < FEWEST_DAYS:
        notes.append(
            f"Too few to judge: {heard.size} checks on {blocks} days, and at least "
            f"{FEWEST_CHECKS} checks on {FEWEST_DAYS} days are needed."
        )
    if blocks == 1:
        notes.append(
            "All checks are of one day: no intervals, and nothing learnt from other days "
            "(recalibration, skill)."
        )
    if heard.min() == heard.max():
        word = "heard" if heard[0] else "not heard"
        notes.append(f"Every check was {word}: no ROC area.")
    carrier = int((checks.frame["outcome"] == "carrier_only").sum())
    if carrier:
        notes.append(
            f"{carrier} checks of a carrier only: heard where the required S/N is at most "
            f"{listening.LADDER['carrier audible']:g} dB, else not heard."
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
    low_sfu: float = 60.0,
    high_sfu: float = 250.0,
    step_sfu: float = 10.0,
    f107_sfu: ArrayLike | None = None,
    driver: str = "27day",
    indices: Indices | None = None,
    physics: Physics | None = None,
    engine: str = "rays",
    long_path: str = "both",
    n: int = 200,
    seed: int | np.random.Generator = 1,
    level: float = 0.9,
    progress: Callable[[int, int], None] | None = None,
) -> FluxFit:
    """Find the effective index of checks: one offset on the flux for all of them.

    At each offset of a grid the likelihood is worked out and recalibrated with two parameters, so
    that the listener's ears and noise do not pass for the Sun; the offset under which the outcomes
    are most probable wins, between grid points by a parabola through it and its neighbours. Whole
    days are drawn for the interval.

    Parameters
    ----------
    checks
        At least 30 that count, on at least 3 days (blocks), some heard and some not.
    low_sfu, high_sfu
        Mean flux of the checks after the offset, ends of the grid, 50 to 400. Each check's flux is
        held within 50 and 400. [sfu]
    step_sfu
        Step of the grid, 1 to 50. [sfu]
    f107_sfu, driver, indices, physics, engine, long_path
        As in :func:`score`.
    n, seed, level
        As in :func:`farhear.skill.block_interval`.
    progress
        Called with evaluations done and evaluations in all.

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
    code, blocks = skill.to_codes("block", frame["block"].to_numpy(dtype=object))
    if says.size < _FIT_CHECKS or blocks < _FIT_DAYS:
        raise InputError(
            f"an index needs at least {_FIT_CHECKS} checks that count on {_FIT_DAYS} days; "
            f"here are {says.size} on {blocks}"
        )
    if heard.min() == heard.max():
        word = "was" if heard[0] == 0.0 else "was not"
        raise InputError(f"an index needs both outcomes; there is no check that {word} heard")
    if not _FLUX_SFU[0] <= low_sfu < high_sfu <= _FLUX_SFU[1]:
        raise InputError(f"low_sfu = {low_sfu:g}, high_sfu = {high_sfu:g}: not 50 to 400 in order")
    if not 1.0 <= step_sfu <= 50.0:
        raise InputError(f"step_sfu = {step_sfu:g} is outside [1, 50]")
    flux = _flux(checks, f107_sfu, driver, indices)
    mean = float(flux.sfu[says].mean())
    first, last = np.ceil((low_sfu - mean) / step_sfu), np.floor((high_sfu - mean) / step_sfu)
    offset = np.arange(first, last + 1.0) * step_sfu
    if offset.size < 3:
        raise InputError(
            f"low_sfu = {low_sfu:g}, high_sfu = {high_sfu:g}: fewer than three steps of "
            f"{step_sfu:g} sfu"
        )
    x = np.empty((offset.size, says.size))
    for i, more in enumerate(offset):
        tick = (
            None
            if progress is None
            else partial(_tick, progress, i * says.size, offset.size * says.size)
        )
        found = _evaluate(
            checks,
            says,
            flux.moved(more),
            physics=physics,
            engine=engine,
            long_path=long_path,
            progress=tick,
        )
        x[i] = skill.to_logit(found["likelihood"])

    whole, ab = _profile(x, heard, np.ones(says.size), np.tile([0.0, 1.0], (offset.size, 1)))
    best = _peak(offset, whole)

    def again(rows: Codes) -> float:
        weight = np.bincount(rows, minlength=says.size).astype(np.float64)
        return _peak(offset, _profile(x, heard, weight, ab)[0])

    low, high = skill.block_interval(again, code, n, seed, level)
    notes = [f"Index fitted from {says.size} checks on {blocks} days."]
    if blocks < FEWEST_DAYS:
        notes.append("So few days give an interval that is too narrow.")
    if best <= offset[0] or best >= offset[-1]:
        notes.append("The best offset is at an end of the searched range: only a bound.")
    elif low <= offset[0] or high >= offset[-1]:
        notes.append("The interval reaches an end of the searched range: it may go on.")
    if low <= 0.0 <= high:
        notes.append("The interval holds 0: the checks do not ask for another flux.")
    curve = pd.DataFrame(
        {"offset_sfu": offset, "log_likelihood": whole, "a": ab[:, 0], "b": ab[:, 1]}
    )
    return FluxFit(
        offset_sfu=best,
        low_sfu=low,
        high_sfu=high,
        mean_f107_sfu=mean,
        curve=curve,
        checks_count=int(says.size),
        blocks_count=blocks,
        notes=notes,
    )


def _tick(progress: Callable[[int, int], None], before: int, total: int, done: int, _: int) -> None:
    progress(before + done, total)


def _profile(x: Floats, heard: Floats, weight: Floats, start: Floats) -> tuple[Floats, Floats]:
    """Log-likelihood of each forecast at its best a and b.

    A forecast that would have to be turned upside down (b below 0) counts as knowing only the rate.
    """
    ab = skill.fit_two(x, heard, weight, start)
    eta = ab[:, :1] + ab[:, 1:] * x
    value = (heard * eta - np.logaddexp(0.0, eta)) @ weight
    yes, total = float(heard @ weight), float(weight.sum())
    rates = [count * np.log(count / total) for count in (yes, total - yes) if count > 0.0]
    return np.where(ab[:, 1] > 0.0, value, sum(rates)), ab


def _peak(at: Floats, value: Floats) -> float:
    """Place of the highest value, by a parabola through it and its neighbours on an even grid."""
    i = int(np.argmax(value))
    if i in (0, at.size - 1):
        return float(at[i])
    left, middle, right = value[i - 1 : i + 2]
    bend = left - 2.0 * middle + right
    shift = 0.5 * (left - right) / bend if bend < 0.0 else 0.0
    return float(at[i] + shift * (at[1] - at[0]))

"""One evening from one home: what is on the air, how likely each broadcast is heard, and how.

Times are stated in UTC and in local time, each with its own day of the week: Wednesday evening in
New York is Thursday in UTC, and a schedule means the UTC day.

The likelihoods take the schedule's own other broadcasts within 10 kHz that are on the air at the
same instant as interferers; a signal that no schedule holds, and everything local, is not known
here. The ionosphere is that of a quiet month.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from farhear import clock, listening, sun
from farhear._arrays import FLUX_SFU, Floats
from farhear.errors import InputError
from farhear.times import UtcTimes, to_index

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr

    from farhear import reception
    from farhear.calibrate import Fit
    from farhear.charts.pictures import PlanPictures
    from farhear.indices import Indices
    from farhear.schedule import Schedule
    from farhear.station import Station

__all__ = ["LIMIT_WORDS", "STRENGTH_WORDS", "Plan", "plan"]

STRENGTH_WORDS = {
    None: "inaudible",
    "carrier audible": "a trace",
    "language recognisable": "weak",
    "intelligible": "fair",
    "worth a report": "good",
    "comfortable": "strong",
}
"""Our word for a signal whose median S/N just reaches that rung of `farhear.listening.LADDER`."""

LIMIT_WORDS = {
    "none": "nothing",
    "above_muf": "the ionosphere does not carry the frequency",
    "absorption": "absorption by the D region",
    "noise": "noise at home",
    "interference": "neighbours on or beside the channel",
    "power": "too little power for the distance",
}
"""What limits reception (`farhear.reception.LIMITS`), in words."""

_WEEKDAYS = np.array(["", *(day[:3] for day in clock.WEEKDAYS)])
_NEIGHBOUR_KHZ = 10.0
_LIKELY = 0.5
_CHUNK = 20_000
_DAY_S = 86400.0
_MINUTE_S = 60.0
_HOUR_S = 3600.0
_FREQ_KHZ = (1600.0, 30000.0)
_REFERENCE_HZ = 9000.0  # bandwidth in which the ladder is stated


@dataclass(frozen=True, slots=True)
class Driver:
    """Solar flux of one evening, how well it is known [sfu], and in words where it comes from."""

    f107_sfu: float
    sd_sfu: float
    text: str


def driver(when: UtcTimes, f107_sfu: float | None, indices: Indices | None) -> Driver:
    """Flux for one instant: given, measured, or told from what the record holds.

    Up to the last measured day of the record it is the mean of the 27 days that end with the UT
    day. After it, it is the forecast issued on the day after the record's end, with its standard
    deviation.
    """
    if f107_sfu is not None:
        if not FLUX_SFU[0] <= f107_sfu <= FLUX_SFU[1]:
            raise InputError(f"f107_sfu = {f107_sfu!r} is outside [50, 400]")
        return Driver(float(f107_sfu), 0.0, f"{f107_sfu:.0f} sfu, as given by the caller")
    from farhear import forecast
    from farhear.indices import load_indices

    table = load_indices() if indices is None else indices
    frame = table.frame
    measured = frame.loc[frame["status"] != "predicted", "date"]
    if measured.empty:
        raise InputError(f"{table.name} has no measured day; give f107_sfu")
    last = np.datetime64(measured.iloc[-1], "D")
    if float(when.unix_s) < float((last + 1).astype(np.int64)) * _DAY_S:
        value = float(table.f107_sfu(when, "27day").f107_sfu)
        return Driver(value, 0.0, f"{value:.0f} sfu, 27-day mean of {table.name}")
    told = forecast.flux(table, last + 1, when)
    value, sd = float(told.f107_sfu), float(told.sd_sfu)
    text = f"{value:.0f} sfu, give or take {sd:.0f}, told from {table.name}, measured to {last}"
    return Driver(value, sd, text)


def rung_snr_db(rung: str, bandwidth_hz: float) -> float:
    """S/N in a bandwidth that a rung of `farhear.listening.LADDER` asks for. [dB]"""
    if rung not in listening.LADDER:
        from farhear.tables import near_name

        known = ", ".join(map(repr, listening.LADDER))
        raise InputError(f"rung = {rung!r} is none of {known}{near_name(rung, listening.LADDER)}")
    return listening.LADDER[rung] - 10.0 * float(np.log10(bandwidth_hz / _REFERENCE_HZ))


@dataclass(frozen=True, slots=True, eq=False)
class Air:
    """The broadcasts of a schedule as one home meets them; positions count rows of its frame."""

    station: Station
    schedule: Schedule
    driver: Driver
    required_snr_db: float
    geometry: dict[str, Any]
    freq_khz: Floats
    names: NDArray[Any]
    modulation: NDArray[Any]
    fit: Fit | None = None

    @classmethod
    def of(
        cls,
        station: Station,
        schedule: Schedule,
        flux: Driver,
        required_snr_db: float,
        fit: Fit | None = None,
    ) -> Air:
        """Work out distances, directions and antennas once."""
        from farhear.season import broadcast_geometry

        frame = schedule.frame
        return cls(
            station,
            schedule,
            flux,
            required_snr_db,
            geometry=broadcast_geometry(station, frame),
            freq_khz=frame["freq_khz"].to_numpy(dtype=np.float64),
            names=frame["broadcaster"].to_numpy(dtype=object),
            modulation=frame["modulation"].to_numpy(dtype=object),
            fit=fit,
        )

    def column(self, name: str) -> NDArray[Any]:
        """Return a column of numbers of the schedule."""
        return self.schedule.frame[name].to_numpy(dtype=np.float64)

    def label(self, position: int) -> str:
        """Frequency and broadcaster of a row, for sentences."""
        return f"{self.freq_khz[position]:g} kHz {self.names[position]}"

    def near(self, freq_khz: float) -> NDArray[np.intp]:
        """Rows within 10 kHz of a frequency."""
        return np.flatnonzero(np.abs(self.freq_khz - freq_khz) <= _NEIGHBOUR_KHZ)

    def neighbours(self, position: int) -> NDArray[np.intp]:
        """Rows within 10 kHz of a row; a broadcaster does not trouble its own channel."""
        freq, name = self.freq_khz, self.names
        near = self.near(float(freq[position]))
        return near.compress((freq[near] != freq[position]) | (name[near] != name[position]))

    def shared(self) -> dict[str, Any]:
        """Arguments of `farhear.reception.likelihood` that all circuits share."""
        return {
            "f107_sfu": self.driver.f107_sfu,
            "f107_sd_sfu": self.driver.sd_sfu,
            "noise": self.station.noise,
            "bandwidth_hz": self.station.bandwidth_hz,
            "required_snr_db": self.required_snr_db,
            "min_elevation_deg": self.station.min_elevation_deg,
        }

    def interferers(
        self, near: NDArray[np.intp], times: UtcTimes, shift_khz: float = 0.0
    ) -> list[dict[str, Any]]:
        """Rows as interferers, those that are on the air at any of the times; shifted if wanted."""
        on = self.schedule.on_air(times, rows=near)
        keep = on.any(axis=tuple(range(1, on.ndim)))
        return [
            {
                **{n: float(self.column(n)[i]) for n in ("tx_lat_deg", "tx_lon_deg", "power_kw")},
                "freq_khz": float(np.clip(self.freq_khz[i] + shift_khz, *_FREQ_KHZ)),
                "tx_pattern_dbi": self.geometry["pattern_dbi"][i],
                "tx_gain_sd_db": float(self.geometry["tx_gain_sd_db"][i]),
                "on_air": on_air,
            }
            for i, on_air in zip(near[keep], on[keep], strict=True)
        ]

    def circuit(self, position: int, times: UtcTimes) -> dict[str, Any]:
        """Return all arguments of `farhear.reception.likelihood` for one row at some times."""
        return {
            **{n: float(self.column(n)[position]) for n in ("tx_lat_deg", "tx_lon_deg")},
            "rx_lat_deg": self.station.lat_deg,
            "rx_lon_deg": self.station.lon_deg,
            **{n: float(self.column(n)[position]) for n in ("freq_khz", "power_kw")},
            "utc": times,
            "tx_pattern_dbi": self.geometry["pattern_dbi"][position],
            "tx_gain_sd_db": float(self.geometry["tx_gain_sd_db"][position]),
            "interferers": self.interferers(self.neighbours(position), times),
            "emission": self.emission(position),
            **self.shared(),
        }

    def emission(self, position: int) -> str:
        """What a row sends, as `farhear.listening` names it; single sideband is the upper."""
        return "J3E upper" if self.modulation[position] == "SSB" else "A3E"

    def receive(self, position: NDArray[np.intp], t_unix_s: Floats) -> dict[str, NDArray[Any]]:
        """Likelihood, S/N [dB], limit, mode and its gain [dB] of rows, each at one instant.

        The same as `farhear.reception.likelihood` of each `circuit`, with every field worked out
        once.
        """
        from farhear import reception

        flux, sd = self.driver.f107_sfu, self.driver.sd_sfu
        if self.fit is not None:
            seen = self.fit.averaged(
                lambda theta: self._receive(position, t_unix_s, flux, theta), sd
            )
        elif sd == 0.0:
            seen = self._receive(position, t_unix_s, flux)
        else:
            fluxes = reception.flux_points(flux, sd)
            each = [self._receive(position, t_unix_s, float(one)) for one in fluxes]
            seen = reception.over_fluxes(*each)
        names = ("likelihood", "snr_db", "limit", "demodulation", "demodulation_gain_db")
        return {name: seen[name].to_numpy() for name in names}

    def _receive(
        self,
        position: NDArray[np.intp],
        t_unix_s: Floats,
        f107_sfu: float,
        theta: Floats | None = None,
    ) -> xr.Dataset:
        """All of `farhear.reception.likelihood` for one flux, one dimension.

        `theta`: parameters of `farhear.calibrate` to work it out with.
        """
        from farhear import reception

        times, when = np.unique(t_unix_s, return_inverse=True)
        rivals = {i: self.neighbours(i) for i in np.unique(position).tolist()}
        needed = self._needed(rivals, position, times, when)
        row, column = np.nonzero(needed)
        alone = self._likelihood(row, times[column], f107_sfu, None, theta)
        number = np.full(needed.shape, -1, dtype=np.intp)
        number[row, column] = np.arange(row.size)
        out = alone.isel(dim_0=number[position, when])
        noise_fa_db = out["noise_fa_db"].to_numpy()
        sent = reception.fields_of(alone)
        order = np.argsort(position, kind="stable")
        ends = np.searchsorted(position[order], [*rivals, len(self.freq_khz)])
        again: list[tuple[NDArray[np.intp], reception.Interference]] = []
        for (i, near), begin, end in zip(rivals.items(), ends, ends[1:], strict=False):
            mine = order[begin:end]
            of = number[near][:, when[mine]]
            heard = (of >= 0).any(axis=1)
            emission = self.emission(i)
            if not heard.any() and emission == "A3E":
                continue
            of = of[heard]
            fields = reception.Fields(
                self.freq_khz[near[heard]],
                np.where(of >= 0, sent[0][of], np.nan),
                sent[1][of],
                sent[2][of],
            )
            best = reception.interference(
                fields,
                np.full(mine.size, self.freq_khz[i]),
                noise_fa_db[mine],
                np.full(mine.size, self.station.bandwidth_hz),
                emission=emission,
            )
            again.append((mine, best))
        if not again:
            return out
        mine = np.concatenate([where for where, _ in again])
        mixed = reception.Interference(
            [np.concatenate([best.source[k] for _, best in again]) for k in range(3)],
            *(
                np.concatenate([getattr(best, name) for _, best in again])
                for name in ("cost_db", "mode", "gain_db")
            ),
        )
        seen = self._likelihood(position[mine], t_unix_s[mine], f107_sfu, mixed, theta)
        for name in out:
            values = out[name].to_numpy().copy()
            values[mine] = seen[name].to_numpy()
            out[name] = (out[name].dims, values, out[name].attrs)
        return out

    def _needed(
        self,
        rivals: dict[int, NDArray[np.intp]],
        position: NDArray[np.intp],
        times: Floats,
        when: NDArray[np.intp],
    ) -> NDArray[np.bool_]:
        """Rows and times to work out: the wanted, and their neighbours that are on the air."""
        wanted = np.zeros((len(self.freq_khz), times.size), dtype=np.bool_)
        wanted[position, when] = True
        near = np.zeros_like(wanted)
        for i, of in rivals.items():
            near[of] |= wanted[i]
        rows = np.flatnonzero(near.any(axis=1))
        near[rows] &= self.schedule.on_air(UtcTimes(times), rows=rows)
        return wanted | near

    def _likelihood(
        self,
        of: NDArray[np.intp],
        t_unix_s: Floats,
        f107_sfu: float,
        interference: reception.Interference | None,
        theta: Floats | None,
    ) -> xr.Dataset:
        """Rows, each at one instant, for one flux; in chunks, which bounds the memory."""
        import xarray as xr

        from farhear import reception

        shared = self.shared() | {"f107_sfu": f107_sfu, "f107_sd_sfu": 0.0}
        lat_deg, lon_deg = self.column("tx_lat_deg"), self.column("tx_lon_deg")
        power_kw = self.column("power_kw")
        parts = []
        for begin in range(0, max(of.size, 1), _CHUNK):
            cut = slice(begin, begin + _CHUNK)
            rows = of[cut]
            known = interference
            if known is not None:
                source = [one[cut] for one in known.source]
                rest = (known.cost_db[cut], known.mode[cut], known.gain_db[cut])
                known = reception.Interference(source, *rest)
            home = (self.station.lat_deg, self.station.lon_deg)
            when = UtcTimes(t_unix_s[cut])
            if theta is not None:
                from farhear import calibrate

                given = self.shared() | {"f107_sfu": f107_sfu}
                shared |= calibrate.moved(theta, given, *home, self.freq_khz[rows], when)
            part = reception.likelihood(
                lat_deg[rows],
                lon_deg[rows],
                *home,
                self.freq_khz[rows],
                when,
                power_kw=power_kw[rows],
                tx_pattern_dbi=self.geometry["pattern_dbi"][rows],
                tx_gain_sd_db=self.geometry["tx_gain_sd_db"][rows],
                interferers=known,
                **shared,
            )
            parts.append(part)
        return parts[0] if len(parts) == 1 else xr.concat(parts, "dim_0")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """One evening, ranked.

    Attributes
    ----------
    frame
        One row for each broadcast and each stretch without a break that it is on the air in the
        window, likeliest first: `band`, `freq_khz` [kHz], `broadcaster`, `language`, `site`,
        `target`; `start`, `end` and `best` (the instant of the highest likelihood), each as
        `_utc`, `_utc_weekday`, `_local` (wall time) and `_local_weekday`, start and end cut to the
        window; `likelihood` at the best instant and `likelihood_mean` over the stretch [1];
        `snr_db`, median S/(N+I) at the best instant [dB]; `strength` (`STRENGTH_WORDS`); `mode`
        and `mode_reason`; `neighbours` on the air within 10 kHz; `azimuth_deg`, from home to the
        transmitter, and `distance_km`; `limit` (`LIMIT_WORDS`); `home_sunset_utc`,
        `home_sunrise_utc`, `tx_sunset_utc` and `tx_sunrise_utc`, within 12 h of the middle of the
        window, NaT for none; `row`,
        line in the schedule's file.
    groups
        The same by band and time, one row a band and step: `band`, `utc`, `utc_weekday`, `local`,
        `local_weekday`, `on_air_count`, `likely_count` (likelihood 0.5 or more), and of the
        likeliest `likelihood`, `freq_khz`, `broadcaster`, `rank` (its index in `frame`).
    steps
        The likelihood step by step: `rank` (index in `frame`), `start_utc` and `end_utc` of what
        one evaluation stands for, `likelihood`.
    window
        Begin and end, shape (2,).
    notes
        Sentences on what the figures rest on.
    """

    frame: pd.DataFrame
    groups: pd.DataFrame
    steps: pd.DataFrame
    window: UtcTimes
    notes: tuple[str, ...]
    _air: Air
    _position: NDArray[np.intp]

    def _repr_html_(self) -> str:
        from farhear._rich import panel

        first, last = self.window.datetime64.astype("datetime64[m]").astype(str).tolist()
        columns = ["band", "freq_khz", "broadcaster", "language", "likelihood", "best_utc"]
        columns += ["best_local", "strength", "mode"]
        return panel(
            f"Evening at {self._air.station.name}",
            {"window": f"{first} to {last} UTC", "broadcasts": len(self.frame)},
            self.frame[columns],
            [*self.notes, "plan.why_not(row) explains a row, plan.plot.ladder() draws all."],
        )

    @property
    def time_zone(self) -> str:
        """Zone of the local times."""
        return self._air.station.time_zone

    @property
    def is_of_station(self) -> bool:
        """Whether the likelihoods are of the station's own required S/N."""
        return self._air.required_snr_db == self._air.station.required_snr_db

    @property
    def plot(self) -> PlanPictures:
        """Charts: `ladder()`, `budget(row)`, `rays(row)`."""
        from farhear.charts.pictures import PlanPictures

        return PlanPictures(self)

    def circuit(self, row: int) -> dict[str, Any]:
        """Arguments of `farhear.reception.likelihood` for one broadcast at its best instant.

        Parameters
        ----------
        row
            Index in `frame`, 0 for the likeliest.

        Raises
        ------
        InputError
            On a row that the plan does not have.
        """
        if isinstance(row, bool) or not isinstance(row, (int, np.integer)):
            raise InputError(f"row = {row!r} is not a whole number")
        if not 0 <= row < len(self.frame):
            raise InputError(f"row = {row} is outside the plan of {len(self.frame)} rows, from 0")
        when = UtcTimes(np.array(self.frame.iloc[int(row)]["best_utc"].timestamp()))
        return self._air.circuit(int(self._position[row]), when)

    def explanation(self, row: int) -> reception.Explanation:
        """Loss budget of one broadcast at its best instant; `row` as in `circuit`."""
        from farhear import reception

        return reception.explain(**self.circuit(row))

    def why_not(self, row: int) -> str:
        """Say what helps and what stands in the way of one broadcast at its best instant.

        Parameters
        ----------
        row
            As in `circuit`.

        Returns
        -------
        A heading, the sentence of `farhear.reception.explain`, the mode, and the loss budget, one
        line an item. [dB]
        """
        why = self.explanation(row)
        line = self.frame.iloc[int(row)]
        local = f"{line['best_local']:%H:%M} local time ({line['best_local_weekday']})"
        budget = [
            f"  {item}: {db:.1f} dB{', ' + note if note else ''}"
            for item, db, note in why.budget[["item", "db", "note"]].itertuples(index=False)
        ]
        mode = f"Mode {line['mode']}: {line['mode_reason']}."
        return "\n".join([f"{self.heading(row)}, {local}", why.sentence, mode, *budget])

    def heading(self, row: int) -> str:
        """Frequency, broadcaster and best instant of one broadcast; `row` as in `circuit`."""
        line = self.frame.iloc[int(row)]
        label = self._air.label(int(self._position[row]))
        return f"{label} at {line['best_utc']:%Y-%m-%d %H:%M} UTC ({line['best_utc_weekday']})"


def plan(
    station: Station,
    schedule: Schedule,
    date: Any,
    *,
    start: str | None = None,
    end: str | None = None,
    step_min: int = 30,
    rung: str | None = None,
    languages: Iterable[str] | None = None,
    targets: Iterable[str] | None = None,
    heard: Iterable[str] = (),
    indices: Indices | None = None,
    f107_sfu: float | None = None,
    fit: Fit | None = None,
) -> Plan:
    """Plan one evening.

    Parameters
    ----------
    station
        The home; its receiver and its noise too.
    schedule
        Broadcasts; digital ones are left out of the plan but count as neighbours.
    date
        Local calendar date on which the window starts: `datetime.date`, ISO text or datetime64[D].
    start, end
        Local wall time 'HH:MM'. An end that is not after the start is on the next day; '24:00' is
        the midnight that ends the date. None: from one hour before sunset at home, to local
        midnight. Where a reading happens twice the window takes in both.
    step_min
        Likelihoods are worked out at UTC times that are whole multiples of it, 5 to 120; a stretch
        on the air that holds none is worked out at its middle. [min]
    rung
        What is wanted, a key of `farhear.listening.LADDER`; None takes the station's
        `required_snr_db`.
    languages, targets
        Only these ISO 639-3 codes; only broadcasts with one of these zones among their targets.
    heard
        Names of broadcasters heard already: they are left out but count as neighbours.
    indices
        From `farhear.load_indices` or `farhear.read_indices`; None loads the shipped ones. Up to
        their last measured day the flux is the 27-day mean, later it is `farhear.forecast.flux`,
        and its doubt widens the likelihoods.
    f107_sfu
        A fixed flux instead, 50 to 400. [sfu]
    fit
        What this home's log taught (:func:`farhear.calibrate.fit`): the likelihoods are then means
        over what it leaves in doubt. It holds for all emitters, neighbours too. Up to nine times as
        long.

    Returns
    -------
    Plan

    Raises
    ------
    InputError
        On a date, time, rung or step that is none; an empty window; a window outside the
        schedule's season; a language or target that the schedule does not have; a day without
        sunset and no `start`.

    Notes
    -----
    Single sideband broadcasts are taken as J3E, upper sideband. No geomagnetic storm and no flare
    is assumed.

    Examples
    --------
    >>> import farhear as fh
    >>> from importlib.resources import files
    >>> demo = files("farhear") / "data" / "demo"
    >>> home = fh.read_station(demo / "station.toml")
    >>> schedule = fh.read_schedule(demo / "schedule_b24.csv", days="iso", season="B24")
    >>> tonight = plan(home, schedule, "2024-11-27", start="20:00", end="21:00")
    >>> bool(tonight.frame["likelihood"].is_monotonic_decreasing)
    True
    """
    if isinstance(step_min, bool) or not isinstance(step_min, int) or not 5 <= step_min <= 120:
        raise InputError(f"step_min = {step_min!r} is no whole number in [5, 120]")
    wanted_db = station.required_snr_db if rung is None else rung_snr_db(rung, station.bandwidth_hz)
    begin_s, end_s = _window(station, date, start, end)
    notes = _season_notes(schedule, begin_s, end_s)
    chosen = _chosen(schedule, languages, targets, heard)
    flux = driver(UtcTimes(np.array((begin_s + end_s) / 2.0)), f107_sfu, indices)
    air = Air.of(station, schedule, flux, wanted_db, fit)
    which, from_s, to_s = schedule.stretches(chosen, begin_s, end_s)
    stretch, t_s = _instants(from_s, to_s, step_min * _MINUTE_S)
    seen = air.receive(which[stretch], t_s)
    best = _best(stretch, which.size, seen)
    order = np.lexsort(
        (
            from_s,
            air.freq_khz[which],
            -seen["snr_db"][best],
            -seen["likelihood"][best],
        )
    )
    mean = np.bincount(stretch, seen["likelihood"], which.size) / np.maximum(
        np.bincount(stretch, minlength=which.size), 1
    )
    digital_count = int((schedule.frame["modulation"] == "DIGITAL").sum())
    if digital_count:
        notes.append(f"{digital_count} digital rows of the schedule are left out of the plan")
    asked = f"'{rung}'" if rung is not None else "the station's required S/N"
    notes.append(f"likelihood of {asked}, {wanted_db:.1f} dB in {station.bandwidth_hz:g} Hz")
    notes.append(f"solar flux {flux.text}")
    if fit is not None:
        notes.append(f"set right by {fit.source_text}")
    if schedule.note:
        notes.append(schedule.note)
    frame = _frame(
        air,
        which[order],
        from_s[order],
        to_s[order],
        t_s[best][order],
        {name: values[best][order] for name, values in seen.items()},
        mean[order],
        (begin_s, end_s),
    )
    rank = np.empty(which.size, np.intp)
    rank[order] = np.arange(which.size)
    return Plan(
        frame=frame,
        groups=_groups(
            station, frame, rank[stretch], t_s, seen["likelihood"], step_min * _MINUTE_S
        ),
        steps=_steps(from_s, to_s, stretch, t_s, rank, seen["likelihood"]),
        window=UtcTimes(np.array([begin_s, end_s])),
        notes=tuple(notes),
        _air=air,
        _position=which[order],
    )


# Window and choice ------------------------------------------------------------------------------

_WALL = re.compile(r"([01]\d|2[0-4]):([0-5]\d)", re.ASCII)


def _wall_min(name: str, text: str) -> int:
    match = _WALL.fullmatch(text) if isinstance(text, str) else None
    minutes = int(match[1]) * 60 + int(match[2]) if match else 1441
    if minutes > (1439 if name == "start" else 1440):
        raise InputError(f"{name} = {text!r} is no local time 'HH:MM', for example '17:30'")
    return minutes


def _window(station: Station, date: Any, start: str | None, end: str | None) -> tuple[float, float]:
    """Begin and end of the window. [s]"""
    zone = station.time_zone
    day = clock.day_span(date, zone).unix_s
    if day.shape != (2,):
        raise InputError(f"date has shape {day.shape[:-1]}; one date is needed")
    midnight = np.datetime64(date, "D").astype("datetime64[s]")

    def at(minutes: int, ambiguous: Any) -> float:
        if minutes == 1440:
            return float(day[1])
        wall = midnight + np.timedelta64(minutes, "m")
        return float(clock.to_utc(wall, zone, ambiguous=ambiguous, missing="shift").unix_s)

    first = _wall_min("start", start) if start is not None else None
    last = _wall_min("end", end) if end is not None else 1440
    if first is not None:
        if last == first:
            raise InputError(f"start = end = {start!r}: the window is empty")
        begin_s = at(first, "earlier")
        end_s = at(last + 1440 if last < first else last, "later")
    else:
        begin_s = _before_sunset_s(station, day)
        end_s = at(last, "later")
        if end_s <= begin_s and last < 1440:
            end_s = at(last + 1440, "later")
    if end_s <= begin_s:
        why = "sunset at home comes too late" if first is None else "the clock skips these readings"
        raise InputError(f"the window is empty: {why}; give another start and end")
    return begin_s, end_s


def _before_sunset_s(station: Station, day: Floats) -> float:
    """One hour before the first sunset after the middle of the day, down to the minute. [s]"""
    noon_s = float(day.mean())
    _, sets = _sun_inside(
        np.array([station.lat_deg]), np.array([station.lon_deg]), noon_s, noon_s + _DAY_S
    )
    if np.isnan(sets[0]):
        raise InputError("the sun does not set at home on that date; give start")
    return float((sets[0] - _HOUR_S) // _MINUTE_S * _MINUTE_S)


def _sun_inside(
    lat_deg: Floats, lon_deg: Floats, begin_s: float, end_s: float
) -> tuple[Floats, Floats]:
    """First sunrise and first sunset of each place in a window, NaN for none. [s]"""
    days = np.arange(int(begin_s // _DAY_S), int(end_s // _DAY_S) + 1)
    found = sun.events(days.astype("datetime64[D]"), lat_deg[:, None], lon_deg[:, None], None)
    out = []
    for times in (found.rise_utc.unix_s, found.set_utc.unix_s):
        inside = np.where((times >= begin_s) & (times < end_s), times, np.inf)
        first = inside.min(axis=1, initial=np.inf)
        out.append(np.where(np.isinf(first), np.nan, np.rint(first)))
    return out[0], out[1]


def _season_notes(schedule: Schedule, begin_s: float, end_s: float) -> list[str]:
    """Note a window partly outside the seasons of a schedule; refuse one wholly outside."""
    names = sorted(set(schedule.frame["season"]))
    if not names or "" in names:
        return []
    spans = [clock.season_span(name).unix_s for name in names]
    inside = sum(max(0.0, min(end_s, b) - max(begin_s, a)) for a, b in spans)
    if inside == 0.0:
        shown = " to ".join(
            str(np.datetime64(int(s), "s").astype("datetime64[D]")) for s in spans[0]
        )
        raise InputError(
            f"the window is outside season {', '.join(names)} of the schedule ({shown}); "
            "load the list of that date, or see Schedule.as_if"
        )
    if inside < end_s - begin_s:
        return [f"part of the window is outside season {', '.join(names)}: nothing is known there"]
    return []


def _names(name: str, given: Iterable[str]) -> list[str]:
    if isinstance(given, str):
        raise InputError(f"{name} = {given!r} is one text; give a list such as [{given!r}]")
    out = list(given)
    for one in out:
        if not isinstance(one, str):
            raise InputError(f"{name} holds {one!r}, which is not text")
    return out


def _chosen(
    schedule: Schedule,
    languages: Iterable[str] | None,
    targets: Iterable[str] | None,
    heard: Iterable[str],
) -> NDArray[np.intp]:
    """Positions of the rows that the plan is about."""
    from farhear.tables import near_name

    frame = schedule.frame
    keep = frame["modulation"].to_numpy() != "DIGITAL"
    zones = [set(text.split()) for text in frame["target"]]
    for name, given, have in (
        ("languages", languages, [{code} for code in frame["language"]]),
        ("targets", targets, zones),
    ):
        if given is None:
            continue
        wanted = _names(name, given)
        known = set().union(*have) - {""}
        for one in wanted:
            if one not in known:
                hint = near_name(one, sorted(known))
                raise InputError(f"{name} names {one!r}, which the schedule does not have{hint}")
        keep &= np.array([not row.isdisjoint(wanted) for row in have], dtype=bool)
    keep &= ~frame["broadcaster"].isin(_names("heard", heard)).to_numpy(dtype=bool)
    return np.flatnonzero(keep)


def _instants(from_s: Floats, to_s: Floats, step_s: float) -> tuple[NDArray[np.intp], Floats]:
    """Number of the stretch and instant of every evaluation: the steps inside, or the middle."""
    numbers, times = [np.empty(0, np.intp)], [np.empty(0)]
    for i, (a, b) in enumerate(zip(from_s.tolist(), to_s.tolist(), strict=True)):
        inside = np.arange(np.ceil(a / step_s), np.ceil(b / step_s)) * step_s
        if inside.size == 0:
            inside = np.array([(a + b) / 2.0])
        numbers.append(np.full(inside.size, i, np.intp))
        times.append(inside)
    return np.concatenate(numbers), np.concatenate(times)


def _steps(
    from_s: Floats,
    to_s: Floats,
    stretch: NDArray[np.intp],
    t_s: Floats,
    rank: NDArray[np.intp],
    likelihood: Floats,
) -> pd.DataFrame:
    """What each evaluation stands for: until the next one, the first from the stretch's start."""
    import pandas as pd

    new = np.diff(stretch, prepend=-1) > 0
    start_s = np.where(new, from_s[stretch], t_s)
    end_s = np.where(np.append(new[1:], True), to_s[stretch], np.append(t_s[1:], 0.0))
    return pd.DataFrame(
        {
            "rank": rank[stretch],
            "start_utc": to_index(UtcTimes(start_s)),
            "end_utc": to_index(UtcTimes(end_s)),
            "likelihood": likelihood,
        }
    )


def _best(stretch: NDArray[np.intp], count: int, seen: dict[str, NDArray[Any]]) -> NDArray[np.intp]:
    """Evaluation of each stretch with the highest likelihood, then S/N, then the earliest."""
    number = np.arange(stretch.size)
    order = np.lexsort((-number, seen["snr_db"], seen["likelihood"], stretch))
    last = np.searchsorted(stretch[order], np.arange(count), side="right") - 1
    return np.asarray(order[last], dtype=np.intp)


# Tables -----------------------------------------------------------------------------------------


def strength_word(snr_db: float, bandwidth_hz: float) -> str:
    """Our word for the highest rung that a median S/N reaches."""
    reached = [
        rung for rung in listening.LADDER if snr_db >= rung_snr_db(rung, bandwidth_hz) - 1e-9
    ]
    return STRENGTH_WORDS[reached[-1] if reached else None]


def _mode_reason(mode: str, gain_db: float, single: bool, near: list[tuple[float, str]]) -> str:
    """Say why a mode; `near` holds offset [kHz] and label of the neighbours on the air."""
    if single:
        return "single sideband, by custom the upper"
    if not near:
        return f"no neighbour in the schedule within {_NEIGHBOUR_KHZ:g} kHz"

    def listed(chosen: list[tuple[float, str]]) -> str:
        return " and ".join(
            f"{label} on the channel"
            if offset == 0.0
            else f"{label}, {abs(offset):g} kHz {'up' if offset > 0.0 else 'down'}"
            for offset, label in chosen
        )

    if mode == "AM":
        if all(offset == 0.0 for offset, _ in near):
            return f"no sideband avoids {listed(near)}"
        return f"one sideband would lose more than it avoids of {listed(near)}"
    above = mode == "LSB"
    worse = [one for one in near if (one[0] > 0.0 if above else one[0] < 0.0)]
    gain = f"{gain_db:.{0 if gain_db >= 1.0 else 1}f} dB better than AM"
    return f"the sideband away from {listed(worse)}; {gain}"


def _neighbours_on_air(
    air: Air, which: NDArray[np.intp], t_s: Floats
) -> list[list[tuple[float, str]]]:
    """Offset [kHz] and label of each neighbour that is on the air, for rows at one instant each."""
    times, when = np.unique(t_s, return_inverse=True)
    on = air.schedule.on_air(UtcTimes(times))
    labels = [f"{khz:g} kHz {name}" for khz, name in zip(air.freq_khz, air.names, strict=True)]
    out = []
    for i, k in zip(which.tolist(), when.tolist(), strict=True):
        near = air.neighbours(i)
        near = near[on[near, k]]
        offset_khz = air.freq_khz[near] - air.freq_khz[i]
        out.append([(float(d), labels[j]) for d, j in zip(offset_khz, near, strict=True)])
    return out


def _both_clocks(name: str, t_s: Floats, zone: str) -> dict[str, Any]:
    """Columns of an instant: UTC and local, each with its weekday."""
    times = UtcTimes(t_s)
    local = np.asarray(clock.to_local(times, zone), dtype="datetime64[s]")
    prefix = f"{name}_" if name else ""
    return {
        f"{prefix}utc": to_index(times),
        f"{prefix}utc_weekday": _WEEKDAYS[np.asarray(clock.weekday(times), dtype=np.intp)],
        f"{prefix}local": local,
        f"{prefix}local_weekday": _WEEKDAYS[np.asarray(clock.weekday(local), dtype=np.intp)],
    }


def _frame(
    air: Air,
    which: NDArray[np.intp],
    from_s: Floats,
    to_s: Floats,
    best_s: Floats,
    seen: dict[str, NDArray[Any]],
    mean: Floats,
    window: tuple[float, float],
) -> pd.DataFrame:
    import pandas as pd

    from farhear.reception import LIMITS

    rows = air.schedule.frame.iloc[which].reset_index(drop=True)
    names = ("band", "freq_khz", "broadcaster", "language", "site", "target")
    out = rows[list(names)].copy()
    zone = air.station.time_zone
    for name, t_s in (("start", from_s), ("end", to_s), ("best", best_s)):
        out = out.assign(**_both_clocks(name, t_s, zone))
    near = _neighbours_on_air(air, which, best_s)
    modes = [listening.MODES[int(code)] for code in seen["demodulation"]]
    gains = seen["demodulation_gain_db"].tolist()
    single = (rows["modulation"] == "SSB").tolist()
    bandwidth = air.station.bandwidth_hz
    columns: dict[str, Any] = {
        "likelihood": seen["likelihood"],
        "likelihood_mean": mean,
        "snr_db": seen["snr_db"],
        "strength": [strength_word(snr, bandwidth) for snr in seen["snr_db"].tolist()],
        "mode": modes,
        "mode_reason": [_mode_reason(*one) for one in zip(modes, gains, single, near, strict=True)],
        "neighbours": ["; ".join(label for _, label in each) for each in near],
        "azimuth_deg": air.geometry["home_bearing_deg"][which],
        "distance_km": air.geometry["distance_km"][which],
        "limit": [LIMIT_WORDS[LIMITS[int(code)]] for code in seen["limit"]],
    }
    ends = {
        "home": (np.array([air.station.lat_deg]), np.array([air.station.lon_deg])),
        "tx": (air.column("tx_lat_deg")[which], air.column("tx_lon_deg")[which]),
    }
    for end, place in ends.items():
        middle_s = (window[0] + window[1]) / 2.0
        rise_s, set_s = _sun_inside(*place, middle_s - _DAY_S / 2.0, middle_s + _DAY_S / 2.0)
        for name, t_s in (("sunset", set_s), ("sunrise", rise_s)):
            columns[f"{end}_{name}_utc"] = to_index(UtcTimes(np.broadcast_to(t_s, which.shape)))
    columns["row"] = rows["row"].to_numpy()
    words = ("strength", "mode", "mode_reason", "neighbours", "limit")
    columns |= {name: pd.Series(columns[name], dtype="str") for name in words}
    return out.assign(**columns)


def _groups(
    station: Station,
    frame: pd.DataFrame,
    rank: NDArray[np.intp],
    t_s: Floats,
    likelihood: Floats,
    step_s: float,
) -> pd.DataFrame:
    """Return one row a band and step, bands in order of frequency."""
    import pandas as pd

    from farhear import band as bands

    table = pd.DataFrame(
        {
            "band": frame["band"].to_numpy()[rank],
            "t_s": t_s // step_s * step_s,
            "likelihood": likelihood,
            "rank": rank,
        }
    )
    table["likely"] = table["likelihood"] >= _LIKELY
    place = {name: i for i, name in enumerate([*(b.name for b in bands.BANDS), bands.OTHER])}
    table["place"] = [place[name] for name in table["band"]]
    table = table.sort_values(
        ["place", "t_s", "likelihood", "rank"], ascending=[True, True, False, True]
    )
    keys = table.groupby(["place", "t_s"], sort=False)
    top = keys.head(1)
    of = top["rank"].to_numpy()
    return pd.DataFrame(
        {
            "band": top["band"].astype("str").to_numpy(),
            **_both_clocks("", top["t_s"].to_numpy(np.float64), station.time_zone),
            "on_air_count": keys.size().to_numpy(),
            "likely_count": keys["likely"].sum().to_numpy(),
            "likelihood": top["likelihood"].to_numpy(),
            "freq_khz": frame["freq_khz"].to_numpy()[of],
            "broadcaster": frame["broadcaster"].to_numpy()[of],
            "rank": of,
        }
    )

"""A study: a question, the checks that answer it, and all that is needed to answer it again.

A study is a folder that may be given away. :meth:`Study.create` writes the shared copy of a log
into it: the home only as a cell, everything that follows from the place (minutes after sunset,
paths, likelihoods) worked out anew from the middle of that cell, free text left out. :meth:`run`
works out the results from what is in the folder and from nothing else, so that whoever gets the
folder gets the same numbers. The exact home stays in the listener's own files.

Files: `study.toml` (what it is, and the questions with their dates), `data` (checks, sittings,
setups, schedule rows, indices, predictions, and what follows from them), `results.json`, `charts`
(SVG, PNG, the chart in words), `README.md` (the verdicts in words), `index.html` (one page with
everything on it), `environment.json`,
and the two lists of :mod:`farhear.bundle`.
"""

from __future__ import annotations

import dataclasses
import fnmatch
import json
import math
import platform
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from farhear import _core, bundle, clock, evenings, path, predictions
from farhear._arrays import Floats
from farhear._data import coverage
from farhear._files import alone, put, sweep, toml_value
from farhear._index_sources import KP
from farhear.club import LICENCES, WITHHELD, Club
from farhear.errors import InputError
from farhear.forecast import flux as told_flux
from farhear.hunch import Answers, Evidence, answers, solar_conditions
from farhear.hunch._ground import STRATUM_MIN
from farhear.indices import Indices, load_indices, read_indices
from farhear.log import Log, read_log, write_log
from farhear.predictions import Predictions, read_predictions
from farhear.questions import Question, read_questions
from farhear.schedule import Schedule, read_schedule
from farhear.scoring import CheckFlux, Checks, checks_from_log, evaluate
from farhear.skill import block_interval, rate_interval
from farhear.station import Station
from farhear.tables import csv_text, decode, frame_of, near_name, read_bytes_of
from farhear.times import UtcTimes, iso_text, unix_s
from farhear.verdicts import ALWAYS

if TYPE_CHECKING:
    from farhear.charts.pictures import StudyPictures

__all__ = ["FORM", "About", "Study"]

FORM = "farhear study 1"
"""Form of a study; a reader of a later one reads this one, too."""
BUSY = "another program is writing this study; let it finish"
RESULTS = "results.json"
PAGE = "index.html"

_STUDY = "study.toml"
_SHARED = (
    *("session_id", "observer_id", "start_utc", "end_utc", "freq_khz", "demod", "outcome"),
    *("identity", "id_basis", "id_confidence", "sinpo", "language", "setup_id"),
)
_SCHEDULE = (
    *("freq_khz", "start_utc", "stop_utc", "days", "valid_from", "valid_to", "broadcaster"),
    *("language", "site", "tx_lat_deg", "tx_lon_deg", "power_kw", "azimuth_deg", "slew_deg"),
    *("antenna", "target", "modulation"),
)
_CHARACTERS = (2, 4, 6)
_PART = ("word", "effect", "low", "high", "unit", "p_value", "decided", "counted")
_RECORD_DAYS = 400  # a flux that is told looks back a year
_DRAWS = 500
_DIGITS = 4
_NOWHERE = "JJ00"  # stands in for a place that is withheld; nothing is counted from it
_DAY_S = 86400.0
_PACKAGES = ("matplotlib", "numpy", "pandas", "scipy", "statsmodels", "xarray")
_CAUTION = (
    "Hours of listening tell when somebody is at home, and when not: share them late, or by week."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """What a study is, as it stands in its `study.toml`.

    Attributes
    ----------
    title
        In words.
    member
        Pseudonym of the listener.
    licence
        Key of `farhear.club.LICENCES`.
    locator
        Maidenhead locator of the cell that the home is in; empty for a club, whose members' places
        stand in `data/people.csv`.
    time_zone, noise, bandwidth_hz, required_snr_db, min_elevation_deg
        Of the station.
    seed
        Of all draws.
    note
        Anything else, for example that all of it is invented.
    """

    title: str
    member: str
    licence: str
    locator: str
    time_zone: str
    noise: str | float
    bandwidth_hz: float
    required_snr_db: float
    min_elevation_deg: float
    seed: int = 1
    note: str = ""

    def __post_init__(self) -> None:
        for name, longest in (("title", 200), ("member", 40), ("note", 500)):
            value = getattr(self, name)
            if not isinstance(value, str) or len(value) > longest or not value.isprintable():
                raise InputError(f"{name} = {value!r} is no text of {longest} characters or less")
            if "@" in value:
                raise InputError(f"{name} = {value!r} holds an @; leave addresses out of a study")
        for name in ("title", "member"):
            if not getattr(self, name).strip():
                raise InputError(f"{name} is empty")
        if self.licence not in LICENCES:
            raise InputError(f"licence = {self.licence!r} is none of {', '.join(sorted(LICENCES))}")
        if not isinstance(self.seed, int) or isinstance(self.seed, bool) or self.seed < 0:
            raise InputError(f"seed = {self.seed!r} is not a whole number of 0 or more")
        if self.locator:
            _ = self.station  # refuses what is no place or no station

    @property
    def station(self) -> Station:
        """The station, in the middle of its cell."""
        if not self.locator:
            raise InputError("a club has no station of its own")
        return self.station_at(self.locator, self.time_zone)

    def station_at(self, locator: str, time_zone: str) -> Station:
        """A station of this receiver in the middle of a cell."""
        cell = path.from_locator(locator)
        return Station(
            name=f"Cell {locator}",
            lat_deg=float(cell.lat_deg),
            lon_deg=float(cell.lon_deg),
            time_zone=time_zone,
            noise=self.noise,
            bandwidth_hz=self.bandwidth_hz,
            required_snr_db=self.required_snr_db,
            min_elevation_deg=self.min_elevation_deg,
        )

    @property
    def place_text(self) -> str:
        """The cell and its size, in words."""
        if not self.locator:
            return "places of its members (data/people.csv)"
        high, wide = cell_km(self.locator)
        return f"locator cell {self.locator} ({high:.0f} km by {wide:.0f} km)"

    def toml(self) -> str:
        """The head of a `study.toml`."""
        lines = [f"form = {toml_value(FORM)}"]
        lines += [f"{one.name} = {toml_value(getattr(self, one.name))}" for one in fields(self)]
        return "\n".join(lines) + "\n"


def cell_km(locator: str) -> tuple[float, float]:
    """Size of a locator's cell, north to south and east to west. [km]"""
    cell = path.from_locator(locator)
    lat, lon = float(cell.lat_deg), float(cell.lon_deg)
    half_lat, half_lon = float(cell.half_lat_deg), float(cell.half_lon_deg)
    ends = path.inverse(
        [lat - half_lat, lat], [lon, lon - half_lon], [lat + half_lat, lat], [lon, lon + half_lon]
    )
    return float(ends.distance_km[0]), float(ends.distance_km[1])


def cell_cost_min(about: About, days: Any) -> float:
    """How far sunset in the corners of the cell is from that in its middle, at most. [min]"""
    cell, home = path.from_locator(about.locator), about.station
    middle = evenings.nights(days, home).sunset_utc.unix_s
    worst = 0.0
    for up in (-0.999, 0.999):
        for right in (-0.999, 0.999):
            lat = float(cell.lat_deg) + up * float(cell.half_lat_deg)
            lon = float(cell.lon_deg) + right * float(cell.half_lon_deg)
            corner = Station(name="corner", lat_deg=lat, lon_deg=lon, time_zone=about.time_zone)
            gap = np.abs(evenings.nights(days, corner).sunset_utc.unix_s - middle) / 60.0
            worst = max(worst, float(np.nanmax(gap, initial=0.0)))
    return worst


@dataclass(frozen=True, slots=True)
class Study:
    """A study's folder.

    Attributes
    ----------
    folder
        Where it is.
    about
        What it is.
    """

    folder: Path
    about: About

    @property
    def plot(self) -> StudyPictures:
        """Charts of the results in the folder: `openings(band)`, `hearing(band)`, `forest()`.

        Raises
        ------
        InputError
            Before the study has been run.
        """
        from farhear.charts.pictures import StudyPictures

        verdicts = self._results()["verdicts"]
        tables = [self.table(name) for name in ("openings", "hours")]
        return StudyPictures(verdicts, self.about.title, *tables)

    def _results(self) -> dict[str, Any]:
        file = self.folder / RESULTS
        if not file.is_file():
            raise InputError(f"{self.folder} holds no {RESULTS}; run the study first")
        results: dict[str, Any] = json.loads(decode(read_bytes_of(file), RESULTS))
        return results

    def _repr_html_(self) -> str:
        from farhear._rich import panel

        facts = {"folder": self.folder.name, "place": self.about.place_text}
        if not (self.folder / RESULTS).is_file():
            return panel(self.about.title, facts, notes=["Not run yet: study.run()."])
        results = self._results()
        facts |= {name: results[name] for name in ("evenings", "weeks")}
        columns = ["hunch", "word", "question", "sentence"]
        verdicts = pd.DataFrame(results["verdicts"]).reindex(columns=columns)
        return panel(self.about.title, facts, verdicts, [ALWAYS])

    @classmethod
    def open(cls, folder: str | Path) -> Study:
        """Open a study.

        Raises
        ------
        InputError
            On a folder that holds none, an unknown form, or a `study.toml` with what does not
            belong.
        OSError
            When it cannot be read.
        """
        folder = Path(folder)
        file = folder / _STUDY
        if not file.is_file():
            raise InputError(f"{folder} holds no {_STUDY}: it is no study")
        try:
            content = tomllib.loads(decode(read_bytes_of(file), _STUDY))
        except (ValueError, RecursionError) as cause:
            raise InputError(f"{_STUDY} is not TOML: {cause}") from None
        form = content.pop("form", None)
        if form is None:
            raise InputError(f"{folder} has questions, but no log yet; see farhear pack")
        if form != FORM:
            raise InputError(
                f"{_STUDY}: form = {form!r} is not {FORM!r}; is it of a later version?"
            )
        content.pop("questions", None)
        known = [one.name for one in fields(About)]
        for name in content:
            if name not in known:
                raise InputError(f"{_STUDY}: unknown key {name!r}{near_name(name, known)}")
        try:
            return cls(folder, About(**content))
        except (InputError, TypeError) as fault:
            raise InputError(f"{_STUDY}: {fault}") from None

    @classmethod
    def create(
        cls,
        folder: str | Path,
        *,
        title: str,
        station: Station,
        log: Log,
        schedule: Schedule | None = None,
        indices: Indices | None = None,
        issued: Predictions | None = None,
        member: str = "listener 1",
        licence: str = "CC-BY-4.0",
        characters: int = 4,
        seed: int = 1,
        note: str = "",
    ) -> Study:
        """Write the shared copy of a log into a folder.

        Parameters
        ----------
        folder
            Made when it is not there. It may hold a `study.toml` with questions (they stay as they
            are), or an older copy, which is replaced.
        title, member, licence, seed, note
            See :class:`About`.
        station
            The home. Only its cell, zone, noise and receiver get into the folder.
        log
            From :func:`farhear.read_log`. Notes, programme details, recordings and what was typed
            are left out; sittings get numbers.
        schedule
            Its rows on the frequencies of the log are kept.
        indices
            The days of the log and 400 before them are kept; None: the shipped ones.
        issued
            Predictions that were written before listening. The time of writing is kept, the
            likelihood is worked out anew from the cell, with the flux as it could be told on that
            day: that of the exact home would give the home away.
        characters
            Of the locator: 4 (a cell of 1 by 2 degrees), 2 (10 by 20) or 6 (2.5 by 5 minutes).

        Raises
        ------
        InputError
            On a log without checks, text with an address in it, values out of range, a folder with
            files that are no part of a study, or one that another program is writing.
        OSError
            When the folder cannot be written.
        """
        if characters not in _CHARACTERS:
            raise InputError(f"characters = {characters!r} is none of 2, 4, 6")
        if not len(log):
            raise InputError(f"{log.source} has no checks; there is nothing to study yet")
        about = About(
            title=title,
            member=member,
            licence=licence,
            locator=str(path.locator(station.lat_deg, station.lon_deg, characters)),
            time_zone=station.time_zone,
            noise=station.noise,
            bandwidth_hz=station.bandwidth_hz,
            required_snr_db=station.required_snr_db,
            min_elevation_deg=station.min_elevation_deg,
            seed=seed,
            note=note,
        )
        frame = _shared_checks(log, station, member)
        indices = load_indices() if indices is None else indices
        with _at_work(Path(folder)):
            study = cls._written(folder, about, frame, schedule, indices)
            study._write("sittings", _sittings(frame))
            study._write("setups", _setups(frame, station))
            if issued is not None and schedule is not None:
                study._write_predictions(log, station, issued, indices)
            study._write_head()
        return study

    @classmethod
    def from_club(
        cls,
        folder: str | Path,
        club: Club,
        *,
        title: str,
        name: str = "the club",
        schedule: Schedule | None = None,
        indices: Indices | None = None,
        seed: int = 1,
        note: str = "",
    ) -> Study:
        """Write the merged checks of a club into a folder; it is a study like any other.

        Parameters
        ----------
        folder, title, seed, note
            As in :meth:`create`.
        club
            From :func:`farhear.club.merge`, by evenings.
        name
            Of the club.
        schedule, indices
            As in :meth:`create`.

        Raises
        ------
        InputError
            On a club merged by weeks (its checks are on other days than they were), or without
            checks; on values out of range.
        OSError
            When the folder cannot be written.
        """
        if "evening" not in club.checks:
            raise InputError("the club was merged by weeks; a study needs its evenings")
        if not len(club.checks):
            raise InputError("the club has no checks; there is nothing to study yet")
        every = set(club.people["licence"])
        about = About(
            title=title,
            member=name,
            licence="CC-BY-4.0" if "CC-BY-4.0" in every else "CC0-1.0",
            locator="",
            time_zone="Etc/UTC",
            noise="residential",
            bandwidth_hz=9000.0,
            required_snr_db=17.0,
            min_elevation_deg=3.0,
            seed=seed,
            note=note,
        )
        checks = club.checks.reset_index(drop=True)
        frame = checks.rename(columns={"member": "observer_id"}).drop(columns=["row"])
        frame = frame[[name for name in _SHARED if name in frame]]
        with _at_work(Path(folder)):
            study = cls._written(folder, about, frame, schedule, indices)
            lines = np.arange(len(checks)) + 2
            claims = checks[["identity_state", "claims", "duplicates"]]
            study._write("claims", claims.assign(line=lines)[["line", *claims.columns]])
            for file, table in (
                ("people", club.people),
                ("counts", club.counts),
                ("agreement", club.agreement),
                ("offsets", club.offsets),
                ("refused", club.rejects.drop(columns="value")),
            ):
                study._write(file, table)
            study._write_head()
        return study

    @classmethod
    def _written(
        cls,
        folder: str | Path,
        about: About,
        checks: pd.DataFrame,
        schedule: Schedule | None,
        indices: Indices | None,
    ) -> Study:
        """Checks, schedule rows and indices of a study; what an older one left is removed.

        The head of its `study.toml` comes last, so that a copy that was cut short is none.
        """
        folder = Path(folder)
        file = folder / _STUDY
        questions = read_questions(folder) if file.exists() else ()
        _refuse_others(folder)
        put(file, "".join(one.toml() for one in questions).encode("utf-8"))
        for old in sorted(folder.rglob("*")):
            name = old.relative_to(folder).as_posix()
            if old.is_file() and name != _STUDY and not name.startswith("season-"):
                old.unlink()
        (folder / "data").mkdir(parents=True, exist_ok=True)
        study = cls(folder, about)
        write_log(checks, folder / "data" / "checks.csv")
        indices = load_indices() if indices is None else indices
        study._write("indices", _record(checks, indices))
        put(folder / "data" / "credits.txt", ("\n".join(indices.credits) + "\n").encode("utf-8"))
        if schedule is not None:
            study._write_schedule(schedule, checks)
        return study

    def _write_head(self) -> None:
        text = self.about.toml() + "".join(one.toml() for one in self.questions)
        put(self.folder / _STUDY, text.encode("utf-8"))

    def _write(self, name: str, frame: pd.DataFrame) -> None:
        put(self.folder / "data" / f"{name}.csv", csv_bytes(frame))

    def _write_schedule(self, schedule: Schedule, checks: pd.DataFrame) -> None:
        """Rows on the frequencies of the checks, one file a season."""
        frame = schedule.frame
        frame = frame[frame["freq_khz"].isin(checks["freq_khz"])]
        for season, rows in frame.groupby("season", sort=True):
            out = rows[list(_SCHEDULE)].copy()
            one = out["azimuth_deg"].map(_number)
            out["azimuth_deg"] = rows["beams_deg"].where(rows["beams_deg"] != "", one)
            for clock_name in ("start_utc", "stop_utc"):
                minute = rows[clock_name.replace("_utc", "_min")].to_numpy(np.int64)
                minute = np.where(minute > 1440, minute - 1440, minute)
                out[clock_name] = [f"{m // 60:02d}{m % 60:02d}" for m in minute.tolist()]
            self._write("_".join(filter(None, ("schedule", str(season)))), out)

    def _write_predictions(
        self, log: Log, station: Station, issued: Predictions, indices: Indices
    ) -> None:
        """What could be told from the cell for each check that had been told from the home."""
        table = evenings.table(log, station)
        said = predictions.beside(table, issued).set_index("row")
        shared = self.log()
        checks = checks_from_log(shared, self.about.station, self._schedule_or_fail())
        # rows of the shared log are those of the log in order; line 1 is the header
        order = dict(enumerate(log.frame["row"].tolist(), 2))
        rows = [order[int(row)] for row in checks.frame["row"]]
        when = said["issued_utc"].reindex(rows)
        wanted = np.flatnonzero(when.notna().to_numpy())
        if not wanted.size:
            return
        stamps = unix_s(when.iloc[wanted])
        told = told_fluxes(unix_s(checks.frame["utc"].iloc[wanted]), stamps, indices)
        likelihood = likelihoods_of(checks, wanted, *told)
        of = shared.frame.set_index("row").loc[checks.frame["row"].iloc[wanted]]
        frame = pd.DataFrame(
            {
                "issued_utc": [iso_text(s) for s in stamps.tolist()],
                "start_utc": [iso_text(s) for s in unix_s(of["start_utc"]).tolist()],
                "end_utc": [iso_text(s + 1.0) for s in unix_s(of["end_utc"]).tolist()],
                "freq_khz": of["freq_khz"].to_numpy(),
                "broadcaster": of["identity"].to_numpy(),
                "likelihood": likelihood.round(_DIGITS),
            }
        )
        self._write("predictions", frame)

    # What is in the folder ----------------------------------------------------------------------

    @property
    def questions(self) -> tuple[Question, ...]:
        """Its questions, in their order."""
        return read_questions(self.folder)

    def log(self) -> Log:
        """The shared copy of the log."""
        return read_log(self.folder / "data" / "checks.csv")

    def schedule(self) -> Schedule | None:
        """The schedule rows, None where there are none."""
        out = None
        for file in sorted((self.folder / "data").glob("schedule*.csv")):
            season = file.stem.partition("_")[2] or None
            one = read_schedule(file, days="iso", season=season)
            out = one if out is None else Schedule.joined(out, one)
        return out

    def _schedule_or_fail(self) -> Schedule:
        schedule = self.schedule()
        if schedule is None:
            raise InputError("the study has no schedule")
        return schedule

    def indices(self) -> Indices:
        """The days of the record that the study rests on."""
        return read_indices(self.folder / "data" / "indices.csv")

    def predictions(self) -> Predictions | None:
        """Predictions, None where there are none."""
        file = self.folder / "data" / "predictions.csv"
        return read_predictions(file) if file.exists() else None

    def table(self, name: str, **how: Any) -> pd.DataFrame:
        """A table of its data; `how` as in :func:`pandas.read_csv`."""
        return frame_of(self.folder / "data" / f"{name}.csv", f"data/{name}.csv", **how)

    def people(self) -> list[tuple[str, str, str]]:
        """Name, place as shown and time zone of each member of a club."""
        table = self.table("people", dtype=str, keep_default_na=False)
        columns = ["name", "place", "time_zone"]
        for name in columns:
            if name not in table:
                raise InputError(f"data/people.csv has no column {name!r}")
        return list(table[columns].itertuples(index=False, name=None))

    def evidence(self) -> Evidence:
        """What its questions are answered from; each member of a club from his own place."""
        log, schedule, indices = self.log(), self.schedule(), self.indices()
        said = self.predictions()
        people = self.folder / "data" / "people.csv"
        if not people.exists():
            home = self.about.station
            return Evidence.of(log, home, schedule, indices=indices, issued=said)
        parts = []
        for name, shown, zone in self.people():
            place = "" if shown == WITHHELD else shown
            mine = log.frame[log.frame["observer_id"] == name]
            if not len(mine):
                continue
            home = self.about.station_at(place or _NOWHERE, zone)
            part = Evidence.of(
                dataclasses.replace(log, frame=mine, rejects=log.rejects[:0], rows_read=len(mine)),
                home,
                schedule,
                indices=indices,
                issued=said,
            )
            parts.append(part if place else without_sun(part))
        return joined_evidence(parts)

    # Results ------------------------------------------------------------------------------------

    def worked_out(self) -> Worked:
        """Work everything out from what is in the folder."""
        evidence = self.evidence()
        questions = self.questions
        found = answers(questions, evidence) if questions else Answers((), ())
        parts = self._by_listener(evidence.table)
        openings = [_openings(table, label) for label, table in parts]
        hours = [hearing_by_hour(table, self.about.seed, label) for label, table in parts]
        return Worked(
            self.about,
            found,
            evidence,
            pd.concat(openings, ignore_index=True),
            pd.concat(hours, ignore_index=True),
        )

    def _by_listener(self, table: pd.DataFrame) -> list[tuple[str, pd.DataFrame]]:
        """The whole table of one listener, or each member's of a club with a name for its bands."""
        if self.about.locator:
            return [("", table)]
        names = sorted(set(table["observer_id"].astype(str)))
        return [(f", {name}", table[(table["observer_id"] == name).to_numpy()]) for name in names]

    def run(self, *, charts: bool = True, page: bool = True) -> Worked:
        """Work everything out and write it into the folder, then seal it.

        Parameters
        ----------
        charts, page
            Whether to draw, and to make `index.html`.

        Raises
        ------
        InputError
            On data that cannot be read again, or a folder that another program is writing.
        OSError
            When the folder cannot be written.
        """
        with _at_work(self.folder):
            return self._run(charts, page)

    def _run(self, charts: bool, page: bool) -> Worked:
        worked = self.worked_out()
        self._write("openings", worked.openings)
        self._write("hours", worked.hours)
        results = worked.results()
        put(self.folder / RESULTS, _json(results))
        put(self.folder / "environment.json", _json(environment()))
        if charts:
            self._draw(worked)
        put(self.folder / "README.md", readme(self, worked).encode("utf-8"))
        (self.folder / PAGE).unlink(missing_ok=True)
        if page:
            put(self.folder / PAGE, self._page(worked, results))
        self._seal()
        return worked

    def _draw(self, worked: Worked) -> None:
        (self.folder / "charts").mkdir(exist_ok=True)
        for name, frame, draw in (
            ("openings", worked.openings, worked.plot.openings),
            ("hours", worked.hours, worked.plot.hearing),
        ):
            if not len(frame):
                continue
            picture = draw()
            for suffix in ("svg", "png"):
                picture.save(self.folder / "charts" / f"{name}.{suffix}")
            words = f"{picture.alt}\nIts numbers: data/{name}.csv\n"
            put(self.folder / "charts" / f"{name}.txt", words.encode("utf-8"))

    def _page(self, worked: Worked, results: Mapping[str, Any]) -> bytes:
        from farhear.page import PageContent
        from farhear.page import page as page_of

        tables = {
            file.stem: self.table(file.stem, keep_default_na=False, na_values=[""])
            for file in sorted((self.folder / "data").glob("*.csv"))
            if file.stem not in ("openings", "hours")
        }
        checks = tables["checks"]
        tables["checks"] = checks[[name for name in checks if (checks[name].notna()).any()]]
        digests = {
            path.relative_to(self.folder).as_posix(): bundle.sha256_of(path)
            for path in sorted((self.folder / "data").glob("*.csv"))
        }
        return page_of(
            PageContent(
                title=self.about.title,
                subtitle=f"{worked.span_text}, {self.about.place_text}",
                verdicts=[one | {"question": one["asked"]} for one in results["verdicts"]],
                openings=worked.openings,
                hours=worked.hours,
                tables=tables,
                credits=[
                    f"Log: {self.about.member}, {self.about.licence}",
                    *(self.folder / "data" / "credits.txt").read_text("utf-8").splitlines(),
                ],
                digests=digests,
                cautions=[_CAUTION],
                about=[*([self.about.note] if self.about.note else []), *self._rests_on(worked)],
                from_cell=True,
            )
        )

    def _rests_on(self, worked: Worked) -> list[str]:
        """What the figures rest on, in sentences."""
        if not self.about.locator:
            return [
                "Everything here was worked out for each member from the middle of the place that "
                "is shown in `data/people.csv`. Setups of different members were never put "
                "together.",
            ]
        days = np.unique(worked.evidence.table["evening"].to_numpy("datetime64[D]"))
        return [
            "Everything here was worked out from the middle of the cell, so it does not tell where "
            "in it the home is. Sunset in a corner of the cell is up to "
            f"{cell_cost_min(self.about, days):.1f} min from that in its middle: comparisons "
            "within an evening do not mind, minutes after sunset do by so much.",
        ]

    def seal(self) -> None:
        """Write the two lists of its files, see :mod:`farhear.bundle`.

        Raises
        ------
        InputError
            When the folder holds a file that is no part of a study: it would be given away.
        """
        with _at_work(self.folder):
            self._seal()

    def _seal(self) -> None:
        _refuse_others(self.folder)
        (self.folder / bundle.CRATE).unlink(missing_ok=True)
        tables = {}
        for file in sorted(self.folder.glob("data/*.csv")):
            tables[file.relative_to(self.folder).as_posix()] = bundle.fields_of(file)
        bundle.seal(
            self.folder,
            name=_slug(self.about.title),
            title=self.about.title,
            tables=tables,
            licences=[
                {"name": self.about.licence, "path": LICENCES[self.about.licence]},
            ],
            sources=(self.folder / "data" / "credits.txt").read_text("utf-8").splitlines(),
            contributors=[{"title": self.about.member, "roles": ["listener"]}],
        )

    def pack(self, path: str | Path) -> None:
        """Write it as one archive; it has to be sealed and unchanged.

        Raises
        ------
        InputError
            When a file is missing, changed or not in the manifest.
        OSError
            When the archive cannot be written.
        """
        with _at_work(self.folder):
            faults = bundle.seal_faults(self.folder)
            if faults:
                raise InputError(f"{faults[0]}; run the study again before packing it")
            bundle.pack_folder(self.folder, Path(path))


def without_sun(evidence: Evidence) -> Evidence:
    """The same without anything counted from a sunset: the place is not known."""
    table = evidence.table.copy()
    for name in ("start_min", "end_min", "middle_min"):
        table[name] = np.nan
    for name in ("sunset_utc", "sunrise_utc"):
        table[name] = table[name].where(np.zeros(len(table), dtype=np.bool_))
    return dataclasses.replace(evidence, table=table, path_lat_deg=evidence.path_lat_deg[:0])


def joined_evidence(parts: list[Evidence]) -> Evidence:
    """Evidence of several homes as one; their setups keep them apart."""
    if not parts:
        raise InputError("no member of the club has a check")
    table = pd.concat([one.table for one in parts], ignore_index=True)
    day = table["evening"].to_numpy("datetime64[D]").astype(np.int64)
    monday = day.min() - (day.min() - 4) % 7  # 1970-01-05 was one
    table["week"] = (day - monday) // 7
    said = [one.said for one in parts if one.said is not None]
    return dataclasses.replace(
        parts[0],
        table=table,
        path_lat_deg=pd.concat([one.path_lat_deg for one in parts]),
        said=pd.concat(said, ignore_index=True) if said else None,
    )


@dataclass(frozen=True, slots=True)
class Worked:
    """Results of a study before they are written."""

    about: About
    answers: Answers
    evidence: Evidence
    openings: pd.DataFrame
    hours: pd.DataFrame

    @property
    def plot(self) -> StudyPictures:
        """Charts: `openings(band)`, `hearing(band)`, `forest()`."""
        from farhear.charts.pictures import StudyPictures

        return StudyPictures(self.answers.verdicts, self.about.title, self.openings, self.hours)

    @property
    def span_text(self) -> str:
        """First and last evening."""
        days = self.evidence.table["evening"]
        return f"{days.min():%Y-%m-%d} to {days.max():%Y-%m-%d}"

    def results(self) -> dict[str, Any]:
        """All numbers, as they stand in `results.json`; what is not known is None."""
        table = self.evidence.table
        counts = table.groupby("band", observed=True).agg(
            checks=("heard", "size"), told=("heard", "count"), heard=("heard", "sum")
        )
        out: dict[str, Any] = {
            "form": "farhear results 1",
            "engine": _core.__version__,
            "place": self.about.locator,
            "seed": self.about.seed,
            "evenings": int(table["evening"].nunique()),
            "weeks": int(table["week"].nunique()),
            "checks": {str(k): _plain(v) for k, v in counts.to_dict("index").items()},
            "verdicts": [
                _verdict(question, verdict)
                for question, verdict in zip(
                    self.answers.questions, self.answers.verdicts, strict=True
                )
            ],
        }
        try:
            sun = solar_conditions(table, self._indices(), seed=self.about.seed)
            out["sun"] = {"rows": _plain(sun.frame.to_dict("records")), "notes": list(sun.notes)}
        except InputError as fault:
            out["sun"] = {"rows": [], "notes": [f"Not worked out: {fault}."]}
        return out

    def _indices(self) -> Indices:
        return load_indices() if self.evidence.indices is None else self.evidence.indices


def _no_openings() -> pd.DataFrame:
    names = ("evening", "band", "low_min", "high_min", "checks", "heard_count", "state")
    return pd.DataFrame(columns=list(names))


def _openings(table: pd.DataFrame, label: str) -> pd.DataFrame:
    """Openings of a listener, his name behind each band; none where no evening has a sunset."""
    if not table["start_min"].notna().any():
        return _no_openings()
    out = evenings.openings(table)
    return out.assign(band=out["band"].astype(str) + label)


def hearing_by_hour(table: pd.DataFrame, seed: int, label: str = "") -> pd.DataFrame:
    """Share heard by band and half hour after sunset, with intervals by weeks.

    `label` is written behind each band.

    Returns
    -------
    DataFrame: `band`, `from_min` (of the half hour) [min after sunset], `checks`, `heard`, `ratio`,
    `low`, `high` (95 %: at each end the wider of draws of whole weeks and of Clopper and Pearson's,
    which knows that nothing heard in 10 checks may still be one in four).
    """
    rows = table[table["heard"].notna() & table["middle_min"].notna()]
    out = []
    lowest_khz = rows.groupby("band", observed=True)["freq_khz"].min().sort_values()
    for band in lowest_khz.index:
        part = rows[(rows["band"] == band).to_numpy()]
        step = np.floor(part["middle_min"].to_numpy(np.float64) / STRATUM_MIN).astype(np.int64)
        kinds, code = np.unique(step, return_inverse=True)
        heard = part["heard"].to_numpy(np.float64)

        def ratio(of: Any, code: Any = code, heard: Any = heard, count: int = kinds.size) -> Any:
            many = np.bincount(code[of], minlength=count)
            with np.errstate(invalid="ignore"):
                return np.bincount(code[of], heard[of], count) / many

        low, high = block_interval(ratio, part["week"].to_numpy(), _DRAWS, seed, 0.95)
        checks = np.bincount(code)
        exact = rate_interval(np.bincount(code, heard), checks)
        low, high = np.fmin(low, exact[0]), np.fmax(high, exact[1])
        out.append(
            pd.DataFrame(
                {
                    "band": str(band) + label,
                    "from_min": kinds * STRATUM_MIN,
                    "checks": checks,
                    "heard": np.bincount(code, heard).astype(np.int64),
                    "ratio": ratio(np.arange(code.size)),
                    "low": low,
                    "high": high,
                }
            )
        )
    if not out:
        names = ("band", "from_min", "checks", "heard", "ratio", "low", "high")
        return pd.DataFrame(columns=list(names))
    return pd.concat(out, ignore_index=True)


def told_fluxes(when_s: Floats, issued_s: Floats, record: Indices) -> tuple[Floats, Floats]:
    """Flux, and its standard deviation, as it could be told at one time for another. [sfu]"""
    days = np.stack([np.floor(t / _DAY_S) for t in (issued_s, when_s)], axis=1)
    kinds, which = np.unique(days, axis=0, return_inverse=True)
    told = [
        told_flux(record, np.datetime64(int(issued), "D"), UtcTimes((day + 0.5) * _DAY_S))
        for issued, day in kinds.tolist()
    ]
    pairs = np.array([(float(one.f107_sfu), float(one.sd_sfu)) for one in told])
    sfu, sd = pairs[which.reshape(-1)].T
    return sfu, sd


def likelihoods_of(checks: Checks, rows: NDArray[np.int64], sfu: Floats, sd: Floats) -> Floats:
    """Likelihood of some checks with the fluxes given for them."""
    every = np.full((2, len(checks)), np.nan)
    every[:, rows] = sfu, sd
    found = evaluate(checks, rows, CheckFlux(every[0], every[1], "told"), None, None)
    return found["likelihood"].to_numpy(np.float64)


# Files that belong ------------------------------------------------------------------------------


@contextmanager
def _at_work(folder: Path) -> Iterator[None]:
    """One writer at a study at a time; what one that was killed left unfinished is removed."""
    folder.mkdir(parents=True, exist_ok=True)
    with alone(folder, busy=f"{folder}: {BUSY}"):
        sweep(folder)
        yield


_TABLES = (
    *("checks", "sittings", "setups", "indices", "predictions", "openings", "hours", "claims"),
    *("people", "counts", "agreement", "offsets", "refused", "schedule", "schedule_???"),
)
_FILES = (
    *(_STUDY, "README.md", PAGE, RESULTS, "environment.json", "data/credits.txt"),
    *(bundle.MANIFEST, bundle.DESCRIPTOR, bundle.CRATE),
    *(f"data/{name}.csv" for name in _TABLES),
    *(f"charts/{name}.{end}" for name in ("openings", "hours") for end in ("svg", "png", "txt")),
    *("season-???/*.csv", "season-???/*.nc", "season-???/*.svg", "season-???/*.png"),
)


def _refuse_others(folder: Path) -> None:
    """Refuse a folder with files that no study has: they would be lost, or given away."""
    for file in sorted(folder.rglob("*")):
        name = file.relative_to(folder).as_posix()
        if file.is_dir() or any(fnmatch.fnmatchcase(name, one) for one in _FILES):
            continue
        raise InputError(
            f"{folder / name} is no part of a study; keep it elsewhere, or name another folder"
        )


# Shared copies ----------------------------------------------------------------------------------


def _shared_checks(log: Log, station: Station, member: str) -> pd.DataFrame:
    """Columns that may be given away; setups by their name, sittings by their number."""
    frame = log.frame[["row", *[n for n in _SHARED if n in log.frame.columns]]].copy()
    start_s = unix_s(frame["start_utc"])
    named = frame["setup_id"].to_numpy(dtype=object)
    frame["setup_id"] = evenings.setups_of(named, start_s, station)
    frame["observer_id"] = member
    days = evenings.evening_of(UtcTimes(start_s), station.time_zone)
    told = frame["session_id"].where(frame["session_id"] != "", pd.Series(days.astype(str)))
    order = pd.factorize(told)[0] + 1
    frame["session_id"] = [f"sitting {number}" for number in order.tolist()]
    return frame


def _sittings(frame: pd.DataFrame) -> pd.DataFrame:
    groups = frame.groupby("session_id", sort=False)
    return pd.DataFrame(
        {
            "session_id": list(groups.groups),
            "start_utc": [iso_text(s) for s in unix_s(groups["start_utc"].min()).tolist()],
            "end_utc": [iso_text(s) for s in unix_s(groups["end_utc"].max()).tolist()],
            "checks": groups.size().to_numpy(),
            "heard": groups["outcome"].agg(lambda x: int((x == "heard").sum())).to_numpy(),
        }
    )


def _setups(frame: pd.DataFrame, station: Station) -> pd.DataFrame:
    """Setups used, with receiver and antenna where the station names them; notes left out."""
    known = {one.from_date.isoformat(): one for one in station.setups}
    rows = []
    for name in dict.fromkeys(frame["setup_id"].tolist()):
        one = known.get(name)
        row = (name, one.receiver if one else "", one.antenna if one else station.antenna)
        if any(row):
            rows.append(row)
    return pd.DataFrame(rows, columns=["setup_id", "receiver", "antenna"])


def _record(frame: pd.DataFrame, indices: Indices) -> pd.DataFrame:
    """Days of the record about a log."""
    days = pd.DatetimeIndex(frame["start_utc"]).tz_convert("UTC").tz_localize(None).normalize()
    table = indices.frame
    first = days.min() - pd.Timedelta(days=_RECORD_DAYS)
    rows = table[(table["date"] >= first) & (table["date"] <= days.max() + pd.Timedelta(days=1))]
    out = rows[["date", "f107_obs_sfu", "f107_adj_sfu", *KP, "status", "source"]].copy()
    out["date"] = rows["date"].dt.strftime("%Y-%m-%d")
    return out


def _number(value: float) -> str:
    return "" if math.isnan(value) else f"{value:g}"


# Writing ----------------------------------------------------------------------------------------


def csv_bytes(frame: pd.DataFrame) -> bytes:
    """A table as CSV; numbers with all their digits, dates as 2026-11-25."""
    out = frame.copy()
    for name in out.columns:
        if out[name].dtype.kind == "M":
            out[name] = out[name].dt.strftime("%Y-%m-%d")
    return csv_text(out).encode("utf-8")


def _json(value: Any) -> bytes:
    text = json.dumps(value, indent=1, ensure_ascii=False, allow_nan=False, sort_keys=False)
    return (text + "\n").encode("utf-8")


def _plain(value: Any) -> Any:
    """Values of JSON; what is not finite becomes None."""
    if isinstance(value, Mapping):
        return {str(name): _plain(one) for name, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(one) for one in value]
    if isinstance(value, (bool, np.bool_)):
        return bool(value)
    if isinstance(value, (int, np.integer)):
        return int(value)
    if isinstance(value, (float, np.floating)):
        return float(value) if math.isfinite(value) else None
    if value is None or isinstance(value, str):
        return value
    return str(value)


def _verdict(question: Question, verdict: Any) -> dict[str, Any]:
    names = (
        *("hunch", "word", "heading", "question", "sentence", "effect", "low", "high", "unit"),
        *("p_value", "p_method", "p_adjusted", "evenings", "decided", "counted", "needed"),
        *("asked_before", "notes"),
    )
    numbers = {
        name: value
        for name, value in verdict.details.items()
        if isinstance(value, (bool, int, float, str, np.integer, np.floating, np.bool_))
    }
    out: dict[str, Any] = _plain(
        {
            "asked": question.text,
            "written_utc": question.written_utc,
            "parameters": dict(question.parameters),
            **{name: getattr(verdict, name) for name in names},
            "assumptions": [[one.text, one.holds] for one in verdict.assumptions],
            "parts": {
                name: {key: getattr(one, key) for key in (*_PART, "sentence")}
                for name, one in verdict.details.get("parts", {}).items()
            },
            "details": numbers,
        }
    )
    return out


def environment() -> dict[str, Any]:
    """Versions, build and data that a result was made with."""
    from importlib.metadata import version

    return {
        "farhear": _core.__version__,
        "core": _core.build,
        "python": platform.python_version(),
        "machine": platform.machine(),
        "zone_rules": clock.tzdata_edition(),
        "packages": {name: version(name) for name in _PACKAGES},
        "data": {f"{one.data_set}/{one.name}": one.sha256 for one in coverage()},
    }


def _slug(title: str) -> str:
    words = "".join(c if c.isascii() and c.isalnum() else " " for c in title.lower()).split()
    return "-".join(words)[:80] or "study"


def _no_tags(text: str) -> str:
    """A text in Markdown that no viewer takes for HTML."""
    return text.replace("<", "&lt;")


def readme(study: Study, worked: Worked) -> str:
    """The study in words."""
    about = study.about
    table = worked.evidence.table
    days = table["evening"]
    lines = [
        f"# {_no_tags(about.title)}",
        "",
        f"{len(table)} checks on {days.nunique()} evenings, {worked.span_text}, by "
        f"{_no_tags(about.member)} in {about.place_text}.",
    ]
    if about.note:
        lines += ["", _no_tags(about.note)]
    lines += ["", "## What was asked, and the answer", ""]
    if not worked.answers.verdicts:
        lines += ["No question was written down for this study.", ""]
    for question, verdict in zip(worked.answers.questions, worked.answers.verdicts, strict=True):
        lines += [
            f"### {_no_tags(question.text)}",
            "",
            f"Written down {question.written_utc}. {verdict.order}",
            "",
            f"**{verdict.heading}.** {verdict.question} {verdict.sentence}",
            "",
        ]
        lines += [f"- {one}" for one in (*verdict.notes, *map(str, verdict.assumptions))]
        lines += [""]
    lines += [ALWAYS, "", "## What it rests on", ""]
    lines += [
        *study._rests_on(worked),
        "",
        _CAUTION,
        "",
        "To see whether a file changed: `sha256sum -c manifest-sha256.txt`. To work the results "
        "out again: `farhear verify . --rerun`.",
        "",
        "## Credits and licence",
        "",
        f"Log: {_no_tags(about.member)}, {about.licence} ({LICENCES[about.licence]}).",
        "",
    ]
    credit = (study.folder / "data" / "credits.txt").read_text("utf-8").splitlines()
    lines += [f"- {one}" for one in credit]
    return "\n".join(lines) + "\n"

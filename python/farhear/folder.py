"""A season study, or the scores of checks, as a folder of files that anyone can open.

A study: `season.nc` (the study, netCDF-4 with CF-1.11 attributes), `bands.csv` (band by ISO week),
`rejects.csv` (rows of the schedule that were refused, left out or doubted, with the reason),
`rules.csv` (rules of thumb and what became of them), and two charts as PNG and SVG.

Scores: `summary.csv`, `bands.csv`, `distances.csv`, `calibration.csv`, `residuals.csv`,
`checks.csv` (every accepted check with its likelihood, again a table of checks), `rejects.csv`, and
`index.csv` where an index was fitted.

Every file is written under a temporary name; only when all are there are they renamed, so that a
crash leaves the old ones whole.
"""

from __future__ import annotations

import contextlib
import errno
import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from farhear import rules
from farhear.charts.pictures import SeasonPictures
from farhear.errors import InputError
from farhear.schedule import Schedule
from farhear.season import band_weeks
from farhear.tables import Table, csv_text, said_by

if TYPE_CHECKING:
    import xarray as xr

    from farhear.scoring import Checks, FluxFit, Scores

__all__ = ["read_season", "write_scores", "write_season"]

_NEEDED = ("likelihood", "far_likelihood", "dusk_opening_min", "sunset_hour_utc", "band", "date")
_DECIMALS = {"likelihood": 3, "min": 1, "p25": 1, "p75": 1}


def write_season(study: xr.Dataset, schedule: Schedule, folder: str | Path) -> list[Path]:
    """Write a study.

    Parameters
    ----------
    study
        From :func:`farhear.season.season_study`.
    schedule
        The schedule it was made from, for `rejects.csv`.
    folder
        Made when it does not exist; files of the same names in it are replaced.

    Returns
    -------
    The files, in the order of the module's text.

    Raises
    ------
    OSError
        When the folder cannot be written.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    with _staged(folder) as stage:
        _write_netcdf(study, stage("season.nc"))
        _write_csv(_rounded(band_weeks(study)), stage("bands.csv"))
        _write_csv(_rejects(schedule), stage("rejects.csv"))
        _write_csv(_rules(study), stage("rules.csv"))
        pictures = SeasonPictures(study)
        for name, picture in (("hours", pictures.hours()), ("opening", pictures.dusk())):
            picture.save(stage(f"{name}.png"))
            picture.save(stage(f"{name}.svg"))
    return stage.files


def read_season(path: str | Path) -> xr.Dataset:
    """Read a study that :func:`write_season` wrote.

    Parameters
    ----------
    path
        The folder, or its `season.nc`.

    Returns
    -------
    The study, loaded; likelihoods to 4 decimals, as written.

    Raises
    ------
    InputError
        On a file that is no study of this package.
    OSError
        When it cannot be read.

    Notes
    -----
    .. caution:: A damaged file may keep the netCDF library busy without end (seen, HDF5 2.2): open
       only what you trust. The tables of a study (:func:`farhear.verify`) hold no netCDF.
    """
    import xarray as xr

    import farhear._accessor  # noqa: F401  season.farhear

    path = Path(path)
    file = path / "season.nc" if path.is_dir() else path
    with file.open("rb"):  # a plain error where there is none
        pass
    try:
        study = xr.load_dataset(file, engine="netcdf4")
    except Exception as cause:  # whatever the library meets in a damaged file
        raise InputError(f"{file.name} is not netCDF: {said_by(cause)}") from None
    missing = [name for name in _NEEDED if name not in study.variables]
    if missing:
        raise InputError(f"{file.name} holds no season: it lacks {', '.join(missing)}")
    return study


def write_scores(
    scores: Scores, checks: Checks, folder: str | Path, fit: FluxFit | None = None
) -> list[Path]:
    """Write scores.

    Parameters
    ----------
    scores, checks
        From :func:`farhear.scoring.score`, and what it was given.
    folder
        Made when it does not exist; files of the same names in it are replaced. An `index.csv` of
        an earlier run goes when there is no `fit`.
    fit
        From :func:`farhear.scoring.fit_flux`.

    Returns
    -------
    The files, in the order of the module's text.

    Raises
    ------
    OSError
        When the folder cannot be written.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    # the outcome as a word, so that the file can be read as checks again
    when = scores.frame["utc"].dt.round("s").dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    rows = scores.frame.assign(heard=scores.frame["outcome"], utc=when).drop(columns="outcome")
    tables = {
        "summary": scores.summary,
        "bands": scores.by_band,
        "distances": scores.by_distance,
        "calibration": scores.calibration,
        "residuals": scores.residuals,
        "checks": rows,
        "rejects": _faults(
            checks,
            [
                checks.rejects.assign(what="refused"),
                checks.warnings.assign(what="doubted, used"),
            ],
        ),
    }
    if fit is not None:
        tables["index"] = fit.curve
    with _staged(folder) as stage:
        for name, table in tables.items():
            _write_csv(table, stage(f"{name}.csv"), "%.8g")
    if fit is None:
        (folder / "index.csv").unlink(missing_ok=True)
    return stage.files


class _Stage:
    """Hands out temporary names and remembers the final ones."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.files: list[Path] = []

    def __call__(self, name: str) -> Path:
        self.files.append(self.folder / name)
        return self.temporary(self.files[-1])

    def temporary(self, path: Path) -> Path:
        """Hidden name in the same folder, with the same ending."""
        return path.with_name(f".part-{path.name}")


@contextlib.contextmanager
def _staged(folder: Path) -> Iterator[_Stage]:
    stage = _Stage(folder)
    try:
        yield stage
        for path in stage.files:
            stage.temporary(path).replace(path)
    except OSError as fault:
        if fault.errno is None or not stage.files:
            raise
        raise OSError(fault.errno, fault.strerror, str(stage.files[-1])) from None
    finally:
        for path in stage.files:
            stage.temporary(path).unlink(missing_ok=True)


def _write_netcdf(study: xr.Dataset, path: Path) -> None:
    encoding: dict[str, dict[str, Any]] = {}
    for name, variable in study.variables.items():
        if variable.dtype.kind in "fiu" and variable.ndim:
            encoding[str(name)] = {"zlib": True, "complevel": 4}
    encoding["date"] = {"units": "days since 1970-01-01", "dtype": "int32"}
    for name in ("likelihood", "open_likelihood", "far_likelihood"):
        encoding[name] |= {"least_significant_digit": 4}
    for name in ("snr_db", "muf_mhz"):
        encoding[name] |= {"least_significant_digit": 2}
    try:
        study.to_netcdf(path, engine="netcdf4", encoding=encoding)
    except RuntimeError as cause:  # all that the library says of a full disk
        why = f"{os.strerror(errno.EIO)}, is the disk full? ({cause})"
        raise OSError(errno.EIO, why, str(path)) from None


def _write_csv(table: pd.DataFrame, path: Path, float_format: str | None = None) -> None:
    path.write_bytes(csv_text(table, float_format).encode("utf-8"))


def _rounded(table: pd.DataFrame) -> pd.DataFrame:
    decimals = {
        name: _DECIMALS[name.rsplit("_", 1)[-1]]
        for name in table.columns
        if name.rsplit("_", 1)[-1] in _DECIMALS
    }
    return table.round(decimals)


def _rejects(schedule: Schedule) -> pd.DataFrame:
    digital = schedule.frame.loc[schedule.frame["modulation"] == "DIGITAL", "row"]
    left_out = pd.DataFrame(
        {
            "row": digital,
            "column": "modulation",
            "value": "DIGITAL",
            "reason": "an AM receiver cannot hear it",
        }
    )
    doubts = schedule.warnings[
        ~((schedule.warnings["column"] == "modulation") & (schedule.warnings["value"] == "DIGITAL"))
    ]
    parts = [
        schedule.rejects.assign(what="refused"),
        left_out.assign(what="left out of the study"),
        doubts.assign(what="doubted, used"),
    ]
    return _faults(schedule, parts)


def _faults(table: Table, parts: list[pd.DataFrame]) -> pd.DataFrame:
    """Rejects and doubts as one table, in the order of the file."""
    filled = [part for part in parts if len(part)]
    columns = [*table.rejects.columns, "what"]
    if not filled:
        return pd.DataFrame(columns=columns)
    return pd.concat(filled, ignore_index=True)[columns].sort_values("row", kind="stable")


def _rules(study: xr.Dataset) -> pd.DataFrame:
    found = rules.evaluate(study)
    columns = ("name", "verdict", "says", "detail", "source")
    return pd.DataFrame({c: np.array([getattr(f, c) for f in found], object) for c in columns})

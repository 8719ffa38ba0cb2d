"""Loaders of the open field recordings. They lie beside the project, never in it.

Looked for in the folder that the environment variable FARHEAR_FIELD_DATA names, else in
`shared/data` beside the checkout or beside one of the folders above it. Each recording is a folder
with its PROVENANCE.md: where it is from, under which licence, what was cut.
"""

import os
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Floats = NDArray[np.float64]

TOKYO = "tokyo_10mhz_level"
SPOTS = "na_14mhz_spots"


class AbsentError(Exception):
    """A recording is not on this machine; the text says which, and where it was looked for."""


def folder(name: str) -> Path:
    """Folder of a recording, or AbsentError."""
    told = os.environ.get("FARHEAR_FIELD_DATA")
    roots = [Path(told)] if told else [p / "shared" / "data" for p in Path(__file__).parents]
    for root in roots:
        if (root / name).is_dir():
            return root / name
    where = told or "shared/data beside the checkout"
    raise AbsentError(f"{name}: not in {where}; set FARHEAR_FIELD_DATA")


class Level(NamedTuple):
    """Carrier level by day and minute of the UT day."""

    days: list[str]
    db: Floats  # (days, 1440) relative dB, NaN where there is none


def tokyo_level() -> Level:
    """10 MHz carrier in Tokyo, twelve whole UT days (DOI 10.5281/zenodo.5774479, CC0 1.0).

    Minutes with fewer than 50 of 60 seconds are left out (the first row has 2).
    """
    frame = pd.read_csv(folder(TOKYO) / "level_1min.csv.gz", parse_dates=["utc_minute"])
    frame = frame[frame["n_seconds"] >= 50]
    when = frame["utc_minute"]
    table = frame.assign(
        day=when.dt.strftime("%Y-%m-%d"), minute=when.dt.hour * 60 + when.dt.minute
    ).pivot_table(index="day", columns="minute", values="level_db_median")
    table = table.reindex(columns=range(1440))
    return Level(list(table.index), table.to_numpy(dtype=np.float64))


def north_american_spots() -> dict[str, Floats]:
    """Counts near 14.1 MHz by minute and distance, four UT days (HamSCI, MIT licence).

    Returns
    -------
    day -> (1440, 300): minute of the UT day, 10 km of great-circle distance. The missing last
    minute is NaN.
    """
    days = {}
    for path in sorted(folder(SPOTS).glob("spots_*_20m_NA_minute_by_10km.csv.gz")):
        counts = np.full((1440, 300), np.nan)
        read = np.loadtxt(path, delimiter=",")
        counts[: len(read)] = read
        days[path.name.split("_")[1]] = counts
    return days

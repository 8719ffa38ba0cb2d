"""Likelihoods written down before listening, to be held against the log afterwards.

A likelihood that is worked out after the listening can be made to fit, so only what was written
down before a check began is evidence on it. :func:`write_predictions` adds the steps of a plan to a
table with the time of writing, :func:`read_predictions` reads it, and :func:`beside` finds for each
check of a log what had been said last before it began.

Columns of the table: `issued_utc`; `start_utc` and `end_utc`, of the step; `freq_khz`;
`broadcaster`; `likelihood`, that of the station's required S/N.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from farhear._arrays import Floats
from farhear._files import alone, put
from farhear.errors import InputError
from farhear.layouts import read_cells
from farhear.log import instant
from farhear.tables import (
    Column,
    Faults,
    Table,
    csv_text,
    frequency_khz,
    number,
    parse_cells,
    plain_name,
    plain_text,
    read_bytes_of,
)
from farhear.times import UtcTimes, iso_text, to_index, unix_s

if TYPE_CHECKING:
    from farhear.evening import Plan

__all__ = ["Predictions", "beside", "read_predictions", "write_predictions"]

_COLUMNS = (
    Column("issued_utc", instant(None)),
    Column("start_utc", instant(None)),
    Column("end_utc", instant(None)),
    Column("freq_khz", frequency_khz),
    Column("broadcaster", plain_text(200)),
    Column("likelihood", number(0.0, 1.0)),
)
_HEADER = ",".join(column.name for column in _COLUMNS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Predictions(Table):
    """A table of predictions; `frame` has `row` and the columns of this module, times as UTC."""

    def __len__(self) -> int:
        return len(self.frame)


def write_predictions(plan: Plan, path: str | Path, *, issued_utc: Any = None) -> int:
    """Add the likelihoods of a plan, step by step, to a table of predictions.

    Parameters
    ----------
    plan
        From `farhear.plan`, of the station's required S/N.
    path
        The table, CSV; made when it is not there.
    issued_utc
        When it is written down; None: now, by the clock of this machine. To name another time is
        for replays, and it is the writer's word.

    Returns
    -------
    Number of rows added.

    Raises
    ------
    InputError
        On a plan of another S/N, a file with other columns, a time that is none.
    OSError
        When the file cannot be written; it is then as it was.
    """
    if not plan.is_of_station:
        raise InputError(
            "the plan is of another S/N than the station's; a log cannot be held against it"
        )
    now = dt.datetime.now(dt.UTC).replace(microsecond=0) if issued_utc is None else issued_utc
    issued = iso_text(float(unix_s(now)))
    path = Path(path)
    with alone(path.parent):
        return _add(plan, path, issued)


def _add(plan: Plan, path: Path, issued: str) -> int:
    old = read_bytes_of(path) if path.exists() else b""
    if old and old.split(b"\n", 1)[0].strip().decode(errors="replace") != _HEADER:
        raise InputError(f"{path.name} is no table of predictions: its first line is not {_HEADER}")
    steps = plan.steps
    of = plan.frame.iloc[steps["rank"].to_numpy()]
    added = pd.DataFrame(
        {
            "issued_utc": issued,
            "start_utc": [iso_text(s) for s in unix_s(steps["start_utc"]).tolist()],
            "end_utc": [iso_text(s) for s in unix_s(steps["end_utc"]).tolist()],
            "freq_khz": of["freq_khz"].to_numpy(),
            "broadcaster": of["broadcaster"].to_numpy(),
            "likelihood": steps["likelihood"].to_numpy().round(4),
        }
    )
    text = csv_text(added)
    if old:
        text = text.split("\n", 1)[1]
    glue = b"\n" if old and not old.endswith(b"\n") else b""
    put(path, old + glue + text.encode("utf-8"))
    return len(added)


def read_predictions(path: str | Path) -> Predictions:
    """Read a table of predictions.

    Raises
    ------
    InputError
        When the file as a whole cannot be understood.
    OSError
        When the file cannot be opened.
    """
    cells = read_cells(path)

    def check_row(values: dict[str, Any], _: dict[str, str], rejects: Faults, row: int) -> None:
        start, end = values.get("start_utc"), values.get("end_utc")
        if start is not None and end is not None and end <= start:
            rejects.add(row, "end_utc", iso_text(end), "not after start_utc")

    frame, rejects, warnings = parse_cells(cells, _COLUMNS, check_row)
    for name in ("issued_utc", "start_utc", "end_utc"):
        frame[name] = to_index(UtcTimes(frame[name].to_numpy(np.float64)))
    for name in ("freq_khz", "likelihood"):
        frame[name] = frame[name].astype(np.float64)
    return Predictions.of(cells, frame, rejects, warnings)


def beside(table: pd.DataFrame, predictions: Predictions | pd.DataFrame) -> pd.DataFrame:
    """What had been predicted for each check, for :func:`farhear.hunch.matches_log`.

    Parameters
    ----------
    table
        From :func:`farhear.evenings.table`.
    predictions
        From :func:`read_predictions`, or a frame with its columns.

    Returns
    -------
    DataFrame, one row a check, in the order of `table`: `row`, `start_utc`, `heard`, `setup_id`,
    `predicted` and `issued_utc`. Of the predictions of its frequency and broadcaster whose step
    holds the middle of the check, it is the last one issued before the check began; where all came
    later, the first of them, whose date tells that it is no evidence; where there is none, NaN and
    NaT.

    Raises
    ------
    InputError
        On columns that are missing.
    """
    frame = predictions.frame if isinstance(predictions, Predictions) else predictions
    for column in _COLUMNS:
        if column.name not in frame.columns:
            raise InputError(f"predictions has no column {column.name!r}")
    for name in ("row", "start_utc", "middle_utc", "freq_khz", "identity", "heard", "setup_id"):
        if name not in table.columns:
            raise InputError(f"table has no column {name!r}; make it with farhear.evenings.table")
    start, end, issued = (unix_s(frame[n]) for n in ("start_utc", "end_utc", "issued_utc"))
    began, middle = unix_s(table["start_utc"]), unix_s(table["middle_utc"])
    likelihood = frame["likelihood"].to_numpy(np.float64)
    said = _positions(frame["freq_khz"], frame["broadcaster"])
    predicted, when = np.full((2, len(table)), np.nan)
    for key, checks in _positions(table["freq_khz"], table["identity"]).items():
        rows = said.get(key)
        if rows is None:
            continue
        rows = rows[np.argsort(issued[rows], kind="stable")]
        for at in checks.tolist():
            found = rows[(start[rows] <= middle[at]) & (middle[at] < end[rows])]
            if not found.size:
                continue
            before = found[issued[found] <= began[at]]
            best = before[-1] if before.size else found[0]
            predicted[at], when[at] = likelihood[best], issued[best]
    return pd.DataFrame(
        {
            **{name: table[name].to_numpy() for name in ("row", "heard", "setup_id")},
            "start_utc": pd.DatetimeIndex(table["start_utc"]),
            "predicted": predicted,
            "issued_utc": _stamps(when),
        }
    )


def _positions(
    freq_khz: pd.Series[Any], name: pd.Series[Any]
) -> dict[tuple[float, str], NDArray[np.intp]]:
    """Positions of the rows of each frequency and name."""
    names = {one: plain_name(one) for one in pd.unique(name).tolist()}
    out: dict[tuple[float, str], list[int]] = {}
    for at, (khz, who) in enumerate(zip(freq_khz.tolist(), name.tolist(), strict=True)):
        out.setdefault((khz, names[who]), []).append(at)
    return {key: np.array(rows, dtype=np.intp) for key, rows in out.items()}


def _stamps(seconds: Floats) -> pd.DatetimeIndex:
    return to_index(UtcTimes(seconds))

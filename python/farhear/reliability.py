"""What was heard when so much was said: isotonic curve, parts of the Brier score, skill."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from farhear import skill
from farhear._arrays import Floats, as_float64
from farhear.errors import InputError
from farhear.tables import counted
from farhear.times import iso_text, to_index, unix_s
from farhear.times import utc as to_utc

if TYPE_CHECKING:
    from farhear.charts.pictures import ReliabilityPictures

__all__ = ["FEWEST_CHECKS", "FEWEST_WEEKS", "Reliability", "reliability", "week_of"]

Codes = NDArray[np.int64]

FEWEST_CHECKS = 120
"""Fewer checks tell nothing: the skill is then not known to 0.15, as measured for this project on
invented logs."""
FEWEST_WEEKS = 5
"""Fewer weeks give no interval by weeks , as the days of `farhear.scoring`."""
LEVEL = 0.95

SKILL = "Brier skill, month x hour of other weeks"
_WEEK_S = 604800.0
_MONDAY_S = 4 * 86400.0  # 1970-01-05


def week_of(utc: Any) -> NDArray[Any]:
    """Monday that begins the UTC week of each instant, as text.

    Examples
    --------
    >>> week_of(["2026-11-29T23:59Z", "2026-11-30T00:00Z"]).tolist()
    ['2026-11-23', '2026-11-30']
    """
    seconds = np.atleast_1d(unix_s(utc))
    if np.isnan(seconds).any():
        raise InputError(f"utc[{int(np.argmax(np.isnan(seconds)))}] is missing")
    start = np.floor((seconds - _MONDAY_S) / _WEEK_S) * _WEEK_S + _MONDAY_S
    return np.array([iso_text(s)[:10] for s in start.reshape(-1)], dtype=object)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reliability:
    """What was heard when so much was said.

    Attributes
    ----------
    curve
        One row for each predicted value, rising: `predicted`, `isotonic` (share heard, never
        falling), `low`, `high` (the isotonic curve lies between them at 90 % of logs drawn from the
        predictions themselves, check by check; where checks hang together it strays farther),
        `count`.
    summary
        `name`, `value`, `low`, `high` (95 %, whole weeks drawn), `count`: share heard, mean
        predicted, Brier score = miscalibration - discrimination + uncertainty, skill against the
        month and hour of other weeks, ROC area.
    checks_count, weeks_count
        What it rests on.
    notes
        Sentences to read with it.
    """

    curve: pd.DataFrame
    summary: pd.DataFrame
    checks_count: int
    weeks_count: int
    notes: tuple[str, ...] = ()

    @property
    def plot(self) -> ReliabilityPictures:
        """Charts: `diagram()`."""
        from farhear.charts.pictures import ReliabilityPictures

        return ReliabilityPictures(self)

    def value(self, name: str) -> tuple[float, float, float]:
        """Value and interval of one line of the summary."""
        row = self.summary[self.summary["name"] == name]
        value, low, high = row[["value", "low", "high"]].to_numpy(np.float64)[0].tolist()
        return value, low, high

    def text(self) -> str:
        """The summary for reading, with its counts."""
        weeks = counted(self.weeks_count, "week")
        lines = [f"{counted(self.checks_count, 'check')} in {weeks}; intervals 95 %, by weeks"]
        lines += [
            f"{row.name:<40}{row.value:8.3f}   {row.low:.3f} to {row.high:.3f}"
            for row in self.summary.itertuples(index=False)
        ]
        return "\n".join([*lines, *self.notes])


_SUMMARY = (
    *("share heard", "mean predicted", "Brier score", "miscalibration", "discrimination"),
    *("uncertainty", SKILL, "ROC area"),
)


def _isotonic(code: Codes, count: int, heard: Floats) -> Floats:
    """Share heard at each predicted value, never falling, by pooling (weighted least squares).

    `code`: which of the `count` rising predicted values; each has to occur.
    """
    from scipy.optimize import isotonic_regression

    times = np.bincount(code, minlength=count).astype(np.float64)
    return np.asarray(isotonic_regression(np.bincount(code, heard, count) / times, weights=times).x)


def _parts(heard: Floats, predicted: Floats) -> tuple[float, float, float, float]:
    """Brier score, miscalibration, discrimination, uncertainty."""
    code, count = skill.to_codes("predicted", predicted)
    best = float(((_isotonic(code, count, heard)[code] - heard) ** 2).mean())
    score = float(((predicted - heard) ** 2).mean())
    rate = float(heard.mean() * (1.0 - heard.mean()))
    return score, score - best, rate - best, rate


def reliability(
    predicted: ArrayLike,
    heard: ArrayLike,
    week: Any,
    *,
    utc: Any = None,
    n: int = 500,
    seed: int | np.random.Generator = 1,
) -> Reliability:
    """Set predicted likelihoods against what was heard.

    Parameters
    ----------
    predicted, heard
        0 to 1, and 0 or 1, shape (n,).
    week
        Labels of what belongs together, shape (n,); see :func:`week_of`.
    utc
        Instants of the checks, for the rates by month and UTC hour that the skill is set against.
        Left out: one rate for all. Rates always come from other weeks.
    n, seed
        Draws and seed of the intervals and of the band.

    Returns
    -------
    Reliability; NaN where the checks cannot tell (one week, one outcome).

    Raises
    ------
    InputError
        On no checks, on values out of range, on NaN, on different lengths.

    References
    ----------
    .. [1] T. Dimitriadis, T. Gneiting, A. I. Jordan, PNAS 118 (2021), e2016191118 (from memory):
       isotonic curve, parts of the score, band under calibration.
    """
    p = as_float64("predicted", predicted)
    code, weeks = skill.to_codes("week", week)
    skill.brier(heard, p)  # refuses what is no forecast of outcomes
    seen = as_float64("heard", heard)
    if not p.size or code.size != p.size:
        raise InputError(f"predicted has {p.size} checks, week {code.size}; both need the same")
    notes = []
    if utc is None:
        group = np.zeros(p.size, dtype=np.int64)
        notes.append("No instants were given: the skill is against one rate of other weeks.")
    else:
        when = to_index(to_utc(utc))
        group = np.asarray(when.month * 24 + when.hour, dtype=np.int64)
        if group.size != p.size:
            raise InputError(f"predicted has {p.size} checks, utc {group.size}; both need the same")
    rng = np.random.default_rng(seed)
    reference = skill.climatology(seen, group, code)
    worth = skill.worth(seen, p, reference)

    def statistic(rows: Codes) -> Floats:
        area, _, gain = worth(rows)
        means = (seen[rows].mean(), p[rows].mean())
        return np.array([*means, *_parts(seen[rows], p[rows]), gain, area])

    value = statistic(np.arange(p.size))
    low, high = skill.block_interval(statistic, code, n, rng, LEVEL)
    at, count = skill.to_codes("predicted", p)
    drawn = np.stack(
        [_isotonic(at, count, (rng.random(p.size) < p).astype(np.float64)) for _ in range(n)]
    )
    ends = np.quantile(drawn, [0.05, 0.95], axis=0)
    if weeks == 1:
        notes.append("All checks are of one week: no intervals, no skill.")
    if seen.min() == seen.max():
        notes.append(f"Every check was {'heard' if seen[0] else 'not heard'}: no ROC area.")
    return Reliability(
        curve=pd.DataFrame(
            {
                "predicted": np.unique(p),
                "isotonic": _isotonic(at, count, seen),
                "low": ends[0],
                "high": ends[1],
                "count": np.bincount(at),
            }
        ),
        summary=pd.DataFrame(
            {"name": _SUMMARY, "value": value, "low": low, "high": high, "count": p.size}
        ),
        checks_count=int(p.size),
        weeks_count=weeks,
        notes=tuple(notes),
    )

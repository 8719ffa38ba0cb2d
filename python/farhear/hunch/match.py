"""Whether the likelihood that was shown came true."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import partial
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from farhear._arrays import Floats, as_float64, check_range
from farhear.errors import InputError
from farhear.hunch._ground import Asked, setups_in, split
from farhear.reliability import (
    FEWEST_CHECKS,
    FEWEST_WEEKS,
    LEVEL,
    SKILL,
    Reliability,
    reliability,
    week_of,
)
from farhear.tables import counted
from farhear.times import UtcTimes, unix_s
from farhear.verdicts import AGAINST, CANNOT_TELL, NOT_SHOWN, SUPPORTED, Assumption, Verdict

__all__ = ["matches_log"]

_QUESTION = "The likelihood I was shown matches my log."
_SHOWN = (0.65, 0.75)
_FEW_SHOWN = 10
_METHOD = "t-test on the mean gaps of the weeks, two-sided"


class _Usable(NamedTuple):
    frame: pd.DataFrame
    refused: dict[str, int]


def _usable(predictions: pd.DataFrame) -> _Usable:
    """Rows that are evidence, and counts of the others by reason."""
    for name in ("predicted", "heard", "issued_utc", "start_utc"):
        if name not in predictions:
            raise InputError(f"predictions has no column {name!r}")
    frame = predictions.reset_index(drop=True)
    predicted = as_float64("predicted", frame["predicted"].to_numpy(np.float64, na_value=np.nan))
    heard = as_float64("heard", frame["heard"].to_numpy(np.float64, na_value=np.nan))
    check_range("predicted", predicted, 0.0, 1.0)
    wrong = ~np.isnan(heard) & (heard != 0.0) & (heard != 1.0)
    if wrong.any():
        at = int(np.argmax(wrong))
        raise InputError(f"heard[{at}] = {heard[at]:g} is neither 0 nor 1")
    stamps = {}
    for name in ("issued_utc", "start_utc"):
        stamps[name] = np.full(len(frame), np.nan)
        known = frame[name].notna().to_numpy(np.bool_)
        if known.any():
            stamps[name][known] = unix_s(frame.loc[known, name].tolist())
    issued, start = stamps["issued_utc"], stamps["start_utc"]
    reasons = {
        "without an outcome that counts (blocked, not checked)": np.isnan(heard),
        "without a likelihood": np.isnan(predicted),
        "without both dates": np.isnan(issued) | np.isnan(start),
        "dated after the listening began": issued > start,
    }
    left = np.ones(len(frame), dtype=np.bool_)
    refused = {}
    for reason, bad in reasons.items():
        refused[reason] = int((left & bad).sum())
        left &= ~bad
    out = pd.DataFrame({"predicted": predicted, "heard": heard, "start_s": start})[left]
    out["at"] = np.flatnonzero(left)
    if "week" in frame:
        out["week"] = frame.loc[left, "week"]
        if out["week"].isna().any():
            raise InputError("week is missing in a row of predictions")
        out["week"] = out["week"].astype(str)
    else:
        out["week"] = week_of(UtcTimes(out["start_s"].to_numpy())) if len(out) else ""
    if "setup_id" in frame:
        out["setup_id"] = frame.loc[left, "setup_id"].astype(str)
    return _Usable(out.reset_index(drop=True), refused)


def matches_log(
    predictions: pd.DataFrame,
    *,
    matters: float = 0.20,
    close: float = 0.05,
    asked_before: bool | None = None,
    n: int = 500,
    seed: int | np.random.Generator = 1,
) -> Verdict:
    """Answer H6: does the likelihood that was shown match the log?

    What counts is the gap, heard less predicted, averaged within each week; a t-test over the weeks
    (each week counts once) asks whether its mean is 0. Spiegelhalter's z is only among the details:
    it takes each check for independent and alarms too often where checks hang together,
    as measured for this project.

    Words
    -----
    CANNOT TELL YET  fewer than 120 checks or 5 weeks, or a 95 % interval wider than `matters`
    SUPPORTED        the interval lies within `close` of 0, and those of the lower and the upper
                     half of the predictions within twice of it, whatever p is
    AGAINST          else, p < 0.05
    NOT SHOWN        otherwise: the log shows no mismatch, and is too small to show a match

    Parameters
    ----------
    predictions
        One row a check: `predicted` (0 to 1), `heard` (1, 0, or missing for blocked and not
        checked), `issued_utc` (when the prediction was written down), `start_utc` (when the check
        began), and if wanted `week` (else the UTC week from Monday) and `setup_id`. A prediction
        that was issued after its check began, or bears no date, is no evidence.
    matters
        The difference that matters, above 0, at most 1: 0.2 as between 70 % and 50 %. [1]
    close
        So near counts as a match, above 0, at most half of `matters`. [1]
    asked_before
        See :class:`farhear.verdicts.Verdict`.
    n, seed
        As in :func:`reliability`.

    Returns
    -------
    Verdict
        Effect in percentage points, negative: heard less often than said. `details`: "weekly",
        "reliability", "halves", "refused" (counts by reason), "spiegelhalter" (z and p).

    Raises
    ------
    InputError
        On missing columns, values out of range, times without a zone.
    """
    if not 0.0 < matters <= 1.0:
        raise InputError(f"matters = {matters:g} is outside (0, 1]")
    if not 0.0 < close <= matters / 2.0:
        raise InputError(f"close = {close:g} is outside (0, matters / 2 = {matters / 2.0:g}]")
    frame, refused = _usable(predictions)
    asked = Asked("H6", _QUESTION, asked_before, "checks")
    if "setup_id" in frame and len(setups_in(frame)) > 1:

        def alone(part: pd.DataFrame) -> Verdict:
            own = predictions.reset_index(drop=True).loc[part["at"]]
            return matches_log(
                own, matters=matters, close=close, asked_before=asked_before, n=n, seed=seed
            )

        return split(asked, frame, alone, len(predictions))
    gap = frame["heard"] - frame["predicted"]
    weekly = (
        frame.assign(gap=gap)
        .groupby("week")
        .agg(
            count=("gap", "size"),
            predicted_mean=("predicted", "mean"),
            heard_ratio=("heard", "mean"),
            gap=("gap", "mean"),
        )
        .reset_index()
    )
    verdict = partial(
        Verdict,
        hunch="H6",
        question=_QUESTION,
        unit="percentage points, heard less predicted",
        evenings=len(predictions),
        decided=len(frame),
        counted="checks",
        assumptions=_assumptions(frame, refused, weekly["gap"].to_numpy(np.float64)),
        asked_before=asked_before,
    )
    details: dict[str, Any] = {"weekly": weekly, "refused": refused}
    left_out = [f"{count} {reason}" for reason, count in refused.items() if count]
    notes = [f"Left out: {'; '.join(left_out)}."] if left_out else []
    weeks = len(weekly)
    if len(frame) < FEWEST_CHECKS or weeks < FEWEST_WEEKS:
        return verdict(
            word=CANNOT_TELL,
            sentence=(
                f"Only {counted(len(frame), 'check')} in {counted(weeks, 'week')} can be set "
                f"against a likelihood written down before; {FEWEST_CHECKS} checks in "
                f"{FEWEST_WEEKS} weeks are the least that tells anything."
            ),
            needed=FEWEST_CHECKS if len(frame) < FEWEST_CHECKS else None,
            notes=tuple(notes),
            details=details,
        )
    p, seen = (frame[name].to_numpy(np.float64) for name in ("predicted", "heard"))
    told = reliability(
        p, seen, frame["week"].to_numpy(), utc=UtcTimes(frame["start_s"].to_numpy()), n=n, seed=seed
    )
    mean, low, high, p_value = _over_weeks(weekly["gap"].to_numpy(np.float64))
    halves = _halves(frame.assign(gap=gap))
    details |= {"reliability": told, "halves": halves, "spiegelhalter": _spiegelhalter(p, seen)}
    shown = _shown(p, seen)
    worth = _worth_text(told)
    notes += _half_notes(halves)
    more: dict[str, Any] = {"notes": tuple(notes), "details": details}
    more |= {"effect": 100.0 * mean, "low": 100.0 * low, "high": 100.0 * high}
    span = f"{100.0 * low:+.0f} to {100.0 * high:+.0f} points"
    if not np.isfinite(p_value):
        sentence = f"{shown} Every week has the same gap to the digit: no spread to judge it by."
        return verdict(word=CANNOT_TELL, sentence=sentence, **more)
    more |= {"p_value": p_value, "p_method": _METHOD}
    if high - low > matters:
        needed = math.ceil(len(frame) * ((high - low) / matters) ** 2)
        sentence = (
            f"{shown} The weeks differ so much that anything from {span} fits, wider than the "
            f"{100.0 * matters:.0f} points that matter. {worth}"
        )
        return verdict(word=CANNOT_TELL, sentence=sentence, needed=needed, **more)
    within = max(abs(low), abs(high)) <= close
    if within and bool((halves[["low", "high"]].abs() <= 2.0 * close).all(axis=None)):
        sentence = (
            f"{shown} Over all it came true to within {100.0 * max(abs(low), abs(high)):.1f} "
            f"points, among the low likelihoods and among the high ones, too. {worth}"
        )
        return verdict(word=SUPPORTED, sentence=sentence, **more)
    if p_value < 1.0 - LEVEL:
        how = "less" if mean < 0.0 else "more"
        sentence = (
            f"{shown} Week by week you heard things {how} often than it said, by "
            f"{100.0 * abs(mean):.0f} points; luck alone seldom does that (p = {p_value:.2g}). "
            f"{worth}"
        )
        return verdict(word=AGAINST, sentence=sentence, **more)
    sentence = (
        f"{shown} Your log does not show that the planner is off; it could still be off by "
        f"anything from {span}. {worth}"
    )
    return verdict(word=NOT_SHOWN, sentence=sentence, **more)


def _over_weeks(gaps: Floats) -> tuple[float, float, float, float]:
    """Mean, interval and p value of weekly gaps; no p value where they are all the same."""
    from scipy import stats

    mean = float(gaps.mean())
    if gaps.size < 2 or np.ptp(gaps) < 1e-12:
        return mean, math.nan, math.nan, math.nan
    found = stats.ttest_1samp(gaps, 0.0)
    ends = found.confidence_interval(LEVEL)
    return mean, float(ends.low), float(ends.high), float(found.pvalue)


def _halves(frame: pd.DataFrame) -> pd.DataFrame:
    """Mean gap by weeks of the lower and of the upper half of the predictions."""
    middle = float(frame["predicted"].median())
    rows = []
    for name, part in (
        ("lower half", frame[frame["predicted"] <= middle]),
        ("upper half", frame[frame["predicted"] > middle]),
    ):
        gaps = part.groupby("week")["gap"].mean().to_numpy(np.float64)
        found = _over_weeks(gaps) if gaps.size else (math.nan,) * 4
        rows.append((name, len(part), part["predicted"].mean(), part["heard"].mean(), *found))
    columns = ["half", "count", "predicted_mean", "heard_ratio", "gap", "low", "high", "p_value"]
    return pd.DataFrame(rows, columns=columns)


def _half_notes(halves: pd.DataFrame) -> list[str]:
    """A remark where the halves are off in opposite ways, which the mean hides (Bonferroni)."""
    gaps, p_values = (halves[name].to_numpy(np.float64) for name in ("gap", "p_value"))
    if not ((p_values < (1.0 - LEVEL) / 2.0).all() and gaps.prod() < 0.0):
        return []
    ways = ["less" if gap < 0.0 else "more" for gap in gaps]
    return [
        f"Where it said little you heard {ways[0]} than that, where it said much {ways[1]}: the "
        "mean over all hides it."
    ]


def _shown(p: Floats, heard: Floats) -> str:
    """When the planner said about so much, so many of so many were heard."""
    at, low, high = 0.7, *_SHOWN
    here = (p >= low) & (p < high)
    if here.sum() < _FEW_SHOWN:
        tenth = np.minimum((p * 10.0).astype(np.int64), 9)
        best = int(np.bincount(tenth).argmax())
        at, here = (best + 0.5) / 10.0, tenth == best
    return (
        f"When the planner said about {100.0 * at:.0f} %, you heard {int(heard[here].sum())} of "
        f"{int(here.sum())}."
    )


def _worth_text(told: Reliability) -> str:
    gain, low, high = told.value(SKILL)
    if not np.isfinite(gain):
        return "Whether it beats your own month-and-hour average cannot be told."
    span = f"{100.0 * low:.0f} to {100.0 * high:.0f}"
    if low > 0.0:
        return (
            f"It beats 'just use your month-and-hour average' by {100.0 * gain:.0f} % ({span} %)."
        )
    return f"It does not yet beat your own average ({100.0 * gain:.0f} %, {span} %)."


def _spiegelhalter(p: Floats, heard: Floats) -> dict[str, float]:
    """Z of the Brier score under calibration and independence (Spiegelhalter 1986, from memory)."""
    weight = 1.0 - 2.0 * p
    scale = math.sqrt(float((weight**2 * p * (1.0 - p)).sum()))
    if scale == 0.0:
        return {"z": math.nan, "p": math.nan}
    z = float(((heard - p) * weight).sum()) / scale
    return {"z": z, "p": math.erfc(abs(z) / math.sqrt(2.0))}


def _assumptions(
    frame: pd.DataFrame, refused: Mapping[str, int], gaps: Floats
) -> tuple[Assumption, ...]:
    late = refused["dated after the listening began"] + refused["without both dates"]
    also = f" ({counted(late, 'other')} left out)" if late else ""
    out = [
        Assumption(f"every prediction used was written down before its check{also}", True),
        Assumption("a check that heard nothing looked long enough to hear what was there", None),
    ]
    together: bool | None = None
    if gaps.size >= 2 * FEWEST_WEEKS and np.ptp(gaps) > 1e-12:
        away = gaps - gaps.mean()
        together = abs(float((away[1:] * away[:-1]).sum() / (away**2).sum())) < 2 / gaps.size**0.5
    out.append(Assumption("one week does not foretell the gap of the next", together))
    one_setup: bool | None = None
    if "setup_id" in frame and len(frame):
        one_setup = True  # several are never put together
    out.append(Assumption("receiver and antenna stayed the same", one_setup))
    return tuple(out)

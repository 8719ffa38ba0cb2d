"""Whether the opening of a band follows sunset through the season."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from farhear._arrays import Floats
from farhear.errors import InputError
from farhear.hunch._cells import (
    cells_of,
    common_assumptions,
    ears_of,
    refusal,
)
from farhear.hunch._ground import ALPHA, Asked, number_in, t_interval
from farhear.hunch._intervals import BLOCK, jackknifed
from farhear.hunch.sizes import LEAST_DECIDED
from farhear.tables import counted
from farhear.verdicts import AGAINST, CANNOT_TELL, NOT_SHOWN, SUPPORTED, Assumption, Verdict

__all__ = ["follows_sunset"]


def follows_sunset(
    table: pd.DataFrame,
    band: str,
    *,
    useful_min_per_week: float = 2.0,
    asked_before: bool | None = None,
    from_min: float = -120.0,
    to_min: float = 360.0,
) -> Verdict:
    """H3: the opening of a band follows sunset through the season.

    If it does, its minutes after sunset do not change with the date. They are fitted to a straight
    line in the date, normal around it, on the intervals; interval of the slope from leaving out
    blocks of five evenings.

    The word:

    - CANNOT TELL YET with fewer than 6 evenings on which the band was seen to open between two
      checks, or without an interval.
    - SUPPORTED when the whole interval of the slope lies within +- `useful_min_per_week`, and an
      opening that keeps to the clock lies outside it.
    - CANNOT TELL YET when an opening at a fixed hour of the clock fits as well (sunset moved too
      little), or the interval is wider than +- `useful_min_per_week` and contains 0.
    - AGAINST when the interval does not contain 0: the opening drifts away from sunset.
    - NOT SHOWN otherwise.

    Parameters
    ----------
    table
        From :func:`farhear.evenings.table`.
    band
        The band.
    useful_min_per_week
        A drift that would matter to you. [min/week]
    asked_before, from_min, to_min
        As in :func:`first_at_dusk`.

    Returns
    -------
    Verdict
        `effect`: change of the opening's minutes after sunset [min per week]; `p_value` is small
        when the log speaks against the hunch. `details`: mean_min (opening in the middle of the
        log, min after sunset), sd_min, weeks (from first to last evening), clock_slope (what an
        opening that keeps to the clock would show, min per week), curve_p (p of a bend).

    Raises
    ------
    InputError
        As :func:`first_at_dusk`.
    """
    useful = number_in("useful_min_per_week", useful_min_per_week, 0.0)
    if not isinstance(band, str):
        raise InputError("band is the name of one band, such as '31 m'")
    cells = cells_of(table, (band,), from_min, to_min)
    band = cells.bands[0]
    asked = Asked("H3", f"The opening of {band} follows sunset through the season.", asked_before)

    def alone(part: pd.DataFrame) -> Verdict:
        return follows_sunset(
            part,
            band,
            useful_min_per_week=useful,
            asked_before=asked_before,
            from_min=from_min,
            to_min=to_min,
        )

    refused = refusal(asked, table, cells, alone)
    if refused is not None:
        return refused
    low, high = cells.low[cells.full, 0], cells.high[cells.full, 0]
    seen = int((np.isfinite(low) & np.isfinite(high)).sum())
    ears = ears_of(cells)
    day = cells.days[cells.full].astype("datetime64[D]").astype(np.float64)
    week = (day - day.mean()) / 7.0
    weeks = float(week[-1] - week[0])
    clock = _clock_slope(table, cells.days[cells.full], week)
    line = np.column_stack([np.ones_like(week), week])
    found = jackknifed(low[None], high[None], line)
    slope = t_interval(found.all.coef[:, 1], found.without[:, :, 1])
    value, lo, hi, p = (float(x[0]) for x in slope)
    curve = float("nan")
    if week.size >= 4 * BLOCK:
        bent = jackknifed(low[None], high[None], np.column_stack([line, week**2]))
        curve = float(t_interval(bent.all.coef[:, 2], bent.without[:, :, 2]).p[0])
    word, sentence, needed = _judged_slope(band, seen, (value, lo, hi), clock, weeks, useful)
    moved = ""
    if not np.isnan(clock):
        to = "later" if clock < 0.0 else "earlier"
        moved = f"Sunset moved {abs(clock):.1f} min a week to {to} hours over {weeks:.0f} weeks."
    return asked.verdict(
        word,
        sentence,
        effect=value,
        low=lo,
        high=hi,
        unit="min per week, counted from sunset",
        p_value=p,
        p_method="slope against 0, blocks of 5 evenings left out, t, two-sided; small: against",
        evenings=len(cells.days),
        decided=seen,
        needed=needed,
        assumptions=(
            Assumption(
                "the opening drifts evenly, without a bend",
                None if np.isnan(curve) else curve >= ALPHA,
            ),
            *common_assumptions(cells, ears),
        ),
        notes=(moved,) if moved else (),
        details={
            "mean_min": float(found.all.coef[0, 0]),
            "sd_min": float(found.all.sd[0]),
            "weeks": weeks,
            "clock_slope": clock,
            "curve_p": curve,
        },
    )


def _clock_slope(table: pd.DataFrame, days: NDArray[Any], week: Floats) -> float:
    """Slope of an opening at a fixed UTC hour: minus the drift of sunset. [min/week]"""
    if "sunset_utc" not in table.columns or week.size < 2:
        return float("nan")
    sunset = table.groupby("evening")["sunset_utc"].first().reindex(days)
    seconds = pd.DatetimeIndex(sunset).tz_convert(None).to_numpy("datetime64[s]").astype(np.float64)
    minute = (seconds - days.astype("datetime64[s]").astype(np.float64)) / 60.0
    return -float((week * (minute - minute.mean())).sum() / (week**2).sum())


def _judged_slope(
    band: str,
    seen: int,
    slope: tuple[float, float, float],
    clock: float,
    weeks: float,
    useful: float,
) -> tuple[str, str, int | None]:
    """Word, sentence, and evenings needed."""
    value, low, high = slope
    if seen < LEAST_DECIDED or not np.isfinite(low):
        need = 5 * BLOCK
        why = f"The log of {band} is too short, or its checks too far apart, to fit a line."
        if seen < LEAST_DECIDED:
            why = (
                f"On only {counted(seen, 'evening')} {band} was seen to open between two checks, "
                "too few to fit a line."
            )
        return CANNOT_TELL, why, need if seen < need else None
    fits = f"Best guess: its minutes after sunset change by {value:+.1f} min a week, and between "
    fits += f"{low:+.1f} and {high:+.1f} fits your log."
    inside = -useful < low and high < useful
    if inside and not (clock < low or clock > high):
        known = "is not known" if np.isnan(clock) else f"would show {clock:+.1f}"
        return (
            CANNOT_TELL,
            f"{fits} But an opening that keeps to the clock {known}, so the two cannot be told "
            f"apart in these {weeks:.0f} weeks. Listen on while the days change faster.",
            None,
        )
    if inside:
        return (
            SUPPORTED,
            f"{band} keeps to sunset to within {useful:g} min a week. {fits} An opening that keeps "
            f"to the clock would show {clock:+.1f}.",
            None,
        )
    if low > 0.0 or high < 0.0:
        return (
            AGAINST,
            f"The opening of {band} drifts away from sunset, to "
            f"{'later' if value > 0 else 'earlier'}. {fits}",
            None,
        )
    if max(high - value, value - low) > useful:
        half = max(high - value, value - low)
        need = int(np.ceil(seen * (half / useful) ** (2.0 / 3.0)))
        return (
            CANNOT_TELL,
            f"{fits} That is wider than +- {useful:g} min a week.",
            need if need > seen else None,
        )
    return (
        NOT_SHOWN,
        f"Your log does not show that {band} keeps to sunset, nor that it drifts. {fits}",
        None,
    )

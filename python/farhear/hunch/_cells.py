"""What a table of checks says about openings: intervals, order of checking, ears, setups."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from farhear._arrays import Floats
from farhear.errors import InputError
from farhear.evenings import openings, order_of
from farhear.hunch._ground import LEAST_SHARE, Asked, checked, joined, one_setup, setups_in, split
from farhear.tables import counted
from farhear.verdicts import Assumption, Verdict

MISSED = 0.1  # largest share of misses that still passes as hearing every open band
_SHUT = 0.1  # largest share of evenings on which a band may not open at all
_COLUMNS = ("evening", "band", "setup_id", "heard", "start_min", "end_min", "middle_min")
TIP = "Tip: start earlier, shorter rounds, swap the order."


class Cells(NamedTuple):
    """Openings as (evenings, bands); `full`: evenings on which every band has checks that tell."""

    bands: tuple[str, ...]
    rows: pd.DataFrame  # checks of these bands in the span
    days: NDArray[Any]
    low: Floats
    high: Floats
    full: NDArray[np.bool_]


def cells_of(
    table: pd.DataFrame, bands: Sequence[str] | None, from_min: float, to_min: float
) -> Cells:
    checked(table, _COLUMNS)
    found = openings(table, bands, from_min=from_min, to_min=to_min)
    days = pd.unique(found["evening"])
    count = len(found) // len(days)
    names = tuple(found["band"].iloc[:count].tolist())
    low, high = (found[n].to_numpy(np.float64).reshape(-1, count) for n in ("low_min", "high_min"))
    middle = table["middle_min"].to_numpy(np.float64)
    with np.errstate(invalid="ignore"):
        kept = (middle >= from_min) & (middle <= to_min)
    rows = table[table["band"].isin(names).to_numpy() & kept]
    return Cells(names, rows, np.asarray(days), low, high, ~np.isnan(low).any(axis=1))


def tells(cells: Cells) -> pd.DataFrame:
    return cells.rows[cells.rows["heard"].notna()]


def no_openings(cells: Cells) -> str:
    """Why the log cannot answer at all, in words; "" where it may."""
    useful = tells(cells)
    for band in cells.bands:
        mine = cells.rows[cells.rows["band"] == band]
        if not mine["heard"].notna().any():
            what = "blocked, not checked or off the air"
            if "outcome" in mine.columns and len(mine) and (mine["outcome"] == "blocked").all():
                what = "blocked"
            if not len(mine):
                return f"{band} has no check in the hours looked at, so its opening is unknown."
            return f"All {len(mine)} checks of {band} were {what}; none says whether it was open."
    pair = " and ".join(cells.bands)
    if not cells.full.any():
        return f"No evening has a check that tells of each of {pair}; they cannot be compared."
    if (useful["heard"] == 1.0).all():
        return (
            "Every check in this log heard something. A log of successes alone says that a band "
            "was open, never when it opened; write down the checks that hear nothing, too."
        )
    for band in cells.bands:
        if not (useful["heard"][useful["band"] == band] == 1.0).any():
            return f"{band} was never heard in the hours looked at, so its opening is unknown."
    if int(cells.full.sum()) == 1:
        return "This is a single evening; one evening cannot tell what is usual."
    return ""


def refusal(
    asked: Asked, table: pd.DataFrame, cells: Cells, ask: Callable[[pd.DataFrame], Verdict]
) -> Verdict | None:
    """The verdict where there can be no answer, or only one for each setup alone."""

    def alone(part: pd.DataFrame) -> Verdict | str:
        if not set(cells.bands) <= set(part["band"]):
            return "not every band was checked with it."
        return ask(part)

    names = setups_in(cells.rows)
    if len(names) > 1:
        return split(asked, table[table["setup_id"].isin(names).to_numpy()], alone, len(cells.days))
    trouble = no_openings(cells)
    return asked.refused(trouble, of=len(cells.days)) if trouble else None


class Order(NamedTuple):
    """On how many evenings which of two bands was checked first."""

    a: int
    b: int

    @property
    def holds(self) -> bool | None:
        known = self.a + self.b
        return None if not known else min(self.a, self.b) >= LEAST_SHARE * known


def order_in(
    table: pd.DataFrame, a: str, b: str, full: NDArray[np.bool_], from_min: float, to_min: float
) -> Order:
    found = order_of(table, a, b, from_min=from_min, to_min=to_min)
    first = found["first"].to_numpy()[full]
    return Order(int((first == "a").sum()), int((first == "b").sum()))


class Ears(NamedTuple):
    """How a band was heard once it was open, and whether it opened at all."""

    band: str
    missed: float  # share of the checks between the first and the last hearing of an evening
    between: int  # those checks
    delay_min: float  # by which misses make openings look later
    shut: int  # evenings without hearing, watched for longer than any opening of this band took


def ears_of(cells: Cells) -> list[Ears]:
    useful = tells(cells)
    days = pd.Index(cells.days).get_indexer(pd.Index(useful["evening"]))
    names = useful["band"].to_numpy()
    start, heard = (useful[name].to_numpy(np.float64) for name in ("start_min", "heard"))
    out = []
    for at, band in enumerate(cells.bands):
        mine = names == band
        day, when, yes = days[mine], start[mine], heard[mine] == 1.0
        first, last = np.full((2, len(cells.days)), np.nan)
        np.fmin.at(first, day[yes], when[yes])
        np.fmax.at(last, day[yes], when[yes])
        inside = (when > first[day]) & (when < last[day])
        between = int(inside.sum())
        missed = float((~yes[inside]).mean()) if between else 0.0
        order = np.lexsort((when, day))
        gap = np.diff(when[order])[np.diff(day[order]) == 0]
        delay = float(np.median(gap)) * missed / (1.0 - min(missed, 0.95)) if gap.size else 0.0
        low, high = cells.low[cells.full, at], cells.high[cells.full, at]
        seen = high[np.isfinite(high)]
        shut = int((np.isposinf(high) & (low > seen.max(initial=-np.inf))).sum())
        out.append(Ears(band, missed, between, delay, shut))
    return out


def _heard_well(ears: Sequence[Ears]) -> Assumption:
    shares = ", ".join(f"{one.band} {100 * one.missed:.0f} %" for one in ears)
    holds: bool | None = all(one.missed <= MISSED for one in ears)
    if holds and min(one.between for one in ears) < 20:
        holds = None
    return Assumption(
        "a check that hears nothing shows that the band was closed (missed between two hearings: "
        f"{shares})",
        holds,
    )


def often_shut(ears: Sequence[Ears], evenings: int) -> str:
    """Bands that often do not open at all, in words; "" where none."""
    return joined(
        [
            f"{one.band} was not heard at all on {one.shut} of {evenings} evenings"
            for one in ears
            if one.shut > _SHUT * evenings
        ]
        or [""]
    )


def common_assumptions(cells: Cells, ears: Sequence[Ears]) -> tuple[Assumption, ...]:
    useful = tells(cells)
    total, full = len(cells.days), int(cells.full.sum())
    silent = [
        band for band in cells.bands if not (useful["heard"][useful["band"] == band] == 0.0).any()
    ]
    blocked = (
        bool((cells.rows["outcome"] == "blocked").any())
        if "outcome" in cells.rows.columns
        else False
    )
    never = int(np.isposinf(cells.high[cells.full]).any(axis=1).sum())
    what = "every band was" if len(cells.bands) > 1 else "the band was"
    return (
        Assumption(f"{what} checked each evening ({full} of {total})", full >= 0.9 * total),
        Assumption(
            "checks that heard nothing were written down"
            + (f" (none on {joined(silent)})" if silent else ""),
            not silent,
        ),
        Assumption(
            "blocked channels were written down as blocked"
            + ("" if blocked else " (the log has none)"),
            True if blocked else None,
        ),
        Assumption(
            "a band that was not heard all evening opened later than its last check"
            + (f" ({counted(never, 'evening')})" if never else " (no such evening)"),
            False if often_shut(ears, int(cells.full.sum())) else None if never else True,
        ),
        one_setup(cells.rows),
        _heard_well(ears),
        Assumption("when you listened did not depend on when the band opened", None),
        Assumption("evenings more than five apart have nothing to do with each other", None),
    )


def minutes_text(value: float) -> str:
    return f"{value:.0f}" if abs(value) >= 9.95 else f"{value:.1f}"


def span_text(low: float, high: float) -> str:
    return f"between {minutes_text(low)} and {minutes_text(high)} min"


def check_pair(table: pd.DataFrame, a: str, b: str) -> None:
    if not isinstance(a, str) or not isinstance(b, str):
        raise InputError("a and b are two names of bands, such as '31 m'")
    if a == b:
        raise InputError(f"a and b are both {a!r}: one band cannot open before itself")

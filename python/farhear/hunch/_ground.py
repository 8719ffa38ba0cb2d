"""What the answers to all hunches share: checks of the table, setups, intervals, words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from farhear._arrays import Floats, as_float64
from farhear.errors import InputError
from farhear.verdicts import CANNOT_TELL, Assumption, Verdict

Codes = NDArray[np.int64]

ALPHA = 0.05
ROTATION = 27
"""Nights after which disturbances tend to come back, one turn of the sun seen from here."""
LEAST_WEEKS = 4
"""Weeks of each season, or on either side of a change."""
LEAST_SHARE = 0.3
"""An order counts as alternated when the rarer one was used this often or more."""
STRATUM_MIN = 30.0
"""Hours from sunset are matched in steps of this; see :func:`farhear.hunch.season_difference`."""

_COLUMNS = (
    "start_utc",
    "end_utc",
    "evening",
    "week",
    "band",
    "freq_khz",
    "setup_id",
    "heard",
    "middle_min",
)


class Asked(NamedTuple):
    """A question, and whether it came first."""

    hunch: str
    question: str
    before: bool | None
    counted: str = "evenings"

    def verdict(self, word: str, sentence: str, **rest: Any) -> Verdict:
        """A verdict on it; `rest` as in :class:`farhear.verdicts.Verdict`, lists allowed."""
        for name in {"assumptions", "notes"} & rest.keys():
            rest[name] = tuple(rest[name])
        return Verdict(
            hunch=self.hunch,
            question=self.question,
            word=word,
            sentence=sentence,
            counted=self.counted,
            asked_before=self.before,
            **rest,
        )

    def refused(self, why: str, *, of: int, **rest: Any) -> Verdict:
        """No answer, and why; `of`: evenings (or what is counted) in the log."""
        return self.verdict(CANNOT_TELL, why, evenings=of, **rest)


def checked(table: pd.DataFrame, columns: Sequence[str] = _COLUMNS) -> pd.DataFrame:
    """The table, or an error that names what it lacks."""
    if not isinstance(table, pd.DataFrame):
        raise InputError("table is no DataFrame; make it with farhear.evenings.table")
    for name in columns:
        if name not in table.columns:
            raise InputError(f"table has no column {name!r}; make it with farhear.evenings.table")
    if not len(table):
        raise InputError("table has no rows: there is nothing to look at yet")
    return table


def per_row(table: pd.DataFrame, name: str, given: Any) -> NDArray[Any]:
    """A column of the table, or a value for each of its rows."""
    if isinstance(given, str):
        if given not in table.columns:
            raise InputError(f"{name} = {given!r} is no column of the table")
        given = table[given]
    values = np.asarray(given, dtype=object)
    if values.shape != (len(table),):
        raise InputError(f"{name} has shape {values.shape}; {len(table)} rows need ({len(table)},)")
    return values


def flags(table: pd.DataFrame, name: str, given: Any) -> Floats:
    """1.0, 0.0, and NaN for a missing value, of each row."""
    values = per_row(table, name, given)
    out = np.full(values.size, np.nan)
    for at, value in enumerate(values.tolist()):
        if pd.isna(value):
            continue
        if isinstance(value, (bool, np.bool_)) or value in (0, 1):
            out[at] = float(value)
        else:
            raise InputError(f"{name}[{at}] = {value!r} is neither True nor False")
    return out


def number_in(name: str, value: Any, low: float, high: float = np.inf) -> float:
    """A number in the open interval."""
    number = as_float64(name, value)
    if number.shape or not low < number < high:
        where = f"above {low:g}" if high == np.inf else f"between {low:g} and {high:g}"
        raise InputError(f"{name} = {value!r} is not a number {where}")
    return float(number)


def whole_number(name: str, value: Any, least: int) -> int:
    if isinstance(value, bool) or not isinstance(value, (int, np.integer)) or value < least:
        raise InputError(f"{name} = {value!r} is not a whole number of {least} or more")
    return int(value)


def band_rows(table: pd.DataFrame, band: str | None) -> pd.DataFrame:
    if band is None:
        return table
    rows = table[(table["band"] == band).to_numpy()]
    if not len(rows):
        have = ", ".join(repr(str(one)) for one in sorted(pd.unique(table["band"])))
        raise InputError(f"band = {band!r} is not in the table; it has {have}")
    return rows


def obstacle(rows: pd.DataFrame, where: str = "in this log") -> str:
    """Why outcomes cannot answer at all, in words; "" where they may."""
    heard = rows["heard"].to_numpy(np.float64)
    known = ~np.isnan(heard)
    if not len(rows):
        return f"There is no check {where}."
    if not known.any():
        what = "blocked, not checked or off the air"
        if "outcome" in rows.columns and (rows["outcome"] == "blocked").all():
            what = "blocked"
        return f"All {len(rows)} checks {where} were {what}; none tells what could be heard."
    if (heard[known] == 1.0).all():
        return (
            f"Every check {where} heard something. A log of successes alone holds no rate; write "
            "down the checks that hear nothing, too."
        )
    if (heard[known] == 0.0).all():
        return f"Nothing was heard in any of the {int(known.sum())} checks {where}."
    if rows["evening"].to_numpy()[known].min() == rows["evening"].to_numpy()[known].max():
        return "This is a single evening; one evening cannot tell what is usual."
    return ""


def setups_in(rows: pd.DataFrame) -> list[str]:
    return [str(name) for name in pd.unique(rows.loc[rows["heard"].notna(), "setup_id"])]


def joined(words: Sequence[str]) -> str:
    return " and ".join(filter(None, [", ".join(words[:-1]), words[-1]]))


def split(
    asked: Asked, rows: pd.DataFrame, ask: Callable[[pd.DataFrame], Verdict | str], of: int
) -> Verdict:
    """Refuse to pool setups; answer for each of them alone, or say in words why not."""
    parts: dict[str, Verdict] = {}
    notes = []
    for name in setups_in(rows):
        one = ask(rows[(rows["setup_id"] == name).to_numpy()])
        if isinstance(one, str):
            notes.append(f"Setup {name!r} alone: {one}")
            continue
        parts[name] = one
        notes.append(f"Setup {name!r} alone: {one.word}. {one.sentence}")
    if len(parts) > 1:
        notes.append(
            f"These are {len(parts)} answers to one question; luck finds something in one of them "
            "more easily than in a single one."
        )
        told = Counter(one.word for one in parts.values())
        words = joined([f"{count} answered {word}" for word, count in told.items()])
        notes.insert(0, f"Of {len(parts)} setups {words}.")
    names = joined([repr(name) for name in setups_in(rows)])
    return asked.refused(
        f"The log mixes the setups {names}. Their checks are not put together, for a change of "
        "antenna or receiver changes what is heard; each setup is looked at alone.",
        of=of,
        assumptions=[Assumption(f"one setup throughout (here: {names})", False)],
        notes=notes,
        details={"parts": parts},
    )


def one_setup(rows: pd.DataFrame) -> Assumption:
    name = setups_in(rows)[0]
    if name:
        return Assumption(f"one setup throughout ({name!r})", True)
    return Assumption("one setup throughout (the log names none)", None)


def on_air(rows: pd.DataFrame) -> Assumption:
    known = "on_air" in rows.columns and bool(rows["on_air"].notna().any())
    text = "what was not heard was on the air"
    return Assumption(text + (" (by the schedule)" if known else ""), True if known else None)


class Estimate(NamedTuple):
    """Best guess, 95 % interval, two-sided p against 0; NaN where the log gives none."""

    value: Any
    low: Any
    high: Any
    p: Any


def t_interval(value: Any, without: Floats, lost: int = 1) -> Estimate:
    """Estimate by a jackknife over the last axis of `without`, with Student's t.

    `lost`: blocks that do not count as degrees of freedom. Fewer than two degrees: no interval.
    """
    from scipy.special import stdtr, stdtrit

    value = np.asarray(value, dtype=np.float64)
    blocks = without.shape[-1]
    if blocks - lost < 2:
        none = np.full(value.shape, np.nan)
        return Estimate(value, none, none, none)
    spread = ((without - without.mean(axis=-1, keepdims=True)) ** 2).sum(axis=-1)
    error = np.sqrt((blocks - 1) / blocks * spread)
    half = stdtrit(blocks - lost, 1.0 - ALPHA / 2.0) * error
    with np.errstate(divide="ignore", invalid="ignore"):
        p = 2.0 * stdtr(blocks - lost, -np.abs(value / error))
    p = np.where((error == 0.0) & (value == 0.0), 1.0, p)
    return Estimate(value, value - half, value + half, p)


def percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"


def p_text(p: float) -> str:
    return f"p = {p:.2g}" if p >= 0.001 else "p < 0.001"

"""Whether a change of antenna changed what is heard."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from farhear import skill
from farhear._arrays import Floats
from farhear.errors import InputError
from farhear.hunch._ground import (
    ALPHA,
    LEAST_SHARE,
    LEAST_WEEKS,
    Asked,
    Codes,
    band_rows,
    checked,
    flags,
    joined,
    number_in,
    obstacle,
    p_text,
    percent,
    setups_in,
    t_interval,
)
from farhear.hunch.nights import same_hours
from farhear.hunch.sizes import LEAST_DECIDED, decided_needed
from farhear.tables import counted
from farhear.verdicts import AGAINST, CANNOT_TELL, NOT_SHOWN, SUPPORTED, Assumption, Verdict

__all__ = ["antenna_change"]

_LEAST_EVENINGS = 6  # with pairs


class _Pairs(NamedTuple):
    """Checks of both antennas in a row; `first_a`: the first antenna came first."""

    heard_a: Floats
    heard_b: Floats
    first_a: NDArray[np.bool_]
    evening: Codes


def _pairs(rows: pd.DataFrame, a: str, within_min: float) -> _Pairs:
    """Pair each check with the next of the same channel, when that is the other antenna's."""
    start = rows["start_utc"].dt.tz_convert("UTC").dt.tz_localize(None).to_numpy("datetime64[us]")
    minute = start.astype(np.int64) / 6e7
    names = rows["identity"] if "identity" in rows.columns else rows["band"]
    freq, _ = skill.to_codes("freq_khz", rows["freq_khz"])
    who, whos = skill.to_codes("identity", names.astype(str))
    day, _ = skill.to_codes("evening", rows["evening"].to_numpy("datetime64[s]"))
    channel = freq * whos + who
    order = np.lexsort((minute, channel, day))
    with_a = (rows["setup_id"].to_numpy() == a)[order]
    channel, day, minute = channel[order], day[order], minute[order]
    heard = rows["heard"].to_numpy(np.float64)[order]
    fits = (
        (np.diff(channel) == 0)
        & (np.diff(day) == 0)
        & (with_a[1:] != with_a[:-1])
        & (np.diff(minute) <= within_min)
    ).tolist()
    left = []
    at = 0
    while at < len(fits):
        if fits[at]:
            left.append(at)
            at += 1
        at += 1
    one = np.array(left, dtype=np.int64)
    two = one + 1
    known = ~np.isnan(heard[one]) & ~np.isnan(heard[two])
    one, two = one[known], two[known]
    first = with_a[one]
    return _Pairs(
        np.where(first, heard[one], heard[two]),
        np.where(first, heard[two], heard[one]),
        first,
        day[one],
    )


def antenna_change(
    table: pd.DataFrame,
    a: str,
    b: str,
    *,
    band: str | None = None,
    within_min: float = 30.0,
    control: str | ArrayLike | None = None,
    useful_points: float = 10.0,
    asked_before: bool | None = None,
) -> Verdict:
    """H8: setup `b` hears more than setup `a`.

    Interleaved: a check with one setup and the next one of the same channel with the other, both
    within `within_min`, make a pair. Pairs in which only one heard decide (McNemar's exact test);
    the effect is the hearing rate with `b` less that with `a`, its interval comes from leaving out
    one evening at a time.

    Before and after: where the setups were never used on the same evening, the season, the sun and
    your hours changed together with the antenna. Only with `control`, checks that the change did
    not touch, and in months that both have, is there an answer: what changed, less what changed in
    the control in the same months; interval and p from leaving out one week at a time.

    The word:

    - CANNOT TELL YET, and no figure, for before and after without a control or without a month that
      has all four; with fewer than 6 evenings with pairs (4 weeks on either side of the change);
      and with pairs when fewer than 6 decide.
    - CANNOT TELL YET with pairs when one setup came first in fewer than 0.3 of them.
    - SUPPORTED (AGAINST) when p < 0.05 and the interval lies above (below) 0.
    - CANNOT TELL YET when the interval is wider than +- `useful_points`.
    - NOT SHOWN otherwise.

    Parameters
    ----------
    table
        From :func:`farhear.evenings.table`.
    a, b
        Names in its column `setup_id`.
    band
        Only this band.
    within_min
        From the start of one check to the start of the other, at most. [min]
    control
        Column name or values, one a row, True for checks with an antenna that stayed as it was.
    useful_points
        A difference that would matter to you. [percentage points]
    asked_before
        Whether the question was written down before the data were looked at; None: not said.

    Returns
    -------
    Verdict
        `effect`: hearing rate with `b` less `a` [percentage points]. `details` with pairs: pairs,
        only_a, only_b, both, neither, first_a (pairs that began with `a`); for before and after:
        months (frame: month and the four rates with their checks).

    Raises
    ------
    InputError
        On a table, band, column or setup that is not there, twice the same setup, values out of
        range.

    References
    ----------
    Q. McNemar, Psychometrika 12 (1947), p. 153 (from memory); exact form by scipy's binomtest.
    """
    within_min = number_in("within_min", within_min, 0.0, 720.0)
    useful = number_in("useful_points", useful_points, 0.0, 100.0) / 100.0
    table = checked(table)
    if a == b:
        raise InputError(f"a and b are both {a!r}: a setup cannot be set against itself")
    touched = np.zeros(len(table), dtype=np.bool_)
    if control is not None:
        touched = flags(table, "control", control) == 1.0
    table = table.assign(_control=touched)
    rows = band_rows(table, band)
    asked = Asked("H8", f"{b!r} hears more than {a!r}.", asked_before, "pairs")
    used = rows[rows["setup_id"].isin([a, b]).to_numpy() & ~rows["_control"].to_numpy()]
    for name in (a, b):
        mine = used[used["setup_id"] == name]
        if not len(mine):
            have = ", ".join(repr(str(one)) for one in pd.unique(table["setup_id"]))
            raise InputError(f"setup {name!r} is not in the table; it has {have}")
        if not mine["heard"].notna().any():
            return asked.refused(
                f"All {len(mine)} checks with {name!r} were blocked, not checked or off the air.",
                of=0,
            )
    trouble = obstacle(used, f"with {a!r} and {b!r}")
    if trouble:
        return asked.refused(trouble, of=0)
    evenings = [set(used.loc[used["setup_id"] == name, "evening"]) for name in (a, b)]
    if not evenings[0] & evenings[1]:
        return _before_and_after(asked, rows, used, a, b, useful)
    pairs = _pairs(used, a, within_min)
    return _judged_pairs(asked, used, pairs, a, b, within_min, useful)


def _judged_pairs(
    asked: Asked,
    used: pd.DataFrame,
    pairs: _Pairs,
    a: str,
    b: str,
    within_min: float,
    useful: float,
) -> Verdict:
    from scipy.stats import binomtest

    count = pairs.heard_a.size
    only_a = int((pairs.heard_a > pairs.heard_b).sum())
    only_b = int((pairs.heard_a < pairs.heard_b).sum())
    decided = only_a + only_b
    first_a = int(pairs.first_a.sum())
    details: dict[str, Any] = {
        "pairs": count,
        "only_a": only_a,
        "only_b": only_b,
        "both": int(((pairs.heard_a == 1.0) & (pairs.heard_b == 1.0)).sum()),
        "neither": int(((pairs.heard_a == 0.0) & (pairs.heard_b == 0.0)).sum()),
        "first_a": first_a,
    }
    alternated = min(first_a, count - first_a) >= LEAST_SHARE * count if count else None
    assumptions = (
        Assumption(
            f"the order of the two was alternated ({a!r} first in {first_a} of {count} pairs)",
            alternated,
        ),
        Assumption(f"nothing else changes within the {within_min:g} min of a pair", None),
        Assumption("nothing but the antenna differs between the two setups", None),
        Assumption("one check of a pair does not tell the ear what to expect of the other", None),
    )
    days, day_count = skill.to_codes("evening", pairs.evening)
    if day_count < _LEAST_EVENINGS or decided < LEAST_DECIDED:
        needed = None
        if decided < LEAST_DECIDED:
            most = max(only_a, only_b)
            share = (most + 2.0) / (decided + 4.0)
            needed = decided_needed(round(min(max(share, 0.65), 0.9), 2))
        evenings = counted(day_count, "evening")
        return asked.refused(
            f"{count} pairs of checks within {within_min:g} min on {evenings}, and in only "
            f"{decided} of them one setup heard and the other did not: fewer than "
            f"{_LEAST_EVENINGS} evenings or {LEAST_DECIDED} deciding pairs cannot tell. Tip: "
            "check each channel with both, one after the other, and swap who is first.",
            of=count,
            decided=decided,
            needed=needed,
            assumptions=assumptions,
            details=details,
        )
    gain = np.bincount(days, pairs.heard_b - pairs.heard_a, day_count)
    many = np.bincount(days, minlength=day_count).astype(np.float64)
    effect = float(gain.sum() / many.sum())
    low, high, _ = (
        float(x) for x in t_interval(effect, (gain.sum() - gain) / (many.sum() - many))[1:]
    )
    p = float(binomtest(only_b, decided).pvalue)
    rates = (
        f"In {count} pairs {b!r} heard {percent(float(pairs.heard_b.mean()))} and {a!r} "
        f"{percent(float(pairs.heard_a.mean()))}; {only_b} were heard with {b!r} alone and "
        f"{only_a} with {a!r} alone ({p_text(p)})."
    )
    guess = f"Best guess: {100 * effect:+.0f} points, {100 * low:+.0f} to {100 * high:+.0f} fits."
    half = 0.5 * (high - low)
    needed = None
    if not alternated:
        word = CANNOT_TELL
        sentence = (
            f"{rates} {guess} But the order was fixed, and a channel that opens or fades between "
            "two checks would look the same; swap who is first."
        )
    elif p < ALPHA and (low > 0.0 or high < 0.0):
        word = SUPPORTED if effect > 0.0 else AGAINST
        sentence = f"{rates} {guess}"
    elif half > useful:
        word = CANNOT_TELL
        sentence = f"{rates} {guess} That is too wide to see {100 * useful:.0f} points."
        needed = int(np.ceil(decided * (half / useful) ** 2))
    else:
        word = NOT_SHOWN
        sentence = f"{rates} {guess} Your log does not show that either hears more."
    return asked.verdict(
        word,
        sentence,
        effect=100.0 * effect,
        low=100.0 * low,
        high=100.0 * high,
        unit=f"percentage points, {b!r} less {a!r}",
        p_value=p,
        p_method="McNemar's exact test on pairs that differ, two-sided",
        evenings=count,
        decided=decided,
        needed=needed,
        assumptions=assumptions,
        details=details,
    )


def _before_and_after(
    asked: Asked, rows: pd.DataFrame, used: pd.DataFrame, a: str, b: str, useful: float
) -> Verdict:
    """Compare spans of time by what changed in a control; refuse without one."""
    asked = asked._replace(counted="weeks")
    weeks = int(used["week"].nunique())
    spans = {name: used.loc[used["setup_id"] == name, "evening"] for name in (a, b)}
    texts = [
        f"{name!r} from {days.min():%Y-%m-%d} to {days.max():%Y-%m-%d}"
        for name, days in spans.items()
    ]
    told = f"No evening has both setups ({texts[0]}, {texts[1]})"
    tip = "Tip: use both on the same evening, one after the other, and swap who is first."
    never = Assumption("both setups were used in turn on the same evenings", False)
    why = ""
    control = rows[rows["_control"].to_numpy() & rows["heard"].notna().to_numpy()]
    if spans[a].max() > spans[b].min() and spans[b].max() > spans[a].min():
        why = "and they come and go, so that there is no single change to look at"
    elif not len(control):
        why = (
            "so the season, the sun and your hours changed together with the antenna; without a "
            "control, checks that the change did not touch, these cannot be told apart"
        )
    elif len(setups_in(control)) > 1:
        names = joined([repr(name) for name in setups_in(control)])
        why = f"and the control mixes the setups {names}, so it changed, too"
    if why:
        return asked.refused(f"{told}, {why}. {tip}", of=weeks, assumptions=[never])
    later = spans[b].min() > spans[a].min()
    change = max(spans[a].min(), spans[b].min())
    both = pd.concat([used[used["heard"].notna()], control])
    after = (both["evening"] >= change).to_numpy()
    with_b = (after if later else ~after).astype(np.int64)
    kind = both["_control"].to_numpy().astype(np.int64)
    month, months = pd.factorize(both["evening"].dt.month, sort=True)
    week, week_count = skill.to_codes("week", both["week"])
    heard = both["heard"].to_numpy(np.float64)
    cells = np.zeros((2, 2, 2, len(months), week_count))  # heard and checks, control, b, month
    np.add.at(cells[0], (kind, with_b, month, week), heard)
    np.add.at(cells[1], (kind, with_b, month, week), 1.0)
    whole = cells.sum(axis=4)
    shared = (whole[1] > 0.0).all(axis=(0, 1))
    if not shared.any():
        return asked.refused(
            f"{told}, and no month has checks with both and of the control beside each: what "
            f"differs may be the season. {tip}",
            of=weeks,
            assumptions=[never],
        )
    cells = cells[:, :, :, shared]
    whole = cells.sum(axis=4)
    per_week = cells[1, 0].sum(axis=1) > 0.0
    sides = per_week.sum(axis=1)
    if sides.min() < LEAST_WEEKS:
        return asked.refused(
            f"{told}; in the months that both have there are {sides[0]} weeks with {a!r} and "
            f"{sides[1]} with {b!r}, and {LEAST_WEEKS} of each are the least that can tell. {tip}",
            of=weeks,
            decided=int(sides.min()),
            needed=2 * LEAST_WEEKS,
            assumptions=[never],
        )

    def change_of(sums: Floats) -> float:
        with np.errstate(divide="ignore", invalid="ignore"):
            rate = sums[0] / sums[1]
            gap = (rate[0, 1] - rate[0, 0]) - (rate[1, 1] - rate[1, 0])
            weight = 1.0 / (1.0 / sums[1]).sum(axis=(0, 1))
        known = weight > 0.0
        if not known.any():
            return float("nan")
        return float((gap[known] * weight[known]).sum() / weight[known].sum())

    effect = change_of(whole)
    seen = np.flatnonzero(cells[1].sum(axis=(0, 1, 2)) > 0.0)
    without = np.array([change_of(whole - cells[..., one]) for one in seen])
    low, high, p = (float(x) for x in t_interval(effect, without, lost=2)[1:])
    rate = whole[0] / whole[1]
    frame = pd.DataFrame(
        {
            "month": np.asarray(months)[shared],
            **{
                f"{what}_{side}": values[kind_of, side_of]
                for kind_of, what_of in enumerate(("own", "control"))
                for side_of, side in enumerate(("a", "b"))
                for what, values in ((f"{what_of}_rate", rate), (f"{what_of}_checks", whole[1]))
            },
        }
    )
    guess = (
        f"From {a!r} to {b!r} your hearing rate changed by {100 * effect:+.0f} points more than "
        f"that of the control in the same months ({100 * low:+.0f} to {100 * high:+.0f} fits)."
    )
    half = 0.5 * (high - low)
    needed = None
    if low > 0.0 or high < 0.0:
        word = SUPPORTED if effect > 0.0 else AGAINST
        sentence = guess
    elif not half <= useful:
        word = CANNOT_TELL
        sentence = f"{guess} That is too wide to see {100 * useful:.0f} points. {tip}"
        if np.isfinite(half):
            needed = int(np.ceil(weeks * (half / useful) ** 2))
    else:
        word = NOT_SHOWN
        sentence = f"{guess} Your log does not show that either hears more."
    return asked.verdict(
        word,
        sentence,
        effect=100.0 * effect,
        low=100.0 * low,
        high=100.0 * high,
        unit=f"percentage points, {b!r} less {a!r}, less the control's change",
        p_value=p,
        p_method="change less that of the control, leaving out one week at a time, two-sided",
        evenings=weeks,
        decided=int(sides.sum()),
        needed=needed,
        assumptions=(
            never,
            Assumption(
                f"the same months are compared ({int(shared.sum())} of {len(months)})",
                True,
            ),
            same_hours(both, after, kind == 0, "before and after were"),
            Assumption("the control did not change, and moves as the rest does", None),
            Assumption("nothing but the antenna changed on that day", None),
        ),
        details={"months": frame},
    )

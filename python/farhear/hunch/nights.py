"""Whether magnetically disturbed nights hurt reception.

Nights resemble their neighbours and those 27 nights off, so a test that counts every night as news
alarms too often; here the index is moved along the nights in a circle instead.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from farhear import skill
from farhear._arrays import Floats, as_float64
from farhear.errors import InputError
from farhear.hunch._ground import (
    ALPHA,
    ROTATION,
    Asked,
    Codes,
    band_rows,
    checked,
    flags,
    number_in,
    obstacle,
    on_air,
    one_setup,
    p_text,
    percent,
    setups_in,
    split,
    whole_number,
)
from farhear.indices import Indices
from farhear.verdicts import AGAINST, CANNOT_TELL, NOT_SHOWN, SUPPORTED, Assumption, Verdict

__all__ = ["disturbed_nights"]

SHORTEST_SHIFT = 8
"""Nights by which the index is moved at least in the shift test: nearer nights are too alike."""
_LEAST_NIGHTS = 2 * ROTATION
_DRAWS = 1000
_BLOCK_NIGHTS = 9.0  # mean length of the blocks drawn
_INTERVAL_S = 10800.0


def _stretches(rng: np.random.Generator, count: int, draws: int, length: float) -> Codes:
    """Numbers of nights, (draws, count), in stretches of random length that wrap round."""
    new = rng.random((draws, count)) < 1.0 / length
    new[:, 0] = True
    at = np.arange(count)
    since = np.maximum.accumulate(np.where(new, at, 0), axis=1)
    start = np.take_along_axis(rng.integers(0, count, (draws, count)), since, axis=1)
    return np.asarray((start + at - since) % count, dtype=np.int64)


def _gap(value: Floats, disturbed: Floats) -> Any:
    """Mean over disturbed nights less mean over quiet ones, along the last axis."""
    many = disturbed.sum(axis=-1)
    with np.errstate(divide="ignore", invalid="ignore"):
        loud = (value * disturbed).sum(axis=-1) / many
        calm = (value * (1.0 - disturbed)).sum(axis=-1) / (disturbed.shape[-1] - many)
    return loud - calm


class _Shifted(NamedTuple):
    effect: float
    low: float
    high: float
    p: float
    shifts: int


def _shift_test(
    value: Floats, disturbed: Floats, rng: np.random.Generator, most: float
) -> _Shifted:
    """Difference of means of nights in order, p by circular shifts, interval by stretches.

    `most`: size that the difference cannot exceed.
    """
    count = value.size
    effect = float(_gap(value, disturbed))
    shifts = range(SHORTEST_SHIFT, count - SHORTEST_SHIFT + 1)
    many = disturbed.sum()
    moved = np.array([value @ np.roll(disturbed, by) for by in shifts])
    by_luck = moved / many - (value.sum() - moved) / (count - many)
    at_least = int((np.abs(by_luck) >= abs(effect) - 1e-12).sum())
    p = (1 + at_least) / (1 + len(shifts))
    drawn = _stretches(rng, count, _DRAWS, _BLOCK_NIGHTS)
    gaps = _gap(value[drawn], disturbed[drawn])
    gaps = gaps[np.isfinite(gaps)]
    low, high = np.quantile(gaps, [ALPHA / 2.0, 1.0 - ALPHA / 2.0])
    luck = float(np.quantile(np.abs(by_luck), 1.0 - ALPHA, method="higher"))
    low = max(min(float(low), effect - luck), -most)
    high = min(max(float(high), effect + luck), most)
    return _Shifted(effect, low, high, p, len(shifts))


def kp_of_evenings(rows: pd.DataFrame, days: NDArray[Any], which: Codes, kp: Any) -> Floats:
    """Kp of each evening in `days`; NaN where it is not known."""
    if isinstance(kp, Indices):
        first, last = (
            rows[name].dt.tz_convert("UTC").dt.tz_localize(None).to_numpy("datetime64[us]")
            for name in ("start_utc", "end_utc")
        )
        begin = (first.astype(np.int64) / 1e6 // _INTERVAL_S).astype(np.int64)
        # an end on the boundary belongs to the interval before
        end = np.maximum(np.ceil(last.astype(np.int64) / 1e6 / _INTERVAL_S) - 1, begin)
        long = int((end - begin).max()) + 1
        pairs = [
            np.stack([which, begin + step], axis=1)[begin + step <= end] for step in range(long)
        ]
        cells = np.unique(np.concatenate(pairs), axis=0)
        moments = pd.to_datetime(cells[:, 1] * _INTERVAL_S + 1.0, unit="s", utc=True)
        found = np.asarray(kp.kp_at(moments), dtype=np.float64)
        out = np.full(days.size, -np.inf)
        np.maximum.at(out, cells[:, 0], found)
        return out
    if not isinstance(kp, pd.Series):
        raise InputError("kp is neither a Series by evening nor Indices")
    index = pd.DatetimeIndex(kp.index)
    if index.tz is not None:
        raise InputError("kp: its index has a zone; evenings are local dates without one")
    index = index.normalize()
    if index.has_duplicates:
        twice = index[index.duplicated()][0]
        raise InputError(f"kp has evening {twice:%Y-%m-%d} twice")
    value = as_float64("kp", kp.to_numpy())
    if ((value < 0.0) | (value > 9.0)).any():
        raise InputError("kp holds values outside 0 to 9")
    at = index.get_indexer(pd.DatetimeIndex(days))
    return np.append(value, np.nan)[at]


def _means(heard: Floats, which: Codes, count: int) -> Floats:
    """Share heard of each night; NaN without a check."""
    checks = np.bincount(which, minlength=count)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.bincount(which, heard, count) / checks)


def disturbed_nights(
    table: pd.DataFrame,
    kp: pd.Series[Any] | Indices,
    *,
    threshold: float = 4.0,
    high_latitude: str | ArrayLike | None = None,
    band: str | None = None,
    min_nights: int = 10,
    useful_points: float = 20.0,
    seed: int | np.random.Generator = 1,
    asked_before: bool | None = None,
) -> Verdict:
    """H4: on magnetically disturbed nights less is heard.

    A night is disturbed when its Kp is `threshold` or more. Each night gives one number, the share
    of its checks that heard something; the effect is the mean of the disturbed nights less that of
    the quiet ones. p: Kp is moved along the nights in a circle by every number of nights from 8 to
    all but 8, and each time the difference is taken again, so that nights that resemble their
    neighbours, or those 27 nights off, stay as alike as they are. Interval: 1000 draws of stretches
    of nights, 9 on average; at each end at least as wide as 95 % of what the shifts give.

    The word:

    - CANNOT TELL YET with fewer than 54 nights (two turns of the sun), or fewer than `min_nights`
      disturbed or quiet ones.
    - SUPPORTED (AGAINST) when p < 0.05 and the interval lies below (above) 0.
    - CANNOT TELL YET when the interval is wider than +- `useful_points`.
    - NOT SHOWN otherwise.

    Parameters
    ----------
    table
        From :func:`farhear.evenings.table`.
    kp
        One Kp for each evening, indexed by its date; or indices: then the largest Kp of the UT
        intervals in which checks that tell were made on that evening. Evenings without Kp are left
        out and counted.
    threshold
        Fixed before looking. (0, 9)
    high_latitude
        For each row whether its path comes near the auroral zone, as a column name or values (a
        missing one leaves the row out). Then the verdict is on these rows, and `details` tell how
        much more they lose than the others (`interaction`), for that the same test.
    band
        Only this band.
    min_nights
        Disturbed, and quiet, nights without which there is no answer.
    useful_points
        A difference that would matter to you. [percentage points]
    seed
        Seed, or a `numpy.random.Generator`.
    asked_before
        Whether the question was written down before the data were looked at; None: not said.

    Returns
    -------
    Verdict
        `effect`: hearing rate of disturbed less quiet nights [percentage points]. `details`:
        disturbed, quiet (nights), rate_disturbed, rate_quiet, shifts, fisher_p (every check taken
        as news: for contrast, never the verdict), nights (frame: evening, kp, checks, share), and
        with `high_latitude` interaction, interaction_low, interaction_high [percentage points],
        interaction_p, low_effect.

    Raises
    ------
    InputError
        On a table, band or column that is not there, values out of range, dates outside the
        indices.

    References
    ----------
    D. N. Politis, J. P. Romano, J. Am. Stat. Assoc. 89 (1994), p. 1303, stretches of random length
    (from memory). Shifts in a circle: common practice, no source.
    """
    threshold = number_in("threshold", threshold, 0.0, 9.0)
    useful = number_in("useful_points", useful_points, 0.0, 100.0) / 100.0
    min_nights = whole_number("min_nights", min_nights, 2)
    rng = np.random.default_rng(seed)
    table = checked(table)
    if high_latitude is not None:
        table = table.assign(_high=flags(table, "high_latitude", high_latitude))
    rows = band_rows(table, band)
    polar = high_latitude is not None
    what = "polar-path receptions" if polar else "receptions"
    question = f"On nights with Kp {threshold:g} or more there are fewer {what}."
    asked = Asked("H4", question, asked_before, "nights")
    if polar:
        rows = rows[rows["_high"].notna()]
    trouble = obstacle(rows[rows["_high"] == 1.0] if polar else rows)
    if trouble:
        return asked.refused(trouble, of=int(rows["evening"].nunique()))
    useful_rows = rows[rows["heard"].notna()]
    if len(setups_in(rows)) > 1:

        def alone(part: pd.DataFrame) -> Verdict:
            return disturbed_nights(
                part,
                kp,
                threshold=threshold,
                high_latitude="_high" if polar else None,
                min_nights=min_nights,
                useful_points=useful_points,
                seed=rng,
                asked_before=asked_before,
            )

        return split(asked, rows, alone, int(rows["evening"].nunique()))
    days, which = np.unique(useful_rows["evening"].to_numpy("datetime64[s]"), return_inverse=True)
    index = kp_of_evenings(useful_rows, days, which, kp)
    heard = useful_rows["heard"].to_numpy(np.float64)
    high = useful_rows["_high"].to_numpy() == 1.0 if polar else np.ones(heard.size, bool)
    share = _means(heard[high], which[high], days.size)
    used = ~np.isnan(index) & ~np.isnan(share)
    unknown = int(np.isnan(index).sum())
    loud = (index >= threshold).astype(np.float64)
    disturbed, quiet = int(loud[used].sum()), int((1.0 - loud[used]).sum())
    nights = disturbed + quiet
    notes = [f"{unknown} nights have no Kp and are left out."] if unknown else []
    few = nights < _LEAST_NIGHTS or min(disturbed, quiet) < min_nights
    needed = None
    if few:
        rarer = min(disturbed, quiet)
        if rarer:
            needed = max(_LEAST_NIGHTS, int(np.ceil(min_nights * nights / rarer)))
        return asked.refused(
            f"Your log has {disturbed} disturbed and {quiet} quiet nights; {min_nights} of each, "
            f"and {_LEAST_NIGHTS} in all (two turns of the sun), are the least that can tell.",
            of=days.size,
            decided=nights,
            needed=needed,
            notes=notes,
            details={"disturbed": disturbed, "quiet": quiet},
        )
    found = _shift_test(share[used], loud[used], rng, 1.0)
    of_check = (used[which]) & high
    is_loud = loud[which] == 1.0
    cells = [
        [float((heard[of_check & group] == value).sum()) for value in (1.0, 0.0)]
        for group in (is_loud, ~is_loud)
    ]
    from scipy.stats import fisher_exact

    details: dict[str, Any] = {
        "disturbed": disturbed,
        "quiet": quiet,
        "rate_disturbed": float(share[used & (loud == 1.0)].mean()),
        "rate_quiet": float(share[used & (loud == 0.0)].mean()),
        "shifts": found.shifts,
        "fisher_p": float(fisher_exact(cells).pvalue),
        "nights": pd.DataFrame(
            {
                "evening": days[used],
                "kp": index[used],
                "checks": np.bincount(which[high], minlength=days.size)[used],
                "share": share[used],
            }
        ),
    }
    if polar:
        notes.append(_interaction(heard, which, high, loud, used, rng, details))
    turns = (int((days[used][-1] - days[used][0]) / np.timedelta64(1, "D")) + 1) / ROTATION
    notes.append(
        f"Disturbances come back after {ROTATION} days: this log holds about {turns:.0f} turns of "
        "the sun, so it has far fewer independent disturbances than nights."
    )
    half = 0.5 * (found.high - found.low)
    drop, least, most = -found.effect, -found.high, -found.low
    claims = found.p < ALPHA and (found.high < 0.0 or found.low > 0.0)
    rates = (
        f"On {disturbed} disturbed nights you heard {percent(details['rate_disturbed'])} of your "
        f"checks, on {quiet} quiet nights {percent(details['rate_quiet'])}."
    )
    word = CANNOT_TELL
    if claims:
        word = SUPPORTED if found.effect < 0.0 else AGAINST
        if word == AGAINST:
            drop, least, most = found.effect, found.low, found.high
        end = "fewer" if word == SUPPORTED else "more, the opposite of the hunch"
        sentence = (
            f"{rates} That is more than moving the nights against each other usually gives "
            f"({p_text(found.p)}). Best guess: {100 * drop:.0f} points {end}, and between "
            f"{100 * least:.0f} and {100 * most:.0f} fits your log."
        )
    elif half > useful:
        needed = int(np.ceil(nights * (half / useful) ** 2))
        sentence = (
            f"{rates} The truth could be anything from {_points(least, most)}: too wide to say "
            f"whether there is a drop of {100 * useful:.0f} points."
        )
    else:
        word = NOT_SHOWN
        sentence = (
            f"Your log does not show fewer {what} on disturbed nights; the truth could still be "
            f"anything from {_points(least, most)}."
        )
    if disturbed < 30 and not claims:
        sentence += f" {disturbed} disturbed nights is a thin base."
    return asked.verdict(
        word,
        sentence,
        effect=100.0 * found.effect,
        low=100.0 * found.low,
        high=100.0 * found.high,
        unit="percentage points, disturbed less quiet",
        p_value=found.p,
        p_method=f"Kp moved in a circle by {SHORTEST_SHIFT} nights or more, two-sided",
        evenings=days.size,
        decided=nights,
        needed=needed,
        assumptions=(
            Assumption(f"Kp {threshold:g} was fixed before looking", asked_before),
            Assumption(
                "Kp is that of the hours listened to",
                True if isinstance(kp, Indices) else None,
            ),
            one_setup(rows),
            same_hours(useful_rows, is_loud, of_check),
            _same_channels(useful_rows, is_loud, of_check),
            on_air(rows),
            Assumption("what makes nights alike does not change through the log", None),
        ),
        notes=tuple(notes),
        details=details,
    )


def _points(least: float, most: float) -> str:
    """Two drops, or the rises that negative ones are, in words."""
    ends = [abs(round(100.0 * drop)) for drop in (least, most)]
    if most <= 0.0:
        return f"a rise of {ends[1]} to {ends[0]} points"
    if least >= 0.0:
        return f"a drop of {ends[0]} to {ends[1]} points"
    return f"a rise of {ends[0]} to a drop of {ends[1]} points"


def _interaction(
    heard: Floats,
    which: Codes,
    high: NDArray[np.bool_],
    loud: Floats,
    used: NDArray[np.bool_],
    rng: np.random.Generator,
    details: dict[str, Any],
) -> str:
    """Put into `details` how much more the high paths lose, and say it."""
    shares = [_means(heard[part], which[part], loud.size) for part in (high, ~high)]
    both = used & ~np.isnan(shares[1])
    names = ("interaction", "interaction_low", "interaction_high", "interaction_p", "low_effect")
    details.update(dict.fromkeys(names, float("nan")))
    many = loud[both].sum()
    if both.sum() < _LEAST_NIGHTS or many < 2 or both.sum() - many < 2:
        return "Too few nights have checks of other paths, too, to say whether those lose less."
    found = _shift_test((shares[0] - shares[1])[both], loud[both], rng, 2.0)
    values = [100.0 * x for x in (found.effect, found.low, found.high)]
    details.update(zip(names, [*values, found.p], strict=False))
    details["low_effect"] = 100.0 * float(_gap(shares[1][both], loud[both]))
    return (
        f"High paths less low ones, disturbed less quiet: {values[0]:.0f} points (95 % interval "
        f"{values[1]:.0f} to {values[2]:.0f}, {p_text(found.p)})."
    )


def same_hours(
    rows: pd.DataFrame,
    group: NDArray[np.bool_],
    used: NDArray[np.bool_],
    what: str = "both kinds of night were",
) -> Assumption:
    minute = rows["middle_min"].to_numpy(np.float64)
    known = used & ~np.isnan(minute)
    a, b = known & group, known & ~group
    text = f"{what} listened to at the same hours"
    if not a.any() or not b.any():
        return Assumption(text, None)
    apart = abs(float(minute[a].mean() - minute[b].mean()))
    return Assumption(f"{text} (means {apart:.0f} min apart, at most 30)", apart <= 30.0)


def _same_channels(
    rows: pd.DataFrame, group: NDArray[np.bool_], used: NDArray[np.bool_]
) -> Assumption:
    code, count = skill.to_codes("freq_khz", rows["freq_khz"])
    mixes = []
    for part in (used & group, used & ~group):
        many = np.bincount(code[part], minlength=count)
        mixes.append(many / max(many.sum(), 1))
    apart = 0.5 * float(np.abs(mixes[0] - mixes[1]).sum())
    return Assumption(
        f"the same channels were checked on both ({percent(apart)} of the checks would have to "
        "move, at most 20 %)",
        apart <= 0.2,
    )

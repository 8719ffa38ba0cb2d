"""Whether misses are the ears or the band: a check that hears nothing is not a closed band."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from farhear import skill
from farhear._arrays import Floats
from farhear.errors import InputError
from farhear.hunch._ground import (
    ALPHA,
    LEAST_WEEKS,
    Asked,
    Codes,
    band_rows,
    checked,
    number_in,
    obstacle,
    on_air,
    one_setup,
    percent,
    setups_in,
    split,
)
from farhear.tables import counted
from farhear.verdicts import AGAINST, CANNOT_TELL, NOT_SHOWN, SUPPORTED, Assumption, Verdict

__all__ = ["ears_or_band"]

_LEAST_UNITS = 20  # evenings with two checks or more, for the chance to notice


def _open_loglik(psi: Floats, p: Floats, tally: Floats) -> Floats:
    """Log-likelihood of open share and chance to notice; `tally` rows: checks, heard, evenings."""
    psi, p = np.broadcast_arrays(psi, p)
    out = np.zeros(psi.shape)
    with np.errstate(divide="ignore", invalid="ignore"):
        for checks, heard, many in tally.tolist():
            if heard:
                more = (checks - heard) * np.log1p(-p) if checks > heard else 0.0
                out += many * (np.log(psi) + heard * np.log(p) + more)
            else:
                out += many * np.log(psi * (1.0 - p) ** checks + 1.0 - psi)
    return np.where(np.isnan(out), -np.inf, out)


_GRID = np.linspace(0.0, 1.0, 201)


def _best(loglik: Callable[[Floats], Floats], count: int) -> tuple[Floats, Floats]:
    """Highest value over [0, 1] and where, for `count` functions at once: grids ever finer."""
    low, high = np.zeros((count, 1)), np.ones((count, 1))
    unit = _GRID[None, ::5]
    for _ in range(7):
        at = low + (high - low) * unit
        value = loglik(at)
        top = np.argmax(value, axis=1)[:, None]
        best = np.take_along_axis(at, top, axis=1)
        step = (high - low) / (unit.size - 1)
        low, high = np.maximum(best - step, 0.0), np.minimum(best + step, 1.0)
    return np.take_along_axis(value, top, axis=1)[:, 0], best[:, 0]


class _Occupancy(NamedTuple):
    psi: float
    p: float
    value: float
    psi_low: float
    psi_high: float
    p_low: float
    p_high: float


def _occupancy(tally: Floats) -> _Occupancy:
    """Maximum likelihood and profile likelihood intervals (95 %, chi-square with 1 degree)."""

    def over_psi(p: Floats) -> tuple[Floats, Floats]:
        return _best(lambda psi: _open_loglik(psi, p[:, None], tally), p.size)

    def over_p(psi: Floats) -> tuple[Floats, Floats]:
        return _best(lambda p: _open_loglik(psi[:, None], p, tally), psi.size)

    value, p = _peak(lambda at: over_psi(at)[0])
    psi = float(over_psi(np.array([p]))[1][0])
    floor = value - 1.920729410347062  # half of the 95 % point of chi-square, one degree of freedom
    p_low, p_high = _ends(lambda at: over_psi(at)[0] - floor, p)
    psi_low, psi_high = _ends(lambda at: over_p(at)[0] - floor, psi)
    return _Occupancy(psi, p, value, psi_low, psi_high, p_low, p_high)


def _peak(profile: Callable[[Floats], Floats]) -> tuple[float, float]:
    low, high = 0.0, 1.0
    for _ in range(6):
        at = np.linspace(low, high, 41)
        value = profile(at)
        top = int(np.argmax(value))
        step = (high - low) / 40.0
        low, high = max(at[top] - step, 0.0), min(at[top] + step, 1.0)
    return float(value[top]), float(at[top])


def _ends(above: Callable[[Floats], Floats], top: float) -> tuple[float, float]:
    """Where a function that is positive at `top` falls through 0 on both sides, within [0, 1]."""
    ends = []
    for edge in (0.0, 1.0):
        inside, outside = top, edge
        if above(np.array([edge]))[0] >= 0.0:
            ends.append(edge)
            continue
        for _ in range(4):
            at = np.linspace(inside, outside, 21)
            first = int(np.argmax(above(at)[1:] < 0.0)) + 1
            inside, outside = float(at[first - 1]), float(at[first])
        ends.append(0.5 * (inside + outside))
    return ends[0], ends[1]


def _in_window(
    unit: Codes, minute: Floats, heard: Floats, window_min: float
) -> tuple[Codes, Floats]:
    """Units and outcomes of checks within the window from the first of their unit, by time."""
    order = np.lexsort((minute, unit))
    unit, minute, heard = unit[order], minute[order], heard[order]
    first = np.full(int(unit.max()) + 1, np.inf)
    np.minimum.at(first, unit, minute)
    kept = minute - first[unit] <= window_min + 1e-9
    return unit[kept], heard[kept]


def ears_or_band(
    table: pd.DataFrame,
    channel: str | float,
    *,
    window_min: float = 30.0,
    from_min: float = -np.inf,
    to_min: float = np.inf,
    good_ears: float = 0.9,
    useful_share: float = 0.2,
    seed: int | np.random.Generator = 1,
    asked_before: bool | None = None,
) -> Verdict:
    """H7: my misses are my ears, not the band.

    On an evening a channel is open with the chance psi, and stays as it is through a short window;
    an open one is noticed in a check with the chance p, a closed one never. Both by maximum
    likelihood from evenings with several checks in the window: an evening on which some checks hear
    and some do not shows misses. Interval of p and psi: the wider, at each end, of the profile
    likelihood and of 300 draws of whole weeks.

    The word:

    - CANNOT TELL YET with one check an evening: then psi and p cannot be told apart. Likewise with
      fewer than 20 evenings of two checks or more, and when the interval of psi is wider than
      +- `useful_share`.
    - SUPPORTED when the interval of p lies below `good_ears`, AGAINST when above.
    - NOT SHOWN otherwise.

    Parameters
    ----------
    table
        From :func:`farhear.evenings.table`.
    channel
        Frequency in kHz, or the name of a band. In a band each frequency of an evening counts by
        itself.
    window_min
        Length of the window, from the middle of the first check that tells to that of the last one
        that counts. [min]
    from_min, to_min
        Only checks whose middle lies here count. [min after sunset]
    good_ears
        A chance to notice, (0, 1), from which on your misses would not matter to you.
    useful_share
        How well psi has to be known, (0, 0.5).
    seed
        Seed, or a `numpy.random.Generator`.
    asked_before
        Whether the question was written down before the data were looked at; None: not said.

    Returns
    -------
    Verdict
        `effect`: p, the chance to notice an open channel in one check. `details`: psi, psi_low,
        psi_high, noticing (p), plain_share (of evenings with at least one hearing), rate (of
        checks), lr (twice the log-likelihood over that of p = 1; infinite as soon as one evening
        has both outcomes), mixed (evenings with both
        outcomes), at_edge ("" or which edge the best fit lies at), tally (frame: checks, heard,
        evenings).

    Raises
    ------
    InputError
        On a table or channel that is not there, values out of range.

    References
    ----------
    D. I. MacKenzie and others, Ecology 83 (2002), p. 2248 (from memory): the model.
    """
    window = number_in("window_min", window_min, 0.0, 720.0)
    good_ears = number_in("good_ears", good_ears, 0.0, 1.0)
    useful_share = number_in("useful_share", useful_share, 0.0, 0.5)
    rng = np.random.default_rng(seed)
    table = checked(table)
    if isinstance(channel, str):
        rows, name = band_rows(table, channel), channel
    else:
        khz = number_in("channel", channel, 0.0)
        rows, name = table[(table["freq_khz"] == khz).to_numpy()], f"{khz:g} kHz"
        if not len(rows):
            raise InputError(f"channel = {khz:g} kHz is not in the table")
    question = f"My misses on {name} are my ears, not the band."
    asked = Asked("H7", question, asked_before)
    limited = from_min > -np.inf or to_min < np.inf
    if limited:
        minute = rows["middle_min"].to_numpy(np.float64)
        with np.errstate(invalid="ignore"):
            rows = rows[(minute >= from_min) & (minute <= to_min)]
    total = int(rows["evening"].nunique())
    trouble = obstacle(rows, f"of {name}" + (" in the hours looked at" if limited else ""))
    if trouble:
        return asked.refused(trouble, of=total)
    if len(setups_in(rows)) > 1:

        def alone(part: pd.DataFrame) -> Verdict:
            return ears_or_band(
                part,
                channel,
                window_min=window_min,
                good_ears=good_ears,
                useful_share=useful_share,
                seed=rng,
                asked_before=asked_before,
            )

        return split(asked, rows, alone, total)
    useful = rows[rows["heard"].notna()]
    when = useful["middle_min"].to_numpy(np.float64)
    if np.isnan(when).any():  # polar day: minutes from any moment will do
        half = (useful["end_utc"] - useful["start_utc"]) / 2
        at = (useful["start_utc"] + half).dt.tz_convert("UTC").dt.tz_localize(None)
        when = at.to_numpy("datetime64[us]").astype(np.int64) / 6e7
    day = useful["evening"].to_numpy("datetime64[s]").astype(np.int64)
    freq, freqs = skill.to_codes("freq_khz", useful["freq_khz"])
    unit, units = skill.to_codes("unit", day * freqs + freq)
    if freqs > 1:
        total, asked = units, asked._replace(counted="evenings of a frequency")
    of_unit = np.zeros(units, dtype=np.int64)
    of_unit[unit] = skill.to_codes("week", useful["week"])[0]
    inside, heard = _in_window(unit, when, useful["heard"].to_numpy(np.float64), window)
    checks = np.bincount(inside, minlength=units)
    times = np.bincount(inside, heard, units).astype(np.int64)
    several = int((checks >= 2).sum())
    plain, rate = float((times > 0).mean()), float(heard.mean())
    kinds = np.stack([checks, times], axis=1)
    cells, cell = np.unique(kinds, axis=0, return_inverse=True)
    tally = np.column_stack([cells, np.bincount(cell.reshape(-1))]).astype(np.float64)
    frame = pd.DataFrame(tally.astype(np.int64), columns=["checks", "heard", "evenings"])
    details: dict[str, Any] = {"plain_share": plain, "rate": rate, "tally": frame}
    if several < _LEAST_UNITS:
        why = (
            f"Only {several} evenings have two checks or more within {window:g} min; "
            f"{_LEAST_UNITS} are the least, and three checks each are better."
        )
        if not several:
            why = (
                f"There is one check an evening within {window:g} min. From single checks a band "
                "that was closed and an ear that missed it look the same; check the channel three "
                "times within the window."
            )
        return asked.refused(
            why,
            of=total,
            decided=several,
            needed=_LEAST_UNITS,
            assumptions=[Assumption("three checks or more within the window", False)],
            details=details,
        )
    fit = _occupancy(tally)
    if not times.any() or (times == checks).all():
        word = "heard" if times.any() else "silent"
        return asked.refused(
            f"Within the windows every check was {word}; nothing tells misses from a closed band.",
            of=total,
            details=details,
        )
    blocks = np.zeros((int(of_unit.max()) + 1, len(tally)))
    np.add.at(blocks, (of_unit, cell.reshape(-1)), 1.0)
    drawn = _drawn_fits(blocks, tally, rng)
    psi_low, psi_high, p_low, p_high = fit.psi_low, fit.psi_high, fit.p_low, fit.p_high
    if drawn is not None:
        psi_low, p_low = min(psi_low, drawn[0, 0]), min(p_low, drawn[0, 1])
        psi_high, p_high = max(psi_high, drawn[1, 0]), max(p_high, drawn[1, 1])
    mixed = int(((times > 0) & (times < checks)).sum())
    sure = float(_best(lambda psi: _open_loglik(psi, np.ones((1, 1)), tally), 1)[0][0])
    lr = 2.0 * max(fit.value - sure, 0.0)
    at_good = _best(lambda psi: _open_loglik(psi, np.full((1, 1), good_ears), tally), 1)[0][0]
    from scipy.stats import chi2

    lr_good_p = float(chi2.sf(2.0 * max(fit.value - float(at_good), 0.0), 1))
    edge = ""
    if fit.psi > 0.999:
        edge = "open every evening"
    elif fit.p > 0.999:
        edge = "noticed every time"
    details |= {
        "psi": fit.psi,
        "psi_low": psi_low,
        "psi_high": psi_high,
        "noticing": fit.p,
        "lr": lr,
        "mixed": mixed,
        "at_edge": edge,
    }
    same = percent(fit.psi) == percent(plain)
    in_log = "as in the plain log" if same else f"not the {percent(plain)} in the plain log"
    sentence = (
        f"You notice an open channel about {percent(fit.p)} of the time per check "
        f"({percent(p_low)} to {percent(p_high)}). Allowing for that, the band was open on about "
        f"{percent(fit.psi)} of evenings ({percent(psi_low)} to {percent(psi_high)}), {in_log}."
    )
    needed = None
    half_psi = 0.5 * (psi_high - psi_low)
    if half_psi > useful_share:
        word = CANNOT_TELL
        sentence += (
            " That is too wide to tell a closed band from a missed one; check more often within "
            "the window."
        )
        needed = int(np.ceil(several * (half_psi / useful_share) ** 2))
    elif p_high < good_ears:
        word = SUPPORTED
    elif p_low > good_ears:
        word = AGAINST
        sentence += " Your misses are mostly the band's."
    else:
        word = NOT_SHOWN
        sentence += f" Your log does not show ears worse than {percent(good_ears)}."
    notes = []
    if edge:
        notes.append(
            f"The best fit lies at an edge ({edge}); the interval counts more than the best guess."
        )
    notes.append(
        f"{counted(mixed, 'evening')} with both heard and not heard within the window: on a band "
        "that does not change, each is a miss."
    )
    return asked.verdict(
        word,
        sentence,
        effect=fit.p,
        low=p_low,
        high=p_high,
        unit="chance to notice an open channel in one check",
        p_value=lr_good_p,
        p_method=f"likelihood ratio against noticing {percent(good_ears)}, two-sided",
        evenings=total,
        decided=several,
        needed=needed,
        assumptions=(
            Assumption(
                f"three checks or more within {window:g} min (most often "
                f"{int(np.bincount(checks).argmax())})",
                bool(np.median(checks) >= 3),
            ),
            _unchanged(inside, heard, checks),
            Assumption("nothing was taken for this channel that was not", _no_guesses(useful)),
            Assumption("every open evening is as easy to notice as any other", None),
            one_setup(rows),
            on_air(rows),
            *([Assumption(f"the {freqs} frequencies are alike", None)] if freqs > 1 else []),
        ),
        notes=tuple(notes),
        details=details,
    )


def _no_guesses(rows: pd.DataFrame) -> bool | None:
    """Whether every hearing is sure; None where the log does not say."""
    if "id_confidence" not in rows.columns:
        return None
    return bool((rows.loc[rows["heard"] == 1.0, "id_confidence"] == "sure").all())


def _drawn_fits(blocks: Floats, tally: Floats, rng: np.random.Generator) -> Floats | None:
    """2.5 and 97.5 % points of (psi, p) over draws of whole weeks; None with few weeks."""
    weeks = blocks.shape[0]
    if weeks < 2 * LEAST_WEEKS:
        return None
    grid = _GRID[::2]
    psi, p = (x.reshape(-1) for x in np.meshgrid(grid, grid, indexing="ij"))
    one = tally.copy()
    one[:, 2] = 1.0
    each = np.stack([_open_loglik(psi, p, row[None]) for row in one])
    each = np.maximum(each, -1e9)  # impossible, but 0 times it is 0
    counts = np.stack([blocks[drawn].sum(axis=0) for drawn in rng.integers(0, weeks, (300, weeks))])
    top = np.concatenate([(part @ each).argmax(axis=1) for part in np.array_split(counts, 6)])
    ends = np.quantile(np.column_stack([psi[top], p[top]]), [0.025, 0.975], axis=0)
    return np.asarray(ends, dtype=np.float64)


def _unchanged(unit: Codes, heard: Floats, checks: Codes) -> Assumption:
    """Whether later checks of a window hear as often as early ones, on evenings with both."""
    from scipy.stats import binomtest

    first = np.cumsum(checks) - checks
    last = first + checks - 1
    some = checks >= 2
    opened = int(((heard[first] < heard[last]) & some).sum())
    closed = int(((heard[first] > heard[last]) & some).sum())
    text = (
        f"the band does not change within the window (first silent and last heard on {opened}, the "
        f"other way on {closed} evenings)"
    )
    if opened + closed < 6:
        return Assumption(text, None)
    return Assumption(text, bool(binomtest(opened, opened + closed).pvalue >= ALPHA))

"""Which of several bands is the first to open at dusk."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from farhear._arrays import Floats
from farhear.errors import InputError
from farhear.hunch._cells import (
    MISSED,
    TIP,
    Cells,
    Ears,
    Order,
    cells_of,
    common_assumptions,
    ears_of,
    often_shut,
    order_in,
    refusal,
    tells,
)
from farhear.hunch._ground import ALPHA, Asked, joined, number_in, whole_number
from farhear.hunch._intervals import BLOCK, lead_of
from farhear.hunch.sizes import LEAST_DECIDED, POWER, sign_test
from farhear.tables import counted
from farhear.verdicts import (
    AGAINST,
    CANNOT_TELL,
    NOT_SHOWN,
    SUPPORTED,
    Assumption,
    Verdict,
    adjusted,
)

__all__ = ["which_first"]


def _first_of(low: Floats, high: Floats) -> NDArray[np.int64]:
    """Band whose interval ends before all others begin, evening by evening; -1 undecided."""
    count = low.shape[1]
    out = np.full(low.shape[0], -1, dtype=np.int64)
    for at in range(count):
        rest = np.delete(low, at, axis=1).min(axis=1)
        out[high[:, at] <= rest] = at
    return out


def which_first(
    table: pd.DataFrame,
    bands: Sequence[str] | None = None,
    *,
    expected: str | None = None,
    useful_points: float = 20.0,
    asked_before: bool | None = None,
    seed: int = 1,
    draws: int = 2000,
    from_min: float = -120.0,
    to_min: float = 360.0,
) -> Verdict:
    """H2: one of several bands is the first to open at dusk.

    An evening decides when one band was open before each of the others was last found closed;
    evenings on which a band had no check that tells do not count. How unequal the numbers of firsts
    are is set against `draws` permutations of the bands' labels inside each evening.

    The word:

    - CANNOT TELL YET when fewer than 6 evenings decide.
    - SUPPORTED when p < 0.05, one band has so many firsts that the interval of its share lies above
      one in `len(bands)` and a sign test has it ahead of the next (p < 0.05), every pair was
      alternated as in :func:`first_at_dusk`, no band had 1.5 times the checks of another (a band
      looked at more often is found first more often), the shares missed between hearings differ by
      at most 0.1, and no band stayed closed on more than a tenth of the evenings (see there).
      With `expected` another band in that place gives AGAINST.
    - CANNOT TELL YET when one of these fails though p < 0.05, or when the interval of the leading
      share is wider than +- `useful_points`.
    - NOT SHOWN otherwise.

    Parameters
    ----------
    table
        From :func:`farhear.evenings.table`.
    bands
        Two or more; None for all in the table.
    expected
        The one that the hunch has first; None: any.
    useful_points
        Half width of an interval that would still tell something. [percentage points]
    asked_before
        As in :func:`first_at_dusk`.
    seed, draws
        Of the permutations and of the bootstrap; `draws` is at least 200.
    from_min, to_min
        As in :func:`first_at_dusk`.

    Returns
    -------
    Verdict
        `effect`: share of decided evenings on which the leading band was first; its interval is
        the wider of a bootstrap of blocks of five evenings and Clopper-Pearson [%]. `details`:
        `bands` (frame: band, firsts, share, low, high [%], checks), undecided_share [0..1],
        `pairs` (frame: a, b, wins, losses, p, p_holm, lead_min, low_min, high_min, order_a,
        order_b: :func:`first_at_dusk` of every pair, p adjusted after Holm).

    Raises
    ------
    InputError
        As :func:`first_at_dusk`; on fewer than two bands.
    """
    useful_points = number_in("useful_points", useful_points, 0.0)
    draws = whole_number("draws", draws, 200)
    cells = cells_of(table, bands, from_min, to_min)
    names = cells.bands
    if len(names) < 2:
        raise InputError(f"{names[0]} is the only band; which is first takes two or more")
    if expected is not None and expected not in names:
        raise InputError(f"expected = {expected!r} is none of {', '.join(names)}")
    question = (
        f"One of {joined(names)} is the first to open at dusk more often than the others."
        if expected is None
        else f"Of {joined(names)}, {expected} is the first to open at dusk."
    )
    asked = Asked("H2", question, asked_before)

    def alone(part: pd.DataFrame) -> Verdict:
        return which_first(
            part,
            names,
            expected=expected,
            useful_points=useful_points,
            asked_before=asked_before,
            seed=seed,
            draws=draws,
            from_min=from_min,
            to_min=to_min,
        )

    refused = refusal(asked, table, cells, alone)
    if refused is not None:
        return refused
    low, high = cells.low[cells.full], cells.high[cells.full]
    first = _first_of(low, high)
    firsts = np.bincount(first[first >= 0], minlength=len(names))
    decided = int(firsts.sum())
    ears = ears_of(cells)
    rng = np.random.default_rng(seed)
    p = _permuted_p(rng, firsts, draws)
    shares = _share_frame(rng, names, first, firsts, draws)
    shares["checks"] = [int((tells(cells)["band"] == name).sum()) for name in names]
    pairs = _pairs(table, cells, from_min, to_min)
    listed: list[dict[str, Any]] = [
        {str(k): v for k, v in one.items()} for one in pairs.to_dict("records")
    ]
    fixed = [
        f"{row['a']} and {row['b']}"
        for row in listed
        if not Order(row["order_a"], row["order_b"]).holds
    ]
    alike = bool(shares["checks"].max() <= 1.5 * shares["checks"].min())
    lead = int(np.argmax(firsts))
    word, sentence, needed = _judged_firsts(
        shares,
        p,
        len(cells.days),
        expected,
        useful_points,
        _warnings(shares, fixed, alike, ears, cells),
    )
    notes = [
        f"{row['band']}: first on {counted(row['firsts'], 'evening')}, {row['share']:.0f} % of the "
        f"decided ones ({row['low']:.0f} to {row['high']:.0f} %)."
        for row in shares.to_dict("records")
        if decided
    ]
    for row in listed:
        if row["p_holm"] < ALPHA:
            notes.append(
                f"{row['a']} against {row['b']}: {row['wins']} to {row['losses']} evenings, "
                f"p = {row['p_holm']:.2g} after Holm."
            )
    return asked.verdict(
        word,
        sentence,
        effect=float(shares["share"].iloc[lead]),
        low=float(shares["low"].iloc[lead]),
        high=float(shares["high"].iloc[lead]),
        unit=f"% of decided evenings with {names[lead]} first",
        p_value=p,
        p_method=f"labels permuted inside evenings, {draws} draws, seed {seed}",
        evenings=len(cells.days),
        decided=decided,
        needed=needed,
        assumptions=(
            Assumption(
                "the order of the bands was alternated"
                + (f" (not: {'; '.join(fixed)})" if fixed else ""),
                not fixed,
            ),
            Assumption(
                "all bands were checked about equally often ("
                + ", ".join(f"{r.band}: {r.checks}" for r in shares.itertuples())
                + ")",
                alike,
            ),
            Assumption("all bands were checked for the same target region", None),
            *common_assumptions(cells, ears),
        ),
        notes=tuple(notes),
        details={
            "bands": shares,
            "undecided_share": 1.0 - decided / len(cells.days),
            "pairs": pairs,
        },
    )


def _permuted_p(rng: np.random.Generator, firsts: NDArray[np.int64], draws: int) -> float:
    """P of the sum of squared deviations; a permuted label makes every band as likely first."""
    decided, count = int(firsts.sum()), firsts.size
    if not decided:
        return float("nan")
    drawn = rng.multinomial(decided, np.full(count, 1.0 / count), size=draws)
    # sums of squares of whole numbers: the same order as of the deviations, without rounding
    return float((1 + ((drawn**2).sum(axis=1) >= (firsts**2).sum()).sum()) / (draws + 1))


def _share_frame(
    rng: np.random.Generator,
    names: Sequence[str],
    first: NDArray[np.int64],
    firsts: NDArray[np.int64],
    draws: int,
) -> pd.DataFrame:
    """Share of each band among decided evenings, and its interval. [%]"""
    count = first.size
    blocks = -(-count // BLOCK)
    start = rng.integers(0, count, (draws, blocks))
    drawn = first[(start[:, :, None] + np.arange(BLOCK)) % count].reshape(draws, -1)[:, :count]
    hits = np.stack([(drawn == at).sum(axis=1) for at in range(len(names))], axis=1)
    total = hits.sum(axis=1, keepdims=True)
    decided = int(firsts.sum())
    rows = []
    for at, name in enumerate(names):
        _, low, high = sign_test(int(firsts[at]), decided - int(firsts[at]))
        share = firsts[at] / decided if decided else float("nan")
        if decided and total.any():
            ok = total[:, 0] > 0
            ends = np.quantile(hits[ok, at] / total[ok, 0], [ALPHA / 2.0, 1.0 - ALPHA / 2.0])
            low, high = min(low, float(ends[0])), max(high, float(ends[1]))
        rows.append((name, int(firsts[at]), 100.0 * share, 100.0 * low, 100.0 * high))
    return pd.DataFrame(rows, columns=["band", "firsts", "share", "low", "high"])


def _pairs(table: pd.DataFrame, cells: Cells, from_min: float, to_min: float) -> pd.DataFrame:
    rows: list[dict[str, Any]] = []
    for i, j in combinations(range(len(cells.bands)), 2):
        both = np.asarray(~np.isnan(cells.low[:, [i, j]]).any(axis=1))
        low, high = cells.low[both][:, [i, j]], cells.high[both][:, [i, j]]
        wins = int((high[:, 0] <= low[:, 1]).sum())
        losses = int((high[:, 1] <= low[:, 0]).sum())
        lead, _ = lead_of(low[None], high[None])
        order = order_in(table, cells.bands[i], cells.bands[j], both, from_min, to_min)
        rows.append(
            {
                "a": cells.bands[i],
                "b": cells.bands[j],
                "wins": wins,
                "losses": losses,
                "p": sign_test(wins, losses)[0],
                "lead_min": float(lead.value[0]),
                "low_min": float(lead.low[0]),
                "high_min": float(lead.high[0]),
                "order_a": order.a,
                "order_b": order.b,
            }
        )
    out = pd.DataFrame(rows)
    out.insert(5, "p_holm", adjusted(out["p"].tolist(), "holm"))
    return out


def _warnings(
    shares: pd.DataFrame, fixed: Sequence[str], alike: bool, ears: Sequence[Ears], cells: Cells
) -> list[str]:
    """What keeps a claim about the first band from being believed, by name."""
    out = []
    if fixed:
        out.append(
            f"WARNING, fixed order: {'; '.join(fixed)} were not alternated. A fixed order fools "
            "this test, so it is not believed here."
        )
    if not alike:
        most, least = (
            str(shares["band"].iloc[int(f(shares["checks"]))]) for f in (np.argmax, np.argmin)
        )
        out.append(
            f"WARNING, unequal effort: {most} was checked more often than {least}, and a band "
            "looked at more often is found first more often."
        )
    missed = [one.missed for one in ears]
    if max(missed) - min(missed) > MISSED:
        deaf, good = ears[int(np.argmax(missed))], ears[int(np.argmin(missed))]
        out.append(
            f"WARNING, uneven ears: between two hearings you missed {deaf.band} in "
            f"{100 * deaf.missed:.0f} % of the checks and {good.band} in "
            f"{100 * good.missed:.0f} %; what is missed looks late."
        )
    shut = often_shut(ears, int(cells.full.sum()))
    if shut:
        out.append(f"WARNING, bands that stay closed: {shut}; that is not opening later.")
    return out


def _judged_firsts(
    shares: pd.DataFrame,
    p: float,
    evenings: int,
    expected: str | None,
    useful_points: float,
    warnings: Sequence[str],
) -> tuple[str, str, int | None]:
    """Word, sentence, and decided evenings needed."""
    firsts = shares["firsts"].to_numpy()
    decided, count = int(firsts.sum()), len(shares)
    at = int(np.argmax(firsts))
    band, low, high = (shares[n].iloc[at] for n in ("band", "low", "high"))
    rest = f"({evenings - decided} evenings could not decide)"
    need = _firsts_needed(firsts)
    if decided < LEAST_DECIDED:
        what = "No evening" if not decided else f"Only {counted(decided, 'evening')}"
        tail = "." if not decided else ", too few even if one band truly is first most nights."
        return (
            CANNOT_TELL,
            f"{what} could decide which band was first{tail} About {need} decided evenings would "
            f"be needed. {TIP}",
            need,
        )
    found = f"On {firsts[at]} of {decided} evenings that could decide, {band} was open before all "
    found += f"others {rest}."
    fits = f"Between {low:.0f} and {high:.0f} % fits your log; equal chances would be "
    fits += f"{100.0 / count:.0f} %."
    second = int(np.delete(firsts, at).max())
    ahead = sign_test(int(firsts[at]), second)[0] < ALPHA
    clear = p < ALPHA and low > 100.0 / count and ahead
    if clear and not warnings:
        word = SUPPORTED if expected in (None, band) else AGAINST
        more = "" if word == SUPPORTED else f" The hunch had {expected} there."
        lopsided = f"That is more lopsided than luck usually gives (p = {p:.2g})."
        return word, f"{found} {lopsided} {fits}{more}", None
    if clear:
        return CANNOT_TELL, " ".join([*warnings, found, fits]), None
    if p < ALPHA:
        text = f"{found} The bands differ (p = {p:.2g}), but which one leads is not clear. {fits}"
        return CANNOT_TELL, " ".join([*warnings, text]), need if need > decided else None
    if 0.5 * (high - low) > useful_points:
        text = f"{found} {fits} That is wider than +- {useful_points:g} points."
        return CANNOT_TELL, " ".join([*warnings, text]), need if need > decided else None
    text = (
        f"Your log does not show that one band is first more often than the others. {found} {fits}"
    )
    return NOT_SHOWN, " ".join([*warnings, text]), None


def _firsts_needed(firsts: NDArray[np.int64]) -> int:
    """Decided evenings for 80 % power by chi square, at the shares seen with one imagined each."""
    from scipy.stats import chi2, ncx2

    count = firsts.size
    share = (firsts + 1.0) / (firsts.sum() + count)
    effect = max(float(((share - 1.0 / count) ** 2 * count).sum()), 0.09)
    sizes = np.arange(LEAST_DECIDED, 1000)
    power = ncx2.sf(chi2.ppf(1.0 - ALPHA, count - 1), count - 1, sizes * effect)
    return int(sizes[np.argmax(power >= POWER)])

"""How many evenings a question takes, and in which order to check the bands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from farhear._arrays import Floats
from farhear.errors import InputError
from farhear.hunch._cells import cells_of, check_pair, no_openings, order_in, tells
from farhear.hunch._ground import ALPHA, number_in
from farhear.hunch._intervals import lead_of
from farhear.hunch.sizes import LEAST_DECIDED, POWER, sign_test

__all__ = ["EveningsNeeded", "evenings_needed", "order_for"]


def order_for(bands: Sequence[str], evening: int) -> tuple[str, ...]:
    """Order in which to check bands on an evening, so that no band is favoured.

    Parameters
    ----------
    bands
        Two or more different names.
    evening
        Number of the evening, from 0.

    Returns
    -------
    Two bands take turns. Of more, all are moved on by one place every second evening and turned
    round on the evenings between: over ``2 * len(bands)`` evenings each band has each place twice,
    and of any two each is before the other equally often.

    Raises
    ------
    InputError
        On fewer than two bands, a name twice, a negative number.

    Examples
    --------
    >>> [order_for(["31 m", "49 m"], n) for n in range(2)]
    [('31 m', '49 m'), ('49 m', '31 m')]
    """
    names = [bands] if isinstance(bands, str) else list(bands)
    if len(names) < 2 or len(set(names)) != len(names):
        raise InputError(f"bands = {bands!r} is not a list of two or more different names")
    if isinstance(evening, bool) or not isinstance(evening, (int, np.integer)) or evening < 0:
        raise InputError(f"evening = {evening!r} is not a whole number from 0 on")
    shift = (int(evening) // 2) % len(names) if len(names) > 2 else 0
    turned = names[shift:] + names[:shift]
    return tuple(turned[::-1] if evening % 2 else turned)


@dataclass(frozen=True, slots=True, kw_only=True)
class EveningsNeeded:
    """How many evenings a question takes.

    Attributes
    ----------
    evenings
        Smallest number tried at which the lead is found often enough; None: none of them.
    lead_min
        The lead. [min]
    power
        Wanted chance to find it.
    table
        One row for each number tried: evenings, power (share of invented logs with SUPPORTED),
        low, high (its 95 % sampling error, Clopper-Pearson), decided (mean decided evenings).
    source
        Whose check times were used.
    """

    evenings: int | None
    lead_min: float
    power: float
    table: pd.DataFrame = field(repr=False)
    source: str

    def text(self) -> str:
        """The plan in a sentence."""
        chance = f"{100 * self.power:.0f} %"
        if self.evenings is None:
            return (
                f"Even {self.table['evenings'].iloc[-1]} evenings ({self.source}) find a lead of "
                f"{self.lead_min:g} min less often than {chance}. Start earlier, shorter rounds."
            )
        return (
            f"About {self.evenings} evenings ({self.source}, order alternated) find a lead of "
            f"{self.lead_min:g} min with a chance of {chance}."
        )


_SIZES = (10, 15, 20, 25, 30, 40, 50, 60, 80, 100, 120, 160, 200)


def evenings_needed(
    source: pd.DataFrame | str,
    a: str,
    b: str,
    *,
    lead_min: float,
    seed: int,
    power: float = POWER,
    repeats: int = 200,
    from_min: float = -120.0,
    to_min: float = 360.0,
) -> EveningsNeeded:
    """How many evenings :func:`first_at_dusk` takes to find a lead, by invented logs.

    Parameters
    ----------
    source
        Your log so far, from :func:`farhear.evenings.table`: evenings are drawn from it with their
        check times, the openings are invented with the mean of `a` and the spreads fitted to your
        log (0.7 of the variance is common to both bands on an evening; common practice, no source).
        Or a pattern of :func:`farhear.simulate.season`, with its spreads.
    a, b
        The bands; `a` leads.
    lead_min
        True lead. [min]
    seed
        Of all draws.
    power
        Wanted chance of the word SUPPORTED, (0, 1).
    repeats
        Invented logs for each number of evenings, 20 to 5000; with 200 a chance of 80 % is known to
        +- 6 points.
    from_min, to_min
        As in :func:`first_at_dusk`.

    Returns
    -------
    EveningsNeeded
        The order is taken as alternated. Where your log has it fixed, the check times of the two
        bands are exchanged on every second invented evening. Numbers of evenings from 10 to 200 are
        tried upwards; the first that reaches `power` ends it.

    Raises
    ------
    InputError
        On values out of range; on a log without both bands, or that does not fix their openings.
    """
    lead_min = number_in("lead_min", lead_min, 0.0)
    if not 0.0 < power < 1.0:
        raise InputError(f"power = {power!r} is outside (0, 1)")
    if isinstance(repeats, bool) or not isinstance(repeats, int) or not 20 <= repeats <= 5000:
        raise InputError(f"repeats = {repeats!r} is not a whole number from 20 to 5000")
    rng = np.random.default_rng(seed)
    if isinstance(source, str):
        low, high = _pool_of_pattern(rng, source, a, b, lead_min, from_min, to_min)
        text = f"pattern {source!r}"
    else:
        check_pair(source, a, b)
        low, high = _pool_of_log(rng, source, a, b, lead_min, from_min, to_min)
        text = "check times of your log"
    rows = []
    answer = None
    for size in _SIZES:
        # even places from even evenings: the pool alternates, and so does every draw from it
        pick = 2 * rng.integers(0, low.shape[0] // 2, (repeats, size)) + np.arange(size) % 2
        one_low, one_high = low[pick], high[pick]
        found, decided = _found(one_low, one_high)
        hits = int(found.sum())
        _, ends_low, ends_high = sign_test(hits, repeats - hits)
        rows.append((size, hits / repeats, ends_low, ends_high, float(decided.mean())))
        if hits >= power * repeats:
            answer = size
            break
    return EveningsNeeded(
        evenings=answer,
        lead_min=lead_min,
        power=power,
        table=pd.DataFrame(rows, columns=["evenings", "power", "low", "high", "decided"]),
        source=text,
    )


def _found(low: Floats, high: Floats) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
    """Seasons (seasons, evenings, 2) with SUPPORTED for the first band, and decided evenings."""
    from scipy.special import bdtr

    told = np.asarray(~np.isnan(low).any(axis=2))
    wins = ((high[:, :, 0] <= low[:, :, 1]) & told).sum(axis=1)
    losses = ((high[:, :, 1] <= low[:, :, 0]) & told).sum(axis=1)
    decided = wins + losses
    p = 2.0 * bdtr(np.minimum(wins, losses).astype(np.float64), decided, 0.5)
    likely = np.asarray((decided >= LEAST_DECIDED) & (p < ALPHA) & (wins > losses))
    if likely.any():
        blank = ~told[likely][:, :, None]
        lead, _ = lead_of(
            np.where(blank, -np.inf, low[likely]), np.where(blank, np.inf, high[likely])
        )
        likely[likely] = lead.low > 0.0
    return np.asarray(likely), np.asarray(decided)


def _pool_of_pattern(
    rng: np.random.Generator,
    pattern: str,
    a: str,
    b: str,
    lead_min: float,
    from_min: float,
    to_min: float,
) -> tuple[Floats, Floats]:
    """Openings of many evenings of a pattern."""
    from farhear.simulate import season

    if pattern == "window":
        raise InputError("pattern = 'window' has no openings; take steady, late or sparse")
    if a == b:
        raise InputError(f"a and b are both {a!r}: one band cannot open before itself")
    made = season(
        rng,
        bands=[a, b],
        evenings=2000,
        first="2021-01-01",
        opening_min={a: 40.0, b: 40.0 + lead_min},
        pattern=pattern,
    )
    cells = cells_of(made.table, [a, b], from_min, to_min)
    return cells.low, cells.high


def _pool_of_log(
    rng: np.random.Generator,
    table: pd.DataFrame,
    a: str,
    b: str,
    lead_min: float,
    from_min: float,
    to_min: float,
) -> tuple[Floats, Floats]:
    """Invented openings seen at the check times of a log."""
    cells = cells_of(table, (a, b), from_min, to_min)
    a, b = cells.bands
    trouble = no_openings(cells)
    if trouble:
        raise InputError(f"the log cannot be planned from: {trouble}")
    _, fit = lead_of(cells.low[cells.full][None], cells.high[cells.full][None])
    if np.isnan(fit.sd).any():
        raise InputError(
            "the checks of the log do not fix when the bands open; plan with a pattern instead"
        )
    useful = tells(cells)
    slot = pd.Index(cells.days[cells.full]).get_indexer(pd.Index(useful["evening"]))
    which = (useful["band"] == b).to_numpy().astype(np.int64)
    start, end = (useful[n].to_numpy(np.float64) for n in ("start_min", "end_min"))
    evenings = int(cells.full.sum())
    order = np.lexsort((end, which, slot))
    order = order[slot[order] >= 0]
    slot, which, start, end = (x[order] for x in (slot, which, start, end))
    cell = 2 * slot + which
    place = np.arange(cell.size) - np.searchsorted(cell, cell)
    at = np.full((2, evenings, 2, int(place.max()) + 1), np.inf)  # none: a check that never was
    at[0, slot, which, place], at[1, slot, which, place] = start, end
    many = 4000
    drawn = at[:, rng.integers(0, evenings, many)]
    if not order_in(table, a, b, cells.full, from_min, to_min).holds:
        drawn[:, 1::2] = drawn[:, 1::2, ::-1]
    common = rng.standard_normal((many, 1)) * np.sqrt(0.7)
    own = rng.standard_normal((many, 2)) * np.sqrt(0.3)
    mean = float(fit.coef[0, 0]) + np.array([0.0, lead_min])
    opening = (mean + fit.sd * (common + own))[:, :, None]
    begins, ends = drawn
    real = np.isfinite(ends)
    heard = real & (opening <= ends)
    high = np.where(heard, ends, np.inf).min(axis=2)
    began = np.where(heard & (ends == high[:, :, None]), begins, np.inf).min(axis=2)
    before = real & ~heard & (ends <= began[:, :, None])
    return np.where(before, ends, -np.inf).max(axis=2), high

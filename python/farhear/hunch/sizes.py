"""How many evenings are enough for a sign test."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from farhear.errors import InputError
from farhear.hunch._ground import ALPHA

__all__ = ["LEAST_DECIDED", "decided_needed"]

LEAST_DECIDED = 6
"""Fewer decided evenings can never reach p < 0.05 in a two-sided sign test: 2 / 2^5 > 0.05."""
POWER = 0.8
"""Wanted chance to find what is there."""


@lru_cache(maxsize=256)
def decided_needed(share: float, power: float = POWER) -> int:
    """Decided evenings after which the sign test finds a true share, by exact binomial sums.

    Parameters
    ----------
    share
        True share of decided evenings on which one band is first: [0.55, 1], or [0, 0.45].
    power
        Chance to find it, (0, 1).

    Returns
    -------
    Smallest number from which on the chance of p < 0.05 (two-sided) with the right band ahead is
    at least `power`, for this and the next ten numbers: the chance goes up and down with the
    number, because only whole evenings count.

    Raises
    ------
    InputError
        On a share nearer to one half (more than a thousand evenings), a power outside (0, 1).

    Examples
    --------
    >>> decided_needed(0.75), decided_needed(0.9)
    (35, 12)
    """
    from scipy.stats import binom

    best = max(share, 1.0 - share)
    if not 0.55 <= best <= 1.0:
        raise InputError(f"share = {share:g} is nearer to one half than 0.55, or no share")
    if not 0.0 < power < 1.0:
        raise InputError(f"power = {power:g} is outside (0, 1)")
    counts = np.arange(1, 3000)
    # fewest wins that are significant: P(X >= wins) < alpha / 2 under one half
    wins = binom.isf(ALPHA / 2.0, counts, 0.5) + 1.0
    enough = binom.sf(wins - 1.0, counts, best) >= power
    steady = np.lib.stride_tricks.sliding_window_view(enough, 11).all(axis=1)
    if not steady.any():
        raise InputError(f"share = {share:g} with power = {power:g} takes more than 3000 evenings")
    return int(counts[np.argmax(steady)])


def needed_for(wins: int, losses: int) -> tuple[int, float]:
    """Decided evenings to aim at, and the share that this takes for granted.

    The share seen, drawn towards one half by two imagined wins and two losses, and kept within
    0.65 and 0.90: five of five do not mean "always".
    """
    more = max(wins, losses)
    share = min(max((more + 2.0) / (wins + losses + 4.0), 0.65), 0.9)
    return decided_needed(round(share, 2)), share


def sign_test(wins: int, losses: int) -> tuple[float, float, float]:
    """Two-sided p, and the Clopper-Pearson interval of the share of wins."""
    from scipy.stats import binomtest

    if not wins + losses:
        return float("nan"), float("nan"), float("nan")
    test = binomtest(wins, wins + losses)
    share = test.proportion_ci(1.0 - ALPHA, method="exact")
    return float(test.pvalue), float(share.low), float(share.high)

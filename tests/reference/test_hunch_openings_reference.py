"""Openings between two checks, against general statistics libraries.

Referees: scipy (norm.fit of CensoredData, binomtest, multinomial), lifelines (log-normal fits of
interval-censored times, of which the logarithm is normal), statsmodels (proportion_confint,
multipletests), exact fractions.
"""

import itertools
import warnings
from fractions import Fraction
from math import comb
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from farhear import hunch
from farhear.evenings import openings
from farhear.hunch import _intervals, several, sizes
from farhear.simulate import season

BANDS = ["31 m", "49 m"]
SCALE = 50.0  # minutes in one unit of the logarithm, for lifelines


def intervals(seed: int, count: int = 60, mean: float = 40.0, sd: float = 25.0) -> Any:
    """Openings seen through checks every 10 to 40 min; some already open, some never."""
    rng = np.random.default_rng(seed)
    opening = rng.normal(mean, sd, count)
    begin = rng.uniform(-20.0, mean, count)
    every = rng.uniform(10.0, 40.0, count)
    checks = begin[:, None] + every[:, None] * np.arange(4)
    low = np.where(checks < opening[:, None], checks, -np.inf).max(axis=1)
    high = np.where(checks >= opening[:, None], checks, np.inf).min(axis=1)
    assert np.isneginf(low).any()
    assert np.isposinf(high).any()
    return low, high


def censored(low: np.ndarray, high: np.ndarray) -> stats.CensoredData:
    return stats.CensoredData(interval=np.column_stack([low, high]))


def loglik(low: np.ndarray, high: np.ndarray, mean: Any, sd: float) -> float:
    """Plainly, by scipy's distribution function."""
    one = stats.norm(mean, sd)
    return float(np.log(one.cdf(high) - one.cdf(low)).sum())


def constant(count: int) -> np.ndarray:
    return np.ones((count, 1))


@pytest.mark.parametrize("seed", range(12))
def test_the_fit_is_scipys(seed: int) -> None:
    low, high = intervals(seed)
    mean, sd = stats.norm.fit(censored(low, high))
    found = _intervals.fit_intervals(low[None], high[None], constant(low.size))
    np.testing.assert_allclose([found.coef[0, 0], found.sd[0]], [mean, sd], rtol=2e-5, atol=2e-3)
    assert found.log_likelihood[0] == pytest.approx(loglik(low, high, *found[0][0], found.sd[0]))
    assert found.log_likelihood[0] >= loglik(low, high, mean, sd) - 1e-7


@pytest.mark.parametrize("seed", range(12, 20))
def test_the_fit_is_lifelines(seed: int) -> None:
    from lifelines import LogNormalFitter

    low, high = intervals(seed)
    peer = LogNormalFitter()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own, of numpy
        peer.fit_interval_censoring(np.exp(low / SCALE), np.exp(high / SCALE))
    found = _intervals.fit_intervals(low[None], high[None], constant(low.size))
    np.testing.assert_allclose(found.coef[0, 0], SCALE * peer.mu_, atol=0.05)
    np.testing.assert_allclose(found.sd[0], SCALE * peer.sigma_, atol=0.05)


@pytest.mark.parametrize("seed", range(20, 26))
def test_a_line_in_the_date_is_lifelines(seed: int) -> None:
    from lifelines import LogNormalAFTFitter

    low, high = intervals(seed, count=80)
    week = np.random.default_rng(seed).uniform(-6.0, 6.0, low.size)
    low, high = low + 2.0 * week, high + 2.0 * week
    # it fails at 0 and at infinity: ends ten standard deviations away instead
    ends = [np.exp(np.clip(x, -250.0, 350.0) / SCALE) for x in (low, high)]
    frame = pd.DataFrame({"low": ends[0], "high": ends[1], "week": week})
    peer = LogNormalAFTFitter()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        peer.fit_interval_censoring(frame, "low", "high")
    theirs = SCALE * peer.params_["mu_"]
    found = _intervals.fit_intervals(
        low[None], high[None], np.column_stack([np.ones_like(week), week])
    )
    np.testing.assert_allclose(found.coef[0], [theirs["Intercept"], theirs["week"]], atol=0.05)
    assert found.coef[0, 1] == pytest.approx(2.0, abs=4.0)  # what was planted, roughly


def test_derivatives_are_those_of_finite_differences() -> None:
    low, high = (x[None] for x in intervals(30))
    design = np.column_stack([np.ones(low.size), np.linspace(-1.0, 1.0, low.size)])
    theta = np.array([[1.3, 0.4, 0.9]])
    low, high = low / 30.0, high / 30.0
    _, gradient, second = _intervals._loglik(theta, low, high, design)
    for at in range(3):
        step = np.zeros((1, 3))
        step[0, at] = 1e-5
        up, down = (
            _intervals._loglik(theta + sign * step, low, high, design) for sign in (1.0, -1.0)
        )
        np.testing.assert_allclose(gradient[0, at], (up[0] - down[0])[0] / 2e-5, rtol=1e-6)
        np.testing.assert_allclose(second[0, at], (up[1] - down[1])[0] / 2e-5, rtol=1e-5, atol=1e-7)


@pytest.mark.parametrize("far", [1e3, -1e3])
def test_far_tails_keep_their_digits(far: float) -> None:
    import mpmath

    low, high = np.array([[far]]), np.array([[far + 5.0]])
    theta = np.array([[0.0, 1.0 / 30.0]])
    found = _intervals._loglik(theta, low, high, constant(1))[0][0]
    with mpmath.workdps(400):
        a, b = mpmath.mpf(far) / 30, mpmath.mpf(far + 5.0) / 30
        true = float(mpmath.log(mpmath.ncdf(b) - mpmath.ncdf(a)))
    assert found == pytest.approx(true, rel=1e-9)


@pytest.mark.parametrize("pattern", ["steady", "late", "sparse"])
def test_lead_and_its_interval_are_those_of_a_plain_loop(pattern: str) -> None:
    made = season(
        np.random.default_rng(5), bands=BANDS, evenings=33, pattern=pattern,
        opening_min={"31 m": 40.0, "49 m": 55.0},
    )  # fmt: skip
    frame = openings(made.table, BANDS)
    ends = [frame[frame["band"] == band][["low_min", "high_min"]].to_numpy() for band in BANDS]

    def lead(keep: np.ndarray) -> float:
        means = [stats.norm.fit(stats.CensoredData(interval=one[keep]))[0] for one in ends]
        return float(means[1] - means[0])

    blocks = np.arange(33) // 5
    without = np.array([lead(blocks != g) for g in range(7)])
    best = lead(blocks >= 0)
    error = np.sqrt(6 / 7 * ((without - without.mean()) ** 2).sum())
    half = stats.t(6).ppf(0.975) * error
    found = hunch.first_at_dusk(made.table, *BANDS)
    np.testing.assert_allclose(
        [found.effect, found.low, found.high], [best, best - half, best + half], atol=0.02
    )
    assert found.details["lead_p"] == pytest.approx(2 * stats.t(6).sf(abs(best / error)), rel=0.01)
    fits = [stats.norm.fit(stats.CensoredData(interval=one)) for one in ends]
    own = [[found.details[f"{what}_{band}"] for what in ("mean", "sd")] for band in "ab"]
    np.testing.assert_allclose(own, fits, atol=0.02)


@pytest.mark.parametrize(("wins", "losses"), [(0, 6), (5, 1), (17, 9), (40, 81), (30, 30), (1, 0)])
def test_sign_test_and_interval(wins: int, losses: int) -> None:
    from statsmodels.stats.proportion import proportion_confint

    count = wins + losses
    fewer = sum(comb(count, k) for k in range(min(wins, losses) + 1))
    exact = min(Fraction(1), Fraction(2 * fewer, 2**count))
    p, low, high = sizes.sign_test(wins, losses)
    assert p == pytest.approx(float(exact), rel=1e-12)
    np.testing.assert_allclose(
        [low, high], proportion_confint(wins, count, method="beta"), rtol=1e-9, atol=1e-12
    )


@pytest.mark.parametrize(
    ("wins", "count", "low", "high"),
    # R. G. Newcombe, Stat. Med. 17 (1998), p. 857, table I, row of Clopper-Pearson; from memory
    [
        (81, 263, 0.2527, 0.3676),
        (15, 148, 0.0578, 0.1617),
        (0, 20, 0.0, 0.1684),
        (1, 29, 0.0009, 0.1776),
    ],
)
def test_published_intervals_of_a_share(wins: int, count: int, low: float, high: float) -> None:
    _, own_low, own_high = sizes.sign_test(wins, count - wins)
    assert own_low == pytest.approx(low, abs=6e-5)
    assert own_high == pytest.approx(high, abs=6e-5)


@pytest.mark.parametrize("share", [0.60, 0.65, 0.70, 0.75, 0.80, 0.90])
def test_decided_evenings_needed_by_the_plain_sum(share: float) -> None:
    # the figures: measured for this project beforehand
    known = {0.60: 210, 0.65: 97, 0.70: 54, 0.75: 35, 0.80: 23, 0.90: 12}

    def power(count: int) -> float:
        good = [
            k for k in range(count // 2 + 1, count + 1) if stats.binomtest(k, count).pvalue < 0.05
        ]
        return float(stats.binom(count, share).pmf(good).sum()) if good else 0.0

    found = hunch.decided_needed(share)
    assert found == known[share]
    assert all(power(count) >= 0.8 for count in range(found, found + 11))
    assert power(found - 1) < 0.8
    assert hunch.decided_needed(1.0 - share) == found


def test_permuted_labels_are_the_exact_multinomial() -> None:
    for firsts in ([6, 2, 1], [3, 3, 3], [8, 0, 1], [5, 1, 1, 2]):
        count, kinds = sum(firsts), len(firsts)
        even = stats.multinomial(count, np.full(kinds, 1.0 / kinds))
        squares = sum(k * k for k in firsts)
        exact = sum(
            float(even.pmf(one))
            for one in itertools.product(range(count + 1), repeat=kinds)
            if sum(one) == count and sum(k * k for k in one) >= squares
        )
        p = several._permuted_p(np.random.default_rng(3), np.array(firsts), 20_000)
        assert p == pytest.approx(exact, abs=4.0 * np.sqrt(exact * (1 - exact) / 20_000) + 1e-4)


def test_pairs_are_adjusted_as_statsmodels_does() -> None:
    from statsmodels.stats.multitest import multipletests

    made = season(np.random.default_rng(8), bands=["31 m", "41 m", "49 m"], evenings=40)
    pairs = hunch.which_first(made.table).details["pairs"]
    for row in pairs.to_dict("records"):
        single = hunch.first_at_dusk(made.table, row["a"], row["b"])
        assert (row["wins"], row["losses"]) == (single.details["wins"], single.details["losses"])
        plain = stats.binomtest(row["wins"], row["wins"] + row["losses"])
        assert row["p"] == pytest.approx(plain.pvalue, rel=1e-12)
        np.testing.assert_allclose(
            [row["lead_min"], row["low_min"], row["high_min"]],
            [single.effect, single.low, single.high],
        )
    np.testing.assert_allclose(pairs["p_holm"], multipletests(pairs["p"], method="holm")[1])

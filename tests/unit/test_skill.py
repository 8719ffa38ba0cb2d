"""Statistics of probabilities against scikit-learn and scipy, and by hand."""

import doctest

import numpy as np
import pytest
from scipy import optimize, stats
from scipy.special import expit, logit
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import brier_score_loss, roc_auc_score

from farhear import skill
from farhear.errors import InputError

pytestmark = pytest.mark.filterwarnings("ignore:numpy.ndarray size changed:RuntimeWarning")


def forecasts(seed, n=400, a=0.0, b=1.0):
    """Likelihoods, and outcomes drawn from logit p' = a + b logit p."""
    rng = np.random.default_rng(seed)
    p = rng.uniform(0.02, 0.98, n)
    return (rng.random(n) < expit(a + b * logit(p))).astype(float), p


def test_examples():
    result = doctest.testmod(skill)
    assert (result.failed, result.attempted > 5) == (0, True)


@pytest.mark.parametrize("seed", range(5))
def test_roc_area_and_brier_are_those_of_scikit_learn(seed):
    heard, p = forecasts(seed)
    for score in (p, np.round(p, 1)):  # the second has ties
        assert skill.roc_area(heard, score) == pytest.approx(roc_auc_score(heard, score))
    assert skill.brier(heard, p) == pytest.approx(brier_score_loss(heard, p))
    rate = np.full(heard.size, heard.mean())
    expected = 1.0 - brier_score_loss(heard, p) / brier_score_loss(heard, rate)
    assert skill.brier_skill(heard, p, rate) == pytest.approx(expected)


def test_scores_that_cannot_be_are_nan():
    assert np.isnan(skill.roc_area([1, 1, 1], [0.2, 0.3, 0.4]))
    assert np.isnan(skill.roc_area([], []))
    assert np.isnan(skill.brier([], []))
    assert np.isnan(skill.brier_skill([1, 0], [0.5, 0.5], [1.0, 0.0]))  # nothing to take away
    assert skill.brier_skill([1, 0], [1.0, 0.0], [0.5, 0.5]) == 1.0


@pytest.mark.parametrize(
    ("heard", "likelihood", "message"),
    [
        ([0, 2], [0.5, 0.5], r"heard\[1\] = 2 is neither 0 nor 1"),
        ([0, 1], [0.5, 1.5], r"likelihood\[1\] = 1.5 is outside \[0, 1\]"),
        ([0, 1], [0.5, np.nan], r"likelihood\[1\] is missing"),
        ([0, 1], [0.5], r"not of one length: heard \(2,\), likelihood \(1,\)"),
        ([[0, 1]], [0.5], r"heard has shape \(1, 2\)"),
        (["x"], [0.5], "heard = "),
    ],
)
def test_what_is_no_check_is_refused(heard, likelihood, message):
    for function in (skill.brier, skill.recalibrate):
        with pytest.raises(InputError, match=message):
            function(heard, likelihood)


@pytest.mark.parametrize("seed", range(3))
def test_recalibration_is_the_logistic_regression_of_scikit_learn(seed):
    # without a penalty there; ours has a prior of standard deviations 5 and 2, worth little here
    heard, p = forecasts(seed, n=4000, a=-0.8, b=0.6)
    other = LogisticRegression(C=np.inf, tol=1e-10, max_iter=1000).fit(logit(p)[:, None], heard)
    found = skill.recalibrate(heard, p)
    assert found.a == pytest.approx(other.intercept_[0], abs=2e-3)
    assert found.b == pytest.approx(other.coef_[0, 0], abs=2e-3)
    chances = other.predict_proba(logit(p)[:, None])[:, 1]
    np.testing.assert_allclose(found.apply(p), chances, atol=1e-3)
    # and the truth lies within three standard errors of some 0.04
    assert found.a == pytest.approx(-0.8, abs=0.12)
    assert found.b == pytest.approx(0.6, abs=0.12)


@pytest.mark.parametrize(
    ("heard", "likelihood"),
    [
        ([0, 0, 0, 1, 1, 1], [0.1, 0.2, 0.3, 0.6, 0.7, 0.8]),  # a threshold separates them
        ([1, 1, 1], [0.0, 0.0, 1.0]),  # one outcome, likelihoods that are sure
        ([1, 0, 0, 0], [0.1, 0.9, 0.8, 0.95]),  # upside down
        ([1], [0.5]),
    ],
)
def test_few_or_separated_checks_give_finite_parameters(heard, likelihood):
    # the penalised sum written out again, by scipy's general minimiser
    x, y = logit(np.clip(likelihood, 0.001, 0.999)), np.array(heard)

    def cost(ab):
        eta = ab[0] + ab[1] * x
        prior = ab[0] ** 2 / (2 * 5.0**2) + (ab[1] - 1) ** 2 / (2 * 2.0**2)
        return np.sum(np.logaddexp(0.0, eta) - y * eta) + prior

    best = optimize.minimize(cost, [0.0, 1.0], method="Nelder-Mead", options={"xatol": 1e-7}).x
    found = skill.recalibrate(heard, likelihood)
    np.testing.assert_allclose([found.a, found.b], best, atol=1e-3)


def test_recalibration_keeps_shape_and_missing_values():
    same = skill.Recalibration(0.0, 1.0)
    given = np.array([[0.0, 0.3], [np.nan, 1.0]])
    np.testing.assert_allclose(same.apply(given), [[0.001, 0.3], [np.nan, 0.999]])
    assert skill.recalibrate([], []) == same


def test_each_block_is_put_right_by_the_others_only():
    heard, p = forecasts(3, n=300)
    block = np.repeat(np.arange(5), 60)
    found = skill.recalibrated_by_block(heard, p, block)
    for own in range(5):
        here = block == own
        # by hand: fit all others, apply here
        expected = skill.recalibrate(heard[~here], p[~here]).apply(p[here])
        np.testing.assert_allclose(found[here], expected, atol=1e-6)
    # other outcomes on one day leave that day's own forecasts as they were
    turned = np.where(block == 2, 1.0 - heard, heard)
    again = skill.recalibrated_by_block(turned, p, block)
    np.testing.assert_allclose(again[block == 2], found[block == 2], atol=1e-6)
    assert np.abs(again[block != 2] - found[block != 2]).max() > 0.01
    assert np.isnan(skill.recalibrated_by_block(heard, p, np.zeros(300))).all()


def test_climatology_by_hand():
    # group a: days 1, 1, 2; group b: day 3; all other days of day 1 hold 0 and 1: rate 1/2
    heard, group, day = [1, 1, 0, 1], ["a", "a", "a", "b"], [1, 1, 2, 3]
    expected = [
        (0 + 1 / 2) / (1 + 1),  # day 1: of group a elsewhere one check, not heard
        (0 + 1 / 2) / (1 + 1),
        (2 + 1.0) / (2 + 1),  # day 2: elsewhere three checks, all heard
        2 / 3,  # group b has no other day: the rate of the other three checks
    ]
    np.testing.assert_allclose(skill.climatology(heard, group, day), expected)
    assert np.isnan(skill.climatology([1, 0], ["a", "a"], [1, 1])).all()


def test_climatology_never_sees_its_own_block():
    rng = np.random.default_rng(5)
    heard = (rng.random(200) < 0.5).astype(float)
    group, block = rng.integers(0, 4, 200), rng.integers(0, 10, 200)
    found = skill.climatology(heard, group, block)
    for own in range(10):
        here = block == own
        turned = np.where(here, 1.0 - heard, heard)
        again = skill.climatology(turned, group, block)
        np.testing.assert_array_equal(again[here], found[here])
        assert (again[~here] != found[~here]).any()
    # outcomes without any order: whoever sees his own day has skill, this one has none
    plain = np.array([heard[(group == g) & (block == b)].mean() for g, b in zip(group, block)])  # noqa: B905
    assert skill.brier_skill(heard, plain, np.full(200, 0.5)) > 0.1
    assert skill.brier_skill(heard, found, np.full(200, 0.5)) < 0.02


def test_interval_by_blocks_of_one_row_is_that_of_the_mean():
    # central limit: mean 0.3 of 2000 independent rows, standard error sqrt(0.21 / 2000)
    heard = np.repeat([1.0, 0.0], [600, 1400])
    low, high = skill.block_interval(lambda rows: heard[rows].mean(), np.arange(2000), n=2000)
    spread = 1.645 * np.sqrt(0.21 / 2000)
    assert low == pytest.approx(0.3 - spread, abs=0.15 * spread)
    assert high == pytest.approx(0.3 + spread, abs=0.15 * spread)


def test_interval_draws_whole_blocks():
    # twenty days, all rows of a day alike: the standard error is that of 20 days, not of 2000 rows
    day = np.repeat(np.arange(20), 100)
    heard = (day % 2).astype(float)
    low, high = skill.block_interval(lambda rows: heard[rows].mean(), day, n=1000, level=0.9)
    assert high - low == pytest.approx(2 * 1.645 * np.sqrt(0.25 / 20), rel=0.15)
    sizes = set()
    skill.block_interval(lambda rows: sizes.add(rows.size) or 0.0, day, n=20)
    assert sizes == {2000}


def test_interval_of_several_numbers_its_seed_and_its_gaps():
    day = np.arange(30)
    values = np.linspace(0.0, 1.0, 30)

    def three(rows):
        return np.array([values[rows].mean(), np.nan, 1.0])

    low, high = skill.block_interval(three, day, seed=7)
    assert low[0] < 0.5 < high[0]
    assert np.isnan(low[1])
    assert low[2] == high[2] == 1.0
    again = skill.block_interval(three, day, seed=np.random.default_rng(7))
    np.testing.assert_array_equal(again, (low, high))
    assert np.isnan(skill.block_interval(lambda rows: 1.0, np.zeros(9))).all()
    with pytest.raises(InputError, match="n = 5"):
        skill.block_interval(three, day, n=5)
    with pytest.raises(InputError, match="level = 1 is outside"):
        skill.block_interval(three, day, level=1.0)
    with pytest.raises(InputError, match=r"block\[1\] is missing"):
        skill.block_interval(three, ["a", None, "b"])


def test_calibration_of_a_perfect_forecaster():
    heard, p = forecasts(11, n=5000)
    day = np.repeat(np.arange(50), 100)
    curve = skill.calibration_curve(heard, p, day)
    assert curve["count"].tolist() == [500] * 10
    # binomial standard error of 500 draws is at most 0.0224: nine of ten bins within two of them
    off = (curve["heard_ratio"] - curve["likelihood_mean"]).abs()
    assert (off < 2 * 0.0224).sum() >= 9
    assert off.max() < 4 * 0.0224
    within = curve["likelihood_mean"].between(curve["low"], curve["high"])
    assert within.sum() >= 7  # 90 % intervals
    assert (curve["likelihood_low"].to_numpy()[1:] > curve["likelihood_high"].to_numpy()[:-1]).all()
    wrong = skill.calibration_curve(1.0 - heard, p, day)
    assert not wrong["likelihood_mean"].between(wrong["low"], wrong["high"])[[0, 1, 8, 9]].any()


def test_equal_likelihoods_stay_in_one_bin():
    p = np.array([0.0] * 50 + [0.5] * 10 + [0.9] * 40)
    curve = skill.calibration_curve(np.zeros(100), p, np.arange(100), bins=10)
    assert curve["count"].tolist() == [50, 10, 40]
    assert curve["count"].sum() == 100
    assert len(skill.calibration_curve([], [], [])) == 0
    with pytest.raises(InputError, match="bins = 0"):
        skill.calibration_curve([1], [0.5], [1], bins=0)


def test_a_forecast_upside_down_counts_as_knowing_only_the_rate():
    heard, p = forecasts(2, n=500)
    x = np.stack([logit(p), -logit(p)])
    value, ab = skill.log_likelihoods(x, heard, np.ones(500), np.tile([0.0, 1.0], (2, 1)))
    assert ab[0, 1] > 0.0 > ab[1, 1]
    rate = heard.mean()
    expected = 500 * (rate * np.log(rate) + (1 - rate) * np.log(1 - rate))
    assert value[1] == pytest.approx(expected)
    assert value[0] > value[1]


@pytest.mark.parametrize("outcome", [0.0, 1.0])
def test_a_certain_rate_has_likelihood_one(outcome):
    """By hand: outcomes that are all the same have probability 1 under their own rate."""
    x = np.full((1, 50), -6.9 if outcome else 6.9)
    value, ab = skill.log_likelihoods(x, np.full(50, outcome), np.ones(50), np.array([[0.0, 1.0]]))
    assert ab[0, 1] < 0.0
    assert value[0] == 0.0


def test_the_peak_of_a_parabola():
    at = np.arange(0.0, 60.0, 10.0)
    assert skill.peak(at, -((at - 23.0) ** 2)) == pytest.approx(23.0)
    assert skill.peak(at, at) == 50.0
    assert skill.peak(at, np.zeros(6)) == 0.0


def test_an_exact_interval_of_a_rate():
    # outside: scipy's binomtest; and zero heard in 10, 20, 30, 60 checks, of which the one-sided
    # 95 % end is a handbook's rule: 1 - 0.05^(1/n)
    hits, count = np.array([0, 3, 10, 0, 7, 0]), np.array([10, 10, 10, 124, 30, 0])
    low, high = skill.rate_interval(hits, count)
    for k, n, a, b in zip(hits[:-1], count[:-1], low, high, strict=False):
        ends = stats.binomtest(int(k), int(n)).proportion_ci(0.95, method="exact")
        assert (a, b) == pytest.approx((ends.low, ends.high), abs=1e-12)
    assert (low[-1], high[-1]) == (0.0, 1.0)
    n = np.array([10, 20, 30, 60])
    np.testing.assert_allclose(skill.rate_interval(0, n, 0.9)[1], 1.0 - 0.05 ** (1.0 / n))
    np.testing.assert_allclose(1.0 - 0.05 ** (1.0 / n), [0.26, 0.14, 0.095, 0.049], atol=0.005)

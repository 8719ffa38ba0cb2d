"""Calibration against scikit-learn, scipy and statsmodels."""

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize
from scipy.stats import norm
from sklearn.isotonic import IsotonicRegression
from sklearn.metrics import brier_score_loss, log_loss, roc_auc_score
from statsmodels.stats.weightstats import DescrStatsW
from statsmodels.tools.numdiff import approx_hess

from farhear import calibrate as cal
from farhear import indices
from farhear import reliability as rel
from farhear.hunch import match

pytestmark = pytest.mark.filterwarnings("ignore:numpy.ndarray size changed:RuntimeWarning")


def drawn(seed, count=300, tied=False):
    rng = np.random.default_rng(seed)
    p = rng.uniform(0.02, 0.98, count)
    if tied:
        p = np.round(p, 1)
    return p, (rng.random(count) < p**1.5).astype(float), rng.integers(0, 12, count)


@pytest.mark.parametrize("tied", [False, True])
@pytest.mark.parametrize("seed", range(5))
def test_curve_scores_and_parts_against_scikit_learn(seed, tied):
    p, heard, week = drawn(seed, tied=tied)
    told = cal.reliability(p, heard, week, n=20)
    pooled = IsotonicRegression().fit(p, heard)
    np.testing.assert_allclose(
        told.curve["isotonic"], pooled.predict(told.curve["predicted"].to_numpy()), atol=1e-6
    )
    best = brier_score_loss(heard, np.clip(pooled.predict(p), 0.0, 1.0))
    score, rate = brier_score_loss(heard, p), brier_score_loss(heard, np.full(p.size, heard.mean()))
    expected = {
        "Brier score": score,
        "miscalibration": score - best,
        "discrimination": rate - best,
        "uncertainty": rate,
        "ROC area": roc_auc_score(heard, p),
    }
    for name, value in expected.items():
        assert told.value(name)[0] == pytest.approx(value, abs=1e-7), name


def test_parts_add_up_to_the_score_in_any_sample():
    for seed in range(50):
        p, heard, _ = drawn(seed, 7 + 3 * seed, tied=bool(seed % 2))
        score, wrong, sharp, rate = rel._parts(heard, p)
        assert score == pytest.approx(wrong - sharp + rate, abs=1e-12)
        assert wrong >= -1e-12  # no curve that never falls does worse than the best of them
        assert sharp >= -1e-12


def test_gaps_of_weeks_against_statsmodels():
    gaps = np.random.default_rng(4).normal(-0.05, 0.2, 23)
    whole = DescrStatsW(gaps)
    mean, low, high, p_value = match._over_weeks(gaps)
    assert mean == pytest.approx(whole.mean)
    assert (low, high) == pytest.approx(whole.tconfint_mean(0.05))
    assert p_value == pytest.approx(whole.ttest_mean(0.0)[1])


def test_spiegelhalter_is_the_brier_score_less_its_mean_over_its_deviation():
    """Mean and deviation of the Brier score of a calibrated forecast, by drawing many logs."""
    p, heard, _ = drawn(2, 200)
    rng = np.random.default_rng(3)
    scores = ((p - (rng.random((20000, p.size)) < p)) ** 2).mean(axis=1)
    z = (brier_score_loss(heard, p) - scores.mean()) / scores.std()
    found = match._spiegelhalter(p, heard)
    assert found["z"] == pytest.approx(z, abs=0.08)
    assert found["p"] == pytest.approx(2.0 * norm.sf(abs(found["z"])))


def test_scores_of_a_validation_against_scikit_learn():
    p, heard, week = drawn(6)
    other = np.clip(p + 0.1, 0.0, 1.0)
    found = cal._validated(heard, p, {"no fit": other}, week, 50, 1).set_index("score")["gain"]
    held = [np.clip(one, 1e-3, 1.0 - 1e-3) for one in (other, p)]
    assert found["log"] == pytest.approx(log_loss(heard, held[0]) - log_loss(heard, held[1]))
    assert found["Brier"] == pytest.approx(
        brier_score_loss(heard, other) - brier_score_loss(heard, p)
    )


def test_flux_prior_by_the_slope_of_the_conversion():
    for r12 in (5.0, 60.0, 150.0):
        ends = indices.r12([r12 - 0.01, r12 + 0.01], series="v1")
        slope = cal._sfu_per_r12(float(indices.r12(r12, series="v1")))
        assert slope == pytest.approx(np.diff(ends)[0] / 0.02, rel=1e-6)


def synthetic_grid(count=300):
    """A made-up likelihood whose quantile bends in all four parameters, at the real nodes."""
    rng = np.random.default_rng(9)
    nodes = (cal._BIAS_DB, cal._NOISE_DB, cal._ABSORPTION, cal._FLUX_SFU)
    own = [rng.normal(size=(count, 1, 1, 1, 1)) for _ in range(4)]
    bias, more, loss, flux = np.meshgrid(*nodes, indexing="ij")
    louder = 10.0 * np.log10(0.5 + 10.0 ** ((more + 8.0 * own[1]) / 10.0))
    z = (bias - louder - 8.0 * np.exp(own[2]) * loss + 0.1 * own[3] * flux + 15.0) / 9.0
    return cal._Grid(nodes, z + own[0])


def test_best_and_curvature_against_scipy_and_statsmodels():
    grid = synthetic_grid()
    truth = np.array([3.0, -4.0, 1.2, 10.0])
    heard = (np.random.default_rng(1).random(300) < grid.likelihood(truth)).astype(float)
    sd = np.array([5.0, 6.0, 0.3, 13.0])
    free = np.arange(4)
    found = cal._best(grid, heard, np.ones(300), sd, free, [np.zeros(4)])

    def cost(theta):
        p = 1e-3 + 0.998 * grid.likelihood(np.asarray(theta))
        loss = log_loss(heard, p, normalize=False)
        return loss - norm.logpdf(theta, [0.0, 0.0, 1.0, 0.0], sd).sum()

    other = minimize(
        cost,
        [0.0, 0.0, 1.0, 0.0],
        method="Nelder-Mead",
        options={"maxiter": 8000, "maxfev": 8000, "xatol": 1e-6, "fatol": 1e-9},
    )
    assert cost(found.theta) <= other.fun + 1e-6
    np.testing.assert_allclose(found.theta / sd, other.x / sd, atol=2e-3)
    covariance = np.linalg.inv(approx_hess(other.x, cost, epsilon=1e-3 * sd))
    np.testing.assert_allclose(
        np.sqrt(np.diag(found.covariance)), np.sqrt(np.diag(covariance)), rtol=0.02
    )
    frame = pd.DataFrame(found.covariance / np.outer(sd, sd) - covariance / np.outer(sd, sd))
    assert frame.abs().to_numpy().max() < 0.02


def test_points_have_the_mean_and_the_covariance():
    # what weighted points stand for, by numpy's weighted moments; the fourth along each direction
    # is that of a normal distribution
    rng = np.random.default_rng(6)
    theta, root = rng.standard_normal(4), rng.standard_normal((4, 4))
    points, weights = cal._Found(theta, root @ root.T).points()
    assert points.shape == (9, 4)
    np.testing.assert_allclose(weights @ points, theta, atol=1e-12)
    away = points - theta
    np.testing.assert_allclose((away.T * weights) @ away, root @ root.T, rtol=1e-9, atol=1e-9)
    one = cal._Found(theta, np.diag([4.0, 0.0, 0.0, 0.0])).points()
    np.testing.assert_allclose(one[1] @ (one[0][:, 0] - theta[0]) ** 4, 3.0 * 16.0)

"""Agreement of observers against published tables, scikit-learn, statsmodels, and known truths."""

from typing import Any

import numpy as np
import pytest
from scipy import stats
from sklearn.metrics import cohen_kappa_score
from statsmodels.miscmodels.ordinal_model import OrderedModel
from statsmodels.stats.inter_rater import cohens_kappa

from farhear import agreement
from farhear.agreement import kappa, kappa_interval, offsets

# Counts, kappa as printed, whether with quadratic weights.
PUBLISHED = [
    # Kavanagh et al., BMC Cancer 9 (2009) 1, table 2: two pathologists, 18 samples
    ([[7, 1, 0], [0, 8, 0], [0, 0, 2]], 0.906, False),
    # A. Agresti, Categorical Data Analysis, 2nd ed. 2002, table 10.8 and sections 10.5.4 and 10.5.5
    # (from memory): two pathologists, 118 slides
    ([[22, 2, 2, 0], [5, 7, 14, 0], [0, 2, 36, 0], [0, 1, 17, 10]], 0.493, False),
    ([[22, 2, 2, 0], [5, 7, 14, 0], [0, 2, 36, 0], [0, 1, 17, 10]], 0.78, True),
    # J. L. Fleiss, Statistical Methods for Rates and Proportions, 2nd ed. 1981, table 13.1 (from
    # memory): two raters, 100 patients
    ([[75, 1, 4], [5, 4, 1], [0, 0, 10]], 0.68, False),
]


@pytest.mark.parametrize(("table", "printed", "quadratic"), PUBLISHED)
def test_published_kappas(table: list[list[int]], printed: float, quadratic: bool) -> None:
    digits = len(str(printed)) - 2
    assert round(float(kappa(table, quadratic=quadratic)), digits) == printed
    if not quadratic:
        assert kappa(table) == kappa(table, quadratic=False)


@pytest.mark.parametrize("quadratic", [False, True])
def test_kappa_is_that_of_two_libraries(quadratic: bool) -> None:
    rng = np.random.default_rng(1)
    for _ in range(20):
        a = rng.integers(0, 5, 60)
        b = np.clip(a + rng.integers(-1, 2, 60), 0, 4)
        table = np.zeros((5, 5))
        np.add.at(table, (a, b), 1)
        own = float(kappa(table, quadratic=quadratic))
        weights = "quadratic" if quadratic else None
        peer = cohen_kappa_score(a, b, labels=range(5), weights=weights)
        assert own == pytest.approx(peer, abs=1e-12)
        named = cohens_kappa(table, wt="fc" if quadratic else None, return_results=False)
        assert own == pytest.approx(float(named), abs=1e-12)


def evenings_of_two(rng: np.random.Generator, count: int, spread: float) -> Any:
    """Two observers, eight checks an evening, an evening effect and luck that they share."""
    shared = rng.normal(0, spread, (count, 1)) + np.sqrt(0.6) * rng.normal(0, 1, (count, 8))
    a, b = (shared + np.sqrt(0.4) * rng.normal(0, 1, (count, 8)) > at for at in (0.0, 0.2))
    night = np.repeat(np.arange(count), 8)
    return a.ravel().astype(int), b.ravel().astype(int), night


def test_intervals_of_kappa_hold_the_truth_where_evenings_resemble_each_other() -> None:
    """Nominal 95 %; truth from 200,000 evenings. The peer's formula is for independent checks."""
    rng = np.random.default_rng(2)
    a, b, _ = evenings_of_two(rng, 200_000, 1.5)
    truth = cohen_kappa_score(a, b)
    held = np.zeros(2)
    for _ in range(200):
        a, b, night = evenings_of_two(rng, 20, 1.5)
        own = kappa_interval(a, b, night, 2)
        table = np.zeros((2, 2))
        np.add.at(table, (a, b), 1)
        peer = cohens_kappa(table)
        assert own.value == pytest.approx(peer.kappa, abs=1e-12)
        held[0] += own.low <= truth <= own.high
        held[1] += peer.kappa_low <= truth <= peer.kappa_upp
    assert stats.binomtest(int(held[0]), 200, 0.95).pvalue > 1e-3
    assert held[1] < held[0]


def test_interval_is_a_jackknife_over_evenings() -> None:
    """Worked out once more, evening by evening, with scikit-learn and Student's t of scipy."""
    a, b, night = evenings_of_two(np.random.default_rng(3), 9, 0.5)
    own = kappa_interval(a, b, night, 2)
    without = np.array([cohen_kappa_score(a[night != n], b[night != n]) for n in range(9)])
    error = np.sqrt(8 / 9 * ((without - without.mean()) ** 2).sum())
    half = stats.t(8).ppf(0.975) * error
    assert own == pytest.approx([own.value, own.value - half, own.value + half], abs=1e-9)


# Offsets of raters --------------------------------------------------------------------------------


def digits(rng: np.random.Generator, level: Any) -> Any:
    return np.clip(np.rint(level + rng.normal(0.0, 0.6, np.shape(level))), 1, 5)


def compared(rng: np.random.Generator, shift: Any, count: int) -> Any:
    """Pairs of raters drawn at random, digits of each, evening."""
    shift = np.asarray(shift, dtype=float)
    a = rng.integers(0, shift.size, count)
    b = (a + rng.integers(1, shift.size, count)) % shift.size
    level = rng.normal(3.0, 0.8, count)
    pair = digits(rng, level + shift[a]), digits(rng, level + shift[b])
    return a, b, pair[0], pair[1], rng.integers(0, 30, count)


NAMES = np.array(["Alder", "Birch", "Cedar", "Rowan"])


def by_statsmodels(a: Any, b: Any, difference: Any, night: Any) -> tuple[Any, Any]:
    """Offsets and their standard errors from the same model, each pair in both orders."""
    design = np.zeros((a.size, 4))
    design[np.arange(a.size), a] += 1.0
    design[np.arange(a.size), b] -= 1.0
    both = np.concatenate([design, -design])[:, 1:]
    values, category = np.unique(np.concatenate([difference, -difference]), return_inverse=True)
    model = OrderedModel(category, both, distr="logit")
    params = model.fit(method="bfgs", disp=False, maxiter=500).params
    each = (np.eye(4)[:, None, :] - np.eye(4)[None, :, :]).reshape(16, 4)[:, 1:]

    def expected(at: Any) -> Any:
        return (model.predict(at, exog=each) @ values).reshape(4, 4).mean(axis=1)

    sums = np.zeros((30, params.size))
    np.add.at(sums, np.concatenate([night, night]), model.score_obs(params))
    bread = np.linalg.inv(model.hessian(params))
    spread = bread @ sums.T @ sums @ bread * 30 / 29
    steps = 1e-5 * np.eye(params.size)
    slope = np.stack([(expected(params + s) - expected(params - s)) / 2e-5 for s in steps], axis=1)
    return expected(params), np.sqrt(np.einsum("ri,ij,rj->r", slope, spread, slope))


def test_offsets_are_those_of_statsmodels(monkeypatch: pytest.MonkeyPatch) -> None:
    """The prior made so weak that it does not show; without that, its price is below 0.003."""
    a, b, of_a, of_b, night = compared(np.random.default_rng(4), (0.0, 0.3, -0.4, 0.0), 300)
    value, error = by_statsmodels(a, b, of_a - of_b, night)
    usual = offsets(NAMES[a], NAMES[b], of_a - of_b, night)
    monkeypatch.setattr(agreement, "_PRIOR_SD", 1e3)
    own = offsets(NAMES[a], NAMES[b], of_a - of_b, night)
    np.testing.assert_allclose(own["offset_digits"], value, atol=2e-5)
    half = stats.t(29).ppf(0.975) * error
    np.testing.assert_allclose(own["high"] - own["offset_digits"], half, rtol=2e-3)
    np.testing.assert_allclose(own["offset_digits"] - own["low"], half, rtol=2e-3)
    np.testing.assert_allclose(usual["offset_digits"], value, atol=3e-3)


def test_thresholds_out_of_order_cost_more_than_anything() -> None:
    two = np.array([0, 1])
    model = agreement._Model(
        agreement._design(two, two[::-1], 2), np.array([0, 4]), agreement._thresholds(5)
    )
    assert np.isfinite(model.cost(np.array([0.1, -0.1, 1.0, 2.0])))
    assert np.isinf(model.cost(np.array([0.1, -0.1, 2.0, 1.0])))


def test_planted_offsets_are_found_and_held() -> None:
    """Truth: mean differences to all four over 400,000 receptions that all of them rate."""
    shift = np.array([0.0, 0.3, -0.6, 0.1])
    rng = np.random.default_rng(5)
    level = rng.normal(3.0, 0.8, 400_000)
    means = np.array([digits(rng, level + one).mean() for one in shift])
    truth = means - means.mean()
    held, found = [], []
    for _ in range(100):
        a, b, of_a, of_b, night = compared(rng, shift, 240)
        own = offsets(NAMES[a], NAMES[b], of_a - of_b, night)
        held.append((own["low"] <= truth) & (truth <= own["high"]))
        found.append(own["offset_digits"])
    np.testing.assert_allclose(np.mean(found, axis=0), truth, atol=0.03)
    assert np.mean(held) > 0.90


def test_what_a_rater_listens_to_is_kept_out() -> None:
    """Nobody rates higher; two share strong channels, one of them and a third share weak ones.

    The plain model, digits by rater, takes strength for generosity.
    """
    rng = np.random.default_rng(6)
    parts = []
    for first, level in ((0, 4.0), (1, 2.2)):
        at = level + rng.normal(0.0, 0.7, 300)
        parts.append(
            (np.full(300, first), np.full(300, first + 1), digits(rng, at), digits(rng, at))
        )
    a, b, of_a, of_b = (np.concatenate(one) for one in zip(*parts, strict=True))
    own = offsets(NAMES[a], NAMES[b], of_a - of_b, np.arange(600) % 30)
    assert own["offset_digits"].abs().max() < 0.15
    assert ((own["low"] < 0.0) & (own["high"] > 0.0)).all()
    values, category = np.unique(np.concatenate([of_a, of_b]), return_inverse=True)
    model = OrderedModel(category, np.eye(3)[np.concatenate([a, b])][:, 1:], distr="logit")
    plain = model.predict(model.fit(method="bfgs", disp=False).params, np.eye(3)[:, 1:]) @ values
    assert plain[0] - plain.mean() > 0.6

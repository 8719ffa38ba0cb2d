"""Hunches about rates against published examples, scipy and statsmodels.

Published figures are from memory, of A. Agresti, Categorical Data Analysis, 2nd ed. 2002: the
clinical trial at eight centres (table 6.9), approval ratings of a prime minister (table 10.1), lung
cancer and smoking (table 2.5).
"""

import itertools
import math
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats
from statsmodels.api import OLS
from statsmodels.stats.contingency_tables import StratifiedTable, mcnemar

import farhear as fh
from farhear import hunch
from farhear.hunch import _ground, ears, nights
from farhear.simulate import season, two_seasons

# success and failure with the drug, success and failure without
CENTRES = [
    (11, 25, 10, 27),
    (16, 4, 22, 10),
    (14, 5, 7, 12),
    (2, 14, 1, 16),
    (6, 11, 0, 12),
    (1, 10, 0, 10),
    (1, 4, 1, 8),
    (4, 2, 6, 1),
]


def as_table(rows: list[dict[str, Any]]) -> pd.DataFrame:
    """Table of checks of 4 min from day, minute after sunset, heard, and what else is given."""
    frame = pd.DataFrame(rows)
    day = pd.to_timedelta(frame.pop("day"), unit="D")
    sunset = pd.Timestamp("2026-01-05 15:00", tz="UTC") + day
    minute = frame.pop("minute").astype(float)
    frame["start_utc"] = sunset + pd.to_timedelta(minute, unit="min")
    frame["end_utc"] = frame["start_utc"] + pd.Timedelta(minutes=4)
    frame["evening"] = pd.Timestamp("2026-01-05") + day
    frame["week"] = (day / pd.Timedelta(days=7)).astype(int)
    frame["middle_min"] = minute + 2.0
    frame["heard"] = frame["heard"].astype(float)
    for name, value in {"band": "31 m", "freq_khz": 9650.0, "setup_id": "wire"}.items():
        if name not in frame:
            frame[name] = value
    return frame


def from_tables(tables: list[tuple[int, int, int, int]]) -> pd.DataFrame:
    """Each 2 by 2 table at its own hour, the first group in weeks 0-7, the second in 20-27."""
    rows = []
    for hour, cells in enumerate(tables):
        for kind, many in enumerate(cells):
            drug, heard = kind < 2, kind % 2 == 0
            for number in range(many):
                day = (0 if drug else 140) + 7 * ((number + hour) % 8)
                rows.append({"day": day, "minute": 60 * hour + 5, "heard": heard, "drug": drug})
    return as_table(rows)


def test_the_trial_at_eight_centres() -> None:
    found = hunch.season_difference(from_tables(CENTRES), "drug", names=("drug", "none"))
    # published: common odds ratio 2.13, CMH 6.38 (p = 0.012), Breslow-Day 7.99 with 7 degrees
    assert found.effect == pytest.approx(2.13, abs=0.005)
    assert stats.chi2.isf(found.details["cmh_p"], 1) == pytest.approx(6.38, abs=0.005)
    assert stats.chi2.isf(found.details["equal_p"], 7) == pytest.approx(7.99, abs=0.01)
    # by hand
    above = sum(a * d / (a + b + c + d) for a, b, c, d in CENTRES)
    below = sum(b * c / (a + b + c + d) for a, b, c, d in CENTRES)
    assert found.effect == pytest.approx(above / below)
    shift = [
        (
            (a / (a + b) - c / (c + d)) * (a + b) * (c + d) / (a + b + c + d),
            (a + b) * (c + d) / (a + b + c + d),
        )
        for a, b, c, d in CENTRES
    ]
    points = 100.0 * sum(x for x, _ in shift) / sum(w for _, w in shift)
    assert found.details["points"] == pytest.approx(points)
    # all centres in one table
    summed = [[sum(t[2 * i + j] for t in CENTRES) for j in (0, 1)] for i in (0, 1)]
    (a, b), (c, d) = summed
    assert found.details["raw_ratio"] == pytest.approx(a * d / (b * c))
    assert found.details["raw_p"] == pytest.approx(stats.fisher_exact(summed).pvalue)


def test_lung_cancer_and_smoking() -> None:
    found = hunch.season_difference(
        from_tables([(688, 21, 650, 59)]), "drug", names=("cases", "controls")
    )
    assert found.effect == pytest.approx(2.97, abs=0.005)  # published
    assert found.details["raw_ratio"] == pytest.approx(found.effect)


def test_leaving_out_weeks_is_leaving_out_weeks() -> None:
    made = two_seasons(np.random.default_rng(3), season_log_odds=0.4)
    winter = made.truth["winter"].to_numpy()
    found = hunch.season_difference(made.table, winter)
    frame = made.table.assign(
        group=np.where(winter, 0, 1), hour=np.floor(made.table["middle_min"] / 30)
    )
    both = frame.groupby("hour")["group"].nunique()
    frame = frame[frame["hour"].isin(both[both == 2].index)]

    def log_ratio(part: pd.DataFrame) -> float:
        above = below = 0.0
        for _, one in part.groupby("hour"):
            n = [
                [int(((one["group"] == g) & (one["heard"] == h)).sum()) for h in (1.0, 0.0)]
                for g in (0, 1)
            ]
            above += n[0][0] * n[1][1] / len(one)
            below += n[0][1] * n[1][0] / len(one)
        return math.log(above / below)

    weeks = frame["week"].unique()
    without = np.array([log_ratio(frame[frame["week"] != week]) for week in weeks])
    error = math.sqrt((weeks.size - 1) / weeks.size * ((without - without.mean()) ** 2).sum())
    half = stats.t(weeks.size - 2).ppf(0.975) * error
    value = log_ratio(frame)
    expected = [value, value - half, value + half]
    np.testing.assert_allclose(np.log([found.effect, found.low, found.high]), expected, atol=1e-9)
    assert found.p_value == pytest.approx(2 * stats.t(weeks.size - 2).sf(abs(value) / error))


def test_independent_checks_give_nearly_the_textbook_interval() -> None:
    # Robins, Breslow, Greenland as in statsmodels; nothing is shared within a week here
    ratios = []
    for seed in range(20):
        made = two_seasons(np.random.default_rng(seed), evenings=120)
        found = hunch.season_difference(made.table, made.truth["winter"].to_numpy())
        strata = found.details["strata"].query("shared")
        tables = [
            [[w, wn - w], [s, sn - s]]
            for w, wn, s, sn in strata[
                ["winter_heard", "winter_checks", "summer_heard", "summer_checks"]
            ].to_numpy()
        ]
        low, high = np.log(
            StratifiedTable([np.array(t, float) for t in tables]).oddsratio_pooled_confint()
        )
        ratios.append(np.log(found.high / found.low) / (high - low))
    assert 0.9 < np.mean(ratios) < 1.2


def test_jackknife_of_a_mean_is_students_interval() -> None:
    values = np.random.default_rng(0).normal(0.3, 1.0, 14)
    without = (values.sum() - values) / 13
    _, low, high, p = _ground.t_interval(values.mean(), without)
    test = stats.ttest_1samp(values, 0.0)
    np.testing.assert_allclose([low, high], test.confidence_interval(0.95), rtol=1e-12)
    assert p == pytest.approx(test.pvalue)


def pairs_table(both: int, only_a: int, only_b: int, neither: int) -> pd.DataFrame:
    rows = []
    kinds = [(1, 1)] * both + [(1, 0)] * only_a + [(0, 1)] * only_b + [(0, 0)] * neither
    for number, (a, b) in enumerate(kinds):
        day, slot = number % 40, number // 40
        checks = [("wire", a), ("loop", b)]
        for place, (setup, heard) in enumerate(checks if slot % 2 else checks[::-1]):
            minute = 60 * slot + 5 * place
            rows.append({"day": day, "minute": minute, "heard": heard, "setup_id": setup})
    return as_table(rows)


def test_approval_of_the_prime_minister() -> None:
    # 1600 asked twice: 794 approved both times, 150 the first only, 86 the second only
    found = hunch.antenna_change(pairs_table(794, 150, 86, 570), "wire", "loop")
    assert found.effect == pytest.approx(100 * (880 - 944) / 1600)  # published: 0.59 and 0.55
    assert (found.details["only_a"], found.details["only_b"]) == (150, 86)
    assert (found.details["both"], found.details["neither"]) == (794, 570)
    exact = mcnemar([[794, 150], [86, 570]], exact=True)
    assert found.p_value == pytest.approx(exact.pvalue)
    assert stats.norm.isf(found.p_value / 2) == pytest.approx(4.17, abs=0.1)  # published z
    assert found.word == "AGAINST"
    # published interval: -0.06 to -0.02; here from evenings, over which answers were dealt evenly
    assert -6.5 < found.low < found.effect < found.high < -1.5


def referee_loglik(psi: float, p: float, units: list[tuple[int, int]]) -> float:
    total = 0.0
    for checks, heard in units:
        one = psi * p**heard * (1 - p) ** (checks - heard) + (0 if heard else 1 - psi)
        total += math.log(max(one, 1e-300))
    return total


@pytest.mark.parametrize("seed", range(6))
def test_occupancy_by_another_climber(seed: int) -> None:
    rng = np.random.default_rng(seed)
    checks = rng.integers(1, 6, 70)
    heard = rng.binomial(checks, np.where(rng.random(70) < 0.55, 0.45, 0.0))
    units = list(zip(checks.tolist(), heard.tolist(), strict=True))
    cells, many = np.unique(np.array(units), axis=0, return_counts=True)
    fit = ears._occupancy(np.column_stack([cells, many]).astype(float))

    def cost(x: Any) -> float:
        return -referee_loglik(x[0], x[1], units)

    box = [(1e-6, 1 - 1e-6)] * 2
    best = min(
        (optimize.minimize(cost, s, bounds=box) for s in ([0.5, 0.5], [0.8, 0.3])),
        key=lambda r: float(r.fun),
    )
    assert fit.value == pytest.approx(-best.fun, abs=1e-4)
    np.testing.assert_allclose([fit.psi, fit.p], best.x, atol=2e-3)
    floor = -best.fun - stats.chi2.ppf(0.95, 1) / 2

    def over_p(psi: float) -> float:
        inner = optimize.minimize_scalar(
            lambda p: -referee_loglik(psi, p, units), bounds=(1e-9, 1 - 1e-9), method="bounded"
        )
        return float(-inner.fun - floor)

    assert fit.psi_low == pytest.approx(optimize.brentq(over_p, 1e-3, fit.psi), abs=1e-3)
    if over_p(1 - 1e-9) < 0:
        high = optimize.brentq(over_p, fit.psi, 1 - 1e-9)
        assert fit.psi_high == pytest.approx(high, abs=1e-3)
    else:
        assert fit.psi_high == 1.0


def test_occupancy_solves_its_two_equations() -> None:
    # with k checks an evening (common algebra, no source): heard per evening with a hearing is
    # k p / (1 - (1 - p)^k), and psi is the plain share over 1 - (1 - p)^k
    tally = np.array([[3, 0, 28], [3, 1, 12], [3, 2, 13], [3, 3, 7]], dtype=float)
    fit = ears._occupancy(tally)
    per_evening = (12 + 26 + 21) / 32
    p = optimize.brentq(lambda q: 3 * q / (1 - (1 - q) ** 3) - per_evening, 1e-3, 1 - 1e-3)
    assert fit.p == pytest.approx(p, abs=1e-5)
    assert fit.psi == pytest.approx(32 / 60 / (1 - (1 - p) ** 3), abs=1e-5)


def test_shifts_in_a_circle_by_plain_counting() -> None:
    made = season(
        np.random.default_rng(5),
        bands=["31 m"],
        evenings=80,
        pattern="window",
        open_share=0.5,
        noticing=0.8,
        kp="27-day recurrent",
    )
    of_night = made.truth.set_index("evening")["kp"]
    found = hunch.disturbed_nights(made.table, of_night, min_nights=5)
    shares = made.table.groupby("evening")["heard"].mean()
    loud = [float(of_night[day]) >= 4.0 for day in shares.index]
    value = shares.tolist()

    def gap(flags: list[bool]) -> float:
        yes = [v for v, f in zip(value, flags, strict=True) if f]
        no = [v for v, f in zip(value, flags, strict=True) if not f]
        return sum(yes) / len(yes) - sum(no) / len(no)

    effect = gap(loud)
    by_luck = [gap(loud[-k:] + loud[:-k]) for k in range(8, 80 - 8 + 1)]
    more = sum(abs(g) >= abs(effect) - 1e-12 for g in by_luck)
    assert found.effect == pytest.approx(100 * effect)
    assert found.p_value == pytest.approx((1 + more) / (1 + len(by_luck)))
    assert found.details["shifts"] == len(by_luck) == 65
    cells = [
        [int(made.table["heard"][flags].eq(h).sum()) for h in (1.0, 0.0)]
        for flags in (
            made.table["evening"].map(of_night) >= 4.0,
            made.table["evening"].map(of_night) < 4.0,
        )
    ]
    assert found.details["fisher_p"] == pytest.approx(stats.fisher_exact(cells).pvalue)


def test_stretches_are_of_the_length_they_should_be() -> None:
    drawn = nights._stretches(np.random.default_rng(1), 200, 400, 9.0)
    breaks = (np.diff(drawn, axis=1) % 200 != 1).mean()
    # a new stretch begins with chance 1/9, and joins the old one by chance in 1 of 200
    assert breaks == pytest.approx(199 / 200 / 9, rel=0.03)
    counts = np.bincount(drawn.ravel(), minlength=200)
    assert counts.mean() == 400
    assert counts.std() < 80  # every night as likely: sd about 20 * sqrt(17), stretches overlap


def test_kp_is_the_largest_of_the_hours_listened_to() -> None:
    indices = fh.load_indices()
    # night of 2024-05-10: Kp by GFZ, 3 hours each; evenings begin at local noon
    rows = [
        {"day": 0, "minute": 0, "heard": 1},
        {"day": 0, "minute": 400, "heard": 0},
        {"day": 1, "minute": 0, "heard": 0},
    ]
    table = as_table(rows)
    begin = pd.to_datetime(["2024-05-10T16:58Z", "2024-05-11T01:30Z", "2024-05-11T23:50Z"])
    table["start_utc"] = begin
    table["end_utc"] = begin + pd.to_timedelta([2, 4, 20], unit="min")
    days, which = np.unique(table["evening"].to_numpy("datetime64[s]"), return_inverse=True)
    found = nights.kp_of_evenings(table, days, which, indices)
    asked = indices.kp_at(
        ["2024-05-10T16:00Z", "2024-05-11T01:30Z", "2024-05-11T22:00Z", "2024-05-12T00:01Z"]
    )
    assert asked[1] == 9.0
    np.testing.assert_array_equal(found, [9.0, max(asked[2], asked[3])])
    # a check that ends as the next three hours begin has nothing of them
    quiet, loud = indices.kp_at(["2024-05-10T14:00Z", "2024-05-10T15:00Z"])
    assert quiet < loud
    for end, kp in (("2024-05-10T15:00Z", quiet), ("2024-05-10T15:01Z", loud)):
        one = table[:1].assign(
            start_utc=pd.Timestamp("2024-05-10T14:50Z"), end_utc=pd.Timestamp(end)
        )
        got = nights.kp_of_evenings(one, days[:1], np.array([0]), indices)
        assert got.tolist() == [kp]


def test_slopes_are_those_of_least_squares_with_dummies() -> None:
    made = season(
        np.random.default_rng(2),
        bands=["31 m", "41 m"],
        evenings=130,
        first="2024-10-01",
        open_share=0.6,
        noticing=0.7,
    )
    table = made.table
    indices = fh.load_indices()
    found = hunch.solar_conditions(table, indices, draws=20)
    days, which = np.unique(table["evening"].to_numpy("datetime64[s]"), return_inverse=True)
    kp = nights.kp_of_evenings(table, days, which, indices)[which]
    flux = np.array(
        [indices.f107_sfu(t.isoformat(), "27day").f107_sfu for t in table["start_utc"].iloc[::1]]
    )
    hour = table["middle_min"].to_numpy() / 60
    stratum = table["freq_khz"].astype(str) + np.floor(2 * hour).astype(str)
    week = table["week"].to_numpy()

    def fit(keep: np.ndarray) -> list[float]:
        heard = table["heard"].to_numpy()[keep]
        first = np.column_stack([flux / 20, kp, pd.get_dummies(stratum).to_numpy(float)])[keep]
        first = first[:, (first != 0).any(axis=0)]
        dummies = pd.get_dummies(table["freq_khz"]).to_numpy(float)
        second = np.column_stack([hour, flux / 20, kp, dummies])[keep]
        return [*OLS(heard, first).fit().params[:2], OLS(heard, second).fit().params[0]]

    whole = fit(np.ones(len(table), bool))
    np.testing.assert_allclose(found.frame["effect"], 100 * np.array(whole), rtol=1e-6)
    left = np.array([fit(week != one)[1] for one in np.unique(week)])
    _, low, high, p = _ground.t_interval(whole[1], left)
    row = found.frame.set_index("name").loc["Kp"]
    np.testing.assert_allclose(
        [row["low"], row["high"], row["p"]], [100 * low, 100 * high, p], rtol=1e-6
    )
    # the flux by four weeks together
    spans = (week - week.min()) // 4
    left = np.array([fit(spans != one)[0] for one in np.unique(spans)])
    _, low, high, p = _ground.t_interval(whole[0], left)
    row = found.frame.set_index("name").loc["F10.7"]
    np.testing.assert_allclose(
        [row["low"], row["high"], row["p"]], [100 * low, 100 * high, p], rtol=1e-6
    )
    assert row["blocks"] == left.size == 5
    # bins hold each check once
    for _, bins in found.bins.groupby("name"):
        assert bins["checks"].sum() == len(table)
        assert (bins["rate"] * bins["checks"]).sum() == pytest.approx(table["heard"].sum())
        edges = list(itertools.pairwise(bins[["from_value", "to_value"]].to_numpy().tolist()))
        assert all(one[1] < two[0] for one, two in edges)

"""Invented logs: is what was planted really in them?

Compared with the planted figures within sampling error (scipy, statsmodels), and with the shares of
deciding evenings and of plain hearings that were measured for this project beforehand.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import farhear as fh
from farhear import evenings, simulate
from farhear.log import read_log, write_log
from farhear.simulate import from_likelihood, kp_series, season, two_seasons
from farhear.station import Station

BANDS = ["31 m", "49 m"]


def rng(seed: int) -> np.random.Generator:
    return np.random.default_rng(seed)


def is_usual(heard: int, of: int, share: float) -> bool:
    """Whether a count is within what one draw in ten thousand still gives."""
    return bool(stats.binomtest(heard, of, share).pvalue > 1e-4)


def logit_fit(y: Any, *columns: Any) -> tuple[np.ndarray, np.ndarray]:
    """Coefficients (constant first) and standard errors, by statsmodels."""
    from statsmodels.api import Logit

    found = Logit(np.asarray(y, float), np.column_stack([np.ones(len(y)), *columns])).fit(disp=0)
    return np.asarray(found.params), np.asarray(found.bse)


def test_the_same_seed_gives_the_same_bytes(tmp_path: Path) -> None:
    data = []
    for number, seed in enumerate([7, 7, 8]):
        made = season(
            rng(seed),
            bands=BANDS,
            evenings=8,
            kp="27-day recurrent",
            kp_effect_log_odds=-1.0,
            open_share=0.7,
            noticing=0.6,
            blocked_share=0.1,
            interleaved_log_odds=0.5,
            gap_min=8.0,
            every_min=20.0,
        )
        write_log(made.frame, tmp_path / f"{number}.csv")
        truth = made.truth.to_csv(index=False).encode()
        data.append((tmp_path / f"{number}.csv").read_bytes() + truth)
    assert data[0] == data[1]
    assert data[0] != data[2]


def test_openings_have_the_planted_mean_spread_and_drift() -> None:
    count = 1500
    planted = {"31 m": 35.0, "49 m": 50.0}
    drift = {"31 m": 0.0, "49 m": 0.4}
    made = season(
        rng(1),
        bands=BANDS,
        evenings=count,
        opening_min=planted,
        drift_min_per_week=drift,
        evening_sd_min=25.0,
        band_sd_min=12.0,
        pattern="late",
    )
    opening = made.truth["opening_min"].to_numpy().reshape(count, 2)
    weeks = np.arange(count) / 7.0
    for column, band in enumerate(BANDS):
        fit = stats.linregress(weeks, opening[:, column])
        assert abs(fit.slope - drift[band]) < 4.0 * fit.stderr
        assert abs(fit.intercept - planted[band]) < 4.0 * fit.intercept_stderr
    # what a band has of its own: the spread of the difference is sqrt(2) * 12
    own = opening[:, 1] - opening[:, 0] - 0.4 * weeks
    assert own.std() == pytest.approx(np.sqrt(2.0) * 12.0, rel=4.0 / np.sqrt(2.0 * count))
    shared = np.cov(opening[:, 0], opening[:, 1] - 0.4 * weeks)[0, 1]
    assert shared == pytest.approx(25.0**2, rel=0.2)


@pytest.mark.parametrize(("pattern", "share"), [("steady", 49.0), ("late", 28.0), ("sparse", 23.0)])
def test_the_share_of_deciding_evenings_is_that_measured_before(pattern: str, share: float) -> None:
    decided = []
    for seed in range(30):
        table = season(rng(seed), bands=BANDS, pattern=pattern).table
        found = evenings.openings(table, BANDS)
        low, high = (found[name].to_numpy().reshape(-1, 2) for name in ("low_min", "high_min"))
        apart = (high[:, 0] <= low[:, 1]) | (high[:, 1] <= low[:, 0])
        decided.append(100.0 * apart.mean())
    assert np.mean(decided) == pytest.approx(share, abs=8.0)


def test_open_channels_are_noticed_as_often_as_planted_and_closed_ones_never() -> None:
    planted = {"31 m": 0.9, "49 m": 0.4}
    made = season(rng(2), bands=BANDS, noticing=planted, evenings=100, blocked_share=0.15)
    table = made.table
    opening = made.truth.set_index(["evening", "band"])["opening_min"]
    at = opening.loc[pd.MultiIndex.from_frame(table[["evening", "band"]])].to_numpy()
    is_open = (at <= table["end_min"]).to_numpy()
    assert is_usual(int((table["outcome"] == "blocked").sum()), len(table), 0.15)
    assert table["heard"].isna().equals(table["outcome"] == "blocked")
    for band, share in planted.items():
        usable = (table["band"] == band) & table["heard"].notna()
        assert table.loc[usable & ~is_open, "heard"].sum() == 0.0
        heard = table.loc[usable & is_open, "heard"]
        assert len(heard) > 300
        assert is_usual(int(heard.sum()), len(heard), share)


def test_deaf_ears_make_the_plain_share_what_was_measured_before() -> None:
    """Open 0.60, noticing 0.50, three checks: a plain share of 0.52."""
    plain = []
    for seed in range(40):
        made = season(
            rng(seed), bands=["31 m"], pattern="window", open_share=0.6, noticing=0.5, checks=3
        )
        assert len(made.table) == 180
        plain.append(made.table.groupby("evening")["heard"].max().mean())
        assert set(made.truth["opening_min"]) <= {-np.inf, np.inf}
    assert np.mean(plain) == pytest.approx(0.525, abs=4.0 * 0.5 / np.sqrt(40 * 60))


def test_orders_are_what_they_are_called() -> None:
    fixed = season(rng(3), bands=BANDS, order="fixed", evenings=10).table
    assert set(evenings.order_of(fixed, *BANDS)["first"]) == {"a"}
    swapped = season(rng(3), bands=BANDS, order="alternated", evenings=10).table
    assert evenings.order_of(swapped, *BANDS)["first"].tolist() == ["a", "b"] * 5
    three = season(rng(3), bands=[*BANDS, "25 m"], evenings=6).table
    first = three[three["position"] == 0]["band"].tolist()
    assert sorted(first[:3]) == ["25 m", "31 m", "49 m"]
    assert first[:3] == first[3:]


def test_patterns_are_what_they_are_called() -> None:
    steady = season(rng(4), bands=BANDS, evenings=50).table
    of_a = steady[steady["band"] == "31 m"].groupby("evening")["start_min"]
    assert (of_a.diff().dropna() - 15.0).abs().max() < 0.02  # whole seconds
    assert steady.groupby("evening")["start_min"].min().max() < -30.0
    late = season(rng(4), bands=BANDS, pattern="late", evenings=200).table
    begin = late.groupby("evening")["start_min"].min()
    assert stats.kstest(begin, stats.uniform(0.0, 60.0).cdf).pvalue > 1e-3
    sparse = season(rng(4), bands=BANDS, pattern="sparse", evenings=60).table
    counts = sparse.groupby(["band", "evening"]).size()
    ratio = counts["31 m"] / counts["49 m"]
    assert ratio.between(2.4, 4.0).all()
    gaps = sparse[sparse["band"] == "49 m"].groupby("evening")["start_min"].diff().dropna()
    assert set(gaps.round()) == {45.0, 60.0}


@pytest.mark.parametrize("effect", [0.0, -1.0])
def test_an_index_moves_the_odds_by_what_was_planted(effect: float) -> None:
    kp = kp_series(rng(20), 1800)
    made = season(
        rng(5),
        bands=["31 m"],
        evenings=1800,
        pattern="window",
        open_share=0.6,
        kp=kp,
        kp_effect_log_odds=effect,
        checks=1,
    )
    np.testing.assert_array_equal(made.truth["kp"], kp)
    np.testing.assert_array_equal(made.table["heard"], made.truth["opens"].astype(float))
    found, error = logit_fit(made.truth["opens"], (kp - kp.mean()) / kp.std())
    assert abs(found[1] - effect) < 4.0 * error[1]
    assert abs(found[0] - np.log(0.6 / 0.4)) < 4.0 * error[0]


def lagged(series: np.ndarray, nights: int) -> float:
    return float(np.corrcoef(series[:-nights], series[nights:])[0, 1])


def test_a_recurrent_index_comes_back_after_27_nights() -> None:
    recurrent = np.mean([lagged(kp_series(rng(seed), 400), 27) for seed in range(10)])
    assert recurrent == pytest.approx(2.0 / 3.0, abs=0.08)
    other = [kp_series(rng(seed), 400, recurrent=False) for seed in range(10)]
    assert abs(np.mean([lagged(kp, 27) for kp in other])) < 0.06
    assert np.mean([lagged(kp, 1) for kp in other]) == pytest.approx(0.5, abs=0.06)
    whole = np.concatenate(other) * 3.0
    np.testing.assert_allclose(whole, np.rint(whole), atol=1e-9)
    assert 0.05 < (whole >= 12.0).mean() < 0.25


def test_a_log_of_its_own_recurrence_knows_nothing_of_the_index() -> None:
    linked, again = [], []
    for seed in range(60):
        made = season(
            rng(seed),
            bands=["31 m"],
            evenings=180,
            pattern="window",
            checks=1,
            open_share=0.5,
            kp="27-day recurrent",
            recurrent_log_odds=2.0,
        )
        opens = made.truth["opens"].to_numpy(float)
        linked.append(np.corrcoef(opens, made.truth["kp"])[0, 1])
        again.append(lagged(opens, 27))
    assert abs(np.mean(linked)) < 4.0 * np.std(linked) / np.sqrt(60)
    assert np.mean(again) > 0.2


def test_another_antenna_from_a_date_on_and_in_turn() -> None:
    made = season(
        rng(6),
        bands=["31 m"],
        evenings=400,
        pattern="window",
        noticing=0.5,
        setup_change=("2026-03-01", 1.0),
    )
    table = made.table
    later = (table["evening"] >= "2026-03-01").to_numpy()
    assert set(table["setup_id"][later]) == {"loop"}
    assert set(table["setup_id"][~later]) == {"long wire"}
    found, error = logit_fit(table["heard"], later)
    assert abs(found[1] - 1.0) < 4.0 * error[1]
    turns = season(
        rng(6),
        bands=["31 m"],
        evenings=400,
        pattern="window",
        noticing=0.5,
        interleaved_log_odds=1.0,
    ).table
    pairs = turns["setup_id"].to_numpy().reshape(-1, 2)
    assert {tuple(pair) for pair in pairs} == {("long wire", "loop"), ("loop", "long wire")}
    assert is_usual(int((pairs[:, 0] == "loop").sum()), len(pairs), 0.5)
    found, error = logit_fit(turns["heard"], turns["setup_id"] == "loop")
    assert abs(found[1] - 1.0) < 4.0 * error[1]
    gaps = turns["start_utc"].diff().dt.total_seconds().to_numpy()[1::2]
    assert set(gaps) == {240.0}


@pytest.mark.parametrize("pattern", simulate.PATTERNS)
def test_the_short_way_to_the_table_gives_what_the_log_gives(tmp_path: Path, pattern: str) -> None:
    made = season(
        rng(9),
        bands=[*BANDS, "60 m"],
        pattern=pattern,
        evenings=12,
        first="2025-10-20",  # clocks go back on the 26th
        noticing=0.7,
        setup_change=("2025-10-25", 0.5),
        blocked_share=0.1,
    )
    pd.testing.assert_frame_equal(evenings.table(made.frame, made.station), made.table)
    write_log(made.frame, tmp_path / "log.csv")
    log = read_log(tmp_path / "log.csv")
    assert log.rows_rejected == 0
    assert not len(log.warnings)
    again = evenings.table(log, made.station)
    pd.testing.assert_frame_equal(again.drop(columns="row"), made.table.drop(columns="row"))
    by_hand = season(
        rng(9),
        bands=BANDS,
        night=evenings.nights(
            np.arange("2025-11-01", "2025-12-31", dtype="datetime64[D]"), simulate.HOME
        ),
    )
    pd.testing.assert_frame_equal(by_hand.table, season(rng(9), bands=BANDS).table)


def test_two_seasons_at_convenient_hours() -> None:
    made = two_seasons(rng(10), evenings=300, summer="2024-12-01", winter="2026-01-01")
    pd.testing.assert_frame_equal(evenings.table(made.frame, made.station), made.table)
    planted = two_seasons(rng(12), evenings=150, season_log_odds=0.7, setup_change="2026-02-01")
    table, truth = planted.table, planted.truth
    pd.testing.assert_frame_equal(evenings.table(planted.frame, planted.station), table)
    np.testing.assert_allclose(table["start_min"], truth["hour"] * 60.0, atol=0.01)
    found, error = logit_fit(table["heard"], table["start_min"] / 60.0, truth["winter"])
    for at, value in enumerate([-0.4, 0.8, 0.7]):
        assert abs(found[at] - value) < 4.0 * error[at]
    mean = truth.groupby("winter")["hour"].mean()
    assert mean[True] == pytest.approx(1.5, abs=0.15)
    assert mean[False] == pytest.approx(-0.5, abs=0.15)
    assert set(table["setup_id"]) == {"long wire", "loop"}


def test_checks_come_out_as_the_likelihood_says() -> None:
    p = rng(13).beta(1.5, 1.5, 6000).clip(0.01, 0.99)
    made = from_likelihood(rng(14), p)
    z = (made.truth["heard"].sum() - p.sum()) / np.sqrt((p * (1.0 - p)).sum())
    assert abs(z) < 4.0
    found, error = logit_fit(made.truth["heard"], np.log(p / (1.0 - p)))
    assert abs(found[0]) < 4.0 * error[0]
    assert abs(found[1] - 1.0) < 4.0 * error[1]
    np.testing.assert_array_equal(made.table["heard"], made.truth["heard"])
    pd.testing.assert_frame_equal(evenings.table(made.frame, made.station), made.table)
    assert (made.truth["stamped_utc"] < made.truth["start_utc"]).all()
    late = from_likelihood(rng(14), p[:8], stamped_h=-1.0).truth
    assert (late["stamped_utc"] > late["end_utc"]).all()


def test_seventy_percent_that_mean_fifty() -> None:
    made = from_likelihood(rng(15), np.full(4000, 0.7), shift_log_odds=-np.log(0.7 / 0.3))
    np.testing.assert_allclose(made.truth["chance"], 0.5)
    assert is_usual(int(made.truth["heard"].sum()), 4000, 0.5)
    assert set(made.truth["likelihood"]) == {0.7}
    flat = from_likelihood(rng(15), [0.2, 0.9], slope=0.0).truth["chance"]
    np.testing.assert_allclose(flat, 0.5)


@pytest.mark.parametrize("dependence", [0.0, 0.5])
def test_outcomes_depend_on_the_one_before_as_planted(dependence: float) -> None:
    made = from_likelihood(rng(16), np.full(8000, 0.4), dependence=dependence)
    heard = made.truth["heard"].to_numpy()
    assert lagged(heard, 1) == pytest.approx(dependence, abs=0.05)
    assert lagged(heard, 2) == pytest.approx(dependence**2, abs=0.05)
    assert heard.mean() == pytest.approx(0.4, abs=0.04)


def test_a_frame_of_predictions_keeps_its_times_channels_and_names() -> None:
    start = pd.date_range("2025-12-01T15:00Z", periods=30, freq="37min")
    asked = pd.DataFrame(
        {
            "start_utc": start,
            "freq_khz": np.where(np.arange(30) % 2, 6070.0, 9500.0),
            "likelihood": np.linspace(0.05, 0.95, 30),
            "identity": np.where(np.arange(30) % 3, "Radio Belmorant", "Noverrin External"),
        }
    )
    made = from_likelihood(rng(17), asked)
    assert (made.frame["start_utc"] == start).all()
    for name in ("freq_khz", "identity"):
        assert made.table[name].tolist() == asked[name].tolist()
    with pytest.raises(fh.InputError, match=r"likelihood\[1\]: start_utc is missing or before"):
        from_likelihood(rng(17), asked.iloc[::-1])


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"bands": "31 m"}, "is not a list of band names"),
        ({"bands": ["33 m"]}, "is not a broadcast band"),
        ({"bands": ["31 m", "31 m"]}, "bands has a name twice"),
        ({"evenings": 0}, r"evenings = 0 is outside \[1, 2000\]"),
        ({"evenings": 2.5}, "evenings = 2.5 is not a whole number"),
        ({"first": "1 Nov"}, "first = '1 Nov' is not a date"),
        ({"pattern": "steddy"}, "pattern = 'steddy' is none of 'steady'"),
        ({"order": "random"}, "order = 'random' is none of"),
        ({"noticing": 0.0}, r"noticing\[0\] = 0 is outside"),
        ({"noticing": float("nan")}, r"noticing is missing"),
        ({"opening_min": {"31 m": 30.0}}, "opening_min has no '49 m'"),
        ({"open_share": {"31 m": 1.0, "49 m": 1.0, "25 m": 1.0}}, "names '25 m', not in bands"),
        ({"gap_min": 3.0}, "gap_min = 3 is shorter than a check of 4 min"),
        ({"every_min": 8.0}, "every_min = 8 is too short: a round of 2 bands takes 9 min"),
        ({"kp_effect_log_odds": 1.0, "open_share": 0.5}, "kp_effect_log_odds is given without kp"),
        ({"kp": "27-day recurrent", "kp_effect_log_odds": 1.0}, "open_share = 1 has no odds"),
        ({"kp": np.full(60, 3.0)}, "the same on all"),
        ({"kp": [1.0, 2.0]}, r"kp has the shape \(2,\), not \(60,\)"),
        ({"setup_change": ("2025-11-20", 1.0)}, "noticing = 1 has no odds"),
        (
            {"noticing": 0.5, "setup_change": ("2025-11-20", 1.0), "interleaved_log_odds": 1.0,
             "gap_min": 8.0, "every_min": 20.0},
            "setup_change and interleaved_log_odds are both given",
        ),
        ({"opening_min": -300.0}, "evening 2025-11-01: a check at .* is before noon"),
        ({"identity": {"25 m": "Radio Belmorant"}}, "identity names '25 m', not in bands"),
        (
            {"station": Station(name="N", lat_deg=70.0, lon_deg=26.0, time_zone="Europe/Oslo"),
             "first": "2025-12-20"},
            "evening 2025-12-20: the sun does not set",
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(change: dict[str, Any], text: str) -> None:
    arguments: dict[str, Any] = {"bands": BANDS} | change
    with pytest.raises(fh.InputError, match=text):
        season(rng(0), **arguments)


def test_what_cannot_be_is_refused_elsewhere() -> None:
    with pytest.raises(fh.InputError, match=r"likelihood\[1\] = 1 is outside \(0, 1\)"):
        from_likelihood(rng(0), [0.5, 1.0])
    with pytest.raises(fh.InputError, match="dependence = 1 is outside"):
        from_likelihood(rng(0), [0.5], dependence=1.0)
    with pytest.raises(fh.InputError, match="the spans of winter and summer overlap"):
        two_seasons(rng(0), winter="2026-05-01")
    with pytest.raises(fh.InputError, match=r"summer_hours\[1\] = -1 is outside"):
        two_seasons(rng(0), summer_hours=(0.0, -1.0))

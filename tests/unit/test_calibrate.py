"""What a log teaches about the likelihood, and whether what was said came true.

Compared with planted truth (outcomes drawn from `farhear.reception.likelihood` under known
parameters, or from the predictions themselves) and with counts made here by hand. Every place and
outcome is invented; the schedule is the demo's. FARHEAR_SLOW=1 runs the simulations in full number:

    FARHEAR_SLOW=1 python -m pytest tests/unit/test_calibrate.py -k "scenario or planted" -s
"""

import dataclasses
import doctest
import os
from collections import Counter
from functools import lru_cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit, logit, ndtr

from farhear import calibrate as cal
from farhear import noise, reception, scoring
from farhear import reliability as rel
from farhear.errors import InputError
from farhear.hunch import match, matches_log
from farhear.schedule import read_schedule
from farhear.skywave import Physics
from farhear.times import UtcTimes
from farhear.verdicts import WORDS

pytestmark = pytest.mark.filterwarnings("ignore:numpy.ndarray size changed:RuntimeWarning")

SLOW = os.environ.get("FARHEAR_SLOW") == "1"
DEMO = Path(__file__).resolve().parents[2] / "data" / "demo"
FLUX = 150.0
ENDS = ("tx_lat_deg", "tx_lon_deg", "rx_lat_deg", "rx_lon_deg")
AS_IT_IS = (0.0, 0.0, 1.0, 0.0)


def test_examples():
    assert doctest.testmod(cal).failed == 0


# Logs with a known truth ------------------------------------------------------------------------


@lru_cache
def listed() -> pd.DataFrame:
    frame = read_schedule(DEMO / "schedule_b24.csv", days="iso").frame
    return frame[frame["modulation"] != "DIGITAL"].reset_index(drop=True)


def looks(seed: int, count: int, days: int) -> pd.DataFrame:
    """Checks of the demo schedule's channels at any minute, without an outcome yet."""
    rng = np.random.default_rng(seed)
    some = listed().iloc[rng.integers(0, len(listed()), count)]
    minute = np.sort(rng.integers(0, days * 1440, count))
    start = pd.Timestamp("2024-11-04T00:00Z") + pd.to_timedelta(minute, unit="min")
    return pd.DataFrame(
        {
            "utc": start.strftime("%Y-%m-%dT%H:%MZ"),
            "tx_lat_deg": some["tx_lat_deg"].to_numpy(),
            "tx_lon_deg": some["tx_lon_deg"].to_numpy(),
            "rx_lat_deg": 58.4,
            "rx_lon_deg": 26.7,
            "freq_khz": some["freq_khz"].to_numpy(),
            "power_kw": some["power_kw"].to_numpy(),
            "tx_gain_dbi": 10.0,
        }
    )


def true_likelihood(table: pd.DataFrame, theta, *, surroundings="residential") -> np.ndarray:
    """Straight from the engine, with arguments put together here and not by calibrate."""
    bias_db, noise_db, absorption, flux_sfu = theta
    ambient, atmospheric = surroundings, "proxy"
    if "noise_fa_db" in table:
        ambient = table["noise_fa_db"].to_numpy() + noise_db
    elif noise_db:
        raise AssertionError("named surroundings cannot be moved exactly")
    found = reception.likelihood(
        *(table[name].to_numpy() for name in (*ENDS, "freq_khz")),
        table["utc"].tolist(),
        power_kw=table["power_kw"].to_numpy(),
        tx_gain_dbi=table["tx_gain_dbi"].to_numpy() + bias_db,
        f107_sfu=FLUX + flux_sfu,
        noise=ambient,
        atmospheric=atmospheric,
        physics=Physics(absorption_scale=Physics().absorption_scale * absorption),
    )
    return found["likelihood"].to_numpy()


def as_checks(folder: Path, table: pd.DataFrame, heard) -> scoring.Checks:
    path = folder / "checks.csv"
    table.assign(heard=np.asarray(heard).astype(int)).to_csv(path, index=False)
    return scoring.read_checks(path)


def planted(folder: Path, seed: int, theta, count: int = 400, days: int = 56) -> scoring.Checks:
    table = looks(seed, count, days)
    p = true_likelihood(table, theta)
    return as_checks(folder, table, np.random.default_rng([seed, 1]).random(count) < p)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("logs")


@pytest.fixture(scope="module")
def weak(folder):
    """A log of a home whose signals are 8 dB weaker than thought, and its fit."""
    checks = planted(folder, 5, (-8.0, 0.0, 1.0, 0.0))
    return checks, cal.fit(checks, f107_sfu=FLUX, hold=["noise_db"], n=100)


# The grid stands for the engine -----------------------------------------------------------------


@pytest.mark.parametrize("named", [True, False])
def test_the_grid_gives_the_likelihood_of_the_engine(folder, named):
    table = looks(3, 150, 100)
    if not named:
        table["noise_fa_db"] = np.linspace(20.0, 60.0, 150)
    checks = as_checks(folder, table, np.zeros(150))
    flux = scoring.flux_of_checks(checks, FLUX, "27day", None)
    nodes = cal._AS_IT_IS if named else cal._NOISE_DB
    grid = cal._grid(checks, np.arange(150), flux, None, nodes, None)
    rng = np.random.default_rng(8)
    for _ in range(6):
        u = rng.uniform(-2.0, 2.0, 4)
        theta = np.array([5.0 * u[0], 0.0 if named else 6.0 * u[1], 1.0 + 0.3 * u[2], 14.0 * u[3]])
        gap = np.abs(grid.likelihood(theta) - true_likelihood(table, theta))
        assert gap.mean() < 0.004
        assert gap.max() < 0.1
        slope = grid.at(theta)[1]
        for k in range(4):
            step = np.eye(4)[k] * 1e-4
            by_steps = (grid.at(theta + step)[0] - grid.at(theta - step)[0]) / 2e-4
            np.testing.assert_allclose(slope[:, k], by_steps, atol=1e-5)


def test_the_grid_serves_any_required_snr(folder):
    for snr_db in (-12.0, 6.0, 34.0):
        table = looks(4, 80, 100)
        path = folder / "asked.csv"
        table.assign(heard=0).to_csv(path, index=False)
        checks = scoring.read_checks(path, required_snr_db=snr_db, bandwidth_hz=500.0)
        flux = scoring.flux_of_checks(checks, FLUX, "27day", None)
        grid = cal._grid(checks, np.arange(80), flux, None, cal._AS_IT_IS, None)
        for bias_db in (-12.0, 0.0, 7.5):
            direct = reception.likelihood(
                *(table[name].to_numpy() for name in (*ENDS, "freq_khz")),
                table["utc"].tolist(),
                power_kw=table["power_kw"].to_numpy(),
                tx_gain_dbi=10.0 + bias_db,
                f107_sfu=FLUX,
                bandwidth_hz=500.0,
                required_snr_db=snr_db,
            )["likelihood"].to_numpy()
            gap = np.abs(grid.likelihood(np.array([bias_db, 0.0, 1.0, 0.0])) - direct)
            assert gap.mean() < 0.006, (snr_db, bias_db)


def test_the_grid_knows_antennas_and_doubtful_fluxes(folder):
    table = looks(6, 40, 100)
    pattern = np.linspace(0.0, -12.0, 46) * np.linspace(0.0, 2.0, 40)[:, None]
    checks = as_checks(folder, table, np.zeros(40))
    checks = dataclasses.replace(checks, pattern_dbi=pattern)
    checks.frame["tx_gain_sd_db"] = 4.0
    flux = scoring.CheckFlux(np.full(40, 120.0), np.full(40, 20.0), "invented")
    grid = cal._grid(checks, np.arange(40), flux, None, cal._AS_IT_IS, None)
    direct = reception.likelihood(
        *(table[name].to_numpy() for name in (*ENDS, "freq_khz")),
        table["utc"].tolist(),
        power_kw=table["power_kw"].to_numpy(),
        tx_gain_dbi=6.0,
        tx_gain_sd_db=4.0,
        tx_pattern_dbi=pattern,
        f107_sfu=125.0,
        f107_sd_sfu=20.0,
    )["likelihood"].to_numpy()
    np.testing.assert_allclose(
        grid.likelihood(np.array([-4.0, 0.0, 1.0, 5.0])), direct, rtol=0.0, atol=0.04
    )


def test_weeks_begin_on_monday_in_utc():
    stamps = pd.date_range("2023-12-20T05:00Z", periods=40, freq="31h")
    monday = stamps.tz_localize(None).to_period("W-SUN").start_time.strftime("%Y-%m-%d")
    assert cal.week_of(stamps).tolist() == monday.tolist()
    with pytest.raises(InputError, match="is missing"):
        cal.week_of(UtcTimes(np.array([np.nan])))


# Fits -------------------------------------------------------------------------------------------


def test_planted_parameters_are_found_within_two_deviations(folder):
    """Truths drawn from the priors; so about 95 of 100 lie within two standard deviations."""
    seeds, count = (30, 1000) if SLOW else (4, 300)
    rng = np.random.default_rng(77)
    away = []
    for seed in range(seeds):
        truth = np.array([0.0, 0.0, 1.0, 0.0]) + rng.standard_normal(4) * (5.0, 0.0, 0.3, 13.0)
        truth[2] = max(truth[2], 0.15)
        checks = planted(folder, 100 + seed, truth, count, 112)
        found = cal.fit(checks, f107_sfu=FLUX, hold=["noise_db"], n=20)
        away.append(
            [
                (getattr(found, name) - truth[k]) / found.sd[name]
                for k, name in enumerate(cal.PARAMETERS)
                if name != "noise_db"
            ]
        )
    inside = np.abs(away) <= 2.0
    print(
        f"\nwithin 2 sd: {inside.mean(axis=0)} of {seeds}; rms {np.square(away).mean() ** 0.5:.2f}"
    )
    assert inside.mean() >= (0.9 if SLOW else 0.75)
    assert (inside.mean(axis=0) > 0.5).all()


def test_planted_bias_is_recommended_and_helps_by_what_it_should(weak):
    checks, found = weak
    assert found.recommended
    assert found.held == ("noise_db",)
    assert found.noise_db == 0.0 == found.sd["noise_db"]
    assert abs(found.bias_db + 8.0) < 2.0 * found.sd["bias_db"]
    assert "It helps in weeks that it has not seen" in found.text()
    assert found.checks_count == 400
    assert found.heard_count == int(checks.frame["heard"].sum())
    assert found.weeks_count == 8
    assert found.log_sha256 == checks.sha256
    # the gain of the truth itself, in Brier score, on the same checks
    table = checks.frame.drop(columns="noise_fa_db")
    heard = table["heard"].to_numpy()
    errors = [(true_likelihood(table, t) - heard) ** 2 for t in (AS_IT_IS, (-8.0, 0.0, 1.0, 0.0))]
    best = float((errors[0] - errors[1]).mean())
    row = found.validation.query("against == 'no fit' and score == 'Brier'").iloc[0]
    assert row["low"] < row["gain"] < row["high"]
    assert row["gain"] == pytest.approx(best, abs=0.012)


def test_planted_nothing_is_seldom_recommended(folder):
    seeds, count = (30, 600) if SLOW else (3, 200)
    adopted = []
    for seed in range(seeds):
        checks = planted(folder, 300 + seed, AS_IT_IS, count, 84)
        found = cal.fit(checks, f107_sfu=FLUX, hold=["noise_db"], n=200)
        adopted.append(found.recommended)
        assert found.recommended or "Do not use it yet" in found.sentence
    print(f"\nadopted without need: {sum(adopted)} of {seeds}")
    assert np.mean(adopted) <= 0.1


def test_a_named_noise_is_held_and_the_bias_stands_for_both(folder):
    checks = planted(folder, 21, (-6.0, 0.0, 1.0, 0.0), 200)
    found = cal.fit(checks, f107_sfu=FLUX, n=50)
    assert found.held == ("noise_db",)
    assert any("cannot tell a weaker field from a louder noise" in note for note in found.notes)
    assert np.isnan(found.correlation.loc["noise_db", "bias_db"])
    assert found.correlation.loc["bias_db", "bias_db"] == pytest.approx(1.0)
    assert found.bias_db == pytest.approx(-6.0, abs=2.0 * found.sd["bias_db"])
    # who says that the noise is known has only the prior of the bias, and is drawn more to 0
    known = cal.fit(checks, f107_sfu=FLUX, hold=["noise_db"], n=50)
    assert found.bias_db < known.bias_db < 0.0
    assert found.sd["bias_db"] > known.sd["bias_db"]


def test_a_noise_that_counts_only_at_times_is_told_from_a_bias(folder):
    """Half of the checks hear the galaxy only, the other half a town: both numbers are found."""
    table = looks(31, 400, 56)
    table["freq_khz"] = 15000.0 + table["freq_khz"] % 3000.0
    table["noise_fa_db"] = np.where(np.arange(400) % 2 == 0, -30.0, 45.0)
    truth = (-6.0, 8.0, 1.0, 0.0)
    heard = np.random.default_rng(32).random(400) < true_likelihood(table, truth)
    found = cal.fit(as_checks(folder, table, heard), f107_sfu=FLUX, n=50)
    assert found.held == ()
    assert found.sd["noise_db"] < 3.0
    assert found.noise_db == pytest.approx(8.0, abs=2.0 * found.sd["noise_db"])
    assert found.bias_db == pytest.approx(-6.0, abs=2.0 * found.sd["bias_db"])
    assert found.recommended


def test_each_week_is_predicted_by_the_others(folder, monkeypatch):
    """The outcomes of a week may not touch the predictions of that week."""
    seen = {}

    def caught(heard, learnt, others, week, n, seed):
        seen["learnt"], seen["week"] = learnt.copy(), week
        return original(heard, learnt, others, week, n, seed)

    original = cal._validated
    monkeypatch.setattr(cal, "_validated", caught)
    table = looks(41, 150, 42)
    heard = np.random.default_rng(42).random(150) < true_likelihood(table, AS_IT_IS)
    cal.fit(as_checks(folder, table, heard), f107_sfu=FLUX, hold=["noise_db"], n=20)
    before, week = seen["learnt"], seen["week"]
    own = week == week[0]
    flipped = np.where(own, ~heard, heard)
    cal.fit(as_checks(folder, table, flipped), f107_sfu=FLUX, hold=["noise_db"], n=20)
    np.testing.assert_allclose(seen["learnt"][own], before[own], atol=2e-3)
    assert np.abs(seen["learnt"][~own] - before[~own]).max() > 0.01


@pytest.mark.parametrize(
    ("count", "days", "outcome", "message"),
    [
        (119, 56, None, "CANNOT TELL YET.* 120 checks .* here are 119 in 8"),
        (200, 28, None, "CANNOT TELL YET.* 5 weeks; here are 200 in 4"),
        (200, 56, 1, "CANNOT TELL YET.* no check that was not heard"),
        (200, 56, 0, "CANNOT TELL YET.* no check that was heard"),
    ],
)
def test_too_little_is_refused(folder, count, days, outcome, message):
    heard = np.arange(count) % 2 if outcome is None else np.full(count, outcome)
    checks = as_checks(folder, looks(1, count, days), heard)
    with pytest.raises(InputError, match=message):
        cal.fit(checks, f107_sfu=FLUX)


def test_silent_checks_do_not_count(folder):
    table = looks(1, 130, 56).assign(heard=["heard", "not_heard"] * 65)
    table.loc[:10, "heard"] = "blocked"
    table.to_csv(folder / "blocked.csv", index=False)
    with pytest.raises(InputError, match="here are 119"):
        cal.fit(scoring.read_checks(folder / "blocked.csv"), f107_sfu=FLUX)


def test_what_is_held_has_to_be_known(folder):
    checks = as_checks(folder, looks(1, 130, 56), np.arange(130) % 2)
    with pytest.raises(InputError, match="hold names 'noise', unknown; did you mean"):
        cal.fit(checks, hold=["noise"])
    with pytest.raises(InputError, match="nothing is left to fit"):
        cal.fit(checks, hold=cal.PARAMETERS)


def test_a_surprise_does_not_make_less_known_than_before():
    """Far in the tail the likelihood of a slip bends the wrong way; the prior still holds."""
    nodes = (cal._BIAS_DB, *(np.zeros(1), np.ones(1), np.zeros(1)))
    z = ((cal._BIAS_DB - 30.0) / 9.0)[None, :, None, None, None]
    sd = np.array([5.0, 6.0, 0.3, 13.0])
    only = np.zeros(1, dtype=np.int64)
    found = cal._best(cal._Grid(nodes, z), np.ones(1), np.ones(1), sd, only, [np.zeros(1)])
    assert 0.0 < np.sqrt(found.covariance[0, 0]) <= 5.0 * (1.0 + 1e-9)
    assert found.theta[0] > 0.0


# What is done with a fit ------------------------------------------------------------------------


def made(theta, covariance=None, **more) -> cal.Fit:
    gain = {"against": ["no fit"] * 2, "score": ["log", "Brier"], "gain": 0.02, "low": 0.01}
    given = {
        **dict(zip(cal.PARAMETERS, map(float, theta), strict=True)),
        "covariance": np.zeros((4, 4)) if covariance is None else covariance,
        "held": (),
        "validation": pd.DataFrame({**gain, "high": 0.03}),
        "checks_count": 200,
        "heard_count": 80,
        "weeks_count": 9,
        "first_utc": "2024-11-04T00:00:00Z",
        "last_utc": "2025-01-04T00:00:00Z",
        "log_sha256": "0" * 64,
        "flux": 'as "given"',
        "notes": ("One.", "Two."),
    }
    return cal.Fit(**(given | more))


CIRCUIT = (50.6, 19.3, 58.4, 26.7, 6070.0, "2024-12-20T18:00Z")
HOW = {"power_kw": 1.0, "f107_sfu": FLUX}


def test_a_correction_moves_each_argument():
    def at(theta, **given):
        return cal.moved(np.array(theta), {"f107_sfu": FLUX} | given, 58.4, 26.7, *CIRCUIT[4:])

    out = at((-3.0, 0.0, 0.5, 20.0), tx_gain_dbi=2.0)
    assert out["tx_gain_dbi"] == -1.0
    assert out["f107_sfu"] == 170.0
    assert out["noise"] == "residential"
    assert out["physics"].absorption_scale == 0.5 * Physics().absorption_scale
    assert at((0, 0, 1, 300))["f107_sfu"] == 400.0
    assert at((0.0, 6.0, 1.0, 0.0), noise=40.0)["noise"] == 46.0
    moved = at((0.0, 6.0, 1.0, 0.0))
    expected = noise.man_made("residential", 6070.0).fa_db + 6.0
    assert float(moved["noise"]) == pytest.approx(float(expected))
    # the surroundings themselves, the way round that an offset needs
    there = made((0.0, 1e-12, 1.0, 0.0)).likelihood(*CIRCUIT, **HOW)
    plain = reception.likelihood(*CIRCUIT, **HOW)
    assert float(there["likelihood"]) == pytest.approx(float(plain["likelihood"]), abs=1e-9)


@pytest.mark.parametrize(
    ("low", "adopted", "named"),
    [
        ([0.01, 0.01], True, ""),
        ([-0.001, 0.01], False, "gain in the log score holds"),
        ([0.01, 0.0], False, "gain in the Brier score holds"),
        ([np.nan, -1.0], False, "the log score and the Brier score holds"),
    ],
)
def test_both_gains_have_to_be_sure(low, adopted, named):
    table = {"against": ["no fit"] * 2, "score": ["log", "Brier"], "gain": 0.02, "high": 0.03}
    found = made(AS_IT_IS, validation=pd.DataFrame({**table, "low": low}))
    assert found.recommended is adopted
    assert named in found.sentence


def test_a_fit_of_nothing_changes_nothing():
    given = made(AS_IT_IS).likelihood(*CIRCUIT, **HOW)
    assert given.equals(reception.likelihood(*CIRCUIT, **HOW))


def test_likelihood_is_averaged_over_the_doubt():
    doubt = np.diag([16.0, 0.0, 0.0, 0.0])
    known, unsure = made((-5, 0, 1, 0)), made((-5, 0, 1, 0), doubt)
    seen, mean = known.likelihood(*CIRCUIT, **HOW), unsure.likelihood(*CIRCUIT, **HOW)
    away = 4.0 * np.sqrt(3.0)  # by hand: Gauss and Hermite of three points
    ends = [
        float(reception.likelihood(*CIRCUIT, tx_gain_dbi=-5.0 + g, **HOW)["likelihood"])
        for g in (-away, away)
    ]
    by_hand = float(seen["likelihood"]) * 2.0 / 3.0 + sum(ends) / 6.0
    assert float(mean["likelihood"]) == pytest.approx(by_hand, abs=1e-12)
    assert float(mean["snr_db"]) == float(seen["snr_db"])
    # against many draws: the few points stand for the whole distribution
    gains = -5.0 + 4.0 * np.random.default_rng(1).standard_normal(4000)
    drawn = reception.likelihood(*CIRCUIT, tx_gain_dbi=gains, **HOW)["likelihood"].mean()
    assert float(mean["likelihood"]) == pytest.approx(float(drawn), abs=0.02)
    with pytest.raises(InputError, match="f107_sfu is missing"):
        known.likelihood(*CIRCUIT, power_kw=1.0)


def test_a_fit_is_written_and_read(tmp_path, weak):
    for number, one in enumerate((weak[1], made((1, 2, 1.5, -3), np.diag([1.0, 2.0, 0.1, 9.0])))):
        path = tmp_path / f"{number}.toml"
        one.write(path)
        again = cal.read_fit(path)
        assert again.text() == one.text()
        np.testing.assert_array_equal(again.covariance, one.covariance)
        pd.testing.assert_frame_equal(
            again.validation, one.validation.astype(again.validation.dtypes)
        )
        for name in {f.name for f in dataclasses.fields(cal.Fit)} - {"covariance", "validation"}:
            assert getattr(again, name) == getattr(one, name)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("form = ", "form = 3 #", "form = 3 is not 'farhear calibration 1'"),
        ("form = ", "form == ", "is not TOML"),
        ("bias_db = 1.0", "bias_db = 500.0", r"bias_db = 500 is outside \[-100, 100\]"),
        ("bias_db = 1.0", "bias_db = nan", "bias_db = nan is outside"),
        ("bias_db = 1.0", "", "key 'bias_db' is missing"),
        ("bias_db = 1.0", "bias_db = 1.0\nbias = 2", "unknown key 'bias'; did you mean"),
        ("[[1.0, 0.0", "[[-1.0, 0.0", "covariance has a negative variance"),
        ("[[1.0, 0.0, ", "[[1.0, ", "w1.toml: "),
        ("checks_count = 200", "checks_count = -1", "checks_count = -1 is not a count"),
        ("held = []", 'held = ["ears"]', "names what is not fitted"),
        ("recommended = true", "recommended = false", "does not follow from the validation"),
    ],
)
def test_files_that_are_no_fit(tmp_path, old, new, message):
    path = tmp_path / "w1.toml"
    made((1, 2, 1.5, -3), np.diag([1.0, 2.0, 0.1, 9.0])).write(path)
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))
    with pytest.raises(InputError, match=message):
        cal.read_fit(path)


# Reliability ------------------------------------------------------------------------------------


def predictions(
    seed: int, count: int = 240, *, shift: float = 0.0, dependence: float = 0.0
) -> pd.DataFrame:
    """One check a day; the true logit is that of the prediction plus `shift`.

    `dependence`: correlation from one check to the next of the normal variable behind the outcome.
    """
    rng = np.random.default_rng(seed)
    p = rng.uniform(0.05, 0.95, count)
    z = rng.standard_normal(count)
    for i in range(1, count):
        z[i] = dependence * z[i - 1] + np.sqrt(1.0 - dependence**2) * z[i]
    start = pd.Timestamp("2026-01-05T18:00Z") + pd.to_timedelta(np.arange(count), unit="D")
    return pd.DataFrame(
        {
            "predicted": p,
            "heard": (ndtr(z) < expit(logit(p) + shift)).astype(float),
            "issued_utc": start - pd.Timedelta(hours=6),
            "start_utc": start,
        }
    )


FIFTY = float(logit(0.5) - logit(0.7))
"""What is said as 70 % is 50 %."""


def test_the_skill_is_against_month_and_hour_of_other_weeks():
    table = predictions(1, 60)
    week = cal.week_of(table["start_utc"])
    told = cal.reliability(table["predicted"], table["heard"], week, utc=table["start_utc"], n=20)
    month, heard = table["start_utc"].dt.month.to_numpy(), table["heard"].to_numpy()
    rates = []
    for i in range(60):
        others = week != week[i]
        same = others & (month == month[i])
        rates.append((heard[same].sum() + heard[others].mean()) / (same.sum() + 1.0))
    known = np.mean((np.array(rates) - heard) ** 2)
    own = np.mean((table["predicted"] - heard) ** 2)
    assert told.value(rel.SKILL)[0] == pytest.approx(1.0 - own / known)
    assert "60 checks in 9 weeks" in told.text()
    assert told.curve["count"].sum() == 60
    alone = cal.reliability(table["predicted"], heard, week, n=20)
    assert "No instants were given" in alone.text()


def test_reliability_says_what_it_cannot_tell():
    p = np.linspace(0.1, 0.9, 20)
    told = cal.reliability(p, np.ones(20), np.zeros(20), n=20)
    assert "All checks are of one week" in told.text()
    assert "Every check was heard: no ROC area" in told.text()
    assert np.isnan(told.value("ROC area")[0])
    assert np.isnan(told.value("Brier score")[1:]).all()
    for wrong, message in (
        (([], [], []), "predicted has 0 checks"),
        (([1.1], [1], [1]), "likelihood.* = 1.1 is outside"),
        (([0.5], [0.4], [1]), "neither 0 nor 1"),
        (([0.5, 0.5], [1, 0], [1]), "both need the same"),
        (([0.5, np.nan], [1, 0], [1, 2]), "NaN"),
    ):
        with pytest.raises(InputError, match=message):
            cal.reliability(*wrong, n=20)


def test_the_band_holds_the_curves_of_calibrated_logs():
    """90 % of the points of curves drawn from the predictions lie within, and fewer of others."""
    inside, shifted = [], []
    for seed in range(30):
        for into, shift in ((inside, 0.0), (shifted, FIFTY)):
            table = predictions(seed, 240, shift=shift)
            told = cal.reliability(table["predicted"], table["heard"], np.arange(240) // 7, n=100)
            curve = told.curve
            into.append(
                ((curve["isotonic"] >= curve["low"]) & (curve["isotonic"] <= curve["high"])).mean()
            )
    assert np.mean(inside) == pytest.approx(0.9, abs=0.05)
    assert np.mean(shifted) < 0.6


# The hunch --------------------------------------------------------------------------------------

SEEDS = 200 if SLOW else 40


def rates(shift: float, dependence: float) -> tuple[Counter, float]:
    """Verdicts on `SEEDS` logs of 240 checks, and how often the naive z alarms."""
    found = [
        matches_log(predictions(seed, shift=shift, dependence=dependence), n=20)
        for seed in range(SEEDS)
    ]
    naive = float(np.mean([v.details["spiegelhalter"]["p"] < 0.05 for v in found]))
    words = Counter(v.word for v in found)
    print(
        f"\nshift {shift:.2f}, dependence {dependence}: {dict(words)}, naive z alarms {naive:.3f}"
    )
    return words, naive


@pytest.mark.parametrize("dependence", [0.0, 0.5])
def test_scenario_15_a_log_drawn_from_the_predictions(dependence):
    words, _ = rates(0.0, dependence)
    assert words["NOT SHOWN"] >= (0.9 if SLOW else 0.85) * SEEDS


@pytest.mark.parametrize("dependence", [0.0, 0.5])
def test_scenario_15_seventy_percent_means_fifty(dependence):
    words, naive = rates(FIFTY, dependence)
    assert words["AGAINST"] >= 0.9 * SEEDS
    assert naive < 0.6  # the test that is not used misses most of them


def test_the_naive_z_alarms_more_often_where_checks_hang_together():
    together = np.mean(
        [
            match._spiegelhalter(
                *predictions(s, dependence=0.9)[["predicted", "heard"]].to_numpy().T
            )["p"]
            < 0.05
            for s in range(200)
        ]
    )
    assert together > 0.1


def test_sentences_of_all_four_words():
    low = matches_log(predictions(0, shift=FIFTY), n=100)
    assert low.word == "AGAINST"
    table = predictions(0, shift=FIFTY)
    near = table["predicted"].between(0.65, 0.75, inclusive="left")
    heard, of = int(table.loc[near, "heard"].sum()), int(near.sum())
    assert low.sentence.startswith(f"When the planner said about 70 %, you heard {heard} of {of}.")
    assert "less often than it said" in low.sentence
    assert low.high < 0.0
    more = matches_log(predictions(0, shift=-FIFTY), n=100)
    assert "more often than it said" in more.sentence
    assert more.low > 0.0
    fair = matches_log(predictions(1), n=100)
    assert fair.word == "NOT SHOWN"
    assert "does not show that the planner is off; it could still be off by" in fair.sentence
    big = matches_log(predictions(0, 3000), n=20)
    assert big.word == "SUPPORTED"
    assert "Over all it came true to within" in big.sentence
    assert "month-and-hour average' by" in big.sentence
    few = matches_log(predictions(0, 119))
    assert few.word == "CANNOT TELL YET"
    assert few.needed == 120
    assert "Only 119 checks in 17 weeks" in few.sentence
    short = matches_log(predictions(0, 200).assign(week="one"))
    assert short.word == "CANNOT TELL YET"
    assert short.needed is None
    wide = matches_log(predictions(0, 130), matters=0.1, n=20)
    assert wide.word == "CANNOT TELL YET"
    assert wide.needed > 130
    for one in (low, more, fair, big, few, wide):
        assert one.word in WORDS
        assert one.hunch == "H6"
        assert "no effect" not in one.text()
        assert "This is one place, one antenna, one season." in one.text().replace("\n", " ")


def test_predictions_written_after_listening_are_no_evidence():
    table = predictions(0, 300, shift=FIFTY)
    honest = matches_log(table, n=20)
    # as if the listener had filled in the outcomes afterwards: all of them, and they are right
    late = table.copy()
    late["predicted"] = late["heard"]
    late["issued_utc"] = late["start_utc"] + pd.Timedelta(minutes=1)
    both = matches_log(pd.concat([table, late]), n=20)
    assert (both.effect, both.p_value, both.word) == (honest.effect, honest.p_value, honest.word)
    assert both.details["refused"]["dated after the listening began"] == 300
    assert "Left out: 300 dated after the listening began." in both.notes
    assert (both.decided, both.evenings) == (300, 600)
    assert "300 others left out" in " ".join(both.text().split())
    only = matches_log(late, n=20)
    assert only.word == "CANNOT TELL YET"
    assert only.decided == 0
    # the very minute at which the check began is still in time
    assert matches_log(table.assign(issued_utc=table["start_utc"]), n=20).decided == 300


def test_rows_that_do_not_count_are_counted():
    table = predictions(0, 200)
    table.loc[0:4, "heard"] = np.nan
    table.loc[5:6, "predicted"] = np.nan
    table.loc[7, "issued_utc"] = pd.NaT
    found = matches_log(table, n=20)
    assert found.decided == 192
    assert list(found.details["refused"].values()) == [5, 2, 1, 0]
    assert found.notes[0].startswith("Left out: 5 without an outcome that counts")


def test_opposite_errors_do_not_pass_for_a_match():
    """Said 20 %, is 40 %; said 80 %, is 60 %: the mean is right and the likelihood is not."""
    rng = np.random.default_rng(3)
    table = predictions(0, 3000)
    table["predicted"] = np.where(rng.random(3000) < 0.5, 0.2, 0.8)
    table["heard"] = (rng.random(3000) < np.where(table["predicted"] < 0.5, 0.4, 0.6)).astype(float)
    found = matches_log(table, n=20)
    assert abs(found.effect) < 5.0
    assert found.word == "NOT SHOWN"
    assert any("the mean over all hides it" in note for note in found.notes)


def test_setups_and_even_weeks():
    table = predictions(0, 200)
    table["setup_id"] = ["wire", "loop"] * 100
    found = matches_log(table, n=20)
    assert found.word == "CANNOT TELL YET"
    assert "mixes the setups 'wire' and 'loop'" in found.sentence
    for name, part in found.details["parts"].items():
        alone = matches_log(table[table["setup_id"] == name], n=20)
        assert part.text() == alone.text()
        assert part.decided == 100
    table["setup_id"] = "wire"
    assert "holds: receiver and antenna" in matches_log(table, n=20).text()
    exact = predictions(0, 210)
    exact["heard"] = exact["predicted"] = np.tile([1.0, 0.0], 105)
    found = matches_log(exact, n=20)
    assert found.word == "CANNOT TELL YET"
    assert "same gap to the digit" in found.sentence


@pytest.mark.parametrize(
    ("change", "options", "message"),
    [
        ({"predicted": 70.0}, {}, "predicted.* = 70 is outside"),
        ({"heard": 2.0}, {}, r"heard\[0\] = 2 is neither"),
        ({"issued_utc": "2026-01-05 12:00"}, {}, "zone"),
        ({}, {"matters": 0.0}, "matters = 0 is outside"),
        ({}, {"close": 0.2}, "close = 0.2 is outside"),
    ],
)
def test_predictions_out_of_range(change, options, message):
    with pytest.raises(InputError, match=message):
        matches_log(predictions(0, 150).assign(**change), **options)
    with pytest.raises(InputError, match="no column 'issued_utc'"):
        matches_log(predictions(0, 150).drop(columns="issued_utc"))

"""Doubt about the flux in the likelihood: against other quadratures, and its edges."""

from typing import Any

import numpy as np
import pytest
import xarray as xr

import farhear as fh
from farhear.reception import explain, likelihood

HERE = (45.0, 25.0, 58.4, 26.7)
NOON = "2020-03-15T12:00Z"
NEAR = {"tx_lat_deg": 48.0, "tx_lon_deg": 20.0, "freq_khz": 9605.0, "power_kw": 500.0}


def one(**given: Any) -> xr.Dataset:
    return likelihood(*HERE, 9600.0, NOON, **({"power_kw": 1.0, "f107_sfu": 100.0} | given))


@pytest.fixture(scope="module")
def many() -> tuple[Any, ...]:
    """Circuits of every length up to 8000 km, at three hours; one more axis for fluxes."""
    rng = np.random.default_rng(20)
    n = 60
    lat, lon = rng.uniform(-60, 60, n), rng.uniform(-180, 180, n)
    to = np.clip(lat + rng.uniform(-40, 40, n), -80, 80), lon + rng.uniform(-60, 60, n)
    to = to[0], (to[1] + 180.0) % 360.0 - 180.0
    hours = ["2020-03-15T03:00Z", "2020-06-15T09:00Z", "2020-12-15T18:00Z"]
    column = (lat, lon, *to, rng.uniform(3000.0, 26000.0, n))
    return (*(c[:, None, None] for c in column), fh.utc(hours)[:, None])


@pytest.mark.parametrize(("flux", "sd"), [(120.0, 10.0), (120.0, 20.0), (60.0, 15.0)])
def test_three_fluxes_stand_for_the_normal_distribution(
    many: tuple[Any, ...], flux: float, sd: float
) -> None:
    """Against 24 points of Gauss and Hermite (numpy); fluxes below 50 count as 50."""
    x, w = np.polynomial.hermite_e.hermegauss(24)
    every = likelihood(*many, power_kw=100.0, f107_sfu=np.clip(flux + sd * x, 50.0, 400.0))
    exact = every["likelihood"].to_numpy() @ (w / w.sum())
    told = likelihood(*many, power_kw=100.0, f107_sfu=flux, f107_sd_sfu=sd)
    off = told["likelihood"].to_numpy()[..., 0] - exact
    assert np.sqrt(np.mean(off**2)) < 0.008
    assert np.abs(off).max() < 0.06
    sure = likelihood(*many, power_kw=100.0, f107_sfu=flux)
    without = sure["likelihood"].to_numpy()[..., 0] - exact
    assert np.sqrt(np.mean(off**2)) < 0.5 * np.sqrt(np.mean(without**2))


def test_it_is_the_mean_over_draws(many: tuple[Any, ...]) -> None:
    """Against 300 draws of a normal flux (numpy), by the standard error of their mean."""
    few = (*(c[::4] for c in many[:-1]), many[-1])
    draws = np.random.default_rng(5).normal(130.0, 12.0, 300)
    every = likelihood(*few, power_kw=100.0, f107_sfu=draws)["likelihood"].to_numpy()
    told = likelihood(*few, power_kw=100.0, f107_sfu=130.0, f107_sd_sfu=12.0)
    off = told["likelihood"].to_numpy()[..., 0] - every.mean(axis=-1)
    error = every.std(axis=-1) / np.sqrt(draws.size)
    assert (np.abs(off) < 4.0 * error + 0.02).all()  # 0.02: three points are not the whole


def test_the_deciles_widen_by_the_spread_of_the_median(many: tuple[Any, ...]) -> None:
    """By hand: weights 1/6, 2/3, 1/6 and 1.2816 standard deviations to a decile (tables)."""
    sd = 10.0
    low, middle, high = (
        likelihood(*many, power_kw=100.0, f107_sfu=f)
        for f in (120.0 - np.sqrt(3.0) * sd, 120.0, 120.0 + np.sqrt(3.0) * sd)
    )
    told = likelihood(*many, power_kw=100.0, f107_sfu=120.0, f107_sd_sfu=sd)
    ends = np.stack([d["snr_db"].to_numpy() for d in (low, middle, high)])
    centre = np.average(ends, axis=0, weights=[1, 4, 1])
    variance = np.average((ends - centre) ** 2, axis=0, weights=[1, 4, 1])
    deciles = {"snr_lower_decile_db": -1.0, "snr_upper_decile_db": 1.0}
    for name, sign in deciles.items():
        away = sign * (middle[name] - middle["snr_db"]).to_numpy()
        wider = sign * (told[name] - middle["snr_db"]).to_numpy()
        np.testing.assert_allclose(wider**2, away**2 + 1.2816**2 * variance, rtol=1e-3)
        assert (wider > away + 1.0).any()
    for name in set(told) - {"likelihood", "rung_likelihood", *deciles}:
        np.testing.assert_array_equal(told[name], middle[name])


def test_no_doubt_is_nothing_new() -> None:
    plain, zero = one(), one(f107_sd_sfu=0.0)
    xr.testing.assert_identical(plain, zero)


def test_doubt_broadcasts_like_the_flux() -> None:
    assert one(f107_sd_sfu=np.zeros(3))["likelihood"].shape == (3,)
    mixed = one(f107_sfu=[[100.0], [150.0]], f107_sd_sfu=[0.0, 10.0])["likelihood"].to_numpy()
    for i, flux in enumerate((100.0, 150.0)):
        for j, sd in enumerate((0.0, 10.0)):
            alone = float(one(f107_sfu=flux, f107_sd_sfu=sd)["likelihood"])
            assert mixed[i, j] == pytest.approx(alone, abs=1e-12)


def test_missing_doubt_is_a_missing_likelihood() -> None:
    assert np.isnan(one(f107_sd_sfu=np.nan)["likelihood"])
    some = one(f107_sd_sfu=[np.nan, 0.0, 10.0])["likelihood"]
    assert np.isnan(some).to_numpy().tolist() == [True, False, False]


@pytest.mark.parametrize(
    ("given", "text"),
    [
        ({"f107_sd_sfu": -0.1}, r"f107_sd_sfu = -0\.1 is outside \[0, 200\]"),
        ({"f107_sd_sfu": [1.0, 200.5]}, r"f107_sd_sfu\[1\] = 200\.5"),
        ({"f107_sd_sfu": "some"}, "f107_sd_sfu = 'some' is not a number"),
        ({"f107_sfu": 49.0, "f107_sd_sfu": 5.0}, r"f107_sfu = 49 is outside \[50, 400\]"),
        (
            {"f107_sfu": [100.0, 110.0, 120.0], "f107_sd_sfu": [1.0, 2.0]},
            r"do not broadcast: f107_sfu \(3,\), f107_sd_sfu \(2,\)",
        ),
    ],
)
def test_bad_doubt_is_refused_by_name(given: dict[str, Any], text: str) -> None:
    with pytest.raises(fh.InputError, match=text):
        one(**given)


def test_interferers_that_can_be_read_once_count_at_every_flux() -> None:
    listed = one(f107_sd_sfu=10.0, interferers=[NEAR])
    xr.testing.assert_identical(listed, one(f107_sd_sfu=10.0, interferers=(r for r in [NEAR])))
    assert listed["likelihood"] < one(f107_sd_sfu=10.0)["likelihood"]


def test_explain_takes_doubt() -> None:
    told = explain(*HERE, 9600.0, NOON, power_kw=1.0, f107_sfu=100.0, f107_sd_sfu=30.0)
    sure = explain(*HERE, 9600.0, NOON, power_kw=1.0, f107_sfu=100.0)
    assert told.likelihood == float(one(f107_sd_sfu=30.0)["likelihood"]) != sure.likelihood
    assert told.budget.equals(sure.budget)

"""Behaviour of the likelihood: shapes, grids against pairs, continuity, errors."""

import numpy as np
import pytest

import farhear as fh
from farhear.reception import LIMITS, likelihood

CIRCUIT = (45.0, 25.0, 58.4, 26.7)
DAY = fh.utc(
    np.arange("2025-03-15T00:00", "2025-03-16T00:00", 3600, "datetime64[s]"), naive_is_utc=True
)


def run(freq_khz: object = 9600.0, utc: object = "2025-03-15T18:00Z", **changes: object):  # type: ignore[no-untyped-def]
    options: dict[str, object] = {"power_kw": 100.0, "f107_sfu": 120.0, **changes}
    return likelihood(*CIRCUIT, freq_khz, utc, **options)  # type: ignore[arg-type]


def test_scalars_give_a_dataset_without_dims() -> None:
    r = run()
    assert r["likelihood"].shape == ()
    assert 0.0 <= float(r["likelihood"]) <= 1.0
    assert all("long_name" in r[name].attrs for name in r)


def test_grid_and_pairs_agree_bit_by_bit() -> None:
    freq = np.array([6000.0, 9600.0, 15100.0])
    grid = run(freq[:, None], DAY)
    assert grid["likelihood"].shape == (3, 24)
    # every element by itself, all on one axis: forces the pairs
    i, t = (a.reshape(-1) for a in np.indices((3, 24)))
    order = np.random.default_rng(3).permutation(i.size)
    pairs = run(freq[i[order]], DAY[t[order]])
    for name in grid:
        np.testing.assert_array_equal(
            grid[name].to_numpy()[i[order], t[order]], pairs[name].to_numpy(), err_msg=str(name)
        )


def test_times_first_and_circuits_first_agree() -> None:
    freq = np.array([6000.0, 9600.0])
    a = run(freq[:, None], DAY)["snr_db"].to_numpy()
    b = run(freq[None, :], DAY[:, None])["snr_db"].to_numpy()
    np.testing.assert_array_equal(a, b.T)


def test_deciles_bracket_the_median_and_likelihood_follows_the_threshold() -> None:
    r = run(9600.0, DAY)
    assert (r["snr_lower_decile_db"] < r["snr_db"]).all()
    assert (r["snr_upper_decile_db"] > r["snr_db"]).all()
    at_median = run(9600.0, DAY, required_snr_db=r["snr_db"].to_numpy())
    np.testing.assert_allclose(at_median["likelihood"], 0.5, atol=1e-6)
    at_decile = run(9600.0, DAY, required_snr_db=r["snr_lower_decile_db"].to_numpy())
    np.testing.assert_allclose(at_decile["likelihood"], 0.9, atol=1e-6)


def test_power_gain_noise_and_bandwidth_move_the_ratio_by_their_decibels() -> None:
    base = float(run()["snr_db"])
    assert float(run(power_kw=1000.0)["snr_db"]) == pytest.approx(base + 10.0)
    assert float(run(tx_gain_dbi=7.5)["snr_db"]) == pytest.approx(base + 7.5)
    assert float(run(bandwidth_hz=900.0)["snr_db"]) == pytest.approx(base + 10.0)
    quiet, loud = run(noise=60.0), run(noise=70.0)  # man-made far above galactic
    assert float(quiet["snr_db"] - loud["snr_db"]) == pytest.approx(10.0, abs=0.05)


def test_nothing_jumps_as_the_frequency_passes_the_muf() -> None:
    freq = np.arange(5000.0, 30000.0, 5.0)
    r = run(freq, "2025-03-15T12:00Z")["likelihood"].to_numpy()
    assert np.abs(np.diff(r)).max() < 0.01
    assert r[-1] < 0.5 < r.max()


@pytest.mark.parametrize("tx", [(45.0, 25.0), (30.0, 31.0), (28.0, 70.0), (-25.0, 28.0)])
@pytest.mark.parametrize("freq_khz", [6000.0, 9600.0, 15100.0, 26000.0])
def test_nothing_jumps_in_time(tx: tuple[float, float], freq_khz: float) -> None:
    """Two days by the minute over 1500 to 9300 km: hop counts and layers come and go smoothly."""
    begin = np.datetime64("2025-04-08")
    minutes = fh.utc(begin + np.arange(2880).astype("timedelta64[m]"), naive_is_utc=True)
    r = likelihood(*tx, 58.4, 26.7, freq_khz, minutes, power_kw=250.0, f107_sfu=150.0)
    assert np.abs(np.diff(r["likelihood"].to_numpy())).max() <= 0.02


def test_limits_say_why_not() -> None:
    words = np.vectorize(LIMITS.get)
    # far above the MUF at night
    assert words(run(25900.0, "2025-03-15T01:00Z")["limit"].to_numpy()) == "above_muf"
    # a low band at noon over 1500 km
    assert (
        words(run(2400.0, "2025-06-15T10:00Z", power_kw=10.0)["limit"].to_numpy()) == "absorption"
    )
    # a very noisy place
    assert words(run(9600.0, noise=110.0)["limit"].to_numpy()) == "noise"
    # a microwatt
    r = run(9600.0, power_kw=1e-9, noise="quiet rural", atmospheric=None)
    assert words(r["limit"].to_numpy()) == "power"
    assert words(run(9600.0, power_kw=500.0)["limit"].to_numpy()) == "none"


def test_short_long_and_both_add() -> None:
    by_way = {way: run(17800.0, DAY, long_path=way) for way in ("short", "long", "both")}
    total = 10 * np.log10(
        10 ** (by_way["short"]["field_dbuv_m"] / 10) + 10 ** (by_way["long"]["field_dbuv_m"] / 10)
    )
    # medians of sums: the powers add on each day, the median day of both may be another
    np.testing.assert_allclose(by_way["both"]["field_dbuv_m"], total, atol=1.0)
    stronger = np.maximum(by_way["short"]["field_dbuv_m"], by_way["long"]["field_dbuv_m"])
    # the long way may reach higher latitudes, whose wider deciles shift the median a little
    assert (by_way["both"]["field_dbuv_m"] > stronger - 0.5).all()


def test_path_is_reciprocal_but_for_the_noise() -> None:
    there = likelihood(*CIRCUIT, 9600.0, DAY, power_kw=100.0, f107_sfu=120.0)
    back = likelihood(*CIRCUIT[2:], *CIRCUIT[:2], 9600.0, DAY, power_kw=100.0, f107_sfu=120.0)
    np.testing.assert_allclose(there["field_dbuv_m"], back["field_dbuv_m"], atol=3e-3)


def test_nan_passes_through_and_empty_is_empty() -> None:
    r = run(np.array([9600.0, np.nan]))
    assert np.isfinite(r["snr_db"].to_numpy()[0])
    assert np.isnan(r["snr_db"].to_numpy()[1])
    assert int(r["limit"][1]) == 0
    assert run(np.empty(0))["likelihood"].shape == (0,)


@pytest.mark.parametrize("lat", [-90.0, 90.0])
@pytest.mark.parametrize("lon", [-180.0, 0.0, 180.0, 359.0])
def test_poles_datelines_antipodes_and_no_distance(lat: float, lon: float) -> None:
    for tx in [(lat, lon), (-58.4, 26.7 - 180.0), (58.4, 26.7)]:
        r = likelihood(*tx, 58.4, 26.7, 9600.0, DAY, power_kw=100.0, f107_sfu=120.0)
        for name in ("likelihood", "snr_db", "muf_mhz", "field_dbuv_m"):
            assert np.isfinite(r[name]).all(), name


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({"freq_khz": 1500.0}, "freq_khz"),
        ({"freq_khz": 30001.0}, "freq_khz"),
        ({"freq_khz": 9.6}, "freq_khz"),
        ({"power_kw": 0.0}, "power_kw"),
        ({"power_kw": -5.0}, "power_kw"),
        ({"f107_sfu": 20.0}, "f107_sfu"),
        ({"noise": "suburban"}, "residential"),
        ({"long_path": "around"}, "long_path"),
        ({"min_elevation_deg": 45.0}, "min_elevation_deg"),
        ({"bandwidth_hz": 0.0}, "bandwidth_hz"),
        ({"utc": "2025-03-15T18:00"}, "no time zone"),
        ({"utc": np.datetime64("2025-03-15")}, "no time zone"),
        ({"utc": "2031-01-01T00:00Z"}, "year"),
        ({"freq_khz": "9600 kHz"}, "freq_khz"),
        ({"foe_form": "c"}, "foe_form"),
    ],
)
def test_bad_values_are_named(changes: dict[str, object], text: str) -> None:
    with pytest.raises(fh.InputError, match=text):
        run(**changes)  # type: ignore[arg-type]


def test_swapped_coordinates_are_suspected() -> None:
    with pytest.raises(fh.InputError, match=r"tx_lat_deg = 125 .*swapped"):
        likelihood(125.0, 45.0, 58.4, 26.7, 9600.0, "2025-03-15T18:00Z", power_kw=1.0, f107_sfu=100)


def test_shapes_that_do_not_broadcast_are_listed() -> None:
    with pytest.raises(fh.InputError, match=r"freq_khz \(3,\)"):
        run(np.full(3, 9600.0), DAY)


def test_first_bad_element_is_named() -> None:
    with pytest.raises(fh.InputError, match=r"freq_khz\[1\] = 99999"):
        run(np.array([9600.0, 99999.0]))

"""Behaviour of farhear.losses: shapes, errors, missing values."""

import doctest

import numpy as np
import pytest

import farhear as fh
from farhear import _core, losses
from farhear.errors import InputError

CALLS = {
    "auroral_db": (losses.auroral_db, (65.0, 3.0, 0.2, 1500.0)),
    "quiet_d_profile": (losses.quiet_d_profile, (40.0,)),
    "d_profile_db": (losses.d_profile_db, (6000.0, 1.2, 72.0, 0.37)),
    "d_region_db": (losses.d_region_db, (6000.0, 1.2, 40.0, 20.0)),
    "flare_db": (losses.flare_db, (6000.0, 1e-5, 40.0)),
    "polar_cap_db": (losses.polar_cap_db, (6000.0, 300.0, 100.0, 85.0, 64.0)),
    "storm_factor": (losses.storm_factor, (7.0, 40.0)),
    "ground_reflection_db": (losses.ground_reflection_db, (6000.0, 20.0, 0.3)),
    "sea_share": (losses.sea_share, (59.4, 24.7)),
    "day_deciles": (losses.day_deciles, (1.1, 58.0)),
}


def values(result):
    return result if isinstance(result, tuple) else (result,)


def test_docstring_examples():
    result = doctest.testmod(losses)
    assert result.attempted >= 12
    assert result.failed == 0


@pytest.mark.parametrize("name", CALLS)
def test_scalars_give_numpy_scalars(name):
    function, args = CALLS[name]
    for value in values(function(*args)):
        assert isinstance(value, np.float64)
        assert np.isfinite(value)


@pytest.mark.parametrize("name", CALLS)
def test_missing_in_any_argument_is_missing_in_the_result(name):
    function, args = CALLS[name]
    for i in range(len(args)):
        for value in values(function(*args[:i], np.nan, *args[i + 1 :])):
            assert np.isnan(value), (name, i)


@pytest.mark.parametrize("name", CALLS)
def test_any_layout_broadcasts(name):
    function, args = CALLS[name]
    grid = args[0] * np.linspace(0.98, 1.0, 24).reshape(4, 6)
    for view in (grid.T, grid[::2], grid[:, ::-1], np.empty((0, 3))):
        together = values(function(view, *(np.full(view.shape[1], a) for a in args[1:])))
        alone = [values(function(x, *args[1:])) for x in view.flat]
        for i, column in enumerate(together):
            assert column.shape == view.shape
            np.testing.assert_array_equal(column.reshape(-1), [one[i] for one in alone])


def test_shapes_that_do_not_fit_are_named():
    with pytest.raises(InputError, match=r"freq_khz \(2,\), elevation_deg \(3,\)"):
        losses.ground_reflection_db([6000.0, 7000.0], [1.0, 2.0, 3.0], 0.5)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: losses.flare_db(9.6, 1e-5, 30.0), r"freq_khz = 9\.6 .*kHz, not MHz"),
        (lambda: losses.flare_db(9600.0, [0.0, -1.0], 30.0), r"xray_w_m2\[1\] = -1 "),
        (lambda: losses.flare_db(9600.0, 1e-5, 181.0), "zenith_deg"),
        (lambda: losses.d_region_db(9600.0, 3.0, 30.0, 10.0), "gyro_longitudinal_mhz"),
        (lambda: losses.d_region_db(9600.0, 1.0, 30.0, -1.0), "elevation_deg"),
        (lambda: losses.d_profile_db(9600.0, 1.0, 30.0, 0.3), "h_prime_km"),
        (lambda: losses.auroral_db(95.0, 3.0, 0.0, 100.0), "geomagnetic_lat_deg"),
        (lambda: losses.auroral_db(65.0, 25.0, 0.0, 100.0), "local_time_h"),
        (lambda: losses.auroral_db(65.0, 3.0, 1.5, 100.0), "season_phase"),
        (lambda: losses.storm_factor(9.5, 50.0), "kp"),
        (lambda: losses.ground_reflection_db(9600.0, 10.0, 1.2), "sea_share"),
        (lambda: losses.sea_share(100.0, 20.0), "swapped"),
        (lambda: losses.polar_cap_db(9600.0, -1.0, 1.0, 30.0, 70.0), "flux_2_pfu"),
        (lambda: losses.storm_factor("many", 50.0), "not a number"),
    ],
)
def test_bad_values_are_named(call, text):
    with pytest.raises(InputError, match=text):
        call()


def test_the_binding_refuses_columns_of_unequal_length():
    with pytest.raises(InputError, match="unequal"):
        _core.losses.storm_factor(np.zeros(3), np.zeros(2))


def test_local_time():
    t = fh.utc(["2026-11-25T00:00Z", "2026-11-25T23:00Z"])
    np.testing.assert_allclose(losses.local_time_h(t, -90.0), [18.0, 17.0], atol=1e-9)
    assert losses.local_time_h("2026-11-25T12:00Z", 180.0) == pytest.approx(0.0, abs=1e-9)
    with pytest.raises(InputError, match="time zone"):
        losses.local_time_h("2026-11-25T12:00", 0.0)


def test_low_latitudes_have_no_auroral_loss():
    assert not losses.auroral_db(np.linspace(-40, 40, 81)[:, None], np.arange(25), 0.3, 99.0).any()


def test_a_flare_at_night_does_nothing():
    assert losses.flare_db(6000.0, 1e-3, 90.0) < 1e-12
    assert losses.flare_db(6000.0, 1e-3, 90.001) == 0.0
    dark = losses.d_region_db(6000.0, 1.2, 120.0, 10.0)
    assert losses.d_region_db(6000.0, 1.2, 120.0, 10.0, xray_w_m2=1e-3) == pytest.approx(dark)


def test_the_land_is_built_once():
    assert losses.land() is losses.land()

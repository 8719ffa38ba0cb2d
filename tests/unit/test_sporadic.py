"""Behaviour of farhear.sporadic: shapes, errors, missing values, what is known of the seasons."""

import doctest

import numpy as np
import pytest

import farhear as fh
from farhear import _core, sporadic
from farhear.errors import InputError

NOON = "2024-07-15T11:00Z"
LAT, LON = np.meshgrid(np.arange(-90.0, 91.0, 10.0), np.arange(-180.0, 181.0, 20.0))


def test_docstring_examples():
    result = doctest.testmod(sporadic)
    assert result.attempted >= 5
    assert result.failed == 0


def test_scalars_give_numpy_scalars():
    es = sporadic.sporadic_e(NOON, 45.0, 10.0, 150.0)
    assert all(isinstance(value, np.float64) for value in es)
    share = sporadic.probability_above(5.0, NOON, 45.0, 10.0, 150.0)
    assert isinstance(share, np.float64)


def test_broadcasting_agrees_with_single_calls():
    times = [f"2024-{m:02d}-20T{h:02d}:30Z" for m, h in [(1, 2), (6, 11), (10, 23)]]
    lat, lon = np.array([-40.0, 0.0, 50.0, 70.0]), np.array([150.0, -60.0, 10.0, 25.0])
    flux = np.array([70.0, 120.0, 200.0])
    grid = sporadic.sporadic_e([[t] for t in times], lat, lon, flux[:, None])
    assert all(part.shape == (3, 4) for part in grid)
    for i, t in enumerate(times):
        for j in range(4):
            one = sporadic.sporadic_e(t, lat[j], lon[j], flux[i])
            np.testing.assert_allclose([part[i, j] for part in grid], one, rtol=1e-13)


@pytest.mark.parametrize("flux", [50.0, 150.0, 400.0])
def test_bounds_all_over_the_globe(flux):
    for month in range(1, 13):
        for hour in (0, 7, 13, 19):
            t = f"2024-{month:02d}-15T{hour:02d}:00Z"
            es = sporadic.sporadic_e(t, LAT, LON, flux)
            assert np.all(es.median_mhz > 1.0)
            assert np.all(es.median_mhz < 20.0)
            up = es.upper_decile_mhz / es.median_mhz
            down = es.lower_decile_mhz / es.median_mhz
            assert np.all((up > 1.05 - 1e-9) & (up < 4.0 + 1e-9))
            assert np.all((down < 0.95 + 1e-9) & (down > 0.25 - 1e-9))


def test_longitude_is_cyclic_and_all_are_one_at_the_pole():
    west, east = sporadic.sporadic_e(NOON, 30.0, [-180.0, 180.0], 120.0).median_mhz
    assert west == pytest.approx(east, rel=1e-12)


@pytest.mark.parametrize("position", range(3))
def test_nan_passes_through(position):
    args = [np.array([45.0, 46.0]), np.array([10.0, 11.0]), np.array([150.0, 151.0])]
    clean = sporadic.sporadic_e(NOON, *args)
    args[position] = np.where([True, False], np.nan, args[position])
    es = sporadic.sporadic_e(NOON, *args)
    share = sporadic.probability_above(5.0, NOON, *args)
    for part, whole in zip((*es, share), (*clean, None), strict=True):
        np.testing.assert_array_equal(np.isnan(part), [True, False])
        if whole is not None:
            assert part[1] == whole[1]


def test_nan_frequency_and_time_pass_through():
    assert np.isnan(sporadic.probability_above(np.nan, NOON, 45.0, 10.0, 150.0))
    missing = np.array(["NaT", "2024-07-15T11:00"], dtype="datetime64[s]")
    es = sporadic.sporadic_e(fh.utc(missing, naive_is_utc=True), 45.0, 10.0, 150.0)
    np.testing.assert_array_equal(np.isnan(es.median_mhz), [True, False])


@pytest.mark.parametrize(
    ("args", "text"),
    [
        ((NOON, 91.0, 10.0, 150.0), "lat_deg"),
        ((NOON, 45.0, np.inf, 150.0), "lon_deg"),
        ((NOON, 45.0, 10.0, 49.0), "f107_sfu"),
        ((NOON, 45.0, 10.0, 401.0), "f107_sfu"),
        (("2024-07-15T11:00", 45.0, 10.0, 150.0), "utc"),
        ((NOON, [1.0, 2.0], [1.0, 2.0, 3.0], 150.0), "shape"),
    ],
)
def test_bad_input_is_named(args, text):
    with pytest.raises(InputError, match=text):
        sporadic.sporadic_e(*args)


@pytest.mark.parametrize("freq", [0.0, -5.0, 101.0, np.inf])
def test_bad_frequency_is_named(freq):
    with pytest.raises(InputError, match="freq_mhz"):
        sporadic.probability_above(freq, NOON, 45.0, 10.0, 150.0)


def test_tables_of_another_size_or_with_holes_are_refused():
    lower, median, upper = np.ones(6600), np.ones(10248), np.ones(6600)
    _core.sporadic.Maps(lower, median, upper)
    with pytest.raises(InputError, match="median"):
        _core.sporadic.Maps(lower, median[1:], upper)
    upper[7] = np.nan
    with pytest.raises(InputError, match="7"):
        _core.sporadic.Maps(lower, median, upper)


# Source: from memory, Smith 1957 and Leftin, Ostrow and Preston 1968: at middle latitudes sporadic
# E is a thing of the summer day.
@pytest.mark.parametrize(
    ("lat", "lon", "summer", "winter"),
    [
        (45.0, 10.0, "2024-07-01T11:00Z", "2024-12-31T11:00Z"),
        (38.0, 140.0, "2024-07-01T02:40Z", "2024-12-31T02:40Z"),
        (40.0, -100.0, "2024-07-01T18:40Z", "2024-12-31T18:40Z"),
        (-35.0, 145.0, "2024-12-31T02:20Z", "2024-07-01T02:20Z"),
    ],
)
def test_summer_day_is_stronger_than_winter_day(lat, lon, summer, winter):
    strong = sporadic.sporadic_e(summer, lat, lon, 120.0)
    weak = sporadic.sporadic_e(winter, lat, lon, 120.0)
    assert strong.median_mhz > weak.median_mhz
    assert strong.upper_decile_mhz > weak.upper_decile_mhz
    above = [sporadic.probability_above(5.0, t, lat, lon, 120.0) for t in (summer, winter)]
    assert above[0] > above[1]


def test_probability_is_half_at_the_median_and_a_tenth_at_the_deciles():
    es = sporadic.sporadic_e(NOON, LAT, LON, 120.0)
    for value, share in zip(es, (0.9, 0.5, 0.1), strict=True):
        found = sporadic.probability_above(value, NOON, LAT, LON, 120.0)
        np.testing.assert_allclose(found, share, atol=1e-6)


def test_probability_falls_with_frequency():
    freq = np.geomspace(0.5, 60.0, 400)
    share = sporadic.probability_above(freq, NOON, 45.0, 10.0, 120.0)
    assert np.all(np.diff(share) <= 0.0)
    assert share[0] > 0.99
    assert share[-1] < 0.01

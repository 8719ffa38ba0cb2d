"""Sporadic E for all arguments: no steps in time, place and activity; quantile and share invert."""

import math
from statistics import NormalDist

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

import farhear as fh
from farhear import sporadic

lats = st.floats(-89.0, 89.0)
lons = st.floats(-180.0, 180.0)
fluxes = st.floats(50.0, 400.0)
months = st.integers(1, 12)
# whole seconds of 2024, well inside the year (the magnetic field changes by the year)
seconds = st.integers(0, 360 * 86400)

START = np.datetime64("2024-01-02T00:00:00", "ms")


def logs(utc, lat, lon, flux):
    when = fh.utc(utc, naive_is_utc=True)
    return np.log(np.array(sporadic.sporadic_e(when, lat, lon, flux), dtype=np.float64))


@settings(deadline=None)
@given(months, lats, lons, fluxes)
def test_no_step_where_months_meet(month, lat, lon, flux):
    # the two sides of a boundary and of a middle of a month, 2 s apart, in one year
    first = np.datetime64(f"2024-{month:02d}-01", "ms")
    last = np.datetime64(f"2024-{month % 12 + 1:02d}-01", "ms")
    if month == 12:
        last = np.datetime64("2025-01-01", "ms")
    middle = first + (last - first) // 2
    second = np.timedelta64(1000, "ms")
    for t in (middle, first + second if month == 1 else first):
        here = logs(np.array([t - second, t + second]), lat, lon, flux)
        # two seconds; the maps ring, so a factor of e in some half an hour is let pass
        assert np.abs(here[:, 1] - here[:, 0]).max() < 2e-3


@settings(deadline=None)
@given(seconds, lats, lons, fluxes)
def test_no_step_in_time_place_and_activity(second, lat, lon, flux):
    t = START + np.timedelta64(second, "s")
    here = logs(t, lat, lon, flux)
    assert np.abs(logs(t + np.timedelta64(1, "s"), lat, lon, flux) - here).max() < 1e-3
    assert np.abs(logs(t, lat + 1e-5, lon, flux) - here).max() < 1e-3
    assert np.abs(logs(t, lat, lon + 1e-5, flux) - here).max() < 1e-3
    assert np.abs(logs(t, lat, lon, min(flux + 1e-3, 400.0)) - here).max() < 1e-3


@settings(deadline=None)
@given(seconds, lats, lons, fluxes, st.floats(-3.0, 3.0))
def test_share_inverts_the_quantile(second, lat, lon, flux, z):
    """The quantile from the two deciles by Python's own normal distribution."""
    t = fh.utc(START + np.timedelta64(second, "s"), naive_is_utc=True)
    es = sporadic.sporadic_e(t, lat, lon, flux)
    decile = es.lower_decile_mhz if z < 0 else es.upper_decile_mhz
    sigma = abs(math.log(decile / es.median_mhz)) / NormalDist().inv_cdf(0.9)
    freq = es.median_mhz * math.exp(z * sigma)
    if 0.1 <= freq <= 100.0:
        share = sporadic.probability_above(freq, t, lat, lon, flux)
        assert abs(share - (1.0 - NormalDist().cdf(z))) < 1e-5


@settings(deadline=None)
@given(seconds, lats, lons, fluxes, st.floats(0.1, 100.0), st.floats(1.0, 5.0))
def test_share_falls_with_frequency(second, lat, lon, flux, freq, factor):
    t = fh.utc(START + np.timedelta64(second, "s"), naive_is_utc=True)
    both = [freq, min(freq * factor, 100.0)]
    low, high = sporadic.probability_above(both, t, lat, lon, flux)
    assert 0.0 <= high <= low <= 1.0

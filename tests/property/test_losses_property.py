"""Losses for all arguments: bounded, monotone where physics says so, no steps anywhere."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from farhear import losses

freqs = st.floats(1600.0, 30000.0)
gyros = st.floats(0.0, 1.5)
zeniths = st.floats(0.0, 180.0)
elevations = st.floats(0.0, 90.0)
fluxes = st.floats(0.0, 1e-2)
lats = st.floats(-90.0, 90.0)
hours = st.floats(0.0, 24.0)
phases = st.floats(-1.0, 1.0)
distances = st.floats(0.0, 20000.0)
shares = st.floats(0.0, 1.0)


@given(lats, hours, phases, distances)
def test_auroral_bounds(lat, hour, phase, distance):
    assert 0.0 <= losses.auroral_db(lat, hour, phase, distance) <= 21.4  # largest entry


# steepest slopes: 21.4 dB over 5 deg, over 3 h; twice the phase; smooth step over 1000 km
@given(lats, hours, phases, distances)
def test_auroral_has_no_steps(lat, hour, phase, distance):
    here = losses.auroral_db(lat, hour, phase, distance)
    d = 1e-4
    assert abs(losses.auroral_db(max(lat - d, -90), hour, phase, distance) - here) < 5 * d
    assert abs(losses.auroral_db(lat, max(hour - d, 0.0), phase, distance) - here) < 8 * d
    assert abs(losses.auroral_db(lat, hour, max(phase - d, -1), distance) - here) < 43 * d
    assert abs(losses.auroral_db(lat, hour, phase, distance + d) - here) < 0.04 * d


@given(lats, phases, distances)
def test_auroral_midnight_is_one_moment(lat, phase, distance):
    first, last = losses.auroral_db(lat, [0.0, 24.0], phase, distance)
    assert abs(first - last) < 1e-12


@given(freqs, gyros, zeniths, elevations, fluxes)
def test_d_region_order(freq, gyro, zenith, elevation, flux):
    def loss(f=freq, g=gyro, z=zenith, e=elevation, x=flux):
        return losses.d_region_db(f, g, z, e, xray_w_m2=x)

    here = loss()
    assert here > 0.0
    slack = 1.0 + 1e-12
    assert loss(f=freq + 100.0) <= here * slack  # O wave: less at higher frequency
    assert loss(e=max(elevation - 1.0, 0.0)) * slack >= here  # more at lower elevation
    assert loss(z=min(zenith + 0.5, 180.0)) <= here * slack  # less under a lower sun
    assert loss(x=2.0 * flux) * slack >= here  # more in a stronger flare
    if freq > 3100.0:  # above the gyrofrequency the X wave loses more
        assert loss(g=-gyro) * slack >= here


@given(freqs, gyros, zeniths, elevations, fluxes)
def test_d_region_has_no_steps(freq, gyro, zenith, elevation, flux):
    here = losses.d_region_db(freq, gyro, zenith, elevation, xray_w_m2=flux)
    near = [
        losses.d_region_db(freq + 1e-3, gyro, zenith, elevation, xray_w_m2=flux),
        losses.d_region_db(freq, gyro, min(zenith + 1e-6, 180.0), elevation, xray_w_m2=flux),
        losses.d_region_db(freq, gyro, zenith, max(elevation - 1e-6, 0.0), xray_w_m2=flux),
        losses.d_region_db(freq, gyro, zenith, elevation, xray_w_m2=flux + 1e-12),
    ]
    np.testing.assert_allclose(near, here, rtol=1e-5)


@given(zeniths)
def test_quiet_profile_rises_as_the_sun_sinks(zenith):
    here, later = losses.quiet_d_profile([zenith, min(zenith + 0.1, 180.0)]).h_prime_km
    assert 71.0 - 1e-9 <= here <= later + 1e-9 <= 86.0 + 2e-9


@given(freqs, fluxes, zeniths, elevations)
def test_flare_bounds_and_steps(freq, flux, zenith, elevation):
    here = losses.flare_db(freq, flux, zenith, elevation_deg=elevation)
    assert 0.0 <= here <= (45.0 / (freq / 1e3)) ** 1.5 * 6.6  # 10 log(1e-2) + 65; secant at 0 deg
    assert losses.flare_db(freq, 2 * flux, zenith, elevation_deg=elevation) >= here
    later = losses.flare_db(freq, flux, min(zenith + 1e-7, 180.0), elevation_deg=elevation)
    assert abs(later - here) < 1e-3


@given(freqs, st.floats(0, 1e5), st.floats(0, 1e4), zeniths, lats, elevations)
def test_polar_cap_bounds_and_steps(freq, two, five, zenith, lat, elevation):
    def loss(z=zenith, g=lat):
        return losses.polar_cap_db(freq, two, five, z, g, elevation_deg=elevation)

    here = loss()
    top = max(0.115 * five**0.5, 0.02 * two**0.5) * (30e3 / freq) ** 1.5 * 6.6
    assert 0.0 <= here <= top * (1.0 + 1e-12)
    assert abs(loss(z=min(zenith + 1e-6, 180.0)) - here) <= top * 1e-6
    assert abs(loss(g=max(lat - 1e-6, -90.0)) - here) <= top * 1e-6
    if abs(lat) <= 58.0:
        assert here == 0.0


@given(st.floats(0.0, 9.0), lats)
def test_storms_only_lower(kp, modip):
    here = losses.storm_factor(kp, modip)
    assert 0.75 - 1e-12 <= here <= 1.0
    assert losses.storm_factor(min(kp + 0.3, 9.0), modip) <= here + 1e-12
    assert abs(losses.storm_factor(kp, max(modip - 1e-6, -90.0)) - here) < 1e-6
    assert here == losses.storm_factor(kp, -modip)


@given(freqs, elevations, shares)
def test_ground_bounds_and_steps(freq, elevation, share):
    here = losses.ground_reflection_db(freq, elevation, share)
    # normal incidence on dry ground of this kind: 20 log((sqrt(15) + 1)/(sqrt(15) - 1)) = 4.6 dB;
    # at the angle of Brewster one polarisation is lost
    assert -1e-12 <= here < 7.0
    if elevation > 5.0:  # below, the sea has its own least reflection and may lose more
        more_sea = losses.ground_reflection_db(freq, elevation, min(share + 0.05, 1.0))
        assert more_sea <= here + 1e-12
    lower = losses.ground_reflection_db(freq, max(elevation - 1e-6, 0.0), share)
    assert abs(lower - here) < 1e-4  # up to 20 dB a degree over sea at grazing incidence


@given(st.floats(0.0, 8.0), lats)
def test_day_deciles_bounds_and_steps(ratio, lat):
    here = losses.day_deciles(ratio, lat)
    near = losses.day_deciles(ratio + 1e-6, max(lat - 1e-6, -90.0))
    for value, other in zip(here, near, strict=True):
        assert 5.0 <= value <= 17.0
        assert abs(value - other) < 1e-4


@given(lats, st.floats(-180.0, 360.0))
def test_sea_share_bounds_and_steps(lat, lon):
    here = losses.sea_share(lat, lon)
    assert 0.0 <= here <= 1.0
    # linear over at least half a degree: at most 1 per 0.5 deg
    assert abs(losses.sea_share(max(lat - 1e-6, -90.0), lon) - here) < 2.1e-6
    assert abs(losses.sea_share(lat, max(lon - 1e-6, -180.0)) - here) < 2.1e-6
    if lon >= 180.0:
        assert abs(losses.sea_share(lat, lon - 360.0) - here) < 1e-12


@given(st.lists(st.tuples(freqs, gyros, zeniths, elevations, fluxes), min_size=1, max_size=9))
@settings(max_examples=50)
def test_array_equals_scalar_loop(rows):
    freq, gyro, zenith, elevation, flux = np.array(rows).T
    together = losses.d_region_db(freq, gyro, zenith, elevation, xray_w_m2=flux)
    alone = [losses.d_region_db(*row[:4], xray_w_m2=row[4]) for row in rows]
    np.testing.assert_array_equal(together, alone)

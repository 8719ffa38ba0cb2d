"""What must hold for the field at any place, height and date."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from farhear import magnetic

LAT = st.floats(-90.0, 90.0)
LON = st.floats(-180.0, 360.0)
KM = st.floats(0.0, 1000.0)
YEAR = st.floats(1900.0, 2030.0)


@settings(max_examples=200, deadline=None)
@given(LAT, LON, KM, YEAR)
def test_bounds_and_signs(lat, lon, km, year):
    f = magnetic.field(lat, lon, km, year)
    c = magnetic.components(lat, lon, km, year)
    total = np.sqrt(sum(float(part) ** 2 for part in c))
    assert 5_000.0 < total < 75_000.0  # weakest about 22,000 at the ground, strongest about 70,000
    assert abs(f.dip_deg) <= 90.0
    assert abs(f.modip_deg) <= 90.0
    assert f.dip_deg * f.modip_deg >= 0.0
    # tan(modip) / dip >= 1: modip is never nearer the equator than arctan of the dip in radians
    assert abs(np.tan(np.radians(f.modip_deg))) >= abs(np.radians(f.dip_deg)) * (1 - 1e-9)
    assert abs(f.gyro_mhz / total - 2.799249e-5) < 1e-15
    level = float(np.hypot(c.north_nt, c.east_nt))
    assert abs(f.dip_deg - np.degrees(np.arctan2(float(c.down_nt), level))) < 1e-10


@settings(max_examples=100, deadline=None)
@given(LAT, LON, KM, st.floats(0.0, 1.0), st.sampled_from(np.arange(1900.0, 2030.0, 5.0)))
def test_between_epochs_the_field_is_linear(lat, lon, km, part, epoch):
    first = np.array(magnetic.components(lat, lon, km, epoch))
    last = np.array(magnetic.components(lat, lon, km, epoch + 5.0))
    here = np.array(magnetic.components(lat, lon, km, epoch + 5.0 * part))
    assert np.abs(here - (first + part * (last - first))).max() < 1e-6


@settings(max_examples=50, deadline=None)
@given(st.lists(st.tuples(LAT, LON, KM, YEAR), min_size=1, max_size=70))
def test_an_array_is_its_elements(places):
    lat, lon, km, year = (np.array(column) for column in zip(*places, strict=True))
    many = magnetic.field(lat, lon, km, year)
    for i, place in enumerate(places):
        assert tuple(magnetic.field(*place)) == tuple(part[i] for part in many)


@settings(max_examples=100, deadline=None)
@given(LAT, st.floats(-180.0, -1e-6), KM, YEAR)
def test_a_whole_turn_of_longitude_changes_nothing(lat, lon, km, year):
    here = magnetic.components(lat, lon, km, year)
    there = magnetic.components(lat, lon + 360.0, km, year)
    assert np.abs(np.array(here) - np.array(there)).max() < 1e-7

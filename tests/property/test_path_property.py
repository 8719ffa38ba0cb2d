"""What must hold for any places."""

import numpy as np
from hypothesis import example, given, settings
from hypothesis import strategies as st

from farhear import path

LAT = st.floats(-90, 90)
LON = st.floats(-180, 360)
LENGTH = st.sampled_from([2, 4, 6, 8, 10])


@given(LAT, LON, LAT, LON)
def test_inverse_is_symmetric_and_bounded(lat1, lon1, lat2, lon2):
    go = path.inverse(lat1, lon1, lat2, lon2)
    back = path.inverse(lat2, lon2, lat1, lon1)
    assert abs(go.distance_km - back.distance_km) < 1e-9
    assert 0 <= go.distance_km < 20003.9315  # half a meridian is the longest (from memory)
    assert 0 <= go.azimuth_deg < 360
    assert 0 <= go.back_azimuth_deg < 360


@given(LAT, LON, st.floats(0, 360), st.floats(0, 19_900))
def test_direct_then_inverse(lat, lon, azimuth, distance):
    end = path.direct(lat, lon, azimuth, distance)
    assert -180 < end.lon_deg <= 180
    line = path.inverse(lat, lon, end.lat_deg, end.lon_deg)
    assert abs(line.distance_km - distance) < 1e-8
    home = path.direct(end.lat_deg, end.lon_deg, end.back_azimuth_deg, distance)
    assert path.inverse(lat, lon, home.lat_deg, home.lon_deg).distance_km < 1e-6


@given(LAT, LON, LAT, LON, st.floats(0, 1), st.booleans())
def test_points_lie_on_the_way(lat1, lon1, lat2, lon2, fraction, long_path):
    whole = path.sphere(lat1, lon1, lat2, lon2)
    assert 0 <= whole.distance_km <= np.pi * 6371 * (1 + 1e-15)
    assert 0 <= whole.azimuth_deg < 360
    point = path.points(lat1, lon1, lat2, lon2, fraction, long_path)
    length = 2 * np.pi * 6371 - whole.distance_km if long_path else whole.distance_km
    gone = fraction * length
    want = min(gone, 2 * np.pi * 6371 - gone)
    # 1e-12 rad off where the ends hardly give a direction, and lat/lon rounding
    assert abs(path.sphere(lat1, lon1, *point).distance_km - want) < 1e-7


@given(LAT, LON, LENGTH)
@example(0.0, -9.50524322743601e-12, 2)  # a border within rounding: once JJ, but IJ90xa90xa
def test_locator_round_trip(lat, lon, length):
    text = path.locator(lat, lon, length)
    assert len(text) == length
    cell = path.from_locator(text)
    slack = 1e-8
    assert abs(cell.lat_deg - lat) <= cell.half_lat_deg * (1 + slack) + 1e-12
    off = (cell.lon_deg - lon + 180) % 360 - 180
    assert abs(off) <= cell.half_lon_deg * (1 + slack) + 1e-12
    assert path.locator(cell.lat_deg, cell.lon_deg, length) == text
    assert path.locator(lat, lon, 10).startswith(path.locator(lat, lon, 2))


@settings(max_examples=30)
@given(st.lists(st.tuples(LAT, LON, LAT, LON), min_size=1, max_size=9))
def test_arrays_equal_scalars(places):
    columns = np.array(places).T
    for function in (path.inverse, path.sphere):
        many = function(*columns)
        for i, place in enumerate(places):
            assert tuple(x[i] for x in many) == tuple(function(*place))

"""What must hold of the sun at any time and place."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from farhear import sun
from farhear.times import UtcTimes

times = st.floats(-2208988800.0, 4133980799.0)  # 1900 to 2100
lats = st.floats(-90.0, 90.0)
lons = st.floats(-180.0, 180.0)


def at(t_unix_s, lat_deg, lon_deg):
    return sun.position(UtcTimes(np.array(t_unix_s)), lat_deg, lon_deg)


@given(times, lats, lons)
def test_bounds(t, lat, lon):
    here = at(t, lat, lon)
    assert 0.0 <= here.zenith_deg <= 180.0
    assert 0.0 <= here.azimuth_deg < 360.0


@given(times, lats, lons)
def test_antipodes_see_opposite_suns(t, lat, lon):
    other = at(t, -lat, lon - 180.0 if lon > 0.0 else lon + 180.0)
    np.testing.assert_allclose(at(t, lat, lon).zenith_deg + other.zenith_deg, 180.0, atol=1e-11)


@given(times, lats, st.floats(0.0, 179.0))
def test_mirror_about_the_suns_meridian(t, lat, away_deg):
    noon_deg = float(sun.subsolar(UtcTimes(np.array(t))).lon_deg)
    east, west = (
        at(t, lat, (noon_deg + sign * away_deg + 180.0) % 360.0 - 180.0) for sign in (1.0, -1.0)
    )
    np.testing.assert_allclose(east.zenith_deg, west.zenith_deg, atol=1e-10)
    sky = np.sin(np.radians(east.zenith_deg))  # the azimuth means nothing at the zenith
    turn = (east.azimuth_deg + west.azimuth_deg + 180.0) % 360.0 - 180.0
    np.testing.assert_allclose(turn * sky, 0.0, atol=1e-9)


@given(times)
def test_declination_is_within_the_obliquity(t):
    assert abs(sun.subsolar(UtcTimes(np.array(t))).lat_deg) < 23.46


@given(
    hnp.arrays(np.float64, hnp.array_shapes(max_dims=1, max_side=40), elements=times),
    lats,
    lons,
)
@settings(max_examples=50)
def test_array_equals_scalar_loop(t, lat, lon):
    # to the bit: the vector loop, its scalar rest and the grid use the same arithmetic
    together = sun.position(UtcTimes(t), np.full(t.shape, lat), np.full(t.shape, lon))
    grid = sun.position(UtcTimes(t), lat, lon)
    for i, single in enumerate(t):
        alone = at(single, lat, lon)
        assert together.zenith_deg[i] == alone.zenith_deg == grid.zenith_deg[i]
        assert together.azimuth_deg[i] == alone.azimuth_deg == grid.azimuth_deg[i]


@given(st.integers(-25567, 47846), lats, lons, st.floats(80.0, 110.0))
@settings(max_examples=200)
def test_events_are_where_the_sun_crosses(day, lat, lon, zenith_deg):
    found = sun.events(np.datetime64(day, "D"), lat, lon, None, zenith_deg=zenith_deg)
    t = day * 86400.0 + np.arange(0.0, 86400.0, 300.0)
    zenith = at(t, lat, lon).zenith_deg
    if found.state == "always above":
        assert zenith.max() <= zenith_deg
    elif found.state == "always below":
        assert zenith.min() >= zenith_deg
    else:
        assert found.state == "happens"
        for event, sign in ((found.rise_utc, 1.0), (found.set_utc, -1.0)):
            when = float(event.unix_s)
            if np.isfinite(when):
                assert day * 86400.0 <= when < (day + 1) * 86400.0
                # at most 15 deg of zenith an hour: 0.1 s is 0.0004 deg
                assert abs(at(when, lat, lon).zenith_deg - zenith_deg) < 5e-4
                before, after = at([when - 1.0, when + 1.0], lat, lon).zenith_deg
                assert sign * (before - after) >= -1e-9
    # every crossing seen by the coarse sampling is found
    rises = (zenith[:-1] > zenith_deg) & (zenith[1:] < zenith_deg)
    falls = (zenith[:-1] < zenith_deg) & (zenith[1:] > zenith_deg)
    for crossings, event in ((rises, found.rise_utc), (falls, found.set_utc)):
        if crossings.any():
            first = t[:-1][crossings][0]
            assert event.unix_s <= first + 300.0


@given(times, st.floats(0.0, 1000.0), st.integers(2, 50))
@settings(max_examples=50)
def test_terminator_is_a_line_of_equal_zenith(t, height_km, points):
    line = sun.terminator(UtcTimes(np.array(t)), height_km, points=points)
    zenith = at(t, line.lat_deg, line.lon_deg).zenith_deg
    assert np.ptp(zenith) < 1e-11
    assert (np.abs(line.lat_deg) <= 90.0).all()
    assert (np.abs(line.lon_deg) <= 180.0).all()

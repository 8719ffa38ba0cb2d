"""Behaviour of the sun's typed face: shapes, edges, errors, missing values."""

import datetime as dt
import doctest

import numpy as np
import pandas as pd
import pytest

from farhear import InputError, _core, sun, utc
from farhear.times import UtcTimes

NOON = "2026-06-21T12:00Z"


def test_doctests():
    failed, tried = doctest.testmod(sun)
    assert tried >= 10
    assert failed == 0


def test_scalars_give_numpy_scalars():
    here = sun.position(NOON, 58.4, 26.7)
    assert isinstance(here.zenith_deg, np.float64)
    assert isinstance(here.azimuth_deg, np.float64)
    assert isinstance(sun.zenith_at_height(110), np.float64)
    assert isinstance(sun.subsolar(NOON).lat_deg, np.float64)
    day = sun.events("2026-06-21", 58.4, 26.7, None)
    assert day.rise_utc.shape == ()
    assert day.state == "happens"


@pytest.mark.parametrize(
    ("t_shape", "lat_shape", "lon_shape"),
    [
        ((4,), (4,), (4,)),
        ((4, 1), (3,), (3,)),
        ((3,), (4, 1), (4, 1)),
        ((3,), (4, 1), (1,)),
        ((24, 1, 1), (5, 1), (7,)),
        ((7,), (24, 1, 1), (1, 5, 1)),
        ((1, 5, 1), (24, 1, 1), (7,)),
        ((24, 1, 7), (5, 1), ()),
        ((), (5,), (5,)),
        ((40, 1), (), ()),
        ((1, 40), (1, 1), (1, 1)),
        ((2, 1), (2, 1), (3,)),
        ((0, 1), (3,), (3,)),
        ((0,), (0,), (0,)),
        ((3, 1), (0,), (0,)),
    ],
)
def test_every_broadcast_agrees_with_the_pairs(t_shape, lat_shape, lon_shape):
    rng = np.random.default_rng(3)
    t = rng.uniform(1.7e9, 1.8e9, t_shape)
    lat = rng.uniform(-90.0, 90.0, lat_shape)
    lon = rng.uniform(-180.0, 180.0, lon_shape)
    ours = sun.position(UtcTimes(t), lat, lon)
    full = np.broadcast_arrays(t, lat, lon)
    pairs = _core.sun.position(*(np.ascontiguousarray(a).reshape(-1) for a in full))
    for got, flat in zip(ours, pairs, strict=True):
        assert np.shape(got) == full[0].shape
        np.testing.assert_array_equal(got, flat.reshape(full[0].shape))


def test_views_of_any_stride_give_the_same():
    rng = np.random.default_rng(4)
    t, lat, lon = rng.uniform(1.7e9, 1.8e9, (6, 8)), *rng.uniform(-90.0, 90.0, (2, 6, 8))
    whole = sun.position(UtcTimes(t), lat, lon).zenith_deg
    for view in (np.transpose, lambda a: a[::-1], lambda a: a[:, ::2], lambda a: a[1::3, ::-1]):
        times = UtcTimes(t)
        object.__setattr__(times, "unix_s", view(t))  # a view, not the copy the class would make
        np.testing.assert_array_equal(
            sun.position(times, view(lat), view(lon)).zenith_deg, view(whole)
        )
    with pytest.raises(TypeError):
        _core.sun.position(t[:, 0].astype(np.float32), lat[:, 0], lon[:, 0])


def test_missing_values_pass_through():
    here = sun.position(UtcTimes(np.array([np.nan, 1.7e9, 1.7e9, 1.7e9])),
                        [0.0, np.nan, 0.0, 0.0], [0.0, 0.0, np.nan, 0.0])  # fmt: skip
    np.testing.assert_array_equal(np.isnan(here.zenith_deg), [True, True, True, False])
    np.testing.assert_array_equal(np.isnan(here.azimuth_deg), [True, True, True, False])
    day = sun.events(np.array(["2026-06-21", "NaT"], "datetime64[D]"), 0.0, [[np.nan], [0.0]], None)
    np.testing.assert_array_equal(day.state, [["missing", "missing"], ["happens", "missing"]])
    np.testing.assert_array_equal(np.isnan(day.rise_utc.unix_s), day.state == "missing")
    assert np.isnan(sun.zenith_at_height(np.nan))
    assert np.isnan(sun.terminator(NOON, np.nan, points=5).lat_deg).all()
    assert np.isnan(sun.subsolar(UtcTimes(np.array(np.nan))).lon_deg)


def test_poles_see_the_declination():
    # seen from a pole the sun stands at 90 -+ declination and circles by 15 deg an hour
    hours = utc(np.arange("2026-05-01", "2026-05-02", dtype="M8[h]"), naive_is_utc=True)
    declination = sun.subsolar(hours).lat_deg
    north, south = (sun.position(hours, lat, 0.0) for lat in (90.0, -90.0))
    np.testing.assert_allclose(north.zenith_deg, 90.0 - declination, atol=1e-12)
    np.testing.assert_allclose(south.zenith_deg, 90.0 + declination, atol=1e-12)
    np.testing.assert_allclose(np.diff(north.azimuth_deg) % 360.0, 15.0, atol=0.01)
    np.testing.assert_allclose(-np.diff(south.azimuth_deg) % 360.0, 15.0, atol=0.01)


def test_date_line_is_one_meridian():
    west, east, full = (sun.position(NOON, 10.0, lon) for lon in (-180.0, 180.0, 360.0 - 90.0))
    np.testing.assert_allclose(west, east, atol=1e-11)
    np.testing.assert_allclose(full, sun.position(NOON, 10.0, -90.0), atol=1e-11)


def test_sun_is_overhead_at_the_subsolar_point():
    hours = utc(np.arange("2024-02-28", "2024-03-02", dtype="M8[h]"), naive_is_utc=True)
    overhead = sun.subsolar(hours)
    zenith = sun.position(hours, overhead.lat_deg, overhead.lon_deg).zenith_deg
    assert zenith.max() < 1e-12
    nadir = sun.position(hours, -overhead.lat_deg, (overhead.lon_deg + 360.0) % 360.0 - 180.0)
    np.testing.assert_allclose(nadir.zenith_deg, 180.0, atol=1e-11)


@pytest.mark.parametrize(
    "midnight", ["2024-02-29T00:00Z", "2024-03-01T00:00Z", "2027-01-01T00:00Z", "2100-03-01T00:00Z"]
)
def test_nothing_jumps_at_the_turn_of_a_day(midnight):
    # leap day, year end, the missing leap day of 2100: 0.25 deg of azimuth turn a minute
    t = utc(midnight).unix_s + np.array([-60.0, 0.0, 60.0])
    lon = sun.subsolar(UtcTimes(t)).lon_deg
    np.testing.assert_allclose((np.diff(lon) + 180.0) % 360.0 - 180.0, -0.25, atol=1e-4)


def test_first_and_last_day_of_the_range():
    for date in ("1900-01-01", "2100-12-31"):
        assert sun.events(date, 0.0, 20.0, None).state == "happens"


def test_dates_of_every_kind():
    one = sun.events(dt.date(2026, 6, 21), 58.4, 26.7, None)
    for same in (
        "2026-06-21",
        np.datetime64("2026-06-21"),
        np.datetime64("2026-06-21T00:00", "ns"),
    ):
        assert sun.events(same, 58.4, 26.7, None).rise_utc == one.rise_utc
    two = sun.events(["2026-06-21", dt.date(2026, 6, 22)], 58.4, 26.7, None)
    assert two.rise_utc.shape == (2,)
    assert two.rise_utc[0] == one.rise_utc
    assert sun.events([], 58.4, 26.7, None).state.shape == (0,)
    index = pd.date_range("2026-06-21", periods=2)
    assert sun.events(index, 58.4, 26.7, None).rise_utc == two.rise_utc
    with pytest.raises(InputError, match="is an instant"):
        sun.events(index.tz_localize("UTC"), 58.4, 26.7, None)
    grid = sun.events([["2026-06-21"], ["2026-06-22"]], [10.0, 20.0, 30.0], 26.7, None)
    assert grid.state.shape == (2, 3)


@pytest.mark.parametrize(
    ("date", "text"),
    [
        (dt.datetime(2026, 6, 21, tzinfo=dt.UTC), "is an instant"),
        ("21.6.2026", "is not ISO 8601"),
        ("2026-06-21T12:00", "is not ISO 8601"),
        (np.datetime64("2026-06-21T12"), "within a day"),
        (20260621, "is not a date"),
        ("1899-12-31", "outside the years"),
        (["2026-06-21", ["2026-06-22"]], "unequal lengths"),
    ],
)
def test_what_is_no_date_is_refused(date, text):
    with pytest.raises(InputError, match=text):
        sun.events(date, 58.4, 26.7, None)


def test_polar_day_and_night():
    year = sun.events(["2026-06-21", "2026-12-21", "2026-03-20"], 80.0, 15.0, None)
    np.testing.assert_array_equal(year.state, ["always above", "always below", "happens"])
    np.testing.assert_array_equal(np.isnan(year.rise_utc.unix_s), [True, True, False])


def test_a_day_can_hold_only_one_event():
    # The sun rises for good in spring and sets for good in autumn: some day of the year at 75 N
    # has a rise and no set, or a set and no rise, and still "happens".
    days = np.arange(np.datetime64("2026-01-01"), np.datetime64("2027-01-01"))
    for lat in (75.0, 89.9):
        year = sun.events(days, lat, 100.0, None)
        rise, fall = np.isfinite(year.rise_utc.unix_s), np.isfinite(year.set_utc.unix_s)
        assert (rise ^ fall).any()
        np.testing.assert_array_equal(year.state == "happens", rise | fall)


def test_of_two_rises_in_a_window_the_first_is_given():
    # Just before polar day the set creeps towards midnight and the rise back from it, so a UTC
    # day at the right longitude holds two sets or two rises; each must be the day's first crossing.
    days = np.arange(np.datetime64("2026-03-01"), np.datetime64("2026-10-01"))
    lon = np.arange(-180.0, 180.0, 2.0)
    found = sun.events(days[:, None], 72.0, lon, None)
    start = days.astype(np.int64)[:, None] * 86400.0
    half = _core.sun.events
    rise = found.rise_utc.unix_s
    later = np.where(np.isnan(rise), start + 86399.0, rise + 1.0)
    flat = [np.ascontiguousarray(np.broadcast_to(a, rise.shape)).reshape(-1)
            for a in (later, start + 86400.0, 72.0, lon, 90.833)]  # fmt: skip
    again = half(*flat)[0].reshape(rise.shape)
    two = np.isfinite(again) & np.isfinite(rise)
    assert two.any()
    assert (again[two] > rise[two]).all()


def test_height_makes_its_own_angle():
    day = sun.events("2025-03-20", 50.0, 10.0, None, height_km=[0.0, 110.0, 300.0])
    assert (np.diff(day.rise_utc.unix_s) < 0.0).all()
    assert (np.diff(day.set_utc.unix_s) > 0.0).all()
    at_110 = sun.events("2025-03-20", 50.0, 10.0, None, zenith_deg=sun.zenith_at_height(110.0))
    assert day.rise_utc[1] == at_110.rise_utc
    with pytest.raises(InputError, match="zenith_deg and height_km"):
        sun.events("2025-03-20", 50.0, 10.0, None, zenith_deg=96.0, height_km=110.0)


def test_terminator_shapes_and_closure():
    times = utc([NOON, "2026-12-21T00:00Z"])
    line = sun.terminator(times.reshape(2, 1), [0.0, 110.0, 300.0], points=73)
    assert line.lat_deg.shape == line.lon_deg.shape == (2, 3, 73)
    np.testing.assert_array_equal(line.lat_deg[..., 0], line.lat_deg[..., -1])
    np.testing.assert_array_equal(line.lon_deg[..., 0], line.lon_deg[..., -1])
    assert sun.terminator(NOON).lat_deg.shape == (361,)
    zenith = sun.position(times.reshape(2, 1, 1), line.lat_deg, line.lon_deg).zenith_deg
    expected = np.array([90.833, 100.5713, 107.2482])[:, None]  # 90 + acos(6371 / (6371 + h))
    np.testing.assert_allclose(zenith, np.broadcast_to(expected, zenith.shape), atol=6e-5)


@pytest.mark.parametrize("points", [1, 0, -3, 2.5, True, 10**7])
def test_terminator_refuses_odd_numbers_of_points(points):
    with pytest.raises(InputError, match="points"):
        sun.terminator(NOON, points=points)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: sun.position(NOON, 95.0, 0.0), r"lat_deg = 95 is outside \[-90, 90\]"),
        (lambda: sun.position(NOON, [0.0, 91.0], 0.0), r"lat_deg\[1\] = 91"),
        (lambda: sun.position(NOON, 0.0, 361.0), r"lon_deg = 361 is outside \[-180, 360\]"),
        (lambda: sun.position(NOON, [0.0, 1.0], [0.0, 1.0, 2.0]), r"lat_deg \(2,\)"),
        (lambda: sun.position("2026-06-21T12:00", 0.0, 0.0), "no time zone"),
        (lambda: sun.zenith_at_height(-1.0), "height_km = -1"),
        (lambda: sun.zenith_at_height(10.0, 35.0), "screening_km = 35 is above height_km = 10"),
        (lambda: sun.events("2026-06-21", 0.0, 0.0, None, zenith_deg=181.0), "zenith_deg = 181"),
        (lambda: sun.events("2026-06-21", -91.0, 0.0, None), "lat_deg = -91"),
    ],
)
def test_errors_name_argument_value_and_range(call, text):
    with pytest.raises(InputError, match=text):
        call()


def test_the_core_checks_by_itself():
    t, lat, lon = np.zeros(3), np.array([0.0, 0.0, -90.5]), np.zeros(3)
    with pytest.raises(InputError, match=r"lat_deg\[2\] = -90.5"):
        _core.sun.position(t, lat, lon)
    with pytest.raises(InputError, match="lon_deg has 2 elements, expected 3"):
        _core.sun.position_grid(t, lat, lon[:2])

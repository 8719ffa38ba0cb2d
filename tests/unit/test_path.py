"""Behaviour of farhear.path: shapes, conventions, errors."""

import doctest

import numpy as np
import pytest

from farhear import _core, path
from farhear.errors import InputError


def test_docstring_examples():
    result = doctest.testmod(path)
    assert result.attempted > 0
    assert result.failed == 0


def test_scalars_in_scalars_out_and_broadcasting():
    one = path.inverse(0, 0, 1, 1)
    assert isinstance(one.distance_km, np.float64)
    many = path.inverse(np.zeros((3, 1)), 0, 1, np.arange(4))
    assert many.distance_km.shape == (3, 4)
    np.testing.assert_array_equal(many.azimuth_deg[0], many.azimuth_deg[2])
    assert path.sphere([], [], [], []).distance_km.shape == (0,)
    assert path.inverse([], 0, 1, 1).azimuth_deg.shape == (0,)
    assert path.points(0, 0, 10, 10, np.linspace(0, 1, 5)).lat_deg.shape == (5,)


def test_views_of_any_layout():
    lat = np.linspace(-80, 80, 24).reshape(4, 6)
    want = path.sphere(np.ascontiguousarray(lat.T), 0, 10, 10).distance_km
    np.testing.assert_array_equal(path.sphere(lat.T, 0, 10, 10).distance_km, want)
    np.testing.assert_array_equal(
        path.sphere(lat[:, ::-2], 0, 10, 10).distance_km,
        path.sphere(lat[:, ::-2].copy(), 0, 10, 10).distance_km,
    )
    with pytest.raises(TypeError):  # the core refuses what it would have to copy
        _core.path.sphere(lat[:, ::2], lat[:, ::2], lat[:, ::2], lat[:, ::2])


def test_back_azimuth_looks_at_place_1():
    line = path.inverse(0, 0, 0, 10)
    assert (line.azimuth_deg, line.back_azimuth_deg) == (90, 270)
    home = path.direct(0, 10, line.back_azimuth_deg, line.distance_km)
    assert home.lon_deg == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize(("lat", "lon1", "lon2"), [(12, 5, 5), (-12, 180, -180), (0, 350, -10)])
def test_coincident_places(lat, lon1, lon2):
    assert path.inverse(lat, lon1, lat, lon2) == (0, 0, 180)
    assert path.sphere(lat, lon1, lat, lon2) == (0, 0)


def test_coincident_poles():
    assert path.inverse(90, 0, 90, 100) == (0, 0, 180)
    assert path.sphere(90, 0, 90, 100).distance_km == 0


def test_antipodes_go_over_the_nearer_pole():
    # Half the meridian of WGS84 is 20003.931 km (two quadrants of 10001.965729 km, from memory)
    for lat, azimuth, back in [(0, 0, 0), (30, 0, 0), (-30, 180, 180)]:
        line = path.inverse(lat, 0, -lat, 180)
        assert line.distance_km == pytest.approx(2 * 10001.965729, abs=1e-6)
        assert (line.azimuth_deg, line.back_azimuth_deg) == (azimuth, back)
        assert path.sphere(lat, 0, -lat, 180) == (pytest.approx(np.pi * 6371, rel=1e-15), 0)


def test_signed_zeros_and_both_names_of_the_antimeridian():
    for zero in (0.0, -0.0):
        assert path.inverse(zero, zero, 10, 0).azimuth_deg == 0
        assert not np.signbit(path.sphere(zero, zero, 10, -0.0).azimuth_deg)
    for f in (path.inverse, path.sphere):
        np.testing.assert_array_equal(f(10, 180, 20, 170), f(10, -180, 20, 170))
        np.testing.assert_allclose(f(10, 350, 20, 40), f(10, -10, 20, 40), rtol=1e-14)
    assert path.direct(0, 179, 90, 2 * 111.319490793).lon_deg == pytest.approx(-179, abs=1e-8)
    assert path.points(0, 170, 0, -170, 0.5).lon_deg == 180
    assert path.points(0, 0, 0, 90, -2).lon_deg == 180


def test_nan_passes():
    nan = np.nan
    assert all(np.isnan(path.inverse(nan, 0, 1, 1)))
    assert all(np.isnan(path.direct(0, 0, nan, 1)))
    assert all(np.isnan(path.sphere(90, nan, 1, 1)))
    assert all(np.isnan(path.points(90, nan, 1, 1, 0)))
    assert all(np.isnan(path.points(0, 0, 0, 0, nan)))
    assert path.locator([nan, 0], 0).tolist() == ["", "JJ00aa"]
    assert all(np.isnan(path.from_locator("")))


def test_errors_name_argument_index_and_range():
    with pytest.raises(InputError, match=r"lat2_deg\[1\] = 151\.2 .*\[-90, 90\].*swapped"):
        path.inverse(0, 0, [0, 151.2], 0)
    with pytest.raises(InputError, match=r"lon1_deg = 361"):
        path.sphere(0, 361, 0, 0)
    with pytest.raises(InputError, match=r"azimuth_deg = 400"):
        path.direct(0, 0, 400, 1)
    with pytest.raises(InputError, match="shapes do not broadcast"):
        path.inverse([1, 2, 3], 0, [1, 2], 0)
    with pytest.raises(InputError, match="not a number"):
        path.points(0, 0, 0, 0, "half")
    with pytest.raises(InputError, match="fraction"):
        path.points(0, 0, 0, 0, np.inf)


def test_long_path():
    middle = path.points(45, 25, 51.5, 0, 0.5)
    other = path.points(45, 25, 51.5, 0, 0.5, long_path=True)
    assert path.sphere(*middle, *other).distance_km == pytest.approx(np.pi * 6371, rel=1e-12)
    # at one quarter of the long path the distance from the start is a quarter of its length
    quarter = path.points(45, 25, 51.5, 0, 0.25, long_path=True)
    whole = 2 * np.pi * 6371 - path.sphere(45, 25, 51.5, 0).distance_km
    assert path.sphere(45, 25, *quarter).distance_km == pytest.approx(whole / 4, rel=1e-12)


def test_points_without_direction():
    assert path.points(90, 0, -90, 0, 0.5) == (pytest.approx(0, abs=1e-12), 0)
    assert path.points(30, 40, -30, -140, 60 / 180).lat_deg == pytest.approx(90, abs=1e-6)
    assert path.points(30, 40, -30, -140, 120 / 180, True).lat_deg == pytest.approx(-90, abs=1e-6)
    assert path.points(30, 40, 30, 40, 0.7) == (pytest.approx(30), pytest.approx(40))


def test_locator_edges_of_the_world():
    assert path.locator(90, 180) == "AR09ax"  # the last row; 180 E is 180 W
    assert path.locator(90, 179.99) == "RR99xx"
    assert path.locator(-90, -180, 10) == "AA00aa00aa"
    assert path.locator(0, 360, 2) == path.locator(0, 0, 2) == "JJ"
    assert path.locator(-1e-6, -1e-6, 4) == "II99"


def test_locator_borders_given_in_decimals():
    # every corner of a 6-character cell, written as a rounded decimal, stays in its own cell
    row = np.arange(0, 4320, 7)
    lat = row / 24 - 90
    lon = row * 2 / 24 - 180
    text = path.locator(lat, lon)
    cell = path.from_locator(text)
    np.testing.assert_allclose(cell.lat_deg - cell.half_lat_deg, lat, atol=1e-12)
    np.testing.assert_allclose(cell.lon_deg - cell.half_lon_deg, lon, atol=1e-12)


def test_locator_shapes_and_case():
    text = path.locator(np.zeros((2, 1)), np.zeros(3), 4)
    assert text.shape == (2, 3)
    assert text.dtype == object
    cell = path.from_locator(text)
    assert cell.lat_deg.shape == (2, 3)
    assert path.from_locator(" jn58TD ") == path.from_locator("JN58td")
    assert path.from_locator([]).lat_deg.shape == (0,)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("JN58t", "5 characters"),
        ("JS58td", "character 2 is 'S', expected A to R"),
        ("JNa8td", "character 3 is 'A', expected 0 to 9"),
        ("JN58tz", "character 6 is 'Z', expected A to X"),
        ("JN58td1x", "character 8 is 'X', expected 0 to 9"),
        ("JN٣8td", "character 3"),
        (17, "not text"),
    ],
)
def test_locator_errors(text, message):
    with pytest.raises(InputError, match=message):
        path.from_locator(text)
    with pytest.raises(InputError, match=r"locator\[1\]"):
        path.from_locator(["JN58td", text])


@pytest.mark.parametrize("characters", [0, 1, 3, 12, "six", None])
def test_locator_length_errors(characters):
    with pytest.raises(InputError, match="characters"):
        path.locator(0, 0, characters)

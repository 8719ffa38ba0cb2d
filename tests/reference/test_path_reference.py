"""Geodesics, great circles and locators against published lines and against other libraries."""

import numpy as np
import pyproj
import pytest
from geographiclib.geodesic import Geodesic

from farhear import path

WGS84 = pyproj.Geod(ellps="WGS84")


def dms(deg, minute, second):
    return deg + minute / 60 + second / 3600


def turn(a_deg, b_deg):
    """Difference of two directions, -180 to 180."""
    return (np.asarray(a_deg) - b_deg + 180) % 360 - 180


# (lat1_deg, lon1_deg, lat2_deg, lon2_deg, s12_m, azi1_deg, azi2_deg); azi2 runs onwards at place 2,
# so the back azimuth is azi2 + 180. WGS84.
INVERSE = [
    # GeographicLib, documentation (printed to 1 mm, 1e-8 deg)
    (-41.32, 174.81, 40.96, -5.50, 19959679.267, 161.06766999, 18.82519512),
    # GeographicLib, documentation (printed to 1 mm, 1e-8 deg)
    (40.6, -73.8, 51.6, -0.5, 5551759.400, 51.19888285, 107.82177674),
    # C. F. F. Karney, J. Geodesy 87 (2013) 43, the near-antipodal line (0.1 mm, 1e-8 deg)
    (-30.0, 0.0, 29.9, 179.8, 19989832.8276, 161.89052474, 18.09073725),
]


@pytest.mark.parametrize("line", INVERSE)
def test_published_inverse_lines(line):
    lat1, lon1, lat2, lon2, s12_m, azi1, azi2 = line
    got = path.inverse(lat1, lon1, lat2, lon2)
    assert got.distance_km * 1e3 == pytest.approx(s12_m, abs=0.6e-3)  # printed to 1 mm or better
    assert got.azimuth_deg == pytest.approx(azi1, abs=0.6e-8)
    assert turn(got.back_azimuth_deg, azi2 + 180) == pytest.approx(0, abs=0.6e-8)


def test_published_direct_line():
    # C. F. F. Karney, J. Geodesy 87 (2013) 43, Table 2: printed to 1e-10 deg
    got = path.direct(40, 0, 30, 10000)
    assert got.lat_deg == pytest.approx(41.7933102051, abs=0.6e-10)
    assert got.lon_deg == pytest.approx(137.8449000438, abs=0.6e-10)
    assert got.back_azimuth_deg == pytest.approx(149.0901693181 + 180, abs=0.6e-10)


def test_flinders_peak_to_buninyong():
    # GDA Technical Manual (ICSM): 54 972.271 m, 306 52 05.37, reverse 127 10 25.07, on GRS80.
    # The flattening of WGS84 differs by 1.6e-11, far below the last digits (1 mm, 0.01").
    got = path.inverse(
        -dms(37, 57, 3.72030),
        dms(144, 25, 29.52440),
        -dms(37, 39, 10.15610),
        dms(143, 55, 35.38390),
    )
    assert got.distance_km * 1e3 == pytest.approx(54972.271, abs=1e-3)
    assert got.azimuth_deg == pytest.approx(dms(306, 52, 5.37), abs=0.01 / 3600)
    assert got.back_azimuth_deg == pytest.approx(dms(127, 10, 25.07), abs=0.01 / 3600)


@pytest.fixture
def pairs():
    rng = np.random.default_rng(20261125)
    n = 10_000
    lat = np.degrees(np.arcsin(rng.uniform(-1, 1, (2, n))))
    lon = rng.uniform(-180, 180, (2, n))
    return lat[0], lon[0], lat[1], lon[1]


def test_random_pairs_against_pyproj(pairs):
    lat1, lon1, lat2, lon2 = pairs
    azi1, back, s12_m = WGS84.inv(lon1, lat1, lon2, lat2)
    got = path.inverse(lat1, lon1, lat2, lon2)
    # seen: 9.3e-9 m, 8e-13 deg
    assert np.abs(got.distance_km * 1e3 - s12_m).max() < 1e-7
    assert np.abs(turn(got.azimuth_deg, azi1)).max() < 1e-10
    assert np.abs(turn(got.back_azimuth_deg, back)).max() < 1e-10


def test_random_pairs_against_geographiclib(pairs):
    pairs = [x[:500] for x in pairs]
    got = path.inverse(*pairs)
    for i, place in enumerate(zip(*pairs, strict=True)):
        want = Geodesic.WGS84.Inverse(*place)
        assert got.distance_km[i] * 1e3 == pytest.approx(want["s12"], abs=1e-7)
        assert turn(got.azimuth_deg[i], want["azi1"]) == pytest.approx(0, abs=1e-10)
        assert turn(got.back_azimuth_deg[i], want["azi2"] + 180) == pytest.approx(0, abs=1e-10)


def test_nearly_antipodal_pairs(pairs):
    lat1, lon1, _, _ = pairs
    rng = np.random.default_rng(7)
    lat2 = np.clip(-lat1 + rng.uniform(-0.6, 0.6, lat1.size), -90, 90)
    lon2 = turn(lon1 + 180 + rng.uniform(-0.6, 0.6, lat1.size), 0)
    azi1, _, s12_m = WGS84.inv(lon1, lat1, lon2, lat2)
    got = path.inverse(lat1, lon1, lat2, lon2)
    # seen: 1.1e-8 m, 2e-11 deg. The directions are ill-conditioned here, lengths are not.
    assert np.abs(got.distance_km * 1e3 - s12_m).max() < 1e-7
    assert np.abs(turn(got.azimuth_deg, azi1)).max() < 1e-7


def test_direct_against_pyproj(pairs):
    lat1, lon1, _, _ = pairs
    rng = np.random.default_rng(8)
    azimuth = rng.uniform(0, 360, lat1.size)
    distance_km = rng.uniform(-1e5, 1e5, lat1.size)  # several times round, and backwards
    lon2, lat2, back = WGS84.fwd(lon1, lat1, azimuth, distance_km * 1e3)
    got = path.direct(lat1, lon1, azimuth, distance_km)
    # seen: 3e-13 deg in latitude, 2e-12 in longitude and azimuth
    assert np.abs(got.lat_deg - lat2).max() < 1e-10
    assert np.abs(turn(got.lon_deg, lon2)).max() < 1e-10
    assert np.abs(turn(got.back_azimuth_deg, back)).max() < 1e-10


@pytest.mark.parametrize("lat1", [90.0, -90.0])
@pytest.mark.parametrize("azimuth", [0.0, 30.0, 180.0, 275.0])
def test_direct_from_a_pole(lat1, azimuth):
    want = Geodesic.WGS84.Direct(lat1, 10, azimuth, 1e6)
    got = path.direct(lat1, 10, azimuth, 1000)
    assert got.lat_deg == pytest.approx(want["lat2"], abs=1e-10)
    assert turn(got.lon_deg, want["lon2"]) == pytest.approx(0, abs=1e-10)


@pytest.mark.parametrize(
    "place",
    [
        (0, 0, 0, 180),
        (30, 0, -30, 180),
        (-30, 0, 30, 180),
        (90, 0, -90, 0),
        (90, 10, 0, 40),
        (-90, 10, 0, 40),
        (0, 0, 0, 179.5),
        (0, 0, 0, 179.3),
        (10, -180, 10, 179),
        (10, 180, -10, -180),
        (-0.0, 0, 0.0, 90),
        (0, 0, 1e-9, 1e-9),
    ],
)
def test_places_where_formulas_break(place):
    want = Geodesic.WGS84.Inverse(*place)
    got = path.inverse(*place)
    assert got.distance_km * 1e3 == pytest.approx(want["s12"], abs=1e-7)
    # 1e-9 deg is 0.1 mm long: its direction is good to 1e-8 only
    assert turn(got.azimuth_deg, want["azi1"]) == pytest.approx(0, abs=1e-6)
    assert turn(got.back_azimuth_deg, want["azi2"] + 180) == pytest.approx(0, abs=1e-6)


def test_sphere_against_numpy_vectors(pairs):
    # Own referee: unit vectors and numpy's arctan2, another road to the same circle.
    lat1, lon1, lat2, lon2 = map(np.radians, pairs)
    a = np.stack([np.cos(lat1) * np.cos(lon1), np.cos(lat1) * np.sin(lon1), np.sin(lat1)])
    b = np.stack([np.cos(lat2) * np.cos(lon2), np.cos(lat2) * np.sin(lon2), np.sin(lat2)])
    angle = np.arctan2(np.linalg.norm(np.cross(a, b, axis=0), axis=0), np.sum(a * b, axis=0))
    got = path.sphere(*pairs)
    assert np.abs(got.distance_km - 6371.0 * angle).max() < 1e-9
    on_sphere = pyproj.Geod(a=6371000.0, b=6371000.0)
    azimuth, _, s12_m = on_sphere.inv(pairs[1], pairs[0], pairs[3], pairs[2])
    assert np.abs(got.distance_km * 1e3 - s12_m).max() < 1e-6
    assert np.abs(turn(got.azimuth_deg, azimuth)).max() < 1e-9
    # the sphere is meant to be within 0.6 % of the ellipsoid
    assert np.abs(got.distance_km / path.inverse(*pairs).distance_km - 1).max() < 0.006


def test_short_and_nearly_antipodal_arcs_keep_their_digits():
    # On a meridian the answer is 6371 km times the angle, whatever its size.
    step = np.array([1e-9, 1e-6, 1e-3, 1.0, 179.0, 179.999999])
    got = path.sphere(-90.0 + 1e-9, 20.0, -90.0 + 1e-9 + step, 20.0)
    want = 6371.0 * np.radians((-90.0 + 1e-9 + step) - (-90.0 + 1e-9))
    np.testing.assert_allclose(got.distance_km, want, rtol=1e-13)


def test_points_against_pyproj():
    on_sphere = pyproj.Geod(a=6371000.0, b=6371000.0)
    want = on_sphere.npts(25.0, 45.0, 0.0, 51.5, 9)
    got = path.points(45, 25, 51.5, 0, np.arange(1, 10) / 10)
    np.testing.assert_allclose(got.lon_deg, [p[0] for p in want], atol=1e-10)
    np.testing.assert_allclose(got.lat_deg, [p[1] for p in want], atol=1e-10)


def test_worked_circuit():
    # No published source: a separate script of the same spherical trigonometry, R = 6371 km,
    # printed to four decimals:
    # 45 N 25 E to 51.5 N 0 E: 1975.0843 km, midpoint 48.9290 N 13.3081 E.
    assert path.sphere(45, 25, 51.5, 0).distance_km == pytest.approx(1975.0843, abs=0.6e-4)
    middle = path.points(45, 25, 51.5, 0, 0.5)
    assert middle.lat_deg == pytest.approx(48.9290, abs=0.6e-4)
    assert middle.lon_deg == pytest.approx(13.3081, abs=0.6e-4)


# Widely printed examples of the Maidenhead system; all from memory, no page to cite.
LOCATORS = [
    (48.14666, 11.60833, "JN58td"),  # Munich, in explanations of the system
    (-34.91, -56.21166, "GF15vc"),  # Montevideo
    (38.92, -77.065, "FM18lw"),  # Washington, D.C.
    (-41.28333, 174.745, "RE78ir"),  # Wellington
    (51.4778, -0.0015, "IO91xl"),  # just west of the Greenwich meridian
]


@pytest.mark.parametrize(("lat", "lon", "text"), LOCATORS)
def test_locator_examples(lat, lon, text):
    assert path.locator(lat, lon) == text
    cell = path.from_locator(text)
    assert abs(cell.lat_deg - lat) <= cell.half_lat_deg
    assert abs(cell.lon_deg - lon) <= cell.half_lon_deg


def test_cell_sizes():
    # Definition (from memory): 10 x 20 deg, 1 x 2 deg, 2.5' x 5', 15" x 30", 0.625" x 1.25"
    sizes = [("JJ", 10, 20), ("JJ00", 1, 2), ("JJ00aa", 2.5 / 60, 5 / 60)]
    sizes += [("JJ00aa00", 15 / 3600, 30 / 3600), ("JJ00aa00aa", 0.625 / 3600, 1.25 / 3600)]
    for text, height, width in sizes:
        cell = path.from_locator(text)
        assert 2 * cell.half_lat_deg == pytest.approx(height, rel=1e-14)
        assert 2 * cell.half_lon_deg == pytest.approx(width, rel=1e-14)
        assert cell.lat_deg == pytest.approx(height / 2, rel=1e-9)  # JJ starts at 0, 0
        assert cell.lon_deg == pytest.approx(width / 2, rel=1e-9)

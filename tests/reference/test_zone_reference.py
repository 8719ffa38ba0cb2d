"""Point in polygon with shapely (GEOS) as the referee, on random invented polygons."""

import numpy as np
import pytest

from farhear import zone

shapely = pytest.importorskip("shapely")


def star(rng, corners, lon, lat, radius):
    """A random ring without crossings round (lon, lat)."""
    angle = np.sort(rng.uniform(0, 2 * np.pi, corners))
    r = radius * rng.uniform(0.3, 1, corners)
    ring = list(zip(lon + r * np.cos(angle), lat + r * np.sin(angle), strict=True))
    return [*ring, ring[0]]


@pytest.mark.parametrize("seed", range(12))
def test_random_polygons_with_holes(seed):
    rng = np.random.default_rng(seed)
    corners = [4, 9, 60, 700][seed % 4]
    outline = star(rng, corners, 10, 5, 60)
    hole = star(rng, 12, 10, 5, 10)
    zones = zone.Zones({"star": [[outline, hole]]})
    lat, lon = rng.uniform(-60, 70, 20_000), rng.uniform(-60, 80, 20_000)
    # A hole may reach beyond a thin outline here, so the referee subtracts. No point is on an edge.
    area = shapely.Polygon(outline).difference(shapely.Polygon(hole))
    want = shapely.contains_xy(area, lon, lat)
    np.testing.assert_array_equal(zones.contains("star", lat, lon), want)


@pytest.mark.parametrize("centre", [180, -180, 175, 200, 359])
def test_shifted_round_the_earth(centre):
    """A ring centred anywhere, longitudes brought to (-180, 180], equals shapely's at 0."""
    rng = np.random.default_rng(3)
    ring = star(rng, 200, 0, 0, 80)
    lat, lon = rng.uniform(-85, 85, 20_000), rng.uniform(-180, 180, 20_000)
    want = shapely.contains_xy(shapely.Polygon(ring), lon, lat)
    moved = [((x + centre + 180) % 360 - 180, y) for x, y in ring]
    zones = zone.Zones({"moved": [[moved]]})
    got = zones.contains("moved", lat, (lon + centre + 180) % 360 - 180)
    np.testing.assert_array_equal(got, want)


def test_many_polygons_find_the_first():
    rng = np.random.default_rng(11)
    rings = [star(rng, 15, rng.uniform(-150, 150), rng.uniform(-60, 60), 25) for _ in range(60)]
    zones = zone.Zones({str(i): [[ring]] for i, ring in enumerate(rings)})
    lat, lon = rng.uniform(-90, 90, 5_000), rng.uniform(-180, 180, 5_000)
    inside = np.array([shapely.contains_xy(shapely.Polygon(r), lon, lat) for r in rings])
    want = [str(np.argmax(column)) if column.any() else None for column in inside.T]
    assert zones.find(lat, lon).tolist() == want

"""Ratios of farhear.path to numpy and pyproj in one run: python tests/bench/bench_path.py.

Seconds belong to a machine; ratios carry over. Best of several runs each, one thread.
"""

import numpy as np
import pyproj
from _timing import best_s, row, size

from farhear import _core, path, zone


def numpy_sphere(lat1_deg, lon1_deg, lat2_deg, lon2_deg):
    lat1, lon1, lat2, lon2 = map(np.radians, (lat1_deg, lon1_deg, lat2_deg, lon2_deg))
    dlon = lon2 - lon1
    h = np.sin((lat2 - lat1) / 2) ** 2 + np.cos(lat1) * np.cos(lat2) * np.sin(dlon / 2) ** 2
    north = np.cos(lat1) * np.sin(lat2) - np.sin(lat1) * np.cos(lat2) * np.cos(dlon)
    azimuth = np.arctan2(np.sin(dlon) * np.cos(lat2), north)
    return 2 * 6371.0 * np.arcsin(np.sqrt(h)), np.degrees(azimuth) % 360


def main():
    rng = np.random.default_rng(1)
    n = size(500_000)
    lat = np.degrees(np.arcsin(rng.uniform(-1, 1, (2, n))))
    lon = rng.uniform(-180, 180, (2, n))
    places = [np.ascontiguousarray(x) for x in (lat[0], lon[0], lat[1], lon[1])]

    plain = best_s(lambda: numpy_sphere(*places)) / n
    row("haversine and bearing in numpy", plain, 1)
    row("sphere, core", best_s(lambda: _core.path.sphere(*places)), n, "numpy", plain)
    row("sphere", best_s(lambda: path.sphere(*places)), n, "numpy", plain, asked=3.0)
    half = np.full(n, 0.5)
    row("points, core", best_s(lambda: _core.path.sphere_points(*places, half, False)), n)

    m = size(20_000)
    few = [x[:m].copy() for x in places]
    geod = pyproj.Geod(ellps="WGS84")
    inverse = best_s(lambda: geod.inv(few[1], few[0], few[3], few[2])) / m
    own = best_s(lambda: _core.path.inverse(*few), 3)
    row("inverse on WGS84, core", own, m, "pyproj", inverse, asked=1.0 / 8.0)
    azimuth, distance = rng.uniform(0, 360, m), rng.uniform(0, 20_000, m)
    forward = best_s(lambda: geod.fwd(few[1], few[0], azimuth, distance * 1e3)) / m
    own = best_s(lambda: _core.path.direct(few[0], few[1], azimuth, distance))
    row("direct on WGS84, core", own, m, "pyproj", forward)

    angle = np.linspace(0, 2 * np.pi, 5_001)
    x, y = 60 * np.cos(angle), 60 * np.sin(angle)
    x[-1], y[-1] = x[0], y[0]
    zones = zone.Zones({"round": [[list(zip(x, y, strict=True))]]})
    row("zone of 5,000 edges, find", best_s(lambda: zones.find(places[0], places[1])), n)


if __name__ == "__main__":
    main()

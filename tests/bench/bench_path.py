"""Ratios of farhear.path to numpy and pyproj in one run: python tests/bench/bench_path.py.

Seconds belong to a machine; ratios carry over. Best of several runs each, one thread.
"""

import numpy as np
import pyproj
from _timing import best_s, size

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

    def report(name, own_s, count, peer, peer_s=None):
        ratio = "" if peer_s is None else f"  {peer_s / own_s:6.2f} times as fast as {peer}"
        print(f"{name:<44} {own_s / count * 1e9:8.1f} ns each{ratio}")

    numpy_s = best_s(lambda: numpy_sphere(*places))
    report("numpy haversine and bearing", numpy_s, n, "")
    report("sphere, core", best_s(lambda: _core.path.sphere(*places)), n, "numpy", numpy_s)
    report("sphere, Python face", best_s(lambda: path.sphere(*places)), n, "numpy", numpy_s)
    half = np.full(n, 0.5)
    report("points, core", best_s(lambda: _core.path.sphere_points(*places, half, False)), n, "")

    m = size(20_000)
    few = [x[:m].copy() for x in places]
    geod = pyproj.Geod(ellps="WGS84")
    inv_s = best_s(lambda: geod.inv(few[1], few[0], few[3], few[2]))
    report("pyproj.Geod.inv", inv_s, m, "")
    report("inverse, core", best_s(lambda: _core.path.inverse(*few), 3), m, "pyproj", inv_s)
    azimuth, distance = rng.uniform(0, 360, m), rng.uniform(0, 20_000, m)
    fwd_s = best_s(lambda: geod.fwd(few[1], few[0], azimuth, distance * 1e3))
    report("pyproj.Geod.fwd", fwd_s, m, "")
    direct_s = best_s(lambda: _core.path.direct(few[0], few[1], azimuth, distance))
    report("direct, core", direct_s, m, "pyproj", fwd_s)

    angle = np.linspace(0, 2 * np.pi, 5_001)
    x, y = 60 * np.cos(angle), 60 * np.sin(angle)
    x[-1], y[-1] = x[0], y[0]
    zones = zone.Zones({"round": [[list(zip(x, y, strict=True))]]})
    report("zone of 5,000 edges, find", best_s(lambda: zones.find(places[0], places[1])), n, "")


if __name__ == "__main__":
    main()

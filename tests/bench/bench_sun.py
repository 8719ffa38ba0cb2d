"""Speed of the sun against general libraries, all in one run: ``python tests/bench/bench_sun.py``.

Ratios carry over from machine to machine, seconds do not. Prints a table; exits with an error if a
result differs where it must not.
"""

import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pvlib
from _timing import QUICK, best_s, row, size

from farhear import _core, sun
from farhear.times import UtcTimes

N = size(1_000_000)
N_SPA = size(50_000)
N_DAYS = size(20_000)
N_SPA_DAYS = size(5000)
N_SIDE = 100 if QUICK else 1000


def closed_form(t_unix_s, lat_deg, lon_deg):
    """The same formula, plainly in numpy: zenith angle and azimuth. [deg]"""
    n = t_unix_s / 86400.0 - 10957.5
    c = n / 36525.0
    mean = np.radians((357.52911 + c * (35999.05029 - 0.0001537 * c)) % 360.0)
    centre = (
        (1.914602 - 0.004817 * c) * np.sin(mean)
        + (0.019993 - 0.000101 * c) * np.sin(2.0 * mean)
        + 0.000289 * np.sin(3.0 * mean)
    )
    node = np.radians(125.04 - 1934.136 * c)
    longitude = np.radians(
        (280.46646 + c * (36000.76983 + 0.0003032 * c)) % 360.0
        + centre - 0.00569 - 0.00478 * np.sin(node)
    )  # fmt: skip
    tilt = np.radians(23.439291 - 0.0130042 * c + 0.00256 * np.cos(node))
    sin_decl = np.sin(tilt) * np.sin(longitude)
    cos_decl = np.sqrt(1.0 - sin_decl**2)
    ascension = np.arctan2(np.cos(tilt) * np.sin(longitude), np.cos(longitude))
    hour = np.radians((280.46061837 + 360.98564736629 * n + lon_deg) % 360.0) - ascension
    sin_lat, cos_lat = np.sin(np.radians(lat_deg)), np.cos(np.radians(lat_deg))
    zenith = np.arccos(sin_lat * sin_decl + cos_lat * cos_decl * np.cos(hour))
    azimuth = np.arctan2(
        -cos_decl * np.sin(hour), sin_decl * cos_lat - cos_decl * sin_lat * np.cos(hour)
    )
    return np.degrees(zenith), np.degrees(azimuth) % 360.0


def in_threads(pool, workers, arrays):
    """The kernel on `workers` blocks at once; it releases the interpreter's lock."""
    parts = zip(*(np.array_split(a, workers) for a in arrays), strict=True)
    return list(pool.map(lambda part: _core.sun.position(*part), parts))


def main():
    """Measure and print."""
    rng = np.random.default_rng(1)
    t = rng.uniform(6.3e8, 2.08e9, N)  # 1990-2035
    lat, lon = rng.uniform(-90.0, 90.0, N), rng.uniform(-180.0, 180.0, N)
    utc = UtcTimes(t)

    plain = best_s(lambda: closed_form(t, lat, lon), 3) / N
    few = slice(0, N_SPA)
    spa = (
        best_s(
            lambda: pvlib.spa.solar_position_numpy(
                t[few], lat[few], lon[few], 0.0, 1013.25, 12.0, 67.0, 0.5667, 1
            ),
            2,
        )
        / N_SPA
    )
    print(f"{N} pairs of instant and place")
    row("closed form in numpy", plain, 1)
    row("SPA of pvlib in numpy", spa, 1)
    row("kernel against the closed form", best_s(lambda: _core.sun.position(t, lat, lon)), N,
        "numpy", plain)  # fmt: skip
    face = best_s(lambda: sun.position(utc, lat, lon))
    row("position against the closed form", face, N, "numpy", plain, asked=10.0)
    row("position against SPA", face, N, "pvlib", spa, asked=300.0)

    times, place_lat, place_lon = UtcTimes(t[:N_SIDE, None]), lat[:N_SIDE], lon[:N_SIDE]
    broadcast = best_s(lambda: closed_form(t[:N_SIDE, None], place_lat, place_lon), 3) / N_SIDE**2
    grid = best_s(lambda: sun.position(times, place_lat, place_lon))
    row(f"{N_SIDE} times x {N_SIDE} places", grid, N_SIDE**2, "numpy", broadcast)
    one = UtcTimes(t[:, None])
    row("one place", best_s(lambda: sun.position(one, lat[:1], lon[:1])), N, "numpy", plain)

    days = rng.integers(7305, 24106, N_DAYS).astype("datetime64[D]")
    few = slice(0, N_SPA_DAYS)
    start = days[few].astype(np.int64) * 86400
    theirs = best_s(lambda: pvlib.spa.transit_sunrise_sunset(start, lat[few], lon[few], 67.0, 1), 2)
    rise = best_s(lambda: sun.events(days, lat[:N_DAYS], lon[:N_DAYS], None), 3)
    row("rise and set of a day", rise, N_DAYS, "pvlib", theirs / N_SPA_DAYS)

    with ThreadPoolExecutor(2) as pool:
        arrays = [np.concatenate([a] * 4) for a in (t, lat, lon)]
        single = best_s(lambda: in_threads(pool, 1, arrays), clock=time.perf_counter)
        double = best_s(lambda: in_threads(pool, 2, arrays), clock=time.perf_counter)
        whole = _core.sun.position(*arrays)
        halves = [np.concatenate(h) for h in zip(*in_threads(pool, 2, arrays), strict=True)]
    row("two threads, wall time", double, 4 * N, "one", single / (4 * N))

    same = all(np.array_equal(a, b) for a, b in zip(whole, halves, strict=True))
    pairs = _core.sun.position(
        np.repeat(t[:N_SIDE], N_SIDE), np.tile(place_lat, N_SIDE), np.tile(place_lon, N_SIDE)
    )
    gridded = sun.position(times, place_lat, place_lon)
    same &= all(np.array_equal(a, b.ravel()) for a, b in zip(pairs, gridded, strict=True))
    print(f"threads, grid and pairs give the same bits: {same}")
    if not same:
        raise SystemExit("results differ")
    off = np.abs(sun.position(utc, lat, lon).zenith_deg - closed_form(t, lat, lon)[0]).max()
    print(f"largest difference from the numpy closed form: {off:.1e} deg")


if __name__ == "__main__":
    main()

"""Cost of each loss, one thread, in long columns: ``python tests/bench/bench_losses.py``."""

import json

import numpy as np
from _timing import best_s, row, size

from farhear import _core, _data
from farhear.zone import regions

N = size(200_000)
RNG = np.random.default_rng(1)


def column(low: float, high: float) -> np.ndarray:
    return RNG.uniform(low, high, N)


def main() -> None:
    core = _core.losses
    outline = json.loads(_data.read_text("world", "land.geojson"))
    index = regions([[f["geometry"]["coordinates"] for f in outline["features"]]])
    row("Land, built once", best_s(lambda: core.Land(index), 3), 1)
    land = core.Land(index)
    lat, lon = np.degrees(np.arcsin(column(-1, 1))), column(-180, 180)
    row("sea_share, random places", best_s(lambda: land.sea_share(lat, lon)), N)

    freq, gyro, zenith = column(2, 30), column(-1.5, 1.5), column(0, 120)
    cosine, sine = column(0, 1), column(0, 1)
    none, xray, kp = np.zeros(N), 10 ** column(-7, -3), column(0, 9)
    gm_lat, high_lat = column(-90, 90), column(45, 85)
    cases = {
        "auroral_db": (high_lat, column(0, 24), column(-1, 1), column(0, 9000)),
        "d_profile_db": (freq, gyro, column(65, 87), column(0.3, 0.5), cosine),
        "d_region_db, quiet": (freq, gyro, zenith, cosine, none),
        "d_region_db, flare": (freq, gyro, zenith, cosine, xray),
        "quiet_d_profile": (zenith,),
        "flare_db": (freq, xray, zenith, cosine),
        "polar_cap_db": (freq, 10 * kp, kp, zenith, gm_lat, cosine),
        "storm_factor": (kp, gm_lat),
        "ground_reflection_db": (freq, sine, column(0, 1)),
        "day_deciles": (column(0.3, 5), gm_lat),
    }
    for name, columns in cases.items():
        function = getattr(core, name.split(",")[0])
        row(name, best_s(lambda f=function, c=columns: f(*c)), N)


if __name__ == "__main__":
    main()

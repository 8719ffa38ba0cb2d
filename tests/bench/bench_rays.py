"""Speed of rays against the same closed form in numpy: ``python tests/bench/bench_rays.py``.

Ratios carry over from machine to machine, seconds do not. One thread. Prints a table; exits with an
error if the two disagree.
"""

import _numpy_rays
import numpy as np
from _timing import best_s, limit, row, size

from farhear import _core, rays

N = size(200_000)
N_CURVES = size(50_000)
RAYS_IN_A_CURVE = 24
F2 = _core.rays.Region.F2


def some_layers(n, rng, f1):
    """Columns in the core's order: E, F1, F2, each critical frequency, peak, half thickness."""
    foe = rng.uniform(0.5, 4.0, n)
    fof2, hmf2 = foe * rng.uniform(2.0, 5.0, n), rng.uniform(220, 420, n)
    hmf1 = 110 + (hmf2 - 110) * rng.uniform(0.35, 0.6, n)
    fof1 = foe + (0.9 * fof2 - foe) * rng.uniform(0.1, 0.8, n) if f1 else np.zeros(n)
    thick = np.minimum(rng.uniform(50, 130, n), 0.84 * (hmf2 - (hmf1 if f1 else 110)))
    return [
        foe, np.full(n, 110.0), np.full(n, 20.0), fof1, hmf1, 0.6 * (hmf1 - 110),
        fof2, hmf2, thick,
    ]  # fmt: skip


def main():
    """Measure and print."""
    rng = np.random.default_rng(1)
    for name, f1 in (("E and F2", False), ("E, F1 and F2", True)):
        columns = some_layers(N, rng, f1)
        elevation = rng.uniform(3, 70, N)
        level = 6371 * np.cos(np.radians(elevation)) / (6371 + columns[7])
        freq = columns[6] * rng.uniform(0.3, 1.0, N) / np.sqrt(1 - level**2)
        freq = np.clip(freq, 0.5, 100.0)
        used = [0, 1, 2] if f1 else [0, 2]
        layers = [tuple(columns[3 * i : 3 * i + 3]) for i in used]
        with np.errstate(all="ignore"):
            plain = best_s(lambda a=layers, f=freq, e=elevation: _numpy_rays.trace(a, f, e), 3)
            theirs = _numpy_rays.trace(layers, freq, elevation)
        row(f"{name}: trace in numpy", plain, N)
        core = best_s(lambda c=columns, f=freq, e=elevation: _core.rays.trace(c, f, e))
        row(f"{name}: trace, core", core, N, "numpy", plain / N)
        limit(f"{name}: a ray traced", core / N * 1e9, "ns", 200.0)
        face = rays.Layers(
            columns[0], columns[6], columns[7], columns[8], columns[3], columns[4], columns[5]
        )
        whole = best_s(lambda a=face, f=freq, e=elevation: rays.trace(a, f, e))
        row(f"{name}: trace, Python face", whole, N, "numpy", plain / N)
        ours = _core.rays.trace(columns, freq, elevation)
        both = (ours["ground_range_km"], ours["group_path_km"], ours["turning_km"])
        off = [np.nanpercentile(np.abs(a - b), 99.9) for a, b in zip(both, theirs, strict=True)]
        apart = np.mean(np.isnan(both[0]) != np.isnan(theirs[0]))
        print(f"  99.9 % agree to {max(off):.1e} km; {apart:.1e} land in one only")
        if max(off) > 0.01 or apart > 1e-3:
            raise SystemExit("results differ")

        few = [np.ascontiguousarray(c[:N_CURVES]) for c in columns]
        hop = rng.uniform(200, 3500, N_CURVES)
        curve = best_s(lambda c=few, h=hop: _core.rays.muf(c, F2, h))
        work = plain / N * RAYS_IN_A_CURVE
        row(f"{name}: landing curve and its MUF", curve, N_CURVES, "numpy", work)
        limit(f"{name}: a ray of it", curve / N_CURVES / 8 * 1e9, "ns", 200.0)
    print(f"a curve against {RAYS_IN_A_CURVE} traces in numpy: eight rays, three rounds")


if __name__ == "__main__":
    main()

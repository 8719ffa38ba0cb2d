"""Features read from recordings and predictions by the same rules: skip edge, opening, closing.

Rules, so that anyone can repeat them
-------------------------------------
Skip edge: the profile over distance in bins of 100 km, mean over three bins; from its maximum
inward to the first place below half of it, interpolated. None where the profile stays above that
down to the nearest bin, or where an hour has too few spots to have a shape.

Opening, closing: the change point of a series, that is the split of a stated window into an earlier
and a later part whose two means leave the least sum of squares. It needs no threshold and lies in
the middle of a steady rise. Interval: 5th to 95th percentile over resampled data.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

BIN_KM = 100.0
DISTANCES_KM = np.arange(250.0, 3000.0, BIN_KM)  # centres; below 150 km it is ground wave


def moving_mean(y: Floats, n: int) -> Floats:
    """Mean over n samples (odd) along the last axis; the ends are shorter."""
    width = n // 2
    parts = [y[..., max(i - width, 0) : i + width + 1].mean(axis=-1) for i in range(y.shape[-1])]
    return np.stack(parts, axis=-1)


def skip_edge_km(profile: Floats) -> float:
    """Near edge of a profile over DISTANCES_KM, see above; NaN where there is none."""
    p = moving_mean(profile, 3)
    top = int(p.argmax())
    half = 0.5 * p[top]
    for i in range(top, 0, -1):
        if p[i - 1] < half <= p[i]:
            share = float((half - p[i - 1]) / (p[i] - p[i - 1]))
            return float(DISTANCES_KM[i - 1]) + BIN_KM * share
    return float("nan")


def change_point(x: Floats, y: Floats) -> float:
    """Where a series changes its level: the middle between the two samples at the best split."""
    good = np.isfinite(y)
    x, y = x[good], y[good]
    if y.size < 4 or np.ptp(y) == 0.0:
        return float("nan")
    n = np.arange(1, y.size)
    before = np.cumsum(y)[:-1]
    after = y.sum() - before
    between = before**2 / n + after**2 / (y.size - n)  # the rest of the squares is the same
    k = int(between.argmax())
    return float(0.5 * (x[k] + x[k + 1]))


def clock(minute: float) -> str:
    """Minute as UT, "22:40"; beyond 24 h it goes on from 0."""
    if not np.isfinite(minute):
        return "none"
    whole = round(minute) % 1440
    return f"{whole // 60:02d}:{whole % 60:02d}"


def rank_correlation(a: Floats, b: Floats) -> float:
    """Spearman's coefficient of the pairs that are there."""
    from scipy.stats import spearmanr

    good = np.isfinite(a) & np.isfinite(b)
    if good.sum() < 3 or np.ptp(a[good]) == 0.0 or np.ptp(b[good]) == 0.0:
        return float("nan")
    return float(spearmanr(a[good], b[good]).statistic)

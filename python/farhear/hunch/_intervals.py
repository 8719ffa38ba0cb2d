"""Normal distributions fitted to moments that are only known to lie between two checks.

All fits of a question run side by side in numpy; scipy's and lifelines' agree (`tests/reference`).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from farhear._arrays import Floats
from farhear.hunch._ground import Estimate, t_interval

_SCALE_MIN = 30.0  # unit of the fits
_AT_ONCE = 100_000  # intervals fitted side by side, or memory grows with the square of the log
_NARROWEST_MIN = 0.1  # shorter intervals are taken as this long
_SD_MIN = (1.0, 1440.0)  # a fitted spread outside says that the log does not fix it
_LOG_SQRT_2PI = 0.5 * float(np.log(2.0 * np.pi))
BLOCK = 5  # evenings left out, or drawn, together


class Fit(NamedTuple):
    """One row a fit; `coef` of the columns of the design, NaN where the log does not fix them."""

    coef: Floats  # min
    sd: Floats  # min
    log_likelihood: Floats


def _loglik(
    theta: Floats, low: Floats, high: Floats, design: Floats
) -> tuple[Floats, Floats, Floats]:
    """Log-likelihood of intervals, gradient and second derivatives.

    `theta` is (coefficients / sd, 1 / sd): in these the function is concave, so that Newton's way
    up leads to the only top. Shapes: theta (fits, p + 1), low and high (fits, n), design (n, p).
    """
    from scipy.special import log_ndtr

    slope, tau = theta[:, :-1], theta[:, -1:]
    centre = slope @ design.T
    has_low, has_high = np.isfinite(low), np.isfinite(high)
    at_low, at_high = np.where(has_low, low, 0.0), np.where(has_high, high, 0.0)
    a, b = tau * at_low - centre, tau * at_high - centre
    lower, upper = np.where(has_low, a, -np.inf), np.where(has_high, b, np.inf)
    flip = lower > 0.0  # the other tail has the digits
    under = log_ndtr(np.where(flip, -lower, upper))
    over = log_ndtr(np.where(flip, -upper, lower))
    log_p = under + np.log(-np.expm1(np.minimum(over - under, -1e-300)))
    ra = np.where(has_low, np.exp(-0.5 * a * a - _LOG_SQRT_2PI - log_p), 0.0)
    rb = np.where(has_high, np.exp(-0.5 * b * b - _LOG_SQRT_2PI - log_p), 0.0)
    haa, hbb, hab = a * ra - ra * ra, -b * rb - rb * rb, ra * rb
    size = theta.shape[1]
    gradient = np.empty((theta.shape[0], size))
    gradient[:, :-1] = (ra - rb) @ design
    gradient[:, -1] = (rb * at_high - ra * at_low).sum(axis=1)
    second = np.empty((theta.shape[0], size, size))
    second[:, :-1, :-1] = np.einsum("rn,np,nq->rpq", haa + hbb + 2.0 * hab, design, design)
    cross = -(hbb * at_high + haa * at_low + hab * (at_high + at_low)) @ design
    second[:, :-1, -1] = second[:, -1, :-1] = cross
    second[:, -1, -1] = (hbb * at_high**2 + haa * at_low**2 + 2.0 * hab * at_high * at_low).sum(
        axis=1
    )
    return log_p.sum(axis=1), gradient, second


def fit_intervals(low: Floats, high: Floats, design: Floats, start: Floats | None = None) -> Fit:
    """Fit many sets of intervals side by side: normal openings, mean linear in the design.

    `low`, `high` (fits, n) in minutes; (-inf, +inf) says nothing. `start`: `theta` of each.
    """
    at_once = max(_AT_ONCE // max(low.shape[1], 1), 1)
    if low.shape[0] > at_once:
        parts = [slice(at, at + at_once) for at in range(0, low.shape[0], at_once)]
        fits = [
            fit_intervals(low[k], high[k], design, None if start is None else start[k])
            for k in parts
        ]
        return Fit(*(np.concatenate(one) for one in zip(*fits, strict=True)))
    with np.errstate(invalid="ignore"):
        thin = high - low < _NARROWEST_MIN
        middle = np.where(thin, 0.5 * (low + high), 0.0)
    low = np.where(thin, middle - 0.5 * _NARROWEST_MIN, low) / _SCALE_MIN
    high = np.where(thin, middle + 0.5 * _NARROWEST_MIN, high) / _SCALE_MIN
    # both sides must be known, and no one moment may lie in all intervals (then sd -> 0)
    last_low = np.where(np.isfinite(low), low, -np.inf).max(axis=1)
    first_high = np.where(np.isfinite(high), high, np.inf).min(axis=1)
    good = np.isfinite(last_low) & np.isfinite(first_high)
    if design.shape[1] == 1:
        good &= last_low >= first_high
    theta = _begin(low, high, design) if start is None else start.copy()
    value = np.full(low.shape[0], np.nan)
    active = np.flatnonzero(good)
    if active.size:
        value[active], gradient, second = _loglik(theta[active], low[active], high[active], design)
    for _ in range(100):
        if not active.size:
            break
        ridge = 1e-12 * np.abs(second).max(axis=(1, 2))[:, None, None] * np.eye(theta.shape[1])
        step = np.linalg.solve(ridge - second, gradient[:, :, None])[:, :, 0]
        gain = (gradient * step).sum(axis=1)
        scale = np.minimum(1.0, 0.75 * theta[active, -1] / np.maximum(-step[:, -1], 1e-300))
        for _ in range(40):
            trial = theta[active] + scale[:, None] * step
            new, new_gradient, new_second = _loglik(trial, low[active], high[active], design)
            worse = ~(new >= value[active] - 1e-10)
            if not worse.any():
                break
            scale = np.where(worse, 0.5 * scale, scale)
        theta[active], value[active] = trial, new
        lost = theta[active, -1] > 10.0 * _SCALE_MIN / _SD_MIN[0]
        go_on = (gain > 1e-11) & ~lost
        active, gradient, second = active[go_on], new_gradient[go_on], new_second[go_on]
    sd = _SCALE_MIN / theta[:, -1]
    good[active] = False  # those that never settled
    good &= (sd > _SD_MIN[0]) & (sd < _SD_MIN[1])
    coef = theta[:, :-1] * sd[:, None]
    return Fit(
        np.where(good[:, None], coef, np.nan),
        np.where(good, sd, np.nan),
        np.where(good, value, np.nan),
    )


def _theta(fit: Fit) -> Floats:
    """Start of a fit from another one; something harmless where that one failed."""
    tau = _SCALE_MIN / fit.sd
    theta = np.column_stack([fit.coef / fit.sd[:, None], tau])
    return np.where(np.isnan(theta), 1.0, theta)


def _begin(low: Floats, high: Floats, design: Floats) -> Floats:
    """First guess: least squares through the middles."""
    has_low, has_high = np.isfinite(low), np.isfinite(high)
    middle = 0.5 * (np.where(has_low, low, high - 2.0) + np.where(has_high, high, low + 2.0))
    known = has_low | has_high
    middle = np.where(known, middle, 0.0)
    weight = known.astype(np.float64)
    normal = np.einsum("rn,np,nq->rpq", weight, design, design) + 1e-6 * np.eye(design.shape[1])
    coef = np.linalg.solve(normal, ((weight * middle) @ design)[:, :, None])[:, :, 0]
    left = np.where(known, middle - coef @ design.T, 0.0)
    sd = np.sqrt((left**2).sum(axis=1) / np.maximum(known.sum(axis=1), 1))
    sd = np.maximum(sd, 10.0 / _SCALE_MIN)
    return np.column_stack([coef / sd[:, None], 1.0 / sd])


class Jackknifed(NamedTuple):
    """Fits of all evenings (series, p), and without each block (series, blocks, p)."""

    all: Fit
    without: Floats


def jackknifed(low: Floats, high: Floats, design: Floats) -> Jackknifed:
    """Fit each series (series, n), and again without each block of evenings."""
    series, count = low.shape
    whole = fit_intervals(low, high, design)
    blocks = np.arange(count) // BLOCK
    keep = blocks != np.arange(blocks[-1] + 1)[:, None] if count else np.zeros((0, 0), bool)
    kept_low = np.where(keep, low[:, None, :], -np.inf).reshape(-1, count)
    kept_high = np.where(keep, high[:, None, :], np.inf).reshape(-1, count)
    start = np.repeat(_theta(whole), keep.shape[0], axis=0)
    part = fit_intervals(kept_low, kept_high, design, start)
    return Jackknifed(whole, part.coef.reshape(series, keep.shape[0], -1))


def lead_of(low: Floats, high: Floats) -> tuple[Estimate, Fit]:
    """Mean opening of the second band minus that of the first; (seasons, evenings, 2)."""
    seasons, count, _ = low.shape
    flat = [np.moveaxis(x, 2, 1).reshape(2 * seasons, count) for x in (low, high)]
    found = jackknifed(flat[0], flat[1], np.ones((count, 1)))
    mean = found.all.coef.reshape(seasons, 2)
    without = found.without.reshape(seasons, 2, -1)
    return t_interval(mean[:, 1] - mean[:, 0], without[:, 1] - without[:, 0]), found.all

"""How good probabilities are against what happened: arrays in, numbers out.

Nothing here knows of radio. `heard` is 1 or 0 for each check, `block` says which checks belong
together (a day), because they resemble each other.

References
----------
.. [1] G. W. Brier, Monthly Weather Review 78 (1950), 1-3 (from memory): the score.
.. [2] D. R. Cox, Biometrika 45 (1958), 562-565 (from memory): two parameters on the logit scale.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from farhear._arrays import Floats, as_float64, check_range, restore
from farhear.errors import InputError

__all__ = [
    "Recalibration",
    "block_interval",
    "brier",
    "brier_skill",
    "calibration_curve",
    "climatology",
    "rate_interval",
    "recalibrate",
    "recalibrated_by_block",
    "roc_area",
]

Codes = NDArray[np.int64]

_SUREST = 1e-3
_PRIOR_A_SD = 5.0
_PRIOR_B_SD = 2.0


def _row_of_numbers(name: str, values: ArrayLike) -> Floats:
    """One axis of numbers without a gap."""
    array = as_float64(name, values)
    if array.ndim != 1:
        raise InputError(f"{name} has shape {array.shape}; one axis is needed")
    if np.isnan(array).any():
        raise InputError(f"{name}[{int(np.argmax(np.isnan(array)))}] is missing (NaN)")
    return array


def _outcomes(heard: ArrayLike) -> Floats:
    array = _row_of_numbers("heard", heard)
    bad = (array != 0.0) & (array != 1.0)
    if bad.any():
        index = int(np.argmax(bad))
        raise InputError(f"heard[{index}] = {array[index]:g} is neither 0 nor 1")
    return array


def _likelihoods(likelihood: ArrayLike) -> Floats:
    array = _row_of_numbers("likelihood", likelihood)
    check_range("likelihood", array, 0.0, 1.0)
    return array


def _same_length(**arrays: NDArray[Any]) -> None:
    if len({a.shape for a in arrays.values()}) > 1:
        shapes = ", ".join(f"{name} {a.shape}" for name, a in arrays.items())
        raise InputError(f"not of one length: {shapes}")


def _forecast_of(
    heard: ArrayLike, likelihood: ArrayLike, **labels: NDArray[Any]
) -> tuple[Floats, Floats]:
    """Outcomes and likelihoods of the same checks, with what else has to be as long."""
    seen, forecast = _outcomes(heard), _likelihoods(likelihood)
    _same_length(heard=seen, likelihood=forecast, **labels)
    return seen, forecast


def to_codes(name: str, labels: Any) -> tuple[Codes, int]:
    """Numbers 0, 1, ... instead of labels, and how many there are."""
    array = np.asarray(labels)
    if array.ndim != 1:
        raise InputError(f"{name} has shape {array.shape}; one axis is needed")
    codes, found = pd.factorize(array, sort=True)
    if (codes < 0).any():
        raise InputError(f"{name}[{int(np.argmax(codes < 0))}] is missing")
    return codes.astype(np.int64), len(found)


def area_of_ranks(heard: Floats, rank: Codes, count: int) -> float:
    """Mann-Whitney from dense ranks: no sorting, so that it can be repeated many times."""
    yes = np.bincount(rank, heard, count)
    no = np.bincount(rank, 1.0 - heard, count)
    pairs = yes.sum() * no.sum()
    if pairs == 0.0:
        return float("nan")
    return float((yes * (np.cumsum(no) - no / 2.0)).sum() / pairs)


def roc_area(heard: ArrayLike, score: ArrayLike) -> float:
    """Chance that a heard check has the higher score than one not heard; ties count half.

    Parameters
    ----------
    heard
        0 or 1, shape (n,).
    score
        Any number that grows with the expectation, shape (n,).

    Returns
    -------
    float, 0 to 1; NaN when all checks have the same outcome.

    Raises
    ------
    InputError
        On other outcomes than 0 and 1, on NaN, on different lengths.

    References
    ----------
    .. [1] Mann, Whitney, Ann. Math. Statist. 18 (1947), 50-60 (from memory).

    Examples
    --------
    >>> roc_area([0, 0, 1, 1], [0.1, 0.4, 0.4, 0.8])
    0.875
    """
    seen, values = _outcomes(heard), _row_of_numbers("score", score)
    _same_length(heard=seen, score=values)
    rank, count = to_codes("score", values)
    return area_of_ranks(seen, rank, count)


def brier(heard: ArrayLike, likelihood: ArrayLike) -> float:
    """Mean square of likelihood less outcome: 0 is perfect, 0.25 is what always saying half gets.

    Parameters
    ----------
    heard, likelihood
        0 or 1, and 0 to 1, shape (n,).

    Returns
    -------
    float; NaN for no checks.

    Raises
    ------
    InputError
        On values out of range, on NaN, on different lengths.

    Examples
    --------
    >>> round(brier([1, 0], [0.9, 0.2]), 3)
    0.025
    """
    seen, forecast = _forecast_of(heard, likelihood)
    return mean_or_nan((forecast - seen) ** 2)


def brier_skill(heard: ArrayLike, likelihood: ArrayLike, reference: ArrayLike) -> float:
    """Share of the reference's Brier score that the likelihood takes away.

    Parameters
    ----------
    heard, likelihood, reference
        Outcomes, and two forecasts of the same checks, shape (n,).

    Returns
    -------
    float: 1 is perfect, 0 as good as the reference, negative is worse. NaN for no checks and where
    the reference is perfect.

    Raises
    ------
    InputError
        As :func:`brier`.

    Examples
    --------
    >>> round(brier_skill([1, 0], [0.9, 0.2], [0.5, 0.5]), 3)
    0.9
    """
    known = brier(heard, reference)
    return skill_of(brier(heard, likelihood), known)


def skill_of(own: float, known: float) -> float:
    return 1.0 - own / known if known > 0.0 else float("nan")


def mean_or_nan(values: Floats) -> float:
    return float(values.mean()) if values.size else float("nan")


def worth(heard: Floats, likelihood: Floats, *references: Floats) -> Callable[[Codes], Floats]:
    """ROC area, Brier score and skill against each reference, as a function of row numbers."""
    if np.isnan(likelihood).any():
        return lambda _: np.full(2 + len(references), np.nan)
    rank, count = to_codes("likelihood", likelihood)
    errors = np.stack([(values - heard) ** 2 for values in (likelihood, *references)])

    def at(rows: Codes) -> Floats:
        own, *others = errors[:, rows].mean(axis=1).tolist()
        area = area_of_ranks(heard[rows], rank[rows], count)
        return np.array([area, own, *(skill_of(own, other) for other in others)])

    return at


@dataclass(frozen=True, slots=True)
class Recalibration:
    """Likelihoods put right by two parameters: logit p' = a + b logit p.

    `a` above 0 raises all of them, `b` below 1 makes them less sure. Likelihoods are first held
    within 0.001 and 0.999: farther out the model does not mean its digits.

    Examples
    --------
    >>> print(f"{Recalibration(-1.0, 0.5).apply(0.9):.3f}")
    0.525
    """

    a: float
    b: float

    def apply(self, likelihood: ArrayLike) -> Any:
        """Likelihoods after the correction, of the same shape; NaN stays NaN."""
        given = as_float64("likelihood", likelihood)
        check_range("likelihood", given, 0.0, 1.0)
        return restore(_logistic(self.a + self.b * to_logit(given)).reshape(-1), given.shape)


def to_logit(likelihood: Floats) -> Floats:
    held = np.clip(likelihood, _SUREST, 1.0 - _SUREST)
    return np.asarray(np.log(held / (1.0 - held)))


def _logistic(x: Floats) -> Floats:
    return np.asarray(0.5 * (1.0 + np.tanh(0.5 * x)))


def fit_two(x: Floats, heard: Floats, weight: Floats, start: Floats) -> Floats:
    """Both parameters by damped Newton steps, for several forecasts at once.

    `x`: logits, shape (forecasts, n); `start` and the result: a and b, shape (forecasts, 2). The
    sum to be made least is convex, thanks to the prior strictly so.
    """
    centre = np.array([0.0, 1.0])
    tightness = np.array([_PRIOR_A_SD, _PRIOR_B_SD]) ** -2.0

    def cost(ab: Floats) -> Floats:
        eta = ab[:, :1] + ab[:, 1:] * x
        loss = (np.logaddexp(0.0, eta) - heard * eta) @ weight
        return np.asarray(loss + (tightness * (ab - centre) ** 2).sum(axis=1) / 2.0)

    at = start.copy()
    value = cost(at)
    for _ in range(60):
        p = _logistic(at[:, :1] + at[:, 1:] * x)
        off, spread = (p - heard) * weight, p * (1.0 - p) * weight
        slope = np.stack([off.sum(axis=1), (off * x).sum(axis=1)], axis=1)
        slope += tightness * (at - centre)
        h00 = spread.sum(axis=1) + tightness[0]
        h01 = (spread * x).sum(axis=1)
        h11 = (spread * x * x).sum(axis=1) + tightness[1]
        step = np.stack(
            [h11 * slope[:, 0] - h01 * slope[:, 1], h00 * slope[:, 1] - h01 * slope[:, 0]], axis=1
        )
        step /= (h00 * h11 - h01 * h01)[:, None]
        if np.abs(step).max(initial=0.0) < 1e-9:
            break
        for _ in range(40):
            there = cost(at - step)
            worse = there > value + 1e-9 * np.abs(value)
            if not worse.any():
                break
            step[worse] /= 2.0
        at, value = at - step, there
    return at


def log_likelihoods(
    x: Floats, heard: Floats, weight: Floats, start: Floats
) -> tuple[Floats, Floats]:
    """Log-likelihood of each forecast at its best a and b, and these two.

    A forecast that would have to be turned upside down (b below 0) counts as knowing only the rate.
    """
    ab = fit_two(x, heard, weight, start)
    eta = ab[:, :1] + ab[:, 1:] * x
    value = (heard * eta - np.logaddexp(0.0, eta)) @ weight
    yes, total = float(heard @ weight), float(weight.sum())
    rates = [count * np.log(count / total) for count in (yes, total - yes) if count > 0.0]
    return np.where(ab[:, 1] > 0.0, value, sum(rates)), ab


def peak(at: Floats, value: Floats) -> float:
    """Place of the highest value, by a parabola through it and its neighbours on an even grid."""
    i = int(np.argmax(value))
    if i in (0, at.size - 1):
        return float(at[i])
    left, middle, right = value[i - 1 : i + 2]
    bend = left - 2.0 * middle + right
    shift = 0.5 * (left - right) / bend if bend < 0.0 else 0.0
    return float(at[i] + shift * (at[1] - at[0]))


def recalibrate(heard: ArrayLike, likelihood: ArrayLike) -> Recalibration:
    """Fit the two parameters of a :class:`Recalibration` by maximum likelihood.

    A weak prior joins in, a normal about 0 with standard deviation 5 and b about 1 with 2, so that
    few checks, or checks that a threshold separates without an error, give finite answers; it
    weighs about as much as one check.

    Parameters
    ----------
    heard, likelihood
        0 or 1, and 0 to 1, shape (n,).

    Returns
    -------
    Recalibration; a = 0, b = 1 for no checks.

    Raises
    ------
    InputError
        As :func:`brier`.

    Examples
    --------
    >>> found = recalibrate([1, 0, 0, 0] * 50, [0.5] * 200)
    >>> print(f"{found.apply(0.5):.2f}")
    0.25
    """
    seen, forecast = _forecast_of(heard, likelihood)
    start = np.array([[0.0, 1.0]])
    a, b = fit_two(to_logit(forecast)[None], seen, np.ones(seen.size), start)[0].tolist()
    return Recalibration(a, b)


def recalibrated_by_block(heard: ArrayLike, likelihood: ArrayLike, block: Any) -> Floats:
    """Likelihoods of each block put right by what all other blocks teach.

    Parameters
    ----------
    heard, likelihood
        0 or 1, and 0 to 1, shape (n,).
    block
        Labels of what belongs together, for example UTC days, shape (n,).

    Returns
    -------
    Likelihoods, shape (n,); NaN throughout when there is one block only.

    Raises
    ------
    InputError
        As :func:`brier`.
    """
    code, count = to_codes("block", block)
    seen, forecast = _forecast_of(heard, likelihood, block=code)
    out = np.full(seen.size, np.nan)
    if count < 2:
        return out
    x = to_logit(forecast)[None]
    whole = fit_two(x, seen, np.ones(seen.size), np.array([[0.0, 1.0]]))
    for own in range(count):
        here = code == own
        ((a, b),) = fit_two(x, seen, np.where(here, 0.0, 1.0), whole).tolist()
        out[here] = _logistic(a + b * x[0, here])
    return out


def climatology(heard: ArrayLike, group: Any, block: Any) -> Floats:
    """Rate of each row's group in the other blocks: the forecast of someone who only keeps count.

    The rate is pulled towards the rate of all other blocks by one imagined check, so a group that
    no other block has gets that rate. A row's own block never counts.

    Parameters
    ----------
    heard
        0 or 1, shape (n,).
    group, block
        Labels, shape (n,).

    Returns
    -------
    Rates, shape (n,); NaN throughout when there is one block only.

    Raises
    ------
    InputError
        As :func:`brier`.

    Examples
    --------
    >>> climatology([1, 1, 0], ["a", "a", "a"], [1, 2, 3]).tolist()
    [0.5, 0.5, 1.0]
    """
    seen = _outcomes(heard)
    group_code, groups = to_codes("group", group)
    block_code, blocks = to_codes("block", block)
    _same_length(heard=seen, group=group_code, block=block_code)
    if blocks < 2:
        return np.full(seen.size, np.nan)
    both, cells = to_codes("cell", group_code * blocks + block_code)

    def elsewhere(weight: Floats) -> tuple[Floats, Floats]:
        """Sums over the other blocks: of all rows, and of the row's group."""
        of_all = weight.sum() - np.bincount(block_code, weight, blocks)[block_code]
        of_group = np.bincount(group_code, weight, groups)[group_code]
        return np.asarray(of_all), np.asarray(of_group - np.bincount(both, weight, cells)[both])

    (all_checks, checks), (all_heard, times) = elsewhere(np.ones(seen.size)), elsewhere(seen)
    return np.asarray((times + all_heard / all_checks) / (checks + 1.0))


def rate_interval(hits: ArrayLike, count: ArrayLike, level: float = 0.95) -> tuple[Any, Any]:
    """Exact interval of a rate, for counts that are independent of each other.

    Parameters
    ----------
    hits, count
        So many of so many, any shape.
    level
        Share of logs whose interval holds the rate, at least, (0, 1).

    Returns
    -------
    low, high
        Of the shape of the counts; 0 and 1 where there is no count.

    References
    ----------
    .. [1] C. J. Clopper, E. S. Pearson, Biometrika 26 (1934), p. 404 (from memory).
    """
    from scipy.special import betaincinv

    k, n = np.broadcast_arrays(np.asarray(hits, np.float64), np.asarray(count, np.float64))
    tail = (1.0 - level) / 2.0
    with np.errstate(invalid="ignore"):
        low = np.where(k > 0.0, betaincinv(np.maximum(k, 1.0), n - k + 1.0, tail), 0.0)
        high = np.where(k < n, betaincinv(k + 1.0, np.maximum(n - k, 1.0), 1.0 - tail), 1.0)
    return low, high


def block_interval(
    statistic: Callable[[Codes], Any],
    block: Any,
    n: int = 500,
    seed: int | np.random.Generator = 1,
    level: float = 0.9,
) -> tuple[Any, Any]:
    """Interval of a statistic by drawing whole blocks with replacement.

    Parameters
    ----------
    statistic
        Gets row numbers, some of them several times, and gives a number or an array of numbers.
    block
        Labels of what belongs together, for example UTC days, shape (rows,).
    n
        Number of draws, 20 or more.
    seed
        Seed, or a `numpy.random.Generator`.
    level
        Share of the draws within the interval, in (0, 1).

    Returns
    -------
    low, high
        Percentiles, of the shape of the statistic. Draws that give NaN are left out; NaN when they
        are more than half, and when there is one block only.

    Raises
    ------
    InputError
        On too few draws or a level out of range.

    References
    ----------
    .. [1] Efron, Tibshirani, An Introduction to the Bootstrap, 1993, chapter 13 (from memory):
       percentile interval. It is somewhat too narrow for few blocks.
    """
    if n < 20:
        raise InputError(f"n = {n} is below 20 draws")
    if not 0.0 < level < 1.0:
        raise InputError(f"level = {level:g} is outside (0, 1)")
    code, count = to_codes("block", block)
    if count < 2:
        nothing = np.asarray(statistic(np.arange(code.size)), dtype=np.float64) * np.nan
        return _plain(nothing), _plain(nothing)
    order = np.argsort(code, kind="stable")
    rows_of = np.split(order, np.cumsum(np.bincount(code))[:-1])
    rng = np.random.default_rng(seed)
    draws = np.stack(
        [
            np.asarray(statistic(np.concatenate([rows_of[k] for k in drawn])), dtype=np.float64)
            for drawn in rng.integers(0, count, (n, count))
        ]
    )
    flat = draws.reshape(n, -1)
    ends = np.full((2, flat.shape[1]), np.nan)
    for at, column in enumerate(flat.T):
        good = column[np.isfinite(column)]
        if 2 * good.size >= n:
            ends[:, at] = np.quantile(good, [(1.0 - level) / 2.0, (1.0 + level) / 2.0])
    low, high = ends.reshape(2, *draws.shape[1:])
    return _plain(low), _plain(high)


def _plain(values: Floats) -> Any:
    return values if values.ndim else float(values)


def calibration_curve(
    heard: ArrayLike,
    likelihood: ArrayLike,
    block: Any,
    bins: int = 10,
    *,
    n: int = 500,
    seed: int | np.random.Generator = 1,
    level: float = 0.9,
) -> pd.DataFrame:
    """What was heard when the likelihood said so much.

    Parameters
    ----------
    heard, likelihood, block
        As in :func:`recalibrated_by_block`.
    bins
        Number of bins, 1 or more, with about as many checks each. Equal likelihoods stay in one
        bin, so there may be fewer.
    n, seed, level
        See :func:`block_interval`.

    Returns
    -------
    One row per bin, from low to high: `likelihood_low`, `likelihood_high` (in the bin),
    `likelihood_mean`, `heard_ratio`, `low`, `high` (interval of `heard_ratio`), `count`.

    Raises
    ------
    InputError
        As :func:`brier`, and on fewer than one bin.
    """
    code, _ = to_codes("block", block)
    seen, forecast = _forecast_of(heard, likelihood, block=code)
    if bins < 1:
        raise InputError(f"bins = {bins} is below 1")
    columns = ["likelihood_low", "likelihood_high", "likelihood_mean", "heard_ratio"]
    columns += ["low", "high", "count"]
    if not seen.size:
        return pd.DataFrame(columns=columns)
    ordered = np.sort(forecast)
    first = ordered[np.arange(bins) * seen.size // bins]
    starts = np.unique(first)  # the first likelihood of each bin
    which = np.searchsorted(starts, forecast, side="right") - 1

    def ratios(rows: Codes) -> Floats:
        count = np.bincount(which[rows], minlength=starts.size)
        times = np.bincount(which[rows], seen[rows], starts.size)
        return np.asarray(np.where(count > 0, times / np.maximum(count, 1), np.nan))

    low, high = block_interval(ratios, code, n, seed, level)
    frame = pd.DataFrame({"bin": which, "p": forecast})
    groups = frame.groupby("bin")["p"]
    return pd.DataFrame(
        {
            "likelihood_low": groups.min().to_numpy(),
            "likelihood_high": groups.max().to_numpy(),
            "likelihood_mean": groups.mean().to_numpy(),
            "heard_ratio": ratios(np.arange(seen.size)),
            "low": low,
            "high": high,
            "count": groups.size().to_numpy(dtype=np.int64),
        }
    )

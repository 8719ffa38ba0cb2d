"""The likelihood set right by a log of this home.

:func:`fit` learns up to four numbers of the listener's own place: a bias of the field, an offset of
the man-made noise, a factor on the absorption, an offset of the solar flux. A :class:`Fit` is to be
applied only where it helps in weeks that it has not seen. What was heard when so much was said is
told by :func:`farhear.reliability.reliability`, also found here.

What a log cannot tell apart
----------------------------
A field that is 3 dB too low and a noise that is 3 dB too high give the same S/N. They differ only
where man-made noise is not the whole noise: with frequency, hour and season as galactic and
lightning noise come and go. Where the log does not narrow the noise offset to half of its prior, it
is held at 0 and the bias stands for both, with the priors of both (`Fit.held`). An ear that misses
what is there passes for bias, too.
"""

from __future__ import annotations

import dataclasses
import hashlib
import math
import os
import textwrap
import tomllib
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from farhear import _core, lightning, listening, noise, reception, scoring, skill
from farhear._arrays import FLUX_SFU, Floats, as_float64, check_range
from farhear._files import put, toml_value
from farhear.errors import InputError
from farhear.indices import Indices, load_indices
from farhear.reliability import (
    FEWEST_CHECKS,
    FEWEST_WEEKS,
    LEVEL,
    Reliability,
    reliability,
    week_of,
)
from farhear.skywave import Physics
from farhear.tables import counted, decode, near_name, read_bytes_of
from farhear.times import UtcTimes, iso_text, unix_s
from farhear.verdicts import CANNOT_TELL

if TYPE_CHECKING:
    import xarray as xr

__all__ = [
    "FEWEST_CHECKS",
    "FEWEST_WEEKS",
    "PARAMETERS",
    "Fit",
    "Reliability",
    "fit",
    "read_fit",
    "reliability",
    "week_of",
]

Codes = NDArray[np.int64]
Progress = Callable[[int, int], None]

PARAMETERS = ("bias_db", "noise_db", "absorption", "flux_sfu")
"""What is fitted: dB, dB, a factor, sfu."""

_CENTRE = np.array([0.0, 0.0, 1.0, 0.0])
_PRIOR_SD = np.array([5.0, 6.0, 0.3, np.nan])  # our own assumption; the flux: 15 units of R12
_PRIOR_R12 = 15.0
_BIAS_DB = np.linspace(-20.0, 20.0, 9)
_NOISE_DB = np.linspace(-18.0, 18.0, 5)
_ABSORPTION = np.linspace(0.1, 1.9, 5)
_FLUX_SFU = np.linspace(-40.0, 40.0, 5)
_AS_IT_IS = np.zeros(1)
_SLIP = 1e-3  # chance that a check says the opposite whatever the likelihood, as in skill
_SUREST_Z = 5.0  # standard deviations
_TOLD = 0.5  # share of its prior to which a log has to narrow the noise offset
_NEAR_RUNG_DB = 6.0
_RUNG_BANDWIDTH_HZ = 9000.0  # the rungs are for S/N in this bandwidth
_CHUNK = 64
_ONE_CALL = ["noise", "required_snr_db", "bandwidth_hz"]
_STEP = 0.05  # of the Hessian, prior standard deviations
_FORM = "farhear calibration 1"


# The likelihood as a function of the parameters -------------------------------------------------


class _Grid(NamedTuple):
    """Normal quantile of the likelihood of each check at the nodes of the four parameters."""

    nodes: tuple[Floats, ...]
    z: Floats  # (checks, bias, noise, absorption, flux)

    def at(self, theta: Floats) -> tuple[Floats, Floats]:
        """Quantile of each check, (checks,), and its slopes, (checks, 4), by cubic splines."""
        sums: list[Floats] = [self.z]  # the value, then the slopes from the last parameter on
        for nodes, value in zip(reversed(self.nodes), theta[::-1], strict=True):
            plain, slope = _weights(nodes, float(value))
            sums = [sums[0] @ plain, *(one @ plain for one in sums[1:]), sums[0] @ slope]
        return sums[0], np.stack(sums[:0:-1], axis=-1)

    def likelihood(self, theta: Floats) -> Floats:
        from scipy.special import ndtr

        return np.asarray(ndtr(self.at(theta)[0]))


def _weights(nodes: Floats, at: float) -> tuple[Floats, Floats]:
    """Weights of the nodes in the spline's value and in its slope."""
    from scipy.interpolate import CubicSpline

    if nodes.size == 1:
        return np.ones(1), np.zeros(1)
    spline = CubicSpline(nodes, np.eye(nodes.size))
    return np.asarray(spline(at)), np.asarray(spline(at, 1))


def _grid(
    checks: scoring.Checks,
    rows: Codes,
    flux: Any,
    physics: Physics | None,
    noise_db: Floats,
    progress: Progress | None,
) -> _Grid:
    """Work the likelihood out at all nodes; `noise_db` of one node leaves the noise as it is.

    A bias on the field is the same as a lower S/N that is asked for, so one call serves all biases:
    its rungs give the likelihood at five more.
    """
    frame = checks.frame.iloc[rows].reset_index(drop=True)
    nodes = (_BIAS_DB, noise_db, _ABSORPTION, _FLUX_SFU)
    z = np.empty((rows.size, *(one.size for one in nodes)))
    together = frame.sort_values([*scoring.ENDS, "freq_khz", "utc"])
    parts = [
        (index[first : first + _CHUNK], number)
        for index in (group.index.to_numpy() for _, group in together.groupby(_ONE_CALL))
        for first in range(0, index.size, _CHUNK)
        for number in range(_ABSORPTION.size)
    ]
    base = physics or Physics()

    def work(part: tuple[Codes, int]) -> None:
        where, number = part
        factor = float(_ABSORPTION[number])
        z[where, :, :, number] = _quantiles(
            checks, rows[where], flux, _with_absorption(base, factor), noise_db
        )

    pool = ThreadPoolExecutor(max_workers=os.cpu_count())
    try:
        for done, _ in enumerate(pool.map(work, parts), 1):
            if progress is not None:
                progress(done, len(parts))
    finally:
        pool.shutdown(cancel_futures=True)
    return _Grid(nodes, z)


def _with_absorption(physics: Physics, factor: float) -> Physics:
    return dataclasses.replace(physics, absorption_scale=physics.absorption_scale * factor)


def _quantiles(
    checks: scoring.Checks, of: Codes, flux: Any, physics: Physics, noise_db: Floats
) -> Floats:
    """Quantiles of checks that agree in `_ONE_CALL`: (checks, bias, noise, flux)."""
    from scipy.interpolate import PchipInterpolator
    from scipy.special import ndtri

    some = checks.frame.iloc[of]
    column: dict[str, Any] = {
        name: some[name].to_numpy(np.float64)[:, None, None]
        for name in (*scoring.ENDS, "freq_khz", *scoring.NUMBERS)
    }
    figure, required = column.pop("noise_fa_db"), float(column.pop("required_snr_db")[0, 0, 0])
    circuit: list[Any] = [column.pop(name) for name in (*scoring.ENDS, "freq_khz")]
    when = UtcTimes(unix_s(some["utc"])[:, None, None])
    sfu = np.clip(flux.sfu[of][:, None, None] + _FLUX_SFU, *FLUX_SFU)
    environment = str(some["noise"].iloc[0])
    ambient, storms = environment or figure, "proxy"
    if noise_db.size > 1:
        ambient, storms = _shifted_noise(
            ambient, noise_db[:, None], circuit[2], circuit[3], circuit[4], when, sfu, storms
        )
    rungs = np.array(list(listening.LADDER.values())) + 10.0 * math.log10(
        _RUNG_BANDWIDTH_HZ / float(column["bandwidth_hz"][0, 0, 0])
    )
    asked = [required + _BIAS_DB[0]]
    asked += [one for one in required + _BIAS_DB[2::2] if np.abs(rungs - one).min() > _NEAR_RUNG_DB]
    found: dict[float, Floats] = {}
    for one in asked:
        seen = reception.likelihood(
            *[*circuit, when],
            f107_sfu=sfu,
            f107_sd_sfu=flux.sd_sfu[of][:, None, None],
            noise=ambient,
            atmospheric=storms,
            tx_pattern_dbi=(
                checks.pattern_dbi[of][:, None, None] if checks.pattern_dbi.size else None
            ),
            required_snr_db=one,
            physics=physics,
            **column,
        )
        if not found:
            steps = seen["rung_likelihood"].to_numpy()
            found |= {float(rung): steps[..., i] for i, rung in enumerate(rungs)}
        found[one] = seen["likelihood"].to_numpy()
    at = np.array(sorted(found))
    share = np.stack([found[one] for one in at], axis=-1)
    bad = np.isnan(share).any(axis=(1, 2, 3))
    if bad.any():
        line = int(some["row"].iloc[int(np.argmax(bad))])
        raise InputError(f"the check in line {line} has no likelihood: a value is missing")
    edge = 0.5 * math.erfc(_SUREST_Z / math.sqrt(2.0))
    quantile = ndtri(np.clip(share, edge, 1.0 - edge))
    curve = PchipInterpolator(at, quantile, axis=-1, extrapolate=True)
    # the rungs need not reach to the last node: beyond them straight on
    wanted = required - _BIAS_DB
    inside = np.clip(wanted, at[0], at[-1])
    values = curve(inside) + curve.derivative()(inside) * (wanted - inside)
    shape = (of.size, noise_db.size, _FLUX_SFU.size, _BIAS_DB.size)
    return np.moveaxis(np.broadcast_to(values, shape), -1, 1)


def _shifted_noise(
    ambient: Any,
    more_db: Any,
    rx_lat_deg: Any,
    rx_lon_deg: Any,
    freq_khz: Any,
    utc: Any,
    f107_sfu: Any,
    atmospheric: Any,
) -> tuple[Any, Any]:
    """Man-made noise so much higher, as a figure, and the lightning noise to go with it.

    Of surroundings by name the median moves; the deciles of a figure are those of "residential",
    as `farhear.reception.likelihood` has it (1.4 dB more than "rural" at most).
    """
    if not isinstance(ambient, str):
        return as_float64("noise", ambient) + more_db, atmospheric
    median = noise.man_made(ambient, freq_khz).fa_db + more_db
    if isinstance(atmospheric, str) and atmospheric == "proxy":
        atmospheric = lightning.noise(utc, rx_lat_deg, rx_lon_deg, freq_khz, f107_sfu)
    return median, atmospheric


# Most probable parameters -----------------------------------------------------------------------


class _Found(NamedTuple):
    """Parameters, and their covariance: 0 for those that are held."""

    theta: Floats
    covariance: Floats

    def points(self) -> tuple[Floats, Floats]:
        """The values and two points about them for each free direction, and their weights.

        A mean over these is Gauss and Hermite's of three points in each direction, with the
        directions added up: exact to the fifth degree along them (tables).
        """
        scale = np.where(np.isnan(_PRIOR_SD), _PRIOR_R12, _PRIOR_SD)  # or units would choose them
        values, vectors = np.linalg.eigh(self.covariance / np.outer(scale, scale))
        free = values > 1e-12 * max(float(values.max(initial=0.0)), 1e-300)
        away = (vectors[:, free] * np.sqrt(3.0 * values[free])).T * scale
        count = len(away)
        points = np.concatenate([self.theta[None], self.theta + away, self.theta - away])
        return points, np.append(1.0 - count / 3.0, np.full(2 * count, 1.0 / 6.0))


def _mean(weights: Floats, likelihoods: Sequence[Floats]) -> Floats:
    """Weighted mean, within [0, 1] although the first weight may be negative."""
    return np.asarray(np.clip(np.tensordot(weights, np.stack(likelihoods), 1), 0.0, 1.0))


def _slips(likelihood: Any) -> Any:
    return _SLIP + (1.0 - 2.0 * _SLIP) * likelihood


def _best(
    grid: _Grid, heard: Floats, weight: Floats, sd: Floats, free: Codes, starts: Sequence[Floats]
) -> _Found:
    """Maximum of likelihood times prior over the free parameters, and the curvature there."""
    from scipy.optimize import minimize
    from scipy.special import ndtr

    ends = [(nodes[0], nodes[-1]) for nodes in grid.nodes]

    def theta_of(u: Floats) -> Floats:
        theta = _CENTRE.copy()
        theta[free] += u * sd[free]
        return theta

    def cost(u: Floats) -> tuple[float, Floats]:
        z, slope = grid.at(theta_of(u))
        p = _slips(ndtr(z))
        value = -float(weight @ np.where(heard > 0.0, np.log(p), np.log1p(-p)))
        density = np.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi) * (1.0 - 2.0 * _SLIP)
        off = weight * density * np.where(heard > 0.0, -1.0 / p, 1.0 / (1.0 - p))
        return value + 0.5 * float(u @ u), (off @ slope[:, free]) * sd[free] + u

    bounds = [((ends[k][0] - _CENTRE[k]) / sd[k], (ends[k][1] - _CENTRE[k]) / sd[k]) for k in free]
    tried = [
        minimize(cost, start, jac=True, method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-10})
        for start in starts
    ]
    u = np.asarray(min(tried, key=lambda one: float(one.fun)).x)
    step = np.eye(free.size) * _STEP
    bend = np.stack([(cost(u + s)[1] - cost(u - s)[1]) / (2.0 * _STEP) for s in step])
    values, vectors = np.linalg.eigh(0.5 * (bend + bend.T))
    # the prior's own curvature is 1: a bound, or a flat likelihood, must not say less than it
    inverse = (vectors / np.maximum(values, 1.0)) @ vectors.T
    covariance = np.zeros((4, 4))
    covariance[np.ix_(free, free)] = inverse * np.outer(sd[free], sd[free])
    return _Found(theta_of(u), covariance)


def _averaged(grid: _Grid, found: _Found) -> Floats:
    points, weights = found.points()
    low, high = np.array([(n[0], n[-1]) if n.size > 1 else (-np.inf, np.inf) for n in grid.nodes]).T
    return _mean(weights, [grid.likelihood(one) for one in np.clip(points, low, high)])


# What was learnt --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """Four numbers learnt from a log, and whether they help.

    Attributes
    ----------
    bias_db
        To be added to the field, and so to the S/N. [dB]
    noise_db
        To be added to the man-made noise. [dB]
    absorption
        Factor on the absorption, on top of `Physics.absorption_scale`. [1]
    flux_sfu
        To be added to the solar flux. [sfu]
    covariance
        Of the four in this order, from the curvature; rows of what is held are 0. Checks of one
        week resemble each other, so the true errors are larger.
    held
        Names of what was not fitted and stays at its prior.
    validation
        Gain per check in weeks that did not take part: `against` ("no fit", "two-parameter
        recalibration"), `score` ("log", natural logarithm; "Brier"), `gain` (positive: the fit is
        better), `low`, `high` (95 %, whole weeks drawn).
    checks_count, heard_count, weeks_count, first_utc, last_utc
        What it rests on.
    log_sha256
        Digest of the log's file; of its checks where there was no file.
    flux
        Whose flux, in words.
    version
        Of the package.
    notes
        Sentences to read with it.
    """

    bias_db: float
    noise_db: float
    absorption: float
    flux_sfu: float
    covariance: Floats = field(repr=False)
    held: tuple[str, ...]
    validation: pd.DataFrame = field(repr=False)
    checks_count: int
    heard_count: int
    weeks_count: int
    first_utc: str
    last_utc: str
    log_sha256: str
    flux: str
    version: str = _core.__version__
    notes: tuple[str, ...] = ()

    @property
    def sd(self) -> dict[str, float]:
        """Standard deviation by name, 0 for what is held."""
        return dict(zip(PARAMETERS, np.sqrt(np.diag(self.covariance)).tolist(), strict=True))

    @property
    def correlation(self) -> pd.DataFrame:
        """Correlations by name; NaN for what is held."""
        sd = np.sqrt(np.diag(self.covariance))
        sd[sd == 0.0] = np.nan
        return pd.DataFrame(self.covariance / np.outer(sd, sd), PARAMETERS, PARAMETERS)

    @property
    def recommended(self) -> bool:
        """Whether both scores gain against no fit, with intervals above 0."""
        rows = self.validation[self.validation["against"] == "no fit"]
        return bool((rows["low"] > 0.0).all())

    @property
    def sentence(self) -> str:
        """Whether to use it, in words."""
        rows = self.validation
        row = rows[(rows["against"] == "no fit") & (rows["score"] == "Brier")]
        gain, low, high = row[["gain", "low", "high"]].to_numpy(np.float64)[0].tolist()
        found = f"the Brier score falls by {gain:.3f} (95 % interval {low:.3f} to {high:.3f})"
        if self.recommended:
            return f"It helps in weeks that it has not seen: {found}."
        rows = rows[(rows["against"] == "no fit") & ~(rows["low"] > 0.0)]
        which = " and ".join(f"the {score} score" for score in rows["score"])
        return (
            f"Do not use it yet: in weeks that it has not seen {found}, and the interval of the "
            f"gain in {which} holds 0 or lies below it."
        )

    def text(self) -> str:
        """All that is known of it, for reading."""
        rows = []
        for name, (title, unit) in _TITLES.items():
            spread = "held" if name in self.held else f"+/- {self.sd[name]:.2g}"
            rows.append(f"{title:<24}{getattr(self, name):8.2f} {unit} {spread}".rstrip())
        basis = (
            f"From {counted(self.checks_count, 'check')} ({self.heard_count} heard) in "
            f"{counted(self.weeks_count, 'week')}, {self.first_utc} to {self.last_utc}."
        )
        said = [basis, f"Solar flux: {self.flux}.", *self.notes, self.sentence]
        return "\n".join([*rows, *(line for part in said for line in textwrap.wrap(part, 78))])

    @property
    def _found(self) -> _Found:
        return _Found(np.array([getattr(self, name) for name in PARAMETERS]), self.covariance)

    @property
    def source_text(self) -> str:
        """What it was learnt from, in words."""
        return (
            f"{counted(self.checks_count, 'check')} of {self.first_utc[:10]} to "
            f"{self.last_utc[:10]}"
        )

    def averaged(
        self, likelihood_at: Callable[[Floats], xr.Dataset], f107_sd_sfu: float = 0.0
    ) -> xr.Dataset:
        """Likelihoods averaged over what the fit leaves in doubt.

        Parameters
        ----------
        likelihood_at
            Gives a Dataset of :func:`farhear.reception.likelihood` for values of `PARAMETERS`, see
            :func:`moved`.
        f107_sd_sfu
            Standard deviation of the solar flux itself. [sfu]

        Returns
        -------
        Dataset
            `likelihood` and `rung_likelihood` are means over the doubt, by three points in each
            direction of it (Gauss and Hermite, tables); everything else belongs to the best
            parameters. Up to nine evaluations.
        """
        found = self._found
        doubt = found.covariance.copy()
        doubt[3, 3] += f107_sd_sfu**2
        points, weights = _Found(found.theta, doubt).points()
        points[:, 2] = np.maximum(points[:, 2], min(_ABSORPTION[0], found.theta[2]))
        seen = [likelihood_at(point) for point in points]
        out = seen[0]
        if len(seen) > 1:
            for name in ("likelihood", "rung_likelihood"):
                mean = _mean(weights, [one[name].to_numpy() for one in seen])
                out[name] = out[name].copy(data=mean)
        return out

    def likelihood(
        self,
        tx_lat_deg: ArrayLike,
        tx_lon_deg: ArrayLike,
        rx_lat_deg: ArrayLike,
        rx_lon_deg: ArrayLike,
        freq_khz: ArrayLike,
        utc: Any,
        **given: Any,
    ) -> xr.Dataset:
        """`farhear.reception.likelihood` after the correction, see :meth:`averaged`.

        Arguments as there; `f107_sd_sfu` has to be one number. The bias is the wanted emitter's:
        interferers keep their fields.
        """
        circuit = (tx_lat_deg, tx_lon_deg, rx_lat_deg, rx_lon_deg, freq_khz, utc)
        if "f107_sfu" not in given:
            raise InputError("f107_sfu is missing")
        sd = as_float64("f107_sd_sfu", given.pop("f107_sd_sfu", 0.0))
        if sd.shape:
            raise InputError(f"f107_sd_sfu has shape {sd.shape}; one number is needed")
        check_range("f107_sd_sfu", sd, 0.0, FLUX_SFU[1])
        return self.averaged(
            lambda theta: reception.likelihood(
                *circuit, **(given | moved(theta, given, rx_lat_deg, rx_lon_deg, freq_khz, utc))
            ),
            float(sd),
        )

    def write(self, path: str | Path) -> None:
        """Write it as TOML, for :func:`read_fit`.

        Raises
        ------
        OSError
            When the file cannot be written.
        """
        lines = [
            "# What a log taught about the likelihood; written by farhear, see farhear.calibrate.",
            f"form = {toml_value(_FORM)}",
            *(f"{name} = {getattr(self, name)!r}" for name in PARAMETERS),
            f"covariance = {self.covariance.tolist()!r}",
            f"held = {toml_value(list(self.held))}",
            *(f"{name} = {getattr(self, name)}" for name in _COUNTS),
            *(f"{name} = {toml_value(getattr(self, name))}" for name in _TEXTS),
            f"notes = {toml_value(list(self.notes))}",
            f"recommended = {str(self.recommended).lower()}",
        ]
        for row in self.validation.to_dict("records"):
            lines += ["", "[[validation]]"]
            lines += [
                f"{name} = {toml_value(value) if isinstance(value, str) else repr(float(value))}"
                for name, value in row.items()
            ]
        put(Path(path), ("\n".join(lines) + "\n").encode())


_TITLES = {
    "bias_db": ("bias of the field", "dB"),
    "noise_db": ("offset of the noise", "dB"),
    "absorption": ("factor on absorption", ""),
    "flux_sfu": ("offset of the flux", "sfu"),
}
_COUNTS = ("checks_count", "heard_count", "weeks_count")
_TEXTS = ("first_utc", "last_utc", "log_sha256", "flux", "version")
_VALIDATION = ("against", "score", "gain", "low", "high")


def moved(
    theta: Floats,
    given: Mapping[str, Any],
    rx_lat_deg: Any,
    rx_lon_deg: Any,
    freq_khz: Any,
    utc: Any,
) -> dict[str, Any]:
    """Arguments of `farhear.reception.likelihood` after a correction by `PARAMETERS`."""
    bias_db, noise_db, absorption, flux_sfu = theta.tolist()
    base = given.get("physics") or Physics()
    flux = as_float64("f107_sfu", given["f107_sfu"])
    check_range("f107_sfu", flux, *FLUX_SFU)
    sfu = np.clip(flux + flux_sfu, *FLUX_SFU)
    ambient: Any = given.get("noise", "residential")
    atmospheric: Any = given.get("atmospheric", "proxy")
    if noise_db != 0.0:
        ambient, atmospheric = _shifted_noise(
            ambient, noise_db, rx_lat_deg, rx_lon_deg, freq_khz, utc, sfu, atmospheric
        )
    return {
        "tx_gain_dbi": as_float64("tx_gain_dbi", given.get("tx_gain_dbi", 0.0)) + bias_db,
        "f107_sfu": sfu,
        "physics": _with_absorption(base, absorption),
        "noise": ambient,
        "atmospheric": atmospheric,
    }


def read_fit(path: str | Path) -> Fit:
    """Read what :meth:`Fit.write` wrote.

    Raises
    ------
    InputError
        On a file of another form, with keys or values that do not belong.
    OSError
        When the file cannot be opened.
    """
    path = Path(path)
    try:
        content = tomllib.loads(decode(read_bytes_of(path), path.name))
    except (ValueError, RecursionError) as cause:
        raise InputError(f"{path.name} is not TOML: {cause}") from None
    if content.get("form") != _FORM:
        raise InputError(f"{path.name}: form = {content.get('form')!r} is not {_FORM!r}")
    known = ("form", "recommended", *(one.name for one in dataclasses.fields(Fit)))
    for name in content:
        if name not in known:
            raise InputError(f"{path.name}: unknown key {name!r}{near_name(name, known)}")
    for name in known:
        if name not in content:
            raise InputError(f"{path.name}: key {name!r} is missing")
    try:
        return _fit_of(content)
    except (TypeError, ValueError, KeyError) as fault:
        raise InputError(f"{path.name}: {fault}") from None


def _fit_of(content: Mapping[str, Any]) -> Fit:
    ends = {"bias_db": 100.0, "noise_db": 100.0, "absorption": 10.0, "flux_sfu": 400.0}
    values: dict[str, Any] = {name: float(content[name]) for name in PARAMETERS}
    for name, most in ends.items():
        low = 0.0 if name == "absorption" else -most
        if not low <= values[name] <= most:
            raise InputError(f"{name} = {values[name]:g} is outside [{low:g}, {most:g}]")
    covariance = np.array(content["covariance"], dtype=np.float64)
    if covariance.shape != (4, 4) or not np.isfinite(covariance).all():
        raise InputError("covariance is not a table of 4 x 4 numbers")
    if np.linalg.eigvalsh(covariance).min() < -1e-9 * max(float(np.trace(covariance)), 1.0):
        raise InputError("covariance has a negative variance")
    for name in _COUNTS:
        if type(content[name]) is not int or content[name] < 0:
            raise InputError(f"{name} = {content[name]!r} is not a count")
    for name in _TEXTS:
        if not isinstance(content[name], str):
            raise InputError(f"{name} = {content[name]!r} is not text")
    held = tuple(content["held"])
    if not set(held) <= set(PARAMETERS):
        raise InputError(f"held = {list(held)!r} names what is not fitted")
    rows = [{name: row[name] for name in _VALIDATION} for row in content["validation"]]
    if ("no fit", "Brier") not in {(row["against"], row["score"]) for row in rows}:
        raise InputError("validation has no Brier score against no fit")
    out = Fit(
        **values,
        covariance=covariance,
        held=held,
        validation=pd.DataFrame(rows, columns=list(_VALIDATION)),
        **{name: content[name] for name in (*_COUNTS, *_TEXTS)},
        notes=tuple(str(one) for one in content["notes"]),
    )
    if content["recommended"] is not out.recommended:
        raise InputError("recommended does not follow from the validation")
    return out


def fit(
    checks: scoring.Checks,
    *,
    indices: Indices | None = None,
    f107_sfu: ArrayLike | None = None,
    driver: str = "27day",
    physics: Physics | None = None,
    hold: Sequence[str] = (),
    n: int = 500,
    seed: int | np.random.Generator = 0,
    progress: Progress | None = None,
) -> Fit:
    """Fit bias, noise offset, absorption and flux offset to a log: the most probable values.

    Priors are normal: bias 0 +- 5 dB, noise offset 0 +- 6 dB, absorption 1 +- 0.3, flux offset 0
    +- 15 units of R12 (some 13 sfu, by the slope of the conversion at the mean flux):
    an assumption of our own. The
    likelihood of each check is worked out once at the nodes of a grid (bias -20 to 20 dB, noise
    -18 to 18 dB, absorption 0.1 to 1.9, flux -40 to 40 sfu, which are also the bounds) and
    interpolated by cubic splines of its normal quantile. One check in a thousand is taken to say
    the opposite, so that no single line rules.

    Every week is then predicted by a fit to the other weeks; which parameters are held is decided
    once, on all.

    Parameters
    ----------
    checks
        At least 120 that count, in at least 5 UTC weeks, some heard and some not.
    indices, f107_sfu, driver, physics
        As in :func:`farhear.scoring.score`.
    hold
        Names of `PARAMETERS` that are not to be fitted; without a noise offset the surroundings
        keep their own deciles, and it is four times as fast.
    n, seed
        Draws and seed of the intervals.
    progress
        Called with parts of the grid done and in all.

    Returns
    -------
    Fit

    Raises
    ------
    InputError
        "CANNOT TELL YET" on too few checks or weeks or on one outcome only; on arguments out of
        range.
    """
    for name in hold:
        if name not in PARAMETERS:
            raise InputError(f"hold names {name!r}, unknown{near_name(name, PARAMETERS)}")
    if set(hold) == set(PARAMETERS):
        raise InputError("hold names all parameters; nothing is left to fit")
    says = np.flatnonzero(checks.is_evidence)
    frame = checks.frame.iloc[says]
    heard = frame["heard"].to_numpy(dtype=np.float64)
    week = week_of(frame["utc"]) if says.size else np.empty(0, dtype=object)
    weeks = int(np.unique(week).size)
    if says.size < FEWEST_CHECKS or weeks < FEWEST_WEEKS:
        raise InputError(
            f"{CANNOT_TELL}: a fit needs at least {FEWEST_CHECKS} checks that count in "
            f"{FEWEST_WEEKS} weeks; here are {says.size} in {weeks}"
        )
    if heard.min() == heard.max():
        word = "was" if heard[0] == 0.0 else "was not"
        raise InputError(
            f"{CANNOT_TELL}: a fit needs both outcomes; there is no check that {word} heard"
        )
    indices = load_indices() if indices is None else indices
    flux = scoring.flux_of_checks(checks, f107_sfu, driver, indices)
    sd = _PRIOR_SD.copy()
    sd[3] = _PRIOR_R12 * _sfu_per_r12(float(flux.sfu[says].mean()))
    held = [name for name in PARAMETERS if name in hold]
    notes: list[str] = []

    def fitted(grid: _Grid, weight: Floats, start: Floats | None = None) -> _Found:
        free = np.array([i for i, name in enumerate(PARAMETERS) if name not in held])
        starts = [np.zeros(free.size)]
        if start is not None:
            starts = [(start[free] - _CENTRE[free]) / sd[free]]
        elif free[0] == 0:
            starts += [np.eye(1, free.size)[0] * side for side in (-1.5, 1.5)]
        return _best(grid, heard, weight, sd, free, starts)

    every = np.ones(says.size)
    noise_db = _AS_IT_IS if "noise_db" in held else _NOISE_DB
    grid = _grid(checks, says, flux, physics, noise_db, progress)
    found = fitted(grid, every)
    told = float(np.sqrt(found.covariance[1, 1]) / sd[1])
    if "noise_db" not in held and "bias_db" not in held and told > _TOLD:
        notes.append(
            "The log cannot tell a weaker field from a louder noise (the noise offset would be "
            f"known to {told * sd[1]:.1f} dB, {sd[1]:g} dB without any log): the noise is held, "
            "and the bias stands for both. Other frequencies, or a measured noise, would help."
        )
        held = [name for name in PARAMETERS if name in (*held, "noise_db")]
        sd[0] = math.hypot(sd[0], sd[1])
        grid = _grid(checks, says, flux, physics, _AS_IT_IS, progress)
        found = fitted(grid, every)
    elif "bias_db" in held and "noise_db" not in held:
        notes.append("The bias is held: the noise offset stands for both.")
    raw = scoring.evaluate(checks, says, flux, physics, None)["likelihood"].to_numpy(np.float64)
    learnt = np.empty(says.size)
    for own in np.unique(week):
        here = week == own
        learnt[here] = _averaged(
            grid._replace(z=grid.z[here]), fitted(grid, np.where(here, 0.0, 1.0), found.theta)
        )
    others = {
        "no fit": raw,
        "two-parameter recalibration": skill.recalibrated_by_block(heard, raw, week),
    }
    validation = _validated(heard, learnt, others, week, n, seed)
    notes += _notes(found, sd, held, grid)
    stamps = unix_s(frame["utc"])
    return Fit(
        **dict(zip(PARAMETERS, found.theta.tolist(), strict=True)),
        covariance=found.covariance,
        held=tuple(held),
        validation=validation,
        checks_count=int(says.size),
        heard_count=int(heard.sum()),
        weeks_count=weeks,
        first_utc=iso_text(float(stamps.min())),
        last_utc=iso_text(float(stamps.max())),
        log_sha256=checks.sha256 or _digest(frame),
        flux=flux.text,
        notes=tuple(notes),
    )


def _sfu_per_r12(flux_sfu: float) -> float:
    """Slope of the conversion of `farhear.indices.r12` at a flux."""
    return math.sqrt(0.728**2 + 4.0 * 8.9e-4 * max(flux_sfu - 63.7, 0.0))


def _digest(frame: pd.DataFrame) -> str:
    columns = ["utc", *scoring.ENDS, "freq_khz", "outcome"]
    return hashlib.sha256(frame[columns].to_csv(index=False).encode()).hexdigest()


def _validated(
    heard: Floats,
    learnt: Floats,
    others: Mapping[str, Floats],
    week: NDArray[Any],
    n: int,
    seed: int | np.random.Generator,
) -> pd.DataFrame:
    """Gain per check of what was learnt from other weeks, with intervals by weeks."""

    def losses(likelihood: Floats) -> Floats:
        p = np.clip(likelihood, _SLIP, 1.0 - _SLIP)
        return np.stack([-np.log(np.where(heard > 0.0, p, 1.0 - p)), (likelihood - heard) ** 2])

    own = losses(learnt)
    gains = np.concatenate([losses(other) - own for other in others.values()])
    low, high = skill.block_interval(lambda rows: gains[:, rows].mean(axis=1), week, n, seed, LEVEL)
    names = [(against, score) for against in others for score in ("log", "Brier")]
    return pd.DataFrame(
        {
            "against": [against for against, _ in names],
            "score": [score for _, score in names],
            "gain": gains.mean(axis=1),
            "low": low,
            "high": high,
        }
    )


def _notes(found: _Found, sd: Floats, held: Sequence[str], grid: _Grid) -> list[str]:
    notes = []
    own = np.sqrt(np.diag(found.covariance))
    for k, name in enumerate(PARAMETERS):
        title = _TITLES[name][0]
        if name in held:
            continue
        nodes = grid.nodes[k]
        if min(found.theta[k] - nodes[0], nodes[-1] - found.theta[k]) < 1e-6 * sd[k]:
            notes.append(f"The {title} is at an end of its range: only a bound.")
        elif own[k] > 0.9 * sd[k]:
            notes.append(f"The log says next to nothing of the {title}: that is its prior.")
    free = [k for k, name in enumerate(PARAMETERS) if name not in held]
    for i in free:
        for k in free:
            r = found.covariance[i, k] / (own[i] * own[k])
            if i < k and abs(r) > 0.8:
                pair = f"{_TITLES[PARAMETERS[i]][0]} and {_TITLES[PARAMETERS[k]][0]}"
                notes.append(f"Hard to tell apart (correlation {r:.2f}): {pair}.")
    return notes


# What was said, and what was heard --------------------------------------------------------------


# The hunch --------------------------------------------------------------------------------------

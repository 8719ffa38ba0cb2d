"""How hearing goes with the solar flux, the magnetic index and the hour from sunset."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from farhear import skill
from farhear._arrays import Floats
from farhear.errors import InputError
from farhear.hunch._ground import (
    LEAST_WEEKS,
    ROTATION,
    STRATUM_MIN,
    Codes,
    band_rows,
    checked,
    joined,
    number_in,
    obstacle,
    p_text,
    setups_in,
    t_interval,
    whole_number,
)
from farhear.hunch.nights import kp_of_evenings
from farhear.indices import Indices
from farhear.verdicts import ALWAYS

__all__ = ["SolarConditions", "solar_conditions"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SolarConditions:
    """How the log goes with the sun, the magnetic field and the hour.

    Attributes
    ----------
    frame
        One row for each setup and condition: setup_id, name ("F10.7", "Kp", "hour"), step (in
        words), effect (change of the hearing rate for one step more, the other two being equal)
        with low and high (95 %) [percentage points], p (two-sided), nights, blocks (weeks, or
        spans of 4 weeks for F10.7).
    bins
        For a chart, one row for each setup, condition and bin: setup_id, name, from_value,
        to_value, mean, rate, low, high (95 %, the wider at each end of draws of whole weeks and of
        Clopper and Pearson's), checks, nights. F10.7 in sfu, hours after sunset.
    notes
        Sentences that belong to the figures.
    """

    frame: pd.DataFrame
    bins: pd.DataFrame
    notes: tuple[str, ...] = field(default=())

    def text(self) -> str:
        """All rows and sentences, in words."""
        lines = []
        for row in self.frame.to_dict("records"):
            setup = f"{row['setup_id']}: " if row["setup_id"] else ""
            if not np.isfinite(row["effect"]):
                lines.append(f"{setup}{row['name']}: no figure.")
                continue
            ends = "no interval"
            if np.isfinite(row["low"]):
                ends = f"95 % interval {row['low']:+.1f} to {row['high']:+.1f}, {p_text(row['p'])}"
            lines.append(
                f"{setup}{row['name']}, {row['step']}: {row['effect']:+.1f} percentage points "
                f"({ends}; {row['nights']} nights)"
            )
        return "\n".join([*lines, *self.notes, ALWAYS])


_CONDITIONS = ("F10.7", "Kp", "hour")
_LONG_BLOCK_WEEKS = 4


def _within(values: Floats, stratum: Codes, count: int) -> Floats:
    """Values less the mean of their stratum, along the first axis."""
    many = np.maximum(np.bincount(stratum, minlength=count), 1)
    means = [np.bincount(stratum, column, count) / many for column in values.T]
    return np.asarray(values - np.stack(means, axis=1)[stratum])


def _slopes(heard: Floats, x: Floats, strata: tuple[tuple[Codes, int], ...]) -> Floats:
    """Partial slopes: F10.7 and Kp with hours matched by strata, the hour with channels matched."""
    out = np.full(x.shape[1], np.nan)
    for (code, count), columns, wanted in zip(
        strata, ([0, 1], [0, 1, 2]), ([0, 1], [2]), strict=True
    ):
        both = _within(np.column_stack([x[:, columns], heard]), code, count)
        design, left = both[:, :-1], both[:, -1]
        square = design.T @ design
        if np.linalg.matrix_rank(square, tol=1e-9 * max(np.trace(square), 1e-300)) < len(columns):
            continue
        solved = np.linalg.solve(square, design.T @ left)
        out[wanted] = solved[[columns.index(one) for one in wanted]]
    return out


def solar_conditions(
    table: pd.DataFrame,
    indices: Indices,
    *,
    flux_step_sfu: float = 20.0,
    band: str | None = None,
    bins: int = 5,
    draws: int = 200,
    seed: int | np.random.Generator = 1,
) -> SolarConditions:
    """How hearing goes with F10.7, Kp and the hour from sunset, each with the others held.

    Least squares on heard (1 or 0). For F10.7 and Kp, checks are compared within the same channel
    and the same half hour from sunset only; for the hour, within the same channel with a straight
    line over the hours. Interval and p: leaving out one week at a time, for F10.7 four weeks
    (Student's t), since its 27-day mean hardly moves within a week. It shows what went together in
    this log, not what caused what.

    Parameters
    ----------
    table
        From :func:`farhear.evenings.table`. Setups are not put together: each has its own rows.
    indices
        Solar and geomagnetic indices; F10.7 as the mean of the 27 days that end with the day of the
        check, Kp as the largest of the UT intervals listened to on that evening.
    flux_step_sfu
        Step of F10.7. [10^-22 W/m^2/Hz]
    band
        Only this band.
    bins
        Number of bins of F10.7 with about as many checks each, 2 or more; Kp and hours are cut at
        whole numbers.
    draws
        Draws for the intervals of the bins, 20 or more.
    seed
        Seed, or a `numpy.random.Generator`.

    Returns
    -------
    SolarConditions
        Effects are NaN, with a sentence in `notes`, for a setup with fewer than 4 weeks or outcomes
        all alike; intervals are NaN with too few blocks (fewer than 4 weeks, or 4 spans of 4
        weeks).

    Raises
    ------
    InputError
        On a table or band that is not there, values out of range, dates outside the indices, a log
        without a check that tells.
    """
    step_sfu = number_in("flux_step_sfu", flux_step_sfu, 0.0)
    bins, draws = whole_number("bins", bins, 2), whole_number("draws", draws, 20)
    if not isinstance(indices, Indices):
        raise InputError("indices are none; see farhear.load_indices")
    rng = np.random.default_rng(seed)
    rows = band_rows(checked(table), band)
    rows = rows[rows["heard"].notna() & rows["middle_min"].notna()]
    if not len(rows):
        raise InputError("table has no check that tells and has a sunset to count from")
    names = setups_in(rows)
    frames, binned, notes = [], [], []
    if len(names) > 1:
        notes.append(
            f"The setups {joined([repr(one) for one in names])} are not put together; each has "
            "its own rows."
        )
    for name in names:
        part = rows[(rows["setup_id"] == name).to_numpy()]
        frame, chart, said = _conditions(part, name, indices, step_sfu, bins, draws, rng)
        frames.append(frame)
        binned.append(chart)
        notes += said
    return SolarConditions(
        frame=pd.concat(frames, ignore_index=True),
        bins=pd.concat(binned, ignore_index=True),
        notes=tuple(notes),
    )


def _conditions(
    rows: pd.DataFrame,
    name: str,
    indices: Indices,
    step_sfu: float,
    bins: int,
    draws: int,
    rng: np.random.Generator,
) -> tuple[pd.DataFrame, pd.DataFrame, list[str]]:
    days, which = np.unique(rows["evening"].to_numpy("datetime64[s]"), return_inverse=True)
    kp = kp_of_evenings(rows, days, which, indices)[which]
    dates, date = np.unique(
        rows["start_utc"].dt.tz_convert("UTC").dt.strftime("%Y-%m-%d").to_numpy(str),
        return_inverse=True,
    )
    moments = [f"{one}T12:00Z" for one in dates.tolist()]
    flux = np.asarray(indices.f107_sfu(moments, "27day").f107_sfu, dtype=np.float64)[date]
    hour = rows["middle_min"].to_numpy(np.float64) / 60.0
    heard = rows["heard"].to_numpy(np.float64)
    x = np.column_stack([flux / step_sfu, kp, hour])
    x = x - x.mean(axis=0)
    channel, channels = skill.to_codes("freq_khz", rows["freq_khz"])
    step = np.floor(60.0 * hour / STRATUM_MIN).astype(np.int64)
    matched = skill.to_codes("stratum", (step - step.min()) * channels + channel)
    strata = (matched, (channel, channels))
    week = rows["week"].to_numpy(np.int64)
    span = (week - week.min()) // _LONG_BLOCK_WEEKS
    weeks, spans = (np.unique(one).size for one in (week, span))
    of = f" with {name!r}" if name else ""
    notes = []
    effect = np.full((4, 3), np.nan)
    trouble = obstacle(rows, f"in this log{of}")
    if not trouble and weeks < LEAST_WEEKS:
        trouble = f"The log{of} has {weeks} weeks; {LEAST_WEEKS} are the least that can tell."
    if trouble:
        notes.append(trouble)
    else:
        effect[0] = _slopes(heard, x, strata)
        for block, columns in ((span, [0]), (week, [1, 2])):
            left = []
            for one in np.unique(block):
                keep = block != one
                kept = tuple((code[keep], count) for code, count in strata)
                left.append(_slopes(heard[keep], x[keep], kept))
            for at in columns:
                without = np.array(left)[:, at]
                if without.size >= LEAST_WEEKS:
                    effect[1:, at] = t_interval(effect[0, at], without)[1:]
    nights = days.size
    turns = (int((days[-1] - days[0]) / np.timedelta64(1, "D")) + 1) / ROTATION
    moved = float(flux.max() - flux.min())
    notes.append(
        f"The log{of} spans about {turns:.1f} turns of the sun ({ROTATION} days each), and both "
        "indices come back with them: a season holds some six independent turns, however many "
        f"nights it has. The 27-day mean of F10.7 moved by {moved:.0f} sfu in that time, slowly, "
        "so it cannot be told from anything else that drifts through a season."
    )
    frame = pd.DataFrame(
        {
            "setup_id": name,
            "name": _CONDITIONS,
            "step": (f"{step_sfu:g} sfu more", "one more", "one hour later"),
            "effect": 100.0 * effect[0],
            "low": 100.0 * effect[1],
            "high": 100.0 * effect[2],
            "p": effect[3],
            "nights": nights,
            "blocks": (spans, weeks, weeks),
        }
    )
    edges = np.unique(np.quantile(flux, np.linspace(0.0, 1.0, bins + 1)))
    flux_bin = np.clip(np.searchsorted(edges, flux, side="right") - 1, 0, max(edges.size - 2, 0))
    parts = []
    for label, values, code in zip(
        _CONDITIONS, (flux, kp, hour), (flux_bin, np.floor(kp), np.floor(hour)), strict=True
    ):
        parts.append(_binned(label, values, code.astype(np.int64), heard, week, which, draws, rng))
    chart = pd.concat(parts, ignore_index=True)
    chart.insert(0, "setup_id", name)
    return frame, chart, notes


def _binned(
    label: str,
    values: Floats,
    code: Codes,
    heard: Floats,
    week: Codes,
    night: Codes,
    draws: int,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """Rates in bins, with intervals from draws of whole weeks."""
    which, count = skill.to_codes("bin", code)

    def rates(rows: Codes) -> Floats:
        many = np.bincount(which[rows], minlength=count)
        with np.errstate(invalid="ignore"):
            return np.asarray(np.bincount(which[rows], heard[rows], count) / many)

    low, high = skill.block_interval(rates, week, draws, rng, 0.95)
    exact = skill.rate_interval(
        np.bincount(which, heard, count), np.bincount(which, minlength=count)
    )
    low, high = np.fmin(low, exact[0]), np.fmax(high, exact[1])
    groups = pd.DataFrame({"bin": which, "value": values, "night": night}).groupby("bin")
    return pd.DataFrame(
        {
            "name": label,
            "from_value": groups["value"].min().to_numpy(),
            "to_value": groups["value"].max().to_numpy(),
            "mean": groups["value"].mean().to_numpy(),
            "rate": rates(np.arange(which.size)),
            "low": low,
            "high": high,
            "checks": groups.size().to_numpy(dtype=np.int64),
            "nights": groups["night"].nunique().to_numpy(dtype=np.int64),
        }
    )

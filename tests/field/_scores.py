"""Scores of hindcasts against the open recordings, with intervals from resampled blocks.

Blocks: for the spots three hours of a day (with four days, days cannot be resampled), for the level
in Tokyo whole days. "Known" scores use two numbers learnt on the *other* days (`farhear.skill`).
"""

from collections.abc import Callable
from dataclasses import dataclass
from dataclasses import field as attribute
from typing import Any

import _recordings as recordings
import numpy as np
import pandas as pd
from _features import (
    DISTANCES_KM,
    Floats,
    change_point,
    clock,
    moving_mean,
    rank_correlation,
    skip_edge_km,
)
from _hindcast import SPOT_KHZ, Setting, Spots, Tokyo, instants, spots, tokyo
from _recordings import AbsentError
from numpy.typing import NDArray

import farhear as fh
from farhear import skill

KP_LIMIT = 5.0  # hours at or above it are left out by default: the model is of quiet months
FEWEST_SPOTS = 60  # an hour with fewer beyond 200 km has no profile
LONG_KM = (DISTANCES_KM > 1500.0) & (DISTANCES_KM < 2500.0)  # they stand for "the band is open"
NEAR_KM = (DISTANCES_KM > 600.0) & (DISTANCES_KM < 1400.0)
NIGHT_H = np.arange(3, 11)  # no F2 there on 14 MHz in winter: near signals are sporadic E, scatter
DAYLIGHT_H = np.arange(14, 23)  # Sun up over most of the area in winter
OPENING_MIN = (600, 1020)  # where the change points are looked for
CLOSING_MIN = (1260, 1860)
SHARES = (0.1, 0.2, 0.4)  # of the 95th percentile of a day: "there are spots"
SHARE = 0.2
BLOCK_H = 3

MORNING_MIN = (1140, 1560)  # Tokyo
EVENING_MIN = (360, 900)
PLATEAU_H = [23, 0]
FLOOR_DB = (
    15.0  # below the plateau: how deep the recorded night lies, with other emitters on 10 MHz
)


@dataclass
class Report:
    """Rows of scores, tables behind them, and what could not be read."""

    rows: list[dict[str, Any]] = attribute(default_factory=list)
    tables: dict[str, pd.DataFrame] = attribute(default_factory=dict)
    absent: list[str] = attribute(default_factory=list)

    def add(
        self,
        recording: str,
        score: str,
        value: float,
        interval: tuple[float, float] = (np.nan, np.nan),
        unit: str = "1",
        observed: str = "",
        predicted: str = "",
    ) -> None:
        names = ("recording", "score", "value", "low", "high", "unit", "observed", "predicted")
        row = (recording, score, value, *interval, unit, observed, predicted)
        self.rows.append(dict(zip(names, row, strict=True)))

    @property
    def frame(self) -> pd.DataFrame:
        return pd.DataFrame(self.rows)

    def value(self, score: str) -> float:
        found = self.frame.loc[self.frame["score"] == score, "value"]
        if len(found) != 1:
            raise KeyError(score)
        return float(found.iloc[0])


@dataclass
class Cells:
    """Events against likelihoods, flat, and how they belong together."""

    event: NDArray[np.bool_]
    likelihood: Floats
    day: NDArray[Any]
    block: NDArray[Any]
    group: NDArray[Any]  # what a climatology may know: hour, or hour and distance

    def log_scores(self) -> Floats:
        """Logarithm of what was given to what happened, two numbers learnt on other days."""
        p = skill.recalibrated_by_block(self.event, self.likelihood, self.day)
        return np.asarray(np.log(np.clip(np.where(self.event, p, 1.0 - p), 1e-6, 1.0)))


def interval(
    statistic: Callable[[NDArray[np.intp]], float], block: NDArray[Any]
) -> tuple[float, float]:
    low, high = skill.block_interval(statistic, block, n=300, seed=5)
    return float(low), float(high)


def add_probabilities(report: Report, name: str, what: str, cells: Cells) -> None:
    """ROC area, Brier skills, calibration."""
    event, p = cells.event, cells.likelihood

    def area(rows: NDArray[np.intp]) -> float:
        return skill.roc_area(event[rows], p[rows])

    every = np.arange(event.size)
    report.add(
        name,
        f"ROC area, {what}",
        area(every),
        interval(area, cells.block),
        observed=f"{event.mean():.2f} of cells",
        predicted=f"{p.mean():.2f} mean likelihood",
    )
    known = skill.recalibrated_by_block(event, p, cells.day)
    overall = skill.climatology(event, np.zeros(event.size, dtype=int), cells.day)
    usual = skill.climatology(event, cells.group, cells.day)
    fit = skill.recalibrate(event, p)
    for label, forecast, reference in (
        ("Brier skill as it is, against the overall rate", p, overall),
        ("Brier skill with two numbers known, against the overall rate", known, overall),
        ("Brier skill with two numbers known, against the climatology", known, usual),
    ):

        def worth(
            rows: NDArray[np.intp], forecast: Floats = forecast, reference: Floats = reference
        ) -> float:
            return skill.brier_skill(event[rows], forecast[rows], reference[rows])

        report.add(
            name,
            f"{label}, {what}",
            worth(every),
            interval(worth, cells.block),
            predicted=f"a {fit.a:+.2f}, b {fit.b:.2f}",
        )
    report.tables[f"{name}, {what}: likelihood as it is against how often"] = (
        skill.calibration_curve(event, p, cells.block)
    )


# --- 14 MHz in North America ---------------------------------------------------------------------
@dataclass
class SpotsDay:
    """A day of spots and its hindcast."""

    day: str
    counts: Floats  # (minute, 10 km)
    rate: Floats  # (hour, distance), per ground-wave spot, over the day's 95th percentile
    model: Spots
    calm: NDArray[np.bool_]  # hours that count

    @property
    def hourly(self) -> Floats:
        """Likelihood, (hour, distance)."""
        return self.model.likelihood.reshape(24, -1, DISTANCES_KM.size).mean(axis=1)

    @property
    def muf_mhz(self) -> Floats:
        return self.model.muf_mhz.reshape(24, -1, DISTANCES_KM.size).mean(axis=1)


def spot_rate(counts: Floats, step_min: int, minutes: NDArray[np.intp] | None = None) -> Floats:
    """Spots per ground-wave spot, (step, distance); `minutes` redraws the minutes of each step.

    What is heard below 100 km comes by ground wave at any hour; its mean over an hour around
    follows the number of stations on the air, not the ionosphere.
    """
    steps = counts.reshape(1440 // step_min, step_min, 30, 10).sum(axis=3)
    if minutes is not None:
        steps = np.take_along_axis(steps, minutes[:, :, None], axis=1)
    per_hour = 60.0 * np.nanmean(steps, axis=1)
    near = per_hour[:, 0]
    around = max(60 // step_min, 1)
    ring = np.concatenate([near[-around:], near, near[:around]])
    activity = moving_mean(ring, 2 * (around // 2) + 1)[around:-around]
    return np.asarray(per_hour[:, 2:] / np.maximum(activity, 1.0)[:, None])


def read_spots(setting: Setting) -> list[SpotsDay]:
    out = []
    for day, counts in recordings.north_american_spots().items():
        kp = np.asarray(fh.load_indices().kp_at(instants(day, np.arange(24) * 60 + 30)))
        calm = (kp < KP_LIMIT) | (setting.disturbed != "left out")
        rate = spot_rate(counts, 60)
        top = float(np.percentile(rate[calm], 95))
        out.append(SpotsDay(day, counts, rate / top, spots(setting, day), calm))
    return out


def spot_cells(days: list[SpotsDay], share: float = SHARE) -> Cells:
    """Cells of hour and distance; present: more than a share of the day's 95th percentile."""
    parts = []
    for one in days:
        hour, bin_ = np.meshgrid(np.flatnonzero(one.calm), np.arange(DISTANCES_KM.size))
        hour, bin_ = hour.T.ravel(), bin_.T.ravel()
        day = np.full(hour.size, one.day)
        block = np.char.add(np.char.add(day, " "), (hour // BLOCK_H).astype(str))
        event = one.rate[hour, bin_] > share
        parts.append((event, one.hourly[hour, bin_], day, block, hour * 100 + bin_))
    return Cells(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def openness(rate: Floats) -> Floats:
    """Mean over the long distances, mean over three steps."""
    return moving_mean(rate[:, LONG_KM].mean(axis=1), 3)


def turn(curve: Floats, window_min: tuple[int, int]) -> float:
    """Change point of a day's curve; beyond 24 h it goes on with the early hours of the file."""
    step = 1440 / curve.size
    minute = np.arange(2 * curve.size) * step + step / 2
    use = (minute >= window_min[0]) & (minute < window_min[1])
    return change_point(minute[use], np.tile(curve, 2)[use])


def observed_turn(one: SpotsDay, window_min: tuple[int, int]) -> tuple[float, tuple[float, float]]:
    """Change point of the spots and its interval, minutes redrawn within each ten."""
    rng = np.random.default_rng(5)
    drawn = [
        turn(openness(spot_rate(one.counts, 10, rng.integers(0, 10, (144, 10)))), window_min)
        for _ in range(100)
    ]
    low, high = np.nanpercentile(drawn, [5.0, 95.0])
    return turn(openness(spot_rate(one.counts, 10)), window_min), (float(low), float(high))


def spot_edges(days: list[SpotsDay]) -> pd.DataFrame:
    """Skip edges by day and hour, calm hours, in km."""
    rows = []
    for one in days:
        spots_beyond = one.counts[:, 20:].reshape(24, -1)
        for hour in np.flatnonzero(one.calm):
            enough = np.nansum(spots_beyond[hour]) >= FEWEST_SPOTS
            muf = one.muf_mhz[hour]
            reached = np.flatnonzero(muf >= SPOT_KHZ / 1000.0)
            by_muf = np.nan
            if reached.size and reached[0] > 0:
                i = int(reached[0])
                by_muf = float(
                    np.interp(SPOT_KHZ / 1000.0, muf[i - 1 : i + 1], DISTANCES_KM[i - 1 : i + 1])
                )
            seen = skip_edge_km(one.rate[hour]) if enough else np.nan
            rows.append((one.day, hour, seen, skip_edge_km(one.hourly[hour]), by_muf))
    frame = pd.DataFrame(rows, columns=["day", "ut_h", "observed_km", "predicted_km", "by_muf_km"])
    frame["off_percent"] = 100.0 * (frame["predicted_km"] / frame["observed_km"] - 1.0)
    return frame


def by_daylight(edges: pd.DataFrame) -> pd.DataFrame:
    """Hours of the day with both edges."""
    return edges[edges["ut_h"].isin(DAYLIGHT_H)].dropna(subset=["off_percent"])


def score_spots(report: Report, setting: Setting) -> None:
    """Add the scores of the 14 MHz spots."""
    name = "14 MHz N America"
    days = read_spots(setting)
    for one in days:
        for label, window in (("opening", OPENING_MIN), ("closing", CLOSING_MIN)):
            seen, (low, high) = observed_turn(one, window)
            told = turn(openness(one.model.likelihood), window)
            report.add(
                name,
                f"{label} {one.day}, predicted less observed",
                told - seen,
                (told - high, told - low),
                "min",
                f"{clock(seen)} ({clock(low)}-{clock(high)})",
                clock(told),
            )
    edges = spot_edges(days)
    bright = by_daylight(edges)
    off = bright["off_percent"].to_numpy()
    block = (bright["day"] + " " + (bright["ut_h"] // BLOCK_H).astype(str)).to_numpy(dtype=str)

    def bias(rows: NDArray[np.intp]) -> float:
        return float(off[rows].mean())

    def rmse(rows: NDArray[np.intp]) -> float:
        return float(np.sqrt((off[rows] ** 2).mean()))

    every = np.arange(off.size)
    seen_km, told_km = (f"{bright[c].mean():.0f} km" for c in ("observed_km", "predicted_km"))
    report.add(
        name, "skip edge by day, bias", bias(every), interval(bias, block), "%", seen_km, told_km
    )
    report.add(name, "skip edge by day, RMSE", rmse(every), interval(rmse, block), "%")
    by_muf = 100.0 * (bright["by_muf_km"] / bright["observed_km"] - 1.0)
    report.add(name, "edge where the median MUF is 14 MHz, bias", float(by_muf.mean()), unit="%")
    by_hour = edges.dropna().groupby("ut_h")["off_percent"]
    report.tables[f"{name}: skip edge by hour, % off"] = pd.DataFrame(
        {
            "bias": by_hour.mean(),
            "rmse": by_hour.apply(lambda v: float(np.sqrt((v**2).mean()))),
            "days": by_hour.count(),
        }
    ).round(1)
    for share in SHARES:
        what = f"spots above {share:g} of the day's 95th percentile"
        cells = spot_cells(days, share)
        if share == SHARE:
            add_probabilities(report, name, what, cells)
        else:
            area = skill.roc_area(cells.event, cells.likelihood)
            report.add(name, f"ROC area, {what}", area, observed=f"{cells.event.mean():.2f}")
    rate, model = (
        np.concatenate([getattr(one, k)[one.calm] for one in days]) for k in ("rate", "hourly")
    )
    report.add(
        name, "rank correlation, hour x distance", rank_correlation(rate.ravel(), model.ravel())
    )
    for one in days:
        dark = [float(t[NIGHT_H][:, NEAR_KM].mean()) for t in (one.rate, one.hourly)]
        report.add(
            name,
            f"night, 600-1400 km, {one.day}",
            dark[1] - dark[0],
            observed=f"{dark[0]:.3f}",
            predicted=f"{dark[1]:.3f}",
        )


# --- 10 MHz in Tokyo -----------------------------------------------------------------------------
@dataclass
class TokyoDays:
    """Level by day and step, observed and predicted."""

    days: list[str]
    minutes_db: Floats  # (day, 1440)
    model: list[Tokyo]
    threshold_db: float

    @property
    def hourly(self) -> Floats:
        return np.asarray(np.nanmedian(self.minutes_db.reshape(len(self.days), 24, 60), axis=2))

    @property
    def predicted_db(self) -> Floats:
        """(day, step)."""
        return np.array([one.level_db for one in self.model])

    @property
    def predicted_hourly(self) -> Floats:
        return self.predicted_db.reshape(len(self.days), 24, -1).mean(axis=2)


def composite(db: Floats, step_min: int, rows: NDArray[np.intp] | None = None) -> Floats:
    """Median over days and over steps of so many minutes."""
    blocks = (db if rows is None else db[rows]).reshape(-1, 1440 // step_min, step_min)
    return np.asarray(np.nanmedian(blocks, axis=(0, 2)))


def level_turn(db: Floats, window_min: tuple[int, int]) -> float:
    """Change point of a day's level; what lies under the recorded floor counts as that floor."""
    plateau = float(np.median(db.reshape(24, -1)[PLATEAU_H]))
    return turn(np.maximum(db, plateau - FLOOR_DB), window_min)


def read_tokyo(setting: Setting) -> TokyoDays:
    """Heard: above the middle between the composite day's night and day."""
    seen = recordings.tokyo_level()
    by_hour = composite(seen.db, 60)
    threshold_db = float(np.percentile(by_hour, [5.0, 90.0]).mean())
    floor_db = float(np.nanpercentile(seen.db, 1.0))
    model = [tokyo(setting, day, threshold_db - floor_db) for day in seen.days]
    return TokyoDays(seen.days, seen.db, model, threshold_db)


def tokyo_cells(data: TokyoDays) -> Cells:
    hourly = data.hourly
    heard = np.array([one.heard for one in data.model]).reshape(*hourly.shape, -1).mean(axis=2)
    day = np.repeat(np.array(data.days), 24)
    hour = np.tile(np.arange(24), len(data.days))
    return Cells((hourly > data.threshold_db).ravel(), heard.ravel(), day, day, hour)


def score_tokyo(report: Report, setting: Setting) -> None:
    """Add the scores of the 10 MHz level in Tokyo."""
    name = "10 MHz Tokyo"
    data = read_tokyo(setting)
    count = len(data.days)
    predicted = data.predicted_db
    model_day = np.median(predicted, axis=0)
    model_hour = np.median(data.predicted_hourly, axis=0)

    def shape(rows: NDArray[np.intp]) -> float:
        return rank_correlation(composite(data.minutes_db, 60, rows), model_hour)

    report.add(
        name,
        "rank correlation of the composite day's level by hour",
        shape(np.arange(count)),
        interval(shape, np.arange(count)),
    )
    report.add(
        name,
        f"rank correlation of level, {count} days x 24 h",
        rank_correlation(data.hourly.ravel(), data.predicted_hourly.ravel()),
    )
    for label, window in (("morning opening", MORNING_MIN), ("evening (a picture)", EVENING_MIN)):

        def when(rows: NDArray[np.intp], window: tuple[int, int] = window) -> float:
            return level_turn(composite(data.minutes_db, 10, rows), window)

        seen = when(np.arange(count))
        low, high = interval(when, np.arange(count))
        told = level_turn(model_day, window)
        report.add(
            name,
            f"{label}, predicted less observed",
            told - seen,
            (told - high, told - low),
            "min",
            f"{clock(seen)} ({clock(low)}-{clock(high)})",
            clock(told),
        )
    dip = [float((v[23] + v[7]) / 2 - v[3]) for v in (composite(data.minutes_db, 60), model_hour)]
    report.add(
        name,
        "noon dip, 03 UT below the mean of 23 and 07 UT",
        dip[1] - dip[0],
        unit="dB",
        observed=f"{dip[0]:.1f}",
        predicted=f"{dip[1]:.1f}",
    )
    add_probabilities(report, name, "hours above the middle level", tokyo_cells(data))
    by_hour = composite(data.minutes_db, 60)
    shift = float(np.median(by_hour - model_hour))
    report.tables[f"{name}: level by hour, predicted shifted by {shift:.1f} dB"] = pd.DataFrame(
        {"observed_db": by_hour, "predicted_db": model_hour + shift},
        index=pd.Index(range(24), name="ut_h"),
    ).round(1)


# --- all -----------------------------------------------------------------------------------------
def score_all(setting: Setting) -> Report:
    """Every score of a setting; recordings that are not here are named in `absent`."""
    report = Report()
    for part in (score_tokyo, score_spots):
        try:
            part(report, setting)
        except AbsentError as cause:
            report.absent.append(str(cause))
    return report

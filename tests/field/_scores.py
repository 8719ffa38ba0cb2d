"""Scores of a likelihood against the open field recordings.

`score_all(likelihood)` takes any function with the signature of `farhear.reception.likelihood` and
gives one table. What the recordings do not tell is assumed here, in capitals, and said so: powers,
geometry of the circuits, thresholds. The scores compare order, shape and times; they do not compare
absolute levels, for neither recording is calibrated.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import _recordings as recordings
import numpy as np
import pandas as pd
import xarray as xr
from _recordings import AbsentError, Floats
from numpy.typing import NDArray

import farhear as fh

Likelihood = Callable[..., xr.Dataset]

# --- 10 MHz in Tokyo -----------------------------------------------------------------------------
TOKYO_PLACE = (35.6, 139.7)
# name, lat_deg, lon_deg, power_kw. China: annex to Rec. ITU-R TF.768, 10-20 kW, so 15; the two
# across the Pacific from memory: places, and powers of about 10 kW.
EMITTERS = [
    ("China", 35.0, 109.5167, 15.0),
    ("Hawaii", 22.0, -159.8, 10.0),
    ("N America", 40.7, -105.0, 10.0),
]
TOKYO_BANDWIDTH_HZ = 10.0
# The level counts as fallen when it is this far below that of the daytime beside it: the afternoon
# in Tokyo is 05-08 UT, the morning 23-01 UT; the path from China sees sunset between 7.5 and 9.7 UT
# and sunrise between 21.5 and 23.5 UT.
FALL_DB = 6.0
AFTERNOON_MIN = (300, 480)
MORNING_MIN = (1380, 1500)
STEP_MIN = 10

# --- 14 MHz in North America ---------------------------------------------------------------------
SPOT_KHZ = 14050.0
SPOT_POWER_KW = 0.1  # common practice, no source
SPOT_BANDWIDTH_HZ = 500.0
SPOT_SNR_DB = 1.0  # what automatic Morse decoders need in 500 Hz: -1 to 3 dB, common practice
# The upstream file names tell that spots of slow digital modes are among the counts; those decode
# at some -13 dB in 500 Hz (-20 dB in 2500 Hz, from memory). Their share is not known.
DIGITAL_SNR_DB = -13.0
# Midpoints, and how many stations talk across them: where the people live, from memory.
MIDPOINT_LATS = (33.0, 39.0, 45.0)
MIDPOINT_LONS = (-76.0, -88.0, -100.0, -115.0)
MIDPOINT_WEIGHTS = (0.35, 0.30, 0.15, 0.20)
AZIMUTHS = (0.0, 45.0, 90.0, 135.0)
BOX = (24.0, 55.0, -126.0, -62.0)  # both ends lie in it, else the circuit does not count
DISTANCES_KM = np.arange(250.0, 3000.0, 100.0)  # centres of bins; below 150 km it is ground wave
KP_LIMIT = 5.0  # hours at or above it are left out: the model is of the undisturbed month
LONG_KM = (1500.0, 2500.0)  # distances that stand for "the band is open"
# At night the F2 layer does not carry 14 MHz here in winter: what comes from near is sporadic E (or
# scatter), from far the remains of F2.
NIGHT_H = range(3, 11)
NEAR_KM = (600.0, 1400.0)
FAR_KM = (2000.0, 3000.0)
DAYLIGHT_H = range(14, 23)  # Sun up over most of the area in winter


# --- small statistics ----------------------------------------------------------------------------
def spearman(a: Floats, b: Floats) -> float:
    """Rank correlation; ties share their mean rank; pairs with NaN are left out."""
    good = ~(np.isnan(a) | np.isnan(b))
    if good.sum() < 3:
        return float("nan")
    x, y = (pd.Series(v[good]).rank().to_numpy(dtype=np.float64) for v in (a, b))
    if x.std() == 0.0 or y.std() == 0.0:
        return float("nan")
    return float(np.corrcoef(x, y)[0, 1])


def roc_area(event: Any, score: Floats) -> float:
    """Chance that a cell with the event has the higher score (Mann-Whitney); ties count half."""
    good = ~np.isnan(score)
    event, score = np.asarray(event, dtype=bool)[good], score[good]
    n, m = int(event.sum()), int((~event).sum())
    if not n or not m:
        return float("nan")
    ranks = pd.Series(score).rank().to_numpy(dtype=np.float64)
    return float((ranks[event].sum() - n * (n + 1) / 2) / (n * m))


def crossing(x: Floats, y: Floats, level: float, *, rising: bool) -> float:
    """First x where y goes up (or down) through the level, interpolated; NaN if never."""
    sign = 1.0 if rising else -1.0
    d = sign * (y - level)
    for i in range(1, d.size):
        if d[i - 1] < 0.0 <= d[i]:
            return float(x[i - 1] + (x[i] - x[i - 1]) * -d[i - 1] / (d[i] - d[i - 1]))
    return float("nan")


def smooth(y: Floats, n: int) -> Floats:
    """Moving mean over n samples (odd) along the last axis; NaN left out, ends shortened."""
    width = n // 2
    parts = [
        np.nanmean(y[..., max(i - width, 0) : i + width + 1], axis=-1) for i in range(y.shape[-1])
    ]
    return np.stack(parts, axis=-1)


def skip_edge_km(profile: Floats, level: float = 0.5) -> float:
    """Near edge of a profile over DISTANCES_KM.

    Mean over three bins, then from the maximum inward to the first place below `level` of the
    maximum, interpolated; NaN where the profile stays above it down to 250 km.
    """
    p = smooth(profile, 3)
    if not np.isfinite(p).all() or p.max() <= 0.0:
        return float("nan")
    top = int(p.argmax())
    goal = level * p[top]
    for i in range(top, 0, -1):
        if p[i - 1] < goal <= p[i]:
            at = DISTANCES_KM[i - 1] + 100.0 * (goal - p[i - 1]) / (p[i] - p[i - 1])
            return float(at)
    return float("nan")


def between_km(ends: tuple[float, float]) -> NDArray[np.bool_]:
    """Which of DISTANCES_KM lie between two distances."""
    low, high = ends
    return (low < DISTANCES_KM) & (high > DISTANCES_KM)


def clock(minute: float) -> str:
    """Minute as UT, "22:40"; beyond 24 h it goes on from 0."""
    if not np.isfinite(minute):
        return "none"
    whole = round(minute) % 1440
    return f"{whole // 60:02d}:{whole % 60:02d}"


# --- the table -----------------------------------------------------------------------------------
@dataclass
class Report:
    """Rows of scores, and the series behind them to print."""

    rows: list[dict[str, Any]] = field(default_factory=list)
    series: dict[str, pd.DataFrame] = field(default_factory=dict)

    def add(
        self, recording: str, score: str, value: float, unit: str, seen: str = "", model: str = ""
    ) -> None:
        self.rows.append(
            {
                "recording": recording,
                "score": score,
                "value": value,
                "unit": unit,
                "observed": seen,
                "predicted": model,
            }
        )

    @property
    def frame(self) -> pd.DataFrame:
        names = ["recording", "score", "value", "unit", "observed", "predicted"]
        return pd.DataFrame(self.rows, columns=names)


def instants(day: str, minutes: Any) -> Any:
    """UT instants of minutes of a day."""
    start = np.datetime64(day, "s")
    return fh.utc(start + np.asarray(minutes).astype("timedelta64[m]"), naive_is_utc=True)


def flux(day: str, driver: str) -> float:
    """Flux that drives the maps, from the shipped history.

    "12month": 12-month smoothed, of the middle of the day, as the maps want it. "27day": mean of
    the 27 days up to the day, to see how much of a misfit is the Sun's.
    """
    indices = fh.load_indices()
    if driver == "12month":
        return float(indices.f107_12month_sfu(instants(day, [720])).f107_sfu[0])
    if driver != "27day":
        raise ValueError(f"driver = {driver!r}: 12month or 27day")
    frame = indices.frame
    back = np.datetime64(day) - frame["date"].to_numpy()
    recent = (back >= np.timedelta64(0, "D")) & (back < np.timedelta64(27, "D"))
    return float(frame.loc[recent, "f107_obs_sfu"].mean())


# --- A: Tokyo ------------------------------------------------------------------------------------
def tokyo_prediction(
    likelihood: Likelihood, day: str, minutes: Floats, f107_sfu: float, required_snr_db: float
) -> dict[str, Floats]:
    """Level of the three emitters and the noise together, and the likelihood that any is heard."""
    lat, lon, power = (np.array([e[i] for e in EMITTERS])[:, None] for i in (1, 2, 3))
    found = likelihood(
        lat,
        lon,
        *TOKYO_PLACE,
        10000.0,
        instants(day, minutes),
        power_kw=power,
        f107_sfu=f107_sfu,
        noise="residential",
        bandwidth_hz=TOKYO_BANDWIDTH_HZ,
        required_snr_db=required_snr_db,
    )
    level_db = found.field_dbuv_m.to_numpy()
    with np.errstate(invalid="ignore"):  # no mode at all: -inf less -inf
        noise_db = np.nanmax(level_db - found.snr_db.to_numpy(), axis=0)
    total = 10.0 * np.log10((10.0 ** (level_db / 10.0)).sum(axis=0) + 10.0 ** (noise_db / 10.0))
    heard = 1.0 - np.prod(1.0 - found.likelihood.to_numpy(), axis=0)
    out = {"level_db": total, "noise_db": noise_db, "heard": heard}
    for i, emitter in enumerate(EMITTERS):
        out[emitter[0]] = level_db[i]
    return out


def composite(db: Floats, step_min: int) -> Floats:
    """Median over days and over steps of so many minutes."""
    days, minutes = db.shape
    blocks = db.reshape(days, minutes // step_min, step_min)
    return np.asarray(np.nanmedian(blocks, axis=(0, 2)))


def fall_and_rise(curve: Floats) -> tuple[float, float]:
    """Minutes of the evening fall and of the morning rise of a day's curve (steps of STEP_MIN).

    Fall: from when, after 08 UT, the moving mean over half an hour first stays FALL_DB below the
    afternoon's median for half an hour. Rise: from when, before 24 UT, it no longer is FALL_DB
    below the morning's median.
    """
    minute = np.arange(curve.size) * STEP_MIN + STEP_MIN / 2
    level = smooth(curve, 3)

    def median(window: tuple[int, int]) -> float:
        return float(np.nanmedian(curve[(minute >= window[0]) & (minute < window[1])]))

    fall = float("nan")
    low = level < median(AFTERNOON_MIN) - FALL_DB
    for i in np.flatnonzero(minute >= AFTERNOON_MIN[1]):
        if low[i : i + 3].all():
            fall = float(minute[i] - STEP_MIN / 2)
            break
    late, early = curve[minute >= MORNING_MIN[0]], curve[minute < MORNING_MIN[1] - 1440]
    high = level >= np.nanmedian(np.concatenate([late, early])) - FALL_DB
    rise = float("nan")
    for i in np.flatnonzero(minute >= 1080)[::-1]:
        if not high[i]:
            rise = float(minute[i] + STEP_MIN / 2)
            break
    return fall, rise


def score_tokyo(
    likelihood: Likelihood, report: Report, *, quick: bool = False, driver: str = "12month"
) -> None:
    """Add the scores of the 10 MHz level in Tokyo."""
    name = "10 MHz Tokyo"
    seen = recordings.tokyo_level()
    hourly = np.nanmedian(seen.db.reshape(len(seen.days), 24, 60), axis=2)
    by_hour = composite(seen.db, 60)
    floor_db = float(np.nanpercentile(seen.db, 1.0))
    night_db, day_db = (float(np.nanpercentile(by_hour, p)) for p in (5.0, 90.0))
    thresholds = {
        "mid": (night_db + day_db) / 2.0,
        "1/3": night_db + (day_db - night_db) / 3.0,
        "2/3": night_db + (day_db - night_db) * 2.0 / 3.0,
    }

    mid_snr_db = thresholds["mid"] - floor_db
    hours_min = np.arange(24) * 60 + 30
    every: dict[str, list[Floats]] = {}
    for day in seen.days:
        model = tokyo_prediction(likelihood, day, hours_min, flux(day, driver), mid_snr_db)
        for key, values in model.items():
            every.setdefault(key, []).append(values)
    model_db = np.array(every["level_db"])
    middle_day = seen.days[len(seen.days) // 2]
    model_hour = np.median(model_db, axis=0)

    report.add(name, "rank correlation of level, 24 hours", spearman(by_hour, model_hour), "1")
    report.add(
        name,
        f"rank correlation of level, {len(seen.days)} days x 24 h",
        spearman(hourly.ravel(), model_db.ravel()),
        "1",
    )
    swing = [float(np.nanpercentile(v, 95) - np.nanpercentile(v, 5)) for v in (by_hour, model_hour)]
    report.add(
        name,
        "swing of the composite day, predicted less observed",
        swing[1] - swing[0],
        "dB",
        f"{swing[0]:.1f}",
        f"{swing[1]:.1f}",
    )
    off = by_hour - model_hour
    off -= np.median(off)
    report.add(
        name, "RMS of level by hour, offset taken off", float(np.sqrt(np.mean(off**2))), "dB"
    )
    dip = [float((v[23] + v[7]) / 2 - v[3]) for v in (by_hour, model_hour)]
    report.add(
        name,
        "noon dip (03 UT below mean of 23 and 07 UT)",
        dip[1] - dip[0],
        "dB",
        f"{dip[0]:.1f}",
        f"{dip[1]:.1f}",
    )

    fine_min = np.arange(0, 1440, STEP_MIN) + STEP_MIN / 2
    fine = tokyo_prediction(likelihood, middle_day, fine_min, flux(middle_day, driver), mid_snr_db)
    seen_fine = np.nanmedian(seen.db.reshape(len(seen.days), -1, STEP_MIN), axis=2)
    each = np.array([fall_and_rise(row) for row in seen_fine])
    for i, label in ((1, "morning rise"), (0, "evening fall")):
        observed = fall_and_rise(composite(seen.db, STEP_MIN))[i]
        low, high = np.nanpercentile(each[:, i], [10, 90])
        predicted = fall_and_rise(fine["level_db"])[i]
        report.add(
            name,
            f"{label}, predicted less observed",
            predicted - observed,
            "min",
            f"{clock(observed)} ({clock(low)}-{clock(high)})",
            clock(predicted),
        )
    above_floor = [
        float(np.median(v[:8]) - f)
        for v, f in ((by_hour, floor_db), (model_hour, np.median(every["noise_db"])))
    ]
    report.add(
        name,
        "day level (00-08 UT) above the floor",
        above_floor[1] - above_floor[0],
        "dB",
        f"{above_floor[0]:.0f} above {floor_db:.0f}",
        f"{above_floor[1]:.0f} above noise",
    )

    for label, limit in thresholds.items():
        event = (hourly > limit).ravel()
        if label != "mid":
            heard = [
                tokyo_prediction(likelihood, d, hours_min, flux(d, driver), limit - floor_db)[
                    "heard"
                ]
                for d in seen.days
            ]
        else:
            heard = every["heard"]
        report.add(
            name,
            f"ROC area of likelihood, threshold {label}",
            roc_area(event, np.array(heard).ravel()),
            "1",
            f"{event.mean():.2f} above {limit:.0f} dB",
            f"{np.mean(heard):.2f} mean likelihood",
        )
    event = (hourly > thresholds["mid"]).ravel()
    report.add(name, "ROC area of level, threshold mid", roc_area(event, model_db.ravel()), "1")
    heard_mid = np.array(every["heard"])
    gap = heard_mid.mean() - event.mean()
    report.add(name, "mean likelihood less share of cells above, mid", float(gap), "1")
    share = (hourly > thresholds["mid"]).mean(axis=0)
    brier = float(np.mean((heard_mid.ravel() - event) ** 2))
    best = float(np.mean((np.tile(share, len(seen.days)) - event) ** 2))
    report.add(
        name, "Brier score, mid (hourly climatology of the same days)", brier, "1", f"{best:.3f}"
    )

    shift = float(np.median(by_hour - model_hour))
    report.series[f"{name}: hourly medians (predicted shifted by {shift:.1f} dB)"] = pd.DataFrame(
        {
            "observed_db": by_hour,
            "p25_db": np.nanpercentile(hourly, 25, axis=0),
            "p75_db": np.nanpercentile(hourly, 75, axis=0),
            "predicted_db": model_hour + shift,
            "off_db": model_hour + shift - by_hour,
            **{e[0] + "_db": np.median(every[e[0]], axis=0) + shift for e in EMITTERS},
            "noise_db": np.median(every["noise_db"], axis=0) + shift,
            "share_above_mid": share,
            "heard": np.median(every["heard"], axis=0),
        },
        index=pd.Index(range(24), name="ut_h"),
    ).round(2)


# --- B: North America ----------------------------------------------------------------------------
def circuits(*, quick: bool, equal_weights: bool = False) -> tuple[Floats, Floats]:
    """Ends of the circuits, (4, distance, circuit), and their weights, (distance, circuit)."""
    azimuths = AZIMUTHS[::2] if quick else AZIMUTHS
    lats = MIDPOINT_LATS[1:2] if quick else MIDPOINT_LATS
    grid = [
        (lat, lon, azimuth, 1.0 if equal_weights else weight)
        for lat in lats
        for lon, weight in zip(MIDPOINT_LONS, MIDPOINT_WEIGHTS, strict=True)
        for azimuth in azimuths
    ]
    lat, lon, azimuth, weight = np.array(grid).T
    half = DISTANCES_KM[:, None] / 2.0
    out = fh.path.direct(lat, lon, azimuth, half)
    back = fh.path.direct(lat, lon, (azimuth + 180.0) % 360.0, half)
    ends = np.stack([out.lat_deg, out.lon_deg, back.lat_deg, back.lon_deg])
    inside = np.ones(ends.shape[1:], dtype=bool)
    for end_lat, end_lon in ((ends[0], ends[1]), (ends[2], ends[3])):
        inside &= (end_lat >= BOX[0]) & (end_lat <= BOX[1])
        inside &= (end_lon >= BOX[2]) & (end_lon <= BOX[3])
    return ends, weight * inside


def spots_prediction(
    likelihood: Likelihood,
    day: str,
    minutes: Floats,
    f107_sfu: float,
    ends: Floats,
    weights: Floats,
    required_snr_db: float = SPOT_SNR_DB,
) -> tuple[Floats, Floats]:
    """Mean likelihood and mean highest basic MUF [MHz], (minute, distance)."""
    use = weights > 0.0
    rows = [end[use][:, None] for end in ends]
    found = likelihood(
        *rows,
        SPOT_KHZ,
        instants(day, minutes),
        power_kw=SPOT_POWER_KW,
        f107_sfu=f107_sfu,
        noise="residential",
        bandwidth_hz=SPOT_BANDWIDTH_HZ,
        required_snr_db=required_snr_db,
        long_path="short",
    )
    heard, muf_mhz = found.likelihood.to_numpy(), found.muf_mhz.to_numpy()
    out = np.zeros((2, len(minutes), weights.shape[0]))
    place = np.nonzero(use)[0]
    share = weights[use] / weights.sum(axis=1)[place]
    for row, distance in enumerate(place):
        out[0][:, distance] += share[row] * heard[row]
        out[1][:, distance] += share[row] * muf_mhz[row]
    return out[0], out[1]


def spots_rate(counts: Floats, step_min: int) -> tuple[Floats, Floats]:
    """Counts per hour and 100 km by step and distance, and the same per ground-wave count.

    Activity is what is heard below 100 km, by ground wave at any hour, as a mean over an hour
    around; it follows the number of stations on the band, not the ionosphere.
    """
    steps = 1440 // step_min
    blocks = np.nanmean(counts.reshape(steps, step_min, 30, 10).sum(axis=3), axis=1) * 60.0
    near = blocks[:, 0]
    width = max(60 // step_min, 1)
    ring = np.concatenate([near[-width:], near, near[:width]])
    activity = smooth(ring, 2 * (width // 2) + 1)[width:-width]
    return blocks[:, 2:], blocks[:, 2:] / np.maximum(activity, 1.0)[:, None]


def openness(rate: Floats) -> Floats:
    """Mean over the long distances, moving mean over half an hour (steps of STEP_MIN)."""
    far = between_km(LONG_KM)
    return smooth(rate[:, far].mean(axis=1), 3)


def half_times(curve: Floats, share: float) -> tuple[float, float]:
    """Minutes of opening and closing: through `share` of the plateau (median 16-21 UT).

    Opening: first rise after 10 UT. Closing: first fall after 21 UT, going on into the early hours
    of the same file, which belong to the evening before.
    """
    minute = np.arange(curve.size) * STEP_MIN + STEP_MIN / 2
    plateau = float(np.median(curve[(minute >= 960) & (minute < 1260)]))
    late = minute >= 600
    opening = crossing(minute[late], curve[late], share * plateau, rising=True)
    ring = np.concatenate([curve[minute >= 1260], curve[minute < 600]])
    when = np.concatenate([minute[minute >= 1260], minute[minute < 600] + 1440])
    return opening, crossing(when, ring, share * plateau, rising=False)


def score_spots(
    likelihood: Likelihood, report: Report, *, quick: bool = False, driver: str = "12month"
) -> None:
    """Add the scores of the 14 MHz spots."""
    name = "14 MHz N America"
    seen = recordings.north_american_spots()
    ends, weights = circuits(quick=quick)
    _, flat_weights = circuits(quick=quick, equal_weights=True)
    indices = fh.load_indices()
    hours_min = np.arange(24) * 60 + 30
    fine_min = np.arange(0, 1440, STEP_MIN) + STEP_MIN / 2
    pooled: dict[str, list[Floats]] = {}
    off_percent: list[float] = []
    muf_ratio: list[float] = []
    digital_off: list[float] = []
    for day, counts in seen.items():
        _, rate = spots_rate(counts, 60)
        sfu = flux(day, driver)
        model, muf_mhz = spots_prediction(likelihood, day, hours_min, sfu, ends, weights)
        calm = np.asarray(indices.kp_at(instants(day, hours_min))) < KP_LIMIT
        top = float(np.percentile(rate[calm], 95))
        pooled.setdefault("rate", []).append(rate[calm] / top)
        pooled.setdefault("model", []).append(model[calm])

        near = {}
        for key, table in (("observed_km", rate), ("predicted_km", model)):
            near[key] = [skip_edge_km(row) for row in table]
        near["observed_40_km"] = [skip_edge_km(row, 0.4) for row in rate]
        near["observed_60_km"] = [skip_edge_km(row, 0.6) for row in rate]
        near["predicted_peak"] = list(model.max(axis=1))
        near["observed_peak"] = list(rate.max(axis=1) / top)
        edge = pd.DataFrame(near, index=pd.Index(range(24), name="ut_h"))
        edge["off_percent"] = 100.0 * (edge.predicted_km / edge.observed_km - 1.0)
        at_edge = [
            np.interp(km, DISTANCES_KM, row) if np.isfinite(km) else np.nan
            for km, row in zip(edge.observed_km, muf_mhz, strict=True)
        ]
        edge["muf_at_observed_mhz"] = at_edge
        edge["calm"] = calm
        day_off = edge.loc[[h for h in DAYLIGHT_H if calm[h]], "off_percent"].to_numpy()
        off_percent += list(day_off)
        report.add(
            name,
            f"skip edge, mean over daylight, {day}",
            float(np.nanmean(day_off)),
            "%",
            f"{np.nanmean(edge.observed_km.to_numpy()[list(DAYLIGHT_H)]):.0f} km",
            f"{np.nanmean(edge.predicted_km.to_numpy()[list(DAYLIGHT_H)]):.0f} km ({sfu:.0f} sfu)",
        )
        by_muf = [crossing(DISTANCES_KM, row, SPOT_KHZ / 1000.0, rising=True) for row in muf_mhz]
        edge["muf_edge_km"] = by_muf
        muf_off = edge.muf_edge_km / edge.observed_km - 1.0
        hours = [h for h in DAYLIGHT_H if calm[h]]
        report.add(
            name,
            f"edge by the MUF alone, mean over daylight, {day}",
            100.0 * float(muf_off.loc[hours].mean()),
            "%",
            "",
            f"{edge.muf_edge_km.loc[hours].mean():.0f} km",
        )
        widths = [
            np.nanmean([skip_edge_km(t[h], 0.75) - skip_edge_km(t[h], 0.4) for h in hours])
            for t in (rate, model)
        ]
        report.add(
            name,
            f"width of the edge, 40 to 75 % of the maximum, {day}",
            float(widths[1] - widths[0]),
            "km",
            f"{widths[0]:.0f} km",
            f"{widths[1]:.0f} km",
        )
        muf_day = edge.loc[[h for h in DAYLIGHT_H if calm[h]], "muf_at_observed_mhz"].to_numpy()
        digital, _ = spots_prediction(
            likelihood, day, hours_min, sfu, ends, weights, DIGITAL_SNR_DB
        )
        digital_km = np.array([skip_edge_km(digital[h]) for h in hours])
        digital_off += list(100.0 * (digital_km / edge.observed_km.loc[hours].to_numpy() - 1.0))
        muf_ratio += list(muf_day / (SPOT_KHZ / 1000.0))
        report.add(
            name,
            f"MUF at the observed edge over {SPOT_KHZ / 1000.0:g} MHz, less 1, {day}",
            100.0 * float(np.nanmean(muf_day) / (SPOT_KHZ / 1000.0) - 1.0),
            "%",
        )

        _, fine_rate = spots_rate(counts, STEP_MIN)
        seen_curve = openness(fine_rate)
        model_curve = openness(spots_prediction(likelihood, day, fine_min, sfu, ends, weights)[0])
        other = openness(spots_prediction(likelihood, day, fine_min, sfu, ends, flat_weights)[0])
        for i, label in enumerate(("opening", "closing")):
            observed, early, late = (half_times(seen_curve, s)[i] for s in (0.5, 0.25, 0.75))
            early, late = sorted((early, late))
            predicted = half_times(model_curve, 0.5)[i]
            equal = half_times(other, 0.5)[i]
            note = ""
            if np.isfinite(observed):
                kp = float(indices.kp_at(instants(day, [observed % 1440]))[0])
                note = " Kp high" if kp >= KP_LIMIT else ""
            report.add(
                name,
                f"{label}, predicted less observed, {day}{note}",
                predicted - observed,
                "min",
                f"{clock(observed)} ({clock(early)}-{clock(late)})",
                f"{clock(predicted)} (equal weights {clock(equal)})",
            )
        night = [h for h in NIGHT_H if calm[h]]
        for label, zone in (("600-1400", NEAR_KM), ("2000-3000", FAR_KM)):
            within = between_km(zone)
            dark = [float(table[night][:, within].mean()) for table in (rate / top, model)]
            report.add(
                name,
                f"night, 03-10 UT, {label} km, {day}",
                dark[1] - dark[0],
                "1",
                f"{dark[0]:.3f}",
                f"{dark[1]:.3f}",
            )
        report.add(
            name, f"rank correlation, {day}", spearman(rate[calm].ravel(), model[calm].ravel()), "1"
        )
        shown = [300, 500, 700, 900, 1100, 1300, 1500, 1700, 2000, 2300, 2600, 2900]
        columns = [int(d // 100) - 2 for d in shown]
        table = pd.DataFrame(
            {
                **{f"o{d}": rate[:, c] / top for d, c in zip(shown, columns, strict=True)},
                **{f"p{d}": model[:, c] for d, c in zip(shown, columns, strict=True)},
            },
            index=pd.Index(range(24), name="ut_h"),
        )
        report.series[f"{name} {day}: rate over the day's 95th percentile (o), likelihood (p)"] = (
            table.round(2)
        )
        report.series[f"{name} {day}: skip edge"] = edge.round(2)

    off = np.array(off_percent)
    report.add(
        name,
        "MUF at the observed edge, RMS of its error by hour",
        100.0 * float(np.sqrt(np.nanmean((np.array(muf_ratio) - 1.0) ** 2))),
        "%",
    )
    report.add(name, "skip edge by day, bias", _mean(off), "%", f"{np.isfinite(off).sum()} h")
    report.add(
        name,
        f"skip edge by day, bias if {DIGITAL_SNR_DB:g} dB were enough",
        _mean(digital_off),
        "%",
        f"{np.isfinite(digital_off).sum()} h",
    )
    report.add(name, "skip edge by day, RMSE", float(np.sqrt(np.nanmean(off**2))), "%")
    rate, model = (np.concatenate(pooled[k]) for k in ("rate", "model"))
    for share in (0.2, 0.1, 0.4):
        event = rate > share
        report.add(
            name,
            f"ROC area, present = above {share:g} of the day's 95th percentile",
            roc_area(event.ravel(), model.ravel()),
            "1",
            f"{event.mean():.2f} of cells present",
            f"{model.mean():.2f} mean likelihood",
        )
    report.add(
        name, "rank correlation, distance x hour", spearman(rate.ravel(), model.ravel()), "1"
    )
    within_hour = [spearman(r, m) for r, m in zip(rate, model, strict=True)]
    within_km = [spearman(r, m) for r, m in zip(rate.T, model.T, strict=True)]
    report.add(name, "rank correlation within an hour, mean", float(np.nanmean(within_hour)), "1")
    # Pairs by distance are not known. Their upper envelope over all hours stands in for them here,
    # from 800 km on, where each distance was fully open at some hour.
    pairs = np.maximum(np.percentile(rate, 95, axis=0), 1e-9)
    far = DISTANCES_KM > 800.0
    open_hours = model[:, far].max(axis=1) > 0.5
    by_hour = [
        spearman((r / pairs)[far], m[far])
        for r, m, use in zip(rate, model, open_hours, strict=True)
        if use
    ]
    report.add(
        name,
        "same from 800 km on, open hours, pairs taken from the data",
        float(np.nanmean(by_hour)),
        "1",
    )
    report.add(name, "rank correlation within a distance, mean", float(np.nanmean(within_km)), "1")


# --- all -----------------------------------------------------------------------------------------
PARTS = (score_tokyo, score_spots)


def run(
    likelihood: Likelihood, *, quick: bool = False, driver: str = "12month"
) -> tuple[Report, list[str]]:
    """Every score, and the recordings that are not here."""
    report, absent = Report(), []
    for part in PARTS:
        try:
            part(likelihood, report, quick=quick, driver=driver)
        except AbsentError as cause:
            absent.append(str(cause))
    return report, absent


def _mean(values: Any) -> float:
    """Mean of what is there; NaN where nothing is."""
    array = np.asarray(values, dtype=np.float64)
    there = np.isfinite(array)
    return float(array[there].mean()) if there.any() else float("nan")


def score_all(
    likelihood: Likelihood = fh.reception.likelihood,
    *,
    quick: bool = False,
    driver: str = "12month",
) -> pd.DataFrame:
    """Table of scores: recording, score, value, unit, observed, predicted."""
    return run(likelihood, quick=quick, driver=driver)[0].frame

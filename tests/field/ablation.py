"""What each piece of the physics buys: ``python tests/field/ablation.py``.

Each row switches one piece off, or changes one number, and gives how much worse (negative) or
better the held-out log score per cell becomes: two numbers of calibration are learnt on the other
days, the intervals come from paired blocks. Then the numbers are chosen on all days but one and
tried on that day. A default is moved only where an interval leaves out 0; elsewhere the evidence is
too thin, and the published value, or the one by reasoning, stays.

  --driver NAME   as for score.py (default: 27day, so that the Sun's misfit does not hide the rest)
  --full          all circuits and ten-minute steps
"""

import argparse
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from _features import Floats, rank_correlation
from _hindcast import AZIMUTHS, Setting
from _scores import (
    CLOSING_MIN,
    MORNING_MIN,
    OPENING_MIN,
    Cells,
    by_daylight,
    composite,
    interval,
    level_turn,
    openness,
    read_spots,
    read_tokyo,
    spot_cells,
    spot_edges,
    spot_rate,
    tokyo_cells,
    turn,
)

from farhear import skill

ALL_HOURS = "all hours, as quiet"  # what the next is set against
PIECES: dict[str, dict[str, Any]] = {
    "mirrors instead of rays": {"engine": "mirror"},
    "no F1": {"physics": {"f1": False}},
    "no high ray": {"physics": {"high_ray": False}},
    "no focusing": {"physics": {"focusing": False}},
    "no sporadic E": {"physics": {"sporadic_e": False}},
    "no latitude loss": {"physics": {"auroral": False}},
    "no fall towards the horizon": {"physics": {"low_angle": False}},
    "no lightning noise": {"atmospheric": None},
    "with the long path": {"long_path": "both"},
    "absorption by the integral": {"physics": {"integral_absorption": True}},
    ALL_HOURS: {"disturbed": "as quiet"},
    "all hours, by Kp": {"disturbed": "by Kp"},
}
NUMBERS: dict[str, dict[str, list[Any]]] = {
    "absorption_scale": {"physics": [0.5, 0.7, 0.85, 1.0]},
    "night_absorption": {"physics": [0.0, 0.05, 0.1]},
    "scatter_db": {"physics": [27.0, 30.0, 33.0, 36.0, 40.0]},
    "most_focusing_db": {"physics": [1.5, 3.0, 6.0, 9.0]},
    "fof2_spread": {"physics": [0.5, 0.7, 1.0, 1.4, 2.0]},
    "es_dependence": {"physics": [0.0, 0.5, 1.0]},
    "other_loss_db": {"physics": [3.0, 6.0, 9.0, 12.0]},
    "add_sfu": {"": [-20.0, -10.0, 0.0, 10.0, 20.0]},
    "driver": {"": ["12month", "81day", "27day", "daily", "forecast", "forecast, exact"]},
}


class Found(NamedTuple):
    """What one setting comes to."""

    spots: Cells
    spot_log: Floats
    tokyo: Cells
    tokyo_log: Floats
    figures: dict[str, float]


def evaluate(setting: Setting) -> Found:
    """Hindcast both recordings."""
    days = read_spots(setting)
    cells = spot_cells(days)
    level = read_tokyo(setting)
    heard = tokyo_cells(level)
    off = by_daylight(spot_edges(days))["off_percent"].to_numpy()
    turns = {
        label: float(
            np.mean(
                [
                    abs(
                        turn(openness(d.model.likelihood), window)
                        - turn(openness(spot_rate(d.counts, 10)), window)
                    )
                    for d in days
                ]
            )
        )
        for label, window in (("opening", OPENING_MIN), ("closing", CLOSING_MIN))
    }
    model_day = np.median(level.predicted_db, axis=0)
    figures = {
        "14 ROC": skill.roc_area(cells.event, cells.likelihood),
        "edge bias %": float(off.mean()),
        "edge RMSE %": float(np.sqrt((off**2).mean())),
        "opening min": turns["opening"],
        "closing min": turns["closing"],
        "10 ROC": skill.roc_area(heard.event, heard.likelihood),
        "10 rank": rank_correlation(
            composite(level.minutes_db, 60), np.median(level.predicted_hourly, axis=0)
        ),
        "10 morning min": level_turn(model_day, MORNING_MIN)
        - level_turn(composite(level.minutes_db, 10), MORNING_MIN),
    }
    return Found(cells, cells.log_scores(), heard, heard.log_scores(), figures)


def gain(ours: Floats, base: Floats, block: Any) -> tuple[float, float, float]:
    """Mean of the paired differences, with its interval."""
    difference = ours - base
    low, high = interval(lambda rows: float(difference[rows].mean()), block)
    return float(difference.mean()), low, high


def shown(value: tuple[float, float, float]) -> str:
    mark = "*" if value[1] > 0.0 or value[2] < 0.0 else " "
    return f"{value[0]:+.3f} ({value[1]:+.3f} {value[2]:+.3f}){mark}"


def row(name: str, found: Found, base: Found) -> dict[str, Any]:
    """Row of the table of pieces."""
    out: dict[str, Any] = {"setting": name}
    for label, ours, theirs, cells in (
        ("14 MHz log score", found.spot_log, base.spot_log, base.spots),
        ("10 MHz log score", found.tokyo_log, base.tokyo_log, base.tokyo),
    ):
        out[label] = (
            shown(gain(ours, theirs, cells.block)) if ours.size == theirs.size else "(other cells)"
        )
    return out | {k: round(v, 2) for k, v in found.figures.items()}


def chosen(values: list[Any], found: list[Found], default: Any) -> list[dict[str, Any]]:
    """Choose a number on all days but one, try it there, and set it against the default."""
    out = []
    for label, cells_of, log_of in (
        ("14 MHz", lambda f: f.spots, lambda f: f.spot_log),
        ("10 MHz", lambda f: f.tokyo, lambda f: f.tokyo_log),
    ):
        day = cells_of(found[0]).day
        score = np.array([log_of(f) for f in found])
        picks = {d: int(score[:, day != d].mean(axis=1).argmax()) for d in np.unique(day)}
        held_out = np.array([score[picks[d], i] for i, d in enumerate(day)])
        value = gain(held_out, score[values.index(default)], cells_of(found[0]).block)
        counts = pd.Series([str(values[i]) for i in picks.values()]).value_counts()
        picked = ", ".join(f"{v} on {n}" for v, n in counts.items())
        means = ", ".join(f"{v} {m:+.3f}" for v, m in zip(values, score.mean(axis=1), strict=True))
        out.append(
            {"recording": label, "picked on": picked, "held out": shown(value), "scores": means}
        )
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description="What each piece of the physics buys.")
    parser.add_argument("--driver", default="27day")
    parser.add_argument("--full", action="store_true")
    given = parser.parse_args()
    base = Setting(
        driver=given.driver,
        step_min=10 if given.full else 20,
        azimuths=AZIMUTHS if given.full else AZIMUTHS[::2],
    )
    settings = {"as shipped": base}
    settings |= {name: replace(base, name=name, **change) for name, change in PIECES.items()}
    defaults: dict[str, Any] = {"driver": given.driver, "add_sfu": 0.0}
    from farhear.skywave import Physics

    for name, places in NUMBERS.items():
        for place, values in places.items():
            defaults.setdefault(name, getattr(Physics(), name, None))
            for value in values:
                change: Any = {place: {name: value}} if place else {name: value}
                settings[f"{name} = {value}"] = replace(base, **change)
    with ProcessPoolExecutor(2) as pool:
        found = dict(zip(settings, pool.map(evaluate, settings.values()), strict=True))
    pd.set_option("display.width", 280, "display.max_columns", 40, "display.max_colwidth", 120)
    shipped = found["as shipped"]
    print(f"{given.driver} flux. Log score per cell less that of the shipped setting; * interval")
    print("(90 %, paired blocks) leaves out 0. Mean absolute error of opening and closing.")
    rows = [
        row(n, f, found[ALL_HOURS] if n == "all hours, by Kp" else shipped)
        for n, f in found.items()
    ]
    print(pd.DataFrame(rows).to_string(index=False))
    print("\nNumbers chosen on the other days, tried on the day left out:")
    for name, places in NUMBERS.items():
        for values in places.values():
            own = [found[f"{name} = {v}"] for v in values]
            print(f"{name} (shipped {defaults[name]})")
            print(pd.DataFrame(chosen(values, own, defaults[name])).to_string(index=False))


if __name__ == "__main__":
    main()

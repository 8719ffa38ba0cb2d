"""Content of a page for its tests: an invented season, invented broadcasters, an invented home."""

from __future__ import annotations

import functools
from typing import Any

import numpy as np
import pandas as pd
from statsmodels.stats.proportion import proportion_confint

import farhear as fh
from farhear.page import PageContent

BANDS = ("49 m", "41 m", "31 m")
_BROADCASTERS = {"31 m": "Radio Belmorant", "41 m": "Noverrin External", "49 m": "Zephrine Waves"}


def half_hours(table: pd.DataFrame) -> pd.DataFrame:
    """Checks and hearing by band and half hour after sunset, with the Wilson interval."""
    told = table[table["heard"].notna()]
    start = np.floor(told["middle_min"] / 30.0) * 30.0
    out = (
        told.assign(from_min=start)
        .groupby(["band", "from_min"])["heard"]
        .agg(checks="size", heard="sum")
        .reset_index()
    )
    out["ratio"] = out["heard"] / out["checks"]
    low, high = proportion_confint(out["heard"], out["checks"], method="wilson")
    return out.assign(low=low, high=high)


def _questions() -> list[fh.Question]:
    before, after = "2024-09-01T18:00Z", "2024-12-03T19:30Z"
    asked: list[tuple[str, str, dict[str, Any], str]] = [
        ("H1", "The 31 m band opens before 49 m at dusk", {"a": "31 m", "b": "49 m"}, before),
        ("H3", "The 41 m band keeps to the sunset all season", {"band": "41 m"}, before),
        ("H4", "Magnetically disturbed nights hurt reception", {}, before),
        ("H7", "My misses on 31 m are my ears", {"channel": "31 m", "from_min": 120}, before),
        ("H1", "The 41 m band opens before the 31 m band", {"a": "41 m", "b": "31 m"}, after),
        ("H5", "Winter is better than summer on 49 m", {"band": "49 m"}, after),
    ]
    return [
        fh.Question(hunch=hunch, text=text, parameters=given, written_utc=when)
        for hunch, text, given, when in asked
    ]


def _verdict(question: fh.Question, found: fh.verdicts.Verdict) -> dict[str, Any]:
    names = (
        *("hunch", "question", "word", "heading", "sentence", "effect", "low", "high", "unit"),
        *("p_value", "p_method", "p_adjusted", "decided", "evenings", "counted", "needed"),
        "asked_before",
    )
    given = {name: getattr(found, name) for name in names}
    return {
        **given,
        "written_utc": question.written_utc,
        "question": question.text,
        "notes": list(found.notes),
        "assumptions": [[one.text, one.holds] for one in found.assumptions],
    }


@functools.cache
def demo() -> PageContent:
    """About two thousand checks of three bands on 75 evenings."""
    made = fh.simulate.season(
        np.random.default_rng(7),
        bands=["31 m", "41 m", "49 m"],
        evenings=75,
        first="2024-09-15",
        opening_min={"31 m": 20.0, "41 m": 45.0, "49 m": 70.0},
        noticing=0.85,
        blocked_share=0.05,
        open_share=0.9,
        pattern="sparse",
        identity=_BROADCASTERS,
    )
    questions = _questions()
    evidence = fh.hunch.Evidence.of(made.frame, made.station)
    found = fh.hunch.answers(questions, evidence).verdicts
    table = evidence.table
    seen = ["row", "start_utc", "end_utc", "freq_khz", "band", "identity", "outcome", "heard"]
    checks = table[[*seen, "setup_id"]]
    setups = pd.DataFrame(
        {
            "setup_id": ["loop", "wire"],
            "from_date": pd.to_datetime(["2024-09-15", "2024-11-01"]),
            "receiver": ["old portable", "old portable"],
            "antenna": ["loop indoors", "10 m of wire"],
        }
    )
    return PageContent(
        title="Which band opens first at dusk?",
        subtitle="B24, locator cell KO38 (111 km by 117 km)",
        verdicts=[_verdict(*pair) for pair in zip(questions, found, strict=True)],
        openings=fh.evenings.openings(table),
        hours=half_hours(table),
        tables={"checks": checks, "setups": setups},
        credits=[
            "Listening: invented.",
            "Solar and geomagnetic indices: as shipped with farhear, see PROVENANCE.md there.",
        ],
        digests={"log.csv": "5d" * 32, "study.toml": "0a" * 32},
        cautions=[
            "Checks by date and hour tell when somebody is at home, and when nobody is.",
        ],
        about=[
            "Every check on this page is invented; no such station is on the air.",
            "An evening runs from noon to noon; a check counts where its middle lies.",
            "Blocked channels say nothing and are left out of every rate.",
        ],
    )

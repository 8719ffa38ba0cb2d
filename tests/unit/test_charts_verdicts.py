"""Charts of verdicts: artists against the results, edge cases, colours.

Held against scikit-learn (isotonic regression), numpy (histogram), matplotlib's own artists,
WCAG 2.2 and colorspacious.
"""

from __future__ import annotations

import dataclasses
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure
from sklearn.isotonic import IsotonicRegression

import farhear as fh
from farhear.charts import _style, answers
from farhear.reliability import Reliability, reliability
from farhear.study import _verdict
from farhear.verdicts import WORDS, Verdict

sys.path.insert(0, str(Path(__file__).parent))
from _chart_checks import LONG, check_looks, contrast, line, made, seen_apart, words


def checks(count: int = 600, seed: int = 3) -> tuple[Any, Any, Any]:
    rng = np.random.default_rng(seed)
    p = rng.beta(0.7, 0.7, count).round(2)
    heard = (rng.random(count) < np.clip(0.15 + 0.6 * p, 0.0, 1.0)).astype(float)
    return p, heard, rng.integers(0, 9, count)


@pytest.fixture(scope="module")
def told() -> Reliability:
    return reliability(*checks(), n=60)


# Reliability ------------------------------------------------------------------------------------


def test_curve_is_the_isotonic_one_of_scikit_learn(told: Reliability) -> None:
    p, heard, _ = checks()
    fit = IsotonicRegression(out_of_bounds="clip").fit(p, heard)
    curve = line(answers.reliability(told), "curve")
    np.testing.assert_allclose(curve[:, 0], np.unique(p))
    np.testing.assert_allclose(curve[:, 1], fit.predict(np.unique(p)), atol=1e-9)


def test_no_check_is_left_out_of_the_histogram(told: Reliability) -> None:
    p, _, _ = checks()
    counts = answers.reliability(told).child_axes[0]
    heights = [bar.get_height() for bar in counts.patches]
    edges = np.linspace(0.0, 1.0, 21)
    expected, _ = np.histogram(p + 1e-12, bins=np.append(edges[:-1], 1.1))
    assert heights == expected.tolist()
    assert sum(heights) == p.size


def test_band_and_figures(told: Reliability) -> None:
    ax = answers.reliability(told)
    (band,) = (one for one in ax.collections if one.get_gid() == "band")
    corners = band.get_paths()[0].vertices
    assert corners[:, 1].min() == pytest.approx(told.curve["low"].min())
    assert corners[:, 1].max() == pytest.approx(told.curve["high"].max())
    assert band.get_hatch()
    value, low, high = told.value("share heard")
    assert f"heard: {100 * value:.0f} % ({100 * low:.0f} to {100 * high:.0f})" in words(ax)
    assert "600 checks in 9 weeks" in words(ax)
    alt = answers.reliability_alt(told)
    assert f"{100 * value:.0f} % heard" in alt


def test_reliability_edges(told: Reliability) -> None:
    nothing = dataclasses.replace(
        told, curve=told.curve.iloc[:0], summary=told.summary.iloc[:0], checks_count=0
    )
    nan = dataclasses.replace(told, curve=told.curve * np.nan)
    one = reliability([0.4], [1.0], [0], n=20)
    p, heard, week = checks(6000, 4)
    years = reliability(np.random.default_rng(2).random(6000), heard, week, n=20)
    for part in (nothing, nan, one, years):
        check_looks(answers.reliability(part))
        assert answers.reliability_alt(part).endswith(".")
    assert "no predicted check" in words(answers.reliability(nothing))
    assert len(line(answers.reliability(one), "curve")) == 1
    assert p.size == 6000


# Forest -----------------------------------------------------------------------------------------


def verdict(word: str = "SUPPORTED", **more: Any) -> Verdict:
    given: dict[str, Any] = {
        "hunch": "H1",
        "question": "The 31 m band opens before 49 m at dusk",
        "sentence": "Invented.",
        "effect": 12.0,
        "low": 4.0,
        "high": 20.0,
        "unit": "min by which 31 m leads",
        "p_value": 0.01,
    }
    return Verdict(word=word, **(given | more))


def several() -> list[Verdict]:
    parts = {"loop": verdict(effect=15.0), "wire": verdict("CANNOT TELL YET", low=-3.0)}
    return [
        verdict(details={"parts": parts}),
        verdict("AGAINST", effect=-9.0, low=-22.0, high=-2.0),
        verdict("NOT SHOWN", effect=1.1, low=0.8, high=1.6, unit="times the odds, a to b"),
        verdict("CANNOT TELL YET", effect=np.nan, low=np.nan, high=np.nan, unit=""),
        verdict("SUPPORTED", effect=0.8, low=0.6, high=0.9, unit="chance to notice a channel"),
        verdict("NOT SHOWN", effect=2.0, low=-np.inf, high=9.0, unit="percentage points, a less b"),
    ]


def test_forest_rows() -> None:
    data = answers.forest_data(several())
    assert data["level"].tolist() == [0, 1, 1, 0, 0, 0, 0, 0]
    assert data["kind"].tolist() == [
        *["min"] * 4,
        "times the odds",
        "",
        "chance",
        "percentage points",
    ]
    assert data["label"].tolist()[1:3] == ["loop", "wire"]


def test_forest_places_each_unit_on_its_own_scale() -> None:
    ax = answers.forest(several())
    data = answers.forest_data(several())
    points = line(ax, "effect")
    known = data[data["effect"].notna()]
    assert len(points) == len(known)
    order = np.argsort(points[:, 1], kind="stable")
    x = points[order, 0]
    minutes = known[known["kind"] == "min"]["effect"].to_numpy()
    np.testing.assert_allclose(x[:4], 0.5 + minutes / 60.0)  # 22 min rounds up to a scale of 30
    odds = np.log(1.1) / (2.0 * np.log(2.0))
    assert x[4] == pytest.approx(0.5 + odds)
    assert x[5] == pytest.approx(0.8), "a chance has the whole of 0 to 1"
    assert len(line(ax, "null")) == 2 * 3, "minutes, odds and points have a value for nothing"
    np.testing.assert_allclose(line(ax, "null")[:, 0], 0.5)


def test_forest_says_words_and_figures() -> None:
    ax = answers.forest(several())
    text = words(ax)
    assert "SUPPORTED\n12 (4 to 20), p 0.01" in text
    assert "CANNOT TELL YET\nno figure" in text
    assert "This is one place, one antenna, one season." in text
    assert "Indented: one row a setup." in text
    idea = answers.forest([verdict(asked_before=False)])
    assert "SUPPORTED (idea)" in words(idea)


def test_forest_of_results_is_that_of_verdicts() -> None:
    given = several()
    question = fh.Question(
        hunch="H1", text=given[0].question, parameters={"a": "31 m", "b": "49 m"}
    )
    dicts = [_verdict(question, one) for one in given]  # as a study writes them
    one, other = (answers.forest_data(form) for form in (given, dicts))
    known = ["level", "word", "heading", "unit", "kind", "effect"]
    pd.testing.assert_frame_equal(one[known].iloc[:5], other[known].iloc[:5])
    check_looks(answers.forest(dicts))


def test_forest_orders_by_date_written() -> None:
    rows = [
        {"hunch": "H1", "word": "NOT SHOWN", "question": name, "written_utc": when, "effect": 1.0}
        for name, when in (("late", "2024-12-01"), ("early", "2024-09-01"))
    ]
    assert answers.forest_data(rows)["label"].tolist() == ["early", "late"]


def test_forest_of_answers_to_an_invented_log() -> None:
    log = made(40)
    questions = [
        fh.Question(
            hunch="H1", text="31 m opens before 49 m", parameters={"a": "31 m", "b": "49 m"}
        ),
        fh.Question(hunch="H3", text="41 m keeps to the sunset", parameters={"band": "41 m"}),
    ]
    evidence = fh.hunch.Evidence.of(log.frame, log.station)
    found = fh.hunch.answers(questions, evidence).verdicts
    ax = answers.forest(found)
    check_looks(ax)
    data = answers.forest_data(found)
    for one in found:
        row = data[(data["hunch"] == one.hunch) & (data["level"] == 0)].iloc[0]
        assert row["word"] == one.word
        assert row["effect"] == one.effect or np.isnan(one.effect)


def test_forest_edges() -> None:
    nan = [verdict("CANNOT TELL YET", effect=np.nan, low=np.nan, high=np.nan)] * 3
    long_name = [
        verdict(
            question=f"{LONG} thinks that {LONG} hears more than {LONG}",
            details={"parts": {f"{LONG}/{LONG}": verdict(), "b": verdict()}},
        )
    ]
    many = several() * 8
    zero = [verdict(effect=0.0, low=0.0, high=0.0)]
    wide = [verdict(effect=2.0, low=0.0, high=np.inf, unit="times the odds, a to b")]
    for part in ([], [verdict()], nan, long_name, many, zero, wide):
        ax = answers.forest(part)
        check_looks(ax)
        assert answers.forest_alt(part).endswith(".")
    assert "no question" in words(answers.forest([]))
    assert answers.forest(many).figure.get_figheight() > _style.A5_IN[1]


def test_words_are_told_apart_by_shape_and_tone() -> None:
    looks = answers._LOOK
    assert set(looks) == set(WORDS)
    assert len({marker for marker, _, _ in looks.values()}) == 4
    names = list(looks)
    for _, _, edge in looks.values():
        assert contrast(edge, "white") >= 3.0, "WCAG 2.2, 1.4.11"
    for at, one in enumerate(names):
        for other in names[at + 1 :]:
            apart = seen_apart(looks[one][1], looks[other][1])
            assert min(apart["deuteranomaly"], apart["protanomaly"]) >= 12.0, (one, other, apart)


def test_answers_draw_where_they_are_told(told: Reliability) -> None:
    figure = Figure(figsize=(11.7, 5.8), layout="constrained")
    left, right = figure.subplots(1, 2)
    assert answers.reliability(told, ax=left) is left
    assert answers.forest(several(), ax=right) is right
    figure.canvas.draw()

"""Questions put to a log together: which function answers, what came first, how many were asked.

Compared with the hunches' own functions, with planted truth, and with geographiclib (paths). Every
log is invented.
"""

import dataclasses
import doctest
from collections import Counter
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from geographiclib.geodesic import Geodesic
from scipy import stats

import farhear as fh
from farhear import hunch, magnetic
from farhear.errors import InputError
from farhear.hunch import asking
from farhear.questions import Question
from farhear.simulate import season, two_seasons
from farhear.verdicts import Verdict

DEMO = Path(__file__).resolve().parents[2] / "data" / "demo"
A, B, C = "31 m", "49 m", "41 m"
EARLY = "2020-01-01T00:00:00Z"


def asked(kind: str, written_utc: str = EARLY, **given: Any) -> Question:
    return Question(hunch=kind, text=f"asked of {kind}", parameters=given, written_utc=written_utc)


@lru_cache
def made(seed: int = 1, **more: Any) -> Any:
    given = {"bands": (A, B, C), "evenings": 70, "first": "2024-10-01"} | more
    lead = given.pop("lead", 20.0)
    opening = {A: 40.0, B: 40.0 + lead, C: 40.0 + lead}
    return season(np.random.default_rng(seed), opening_min=opening, **given)


def ground(log: Any) -> hunch.Evidence:
    return hunch.Evidence.of(log.frame, log.station)


def same(one: Verdict, other: Verdict) -> bool:
    return one.text() == other.text()


def test_the_example() -> None:
    assert doctest.testmod(hunch) == (0, 6)


def test_each_hunch_is_answered_by_its_function():
    log = made()
    table = ground(log).table
    index = fh.load_indices()
    expected = {
        "H1": (
            {"a": A, "b": B, "useful_min": 5},
            hunch.first_at_dusk(table, A, B, useful_min=5, asked_before=True),
        ),
        "H2": (
            {"bands": [A, B, C], "seed": 3},
            hunch.which_first(table, [A, B, C], asked_before=True, seed=3),
        ),
        "H3": (
            {"band": A, "useful_min_per_week": 4.0},
            hunch.follows_sunset(table, A, useful_min_per_week=4.0, asked_before=True),
        ),
        "H4": (
            {"threshold": 3.0, "band": A},
            hunch.disturbed_nights(table, index, threshold=3.0, band=A, asked_before=True),
        ),
        "H7": (
            {"channel": A, "from_min": 30.0},
            hunch.ears_or_band(table, A, from_min=30.0, asked_before=True),
        ),
    }
    for kind, (given, direct) in expected.items():
        assert same(hunch.answer(asked(kind, **given), ground(log)), direct), kind


def test_seasons_and_antennas():
    log = two_seasons(np.random.default_rng(2), band=A)
    table = ground(log).table
    for order in (("winter", "summer"), ("summer", "winter")):
        direct = hunch.season_difference(
            table, hunch.winter_or_summer(table), names=order, asked_before=True
        )
        assert same(hunch.answer(asked("H5", better=order[0]), ground(log)), direct)
    south = dataclasses.replace(ground(log), station=dataclasses.replace(log.station, lat_deg=-30))
    turned = hunch.season_difference(
        table, hunch.winter_or_summer(table, southern=True), asked_before=True
    )
    assert same(hunch.answer(asked("H5"), south), turned)
    both = made(3, interleaved_log_odds=1.0, noticing=0.5, every_min=30.0, gap_min=9.0)
    direct = hunch.antenna_change(
        ground(both).table, "long wire", "loop", within_min=20.0, asked_before=True
    )
    question = asked("H8", a="long wire", b="loop", within_min=20.0)
    assert same(hunch.answer(question, ground(both)), direct)
    # one setup of two, and the control by name
    alone = hunch.answer(asked("H1", a=A, b=B, setup="loop"), ground(both))
    part = ground(both).table.query("setup_id == 'loop'")
    assert same(alone, hunch.first_at_dusk(part, A, B, asked_before=True))
    question = asked("H8", a="long wire", b="loop", control="whip")
    with pytest.raises(InputError, match="H8, 'asked of H8': control = 'whip' is no setup"):
        hunch.answer(question, ground(both))


def test_what_was_said_before():
    log = made(4)
    table = ground(log).table
    said = pd.DataFrame(
        {
            "row": table["row"],
            "heard": table["heard"],
            "start_utc": table["start_utc"],
            "setup_id": table["setup_id"],
            "predicted": 0.5,
            "issued_utc": table["start_utc"] - pd.Timedelta(hours=3),
        }
    )
    with_said = dataclasses.replace(ground(log), said=said)
    found = hunch.answer(asked("H6", matters=0.3), with_said)
    assert same(found, hunch.matches_log(said, matters=0.3, asked_before=True))
    with pytest.raises(InputError, match="H6 needs predictions that were written down before"):
        hunch.answer(asked("H6"), ground(log))


def test_only_checks_after_the_question_count():
    log = made()
    table = ground(log).table
    middle = "2024-11-05T12:00:00Z"
    found = hunch.answer(asked("H1", middle, a=A, b=B), ground(log))
    later = table[table["start_utc"] > pd.Timestamp(middle)]
    alone = hunch.first_at_dusk(later, A, B, asked_before=True)
    assert found.asked_before is True
    assert found.sentence == alone.sentence
    assert found.evenings == later["evening"].nunique() < 70
    assert found.notes[0] == (
        f"{len(table) - len(later)} checks began before the question was written ({middle}) and do "
        "not count."
    )
    idea = hunch.answer(asked("H1", "2025-06-01T00:00Z", a=A, b=B), ground(log))
    assert idea.asked_before is False
    assert idea.word == "SUPPORTED"
    assert idea.text().startswith("SUPPORTED as an idea, not a finding. 31 m opens before 49 m")


def drawn_p(p: float, kind: str = "H1", word: str = "SUPPORTED", **more: Any) -> Verdict:
    return Verdict(hunch=kind, question="q", word=word, sentence="s.", p_value=p, **more)


def test_a_claim_has_to_outlast_the_number_of_questions():
    family = [drawn_p(0.03), drawn_p(0.004, "H4"), drawn_p(0.6, word="NOT SHOWN"), drawn_p(np.nan)]
    out = asking._as_family(family, "holm")
    # by hand: of three with a p, 3 x 0.004, then 2 x 0.03, then 0.6
    assert [one.p_adjusted for one in out[:3]] == pytest.approx([0.06, 0.012, 0.6])
    assert np.isnan(out[3].p_adjusted)
    assert [one.word for one in out] == ["NOT SHOWN", "SUPPORTED", "NOT SHOWN", "SUPPORTED"]
    assert out[0].sentence.startswith(
        "Asked alone this would be SUPPORTED, but of 4 questions luck answers one like this too "
        "easily (p = 0.06 after Holm). s."
    )
    assert "p = 0.03 (); 0.06 for the number of questions." in out[0].text()
    # where a small p speaks against, only that claim rests on it
    kept = asking._as_family([drawn_p(0.9, "H3"), drawn_p(0.2, "H6"), drawn_p(0.5)], "holm")
    assert [one.word for one in kept] == ["SUPPORTED", "SUPPORTED", "NOT SHOWN"]
    lost = asking._as_family([drawn_p(0.04, "H6", "AGAINST"), drawn_p(0.5)], "exploring")
    assert [one.word for one in lost] == ["NOT SHOWN", "NOT SHOWN"]
    assert "after Benjamini and Hochberg" in lost[0].sentence
    assert asking._as_family(family[:1], "holm") == family[:1]


def test_written_before_and_after_are_two_families():
    questions = [
        asked("H1", a=A, b=B),
        asked("H1", "2025-06-01T00:00Z", a=A, b=C),
        asked("H1", a=B, b=C),
    ]
    found = hunch.answers(questions, ground(made()))
    alone = [hunch.answer(one, ground(made())).p_value for one in questions]
    assert found.verdicts[1].p_value == alone[1]
    assert np.isnan(found.verdicts[1].p_adjusted)  # the only one of its family
    first, third = sorted([alone[0], alone[2]])
    assert found.verdicts[0].p_adjusted == pytest.approx(min(1.0, 2 * first))
    assert found.verdicts[2].p_adjusted == pytest.approx(max(2 * first, third))
    assert found.frame["written_utc"].tolist() == [one.written_utc for one in questions]
    assert found.frame["asked_before"].tolist() == [True, False, True]
    assert found.text().count("This is one place") == 3


def test_a_family_of_idle_questions_is_rarely_fooled():
    # no lead anywhere, three pairs of bands and three months: a claim in any of them is false
    claims, alone, count = 0, 0, 60
    for seed in range(count):
        log = made(1000 + seed, lead=0.0, evenings=40)
        questions = [asked("H1", a=a, b=b) for a, b in ((A, B), (A, C), (B, C))]
        evidence = ground(log)
        found = hunch.answers(questions, evidence)
        claims += any(one.word in ("SUPPORTED", "AGAINST") for one in found.verdicts)
        alone += any(one.p_value < 0.05 for one in found.verdicts)
    assert stats.binom(count, 0.07).sf(claims - 1) > 1e-3
    assert claims <= alone


def test_a_question_that_the_log_cannot_be_asked_gets_its_reason():
    questions = [asked("H1", a=A, b="13 m"), asked("H1", a=A, b=B)]
    with pytest.raises(InputError, match="H1, 'asked of H1': band = '13 m': no check of it"):
        hunch.answer(questions[0], ground(made()))
    found = hunch.answers(questions, ground(made())).verdicts
    assert [one.word for one in found] == ["CANNOT TELL YET", "SUPPORTED"]
    assert "band = '13 m': no check of it; the log has" in found[0].sentence
    with pytest.raises(InputError, match="there is no question to answer"):
        hunch.answers([], ground(made()))
    with pytest.raises(InputError, match="setup = 'whip' is not in the log; it has ''"):
        hunch.answer(asked("H3", band=A, setup="whip"), ground(made()))
    with pytest.raises(InputError, match="better = 'spring' is none of winter, summer"):
        hunch.answer(asked("H5", better="spring"), ground(made()))
    with pytest.raises(InputError, match="high_latitude_deg needs the schedule"):
        hunch.answer(asked("H4", high_latitude_deg=60.0), ground(made()))


def test_exploring_gives_ideas_only():
    log = made(5, interleaved_log_odds=0.5, noticing=0.7, every_min=30.0, gap_min=9.0)
    found = hunch.explore(ground(log))
    kinds = Counter(one.hunch for one in found.verdicts)
    assert kinds == {"H1": 3, "H2": 1, "H3": 3, "H4": 1, "H5": 1, "H7": 3, "H8": 1}
    assert all(one.asked_before is False for one in found.verdicts)
    claims = [one for one in found.verdicts if one.word in ("SUPPORTED", "AGAINST")]
    assert claims
    assert all("as an idea, not a finding" in one.text() for one in claims)
    assert len(found.frame) == len(found.verdicts)


def test_paths_by_their_highest_geomagnetic_latitude(tmp_path):
    home = fh.read_station(DEMO / "station.toml")
    schedule = fh.read_schedule(DEMO / "schedule_b24.csv", days="iso", season="B24")
    listed = schedule.frame
    rows = ["start_utc,end_utc,freq_khz,outcome,identity"]
    at = fh.UtcTimes(np.arange(0, 86400, 1800) + pd.Timestamp("2024-11-27").timestamp())
    on = schedule.on_air(at)
    for i in range(0, len(listed), 9):
        if on[i].any():
            begin = pd.Timestamp(float(at.unix_s[np.argmax(on[i])]) + 300, unit="s")
            rows.append(
                f"{begin:%Y-%m-%dT%H:%MZ},{begin + pd.Timedelta(minutes=4):%Y-%m-%dT%H:%MZ},"
                f"{listed['freq_khz'][i]:g},heard,{listed['broadcaster'][i]}"
            )
    (tmp_path / "log.csv").write_text("\n".join(rows) + "\n")
    log = fh.read_log(tmp_path / "log.csv")
    evidence = hunch.Evidence.of(log, home, schedule)
    assert len(log) > len(evidence.path_lat_deg) > 20  # a digital row has no path for a listener
    checks = fh.scoring.checks_from_log(log, home, schedule).frame.set_index("row")
    for row, lat in evidence.path_lat_deg.items():
        one = checks.loc[row]
        line = Geodesic.WGS84.InverseLine(
            one["tx_lat_deg"], one["tx_lon_deg"], home.lat_deg, home.lon_deg
        )
        points = [line.Position(s) for s in np.linspace(0.0, line.s13, 400)]
        along = np.array([(p["lat2"], p["lon2"]) for p in points]).T
        highest = float(np.abs(magnetic.geomagnetic_lat_deg(*along, 2024.9)).max())
        assert lat == pytest.approx(highest, abs=0.15)  # sphere against ellipsoid, 33 points
    edge = float(evidence.path_lat_deg.median())
    frame = evidence.table
    question = asked("H4", high_latitude_deg=edge)
    high = evidence.path_lat_deg.reindex(frame["row"]).to_numpy() >= edge
    direct = hunch.disturbed_nights(frame, fh.load_indices(), high_latitude=high, asked_before=True)
    assert same(hunch.answer(question, evidence), direct)

"""`farhear hunch`, predictions and calibration at the command line. All of it is invented."""

import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import farhear as fh
from farhear.simulate import season

DEMO = Path(__file__).resolve().parents[2] / "data" / "demo"
A, B = "31 m", "49 m"
STATION = DEMO / "station.toml"
SCHEDULE = DEMO / "schedule_b24.csv"


def write_log(path: Path) -> None:
    home = fh.read_station(STATION)
    made = season(
        np.random.default_rng(3),
        bands=[A, B],
        evenings=60,
        first="2024-10-10",
        station=home,
        opening_min={A: 40.0, B: 60.0},
    )
    fh.write_log(made.frame, path)


def test_ask_listen_answer(run, tmp_path):
    status, out, err = run(
        *("hunch", "ask", "H1", "Does 31 m open before 49 m?", "--study", "dusk"),
        *("--set", "a=31 m", "--set", 'b="49 m"', "--set", "useful_min=8"),
    )
    assert (status, err) == (0, "")
    assert "study.toml: written down, 20" in out
    written = tomllib.loads((tmp_path / "dusk" / "study.toml").read_text())["questions"][0]
    assert written["parameters"] == {"a": A, "b": B, "useful_min": 8}
    # as if it had been asked before the season
    path = tmp_path / "dusk" / "study.toml"
    path.write_text(path.read_text().replace(written["written_utc"], "2024-09-01T00:00:00Z"))
    write_log(tmp_path / "log.csv")
    status, out, err = run(
        *("hunch", "answer", "log.csv", "--study", "dusk", "--station", STATION),
        *("--csv", "verdicts.csv"),
    )
    assert (status, err) == (0, "")
    assert "Without --schedule, silence off the air counts as not heard." in out
    assert "Does 31 m open before 49 m? (H1, 2024-09-01)\nSUPPORTED. 31 m opens before 49" in out
    assert "The question was written down before the data were looked at." in out
    table = pd.read_csv(tmp_path / "verdicts.csv")
    assert table["word"].tolist() == ["SUPPORTED"]
    assert table["low"][0] < 20.0 < table["high"][0]


def test_explore_and_sun(run, tmp_path):
    status, out, err = run("hunch", "explore", "--demo", "--csv", "ideas.csv")
    assert (status, err) == (0, "")
    assert "Demonstration: home, log and broadcasters are invented" in out
    assert "Ideas, not findings: all came after the data." in out
    ideas = pd.read_csv(tmp_path / "ideas.csv")
    assert not ideas["asked_before"].any()
    assert len(ideas) == out.count("\nH")
    full = run("hunch", "explore", "--demo", "--all")[1]
    assert full.count("This is one place, one antenna, one season.") == len(ideas)
    status, out, err = run("hunch", "sun", "--demo", "--band", A, "--csv", "bins.csv")
    assert (status, err) == (0, "")
    assert "hour, one hour later: +" in out
    assert set(pd.read_csv(tmp_path / "bins.csv")["name"]) == {"F10.7", "Kp", "hour"}


def test_evenings_and_order(run):
    status, out, err = run("hunch", "evenings", "--bands", "31 m, 49 m", "--lead-min", "30")
    assert (status, err) == (0, "")
    assert "find a lead of 30 min with a chance of 80 %." in out.replace("\n", " ")
    orders = [line.split(": ")[1] for line in out.splitlines() if "in this order" in line]
    assert sorted(orders) == ["31 m, 49 m.", "49 m, 31 m."]
    status, out, _ = run("hunch", "evenings", "--bands", "31 m,49 m", "--demo")
    assert status == 0
    assert "check times of your log" in out.replace("\n", " ")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("ask", "H1", "x", "--set", "a"), "--set 'a' is not NAME=VALUE"),
        (("ask", "H1", "x", "--set", "a=31 m"), "parameters has no 'b', which H1 needs"),
        (("ask", "H3", "x", "--set", "bnad=31 m"), "did you mean 'band'"),
        (("answer", "--demo"), "study.toml"),
        (("explore",), "the log is missing (or say --demo)"),
        (("explore", "none.csv", "--station", STATION), "none.csv"),
        (("evenings", "--bands", "31 m"), "names one band; give two or more"),
        (("evenings", "--bands", "31 m,49 m", "--demo", "--pattern", "late"), "without a log"),
        (("evenings", "--bands", "31 m,13 m", "--demo"), "band = '13 m': no check of it"),
    ],
)
def test_mistakes_end_with_a_sentence(run, arguments, message):
    status, _, err = run("hunch", *arguments)
    assert status == 2
    assert message in err
    assert err.count("\n") == 1


def test_predictions_and_calibration(run, tmp_path):
    evening = ("evening", "--station", STATION, "--schedule", SCHEDULE, "--days", "iso")
    evening += ("--season", "B24", "--date", "2024-11-27", "--f107", "150")
    status, out, err = run(*evening, "--predictions", "said.csv")
    assert (status, err) == (0, "")
    said = fh.predictions.read_predictions(tmp_path / "said.csv")
    assert f"said.csv: {len(said)} likelihoods added, dated now." in out

    # a log whose outcomes are those of fields 8 dB weaker than the engine's
    home = fh.read_station(STATION)
    schedule = fh.read_schedule(SCHEDULE, days="iso", season="B24")
    rng = np.random.default_rng(5)
    listed = schedule.frame
    rows = []
    for day in pd.date_range("2024-11-04", periods=60, freq="D").tolist():
        at = fh.UtcTimes(day.timestamp() + 1800.0 * np.arange(32, 44))
        on = schedule.on_air(at)
        for i, k in rng.permutation(np.argwhere(on))[:6].tolist():
            if listed["modulation"][i] != "DIGITAL":
                rows.append((float(at.unix_s[k]) + 240.0, i))
    when, which = (np.array(x) for x in zip(*rows, strict=True))
    text = ["start_utc,end_utc,freq_khz,outcome,identity"]
    for t, i in zip(when.tolist(), which.tolist(), strict=True):
        stamps = [f"{pd.Timestamp(t + more, unit='s'):%Y-%m-%dT%H:%MZ}" for more in (0, 240)]
        name = listed["broadcaster"][i]
        text.append(",".join([*stamps, f"{listed['freq_khz'][i]:g}", "heard", name]))
    log = tmp_path / "log.csv"
    log.write_text("\n".join(text) + "\n")
    scored = fh.scoring.score(
        fh.scoring.checks_from_log(fh.read_log(log), home, schedule), f107_sfu=150.0, n=20
    ).frame
    chance = dict(zip(scored["row"], scored["snr_db"] - 8.0 - home.required_snr_db, strict=True))
    lines = text[:1]
    for line, one in enumerate(text[1:], 2):
        if line in chance:
            heard = rng.normal(0.0, 8.0) < chance[line]
            lines.append(one if heard else one.replace(",heard,", ",not_heard,"))
    log.write_text("\n".join(lines) + "\n")
    score = ("score", "--log", log, "--station", STATION, "--schedule", SCHEDULE, "--days", "iso")
    status, out, err = run(*score, "--season", "B24", "--f107", "150", "--calibrate", "home.toml")
    assert (status, err) == (0, "")
    assert "Learnt from these checks, written to home.toml:" in out
    fit = fh.calibrate.read_fit(tmp_path / "home.toml")
    assert fit.bias_db < -2.0
    status, out, err = run(*evening, "--calibration", "home.toml", "--csv", "after.csv")
    assert (status, err) == (0, "")
    assert f"set right by {fit.source_text}" in out.replace("\n", " ")
    status, out, err = run(*evening, "--csv", "before.csv")
    means = [pd.read_csv(tmp_path / f"{n}.csv")["likelihood"].mean() for n in ("before", "after")]
    assert means[1] < means[0] - 0.02

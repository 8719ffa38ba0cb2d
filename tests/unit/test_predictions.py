"""Likelihoods written down before listening. Every broadcaster, home and check is invented."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import farhear as fh
from farhear import predictions
from farhear.errors import InputError
from farhear.evenings import table as table_of
from farhear.hunch import matches_log
from farhear.times import unix_s

DEMO = Path(__file__).resolve().parents[2] / "data" / "demo"
HEADER = "issued_utc,start_utc,end_utc,freq_khz,broadcaster,likelihood"


@pytest.fixture(scope="module")
def home():
    return fh.read_station(DEMO / "station.toml")


@pytest.fixture(scope="module")
def demo():
    return fh.read_schedule(DEMO / "schedule_b24.csv", days="iso", season="B24")


@pytest.fixture(scope="module")
def tonight(home, demo):
    return fh.plan(home, demo, "2024-11-27", start="17:10", end="23:20")


def test_steps_fill_every_stretch_without_gap(tonight):
    for rank, row in tonight.frame.iterrows():
        steps = tonight.steps[tonight.steps["rank"] == rank]
        assert steps["start_utc"].iloc[0] == row["start_utc"]
        assert steps["end_utc"].iloc[-1] == row["end_utc"]
        assert (steps["end_utc"].to_numpy()[:-1] == steps["start_utc"].to_numpy()[1:]).all()
        assert (steps["start_utc"] < steps["end_utc"]).all()
        assert steps["likelihood"].max() == row["likelihood"]
        assert steps["likelihood"].mean() == pytest.approx(row["likelihood_mean"])


def test_what_is_written_is_read_and_added_to(tonight, tmp_path):
    path = tmp_path / "said.csv"
    count = predictions.write_predictions(tonight, path, issued_utc="2024-11-27T12:00Z")
    again = predictions.write_predictions(tonight, path, issued_utc="2024-11-27T13:00Z")
    read = predictions.read_predictions(path)
    assert (count, again, len(read)) == (len(tonight.steps), count, 2 * count)
    assert read.rows_read == len(read)
    first = read.frame.iloc[:count]
    assert (first["issued_utc"] == pd.Timestamp("2024-11-27T12:00Z")).all()
    of = tonight.frame.iloc[tonight.steps["rank"]]
    assert first["broadcaster"].tolist() == of["broadcaster"].tolist()
    for name in ("start_utc", "end_utc"):
        np.testing.assert_allclose(unix_s(first[name]), unix_s(tonight.steps[name]), atol=1.0)
    np.testing.assert_allclose(first["likelihood"], tonight.steps["likelihood"], atol=5e-5)
    # dated now, by this machine
    before = pd.Timestamp.now("UTC").floor("s")
    predictions.write_predictions(tonight, path)
    last = predictions.read_predictions(path).frame["issued_utc"].iloc[-1]
    assert before <= last <= pd.Timestamp.now("UTC")


def test_a_plan_of_another_wish_or_a_foreign_file_is_refused(home, demo, tonight, tmp_path):
    other = fh.plan(home, demo, "2024-11-27", start="20:00", end="21:00", rung="comfortable")
    with pytest.raises(InputError, match="another S/N"):
        predictions.write_predictions(other, tmp_path / "a.csv")
    assert not (tmp_path / "a.csv").exists()
    foreign = tmp_path / "b.csv"
    foreign.write_text("a,b\n1,2\n")
    with pytest.raises(InputError, match=r"b.csv is no table of predictions"):
        predictions.write_predictions(tonight, foreign)
    assert foreign.read_text() == "a,b\n1,2\n"
    no_end = tmp_path / "c.csv"  # a last line without an end, as an editor may leave it
    no_end.write_text(f"{HEADER}\n2024-11-27T12:00Z,2024-11-27T17:00Z,2024-11-27T17:30Z,6070,A,0.5")
    count = predictions.write_predictions(tonight, no_end)
    assert len(predictions.read_predictions(no_end)) == count + 1


@pytest.mark.parametrize(
    ("line", "column", "reason"),
    [
        ("2024-11-27T12:00,2024-11-27T17:00Z,2024-11-27T17:30Z,6070,A,0.5", "issued_utc", "zone"),
        (
            "2024-11-27T12:00Z,2024-11-27T17:00Z,2024-11-27T17:00Z,6070,A,0.5",
            "end_utc",
            "not after start_utc",
        ),
        ("2024-11-27T12:00Z,2024-11-27T17:00Z,2024-11-27T17:30Z,6070,A,50", "likelihood", "0"),
        ("2024-11-27T12:00Z,2024-11-27T17:00Z,2024-11-27T17:30Z,6.07,A,0.5", "freq_khz", "MHz"),
        ("2024-11-27T12:00Z,2024-11-27T17:00Z,2024-11-27T17:30Z,6070,,0.5", "broadcaster", "empty"),
    ],
)
def test_bad_rows_are_refused_with_line_and_reason(tmp_path, line, column, reason):
    good = "2024-11-27T12:00Z,2024-11-27T17:00Z,2024-11-27T17:30Z,6070,A,0.5"
    path = tmp_path / "said.csv"
    path.write_text("\n".join([HEADER, good, line]) + "\n")
    read = predictions.read_predictions(path)
    assert (len(read), read.rows_read, read.rows_rejected) == (1, 2, 1)
    (fault,) = read.rejects.to_dict("records")
    assert (fault["row"], fault["column"]) == (3, column)
    assert reason in fault["reason"]


def said(*rows):
    names = HEADER.split(",")
    frame = pd.DataFrame([dict(zip(names, row, strict=True)) for row in rows])
    for name in names[:3]:
        frame[name] = pd.to_datetime(frame[name], utc=True)
    return frame


def check(start, khz=6070.0, who="Radio Belmorant", outcome="heard"):
    begin = pd.Timestamp(start)
    return {
        "row": 2,
        "start_utc": begin,
        "end_utc": begin + pd.Timedelta(minutes=4),
        "freq_khz": khz,
        "outcome": outcome,
        "identity": who,
        "setup_id": "wire",
    }


def test_the_last_word_before_the_check_counts(home):
    step = ("2024-11-27T17:00Z", "2024-11-27T17:30Z", 6070.0, "radio  belmorant")
    frame = said(
        ("2024-11-27T09:00Z", *step, 0.2),
        ("2024-11-27T12:00Z", *step, 0.4),
        ("2024-11-27T17:11Z", *step, 0.9),  # while the check went on
    )
    log = pd.DataFrame(
        [
            check("2024-11-27T17:10Z"),
            check("2024-11-27T17:12Z"),
            check("2024-11-27T17:28Z"),  # its middle lies on the end of the step
            check("2024-11-27T17:10Z", khz=6075.0),
            check("2024-11-27T17:10Z", who="Zephrine Waves"),
        ]
    )
    found = predictions.beside(table_of(log, home), frame)
    by_hand = {"17:10 6070 Radio Belmorant": 0.4, "17:12 6070 Radio Belmorant": 0.9}
    table = table_of(log, home)
    for (_, one), (_, row) in zip(found.iterrows(), table.iterrows(), strict=True):
        key = f"{row['start_utc']:%H:%M} {row['freq_khz']:.0f} {row['identity']}"
        np.testing.assert_equal(one["predicted"], by_hand.get(key, np.nan))
    # all came later: the date tells
    late = predictions.beside(table_of(log, home), frame[2:])
    assert late["predicted"].iloc[0] == 0.9
    assert late["issued_utc"].iloc[0] == pd.Timestamp("2024-11-27T17:11Z")
    verdict = matches_log(late)
    assert verdict.details["refused"]["dated after the listening began"] == 1
    with pytest.raises(InputError, match="predictions has no column 'likelihood'"):
        predictions.beside(table_of(log, home), frame.drop(columns="likelihood"))
    with pytest.raises(InputError, match=r"table has no column 'identity'; make it with farhear"):
        predictions.beside(table_of(log, home).drop(columns="identity"), frame)


def test_from_plan_to_verdict(home, demo, tmp_path):
    # ten weeks of plans written at noon; the log is drawn from them, then from less than they said
    path = tmp_path / "said.csv"
    rng = np.random.default_rng(4)
    rows = []
    for day in pd.date_range("2024-11-04", periods=70, freq="7D")[:10].tolist():
        for more in (0, 2, 4):
            date = f"{day + pd.Timedelta(days=more):%Y-%m-%d}"
            plan = fh.plan(home, demo, date, start="18:00", end="21:00", f107_sfu=150.0)
            predictions.write_predictions(plan, path, issued_utc=f"{date}T10:00Z")
            some = plan.steps.iloc[rng.integers(0, len(plan.steps), 12)]
            for step in some.to_dict("records"):
                of = plan.frame.iloc[step["rank"]]
                middle = step["start_utc"] + (step["end_utc"] - step["start_utc"]) / 2
                one = check(middle - pd.Timedelta(minutes=2), of["freq_khz"], of["broadcaster"])
                rows.append(one | {"p": step["likelihood"], "u": rng.random()})
    log = pd.DataFrame(rows)
    for factor, words in ((1.0, ("NOT SHOWN", "SUPPORTED")), (0.6, ("AGAINST",))):
        log["outcome"] = np.where(log["u"] < factor * log["p"], "heard", "not_heard")
        table = table_of(log.drop(columns=["p", "u"]), home)
        beside = predictions.beside(table, predictions.read_predictions(path))
        assert beside["predicted"].notna().mean() > 0.99
        assert matches_log(beside).word in words

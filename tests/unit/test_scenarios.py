"""Acceptance scenarios 2, 3 and 4 of the trade, end to end, on invented broadcasts.

Scenario 6 is in test_cli_log.py, 7 in test_audit.py, 8 in test_cards.py and test_cli_log.py.
"""

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pytest

import farhear as fh
from farhear import reception
from farhear.errors import InputError
from farhear.report import reception_report

HEAD = "freq_khz,start_utc,stop_utc,days,broadcaster,tx_lat_deg,tx_lon_deg,power_kw"


@pytest.fixture
def lists(tmp_path):
    def make(name, *lines, **options):
        path = tmp_path / name
        path.write_text("\n".join([HEAD, *lines]) + "\n")
        return fh.read_schedule(path, **options)

    return make


# 2 Date line ------------------------------------------------------------------------------------


def test_date_line(tmp_path, lists):
    path = tmp_path / "log.csv"
    path.write_text(
        "start_utc,end_utc,freq_khz,outcome,identity,id_confidence,programme_notes\n"
        "Wed 25 Nov 2026 8:30 pm,Wed 25 Nov 2026 8:55 pm,9500,heard,Radio Belmorant,tentative,"
        "0135 talk; 0141 song; 0150 talk\n"
        "Thu 25 Nov 2026 8:30 pm,Wed 25 Nov 2026 8:55 pm,9500,heard,Radio Belmorant,,\n"
        "Wed 25 Nov 8:30 pm,Wed 25 Nov 2026 8:55 pm,9500,heard,Radio Belmorant,,\n"
    )
    log = fh.read_log(path, time_zone="America/New_York")
    assert log.frame["start_utc"].tolist() == [dt.datetime(2026, 11, 26, 1, 30, tzinfo=dt.UTC)]
    assert log.frame["as_written"].iloc[0].startswith("Wed 25 Nov 2026 8:30 pm")
    reasons = dict(zip(log.rejects["row"], log.rejects["reason"], strict=True))
    assert "that day is a Wednesday" in reasons[3]
    assert "no year" in reasons[4]

    home = fh.Station(name="x", lat_deg=40.7, lon_deg=-74.0, time_zone="America/New_York")
    schedule = lists(
        "list.csv",
        "9500,0100,0200,4,Radio Belmorant,50.6,19.3,250",  # Thursday, 1 = Monday
        "9600,0100,0200,3,Dorwashi Radio,50.6,19.3,250",
        days="iso",
    )
    tonight = fh.plan(home, schedule, "2026-11-25", start="20:00", end="21:30", f107_sfu=120.0)
    assert tonight.frame["freq_khz"].tolist() == [9500.0]
    line = tonight.frame.iloc[0]
    assert (line["start_utc_weekday"], line["start_local_weekday"]) == ("Thu", "Wed")

    text = reception_report(log.frame.iloc[0], home, listener="A. Listener").text()
    assert "26 NOV 2026" in text
    assert "25 NOV 2026" in text
    assert "TENTATIVE" in text


def test_an_hour_that_happens_twice_is_asked_about(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text(
        "start_utc,end_utc,freq_khz,outcome\n2026-10-25T01:30,2026-10-25T01:40,9500,not_heard\n"
    )
    log = fh.read_log(path, time_zone="Europe/London")
    assert (len(log), log.rows_rejected, log.rows_read) == (0, 1, 1)
    both = [
        dt.datetime(2026, 10, 25, 1, 30, fold=fold, tzinfo=ZoneInfo("Europe/London"))
        for fold in (0, 1)
    ]
    for instant in both:
        assert f"{instant.astimezone(dt.UTC):%Y-%m-%dT%H:%M:%SZ}" in log.rejects["reason"].iloc[0]


# 3 Season change --------------------------------------------------------------------------------


def test_season_change(lists, tmp_path):
    b26 = lists("b26.csv", "6070,0000,0200,daily,Winter Hour,50.6,19.3,100", season="B26")
    a27 = lists("a27.csv", "7325,0000,0200,daily,Summer Hour,50.6,19.3,100", season="A27")
    both = b26.joined(a27)
    on = both.on_air(fh.utc(["2027-03-28T00:30Z", "2027-03-28T01:30Z"]))
    assert on.tolist() == [[True, False], [False, True]]
    home = fh.Station(name="x", lat_deg=58.4, lon_deg=26.7, time_zone="Europe/Tallinn")
    night = fh.plan(home, both, "2027-03-28", start="02:00", end="05:00", f107_sfu=120.0)
    spans = {
        line["broadcaster"]: f"{line['start_utc']:%H%M}-{line['end_utc']:%H%M}"
        for line in night.frame.to_dict("records")
    }
    assert spans == {"Winter Hour": "0000-0100", "Summer Hour": "0100-0200"}
    with pytest.raises(InputError, match="outside season B26"):
        fh.plan(home, b26, "2027-04-05", start="20:00", f107_sfu=120.0)
    # a row that is never valid in the season of its list is named, with its line
    path = tmp_path / "late.csv"
    path.write_text(
        f"{HEAD},valid_from,valid_to\n"
        "6070,0000,0200,daily,Winter Hour,50.6,19.3,100,2027-04-02,2027-05-01\n"
    )
    late = fh.read_schedule(path, season="B26")
    assert late.warnings["row"].tolist() == [2]
    assert "B26" in late.warnings["reason"].iloc[0]


@pytest.mark.parametrize(("days", "digit"), [("sunday1", "4"), ("iso", "3")])
def test_a_one_day_entry_is_right_under_both_conventions(lists, days, digit):
    schedule = lists("list.csv", f"6070,2330,0030,{digit},Radio Belmorant,50.6,19.3,100", days=days)
    hours = fh.utc(
        np.arange("2026-11-22T23:45", "2026-11-29T23:45", 86400, "M8[s]"), naive_is_utc=True
    )
    found = [
        t.astype("M8[D]").item().strftime("%a") for t in hours.datetime64[schedule.on_air(hours)[0]]
    ]
    assert found == ["Wed"]
    after_midnight = schedule.on_air("2026-11-26T00:15Z")
    assert after_midnight.tolist() == [True]  # Thursday by now


# 4 Neighbour ------------------------------------------------------------------------------------

WANTED = (50.6, 19.3, 58.4, 26.7, 9500.0, "2024-11-27T18:00Z")


def mode_beside(neighbour_khz, emission="A3E"):
    rivals = [
        {
            "tx_lat_deg": 44.2,
            "tx_lon_deg": 0.9,
            "freq_khz": khz,
            "power_kw": 500.0,
            "tx_gain_dbi": 17.0,
        }
        for khz in neighbour_khz
    ]
    seen = reception.likelihood(
        *WANTED,
        power_kw=100.0,
        f107_sfu=150.0,
        tx_gain_dbi=10.0,
        interferers=rivals,
        emission=emission,
    )
    return fh.listening.MODES[int(seen["demodulation"])]


def test_neighbour_chooses_the_sideband_away_from_it():
    assert mode_beside([9505.0]) == "LSB"
    assert mode_beside([9495.0]) == "USB"
    assert mode_beside([]) == "AM"


def test_mirrored_neighbours_give_the_mirrored_answer():
    other = {"LSB": "USB", "USB": "LSB", "AM": "AM"}
    for offsets in ([5.0], [-5.0], [5.0, -10.0], [10.0], [5.0, -5.0], [-5.0, 15.0]):
        here = mode_beside([9500.0 + khz for khz in offsets])
        there = mode_beside([9500.0 - khz for khz in offsets])
        assert there == other[here]


def test_a_time_signal_with_full_carrier_and_upper_sideband_never_gets_lsb():
    for neighbours in ([9505.0], [9495.0], [9495.0, 9505.0], []):
        assert mode_beside(neighbours, "H3E") in ("AM", "USB")

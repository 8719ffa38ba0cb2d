"""A plan as calendar and table; every home and broadcaster is invented.

Outside: icalendar reads what was written; the true hours are those planted in the list.
"""

import datetime as dt

import pandas as pd
import pytest
from icalendar import Calendar

import farhear as fh
from farhear.errors import InputError
from farhear.evening_files import write_calendar, write_table

HEAD = "freq_khz,start_utc,stop_utc,days,broadcaster,tx_lat_deg,tx_lon_deg,power_kw"
LIST = f"""{HEAD}
6070,0000,2400,daily,Radio Belmorant,50.6,19.3,500
7325,1225,1500,daily,Dorwashi Radio,50.6,19.3,500
7340,1235,1500,daily,Radio Umbasani,50.6,19.3,500
9500,1300,1330,daily,Zephrine Waves,50.6,19.3,500
9600,1200,1255,daily,Quellar Overseas,50.6,19.3,500
"""
# Sunset near 13:40 UTC of that day, so the window begins about 12:40 and not on a half hour.
DATE = "2024-11-20"


@pytest.fixture
def planned(tmp_path):
    (tmp_path / "list.csv").write_text(LIST)
    schedule = fh.read_schedule(tmp_path / "list.csv")
    home = fh.Station(name="x", lat_deg=58.4, lon_deg=26.7, time_zone="Europe/Tallinn")
    return lambda **window: fh.plan(home, schedule, DATE, f107_sfu=150.0, **window)


def events_of(path):
    return {
        str(event["SUMMARY"]).split(" kHz ")[1]: event
        for event in Calendar.from_ical(path.read_bytes()).walk("VEVENT")
    }


def test_no_edge_of_a_window_that_follows_the_sun_is_in_the_calendar(planned, tmp_path):
    plan = planned()
    begin = dt.datetime.fromtimestamp(plan.window.unix_s[0], dt.UTC)
    assert dt.time(12, 36) < begin.time() < dt.time(12, 55)
    assert begin.minute % 5  # a minute that no list would have
    assert write_calendar(plan, tmp_path / "a.ics", at_least=0.0) == 5
    found = events_of(tmp_path / "a.ics")
    hours = {name: f"{e['DTSTART'].dt:%H%M}-{e['DTEND'].dt:%H%M}" for name, e in found.items()}
    assert hours == {
        "Radio Belmorant": "1230-2200",  # local midnight
        "Dorwashi Radio": "1230-1500",
        "Radio Umbasani": "1235-1500",  # its own start
        "Zephrine Waves": "1300-1330",
        "Quellar Overseas": "1230-1255",
    }
    text = (tmp_path / "a.ics").read_text(encoding="utf-8").replace("\r\n ", "")
    middle = begin + (dt.datetime(2024, 11, 20, 12, 55, tzinfo=dt.UTC) - begin) / 2
    sunset = plan.frame["home_sunset_utc"].iloc[0]
    for moment in (begin, middle, sunset):
        for form in ("%H:%M", "T%H%M"):
            assert f"{moment:{form}}" not in text


def test_a_window_that_was_asked_for_on_the_half_hour_stays(planned, tmp_path):
    plan = planned(start="16:30", end="18:00")  # 14:30 to 16:00 UTC
    write_calendar(plan, tmp_path / "a.ics", at_least=0.0)
    found = events_of(tmp_path / "a.ics")
    assert f"{found['Radio Belmorant']['DTSTART'].dt:%H%M}" == "1430"
    assert f"{found['Radio Belmorant']['DTSTAMP'].dt:%H%M}" == "1430"
    assert f"{found['Dorwashi Radio']['DTEND'].dt:%H%M}" == "1500"


def test_events_keep_their_keys_and_only_the_likely_are_there(planned, tmp_path):
    plan = planned()
    write_calendar(plan, tmp_path / "a.ics", at_least=0.0)
    bar = sorted(plan.frame["likelihood"])[-2]
    assert write_calendar(plan, tmp_path / "b.ics", at_least=bar) == 2
    every, some = events_of(tmp_path / "a.ics"), events_of(tmp_path / "b.ics")
    assert {n: e["UID"] for n, e in some.items()}.items() <= {
        n: e["UID"] for n, e in every.items()
    }.items()
    with pytest.raises(InputError, match="at_least = 2"):
        write_calendar(plan, tmp_path / "c.ics", at_least=2.0)
    assert not (tmp_path / "c.ics").exists()


def test_an_evening_without_broadcasts_is_an_empty_calendar(planned, tmp_path):
    plan = planned(start="23:00", end="23:30")
    plan = type(plan)(
        frame=plan.frame.iloc[:0],
        groups=plan.groups.iloc[:0],
        steps=plan.steps.iloc[:0],
        window=plan.window,
        notes=plan.notes,
        _air=plan._air,
        _position=plan._position[:0],
    )
    assert write_calendar(plan, tmp_path / "a.ics") == 0
    assert events_of(tmp_path / "a.ics") == {}


def test_sun_times_of_the_table_are_rounded_to_the_nearest_minute(planned, tmp_path):
    plan = planned()
    write_table(plan, tmp_path / "e.csv")
    back = pd.read_csv(tmp_path / "e.csv")
    for name in ("home_sunset_utc", "tx_sunset_utc", "tx_sunrise_utc"):
        away_s = (pd.to_datetime(back[name]) - plan.frame[name]).dt.total_seconds().abs()
        assert away_s.max() <= 30.0
        assert away_s.notna().all()

"""Evenings: noon to noon, sunset, openings between two checks.

Compared with zoneinfo, with a textbook formula of the sun written here from memory, and with
openings planted by hand or by farhear.simulate.
"""

import datetime as dt
import doctest
import math
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

import farhear as fh
from farhear import evenings, simulate, sun
from farhear.log import read_log, write_log
from farhear.schedule import read_schedule
from farhear.station import Setup, Station

HOME = Station(name="Home", lat_deg=58.4, lon_deg=26.7, time_zone="Europe/Tallinn")


def checks(*rows: tuple[str, str, float, str], minutes: float = 4.0, **more: str) -> pd.DataFrame:
    """Frame of a log; rows are day, UTC time, kHz, outcome."""
    start = pd.to_datetime([f"{day}T{clock}Z" for day, clock, _, _ in rows])
    frame = pd.DataFrame(
        {
            "start_utc": start,
            "end_utc": start + pd.Timedelta(minutes=minutes),
            "freq_khz": [khz for _, _, khz, _ in rows],
            "outcome": [outcome for _, _, _, outcome in rows],
        }
    )
    return frame.assign(**more)


def test_examples_in_the_docstrings() -> None:
    result = doctest.testmod(evenings)
    assert result.failed == 0
    assert result.attempted >= 4


@pytest.mark.parametrize(
    ("zone", "first"),
    [
        ("Europe/Tallinn", "2025-10-24"),  # clocks go back on the 26th
        ("America/New_York", "2026-03-06"),  # forward on the 8th
        ("Asia/Kathmandu", "2025-12-30"),
    ],
)
def test_an_evening_runs_from_noon_to_noon_by_zoneinfo(zone: str, first: str) -> None:
    start = dt.datetime.fromisoformat(first).replace(tzinfo=dt.UTC)
    times = [start + dt.timedelta(minutes=7 * n) for n in range(1000)]
    wall = [t.astimezone(ZoneInfo(zone)).replace(tzinfo=None) for t in times]
    expected = [(t - dt.timedelta(hours=12)).date() for t in wall]
    assert evenings.evening_of(times, zone).tolist() == expected


def sunset_hour_utc(day: dt.date, lat_deg: float, lon_deg: float) -> float:
    """Sunset by Fourier series of declination and equation of time (from memory). [h UTC]"""
    angle = 2.0 * math.pi * (day.timetuple().tm_yday - 1 + 0.2) / 365.0
    c, s = math.cos, math.sin
    equation_min = 229.18 * (
        0.000075
        + 0.001868 * c(angle)
        - 0.032077 * s(angle)
        - 0.014615 * c(2 * angle)
        - 0.040849 * s(2 * angle)
    )
    declination = (
        0.006918
        - 0.399912 * c(angle)
        + 0.070257 * s(angle)
        - 0.006758 * c(2 * angle)
        + 0.000907 * s(2 * angle)
        - 0.002697 * c(3 * angle)
        + 0.00148 * s(3 * angle)
    )
    lat = math.radians(lat_deg)
    cosine = math.cos(math.radians(90.833)) - math.sin(lat) * math.sin(declination)
    half_day_h = math.degrees(math.acos(cosine / (math.cos(lat) * math.cos(declination)))) / 15.0
    return 12.0 - lon_deg / 15.0 - equation_min / 60.0 + half_day_h


def test_sunset_by_a_formula_from_memory() -> None:
    days = np.arange("2025-08-20", "2026-04-20", dtype="datetime64[D]")
    found = evenings.nights(days, HOME)
    hour = (found.sunset_utc.unix_s - days.astype(np.int64) * 86400.0) / 3600.0
    expected = [sunset_hour_utc(day, 58.4, 26.7) for day in days.tolist()]
    np.testing.assert_allclose(hour * 60.0, np.array(expected) * 60.0, atol=4.0)
    # and the morning that ends the evening is that of the next local date
    rise = [
        dt.datetime.fromtimestamp(s, ZoneInfo("Europe/Tallinn")).date()
        for s in found.sunrise_utc.unix_s
    ]
    assert rise == [day + dt.timedelta(days=1) for day in days.tolist()]


def test_a_sunset_after_midnight_belongs_to_the_evening_before() -> None:
    far = Station(name="North", lat_deg=65.6, lon_deg=24.0, time_zone="Europe/Helsinki")
    day = np.array(["2026-06-15"], "datetime64[D]")
    found = evenings.nights(day, far)
    wall = dt.datetime.fromtimestamp(float(found.sunset_utc.unix_s[0]), ZoneInfo("Europe/Helsinki"))
    assert (wall.date(), wall.hour) == (dt.date(2026, 6, 16), 0)
    assert sun.position(found.sunset_utc, 65.6, 24.0).zenith_deg[0] == pytest.approx(
        90.833, abs=1e-3
    )
    log = checks(("2026-06-15", "20:00", 9500.0, "heard"), ("2026-06-15", "22:30", 9500.0, "heard"))
    table = evenings.table(log, far)
    assert table["evening"].dt.day.tolist() == [15, 15]
    sunset_min = 21 * 60 + wall.minute + wall.second / 60.0  # UTC
    expected = [20 * 60 - sunset_min, 22.5 * 60 - sunset_min]
    assert table["start_min"].tolist() == pytest.approx(expected, abs=0.02)


def test_sunrise_follows_sunset_where_the_sun_comes_up_after_noon_by_the_clock() -> None:
    far = Station(name="West", lat_deg=66.9, lon_deg=0.0, time_zone="Europe/Oslo")
    days = np.arange("2025-12-01", "2026-01-12", dtype="datetime64[D]")
    found = evenings.nights(days, far)
    zone = ZoneInfo("Europe/Oslo")
    rise = [dt.datetime.fromtimestamp(s, zone) for s in found.sunrise_utc.unix_s if s == s]
    assert sum(one.hour >= 12 for one in rise) >= 10
    gap_h = (found.sunrise_utc.unix_s - found.sunset_utc.unix_s) / 3600.0
    known = ~np.isnan(found.sunset_utc.unix_s) & ~np.isnan(found.sunrise_utc.unix_s)
    assert known.sum() >= 20
    assert (gap_h[known] > 20.0).all()  # nearly polar night


@pytest.mark.parametrize("day", ["2026-06-21", "2025-12-21"])
def test_polar_day_and_night_have_no_minutes(day: str) -> None:
    far = Station(name="Far north", lat_deg=70.0, lon_deg=26.0, time_zone="Europe/Oslo")
    table = evenings.table(checks((day, "18:00", 9500.0, "heard")), far)
    assert table[["sunset_utc", "sunrise_utc", "start_min", "end_min"]].isna().all().all()
    assert table["heard"].tolist() == [1.0]
    with pytest.raises(fh.InputError, match="no evening of the log has a sunset"):
        evenings.openings(table)


def test_columns_by_hand() -> None:
    log = checks(
        ("2025-11-05", "23:30", 6070.0, "carrier_only"),  # 01:30 on the 6th: still the 5th
        ("2025-11-05", "15:00", 9500.0, "heard"),  # a Wednesday
        ("2025-11-05", "15:10", 7050.0, "blocked"),
        ("2025-11-10", "15:00", 9500.0, "not_heard"),  # Monday
        ("2025-11-10", "15:05", 9500.0, "not_checked"),
        identity="Radio Belmorant",
    )
    table = evenings.table(log, HOME)
    assert table["row"].tolist() == [1, 2, 0, 3, 4]
    assert table["evening"].dt.day.tolist() == [5, 5, 5, 10, 10]
    assert table["week"].tolist() == [0, 0, 0, 1, 1]
    assert table["band"].tolist() == ["31 m", "other", "49 m", "31 m", "31 m"]
    np.testing.assert_array_equal(table["heard"], [1.0, np.nan, 0.0, 0.0, np.nan])
    assert table["position"].tolist() == [0, 1, 2, 0, 1]
    assert (table["middle_utc"] - table["start_utc"] == pd.Timedelta(minutes=2)).all()
    assert (table["end_min"] - table["start_min"]).tolist() == pytest.approx([4.0] * 5)
    assert set(table["identity"]) == {"Radio Belmorant"}
    assert set(table["setup_id"]) == {""}


def test_weeks_begin_on_mondays_by_the_calendar() -> None:
    days = [dt.date(2025, 12, 18) + dt.timedelta(days=n) for n in range(40)]
    log = checks(*((day.isoformat(), "15:00", 9500.0, "heard") for day in days))
    monday = days[0] - dt.timedelta(days=days[0].weekday())
    assert evenings.table(log, HOME)["week"].tolist() == [(d - monday).days // 7 for d in days]


def test_setups_of_the_station_fill_empty_keys() -> None:
    home = Station(
        name="Home",
        lat_deg=58.4,
        lon_deg=26.7,
        time_zone="Europe/Tallinn",
        setups=(
            Setup(from_date=dt.date(2025, 11, 1), to_date=dt.date(2025, 11, 5)),
            Setup(from_date=dt.date(2025, 11, 6)),
        ),
    )
    log = checks(
        ("2025-10-30", "15:00", 9500.0, "heard"),
        ("2025-11-05", "15:00", 9500.0, "heard"),
        ("2025-11-05", "22:30", 9500.0, "heard"),  # 00:30 on the 6th
        ("2025-11-06", "15:00", 9500.0, "heard"),
    ).assign(setup_id=["", "", "", "loop"])
    table = evenings.table(log, home)
    assert table["setup_id"].tolist() == ["", "2025-11-01", "2025-11-06", "loop"]


def test_a_channel_off_the_air_is_no_evidence(tmp_path: Path) -> None:
    path = tmp_path / "schedule_b25.csv"
    path.write_text(
        "freq_khz,start_utc,stop_utc,days,broadcaster,tx_lat_deg,tx_lon_deg,power_kw\n"
        "9500,1500,1600,daily,Radio Belmorant,12.3,6.9,50\n"
        "9500,1600,1700,daily,Noverrin External,52.7,0.9,50\n"
    )
    schedule = read_schedule(path, season="B25")
    rows = [("2025-11-05", f"{hour}:30", 9500.0, "not_heard") for hour in (15, 16, 17)]
    rows += [("2025-11-05", "18:30", 6070.0, "not_heard"), ("2026-05-05", "18:30", 9500.0, "heard")]
    known = evenings.table(checks(*rows, identity=" radio  BELMORANT"), HOME, schedule=schedule)
    nan = np.nan  # 6070 kHz and the A season are not listed
    np.testing.assert_array_equal(known["on_air"], [1.0, 0.0, 0.0, nan, nan])
    np.testing.assert_array_equal(known["heard"], [0.0, nan, nan, 0.0, 1.0])
    anyone = evenings.table(checks(*rows), HOME, schedule=schedule)
    np.testing.assert_array_equal(anyone["on_air"], [1.0, 1.0, 0.0, nan, nan])
    with pytest.raises(
        fh.InputError, match="no row that tells: 1 not_heard, 1 of them off the air"
    ):
        evenings.table(checks(rows[2]), HOME, schedule=schedule)


def test_openings_by_hand() -> None:
    evening = "2025-11-05"
    log = checks(
        # 31 m: nothing till 15:04, blocked, then heard by 15:34
        (evening, "14:30", 9500.0, "not_heard"),
        (evening, "15:00", 9505.0, "carrier_only"),
        (evening, "15:15", 9500.0, "blocked"),
        (evening, "15:30", 9500.0, "heard"),
        (evening, "15:45", 9500.0, "not_heard"),
        # 49 m: open from the first check on
        (evening, "14:40", 6070.0, "blocked"),
        (evening, "14:50", 6070.0, "heard"),
        (evening, "15:50", 6070.0, "not_heard"),
        # 41 m: never open
        (evening, "15:05", 7300.0, "not_heard"),
        (evening, "16:05", 7300.0, "carrier_only"),
        (evening, "16:20", 7300.0, "not_checked"),
        # 25 m: blocked only; 19 m: only in the afternoon
        (evening, "15:10", 11700.0, "blocked"),
        (evening, "11:00", 15200.0, "heard"),
    )
    table = evenings.table(log, HOME)
    sunset = 11 * 60 - float(table["start_min"].iloc[0])  # the first check is that of 11:00
    found = evenings.openings(table, ["31m", "49 m", "41", "25 m", "19 m"]).set_index("band")
    assert found["state"].tolist() == [
        *("between", "already open", "never open", "no usable check", "no usable check")
    ]
    at = {band: (found.loc[band, "low_min"], found.loc[band, "high_min"]) for band in found.index}
    assert at["31 m"] == pytest.approx((15 * 60 + 4 - sunset, 15 * 60 + 34 - sunset))
    assert at["49 m"] == (-np.inf, pytest.approx(14 * 60 + 54 - sunset))
    assert at["41 m"] == (pytest.approx(16 * 60 + 9 - sunset), np.inf)
    assert np.isnan([*at["25 m"], *at["19 m"]]).all()
    assert found["checks"].tolist() == [4, 2, 2, 0, 0]
    assert found["heard_count"].tolist() == [1, 1, 0, 0, 0]
    wide = evenings.openings(table, "19 m", from_min=-240.0)
    assert wide["state"].tolist() == ["already open"]
    short = evenings.openings(table, "31 m", to_min=75.0)  # 15:30 is 88 min after this sunset
    assert short[["state", "checks"]].to_numpy().tolist() == [["never open", 2]]
    every = evenings.openings(table)
    assert every["band"].tolist() == ["49 m", "41 m", "31 m", "25 m", "19 m"]


def test_a_check_under_way_when_another_hears_proves_nothing() -> None:
    log = checks(
        ("2025-11-05", "15:00", 9500.0, "heard"), ("2025-11-05", "14:58", 9505.0, "not_heard")
    )
    found = evenings.openings(evenings.table(log, HOME), "31 m")
    assert found["low_min"].tolist() == [-np.inf]
    assert found["state"].tolist() == ["already open"]


def test_planted_openings_lie_between_the_two_ends() -> None:
    made = simulate.season(
        np.random.default_rng(5), bands=["31 m", "49 m", "25 m"], open_share=0.8, evenings=120
    )
    found = evenings.openings(made.table, ["31 m", "49 m", "25 m"], to_min=400.0)
    pd.testing.assert_series_equal(found["evening"], made.truth["evening"])
    assert found["band"].tolist() == made.truth["band"].tolist()
    opening = made.truth["opening_min"].to_numpy()
    assert ((found["low_min"] < opening) & (opening <= found["high_min"])).all()
    width = (found["high_min"] - found["low_min"])[found["state"] == "between"]
    assert width.median() == pytest.approx(15.0, abs=0.1)
    assert set(found["state"]) == {"between", "never open"}


def test_which_band_came_first_by_hand() -> None:
    log = checks(
        ("2025-11-05", "15:00", 9500.0, "heard"),
        ("2025-11-05", "15:05", 6070.0, "heard"),
        ("2025-11-06", "15:00", 6070.0, "not_heard"),
        ("2025-11-06", "15:05", 9500.0, "heard"),
        ("2025-11-07", "15:00", 9500.0, "heard"),
        ("2025-11-08", "15:00", 9500.0, "blocked"),
        ("2025-11-08", "15:05", 6070.0, "heard"),
        ("2025-11-08", "15:10", 9500.0, "heard"),
        ("2025-11-09", "15:00", 9500.0, "heard"),
        ("2025-11-09", "15:00", 6070.0, "heard"),
    )
    table = evenings.table(log, HOME)
    assert evenings.order_of(table, "31 m", "49 m")["first"].tolist() == ["a", "b", "", "b", ""]
    assert evenings.order_of(table, "49 m", "31 m")["first"].tolist() == ["b", "a", "", "a", ""]


@pytest.mark.parametrize("name", ["log.csv", "log.parquet", "log.xlsx"])
def test_a_log_written_and_read_back_gives_the_same_table(tmp_path: Path, name: str) -> None:
    made = simulate.season(
        np.random.default_rng(11), bands=["31 m", "49 m"], evenings=9, blocked_share=0.2
    )
    write_log(made.frame, tmp_path / name)
    log = read_log(tmp_path / name)
    assert log.rows_rejected == 0
    assert not len(log.warnings)
    direct = evenings.table(made.frame, made.station)
    again = evenings.table(log, made.station)
    pd.testing.assert_frame_equal(direct.drop(columns="row"), again.drop(columns="row"))
    shuffled = made.frame.sample(frac=1.0, random_state=1)
    pd.testing.assert_frame_equal(evenings.table(shuffled, made.station), direct)


def test_what_cannot_be_is_refused() -> None:
    good = checks(
        ("2025-11-05", "15:00", 9500.0, "heard"), ("2025-11-05", "15:30", 6070.0, "heard")
    )
    with pytest.raises(fh.InputError, match="log has no column 'end_utc'"):
        evenings.table(good.drop(columns="end_utc"), HOME)
    with pytest.raises(fh.InputError, match="log has no rows"):
        evenings.table(good.iloc[:0], HOME)
    gone = good.assign(end_utc=pd.to_datetime([None, "2025-11-05T15:34Z"]))
    with pytest.raises(fh.InputError, match="log row 0: end_utc is missing"):
        evenings.table(gone, HOME)
    with pytest.raises(fh.InputError, match="log row 0: end_utc = 2025-11-05T14:00:00Z is before"):
        evenings.table(good.assign(end_utc=pd.Timestamp("2025-11-05T14:00Z")), HOME)
    with pytest.raises(fh.InputError, match="no time zone"):
        evenings.table(good.assign(start_utc=good["start_utc"].dt.tz_localize(None)), HOME)
    with pytest.raises(fh.InputError, match="log row 0: outcome = 'loud' is none of heard"):
        evenings.table(good.assign(outcome="loud"), HOME)
    with pytest.raises(fh.InputError, match="no row that tells: 2 blocked"):
        evenings.table(good.assign(outcome="blocked"), HOME)
    table = evenings.table(good, HOME)
    with pytest.raises(
        fh.InputError, match="band = '25 m': no check of it; the log has 49 m, 31 m"
    ):
        evenings.openings(table, "25 m")
    with pytest.raises(fh.InputError, match="band = '31 m' is given twice"):
        evenings.order_of(table, "31 m", "31m")
    with pytest.raises(fh.InputError, match="band is an empty list"):
        evenings.openings(table, [])
    with pytest.raises(fh.InputError, match="from_min = 60 is not before to_min = 60"):
        evenings.openings(table, from_min=60.0, to_min=60.0)

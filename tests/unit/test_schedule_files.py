"""Schedules against what stands outside: a plain walk over days, a data-frame schema, the calendar.

The walk uses datetime and calendar alone. All broadcasts are invented.
"""

import calendar
import datetime as dt
import tempfile
from importlib.resources import files
from pathlib import Path

import numpy as np
import pandas as pd
import pandera.pandas as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import farhear as fh
from farhear.errors import InputError
from farhear.schedule import read_schedule

NAMES = "freq_khz,start_utc,stop_utc,days,valid_from,valid_to,broadcaster,tx_lat_deg,tx_lon_deg"
HEADER = f"{NAMES},power_kw,language,azimuth_deg,modulation\n"


def line(start="1800", stop="1900", days="daily", first="", last="", khz="9505", more=",,"):
    row = f"{khz},{start},{stop},{days},{first},{last}"
    return f"{row},Radio Belmorant,58.4,26.7,100,{more}\n"


def written(folder, lines, name="list.csv"):
    path = Path(folder) / name
    path.write_text(HEADER + "".join(lines), encoding="utf-8")
    return path


# A plain walk over days -------------------------------------------------------------------------


def change(year, month):
    """0100 UTC on the last Sunday of a month."""
    last = max(
        day
        for day in calendar.Calendar().itermonthdates(year, month)
        if day.month == month and day.weekday() == calendar.SUNDAY
    )
    return dt.datetime(last.year, last.month, last.day, 1, tzinfo=dt.UTC)


SPANS = {
    "B26": (change(2026, 10), change(2027, 3)),
    "A27": (change(2027, 3), change(2027, 10)),
}


def walk(row, instant, span):
    """Whether a row is on the air, looking at the day of the instant and the one before it."""
    if span is not None and not span[0] <= instant < span[1]:
        return False
    for back in (0, 1):
        day = instant.date() - dt.timedelta(days=back)
        begin = dt.datetime(day.year, day.month, day.day, tzinfo=dt.UTC)
        start = begin + dt.timedelta(minutes=row["start"])
        stop = begin + dt.timedelta(minutes=row["stop"])
        if row["stop"] <= row["start"]:
            stop += dt.timedelta(days=1)
        is_valid = (row["first"] or day) <= day <= (row["last"] or day)
        if is_valid and day.isoweekday() in row["days"] and start <= instant < stop:
            return True
    return False


def in_words(days, convention, ranges):
    """Days of the week as one of the three conventions writes them."""
    if convention == "letters":
        return "".join("mtwhfas"[day - 1] for day in sorted(days))
    digits = sorted(day if convention == "iso" else day % 7 + 1 for day in days)
    if ranges and len(days) > 1:
        for first in digits:  # a range that may wrap around the week
            run = [(first - 1 + i) % 7 + 1 for i in range(len(digits))]
            if sorted(run) == digits:
                return f"{run[0]}-{run[-1]}"
    return "".join(map(str, digits))


DAY = st.dates(dt.date(2027, 3, 15), dt.date(2027, 4, 10))
ROW = st.fixed_dictionaries(
    {
        "start": st.integers(0, 1439),
        "stop": st.integers(1, 1440),
        "days": st.sets(st.integers(1, 7), min_size=1),
        "first": st.none() | DAY,
        "last": st.none() | DAY,
        "ranges": st.booleans(),
    }
).filter(
    lambda r: (
        r["start"] != r["stop"] and (not r["first"] or not r["last"] or r["first"] <= r["last"])
    )
)
MINUTES = st.lists(st.integers(-30 * 1440, 30 * 1440), min_size=1, max_size=40)


@settings(max_examples=120)
@given(
    rows=st.lists(ROW, min_size=1, max_size=5),
    convention=st.sampled_from(["iso", "sunday1", "letters"]),
    season=st.sampled_from([None, "B26", "A27"]),
    minutes=MINUTES,
)
def test_on_the_air_agrees_with_a_walk_over_days(rows, convention, season, minutes):
    lines = [
        line(
            f"{row['start'] // 60:02d}{row['start'] % 60:02d}",
            f"{row['stop'] // 60:02d}{row['stop'] % 60:02d}",
            in_words(row["days"], convention, row["ranges"]),
            row["first"] or "",
            row["last"] or "",
        )
        for row in rows
    ]
    with tempfile.TemporaryDirectory() as folder:
        schedule = read_schedule(written(folder, lines), days=convention, season=season)
    assert schedule.rejects.empty
    turn = SPANS["A27"][0]
    times = [turn + dt.timedelta(minutes=m) for m in minutes]
    for row in rows:  # and to the second around the ends
        begin = dt.datetime.combine(row["first"] or turn.date(), dt.time(), dt.UTC)
        for minute in (row["start"], row["stop"]):
            end = begin + dt.timedelta(minutes=minute)
            times += [end, end - dt.timedelta(seconds=1), end + dt.timedelta(days=1)]
    times += [turn, turn - dt.timedelta(seconds=1)]
    span = SPANS.get(season)
    want = [[walk(row, t, span) for t in times] for row in rows]
    assert schedule.on_air(fh.utc(times)).tolist() == want
    digits = ["".join(map(str, sorted(row["days"]))) for row in rows]
    assert schedule.frame["days"].tolist() == digits


# The change of seasons --------------------------------------------------------------------------


def test_the_night_of_the_change_has_rows_of_both_lists(tmp_path):
    # 2027-03-28 is the last Sunday of March; digit 7 is Sunday in ISO, 1 in the other convention.
    rows = [line("0000", "0300", day) for day in ("daily", "7", "1", "6")]
    rows += [line("2300", "0200", day) for day in ("6", "7", "1")]
    want = {
        "iso": [1, 1, 0, 0, 1, 0, 0],  # row 5 starts on Saturday
        "sunday1": [1, 0, 1, 0, 0, 1, 0],  # 7 is Saturday
    }
    for days, on in want.items():
        b26 = read_schedule(written(tmp_path, rows, "b.csv"), days=days, season="B26")
        a27 = read_schedule(written(tmp_path, rows, "a.csv"), days=days, season="A27")
        both = b26.joined(a27)
        before, after = both.on_air(fh.utc(["2027-03-28T00:30Z", "2027-03-28T01:30Z"])).T
        assert before.astype(int).tolist() == on + [0] * len(rows)
        assert after.astype(int).tolist() == [0] * len(rows) + on
        assert both.frame["source"][before].eq("b.csv").all()
        assert both.frame["source"][after].eq("a.csv").all()
        later, first = both.on_air(fh.utc(["2027-03-28T00:59:59Z", "2027-03-28T01:00:00Z"])).T
        assert later.tolist() == before.tolist()
        assert first.tolist() == after.tolist()


def test_a_row_that_is_never_valid_in_its_season_is_named(tmp_path):
    days = [dt.date(2026, 10, 20) + dt.timedelta(days=i) for i in range(190)]
    spans = [(first, first + dt.timedelta(days=n)) for first in days[::3] for n in (0, 5)]
    # Not the days of the change: there it depends on the hour.
    turns = {turn.date() for turn in SPANS["B26"]}
    spans = [(a, b) for a, b in spans if not turns & {a, b}]
    path = written(tmp_path, [line(first=a, last=b) for a, b in spans])
    begin, end = (turn.date() for turn in SPANS["B26"])
    outside = [row for row, (a, b) in enumerate(spans, start=2) if b < begin or a > end]
    assert 0 < len(outside) < len(spans)
    schedule = read_schedule(path, season="B26")
    assert schedule.warnings["row"].tolist() == outside
    assert set(schedule.warnings["reason"]) == {"never valid in season B26"}
    hours = np.arange("2026-10-01", "2027-06-01", dtype="datetime64[h]")
    on = schedule.on_air(fh.utc(hours + np.timedelta64(1800, "s"), naive_is_utc=True)).any(axis=1)
    assert on.tolist() == [row not in outside for row in range(2, len(spans) + 2)]
    assert read_schedule(path).warnings.empty


def test_on_the_days_of_the_change_the_hour_decides(tmp_path):
    # B26 runs from 2026-10-25 to 2027-03-28, 0100 UTC both (last Sundays)
    first, last = dt.date(2026, 10, 25), dt.date(2027, 3, 28)
    rows = [
        line("0000", "0100", first=last, last=last),  # ends with the season
        line("0100", "0200", first=last, last=last),  # begins when it is over
        line("0000", "0100", first=first, last=first),  # over when it begins
        line("0030", "0130", first=first, last=first),
        line("2300", "0200", first=first - dt.timedelta(days=1), last=first - dt.timedelta(days=1)),
        line("2200", "0100", first=first - dt.timedelta(days=1), last=first - dt.timedelta(days=1)),
    ]
    schedule = read_schedule(written(tmp_path, rows), season="B26")
    assert schedule.warnings["row"].tolist() == [3, 4, 7]
    minutes = np.concatenate(
        [np.arange(f"{day}T00", f"{day}T04", dtype="datetime64[m]") for day in (first, last)]
    )
    on = schedule.on_air(fh.utc(minutes.astype("datetime64[s]"), naive_is_utc=True)).any(axis=1)
    assert on.tolist() == [True, False, False, True, True, False]


# A schema from the words of the module ----------------------------------------------------------


def hhmm(series, low, high):
    """hhmm within limits, as numbers of hours and minutes."""
    number = series.astype(int)
    return series.str.fullmatch(r"\d{4}") & number.between(low, high) & (number % 100 < 60)


SCHEMA = pa.DataFrameSchema(
    {
        "row": pa.Column("int64", pa.Check.ge(2), unique=True),
        "freq_khz": pa.Column("float64", pa.Check.in_range(1600.0, 30000.0)),
        "start_utc": pa.Column(str, pa.Check(lambda s: hhmm(s, 0, 2359))),
        "stop_utc": pa.Column(str, pa.Check(lambda s: hhmm(s, 1, 2400))),
        "days": pa.Column(str, pa.Check(lambda s: s.str.fullmatch("1?2?3?4?5?6?7?") & (s != ""))),
        "broadcaster": pa.Column(str, pa.Check.str_length(min_value=1)),
        "tx_lat_deg": pa.Column("float64", pa.Check.in_range(-90.0, 90.0)),
        "tx_lon_deg": pa.Column("float64", pa.Check.in_range(-180.0, 180.0)),
        "power_kw": pa.Column("float64", [pa.Check.gt(0.0), pa.Check.le(2000.0)]),
        "valid_from": pa.Column("datetime64[s]", nullable=True),
        "valid_to": pa.Column("datetime64[s]", nullable=True),
        "language": pa.Column(str, pa.Check.str_matches(r"^([a-z]{3})?$")),
        "site": pa.Column(str),
        "azimuth_deg": pa.Column("float64", pa.Check.in_range(0.0, 360.0), nullable=True),
        "slew_deg": pa.Column("float64", pa.Check.in_range(-60.0, 60.0)),
        "antenna": pa.Column(str),
        "target": pa.Column(str),
        "modulation": pa.Column(str, pa.Check.isin(["DSB", "SSB", "DIGITAL"])),
        "start_min": pa.Column("int32", pa.Check.in_range(0, 1439)),
        "stop_min": pa.Column("int32", pa.Check.in_range(1, 2879)),
        "days_mask": pa.Column("uint8", pa.Check.in_range(1, 127)),
        "band": pa.Column(str, pa.Check.str_length(min_value=1)),
        "season": pa.Column(str),
        "beams_deg": pa.Column(str, pa.Check.str_matches(r"^([\d.]+(/[\d.]+){1,5})?$")),
    },
    checks=[
        pa.Check(lambda f: f["stop_min"] > f["start_min"]),
        pa.Check(lambda f: f["stop_min"] - f["start_min"] <= 1440),
        pa.Check(lambda f: f["start_min"] == _minutes(f["start_utc"])),
        pa.Check(lambda f: f["stop_min"] % 1440 == _minutes(f["stop_utc"]) % 1440),
        pa.Check(
            lambda f: (
                f["valid_from"].isna() | f["valid_to"].isna() | (f["valid_from"] <= f["valid_to"])
            )
        ),
        pa.Check(lambda f: f["days_mask"] == f["days"].map(_mask).astype("uint8")),
        pa.Check(
            lambda f: (
                (f["beams_deg"] == "")
                | (
                    f["beams_deg"].str.split("/").str[0].astype(str)
                    == f["azimuth_deg"].map(lambda a: f"{a:g}")
                )
            )
        ),
    ],
    strict=True,
    ordered=False,
)


def _minutes(series):
    return series.str[:2].astype(int) * 60 + series.str[2:].astype(int)


def _mask(days):
    return sum(1 << int(day) - 1 for day in days)


DEMO = (files("farhear") / "data" / "demo" / "schedule_b24.csv").read_text("utf-8").splitlines()


def test_the_sample_list_fits_a_schema_made_from_the_words(tmp_path):
    path = tmp_path / "list.csv"
    path.write_text("\n".join(DEMO) + "\n", encoding="utf-8")
    schedule = read_schedule(path, days="iso", season="B24")
    assert schedule.rejects.empty
    assert len(SCHEMA.validate(schedule.frame, lazy=True)) == len(DEMO) - 2


@pytest.mark.parametrize(
    "change",
    [
        {"freq_khz": 1500.0},
        {"stop_utc": "2401"},
        {"days": "21"},
        {"language": "English"},
        {"stop_min": 10},
        {"days_mask": 0},
    ],
)
def test_the_schema_does_refuse(tmp_path, change):
    frame = read_schedule(written(tmp_path, [line(), line()])).frame
    for name, value in change.items():
        frame[name] = pd.Series([frame[name].iloc[0], value]).astype(frame[name].dtype)
    with pytest.raises(pa.errors.SchemaErrors):
        SCHEMA.validate(frame, lazy=True)


CELL = st.one_of(
    st.sampled_from(
        ["", "nan", "inf", "2400", "0000", "2399", "-1", "0", "1e3", "1600", "30000", "135", "7-2"]
    ),
    st.sampled_from(
        ["mon-fri", "120/300", "90", "-90", "360", "2025-02-29", "2024-12-01", "A3E", "ger", "est"]
    ),
    st.text(max_size=6),
)


@settings(max_examples=60)
@given(
    changes=st.lists(st.tuples(st.integers(2, 13), st.integers(0, 16), CELL), max_size=30),
    days=st.sampled_from([None, "iso", "sunday1", "letters"]),
)
def test_whatever_is_accepted_fits_the_schema(changes, days):
    lines = [text.split(",") for text in DEMO[:14]]
    for row, column, text in changes:
        lines[row][column] = text
    data = "\n".join(",".join(cells) for cells in lines) + "\n"
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "list.csv"
        path.write_bytes(data.encode("utf-8", errors="replace"))
        try:
            schedule = read_schedule(path, days=days, season="B24")
        except InputError:
            return
    SCHEMA.validate(schedule.frame, lazy=True)

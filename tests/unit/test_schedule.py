"""Schedules: reading, day conventions, midnight, validity, season change."""

from pathlib import Path

import numpy as np
import pytest

import farhear as fh
from farhear.errors import InputError
from farhear.schedule import read_schedule

HEADER = (
    "freq_khz,start_utc,stop_utc,days,valid_from,valid_to,broadcaster,language,site,"
    "tx_lat_deg,tx_lon_deg,power_kw,azimuth_deg,slew_deg,antenna,target,modulation"
)
GOOD = {
    "freq_khz": "9500",
    "start_utc": "1800",
    "stop_utc": "1900",
    "days": "daily",
    "valid_from": "",
    "valid_to": "",
    "broadcaster": "Radio Belmorant",
    "language": "eng",
    "site": "Brunnevik",
    "tx_lat_deg": "50.6",
    "tx_lon_deg": "19.3",
    "power_kw": "100",
    "azimuth_deg": "",
    "slew_deg": "",
    "antenna": "",
    "target": "18",
    "modulation": "",
}


def write(tmp_path, *changes, name="list.csv"):
    lines = [HEADER]
    for change in changes:
        row = {**GOOD, **change}
        lines.append(",".join(row[column] for column in HEADER.split(",")))
    path = tmp_path / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def on(schedule, *times):
    return schedule.on_air(fh.utc(list(times))).T.tolist()


def test_good_row(tmp_path):
    schedule = read_schedule(write(tmp_path, {"azimuth_deg": "310"}, {}))
    row = schedule.frame.iloc[0]
    assert (row["freq_khz"], row["start_min"], row["stop_min"]) == (9500.0, 1080, 1140)
    assert (row["days"], row["band"], row["modulation"], row["row"]) == (
        "1234567",
        "31 m",
        "DSB",
        2,
    )
    assert np.isnat(row["valid_from"].to_datetime64())
    assert schedule.frame["azimuth_deg"].tolist()[0] == 310.0
    assert np.isnan(schedule.frame["azimuth_deg"].tolist()[1])  # non-directional
    assert schedule.rows_read == len(schedule) == 2
    assert schedule.warnings.empty


@pytest.mark.parametrize(
    ("change", "column", "reason"),
    [
        ({"freq_khz": "1595"}, "freq_khz", r"outside \[1600, 30000\]"),
        ({"freq_khz": "30005"}, "freq_khz", "outside"),
        ({"freq_khz": "9.5"}, "freq_khz", "looks like MHz"),
        ({"freq_khz": "nan"}, "freq_khz", "not a finite number"),
        ({"tx_lat_deg": "119.3", "tx_lon_deg": "50.6"}, "tx_lat_deg", "swapped"),
        ({"tx_lon_deg": "190"}, "tx_lon_deg", "outside"),
        ({"tx_lat_deg": "NaN"}, "tx_lat_deg", "not a finite number"),
        ({"tx_lat_deg": ""}, "tx_lat_deg", "empty"),
        ({"power_kw": "0"}, "power_kw", r"outside \(0, 2000\]"),
        ({"power_kw": "100000"}, "power_kw", "watts"),
        ({"start_utc": "930"}, "start_utc", "four digits"),
        ({"start_utc": "2400"}, "start_utc", "0000 to 2359"),
        ({"stop_utc": "2401"}, "stop_utc", "no such time"),
        ({"stop_utc": "1860"}, "stop_utc", "no such time"),
        ({"stop_utc": "1800"}, "stop_utc", "0000 to 2400"),
        ({"start_utc": "0000", "stop_utc": "0000"}, "stop_utc", "0000 to 2400"),
        ({"days": "8"}, "days", "digits 1 to 7"),
        ({"days": "11"}, "days", "named twice"),
        ({"days": ""}, "days", "empty"),
        ({"valid_from": "03/06/2025"}, "valid_from", "two ways"),
        ({"valid_from": "2025-06-02", "valid_to": "2025-06-01"}, "valid_to", "before valid_from"),
        ({"language": "English"}, "language", "ISO 639-3"),
        ({"azimuth_deg": "361"}, "azimuth_deg", "outside"),
        ({"modulation": "FM"}, "modulation", "none of"),
        ({"broadcaster": ""}, "broadcaster", "empty"),
    ],
)
def test_a_fault_rejects_its_row_only(tmp_path, change, column, reason):
    schedule = read_schedule(write(tmp_path, {}, change, {}), days="iso")
    assert schedule.frame["row"].tolist() == [2, 4]
    assert set(schedule.rejects["row"]) == {3}
    assert schedule.rejects["column"].tolist() == [column]
    assert schedule.rejects["value"].tolist() == [change.get(column, GOOD[column])]
    assert schedule.rejects["reason"].str.contains(reason).all()
    assert schedule.rows_read == 3


def test_all_faults_of_a_row_are_named(tmp_path):
    schedule = read_schedule(write(tmp_path, {"freq_khz": "1", "power_kw": "-1", "days": "x"}))
    assert schedule.rejects["column"].tolist() == ["freq_khz", "days", "power_kw"]
    assert (len(schedule), schedule.rows_read, schedule.rows_rejected) == (0, 1, 1)
    assert schedule.on_air(fh.utc(["2025-01-01T00:00Z"])).shape == (0, 1)


def test_doubts_are_warnings(tmp_path):
    path = write(tmp_path, {"freq_khz": "9503"}, {"freq_khz": "7000"}, {"modulation": "digital"})
    schedule = read_schedule(path)
    assert len(schedule) == 3
    assert list(zip(schedule.warnings["row"], schedule.warnings["reason"], strict=True)) == [
        (2, "not a multiple of 5 kHz"),
        (3, "outside the broadcast bands"),
        (4, "an AM receiver hears noise here"),
    ]


def test_empty_schedule_and_unknown_convention(tmp_path):
    with pytest.raises(InputError, match="no rows: the schedule is empty"):
        read_schedule(write(tmp_path))
    with pytest.raises(InputError, match=r"days = 'isso'.*did you mean 'iso'"):
        read_schedule(write(tmp_path, {}), days="isso")
    with pytest.raises(InputError, match="columns names 'freq', unknown"):
        read_schedule(write(tmp_path, {}), columns={"freq": "freq_khz"})


@pytest.mark.parametrize("days", ["2", "12345", "1-5", "1,3,5"])
def test_day_digits_need_a_stated_convention(tmp_path, days):
    path = tmp_path / "list.csv"
    row = ",".join({**GOOD, "days": f'"{days}"'}.values())
    path.write_text(f"{HEADER}\n{row}\n")
    with pytest.raises(InputError, match=r"1 is Monday in ISO 8601 but Sunday in other lists"):
        read_schedule(path)


@pytest.mark.parametrize(
    ("text", "convention", "iso"),
    [
        # ISO 8601: 1 = Monday (from memory). FCC lists: 1 = Sunday.
        ("3", "iso", "3"),
        ("3", "sunday1", "2"),
        ("1", "sunday1", "7"),
        ("7", "sunday1", "6"),
        ("2-6", "sunday1", "12345"),
        ("1-5", "iso", "12345"),
        ("6-1", "iso", "167"),
        ("135", "iso", "135"),
        ("daily", None, "1234567"),
        ("1234567", None, "1234567"),
        ("mon-fri", None, "12345"),
        ("Saturday", None, "6"),
        ("sat-mon", None, "167"),
        # t, w, h, f, a: common practice of magazine guides
        ("twhfa", "letters", "23456"),
        ("ms", "letters", "17"),
    ],
)
def test_days(tmp_path, text, convention, iso):
    schedule = read_schedule(write(tmp_path, {"days": text}), days=convention)
    assert schedule.frame["days"].tolist() == [iso]


def test_letters_refuse_the_word_that_has_two_meanings(tmp_path):
    schedule = read_schedule(write(tmp_path, {"days": "sat"}), days="letters")
    assert schedule.rejects["column"].tolist() == ["days"]


def test_one_day_entry_under_both_conventions(tmp_path):
    path = write(tmp_path, {"days": "4"})
    # 2027-03-25 is a Thursday, 2027-03-24 a Wednesday (any calendar).
    times = ("2027-03-24T18:30Z", "2027-03-25T18:30Z")
    assert on(read_schedule(path, days="iso"), *times) == [[False], [True]]
    assert on(read_schedule(path, days="sunday1"), *times) == [[True], [False]]


def test_start_is_included_and_stop_is_not(tmp_path):
    schedule = read_schedule(write(tmp_path, {}))
    times = (
        "2025-01-01T17:59:59Z",
        "2025-01-01T18:00Z",
        "2025-01-01T18:59:59Z",
        "2025-01-01T19:00Z",
    )
    assert on(schedule, *times) == [[False], [True], [True], [False]]


@pytest.mark.parametrize("stop", ["2400", "0000"])
def test_both_ways_to_write_midnight_at_the_end(tmp_path, stop):
    schedule = read_schedule(write(tmp_path, {"start_utc": "2300", "stop_utc": stop}))
    assert on(schedule, "2025-01-01T23:59:59Z", "2025-01-02T00:00Z") == [[True], [False]]


def test_whole_day(tmp_path):
    schedule = read_schedule(write(tmp_path, {"start_utc": "0000", "stop_utc": "2400"}))
    hours = np.arange("2025-01-01", "2025-01-03", dtype="datetime64[h]")
    assert schedule.on_air(fh.utc(hours, naive_is_utc=True)).all()


def test_weekday_after_midnight_is_that_of_the_start(tmp_path):
    # 2025-01-03 is a Friday.
    path = write(tmp_path, {"start_utc": "2330", "stop_utc": "0130", "days": "5"})
    schedule = read_schedule(path, days="iso")
    times = (
        "2025-01-03T00:30Z",
        "2025-01-03T23:30Z",
        "2025-01-04T00:30Z",
        "2025-01-04T01:30Z",
        "2025-01-04T23:45Z",
    )
    assert on(schedule, *times) == [[False], [True], [True], [False], [False]]


def test_validity_is_that_of_the_start(tmp_path):
    path = write(
        tmp_path,
        {
            "start_utc": "2330",
            "stop_utc": "0130",
            "valid_from": "2025-01-02",
            "valid_to": "2025-01-02",
        },
    )
    times = (
        "2025-01-02T00:30Z",
        "2025-01-02T23:45Z",
        "2025-01-03T00:30Z",
        "2025-01-03T23:45Z",
    )
    assert on(read_schedule(path), *times) == [[False], [True], [True], [False]]


def test_season_change_at_0100_utc(tmp_path):
    # Last Sunday of March: 2026-03-29 and 2027-03-28 (any calendar); change at 0100 UTC
    # (ITU radiocommunication seminar 2010).
    row = {"start_utc": "0000", "stop_utc": "0300"}
    b26 = read_schedule(write(tmp_path, row, name="b26.csv"), season="B26")
    a27 = read_schedule(write(tmp_path, row, name="a27.csv"), season="A27")
    times = ("2027-03-28T00:30Z", "2027-03-28T00:59:59Z", "2027-03-28T01:00Z", "2027-03-28T01:30Z")
    assert on(b26, *times) == [[True], [True], [False], [False]]
    assert on(a27, *times) == [[False], [False], [True], [True]]
    both = b26.joined(a27)
    assert on(both, *times) == [[True, False], [True, False], [False, True], [False, True]]
    assert both.frame["source"].tolist() == ["b26.csv", "a27.csv"]
    b25 = read_schedule(write(tmp_path, row, name="b25.csv"), season="B25")
    assert on(b25, "2026-03-29T00:59Z", "2026-03-29T01:00Z") == [[True], [False]]


def test_rows_outside_the_season_are_named(tmp_path):
    path = write(
        tmp_path,
        {"valid_from": "2025-10-26", "valid_to": "2026-03-29"},
        {"valid_from": "2025-03-30", "valid_to": "2025-10-26"},
        {"valid_from": "2025-03-30", "valid_to": "2025-10-25"},
    )
    schedule = read_schedule(path, season="B25")
    assert schedule.warnings["row"].tolist() == [4]
    assert schedule.warnings["reason"].tolist() == ["never valid in season B25"]
    assert schedule.warnings["value"].tolist() == ["2025-03-30 to 2025-10-25"]


def test_join_counts_rejects_of_both_files(tmp_path):
    one = read_schedule(write(tmp_path, {"power_kw": "0"}, {}, name="one.csv"))
    two = read_schedule(write(tmp_path, {"power_kw": "0"}, name="two.csv"))
    both = one.joined(two)
    assert (both.rows_read, len(both), both.rows_rejected) == (3, 1, 2)
    with pytest.raises(InputError, match="both schedules"):
        one.joined(one)


def test_shapes_missing_times_and_naive_times(tmp_path):
    schedule = read_schedule(write(tmp_path, {}, {"start_utc": "1900", "stop_utc": "2000"}))
    grid = np.array([["2025-01-01T18:30", "NaT"], ["2025-01-01T19:30", "2025-01-01T18:00"]])
    times = fh.utc(grid.astype("datetime64[m]"), naive_is_utc=True)
    on_air = schedule.on_air(times)
    assert on_air.shape == (2, 2, 2)
    assert on_air.astype(int).tolist() == [[[1, 0], [0, 1]], [[0, 0], [1, 0]]]
    assert schedule.on_air(times, rows=slice(1, 2)).astype(int).tolist() == [[[0, 0], [1, 0]]]
    with pytest.raises(InputError, match="no time zone"):
        schedule.on_air("2025-01-01T18:30")


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"\x00\x01\x02", "NUL byte"),
        (HEADER.encode() + b"\n9500,\xff\n", "does not fit UTF-8"),
        ((HEADER + ",freq_khz\n").encode(), "'freq_khz' twice"),
        ((HEADER.replace("freq_khz", "freq") + "\nx\n").encode(), "did you mean 'freq'"),
    ],
)
def test_unreadable_files(tmp_path, content, message):
    path = tmp_path / "list.csv"
    path.write_bytes(content)
    with pytest.raises(InputError, match=message):
        read_schedule(path)


def test_against_a_plain_loop(tmp_path):
    """Every quarter-hour of nine days against a minute-by-minute walk in plain Python."""
    import datetime as dt

    rows = [
        {"start_utc": "0000", "stop_utc": "2400", "days": "7"},
        {"start_utc": "2200", "stop_utc": "0215", "days": "135", "valid_to": "2026-03-25"},
        {"start_utc": "0115", "stop_utc": "0100", "days": "6"},
    ]
    schedule = read_schedule(write(tmp_path, *rows), days="iso")
    begin = dt.datetime(2026, 3, 20, tzinfo=dt.UTC)
    times = [begin + dt.timedelta(minutes=15 * i) for i in range(9 * 96)]
    expected = np.zeros((3, len(times)), dtype=bool)
    for at, row in enumerate(rows):
        start = int(row["start_utc"][:2]) * 60 + int(row["start_utc"][2:])
        stop = int(row["stop_utc"][:2]) * 60 + int(row["stop_utc"][2:])
        length = (stop - start) % 1440 or 1440
        for back in range(-2, 10):
            day = begin + dt.timedelta(days=back)
            if str(day.isoweekday()) not in row["days"]:
                continue
            if "valid_to" in row and day.date() > dt.date.fromisoformat(row["valid_to"]):
                continue
            first = day + dt.timedelta(minutes=start)
            for i, t in enumerate(times):
                if first <= t < first + dt.timedelta(minutes=length):
                    expected[at, i] = True
    assert np.array_equal(schedule.on_air(times), expected)


def test_large_schedule_is_cut_in_chunks(tmp_path, monkeypatch):
    rows = [{"start_utc": f"{h:02d}30", "stop_utc": f"{(h + 3) % 24:02d}00"} for h in range(24)]
    schedule = read_schedule(write(tmp_path, *rows))
    hours = fh.utc(np.arange("2026-01-01", "2026-01-08", dtype="datetime64[h]"), naive_is_utc=True)
    whole = schedule.on_air(hours)
    monkeypatch.setattr("farhear.schedule._CHUNK_ELEMENTS", 5 * hours.size)
    assert np.array_equal(schedule.on_air(hours), whole)


def test_path_may_be_text_and_missing_file_is_an_os_error(tmp_path):
    assert len(read_schedule(str(write(tmp_path, {})))) == 1
    with pytest.raises(OSError, match="nowhere"):
        read_schedule(Path(tmp_path) / "nowhere.csv")

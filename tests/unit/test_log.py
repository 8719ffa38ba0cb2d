"""The log: local time, audit, writing, lines cut off. Zones are checked against zoneinfo.

All names, places and checks are invented.
"""

import datetime as dt
import os
import subprocess
import sys
import zoneinfo

import pandas as pd
import pytest

from farhear.errors import InputError
from farhear.log import COLUMNS, CUT_OFF, append_check, read_log, write_log
from farhear.station import Setup, Station

HEAD = "start_utc,end_utc,freq_khz,outcome,identity,sinpo\n"


@pytest.fixture
def file(tmp_path):
    def make(content, name="log.csv"):
        path = tmp_path / name
        data = content if isinstance(content, bytes) else content.encode("utf-8")
        path.write_bytes(data)
        return path

    return make


def reasons(table):
    """Reasons by row and column."""
    return {(r.row, r.column): r.reason for r in table.itertuples()}


def instant(text):
    return dt.datetime.fromisoformat(text)


def test_every_row_is_accepted_or_refused_with_its_reason(file):
    log = read_log(
        file(
            "# invented\n"
            + HEAD
            + "2026-11-25T18:00Z,2026-11-25T18:04:30Z,6070,heard,Radio Belmorant,34333\n"
            + "2026-11-25T20:10+02:00,2026-11-25T20:12+02:00,9600,not_heard,Radio Umbasani,\n"
            + "2026-11-25T18:00,2026-11-25T18:04Z,6070,heard,,\n"
            + "2026-11-25T18:00Z,,6070,heard,,\n"
            + "2026-11-25T18:00Z,2026-11-25T17:00Z,6070,heard,,\n"
            + "2026-11-25T18:00Z,2026-11-27T17:00Z,6070,heard,,\n"
            + "2026-02-30T18:00Z,2026-11-25T18:04Z,6070,heard,,\n"
            + "2026-11-25T18:00Z,2026-11-25T18:04Z,6.070,herd,,\n"
        )
    )
    assert log.rows_read == 8 == len(log) + log.rows_rejected
    assert tuple(log.frame.columns) == ("row", *COLUMNS)
    assert log.frame["row"].tolist() == [3, 4]
    assert log.frame["start_utc"].tolist() == [
        pd.Timestamp("2026-11-25T18:00Z"),
        pd.Timestamp("2026-11-25T18:10Z"),
    ]
    assert log.frame["end_utc"].iloc[0] == pd.Timestamp("2026-11-25T18:04:30Z")
    assert log.frame["identity"].tolist() == ["Radio Belmorant", "Radio Umbasani"]
    assert log.warnings.empty
    why = reasons(log.rejects)
    assert "no time zone" in why[5, "start_utc"]
    assert why[6, "end_utc"] == "empty"
    assert why[7, "end_utc"] == "before start_utc"
    assert why[8, "end_utc"] == "more than a day after start_utc"
    assert (9, "start_utc") in why
    assert "MHz" in why[10, "freq_khz"]
    assert "did you mean 'heard'" in why[10, "outcome"]


def test_a_log_without_rows_is_a_log_and_one_without_ends_is_none(file):
    log = read_log(file(HEAD))
    assert len(log) == log.rows_read == 0
    assert str(log.frame["start_utc"].dtype) == "datetime64[us, UTC]"
    with pytest.raises(InputError, match="'end_utc' is missing"):
        read_log(file("start_utc,freq_khz,outcome\n"))
    with pytest.raises(InputError, match="unknown; did you mean 'freq_khz'"):
        read_log(file(HEAD), columns={"freq_kh": "identity"})
    with pytest.raises(InputError, match="Nowhere/Land"):
        read_log(file(HEAD), time_zone="Nowhere/Land")


def test_other_headers_encodings_and_delimiters(file):
    text = "von;bis;kHz;was;wer\n2026-11-25T18:00Z;2026-11-25T18:04Z;6070;yes;Rädio Erfunden\n"
    ours = ("start_utc", "end_utc", "freq_khz", "outcome", "identity")
    names = dict(zip(ours, ("von", "bis", "kHz", "was", "wer"), strict=True))
    log = read_log(file(text.encode("cp1252")), columns=names, encoding="cp1252", delimiter=";")
    assert log.frame[["outcome", "identity"]].to_numpy().tolist() == [["heard", "Rädio Erfunden"]]


# Local time -------------------------------------------------------------------------------------


@pytest.mark.parametrize("zone", ["Europe/Tallinn", "America/New_York", "Australia/Lord_Howe"])
def test_wall_times_of_two_years_agree_with_zoneinfo(file, zone):
    # Outside: CPython's zoneinfo with the same tzdata; fold 0 and 1 tell what is double or missing.
    rules, utc = zoneinfo.ZoneInfo(zone), dt.UTC
    walls = [
        dt.datetime(2026, 1, 1) + dt.timedelta(minutes=30 * i)  # noqa: DTZ001 (a wall time)
        for i in range(2 * 365 * 48)
    ]
    lines = [f"{w:%Y-%m-%dT%H:%M},{w:%Y-%m-%dT%H:%M},6070,not_checked,,\n" for w in walls]
    log = read_log(file(HEAD + "".join(lines)), time_zone=zone)
    want, refused = [], {}
    for row, wall in enumerate(walls, start=2):
        both = [wall.replace(tzinfo=rules, fold=f).astimezone(utc) for f in (0, 1)]
        if both[0] == both[1]:
            want.append(both[0])
        else:
            refused[row] = sorted(f"{b:%Y-%m-%dT%H:%M:%SZ}" for b in both)
    assert log.frame["start_utc"].tolist() == want
    assert set(log.rejects["row"]) == set(refused)
    assert len(refused) >= 4
    for (row, column), reason in reasons(log.rejects).items():
        assert column in ("start_utc", "end_utc")
        assert f"{zone}: {refused[row][0]} or {refused[row][1]}?" in reason
        is_gap = walls[row - 2] != instant(refused[row][0]).astimezone(rules).replace(tzinfo=None)
        assert ("never happens" if is_gap else "happens twice") in reason


def test_what_was_typed_is_kept_and_an_offset_answers_the_question(file):
    path = file(
        "start_utc,end_utc,as_written,freq_khz,outcome\n"
        "2026-10-25T01:30,2026-10-25T01:40,,6070,heard\n"
        "2026-10-25T01:30+01:00,2026-10-25T01:40+01:00,,6070,heard\n"
        "2026-11-25 20:30,2026-11-25 20:40,,6075,heard\n"
        "2026-11-26 20:30,2026-11-26 20:40,half past eight,6075,heard\n"
    )
    log = read_log(path, time_zone="Europe/London")
    assert set(log.rejects["row"]) == {2}
    assert log.rejects["value"].iloc[0] == "2026-10-25T01:30"
    assert log.frame["start_utc"].iloc[0] == pd.Timestamp("2026-10-25T00:30Z")
    assert log.frame["as_written"].tolist() == [
        "",
        "2026-11-25 20:30 to 2026-11-25 20:40 Europe/London",
        "half past eight",
    ]
    assert log.time_zone == "Europe/London"


# Audit ------------------------------------------------------------------------------------------


def rated(file, column, cells, outcome="heard"):
    """Reasons of rejects and warnings for ratings, by their text."""
    text = f"start_utc,end_utc,freq_khz,outcome,{column}\n"
    for i, cell in enumerate(cells):
        text += f"2026-11-25T18:{i:02d}Z,2026-11-25T18:{i:02d}:30Z,6070,{outcome},{cell}\n"
    log = read_log(file(text))
    assert log.rows_read == len(cells) == len(log) + log.rows_rejected
    named = [t.loc[t["column"] == column] for t in (log.rejects, log.warnings)]
    return [t.groupby("value", sort=False)["reason"].agg(list).to_dict() for t in named]


def test_ratings(file):
    # The rule is the brief's: refuse digits outside 1-5 and other lengths; doubt O above the rest.
    cells = ("45333", "45334", "55555", "11111", "3433", "343334", "34633", "30333", "", "22222")
    refused, doubted = rated(file, "sinpo", cells)
    assert set(refused) == {"3433", "343334", "34633", "30333"}
    assert set(doubted) == {"45334", "55555", "11111"}
    assert "O is above" in doubted["45334"][0]
    refused, doubted = rated(file, "sio", ("444", "243", "223j", "555", "44", "464", "j22"))
    assert set(refused) == {"44", "464", "j22"}
    assert set(doubted) == {"243", "223j", "555"}
    refused, doubted = rated(file, "sinpo", ("34333",), outcome="not_heard")
    assert not refused
    assert doubted == {"34333": ["a rating, but the outcome is not_heard"]}


def test_times_channels_and_keys_that_cannot_all_be_right(file):
    log = read_log(
        file(
            "check_id,observer_id,start_utc,end_utc,freq_khz,outcome,identity\n"
            "a,,2026-11-25T18:00Z,2026-11-25T18:10Z,6070,heard,Radio Belmorant\n"
            "b,,2026-11-25T18:05Z,2026-11-25T18:06Z,9600,heard,Radio Umbasani\n"  # two at once
            "c,,2026-11-25T18:00Z,2026-11-25T18:10Z,6070,not_heard,Radio Umbasani\n"  # under it
            "d,,2026-11-25T18:00Z,2026-11-25T18:10Z,6070,heard,Radio Belmorant\n"  # again
            "e,x,2026-11-25T18:05Z,2026-11-25T18:06Z,9600,heard,Radio Umbasani\n"  # another person
            "f,,2026-11-25T18:10Z,2026-11-25T18:11Z,9603,heard,\n"  # after it
            "a,,2026-11-25T18:20Z,2026-11-25T18:20Z,6070,heard,\n"
            "g,,2026-11-25T18:10:30Z,2026-11-25T18:12Z,9603,heard,\n"
            "h,,2026-11-25T18:10:30Z,2026-11-25T18:12Z,6070,not_checked,\n"
        )
    )
    assert len(log) == 9
    assert reasons(log.warnings) == {
        (3, "start_utc"): "overlaps row 2 on another frequency: one receiver?",
        (5, ""): "the same check as in row 2",
        (7, "freq_khz"): "not a multiple of 5 kHz",
        (8, "check_id"): "the key of row 2, too",
        (8, "end_utc"): "equals start_utc: no time was spent",
        (9, "freq_khz"): "not a multiple of 5 kHz",
        (9, "start_utc"): "overlaps row 7 of the same channel",
    }


def test_days_without_a_setup_are_local_days(file):
    setups = (
        Setup(from_date=dt.date(2026, 11, 1), to_date=dt.date(2026, 11, 25)),
        Setup(from_date=dt.date(2026, 11, 27)),
    )
    home = Station(
        name="Invented", lat_deg=58.4, lon_deg=26.7, time_zone="Europe/Tallinn", setups=setups
    )
    text = HEAD
    for stamp in ("25T21:50", "25T22:10", "26T21:50", "26T22:10"):  # midnight is at 2200 UTC
        text += f"2026-11-{stamp}Z,2026-11-{stamp}:30Z,6070,not_heard,,\n"
    log = read_log(file(text), station=home)
    assert log.warnings[["row", "value"]].to_numpy().tolist() == [[3, "2026-11-26"]]
    assert "(2 checks, first here)" in log.warnings["reason"].iloc[0]
    assert read_log(file(text)).warnings.empty


# Writing ----------------------------------------------------------------------------------------


def row(**more):
    return {
        "start_utc": pd.Timestamp("2026-11-25T18:00Z"),
        "end_utc": pd.Timestamp("2026-11-25T18:04Z"),
        "freq_khz": 6070.0,
        "outcome": "heard",
        **more,
    }


def test_a_frame_is_written_and_nothing_else_is_left(tmp_path):
    path = tmp_path / "log.csv"
    write_log(pd.DataFrame([row(sinpo=34333, freq_measured_khz=6070.002)]), path)
    assert [p.name for p in tmp_path.iterdir()] == ["log.csv"]
    plain = pd.read_csv(path)  # outside: pandas
    assert tuple(plain.columns) == COLUMNS
    assert plain["start_utc"].tolist() == ["2026-11-25T18:00:00Z"]
    assert plain["freq_measured_khz"].tolist() == [6070.002]
    assert read_log(path).frame["sinpo"].tolist() == ["34333"]


@pytest.mark.parametrize(
    ("frame", "says"),
    [
        ([row(), row(sinpo="3433")], r"log\[1\]: sinpo = '3433'"),
        ([row(notes="two\nlines")], r"notes\[0\].*line break"),
        ([row(notes="half \ud800")], r"notes\[0\].*control"),
        ([row(start_utc=pd.Timestamp("2026-11-25T18:00"))], "no time zone"),
        ([row(end_utc=None)], "end_utc = '': empty"),
        ([row(mood="good")], "'mood', unknown"),
        ([{"start_utc": "2026-11-25T18:00Z"}], "no column 'end_utc'"),
    ],
)
def test_what_cannot_be_read_is_not_written(tmp_path, frame, says):
    path = tmp_path / "log.csv"
    path.write_text("the old one")
    with pytest.raises(InputError, match=says):
        write_log(pd.DataFrame(frame, dtype=object), path)
    assert path.read_text() == "the old one"
    assert len(list(tmp_path.iterdir())) == 1


def test_refused_rows_are_not_written_over(file, tmp_path):
    path = file(HEAD + "2026-11-25T18:00Z,2026-11-25T18:04Z,6070,herd,,\n")
    log = read_log(path)
    with pytest.raises(InputError, match="1 refused rows"):
        write_log(log, path)
    write_log(log, tmp_path / "other.csv")
    with pytest.raises(InputError, match=r"does not end in one of \.csv"):
        write_log(log, tmp_path / "log.ods")


def test_parquet_gives_the_same_rows(tmp_path):
    parquet = pytest.importorskip("pyarrow.parquet")
    path = tmp_path / "log.parquet"
    write_log(pd.DataFrame([row(notes='ä, "b"'), row(freq_measured_khz=6070.1)]), path)
    log = read_log(path)
    assert log.frame["row"].tolist() == [1, 2]
    assert log.frame["notes"].tolist() == ['ä, "b"', ""]
    assert parquet.read_table(path).column_names == list(COLUMNS)  # outside: pyarrow itself
    path.write_bytes(path.read_bytes()[:-9])
    with pytest.raises(InputError, match="not a readable Parquet file"):
        read_log(path)


# One line at a time -----------------------------------------------------------------------------


def check(i, **more):
    start = pd.Timestamp("2026-11-25T18:00Z") + pd.Timedelta(minutes=i)
    return {
        "check_id": str(i),
        "start_utc": start.to_pydatetime(),
        "end_utc": (start + pd.Timedelta(seconds=30)).isoformat(),
        "freq_khz": 6070,
        "outcome": "not_heard",
        **more,
    }


def test_checks_are_added_in_the_order_of_the_header(file, tmp_path):
    path = file("# mine\n" + HEAD + "2026-11-25T17:00Z,2026-11-25T17:04Z,6070,heard,,\n")
    some = check(0, identity='Radio "Belmorant", invented')
    del some["check_id"]
    append_check(path, some)
    log = read_log(path)
    assert log.rows_read == len(log) == 2
    assert log.frame["identity"].tolist() == ["", 'Radio "Belmorant", invented']
    assert log.warnings.empty
    before = path.read_bytes()
    for bad, says in (
        (check(1), "no column 'check_id'"),
        ({**some, "sinpo": "9"}, "sinpo = '9'"),
        ({**some, "start_utc": "2026-11-25T18:00"}, "no time zone"),
        ({**some, "end_utc": None}, "end_utc"),
        ({**some, "notez": ""}, "did you mean 'notes'"),
    ):
        with pytest.raises(InputError, match=says):
            append_check(path, bad)
    assert path.read_bytes() == before
    last = file("start_utc,end_utc,freq_khz,outcome,notes\n", "other.csv")
    with pytest.raises(InputError, match="double quote"):
        append_check(last, {k: v for k, v in some.items() if k != "identity"} | {"notes": 'a "b"'})


LONG = {"notes": 'Tallinn, "ä€😀" said ""', "identity": "Rädio, invented", "audio_sha256": "a" * 64}


@pytest.mark.parametrize("more", [LONG, {}], ids=["long", "short"])
def test_a_line_cut_at_any_byte_is_whole_or_reported(tmp_path, more):
    path = tmp_path / "log.csv"
    append_check(path, check(0, **more))
    size = path.stat().st_size
    append_check(path, check(1, **more))
    data = path.read_bytes()
    for cut in range(size + 1, len(data)):
        path.write_bytes(data[:cut])
        is_whole = cut == len(data) - 1  # only the line end is missing
        read = read_log(path)
        assert path.read_bytes() == data[:cut]
        assert read.frame["check_id"].tolist() == (["0", "1"] if is_whole else ["0"])
        assert read.rows_read == 2
        reported = read.warnings if is_whole else read.rejects
        assert reported["row"].tolist() == [3]
        append_check(path, check(2, **more))
        assert read_log(path).frame["check_id"].tolist() == (
            ["0", "1", "2"] if is_whole else ["0", "2"]
        )
        log = read_log(path)
        assert log.rows_read == 3
        assert set(log.rejects["row"]) == (set() if is_whole else {3})
        text = path.read_text("utf-8")
        assert text.startswith(data[:cut].decode("utf-8", errors="ignore"))  # nothing is gone
        assert text.count(CUT_OFF) == (not is_whole)
        once_more = len(path.read_bytes().splitlines(keepends=True)[2]) - 1
        marked = path.read_bytes()[: len(data[:size]) + once_more]
        path.write_bytes(marked[:-3])  # cut again, inside the mark
        again = read_log(path)
        assert again.frame["check_id"].tolist() == ["0"]
        assert again.rows_read == 2


def test_a_last_line_typed_by_hand_is_kept(file):
    path = file(
        HEAD.replace("sinpo", "notes") + "2026-11-25T17:00Z,2026-11-25T17:04Z,6070,heard,,x"
    )
    log = read_log(path)
    assert len(log) == 1
    assert log.warnings["reason"].tolist() == ["no line end: is the last line whole?"]
    some = check(0)
    del some["check_id"]
    append_check(path, some)
    assert len(read_log(path)) == 2


KILL = """
import os, random, signal, sys, time
from farhear.log import append_check
path, draw = sys.argv[1], random.Random(7)
for turn in range(40):
    out, into = os.pipe()
    child = os.fork()
    if child == 0:
        for i in range(10**6):
            key = f"{turn}-{i}"
            append_check(path, {
                "check_id": key, "start_utc": "2026-11-25T18:00Z", "end_utc": "2026-11-25T18:01Z",
                "freq_khz": 6070, "outcome": "heard", "notes": "ä, " * draw.randrange(1500),
            })
            os.write(into, (key + "\\n").encode())
    os.close(into)
    with open(out) as told:
        first = told.readline() if turn % 2 else ""  # some are killed before, some after a line
        time.sleep(draw.uniform(0.002, 0.06))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        sys.stdout.write(first + told.read())
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork and SIGKILL")
def test_no_check_is_lost_when_the_writer_is_killed(tmp_path):
    path = tmp_path / "log.csv"
    told = subprocess.run(
        [sys.executable, "-c", KILL, str(path)], capture_output=True, text=True, check=True
    ).stdout.split()
    log = read_log(path)
    keys = log.frame["check_id"].tolist()
    assert len(told) >= 20
    assert len(set(keys)) == len(keys)
    assert set(told) <= set(keys)
    assert len(keys) + log.rows_rejected == log.rows_read
    assert log.rows_read - len(told) <= 40  # at most one a turn that was not yet told
    # killed while the header was first written, it may leave the hidden part of that file
    assert {p.name for p in tmp_path.iterdir() if not p.name.startswith(".")} == {"log.csv"}

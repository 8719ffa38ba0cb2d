"""A log as ADIF: what goes out, what comes back, what is refused. All checks are invented.

Outside: adif_io reads what is written; general records are written by hand after ADIF 3.1.6 (as
quoted in farhear.adif).
"""

import datetime as dt
import tempfile
from pathlib import Path

import adif_io
import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from farhear import adif
from farhear.errors import InputError
from farhear.log import COLUMNS, read_log, write_log


def check(**more):
    return {
        "start_utc": pd.Timestamp("2026-11-25T23:55:10Z"),
        "end_utc": pd.Timestamp("2026-11-26T01:00Z"),
        "freq_khz": 6070.0,
        "outcome": "heard",
        **more,
    }


def field(name, value):
    return f"<{name}:{len(value)}>{value} "


def record(**fields):
    """One record: what it says goes over a good one; None leaves a field out."""
    good = {
        "QSO_DATE": "20261125",
        "TIME_ON": "1800",
        "TIME_OFF": "1804",
        "FREQ": "9.505",
        "MODE": "AM",
        "CALL": "NOVERRIN EXTERNAL",
    }
    said = {name: value for name, value in {**good, **fields}.items() if value is not None}
    return "".join(field(name, value) for name, value in said.items()) + "<EOR>\n"


@pytest.fixture
def read(tmp_path):
    def made(text, name="log.adi", **options):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode("ascii"))
        before = path.read_bytes()
        log = read_log(path, **options)
        assert path.read_bytes() == before
        assert log.rows_read == len(log) + log.rows_rejected
        return log

    return made


# Writing ----------------------------------------------------------------------------------------


def test_another_program_reads_the_values_of_the_check(tmp_path):
    path = tmp_path / "log.adi"
    whole = check(
        demod="USB",
        identity="Radio Belmorant",
        notes="with <EOR> and <CALL:3>abc",
        sinpo="34333",
        freq_measured_khz=6070.012,
        outcome="carrier_only",
    )
    assert write_log(pd.DataFrame([whole, check(demod="AM")]), path) == ()
    assert path.read_bytes().isascii()
    (first, second), header = adif_io.read_from_file(path)
    assert header["PROGRAMID"] == "farhear"
    assert adif_io.time_on(first) == whole["start_utc"]
    assert adif_io.time_off(first) == whole["end_utc"]
    assert {key: first[key] for key in first if not key.startswith("APP_")} == {
        "QSO_DATE": "20261125",
        "TIME_ON": "235510",
        "QSO_DATE_OFF": "20261126",
        "TIME_OFF": "010000",
        "FREQ": "6.07",
        "MODE": "SSB",
        "SUBMODE": "USB",
        "SWL": "Y",
        "CALL": "RADIO BELMORANT",
        "COMMENT": "with <EOR> and <CALL:3>abc",
    }
    assert {key: first[key] for key in first if key.startswith("APP_")} == {
        "APP_FARHEAR_OUTCOME": "carrier_only",
        "APP_FARHEAR_IDENTITY": "Radio Belmorant",
        "APP_FARHEAR_SINPO": "34333",
        "APP_FARHEAR_FREQ_MEASURED_KHZ": "6070.012",
    }
    assert (second["MODE"], "SUBMODE" in second, "CALL" in second) == ("AM", False, False)


def test_what_it_cannot_hold_is_said(tmp_path):
    path = tmp_path / "log.adi"
    frame = pd.DataFrame(
        [
            check(),
            check(outcome="not_heard"),
            check(outcome="blocked"),
            check(outcome="not_checked"),
            check(identity="Rädio Belmorant", notes="ä"),
            check(start_utc=pd.Timestamp("2026-11-25T23:55:10.25Z"), outcome="carrier_only"),
        ]
    )
    assert write_log(frame, path) == (
        "3 of 6 checks left out: ADIF cannot say 'not heard'",
        "1 checks have characters outside ASCII, written as ?",
        "1 checks have fractions of a second, dropped",
    )
    log = read_log(path)
    assert log.frame["outcome"].tolist() == ["heard", "heard", "carrier_only"]
    assert log.frame["identity"].tolist() == ["", "R?dio Belmorant", ""]
    assert log.frame["start_utc"].tolist() == [check()["start_utc"]] * 3
    assert path.read_text().startswith(adif.LIMITS)
    assert write_log(frame[1:4], path) == ("3 of 3 checks left out: ADIF cannot say 'not heard'",)
    assert len(read_log(path)) == 0


@pytest.mark.parametrize("khz", [6070.0, 3995.0, 7205.0, 5060.0])
def test_a_band_is_never_written(tmp_path, khz):
    path = tmp_path / "log.adi"
    write_log(pd.DataFrame([check(freq_khz=khz, band="49 m")]), path)
    (record,), _ = adif_io.read_from_file(path)
    assert "BAND" not in record
    assert float(record["FREQ"]) == khz / 1000.0


TEXT = st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=40).map(str.strip)
CHECK = st.fixed_dictionaries(
    {
        "start_utc": st.datetimes(
            dt.datetime(1900, 1, 1),  # noqa: DTZ001 (the zone comes from timezones)
            dt.datetime(2100, 12, 30),  # noqa: DTZ001
            timezones=st.just(dt.UTC),
        ).map(lambda t: t.replace(microsecond=0)),
        "length": st.integers(0, 86400),
        "freq_khz": st.floats(1600.0, 30000.0),
        "freq_measured_khz": st.floats(1600.0, 30000.0) | st.just(float("nan")),
        "outcome": st.sampled_from(["heard", "carrier_only"]),
        "demod": st.sampled_from(["", "AM", "USB", "LSB"]),
        "sinpo": st.just("") | st.text("12345", min_size=5, max_size=5),
        "language": st.sampled_from(["", "eng", "est"]),
        **dict.fromkeys(("check_id", "as_written", "identity", "notes", "band", "s_meter"), TEXT),
    }
).map(lambda c: {**c, "band": c["band"][:20], "check_id": c["check_id"]})
ODD = {
    **check(freq_measured_khz=float("nan")),
    "length": 3890,
    "notes": "<eor>",
    "identity": "<a:9>",
}
del ODD["end_utc"]


@settings(max_examples=40)
@given(checks=st.lists(CHECK, max_size=5))
@example(checks=[ODD, ODD])
def test_what_is_written_is_read_back(checks):
    frame = pd.DataFrame(checks, columns=[n for n in ("length", *COLUMNS) if n != "end_utc"])
    frame["start_utc"] = pd.DatetimeIndex(frame["start_utc"].to_list(), tz="UTC").as_unit("us")
    length = pd.to_timedelta(frame.pop("length").to_numpy(dtype="int64"), unit="s")
    frame["end_utc"] = frame["start_utc"] + length.as_unit("us")
    with tempfile.TemporaryDirectory() as folder:
        path, second = Path(folder) / "log.adi", Path(folder) / "again.adi"
        assert write_log(frame, path) == ()
        log = read_log(path)
        assert write_log(log, second) == ()
        assert path.read_bytes() == second.read_bytes()
        assert len(adif_io.read_from_file(path)[0]) == len(checks)
    assert log.rows_read == len(log) == len(checks)
    for name in COLUMNS:
        got, want = log.frame[name].tolist(), frame[name].tolist()
        if name == "freq_measured_khz":
            got, want = list(map(repr, got)), list(map(repr, map(float, want)))
        elif name not in ("start_utc", "end_utc", "freq_khz"):
            want = ["" if pd.isna(text) else text for text in want]
        assert got == want, name


# Reading what others wrote ----------------------------------------------------------------------


def test_a_general_record_is_a_check(read):
    text = (
        "made by hand\n<ADIF_VER:5>3.1.6 <eoh>\n"
        + record()
        + record(MODE="ssb", SUBMODE="lsb", FREQ="6.070000", NOTES="two\r\nlines")
        + record(TIME_ON="180001", TIME_OFF="180402", MODE=None, COMMENT="c", NOTES="n").lower()
    )
    log = read(text)
    assert log.frame["freq_khz"].tolist() == [9505.0, 6070.0, 9505.0]
    assert log.frame["demod"].tolist() == ["AM", "LSB", ""]
    assert log.frame["outcome"].tolist() == ["heard"] * 3
    assert log.frame["notes"].tolist() == ["", "two / lines", "c"]
    assert log.frame["identity"].tolist()[0] == "NOVERRIN EXTERNAL"
    assert log.frame["row"].tolist() == [1, 2, 3]
    for row, one in enumerate(adif_io.read_from_string(text)[0]):
        assert log.frame["start_utc"].iloc[row] == adif_io.time_on(one)
        assert log.frame["end_utc"].iloc[row] == adif_io.time_off(one)
    assert read(text.encode(), "log.ADIF").frame.equals(log.frame)


@pytest.mark.parametrize(
    ("day", "on", "off", "end"),
    [
        ("20261125", "2355", "0100", "2026-11-26T01:00Z"),
        ("20261231", "235500", "0100", "2027-01-01T01:00Z"),
        ("20280228", "2355", "005959", "2028-02-29T00:59:59Z"),
        ("20261125", "1800", "180000", "2026-11-25T18:00Z"),
        ("20261125", "180001", "1800", "2026-11-26T18:00Z"),
    ],
)
def test_an_end_before_the_start_is_on_the_next_day(read, day, on, off, end):
    log = read(record(QSO_DATE=day, TIME_ON=on, TIME_OFF=off))
    assert log.frame["end_utc"].tolist() == [pd.Timestamp(end)]


def test_records_that_are_no_checks_are_refused(read):
    log = read(
        record()
        + record(TIME_OFF=None)
        + record(FREQ=None, BAND="40M")
        + record(FREQ=None)
        + record(MODE="FT8")
        + record(MODE="SSB")
        + record(FREQ="9505")
        + record(FREQ="9,505")
        + record(FREQ="nan")
        + record(FREQ="9e999999")
        + record(QSO_DATE="20260231")
        + record(QSO_DATE="99991231", TIME_OFF="1700")
        + record(QSO_DATE="00000101", TIME_OFF="1700")
        + record(TIME_ON="2400")
        + record(TIME_ON="180")
        + record(QSO_DATE_OFF="20261127")
        + record(APP_FARHEAR_SINPO="66666")
        + record(CALL="two\nlines")
        + "<EOR>"
    )
    assert log.frame["row"].tolist() == [1, 6]
    assert log.frame["demod"].tolist() == ["AM", ""]
    why = log.rejects.groupby("row").agg(list)
    assert why.loc[2, "reason"] == ["TIME_OFF is missing; a check needs its end"]
    assert why.loc[3, "value"] == ["40M"]
    assert why.loc[3, "reason"] == ["FREQ is missing; a band is no frequency"]
    assert (why.loc[4, "column"], why.loc[4, "reason"]) == (["freq_khz"], ["empty"])
    assert why.loc[5, "value"] == ["FT8"]
    columns = ["freq_khz"] * 4 + ["start_utc"] * 5 + ["end_utc", "sinpo", "identity"]
    assert [why.loc[row, "column"][0] for row in range(7, 19)] == columns
    assert list(why.index) == [2, 3, 4, 5, *range(7, 20)]


@pytest.mark.parametrize("tail", [record()[:-6], record()[:20], record()[:2], "<EO", "<CALL:90>a"])
def test_a_record_that_is_cut_off_is_refused(read, tail):
    log = read(record() + tail)
    assert log.frame["row"].tolist() == [1]
    assert log.rows_read == 2
    assert log.rejects["row"].tolist() == [2]
    assert "cut off" in log.rejects["reason"].iloc[0]


def test_a_file_cut_at_any_byte_has_all_its_rows(read):
    text = "invented <EOH>\n" + record() + record(MODE="FT8")
    begins = [
        text.index("<EOH>") + 5,
        *(i + 5 for i in range(len(text)) if text[i : i + 5] == "<EOR>"),
    ]
    seen = set()
    for cut in range(begins[0], len(text)):
        try:
            log = read(text[:cut])
        except InputError as refused:
            assert "no field" in str(refused)  # noqa: PT017 (before the first field)
            assert cut < begins[0] + 20
            continue
        whole = sum(cut >= begin for begin in begins[1:])
        rest = text[max(b for b in begins if b <= cut) : cut].strip()
        assert log.rows_read == whole + bool(rest)
        assert len(log) == (0, 1, 1)[whole]
        seen.add(whole)
    assert seen == {0, 1, 2}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "has no field"),
        ("   \n", "has no field"),
        ("start_utc,end_utc\n", "has no field"),
        ("made by hand <ADIF_VER:5>3.1.6\n" + record(), "its header has no <EOH>"),
        (record(CALL="A").replace("<EOR>", "<CALL:1>B <EOR>"), "Duplication.*CALL"),
        ("a <X:1>1 <X:1>2 <EOH>" + record(), "Duplication.*X"),
        ("<CALL:" + "9" * 5000 + ">a <EOR>", "is not ADIF"),
        (b"\xff\xfe<\0C\0", "encoding='utf-16'"),
        (b"<CALL:1>\xe4<EOR>", "does not fit UTF-8"),
        (b"<CALL:1>\x00<EOR>", "NUL byte"),
        (b"PK\x03\x04<CALL:1>a<EOR>", "zip archive"),
    ],
)
def test_what_is_no_adif_is_refused(read, text, says):
    with pytest.raises(InputError, match=says):
        read(text)


def test_a_header_alone_is_a_log_without_rows(read):
    log = read("made by hand <ADIF_VER:5>3.1.6 <EOH>\n")
    assert log.rows_read == 0
    assert str(log.frame["start_utc"].dtype) == "datetime64[us, UTC]"

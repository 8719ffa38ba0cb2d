"""What is written is read back, and no row is lost whatever happens to the file. All invented."""

import datetime as dt
import tempfile
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from farhear.errors import InputError
from farhear.log import COLUMNS, OUTCOMES, read_log, write_log

TEXT = st.text(
    st.characters(exclude_categories=["Cs", "Cc"], include_characters="\t\x7f\x85,;\"'#"),
    max_size=60,
).map(str.strip)
KHZ = st.floats(1600.0, 30000.0)
ROW = st.fixed_dictionaries(
    {
        "start_utc": st.datetimes(
            dt.datetime(1900, 1, 1),  # noqa: DTZ001 (the zone comes from timezones)
            dt.datetime(2100, 12, 30),  # noqa: DTZ001
            timezones=st.just(dt.UTC),
        ),
        "length": st.timedeltas(dt.timedelta(0), dt.timedelta(days=1)),
        "freq_khz": KHZ,
        "freq_measured_khz": KHZ | st.just(float("nan")),
        "outcome": st.sampled_from(OUTCOMES),
        "demod": st.sampled_from(["", "AM", "USB", "LSB"]),
        "sinpo": st.just("") | st.text("12345", min_size=5, max_size=5),
        "language": st.sampled_from(["", "eng", "est", "zho", "und"]),
        **dict.fromkeys(
            ("check_id", "observer_id", "as_written", "identity", "notes", "s_meter"), TEXT
        ),
    }
)


def frame_of(rows):
    columns = ["start_utc", "length", *(n for n in COLUMNS if n in ROW_NAMES)]
    frame = pd.DataFrame(rows, columns=list(dict.fromkeys(columns)))
    start = pd.DatetimeIndex(frame["start_utc"].to_list(), tz="UTC").as_unit("us")
    length = pd.TimedeltaIndex(frame["length"].to_list()).as_unit("us")
    return frame.assign(start_utc=start, end_utc=start + length).drop(columns="length")


ROW_NAMES = (
    *("check_id", "observer_id", "as_written", "freq_khz", "freq_measured_khz", "demod"),
    *("outcome", "identity", "sinpo", "language", "notes", "s_meter"),
)


@pytest.mark.parametrize("suffix", [".csv", ".tsv", ".xlsx", ".parquet"])
@settings(max_examples=60)
@given(rows=st.lists(ROW, max_size=6))
def test_what_is_written_is_read_back(suffix, rows):
    frame = frame_of(rows)
    with tempfile.TemporaryDirectory() as folder:
        path, second = Path(folder) / f"log{suffix}", Path(folder) / f"again{suffix}"
        write_log(frame, path)
        log = read_log(path)
        write_log(log, second)
        again = read_log(second)
        if suffix != ".xlsx":  # a workbook holds the time it was made
            assert path.read_bytes() == second.read_bytes()
    assert log.rows_read == len(log) == len(rows)
    pd.testing.assert_frame_equal(log.frame, again.frame)
    for name in frame.columns:
        got, want = log.frame[name].tolist(), frame[name].tolist()
        if name == "freq_measured_khz":
            got, want = map(repr, got), map(repr, want)
        assert list(got) == list(want), name


LINES = [
    "check_id,start_utc,end_utc,freq_khz,outcome,sinpo,notes",
    *(f"{i},2026-11-25T18:{i}Z,2026-11-25T18:{i}:30Z,6070,heard,34333,x" for i in range(10, 30)),
]
CELLS = st.one_of(
    st.sampled_from(["", "nan", "herd", "55555", "2026-10-25T03:30", '"', "#", "[cut off"]),
    st.text(st.characters(exclude_categories=["Cs"]), max_size=8),
)


@settings(max_examples=80)
@given(
    changes=st.lists(st.tuples(st.integers(1, 20), st.integers(0, 6), CELLS), max_size=6),
    cut=st.integers(0, 60),
)
@example(changes=[(20, 6, '"')], cut=0)
def test_accepted_and_rejected_make_up_what_was_read(changes, cut):
    lines = [line.split(",") for line in LINES]
    for row, column, text in changes:
        lines[row][column] = text
    data = ("\n".join(",".join(cells) for cells in lines) + "\n").encode()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        path.write_bytes(data[: len(data) - cut])
        try:
            log = read_log(path, time_zone="Europe/Tallinn")
        except InputError as refused:
            assert "log.csv" in str(refused)  # noqa: PT017 (both outcomes are allowed)
            return
    accepted, rejected = set(log.frame["row"]), set(log.rejects["row"])
    assert log.rows_read == len(accepted) + len(rejected)
    assert not accepted & rejected
    if not any(c in t for _, _, t in changes for c in '"\r\n'):
        last = ",".join(lines[-1])
        assert log.rows_read in ((20,) if cut < len(last) else (19, 20))

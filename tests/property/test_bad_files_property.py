"""Files that are no good: refused with a clear error, or every row accepted or refused. Invented.

Outside: openpyxl, pyarrow and zipfile make the files; ISO 639-3 and the calendar are planted truth.
"""

import itertools
import tempfile
import time
import zipfile
from functools import cache
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from farhear.errors import InputError
from farhear.layouts import Layout, read_layout, write_layout
from farhear.log import read_log
from farhear.schedule import read_schedule
from farhear.scoring import read_checks
from farhear.sites import read_sites
from farhear.station import read_station

SCHEDULE = (
    "freq_khz,start_utc,stop_utc,days,broadcaster,tx_lat_deg,tx_lon_deg,power_kw,language,notes\n"
    "9505,1800,1900,daily,Radio Belmorant,58.4,26.7,100,eng,a\n"
    "6070,2330,0045,mon-fri,Noverrin External,-3.5,19.25,250,est,b\n"
)
LOG = (
    "start_utc,end_utc,freq_khz,outcome,identity,sinpo,language,notes\n"
    "2026-11-25T18:00Z,2026-11-25T18:04:30Z,6070,heard,Radio Belmorant,34333,eng,a\n"
    "2026-11-25T19:00Z,2026-11-25T19:04Z,9505,not_heard,Noverrin External,,,b\n"
)
SITES = "site,tx_lat_deg,tx_lon_deg,same_as\nHarvask,58.4,26.7,\nPelmarque,,,Harvask\n"
CHECKS = (
    "utc,freq_khz,tx_lat_deg,tx_lon_deg,rx_lat_deg,rx_lon_deg,heard\n"
    "2026-11-25T18:00Z,6070,40.5,19.25,58.4,26.7,1\n"
    "2026-11-25T19:00Z,9505,40.5,19.25,58.4,26.7,0\n"
)
STATION = 'name = "Invented"\nlat_deg = 58.4\nlon_deg = 26.7\ntime_zone = "Europe/Tallinn"\n'
LAYOUT = 'delimiter = ";"\nskip_lines = 2\n\n[positions]\nfreq_khz = [1, 5]\n'


def checks(path):
    return read_checks(path, power_kw=100.0)


TABLES = {
    "schedule": (read_schedule, SCHEDULE),
    "log": (read_log, LOG),
    "sites": (read_sites, SITES),
    "checks": (checks, CHECKS),
}
TOMLS = {"station": (read_station, STATION), "layout": (read_layout, LAYOUT)}


def outcome(reader, path):
    """What came of it; any other error than ours, and any warning, ends the test."""
    before = path.read_bytes()
    try:
        table = reader(path)
    except InputError as refused:
        assert len(str(refused)) < 2000  # noqa: PT017 (both outcomes are allowed)
        return None
    finally:
        assert path.read_bytes() == before
    if hasattr(table, "rows_read"):
        accepted, rejected = set(table.frame["row"]), set(table.rejects["row"])
        assert table.rows_read == len(table.frame) + table.rows_rejected
        assert len(accepted) == len(table.frame)
        assert not accepted & rejected
        assert set(table.rejects["reason"].str.len() > 0) <= {True}
    return table


@pytest.fixture(params=[*TABLES, *TOMLS])
def reader(request):
    return (TABLES | TOMLS)[request.param]


# Other encodings and junk -----------------------------------------------------------------------


def test_a_mark_and_other_line_ends_change_nothing(reader, tmp_path):
    read, text = reader
    path = tmp_path / "a.csv"
    path.write_bytes(text.encode())
    plain = read(path)
    frames = []
    for data in (
        b"\xef\xbb\xbf" + text.encode(),
        text.replace("\n", "\r\n").encode(),
        b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode(),
    ):
        path.write_bytes(data)
        frames.append(outcome(read, path))
    for other in frames:
        if hasattr(plain, "frame"):
            assert len(plain.frame) == plain.rows_read == 2
            pd.testing.assert_frame_equal(other.frame, plain.frame)
        else:
            assert other == plain


@pytest.mark.parametrize("suffix", [".csv", ".tsv", ".xlsx", ".parquet", ".adi", ".txt"])
@pytest.mark.parametrize(
    "encode",
    [
        lambda text: text.encode("utf-16"),
        lambda text: text.encode("utf-16-le"),
        lambda text: text.encode("utf-16-be"),
        lambda text: text.encode("utf-32"),
        lambda text: b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 4,
        lambda text: b"\x00" * 1000,
        lambda text: b"PK\x03\x04" + text.encode(),
        lambda text: b"PAR1" + text.encode() + b"PAR1",
        lambda text: b"%PDF-1.7\n" + text.encode(),
        lambda text: b"\xd0\xcf\x11\xe0" + text.encode(),
        lambda text: b"\xff" + text.encode(),
        lambda text: b"",
    ],
)
def test_junk_and_other_encodings_are_refused(reader, tmp_path, suffix, encode):
    read, text = reader
    path = tmp_path / f"a{suffix}"
    path.write_bytes(encode(text))
    if path.stat().st_size == 0 and read is read_layout:
        assert read(path) == Layout()
        return
    with pytest.raises(InputError, match=rf"^a\{suffix}") as fault:
        read(path)
    assert len(str(fault.value)) < 1000


def test_utf_16_is_read_when_it_is_named(tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes(SITES.encode("utf-16"))
    assert len(read_sites(path, encoding="utf-16")) == 2
    path.write_bytes(SITES.encode("utf-16-be"))
    assert len(read_sites(path, encoding="utf-16-be")) == 2


# Workbooks from inside --------------------------------------------------------------------------

SHEET = "xl/worksheets/sheet1.xml"


def parts_of(path):
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def packed(path, parts):
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in parts.items():
            archive.writestr(name, data)


# Large files ------------------------------------------------------------------------------------


def refused_soon(read, path, says, seconds=5.0):
    start = time.process_time()
    with pytest.raises(InputError, match=says):
        read(path)
    assert time.process_time() - start < seconds


def test_a_field_of_100_mb_is_refused(reader, tmp_path):
    read, text = reader
    path = tmp_path / "a.csv"
    with path.open("wb") as file:
        file.write(text.encode() + b'"')
        file.writelines(b"x" * 2**20 for _ in range(100))
    refused_soon(read, path, "larger than 64 MiB")


@pytest.mark.parametrize("end", ["", "\n", '"\n'])
@pytest.mark.parametrize("name", TABLES)
def test_a_field_within_the_size_of_a_file_is_refused_too(tmp_path, name, end):
    read, text = TABLES[name]
    path = tmp_path / "a.csv"
    for head in (text, ""):
        path.write_text(f'{head}"{"x" * 2**22}{end}')
        refused_soon(read, path, r"not CSV|too|is missing")
    path.write_text("x" * 2**22 + end)
    refused_soon(read, path, "not CSV")


def test_a_workbook_that_unpacks_to_1_gb_is_refused(tmp_path):
    path = made(tmp_path, "sites", ".xlsx")
    parts = parts_of(path)
    del parts[SHEET]
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
        with archive.open(SHEET, "w", force_zip64=True) as file:
            file.writelines(bytes(2**24) for _ in range(64))
    assert path.stat().st_size < 2**24
    refused_soon(read_sites, path, "unpacks to 1024 MiB", 1.0)


def test_a_sheet_of_entities_is_not_blown_up(tmp_path):
    path = made(tmp_path, "sites", ".xlsx")
    names = "abcdefghijkl"
    entities = "".join(f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in itertools.pairwise(names))
    xml = f'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">{entities}]><worksheet><sheetData><row><c>'
    xml += "<is><t>&l;</t></is></c></row></sheetData></worksheet>"
    packed(path, {**parts_of(path), SHEET: xml.encode()})
    refused_soon(read_sites, path, "is not a readable workbook")


# Cells ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("column", "text", "says"),
    [
        *((c, t, "not a finite number") for c in ("freq_khz", "power_kw") for t in ("NaN", "-inf")),
        ("power_kw", "-100", r"outside \(0, 2000\]"),
        ("tx_lat_deg", "91", "swapped"),
        ("tx_lat_deg", "=58+0.4", "not a number"),
        ("tx_lon_deg", "1e999", "not a finite number"),
        ("language", "ger", "no ISO 639-3 code; the code of that language is deu"),
        ("language", "qqq", "no ISO 639-3 code$"),
        ("language", "=A1", "not an ISO 639-3 code"),
        ("broadcaster", "x" * 81, "longer than 80"),
    ],
)
@pytest.mark.parametrize("suffix", [".csv", ".xlsx"])
def test_a_bad_cell_is_named(tmp_path, column, text, says, suffix):
    if suffix == ".xlsx" and text.startswith("="):
        says = "a formula"
    path = made(tmp_path, "schedule", suffix, {column: text})
    table = outcome(read_schedule, path)
    assert table.frame["row"].tolist() == [3]
    ((row, name, value, reason),) = table.rejects.to_numpy().tolist()
    assert (row, name) == (2, column)
    assert value == text or (len(text) > 80 and value == "x" * 77 + "...")
    assert pd.Series([reason]).str.contains(says).all()


def test_no_such_day_is_no_date(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text(LOG.replace("2026-11-25T18:00Z", "2027-02-31T18:00Z"))
    assert outcome(read_log, path).rejects["value"].tolist() == ["2027-02-31T18:00Z"]
    path.write_text(SCHEDULE.replace("notes", "valid_to").replace(",a\n", ",2027-02-31\n"))
    table = outcome(read_schedule, path)
    assert table.rejects.query("row == 2")["reason"].tolist() == ["no such day in the calendar"]


@pytest.mark.parametrize("text", ["=1+1", "@SUM(A1:A9)", "=cmd|' /C calc'!A0"])
def test_texts_that_a_spreadsheet_would_run_are_warned_of(tmp_path, text):
    says = "begins like a formula: a spreadsheet may run it"
    path = made(tmp_path, "log", ".csv", {"notes": text, "identity": f" {text}"})
    log = outcome(read_log, path)
    assert log.frame["notes"].tolist() == [text, "b"]
    assert log.warnings.to_numpy().tolist() == [
        [2, "identity", text, says],
        [2, "notes", text, says],
    ]
    path = made(tmp_path, "log", ".csv", {"notes": text, "outcome": "herd"})
    assert outcome(read_log, path).warnings.empty
    path = made(tmp_path, "log", ".csv", {"notes": "a = b @ c"})
    assert outcome(read_log, path).warnings.empty
    path = made(tmp_path, "schedule", ".csv", {"broadcaster": text})
    assert (2, "broadcaster", text, says) in set(
        read_schedule(path).warnings.itertuples(index=False, name=None)
    )


# Damaged files ----------------------------------------------------------------------------------


def rows_of(name, change):
    header, *lines = (line.split(",") for line in TABLES[name][1].splitlines())
    for column, text in change.items():
        lines[0][header.index(column)] = text
    return header, lines


def made(folder, name, suffix, change=None):
    """A small table of that suffix, its first row changed."""
    header, lines = rows_of(name, change or {})
    path = Path(folder) / f"a{suffix}"
    if suffix == ".xlsx":
        book = openpyxl.Workbook()
        for cells in (header, *lines):
            book.active.append(cells)
        book.save(path)
    elif suffix == ".parquet":
        pd.DataFrame(lines, columns=header).to_parquet(path)
    elif suffix == ".txt":
        width = {n: max(len(r[i]) for r in [header, *lines]) for i, n in enumerate(header)}
        ends, at = {}, 1
        for column, characters in width.items():
            ends[column] = (at, at + characters - 1)
            at += characters + 1
        path.write_text(
            "\n".join(
                " ".join(c.ljust(width[n]) for c, n in zip(r, header, strict=True))
                for r in (header, *lines)
            )
        )
        used = {n: e for n, e in ends.items() if name != "schedule" or n != "notes"}
        write_layout(Layout(skip_lines=1, positions=used), path)
    else:
        delimiter = "\t" if suffix == ".tsv" else ","
        path.write_text("".join(delimiter.join(r) + "\n" for r in (header, *lines)))
    return path


def adi():
    fields = "<QSO_DATE:8>20261125 <TIME_ON:4>1800 <TIME_OFF:4>1804 <FREQ:5>9.505 <CALL:3>ABC"
    return (f"invented <ADIF_VER:5>3.1.6 <EOH>\n{fields} <EOR>\n{fields} <EOR>\n").encode()


@cache
def whole(name, suffix):
    """Bytes of a good file, and its layout's."""
    if suffix == ".adi":
        return adi(), b""
    with tempfile.TemporaryDirectory() as folder:
        path = made(folder, name, suffix)
        beside = Path(f"{path}.layout.toml")
        return path.read_bytes(), beside.read_bytes() if beside.exists() else b""


FILES = [
    *((name, suffix) for name in TABLES for suffix in (".csv", ".xlsx", ".parquet")),
    *((name, ".txt") for name in ("schedule", "log", "sites")),
    *(("schedule", ".tsv"), ("log", ".tsv"), ("log", ".adi")),
]


@pytest.mark.parametrize(("name", "suffix"), FILES)
def test_the_good_files_are_good(tmp_path, name, suffix):
    data, beside = whole(name, suffix)
    path = tmp_path / f"a{suffix}"
    path.write_bytes(data)
    if beside:
        Path(f"{path}.layout.toml").write_bytes(beside)
    table = outcome(TABLES[name][0], path)
    assert (len(table.frame), table.rows_read) == (2, 2)


CHANGE = st.one_of(
    st.tuples(st.just("flip"), st.floats(0, 1), st.integers(0, 7)),
    st.tuples(st.just("cut"), st.floats(0, 1), st.integers(0, 30)),
    st.tuples(st.just("end"), st.floats(0, 1), st.just(0)),
    st.tuples(
        st.just("put"),
        st.floats(0, 1),
        st.binary(min_size=1, max_size=6)
        | st.sampled_from([b'"', b"\n", b"\r", b"\t", b",", b"\0", b"<EOR>", b"<A:9>", b"#", b"="]),
    ),
)


def damaged(data, changes):
    for kind, where, what in changes:
        at = int(where * max(len(data) - 1, 0))
        if kind == "flip" and data:
            data = data[:at] + bytes([data[at] ^ (1 << what)]) + data[at + 1 :]
        elif kind == "cut":
            data = data[:at] + data[at + what :]
        elif kind == "end":
            data = data[:at]
        elif kind == "put":
            data = data[:at] + what + data[at:]
    return data


@pytest.mark.parametrize(("name", "suffix"), FILES)
@settings(max_examples=25)
@given(changes=st.lists(CHANGE, min_size=1, max_size=4))
@example(changes=[("end", 0.5, 0)])
@example(changes=[("end", 1.0, 0)])
def test_a_damaged_table_loses_no_row_in_silence(name, suffix, changes):
    data, beside = whole(name, suffix)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"a{suffix}"
        path.write_bytes(damaged(data, changes))
        if beside:
            Path(f"{path}.layout.toml").write_bytes(beside)
        outcome(TABLES[name][0], path)


@pytest.mark.parametrize("name", TOMLS)
@settings(max_examples=100)
@given(changes=st.lists(CHANGE, min_size=1, max_size=4))
def test_a_damaged_toml_is_refused_or_read(name, changes):
    read, text = TOMLS[name]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.toml"
        path.write_bytes(damaged(text.encode(), changes))
        outcome(read, path)


@settings(max_examples=60)
@given(
    changes=st.lists(CHANGE, min_size=1, max_size=4),
    part=st.sampled_from([SHEET, "xl/workbook.xml", "xl/styles.xml", "[Content_Types].xml"]),
)
def test_a_workbook_damaged_inside_is_refused_or_read(changes, part):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.xlsx"
        path.write_bytes(whole("schedule", ".xlsx")[0])
        parts = parts_of(path)
        packed(path, {**parts, part: damaged(parts[part], changes)})
        outcome(read_schedule, path)


@pytest.mark.parametrize("head", ["a = " + "[" * 5000, "a = " + "9" * 5000, "a" + ".a" * 5000])
def test_toml_without_end_is_refused(tmp_path, head):
    path = tmp_path / "a.toml"
    path.write_text(head)
    for read in (read_layout, read_station):
        with pytest.raises(InputError, match=r"^a\.toml"):
            read(path)

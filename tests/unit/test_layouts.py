"""One list laid out in many ways is one schedule. All invented.

Outside: the files are made by openpyxl, pyarrow, pandas and csv, not by the package.
"""

import csv
import datetime as dt
import tempfile
import zipfile
from pathlib import Path

import openpyxl
import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl.worksheet.formula import ArrayFormula
from pyarrow import parquet

from farhear.errors import InputError
from farhear.layouts import Layout, read_layout, write_layout
from farhear.log import read_log
from farhear.schedule import read_schedule
from farhear.sites import read_sites

NAMES = (
    *("freq_khz", "start_utc", "stop_utc", "days", "valid_from", "valid_to", "broadcaster"),
    *("language", "site", "tx_lat_deg", "tx_lon_deg", "power_kw", "azimuth_deg"),
)
ROWS = (
    "9505 0930 1030 daily 2026-10-25 2027-03-28 Rädio_Belmorant eng Harvask 58.4 26.7 100 120/300",
    "6070 0000 2400 mon-fri 2026-10-25 2027-03-28 Noverrin_External est Pelmarque -3.5 19.25 2.5 0",
    "11615 2330 0045 sat 2026-12-01 2026-12-31 Noverrin_External deu Pelmarque -3.5 19.25 250 359",
)
TABLE = [[cell.replace("_", " ") for cell in row.split()] for row in ROWS]
START, STOP, FROM, TO = (NAMES.index(n) for n in NAMES if n.endswith(("_utc", "_from", "_to")))


def text_file(path, rows, delimiter=",", encoding="utf-8", header=NAMES):
    with path.open("w", encoding=encoding, newline="") as file:
        csv.writer(file, delimiter=delimiter).writerows([header, *rows] if header else rows)
    return path


def typed(rows=TABLE):
    """Numbers where a spreadsheet has numbers."""
    out = []
    for row in rows:
        new = list(row)
        for name in ("freq_khz", "tx_lat_deg", "tx_lon_deg", "power_kw"):
            value = float(row[NAMES.index(name)])
            new[NAMES.index(name)] = int(value) if value.is_integer() else value
        out.append(new)
    return out


def workbook(path, rows, header=NAMES, before=()):
    book = openpyxl.Workbook()
    for cells in (*before, header, *rows) if header else (*before, *rows):
        book.active.append(list(cells))
    book.save(path)
    return path


def day(text):
    return dt.datetime.fromisoformat(text)


def clock(text):
    """A time of day; 24:00 is a day in a sheet."""
    whole = dt.timedelta(days=1)
    return whole if text == "2400" else dt.time(int(text[:2]), int(text[2:]))


def with_cells(change):
    rows = typed()
    for row in rows:
        change(row)
    return rows


def hours_as_numbers(row):
    row[START], row[STOP] = int(row[START]), int(row[STOP])


def times_and_dates(row):
    row[START], row[STOP] = clock(row[START]), clock(row[STOP])
    row[FROM], row[TO] = day(row[FROM]), day(row[TO]).date()


@pytest.fixture
def want(tmp_path):
    schedule = read_schedule(text_file(tmp_path / "plain.csv", TABLE))
    assert schedule.frame["start_utc"].tolist() == ["0930", "0000", "2330"]
    assert schedule.frame["row"].tolist() == [2, 3, 4]
    return schedule.frame.drop(columns="row")


def same(schedule, want, rows=None):
    assert schedule.rejects.empty
    assert schedule.warnings.empty
    pd.testing.assert_frame_equal(schedule.frame.drop(columns="row"), want)
    if rows is not None:
        assert schedule.frame["row"].tolist() == rows


# The same schedule ------------------------------------------------------------------------------


def test_text_tables_give_one_schedule(tmp_path, want):
    same(read_schedule(text_file(tmp_path / "a.tsv", TABLE, "\t")), want)
    same(read_schedule(text_file(tmp_path / "a.TAB", TABLE, "\t")), want)
    theirs = ("kHz", "von", "bis", *NAMES[3:])
    path = text_file(tmp_path / "a.txt", TABLE, ";", "cp1252", theirs)
    (tmp_path / "a.txt.layout.toml").write_text(
        'encoding = "cp1252"\ndelimiter = ";"\n'
        '[columns]\nfreq_khz = "kHz"\nstart_utc = "von"\nstop_utc = "bis"\n'
    )
    same(read_schedule(path), want, [2, 3, 4])


def test_without_a_header_columns_have_numbers(tmp_path, want):
    how = Layout(columns={name: i for i, name in enumerate(NAMES, start=1)})
    path = text_file(tmp_path / "a.csv", TABLE, header=())
    same(read_schedule(path, layout=how), want, [1, 2, 3])
    sheet = workbook(tmp_path / "a.xlsx", typed(), header=())
    same(read_schedule(sheet, layout=how), want, [1, 2, 3])
    frame = pd.DataFrame(TABLE, columns=[f"x{i}" for i in range(len(NAMES))])
    frame.to_parquet(tmp_path / "a.parquet")
    same(read_schedule(tmp_path / "a.parquet", layout=how), want, [1, 2, 3])
    with pytest.raises(InputError, match=r"columns\['freq_khz'\] = 'column 99' is not in the"):
        read_schedule(path, layout=Layout(columns={**how.columns, "freq_khz": 99}))
    with pytest.raises(InputError, match="names one column of the file twice"):
        read_schedule(path, layout=Layout(columns={**how.columns, "freq_khz": 2}))


@pytest.mark.parametrize(
    "rows",
    [typed(), with_cells(hours_as_numbers), with_cells(times_and_dates), TABLE],
    ids=["texts", "930", "times", "all texts"],
)
def test_excel_gives_the_same_schedule(tmp_path, want, rows):
    same(read_schedule(workbook(tmp_path / "a.xlsx", rows)), want, [2, 3, 4])


def test_notes_blanks_and_other_sheets_of_a_workbook_do_not_matter(tmp_path, want):
    path = tmp_path / "a.xlsx"
    book = openpyxl.Workbook()
    book.active.append(["nothing here"])
    sheet = book.create_sheet("list")
    sheet.append(["# invented"])
    sheet.append([])
    for cells in (NAMES, *typed()):
        sheet.append([*cells, None, "  ", None])
        sheet.append([None, "", " "])
    book.save(path)
    same(read_schedule(path, layout=Layout(sheet="list")), want, [5, 7, 9])
    with pytest.raises(InputError, match="no sheet 'lits'; did you mean 'list'"):
        read_schedule(path, layout=Layout(sheet="lits"))
    with pytest.raises(InputError, match="a header but no rows"):
        read_schedule(path)
    skipped = workbook(tmp_path / "b.xlsx", typed(), before=[["a title"], ["another", "line"]])
    same(read_schedule(skipped, layout=Layout(skip_lines=2)), want, [4, 5, 6])


def rewritten(path, name, change):
    """The same archive with one of its texts changed."""
    with zipfile.ZipFile(path) as archive:
        parts = {entry: archive.read(entry) for entry in archive.namelist()}
    before = parts[name]
    parts[name] = change(before)
    assert parts[name] != before
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for entry, data in parts.items():
            archive.writestr(entry, data)
    return path


SHEET = "xl/worksheets/sheet1.xml"


def test_a_wrong_size_in_a_workbook_costs_no_row(tmp_path, want):
    path = workbook(tmp_path / "a.xlsx", typed())
    rewritten(path, SHEET, lambda xml: xml.replace(b'ref="A1:M4"', b'ref="A1:C2"'))
    same(read_schedule(path), want, [2, 3, 4])


def test_what_the_library_warns_of_is_no_fault(tmp_path, want):
    path = workbook(tmp_path / "a.xlsx", typed())
    extra = b'<extLst><ext uri="{INVENTED}"/></extLst></worksheet>'
    rewritten(path, SHEET, lambda xml: xml.replace(b"</worksheet>", extra))
    with pytest.warns(UserWarning, match="extension is not supported"):  # outside: it does warn
        openpyxl.load_workbook(path)
    same(read_schedule(path), want)


def test_rows_that_no_sheet_has_are_refused_at_once(tmp_path):
    path = workbook(tmp_path / "a.xlsx", typed())
    rewritten(path, SHEET, lambda xml: xml.replace(b'r="4"', b'r="2000000000"', 1))
    with pytest.raises(InputError, match="a row after 1048576"):
        read_schedule(path)


def test_formulas_and_errors_are_refused_with_their_place(tmp_path):
    rows = [*typed(), *typed(), *typed()]
    rows[1][NAMES.index("power_kw")] = "=100*2"
    rows[2][NAMES.index("azimuth_deg")] = "#REF!"
    rows[4][NAMES.index("power_kw")] = ArrayFormula("L6", "=SUM(A1:A2)")
    rows[5][FROM] = "#N/A"
    rows[6].append("#DIV/0!")
    path = workbook(tmp_path / "a.xlsx", rows, before=[["#DIV/0!", "=1+1"]])
    schedule = read_schedule(path)
    assert schedule.frame["row"].tolist() == [3, 6, 10, 11]
    assert schedule.rows_read == 9
    assert schedule.rejects.to_numpy().tolist() == [
        [4, "power_kw", "=100*2", "a formula; save the sheet with values"],
        [5, "azimuth_deg", "#REF!", "an error of the sheet"],
        [7, "power_kw", "=SUM(A1:A2)", "a formula; save the sheet with values"],
        [8, "valid_from", "#N/A", "an error of the sheet"],
        [9, "", "#DIV/0!", "an error of the sheet"],
    ]


def test_dates_that_are_none_are_refused_in_any_form(tmp_path):
    rows = typed()
    rows[0][FROM], rows[1][FROM] = 46320, dt.datetime(2026, 10, 25, 13, 0)  # noqa: DTZ001
    rows[2][START] = dt.time(9, 30, 15)
    schedule = read_schedule(workbook(tmp_path / "a.xlsx", rows))
    assert schedule.rejects[["row", "column", "value"]].to_numpy().tolist() == [
        [2, "valid_from", "46320"],
        [3, "valid_from", "2026-10-25T13:00:00"],
        [4, "start_utc", "09:30:15"],
    ]


def test_parquet_gives_the_same_schedule(tmp_path, want):
    frame = pd.DataFrame(typed(), columns=list(NAMES))
    frame["start_utc"] = frame["start_utc"].astype(int)
    frame["stop_utc"] = frame["stop_utc"].astype(int)
    frame["valid_from"] = pd.to_datetime(frame["valid_from"])
    frame.to_parquet(tmp_path / "a.parquet")
    same(read_schedule(tmp_path / "a.parquet"), want, [1, 2, 3])
    columns = {name: frame[name].tolist() for name in NAMES}
    columns["valid_from"] = [d.date() for d in columns["valid_from"]]
    columns["valid_to"] = [day(d).date() for d in columns["valid_to"]]
    table = pa.table(columns)
    power = pa.array(["100.00", "2.50", "250.00"]).cast(pa.decimal128(8, 2))
    table = table.set_column(NAMES.index("power_kw"), "power_kw", power)
    parquet.write_table(table, tmp_path / "b.parquet")
    same(read_schedule(tmp_path / "b.parquet"), want)


def test_null_in_parquet_is_empty(tmp_path):
    columns = dict(zip(NAMES, zip(*typed(), strict=True), strict=True))
    columns["azimuth_deg"] = [None, float("nan"), 359.0]
    columns["power_kw"] = [100, None, 250]
    parquet.write_table(pa.table(columns), tmp_path / "a.parquet")
    schedule = read_schedule(tmp_path / "a.parquet")
    assert schedule.frame["azimuth_deg"].isna().tolist() == [True, False]
    assert schedule.rejects.to_numpy().tolist() == [[2, "power_kw", "", "empty"]]


def fixed(path, rows, header="a list, invented\n\n", gap=" "):
    widths = [max(len(row[i]) for row in TABLE) for i in range(len(NAMES))]
    ends, at = {}, 1
    for name, width in zip(NAMES, widths, strict=True):
        ends[name] = (at, at + width - 1)
        at += width + len(gap)
    lines = [
        gap.join(c.ljust(w) for c, w in zip(row, widths, strict=True)).rstrip() for row in rows
    ]
    path.write_text(header + "\n".join(lines) + "\n", encoding="utf-8")
    return path, Layout(skip_lines=header.count("\n"), positions=ends)


def test_fixed_width_gives_the_same_schedule(tmp_path, want):
    path, how = fixed(tmp_path / "a.txt", TABLE)
    same(read_schedule(path, layout=how), want, [3, 4, 5])
    write_layout(how, path)
    same(read_schedule(path), want, [3, 4, 5])
    path.write_text(path.read_text("utf-8").replace("\n6070", "\n\n# note\n6070"), "utf-8")
    same(read_schedule(path), want, [3, 6, 7])


def test_fixed_width_tells_of_tabs_short_lines_and_text_between(tmp_path):
    path, how = fixed(tmp_path / "a.txt", TABLE)
    lines = path.read_text("utf-8").splitlines()
    lines[2] = lines[2][:5] + "x" + lines[2][6:]
    lines[3] = lines[3].replace(" ", "\t", 1)
    lines.append("9505")
    path.write_text("\n".join(lines), encoding="utf-8")
    schedule = read_schedule(path, layout=how)
    assert schedule.frame["row"].tolist() == [3, 5]
    assert schedule.rejects.query("row == 4")["reason"].tolist() == [
        "a tab: characters cannot be counted"
    ]
    short = schedule.rejects.query("row == 6")
    assert short["column"].tolist() == [*NAMES[1:4], "broadcaster", *NAMES[9:12]]
    assert set(short["reason"]) == {"empty"}
    assert schedule.warnings.to_numpy().tolist() == [
        [0, "", "", "line 3 has text outside the positions, character 6 ('x')"]
    ]
    with pytest.raises(InputError, match="no rows after 9 skipped lines"):
        read_schedule(path, layout=Layout(skip_lines=9, positions=how.positions))


def test_the_log_and_the_sites_look_for_a_layout_too(tmp_path):
    log = tmp_path / "log.txt"
    log.write_text("von|bis|kHz|was\n2026-11-25T20:30|2026-11-25T20:34|6070|yes\n")
    (tmp_path / "log.txt.layout.toml").write_text(
        'time_zone = "Europe/Tallinn"\ndelimiter = "|"\n'
        '[columns]\nstart_utc = "von"\nend_utc = "bis"\nfreq_khz = "kHz"\noutcome = "was"\n'
    )
    assert read_log(log).frame["start_utc"].tolist() == [pd.Timestamp("2026-11-25T18:30Z")]
    other = read_log(log, time_zone="UTC")
    assert other.frame["start_utc"].tolist() == [pd.Timestamp("2026-11-25T20:30Z")]
    sites = tmp_path / "sites.txt"
    sites.write_text("Harvask 58.4  26.7\n")
    how = Layout(positions={"site": (1, 7), "tx_lat_deg": (9, 13), "tx_lon_deg": (15, 18)})
    assert read_sites(sites, layout=how).place("harvask") == (58.4, 26.7)


# Layout files -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('delimeter = ";"', "unknown key 'delimeter'; did you mean 'delimiter'"),
        ("[positions]\na = [1, 5]\nb = [5, 9]", "positions of a and b overlap"),
        ("[positions]\na = [5, 4]", r"positions.a = \[5, 4\] is not \[first, last\]"),
        ("[positions]\na = [0, 4]", "is not .first, last"),
        ("[positions]\na = [1, 2, 3]", "is not .first, last"),
        ("[positions]\na = [1, true]", "is not .first, last"),
        ("positions = 3", "positions = 3 is not a table"),
        ("columns = []", "is not a table"),
        ('[columns]\na = "x"\nb = 2', "mixes names and numbers"),
        ("[columns]\na = 0", r"columns.a = 0 is outside \[1, 1000\]"),
        ("[columns]\na = 1.5", "neither a name nor a number"),
        ('[columns]\na = " "', "neither a name nor a number"),
        ("[columns]\na = 1\n[positions]\na = [1, 2]", "exclude each other"),
        ("encoding = 1252", "encoding = 1252 is not a text"),
        ('sheet = ""', "sheet = '' is not a text"),
        ("skip_lines = -1", "skip_lines = -1 is no whole number"),
        ("skip_lines = 1.0", "no whole number"),
        ("skip_lines = true", "no whole number"),
        ('delimiter = ";;"', "delimiter = ';;' is not one character"),
        ("delimiter = '\"'", "is not one character"),
        ("days = iso", "a.layout.toml is not TOML"),
        ("skip_lines = " + "9" * 5000, "is not TOML"),
        ("sheet = " + "[" * 2000, "is not TOML"),
        ("sheet = '\x01'", "control character"),
    ],
)
def test_a_faulty_layout_is_refused(tmp_path, text, says):
    path = tmp_path / "a.layout.toml"
    path.write_text(text)
    with pytest.raises(InputError, match=says) as fault:
        read_layout(path)
    assert str(fault.value).startswith("a.layout.toml")


@pytest.mark.parametrize("encoding", ["a\0b", "undefined", "hex", "no such", "unicode_escape"])
def test_an_encoding_that_is_none_is_refused(tmp_path, encoding):
    path = tmp_path / "a.csv"
    path.write_bytes(b"site,tx_lat_deg\nA\\z,1\n")
    with pytest.raises(InputError, match="is not known"):
        read_sites(path, encoding=encoding)


def test_a_caller_goes_before_the_layout(tmp_path, want):
    path = text_file(tmp_path / "a.csv", TABLE, ";", "cp1252")
    beside = tmp_path / "a.csv.layout.toml"
    beside.write_text('encoding = "utf-8"\ndelimiter = "|"\ndays = "sunday1"\nseason = "B26"\n')
    with pytest.raises(InputError, match="does not fit utf-8"):
        read_schedule(path)
    said = read_schedule(path, encoding="cp1252", delimiter=";", season="B26")
    same(said, want.assign(season=pd.Series(["B26"] * 3, dtype="str")))
    assert read_schedule(path, encoding="cp1252", delimiter=";", season="A27").season == "A27"
    day_one = [[*row[:3], "1", *row[4:]] for row in TABLE[:1]]
    text_file(path, day_one, "|")
    assert read_schedule(path).frame["days"].tolist() == ["7"]
    assert read_schedule(path, days="iso").frame["days"].tolist() == ["1"]
    assert read_schedule(path).season == "B26"
    with pytest.raises(InputError, match="day digits"):
        read_schedule(path, layout=Layout(delimiter="|"))


TEXT = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=12)
CELL = TEXT.filter(str.strip)
ENDS = st.lists(st.integers(1, 10_000), unique=True, max_size=12).map(
    lambda cuts: list(zip(sorted(cuts)[::2], sorted(cuts)[1::2], strict=False))
)
LAYOUT = st.fixed_dictionaries(
    {},
    optional={
        **dict.fromkeys(("days", "season", "sites", "time_zone", "encoding", "sheet"), TEXT),
        "delimiter": st.characters(exclude_categories=["Cs"], exclude_characters='"\r\n'),
        "skip_lines": st.integers(0, 10_000),
    },
)
SHAPE = st.one_of(
    st.builds(lambda names: {"columns": names}, st.dictionaries(TEXT, CELL, max_size=5)),
    st.builds(
        lambda names: {"columns": names}, st.dictionaries(TEXT, st.integers(1, 1000), max_size=5)
    ),
    st.builds(lambda ends: {"positions": {f"c {e[0]}": e for e in ends}}, ENDS),
)


@settings(max_examples=150)
@given(said=LAYOUT, shape=SHAPE)
def test_a_layout_is_read_as_it_was_written_and_never_replaced(said, shape):
    layout = Layout(**said, **shape)
    with tempfile.TemporaryDirectory() as folder:
        path = write_layout(layout, Path(folder) / "list.txt")
        assert path.name == "list.txt.layout.toml"
        before = path.read_bytes()
        assert read_layout(path) == layout
        with pytest.raises(FileExistsError):
            write_layout(Layout(sheet="other"), Path(folder) / "list.txt")
        assert path.read_bytes() == before


def test_half_a_character_leaves_no_file(tmp_path):
    with pytest.raises(InputError, match="half a character"):
        write_layout(Layout(sheet="\ud800"), tmp_path / "list.txt")
    assert not list(tmp_path.iterdir())

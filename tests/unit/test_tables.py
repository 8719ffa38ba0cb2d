"""The reader base: every row is accepted or rejected with a reason."""

import hashlib
import io

import pandas as pd
import pytest

from farhear import layouts, tables
from farhear.errors import InputError

COLUMNS = (
    tables.Column("place", tables.plain_text(10)),
    tables.Column("height_km", tables.number(0.0, 9.0), required=False, needed=False, empty=-1.0),
    tables.Column("day", tables.calendar_date, required=False, needed=False),
)


def read(tmp_path, content, **options):
    path = tmp_path / "table.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    cells = layouts.read_cells(path, **options)
    frame, rejects, warnings = tables.parse_cells(cells, COLUMNS)
    return tables.Table(
        frame=frame,
        rejects=rejects.frame(),
        warnings=warnings.frame(),
        rows_read=len(cells.rows),
        source=cells.source,
        sha256=cells.sha256,
    )


def test_rows_are_counted_like_a_text_editor(tmp_path):
    text = "# note\n\nplace,height_km,day\nA,1,2025-01-31\n\nB,12,2025-02-29\nC,,\n"
    table = read(tmp_path, text)
    assert table.frame["row"].tolist() == [4, 7]
    assert table.frame["height_km"].tolist() == [1.0, -1.0]
    assert table.rejects["row"].tolist() == [6, 6]
    assert table.rejects["column"].tolist() == ["height_km", "day"]
    assert table.rejects["value"].tolist() == ["12", "2025-02-29"]
    assert table.rejects["reason"].tolist() == ["outside [0, 9]", "no such day in the calendar"]
    assert (table.rows_read, table.rows_rejected) == (3, 1)
    assert table.sha256 == hashlib.sha256(text.encode()).hexdigest()
    assert table.source == "table.csv"


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends_and_byte_order_mark(tmp_path, end):
    text = end.join(["place,height_km", "Tartu,0.1", "Võru,bad"])
    table = read(tmp_path, b"\xef\xbb\xbf" + text.encode())
    assert table.frame["place"].tolist() == ["Tartu"]
    assert table.rejects["row"].tolist() == [3]


def test_other_encoding_names_byte_and_place_and_then_works(tmp_path):
    content = "place\nTartu\nVõru\n".encode("cp1252")
    with pytest.raises(
        InputError, match=r"0xF5 at offset 13 \(line 3, byte 2\).*encoding='cp1252'"
    ):
        read(tmp_path, content)
    assert read(tmp_path, content, encoding="cp1252").frame["place"].tolist() == ["Tartu", "Võru"]


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "empty: no header"),
        (b"\n# only a note\n", "empty: no header"),
        (b"place,height_km\nA,\x001\n", r"NUL byte at offset 18 \(line 2\)"),
        (b"place\nA\x07\n", "control character 0x07 in line 2"),
        (b"PK\x03\x04rest", "zip archive or a spreadsheet"),
        ("place\nA\n".encode("utf-16"), "encoding='utf-16'"),
        (b"place,day,place\nA,,B\n", r"'place' twice \(columns 1 and 3\)"),
        (b"place,,day\n", "column 2 of the header has no name"),
        (b"plac,day\nA,\n", "'place' is missing; did you mean 'plac'"),
        (b"place;day\nA;\n", "say delimiter=';'"),
        (b'place\nA\n"B\nC\n', "starts in line 3 is not CSV"),
    ],
)
def test_unreadable_files_are_refused(tmp_path, content, message):
    with pytest.raises(InputError, match=message):
        read(tmp_path, content)


def test_ragged_rows_and_stray_quotes_are_rejected(tmp_path):
    table = read(tmp_path, 'place,height_km\nA,1,2\nB\n"C\nD",1\nE,2\n')
    assert table.frame["place"].tolist() == ["E"]
    assert table.rejects["row"].tolist() == [2, 3, 4]
    assert table.rejects["reason"].tolist() == [
        "3 cells where the header has 2",
        "1 cells where the header has 2",
        "a quoted cell runs over lines 4 to 5",
    ]
    assert table.rows_read == 4


@pytest.mark.parametrize("value", ["nan", "inf", "1e999", "1_0", "٣", "0x1", "1,5"])
def test_numbers_are_plain_decimals(tmp_path, value):
    table = read(tmp_path, f'place,height_km\nA,"{value}"\n')
    assert table.rejects["column"].tolist() == ["height_km"]


def test_columns_can_be_renamed_and_unused_ones_are_named(tmp_path):
    table = read(tmp_path, "Ort,heigth_km\nA,1\n", columns={"place": "Ort"})
    assert table.frame["place"].tolist() == ["A"]
    assert table.warnings["column"].tolist() == ["heigth_km"]
    assert table.warnings["reason"].tolist() == ["column is not used; did you mean 'height_km'?"]
    with pytest.raises(InputError, match="'Ord' is not in the header; did you mean 'Ort'"):
        read(tmp_path, "Ort\nA\n", columns={"place": "Ord"})


def test_size_limits_are_enforced(tmp_path, monkeypatch):
    monkeypatch.setattr(layouts, "MAX_ROWS", 2)
    with pytest.raises(InputError, match="more than 2 rows"):
        read(tmp_path, "place\nA\nB\nC\n")
    monkeypatch.setattr(tables, "MAX_BYTES", 4)
    with pytest.raises(InputError, match="larger than"):
        read(tmp_path, "place\nA\n")


def test_the_file_is_not_changed(tmp_path):
    path = tmp_path / "table.csv"
    path.write_text("place\nA\n")
    before = (path.read_bytes(), path.stat().st_mtime_ns)
    tables.parse_cells(layouts.read_cells(path), COLUMNS)
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before


@pytest.mark.parametrize(
    ("data", "place"),
    [
        (b"\xff", "offset 0 (line 1, byte 1)"),
        (b"\n\xff", "offset 1 (line 2, byte 1)"),
        (b"a,b\n1,\xff\n", "offset 6 (line 2, byte 3)"),
    ],
)
def test_a_byte_that_does_not_fit_is_placed(data, place):
    with pytest.raises(InputError) as caught:
        tables.decode(data, "a.csv")
    assert f"byte 0xFF at {place} does not fit UTF-8" in str(caught.value)


def test_texts_of_a_table_for_others_are_guarded_and_its_numbers_are_not():
    frame = pd.DataFrame({"a": ["=1+1", "-2.5", None], "n": [-1.5, -2.0, 3.0]})
    text = tables.csv_text(frame)
    assert text == "a,n\n'=1+1,-1.5\n-2.5,-2.0\n,3.0\n"
    back = tables.frame_of(io.BytesIO(text.encode()), "table.csv")
    assert back["a"].tolist()[0] == "=1+1"

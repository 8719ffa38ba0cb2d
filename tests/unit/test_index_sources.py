"""Files of indices by two providers, the smoothing by hand, and the download."""

import ast
import datetime as dt
import errno
import importlib.util
import os
import socket
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import farhear
from farhear import InputError, indices

KP = [f"kp_{hour:02d}" for hour in range(0, 24, 3)]
AP = [f"ap_{hour:02d}" for hour in range(0, 24, 3)]

# Source: the daily text of GFZ Potsdam, columns and rows as published there (read in a public copy
# of 2026-01-07; Kp and ap CC BY 4.0, Matzka et al. 2021). The sunspot number is put to -1, missing:
# its licence is another one.
GFZ_NAMES = (
    "#YYY MM DD  days  days_m  Bsr dB    Kp1    Kp2    Kp3    Kp4    Kp5    Kp6    Kp7    Kp8"
    "  ap1  ap2  ap3  ap4  ap5  ap6  ap7  ap8    Ap  SN F10.7obs F10.7adj D"
)
GFZ_HEAD = f"# LICENSE: CC BY 4.0\n#\n# The parameters in each line are:\n{GFZ_NAMES}\n"
GFZ_1932 = (
    "1932 01 01     0     0.5 1352 10  3.333  2.667  2.333  2.667  3.333  2.667  3.333  3.333"
    "   18   12    9   12   18   12   18   18    15  -1     -1.0     -1.0 2\n"
)
GFZ_1989 = (
    "1989 03 13 20891 20891.5 2126  3  6.000  7.667  8.667  8.333  8.333  8.333  8.667  9.000"
    "   80  179  300  236  236  236  300  400   246  -1    256.0    253.0 2\n"
    "1989 03 14 20892 20892.5 2126  4  9.000  7.667  7.667  5.667  5.000  5.333  7.667  7.333"
    "  400  179  179   67   48   56  179  154   158  -1    266.7    263.8 2\n"
)
GFZ_2025 = (
    "2025 07 06 34155 34155.5 2617 10  3.667  5.000  3.000  3.333  3.000  1.667  3.000  5.000"
    "   22   48   15   18   15    6   15   48    23  -1    118.2    122.2 1\n"
    "2025 12 31 34333 34333.5 2623 26  2.000  1.333  2.000  1.667  3.333  1.000  1.000  1.333"
    "    7    5    7    6   18    4    4    5     7  -1    170.5    164.8 0\n"
    "2026 01 02 34335 34335.5 2624  1  3.000  4.000  3.333  2.333  3.667  3.333  5.000  4.333"
    "   15   27   18    9   22   18   48   32    24  -1    166.0    160.5 0\n"
)
GFZ = GFZ_HEAD + GFZ_1932 + GFZ_1989 + GFZ_2025

# Source: the header of CelesTrak's CSV, as in its file in satkit-data 0.9.0.
CSV_HEAD = (
    "DATE,BSRN,ND,KP1,KP2,KP3,KP4,KP5,KP6,KP7,KP8,KP_SUM,AP1,AP2,AP3,AP4,AP5,AP6,AP7,AP8,AP_AVG,"
    "CP,C9,ISN,F10.7_OBS,F10.7_ADJ,F10.7_DATA_TYPE,F10.7_OBS_CENTER81,F10.7_OBS_LAST81,"
    "F10.7_ADJ_CENTER81,F10.7_ADJ_LAST81\n"
)


def csv_row(day, kp="33,30,27,23,20,17,13,10", flux="150.1,149.9", kind="OBS"):
    ap = "18,15,12,9,7,6,5,4,10" if kp.strip(",") else "," * 8
    return f"{day},2600,1,{kp},173,{ap},0.5,2,,{flux},{kind},1,2,3,4\n"


def read(tmp_path, content, name="theirs.txt"):
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    table = indices.read_indices(path)
    assert table.accepted_count + table.rejects["row"].nunique() == table.read_count
    assert table.frame.columns.tolist() == indices.load_indices().frame.columns.tolist()
    return table


def refused(table):
    return list(table.rejects[["row", "column", "value"]].itertuples(index=False, name=None))


# GFZ ----------------------------------------------------------------------------------------------


def test_rows_of_the_one_provider_agree_with_the_table_of_the_other(tmp_path):
    """What GFZ publishes against the shipped table, which came by way of CelesTrak.

    To the last bit where Kp was definitive. The two days of preliminary Kp were published some
    weeks before the shipped table: the flux is the same, Kp may have been revised by a third.
    """
    table = read(tmp_path, GFZ_HEAD + GFZ_1989 + GFZ_2025)
    assert (table.read_count, table.accepted_count) == (5, 5)
    ours = table.frame
    shipped = indices.load_indices().frame
    shipped = shipped[shipped["date"].isin(ours["date"])].reset_index(drop=True)
    flux = ["date", "f107_obs_sfu", "f107_adj_sfu", "status"]
    pd.testing.assert_frame_equal(ours[flux], shipped[flux], check_exact=True)
    values = [*KP, *AP, "ap"]
    definitive = ours["source"].str.endswith("definitive")
    assert definitive.tolist() == [True, True, True, False, False]
    pd.testing.assert_frame_equal(
        ours.loc[definitive, values], shipped.loc[definitive, values], check_exact=True
    )
    assert (ours[KP] - shipped[KP]).abs().to_numpy().max() < 0.34
    assert table.kp_at("1989-03-13T23:59Z") == 9.0
    assert table.kp_at("2025-07-06T00:00Z") == 11 / 3


def test_gfz_missing_values_status_and_source(tmp_path):
    part = (
        GFZ_2025.splitlines()[-1].replace("4.333  ", "-1.000  ").replace("  32    24", "  -1    -1")
    )
    table = read(
        tmp_path, GFZ_HEAD + GFZ_1932 + GFZ_2025 + part.replace("01 02 34335", "01 03 34336")
    )
    frame = table.frame
    assert frame["status"].tolist() == ["observed"] * 5
    assert frame["source"].tolist() == [
        "GFZ daily text, Kp definitive",  # 2
        "GFZ daily text, Kp definitive",  # 1
        *["GFZ daily text, Kp preliminary"] * 3,  # 0
    ]
    assert frame.loc[0, ["f107_obs_sfu", "f107_adj_sfu"]].isna().all()  # none before 1947
    assert frame.loc[0, KP].tolist() == [10 / 3, 8 / 3, 7 / 3, 8 / 3, 10 / 3, 8 / 3, 10 / 3, 10 / 3]
    assert frame.loc[0, [*AP, "ap"]].tolist() == [18, 12, 9, 12, 18, 12, 18, 18, 15]
    assert frame.loc[4, [*KP, *AP, "ap"]].isna().to_numpy().nonzero()[0].tolist() == [7, 15, 16]
    with pytest.raises(InputError, match="no Kp"):
        table.kp_at("2026-01-03T21:00Z")
    assert any("GFZ" in text and "CC BY 4.0" in text for text in table.credits)
    assert any("DRAO" in text for text in table.credits)
    assert not any("CelesTrak" in text for text in table.credits)


def test_gfz_faults_are_named_by_line_and_column(tmp_path):
    row = GFZ_2025.splitlines()[0]
    bad = [
        row.replace("2025 07 06", "2025 02 31"),  # 5
        row,  # 6, good
        row,  # 7, twice
        row.replace("07 06 34155", "07 07 34155"),  # 8, of another day
        row.replace("07 06 34155", "07 07 34156").replace("3.667", "3.500"),  # 9
        row.replace("07 06 34155", "07 08 34157").replace("118.2", "39.9").replace(" 48 ", "401"),
        row.replace("07 06 34155", "07 09 34158")[:-1] + "3",  # 11
        row.replace("2025 07 06", "2025 0x 06"),  # 12
        row.replace("07 06 34155", "07 10 34159")[:-2],  # 13, cut off
    ]
    table = read(tmp_path, GFZ_HEAD + "\n".join(bad))
    assert (table.read_count, table.accepted_count) == (9, 1)
    assert refused(table) == [
        (5, "DD", "2025 02 31"),
        (7, "date", "2025-07-06"),
        (8, "days", "34155"),
        (9, "Kp1", "3.500"),
        (10, "ap2", "401"),
        (10, "ap8", "401"),
        (10, "F10.7obs", "39.9"),
        (11, "D", "3"),
        (12, "MM", "0x"),
        (13, "", "2025"),
    ]
    reasons = table.rejects["reason"].tolist()
    assert reasons[0] == "no such day in the calendar"
    assert reasons[1] == "stands already in row 6"
    assert reasons[2] == "2025-07-07 is 34156 days after 1932-01-01"  # 34155 + 1
    assert reasons[-1] == "27 cells where the header has 28"


def test_comments_blank_lines_and_line_ends_are_not_rows(tmp_path):
    text = (GFZ_HEAD + "\n" + GFZ_1989 + "# a note\n\n" + GFZ_2025).replace("\n", "\r\n")
    table = read(tmp_path, b"\xef\xbb\xbf" + text.encode())
    assert (table.read_count, table.accepted_count) == (5, 5)
    assert read(tmp_path, GFZ_1989).accepted_count == 2  # without its comments: told by the rows
    assert read(tmp_path, GFZ_HEAD).read_count == 0


# CelesTrak ----------------------------------------------------------------------------------------


def test_the_real_file_of_the_provider_gives_the_shipped_table():
    spec = importlib.util.find_spec("satkit_data")
    if spec is None or spec.origin is None:
        pytest.skip("satkit-data is not installed")
    table = indices.read_indices(Path(spec.origin).parent / "data" / "SW-All.csv")
    shipped = indices.load_indices()
    assert table.rejects.empty
    assert table.read_count == shipped.read_count == 25214
    theirs, ours = table.frame, shipped.frame
    pd.testing.assert_frame_equal(
        theirs.drop(columns="source"), ours.drop(columns="source"), check_exact=True
    )
    assert [text.split(", ")[1] for text in theirs["source"]] == [
        text.split(", ")[1] for text in ours["source"]
    ]
    assert table.credits == shipped.credits == indices.CREDITS
    assert table.coverage == shipped.coverage
    when = ["1989-03-20T00:00Z", "2025-12-01T00:00Z", "2030-01-01T00:00Z"]
    for here, there in zip(
        table.f107_12month_sfu(when), shipped.f107_12month_sfu(when), strict=True
    ):
        assert here.tolist() == there.tolist()


def test_celestrak_types_become_statuses(tmp_path):
    rows = [
        csv_row("2025-01-01"),
        csv_row("2025-01-02", kind="INT"),
        csv_row("2025-01-03", kp="22,35,13,24,20,46,27,47", kind="PRD"),
        csv_row("2025-02-01", kp="," * 7, kind="PRM"),
    ]
    frame = read(tmp_path, CSV_HEAD + "".join(rows)).frame
    assert frame["status"].tolist() == ["observed", "interpolated", "predicted", "predicted"]
    assert frame["source"].nunique() == 4
    assert frame["source"].str.startswith("CelesTrak CSV, ").all()
    assert frame.loc[0, KP].tolist() == [10 / 3, 3, 8 / 3, 7 / 3, 2, 5 / 3, 4 / 3, 1]
    # by hand: 2.2 is nearest to 2 1/3, 2.4 too, 4.6 to 4 2/3; 3.5 is as far from both of its thirds
    assert frame.loc[2, KP].tolist()[0] == 7 / 3
    assert frame.loc[2, KP].tolist()[2:] == [4 / 3, 7 / 3, 2, 14 / 3, 8 / 3, 14 / 3]
    assert frame.loc[3, [*KP, *AP, "ap"]].isna().all()
    assert frame["f107_obs_sfu"].tolist() == [150.1] * 4
    assert frame["f107_adj_sfu"].tolist() == [149.9] * 4


def test_celestrak_faults_are_named_by_line_and_column(tmp_path):
    rows = [
        csv_row("2025-02-31"),
        csv_row("2025-01-01"),
        csv_row("2025-01-01", flux="151,151"),
        csv_row("2025-01-02", kp="22,30,27,23,20,17,13,10"),  # no third, and measured
        csv_row("2025-01-03", kp="33,30,27,23,20,17,13,93"),
        csv_row("2025-01-04", kp="3.3,30,27,23,20,17,13,10"),
        csv_row("2025-01-05", kind="EST"),
        csv_row("2025-01-06", kind=""),
        csv_row("2025-01-07", flux="9" * 5000 + ",1"),
        csv_row("20250108"),
        csv_row("2025-01-09")[:60],  # cut off
    ]
    table = read(tmp_path, CSV_HEAD + "".join(rows))
    assert (table.read_count, table.accepted_count) == (11, 1)
    found = refused(table)
    assert [(row, column) for row, column, _ in found] == [
        (2, "DATE"), (4, "DATE"), (5, "KP1"), (6, "KP8"), (7, "KP1"), (8, "F10.7_DATA_TYPE"),
        (9, "F10.7_DATA_TYPE"), (10, "F10.7_OBS"), (10, "F10.7_ADJ"), (11, "DATE"), (12, ""),
    ]  # fmt: skip
    assert [value for _, _, value in found[:5]] == ["2025-02-31", "2025-01-01", "22", "93", "3.3"]
    assert len(found[7][2]) <= 80
    assert table.rejects.loc[1, "reason"] == "stands already in row 3"
    assert table.frame.loc[0, "f107_obs_sfu"] == 150.1  # the first of the two


# Own layout, and no layout ------------------------------------------------------------------------


def test_a_date_written_otherwise_is_refused(tmp_path):
    """ISO 8601 has 20200102 and 2020-W01-4 for 2020-01-02; as text they would not be its double."""
    rows = "date,f107_obs_sfu\n2020-01-02,100\n20200102,100\n2020-W01-4,100\n2020-01-03,1_00\n"
    table = read(tmp_path, "# mine\n" + rows)
    assert table.accepted_count == 1
    assert refused(table) == [
        (4, "date", "20200102"), (5, "date", "2020-W01-4"), (6, "f107_obs_sfu", "1_00"),
    ]  # fmt: skip
    assert table.credits == ()


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"<!DOCTYPE html>\n<html></html>\n", "web page.*<!DOCTYPE html>"),
        (GFZ.encode("utf-16"), "UTF-16"),
        (GFZ.encode("utf-16-le"), "NUL byte"),
        (GFZ.encode().replace(b"3.333", b"3.\x00\x003"), r"NUL byte at offset \d+ \(line 5\)"),
        (GFZ.encode().replace(b"3.333", b"3.\xff33"), "0xFF"),
        (bytes(range(256)) * 40, "not a text table"),
        (b"\x1f\x8b\x08\x00" + b"a" * 90, "gzip-compressed"),
        (b"date,f107_obs_sfu\n2020-01-01," + b"1" * 200_000 + b"\n", "line 2 is not CSV.*limit"),
        (b'date,f107_obs_sfu\n2020-01-01,"100\n', "line 2 is not CSV"),
        (CSV_HEAD.replace("KP3,", "").encode(), "'KP3' is missing"),
        (CSV_HEAD.replace("AP3", "AP2").encode(), "'AP2' stands twice"),
        (GFZ_HEAD.replace(" SN", "").encode() + GFZ_1989.encode(), "its columns are 'YYY MM DD"),
        (b"2024 05 10 01.5 2.667 12 2\n", "first row has 7 columns .* has 28: YYYY MM DD"),
        (b"# only a note\n", "column date is missing"),
        (b"x" * 5000, r"column date is missing; the header is 'x{200}\.\.\.'"),
    ],
)
def test_what_is_no_table_of_indices_is_refused(tmp_path, content, message):
    with pytest.raises(InputError, match=message) as caught:
        read(tmp_path, content)
    assert "theirs.txt" in str(caught.value)
    assert len(str(caught.value)) < 1000


def test_a_file_cut_anywhere_is_read_or_refused_but_never_fails_otherwise(tmp_path):
    for text in (GFZ, CSV_HEAD + csv_row("2025-01-01") + csv_row("2025-01-02")):
        for end in range(0, len(text), 7):
            try:
                table = read(tmp_path, text[:end])
            except InputError:
                continue
            assert table.read_count - table.accepted_count <= 1  # the row with the cut


def test_a_name_that_no_file_can_have():
    with pytest.raises(InputError, match="cannot be read"):
        indices.read_indices("a\0b")
    with pytest.raises(InputError, match="no file name"):
        indices.update("a\0b", url="http://127.0.0.1:1/")


# Smoothing ----------------------------------------------------------------------------------------


def test_thirteen_months_by_hand(tmp_path):
    """R12 = (0.5 m-6 + m-5 + ... + m+5 + 0.5 m+6) / 12, WDC-SILSO and ITU-R P.371, of any series.

    Months January 2020 to January 2021, unequal at the two ends so that a weight on the wrong one
    shows. By hand: 0.5 * 80 = 40; 100 + 104 + 98 + 110 + 121 + 117 + 130 + 126 + 119 + 125 + 133 =
    1283; 0.5 * 150 = 75; (40 + 1283 + 75) / 12 = 1398 / 12 = 116.5. The plain mean of 13 would be
    116.4, one whole end and none of the other 113.6 or 119.4.
    """
    means = [80, 100, 104, 98, 110, 121, 117, 130, 126, 119, 125, 133, 150]
    months = pd.period_range("2020-01", periods=13, freq="M")
    mean = dict(zip(months, means, strict=True))
    days = pd.date_range("2020-01-01", "2021-01-31")
    # two below and two above in turn; an odd day left over has the mean: the mean is exact
    offsets = [0 if d.day == d.days_in_month and d.day % 2 else (-2, 2)[d.day % 2] for d in days]
    rows = [
        f"{d:%Y-%m-%d},{mean[d.to_period('M')] + off}" for d, off in zip(days, offsets, strict=True)
    ]
    table = read(tmp_path, "date,f107_obs_sfu\n" + "\n".join(rows) + "\n", "mine.csv")
    monthly = table.monthly()
    assert monthly["f107_obs_sfu"].tolist() == means
    assert monthly["f107_12month_sfu"].notna().tolist() == [False] * 6 + [True] + [False] * 6
    assert monthly["f107_12month_sfu"].iloc[6] == pytest.approx(116.5, abs=1e-12)
    flux, status = table.f107_12month_sfu("2020-07-16T12:00Z")  # the middle of July
    assert (flux, status) == (pytest.approx(116.5, abs=1e-12), "observed")


# Download -----------------------------------------------------------------------------------------

OLD = GFZ_HEAD + GFZ_1989 + GFZ_2025.splitlines(keepends=True)[0]
OLDER = GFZ_HEAD + GFZ_1989


class Server(ThreadingHTTPServer):
    daemon_threads = False  # server_close waits for them, so that no socket is left open
    seen: list[tuple[str, str]]
    stop: threading.Event

    def handle_error(self, request, client_address):
        """A client that went away is what several tests are about."""


class Handler(BaseHTTPRequestHandler):
    server: Server

    def log_message(self, *args):
        """Keep quiet."""

    def send(self, body, status=200, length=None, **headers):
        self.send_response(status)
        if length != "none":
            self.send_header("Content-Length", str(len(body) if length is None else length))
        for name, value in headers.items():
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(body)

    def do_GET(self):
        self.server.seen.append((self.path, self.headers["User-Agent"]))
        new = GFZ.encode()
        match self.path:
            case "/new":
                self.send(new)
            case "/csv":
                self.send((CSV_HEAD + csv_row("2025-07-06")).encode())
            case "/moved":
                self.send(b"", 302, Location="/new")
            case "/loop":
                self.send(b"", 302, Location="/loop")
            case "/to-a-file":
                self.send(b"", 302, Location="file:///etc/hostname")
            case "/to-ftp":
                self.send(b"", 302, Location="ftp://127.0.0.1/x")
            case "/short":
                self.send(new[:-200], length=len(new))
            case "/short-unsaid":
                self.send(new[:-40], length="none")
            case "/chunk-cut":
                self.send_response(200)
                self.send_header("Transfer-Encoding", "chunked")
                self.end_headers()
                self.wfile.write(b"%x\r\n" % len(new) + new[:-200])
            case "/html":
                self.send(b"<!DOCTYPE html><html><body>Down for repair</body></html>")
            case "/prose":
                self.send(b"Down for repair\n")
            case "/empty":
                self.send(b"")
            case "/no-content":
                self.send(b"", 204)
            case "/gzip":
                self.send(b"\x1f\x8b\x08\x00" + b"a" * 50)
            case "/older":
                self.send(OLDER.encode())
            case "/no-flux":
                self.send((GFZ_HEAD + GFZ_1932).encode())
            case "/only-predicted":
                self.send((CSV_HEAD + csv_row("2030-01-01", kind="PRD")).encode())
            case "/huge":
                self.send(b"", length=64 * 2**20 + 1)
            case "/endless":
                self.send(b"", length="none")
                while not self.server.stop.is_set():
                    self.wfile.write(b"# and on\n" * 100_000)
            case "/silent":
                self.server.stop.wait(20.0)
            case "/stalls":
                self.send(new[:500], length=len(new))
                self.wfile.flush()
                self.server.stop.wait(20.0)
            case "/drips":
                self.send(b"", length=len(new))
                for byte in new:
                    self.wfile.write(bytes([byte]))
                    if self.server.stop.wait(0.02):
                        break
            case "/noise":
                self.wfile.write(b"\x00\x01\x02 what\r\n\r\n")
            case _:
                self.send(b"<html>no such page</html>", 404)


@pytest.fixture
def server(monkeypatch):
    monkeypatch.setenv("no_proxy", "*")
    with Server(("127.0.0.1", 0), Handler) as running:
        running.seen, running.stop = [], threading.Event()
        thread = threading.Thread(target=running.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        yield running
        running.stop.set()
        running.shutdown()
        thread.join()


def address(server, page):
    return f"http://127.0.0.1:{server.server_address[1]}{page}"


@pytest.mark.parametrize("page", ["/new", "/moved"])
def test_a_newer_file_takes_the_place(tmp_path, server, page):
    path = tmp_path / "theirs.txt"
    path.write_text(OLD)
    path.chmod(0o640)
    table = indices.update(path, url=address(server, page))
    assert path.read_bytes() == GFZ.encode()
    assert path.stat().st_mode & 0o777 == 0o640
    assert os.listdir(tmp_path) == ["theirs.txt"]  # noqa: PTH208
    pd.testing.assert_frame_equal(table.frame, indices.read_indices(path).frame)
    assert table.name == str(path)
    assert server.seen[-1] == ("/new", f"farhear/{farhear.__version__}")


def test_a_first_file_the_same_file_and_another_layout(tmp_path, server):
    path = tmp_path / "theirs.txt"
    assert indices.update(path, url=address(server, "/new")).accepted_count == 6
    assert indices.update(path, url=address(server, "/new")).accepted_count == 6  # not older
    path.write_text(OLD)
    table = indices.update(path, url=address(server, "/csv"))  # the same last day
    assert table.frame["source"].tolist() == ["CelesTrak CSV, measured"]
    path.write_text("")  # an empty file holds nothing to lose
    assert indices.update(path, url=address(server, "/older")).accepted_count == 2


def test_a_link_stays_a_link(tmp_path, server):
    (tmp_path / "far").mkdir()
    there, link = tmp_path / "far" / "theirs.txt", tmp_path / "link.txt"
    there.write_text(OLD)
    link.symlink_to(there)
    indices.update(link, url=address(server, "/new"))
    assert link.is_symlink()
    assert there.read_bytes() == GFZ.encode()
    assert os.listdir(there.parent) == ["theirs.txt"]  # noqa: PTH208


FAILURES = [
    ("/absent", "answers 404 'Not Found'"),
    ("/short", r"cut off, \d+ of \d+ bytes came"),
    ("/short-unsaid", r"cut off\? Its last row \(10\) cannot be read"),
    ("/chunk-cut", "cannot be fetched .*IncompleteRead"),
    ("/html", "web page"),
    ("/prose", "column date is missing; the header is 'Down for repair'"),
    ("/empty", "column date is missing"),
    ("/no-content", "answers 204"),
    ("/gzip", "gzip-compressed"),
    ("/older", "older; its last measured day is 1989-03-14, here it is 2025-07-06"),
    ("/no-flux", "not one day with a measured flux in 1 rows"),
    ("/only-predicted", "not one day with a measured flux in 1 rows"),
    ("/huge", "larger than 64 MiB"),
    ("/silent", "nothing came for 0.2 s|no answer within 0.2 s"),
    ("/stalls", "nothing came for 0.2 s"),
    ("/loop", "answers 302 .*infinite loop"),
    ("/to-a-file", "answers 302 .*not allowed"),
    ("/to-ftp", "cannot be fetched .*unknown url type: ftp"),
    ("/noise", "cannot be fetched .*BadStatusLine"),
    ("/a page", "cannot be fetched .*InvalidURL"),
]


@pytest.mark.parametrize(
    ("page", "message", "there"),
    [
        pytest.param(page, message, there, id=f"{page}-{'old file' if there else 'no file'}")
        for page, message in FAILURES
        for there in (True, False)
        if there or page != "/older"  # without an old file nothing is older
    ],
)
def test_after_a_failure_the_old_file_is_as_it_was(tmp_path, server, page, message, there):
    path = tmp_path / "theirs.txt"
    kept = "is kept as it was" if there else "nothing is written to"
    if there:
        path.write_text(OLD)
    with pytest.raises(InputError, match=message) as caught:
        indices.update(path, url=address(server, page), timeout_s=0.2)
    assert kept in str(caught.value)
    assert str(path) in str(caught.value)
    assert [(p.name, p.read_text()) for p in tmp_path.iterdir()] == [("theirs.txt", OLD)] * there


def test_a_server_that_drips_or_never_ends_is_left(tmp_path, server, monkeypatch):
    path = tmp_path / "theirs.txt"
    path.write_text(OLD)
    start = time.monotonic()
    with pytest.raises(InputError, match="too slow"):  # 1200 bytes every 0.02 s would take 24 s
        indices.update(path, url=address(server, "/drips"), timeout_s=0.1)
    assert 1.9 < time.monotonic() - start < 10.0  # 20 times 0.1 s
    monkeypatch.setattr("farhear._index_sources.MAX_BYTES", 2**20)
    with pytest.raises(InputError, match="larger than 1 MiB"):
        indices.update(path, url=address(server, "/endless"))
    assert path.read_text() == OLD


def test_nobody_listens(tmp_path, monkeypatch):
    monkeypatch.setenv("no_proxy", "*")
    path = tmp_path / "theirs.txt"
    path.write_text(OLD)
    with socket.socket() as taken:  # bound and not listening: refused, and nobody else gets it
        taken.bind(("127.0.0.1", 0))
        url = f"http://127.0.0.1:{taken.getsockname()[1]}/"
        with pytest.raises(InputError, match=r"cannot be fetched .*refused.*kept as it was"):
            indices.update(path, url=url, timeout_s=5.0)
    assert path.read_text() == OLD


@pytest.mark.parametrize(
    "url",
    ["file:///etc/hostname", "ftp://127.0.0.1/x", "data:text/plain,x", "x.txt", "", "http://",
     "http:///x", "http://[::1", "//127.0.0.1/x"],
)  # fmt: skip
def test_only_http_and_https(tmp_path, url, monkeypatch):
    monkeypatch.setattr(socket, "socket", None)  # whoever asks for one fails
    path = tmp_path / "theirs.txt"
    path.write_text(OLD)
    with pytest.raises(InputError, match=r"only an address http://.*kept as it was"):
        indices.update(path, url=url)
    assert path.read_text() == OLD


@pytest.mark.parametrize("timeout_s", [0.0, -1.0, float("nan"), float("inf"), 3601.0])
def test_the_timeout_has_a_range(tmp_path, timeout_s):
    with pytest.raises(InputError, match=r"timeout_s = .* is outside \(0, 3600\]"):
        indices.update(tmp_path / "x.txt", url="http://127.0.0.1:1/", timeout_s=timeout_s)


def test_a_file_that_is_no_table_of_indices_is_not_overwritten(tmp_path, server):
    path = tmp_path / "diary.txt"
    path.write_text("dear diary\n")
    with pytest.raises(InputError, match=r"column date is missing.*kept as it was"):
        indices.update(path, url=address(server, "/new"))
    assert path.read_text() == "dear diary\n"
    with pytest.raises(InputError, match="cannot be read"):
        indices.update(tmp_path, url=address(server, "/new"))
    with pytest.raises(InputError, match="there is no folder"):
        indices.update(tmp_path / "none" / "x.txt", url=address(server, "/new"))
    assert server.seen == []  # told before anything is fetched


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_full_disk_is_told_and_the_old_file_is_as_it_was(tmp_path, server, monkeypatch, step):
    path = tmp_path / "theirs.txt"
    path.write_text(OLD)

    def full(*args):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(*{"fsync": (os, "fsync"), "replace": (Path, "replace")}[step], full)
    with pytest.raises(OSError, match=r"No space left on device; .* is kept as it was") as caught:
        indices.update(path, url=address(server, "/new"))
    assert caught.value.errno == errno.ENOSPC
    assert [(p.name, p.read_text()) for p in tmp_path.iterdir()] == [("theirs.txt", OLD)]


def test_nothing_else_uses_the_network(tmp_path, monkeypatch):
    """Who can open a connection is imported in one function of the package, and reading is not it.

    By the syntax tree: the names imported from the network part of the standard library, and where.
    """
    network = {"urllib", "http", "socket", "ssl", "ftplib", "smtplib", "asyncio", "requests"}
    found = set()
    for file in Path(str(farhear.__file__)).parent.rglob("*.py"):
        tree = ast.parse(file.read_text(encoding="utf-8"))
        for scope in [tree, *(n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef))]:
            for node in scope.body:
                names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
                names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
                if {name.split(".")[0] for name in names} & network:
                    found.add((file.name, getattr(scope, "name", "")))
    assert found == {("_index_sources.py", "download")}
    monkeypatch.setattr(socket, "socket", None)
    assert read(tmp_path, GFZ).accepted_count == 6
    assert indices.load_indices.__wrapped__().accepted_count == 25214


def test_days_since_1932_as_published():
    # the two ends of the published rows above, by the calendar of the standard library
    for line in (GFZ_1932 + GFZ_1989 + GFZ_2025).splitlines():
        year, month, day, since = (int(text) for text in line.split()[:4])
        assert (dt.date(year, month, day) - dt.date(1932, 1, 1)).days == since
        assert np.isclose(float(line.split()[4]), since + 0.5)

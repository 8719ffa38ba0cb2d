"""Speed of the readers: ``python tests/bench/bench_readers.py``.

Peer: pandas reading the same file in the same process, all cells as text; it checks nothing.
"""

import csv
import datetime as dt
import random
import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path

import openpyxl
import pandas as pd
from _timing import best_s, row, size

from farhear.log import read_log
from farhear.schedule import read_schedule

SCHEDULE = (
    *("freq_khz", "start_utc", "stop_utc", "days", "valid_from", "valid_to"),
    *("broadcaster", "language", "site", "tx_lat_deg", "tx_lon_deg", "power_kw"),
    *("azimuth_deg", "antenna", "target"),
)
LOG = (
    "check_id",
    "start_utc",
    "end_utc",
    "freq_khz",
    "demod",
    "outcome",
    "identity",
    "sinpo",
    "language",
    "notes",
)


def broadcasts(n: int) -> list[list[str]]:
    draw = random.Random(4)
    rows = []
    for _ in range(n):
        hour = draw.randrange(24)
        rows.append(
            [
                str(5 * draw.randrange(1180, 4300)),
                f"{hour:02d}{draw.choice(('00', '30'))}",
                f"{(hour + 1 + draw.randrange(4)) % 24:02d}45",
                draw.choice(("daily", "12345", "67", "1")),
                "2026-10-25",
                "2027-03-28",
                draw.choice(("Radio Belmorant", "Noverrin External", "Radio Umbasani")),
                draw.choice(("eng", "est", "deu", "")),
                draw.choice(("Harvask", "Pelmarque")),
                f"{draw.uniform(-60.0, 70.0):.4f}",
                f"{draw.uniform(-180.0, 180.0):.4f}",
                draw.choice(("50", "100", "250", "500")),
                str(draw.randrange(360)),
                "HR 4/4/0.5",
                "27 28",
            ]
        )
    return rows


def checks(n: int) -> list[list[str]]:
    draw = random.Random(5)
    at = dt.datetime(2020, 1, 1, tzinfo=dt.UTC)
    rows = []
    for i in range(n):
        at += dt.timedelta(seconds=draw.randrange(300, 2400))
        heard = draw.random() < 0.4
        rows.append(
            [
                f"c{i}",
                f"{at:%Y-%m-%dT%H:%M:%SZ}",
                f"{at + dt.timedelta(seconds=240):%Y-%m-%dT%H:%M:%SZ}",
                str(5 * draw.randrange(1180, 4300)),
                "AM",
                "heard" if heard else "not_heard",
                "Radio Belmorant" if heard else "",
                "34333" if heard else "",
                "eng" if heard else "",
                f"invented note {i % 500}",
            ]
        )
    return rows


def write(path: Path, header: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([header, *rows])


def write_sheet(path: Path, header: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet("list")
    for cells in [header, *rows]:
        sheet.append(cells)
    book.save(path)


def main() -> None:
    n_log, n_list = size(100_000), size(20_000)
    print("one core, processor time, best of some runs")
    with tempfile.TemporaryDirectory() as folder:
        log, listed, sheet = (Path(folder) / name for name in ("log.csv", "list.csv", "list.xlsx"))
        write(log, LOG, checks(n_log))
        rows = broadcasts(n_list)
        write(listed, SCHEDULE, rows)
        write_sheet(sheet, SCHEDULE, rows)
        if len(read_log(log)) != n_log or len(read_schedule(listed, days="iso")) != n_list:
            raise AssertionError("a good row was refused")
        for name, n, ours, peer in (
            ("read_log", n_log, lambda: read_log(log), lambda: pd.read_csv(log, dtype=str)),
            (
                "read_schedule",
                n_list,
                lambda: read_schedule(listed, days="iso"),
                lambda: pd.read_csv(listed, dtype=str),
            ),
            (
                "read_schedule, Excel",
                n_list,
                lambda: read_schedule(sheet, days="iso"),
                lambda: pd.read_excel(sheet, engine="openpyxl", dtype=str),
            ),
        ):
            took, alone = best_s(ours, 3), best_s(peer, 3)
            row(f"{name}, rows", took, n, "pandas alone", alone / n)


if __name__ == "__main__":
    main()

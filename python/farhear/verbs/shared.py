"""What verbs share: options for the listener's files, tables on the screen, progress."""

from __future__ import annotations

import argparse
import contextlib
import re
import sys
from collections.abc import Callable, Iterator, Sequence
from functools import reduce
from importlib.resources import as_file, files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from rich import box
from rich.console import Console
from rich.progress import (
    BarColumn,
    MofNCompleteColumn,
    Progress,
    TextColumn,
    TimeRemainingColumn,
)
from rich.table import Table
from rich.text import Text

from farhear import tables
from farhear._files import put
from farhear.errors import InputError
from farhear.schedule import DAY_CONVENTIONS, Schedule, read_schedule
from farhear.station import Station, read_station

if TYPE_CHECKING:
    import pandas as pd

SHOWN_REASONS = 5
# what a terminal obeys instead of showing it: controls, line separators, and marks that turn the
# direction of the letters after them (Unicode Standard Annex 9, explicit formatting)
_OBEYED = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069]")
HOME = Path("station.toml")
_DEMO = files("farhear") / "data" / "demo"
_WIDE = 132


class Screen(Console):
    """Texts as they are, without markup; what a terminal would obey is spelt out."""

    def __init__(self, **more: Any) -> None:
        super().__init__(markup=False, highlight=False, **more)

    def render_str(self, text: str, **more: Any) -> Text:
        """Text to be printed, of whatever holds it: a line, a cell, a title."""
        return super().render_str(_OBEYED.sub(_spelt, text), **more)


def _spelt(found: re.Match[str]) -> str:
    return found[0].encode("unicode_escape").decode("ascii")


def add_station(parser: argparse.ArgumentParser) -> None:
    """Options for the home."""
    parser.add_argument("--demo", action="store_true", help="the invented home and broadcasters")
    parser.add_argument(
        "--station", type=Path, help=f"station file (TOML; default: {HOME} where it is)"
    )


def add_schedule(parser: argparse.ArgumentParser) -> None:
    """Options for lists of broadcasts."""
    parser.add_argument(
        "--schedule",
        type=Path,
        action="append",
        help="list of broadcasts (CSV, TSV, .xlsx, .parquet, or fixed width with a layout); may be "
        "given more than once",
    )
    parser.add_argument("--days", choices=DAY_CONVENTIONS, help="what day digits in the list mean")
    parser.add_argument("--season", help="season of the list, for example B25")
    parser.add_argument("--sites", type=Path, help="table of sites, for rows without coordinates")
    parser.add_argument("--encoding", help="encoding of the list if it is not UTF-8")
    parser.add_argument("--delimiter", help="between the list's cells (default: a comma)")
    parser.add_argument(
        "--as-if", action="store_true", help="use a list of another season as if it were valid"
    )


def add_log(parser: argparse.ArgumentParser, *, needed: bool = True) -> None:
    """The log, and how to read its times."""
    parser.add_argument(
        "log",
        type=Path,
        nargs=None if needed else "?",
        help="your log (CSV, TSV, .xlsx, .parquet, .adi)",
    )
    parser.add_argument(
        "--time-zone", help="zone of stamps without one, for example Europe/Tallinn"
    )


def home_if_any(options: argparse.Namespace) -> Station | None:
    """The home, where one is given, needed, or in the folder."""
    is_there = options.demo or options.station or options.schedule or HOME.exists()
    return station_of(options) if is_there else None


def lists_if_any(options: argparse.Namespace, season: str | None) -> Schedule | None:
    """Lists of broadcasts, where they are given; `season` is that of --demo and --as-if."""
    return schedule_of(options, season) if options.demo or options.schedule else None


def write_csv(table: pd.DataFrame, path: Path) -> None:
    """Write all of a table."""
    put(path, tables.csv_text(table).encode("utf-8"))


def station_of(options: argparse.Namespace) -> Station:
    """The home that the options name, the one in the folder, or that of the demonstration."""
    if options.demo:
        if options.station:
            raise InputError("--demo brings its own station and schedule; leave the two out")
        with as_file(_DEMO / "station.toml") as path:
            return read_station(path)
    if options.station is None and not HOME.exists():
        raise InputError("--station is missing (or say --demo)")
    return read_station(options.station or HOME)


def schedule_of(options: argparse.Namespace, season: str | None = None) -> Schedule:
    """All lists that the options name as one, or that of the demonstration.

    `season` is that of --as-if and --demo where the options name none.
    """
    if options.demo:
        if options.schedule:
            raise InputError("--demo brings its own station and schedule; leave the two out")
        return _demo_schedule(options.season or season or "B24")
    if not options.schedule:
        raise InputError("--schedule is missing (or say --demo)")
    whole = joined_lists(
        options.schedule,
        days=options.days,
        season=None if options.as_if else options.season,
        sites=options.sites,
        encoding=options.encoding,
        delimiter=options.delimiter,
    )
    if options.as_if:
        season = options.season or season
        if season is None:
            raise InputError("--as-if needs --season")
        whole = whole.as_if(season)
    return whole


def joined_lists(paths: Sequence[Path], **reading: Any) -> Schedule:
    """Several lists as one; how to read them as in :func:`farhear.schedule.read_schedule`."""
    return reduce(Schedule.joined, [read_schedule(path, **reading) for path in paths])


def _demo_schedule(season: str) -> Schedule:
    """The invented list of that half of the year, as if it were valid in that season."""
    from farhear import clock

    clock.season_span(season)  # refuses what is no season
    half = "A24" if season.upper().startswith("A") else "B24"
    with as_file(_DEMO / f"schedule_{half.lower()}.csv") as path:
        schedule = read_schedule(path, days="iso", season=half)
    return schedule if season == half else schedule.as_if(season)


def refuse(options: argparse.Namespace, names: Sequence[str], reason: str) -> None:
    """Refuse options that do not go with the others."""
    for name in names:
        if getattr(options, name) is not None:
            raise InputError(f"--{name.replace('_', '-')} {reason}")


@contextlib.contextmanager
def progress(what: str = "circuits") -> Iterator[Callable[[int, int], None]]:
    """Progress bar on the error stream, so that standard output stays clean."""
    if not sys.stderr.isatty():  # a bar that is only disabled ends with a newline before rich 14.3
        yield lambda done, total: None
        return
    bar = Progress(
        TextColumn(what),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=Console(stderr=True),
        transient=True,
    )
    with bar:
        task = bar.add_task(what, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def say_schedule(schedule: Schedule, out: Console, where: str = "") -> None:
    """How many rows were read, the first that were refused, and on what terms."""
    out.print(
        f"{schedule.source}: {schedule.rows_read} rows read, {len(schedule)} accepted, "
        f"{schedule.rows_rejected} refused, {len(schedule.warnings)} doubts{where}",
        soft_wrap=True,
    )
    say_faults(schedule, out)
    if schedule.note:
        out.print(f"Assumption: {schedule.note}.", soft_wrap=True)


def say_faults(table: tables.Table, out: Console) -> None:
    """The first reasons of refused rows."""
    for fault in table.rejects.head(SHOWN_REASONS).to_dict("records"):
        out.print(
            f"  line {fault['row']}, {fault['column'] or 'row'}: {fault['reason']}", soft_wrap=True
        )
    if len(table.rejects) > SHOWN_REASONS:
        out.print(f"  and {len(table.rejects) - SHOWN_REASONS} more")


def say_table(
    title: str,
    columns: Sequence[str],
    rows: Sequence[Sequence[str]],
    out: Console,
    *,
    shrink: str | None = None,
) -> None:
    """Print a table of texts.

    Where there is too little room the column `shrink` gives way; where no screen says how much
    there is, a table with such a column takes 132 characters.
    """
    if shrink is not None and not out.is_terminal:
        out = Screen(file=out.file, width=_WIDE)
    table = Table(
        title=title,
        title_justify="left",
        box=box.SIMPLE_HEAD,
        pad_edge=False,
        collapse_padding=True,
    )
    for at, name in enumerate(columns):
        least = None
        if shrink is not None and name != shrink:
            least = max(len(name), *(len(row[at]) for row in rows), 1)
        table.add_column(name, no_wrap=True, min_width=least)
    for row in rows:
        table.add_row(*row)
    out.print(table)


def interval(low: float, high: float, form: str = ".2f") -> str:
    """Both ends, nothing where they are not known."""
    return "" if np.isnan(low) else f"{low:{form}} to {high:{form}}"


def figure(value: float, form: str = ".2f") -> str:
    """A number, or a minus sign for what is not known."""
    return "-" if np.isnan(value) else f"{value:{form}}"

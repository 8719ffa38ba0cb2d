"""farhear log, check, report, cards: the listener's own book, from the check to the card."""

from __future__ import annotations

import argparse
import contextlib
import datetime as dt
import io
import re
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.console import Console

from farhear import clock, listen
from farhear._files import put
from farhear.cards import CARD_KINDS, SENT_BY
from farhear.errors import InputError
from farhear.log import Log, header_of, read_log, write_log
from farhear.tables import frequency_khz
from farhear.verbs.shared import (
    add_log,
    add_schedule,
    add_station,
    home_if_any,
    lists_if_any,
    say_faults,
    say_table,
    station_of,
    write_csv,
)

if TYPE_CHECKING:
    import pandas as pd

    from farhear.report import Report
    from farhear.schedule import Schedule
    from farhear.station import Station

_ANSWERS = {
    "h": "heard",
    "c": "carrier_only",
    "n": "not_heard",
    "b": "blocked",
    "s": "not_checked",
}
_HELP = (
    "Answer h heard, c carrier only, n not heard, b blocked, s not checked, q to stop.\n"
    "After h: a report code (34333), =2 for the second one expected (=2! if it was announced),\n"
    "or id:Name and a comma for another, then what you heard:\n"
    "h 34333 =1! 1803 news, 1809 folk song"
)
_WRITTEN = (
    *("session_id", "start_utc", "end_utc", "as_written", "freq_khz", "demod", "outcome"),
    *("identity", "id_basis", "id_confidence", "sinpo", "notes", "programme_notes", "setup_id"),
)
_SHORT_HELP = "Again: h, c, n, b, s, or q to stop. Nothing was noted here yet."
_CODE = re.compile(r"[0-9]{5}", re.ASCII)


def add(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Make the verbs known."""
    log = verbs.add_parser("log", help="note checks at the radio, one line each")
    log.set_defaults(run=_log)
    log.add_argument("log", type=Path, help="your log (CSV); made when it is not there")
    add_station(log)
    add_schedule(log)
    log.add_argument(
        "--channels", help="a round of channels in kHz, with commas; every other sitting backwards"
    )
    log.add_argument("--demod", choices=("AM", "USB", "LSB"), default="AM", help="mode (AM)")

    check = verbs.add_parser("check", help="look a log over: mistakes, doubts, and the clock")
    check.set_defaults(run=_check)
    add_log(check)
    add_station(check)
    add_schedule(check)
    check.add_argument("--rows", type=int, default=40, help="most findings on the screen (40)")
    check.add_argument("--csv", type=Path, help="all findings")
    check.add_argument(
        "--fix", type=Path, metavar="NEW", help="write a mended log, and NEW.changes.csv beside it"
    )

    report = verbs.add_parser("report", help="a reception report of one heard check")
    report.set_defaults(run=_report)
    add_log(report)
    add_station(report)
    report.add_argument("--row", type=int, required=True, help="line of the check in the log")
    report.add_argument("--listener", required=True, help="your name, or a pseudonym")
    report.add_argument("--reply-to", default="", help="address for the answer")
    report.add_argument("--place", help="where you heard it (default: a coarse locator)")
    report.add_argument("--remarks", default="", help="anything to add")
    report.add_argument("--out", type=Path, action="append", help="file, .txt or .pdf; repeatable")
    report.add_argument(
        "--cards", type=Path, help="table of reports and cards (CSV): note this one as sent"
    )
    report.add_argument("--sent-by", choices=SENT_BY, default=SENT_BY[0], help="(%(default)s)")
    report.add_argument("--sent-to", default="", help="address it goes to")
    report.add_argument("--sent-utc", help="instant (default: now)")

    cards = verbs.add_parser("cards", help="reports that wait for a card; a card that came")
    cards.set_defaults(run=_cards)
    cards.add_argument("cards", type=Path, help="table of reports and cards (CSV)")
    cards.add_argument("--came", metavar="REPORT_ID", help="the report that was answered")
    cards.add_argument("--kind", choices=CARD_KINDS, help="what came")
    cards.add_argument("--site", default="", help="transmitter site that it verifies")
    cards.add_argument("--when", help="instant it came (default: now)")


# Looking over -----------------------------------------------------------------------------------


def _check(options: argparse.Namespace, out: Console) -> None:
    from farhear import audit

    station = home_if_any(options)
    log = read_log(options.log, time_zone=options.time_zone, station=station)
    first = log.frame["start_utc"].min()
    schedule = lists_if_any(options, str(clock.season(first)) if first == first else None)
    found = audit.audit(log, schedule=schedule, station=station)
    out.print(f"{log.text()}.", soft_wrap=True)
    out.print(found.text(), soft_wrap=True)
    _say_findings(found.findings, max(0, options.rows), out)
    if schedule is None:
        out.print("With --schedule and --station the clock is checked, too.")
    if options.csv:
        write_csv(found.findings, options.csv)
    if options.fix:
        _fix(log, found, options.fix, out)


def _say_findings(findings: pd.DataFrame, most: int, out: Console) -> None:
    if not len(findings):
        out.print("Nothing to complain of.")
        return
    order = {"refused": 0, "clock": 1, "doubt": 2}
    ordered = findings.assign(_order=findings["kind"].map(order)).sort_values(
        ["_order", "row"], kind="stable"
    )
    for line in ordered.head(most).to_dict("records"):
        where = f"line {line['row']}" if line["row"] else "file"
        column = f", {line['column']}" if line["column"] else ""
        value = f" = {line['value']}" if line["value"] else ""
        out.print(f"{line['kind']}: {where}{column}{value}: {line['reason']}", soft_wrap=True)
    if len(ordered) > most:
        out.print(f"and {len(ordered) - most} more (--rows, or --csv for all)")


def _fix(log: Log, found: Any, path: Path, out: Console) -> None:
    from farhear import audit

    changes_path = path.with_name(f"{path.name}.changes.csv")
    for place in (path, changes_path):
        if place.exists():
            raise InputError(f"{place} is there already; --fix writes a new file")
    frame, changes = audit.fix(log, found)
    for note in write_log(frame, path):
        out.print(f"{note}.", soft_wrap=True)
    write_csv(changes, changes_path)
    rows = changes["row"].nunique()
    out.print(
        f"{path}: {len(frame)} checks, {rows} rows changed, each in {changes_path.name}; "
        f"{log.source} is as it was.",
        soft_wrap=True,
    )
    if log.rows_rejected:
        out.print(
            f"{log.rows_rejected} refused rows are not in it: mend them in {log.source} by hand."
        )


# At the radio -----------------------------------------------------------------------------------


def _log(options: argparse.Namespace, out: Console) -> None:
    _check_header(options.log)
    if isinstance(sys.stdin, io.TextIOWrapper):
        sys.stdin.reconfigure(errors="backslashreplace")  # no odd byte may end a sitting
    station, schedule = home_if_any(options), lists_if_any(options, str(clock.season(_now())))
    channels = _channels(options.channels) if options.channels else []
    sittings = listen.sittings_of(options.log)
    begin = _now()
    local = ""
    if station is not None:
        wall = clock.to_local(begin, station.time_zone).item()
        local = f", {wall:%a %d %b %H:%M} {station.time_zone}"
    out.print(
        f"Clock: {begin:%a %d %b %Y %H:%M} UTC{local}. Is it right? Check a time signal.",
        soft_wrap=True,
    )
    out.print(_HELP, soft_wrap=True)
    sitting = f"{begin:%Y%m%dT%H%M%SZ}"
    order = listen.round_order(channels, sittings) if channels else []
    noted = 0
    for number, khz in enumerate(order, start=1):
        if not _ask(options, out, khz, f"{number}/{len(order)} ", sitting, station, schedule):
            break
        noted += 1
    while not channels:
        text = _line("kHz, or q to stop: ")
        if text is None or text.lower() in ("q", ""):
            break
        try:
            khz = frequency_khz(text)
        except ValueError as fault:
            out.print(f"{text}: {fault}")
            continue
        if not _ask(options, out, khz, "", sitting, station, schedule):
            break
        noted += 1
    log = read_log(options.log) if options.log.exists() else None
    if log is None or not noted:
        out.print("Nothing was noted.")
        return
    mine = log.frame[log.frame["session_id"] == sitting]
    part = Log(frame=mine, rejects=log.rejects.iloc[:0], warnings=log.warnings, rows_read=len(mine))
    out.print(f"This sitting: {part.text()}.", soft_wrap=True)


def _check_header(path: Path) -> None:
    """Refuse a log in which no answer could be noted, before there is one."""
    if not path.exists() or path.stat().st_size == 0:
        return
    with path.open("rb") as file:
        header = header_of(file, ",")
    lacking = [name for name in _WRITTEN if name not in header]
    if lacking:
        raise InputError(
            f"{path.name}: the header has no {', '.join(lacking)}; add them (the cells may stay "
            "empty), or begin a new log"
        )


def _channels(text: str) -> list[float]:
    channels = []
    for part in text.split(","):
        try:
            channels.append(frequency_khz(part.strip()))
        except ValueError as fault:
            raise InputError(f"--channels: {part.strip()!r}: {fault}") from None
    return channels


def _now() -> dt.datetime:
    return dt.datetime.now(dt.UTC).replace(microsecond=0)


def _line(prompt: str) -> str | None:
    """One line from the keyboard, None at the end of the input and on Ctrl-C."""
    sys.stdout.write(prompt)
    sys.stdout.flush()
    try:
        text = sys.stdin.readline()
    except KeyboardInterrupt:  # what was answered is on the disk: say how much, as after q
        text = ""
    if not text:
        sys.stdout.write("\n")
    return text.strip() if text else None


def _ask(
    options: argparse.Namespace,
    out: Console,
    khz: float,
    count: str,
    sitting: str,
    station: Station | None,
    schedule: Schedule | None,
) -> bool:
    """Ask about one channel until there is an answer, and note it; False when it is to stop."""
    start = _now()
    names = []
    if station is not None and schedule is not None:
        for line in listen.expected(station, schedule, start, khz).to_dict("records"):
            names.append(line["broadcaster"])
            language = f" {line['language']}" if line["language"] else ""
            out.print(f"  {len(names)}: {line['broadcaster']}{language}, {line['likelihood']:.2f}")
    while True:
        text = _line(f"{count}{khz:g} kHz: ")
        if text is None or text.lower() == "q":
            return False
        try:
            outcome, columns = _answer(text, names)
            listen.note_check(
                options.log,
                khz,
                outcome,
                start=start,
                end=max(_now(), start),
                station=station,
                session_id=sitting,
                as_written=text,
                demod=options.demod,
                **columns,
            )
        except InputError as fault:
            out.print(f"{fault}", soft_wrap=True)
            out.print(_SHORT_HELP, soft_wrap=True)
            continue
        return True


def _answer(text: str, names: list[str]) -> tuple[str, dict[str, str]]:
    """Outcome and columns of one typed line."""
    first, _, rest = text.partition(" ")
    outcome = _ANSWERS.get(first.lower())
    if outcome is None:
        raise InputError(f"{first!r} is no answer")
    words = rest.split()
    columns: dict[str, str] = {}
    while words:
        word = words[0]
        if _CODE.fullmatch(word) and "sinpo" not in columns:
            columns["sinpo"] = word
        elif re.fullmatch(r"=[0-9]+!?", word) and "identity" not in columns:
            chosen = int(word.strip("=!"))
            if not 1 <= chosen <= len(names):
                raise InputError(f"{word}: {len(names)} are expected here")
            announced = word.endswith("!")
            columns["identity"] = names[chosen - 1]
            columns["id_basis"] = "announced" if announced else "schedule"
            columns["id_confidence"] = "sure" if announced else "tentative"
        elif word.startswith("id:") and "identity" not in columns:
            columns |= {"identity": rest[rest.index("id:") + 3 :].partition(",")[0].strip()}
            words = rest[rest.index("id:") + 3 :].partition(",")[2].split()
            break
        else:
            break
        words = words[1:]
    notes = " ".join(words)
    if notes:
        columns["programme_notes" if outcome == "heard" else "notes"] = notes
    if outcome in ("not_heard", "blocked", "carrier_only") and "identity" not in columns and names:
        columns["identity"] = names[0]  # who was looked for
    return outcome, columns


# Reports and cards ------------------------------------------------------------------------------


def _report(options: argparse.Namespace, out: Console) -> None:
    from farhear.cards import add_report
    from farhear.report import reception_report

    station = station_of(options)
    log = read_log(options.log, time_zone=options.time_zone)
    chosen = log.frame[log.frame["row"] == options.row]
    if chosen.empty:
        say_faults(log, out)
        raise InputError(f"{log.source} has no accepted check in line {options.row}")
    report = reception_report(
        chosen.iloc[0],
        station,
        listener=options.listener,
        reply_to=options.reply_to,
        place=options.place,
        remarks=options.remarks,
    )
    with _ready(report, options.out or ()) as files:
        if options.cards:
            key = add_report(
                options.cards,
                report,
                sent_utc=options.sent_utc or _now(),
                sent_by=options.sent_by,
                sent_to=options.sent_to,
            )
        for part, path in files:
            part.replace(path)
    out.print(report.text(), soft_wrap=True)
    for _, path in files:
        out.print(f"{path}: written")
    for warning in report.warnings:
        out.print(f"Doubt: {warning}.", soft_wrap=True)
    out.print("A report goes to a stranger: is this the name and address you want known?")
    if options.cards:
        out.print(f"{options.cards}: noted as {key}, sent by {options.sent_by}.")


@contextlib.contextmanager
def _ready(report: Report, paths: Sequence[Path]) -> Iterator[list[tuple[Path, Path]]]:
    """Files under temporary names, so that none is there when the report is refused after all."""
    for path in paths:
        if path.suffix.lower() not in (".txt", ".pdf"):
            raise InputError(f"{path.name} ends neither in .txt nor in .pdf")
        if path.is_dir():
            raise InputError(f"{path} is a folder")
    if len({path.absolute() for path in paths}) != len(paths):
        raise InputError("--out names a file twice")
    files = [(path.with_name(f".ready-{path.name}"), path) for path in paths]
    try:
        for part, path in files:
            if path.suffix.lower() == ".pdf":
                report.write_pdf(part)
            else:
                put(part, report.text().encode("utf-8"))
        yield files
    finally:
        for part, _ in files:
            part.unlink(missing_ok=True)


def _cards(options: argparse.Namespace, out: Console) -> None:
    from farhear.cards import add_card, read_cards

    now = options.when or _now()
    if options.came:
        if options.kind is None:
            raise InputError("--came needs --kind")
        add_card(
            options.cards, options.came, card_utc=now, card_kind=options.kind, site=options.site
        )
        out.print(f"{options.came}: {options.kind} noted.")
    cards = read_cards(options.cards)
    say_faults(cards, out)
    waiting = cards.waiting(now)
    rows = [
        (
            line["report_id"],
            line["broadcaster"],
            f"{line['freq_khz']:g}",
            f"{line['start_utc']:%d %b %Y %H:%M}",
            line["sent_by"],
            str(line["days_waited"]),
        )
        for line in waiting.to_dict("records")
    ]
    out.print(f"{len(cards)} reports, {len(waiting)} wait for an answer.")
    if rows:
        columns = ("report", "broadcaster", "kHz", "heard, UTC", "sent by", "days")
        say_table("Waiting", columns, rows, out)

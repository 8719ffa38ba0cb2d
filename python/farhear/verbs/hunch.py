"""farhear hunch: questions written first, and what the log says to them."""

from __future__ import annotations

import argparse
import datetime as dt
import textwrap
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from rich.console import Console

from farhear import clock
from farhear.errors import InputError
from farhear.log import read_log
from farhear.questions import HUNCHES, NEEDED, OPTIONAL, Question, add_question, read_questions
from farhear.verbs.shared import (
    add_log,
    add_schedule,
    add_station,
    lists_if_any,
    say_faults,
    station_of,
    write_csv,
)

if TYPE_CHECKING:
    import pandas as pd

    from farhear.hunch import Evidence
    from farhear.log import Log
    from farhear.station import Station

_HERE = Path()
_WIDTH = 78
_DEMO_BANDS = ("31 m", "41 m", "49 m")
_DEMO_OPENING_MIN = {"31 m": 40.0, "41 m": 55.0, "49 m": 60.0}
_DEMO_FIRST = "2024-09-15"


def add(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Make the verb known."""
    hunch = verbs.add_parser(
        "hunch",
        help="write a question down, listen, and see what the log says",
        description="A pattern found by looking is found again in the same data. So write the "
        "question first, listen, and answer it then.",
    )
    what = hunch.add_subparsers(dest="what", metavar="what", required=True)
    ask = what.add_parser(
        "ask",
        help="write a question down, with today's date",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        epilog=_catalogue(),
    )
    ask.set_defaults(run=_ask)
    ask.add_argument("hunch", choices=list(HUNCHES), help="which kind, see below")
    ask.add_argument("words", help="the question in your words")
    ask.add_argument(
        "--set",
        action="append",
        default=[],
        metavar="NAME=VALUE",
        help='what it needs to know, for example a="31 m"; repeatable',
    )
    _add_study(ask)

    answer = what.add_parser("answer", help="answer the questions of a study from a log")
    answer.set_defaults(run=_answer)
    _add_study(answer)
    _add_evidence(answer)
    explore = what.add_parser("explore", help="ideas from a log, for questions to write down")
    explore.set_defaults(run=_explore)
    explore.add_argument("--all", action="store_true", help="every verdict in full")
    _add_evidence(explore)
    sun = what.add_parser("sun", help="how hearing goes with F10.7, Kp and the hour from sunset")
    sun.set_defaults(run=_sun)
    sun.add_argument("--band", help="only this band")
    _add_evidence(sun)
    need = what.add_parser("evenings", help="how many evenings a question takes, and the order")
    need.set_defaults(run=_evenings)
    _add_evidence(need)
    need.add_argument(
        "--bands", required=True, metavar="A,B", help="bands, the first leads: '31 m,49 m'"
    )
    need.add_argument("--lead-min", type=float, default=15.0, help="lead that matters, min (15)")
    need.add_argument(
        "--pattern",
        choices=("steady", "late", "sparse"),
        help="how you would listen, where there is no log yet: from before the opening every 15 "
        "min (steady), from up to an hour after sunset (late), the second band one time in three "
        "or four (sparse)",
    )
    need.add_argument("--seed", type=int, default=1, help="of the invented logs (1)")


def _catalogue() -> str:
    lines = []
    for key, words in HUNCHES.items():
        needs = f"needs {', '.join(NEEDED[key])}; " if NEEDED[key] else ""
        text = f"{key}  {words} ({needs}may have {', '.join(OPTIONAL[key])})"
        lines += textwrap.wrap(text, _WIDTH, subsequent_indent="    ")
    return "\n".join(lines)


def _add_study(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--study", type=Path, default=_HERE, help="folder with study.toml (default: this one)"
    )


def _add_evidence(parser: argparse.ArgumentParser) -> None:
    add_log(parser, needed=False)
    add_station(parser)
    add_schedule(parser)
    parser.add_argument("--indices", type=Path, help="table of solar indices of your own")
    parser.add_argument(
        "--predictions", type=Path, help="table of farhear evening --predictions, for H6"
    )
    parser.add_argument("--csv", type=Path, help="the results as a table")


# Asking -----------------------------------------------------------------------------------------


def _ask(options: argparse.Namespace, out: Console) -> None:
    given = dict(_setting(text) for text in options.set)
    question = Question(hunch=options.hunch, text=options.words, parameters=given)
    path = add_question(options.study, question)
    out.print(f"{path}: written down, {question.written_utc}.", soft_wrap=True)
    out.print("Checks from now on count. Do not change it; ask another one instead.")


def _setting(text: str) -> tuple[str, Any]:
    """Name and value; a value that is no TOML is taken as text."""
    name, equals, value = text.partition("=")
    if not equals or not name.strip():
        raise InputError(f"--set {text!r} is not NAME=VALUE")
    try:
        return name.strip(), tomllib.loads(f"value = {value}")["value"]
    except tomllib.TOMLDecodeError:
        return name.strip(), value.strip()


# Answering --------------------------------------------------------------------------------------


def _evidence(options: argparse.Namespace, out: Console) -> Evidence:
    """What the options name; for --demo an invented season."""
    from farhear.hunch import Evidence
    from farhear.indices import read_indices
    from farhear.predictions import read_predictions

    indices = read_indices(options.indices) if options.indices else None
    if options.log is None:
        if not options.demo:
            raise InputError("the log is missing (or say --demo)")
        table, station = _demo(out)
        return Evidence.of(table, station, indices=indices)
    log, station = _read(options, out)
    first = log.frame["start_utc"].min()
    schedule = lists_if_any(options, str(clock.season(first)) if first == first else None)
    issued = None
    if options.predictions:
        issued = read_predictions(options.predictions)
        say_faults(issued, out)
    if schedule is None:
        out.print("Without --schedule, silence off the air counts as not heard.")
    return Evidence.of(log, station, schedule, indices=indices, issued=issued)


def _read(options: argparse.Namespace, out: Console) -> tuple[Log, Station]:
    station = station_of(options)
    log = read_log(options.log, time_zone=options.time_zone, station=station)
    out.print(f"{log.text()}.", soft_wrap=True)
    say_faults(log, out)
    return log, station


def _demo(out: Console) -> tuple[pd.DataFrame, Station]:
    from farhear.simulate import season

    made = season(
        np.random.default_rng(7),
        bands=_DEMO_BANDS,
        evenings=75,
        first=_DEMO_FIRST,
        opening_min=_DEMO_OPENING_MIN,
    )
    planted = ", ".join(f"{band} {minute:g}" for band, minute in _DEMO_OPENING_MIN.items())
    out.print(
        f"Demonstration: home, log and broadcasters are invented; 75 evenings from {_DEMO_FIRST}.\n"
        f"Planted openings, minutes after sunset: {planted}; whatever else shows is luck."
    )
    return made.frame, made.station


def _answer(options: argparse.Namespace, out: Console) -> None:
    from farhear.hunch import answers

    questions = read_questions(options.study)
    if not questions:
        raise InputError(f"{options.study / 'study.toml'} holds no question; see farhear hunch ask")
    found = answers(questions, _evidence(options, out))
    for question, verdict in zip(found.questions, found.verdicts, strict=True):
        out.print(f"\n{question.text} ({question.hunch}, {question.written_utc[:10]})")
        out.print(verdict.text(), soft_wrap=True)
    if options.csv:
        write_csv(found.frame, options.csv)
        out.print(f"\n{options.csv}: {len(found.verdicts)} verdicts.")


def _explore(options: argparse.Namespace, out: Console) -> None:
    from farhear.hunch import explore

    found = explore(_evidence(options, out))
    out.print("Ideas, not findings: all came after the data. Write one down and listen anew.")
    for verdict in found.verdicts:
        if options.all:
            out.print(f"\n{verdict.text()}", soft_wrap=True)
            continue
        text = f"{verdict.hunch}  {verdict.heading}. {verdict.question} {verdict.sentence}"
        out.print("\n" + "\n".join(textwrap.wrap(text, _WIDTH, subsequent_indent="    ")))
    if options.csv:
        write_csv(found.frame, options.csv)
        out.print(f"\n{options.csv}: {len(found.verdicts)} ideas.")


def _sun(options: argparse.Namespace, out: Console) -> None:
    from farhear.hunch import solar_conditions
    from farhear.indices import load_indices

    evidence = _evidence(options, out)
    indices = load_indices() if evidence.indices is None else evidence.indices
    found = solar_conditions(evidence.table, indices, band=options.band)
    for line in found.text().splitlines():
        out.print("\n".join(textwrap.wrap(line, _WIDTH)))
    if options.csv:
        write_csv(found.bins, options.csv)
        out.print(f"{options.csv}: rates in bins, for a chart.")


# Planning ---------------------------------------------------------------------------------------


def _evenings(options: argparse.Namespace, out: Console) -> None:
    from farhear.hunch import evenings_needed, order_for

    bands = [name.strip() for name in options.bands.split(",")]
    if len(bands) < 2:
        raise InputError(f"--bands {options.bands!r} names one band; give two or more")
    done = dt.datetime.now(dt.UTC).date().toordinal()
    source: Any = options.pattern or "steady"
    if options.log is not None or options.demo:
        if options.pattern:
            raise InputError("--pattern is for planning without a log")
        source = _evidence(options, out).table
        done = int(source["evening"].nunique())
    for other in bands[1:]:
        plan = evenings_needed(
            source, bands[0], other, lead_min=options.lead_min, seed=options.seed
        )
        text = f"{bands[0]} before {other}: {plan.text()}"
        out.print("\n".join(textwrap.wrap(text, _WIDTH)))
        if options.csv:
            write_csv(plan.table, options.csv)
    for name, number in (("Tonight", done), ("Next evening", done + 1)):
        out.print(f"{name} check in this order: {', '.join(order_for(bands, number))}.")

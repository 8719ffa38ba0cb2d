"""farhear pack, verify: a study for the club, and whether one is what it says."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from rich.console import Console

from farhear import bundle, clock
from farhear.errors import InputError
from farhear.log import read_log
from farhear.tables import calendar_date
from farhear.verbs.shared import (
    add_log,
    add_schedule,
    add_station,
    lists_if_any,
    say_faults,
    say_table,
    station_of,
)

if TYPE_CHECKING:
    from farhear.study import Study, Worked


def add(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Make the verbs known."""
    pack = verbs.add_parser(
        "pack",
        help="make a study for the club from a log and its questions",
        description="Write the shared copy of a log into the study's folder, work its questions "
        "out from that copy alone, and pack it as one archive. The exact home stays with you.",
    )
    pack.set_defaults(run=_pack)
    pack.add_argument("study", type=Path, help="folder of the study, with its questions")
    add_log(pack, needed=False)
    add_station(pack)
    add_schedule(pack)
    pack.add_argument("--indices", type=Path, help="table of solar indices of your own")
    pack.add_argument("--predictions", type=Path, help="table of farhear evening --predictions")
    pack.add_argument("--title", default="A listener's study", help="in words")
    pack.add_argument("--member", default="listener 1", help="pseudonym (listener 1)")
    pack.add_argument("--licence", default="CC-BY-4.0", help="CC-BY-4.0 or CC0-1.0 (CC-BY-4.0)")
    pack.add_argument(
        "--characters", type=int, default=4, help="of the locator that is shared: 4, 2 or 6 (4)"
    )
    pack.add_argument("--note", default="", help="anything to add, for example that it is invented")
    pack.add_argument(
        "--deposit",
        metavar="DATE",
        help="add RO-Crate metadata for a repository, published on this date (YYYY-MM-DD)",
    )
    pack.add_argument("--out", type=Path, help="archive (default: the folder's name and .zip)")

    verify = verbs.add_parser("verify", help="whether a study is unchanged, and comes out again")
    verify.set_defaults(run=_verify)
    verify.add_argument("study", type=Path, help="folder or archive")
    verify.add_argument("--rerun", action="store_true", help="work it out again and compare")
    verify.add_argument("--privacy", action="store_true", help="try to find the home from it")
    verify.add_argument(
        "--station", type=Path, help="with --privacy: your station file, to see how near it gets"
    )


def _pack(options: argparse.Namespace, out: Console) -> None:
    from farhear.study import Study

    published = _date(options.deposit) if options.deposit else None
    study = Study.open(options.study) if options.log is None else _created(options, out)
    worked = study.run()
    for question, verdict in zip(worked.answers.questions, worked.answers.verdicts, strict=True):
        out.print(f"{question.text} {verdict.heading}.", soft_wrap=True)
    if options.log is not None:
        _say_cost(options, study, worked, out)
    if published:
        bundle.write_crate(study.folder, date=published)
    archive = options.out or Path(f"{options.study}.zip")
    study.pack(archive)
    out.print(f"{archive}: packed. Look at it with farhear verify --rerun --privacy.")


def _date(text: str) -> str:
    try:
        return calendar_date(text).isoformat()
    except ValueError as fault:
        raise InputError(f"--deposit {text!r}: {fault}") from None


def _created(options: argparse.Namespace, out: Console) -> Study:
    from farhear.indices import read_indices
    from farhear.predictions import read_predictions
    from farhear.study import Study

    station = station_of(options)
    log = read_log(options.log, time_zone=options.time_zone, station=station)
    out.print(f"{log.text()}.", soft_wrap=True)
    say_faults(log, out)
    first = log.frame["start_utc"].min()
    issued = None
    if options.predictions:
        issued = read_predictions(options.predictions)
        say_faults(issued, out)
    return Study.create(
        options.study,
        title=options.title,
        station=station,
        log=log,
        schedule=lists_if_any(options, str(clock.season(first)) if first == first else None),
        indices=read_indices(options.indices) if options.indices else None,
        issued=issued,
        member=options.member,
        licence=options.licence,
        characters=options.characters,
        note=options.note,
    )


def _say_cost(options: argparse.Namespace, study: Study, worked: Worked, out: Console) -> None:
    """What the cell costs: the same questions from the home itself, for the owner's eyes."""
    from farhear.hunch import Evidence, answers
    from farhear.study import cell_cost_min

    station = station_of(options)
    log = read_log(options.log, time_zone=options.time_zone, station=station)
    shared = worked.answers
    days = np.unique(worked.evidence.table["evening"].to_numpy("datetime64[D]"))
    out.print(
        f"Shared place: {study.about.place_text}. Sunset at home is up to "
        f"{cell_cost_min(study.about, days):.1f} min from that of its middle.",
        soft_wrap=True,
    )
    if not shared.questions:
        return
    evidence = Evidence.of(
        log,
        station,
        study.schedule(),
        indices=study.indices(),
        issued=study.predictions(),
    )
    home = answers(shared.questions, evidence)
    rows = [
        (one.hunch, _effect(one), _effect(other), one.word, other.word)
        for one, other in zip(home.verdicts, shared.verdicts, strict=True)
    ]
    say_table(
        "Home (stays with you) and cell",
        ("hunch", "home", "cell", "home", "cell"),
        rows,
        out,
    )


def _effect(verdict: Any) -> str:
    return "-" if np.isnan(verdict.effect) else f"{verdict.effect:.3g}"


def _verify(options: argparse.Namespace, out: Console) -> None:
    from farhear.station import read_station
    from farhear.verification import verify

    if options.station and not options.privacy:
        raise InputError("--station goes with --privacy")
    found = verify(options.study, rerun=options.rerun, privacy=options.privacy)
    out.print(found.text(), soft_wrap=True)
    if options.station and found.attack is not None:
        from farhear.privacy import check_home

        for line in check_home(found.attack, read_station(options.station)):
            out.print(line, soft_wrap=True)
    if not found.ok:
        raise InputError(f"{options.study.name} is not what it says")

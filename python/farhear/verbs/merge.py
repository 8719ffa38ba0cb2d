"""farhear merge: the logs of a club as one study."""

from __future__ import annotations

import argparse
from pathlib import Path

from rich.console import Console

from farhear.verbs.shared import add_schedule, lists_if_any


def add(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Make the verb known."""
    merge = verbs.add_parser(
        "merge",
        help="one study of several members' logs or studies",
        description="Merge the logs of a club: doubles joined, identities settled or disputed, "
        "setups kept apart, places shown only where enough members share them.",
    )
    merge.set_defaults(run=_merge, demo=False)
    merge.add_argument("club", type=Path, help="who is in it, and their logs (TOML)")
    merge.add_argument("--study", type=Path, required=True, help="folder of the merged study")
    add_schedule(merge)
    merge.add_argument(
        "--without", action="append", default=[], metavar="NAME", help="leave this member out"
    )
    merge.add_argument(
        "--fewest-per-cell", type=int, default=3, help="members who must share a place (3)"
    )
    merge.add_argument("--title", default="A study of the club", help="in words")
    merge.add_argument("--name", default="the club", help="of the club")
    merge.add_argument(
        "--note", default="", help="anything to add, for example that it is invented"
    )
    merge.add_argument("--out", type=Path, help="archive (default: the folder's name and .zip)")


def _merge(options: argparse.Namespace, out: Console) -> None:
    from farhear.club import merge, read_members
    from farhear.study import Study

    members = read_members(options.club)
    schedule = lists_if_any(options, options.season)
    club = merge(
        members,
        schedule=schedule,
        withdrawn=options.without,
        fewest_per_cell=options.fewest_per_cell,
    )
    out.print(club.text(), soft_wrap=True)
    study = Study.from_club(
        options.study,
        club,
        title=options.title,
        name=options.name,
        schedule=schedule,
        note=options.note,
    )
    worked = study.run()
    for question, verdict in zip(worked.answers.questions, worked.answers.verdicts, strict=True):
        out.print(f"{question.text} {verdict.heading}. {verdict.sentence}", soft_wrap=True)
        for note in verdict.notes:
            out.print(f"  {note}", soft_wrap=True)
    archive = options.out or Path(f"{options.study}.zip")
    study.pack(archive)
    out.print(f"{archive}: packed. Look at it with farhear verify --rerun --privacy.")

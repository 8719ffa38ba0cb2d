#!/usr/bin/env bash
# Make the two example studies again: bash shared/build.sh (a minute). Everything in them is invented.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")"
../.venv/bin/python - <<'PYTHON'
"""Five invented members, one autumn: a dusk study of one of them, a winter of all."""

import tempfile
from pathlib import Path

import numpy as np

import farhear as fh
from farhear.simulate import season
from farhear.station import Station
from farhear.study import Study

HOMES = {
    "Birch": (58.4, 26.7),
    "Alder": (58.2, 26.3),
    "Rowan": (58.7, 27.4),
    "Aspen": (59.4, 24.8),
    "Maple": (57.8, 27.0),
}
NOTE = "Members, homes, logs and broadcasters are invented; the solar record is real."
BANDS = ["31 m", "41 m", "49 m"]
OPENING_MIN = {"31 m": 40.0, "41 m": 55.0, "49 m": 60.0}
EARLY = "2024-09-01T12:00:00Z"


def log_of(number: int, home: Station, folder: Path, **more: object) -> fh.Log:
    """An invented season of one member."""
    made = season(
        np.random.default_rng(number), bands=BANDS, station=home, opening_min=OPENING_MIN, **more
    )
    path = folder / f"{home.name}.csv"
    fh.write_log(made.frame.drop(columns="observer_id"), path)
    return fh.read_log(path)


def asked(hunch: str, text: str, **parameters: object) -> fh.Question:
    """A question from before the season."""
    return fh.Question(hunch=hunch, text=text, parameters=parameters, written_utc=EARLY)


def dusk(place: Path) -> None:
    """Which band opens first at dusk?"""
    lat, lon = HOMES["Birch"]
    home = Station(name="Birch", lat_deg=lat, lon_deg=lon, time_zone="Europe/Tallinn")
    log = log_of(7, home, place, evenings=60, first="2024-09-15")
    for question in (
        asked("H1", "Does 31 m open before 49 m at dusk?", a="31 m", b="49 m"),
        asked("H2", "Which of my three bands is first?", bands=BANDS),
        asked("H3", "Does the opening of 31 m follow sunset?", band="31 m"),
        asked("H4", "Do disturbed nights hurt?"),
    ):
        fh.questions.add_question(place / "dusk", question)
    study = Study.create(
        place / "dusk",
        title="Which band opens first at dusk?",
        station=home,
        log=log,
        member="Birch",
        note=NOTE,
    )
    study.run()
    study.pack("dusk.zip")


def winter(place: Path) -> None:
    """One winter of five members."""
    members = []
    for number, (name, (lat, lon)) in enumerate(HOMES.items()):
        home = Station(name=name, lat_deg=lat, lon_deg=lon, time_zone="Europe/Tallinn")
        log = log_of(
            40 + number, home, place, evenings=45, first="2024-11-15", every_min=20.0, noticing=0.9
        )
        members.append(
            fh.club.Member(
                name=name,
                place=str(fh.path.locator(lat, lon, 4)),
                time_zone="Europe/Tallinn",
                licence="CC-BY-4.0",
                consent=True,
                log=log,
            )
        )
    fh.questions.add_question(
        place / "winter", asked("H1", "Does 31 m open before 49 m?", a="31 m", b="49 m")
    )
    study = Study.from_club(
        place / "winter",
        fh.club.merge(members),
        title="A winter of five members",
        name="an invented club",
        note=NOTE,
    )
    study.run()
    study.pack("winter.zip")


with tempfile.TemporaryDirectory() as folder:
    dusk(Path(folder))
    winter(Path(folder))
PYTHON

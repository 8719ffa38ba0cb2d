"""Merged studies, and the ones that are kept. Every member, place and check is invented."""

import zipfile
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import farhear as fh
from farhear import cli, privacy
from farhear.errors import InputError
from farhear.simulate import season
from farhear.station import Station
from farhear.study import Study

ROOT = Path(__file__).resolve().parents[2]
A, B = "31 m", "49 m"
HOMES = {
    "Birch": (58.4, 26.7),
    "Alder": (58.2, 26.3),
    "Rowan": (58.7, 27.4),
    "Aspen": (59.4, 24.8),
    "Maple": (57.8, 27.0),
}
SEASON = {"evenings": 24, "first": "2024-11-01", "every_min": 30.0, "noticing": 0.95}


@pytest.fixture(scope="module")
def club_folder(tmp_path_factory):
    """Five members' logs, three of them in one cell, and who they are."""
    folder = tmp_path_factory.mktemp("club")
    lines = []
    for number, (name, (lat, lon)) in enumerate(HOMES.items()):
        home = Station(name=name, lat_deg=lat, lon_deg=lon, time_zone="Europe/Tallinn")
        made = season(
            np.random.default_rng(100 + number),
            bands=[A, B],
            station=home,
            opening_min={A: 40.0, B: 60.0},
            **SEASON,
        )
        fh.write_log(made.frame.drop(columns="observer_id"), folder / f"{name}.csv")
        if name == "Rowan":  # gives a study instead of a log
            study = Study.create(
                folder / "rowan",
                title="Rowan's",
                station=home,
                log=fh.read_log(folder / "Rowan.csv"),
                member="Rowan",
                licence="CC0-1.0",
            )
            study.run(charts=False, page=False)
            study.pack(folder / "rowan.zip")
            lines.append('[[members]]\nname = "Rowan"\nconsent = true\nstudy = "rowan.zip"\n')
            continue
        lines.append(
            f'[[members]]\nname = "{name}"\nplace = "{fh.path.locator(lat, lon, 4)}"\n'
            'time_zone = "Europe/Tallinn"\nlicence = "CC-BY-4.0"\nconsent = true\n'
            f'log = "{name}.csv"\n'
        )
    (folder / "club.toml").write_text("\n".join(lines))
    return folder


@pytest.fixture(scope="module")
def merged(club_folder):
    folder = club_folder / "winter"
    question = fh.Question(
        hunch="H1", text="a first?", parameters={"a": A, "b": B}, written_utc="2024-10-01T00:00Z"
    )
    fh.questions.add_question(folder, question)
    club = fh.club.merge(fh.club.read_members(club_folder / "club.toml"))
    study = Study.from_club(folder, club, title="Winter", name="Invented club")
    worked = study.run()
    study.pack(club_folder / "winter.zip")
    return study, worked, club


def test_a_merged_study_is_again_a_study(merged, club_folder):
    study, _, club = merged
    found = fh.verify(club_folder / "winter.zip", rerun=True, privacy=True)
    assert found.ok, found.text()
    ways = {one.way for one in found.attack.traces}
    assert {"sunset Birch", "sunset Maple", "words", "pictures"} <= ways
    assert len(study.log()) == len(club.checks)
    assert study.about.licence == "CC-BY-4.0"
    assert "places of its members" in (study.folder / "README.md").read_text()


def test_setups_of_members_are_never_pooled(merged, club_folder):
    _, worked, _ = merged
    (verdict,) = worked.answers.verdicts
    assert verdict.word == "CANNOT TELL YET"
    assert "mixes the setups" in verdict.sentence
    assert np.isnan(verdict.effect)
    assert set(verdict.details["parts"]) == set(HOMES)
    results = worked.results()["verdicts"][0]
    assert set(results["parts"]) == set(HOMES)
    # each member's answer is that of the member alone, from the middle of the place as shown
    home = Station(name="x", lat_deg=58.5, lon_deg=27.0, time_zone="Europe/Tallinn")
    table = fh.evenings.table(fh.read_log(club_folder / "Birch.csv"), home)
    alone = fh.hunch.first_at_dusk(table, A, B, asked_before=True)
    assert verdict.details["parts"]["Birch"].effect == pytest.approx(alone.effect, rel=1e-9)
    labels = set(worked.openings["band"])
    assert {f"{A}, Birch", f"{B}, Maple"} <= labels
    assert len(labels) == 10


def test_minutes_of_a_member_are_of_the_place_as_shown(merged):
    study, _, _ = merged
    people = pd.read_csv(study.folder / "data" / "people.csv", index_col="name")
    assert people["place"].to_dict() == {
        "Alder": "KO38",
        "Aspen": "KO",
        "Birch": "KO38",
        "Maple": "KO",
        "Rowan": "KO38",
    }
    text = "".join(
        p.read_text("utf-8", errors="replace")
        for p in study.folder.rglob("*")
        if p.suffix in (".csv", ".toml", ".json", ".md", ".txt")
    )
    for hidden in ("KO29", "KO37", "Europe/Riga"):
        assert hidden not in text
    traces = {one.way: one for one in privacy.attack(study).traces}
    assert (round(traces["sunset Maple"].lat_deg), round(traces["sunset Maple"].lon_deg)) == (
        55,
        30,
    )


def test_a_withheld_place_has_no_minutes(club_folder, tmp_path):
    members = [
        one for one in fh.club.read_members(club_folder / "club.toml") if one.name != "Alder"
    ]
    club = fh.club.merge(members, fewest_per_cell=5)
    assert set(club.people["place"]) == {"withheld"}
    study = Study.from_club(tmp_path / "s", club, title="Withheld")
    worked = study.run(charts=False)
    assert worked.evidence.table["middle_min"].isna().all()
    assert len(worked.openings) == len(worked.hours) == 0
    assert fh.verify(tmp_path / "s", rerun=True, privacy=True).ok


def test_who_leaves_is_in_no_file(club_folder, tmp_path):
    members = fh.club.read_members(club_folder / "club.toml")
    without = [one for one in members if one.name != "Maple"]
    archives = []
    for name, club in (
        ("a", fh.club.merge(members, withdrawn=["Maple"])),
        ("b", fh.club.merge(without)),
    ):
        study = Study.from_club(tmp_path / name / "s", club, title="Four")
        study.run()
        study.pack(tmp_path / f"{name}.zip")
        archives.append((tmp_path / f"{name}.zip").read_bytes())
    assert archives[0] == archives[1]
    assert b"Maple" not in archives[0]


def test_merge_at_the_command_line(club_folder, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    arguments = ["merge", str(club_folder / "club.toml"), "--study", "w", "--without", "Aspen"]
    assert cli.main([*arguments, "--title", "W", "--note", "Invented."]) == 0
    out = capsys.readouterr().out
    assert "4 members: " in out
    assert "w.zip: packed." in out
    assert fh.verify(tmp_path / "w.zip", rerun=True).ok
    assert cli.main([*arguments, "--without", "Aspem"]) == 2
    assert "withdrawn names 'Aspem', who is no member; did you mean 'Aspen'?" in (
        capsys.readouterr().err
    )


@pytest.mark.parametrize(
    ("entry", "message"),
    [
        ('name = "X"\nconsent = true\nstudy = "none.zip"', "study = 'none.zip' cannot be read"),
        ('name = "X"\nconsent = true\nstudy = "rowan.zip"\nplace = "KO38"', "beside study"),
        ('name = "X"\nstudy = "rowan.zip"', "key 'consent' is missing"),
        ('name = "X"\nconsent = true\nstudy = 3', "study = 3 is not the name"),
        ('name = "X"\nconsent = true\nstudy = "spoilt"', "README.md: has changed"),
    ],
)
def test_members_whose_study_cannot_be_used(club_folder, entry, message):
    spoilt = club_folder / "spoilt"
    if not spoilt.exists():
        with zipfile.ZipFile(club_folder / "rowan.zip") as archive:
            archive.extractall(spoilt)
        (spoilt / "README.md").write_text("x")
    path = club_folder / "other.toml"
    path.write_text(f"[[members]]\n{entry}\n")
    with pytest.raises(InputError, match=message):
        fh.club.read_members(path)


def test_clubs_that_make_no_study(club_folder, tmp_path):
    members = fh.club.read_members(club_folder / "club.toml")
    weeks = fh.club.merge(members, by_week=True)
    with pytest.raises(InputError, match="merged by weeks"):
        Study.from_club(tmp_path / "s", weeks, title="x")


# Kept -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", sorted((ROOT / "tests" / "golden").glob("*.zip")), ids=str)
def test_studies_of_every_form_stay_readable(path):
    found = fh.verify(path, rerun=True, privacy=True)
    assert found.ok, found.text()


@pytest.mark.parametrize("name", ["dusk", "winter"])
def test_the_examples_come_out_again(name):
    path = ROOT / "shared" / f"{name}.zip"
    found = fh.verify(path, rerun=True, privacy=True)
    assert found.ok, found.text()
    with zipfile.ZipFile(path) as archive:
        readme = archive.read("README.md").decode()
        page = archive.read("index.html").decode()
    assert "invented" in readme
    assert "invented" in page

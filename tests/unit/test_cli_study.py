"""`farhear pack` and `farhear verify`. Every name, place and check is invented."""

import shutil
import zipfile
from pathlib import Path

import numpy as np
import pytest

import farhear as fh
from farhear.simulate import season

DEMO = Path(__file__).resolve().parents[2] / "data" / "demo"
STATION = DEMO / "station.toml"
A, B = "31 m", "49 m"


@pytest.fixture
def asked(run, tmp_path):
    """A log, and a study with a question from before it."""
    made = season(
        np.random.default_rng(3),
        bands=[A, B],
        evenings=40,
        first="2024-10-10",
        station=fh.read_station(STATION),
        opening_min={A: 40.0, B: 60.0},
    )
    fh.write_log(made.frame, tmp_path / "log.csv")
    question = fh.Question(
        hunch="H1",
        text="Does 31 m open before 49 m?",
        parameters={"a": A, "b": B},
        written_utc="2024-09-01T00:00Z",
    )
    fh.questions.add_question(tmp_path / "dusk", question)
    return run


def test_pack_and_verify(asked, tmp_path):
    status, out, err = asked(
        *("pack", "dusk", "log.csv", "--station", STATION, "--title", "Dusk"),
        *("--member", "a member", "--note", "Invented.", "--licence", "CC0-1.0"),
    )
    assert (status, err) == (0, "")
    assert "Does 31 m open before 49 m? SUPPORTED." in out
    assert "Shared place: locator cell KO38 (111 km by 117 km). Sunset at home is up to" in out
    assert "Home (stays with you) and cell" in out
    assert "dusk.zip: packed." in out
    shutil.move(tmp_path / "dusk.zip", tmp_path / "away.zip")
    status, out, err = asked("verify", "away.zip", "--rerun", "--privacy", "--station", STATION)
    assert (status, err) == (0, "")
    assert "away.zip: as sealed\nWorked out again: the same numbers.\nNo way tells more" in out
    assert "sunset: 21 km from your home" in out
    # from the shared copy alone, again the same archive
    status, out, _ = asked("pack", "dusk", "--out", "again.zip")
    assert status == 0
    assert (tmp_path / "again.zip").read_bytes() == (tmp_path / "away.zip").read_bytes()


def test_a_season_and_a_deposit_in_a_study(asked, tmp_path):
    assert asked("pack", "dusk", "log.csv", "--station", STATION)[0] == 0
    season = ("season", "--schedule", DEMO / "schedule_b24.csv", "--days", "iso", "--season")
    season += ("B24", "--from", "2024-11-04", "--to", "2024-11-10", "--study", "dusk")
    status, out, err = asked(*season)
    assert (status, err) == (0, "")
    assert "Season B24 at Cell KO38" in out
    assert (tmp_path / "dusk" / "season-B24" / "bands.csv").exists()
    assert asked("verify", "dusk", "--privacy")[0] == 0
    assert asked("pack", "dusk", "--deposit", "2026-11-25")[0] == 0
    with zipfile.ZipFile(tmp_path / "dusk.zip") as archive:
        assert "ro-crate-metadata.json" in archive.namelist()
        assert "season-B24/hours.svg" in archive.namelist()
    assert asked("verify", "dusk.zip", "--rerun")[0] == 0


def test_a_changed_archive_ends_with_status_2(asked, tmp_path):
    assert asked("pack", "dusk", "log.csv", "--station", STATION)[0] == 0
    (tmp_path / "dusk" / "README.md").write_text("nothing")
    status, out, err = asked("verify", "dusk")
    assert status == 2
    assert "dusk: NOT AS SEALED\n- README.md: has changed" in out
    assert "dusk is not what it says" in err
    with zipfile.ZipFile(tmp_path / "bad.zip", "w") as archive:
        archive.writestr("../x", "x")
    status, _, err = asked("verify", "bad.zip")
    assert status == 2
    assert "is no name of a file inside a bundle" in err
    assert not (tmp_path.parent / "x").exists()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("pack", "dusk"), "has questions, but no log yet"),
        (("pack", "none"), "holds no study.toml"),
        (("pack", "dusk", "log.csv"), "--station is missing"),
        (("pack", "dusk", "log.csv", "--station", STATION, "--licence", "x"), "licence = 'x'"),
        (("pack", "dusk", "log.csv", "--station", STATION, "--characters", "5"), "none of 2, 4, 6"),
        (
            ("pack", "dusk", "log.csv", "--station", STATION, "--deposit", "soon"),
            "--deposit 'soon'",
        ),
        (("season", "--demo", "--study", "dusk", "--out", "x"), "leave --station and --out out"),
        (("verify", "none.zip"), "none.zip"),
        (("verify", "dusk", "--station", STATION), "--station goes with --privacy"),
    ],
)
def test_mistakes_end_with_a_sentence(asked, arguments, message):
    status, _, err = asked(*arguments)
    assert status == 2
    assert message in err
    assert err.count("\n") == 1

"""A study: shared copy, results, seal, archive, verification. All of it is invented."""

import csv
import dataclasses
import hashlib
import http.server
import json
import os
import shutil
import stat
import struct
import subprocess
import threading
import zipfile
import zlib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from rocrate.rocrate import ROCrate

import farhear as fh
from farhear import bundle, predictions, privacy
from farhear.errors import InputError
from farhear.simulate import season
from farhear.study import About, Study, cell_cost_min, cell_km, likelihoods_of, told_fluxes
from farhear.times import iso_text
from farhear.verification import differences_of, same_value

DEMO = Path(__file__).resolve().parents[2] / "data" / "demo"
A, B = "31 m", "49 m"
NOTES = "phone +00 000, the house behind the church"


@pytest.fixture(scope="module")
def home():
    return fh.read_station(DEMO / "station.toml")


@pytest.fixture(scope="module")
def schedule():
    return fh.read_schedule(DEMO / "schedule_b24.csv", days="iso", season="B24")


def listened(schedule, seed, evenings=40):
    """A log of the demo's channels, on the air, from 17 to 21 UTC; heard by the toss of a coin."""
    rng = np.random.default_rng(seed)
    rows = []
    for day in pd.date_range("2024-11-01", periods=evenings, freq="D").tolist():
        at = fh.UtcTimes(day.timestamp() + 1800.0 * np.arange(34, 43))
        on = schedule.on_air(at)
        for i, k in rng.permutation(np.argwhere(on))[:8].tolist():
            if schedule.frame["modulation"][i] == "DIGITAL":
                continue
            start = float(at.unix_s[k]) + 120.0
            rows.append(
                {
                    "session_id": f"evening of {day:%d %B}",
                    "start_utc": iso_text(start),
                    "end_utc": iso_text(start + 240.0),
                    "freq_khz": schedule.frame["freq_khz"][i],
                    "outcome": "heard" if rng.random() < 0.5 else "not_heard",
                    "identity": schedule.frame["broadcaster"][i],
                    "notes": NOTES,
                    "local_noise": "the lift next door",
                }
            )
    return pd.DataFrame(rows)


@pytest.fixture(scope="module")
def made(tmp_path_factory, home, schedule):
    """A study with checks, schedule and predictions, worked out and packed."""
    folder = tmp_path_factory.mktemp("made")
    path = folder / "log.csv"
    listened(schedule, 3).to_csv(path, index=False)
    log = fh.read_log(path, station=home)
    table = fh.evenings.table(log, home)
    said = pd.DataFrame(
        {
            "issued_utc": [iso_text(s - 7200.0) for s in fh.utc(log.frame["start_utc"]).unix_s],
            "start_utc": [iso_text(s) for s in fh.utc(log.frame["start_utc"]).unix_s],
            "end_utc": [iso_text(s) for s in fh.utc(log.frame["end_utc"]).unix_s],
            "freq_khz": log.frame["freq_khz"],
            "broadcaster": log.frame["identity"],
            "likelihood": 0.5,
        }
    )
    said.to_csv(folder / "said.csv", index=False)
    assert len(table) == len(log)
    study_folder = folder / "winter"
    for hunch, given in (("H6", {}), ("H3", {"band": "49 m"}), ("H4", {"useful_points": 30.0})):
        question = fh.Question(
            hunch=hunch, text=f"asked {hunch}", parameters=given, written_utc="2024-10-01T00:00Z"
        )
        fh.questions.add_question(study_folder, question)
    study = Study.create(
        study_folder,
        title="Winter of the demonstration",
        station=home,
        log=log,
        schedule=schedule,
        issued=predictions.read_predictions(folder / "said.csv"),
        note="Home, log and broadcasters are invented.",
    )
    worked = study.run()
    study.pack(folder / "winter.zip")
    return study, worked, folder


@pytest.fixture
def copy(made, tmp_path):
    """A copy of the study's folder that may be spoilt."""
    folder = tmp_path / "copy"
    shutil.copytree(made[0].folder, folder)
    return folder


# The shared copy --------------------------------------------------------------------------------


def test_the_shared_copy_keeps_the_checks_and_leaves_the_rest_at_home(made, home, schedule):
    study, _, folder = made
    mine, theirs = fh.read_log(folder / "log.csv").frame, study.log().frame
    assert len(mine) == len(theirs)
    for name in ("start_utc", "end_utc", "freq_khz", "outcome", "identity"):
        assert theirs[name].tolist() == mine[name].tolist()
    for name in ("notes", "local_noise", "as_written", "programme_notes"):
        assert (theirs[name] == "").all()
    assert set(theirs["session_id"]) == {f"sitting {n}" for n in range(1, 41)}
    assert set(theirs["setup_id"]) == {"2024-03-31"}  # the one in use then
    text = "".join(
        p.read_text("utf-8") for p in study.folder.rglob("*") if p.suffix in (".csv", ".toml")
    )
    for secret in (NOTES, "the lift", "evening of", f",{home.lat_deg}", home.name):
        assert secret not in text
    assert study.about.locator == "KO38"
    centre = study.about.station
    assert (centre.lat_deg, centre.lon_deg) == (58.5, 27.0)  # by hand: the cell is 58-59 N 26-28 E
    assert centre.setups == ()


def test_schedule_indices_and_predictions_are_read_back(made, schedule):
    study, _, _ = made
    kept = study.schedule().frame
    used = set(study.log().frame["freq_khz"])
    original = schedule.frame[schedule.frame["freq_khz"].isin(used)].reset_index(drop=True)
    names = [name for name in original.columns if name not in ("row",)]
    pd.testing.assert_frame_equal(kept[names], original[names])
    shipped, record = fh.load_indices(), study.indices()
    when = fh.utc(["2024-11-05T18:00Z", "2024-12-09T21:00Z"])
    np.testing.assert_array_equal(record.kp_at(when), shipped.kp_at(when))
    np.testing.assert_allclose(
        record.f107_sfu(when, "27day").f107_sfu, shipped.f107_sfu(when, "27day").f107_sfu
    )
    said = study.predictions().frame
    assert 0 < len(said) <= len(study.log())
    assert not np.allclose(said["likelihood"], 0.5)  # worked out anew
    table = fh.evenings.table(study.log(), study.about.station)
    beside = predictions.beside(table, said)
    assert beside["predicted"].notna().mean() > 0.9
    assert (beside["issued_utc"] < beside["start_utc"]).all()


def test_a_cell_has_its_size_and_its_price():
    # STANDARDS of the earth: a degree of latitude is 110.6 to 111.7 km (WGS 84, handbooks)
    high, wide = cell_km("KO38")
    assert 110.5 < high < 111.8
    assert wide == pytest.approx(2.0 * 111.3 * np.cos(np.radians(58.5)), rel=0.005)
    about = About(
        title="x",
        member="m",
        licence="CC0-1.0",
        locator="KO38",
        time_zone="Europe/Tallinn",
        noise="rural",
        bandwidth_hz=9000.0,
        required_snr_db=17.0,
        min_elevation_deg=3.0,
    )
    days = np.arange("2024-01-01", "2025-01-01", 7, dtype="datetime64[D]")
    # half the width of the cell is 4 minutes of the sun's time; the rest is latitude
    assert 7.5 < cell_cost_min(about, days) < 10.0
    finer = dataclasses.replace(about, locator="KO38ij")
    assert cell_cost_min(finer, days) < 0.5


# Results ----------------------------------------------------------------------------------------


def test_the_folder_alone_gives_the_same_numbers(made):
    study, _, folder = made
    again = Study.open(study.folder).worked_out().results()
    assert json.loads((study.folder / "results.json").read_text()) == again
    for path in (study.folder, folder / "winter.zip"):
        found = fh.verify(path, rerun=True)
        assert found.ok, found.text()
        assert found.differences == ()
    assert [one["hunch"] for one in again["verdicts"]] == ["H6", "H3", "H4"]
    assert again["verdicts"][0]["decided"] > 100
    assert again["evenings"] == 40


def test_the_readme_has_the_verdicts_in_words(made):
    study, worked, _ = made
    text = (study.folder / "README.md").read_text("utf-8")
    for verdict in worked.answers.verdicts:
        assert f"**{verdict.heading}.** {verdict.question} {verdict.sentence}" in text
    assert "invented" in text
    assert "sha256sum -c manifest-sha256.txt" in text
    for credit in fh.load_indices().credits:
        assert credit in text


def test_a_study_without_questions_and_without_a_schedule(tmp_path, home):
    log = season(np.random.default_rng(1), bands=[A, B], evenings=12, first="2024-10-10").frame
    fh.write_log(log, tmp_path / "log.csv")
    read = fh.read_log(tmp_path / "log.csv")
    study = Study.create(tmp_path / "s", title="Plain", station=home, log=read)
    worked = study.run(charts=False)
    assert worked.answers.verdicts == ()
    assert "No question was written down" in (tmp_path / "s" / "README.md").read_text()
    assert fh.verify(tmp_path / "s", rerun=True).ok
    assert study.schedule() is None


def test_results_are_a_data_package_by_the_librarys_own_judgement(made):
    # outside: frictionless validates the whole as it stands, rows and digests included; in a
    # process of its own, because it changes the csv module
    study, _, _ = made
    script = (
        "import json; from frictionless import validate; report = validate('datapackage.json'); "
        "print(json.dumps([report.valid, report.stats['tasks']]))"
    )
    done = subprocess.run(
        [os.sys.executable, "-c", script], cwd=study.folder, capture_output=True, check=True
    )
    assert json.loads(done.stdout) == [True, len(list(study.folder.glob("data/*.csv")))]
    limit = csv.field_size_limit()
    assert bundle.validated(study.folder).valid
    assert csv.field_size_limit() == limit  # the library's own would let huge cells into readers


def test_a_deposit_is_a_crate_by_the_librarys_own_judgement(copy):
    # outside: the rocrate library reads it and finds every file
    bundle.write_crate(copy, date="2026-11-25")
    crate = ROCrate(copy)
    assert crate.name == "Winter of the demonstration"
    assert str(crate.datePublished).startswith("2026-11-25")
    parts = {part.id for part in crate.get_entities() if part.type == "File"}
    assert parts == set(bundle._files_of(copy)) - {bundle.MANIFEST, bundle.CRATE}
    assert fh.verify(copy).ok
    Study.open(copy).seal()  # sealed anew without it
    assert not (copy / bundle.CRATE).exists()


def test_plain_sha256sum_agrees(made):
    study, _, _ = made
    done = subprocess.run(
        ["sha256sum", "--strict", "-c", "manifest-sha256.txt"],
        cwd=study.folder,
        capture_output=True,
        check=True,
        text=True,
    )
    files = [p for p in study.folder.rglob("*") if p.is_file()]
    assert done.stdout.count(": OK") == len(files) - 1


# Packing ----------------------------------------------------------------------------------------


def test_two_packs_are_byte_identical(made, tmp_path):
    study, _, folder = made
    other = tmp_path / "elsewhere" / "winter"
    shutil.copytree(study.folder, other)
    for path in other.rglob("*"):
        os.utime(path, (1_000_000, 1_000_000))
        path.chmod(0o700)
    Study.open(other).pack(tmp_path / "b.zip")
    assert (tmp_path / "b.zip").read_bytes() == (folder / "winter.zip").read_bytes()
    with zipfile.ZipFile(folder / "winter.zip") as archive:
        names = archive.namelist()
    assert names == sorted(names)


def test_a_second_run_writes_the_same_bytes(made, tmp_path):
    study, _, _ = made
    before = {p: p.read_bytes() for p in study.folder.rglob("*") if p.is_file()}
    study.run()
    assert {p: p.read_bytes() for p in study.folder.rglob("*") if p.is_file()} == before


def test_python_packs_the_same_in_another_process(made, tmp_path):
    study, _, folder = made
    script = "import sys; from farhear import Study; Study.open(sys.argv[1]).pack(sys.argv[2])"
    env = os.environ | {"TZ": "Pacific/Auckland", "LC_ALL": "C", "PYTHONHASHSEED": "7"}
    out = tmp_path / "c.zip"
    subprocess.run(
        [os.sys.executable, "-c", script, str(study.folder), str(out)], check=True, env=env
    )
    assert out.read_bytes() == (folder / "winter.zip").read_bytes()


# Tampering --------------------------------------------------------------------------------------


def test_one_changed_byte_of_any_file_is_named(made, copy):
    study, _, _ = made
    names = bundle._files_of(study.folder)
    assert len(names) >= 15
    for name in names:
        path = copy / name
        data = path.read_bytes()
        path.write_bytes(data[:-2] + bytes([data[-2] ^ 1]) + data[-1:])
        found = fh.verify(copy)
        assert not found.ok, name
        judged = subprocess.run(
            ["sha256sum", "--strict", "--status", "-c", "manifest-sha256.txt"],
            cwd=copy,
            capture_output=True,
            check=False,
        )
        if name == bundle.MANIFEST:
            assert any(fault.path for fault in found.faults)
        else:
            assert found.faults[0].path == name
            assert judged.returncode == 1
        path.write_bytes(data)
    assert fh.verify(copy).ok


def test_missing_added_and_listed_twice(copy):
    (copy / "data" / "checks.csv").unlink()
    (copy / "more.txt").write_text("more")
    found = {fault.path: fault.reason for fault in fh.verify(copy).faults}
    assert found["data/checks.csv"] == "is missing"
    assert found["more.txt"] == "is not in the manifest"
    lines = (copy / bundle.MANIFEST).read_text()
    (copy / bundle.MANIFEST).write_text(lines + lines.splitlines()[0] + "\n")
    assert any("stands there twice" in fault.reason for fault in fh.verify(copy).faults)


def test_a_manifest_that_names_files_outside(copy, tmp_path):
    (tmp_path / "secret.txt").write_text("x")
    digest = hashlib.sha256(b"x").hexdigest()
    with (copy / bundle.MANIFEST).open("a") as file:
        file.write(f"{digest}  ../secret.txt\n")
    (fault,) = fh.verify(copy).faults
    assert fault.path == bundle.MANIFEST
    assert "'../secret.txt' is no name of a file inside a bundle" in fault.reason


def reseal(folder):
    Study.open(folder).seal()


def test_changed_results_are_named_with_their_place(copy):
    results = json.loads((copy / "results.json").read_text())
    results["verdicts"][1]["effect"] = 1.0
    results["evenings"] = 41
    (copy / "results.json").write_text(json.dumps(results))
    table = pd.read_csv(copy / "data" / "hours.csv")
    table.loc[0, "ratio"] = 0.123
    table.to_csv(copy / "data" / "hours.csv", index=False)
    reseal(copy)
    found = fh.verify(copy, rerun=True)
    assert found.faults == ()
    told = [str(one) for one in found.differences]
    assert any(one.startswith("results.json: evenings: 41, and again 40") for one in told)
    assert any(one.startswith("results.json: verdicts[1].effect: 1.0, and again") for one in told)
    assert any(one.startswith("data/hours.csv: line 2, ratio: 0.123") for one in told)
    assert not found.ok


def test_a_number_may_differ_by_a_billionth(copy):
    results = json.loads((copy / "results.json").read_text())
    row = results["sun"]["rows"][0]
    row["effect"] = row["effect"] * (1.0 + 5e-10)
    (copy / "results.json").write_text(json.dumps(results))
    reseal(copy)
    assert fh.verify(copy, rerun=True).ok
    assert same_value(1.0, 1.0 + 5e-10)
    assert not same_value(1.0, 1.0 + 5e-9)
    assert same_value(None, None)
    assert not same_value(None, 0.0)
    assert not same_value(True, "yes")
    assert list(differences_of({"a": [1, 2]}, {"a": [1], "b": 1})) == [
        ("a", "has 2 entries, and again 1"),
        ("b", "is only in one of the two"),
    ]


def test_an_engine_of_another_version_is_allowed(copy):
    results = json.loads((copy / "results.json").read_text())
    results["engine"] = "9.9.9"
    (copy / "results.json").write_text(json.dumps(results))
    reseal(copy)
    assert fh.verify(copy, rerun=True).ok


def test_nan_in_results_is_refused(copy):
    text = (copy / "results.json").read_text().replace('"evenings": 40', '"evenings": NaN')
    (copy / "results.json").write_text(text)
    reseal(copy)
    with pytest.raises(InputError, match=r"results.json holds NaN, which is no number in JSON"):
        fh.verify(copy, rerun=True)


def test_a_row_that_breaks_its_schema_is_named_by_the_library(copy):
    path = copy / "data" / "sittings.csv"
    text = path.read_text().splitlines()
    text[3] = text[3].rsplit(",", 1)[0] + ",many"
    path.write_text("\n".join(text) + "\n")
    package = json.loads((copy / "datapackage.json").read_text())
    for one in package["resources"]:
        if one["path"] == "data/sittings.csv":  # sealed by somebody who did not look
            one["hash"] = f"sha256:{hashlib.sha256(path.read_bytes()).hexdigest()}"
            one["bytes"] = path.stat().st_size
    (copy / "datapackage.json").write_text(json.dumps(package))
    lines = []
    for name in bundle._files_of(copy):
        if name != bundle.MANIFEST:
            lines.append(f"{bundle.sha256_of(copy / name)}  {name}\n")
    (copy / bundle.MANIFEST).write_text("".join(lines))
    faults = [str(one) for one in fh.verify(copy).faults]
    assert any("data/sittings.csv" in one and "heard" in one and "4" in one for one in faults)


@pytest.mark.parametrize("place", ["schema", "path", "dialect", "$schema"])
def test_a_descriptor_that_points_away_fetches_nothing(copy, place):
    asked = []

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_GET(self):
            asked.append(self.path)
            self.send_response(404)
            self.end_headers()

        do_HEAD = do_GET

        def log_message(self, *_):
            pass

    with http.server.HTTPServer(("127.0.0.1", 0), Handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        url = f"http://127.0.0.1:{server.server_port}/x.json"
        package = json.loads((copy / "datapackage.json").read_text())
        if place == "$schema":
            package["$schema"] = url
        else:
            package["resources"][0][place] = url
        (copy / "datapackage.json").write_text(json.dumps(package))
        names = [name for name in bundle._files_of(copy) if name != bundle.MANIFEST]
        lines = [f"{bundle.sha256_of(copy / name)}  {name}\n" for name in names]
        (copy / bundle.MANIFEST).write_text("".join(lines))
        found = fh.verify(copy)
        server.shutdown()
    assert asked == []
    assert found.ok == (place in ("dialect", "$schema"))


# Studies that are none --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('form = "farhear study 1"', 'form = "farhear study 7"', "is it of a later version"),
        ('locator = "KO38"', 'locator = "ZZ99"', "study.toml: "),
        ('licence = "CC-BY-4.0"', 'licence = "mine"', "licence = 'mine' is none of CC-BY-4.0"),
        ("seed = 1", "seed = -1", "seed = -1"),
        ("seed = 1", "sead = 1", "unknown key 'sead'; did you mean 'seed'"),
        ('member = "listener 1"', 'member = "a@b.example"', "holds an @"),
        ('title = "Winter of the demonstration"', 'title = ""', "title is empty"),
        ('time_zone = "Europe/Tallinn"', 'time_zone = "Europe/Talinn"', "study.toml: "),
    ],
)
def test_a_study_toml_that_cannot_be(copy, old, new, message):
    path = copy / "study.toml"
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))
    with pytest.raises(InputError, match=message):
        Study.open(copy)


def test_a_folder_without_a_study(tmp_path):
    with pytest.raises(InputError, match=r"holds no study.toml"):
        Study.open(tmp_path)
    fh.questions.add_question(tmp_path, fh.Question(hunch="H2", text="which?"))
    with pytest.raises(InputError, match="has questions, but no log yet"):
        Study.open(tmp_path)


def test_creating_keeps_the_questions_as_they_are(made, home, tmp_path):
    study, _, folder = made
    questions = study.questions
    log = fh.read_log(folder / "log.csv")
    again = Study.create(study.folder.parent / "again", title="x", station=home, log=log)
    assert again.questions == ()
    target = tmp_path / "t"
    for one in questions:
        fh.questions.add_question(target, one)
    assert Study.create(target, title="x", station=home, log=log).questions == questions
    assert Study.create(target, title="y", station=home, log=log).questions == questions
    assert Study.open(target).about.title == "y"
    with pytest.raises(InputError, match="characters = 8 is none of 2, 4, 6"):
        Study.create(target, title="x", station=home, log=log, characters=8)
    (tmp_path / "none.csv").write_text((folder / "log.csv").read_text().splitlines()[0] + "\n")
    empty = fh.read_log(tmp_path / "none.csv")
    with pytest.raises(InputError, match="has no checks"):
        Study.create(target, title="x", station=home, log=empty)


@pytest.mark.parametrize("name", ["station.toml", "data/mine.csv", "charts/photo.png", ".notes"])
def test_files_of_ones_own_are_neither_lost_nor_given_away(made, home, tmp_path, name):
    folder = made[2]
    log = fh.read_log(folder / "log.csv")
    target = tmp_path / "s"
    path = target / name
    path.parent.mkdir(parents=True)
    path.write_text("mine")
    with pytest.raises(InputError, match=r"is no part of a study; keep it elsewhere"):
        Study.create(target, title="x", station=home, log=log)
    assert [p.name for p in target.rglob("*") if p.is_file()] == [path.name]
    path.unlink()
    study = Study.create(target, title="x", station=home, log=log)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("mine")
    with pytest.raises(InputError, match=r"is no part of a study"):
        study.run(charts=False, page=False)
    assert path.read_text() == "mine"


def test_packing_what_was_changed_is_refused(copy, tmp_path):
    (copy / "README.md").write_text("other")
    with pytest.raises(InputError, match=r"README.md: has changed.*run the study again"):
        Study.open(copy).pack(tmp_path / "x.zip")
    assert not (tmp_path / "x.zip").exists()


# Archives ---------------------------------------------------------------------------------------


def archive_of(path, entries, **kind):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in entries:
            entry = zipfile.ZipInfo(name)
            entry.external_attr = kind.get("attr", stat.S_IFREG | 0o644) << 16
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, data)


@pytest.mark.parametrize(
    ("entries", "kind", "message"),
    [
        ([("../out.txt", b"x")], {}, "'../out.txt' is no name"),
        ([("a/../../out.txt", b"x")], {}, "is no name of a file inside a bundle"),
        ([("/etc/out.txt", b"x")], {}, "'/etc/out.txt' is no name"),
        ([("C:\\out.txt", b"x")], {}, "is no name of a file inside a bundle"),
        ([("a//b.txt", b"x")], {}, "is no name"),
        ([(".hidden", b"x")], {}, "is no name"),
        ([("a\n.txt", b"x")], {}, "is no name"),
        ([("a.txt", b"/etc/passwd")], {"attr": stat.S_IFLNK | 0o777}, "is a link or a device"),
        ([("a.txt", b"x"), ("A.TXT", b"y")], {}, "stands there twice"),
    ],
)
def test_archives_that_hold_what_no_bundle_holds(tmp_path, entries, kind, message):
    path = tmp_path / "inner" / "bad.zip"
    path.parent.mkdir()
    archive_of(path, entries, **kind)
    with pytest.raises(InputError, match=message):
        fh.verify(path)
    target = tmp_path / "inner" / "target"
    with pytest.raises(InputError):
        bundle.unpack(path, target)
    assert not target.exists()
    assert [p.name for p in tmp_path.rglob("*")] == ["inner", "bad.zip"]


@pytest.mark.filterwarnings("ignore:Duplicate name:UserWarning")
def test_two_entries_of_one_name(tmp_path):
    path = tmp_path / "bad.zip"
    archive_of(path, [("a.txt", b"x"), ("a.txt", b"y")])
    with pytest.raises(InputError, match=r"a.txt stands there twice"):
        fh.verify(path)


def test_bombs(tmp_path, monkeypatch):
    path = tmp_path / "bomb.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for number in range(11):  # 11 x 100 MiB of zeros in one MiB
            with archive.open(f"{number}.txt", "w", force_zip64=True) as out:
                for _ in range(100):
                    out.write(bytes(2**20))
    assert path.stat().st_size < 2 * 2**20
    with pytest.raises(InputError, match="would unpack to 1100 MiB; 1024 is the most"):
        fh.verify(path)
    many = tmp_path / "many.zip"
    archive_of(many, [(f"{n}.txt", b"") for n in range(bundle.MOST_FILES + 1)])
    with pytest.raises(InputError, match="5001 entries; 5000 are the most"):
        fh.verify(many)
    # one that lies about its size in the list
    liar = tmp_path / "liar.zip"
    archive_of(liar, [("a.txt", b"0" * 100_000)])
    data = liar.read_bytes()
    at = data.index(b"PK\x01\x02")
    liar.write_bytes(data[: at + 24] + (5).to_bytes(4, "little") + data[at + 28 :])
    with pytest.raises(InputError, match=r"liar.zip"):
        fh.verify(liar)


def test_damaged_and_truncated_archives_name_the_file(made, tmp_path):
    _, _, folder = made
    data = (folder / "winter.zip").read_bytes()
    for cut in (0, 10, len(data) // 2, len(data) - 10):
        path = tmp_path / "cut.zip"
        path.write_bytes(data[:cut])
        with pytest.raises(InputError, match=r"cut.zip is damaged or no zip archive"):
            fh.verify(path)
    with zipfile.ZipFile(folder / "winter.zip") as archive:
        entry = archive.getinfo("data/checks.csv")
    at = entry.header_offset + 30 + len(entry.filename) + 50
    path.write_bytes(data[:at] + bytes([data[at] ^ 0xFF]) + data[at + 1 :])
    with pytest.raises(InputError, match=r"data/checks.csv is damaged: Bad CRC"):
        fh.verify(path)


def test_a_folder_that_is_there_is_left_as_it_was(made, tmp_path):
    _, _, folder = made
    target = tmp_path / "target"
    target.mkdir()
    (target / "mine.txt").write_text("mine")
    with pytest.raises(InputError, match="is there already"):
        bundle.unpack(folder / "winter.zip", target)
    assert [p.name for p in target.iterdir()] == ["mine.txt"]


def test_a_link_in_the_folder_is_refused(copy):
    (copy / "link.txt").symlink_to("/etc/hostname")
    assert any("is a link" in fault.reason for fault in fh.verify(copy).faults)


# The home ---------------------------------------------------------------------------------------


def test_no_way_tells_more_than_the_cell(made, home):
    folder = made[2]
    found = fh.verify(folder / "winter.zip", privacy=True)
    assert found.ok, found.text()
    assert found.attack.best_radius_km == pytest.approx(np.hypot(*cell_km("KO38")) / 2.0)
    ways = {one.way for one in found.attack.traces}
    assert ways == {"words", "pictures", "sunset", "likelihoods", "hours of listening"}
    assert privacy.check_home(found.attack, home)


def test_minutes_from_the_exact_home_are_found_out(copy, home):
    study = Study.open(copy)
    exact = fh.evenings.table(study.log(), home)
    fh.evenings.openings(exact).to_csv(copy / "data" / "openings.csv", index=False)
    result = privacy.attack(study)
    assert not result.holds
    (trace,) = [one for one in result.traces if one.way == "sunset"]
    assert trace.leads_on
    away = fh.path.inverse(home.lat_deg, home.lon_deg, trace.lat_deg, trace.lon_deg).distance_km
    assert away < 5.0  # the attack works: it finds the house
    assert "THE HOME CAN BE FOUND: it lies within 1 km" in result.text()


def test_distances_and_likelihoods_from_the_exact_home_are_found_out(copy, home, schedule):
    study = Study.open(copy)
    rows = schedule.frame.head(40)
    far = fh.path.inverse(home.lat_deg, home.lon_deg, rows["tx_lat_deg"], rows["tx_lon_deg"])
    rows[["tx_lat_deg", "tx_lon_deg"]].assign(distance_km=far.distance_km.round(0)).to_csv(
        copy / "data" / "more.csv", index=False
    )
    (one,) = privacy._distances(study, privacy._homes(study)[0])
    assert one.leads_on
    away = fh.path.inverse(home.lat_deg, home.lon_deg, one.lat_deg, one.lon_deg).distance_km
    assert away < 3.0
    # likelihoods of a place in the corner of the cell
    about = study.about
    corner = dataclasses.replace(about.station, lat_deg=58.1, lon_deg=26.2)
    checks = fh.scoring.checks_from_log(study.log(), corner, study.schedule())
    said = study.predictions().frame
    began = study.log().frame.set_index("row").loc[checks.frame["row"], "start_utc"]
    keys = pd.DataFrame({"start_utc": began.to_numpy(), "freq_khz": checks.frame["freq_khz"]})
    both = keys.merge(said.drop_duplicates(["start_utc", "freq_khz"]), how="left")
    wanted = np.flatnonzero(both["likelihood"].notna())
    issued, when = (
        fh.utc(one.iloc[wanted]).unix_s for one in (both["issued_utc"], checks.frame["utc"])
    )
    value = likelihoods_of(checks, wanted, *told_fluxes(when, issued, fh.load_indices()))
    out = both.iloc[wanted].assign(likelihood=value.round(4)).drop(columns="row")
    for name in ("issued_utc", "start_utc", "end_utc"):
        out[name] = [iso_text(s) for s in fh.utc(out[name]).unix_s]
    out.to_csv(copy / "data" / "predictions.csv", index=False)
    (trace,) = privacy._likelihoods(study, privacy._homes(study)[0])
    assert trace.leads_on
    assert abs(trace.lat_deg - 58.1) <= 0.2
    assert abs(trace.lon_deg - 26.2) <= 0.4


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("write to a.listener@mail.example", "holds an address"),
        ("58.3776, 26.7290", "holds coordinates in the cell"),
        ("grid KO38ij", "holds the locator 'KO38ij'"),
        ("/{}/someone/log.csv".format("home"), "holds a path of a machine"),
    ],
)
def test_words_that_give_away(copy, text, said):
    (copy / "data" / "credits.txt").write_text(text + "\n")
    study = Study.open(copy)
    trace = privacy._words(study, privacy._homes(study))
    assert trace.leads_on
    assert said in trace.said


def test_a_picture_that_carries_a_place(copy):
    path = copy / "charts" / "hours.png"
    data = path.read_bytes()
    body = b"GPS\x0058.3776 N 26.7290 E"
    chunk = struct.pack(">I", len(body)) + b"tEXt" + body
    chunk += struct.pack(">I", zlib.crc32(b"tEXt" + body))
    path.write_bytes(data[:33] + chunk + data[33:])
    trace = privacy._metadata(copy)
    assert trace.leads_on
    assert "charts/hours.png carries tEXt 'GPS'" in trace.said


def test_gaps_are_warned_of(made, home, tmp_path):
    folder = made[2]
    text = (folder / "log.csv").read_text().splitlines()
    kept = [line for line in text if not any(f"2024-11-{d}" in line for d in range(10, 20))]
    (tmp_path / "log.csv").write_text("\n".join(kept) + "\n")
    log = fh.read_log(tmp_path / "log.csv")
    gap = Study.create(tmp_path / "s", title="gap", station=home, log=log)
    gap.run(charts=False)
    words = " ".join(privacy.attack(gap).warnings)
    assert "no checks from 2024-11-09 to 2024-11-20 (11 days)" in words
    assert "12989 square kilometres" in words

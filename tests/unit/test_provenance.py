"""Every shipped file is accounted for: an entry in its folder's PROVENANCE.md, and the digest."""

import hashlib
import json
import re
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from farhear import _data

DATA = Path(str(files("farhear"))).joinpath("data")
if not DATA.is_dir():  # editable install: the folder stands beside python/
    DATA = Path(__file__).resolve().parents[2] / "data"
FREE = {"PROVENANCE.md", "build.py"}
KEYS = {
    "file", "sha256", "covers", "source", "retrieved", "licence", "made by", "checked",
    "known errors",
}  # fmt: skip
FOLDERS = sorted(p for p in DATA.iterdir() if p.is_dir() and p.name != "__pycache__")
SHIPPED = sorted(
    p
    for p in DATA.rglob("*")
    if p.is_file()
    and p.name not in FREE
    and not {"raw", "__pycache__"} & set(p.relative_to(DATA).parts)
)


def entries(folder: Path) -> list[dict[str, str]]:
    return _data.provenance((folder / "PROVENANCE.md").read_text(encoding="utf-8"))


def test_there_is_something_to_check():
    # ccir 3, igrf 2, indices 1, world 1, bands 1: a walk that finds less looks in the wrong place
    assert len(SHIPPED) >= 8
    assert {"bands", "ccir", "igrf", "indices", "world"} <= {p.name for p in FOLDERS}


def test_no_file_stands_outside_a_data_set():
    assert [p.name for p in DATA.iterdir() if p.is_file()] == []


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda p: p.name)
def test_every_folder_has_a_note_and_every_entry_a_file(folder):
    found = entries(folder)
    assert found, f"{folder.name}/PROVENANCE.md has no entry"
    names = [entry["file"] for entry in found]
    assert len(names) == len(set(names))
    for entry in found:
        assert (folder / entry["file"]).is_file(), f"{entry['file']} is not there"
        assert set(entry) == KEYS, f"{entry['file']}: {KEYS ^ set(entry)}"
        assert all(entry.values()), f"{entry['file']} has an empty field"
        assert re.fullmatch(r"\d{4}-\d{2}-\d{2}", entry["retrieved"])
        assert "do not ship" not in entry["licence"]


@pytest.mark.parametrize("path", SHIPPED, ids=lambda p: f"{p.parent.name}/{p.name}")
def test_every_file_has_an_entry_with_its_digest(path):
    matching = [entry for entry in entries(path.parent) if entry["file"] == path.name]
    assert len(matching) == 1, f"{path.name} has {len(matching)} entries"
    assert hashlib.sha256(path.read_bytes()).hexdigest() == matching[0]["sha256"]


def test_what_is_made_by_a_script_has_the_script():
    for folder in FOLDERS:
        if any("build.py" in entry["made by"] for entry in entries(folder)):
            # the script stays out of the wheel
            here = Path(__file__).resolve().parents[2] / "data" / folder.name / "build.py"
            assert here.is_file(), f"{folder.name} lacks build.py"


def test_coverage_lists_every_file_once():
    listed = [(item.data_set, item.name) for item in _data.coverage()]
    assert sorted(listed) == [(p.parent.name, p.name) for p in SHIPPED]
    assert all(len(item.sha256) == 64 and item.covers for item in _data.coverage())


def test_both_ways_to_write_an_entry_are_read():
    text = (
        "# Title\nsource: prose before any entry\n\n"
        "file: a.csv            sha256: 00          covers: 2024 to open\n"
        "source: somebody: a table     retrieved: 2026-01-01     licence: CC0\n\n"
        "    file: b.csv\n    covers: one\n        and two\n    known errors: none\n\n"
        "made by: prose\n"
    )
    first, second = _data.provenance(text)
    assert first == {
        "file": "a.csv", "sha256": "00", "covers": "2024 to open", "source": "somebody: a table",
        "retrieved": "2026-01-01", "licence": "CC0",
    }  # fmt: skip
    assert second == {"file": "b.csv", "covers": "one and two", "known errors": "none"}


def inside(lat: float, lon: float, rings: list[np.ndarray]) -> bool:
    """Even-odd rule over all rings."""
    count = 0
    for ring in rings:
        x0, y0, x1, y1 = *ring[:-1].T, *ring[1:].T
        crosses = (y0 > lat) != (y1 > lat)
        with np.errstate(divide="ignore", invalid="ignore"):
            at = x0 + (lat - y0) * (x1 - x0) / (y1 - y0)
        count += int(np.count_nonzero(crosses & (lon < at)))
    return count % 2 == 1


def test_the_land_is_where_land_is():
    land = json.loads(_data.read_text("world", "land.geojson"))
    rings = [
        np.array(ring)
        for feature in land["features"]
        for ring in feature["geometry"]["coordinates"]
    ]
    assert len(land["features"]) == 127
    assert all((ring[0] == ring[-1]).all() and len(ring) >= 4 for ring in rings)
    assert all(np.abs(ring[:, 0]).max() <= 180 and np.abs(ring[:, 1]).max() <= 90 for ring in rings)
    # places by common geography: Tartu, Rome, Nairobi, Hawaii, Tasmania; mid-Atlantic, Caspian Sea
    on = [(58.4, 26.7), (41.9, 12.5), (-1.3, 36.8), (19.6, -155.5), (-42.0, 146.6)]
    off = [(30.0, -40.0), (41.0, 50.8)]
    assert [inside(*place, rings) for place in on + off] == [True] * 5 + [False] * 2

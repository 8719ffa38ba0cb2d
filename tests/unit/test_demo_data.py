"""The demonstration files: readable, deterministic, invented, well spread."""

import importlib.util
from importlib.resources import as_file, files
from pathlib import Path

import pytest

import farhear as fh
from farhear import band
from farhear.schedule import read_schedule

DEMO = files("farhear") / "data" / "demo"
SEASONS = ("A24", "B24")


def schedule(season):
    with as_file(DEMO / f"schedule_{season.lower()}.csv") as path:
        return read_schedule(path, days="iso", season=season)


@pytest.fixture(scope="module")
def builder():
    source = Path(__file__).parents[2] / "data" / "demo" / "build.py"
    spec = importlib.util.spec_from_file_location("demo_build", source)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize(("season", "seed"), [("A24", 20240331), ("B24", 20241027)])
def test_file_is_what_the_builder_makes(builder, season, seed):
    shipped = (DEMO / f"schedule_{season.lower()}.csv").read_bytes()
    assert builder.build(season, seed).encode() == shipped


@pytest.mark.parametrize("season", SEASONS)
def test_reads_without_a_reject_and_says_it_is_invented(season):
    text = (DEMO / f"schedule_{season.lower()}.csv").read_text("utf-8")
    assert text.startswith("# invented for demonstration")
    table = schedule(season)
    assert table.rejects.empty
    assert set(table.warnings["reason"]) <= {"an AM receiver hears noise here"}
    assert len(table) >= 400
    assert table.frame["site"].nunique() >= 35
    assert set(table.frame["band"]) == {b.name for b in band.BANDS}
    counts = table.frame["band"].value_counts()
    assert counts.loc[["49 m", "31 m", "25 m", "19 m", "16 m"]].min() > counts["60 m"]


@pytest.mark.parametrize("season", SEASONS)
def test_has_the_cases_a_reader_must_cope_with(season):
    frame = schedule(season).frame
    assert (frame["stop_min"] > 1440).any()
    assert (frame["days"] != "1234567").any()
    assert frame["valid_from"].nunique() > 1
    assert frame["valid_to"].nunique() > 1
    assert frame["azimuth_deg"].isna().any()
    tropical = frame[frame["band"].isin(["120 m", "90 m", "60 m"])]
    assert tropical["tx_lat_deg"].abs().max() <= 25.0
    assert tropical["power_kw"].max() <= 50.0


def test_seasons_meet_at_0100_utc():
    at = fh.utc(["2024-10-27T00:30Z", "2024-10-27T01:30Z"])
    before, after = (schedule(season).on_air(at).any(axis=0).tolist() for season in SEASONS)
    assert before == [True, False]
    assert after == [False, True]


def test_no_two_broadcasts_share_a_channel(builder):
    frame = schedule("B24").frame
    for _, group in frame.groupby("freq_khz"):
        minutes = [m % 1440 for r in group.itertuples() for m in range(r.start_min, r.stop_min)]
        assert len(minutes) == len(set(minutes))

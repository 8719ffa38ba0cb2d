"""The scores against field recordings, on cases whose answer is known."""

import sys
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import xarray as xr

sys.path.insert(0, str(Path(__file__).parents[1] / "field"))
import _recordings as recordings
import _scores as scores

import farhear as fh
from farhear.times import unix_s

DAY = "2021-01-11"
OPENING_H, CLOSING_H, EDGE_KM = 13.25, 23.5, 1000.0


def openness(hour: Any) -> Any:
    return (
        1.0 / (1.0 + np.exp(-8.0 * (hour - OPENING_H))) / (1.0 + np.exp(8.0 * (hour - CLOSING_H)))
    )


def beyond(distance_km: Any) -> Any:
    return 1.0 / (1.0 + np.exp(-(distance_km - EDGE_KM) / 40.0))


def invented(
    tx_lat_deg: Any,
    tx_lon_deg: Any,
    rx_lat_deg: Any,
    rx_lon_deg: Any,
    _: float,
    utc: Any,
    **__: Any,
) -> xr.Dataset:
    """A world of one skip distance that is open from OPENING_H to CLOSING_H."""
    distance = fh.path.inverse(tx_lat_deg, tx_lon_deg, rx_lat_deg, rx_lon_deg).distance_km
    hour = unix_s(utc) % 86400.0 / 3600.0
    heard = beyond(distance) * openness(hour)
    dims = ("dim_0", "dim_1")
    return xr.Dataset({"likelihood": (dims, heard), "muf_mhz": (dims, np.full_like(heard, 20.0))})


@pytest.fixture
def spots_of_invented(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Counts as that world would give them, with ground wave below 100 km at all hours."""
    hour = (np.arange(1439) + 0.5) / 60.0
    distance = np.arange(300) * 10.0 + 5.0
    counts = 200.0 * openness(hour)[:, None] * beyond(distance)
    counts[:, :10] = 20.0
    (tmp_path / recordings.SPOTS).mkdir()
    name = tmp_path / recordings.SPOTS / f"spots_{DAY}_20m_NA_minute_by_10km.csv.gz"
    np.savetxt(name, counts, delimiter=",", fmt="%.3f")
    monkeypatch.setenv("FARHEAR_FIELD_DATA", str(tmp_path))


@pytest.mark.usefixtures("spots_of_invented")
def test_the_world_that_made_the_spots_scores_well() -> None:
    report, absent = scores.run(invented, quick=True)
    assert len(absent) == 1
    assert absent[0].startswith(recordings.TOKYO)
    value = report.frame.set_index("score")["value"]
    assert abs(value["skip edge by day, bias"]) < 3.0
    assert value["skip edge by day, RMSE"] < 3.0
    assert abs(value[f"opening, predicted less observed, {DAY}"]) < 5.0
    assert abs(value[f"closing, predicted less observed, {DAY}"]) < 5.0
    assert value["ROC area, present = above 0.2 of the day's 95th percentile"] > 0.99
    assert value["rank correlation, distance x hour"] > 0.9


@pytest.mark.usefixtures("spots_of_invented")
def test_a_world_with_another_skip_and_opening_is_told_by_how_much(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sys.modules[__name__], "EDGE_KM", 800.0)
    monkeypatch.setattr(sys.modules[__name__], "OPENING_H", 12.25)
    value = scores.score_all(invented, quick=True).set_index("score")["value"]
    assert value["skip edge by day, bias"] == pytest.approx(-20.0, abs=3.0)
    assert value[f"opening, predicted less observed, {DAY}"] == pytest.approx(-60.0, abs=5.0)


def test_absent_recordings_are_named_and_skipped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FARHEAR_FIELD_DATA", str(tmp_path))
    report, absent = scores.run(invented)
    assert report.frame.empty
    assert [text.split(":")[0] for text in absent] == [recordings.TOKYO, recordings.SPOTS]


def test_rank_correlation_of_a_textbook_example() -> None:
    # Ten pairs of IQ and hours of television, rho = -29/165: the worked example of many
    # introductions to Spearman's coefficient (from memory).
    iq = np.array([106.0, 100.0, 86.0, 101.0, 99.0, 103.0, 97.0, 113.0, 112.0, 110.0])
    hours = np.array([7.0, 27.0, 2.0, 50.0, 28.0, 29.0, 20.0, 12.0, 6.0, 17.0])
    assert scores.spearman(iq, hours) == pytest.approx(-29.0 / 165.0, abs=1e-12)
    assert scores.spearman(iq, np.ones(10)) != scores.spearman(iq, np.ones(10))  # NaN


def test_roc_area_counts_pairs() -> None:
    # of the four pairs (with, without) three are in order
    assert scores.roc_area([0, 0, 1, 1], np.array([0.1, 0.4, 0.35, 0.8])) == pytest.approx(0.75)
    assert scores.roc_area([0, 1], np.array([0.3, 0.3])) == pytest.approx(0.5)
    assert np.isnan(scores.roc_area([1, 1], np.array([0.3, 0.4])))


def test_fall_and_rise_of_a_day_made_of_two_levels() -> None:
    minute = np.arange(144) * scores.STEP_MIN + scores.STEP_MIN / 2
    level = np.where((minute > 9 * 60) & (minute < 22 * 60 + 30), -60.0, -45.0)
    fall, rise = scores.fall_and_rise(level)
    assert fall == pytest.approx(9 * 60, abs=10.0)
    assert rise == pytest.approx(22 * 60 + 30, abs=10.0)
    assert np.isnan(scores.fall_and_rise(np.full(144, -45.0))).all()


def test_skip_edge_of_a_step_and_of_none() -> None:
    step = (scores.DISTANCES_KM > 1100.0).astype(float)
    assert scores.skip_edge_km(step) == pytest.approx(1100.0, abs=20.0)
    assert np.isnan(scores.skip_edge_km(np.ones(scores.DISTANCES_KM.size)))
    assert np.isnan(scores.skip_edge_km(np.zeros(scores.DISTANCES_KM.size)))


def test_flux_of_the_last_27_days_is_a_mean_of_days() -> None:
    frame = fh.load_indices().frame
    day = pd.Timestamp(DAY)
    days = frame[(frame["date"] > day - pd.Timedelta(days=27)) & (frame["date"] <= day)]
    assert len(days) == 27
    assert scores.flux(DAY, "27day") == pytest.approx(days["f107_obs_sfu"].mean())
    with pytest.raises(ValueError, match="12month or 27day"):
        scores.flux(DAY, "today")

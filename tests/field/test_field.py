"""The untrained likelihood against open recordings, where they are present.

Sources: spot counts of HamSCI/spot_curve_analysis (MIT licence) and the 10 MHz level of Zenodo
10.5281/zenodo.5774479 (CC0). The bounds are a little below what was measured when the physics was
last changed: 0.94, 0.89 and 0.95 on 14 MHz, 0.7 on 10 MHz.
"""

import sys
from pathlib import Path

import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).parent))
import _recordings as recordings
import _scores as scores


@pytest.fixture(scope="module")
def table() -> pd.DataFrame:
    for name in (recordings.SPOTS, recordings.TOKYO):
        try:
            recordings.folder(name)
        except recordings.AbsentError as absent:
            pytest.skip(f"{name}: {absent}")
    return scores.score_all(quick=True)


def value(table: pd.DataFrame, text: str) -> float:
    found = table[table["score"].str.startswith(text)]
    assert len(found) == 1, text
    return float(found["value"].iloc[0])


@pytest.mark.parametrize(("share", "least"), [("0.1", 0.86), ("0.2", 0.91), ("0.4", 0.92)])
def test_cells_with_spots_rank_above_cells_without(
    table: pd.DataFrame, share: str, least: float
) -> None:
    area = value(table, f"ROC area, present = above {share} of the day's 95th percentile")
    assert least <= area <= 1.0


def test_hours_with_a_strong_carrier_rank_above_others(table: pd.DataFrame) -> None:
    assert 0.6 <= value(table, "ROC area of likelihood, threshold mid") <= 1.0

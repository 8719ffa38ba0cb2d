"""A user's own table of lightning noise: nothing lost, round the year and the clock."""

import numpy as np
import pytest

import farhear as fh
from farhear.noise import read_atmospheric
from farhear.reception import likelihood

HEADER = "month,hour_utc,freq_mhz,fa_db,upper_decile_db,lower_decile_db\n"


def write(path, rows):  # type: ignore[no-untyped-def]
    path.write_text(HEADER + "".join(",".join(map(str, row)) + "\n" for row in rows))
    return path


@pytest.fixture
def table(tmp_path):  # type: ignore[no-untyped-def]
    # invented: Fa = 60 - 20 log2(f / 5) + 2 month + hour / 6, deciles 9 and 7
    rows = [
        (m, h, f, 60 - 20 * np.log2(f / 5) + 2 * m + h / 6, 9, 7)
        for m in range(1, 13)
        for h in (0, 6, 12, 18)
        for f in (5, 10)
    ]
    return read_atmospheric(write(tmp_path / "own.csv", rows))


def test_knots_and_between(table) -> None:  # type: ignore[no-untyped-def]
    at = table.fa("2024-07-16T12:00Z", 5000.0)  # a day from the middle of July
    assert float(at.fa_db) == pytest.approx(60 + 14 + 2, abs=0.1)
    assert float(at.upper_decile_db) == pytest.approx(9.0)
    middle = table.fa("2024-07-16T09:00Z", 5000.0 * np.sqrt(2))
    assert float(middle.fa_db) == pytest.approx(50 + 14 + 1.5, abs=0.1)
    # held outside the table's frequencies
    assert float(table.fa("2024-07-16T12:00Z", 2000.0).fa_db) == pytest.approx(
        float(at.fa_db), abs=1e-9
    )


def test_nothing_jumps_round_the_year_and_the_clock(table) -> None:  # type: ignore[no-untyped-def]
    t = np.datetime64("2023-12-20") + (np.arange(40 * 1440) * 60).astype("timedelta64[s]")
    fa = table.fa(fh.utc(t, naive_is_utc=True), 7000.0).fa_db
    assert np.abs(np.diff(fa)).max() < 0.03


def test_refused_rows_are_named_and_none_is_lost(tmp_path) -> None:  # type: ignore[no-untyped-def]
    rows = [(1, 0, 5, 60, 9, 7), (1, 0, 5, 61, 9, 7), (13, 0, 5, 60, 9, 7), (1, 0, 5, "x", 9, 7)]
    table = read_atmospheric(write(tmp_path / "own.csv", rows))
    assert table.rows_read == 4
    assert len(table.frame) == 1
    # the last has two faults: no number, and a place that is taken
    assert sorted(set(table.rejects["row"])) == [3, 4, 5]
    assert "stands already in line 2" in table.rejects["reason"].tolist()[0]


def test_holes_are_an_error(tmp_path) -> None:  # type: ignore[no-untyped-def]
    rows = [(1, 0, 5, 60, 9, 7), (1, 12, 10, 60, 9, 7)]
    with pytest.raises(fh.InputError, match="do not fill"):
        read_atmospheric(write(tmp_path / "own.csv", rows))


def test_it_goes_into_the_likelihood(table) -> None:  # type: ignore[no-untyped-def]
    hours = fh.utc(
        np.datetime64("2024-07-16") + np.arange(4).astype("timedelta64[h]"), naive_is_utc=True
    )
    freq = np.array([6000.0, 9600.0])
    own = table.fa(hours, freq[:, None])
    given = {"power_kw": 100.0, "f107_sfu": 150.0, "noise": "rural"}
    loud = likelihood(45.0, 25.0, 58.4, 26.7, freq[:, None], hours, atmospheric=own, **given)
    quiet = likelihood(45.0, 25.0, 58.4, 26.7, freq[:, None], hours, atmospheric=None, **given)
    assert loud["snr_db"].shape == (2, 4)
    assert (loud["noise_fa_db"] > quiet["noise_fa_db"] + 10).all()
    assert (loud["snr_db"] < quiet["snr_db"] - 10).all()

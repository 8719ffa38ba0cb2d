"""Behaviour of the indices: status, coverage, the reader and its rejects."""

import doctest

import numpy as np
import pandas as pd
import pytest

from farhear import InputError, indices


@pytest.fixture(scope="module")
def table() -> indices.Indices:
    return indices.load_indices()


def test_examples_in_the_docstrings():
    result = doctest.testmod(indices)
    assert result.failed == 0
    assert result.attempted >= 5


def test_the_frame_is_a_copy(table):
    frame = table.frame
    frame.loc[0, "f107_obs_sfu"] = -1.0
    assert table.frame.loc[0, "f107_obs_sfu"] == 269.3  # 1957-10-01 in the source
    with pytest.raises(AttributeError):
        table.name = "other"
    assert table.accepted_count == table.read_count == 25214
    assert table.rejects.columns.tolist() == ["row", "column", "value", "reason"]
    assert str(table.frame["date"].dtype) == "datetime64[ns]"
    assert len(table.credits) == 3


def test_kp_is_in_exact_thirds(table):
    # 1957-10-01 in the source: 43 40 30 20 37 23 43 37, tenths of 4+ 4o 3o 2o 4- 2+ 4+ 4-
    row = table.frame.loc[0, [f"kp_{h:02d}" for h in range(0, 24, 3)]].to_numpy(float)
    assert row.tolist() == [13 / 3, 4.0, 3.0, 2.0, 11 / 3, 7 / 3, 13 / 3, 11 / 3]


def test_kp_intervals_begin_at_their_hour(table):
    when = ["1957-10-01T00:00Z", "1957-10-01T02:59:59Z", "1957-10-01T03:00Z", "1957-10-01T23:59Z"]
    assert table.kp_at(when).tolist() == [13 / 3, 13 / 3, 4.0, 11 / 3]
    assert table.kp_at("1957-10-01T05:30+02:00") == 4.0
    assert table.kp_at([]).shape == (0,)


def test_predicted_kp_must_be_asked_for(table):
    with pytest.raises(InputError, match=r"only predicted .*2026-02-23"):
        table.kp_at("2026-02-24T00:00Z")
    assert table.kp_at("2026-02-24T00:00Z", allow_predicted=True) == 8 / 3  # 27 in the source
    for when in ("1957-09-30T23:59Z", "2026-04-10T00:00Z", "2026-05-01T00:00Z"):
        with pytest.raises(InputError, match=r"no Kp; the shipped indices has measured"):
            table.kp_at(when, allow_predicted=True)
    with pytest.raises(InputError, match="no time zone"):
        table.kp_at("2020-01-01T00:00")


def test_smoothed_flux_goes_straight_from_middle_to_middle(table):
    june = pd.Timestamp("2024-06-16", tz="UTC")
    july = pd.Timestamp("2024-07-16T12:00", tz="UTC")
    at = [june + (july - june) * part for part in (0.0, 0.25, 0.5, 1.0)]
    flux, status = table.f107_12month_sfu(at)
    assert flux == pytest.approx(flux[0] + (flux[3] - flux[0]) * np.array([0, 0.25, 0.5, 1]))
    assert flux[0] != flux[3]
    assert status.tolist() == ["observed"] * 4


def test_one_predicted_month_makes_the_smoothed_flux_predicted(table):
    # January 2026 is the last whole measured month; so July 2025 is the last measured mean of 13
    flux, status = table.f107_12month_sfu(
        ["2025-07-16T12:00Z", "2025-07-16T12:00:01Z", "2025-08-16T12:00Z", "2035-01-01T00:00Z"]
    )
    assert status.tolist() == ["observed", "predicted", "predicted", "predicted"]
    assert np.isfinite(flux).all()


def test_smoothed_flux_ends_six_months_inside(table):
    assert np.isfinite(table.f107_12month_sfu("1958-04-16T00:00Z").f107_sfu)
    assert np.isfinite(table.f107_12month_sfu("2041-04-16T00:00Z").f107_sfu)
    for when in (
        "1958-04-15T23:59Z",
        "2041-04-16T00:01Z",
        "1920-01-01T00:00Z",
        "2090-01-01T00:00Z",
    ):
        with pytest.raises(InputError, match="from 1958-04-16 to 2041-04-16"):
            table.f107_12month_sfu(when)
    with pytest.raises(InputError, match=r"when\[1\] = 1957-12-01"):
        table.f107_12month_sfu(["2000-01-01T00:00Z", "1957-12-01T00:00Z"])


def test_missing_times_pass(table):
    import farhear as fh

    when = fh.utc(np.array(["2020-01-01", "NaT"], dtype="datetime64[s]"), naive_is_utc=True)
    flux, status = table.f107_12month_sfu(when)
    assert np.isnan(flux).tolist() == [False, True]
    assert status.tolist() == ["observed", "missing"]
    assert np.isnan(table.kp_at(when)).tolist() == [False, True]


@pytest.mark.parametrize("series", [None, "", "V1", 1])
def test_a_sunspot_number_without_its_series_is_refused(series):
    with pytest.raises(InputError, match="rescaled in July 2015"):
        indices.r12(100, series=series)


def test_sunspot_numbers_out_of_range():
    assert np.isnan(indices.r12(np.nan, "v1"))
    with pytest.raises(InputError, match=r"value = -1 is outside \[0, 400\]"):
        indices.r12(-1.0, "v2")


HEADER = "date,f107_obs_sfu,kp_00,kp_03,status"
GOOD = [f"2026-01-{day:02d},150.{day % 10},3.3,3.67,observed" for day in range(1, 32)]


def test_accepted_and_rejected_are_what_was_read(tmp_path):
    bad = [
        "2026-02-30,150,3,3,observed",  # no such day
        "2026-02-01,much,3,3,observed",  # no number
        "2026-02-02,150,9.5,3.5,observed",  # two faults
        "2026-02-03,150,3,3,guessed",  # no such status
        "2026-01-05,150,3,3,observed",  # twice
        "2026-02-04,150,3",  # short row
        "2026-02-05,30000,,,",  # flux and status
    ]
    path = tmp_path / "mine.csv"
    path.write_text("\n".join([HEADER, *bad[:3], *reversed(GOOD), "", *bad[3:]]) + "\n")
    before = path.read_bytes()
    table = indices.read_indices(path)
    assert path.read_bytes() == before
    assert table.read_count == 38
    assert table.accepted_count == 31
    assert table.accepted_count + table.rejects["row"].nunique() == table.read_count
    assert table.rejects["column"].tolist() == [
        "date", "f107_obs_sfu", "kp_00", "kp_03", "status", "date", "", "f107_obs_sfu", "status",
    ]  # fmt: skip
    assert table.rejects["row"].tolist() == [2, 3, 4, 4, 37, 38, 39, 40, 40]
    assert table.rejects.loc[5, "reason"].startswith("stands already in row ")
    frame = table.frame
    assert frame["date"].is_monotonic_increasing
    assert frame.loc[0, "kp_00"] == 10 / 3
    assert frame.loc[0, "kp_03"] == 11 / 3
    assert np.isnan(frame.loc[0, "ap"])
    assert frame["source"].unique().tolist() == ["mine.csv"]


def test_a_table_of_thirteen_months_drives_the_maps(tmp_path):
    days = pd.date_range("2020-01-01", "2021-01-31")
    rows = [f"{day:%Y-%m-%d},{100 + day.month}" for day in days]
    path = tmp_path / "mine.csv"
    path.write_text("date,f107_obs_sfu\n" + "\n".join(rows) + "\n")
    table = indices.read_indices(path)
    # January (101) at both ends with half weight, 102 .. 112 between: 1278 / 12, by hand
    with pytest.raises(InputError, match=r"no smoothed flux"):
        table.f107_12month_sfu("2020-07-20T00:00Z")
    flux, status = table.f107_12month_sfu("2020-07-16T12:00Z")
    assert flux == pytest.approx(1278 / 12)
    assert status == "observed"


def test_a_hole_in_the_table_is_not_bridged(tmp_path):
    days = pd.date_range("2020-01-01", "2022-12-31")
    kept = [d for d in days if not (d.year == 2021 and d.month == 3 and d.day > 12)]
    path = tmp_path / "mine.csv"
    path.write_text("date,f107_obs_sfu\n" + "\n".join(f"{d:%Y-%m-%d},100" for d in kept) + "\n")
    table = indices.read_indices(path)
    assert table.f107_12month_sfu("2020-07-20T00:00Z").f107_sfu == pytest.approx(100.0)
    with pytest.raises(InputError, match="no smoothed flux"):
        table.f107_12month_sfu("2021-03-20T00:00Z")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("f107_obs_sfu\n100\n", "column date is missing"),
        ("date,f107_obs_sfu,sunspots\n2020-01-01,100,5\n", "column 'sunspots' is not one of"),
        ("date,date,f107_obs_sfu\n2020-01-01,2020-01-01,100\n", "stands twice"),
        ("", "column date is missing"),
    ],
)
def test_a_wrong_header_is_named(tmp_path, text, message):
    path = tmp_path / "mine.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=message):
        indices.read_indices(path)


def test_no_file_and_no_rows(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        indices.read_indices(tmp_path / "absent.csv")
    path = tmp_path / "mine.csv"
    path.write_text("date,f107_obs_sfu\n")
    empty = indices.read_indices(path)
    assert (empty.read_count, empty.accepted_count, empty.coverage) == (0, 0, {})
    with pytest.raises(InputError, match="no 13 months in a row"):
        empty.f107_12month_sfu("2020-01-01T00:00Z")
    with pytest.raises(InputError, match="no rows"):
        empty.kp_at("2020-01-01T00:00Z")

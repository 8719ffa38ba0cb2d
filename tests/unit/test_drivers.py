"""Drivers of the maps at the edges: windows over the whole record, gaps, predictions."""

from collections.abc import Callable

import numpy as np
import pytest

import farhear as fh
from farhear.indices import Indices

Record = Callable[..., Indices]
LINE = 100.0 + np.arange(200)  # 100, 101, ..


def instants(days: np.ndarray) -> fh.UtcTimes:
    """Noon of each day."""
    return fh.utc(days.astype("datetime64[s]") + np.timedelta64(12, "h"), naive_is_utc=True)


def measured() -> tuple[np.ndarray, np.ndarray]:
    """Days without a gap, and their flux, from the shipped columns."""
    frame = fh.load_indices().frame
    frame = frame[frame["status"] != "predicted"]
    return frame["date"].to_numpy("datetime64[D]"), frame["f107_obs_sfu"].to_numpy(np.float64)


@pytest.mark.parametrize(("driver", "days", "behind"), [("81day", 81, 40), ("27day", 27, 0)])
def test_windows_over_the_whole_record(driver: str, days: int, behind: int) -> None:
    """Against numpy's windows over the published column; `behind`: days after the day itself."""
    dates, flux = measured()
    windows = np.lib.stride_tricks.sliding_window_view(flux, days).mean(axis=1)
    at = dates[days - 1 - behind : flux.size - behind]
    found = fh.load_indices().f107_sfu(instants(at), driver)
    np.testing.assert_allclose(found.f107_sfu, windows, rtol=1e-12)
    assert set(found.status) == {"observed"}


def test_daily_is_the_published_value_but_for_the_rule_of_bursts() -> None:
    dates, flux = measured()
    found = fh.load_indices().f107_sfu(instants(dates[2:-2]), "daily").f107_sfu
    usual = np.median(np.lib.stride_tricks.sliding_window_view(flux, 5), axis=1)
    inner = flux[2:-2]
    np.testing.assert_allclose(found, np.where(inner > 1.5 * usual, usual, inner))
    assert int((found != inner).sum()) == 18  # as the docstring says


def test_a_day_is_a_day_of_utc_and_shapes_are_kept(invented_record: Record) -> None:
    table = invented_record("2020-01-01", LINE)
    when = fh.utc([["2020-03-01T00:00Z", "2020-03-01T23:59:59Z"], ["2020-03-02T00:00Z"] * 2])
    found = table.f107_sfu(when, "daily")
    assert found.f107_sfu.tolist() == [[160.0, 160.0], [161.0, 161.0]]
    assert found.status.shape == (2, 2)


# two thirds of 81 are 54, of 27 are 18. Day 100 of the record is 2020-04-10.
@pytest.mark.parametrize(
    ("driver", "first", "last", "spare"),
    [("81day", 60, 140, 27), ("27day", 74, 100, 9), ("daily", 100, 100, 0)],
)
def test_two_thirds_of_the_days_are_enough(
    driver: str, first: int, last: int, spare: int, invented_record: Record
) -> None:
    found = invented_record("2020-01-01", LINE, slice(first, first + spare)).f107_sfu(
        "2020-04-10T12:00Z", driver
    )
    # mean of a straight line: half of its ends
    assert float(found.f107_sfu) == pytest.approx(100.0 + 0.5 * (first + spare + last))
    with pytest.raises(fh.InputError, match=rf"2020-04-10: no {driver} flux; an invented record"):
        invented_record("2020-01-01", LINE, slice(first, first + spare + 1)).f107_sfu(
            "2020-04-10T12:00Z", driver
        )


def test_a_predicted_month_is_no_day(invented_record: Record) -> None:
    """The shipped record goes on by month after 2026-04-09, on the first of each."""
    table = fh.load_indices()
    assert table.f107_sfu("2026-04-09T12:00Z", "daily").status == "predicted"
    for day in ("2026-05-01", "2030-01-01", "2030-01-02"):
        with pytest.raises(fh.InputError, match=f"when = {day}: no daily flux"):
            table.f107_sfu(f"{day}T12:00Z", "daily")
    # a short record of measured days is not touched by that
    assert (
        float(invented_record("2020-01-01", LINE).f107_sfu("2020-01-01T12:00Z", "daily").f107_sfu)
        == 100.0
    )

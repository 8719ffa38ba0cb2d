"""The forecast of the flux against the record that came, closed forms, and its own definition."""

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

import farhear as fh
from farhear import forecast
from farhear.indices import Indices

Record = Callable[..., Indices]

LEADS = np.array([0, 3, 6, 12, 24])  # months


def firsts(month: np.datetime64) -> fh.UtcTimes:
    """First day of the months at the leads; two years with a leap day are 731 days: a day less."""
    days = (month + LEADS).astype("datetime64[D]")
    days = np.minimum(days, month.astype("datetime64[D]") + 730)
    return fh.utc(days.astype("datetime64[s]"), naive_is_utc=True)


@pytest.fixture(scope="module")
def issues() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Told, standard deviation and what came; every fourth month of 1985 to 2023."""
    record = fh.load_indices()
    told, doubt, came = [], [], []
    for month in np.arange(np.datetime64("1985-01"), np.datetime64("2024-01"), 4):
        when = firsts(month)
        found, truth = forecast.flux(record, month, when), record.f107_12month_sfu(when)
        told.append(found.f107_sfu)
        doubt.append(found.sd_sfu)
        came.append(np.where(truth.status == "observed", truth.f107_sfu, np.nan))
    return np.array(told), np.array(doubt), np.array(came)


def test_errors_at_each_lead(issues: tuple[np.ndarray, np.ndarray, np.ndarray]) -> None:
    """The figures of the docstring, which rest on every month, against F10.7 of DRAO Penticton."""
    told, doubt, came = issues
    rms = np.sqrt(np.nanmean((told - came) ** 2, axis=0))
    np.testing.assert_allclose(rms, [8.2, 12.3, 17.4, 23.3, 27.2], rtol=0.15)
    within = np.where(np.isnan(came), np.nan, np.abs(told - came) < 1.645 * doubt)
    share = np.nanmean(within, axis=0)  # 90 % in a normal distribution (tables)
    assert ((share > 0.80) & (share < 0.97)).all()


def test_better_than_knowing_only_the_mean(
    issues: tuple[np.ndarray, np.ndarray, np.ndarray],
) -> None:
    """The simplest rival at two years: the mean of all that came, which even looks ahead."""
    told, _, came = issues
    rms = np.sqrt(np.nanmean((told - came) ** 2, axis=0))
    assert (rms < 0.75 * np.nanstd(came, axis=0)).all()


def test_a_constant_sun_is_told_exactly(invented_record: Record) -> None:
    found = forecast.flux(
        invented_record("1980-01-01", np.full(9000, 120.0)),
        "2004-01-01",
        firsts(np.datetime64("2004-01")),
    )
    np.testing.assert_allclose(found.f107_sfu, 120.0, rtol=1e-9)
    np.testing.assert_allclose(found.sd_sfu, 0.0, atol=1e-6)


def test_a_regular_sun_is_told_closely(invented_record: Record) -> None:
    """A sine of eleven years: any of its values is a sum of two earlier ones (closed form)."""

    def flux(day: np.ndarray) -> np.ndarray:
        return np.asarray(120.0 + 20.0 * np.sin(2.0 * np.pi * day / (11.0 * 365.2425)))

    when = firsts(np.datetime64("2004-01"))
    found = forecast.flux(
        invented_record("1980-01-01", flux(np.arange(9000.0))), "2004-01-01", when
    )
    start = pd.Timestamp("1980-01-01", tz="UTC").timestamp()
    came = flux((fh.times.unix_s(when) - start) / 86400.0)
    np.testing.assert_allclose(found.f107_sfu, came, atol=1.0)
    assert (found.sd_sfu < 1.0).all()


@pytest.mark.parametrize("month", ["1996-05", "2014-11"])
def test_one_lead_worked_apart(month: str) -> None:
    """The regression as the docstring defines it, with pandas and the normal equations."""
    frame = fh.load_indices().frame
    daily = frame[frame["date"] < pd.Timestamp(month)].set_index("date")["f107_obs_sfu"]
    mean = daily.resample("MS").mean()
    near = sum(mean.shift(k) for k in range(-5, 6))
    smooth = np.log((near + 0.5 * mean.shift(6) + 0.5 * mean.shift(-6)) / 12.0)
    lead = 12
    # means known on the first of a month; on the first of another the smoothed flux lies half-way
    # between two months
    year = daily.rolling(365).mean()
    known = [daily.rolling(27).mean(), daily.rolling(81).mean(), year, year.shift(365)]
    days = smooth.index.append(pd.DatetimeIndex([month]))
    x = pd.concat([one.shift(1, freq="D").reindex(days) for one in known], axis=1).map(np.log)
    x.insert(0, "one", 1.0)
    x.columns = range(5)
    y = (0.5 * (smooth + smooth.shift(1))).reindex(days).shift(-lead)
    rows = x.notna().all(axis=1) & y.notna()
    a, b = x[rows].to_numpy(), y[rows].to_numpy()
    told = np.exp(x.to_numpy()[-1] @ np.linalg.solve(a.T @ a, a.T @ b))
    since = (days[rows].year - 1958) * 12 + days[rows].month - 4  # from the first smoothed month
    rest = np.concatenate(
        [
            b[out] - a[out] @ np.linalg.solve(a[~out].T @ a[~out], a[~out].T @ b[~out])
            for block in np.unique(since // 48)
            if (out := since // 48 == block).any()
        ]
    )
    when = pd.Timestamp(month, tz="UTC") + pd.Timedelta(days=365.2425)
    found = forecast.flux(fh.load_indices(), month, when)
    assert float(found.f107_sfu) == pytest.approx(told, rel=1e-6)
    assert float(found.sd_sfu) == pytest.approx(told * np.sqrt(np.mean(rest**2)), rel=1e-6)


@pytest.mark.parametrize("issued", ["1987-03-01", "2003-10-31", "2021-02-14"])
def test_a_record_that_ends_the_day_before_tells_the_same(issued: str) -> None:
    record = fh.load_indices()
    frame = record.frame
    frame = frame[frame["date"] < issued].reset_index(drop=True)
    cut = Indices(frame, record.rejects, len(frame), (), "cut short")
    days = np.datetime64(issued) + np.arange(-300, 720, 60)
    when = fh.utc(days.astype("datetime64[s]"), naive_is_utc=True)
    plain, other = (forecast.flux(one, issued, when) for one in (record, cut))
    np.testing.assert_array_equal(plain.f107_sfu, other.f107_sfu)
    np.testing.assert_array_equal(plain.sd_sfu, other.sd_sfu)
    assert plain.sd_sfu[0] == 0.0
    assert (plain.sd_sfu[-12:] > 0.0).all()

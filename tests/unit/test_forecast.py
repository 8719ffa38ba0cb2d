"""Drivers of the maps, and what could be known on a day."""

from collections.abc import Callable

import numpy as np
import pytest

import farhear as fh
from farhear import forecast
from farhear.indices import DRIVERS, Indices

Record = Callable[..., Indices]


def at(day: str) -> fh.UtcTimes:
    return fh.utc(f"{day}T12:00Z")


def test_the_drivers_are_means_over_their_days(invented_record: Record) -> None:
    days = np.arange(400.0)
    table = invented_record("2020-01-01", 100.0 + days)
    # day 200 is 2020-07-19; worked by hand: means of a straight line
    worked = {"81day": 300.0, "27day": 287.0, "daily": 300.0}
    for driver, value in worked.items():
        found = table.f107_sfu(at("2020-07-19"), driver)
        assert float(found.f107_sfu) == pytest.approx(value)
        assert found.status == "observed"


# CelesTrak SW-All, column F10.7_OBS_CENTER81 of these dates (one decimal)
@pytest.mark.parametrize(
    ("day", "sfu"),
    [("1990-02-10", 190.8), ("2009-01-20", 69.7), ("2015-06-15", 119.4), ("2024-06-16", 190.9)],
)
def test_centred_means_are_those_of_the_provider(day: str, sfu: float) -> None:
    found = fh.load_indices().f107_sfu(at(day), "81day").f107_sfu
    assert float(found) == pytest.approx(sfu, abs=0.06)


def test_a_burst_gives_way_to_the_usual_flux(invented_record: Record) -> None:
    flux = np.full(60, 90.0)
    flux[40] = 900.0
    table = invented_record("2020-01-01", flux)
    assert float(table.f107_sfu(at("2020-02-10"), "daily").f107_sfu) == 90.0
    # shipped: the burst of 2011-03-07 (938.6 in the record)
    assert float(fh.load_indices().f107_sfu(at("2011-03-07"), "daily").f107_sfu) < 200.0


@pytest.mark.parametrize("driver", DRIVERS)
def test_drivers_keep_shape_and_missing_times(driver: str) -> None:
    when = fh.utc(np.array(["2020-03-01", "NaT"], "datetime64[s]"), naive_is_utc=True)
    found = fh.load_indices().f107_sfu(when, driver)
    assert found.f107_sfu.shape == (2,)
    assert np.isnan(found.f107_sfu[1])
    assert list(found.status) == ["observed", "missing"]


@pytest.mark.parametrize("driver", ["81day", "27day", "daily"])
@pytest.mark.parametrize("day", ["1950-01-01", "2060-01-01"])
def test_days_outside_the_record_are_refused_by_name(driver: str, day: str) -> None:
    with pytest.raises(fh.InputError, match=rf"when = {day}: no {driver} flux; .* measured days"):
        fh.load_indices().f107_sfu(at(day), driver)


def test_unknown_drivers_are_refused() -> None:
    with pytest.raises(fh.InputError, match="driver = 'weekly' is none of 12month, 81day"):
        fh.load_indices().f107_sfu(at("2020-01-01"), "weekly")


def test_predicted_days_say_so() -> None:
    last = fh.load_indices().coverage["measured"][-10:]
    after = str(np.datetime64(last) + 3)
    assert fh.load_indices().f107_sfu(at(after), "27day").status == "predicted"


# --- forecast ------------------------------------------------------------------------------------
def test_a_forecast_does_not_look_ahead() -> None:
    indices = fh.load_indices()
    frame = indices.frame
    later = frame["date"] >= "2010-05-17"
    frame.loc[later, "f107_obs_sfu"] = 400.0
    altered = Indices(frame, indices.rejects, len(frame), indices.credits, indices.name)
    when = fh.utc(["2009-12-01T00:00Z", "2010-05-17T12:00Z", "2011-05-01T00:00Z"])
    plain, other = (forecast.flux(one, "2010-05-17", when) for one in (indices, altered))
    np.testing.assert_array_equal(plain.f107_sfu, other.f107_sfu)
    np.testing.assert_array_equal(plain.sd_sfu, other.sd_sfu)
    frame.loc[frame["date"] == "2010-05-16", "f107_obs_sfu"] = 400.0
    peek = Indices(frame, indices.rejects, len(frame), indices.credits, indices.name)
    assert (forecast.flux(peek, "2010-05-17", when).f107_sfu != plain.f107_sfu)[1:].all()


def test_errors_are_as_large_as_told() -> None:
    """Against what came, from the shipped record (F10.7 of DRAO Penticton)."""
    indices = fh.load_indices()
    off, told = [], []
    for year in range(1985, 2024, 2):
        for month in (1, 5, 9):
            issued = np.datetime64(f"{year}-{month:02d}-01")
            leads = (issued + np.array([0, 182, 364])).astype("datetime64[s]")
            when = fh.utc(leads, naive_is_utc=True)
            found = forecast.flux(indices, issued, when)
            off.append(found.f107_sfu - indices.f107_12month_sfu(when).f107_sfu)
            told.append(found.sd_sfu)
    share = (np.abs(off) < 1.645 * np.array(told)).mean(axis=0)
    assert ((share > 0.75) & (share < 0.99)).all()
    rms = np.sqrt(np.mean(np.square(off), axis=0))
    assert (np.diff(rms) > 0.0).all()
    # better than to say that the smoothed flux stays as it was half a year before, when last known
    stays = [
        float(
            indices.f107_12month_sfu(at(f"{y}-01-16")).f107_sfu
            - indices.f107_12month_sfu(at(f"{y}-07-16")).f107_sfu
        )
        for y in range(1985, 2023)
    ]
    assert rms[0] < 0.7 * np.sqrt(np.mean(np.square(stays)))


def test_what_was_known_is_told_without_doubt() -> None:
    indices = fh.load_indices()
    found = forecast.flux(indices, "2022-03-05", at("2020-03-16"))
    assert float(found.sd_sfu) == 0.0
    exact = float(indices.f107_12month_sfu(at("2020-03-16")).f107_sfu)
    assert float(found.f107_sfu) == pytest.approx(exact, abs=1e-9)


@pytest.mark.parametrize(
    ("issued", "when", "text"),
    [
        ("2020-13-01", "2020-01-01", "issued = '2020-13-01' is no date"),
        ("2020-01-01", "2022-06-01", "when is 29.0 months after issued = 2020-01-01"),
        ("1965-01-01", "1965-02-01", "a forecast needs 180"),
        ("2027-06-01", "2027-06-02", "too few measured days"),
    ],
)
def test_bad_forecasts_are_refused(issued: str, when: str, text: str) -> None:
    with pytest.raises(fh.InputError, match=text):
        forecast.flux(fh.load_indices(), issued, at(when))


def test_a_hole_in_the_record_is_no_shift_of_months() -> None:
    """Six months of 1975 taken out of the shipped record."""
    indices = fh.load_indices()
    frame = indices.frame
    hole = (frame["date"] >= "1975-03-01") & (frame["date"] < "1975-09-01")
    holed = Indices(
        frame[~hole], indices.rejects, int((~hole).sum()), indices.credits, "a record with a hole"
    )
    whole, other = (forecast.flux(one, "2010-05-17", at("2010-06-01")) for one in (indices, holed))
    assert float(other.f107_sfu) == pytest.approx(float(whole.f107_sfu), abs=1.0)
    assert float(other.sd_sfu) == pytest.approx(float(whole.sd_sfu), abs=1.0)
    with pytest.raises(fh.InputError, match="no smoothed flux there, days are missing in a record"):
        forecast.flux(holed, "2010-05-17", at("1975-06-01"))


# --- in the likelihood ---------------------------------------------------------------------------
CIRCUIT = (45.0, 25.0, 58.4, 26.7)
HOURS = fh.utc([f"2020-03-15T{h:02d}:00Z" for h in range(0, 24, 3)])


def test_doubt_about_the_flux_is_the_mean_over_fluxes() -> None:
    """Against a mean over 400 draws of a normal flux."""
    freq = np.array([9600.0, 15100.0, 21500.0])[:, None]
    given = {"power_kw": 100.0}
    told = fh.reception.likelihood(*CIRCUIT, freq, HOURS, f107_sfu=120.0, f107_sd_sfu=15.0, **given)
    draws = np.random.default_rng(2).normal(120.0, 15.0, 400)
    every = fh.reception.likelihood(
        *CIRCUIT, freq[..., None], HOURS[:, None], f107_sfu=draws, **given
    )["likelihood"].to_numpy()
    error = every.std(axis=-1) / 20.0
    assert (np.abs(told["likelihood"] - every.mean(axis=-1)) < 4.0 * error + 0.004).all()
    sure = fh.reception.likelihood(*CIRCUIT, freq, HOURS, f107_sfu=120.0, **given)
    np.testing.assert_array_equal(told["snr_db"], sure["snr_db"])
    assert (told["snr_lower_decile_db"] <= sure["snr_lower_decile_db"] + 1e-12).all()
    assert (told["snr_upper_decile_db"] >= sure["snr_upper_decile_db"] - 1e-12).all()
    assert (told["snr_upper_decile_db"] > sure["snr_upper_decile_db"] + 0.5).any()


def test_doubt_reaches_interferers_and_rungs() -> None:
    other = [{"tx_lat_deg": 30.0, "tx_lon_deg": 31.0, "freq_khz": 15105.0, "power_kw": 250.0}]
    given = {"power_kw": 100.0, "interferers": other}
    low, middle, high = (
        fh.reception.likelihood(*CIRCUIT, 15100.0, HOURS, f107_sfu=f, **given)
        for f in (100.0, 120.0, 140.0)
    )
    told = fh.reception.likelihood(
        *CIRCUIT, 15100.0, HOURS, f107_sfu=120.0, f107_sd_sfu=20.0 / np.sqrt(3.0), **given
    )
    for name in ("likelihood", "rung_likelihood"):
        mean = (low[name] + 4.0 * middle[name] + high[name]) / 6.0
        np.testing.assert_allclose(told[name], mean, atol=1e-12)
        assert told[name].attrs == middle[name].attrs


@pytest.mark.parametrize("value", [-1.0, 201.0])
def test_bad_doubt_is_refused(value: float) -> None:
    with pytest.raises(fh.InputError, match="f107_sd_sfu"):
        fh.reception.likelihood(
            *CIRCUIT, 9600.0, HOURS, power_kw=1.0, f107_sfu=100.0, f107_sd_sfu=value
        )

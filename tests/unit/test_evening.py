"""Plan of an evening; every broadcaster, site and home here is invented."""

import dataclasses
import datetime as dt
import math
import time
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

import farhear as fh
from farhear import reception
from farhear.calibrate import PARAMETERS, Fit
from farhear.errors import InputError
from farhear.evening import plan as plan_evening
from farhear.evening import rung_snr_db, strength_word
from farhear.schedule import read_schedule
from farhear.station import Station, read_station

DEMO = Path(__file__).resolve().parents[2] / "data" / "demo"
COLUMNS = (
    "freq_khz,start_utc,stop_utc,days,broadcaster,language,tx_lat_deg,tx_lon_deg,power_kw,target,"
    "modulation"
)
GOOD = "9500,1800,1900,daily,Radio Belmorant,eng,50.6,19.3,100,18,"


def schedule_of(tmp_path, *lines, season=None):
    path = tmp_path / "list.csv"
    path.write_text("\n".join([COLUMNS, *lines]) + "\n", encoding="utf-8")
    return read_schedule(path, days="iso", season=season)


@pytest.fixture(scope="module")
def home():
    return read_station(DEMO / "station.toml")


@pytest.fixture(scope="module")
def demo():
    return read_schedule(DEMO / "schedule_b24.csv", days="iso", season="B24")


@pytest.fixture(scope="module")
def tonight(home, demo):
    begun = time.monotonic()
    plan = plan_evening(home, demo, "2024-11-27")
    assert time.monotonic() - begun < 10.0
    return plan


def in_new_york():
    return Station(
        name="invented", lat_deg=40.7, lon_deg=-74.0, time_zone="America/New_York", noise="rural"
    )


def test_demo_rows_are_those_on_the_air_in_any_minute(demo, tonight):
    begin_s, end_s = tonight.window.unix_s
    minutes = fh.UtcTimes(np.arange(begin_s, end_s, 60.0))
    analog = demo.frame["modulation"].to_numpy() != "DIGITAL"
    on = demo.on_air(minutes) & analog[:, None]
    assert set(tonight.frame["row"]) == set(demo.frame["row"][on.any(axis=1)])
    length = (tonight.frame["end_utc"] - tonight.frame["start_utc"]).dt.total_seconds() / 60.0
    assert length.sum() == on.sum()  # all starts and stops of the demo are whole minutes


def test_demo_is_ranked_and_complete(tonight):
    frame = tonight.frame
    assert frame["likelihood"].is_monotonic_decreasing
    assert (frame["likelihood_mean"] <= frame["likelihood"] + 1e-12).all()
    assert frame["likelihood"].between(0.0, 1.0).all()
    assert (
        (frame["best_utc"] >= frame["start_utc"]) & (frame["best_utc"] < frame["end_utc"])
    ).all()
    assert any("27-day mean" in note for note in tonight.notes)


def test_local_times_and_weekdays_are_those_of_zoneinfo(tonight):
    zone = ZoneInfo("Europe/Tallinn")
    for name in ("start", "end", "best"):
        for line in tonight.frame.to_dict("records"):
            instant = line[f"{name}_utc"].to_pydatetime()
            local = instant.astimezone(zone)
            assert line[f"{name}_local"] == local.replace(tzinfo=None, microsecond=0)
            assert line[f"{name}_utc_weekday"] == f"{instant:%a}"
            assert line[f"{name}_local_weekday"] == f"{local:%a}"


def test_default_window_is_sunset_less_an_hour_to_local_midnight(tonight):
    # Hour angle of the sun at zenith 90.833 deg; declination and equation of time of 27 November
    # from an almanac, from memory: -21.2 deg and +12.3 min. Good to two minutes.
    lat, dec = math.radians(58.4), math.radians(-21.2)
    cos_h = (math.cos(math.radians(90.833)) - math.sin(lat) * math.sin(dec)) / (
        math.cos(lat) * math.cos(dec)
    )
    sunset_h = 12.0 - 12.3 / 60.0 - 26.7 / 15.0 + math.degrees(math.acos(cos_h)) / 15.0
    begin_s, end_s = tonight.window.unix_s
    assert begin_s % 86400.0 / 3600.0 == pytest.approx(sunset_h - 1.0, abs=3.0 / 60.0)
    midnight = dt.datetime(2024, 11, 28, tzinfo=ZoneInfo("Europe/Tallinn"))
    assert end_s == midnight.timestamp()
    sunset = tonight.frame["home_sunset_utc"].iloc[0]
    assert 0.0 <= sunset.timestamp() - begin_s - 3600.0 <= 61.0
    sunrise_h = 24.0 - sunset_h - 2.0 * (12.3 / 60.0 + 26.7 / 15.0)  # as far before noon
    sunrise = tonight.frame["home_sunrise_utc"].iloc[0]
    assert sunrise.hour + sunrise.minute / 60.0 == pytest.approx(sunrise_h, abs=4.0 / 60.0)
    assert f"{sunrise:%Y-%m-%d}" == "2024-11-27"  # nearer to the evening than the one after


def test_groups_count_what_is_on_the_air(tonight, demo):
    analog = demo.frame["modulation"].to_numpy() != "DIGITAL"
    band = demo.frame["band"].to_numpy()
    for line in tonight.groups.to_dict("records"):
        if line["utc"].timestamp() < tonight.window.unix_s[0]:
            continue  # a short stretch at the edge stands in the step that holds it
        on = demo.on_air(line["utc"].isoformat()) & analog & (band == line["band"])
        assert line["on_air_count"] == on.sum()
        assert tonight.frame["freq_khz"].iloc[line["rank"]] == line["freq_khz"]


def test_azimuth_and_distance_on_a_sphere(home, tmp_path):
    plan = plan_evening(home, schedule_of(tmp_path, GOOD), "2024-11-27", f107_sfu=150.0)
    a, b = math.radians(58.4), math.radians(50.6)
    dlon = math.radians(19.3 - 26.7)
    east = math.sin(dlon) * math.cos(b)
    north = math.cos(a) * math.sin(b) - math.sin(a) * math.cos(b) * math.cos(dlon)
    line = plan.frame.iloc[0]
    assert line["azimuth_deg"] == pytest.approx(
        math.degrees(math.atan2(east, north)) % 360, abs=0.5
    )
    arc = math.acos(math.sin(a) * math.sin(b) + math.cos(a) * math.cos(b) * math.cos(dlon))
    assert line["distance_km"] == pytest.approx(6371.0 * arc, rel=0.005)


def test_best_and_mean_by_hand(home, tmp_path):
    schedule = schedule_of(tmp_path, GOOD)
    line = plan_evening(home, schedule, "2024-11-27", f107_sfu=150.0).frame.iloc[0]
    from farhear.season import broadcast_geometry

    geometry = broadcast_geometry(home, schedule.frame)
    one_by_one = [
        float(
            reception.likelihood(
                50.6,
                19.3,
                58.4,
                26.7,
                9500.0,
                when,
                power_kw=100.0,
                f107_sfu=150.0,
                tx_pattern_dbi=geometry["pattern_dbi"][0],
                tx_gain_sd_db=geometry["tx_gain_sd_db"][0],
                min_elevation_deg=3.0,
            )["likelihood"]
        )
        for when in ("2024-11-27T18:00Z", "2024-11-27T18:30Z")
    ]
    assert line["likelihood"] == pytest.approx(max(one_by_one), abs=1e-12)
    assert line["likelihood_mean"] == pytest.approx(sum(one_by_one) / 2.0, abs=1e-12)


def test_utc_weekday_after_new_york_evening(tmp_path):
    # Wednesday 25 November 2026, 20:30 in New York, is Thursday 01:30 UTC (zoneinfo).
    schedule = schedule_of(
        tmp_path, GOOD.replace("1800,1900,daily", "0130,0200,3"), "9700,0130,0200,4" + GOOD[20:]
    )
    plan = plan_evening(
        in_new_york(), schedule, "2026-11-25", start="20:00", end="21:30", f107_sfu=150
    )
    line = plan.frame.iloc[0]
    assert plan.frame["freq_khz"].tolist() == [9700.0]
    assert (line["start_utc_weekday"], line["start_local_weekday"]) == ("Thu", "Wed")
    assert line["start_local"] == dt.datetime(2026, 11, 25, 20, 30)  # noqa: DTZ001


def test_stretch_over_midnight_is_one(home, tmp_path):
    schedule = schedule_of(
        tmp_path, GOOD.replace("1800,1900", "2330,0030"), "9700,0000,2400" + GOOD[14:]
    )
    plan = plan_evening(home, schedule, "2024-11-27", start="23:00", end="03:00", f107_sfu=150.0)
    spans = {
        line["freq_khz"]: (f"{line['start_utc']:%d %H%M}", f"{line['end_utc']:%d %H%M}")
        for line in plan.frame.to_dict("records")
    }
    assert spans == {9500.0: ("27 2330", "28 0030"), 9700.0: ("27 2100", "28 0100")}


def test_stretch_shorter_than_a_step(home, tmp_path):
    schedule = schedule_of(tmp_path, GOOD.replace("1800,1900", "1805,1815"))
    line = plan_evening(home, schedule, "2024-11-27", f107_sfu=150.0).frame.iloc[0]
    assert f"{line['best_utc']:%H%M}" == "1810"


@pytest.mark.parametrize(("other_khz", "mode"), [(9505, "LSB"), (9495, "USB"), (9600, "AM")])
def test_sideband_away_from_the_neighbour(home, tmp_path, other_khz, mode):
    # Listening practice: neighbour 5 kHz up, take LSB; down, USB; clear channel, AM.
    other = f"{other_khz},1700,2000,daily,Dorwashi Radio,deu,48.0,11.0,500,27,"
    plan = plan_evening(home, schedule_of(tmp_path, GOOD, other), "2024-11-27", f107_sfu=150.0)
    line = plan.frame[plan.frame["freq_khz"] == 9500.0].iloc[0]
    assert line["mode"] == mode
    assert ("Dorwashi Radio" in line["neighbours"]) == (mode != "AM")
    side = {9505: "5 kHz up", 9495: "5 kHz down", 9600: "no neighbour"}[other_khz]
    assert side in line["mode_reason"]


def test_digital_is_a_neighbour_only(home, tmp_path):
    other = "9505,1700,2000,daily,Dorwashi Radio,deu,48.0,11.0,500,27,DIGITAL"
    plan = plan_evening(home, schedule_of(tmp_path, GOOD, other), "2024-11-27", f107_sfu=150.0)
    assert plan.frame["broadcaster"].tolist() == ["Radio Belmorant"]
    assert plan.frame["neighbours"].tolist() == ["9505 kHz Dorwashi Radio"]
    assert any("1 digital" in note for note in plan.notes)


def test_single_sideband(home, tmp_path):
    plan = plan_evening(home, schedule_of(tmp_path, GOOD + "SSB"), "2024-11-27", f107_sfu=150.0)
    assert plan.frame["mode"].tolist() == ["USB"]
    assert "Mode USB" in plan.why_not(0)


def test_only_what_is_wanted(home, tmp_path):
    schedule = schedule_of(
        tmp_path, GOOD, "9700,1800,1900,daily,Dorwashi Radio,deu,48.0,11.0,500,27 28,"
    )

    def names(**wanted):
        found = plan_evening(home, schedule, "2024-11-27", f107_sfu=150.0, **wanted)
        return sorted(found.frame["broadcaster"])

    assert names() == ["Dorwashi Radio", "Radio Belmorant"]
    assert names(languages=["eng"]) == ["Radio Belmorant"]
    assert names(targets=["28"]) == ["Dorwashi Radio"]
    assert names(heard={"Dorwashi Radio"}) == ["Radio Belmorant"]
    assert names(heard={"Dorwashi Radio", "Radio Belmorant"}) == []


def test_a_higher_rung_is_less_likely(home, tmp_path):
    schedule = schedule_of(tmp_path, GOOD)
    found = [
        plan_evening(home, schedule, "2024-11-27", f107_sfu=150.0, rung=rung).frame["likelihood"][0]
        for rung in fh.listening.LADDER
    ]
    assert found == sorted(found, reverse=True)
    assert found[0] > found[-1]


def test_rungs_scale_with_the_bandwidth():
    # 11 dB in 9 kHz is 10 dB more in a tenth of the bandwidth: ten times less noise.
    assert rung_snr_db("language recognisable", 900.0) == pytest.approx(21.0)
    words = [strength_word(snr, 9000.0) for snr in (5.0, 6.0, 11.0, 17.0, 26.0, 34.0)]
    assert words == ["inaudible", "a trace", "weak", "fair", "good", "strong"]


def test_flux_of_the_past_is_the_mean_of_27_days(tonight):
    table = fh.load_indices().frame.set_index("date")["f107_obs_sfu"]
    days = [np.datetime64("2024-11-27") - i for i in range(27)]
    mean = sum(float(table[day]) for day in days) / 27.0
    assert any(f"solar flux {mean:.0f} sfu" in note for note in tonight.notes)


def test_flux_after_the_record_is_a_forecast_with_its_doubt(home, tmp_path):
    plan = plan_evening(home, schedule_of(tmp_path, GOOD), "2026-11-27")
    assert any("give or take" in note for note in plan.notes)


def test_why_not(tonight):
    text = tonight.why_not(len(tonight.frame) - 1)
    line = tonight.frame.iloc[-1]
    assert text.startswith(f"{line['freq_khz']:g} kHz {line['broadcaster']} at 2024-11-27 ")
    assert "held back" in text or "too weak" in text
    assert "  margin: -" in text
    for row in (-1, len(tonight.frame)):
        with pytest.raises(InputError, match="outside the plan"):
            tonight.why_not(row)
    with pytest.raises(InputError, match="whole number"):
        tonight.why_not("first")


def test_season(home, demo, tmp_path):
    with pytest.raises(InputError, match="outside season B24"):
        plan_evening(home, demo, "2025-06-15", start="20:00", f107_sfu=150.0)
    edge = schedule_of(tmp_path, "9500,0000,2400" + GOOD[14:], season="B24")
    plan = plan_evening(home, edge, "2025-03-30", start="00:00", end="12:00", f107_sfu=150.0)
    assert [f"{t:%H%M}" for t in plan.frame["end_utc"]] == ["0100"]  # last Sunday of March
    assert any("part of the window" in note for note in plan.notes)


def test_clock_change_widens_the_window(home, tmp_path):
    # Readings 03:00 to 04:00 of 27 October 2024 happen twice in Tallinn (zoneinfo).
    schedule = schedule_of(tmp_path, GOOD)
    plan = plan_evening(home, schedule, "2024-10-27", start="03:15", end="03:45", f107_sfu=150.0)
    assert np.diff(plan.window.unix_s) == 5400.0
    assert plan.frame.empty


def test_no_sunset(tmp_path):
    north = Station(name="invented", lat_deg=69.6, lon_deg=19.0, time_zone="Europe/Oslo")
    schedule = schedule_of(tmp_path, GOOD)
    with pytest.raises(InputError, match="does not set"):
        plan_evening(north, schedule, "2024-06-20", f107_sfu=150.0)
    plan = plan_evening(north, schedule, "2024-06-20", start="19:00", f107_sfu=150.0)
    assert len(plan.frame) == 1
    assert plan.frame["home_sunset_utc"].isna().all()


@pytest.mark.parametrize(
    ("wrong", "text"),
    [
        ({"start": "8 pm"}, "start = '8 pm'"),
        ({"start": "24:00"}, "start = '24:00'"),
        ({"end": "24:01"}, "end = '24:01'"),
        ({"start": "20:00", "end": "20:00"}, "empty"),
        ({"step_min": 0}, "step_min"),
        ({"rung": "inteligible"}, "did you mean 'intelligible'"),
        ({"languages": "eng"}, "give a list"),
        ({"languages": ["enk"]}, "did you mean 'eng'"),
        ({"targets": ["99"]}, "targets names '99'"),
        ({"heard": [7]}, "not text"),
        ({"f107_sfu": 10.0}, "f107_sfu"),
        ({"date": "27 November"}, "calendar date"),
    ],
)
def test_bad_input(home, tmp_path, wrong, text):
    given = {"date": "2024-11-27", "f107_sfu": 150.0, **wrong}
    with pytest.raises(InputError, match=text):
        plan_evening(home, schedule_of(tmp_path, GOOD), given.pop("date"), **given)


# Set right by a log -----------------------------------------------------------------------------


def learnt(values=(0.0, 0.0, 1.0, 0.0), variances=(0.0, 0.0, 0.0, 0.0)):
    """A fit as if a log had taught it."""
    rows = [("no fit", "log", 0.1, 0.05, 0.15), ("no fit", "Brier", 0.01, 0.005, 0.015)]
    return Fit(
        **dict(zip(PARAMETERS, values, strict=True)),
        covariance=np.diag(variances),
        held=(),
        validation=pd.DataFrame(rows, columns=["against", "score", "gain", "low", "high"]),
        checks_count=240,
        heard_count=100,
        weeks_count=12,
        first_utc="2024-09-01T18:00:00Z",
        last_utc="2024-11-24T18:00:00Z",
        log_sha256="0" * 64,
        flux="as given",
    )


@pytest.fixture(scope="module")
def with_rival(tmp_path_factory):
    folder = tmp_path_factory.mktemp("rival")
    rival = "9505,1800,1900,daily,Zephrine Waves,eng,48.0,2.0,300,18,"
    return schedule_of(folder, GOOD, rival)


def at_six(home, schedule, **more):
    how = {"start": "20:00", "end": "20:30", "f107_sfu": 120.0}
    frame = plan_evening(home, schedule, "2024-11-27", **(how | more)).frame
    return frame.sort_values("freq_khz").reset_index(drop=True)


def test_a_fit_of_nothing_changes_no_bit(home, with_rival):
    plain, fitted = at_six(home, with_rival), at_six(home, with_rival, fit=learnt())
    assert len(plain) == 2
    assert fitted.equals(plain)
    plan = plan_evening(home, with_rival, "2024-11-27", start="20:00", end="20:30", fit=learnt())
    assert any("set right by 240 checks of 2024-09-01 to 2024-11-24" in n for n in plan.notes)


def test_a_bias_is_the_same_for_all_emitters(home, with_rival):
    # against the likelihood of each circuit, wanted and unwanted emitter 6 dB weaker
    found = at_six(home, with_rival, fit=learnt((-6.0, 0.0, 1.0, 0.0)))
    plan = plan_evening(home, with_rival, "2024-11-27", start="20:00", end="20:30", f107_sfu=120.0)
    for rank, row in plan.frame.iterrows():
        when = fh.UtcTimes(np.array(row["best_utc"].timestamp()))
        given = plan._air.circuit(int(plan._position[rank]), when)
        for rival in given["interferers"]:
            rival["tx_gain_dbi"] = -6.0
        alone = reception.likelihood(**given, tx_gain_dbi=-6.0)
        one = found[found["freq_khz"] == row["freq_khz"]].iloc[0]
        assert one["snr_db"] == pytest.approx(float(alone["snr_db"]), abs=0.05)
        assert one["likelihood"] == pytest.approx(float(alone["likelihood"]), abs=1e-3)
        assert one["likelihood"] < row["likelihood"]


def test_noise_absorption_and_flux_of_a_fit(home, with_rival, tmp_path):
    quiet = dataclasses.replace(home, noise=40.0)
    found = at_six(quiet, with_rival, fit=learnt((0.0, 6.0, 1.0, 0.0)))
    expected = at_six(dataclasses.replace(home, noise=46.0), with_rival)
    np.testing.assert_allclose(found["snr_db"], expected["snr_db"], atol=1e-9)
    more = at_six(home, with_rival, fit=learnt((0.0, 0.0, 1.0, 30.0)))
    expected = at_six(home, with_rival, f107_sfu=150.0)
    np.testing.assert_allclose(more["likelihood"], expected["likelihood"], atol=1e-12)
    alone = schedule_of(tmp_path, GOOD)
    strong = at_six(home, alone, fit=learnt((0.0, 0.0, 3.0, 0.0)))
    assert (strong["snr_db"] < at_six(home, alone)["snr_db"]).all()


def test_doubt_is_averaged_and_the_flux_counts_among_it(home, with_rival):
    away = 9.0 * math.sqrt(3.0)
    ends = [at_six(home, with_rival, fit=learnt((b, 0.0, 1.0, 0.0))) for b in (-away, away)]
    plain = at_six(home, with_rival)
    unsure = at_six(home, with_rival, fit=learnt(variances=(81.0, 0.0, 0.0, 0.0)))
    by_hand = plain["likelihood"] * 2.0 / 3.0 + sum(one["likelihood"] for one in ends) / 6.0
    np.testing.assert_allclose(unsure["likelihood"], by_hand, atol=1e-12)
    np.testing.assert_array_equal(unsure["snr_db"], plain["snr_db"])
    # a flux that is told, not measured, is averaged as without a fit
    how = {"start": "20:00", "end": "20:30"}
    plain = plan_evening(home, with_rival, "2027-11-24", **how)
    fitted = plan_evening(home, with_rival, "2027-11-24", **how, fit=learnt())
    assert "told from" in " ".join(plain.notes)
    np.testing.assert_allclose(
        fitted.frame.sort_values("freq_khz")["likelihood"],
        plain.frame.sort_values("freq_khz")["likelihood"],
        atol=1e-12,
    )

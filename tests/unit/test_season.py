"""A season study: shapes, what is on the air, how bands open, files, rules, command line."""

import csv
import datetime as dt
import sys

import numpy as np
import pandas as pd
import pytest
import xarray as xr

import farhear as fh
from farhear import antenna, charts, cli, reception, rules
from farhear.charts import pages
from farhear.errors import InputError
from farhear.folder import write_season
from farhear.schedule import read_schedule
from farhear.season import (
    TURN_STATES,
    band_weeks,
    crossing,
    hour_ranges,
    season_study,
    summary,
)
from farhear.station import Station

# netCDF4 is compiled against another numpy header; harmless, says numpy itself
pytestmark = pytest.mark.filterwarnings("ignore:numpy.ndarray size changed:RuntimeWarning")

HOME = Station(
    name="Test [bold] home", lat_deg=58.4, lon_deg=26.7, time_zone="Europe/Tallinn", noise="rural"
)
HEADER = (
    "freq_khz,start_utc,stop_utc,days,broadcaster,site,tx_lat_deg,tx_lon_deg,power_kw,azimuth_deg,"
    "modulation"
)
LIST = f"""{HEADER}
6070,1800,2000,daily,Radio Belmorant,Brunnevik,50.6,19.3,100,,
6195,2300,0100,7,Radio Umbasani,Addiwera,9.6,37.7,250,350,
6195,0300,0400,daily,Radio Umbasani,Addiwera,9.6,37.7,250,350,
3955,1700,1900,daily,Noverrin External,Tulgarai,43.6,68.9,100,310,
15200,0900,1200,daily,Radio Yandorica,Zambelu,-13.9,29.2,250,0,
15300,0900,1200,daily,Radio Yandorica,Zambelu,-13.9,29.2,250,0,DIGITAL
9500,0900,1200,daily,Radio Yandorica,Brunnevik,50.6,19.3,0,,
"""
DATES = [dt.date(2025, 12, 20), dt.date(2025, 12, 21), dt.date(2025, 12, 22)]


@pytest.fixture(scope="module")
def schedule(tmp_path_factory):
    path = tmp_path_factory.mktemp("list") / "list.csv"
    path.write_text(LIST)
    return read_schedule(path, days="iso", season="B25")


@pytest.fixture(scope="module")
def study(schedule):
    return season_study(HOME, schedule, dates=DATES, f107_sfu=140.0)


def test_shapes_coordinates_and_cf_attributes(study):
    assert dict(study.sizes) == {"broadcast": 5, "date": 3, "hour_utc": 24, "band": 3}
    assert study["band"].to_numpy().tolist() == ["75 m", "49 m", "19 m"]
    assert study["broadcast"].to_numpy().tolist() == [2, 3, 4, 5, 6]  # lines of the file
    assert study["broadcasts_count"].to_numpy().tolist() == [1, 3, 1]
    assert study["far_count"].to_numpy().tolist() == [1, 2, 1]
    for name in ("likelihood", "snr_db", "muf_mhz", "open_likelihood", "dusk_opening_min"):
        assert {"units", "long_name", "source"} <= set(study[name].attrs)
    assert study.attrs["Conventions"] == "CF-1.11"
    assert study.attrs["left_out"] == "1 digital broadcasts"
    assert study.attrs["index_status"] == "given on 3 of 3 dates"
    assert "tzdata" in study.attrs["tzdata_edition"] or "system" in study.attrs["tzdata_edition"]
    assert study["likelihood"].dtype == np.float32
    assert (study["likelihood"] >= 0).all()
    assert (study["likelihood"] <= 1).all()


def test_values_are_those_of_the_core_at_half_past(study):
    here = study.sel(broadcast=6)
    off_deg = (here["tx_bearing_deg"] - here["azimuth_deg"] + 180.0) % 360.0 - 180.0
    table = antenna.elevation_table_dbi("", 15200.0, [float(off_deg)], power_kw=250.0)
    direct = reception.likelihood(
        *(-13.9, 29.2, 58.4, 26.7, 15200.0),
        "2025-12-21T10:30Z",
        power_kw=250.0,
        f107_sfu=140.0,
        tx_pattern_dbi=table.gain_dbi[0],
        tx_gain_sd_db=table.sd_db[0],
        noise="rural",
        min_elevation_deg=HOME.min_elevation_deg,
    )
    here = study.sel(broadcast=6, date="2025-12-21", hour_utc=10)
    assert float(here["likelihood"]) == pytest.approx(float(direct["likelihood"]), abs=1e-6)
    assert float(here["muf_mhz"]) == pytest.approx(float(direct["muf_mhz"]), rel=1e-6)


def test_geometry(study):
    # Tallinn-side home to 13.9 S 29.2 E: almost due south; a degree of latitude is 110.6-111.7 km
    # on WGS84 (any geodesy text), so 72.3 degrees are 7,995 to 8,076 km.
    assert 7995.0 < float(study["distance_km"].sel(broadcast=6)) < 8085.0
    assert abs(float(study["off_beam_deg"].sel(broadcast=6))) < 3.0
    assert np.isnan(study["off_beam_deg"].sel(broadcast=2))
    # without an azimuth: what is typical of the power, and little known
    assert 0.0 < float(study["tx_gain_dbi"].sel(broadcast=2)) < 10.0
    assert float(study["tx_gain_sd_db"].sel(broadcast=2)) >= 4.0


def test_on_air_and_limit(study):
    # 2025-12-21 is a Sunday: 2300 to 0100 from that day reaches into Monday the 22nd.
    on_air = study["on_air"].sel(broadcast=3)
    assert on_air.sel(date="2025-12-21", hour_utc=23) == 1
    assert on_air.sel(date="2025-12-22", hour_utc=0) == 1
    assert on_air.sel(date="2025-12-21", hour_utc=0) == 0
    assert int(on_air.sum()) == 2
    silent = study["on_air"] == 0
    codes = dict(
        zip(
            study["limit"].attrs["flag_meanings"].split(),
            study["limit"].attrs["flag_values"].tolist(),
            strict=True,
        )
    )
    assert (study["limit"].where(silent, drop=False).fillna(5) == codes["not_on_air"]).all()
    assert not (study["limit"] == codes["not_on_air"]).where(~silent, False).any()


def test_equal_circuits_have_equal_results_whatever_their_hours(study):
    one, other = (study["likelihood"].sel(broadcast=b).to_numpy() for b in (3, 4))
    assert np.array_equal(one, other)


def test_band_measures_are_the_best_of_their_circuits(study):
    best = study["likelihood"].to_numpy()[[0, 1, 2]].max(axis=0)
    assert np.array_equal(study["open_likelihood"].sel(band="49 m"), best)
    far = study["likelihood"].to_numpy()[1]
    assert np.array_equal(study["far_likelihood"].sel(band="49 m"), far)


def test_sun_of_the_home(study):
    # Solstice at 58.4 N: declination -23.44, so the noon zenith angle is 81.8 deg, and the day
    # lasts 2 acos(-tan 58.4 tan -23.44 + refraction) = 6 h 17 min with 90.833 deg (by hand).
    zenith = study["sun_zenith_deg"].sel(date="2025-12-21")
    assert float(zenith.min()) == pytest.approx(81.84, abs=0.4)
    length_h = study["sunset_hour_utc"] - study["sunrise_hour_utc"]
    h0 = np.degrees(
        np.arccos(
            (np.cos(np.radians(90.833)) - np.sin(np.radians(58.4)) * np.sin(np.radians(-23.44)))
            / (np.cos(np.radians(58.4)) * np.cos(np.radians(-23.44)))
        )
    )
    assert float(length_h.sel(date="2025-12-21")) == pytest.approx(2 * h0 / 15.0, abs=0.02)
    assert (study["utc_offset_min"] == 120).all()


def test_the_first_and_last_date_have_dusk_and_dawn(study):
    for name in ("dusk_opening", "dawn_closing"):
        assert (study[f"{name}_state"] != 4).all()
    state = study["dusk_opening_state"].sel(band="75 m")
    assert (state == 0).all()  # 4 MHz from 3,300 km opens at dusk in winter
    minutes = study["dusk_opening_min"].sel(band="75 m")
    assert (abs(minutes) < 180.0).all()


def test_opening_is_where_the_hourly_values_cross(study):
    """Recompute one opening from the published arrays by numpy.interp."""
    date = "2025-12-21"
    values = study["far_likelihood"].sel(band="75 m", date=date).to_numpy().astype(float)
    hour = np.arange(24) + 0.5
    noon = float((study["sunset_hour_utc"] + study["sunrise_hour_utc"]).sel(date=date)) / 2.0
    after = np.flatnonzero((hour > noon) & (values >= 0.5))[0]
    at = np.interp(0.5, values[after - 1 : after + 1], hour[after - 1 : after + 1])
    expected = (at - float(study["sunset_hour_utc"].sel(date=date))) * 60.0
    found = float(study["dusk_opening_min"].sel(band="75 m", date=date))
    assert found == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize(
    ("values", "rising", "last", "expected"),
    [
        ([0, 0, 1, 1], True, False, (1.5, "happens")),
        ([0, 1, 0, 1], True, False, (0.5, "happens")),  # the change nearest to noon
        ([0, 1, 0, 1], True, True, (2.5, "happens")),
        ([1, 0, 0, 1], True, False, (None, "noon_says_no")),  # open at noon: no opening at dusk
        ([1, 0, 0, 1], False, False, (0.5, "happens")),
        ([1, 1, 0, 0], False, True, (1.5, "happens")),
        ([0, 0, 1, 1], False, True, (None, "noon_says_no")),
        ([1, 1, 1, 1], True, False, (None, "open_throughout")),
        ([0, 0, 0, 0], True, False, (None, "closed_throughout")),
        ([0, np.nan, 1, 1], True, False, (None, "unknown")),
    ],
)
def test_crossing(values, rising, last, expected):
    at, state = crossing(
        np.arange(4.0), np.array(values, dtype=float), 0.5, rising=rising, last=last
    )
    assert TURN_STATES[state] == expected[1]
    if expected[0] is None:
        assert np.isnan(at)
    else:
        assert at == expected[0]


def test_hour_ranges_go_round_midnight_and_shift():
    night = np.isin(np.arange(24), [22, 23, 0])
    assert hour_ranges(night) == "2200-0100"
    assert hour_ranges(night, 120) == "0000-0300"
    assert hour_ranges(night, 345) == "0345-0645"  # Nepal
    assert hour_ranges(np.zeros(24, dtype=bool)) == ""


def test_hours_may_be_few_but_then_openings_are_unknown(schedule):
    part = season_study(HOME, schedule, dates=DATES[:1], hours=[18, 19], f107_sfu=140.0)
    assert dict(part.sizes) == {"broadcast": 5, "date": 1, "hour_utc": 2, "band": 3}
    assert (part["dusk_opening_state"] == 4).all()
    assert part["on_air"].sel(broadcast=2).to_numpy().tolist() == [[1, 1]]


def test_season_edges_at_0100_utc(schedule):
    first = season_study(HOME, schedule, dates=["2025-10-26"], f107_sfu=140.0)
    last = season_study(HOME, schedule, dates=["2026-03-29"], f107_sfu=140.0)
    assert first["on_air"].sel(broadcast=3).sum() == 1  # 2300 on Sunday; 0030 is before the season
    assert last["on_air"].sel(broadcast=3).to_numpy().sum() == 0  # 2300 is after the season's end
    whole = season_study(HOME, schedule, hours=[12], f107_sfu=140.0)
    assert whole.sizes["date"] == 155  # 26 October to 29 March, both included
    assert str(whole["date"].to_numpy()[0])[:10] == "2025-10-26"


def test_driver_comes_from_the_indices_and_says_what_it_is(schedule):
    old = season_study(HOME, schedule.as_if("A96"), dates=["1996-06-15"], hours=[10])
    assert old.attrs["index_status"] == "observed on 1 of 1 dates"
    # Solar minimum of 1996: the 12-month mean stood near 70 sfu (from memory, 70-75).
    assert 65.0 < float(old["f107_sfu"].item()) < 80.0
    assert "A96" in old.attrs["schedule_note"]
    assert old["on_air"].sum() > 0
    future = season_study(HOME, schedule.as_if("B27"), dates=["2027-12-15"], hours=[12])
    assert future.attrs["index_status"] == "predicted on 1 of 1 dates"


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"dates": ["2025-06-01"]}, "2025-06-01 is outside season B25"),
        ({"dates": []}, "dates is empty"),
        ({"dates": ["soon"]}, "no date"),
        ({"hours": [24]}, "outside"),
        ({"hours": []}, "no list of whole hours"),
        ({"threshold": 1.0}, "threshold"),
        ({"far_km": -1.0}, "far_km"),
        ({"f107_sfu": float("nan")}, "f107_sfu"),
        ({"season": "C25"}, "C25"),
    ],
)
def test_bad_arguments(schedule, options, message):
    with pytest.raises(InputError, match=message):
        season_study(HOME, schedule, **options)


def test_progress_and_interrupt(schedule):
    seen = []
    season_study(
        HOME,
        schedule,
        dates=DATES[:1],
        hours=[12],
        f107_sfu=140.0,
        progress=lambda done, total: seen.append((done, total)),
    )
    assert seen[-1] == (4, 4)  # two of the five rows are one circuit

    def stop(done, total):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        season_study(HOME, schedule, dates=DATES[:1], f107_sfu=140.0, progress=stop)


# Tables, charts, folder -------------------------------------------------------------------------


def test_band_weeks(study):
    weeks = band_weeks(study)
    # 2025-12-21 is a Sunday, the last day of ISO week 51 (ISO 8601).
    assert weeks["iso_week"].tolist() == [51, 52] * 3
    assert weeks["days"].tolist() == [2, 1] * 3
    low = weeks[(weeks["band"] == "75 m") & (weeks["iso_week"] == 51)].iloc[0]
    minutes = study["dusk_opening_min"].sel(band="75 m").to_numpy()[:2]
    assert low["opens_after_sunset_min"] == pytest.approx(np.median(minutes))
    assert low["opening_days"] == 2
    best = int(low["best_hour_utc"][:2])
    assert int(low["best_hour_local"][:2]) == (best + 2) % 24
    assert low["highest_likelihood"] == pytest.approx(
        float(study["far_likelihood"].sel(band="75 m")[:2].mean("date").max()), rel=1e-5
    )


def test_folder(study, schedule, tmp_path):
    files = write_season(study, schedule, tmp_path / "out")
    names = ["season.nc", "bands.csv", "rejects.csv", "rules.csv"]
    names += ["hours.png", "hours.svg", "opening.png", "opening.svg"]
    assert [f.name for f in files] == names
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == sorted(names)
    with xr.open_dataset(files[0]) as back:
        assert back.attrs["season"] == "B25"
        assert np.allclose(back["likelihood"], study["likelihood"], atol=1e-4)
        assert back["date"].to_numpy().tolist() == study["date"].to_numpy().tolist()
        assert back["broadcaster"].to_numpy().tolist() == study["broadcaster"].to_numpy().tolist()
        assert np.array_equal(back["limit"], study["limit"])
    again = fh.read_season(tmp_path / "out")
    pd.testing.assert_frame_equal(again.farhear.summary(), summary(study), atol=1e-3)
    assert again.farhear.plot.dusk().alt == study.farhear.plot.dusk().alt
    bands = pd.read_csv(files[1])
    assert len(bands) == 6
    with files[2].open(newline="") as stream:
        rejects = list(csv.DictReader(stream))
    assert [(r["row"], r["what"]) for r in rejects] == [
        ("7", "left out of the study"),
        ("8", "refused"),
    ]


def test_a_failure_leaves_the_old_files_whole(study, schedule, tmp_path, monkeypatch):
    write_season(study, schedule, tmp_path)
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}

    def fail(*_):
        raise OSError("disk full")

    monkeypatch.setattr(charts, "export", fail)
    with pytest.raises(OSError, match="disk full"):
        write_season(study, schedule, tmp_path)
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before


def test_charts_are_the_same_twice_and_carry_their_words(study, tmp_path):
    alt = charts.hours_page_alt(study)
    assert "75 m" in alt
    assert "B25" in alt
    contents = []
    for name in ("one.svg", "two.svg"):
        charts.export(charts.hours_page(study), tmp_path / name, alt, charts.hours_page_data(study))
        contents.append((tmp_path / name).read_bytes())
    assert contents[0] == contents[1]
    text = contents[0].decode()
    assert "<title>Season B25 at Test [bold] home" in text
    assert 'role="img"' in text
    assert str(tmp_path) not in text
    assert "<dc:date>" not in text
    dusk = study.farhear.plot.dusk()
    assert tuple(dusk.figure.get_size_inches()) == charts.A5_IN
    dusk.save(tmp_path / "opening.png")
    assert (tmp_path / "opening.png").read_bytes().startswith(b"\x89PNG")


def test_opening_chart_shows_the_table_and_leaves_gaps(study):
    weeks = band_weeks(study)
    figure = charts.dusk_page(study)
    lines = [line for line in figure.axes[0].get_lines() if line.get_marker() not in ("None", "")]
    openings = weeks[weeks["opening_days"] * 2 >= weeks["days"]]
    assert len(lines) == openings["band"].nunique()
    drawn = np.concatenate([np.asarray(line.get_ydata(), dtype=float) for line in lines])
    assert sorted(drawn) == pytest.approx(sorted(openings["opens_after_sunset_min"]))


def test_marks_of_neighbouring_lines_differ_without_colour():
    looks = {(pages._MARKERS[n % len(pages._MARKERS)], n % 2) for n in range(len(pages._MARKERS))}
    assert len(looks) == 14


def test_local_axis_only_where_one_offset_holds(schedule, study):
    assert pages._single_offset_h(study) == 2.0
    away = Station(name="x", lat_deg=40.7, lon_deg=-74.0, time_zone="America/New_York")
    # New York changes its clock on 2025-11-02, a week after the season began.
    dates = [dt.date(2025, 10, 30) + dt.timedelta(days=i) for i in range(6)]
    other = season_study(away, schedule, dates=dates, hours=[0, 12], f107_sfu=140.0)
    assert pages._single_offset_h(other) is None


# Rules ------------------------------------------------------------------------------------------


def test_every_rule_is_reported(study):
    found = rules.evaluate(study)
    assert len(found) == len(rules.RULES) == len({f.name for f in found})
    for finding in found:
        assert finding.verdict in (rules.HOLDS, rules.BROKEN, rules.NOT_APPLICABLE)
        assert finding.detail
        assert finding.says
        assert finding.source in ("public encyclopedia", "QST 1992", "common practice")


def test_a_planted_contradiction_is_broken_by_name(study):
    by_day = study["sun_zenith_deg"].to_numpy() < 90.833
    upside_down = study.copy(deep=True)
    upside_down["far_likelihood"][:] = np.where(by_day, 0.9, 0.1)[None].astype(np.float32)
    verdicts = {f.name: f.verdict for f in rules.evaluate(upside_down)}
    assert verdicts["tropical bands by night"] == rules.BROKEN
    assert verdicts["the 49 m band by night"] == rules.BROKEN
    assert verdicts["high bands from sunrise through the day"] == rules.HOLDS
    upside_down["far_likelihood"][:] = np.where(by_day, 0.1, 0.9)[None].astype(np.float32)
    verdicts = {f.name: f.verdict for f in rules.evaluate(upside_down)}
    assert verdicts["the 49 m band by night"] == rules.HOLDS
    assert verdicts["high bands from sunrise through the day"] == rules.BROKEN
    assert verdicts["the 31 m band by night"] == rules.NOT_APPLICABLE  # no such band here


def test_rules_are_for_middle_latitudes(schedule):
    tropics = Station(name="x", lat_deg=0.0, lon_deg=37.0, time_zone="Africa/Nairobi")
    there = season_study(tropics, schedule, dates=DATES[:1], hours=[12], f107_sfu=140.0)
    assert {f.verdict for f in rules.evaluate(there)} == {rules.NOT_APPLICABLE}


# Command line -----------------------------------------------------------------------------------


def run(capsys, *arguments):
    status = cli.main([str(a) for a in arguments])
    captured = capsys.readouterr()
    return status, captured.out, captured.err


def test_demo_from_the_command_line(tmp_path, capsys):
    status, out, _ = run(
        capsys,
        *("season", "--demo", "--from", "2024-12-21", "--to", "2024-12-21"),
        *("--out", tmp_path / "demo"),
    )
    assert status == 0
    assert "invented" in out
    assert "406 rows read, 406 accepted, 0 refused" in out
    assert "PREDICTION" in out or "observed on 1 of 1" in out
    assert "Rules of thumb" in out
    assert (tmp_path / "demo" / "season.nc").is_file()


def test_own_files_from_the_command_line(tmp_path, capsys):
    (tmp_path / "list.csv").write_text(LIST)
    (tmp_path / "home.toml").write_text(
        'name = "[red]Home"\nlat_deg = 58.4\nlon_deg = 26.7\ntime_zone = "Europe/Tallinn"\n'
    )
    common = ["season", "--station", tmp_path / "home.toml", "--schedule", tmp_path / "list.csv"]
    common += ["--season", "B25", "--from", "2025-12-21", "--to", "2025-12-21", "--f107", "140"]
    status, out, _ = run(capsys, *common, "--days", "iso", "--out", tmp_path / "out")
    assert status == 0
    assert "[red]Home" in out  # names are text, not markup
    assert "line 8, power_kw: outside (0, 2000]" in out
    assert "No site of the list" not in out
    _, out, _ = run(
        capsys, *common, "--days", "iso", "--far-km", "15000", "--out", tmp_path / "out"
    )
    assert "No site of the list is that far away on 75 m, 49 m" in out
    status, out, err = run(capsys, *common, "--out", tmp_path / "no")
    assert (status, out) == (2, "")
    assert err.startswith("farhear: list.csv: days '7'")
    assert err.count("\n") == 1
    assert not (tmp_path / "no").exists()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["season"], "--season is missing"),
        (["season", "--season", "B25"], "--station is missing"),
        (["season", "--demo", "--season", "X25"], "X25"),
        (["season", "--demo", "--station", "s.toml"], "brings its own"),
        (["season", "--station", "nowhere.toml", "--schedule", "l", "--season", "B25"], "nowhere"),
        (["season", "--demo", "--from", "soon"], "no date"),
        (["season", "--demo", "--from", "2024-12-22", "--to", "2024-12-21"], "empty"),
    ],
)
def test_mistakes_are_one_line_and_status_2(capsys, arguments, message):
    status, _, err = run(capsys, *arguments)
    assert status == 2
    assert err.startswith("farhear: ")
    assert message in err
    assert "Traceback" not in err


def test_versions(capsys):
    status, out, _ = run(capsys, "--versions")
    assert status == 0
    assert f"farhear {fh.__version__}" in out
    assert f"numpy {np.__version__}" in out
    assert f"python {sys.version_info.major}.{sys.version_info.minor}" in out
    assert "zone rules" in out
    assert "data demo/schedule_b24.csv: 2024-10-27 to 2025-03-30; sha256 " in out


def test_without_a_verb_help_is_shown(capsys):
    status, out, _ = run(capsys)
    assert status == 2
    assert "season" in out


def test_days_between_are_interpolated(schedule):
    dates = [dt.date(2025, 12, 5) + dt.timedelta(days=i) for i in range(12)]
    every, some = (
        season_study(HOME, schedule, dates=dates, f107_sfu=140.0, hours=[5, 7, 15, 18], step_days=s)
        for s in (1, 7)
    )
    assert some.attrs["step_days"] == 7
    # worked out: the first date, every seventh after it, and the last
    for day in (0, 7, 11):
        np.testing.assert_allclose(
            some["likelihood"][:, day], every["likelihood"][:, day], atol=1e-6
        )
    off = np.abs(some["likelihood"] - every["likelihood"]).to_numpy()
    assert off.max() < 0.1
    assert off.mean() < 0.02
    with pytest.raises(InputError, match="step_days = 0"):
        season_study(HOME, schedule, dates=dates, f107_sfu=140.0, step_days=0)

"""Scores of checks: tables, logs, and the engine's own answers.

Every place, name and outcome in these tables is invented.
"""

import doctest
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from sklearn.metrics import brier_score_loss, roc_auc_score

import farhear as fh
from farhear import forecast, scoring, skill
from farhear.errors import InputError
from farhear.indices import DRIVERS
from farhear.schedule import read_schedule
from farhear.skywave import Physics
from farhear.station import Station

pytestmark = pytest.mark.filterwarnings("ignore:numpy.ndarray size changed:RuntimeWarning")

HOME = Station(
    name="Test home", lat_deg=58.4, lon_deg=26.7, time_zone="Europe/Tallinn", noise="rural"
)


def test_examples():
    result = doctest.testmod(scoring)
    assert result.failed == 0


# Tables of checks -------------------------------------------------------------------------------

TABLE = """# invented
utc,tx_lat_deg,tx_lon_deg,rx_lat_deg,rx_lon_deg,freq_khz,heard,power_kw,noise_fa_db,block,remark
2024-12-20T18:00Z,50.6,19.3,58.4,26.7,6070,1,100,,,
2024-12-20T20:00:30+02:00,50.6,19.3,58.4,26.7,6070,no,,,,
2024-12-21 19:00Z,50.6,19.3,58.4,26.7,9600,carrier_only,100,45,week 51,
2024-12-21T19:10Z,50.6,19.3,58.4,26.7,9600,blocked,100,,,
2024-12-21T19:20Z,50.6,19.3,58.4,26.7,9600,Not_Checked,100,,,
2024-12-21T19:30,50.6,19.3,58.4,26.7,9600,1,100,,,
2024-12-21T19:40Z,150.6,19.3,58.4,26.7,9.6,perhaps,100,,,
2024-13-21T19:40Z,50.6,19.3,58.4,26.7,9600,1,0,,,
"""


@pytest.fixture
def file(tmp_path):
    def write(text, name="checks.csv"):
        path = tmp_path / name
        path.write_text(text)
        return path

    return write


def test_a_table_is_read_and_nothing_is_lost(file):
    checks = scoring.read_checks(file(TABLE), power_kw=50.0, noise="rural")
    assert checks.rows_read == 8 == len(checks) + checks.rows_rejected
    frame = checks.frame
    assert frame["row"].tolist() == [3, 4, 5, 6, 7]
    assert str(frame["utc"].dtype).endswith("UTC]")
    assert frame["utc"].iloc[1] == pd.Timestamp("2024-12-20T18:00:30Z")
    outcomes = ["heard", "not_heard", "carrier_only", "blocked", "not_checked"]
    assert frame["outcome"].tolist() == outcomes
    # 17 dB are more than a carrier needs
    np.testing.assert_array_equal(frame["heard"], [1.0, 0.0, 0.0, np.nan, np.nan])
    assert checks.is_evidence.tolist() == [True, True, True, False, False]
    assert frame["power_kw"].tolist() == [100.0, 50.0, 100.0, 100.0, 100.0]
    assert frame["noise"].tolist() == ["rural", "rural", "", "rural", "rural"]
    np.testing.assert_array_equal(frame["noise_fa_db"], [np.nan, np.nan, 45.0, np.nan, np.nan])
    days = ["2024-12-20", "2024-12-20", "week 51", "2024-12-21", "2024-12-21"]
    assert frame["block"].tolist() == days
    assert "3 count (left out: 1 blocked, 1 not_checked)" in checks.text()
    reasons = checks.rejects.set_index(["row", "column"])["reason"]
    assert "no time zone" in reasons[8, "utc"]
    assert "swapped" in reasons[9, "tx_lat_deg"]
    assert "write kHz" in reasons[9, "freq_khz"]
    assert "not 1, 0" in reasons[9, "heard"]
    assert "utc" in checks.rejects.loc[checks.rejects["row"] == 10, "column"].tolist()
    assert "watts" in reasons[10, "power_kw"]
    assert checks.warnings["reason"].str.contains("not used").sum() == 1


def test_a_carrier_counts_where_a_carrier_is_what_is_asked_for(file):
    for snr_db, heard in ((6.0, 1.0), (6.1, 0.0)):
        checks = scoring.read_checks(file(TABLE), power_kw=50.0, required_snr_db=snr_db)
        assert checks.frame["heard"].iloc[2] == heard


def test_a_power_that_nobody_gives_is_missed(file):
    checks = scoring.read_checks(file(TABLE))
    missing = checks.rejects[checks.rejects["reason"].str.contains("no power_kw was given")]
    assert missing["row"].tolist() == [4]
    without = "\n".join(
        ",".join(cells[:7] + cells[8:])
        for cells in (line.split(",") for line in TABLE.splitlines()[1:])
    )
    with pytest.raises(InputError, match="no column 'power_kw'"):
        scoring.read_checks(file(without))


def test_doubled_checks_are_doubted(file):
    lines = TABLE.splitlines()
    checks = scoring.read_checks(file("\n".join([*lines[:3], lines[2]])))
    assert checks.warnings.iloc[-1]["row"] == 4
    assert "same instant" in checks.warnings.iloc[-1]["reason"]


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"noise": "suburban"}, "noise = 'suburban' is none of"),
        ({"noise": 300.0}, "noise = 300"),
        ({"power_kw": -1.0}, r"power_kw = -1.0: outside \(0, 2000\]; are these watts"),
        ({"bandwidth_hz": float("nan")}, "bandwidth_hz = nan: not a finite"),
        ({"columns": {"khz": "freq"}}, "columns names 'khz'"),
    ],
)
def test_defaults_out_of_range(file, options, message):
    with pytest.raises(InputError, match=message):
        scoring.read_checks(file(TABLE), **options)


def test_tables_that_are_none(file):
    with pytest.raises(InputError, match="no rows"):
        scoring.read_checks(file(TABLE.splitlines()[1] + "\n"))
    with pytest.raises(InputError, match="'heard' is missing"):
        scoring.read_checks(file(TABLE.replace("heard,", "herd,", 1)))


# A log and its schedule -------------------------------------------------------------------------

LIST = """freq_khz,start_utc,stop_utc,days,broadcaster,tx_lat_deg,tx_lon_deg,power_kw,azimuth_deg,\
antenna,modulation
6070,1800,2000,daily,Radio Belmorant,50.6,19.3,100,,non-directional,
9600,1700,1900,daily,Radio Umbasani,9.6,37.7,250,350,,
9600,1700,1900,daily,Radio Umbasani,-13.9,29.2,100,0,,
15300,0900,1200,daily,Radio Yandorica,-13.9,29.2,250,0,,DIGITAL
"""
LOG = """start_utc,end_utc,freq_khz,outcome,identity,sinpo,mood
2024-12-20T18:00Z,2024-12-20T18:10Z,6070,heard,radio  BELMORANT,34333,good
2024-12-20T17:55Z,2024-12-20T18:04Z,6070,heard,Radio Belmorant,,
2024-12-20T18:20Z,2024-12-20T18:22Z,9600,not_heard,Radio Umbasani,,
2024-12-20T18:20Z,2024-12-20T18:22Z,9600,heard,Radio Belmorant,,
2024-12-20T10:20Z,2024-12-20T10:22Z,15300,blocked,Radio Yandorica,,
2024-12-20T18:20Z,2024-12-20T18:22Z,6070,not_heard,,,
2024-12-20T18:20Z,2024-12-20T18:10Z,6070,not_heard,Radio Belmorant,,
2024-12-20T18:20Z,2024-12-22T18:10Z,6070,not_heard,Radio Belmorant,,
2024-12-20T18:30Z,2024-12-20T18:31Z,6070,blocked,Radio Belmorant,,
"""


@pytest.fixture
def schedule(file):
    return read_schedule(file(LIST, "list.csv"), season="B24")


def reasons_of(faults, row):
    return "; ".join(faults.loc[faults["row"] == row, "reason"])


def test_a_log_finds_its_broadcasts(file, schedule):
    checks = scoring.checks_from_log(file(LOG, "log.csv"), HOME, schedule)
    assert checks.rows_read == 9 == len(checks) + checks.rows_rejected
    frame = checks.frame
    assert frame["row"].tolist() == [2, 4, 10]
    assert frame["schedule_row"].tolist() == [2, 3, 2]
    assert frame["utc"].iloc[0] == pd.Timestamp("2024-12-20T18:05Z")  # its middle
    assert frame["tx_lat_deg"].tolist() == [50.6, 9.6, 50.6]
    assert frame["power_kw"].tolist() == [100.0, 250.0, 100.0]
    assert set(frame["rx_lat_deg"]) == {58.4}
    assert set(frame["noise"]) == {"rural"}
    assert set(frame["min_elevation_deg"]) == {3.0}
    assert checks.pattern_dbi.shape == (3, 46)
    np.testing.assert_allclose(checks.pattern_dbi.max(axis=1), 0.0)
    reasons = checks.rejects.set_index("row")["reason"]
    assert "not on the air on 6070 kHz" in reasons[3]  # over before 1800 at its middle
    assert "not in the schedule on 9600 kHz" in reasons[5]
    assert "digital" in reasons[6]
    assert "no broadcast to look up" in reasons[7]
    assert "before start_utc" in reasons[8]
    assert "more than a day" in reasons[9]
    doubts = reasons_of(checks.warnings, 4)
    assert "lines 3, 4 of the schedule fit; the one of 250 kW" in doubts
    assert checks.warnings["column"].iloc[0] == "mood"
    assert "overlaps row 4" in reasons_of(checks.warnings, 7)  # a doubt of the log, passed on


def test_a_log_gives_the_likelihood_of_a_season_study(file, schedule):
    # the same broadcast at half past: the study is worked out by other code of the package
    log = LOG.splitlines()[0] + "\n2024-12-20T18:25Z,2024-12-20T18:35Z,{},heard,{},,\n"
    study = fh.season_study(
        HOME, schedule, dates=["2024-12-20"], hours=[18], f107_sfu=150.0, far_km=0.0
    )
    for khz, name, row in ((6070, "Radio Belmorant", 2), (9600, "Radio Umbasani", 3)):
        checks = scoring.checks_from_log(file(log.format(khz, name)), HOME, schedule)
        scores = scoring.score(checks, f107_sfu=150.0)
        there = study.sel(broadcast=row, hour_utc=18).isel(date=0)
        assert scores.frame["likelihood"].iloc[0] == pytest.approx(
            float(there.likelihood), abs=1e-5
        )
        assert scores.frame["snr_db"].iloc[0] == pytest.approx(float(there.snr_db), abs=1e-3)
        assert scores.frame["distance_km"].iloc[0] == pytest.approx(float(there.distance_km))


def test_a_measured_noise_of_the_station_is_used(file, schedule):
    path = file(LOG, "log.csv")
    quiet, loud = (
        scoring.checks_from_log(
            path,
            Station(name="x", lat_deg=58.4, lon_deg=26.7, time_zone="Europe/Tallinn", noise=figure),
            schedule,
        )
        for figure in (30.0, 80.0)
    )
    s_quiet, s_loud = (scoring.score(c, f107_sfu=150.0).frame for c in (quiet, loud))
    assert (s_quiet["snr_db"] - s_loud["snr_db"] > 30.0).all()


# Scores of checks -------------------------------------------------------------------------------

FREQ_KHZ = (6070.0, 9600.0, 11800.0, 14097.0, 17700.0)


def invented(n, days, seed=1, heard=None):
    """Rows of a table of checks from eight places; `heard` None: by a coin."""
    rng = np.random.default_rng(seed)
    lat, lon = rng.uniform(-30.0, 60.0, 8).round(2), rng.uniform(-40.0, 110.0, 8).round(2)
    which = rng.integers(0, 8, n)
    seconds = rng.integers(0, 86400 * days, n) + pd.Timestamp("2024-11-20").timestamp()
    times = pd.to_datetime(np.sort(seconds), unit="s", utc=True)
    return pd.DataFrame(
        {
            "utc": times.strftime("%Y-%m-%dT%H:%M:%SZ"),
            "tx_lat_deg": lat[which],
            "tx_lon_deg": lon[which],
            "rx_lat_deg": 58.4,
            "rx_lon_deg": 26.7,
            "freq_khz": rng.choice(FREQ_KHZ, n),
            "heard": rng.integers(0, 2, n) if heard is None else heard,
        }
    )


def read(tmp_path, rows, **options):
    path = tmp_path / "rows.csv"
    rows.to_csv(path, index=False)
    return scoring.read_checks(path, **{"power_kw": 100.0, **options})


def by_the_model(tmp_path, rows, f107_sfu, seed=3):
    """The same rows with outcomes drawn from the engine's own likelihood."""
    truth = scoring.score(read(tmp_path, rows), f107_sfu=f107_sfu, n=20).frame["likelihood"]
    draw = np.random.default_rng(seed).random(len(rows))
    return rows.assign(heard=(draw < truth.to_numpy()).astype(int))


@pytest.fixture(scope="module")
def scored(tmp_path_factory):
    folder = tmp_path_factory.mktemp("scored")
    checks = read(folder, by_the_model(folder, invented(900, 24), 150.0))
    return checks, scoring.score(checks, f107_sfu=150.0, n=200)


def test_scores_of_outcomes_drawn_from_the_likelihood(scored):
    # self-consistency: the engine scored against its own dice must be calibrated and have skill
    checks, scores = scored
    table = scores.summary.set_index(["name", "of"])
    frame = scores.frame
    assert table.loc[("share heard", "checks"), "value"] == checks.frame["heard"].mean()
    area = table.loc[("ROC area", "as it is")]
    assert area["value"] == pytest.approx(roc_auc_score(frame["heard"], frame["likelihood"]))
    assert area["low"] < area["value"] < area["high"]
    loss = brier_score_loss(frame["heard"], frame["likelihood"])
    assert table.loc[("Brier score", "as it is"), "value"] == pytest.approx(loss)
    assert (table["count"] == 900).all()
    for of in ("as it is", "recalibrated"):
        for against in ("overall rate", "path", "month x hour"):
            assert table.loc[(f"Brier skill, {against}", of), "low"] > 0.0
    for name, truth in (("a, shift", 0.0), ("b, factor", 1.0)):
        found = table.loc[(f"{name} of the logit", "recalibrated")]
        assert found["value"] == pytest.approx(truth, abs=0.3)
        assert found["low"] < found["value"] < found["high"]
    assert scores.recalibration.b == table["value"].iloc[-1]
    assert scores.notes[0].startswith("rows.csv: 900 rows read, 900 accepted")
    assert not any("Too few" in note for note in scores.notes)


def test_skill_is_against_the_rates_of_other_days(scored):
    _, scores = scored
    frame = scores.frame
    rate = skill.climatology(frame["heard"], np.zeros(len(frame)), frame["block"])
    worth = skill.brier_skill(frame["heard"], frame["likelihood"], rate)
    hour = frame["utc"].dt.month * 100 + frame["utc"].dt.hour
    by_hour = skill.climatology(frame["heard"], hour, frame["block"])
    table = scores.summary.set_index(["name", "of"])["value"]
    assert table["Brier skill, overall rate", "as it is"] == pytest.approx(worth)
    expected = skill.brier_skill(frame["heard"], frame["likelihood"], by_hour)
    assert table["Brier skill, month x hour", "as it is"] == pytest.approx(expected)
    expected = skill.recalibrated_by_block(frame["heard"], frame["likelihood"], frame["block"])
    np.testing.assert_allclose(frame["recalibrated"], expected)
    # an effect of the path alone: same frequency and place, invented labels
    path = frame[["tx_lat_deg", "tx_lon_deg"]].round(1).astype(str).agg("/".join, axis=1)
    label = path + "/" + frame["band"]
    by_path = skill.climatology(frame["heard"], label, frame["block"])
    expected = skill.brier_skill(frame["heard"], frame["likelihood"], by_path)
    assert table["Brier skill, path", "as it is"] == pytest.approx(expected)


def test_classes_hold_every_check_once(scored):
    _, scores = scored
    assert scores.by_band["class"].tolist() == ["49 m", "31 m", "25 m", "14 MHz", "16 m"]
    for table in (scores.by_band, scores.by_distance, scores.calibration):
        assert table["count"].sum() == 900
    assert (scores.residuals.groupby("against")["count"].sum() == 900).all()
    for row in scores.by_band.to_dict("records"):
        here = scores.frame[scores.frame["band"] == row["class"]]
        gap = here["heard"].mean() - here["likelihood"].mean()
        assert row["gap"] == pytest.approx(gap)
        assert row["gap_low"] < row["gap"] < row["gap_high"]
        assert row["roc_area"] == pytest.approx(roc_auc_score(here["heard"], here["likelihood"]))
    edges = [f"{a:g} to {b:g} km" for a, b in ((1500, 3000), (3000, 6000), (6000, 10000))]
    assert set(scores.by_distance["class"]) <= {"0 to 500 km", "500 to 1500 km", *edges}
    near = scores.frame["distance_km"].between(1500.0, 3000.0, inclusive="left").sum()
    assert scores.by_distance.set_index("class")["count"]["1500 to 3000 km"] == near
    kp = scores.residuals[scores.residuals["against"] == "kp"].set_index("class")["count"]
    assert kp["0 to 2"] == (scores.frame["kp"] < 2.0).sum()


def test_where_the_path_lies(scored):
    _, scores = scored
    row = scores.frame.iloc[7]
    # the middle of the path by vectors, on a sphere: closed form
    ends = np.radians(row[["tx_lat_deg", "tx_lon_deg", "rx_lat_deg", "rx_lon_deg"]].astype(float))
    a, b = (
        np.array([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)])
        for lat, lon in (ends.iloc[:2], ends.iloc[2:])
    )
    x, y, z = (a + b) / np.linalg.norm(a + b)
    lat, lon = np.degrees(np.arcsin(z)), np.degrees(np.arctan2(y, x))
    sun = fh.sun.position(row["utc"].to_pydatetime(), lat, lon)
    assert row["zenith_deg"] == pytest.approx(float(sun.zenith_deg), abs=1e-6)
    north = fh.magnetic.geomagnetic_lat_deg(lat, lon, 2024.0)
    assert row["geomagnetic_lat_deg"] == pytest.approx(float(north), abs=1e-6)
    kp = fh.load_indices().kp_at(row["utc"].to_pydatetime())
    assert row["kp"] == float(kp)


def test_a_residual_is_found_where_it_is_put(tmp_path):
    # every check of the 31 m band is called not heard: that band alone falls below its likelihood
    drawn = by_the_model(tmp_path, invented(900, 24), 150.0)
    drawn.loc[drawn["freq_khz"] == 9600.0, "heard"] = 0
    bands = scoring.score(read(tmp_path, drawn), f107_sfu=150.0).by_band.set_index("class")
    assert bands["gap_high"]["31 m"] < 0.0
    assert (bands["gap"].drop("31 m") > bands["gap"]["31 m"] + 0.1).all()
    assert np.isnan(bands["roc_area"]["31 m"])


def test_rows_in_any_order_give_the_same(scored, tmp_path):
    checks, scores = scored
    order = np.random.default_rng(2).permutation(len(checks))
    shuffled = scoring.Checks(
        frame=checks.frame.iloc[order].reset_index(drop=True),
        rejects=checks.rejects,
        warnings=checks.warnings,
        rows_read=checks.rows_read,
    )
    again = scoring.score(shuffled, f107_sfu=150.0, n=20)
    np.testing.assert_array_equal(
        again.frame["likelihood"], scores.frame["likelihood"].to_numpy()[order]
    )
    np.testing.assert_allclose(
        again.summary["value"], scores.summary["value"], rtol=1e-6, atol=1e-9
    )


def test_rows_picked_by_the_caller_keep_their_likelihood(scored):
    # their index has gaps then: values must not go by it
    checks, scores = scored
    picked = checks.frame[checks.frame["freq_khz"] == 9600.0]
    some = scoring.Checks(
        frame=picked, rejects=checks.rejects, warnings=checks.warnings, rows_read=len(picked)
    )
    again = scoring.score(some, f107_sfu=150.0, n=20).frame
    whole = scores.frame.loc[picked.index]
    pd.testing.assert_frame_equal(again[["row", "likelihood"]], whole[["row", "likelihood"]])
    assert again["recalibrated"].notna().all()


def test_blocked_checks_get_a_likelihood_but_do_not_count(tmp_path):
    rows = invented(60, 6).astype({"heard": object})
    plain = scoring.score(read(tmp_path, rows), f107_sfu=150.0, n=20)
    extra = pd.concat([rows, rows.head(5).assign(heard="blocked")], ignore_index=True)
    more = scoring.score(read(tmp_path, extra), f107_sfu=150.0, n=20)
    pd.testing.assert_frame_equal(more.summary, plain.summary)
    assert len(more.frame) == 65
    assert more.frame["likelihood"].notna().all()
    assert more.frame["recalibrated"].isna().sum() == 5
    assert "(left out: 5 blocked)" in more.notes[0]


def test_one_day_has_no_intervals_and_says_so(tmp_path):
    scores = scoring.score(read(tmp_path, invented(40, 1)), f107_sfu=150.0)
    table = scores.summary.set_index(["name", "of"])
    assert table[["low", "high"]].isna().all(axis=None)
    assert np.isfinite(table.loc[("ROC area", "as it is"), "value"])
    assert np.isnan(table.loc[("Brier score", "recalibrated"), "value"])
    assert np.isnan(table.loc[("Brier skill, overall rate", "as it is"), "value"])
    assert scores.by_band["gap"].notna().all()
    assert scores.by_band["recalibrated_gap"].isna().all()
    text = " ".join(scores.notes)
    assert "Too few to judge: 40 checks on 1 day," in text
    assert "of one day: no intervals" in text


@pytest.mark.parametrize("outcome", [0, 1])
def test_one_outcome_has_no_roc_area_and_says_so(tmp_path, outcome):
    scores = scoring.score(read(tmp_path, invented(40, 8, heard=outcome)), f107_sfu=150.0)
    table = scores.summary.set_index(["name", "of"])
    assert np.isnan(table.loc[("ROC area", "as it is"), "value"])
    assert np.isfinite(table.loc[("Brier score", "recalibrated"), "value"])
    word = "heard" if outcome else "not heard"
    assert f"Every check was {word}: no ROC area." in scores.notes


def test_one_check_alone(tmp_path):
    scores = scoring.score(read(tmp_path, invented(1, 1)), f107_sfu=150.0)
    assert len(scores.frame) == len(scores.calibration) == 1
    assert "Too few to judge: 1 check on 1 day," in " ".join(scores.notes)


def test_without_evidence_there_is_nothing_to_score(tmp_path):
    checks = read(tmp_path, invented(3, 1, heard="blocked"))
    with pytest.raises(InputError, match=r"\(left out: 3 blocked\); nothing to score"):
        scoring.score(checks, f107_sfu=150.0)
    naive = invented(2, 1)
    naive["utc"] = naive["utc"].str.rstrip("Z")
    with pytest.raises(InputError, match="first refused: line 2, utc: no time zone"):
        scoring.score(read(tmp_path, naive), f107_sfu=150.0)


def test_checks_outside_the_record_of_kp(tmp_path):
    rows = invented(40, 8)
    rows["utc"] = rows["utc"].str.replace("2024-", "2029-")
    rows.loc[:9, "utc"] = rows.loc[:9, "utc"].str.replace("2029-", "2019-")
    scores = scoring.score(read(tmp_path, rows), f107_sfu=150.0, n=20)
    assert "30 checks are outside the record of Kp: not in its residuals." in scores.notes
    kp = scores.residuals[scores.residuals["against"] == "kp"]
    assert kp["count"].sum() == 10
    assert scores.frame["kp"].notna().sum() == 10
    rows["utc"] = rows["utc"].str.replace("2019-", "2029-")
    scores = scoring.score(read(tmp_path, rows), f107_sfu=150.0, n=20)
    assert set(scores.residuals["against"]) == {"zenith_deg", "geomagnetic_lat_deg"}


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"f107_sfu": 20.0}, r"f107_sfu = 20 is outside \[50, 400\]"),
        ({"f107_sfu": [100.0, 120.0]}, r"shape \(2,\)"),
        ({"f107_sfu": 150.0, "driver": "weekly"}, "driver = 'weekly' is none of"),
        ({"f107_sfu": 150.0, "offset_sfu": np.nan}, "offset_sfu = nan"),
    ],
)
def test_arguments_out_of_range(tmp_path, options, message):
    with pytest.raises(InputError, match=message):
        scoring.score(read(tmp_path, invented(5, 2)), **options)


def test_flux_of_each_check_offset_and_clamp(tmp_path):
    checks = read(tmp_path, invented(6, 3))
    flux = [60.0, 100.0, 150.0, 200.0, 300.0, 390.0]
    for offset, expected in ((0.0, flux), (30.0, [90.0, 130.0, 180.0, 230.0, 330.0, 400.0])):
        scores = scoring.score(checks, f107_sfu=flux, offset_sfu=offset, n=20)
        assert scores.frame["f107_sfu"].tolist() == expected
    assert "+30 sfu were added to it." in scores.notes
    low = scoring.score(checks, f107_sfu=60.0, offset_sfu=-30.0, n=20)
    assert set(low.frame["f107_sfu"]) == {50.0}


def test_the_likelihood_is_that_of_reception(tmp_path):
    rows = invented(30, 4).assign(
        power_kw=0.1, bandwidth_hz=500.0, required_snr_db=3.0, tx_gain_dbi=2.0
    )
    rows["noise_fa_db"] = np.where(np.arange(30) % 3 == 0, 35.0, np.nan)
    physics = Physics(sporadic_e=False)
    checks = read(tmp_path, rows, noise="quiet rural")
    found = scoring.score(checks, f107_sfu=120.0, physics=physics, n=20).frame
    for i in (0, 1, 2, 29):
        row = rows.iloc[i]
        alone = fh.reception.likelihood(
            *row[["tx_lat_deg", "tx_lon_deg", "rx_lat_deg", "rx_lon_deg", "freq_khz"]].astype(
                float
            ),
            row["utc"],
            power_kw=0.1,
            f107_sfu=120.0,
            tx_gain_dbi=2.0,
            noise=35.0 if i % 3 == 0 else "quiet rural",
            bandwidth_hz=500.0,
            required_snr_db=3.0,
            physics=physics,
        )
        assert found["likelihood"].iloc[i] == pytest.approx(float(alone.likelihood), abs=1e-9)
        assert found["limit"].iloc[i] == fh.reception.LIMITS[int(alone.limit)]
    usual = scoring.score(checks, f107_sfu=120.0, n=20).frame
    assert (usual["likelihood"] != found["likelihood"]).any()


def test_progress_counts_every_check(tmp_path):
    seen = []
    checks = read(tmp_path, invented(25, 3))
    scoring.score(checks, f107_sfu=120.0, n=20, progress=lambda *state: seen.append(state))
    assert seen[-1] == (25, 25)


def test_flux_from_indices_of_the_caller(tmp_path):
    class Record:
        """Invented: 100 sfu on the first check, 20 more on each, the last predicted and absurd."""

        name = "an invented record"

        def f107_sfu(self, when, driver):
            assert driver == "27day"
            value = 100.0 + 20.0 * np.arange(when.size)
            value[-1] = 938.6
            return SimpleNamespace(
                f107_sfu=value, status=np.array(["observed"] * (when.size - 1) + ["predicted"])
            )

        def kp_at(self, when):
            return np.full(when.size, 4.0)

    checks = read(tmp_path, invented(4, 3))
    scores = scoring.score(checks, driver="27day", indices=Record(), n=20)
    assert scores.frame["f107_sfu"].tolist() == [100.0, 120.0, 140.0, 400.0]
    text = "27day mean of an invented record: observed for 3, predicted for 1 of 4 checks"
    assert f"Solar flux: {text}." in scores.notes
    assert set(scores.frame["kp"]) == {4.0}


@pytest.mark.parametrize("driver", DRIVERS)
def test_flux_from_the_record(tmp_path, driver):
    checks = read(tmp_path, invented(5, 3))
    scores = scoring.score(checks, driver=driver, n=20)
    expected = fh.load_indices().f107_sfu(fh.utc(checks.frame["utc"]), driver)
    np.testing.assert_allclose(scores.frame["f107_sfu"], expected.f107_sfu)
    assert any(f"Solar flux: {driver} mean of the shipped indices" in n for n in scores.notes)


def test_forecasts_of_each_day_with_their_doubt(tmp_path):
    """Each day's flux as told that morning; the same likelihood as asked for by hand."""
    checks = read(tmp_path, invented(6, 3))
    scores = scoring.score(checks, driver="forecast", n=20)
    row = scores.frame.iloc[0]
    day = row["utc"].strftime("%Y-%m-%d")
    told = forecast.flux(fh.load_indices(), day, f"{day}T12:00Z")
    assert row["f107_sfu"] == pytest.approx(float(told.f107_sfu))
    expected = fh.reception.likelihood(
        *(row[f"{end}_{axis}_deg"] for end in ("tx", "rx") for axis in ("lat", "lon")),
        row["freq_khz"],
        row["utc"],
        power_kw=row["power_kw"],
        f107_sfu=told.f107_sfu,
        f107_sd_sfu=told.sd_sfu,
        tx_gain_dbi=row["tx_gain_dbi"],
        noise=row["noise"],
        bandwidth_hz=row["bandwidth_hz"],
        required_snr_db=row["required_snr_db"],
    )
    assert row["likelihood"] == pytest.approx(float(expected["likelihood"]), abs=1e-9)


# An index from the checks -----------------------------------------------------------------------


@pytest.fixture(scope="module")
def fitted(tmp_path_factory):
    folder = tmp_path_factory.mktemp("fitted")
    rows = by_the_model(folder, invented(900, 24, seed=4), 130.0)
    checks = read(folder, rows)
    return checks, scoring.fit_flux(checks, f107_sfu=100.0, n=60)


def test_an_offset_of_the_flux_is_found(fitted):
    # self-consistency, not proof: outcomes are dice of the engine itself at 100 + 30 sfu
    _, fit = fitted
    assert fit.low_sfu < 30.0 < fit.high_sfu
    assert fit.offset_sfu == pytest.approx(30.0, abs=15.0)
    assert (fit.mean_f107_sfu, fit.checks_count, fit.blocks_count) == (100.0, 900, 24)
    assert fit.curve["offset_sfu"].tolist() == list(np.arange(-40.0, 160.0, 10.0))
    best = fit.curve.loc[fit.curve["log_likelihood"].idxmax(), "offset_sfu"]
    assert abs(best - fit.offset_sfu) <= 5.0
    assert fit.notes == ["Index fitted from 900 checks on 24 days."]


def test_the_log_likelihood_is_that_of_the_recalibrated_forecast(fitted):
    checks, fit = fitted
    row = fit.curve.set_index("offset_sfu").loc[20.0]
    scores = scoring.score(checks, f107_sfu=120.0, n=20)
    p = skill.Recalibration(row["a"], row["b"]).apply(scores.frame["likelihood"])
    heard = scores.frame["heard"].to_numpy()
    expected = np.log(np.where(heard == 1.0, p, 1.0 - p)).sum()
    assert row["log_likelihood"] == pytest.approx(expected)
    assert row["b"] == pytest.approx(scores.recalibration.b, abs=1e-6)


def test_an_index_at_the_end_of_its_range_is_only_a_bound(tmp_path):
    # the dice are of 50 sfu, the grid begins at 60
    checks = read(tmp_path, by_the_model(tmp_path, invented(300, 12), 50.0))
    seen = []
    fit = scoring.fit_flux(checks, f107_sfu=240.0, n=20, progress=lambda *state: seen.append(state))
    assert seen[-1] == (20, 20) == (len(fit.curve), len(fit.curve))
    assert fit.offset_sfu == -180.0 == fit.curve["offset_sfu"].iloc[0]
    assert "only a bound" in " ".join(fit.notes)


def test_an_index_needs_enough_checks(tmp_path):
    few = read(tmp_path, invented(29, 10))
    with pytest.raises(InputError, match="at least 30 checks that count on 3 days; here are 29"):
        scoring.fit_flux(few, f107_sfu=100.0)
    short = read(tmp_path, invented(50, 2))
    with pytest.raises(InputError, match="here are 50 on 2"):
        scoring.fit_flux(short, f107_sfu=100.0)
    for outcome, word in ((0, "was"), (1, "was not")):
        alike = read(tmp_path, invented(40, 8, heard=outcome))
        with pytest.raises(InputError, match=f"there is no check that {word} heard"):
            scoring.fit_flux(alike, f107_sfu=100.0)

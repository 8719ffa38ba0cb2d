"""Charts of logs, evenings and plans: artists against the tables, edge cases, colours, files.

Held against pandas (time zones, counting), matplotlib's own artists, WCAG 2.2 and colorspacious.
"""

from __future__ import annotations

import dataclasses
import hashlib
import itertools
import sys
import xml.etree.ElementTree as ET
from importlib.resources import files
from pathlib import Path
from typing import Any

import colorspacious
import numpy as np
import pandas as pd
import pytest
from matplotlib.collections import PatchCollection
from matplotlib.figure import Figure

import farhear as fh
from farhear import season
from farhear.charts import _layout, _style, dusk, logs
from farhear.study import hearing_by_hour

sys.path.insert(0, str(Path(__file__).parent))
from _chart_checks import (
    FAR_NORTH,
    LONG,
    WEST,
    check_looks,
    contrast,
    drawn,
    lightness,
    line,
    made,
    seen_apart,
    segments,
    study,
    words,
)

ZONE = "Europe/Tallinn"
DAYS_11_YEARS = 4018


@pytest.fixture(scope="module")
def table() -> pd.DataFrame:
    return made().table


@pytest.fixture(scope="module")
def hours(table: pd.DataFrame) -> pd.DataFrame:
    out = hearing_by_hour(table, 1)
    return out[out["band"] == "31 m"]


@pytest.fixture(scope="module")
def openings(table: pd.DataFrame) -> pd.DataFrame:
    return fh.evenings.openings(table, "31 m")


@pytest.fixture(scope="module")
def tonight() -> fh.Plan:
    demo = files("farhear") / "data" / "demo"
    home = fh.read_station(demo / "station.toml")
    schedule = fh.read_schedule(demo / "schedule_b24.csv", days="iso", season="B24")
    return fh.plan(home, schedule, "2024-11-27", start="17:00", end="22:00", f107_sfu=180.0)


@pytest.fixture(scope="module")
def indices() -> pd.DataFrame:
    frame = fh.load_indices().frame
    last = int(np.flatnonzero(frame["status"] != "predicted")[-1])
    return frame.iloc[last - 60 : last + 20]


def club_checks(weeks: int = 12, names: tuple[str, ...] = ("Alder", "Birch", LONG)) -> pd.DataFrame:
    rng = np.random.default_rng(5)
    count = 40 * len(names)
    day = rng.integers(0, 7 * weeks, count)
    return pd.DataFrame(
        {
            "member": rng.choice(names, count),
            "evening": (np.datetime64("2024-10-02", "D") + day).astype("datetime64[s]"),
            "freq_khz": rng.choice([6050.0, 7300.0, 9500.0], count),
        }
    )


# Raster of a log --------------------------------------------------------------------------------


@pytest.mark.parametrize("zone", ["UTC", ZONE])
def test_raster_places_checks_as_pandas_does(table: pd.DataFrame, zone: str) -> None:
    data = logs.log_raster_data(table, time_zone=zone)
    checks = data[~data["mark"].isin(("sunset", "sunrise"))]
    wall = table["middle_utc"].dt.floor("s").dt.tz_convert(zone).dt.tz_localize(None)
    assert (checks["day"].to_numpy() == wall.dt.normalize().to_numpy("datetime64[s]")).all()
    seconds = (wall - wall.dt.normalize()).dt.total_seconds()
    np.testing.assert_allclose(checks["hour"], seconds / 3600.0)
    expected = table["outcome"].map({"heard": "heard", "not_heard": "not heard"}).fillna("blocked")
    assert (checks["mark"].to_numpy() == expected.to_numpy()).all()
    sunset = table.drop_duplicates("evening")["sunset_utc"].dt.floor("s").dt.tz_convert(zone)
    shown = data.loc[data["mark"] == "sunset", "hour"]
    hour = sunset.dt.hour + sunset.dt.minute / 60.0 + sunset.dt.second / 3600.0
    np.testing.assert_allclose(shown, hour)


def test_raster_draws_each_check_twice(table: pd.DataFrame) -> None:
    ax = logs.log_raster(table, time_zone=ZONE)
    data = logs.log_raster_data(table, time_zone=ZONE)
    day = data["day"].to_numpy().astype("datetime64[D]").astype(float)
    first = day[data["mark"] == "heard"].min()
    first = min(first, day[~data["mark"].isin(("sunset", "sunrise"))].min())
    for mark in ("heard", "not heard", "blocked"):
        rows = (data["mark"] == mark).to_numpy()
        at = np.column_stack([data["hour"][rows], day[rows]])
        again = at[at[:, 1] > first] + [24.0, -1.0]
        both = np.concatenate([at, again])
        strokes = segments(ax, mark)
        assert len(strokes) == len(both)
        np.testing.assert_allclose(np.sort(strokes[:, 0]), np.sort(both[:, 0]))
        middle = np.rint(strokes[:, 1:].mean(axis=1))
        assert (np.sort(middle) == np.sort(both[:, 1])).all()
    # as many half hours are white as pandas counts
    checks = data[~data["mark"].isin(("sunset", "sunrise"))]
    cells = checks.assign(cell=np.floor(checks["hour"] * 2)).groupby(["day", "cell"]).ngroups
    image = ax.images[0].get_array()
    assert int(image[:, :48].sum()) == cells
    assert ax.get_xlim() == (0.0, 48.0)
    assert ax.get_ylim()[0] > ax.get_ylim()[1], "days run down"


def test_raster_says_what_can_hurt(table: pd.DataFrame) -> None:
    ax = logs.log_raster(table)
    assert "nobody is home" in words(ax)
    assert "share with care" in words(ax)


def test_raster_labels(table: pd.DataFrame) -> None:
    ax = logs.log_raster(table, time_zone=ZONE)
    assert ax.get_title(loc="left") == (
        "Day by day: when the log was kept and what it heard (31 m, 41 m, 49 m)"
    )
    assert ZONE in ax.get_xlabel()
    heard = int((table["outcome"] == "heard").sum())
    key = [text.get_text() for text in ax.get_legend().get_texts()]
    assert f"heard: {heard}" in key
    assert f"{heard} heard" in logs.log_raster_alt(table)


def test_raster_of_checks_that_say_nothing(table: pd.DataFrame) -> None:
    none = table.assign(heard=np.nan)
    assert set(logs.log_raster_data(none)["mark"]) == {"blocked", "sunset", "sunrise"}
    skipped = table.assign(outcome="not_checked")
    assert "no check" in words(logs.log_raster(skipped))


def test_marks_of_the_raster_are_told_apart() -> None:
    # by shape: no two kinds take the same part of a row at the same width
    shapes = {(top, bottom, width) for top, bottom, width, _ in logs._MARK.values()}
    assert len(shapes) == 3
    colours = {name: colour for name, (*_, colour) in logs._MARK.items()}
    names = list(colours)
    for at, one in enumerate(names):
        assert contrast(colours[one], "white") >= 3.0, "WCAG 2.2, 1.4.11"
        for other in names[at + 1 :]:
            apart = seen_apart(colours[one], colours[other])
            assert min(apart.values()) >= 15.0, (one, other, apart)
    for grey in (logs._INTERVAL, "#8c8c8c"):  # intervals; bars of checks and of Kp
        assert contrast(grey, "white") >= 3.0, "WCAG 2.2, 1.4.11"
    assert lightness("white") - lightness(logs._UNSEEN) >= 8.0


# Share heard ------------------------------------------------------------------------------------


def test_rates_are_those_of_the_log(table: pd.DataFrame, hours: pd.DataFrame) -> None:
    data = logs.hearing_rate_data(hours)
    told = table[(table["band"] == "31 m") & table["heard"].notna()]
    cell = np.floor(told["middle_min"] / 30.0)
    expected = told.groupby(cell)["heard"].agg(["size", "mean"])  # pandas
    np.testing.assert_allclose(data["from_h"], expected.index * 0.5)
    np.testing.assert_allclose(data["checks"], expected["size"])
    np.testing.assert_allclose(data["ratio"], expected["mean"])


def test_rate_artists(hours: pd.DataFrame) -> None:
    few = hours.copy()
    few["checks"] = few["checks"].where(few.index != few.index[0], 4)
    ax = logs.hearing_rate(few)
    data = logs.hearing_rate_data(few)
    thin = data["thin"].to_numpy()
    assert thin.sum() >= 1
    x = data["from_h"].to_numpy() + 0.25
    shares = np.concatenate([line(ax, "share"), line(ax, "thin share")])
    np.testing.assert_allclose(np.sort(shares[:, 0]), x)
    np.testing.assert_allclose(line(ax, "thin share")[:, 1], data["ratio"][thin])
    strokes = segments(ax, "interval")
    known = data["low"].notna().to_numpy()
    np.testing.assert_allclose(
        strokes, np.column_stack([x, data["low"], data["high"]])[known], atol=1e-12
    )
    hatched = [p for p in ax.patches if p.get_gid() == "thin"]
    assert len(hatched) == thin.sum()
    assert all(p.get_hatch() for p in hatched)
    effort = ax.child_axes[0]
    np.testing.assert_allclose([bar.get_height() for bar in effort.patches], data["checks"])
    assert [bool(bar.get_hatch()) for bar in effort.patches] == thin.tolist()
    assert effort.get_xlim() == ax.get_xlim()


def test_rate_of_one_week_has_no_interval(hours: pd.DataFrame) -> None:
    ax = logs.hearing_rate(hours.assign(low=np.nan, high=np.nan))
    assert not len(segments(ax, "interval"))
    assert "No interval" in words(ax)


def test_one_chart_shows_one_band(table: pd.DataFrame) -> None:
    several = hearing_by_hour(table, 1)
    with pytest.raises(fh.InputError, match="holds 3 bands"):
        logs.hearing_rate(several)
    with pytest.raises(fh.InputError, match="holds 3 bands"):
        dusk.openings(fh.evenings.openings(table))


# Openings ---------------------------------------------------------------------------------------


def test_openings_are_drawn_as_they_stand(openings: pd.DataFrame) -> None:
    ax = dusk.openings(openings)
    day = pd.to_datetime(openings["evening"]).astype("datetime64[s]").to_numpy()
    x = day.astype("datetime64[D]").astype(float)
    low, high = openings["low_min"].to_numpy(), openings["high_min"].to_numpy()
    both = np.isfinite(low) & np.isfinite(high)
    np.testing.assert_allclose(
        segments(ax, "interval"), np.column_stack([x, low, high])[both], atol=1e-9
    )
    np.testing.assert_allclose(line(ax, "by")[:, 1], high[np.isneginf(low) & np.isfinite(high)])
    late = np.isfinite(low) & np.isposinf(high)
    np.testing.assert_allclose(line(ax, "not until"), np.column_stack([x, low])[late])
    assert (line(ax, "sun")[:, 1] == 0.0).all()
    assert "sunset" in words(ax)
    assert f"{int(both.sum())} with both ends known" in dusk.openings_alt(openings)


def test_openings_with_the_model() -> None:
    seen = fh.evenings.openings(made(first="2024-11-03").table, "31 m")
    season_of = study(60)
    ax = dusk.openings(seen, season_of)
    curve = line(ax, "model")
    dates = season_of["date"].to_numpy().astype("datetime64[D]").astype(float)
    inside = np.isin(dates, curve[:, 0])
    assert 20 <= inside.sum() < 60, "a week around the log"
    np.testing.assert_allclose(curve[:, 1], season_of["dusk_opening_min"].to_numpy()[0][inside])
    with pytest.raises(fh.InputError, match="the model has 31 m, 49 m"):
        dusk.openings(seen, season_of, band="13 m")
    other = dusk.openings(seen, season_of, band="49 m")  # opens at no time
    assert "at no time" in words(other)


def test_openings_with_the_weeks_of_the_model() -> None:
    weeks = pd.DataFrame(
        {
            "band": "31 m",
            "first_date": ["2024-11-04", "2024-11-11", "2024-11-18"],
            "days": 7,
            "opening_days": [7, 7, 3],
            "opens_after_sunset_min": [10.0, 12.0, 14.0],
            "opens_after_sunset_min_p25": [8.0, 9.0, 10.0],
            "opens_after_sunset_min_p75": [12.0, 14.0, 20.0],
        }
    )
    seen = fh.evenings.openings(made(first="2024-11-03").table, "31 m")
    data = dusk.openings_data(seen, weeks)
    model = data[data["source"] == "model"]
    assert model["middle_min"].fillna(-1.0).tolist() == [10.0, 12.0, -1.0], "3 of 7 days are few"
    assert str(model["date"].iloc[0])[:10] == "2024-11-07", "the middle of the week"
    ax = dusk.openings(seen, weeks)
    assert [c.get_gid() for c in ax.collections].count("model quartiles") == 1


def test_closings_count_from_sunrise(openings: pd.DataFrame) -> None:
    ax = dusk.openings(openings, study(), event="closing")
    assert "sunrise" in ax.get_ylabel()
    assert "closed" in ax.get_title(loc="left")
    with pytest.raises(fh.InputError, match="neither 'opening' nor 'closing'"):
        dusk.openings(openings, event="ending")


# Ladder -----------------------------------------------------------------------------------------


def test_ladder_draws_the_plan(tonight: fh.Plan) -> None:
    ax = dusk.evening_ladder(tonight)
    data = dusk.evening_ladder_data(tonight)
    frame = tonight.frame
    midnight = pd.Timestamp("2024-11-27", tz="UTC")
    bars = {p.get_gid(): p for p in ax.patches if str(p.get_gid()).startswith("bar ")}
    assert len(bars) == data["rank"].nunique()
    for rank in data["rank"].unique():
        bar = bars[f"bar {rank}"]
        start, end = frame.loc[rank, "start_utc"], frame.loc[rank, "end_utc"]
        assert bar.get_x() == pytest.approx((start - midnight) / pd.Timedelta(hours=1))
        assert bar.get_x() + bar.get_width() == pytest.approx(
            (end - midnight) / pd.Timedelta(hours=1)
        )
        best = data.loc[data["rank"] == rank, "best"].iloc[0]
        assert best == frame.loc[rank, "likelihood"]
    texts = {t.get_gid(): t.get_text() for t in ax.texts}
    assert all(texts[f"label {rank}"] for rank in data["rank"].unique())
    assert data["band"].nunique() == frame["band"].nunique(), "each band has a line"
    # bars of one line do not lie on one another
    for _, part in data.groupby(["band", "lane"]):
        spans = part.groupby("rank").agg(a=("start_utc", "min"), b=("end_utc", "max"))
        spans = spans.sort_values("a")
        assert (spans["b"].to_numpy()[:-1] <= spans["a"].to_numpy()[1:]).all()


def test_ladder_shades_are_the_likelihoods(tonight: fh.Plan) -> None:
    ax = dusk.evening_ladder(tonight)
    data = dusk.evening_ladder_data(tonight)
    faces = [c.get_facecolor() for c in ax.collections if isinstance(c, PatchCollection)]
    grey = np.array([lightness(face[:3]) for face in np.concatenate(faces)])
    chance = data["likelihood"].to_numpy()
    order = np.argsort(chance)
    assert (np.diff(grey[order]) <= 1e-9).all(), "the likelier the darker"


def test_ladder_shows_the_likeliest_first(tonight: fh.Plan) -> None:
    data = dusk.evening_ladder_data(tonight, lanes=1)
    first = tonight.frame.groupby("band", sort=False)["likelihood"].idxmax()
    assert set(first) <= set(data["rank"])
    assert (data["lane"] == 0).all()


def test_ink_is_a_ramp_of_even_lightness() -> None:
    # CIELAB by colorspacious: falls all the way, no step of 1/16 more than twice another
    rgb = _layout.DEPTH(np.linspace(0.0, 1.0, 17))[:, :3]
    lab = colorspacious.cspace_convert(rgb, "sRGB1", "CIELab")[:, 0]
    steps = -np.diff(lab)
    assert lab[0] == pytest.approx(100.0, abs=0.1)
    assert (steps > 0.0).all()
    assert steps.max() / steps.min() < 2.0


# Hour against date ------------------------------------------------------------------------------


def test_hours_show_the_study() -> None:
    season_of = study()
    ax = dusk.likelihood_hours(season_of, "49 m")
    mesh = ax.collections[0]
    np.testing.assert_allclose(
        np.asarray(mesh.get_array()), season_of["far_likelihood"].to_numpy()[1].T
    )
    assert mesh.get_clim() == (0.0, 1.0)
    assert ax.get_ylim() == (0.0, 24.0)
    first = float(np.datetime64("2024-11-01", "D").astype(int))
    assert ax.get_xlim() == (first, first + 30.0)
    np.testing.assert_allclose(line(ax, "sunset")[:, 1], 14.5)
    np.testing.assert_allclose(line(ax, "sunrise")[:, 1], 6.5)
    with pytest.raises(fh.InputError, match="the study has 31 m, 49 m"):
        dusk.likelihood_hours(season_of, "13 m")


def test_hours_leave_missing_dates_white() -> None:
    season_of = study().isel(date=[0, 1, 2, 10, 11])
    mesh = dusk.likelihood_hours(season_of, "31 m").collections[0]
    values = np.ma.filled(mesh.get_array(), np.nan)
    assert values.shape == (24, 12)
    assert np.isnan(values[:, 3:10]).all()


def test_hours_of_a_real_study() -> None:
    demo = files("farhear") / "data" / "demo"
    home = fh.read_station(demo / "station.toml")
    schedule = fh.read_schedule(demo / "schedule_b24.csv", days="iso", season="B24")
    dates = ["2024-11-05", "2024-12-05"]
    whole = season.season_study(home, schedule, "B24", dates=dates, f107_sfu=180.0)
    ax = dusk.likelihood_hours(whole, "31 m")
    check_looks(ax)
    values = np.ma.filled(ax.collections[0].get_array(), np.nan)
    at = [str(b) for b in whole["band"].to_numpy()].index("31 m")
    np.testing.assert_allclose(values[:, 0], whole["far_likelihood"].to_numpy()[at, 0])


# Solar strip ------------------------------------------------------------------------------------


def test_strip_shows_the_indices(indices: pd.DataFrame) -> None:
    ax = logs.solar_strip(indices)
    x = indices["date"].to_numpy("datetime64[D]").astype(float) + 0.5
    np.testing.assert_allclose(line(ax, "flux"), np.column_stack([x, indices["f107_obs_sfu"]]))
    highest = indices[[f"kp_{h:02d}" for h in range(0, 24, 3)]].max(axis=1).to_numpy()  # pandas
    bars = ax.child_axes[0]
    strokes = np.concatenate([segments(bars, "kp below 5"), segments(bars, "kp 5 or more")])
    strokes = strokes[np.argsort(strokes[:, 0])]
    np.testing.assert_allclose(strokes[:, 2], highest)
    assert (segments(bars, "kp 5 or more")[:, 2] >= 5.0).all()


def test_strip_hatches_what_is_predicted(indices: pd.DataFrame) -> None:
    ax = logs.solar_strip(indices)
    spans = [p for p in ax.patches if p.get_gid() == "predicted"]
    told = indices.loc[indices["status"] == "predicted", "date"]
    days = told.to_numpy("datetime64[D]").astype(float)
    assert len(spans) == 1
    assert spans[0].get_hatch()
    box = spans[0].get_extents().transformed(ax.transData.inverted())
    assert box.x0 == pytest.approx(days.min())
    assert box.x1 == pytest.approx(days.max() + 1.0)


def test_strip_hangs_under_a_date_axis(openings: pd.DataFrame) -> None:
    ax = dusk.openings(openings)
    strip = logs.solar_strip(fh.load_indices(), under=ax)
    assert strip in ax.child_axes
    assert strip.get_xlim() == ax.get_xlim()
    drawn(ax)
    texts = [t.get_text() for t in strip.get_xticklabels()]
    assert any("2024" in t for t in texts)
    check_looks(ax)


# Club -------------------------------------------------------------------------------------------


def test_coverage_counts_as_pandas_does() -> None:
    checks = club_checks()
    data = logs.club_coverage_data(checks)
    monday = checks["evening"].dt.to_period("W-SUN").dt.start_time
    expected = pd.crosstab(checks["member"], monday)  # pandas, weeks that end on Sunday
    wide = data.pivot_table(index="member", columns="week", values="checks", sort=False)
    for member in expected.index:
        for week in wide.columns:
            many = expected.loc[member].get(week, 0)
            assert wide.loc[member, week] == many
    weeks = pd.DatetimeIndex(wide.columns)
    assert (np.diff(weeks) == np.timedelta64(7, "D")).all(), "no week is left out"


def test_coverage_by_band_and_its_cells() -> None:
    checks = club_checks()
    ax = logs.club_coverage(checks, by="band")
    assert [t.get_text() for t in ax.get_xticklabels()] == ["49 m", "41 m", "31 m"]
    data = logs.club_coverage_data(checks, by="band")
    image = ax.images[0].get_array()
    np.testing.assert_allclose(np.ma.filled(image, 0.0).reshape(-1), data["checks"].to_numpy(float))
    for text in ax.texts:  # WCAG 2.2, 1.4.3, against the cell behind each number
        if text.get_gid() != "note" and text.get_text().isdigit() and text.get_position()[1] >= 0:
            row, column = round(text.get_position()[1]), round(text.get_position()[0])
            value = image[row, column]
            if np.ma.is_masked(value) or text.get_text() != f"{value:.0f}":
                continue
            cell = ax.images[0].cmap(ax.images[0].norm(value))
            assert contrast(text.get_color(), cell) >= 4.5
    with pytest.raises(fh.InputError, match="neither 'week' nor 'band'"):
        logs.club_coverage(checks, by="year")


def test_coverage_of_a_merged_club() -> None:
    one = made(5).frame
    members = [
        fh.club.Member(
            name=name,
            place="KO38",
            time_zone=ZONE,
            licence="CC-BY-4.0",
            consent=True,
            log=log,
        )
        for name, log in (("Alder", one), (LONG, one.iloc[:30]))
    ]
    club = fh.club.merge(members)
    data = logs.club_coverage_data(club)
    sums = data.groupby("member")["checks"].sum()
    counts = club.counts.set_index("member")["kept"]
    assert sums.to_dict() == counts.to_dict()
    ax = logs.club_coverage(club)
    assert "\n".join(["The Listener Of The Long", "Northern Shores"]) in words(ax)
    check_looks(ax)


# Edges of every chart ---------------------------------------------------------------------------


def empty_table(table: pd.DataFrame) -> pd.DataFrame:
    return table.iloc[:0]


def years_of_log() -> pd.DataFrame:
    """Eleven years of one check a day, invented."""
    log = pd.DataFrame(
        {
            "start_utc": pd.date_range("2014-01-01T18:00Z", periods=DAYS_11_YEARS, freq="D"),
            "freq_khz": 9500.0,
            "outcome": np.resize(["heard", "not_heard", "blocked"], DAYS_11_YEARS),
        }
    )
    log["end_utc"] = log["start_utc"] + pd.Timedelta(minutes=4)
    return fh.evenings.table(log, WEST)


def polar_table() -> pd.DataFrame:
    log = pd.DataFrame(
        {
            "start_utc": pd.date_range("2024-12-10T18:00Z", periods=5, freq="D"),
            "freq_khz": 9500.0,
            "outcome": ["heard", "not_heard", "blocked", "heard", "heard"],
        }
    )
    log["end_utc"] = log["start_utc"] + pd.Timedelta(minutes=4)
    return fh.evenings.table(log, FAR_NORTH)


def polar_openings(openings: pd.DataFrame) -> pd.DataFrame:
    return openings.assign(low_min=np.nan, high_min=np.nan, state="no usable check")


def openings_of_years() -> pd.DataFrame:
    rng = np.random.default_rng(1)
    low = rng.normal(20.0, 20.0, DAYS_11_YEARS)
    return pd.DataFrame(
        {
            "evening": np.datetime64("2014-01-01", "s") + np.arange(DAYS_11_YEARS) * 86400,
            "band": "31 m",
            "low_min": np.where(rng.random(low.size) < 0.1, -np.inf, low),
            "high_min": low + 15.0,
            "state": "between",
        }
    )


def test_raster_edges(table: pd.DataFrame) -> None:
    for part in (empty_table(table), table.iloc[:1], table.assign(heard=np.nan), polar_table()):
        ax = logs.log_raster(part)
        check_looks(ax)
        assert logs.log_raster_alt(part).endswith(".")
    assert "No sunset" in words(logs.log_raster(polar_table()))
    assert "no check" in words(logs.log_raster(empty_table(table)))
    years = logs.log_raster(years_of_log())
    check_looks(years)
    assert [t.get_text() for t in years.get_yticklabels()][1] == "2015"
    many = table.assign(band=[f"{at % 9} m" for at in range(len(table))])
    check_looks(logs.log_raster(many))
    check_looks(logs.log_raster(table.assign(band=LONG * 3)))


def test_rate_edges(hours: pd.DataFrame) -> None:
    nan = hours.assign(ratio=np.nan, low=np.nan, high=np.nan)
    long_name = hours.assign(band=f"31 m, {LONG} and {LONG} and {LONG}")
    for part in (hours.iloc[:0], hours.iloc[:1], nan, long_name):
        ax = logs.hearing_rate(part)
        check_looks(ax)
        assert logs.hearing_rate_alt(part).endswith(".")
    polar = hearing_by_hour(polar_table(), 1)
    assert "no check" in words(logs.hearing_rate(polar))
    years = hearing_by_hour(years_of_log(), 1)
    assert "no check" not in words(logs.hearing_rate(years))
    check_looks(logs.hearing_rate(years))


def test_openings_edges(openings: pd.DataFrame) -> None:
    polar = polar_openings(openings)
    long_name = openings.assign(band=f"31 m, {LONG} and {LONG}")
    for part in (openings.iloc[:0], openings.iloc[:1], polar, openings_of_years(), long_name):
        ax = dusk.openings(part)
        check_looks(ax)
        assert dusk.openings_alt(part).endswith(".")
    assert "no evening with a sunset" in words(dusk.openings(polar))
    alone = dusk.openings(openings.iloc[:0], study(), band="31 m")
    assert len(line(alone, "model")) == 30
    nothing = dusk.openings(openings.iloc[:0], study(fill=np.nan), band="31 m")
    check_looks(nothing)


def test_ladder_edges(tonight: fh.Plan) -> None:
    frame, steps = tonight.frame, tonight.steps

    def cut(ranks: Any, **columns: Any) -> fh.Plan:
        rows = frame.loc[frame.index.isin(ranks)].assign(**columns)
        pieces = steps[steps["rank"].isin(ranks)]
        if "likelihood" in columns:
            pieces = pieces.assign(likelihood=columns["likelihood"])
        return dataclasses.replace(tonight, frame=rows, steps=pieces)

    unknown = cut(frame.index, likelihood=np.nan)
    band = frame.index[frame["band"] == "31 m"]
    polar = cut(frame.index, home_sunset_utc=pd.NaT, home_sunrise_utc=pd.NaT)
    long_name = cut(frame.index, broadcaster=f"{LONG} and {LONG}")
    for plan in (cut([]), cut([0]), unknown, cut(band), polar, long_name):
        ax = dusk.evening_ladder(plan)
        check_looks(ax)
        assert dusk.evening_ladder_alt(plan).endswith(".")
    assert "nothing on the air" in words(dusk.evening_ladder(cut([])))
    bars = [p for p in dusk.evening_ladder(unknown).patches if p.get_gid()]
    assert all(bar.get_hatch() for bar in bars), "an unknown likelihood is hatched, not pale"
    assert "sunset" not in words(dusk.evening_ladder(polar))


def test_labels_of_the_ladder_keep_to_their_bars(tonight: fh.Plan) -> None:
    ax = dusk.evening_ladder(tonight)
    figure = drawn(ax)
    data = dusk.evening_ladder_data(tonight)
    rows: dict[float, list[Any]] = {}
    for text in ax.texts:
        if str(text.get_gid()).startswith("label"):
            rows.setdefault(text.get_position()[1], []).append(text)
    assert len(rows) == data.groupby(["band", "lane"]).ngroups
    worst = 0.0
    for texts in rows.values():
        texts.sort(key=lambda text: text.get_position()[0])
        boxes = [text.get_window_extent() for text in texts]
        for one, after in itertools.pairwise(boxes):
            worst = max(worst, (one.x1 - after.x0) / figure.dpi * 72.0)
    assert worst <= 3.0, f"labels run {worst:.1f} pt into one another"


def test_hours_edges() -> None:
    dates = (study(0), study(1), study(fill=np.nan), study(DAYS_11_YEARS, "2014-01-01"))
    for part in dates:
        ax = dusk.likelihood_hours(part, "31 m")
        check_looks(ax)
        assert dusk.likelihood_hours_alt(part, "31 m").endswith(".")
    assert "no site beyond 3000 km" in words(dusk.likelihood_hours(dates[2], "31 m"))
    assert "No sunset at home on 30" in words(dusk.likelihood_hours(dates[2], "31 m"))


def test_strip_edges(indices: pd.DataFrame) -> None:
    nan = indices.assign(f107_obs_sfu=np.nan, **{f"kp_{h:02d}": np.nan for h in range(0, 24, 3)})
    frame = fh.load_indices().frame
    last = frame.loc[frame["status"] != "predicted", "date"].max()
    years = frame[frame["date"] > last - pd.Timedelta(days=DAYS_11_YEARS)]
    for part in (indices.iloc[:0], indices.iloc[:1], nan, years):
        ax = logs.solar_strip(part)
        check_looks(ax)
        assert logs.solar_strip_alt(part).endswith(".")
        seen = ax.get_ylim()
        ticks = [at for at in ax.get_yticks() if seen[0] <= at <= seen[1]]
        assert len(ticks) >= 2 or part.empty or len(part) == 1 or part is nan
    assert "no index" in words(logs.solar_strip(nan))


def test_coverage_of_a_club_that_shares_weeks_only() -> None:
    checks = club_checks()
    monday = checks["evening"].dt.to_period("W-SUN").dt.start_time  # pandas
    by_week = checks.drop(columns="evening").assign(week=monday)
    one, other = (logs.club_coverage_data(form) for form in (checks, by_week))
    pd.testing.assert_frame_equal(one, other)


def test_coverage_edges() -> None:
    many = club_checks(574, tuple(f"{LONG[:30]} {at}" for at in range(30)))
    nobody = club_checks().assign(evening=pd.NaT)
    for part in (club_checks().iloc[:0], club_checks().iloc[:1], many, nobody):
        ax = logs.club_coverage(part)
        check_looks(ax)
        assert logs.club_coverage_alt(part).endswith(".")
    one_band = club_checks().assign(freq_khz=9500.0)
    check_looks(logs.club_coverage(one_band, by="band"))


# Axes and files ---------------------------------------------------------------------------------


def test_charts_draw_where_they_are_told(
    table: pd.DataFrame, hours: pd.DataFrame, openings: pd.DataFrame, tonight: fh.Plan
) -> None:
    figure = Figure(figsize=(11.7, 8.3), layout="constrained")
    axes = figure.subplots(2, 3).ravel()
    assert logs.log_raster(table, ax=axes[0]) is axes[0]
    assert logs.hearing_rate(hours, ax=axes[1]) is axes[1]
    assert dusk.openings(openings, ax=axes[2]) is axes[2]
    assert dusk.evening_ladder(tonight, lanes=8, ax=axes[3]) is axes[3]
    assert dusk.likelihood_hours(study(), "31 m", ax=axes[4]) is axes[4]
    assert logs.club_coverage(club_checks(), ax=axes[5]) is axes[5]
    assert len(figure.axes) == 6
    figure.canvas.draw()


def test_no_chart_touches_pyplot(table: pd.DataFrame) -> None:
    import matplotlib.pyplot as plt

    before = plt.get_fignums()
    logs.log_raster(table)
    assert plt.get_fignums() == before


@pytest.mark.parametrize("kind", ["svg", "png", "pdf"])
def test_files_are_the_same_and_say_what_they_hold(
    hours: pd.DataFrame, tmp_path: Path, kind: str
) -> None:
    alt, data = logs.hearing_rate_alt(hours), logs.hearing_rate_data(hours)
    paths = [tmp_path / f"{name}.{kind}" for name in "ab"]
    digests = {_style.export(logs.hearing_rate(hours), path, alt, data) for path in paths}
    csv = tmp_path / "data.csv"
    data.to_csv(csv, index=False, float_format="%.10g", lineterminator="\n")
    digest = hashlib.sha256(csv.read_bytes()).hexdigest()
    assert digests == {digest}
    first, second = (path.read_bytes() for path in paths)
    assert first == second
    assert str(tmp_path).encode() not in first
    if kind == "svg":
        root = ET.fromstring(first)  # the standard library
        assert root[0].text == alt
        assert root.get("role") == "img"
        assert digest.encode() in first
    elif kind == "png":
        from PIL import Image

        with Image.open(paths[0]) as image:
            assert image.info["Description"] == alt
            assert digest in image.info["Data-SHA-256"]
            assert image.info["dpi"][0] == pytest.approx(300.0, abs=0.1)
            assert image.size == (2481, 1749)
    else:
        from pypdf import PdfReader

        meta = PdfReader(paths[0]).metadata
        assert meta is not None
        assert meta.subject == alt
        assert digest in str(meta["/Keywords"])
        assert meta.creation_date is None


def test_export_refuses(hours: pd.DataFrame, tmp_path: Path) -> None:
    ax, data = logs.hearing_rate(hours), logs.hearing_rate_data(hours)
    with pytest.raises(fh.InputError, match="path ends in"):
        _style.export(ax, tmp_path / "chart.gif", "words", data)
    with pytest.raises(fh.InputError, match="alt is empty"):
        _style.export(ax, tmp_path / "chart.svg", " ", data)


def test_contrast_agrees_with_colorspacious() -> None:
    for colour in ("#0072B2", "#D55E00", _layout.GREY, "#ffffff"):
        assert _layout.contrast_ratio(colour, "white") == pytest.approx(
            contrast(colour, "white"), rel=0.01
        )


@pytest.mark.parametrize(
    ("first", "last", "most"),
    [
        ("2024-01-01", "2024-01-01", 8),
        ("2024-01-01", "2024-02-20", 8),
        ("1900-05-03", "2030-01-01", 8),
    ],
)
def test_date_ticks_are_round_and_inside(first: str, last: str, most: int) -> None:
    low, high = (float(np.datetime64(d, "D").astype(int)) for d in (first, last))
    days = _layout._tick_days(low, high, most)
    at = days.astype("datetime64[D]").astype(int)
    assert days.size >= 1
    assert ((at >= low) & (at <= high)).all()
    assert days.size <= max(most + 1, 13)

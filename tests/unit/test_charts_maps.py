"""Maps: what is drawn, against general libraries; how it reads in grey and by weak eyes.

All sites and homes here are invented.
"""

import datetime as dt
import json
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pyproj
import pytest
import shapely
from colorspacious import cspace_convert
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import Polygon
from PIL import Image
from pypdf import PdfReader

import farhear as fh
from farhear import _data, path, skywave
from farhear.charts import _style, maps

sys.path.insert(0, str(Path(__file__).parent))
from _contrast import text_contrasts

WHEN = "2024-12-15T17:00Z"
TX = {"tx_lat_deg": -13.9, "tx_lon_deg": 29.2, "site": "Zambelu"}
SPHERE = pyproj.Geod(a=6371000.0, b=6371000.0)
WGS84 = pyproj.Geod(ellps="WGS84")
RNG_SEED = 20241215


def usual() -> maps.DayNight:
    modes = pd.DataFrame({"hops": [4, 3], "long_path": [False, False]})
    return maps.day_night_of(WHEN, home="KO38", modes=modes, **TX)


def sites(rows: list[tuple[str, float, float, str, float]]) -> pd.DataFrame:
    columns = ["site", "tx_lat_deg", "tx_lon_deg", "beams_deg", "azimuth_deg"]
    return pd.DataFrame(rows, columns=columns)


SITES = sites(
    [
        ("Zambelu", -13.9, 29.2, "", 0.0),
        ("Bandhelor", 24.8, 77.6, "120/330", 120.0),
        ("Illampura", -17.6, -65.4, "", np.nan),
        ("Sepikora", -5.6, 143.6, "", 330.0),
        ("Zambelu", -13.9, 29.2, "", 0.0),
    ]
)


def true_zenith_deg(utc: str, lat: np.ndarray, lon: np.ndarray) -> np.ndarray:
    """Geometric zenith angle by NREL's SPA as pvlib has it (general library)."""
    at = pd.DatetimeIndex([pd.Timestamp(utc)])
    return np.array(
        [
            pvlib.solarposition.get_solarposition(at, a, o)["zenith"].iloc[0]
            for a, o in zip(lat, lon, strict=True)
        ]
    )


# Height of the sun's centre where it seems to set on the ground: 34' of refraction and 16' of half
# disc (NOAA, solar calculation details). Above the ground 90 deg + the dip of the horizon,
# acos(R / (R + h)), plane trigonometry on a sphere of R = 6371 km.
DIP_DEG = {
    0.0: 90.833,
    110.0: 90.0 + np.degrees(np.arccos(6371.0 / 6481.0)),
    300.0: 90.0 + np.degrees(np.arccos(6371.0 / 6671.0)),
}


# Day and night ----------------------------------------------------------------------------------


@pytest.mark.parametrize("utc", [WHEN, "2025-03-20T09:00Z", "2025-06-21T12:00Z"])
def test_terminators_lie_where_the_sun_stands_at_the_horizon(utc: str) -> None:
    axis = maps.day_night(maps.day_night_of(utc))
    lines = {line.get_label(): line.get_xydata() for line in axis.lines}
    names = ("sunset or sunrise on the ground", "at 110 km", "at 300 km")
    for name, (height, zenith) in zip(names, DIP_DEG.items(), strict=True):
        xy = lines[name]
        xy = xy[np.isfinite(xy[:, 0]) & (np.abs(xy[:, 1]) < 89.9)]
        some = xy[:: max(len(xy) // 15, 1)]
        got = true_zenith_deg(utc, some[:, 1], some[:, 0])
        # 0.02 deg: stated error of farhear.sun; the edge points are interpolated over half a degree
        np.testing.assert_allclose(got, zenith, atol=0.03, err_msg=f"{height} km")


@pytest.mark.parametrize("utc", [WHEN, "2025-03-20T09:00Z", "2025-06-21T00:00Z", "2025-09-22T18Z"])
def test_the_toned_side_is_the_dark_one(utc: str) -> None:
    utc = utc.replace("18Z", "18:00Z")
    axis = maps.day_night(maps.day_night_of(utc))
    rng = np.random.default_rng(RNG_SEED)
    lon, lat = rng.uniform(-180, 180, 60), np.degrees(np.arcsin(rng.uniform(-1, 1, 60)))
    zenith = true_zenith_deg(utc, lat, lon)
    tones = [p for p in axis.patches if isinstance(p, Polygon) and p.get_alpha() is not None]
    depth = sum(p.get_path().contains_points(np.column_stack([lon, lat])) for p in tones)
    expected = sum(zenith > limit for limit in DIP_DEG.values())
    clear = np.all([np.abs(zenith - limit) > 1.0 for limit in DIP_DEG.values()], axis=0)
    assert clear.sum() > 40
    np.testing.assert_array_equal(depth[clear], expected[clear])


def test_night_on_the_ground_is_hatched_too() -> None:
    axis = maps.day_night(usual())
    assert {p.get_hatch() for p in axis.patches} == {None, _style.HATCHES["night"]}


@pytest.mark.parametrize(
    ("tx", "home"),
    [
        ((-13.9, 29.2), "KO38"),
        ((-17.6, -65.4), "QI14"),  # the short way crosses 180
        ((64.0, 179.0), "AP15"),  # both beside it
        ((90.0, 0.0), "KO38"),  # from the pole
        ((-58.5, -153.0), "KO38"),  # the antipode of home
        ((58.5, 27.0), "KO38"),  # home itself
        ((60.5, -153.0), "KO38"),  # straight over the north pole
        ((16.1, 120.9), "AR99"),  # home beside the pole
    ],
)
def test_ways_are_great_circles_and_stay_on_the_map(tx: tuple[float, float], home: str) -> None:
    drawn = maps.day_night_of(WHEN, home=home, tx_lat_deg=tx[0], tx_lon_deg=tx[1])
    axis = maps.day_night(drawn)
    cell = path.from_locator(home)
    # Source of lengths: GeographicLib by pyproj, on the sphere of the package (6371 km).
    short_km = SPHERE.inv(tx[1], tx[0], float(cell.lon_deg), float(cell.lat_deg))[2] / 1e3
    whole = {"short way": short_km, "long way": 2.0 * np.pi * 6371.0 - short_km}
    for line in axis.lines:
        if line.get_label() not in whole:
            continue
        xy = line.get_xydata()
        assert not np.any(np.abs(xy[:, 0]) > 180.0 + 1e-9)
        assert not np.any(np.abs(np.diff(xy[:, 0])) > 180.0 + 1e-9)
        length = 0.0
        for piece in pieces(xy):
            length += SPHERE.line_length(piece[:, 0], piece[:, 1]) / 1e3
        assert length == pytest.approx(whole[str(line.get_label())], abs=2.0)
    assert drawn.distance_km == pytest.approx(tuple(whole.values()), abs=0.01)


def pieces(xy: np.ndarray) -> list[np.ndarray]:
    gaps = np.flatnonzero(np.isnan(xy[:, 0]))
    parts = np.split(xy, gaps)
    return [p[np.isfinite(p[:, 0])] for p in parts if np.isfinite(p[:, 0]).sum() > 1]


def test_points_of_the_hops() -> None:
    drawn = usual()
    # Source: GeographicLib by pyproj, points at equal steps on the sphere.
    steps = SPHERE.npts(29.2, -13.9, 27.0, 58.5, 7)  # eighths: middles at odd, ground at even
    for what, places in (("control point", steps[0::2]), ("ground point", steps[1::2])):
        part = drawn.points[drawn.points["what"] == what]
        np.testing.assert_allclose(part[["lon_deg", "lat_deg"]], places, atol=1e-6)
    over = drawn.points[drawn.points["what"] == "sun overhead"]
    assert true_zenith_deg(WHEN, over["lat_deg"], over["lon_deg"])[0] < 0.03  # pvlib


def test_labels_ranges_and_words() -> None:
    drawn = usual()
    axis = maps.day_night(drawn)
    assert axis.get_xlim() == (-180.0, 180.0)
    assert axis.get_ylim() == (-90.0, 90.0)
    assert axis.get_figure().get_size_inches() == pytest.approx(_style.A5_IN)
    labels = [text.get_text() for text in axis.get_legend().get_texts()]
    assert labels[:3] == ["sunset or sunrise on the ground", "at 110 km", "at 300 km"]
    assert {"short way", "long way", "sun overhead", "middle of a hop"} < set(labels)
    styles = {line.get_label(): line.get_linestyle() for line in axis.lines}
    assert styles["short way"] == "-"
    assert styles["long way"] == "--"
    assert "Zambelu to cell KO38, 8,053 km" in axis.get_title(loc="left")
    words = maps.day_night_alt(drawn)
    assert "4 hops on the short way" in words
    assert "8,053 km, long way 31,977 km" in words
    table = maps.day_night_data(drawn)
    assert list(table) == ["part", "number", "lat_deg", "lon_deg"]
    assert (table["part"] == "control point").sum() == 4
    assert (table["part"] == "ground point").sum() == 3
    assert table["lat_deg"].between(-90, 90).all()
    assert not table.isna().any().any()


def test_times_of_the_sun_in_words() -> None:
    drawn = maps.day_night_of("2025-06-21T12:00Z", home="KO38")
    # Source: NREL SPA by pvlib, sunrise and sunset of the middle of the cell, to the minute.
    days = pd.DatetimeIndex([pd.Timestamp("2025-06-21", tz="UTC")])
    found = pvlib.solarposition.sun_rise_set_transit_spa(days, 58.5, 27.0)
    text = drawn.ends["sun_text"].iloc[0]
    said = dict(part.split() for part in text.split(", "))
    for word, column in (("rises", "sunrise"), ("sets", "sunset")):
        real = found[column].iloc[0]
        here = dt.datetime.strptime(said[word], "%H:%M")  # noqa: DTZ007
        minutes = (here.hour - real.hour) * 60 + here.minute - real.minute - real.second / 60
        assert abs((minutes + 720) % 1440 - 720) < 1.5


@pytest.mark.parametrize(
    ("utc", "words"),
    [("2025-06-21T12:00Z", "up all day"), ("2025-12-21T12:00Z", "down all day")],
)
def test_polar_day_and_night(utc: str, words: str) -> None:
    drawn = maps.day_night_of(utc, home=path.locator(85.5, 27.0, 4))
    assert drawn.ends["sun_text"].iloc[0] == words
    assert words in maps.day_night_alt(drawn)
    maps.day_night(drawn)


def test_a_circuit_without_a_mode_and_a_map_without_a_circuit() -> None:
    none = pd.DataFrame({"hops": [], "long_path": []})
    drawn = maps.day_night_of(WHEN, home="KO38", modes=none, **TX)
    assert set(drawn.points["what"]) == {"sun overhead"}
    assert "no mode" in maps.day_night_alt(drawn)
    notes = " ".join(text.get_text() for text in maps.day_night(drawn).texts)
    assert "no mode, so no hop points" in notes
    assert "mode" not in maps.day_night_alt(maps.day_night_of(WHEN, home="KO38", **TX))
    bare = maps.day_night_of(WHEN)
    assert bare.ends.empty
    assert "short way" not in maps.day_night_alt(bare)
    assert len(maps.day_night_data(bare)) == 3 * 721 + 1
    maps.day_night(bare)


def test_the_long_way_carries_the_points_when_the_mode_does() -> None:
    modes = pd.DataFrame({"hops": [9], "long_path": [True]})
    drawn = maps.day_night_of(WHEN, home="KO38", modes=modes, **TX)
    way = drawn.lines[drawn.lines["line"] == "long way"]
    middle = drawn.points[drawn.points["what"] == "control point"].iloc[4]
    half = way.iloc[90]
    assert middle["lat_deg"] == pytest.approx(half["lat_deg"], abs=1e-6)
    assert "9 hops on the long way" in maps.day_night_alt(drawn)


def test_real_modes_fit_in() -> None:
    modes = skywave.modes(-13.9, 29.2, 58.5, 27.0, 9600.0, WHEN, f107_sfu=150.0)
    drawn = maps.day_night_of(WHEN, home="KO38", modes=modes, **TX)
    assert drawn.hops == modes["hops"].iloc[0]


@pytest.mark.parametrize("home", ["KO38ij", "KO38ij22", ""])
def test_a_home_is_a_coarse_cell_or_refused(home: str) -> None:
    with pytest.raises(fh.InputError, match="home"):
        maps.day_night_of(WHEN, home=home)
    with pytest.raises(fh.InputError, match="home"):
        maps.around_home_of(SITES, home)
    with pytest.raises(fh.InputError, match="home"):
        maps.around_home(maps.around_home_of(SITES, "KO38"), home)


def test_one_instant_only() -> None:
    with pytest.raises(fh.InputError, match="one instant"):
        maps.day_night_of([WHEN, WHEN])


def test_split_keeps_what_it_cuts() -> None:
    line = maps.split(np.array([10.0, 20.0, 30.0]), np.array([170.0, -170.0, -160.0]))
    np.testing.assert_allclose(
        line,
        [[170, 10], [180, 15], [np.nan, np.nan], [-180, 15], [-170, 20], [-160, 30]],
    )


# Around home ------------------------------------------------------------------------------------

HOMES = [(58.5, 27.0), (-49.5, -69.0), (0.5, 179.0), (89.5, 1.0), (-89.5, 1.0)]


@pytest.mark.parametrize("home", HOMES)
def test_the_map_is_the_azimuthal_equidistant_one(home: tuple[float, float]) -> None:
    # Source: PROJ's +proj=aeqd on WGS84, by pyproj.
    proj = pyproj.Proj(proj="aeqd", lat_0=home[0], lon_0=home[1], ellps="WGS84")
    rng = np.random.default_rng(RNG_SEED)
    lat, lon = np.degrees(np.arcsin(rng.uniform(-1, 1, 400))), rng.uniform(-180, 180, 400)
    x_km, y_km = maps.centred(*home, lat, lon)
    expected = np.array(proj(lon, lat)) / 1e3
    np.testing.assert_allclose([x_km, y_km], expected, atol=0.001)


@pytest.mark.parametrize("home", HOMES)
def test_land_is_where_land_is(home: tuple[float, float]) -> None:
    """Pixels of the map against the outline itself, asked by shapely (general library)."""
    axis = _style.axes_in(None, (0.0, 0.0, 1.0, 1.0))
    maps._around_land(axis, home, maps.ANTIPODE_KM)
    figure = axis.get_figure()
    figure.set_dpi(120)
    figure.canvas.draw()
    pixels = np.asarray(figure.canvas.buffer_rgba())[..., :3]
    land = shapely.union_all(
        [
            shapely.geometry.shape(one["geometry"])
            for one in json.loads(_data.read_text("world", "land.geojson"))["features"]
        ]
    )
    rng = np.random.default_rng(RNG_SEED)
    lat, lon = np.degrees(np.arcsin(rng.uniform(-1, 1, 900))), rng.uniform(-180, 180, 900)
    points = shapely.points(lon, lat)
    far_km = np.hypot(*maps.centred(*home, lat, lon))
    # a degree of the coast is some pixels; towards the rim the map stretches everything
    clear = (shapely.distance(land.boundary, points) > 2.0) & (far_km < 19000.0)
    clear &= (np.abs(lat) < 85.0) & (np.abs(lon) < 178.0)
    inside = shapely.contains(land, points)
    spots = axis.transData.transform(np.column_stack(maps.centred(*home, lat, lon)))
    x, y = spots[:, 0].astype(int), pixels.shape[0] - 1 - spots[:, 1].astype(int)
    is_land = np.abs(pixels[y, x] - 255.0 * np.array(to_rgb(_style.LAND))).max(axis=1) < 3.0
    assert clear.sum() > 400
    assert inside[clear].sum() > 80
    np.testing.assert_array_equal(is_land[clear], inside[clear])


def test_distance_bearing_and_beams() -> None:
    places = maps.around_home_of(SITES, "KO38")
    assert list(places["site"].unique()) == ["Sepikora", "Bandhelor", "Zambelu", "Illampura"]
    assert len(places) == 5  # one site has two beams; a row that stands twice counts once
    assert list(places["number"]) == [1, 2, 2, 3, 4]
    for row in places.to_dict("records"):
        # Source: GeographicLib by pyproj, WGS84.
        to, back, metres = WGS84.inv(27.0, 58.5, row["tx_lon_deg"], row["tx_lat_deg"])
        assert row["distance_km"] == pytest.approx(metres / 1e3, abs=1e-3)
        assert row["bearing_deg"] == pytest.approx(to % 360.0, abs=1e-6)
        if np.isfinite(row["beam_deg"]):
            off = abs((row["beam_deg"] - back + 180.0) % 360.0 - 180.0)
            assert row["off_beam_deg"] == pytest.approx(off, abs=1e-6)
        else:
            assert np.isnan(row["off_beam_deg"])


@pytest.mark.parametrize("at", [(24.8, 77.6), (-17.6, 179.5), (89.0, 0.0)])
def test_a_beam_starts_at_its_transmitter_and_points_its_way(at: tuple[float, float]) -> None:
    lat, lon = maps.beam_outline(*at, 330.0, 40.0, 1800.0)
    azimuth, _, metres = WGS84.inv(np.full(39, at[1]), np.full(39, at[0]), lon, lat)
    far = metres > 1e3
    assert metres.max() == pytest.approx(1.8e6, abs=1.0)
    turn = (np.asarray(azimuth) - 330.0 + 180.0) % 360.0 - 180.0
    assert np.abs(turn[far]).max() == pytest.approx(20.0, abs=1e-6)
    assert turn[19] == pytest.approx(0.0, abs=1e-6)


def test_rings_are_true_and_the_rest_is_named() -> None:
    places = maps.around_home_of(SITES, "KO38")
    axis = maps.around_home(places, "KO38", reach_km=maps.ANTIPODE_KM)
    proj = pyproj.Proj(proj="aeqd", lat_0=58.5, lon_0=27.0, ellps="WGS84")
    rings = [line.get_xydata() for line in axis.lines if len(line.get_xydata()) == 361]
    assert len(rings) == 10
    for number, ring in enumerate(rings[:-1], start=1):  # the last lies beyond other ways round
        lon, lat = proj(*(1e3 * ring[::40].T), inverse=True)  # pyproj
        _, _, metres = WGS84.inv(np.full(len(lon), 27.0), np.full(len(lon), 58.5), lon, lat)
        np.testing.assert_allclose(metres, 2e6 * number, atol=30.0)
    texts = [text.get_text() for text in axis.texts]
    assert {"N", "E", "S", "W", "30", "330", "4,000 km", "rim: 20,004 km"} <= set(texts)
    assert any("Bandhelor" in text for text in texts)
    wedges = [p for p in axis.patches if isinstance(p, Polygon) and len(p.get_xy()) in (39, 40)]
    hollow = [p.get_facecolor()[:3] == (1.0, 1.0, 1.0) for p in wedges]
    assert sorted(hollow) == [False, False, False, True]  # only 120 deg at Bandhelor is off
    near = maps.around_home(places, "KO38", reach_km=6000.0)
    assert any("beyond 6,000 km, not drawn: 3" in text.get_text() for text in near.texts)
    assert near.get_xlim()[1] == pytest.approx(6450.0)


def test_words_and_table_of_the_map() -> None:
    places = maps.around_home_of(SITES, "KO38")
    words = maps.around_home_alt(places, "KO38")
    assert "Transmitter sites: 4, from Bandhelor (5,430 km, 111 deg)" in words
    assert "with a beam towards home: Sepikora, Bandhelor, Zambelu." in words
    table = maps.around_home_data(places, "KO38")
    np.testing.assert_allclose(np.hypot(table["x_km"], table["y_km"]), table["distance_km"])
    assert set(table) == {*places, "x_km", "y_km"}


def test_an_empty_schedule() -> None:
    places = maps.around_home_of(SITES.iloc[:0], "KO38")
    assert places.empty
    axis = maps.around_home(places, "KO38")
    assert "no transmitter in the list" in [text.get_text() for text in axis.texts]
    assert maps.around_home_alt(places, "KO38").endswith("No transmitter in the list.")
    assert maps.around_home_data(places, "KO38").empty


def test_a_transmitter_at_the_antipode_and_one_at_home() -> None:
    rows = sites([("Far", -58.5, -153.0, "", 90.0), ("Here", 58.5, 27.0, "", 90.0)])
    places = maps.around_home_of(rows, "KO38").set_index("site")
    assert places.loc["Far", "distance_km"] == pytest.approx(maps.ANTIPODE_KM, abs=0.02)
    assert places.loc["Here", "distance_km"] == 0.0
    axis = maps.around_home(places.reset_index(), "KO38")
    texts = [text.get_text() for text in axis.texts]
    assert any("Far" in text for text in texts)
    assert any("beside the antipode, not drawn: 1 beam" in text for text in texts)


def test_the_demonstration_schedule_fits_in() -> None:
    root = Path(__file__).parents[2]
    schedule = fh.read_schedule(root / "data/demo/schedule_b24.csv", days="iso")
    frame = schedule.frame[schedule.on_air(WHEN)]
    places = maps.around_home_of(frame, "KO38")
    assert places["site"].nunique() == frame["site"].nunique()
    maps.around_home(places, "KO38")


@pytest.mark.parametrize(
    ("name", "value"), [("reach_km", 500.0), ("width_deg", 0.0), ("beam_km", 9000.0)]
)
def test_numbers_out_of_range(name: str, value: float) -> None:
    with pytest.raises(fh.InputError, match=name):
        maps.around_home(maps.around_home_of(SITES, "KO38"), "KO38", **{name: value})


def test_a_missing_column() -> None:
    with pytest.raises(fh.InputError, match="tx_lat_deg"):
        maps.around_home_of(pd.DataFrame({"site": ["x"]}), "KO38")


# Reading it -------------------------------------------------------------------------------------


@pytest.mark.parametrize("which", ["day_night", "around_home"])
def test_text_can_be_read(which: str) -> None:
    """WCAG 2.2, success criterion 1.4.3: 4.5 to 1."""
    places = maps.around_home_of(SITES, "KO38")
    axis = maps.day_night(usual()) if which == "day_night" else maps.around_home(places, "KO38")
    for text, ratio in text_contrasts(axis).items():
        assert ratio >= 4.5, text


# Machado, Oliveira and Fernandes, IEEE TVCG 15(6), 2009, as the library colorspacious has it.
EYES = [
    "sRGB1",
    {"name": "sRGB1+CVD", "cvd_type": "deuteranomaly", "severity": 100},
    {"name": "sRGB1+CVD", "cvd_type": "protanomaly", "severity": 100},
]


def lightness(colours: list[str], eye: object) -> np.ndarray:
    """CIE L* of colours as an eye sees them."""
    rgb = np.array([to_rgb(one) for one in colours])
    return np.asarray(cspace_convert(rgb, eye, "CIELab"))[:, 0]


@pytest.mark.parametrize("eye", EYES)
def test_tones_of_the_maps_differ_in_lightness(eye: object) -> None:
    share = maps._NIGHT[1]
    night = [f"#{round(255 * (1 - share) ** n):02x}" + "" for n in range(4)]
    tones = lightness([f"#{one[1:] * 3}" for one in night], eye)
    assert (-np.diff(tones) >= 8.0).all()  # day, and night at each height
    sea, land, way, ink = lightness(["#FFFFFF", _style.LAND, _style.WAY, _style.INK], eye)
    assert sea - land >= 7.0
    assert land - way >= 30.0
    assert way - ink >= 40.0


def test_lines_of_the_maps_differ_in_dash_as_well() -> None:
    axis = maps.day_night(usual())
    named = [line for line in axis.lines if not str(line.get_label()).startswith("_")]
    dashed = [line for line in named if line.get_linestyle() != "None"]
    looks = {(line.get_color(), str(line._dash_pattern)) for line in dashed}
    assert len(looks) == len(dashed) == 5


# Files ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["svg", "png", "pdf"])
def test_a_file_says_what_it_shows_and_is_the_same_twice(kind: str, tmp_path: Path) -> None:
    drawn = usual()
    words, table = maps.day_night_alt(drawn), maps.day_night_data(drawn)
    files = [tmp_path / f"{name}.{kind}" for name in ("one", "two")]
    found = {_style.export(maps.day_night(drawn), file, words, table) for file in files}
    assert len(found) == 1
    sha256 = found.pop()
    assert files[0].read_bytes() == files[1].read_bytes()
    if kind == "svg":
        root = ET.fromstring(files[0].read_text(encoding="utf-8"))
        assert root.get("role") == "img"
        assert root[0].text == words
        assert f"sha256:{sha256}" in files[0].read_text(encoding="utf-8")
    elif kind == "png":
        with Image.open(files[0]) as image:
            assert image.text["Description"] == words
            assert image.text["Data-SHA-256"] == sha256
            assert image.info["dpi"] == pytest.approx((300, 300), abs=0.1)
            assert image.size == (2481, 1749)  # A5 at 300 dots an inch
    else:
        about = PdfReader(files[0]).metadata
        assert about is not None
        assert about["/Subject"] == words
        assert about["/Keywords"] == f"sha256:{sha256}"
        assert "/CreationDate" not in about
    content = files[0].read_bytes()
    assert str(tmp_path).encode() not in content
    assert [one.name for one in sorted(tmp_path.iterdir())] == [f"one.{kind}", f"two.{kind}"]


def test_the_digest_is_that_of_the_table() -> None:
    # Source: `printf 'a,b\n1,0.5\n2,\n' | sha256sum` (GNU coreutils).
    table = pd.DataFrame({"a": [1, 2], "b": [0.5, np.nan]})
    assert _style.table_text(table) == "a,b\n1,0.5\n2,\n"
    assert _style.digest(table) == SUM


SUM = "5713d134d2992c14538130f6679d7901d364c2662b6e0a884634442edff37111"


def test_files_that_are_refused(tmp_path: Path) -> None:
    axis = maps.day_night(usual())
    with pytest.raises(fh.InputError, match=r"ends in '\.gif'"):
        _style.export(axis, tmp_path / "a.gif", "words", pd.DataFrame())
    with pytest.raises(fh.InputError, match="alt is empty"):
        _style.export(axis, tmp_path / "a.svg", " ", pd.DataFrame())
    assert not list(tmp_path.iterdir())


def test_axes_of_the_caller_are_used() -> None:
    figure = Figure(figsize=(10, 5))
    left, right = figure.subplots(1, 2)
    assert maps.day_night(usual(), ax=left) is left
    places = maps.around_home_of(SITES, "KO38")
    assert maps.around_home(places, "KO38", ax=right) is right
    assert len(figure.axes) == 2

"""Behaviour of farhear.zone. All outlines are invented."""

import doctest
import json

import numpy as np
import pytest

from farhear import zone
from farhear.errors import InputError


def square(west, south, east, north):
    return [(west, south), (east, south), (east, north), (west, north), (west, south)]


def write(folder, features, **root):
    file = folder / "zones.geojson"
    root = {"type": "FeatureCollection", "features": features} | root
    file.write_text(json.dumps(root), encoding="utf-8")
    return file


def feature(name, rings, kind="Polygon", key="name"):
    return {
        "type": "Feature",
        "properties": {key: name},
        "geometry": {"type": kind, "coordinates": rings},
    }


def test_docstring_examples():
    result = doctest.testmod(zone)
    assert result.attempted > 0
    assert result.failed == 0


@pytest.mark.parametrize(
    "ring",
    [
        [(170, -10), (-170, -10), (-170, 10), (170, 10), (170, -10)],
        [(170, -10), (190, -10), (190, 10), (170, 10), (170, -10)],
        [(-170, 10), (170, 10), (170, -10), (-170, -10), (-170, 10)],
        [(-180, -10), (-170, -10), (-170, 10), (170, 10), (170, -10), (180, -10)],
    ],
)
def test_ring_across_the_antimeridian(ring):
    zones = zone.Zones({"pacific": [[ring]]})
    lon = [165, 170, 175, 180, -180, -175, -170, -165, 185, 195, 0]
    inside = [False, True, True, True, True, True, True, False, True, False, False]
    np.testing.assert_array_equal(zones.contains("pacific", 5, lon), inside)
    assert not zones.contains("pacific", 11, 180)


def test_hole_and_its_edge():
    zones = zone.Zones({"ring": [[square(0, 0, 30, 30), square(10, 10, 20, 20)]]})
    got = zones.contains("ring", [15, 5, 10, 15, 0], [15, 5, 15, 20, 30])
    np.testing.assert_array_equal(got, [False, True, True, True, True])


def test_hole_written_on_the_other_side_of_the_antimeridian():
    zones = zone.Zones({"ring": [[square(170, -20, 200, 20), square(-175, -5, -165, 5)]]})
    np.testing.assert_array_equal(
        zones.contains("ring", 0, [-170, 190, 175, -162]), [False, False, True, True]
    )


def test_all_round_the_pole():
    cap = [(-180, 60), (180, 60), (180, 90), (-180, 90), (-180, 60)]
    zones = zone.Zones({"north": [[cap]]})
    lon = np.array([-180, -90, 0, 90, 180, 270, 360])
    assert zones.contains("north", 75, lon).all()
    assert zones.contains("north", 90, lon).all()
    assert not zones.contains("north", 59, lon).any()
    with pytest.raises(InputError, match=r"zone 'n', polygon 0, ring 0 goes round a pole"):
        zone.Zones({"n": [[[(0, 60), (120, 60), (-120, 60), (0, 60)]]]})


def test_overlaps_and_several_polygons():
    zones = zone.Zones(
        {"a": [[square(0, 0, 10, 10)], [square(50, 0, 60, 10)]], "b": [[square(5, 0, 20, 10)]]}
    )
    found = zones.find(5, [3, 7, 15, 55, 90, np.nan])
    assert found.tolist() == ["a", "a", "b", "a", None, None]
    assert zones.contains("b", 5, 7)
    assert zones.names == ("a", "b")
    assert list(zones) == ["a", "b"]
    assert len(zones) == 2
    assert zones.find(5, 7) == "a"
    assert zones.find(5, 30) is None
    assert zones.find(np.full((2, 1), 5), np.arange(3)).shape == (2, 3)
    assert zones.find([], []).shape == (0,)
    with pytest.raises(InputError, match=r"zone 'c' is not one of the 2 zones: a, b"):
        zones.contains("c", 0, 0)
    with pytest.raises(InputError, match=r"lat_deg = 91"):
        zones.find(91, 0)


def test_neighbours_leave_no_gap():
    zones = zone.Zones({"w": [[square(0, 0, 10, 10)]], "e": [[square(10, 0, 20, 10)]]})
    assert zones.find(5, 10) == "w"
    assert zones.contains("e", 5, 10)


def test_read_names(tmp_path):
    features = [
        feature(27, [square(0, 0, 10, 10)], key="zone"),
        feature(" 28 ", [[square(20, 0, 30, 10)], [square(40, 0, 50, 10)]], "MultiPolygon", "zone"),
    ]
    zones = zone.read_zones(write(tmp_path, features))
    assert zones.names == ("27", "28")
    assert zones.find(5, [5, 25, 45, 60]).tolist() == ["27", "28", "28", None]
    assert repr(zones) == "Zones(2: 27, 28)"
    with pytest.raises(InputError, match=r"feature 0: property 'nr' = None is no name"):
        zone.read_zones(tmp_path / "zones.geojson", "nr")


OPEN = square(0, 0, 10, 10)[:-1]
GOOD = [square(0, 0, 10, 10)]


@pytest.mark.parametrize(
    ("features", "message"),
    [
        ([], "no list of features"),
        ([7], "feature 0: not a Feature"),
        ([{"type": "Feature", "properties": None, "geometry": None}], "no property"),
        ([feature("a", GOOD), feature("a", GOOD)], "feature 1: a second zone named 'a'"),
        ([feature("", GOOD)], "is no name"),
        ([feature(True, GOOD)], "is no name"),
        ([feature("a", GOOD[0], "LineString")], "geometry is 'LineString'"),
        ([feature("a", [])], "no coordinates|no rings"),
        ([feature("a", [[]], "MultiPolygon")], "polygon 0: no rings"),
        ([feature("a", [OPEN])], "zone 'a', polygon 0, ring 0 is not closed"),
        ([feature("a", [[(0, 0), (1, 1), (0, 0)]])], "ring 0 has 3 positions"),
        ([feature("a", [[]])], "ring 0 has 0 positions"),
        ([feature("a", [square(0, 0, 10, 100)])], "longitude 10, latitude 100 .*swapped"),
        ([feature("a", [square(0, 0, 400, 10)])], "longitude 400"),
        ([feature("a", [[(0,), (1, 1), (0, 0)]])], "position 0: .* is not .longitude, latitude"),
        ([feature("a", [[("0", 0), (1, 1), (0, 0)]])], "position 0: '0' is not a number"),
        ([feature("a", [[(10**400, 0), (1, 1), (0, 0)]])], "outside"),
    ],
)
def test_bad_features(tmp_path, features, message):
    with pytest.raises(InputError, match=message) as error:
        zone.read_zones(write(tmp_path, features))
    assert "zones.geojson" in str(error.value)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"{", "not JSON"),
        (b"\xff\xfe{", "not UTF-8"),
        (b"[]", "type is 'list'"),
        (b'{"type": "Feature"}', "type is 'Feature'"),
        (b'{"type": "FeatureCollection", "features": [NaN]}', "NaN is no JSON number"),
        (b"[" * 200_000, "nested too deeply|not JSON"),
    ],
)
def test_bad_files(tmp_path, content, message):
    file = tmp_path / "zones.geojson"
    file.write_bytes(content)
    with pytest.raises(InputError, match=message):
        zone.read_zones(file)


def test_no_file_and_a_file_too_large(tmp_path, monkeypatch):
    with pytest.raises(FileNotFoundError):
        zone.read_zones(tmp_path / "none.geojson")
    monkeypatch.setattr(zone, "MAX_FILE_BYTES", 10)
    with pytest.raises(InputError, match="expected at most 10"):
        zone.read_zones(write(tmp_path, [feature("a", GOOD)]))

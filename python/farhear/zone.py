"""Target zones as polygons: which zone holds a place, from a file the user supplies.

Schedules name their targets by zone numbers (the CIRAF zones of the Mexico City high-frequency
conference of 1948-49 in broadcasting practice). No zone outlines are shipped: the official list of
vertices could not be had. Where none are at hand, zone numbers stay text; with a GeoJSON file of
your own they become areas. Amateur "ITU zones" are a changed copy of the broadcast zones: do not
mix the two.

Edges are straight in longitude and latitude. The vertices of those zones are joined by rhumb lines,
which is the same thing along meridians and parallels; cut long oblique edges into short ones.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from farhear import _core
from farhear._arrays import as_float64, broadcast_shape, check_place, flatten, restore
from farhear.errors import InputError

__all__ = ["MAX_FILE_BYTES", "Zones", "read_zones"]

MAX_FILE_BYTES = 50_000_000
"""Largest file :func:`read_zones` opens. [byte]"""

_Ring = list[tuple[float, float]]  # (lon_deg, lat_deg), as in the file
_Polygons = list[list[_Ring]]


class Zones:
    """Named areas of the earth, immutable; made by :func:`read_zones`.

    Parameters
    ----------
    areas
        Name of each zone and its polygons: a list of polygons, each a list of closed rings, outline
        first, holes after it, each ring a list of (longitude, latitude). [deg]

    Raises
    ------
    InputError
        On a ring that is not closed, has fewer than four positions, coordinates out of range, goes
        round a pole without saying how, or is wider than the earth (names zone, polygon and ring).
    """

    __slots__ = ("_names", "_regions")

    def __init__(self, areas: Mapping[str, _Polygons]) -> None:
        for name, polygons in areas.items():
            for p, rings in enumerate(polygons):
                for r, ring in enumerate(rings):
                    try:
                        regions([[[ring]]])
                    except InputError as cause:
                        text = str(cause).removeprefix("ring 0 ")
                        raise InputError(f"zone {name!r}, polygon {p}, ring {r} {text}") from None
        self._names = tuple(areas)
        self._regions = regions(list(areas.values()))

    @property
    def names(self) -> tuple[str, ...]:
        """Names in the order of the file."""
        return self._names

    def __len__(self) -> int:
        return len(self._names)

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __repr__(self) -> str:
        few = ", ".join(self._names[:6])
        return f"Zones({len(self)}: {few}{', ...' if len(self) > 6 else ''})"

    def find(self, lat_deg: ArrayLike, lon_deg: ArrayLike) -> Any:
        """Name of the zone that holds each place.

        Parameters
        ----------
        lat_deg, lon_deg
            Places. [deg]

        Returns
        -------
        str or None, or an array of object of the broadcast shape
            The first zone in the order of the file that holds the place, its edge included; None
            outside all zones and where an argument is NaN.

        Raises
        ------
        InputError
            On a place out of range, or shapes that do not broadcast.
        """
        shape, lat, lon = _places(lat_deg, lon_deg)
        table = np.array([*self._names, None], dtype=object)
        return restore(table[self._regions.find(lat, lon)], shape)

    def contains(self, name: str, lat_deg: ArrayLike, lon_deg: ArrayLike) -> Any:
        """Whether one zone holds each place.

        Parameters
        ----------
        name
            Name of the zone.
        lat_deg, lon_deg
            Places. [deg]

        Returns
        -------
        bool, or an array of bool of the broadcast shape
            True on the edge, too; False where an argument is NaN.

        Raises
        ------
        InputError
            On an unknown name, a place out of range, or shapes that do not broadcast.
        """
        if name not in self._names:
            few = ", ".join(self._names[:10])
            dots = ", ..." if len(self) > 10 else ""
            raise InputError(f"zone {name!r} is not one of the {len(self)} zones: {few}{dots}")
        shape, lat, lon = _places(lat_deg, lon_deg)
        inside = self._regions.contains(self._names.index(name), lat, lon)
        return restore(inside.astype(bool), shape)


def read_zones(path: str | Path, name_property: str | None = None) -> Zones:
    """Read zones from a GeoJSON file.

    Parameters
    ----------
    path
        FeatureCollection of Polygon and MultiPolygon features (RFC 7946), up to 50 MB. Positions
        are longitude, latitude; a height is ignored. Rings may cross the antimeridian, as 179 then
        -179 or 179 then 181: an edge of more than 180 degrees, but not exactly 360, is taken the
        short way round.
    name_property
        Property that names each zone; without it "name", "zone" or "id", whichever the first
        feature has. Whole numbers become text.

    Returns
    -------
    Zones

    Raises
    ------
    InputError
        Names the file and the feature: no JSON; not a FeatureCollection; another geometry; a
        feature without a name; two zones of one name; a bad ring (see :class:`Zones`); a file too
        large.
    FileNotFoundError
        If there is no such file.

    References
    ----------
    .. [1] H. Butler and others, The GeoJSON Format, RFC 7946 (2016).

    Examples
    --------
    >>> import json, tempfile
    >>> from pathlib import Path
    >>> from farhear import zone
    >>> square = [[[20, 50], [40, 50], [40, 60], [20, 60], [20, 50]]]  # invented
    >>> feature = {"type": "Feature", "properties": {"zone": 1},
    ...            "geometry": {"type": "Polygon", "coordinates": square}}
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = Path(folder) / "zones.geojson"
    ...     _ = file.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    ...     zones = zone.read_zones(file)
    >>> zones.find(58.4, 26.7), zones.find(0, 0)
    ('1', None)
    """
    file = Path(path)
    size = file.stat().st_size
    if size > MAX_FILE_BYTES:
        raise InputError(f"{file.name}: {size} bytes, expected at most {MAX_FILE_BYTES}")
    try:
        root = json.loads(file.read_bytes().decode("utf-8-sig"), parse_constant=_no_constant)
    except UnicodeDecodeError:
        raise InputError(f"{file.name}: not UTF-8 text") from None
    except RecursionError:
        raise InputError(f"{file.name}: JSON nested too deeply") from None
    except ValueError as cause:  # JSONDecodeError, and numbers too long to read
        raise InputError(f"{file.name}: not JSON: {cause}") from None
    if not isinstance(root, dict) or root.get("type") != "FeatureCollection":
        kind = root.get("type") if isinstance(root, dict) else type(root).__name__
        raise InputError(f"{file.name}: type is {kind!r}, expected 'FeatureCollection'")
    features = root.get("features")
    if not isinstance(features, list) or not features:
        raise InputError(f"{file.name}: no list of features, or an empty one")
    areas: dict[str, _Polygons] = {}
    key = name_property
    for i, feature in enumerate(features):
        where = f"{file.name}, feature {i}"
        if not isinstance(feature, dict) or feature.get("type") != "Feature":
            raise InputError(f"{where}: not a Feature")
        properties = feature.get("properties")
        if not isinstance(properties, dict):
            properties = {}
        if key is None:
            key = next((k for k in ("name", "zone", "id") if k in properties), None)
            if key is None:
                raise InputError(
                    f"{where}: no property 'name', 'zone' or 'id'; say name_property=..."
                    f" (it has: {', '.join(map(str, properties)) or 'none'})"
                )
        name = _name(where, key, properties)
        if name in areas:
            raise InputError(f"{where}: a second zone named {name!r}")
        areas[name] = _polygons(f"{where} ({name})", feature.get("geometry"))
    try:
        return Zones(areas)
    except InputError as cause:
        raise InputError(f"{file.name}: {cause}") from None


def _no_constant(text: str) -> float:
    raise ValueError(f"{text} is no JSON number")


def _name(where: str, key: str, properties: dict[str, Any]) -> str:
    value = properties.get(key)
    if isinstance(value, int) and not isinstance(value, bool):
        return str(value)
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    if isinstance(value, str) and value.strip():
        return value.strip()
    raise InputError(f"{where}: property {key!r} = {value!r} is no name")


def _polygons(where: str, geometry: object) -> _Polygons:
    kind = geometry.get("type") if isinstance(geometry, dict) else None
    if not isinstance(geometry, dict) or kind not in ("Polygon", "MultiPolygon"):
        raise InputError(f"{where}: geometry is {kind!r}, expected 'Polygon' or 'MultiPolygon'")
    coordinates = geometry.get("coordinates")
    members = [coordinates] if kind == "Polygon" else coordinates
    if not isinstance(members, list) or not members:
        raise InputError(f"{where}: no coordinates")
    polygons: _Polygons = []
    for p, rings in enumerate(members):
        if not isinstance(rings, list) or not rings:
            raise InputError(f"{where}, polygon {p}: no rings")
        polygons.append(
            [_ring(f"{where}, polygon {p}, ring {r}", ring) for r, ring in enumerate(rings)]
        )
    return polygons


def _ring(where: str, ring: object) -> _Ring:
    if not isinstance(ring, list):
        raise InputError(f"{where}: not a list of positions")
    out: _Ring = []
    for i, position in enumerate(ring):
        if not isinstance(position, list) or len(position) < 2:
            raise InputError(f"{where}, position {i}: {position!r} is not [longitude, latitude]")
        for value in position[:2]:
            if isinstance(value, bool) or not isinstance(value, (int, float)):
                raise InputError(f"{where}, position {i}: {value!r} is not a number")
        try:
            lon, lat = float(position[0]), float(position[1])
        except OverflowError:
            lon, lat = math.inf, math.inf
        if not (-180.0 <= lon <= 360.0 and -90.0 <= lat <= 90.0):
            raise InputError(
                f"{where}, position {i}: longitude {lon:g}, latitude {lat:g} is outside "
                "[-180, 360], [-90, 90]; GeoJSON puts longitude first: are the two swapped?"
            )
        out.append((lon, lat))
    return out


def regions(zones: list[_Polygons]) -> Any:
    """Build the core's index from nested lists."""
    polygons = [polygon for zone in zones for polygon in zone]
    rings = [ring for polygon in polygons for ring in polygon]
    positions = np.array([p for ring in rings for p in ring], dtype=np.float64).reshape(-1, 2)
    return _core.zone.Regions(
        np.ascontiguousarray(positions[:, 1]),
        np.ascontiguousarray(positions[:, 0]),
        _offsets([len(ring) for ring in rings]),
        _offsets([len(polygon) for polygon in polygons]),
        _offsets([len(zone) for zone in zones]),
    )


def _offsets(counts: list[int]) -> NDArray[np.int64]:
    return np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)


def _places(
    lat_deg: ArrayLike, lon_deg: ArrayLike
) -> tuple[tuple[int, ...], NDArray[np.float64], NDArray[np.float64]]:
    lat = as_float64("lat_deg", lat_deg)
    lon = as_float64("lon_deg", lon_deg)
    check_place(lat, lon)
    shape = broadcast_shape(lat_deg=lat, lon_deg=lon)
    flat_lat, flat_lon = flatten(shape, lat, lon)
    return shape, flat_lat, flat_lon

"""Make land.geojson from the test fixture of pyogrio 0.13.0. Run: python data/world/build.py

Needs pyogrio and shapely.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pyogrio
import shapely

HERE = Path(__file__).resolve().parent
SOURCE_SHA256 = {
    ".shp": "08e341606e8391e458c3f08deb312de664b56bfae376064c5aa0aee6681a5f55",
    ".dbf": "d2ae1c99adcf8e4586a5b12c639672035fa2f3f469e7255947de00401c3ed7e1",
}
GRID_DEG = 0.01


def main() -> None:
    folder = Path(pyogrio.__file__).parent / "tests" / "fixtures" / "naturalearth_lowres"
    path = folder / "naturalearth_lowres.shp"
    for suffix, expected in SOURCE_SHA256.items():
        found = hashlib.sha256(path.with_suffix(suffix).read_bytes()).hexdigest()
        if found != expected:
            raise SystemExit(
                f"{suffix}: sha256 {found} is not the one this script was checked with"
            )
    _, _, wkb, _ = pyogrio.raw.read(path)
    land = shapely.set_precision(shapely.union_all(shapely.from_wkb(wkb)), GRID_DEG)
    parts = [shapely.geometry.polygon.orient(part, 1.0) for part in shapely.get_parts(land)]
    parts.sort(key=lambda part: -part.area)
    features = [
        {
            "type": "Feature",
            "properties": {},
            "geometry": {
                "type": "Polygon",
                "coordinates": [
                    [[round(x, 2), round(y, 2)] for x, y in ring.coords]
                    for ring in (part.exterior, *part.interiors)
                ],
            },
        }
        for part in parts
    ]
    lines = ",\n".join(json.dumps(feature, separators=(",", ":")) for feature in features)
    text = f'{{"type":"FeatureCollection","features":[\n{lines}\n]}}\n'
    (HERE / "land.geojson").write_text(text, encoding="ascii")
    vertices = sum(len(r) for f in features for r in f["geometry"]["coordinates"])
    print(len(features), "polygons", vertices, "vertices")
    print("land.geojson", hashlib.sha256((HERE / "land.geojson").read_bytes()).hexdigest())


if __name__ == "__main__":
    main()

"""Make the tables of sporadic E from an installed PyIRI 0.1.7. Run: python data/es/build.py"""

from __future__ import annotations

import hashlib
import importlib.metadata
import importlib.util
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
# sha256 of the twelve source files, January (Es11) to December (Es22)
SOURCE_SHA256 = (
    "636ba1fd001ec75f6f6db3d6c514dc20a96e4bcb43ddddc4656398f2f06843f5",
    "97175192b1e9c1fa5909357e22be8380be2dd4cd42eca96ba375984c8aec0a76",
    "4ca5cf9be6ca0cc9f40bd347ab1870c6c8bb38b7d555fef5603e1fe46b95d813",
    "347b28086f703877691f86625085da894681dd181d9b023560a905072c2578c1",
    "15d5ecd97961e847f6bfd61b5ceba56e40dd93a366cb10096208ab3e48f95297",
    "e181fde70a8576c86451ce0ba2c305283cbab51b4f4cc216aaef80669a9ea1e4",
    "23b2931ea2e063562128101811d7c241c873fe77842fe7cae5b329943a250fc8",
    "f632fa3f5ff9fd2ffca9808b9c4493d2e05988f9787941112e3bab9a9fd1db5f",
    "60f0eaa981aa11ca25609d4d7cad6d0ce568437d570babbaa0b5e9ba886b66b8",
    "ddf8945cd6061561cb2ffe0839c565b889e4350a831870a229e5e007e72b979b",
    "0ebb572341b5f9ec28dfaa203ad2f807656c5ce96da87009a5eea46875947216",
    "5ace5215ef801fdd56c8860be34fdc9cceec5343f616d4a6181b8868b7eb28d3",
)
INDICES = 60  # numbers at the head of each file: how many of each table are in use
# What follows the table of foEs in the files is not described in the package and not used.
TABLE = (17, 76, 6)  # diurnal, geographic, table: Fortran order
# name: first table of two (levels of activity), geographic functions, diurnal functions
PARTS = {
    "es_upper": (0, 55, 5),
    "es_median": (2, 61, 7),
    "es_lower": (4, 55, 5),
}


def month_numbers(path: Path, expected_sha256: str) -> np.ndarray:
    raw = path.read_bytes()
    found = hashlib.sha256(raw).hexdigest()
    if found != expected_sha256:
        raise SystemExit(f"{path.name}: sha256 {found} is not the one this script was checked with")
    values = np.array(raw.decode("ascii").split(), dtype="<f8")
    size = int(np.prod(TABLE))
    if values.size < INDICES + size:
        raise SystemExit(f"{path.name}: {values.size} numbers")
    table = values[INDICES : INDICES + size].reshape(TABLE, order="F")
    for name, (first, geographic, diurnal) in PARTS.items():
        rest = table[:, :, first : first + 2].copy()
        rest[:diurnal, :geographic] = 0.0
        if rest.any():
            raise SystemExit(f"{path.name}: {name} has numbers outside the part in use")
    return table


def main() -> None:
    spec = importlib.util.find_spec("PyIRI")
    if spec is None or spec.origin is None:
        raise SystemExit("install PyIRI==0.1.7 first")
    folder = Path(spec.origin).parent / "coefficients" / "Es"
    tables = [
        month_numbers(folder / f"Es{month + 10}.asc", digest)
        for month, digest in enumerate(SOURCE_SHA256, start=1)
    ]
    for name, (first, geographic, diurnal) in PARTS.items():
        part = np.stack([t[:diurnal, :geographic, first : first + 2] for t in tables])
        # [month][diurnal][geographic][level] -> [month][level][geographic][diurnal]
        ordered = np.ascontiguousarray(part.transpose(0, 3, 2, 1))
        (HERE / f"{name}.f64").write_bytes(ordered.astype("<f8").tobytes())
    licence = next(
        f for f in importlib.metadata.files("PyIRI") or () if f.name.upper().startswith("LICENSE")
    )
    (HERE / "LICENSE.upstream.txt").write_bytes(Path(str(licence.locate())).read_bytes())
    for name in (*(f"{part}.f64" for part in PARTS), "LICENSE.upstream.txt"):
        print(name, hashlib.sha256((HERE / name).read_bytes()).hexdigest())


if __name__ == "__main__":
    main()

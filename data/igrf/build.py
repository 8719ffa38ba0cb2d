"""Take IGRF14.shc from an installed ppigrf 2.1.0. Run: python data/igrf/build.py"""

from __future__ import annotations

import hashlib
import importlib.metadata
import importlib.util
from pathlib import Path

HERE = Path(__file__).resolve().parent
SOURCE_SHA256 = "717f6dce821a8f2bfcc6a77f79cc227ba91f61aeb458d5433e8c72450d48f8e0"


def main() -> None:
    spec = importlib.util.find_spec("ppigrf")
    if spec is None or spec.origin is None:
        raise SystemExit("install ppigrf==2.1.0 first")
    raw = (Path(spec.origin).parent / "IGRF14.shc").read_bytes()
    found = hashlib.sha256(raw).hexdigest()
    if found != SOURCE_SHA256:
        raise SystemExit(f"IGRF14.shc: sha256 {found} is not the one this script was checked with")
    (HERE / "IGRF14.shc").write_bytes(raw)
    licence = next(
        f for f in importlib.metadata.files("ppigrf") or () if f.name.upper().startswith("LICENSE")
    )
    (HERE / "LICENSE.upstream.txt").write_bytes(Path(str(licence.locate())).read_bytes())
    for name in ("IGRF14.shc", "LICENSE.upstream.txt"):
        print(name, hashlib.sha256((HERE / name).read_bytes()).hexdigest())


if __name__ == "__main__":
    main()

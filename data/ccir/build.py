"""Make the CCIR tables from an installed PyIRI 0.1.7. Run: python data/ccir/build.py"""

from __future__ import annotations

import hashlib
import importlib.metadata
import importlib.util
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
# sha256 of the twelve source files, January (ccir11) to December (ccir22)
SOURCE_SHA256 = (
    "56646023cabd38a6cebe94f529d3cabba15f22cae02ec0ee84758b26938fe87e",
    "a2e9b7a462c30830251d94de4b3e18f761ac655e019a07ac286e88e36ad92761",
    "ab849d91a7801791dd5d9866512b5a257a713650bd940a761cbdddd90b876ddb",
    "8ee15c4f27544c041a70d33c89fa117874a815b4848ffd0dbc344813aeaef37e",
    "a169404dd1f1d9ec14e24cccd3d1d20729412f04fb935d16612800b35bc8075c",
    "361660d44a8503c9e9004a783fc7a6e61fad24e5fb8fdc00b93fc5f6ce720b66",
    "c80d0fd0e9eb53dc65e3db96231c9cbac23f7471e9f864bee878f3000c49690d",
    "7e07ae4a6e05e9eea0b3d8a4e8ecf590cdb1c86db4d79ab4792afd929761a989",
    "8c34980f9933c846f3449d5df2543e0c808929f321c01164d82b4c249b4c002c",
    "d1211c10e5d3e6e12dd6cbfef20711d171577df03d5424dbd60c1ac6a34a8be8",
    "8195a69009eb02806f22cd3614cf44e01f60177fae335450de12c717f1af96a4",
    "f16f33af514852942cf461d44446773854342bc806de428289fb0165c50db3ac",
)
FOF2_SHAPE = (2, 76, 13)
M3000_SHAPE = (2, 49, 9)
FIELD_CHARS = 15  # one number, after one leading blank per line


def month_numbers(path: Path, expected_sha256: str) -> np.ndarray:
    raw = path.read_bytes()
    found = hashlib.sha256(raw).hexdigest()
    if found != expected_sha256:
        raise SystemExit(f"{path.name}: sha256 {found} is not the one this script was checked with")
    values: list[float] = []
    for line in raw.decode("ascii").splitlines():
        body = line[1:]
        values.extend(
            float(body[i : i + FIELD_CHARS])
            for i in range(0, len(body), FIELD_CHARS)
            if body[i : i + FIELD_CHARS].strip()
        )
    return np.array(values, dtype="<f8")


def main() -> None:
    spec = importlib.util.find_spec("PyIRI")
    if spec is None or spec.origin is None:
        raise SystemExit("install PyIRI==0.1.7 first")
    folder = Path(spec.origin).parent / "coefficients" / "CCIR"
    fof2_size, m3000_size = int(np.prod(FOF2_SHAPE)), int(np.prod(M3000_SHAPE))
    fof2, m3000 = [], []
    for month, digest in enumerate(SOURCE_SHA256, start=1):
        values = month_numbers(folder / f"ccir{month + 10}.asc", digest)
        if values.size != fof2_size + m3000_size:
            raise SystemExit(f"month {month}: {values.size} numbers")
        fof2.append(values[:fof2_size].reshape(FOF2_SHAPE))
        m3000.append(values[fof2_size:].reshape(M3000_SHAPE))
    (HERE / "ccir_fof2.f64").write_bytes(np.stack(fof2).astype("<f8").tobytes())
    (HERE / "ccir_m3000.f64").write_bytes(np.stack(m3000).astype("<f8").tobytes())
    licence = next(
        f for f in importlib.metadata.files("PyIRI") or () if f.name.upper().startswith("LICENSE")
    )
    (HERE / "LICENSE.upstream.txt").write_bytes(Path(str(licence.locate())).read_bytes())
    for name in ("ccir_fof2.f64", "ccir_m3000.f64", "LICENSE.upstream.txt"):
        print(name, hashlib.sha256((HERE / name).read_bytes()).hexdigest())


if __name__ == "__main__":
    main()

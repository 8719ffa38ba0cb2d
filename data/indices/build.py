"""Make indices.csv.gz from an installed satkit-data 0.9.0. Run: python data/indices/build.py"""

from __future__ import annotations

import csv
import gzip
import hashlib
import importlib.util
import io
from pathlib import Path

HERE = Path(__file__).resolve().parent
SOURCE_SHA256 = "d8e3573139633b3a4e32e53cd36409b0ac2cdc4cf626e0abdaaf042a31fd4218"
STATUS = {
    "OBS": "observed",
    "INT": "interpolated",
    "PRD": "predicted_daily",
    "PRM": "predicted_monthly",
}
HOURS = [f"{hour:02d}" for hour in range(0, 24, 3)]


def main() -> None:
    spec = importlib.util.find_spec("satkit_data")
    if spec is None or spec.origin is None:
        raise SystemExit("install satkit-data==0.9.0 first")
    raw = (Path(spec.origin).parent / "data" / "SW-All.csv").read_bytes()
    found = hashlib.sha256(raw).hexdigest()
    if found != SOURCE_SHA256:
        raise SystemExit(f"SW-All.csv: sha256 {found} is not the one this script was checked with")
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(
        ["date"]
        + [f"kp10_{hour}" for hour in HOURS]
        + [f"ap_{hour}" for hour in HOURS]
        + ["ap", "f107_obs_sfu", "f107_adj_sfu", "status"]
    )
    count = 0
    for row in csv.DictReader(io.StringIO(raw.decode("ascii"))):
        writer.writerow(
            [row["DATE"]]
            + [row[f"KP{k}"] for k in range(1, 9)]
            + [row[f"AP{k}"] for k in range(1, 9)]
            + [row["AP_AVG"], row["F10.7_OBS"], row["F10.7_ADJ"], STATUS[row["F10.7_DATA_TYPE"]]]
        )
        count += 1
    # mtime 0 and no name in the header: the same bytes every time
    packed = gzip.compress(out.getvalue().encode("ascii"), compresslevel=9, mtime=0)
    (HERE / "indices.csv.gz").write_bytes(packed)
    print(count, "rows, content sha256", hashlib.sha256(out.getvalue().encode()).hexdigest())
    print("indices.csv.gz", hashlib.sha256(packed).hexdigest())


if __name__ == "__main__":
    main()

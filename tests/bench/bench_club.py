"""Speed and memory of merged logs: ``python tests/bench/bench_club.py``.

Prints (1) the time of `merge` for a check, beside pandas putting the same frames into one in order
of time, which checks nothing; (2) for a club that is too large for memory the time of writing, and
time and peak memory of rates and effort, each in a process of its own; (3) rates of a part of it
beside pandas reading the same files and grouping them. Exits with an error if pandas finds other
rates. All members are invented.
"""

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd
from _timing import QUICK, best_s, row

from farhear.club import Member, merge
from farhear.club_large import effort, hearing_rates, write_parquet
from farhear.evenings import words

MEMBERS, EVENINGS, A_NIGHT = (20, 25, 20) if QUICK else (2000, 250, 20)
PART = 5 if QUICK else 100
CHANNELS_KHZ = np.array([5950.0, 6070.0, 7310.0, 9600.0, 9650.0, 11850.0, 13700.0, 15300.0])
BROADCASTERS = np.array(["Radio Belmorant", "Noverrin External", "Radio Umbasani"], dtype=object)
OUTCOMES = np.array(["heard", "not_heard", "carrier_only", "blocked"], dtype=object)
DEMODS = np.array(["AM", "USB", "LSB"], dtype=object)
FIRST = np.datetime64("2025-09-01", "us").astype(np.int64)
DAY_US = 86_400_000_000


def checks_of(number):
    """Checks of one member, as `merge` gives them: a winter and the summers beside it."""
    draw = np.random.default_rng(number)
    n = EVENINGS * A_NIGHT
    night = np.repeat(np.arange(EVENINGS), A_NIGHT)
    minute = 240 + np.tile(np.arange(A_NIGHT) * 10, EVENINGS) + draw.integers(0, 5, n)
    start = FIRST + night * DAY_US + (17 * 60 + minute - 240) * 60_000_000
    outcome = draw.choice(4, n, p=[0.4, 0.5, 0.05, 0.05])
    heard = outcome == 0
    digits = draw.integers(1, 6, (n, 5)) @ 10 ** np.arange(5)
    setup = f"member {number}/"
    begin = pd.DatetimeIndex(start.astype("datetime64[us]")).tz_localize("UTC")
    return pd.DataFrame(
        {
            "member": f"member {number}",
            "setup_id": np.where(draw.random(n) < 0.7, f"{setup}long wire", f"{setup}loop"),
            "row": np.arange(n),
            "start_utc": begin,
            "end_utc": begin + pd.Timedelta(minutes=4),
            "freq_khz": CHANNELS_KHZ[draw.integers(0, CHANNELS_KHZ.size, n)],
            "outcome": words(OUTCOMES, outcome),
            "identity": np.where(heard, BROADCASTERS[draw.integers(0, 3, n)], ""),
            "identity_state": np.where(heard, "single", ""),
            "claims": "",
            "id_confidence": np.where(heard, "sure", ""),
            "sinpo": np.where(heard, digits.astype(str), ""),
            "demod": words(DEMODS, draw.integers(0, 3, n)),
            "duplicates": 0,
            "evening": (FIRST // DAY_US + night).astype("datetime64[D]").astype("datetime64[s]"),
            "middle_min": minute - 200.0,
        }
    )


def merging():
    """Merge what some members have in memory."""
    few = 4 if QUICK else 20
    frames = [checks_of(number) for number in range(few)]
    for frame in frames:
        frame["setup_id"] = frame["setup_id"].str.partition("/")[2]
    members = [
        Member(
            name=f"member {number}",
            place="KO38",
            time_zone="Europe/Tallinn",
            licence="CC0-1.0",
            consent=True,
            log=frame,
        )
        for number, frame in enumerate(frames)
    ]
    n = sum(map(len, frames))
    plain = best_s(
        lambda: pd.concat(frames, ignore_index=True).sort_values(["member", "start_utc"]), 3
    )
    row("pandas: concat and sort", plain, n)
    own = best_s(lambda: merge(members), 1)
    row(f"merge, {few} members, {n} checks", own, n)
    print(f"merge takes {own / plain:.0f} times as long")


def child(what, folder):
    """One query in a process of its own: what it costs, printed."""
    base_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    start, cpu = time.perf_counter(), time.process_time()
    found = hearing_rates(folder) if what == "rates" else effort(folder)
    took, busy = time.perf_counter() - start, time.process_time() - cpu
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    total = int(found["checks"].sum() + found.get("left_out", pd.Series([0])).sum())
    print(
        f"{what:8s} {len(found):6d} cells of {total:9d} checks: {took:6.2f} s, {busy:6.2f} s of "
        f"processors, peak {peak_mb:5.0f} MB, {base_mb:4.0f} MB of them before",
        flush=True,
    )


def by_pandas(files):
    """The same rates, all in memory."""
    parts = []
    for path in files:
        one = pd.read_parquet(path, columns=["setup_id", "outcome", "band", "evening"])
        parts.append(one.assign(member=path.parts[-3], season=path.parts[-2][7:]))
    every = pd.concat(parts, ignore_index=True)
    told = every[every["outcome"] != "blocked"]
    heard = (told["outcome"] == "heard").astype(float)
    by = ["season", "band", "member", "setup_id"]
    setups = heard.groupby([told[name] for name in by]).agg(["mean", "size"])
    setups = setups[setups["size"] >= 5]["mean"]
    return setups.groupby(by[:3]).mean().groupby(by[:2]).mean()


def large():
    """Write a large club and ask it."""
    with tempfile.TemporaryDirectory() as place:
        folder, part = Path(place) / "club", Path(place) / "part"
        start = time.perf_counter()
        count = write_parquet((checks_of(number) for number in range(MEMBERS)), folder)
        took = time.perf_counter() - start
        files = list(folder.rglob("*.parquet"))
        size = sum(path.stat().st_size for path in files)
        print(
            f"{count} checks of {MEMBERS} members drawn and written in {took:.0f} s: "
            f"{len(files)} files, {size / 1e6:.0f} MB"
        )
        for what in ("rates", "effort"):
            subprocess.run([sys.executable, __file__, "--child", what, str(folder)], check=True)
        count = write_parquet((checks_of(number) for number in range(PART)), part)
        files = sorted(part.rglob("*.parquet"))
        plain = best_s(lambda: by_pandas(files), 3, time.perf_counter)
        own = best_s(lambda: hearing_rates(part), 3, time.perf_counter)
        row(f"pandas, a part of {count} checks", plain, count)
        row("hearing_rates", own, count, "pandas", plain / count)
        expected = by_pandas(files).to_numpy()
        if not np.allclose(hearing_rates(part)["rate"].to_numpy(), expected, atol=1e-8):
            raise SystemExit("rates differ from those of pandas")


if __name__ == "__main__":
    if "--child" in sys.argv:
        child(*sys.argv[-2:])
    else:
        merging()
        large()

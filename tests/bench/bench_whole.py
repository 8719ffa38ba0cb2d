"""What a listener waits for, and how it grows: ``python tests/bench/bench_whole.py``.

Starting, an evening, a season of 8,000 broadcasts (24 hours x 155 dates), each in a process of its
own, wall time and peak memory; then the exponent of the cost against broadcasts, dates, hops and
rows of a log: log of the ratio of two times over log of the ratio of two sizes. The list is the
demonstration, repeated with its channels moved and eight sites instead of one: some 300 sites.
``--large``: logs up to 10 million rows, too (8 min in all, 9 GiB).
"""

import dataclasses
import math
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from importlib.resources import files
from pathlib import Path

import numpy as np
import pandas as pd
from _timing import QUICK, best_s, limit, row, size

import farhear as fh
from farhear.schedule import Schedule
from farhear.study import hearing_by_hour

DEMO = files("farhear") / "data" / "demo"
BROADCASTS = 400 if QUICK else 8000


def home() -> fh.Station:
    return fh.read_station(DEMO / "station.toml")


def schedule(count: int) -> Schedule:
    """A list of so many broadcasts that an AM receiver can hear."""
    made = fh.read_schedule(DEMO / "schedule_b24.csv", days="iso", season="B24")
    rng = np.random.default_rng(1)
    of = made.frame[made.frame["modulation"] != "DIGITAL"]
    some = of.iloc[rng.integers(0, len(of), count)].reset_index(drop=True)
    some["tx_lat_deg"] = (some["tx_lat_deg"] + 0.5 * rng.integers(0, 8, count)).clip(-80, 80)
    some["freq_khz"] += 5.0 * rng.integers(-3, 4, count)
    some["row"] = np.arange(2, count + 2)
    return dataclasses.replace(made, frame=some, rows_read=count, rejects=made.rejects[:0])


def alone(code: str, *more: str) -> tuple[float, float]:
    """Wall seconds and peak memory [GiB] of a fresh interpreter that runs some code."""
    call = [sys.executable, "-c", code, *more]
    took = []
    for _ in range(1 if QUICK else 5):
        start = time.perf_counter()
        subprocess.run(call, check=True, stdout=subprocess.DEVNULL)
        took.append(time.perf_counter() - start)
    return min(took), resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 2**20


def season_alone() -> None:
    """What the season's process runs."""
    start = time.perf_counter()
    study = fh.season_study(home(), schedule(BROADCASTS), "B24")
    took = time.perf_counter() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    print(took, peak, study["likelihood"].size)


def exponent(name: str, sizes: Sequence[int], call: Callable[[int], Callable[[], object]]) -> None:
    """Print the exponent of the cost between the two largest sizes, and the time of the largest."""
    times = []
    for n in sizes:
        run = call(n)
        times.append(best_s(run, 2, time.perf_counter))
    slope = math.log(times[-1] / times[-2]) / math.log(sizes[-1] / sizes[-2])
    limit(f"exponent, {name} to {sizes[-1]}", slope, f"({times[-1]:.3g} s)", 1.25)


def starting() -> None:
    """Import, and the first answers."""
    bare, _ = alone("import numpy")
    row("import numpy", bare, 1)
    package, _ = alone("import farhear")
    row("import farhear, against numpy", package, 1, "numpy", bare)
    limit("import farhear", package, "s", 0.3)
    arguments = ("evening", "--demo", "--date", "2024-11-27")
    listener = "import sys; sys.modules['dask'] = None"  # not what a listener installs
    evening, _ = alone(f"{listener}; from farhear.cli import main; sys.exit(main())", *arguments)
    limit("farhear evening --demo, from a cold start", evening, "s", 1.5)


def season() -> None:
    """A whole season."""
    found = subprocess.run(
        [sys.executable, __file__, "--season", *(["--quick"] if QUICK else [])],
        check=True,
        capture_output=True,
        text=True,
    )
    took, peak, count = map(float, found.stdout.split())
    row("season, wall time on all cores, per value", took, int(count))
    limit(f"season of {BROADCASTS} broadcasts", took, "s", 30.0)
    limit("its peak memory", peak, "GiB", 2.0)


def growth() -> None:
    """Exponents."""
    place = home()
    dates = [str(np.datetime64("2024-11-01") + i) for i in range(32)]

    def of_broadcasts(n: int) -> Callable[[], object]:
        listed = schedule(n)
        return lambda: fh.season_study(place, listed, "B24", dates=dates[:4], f107_sfu=180.0)

    def of_dates(n: int) -> Callable[[], object]:
        listed = schedule(100)
        return lambda: fh.season_study(place, listed, "B24", dates=dates[:n], f107_sfu=180.0)

    def of_evening(n: int) -> Callable[[], object]:
        listed = schedule(n)
        return lambda: fh.plan(place, listed, "2024-11-27", f107_sfu=180.0)

    def of_hops(n: int) -> Callable[[], object]:
        hours = fh.utc([f"2024-11-27T{h:02}:30Z" for h in range(24)])
        far_km = 1500.0 * n * np.linspace(0.98, 1.0, 20)[:, None]
        ends = fh.path.direct(58.4, 26.7, 120.0, far_km)
        return lambda: fh.reception.likelihood(
            *(ends.lat_deg, ends.lon_deg, 58.4, 26.7, 9600.0, hours),
            power_kw=100.0,
            f107_sfu=180.0,
            long_path="short",
        )

    some = (100, 200) if QUICK else (1000, 4000)
    exponent("season, broadcasts", some, of_broadcasts)
    exponent("season, dates", (4, 8) if QUICK else (8, 32), of_dates)
    exponent("evening, broadcasts", some, of_evening)
    exponent("likelihood, hops of 1500 km", (2, 10), of_hops)
    rows = (1000, size(100_000), size(1_000_000))
    if "--large" in sys.argv:
        rows = (*rows, 10_000_000)
    files = (1000, size(100_000), size(500_000))  # the last: what one file may hold
    with tempfile.TemporaryDirectory() as folder:
        for suffix in (".csv", ".parquet"):
            name = f"reading a log in {suffix[1:]}, rows"
            exponent(name, files, lambda n, s=suffix: reading(Path(folder) / f"log-{n}{s}", n))
    exponent("log by evenings, rows", rows, lambda n: lambda: fh.evenings.table(checks(n), place))
    exponent("openings, rows", rows, lambda n: openings(n, place))
    exponent("hearing by hour, rows", rows, lambda n: hearing(n, place))
    few = (1000, size(50_000))
    exponent("disturbed nights (H4), rows", few, lambda n: nights(n, place))


def checks(n: int) -> pd.DataFrame:
    """A log of so many rows: 40 checks an evening, so that a year is 14,600 rows."""
    rng = np.random.default_rng(2)
    minute = np.sort(rng.integers(0, 360, (n // 40 + 1, 40)), axis=1)
    start_min = (minute + 1440 * (np.arange(minute.shape[0])[:, None] % 20_000)).ravel()[:n]
    start = pd.Timestamp("1990-01-01T14:00Z") + pd.to_timedelta(start_min, unit="min")
    heard = rng.random(n) < 0.5
    return pd.DataFrame(
        {
            "row": np.arange(n),
            "start_utc": start,
            "end_utc": start + pd.Timedelta("4min"),
            "freq_khz": rng.choice([6070.0, 7325.0, 9485.0], n),
            "outcome": np.where(heard, "heard", "not_heard"),
            "identity": np.where(heard, "Radio Belmorant", ""),
            "session_id": "",
            "observer_id": "",
            "setup_id": "",
        }
    )


def reading(file: Path, n: int) -> Callable[[], object]:
    fh.write_log(checks(n), file)
    return lambda: fh.read_log(file)


def openings(n: int, place: fh.Station) -> Callable[[], object]:
    table = fh.evenings.table(checks(n), place)
    return lambda: fh.evenings.openings(table)


def hearing(n: int, place: fh.Station) -> Callable[[], object]:
    table = fh.evenings.table(checks(n), place)
    return lambda: hearing_by_hour(table, seed=1)


def nights(n: int, place: fh.Station) -> Callable[[], object]:
    table, record = fh.evenings.table(checks(n), place), fh.load_indices()
    return lambda: fh.hunch.disturbed_nights(table, record, band="31 m")


def main() -> None:
    """Measure and print."""
    if "--season" in sys.argv:
        season_alone()
        return
    starting()
    season()
    growth()


if __name__ == "__main__":
    main()

"""Large studies on dask: ``python tests/bench/bench_scale.py``.

Prints (1) the wall time of a season on threads and on two processes beside the eager one, which has
a pool of its own and is the peer; (2) how the processor time grows with broadcasts and with days,
as an exponent (1: in proportion); (3) the peak memory of the eager season and of one that is
written chunk by chunk, each in a process of its own; (4) from the measured time and bytes of a cell
a plan for 100 nodes. Exits with an error if a lazy season has other bits than the eager one. The
list and the home are the invented ones of the demonstration.

Measured in two runs: threads 0.7 and 1.0 times, two processes 0.6 and 0.7 times as fast as the
eager season; exponents 0.60 and 0.63 with broadcasts (50 to 400, those of one site share work),
0.74 and 0.78 with days (4 to 32); a cube of 208 MB took 357 MB at once, 33 and 35 MB by chunks.

The plan, from the faster run (36 us a cell and 0.66 s a home in the other). A cell of a world (10
frequencies, 24 hours, 12 months) takes 31 us and 7.0 bytes on the disk. One emitter of 1 degree has
180 x 360 x 10 x 24 x 12 = 1.87e8 cells: 1.6 core hours and 1.3 GB; in 933 chunks it does not fill
3,200 cores. 1,000 emitters are 1.87e11 cells: 1,600 core hours, 1.3 TB. 100 nodes of 32 cores take
chunks of a million cells, 31 s and 13 MB each, 0.4 GB on a node: 187,000 chunks, 59 rounds, 30 min.
dask's scheduler hands out 187,000 / 1,800 s = 100 chunks a second, with 5 files each; chunks of 2e5
cells would be 500 a second and 4.7 million files. 1,000 homes against 8,000 broadcasts: 0.50 s for
a home and 400 broadcasts, 2.8 core hours, 3 s on 3,200 cores if each home is a chunk; the summary
has 16 MB.
"""

import dataclasses
import resource
import subprocess
import sys
import tempfile
import time
from importlib.resources import as_file, files
from pathlib import Path

import dask
import numpy as np
from _timing import QUICK, best_s
from distributed import Client, LocalCluster

import farhear as fh
from farhear.coverage import homes, to_zarr, world

ROWS, DAYS = (24, 2) if QUICK else (400, 12)
FIRST = np.datetime64("2024-11-01")
NODES, CORES = 100, 32


def demo(rows=ROWS):
    """The invented home and so many broadcasts of its list, spread over it or repeated."""
    folder = files("farhear") / "data" / "demo"
    with as_file(folder / "station.toml") as path:
        station = fh.read_station(path)
    with as_file(folder / "schedule_b24.csv") as path:
        schedule = fh.read_schedule(path, days="iso", season="B24")
    some = schedule.frame.iloc[np.linspace(0, len(schedule) - 1, rows).astype(int)]
    frame = some.reset_index(drop=True)
    return station, dataclasses.replace(schedule, frame=frame, rows_read=rows)


def season(rows=ROWS, days=DAYS, **given):
    """A part of the season, every date worked out."""
    return fh.season_study(*demo(rows), dates=FIRST + np.arange(days), step_days=1, **given)


def emitter(step_deg, **given):
    """Where an invented emitter is heard: 10 frequencies, 24 hours, some months."""
    months = ["2025-06"] if QUICK else [f"2025-{m:02}" for m in range(1, 13)]
    return world(
        *(9.6, 37.7, np.linspace(5900.0, 21500.0, 2 if QUICK else 10)),
        months=months,
        power_kw=250.0,
        f107_sfu=140.0,
        step_deg=step_deg,
        **given,
    )


def schedulers():
    """Eager, threads, two processes."""
    season(rows=2, days=1)  # reads the maps
    peer = best_s(season, 3, time.perf_counter)
    expected = season()
    cells = expected["likelihood"].size
    print(f"{ROWS} broadcasts x {DAYS} days x 24 hours: {cells} cells, wall time")
    print(f"{'eager, a pool of its own':40s} {peer:8.2f} s {peer / cells * 1e6:8.1f} us a cell")
    chunks = {"date": max(DAYS // 8, 1)}
    worked_out = [name for name, one in season(chunks=chunks).data_vars.items() if one.chunks]

    def shown(name):
        took = best_s(lambda: season(chunks=chunks).compute(), 3, time.perf_counter)
        found = season(chunks=chunks)
        tasks = len(found.__dask_graph__())
        print(f"{name:40s} {took:8.2f} s {peer / took:8.2f} x eager, {tasks} tasks")
        found = found.compute()
        for key in worked_out:
            if found[key].to_numpy().tobytes() != expected[key].to_numpy().tobytes():
                raise SystemExit(f"{name}: {key} has other bits")

    with dask.config.set(scheduler="threads"):
        shown("lazy, threads")
    with (
        LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=":0") as cluster,
        Client(cluster),
    ):
        season(rows=8, days=8, chunks={"date": 1}).compute()  # both have read the maps
        shown("lazy, two processes")


def growth():
    """Exponents of the processor time."""
    small = (10, 20) if QUICK else (50, 100, 200, 400)
    for name, sizes, call in (
        ("broadcasts", small, lambda n: season(rows=n, days=2)),
        ("days", (2, 4) if QUICK else (4, 8, 16, 32), lambda n: season(rows=40, days=n)),
    ):
        took = [best_s(lambda n=n, call=call: call(n), 3) for n in sizes]
        power = np.polyfit(np.log(sizes), np.log(took), 1)[0]
        seconds = ", ".join(f"{n}: {s:.2f} s" for n, s in zip(sizes, took, strict=True))
        print(f"growth with {name}: exponent {power:.2f} ({seconds})")


def child(what, folder):
    """One way in a process of its own: its peak memory above that of a small season.

    A list ten times as long, each circuit repeated, and few dates worked out: much memory for
    little work.
    """
    names = ["likelihood", "snr_db", "muf_mhz", "limit", "on_air"]

    def study(rows, **given):
        chunks = None if what == "eager" else {"broadcast": 1000, "date": 31}
        found = fh.season_study(*demo(rows), step_days=31, chunks=chunks, **given)[names]
        if chunks:
            to_zarr(found, f"{folder}/{rows}")
        return found

    study(20, dates=FIRST + np.arange(2))
    before_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    dates = FIRST + np.arange(4) if QUICK else None  # else all
    cube_mb = study(10 * ROWS, dates=dates).nbytes / 1e6
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{what}, a cube of {cube_mb:.0f} MB: peak {peak_mb - before_mb:.0f} MB above the "
        f"{before_mb:.0f} MB of a small one",
        flush=True,
    )


def plan(folder):
    """Arithmetic of a large run from a small one."""
    study = emitter(45.0 if QUICK else 30.0)
    with dask.config.set(scheduler="synchronous"):
        each_s = best_s(study.compute, 1) / study["likelihood"].size
    # bytes: neighbouring cells, as in the real study, or they compress too badly
    near = emitter(2.0, area_deg=(40.0, 10.0, 48.0, 18.0), chunks={})
    to_zarr(near, folder / "near")
    stored = sum(
        file.stat().st_size
        for name in ("likelihood", "snr_db", "muf_mhz", "limit")
        for file in (folder / "near" / name).iterdir()
    )
    bytes_each = stored / near["likelihood"].size
    station, schedule = demo()
    with dask.config.set(scheduler="synchronous"):
        home_s = best_s(homes([station], schedule).compute, 1)
    cores = NODES * CORES
    print(f"a cell of a world: {each_s * 1e6:.0f} us, {bytes_each:.1f} bytes stored (13 in memory)")
    for name, emitters, chunk in (("one emitter", 1, 2e5), ("1,000 emitters", 1000, 1e6)):
        cells = emitters * 180 * 360 * 10 * 24 * 12
        hours = cells * each_s / 3600.0
        chunks = cells / chunk
        print(
            f"{name}, 1 degree x 10 frequencies x 24 hours x 12 months: {cells:.2e} cells, "
            f"{hours:,.1f} core hours; {chunks:,.0f} chunks of {chunk:.0e} cells, "
            f"{chunk * each_s:.0f} s each; {cells * bytes_each / 1e9:,.1f} GB; on {NODES} nodes of "
            f"{CORES} cores {np.ceil(chunks / cores):.0f} rounds, "
            f"{np.ceil(chunks / cores) * chunk * each_s / 60.0:.1f} min; "
            f"{cores * chunk * 13 / 1e9:.0f} GB of chunks in memory, "
            f"{CORES * chunk * 13 / 1e9:.1f} GB on a node"
        )
    hours = 1000 * home_s * 8000 / len(schedule) / 3600.0
    print(
        f"a home against {len(schedule)} broadcasts: {home_s:.2f} s; 1,000 homes against 8,000, in "
        f"proportion: {hours:.1f} core hours, {hours / cores * 3600:.0f} s on {cores} cores; the "
        f"full cube would have {1000 * 8000 * 24 * 6 * 13 / 1e9:.0f} GB, the summary "
        f"{1000 * 14 * 24 * 6 * 8 / 1e6:.0f} MB"
    )


if __name__ == "__main__":
    if "--child" in sys.argv:
        where = sys.argv.index("--child")
        child(*sys.argv[where + 1 : where + 3])
    else:
        schedulers()
        growth()
        with tempfile.TemporaryDirectory() as place:
            for way in ("eager", "by chunks"):
                subprocess.run([sys.executable, *sys.argv, "--child", way, place], check=True)
            plan(Path(place))

"""Large studies: the same bits on whatever dask runs them, and again after an interruption."""

import dataclasses
import json
import os
import signal
import subprocess
import sys
import threading
import time
import tracemalloc
from importlib.resources import as_file, files
from itertools import product
from pathlib import Path

import dask
import numpy as np
import pytest
import xarray as xr
import zarr
from distributed import Client, LocalCluster
from pyproj import Geod

import farhear as fh
from farhear import antenna, coverage, path, reception, season
from farhear._files import alone
from farhear.errors import InputError
from farhear.schedule import read_schedule
from farhear.station import Station

HOME = Station(
    name="Test home", lat_deg=58.4, lon_deg=26.7, time_zone="Europe/Tallinn", noise="rural"
)
AWAY = dataclasses.replace(
    HOME, name="Away", lat_deg=-33.9, lon_deg=18.5, time_zone="Africa/Johannesburg", noise="city"
)
LIST = """freq_khz,start_utc,stop_utc,days,broadcaster,tx_lat_deg,tx_lon_deg,power_kw,azimuth_deg
6070,1800,2000,daily,Radio Belmorant,50.6,19.3,100,
6195,2300,0100,7,Radio Umbasani,9.6,37.7,250,350
6195,0300,0400,daily,Radio Umbasani,9.6,37.7,250,350
3955,1700,1900,67,Noverrin External,43.6,68.9,100,310
15200,0900,1200,daily,Radio Yandorica,-13.9,29.2,250,0
"""
RUN = np.arange("2025-12-05", "2025-12-17", dtype="datetime64[D]")
GAPS = ["2025-10-26", "2025-12-20", "2025-12-22", "2026-03-29"]
WORLD = {
    "bands": ["31 m", "19 m"],
    "months": ["2025-06", "2025-12"],
    "hours": [0, 6, 18],
    "power_kw": 250.0,
    "f107_sfu": 140.0,
    "step_deg": 30.0,
    "chunks": {"lat_deg": 2, "lon_deg": 5},
}


@pytest.fixture(scope="module")
def schedule(tmp_path_factory):
    file = tmp_path_factory.mktemp("list") / "list.csv"
    file.write_text(LIST)
    return read_schedule(file, days="iso", season="B25")


@pytest.fixture(scope="module")
def eager(schedule):
    return season.season_study(HOME, schedule, dates=RUN)


@pytest.fixture(scope="module")
def client():
    """Two workers, each a process of its own that is started again when it dies."""
    with (
        LocalCluster(
            n_workers=2,
            threads_per_worker=1,
            dashboard_address=":0",  # any free port: None would take 8787, and warn if it is taken
            scheduler_kwargs={"dashboard": False},
        ) as cluster,
        Client(cluster, set_as_default=False) as one,
    ):
        yield one


@pytest.fixture
def world():
    return coverage.world(9.6, 37.7, **WORLD)


def assert_same(one: xr.Dataset, other: xr.Dataset) -> None:
    """To the bit, with attributes."""
    assert one.sizes == other.sizes
    assert repr(one.attrs) == repr(other.attrs)
    assert list(one.variables) == list(other.variables)
    for name in one.variables:
        a, b = one[name], other[name]
        assert (a.dims, a.dtype, repr(a.attrs)) == (b.dims, b.dtype, repr(b.attrs)), name
        if a.dtype == object:
            assert a.to_numpy().tolist() == b.to_numpy().tolist()
        else:
            assert a.to_numpy().tobytes() == b.to_numpy().tobytes(), name


def contents(folder: Path) -> dict[str, object]:
    """Bytes of the files; metadata as values, for the order of their keys may differ."""
    return {
        str(file.relative_to(folder)): json.loads(file.read_text())
        if file.name.startswith(".z")
        else file.read_bytes()
        for file in folder.rglob("*")
        if file.is_file()
    }


# A season ---------------------------------------------------------------------------------------


def test_a_lazy_season_is_the_eager_one_on_threads(schedule, eager):
    lazy = season.season_study(HOME, schedule, dates=RUN, chunks={"broadcast": 2, "date": 5})
    assert dict(lazy.chunks) == {
        "broadcast": (2, 2, 1),
        "date": (5, 5, 2),
        "hour_utc": (24,),
        "band": (3,),
    }
    for name in ("likelihood", "snr_db", "muf_mhz", "limit", "on_air", "open_likelihood"):
        assert lazy[name].chunks, name
    assert lazy["dusk_opening_min"].chunks == ((3,), (5, 5, 2))
    assert_same(lazy.compute(scheduler="threads"), eager)


def test_a_lazy_season_is_the_eager_one_on_processes(schedule, eager):
    lazy = season.season_study(HOME, schedule, dates=RUN, chunks={"broadcast": 2})
    assert_same(lazy.compute(scheduler="processes", num_workers=2), eager)


def test_a_lazy_season_is_the_eager_one_on_a_cluster(schedule, eager, client):
    lazy = season.season_study(HOME, schedule, dates=RUN, chunks={"broadcast": 2, "date": 5})
    assert_same(lazy.compute(scheduler=client), eager)


@pytest.mark.parametrize("date", [1, 3, 100])
@pytest.mark.parametrize(
    "given",
    [
        {"dates": GAPS, "far_km": 20000.0},  # no far circuit at all
        {"dates": RUN, "hours": [5, 17], "step_days": 3, "long_path": "short"},
        {"dates": RUN[:3], "hours": [12], "step_days": 1},
    ],
)
def test_whatever_the_chunks_and_dates(schedule, given, date):
    given = given | {"f107_sfu": 140.0}
    lazy = season.season_study(HOME, schedule, chunks={"broadcast": 3, "date": date}, **given)
    assert_same(lazy.compute(), season.season_study(HOME, schedule, **given))


def test_nothing_is_worked_out_before_it_is_asked_for(schedule, monkeypatch):
    def refuse(*_, **__):
        raise AssertionError("worked out too early")

    monkeypatch.setattr(reception, "likelihood", refuse)
    lazy = season.season_study(HOME, schedule, chunks={})
    assert lazy.sizes["date"] == 155
    coverage.homes([HOME, AWAY], schedule)
    with pytest.raises(AssertionError, match="too early"):
        lazy["likelihood"][0, 0].compute(scheduler="synchronous")


def test_nothing_is_worked_out_twice(schedule, monkeypatch):
    calls = []
    core = reception.likelihood

    def counted(lat, lon, rx_lat, rx_lon, freq, utc, **given):
        rows = np.broadcast_arrays(lat, lon, freq)
        calls.extend(product(zip(*(r.ravel() for r in rows), strict=True), utc.unix_s))
        return core(lat, lon, rx_lat, rx_lon, freq, utc, **given)

    monkeypatch.setattr(reception, "likelihood", counted)
    given = {"dates": RUN, "f107_sfu": 140.0, "step_days": 1}
    lazy = season.season_study(HOME, schedule, **given, chunks={"broadcast": 3, "date": 6})
    assert not calls
    lazy.compute(scheduler="synchronous")
    assert len(calls) == len(set(calls)) > 0


def test_only_the_eager_season_is_bounded(schedule, monkeypatch):
    monkeypatch.setattr(season, "_MOST_ELEMENTS", 100)
    with pytest.raises(InputError, match=r"give fewer dates or hours, or chunks"):
        season.season_study(HOME, schedule, dates=RUN)
    lazy = season.season_study(HOME, schedule, dates=RUN, chunks={"date": 4})
    assert lazy["likelihood"].size > 100


@pytest.mark.parametrize(
    ("chunks", "message"),
    [
        ({"hour_utc": 2}, "names 'hour_utc', which is none of broadcast, date"),
        ({"date": 0}, r"chunks\['date'\] = 0 is no whole number from 1"),
        ({"date": 2.5}, "2.5 is no whole number"),
        ({"broadcast": True}, "True is no whole number"),
        ({"broadcast": "auto"}, "'auto' is no whole number"),
        (100, "100 is no mapping such as"),
    ],
)
def test_wrong_chunks(schedule, chunks, message):
    with pytest.raises(InputError, match=message):
        season.season_study(HOME, schedule, dates=RUN, chunks=chunks)


def test_progress_is_not_for_chunks(schedule):
    with pytest.raises(InputError, match="progress has nothing to count"):
        season.season_study(HOME, schedule, dates=RUN, chunks={}, progress=print)


def test_without_dask(schedule, monkeypatch):
    monkeypatch.setattr(season, "find_spec", lambda _: None)
    with pytest.raises(InputError, match=r"package dask is not there.*farhear\[large\]"):
        season.season_study(HOME, schedule, dates=RUN, chunks={})
    assert season.season_study(HOME, schedule, dates=GAPS[:1], hours=[12]).sizes["date"] == 1


def test_the_package_comes_without_dask():
    code = "import sys, farhear; sys.exit('dask' in sys.modules or 'zarr' in sys.modules)"
    subprocess.run([sys.executable, "-c", code], check=True)


# One emitter over the world ---------------------------------------------------------------------


def test_a_world_is_the_likelihood_of_the_core(world):
    study = world.compute()
    assert dict(study.sizes) == {
        "month": 2,
        "hour_utc": 3,
        "freq_khz": 2,
        "lat_deg": 6,
        "lon_deg": 12,
        "edge": 2,
    }
    for lat, lon, freq, month, hour in [
        (45.0, 15.0, 9650.0, "2025-06-15", 18),
        (-75.0, -165.0, 15450.0, "2025-12-15", 0),
        (15.0, 45.0, 9650.0, "2025-12-15", 6),
    ]:
        direct = reception.likelihood(
            *(9.6, 37.7, lat, lon, freq, f"{month}T{hour:02}:30Z"),
            power_kw=250.0,
            f107_sfu=140.0,
            min_elevation_deg=3.0,
        )
        here = study.sel(lat_deg=lat, lon_deg=lon, freq_khz=freq, month=month, hour_utc=hour)
        for name in ("likelihood", "snr_db", "muf_mhz"):
            assert here[name].to_numpy() == direct[name].to_numpy().astype(np.float32), name
        assert int(here["limit"]) == int(direct["limit"])


def test_a_world_with_an_antenna():
    study = coverage.world(
        *(9.6, 37.7, [9650.0]),
        months=["2025-12"],
        hours=[18],
        power_kw=250.0,
        f107_sfu=140.0,
        antenna="HR 4/4/0.5",
        azimuth_deg=350.0,
        area_deg=(30.0, 0.0, 60.0, 60.0),
        step_deg=10.0,
        noise=40.0,
    )
    bearing_deg = float(path.inverse(9.6, 37.7, 55.0, 35.0).azimuth_deg)
    table = antenna.elevation_table_dbi("HR 4/4/0.5", 9650.0, [bearing_deg - 350.0], power_kw=250.0)
    direct = reception.likelihood(
        *(9.6, 37.7, 55.0, 35.0, 9650.0, "2025-12-15T18:30Z"),
        power_kw=250.0,
        f107_sfu=140.0,
        tx_pattern_dbi=table.gain_dbi[0],
        tx_gain_sd_db=table.sd_db[0],
        noise=40.0,
        min_elevation_deg=3.0,
    )
    here = study["snr_db"].sel(lat_deg=55.0, lon_deg=35.0)
    assert float(here.squeeze()) == pytest.approx(float(direct["snr_db"]), abs=1e-4)


def test_cells_after_the_conventions(world):
    """CF-1.11, sections 4 (axes), 7.1 (bounds) and 7.2 (measures): names from memory."""
    for name, standard in (("lat_deg", "latitude"), ("lon_deg", "longitude")):
        axis = world[name]
        assert axis.attrs["standard_name"] == standard
        bounds = world[axis.attrs["bounds"]].to_numpy()
        np.testing.assert_allclose(bounds.mean(axis=1), axis)
        np.testing.assert_array_equal(bounds[1:, 0], bounds[:-1, 1])
    assert world["likelihood"].attrs["cell_measures"] == "area: cell_area_km2"
    # pyproj (PROJ), an independent reference: cells as polygons whose parallels have 3,000 points
    geod = Geod(ellps="WGS84")
    for lat, lon in ((-75.0, -165.0), (15.0, 45.0), (45.0, -15.0)):
        along = np.linspace(lon - 15.0, lon + 15.0, 3001)
        ring_lon = np.concatenate([along, along[::-1]])
        ring_lat = np.repeat([lat - 15.0, lat + 15.0], along.size)
        expected_km2 = abs(geod.polygon_area_perimeter(ring_lon, ring_lat)[0]) / 1e6
        area_km2 = float(world["cell_area_km2"].sel(lat_deg=lat, lon_deg=lon))
        assert area_km2 == pytest.approx(expected_km2, rel=1e-6)
    # 510,065,622 km2, surface of the WGS84 ellipsoid (GeographicLib's documentation, from memory)
    assert float(world["cell_area_km2"].sum()) == pytest.approx(510_065_622.0, rel=1e-8)


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"bands": ["31"]}, "bands names '31'; did you mean '31 m'"),
        ({"bands": None}, "either freq_khz or bands"),
        ({"bands": None, "freq_khz": []}, "empty"),
        ({"bands": None, "freq_khz": [9.65]}, "freq_khz"),
        ({"months": ["June"]}, "not written YYYY-MM"),
        ({"months": []}, "is empty"),
        ({"step_deg": 0.0}, "step_deg = 0.0 is outside"),
        ({"step_deg": 7.0}, "step_deg = 7 does not divide area_deg: lat -90 to 90"),
        ({"area_deg": (0.0, 30.0, 30.0, 0.0)}, "does not divide area_deg: lon 30 to 0"),
        ({"area_deg": (0.0, 0.0, 120.0, 30.0)}, r"area_deg \(lat\)\[1\] = 120 is outside"),
        ({"power_kw": -1.0}, "power_kw = -1 is outside"),
        ({"noise": "loud"}, "noise = 'loud'"),
        ({"antenna": "HR 4/4/0.5", "gain_dbi": 3.0}, "leave gain_dbi out"),
        ({"antenna": "???"}, r"\?\?\?"),
        ({"chunks": {"receiver": 3}}, "chunks names 'receiver'"),
        ({"hours": [24]}, "hours"),
    ],
)
def test_a_wrong_world_is_refused_at_once(given, message):
    with pytest.raises(InputError, match=message):
        coverage.world(9.6, 37.7, **WORLD | given)


# Many homes -------------------------------------------------------------------------------------


def test_homes_sum_up_their_seasons(schedule):
    """Against whole seasons: what the summary has left out is worked out there."""
    plan = coverage.homes([HOME, AWAY], schedule, f107_sfu=140.0, chunks={"receiver": 1})
    assert plan["best_likelihood"].chunks[0] == (1, 1)
    assert plan["dates_count"].to_numpy().tolist() == [6, 30, 31, 31, 28, 29]
    found = plan.compute()
    middle = plan["month"].to_numpy().astype("datetime64[D]")
    for home, station in zip((0, 1), (HOME, AWAY), strict=True):
        study = season.season_study(station, schedule, dates=middle, f107_sfu=140.0)
        whole = season.season_study(station, schedule, f107_sfu=140.0, step_days=31)
        month = whole["date"].dt.month.to_numpy()
        for m, number in enumerate((10, 11, 12, 1, 2, 3)):
            on_air = whole["on_air"].to_numpy()[:, month == number].mean(axis=1)
            likelihood = study["likelihood"].to_numpy()[:, m]
            count = on_air * (likelihood >= 0.5)
            for b, band in enumerate(plan["band"].to_numpy()):
                rows = study["broadcast_band"].to_numpy() == band
                best = np.where(on_air[rows] > 0, likelihood[rows], -1.0).max(axis=0)
                here = found.isel(receiver=home, band=b, month=m)
                np.testing.assert_array_equal(here["best_likelihood"].fillna(-1.0), best)
                np.testing.assert_allclose(
                    here["receivable_count"], count[rows].sum(axis=0), atol=1e-6
                )


def test_homes_need_stations(schedule):
    for stations in ([], [HOME, "Away"]):
        with pytest.raises(InputError, match="stations is empty or holds something"):
            coverage.homes(stations, schedule)
    with pytest.raises(InputError, match="threshold"):
        coverage.homes([HOME], schedule, threshold=0.0)


# Onto the disk, and again -----------------------------------------------------------------------


def test_a_folder_holds_what_dask_works_out(world, tmp_path):
    seen = []
    count = coverage.to_zarr(
        world, tmp_path / "w", at_once=4, progress=lambda *now: seen.append(now)
    )
    assert count == 9
    assert seen == [(4, 9), (8, 9), (9, 9)]
    with xr.open_zarr(tmp_path / "w") as stored:
        assert len(stored.attrs["question_sha256"]) == 64
        for name, variable in world.compute().variables.items():
            np.testing.assert_array_equal(stored[name], variable, err_msg=str(name))
            if name != "month":  # its units are those of the file
                assert stored[name].attrs.keys() == variable.attrs.keys()
    assert coverage.to_zarr(world, tmp_path / "w") == 0


def test_homes_and_seasons_go_into_folders(schedule, tmp_path):
    plan = coverage.homes([HOME], schedule, hours=[18], f107_sfu=140.0)
    assert coverage.to_zarr(plan, tmp_path / "homes") == 1
    lazy = season.season_study(
        *(HOME, schedule), dates=RUN, hours=[18], f107_sfu=140.0, chunks={"broadcast": 2}
    )
    names = ["likelihood", "on_air", "limit", "f107_sfu"]
    assert coverage.to_zarr(lazy[names], tmp_path / "season") == 3
    with (
        xr.open_zarr(tmp_path / "homes") as homes,
        xr.open_zarr(tmp_path / "season") as stored,
    ):
        np.testing.assert_array_equal(homes["best_likelihood"], plan["best_likelihood"])
        for name in names:
            np.testing.assert_array_equal(stored[name], lazy[name])
        assert stored["broadcaster"].to_numpy().tolist()[0] == "Radio Belmorant"


def test_a_chunk_is_worked_out_once(world, tmp_path, monkeypatch):
    calls = []
    core = reception.likelihood
    monkeypatch.setattr(reception, "likelihood", lambda *a, **k: calls.append(1) or core(*a, **k))

    class Stopped(Exception):
        pass

    def stop(done, total):
        if done == 5:
            raise Stopped

    with dask.config.set(scheduler="synchronous"):
        with pytest.raises(Stopped):
            coverage.to_zarr(world, tmp_path / "w", at_once=5, progress=stop)
        assert len(calls) == 5
        assert coverage.to_zarr(world, tmp_path / "w") == 4
    assert len(calls) == 9
    coverage.to_zarr(world, tmp_path / "other")
    assert contents(tmp_path / "w") == contents(tmp_path / "other")


@pytest.mark.parametrize(
    ("given", "name"),
    [
        ({"f107_sfu": 141.0}, "f107_sfu"),
        ({"power_kw": 251.0}, "attribute power_kw"),
        ({"months": ["2025-07", "2025-12"]}, "month"),
        ({"chunks": {"lat_deg": 1}}, "likelihood"),
        ({"antenna": "HR 2/2/0.5", "azimuth_deg": 10.0}, "attribute antenna"),
    ],
)
def test_another_question_is_refused(tmp_path, given, name):
    small = WORLD | {"hours": [6], "area_deg": (0.0, 0.0, 60.0, 60.0), "chunks": None}
    coverage.to_zarr(coverage.world(9.6, 37.7, **small), tmp_path / "w")
    before = contents(tmp_path / "w")
    with pytest.raises(InputError, match=f"w holds another question: {name} differs"):
        coverage.to_zarr(coverage.world(9.6, 37.7, **small | given), tmp_path / "w")
    assert contents(tmp_path / "w") == before


def test_what_no_folder_can_take(world, schedule, eager, tmp_path):
    (tmp_path / "file").mkdir()
    with pytest.raises(InputError, match="file is there already"):
        coverage.to_zarr(world, tmp_path / "file")
    with pytest.raises(InputError, match="no lazy variable"):
        coverage.to_zarr(eager, tmp_path / "w")
    with pytest.raises(InputError, match="open_likelihood and likelihood differ in their chunks"):
        coverage.to_zarr(season.season_study(HOME, schedule, chunks={}), tmp_path / "w")
    with pytest.raises(InputError, match="chunks along lat_deg are uneven"):
        coverage.to_zarr(world.isel(lat_deg=slice(1, None)), tmp_path / "w")
    with pytest.raises(InputError, match="holds datetime64"):
        coverage.to_zarr(world[["likelihood"]].astype("datetime64[ns]"), tmp_path / "w")
    with pytest.raises(InputError, match="at_once = 0"):
        coverage.to_zarr(world, tmp_path / "w", at_once=0)
    assert not (tmp_path / "w").exists()
    assert [one.name for one in tmp_path.iterdir()] == ["file"]


def test_one_program_at_a_time(world, tmp_path):
    coverage.to_zarr(world, tmp_path / "w")
    with (
        alone(tmp_path / "w"),
        pytest.raises(InputError, match="w is being written by another program"),
    ):
        coverage.to_zarr(world, tmp_path / "w")


KILLED = """
import sys, time
from farhear import coverage

def wait(done, total):
    print(done, flush=True)
    time.sleep(60 if done == 3 else 0)

coverage.to_zarr(coverage.world(9.6, 37.7, **{world}), sys.argv[1], at_once=1, progress=wait)
"""


def test_a_killed_program_goes_on(world, tmp_path):
    code = KILLED.replace("{world}", repr(WORLD))
    with subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path / "w")], stdout=subprocess.PIPE, text=True
    ) as program:
        while program.stdout.readline().strip() != "3":
            assert program.poll() is None
        program.kill()
    assert program.returncode == -signal.SIGKILL
    finished = contents(tmp_path / "w")
    (tmp_path / "w" / "snr_db" / "0.0.0.0.1.0a1b.partial").touch()  # half a chunk
    assert coverage.to_zarr(world, tmp_path / "w") == 6
    coverage.to_zarr(world, tmp_path / "whole")
    after, whole = contents(tmp_path / "w"), contents(tmp_path / "whole")
    assert after == whole
    assert finished.items() <= after.items()


def test_a_killed_worker_costs_its_chunk_only(client, tmp_path):
    given = {"step_deg": 10.0, "hours": range(0, 24, 2), "chunks": {"lat_deg": 6, "lon_deg": 9}}
    plan = coverage.world(9.6, 37.7, **WORLD | given)
    marks = tmp_path / "w" / "chunks_done"
    killed = []

    def kill_when_it_runs():
        pids = list(client.run(os.getpid).values())
        while not marks.exists() or zarr.open_array(marks, mode="r")[:].sum() < 1:
            time.sleep(0.01)
        os.kill(pids[0], signal.SIGKILL)
        killed.append(int(zarr.open_array(marks, mode="r")[:].sum()))

    killer = threading.Thread(target=kill_when_it_runs)
    killer.start()
    with Client(client.cluster):
        assert coverage.to_zarr(plan, tmp_path / "w", at_once=100) == 12
    killer.join()
    assert 1 <= killed[0] < 12
    client.wait_for_workers(2, timeout=60)  # it was started again
    whole = plan.compute(scheduler="threads")
    with xr.open_zarr(tmp_path / "w") as stored:
        for name in ("likelihood", "snr_db", "muf_mhz", "limit"):
            np.testing.assert_array_equal(stored[name], whole[name])


# Memory -----------------------------------------------------------------------------------------

STREAMED = """
import resource, sys
import dask.array as da, numpy as np, xarray as xr
from farhear import coverage

def peak_mb():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024

def study(n):
    values = da.blockwise(
        lambda row: np.repeat(np.repeat(row[:, None], 1000, 1)[:, :, None], 1000, 2), "ijk",
        da.arange(n, chunks=1, dtype=float), "i",
        new_axes={"j": 1000, "k": 1000}, meta=np.empty((0, 0, 0)),
    )
    return xr.Dataset({"a": (("i", "j", "k"), values)})

coverage.to_zarr(study(4), sys.argv[1] + "/small")
before = peak_mb()
coverage.to_zarr(study(60), sys.argv[1] + "/large")
print(peak_mb() - before)
"""


def test_a_folder_is_written_in_bounded_memory(tmp_path):
    # 60 chunks of 8 MB, 480 MB; one for each thread at a time
    done = subprocess.run(
        [sys.executable, "-c", STREAMED, str(tmp_path)], capture_output=True, text=True, check=True
    )
    assert float(done.stdout) < 240.0
    assert zarr.open_array(tmp_path / "large" / "a", mode="r").nbytes == 480_000_000


def test_homes_never_hold_the_full_cube():
    demo = files("farhear") / "data" / "demo"
    with as_file(demo / "schedule_b24.csv") as file:
        schedule = read_schedule(file, days="iso", season="B24")

    def peak(count):
        stations = [dataclasses.replace(HOME, lon_deg=26.0 + 0.1 * i) for i in range(count)]
        plan = coverage.homes(
            *(stations, schedule), hours=range(0, 24, 6), f107_sfu=140.0, chunks={"receiver": 1}
        )
        tracemalloc.start()
        plan.compute(scheduler="synchronous")
        highest = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return highest

    cube = len(schedule) * 6 * 4 * season.CELL.itemsize  # of one home: broadcast, month, hour
    peak(1)
    growth = (peak(16) - peak(2)) / 14
    assert growth < cube / 2


def test_coverage_is_part_of_the_package():
    assert fh.coverage is coverage
    assert {"world", "homes", "to_zarr"} <= set(coverage.__all__)

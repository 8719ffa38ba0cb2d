"""The core keeps no state: many threads at once give what one gives."""

import pickle
from concurrent.futures import ThreadPoolExecutor

import numpy as np

import farhear as fh

HOURS = fh.utc(
    np.datetime64("2025-06-20") + np.arange(48).astype("timedelta64[h]"), naive_is_utc=True
)


def work(lat_deg: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """One of everything that carries a table: zone, maps, field, modes."""
    r = fh.reception.likelihood(
        lat_deg, 25.0, 58.4, 26.7, 9600.0, HOURS, power_kw=100.0, f107_sfu=120.0
    )
    wall = fh.clock.to_local(HOURS, "Europe/Tallinn").astype(np.int64)
    zenith = fh.sun.position(HOURS, lat_deg, 25.0).zenith_deg
    return r["snr_db"].to_numpy(), wall, zenith


def test_threads_agree_with_one() -> None:
    places = np.linspace(-60.0, 70.0, 24)
    alone = [work(lat) for lat in places]
    with ThreadPoolExecutor(8) as pool:
        together = list(pool.map(work, places))
    for one, other in zip(alone, together, strict=True):
        for a, b in zip(one, other, strict=True):
            np.testing.assert_array_equal(a, b)


def test_instants_travel_between_processes() -> None:
    assert pickle.loads(pickle.dumps(HOURS)) == HOURS

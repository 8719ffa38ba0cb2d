"""Behaviour of the mode table and the usable frequency."""

import numpy as np
import pytest

import farhear as fh
from farhear import skywave

CIRCUIT = (45.0, 25.0, 58.4, 26.7)
HOURS = fh.utc(
    np.datetime64("2025-03-15") + np.arange(24).astype("timedelta64[h]"), naive_is_utc=True
)


def test_muf_is_that_of_the_likelihood_and_of_the_mode_table() -> None:
    muf = skywave.muf(*CIRCUIT, HOURS, f107_sfu=120.0)
    r = fh.reception.likelihood(
        *CIRCUIT, 9600.0, HOURS, power_kw=1.0, f107_sfu=120.0, long_path="short"
    )
    np.testing.assert_array_equal(muf, r["muf_mhz"])
    table = skywave.modes(*CIRCUIT, 9600.0, HOURS[7], f107_sfu=120.0, long_path="short")
    assert table["muf_mhz"].max() == muf[7]


def test_muf_takes_scalars_grids_and_pairs() -> None:
    one = skywave.muf(*CIRCUIT, HOURS[7], f107_sfu=120.0)
    assert np.ndim(one) == 0
    lat = np.array([45.0, 30.0, -10.0])
    grid = skywave.muf(lat[:, None], 25.0, 58.4, 26.7, HOURS, f107_sfu=120.0)
    assert grid.shape == (3, 24)
    assert grid[0, 7] == one
    pairs = skywave.muf(lat, 25.0, 58.4, 26.7, HOURS[:3], f107_sfu=120.0)
    np.testing.assert_array_equal(pairs, np.diagonal(grid[:, :3]))


def test_muf_passes_nan_and_refuses_nonsense() -> None:
    assert np.isnan(skywave.muf(np.nan, 25.0, 58.4, 26.7, HOURS[0], f107_sfu=120.0))
    with pytest.raises(fh.InputError, match="min_elevation_deg = 40"):
        skywave.muf(*CIRCUIT, HOURS[0], f107_sfu=120.0, min_elevation_deg=40.0)
    with pytest.raises(fh.InputError, match="f107_sfu = 10"):
        skywave.muf(*CIRCUIT, HOURS[0], f107_sfu=10.0)


def test_more_sun_a_higher_muf_and_day_above_night() -> None:
    # common practice, no source: what every listener knows of the winter season
    low = skywave.muf(*CIRCUIT, "2020-12-15T10:00Z", f107_sfu=70.0)
    high = skywave.muf(*CIRCUIT, "2020-12-15T10:00Z", f107_sfu=180.0)
    night = skywave.muf(*CIRCUIT, "2020-12-15T02:00Z", f107_sfu=180.0)
    assert night < low < high


def test_mode_table_wants_one_circuit() -> None:
    with pytest.raises(fh.InputError, match="freq_khz must be one number"):
        skywave.modes(*CIRCUIT, [9600.0, 9700.0], HOURS[0], f107_sfu=120.0)  # type: ignore[arg-type]
    with pytest.raises(fh.InputError, match="utc must be one number"):
        skywave.modes(*CIRCUIT, 9600.0, HOURS, f107_sfu=120.0)


@pytest.mark.parametrize("engine", ["rays", "mirror"])
@pytest.mark.parametrize("tx_lat_deg", [0.0, -30.0, -55.0])
def test_a_high_horizon_leaves_a_mode_however_far(engine: str, tx_lat_deg: float) -> None:
    r = fh.reception.likelihood(
        tx_lat_deg, 20.0, 58.0, 26.0, 9500.0, HOURS, power_kw=100.0, f107_sfu=100.0,
        min_elevation_deg=30.0, engine=engine,
    )  # fmt: skip
    for name in ("snr_db", "elevation_deg", "muf_mhz", "freq_over_muf"):
        assert np.isfinite(r[name]).all(), name
    assert (r["hops"] >= 1).all()

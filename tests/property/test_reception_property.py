"""What must hold of any circuit at any time."""

import numpy as np
from hypothesis import example, given
from hypothesis import strategies as st

import farhear as fh
from farhear.reception import likelihood

lats, lons = st.floats(-90.0, 90.0), st.floats(-180.0, 180.0)
circuits = st.fixed_dictionaries(
    {
        "tx_lat_deg": lats,
        "tx_lon_deg": lons,
        "rx_lat_deg": lats,
        "rx_lon_deg": lons,
        "freq_khz": st.floats(1600.0, 30000.0),
        "utc": st.integers(-2_200_000_000, 1_893_000_000).map(
            lambda t: fh.UtcTimes(np.array(float(t)))
        ),
        "f107_sfu": st.floats(63.0, 260.0),
        "power_kw": st.floats(0.001, 1000.0),
    }
)


# Found here: 9000 km on 1600 kHz with every mode screened by the E layer, once minus infinity.
SCREENED: dict[str, object] = {
    "tx_lat_deg": 0.0,
    "tx_lon_deg": 0.0,
    "rx_lat_deg": 0.0,
    "rx_lon_deg": 81.0,
    "freq_khz": 1600.0,
    "utc": fh.UtcTimes(np.array(0.0)),
    "f107_sfu": 63.0,
    "power_kw": 1.0,
}


@given(circuits)
@example(SCREENED)
def test_every_answer_is_finite_and_in_bounds(circuit: dict[str, object]) -> None:
    r = likelihood(**circuit)  # type: ignore[arg-type]
    for name in r:
        assert np.isfinite(r[name]).all(), name
    assert 0.0 <= float(r["likelihood"]) <= 1.0
    assert float(r["snr_lower_decile_db"]) < float(r["snr_db"]) < float(r["snr_upper_decile_db"])
    assert 0.0 <= float(r["elevation_deg"]) <= 90.0
    assert int(r["hops"]) >= 1
    assert float(r["absorption_db"]) > 0.0
    assert 0.0 < float(r["muf_mhz"]) < 120.0


@given(circuits, st.floats(1.01, 100.0))
@example(SCREENED, 2.0)
def test_more_power_never_hurts(circuit: dict[str, object], times: float) -> None:
    less = likelihood(**circuit)  # type: ignore[arg-type]
    circuit = {**circuit, "power_kw": circuit["power_kw"] * times}  # type: ignore[operator]
    more = likelihood(**circuit)  # type: ignore[arg-type]
    assert float(more["likelihood"]) >= float(less["likelihood"]) - 1e-6
    if float(less["snr_db"]) > -20.0:  # modes far below what can be heard are not all looked at
        gained = float(more["snr_db"] - less["snr_db"])
        np.testing.assert_allclose(gained, 10 * np.log10(times), atol=0.02)


@given(circuits)
def test_both_paths_are_at_least_the_short_one(circuit: dict[str, object]) -> None:
    short = likelihood(**circuit, long_path="short")  # type: ignore[arg-type]
    both = likelihood(**circuit, long_path="both")  # type: ignore[arg-type]
    # half a decibel: the long way may reach higher latitudes, whose wider deciles shift the median
    assert float(both["field_dbuv_m"]) >= float(short["field_dbuv_m"]) - 0.5

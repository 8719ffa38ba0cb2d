"""Neighbours on the air: what they take, which sideband helps, and who does not matter."""

import numpy as np
import pandas as pd
import pytest

import farhear as fh
from farhear.listening import MODES
from farhear.reception import LIMITS, likelihood

CIRCUIT = (45.0, 25.0, 58.4, 26.7)
NEIGHBOUR = {"tx_lat_deg": 40.0, "tx_lon_deg": 20.0, "freq_khz": 9600.0, "power_kw": 250.0}


def run(*interferers: dict[str, object], **changes: object):  # type: ignore[no-untyped-def]
    options: dict[str, object] = {"power_kw": 100.0, "f107_sfu": 120.0, **changes}
    freq = options.pop("freq_khz", 9600.0)
    utc = options.pop("utc", "2025-03-15T18:00Z")
    return likelihood(*CIRCUIT, freq, utc, interferers=list(interferers) or None, **options)  # type: ignore[arg-type]


def test_a_station_on_the_channel_takes_most_of_it() -> None:
    alone, both = run(), run(NEIGHBOUR)
    assert float(alone["likelihood"]) > 0.95
    # nearly the same field: S/(N+I) is about the ratio of the two fields
    other = likelihood(
        *(40.0, 20.0, 58.4, 26.7), 9600.0, "2025-03-15T18:00Z", power_kw=250.0, f107_sfu=120.0
    )
    ratio = float(alone["field_dbuv_m"] - other["field_dbuv_m"])
    assert float(both["snr_db"]) == pytest.approx(ratio, abs=4.0)
    assert float(both["likelihood"]) < 0.5
    assert LIMITS[int(both["limit"])] == "interference"
    # the wanted field is what it was; its median moves a little with the deciles of the whole
    assert float(both["field_dbuv_m"]) == pytest.approx(float(alone["field_dbuv_m"]), abs=0.5)


@pytest.mark.parametrize(("offset_khz", "mode"), [(5.0, "LSB"), (-5.0, "USB")])
def test_the_sideband_away_from_the_neighbour_is_taken(offset_khz: float, mode: str) -> None:
    r = run({**NEIGHBOUR, "freq_khz": 9600.0 + offset_khz})
    assert MODES[int(r["demodulation"])] == mode
    assert float(r["demodulation_gain_db"]) > 5.0
    assert float(r["likelihood"]) > float(run(NEIGHBOUR)["likelihood"])


def test_neighbours_on_both_sides_leave_no_good_sideband() -> None:
    up, down = ({**NEIGHBOUR, "freq_khz": 9600.0 + d} for d in (5.0, -5.0))
    assert float(run(up, down)["demodulation_gain_db"]) < float(run(up)["demodulation_gain_db"])


def test_far_off_or_silent_stations_do_not_matter() -> None:
    alone = run()
    for other in (
        {**NEIGHBOUR, "freq_khz": 9640.0},
        {**NEIGHBOUR, "on_air": False},
    ):
        np.testing.assert_allclose(run(other)["snr_db"], alone["snr_db"], atol=1e-9)
    near = run({**NEIGHBOUR, "freq_khz": 9620.0})
    assert float(near["snr_db"]) > float(alone["snr_db"]) - 3.0


def test_on_the_air_by_hour_several_channels_and_a_table() -> None:
    hours = fh.utc(
        np.datetime64("2025-03-15T17") + np.arange(4).astype("timedelta64[h]"), naive_is_utc=True
    )
    freq = np.array([[9600.0], [11700.0]])
    row = {**NEIGHBOUR, "on_air": np.array([True, False, True, False])}
    r = run(row, freq_khz=freq, utc=hours)
    alone = run(freq_khz=freq, utc=hours)
    lost = (alone["snr_db"] - r["snr_db"]).to_numpy()
    assert (lost[0, [0, 2]] > 10).all()
    np.testing.assert_allclose(lost[0, [1, 3]], 0.0, atol=1e-9)
    np.testing.assert_allclose(lost[1], 0.0, atol=1e-9)
    table = pd.DataFrame([NEIGHBOUR])
    by_table = likelihood(
        *CIRCUIT,
        9600.0,
        "2025-03-15T18:00Z",
        power_kw=100.0,
        f107_sfu=120.0,
        interferers=table,
    )
    np.testing.assert_array_equal(by_table["snr_db"], run(NEIGHBOUR)["snr_db"])


def test_full_carrier_upper_sideband_is_never_taken_as_lower() -> None:
    r = run(emission="H3E")
    assert MODES[int(r["demodulation"])] == "USB"
    up = run({**NEIGHBOUR, "freq_khz": 9605.0}, emission="H3E")
    assert MODES[int(up["demodulation"])] != "LSB"
    # one sideband of the same programme: 3 dB less than both
    assert float(run()["snr_db"] - r["snr_db"]) == pytest.approx(3.01, abs=0.1)


def test_incomplete_rows_are_named() -> None:
    with pytest.raises(fh.InputError, match=r"interferers\[0\] has no power_kw"):
        run({"tx_lat_deg": 1.0, "tx_lon_deg": 1.0, "freq_khz": 9600.0})

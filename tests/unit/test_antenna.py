"""Descriptions, notation, tables and refusals of the antenna gains."""

import doctest
import math

import numpy as np
import pytest

import farhear as fh
from farhear import antenna

FREQ_KHZ = 9_600.0


def test_doctests() -> None:
    assert doctest.testmod(antenna).failed == 0


@pytest.mark.parametrize(
    "code",
    [
        "HR 4/2/0.5",
        "hr4/2/.5",
        "  H R 4 / 2 / 0.50 ",
        "HRS 4/2/0.5",
        "HR(S) 4/2/0.5",
        "AHR 4/2/0.5",
        "HRR 4/2/0.5",
        "HRRS 4/2/0.5",
    ],
)
def test_curtain_notation(code: str) -> None:
    found = antenna.parse(code)
    assert (found.columns, found.rows, found.height_wl) == (4, 2, 0.5)
    assert found.kind == "curtain"
    assert found.front_back_db == 20.0


def test_other_notation() -> None:
    assert antenna.parse("H 2/1/0.3").front_back_db == 0.0
    assert antenna.parse("dipole 0.25") == antenna.dipole(0.25)
    assert antenna.parse("Crossed 0.4").height_wl == 0.4
    assert antenna.parse("log-periodic 50").width_deg == 50.0
    assert antenna.parse("isotropic") is antenna.ISOTROPIC
    assert antenna.parse("non-directional") is antenna.NON_DIRECTIONAL
    assert antenna.parse("HR 4/4/1", slew_deg=-30.0, design_khz=7200.0).design_khz == 7200.0


@pytest.mark.parametrize(
    ("code", "says"),
    [
        ("", "expected a curtain"),
        ("HR 4/4", "expected a curtain"),
        ("HR 4/4/0.5/2", "expected a curtain"),
        ("AH 4/4/0.5", "expected a curtain"),
        ("HR x/4/0.5", "expected a curtain"),
        ("HR 4/4/-1", "expected a curtain"),
        ("yagi", "expected a curtain"),
        ("monopole 3", "expected a curtain"),
        ("HR 0/4/0.5", "columns = 0 is outside [1, 16]"),
        ("HR 4/40/0.5", "rows = 40 is outside [1, 16]"),
        ("HR 4/4/50", "height_wl = 50 is outside [0.05, 5]"),
    ],
)
def test_unreadable_codes_say_what_was_expected(code: str, says: str) -> None:
    with pytest.raises(fh.InputError) as caught:
        antenna.parse(code)
    assert repr(code) in str(caught.value)
    assert says in str(caught.value)


def test_height_in_metres() -> None:
    # 25 m at 6 MHz: wavelength 299.792458 / 6 = 49.97 m
    a = antenna.curtain(2, 2, height_m=25.0, design_khz=6000.0)
    assert a.height_wl == pytest.approx(25.0 / 49.9654097, rel=1e-8)
    with pytest.raises(fh.InputError, match="design_khz"):
        antenna.dipole(height_m=20.0)
    with pytest.raises(fh.InputError, match="not both"):
        antenna.dipole(0.5, height_m=20.0, design_khz=6000.0)


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"kind": "horn"}, "kind"),
        ({"kind": "curtain", "columns": 1, "slew_deg": 10.0}, "two columns"),
        ({"kind": "curtain", "columns": 1.5}, "whole number"),
        ({"kind": "curtain", "height_wl": math.nan}, "height_wl"),
        ({"kind": "curtain", "height_wl": "high"}, "height_wl"),
        ({"kind": "typical", "width_deg": 5.0}, "width_deg"),
        ({"kind": "typical", "high_angle_share": 1.5}, "high_angle_share"),
        ({"kind": "curtain", "conductivity_s_m": -1.0}, "conductivity"),
        ({"kind": "curtain", "sd_db": -1.0}, "sd_db"),
        ({"kind": "curtain", "design_khz": 9.6}, "freq_khz"),
    ],
)
def test_impossible_descriptions(fields: dict[str, object], says: str) -> None:
    with pytest.raises(fh.InputError, match=says):
        antenna.Antenna(**fields)  # type: ignore[arg-type]


def test_frequency_far_from_the_design_is_refused() -> None:
    a = antenna.curtain(2, 2, 0.5, design_khz=6000.0)
    with pytest.raises(fh.InputError, match="design"):
        antenna.gain_dbi(a, 15_000.0, 0.0, 10.0)
    with pytest.raises(fh.InputError, match="kHz, not MHz"):
        antenna.gain_dbi(a, 6.0, 0.0, 10.0)
    with pytest.raises(fh.InputError, match="elevation_deg"):
        antenna.gain_dbi(a, 6000.0, 0.0, -1.0)


def test_shapes_missing_values_and_views() -> None:
    off = np.linspace(-180.0, 180.0, 12).reshape(3, 4)
    elevation = np.array([5.0, math.nan, 20.0, 40.0])
    gain = antenna.gain_dbi("HR 2/2/0.5", FREQ_KHZ, off, elevation)
    assert gain.shape == (3, 4)
    assert np.isnan(gain[:, 1]).all()
    assert np.isfinite(gain[:, 0]).all()
    np.testing.assert_array_equal(antenna.gain_dbi("HR 2/2/0.5", FREQ_KHZ, off.T, 9.0).T,
                                  antenna.gain_dbi("HR 2/2/0.5", FREQ_KHZ, off, 9.0))  # fmt: skip
    assert isinstance(antenna.gain_dbi("isotropic", FREQ_KHZ, 0.0, 0.0), np.float64)
    assert antenna.gain_dbi("isotropic", FREQ_KHZ, 0.0, 0.0) == 0.0
    assert antenna.gain_dbi("dipole", FREQ_KHZ, 0.0, 0.0) == -200.0  # a perfect null


def test_isotropic_table_is_zero() -> None:
    table = antenna.elevation_table_dbi("isotropic", [FREQ_KHZ], math.nan)
    np.testing.assert_array_equal(table.gain_dbi, 0.0)
    assert table.sd_db[0] == 0.0


def test_table_of_a_schedule() -> None:
    t = antenna.elevation_table_dbi(
        ["HR 4/4/0.5", "", None, "non-directional", "HR 4/4/0.5", math.nan],
        [9600.0, 9600.0, 9600.0, 3300.0, 9600.0, math.nan],
        [0.0, 0.0, math.nan, math.nan, math.nan, 0.0],
        slew_deg=[15.0, 0.0, math.nan, 10.0, 0.0, 0.0],
        power_kw=[250.0, 250.0, 250.0, 10.0, 250.0, math.nan],
    )
    assert t.gain_dbi.shape == (6, 46)
    assert t.basis == ["code", "azimuth", "unknown", "code", "unknown", "azimuth"]
    np.testing.assert_array_equal(t.gain_dbi[2], t.gain_dbi[4])
    assert np.isnan(t.gain_dbi[5]).all()
    assert t.gain_dbi[0].max() > t.gain_dbi[1].max() > t.gain_dbi[2].max()
    assert t.sd_db[:5] == pytest.approx([2.0, 4.5, 8.0, 4.0, 8.0], abs=0.1)
    # off the beam, and behind, one knows less
    off = antenna.elevation_table_dbi("HR 4/4/0.5", [FREQ_KHZ] * 2, [0.0, 180.0])
    assert off.sd_db == pytest.approx([2.0, 5.0], abs=0.1)


def test_unreadable_codes_in_a_schedule() -> None:
    with pytest.raises(fh.InputError, match="what is this"):
        antenna.elevation_table_dbi(["what is this"], FREQ_KHZ, [0.0])
    lenient = antenna.elevation_table_dbi(
        ["what is this", ""], FREQ_KHZ, [0.0, 0.0], unreadable="typical"
    )
    assert lenient.basis == ["azimuth", "azimuth"]
    with pytest.raises(fh.InputError, match="unreadable"):
        antenna.elevation_table_dbi([""], FREQ_KHZ, [0.0], unreadable="perhaps")
    with pytest.raises(fh.InputError, match="neither a description nor a code"):
        antenna.elevation_table_dbi([7], FREQ_KHZ, [0.0])  # type: ignore[list-item]
    with pytest.raises(fh.InputError, match="broadcast"):
        antenna.elevation_table_dbi(["", ""], [FREQ_KHZ] * 3, 0.0)
    with pytest.raises(fh.InputError, match="floor_db"):
        antenna.elevation_table_dbi([""], FREQ_KHZ, 0.0, floor_db=-1.0)


def test_no_rows() -> None:
    empty = antenna.elevation_table_dbi([], np.empty(0), np.empty(0))
    assert empty.gain_dbi.shape == (0, 46)
    assert empty.sd_db.shape == (0,)
    assert empty.basis == []


def test_typical_beam_is_as_high_as_it_says() -> None:
    """The normalisation of the usual profile: the peak is the peak, at 10 degrees."""
    a = antenna.typical(FREQ_KHZ, 250.0)
    gain = antenna.gain_dbi(a, FREQ_KHZ, 0.0, np.arange(0.0, 90.0, 0.01))
    assert gain.max() == pytest.approx(17.0, abs=1e-4)
    assert 0.01 * int(gain.argmax()) == pytest.approx(9.92, abs=0.02)
    half = antenna.gain_dbi(a, FREQ_KHZ, [-22.0, 22.0], 9.92)
    assert half == pytest.approx(14.0, abs=0.05)


def test_typical_passes_smoothly_with_power_and_frequency() -> None:
    """A jump would not shrink as the steps do."""

    def steepest(n: int, *, power: bool) -> float:
        freq = FREQ_KHZ if power else np.geomspace(2300.0, 26000.0, n)
        kw = np.geomspace(1.0, 1000.0, n) if power else 100.0
        table = antenna.elevation_table_dbi(None, freq, 10.0, power_kw=kw).gain_dbi
        return float(np.abs(np.diff(table, axis=0)).max())

    for power in (True, False):
        assert steepest(2001, power=power) == pytest.approx(
            steepest(1001, power=power) / 2, rel=0.05
        )

"""Behaviour of the listening subject: shapes, words, missing values, errors."""

import doctest

import numpy as np
import pytest
import xarray as xr

import farhear as fh
from farhear import listening, noise
from farhear.listening import (
    LADDER,
    MODES,
    choose_mode,
    interference_source,
    ladder,
    mode_reason,
    relative_protection_db,
    sinpo,
    sinpo_text,
)


def test_examples_in_the_docstrings() -> None:
    result = doctest.testmod(listening)
    assert result.failed == 0
    assert result.attempted >= 10


def test_ladder_shapes_and_missing_values() -> None:
    assert list(LADDER.values()) == sorted(LADDER.values())
    assert ladder(20.0, 10.0, 8.0).shape == (5,)
    p = ladder(np.array([[10.0], [np.nan]]), 10.0, np.array([5.0, 6.0, 7.0]))
    assert p.shape == (2, 3, 5)
    assert np.isnan(p[1]).all()
    assert ((p[0] > 0.0) & (p[0] < 1.0)).all()


@pytest.mark.parametrize("lower", [0.0, -3.0])
def test_a_decile_value_in_place_of_a_deviation_is_refused(lower: float) -> None:
    with pytest.raises(fh.InputError, match=r"lower_decile_db = .* a deviation from the median"):
        ladder(20.0, lower, 8.0)


def test_protection_shapes_and_errors() -> None:
    assert relative_protection_db([[5.0], [np.nan]], [2.5, 3.5, 4.5]).shape == (2, 3)
    assert np.isnan(relative_protection_db(np.nan))
    with pytest.raises(fh.InputError, match=r"audio_khz = 4500 is outside"):
        relative_protection_db(5.0, 4500.0)


def test_modes_broadcast_and_missing_noise_gives_no_mode() -> None:
    found = choose_mode([0.0, np.nan, 0.0], upper_db=[20.0, 20.0, np.nan], lower_db=0.0)
    assert [MODES[int(b)] for b in found.best] == ["LSB", "none", "AM"]
    assert np.isnan(found.am_db[1])
    assert found.gain_db[2] == 0.0
    with pytest.raises(fh.InputError, match="emission = 'FM' is none of"):
        choose_mode(0.0, emission="FM")
    with pytest.raises(fh.InputError, match="suppression_db = 80 is outside"):
        choose_mode(0.0, suppression_db=80.0)
    with pytest.raises(fh.InputError, match="mode = 'CW' is none of"):
        listening.mode_cost_db("CW")


# what is heard -> the words that must be in the sentence
REASONS: list[tuple[dict[str, object], list[str]]] = [
    ({"upper_db": 14.0, "upper_offset_khz": 5.0}, ["5 kHz up", "only the upper", "take the lower"]),
    ({"lower_db": 14.0, "lower_offset_khz": -5.0}, ["5 kHz down", "take the upper", "11 dB"]),
    ({"lower_db": 14.0, "lower_offset_khz": 2.0}, ["2 kHz down", "mostly", "take the upper"]),
    ({"upper_db": 14.0}, ["next channel up", "take the lower"]),
    ({"upper_db": 20.0, "lower_db": 5.0}, ["both sides", "take the lower sideband"]),
    ({"upper_db": 20.0, "lower_db": 20.0}, ["both sides", "stay with AM", "lose 3.0 dB"]),
    ({"cochannel_db": 20.0}, ["on the channel itself", "stay with AM"]),
    ({"cochannel_db": 20.0, "upper_db": 2.0}, ["on the channel itself"]),
    ({"upper_db": -5.0}, ["weaker than the noise", "stay with AM"]),
    ({}, ["no neighbour counts", "3 dB"]),
    ({"emission": "H3E"}, ["only the upper sideband is sent", "USB", "LSB cannot work"]),
    ({"emission": "H3E", "upper_db": 30.0}, ["only the upper sideband is sent", "AM"]),
    ({"emission": "J3E upper"}, ["no carrier", "take USB"]),
    ({"emission": "J3E lower"}, ["no carrier", "take LSB"]),
    ({"emission": "digital"}, ["digital", "no sound"]),
]


@pytest.mark.parametrize(("heard", "words"), REASONS)
def test_the_reason_names_what_decides(heard: dict[str, object], words: list[str]) -> None:
    sentence = mode_reason(0.0, **heard)  # type: ignore[arg-type]
    assert all(word in sentence for word in words), sentence
    best = MODES[int(choose_mode(0.0, **{k: v for k, v in heard.items() if "khz" not in k}).best)]  # type: ignore[arg-type]
    assert ("AM" in sentence and "stay" in sentence) <= (best == "AM"), sentence


def test_the_reason_admits_that_the_noise_is_missing() -> None:
    assert "not known" in mode_reason(np.nan)


def test_interference_skips_who_is_not_on_the_air() -> None:
    field = np.array([[40.0, np.nan, 40.0], [np.nan, np.nan, 40.0]])
    source = interference_source(field, 10.0, 8.0, offset_khz=[5.0, -10.0], freq_khz=9600.0)
    fa = np.asarray(source.fa_db)
    assert fa.shape == (3,)
    assert fa[1] == -np.inf
    assert source.upper_decile_db[1] == 0.0
    alone = interference_source(40.0 * np.ones((1,)), 10.0, 8.0, offset_khz=[5.0], freq_khz=9600.0)
    assert fa[0] == float(alone.fa_db)
    assert fa[2] > fa[0]
    assert float(alone.lower_decile_db) == pytest.approx(10.0)
    assert float(alone.upper_decile_db) == pytest.approx(8.0)


def test_interference_goes_into_the_sum_of_noise() -> None:
    nobody = interference_source([np.nan], 10.0, 8.0, offset_khz=[5.0], freq_khz=9600.0)
    home = noise.man_made("residential", 9600.0)
    assert noise.combine(home, nobody) == pytest.approx(noise.combine(home))


def test_interference_keeps_labels_whatever_their_order() -> None:
    rng = np.random.default_rng(5)
    values = rng.uniform(10.0, 60.0, (4, 2, 3))
    field = xr.DataArray(
        values, dims=("hour", "interferer", "day"), coords={"hour": [1, 2, 3, 4], "day": [7, 8, 9]}
    )
    options = {"offset_khz": [5.0, -10.0], "freq_khz": 9600.0, "mode": "LSB"}
    labelled = interference_source(field, 10.0, 8.0, **options)  # type: ignore[arg-type]
    plain = interference_source(values.transpose(1, 0, 2), 10.0, 8.0, **options)  # type: ignore[arg-type]
    assert labelled.fa_db.dims == ("hour", "day")
    assert list(labelled.fa_db["day"]) == [7, 8, 9]
    for a, b in zip(labelled, plain, strict=True):
        np.testing.assert_array_equal(a.to_numpy(), b)
    with pytest.raises(fh.InputError, match='none is named "interferer"'):
        interference_source(field.rename(interferer="x"), 10.0, 8.0, **options)  # type: ignore[arg-type]


def test_interference_broadcasts_frequencies_over_instants() -> None:
    field = np.full((2, 3), 40.0)
    freq = np.array([[6000.0], [9600.0]])
    grid = interference_source(field, 10.0, 8.0, offset_khz=[5.0, 10.0], freq_khz=freq)
    assert grid.fa_db.shape == (2, 3)
    one = interference_source(field[:, 0], 10.0, 8.0, offset_khz=[5.0, 10.0], freq_khz=9600.0)
    assert grid.fa_db[1, 2] == float(one.fa_db)


def test_interference_names_what_is_wrong() -> None:
    with pytest.raises(fh.InputError, match="their first axis is the interferer"):
        interference_source([40.0, 41.0], 10.0, 8.0, offset_khz=[5.0], freq_khz=9600.0)
    with pytest.raises(fh.InputError, match="kHz, not MHz"):
        interference_source([40.0], 10.0, 8.0, offset_khz=[5.0], freq_khz=9.6)
    with pytest.raises(fh.InputError, match=r"offset_khz\[0\] is not a number"):
        interference_source([40.0], 10.0, 8.0, offset_khz=[np.nan], freq_khz=9600.0)
    with pytest.raises(fh.InputError, match="a deviation from the median"):
        interference_source([40.0], -10.0, 8.0, offset_khz=[5.0], freq_khz=9600.0)


CALM: dict[str, object] = {
    "field_dbuv_m": 50.0,
    "field_lower_db": 11.0,
    "field_upper_db": 8.0,
    "snr_db": 33.0,
    "noise_lower_db": 5.0,
    "noise_upper_db": 10.0,
    "freq_over_muf": 0.6,
}


def test_report_shapes_missing_values_and_text() -> None:
    r = sinpo(
        **{**CALM, "snr_db": np.array([[33.0], [np.nan]]), "modes": np.array([1.0, 2.0, 3.0])}
    )  # type: ignore[arg-type]
    assert r.overall.shape == (2, 3, 5)
    assert r.code.shape == (2, 3, 5)
    assert np.isnan(r.overall[1]).all()
    assert (r.code[1] == 0).all()
    texts = sinpo_text(r)
    assert texts.shape == (2, 3)
    assert (texts[1] == "?").all()
    assert texts[0, 0] == sinpo_text(sinpo(**CALM))  # type: ignore[arg-type]


def test_report_converts_the_bandwidth() -> None:
    wide = sinpo(**CALM)  # type: ignore[arg-type]
    narrow = sinpo(**{**CALM, "snr_db": 43.0, "bandwidth_hz": 900.0})  # type: ignore[arg-type]
    np.testing.assert_allclose(wide.noise, narrow.noise, atol=1e-12)


def test_report_refuses_impossible_values() -> None:
    with pytest.raises(fh.InputError, match="freq_over_muf = 0 is outside"):
        sinpo(**{**CALM, "freq_over_muf": 0.0})  # type: ignore[arg-type]
    with pytest.raises(fh.InputError, match="modes = 0 is outside"):
        sinpo(**{**CALM, "modes": 0})  # type: ignore[arg-type]


def test_empty_arrays_stay_empty() -> None:
    assert ladder(np.empty(0), 10.0, 8.0).shape == (0, 5)
    assert relative_protection_db(np.empty(0)).shape == (0,)
    assert choose_mode(np.empty(0)).best.shape == (0,)
    assert sinpo(**{**CALM, "snr_db": np.empty(0)}).code.shape == (0, 5)  # type: ignore[arg-type]
    none = interference_source(
        np.empty((0, 3)), np.empty((0, 3)), np.empty((0, 3)), offset_khz=[], freq_khz=9600.0
    )
    assert (np.asarray(none.fa_db) == -np.inf).all()

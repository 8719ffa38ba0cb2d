"""What must hold of any signal, noise and neighbours."""

import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from farhear import noise
from farhear.listening import (
    choose_mode,
    interference_source,
    ladder,
    mode_cost_db,
    relative_protection_db,
    sinpo,
    upper_share,
)

levels = st.floats(-60.0, 100.0)
deciles = st.floats(0.5, 30.0)
offsets = st.floats(-100.0, 100.0)
audios = st.floats(2.0, 6.0)


@given(levels, deciles, deciles, st.floats(100.0, 20000.0))
def test_the_ladder_falls_and_answers_to_the_signal(
    snr: float, lower: float, upper: float, bandwidth: float
) -> None:
    p = ladder(snr, lower, upper, bandwidth)
    assert (np.diff(p) <= 0.0).all()
    assert ((p >= 0.0) & (p <= 1.0)).all()
    assert (ladder(snr + 1.0, lower, upper, bandwidth) >= p).all()


@given(offsets, audios)
def test_protection_is_even_and_grows_with_the_audio_bandwidth(offset: float, audio: float) -> None:
    a = float(relative_protection_db(offset, audio))
    assert a == float(relative_protection_db(-offset, audio))
    assert float(relative_protection_db(offset, audio * 1.1 if audio < 5 else audio)) >= a
    assert a <= 14.0 + 8.0 * max(10 * math.log10(audio / 2.8), 0.0) + 0.1


@given(offsets, st.floats(-1e-4, 1e-4), audios)
def test_nothing_jumps_when_a_carrier_drifts(offset: float, step: float, audio: float) -> None:
    """The steepest part is the whistle near 0.05 kHz: 150 dB per kHz."""
    here, there = relative_protection_db([offset, offset + step], audio)
    assert abs(here - there) <= 200.0 * abs(step) + 1e-9
    mine, other = upper_share([offset, offset + step])
    assert abs(mine - other) <= 10.0 * abs(step) + 1e-12


@given(levels, levels, levels, levels, st.floats(30.0, 60.0))
def test_mirror_images_swap_the_sidebands(
    n: float, up: float, down: float, on: float, suppression: float
) -> None:
    a = choose_mode(n, upper_db=up, lower_db=down, cochannel_db=on, suppression_db=suppression)
    b = choose_mode(n, upper_db=down, lower_db=up, cochannel_db=on, suppression_db=suppression)
    np.testing.assert_allclose(a[:4], [b.am_db, b.usb_db, b.lsb_db, b.gain_db], atol=1e-9)


@given(levels, levels, levels, levels, st.floats(30.0, 60.0))
def test_a_sideband_gains_at_most_the_suppression_and_never_costs_when_chosen(
    n: float, up: float, down: float, on: float, suppression: float
) -> None:
    c = choose_mode(n, upper_db=up, lower_db=down, cochannel_db=on, suppression_db=suppression)
    assert 0.0 <= float(c.gain_db) <= suppression - 6.0
    # either sideband is at most 6.02 dB worse than AM, a little less for what leaks
    assert float(max(c.lsb_db, c.usb_db) - c.am_db) <= 20 * math.log10(2.0) + 1e-9
    assert float(max(c.lsb_db, c.usb_db) - c.am_db) >= 10 * math.log10(2.0) - 1e-6


@given(
    st.lists(st.tuples(st.floats(-20.0, 90.0), deciles, deciles, offsets), min_size=1, max_size=40),
    st.sampled_from(["AM", "LSB", "USB"]),
)
def test_one_more_station_never_makes_it_quieter_on_average(
    stations: list[tuple[float, float, float, float]], mode: str
) -> None:
    field, lower, upper, offset = (np.array(column) for column in zip(*stations, strict=True))

    def mean_db(count: int) -> float:
        s = interference_source(
            field[:count],
            lower[:count],
            upper[:count],
            offset_khz=offset[:count],
            freq_khz=9600.0,
            mode=mode,
        )
        return float(s.fa_db) + (float(s.upper_decile_db) / 1.2815515655) ** 2 * math.log(10) / 20

    assert mean_db(len(stations)) >= mean_db(len(stations) - 1) - 1e-6


@given(levels, deciles, deciles, st.floats(-20.0, 20.0), st.sampled_from(["AM", "LSB", "USB"]))
def test_a_rising_station_raises_the_noise_decibel_by_decibel_at_most(
    field: float, lower: float, upper: float, offset: float, mode: str
) -> None:
    home = noise.Noise(45.0, 10.6, 5.3)

    def total(level: float) -> float:
        s = interference_source(
            [level], lower, upper, offset_khz=[offset], freq_khz=9600.0, mode=mode
        )
        return float(noise.combine(home, s).fa_db) + mode_cost_db(mode)

    assert total(field + 0.01) - total(field) <= 0.02


reports = st.fixed_dictionaries(
    {
        "field_dbuv_m": st.floats(-20.0, 90.0),
        "field_lower_db": st.floats(0.0, 30.0),
        "field_upper_db": st.floats(0.0, 30.0),
        "snr_db": st.floats(-40.0, 80.0),
        "noise_lower_db": st.floats(0.0, 20.0),
        "noise_upper_db": st.floats(0.0, 20.0),
        "signal_to_interference_db": st.one_of(st.floats(-40.0, 80.0), st.just(math.inf)),
        "interference_lower_db": st.floats(0.0, 20.0),
        "interference_upper_db": st.floats(0.0, 20.0),
        "freq_over_muf": st.floats(0.05, 3.0),
        "modes": st.floats(1.0, 5.0),
    }
)


@given(reports)
def test_reports_are_distributions_and_never_a_single_digit(values: dict[str, float]) -> None:
    r = sinpo(**values)
    for p in r[:5]:
        assert abs(p.sum() - 1.0) < 1e-12
        assert (p > 0.0).all()
        assert (p < 1.0).all()
    degrading = np.minimum.reduce(list(r.code[1:4]))
    assert r.code[4] == min(degrading, r.code[0] + 1)
    assert 0.0 < float(r.code_probability) <= min(p.max() for p in r[:4]) + 1e-12
    # the overall digit is never better than a degrading one
    for p in (r.interference, r.noise, r.propagation):
        assert (np.cumsum(r.overall) >= np.cumsum(p) - 1e-12).all()


@given(reports, st.floats(0.0, 10.0))
def test_more_power_never_lowers_a_digit(values: dict[str, float], more_db: float) -> None:
    strong = dict(values)
    for name in ("field_dbuv_m", "snr_db", "signal_to_interference_db"):
        strong[name] += more_db
    for weak_p, strong_p in zip(sinpo(**values)[:5], sinpo(**strong)[:5], strict=True):
        assert (np.cumsum(strong_p) <= np.cumsum(weak_p) + 1e-12).all()


@given(reports)
def test_scalars_and_arrays_agree_bit_by_bit(values: dict[str, float]) -> None:
    one = sinpo(**values)
    many = sinpo(**{**values, "snr_db": np.full(3, values["snr_db"])})  # type: ignore[arg-type]
    for a, b in zip(one, many, strict=True):
        np.testing.assert_array_equal(np.broadcast_to(a, b.shape), b)

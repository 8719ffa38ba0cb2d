"""Listening against independent calculations: spectra, a demodulator, quadrature, chance."""

import math
from statistics import NormalDist

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import trapezoid
from scipy.interpolate import PchipInterpolator
from scipy.special import ndtr

from farhear import noise
from farhear.listening import (
    LADDER,
    choose_mode,
    interference_source,
    ladder,
    mode_cost_db,
    relative_protection_db,
    sinpo,
    upper_share,
)

DECILE = NormalDist().inv_cdf(0.9)


# ---- ladder ---------------------------------------------------------------------------------


def test_ladder_is_a_two_piece_normal() -> None:
    """Against the normal distribution of the Python standard library."""
    p = ladder(20.0, 12.0, 9.0)
    for value, rung in zip(p, LADDER.values(), strict=True):
        decile = 12.0 if rung <= 20.0 else 9.0
        assert value == pytest.approx(NormalDist(0.0, decile / DECILE).cdf(20.0 - rung), abs=1e-12)


def test_ladder_stands_near_the_density_list_for_sound_broadcasting() -> None:
    """Densities of ITU-R F.339 for A3E, just usable, marginal, good: 50, 64, 72-75 dB(Hz).

    From memory, weak; hence within 3 dB only.
    """
    in_9_khz = [density - 10 * math.log10(9000.0) for density in (50.0, 64.0, 73.5)]
    rungs = [LADDER[r] for r in ("language recognisable", "worth a report", "comfortable")]
    assert rungs == pytest.approx(in_9_khz, abs=3.0)


# ---- protection -----------------------------------------------------------------------------

# Relative protection of HF broadcasting channels: 1987 planning conference, from memory.
PLANNING = [(5.0, -3.0), (10.0, -35.0), (15.0, -49.0), (20.0, -54.0)]


@pytest.mark.parametrize(("offset_khz", "db"), PLANNING)
def test_planning_values_are_met_on_both_sides(offset_khz: float, db: float) -> None:
    assert relative_protection_db([offset_khz, -offset_khz], 2.8) == pytest.approx([db, db])


def spectral_estimate_db(offset_khz: float, audio_khz: float) -> float:
    """Disturbance of the audio against the same at zero offset, from power spectra.

    Programme: density 1/(1 + a^2), a in kHz, 50 Hz to 4.5 kHz, depth 30 % (rms 0.3 / sqrt 2).
    Receiver: in-phase detector, fourth-order audio filter. A beat of the carriers fades out below
    150 Hz at 6 dB an octave, as broadcast audio does (47 CFR 73.756). Trapezoids, 2 Hz apart.
    """
    audio = np.arange(0.05, 4.5, 0.002)
    density = 1.0 / (1.0 + audio**2)
    density /= trapezoid(density, audio)

    def heard(at_khz: NDArray[np.float64] | float) -> NDArray[np.float64]:
        return 1.0 / (1.0 + (np.abs(np.asarray(at_khz)) / audio_khz) ** 8)

    def disturbance(d: float) -> float:
        beat = 0.5 * float(heard(d)) * d**2 / (d**2 + 0.15**2)
        far = trapezoid(density * heard(d + audio), audio)
        near = trapezoid(density * heard(d - audio), audio)
        return beat + 0.045 * float(far + near) / 4.0

    return 10 * math.log10(disturbance(offset_khz) / disturbance(0.0))


@pytest.mark.parametrize("offset_khz", [0.1, 0.3, 1.0, 2.0, 3.0, 4.0])
def test_whistles_follow_the_spectra(offset_khz: float) -> None:
    """The knots below 5 kHz come from this estimate: half of their last digit."""
    expected = spectral_estimate_db(offset_khz, 2.8)
    assert float(relative_protection_db(offset_khz, 2.8)) == pytest.approx(expected, abs=0.02)


def test_between_the_knots_the_whistle_is_within_half_a_decibel() -> None:
    for offset_khz in np.linspace(0.02, 4.0, 60):
        expected = spectral_estimate_db(float(offset_khz), 2.8)
        tolerance = 0.5 if offset_khz > 0.1 else 2.0
        assert float(relative_protection_db(offset_khz)) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(
    ("offset_khz", "apart_db"), [(5.0, 1.6), (10.0, 5.4), (15.0, 5.0), (20.0, 0.2)]
)
def test_spectra_and_planning_values_differ_as_stated(offset_khz: float, apart_db: float) -> None:
    expected = spectral_estimate_db(offset_khz, 2.8)
    difference = abs(float(relative_protection_db(offset_khz)) - expected)
    assert apart_db - 0.3 <= difference <= apart_db


@pytest.mark.parametrize("audio_khz", [2.0, 2.5, 3.5, 4.5, 6.0])
def test_audio_bandwidth_moves_the_curve_as_it_moves_the_spectra(audio_khz: float) -> None:
    """The stated error of the closed form; from 10 kHz up much less."""
    for offset_khz in [*np.arange(1.0, 10.0, 0.5), 10.0, 12.0, 15.0, 20.0]:
        moved = float(
            relative_protection_db(offset_khz, audio_khz) - relative_protection_db(offset_khz)
        )
        spectra = spectral_estimate_db(float(offset_khz), audio_khz) - spectral_estimate_db(
            float(offset_khz), 2.8
        )
        assert moved == pytest.approx(spectra, abs=1.0 if offset_khz >= 10.0 else 2.5)


def test_spline_agrees_with_a_general_library() -> None:
    """SciPy's monotone cubic through the same knots; away from the ends, where slopes are ours."""
    knots = np.array([0.0, 0.1, 0.3, 1.0, 2.0, 3.0, 4.0, 5.0, 10.0, 15.0, 20.0])
    theirs = PchipInterpolator(knots, relative_protection_db(knots))
    x = np.linspace(0.1, 15.0, 997)
    np.testing.assert_allclose(relative_protection_db(x), theirs(x), atol=1e-10)


def test_beyond_the_table_a_decade_is_eighty_decibels() -> None:
    far = relative_protection_db([25.0, 250.0])
    assert far[0] - far[1] == pytest.approx(80.0)


@pytest.mark.parametrize("offset_khz", [0.0, 0.1, 0.3, 1.0, 3.0])
def test_share_below_the_carrier_follows_the_spectra(offset_khz: float) -> None:
    """Part of the disturbance that comes from below the wanted carrier, within 0.02."""
    audio = np.arange(0.05, 4.5, 0.002)
    density = 1.0 / (1.0 + audio**2)
    density /= trapezoid(density, audio)

    def heard(at_khz: NDArray[np.float64] | float) -> NDArray[np.float64]:
        return 1.0 / (1.0 + (np.abs(np.asarray(at_khz)) / 2.8) ** 8)

    beat = 0.5 * float(heard(offset_khz)) * offset_khz**2 / (offset_khz**2 + 0.15**2)
    above = 0.045 / 4 * trapezoid(density * heard(offset_khz + audio), audio)
    near = 0.045 / 4 * density * heard(offset_khz - audio)
    below = float(trapezoid(near * (audio > offset_khz), audio))
    total = beat + float(above) + float(trapezoid(near, audio))
    assert 1.0 - float(upper_share(offset_khz)) == pytest.approx(below / total, abs=0.02)


# ---- sidebands ------------------------------------------------------------------------------

RATE_KHZ = 32.0
N = 1 << 17


def band_noise(rng: np.random.Generator, low_khz: float, high_khz: float) -> NDArray[np.float64]:
    """Real noise of unit power between two audio frequencies."""
    spectrum = np.fft.rfft(rng.standard_normal(N))
    f = np.fft.rfftfreq(N, 1 / RATE_KHZ)
    x = np.fft.irfft(spectrum * ((f >= low_khz) & (f <= high_khz)), N)
    return np.asarray(x / x.std())


def audio_power(baseband: NDArray[np.complex128], mode: str, leak: float = 0.0) -> float:
    """Power after an in-phase detector, before it one sideband or both; 4.5 kHz audio.

    `baseband` is the signal about the wanted carrier. `leak` is the amplitude left of the other
    sideband.
    """
    f = np.fft.fftfreq(N, 1 / RATE_KHZ)
    keep = np.ones(N)
    if mode == "USB":
        keep = np.where(f > 0, 1.0, leak)
    if mode == "LSB":
        keep = np.where(f < 0, 1.0, leak)
    keep = keep * ((np.abs(f) <= 4.5) & (f != 0.0))
    return float(np.var(np.fft.ifft(np.fft.fft(baseband) * keep).real))


def test_a_simulated_receiver_finds_the_same_costs() -> None:
    """A detector run on 4 s of noise: cost in noise, gain against a neighbour, on either side."""
    rng = np.random.default_rng(11)
    t_ms = np.arange(N) / RATE_KHZ
    wanted = (1.0 + 0.3 * band_noise(rng, 0.15, 4.5)).astype(complex)
    white = rng.standard_normal(N) + 1j * rng.standard_normal(N)
    beat = np.exp(2j * math.pi * 5.0 * t_ms)
    neighbour = (1.0 + 0.3 * band_noise(rng, 0.15, 4.5)) * beat
    phases = np.exp(2j * math.pi * np.arange(16) / 16)
    same = 0.3 * band_noise(rng, 0.15, 4.5)
    leak = 0.1 ** (40.0 / 20.0)

    def ratio_db(other: list[NDArray[np.complex128]], mode: str) -> float:
        power = np.mean([audio_power(o, mode, leak) for o in other])
        return 10 * math.log10(audio_power(wanted, mode, leak) / float(power))

    def change_db(other: list[NDArray[np.complex128]], mode: str) -> float:
        return ratio_db(other, mode) - ratio_db(other, "AM")

    # estimates over some 37,000 independent samples: 0.1 dB is four standard errors
    for mode in ("LSB", "USB"):
        assert change_db([white], mode) == pytest.approx(-mode_cost_db(mode), abs=0.1)
    quiet = -200.0
    up = choose_mode(quiet, upper_db=0.0)
    assert change_db([neighbour], "USB") == pytest.approx(float(up.am_db - up.usb_db), abs=0.1)
    assert change_db([neighbour], "LSB") == pytest.approx(float(up.am_db - up.lsb_db), abs=0.1)
    on = choose_mode(quiet, cochannel_db=0.0)
    turned = [same * p for p in phases]
    assert change_db(turned, "USB") == pytest.approx(float(on.am_db - on.usb_db), abs=0.1)


def test_one_sideband_needs_three_decibels_more_than_two_for_the_same_sound() -> None:
    """47 CFR 73.757 (after RR Appendix 11): on an envelope detector a single-sideband emission

    needs 3 dB more sideband power than the two sidebands of a double-sideband one. Ours, H3E, has
    half of the power of the two: so its cost in AM is those 3 dB and another 3.
    """
    two_sidebands = 2 * 0.5**2
    ours = 0.5**2
    needed = ours * 10 ** (mode_cost_db("AM", "H3E") / 10)
    assert 10 * math.log10(needed / two_sidebands) == pytest.approx(3.0, abs=0.05)


# ---- interference ---------------------------------------------------------------------------


def test_field_to_noise_figure_from_constants() -> None:
    """Power at an isotropic antenna, E^2 lambda^2 / (480 pi^2), over k T0 b: exact constants.

    The rounded constant of ITU-R P.525-5 (107.2 dB) leaves 0.1 dB; -204 dBW/Hz another 0.03.
    """
    field_v_m = 10 ** (40.0 / 20) * 1e-6
    wavelength_m = 299_792_458.0 / 9.6e6
    power_w = field_v_m**2 * wavelength_m**2 / (480 * math.pi**2)
    expected = 10 * math.log10(power_w / (1.380649e-23 * 290.0 * 9000.0))
    source = interference_source([40.0], 8.0, 8.0, offset_khz=[0.0], freq_khz=9600.0)
    assert float(source.fa_db) == pytest.approx(expected, abs=0.1)
    assert (source.upper_decile_db, source.lower_decile_db) == pytest.approx((8.0, 8.0))


def test_sum_of_interferers_keeps_mean_and_spread_of_the_power() -> None:
    """Against chance: a million draws of three log-normal stations, offsets weighted."""
    rng = np.random.default_rng(7)
    field = np.array([46.0, 40.0, 70.0])
    offset = np.array([0.0, -5.0, 10.0])
    decile = np.array([6.0, 4.0, 7.0])
    source = interference_source(field, decile, decile, offset_khz=offset, freq_khz=9600.0)
    weighted = field + relative_protection_db(offset)
    draws = weighted[:, None] + decile[:, None] / DECILE * rng.standard_normal((3, 1_000_000))
    power = (10 ** (draws / 10)).sum(axis=0)
    unit = interference_source([0.0], 0.0, 0.0, offset_khz=[0.0], freq_khz=9600.0)
    c = 10 / math.log(10)
    sigma = float(source.upper_decile_db) / DECILE / c
    median = (float(source.fa_db) - float(unit.fa_db)) / c
    assert math.exp(median + sigma**2 / 2) == pytest.approx(power.mean(), rel=0.02)
    assert math.exp(median + sigma**2 / 2) * math.sqrt(math.expm1(sigma**2)) == pytest.approx(
        power.std(), rel=0.1
    )


def test_weights_sides_and_modes_move_the_source_by_their_decibels() -> None:
    options = {"offset_khz": [5.0], "freq_khz": 9600.0}
    am = float(interference_source([40.0], 8.0, 8.0, **options).fa_db)  # type: ignore[arg-type]

    def moved(**changes: object) -> float:
        return float(interference_source([40.0], 8.0, 8.0, **{**options, **changes}).fa_db) - am  # type: ignore[arg-type]

    assert moved(weight_db=-3.0) == pytest.approx(-3.0)
    # 1 of 2 halves of the noise: 3.01 dB; and the other side less the suppression
    assert moved(mode="USB") == pytest.approx(10 * math.log10(2.0), abs=1e-3)
    assert moved(mode="LSB") == pytest.approx(10 * math.log10(2.0) - 40.0, abs=1e-3)
    assert moved(mode="LSB", suppression_db=50.0) == pytest.approx(-47.0, abs=0.02)
    assert moved(bandwidth_hz=900.0) == pytest.approx(10.0)
    assert moved(offset_khz=[0.0], mode="LSB") == pytest.approx(3.0)  # 0 instead of -3 dB


def test_source_and_noise_add_up_to_the_choice_between_modes() -> None:
    """Two ways to the effective S/(N+I) of steady powers must meet."""
    home = noise.Noise(50.0, 0.0, 0.0)
    stations = {"offset_khz": [5.0, -10.0], "freq_khz": 9600.0}
    am = interference_source([30.0, 55.0], 0.0, 0.0, **stations)  # type: ignore[arg-type]
    up = interference_source([30.0], 0.0, 0.0, offset_khz=[5.0], freq_khz=9600.0)
    down = interference_source([55.0], 0.0, 0.0, offset_khz=[-10.0], freq_khz=9600.0)
    found = choose_mode(50.0, upper_db=float(up.fa_db), lower_db=float(down.fa_db))
    assert float(noise.combine(home, am).fa_db) == pytest.approx(float(found.am_db))
    for mode, level in (("LSB", found.lsb_db), ("USB", found.usb_db)):
        source = interference_source([30.0, 55.0], 0.0, 0.0, mode=mode, **stations)  # type: ignore[arg-type]
        total = float(noise.combine(home, source).fa_db) + mode_cost_db(mode)
        assert total == pytest.approx(float(level))


# ---- report codes ---------------------------------------------------------------------------

CASES = [
    (50.0, 11.0, 8.0, 33.0, 5.0, 10.0, 20.0, 8.0, 6.0, 0.60, 1.0),
    (30.0, 14.0, 10.0, 12.0, 5.0, 11.0, 5.0, 10.0, 9.0, 0.95, 1.0),
    (62.0, 9.0, 12.0, 45.0, 3.0, 4.0, 60.0, 0.0, 0.0, 0.70, 2.0),
    (15.0, 18.0, 16.0, 3.0, 7.0, 9.0, 30.0, 8.0, 8.0, 1.20, 3.0),
]
DRAWS = 400_000


def two_piece(
    rng: np.random.Generator, lower_db: float, upper_db: float, z: NDArray[np.float64] | None = None
) -> NDArray[np.float64]:
    z = rng.standard_normal(DRAWS) if z is None else z
    return z / DECILE * np.where(z < 0, lower_db, upper_db)


@pytest.mark.parametrize("case", CASES)
def test_report_codes_against_chance(case: tuple[float, ...]) -> None:
    """Draw signals, noise, neighbours, MUFs, raters and whims one by one, and count the codes."""
    field, f_lo, f_up, snr, n_lo, n_up, sir, i_lo, i_up, over_muf, modes = case
    rng = np.random.default_rng(23)
    rater = 3.0

    def digit(level: NDArray[np.float64], thresholds: list[float]) -> NDArray[np.int64]:
        return 1 + np.searchsorted(thresholds, level)

    def whims(digits: NDArray[np.int64]) -> NDArray[np.int64]:
        return np.where(rng.random(DRAWS) < 0.02, rng.integers(1, 6, DRAWS), digits)

    signal = two_piece(rng, f_lo, f_up, rng.standard_normal(DRAWS))
    n_dev = two_piece(rng, math.hypot(n_lo, DECILE * rater), math.hypot(n_up, DECILE * rater))
    i_dev = two_piece(rng, math.hypot(i_lo, DECILE * rater), math.hypot(i_up, DECILE * rater))
    s = whims(digit(field + signal + rater * rng.standard_normal(DRAWS), [22, 34, 46, 60]))
    n = whims(digit(snr + signal - n_dev, [10, 20, 30, 40]))
    i = whims(digit(sir + signal - i_dev, [6, 14, 24, 34]))

    failing = rng.standard_normal(DRAWS) * 0.12 < math.log(over_muf)
    mixed = (rng.standard_normal(DRAWS) * 0.12 < math.log(over_muf / 0.8)) | (modes >= 2.0)
    calm_p = rng.choice([5, 4, 3], DRAWS, p=[0.5, 0.4, 0.1])
    mixed_p = rng.choice([4, 3, 2], DRAWS, p=[0.25, 0.5, 0.25])
    failing_p = rng.choice([3, 2, 1], DRAWS, p=[0.2, 0.5, 0.3])
    p = whims(np.where(failing, failing_p, np.where(mixed, mixed_p, calm_p)))
    o = np.minimum.reduce([s + 1, i, n, p])

    r = sinpo(
        field_dbuv_m=field,
        field_lower_db=f_lo,
        field_upper_db=f_up,
        snr_db=snr,
        noise_lower_db=n_lo,
        noise_upper_db=n_up,
        signal_to_interference_db=sir,
        interference_lower_db=i_lo,
        interference_upper_db=i_up,
        freq_over_muf=over_muf,
        modes=modes,
    )
    # four standard errors of a count, 0.0032, and 0.001 of the stated 0.002 of the quadrature
    for letter, drawn in (
        (r.strength, s),
        (r.interference, i),
        (r.noise, n),
        (r.propagation, p),
        (r.overall, o),
    ):
        counted = np.bincount(drawn, minlength=6)[1:] / DRAWS
        np.testing.assert_allclose(letter, counted, atol=0.0042)
    hit = (s == r.code[0]) & (i == r.code[1]) & (n == r.code[2]) & (p == r.code[3])
    assert hit.mean() == pytest.approx(float(r.code_probability), abs=0.004)
    codes = s * 1000 + i * 100 + n * 10 + p
    assert float(r.code_probability) >= np.bincount(codes).max() / DRAWS - 0.004


def at_least(
    level: NDArray[np.float64], thresholds: list[float], if_above: float, if_below: float
) -> NDArray[np.float64]:
    """Rows: probability of digit 1 .. 5 or more. Columns: the shared deviation of the signal."""
    rows = [np.ones_like(level)]
    for k, threshold in enumerate(thresholds):
        margin = level - threshold
        z = margin / np.where(margin >= 0, math.hypot(if_above, DECILE * 3), 1.0)
        z = np.where(margin >= 0, z, margin / math.hypot(if_below, DECILE * 3))
        rows.append(0.98 * ndtr(DECILE * z) + 0.02 * (4 - k) / 5)
    return np.array(rows)


@pytest.mark.parametrize(("largest_db", "within"), [(20.0, 0.002), (30.0, 0.004)])
def test_few_points_integrate_as_well_as_many(largest_db: float, within: float) -> None:
    """Against 16,001 points of the shared deviation, with the normal integral of SciPy."""
    rng = np.random.default_rng(1)
    z = np.linspace(-8.0, 8.0, 16_001)
    weight = np.exp(-(z**2) / 2)
    weight /= weight.sum()
    for _ in range(40):
        field, snr, sir = rng.uniform(-10, 70, 3)
        f_lo, f_up = rng.uniform(0, largest_db, 2)
        n_lo, n_up, i_lo, i_up = rng.uniform(0, 15, 4) * rng.integers(0, 2)
        r = sinpo(
            field_dbuv_m=field,
            field_lower_db=f_lo,
            field_upper_db=f_up,
            snr_db=snr,
            noise_lower_db=n_lo,
            noise_upper_db=n_up,
            signal_to_interference_db=sir,
            interference_lower_db=i_lo,
            interference_upper_db=i_up,
            freq_over_muf=0.7,
        )
        shift = z / DECILE * np.where(z < 0, f_lo, f_up)
        s = at_least(field + shift, [22, 34, 46, 60], 0.0, 0.0)
        n = at_least(snr + shift, [10, 20, 30, 40], n_up, n_lo)
        i = at_least(sir + shift, [6, 14, 24, 34], i_up, i_lo)
        p = np.cumsum(r.propagation[::-1])[::-1]
        o = s[[0, 0, 1, 2, 3]] * n * i * p[:, None]
        for found, rows in ((r.strength, s), (r.noise, n), (r.interference, i), (r.overall, o)):
            expected = -np.diff(np.append(rows @ weight, 0.0))
            np.testing.assert_allclose(found, expected, atol=within)


def test_letters_move_together() -> None:
    """Independence would be wrong: the overall digit would come out lower, by 0.05 or more."""
    r = sinpo(
        field_dbuv_m=40.0,
        field_lower_db=14.0,
        field_upper_db=14.0,
        snr_db=20.0,
        noise_lower_db=3.0,
        noise_upper_db=3.0,
        signal_to_interference_db=14.0,
        interference_lower_db=3.0,
        interference_upper_db=3.0,
        freq_over_muf=0.4,
    )
    good_apart = r.interference[2:].sum() * r.noise[2:].sum() * r.propagation[2:].sum()
    assert r.overall[2:].sum() > good_apart * r.strength[1:].sum() + 0.05

"""Every switch and every disturbance acts, in its direction and by a plausible size."""

import numpy as np
import pytest

import farhear as fh
from farhear.reception import likelihood
from farhear.skywave import Physics, modes, muf

NOON, NIGHT = "2024-07-15T11:00Z", "2024-07-15T22:00Z"


def snr(*circuit: float, utc: str = NOON, physics: Physics | None = None, **given: object) -> float:
    options: dict[str, object] = {"power_kw": 100.0, "f107_sfu": 150.0, "long_path": "short"}
    options |= given
    return float(likelihood(*circuit, utc, physics=physics, **options)["snr_db"])  # type: ignore[arg-type]


def test_sporadic_e_opens_28_mhz_in_summer() -> None:
    circuit = (45.0, 10.0, 53.0, -5.0, 28200.0)
    given = {"power_kw": 0.1, "f107_sfu": 80.0, "bandwidth_hz": 500.0, "required_snr_db": 3.0}
    with_es = likelihood(*circuit, NOON, **given)
    without = likelihood(*circuit, NOON, physics=Physics(sporadic_e=False), **given)
    winter = likelihood(*circuit, "2024-01-15T11:00Z", **given)
    assert float(with_es["likelihood"]) > 2 * float(without["likelihood"])
    assert float(with_es["likelihood"]) > 2 * float(winter["likelihood"])
    layers = set(modes(*circuit, NOON, f107_sfu=80.0)["layer"])
    assert {"Es", "Es-F2", "F2"} <= layers


def test_absorption_scales_in_decibels_and_ends_with_the_day() -> None:
    circuit = (45.0, 25.0, 58.4, 26.7, 6000.0)
    half, full = (
        modes(*circuit, NOON, f107_sfu=150.0, physics=Physics(absorption_scale=s)).set_index(
            ["layer", "hops", "long_path", "high_ray"]
        )["absorption_db"]
        for s in (0.5, 1.0)
    )
    ratio = (full / half).dropna()
    np.testing.assert_allclose(ratio, 2.0, rtol=0.02)  # Es-F2 has two modes of one name
    winter_night = {"utc": "2024-01-15T22:00Z"}
    by_fit = snr(*circuit, **winter_night)  # type: ignore[arg-type]
    by_floor = snr(*circuit, physics=Physics(night_absorption=0.2), **winter_night)  # type: ignore[arg-type]
    by_integral = snr(*circuit, physics=Physics(integral_absorption=True), **winter_night)  # type: ignore[arg-type]
    assert by_floor < by_fit < by_integral + 0.01
    # by day about half of the fit at full scale (own finding on the two formulas)
    day = snr(*circuit, physics=Physics(absorption_scale=1.0))
    assert snr(*circuit, physics=Physics(integral_absorption=True, absorption_scale=1.0)) > day + 5


@pytest.mark.parametrize(
    ("piece", "circuit", "utc"),
    [
        ("auroral", (65.0, -20.0, 66.0, 25.0, 9600.0), "2024-03-15T05:00Z"),
        ("low_angle", (40.0, -75.0, 52.0, 5.0, 15000.0), "2024-03-15T14:00Z"),
    ],
)
def test_losses_cost_what_they_say(piece: str, circuit: tuple[float, ...], utc: str) -> None:
    cost = snr(*circuit, utc=utc, physics=Physics(**{piece: False})) - snr(*circuit, utc=utc)
    assert 1.0 < cost < 25.0


def test_focusing_is_capped() -> None:
    table = modes(45.0, 25.0, 58.4, 26.7, 9600.0, NOON, f107_sfu=150.0, long_path="short")
    assert table["focusing_db"].max() < 3.2
    more = modes(
        *(45.0, 25.0, 58.4, 26.7, 9600.0),
        NOON,
        f107_sfu=150.0,
        long_path="short",
        physics=Physics(most_focusing_db=9.0),
    )
    assert more["focusing_db"].max() > table["focusing_db"].max()


def test_f1_and_high_rays_come_and_go() -> None:
    circuit = (45.0, 25.0, 55.0, 25.0, 9600.0)
    day = modes(*circuit, NOON, f107_sfu=150.0)
    assert "F1" in set(day["layer"])
    assert "F1" not in set(modes(*circuit, NIGHT, f107_sfu=150.0)["layer"])
    assert "F1" not in set(
        modes(*circuit, NOON, f107_sfu=150.0, physics=Physics(f1=False))["layer"]
    )
    top = float(muf(*circuit[:4], NOON, f107_sfu=150.0))
    near = modes(*circuit[:4], 0.95e3 * top, NOON, f107_sfu=150.0)
    assert near["high_ray"].any()
    without = modes(
        *circuit[:4], 0.95e3 * top, NOON, f107_sfu=150.0, physics=Physics(high_ray=False)
    )
    assert not without["high_ray"].any()


def test_a_storm_lowers_the_muf_at_high_latitude_only() -> None:
    high, low = (60.0, 0.0, 62.0, 30.0, 15000.0), (0.0, 0.0, 5.0, 20.0, 15000.0)
    quiet, storm = (snr(*high, utc=NIGHT, kp=k) for k in (2.0, 8.0))
    assert storm < quiet - 1.0
    assert snr(*low, utc=NIGHT, kp=8.0) == pytest.approx(snr(*low, utc=NIGHT), abs=0.01)


def test_a_flare_absorbs_by_day_only() -> None:
    circuit = (45.0, 25.0, 58.4, 26.7, 9600.0)
    assert snr(*circuit, xray_w_m2=1e-4) < snr(*circuit) - 3.0
    night = {"utc": "2024-01-15T22:00Z"}
    assert snr(*circuit, xray_w_m2=1e-4, **night) == pytest.approx(snr(*circuit, **night), abs=1e-6)  # type: ignore[arg-type]


def test_protons_close_the_polar_caps_only() -> None:
    flux = {"proton_2_pfu": 3000.0, "proton_5_pfu": 1000.0}
    polar, middle = (75.0, -60.0, 70.0, 30.0, 15000.0), (45.0, 25.0, 40.0, 0.0, 15000.0)
    assert snr(*polar, **flux) < snr(*polar) - 10.0
    assert snr(*middle, **flux) == pytest.approx(snr(*middle), abs=1e-6)


def test_patterns_gains_and_their_uncertainty() -> None:
    circuit = (45.0, 25.0, 52.0, 26.7, 9600.0)  # 780 km: steep, the horizon does not matter
    flat = np.full(46, 12.0)
    assert snr(*circuit, tx_pattern_dbi=flat) == pytest.approx(
        snr(*circuit, tx_gain_dbi=12.0), abs=0.3
    )
    steep = np.linspace(0.0, 20.0, 46)
    assert snr(*circuit, tx_pattern_dbi=steep) > snr(*circuit) + 3.0
    sure = likelihood(*circuit, NOON, power_kw=100.0, f107_sfu=150.0)
    unsure = likelihood(*circuit, NOON, power_kw=100.0, f107_sfu=150.0, tx_gain_sd_db=8.0)
    for name, sign in (("snr_lower_decile_db", -1), ("snr_upper_decile_db", 1)):
        assert sign * float(unsure[name] - sure[name]) > 1.0
    assert float(unsure["snr_db"]) == pytest.approx(float(sure["snr_db"]), abs=1.0)


def test_ladder_falls_and_is_the_likelihood_at_its_thresholds() -> None:
    given = {"power_kw": 1.0, "f107_sfu": 150.0}
    seen = likelihood(45.0, 25.0, 58.4, 26.7, 9600.0, NOON, **given)
    rungs = seen["rung_likelihood"].to_numpy()
    assert (np.diff(rungs) < 0).all()
    for rung, snr_db in zip(rungs, fh.listening.LADDER.values(), strict=True):
        one = likelihood(45.0, 25.0, 58.4, 26.7, 9600.0, NOON, required_snr_db=snr_db, **given)
        assert float(one["likelihood"]) == pytest.approx(rung, abs=1e-9)


def test_lightning_noise_is_added_to_surroundings_not_to_a_measured_level() -> None:
    circuit = (5.0, 0.0, 5.0, 10.0, 3000.0)
    given = {"noise": "quiet rural", "utc": NIGHT}
    assert snr(*circuit, **given) < snr(*circuit, atmospheric=None, **given) - 3.0  # type: ignore[arg-type]
    given = {"noise": 40.0, "utc": NIGHT}
    assert snr(*circuit, **given) == snr(*circuit, atmospheric=None, **given)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("given", "text"),
    [
        ({"tx_pattern_dbi": np.zeros(45)}, "46 elevations"),
        ({"kp": 10.0}, "kp"),
        ({"xray_w_m2": -1.0}, "xray_w_m2"),
        ({"engine": "hop"}, "engine"),
        ({"atmospheric": "storm"}, "atmospheric"),
        ({"tx_gain_sd_db": -1.0}, "tx_gain_sd_db"),
        ({"emission": "FM"}, "emission"),
    ],
)
def test_bad_values_are_named(given: dict[str, object], text: str) -> None:
    with pytest.raises(fh.InputError, match=text):
        snr(45.0, 25.0, 58.4, 26.7, 9600.0, **given)


def test_bad_constants_are_named() -> None:
    with pytest.raises(fh.InputError, match="es_dependence"):
        Physics(es_dependence=2.0)


def test_worked_circuit_by_rays_and_by_mirror() -> None:
    # Source: no published circuit; an independent Python run (see test_skywave_reference), field
    # 68.24 dB(uV/m) with one mode: both engines within 4 dB.
    for engine in ("rays", "mirror"):
        seen = likelihood(
            *(45.0, 25.0, 51.5, 0.0, 9600.0),
            "2025-03-16T18:00Z",
            power_kw=250.0,
            f107_sfu=145.40,
            tx_gain_dbi=17.0,
            long_path="short",
            engine=engine,
        )
        assert float(seen["field_dbuv_m"]) == pytest.approx(68.24, abs=4.0)

"""Modes, noise and likelihood against worked values and published identities."""

import math

import numpy as np
import pytest

import farhear as fh
from farhear import noise, skywave
from farhear.reception import likelihood

R0_KM = 6371.0


# Source: plane trigonometry of the triangle Earth centre - station - mirror (any textbook on
# spherical Earth hop geometry); worked independently in Python: hop, height, elevation, slant.
HOPS = [
    (1000.0, 110.0, 10.0500, 1032.058),
    (2000.0, 110.0, 1.7147, 2027.095),
    (2000.0, 300.0, 11.8074, 2130.672),
    (3000.0, 300.0, 4.2615, 3120.952),
    (3500.0, 350.0, 3.0783, 3651.290),
]


@pytest.mark.parametrize(("hop_km", "height_km", "elevation_deg", "slant_km"), HOPS)
def test_worked_hops_satisfy_the_triangle(
    hop_km: float, height_km: float, elevation_deg: float, slant_km: float
) -> None:
    """The figures quoted close their own triangle, so they may referee the core."""
    half = hop_km / (2 * R0_KM)
    up_km = slant_km / 2
    top = R0_KM + height_km
    assert up_km**2 == pytest.approx(R0_KM**2 + top**2 - 2 * R0_KM * top * math.cos(half), rel=1e-6)
    assert math.sin(math.radians(90 + elevation_deg)) / top == pytest.approx(
        math.sin(half) / up_km, rel=2e-6
    )


def test_modes_close_their_triangle() -> None:
    """Each mode's elevation and path length describe the same mirror, over the right distance."""
    table = skywave.modes(
        *(45.0, 25.0, 51.5, 0.0, 9600.0), "2025-03-15T18:00Z", f107_sfu=145.4, engine="mirror"
    )
    distance_km = 1975.0843  # great circle on the 6371 km sphere, numpy value
    assert {"E", "F2"} == set(table["layer"])
    for mode in table[~table["long_path"]].itertuples():
        half = distance_km / mode.hops / (2 * R0_KM)
        up_km = mode.group_path_km / mode.hops / 2
        elevation = math.radians(mode.elevation_deg)
        # law of cosines at the station
        top = math.sqrt(R0_KM**2 + up_km**2 + 2 * R0_KM * up_km * math.sin(elevation))
        assert math.asin(up_km * math.cos(elevation) / top) == pytest.approx(half, rel=1e-6)
        if mode.layer == "E":
            assert top - R0_KM == pytest.approx(110.0, abs=1e-6)
        else:
            assert 160.0 <= top - R0_KM <= 600.0


@pytest.mark.parametrize("engine", ["rays", "mirror"])
def test_free_space_part_is_p525(engine: str) -> None:
    # Source: Recommendation ITU-R P.525-5: E = 104.8 + P[dB(1 kW)] - 20 log d for free space.
    table = skywave.modes(
        *(45.0, 25.0, 51.5, 0.0, 9600.0),
        "2025-03-15T18:00Z",
        f107_sfu=145.4,
        power_kw=1.0,
        engine=engine,
    )
    losses = ["absorption_db", "ground_db", "horizon_db"]
    if engine == "rays":
        losses += ["auroral_db", "low_angle_db", "support_db", "screening_db", "other_db"]
    for _, mode in table.iterrows():
        added = mode["field_dbuv_m"] + sum(mode[name] for name in losses)
        gain = added - (104.8 - 20 * math.log10(mode["group_path_km"]))
        if engine == "rays":  # the budget is complete; P.525's 104.8 is 104.75
            weak = mode["layer"] == "F1"  # a fading layer has a share besides
            assert gain == pytest.approx(mode["focusing_db"], abs=0.06) or weak
        else:  # what is left is the convergence on the sphere, 0 to 15 dB, and the fixed 8.72 dB
            assert -0.06 < gain + 8.72 < 15.06
            if not mode["long_path"]:
                assert gain + 8.72 == pytest.approx(0.0, abs=0.12)


# Source: no published circuit; an independent Python run (P.533-like chain, constants partly from
# memory, own independent Python run): 45 N 25 E to 51.5 N 0 E, March, 18 UT, R12 100, 9.6 MHz,
# 250 kW, 17 dBi, residential. foF2 7.6827 and M 3.0209 are for the middle of the month.
def test_worked_circuit() -> None:
    t18 = "2025-03-16T18:00Z"  # 6 h from the middle of March: hardly any of the next month
    c = fh.ionosphere.characteristics(t18, 48.9290, 13.3081, 145.40, saturate=True)
    # the sheet interpolates the maps in R12 = 100, farhear in IG12 = 107.71
    maps = fh.ionosphere.monthly_maps(3, 18.0, 48.9290, 13.3081, 54.3389, [100.0, 107.71])
    assert maps.fof2_mhz[0, 0] == pytest.approx(7.6827, abs=2e-3)
    assert maps.m3000f2_ratio[0, 0] == pytest.approx(3.0209, abs=5e-4)
    assert float(c.fof2_mhz) == pytest.approx(maps.fof2_mhz[1, 0], abs=0.05)
    r = likelihood(
        45.0,
        25.0,
        51.5,
        0.0,
        9600.0,
        t18,
        power_kw=250.0,
        f107_sfu=145.40,
        tx_gain_dbi=17.0,
        required_snr_db=34.0,
        long_path="short",
    )
    # basic MUF 18.71 MHz there; ours rides on a foF2 about 4 % higher
    assert float(r.muf_mhz) == pytest.approx(18.7054 * float(c.fof2_mhz) / 7.6827, rel=0.03)
    # 68.24 dB(uV/m) and 60.5 dB for one mode and a branching mirror height; several modes add
    assert float(r.field_dbuv_m) == pytest.approx(68.24, abs=4.0)
    assert float(r.noise_fa_db) == pytest.approx(45.33, abs=0.2)
    assert float(r.snr_db) == pytest.approx(60.52, abs=4.0)
    assert float(r.likelihood) == pytest.approx(0.986, abs=0.02)


def test_noise_medians() -> None:
    # Source: Recommendation ITU-R P.372 (man-made c and d from
    # memory, galactic read): 3, 6, 10, 15, 20 MHz.
    freq = np.array([3.0, 6.0, 10.0, 15.0, 20.0]) * 1e3
    table = {
        "city": [63.58, 55.25, 49.10, 44.22, 40.76],
        "residential": [59.28, 50.95, 44.80, 39.92, 36.46],
        "rural": [53.98, 45.65, 39.50, 34.62, 31.16],
        "quiet rural": [39.95, 31.34, 25.00, 19.96, 16.39],
    }
    for environment, values in table.items():
        np.testing.assert_allclose(noise.man_made(environment, freq).fa_db, values, atol=0.006)
    np.testing.assert_allclose(
        noise.galactic(freq).fa_db, [41.03, 34.10, 29.00, 24.95, 22.08], atol=0.006
    )


def test_noise_combination_against_sampling() -> None:
    """Moment matching against a Monte Carlo sum of the same log-normal sources."""
    # Worked: rural + galactic + (35, 9, 7) at 10 MHz: median 41.865, Du 8.361, Dl 4.317 dB.
    rural, galactic = noise.man_made("rural", 10e3), noise.galactic(10e3)
    third = noise.Noise(35.0, 9.0, 7.0)
    ours = noise.combine(rural, galactic, third)
    assert float(ours.fa_db) == pytest.approx(41.865, abs=2e-3)
    assert float(ours.upper_decile_db) == pytest.approx(8.361, abs=2e-3)
    assert float(ours.lower_decile_db) == pytest.approx(4.317, abs=2e-3)
    rng = np.random.default_rng(7)
    z = rng.standard_normal((3, 400_000))
    parts = [
        10 ** ((float(s.fa_db) + float(s.upper_decile_db) / 1.2816 * z[i]) / 10)
        for i, s in enumerate((rural, galactic, third))
    ]
    total = 10 * np.log10(sum(parts))
    # the matched distribution must have the sampled mean power (that is what moments match)
    sigma = float(ours.upper_decile_db) / 1.2816
    mean_db = float(ours.fa_db) + sigma**2 * math.log(10) / 20
    assert mean_db == pytest.approx(10 * math.log10(np.mean(10 ** (total / 10))), abs=0.3)

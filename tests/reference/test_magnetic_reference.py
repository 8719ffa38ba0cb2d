"""IGRF-14 against other people's code and printed values."""

import datetime as dt
import math

import numpy as np
import pytest

from farhear import magnetic

ppigrf = pytest.importorskip("ppigrf")

# (lat_deg, lon_deg, dip at 300 km, modip, gyrofrequency at 300 km, at 100 km), 2025-01-01.
# Source: run of ppigrf 2.1.0 (IGRF-14) with modip tan = I / sqrt(cos lat) and 2.799249e-5 MHz/nT.
# Tolerance: half of the last printed digit, and as much for ppigrf's series in the turn of frames.
DERIVED = [
    (50.0, 10.0, 65.426, 54.927, 1.2004, 1.3139),
    (0.0, 0.0, -27.966, -26.017, 0.7523, 0.8410),
    (40.0, -75.0, 65.318, 52.485, 1.2251, 1.3506),
    (-35.0, 150.0, -65.503, -51.632, 1.3954, 1.5387),
    (65.0, 20.0, 75.937, 63.872, 1.3088, 1.4232),
]


@pytest.mark.parametrize(("lat", "lon", "dip", "modip", "gyro_300", "gyro_100"), DERIVED)
def test_dip_modip_and_gyrofrequency(lat, lon, dip, modip, gyro_300, gyro_100):
    f = magnetic.field(lat, lon, 300.0, 2025.0)
    assert f.dip_deg == pytest.approx(dip, abs=0.001)
    assert f.modip_deg == pytest.approx(modip, abs=0.001)
    assert f.gyro_mhz == pytest.approx(gyro_300, abs=6e-5)
    assert magnetic.field(lat, lon, 100.0, 2025.0).gyro_mhz == pytest.approx(gyro_100, abs=6e-5)


# (year, lat_deg, lon_deg, X, Y, Z) at height 0. Source: ppigrf 2.1.0 (IGRF-14), run values, 0.1 nT.
IGRF14 = [
    (2020.0, 80.0, 0.0, 6578.0, -151.0, 54609.0),
    (2020.0, 0.0, 120.0, 39621.8, 101.4, -10927.2),
    (2020.0, -80.0, 240.0, 5946.4, 15759.3, -52496.0),
    (2025.0, 80.0, 0.0, 6527.4, 141.6, 54782.5),
    (2025.0, 0.0, 120.0, 39676.2, -111.2, -10576.1),
    (2025.0, -80.0, 240.0, 6116.2, 15740.1, -52029.9),
]


@pytest.mark.parametrize(("year", "lat", "lon", "north", "east", "down"), IGRF14)
def test_igrf14_values(year, lat, lon, north, east, down):
    here = magnetic.components(lat, lon, 0.0, year)
    assert tuple(here) == pytest.approx((north, east, down), abs=0.06)


# The World Magnetic Model is another model of the same field: (year, km, lat, lon, X, Y, Z).
# Source: published test values of WMM2015 and WMM2020 (NOAA/NCEI and BGS), quoted from memory and
# confirmed to every digit by pygeomag 1.1.0 on NOAA's coefficients; WMM2025 rows are pygeomag runs.
# Tolerance: the difference of the two models, measured up to 15 nT here. In the 2022.5 rows
# up to 58 nT: WMM2020 forecast the change of the field from 2020, IGRF-14 knew it.
WMM = [
    (2015.0, 0.0, 80.0, 0.0, 6627.1, -445.9, 54432.3, 20.0),
    (2015.0, 0.0, 0.0, 120.0, 39518.2, 392.9, -11252.4, 20.0),
    (2020.0, 0.0, 80.0, 0.0, 6570.4, -146.3, 54606.0, 20.0),
    (2020.0, 0.0, 0.0, 120.0, 39624.3, 109.9, -10932.5, 20.0),
    (2020.0, 0.0, -80.0, 240.0, 5940.6, 15772.1, -52480.8, 20.0),
    (2020.0, 100.0, 80.0, 0.0, 6261.8, -185.5, 52429.1, 20.0),
    (2020.0, 100.0, 0.0, 120.0, 37636.7, 104.9, -10474.8, 20.0),
    (2020.0, 100.0, -80.0, 240.0, 5744.9, 14799.5, -49969.4, 20.0),
    (2022.5, 0.0, 80.0, 0.0, 6529.9, 1.1, 54713.4, 60.0),
    (2022.5, 0.0, 0.0, 120.0, 39684.7, -42.2, -10809.5, 60.0),
    (2022.5, 0.0, -80.0, 240.0, 6016.5, 15776.7, -52251.6, 60.0),
    (2025.0, 0.0, 80.0, 0.0, 6521.6, 145.9, 54791.5, 20.0),
    (2025.0, 0.0, 0.0, 120.0, 39677.8, -109.6, -10580.2, 20.0),
    (2025.0, 0.0, -80.0, 240.0, 6117.5, 15751.9, -52022.5, 20.0),
    (2025.0, 100.0, 80.0, 0.0, 6216.0, 92.4, 52598.8, 20.0),
    (2025.0, 100.0, 0.0, 120.0, 37688.6, -96.2, -10152.1, 20.0),
    (2025.0, 100.0, -80.0, 240.0, 5907.6, 14780.3, -49540.7, 20.0),
    (2027.5, 0.0, 80.0, 0.0, 6500.8, 294.5, 54869.4, 20.0),
    (2027.5, 0.0, 0.0, 120.0, 39701.6, -167.4, -10381.8, 20.0),
    (2027.5, 0.0, -80.0, 240.0, 6200.7, 15730.3, -51783.7, 20.0),
]


@pytest.mark.parametrize(("year", "km", "lat", "lon", "north", "east", "down", "tol"), WMM)
def test_world_magnetic_model_is_near(year, km, lat, lon, north, east, down, tol):
    here = magnetic.components(lat, lon, km, year)
    assert tuple(here) == pytest.approx((north, east, down), abs=tol)


def test_pygeomag_is_near_all_over_the_globe():
    """Other code on NOAA's WMM2025: 400 random places, within the two models' difference."""
    pygeomag = pytest.importorskip("pygeomag")
    other = pygeomag.GeoMag(coefficients_file="wmm/WMM_2025.COF")
    rng = np.random.default_rng(11)
    lat = np.degrees(np.arcsin(rng.uniform(-1, 1, 400)))
    lon, km = rng.uniform(-180, 180, 400), rng.uniform(0, 400, 400)
    here = magnetic.components(lat, lon, km, 2025.0)
    rows = [
        other.calculate(glat=a, glon=b, alt=c, time=2025.0)
        for a, b, c in zip(lat, lon, km, strict=True)
    ]
    difference = np.array(
        [[r.x - n, r.y - e, r.z - d] for r, n, e, d in zip(rows, *here, strict=True)]
    )
    # the two models differ by some 10 nT rms (degree 13 and 12, other data): a wrong term is larger
    assert np.sqrt((difference**2).mean()) < 15.0
    assert np.abs(difference).max() < 60.0


def decimal_year(when: dt.datetime, first: int, last: int) -> float:
    """The date at which linear-in-years gives the weights that ppigrf's linear-in-days gives."""
    start, stop = dt.datetime(first, 1, 1), dt.datetime(last, 1, 1)  # noqa: DTZ001
    return first + (last - first) * ((when - start) / (stop - start))


@pytest.mark.parametrize("year", [1900, 1907, 1944, 1960, 1983, 1999, 2012, 2022, 2026, 2030])
def test_ppigrf_all_over_the_globe(year):
    rng = np.random.default_rng(year)
    lat = np.degrees(np.arcsin(rng.uniform(-1, 1, 500)))
    lon, km = rng.uniform(-180, 180, 500), rng.uniform(0, 400, 500)
    when = dt.datetime(year, 1, 1)  # noqa: DTZ001 (what ppigrf takes)
    east, north, up = ppigrf.igrf(lon, lat, km, when)
    first = min(year - year % 5, 2025)
    here = magnetic.components(lat, lon, km, decimal_year(when, first, first + 5))
    # ppigrf turns the frames by a series in the flattening, good to some 4e-4 nT; not so east
    assert np.abs(here.east_nt - east[0]).max() < 1e-6
    assert np.abs(here.north_nt - north[0]).max() < 1e-3
    assert np.abs(here.down_nt + up[0]).max() < 1e-3


def test_a_sum_in_forty_digits():
    """Three places from the definition: the potential in 40 digits, its gradient by differences.

    Legendre functions as derivatives of the polynomials, whose coefficients are exact integers.
    """
    mp = pytest.importorskip("mpmath")
    epochs, table = magnetic._read_shc(magnetic.read_text("igrf", "IGRF14.shc"))
    with mp.workdps(40):
        for lat, lon, km in ((58.4, 26.7, 300.0), (-33.1, -70.2, 100.0), (2.5, 179.9, 0.0)):
            a, f = mp.mpf("6378.137"), 1 / mp.mpf("298.257223563")
            e2 = f * (2 - f)
            phi, lam = mp.radians(lat), mp.radians(lon)
            normal = a / mp.sqrt(1 - e2 * mp.sin(phi) ** 2)
            x, z = (normal + km) * mp.cos(phi), (normal * (1 - e2) + km) * mp.sin(phi)
            radius, theta = mp.hypot(x, z), mp.atan2(x, z)
            coefficients = [mp.mpf(float(c)) for c in table[list(epochs).index(2020.0)]]

            def derivative(n, m, at):
                return mp.fsum(
                    mp.mpf((-1) ** j * math.comb(n, j) * math.comb(2 * n - 2 * j, n))
                    / 2**n
                    * math.perm(n - 2 * j, m)
                    * at ** (n - 2 * j - m)
                    for j in range((n - m) // 2 + 1)
                )

            def potential(r, th, ph, c=coefficients):
                total, k = mp.mpf(0), 0
                for n in range(1, 14):
                    for m in range(n + 1):
                        schmidt = mp.sqrt(
                            (2 if m else 1) * mp.factorial(n - m) / mp.factorial(n + m)
                        )
                        p = schmidt * mp.sin(th) ** m * derivative(n, m, mp.cos(th))
                        g = c[k]
                        h = c[k + 1] if m else 0
                        k += 2 if m else 1
                        total += (
                            mp.mpf("6371.2")
                            * (mp.mpf("6371.2") / r) ** (n + 1)
                            * (g * mp.cos(m * ph) + h * mp.sin(m * ph))
                            * p
                        )
                return total

            step = mp.mpf(10) ** -9

            def slope(function, at, h=step):
                return (function(at + h) - function(at - h)) / (2 * h)

            b_r = -slope(lambda r, t=theta, p=lam: potential(r, t, p), radius)
            b_th = -slope(lambda t, r=radius, p=lam: potential(r, t, p), theta) / radius
            b_ph = -slope(lambda p, r=radius, t=theta: potential(r, t, p), lam)
            b_ph /= radius * mp.sin(theta)
            psi = phi - (mp.pi / 2 - theta)
            north = -b_th * mp.cos(psi) - b_r * mp.sin(psi)
            down = b_th * mp.sin(psi) - b_r * mp.cos(psi)
            here = magnetic.components(lat, lon, km, 2020.0)
            assert abs(here.north_nt - north) < 1e-6
            assert abs(here.east_nt - b_ph) < 1e-6
            assert abs(here.down_nt - down) < 1e-6


def test_geomagnetic_latitude():
    # Source: dipole pole of IGRF-14 at 2025.0, 80.789 N 72.763 W, from g10, g11, h11 (arithmetic
    # with numpy); sin G = sin lat sin lat_p + cos lat cos lat_p cos(lon - lon_p).
    assert magnetic.geomagnetic_lat_deg(80.789, -72.763, 2025.0) == pytest.approx(90.0, abs=1e-3)
    for lat, lon, expected in ((50.0, 10.0, 50.28), (0.0, 0.0, 2.72), (65.0, 20.0, 63.04)):
        found = magnetic.geomagnetic_lat_deg(lat, lon, 2025.0)
        assert found == pytest.approx(expected, abs=0.006)


def test_pyiri_dip_is_not_an_oracle():
    """PyIRI 0.1.7 has a slip in its Legendre functions: its dip at 300 km is off by up to 2 deg.

    0.5 * a - b stands where 0.5 * (a - b) is meant. So maps are compared with modip from here on
    both sides. If this fails after an update of PyIRI, the slip has been mended: drop this test.
    """
    igrf = pytest.importorskip("PyIRI.igrf_library")
    PyIRI = pytest.importorskip("PyIRI")
    from pathlib import Path

    coeff_dir = str(Path(PyIRI.__file__).parent / "coefficients")
    lat, lon = np.meshgrid(np.arange(-80.0, 81.0, 10.0), np.arange(-180.0, 180.0, 20.0))
    theirs = igrf.inclination(coeff_dir, 2012.5, lon.ravel(), lat.ravel(), 300.0, only_inc=True)
    ours = magnetic.field(lat.ravel(), lon.ravel(), 300.0, 2012.5).dip_deg
    difference = np.abs(np.asarray(theirs, dtype=float).ravel() - ours)
    if difference.max() < 0.1:
        pytest.skip("PyIRI's dip has been mended")
    assert 0.3 < np.sqrt((difference**2).mean()) < 1.0
    assert 1.0 < difference.max() < 3.0

"""Behaviour of the magnetic face: shapes, errors, missing values, edges of the globe."""

import doctest

import numpy as np
import pytest

from farhear import InputError, magnetic


def test_examples_in_the_docstrings():
    assert doctest.testmod(magnetic).failed == 0
    assert doctest.testmod(magnetic).attempted >= 3


def test_scalars_give_scalars_and_arrays_broadcast():
    one = magnetic.field(50.0, 10.0, 300.0, 2025.0)
    assert isinstance(one.dip_deg, np.float64)
    many = magnetic.field(np.array([[50.0], [0.0]]), [10.0, 0.0, 20.0], 300.0, 2025.0)
    assert many.modip_deg.shape == (2, 3)
    assert many.dip_deg[0, 0] == one.dip_deg
    assert magnetic.field([], [], 300.0, 2025.0).gyro_mhz.shape == (0,)


def test_array_equals_scalar_loop_also_with_a_date_for_each_place():
    rng = np.random.default_rng(3)
    lat, lon = rng.uniform(-90, 90, 100), rng.uniform(-180, 180, 100)
    year = rng.uniform(1900, 2030, 100)
    many = magnetic.components(lat, lon, 250.0, year)
    for i in range(100):
        one = magnetic.components(lat[i], lon[i], 250.0, year[i])
        assert (one.north_nt, one.east_nt, one.down_nt) == tuple(part[i] for part in many)


@pytest.mark.parametrize("step", [slice(None, None, -1), slice(None, None, 3)])
def test_views_are_read_as_numpy_reads_them(step):
    lat = np.linspace(-80, 80, 30)
    assert np.array_equal(
        magnetic.field(lat[step], 10.0, 300.0, 2025.0).dip_deg,
        magnetic.field(lat, 10.0, 300.0, 2025.0).dip_deg[step],
    )


def test_missing_passes_through_and_touches_nothing_else():
    lat = np.array([50.0, np.nan, 50.0])
    year = np.array([2025.0, 2025.0, np.nan])
    dip = magnetic.field(lat, 10.0, 300.0, year).dip_deg
    assert np.isnan(dip).tolist() == [False, True, True]
    assert dip[0] == magnetic.field(50.0, 10.0, 300.0, 2025.0).dip_deg
    assert np.isnan(magnetic.field(50.0, np.nan, 300.0, 2025.0).modip_deg)


@pytest.mark.parametrize(
    ("args", "text"),
    [
        ((91.0, 0.0, 300.0, 2025.0), r"lat_deg = 91 is outside \[-90, 90\]"),
        (([0.0, 10.0], [0.0, 361.0], 300.0, 2025.0), r"lon_deg\[1\] = 361 is outside"),
        ((0.0, 0.0, -11.0, 2025.0), r"height_km = -11 is outside"),
        ((0.0, 0.0, 300.0, 2030.1), r"year = 2030.1 is outside \[1900, 2030\]"),
        ((0.0, 0.0, 300.0, [2000.0, 1899.0]), r"year\[1\] = 1899 is outside"),
        (([0.0, 1.0], [0.0, 1.0, 2.0], 300.0, 2025.0), r"do not broadcast"),
    ],
)
def test_bad_values_are_named(args, text):
    with pytest.raises(InputError, match=text):
        magnetic.field(*args)


def test_both_ends_of_the_years_are_answered():
    for year in (1900.0, 2030.0):
        assert np.isfinite(magnetic.field(0.0, 0.0, 0.0, year).gyro_mhz)


def test_longitude_wraps():
    lat = np.linspace(-90, 90, 19)
    west, east = (magnetic.components(lat, lon, 100.0, 2020.0) for lon in (-75.0, 285.0))
    for a, b in zip(west, east, strict=True):
        assert np.allclose(a, b, rtol=0, atol=1e-8)
    minus, plus = (magnetic.components(lat, lon, 100.0, 2020.0) for lon in (-180.0, 180.0))
    for a, b in zip(minus, plus, strict=True):
        assert np.allclose(a, b, rtol=0, atol=1e-8)


@pytest.mark.parametrize("pole", [90.0, -90.0])
def test_at_a_pole_all_longitudes_give_one_vector(pole):
    lon = np.arange(0.0, 360.0, 15.0)
    here = magnetic.components(pole, lon, 300.0, 2025.0)
    assert np.ptp(here.down_nt) < 1e-8
    # the horizontal vector in a fixed frame: turn north and east by the longitude
    turn = np.radians(lon) * np.sign(pole)
    fixed = (here.north_nt + 1j * here.east_nt) * np.exp(-1j * turn)
    assert np.abs(fixed - fixed[0]).max() < 1e-8
    # and it is the limit of the places around it
    near = magnetic.components(pole - np.sign(pole) * 1e-6, lon, 300.0, 2025.0)
    assert np.abs(near.north_nt - here.north_nt).max() < 1e-2


def test_the_field_is_a_gradient_without_sources():
    """Divergence and curl vanish: the surface integral of the outward field is zero.

    Gauss's law on the ellipsoid at 300 km (any textbook); the sum over a Gauss-Legendre grid in
    geodetic latitude with the area element of the parallel surface.
    """
    nodes, weights = np.polynomial.legendre.leggauss(60)
    lat = np.degrees(np.arcsin(nodes))
    lon = np.arange(0.0, 360.0, 5.0)
    here = magnetic.components(lat[:, None], lon[None, :], 300.0, 2025.0)
    e2, a_km = 0.00669437999014, 6378.137
    w = np.sqrt(1 - e2 * nodes**2)
    area = (a_km / w + 300.0) * (a_km * (1 - e2) / w**3 + 300.0)  # times d(sin lat) d(lon)
    flux = (here.down_nt * (weights * area)[:, None]).mean()
    assert abs(flux) < 1e-9 * (np.abs(here.down_nt) * (weights * area)[:, None]).mean()

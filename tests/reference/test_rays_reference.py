"""Rays against numerical integration, worked values, dense search, the published MUF formula."""

import importlib.util
import itertools
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

import farhear as fh
from farhear import _core, rays

R0_KM = 6371.0


def beside(name):
    """A module of this folder: pytest imports tests by path, not by package."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


quadrature = beside("_ray_quadrature")


def some_layers(rng, n):
    """Layers of all kinds, some bent by the joining rules; half of them with an F1 layer."""
    foe = rng.uniform(0.3, 4.2, n)
    fof2 = np.minimum(foe * rng.uniform(1.02, 6.0, n), 16.0)
    hme, hmf2 = rng.uniform(100, 120, n), rng.uniform(200, 500, n)
    hmf1 = hme + (hmf2 - hme) * rng.uniform(0.2, 0.7, n)
    fof1 = np.where(rng.random(n) < 0.5, foe + (fof2 - foe) * rng.uniform(0.05, 1.1, n), 0.0)
    thick_f1 = np.minimum((hmf1 - hme) * rng.uniform(0.2, 1.0, n), 200.0)
    layers = rays.Layers(
        foe, fof2, hmf2, rng.uniform(30, 200, n), fof1, hmf1, thick_f1, hme, rng.uniform(10, 30, n)
    )
    return layers, quadrature.profile(
        {
            "e": np.array([foe, hme, layers.half_thickness_e_km]),
            "f1": np.array([fof1, hmf1, thick_f1]),
            "f2": np.array([fof2, hmf2, layers.half_thickness_f2_km]),
        }
    )


def region_of(where, ledge):
    """Region of the piece in which a ray turns."""
    return np.select([where == 0, (where < 3) & ledge], [0, 1], 2)


# ---------------------------------------------------------------- the ray equation


def test_profile_is_the_one_described():
    """At 40 random heights in each of 2,000 profiles, and a hair to both sides of each join."""
    rng = np.random.default_rng(21)
    layers, (pieces, _) = some_layers(rng, 2000)
    heights = [rng.uniform(60, layers.hmf2_km + 20) for _ in range(40)]
    for piece in pieces:
        heights += [piece.high - R0_KM - 1e-3, piece.high - R0_KM + 1e-3]
    for height in heights:
        expected = quadrature.plasma_mhz2(pieces, height)
        np.testing.assert_allclose(rays.plasma_mhz2(layers, height), expected, atol=2e-9)


def test_rays_against_quadrature_of_the_ray_equation():
    """3,000 random rays turning in E, F1 and F2, some steep, some through everything.

    Largest difference found: 3e-9 km of ground range and group path, 3e-11 km of height.
    Nothing is left out: rays near a critical frequency have a test of their own below.
    """
    rng = np.random.default_rng(22)
    n = 3000
    layers, (pieces, ledge) = some_layers(rng, n)
    elevation = rng.uniform(0, 90, n)
    level = R0_KM * np.cos(np.radians(elevation)) / (R0_KM + layers.hmf2_km)
    freq = np.clip(layers.fof2_mhz * rng.uniform(0.15, 1.1, n) / np.sqrt(1 - level**2), 0.5, 100)
    ground, path, turning, where = quadrature.trace(pieces, freq, elevation)
    ray = rays.trace(layers, freq, elevation)
    through = np.isnan(ground)
    np.testing.assert_array_equal(np.isnan(ray.ground_range_km), through)
    np.testing.assert_array_equal(ray.region[~through], region_of(where, ledge)[~through])
    assert through.sum() > 200
    assert (np.bincount(ray.region[~through]) > 300).all()
    np.testing.assert_allclose(ray.ground_range_km, ground, atol=1e-6, rtol=0)
    np.testing.assert_allclose(ray.group_path_km, path, atol=1e-6, rtol=0)
    np.testing.assert_allclose(ray.turning_km, turning, atol=1e-6, rtol=0)


def test_rays_against_quadrature_of_the_profile_as_the_core_gives_it():
    """The same with the values of `plasma_mhz2` in the integrands: rays and profile go together.

    Largest difference found: 2e-5 km: figures are lost in the differences of this form.
    """
    rng = np.random.default_rng(23)
    n = 300
    layers, (pieces, _) = some_layers(rng, n)
    elevation = rng.uniform(0, 85, n)
    level = R0_KM * np.cos(np.radians(elevation)) / (R0_KM + layers.hmf2_km)
    freq = np.clip(layers.fof2_mhz * rng.uniform(0.15, 1.0, n) / np.sqrt(1 - level**2), 0.5, 100)

    def value(some, r):
        columns = rays.Layers(*(np.broadcast_to(x, n)[some, None] for x in layers))
        return rays.plasma_mhz2(columns, r - R0_KM)

    ground, path, _, _ = quadrature.trace(pieces, freq, elevation, value, count=9)
    ray = rays.trace(layers, freq, elevation)
    np.testing.assert_allclose(ray.ground_range_km, ground, atol=0.001, rtol=0)
    np.testing.assert_allclose(ray.group_path_km, path, atol=0.001, rtol=0)


@pytest.mark.parametrize("region", [0, 1, 2])
def test_rays_next_to_a_critical_frequency(region):
    """600 rays each, 1e-10 to 1e-3 (relative) below or above the frequency that passes a region.

    There the range goes to infinity as the logarithm of that distance, and so do rounding errors as
    its inverse. Largest difference found: 0.03 km, in 99 % of cases 0.001 km. Nearer than 1e-10
    nothing is claimed (at 1e-12 a third of a kilometre was seen).
    """
    rng = np.random.default_rng(24 + region)
    n = 600
    layers, (pieces, ledge) = some_layers(rng, n)
    elevation = rng.uniform(1, 85, n)

    def stays(freq):
        ray = rays.trace(layers, freq, elevation)
        return (ray.region <= region) & ~np.isnan(ray.ground_range_km)

    low, high = np.full(n, 0.5), np.full(n, 100.0)
    usable = stays(low) & ~stays(high)
    for _ in range(60):
        middle = 0.5 * (low + high)
        below = stays(middle)
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    off = 10 ** rng.uniform(-10, -3, n) * rng.choice([-1, 1], n)
    freq = np.clip(low * (1 + off), 0.5, 100.0)
    usable &= (freq > 0.5) & (freq < 100.0)
    assert usable.sum() > 550
    ground, path, _, where = quadrature.trace(pieces, freq, elevation)
    ray = rays.trace(layers, freq, elevation)
    through = np.isnan(ground)
    np.testing.assert_array_equal(np.isnan(ray.ground_range_km)[usable], through[usable])
    turned = usable & ~through
    np.testing.assert_array_equal(ray.region[turned], region_of(where, ledge)[turned])
    for ours, theirs in ((ray.ground_range_km, ground), (ray.group_path_km, path)):
        np.testing.assert_allclose(ours[turned], theirs[turned], atol=0.1, rtol=0)
        assert np.percentile(np.abs(ours - theirs)[turned], 99) < 0.005


def test_quadrature_against_adaptive_quadrature():
    """The referee refereed: scipy on 24 rays, from Bouguer's law, with another substitution."""
    rng = np.random.default_rng(25)
    layers, (pieces, _) = some_layers(rng, 24)
    elevation = rng.uniform(2, 80, 24)
    level = R0_KM * np.cos(np.radians(elevation)) / (R0_KM + layers.hmf2_km)
    freq = np.clip(layers.fof2_mhz * rng.uniform(0.3, 0.9, 24) / np.sqrt(1 - level**2), 0.5, 100)
    ground, path, turning, _ = quadrature.trace(pieces, freq, elevation)
    for i in range(24):
        one = rays.Layers(*(np.broadcast_to(x, 24)[i] for x in layers))
        k = R0_KM * np.cos(np.radians(elevation[i]))

        def room(r, i=i, one=one, k=k):
            inside = 1 - float(rays.plasma_mhz2(one, min(r - R0_KM, one.hmf2_km))) / freq[i] ** 2
            return r**2 * inside - k**2

        joins = [float(pieces[0].low[i])]
        joins += [float(p.high[i]) for p in pieces if p.high[i] > p.low[i]]
        top = brentq(room, R0_KM + turning[i] - 0.05, R0_KM + turning[i] + 0.02, xtol=1e-11)
        edges = [r for r in joins if r < top - 1e-6]
        edges.append(top)
        angle = np.arccos(k / edges[0]) - np.radians(elevation[i])
        length = np.sqrt(edges[0] ** 2 - k**2) - R0_KM * np.sin(np.radians(elevation[i]))
        for low, high in itertools.pairwise(edges):
            # r = high - (high - low) s^4: flat where the ray turns
            span = high - low

            def parts(s, power, high=high, span=span, room=room, k=k):
                r = high - span * s**4
                x = max(room(r), 1e-9)
                return 4 * span * s**3 * (k / r if power == 0 else r) / np.sqrt(x)

            angle += quad(parts, 0, 1, args=(0,), epsabs=1e-8, epsrel=1e-6)[0]
            length += quad(parts, 0, 1, args=(1,), epsabs=1e-4, epsrel=1e-6)[0]
        assert 2 * R0_KM * angle == pytest.approx(ground[i], abs=0.05)
        assert 2 * length == pytest.approx(path[i], abs=0.05)


# ---------------------------------------------------------------- worked values

# Source: an independent Python implementation of the closed form of Croft and Hoogasian 1968,
# checked there against adaptive quadrature to 1e-3 km; no published table. One layer of 8 MHz, peak
# 300 km, half thickness 100 km: frequency [MHz], elevation [deg], ground range, group path, height.
ONE_LAYER = [
    (9.0, 20.0, 1066.07154, 1172.80406, 211.4547),
    (12.0, 15.0, 1391.28478, 1489.56715, 215.2882),
    (15.0, 10.0, 1849.56673, 1940.92420, 217.7832),
    (18.0, 5.0, 2532.22144, 2621.27297, 220.2987),
]
# Likewise, with an E layer of 3.2 MHz at 110 km, half thickness 20 km.
TWO_LAYERS = [
    (5.0, 30.0, 361.58329, 424.51019, 98.4202),
    (9.0, 3.0, 1623.30218, 1645.40899, 92.6279),
    (9.0, 20.0, 1270.85710, 1393.33761, 144.2501),
    (12.0, 15.0, 1677.01040, 1792.98805, 165.2117),
    (15.0, 10.0, 2295.34993, 2408.15978, 172.9482),
    (18.0, 6.0, 3030.18370, 3149.04963, 184.6040),
]
BOTH = rays.Layers(3.2, 8.0, 300.0, 100.0)


@pytest.mark.parametrize(("freq", "elevation", "ground", "path", "height"), ONE_LAYER)
def test_worked_rays_of_one_layer(freq, elevation, ground, path, height):
    # the one layer stands where E stands; what is above it does not matter to rays that turn in it
    columns = [np.array([x]) for x in (8.0, 300.0, 100.0, 0.0, 350.0, 40.0, 30.0, 700.0, 100.0)]
    ray = _core.rays.trace(columns, np.array([freq]), np.array([elevation]))
    assert int(ray["region"][0]) == 0
    assert ray["ground_range_km"][0] == pytest.approx(ground, abs=1e-3)
    assert ray["group_path_km"][0] == pytest.approx(path, abs=1e-3)
    assert ray["turning_km"][0] == pytest.approx(height, abs=1e-4)


@pytest.mark.parametrize(("freq", "elevation", "ground", "path", "height"), TWO_LAYERS)
def test_worked_rays_of_two_layers(freq, elevation, ground, path, height):
    ray = rays.trace(BOTH, freq, elevation)
    assert ray.ground_range_km == pytest.approx(ground, abs=1e-3)
    assert ray.group_path_km == pytest.approx(path, abs=1e-3)
    assert ray.turning_km == pytest.approx(height, abs=1e-4)


# Source: as above, a scan over elevation in steps of 0.1 deg and bisection over frequency.
@pytest.mark.parametrize(
    ("hop_km", "muf_mhz"), [(500, 8.9846), (1000, 11.9730), (2000, 18.4958), (3000, 23.1896)]
)
def test_worked_muf(hop_km, muf_mhz):
    # 0.24 % low at 2000 km, 0.14 % at 3000 km: eight turning heights and a cubic between them
    assert rays.muf(BOTH, float(hop_km)).muf_mhz == pytest.approx(muf_mhz, rel=0.004)


@pytest.mark.parametrize(
    ("freq", "skip_km", "elevation"),
    [(10.0, 693.7, 47.30), (12.0, 1004.0, 35.20), (15.0, 1442.7, 24.90)],
)
def test_worked_skip_distances(freq, skip_km, elevation):
    el = np.arange(0.5, 89.0, 0.005)
    ranges = rays.trace(BOTH, freq, el).ground_range_km
    nearest = int(np.nanargmin(ranges))
    assert ranges[nearest] == pytest.approx(skip_km, abs=0.051)
    assert el[nearest] == pytest.approx(elevation, abs=0.06)
    # and the MUF of that distance is that frequency
    assert rays.muf(BOTH, ranges[nearest]).muf_mhz == pytest.approx(freq, rel=0.004)


# ---------------------------------------------------------------- MUF against a dense search


def searched_muf(layers, hop_km, n=150):
    """Highest frequency that lands in F2, by tracing a grid of elevations and turning heights.

    A ray belongs to a turning height only if it gets there: what E or F1 turns back is left out.
    """

    def best(elevation, heights):
        plasma = rays.plasma_mhz2(layers, heights)
        el, top = np.meshgrid(np.radians(elevation), heights, indexing="ij")
        freq = np.sqrt(plasma) / np.sqrt(1 - (R0_KM * np.cos(el) / (R0_KM + top)) ** 2)
        freq = np.clip(freq, 0.5, 100.0)
        ray = rays.trace(layers, freq, np.degrees(el))
        there = (ray.region == 2) & (np.abs(ray.turning_km - top) < 0.01)
        miss = np.where(there, ray.ground_range_km, np.nan) - hop_km
        share = miss[:, :-1] / (miss[:, :-1] - miss[:, 1:])
        found = freq[:, :-1] + share * np.diff(freq, axis=1)
        found = np.where(miss[:, :-1] * miss[:, 1:] <= 0, found, 0.0)
        i, j = np.unravel_index(np.argmax(found), found.shape)
        return found[i, j], elevation[i], heights[j]

    bottom = layers.hmf1_km if layers.fof1_mhz > 0 else layers.hme_km
    elevation = np.linspace(0.0, 89.5, n)
    heights = np.linspace(bottom + 1e-3, layers.hmf2_km - 1e-3, n)
    muf, el, top = best(elevation, heights)
    if muf == 0.0:
        return np.nan
    de, dh = elevation[1] - elevation[0], heights[1] - heights[0]
    near = np.linspace(max(el - 1.5 * de, 0.0), min(el + 1.5 * de, 89.99), n // 3)
    around = np.linspace(
        max(top - 5 * dh, bottom + 1e-4), min(top + 5 * dh, layers.hmf2_km - 1e-4), n
    )
    return max(muf, best(near, around)[0])


def test_the_search_finds_the_worked_values():
    for hop_km, muf_mhz in [(500, 8.9846), (1000, 11.9730), (2000, 18.4958), (3000, 23.1896)]:
        assert searched_muf(BOTH, float(hop_km)) == pytest.approx(muf_mhz, abs=2e-4)


def one_of(layers, i):
    """A single profile of many."""
    return rays.Layers(*(float(np.broadcast_to(x, layers.fof2_mhz.shape)[i]) for x in layers))


def at_random_places(rng, n):
    """Mapped layers over random places, days and suns, with what belongs to them."""
    lat = np.degrees(np.arcsin(rng.uniform(-0.95, 0.95, n)))
    minutes = rng.integers(0, 365 * 1440, n).astype("timedelta64[m]")
    when = fh.utc(np.datetime64("2025-01-01") + minutes, naive_is_utc=True)
    flux = rng.uniform(65, 220, n)
    c = fh.ionosphere.characteristics(when, lat, rng.uniform(-180, 180, n), flux)
    # Half thickness: bottom-side thickness of the International Reference Ionosphere (Di Giovanni
    # and Radicella), times the ratio of the half-density points, 2 x 1.76275 / sqrt(2).
    thick = 2.493 * 3.85e-12 * 1.24e10 * c.fof2_mhz**2
    thick /= 0.01 * np.exp(-3.467 + 1.714 * np.log(c.fof2_mhz) + 2.02 * np.log(c.m3000f2_ratio))
    hmf2 = np.maximum(c.hmf2_km, 180.0)
    hmf1 = np.minimum(200.0, 110.0 + 0.6 * (hmf2 - 110.0))
    fof1 = np.nan_to_num(c.fof1_mhz)
    layers = rays.Layers(c.foe_mhz, c.fof2_mhz, hmf2, thick, fof1, hmf1, 0.6 * (hmf1 - 110.0))
    return layers, c, flux


def test_muf_against_a_dense_search():
    """240 profiles over random places and days, 150 to 3600 km.

    Found: median off by 0.09 %, 95 % of cases within 0.4 %, the largest 0.5 %, where foF2 is at
    least twice foE; below that the largest is 1.5 % (11 cases). Over layers of no real place,
    nearly as strong in E as in F2, and long hops, up to 4 % was seen: there E bends the rays
    so much that the iteration for the mirror has not settled after three rounds.
    """
    rng = np.random.default_rng(26)
    layers, c, _ = at_random_places(rng, 240)
    hop = rng.uniform(150, 3600, 240)
    muf = rays.muf(layers, hop).muf_mhz
    found = np.array([searched_muf(one_of(layers, i), hop[i]) for i in range(hop.size)])
    off = np.abs(muf / found - 1)
    apart = c.fof2_mhz / c.foe_mhz >= 2.0
    assert apart.sum() > 200
    assert not np.isnan(off[apart]).any()
    assert off[apart].max() < 0.01
    assert np.nanmax(off) < 0.03
    assert np.percentile(off[apart], 95) < 0.006


@pytest.mark.parametrize("foe", [0.05, 0.3])
@pytest.mark.parametrize("hop_km", [600.0, 2629.0])
def test_muf_over_a_faint_thick_e_layer(foe, hop_km):
    # Found by a fuzzer: 90 MHz came out for the first, and rays with a mirror under the ground. No
    # real place, so the 4 % above hold.
    layers = rays.Layers(foe, 21.5, 237.0, 140.0, hme_km=80.0, half_thickness_e_km=36.0)
    found = rays.muf(layers, hop_km)
    assert found.muf_mhz == pytest.approx(searched_muf(layers, hop_km), rel=0.04)
    assert found.mirror_km >= found.turning_km


# ---------------------------------------------------------------- the published formula


def formula(hop_km, c):
    """MUF of the ordinary wave over a hop, its B, and the ratio foF2/foE.

    Source: Lockwood 1983, as in Recommendation ITU-R P.1240, section 3.1 (coefficients from memory;
    the polynomial closes on 0 and 1 at its ends), without the term of the gyrofrequency.
    """
    x = np.maximum(c.fof2_mhz / c.foe_mhz, 2.0)
    m = c.m3000f2_ratio
    b = m - 0.124 + (m**2 - 4) * (0.0215 + 0.005 * np.sin(7.854 / x - 1.9635))
    most_km = 4780 + (12610 + 2140 / x**2 - 49720 / x**4 + 688900 / x**6) * (1 / b - 0.303)

    def factor(distance_km):
        z = 1 - 2 * distance_km / most_km
        return np.polynomial.polynomial.polyval(
            z, [0.74, -0.591, -0.424, -0.090, 0.088, 0.181, 0.096]
        )

    c_d = factor(np.minimum(hop_km, most_km)) / factor(3000.0)
    return (1 + c_d * (b - 1)) * c.fof2_mhz, b


def test_formula_gives_its_worked_values():
    # Source: independent Python run: foF2 8, foE 3.2, M 3.05, fH 1.2, with (fH/2)(1 - d/5118.14) on
    # top, which is taken off here.
    c = fh.ionosphere.Characteristics(8.0, 3.05, 3.2, np.nan, 300.0)
    for hop_km, muf_mhz in [(500, 9.8763), (1000, 13.1492), (2000, 20.1095), (3000, 24.7643)]:
        without = muf_mhz - 0.6 * (1 - hop_km / 5118.14)
        assert formula(float(hop_km), c)[0] == pytest.approx(without, abs=2e-4)
    assert formula(3000.0, c)[1] == pytest.approx(3.06450, abs=1e-5)


def test_tied_peak_gives_the_target_ratio():
    """4,000 mapped layers: the peak moves so that MUF(3000)/foF2 of the rays is that of the maps.

    One Newton step. Before it the ratio is off by 2 % (median) to 14 %. After it, by foF2/foE:
    above 4 at most 0.9 %, 2.5 to 4 at most 1.4 %, 2 to 2.5 at most 2.7 %. Below 2 the slope of the
    peak-height formula no longer fits the rays (10 % and more): 4 % of cases.
    """
    rng = np.random.default_rng(27)
    layers, c, _ = at_random_places(rng, 4000)
    _, target = formula(3000.0, c)
    before = np.abs(rays.muf(layers, 3000.0).muf_mhz / c.fof2_mhz / target - 1)
    height = np.clip(rays.tied_peak_km(layers, target), 180.0, 700.0)
    tied = layers._replace(hmf2_km=height)
    after = np.abs(rays.muf(tied, 3000.0).muf_mhz / c.fof2_mhz / target - 1)
    x = c.fof2_mhz / c.foe_mhz
    assert (x < 2).mean() < 0.06
    for low, high, most in [(4.0, 99.0, 0.011), (2.5, 4.0, 0.02), (2.0, 2.5, 0.04)]:
        here = (x >= low) & (x < high)
        assert here.sum() > 200
        assert after[here].max() < most
        assert np.median(after[here]) < 0.5 * np.median(before[here])


def test_tied_peak_over_the_whole_range_of_the_maps():
    """M 2.4 to 3.8 and foF2/foE 2 to 10 at foF2 8 MHz, from the peak height of Bradley and Dudeney.

    After the step within 2.2 % at foF2/foE = 2, within 1.2 % from 2.5 on.
    """
    m, x = (a.ravel() for a in np.meshgrid(np.linspace(2.4, 3.8, 15), [2, 2.5, 3, 4, 6, 10]))
    # Bradley and Dudeney 1973, as quoted in open literature [memory]
    height = 1490 / (m + 0.18 / (x - 1.4)) - 176
    layers = rays.Layers(8 / x, 8.0, height, 90.0)
    tied = layers._replace(hmf2_km=rays.tied_peak_km(layers, m))
    off = np.abs(rays.muf(tied, 3000.0).muf_mhz / 8 / m - 1)
    assert off[x == 2].max() < 0.03
    assert off[x > 2].max() < 0.015


def test_muf_of_rays_against_the_formula():
    """4,000 places, days and suns (65 to 220 sfu), the F2 peak tied, 300 to 4000 km.

    Rays over the formula, percentiles 1, 5, 50, 95, 99 [%]:
     300 km  -0.7 -0.7 -0.2 +0.5 +1.0     2500 km  -1.9 -1.2 -0.3 +0.5 +0.8
     500 km  -2.1 -1.9 -0.8 +0.6 +1.5     3000 km  -2.7 -1.2  0.0 +0.7 +0.9 (tied here)
    1000 km  -2.8 -2.3 -0.8 +1.0 +2.2     3500 km  -3.9 -1.1 +0.4 +0.9 +1.3
    1500 km  -2.1 -1.6 -0.7 +0.6 +1.9     4000 km  -4.4 -1.2 +0.4 +1.1 +1.7
    2000 km  -1.7 -1.3 -0.6 +0.4 +1.2

    High sun makes a peak that lies higher, and rays 1 % below the formula at 500 to 1500 km; low
    sun lies on it. Outliers beyond 5 % (to 52 %) are 0.4 to 1.4 % of cases; all have foF2/foE below
    2, nearly all an F1 layer at 0.8 to 0.9 of foF2. There the formula holds foF2/foE at 2, the peak
    cannot be tied, and F1 and F2 are nearly one layer.
    """
    rng = np.random.default_rng(28)
    layers, c, _ = at_random_places(rng, 4000)
    height = np.clip(rays.tied_peak_km(layers, formula(3000.0, c)[1]), 180.0, 700.0)
    tied = layers._replace(hmf2_km=height)
    x = c.fof2_mhz / c.foe_mhz
    for hop_km in (300.0, 500.0, 1000.0, 1500.0, 2000.0, 2500.0, 3000.0, 3500.0, 4000.0):
        off = rays.muf(tied, hop_km).muf_mhz / formula(hop_km, c)[0] - 1
        assert abs(np.median(off)) < 0.013
        assert np.percentile(np.abs(off), 90) < 0.03
        assert np.percentile(np.abs(off), 98) < 0.045
        assert np.abs(off[x > 2.5]).max() < 0.05
        outlier = np.abs(off) > 0.05
        assert outlier.mean() < 0.02
        assert x[outlier].max() < 2.0

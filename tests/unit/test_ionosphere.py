"""Behaviour of the ionosphere face: shapes, options, limits, errors."""

import numpy as np
import pytest

import farhear as fh
from farhear import ionosphere

T = fh.utc(np.arange("2025-06-01", "2025-06-02", 3600, "datetime64[s]"), naive_is_utc=True)


def test_scalar_array_and_grid_agree() -> None:
    lat, lon = np.array([50.0, -35.0, 0.0]), np.array([10.0, 150.0, -60.0])
    grid = ionosphere.characteristics(T[:, None], lat, lon, 110.0)
    assert grid.fof2_mhz.shape == (24, 3)
    for t in (0, 7, 23):
        for p in range(3):
            one = ionosphere.characteristics(T[t], lat[p], lon[p], 110.0)
            assert np.ndim(one.fof2_mhz) == 0
            for whole, single in zip(grid, one, strict=True):
                np.testing.assert_array_equal(whole[t, p], single)
    pairs = ionosphere.characteristics(T[:3], lat, lon, 110.0)
    np.testing.assert_array_equal(pairs.fof2_mhz, np.diagonal(grid.fof2_mhz[:3]))


def test_months_join_smoothly() -> None:
    """A year of noons: no step at a month's start or middle, and none larger than a day's drift."""
    days = fh.utc(
        np.arange("2023-01-01T12:00", "2025-01-01", 86400, "datetime64[s]"), naive_is_utc=True
    )
    fof2 = ionosphere.characteristics(days, 50.0, 10.0, 120.0).fof2_mhz
    assert np.abs(np.diff(fof2)).max() < 0.12


def test_saturation_is_switchable() -> None:
    held = ionosphere.characteristics(T, 20.0, 100.0, 260.0).fof2_mhz
    free = ionosphere.characteristics(T, 20.0, 100.0, 260.0, saturate=False).fof2_mhz
    top = ionosphere.characteristics(T, 20.0, 100.0, 192.93).fof2_mhz
    assert (free > held + 0.1).any()
    np.testing.assert_allclose(held, top, atol=2e-3)  # 192.93 sfu is R12 = 150


def test_field_epoch_moves_fof2_most_where_it_is_known_to() -> None:
    # Source: measured difference of maps with the field of 1960 and of the date: 0.4-0.6 MHz rms
    # over the globe, 3-6 MHz near 5-20 S, 30-35 W (April; an independent run).
    t = fh.utc(np.arange("2026-04-15", "2026-04-16", 7200, "datetime64[s]"), naive_is_utc=True)
    lat, lon = np.meshgrid(np.arange(-85.0, 86.0, 10.0), np.arange(-180.0, 180.0, 15.0))
    args = (t[:, None, None], lat, lon, 145.4)
    now = ionosphere.characteristics(*args).fof2_mhz
    then = ionosphere.characteristics(*args, field_year=1960.0).fof2_mhz
    weight = np.cos(np.radians(lat))
    rms = np.sqrt(((now - then) ** 2 * weight).mean() / weight.mean())
    assert 0.3 < rms < 0.8
    spot = (t[:, None], np.arange(-20.0, -4.0, 5.0), -32.0, 145.4)
    shift = (
        ionosphere.characteristics(*spot).fof2_mhz
        - ionosphere.characteristics(*spot, field_year=1960.0).fof2_mhz
    )
    assert np.abs(shift).max() > 2.0


def test_f1_exists_by_day_only() -> None:
    fof1 = ionosphere.characteristics(T, 50.0, 10.0, 100.0).fof1_mhz
    assert np.isnan(fof1[0])
    assert 3.5 < fof1[11] < 6.0


def test_nan_passes_through() -> None:
    out = ionosphere.characteristics(T[:2], [50.0, np.nan], 10.0, 100.0)
    assert np.isfinite(out.fof2_mhz[0])
    assert all(np.isnan(v[1]) for v in out)


def test_strided_views_are_read_right() -> None:
    lat = np.linspace(-60.0, 60.0, 14)
    forward = ionosphere.characteristics(T[0], lat, 10.0, 100.0).fof2_mhz
    backward = ionosphere.characteristics(T[0], lat[::-1], 10.0, 100.0).fof2_mhz
    stepped = ionosphere.characteristics(T[0], lat[::3], 10.0, 100.0).fof2_mhz
    square = ionosphere.characteristics(T[0], lat.reshape(2, 7).T, 10.0, 100.0).fof2_mhz
    np.testing.assert_array_equal(backward, forward[::-1])
    np.testing.assert_array_equal(stepped, forward[::3])
    np.testing.assert_array_equal(square, forward.reshape(2, 7).T)


@pytest.mark.parametrize(
    ("args", "text"),
    [
        (("2025-06-01T12:00", 50.0, 10.0, 100.0), "no time zone"),
        (("2025-06-01T12:00Z", 95.0, 10.0, 100.0), "lat_deg = 95 .*swapped"),
        (("2025-06-01T12:00Z", 50.0, 410.0, 100.0), "lon_deg = 410"),
        (("2025-06-01T12:00Z", 50.0, 10.0, 700.0), "f107_sfu = 700"),
        (("1890-06-01T12:00Z", 50.0, 10.0, 100.0), "1900"),
        (("2033-06-01T12:00Z", 50.0, 10.0, 100.0), "year"),
        (("2025-06-01T12:00Z", [1.0, 2.0], [1.0, 2.0, 3.0], 100.0), "do not broadcast"),
    ],
)
def test_bad_input_is_named(args: tuple[object, ...], text: str) -> None:
    with pytest.raises(fh.InputError, match=text):
        ionosphere.characteristics(*args)  # type: ignore[arg-type]


def test_median_layers_are_the_characteristics_as_a_profile():
    rng = np.random.default_rng(5)
    lat_deg, lon_deg = rng.uniform(-60, 60, (60, 1)), rng.uniform(-180, 180, (60, 1))
    utc = fh.utc([f"2024-{m:02}-15T{h:02}:30Z" for m in (1, 4, 7, 10) for h in (0, 5, 11, 17, 21)])
    layers = fh.ionosphere.median_layers(utc, lat_deg, lon_deg, 150.0)
    c = fh.ionosphere.characteristics(utc, lat_deg, lon_deg, 150.0)
    assert layers.hmf2_km.shape == (60, 20)
    assert np.array_equal(layers.fof2_mhz, c.fof2_mhz)
    assert np.array_equal(layers.foe_mhz, c.foe_mhz)
    # what M(3000)F2 means: MUF over 3000 km by foF2; rays against the mirror of the definition
    ratio = fh.rays.muf(layers, 3000.0).muf_mhz / c.fof2_mhz / c.m3000f2_ratio
    assert np.median(ratio) == pytest.approx(1.0, abs=0.02)
    assert np.percentile(np.abs(ratio - 1.0), 95) < 0.05
    # F1 fades: never above the mapped one, and none where the sun is low
    has = layers.fof1_mhz > 0.0
    assert 0.1 < has.mean() < 0.5
    assert (
        layers.fof1_mhz[has & ~np.isnan(c.fof1_mhz)]
        <= 1.0001 * c.fof1_mhz[has & ~np.isnan(c.fof1_mhz)]
    ).all()
    zenith_deg = fh.sun.position(utc, lat_deg, lon_deg).zenith_deg
    assert zenith_deg[has].max() < 90.0
    nothing = fh.ionosphere.median_layers(utc, np.nan, 0.0, 150.0)
    assert np.isnan(nothing.fof2_mhz).all()
    with pytest.raises(fh.InputError, match="lat_deg"):
        fh.ionosphere.median_layers(utc, 91.0, 0.0, 150.0)

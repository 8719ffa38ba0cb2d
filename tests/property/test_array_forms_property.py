"""Whatever form an array comes in, the core answers alike: byte order, strides, types, sizes.

Nothing published: an answer is held against the answer to plain contiguous float64.
"""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from farhear import clock, ionosphere, losses, magnetic, path, rays, skywave, sporadic, sun
from farhear.errors import InputError
from farhear.noise import galactic
from farhear.reception import likelihood
from farhear.times import UtcTimes

N = 12
RNG = np.random.default_rng(4)
LAT = np.array([-90.0, 90.0, 0.0, -0.0, 5e-324, 1e-300, 58.5, -33.25, 89.999, 12.5, -66.5, 41.0])
LON = np.array(
    [-180.0, 180.0, 360.0, 0.0, -5e-324, 179.999, 26.75, 151.5, -90.0, 90.0, 0.25, 300.0]
)
# Ends of what is served, year ends, the eve of a leap second (UTC is counted without them), changes
# of the clock.
TIME = np.array([-2208988800.0, 4133980799.0, 0.0, -1.0, 1735689600.0, 1735689599.0, 1483228799.0,
                 1743296400.0, 1743296399.5, 1761440400.0, 1.7e9, 5e-324])  # fmt: skip
PLACE = {"lat": LAT, "lon": LON}
ENDS_NAMES = ("lat1_deg", "lon1_deg", "lat2_deg", "lon2_deg")
ENDS = (LAT, LON, LAT[::-1].copy(), np.roll(LON, 5))
UP = {"freq": np.geomspace(1600.0, 30000.0, N)}
NOW = UtcTimes(np.full(N, 1.7e9))
INSTANT = UtcTimes(np.array(1.7e9))


def traced(fof2, freq, elevation):
    return rays.trace(rays.Layers(3.0, fof2, 300.0, 80.0), freq, elevation)


def heard(lat, lon, freq):
    given_ = {"power_kw": 100.0, "f107_sfu": 150.0}
    return likelihood(lat, lon, 58.4, 26.7, freq, INSTANT, **given_)


def even(low, high):
    return np.linspace(low, high, N)


CALLS = {
    "to_local": (lambda t: clock.to_local(UtcTimes(t), "Europe/Tallinn"), {"t": TIME}),
    "sun": (lambda t, lat, lon: sun.position(UtcTimes(t), lat, lon), {"t": TIME, **PLACE}),
    "inverse": (path.inverse, dict(zip(ENDS_NAMES, ENDS, strict=True))),
    "sphere": (path.sphere, dict(zip(ENDS_NAMES, ENDS, strict=True))),
    "antipode": (
        lambda lat, lon: path.inverse(lat, lon, -lat, lon - 180.0),
        {"lat": LAT, "lon": LON % 360.0},
    ),
    "direct": (
        lambda lat, lon, azimuth, far: path.direct(lat, lon, azimuth, far),
        {**PLACE, "azimuth": even(0, 360), "far": even(0, 20000)},
    ),
    "locator": (path.locator, {"lat_deg": LAT, "lon_deg": LON}),
    "field": (
        lambda lat, lon, height: magnetic.field(lat, lon, height, 2020.5),
        {**PLACE, "height": even(0, 1000)},
    ),
    "maps": (
        lambda lat, lon, flux: ionosphere.characteristics(NOW, lat, lon, flux),
        {**PLACE, "flux": even(50, 400)},
    ),
    "sporadic": (lambda lat, lon: sporadic.sporadic_e(NOW, lat, lon, 120.0), PLACE),
    "rays": (traced, {"fof2": even(4, 12), "freq": even(2, 40), "elevation": even(0, 90)}),
    "absorption": (
        lambda freq, zenith: losses.d_region_db(freq, 1.0, zenith, 30.0),
        {**UP, "zenith": even(0, 180)},
    ),
    "galactic": (galactic, {"freq_khz": UP["freq"]}),
    "muf": (
        lambda lat, lon: skywave.muf(lat, lon, 58.4, 26.7, INSTANT, f107_sfu=150.0),
        PLACE,
    ),
    "likelihood": (heard, {**PLACE, **UP}),
}
CONSTANT = {"demodulation_gain_db", "upper_decile_db", "lower_decile_db"}
"""Columns that may say something where a number is missing."""
FORMS = {
    "big-endian": lambda a: a.astype(">f8"),
    "read-only": lambda a: frozen(a.copy()),
    "strided": lambda a: np.repeat(a, 3)[1::3],
    "backwards in memory": lambda a: a[::-1].copy()[::-1],
    "a column of a table": lambda a: np.column_stack([a, a + 1.0])[:, 0],
    "not aligned": lambda a: shifted(a),
    "a broadcast view": lambda a: np.broadcast_to(a, (2, a.size))[1],
    "a pandas series": lambda a: pd.Series(a, index=range(a.size, 0, -1)),
    "objects": lambda a: a.astype(object),
    "a list": lambda a: a.tolist(),
}


def frozen(array):
    array.flags.writeable = False
    return array


def shifted(array):
    """The same numbers, one byte off where processors like them."""
    raw = np.empty(array.nbytes + 1, np.uint8)
    out = raw[1:].view(np.float64)
    out[:] = array
    return out


def columns_of(answer):
    """Arrays of an answer, whatever kind of answer it is."""
    if hasattr(answer, "data_vars"):
        return {name: answer[name].to_numpy() for name in answer.data_vars}
    if isinstance(answer, tuple):
        return {name: getattr(answer, name) for name in answer._fields}
    if hasattr(answer, "__dataclass_fields__"):
        return {name: getattr(answer, name) for name in answer.__dataclass_fields__}
    return {"": answer}


def same(a, b):
    a, b = columns_of(a), columns_of(b)
    assert a.keys() == b.keys()
    for name, column in a.items():
        np.testing.assert_array_equal(np.asarray(column), np.asarray(b[name]), err_msg=name)


@pytest.mark.parametrize("name", CALLS)
@pytest.mark.parametrize("form", FORMS)
def test_the_form_changes_nothing(name, form):
    call, columns = CALLS[name]
    given_ = {key: FORMS[form](column) for key, column in columns.items()}
    if name in {"antipode"} and form in {"a list", "objects"}:
        given_ = {key: np.asarray(column, np.float64) for key, column in given_.items()}
    if name in {"to_local", "sun"}:  # instants have a class of their own
        given_["t"] = np.asarray(given_["t"], np.float64)
    same(call(**given_), call(**columns))


@pytest.mark.parametrize("name", CALLS)
def test_part_of_an_array_is_answered_as_in_the_whole(name):
    call, columns = CALLS[name]
    whole = columns_of(call(**columns))
    if name in {"maps", "sporadic"}:
        pytest.skip("the call fixes its number of instants")
    for i in range(N):
        alone = columns_of(call(**{key: column[i : i + 1] for key, column in columns.items()}))
        for key, column in whole.items():
            np.testing.assert_array_equal(np.asarray(column)[i], np.asarray(alone[key])[0], key)


@pytest.mark.parametrize("name", sorted(set(CALLS) - {"maps", "sporadic"}))
def test_nothing_in_nothing_out(name):
    call, columns = CALLS[name]
    for column in columns_of(call(**{key: np.empty(0) for key in columns})).values():
        assert np.asarray(column).size == 0


@pytest.mark.parametrize("name", sorted(set(CALLS) - {"to_local"}))
@pytest.mark.parametrize(
    "wrong",
    [
        np.full(N, 1j),
        np.full(N, "58.4"),
        np.full(N, np.datetime64("2024-01-01")),
        np.full(N, b"x"),
        {"a": 1},
    ],
    ids=["complex", "text", "dates", "bytes", "a dict"],
)
def test_what_is_no_number_is_refused_by_name(name, wrong):
    call, columns = CALLS[name]
    key = next(k for k in columns if k != "t")
    if name == "antipode":
        pytest.skip("the call does sums itself")
    with pytest.raises(InputError, match="is not a number or an array of numbers"):
        call(**(columns | {key: wrong}))


@pytest.mark.parametrize("name", sorted(set(CALLS) - {"to_local", "antipode"}))
@pytest.mark.parametrize("far", [np.inf, -np.inf, 1e308])
def test_infinity_is_refused(name, far):
    call, columns = CALLS[name]
    key = next(k for k in columns if k != "t")
    with pytest.raises(InputError, match="outside"):
        call(**(columns | {key: np.full(N, far)}))


@pytest.mark.parametrize("name", CALLS)
def test_missing_in_missing_out(name):
    call, columns = CALLS[name]
    whole = columns_of(call(**columns))
    for key in columns:
        holed = {k: c.copy() for k, c in columns.items()}
        holed[key][3] = np.nan
        for column, values in columns_of(call(**holed)).items():
            values = np.asarray(values)
            others = np.arange(N) != 3
            np.testing.assert_array_equal(values[others], np.asarray(whole[column])[others], column)
            if values.dtype.kind == "f" and values.ndim == 1 and column not in CONSTANT:
                assert np.isnan(values[3]), column


@given(st.floats(-90, 90, width=32), st.floats(-180, 180, width=32), st.integers(-80, 80))
def test_narrow_types_are_widened_not_rounded_again(lat, lon, whole):
    wide = path.inverse(lat, lon, float(whole), 10.0)
    narrow = path.inverse(np.float32(lat), np.float32(lon), np.int8(whole), np.uint8(10))
    same(wide, narrow)


def test_ten_million():
    n = 10_000_000
    t = np.linspace(0.0, 1.8e9, n)
    lat, lon = np.linspace(-90.0, 90.0, n), np.linspace(-180.0, 180.0, n)
    some = np.arange(0, n, 999_983)
    here = sun.position(UtcTimes(t), lat, lon)
    same(
        type(here)(*(column[some] for column in here)),
        sun.position(UtcTimes(t[some]), lat[some], lon[some]),
    )
    local = clock.to_local(UtcTimes(t), "Europe/Tallinn")
    np.testing.assert_array_equal(local[some], clock.to_local(UtcTimes(t[some]), "Europe/Tallinn"))
    line = path.sphere(lat, lon, 58.4, 26.7)
    same(
        type(line)(*(column[some] for column in line)),
        path.sphere(lat[some], lon[some], 58.4, 26.7),
    )

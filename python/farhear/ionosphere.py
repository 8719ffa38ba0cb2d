"""Monthly median ionosphere over any place at any time.

foF2 and M(3000)F2 from the CCIR maps, foE, foF1 and the height of the F2 peak. The driver is the
12-month smoothed 10.7 cm flux; it is turned into IG12, the index the maps like best.

What these numbers are: medians over a month. Single days scatter about foF2 by 8-16 % at middle
latitudes and by up to 30 % near the magnetic equator at night (a proxy, see the model card).
"""

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from farhear import _core
from farhear._arrays import (
    FLUX_SFU,
    Floats,
    Indices,
    as_float64,
    broadcast_shape,
    check_place,
    check_range,
    flatten,
    pair,
    restore,
)
from farhear._core_models import drive, field, maps
from farhear.rays import LAYER_ORDER, Layers
from farhear.times import unix_s

__all__ = [
    "Characteristics",
    "MonthlyMaps",
    "characteristics",
    "f107_from_r12",
    "ig12_from_r12",
    "median_layers",
    "monthly_maps",
    "r12_from_f107",
]


class Characteristics(NamedTuple):
    """Monthly medians, arrays of the broadcast shape."""

    fof2_mhz: Any
    m3000f2_ratio: Any
    foe_mhz: Any
    fof1_mhz: Any
    hmf2_km: Any


class MonthlyMaps(NamedTuple):
    """Values of the two maps, arrays of shape (instants, places)."""

    fof2_mhz: Floats
    m3000f2_ratio: Floats


def _elementwise(function: Any, name: str, value: ArrayLike) -> Any:
    values = as_float64(name, value)
    return restore(function(flatten(values.shape, values)[0]), values.shape)


def f107_from_r12(r12: ArrayLike) -> Any:
    """12-month smoothed 10.7 cm flux from the smoothed sunspot number, series version 1. [sfu]

    63.7 + 0.728 R12 + 8.9e-4 R12^2.

    Examples
    --------
    >>> round(float(f107_from_r12(100.0)), 2)
    145.4

    References
    ----------
    Recommendation ITU-R P.371 (coefficients from memory; near-identical ones are in open texts).
    """
    return _elementwise(_core.ionosphere.f107_from_r12, "r12", r12)


def r12_from_f107(f107_sfu: ArrayLike) -> Any:
    """Smoothed sunspot number (series version 1) from the smoothed flux: exact inverse, >= 0."""
    return _elementwise(_core.ionosphere.r12_from_f107, "f107_sfu", f107_sfu)


def ig12_from_r12(r12: ArrayLike) -> Any:
    """IG12, the index that drives the maps; goes below zero near solar minimum, on purpose."""
    return _elementwise(_core.ionosphere.ig12_from_r12, "r12", r12)


def characteristics(
    utc: Any,
    lat_deg: ArrayLike,
    lon_deg: ArrayLike,
    f107_sfu: ArrayLike,
    *,
    saturate: bool = True,
    field_year: float | None = None,
    foe_form: str = "b",
) -> Characteristics:
    """Return monthly median layer values, interpolated to the day.

    Parameters
    ----------
    utc
        Instants (see `farhear.utc`), any shape that broadcasts. Years 1900-2029 (the magnetic
        field's range).
    lat_deg, lon_deg
        Place, north and east positive. [deg]
    f107_sfu
        12-month smoothed 10.7 cm flux, observed, 50 to 400. [sfu]
    saturate
        Hold the index of foF2 and M(3000)F2 at that of R12 = 150 (as the standard does, from
        memory).
    field_year
        Year of the magnetic field behind modip; None is the middle of the date's own year. The maps
        were fitted with a field of about 1960 (from memory); on private ionosonde medians of 2019
        the date's field was nearer (0.75 against 0.98 MHz rms). The choice moves foF2 by
        0.4-0.6 MHz rms and by up to 6 MHz near 5-20 S, 30-35 W.
    foe_form
        "b", smooth through dusk and dawn, or "a", the older form with branches.

    Returns
    -------
    Characteristics of the broadcast shape: fof2_mhz [MHz, >= 0.5], m3000f2_ratio [1.5 to 4.5],
    foe_mhz [MHz], fof1_mhz [MHz, NaN where there is no F1 layer], hmf2_km [km]. NaN in gives NaN.

    Raises
    ------
    InputError
        On naive times, values out of range, shapes that do not broadcast.

    Examples
    --------
    >>> import farhear as fh
    >>> c = characteristics("2025-03-15T18:00Z", 48.9, 13.3, 145.4)
    >>> 7.0 < c.fof2_mhz < 8.5
    True

    References
    ----------
    Maps: Jones and Gallet 1962/65, CCIR coefficients. foE: Nava et al. 2008. foF1: DuCharme,
    Petrie and Eyfrig 1971/73. hmF2: Bilitza, Sheikh and Eyfrig 1979. IG12: the relation in use
    with the International Reference Ionosphere.
    """
    how = drive(saturate=saturate, field_year=field_year, foe_form=foe_form)
    names = Characteristics._fields
    of = _core.ionosphere.characteristics
    return Characteristics(**_medians(of, names, how, utc, lat_deg, lon_deg, f107_sfu))


def median_layers(
    utc: Any,
    lat_deg: ArrayLike,
    lon_deg: ArrayLike,
    f107_sfu: ArrayLike,
    *,
    saturate: bool = True,
    field_year: float | None = None,
    foe_form: str = "b",
) -> Layers:
    """Return the layers that :mod:`farhear.skywave` sends rays through, without storms.

    Parameters and errors as in :func:`characteristics`.

    Returns
    -------
    Layers of the broadcast shape. The peak of F2 lies where MUF(3000) over foF2 is the mapped
    M(3000)F2; F1 sinks into E as it fades, and is left out once it is thinner than 1 km.

    References
    ----------
    Half thickness of F2: bottom side of the International Reference Ionosphere, times 2.493 [own].
    Height of F1: 165 km + 0.64 km a degree of zenith angle (from memory).
    """
    how = drive(saturate=saturate, field_year=field_year, foe_form=foe_form)
    of = _core.circuit.median_layers
    found = _medians(of, LAYER_ORDER, how, utc, lat_deg, lon_deg, f107_sfu)
    is_thin = found["half_thickness_f1_km"] < 1.0
    for name in ("fof1_mhz", "hmf1_km", "half_thickness_f1_km"):
        found[name] = np.where(is_thin, Layers._field_defaults[name], found[name])[()]
    return Layers(**found)


def _medians(
    of: Any,
    names: Sequence[str],
    how: Any,
    utc: Any,
    lat_deg: ArrayLike,
    lon_deg: ArrayLike,
    f107_sfu: ArrayLike,
) -> dict[str, Any]:
    """Columns of a function of the core for every place at every instant, by name."""
    lat, lon = as_float64("lat_deg", lat_deg), as_float64("lon_deg", lon_deg)
    flux = as_float64("f107_sfu", f107_sfu)
    check_place(lat, lon)
    check_range("f107_sfu", flux, *FLUX_SFU)
    pairing = pair({"lat_deg": lat, "lon_deg": lon}, {"utc": unix_s(utc), "f107_sfu": flux})

    def call(
        instants: list[Floats], rows: Indices, index: Indices, _each: list[Floats]
    ) -> dict[str, Floats]:
        args: tuple[Any, ...] = (*pairing.rows, *instants, rows, index)
        return dict(zip(names, of(maps(), field(), how, *args), strict=True))

    return {name: values[()] for name, values in pairing.run(call).items()}


def monthly_maps(
    month: ArrayLike,
    ut_h: ArrayLike,
    lat_deg: ArrayLike,
    lon_deg: ArrayLike,
    modip_deg: ArrayLike,
    ig12: ArrayLike,
) -> MonthlyMaps:
    """Evaluate the two maps for the middle of months, modip given: every instant at every place.

    Parameters
    ----------
    month, ut_h, ig12
        Month 1 to 12, hour of UT, index (levels 0 and 100 are tabulated, linear in between and
        beyond); they broadcast to the instants.
    lat_deg, lon_deg, modip_deg
        Places, one axis together. [deg]

    Returns
    -------
    MonthlyMaps of shape (instants, places): fof2_mhz [MHz], m3000f2_ratio. No floor, no limits.

    References
    ----------
    Jones and Gallet 1962/65; CCIR coefficients as shipped (`data/ccir/PROVENANCE.md`).
    """
    lat, lon = as_float64("lat_deg", lat_deg), as_float64("lon_deg", lon_deg)
    modip = as_float64("modip_deg", modip_deg)
    check_place(lat, lon)
    months, hours = as_float64("month", month), as_float64("ut_h", ut_h)
    index = as_float64("ig12", ig12)
    check_range("month", months, 1, 12)
    places = broadcast_shape(lat_deg=lat, lon_deg=lon, modip_deg=modip)
    instants = broadcast_shape(month=months, ut_h=hours, ig12=index)
    flat_months, flat_hours, flat_index = flatten(instants, months, hours, index)
    lat, lon, modip = flatten(places, lat, lon, modip)
    which = [int(m) for m in flat_months]
    fof2, m3000 = _core.ionosphere.product(maps(), lat, lon, modip, which, flat_hours, flat_index)
    shape = (flat_hours.size, -1)
    return MonthlyMaps(fof2.reshape(shape), m3000.reshape(shape))

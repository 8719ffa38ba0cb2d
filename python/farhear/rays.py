"""Rays through a spherically stratified ionosphere, in closed form.

The profile is made of quasi-parabolic pieces: E layer, an inverted piece that joins it without a
kink to F1 (by day) or F2, and so on. No magnetic field, no collisions, no tilts, no valley above E.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from farhear import _core
from farhear._arrays import Floats, as_float64, broadcast_shape, check_range, flatten
from farhear.errors import InputError

__all__ = [
    "LAYER_ORDER",
    "REGIONS",
    "Landing",
    "Layers",
    "Ray",
    "muf",
    "plasma_mhz2",
    "tied_peak_km",
    "trace",
]

REGIONS = {0: "E", 1: "F1", 2: "F2"}


class Layers(NamedTuple):
    """Critical frequency [MHz], height of the peak and half thickness [km] of each layer.

    Everything broadcasts. `fof1_mhz` 0: no F1 layer. What does not fit is bent so that a profile
    always comes out: a critical frequency at least 3 % below that of the next layer (0.01 % where
    that is F1 over E), a half thickness at most 0.85 of the way down to the peak below, that of E
    and F1 at most 6371 km times critical frequency over five times foF2 (foE 0.7 MHz under foF2
    15 MHz: 59 km).
    """

    foe_mhz: ArrayLike
    fof2_mhz: ArrayLike
    hmf2_km: ArrayLike
    half_thickness_f2_km: ArrayLike
    fof1_mhz: ArrayLike = 0.0
    hmf1_km: ArrayLike = 180.0
    half_thickness_f1_km: ArrayLike = 40.0
    hme_km: ArrayLike = 110.0
    half_thickness_e_km: ArrayLike = 20.0


class Ray(NamedTuple):
    """One hop from ground to ground; NaN where the ray goes through all layers."""

    ground_range_km: Any
    group_path_km: Any
    turning_km: Any
    region: Any


class Landing(NamedTuple):
    """The ray of the highest frequency that lands at a distance."""

    muf_mhz: Any
    elevation_deg: Any
    mirror_km: Any
    turning_km: Any


LAYER_ORDER = (
    "foe_mhz",
    "hme_km",
    "half_thickness_e_km",
    "fof1_mhz",
    "hmf1_km",
    "half_thickness_f1_km",
    "fof2_mhz",
    "hmf2_km",
    "half_thickness_f2_km",
)
"""Columns of :class:`Layers` as the core has them."""
_RANGES = {
    "foe_mhz": (0.05, 20.0),
    "hme_km": (80.0, 150.0),
    "half_thickness_e_km": (1.0, 40.0),
    "fof1_mhz": (0.0, 20.0),
    "hmf1_km": (100.0, 400.0),
    "half_thickness_f1_km": (1.0, 200.0),
    "fof2_mhz": (0.1, 40.0),
    "hmf2_km": (150.0, 800.0),
    "half_thickness_f2_km": (1.0, 400.0),
}


def _columns(
    layers: Layers, **others: ArrayLike
) -> tuple[tuple[int, ...], list[Floats], list[Floats]]:
    """Broadcast the nine layer columns, in the core's order, with some others."""
    arrays = {name: as_float64(name, getattr(layers, name)) for name in LAYER_ORDER}
    for name, array in arrays.items():
        check_range(name, array, *_RANGES[name])
    extra = {name: as_float64(name, value) for name, value in others.items()}
    if np.any(arrays["hmf2_km"] <= arrays["hme_km"]):
        raise InputError("hmf2_km is not above hme_km")
    shape = broadcast_shape(**arrays, **extra)
    return shape, flatten(shape, *arrays.values()), flatten(shape, *extra.values())


def trace(layers: Layers, freq_mhz: ArrayLike, elevation_deg: ArrayLike) -> Ray:
    """Follow rays from ground to ground.

    Parameters
    ----------
    layers
        The profile.
    freq_mhz
        Frequency, 0.5 to 100. [MHz]
    elevation_deg
        Elevation at the ground, 0 to 90. [deg]

    Returns
    -------
    Ray of the broadcast shape: ground range and group path [km], height of the turning point [km],
    region (0 E, 1 F1, 2 F2). NaN where the ray penetrates. Accuracy 0.01 km against quadrature.

    Raises
    ------
    InputError
        On values out of range and shapes that do not broadcast.

    References
    ----------
    Croft and Hoogasian, Radio Science 3(1), 1968; Dyson and Bennett, JATP 50, 1988.

    Examples
    --------
    >>> ray = trace(Layers(3.2, 8.0, 300.0, 100.0), 15.0, 10.0)
    >>> round(float(ray.ground_range_km), 1), round(float(ray.turning_km), 1)
    (2295.3, 172.9)
    """
    shape, columns, (freq, elevation) = _columns(
        layers, freq_mhz=freq_mhz, elevation_deg=elevation_deg
    )
    check_range("freq_mhz", freq, 0.5, 100.0)
    check_range("elevation_deg", elevation, 0.0, 90.0)
    found = _core.rays.trace(columns, freq, elevation)
    return Ray(*(np.asarray(found[name]).reshape(shape)[()] for name in Ray._fields))


def plasma_mhz2(layers: Layers, height_km: ArrayLike) -> Any:
    """Square of the plasma frequency at a height; 0 below E and above the F2 peak. [MHz^2]"""
    shape, columns, (height,) = _columns(layers, height_km=height_km)
    check_range("height_km", height, 0.0, 1000.0)
    return _core.rays.plasma_mhz2(columns, height).reshape(shape)[()]


def muf(layers: Layers, hop_km: ArrayLike, region: str = "F2") -> Landing:
    """Highest frequency (ordinary wave) that one hop of a region lands at a distance.

    Parameters
    ----------
    layers
        The profile.
    hop_km
        Ground distance, 1 to 5000. [km]
    region
        "E", "F1" or "F2": where the ray turns.

    Returns
    -------
    Landing: the frequency [MHz], within 0.5 % of a dense search; its elevation [deg], negative
    beyond the horizon; height of the equivalent mirror and of the turning point [km].

    Examples
    --------
    >>> best = muf(Layers(3.2, 8.0, 300.0, 100.0), 2000.0)
    >>> round(float(best.muf_mhz), 1)
    18.5
    """
    names = {"E": _core.rays.Region.E, "F1": _core.rays.Region.F1, "F2": _core.rays.Region.F2}
    if region not in names:
        raise InputError(f"region = {region!r} is none of 'E', 'F1', 'F2'")
    shape, columns, (hop,) = _columns(layers, hop_km=hop_km)
    check_range("hop_km", hop, 1.0, 5000.0)
    if region == "F1" and np.any(columns[3] <= 0.0):
        raise InputError("fof1_mhz is 0: no F1 layer to reflect from")
    found = _core.rays.muf(columns, names[region], hop)
    elevation = np.degrees(np.arcsin(np.clip(found["sin_elevation"], -1.0, 1.0)))
    values = (found["muf_mhz"], elevation, found["mirror_km"], found["turning_km"])
    return Landing(*(np.asarray(value).reshape(shape)[()] for value in values))


def tied_peak_km(layers: Layers, target_ratio: ArrayLike) -> Any:
    """Height of the F2 peak that makes MUF(3000)/foF2 `target_ratio`, by one Newton step. [km]"""
    shape, columns, (target,) = _columns(layers, target_ratio=target_ratio)
    check_range("target_ratio", target, 1.0, 6.0)
    return _core.rays.tied_peak_km(columns, target).reshape(shape)[()]

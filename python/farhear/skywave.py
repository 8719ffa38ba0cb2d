"""Sky-wave modes of a circuit: usable frequencies, elevations, losses.

Two geometries. `engine="rays"`, the default, follows rays through a profile of E, F1 and F2 layers
at the middle of every hop, to any distance, with sporadic E. `engine="mirror"` is the fast path of
closed forms over mirrors, kept as a cross-check: no F1, no sporadic E, no auroral loss, no focusing
at the skip distance. Neither has a ground wave (nothing below about 100 km is to be believed) or
ionospheric tilts.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from farhear import _core
from farhear._arrays import (
    FLUX_SFU,
    SLOW_BLOCK,
    Floats,
    Indices,
    as_float64,
    check_place,
    check_range,
    pair,
)
from farhear._core_models import drive, field, maps, models
from farhear.errors import InputError
from farhear.times import unix_s

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["ENGINES", "LAYERS", "ROUTES", "Physics", "modes", "muf"]

ROUTES = {
    "short": _core.skywave.Route.SHORT,
    "long": _core.skywave.Route.LONG,
    "both": _core.skywave.Route.BOTH,
}
ENGINES = {"rays": _core.reception.Engine.RAYS, "mirror": _core.reception.Engine.MIRROR}
LAYERS = {0: "none", 1: "E", 2: "F2", 3: "F1", 4: "Es", 5: "Es-F2"}


@dataclass(frozen=True, slots=True)
class Physics:
    """Which pieces of the physics take part, and the constants that a log may teach better.

    The defaults are what the likelihood uses. Switching a piece off shows what it is worth.
    """

    f1: bool = True
    """F1 layer in the profile, F1 modes."""
    high_ray: bool = True
    """High (Pedersen) rays of F2."""
    focusing: bool = True
    """Spreading of the rays as they are, instead of free space over the group path."""
    most_focusing_db: float = 3.0
    """Its cap: theory has no bound at the skip distance and the horizon; 3 dB by the field data."""
    sporadic_e: bool = True
    """Es modes, mixed modes, and F2 rays hidden by Es."""
    es_dependence: float = 0.5
    """Correlation of foEs between two hops of one day, 0 to 1. [own]"""
    auroral: bool = True
    """Loss by geomagnetic latitude, local time and season."""
    low_angle: bool = True
    """Fall of both antennas' gain towards the horizon over ground."""
    scatter_db: float = 33.0
    """Loss of side scatter, which is what arrives above the MUF of a day. [dB] [own]"""
    absorption_scale: float = 0.7
    """Factor on the D-region absorption. 1 is the published fit; the integral comes to about 0.45
    of it at 10 MHz, and both open field recordings ask for less than 1. [own: between]"""
    night_absorption: float = 0.1
    """Floor of its solar factor. [memory: P.533]"""
    fof2_spread: float = 1.0
    """Factor on how much foF2 spreads from day to day."""
    integral_absorption: bool = False
    """Absorption by the Appleton-Hartree integral through an exponential D region, O wave, instead
    of the fit to measurements: about half by day, next to nothing by night."""
    other_loss_db: float = 6.0
    """Whatever else is lost, polarisation mismatch included. [dB] [assumption]"""

    def __post_init__(self) -> None:
        ranges = {
            "most_focusing_db": (0.0, 20.0),
            "es_dependence": (0.0, 1.0),
            "scatter_db": (0.0, 120.0),
            "absorption_scale": (0.0, 10.0),
            "night_absorption": (0.0, 1.0),
            "fof2_spread": (0.0, 5.0),
            "other_loss_db": (-30.0, 60.0),
        }
        for name, (low, high) in ranges.items():
            check_range(name, as_float64(name, getattr(self, name)), low, high)


def options(physics: Physics | None) -> _core.circuit.Options:
    """Return the core's form of the switches."""
    out = _core.circuit.Options()
    for name, value in asdict(physics or Physics()).items():
        setattr(out, name, value)
    return out


def route(long_path: str) -> _core.skywave.Route:
    """Return the core's word for "short", "long" or "both"."""
    if long_path not in ROUTES:
        raise InputError(f"long_path = {long_path!r} is none of 'short', 'long', 'both'")
    return ROUTES[long_path]


def engine_of(engine: str) -> _core.reception.Engine:
    """Return the core's word for "rays" or "mirror"."""
    if engine not in ENGINES:
        raise InputError(f"engine = {engine!r} is none of 'rays', 'mirror'")
    return ENGINES[engine]


_BUDGET = [
    "hops",
    "long_path",
    "high_ray",
    "elevation_deg",
    "group_path_km",
    "muf_mhz",
    "screening_mhz",
    "gain_dbi",
    "free_space_db",
    "focusing_db",
    "absorption_db",
    "ground_db",
    "auroral_db",
    "horizon_db",
    "low_angle_db",
    "support_db",
    "screening_db",
    "other_db",
    "field_dbuv_m",
]
_MIRROR = [
    "hops",
    "long_path",
    "elevation_deg",
    "group_path_km",
    "muf_mhz",
    "screening_mhz",
    "absorption_db",
    "ground_db",
    "horizon_db",
    "free_space_db",
    "field_dbuv_m",
]


def modes(
    tx_lat_deg: float,
    tx_lon_deg: float,
    rx_lat_deg: float,
    rx_lon_deg: float,
    freq_khz: float,
    utc: Any,
    *,
    f107_sfu: float,
    power_kw: float = 1.0,
    tx_gain_dbi: float = 0.0,
    tx_pattern_dbi: ArrayLike | None = None,
    long_path: str = "both",
    min_elevation_deg: float = 1.0,
    kp: float = np.nan,
    xray_w_m2: float = np.nan,
    engine: str = "rays",
    physics: Physics | None = None,
) -> pd.DataFrame:
    """All landing modes of one circuit at one instant, strongest first.

    Parameters
    ----------
    tx_lat_deg, tx_lon_deg, rx_lat_deg, rx_lon_deg
        Ends of the circuit. [deg]
    freq_khz
        Frequency, 1600 to 30000. [kHz]
    utc
        One instant.
    f107_sfu
        12-month smoothed 10.7 cm flux. [sfu]
    power_kw, tx_gain_dbi, tx_pattern_dbi
        Transmitter power [kW], antenna gain [dBi], and if known the pattern to be added to it: 46
        gains at elevations 0, 2 to 90 deg (see `farhear.antenna.elevation_table_dbi`).
    long_path
        "short", "long" or "both" ways round the Earth.
    min_elevation_deg
        Lowest elevation that counts fully, 0 to 30; below it 8 dB per square degree are lost. [deg]
    kp, xray_w_m2
        Disturbances, see `farhear.reception.likelihood`.
    engine
        "rays" or "mirror".
    physics
        Pieces to switch off or constants to change.

    Returns
    -------
    DataFrame, one row a mode: layer (E, F1, F2, Es, Es-F2), hops, long_path, high_ray,
    elevation_deg, group_path_km, muf_mhz (basic, monthly median, the lowest of the hops),
    screening_mhz (below it a lower layer cuts the mode off), and the loss budget of the median day:
    gain_dbi, free_space_db, focusing_db (a gain), absorption_db, ground_db, auroral_db, horizon_db
    (below the least elevation), low_angle_db (antennas over ground), support_db (lack of support;
    for Es the reflection loss), screening_db, other_db, field_dbuv_m. Es and Es-F2 modes are shown
    on a good day: foEs 1.6 standard deviations above its median. With engine "mirror" fewer
    columns, and the field as if fully supported and not screened.

    References
    ----------
    Recommendations ITU-R P.533, P.534, P.1240 (equations from memory, see the model card), P.525-5
    (read); rays see `farhear.rays`.
    """
    import pandas as pd

    values = {
        "tx_lat_deg": tx_lat_deg,
        "tx_lon_deg": tx_lon_deg,
        "rx_lat_deg": rx_lat_deg,
        "rx_lon_deg": rx_lon_deg,
        "freq_khz": freq_khz,
        "power_kw": power_kw,
        "tx_gain_dbi": tx_gain_dbi,
        "min_elevation_deg": min_elevation_deg,
        "f107_sfu": f107_sfu,
    }
    arrays = {name: as_float64(name, value) for name, value in values.items()}
    when = unix_s(utc)
    for name, array in [*arrays.items(), ("utc", when)]:
        if array.size != 1 or np.isnan(array).any():
            raise InputError(f"{name} must be one number; use reception.likelihood for arrays")
    check_place(arrays["tx_lat_deg"], arrays["tx_lon_deg"], "tx_")
    check_place(arrays["rx_lat_deg"], arrays["rx_lon_deg"], "rx_")
    check_range("freq_khz", arrays["freq_khz"], 1600.0, 30000.0, "kHz, not MHz")
    check_range("power_kw", arrays["power_kw"], 1e-9, 1e5)
    check_range("min_elevation_deg", arrays["min_elevation_deg"], 0.0, 30.0)
    check_range("f107_sfu", arrays["f107_sfu"], *FLUX_SFU)
    check_range("kp", as_float64("kp", kp), 0.0, 9.0)
    check_range("xray_w_m2", as_float64("xray_w_m2", xray_w_m2), 0.0, 0.1)
    one = {name: float(array.reshape(-1)[0]) for name, array in arrays.items()}
    t_unix_s = float(when.reshape(-1)[0])
    if engine_of(engine) == ENGINES["rays"]:
        ends = _core.circuit.Ends(
            one["tx_lat_deg"],
            one["tx_lon_deg"],
            one["rx_lat_deg"],
            one["rx_lon_deg"],
            one["min_elevation_deg"],
            route(long_path),
        )
        found, _ = _core.circuit.modes(
            models(),
            drive(),
            options(physics),
            ends,
            one["freq_khz"] / 1e3,
            one["power_kw"],
            one["tx_gain_dbi"],
            pattern(tx_pattern_dbi).reshape(-1),
            t_unix_s,
            one["f107_sfu"],
            [float(kp), float(xray_w_m2), np.nan, np.nan],
        )
        columns = _BUDGET
    else:
        found = _core.skywave.modes(
            maps(),
            field(),
            drive(),
            route(long_path),
            one["tx_lat_deg"],
            one["tx_lon_deg"],
            one["rx_lat_deg"],
            one["rx_lon_deg"],
            one["freq_khz"] / 1e3,
            one["power_kw"],
            one["tx_gain_dbi"],
            one["min_elevation_deg"],
            t_unix_s,
            one["f107_sfu"],
        )
        columns = _MIRROR
    frame = pd.DataFrame(
        {
            "layer": [LAYERS[int(m.layer)] for m in found],
            **{name: [getattr(m, name) for m in found] for name in columns},
        }
    )
    return frame.sort_values("field_dbuv_m", ascending=False, ignore_index=True)


def pattern(tx_pattern_dbi: ArrayLike | None) -> Floats:
    """Check a gain pattern: an empty array, or one with 46 elevations on its last axis."""
    if tx_pattern_dbi is None:
        return np.empty(0)
    table = as_float64("tx_pattern_dbi", tx_pattern_dbi)
    if table.ndim == 0 or table.shape[-1] != 46:
        raise InputError(
            f"tx_pattern_dbi has shape {table.shape}; its last axis must be the 46 elevations "
            "0, 2 .. 90 deg"
        )
    check_range("tx_pattern_dbi", table, -100.0, 60.0)
    return table


def muf(
    tx_lat_deg: ArrayLike,
    tx_lon_deg: ArrayLike,
    rx_lat_deg: ArrayLike,
    rx_lon_deg: ArrayLike,
    utc: Any,
    *,
    f107_sfu: ArrayLike,
    long_path: str = "short",
    min_elevation_deg: ArrayLike = 1.0,
    engine: str = "rays",
    physics: Physics | None = None,
) -> Any:
    """Highest basic maximum usable frequency, monthly median. [MHz]

    With rays: of the two lowest orders of F2 that land. With engine "mirror": of all modes.
    Arguments broadcast as in `farhear.reception.likelihood`; the result has the broadcast shape.
    """
    columns = {
        "tx_lat_deg": as_float64("tx_lat_deg", tx_lat_deg),
        "tx_lon_deg": as_float64("tx_lon_deg", tx_lon_deg),
        "rx_lat_deg": as_float64("rx_lat_deg", rx_lat_deg),
        "rx_lon_deg": as_float64("rx_lon_deg", rx_lon_deg),
        "min_elevation_deg": as_float64("min_elevation_deg", min_elevation_deg),
    }
    check_place(columns["tx_lat_deg"], columns["tx_lon_deg"], "tx_")
    check_place(columns["rx_lat_deg"], columns["rx_lon_deg"], "rx_")
    check_range("min_elevation_deg", columns["min_elevation_deg"], 0.0, 30.0)
    pairing = pair(columns, {"utc": unix_s(utc), "f107_sfu": as_float64("f107_sfu", f107_sfu)})
    how, way = drive(), route(long_path)
    by_rays = engine_of(engine) == ENGINES["rays"]

    def call(
        instants: list[Floats], rows: Indices, index: Indices, _each: list[Floats]
    ) -> dict[str, Floats]:
        args: tuple[Any, ...] = (*instants, rows, index)
        if by_rays:
            args = (pairing.rows, *args)
            return {"muf_mhz": _core.circuit.muf(models(), how, options(physics), way, *args)}
        args = (*pairing.rows, *args)
        return {"muf_mhz": _core.skywave.muf(maps(), field(), how, way, *args)}

    return pairing.run(call, block=SLOW_BLOCK)["muf_mhz"][()]

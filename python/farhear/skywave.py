"""Sky-wave modes of a circuit: usable frequencies, elevations, losses.

This is the documented fast path: mirror geometry, closed forms. Left out so far: F1 modes, sporadic
E, auroral loss, ground wave (so nothing below about 100 km is to be believed), ionospheric tilts.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from farhear import _core
from farhear._arrays import Floats, Indices, as_float64, check_place, check_range, pair
from farhear._core_models import drive, field, maps
from farhear.errors import InputError
from farhear.times import unix_s

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["ROUTES", "modes", "muf"]

ROUTES = {
    "short": _core.skywave.Route.SHORT,
    "long": _core.skywave.Route.LONG,
    "both": _core.skywave.Route.BOTH,
}
LAYERS = {0: "none", 1: "E", 2: "F2", 3: "F1", 4: "Es", 5: "Es-F"}


def route(long_path: str) -> _core.skywave.Route:
    """Return the core's word for "short", "long" or "both"."""
    if long_path not in ROUTES:
        raise InputError(f"long_path = {long_path!r} is none of 'short', 'long', 'both'")
    return ROUTES[long_path]


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
    long_path: str = "both",
    min_elevation_deg: float = 3.0,
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
    power_kw, tx_gain_dbi
        Transmitter power [kW] and antenna gain towards the receiver [dBi].
    long_path
        "short", "long" or "both" ways round the Earth.
    min_elevation_deg
        Lowest elevation that counts fully, 0 to 30; below it 8 dB per square degree are lost. [deg]

    Returns
    -------
    DataFrame, one row a mode: layer, hops, long_path, elevation_deg, group_path_km, muf_mhz (basic,
    monthly median), screening_mhz (below it the E layer cuts an F2 mode off), absorption_db,
    ground_db, horizon_db (below the least elevation), free_space_db, field_dbuv_m (as if fully
    supported and not screened).

    References
    ----------
    Recommendations ITU-R P.533, P.1240 (equations from memory, see the model card), P.525-5 (read).
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
    check_range("f107_sfu", arrays["f107_sfu"], 50.0, 400.0)
    scalar = {name: float(array.reshape(-1)[0]) for name, array in arrays.items()}
    found = _core.skywave.modes(
        maps(),
        field(),
        drive(),
        route(long_path),
        scalar["tx_lat_deg"],
        scalar["tx_lon_deg"],
        scalar["rx_lat_deg"],
        scalar["rx_lon_deg"],
        scalar["freq_khz"] / 1e3,
        scalar["power_kw"],
        scalar["tx_gain_dbi"],
        scalar["min_elevation_deg"],
        float(when.reshape(-1)[0]),
        scalar["f107_sfu"],
    )
    columns = [
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
    frame = pd.DataFrame(
        {
            "layer": [LAYERS[int(m.layer)] for m in found],
            **{name: [getattr(m, name) for m in found] for name in columns},
        }
    )
    return frame.sort_values("field_dbuv_m", ascending=False, ignore_index=True)


def muf(
    tx_lat_deg: ArrayLike,
    tx_lon_deg: ArrayLike,
    rx_lat_deg: ArrayLike,
    rx_lon_deg: ArrayLike,
    utc: Any,
    *,
    f107_sfu: ArrayLike,
    long_path: str = "short",
    min_elevation_deg: ArrayLike = 3.0,
) -> Any:
    """Highest basic maximum usable frequency of all modes, monthly median. [MHz]

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
    pairing = pair(columns, {"utc": unix_s(utc), "f107_sfu": as_float64("f107_sfu", f107_sfu)})
    how, way = drive(), route(long_path)

    def call(instants: list[Floats], rows: Indices, index: Indices) -> dict[str, Floats]:
        args: tuple[Any, ...] = (*pairing.rows, *instants, rows, index)
        return {"muf_mhz": _core.skywave.muf(maps(), field(), how, way, *args)}

    return pairing.run(call)["muf_mhz"][()]

"""From modes to the likelihood that a signal is heard, and what stands in the way.

A likelihood here is a probability on the model's own terms: monthly medians, a spread from day to
day, fading within the hour, noise. It is not calibrated to a listener's log. The model card in the
README lists what is from memory, what is a proxy, and how many dB each may be off.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from farhear import _core, noise
from farhear._arrays import (
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
from farhear._core_models import drive, models
from farhear.skywave import LAYERS, route
from farhear.times import unix_s

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["LIMITS", "beam_gain_dbi", "likelihood"]

LIMITS = {
    0: "none",
    1: "above_muf",
    2: "absorption",
    3: "noise",
    4: "interference",
    5: "not_on_air",
    6: "power",
}

_NUMBERS: dict[str, tuple[str, str]] = {
    "likelihood": ("1", "likelihood of S/N at or above the required one"),
    "snr_db": ("dB", "signal-to-noise ratio in the bandwidth, monthly median"),
    "snr_lower_decile_db": ("dB", "signal-to-noise ratio exceeded on 90 % of occasions"),
    "snr_upper_decile_db": ("dB", "signal-to-noise ratio exceeded on 10 % of occasions"),
    "field_dbuv_m": ("dB(uV/m)", "field strength, sum of modes, monthly median"),
    "muf_mhz": ("MHz", "highest basic maximum usable frequency, monthly median"),
    "absorption_db": ("dB", "absorption of the strongest mode"),
    "noise_fa_db": ("dB", "external noise figure above k T0 b, man-made and galactic"),
    "elevation_deg": ("degree", "elevation of the strongest mode"),
}
_SOURCE = "farhear, closed forms after ITU-R P.533, P.1240, P.372, P.842 (see the model card)"


def likelihood(
    tx_lat_deg: ArrayLike,
    tx_lon_deg: ArrayLike,
    rx_lat_deg: ArrayLike,
    rx_lon_deg: ArrayLike,
    freq_khz: ArrayLike,
    utc: Any,
    *,
    power_kw: ArrayLike,
    f107_sfu: ArrayLike,
    tx_gain_dbi: ArrayLike = 0.0,
    noise: str | ArrayLike = "residential",
    bandwidth_hz: ArrayLike = 9000.0,
    required_snr_db: ArrayLike = 17.0,
    long_path: str = "both",
    min_elevation_deg: ArrayLike = 3.0,
    saturate: bool = True,
    field_year: float | None = None,
    foe_form: str = "b",
    engine: str = "rays",
    options: Any = None,
) -> xr.Dataset:
    """Likelihood that a signal is received well enough, with its S/N and what limits it.

    All arguments broadcast. Where circuits and instants lie on different axes, e.g. circuits of
    shape (n, 1) against times of shape (t,), each circuit and each instant is prepared only once:
    that is the fast way. It serves any emitter, a beacon of 100 W in 500 Hz as well as a broadcast.

    Parameters
    ----------
    tx_lat_deg, tx_lon_deg, rx_lat_deg, rx_lon_deg
        Transmitter and receiver, north and east positive. [deg]
    freq_khz
        Frequency, 1600 to 30000. [kHz]
    utc
        Instants (see `farhear.utc`).
    power_kw
        Transmitter power. [kW]
    f107_sfu
        12-month smoothed 10.7 cm flux, observed (see `farhear.indices`). [sfu]
    tx_gain_dbi
        Antenna gain towards the receiver at the take-off angle; `beam_gain_dbi` helps. [dBi]
    noise
        "city", "residential", "rural", "quiet rural", or the measured median man-made noise figure
        at this frequency [dB above k T0 b] (deciles of residential are then assumed).
    bandwidth_hz
        Receiver bandwidth. [Hz]
    required_snr_db
        Signal-to-noise ratio in that bandwidth that counts as heard: 6 a carrier, 10-12 language
        recognisable, 17 intelligible with effort, 26 comfortable (common practice, no source). [dB]
    long_path
        "short", "long" or "both" ways round the Earth (powers add).
    min_elevation_deg
        Lowest elevation that counts fully, 0 to 30; below it 8 dB per square degree are lost. [deg]
    saturate, field_year, foe_form
        As in `farhear.ionosphere.characteristics`.

    Returns
    -------
    xarray.Dataset of the broadcast shape, dims dim_0, dim_1, ...: likelihood, snr_db,
    snr_lower_decile_db, snr_upper_decile_db, field_dbuv_m, muf_mhz, absorption_db, noise_fa_db,
    elevation_deg, hops, layer, long_path, limit. `limit` is what would help most if it were taken
    away, where the likelihood is below one half: above_muf, absorption, noise, power. NaN in gives
    NaN out.

    Raises
    ------
    InputError
        On naive times, values out of range, shapes that do not broadcast.

    Examples
    --------
    >>> import farhear as fh
    >>> r = likelihood(45.0, 25.0, 51.5, 0.0, 9600.0, "2025-03-15T18:00Z", power_kw=250.0,
    ...                f107_sfu=145.4, tx_gain_dbi=17.0)
    >>> bool(r.likelihood > 0.9)
    True
    """
    import xarray as xr

    columns = {
        "tx_lat_deg": as_float64("tx_lat_deg", tx_lat_deg),
        "tx_lon_deg": as_float64("tx_lon_deg", tx_lon_deg),
        "rx_lat_deg": as_float64("rx_lat_deg", rx_lat_deg),
        "rx_lon_deg": as_float64("rx_lon_deg", rx_lon_deg),
        "freq_khz": as_float64("freq_khz", freq_khz),
        "power_kw": as_float64("power_kw", power_kw),
        "tx_gain_dbi": as_float64("tx_gain_dbi", tx_gain_dbi),
        **_noise_columns(noise, as_float64("freq_khz", freq_khz)),
        "bandwidth_hz": as_float64("bandwidth_hz", bandwidth_hz),
        "required_snr_db": as_float64("required_snr_db", required_snr_db),
        "min_elevation_deg": as_float64("min_elevation_deg", min_elevation_deg),
    }
    check_place(columns["tx_lat_deg"], columns["tx_lon_deg"], "tx_")
    check_place(columns["rx_lat_deg"], columns["rx_lon_deg"], "rx_")
    check_range("power_kw", columns["power_kw"], 1e-9, 1e5)
    check_range("bandwidth_hz", columns["bandwidth_hz"], 0.01, 1e6)
    check_range("min_elevation_deg", columns["min_elevation_deg"], 0.0, 30.0)
    flux = as_float64("f107_sfu", f107_sfu)
    check_range("f107_sfu", flux, 50.0, 400.0)
    pairing = pair(columns, {"utc": unix_s(utc), "f107_sfu": flux})
    how = drive(saturate=saturate, field_year=field_year, foe_form=foe_form)
    way = route(long_path)
    which = {"rays": _core.reception.Engine.RAYS, "mirror": _core.reception.Engine.MIRROR}[engine]
    opts = options or _core.circuit.Options()

    def call(instants: list[Floats], rows: Indices, index: Indices) -> dict[str, Any]:
        args: tuple[Any, ...] = (pairing.rows, *instants, rows, index)
        return _core.reception.likelihood(models(), how, way, which, opts, *args)

    found = pairing.run(call)
    dims = tuple(f"dim_{i}" for i in range(len(pairing.shape)))
    variables: dict[str, Any] = {}
    for name, (unit, text) in _NUMBERS.items():
        attrs: dict[str, Any] = {"units": unit, "long_name": text, "source": _SOURCE}
        variables[name] = (dims, found[name], attrs)
    variables["hops"] = (
        dims,
        found["hops"],
        {"units": "1", "long_name": "hops of the strongest mode", "source": _SOURCE},
    )
    for name, words, text in [
        ("layer", LAYERS, "reflecting layer of the strongest mode"),
        ("long_path", {0: "short", 1: "long"}, "way round the Earth of the strongest mode"),
        ("limit", LIMITS, "what limits reception"),
    ]:
        variables[name] = (dims, found[name], flags(words, text))
    return xr.Dataset(variables, attrs={"farhear_version": _core.__version__})


def flags(words: dict[int, str], long_name: str) -> dict[str, Any]:
    """CF attributes of a coded variable."""
    return {
        "long_name": long_name,
        "flag_values": np.array(list(words), dtype=np.uint8),
        "flag_meanings": " ".join(words.values()),
        "source": _SOURCE,
    }


def _noise_columns(value: str | ArrayLike, freq_khz: Floats) -> dict[str, Floats]:
    """Turn surroundings or a measured figure into median and deciles."""
    if isinstance(value, str):
        fa_db, upper, lower = noise.man_made(value, freq_khz)
    else:
        _, upper, lower = noise.man_made("residential", freq_khz)
        fa_db = as_float64("noise", value)
        check_range("noise", fa_db, -60.0, 200.0, "a noise figure in dB above k T0 b")
    return {
        "man_made_fa_db": np.asarray(fa_db),
        "man_made_upper_db": np.asarray(upper),
        "man_made_lower_db": np.asarray(lower),
    }


def beam_gain_dbi(
    off_beam_deg: ArrayLike,
    peak_dbi: ArrayLike = 17.0,
    width_deg: ArrayLike = 40.0,
    floor_db: ArrayLike = 18.0,
) -> Any:
    """Gain of a directional transmitting antenna so many degrees off its beam. [dBi]

    A proxy of our own, no pattern data: Gaussian main lobe, half power at half of `width_deg` on
    either side, never more than `floor_db` below the peak. Defaults are common practice for curtain
    arrays, no source; the real pattern may differ by 3 dB near the beam and by 10 dB off it.

    Examples
    --------
    >>> [round(float(g), 1) for g in beam_gain_dbi([0.0, 20.0, 180.0])]
    [17.0, 14.0, -1.0]
    """
    arrays = {
        "off_beam_deg": as_float64("off_beam_deg", off_beam_deg),
        "peak_dbi": as_float64("peak_dbi", peak_dbi),
        "width_deg": as_float64("width_deg", width_deg),
        "floor_db": as_float64("floor_db", floor_db),
    }
    check_range("width_deg", arrays["width_deg"], 1.0, 360.0)
    check_range("floor_db", arrays["floor_db"], 0.0, 60.0)
    shape = broadcast_shape(**arrays)
    return restore(_core.reception.beam_gain_dbi(*flatten(shape, *arrays.values())), shape)

"""Lightning (atmospheric) noise by a proxy: storm areas as transmitters, good to about +-10 dB."""

from __future__ import annotations

from typing import Any

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
from farhear._core_models import drive, field, maps
from farhear.noise import Noise
from farhear.times import unix_s

__all__ = ["noise"]


def noise(
    utc: Any, lat_deg: ArrayLike, lon_deg: ArrayLike, freq_khz: ArrayLike, f107_sfu: ArrayLike
) -> Noise:
    """Median and deciles of the lightning noise at places and instants. [dB above k T0 b]

    A proxy of our own, good to about +-10 dB: twenty-one storm areas with guessed rates, seasons
    and hours send over the ionosphere of this package. Figures of your own are better: give them to
    `farhear.reception.likelihood` as `atmospheric`.

    Parameters
    ----------
    utc
        Instants.
    lat_deg, lon_deg
        Receiver. [deg]
    freq_khz
        Frequency, 1600 to 30000. [kHz]
    f107_sfu
        12-month smoothed 10.7 cm flux, 50 to 400. [sfu]

    Returns
    -------
    Noise
        Columns of the broadcast shape of all arguments; NaN where an argument is.

    Raises
    ------
    InputError
        On values out of range, times without zone, shapes that do not broadcast.

    References
    ----------
    Storm rates after the abstract of the LIS/OTD climatology (Cecil et al.); the rest is assumed.
    """
    places = {"lat_deg": as_float64("lat_deg", lat_deg), "lon_deg": as_float64("lon_deg", lon_deg)}
    check_place(places["lat_deg"], places["lon_deg"])
    freq = as_float64("freq_khz", freq_khz)
    check_range("freq_khz", freq, 1600.0, 30000.0, "kHz, not MHz")
    flux = as_float64("f107_sfu", f107_sfu)
    check_range("f107_sfu", flux, *FLUX_SFU)
    pairing = pair(places, {"utc": unix_s(utc), "f107_sfu": flux, "freq_mhz": freq / 1e3})
    how = drive()

    def call(
        instants: list[Floats], rows: Indices, index: Indices, _each: list[Floats]
    ) -> dict[str, Floats]:
        args: tuple[Any, ...] = (*pairing.rows, *instants, rows, index)
        out = _core.lightning.noise(maps(), field(), how, *args)
        return dict(zip(Noise._fields, out, strict=True))

    got = pairing.run(call, block=SLOW_BLOCK)
    return Noise(*(got[name][()] for name in Noise._fields))

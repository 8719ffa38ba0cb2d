from __future__ import annotations
import farhear._core.ionosphere
import farhear._core.magnetic
import numpy
import numpy.typing

def noise(
    maps: farhear._core.ionosphere.Maps,
    field: farhear._core.magnetic.Model,
    drive: farhear._core.ionosphere.Drive,
    lat_deg: numpy.typing.NDArray[numpy.float64],
    lon_deg: numpy.typing.NDArray[numpy.float64],
    t_unix_s: numpy.typing.NDArray[numpy.float64],
    f107_sfu: numpy.typing.NDArray[numpy.float64],
    freq_mhz: numpy.typing.NDArray[numpy.float64],
    place_index: numpy.typing.NDArray[numpy.int64],
    instant_index: numpy.typing.NDArray[numpy.int64],
) -> tuple[
    numpy.typing.NDArray[numpy.float64],
    numpy.typing.NDArray[numpy.float64],
    numpy.typing.NDArray[numpy.float64],
]: ...

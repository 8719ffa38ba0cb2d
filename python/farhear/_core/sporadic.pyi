from __future__ import annotations
import farhear._core.magnetic
import numpy
import numpy.typing

class Maps:
    def __init__(
        self,
        lower: numpy.typing.NDArray[numpy.float64],
        median: numpy.typing.NDArray[numpy.float64],
        upper: numpy.typing.NDArray[numpy.float64],
    ) -> None: ...

def foes(
    maps: Maps,
    field: farhear._core.magnetic.Model,
    lat_deg: numpy.typing.NDArray[numpy.float64],
    lon_deg: numpy.typing.NDArray[numpy.float64],
    t_unix_s: numpy.typing.NDArray[numpy.float64],
    f107_sfu: numpy.typing.NDArray[numpy.float64],
    place_index: numpy.typing.NDArray[numpy.int64],
    instant_index: numpy.typing.NDArray[numpy.int64],
) -> tuple[
    numpy.typing.NDArray[numpy.float64],
    numpy.typing.NDArray[numpy.float64],
    numpy.typing.NDArray[numpy.float64],
]: ...
def probability_above(
    freq_mhz: numpy.typing.NDArray[numpy.float64],
    lower_mhz: numpy.typing.NDArray[numpy.float64],
    median_mhz: numpy.typing.NDArray[numpy.float64],
    upper_mhz: numpy.typing.NDArray[numpy.float64],
) -> numpy.typing.NDArray[numpy.float64]: ...

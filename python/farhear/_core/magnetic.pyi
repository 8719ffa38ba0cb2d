from __future__ import annotations
import numpy
import numpy.typing
import typing

class Model:
    def __init__(
        self,
        epochs_year: numpy.typing.NDArray[numpy.float64],
        coefficients_nt: numpy.typing.NDArray[numpy.float64],
    ) -> None: ...
    def components(
        self,
        year: numpy.typing.NDArray[numpy.float64],
        lat_deg: numpy.typing.NDArray[numpy.float64],
        lon_deg: numpy.typing.NDArray[numpy.float64],
        height_km: numpy.typing.NDArray[numpy.float64],
    ) -> tuple[
        numpy.typing.NDArray[numpy.float64],
        numpy.typing.NDArray[numpy.float64],
        numpy.typing.NDArray[numpy.float64],
    ]: ...
    def geomagnetic_lat_deg(
        self,
        year: typing.SupportsFloat | typing.SupportsIndex,
        lat_deg: numpy.typing.NDArray[numpy.float64],
        lon_deg: numpy.typing.NDArray[numpy.float64],
    ) -> numpy.typing.NDArray[numpy.float64]: ...
    @property
    def first_year(self) -> float: ...
    @property
    def last_year(self) -> float: ...

def derive(
    north_nt: numpy.typing.NDArray[numpy.float64],
    east_nt: numpy.typing.NDArray[numpy.float64],
    down_nt: numpy.typing.NDArray[numpy.float64],
    lat_deg: numpy.typing.NDArray[numpy.float64],
) -> tuple[
    numpy.typing.NDArray[numpy.float64],
    numpy.typing.NDArray[numpy.float64],
    numpy.typing.NDArray[numpy.float64],
]: ...

from __future__ import annotations
import enum
import farhear._core.ionosphere
import farhear._core.magnetic
import numpy
import numpy.typing
import typing

class Route(enum.IntEnum):
    BOTH = 2
    LONG = 1
    SHORT = 0

class Layer(enum.IntEnum):
    E = 1
    F2 = 2
    NONE = 0

class Mode:
    @property
    def absorption_db(self) -> float: ...
    @property
    def elevation_deg(self) -> float: ...
    @property
    def field_dbuv_m(self) -> float: ...
    @property
    def free_space_db(self) -> float: ...
    @property
    def ground_db(self) -> float: ...
    @property
    def group_path_km(self) -> float: ...
    @property
    def hops(self) -> int: ...
    @property
    def horizon_db(self) -> float: ...
    @property
    def layer(self) -> Layer: ...
    @property
    def long_path(self) -> bool: ...
    @property
    def muf_mhz(self) -> float: ...
    @property
    def screening_mhz(self) -> float: ...
    @property
    def spread(self) -> float: ...

def modes(
    maps: farhear._core.ionosphere.Maps,
    field: farhear._core.magnetic.Model,
    drive: farhear._core.ionosphere.Drive,
    route: Route,
    tx_lat_deg: typing.SupportsFloat | typing.SupportsIndex,
    tx_lon_deg: typing.SupportsFloat | typing.SupportsIndex,
    rx_lat_deg: typing.SupportsFloat | typing.SupportsIndex,
    rx_lon_deg: typing.SupportsFloat | typing.SupportsIndex,
    freq_mhz: typing.SupportsFloat | typing.SupportsIndex,
    power_kw: typing.SupportsFloat | typing.SupportsIndex,
    tx_gain_dbi: typing.SupportsFloat | typing.SupportsIndex,
    min_elevation_deg: typing.SupportsFloat | typing.SupportsIndex,
    t_unix_s: typing.SupportsFloat | typing.SupportsIndex,
    f107_sfu: typing.SupportsFloat | typing.SupportsIndex,
) -> list[Mode]: ...
def muf(
    maps: farhear._core.ionosphere.Maps,
    field: farhear._core.magnetic.Model,
    drive: farhear._core.ionosphere.Drive,
    route: Route,
    tx_lat_deg: numpy.typing.NDArray[numpy.float64],
    tx_lon_deg: numpy.typing.NDArray[numpy.float64],
    rx_lat_deg: numpy.typing.NDArray[numpy.float64],
    rx_lon_deg: numpy.typing.NDArray[numpy.float64],
    min_elevation_deg: numpy.typing.NDArray[numpy.float64],
    t_unix_s: numpy.typing.NDArray[numpy.float64],
    f107_sfu: numpy.typing.NDArray[numpy.float64],
    circuit_index: numpy.typing.NDArray[numpy.int64],
    instant_index: numpy.typing.NDArray[numpy.int64],
) -> numpy.typing.NDArray[numpy.float64]: ...

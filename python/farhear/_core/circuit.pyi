from __future__ import annotations
import collections.abc
import enum
import farhear._core.ionosphere
import farhear._core.losses
import farhear._core.magnetic
import farhear._core.skywave
import farhear._core.sporadic
import numpy
import numpy.typing
import typing

class Models:
    def __init__(
        self,
        maps: farhear._core.ionosphere.Maps,
        field: farhear._core.magnetic.Model,
        es: farhear._core.sporadic.Maps,
        land: farhear._core.losses.Land,
    ) -> None: ...

class Options:
    auroral: bool
    f1: bool
    focusing: bool
    high_ray: bool
    integral_absorption: bool
    low_angle: bool
    sporadic_e: bool
    def __init__(self) -> None: ...
    @property
    def absorption_scale(self) -> float: ...
    @absorption_scale.setter
    def absorption_scale(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None: ...
    @property
    def es_dependence(self) -> float: ...
    @es_dependence.setter
    def es_dependence(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None: ...
    @property
    def fof2_spread(self) -> float: ...
    @fof2_spread.setter
    def fof2_spread(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None: ...
    @property
    def most_focusing_db(self) -> float: ...
    @most_focusing_db.setter
    def most_focusing_db(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None: ...
    @property
    def night_absorption(self) -> float: ...
    @night_absorption.setter
    def night_absorption(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None: ...
    @property
    def other_loss_db(self) -> float: ...
    @other_loss_db.setter
    def other_loss_db(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None: ...
    @property
    def scatter_db(self) -> float: ...
    @scatter_db.setter
    def scatter_db(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None: ...

class Ends:
    def __init__(
        self,
        tx_lat_deg: typing.SupportsFloat | typing.SupportsIndex,
        tx_lon_deg: typing.SupportsFloat | typing.SupportsIndex,
        rx_lat_deg: typing.SupportsFloat | typing.SupportsIndex,
        rx_lon_deg: typing.SupportsFloat | typing.SupportsIndex,
        min_elevation_deg: typing.SupportsFloat | typing.SupportsIndex,
        route: farhear._core.skywave.Route,
    ) -> None: ...

class Layer(enum.IntEnum):
    E = 1
    ES = 4
    F1 = 3
    F2 = 2
    MIXED = 5
    NONE = 0

class Mode:
    @property
    def absorption_db(self) -> float: ...
    @property
    def auroral_db(self) -> float: ...
    @property
    def elevation_deg(self) -> float: ...
    @property
    def field_dbuv_m(self) -> float: ...
    @property
    def focusing_db(self) -> float: ...
    @property
    def free_space_db(self) -> float: ...
    @property
    def gain_dbi(self) -> float: ...
    @property
    def ground_db(self) -> float: ...
    @property
    def group_path_km(self) -> float: ...
    @property
    def high_ray(self) -> bool: ...
    @property
    def hops(self) -> int: ...
    @property
    def horizon_db(self) -> float: ...
    @property
    def layer(self) -> Layer: ...
    @property
    def long_path(self) -> bool: ...
    @property
    def low_angle_db(self) -> float: ...
    @property
    def muf_mhz(self) -> float: ...
    @property
    def other_db(self) -> float: ...
    @property
    def screening_db(self) -> float: ...
    @property
    def screening_mhz(self) -> float: ...
    @property
    def support_db(self) -> float: ...

def median_layers(
    maps: farhear._core.ionosphere.Maps,
    field: farhear._core.magnetic.Model,
    drive: farhear._core.ionosphere.Drive,
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
    numpy.typing.NDArray[numpy.float64],
    numpy.typing.NDArray[numpy.float64],
    numpy.typing.NDArray[numpy.float64],
    numpy.typing.NDArray[numpy.float64],
    numpy.typing.NDArray[numpy.float64],
    numpy.typing.NDArray[numpy.float64],
]: ...
def modes(
    models: Models,
    drive: farhear._core.ionosphere.Drive,
    options: Options,
    ends: Ends,
    freq_mhz: typing.SupportsFloat | typing.SupportsIndex,
    power_kw: typing.SupportsFloat | typing.SupportsIndex,
    gain_dbi: typing.SupportsFloat | typing.SupportsIndex,
    pattern_dbi: numpy.typing.NDArray[numpy.float64],
    t_unix_s: typing.SupportsFloat | typing.SupportsIndex,
    f107_sfu: typing.SupportsFloat | typing.SupportsIndex,
    disturbance: typing.Annotated[
        collections.abc.Sequence[typing.SupportsFloat | typing.SupportsIndex], "FixedSize(4)"
    ],
) -> tuple[typing.Any, ...]: ...
def muf(
    models: Models,
    drive: farhear._core.ionosphere.Drive,
    options: Options,
    route: farhear._core.skywave.Route,
    ends: typing.Annotated[
        collections.abc.Sequence[typing.Annotated[numpy.typing.ArrayLike, numpy.float64]],
        "FixedSize(5)",
    ],
    t_unix_s: numpy.typing.NDArray[numpy.float64],
    f107_sfu: numpy.typing.NDArray[numpy.float64],
    circuit_index: numpy.typing.NDArray[numpy.int64],
    instant_index: numpy.typing.NDArray[numpy.int64],
) -> numpy.typing.NDArray[numpy.float64]: ...

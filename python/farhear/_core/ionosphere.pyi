from __future__ import annotations
import collections.abc
import farhear._core.magnetic
import numpy
import numpy.typing
import typing

class Drive:
    def __init__(
        self,
        *,
        saturate: bool,
        field_year: typing.SupportsFloat | typing.SupportsIndex,
        foe_form_a: bool,
    ) -> None: ...

class Maps:
    def __init__(
        self, fof2: numpy.typing.NDArray[numpy.float64], m3000: numpy.typing.NDArray[numpy.float64]
    ) -> None: ...

def characteristics(
    maps: Maps,
    field: farhear._core.magnetic.Model,
    drive: Drive,
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
]: ...
def f107_from_r12(
    r12: numpy.typing.NDArray[numpy.float64],
) -> numpy.typing.NDArray[numpy.float64]: ...
def ig12_from_r12(
    r12: numpy.typing.NDArray[numpy.float64],
) -> numpy.typing.NDArray[numpy.float64]: ...
def product(
    maps: Maps,
    lat_deg: numpy.typing.NDArray[numpy.float64],
    lon_deg: numpy.typing.NDArray[numpy.float64],
    modip_deg: numpy.typing.NDArray[numpy.float64],
    months: collections.abc.Sequence[typing.SupportsInt | typing.SupportsIndex],
    ut_h: numpy.typing.NDArray[numpy.float64],
    ig12: numpy.typing.NDArray[numpy.float64],
) -> tuple[numpy.typing.NDArray[numpy.float64], numpy.typing.NDArray[numpy.float64]]: ...
def r12_from_f107(
    f107_sfu: numpy.typing.NDArray[numpy.float64],
) -> numpy.typing.NDArray[numpy.float64]: ...

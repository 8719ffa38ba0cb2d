from __future__ import annotations
import collections.abc
import enum
import numpy
import numpy.typing
import typing

class Region(enum.IntEnum):
    E = 0
    F1 = 1
    F2 = 2

def landing(
    layers: typing.Annotated[
        collections.abc.Sequence[typing.SupportsFloat | typing.SupportsIndex], "FixedSize(9)"
    ],
    region: Region,
    hop_km: typing.SupportsFloat | typing.SupportsIndex,
) -> dict[str, typing.Any]: ...
def muf(
    layers: typing.Annotated[
        collections.abc.Sequence[typing.Annotated[numpy.typing.ArrayLike, numpy.float64]],
        "FixedSize(9)",
    ],
    region: Region,
    hop_km: numpy.typing.NDArray[numpy.float64],
) -> dict[str, typing.Any]: ...
def plasma_mhz2(
    layers: typing.Annotated[
        collections.abc.Sequence[typing.Annotated[numpy.typing.ArrayLike, numpy.float64]],
        "FixedSize(9)",
    ],
    height_km: numpy.typing.NDArray[numpy.float64],
) -> numpy.typing.NDArray[numpy.float64]: ...
def tied_peak_km(
    layers: typing.Annotated[
        collections.abc.Sequence[typing.Annotated[numpy.typing.ArrayLike, numpy.float64]],
        "FixedSize(9)",
    ],
    target_ratio: numpy.typing.NDArray[numpy.float64],
) -> numpy.typing.NDArray[numpy.float64]: ...
def trace(
    layers: typing.Annotated[
        collections.abc.Sequence[typing.Annotated[numpy.typing.ArrayLike, numpy.float64]],
        "FixedSize(9)",
    ],
    freq_mhz: numpy.typing.NDArray[numpy.float64],
    elevation_deg: numpy.typing.NDArray[numpy.float64],
) -> dict[str, typing.Any]: ...

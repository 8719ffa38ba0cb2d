from __future__ import annotations
import collections.abc
import enum
import numpy
import numpy.typing
import typing

class Kind(enum.IntEnum):
    CROSSED = 2
    CURTAIN = 1
    ISOTROPIC = 0
    LOG_PERIODIC = 4
    MONOPOLE = 3
    TYPICAL = 5

def elevation_table(
    kind: numpy.typing.NDArray[numpy.int64],
    numbers: typing.Annotated[
        collections.abc.Sequence[typing.Annotated[numpy.typing.ArrayLike, numpy.float64]],
        "FixedSize(11)",
    ],
    freq_mhz: numpy.typing.NDArray[numpy.float64],
    off_beam_deg: numpy.typing.NDArray[numpy.float64],
    floor_db: typing.SupportsFloat | typing.SupportsIndex,
) -> tuple[numpy.typing.NDArray[numpy.float64], numpy.typing.NDArray[numpy.float64]]: ...
def gain_dbi(
    kind: numpy.typing.NDArray[numpy.int64],
    numbers: typing.Annotated[
        collections.abc.Sequence[typing.Annotated[numpy.typing.ArrayLike, numpy.float64]],
        "FixedSize(11)",
    ],
    freq_mhz: numpy.typing.NDArray[numpy.float64],
    off_beam_deg: numpy.typing.NDArray[numpy.float64],
    elevation_deg: numpy.typing.NDArray[numpy.float64],
) -> numpy.typing.NDArray[numpy.float64]: ...
def peak(
    kind: numpy.typing.NDArray[numpy.int64],
    numbers: typing.Annotated[
        collections.abc.Sequence[typing.Annotated[numpy.typing.ArrayLike, numpy.float64]],
        "FixedSize(11)",
    ],
    freq_mhz: numpy.typing.NDArray[numpy.float64],
) -> tuple[numpy.typing.NDArray[numpy.float64], numpy.typing.NDArray[numpy.float64]]: ...

ELEVATIONS: int = 46
ELEVATION_STEP_DEG: float = 2.0

from __future__ import annotations
import enum
import numpy
import numpy.typing
import typing

class Environment(enum.IntEnum):
    CITY = 0
    QUIET_RURAL = 3
    RESIDENTIAL = 1
    RURAL = 2

def combine(
    fa_db: numpy.typing.NDArray[numpy.float64],
    upper_db: numpy.typing.NDArray[numpy.float64],
    lower_db: numpy.typing.NDArray[numpy.float64],
) -> tuple[float, float, float]: ...
def galactic(
    freq_mhz: numpy.typing.NDArray[numpy.float64],
) -> tuple[
    numpy.typing.NDArray[numpy.float64],
    numpy.typing.NDArray[numpy.float64],
    numpy.typing.NDArray[numpy.float64],
]: ...
def man_made(
    environment: Environment, freq_mhz: numpy.typing.NDArray[numpy.float64]
) -> tuple[
    numpy.typing.NDArray[numpy.float64],
    numpy.typing.NDArray[numpy.float64],
    numpy.typing.NDArray[numpy.float64],
]: ...

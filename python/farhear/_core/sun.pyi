"""
sun
"""

from __future__ import annotations
import numpy
import numpy.typing
import typing

def events(
    t0_unix_s: numpy.typing.NDArray[numpy.float64],
    t1_unix_s: numpy.typing.NDArray[numpy.float64],
    lat_deg: numpy.typing.NDArray[numpy.float64],
    lon_deg: numpy.typing.NDArray[numpy.float64],
    zenith_deg: numpy.typing.NDArray[numpy.float64],
) -> tuple[typing.Any, ...]: ...
def position(
    t_unix_s: numpy.typing.NDArray[numpy.float64],
    lat_deg: numpy.typing.NDArray[numpy.float64],
    lon_deg: numpy.typing.NDArray[numpy.float64],
) -> tuple[numpy.typing.NDArray[numpy.float64], numpy.typing.NDArray[numpy.float64]]: ...
def position_grid(
    t_unix_s: numpy.typing.NDArray[numpy.float64],
    lat_deg: numpy.typing.NDArray[numpy.float64],
    lon_deg: numpy.typing.NDArray[numpy.float64],
) -> tuple[numpy.typing.NDArray[numpy.float64], numpy.typing.NDArray[numpy.float64]]: ...
def subsolar(
    t_unix_s: numpy.typing.NDArray[numpy.float64],
) -> tuple[numpy.typing.NDArray[numpy.float64], numpy.typing.NDArray[numpy.float64]]: ...
def terminator(
    t_unix_s: numpy.typing.NDArray[numpy.float64],
    zenith_deg: numpy.typing.NDArray[numpy.float64],
    points: typing.SupportsInt | typing.SupportsIndex,
) -> tuple[typing.Any, ...]: ...
def zenith_at_height_deg(
    height_km: numpy.typing.NDArray[numpy.float64],
    screening_km: numpy.typing.NDArray[numpy.float64],
) -> numpy.typing.NDArray[numpy.float64]: ...

"""
Which of the caller's regions holds a place
"""

from __future__ import annotations
import numpy
import numpy.typing
import typing

class Regions:
    def __init__(
        self,
        lat_deg: numpy.typing.NDArray[numpy.float64],
        lon_deg: numpy.typing.NDArray[numpy.float64],
        ring_first: numpy.typing.NDArray[numpy.int64],
        polygon_first: numpy.typing.NDArray[numpy.int64],
        region_first: numpy.typing.NDArray[numpy.int64],
    ) -> None: ...
    def __len__(self) -> int: ...
    def contains(
        self,
        region: typing.SupportsInt | typing.SupportsIndex,
        lat_deg: numpy.typing.NDArray[numpy.float64],
        lon_deg: numpy.typing.NDArray[numpy.float64],
    ) -> numpy.typing.NDArray[numpy.uint8]: ...
    def find(
        self,
        lat_deg: numpy.typing.NDArray[numpy.float64],
        lon_deg: numpy.typing.NDArray[numpy.float64],
    ) -> numpy.typing.NDArray[numpy.int64]: ...

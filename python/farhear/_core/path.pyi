"""
Distances, azimuths and points on WGS84 and on the sphere
"""

from __future__ import annotations
import numpy
import numpy.typing

def direct(
    lat_deg: numpy.typing.NDArray[numpy.float64],
    lon_deg: numpy.typing.NDArray[numpy.float64],
    azimuth_deg: numpy.typing.NDArray[numpy.float64],
    distance_km: numpy.typing.NDArray[numpy.float64],
) -> tuple[
    numpy.typing.NDArray[numpy.float64],
    numpy.typing.NDArray[numpy.float64],
    numpy.typing.NDArray[numpy.float64],
]: ...
def inverse(
    lat1_deg: numpy.typing.NDArray[numpy.float64],
    lon1_deg: numpy.typing.NDArray[numpy.float64],
    lat2_deg: numpy.typing.NDArray[numpy.float64],
    lon2_deg: numpy.typing.NDArray[numpy.float64],
) -> tuple[
    numpy.typing.NDArray[numpy.float64],
    numpy.typing.NDArray[numpy.float64],
    numpy.typing.NDArray[numpy.float64],
]: ...
def sphere(
    lat1_deg: numpy.typing.NDArray[numpy.float64],
    lon1_deg: numpy.typing.NDArray[numpy.float64],
    lat2_deg: numpy.typing.NDArray[numpy.float64],
    lon2_deg: numpy.typing.NDArray[numpy.float64],
) -> tuple[numpy.typing.NDArray[numpy.float64], numpy.typing.NDArray[numpy.float64]]: ...
def sphere_points(
    lat1_deg: numpy.typing.NDArray[numpy.float64],
    lon1_deg: numpy.typing.NDArray[numpy.float64],
    lat2_deg: numpy.typing.NDArray[numpy.float64],
    lon2_deg: numpy.typing.NDArray[numpy.float64],
    fraction: numpy.typing.NDArray[numpy.float64],
    long_path: bool,
) -> tuple[numpy.typing.NDArray[numpy.float64], numpy.typing.NDArray[numpy.float64]]: ...

EARTH_RADIUS_KM: float = 6371.0

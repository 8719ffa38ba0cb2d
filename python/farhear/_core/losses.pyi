from __future__ import annotations
import farhear._core.zone
import numpy
import numpy.typing

class Land:
    def __init__(self, land: farhear._core.zone.Regions) -> None: ...
    def sea_share(
        self,
        lat_deg: numpy.typing.NDArray[numpy.float64],
        lon_deg: numpy.typing.NDArray[numpy.float64],
    ) -> tuple[numpy.typing.NDArray[numpy.float64]]: ...

def auroral_db(
    geomagnetic_lat_deg: numpy.typing.NDArray[numpy.float64],
    local_time_h: numpy.typing.NDArray[numpy.float64],
    season_phase: numpy.typing.NDArray[numpy.float64],
    distance_km: numpy.typing.NDArray[numpy.float64],
) -> tuple[numpy.typing.NDArray[numpy.float64]]: ...
def d_profile_db(
    freq_mhz: numpy.typing.NDArray[numpy.float64],
    gyro_longitudinal_mhz: numpy.typing.NDArray[numpy.float64],
    h_prime_km: numpy.typing.NDArray[numpy.float64],
    beta_per_km: numpy.typing.NDArray[numpy.float64],
    cos_elevation: numpy.typing.NDArray[numpy.float64],
) -> tuple[numpy.typing.NDArray[numpy.float64]]: ...
def d_region_db(
    freq_mhz: numpy.typing.NDArray[numpy.float64],
    gyro_longitudinal_mhz: numpy.typing.NDArray[numpy.float64],
    zenith_deg: numpy.typing.NDArray[numpy.float64],
    cos_elevation: numpy.typing.NDArray[numpy.float64],
    xray_w_m2: numpy.typing.NDArray[numpy.float64],
) -> tuple[numpy.typing.NDArray[numpy.float64]]: ...
def day_deciles(
    freq_over_muf_ratio: numpy.typing.NDArray[numpy.float64],
    geomagnetic_lat_deg: numpy.typing.NDArray[numpy.float64],
) -> tuple[numpy.typing.NDArray[numpy.float64], numpy.typing.NDArray[numpy.float64]]: ...
def flare_db(
    freq_mhz: numpy.typing.NDArray[numpy.float64],
    xray_w_m2: numpy.typing.NDArray[numpy.float64],
    zenith_deg: numpy.typing.NDArray[numpy.float64],
    cos_elevation: numpy.typing.NDArray[numpy.float64],
) -> tuple[numpy.typing.NDArray[numpy.float64]]: ...
def ground_reflection_db(
    freq_mhz: numpy.typing.NDArray[numpy.float64],
    sin_elevation: numpy.typing.NDArray[numpy.float64],
    sea_share: numpy.typing.NDArray[numpy.float64],
) -> tuple[numpy.typing.NDArray[numpy.float64]]: ...
def local_time_h(
    lon_deg: numpy.typing.NDArray[numpy.float64], t_unix_s: numpy.typing.NDArray[numpy.float64]
) -> tuple[numpy.typing.NDArray[numpy.float64]]: ...
def polar_cap_db(
    freq_mhz: numpy.typing.NDArray[numpy.float64],
    flux_2_pfu: numpy.typing.NDArray[numpy.float64],
    flux_5_pfu: numpy.typing.NDArray[numpy.float64],
    zenith_deg: numpy.typing.NDArray[numpy.float64],
    geomagnetic_lat_deg: numpy.typing.NDArray[numpy.float64],
    cos_elevation: numpy.typing.NDArray[numpy.float64],
) -> tuple[numpy.typing.NDArray[numpy.float64]]: ...
def quiet_d_profile(
    zenith_deg: numpy.typing.NDArray[numpy.float64],
) -> tuple[numpy.typing.NDArray[numpy.float64], numpy.typing.NDArray[numpy.float64]]: ...
def reflected_share(
    permittivity_ratio: numpy.typing.NDArray[numpy.float64],
    conductivity_s_m: numpy.typing.NDArray[numpy.float64],
    freq_mhz: numpy.typing.NDArray[numpy.float64],
    sin_elevation: numpy.typing.NDArray[numpy.float64],
) -> tuple[numpy.typing.NDArray[numpy.float64]]: ...
def storm_factor(
    kp: numpy.typing.NDArray[numpy.float64], modip_deg: numpy.typing.NDArray[numpy.float64]
) -> tuple[numpy.typing.NDArray[numpy.float64]]: ...

"""What farhear says about the hours of the recordings, with the indices known for those dates.

What the recordings do not tell is assumed here, in capitals, and said so: powers, places, noise,
geometry. Neither recording is calibrated, so only order, shape and times can be held against them.
"""

from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
from _features import DISTANCES_KM, Floats
from numpy.typing import NDArray

import farhear as fh

# --- 10 MHz in Tokyo -----------------------------------------------------------------------------
TOKYO_PLACE = (35.6, 139.7)
# name, lat_deg, lon_deg, power_kw. China: annex to Rec. ITU-R TF.768, 10-20 kW, so 15; the two
# across the Pacific from memory: places, and powers of about 10 kW.
EMITTERS = [
    ("China", 35.0, 109.5167, 15.0),
    ("Hawaii", 22.0, -159.8, 10.0),
    ("N America", 40.7, -105.0, 10.0),
]
TOKYO_KHZ = 10000.0
TOKYO_BANDWIDTH_HZ = 10.0
TOKYO_STEP_MIN = 10

# --- 14 MHz in North America ---------------------------------------------------------------------
SPOT_KHZ = 14050.0
SPOT_POWER_KW = 0.1  # common practice, no source
SPOT_BANDWIDTH_HZ = 500.0
SPOT_SNR_DB = 1.0  # what automatic Morse decoders need in 500 Hz: -1 to 3 dB, common practice
# Midpoints, and how many stations talk across them: where the people live, from memory.
MIDPOINT_LATS = (33.0, 39.0, 45.0)
MIDPOINT_LONS = (-76.0, -88.0, -100.0, -115.0)
MIDPOINT_WEIGHTS = (0.35, 0.30, 0.15, 0.20)
AZIMUTHS = (0.0, 45.0, 90.0, 135.0)
BOX = (24.0, 55.0, -126.0, -62.0)  # both ends lie in it, else the circuit does not count


@dataclass(frozen=True)
class Setting:
    """How the engine is run."""

    name: str = "as shipped"
    physics: dict[str, Any] = field(default_factory=dict)
    engine: str = "rays"
    driver: str = "12month"  # or "27day", "81day", "daily", "forecast", "forecast, exact"
    add_sfu: float = 0.0
    disturbed: str = "left out"
    """Hours of Kp 5 and more: "left out", taken "as quiet", or "by Kp"."""
    atmospheric: str | None = "proxy"
    long_path: str = "short"
    step_min: int = 10  # of the spots
    azimuths: tuple[float, ...] = AZIMUTHS

    def likelihood(self, day: str, *circuit: Any, minutes: Floats, **given: Any) -> Any:
        """`farhear.reception.likelihood` as this setting has it."""
        when = instants(day, minutes)
        sfu, sd_sfu = flux(day, self.driver)
        kp = {"kp": fh.load_indices().kp_at(when)} if self.disturbed == "by Kp" else {}
        return fh.reception.likelihood(
            *circuit,
            when,
            f107_sfu=min(max(sfu + self.add_sfu, 50.0), 400.0),
            f107_sd_sfu=sd_sfu,
            noise="residential",
            atmospheric=self.atmospheric,
            long_path=self.long_path,
            engine=self.engine,
            physics=fh.skywave.Physics(**self.physics) if self.engine == "rays" else None,
            **kp,
            **given,
        )


def instants(day: str, minutes: Any) -> Any:
    """UT instants of minutes of a day."""
    seconds = np.rint(60.0 * np.asarray(minutes)).astype("timedelta64[s]")
    return fh.utc(np.datetime64(day, "s") + seconds, naive_is_utc=True)


def flux(day: str, driver: str) -> tuple[float, float]:
    """Flux that drives the maps on a day, and how uncertain it is. [sfu]

    "forecast" is what could be known on the morning of that day, with its error; "forecast, exact"
    the same as if it had none.
    """
    indices = fh.load_indices()
    noon = instants(day, [720.0])
    if driver.startswith("forecast"):
        told = fh.forecast.flux(indices, day, noon)
        exact = driver.endswith("exact")
        return float(told.f107_sfu[0]), 0.0 if exact else float(told.sd_sfu[0])
    return float(indices.f107_sfu(noon, driver).f107_sfu[0]), 0.0


class Spots(NamedTuple):
    """Mean over the circuits of a day, (step, distance)."""

    likelihood: Floats
    muf_mhz: Floats


def spot_circuits(azimuths: tuple[float, ...]) -> tuple[Floats, Floats, NDArray[np.intp]]:
    """Ends of the circuits (4, n), their weights and their bins of distance; weights sum to 1."""
    grid = [
        (lat, lon, azimuth, weight)
        for lat in MIDPOINT_LATS
        for lon, weight in zip(MIDPOINT_LONS, MIDPOINT_WEIGHTS, strict=True)
        for azimuth in azimuths
    ]
    lat, lon, azimuth, weight = np.array(grid).T
    half = DISTANCES_KM[:, None] / 2.0
    out = fh.path.direct(lat, lon, azimuth, half)
    back = fh.path.direct(lat, lon, (azimuth + 180.0) % 360.0, half)
    ends = np.stack([out.lat_deg, out.lon_deg, back.lat_deg, back.lon_deg])
    inside = (np.abs(ends[::2] - (BOX[0] + BOX[1]) / 2) <= (BOX[1] - BOX[0]) / 2).all(axis=0)
    inside &= (np.abs(ends[1::2] - (BOX[2] + BOX[3]) / 2) <= (BOX[3] - BOX[2]) / 2).all(axis=0)
    weights = weight * inside
    weights = weights / weights.sum(axis=1, keepdims=True)
    return ends[:, inside], weights[inside], np.nonzero(inside)[0]


def spots(setting: Setting, day: str) -> Spots:
    """Likelihood over distance and time of a day."""
    ends, weights, place = spot_circuits(setting.azimuths)
    minutes = np.arange(0, 1440, setting.step_min) + setting.step_min / 2
    found = setting.likelihood(
        day,
        *(end[:, None] for end in ends),
        SPOT_KHZ,
        minutes=minutes,
        power_kw=SPOT_POWER_KW,
        bandwidth_hz=SPOT_BANDWIDTH_HZ,
        required_snr_db=SPOT_SNR_DB,
    )
    to_bins = np.zeros((DISTANCES_KM.size, weights.size))
    to_bins[place, np.arange(weights.size)] = weights
    return Spots(
        (to_bins @ found["likelihood"].to_numpy()).T, (to_bins @ found["muf_mhz"].to_numpy()).T
    )


class Tokyo(NamedTuple):
    """The three emitters and the noise together, by step."""

    level_db: Floats  # dB(uV/m), also the noise
    heard: Floats  # likelihood that any is above the required ratio


def tokyo(setting: Setting, day: str, required_snr_db: float) -> Tokyo:
    """Level and likelihood by time of a day."""
    lat, lon, power = (np.array([e[i] for e in EMITTERS])[:, None] for i in (1, 2, 3))
    minutes = np.arange(0, 1440, TOKYO_STEP_MIN) + TOKYO_STEP_MIN / 2
    found = setting.likelihood(
        day,
        lat,
        lon,
        *TOKYO_PLACE,
        TOKYO_KHZ,
        minutes=minutes,
        power_kw=power,
        bandwidth_hz=TOKYO_BANDWIDTH_HZ,
        required_snr_db=required_snr_db,
    )
    field_db, snr_db = found["field_dbuv_m"].to_numpy(), found["snr_db"].to_numpy()
    with np.errstate(invalid="ignore"):  # no mode at all: -inf less -inf
        noise_db = np.nanmax(field_db - snr_db, axis=0)
    power_sum = (10.0 ** (field_db / 10.0)).sum(axis=0) + 10.0 ** (noise_db / 10.0)
    heard = 1.0 - np.prod(1.0 - found["likelihood"].to_numpy(), axis=0)
    return Tokyo(10.0 * np.log10(power_sum), heard)

from __future__ import annotations
import collections.abc
import enum
import numpy
import numpy.typing
import typing

class Mode(enum.IntEnum):
    AM = 0
    LSB = 1
    NONE = 3
    USB = 2

class Emission(enum.IntEnum):
    DIGITAL = 4
    DOUBLE_SIDEBAND = 0
    LOWER_NO_CARRIER = 3
    UPPER_FULL_CARRIER = 1
    UPPER_NO_CARRIER = 2

def choose(
    noise_db: numpy.typing.NDArray[numpy.float64],
    upper_db: numpy.typing.NDArray[numpy.float64],
    lower_db: numpy.typing.NDArray[numpy.float64],
    cochannel_db: numpy.typing.NDArray[numpy.float64],
    emission: Emission,
    suppression_db: typing.SupportsFloat | typing.SupportsIndex,
) -> tuple[typing.Any, ...]: ...
def interference_source(
    field_dbuv_m: numpy.typing.NDArray[numpy.float64],
    upper_db: numpy.typing.NDArray[numpy.float64],
    lower_db: numpy.typing.NDArray[numpy.float64],
    offset_khz: numpy.typing.NDArray[numpy.float64],
    mode: Mode,
    audio_khz: typing.SupportsFloat | typing.SupportsIndex,
    suppression_db: typing.SupportsFloat | typing.SupportsIndex,
    weight_db: typing.SupportsFloat | typing.SupportsIndex,
    freq_mhz: numpy.typing.NDArray[numpy.float64],
    bandwidth_hz: typing.SupportsFloat | typing.SupportsIndex,
) -> tuple[
    numpy.typing.NDArray[numpy.float64],
    numpy.typing.NDArray[numpy.float64],
    numpy.typing.NDArray[numpy.float64],
]: ...
def ladder(
    snr_db: numpy.typing.NDArray[numpy.float64],
    lower_decile_db: numpy.typing.NDArray[numpy.float64],
    upper_decile_db: numpy.typing.NDArray[numpy.float64],
    bandwidth_hz: numpy.typing.NDArray[numpy.float64],
) -> numpy.typing.NDArray[numpy.float64]: ...
def mode_cost_db(
    mode: Mode, emission: Emission, suppression_db: typing.SupportsFloat | typing.SupportsIndex
) -> float: ...
def relative_protection_db(
    offset_khz: numpy.typing.NDArray[numpy.float64], audio_khz: numpy.typing.NDArray[numpy.float64]
) -> numpy.typing.NDArray[numpy.float64]: ...
def sinpo(
    impressions: typing.Annotated[
        collections.abc.Sequence[typing.Annotated[numpy.typing.ArrayLike, numpy.float64]],
        "FixedSize(11)",
    ],
) -> tuple[typing.Any, ...]: ...
def upper_share(
    offset_khz: numpy.typing.NDArray[numpy.float64],
) -> numpy.typing.NDArray[numpy.float64]: ...

PLANNING_AUDIO_KHZ: float = 2.8
RUNG_BANDWIDTH_HZ: float = 9000.0
RUNG_SNR_DB: tuple[typing.Any, ...] = (6.0, 11.0, 17.0, 26.0, 34.0)

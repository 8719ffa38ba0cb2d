from __future__ import annotations
import collections.abc
import enum
import farhear._core.circuit
import farhear._core.ionosphere
import farhear._core.skywave
import numpy
import numpy.typing
import typing

class Engine(enum.IntEnum):
    MIRROR = 1
    RAYS = 0

def beam_gain_dbi(
    off_beam_deg: numpy.typing.NDArray[numpy.float64],
    peak_dbi: numpy.typing.NDArray[numpy.float64],
    width_deg: numpy.typing.NDArray[numpy.float64],
    floor_db: numpy.typing.NDArray[numpy.float64],
) -> numpy.typing.NDArray[numpy.float64]: ...
def likelihood(
    models: farhear._core.circuit.Models,
    drive: farhear._core.ionosphere.Drive,
    route: farhear._core.skywave.Route,
    engine: Engine,
    options: farhear._core.circuit.Options,
    circuits: typing.Annotated[
        collections.abc.Sequence[typing.Annotated[numpy.typing.ArrayLike, numpy.float64]],
        "FixedSize(15)",
    ],
    instants: typing.Annotated[
        collections.abc.Sequence[typing.Annotated[numpy.typing.ArrayLike, numpy.float64]],
        "FixedSize(6)",
    ],
    circuit_index: numpy.typing.NDArray[numpy.int64],
    instant_index: numpy.typing.NDArray[numpy.int64],
    evaluations: typing.Annotated[
        collections.abc.Sequence[typing.Annotated[numpy.typing.ArrayLike, numpy.float64]],
        "FixedSize(7)",
    ],
    brief: bool,
) -> dict[str, typing.Any]: ...

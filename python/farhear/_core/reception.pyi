from __future__ import annotations
import collections.abc
import farhear._core.ionosphere
import farhear._core.magnetic
import farhear._core.skywave
import numpy
import numpy.typing
import typing

def beam_gain_dbi(
    off_beam_deg: numpy.typing.NDArray[numpy.float64],
    peak_dbi: numpy.typing.NDArray[numpy.float64],
    width_deg: numpy.typing.NDArray[numpy.float64],
    floor_db: numpy.typing.NDArray[numpy.float64],
) -> numpy.typing.NDArray[numpy.float64]: ...
def likelihood(
    maps: farhear._core.ionosphere.Maps,
    field: farhear._core.magnetic.Model,
    drive: farhear._core.ionosphere.Drive,
    route: farhear._core.skywave.Route,
    circuits: typing.Annotated[
        collections.abc.Sequence[typing.Annotated[numpy.typing.ArrayLike, numpy.float64]],
        "FixedSize(13)",
    ],
    t_unix_s: numpy.typing.NDArray[numpy.float64],
    f107_sfu: numpy.typing.NDArray[numpy.float64],
    circuit_index: numpy.typing.NDArray[numpy.int64],
    instant_index: numpy.typing.NDArray[numpy.int64],
) -> dict[str, typing.Any]: ...

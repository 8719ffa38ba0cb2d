"""The one door from Python values to the core: broadcast, flatten, and back."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from farhear.errors import InputError

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

FLUX_SFU = (50.0, 400.0)
"""Range of the 10.7 cm flux that the maps take. [sfu]"""


def as_float64(name: str, value: ArrayLike) -> Floats:
    """Turn `value` into a float64 array of any shape, or say which argument was no number."""
    try:
        array = np.asarray(value)
        if array.dtype.kind not in "biufO":
            raise TypeError(f"dtype {array.dtype}")
        return np.require(array, np.float64, "A")  # aligned: the core takes addresses as they are
    except (TypeError, ValueError) as cause:
        raise InputError(f"{name} = {value!r} is not a number or an array of numbers") from cause


def check_range(name: str, values: Floats, low: float, high: float, hint: str = "") -> None:
    """Refuse the first value outside [low, high]; NaN means missing and passes."""
    bad = (values < low) | (values > high)
    if bad.any():
        index = np.unravel_index(int(np.argmax(bad)), values.shape)
        where = f"[{', '.join(str(int(i)) for i in index)}]" if index else ""
        text = f"{name}{where} = {values[index]:.10g} is outside [{low:g}, {high:g}]"
        raise InputError(f"{text}; {hint}" if hint else text)


def check_place(lat_deg: Floats, lon_deg: Floats, prefix: str = "") -> None:
    """Refuse latitudes beyond the poles and longitudes beyond [-180, 360]."""
    hint = "latitude comes before longitude: are the two swapped?"
    check_range(f"{prefix}lat_deg", lat_deg, -90.0, 90.0, hint)
    check_range(f"{prefix}lon_deg", lon_deg, -180.0, 360.0)


def broadcast_shape(**arrays: NDArray[Any]) -> tuple[int, ...]:
    """Return the common shape, or raise an error that names every argument with its shape."""
    try:
        return np.broadcast_shapes(*(a.shape for a in arrays.values()))
    except ValueError:
        shapes = ", ".join(f"{name} {a.shape}" for name, a in arrays.items())
        raise InputError(f"shapes do not broadcast: {shapes}") from None


def flatten(shape: tuple[int, ...], *arrays: Floats) -> list[Floats]:
    """Broadcast to `shape` and flatten to C-contiguous float64."""
    return [np.ascontiguousarray(np.broadcast_to(a, shape)).reshape(-1) for a in arrays]


def restore(flat: NDArray[Any], shape: tuple[int, ...]) -> Any:
    """Give a result its shape back; a scalar call gets a numpy scalar."""
    return flat.reshape(shape) if shape else flat.reshape(-1)[0]


_BLOCK = 1 << 16  # pairs in one call of the core: bounds memory and, of quick ones, lets Ctrl-C in
SLOW_BLOCK = 1 << 10  # the same where a pair takes 0.1 to 0.4 ms and nothing lets Ctrl-C in


def in_blocks(
    call: Callable[..., tuple[NDArray[Any], ...]], *columns: Floats
) -> tuple[NDArray[Any], ...]:
    """Let the core work through long columns block by block, so that Ctrl-C gets in."""
    if columns[0].size <= _BLOCK:
        return call(*columns)
    starts = range(0, columns[0].size, _BLOCK)
    parts = [call(*(column[i : i + _BLOCK] for column in columns)) for i in starts]
    return tuple(np.concatenate(part) for part in zip(*parts, strict=True))


Call = Callable[[list[Floats], Indices, Indices, list[Floats]], dict[str, NDArray[Any]]]
"""A core function: instants, row index, instant index, columns of the pairs; columns by name."""


@dataclass(frozen=True, slots=True)
class Pairing:
    """Which place-like rows meet which instant-like rows.

    Two tables, each flattened and without repetition where that pays. With empty index arrays every
    row of the first meets every row of the second.
    """

    shape: tuple[int, ...]
    rows: list[Floats]
    instants: list[Floats]
    row_index: Indices
    instant_index: Indices
    _interleave: tuple[tuple[int, ...], tuple[int, ...]] | None

    def run(
        self, call: Call, each: Sequence[Floats] = (), block: int = _BLOCK
    ) -> dict[str, NDArray[Any]]:
        """Let the core work block by block, equal rows together; a small grid at once.

        `each`: columns with a value for every pair, in the broadcast shape; an empty one stays so.
        `block`: pairs in one call of the core. Results may have more axes, behind.
        """
        of_pairs = [self._flatten(column) if column.size else column for column in each]
        is_grid = self._interleave is not None
        count = self.instants[0].size
        size = self.rows[0].size * count if is_grid else self.row_index.size
        if size == 0 or (is_grid and size <= block):
            flat = call(self.instants, self.row_index, self.instant_index, of_pairs)
            return {name: self._restore(values) for name, values in flat.items()}
        out: dict[str, NDArray[Any]] = {}
        order = np.arange(size) if is_grid else np.argsort(self.row_index, kind="stable")
        for first in range(0, size, block):
            where = order[first : first + block]
            if is_grid:
                row, instant = np.divmod(where, count)
                used = np.arange(instant.min(), instant.max() + 1)
                inverse = instant - used[0]
            else:
                row = self.row_index[where]
                used, inverse = np.unique(self.instant_index[where], return_inverse=True)
            part = call(
                [np.ascontiguousarray(a[used]) for a in self.instants],
                np.ascontiguousarray(row),
                inverse.astype(np.int64).reshape(-1),
                [np.ascontiguousarray(c[where]) if c.size else c for c in of_pairs],
            )
            for name, values in part.items():
                shape = (size, *values.shape[1:])
                out.setdefault(name, np.empty(shape, values.dtype))[where] = values
        return {name: self._restore(values) for name, values in out.items()}

    def _axes(self, count: int) -> list[int]:
        """Rows and instants of a grid side by side: r0, t0, r1, t1 .. out of r0, r1 .. t0, .."""
        return [
            axis
            for pair in zip(range(count), range(count, 2 * count), strict=True)
            for axis in pair
        ]

    def _restore(self, flat: NDArray[Any]) -> NDArray[Any]:
        """Give a grid's result, [row][instant], or the pairs' result, their shape."""
        behind = flat.shape[1:]
        if self._interleave is None:
            return flat.reshape(self.shape + behind)
        rows, instants = self._interleave
        axes = self._axes(len(rows))
        more = range(len(axes), len(axes) + len(behind))
        grid = flat.reshape(rows + instants + behind).transpose([*axes, *more])
        return grid.reshape(self.shape + behind)

    def _flatten(self, column: Floats) -> Floats:
        """The way back: from the broadcast shape to the core's order."""
        whole = np.broadcast_to(column, self.shape)
        if self._interleave is None:
            return np.ascontiguousarray(whole).reshape(-1)
        rows, instants = self._interleave
        side_by_side = [n for pair in zip(rows, instants, strict=True) for n in pair]
        count = len(rows)
        axes = [*range(0, 2 * count, 2), *range(1, 2 * count, 2)]
        return np.ascontiguousarray(whole.reshape(side_by_side).transpose(axes)).reshape(-1)


def pair(rows: dict[str, Floats], instants: dict[str, Floats]) -> Pairing:
    """Broadcast two groups of arguments against each other without repeating either.

    If no axis is shared by both groups, the result is a grid: each row and each instant once. Else
    they are pairs: equal rows and equal instants are found and kept once.
    """
    shape = broadcast_shape(**rows, **instants)
    row_shape = broadcast_shape(**rows)
    instant_shape = broadcast_shape(**instants)
    pad_rows = (1,) * (len(shape) - len(row_shape)) + row_shape
    pad_instants = (1,) * (len(shape) - len(instant_shape)) + instant_shape
    empty = np.empty(0, dtype=np.int64)
    if all(a == 1 or b == 1 for a, b in zip(pad_rows, pad_instants, strict=True)):
        return Pairing(
            shape,
            flatten(row_shape, *rows.values()),
            flatten(instant_shape, *instants.values()),
            empty,
            empty,
            (pad_rows, pad_instants),
        )
    row_table, row_index = _unique(flatten(shape, *rows.values()))
    instant_table, instant_index = _unique(flatten(shape, *instants.values()))
    return Pairing(shape, row_table, instant_table, row_index, instant_index, None)


def _unique(columns: list[Floats]) -> tuple[list[Floats], Indices]:
    """Rows without repetition, and where each went. NaN equals NaN bit by bit."""
    table = np.ascontiguousarray(np.stack(columns, axis=1))
    if table.shape[0] == 0:
        return columns, np.empty(0, dtype=np.int64)
    keys = table.view([("", np.void, table.itemsize * table.shape[1])]).reshape(-1)
    _, first, inverse = np.unique(keys, return_index=True, return_inverse=True)
    kept = table[first]
    return [np.ascontiguousarray(kept[:, i]) for i in range(kept.shape[1])], inverse.astype(
        np.int64
    ).reshape(-1)

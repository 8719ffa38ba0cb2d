"""The one door from Python values to the core: broadcast, flatten, and back."""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from farhear.errors import InputError

Floats = NDArray[np.float64]


def as_float64(name: str, value: ArrayLike) -> Floats:
    """Turn `value` into a float64 array of any shape, or say which argument was no number."""
    try:
        return np.asarray(value, dtype=np.float64)
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

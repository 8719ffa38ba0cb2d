"""Instants. Everything in farhear is UTC; a time without a zone is refused, never guessed.

Use :func:`utc` to make an array of instants of any shape::

    t = utc("2026-11-25T18:00Z")
    t = utc(np.arange("2026-11-25", "2026-11-26", dtype="datetime64[h]"), naive_is_utc=True)
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from farhear._arrays import Floats
from farhear.errors import InputError

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["UtcTimes", "unix_s", "utc"]

_NAIVE = (
    "{what} has no time zone; say fh.utc(..., naive_is_utc=True) if it is UTC, "
    "or fh.clock.to_utc(wall, zone) if it is local time"
)
_EARLIEST_S = -2208988800.0  # 1900-01-01T00:00Z
_LATEST_S = 4133980800.0  # 2101-01-01T00:00Z


class UtcTimes:
    """Instants in UTC, an immutable array of any shape. Index and reshape it like numpy."""

    __slots__ = ("unix_s",)
    unix_s: Floats

    def __init__(self, unix_s: Floats) -> None:
        values = np.array(unix_s, dtype=np.float64)
        bad = (values < _EARLIEST_S) | (values >= _LATEST_S)
        if bad.any():
            worst = values[bad].flat[0]
            raise InputError(f"unix time {worst:.0f} s is outside the years 1900-2100")
        values.flags.writeable = False
        object.__setattr__(self, "unix_s", values)

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError("UtcTimes is immutable")

    def __reduce__(self) -> tuple[type[UtcTimes], tuple[Floats]]:
        return UtcTimes, (self.unix_s,)

    @property
    def shape(self) -> tuple[int, ...]:
        """Shape of the array."""
        return self.unix_s.shape

    @property
    def size(self) -> int:
        """Number of instants."""
        return self.unix_s.size

    @property
    def datetime64(self) -> NDArray[np.datetime64]:
        """The same instants as numpy datetime64[ns], zone-free, meaning UTC. NaN becomes NaT."""
        ns = np.where(np.isnan(self.unix_s), 0.0, self.unix_s)
        whole = np.floor(ns)
        out = whole.astype(np.int64) * 1_000_000_000 + np.rint((ns - whole) * 1e9).astype(np.int64)
        stamps = out.astype("datetime64[ns]")
        stamps = np.where(np.isnan(self.unix_s), np.datetime64("NaT", "ns"), stamps)
        return np.asarray(stamps)

    def __getitem__(self, key: Any) -> UtcTimes:
        return UtcTimes(self.unix_s[key])

    def reshape(self, *shape: int) -> UtcTimes:
        """Return the same instants in another shape."""
        return UtcTimes(self.unix_s.reshape(*shape))

    def __iter__(self) -> Iterator[UtcTimes]:
        return (self[i] for i in range(len(self)))

    def __len__(self) -> int:
        return len(self.unix_s)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, UtcTimes) and np.array_equal(
            self.unix_s, other.unix_s, equal_nan=True
        )

    __hash__ = None  # type: ignore[assignment]

    def __repr__(self) -> str:
        flat = np.datetime_as_string(self.datetime64.reshape(-1)[:4].astype("datetime64[s]"))
        dots = ", ..." if self.size > 4 else ""
        return f"UtcTimes([{', '.join(f'{s}Z' for s in flat)}{dots}], shape={self.shape})"


def _from_datetime(value: dt.datetime) -> float:
    if value.tzinfo is None or value.utcoffset() is None:
        raise InputError(_NAIVE.format(what=f"time {value.isoformat()}"))
    return (value - dt.datetime(1970, 1, 1, tzinfo=dt.UTC)) / dt.timedelta(seconds=1)


def _from_text(value: str) -> float:
    try:
        parsed = dt.datetime.fromisoformat(value)
    except ValueError:
        raise InputError(f"time {value!r} is not ISO 8601, for example 2026-11-25T18:00Z") from None
    return _from_datetime(parsed)


def utc(value: Any, *, naive_is_utc: bool = False) -> UtcTimes:
    """Make instants from what the caller has.

    Parameters
    ----------
    value
        Aware datetime, ISO 8601 text with Z or an offset, aware pandas Timestamp or
        DatetimeIndex or Series, `UtcTimes`, or a (nested) list of these. numpy datetime64 of any
        shape and naive pandas times only with `naive_is_utc=True`. Years 1900-2100.
    naive_is_utc
        The caller's promise that times without a zone are UTC.

    Returns
    -------
    UtcTimes of the value's shape; NaT becomes NaN. [s since 1970-01-01T00:00Z]

    Raises
    ------
    InputError
        On a naive time without the promise, on text that is no ISO time, on years out of range.
    """
    if isinstance(value, UtcTimes):
        return value
    dtype = getattr(value, "dtype", None)
    if dtype is not None and getattr(dtype, "tz", None) is not None:  # aware pandas array
        import pandas as pd

        index: pd.DatetimeIndex = pd.DatetimeIndex(value).tz_convert("UTC").tz_localize(None)
        return _from_datetime64(index.to_numpy())
    if isinstance(value, np.datetime64) or (
        dtype is not None and np.issubdtype(np.asarray(value).dtype, np.datetime64)
    ):
        if not naive_is_utc:
            raise InputError(_NAIVE.format(what="a datetime64 array"))
        return _from_datetime64(np.asarray(value))
    if isinstance(value, dt.datetime):
        if naive_is_utc and value.tzinfo is None:
            value = value.replace(tzinfo=dt.UTC)
        return UtcTimes(np.array(_from_datetime(value)))
    if isinstance(value, str):
        if naive_is_utc and not _has_zone(value):
            value += "Z" if "T" in value or " " in value else "T00:00Z"
        return UtcTimes(np.array(_from_text(value)))
    if isinstance(value, (list, tuple, np.ndarray)) and len(value) > 0:
        return UtcTimes(np.array([utc(v, naive_is_utc=naive_is_utc).unix_s for v in value]))
    if isinstance(value, (list, tuple, np.ndarray)):
        return UtcTimes(np.empty(0))
    raise InputError(f"{type(value).__name__} {value!r} is not a time; see fh.utc")


def _has_zone(text: str) -> bool:
    clock = text.partition("T")[2] or text.partition(" ")[2]
    return clock.endswith("Z") or "+" in clock or "-" in clock


def _from_datetime64(value: NDArray[Any]) -> UtcTimes:
    missing = np.isnat(value)
    micro = value.astype("datetime64[us]").astype(np.int64)
    seconds = micro / 1e6
    return UtcTimes(np.where(missing, np.nan, seconds))


def unix_s(value: Any) -> Floats:
    """Seconds since 1970-01-01T00:00Z of whatever :func:`utc` accepts. [s]"""
    return utc(value).unix_s


def text_unix_s(text: str) -> float:
    """Seconds since 1970-01-01T00:00Z of one ISO 8601 text with a zone, for readers of files. [s]

    The same as :func:`unix_s`, without the array about it.
    """
    value = _from_text(text)
    if not _EARLIEST_S <= value < _LATEST_S:
        UtcTimes(np.array(value))  # raises
    return value


def to_index(value: Any) -> pd.DatetimeIndex:
    """Return 1-D instants as an aware pandas index (UTC)."""
    import pandas as pd

    return pd.DatetimeIndex(utc(value).datetime64).tz_localize("UTC")


def iso_text(instant_s: float) -> str:
    """RFC 3339 with Z of seconds since 1970, to the microsecond where there is a fraction."""
    micro = np.datetime64(round(instant_s * 1e6), "us")
    text = str(micro) if instant_s % 1.0 else str(micro.astype("datetime64[s]"))
    return f"{text}Z"

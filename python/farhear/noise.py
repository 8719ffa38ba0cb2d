"""External radio noise at the receiver: man-made surroundings and the galaxy.

Medians and deciles of Recommendation ITU-R P.372 (galactic read, man-made from memory). Lightning
noise comes from a proxy, `farhear.lightning`, or from a table of your own, `read_atmospheric`.
"""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from farhear import _core
from farhear._arrays import as_float64, check_range, flatten, restore
from farhear.errors import InputError

__all__ = [
    "ENVIRONMENTS",
    "AtmosphericTable",
    "Noise",
    "combine",
    "galactic",
    "man_made",
    "read_atmospheric",
]

ENVIRONMENTS = {
    "city": _core.noise.Environment.CITY,
    "residential": _core.noise.Environment.RESIDENTIAL,
    "rural": _core.noise.Environment.RURAL,
    "quiet rural": _core.noise.Environment.QUIET_RURAL,
}


class Noise(NamedTuple):
    """Median noise figure above k T0 b and its decile deviations, both positive. [dB]"""

    fa_db: Any
    upper_decile_db: Any
    lower_decile_db: Any


def _frequency(freq_khz: ArrayLike) -> Any:
    values = as_float64("freq_khz", freq_khz)
    check_range("freq_khz", values, 1600.0, 30000.0, "kHz, not MHz")
    return values


def man_made(environment: str, freq_khz: ArrayLike) -> Noise:
    """Man-made noise of "city", "residential", "rural" or "quiet rural" surroundings. [dB]

    Modern homes often exceed these medians by 10-20 dB (switching supplies, data over power lines;
    common practice): a measured figure is better.

    Examples
    --------
    >>> round(float(man_made("residential", 6000.0).fa_db), 2)
    50.95
    """
    if environment not in ENVIRONMENTS:
        raise InputError(f"noise = {environment!r} is none of {', '.join(map(repr, ENVIRONMENTS))}")
    values = _frequency(freq_khz)
    out = _core.noise.man_made(ENVIRONMENTS[environment], flatten(values.shape, values / 1e3)[0])
    return Noise(*(restore(v, values.shape) for v in out))


def galactic(freq_khz: ArrayLike) -> Noise:
    """Galactic noise above the ionosphere, 52 - 23 log10(f in MHz). [dB]"""
    values = _frequency(freq_khz)
    out = _core.noise.galactic(flatten(values.shape, values / 1e3)[0])
    return Noise(*(restore(v, values.shape) for v in out))


def combine(*sources: Noise) -> Noise:
    """Sum of independent log-normal sources (scalars) by moment matching. [dB]"""
    columns = [np.array([float(s[i]) for s in sources]) for i in range(3)]
    return Noise(*_core.noise.combine(*columns))


class AtmosphericTable:
    """Lightning noise at one home by month and hour: a table of the user's own.

    Attributes: `frame` (accepted rows), `rejects` (refused ones, with row, column, value and
    reason), `rows_read`; accepted + refused = read.
    """

    def __init__(self, frame: Any, rejects: Any, rows_read: int, source: str) -> None:
        self.frame, self.rejects = frame, rejects
        self.rows_read, self.source = rows_read, source
        months, hours, freqs = (
            np.unique(frame[name].to_numpy(np.float64))
            for name in ("month", "hour_utc", "freq_mhz")
        )
        shape = (months.size, hours.size, freqs.size)
        if len(frame) != months.size * hours.size * freqs.size or not len(frame):
            raise InputError(
                f"{source}: {len(frame)} usable rows do not fill {months.size} months x "
                f"{hours.size} hours x {freqs.size} frequencies; every combination must stand once"
            )
        table = frame.sort_values(["month", "hour_utc", "freq_mhz"])
        self._grid = (months, hours, freqs)
        self._values = [
            table[name].to_numpy(np.float64).reshape(shape)
            for name in ("fa_db", "upper_decile_db", "lower_decile_db")
        ]

    def fa(self, utc: Any, freq_khz: ArrayLike) -> Noise:
        """Noise at instants and frequencies, which broadcast. [dB]

        Linear between the middles of the months and between the hours, both going round, and in
        the logarithm of the frequency, held outside the table's frequencies.
        """
        from farhear.times import unix_s

        t, freq = np.broadcast_arrays(unix_s(utc), _frequency(freq_khz) / 1e3)
        months, hours, freqs = self._grid
        year_month = t / (365.2425 / 12 * 86400.0) + 0.5  # 1970 began with January: month 1 at 0.5
        month = np.mod(year_month, 12.0)
        hour = np.mod(t / 3600.0, 24.0)
        axes = [
            _cyclic(months, month, 12.0),
            _cyclic(hours, hour, 24.0),
            _held(np.log(freqs), np.log(freq)),
        ]
        out = []
        for values in self._values:
            total = np.zeros(t.shape)
            for corner in np.ndindex(2, 2, 2):
                index, weight = zip(
                    *(axis[side] for axis, side in zip(axes, corner, strict=True)), strict=True
                )
                total = total + weight[0] * weight[1] * weight[2] * values[index]
            out.append(total[()])
        return Noise(*out)


def _cyclic(knots: Any, at: Any, period: float) -> list[tuple[Any, Any]]:
    """Index and weight of the two knots about a place on a circle."""
    after = np.searchsorted(knots, at, side="right") % knots.size
    before = (after - 1) % knots.size
    gap = np.mod(knots[after] - knots[before], period)
    gap = np.where(gap == 0.0, period, gap)
    share = np.mod(at - knots[before], period) / gap
    return [(before, 1.0 - share), (after, share)]


def _held(knots: Any, at: Any) -> list[tuple[Any, Any]]:
    """Index and weight of the two knots about a place on a line, the ends held."""
    after = np.clip(np.searchsorted(knots, at), 1, max(knots.size - 1, 1))
    before = after - 1
    after = np.minimum(after, knots.size - 1)
    gap = np.where(after == before, 1.0, knots[after] - knots[before])
    share = np.clip((at - knots[before]) / gap, 0.0, 1.0)
    return [(before, 1.0 - share), (after, share)]


def read_atmospheric(path: Any, *, encoding: str | None = None) -> AtmosphericTable:
    """Read a table of lightning noise at the user's home.

    Parameters
    ----------
    path
        CSV with the columns month (1 to 12), hour_utc (0 to below 24), freq_mhz (1.6 to 30), fa_db,
        upper_decile_db, lower_decile_db (deviations, positive). Every combination of the months,
        hours and frequencies that occur must stand once.
    encoding
        Name of the encoding if it is not UTF-8.

    Returns
    -------
    AtmosphericTable; give `table.fa(utc, freq_khz)` to `farhear.reception.likelihood` as
    `atmospheric`.

    Raises
    ------
    InputError
        When the file cannot be read, a column is missing, or the accepted rows leave holes.
    """
    from farhear import layouts, tables

    columns = (
        tables.Column("month", tables.number(1, 12)),
        tables.Column("hour_utc", tables.number(0, 23.999)),
        tables.Column("freq_mhz", tables.number(1.6, 30)),
        tables.Column("fa_db", tables.number(-100, 200)),
        tables.Column("upper_decile_db", tables.number(0, 60)),
        tables.Column("lower_decile_db", tables.number(0, 60)),
    )
    cells = layouts.read_cells(path, encoding=encoding)
    seen: dict[tuple[Any, ...], int] = {}

    def once(values: dict[str, Any], texts: dict[str, str], rejects: Any, row: int) -> None:
        key = tuple(values.get(name) for name in ("month", "hour_utc", "freq_mhz"))
        if None in key:
            return
        if seen.setdefault(key, row) != row:
            rejects.add(row, "month", texts["month"], f"stands already in line {seen[key]}")

    frame, rejects, _ = tables.parse_cells(cells, columns, once)
    return AtmosphericTable(frame, rejects.frame(), len(cells.rows), cells.source)

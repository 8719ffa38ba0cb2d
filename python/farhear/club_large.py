"""Clubs too large for memory: kept checks as Parquet by member and season, figures by SQL.

A folder holds ``member=<name>/season=<B25>/part-0.parquet``, a layout that most tools for such data
can read. One member's seasons are one folder: what there is of a member is easily found, and gone
when it is not written again. The columns are those of the checks of :class:`farhear.club.Club`, and
`band`. The cautions of :mod:`farhear.club` hold for the folder, too.

Queries are run by DuckDB, streaming over the files with a limit of memory; what does not fit goes
to a temporary folder. A setup is never put together with another: a rate is worked out for each
setup, then averaged over a member's setups, then over members, so that neither the busiest nor the
best equipped decides.

How far this goes
-----------------
Measured on two cores: 10 million invented checks of 2,000 members in three seasons are 6,000 files
of 224 MB together, drawn and written in 48 s. Rates by season and band took 2.6 s (4.7 s of
processors) with a peak of 1.07 GB, effort 1.7 s with 0.38 GB; 0.30 GB of either are Python and its
libraries. On a part of half a million checks this is 4.6 times as fast as pandas, which has to hold
it all (`tests/bench/bench_club.py`).

On a cluster nothing new is needed: all checks of a member lie in one folder, a rate is an average
over members, and averages add up from counts, sums and sums of squares. Give each query some of the
members and add up what comes back, for 18 cells some 2 kB. A thousand times as much, 10 billion
checks of 2 million members, is 224 GB and 4,700 s of processors, 1.3 core hours. Asked in 1,000
queries of 2,000 members, each with 2 threads and 1.1 GB, a machine of 16 cores runs 8 of them side
by side in 9 GB and needs 125 rounds of 2.6 s, 5.4 min, if its disk gives 0.7 GB/s; 32 such machines
need 4 rounds, 10 s. In one query the sums by evening would fill 0.8 TB and go to disk. The number
of files (6 million) would hurt first: there, put a hundred members, in order, into one file.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Iterable, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd

from farhear import clock
from farhear.band import name_of
from farhear.errors import InputError
from farhear.hunch._ground import whole_number
from farhear.tables import near_name

if TYPE_CHECKING:
    from collections.abc import Iterator

    import duckdb

__all__ = ["BY", "effort", "hearing_rates", "write_parquet"]

_UTC = (
    "make_timestamp(epoch_us(start_utc))"  # without a zone, so that no zone of the machine enters
)
_EXPRESSIONS = {
    "member": "member",
    "season": "season",
    "setup_id": "setup_id",
    "band": "band",
    "freq_khz": "freq_khz",
    "identity": "identity",
    "month": f"month({_UTC})",
    "hour_utc": f"hour({_UTC})",
    "sunset_h": "CAST(floor(middle_min / 60.0) AS INTEGER)",
}
BY = tuple(_EXPRESSIONS)
"""By what figures can be split; `month` and `hour_utc` are those of the start, `sunset_h` the whole
hours from sunset to the middle (missing where a place is withheld)."""

_NEEDED = ("member", "setup_id", "start_utc", "end_utc", "freq_khz", "outcome", "middle_min")
_WHEN = ("evening", "week")
_SAFE = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_.")


# Writing ----------------------------------------------------------------------------------------


def write_parquet(checks: pd.DataFrame | Iterable[pd.DataFrame], folder: str | Path) -> int:
    """Write checks as Parquet files by member and season; the folder is there whole or not at all.

    Parameters
    ----------
    checks
        Those of a :class:`farhear.club.Club`, or one such frame after the other (for example one a
        member), so that not all of them need to be in memory.
    folder
        Must not exist, or be empty: a club is always written whole, so that nothing of a member
        who has left stays behind.

    Returns
    -------
    Number of checks written.

    Raises
    ------
    InputError
        On a folder that holds something, a column that is missing, frames with different columns.
    OSError
        When the disk does not take it; then nothing is left.
    """
    folder = Path(folder)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError(f"{folder.name} is there already and not empty; give a new folder")
    folder.parent.mkdir(parents=True, exist_ok=True)
    part = Path(tempfile.mkdtemp(prefix=".farhear-", suffix=".part", dir=folder.parent))
    try:
        count = _written([checks] if isinstance(checks, pd.DataFrame) else checks, part)
        part.chmod(0o755)
        if folder.exists():
            folder.rmdir()
        part.replace(folder)
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)
        raise
    return count


def _written(frames: Iterable[pd.DataFrame], folder: Path) -> int:
    import pyarrow as pa
    import pyarrow.parquet as pq

    columns: list[str] = []
    schema: Any = None
    numbers: dict[Path, int] = {}
    count = 0
    for frame in frames:
        columns = columns or list(frame.columns)
        _check_columns(list(frame.columns), columns)
        micro = {name: frame[name].dt.as_unit("us") for name in ("start_utc", "end_utc")}
        full = frame.assign(
            **micro,
            season=np.asarray(clock.season(frame["start_utc"])).astype(object),
            band=np.asarray(name_of(frame["freq_khz"].to_numpy(np.float64))).astype(object),
        )
        for (member, season), rows in full.groupby(["member", "season"], sort=True):
            table = pa.Table.from_pandas(
                rows.drop(columns=["member", "season"]), schema=schema, preserve_index=False
            )
            schema = schema or table.schema.remove_metadata()
            place = folder / f"member={_quoted(str(member))}" / f"season={season}"
            place.mkdir(parents=True, exist_ok=True)
            number = numbers.get(place, 0)
            numbers[place] = number + 1
            pq.write_table(
                table.replace_schema_metadata(None),
                place / f"part-{number}.parquet",
                compression="zstd",
                store_schema=False,
            )
            count += len(rows)
    return count


def _check_columns(found: list[str], first: list[str]) -> None:
    for name in _NEEDED:
        if name not in found:
            raise InputError(f"checks has no column {name!r}; make it with farhear.club.merge")
    if sum(name in found for name in _WHEN) != 1:
        raise InputError("checks has neither a column 'evening' nor 'week', or both")
    if found != first:
        extra = sorted({*found} ^ {*first})
        raise InputError(f"checks differ in their columns: {', '.join(extra) or 'another order'}")


def _quoted(name: str) -> str:
    """A name as the name of a folder: other bytes than plain letters and digits as %XX."""
    return "".join(
        chr(byte) if chr(byte) in _SAFE else f"%{byte:02X}" for byte in name.encode("utf-8")
    )


# Asking -----------------------------------------------------------------------------------------


class _Asking(NamedTuple):
    ask: Callable[..., pd.DataFrame]
    when: str


_FILES = "read_parquet(?, hive_partitioning = true, hive_types_autocast = false)"


@contextmanager
def _opened(folder: str | Path, memory_mb: int, threads: int) -> Iterator[_Asking]:
    """Way to ask the files, and the name of the column of evenings."""
    folder = Path(folder)
    files = sorted(str(path) for path in folder.glob("member=*/season=*/*.parquet"))
    if not files:
        raise InputError(f"{folder.name} has no member=*/season=*/*.parquet; see write_parquet")
    with tempfile.TemporaryDirectory(prefix="farhear-") as spill:
        connection = _connected(
            {
                "memory_limit": f"{whole_number('memory_mb', memory_mb, 64)}MB",
                "threads": whole_number("threads", threads, 1),
                "temp_directory": spill,
                "preserve_insertion_order": False,
                "autoinstall_known_extensions": False,  # nothing is fetched
                "autoload_known_extensions": False,
            }
        )
        try:

            def asked(query: str, *more: object) -> pd.DataFrame:
                frame: pd.DataFrame = connection.execute(query, [files, *more]).df()
                return frame

            first = connection.execute(f"SELECT * FROM {_FILES} LIMIT 0", [files[:1]]).df()
            yield _Asking(asked, next(name for name in _WHEN if name in first.columns))
        finally:
            connection.close()


def _connected(settings: dict[str, Any]) -> duckdb.DuckDBPyConnection:
    try:
        import duckdb
    except ImportError:
        raise InputError(
            "the package duckdb is not there; install it: pip install duckdb"
        ) from None
    return duckdb.connect(":memory:", config=settings)


def _split(by: Sequence[str]) -> list[str]:
    names = [by] if isinstance(by, str) else list(by)
    for name in names:
        if name not in BY:
            raise InputError(
                f"by names {name!r}, which is none of {', '.join(BY)}{near_name(str(name), BY)}"
            )
    if not names or len(set(names)) != len(names):
        raise InputError(f"by = {names!r} is empty or names something twice")
    return names


def hearing_rates(
    folder: str | Path,
    by: Sequence[str] = ("season", "band"),
    *,
    fewest_checks: int = 5,
    memory_mb: int = 2048,
    threads: int = 2,
) -> pd.DataFrame:
    """How often something was heard, setup by setup, then member by member.

    Parameters
    ----------
    folder
        From :func:`write_parquet`.
    by
        Some of `BY`.
    fewest_checks
        A setup with fewer checks that tell in a cell has no rate there, 1 or more.
    memory_mb, threads
        For the queries. [MB]

    Returns
    -------
    DataFrame, one row a cell in order of `by`: these columns, `members`, `setups`, `evenings`,
    `checks` and `heard` (of those that tell: heard, or a carrier only and not heard) of setups with
    enough checks, `left_out` (checks of the others), `rate` (mean over members of the mean over
    their setups, NaN for none), `low`, `high`: 95 % by Student's t, over members where there are
    two or more, else over the evenings of each setup; NaN for fewer than two, or when all are
    alike.

    Raises
    ------
    InputError
        On a folder without such files, an unknown or repeated name in `by`, numbers out of range,
        or when duckdb is not installed.

    Notes
    -----
    A rate of many members is about those who took part, where and when they chose to listen.
    """
    names = _split(by)
    least = whole_number("fewest_checks", fewest_checks, 1)
    with _opened(folder, memory_mb, threads) as asking:
        found = asking.ask(_rates_sql(names, asking.when), least)
    return _with_intervals(found, names)


def _rates_sql(names: Sequence[str], when: str) -> str:
    """One pass over the checks to sums by setup and evening, and from there up."""
    chosen = ", ".join(f"{_EXPRESSIONS[name]} AS by_{name}" for name in names)
    cell = ", ".join(f"by_{name}" for name in names)
    return f"""
        WITH told AS (
            SELECT {chosen}, member AS who, setup_id AS setup, {when} AS night,
                   CASE outcome WHEN 'heard' THEN 1 WHEN 'carrier_only' THEN 0
                                WHEN 'not_heard' THEN 0 END AS heard
            FROM {_FILES}),
        nights AS (
            SELECT {cell}, who, setup, night, count(*) AS n, sum(heard) AS h
            FROM told WHERE heard IS NOT NULL GROUP BY {cell}, who, setup, night),
        setups AS (
            SELECT {cell}, who, setup, count(*) AS g, sum(n) AS n, sum(h) AS h,
                   CAST(sum(h) AS DOUBLE) / sum(n) AS p, sum(n) >= ? AS enough,
                   CAST(sum(h * h) AS DOUBLE) AS hh, CAST(sum(h * n) AS DOUBLE) AS hn,
                   CAST(sum(n * n) AS DOUBLE) AS nn
            FROM nights GROUP BY {cell}, who, setup),
        spread AS (
            SELECT *, greatest(hh - 2.0 * p * hn + p * p * nn, 0.0) / (n * n)
                      * CASE WHEN g > 1 THEN g / (g - 1.0) END AS variance
            FROM setups),
        people AS (
            SELECT {cell}, who, count(*) FILTER (enough) AS setups,
                   sum(g) FILTER (enough) AS g, min(g) FILTER (enough) AS least_g,
                   sum(n) FILTER (enough) AS n, sum(h) FILTER (enough) AS h,
                   sum(n) FILTER (NOT enough) AS left_out, avg(p) FILTER (enough) AS p,
                   avg(variance) FILTER (enough) / count(*) FILTER (enough) AS own
            FROM spread GROUP BY {cell}, who)
        SELECT {cell}, count(p) AS members, sum(setups) AS setups, sum(g) AS evenings,
               sum(n) AS checks, sum(h) AS heard, sum(left_out) AS left_out, avg(p) AS rate,
               var_samp(p) / count(p) AS between, max(own) AS own, min(least_g) AS least_g
        FROM people GROUP BY {cell} ORDER BY {cell}
    """


def _with_intervals(found: pd.DataFrame, names: Sequence[str]) -> pd.DataFrame:
    from scipy.special import stdtrit

    members = found["members"].fillna(0).to_numpy(np.int64)
    several = members > 1
    between, own = (found[name].to_numpy(np.float64) for name in ("between", "own"))
    freedom = np.where(several, members - 1.0, found["least_g"].to_numpy(np.float64) - 1.0)
    variance = np.where(several, between, own)
    known = (freedom >= 1.0) & (variance > 0.0)  # all alike do not show how sure that is
    half = np.full(len(found), np.nan)
    half[known] = stdtrit(freedom[known], 0.975) * np.sqrt(variance[known])
    rate = found["rate"].to_numpy(np.float64)
    out = pd.DataFrame({name: found[f"by_{name}"] for name in names})
    for name in ("members", "setups", "evenings", "checks", "heard", "left_out"):
        out[name] = found[name].fillna(0).astype(np.int64)
    out["rate"] = rate
    out["low"], out["high"] = np.clip(rate - half, 0.0, 1.0), np.clip(rate + half, 0.0, 1.0)
    return out.round({"rate": 9, "low": 9, "high": 9})  # sums of two threads differ at the end


def effort(
    folder: str | Path,
    by: Sequence[str] = ("member", "season"),
    *,
    memory_mb: int = 2048,
    threads: int = 2,
) -> pd.DataFrame:
    """How much was listened.

    Parameters
    ----------
    folder, by, memory_mb, threads
        As in :func:`hearing_rates`.

    Returns
    -------
    DataFrame, one row a cell in order of `by`: these columns, `setups`, `evenings` (of setups: an
    evening with two setups counts twice), `checks`, `checks_that_tell`, `hours` (sum of the lengths
    of checks). [h]

    Raises
    ------
    InputError
        As :func:`hearing_rates`.
    """
    names = _split(by)
    chosen = ", ".join(f"{_EXPRESSIONS[name]} AS by_{name}" for name in names)
    cell = ", ".join(f"by_{name}" for name in names)
    with _opened(folder, memory_mb, threads) as asking:
        found = asking.ask(
            f"""
            WITH spent AS (
                SELECT {chosen}, setup_id AS setup, {asking.when} AS night, count(*) AS n,
                       count(*) FILTER (outcome IN ('heard', 'carrier_only', 'not_heard')) AS told,
                       sum(epoch_us(end_utc) - epoch_us(start_utc)) AS us
                FROM {_FILES} GROUP BY {cell}, setup, night)
            SELECT {cell}, count(DISTINCT setup) AS setups, count(*) AS evenings, sum(n) AS checks,
                   sum(told) AS checks_that_tell, sum(us) / 3.6e9 AS hours
            FROM spent GROUP BY {cell} ORDER BY {cell}
            """
        )
    out: pd.DataFrame = found.rename(columns={f"by_{name}": name for name in names})
    counts = dict.fromkeys(("setups", "evenings", "checks", "checks_that_tell"), "int64")
    return out.astype(counts).round({"hours": 6})

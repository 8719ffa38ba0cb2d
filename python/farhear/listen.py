"""At the radio: what to expect on a channel, in which order to check, and a check noted at once."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from farhear import clock
from farhear.errors import InputError
from farhear.log import OUTCOMES, append_check, read_log
from farhear.tables import near_name
from farhear.times import utc as to_utc

if TYPE_CHECKING:
    import pandas as pd

    from farhear.indices import Indices
    from farhear.schedule import Schedule
    from farhear.station import Station

__all__ = ["expected", "note_check", "round_order", "sittings_of"]

_SHOWN = 3


def expected(
    station: Station,
    schedule: Schedule,
    utc: Any,
    freq_khz: float,
    *,
    most: int = _SHOWN,
    indices: Indices | None = None,
    f107_sfu: float | None = None,
) -> pd.DataFrame:
    """Scheduled broadcasts on a channel at an instant, the likeliest to be heard first.

    Parameters
    ----------
    station, schedule, utc, freq_khz, indices, f107_sfu
        As in `farhear.identify`. [kHz, sfu]
    most
        How many at most.

    Returns
    -------
    DataFrame with `broadcaster`, `language`, `site`, `likelihood`; more, see `farhear.identify`.

    Raises
    ------
    InputError
        As `farhear.identify`.
    """
    from farhear.identification import identify

    found = identify(station, schedule, utc, freq_khz, indices=indices, f107_sfu=f107_sfu)
    found = found[found["kind"] == "scheduled"]
    return found.sort_values("likelihood", ascending=False, kind="stable").head(most)


def round_order(channels_khz: Sequence[float], sittings: int) -> list[float]:
    """Order of the channels of a round: forth after an even number of sittings, back after an odd.

    A fixed order gives the first channels the earlier minutes of dusk on every evening; turned
    about every time, early and late come out even (design of experiments, common practice).

    Examples
    --------
    >>> round_order([6070, 7325, 9500], 1)
    [9500, 7325, 6070]
    """
    if not channels_khz:
        raise InputError("a round needs at least one channel")
    if len(set(channels_khz)) != len(channels_khz):
        raise InputError(f"channels_khz = {list(channels_khz)!r} names a channel twice")
    return list(channels_khz) if sittings % 2 == 0 else list(reversed(channels_khz))


def sittings_of(path: str | Path) -> int:
    """Number of sittings in a log, 0 for one that is not there yet."""
    path = Path(path)
    if not path.exists() or path.stat().st_size == 0:
        return 0
    named = read_log(path).frame["session_id"]
    return int(named[named != ""].nunique())


def note_check(
    path: str | Path,
    freq_khz: float,
    outcome: str,
    *,
    start: Any = None,
    end: Any = None,
    station: Station | None = None,
    **columns: Any,
) -> Mapping[str, Any]:
    """Add one check to a log; what is not said is now, and the setup in use.

    Parameters
    ----------
    path
        The log, CSV; made when it is not there.
    freq_khz
        Nominal frequency. [kHz]
    outcome
        One of `farhear.log.OUTCOMES`.
    start, end
        Instants; `end` None is now, by the clock of this machine, and `start` None four minutes
        before the end.
    station
        For `setup_id`: the first day of the setup in use.
    columns
        Other columns of the log, for example ``identity="..."``, ``sinpo="34333"``.

    Returns
    -------
    The check as it was written. When this returns, it is on the disk.

    Raises
    ------
    InputError
        As `farhear.log.append_check`; the file is then as it was.
    OSError
        When the file cannot be written.

    Examples
    --------
    >>> note_check("log.csv", 6070, "not_heard", identity="Radio Belmorant")  # doctest: +SKIP
    """
    if outcome not in OUTCOMES:
        raise InputError(
            f"outcome = {outcome!r} is none of {', '.join(OUTCOMES)}{near_name(outcome, OUTCOMES)}"
        )
    last = _moment(end) if end is not None else dt.datetime.now(dt.UTC).replace(microsecond=0)
    first = _moment(start) if start is not None else last - dt.timedelta(minutes=4)
    check = {"start_utc": first, "end_utc": last, "freq_khz": freq_khz, "outcome": outcome}
    if station is not None and "setup_id" not in columns:
        setup = station.setup_on(_local_date(first, station.time_zone))
        check["setup_id"] = setup.from_date.isoformat() if setup else ""
    check |= columns
    append_check(path, check)
    return check


def _moment(value: Any) -> dt.datetime:
    seconds = to_utc(value).unix_s
    if seconds.size != 1 or not seconds == seconds:
        raise InputError(f"{value!r} is not one instant")
    return dt.datetime.fromtimestamp(float(seconds), dt.UTC)


def _local_date(moment: dt.datetime, zone: str) -> dt.date:
    wall = clock.to_local(moment, zone).astype("datetime64[D]")
    date: dt.date = wall.item()
    return date

"""A log against the schedule and the clock: what is doubtful, which stretches have a wrong clock.

A log that says *heard* at a time when the schedule has that broadcast off the air tells of a
broadcast that has moved, of a wrong name or frequency, or of a clock. One row cannot tell which;
many rows that all fit after the same shift can. Three mistakes are tried, for the home's zone:

======== =========================================================================================
mistake  how the true UTC follows from what was written
======== =========================================================================================
local    local time typed as UTC: written minus the zone's offset at that reading (of a reading
         that happens twice the earlier instant)
ahead    an hour of summer time forgotten: written minus 60 min
behind   an hour of summer time counted twice, or after it has ended: written plus 60 min
date     UTC time with the local date, where the two dates differ: written minus 24 h (east of
         Greenwich, after local midnight) or plus 24 h (west, in the evening)
======== =========================================================================================

How stretches are found
-----------------------
The heard checks that the schedule knows on their frequency are taken in the order of the file. A
hidden state (as written, or one of the mistakes) stays from check to check, but for 1 in 200. Under
the true state a broadcast is on the air at the middle of the check in 97 of 100 cases; under a
wrong state by chance: the share of the quarter hours within 24 h (for the date: of the same hour
within a week, but for the two days beside) in which it is on the air. So broadcasts that run all
day say nothing, and daily ones nothing about the date. The likeliest sequence of states is found
by dynamic programming (Viterbi; from memory: A. J. Viterbi, IEEE Trans. Inf. Theory 13 (1967),
p. 260). Checks identified by the schedule or guessed are left out: they fit by construction. The
numbers are own choices, and checks are counted as independent: read the odds as an order, not as a
stake.

A broadcaster that is absent from a schedule is no error of the log: all this gives doubts. Nothing
here changes a log; :func:`fix` gives back a new frame with a list of what it changed.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from operator import itemgetter
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from farhear import clock
from farhear._arrays import Floats
from farhear.errors import InputError
from farhear.log import Log
from farhear.schedule import Schedule
from farhear.station import Station
from farhear.tables import near_name, plain_name
from farhear.times import UtcTimes, iso_text, unix_s

__all__ = ["FEWEST_CHECKS", "KINDS", "LEAST_LOG10_ODDS", "Audit", "audit", "fix"]

KINDS = ("refused", "doubt", "clock")
"""Kinds of findings: the row was not read; something is doubtful; a clock mistake would explain."""
FEWEST_CHECKS = 3
"""So many checks must speak for a stretch; own choice."""
LEAST_LOG10_ODDS = 2.0
"""Least log10 of the likelihood ratio of a stretch; own choice."""
FEWEST_BROADCASTERS = 2
"""Of so many broadcasters: one alone may have moved; own choice."""

_FITS = 0.97
_LEAVES = 1.0 / 200.0
_TIE_LOG10 = 1.0
_LEAST_ORDER = 0.8
_OUT_OF_ORDER = 0.01
_MOST_SHOWN = 5
_DAY_S = 86400.0
_QUARTERS_S = np.arange(-96, 97) * 900.0
_DAYS_S = np.array([*range(-7, -1), *range(2, 8)]) * _DAY_S
_BLOCK_ELEMENTS = 2_000_000
_ON_AIR = ("start_min", "stop_min", "days_mask", "valid_from", "valid_to", "season")
_FINDING_COLUMNS = ("row", "column", "value", "kind", "reason")

Flags = NDArray[np.bool_]
Codes = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Audit:
    """What was found in a log.

    Attributes
    ----------
    findings
        One line per finding, in the order of the file: `row`, `column` (empty: the whole row),
        `value`, `kind` (one of `KINDS`), `reason`. Row 0 means the whole file.
    stretches
        One line per stretch with a wrong clock: `first_row` and `last_row` (the outermost checks
        that speak for it), `checks` (of any outcome between these), `tested` (heard ones that the
        mistake would move and the schedule knows), `fits_as_written` and `fits_shifted` (how many
        of these), `shift_min` (what to add, of the first such check; NaN where two mistakes with
        different shifts fit equally), `log10_odds`, `mistake` (its key, empty where none is
        chosen), `explanation`.
    shifts
        What :func:`fix` would add: `row`, `shift_min`, `stretch` (position in `stretches`), for
        every check of a stretch whose mistake is chosen.
    checks, refused, tested
        Rows accepted, rows refused, and heard checks that could be set against the schedule.
    source, sha256
        Of the log.
    """

    findings: pd.DataFrame
    stretches: pd.DataFrame
    shifts: pd.DataFrame
    checks: int
    refused: int
    tested: int
    source: str = ""
    sha256: str = ""

    def text(self) -> str:
        """Sum up in a few sentences."""
        doubts = int((self.findings["kind"] == "doubt").sum())
        clocks = self.findings.loc[self.findings["kind"] == "clock", "row"].nunique()
        parts = [
            f"{self.source or 'log'}: {self.checks} checks accepted, {self.refused} rows refused; "
            f"{_count(doubts, 'doubt')}, "
            f"{_count(clocks, 'row')} that another clock would explain.",
        ]
        if not self.tested:
            parts.append("No heard check could be set against a schedule: the clock is untested.")
        elif not len(self.stretches):
            parts.append(
                f"{_count(self.tested, 'heard check')} set against the schedule: "
                "no stretch with a wrong clock."
            )
        parts += [f"{text[0].upper()}{text[1:]}." for text in self.stretches["explanation"]]
        return "\n".join(parts)


def audit(
    log: Log,
    *,
    schedule: Schedule | None = None,
    station: Station | None = None,
    drift_khz: float = 0.5,
) -> Audit:
    """Look a log over: what its reader found, and what the schedule and the clock add.

    Parameters
    ----------
    log
        From :func:`farhear.log.read_log`; it is not changed.
    schedule
        Of the time of the log. None: only what the reader found.
    station
        For its time zone. None: only the two mistakes of one hour are tried.
    drift_khz
        So far may a check's frequency lie from that of the schedule, [0, 4.9]. [kHz]

    Returns
    -------
    Audit
        New findings are about heard checks with an identity. Off the air by the schedule: a doubt,
        or of kind 'clock' when exactly one mistake would put it on the air. Not on that frequency:
        a doubt that names at most five where the schedule has it. Broadcasters that the schedule
        lacks are named once each.

    Raises
    ------
    InputError
        On a drift out of range, an unknown zone, or a log in which row numbers occur twice.

    Examples
    --------
    >>> audit(read_log("log.csv"), schedule=schedule, station=home).text()  # doctest: +SKIP
    """
    if isinstance(drift_khz, bool) or not isinstance(drift_khz, (int, float, np.number)):
        raise InputError(f"drift_khz = {drift_khz!r} is not a number")
    if not 0.0 <= drift_khz <= 4.9:
        raise InputError(f"drift_khz = {drift_khz:g} is outside [0, 4.9]")
    rows = log.frame["row"].to_numpy(dtype=np.int64)
    if np.unique(rows).size != rows.size:
        raise InputError("log: row numbers occur twice; audit each file by itself")
    found = _of_reader(log)
    stretches: list[dict[str, Any]] = []
    shifts = _shift_table([], [], [])
    tested = 0
    frame = log.frame.iloc[np.argsort(rows)].reset_index(drop=True)
    zone = None if station is None else station.time_zone
    nights = [] if zone is None else _nights(unix_s(frame["start_utc"]), zone)
    found += _out_of_order(frame, nights, zone)
    if schedule is not None and len(log):
        looked = _look_up(frame, schedule, float(drift_khz), found)
        clocks = _clocks(frame, looked, schedule, zone, nights)
        runs = _runs(clocks)
        stretches, shifts = _stretches(frame, clocks, runs, zone)
        _row_findings(frame, clocks, runs, schedule, zone, found)
        tested = int(clocks.counts.sum())
    return Audit(
        findings=_by_row(found, _FINDING_COLUMNS),
        stretches=_stretch_table(stretches),
        shifts=shifts,
        checks=len(log),
        refused=log.rows_rejected,
        tested=tested,
        source=log.source,
        sha256=log.sha256,
    )


# What the reader found --------------------------------------------------------------------------

_Finding = tuple[int, str, str, str, str]


def _of_reader(log: Log) -> list[_Finding]:
    found: list[_Finding] = []
    for table, kind in ((log.rejects, "refused"), (log.warnings, "doubt")):
        columns = (table[name].tolist() for name in ("row", "column", "value", "reason"))
        found += [(int(r), c, v, kind, why) for r, c, v, why in zip(*columns, strict=True)]
    return found


# Looking up -------------------------------------------------------------------------------------


class _Group(NamedTuple):
    """Checks of one broadcaster on one frequency."""

    checks: NDArray[np.intp]
    rows: NDArray[np.intp]
    """Positions in the schedule."""


def _look_up(
    frame: pd.DataFrame, schedule: Schedule, drift_khz: float, found: list[_Finding]
) -> list[_Group]:
    """Heard checks that the schedule has on their frequency; the others are findings."""
    listed_khz = schedule.frame["freq_khz"].to_numpy(np.float64)
    listed_names = [plain_name(name) for name in schedule.frame["broadcaster"]]
    rows_of: dict[str, list[int]] = {}
    for position, name in enumerate(listed_names):
        rows_of.setdefault(name, []).append(position)
    names = [plain_name(name) for name in frame["identity"]]
    khz = frame["freq_khz"].to_numpy(np.float64)
    heard = (frame["outcome"] == "heard").to_numpy() & np.isfinite(khz)
    checks_of: dict[tuple[str, float], list[int]] = {}
    for at in np.flatnonzero(heard).tolist():
        if names[at]:
            checks_of.setdefault((names[at], float(khz[at])), []).append(at)
    groups: list[_Group] = []
    elsewhere: dict[str, list[int]] = {}
    unknown: dict[str, list[int]] = {}
    for (name, freq), checks in checks_of.items():
        if name not in rows_of:
            unknown.setdefault(name, []).extend(checks)
            continue
        rows = np.array(rows_of[name], dtype=np.intp)
        rows = rows[np.abs(listed_khz[rows] - freq) <= drift_khz + 1e-9]
        if rows.size:
            groups.append(_Group(np.array(checks, dtype=np.intp), rows))
        else:
            elsewhere.setdefault(name, []).extend(checks)
    spelled = dict(zip(listed_names, schedule.frame["broadcaster"].tolist(), strict=True))
    for name, checks in unknown.items():
        at = min(checks)
        more = f" ({len(checks)} heard checks, first here)" if len(checks) > 1 else ""
        hint = near_name(name, spelled.values())
        reason = f"the schedule has no broadcaster of this name{more}{hint}"
        found.append(
            (int(frame["row"].iloc[at]), "identity", frame["identity"].iloc[at], "doubt", reason)
        )
    middle_s = _middle_s(frame)
    for name, checks in elsewhere.items():
        rows = np.array(rows_of[name], dtype=np.intp)
        on = schedule.on_air(UtcTimes(middle_s[checks]), rows=rows)
        for column, at in enumerate(checks):
            reason = _other_frequencies(float(khz[at]), listed_khz[rows], on[:, column])
            found.append(
                (int(frame["row"].iloc[at]), "freq_khz", f"{khz[at]:.10g}", "doubt", reason)
            )
    return groups


def _other_frequencies(written: float, listed: Floats, on: Flags) -> str:
    """Doubt about a frequency: near ones and those on the air at that time come first."""
    live = {float(khz) for khz in listed[on]}
    slips = {khz: _slip(written, khz) for khz in {float(khz) for khz in listed}}
    order = sorted(slips, key=lambda khz: (not slips[khz], khz not in live, abs(khz - written)))
    shown = []
    for khz in sorted(order[:_MOST_SHOWN]):
        marks = [mark for mark in (slips[khz], "on the air then" if khz in live else "") if mark]
        shown.append(f"{khz:.10g}{' (' + ', '.join(marks) + ')' if marks else ''}")
    more = f" and {len(order) - _MOST_SHOWN} more" if len(order) > _MOST_SHOWN else ""
    return f"not on this frequency by the schedule, which has it on {', '.join(shown)} kHz{more}"


def _slip(written: float, listed: float) -> str:
    """How one number becomes the other by a slip of the pen, or an empty text."""
    ours, theirs = f"{written:.10g}", f"{listed:.10g}"
    if len(ours) != len(theirs):
        return ""
    pairs = [(a, b) for a, b in zip(ours, theirs, strict=True) if a != b]
    if any("." in pair for pair in pairs):
        return ""
    if len(pairs) == 2 and pairs[0] == pairs[1][::-1]:
        return "two digits swapped"
    if len(pairs) == 1 and abs(int(pairs[0][0]) - int(pairs[0][1])) == 1:
        return "one digit off by one"
    return ""


def _middle_s(frame: pd.DataFrame) -> Floats:
    start, end = (unix_s(frame[name]) for name in ("start_utc", "end_utc"))
    return np.asarray(start + (end - start) / 2.0)


# Clocks -----------------------------------------------------------------------------------------

_MISTAKES = ("local", "ahead", "behind", "date")


def _named(mistake: str, zone: str | None) -> str:
    return {
        "local": f"local time of {zone} typed as UTC",
        "ahead": "a clock one hour ahead, as when an hour of summer time is forgotten",
        "behind": "a clock one hour behind, as when summer time is counted twice or after its end",
        "date": f"UTC time written with the local date of {zone}",
    }[mistake]


def _shifts_s(start_s: Floats, mistake: str, zone: str | None) -> Floats:
    """What to add to written instants to undo a mistake. [s]"""
    if mistake == "ahead":
        return np.full(start_s.shape, -3600.0)
    if mistake == "behind":
        return np.full(start_s.shape, 3600.0)
    assert zone is not None
    if mistake == "local":
        whole = np.floor(start_s)
        wall = whole.astype(np.int64).astype("datetime64[s]")
        return np.asarray(clock.to_utc(wall, zone, "earlier", "shift").unix_s - whole)
    written = np.floor(start_s / _DAY_S).astype(np.int64).astype("datetime64[D]")
    out = np.zeros(start_s.shape)
    for step_s in (-_DAY_S, _DAY_S):
        local = clock.to_local(UtcTimes(start_s + step_s), zone).astype("datetime64[D]")
        out[local == written] = step_s
    return out


class _Night(NamedTuple):
    """Rows that follow each other in hours where the local date is not that of UTC."""

    begin: int
    end: int
    """Positions in the frame, the end not included."""
    shift_s: float
    is_out_of_order: bool
    """As written against the rows beside, and in order with the other date; else the reverse."""


def _nights(start_s: Floats, zone: str) -> list[_Night]:
    """Nights whose place in the file tells their UTC date; none when the file has no order."""
    steps_s = np.diff(start_s)
    if not steps_s.size or (steps_s >= 0.0).mean() < _LEAST_ORDER:
        return []
    shift_s = _shifts_s(start_s, "date", zone)
    cuts = np.flatnonzero((np.diff(shift_s) != 0.0) | (np.abs(steps_s) > _DAY_S / 2.0)) + 1
    out = []
    for begin, end in itertools.pairwise([0, *cuts.tolist(), start_s.size]):
        shift = float(shift_s[begin])
        if shift == 0.0:
            continue
        low, high = start_s[begin], start_s[end - 1]
        before = start_s[begin - 1] if begin else -np.inf
        after = start_s[end] if end < start_s.size else np.inf
        if before <= low and high <= after:
            # Another such night beside this one may have the same mistake: it is no witness.
            before = before if begin and shift_s[begin - 1] == 0.0 else -np.inf
            after = after if end < start_s.size and shift_s[end] == 0.0 else np.inf
        broken, other = (bool(before > low + s or high + s > after) for s in (0.0, shift))
        if broken != other:
            out.append(_Night(begin, end, shift, broken))
    return out


def _add_order(evidence: Floats, at: NDArray[np.intp], counts: Flags, nights: list[_Night]) -> None:
    """Add what the order of the file says to one check of each night."""
    usable = np.sort(at[counts])
    index_of = {int(place): index for index, place in enumerate(at)}
    for night in nights:
        first = int(np.searchsorted(usable, night.begin))
        if first < usable.size and usable[first] < night.end:
            gain = -math.log(_OUT_OF_ORDER)
            evidence[index_of[int(usable[first])]] += gain if night.is_out_of_order else -gain


class _Clocks(NamedTuple):
    """Heard checks against the schedule under each state, in the order of the file."""

    places: NDArray[np.intp]
    """Positions in the frame, shape (checks,)."""
    mistakes: tuple[str, ...]
    counts: Flags
    """Whether the identity does not come from the schedule, shape (checks,)."""
    shift_s: Floats
    """Of all rows of the frame, shape (rows, mistakes). [s]"""
    as_written: Flags
    """On the air as written, shape (checks,)."""
    shifted: Flags
    """On the air under each mistake, shape (checks, mistakes)."""
    evidence: Floats
    """Natural log of the likelihood of each mistake over that of as written, same shape."""
    near: Flags
    """On the air at any quarter hour within 24 h, or at that hour within a week, shape (checks,)"""
    rows: list[NDArray[np.intp]]
    """Positions in the schedule, per check."""
    names: NDArray[np.int64]
    """Number of the broadcaster, shape (checks,)."""


def _clocks(
    frame: pd.DataFrame,
    groups: list[_Group],
    schedule: Schedule,
    zone: str | None,
    nights: list[_Night],
) -> _Clocks:
    mistakes = tuple(m for m in _MISTAKES if zone is not None or m in ("ahead", "behind"))
    start_s, middle_s = unix_s(frame["start_utc"]), _middle_s(frame)
    texts = [n for n in schedule.frame.columns if n not in _ON_AIR]  # only slow down the look-up
    lean = dataclasses.replace(schedule, frame=schedule.frame.drop(columns=texts))
    parts = [g.checks for g in groups]
    at = np.concatenate(parts) if parts else np.empty(0, dtype=np.intp)
    all_shift_s = np.stack([_shifts_s(start_s, m, zone) for m in mistakes], axis=-1)
    shift_s, count = all_shift_s[at], len(mistakes)
    on = np.zeros((at.size, 1 + count), dtype=np.bool_)
    hours, days, near = np.zeros(at.size), np.zeros(at.size), np.zeros(at.size, dtype=np.bool_)
    first = 0
    for group in groups:
        for checks in _blocks(group):
            part = slice(first, first + checks.size)
            first += checks.size
            # A candidate's own shift is no matter of chance.
            own = (_QUARTERS_S == 0.0) | (shift_s[part, :, None] == _QUARTERS_S).any(axis=1)
            offsets = [np.zeros((checks.size, 1)), shift_s[part]]
            offsets += [np.broadcast_to(s, (checks.size, s.size)) for s in (_QUARTERS_S, _DAYS_S)]
            times = middle_s[checks][:, None] + np.concatenate(offsets, axis=1)
            live = np.asarray(lean.on_air(UtcTimes(times), rows=group.rows).any(axis=0))
            on[part] = live[:, : 1 + count]
            quarter = live[:, 1 + count : 1 + count + _QUARTERS_S.size]
            day = live[:, 1 + count + _QUARTERS_S.size :]
            hours[part] = _share((quarter & ~own).sum(axis=1), (~own).sum(axis=1))
            days[part] = _share(day.sum(axis=1), day.shape[1])
            near[part] = live.any(axis=1)
    chance = np.stack([days if m == "date" else hours for m in mistakes], axis=-1)
    weight = np.log(np.maximum(_FITS * (1.0 - chance) / ((1.0 - _FITS) * chance), 1.0))
    evidence = weight * (on[:, 1:].astype(np.float64) - on[:, :1])
    basis = frame["id_basis"].to_numpy(dtype=object)[at]
    counts = ~np.isin(basis, ("schedule", "guess"))
    evidence[~counts] = 0.0
    if zone is not None:
        _add_order(evidence[:, mistakes.index("date")], at, counts, nights)
    order = np.argsort(at)
    of_check = [g.rows for g in groups for _ in range(g.checks.size)]
    _, names = np.unique(
        np.array([plain_name(name) for name in frame["identity"]])[at], return_inverse=True
    )
    return _Clocks(
        places=at[order],
        mistakes=mistakes,
        counts=counts[order],
        shift_s=all_shift_s,
        as_written=on[order, 0],
        shifted=on[order, 1:],
        evidence=evidence[order],
        near=near[order],
        rows=[of_check[i] for i in order],
        names=names[order],
    )


def _blocks(group: _Group) -> Iterator[NDArray[np.intp]]:
    size = max(1, _BLOCK_ELEMENTS // (group.rows.size * (_QUARTERS_S.size + _DAYS_S.size + 5)))
    for begin in range(0, group.checks.size, size):
        yield group.checks[begin : begin + size]


def _share(hits: Any, of: Any) -> Any:
    """Share that is neither 0 nor 1."""
    return (hits + 0.5) / (of + 1.0)


def _states(evidence: Floats) -> Codes:
    """Likeliest sequence: 0 as written, 1 .. the mistakes, shape (checks,)."""
    count = evidence.shape[1]
    stay, leave = math.log(1.0 - _LEAVES), math.log(_LEAVES / count)
    best = [stay] + [leave] * count
    came: list[list[int]] = []
    for gains in evidence.tolist():
        top = max(range(count + 1), key=best.__getitem__)
        moved = best[top] + leave
        came.append([s if best[s] + stay >= moved else top for s in range(count + 1)])
        best = [max(b + stay, moved) + g for b, g in zip(best, (0.0, *gains), strict=True)]
    out = np.zeros(len(came), dtype=np.int64)
    state = max(range(count + 1), key=best.__getitem__)
    for at in range(len(came) - 1, -1, -1):
        out[at] = state
        state = came[at][state]
    return out


class _Run(NamedTuple):
    """A stretch: positions in the arrays of `_Clocks`, both included."""

    first: int
    last: int
    mistakes: tuple[int, ...]
    """That fit equally well, the likeliest first."""
    is_chosen: bool
    log10_odds: float

    def checks(self, clocks: _Clocks) -> slice:
        """Positions in the frame, of all outcomes."""
        return slice(int(clocks.places[self.first]), int(clocks.places[self.last]) + 1)


def _runs(clocks: _Clocks) -> list[_Run]:
    """Stretches in the order of the file; what is left once some are mended is tried again."""
    evidence, out = clocks.evidence.copy(), list[_Run]()
    while found := list(_runs_once(clocks, evidence)):
        out += found
        for run in found:
            part = slice(run.first, run.last + 1)
            evidence[part] = -np.abs(evidence[part])
    return sorted(out)


def _runs_once(clocks: _Clocks, evidence: Floats) -> Iterator[_Run]:
    states = _states(evidence)
    edges = [0, *(np.flatnonzero(np.diff(states)) + 1).tolist(), states.size]
    for begin, end in itertools.pairwise(edges):
        state = int(states[begin]) - 1 if begin < end else -1
        if state < 0:
            continue
        part = _core_of(evidence[:, state], begin, end)
        speaks = np.flatnonzero(evidence[part, state] > 0.0) + part.start
        total = evidence[part].sum(axis=0) / math.log(10.0)
        best = float(total.max())
        voices = np.unique(clocks.names[speaks]).size
        if best < LEAST_LOG10_ODDS or speaks.size < FEWEST_CHECKS or voices < FEWEST_BROADCASTERS:
            continue
        tied = [int(m) for m in np.argsort(-total, kind="stable")]
        tied = [m for m in tied if total[m] >= max(best - _TIE_LOG10, LEAST_LOG10_ODDS)]
        run = _Run(part.start, part.stop - 1, tuple(tied), True, best)
        shift_s = clocks.shift_s[run.checks(clocks)][:, tied]
        yield run._replace(is_chosen=bool((shift_s == shift_s[:, :1]).all()))


def _core_of(evidence: Floats, begin: int, end: int) -> slice:
    """Drop ends that a check against the mistake cuts off and that would not stand alone."""
    enough = -math.log(_LEAVES / 4.0)
    head = np.cumsum(evidence[begin:end])
    weak = np.flatnonzero((evidence[begin:end] < 0.0) & (head < enough))
    begin += int(weak[-1]) + 1 if weak.size else 0
    tail = np.cumsum(evidence[begin:end][::-1])
    weak = np.flatnonzero((evidence[begin:end][::-1] < 0.0) & (tail < enough))
    end -= int(weak[-1]) + 1 if weak.size else 0
    speaks = np.flatnonzero(evidence[begin:end] > 0.0) + begin
    return slice(int(speaks[0]), int(speaks[-1]) + 1) if speaks.size else slice(begin, begin)


def _stretches(
    frame: pd.DataFrame, clocks: _Clocks, runs: list[_Run], zone: str | None
) -> tuple[list[dict[str, Any]], pd.DataFrame]:
    rows = frame["row"].to_numpy(dtype=np.int64)
    out: list[dict[str, Any]] = []
    moved: list[tuple[Codes, Floats, Codes]] = []
    for number, run in enumerate(runs):
        part, inside, mistake = slice(run.first, run.last + 1), run.checks(clocks), run.mistakes[0]
        moves = clocks.shift_s[clocks.places[part], mistake] != 0.0
        tested = moves & clocks.counts[part]
        fits = [
            int(on[part][tested].sum()) for on in (clocks.as_written, clocks.shifted[:, mistake])
        ]
        shift_min = clocks.shift_s[inside, mistake] / 60.0
        firsts = [clocks.shift_s[clocks.places[part], m][moves][0] / 60.0 for m in run.mistakes]
        line: dict[str, Any] = {
            "first_row": int(rows[inside.start]),
            "last_row": int(rows[inside.stop - 1]),
            "checks": inside.stop - inside.start,
            "tested": int(tested.sum()),
            "shift_min": firsts[0] if run.is_chosen else np.nan,
            "fits_as_written": fits[0],
            "fits_shifted": fits[1],
            "log10_odds": run.log10_odds,
            "mistake": clocks.mistakes[mistake] if run.is_chosen else "",
        }
        names = [_named(clocks.mistakes[m], zone) for m in run.mistakes]
        line["explanation"] = _explained(line, names, firsts, shift_min, run.is_chosen)
        line["explanation"] += _open_ends(rows, clocks, run)
        out.append(line)
        if run.is_chosen:
            at = np.flatnonzero(shift_min != 0.0)
            moved.append((rows[inside][at], shift_min[at], np.full(at.size, number)))
    columns = [np.concatenate(c) for c in zip(*moved, strict=True)] if moved else ([], [], [])
    return out, _shift_table(*columns)


def _explained(
    line: dict[str, Any], names: list[str], firsts: list[float], shift_min: Floats, is_chosen: bool
) -> str:
    text = (
        f"rows {line['first_row']} to {line['last_row']}: of {line['tested']} tested checks "
        f"{line['fits_as_written']} are on the air as written"
    )
    if not is_chosen:
        each = ", or ".join(
            f"{name} ({shift:+g} min)" for name, shift in zip(names, firsts, strict=True)
        )
        return f"{text}; two mistakes or more fit equally, none is chosen: {each}"
    kinds = np.unique(shift_min[shift_min != 0.0])
    by = f"{firsts[0]:+g} min" if kinds.size == 1 else " and ".join(f"{k:+g} min" for k in kinds)
    text += f", {line['fits_shifted']} after {by}: {', or '.join(names)}"
    if set(np.abs(kinds)) == {60.0}:
        text += " (or a schedule of another season)"
    return text


def _open_ends(rows: Codes, clocks: _Clocks, run: _Run) -> str:
    """How far the mistake may reach beyond the checks that speak for it."""
    against = np.flatnonzero(clocks.evidence[:, run.mistakes[0]] < 0.0)
    before, after = against[against < run.first], against[against > run.last]
    begin = int(clocks.places[before[-1]]) + 1 if before.size else 0
    end = int(clocks.places[after[0]]) - 1 if after.size else rows.size - 1
    texts = []
    if rows[begin] < rows[clocks.places[run.first]]:
        texts.append(f"begin as early as row {rows[begin]}")
    if rows[end] > rows[clocks.places[run.last]]:
        texts.append(f"end as late as row {rows[end]}")
    return f"; it may {' and '.join(texts)}" if texts else ""


def _out_of_order(
    frame: pd.DataFrame, nights: list[_Night], zone: str | None
) -> Iterator[_Finding]:
    rows, start_s = frame["row"].tolist(), unix_s(frame["start_utc"])
    for night in nights:
        if not night.is_out_of_order:
            continue
        for at in range(night.begin, night.end):
            there = iso_text(start_s[at] + night.shift_s)
            reason = f"out of order in the file, but in order at {there} if {_named('date', zone)}"
            yield rows[at], "start_utc", iso_text(start_s[at]), "clock", reason


def _row_findings(
    frame: pd.DataFrame,
    clocks: _Clocks,
    runs: list[_Run],
    schedule: Schedule,
    zone: str | None,
    found: list[_Finding],
) -> None:
    """Heard checks that are off the air as written."""
    in_run: dict[int, _Run] = {}
    for run in runs:
        in_run.update(dict.fromkeys(range(run.first, run.last + 1), run))
    rows, start_s = frame["row"].tolist(), unix_s(frame["start_utc"])
    hours = _hours(schedule.frame)
    for index in np.flatnonzero(~clocks.as_written).tolist():
        at = int(clocks.places[index])
        shift_s = clocks.shift_s[at]
        fit = [m for m in np.flatnonzero(clocks.shifted[index]).tolist() if shift_s[m] != 0.0]
        owner = in_run.get(index)
        where = ""
        if owner is not None and set(fit) & set(owner.mistakes):
            inside = owner.checks(clocks)
            where = f", in the stretch of rows {rows[inside.start]} to {rows[inside.stop - 1]}"
            fit = [m for m in fit if m in owner.mistakes]
        ways: dict[float, list[str]] = {}
        for m in fit:
            ways.setdefault(float(shift_s[m]), []).append(_named(clocks.mistakes[m], zone))
        each = "; ".join(
            f"{iso_text(start_s[at] + s)} if {', or '.join(names)}" for s, names in ways.items()
        )
        reason = "not on the air then by the schedule"
        if len(ways) == 1:
            reason += f", but at {each}{where}"
        elif ways:
            reason += f"; {len(ways)} mistakes of the clock would fit: {each}{where}"
        elif clocks.near[index]:
            reason += f", which has it {_first_few([hours[r] for r in clocks.rows[index]], 3)}"
        else:
            reason += ", nor at any hour near: is the schedule of this season?"
        kind = "clock" if len(ways) == 1 else "doubt"
        found.append((rows[at], "start_utc", iso_text(start_s[at]), kind, reason))


def _hours(schedule: pd.DataFrame) -> list[str]:
    """Hours and days of each broadcast."""
    columns = (schedule[name].tolist() for name in ("start_utc", "stop_utc", "days"))
    return [
        f"{start}-{stop} {'daily' if days == '1234567' else f'on days {days}'}"
        for start, stop, days in zip(*columns, strict=True)
    ]


def _first_few(texts: list[str], most: int) -> str:
    texts = list(dict.fromkeys(texts))
    return ", ".join(texts[:most]) + (f" and {len(texts) - most} more" * (len(texts) > most))


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


_STRETCH_TYPES = {
    "first_row": "int64",
    "last_row": "int64",
    "checks": "int64",
    "tested": "int64",
    "shift_min": "float64",
    "fits_as_written": "int64",
    "fits_shifted": "int64",
    "log10_odds": "float64",
    "mistake": "str",
    "explanation": "str",
}


def _stretch_table(lines: list[dict[str, Any]]) -> pd.DataFrame:
    return pd.DataFrame(lines, columns=list(_STRETCH_TYPES)).astype(_STRETCH_TYPES)


def _shift_table(rows: Any, shift_min: Any, stretch: Any) -> pd.DataFrame:
    table = pd.DataFrame({"row": rows, "shift_min": shift_min, "stretch": stretch})
    return table.astype({"row": "int64", "shift_min": "float64", "stretch": "int64"})


# Mending ----------------------------------------------------------------------------------------

_SAME = ("observer_id", "setup_id", "freq_khz", "identity", "start_utc", "end_utc", "outcome")
_OWN = ("row", "check_id", "as_written")


def fix(log: Log, result: Audit) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Undo the mistakes of stretches, and drop checks that stand twice; into new tables.

    Every check of a stretch whose mistake is chosen is moved, heard or not; what stood in
    `start_utc` and `end_utc` is kept in `as_written` where that is empty. Single rows of kind
    'clock' are left to the listener. Dropped is a later check that equals an earlier one in
    observer, setup, frequency, identity, start, end and outcome and has no other cell that says
    more.

    Parameters
    ----------
    log
        The audited log; it is not changed.
    result
        From :func:`audit` of this log.

    Returns
    -------
    frame
        For :func:`farhear.log.write_log`. Refused rows are not in it.
    changes
        One line per changed cell: `row`, `column`, `before`, `after`, `reason`; an empty column
        means that the row was dropped.

    Raises
    ------
    InputError
        When the result is of another log.
    """
    if result.sha256 != log.sha256 or result.checks != len(log):
        raise InputError(f"result is an audit of {result.source!r}, not of {log.source!r}")
    frame = log.frame.copy()
    changes: list[tuple[int, str, str, str, str]] = []
    place_of = {row: place for place, row in enumerate(frame["row"].tolist())}
    as_written = frame["as_written"].tolist()
    moves_us = np.zeros(len(frame), dtype=np.int64)
    spans = [unix_s(frame[name]) for name in ("start_utc", "end_utc")]
    columns = (result.shifts[name].tolist() for name in ("row", "shift_min", "stretch"))
    for row, shift_min, stretch in zip(*columns, strict=True):
        place = place_of[row]
        moves_us[place] = round(shift_min * 60e6)
        old = [iso_text(instants[place]) for instants in spans]
        new = [iso_text(instants[place] + shift_min * 60.0) for instants in spans]
        reason = f"{shift_min:+g} min: {result.stretches['mistake'].iloc[stretch]}"
        changes.append((row, "start_utc", old[0], new[0], reason))
        changes.append((row, "end_utc", old[1], new[1], reason))
        if not as_written[place]:
            as_written[place] = f"{old[0]} to {old[1]}"
            changes.append((row, "as_written", "", as_written[place], "the old stamps are kept"))
    for name in ("start_utc", "end_utc"):
        frame[name] += pd.to_timedelta(moves_us.astype("timedelta64[us]"))
    frame["as_written"] = pd.Series(as_written, index=frame.index, dtype="str")
    doubled = _doubled(frame)
    rows, stamps = frame["row"].tolist(), unix_s(frame["start_utc"])
    for place, first in doubled.items():
        reason = f"the same check as in row {rows[first]}"
        changes.append((rows[place], "", iso_text(stamps[place]), "", reason))
    frame = frame.drop(index=frame.index[list(doubled)]).reset_index(drop=True)
    return frame, _by_row(changes, ("row", "column", "before", "after", "reason"))


def _by_row(lines: Sequence[tuple[int, str, str, str, str]], names: Sequence[str]) -> pd.DataFrame:
    """Lines whose first cell is the row, in its order; the other cells are text."""
    table = pd.DataFrame(sorted(lines, key=itemgetter(0)), columns=list(names))
    return table.astype({name: "int64" if name == "row" else "str" for name in names})


def _doubled(frame: pd.DataFrame) -> dict[int, int]:
    """Position of a check that stands twice and says no more -> position of the one that stays."""
    later = np.flatnonzero(frame.duplicated(list(_SAME), keep=False).to_numpy())
    others = [name for name in frame.columns if name not in (*_SAME, *_OWN)]
    stays: dict[tuple[Any, ...], list[int]] = {}
    out: dict[int, int] = {}
    keys = frame[list(_SAME)].iloc[later].itertuples(index=False, name=None)
    for place, key in zip(later.tolist(), keys, strict=True):
        cells = frame[others].iloc[place].tolist()
        for first in stays.setdefault(key, []):
            kept = frame[others].iloc[first].tolist()
            if all(a == b or a == "" or pd.isna(a) for a, b in zip(cells, kept, strict=True)):
                out[place] = first
                break
        else:
            stays[key].append(place)
    return out

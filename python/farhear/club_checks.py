"""Checks of several members: which are doubles, which meet, and whose name holds.

The rules stand in :mod:`farhear.club`. Rows have times in whole microseconds since 1970
(`start_us`, `end_us`), `member`, `setup_id` ("member/setup"), `setup` as in the log, `channel_khz`.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from farhear._arrays import Floats
from farhear.band import band_of
from farhear.schedule import Schedule
from farhear.tables import plain_name
from farhear.times import UtcTimes

__all__ = ["STATES", "channel_khz", "joined_doubles", "middles", "settled", "shared"]

STATES = ("agreed", "by schedule", "by majority", "disputed", "single")
"""How the identity of a heard check stands; empty where it names none."""

Codes = NDArray[np.int64]
Flags = NDArray[np.bool_]
_Span = tuple[int, int, int]

_WEIGHTS = {"sure": 3, "probable": 2}
_TELLS = {"heard": 1.0, "carrier_only": 0.0, "not_heard": 0.0}
_SAYS = ("blocked", "not_heard", "carrier_only", "heard")  # in rising order
_MINUTE_US = 60_000_000


def channel_khz(freq_khz: Floats) -> Floats:
    """Nearest multiple of 5 kHz where that lies in a broadcast band, else the whole kHz. [kHz]"""
    raster = np.floor(freq_khz / 5.0 + 0.5) * 5.0
    return np.where(np.asarray(band_of(raster)) != "", raster, np.floor(freq_khz + 0.5))


def middles(rows: pd.DataFrame) -> UtcTimes:
    """Middle of each row."""
    sums = rows["start_us"].to_numpy(np.float64) + rows["end_us"].to_numpy(np.float64)
    return UtcTimes(sums / 2e6)


# Doubles ----------------------------------------------------------------------------------------


def _spans(rows: pd.DataFrame) -> tuple[Codes, Codes]:
    """Start and end; a check without length gets a microsecond, so that it can meet others."""
    start = rows["start_us"].to_numpy(np.int64)
    return start, np.maximum(rows["end_us"].to_numpy(np.int64), start + 1)


def joined_doubles(rows: pd.DataFrame) -> Codes:
    """For each row the position of the row that stands for it: its own where it is kept."""
    out = np.arange(len(rows))
    start, end = _spans(rows)
    rank = _by_what_is_said(rows)
    setups = rows["setup"].tolist()
    for where in rows.groupby(["member", "channel_khz"]).indices.values():
        at = np.asarray(where, dtype=np.int64)
        ordered = at[np.argsort(start[at], kind="stable")]
        if not (start[ordered[1:]] < end[ordered[:-1]]).any():
            continue  # if any two met, two neighbours would
        kept: dict[str, list[_Span]] = {}
        for one in at[np.argsort(rank[at], kind="stable")].tolist():
            own = setups[one]
            span = (int(start[one]), int(end[one]), one)
            lists = [kept[name] for name in kept if not own or name in ("", own)]
            met = [other for spans in lists for other in _meeting(spans, span)]
            if met:
                longest = max(met, key=lambda o: (min(o[1], span[1]) - max(o[0], span[0]), -o[2]))
                out[one] = longest[2]
            else:
                insort(kept.setdefault(own, []), span)
    return out


def _meeting(spans: list[_Span], one: _Span) -> list[_Span]:
    """Those of some disjoint spans, in order, that overlap another one."""
    first = max(bisect_left(spans, one) - 1, 0)
    out = []
    for other in spans[first:]:
        if other[0] >= one[1]:
            break
        if other[1] > one[0]:
            out.append(other)
    return out


def _by_what_is_said(rows: pd.DataFrame) -> Codes:
    """Rank of each row: 0 says most."""
    weight = np.where(_is_claim(rows), 1 + _weights(rows["id_confidence"]), 0)
    rated = (rows["sinpo"] != "").to_numpy()
    says = np.array([_SAYS.index(word) if word in _SAYS else -1 for word in rows["outcome"]])
    length = (rows["end_us"] - rows["start_us"]).to_numpy(np.int64)
    unnamed = (rows["setup"] == "").to_numpy()
    keys = (rows["row"], rows["start_us"], unnamed, -length, -says, ~rated, -weight)
    order = np.lexsort(keys)
    rank = np.empty(len(rows), dtype=np.int64)
    rank[order] = np.arange(len(rows))
    return rank


def _is_claim(rows: pd.DataFrame) -> Flags:
    """Heard, and somebody named."""
    return ((rows["outcome"] == "heard") & (rows["identity"] != "")).to_numpy(dtype=np.bool_)


def _weights(confidence: pd.Series[Any]) -> Codes:
    return np.array([_WEIGHTS.get(word, 1) for word in confidence.tolist()], dtype=np.int64)


# Meeting of members -----------------------------------------------------------------------------


def _meetings(rows: pd.DataFrame) -> tuple[Codes, Codes, Codes]:
    """Pairs of rows of different members on one channel at one time, and how long they share it.

    They share 1 min, or the whole of the shorter row. [us]
    """
    start, end = _spans(rows)
    channel = pd.factorize(rows["channel_khz"], sort=True)[0].astype(np.int64)
    member = pd.factorize(rows["member"], sort=True)[0]
    order = np.lexsort((end, start, channel))
    times, place = np.unique(np.concatenate([start, end]), return_inverse=True)
    base = channel[order] * (times.size + 1)
    begins, ends = (base + place[at] for at in (order, start.size + order))
    many = np.maximum(np.searchsorted(begins, ends) - np.arange(start.size) - 1, 0)
    first = np.repeat(np.arange(start.size), many)
    second = first + 1 + np.arange(first.size) - np.repeat(np.cumsum(many) - many, many)
    a, b = order[first], order[second]
    met = member[a] != member[b]
    a, b = np.minimum(a, b)[met], np.maximum(a, b)[met]
    overlap = np.minimum(end[a], end[b]) - np.maximum(start[a], start[b])
    shorter = np.minimum(end[a] - start[a], end[b] - start[b])
    enough = overlap >= np.minimum(_MINUTE_US, shorter)
    a, b, overlap = a[enough], b[enough], overlap[enough]
    order = np.lexsort((b, a))
    return a[order], b[order], overlap[order]


# Identities -------------------------------------------------------------------------------------


class _Claim(NamedTuple):
    """Who was heard, says a member."""

    plain: str
    spelled: str
    confidence: str
    member: str
    overlap_us: int

    @property
    def weight(self) -> int:
        return _WEIGHTS.get(self.confidence, 1)

    def text(self) -> str:
        sure = f"{self.confidence}, " if self.confidence else ""
        return f"{self.spelled} ({sure}{self.member})"


def _claim(row: Any, overlap_us: int) -> _Claim:
    name = str(row.identity)
    return _Claim(plain_name(name), name, str(row.id_confidence), str(row.member), overlap_us)


def settled(
    checks: pd.DataFrame, rows: pd.DataFrame, kept_by: Codes, schedule: Schedule | None
) -> pd.DataFrame:
    """Checks with `identity_state`, `claims`, `duplicates`, and what their member `claimed`."""
    doubles = np.flatnonzero(kept_by != np.arange(len(rows)))
    place = np.cumsum(kept_by == np.arange(len(rows))) - 1
    own: dict[int, list[_Claim]] = {}
    is_claim = _is_claim(rows)
    for at, row in zip(doubles.tolist(), rows.iloc[doubles].itertuples(), strict=True):
        if is_claim[at]:
            own.setdefault(int(place[kept_by[at]]), []).append(_claim(row, 0))
    joined = np.bincount(place[kept_by[doubles]], minlength=len(checks)).astype(np.int64)
    named = np.flatnonzero(_is_claim(checks))
    a, b, overlap = _meetings(checks.iloc[named])
    a, b = named[a], named[b]
    plain = np.array([plain_name(name) for name in checks["identity"]], dtype=object)
    differ = plain[a] != plain[b]
    met, clash = (
        np.bincount(np.concatenate(ends), minlength=len(checks))
        for ends in ((a, b), (a[differ], b[differ]))
    )
    state = np.full(len(checks), "", dtype=object)
    state[named] = np.where(met[named] > 0, "agreed", "single")
    around = _claims_around(checks, np.flatnonzero(clash), a, b, overlap)
    identity, confidence = (checks[name].tolist() for name in ("identity", "id_confidence"))
    on_air = _on_air_then(checks, list(around), schedule)
    for at, claims in around.items():
        winner, state[at] = _decided(claims, on_air[at])
        for_it = [one for one in claims if one.plain == winner]
        identity[at] = _spelled(for_it, on_air[at].get(winner, ""))
        confidence[at] = max(for_it, key=lambda one: one.weight).confidence if for_it else ""
    others = [""] * len(checks)
    for at in sorted({*around, *own}):
        claims = around.get(at, []) + own.get(at, [])
        mine = plain_name(identity[at])
        others[at] = "; ".join(sorted({one.text() for one in claims if one.plain != mine}))
    return checks.assign(
        claimed=plain,
        identity=pd.Series(identity, dtype=object).astype("str"),
        id_confidence=pd.Series(confidence, dtype=object).astype("str"),
        identity_state=pd.Series(state.tolist(), dtype=object).astype("str"),
        claims=pd.Series(others, dtype=object).astype("str"),
        duplicates=joined,
    )


def _claims_around(
    checks: pd.DataFrame, wanted: Codes, a: Codes, b: Codes, overlap: Codes
) -> dict[int, list[_Claim]]:
    """The claim of each wanted check, and of all that meet it."""
    is_wanted = np.zeros(len(checks), dtype=np.bool_)
    is_wanted[wanted] = True
    lengths = (checks["end_us"] - checks["start_us"]).to_numpy(np.int64)
    involved = np.unique(np.concatenate([wanted, a[is_wanted[b]], b[is_wanted[a]]]))
    row_of = dict(zip(involved.tolist(), checks.iloc[involved].itertuples(), strict=True))
    out = {at: [_claim(row_of[at], int(lengths[at]))] for at in wanted.tolist()}
    for first, second, length in zip(a.tolist(), b.tolist(), overlap.tolist(), strict=True):
        for one, other in ((first, second), (second, first)):
            if is_wanted[one]:
                out[one].append(_claim(row_of[other], length))
    return out


def _on_air_then(
    checks: pd.DataFrame, wanted: list[int], schedule: Schedule | None
) -> dict[int, dict[str, str]]:
    """Broadcasters on the channel at the middle of each check: plain name -> as listed."""
    out: dict[int, dict[str, str]] = {at: {} for at in wanted}
    if schedule is None or not wanted:
        return out
    listed = schedule.frame
    analogue = (listed["modulation"] != "DIGITAL").to_numpy()
    listed_khz = channel_khz(listed["freq_khz"].to_numpy(np.float64))
    names = [str(name) for name in listed["broadcaster"]]
    few = checks.iloc[wanted]
    middle, channels = middles(few), few["channel_khz"].to_numpy(np.float64)
    for khz in np.unique(channels):
        here, rows = np.flatnonzero(channels == khz), np.flatnonzero((listed_khz == khz) & analogue)
        on = schedule.on_air(middle[here], rows=rows)
        for row, column in zip(*np.nonzero(on), strict=True):
            name = names[rows[row]]
            out[wanted[here[column]]][plain_name(name)] = name
    return out


def _decided(claims: Sequence[_Claim], on_air: Mapping[str, str]) -> tuple[str, str]:
    """Plain name of the broadcaster, empty where it stays open, and the state."""
    claimed = {one.plain for one in claims}
    possible = claimed & on_air.keys()
    if len(possible) == 1:
        return possible.pop(), "by schedule"
    best: dict[str, _Claim] = {}
    for one in sorted(claims, key=lambda one: (-one.weight, -one.overlap_us, one.plain)):
        best.setdefault(one.member, one)
    votes = [one for one in best.values() if not possible or one.plain in possible]
    total = sum(one.weight for one in votes)
    for name in claimed:
        for_it = [one for one in votes if one.plain == name]
        weight = sum(one.weight for one in for_it)
        if 2 * len(for_it) > len(votes) and 2 * weight > total:
            return name, "by majority"
    return "", "disputed"


def _spelled(claims: Sequence[_Claim], listed: str) -> str:
    """One spelling: that of the schedule, else the commonest."""
    if listed or not claims:
        return listed
    counts = Counter(one.spelled for one in claims)
    return min(counts, key=lambda name: (-counts[name], name))


# Pairs that tell --------------------------------------------------------------------------------


def shared(checks: pd.DataFrame) -> pd.DataFrame:
    """Pairs of checks that tell, of two members' setups, each check in one pair of these at most.

    `a` and `b` are positions in `checks`, the setup of `a` before that of `b`; the longest overlap
    goes first.
    """
    tell = np.flatnonzero(checks["outcome"].isin(list(_TELLS)).to_numpy())
    a, b, overlap = _meetings(checks.iloc[tell])
    a, b = tell[a], tell[b]
    setup = pd.factorize(checks["setup_id"], sort=True)[0].astype(np.int64)
    turned = setup[a] > setup[b]
    a, b = np.where(turned, b, a), np.where(turned, a, b)
    order = np.lexsort((b, a, -overlap))
    taken: set[tuple[int, int]] = set()
    pairs = []
    for first, second in zip(a[order].tolist(), b[order].tolist(), strict=True):
        marks = {(first, int(setup[second])), (second, int(setup[first]))}
        if taken.isdisjoint(marks):
            taken |= marks
            pairs.append((first, second))
    out = pd.DataFrame(sorted(pairs), columns=["a", "b"], dtype=np.int64)
    for side in ("a", "b"):
        there = checks.iloc[out[side].to_numpy()]
        out[f"setup_{side}"] = there["setup_id"].to_numpy()
        out[f"heard_{side}"] = [_TELLS[word] for word in there["outcome"]]
        digits = there["sinpo"].where((there["outcome"] == "heard"), "").str[4:]
        out[f"o_{side}"] = pd.to_numeric(digits).to_numpy(np.float64)
        out[f"claimed_{side}"] = there["claimed"].to_numpy()
    out["evening"] = checks["evening"].to_numpy()[out["a"].to_numpy()]
    apart = (out["claimed_a"] != out["claimed_b"]) & (out["claimed_a"] != "")
    out["is_rated"] = out[["o_a", "o_b"]].notna().all(axis=1)
    out["is_rated"] &= ~(apart & (out["claimed_b"] != ""))
    return out

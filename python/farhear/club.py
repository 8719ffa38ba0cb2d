"""A club's logs as one: nothing lost, nobody's ears pooled, nobody's home given away.

What :func:`merge` does, in this order
--------------------------------------
1. *Rows.* Times are UTC. A row without an end, a zone or an outcome is refused by name and counted;
   so is one whose setup or identity holds an e-mail address.
2. *Setups* stay apart: each is "member/setup", or the member where none is named. No figure here
   puts the checks of two together.
3. *Doubles.* Checks of one member with one setup (a row that names none fits any) on one channel
   that overlap in time are one look. The row that says most is kept (a sure identity, a rating,
   heard before not heard, the longer, one that names its setup, the earlier), the others become
   `references` to it. Two members who hear the same transmission are two observations.
4. *Identities.* Heard checks of different members on one channel that overlap for 1 min, or for the
   whole of the shorter one, and name different broadcasters are in conflict. It is settled, check
   by check, (a) by the schedule, when exactly one of those named is on the air at the middle of the
   check; else (b) by a majority, among those the schedule has on the air where it has any: more
   than half of the members, and more than half when a sure vote counts 3, a probable one 2 and any
   other 1 (own choice, so one against one is never a majority). Else the check is *disputed*: its
   identity is empty, so that no test of identities uses it, and all names stand in `claims`. Two
   broadcasts may share a channel and each be heard where one of two members lives: a majority is no
   proof, and `claims` keeps what it overruled.
5. *Agreement* of observers, before anything is put together, on the checks that two of them share.

A channel is the nearest multiple of 5 kHz where that lies in a broadcast band, else the whole kHz.

What the result gives away
--------------------------
No exact place enters: a member states a locator of four characters (1 x 2 degrees), or six by his
own choice. Where fewer than `fewest_per_cell` members live in it, the place is shown as its field
(the first two characters, 10 x 20 degrees), and where fewer live in that, not at all.

Everything derived is worked out from the place *as shown* and from columns that stand beside it, so
that it adds nothing to them. It would not do to keep minutes from sunset of the finer cell and
round them to 10 min: with the start of a check they bound the sunset of that evening, and ten
checks of a winter left 1.05 of the hundred cells of a field on average (measured, see
`tests/unit/test_club.py`). So minutes from sunset are those at the centre of the place as shown, in
whole minutes for a cell and tens of minutes for a field, and missing where the place is withheld;
`people` says how wrong that can make them. The evening is that of the member's own clock where four
characters or more are shown, of the nearest whole-hour offset for a field, of UTC for a withheld
place, since a time zone names a country.

.. caution:: A place shown as a field means "in this field, but in none of its shown cells". Members
   are hidden from readers, not from those who know the club. Times of listening tell when a home
   is empty and when its people sleep, and the broadcasts heard tell the part of the world: publish
   with a delay, or with `by_week`. Names of setups are shown as written. What has been published
   cannot be called back by a later withdrawal; whoever has an issue from before and one from after
   can see what is missing.

With `by_week` every check is moved by whole days to the Thursday of its week before anything is
derived from it, evenings become Mondays, lines of the logs are left out, and so are the cells that
were refused. That hides the day, not the hour.

How agreement is measured
-------------------------
On checks of two members that share a channel and a time (as in 4; each check in one pair at most):
heard against not heard (a carrier alone is not heard; blocked says nothing), Cohen's kappa, and,
where both rated the same broadcaster, kappa with quadratic weights on the O of SINPO. Intervals
leave out one evening at a time. An ordinal model of the differences of O within one reception tells
how much higher a setup rates than an average one; that is ears, antenna and place together. Digits
of two people are never averaged. The methods stand in :mod:`farhear.agreement`.
"""

from __future__ import annotations

import re
import textwrap
import tomllib
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from farhear import path as paths
from farhear._arrays import Floats
from farhear.agreement import kappa_interval, offsets
from farhear.club_checks import STATES, channel_khz, joined_doubles, middles, settled, shared
from farhear.errors import InputError
from farhear.evenings import evening_of, nights
from farhear.hunch._ground import whole_number
from farhear.log import Log, instant, outcome_word, read_log
from farhear.schedule import Schedule
from farhear.station import Station
from farhear.tables import (
    Cells,
    Column,
    Faults,
    cell_text,
    counted,
    decode,
    frequency_khz,
    near_name,
    one_of,
    parse_cells,
    plain_name,
    plain_text,
    read_bytes_of,
)

if TYPE_CHECKING:
    from farhear.charts.pictures import ClubPictures

__all__ = [
    "LICENCES",
    "STATES",
    "WITHHELD",
    "Club",
    "Member",
    "merge",
    "read_members",
]

LICENCES: Mapping[str, str] = {
    "CC0-1.0": "https://creativecommons.org/publicdomain/zero/1.0/",
    "CC-BY-4.0": "https://creativecommons.org/licenses/by/4.0/",
}
"""Licences under which a log may be given away: SPDX identifier and text."""
WITHHELD = "withheld"
"""Stands for a place that is not shown."""
FEWEST_SHARED = 30
"""Below this many shared checks a note says that they are too few to judge; common practice."""
FEWEST_EVENINGS = 5
"""Below this many evenings likewise."""

Codes = NDArray[np.int64]
Fault = tuple[int, str, str, str]

_DAY_US = 86_400_000_000
_FINE_ROUND_MIN = 1.0
_FIELD_ROUND_MIN = 10.0
_MOST_EVENINGS = 40  # looked at for the error of a sunset
_LONGEST_NAME = 40
_MOST_PAIRS = 20  # in the text
_EMAIL = re.compile(r"[^\s@<>,;]+@[^\s@<>,;]+")
_SHOWN = frozenset(
    ("consent", "start_utc", "end_utc", "freq_khz", "outcome", "identity", "id_confidence")
) | frozenset(("sinpo", "demod", "setup_id"))
_DATED = re.compile(r"\d{4}-\d\d-\d\d\S*")
_WIDTH = 78


# Members ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """One member, and what he gives to the club.

    Parameters
    ----------
    name
        A pseudonym of 1 to 40 printable characters, without "/", and no e-mail address.
    place
        Maidenhead locator of four characters (1 x 2 degrees); of six only with `fine`.
    time_zone
        Of the member's clock, for example 'Europe/Tallinn'.
    licence
        One of `LICENCES`.
    consent
        Whether the member has agreed to the log being shared. False: :func:`merge` refuses the
        whole log and says so.
    log
        From :func:`farhear.log.read_log`, or a frame with its columns; times without a zone are
        refused, row by row.
    fine
        The member's own word that six characters may be shown.

    Raises
    ------
    InputError
        On another value, naming member and key.
    """

    name: str
    place: str
    time_zone: str
    licence: str
    consent: bool
    log: Log | pd.DataFrame = field(repr=False, compare=False)
    fine: bool = False

    def __post_init__(self) -> None:
        _check_name(self.name)
        who = f"member {self.name!r}"
        for key in ("consent", "fine"):
            if not isinstance(getattr(self, key), bool):
                raise InputError(f"{who}: {key} = {getattr(self, key)!r} is neither true nor false")
        if self.licence not in LICENCES:
            near = near_name(str(self.licence), LICENCES)
            known = " or ".join(LICENCES)
            raise InputError(f"{who}: licence = {self.licence!r} is not {known}{near}")
        if not isinstance(self.log, (Log, pd.DataFrame)):
            raise InputError(f"{who}: log is neither a log nor a frame; see farhear.log.read_log")
        object.__setattr__(self, "place", _checked_place(who, self.place, self.fine))
        try:
            _station(self.place, self.time_zone)
        except InputError as fault:
            raise InputError(f"{who}: {fault}") from None


def _check_name(name: object) -> None:
    if not isinstance(name, str) or not name.strip():
        raise InputError(f"name = {name!r} is not a text; a pseudonym will do")
    if _EMAIL.search(name):
        raise InputError("name is an e-mail address, which would be published; give a pseudonym")
    if len(name) > _LONGEST_NAME or not name.isprintable() or name != name.strip():
        raise InputError(
            f"name = {name[:80]!r} is not 1 to {_LONGEST_NAME} printable characters without blanks "
            "around them"
        )
    if "/" in name:
        raise InputError(f"name = {name!r} has a '/', which stands between member and setup")


def _checked_place(who: str, place: object, fine: bool) -> str:
    """The locator as it is usually written."""
    if not isinstance(place, str):
        raise InputError(f"{who}: place = {place!r} is not a locator such as KO38")
    try:
        cell = paths.from_locator(place)
    except InputError as fault:
        raise InputError(f"{who}: place: {fault}") from None
    length = len(place.strip())
    if length not in (4, 6):
        raise InputError(f"{who}: place = {place!r} has {length} characters, expected 4 (or 6)")
    if length == 6 and not fine:
        raise InputError(
            f"{who}: place = {place!r} has 6 characters, the quarter of a town; give 4, or "
            "fine = true if the member wants that"
        )
    return str(paths.locator(cell.lat_deg, cell.lon_deg, length))


def read_members(path: str | Path) -> tuple[Member, ...]:
    """Read who is in a club, and their logs, from a TOML file.

    ::

        [[members]]
        name = "Birch"              # a pseudonym
        place = "KO38"              # four characters; six with fine = true
        time_zone = "Europe/Tallinn"
        licence = "CC-BY-4.0"       # or CC0-1.0
        consent = true
        log = "logs/birch.csv"      # from the folder of this file
        local_times = true          # left out: times in the log without a zone are refused

        [[members]]
        name = "Alder"
        consent = true
        study = "alder.zip"         # a member's study, or its folder: place, zone, licence and log

    Parameters
    ----------
    path
        The file. Logs are read as :func:`farhear.log.read_log` does, by their suffix and with the
        layout beside them; that of a member without consent is not opened.

    Returns
    -------
    The members, in the order of the file.

    Raises
    ------
    InputError
        On a file that is not TOML, a key that is unknown or missing, a value that :class:`Member`
        refuses, a log that cannot be read; it names member and key.
    OSError
        When the file itself cannot be opened.
    """
    path = Path(path)
    text = decode(read_bytes_of(path), path.name)
    try:
        content = tomllib.loads(text)
    except (ValueError, RecursionError) as cause:  # numbers and nests without end, too
        raise InputError(f"{path.name} is not TOML: {cause}") from None
    for key in content:
        if key != "members":
            raise InputError(f"{path.name}: unknown key {key!r}{near_name(key, ['members'])}")
    entries = content.get("members")
    if not isinstance(entries, list) or not entries:
        raise InputError(f"{path.name} has no members; write [[members]] for each of them")
    out = []
    for index, entry in enumerate(entries):
        where = f"members[{index}]"
        if isinstance(entry, dict) and isinstance(entry.get("name"), str):
            where += f" {_masked(entry['name'])!r}"
        try:
            out.append(_member_of(entry, path.parent))
        except InputError as fault:
            raise InputError(f"{path.name}: {where}: {fault}") from None
    return tuple(out)


def _member_of(entry: object, folder: Path) -> Member:
    if not isinstance(entry, dict):
        raise InputError("is not a table; write [[members]]")
    if "study" in entry:
        return _member_with_study(entry, folder)
    known = [*(one.name for one in fields(Member)), "local_times", "study"]
    for key in entry:
        if key not in known:
            raise InputError(f"unknown key {key!r}{near_name(key, known)}")
    for key in known[:6]:
        if key not in entry:
            raise InputError(f"key {key!r} is missing")
    if not isinstance(entry["log"], str):
        raise InputError(f"log = {entry['log']!r} is not the name of a file")
    if not isinstance(entry.get("local_times", False), bool):
        raise InputError(f"local_times = {entry['local_times']!r} is neither true nor false")
    values = {key: value for key, value in entry.items() if key != "local_times"}
    member = Member(**{**values, "log": pd.DataFrame()})
    if not member.consent:
        return member
    zone = member.time_zone if entry.get("local_times", False) else None
    try:
        return Member(**{**values, "log": read_log(folder / entry["log"], time_zone=zone)})
    except InputError as fault:
        raise InputError(f"log: {fault}") from None
    except OSError as fault:
        raise InputError(f"log = {entry['log']!r} cannot be read: {fault.strerror}") from None


def _member_with_study(entry: Mapping[str, Any], folder: Path) -> Member:
    """A member whose shared study is there."""
    from farhear import bundle
    from farhear.study import Study

    known = ("name", "consent", "study")
    for key in entry:
        if key not in known:
            raise InputError(f"unknown key {key!r} beside study{near_name(key, known)}")
    for key in known:
        if key not in entry:
            raise InputError(f"key {key!r} is missing")
    if not isinstance(entry["study"], str) or "\0" in entry["study"]:
        raise InputError(f"study = {entry['study']!r} is not the name of a study")
    try:
        with bundle.opened(folder / entry["study"]) as place:
            faults = bundle.seal_faults(place)
            if faults:
                raise InputError(f"study: {faults[0]}")
            about = Study.open(place).about
            return Member(
                name=entry["name"],
                place=about.locator,
                time_zone=about.time_zone,
                licence=about.licence,
                consent=entry["consent"],
                log=Study(place, about).log(),
                fine=len(about.locator) == 6,
            )
    except OSError as fault:
        raise InputError(f"study = {entry['study']!r} cannot be read: {fault.strerror}") from None


# The result -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Club:
    """What :func:`merge` made; its tables may be shared as they are, with the caution above.

    Attributes
    ----------
    checks
        One row a kept check, in order of member, start, end, frequency and setup: `member`,
        `setup_id` ("member/setup"), `row` (line in the member's log), `start_utc`, `end_utc`,
        `freq_khz` [kHz], `outcome`, `identity` (as settled; of a check that heard nothing, who was
        looked for), `identity_state` (one of `STATES`, or empty: no claim), `claims` (names other
        than `identity` that this check, its doubles or those in conflict with it give, each with
        its confidence and member), `id_confidence` (the strongest of the claims for `identity`),
        `sinpo`, `demod`, `duplicates` (number of doubles joined into it), `evening` (date), and
        `middle_min`, minutes from sunset to its middle [min], rounded, see the module. By week
        there is no `row`, and instead of `evening` there is `week`, the Monday.
    references
        One row a double: `check` (position in `checks` of the row that was kept), `member`,
        `setup_id`, `row`, `start_utc`, `end_utc`, `freq_khz`, `outcome`, `identity`,
        `id_confidence`, `sinpo`.
    rejects
        One row a fault: `member`, `row` (0: the whole log), `column`, `value` (of columns that
        are shown of checks, else empty), `reason`.
    counts
        One row a member: `read` = `accepted` + `refused`, `accepted` = `kept` + `doubles`;
        `disputed` are among the kept.
    agreement
        One row for two setups of different members that share checks: `a`, `b` (setups),
        `checks`, `evenings`, `both_heard`, `only_a`, `only_b`, `neither`, `agree_share`, `kappa`,
        `kappa_low`, `kappa_high`, and of the overall digit `rated`, `o_kappa`, `o_kappa_low`,
        `o_kappa_high`. Intervals of 95 %; NaN where the checks do not tell.
    offsets
        One row a setup that shares ratings: `setup_id`, `group` (setups that comparisons connect),
        `rated` (comparisons), `evenings`, `offset_digits`, `low`, `high`.
    people
        One row a member with consent: `name`, `place` (as shown), `time_zone` (that of the
        evenings, see the module), `licence`, `members` (how many live in the place as shown; 0
        where it is withheld), `within_km` (so far from the centre of
        the place shown the home may lie), `sunset_error_min` (so wrong `middle_min` may be before
        rounding; NaN: no bound, or the place is withheld).
    notes
        Sentences to read with it.
    """

    checks: pd.DataFrame
    references: pd.DataFrame
    rejects: pd.DataFrame
    counts: pd.DataFrame
    agreement: pd.DataFrame
    offsets: pd.DataFrame
    people: pd.DataFrame
    notes: tuple[str, ...]

    def __post_init__(self) -> None:
        count = self.counts
        sums = (count["accepted"] + count["refused"] == count["read"]).all()
        if not sums or (count["kept"] + count["doubles"] != count["accepted"]).any():
            raise AssertionError(f"counts do not add up:\n{count}")

    @property
    def plot(self) -> ClubPictures:
        """Charts: `coverage(by)`."""
        from farhear.charts.pictures import ClubPictures

        return ClubPictures(self)

    def text(self) -> str:
        """Sum up: counts by member, agreement, offsets, notes."""
        total = self.counts[["read", "refused", "kept", "doubles", "disputed"]].sum()
        first = (
            f"{counted(len(self.counts), 'member')}: {total['read']} rows read, {total['refused']} "
            f"refused, {total['doubles']} doubles joined; {counted(total['kept'], 'check')} kept, "
            f"{total['disputed']} of them with a disputed identity."
        )
        parts = [first, *(_count_text(row) for row in self.counts.itertuples())]
        pairs = [_pair_text(row) for row in self.agreement.itertuples()]
        parts += pairs[:_MOST_PAIRS]
        if len(pairs) > _MOST_PAIRS:
            parts.append(f"{len(pairs) - _MOST_PAIRS} more pairs stand in `agreement`.")
        parts += [_offset_text(row) for row in self.offsets.itertuples()]
        return "\n".join(textwrap.fill(part, _WIDTH) for part in (*parts, *self.notes))


def _count_text(row: Any) -> str:
    return (
        f"{row.member}: {row.read} read = {row.accepted} accepted + {row.refused} refused; "
        f"{row.kept} kept + {counted(row.doubles, 'double')}; {row.disputed} disputed."
    )


def _pair_text(row: Any) -> str:
    text = (
        f"{row.a} and {row.b}: {counted(row.checks, 'shared check')} on "
        f"{counted(row.evenings, 'evening')}, alike in {100.0 * row.agree_share:.0f} %, kappa "
        f"{_interval_text(row.kappa, row.kappa_low, row.kappa_high)}"
    )
    if not row.rated:
        return f"{text}."
    figures = _interval_text(row.o_kappa, row.o_kappa_low, row.o_kappa_high)
    return f"{text}; overall digit, {counted(row.rated, 'pair')}: weighted kappa {figures}."


def _offset_text(row: Any) -> str:
    figures = _interval_text(row.offset_digits, row.low, row.high, "+.2f")
    return (
        f"{row.setup_id}: overall digit {figures} from the average of those it can be compared "
        f"with ({counted(row.rated, 'comparison')})."
    )


def _interval_text(value: float, low: float, high: float, form: str = ".2f") -> str:
    if np.isnan(value):
        return "cannot be told"
    if np.isnan(low) or np.isnan(high):
        return f"{value:{form}} (no interval)"
    return f"{value:{form}} ({low:{form}} to {high:{form}})"


# Merging ----------------------------------------------------------------------------------------


def merge(
    members: Iterable[Member],
    *,
    schedule: Schedule | None = None,
    withdrawn: Sequence[str] = (),
    fewest_per_cell: int = 3,
    by_week: bool = False,
) -> Club:
    """Merge the logs of members; see the module for the rules.

    Parameters
    ----------
    members
        In any order: it changes nothing.
    schedule
        Of the time of the logs, to settle identities. None: by majority only.
    withdrawn
        Names of members who are left out. The result is, byte for byte, that without them.
    fewest_per_cell
        Places are shown that so many members share, 1 or more; see the module.
    by_week
        Whether to tell weeks instead of evenings; see the module.

    Returns
    -------
    Club. A member without consent, and rows that cannot be used, stand in its `rejects`.

    Raises
    ------
    InputError
        When there is no member, two bear one name, a name in `withdrawn` is no member's (a slip
        there would publish what somebody took back), or a number is out of range.

    Examples
    --------
    >>> import pandas as pd
    >>> from farhear.club import Member, merge
    >>> row = {"start_utc": "2026-11-25T18:00Z", "end_utc": "2026-11-25T18:04Z",
    ...        "freq_khz": 6070.0, "outcome": "heard", "identity": "Radio Belmorant (invented)"}
    >>> club = merge(
    ...     Member(name=name, place="KO38", time_zone="Europe/Tallinn", licence="CC0-1.0",
    ...            consent=True, log=pd.DataFrame([row]))
    ...     for name in ("Birch", "Alder", "Rowan")
    ... )
    >>> club.checks[["member", "identity_state", "middle_min"]].values.tolist()
    [['Alder', 'agreed', 268.0], ['Birch', 'agreed', 268.0], ['Rowan', 'agreed', 268.0]]
    """
    staying = _staying(members, withdrawn)
    fewest = whole_number("fewest_per_cell", fewest_per_cell, 1)
    willing = [member for member in staying if member.consent]
    shown = _shown_places(willing, fewest)
    parts = [_part(member) for member in staying]
    rows = _one_table(parts)
    homes = {one.name: _as_shown(one, shown[one.name]) for one in willing}
    rows["evening"] = _evenings(rows, homes)
    kept_by = joined_doubles(rows)
    is_kept = kept_by == np.arange(len(rows))
    checks = settled(rows[is_kept].reset_index(drop=True), rows, kept_by, schedule)
    pairs = shared(checks)
    stands = kept_by[~is_kept]
    kept_outcome = rows["outcome"].to_numpy()[stands]
    position = (np.cumsum(is_kept) - 1)[stands]
    doubles = rows[~is_kept].assign(check=position, kept_outcome=kept_outcome)
    people = _people(willing, shown, homes, checks)
    agreement = _agreement(pairs)
    offsets = _offsets(pairs)
    counts = _counts(parts, checks, doubles)
    notes = _notes(parts, willing, people, counts, checks, doubles, agreement, by_week)
    out_checks, out_references = _exported(checks, doubles, homes, by_week)
    return Club(
        checks=out_checks,
        references=out_references,
        rejects=_rejects(parts, by_week),
        counts=counts,
        agreement=agreement,
        offsets=offsets,
        people=people,
        notes=tuple(notes),
    )


def _staying(members: Iterable[Member], withdrawn: Sequence[str]) -> list[Member]:
    """Members in order of their names, without those who have withdrawn."""
    every = list(members)
    if isinstance(withdrawn, str):
        raise InputError(f"withdrawn = {withdrawn!r} is a text; give a list of names")
    seen: dict[str, str] = {}
    for member in every:
        if not isinstance(member, Member):
            raise InputError(f"members holds {type(member).__name__}, not a Member")
        if plain_name(member.name) in seen:
            raise InputError(f"name = {member.name!r} is borne by two members; each needs its own")
        seen[plain_name(member.name)] = member.name
    for name in withdrawn:
        if name not in seen.values():
            near = near_name(str(name), seen.values())
            raise InputError(f"withdrawn names {name!r}, who is no member{near}")
    staying = sorted((m for m in every if m.name not in withdrawn), key=lambda m: m.name)
    if not staying:
        raise InputError("there is no member, so there is nothing to merge")
    return staying


# Places -----------------------------------------------------------------------------------------


def _shown_places(members: Sequence[Member], fewest: int) -> dict[str, str]:
    """The finest place of each member that enough members share."""
    many = _living_in(members)
    out = {}
    for member in members:
        cells = [member.place[:length] for length in (6, 4, 2) if length <= len(member.place)]
        out[member.name] = next((cell for cell in cells if many[cell] >= fewest), WITHHELD)
    return out


def _living_in(members: Sequence[Member]) -> Counter[str]:
    """Number of members in each cell and field."""
    return Counter(m.place[:n] for m in members for n in (6, 4, 2) if n <= len(m.place))


def _station(place: str, time_zone: str) -> Station:
    """A home in the middle of a cell."""
    cell = paths.from_locator(place)
    lat_deg, lon_deg = float(cell.lat_deg), float(cell.lon_deg)
    return Station(name=place, lat_deg=lat_deg, lon_deg=lon_deg, time_zone=time_zone)


def _nearest_zone(place: str) -> str:
    """Zone of the whole-hour offset nearest to a cell's sun; in its name the sign is turned."""
    hours = round(float(paths.from_locator(place).lon_deg) / 15.0)
    return f"Etc/GMT{-hours:+d}" if hours else "Etc/GMT"


def _as_shown(member: Member, shown: str) -> Station | None:
    """The home as a reader of the result knows it."""
    if shown == WITHHELD:
        return None
    return _station(shown, member.time_zone if len(shown) >= 4 else _nearest_zone(shown))


def _sunset_error_min(days: NDArray[np.datetime64], shown: str) -> float:
    """How far sunset in a corner of a cell is from that in its middle, on the worst evening."""
    cell, zone = paths.from_locator(shown), _nearest_zone(shown)
    days = days[:: max(1, days.size // _MOST_EVENINGS)]
    if not days.size:
        return float("nan")

    def sunset_s(south: float, west: float) -> Floats:
        lat_deg = float(np.clip(cell.lat_deg + south * cell.half_lat_deg, -90.0, 90.0))
        lon_deg = float((cell.lon_deg + west * cell.half_lon_deg + 180.0) % 360.0 - 180.0)
        home = Station(name=shown, lat_deg=lat_deg, lon_deg=lon_deg, time_zone=zone)
        return nights(days, home).sunset_utc.unix_s

    middle = sunset_s(0.0, 0.0)
    corners = [sunset_s(a, b) - middle for a in (-1.0, 1.0) for b in (-1.0, 1.0)]
    return float(np.ceil(np.abs(corners).max() / 60.0))


def _people(
    members: Sequence[Member],
    shown: Mapping[str, str],
    homes: Mapping[str, Station | None],
    checks: pd.DataFrame,
) -> pd.DataFrame:
    days = {str(name): np.unique(part["evening"]) for name, part in checks.groupby("member")}
    none, many = np.empty(0, "datetime64[D]"), _living_in(members)
    out = []
    for member in members:
        place = shown[member.name]
        home = homes[member.name]
        row = {"name": member.name, "place": place, "licence": member.licence}
        row["time_zone"] = "Etc/UTC" if home is None else home.time_zone
        if home is None:
            out.append(row | {"members": 0, "within_km": np.nan, "sunset_error_min": np.nan})
            continue
        error = _sunset_error_min(days.get(member.name, none), place)
        out.append(
            row
            | {"members": many[place], "within_km": _within_km(place), "sunset_error_min": error}
        )
    names = ["name", "place", "time_zone", "licence", "members", "within_km", "sunset_error_min"]
    frame = pd.DataFrame(out, columns=names)
    return frame.astype({"members": "int64", "within_km": "float64", "sunset_error_min": "float64"})


def _within_km(place: str) -> float:
    """From the centre of a cell to its farthest corner."""
    cell = paths.from_locator(place)
    lon_deg = cell.lon_deg + cell.half_lon_deg
    ends = [cell.lat_deg - cell.half_lat_deg, cell.lat_deg + cell.half_lat_deg]
    far = [paths.sphere(cell.lat_deg, cell.lon_deg, end, lon_deg).distance_km for end in ends]
    return float(np.ceil(max(float(km) for km in far)))


# Rows of one member -----------------------------------------------------------------------------


class _Part(NamedTuple):
    """What one member brings; `rows` are accepted."""

    name: str
    rows: pd.DataFrame
    rejects: list[Fault]
    read: int
    observers: int

    @property
    def refused(self) -> int:
        return self.read - len(self.rows)


_TEXTS = ("outcome", "identity", "id_confidence", "sinpo", "demod", "setup_id", "observer_id")


def _part(member: Member) -> _Part:
    """Rows of a member in one form, times in whole microseconds since 1970."""
    if not member.consent:
        whole = member.log.rows_read if isinstance(member.log, Log) else len(member.log)
        why = "the member has not consented: nothing of this log is used"
        return _Part(member.name, _typed(pd.DataFrame()), [(0, "consent", "no", why)], whole, 0)
    rejects: list[Fault]
    if isinstance(member.log, Log):
        frame, read = _typed(member.log.frame), member.log.rows_read
        faults = member.log.rejects[["row", "column", "value", "reason"]]
        rejects = [(int(r), c, v, why) for r, c, v, why in faults.itertuples(index=False)]
    else:
        frame, rejects = _parsed(member.log)
        read = len(member.log)
    open_rows = np.zeros(len(frame), dtype=np.bool_)
    for name in ("identity", "setup_id"):
        for at, text in enumerate(frame[name].tolist()):
            if _EMAIL.search(text):
                why = "holds an e-mail address, which would be published"
                rejects.append((int(frame["row"].iloc[at]), name, text, why))
                open_rows[at] = True
    frame = frame[~open_rows].reset_index(drop=True)
    observers = len(set(frame.pop("observer_id")) - {""})
    return _Part(member.name, frame, rejects, read, observers)


def _typed(frame: pd.DataFrame) -> pd.DataFrame:
    """Columns of a log that is read already."""
    out: dict[str, Any] = {}
    count = len(frame)
    out["row"] = frame["row"].to_numpy(np.int64) if count else np.empty(0, np.int64)
    for name in ("start", "end"):
        stamps = pd.DatetimeIndex(frame[f"{name}_utc"] if count else [])
        out[f"{name}_us"] = stamps.as_unit("us").asi8
    out["freq_khz"] = frame["freq_khz"].to_numpy(np.float64) if count else np.empty(0)
    for name in _TEXTS:
        out[name] = frame[name].tolist() if count and name in frame else [""] * count
    return pd.DataFrame(out).astype(dict.fromkeys(_TEXTS, "str"))


def _sinpo(text: str) -> str:
    if not re.fullmatch("[1-5]{5}", text, re.ASCII):
        raise ValueError("not five digits 1 to 5")
    return text


_COLUMNS = (
    Column("start_utc", instant(None)),
    Column("end_utc", instant(None)),
    Column("freq_khz", frequency_khz),
    Column("outcome", outcome_word),
    Column("identity", plain_text(80), needed=False, empty=""),
    Column(
        "id_confidence",
        one_of(("sure", "probable", "tentative", "unknown")),
        needed=False,
        empty="",
    ),
    Column("sinpo", _sinpo, needed=False, empty=""),
    Column("demod", one_of(("AM", "USB", "LSB")), needed=False, empty=""),
    Column("setup_id", plain_text(80), needed=False, empty=""),
    Column("observer_id", plain_text(80), needed=False, empty=""),
)


def _parsed(frame: pd.DataFrame) -> tuple[pd.DataFrame, list[Fault]]:
    """Typed rows of a frame as it comes, each fault by row and column."""
    numbers = list(range(len(frame)))
    if "row" in frame and frame["row"].is_unique:
        numbers = frame["row"].astype("int64").tolist()
    texts = [
        [cell_text(value) for value in frame[column.name].tolist()]
        if column.name in frame
        else [""] * len(frame)
        for column in _COLUMNS
    ]
    rows = tuple((n, n, row) for n, row in zip(numbers, zip(*texts, strict=True), strict=True))
    header = tuple(column.name for column in _COLUMNS)
    cells = Cells("log", "", header, rows, is_typed=True)

    def check_row(values: dict[str, Any], texts: dict[str, str], rejects: Faults, row: int) -> None:
        start, end = values.get("start_utc"), values.get("end_utc")
        if start is not None and end is not None and not 0.0 <= end - start <= 86400.0:
            reason = "before start_utc" if end < start else "more than a day after start_utc"
            rejects.add(row, "end_utc", texts["end_utc"], reason)

    found, rejects, _ = parse_cells(cells, _COLUMNS, check_row)
    for name in ("start_utc", "end_utc"):
        micro = np.rint(np.array(found[name].tolist(), dtype=np.float64) * 1e6).astype(np.int64)
        found[name] = pd.DatetimeIndex(micro.astype("datetime64[us]")).tz_localize("UTC")
    return _typed(found), list(rejects.items)


def _one_table(parts: Sequence[_Part]) -> pd.DataFrame:
    """Rows of all members in a fixed order, with channel and setup."""
    tables = [part.rows.assign(member=part.name) for part in parts]
    rows = pd.concat(tables, ignore_index=True)
    rows["setup"] = rows["setup_id"]
    named = np.where(rows["setup_id"] == "", "", "/" + rows["setup_id"])
    rows["setup_id"] = (rows["member"] + named).astype("str")
    rows["member"] = rows["member"].astype("str")
    rows["channel_khz"] = channel_khz(rows["freq_khz"].to_numpy(np.float64))
    order = ["member", "start_us", "end_us", "freq_khz", "setup_id", "row"]
    return rows.sort_values(order, ignore_index=True, kind="stable")


def _evenings(rows: pd.DataFrame, homes: Mapping[str, Station | None]) -> NDArray[Any]:
    """Evening of the middle of each row; see the module for whose."""
    out = np.full(len(rows), np.datetime64("NaT"), dtype="datetime64[D]")
    for name, at in rows.groupby("member").indices.items():
        home = homes[str(name)]
        zone = "Etc/UTC" if home is None else home.time_zone
        out[at] = evening_of(middles(rows.iloc[at]), zone)
    return out.astype("datetime64[s]")


# Agreement --------------------------------------------------------------------------------------


_AGREEMENT = {
    **dict.fromkeys(("a", "b"), "str"),
    **dict.fromkeys(("checks", "evenings", "both_heard", "only_a", "only_b", "neither"), "int64"),
    **dict.fromkeys(("agree_share", "kappa", "kappa_low", "kappa_high"), "float64"),
    "rated": "int64",
    **dict.fromkeys(("o_kappa", "o_kappa_low", "o_kappa_high"), "float64"),
}


def _agreement(pairs: pd.DataFrame) -> pd.DataFrame:
    rows = []
    for (a, b), part in pairs.groupby(["setup_a", "setup_b"]):
        heard = [part[f"heard_{side}"].to_numpy() for side in ("a", "b")]
        counts = np.bincount((2.0 * heard[0] + heard[1]).astype(np.int64), minlength=4)
        neither, only_b, only_a, both = counts.tolist()
        rated = part[part["is_rated"]]
        digits = [rated[f"o_{side}"].to_numpy() - 1.0 for side in ("a", "b")]
        row = [a, b, len(part), part["evening"].nunique(), both, only_a, only_b, neither]
        alike = (both + neither) / len(part)
        row += [alike, *kappa_interval(heard[0], heard[1], part["evening"], 2), len(rated)]
        row += kappa_interval(digits[0], digits[1], rated["evening"], 5, quadratic=True)
        rows.append(row)
    return pd.DataFrame(rows, columns=list(_AGREEMENT)).astype(_AGREEMENT)


def _offsets(pairs: pd.DataFrame) -> pd.DataFrame:
    rated = pairs[pairs["is_rated"]]
    differ = rated["o_a"] - rated["o_b"]
    found = offsets(rated["setup_a"], rated["setup_b"], differ, rated["evening"])
    return found.rename(columns={"rater": "setup_id", "blocks": "evenings"})


# Tables that go out -----------------------------------------------------------------------------


def _counts(parts: Sequence[_Part], checks: pd.DataFrame, doubles: pd.DataFrame) -> pd.DataFrame:
    names = [part.name for part in parts]
    disputed = checks[checks["identity_state"] == "disputed"]
    tables = {"kept": checks, "doubles": doubles, "disputed": disputed}
    of = {
        what: table["member"].value_counts().reindex(names, fill_value=0).to_numpy(np.int64)
        for what, table in tables.items()
    }
    read = np.array([part.read for part in parts], dtype=np.int64)
    refused = np.array([part.refused for part in parts], dtype=np.int64)
    numbers = {"read": read, "accepted": read - refused, "refused": refused, **of}
    return pd.DataFrame({"member": names, **numbers})


def _rejects(parts: Sequence[_Part], by_week: bool) -> pd.DataFrame:
    """Faults of all logs; e-mail addresses are masked, by week also cells and dates."""
    out = []
    for part in parts:
        for row, column, value, reason in part.rejects:
            if by_week:
                reason = _DATED.sub("[date]", reason)
            if by_week or column not in _SHOWN:  # what is not shown of a check, neither
                value = ""
            out.append((part.name, row, column, _masked(value), _masked(reason)))
    out.sort()
    frame = pd.DataFrame(out, columns=["member", "row", "column", "value", "reason"])
    texts = dict.fromkeys(("member", "column", "value", "reason"), "str")
    return frame.astype({"row": "int64", **texts})


def _masked(text: str) -> str:
    return _EMAIL.sub("[e-mail address]", text)


_SORTED = ("member", "start_us", "end_us", "freq_khz", "setup_id")
_SAID = ("outcome", "identity", "identity_state", "claims", "id_confidence", "sinpo", "demod")
_KEPT = (
    *("member", "setup_id", "row", "start_utc", "end_utc", "freq_khz"),
    *(*_SAID, "duplicates"),
)
_DOUBLED = (
    *("check", "member", "setup_id", "row", "start_utc", "end_utc", "freq_khz"),
    *("outcome", "identity", "id_confidence", "sinpo"),
)


def _exported(
    checks: pd.DataFrame, doubles: pd.DataFrame, homes: Mapping[str, Station | None], by_week: bool
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Checks and references as they are shown; `check` of a double is a position in checks."""
    when, left_out = "evening", set()
    if by_week:  # the order, too, must not tell the day
        when, left_out = "week", {"row"}
        checks = _to_thursday(checks).sort_values([*_SORTED, *_SAID, "duplicates"], kind="stable")
        place = np.argsort(checks.index.to_numpy())
        doubles = _to_thursday(doubles).assign(check=place[doubles["check"].to_numpy(np.int64)])
        checks["week"] = checks["evening"] - np.timedelta64(3, "D")
        order = ["check", *_SORTED[1:], "outcome", "identity", "id_confidence", "sinpo"]
    else:
        order = ["check", *_SORTED[1:], "row"]
    checks = checks.assign(middle_min=_middle_min(checks, homes))
    doubles = doubles.sort_values(order, kind="stable")
    columns = [name for name in (*_KEPT, when, "middle_min") if name not in left_out]
    joined = [name for name in _DOUBLED if name not in left_out]
    return _stamped(checks)[columns], _stamped(doubles)[joined]


def _stamped(rows: pd.DataFrame) -> pd.DataFrame:
    stamps = {
        f"{name}_utc": pd.DatetimeIndex(
            rows[f"{name}_us"].to_numpy(np.int64).astype("datetime64[us]")
        ).tz_localize("UTC")
        for name in ("start", "end")
    }
    return rows.assign(**stamps).reset_index(drop=True)


def _to_thursday(rows: pd.DataFrame) -> pd.DataFrame:
    """Rows moved by whole days so that their evening is the Thursday of its week."""
    day = rows["evening"].to_numpy().astype("datetime64[D]").astype(np.int64)
    ahead = -(day % 7)  # 1970-01-01 was a Thursday
    ahead = np.where(ahead < -3, ahead + 7, ahead)
    moved = {name: rows[name] + ahead * _DAY_US for name in ("start_us", "end_us")}
    evening = (day + ahead).astype("datetime64[D]").astype("datetime64[s]")
    return rows.assign(**moved, evening=evening)


def _middle_min(rows: pd.DataFrame, homes: Mapping[str, Station | None]) -> Floats:
    """Minutes from sunset at the place as shown to the middle of each row, rounded. [min]"""
    out = np.full(len(rows), np.nan)
    for name, at in rows.groupby("member").indices.items():
        home = homes[str(name)]
        if home is None:
            continue
        here = rows.iloc[at]
        days, which = np.unique(here["evening"].to_numpy(), return_inverse=True)
        sunset_s = nights(days, home).sunset_utc.unix_s[which]
        step = _FINE_ROUND_MIN if len(home.name) >= 4 else _FIELD_ROUND_MIN
        minutes = (middles(here).unix_s - sunset_s) / 60.0
        out[at] = np.floor(minutes / step + 0.5) * step
    return out


# Notes ------------------------------------------------------------------------------------------


def _notes(
    parts: Sequence[_Part],
    willing: Sequence[Member],
    people: pd.DataFrame,
    counts: pd.DataFrame,
    checks: pd.DataFrame,
    doubles: pd.DataFrame,
    agreement: pd.DataFrame,
    by_week: bool,
) -> list[str]:
    return [
        *_privacy_notes(people, by_week),
        *_licence_notes(willing),
        *_log_notes(parts, counts),
        *_check_notes(checks, doubles),
        *_agreement_notes(agreement),
    ]


def _privacy_notes(people: pd.DataFrame, by_week: bool) -> list[str]:
    hours = (
        "The hours of listening still show habits, though not the day."
        if by_week
        else "Dates and hours of listening tell when a home is empty and when its people sleep: "
        "publish with a delay, or by week."
    )
    notes = [f"Caution: {hours} What has been published cannot be called back."]
    lengths = people["place"].where(people["place"] != WITHHELD, "").str.len()
    coarse, none = int((lengths == 2).sum()), int((lengths == 0).sum())
    if coarse:
        worst = people.loc[lengths == 2, "sunset_error_min"].max()
        off = f"; they may be off by up to {worst:.0f} min" if worst > 0.0 else ""
        notes.append(
            f"Too few members share a cell: {counted(coarse, 'place')} shown as a field of 10 x 20 "
            f"degrees. Minutes from sunset there are those of its centre, in tens{off}."
        )
    if none:
        notes.append(
            f"{counted(none, 'place')} withheld, since too few members share even the field: no "
            "minutes from sunset there, and evenings of UTC."
        )
    worst = people.loc[lengths >= 4, "sunset_error_min"].max()
    if worst > 0.0:
        notes.append(f"Minutes from sunset of a cell may be off by up to {worst:.0f} min.")
    return notes


def _licence_notes(members: Sequence[Member]) -> list[str]:
    named = [one.name for one in members if one.licence == "CC-BY-4.0"]
    if not named:
        return []
    return [f"Under CC-BY-4.0, to be named wherever their checks are used: {', '.join(named)}."]


def _log_notes(parts: Sequence[_Part], counts: pd.DataFrame) -> list[str]:
    notes = []
    for part in parts:
        if not part.read:
            notes.append(f"The log of {part.name} has no rows.")
        elif part.refused == part.read:
            why = part.rejects[0]
            notes.append(
                f"All {part.read} rows of {part.name} were refused; the first reason: "
                f"{_masked(' '.join(filter(None, (why[1], _DATED.sub('[date]', why[3])))))}."
            )
        if part.observers > 1:
            notes.append(
                f"The log of {part.name} names {part.observers} observers, who are taken for one; "
                "each needs a log and a name of his own."
            )
    if not counts["kept"].sum():
        notes.append("No check could be kept: there is nothing to share.")
    return notes


def _check_notes(checks: pd.DataFrame, doubles: pd.DataFrame) -> list[str]:
    notes = []
    state = checks["identity_state"]
    told = [f"{(state == word).sum()} {word}" for word in STATES[1:4] if (state == word).any()]
    if told:
        notes.append(
            f"Identities in conflict: {', '.join(told)} (checks). Two broadcasts can share a "
            "channel; `claims` keeps what each member named."
        )
    apart = (doubles["outcome"] == "heard") != (doubles["kept_outcome"] == "heard")
    if apart.any():
        notes.append(
            f"{counted(int(apart.sum()), 'double')} and the row that was kept do not agree whether "
            "anything was heard; `references` has both."
        )
    return notes


def _agreement_notes(agreement: pd.DataFrame) -> list[str]:
    if not len(agreement):
        return ["No two members share checks: how far they agree is not known."]
    few = (agreement["checks"] < FEWEST_SHARED) | (agreement["evenings"] < FEWEST_EVENINGS)
    if not few.any():
        return []
    return [
        f"{few.sum()} of {counted(len(agreement), 'pair')} of setups share too few checks to "
        f"judge: at least {FEWEST_SHARED} on {FEWEST_EVENINGS} evenings are needed."
    ]

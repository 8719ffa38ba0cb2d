"""Merging the logs of a club: doubles, identities, privacy, agreement, refusals; large clubs.

The planted truth of each invented log is the referee; sunsets are also compared with the table of
evenings, rates with pandas. All names, places and checks are invented.
"""

import csv
import dataclasses
import datetime as dt
import itertools
import re
import sys
import zoneinfo
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from farhear import agreement, club_large, evenings, path
from farhear import club as clubs
from farhear.club import WITHHELD, Club, Member, merge, read_members
from farhear.errors import InputError
from farhear.log import CUT_OFF, read_log
from farhear.schedule import Schedule, read_schedule
from farhear.station import Station

TABLES = ("checks", "references", "rejects", "counts", "agreement", "offsets", "people")
BELMORANT, NOVERRIN, UMBASANI = "Radio Belmorant", "Noverrin External", "Radio Umbasani"
SUMMER = "2026-06-01T18:00Z"


def as_bytes(club: Club) -> bytes:
    """Everything in a club, types included."""
    parts = [f"{getattr(club, name).to_csv()}{dict(getattr(club, name).dtypes)}" for name in TABLES]
    return "\n".join([*parts, *club.notes, club.text()]).encode()


def check(start: str = "18:00", minutes: float = 4.0, day: int = 25, **more: Any) -> dict[str, Any]:
    begin = pd.Timestamp(f"2026-11-{day}T{start}Z")
    end = begin + pd.Timedelta(minutes=minutes)
    usual = {"freq_khz": 6070.0, "outcome": "heard", "identity": "", "sinpo": "", "setup_id": ""}
    return {"start_utc": begin, "end_utc": end, **usual, **more}


def member(name: str, rows: Any, place: str = "KO38", **more: Any) -> Member:
    log = rows if isinstance(rows, pd.DataFrame) else pd.DataFrame(rows)
    given_ = {"time_zone": "Europe/Tallinn", "licence": "CC0-1.0", "consent": True, **more}
    return Member(name=name, place=place, log=log, **given_)


def states(club: Club) -> list[tuple[str, str, str]]:
    names = ["member", "identity_state", "identity"]
    return list(club.checks[names].itertuples(index=False, name=None))


# Acceptance: five members, 40 doubles, 10 conflicts, one withdrawn, mixed clocks ------------------

EVENINGS = 30
FIRST = dt.datetime(2026, 11, 2, tzinfo=dt.UTC)
EARS = {"Alder": 0.0, "Birch": -1.0, "Cedar": 0.3, "Hazel": 0.0, "Rowan": 0.6}
HOMES = {"Alder": "KO38", "Birch": "KO38", "Cedar": "KO38", "Hazel": "KO38", "Rowan": "KO29"}
SCHEDULE = """# invented
freq_khz,start_utc,stop_utc,days,broadcaster,tx_lat_deg,tx_lon_deg,power_kw
6070,1700,1900,daily,Radio Belmorant,22.7,46.2,100
6070,2000,2100,daily,Noverrin External,24.8,77.6,100
7310,1700,2300,daily,Radio Belmorant,22.7,46.2,100
7310,1700,2300,daily,Noverrin External,24.8,77.6,100
9600,0500,0600,daily,Radio Umbasani,12.3,6.9,100
"""


def written(name: str, at: dt.datetime, twice: bool) -> str:
    """How each member's clock writes an instant."""
    if name == "Birch" and not twice:
        return at.astimezone(zoneinfo.ZoneInfo("Europe/Tallinn")).isoformat(timespec="minutes")
    if name == "Cedar":
        local = at.astimezone(zoneinfo.ZoneInfo("Europe/Tallinn"))
        return local.replace(tzinfo=None).isoformat(timespec="minutes")
    return at.strftime("%Y-%m-%dT%H:%MZ")


def club_rows(name: str, rng: np.random.Generator, quality: np.ndarray) -> list[list[str]]:
    """Log of one member; the last ten rows are doubles of his first ten."""
    rows: list[list[str]] = []

    def add(at: dt.datetime, khz: float, who: str, sinpo: str, sure: str, twice: bool) -> None:
        end = at + dt.timedelta(minutes=5)
        heard = "heard" if sinpo or who else "not_heard"
        stamps = [written(name, one, twice) for one in (at, end)]
        rows.append([*stamps, f"{khz:g}", heard, who, sure, sinpo, "wire"])

    for night, channel in itertools.product(range(EVENINGS), range(2)):
        at = FIRST + dt.timedelta(days=night, hours=19, minutes=10 * channel)
        digit = int(
            np.clip(np.rint(quality[night, channel] + EARS[name] + rng.normal(0, 0.4)), 0, 5)
        )
        sinpo = f"3333{digit}" if digit else ""
        add(at, (5950.0, 9650.0)[channel], UMBASANI if digit else "", sinpo, "probable", False)

    def claim(night: int, hour: int, khz: float, who: str) -> None:
        add(FIRST + dt.timedelta(days=night, hours=hour), khz, who, "", "sure", False)

    for night in range(4):  # the schedule knows
        if name in ("Alder", "Birch"):
            claim(night, 18, 6070.0, BELMORANT if name == "Alder" else NOVERRIN)
    for night in range(2):  # the schedule has both, two of three agree
        if name in ("Alder", "Birch", "Rowan"):
            claim(night, 21, 7310.0, BELMORANT if name == "Rowan" else NOVERRIN)
    for night in range(2):  # one against one; the one who would decide it has withdrawn
        if name in ("Alder", "Cedar", "Hazel"):
            claim(night, 22, 7310.0, BELMORANT if name == "Cedar" else NOVERRIN)
    for night in range(2):  # not in the schedule
        if name in ("Cedar", "Rowan"):
            claim(night, 20, 9600.0, BELMORANT if name == "Cedar" else NOVERRIN)
    for night in range(5):
        for channel in range(2):
            at = FIRST + dt.timedelta(days=night, hours=19, minutes=10 * channel + 2)
            who = rows[2 * night + channel][4]
            add(at, (5950.0, 9650.0)[channel] + 1.0, who, "", "", True)
    return rows


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Any:
    place = tmp_path_factory.mktemp("club")
    rng = np.random.default_rng(19)
    quality = rng.normal(2.4, 1.5, (EVENINGS, 2))
    header = ["start_utc", "end_utc", "freq_khz", "outcome"]
    header += ["identity", "id_confidence", "sinpo", "setup_id"]
    faults = [
        ["2026-11-02T19:00Z", "", "5950", "heard", "", "", "", ""],
        ["2026-11-02T19:00Z", "2026-11-02T19:05Z", "5950", "", "", "", "", ""],
    ]
    no_zone = ["2026-11-02T19:00", "2026-11-02T19:05Z", "5950", "heard", "", "", "", ""]
    toml = []
    for name, home in HOMES.items():
        rows = [*club_rows(name, rng, quality), *faults]
        if name != "Cedar":
            rows.append(no_zone)
        with (place / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
            csv.writer(file).writerows([header, *rows])
        text = f'[[members]]\nname = "{name}"\nplace = "{home}"\ntime_zone = "Europe/Tallinn"\n'
        text += f'licence = "CC-BY-4.0"\nconsent = true\nlog = "{name}.csv"\n'
        toml.append(text + ("local_times = true\n" if name == "Cedar" else ""))
    (place / "club.toml").write_text("\n".join(toml), encoding="utf-8")
    (place / "schedule.csv").write_text(SCHEDULE, encoding="utf-8")
    return place


@pytest.fixture(scope="module")
def schedule(folder: Any) -> Schedule:
    return read_schedule(folder / "schedule.csv")


@pytest.fixture(scope="module")
def merged(folder: Any, schedule: Schedule) -> Club:
    return merge(read_members(folder / "club.toml"), schedule=schedule, withdrawn=["Hazel"])


def test_scenario_19_doubles_are_joined_once_and_every_row_is_counted(merged: Club) -> None:
    refs = merged.references
    assert len(refs) == 40
    assert refs.groupby("member").size().to_dict() == dict.fromkeys(
        ("Alder", "Birch", "Cedar", "Rowan"), 10
    )
    assert not refs[["member", "row"]].duplicated().any()
    kept = merged.checks.iloc[refs["check"]].reset_index(drop=True)
    assert (kept["row"].isin(range(2, 12))).all()  # the first ten lines below the header
    assert (kept["duplicates"] == 1).all()
    assert merged.checks["duplicates"].sum() == 40
    assert ((refs["start_utc"] - kept["start_utc"]) == pd.Timedelta(minutes=2)).all()
    counts = merged.counts.set_index("member")
    assert counts["refused"].to_dict() == {"Alder": 3, "Birch": 3, "Cedar": 2, "Rowan": 3}
    assert (counts["read"] == counts["accepted"] + counts["refused"]).all()
    assert (counts["accepted"] == counts["kept"] + counts["doubles"]).all()
    assert counts["kept"].sum() == len(merged.checks)
    why = merged.rejects.groupby("member")["reason"].agg(list)["Alder"]
    assert why[0] == "empty"
    assert why[1] == "empty"
    assert "no time zone" in why[2]


def test_scenario_19_conflicts_come_out_as_planted(merged: Club) -> None:
    checks = merged.checks
    hour = checks["start_utc"].dt.hour
    found = {}
    for khz, at in ((6070.0, 18), (7310.0, 21), (7310.0, 22), (9600.0, 20)):
        rows = checks[(checks["freq_khz"] == khz) & (hour == at)]
        nights = rows["evening"].nunique()
        found[khz, at] = nights, set(rows["identity_state"]), set(rows["identity"])
    assert found == {
        (6070.0, 18): (4, {"by schedule"}, {BELMORANT}),
        (7310.0, 21): (2, {"by majority"}, {NOVERRIN}),
        (7310.0, 22): (2, {"disputed"}, {""}),
        (9600.0, 20): (2, {"disputed"}, {""}),
    }
    overruled = checks[(checks["freq_khz"] == 6070.0) & (checks["member"] == "Birch")]
    assert set(overruled["claims"]) == {f"{NOVERRIN} (sure, Birch)"}
    open_ = checks[checks["identity_state"] == "disputed"]
    assert set(open_["claims"]) == {
        f"{NOVERRIN} (sure, Alder); {BELMORANT} (sure, Cedar)",
        f"{NOVERRIN} (sure, Rowan); {BELMORANT} (sure, Cedar)",
    }
    assert merged.counts["disputed"].sum() == len(open_) == 8
    assert "8 of them with a disputed identity" in merged.text().replace("\n", " ")


def test_without_a_schedule_every_pair_in_conflict_is_disputed(folder: Any) -> None:
    members = [one for one in read_members(folder / "club.toml") if one.name in ("Alder", "Birch")]
    club = merge(members)
    rows = club.checks[club.checks["freq_khz"] == 6070.0]
    assert set(rows["identity_state"]) == {"disputed"}
    assert len(rows) == 8


def test_scenario_19_who_withdraws_leaves_nothing(
    folder: Any, schedule: Schedule, merged: Club
) -> None:
    members = read_members(folder / "club.toml")
    without = merge([one for one in members if one.name != "Hazel"], schedule=schedule)
    assert as_bytes(merged) == as_bytes(without)
    assert b"Hazel" not in as_bytes(merged)
    assert b"Hazel" in as_bytes(merge(members, schedule=schedule))


def test_scenario_19_mixed_clocks_are_one_time(merged: Club) -> None:
    shared = merged.checks[merged.checks["freq_khz"] == 5950.0]
    assert shared.groupby("start_utc").size().eq(4).all()
    assert shared["start_utc"].nunique() == EVENINGS


def test_scenario_19_agreement_is_told(merged: Club) -> None:
    table = merged.agreement
    pairs = list(zip(table["a"], table["b"], strict=True))
    names = [f"{name}/wire" for name in ("Alder", "Birch", "Cedar", "Rowan")]
    assert pairs == list(itertools.combinations(names, 2))
    assert (table["checks"] >= 60).all()
    assert (table["evenings"] == EVENINGS).all()
    cells = table[["both_heard", "only_a", "only_b", "neither"]]
    assert (cells.sum(axis=1) == table["checks"]).all()
    assert (table["rated"] > 30).all()
    assert (table["kappa"] > 0.0).all()
    assert (table["o_kappa"] > 0.2).all()
    assert (table["kappa_low"] < table["kappa"]).all()
    assert "Alder/wire and Birch/wire: " in merged.text()
    offsets = merged.offsets.set_index("setup_id")["offset_digits"]
    assert offsets["Birch/wire"] < -0.5 < 0.1 < offsets["Rowan/wire"]
    planted = np.array([EARS[name[:5]] for name in offsets.index])
    low, high = merged.offsets["low"], merged.offsets["high"]
    near = (low - 0.1 < planted - planted.mean()) & (planted - planted.mean() < high + 0.1)
    assert near.all()  # to 0.1: digits end at 5, and what was not heard has none


def test_the_text_says_what_a_reader_needs(merged: Club) -> None:
    text = merged.text().replace("\n", " ")
    assert text.startswith("4 members: ")
    assert "Caution: Dates and hours of listening tell when a home is empty" in text
    assert "to be named wherever their checks are used: Alder, Birch, Cedar, Rowan." in text
    assert "1 place shown as a field of 10 x 20 degrees" in text


# Order, and rules that always hold ----------------------------------------------------------------

ROW = st.fixed_dictionaries(
    {
        "minute": st.integers(0, 40),
        "minutes": st.sampled_from([0, 1, 3, 10]),
        "freq_khz": st.sampled_from([6070.0, 6071.0, 6075.0, 4321.0]),
        "outcome": st.sampled_from(["heard", "heard", "not_heard", "blocked", "carrier_only", ""]),
        "identity": st.sampled_from(["", "Radio A", "radio a", "Radio B", "x@y.z"]),
        "id_confidence": st.sampled_from(["", "sure", "probable"]),
        "sinpo": st.sampled_from(["", "33333", "44444"]),
        "setup_id": st.sampled_from(["", "wire", "loop"]),
    }
)


def drawn(rows: list[dict[str, Any]]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=[*ROW_NAMES])
    start = pd.Timestamp("2026-11-25T18:00Z") + pd.to_timedelta(frame["minute"].astype(int), "min")
    end = start + pd.to_timedelta(frame["minutes"].astype(int), "min")
    return frame.assign(start_utc=start, end_utc=end)


ROW_NAMES = (
    *("minute", "minutes", "freq_khz", "outcome", "identity", "id_confidence", "sinpo"),
    "setup_id",
)


@settings(max_examples=40)
@given(
    logs=st.lists(st.lists(ROW, max_size=8), min_size=2, max_size=4),
    order=st.randoms(use_true_random=False),
    by_week=st.booleans(),
)
def test_order_changes_nothing_and_no_row_is_lost(logs: Any, order: Any, by_week: bool) -> None:
    members = [
        member(f"m{n}", drawn(rows), place=("KO38", "KO28", "IO91")[n % 3])
        for n, rows in enumerate(logs)
    ]
    club = merge(members, by_week=by_week, fewest_per_cell=2)
    shuffled = members.copy()
    order.shuffle(shuffled)
    assert as_bytes(club) == as_bytes(merge(shuffled, by_week=by_week, fewest_per_cell=2))
    gone = merge(members, withdrawn=["m0"], by_week=by_week, fewest_per_cell=2)
    assert as_bytes(gone) == as_bytes(merge(members[1:], by_week=by_week, fewest_per_cell=2))
    assert club.counts["read"].tolist() == [len(rows) for rows in logs]
    assert len(club.checks) == club.counts["kept"].sum()
    assert len(club.references) == club.counts["doubles"].sum() == club.checks["duplicates"].sum()
    refused = club.rejects.groupby("member")["row"].nunique()
    assert refused.to_dict() == {r.member: r.refused for r in club.counts.itertuples() if r.refused}
    kept = club.checks.iloc[club.references["check"]].reset_index(drop=True)
    refs = club.references
    assert (kept["member"] == refs["member"]).all()
    one_us = pd.Timedelta(microseconds=1)
    assert (refs["start_utc"] < kept["end_utc"].clip(lower=kept["start_utc"] + one_us)).all()
    assert (kept["start_utc"] < refs["end_utc"].clip(lower=refs["start_utc"] + one_us)).all()
    checks = club.checks
    assert (checks.loc[checks["identity_state"] == "disputed", "identity"] == "").all()
    claimed = checks["identity_state"] != ""
    assert (checks.loc[claimed, "outcome"] == "heard").all()
    assert set(checks["identity_state"]) <= {"", *clubs.STATES}


# Doubles ------------------------------------------------------------------------------------------


def test_the_row_that_says_most_is_kept() -> None:
    rows = [
        check(identity=UMBASANI, id_confidence="tentative", sinpo="33333", minutes=9),
        check("18:01", identity=UMBASANI, id_confidence="sure"),
        check("18:02", identity=NOVERRIN, id_confidence="probable", sinpo="44444"),
        check("18:03", outcome="not_heard", identity=BELMORANT, minutes=60),
    ]
    club = merge([member("Birch", rows)])
    assert club.checks["row"].tolist() == [1]
    assert club.checks["claims"].tolist() == [f"{NOVERRIN} (probable, Birch)"]
    assert sorted(club.references["row"]) == [0, 2, 3]
    assert "1 double and the row that was kept do not agree" in " ".join(club.notes)


@pytest.mark.parametrize(
    ("rows", "kept"),
    [
        ([check(), check(minutes=6)], [1]),  # the longer
        ([check("18:01"), check()], [1]),  # the earlier
        ([check(), check()], [0]),  # the first line
        ([check(minutes=5), check("18:05")], [0, 1]),  # they only touch
        ([check(minutes=0), check(minutes=0)], [0]),  # two looks without length at one moment
        ([check(minutes=5), check("18:03", minutes=0)], [0]),
        ([check(), check(freq_khz=6072.0)], [0]),  # one channel of the raster
        ([check(), check(freq_khz=6073.0)], [0, 1]),
        ([check(freq_khz=7050.0), check(freq_khz=7052.0)], [0, 1]),  # outside: whole kHz
        ([check(freq_khz=7050.0), check(freq_khz=7050.4)], [0]),
        ([check(setup_id="wire"), check(setup_id="loop")], [0, 1]),  # setups stay apart
        ([check(setup_id="wire"), check()], [0]),  # who names none, fits any
        ([check(), check(outcome="not_heard", minutes=30)], [0]),
        # a chain: the ends do not meet each other, so both stay when the middle one goes
        (
            [check(minutes=10), check("18:08", minutes=5), check("18:11", minutes=10)],
            [0, 2],
        ),
    ],
)
def test_what_is_a_double(rows: list[dict[str, Any]], kept: list[int]) -> None:
    club = merge([member("Birch", rows)])
    assert sorted(club.checks["row"]) == kept
    assert len(club.references) == len(rows) - len(kept)


def test_two_members_who_hear_the_same_are_two_observations() -> None:
    club = merge([member(name, [check(identity=UMBASANI)]) for name in ("Birch", "Alder")])
    assert states(club) == [("Alder", "agreed", UMBASANI), ("Birch", "agreed", UMBASANI)]
    assert club.checks["duplicates"].tolist() == [0, 0]


def test_setups_bear_their_member() -> None:
    rows = [check(setup_id="wire"), check("19:00")]
    club = merge([member(name, rows) for name in ("Birch", "Alder")])
    assert club.checks["setup_id"].tolist() == ["Alder/wire", "Alder", "Birch/wire", "Birch"]
    assert club.agreement[["a", "b"]].to_numpy().tolist() == [
        ["Alder", "Birch"],
        ["Alder/wire", "Birch/wire"],
    ]


# Identities ---------------------------------------------------------------------------------------


def heard(who: str, sure: str = "sure", **more: Any) -> list[dict[str, Any]]:
    return [check(identity=who, id_confidence=sure, **more)]


@pytest.mark.parametrize(
    ("claims", "state", "winner"),
    [
        ([(BELMORANT, "sure"), ("radio  BELMORANT", "")], "agreed", None),
        ([(BELMORANT, "sure"), (NOVERRIN, "tentative")], "disputed", ""),  # one is no majority
        ([(BELMORANT, "sure"), (BELMORANT, "probable"), (NOVERRIN, "sure")], "by majority", None),
        ([(BELMORANT, ""), (BELMORANT, ""), (NOVERRIN, "sure")], "disputed", ""),  # 2 against 3
        ([(BELMORANT, "sure"), (NOVERRIN, ""), (NOVERRIN, "")], "disputed", ""),
        ([(BELMORANT, "sure"), (NOVERRIN, "sure"), (UMBASANI, "sure")], "disputed", ""),
        ([(BELMORANT, "")] * 4 + [(NOVERRIN, "sure")], "by majority", None),
    ],
)
def test_majorities(claims: list[tuple[str, str]], state: str, winner: str | None) -> None:
    club = merge(member(f"m{n}", heard(*one)) for n, one in enumerate(claims))
    assert set(club.checks["identity_state"]) == {state}
    if winner is not None:
        assert set(club.checks["identity"]) == {winner}
        assert set(club.checks["id_confidence"]) == {""}
    elif state == "by majority":
        assert set(club.checks["identity"]) == {BELMORANT}
        assert (club.checks["claims"].str.contains(NOVERRIN)).all()


def test_a_schedule_settles_only_what_it_can(schedule: Schedule) -> None:
    def asked(khz: float, first: str, second: str, start: str) -> list[tuple[str, str, str]]:
        pair = [("Alder", first), ("Birch", second)]
        rows = {"freq_khz": khz, "start": start}
        return states(merge((member(n, heard(who, **rows)) for n, who in pair), schedule=schedule))

    assert asked(6070.0, NOVERRIN, UMBASANI, "20:30") == [
        ("Alder", "by schedule", NOVERRIN),
        ("Birch", "by schedule", NOVERRIN),
    ]
    for khz, start in ((6070.0, "19:30"), (7310.0, "18:00"), (9600.0, "18:00")):
        found = asked(khz, NOVERRIN, BELMORANT, start)
        assert {state for _, state, _ in found} == {"disputed"}, khz


def test_a_check_is_settled_for_its_own_time(schedule: Schedule) -> None:
    """One that runs over a change of broadcaster, and two within it."""
    club = merge(
        [
            member("Alder", heard(BELMORANT, start="18:10", minutes=60)),  # middle 18:40
            member("Birch", heard(NOVERRIN, start="18:20")),
            member("Cedar", heard(BELMORANT, start="18:40")),
        ],
        schedule=schedule,
    )
    assert states(club) == [
        ("Alder", "by schedule", BELMORANT),
        ("Birch", "by schedule", BELMORANT),
        ("Cedar", "agreed", BELMORANT),
    ]


@pytest.mark.parametrize(
    ("second", "state"),
    [
        ({"start": "18:03"}, "disputed"),  # they share 1 min
        ({"start": "18:03", "minutes": 0.5}, "disputed"),  # all of the shorter one
        ({"start": "18:03:30"}, "single"),  # they share half a minute
        ({"start": "18:04"}, "single"),
        ({"start": "18:00", "freq_khz": 6075.0}, "single"),
        ({"start": "18:00", "outcome": "not_heard"}, "single"),  # who was looked for is no claim
        ({"start": "18:00", "outcome": "carrier_only"}, "single"),
    ],
)
def test_what_is_a_conflict(second: dict[str, Any], state: str) -> None:
    club = merge([member("Alder", heard(BELMORANT)), member("Birch", heard(NOVERRIN, **second))])
    assert club.checks["identity_state"].iloc[0] == state
    if second.get("outcome") == "not_heard":
        assert club.checks["identity"].iloc[1] == NOVERRIN
        assert club.checks["identity_state"].iloc[1] == ""


# What is given away -------------------------------------------------------------------------------


def year(rng: np.random.Generator, count: int = 40) -> pd.DataFrame:
    rows = [check("15:00", freq_khz=5950.0, outcome="not_heard") for _ in range(count)]
    frame = pd.DataFrame(rows)
    shift = pd.to_timedelta(rng.integers(0, 365 * 1440, count), "min")
    return frame.assign(start_utc=frame["start_utc"] + shift, end_utc=frame["end_utc"] + shift)


def test_minutes_and_evenings_are_those_of_the_package_at_the_cell() -> None:
    """Referee: the table of evenings of a home in the middle of the cell."""
    log = year(np.random.default_rng(1)).assign(outcome="heard")
    club = merge([member("Birch", log)], fewest_per_cell=1)
    home = Station(name="x", lat_deg=58.5, lon_deg=27.0, time_zone="Europe/Tallinn")
    table = evenings.table(log, home)
    assert club.checks["evening"].tolist() == table["evening"].tolist()
    gap = club.checks["middle_min"].to_numpy() - table["middle_min"].to_numpy()
    assert np.abs(gap).max() <= 0.5
    assert (club.checks["middle_min"] % 1.0 == 0.0).all()


def shown(places: list[str], fewest: int, **more: Any) -> list[tuple[str, int]]:
    rows = [check()]
    club = merge(
        (member(f"m{n}", rows, place, **more) for n, place in enumerate(places)),
        fewest_per_cell=fewest,
    )
    return list(club.people[["place", "members"]].itertuples(index=False, name=None))


def test_places_are_shown_as_fine_as_enough_members_share_them() -> None:
    three = ["KO38", "KO38", "KO38"]
    assert shown(three, 3) == [("KO38", 3)] * 3
    assert shown([*three, "KO29"], 3) == [*[("KO38", 3)] * 3, ("KO", 4)]
    assert shown([*three, "IO91"], 3) == [*[("KO38", 3)] * 3, (WITHHELD, 0)]
    assert shown(["KO38", "KO29"], 3) == [(WITHHELD, 0)] * 2
    assert shown(["ko38", "IO91"], 1) == [("KO38", 1), ("IO91", 1)]
    assert shown(["KO38ij", "KO38ij", "KO38kl"], 2, fine=True) == [
        *[("KO38ij", 2)] * 2,
        ("KO38", 3),
    ]


def test_only_the_place_as_shown_enters() -> None:
    """Whoever is shown as a field, or not at all, could live anywhere in it: not a byte differs."""
    logs = [year(np.random.default_rng(n)) for n in range(5)]

    def made(lonely: str, zone: str) -> bytes:
        usual = [member(f"m{n}", logs[n]) for n in range(3)]
        field = member("m3", logs[3], lonely, time_zone=zone)
        far = member("m4", logs[4], {"KO29": "IO91"}.get(lonely, "RE78"), time_zone=zone)
        return as_bytes(merge([*usual, field, far]))

    first = made("KO29", "Europe/Tallinn")
    assert first == made("KO00", "Europe/Vilnius") == made("KO99", "Europe/Moscow")
    assert b"withheld" in first


def test_rounded_minutes_of_the_finer_cell_would_give_it_away() -> None:
    """Why not: 10 min of rounding, and an attacker who knows the field (measured, 20 draws)."""
    days = np.datetime64("2026-10-01") + np.arange(180)
    cells = [f"KO{a}{b}" for a in range(10) for b in range(10)]
    sunset_s = {}
    for cell in cells:
        at = path.from_locator(cell)
        home = Station(
            name=cell,
            lat_deg=float(at.lat_deg),
            lon_deg=float(at.lon_deg),
            time_zone="Etc/GMT-2",
        )
        sunset_s[cell] = evenings.nights(days, home).sunset_utc.unix_s
    rng = np.random.default_rng(1)
    left = []
    for _ in range(20):
        true = cells[rng.integers(100)]
        day = rng.integers(0, 180, 10)
        start = np.floor((sunset_s[true][day] + rng.uniform(-3600, 21600, 10)) / 60) * 60
        told = np.rint((start - sunset_s[true][day]) / 600) * 10
        off = [np.abs((start - sunset_s[cell][day]) / 60 - told).max() for cell in cells]
        left.append((np.array(off) <= 5.0 + 1e-6).sum())
    assert np.mean(left) < 1.5
    assert min(left) == 1


def test_the_price_of_a_cell_is_told() -> None:
    """The worst corner at latitude 50 and 58: 6.6 and 8.7 min (measured for this project)."""
    logs = [year(np.random.default_rng(n), 400) for n in range(2)]
    club = merge([member("a", logs[0], "JO30"), member("b", logs[1], "KO37")], fewest_per_cell=1)
    assert club.people["sunset_error_min"].tolist() == [7.0, 9.0]
    assert club.people["within_km"].tolist() == [91.0, 82.0]
    field = merge([member("a", logs[0], "JO30")], fewest_per_cell=1)
    assert field.people["members"].tolist() == [1]


def test_by_week_the_day_is_not_told() -> None:
    """A log with its days exchanged within each week gives the same bytes."""
    rng = np.random.default_rng(5)
    rows = [
        check("16:00", day=2 + 7 * week, sinpo=f"3333{digit}", identity=UMBASANI)
        for week in range(4)
        for digit in range(1, 6)
    ]
    minute = pd.to_timedelta(rng.integers(0, 300, len(rows)), "min")

    def made(days: Any) -> bytes:
        frame = pd.DataFrame(rows)
        shift = pd.to_timedelta(days, "D") + minute
        moved = {name: frame[name] + shift for name in ("start_utc", "end_utc")}
        log = frame.assign(**moved).sort_values("start_utc", ignore_index=True)
        refused = {**rows[0], "end_utc": None}
        return as_bytes(merge([member("Birch", [*log.to_dict("records"), refused])], by_week=True))

    first = made(np.tile(np.arange(5), 4))
    assert first == made(np.tile(np.arange(5)[::-1] + 2, 4)) == made(np.tile([6, 0, 3, 1, 5], 4))
    club = merge([member("Birch", rows)], by_week=True)
    assert "row" not in club.checks
    assert "row" not in club.references
    assert "evening" not in club.checks
    assert (club.checks["week"].dt.dayofweek == 0).all()
    assert (club.checks["start_utc"].dt.dayofweek == 3).all()
    assert "not the day" in " ".join(club.notes)


def test_by_week_refused_cells_are_left_out() -> None:
    rows = [check(), {**check(), "start_utc": "2026-11-25T18:00"}, {**check(), "outcome": "herd"}]
    club = merge([member("Birch", rows)], by_week=True)
    assert set(club.rejects["value"]) == {""}
    assert not any(re.search(r"\d{4}-\d\d-\d\d", why) for why in club.rejects["reason"])


def test_cells_that_are_not_shown_of_a_check_are_not_shown_when_refused(tmp_path: Any) -> None:
    head = "start_utc,end_utc,freq_khz,outcome,language,notes\n"
    row = "2026-11-25T18:00Z,2026-11-25T18:04Z,6070,heard,"
    text = f"{head}{row}xx,\n{row}eng,home alone from 8{CUT_OFF}\n"
    (tmp_path / "log.csv").write_text(text, encoding="utf-8")
    one = dataclasses.replace(member("Birch", []), log=read_log(tmp_path / "log.csv"))
    club = merge([one])
    assert club.rejects["value"].tolist() == ["", ""]
    assert club.rejects["row"].tolist() == [2, 3]


def test_mail_addresses_go_nowhere() -> None:
    rows = [
        check(identity="someone@invented.example"),
        check("19:00", setup_id="ask me@invented.example"),
        {**check("20:00"), "outcome": "a@b.example"},
        check("21:00", notes="me@invented.example"),
    ]
    club = merge([member("Birch", rows)])
    assert b"@" not in as_bytes(club)
    assert club.counts["refused"].tolist() == [3]
    assert len(club.checks) == 1


# Agreement ----------------------------------------------------------------------------------------


def test_only_shared_checks_that_tell_are_compared_each_once() -> None:
    alder = [check("18:00"), check("18:05"), check("19:00", outcome="blocked"), check("20:00")]
    birch = [
        check("18:00", minutes=9.0, outcome="not_heard"),
        check("19:00"),
        check("20:00", outcome="carrier_only"),
        check("21:00"),
    ]
    row = merge([member("Alder", alder), member("Birch", birch)]).agreement.iloc[0]
    assert row[["checks", "both_heard", "only_a", "only_b", "neither"]].tolist() == [2, 0, 2, 0, 0]


def test_who_rated_another_broadcaster_is_not_compared_on_it() -> None:
    logs = {"Alder": BELMORANT, "Birch": NOVERRIN, "Cedar": ""}
    club = merge(member(n, heard(who, sinpo="33333")) for n, who in logs.items())
    assert club.agreement[["a", "b", "rated"]].to_numpy().tolist() == [
        ["Alder", "Birch", 0],
        ["Alder", "Cedar", 1],
        ["Birch", "Cedar", 1],
    ]


def test_logs_that_never_meet_have_no_agreement() -> None:
    club = merge([member("Alder", [check()]), member("Birch", [check("19:00")])])
    assert club.agreement.empty
    assert club.offsets.empty
    assert "how far they agree is not known" in " ".join(club.notes)


def test_offsets_leave_out_who_is_hardly_compared_and_keep_groups_apart() -> None:
    pairs = [("a", "b", n % 3 - 1) for n in range(30)] + [("a", "thin", 1)] * 9
    pairs += [("x", "y", 1 + n % 2) for n in range(20)]
    first, second, difference = zip(*pairs, strict=True)
    night = [n % 10 for n in range(len(pairs))]
    found = agreement.offsets(first, second, difference, night).set_index("rater")
    assert found.index.tolist() == ["a", "b", "x", "y"]
    assert found["group"].tolist() == [0, 0, 1, 1]
    assert found["rated"].tolist() == [30, 30, 20, 20]
    assert found.loc["x", "offset_digits"] == pytest.approx(0.75, abs=0.02)  # half of 1.5 digits
    assert found.loc["x", "low"] < 0.75 < found.loc["x", "high"] < 1.0
    nothing = agreement.offsets([], [], [], [])
    assert nothing.empty


def test_no_interval_where_nothing_shows_how_sure_it_is() -> None:
    alike = agreement.offsets(["a"] * 12, ["b"] * 12, [1] * 12, range(12))
    assert alike["offset_digits"].tolist() == pytest.approx([0.5, -0.5], abs=0.01)
    assert alike[["low", "high"]].isna().all(axis=None)
    two_nights = agreement.offsets(["a"] * 12, ["b"] * 12, [0, 1] * 6, [0, 1] * 6)
    assert two_nights["low"].isna().all()
    a = np.tile([0, 1], 10)
    assert agreement.kappa_interval(a, a, range(20), 2)[0] == 1.0
    assert np.isnan(agreement.kappa_interval(a, a, range(20), 2)[1:]).all()
    assert np.isnan(agreement.kappa_interval(a, 1 - a, a, 2)[1:]).all()
    assert np.isnan(agreement.kappa([[5, 0], [0, 0]]))


@pytest.mark.parametrize(
    ("call", "reason"),
    [
        (lambda: agreement.kappa([[1, 2, 3]]), "table has shape (1, 3)"),
        (lambda: agreement.kappa([[1, -2], [3, 4]]), "table holds -2; counts are 0 or more"),
        (lambda: agreement.kappa_interval([0, 2], [0, 1], [1, 2], 2), "a[1] = 2 is none of 0 to 1"),
        (lambda: agreement.kappa_interval([0], [0, 1], [1, 2], 2), "a has shape (1,); 2 blocks"),
        (lambda: agreement.offsets(["a"], ["a"], [0], [0]), "rater 'a' is compared with himself"),
        (lambda: agreement.offsets(["a"], ["b"], [0.5], [0]), "difference[0] = 0.5 is not a whole"),
        (lambda: agreement.offsets(["a"], ["b"], [0, 1], [0]), "difference has shape (2,)"),
        (
            lambda: agreement.offsets(["a", "c"], ["b"], [0], [0]),
            "rater_a, rater_b, block: 2, 1, 1",
        ),
    ],
)
def test_figures_of_agreement_refuse_in_plain_words(call: Any, reason: str) -> None:
    with pytest.raises(InputError, match=re.escape(reason)):
        call()


# Refusals -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"name": ""}, "name = '' is not a text"),
        ({"name": "a@b.example"}, "name is an e-mail address"),
        ({"name": "x" * 41}, "is not 1 to 40 printable characters"),
        ({"name": "a\nb"}, "is not 1 to 40 printable characters"),
        ({"name": " a"}, "is not 1 to 40 printable characters"),
        ({"name": "a/b"}, "has a '/'"),
        ({"place": "KO3"}, "member 'Birch': place: locator = 'KO3' has 3 characters"),
        ({"place": "K938"}, "member 'Birch': place: locator = 'K938': character 2"),
        ({"place": "KO"}, "member 'Birch': place = 'KO' has 2 characters"),
        ({"place": "KO38ij"}, "fine = true if the member wants that"),
        ({"place": "KO38ij12", "fine": True}, "has 8 characters"),
        ({"place": 5}, "place = 5 is not a locator"),
        ({"time_zone": "Europe/Talinn"}, "member 'Birch': time_zone = 'Europe/Talinn'"),
        ({"licence": "CC-BY-4"}, "licence = 'CC-BY-4' is not CC0-1.0 or CC-BY-4.0; did you mean"),
        ({"licence": "all rights reserved"}, "is not CC0-1.0 or CC-BY-4.0"),
        ({"consent": 1}, "consent = 1 is neither true nor false"),
        ({"log": "birch.csv"}, "log is neither a log nor a frame"),
    ],
)
def test_members_are_refused_by_name_and_key(change: dict[str, Any], reason: str) -> None:
    usual = {
        **{"name": "Birch", "place": "KO38", "time_zone": "Europe/Tallinn"},
        **{"licence": "CC0-1.0", "consent": True, "log": pd.DataFrame()},
    }
    Member(**usual)
    with pytest.raises(InputError, match=re.escape(reason)):
        Member(**{**usual, **change})


def test_a_club_is_refused_as_a_whole() -> None:
    birch, alder = member("Birch", [check()]), member("Alder", [check()])
    with pytest.raises(InputError, match="name = 'birch' is borne by two members"):
        merge([birch, member("birch", [])])
    with pytest.raises(InputError, match="there is no member"):
        merge([])
    with pytest.raises(InputError, match="there is no member"):
        merge([birch], withdrawn=["Birch"])
    with pytest.raises(InputError, match="names 'Bitch', who is no member; did you mean 'Birch'"):
        merge([birch, alder], withdrawn=["Bitch"])
    with pytest.raises(InputError, match="withdrawn = 'Birch' is a text; give a list"):
        merge([birch, alder], withdrawn="Birch")
    with pytest.raises(InputError, match="fewest_per_cell = 0 is not a whole number of 1 or more"):
        merge([birch], fewest_per_cell=0)
    with pytest.raises(InputError, match="members holds DataFrame"):
        merge([pd.DataFrame()])  # type: ignore[list-item]


def test_without_consent_nothing_is_used() -> None:
    club = merge([member("Birch", [check()]), member("Alder", [check()] * 3, consent=False)])
    counts = club.counts.set_index("member").loc["Alder"]
    assert counts.tolist() == [3, 0, 3, 0, 0, 0]
    assert club.people["name"].tolist() == ["Birch"]
    row = club.rejects.iloc[0]
    assert (row["member"], row["row"], row["column"]) == ("Alder", 0, "consent")
    assert "not consented" in row["reason"]
    assert "All 3 rows of Alder were refused" in " ".join(club.notes)


def test_rows_without_end_zone_or_outcome_are_named() -> None:
    good = check()
    rows = [
        good,
        {**good, "end_utc": None},
        {**good, "start_utc": pd.Timestamp("2026-11-25T18:00")},
        {**good, "outcome": ""},
        {**good, "end_utc": pd.Timestamp("2026-11-25T17:00Z")},
        {**good, "freq_khz": np.nan},
        {**good, "sinpo": "66666"},
    ]
    frame = pd.DataFrame(rows).astype(object)
    club = merge([member("Birch", frame.assign(row=range(10, 17)))])
    found = [(r.row, r.column, r.reason) for r in club.rejects.itertuples()]
    assert found == [
        (11, "end_utc", "empty"),
        (12, "start_utc", "no time zone; write Z at the end if it is UTC, or name its time_zone"),
        (13, "outcome", "empty"),
        (14, "end_utc", "before start_utc"),
        (15, "freq_khz", "empty"),
        (16, "sinpo", "not five digits 1 to 5"),
    ]
    assert club.counts.iloc[0].tolist() == ["Birch", 7, 1, 6, 1, 0, 0]


def test_logs_with_nothing_in_them() -> None:
    empty = member("Alder", pd.DataFrame())
    lost = member("Cedar", pd.DataFrame({"start_utc": [SUMMER], "freq_khz": [6070.0]}))
    plain = pd.DataFrame([check()]).drop(columns=["sinpo", "setup_id", "identity"])
    club = merge([empty, lost, member("Birch", plain)])
    assert club.counts["read"].tolist() == [0, 1, 1]
    assert club.counts["kept"].tolist() == [0, 1, 0]
    assert set(club.rejects["column"]) == {"end_utc", "outcome"}
    notes = " ".join(club.notes)
    assert "The log of Alder has no rows." in notes
    assert "All 1 rows of Cedar were refused; the first reason: end_utc empty." in notes
    nothing = merge([empty, lost])
    assert nothing.checks.empty
    assert list(nothing.checks.columns) == list(club.checks.columns)
    assert "No check could be kept" in nothing.text()
    nothing = merge([empty], by_week=True)
    assert nothing.references.empty


def test_several_observers_in_a_log_are_told() -> None:
    rows = [check(observer_id="one"), check("19:00", observer_id="two"), check("20:00")]
    assert "names 2 observers" in " ".join(merge([member("Birch", rows)]).notes)


def test_a_log_that_was_read_gives_what_its_frame_gives(folder: Any) -> None:
    log = read_log(folder / "Alder.csv")
    read, plain = (merge([member("Birch", one)]) for one in (log.frame, log.frame.copy()))
    whole = merge([dataclasses.replace(member("Birch", []), log=log)])
    pd.testing.assert_frame_equal(read.checks, plain.checks)
    pd.testing.assert_frame_equal(read.checks, whole.checks)
    assert len(whole.rejects) == 3
    assert read.rejects.empty


MEMBERS = """
[[members]]
name = "Birch"
place = "KO38"
time_zone = "Europe/Tallinn"
licence = "CC0-1.0"
consent = true
log = "log.csv"
"""


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("members = 3", "club.toml has no members; write [[members]]"),
        ("", "club.toml has no members"),
        ("[[membres]]\nname = 'x'", "unknown key 'membres'; did you mean 'members'?"),
        ("[[members]", "club.toml is not TOML"),
        (MEMBERS.replace("place", "plaice"), "members[0] 'Birch': unknown key 'plaice'; did you"),
        (MEMBERS.replace('licence = "CC0-1.0"\n', ""), "members[0] 'Birch': key 'licence' is miss"),
        (MEMBERS.replace('"KO38"', '"XX38"'), "members[0] 'Birch': member 'Birch': place: locator"),
        (MEMBERS.replace("log.csv", "none.csv"), "members[0] 'Birch': log = 'none.csv' cannot be"),
        (MEMBERS.replace('"log.csv"', "5"), "members[0] 'Birch': log = 5 is not the name of a"),
        (MEMBERS + "local_times = 1", "members[0] 'Birch': local_times = 1 is neither"),
        (MEMBERS.replace("Birch", "a@b.example"), "members[0] '[e-mail address]': name is an e-"),
        (MEMBERS, "members[0] 'Birch': log: log.csv: column 'start_utc', 'end_utc'"),
    ],
)
def test_a_file_of_members_is_refused_by_member_and_key(
    tmp_path: Any, text: str, reason: str
) -> None:
    (tmp_path / "club.toml").write_text(text, encoding="utf-8")
    (tmp_path / "log.csv").write_text("freq_khz,outcome\n6070,heard\n", encoding="utf-8")
    with pytest.raises(InputError, match=re.escape(reason)):
        read_members(tmp_path / "club.toml")


def test_the_log_of_one_without_consent_is_not_opened(tmp_path: Any) -> None:
    text = MEMBERS.replace("true", "false").replace("log.csv", "none.csv")
    (tmp_path / "club.toml").write_text(text, encoding="utf-8")
    (one,) = read_members(tmp_path / "club.toml")
    assert not one.consent


# Large clubs --------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def many() -> pd.DataFrame:
    """Checks of five members with odd names, two setups, two seasons."""
    rng = np.random.default_rng(3)
    parts = []
    for name in ("0012", "Ash & co %=?", "Bírch", "Cedar", "2026-11-02"):
        n = 400
        start = pd.Timestamp("2026-09-20T17:00Z") + pd.to_timedelta(
            rng.integers(0, 90, n) * 1440 + rng.integers(0, 300, n), "min"
        )
        parts.append(
            pd.DataFrame(
                {
                    "member": name,
                    "setup_id": np.where(rng.random(n) < 0.7, f"{name}/wire", f"{name}/loop"),
                    "start_utc": start,
                    "end_utc": start + pd.Timedelta(minutes=6),
                    "freq_khz": rng.choice([5950.0, 9650.0], n),
                    "outcome": rng.choice(["heard", "not_heard", "carrier_only", "blocked"], n),
                    "identity": UMBASANI,
                    "evening": start.tz_localize(None).floor("D").astype("datetime64[s]"),
                    "middle_min": np.where(name == "Cedar", np.nan, rng.integers(-60, 240, n)),
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


@pytest.fixture(scope="module")
def stored(many: pd.DataFrame, tmp_path_factory: pytest.TempPathFactory) -> Any:
    place = tmp_path_factory.mktemp("large") / "[club]"
    parts = (part for _, part in many.groupby("member"))
    assert club_large.write_parquet(parts, place) == len(many)
    return place


def rates_by_pandas(many: pd.DataFrame, by: list[str], fewest: int) -> pd.DataFrame:
    told = many[many["outcome"] != "blocked"]
    heard_ = (told["outcome"] == "heard").astype(float)
    keys = [told[name] for name in dict.fromkeys([*by, "member", "setup_id"])]
    setups = heard_.groupby(keys, dropna=False).agg(["mean", "size", "sum"]).reset_index()
    setups = setups[setups["size"] >= fewest]
    own = list(dict.fromkeys([*by, "member"]))
    people = setups.groupby(own, dropna=False)["mean"].mean().reset_index()
    return people.groupby(by, dropna=False)["mean"].agg(["mean", "size", "std"]).reset_index()


@pytest.mark.parametrize("by", [["season", "band"], ["hour_utc"], ["sunset_h"], ["member"]])
def test_rates_are_those_of_pandas(many: pd.DataFrame, stored: Any, by: list[str]) -> None:
    from scipy import stats

    frame = many.assign(
        season=np.where(many["start_utc"] < pd.Timestamp("2026-10-25T01:00Z"), "A26", "B26"),
        band=np.where(many["freq_khz"] == 5950.0, "49 m", "31 m"),
        hour_utc=many["start_utc"].dt.hour,
        sunset_h=np.floor(many["middle_min"] / 60.0),
    )
    found = club_large.hearing_rates(stored, by=by, fewest_checks=8)
    want = rates_by_pandas(frame, by, 8)
    assert (
        found[by].astype(str).to_numpy().tolist()
        == want[by].astype({name: found[name].dtype for name in by}).astype(str).to_numpy().tolist()
    )
    np.testing.assert_allclose(found["rate"], want["mean"], atol=1e-8)
    assert found["members"].tolist() == want["size"].tolist()
    told = frame[frame["outcome"] != "blocked"]
    sizes = told.groupby(by, dropna=False).size().tolist()
    assert (found["checks"] + found["left_out"]).tolist() == sizes
    if by != ["member"]:
        half = stats.t(want["size"] - 1).ppf(0.975) * want["std"] / np.sqrt(want["size"])
        several = (want["size"] > 1).to_numpy()
        low = np.clip(want["mean"] - half, 0.0, 1.0)
        np.testing.assert_allclose(found["low"][several], low[several], atol=1e-8)


def test_the_rate_of_one_setup_has_an_interval_by_evenings(many: pd.DataFrame, stored: Any) -> None:
    """Referee: statsmodels, a mean with evenings as clusters."""
    from scipy import stats
    from statsmodels.api import OLS

    found = club_large.hearing_rates(stored, by=["setup_id"]).set_index("setup_id")
    own = many[(many["setup_id"] == "Bírch/wire") & (many["outcome"] != "blocked")]
    y = (own["outcome"] == "heard").astype(float).to_numpy()
    groups = pd.factorize(own["evening"])[0]
    fit = OLS(y, np.ones(y.size)).fit(
        cov_type="cluster", cov_kwds={"groups": groups, "use_correction": False}
    )
    count = groups.max() + 1
    half = stats.t(count - 1).ppf(0.975) * fit.bse[0] * np.sqrt(count / (count - 1))
    row = found.loc["Bírch/wire"]
    assert row["evenings"] == count
    assert row["rate"] == pytest.approx(y.mean(), abs=1e-8)
    assert row["high"] - row["rate"] == pytest.approx(half, rel=1e-6)


def test_effort_adds_up(many: pd.DataFrame, stored: Any) -> None:
    found = club_large.effort(stored)
    assert found["checks"].sum() == len(many)
    assert found["hours"].sum() == pytest.approx(0.1 * len(many))
    assert found["checks_that_tell"].sum() == (many["outcome"] != "blocked").sum()
    assert sorted(set(found["member"])) == sorted(set(many["member"]))
    assert set(found["season"]) == {"A26", "B26"}
    total = club_large.effort(stored, by=["band"], threads=1, memory_mb=128)
    assert total["checks"].sum() == len(many)


def test_a_merged_club_can_be_stored(merged: Club, tmp_path: Any) -> None:
    place = tmp_path / "new" / "club"
    assert club_large.write_parquet(merged.checks, place) == len(merged.checks)
    again = merge([member("Birch", [check()])], by_week=True).checks
    club_large.write_parquet(again, tmp_path / "weeks")
    assert club_large.effort(tmp_path / "weeks")["evenings"].tolist() == [1]
    back = pd.read_parquet(place / "member=Alder" / "season=B26" / "part-0.parquet")
    own = merged.checks[merged.checks["member"] == "Alder"].reset_index(drop=True)
    assert back["start_utc"].tolist() == own["start_utc"].tolist()
    assert not list(tmp_path.glob(".farhear*"))


def test_large_clubs_refuse_in_plain_words(
    many: pd.DataFrame, stored: Any, tmp_path: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(InputError, match="is there already and not empty"):
        club_large.write_parquet(many, stored)
    with pytest.raises(InputError, match="checks has no column 'outcome'"):
        club_large.write_parquet(many.drop(columns="outcome"), tmp_path / "a")
    with pytest.raises(InputError, match="neither a column 'evening' nor 'week'"):
        club_large.write_parquet(many.drop(columns="evening"), tmp_path / "a")
    with pytest.raises(InputError, match="differ in their columns: identity"):
        club_large.write_parquet([many, many.drop(columns="identity")], tmp_path / "a")
    assert not list(tmp_path.iterdir())
    with pytest.raises(InputError, match=r"by names 'bend', which is none of .*; did you mean"):
        club_large.hearing_rates(stored, by=["bend"])
    with pytest.raises(InputError, match="is empty or names something twice"):
        club_large.effort(stored, by=["band", "band"])
    with pytest.raises(InputError, match=r"has no member=\*/season=\*"):
        club_large.effort(tmp_path)
    with pytest.raises(InputError, match="memory_mb = 1 is not a whole number of 64 or more"):
        club_large.effort(stored, memory_mb=1)
    monkeypatch.setitem(sys.modules, "duckdb", None)
    with pytest.raises(InputError, match="the package duckdb is not there; install it"):
        club_large.effort(stored)

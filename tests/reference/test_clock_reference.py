"""The clock against Python's zoneinfo, the tz compiler, and published changes of law."""

import csv
import datetime as dt
import io
import os
import shutil
import subprocess
import zoneinfo
from importlib import resources
from pathlib import Path

import numpy as np
import pytest

import farhear as fh
from farhear import _core, clock

EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
FIRST_S, END_S = -2208988800, 4133980800
FOLDER = resources.files("tzdata") / "zoneinfo"


def unix_s(text):
    return fh.utc(text).unix_s


# Python's own zoneinfo, given the same bytes: by name it would take the system's files first, of
# another edition, and then a difference in law would look like an error.


def oracle(name):
    data = FOLDER.joinpath(*name.split("/")).read_bytes()
    return zoneinfo.ZoneInfo.from_file(io.BytesIO(data), key=name)


def oracle_offset_s(zone, t):
    return [
        (EPOCH + dt.timedelta(seconds=int(s))).astimezone(zone).utcoffset().total_seconds()
        for s in t
    ]


def oracle_changes_s(zone, first, last):
    """Changes of offset found by bisection between samples 10 days apart, without our table."""
    t = list(range(first, last, 864000))
    offsets = oracle_offset_s(zone, t)
    found = []
    for a, b, before, after in zip(t, t[1:], offsets, offsets[1:], strict=False):
        if before == after:
            continue
        low, high = a, b
        while high - low > 1:
            middle = (low + high) // 2
            if oracle_offset_s(zone, [middle])[0] == before:
                low = middle
            else:
                high = middle
        found.append(high)
    return found


@pytest.mark.parametrize("part", range(4))
def test_all_zones_all_changes_against_zoneinfo(part):
    for name in clock.zone_names()[part::4]:
        zone = oracle(name)
        own = clock._zone(name)
        around = np.concatenate([own.changes_unix_s() + k for k in (-1, 0, 1)])
        t = np.unique(np.concatenate([around, np.arange(FIRST_S, END_S, 97 * 86400), [END_S - 1]]))
        t = t[(t >= FIRST_S) & (t < END_S)]
        utc = fh.UtcTimes(t.astype(np.float64))
        expected = np.array(oracle_offset_s(zone, t))
        np.testing.assert_array_equal(
            np.rint(clock.offset_min(utc, name) * 60), expected, err_msg=name
        )
        # back: PEP 495 fold 0 and 1 are the earlier and the later instant; gaps never arise here
        inner = (t > FIRST_S + 172800) & (t < END_S - 172800)
        wall = clock.to_local(utc, name)[inner]
        for policy, fold in (("earlier", 0), ("later", 1)):
            back = clock.to_utc(wall, name, ambiguous=policy).unix_s
            reference = [
                (w.replace(tzinfo=zone, fold=fold) - EPOCH).total_seconds() for w in wall.tolist()
            ]
            np.testing.assert_array_equal(back, reference, err_msg=f"{name} {policy}")


@pytest.mark.parametrize(
    "name",
    [
        "Europe/Tallinn",
        "Europe/Dublin",
        "Africa/Casablanca",
        "Australia/Lord_Howe",
        "America/Asuncion",
        "Pacific/Apia",
        "Asia/Gaza",
        "America/Nuuk",
        "Antarctica/Troll",
    ],
)
def test_no_change_is_overlooked(name):
    first, last = int(unix_s("1970-01-01T00:00Z")), int(unix_s("2061-01-01T00:00Z"))
    own = clock._zone(name).changes_unix_s()
    own = own[(own > first) & (own < last)]
    assert set(oracle_changes_s(oracle(name), first, last)) <= set(own.tolist())


def test_july_and_january_from_2038_on():
    # a library that stops at the end of 32-bit time loses summer time here; rules of 2026
    years = range(2026, 2101)
    for name, winter, summer in (
        ("America/Denver", -420, -360),
        ("Europe/London", 0, 60),
        ("Australia/Lord_Howe", 660, 630),
    ):
        january = fh.utc([f"{y}-01-15T12:00Z" for y in years])
        july = fh.utc([f"{y}-07-15T12:00Z" for y in years])
        assert (clock.offset_min(january, name) == winter).all()
        assert (clock.offset_min(july, name) == summer).all()


# Changes of law and oddities. Source: IANA tz database 2026c, public domain.
FACTS = [
    ("Pacific/Apia", "2011-12-30T10:00Z", -600, 840),  # a day skipped
    ("Australia/Lord_Howe", "2026-04-04T15:00Z", 660, 630),  # half an hour
    ("Australia/Lord_Howe", "2026-10-03T15:30Z", 630, 660),
    ("Europe/Dublin", "2026-03-29T01:00Z", 0, 60),  # winter is the exception in law
    ("Africa/Casablanca", "2026-02-15T02:00Z", 60, 0),  # by the religious calendar
    ("Africa/Casablanca", "2026-03-22T02:00Z", 0, 60),
    ("America/Mexico_City", "2022-10-30T07:00Z", -300, -360),  # the last change
    ("Asia/Tehran", "2022-09-21T19:30Z", 270, 210),  # the last change
    ("Africa/Cairo", "2023-04-27T22:00Z", 120, 180),  # summer time is back
]


@pytest.mark.parametrize(("zone", "at", "before", "after"), FACTS)
def test_known_changes(zone, at, before, after):
    t = unix_s(at)
    utc = fh.UtcTimes(np.array([t - 1, t]))
    assert clock.offset_min(utc, zone).tolist() == [before, after]


@pytest.mark.parametrize(
    ("zone", "since", "offset_min"),
    [
        ("America/Mexico_City", "2022-10-30T07:00Z", -360),
        ("Asia/Tehran", "2022-09-21T19:30Z", 210),
        ("Asia/Amman", "2022-10-28T00:00Z", 180),  # stayed on summer time
        ("Asia/Damascus", "2022-10-28T00:00Z", 180),
        ("America/Asuncion", "2024-10-15T03:00Z", -180),
    ],
)
def test_zones_that_gave_up_changing(zone, since, offset_min):
    t = np.arange(float(unix_s(since)), unix_s("2029-12-31T00:00Z"), 86400.0)
    assert (clock.offset_min(fh.UtcTimes(t), zone) == offset_min).all()


def facts_file():
    root = os.environ.get("FARHEAR_FIELD_DATA")
    folder = Path(root) if root else Path(__file__).parents[2] / ".." / "shared" / "data"
    return folder / "tz_facts" / "transitions_2010_2030.csv"


@pytest.mark.skipif(not facts_file().is_file(), reason="field data tz_facts not found")
def test_the_whole_list_of_changes():
    # IANA tz database 2026c, compiled by zic, listed by zdump. Rows whose offset stays are changes
    # of name only. Rows after the edition's date are the law of then, and may have changed since.
    with facts_file().open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 1223
    wrong = []
    for row in rows:
        t = float(unix_s(row["utc_of_change"]))
        got = clock.offset_min(fh.UtcTimes(np.array([t - 1, t])), row["zone"]) * 60
        if got.tolist() != [float(row["offset_before_s"]), float(row["offset_after_s"])]:
            wrong.append((row["zone"], row["utc_of_change"]))
    assert [w for w in wrong if w[1] < "2026-07-01"] == []
    assert len(wrong) < len(rows) // 20


def rules_text():
    for place in (FOLDER / "tzdata.zi", Path("/usr/share/zoneinfo/tzdata.zi")):
        if place.is_file():
            return place.read_bytes()
    return None


ZIC = shutil.which("zic", path=os.environ.get("PATH", "") + ":/usr/sbin:/sbin")


@pytest.mark.skipif(ZIC is None, reason="the tz compiler zic is not installed")
@pytest.mark.skipif(rules_text() is None, reason="tzdata.zi not found")
def test_slim_and_fat_files_give_the_same_table(tmp_path):
    rules = tmp_path / "rules.zi"
    rules.write_bytes(rules_text())
    for form in ("slim", "fat"):
        subprocess.run([ZIC, "-b", form, "-d", tmp_path / form, rules], check=True)
    sizes = []
    for slim in sorted((tmp_path / "slim").rglob("*")):
        if not slim.is_file():
            continue
        fat = tmp_path / "fat" / slim.relative_to(tmp_path / "slim")
        a = _core.clock.Zone(f"slim {slim.name}", slim.read_bytes())
        b = _core.clock.Zone(f"fat {slim.name}", fat.read_bytes())
        # zic 2.36 (glibc) leaves Palestine's written-out changes from 2073 on out of slim files;
        # zoneinfo reads both of its files as we do, so the files differ, not the reading.
        until = unix_s("2073-01-01T00:00Z") if slim.name in ("Gaza", "Hebron") else END_S + 1e6
        slim_s, fat_s = (z.changes_unix_s()[z.changes_unix_s() < until] for z in (a, b))
        np.testing.assert_array_equal(slim_s, fat_s, err_msg=str(slim))
        n = len(slim_s) + 1
        np.testing.assert_array_equal(a.offsets_s()[:n], b.offsets_s()[:n], err_msg=str(slim))
        sizes.append((slim.stat().st_size, fat.stat().st_size))
    assert len(sizes) > 300
    assert sum(s for s, _ in sizes) < 0.7 * sum(f for _, f in sizes)  # they do differ


@pytest.mark.parametrize(
    "name", ["Europe/London", "America/New_York", "Asia/Tokyo", "Asia/Kolkata", "Australia/Sydney"]
)
def test_the_systems_files_agree_where_law_has_not_moved(name):
    # Debian's files are of the "fat" kind, the package's "slim" or fat by edition
    path = Path("/usr/share/zoneinfo") / name
    if not path.is_file():
        pytest.skip("no system zone files")
    system = _core.clock.Zone(name, path.read_bytes())
    t = np.arange(float(unix_s("1970-01-01T00:00Z")), END_S, 43200.0)
    np.testing.assert_array_equal(system.offset_s(t), clock._zone(name).offset_s(t))

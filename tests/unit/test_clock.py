"""The clock's face: shapes, words, refusals, and pins worked out by hand."""

import datetime as dt
import doctest
import itertools

import numpy as np
import pandas as pd
import pytest

import farhear as fh
from farhear import _core, clock

TALLINN = "Europe/Tallinn"


def u(text):
    return fh.utc(text)


def test_docstring_examples():
    result = doctest.testmod(clock, optionflags=doctest.NORMALIZE_WHITESPACE)
    assert result.attempted >= 7
    assert result.failed == 0


def test_wall_time_of_a_scalar_is_a_numpy_scalar():
    wall = clock.to_local("2026-11-25T18:00Z", TALLINN)
    assert isinstance(wall, np.datetime64)
    assert wall == np.datetime64("2026-11-25T20:00:00")
    assert clock.offset_min("2026-07-01T00:00Z", TALLINN) == 180.0


def test_shapes_are_kept_whatever_the_layout():
    t = fh.UtcTimes(np.arange(12.0).reshape(3, 4) * 86400 * 40 + 1.7e9)
    expected = clock.to_local(t, TALLINN)
    assert expected.shape == (3, 4)
    assert expected.dtype == np.dtype("datetime64[s]")
    for view in (np.s_[::-1], np.s_[:, ::2]):
        np.testing.assert_array_equal(clock.to_local(t[view], TALLINN), expected[view])
    turned = fh.UtcTimes(t.unix_s.T)
    np.testing.assert_array_equal(clock.to_local(turned, TALLINN), expected.T)
    assert clock.to_utc(expected.T, TALLINN) == turned
    assert clock.to_utc(expected[:, ::2], TALLINN) == t[:, ::2]
    empty = fh.UtcTimes(np.empty((0, 3)))
    assert clock.to_local(empty, TALLINN).shape == (0, 3)
    assert clock.offset_min(empty, TALLINN).shape == (0, 3)
    assert clock.season(empty).shape == (0, 3)
    assert clock.to_utc(np.empty((0, 3), "datetime64[s]"), TALLINN).shape == (0, 3)


def test_missing_times_stay_missing():
    t = fh.UtcTimes(np.array([1.78e9, np.nan]))
    wall = clock.to_local(t, TALLINN)
    assert np.isnat(wall).tolist() == [False, True]
    assert np.isnan(clock.offset_min(t, TALLINN)).tolist() == [False, True]
    assert clock.season(t).tolist() == ["A26", ""]
    assert clock.to_utc(wall, TALLINN) == t
    assert np.isnan(clock.to_utc(pd.NaT, TALLINN).unix_s)
    assert np.isnan(clock.to_utc(["2026-01-01", pd.NaT], TALLINN).unix_s).tolist() == [False, True]
    assert clock.weekday(wall).tolist() == [clock.weekday(wall[0]), 0]


def test_fractions_are_dropped_downwards_and_kept_on_the_way_to_utc():
    t = fh.UtcTimes(np.array([-0.25, 0.0, 1772960399.75]))
    wall = clock.to_local(t, "UTC")
    assert wall.astype(np.int64).tolist() == [-1, 0, 1772960399]
    # a quarter of a second before the gap of Denver, 2026-03-08T09:00Z
    assert clock.to_local(t, "America/Denver")[2] == np.datetime64("2026-03-08T01:59:59")
    assert clock.to_utc("2026-03-08T01:59:59.75", "America/Denver").unix_s == 1772960399.75
    ms = np.array(["2026-11-25T20:30:00.125"], dtype="datetime64[ms]")
    assert clock.to_utc(ms, TALLINN).unix_s[0] % 1 == 0.125


@pytest.mark.parametrize(
    "wall",
    [
        dt.datetime(2026, 11, 25, 20, 30),  # noqa: DTZ001
        "2026-11-25T20:30",
        "2026-11-25 20:30:00",
        np.datetime64("2026-11-25T20:30"),
        pd.Timestamp("2026-11-25T20:30"),
    ],
)
def test_every_form_of_a_wall_time(wall):
    assert clock.to_utc(wall, TALLINN) == u("2026-11-25T18:30Z")


@pytest.mark.parametrize(
    "make",
    [
        pd.DatetimeIndex,
        pd.Series,
        list,
        tuple,
        np.array,
        lambda texts: np.array(texts, dtype="datetime64[m]"),
        lambda texts: np.array(texts, dtype=object),
        lambda texts: np.array(texts, dtype="datetime64[ns]"),
    ],
)
def test_every_form_of_several_wall_times(make):
    texts = ["2026-11-25T20:30", "2026-07-01T00:00"]
    source = pd.to_datetime(texts) if make in (pd.DatetimeIndex, pd.Series) else texts
    expected = fh.UtcTimes(u(["2026-11-25T18:30Z", "2026-06-30T21:00Z"]).unix_s)
    assert clock.to_utc(make(source), TALLINN) == expected


@pytest.mark.parametrize(
    "wall",
    [
        "2026-11-25T20:30Z",
        "2026-11-25T20:30+02:00",
        dt.datetime(2026, 11, 25, tzinfo=dt.UTC),
        pd.Timestamp("2026-11-25", tz="UTC"),
        pd.DatetimeIndex(["2026-11-25"], tz="UTC"),
        ["2026-11-25T20:30Z"],
        fh.utc("2026-11-25T20:30Z"),
    ],
)
def test_a_wall_time_with_a_zone_is_refused(wall):
    with pytest.raises(fh.InputError, match="has a time zone already"):
        clock.to_utc(wall, TALLINN)


@pytest.mark.parametrize(
    "wall", ["noon", "", None, 5, 5.0, dt.date(2026, 1, 1), [["2026-01-01"], []], object(), {}]
)
def test_what_is_no_wall_time_is_refused(wall):
    with pytest.raises(fh.InputError):
        clock.to_utc(wall, TALLINN)


@pytest.mark.parametrize("call", [clock.to_local, clock.offset_min])
def test_naive_times_are_refused(call):
    with pytest.raises(fh.InputError, match="no time zone"):
        call("2026-11-25T18:00", TALLINN)
    with pytest.raises(fh.InputError, match="no time zone"):
        call(np.array(["2026-11-25"], "datetime64[s]"), TALLINN)


@pytest.mark.parametrize(
    "name",
    [
        "",
        "../etc/passwd",
        "/etc/passwd",
        "Europe/../Europe/London",
        "Europe/./London",
        "Europe//London",
        "Europe/London/",
        "Europe\\London",
        "Europe",
        "tzdata.zi",
        "zone.tab",
        "__init__.py",
        "Europe/London\0",
        "X" * 10000,
        None,
        5,
        ["UTC"],
        b"UTC",
    ],
)
def test_what_is_no_zone_is_refused(name):
    with pytest.raises(fh.InputError, match="zone"):
        clock.to_local("2026-11-25T18:00Z", name)


@pytest.mark.parametrize(
    ("wrong", "near"),
    [
        ("Europe/Talinn", "Europe/Tallinn"),
        ("europe/london", "Europe/London"),
        ("tallinn", "Europe/Tallinn"),
        ("new york", "America/New_York"),
        ("utc ", "UTC"),
    ],
)
def test_an_unknown_zone_offers_near_names(wrong, near):
    with pytest.raises(fh.InputError, match=near):
        clock.to_local("2026-11-25T18:00Z", wrong)


# The two Denver traps and Lord Howe: zone rules of the IANA tz database; the instants are
# arithmetic from the published offsets (MST -7 h, MDT -6 h; +10:30 and +11).


def test_a_reading_that_never_happens():
    with pytest.raises(fh.InputError) as caught:
        clock.to_utc(["2026-03-08T01:00", "2026-03-08T02:30"], "America/Denver")
    text = str(caught.value)
    for part in (
        "wall[1]",
        "2026-03-08T02:30:00",
        "America/Denver",
        "does not exist",
        "2026-03-08T09:30:00Z",
        "2026-03-08T08:30:00Z",
    ):
        assert part in text
    shifted = clock.to_utc("2026-03-08T02:30", "America/Denver", missing="shift")
    assert shifted == u("2026-03-08T09:30Z")
    assert clock.to_local(shifted, "America/Denver") == np.datetime64("2026-03-08T03:30:00")
    # the ends of the gap: its first second is missing, its end exists
    with pytest.raises(fh.InputError):
        clock.to_utc("2026-03-08T02:00:00", "America/Denver")
    assert clock.to_utc("2026-03-08T03:00:00", "America/Denver").unix_s == 1772960400
    assert clock.to_utc("2026-03-08T01:59:59", "America/Denver").unix_s == 1772960399


def test_a_reading_that_happens_twice():
    with pytest.raises(fh.InputError) as caught:
        clock.to_utc("2026-11-01T01:30", "America/Denver")
    text = str(caught.value)
    for part in ("twice", "2026-11-01T07:30:00Z", "2026-11-01T08:30:00Z", "America/Denver"):
        assert part in text
    assert clock.to_utc("2026-11-01T01:30", "America/Denver", "earlier").unix_s == 1793518200
    assert clock.to_utc("2026-11-01T01:30", "America/Denver", "later").unix_s == 1793521800
    # the ends of the repeat: 01:00 happens twice, 02:00 once
    assert clock.to_utc("2026-11-01T02:00", "America/Denver") == u("2026-11-01T09:00Z")
    assert clock.to_utc("2026-11-01T00:59:59", "America/Denver") == u("2026-11-01T06:59:59Z")
    with pytest.raises(fh.InputError, match="twice"):
        clock.to_utc("2026-11-01T01:00", "America/Denver")


def test_half_an_hour_and_five_hours_three_quarters():
    wall = "2026-04-05T01:45"
    assert clock.to_utc(wall, "Australia/Lord_Howe", "earlier").unix_s == 1775313900
    assert clock.to_utc(wall, "Australia/Lord_Howe", "later").unix_s == 1775315700
    assert clock.to_utc("2026-01-01T00:00", "Asia/Kathmandu").unix_s == 1767204900


def test_the_index_in_an_error_is_that_of_the_callers_array():
    wall = np.full((2, 3), np.datetime64("2026-06-01T00:00"))
    wall[1, 2] = np.datetime64("2026-11-01T01:30")
    with pytest.raises(fh.InputError, match=r"^wall\[1, 2\] = 2026-11-01T01:30:00"):
        clock.to_utc(wall, "America/Denver")


@pytest.mark.parametrize("policy", [{"ambiguous": "first"}, {"missing": "later"}, {"missing": []}])
def test_an_unknown_policy_is_refused(policy):
    with pytest.raises(fh.InputError, match="is not one of 'raise'"):
        clock.to_utc("2026-01-01T00:00", TALLINN, **policy)


def test_years_out_of_range():
    assert clock.to_local("1900-01-01T00:00Z", "UTC") == np.datetime64("1900-01-01T00:00:00")
    assert clock.to_local("2100-12-31T23:59:59Z", "UTC") == np.datetime64("2100-12-31T23:59:59")
    # one night of 2101 by the wall is still 2100 in UTC
    assert clock.to_utc("2101-01-01T01:59:59", TALLINN) == u("2100-12-31T23:59:59Z")
    for wall in ("2101-01-01T02:00", "1899-12-31", "3000-01-01", "0001-01-01"):
        with pytest.raises(fh.InputError, match=r"outside|1900-2100"):
            clock.to_utc(wall, TALLINN)


def test_days():
    spans = clock.day_span(np.arange("2026-10-24", "2026-10-27", dtype="datetime64[D]"), TALLINN)
    assert spans.shape == (3, 2)
    # the EU goes back on 2026-10-25: that day has 25 hours
    assert (np.diff(spans.unix_s, axis=1) / 3600).ravel().tolist() == [24.0, 25.0, 24.0]
    assert spans[1:, 0] == spans[:-1, 1]
    for date in (dt.date(2026, 3, 29), "2026-03-29", np.datetime64("2026-03-29")):
        assert np.diff(clock.day_span(date, TALLINN).unix_s) == 23 * 3600
    assert clock.day_span("2100-12-30", TALLINN).shape == (2,)


def test_a_day_that_starts_at_one():
    # Beirut goes forward at midnight: 2026-03-29 starts at 01:00 (IANA tz database, Lebanon:
    # last Sunday of March, 0:00)
    start, end = clock.day_span("2026-03-29", "Asia/Beirut").unix_s
    assert start == u("2026-03-28T22:00Z").unix_s
    assert end - start == 23 * 3600
    assert clock.to_local(fh.UtcTimes(start), "Asia/Beirut") == np.datetime64("2026-03-29T01:00:00")


def test_a_day_that_never_was():
    with pytest.raises(fh.InputError, match=r"2011-12-30 does not exist in Pacific/Apia"):
        clock.day_span("2011-12-30", "Pacific/Apia")
    before = clock.day_span("2011-12-29", "Pacific/Apia")
    after = clock.day_span("2011-12-31", "Pacific/Apia")
    assert before[1] == after[0] == u("2011-12-30T10:00Z")


def test_days_tile_where_clocks_go_back_across_midnight():
    # St. John's went back at 00:01 to 23:01 till 2011 (IANA tz database)
    days = np.arange("2010-11-05", "2010-11-09", dtype="datetime64[D]")
    spans = clock.day_span(days, "America/St_Johns").unix_s
    assert (spans[1:, 0] == spans[:-1, 1]).all()
    assert (np.diff(spans, axis=1).ravel() / 3600).tolist() == [24.0, 24.0, 25.0, 24.0]


@pytest.mark.parametrize(
    "date",
    [
        "2026-11-25T00:00",
        "2026-02-30",
        "",
        None,
        20261125,
        dt.datetime(2026, 11, 25),  # noqa: DTZ001
        np.datetime64("2026-11-25T00:00"),
        np.datetime64("NaT", "D"),
        np.array([1.0]),
        "1800-01-01",
        "2101-01-02",
        np.datetime64("9999-01-01"),
    ],
)
def test_what_is_no_day_is_refused(date):
    with pytest.raises(fh.InputError, match="date"):
        clock.day_span(date, TALLINN)


def test_weekdays_differ_between_the_wall_and_utc():
    t = u("2026-11-26T01:30Z")  # Wednesday evening in New York, Thursday in UTC: any calendar
    assert clock.weekday(t) == 4
    assert clock.weekday(clock.to_local(t, "America/New_York")) == 3
    assert clock.weekday("1969-12-31") == 3  # before 1970
    assert clock.weekday(["2026-11-23", "2026-11-29"]).tolist() == [1, 7]


def test_seasons():
    # last Sundays of March and October 2025-2027, from any calendar; ITU RR Article 12: 0100 UTC
    starts = {
        "A25": "2025-03-30T01:00Z",
        "B25": "2025-10-26T01:00Z",
        "A26": "2026-03-29T01:00Z",
        "B26": "2026-10-25T01:00Z",
        "A27": "2027-03-28T01:00Z",
        "B27": "2027-10-31T01:00Z",
    }
    names = list(starts)
    t = u(list(starts.values()))
    assert clock.season(t).tolist() == names
    assert clock.season(fh.UtcTimes(t.unix_s - 1)).tolist() == ["B24", *names[:-1]]
    for name, following in itertools.pairwise(names):
        span = clock.season_span(name)
        assert span.shape == (2,)
        assert span == u([starts[name], starts[following]])
    assert str(clock.season("2027-01-15T18:00Z")) == "B26"  # the year in which it starts


def test_season_names_are_one_to_one_over_a_century():
    names = [f"{half}{y % 100:02d}" for y in range(1950, 2050) for half in "AB"]
    spans = [clock.season_span(name).unix_s for name in names]
    assert all(a[1] == b[0] for a, b in itertools.pairwise(spans))
    assert clock.season(fh.UtcTimes(np.array([s[0] for s in spans]))).tolist() == names
    for t in (spans[0][0] - 1, spans[-1][1]):
        with pytest.raises(fh.InputError, match="1950-2049"):
            clock.season(fh.UtcTimes(np.array([t])))


@pytest.mark.parametrize("name", ["", "A", "a26", "C26", "A2026", "26A", "A 6", None, 26])
def test_what_is_no_season_is_refused(name):
    with pytest.raises(fh.InputError, match="A27"):
        clock.season_span(name)


def test_edition_and_names():
    assert "tzdata" in clock.tzdata_edition() or "system" in clock.tzdata_edition()
    names = clock.zone_names()
    assert names == sorted(names)
    assert {TALLINN, "UTC", "America/Denver", "Australia/Lord_Howe"} <= set(names)
    names.clear()  # a copy
    assert clock.zone_names()


def test_without_the_package_the_systems_files_serve(monkeypatch, tmp_path):
    root = clock._source()[0]
    folder = tmp_path / "zi"
    (folder / "Europe").mkdir(parents=True)
    (folder / "posix").mkdir()
    data = root.joinpath("Europe", "Tallinn").read_bytes()
    (folder / "Europe" / "Tallinn").write_bytes(data)
    (folder / "posix" / "Tallinn").write_bytes(data)
    (folder / "zone.tab").write_text("# no zone file")
    (folder / "tzdata.zi").write_text("# version 1999z\n")
    monkeypatch.setenv("TZDIR", str(folder))
    monkeypatch.setattr(clock, "_package", lambda: None)
    clock._source.cache_clear()
    clock._zone.cache_clear()
    try:
        assert clock.zone_names() == [TALLINN]
        assert clock.tzdata_edition() == f"system 1999z ({folder})"
        assert clock.offset_min("2026-07-01T00:00Z", TALLINN) == 180.0
        with pytest.raises(fh.InputError):
            clock.offset_min("2026-07-01T00:00Z", "UTC")
    finally:
        clock._source.cache_clear()
        clock._zone.cache_clear()


def test_the_core_refuses_what_it_would_have_to_copy():
    zone = clock._zone(TALLINN)
    with pytest.raises(TypeError):
        zone.to_local(np.arange(10.0)[::2])
    with pytest.raises(TypeError):
        zone.to_local(np.arange(10))


def test_every_cut_of_a_file_is_refused_in_words():
    data = clock._source()[0].joinpath("Europe", "Tallinn").read_bytes()
    _core.clock.Zone("whole", data)
    for length in range(len(data)):
        with pytest.raises(fh.InputError, match=r"'cut'.* at byte \d+ of"):
            _core.clock.Zone("cut", data[:length])

"""The clock under random instants, readings and damage."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import farhear as fh
from farhear import _core, clock

FIRST_S, END_S = -2208988800, 4133980800
ZONES = st.sampled_from(clock.zone_names())
INSTANTS = st.integers(FIRST_S + 2 * 86400, END_S - 2 * 86400 - 1)


@given(ZONES, st.lists(INSTANTS, min_size=1, max_size=30))
def test_there_and_back(zone, instants):
    t = np.array(instants, dtype=np.float64)
    wall = clock.to_local(fh.UtcTimes(t), zone)
    earlier = clock.to_utc(wall, zone, ambiguous="earlier").unix_s
    later = clock.to_utc(wall, zone, ambiguous="later").unix_s
    assert ((earlier == t) | (later == t)).all()
    assert (earlier <= later).all()
    np.testing.assert_array_equal(
        (wall.astype(np.int64) - t) / 60, clock.offset_min(fh.UtcTimes(t), zone)
    )


@given(ZONES, INSTANTS)
def test_every_reading_is_unique_missing_or_ambiguous(zone, reading):
    wall = np.array([reading], dtype=np.int64).view("datetime64[s]")
    earlier = clock.to_utc(wall, zone, "earlier", "shift")
    later = clock.to_utc(wall, zone, "later", "shift")
    shown = clock.to_local(earlier, zone)
    try:
        only = clock.to_utc(wall, zone)
    except fh.InputError as error:
        if "twice" in str(error):
            assert earlier.unix_s < later.unix_s
            assert (shown == wall).all()
            assert (clock.to_local(later, zone) == wall).all()
        else:
            assert "does not exist" in str(error)  # noqa: PT017
            assert earlier == later
            assert (shown > wall).all()
    else:
        assert only == earlier == later
        assert (shown == wall).all()


@given(ZONES, st.integers(FIRST_S // 86400 + 3, END_S // 86400 - 3))
def test_days_tile_and_hold_their_noon(zone, day):
    days = np.array([day, day + 1]).view("datetime64[D]")
    try:
        spans = clock.day_span(days, zone).unix_s
    except fh.InputError as error:
        assert "skipped" in str(error)  # noqa: PT017
        return
    assert spans[0, 1] == spans[1, 0]
    noon = fh.UtcTimes((spans[:, 0] + spans[:, 1]) / 2)
    assert (clock.to_local(noon, zone).astype("datetime64[D]") == days).all()


@pytest.fixture(scope="module")
def zone_file():
    return clock._source()[0].joinpath("Australia", "Lord_Howe").read_bytes()


@settings(max_examples=400)
@given(st.data())
def test_damaged_bytes_are_refused_or_give_a_usable_zone(zone_file, data):
    damaged = bytearray(zone_file)
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(damaged) - 1))
        damaged[at] = data.draw(st.integers(0, 255))
    try:
        zone = _core.clock.Zone("damaged", bytes(damaged))
    except fh.InputError as error:
        assert "at byte" in str(error)  # noqa: PT017
        return
    t = np.linspace(FIRST_S, 2147483647, 4001)
    offsets = zone.offset_s(t)
    assert (np.abs(offsets) < 26 * 3600).all()
    changes, steps = zone.changes_unix_s(), zone.offsets_s()
    np.testing.assert_array_equal(
        offsets, steps[np.searchsorted(changes, np.floor(t), side="right")]
    )
    wall = t[1:-1] + offsets[1:-1]
    args = (_core.clock.Ambiguous.EARLIER, _core.clock.Missing.RAISE)
    late = (_core.clock.Ambiguous.LATER, _core.clock.Missing.RAISE)
    earlier, later = zone.to_utc(wall, *args), zone.to_utc(wall, *late)
    assert (earlier <= t[1:-1]).all()
    assert (t[1:-1] <= later).all()


@given(st.binary(max_size=200))
def test_any_bytes_are_refused(data):
    with pytest.raises(fh.InputError, match="at byte"):
        _core.clock.Zone("noise", data)
    with pytest.raises(fh.InputError, match="at byte"):
        _core.clock.Zone("noise", b"TZif2" + data)

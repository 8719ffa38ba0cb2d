"""Rise and set of a local calendar day (the zone's rules come from farhear.clock)."""

import numpy as np
import pytest

from farhear import InputError, sun, utc


def test_local_day_differs_from_the_utc_day():
    # At 150 W the local day 2026-03-20 runs from 10 UTC to 10 UTC: the rise falls on the 20th and
    # the set on the 21st in UTC, while the UTC day begins with the set of the evening before.
    local = sun.events("2026-03-20", 61.0, -150.0, "America/Anchorage")
    assert utc("2026-03-20T08:00Z").unix_s < local.rise_utc.unix_s < local.set_utc.unix_s
    assert local.set_utc.unix_s < utc("2026-03-21T08:00Z").unix_s
    whole = sun.events("2026-03-20", 61.0, -150.0, None)
    assert whole.set_utc.unix_s < whole.rise_utc.unix_s
    assert local.rise_utc == whole.rise_utc


@pytest.mark.parametrize("date", ["2026-03-29", "2026-10-25", "2026-06-21"])
def test_days_of_23_24_and_25_hours_hold_their_events(date):
    day = sun.events(date, 58.4, 26.7, "Europe/Tallinn")
    noon = utc(f"{date}T12:00Z").unix_s
    assert day.state == "happens"
    assert noon - 15 * 3600.0 < day.rise_utc.unix_s < noon < day.set_utc.unix_s


def test_many_dates_at_once_equal_one_by_one():
    days = np.arange(np.datetime64("2026-10-20"), np.datetime64("2026-10-30")).reshape(2, 5)
    together = sun.events(days, 58.4, 26.7, "Europe/Tallinn")
    for index in np.ndindex(days.shape):
        alone = sun.events(days[index], 58.4, 26.7, "Europe/Tallinn")
        assert together.rise_utc[index] == alone.rise_utc
        assert together.set_utc[index] == alone.set_utc


def test_unknown_zone_is_refused():
    with pytest.raises(InputError):
        sun.events("2026-06-21", 58.4, 26.7, "Europe/Nowhere")

"""What is expected on a channel, the order of a round, and single checks. All invented."""

import datetime as dt

import pytest

import farhear as fh
from farhear import listen
from farhear.errors import InputError

HEAD = "freq_khz,start_utc,stop_utc,days,broadcaster,language,tx_lat_deg,tx_lon_deg,power_kw"
LIST = f"""{HEAD}
6070,0000,2400,daily,Radio Belmorant,eng,50.6,19.3,500
6070,0000,2400,daily,Radio Umbasani,amh,9.6,37.7,1
3035,0000,2400,daily,Dorwashi Radio,fra,57.0,24.0,500
6070,0300,0400,daily,Zephrine Waves,fin,50.6,19.3,500
"""
HOME = fh.Station(
    name="x",
    lat_deg=58.4,
    lon_deg=26.7,
    time_zone="Europe/Tallinn",
    setups=(
        fh.station.Setup(from_date=dt.date(2024, 9, 1), to_date=dt.date(2024, 11, 27)),
        fh.station.Setup(from_date=dt.date(2024, 11, 28)),
    ),
)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "log.csv"


def test_expected_are_those_on_the_channel_and_the_likeliest_first(tmp_path):
    (tmp_path / "list.csv").write_text(LIST)
    schedule = fh.read_schedule(tmp_path / "list.csv")
    found = listen.expected(HOME, schedule, "2024-11-27T18:00Z", 6070.0, f107_sfu=150.0)
    # neither the harmonic of 3035 kHz nor what is off the air, nor something else
    assert found["broadcaster"].tolist() == ["Radio Belmorant", "Radio Umbasani"]
    assert found["likelihood"].is_monotonic_decreasing
    one = listen.expected(HOME, schedule, "2024-11-27T18:00Z", 6070.0, most=1, f107_sfu=150.0)
    assert one["broadcaster"].tolist() == ["Radio Belmorant"]


def test_a_round_turned_about_gives_every_channel_the_same_mean_place():
    channels = [6070.0, 7325.0, 9500.0, 11800.0, 15395.0]
    places = dict.fromkeys(channels, 0)
    for sittings in range(6):
        for place, khz in enumerate(listen.round_order(channels, sittings)):
            places[khz] += place
    assert set(places.values()) == {6 * 2}
    for wrong, text in (([], "at least one"), ([6070.0, 6070.0], "twice")):
        with pytest.raises(InputError, match=text):
            listen.round_order(wrong, 0)


def test_sittings_are_counted_by_their_key(path):
    assert listen.sittings_of(path) == 0
    path.write_text("")
    assert listen.sittings_of(path) == 0
    for session in ("a", "a", "", "b"):
        listen.note_check(path, 6070, "not_heard", session_id=session)
    assert listen.sittings_of(path) == 2


def test_setup_of_the_local_day_is_noted(path):
    # 22:30 UTC is 00:30 of the next day in Tallinn (zoneinfo): the second setup is in use
    for start in ("2024-11-27T21:30Z", "2024-11-27T22:30Z"):
        end = dt.datetime.fromisoformat(start) + dt.timedelta(minutes=5)
        listen.note_check(path, 6070, "not_heard", start=start, end=end, station=HOME)
    listen.note_check(
        path, 6070, "heard", start="2024-01-01T18:00Z", end="2024-01-01T18:05Z", station=HOME
    )
    setups = fh.read_log(path).frame["setup_id"].tolist()
    assert setups == ["2024-09-01", "2024-11-28", ""]


def test_what_is_refused_leaves_the_file_as_it_was(path):
    listen.note_check(path, 6070, "heard", identity="Radio Belmorant", sinpo="34333")
    before = path.read_bytes()
    for khz, outcome, more in (
        (6070, "herd", {}),
        (6.07, "heard", {}),
        (6070, "heard", {"sinpo": "46433"}),
        (6070, "heard", {"identty": "Radio Belmorant"}),
        (6070, "heard", {"start": "2024-11-27T18:00"}),
        (6070, "heard", {"end": ["2024-11-27T18:00Z", "2024-11-27T18:01Z"]}),
        (6070, "heard", {"start": "2024-11-27T18:10Z", "end": "2024-11-27T18:00Z"}),
    ):
        with pytest.raises(InputError):
            listen.note_check(path, khz, outcome, **more)
        assert path.read_bytes() == before

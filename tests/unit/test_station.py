"""The station file."""

import datetime as dt
from importlib.resources import files

import pytest

from farhear.errors import InputError
from farhear.station import Setup, Station, read_station

GOOD = """
name = "Home"
lat_deg = 58.4
lon_deg = 26.7
time_zone = "Europe/Tallinn"
"""


def station(tmp_path, text):
    path = tmp_path / "station.toml"
    path.write_text(text, encoding="utf-8")
    return read_station(path)


def test_demo_station_reads():
    path = files("farhear") / "data" / "demo" / "station.toml"
    home = Station.from_toml(path)
    assert (home.lat_deg, home.lon_deg, home.time_zone) == (58.4, 26.7, "Europe/Tallinn")
    assert home.setup_on(dt.date(2024, 12, 14)) == home.setups[0]
    assert home.setup_on(dt.date(2024, 12, 15)) == home.setups[1]
    assert home.setup_on(dt.date(2030, 1, 1)) == home.setups[1]
    assert home.setup_on(dt.date(2024, 1, 1)) is None


def test_defaults_and_measured_noise(tmp_path):
    home = station(tmp_path, GOOD + "noise = 52.5\n")
    assert home.noise == 52.5
    assert (home.bandwidth_hz, home.required_snr_db, home.min_elevation_deg) == (9000.0, 17.0, 3.0)
    with pytest.raises(AttributeError):
        home.lat_deg = 1.0


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (GOOD + "bandwith_hz = 5000\n", "unknown key 'bandwith_hz'; did you mean 'bandwidth_hz'"),
        (GOOD + "[[setups]]\nfrom = 2025-01-01\n", r"unknown key 'setups\[0\].from'"),
        (GOOD + "[[setups]]\nnote = 'x'\n", r"'setups\[0\].from_date' is missing"),
        (GOOD + "[[setups]]\nfrom_date = '1.2.2025'\n", r"setups\[0\].from_date = '1.2.2025'"),
        (GOOD.replace("lat_deg = 58.4\n", ""), "key 'lat_deg' is missing"),
        (GOOD.replace("58.4", "nan"), "lat_deg = nan is outside"),
        (GOOD.replace("58.4", "true"), "lat_deg = True is not a number"),
        (GOOD.replace("58.4", "'58.4'"), "lat_deg = '58.4' is not a number"),
        (GOOD.replace("58.4", "126.7"), "lat_deg = 126.7 is outside .*swapped"),
        (GOOD.replace("26.7", "200.0"), "lon_deg = 200 is outside"),
        (
            "name='x'\nlat_deg=26.7\nlon_deg=58.4\ntime_zone='Europe/Tallinn'\n",
            "near it when swapped",
        ),
        (GOOD.replace("Tallinn", "Talinn"), "time_zone = 'Europe/Talinn'"),
        (GOOD + "noise = 'urban'\n", "noise = 'urban' is none of 'city'"),
        (GOOD + "noise = -5\n", "noise = -5 is outside"),
        (GOOD + "bandwidth_hz = 0\n", "bandwidth_hz = 0 is outside"),
        (GOOD.replace('"Home"', '""'), "name is empty"),
        ("name = ", "is not TOML"),
    ],
)
def test_bad_files_name_the_key(tmp_path, text, message):
    with pytest.raises(InputError, match=message) as caught:
        station(tmp_path, text)
    assert str(caught.value).startswith("station.toml")


def test_binary_station_file(tmp_path):
    path = tmp_path / "station.toml"
    path.write_bytes(b"name = \x00\x00")
    with pytest.raises(InputError, match="NUL byte"):
        read_station(path)


def test_overlapping_setups_are_refused_and_others_sorted():
    def with_setups(*setups):
        return Station(
            name="x", lat_deg=58.4, lon_deg=26.7, time_zone="Europe/Tallinn", setups=setups
        )

    winter = Setup(from_date=dt.date(2025, 10, 1), to_date=dt.date(2026, 3, 31))
    summer = Setup(from_date=dt.date(2025, 4, 1), to_date=dt.date(2025, 9, 30))
    assert with_setups(winter, summer).setups == (summer, winter)
    late = Setup(from_date=dt.date(2026, 3, 31))
    with pytest.raises(InputError, match=r"setups\[0\] and setups\[1\] overlap"):
        with_setups(winter, late)
    with pytest.raises(InputError, match="has no to_date"):
        with_setups(Setup(from_date=dt.date(2020, 1, 1)), winter)
    with pytest.raises(InputError, match="to_date = 2025-01-01 is before"):
        Setup(from_date=dt.date(2025, 2, 1), to_date=dt.date(2025, 1, 1))


def test_a_home_far_from_the_zones_city_is_allowed():
    # Honolulu's zone lists one place; a home in western China keeps Shanghai's clock.
    Station(name="x", lat_deg=39.5, lon_deg=76.0, time_zone="Asia/Shanghai")
    Station(name="x", lat_deg=21.3, lon_deg=-157.8, time_zone="Pacific/Honolulu")
    Station(name="x", lat_deg=0.0, lon_deg=0.0, time_zone="UTC")

"""Identification; every broadcaster, site and home here is invented."""

from pathlib import Path

import pytest

from farhear import reception
from farhear.errors import InputError
from farhear.identification import HARMONIC_PRIOR, LANGUAGE_FACTORS, identify
from farhear.schedule import read_schedule
from farhear.season import broadcast_geometry
from farhear.station import read_station

DEMO = Path(__file__).resolve().parents[2] / "data" / "demo"
COLUMNS = (
    "freq_khz,start_utc,stop_utc,days,broadcaster,language,tx_lat_deg,tx_lon_deg,power_kw,target,"
    "modulation"
)
GOOD = "9500,1800,1900,daily,Radio Belmorant,eng,50.6,19.3,100,18,"
WHEN = "2024-11-27T18:30Z"  # a Wednesday


def schedule_of(tmp_path, *lines):
    path = tmp_path / "list.csv"
    path.write_text("\n".join([COLUMNS, *lines]) + "\n", encoding="utf-8")
    return read_schedule(path, days="iso")


@pytest.fixture(scope="module")
def home():
    return read_station(DEMO / "station.toml")


def by_hand(home, schedule, position, **changes):
    """Likelihood of the rung 'language recognisable', 11 dB, of a row on its own."""
    row = schedule.frame.iloc[position]
    geometry = broadcast_geometry(home, schedule.frame)
    given = {
        "freq_khz": row["freq_khz"],
        "power_kw": row["power_kw"],
        "tx_pattern_dbi": geometry["pattern_dbi"][position],
        "tx_gain_sd_db": geometry["tx_gain_sd_db"][position],
        **changes,
    }
    freq = given.pop("freq_khz")
    place = (row["tx_lat_deg"], row["tx_lon_deg"], 58.4, 26.7, freq, WHEN)
    seen = reception.likelihood(
        *place, f107_sfu=150.0, required_snr_db=11.0, min_elevation_deg=3.0, **given
    )
    return float(seen["likelihood"])


def test_posterior_of_one_by_hand(home, tmp_path):
    schedule = schedule_of(tmp_path, GOOD)
    found = identify(home, schedule, WHEN, 9500.0, language="eng", f107_sfu=150.0)
    heard = by_hand(home, schedule, 0) * 0.9
    assert found["kind"].tolist() == ["scheduled", "something else"]
    assert found["posterior"][0] == pytest.approx(heard / (heard + 0.05 * 0.1), abs=1e-12)


def test_twins_share_evenly(home, tmp_path):
    # By symmetry: equal sites and powers must come out equal, whatever the physics.
    schedule = schedule_of(tmp_path, GOOD, GOOD.replace("Radio Belmorant", "Dorwashi Radio"))
    found = identify(home, schedule, WHEN, 9500.0, f107_sfu=150.0, other_weight=0.2)
    table = found.set_index("broadcaster")
    one = table["likelihood"]["Dorwashi Radio"]
    assert table["posterior"]["Radio Belmorant"] == pytest.approx(one / (2.0 * one + 0.2))
    assert table["posterior"]["Dorwashi Radio"] == pytest.approx(one / (2.0 * one + 0.2))
    assert one < by_hand(home, schedule, 0)  # each is the other's interferer


def test_language_moves_the_odds_by_the_stated_factors(home, tmp_path):
    twin = GOOD.replace("Radio Belmorant,eng", "Dorwashi Radio,deu")
    schedule = schedule_of(tmp_path, GOOD, twin)
    found = identify(home, schedule, WHEN, 9500.0, language="deu", f107_sfu=150.0)
    table = found.set_index("broadcaster")["posterior"]
    odds = LANGUAGE_FACTORS["same"] / LANGUAGE_FACTORS["other"]
    assert table["Dorwashi Radio"] / table["Radio Belmorant"] == pytest.approx(odds)


def test_the_stronger_of_two_on_a_channel_is_likelier(home, tmp_path):
    weak = GOOD.replace("Radio Belmorant", "Dorwashi Radio").replace(",100,", ",1,")
    found = identify(home, schedule_of(tmp_path, weak, GOOD), WHEN, 9500.0, f107_sfu=150.0)
    assert found["broadcaster"][0] == "Radio Belmorant"
    assert found["posterior"].sum() == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize(("utc", "freq_khz"), [(WHEN, 9501.0), ("2024-11-27T19:00Z", 9500.0)])
def test_nothing_scheduled_leaves_something_else(home, tmp_path, utc, freq_khz):
    found = identify(home, schedule_of(tmp_path, GOOD), utc, freq_khz, f107_sfu=150.0)
    assert found["kind"].tolist() == ["something else"]
    assert found["posterior"].tolist() == [1.0]
    assert found["row"].isna().all()


def test_drift(home, tmp_path):
    schedule = schedule_of(tmp_path, GOOD)
    for drift_khz, count in ((0.2, 1), (0.3, 2)):
        found = identify(home, schedule, WHEN, 9500.3, drift_khz=drift_khz, f107_sfu=150.0)
        assert len(found) == count


@pytest.mark.parametrize(("days", "count"), [("3", 2), ("4", 1)])
def test_weekday_is_that_of_the_utc_start(home, tmp_path, days, count):
    # 00:15 UTC on Thursday 28 November belongs to what started on Wednesday (3).
    schedule = schedule_of(tmp_path, GOOD.replace("1800,1900,daily", f"2330,0030,{days}"))
    found = identify(home, schedule, "2024-11-28T00:15Z", 9500.0, f107_sfu=150.0)
    assert len(found) == count
    # the same instant as local wall time with its offset, after midnight at home as well
    again = identify(home, schedule, "2024-11-28T02:15+02:00", 9500.0, f107_sfu=150.0)
    assert again["posterior"].tolist() == found["posterior"].tolist()


@pytest.mark.parametrize("times", [2, 3])
def test_harmonic_by_hand(home, tmp_path, times):
    schedule = schedule_of(tmp_path, GOOD.replace("9500", "5900"))
    found = identify(home, schedule, WHEN, 5900.0 * times, f107_sfu=150.0)
    line = found.set_index("kind").loc["harmonic"]
    # 50 dB below 100 kW is 1 W
    heard = by_hand(
        home,
        schedule,
        0,
        freq_khz=5900.0 * times,
        power_kw=0.001,
        tx_pattern_dbi=None,
        tx_gain_sd_db=10.0,
    )
    assert line["relation"] == f"{times} x 5900 kHz"
    assert line["likelihood"] == pytest.approx(heard, abs=1e-12)
    weight = heard * HARMONIC_PRIOR
    assert line["posterior"] == pytest.approx(weight / (weight + 0.05), abs=1e-12)


@pytest.mark.parametrize(("dial_khz", "side"), [(8590.0, "up"), (10410.0, "down")])
def test_image_by_hand(home, tmp_path, dial_khz, side):
    # Twice 455 kHz is 910 kHz; 40 dB below 100 kW is 10 W.
    schedule = schedule_of(tmp_path, GOOD)
    assert len(identify(home, schedule, WHEN, dial_khz, f107_sfu=150.0)) == 1
    found = identify(home, schedule, WHEN, dial_khz, if_khz=455.0, f107_sfu=150.0)
    line = found.set_index("kind").loc["image"]
    assert line["relation"] == f"image of 9500 kHz, 910 kHz {side}"
    assert line["likelihood"] == pytest.approx(by_hand(home, schedule, 0, power_kw=0.01), abs=1e-12)


def test_parallels(home, tmp_path):
    schedule = schedule_of(
        tmp_path,
        GOOD,
        GOOD.replace("9500", "25700"),
        GOOD.replace("9500", "7300"),
        GOOD.replace("9500", "6100").replace("eng", "deu"),
        GOOD.replace("9500", "6200").replace("1800,1900", "1900,2000"),
    )
    found = identify(home, schedule, WHEN, 9500.0, f107_sfu=150.0)
    parallels = found["parallels"][0]
    assert [freq for freq, _ in parallels] == [7300.0, 25700.0]
    assert parallels[0][1] == pytest.approx(by_hand(home, schedule, 2), abs=1e-12)


def test_digital_is_no_candidate(home, tmp_path):
    schedule = schedule_of(tmp_path, GOOD + "DIGITAL")
    found = identify(home, schedule, WHEN, 9500.0, f107_sfu=150.0)
    assert found["kind"].tolist() == ["something else"]
    assert any("Radio Belmorant is digital" in note for note in found.attrs["notes"])


def test_demo(home):
    schedule = read_schedule(DEMO / "schedule_b24.csv", days="iso", season="B24")
    found = identify(home, schedule, "2024-11-27T17:00Z", 6195.0, language="eng")
    assert found["broadcaster"][0] == "Noverrin External"
    assert found["posterior"][0] > 0.9


@pytest.mark.parametrize(
    ("wrong", "text"),
    [
        ({"utc": "2024-11-27T18:30"}, "no time zone"),
        ({"utc": [WHEN, WHEN]}, "not one instant"),
        ({"freq_khz": 9.5}, "kHz, not MHz"),
        ({"freq_khz": "9500"}, "not a number"),
        ({"language": "English"}, "ISO 639-3"),
        ({"rung": "loud"}, "rung = 'loud'"),
        ({"drift_khz": 6.0}, "drift_khz"),
        ({"if_khz": 0.455}, "kHz, not MHz"),
        ({"other_weight": 0.0}, "never holds everything"),
        ({"other_weight": 1.5}, "other_weight"),
        ({"f107_sfu": 10.0}, "f107_sfu"),
    ],
)
def test_bad_input(home, tmp_path, wrong, text):
    given = {"utc": WHEN, "freq_khz": 9500.0, "f107_sfu": 150.0, **wrong}
    with pytest.raises(InputError, match=text):
        identify(home, schedule_of(tmp_path, GOOD), **given)

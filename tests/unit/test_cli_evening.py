"""`farhear evening` and `farhear identify`: what they print and write. All in it is invented."""

import datetime as dt
from html.parser import HTMLParser
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
from icalendar import Calendar

DATE = ("--date", "2024-11-27")
HOME = 'name = "Home"\nlat_deg = 58.4\nlon_deg = 26.7\ntime_zone = "Europe/Tallinn"\n'
HEAD = "freq_khz,start_utc,stop_utc,days,broadcaster,language,tx_lat_deg,tx_lon_deg,power_kw,target"
LIST = f"""{HEAD}
9500,1800,1900,daily,Radio Belmorant,eng,50.6,19.3,100,18
9505,1800,1900,daily,Dorwashi Radio,fra,44.2,0.9,100,27
6070,1900,2000,daily,"<b>&""Radio",eng,50.6,19.3,100,18
"""


@pytest.fixture
def own(tmp_path):
    (tmp_path / "station.toml").write_text(HOME)
    (tmp_path / "list.csv").write_text(LIST)
    return ("--schedule", "list.csv")


def test_every_row_has_both_clocks_and_what_it_rests_on(run):
    status, out, err = run("evening", "--demo", *DATE, "--rows", "3")
    assert (status, err) == (0, "")
    assert "invented" in out
    assert "Wednesday 2024-11-27 at Demo home, Europe/Tallinn" in out
    assert "Sunset at home 13:33 UTC, 15:33 local time." in out
    lines = out.splitlines()
    at = next(i for i, line in enumerate(lines) if line.split()[:3] == ["kHz", "band", "likely"])
    for line in lines[at + 2 : at + 5]:
        assert len(line.split("Wed ")) == 3  # UTC and local, each with its weekday
        assert " m  " in line
        assert " AM " in line or "SB " in line
    assert "more of 0.1 or more (--rows)" in out
    for basis in ("likelihood of the station's required S/N", "solar flux", "digital rows"):
        assert f"Basis: {basis}" in out or f"Basis: 2 {basis}" in out
    assert "\u2026" not in out  # no table is cut
    assert max(map(len, lines)) <= 132


def test_choices_leave_out_the_rest(run, own, tmp_path):
    (tmp_path / "log.csv").write_text(
        "start_utc,end_utc,freq_khz,outcome,identity\n"
        "2024-11-20T18:00Z,2024-11-20T18:10Z,9500,heard,radio  belmorant\n"
        "2024-11-20T18:10Z,2024-11-20T18:20Z,9505,not_heard,Dorwashi Radio\n"
    )
    names = ("Radio Belmorant", "Dorwashi Radio", '<b>&"Radio')
    for options, shown in (
        ((), names),
        (("--language", "fra"), names[1:2]),
        (("--target", "18"), names[::2]),
        (("--new", "log.csv"), names[1:]),
    ):
        status, out, _ = run("evening", *own, *DATE, *options, "--at-least", "0")
        assert status == 0
        table = out[out.index("The likeliest first") : out.index("Basis")]
        table = "\n".join(line for line in table.splitlines() if "Wed" in line)
        assert [name for name in names if name in table] == list(shown)


def test_why_explains_one_channel(run, own):
    status, out, _ = run("evening", *own, *DATE, "--why", "9500", "--why", "11800")
    assert status == 0
    assert "9500 kHz Radio Belmorant at 2024-11-27 18:" in out
    assert "  absorption: -" in out
    assert "  margin: " in out
    assert "11800 kHz: the lists have nothing there at any hour." in out
    out = run("evening", *own, *DATE, "--start", "20:30", "--why", "9500", "--language", "eng")[1]
    assert "9500 kHz Radio Belmorant at" in out
    out = run("evening", *own, *DATE, "--start", "21:30", "--why", "9500")[1]
    assert "9500 kHz: nothing there in these hours" in out
    assert "The lists have: Radio Belmorant 1800-1900 UTC." in out


def test_the_table_agrees_with_the_zone(run, tmp_path):
    status, out, _ = run("evening", "--demo", *DATE, "--csv", "e.csv")
    assert status == 0
    assert "It can place your home" in out
    frame = pd.read_csv(tmp_path / "e.csv")
    assert len(frame) > 100
    zone = ZoneInfo("Europe/Tallinn")
    for line in frame.to_dict("records"):
        utc = dt.datetime.fromisoformat(line["start_utc"])
        local = utc.astimezone(zone)
        assert f"{local:%Y-%m-%dT%H:%M}" == line["start_local"]
        assert (f"{utc:%a}", f"{local:%a}") == (
            line["start_utc_weekday"],
            line["start_local_weekday"],
        )


def test_the_calendar_holds_what_is_likely_and_not_the_home(run, tmp_path):
    assert run("evening", "--demo", *DATE, "--csv", "e.csv", "--calendar", "a.ics")[0] == 0
    assert run("evening", "--demo", *DATE, "--calendar", "b.ics")[0] == 0
    data = (tmp_path / "a.ics").read_bytes()
    assert data == (tmp_path / "b.ics").read_bytes()
    assert b"\r\n" in data  # RFC 5545, 3.1
    frame = pd.read_csv(tmp_path / "e.csv")
    likely = frame[frame["likelihood"] >= 0.5]
    events = list(Calendar.from_ical(data).walk("VEVENT"))
    assert len(events) == len(likely) == len({str(e["UID"]) for e in events})
    # sunset at home, less an hour, is 12:32: what is on the air before begins with its half hour
    begin = "2024-11-27T12:32Z"
    assert (likely["start_utc"] == begin).sum() > 5
    wanted = likely["start_utc"].replace(begin, "2024-11-27T12:30Z")
    for name, column in (("DTSTART", wanted), ("DTEND", likely["end_utc"])):
        assert sorted(f"{e[name].dt:%Y-%m-%dT%H:%MZ}" for e in events) == sorted(column)
    for minute in (b"12:32", b"T1232", b"12:46", b"13:32", b"13:33"):
        assert minute not in data
    assert all(e["DTSTART"].dt.utcoffset() == dt.timedelta(0) for e in events)
    assert all(" kHz " in str(e["SUMMARY"]) for e in events)
    for word in (b"58.4", b"26.7", b" km", b"GEO", b"LOCATION", b"sunset"):
        assert word not in data


class Page(HTMLParser):
    """Open tags, and whatever a page would fetch."""

    def __init__(self):
        super().__init__()
        self.open, self.fetched, self.text = [], [], ""

    def handle_starttag(self, tag, attrs):
        if tag not in ("meta", "br"):
            self.open.append(tag)
        self.fetched += [v for k, v in attrs if k in ("src", "href", "action", "data")]

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text += data


def test_the_page_stands_alone(run, own, tmp_path):
    assert run("evening", *own, *DATE, "--page", "e.html")[0] == 0
    text = (tmp_path / "e.html").read_text(encoding="utf-8")
    page = Page()
    page.feed(text)
    assert (page.open, page.fetched) == ([], [])
    assert "://" not in text
    assert "url(" not in text
    assert "<b>&" not in text
    assert '<b>&"Radio (eng)' in page.text  # as written, no markup
    for words in ("Wed 18:00 to Wed 19:00", "Wed 20:00 to Wed 21:00", "LSB: the sideband away"):
        assert words in page.text
    assert 'lang="en"' in text
    assert "@media print" in text


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("--date", "27.11.2024"), "no date written YYYY-MM-DD"),
        (("--date", "2024-11-27", "--start", "25:00"), "start = '25:00'"),
        (("--date", "2024-11-27", "--language", "xyz"), "languages names 'xyz'"),
        (("--date", "2024-11-27", "--at-least", "2"), "outside [0, 1]"),
        (("--date", "2024-11-27", "--f107", "20"), "f107_sfu = 20"),
        (("--date", "2024-07-27", "--season", "B24"), "outside season B24"),
        (("--date", "2024-11-27", "--demo"), "--demo brings its own"),
    ],
)
def test_mistakes_are_one_line(run, own, arguments, message):
    status, out, err = run("evening", *own, *arguments)
    assert (status, out) == (2, "")
    assert err.startswith("farhear: ")
    assert message in err
    assert err.count("\n") == 1


def test_two_lists_count_as_one(run, own, tmp_path):
    (tmp_path / "more.csv").write_text(
        f"{HEAD}\n7325,1800,1900,daily,Radio Umbasani,eng,9.6,37.7,250,18\n"
    )
    status, out, _ = run(
        "evening", *own, "--schedule", "more.csv", *DATE, "--at-least", "0", "--f107", "150"
    )
    assert status == 0
    assert "list.csv + more.csv: 4 rows read, 4 accepted" in out
    assert "Radio Umbasani" in out
    assert "Dorwashi Radio" in out


def test_a_log_with_refused_rows_says_so(run, own, tmp_path):
    (tmp_path / "log.csv").write_text(
        "start_utc,end_utc,freq_khz,outcome,identity\n"
        "2024-11-20T20:00,2024-11-20T20:10,9500,heard,Radio Belmorant\n"  # the home's own clock
        "2024-11-20T20:00,2024-11-20T19:10,9505,heard,Dorwashi Radio\n"
    )
    status, out, _ = run("evening", *own, *DATE, "--new", "log.csv", "--at-least", "0")
    assert status == 0
    assert "log.csv: 1 rows refused; they do not count as heard:" in out
    assert "line 3, end_utc: before start_utc" in out
    table = out[out.index("The likeliest first") : out.index("Basis")]
    assert "Dorwashi Radio" in table
    assert not any(
        "Radio Belmorant eng" in line for line in table.splitlines()
    )  # it may still be named as a neighbour


def test_missing_files_are_named(run, tmp_path):
    assert "--station is missing" in run("evening", "--schedule", "list.csv")[2]
    (tmp_path / "station.toml").write_text(HOME)
    assert "--schedule is missing" in run("evening")[2]
    assert "nowhere.csv" in run("evening", "--schedule", "nowhere.csv")[2]


def test_today_needs_nothing_but_the_demonstration(run):
    status, out, _ = run("evening", "--demo", "--start", "19:00", "--end", "21:00")
    assert status == 0
    assert "used as if it were valid in" in out  # the list is of 2024
    assert "give or take" in out  # the flux is told


def test_first_hour_with_a_list_as_others_wrote_it(run, tmp_path):
    # other headings, separator, encoding, days from Sunday, sites by name: said once, beside it
    (tmp_path / "station.toml").write_text(HOME)
    (tmp_path / "sites.csv").write_text("site,tx_lat_deg,tx_lon_deg\nHarvask,62.3,15.2\n")
    (tmp_path / "liste.txt").write_bytes(
        "kHz;von;bis;Tage;Sender;Ort;kW\n"
        "6070;1800;2000;4;Radio Fjällbris;HARVASK;100\n"
        "7325;1800;2000;5;Radio Fjällbris;Harvask;100\n".encode("cp1252")
    )
    (tmp_path / "liste.txt.layout.toml").write_text(
        'days = "sunday1"\ndelimiter = ";"\nencoding = "cp1252"\nsites = "sites.csv"\n[columns]\n'
        'freq_khz = "kHz"\nstart_utc = "von"\nstop_utc = "bis"\ndays = "Tage"\n'
        'broadcaster = "Sender"\nsite = "Ort"\npower_kw = "kW"\n'
    )
    status, out, err = run("evening", "--schedule", "liste.txt", *DATE, "--at-least", "0")
    assert (status, err) == (0, "")
    assert "liste.txt: 2 rows read, 2 accepted, 0 refused" in out
    rows = [line for line in out.splitlines() if "Fj\u00e4llbris" in line and "Wed" in line]
    assert [row.split()[0] for row in rows] == ["6070"]  # 4 from Sunday is Wednesday


# Identify ---------------------------------------------------------------------------------------


def test_identify_ranks_and_names_what_to_compare(run):
    status, out, _ = run(
        *("identify", "6195", "--demo", "--utc", "2024-11-27T17:00Z", "--language", "eng"),
        *("--if-khz", "455"),
    )
    assert status == 0
    first = next(line for line in out.splitlines() if line.startswith(" 0."))
    assert "Noverrin External eng" in first
    assert "on the channel" in first
    assert "something that no list holds" in out
    assert "Basis: likelihood of 'language recognisable'" in out
    same = run("identify", "6195", "--demo", "--local", "2024-11-27T19:00", "--language", "eng")[1]
    assert next(line for line in same.splitlines() if line.startswith(" 0.")) == first


def test_identify_names_parallels_and_harmonics(run, own, tmp_path):
    (tmp_path / "list.csv").write_text(
        f"{HEAD}\n5900,0000,2400,daily,Radio Belmorant,eng,57.6,27.3,500,18\n"
        "9500,0000,2400,daily,Radio Belmorant,eng,50.6,19.3,100,18\n"
    )
    at = ("--utc", "2024-11-27T15:00Z", "--f107", "150")
    out = run("identify", "9500", *own, *at)[1]
    assert "Compare Radio Belmorant on 5900 (" in out
    assert "2 x 5900 kHz" in run("identify", "11800", *own, *at)[1]
    image = run("identify", "8590", *own, *at, "--if-khz", "455")[1]
    assert "image of 9500 kHz, 910 kHz up" in image


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("6195", "--utc", "2024-11-27T17:00"), "no time zone"),
        (("6195", "--utc", "2024-11-27T17:00Z", "--local", "2024-11-27T19:00"), "not both"),
        (("6195", "--utc", "noon"), "not ISO 8601"),
        (("6.195",), "kHz, not MHz"),
        (("6195", "--language", "English"), "ISO 639-3"),
    ],
)
def test_identify_refuses_in_one_line(run, arguments, message):
    status, out, err = run("identify", *arguments, "--demo")
    assert (status, out) == (2, "")
    assert message in err

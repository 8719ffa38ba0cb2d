"""Reception reports: what must be in them, what is refused, what is doubted, what stays private.

All names, places and checks are invented. Which items a report has, 20 minutes and three details:
common practice, no source. Times are checked against zoneinfo, distances against geographiclib,
the PDF with pypdf.
"""

import dataclasses
import datetime as dt
import os
import subprocess
import sys
import zoneinfo

import pypdf
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st

from farhear.errors import InputError
from farhear.log import append_check, read_log
from farhear.report import RATINGS, Report, reception_report
from farhear.station import Setup, Station

HOME = Station(
    name="Barn by the brook",
    lat_deg=58.4123,
    lon_deg=26.7456,
    time_zone="Europe/Tallinn",
    antenna="indoor whip",
    setups=(
        Setup(
            from_date=dt.date(2026, 9, 1),
            to_date=dt.date(2026, 11, 25),
            receiver="old portable",
            antenna="10 m wire",
        ),
        Setup(from_date=dt.date(2026, 11, 26), receiver="new receiver", antenna="loop"),
    ),
)
CHECK = {
    "start_utc": "2026-11-25T17:00Z",
    "end_utc": "2026-11-25T17:30Z",
    "freq_khz": 6070.0,
    "outcome": "heard",
    "identity": "Radio Belmorant",
    "id_basis": "announced",
    "id_confidence": "sure",
    "sinpo": "34333",
    "language": "est",
    "demod": "USB",
    "notes": "the neighbour's lamp was on",
    "programme_notes": "17:02 news read by a woman; 17:09 rye harvest in Ursava; 1721 a choir",
}


def made(station=HOME, **changes):
    who = {k: changes.pop(k) for k in ("listener", "reply_to", "place", "remarks") if k in changes}
    return reception_report({**CHECK, **changes}, station, **{"listener": "A. Nonym", **who})


def flat(text):
    return " ".join(text.split())


# What is in it ----------------------------------------------------------------------------------


def test_all_items_are_there_and_nothing_is_doubted():
    report = made(reply_to="P.O. Box 0\n00000 Nowhere", remarks="Slow fading.")
    assert report.warnings == ()
    text = flat(report.text())
    for item in (
        "Radio Belmorant",
        "announced on the air",
        "Wednesday, 25 NOV 2026, 17:00 to 17:30 UTC",
        "Wednesday, 25 NOV 2026, 19:00 to 19:30 (UTC+02:00)",
        "6070 kHz",
        "Estonian (est)",
        "17:02 news read by a woman 17:09 rye harvest in Ursava 1721 a choir",
        "The minutes are in UTC.",
        "SINPO 34333",
        "S 3 signal strength: fair",
        "I 4 interference: slight",
        "N 3 noise: moderate",
        "P 3 propagation disturbance: moderate",
        "O 3 overall rating: fair",
        "Mode USB",
        "Receiver old portable",
        "Antenna 10 m wire",
        "Place Maidenhead locator KO38",
        "Remarks Slow fading.",
        "Listener A. Nonym",
        "Reply to P.O. Box 0 00000 Nowhere",
    ):
        assert item in text, item
    assert "TENTATIVE" not in text
    assert "differs" not in text


def test_the_date_line_scenario_new_york():
    # Wed 25 Nov 2026, 8:30 pm in New York; by zoneinfo 01:30Z of the next day.
    wall = dt.datetime(2026, 11, 25, 20, 30, tzinfo=zoneinfo.ZoneInfo("America/New_York"))
    assert wall.astimezone(dt.UTC).isoformat() == "2026-11-26T01:30:00+00:00"
    station = Station(name="N", lat_deg=41.0, lon_deg=-74.0, time_zone="America/New_York")
    report = made(
        station,
        start_utc=wall,
        end_utc=wall + dt.timedelta(minutes=25),
        programme_notes="01:31 a; 01:40 b; 01:50 c",
    )
    text = report.text()
    assert "Thursday, 26 NOV 2026, 01:30 to 01:55 UTC" in text
    assert "Wednesday, 25 NOV 2026, 20:30 to 20:55 (UTC-05:00)" in text
    assert "The local date differs from the UTC date." in text


@settings(max_examples=60)
@given(
    start=st.datetimes(
        dt.datetime(1970, 1, 1),  # noqa: DTZ001 (the zone comes from timezones)
        dt.datetime(2037, 12, 30),  # noqa: DTZ001
        timezones=st.just(dt.UTC),
    ),
    minutes=st.integers(1, 1440),
    zone=st.sampled_from(
        ["Europe/Tallinn", "America/St_Johns", "Asia/Kathmandu", "Pacific/Apia", "Australia/Sydney"]
    ),
)
def test_local_time_is_that_of_zoneinfo(start, minutes, zone):
    start = start.replace(microsecond=0)
    end = start + dt.timedelta(minutes=minutes)
    station = Station(name="N", lat_deg=0.0, lon_deg=0.0, time_zone=zone)
    report = made(station, start_utc=start, end_utc=end)
    for ours, instant in ((report.local_start, start), (report.local_end, end)):
        theirs = instant.astimezone(zoneinfo.ZoneInfo(zone))
        assert ours.replace(tzinfo=None) == theirs.replace(tzinfo=None)
        assert ours.utcoffset() == theirs.utcoffset()
    assert (report.start_utc, report.end_utc) == (start, end)
    weekdays = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
    day = report.local_start
    assert f"{weekdays[day.isoweekday() - 1]}, {day.day} " in report.text()
    differs = report.local_start.date() != start.date() or report.local_end.date() != end.date()
    assert ("The local date differs" in report.text()) is differs


def test_a_check_over_midnight_and_one_over_a_change_of_clocks():
    over = made(start_utc="2026-12-31T23:50Z", end_utc="2027-01-01T00:20Z")
    assert "Thursday, 31 DEC 2026, 23:50 to Friday, 1 JAN 2027, 00:20 UTC" in flat(over.text())
    # Clocks go back in Tallinn on 25 Oct 2026 at 01:00Z (zoneinfo agrees, test above).
    back = made(start_utc="2026-10-25T00:45Z", end_utc="2026-10-25T01:15:30Z")
    assert (
        "Sunday, 25 OCT 2026, 03:45:00 to 03:15:30 (UTC+02:00); the clock changed from UTC+03:00"
        in flat(back.text())
    )


def test_the_setup_is_that_of_the_local_date():
    # 22:10Z is 00:10 of the 26th in Tallinn: the second setup, though UTC still has the 25th.
    late = made(start_utc="2026-11-25T22:10Z", end_utc="2026-11-25T22:40Z")
    assert (late.receiver, late.antenna) == ("new receiver", "loop")
    before = made(start_utc="2026-08-01T17:00Z", end_utc="2026-08-01T17:30Z")
    assert (before.receiver, before.antenna) == ("", "indoor whip")
    assert "Receiver      not stated" in before.text()
    assert before.warnings == (
        "receiver is not stated: no setup of the station names one on 2026-08-01",
    )
    bare = Station(name="N", lat_deg=58.4, lon_deg=26.7, time_zone="Europe/Tallinn")
    assert [w.split(" is ")[0] for w in made(bare).warnings] == ["receiver", "antenna"]


def test_a_row_of_a_log_gives_the_same_report(tmp_path):
    path = tmp_path / "log.csv"
    append_check(path, CHECK)
    assert reception_report(read_log(path).frame.iloc[0], HOME, listener="A. Nonym") == made()


def test_ratings_in_words():
    # SM.1135 from memory: 5 is best; S 1 is barely audible, O 1 unusable, the others 1 extreme and
    # 5 nil.
    ends = {letter: (words[0], words[-1]) for letter, (_, words) in RATINGS.items()}
    assert ends == {
        "S": ("barely audible", "excellent"),
        "I": ("extreme", "nil"),
        "N": ("extreme", "nil"),
        "P": ("extreme", "nil"),
        "O": ("unusable", "excellent"),
    }
    assert all(len(words) == 5 for _, words in RATINGS.values())
    sio = flat(made(sinpo="", sio="322j").text())
    assert "SIO 322 (of 1 to 5, 5 is best), jammed S 3 signal strength: fair I 2" in sio
    assert "O 2 overall rating: poor" in sio
    words = made(sinpo="", s_meter="half scale", local_noise="a soft hum")
    assert "Signal meter: half scale" in words.text()
    assert "Noise here on an empty channel: a soft hum" in words.text()
    assert words.warnings == ("sinpo and sio are empty; say in remarks how well it was heard",)
    assert "Reception     not rated" in made(sinpo="").text()
    assert "6070 kHz (measured: 6070.02 kHz)" in made(freq_measured_khz=6070.02).text()


# What is refused --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"outcome": "not_heard"}, "outcome = 'not_heard'; a report is made of a check with"),
        ({"outcome": "blocked"}, "outcome = 'blocked'"),
        ({"outcome": "carrier_only"}, "outcome = 'carrier_only'"),
        ({"identity": " "}, "identity is empty; write whom you heard"),
        ({"programme_notes": ""}, "does not invent programme details: please write down what you"),
        ({"end_utc": "2026-11-25T17:00Z"}, "equals start_utc; please write when"),
        ({"end_utc": "2026-11-25T16:00Z"}, "before start_utc"),
        ({"start_utc": "2026-11-25T17:00"}, "no time zone"),
        ({"sinpo": "46433"}, "not five digits 1 to 5"),
        ({"programm_notes": "x"}, "did you mean 'programme_notes'"),
        ({"listener": " "}, "listener is empty"),
        ({"listener": "A\nB"}, "listener = 'A\\nB' has a line break"),
        ({"listener": None}, "listener = None is not text"),
        ({"remarks": "a\x07"}, "remarks = 'a\\x07' has a control character"),
        ({"remarks": "a" * 5001}, "remarks is longer than 5000"),
        ({"place": ""}, "place is empty"),
    ],
)
def test_what_is_no_report_is_refused_with_what_to_do(changes, said):
    with pytest.raises(InputError) as fault:
        made(**changes)
    assert said in str(fault.value)


def test_a_check_without_a_needed_column_is_refused():
    with pytest.raises(InputError, match="'outcome' is missing"):
        reception_report({k: v for k, v in CHECK.items() if k != "outcome"}, HOME, listener="A")


# Doubts -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("confidence", "basis", "tentative"),
    [
        ("tentative", "announced", True),
        ("unknown", "", True),
        ("", "guess", True),
        ("", "announced", False),
        ("probable", "guess", False),
        ("sure", "announced", False),
    ],
)
def test_tentative_is_carried_over(confidence, basis, tentative, tmp_path):
    report = made(id_confidence=confidence, id_basis=basis)
    assert report.tentative is tentative
    report.write_pdf(tmp_path / "r.pdf")
    printed = pypdf.PdfReader(tmp_path / "r.pdf").pages[0].extract_text()
    for text in (report.text(), printed):
        assert flat(text).startswith("TENTATIVE" if tentative else "RECEPTION REPORT")
        sentence = (
            "The station was not identified for certain; please treat this as a question."
            in flat(text)
        )
        assert sentence is tentative
        assert ("probable, not certain" in flat(text)) is (confidence == "probable")
    asked = any("id_confidence is empty" in warning for warning in report.warnings)
    assert asked is (not confidence and not tentative)


@pytest.mark.parametrize(
    ("notes", "counted", "outside"),
    [
        ("17:02 a; 17:10 b; 17:20 c", 3, []),
        ("17:00 a; 17:30 b; 1715 c", 3, []),  # both ends belong to the check
        ("17:05-17:10 a, 1712 to 1714 b, 17:20\u201317:25 c", 3, []),
        ("17:02 a; 17:02 b; 17:10 c", 2, []),  # one minute twice
        ("18:42 a; 17:10 b; 17:20 c", 2, ["18:42"]),
        ("17:25-18:01 a", 0, ["18:01"]),
        ("on 6070 kHz, 1720 kHz and 1500 m, 1200 kW; 17:02 a", 1, []),
        ("on 2026-11-25 at 17:02:30 a", 1, []),
        ("17:02Z a, 1705UTC b, (17:08) c", 3, []),
        ("117:05 and 17:055 and 17.05 and 1:17:05", 0, []),
        ("the harvest of 1945", 0, ["1945"]),
        ("1630 a", 0, ["1630"]),
        ("no minutes", 0, []),
    ],
)
def test_minutes_in_the_programme_details(notes, counted, outside):
    report = made(programme_notes=notes)
    few = [w for w in report.warnings if "details with minutes" in w]
    assert [w.split()[1] for w in few] == ([str(counted)] if counted < 3 else [])
    named = [w.split()[1] for w in report.warnings if "is outside 17:00-17:30 UTC" in w]
    assert named == outside
    assert ("The minutes are in UTC." in report.text()) is (counted > 0 and not outside)


def test_minutes_after_midnight_are_within_a_check_over_midnight():
    report = made(
        start_utc="2026-11-25T23:40:20Z",
        end_utc="2026-11-26T00:10Z",
        programme_notes="23:40 a; 23:59 b; 00:05 c; 12:00 d",
    )
    assert [w.split(":", 1)[1] for w in report.warnings] == [
        " 12:00 is outside 23:40-00:10 UTC: local time?"
    ]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"end_utc": "2026-11-25T17:19Z"}, "the check lasted 19 min"),
        ({"sinpo": "55555"}, "sinpo = 55555: all 5"),
        ({"sinpo": "34234"}, "sinpo = 34234: O is above the worst of the others"),
        ({"sinpo": "", "sio": "334j"}, "sio = 334j: O is above the worst of the others"),
        ({"place": "KO38ij"}, "place = 'KO38ij' tells where you live"),
        ({"place": "58.41 N 26.75 E"}, "tells where you live"),
        ({"place": "58,41 N"}, "tells where you live"),
    ],
)
def test_what_a_broadcaster_may_doubt_is_warned_of(changes, said):
    assert said in " | ".join(made(**changes).warnings)


def test_what_is_not_doubtful_is_not_warned_of():
    for changes in (
        {"end_utc": "2026-11-25T17:20Z", "programme_notes": "17:02 a; 17:09 b; 17:20 c"},
        {"sinpo": "34333"},
        {"sinpo": "", "sio": "333"},
        {"place": "KO38"},
        {"place": "58.4 N 26.7 E"},
        {"place": "a town in the south of the country"},
    ):
        assert made(**changes).warnings == (), changes


# Privacy ----------------------------------------------------------------------------------------


def test_the_home_is_no_more_than_a_cell(tmp_path):
    report = made()
    # KO38: 58 to 59 N, 26 to 28 E. The cell's size by geographiclib.
    high_km = Geodesic.WGS84.Inverse(58, 27, 59, 27)["s12"] / 1e3
    wide_km = Geodesic.WGS84.Inverse(58.5, 26, 58.5, 28)["s12"] / 1e3
    assert report.place == (
        f"Maidenhead locator KO38, a cell of {high_km:.0f} km (north to south) by {wide_km:.0f} km"
    )
    report.write_pdf(tmp_path / "r.pdf")
    pdf = pypdf.PdfReader(tmp_path / "r.pdf")
    metadata = str(pdf.metadata)
    printed = "".join(page.extract_text() for page in pdf.pages)
    fields = str(dataclasses.asdict(report))
    for text in (report.text(), printed, metadata, fields):
        for private in ("58.4", "26.7", "KO38i", "Barn", "Tallinn", "neighbour"):
            assert private not in text, private
    assert "Nonym" not in metadata
    assert "KO38" not in made(place="a town in the south").text()


# Form -------------------------------------------------------------------------------------------

WORDS = st.text(
    st.characters(exclude_categories=["Cs", "Cc"], include_characters="\n"), max_size=300
)


@settings(max_examples=60)
@given(listener=WORDS, reply_to=WORDS, remarks=WORDS)
def test_lines_are_short_and_no_word_is_lost(listener, reply_to, remarks):
    listener = " ".join(listener.split()) or "A"
    text = made(listener=listener, reply_to=reply_to, remarks=remarks).text()
    assert max(map(len, text.split("\n"))) <= 78
    bare = "".join(text.split())
    for words in (listener, reply_to, remarks):
        assert "".join(words.split()) in bare


def test_the_pdf_says_what_the_text_says(tmp_path):
    report = made(
        listener="Ülle Näide",
        remarks="Слышно хорошо, {nb}, **stars**\n\nthird line",
        reply_to="Ψ 1\nΩ 2",
        identity="Radio Belmorant «Õhtu»",
    )
    path = tmp_path / "report.pdf"
    report.write_pdf(path)
    pdf = pypdf.PdfReader(path)
    assert len(pdf.pages) == 1
    assert [round(float(x)) for x in pdf.pages[0].mediabox[2:]] == [595, 842]  # A4 in points
    printed = flat(pdf.pages[0].extract_text())
    for _, paragraphs in report.items():
        for paragraph in paragraphs:
            assert flat(paragraph) in printed, paragraph
    assert flat(report.request) in printed
    assert [p.name for p in tmp_path.iterdir()] == ["report.pdf"]


def test_a_long_report_runs_over_pages_and_loses_nothing(tmp_path):
    details = "; ".join(f"17:{m % 31:02d} item {m} of a long list of words" for m in range(110))
    report = made(programme_notes=details, remarks="w" * 3000)
    report.write_pdf(tmp_path / "r.pdf")
    pages = pypdf.PdfReader(tmp_path / "r.pdf").pages
    printed = "".join("".join(page.extract_text().split()) for page in pages)
    assert len(pages) > 2
    for at in range(110):
        assert f"item{at}ofalonglistofwords" in printed
    assert printed.count("w") == report.text().count("w") > 3000
    assert printed.count("Programme") == printed.count("Remarks") == 1


def test_the_pdf_is_the_same_each_time_and_elsewhere(tmp_path):
    made().write_pdf(tmp_path / "a.pdf")
    made().write_pdf(tmp_path / "b.pdf")
    first = (tmp_path / "a.pdf").read_bytes()
    assert first == (tmp_path / "b.pdf").read_bytes()
    made(remarks="x").write_pdf(tmp_path / "b.pdf")
    assert first != (tmp_path / "b.pdf").read_bytes()
    # Another process, zone and hash seed.
    program = (
        "import sys, runpy; made = runpy.run_path(sys.argv[1])['made']; "
        "made().write_pdf(sys.argv[2])"
    )
    subprocess.run(
        [sys.executable, "-c", program, __file__, str(tmp_path / "c.pdf")],
        env={**os.environ, "TZ": "Asia/Tokyo", "PYTHONHASHSEED": "7"},
        check=True,
    )
    assert first == (tmp_path / "c.pdf").read_bytes()
    assert pypdf.PdfReader(tmp_path / "a.pdf").metadata.creation_date == made().end_utc


def test_a_pdf_that_cannot_be_is_refused_and_leaves_nothing(tmp_path, monkeypatch):
    report = made(remarks="\u6f22\u5b57")  # DejaVu Sans has no Han characters
    with pytest.raises(InputError, match=r"U\+5B57.*U\+6F22.*lacks"):
        report.write_pdf(tmp_path / "r.pdf")
    with pytest.raises(InputError, match=r"does not end in \.pdf"):
        report.write_pdf(tmp_path / "r.txt")
    with pytest.raises(OSError, match="absent"):
        made().write_pdf(tmp_path / "absent" / "r.pdf")
    monkeypatch.setitem(sys.modules, "fpdf", None)
    with pytest.raises(InputError, match="package fpdf2 is needed"):
        made().write_pdf(tmp_path / "r.pdf")
    assert list(tmp_path.iterdir()) == []


def test_a_report_cannot_be_changed():
    with pytest.raises(dataclasses.FrozenInstanceError):
        made().tentative = True
    assert isinstance(made(), Report)

"""The page of a study: whole, the same each time, and safe whatever texts it is given.

Read back with html.parser, csv, json, zlib, pandas and xml.etree. Colours are judged by the
formulas of WCAG 2.2 (W3C Recommendation, definitions of relative luminance and contrast ratio).
All content is invented.
"""

import base64
import csv
import dataclasses
import hashlib
import html.parser
import io
import json
import os
import re
import subprocess
import sys
import time
import xml.etree.ElementTree as ET
import zlib
from importlib.resources import files
from pathlib import Path

import matplotlib as mpl
import matplotlib.colors
import numpy as np
import pandas as pd
import pytest
import scipy.optimize
from hypothesis import given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))
from _page_demo import BANDS, demo

import farhear as fh
from farhear import _page_svg as svg
from farhear.errors import InputError
from farhear.page import SHOWN_ROWS, PageContent, page, table_csv
from farhear.times import unix_s

HOSTILE = (
    "</script><script>alert('x')</script><img src=x onerror=alert(1)>&amp;\"' {{ 7*7 }} \u202e"
)
OPENINGS = ["evening", "band", "low_min", "high_min", "checks", "heard_count", "state"]
HOURS = ["band", "from_min", "checks", "heard", "ratio", "low", "high"]


def verdict(**changes):
    given = {
        "hunch": "H1",
        "question": "The 31 m band opens before the 49 m band",
        "written_utc": "2024-09-01T18:00:00Z",
        "asked_before": True,
        "word": "SUPPORTED",
        "heading": "SUPPORTED",
        "sentence": "On 9 of 10 evenings that could decide, 31 m was open first.",
        "effect": 20.0,
        "low": 10.0,
        "high": 30.0,
        "unit": "min by which 31 m leads",
        "p_value": 0.02,
        "p_method": "sign test",
        "decided": 10,
        "evenings": 12,
        "counted": "evenings",
        "notes": ["Two evenings were blocked."],
        "assumptions": [["the order was alternated", True], ["one setup", None], ["awake", False]],
    }
    return given | changes


def opened(*rows):
    return pd.DataFrame(list(rows), columns=OPENINGS)


def small(**changes):
    evening = pd.Timestamp("2024-09-15")
    given = {
        "title": "A small study",
        "subtitle": "B24, locator cell KO38",
        "verdicts": [verdict()],
        "openings": opened(
            (evening, "49 m", 30.0, 60.0, 4, 2, "between"),
            (evening, "31 m", -np.inf, 10.0, 3, 3, "already open"),
        ),
        "hours": pd.DataFrame(
            [("49 m", 0.0, 4, 1, 0.25, 0.05, 0.7), ("49 m", 30.0, 0, 0, np.nan, np.nan, np.nan)],
            columns=HOURS,
        ),
        "tables": {"checks": pd.DataFrame({"freq_khz": [9650.0], "note": ["fading"]})},
        "credits": ["Listening: invented."],
        "digests": {"log.csv": "0" * 64},
        "cautions": ["Think first."],
        "about": ["All of this is invented."],
    }
    return PageContent(**(given | changes))


class Reader(html.parser.HTMLParser):
    """Elements of a page with their attributes, and its text outside scripts and styles."""

    def __init__(self, data):
        super().__init__()
        self.elements, self.scripts, self.headings, self.text = [], [], [], ""
        self._open = ""
        self.feed(data.decode("utf-8"))
        self.close()

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag in ("script", "style"):
            self._open = tag
            self.scripts.append((dict(attrs).get("type", "js" if tag == "script" else "css"), ""))
        if re.fullmatch(r"h[1-6]", tag):
            self.headings.append(int(tag[1]))

    def handle_endtag(self, tag):
        if tag in ("script", "style"):
            self._open = ""

    def handle_data(self, data):
        if self._open:
            kind, text = self.scripts[-1]
            self.scripts[-1] = (kind, text + data)
        else:
            self.text += data

    def all(self, tag):
        return [attrs for name, attrs in self.elements if name == tag]

    def code(self, kind):
        return [text for found, text in self.scripts if found == kind]


@pytest.fixture(scope="module")
def demo_page():
    return page(demo())


@pytest.fixture(scope="module")
def demo_read(demo_page):
    return Reader(demo_page)


# The whole --------------------------------------------------------------------------------------


def test_same_content_same_bytes(demo_page):
    assert page(demo()) == demo_page


def test_same_bytes_in_another_process():
    # another order of hashes must not show: PYTHONHASHSEED, see the documentation of Python
    code = (
        f"import sys; sys.path[:0] = [{str(Path(__file__).parent)!r}]\n"
        "import hashlib, test_page\n"
        "print(hashlib.sha256(test_page.page(test_page.small())).hexdigest())"
    )
    made = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "PYTHONHASHSEED": "12345"},
        capture_output=True,
        check=True,
        text=True,
    )
    assert made.stdout.strip() == hashlib.sha256(page(small())).hexdigest()


def test_size_and_time(demo_page):
    assert len(demo().tables["checks"]) >= 2000
    assert len(demo_page) < 6_000_000
    start = time.perf_counter()
    page(demo())
    assert time.perf_counter() - start < 3.0


def test_what_must_be_there_is_there(demo_read):
    content = demo()
    text = " ".join(demo_read.text.split())
    for one in content.verdicts:
        for words in (one["heading"], one["question"], one["sentence"], *one["notes"]):
            assert " ".join(words.split()) in text
        for assumption, holds in one["assumptions"]:
            mark = {True: "holds", False: "BROKEN", None: "not known"}[holds]
            assert f"{mark}: {assumption}" in text
    for words in (*content.about, *content.cautions, *content.credits, *content.digests):
        assert words in text
    assert "this is an idea, not a finding" in text
    assert "The question was written down before the data were looked at." in text
    assert text.index("SUPPORTED") < text.index("When each band opened") < text.index("Download")


# Nothing from outside ---------------------------------------------------------------------------


def test_instants_beside_minutes_from_sunset_are_cautioned_of():
    words = "tell the place from which they were reckoned"
    aware = pd.DataFrame({"when": pd.to_datetime(["2024-09-15T16:00Z"])})
    written = pd.DataFrame({"start_utc": ["2024-09-15T16:00Z"]})
    dated = pd.DataFrame({"evening": pd.to_datetime(["2024-09-15"])})
    for table, is_said in ((aware, True), (written, True), (dated, False)):
        read = Reader(page(small(tables={"checks": table}, cautions=[])))
        assert (words in read.text) == is_said
        assert ("Before you hand this page on" in read.text) == is_said


def test_a_stranger_finds_the_home_as_the_caution_says():
    """From the tables alone: end of a check less its minutes after sunset is the sunset.

    The place is fitted with scipy. To whole minutes, within a kilometre; to the second, some 20 m.
    """
    content = demo()
    heard = content.tables["checks"].query("outcome == 'heard'")
    first = heard.assign(evening=heard["start_utc"].dt.strftime("%Y-%m-%d"))
    first = first.groupby(["evening", "band"])["end_utc"].min().reset_index()
    told = content.openings[np.isfinite(content.openings["high_min"])]
    told = told.assign(evening=told["evening"].dt.strftime("%Y-%m-%d"))
    told = told.merge(first, on=["evening", "band"]).drop_duplicates("evening")
    sunset_s = unix_s(told["end_utc"]) - 60.0 * told["high_min"].to_numpy()
    days = told["evening"].to_numpy().astype("datetime64[D]")
    home = fh.simulate.HOME

    def missed_km(step_s):
        def miss_s(place):
            there = dataclasses.replace(home, lat_deg=place[0], lon_deg=place[1])
            known_s = np.round(sunset_s / step_s) * step_s
            return fh.evenings.nights(days, there).sunset_utc.unix_s - known_s

        lat, lon = scipy.optimize.least_squares(miss_s, [58.5, 27.0], diff_step=1e-5).x
        return float(fh.path.inverse(home.lat_deg, home.lon_deg, lat, lon).distance_km)

    assert missed_km(1.0) < 0.05
    assert missed_km(60.0) < 1.0


def test_nothing_is_fetched(demo_page, demo_read):
    assert not re.search(rb"https?:|//[a-z]+\.[a-z]", demo_page)
    for tag, attrs in demo_read.elements:
        assert "src" not in attrs
        assert tag not in ("iframe", "object", "embed", "img", "base", "form", "audio", "video")
        for name in ("href", "xlink:href", "action", "srcset", "data"):
            assert re.match(r"#|data:,$", attrs.get(name, "#")), (tag, attrs)
    (style,) = demo_read.code("css")
    assert "url(" not in style
    assert "@import" not in style


def test_addresses_are_text_and_no_links():
    read = Reader(page(small(credits=["See https://example.org/data for more."])))
    assert "https://example.org/data" in read.text
    assert all(attrs["href"].startswith("#") for attrs in read.all("a"))


def test_policy_lets_only_the_two_scripts_run(demo_read):
    # Content Security Policy Level 3 (W3C): a hash is the base64 of the SHA-256 of the text between
    # the tags; base-uri and form-action do not fall back to default-src.
    (policy,) = [m["content"] for m in demo_read.all("meta") if "http-equiv" in m]
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    assert rules["default-src"] == rules["base-uri"] == rules["form-action"] == "'none'"
    assert set(rules) == {
        *("default-src", "base-uri", "form-action", "script-src", "style-src", "img-src"),
    }
    (code,) = demo_read.code("js")
    (packed,) = demo_read.code("text/plain")
    library = zlib.decompress(base64.b64decode(packed))
    hashes = [
        base64.b64encode(hashlib.sha256(s).digest()).decode() for s in (code.encode(), library)
    ]
    assert set(rules["script-src"].split()) == {f"'sha256-{one}'" for one in hashes}


def test_library_is_the_published_one(demo_read):
    from plotly.offline import get_plotlyjs

    library = zlib.decompress(base64.b64decode(demo_read.code("text/plain")[0]))
    assert library == get_plotlyjs().encode()
    assert hashlib.sha256(library).hexdigest() in demo_read.text
    assert "MIT licence" in demo_read.text


# Hostile texts ----------------------------------------------------------------------------------


def hostile_content():
    evening = pd.Timestamp("2024-09-15")
    h = HOSTILE
    return PageContent(
        title=h,
        subtitle=h,
        verdicts=[
            verdict(
                hunch=h,
                question=h,
                written_utc=h,
                heading=h,
                sentence=h,
                unit=h,
                p_method=h,
                counted=h,
                notes=[h],
                assumptions=[[h, True], [h, None], [h, False]],
            )
        ],
        openings=opened((evening, h, 1.0, 2.0, 3, 1, h)),
        hours=pd.DataFrame([(h, 0.0, 1, 1, 1.0, 0.2, 1.0)], columns=HOURS),
        tables={h: pd.DataFrame({h: [h]})},
        credits=[h],
        digests={h: h},
        cautions=[h],
        about=[h],
    )


def test_hostile_texts_stay_texts():
    made = page(hostile_content())
    read = Reader(made)
    kinds = sorted(kind for kind, _ in read.scripts)
    assert kinds == sorted(["js", "css", "text/plain", *["application/json"] * 4])
    assert not read.all("img")
    assert not [name for _, attrs in read.elements for name in attrs if name.startswith("on")]
    assert b"{{ 7*7 }}" in made
    assert read.text.count(HOSTILE) >= 20
    for text in read.code("application/json"):
        assert not set("<>&") & set(text)
        json.loads(text)


def test_every_field_shows_the_hostile_text():
    """Each field alone, so that none is lost behind another."""
    for field in ("title", "subtitle", "credits", "cautions", "about"):
        mark = f"<b>{field}</b>"
        value = mark if field in ("title", "subtitle") else [mark]
        read = Reader(page(small(**{field: value})))
        assert mark in read.text
    for field in ("question", "sentence", "heading", "unit", "p_method", "hunch", "counted"):
        read = Reader(page(small(verdicts=[verdict(**{field: f"<b>{field}</b>"})])))
        assert f"<b>{field}</b>" in read.text


@settings(max_examples=20, deadline=None)
@given(st.text(max_size=40))
def test_any_text_at_all(text):
    frame = pd.DataFrame({"note": [text]})
    read = Reader(page(small(title=text, tables={text: frame})))
    assert len(read.code("js")) == 1
    assert json.loads(read.code("application/json")[2])["text"] == table_csv(frame)


def test_a_lone_surrogate_does_not_stop_the_page():
    assert b"a?b" in page(small(title="a\ud800b"))


# Tables -----------------------------------------------------------------------------------------


def test_csv_gives_the_numbers_back():
    """Read with pandas."""
    frame = demo().openings
    again = pd.read_csv(io.StringIO(table_csv(frame)), float_precision="round_trip")
    assert list(again.columns) == list(frame.columns)
    for name in ("low_min", "high_min", "checks", "heard_count"):
        np.testing.assert_array_equal(again[name], frame[name])
    assert list(again["evening"]) == [str(day)[:10] for day in frame["evening"]]
    assert list(again["band"]) == list(frame["band"])


@pytest.mark.parametrize("mark", list("=+-@\t\r\n"))
def test_csv_defuses_formulas(mark):
    # OWASP, "CSV Injection": cells that begin with = + - @, tab, carriage return or line feed
    frame = pd.DataFrame({f"{mark}head": [f"{mark}1+1"], "n": [-1.5], "plain": ["a=b"]})
    rows = list(csv.reader(io.StringIO(table_csv(frame), newline="")))
    assert rows == [[f"'{mark}head", "n", "plain"], [f"'{mark}1+1", "-1.5", "a=b"]]


def test_csv_cells_of_every_kind():
    frame = pd.DataFrame(
        {
            "instant": pd.to_datetime(["2024-09-15T18:00:01.6+02:00", None], utc=True),
            "date": pd.to_datetime(["2024-09-15", None]),
            "moment": pd.to_datetime(["2024-09-15T12:30", None]),
            "truth": [True, False],
            "maybe": [None, True],
            "number": [-np.inf, np.nan],
            "count": pd.array([3, None], dtype="Int64"),
            "mixed": [-2, "-2"],
        }
    )
    rows = list(csv.reader(io.StringIO(table_csv(frame))))[1:]
    assert rows[0] == [
        *("2024-09-15T16:00:02Z", "2024-09-15", "2024-09-15T12:30:00", "yes", "", "-inf", "3", "-2")
    ]
    assert rows[1] == ["", "", "", "no", "yes", "", "", "'-2"]


@settings(max_examples=50, deadline=None)
@given(st.lists(st.text(max_size=20) | st.sampled_from(["\r", "a\rb", "", '"', ",,"]), min_size=1))
def test_csv_survives_any_text(texts):
    """Read with the csv module; the apostrophe is all that is added."""
    rows = list(csv.reader(io.StringIO(table_csv(pd.DataFrame({"note": texts})), newline="")))
    for text, (cell,) in zip(texts, rows[1:], strict=True):
        assert cell in (text, f"'{text}")
        assert (cell != text) == (text[:1] in tuple("=+-@\t\r\n"))


def test_page_carries_every_table_whole(demo_read):
    content = demo()
    given = {"openings": content.openings, "hours": content.hours, **content.tables}
    carried = [json.loads(text) for text in demo_read.code("application/json")]
    carried = {one["file"]: one["text"] for one in carried if "file" in one}
    assert carried == {f"{name}.csv": table_csv(frame) for name, frame in given.items()}
    text = " ".join(demo_read.text.split())
    for name, frame in given.items():
        assert f"Download {name} as CSV ({len(frame)} rows)" in text
    assert f"the first {SHOWN_ROWS} of {len(content.tables['checks'])} rows" in text


def test_long_tables_are_folded_and_cut():
    read = Reader(page(small(tables={"long": pd.DataFrame({"n": range(201)})})))
    assert ">200<" not in read.text
    cells = read.all("td")
    assert len(cells) == SHOWN_ROWS + 2 * 7 + 2 * 7 + 2  # long; openings, hours; two digests
    assert sum("open" in attrs for attrs in read.all("details")) == 3  # two tables and a card


def test_tables_of_one_name_do_not_share_a_file():
    twice = {name: pd.DataFrame({"n": [1]}) for name in ("Openings", "open/ings", "öpen", "日本")}
    read = Reader(page(small(tables=twice)))
    names = [json.loads(text).get("file") for text in read.code("application/json")][:6]
    assert len(set(names)) == 6
    assert all(re.fullmatch(r"[a-z0-9-]+\.csv", name) for name in names)


def test_numbers_on_the_screen_are_rounded():
    frame = pd.DataFrame(
        {
            "khz": [9650.0, np.nan],
            "min": [123.456, -np.inf],
            "p": [1e-11, 0.5],
            "r": [0.25, 0.123456],
        }
    )
    read = Reader(page(small(tables={"t": frame})))
    shown = re.sub(r"\s+", " ", read.text)
    for cell in ("9650", "123.5", "-∞", "1e-11", "0.250", "0.123"):
        assert cell in shown
    assert "123.456" not in shown


# Little to show ---------------------------------------------------------------------------------


def test_no_band_no_verdict_no_table():
    nothing = small(
        verdicts=[],
        openings=opened(),
        hours=pd.DataFrame(columns=HOURS),
        tables={},
        credits=[],
        digests={},
        cautions=[],
        about=[],
    )
    read = Reader(page(nothing))
    assert "No question was asked." in read.text
    assert read.text.count("There is nothing to draw") == 2
    assert "No rows." in read.text
    assert not read.all("input")
    assert_sound(read)


def test_only_missing_values():
    evening = pd.Timestamp("2024-09-15")
    frame = opened(
        (evening, "31 m", np.nan, np.nan, 0, 0, "no usable check"),
        (pd.NaT, "31 m", 1.0, 2.0, 3, 1, "between"),
        (evening, "49 m", -np.inf, np.inf, np.nan, np.nan, ""),
    )
    hours = pd.DataFrame([("31 m", np.nan, 1, 1, 1.0, 0.5, 1.0)], columns=HOURS)
    empty = verdict(effect=None, low=np.nan, high=None, p_value=None, assumptions=[], notes=[])
    read = Reader(page(small(openings=frame, hours=hours, verdicts=[empty])))
    assert read.text.count("There is nothing to draw") == 2
    assert "Nothing was written down." in read.text
    assert "Effect:" not in read.text
    assert "p =" not in read.text
    assert "nan" not in read.text.lower().replace("finance", "")


@pytest.mark.parametrize(
    ("needed", "words"), [(40, "About 40 that"), (40.0, "About 40 that"), (None, ""), (np.nan, "")]
)
def test_how_many_more_are_needed(needed, words):
    read = Reader(page(small(verdicts=[verdict(needed=needed, p_adjusted=0.04)])))
    assert ("would be needed" in read.text) == bool(words)
    assert words in read.text
    assert "0.04 for the number of questions" in read.text


def test_one_evening_one_band():
    frame = opened((pd.Timestamp("2024-09-15"), "31 m", 5.0, 5.0, 2, 1, "between"))
    read = Reader(page(small(openings=frame)))
    assert (
        "Shown: 31 m, evenings 2024-09-15 to 2024-09-15. Opened between two checks: 1;" in read.text
    )


@pytest.mark.parametrize("missing", ["openings", "hours"])
def test_a_missing_column_is_named(missing):
    frame = getattr(small(), missing)
    with pytest.raises(InputError, match=f"{missing} has no column 'checks'"):
        small(**{missing: frame.drop(columns="checks")})


def test_other_faults_are_named():
    with pytest.raises(InputError, match=r"verdicts\[0\] has no 'unit'"):
        small(verdicts=[{k: v for k, v in verdict().items() if k != "unit"}])
    with pytest.raises(InputError, match="word = 'TRUE' is none of"):
        page(small(verdicts=[verdict(word="TRUE")]))
    frame = opened(("yesterday", "31 m", 1.0, 2.0, 3, 1, "between"))
    with pytest.raises(InputError, match="'evening' of a chart is not all dates"):
        page(small(openings=frame))
    frame = opened((pd.Timestamp("2024-09-15"), "31 m", "early", 2.0, 3, 1, "between"))
    with pytest.raises(InputError, match="'low_min' of a chart is not all numbers"):
        page(small(openings=frame))


def test_the_content_is_not_changed():
    content = small()
    before = {name: frame.copy() for name, frame in content.tables.items()}
    verdicts = json.dumps(content.verdicts)
    openings = content.openings.copy()
    page(content)
    pd.testing.assert_frame_equal(content.openings, openings)
    pd.testing.assert_frame_equal(content.tables["checks"], before["checks"])
    assert json.dumps(content.verdicts) == verdicts


# For every reader -------------------------------------------------------------------------------


def assert_sound(read):
    """Headings in order, names that point somewhere, tables and controls with their labels."""
    assert read.headings[0] == 1
    assert read.headings.count(1) == 1
    steps = np.diff(read.headings)
    assert (steps <= 1).all()  # WCAG 2.2, technique G141: no level is jumped over
    ids = [attrs["id"] for _, attrs in read.elements if "id" in attrs]
    assert len(ids) == len(set(ids))
    for tag, attrs in read.elements:
        for name in ("aria-labelledby", "aria-describedby", "for"):
            assert set(attrs.get(name, "").split()) <= set(ids), (tag, attrs)
        if attrs.get("href", "").startswith("#"):
            assert attrs["href"][1:] in ids
    assert len(read.all("caption")) == len(read.all("table"))
    assert all(attrs.get("scope") in ("col", "row") for attrs in read.all("th"))
    assert len(read.all("main")) == len(read.all("header")) == len(read.all("footer")) == 1
    assert read.all("html")[0]["lang"] == "en"


def test_structure(demo_read):
    assert_sound(demo_read)


def test_every_picture_has_words(demo_read):
    drawn = [attrs for attrs in demo_read.all("svg") if "aria-hidden" not in attrs]
    assert len(drawn) == 2 + sum(np.isfinite(one["effect"]) for one in demo().verdicts)
    for attrs in drawn:
        assert attrs["role"] == "img"
        assert attrs["aria-label"].endswith(".")
    assert {attrs.get("aria-live") for attrs in demo_read.all("p")} >= {"polite"}


def test_whatever_needs_scripts_is_marked(demo_read):
    """Without scripts they would be dead, and the style sheet leaves them out."""
    for tag, attrs in demo_read.elements:
        if tag in ("button", "fieldset") and attrs.get("id") != "all-evenings":
            assert "needs-script" in attrs["class"]


# Pictures ---------------------------------------------------------------------------------------


def drawing(markup):
    """Parsed with xml.etree: the picture is well-formed, in HTML and alone."""
    return ET.fromstring(str(markup))


def lines(root, class_):
    return [one for one in root.iter("line") if one.get("class") == class_]


def test_bars_are_where_the_minutes_are():
    # two bars on one scale: tops and lengths stand to one another as the minutes do (by hand)
    rows = {
        "49 m": [
            svg.Opening(0, 0.0, 60.0, 3, 1, "between"),
            svg.Opening(1, 60.0, 90.0, 3, 1, "between"),
        ]
    }
    look = svg.look(0)
    root = drawing(svg.openings_svg(rows, ["2024-09-15", "2024-09-16"], {"49 m": look}, "alt"))
    (a, b) = lines(root, "line-0")
    length = [float(one.get("y1")) - float(one.get("y2")) for one in (a, b)]
    assert length[0] / length[1] == pytest.approx(2.0, rel=0.02)
    assert float(a.get("y2")) == pytest.approx(float(b.get("y1")), abs=0.11)
    assert float(a.get("x1")) < float(b.get("x1"))


def test_open_ends_have_triangles():
    rows = {
        "49 m": [
            svg.Opening(0, None, 60.0, 3, 3, "already open"),
            svg.Opening(1, 60.0, None, 3, 0, "never open"),
            svg.Opening(2, None, None, 0, 0, "no usable check"),
        ]
    }
    days = ["2024-09-15", "2024-09-16", "2024-09-17"]
    root = drawing(svg.openings_svg(rows, days, {"49 m": svg.look(0)}, "alt"))
    down, up = [
        [float(pair.split(",")[1]) for pair in one.get("points").split()]
        for one in root.iter("polygon")
    ]
    assert down[2] > down[0]  # downwards on the screen is the larger y
    assert up[2] < up[0]
    assert len(lines(root, "line-0")) == 2


def test_static_pictures_hold_every_row():
    made = page(demo()).decode()
    pictures = re.findall(r'<svg viewBox="0 0 720.*?</svg>', made, re.DOTALL)
    openings, hours = (drawing(one) for one in pictures)
    frame = demo().openings
    known = np.isfinite(frame["low_min"]) | np.isfinite(frame["high_min"])
    bars = sum(len(lines(openings, f"line-{at}")) for at in range(svg.COLOURS))
    assert bars == known.sum()
    whiskers = sum(len(lines(hours, f"line-{at}")) for at in range(svg.COLOURS))
    assert whiskers == len(demo().hours) + len(BANDS)  # and one in the key for each band


def test_interval_is_to_scale():
    # 0 to 40 in a straight line: 10 is a quarter of the way, 20 half (by hand)
    root = drawing(svg.interval_svg(20.0, 10.0, 40.0, 0.0, "alt"))
    (low, high) = [float(lines(root, "ink-line")[0].get(k)) for k in ("x1", "x2")]
    zero = float(lines(root, "quiet-line")[0].get("x1"))
    dot = float(next(root.iter("circle")).get("cx"))
    assert (low - zero) / (high - zero) == pytest.approx(0.25, abs=0.001)
    assert (dot - zero) / (high - zero) == pytest.approx(0.5, abs=0.001)


def test_interval_without_end_and_without_interval():
    assert svg.interval_svg(None, None, None, 0.0, "alt") == ""
    root = drawing(svg.interval_svg(2.0, None, None, None, "alt"))
    assert len(list(root.iter("circle"))) == 1
    assert not lines(root, "ink-line")
    root = drawing(svg.interval_svg(2.0, -np.inf, 3.0, 0.0, "alt"))
    assert len(list(root.iter("polygon"))) == 1


@settings(max_examples=100, deadline=None)
@given(*[st.floats(-1e9, 1e9) for _ in range(3)], st.sampled_from([None, 0.0, 1.0]))
def test_interval_stays_in_its_frame(a, b, c, nothing_at):
    low, effect, high = sorted((a, b, c))
    root = drawing(svg.interval_svg(effect, low, high, nothing_at, "alt"))
    for one in root.iter():
        for name in ("x1", "x2", "cx"):
            assert 0.0 <= float(one.get(name, 1.0)) <= 340.0


def test_no_difference_stands_where_the_unit_says():
    for unit, label in (
        ("min by which a leads", 1),
        ("times the odds", 1),
        ("chance to notice", 0),
    ):
        made = page(small(verdicts=[verdict(unit=unit)])).decode()
        assert made.count(">no difference<") == label


def test_bands_differ_without_colour():
    looks = [svg.look(at) for at in range(35)]
    assert len(set(looks)) == 35
    seven = looks[:7]
    assert len({(one.symbol, one.dash) for one in seven}) == 7


# Colours ----------------------------------------------------------------------------------------

STYLE = (files("farhear") / "templates" / "study.css").read_text(encoding="utf-8")
BLOCKS = re.findall(r":root \{(.*?)\}", STYLE, re.DOTALL)
LIGHT = dict(re.findall(r"(--[\w-]+): (#[0-9a-f]{6});", BLOCKS[0]))
THEMES = {
    "light": LIGHT,
    "dark": LIGHT | dict(re.findall(r"(--[\w-]+): (#[0-9a-f]{6});", BLOCKS[1])),
    "paper": LIGHT | dict(re.findall(r"(--[\w-]+): (#[0-9a-f]{6});", BLOCKS[2])),
}


def luminance(colour):
    """WCAG 2.2, "relative luminance"."""
    parts = [int(colour[at : at + 2], 16) / 255.0 for at in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(a, b):
    """WCAG 2.2, "contrast ratio"."""
    light, dark = sorted((luminance(a), luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_gives_known_ratios():
    # WCAG 2.2: black on white is 21:1. W3C, Understanding 1.4.3: #767676 on white is 4.5:1.
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("theme", THEMES)
def test_text_has_contrast(theme):
    # WCAG 2.2, success criterion 1.4.3: 4.5:1 for text
    colours = THEMES[theme]
    for text in ("--ink", "--quiet", "--link", "--broken"):
        for ground in ("--paper", "--card"):
            assert contrast(colours[text], colours[ground]) >= 4.5, (text, ground)
    assert contrast(colours["--button-ink"], colours["--button"]) >= 4.5


@pytest.mark.parametrize("theme", THEMES)
def test_drawn_things_have_contrast(theme):
    # WCAG 2.2, success criterion 1.4.11: 3:1 for graphics and for the edges of controls
    colours = THEMES[theme]
    for at in range(svg.COLOURS):
        assert contrast(colours[f"--band-{at}"], colours["--paper"]) >= 3.0, at
    assert contrast(colours["--link"], colours["--paper"]) >= 3.0  # focus, sliders, boxes


def test_colours_are_for_colour_blind_eyes():
    # Okabe and Ito, Color Universal Design (2008), as matplotlib 3.11 carries it; white stands for
    # its black in the dark
    if "okabe_ito" not in mpl.color_sequences:
        pytest.skip("this matplotlib does not carry the colours of Okabe and Ito")
    known = {matplotlib.colors.to_hex(one) for one in mpl.color_sequences["okabe_ito"]}
    for colours in THEMES.values():
        bands = {colours[f"--band-{at}"] for at in range(svg.COLOURS)}
        assert len(bands) == svg.COLOURS
        assert bands <= known - {"#f0e442"} | {"#ffffff"}


def test_no_colour_outside_the_themes():
    rules = re.sub(r":root \{.*?\}", "", STYLE, flags=re.DOTALL)
    assert not re.search(r"#[0-9a-f]{3,8}\b|\brgba?\(", rules)
    script = (files("farhear") / "templates" / "study.js").read_text(encoding="utf-8")
    assert not re.search(r"#[0-9a-f]{6}\b|\brgba?\(", script)


def test_fields_are_frozen():
    with pytest.raises(dataclasses.FrozenInstanceError):
        small().title = "another"

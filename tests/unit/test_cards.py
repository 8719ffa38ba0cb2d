"""The table of reports and cards. All names, places, reports and cards are invented.

What belongs together is checked against what the tests themselves put in; nothing published says
how such a table is kept (common practice, no source).
"""

import csv
import datetime as dt
import hashlib
import re
import tempfile
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from farhear.cards import (
    CARD_KINDS,
    COLUMNS,
    SENT_BY,
    add_card,
    add_report,
    read_cards,
    report_id,
)
from farhear.errors import InputError
from farhear.log import append_check, read_log
from farhear.report import reception_report
from farhear.station import Station

HOME = Station(name="N", lat_deg=58.4, lon_deg=26.7, time_zone="Europe/Tallinn", antenna="wire")
SENT = {"sent_utc": "2026-11-26T08:00Z", "sent_by": "e-mail"}


def instant(value):
    """An instant as it is, or a time of the invented evening."""
    return f"2026-11-25T{value}Z" if isinstance(value, str) and len(value) == 5 else value


def made(identity="Radio Belmorant", start="17:00", end="17:30", freq_khz=6070.0, **more):
    check = {
        "start_utc": instant(start),
        "end_utc": instant(end),
        "freq_khz": freq_khz,
        "outcome": "heard",
        "identity": identity,
        "programme_notes": "17:02 news",
        **more,
    }
    return reception_report(check, HOME, listener="A. Nonym")


@pytest.fixture
def path(tmp_path):
    return tmp_path / "cards.csv"


def only(table):
    assert len(table.rejects) == 0
    assert len(table) == 1
    return table.frame.iloc[0]


# One report -------------------------------------------------------------------------------------


def test_a_report_and_its_card(path):
    key = add_report(
        path, made(), **SENT, sent_to="letters@invented.example", return_postage="1 stamp", note="a"
    )
    # The key by hand: folded name, frequency, start and end, hashed.
    text = "radiobelmorant\n6070\n2026-11-25T17:00:00Z\n2026-11-25T17:30:00Z"
    assert key == "r" + hashlib.sha256(text.encode()).hexdigest()[:12] == report_id(made())
    row = only(read_cards(path))
    assert row["report_id"] == key
    assert row["start_utc"] == pd.Timestamp("2026-11-25T17:00Z")
    assert row["sent_utc"] == pd.Timestamp("2026-11-26T08:00Z")
    assert row["card_utc"] is pd.NaT
    assert (row["freq_khz"], bool(row["tentative"]), row["card_kind"]) == (6070.0, False, "")
    with path.open(encoding="utf-8", newline="") as file:
        (written,) = csv.DictReader(file)
    assert tuple(written) == COLUMNS
    assert written["tentative"] == "no"
    assert (written["sent_to"], written["sent_by"]) == ("letters@invented.example", "e-mail")

    came = dt.datetime(2027, 1, 9, 12, tzinfo=dt.timezone(dt.timedelta(hours=2)))
    add_card(path, key, card_utc=came, card_kind="Paper", site="Noverrin", note="b")
    row = only(read_cards(path))
    assert row["card_utc"] == pd.Timestamp("2027-01-09T10:00Z")
    assert (row["card_kind"], row["site"], row["note"]) == ("paper", "Noverrin", "a; b")
    assert (row["sent_to"], row["return_postage"]) == ("letters@invented.example", "1 stamp")
    assert len(read_cards(path).warnings) == 0
    assert [p.name for p in path.parent.iterdir()] == ["cards.csv"]


@pytest.mark.parametrize(("confidence", "word"), [("tentative", "yes"), ("sure", "no")])
def test_tentative_is_carried_over(path, confidence, word):
    add_report(path, made(id_confidence=confidence), **SENT)
    assert bool(only(read_cards(path))["tentative"]) is (word == "yes")
    assert f",{word}," in path.read_text(encoding="utf-8")


def test_the_report_scenario_from_the_log_to_the_card(path):
    log = path.with_name("log.csv")
    check = {
        "start_utc": "2026-11-25T22:10Z",
        "end_utc": "2026-11-25T22:40Z",
        "freq_khz": 6070,
        "outcome": "heard",
        "identity": "Noverrin External",
        "id_basis": "language",
        "id_confidence": "tentative",
        "sinpo": "24322",
        "programme_notes": "22:11 a flute; 22:19 a man reads; 22:31 a choir",
    }
    append_check(log, check)
    append_check(log, {**check, "freq_khz": 9600, "programme_notes": ""})
    rows = read_log(log).frame
    with pytest.raises(InputError, match="does not invent programme details"):
        reception_report(rows.iloc[1], HOME, listener="A. Nonym")
    report = reception_report(rows.iloc[0], HOME, listener="A. Nonym")
    text = report.text()
    for said in ("TENTATIVE", "25 NOV 2026, 22:10", "Thursday, 26 NOV 2026, 00:10", "22:19 a man"):
        assert said in text
    key = add_report(path, report, **SENT)
    assert bool(only(read_cards(path))["tentative"])
    with pytest.raises(InputError, match=f"{key}, was sent 2026-11-26T08:00:00Z by e-mail"):
        add_report(path, report, sent_utc="2026-12-26T08:00Z", sent_by="post")
    add_card(path, key, card_utc="2027-02-01T00:00Z", card_kind="paper", site="Noverrin")
    assert len(read_cards(path).waiting("2027-03-01T00:00Z")) == 0


# The same reception -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    "second",
    [
        made(),
        made(identity="radio  BELMORANT"),
        made(identity="RadioBelmorant", start="17:29", end="17:40"),
        made(start="16:00", end="17:01"),
        made(start="17:10", end="17:11"),
        made(start="16:00", end="18:00"),
        made(id_confidence="tentative"),
    ],
)
def test_a_second_report_of_the_same_reception_is_blocked(path, second):
    key = add_report(path, made(), **SENT, sent_to="the letter desk")
    before = path.read_bytes()
    with pytest.raises(InputError) as fault:
        add_report(path, second, sent_utc="2026-12-01T00:00Z", sent_by="post")
    for said in (key, "sent 2026-11-26T08:00:00Z by e-mail to the letter desk", "one report for"):
        assert said in str(fault.value)
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    "other",
    [
        made(identity="Noverrin External"),
        made(freq_khz=6075.0),
        made(start="17:30", end="18:00"),  # they touch, but do not overlap
        made(start="16:30", end="17:00"),
        made(start="2026-11-26T17:00Z", end="2026-11-26T17:30Z"),
    ],
)
def test_another_reception_is_another_report(path, other):
    first = add_report(path, made(), **SENT)
    second = add_report(path, other, sent_utc="2026-11-27T00:00Z", sent_by="post")
    assert read_cards(path).frame["report_id"].tolist() == [first, second]
    assert first != second


# Refused ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"sent_utc": "2026-11-25T17:29Z"}, "sent_utc = '2026-11-25T17:29Z': before the reception"),
        ({"sent_utc": "2026-11-26T08:00"}, "no time zone"),
        ({"sent_utc": dt.datetime(2026, 11, 26, 8)}, "no time zone"),  # noqa: DTZ001
        ({"sent_utc": ""}, "sent_utc = '': empty"),
        ({"sent_by": "pigeon"}, "sent_by = 'pigeon': none of post, e-mail, web form, other"),
        ({"sent_by": "email"}, "did you mean 'e-mail'"),
        ({"sent_to": "P.O. Box 0\nNowhere"}, "sent_to = 'P.O. Box 0\\nNowhere' has a line break"),
        ({"sent_to": "a" * 501}, "longer than 500 characters"),
    ],
)
def test_what_cannot_be_is_not_added(path, changes, said):
    with pytest.raises(InputError) as fault:
        add_report(path, made(), **{**SENT, **changes})
    assert said in str(fault.value)
    assert not path.exists()


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"card_utc": "2026-11-26T07:59Z"}, "before the report was sent, 2026-11-26T08:00:00Z"),
        ({"card_utc": ""}, "card_utc is empty"),
        ({"card_utc": None}, "card_utc is empty"),
        ({"card_utc": "9 January"}, "not an instant"),
        ({"card_kind": ""}, "card_kind is empty"),
        ({"card_kind": "papre"}, "did you mean 'paper'"),
        ({"card_kind": "none", "site": "Noverrin"}, "verifies no site"),
        ({"note": "a\x00"}, "control character"),
    ],
)
def test_a_card_that_cannot_be_is_not_noted(path, changes, said):
    key = add_report(path, made(), **SENT)
    before = path.read_bytes()
    with pytest.raises(InputError) as fault:
        add_card(path, key, **{"card_utc": "2027-01-09T10:00Z", "card_kind": "paper", **changes})
    assert said in str(fault.value)
    assert path.read_bytes() == before


def test_an_unknown_report_and_a_card_that_is_there(path):
    key = add_report(path, made(), **SENT)
    card = {"card_utc": "2027-01-09T10:00Z", "card_kind": "letter"}
    wrong = key[:-1] + ("0" if key[-1] != "0" else "1")
    with pytest.raises(InputError, match=rf"is not in cards\.csv; did you mean '{key}'"):
        add_card(path, wrong, **card)
    add_card(path, key, **card)
    before = path.read_bytes()
    with pytest.raises(InputError, match=r"has a card already: letter, 2027-01-09T10:00:00Z"):
        add_card(path, key, **card)
    assert path.read_bytes() == before
    with pytest.raises(OSError, match="absent"):
        add_card(path.with_name("absent.csv"), key, **card)
    with pytest.raises(InputError, match=r"does not end in \.csv"):
        add_card(path.with_suffix(".xlsx"), key, **card)


def test_a_card_after_an_answer_without_one(path):
    key = add_report(path, made(), **SENT, note="a")
    add_card(path, key, card_utc="2026-12-09T10:00Z", card_kind="none")
    assert len(read_cards(path).waiting("2027-01-01T00:00Z")) == 0
    add_card(path, key, card_utc="2027-01-09T10:00Z", card_kind="paper", note="b")
    row = only(read_cards(path))
    assert row["card_kind"] == "paper"
    assert row["note"] == "a; answer without a card 2026-12-09T10:00:00Z; b"


# Files that others wrote ------------------------------------------------------------------------

HEAD = ",".join(COLUMNS)
GOOD = (
    "r0123456789ab,Radio Belmorant,6070,2026-11-25T17:00Z,2026-11-25T17:30Z,no,2026-11-26T08:00Z,"
    "post,,,,,,"
)


def test_every_row_is_accepted_or_refused_with_its_reason(path):
    bad = {
        "report_id": GOOD.replace("r01", "x01"),
        "freq_khz": GOOD.replace("r01", "r02").replace("6070", "6.070"),
        "end_utc": GOOD.replace("r01", "r03").replace("17:30", "16:30"),
        "tentative": GOOD.replace("r01", "r04").replace(",no,", ",maybe,"),
        "sent_utc": GOOD.replace("r01", "r05").replace("26T08", "25T08"),
        "card_kind": GOOD.replace("r01", "r06").replace(",,,,,,", ",,,2027-01-01T00:00Z,,,"),
        "card_utc": GOOD.replace("r01", "r07").replace(",,,,,,", ",,,,paper,,"),
        "card_utc ": GOOD.replace("r01", "r08").replace(",,,,,,", ",,,2026-11-01T00:00Z,paper,,"),
        "broadcaster": GOOD.replace("r01", "r09").replace("Radio Belmorant", ""),
        "report_id ": GOOD.replace("Radio Belmorant", "Noverrin External"),
    }
    path.write_text("\n".join(["# invented", HEAD, GOOD, *bad.values()]), encoding="utf-8")
    cards = read_cards(path)
    assert cards.rows_read == 11 == len(cards) + cards.rows_rejected
    assert cards.frame["row"].tolist() == [3]
    assert cards.rejects["row"].tolist() == list(range(4, 14))
    assert cards.rejects["column"].tolist() == [name.strip() for name in bad]
    assert cards.rejects["reason"].iloc[-1] == "the key of row 3, too"
    before = path.read_bytes()
    with pytest.raises(InputError, match=r"10 refused rows; mend them first\. Row 4: report"):
        add_report(path, made(start="20:00", end="20:30"), **SENT)
    with pytest.raises(InputError, match="10 refused rows"):
        add_card(path, "r0123456789ab", card_utc="2027-01-01T00:00Z", card_kind="paper")
    assert path.read_bytes() == before


def test_an_edited_row_and_a_doubled_reception_are_warned_of(path):
    key = add_report(path, made(), **SENT)
    text = path.read_text(encoding="utf-8")
    line = text.splitlines()[1].replace(key, "r0123456789ab").replace("17:30", "17:40")
    path.write_text(text + line + "\n", encoding="utf-8")
    warnings = read_cards(path).warnings
    assert warnings["row"].tolist() == [3, 3]
    assert warnings["reason"].tolist() == [
        "not the key of this reception: was it edited?",
        "the same reception as in row 2",
    ]


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
@pytest.mark.parametrize("encoding", [None, "utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize("closed", [True, False])
def test_what_is_not_meant_stays_as_it_is(path, line_end, encoding, closed):
    lines = [
        "# my \u00f5wn, comment",
        "",
        HEAD + ",my_mark",
        GOOD + '"qu""oted, by me"',
        "",
        GOOD.replace("r01", "r02").replace("6070", " 9600.0 ") + "\u00e4",
    ]
    # GOOD ends in a comma less than the header wants: 14 cells, and my_mark is the 15th.
    lines[3], lines[5] = (line.replace(",,,,,,", ",,,,,,,", 1) for line in (lines[3], lines[5]))
    text = line_end.join(lines) + (line_end if closed else "")
    path.write_bytes(text.encode(encoding or "utf-8"))
    add_encoding = None if encoding == "utf-8-sig" else encoding
    key = add_report(path, made(start="20:00", end="20:30"), **SENT, encoding=add_encoding)
    after = path.read_bytes().decode(encoding or "utf-8")
    assert after.startswith(text)
    new = after[len(text) :]
    assert new.lstrip("\r\n").startswith(f"{key},Radio Belmorant,6070,")
    assert new.endswith(line_end)
    assert after.count(line_end) == len(lines) + 1

    add_card(
        path,
        "r0223456789ab",
        card_utc="2027-01-01T00:00Z",
        card_kind="paper",
        site="Noverrin",
        encoding=add_encoding,
    )
    now = path.read_bytes().decode(encoding or "utf-8").split(line_end)
    was = after.split(line_end)
    assert [i for i, (a, b) in enumerate(zip(was, now, strict=True)) if a != b] == [5]
    assert now[5].endswith(",2027-01-01T00:00Z,paper,Noverrin,,\u00e4")
    assert re.search(r",\s*9600\.0\s*,", now[5])
    if encoding == "utf-8-sig":
        assert path.read_bytes().startswith(b"\xef\xbb\xbf")


def test_an_encoding_must_be_named_and_must_hold_the_new_row(path):
    path.write_bytes(("# \u00f5\n" + HEAD + "\n").encode("cp1252"))
    before = path.read_bytes()
    with pytest.raises(InputError, match="does not fit UTF-8"):
        add_report(path, made(), **SENT)
    with pytest.raises(InputError, match="'\u03a8' does not fit cp1252"):
        add_report(path, made(), **SENT, sent_to="\u03a8", encoding="cp1252")
    assert path.read_bytes() == before
    add_report(path, made(), **SENT, encoding="cp1252")
    assert len(read_cards(path, encoding="cp1252")) == 1


def test_columns_that_the_file_does_not_have(path):
    few = [name for name in COLUMNS if name not in ("sent_to", "return_postage", "site", "note")]
    path.write_text(",".join(few), encoding="utf-8")  # without a line end
    with pytest.raises(InputError, match="the header has no column 'sent_to'"):
        add_report(path, made(), **SENT, sent_to="x")
    key = add_report(path, made(), **SENT)
    with pytest.raises(InputError, match="the header has no column 'site'"):
        add_card(path, key, card_utc="2027-01-01T00:00Z", card_kind="paper", site="x")
    add_card(path, key, card_utc="2027-01-01T00:00Z", card_kind="paper")
    assert only(read_cards(path))["card_kind"] == "paper"
    path.write_text("report_id,broadcaster\n", encoding="utf-8")
    with pytest.raises(InputError, match="is missing"):
        add_report(path, made(), **SENT)


def test_a_crash_while_writing_leaves_the_old_file(path, monkeypatch):
    key = add_report(path, made(), **SENT)
    before = path.read_bytes()

    def crash(*_):
        raise OSError("the disk is full")

    monkeypatch.setattr("os.fsync", crash)
    with pytest.raises(OSError, match="the disk is full"):
        add_card(path, key, card_utc="2027-01-01T00:00Z", card_kind="paper")
    assert path.read_bytes() == before
    assert [p.name for p in path.parent.iterdir()] == ["cards.csv"]


# Waiting ----------------------------------------------------------------------------------------


def test_who_waits_and_for_how_long(path):
    sent = {"a": "2026-11-27T12:00Z", "b": "2026-11-26T12:00Z", "c": "2026-12-24T12:00Z"}
    keys = {
        name: add_report(path, made(identity=f"Radio {name}"), sent_utc=when, sent_by="post")
        for name, when in sent.items()
    }
    add_card(path, keys["b"], card_utc="2026-12-20T00:00Z", card_kind="electronic")
    cards = read_cards(path)
    # By hand: 26 Nov 12:00 to 19 Dec 11:59 is a minute short of 23 days.
    for now, ids, days in (
        ("2026-12-19T11:59Z", ["b", "a"], [22, 21]),
        ("2026-12-19T12:00Z", ["b", "a"], [23, 22]),
        ("2026-12-20T00:00Z", ["a"], [22]),
        ("2026-12-25T12:00Z", ["a", "c"], [28, 1]),
        ("2026-11-26T11:59Z", [], []),
    ):
        waiting = cards.waiting(now)
        assert waiting["report_id"].tolist() == [keys[i] for i in ids]
        assert waiting["days_waited"].tolist() == days
    assert str(waiting["days_waited"].dtype) == "int64"
    for wrong in ("2026-12-19T11:59", ["2026-12-19T11:59Z"], pd.NaT):
        with pytest.raises(InputError):
            cards.waiting(wrong)


def test_a_table_without_rows(path):
    path.write_text(HEAD + "\n", encoding="utf-8")
    cards = read_cards(path)
    assert (len(cards), cards.rows_read) == (0, 0)
    assert len(cards.waiting("2026-12-01T00:00Z")) == 0


# Round trip -------------------------------------------------------------------------------------

TEXT = st.text(
    st.characters(exclude_categories=["Cs", "Cc"], include_characters=",;\"'#\x85="), max_size=60
)
# Letters whose case is plain, so that the test can tell by itself which names are the same.
IDENTITY = st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=60).filter(
    str.strip
) | st.sampled_from(["R\u00e4\u00e4dio", "r\u00c4\u00c4 DIO", "\u03a8 6", "\u6f22\u5b57"])
MICRO = st.timedeltas(dt.timedelta(microseconds=1), dt.timedelta(days=1))
ENTRY = st.fixed_dictionaries(
    {
        "identity": IDENTITY,
        "start": st.datetimes(
            dt.datetime(1950, 1, 1),  # noqa: DTZ001 (the zone comes from timezones)
            dt.datetime(2099, 1, 1),  # noqa: DTZ001
            timezones=st.just(dt.UTC),
        ),
        "length": MICRO,
        "freq_khz": st.floats(1600.0, 30000.0),
        "after": MICRO,
        "sent_by": st.sampled_from(SENT_BY),
        "card": st.none() | st.tuples(MICRO, st.sampled_from(CARD_KINDS[:-1]), TEXT, TEXT),
        **dict.fromkeys(("sent_to", "return_postage", "note"), TEXT),
    }
)
PLAIN = {
    **{"identity": "#a", "start": dt.datetime(2026, 1, 1, tzinfo=dt.UTC), "freq_khz": 6070.0},
    **{"length": dt.timedelta(minutes=1), "after": dt.timedelta(0, 1), "sent_by": "post"},
    **{"sent_to": "", "return_postage": "", "note": "n", "card": None},
}


@settings(max_examples=60)
@given(entries=st.lists(ENTRY, max_size=4))
@example(entries=[PLAIN, {**PLAIN, "identity": "# a"}])
def test_what_is_added_is_read_back(entries):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "cards.csv"
        kept = []
        for entry in entries:
            start, end = entry["start"], entry["start"] + entry["length"]
            report = made(entry["identity"], start, end, entry["freq_khz"])
            sent = end + entry["after"]
            words = {name: entry[name] for name in ("sent_to", "return_postage", "note")}
            doubled = any(
                "".join(other.broadcaster.split()).lower()
                == "".join(report.broadcaster.split()).lower()
                and other.freq_khz == report.freq_khz
                and other.start_utc < end
                and start < other.end_utc
                for other, *_ in kept
            )
            how = {"sent_utc": sent, "sent_by": entry["sent_by"], **words}
            if doubled:
                with pytest.raises(InputError, match="for the same reception"):
                    add_report(path, report, **how)
                continue
            key = add_report(path, report, **how)
            if entry["card"]:
                wait, kind, site, note = entry["card"]
                came = sent + wait
                add_card(path, key, card_utc=came, card_kind=kind, site=site, note=note)
                first = words["note"].strip()
                words["note"] = "; ".join(part for part in (first, note.strip()) if part)
                kept.append((report, key, sent, entry["sent_by"], words, came, kind, site.strip()))
            else:
                kept.append((report, key, sent, entry["sent_by"], words, None, "", ""))
        if not kept:
            return
        cards = read_cards(path)
        doubts = cards.warnings[~cards.warnings["reason"].str.contains("formula")]
        assert (len(cards.rejects), len(doubts), len(cards)) == (0, 0, len(kept))
        for row, one in zip(cards.frame.to_dict("records"), kept, strict=True):
            report, key, sent, sent_by, words, came, kind, site = one
            assert row["report_id"] == key
            assert row["broadcaster"] == report.broadcaster
            assert row["freq_khz"] == report.freq_khz
            assert (row["start_utc"], row["end_utc"]) == (report.start_utc, report.end_utc)
            assert (row["sent_utc"], row["sent_by"]) == (sent, sent_by)
            assert {name: row[name] for name in words} == {k: v.strip() for k, v in words.items()}
            assert row["card_utc"] == came if came else row["card_utc"] is pd.NaT
            assert (row["card_kind"], row["site"]) == (kind, site)

"""Questions and verdicts: written first, never twice, and the words that may be used. Invented."""

import tomllib

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from farhear import questions, verdicts
from farhear.errors import InputError
from farhear.questions import Question, add_question, came_first, read_questions

ASKED = Question(
    hunch="H1",
    text="Does 31 m open before 25 m at dusk?",
    parameters={"a": "31 m", "b": "25 m", "useful_min": 10},
    written_utc="2026-11-01T12:00:00Z",
)


def test_a_question_is_kept_with_its_date_and_never_changed(tmp_path):
    path = add_question(tmp_path, ASKED)
    other = Question(hunch="H4", text="Do storms hurt?", parameters={"threshold": 4.0})
    before = path.read_text()
    add_question(tmp_path, other)
    assert path.read_text().startswith(before)
    assert read_questions(tmp_path) == (ASKED, other)
    content = tomllib.loads(path.read_text())  # outside: the standard library
    assert content["questions"][0]["parameters"]["useful_min"] == 10
    again = Question(
        hunch="H1", text="again", parameters=ASKED.parameters, written_utc="2025-01-01T00:00Z"
    )
    with pytest.raises(InputError, match="has this question already, of 2026-11-01T12:00:00Z"):
        add_question(tmp_path, again)


def test_it_goes_behind_what_else_stands_in_the_file(tmp_path):
    (tmp_path / "study.toml").write_text('title = "x"\n[station]\nname = "y"')  # no line end
    add_question(tmp_path, ASKED)
    content = tomllib.loads((tmp_path / "study.toml").read_text())
    assert content["station"] == {"name": "y"}
    assert read_questions(tmp_path) == (ASKED,)


VALUES = st.one_of(
    st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), max_size=20),
    st.integers(-(2**40), 2**40),
    st.floats(allow_nan=False, allow_infinity=False),
    st.booleans(),
)


@settings(max_examples=100)
@given(
    text=st.text("abc äöß?\"\\'#", min_size=1, max_size=40).filter(str.strip),
    parameters=st.dictionaries(
        st.sampled_from(["bands", "expected", "seed", "draws"]),
        VALUES | st.lists(VALUES, max_size=3),
    ),
)
def test_what_is_asked_is_read_back(tmp_path_factory, text, parameters):
    folder = tmp_path_factory.mktemp("study")
    asked = Question(hunch="H2", text=text, parameters=parameters, written_utc="2026-11-01T12:00Z")
    add_question(folder, asked)
    assert read_questions(folder) == (asked,)


def test_checks_count_when_they_came_after():
    starts = pd.to_datetime(["2026-11-01T11:00Z", "2026-11-01T13:00Z", "2026-11-02T13:00Z"])
    assert came_first(ASKED, starts) == (False, 2)
    assert came_first(ASKED, starts[1:]) == (True, 2)
    assert came_first(ASKED, starts[:0]) == (False, 0)
    table = pd.DataFrame({"start_utc": starts})
    assert questions.after(ASKED, table).index.tolist() == [1, 2]


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"hunch": "H9"}, "none of H1, H2"),
        ({"text": " "}, "text is empty"),
        ({"text": "a\nb"}, "line break"),
        ({"text": "a" * 501}, "longer than 500"),
        ({"parameters": {"a b": 1}}, "no plain word"),
        ({"parameters": {"seed": np.nan}}, "parameters.seed = nan is not a finite number"),
        ({"parameters": {"bands": {}}}, "neither text, number"),
        ({"parameters": {"bands": ["x\ny"]}}, r"parameters.bands\[0\]"),
        ({"parameters": {"band": "31 m"}}, "'band', which H2 does not know; did you mean 'bands'"),
        ({"hunch": "H8", "parameters": {"a": "wire"}}, "no 'b', which H8 needs"),
        ({"written_utc": "2026-11-01T12:00"}, "no time zone"),
    ],
)
def test_what_is_no_question(given, message):
    with pytest.raises(InputError, match=message):
        Question(**{"hunch": "H2", "text": "x", "written_utc": "2026-11-01T12:00Z", **given})


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("questions = 1", "not a list of tables"),
        ("questions = [1]", r"questions\[0\] is not a table"),
        ('[[questions]]\nhunch = "H1"\ntext = "x"', "has no 'written_utc'"),
        ('[[questions]]\nhunhc = "H1"', "unknown key 'hunhc'; did you mean 'hunch'"),
        ("[[questions", "is not TOML"),
        ("a = " + "[" * 5000, "is not TOML"),
    ],
)
def test_files_that_hold_none(tmp_path, content, message):
    (tmp_path / "study.toml").write_text(content)
    with pytest.raises(InputError, match=message):
        read_questions(tmp_path)


def test_a_verdict_uses_four_words_and_puts_the_effect_first():
    verdict = verdicts.Verdict(
        hunch="H1",
        question="31 m opens before 25 m at dusk.",
        word="SUPPORTED",
        sentence="On 18 of 20 evenings it did.",
        effect=12.0,
        low=4.0,
        high=20.0,
        unit="min",
        p_value=0.0004,
        p_method="exact sign test",
        evenings=40,
        decided=20,
        assumptions=(verdicts.Assumption("the order alternated", True),),
        asked_before=False,
    )
    text = verdict.text()
    assert text.index("Effect: 12 min (95 % interval 4 to 20)") < text.index("p = 0.0004")
    assert "20 of 40 evenings could decide." in text
    assert "an idea, not a finding" in text.replace("\n", " ")
    assert verdicts.ALWAYS in text
    assert "- holds: the order alternated" in text
    assert max(map(len, text.splitlines())) <= 78
    with pytest.raises(InputError, match="SUPPORTED, AGAINST, NOT SHOWN, CANNOT TELL YET"):
        verdicts.Verdict(hunch="H1", question="", word="no effect", sentence="")


def test_many_questions_are_adjusted():
    # worked by hand from the definitions. Holm: 3 x 0.01, 2 x 0.03, then the larger of 0.06 and
    # 0.04; Benjamini-Hochberg: 3/1 x 0.01, 3/2 x 0.03 against 3/3 x 0.04, 0.04.
    given = [0.03, float("nan"), 0.01, 0.04]
    assert verdicts.adjusted(given, "holm")[0] == pytest.approx(0.06)
    assert verdicts.adjusted(given, "holm")[2:] == pytest.approx([0.03, 0.06])
    assert np.isnan(verdicts.adjusted(given, "holm")[1])
    assert verdicts.adjusted(given, "exploring")[2:] == pytest.approx([0.03, 0.04])
    assert verdicts.adjusted(given, "exploring")[0] == pytest.approx(0.04)
    with pytest.raises(InputError, match="none of 'holm', 'exploring'"):
        verdicts.adjusted(given, "none")

"""What a verdict says of itself, and p values for several questions."""

import dataclasses
import math

import pytest
from statsmodels.stats.multitest import multipletests

from farhear.errors import InputError
from farhear.verdicts import Assumption, Verdict, adjusted


def made(**more):
    """A verdict with nothing in it but what is given."""
    given = {
        "hunch": "H1",
        "question": "A opens before B.",
        "word": "SUPPORTED",
        "sentence": "Yes.",
    }
    return Verdict(**(given | more))


@pytest.mark.parametrize(
    ("before", "says", "heading"),
    [
        (None, "Nobody has said whether", "SUPPORTED"),
        (True, "was written down before", "SUPPORTED"),
        (False, "came after the data", "SUPPORTED as an idea, not a finding"),
    ],
)
def test_it_says_whether_the_question_came_first(before, says, heading):
    verdict = made(asked_before=before)
    assert says in verdict.order
    assert verdict.heading == heading
    assert verdict.text().startswith(f"{heading}. A opens before B.")


def test_what_is_not_a_claim_is_no_idea_either():
    assert made(word="NOT SHOWN", asked_before=False).heading == "NOT SHOWN"


def test_one_end_is_no_interval():
    assert "(95 % interval 1 to 3)." in made(effect=2.0, low=1.0, high=3.0, unit="min").text()
    assert "(no interval)." in made(effect=2.0, low=1.0, unit="min").text()
    assert "Effect" not in made(low=1.0, high=3.0).text()


def test_what_is_not_given_is_not_claimed():
    verdict = made()
    assert "0 of 0 evenings could decide." in verdict.text()
    assert math.isnan(verdict.p_value)
    assert "p =" not in verdict.text()
    assert "would be needed" not in verdict.text()


def test_assumptions_are_listed_with_what_is_known_of_them():
    text = made(
        assumptions=(Assumption("a", True), Assumption("b", False), Assumption("c", None))
    ).text()
    assert text.splitlines()[-3:] == ["- holds: a", "- BROKEN: b", "- not known: c"]


def test_a_verdict_stays_as_it_was_given():
    verdict = made(details={"secret": 1})
    with pytest.raises(dataclasses.FrozenInstanceError):
        verdict.word = "AGAINST"
    assert "secret" not in repr(verdict)  # tables may stand there
    with pytest.raises(InputError, match="word = 'YES' is none of SUPPORTED, AGAINST"):
        made(word="YES")


def test_p_values_of_several_questions():
    # By hand after Holm: times 4, 3, 2, 1 from the smallest, never falling; Benjamini and Hochberg:
    # times 4/1, 4/2, 4/3, 4/4, never rising from the largest. A missing one is no question.
    given = [0.01, 0.04, float("nan"), 0.03, 0.005]
    holm, exploring = adjusted(given, "holm"), adjusted(given, "exploring")
    assert [holm[i] for i in (0, 1, 3, 4)] == pytest.approx([0.03, 0.06, 0.06, 0.02])
    assert [exploring[i] for i in (0, 1, 3, 4)] == pytest.approx([0.02, 0.04, 0.04, 0.02])
    assert math.isnan(holm[2])
    assert math.isnan(exploring[2])
    assert holm[0] == pytest.approx(multipletests([0.01, 0.04, 0.03, 0.005], method="holm")[1][0])
    assert all(math.isnan(p) for p in adjusted([float("nan")], "holm"))
    with pytest.raises(InputError, match="method = 'none' is none of 'holm', 'exploring'"):
        adjusted(given, "none")

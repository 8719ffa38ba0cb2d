"""Verdicts on hunches: four fixed words, a plain sentence, and what the verdict rests on.

Words
-----
SUPPORTED        the log speaks for the hunch
AGAINST          the log speaks for the opposite
NOT SHOWN        the log was large enough, and speaks for neither; this is never "no effect"
CANNOT TELL YET  the log is too small, or the interval is wider than the difference that matters
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from farhear.errors import InputError

if TYPE_CHECKING:
    from farhear.charts.pictures import AnswerPictures

__all__ = ["WORDS", "Assumption", "Verdict", "adjusted"]

SUPPORTED = "SUPPORTED"
AGAINST = "AGAINST"
NOT_SHOWN = "NOT SHOWN"
CANNOT_TELL = "CANNOT TELL YET"
WORDS = (SUPPORTED, AGAINST, NOT_SHOWN, CANNOT_TELL)
"""The only words of a verdict."""
ALWAYS = "This is one place, one antenna, one season."
"""Stands under every verdict."""
_WIDTH = 78


@dataclass(frozen=True, slots=True)
class Assumption:
    """What a verdict takes for granted; `holds` None: the log cannot say."""

    text: str
    holds: bool | None

    def __str__(self) -> str:
        mark = {True: "holds", False: "BROKEN", None: "not known"}[self.holds]
        return f"{mark}: {self.text}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """Answer to one question.

    Attributes
    ----------
    hunch
        "H1" to "H8".
    question
        The hunch in words.
    word
        One of `WORDS`.
    sentence
        What was found, in plain words with the figures.
    effect, low, high
        Best guess and its 95 % interval; NaN where there is none. In `unit`.
    unit
        For example "min" or "percentage points".
    p_value
        Two-sided unless `p_method` says otherwise; NaN where none was worked out.
    p_method
        The test, in words.
    p_adjusted
        The same for the number of questions of its family (:func:`farhear.hunch.answers`); NaN
        for a question alone.
    evenings, decided
        Evenings (or checks, weeks: see `counted`) in the log, and those that could decide.
    counted
        What these are.
    needed
        So many decided ones would be needed to tell; None where that is not the trouble.
    assumptions
        All that the verdict takes for granted, checked as far as the log allows.
    asked_before
        Whether the question was written down before the data were looked at; None: not said.
    notes
        More sentences.
    details
        Figures and tables behind the verdict, by name.
    """

    hunch: str
    question: str
    word: str
    sentence: str
    effect: float = float("nan")
    low: float = float("nan")
    high: float = float("nan")
    unit: str = ""
    p_value: float = float("nan")
    p_method: str = ""
    p_adjusted: float = float("nan")
    evenings: int = 0
    decided: int = 0
    counted: str = "evenings"
    needed: int | None = None
    assumptions: tuple[Assumption, ...] = ()
    asked_before: bool | None = None
    notes: tuple[str, ...] = ()
    details: Mapping[str, Any] = field(default_factory=dict, repr=False)

    def __post_init__(self) -> None:
        if self.word not in WORDS:
            raise InputError(f"word = {self.word!r} is none of {', '.join(WORDS)}")

    @property
    def plot(self) -> AnswerPictures:
        """Charts: `forest()`."""
        from farhear.charts.pictures import AnswerPictures

        return AnswerPictures((self,))

    def _repr_html_(self) -> str:
        from farhear._rich import panel

        _, *lines = self._parts()
        notes = [*lines, *map(str, self.assumptions)]
        return panel(f"{self.heading}. {self.question}", {}, notes=notes)

    @property
    def order(self) -> str:
        """Whether the question came first, in words."""
        if self.asked_before is None:
            return "Nobody has said whether the question came before the data."
        if self.asked_before:
            return "The question was written down before the data were looked at."
        return "The question came after the data: this is an idea, not a finding."

    @property
    def heading(self) -> str:
        """The word, and that a claim made after the data is none."""
        idea = self.asked_before is False and self.word in (SUPPORTED, AGAINST)
        return f"{self.word} as an idea, not a finding" if idea else self.word

    def _parts(self) -> list[str]:
        """Sentences: word and question, finding, effect before p, what it rests on."""
        parts = [f"{self.heading}. {self.question}", self.sentence]
        if np.isfinite(self.effect):
            interval = "no interval"
            if np.isfinite(self.low) and np.isfinite(self.high):
                interval = f"95 % interval {self.low:.3g} to {self.high:.3g}"
            parts.append(f"Effect: {self.effect:.3g} {self.unit} ({interval}).")
        if np.isfinite(self.p_value):
            more = "."
            if np.isfinite(self.p_adjusted):
                more = f"; {self.p_adjusted:.2g} for the number of questions."
            parts.append(f"p = {self.p_value:.2g} ({self.p_method}){more}")
        parts.append(f"{self.decided} of {self.evenings} {self.counted} could decide.")
        if self.needed is not None:
            parts.append(f"About {self.needed} that decide would be needed.")
        return [*parts, *self.notes, self.order, ALWAYS]

    def text(self) -> str:
        """The verdict as it is printed: word, sentence, effect before p, assumptions."""
        lines = [line for part in self._parts() for line in textwrap.wrap(part, _WIDTH)]
        for one in self.assumptions:
            lines += textwrap.wrap(str(one), _WIDTH, initial_indent="- ", subsequent_indent="  ")
        return "\n".join(lines)


def adjusted(p_values: Sequence[float], method: str) -> list[float]:
    """P values of a family of questions, adjusted for their number; NaN stays NaN.

    Parameters
    ----------
    p_values
        One for each question.
    method
        "holm" for questions written beforehand (family-wise error); "exploring" for ideas
        (Benjamini-Hochberg, false discovery rate; never called a finding).

    References
    ----------
    S. Holm, Scand. J. Stat. 6 (1979), p. 65. Y. Benjamini, Y. Hochberg, J. R. Stat. Soc. B 57
    (1995), p. 289. Both from memory, worked out by statsmodels.
    """
    from statsmodels.stats.multitest import multipletests

    names = {"holm": "holm", "exploring": "fdr_bh"}
    if method not in names:
        raise InputError(f"method = {method!r} is none of {', '.join(map(repr, names))}")
    given = np.asarray(p_values, dtype=np.float64)
    out = np.full(given.shape, np.nan)
    known = ~np.isnan(given)
    if known.any():
        out[known] = multipletests(given[known], method=names[method])[1]
    return [float(p) for p in out]

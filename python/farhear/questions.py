"""Questions written down before the data are looked at.

A pattern found by looking will be found again in the same data: that is no test. So a question has
the date on which it was written, stands in the `study.toml` of a study's folder, and is never
changed there; a verdict says whether its checks came after it.
"""

from __future__ import annotations

import datetime as dt
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from farhear._files import alone, put, toml_value
from farhear.errors import InputError
from farhear.tables import decode, near_name, read_bytes_of
from farhear.times import iso_text, unix_s

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "HUNCHES",
    "NEEDED",
    "OPTIONAL",
    "Question",
    "add_question",
    "after",
    "came_first",
    "read_questions",
]

HUNCHES: Mapping[str, str] = {
    "H1": "one band opens before another at dusk",
    "H2": "which of several bands opens first",
    "H3": "the opening follows sunset through the season",
    "H4": "magnetically disturbed nights hurt reception",
    "H5": "one season is better than another on a band",
    "H6": "the likelihood I was shown matches my log",
    "H7": "my misses are my ears, not the band",
    "H8": "a change of antenna changed what I hear",
}
"""What can be asked."""

_SPAN = ("from_min", "to_min")
NEEDED: Mapping[str, tuple[str, ...]] = {
    "H1": ("a", "b"),
    "H2": (),
    "H3": ("band",),
    "H4": (),
    "H5": (),
    "H6": (),
    "H7": ("channel",),
    "H8": ("a", "b"),
}
"""Parameters without which a hunch is no question."""
OPTIONAL: Mapping[str, tuple[str, ...]] = {
    "H1": ("useful_min", *_SPAN, "setup"),
    "H2": ("bands", "expected", "useful_points", "seed", "draws", *_SPAN, "setup"),
    "H3": ("useful_min_per_week", *_SPAN, "setup"),
    "H4": (
        *("threshold", "high_latitude_deg", "band", "min_nights", "useful_points", "seed"),
        "setup",
    ),
    "H5": ("better", "band", "useful_ratio", "setup"),
    "H6": ("matters", "close", "seed", "setup"),
    "H7": ("window_min", *_SPAN, "good_ears", "useful_share", "seed", "setup"),
    "H8": ("band", "within_min", "control", "useful_points"),
}
"""Parameters that have a value of their own where nothing is said; see :mod:`farhear.hunch`."""

_FILE = "study.toml"
_LONGEST = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One question.

    Attributes
    ----------
    hunch
        Key of `HUNCHES`.
    text
        The question in the asker's words.
    parameters
        What the hunch needs to know (`NEEDED`, `OPTIONAL`), for example ``{"a": "31 m", "b":
        "25 m"}``: names with texts, numbers, truth values, or lists of these.
    written_utc
        When it was written, RFC 3339 with Z.

    Raises
    ------
    InputError
        On an unknown hunch, an empty or long text, a parameter that the hunch does not know or
        that it needs, a value of another kind, a time without a zone.
    """

    hunch: str
    text: str
    parameters: Mapping[str, Any] = field(default_factory=dict)
    written_utc: str = ""

    def __post_init__(self) -> None:
        if self.hunch not in HUNCHES:
            raise InputError(f"hunch = {self.hunch!r} is none of {', '.join(HUNCHES)}")
        if not isinstance(self.text, str) or not self.text.strip():
            raise InputError("text is empty; write the question down in words")
        if len(self.text) > _LONGEST or not self.text.isprintable():
            raise InputError(f"text is longer than {_LONGEST} characters or has a line break")
        parameters = {}
        for name, value in self.parameters.items():
            if not name.isidentifier():
                raise InputError(f"parameters has the name {name!r}, which is no plain word")
            parameters[name] = _checked(f"parameters.{name}", value)
        _check_names(self.hunch, parameters)
        written = self.written_utc or iso_text(float(int(dt.datetime.now(dt.UTC).timestamp())))
        object.__setattr__(self, "written_utc", iso_text(float(unix_s(written))))
        object.__setattr__(self, "parameters", parameters)

    def toml(self) -> str:
        """As it stands in a `study.toml`."""
        lines = [
            "",
            "[[questions]]",
            f"hunch = {toml_value(self.hunch)}",
            f"text = {toml_value(self.text)}",
            f"written_utc = {toml_value(self.written_utc)}",
        ]
        if self.parameters:
            lines += ["[questions.parameters]"]
            lines += [f"{name} = {toml_value(value)}" for name, value in self.parameters.items()]
        return "\n".join(lines) + "\n"


def _checked(name: str, value: Any) -> Any:
    """The value in plain types, or an error that names it."""
    if isinstance(value, bool):
        return value
    if isinstance(value, str):
        if not value.isprintable():
            raise InputError(f"{name} = {value!r} has a line break or a control character")
        return value
    if isinstance(value, (int, np.integer)):
        return int(value)
    if isinstance(value, (float, np.floating)):
        if not math.isfinite(value):
            raise InputError(f"{name} = {value!r} is not a finite number")
        return float(value)
    if isinstance(value, (list, tuple)):
        return [_checked(f"{name}[{i}]", one) for i, one in enumerate(value)]
    raise InputError(f"{name} = {value!r} is neither text, number, truth value, nor a list of them")


def _check_names(hunch: str, parameters: Mapping[str, Any]) -> None:
    known = (*NEEDED[hunch], *OPTIONAL[hunch])
    for name in parameters:
        if name not in known:
            raise InputError(
                f"parameters has {name!r}, which {hunch} does not know{near_name(name, known)} "
                f"(it knows {', '.join(known)})"
            )
    for name in NEEDED[hunch]:
        if name not in parameters:
            raise InputError(f"parameters has no {name!r}, which {hunch} needs")


def add_question(folder: str | Path, question: Question) -> Path:
    """Write a question behind those that stand in the `study.toml` of a folder.

    Parameters
    ----------
    folder
        Folder of the study; made when it is not there.
    question
        What to ask.

    Returns
    -------
    The file.

    Raises
    ------
    InputError
        When the file is no TOML, or has the same question (hunch and parameters) already: a
        question that is asked again with another date would look newer or older than it is.
    OSError
        When the file cannot be written.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / _FILE
    with alone(folder):
        old = read_questions(folder) if path.exists() else ()
        for one in old:
            if (one.hunch, one.parameters) == (question.hunch, question.parameters):
                raise InputError(f"{path.name} has this question already, of {one.written_utc}")
        there = path.read_bytes() if path.exists() else b""
        put(path, there + question.toml().encode("utf-8"))
    return path


def read_questions(folder: str | Path) -> tuple[Question, ...]:
    """Questions in the `study.toml` of a folder, in their order.

    Raises
    ------
    InputError
        When the file is no TOML or a question is none.
    OSError
        When the file cannot be opened.
    """
    path = Path(folder) / _FILE
    try:
        content = tomllib.loads(decode(read_bytes_of(path), path.name))
    except (ValueError, RecursionError) as cause:
        raise InputError(f"{path.name} is not TOML: {cause}") from None
    entries = content.get("questions", [])
    if not isinstance(entries, list):
        raise InputError(f"{path.name}: questions is not a list of tables; write [[questions]]")
    out = []
    known = ("hunch", "text", "parameters", "written_utc")
    for number, entry in enumerate(entries):
        where = f"{path.name}: questions[{number}]"
        if not isinstance(entry, dict):
            raise InputError(f"{where} is not a table")
        for key in entry:
            if key not in known:
                raise InputError(f"{where}: unknown key {key!r}{near_name(key, known)}")
        for key in ("hunch", "text", "written_utc"):
            if key not in entry:
                raise InputError(f"{where} has no {key!r}")
        try:
            out.append(Question(**entry))
        except InputError as fault:
            raise InputError(f"{where}: {fault}") from None
    return tuple(out)


def came_first(question: Question, start_utc: Any) -> tuple[bool, int]:
    """Whether a question was written before every check, and how many checks came after it.

    Parameters
    ----------
    question
        The question.
    start_utc
        Starts of the checks of its verdict (see `farhear.utc`).

    Returns
    -------
    True when all checks began after it was written; and the number of those that did.
    """
    starts = unix_s(start_utc)
    later = int((starts > float(unix_s(question.written_utc))).sum())
    return later == starts.size and later > 0, later


def after(question: Question, frame: pd.DataFrame) -> pd.DataFrame:
    """Rows of a table with `start_utc` that began after the question was written."""
    return frame[unix_s(frame["start_utc"]) > float(unix_s(question.written_utc))]

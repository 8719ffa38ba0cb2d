"""Questions put to a log: which function answers, what came first, and how many were asked."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from farhear import magnetic, path, predictions
from farhear._arrays import Floats
from farhear.errors import InputError
from farhear.evenings import table as table_of
from farhear.hunch._ground import ALPHA, Asked, setups_in
from farhear.hunch.antennas import antenna_change
from farhear.hunch.dusk import first_at_dusk
from farhear.hunch.ears import ears_or_band
from farhear.hunch.match import matches_log
from farhear.hunch.nights import disturbed_nights
from farhear.hunch.seasons import season_difference, winter_or_summer
from farhear.hunch.several import which_first
from farhear.hunch.sunset import follows_sunset
from farhear.indices import Indices, load_indices
from farhear.log import Log
from farhear.questions import HUNCHES, Question, after, came_first
from farhear.schedule import Schedule
from farhear.scoring import checks_from_log
from farhear.station import Station
from farhear.times import iso_text, unix_s
from farhear.verdicts import AGAINST, NOT_SHOWN, SUPPORTED, Verdict, adjusted

if TYPE_CHECKING:
    from farhear.charts.pictures import AnswerPictures

__all__ = ["Answers", "Evidence", "answer", "answers", "explore"]

_ALONG = np.linspace(0.0, 1.0, 33)
_MOST_BANDS = 6  # in exploring: 15 pairs
_LATE_MIN = 120.0  # after sunset; in exploring, so that most openings are over


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What questions are answered from.

    Attributes
    ----------
    table
        From :func:`farhear.evenings.table`.
    station
        The home.
    indices
        Solar and geomagnetic indices, for H4; None loads the shipped ones when they are asked for.
    path_lat_deg
        Highest geomagnetic latitude, north or south, of the path of each check, by `row`; for H4
        with `high_latitude_deg`. Empty without a schedule. [deg]
    said
        From :func:`farhear.predictions.beside`, for H6; None without predictions.
    """

    table: pd.DataFrame
    station: Station
    indices: Indices | None = None
    path_lat_deg: pd.Series[Any]
    said: pd.DataFrame | None = None

    @classmethod
    def of(
        cls,
        log: Log | pd.DataFrame,
        station: Station,
        schedule: Schedule | None = None,
        *,
        indices: Indices | None = None,
        issued: predictions.Predictions | pd.DataFrame | None = None,
    ) -> Evidence:
        """Gather what a log, a schedule and written predictions say.

        Parameters
        ----------
        log, station, schedule
            See :func:`farhear.evenings.table`. With a schedule, silence off the air does not count,
            and the paths of a :class:`farhear.Log` are known.
        indices
            See above.
        issued
            See :func:`farhear.predictions.beside`.

        Raises
        ------
        InputError
            As these.
        """
        table = table_of(log, station, schedule=schedule)
        lat = pd.Series(dtype=np.float64)
        if schedule is not None and isinstance(log, Log):
            lat = _path_lat_deg(log, station, schedule)
        said = None if issued is None else predictions.beside(table, issued)
        return cls(table=table, station=station, indices=indices, path_lat_deg=lat, said=said)

    def since(self, question: Question) -> Evidence:
        """Only the checks that began after a question was written."""
        said = self.said if self.said is None else after(question, self.said)
        return dataclasses.replace(self, table=after(question, self.table), said=said)


def _path_lat_deg(log: Log, station: Station, schedule: Schedule) -> pd.Series[Any]:
    """Highest geomagnetic latitude of each check's path, by row; checks without a path left out."""
    checks = checks_from_log(log, station, schedule).frame
    ends = checks[["tx_lat_deg", "tx_lon_deg"]].drop_duplicates()
    if not len(ends):
        return pd.Series(dtype=np.float64)
    tx_lat, tx_lon = (ends[name].to_numpy(np.float64)[:, None] for name in ends)
    along = path.points(tx_lat, tx_lon, station.lat_deg, station.lon_deg, _ALONG)
    model = magnetic.model()
    year = float(np.clip(checks["utc"].dt.year.median(), model.first_year, model.last_year))
    lat: Floats = np.abs(magnetic.geomagnetic_lat_deg(along.lat_deg, along.lon_deg, year))
    found = checks.merge(ends.assign(lat=lat.max(axis=1)), on=["tx_lat_deg", "tx_lon_deg"])
    return found.set_index("row")["lat"]


def _h4(table: pd.DataFrame, evidence: Evidence, given: dict[str, Any]) -> Verdict:
    high = given.pop("high_latitude_deg", None)
    if high is not None:
        lat = evidence.path_lat_deg.reindex(table["row"]).to_numpy(np.float64)
        if np.isnan(lat).all():
            raise InputError("high_latitude_deg needs the schedule: no check has a path without it")
        given["high_latitude"] = np.where(np.isnan(lat), np.nan, lat >= float(high))
    indices = load_indices() if evidence.indices is None else evidence.indices
    return disturbed_nights(table, indices, **given)


def _h5(table: pd.DataFrame, evidence: Evidence, given: dict[str, Any]) -> Verdict:
    names = ("winter", "summer")
    better = given.pop("better", names[0])
    if better not in names:
        raise InputError(f"better = {better!r} is none of winter, summer")
    order = names if better == names[0] else names[::-1]
    group = winter_or_summer(table, southern=evidence.station.lat_deg < 0.0)
    return season_difference(table, group, names=order, **given)


def _h6(table: pd.DataFrame, evidence: Evidence, given: dict[str, Any]) -> Verdict:
    if evidence.said is None:
        raise InputError(
            "H6 needs predictions that were written down before listening (see farhear.predictions)"
        )
    return matches_log(evidence.said[evidence.said["row"].isin(table["row"])], **given)


def _h8(table: pd.DataFrame, evidence: Evidence, given: dict[str, Any]) -> Verdict:
    control = given.pop("control", None)
    if control is not None:
        if not (table["setup_id"] == control).any():
            raise InputError(f"control = {control!r} is no setup of the log")
        given["control"] = (table["setup_id"] == control).to_numpy()
    return antenna_change(table, **given)


_ASK: Mapping[str, Callable[[pd.DataFrame, Evidence, dict[str, Any]], Verdict]] = {
    "H1": lambda table, _, given: first_at_dusk(table, **given),
    "H2": lambda table, _, given: which_first(table, **given),
    "H3": lambda table, _, given: follows_sunset(table, **given),
    "H4": _h4,
    "H5": _h5,
    "H6": _h6,
    "H7": lambda table, _, given: ears_or_band(table, **given),
    "H8": _h8,
}


def _ask(question: Question, evidence: Evidence, asked_before: bool) -> Verdict:
    given = dict(question.parameters)
    table = evidence.table
    setup = given.pop("setup", None)
    if setup is not None:
        table = table[(table["setup_id"] == setup).to_numpy()]
        if not len(table):
            names = ", ".join(repr(name) for name in setups_in(evidence.table))
            raise InputError(f"setup = {setup!r} is not in the log; it has {names}")
    try:
        return _ASK[question.hunch](table, evidence, given | {"asked_before": asked_before})
    except InputError as fault:
        raise InputError(f"{question.hunch}, {question.text!r}: {fault}") from None


def answer(question: Question, evidence: Evidence) -> Verdict:
    """Answer one question from the checks that came after it.

    Parameters
    ----------
    question
        Its parameters are those of the hunch's function, see :mod:`farhear.hunch`; beside these
        `setup` (only its checks), for H4 `high_latitude_deg` (geomagnetic latitude from which a
        path is a high one), for H5 `better` ("winter" or "summer"), for H8 `control` (name of the
        setup that stayed as it was).
    evidence
        See :class:`Evidence`.

    Returns
    -------
    Verdict
        From the checks that began after the question was written; those before it are counted in
        `notes`. Where all came before, the verdict is on them, and is no more than an idea.

    Raises
    ------
    InputError
        As the hunch's function, with the question's words.
    """
    first, later = came_first(question, evidence.table["start_utc"])
    if first or not later:
        return _ask(question, evidence, first)
    found = _ask(question, evidence.since(question), True)
    earlier = len(evidence.table) - later
    note = (
        f"{earlier} checks began before the question was written ({question.written_utc}) and do "
        "not count."
    )
    return dataclasses.replace(found, notes=(note, *found.notes))


@dataclass(frozen=True, slots=True)
class Answers:
    """Verdicts on several questions.

    Attributes
    ----------
    questions, verdicts
        In the same order.
    """

    questions: tuple[Question, ...]
    verdicts: tuple[Verdict, ...]

    @property
    def frame(self) -> pd.DataFrame:
        """One row a question: hunch, question, written_utc, word, effect, low, high, unit, ...

        And p_value, p_adjusted, asked_before, decided, evenings, counted, needed, sentence.
        """
        names = (
            *("hunch", "question", "word", "effect", "low", "high", "unit", "p_value"),
            *("p_adjusted", "asked_before", "decided", "evenings", "counted", "needed", "sentence"),
        )
        rows = [{name: getattr(one, name) for name in names} for one in self.verdicts]
        out = pd.DataFrame(rows, columns=list(names))
        out.insert(2, "written_utc", [one.written_utc for one in self.questions])
        return out

    @property
    def plot(self) -> AnswerPictures:
        """Charts: `forest()`."""
        from farhear.charts.pictures import AnswerPictures

        return AnswerPictures(self.verdicts)

    def _repr_html_(self) -> str:
        return "".join(one._repr_html_() for one in self.verdicts)

    def text(self) -> str:
        """All verdicts as they are printed."""
        return "\n\n".join(one.text() for one in self.verdicts)


def _rests_on_p(verdict: Verdict) -> bool:
    """Whether the word claims something that a small p has to carry."""
    if verdict.hunch in ("H3", "H6"):  # there a small p speaks against
        return verdict.word == AGAINST
    return verdict.word in (SUPPORTED, AGAINST)


def _as_family(verdicts: Sequence[Verdict], method: str) -> list[Verdict]:
    """Verdicts with p for the number of questions; a claim that does not outlast it is taken back.

    `method` as in :func:`farhear.verdicts.adjusted`.
    """
    if len(verdicts) < 2:
        return list(verdicts)
    name = {"holm": "after Holm", "exploring": "after Benjamini and Hochberg"}[method]
    out = []
    for one, p in zip(verdicts, adjusted([v.p_value for v in verdicts], method), strict=True):
        new = dataclasses.replace(one, p_adjusted=p)
        if _rests_on_p(one) and p >= ALPHA:
            new = dataclasses.replace(
                new,
                word=NOT_SHOWN,
                sentence=(
                    f"Asked alone this would be {one.word}, but of {len(verdicts)} questions luck "
                    f"answers one like this too easily (p = {p:.2g} {name}). {one.sentence}"
                ),
            )
        out.append(new)
    return out


def _answer_or_why_not(question: Question, evidence: Evidence) -> Verdict:
    """The answer; a question that the log cannot even be asked gets the reason for a verdict."""
    try:
        return answer(question, evidence)
    except InputError as fault:
        first, _ = came_first(question, evidence.table["start_utc"])
        asked = Asked(question.hunch, question.text, first)
        return asked.refused(f"{fault}.", of=int(evidence.table["evening"].nunique()))


def answers(questions: Sequence[Question], evidence: Evidence) -> Answers:
    """Answer several questions, for whose number p is adjusted.

    Parameters
    ----------
    questions
        Those written before the data are one family (Holm), those that came after another
        (Benjamini and Hochberg), whose verdicts are ideas.
    evidence
        See :class:`Evidence`.

    Returns
    -------
    Answers
        A claim whose adjusted p is 0.05 or more is taken back to NOT SHOWN. Verdicts that rest on
        an interval that lies within the difference that matters (H3 and H6, SUPPORTED) stand. A
        question that cannot be put to this log (a band it does not have) is CANNOT TELL YET, with
        the reason.

    Raises
    ------
    InputError
        On no questions.
    """
    if not questions:
        raise InputError("there is no question to answer")
    found = [_answer_or_why_not(one, evidence) for one in questions]
    for method, before in (("holm", True), ("exploring", False)):
        places = [i for i, one in enumerate(found) if one.asked_before is before]
        family = _as_family([found[i] for i in places], method)
        for i, one in zip(places, family, strict=True):
            found[i] = one
    return Answers(tuple(questions), tuple(found))


def _led(table: pd.DataFrame, a: str, b: str) -> tuple[str, str]:
    """Two bands in the order in which they seem to open; an idea has no direction of its own."""
    return (b, a) if first_at_dusk(table, a, b).word == AGAINST else (a, b)


def explore(evidence: Evidence) -> Answers:
    """All that a log can be asked, as ideas for questions to write down and listen for anew.

    H1 for every pair of bands, H2, H3 for every band, H4, H5, H7 for every band two hours after
    sunset, H8 for every pair
    of setups used on the same evening, and H6 where there are predictions; of more than six bands
    those with the most checks. Every verdict says that it is an idea; p are adjusted after
    Benjamini and Hochberg.
    """
    table = evidence.table
    useful = table[table["heard"].notna()]
    most = useful["band"].value_counts(sort=True).index[:_MOST_BANDS]
    khz = useful.groupby("band")["freq_khz"].min()
    bands = sorted((str(name) for name in most), key=lambda name: float(khz[name]))
    listed: list[tuple[str, dict[str, Any]]] = [
        ("H1", dict(zip("ab", _led(table, *pair), strict=True))) for pair in combinations(bands, 2)
    ]
    if len(bands) > 2:
        listed.append(("H2", {"bands": bands}))
    listed += [("H3", {"band": band}) for band in bands]
    listed += [("H4", {}), ("H5", {})]
    if evidence.said is not None:
        listed.append(("H6", {}))
    listed += [("H7", {"channel": band, "from_min": _LATE_MIN}) for band in bands]
    evenings = useful.groupby("setup_id")["evening"].agg(set).to_dict()
    listed += [
        ("H8", {"a": str(a), "b": str(b)})
        for a, b in combinations(evenings, 2)
        if evenings[a] & evenings[b]
    ]
    # dated with the last check: after the data, whatever the clock says
    last = iso_text(float(unix_s(table["end_utc"]).max()))
    asked = [
        Question(hunch=hunch, text=HUNCHES[hunch], parameters=given, written_utc=last)
        for hunch, given in listed
    ]
    return answers(asked, evidence)

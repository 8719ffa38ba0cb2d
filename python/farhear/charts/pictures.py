"""Charts of a result, at the result: `plan.plot.ladder()`, `study.plot.openings("31 m")`.

Each gives a :class:`Picture`: the drawing with its text in words and its table, which a notebook
shows and `save` writes. Nothing is drawn here that :mod:`farhear.charts` does not have.
"""

from __future__ import annotations

import base64
import html
import inspect
import io
from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure

from farhear import charts, evenings, skywave
from farhear.charts import _layout, _style
from farhear.errors import InputError
from farhear.path import locator
from farhear.study import hearing_by_hour

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path

    import pandas as pd
    import xarray as xr
    from matplotlib.axes import Axes

    from farhear.club import Club
    from farhear.evening import Plan
    from farhear.indices import Indices
    from farhear.reception import Explanation
    from farhear.reliability import Reliability
    from farhear.schedule import Schedule
    from farhear.station import Station
    from farhear.verdicts import Verdict

__all__ = [
    "AnswerPictures",
    "ClubPictures",
    "ExplanationPictures",
    "IndicesPictures",
    "LogPictures",
    "Picture",
    "PlanPictures",
    "ReliabilityPictures",
    "SchedulePictures",
    "SeasonPictures",
    "StationPictures",
    "StudyPictures",
]

_SHOWN_DPI = 130


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """A drawing, what it says in words, and the table it draws.

    Attributes
    ----------
    drawn
        matplotlib Axes, or the Figure of a page of panels.
    alt
        The picture in words.
    data
        Its numbers.
    """

    drawn: Axes | Figure
    alt: str
    data: pd.DataFrame

    @classmethod
    def of(cls, draw: Callable[..., Axes | Figure], *what: Any, **how: Any) -> Picture:
        """Draw with a function of :mod:`farhear.charts`, with its words and its table.

        Examples
        --------
        >>> from farhear import charts, reception
        >>> why = reception.explain(45.0, 25.0, 58.4, 26.7, 9600.0, "2026-03-15T18:00Z",
        ...                         power_kw=100.0, f107_sfu=140.0)
        >>> charts.Picture.of(charts.loss_budget, why).data["item"].tolist()[-1]
        'margin'
        """
        made = []
        for tail in ("", "_alt", "_data"):  # what is only for the eye, the other two do not take
            function = getattr(charts, draw.__name__ + tail)
            takes = inspect.signature(function).parameters
            made.append(function(*what, **{key: how[key] for key in how if key in takes}))
        return cls(*made)

    @property
    def figure(self) -> Figure:
        """The whole figure."""
        return _layout.root(self.drawn)

    def save(self, path: str | Path) -> str:
        """Write SVG, PNG or PDF by the ending of the name; see :func:`farhear.charts.export`."""
        return charts.export(self.drawn, path, self.alt, self.data)

    def _repr_html_(self) -> str:
        stream = io.BytesIO()
        with mpl.rc_context(_style.RC):
            self.figure.savefig(stream, format="png", dpi=_SHOWN_DPI)
        code = base64.b64encode(stream.getvalue()).decode()
        words = html.escape(self.alt)
        style = f"width:{self.figure.get_figwidth():.2f}in;max-width:100%"
        return f'<img alt="{words}" style="{style}" src="data:image/png;base64,{code}">'


def _only(table: pd.DataFrame, band: str | None) -> pd.DataFrame:
    """Rows of a band; of the only one, where none is named."""
    names = list(dict.fromkeys(table["band"].astype(str)))
    if band is None:
        return table
    if band not in names:
        raise InputError(f"band = {band!r}: there is {', '.join(names) or 'none'}")
    return table[(table["band"].astype(str) == band).to_numpy(bool)]


def _cell(station: Station, characters: int = 4) -> str:
    """Locator of the home, coarse: pictures get shared."""
    return str(locator(station.lat_deg, station.lon_deg, characters))


@dataclass(frozen=True, slots=True)
class StationPictures:
    """Charts of a home."""

    station: Station

    def day_night(
        self,
        utc: Any,
        tx_lat_deg: float = float("nan"),
        tx_lon_deg: float = float("nan"),
        *,
        site: str = "transmitter",
        ax: Axes | None = None,
    ) -> Picture:
        """Day and night over the world, and the way from a transmitter.

        The home is shown as its cell of 1 x 2 degrees. See :func:`farhear.charts.day_night`.
        """
        drawn = charts.day_night_of(
            utc, home=_cell(self.station), tx_lat_deg=tx_lat_deg, tx_lon_deg=tx_lon_deg, site=site
        )
        return Picture.of(charts.day_night, drawn, ax=ax)


@dataclass(frozen=True, slots=True)
class SchedulePictures:
    """Charts of a schedule."""

    schedule: Schedule

    def around(
        self, station: Station, *, reach_km: float | None = None, ax: Axes | None = None
    ) -> Picture:
        """Transmitters and their beams round a home, by true direction and distance.

        The home is shown as its cell of 1 x 2 degrees. See :func:`farhear.charts.around_home`.
        """
        home = _cell(station)
        places = charts.around_home_of(self.schedule.frame, home)
        return Picture.of(charts.around_home, places, home, reach_km=reach_km, ax=ax)


@dataclass(frozen=True, slots=True)
class PlanPictures:
    """Charts of an evening."""

    plan: Plan

    def ladder(self, *, lanes: int = 27, ax: Axes | None = None) -> Picture:
        """Bands over time, a bar a broadcast. See :func:`farhear.charts.evening_ladder`."""
        return Picture.of(charts.evening_ladder, self.plan, lanes=lanes, ax=ax)

    def budget(self, row: int = 0, *, ax: Axes | None = None) -> Picture:
        """Loss budget of one broadcast at its best. See :func:`farhear.charts.loss_budget`."""
        return self.plan.explanation(row).plot.budget(title=self.plan.heading(row), ax=ax)

    def rays(self, row: int = 0, *, ax: Axes | None = None) -> Picture:
        """Rays of one broadcast through the layers. See :func:`farhear.charts.rays`."""
        circuit = self.plan.circuit(row)
        line = ("tx_lat_deg", "tx_lon_deg", "rx_lat_deg", "rx_lon_deg", "freq_khz", "utc")
        shared = {name: circuit[name] for name in (*line, "f107_sfu")}
        sent = {name: circuit[name] for name in ("power_kw", "tx_pattern_dbi")}
        modes = skywave.modes(**shared, **sent)
        drawn = charts.rays_of(**shared, modes=modes, title=self.plan.heading(row))
        return Picture.of(charts.rays, drawn, ax=ax)


@dataclass(frozen=True, slots=True)
class ExplanationPictures:
    """Charts of one circuit at one instant."""

    why: Explanation

    def budget(self, *, title: str = "", ax: Axes | None = None) -> Picture:
        """Gains and losses down to the margin. See :func:`farhear.charts.loss_budget`."""
        return Picture.of(charts.loss_budget, self.why, title=title, ax=ax)


class _EveningPictures(ABC):
    """Charts of openings and of how often it was heard; no `band`: a page with a panel for each."""

    title: str

    @abstractmethod
    def _openings(self, band: str | None) -> pd.DataFrame: ...

    @abstractmethod
    def _hours(self, band: str | None) -> pd.DataFrame: ...

    def openings(
        self,
        band: str | None = None,
        model: xr.Dataset | pd.DataFrame | None = None,
        *,
        ax: Axes | None = None,
    ) -> Picture:
        """Between which two checks a band opened, evening by evening.

        See :func:`farhear.charts.openings`, also for `model`, which goes with one band.
        """
        if band is not None:
            return Picture.of(charts.openings, self._openings(band), model, ax=ax)
        _no_axes(ax)
        if model is not None:
            raise InputError("model is given without a band: a page of several bands has no curve")
        return Picture.of(charts.openings_page, self._openings(None), title=self.title)

    def hearing(self, band: str | None = None, *, ax: Axes | None = None) -> Picture:
        """How often it was heard, by half hour, over the number of checks.

        See :func:`farhear.charts.hearing_rate`.
        """
        if band is not None:
            return Picture.of(charts.hearing_rate, self._hours(band), ax=ax)
        _no_axes(ax)
        return Picture.of(charts.hearing_page, self._hours(None), title=self.title)


@dataclass(frozen=True, slots=True)
class LogPictures(_EveningPictures):
    """Charts of a log at its home; `table` from :func:`farhear.evenings.table`."""

    table: pd.DataFrame
    title: str
    time_zone: str

    def _openings(self, band: str | None) -> pd.DataFrame:
        return evenings.openings(_only(self.table, band))

    def _hours(self, band: str | None) -> pd.DataFrame:
        return hearing_by_hour(_only(self.table, band), seed=1)

    def raster(self, band: str | None = None, *, ax: Axes | None = None) -> Picture:
        """Every check, day by day. See :func:`farhear.charts.log_raster`."""
        return Picture.of(
            charts.log_raster, _only(self.table, band), time_zone=self.time_zone, ax=ax
        )


@dataclass(frozen=True, slots=True)
class AnswerPictures:
    """Charts of verdicts, or of what `results.json` of a study says of them."""

    verdicts: Sequence[Verdict | Mapping[str, Any]]

    def forest(self, *, ax: Axes | None = None) -> Picture:
        """Effects and intervals of all questions. See :func:`farhear.charts.forest`."""
        return Picture.of(charts.forest, self.verdicts, ax=ax)


@dataclass(frozen=True, slots=True)
class StudyPictures(AnswerPictures, _EveningPictures):
    """Charts of a study's results; in one of a club the bands carry the listener's name."""

    title: str
    openings_table: pd.DataFrame
    hours_table: pd.DataFrame

    def _openings(self, band: str | None) -> pd.DataFrame:
        return _only(self.openings_table, band)

    def _hours(self, band: str | None) -> pd.DataFrame:
        return _only(self.hours_table, band)


def _no_axes(ax: Axes | None) -> None:
    if ax is not None:
        raise InputError("ax is given without a band: a page of several bands makes its own axes")


@dataclass(frozen=True, slots=True)
class ReliabilityPictures:
    """Charts of what was heard when so much was said."""

    told: Reliability

    def diagram(self, *, ax: Axes | None = None) -> Picture:
        """Share heard over likelihood told. See :func:`farhear.charts.reliability`."""
        return Picture.of(charts.reliability, self.told, ax=ax)


@dataclass(frozen=True, slots=True)
class ClubPictures:
    """Charts of several members' logs."""

    club: Club

    def coverage(self, *, by: str = "week", ax: Axes | None = None) -> Picture:
        """Who listened when, or on which bands. See :func:`farhear.charts.club_coverage`."""
        return Picture.of(charts.club_coverage, self.club, by=by, ax=ax)


@dataclass(frozen=True, slots=True)
class IndicesPictures:
    """Charts of the solar record."""

    indices: Indices

    def strip(self, first: Any = None, last: Any = None, *, under: Axes | None = None) -> Picture:
        """Solar flux and Kp over some dates (ends included), or under the dates of a chart.

        See :func:`farhear.charts.solar_strip`.
        """
        frame = self.indices.frame
        days = frame["date"].to_numpy("datetime64[D]")
        keep = np.ones(days.size, bool)
        if first is not None:
            keep &= days >= _day("first", first)
        if last is not None:
            keep &= days <= _day("last", last)
        return Picture.of(charts.solar_strip, frame[keep], under=under)


def _day(name: str, value: Any) -> np.datetime64:
    try:
        return np.datetime64(value, "D")
    except (ValueError, TypeError):
        raise InputError(f"{name} = {value!r} is no date") from None


@dataclass(frozen=True, slots=True)
class SeasonPictures:
    """Charts of a season."""

    season: xr.Dataset

    def hours(self, band: str | None = None, *, ax: Axes | None = None) -> Picture:
        """Likelihood over date and hour; without a band a page with all.

        See :func:`farhear.charts.likelihood_hours` and :func:`farhear.charts.hours_page`.
        """
        if band is None:
            _no_axes(ax)
            return Picture.of(charts.hours_page, self.season)
        return Picture.of(charts.likelihood_hours, self.season, band, ax=ax)

    def dusk(self) -> Picture:
        """When each band opens after sunset, by weeks. See :func:`farhear.charts.dusk_page`."""
        return Picture.of(charts.dusk_page, self.season)

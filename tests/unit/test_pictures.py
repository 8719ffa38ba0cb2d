"""Charts at their results, the pages of panels, and how results look in a notebook."""

from __future__ import annotations

import html
from html.parser import HTMLParser
from importlib.resources import as_file, files
from io import BytesIO
from typing import Any

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from PIL import Image

import farhear as fh
from farhear import charts
from farhear.charts.pictures import Picture
from farhear.reliability import reliability
from farhear.schedule import Schedule
from farhear.station import Station
from farhear.study import hearing_by_hour

import sys  # isort: skip
from pathlib import Path  # isort: skip

sys.path.insert(0, str(Path(__file__).parent))
from _chart_checks import FAR_NORTH, WEST, check_contrast, made, words

SCRIPT = "</td><script>alert(1)</script><img src=x onerror=alert(1)>"


@pytest.fixture(scope="module")
def schedule() -> Schedule:
    with as_file(files("farhear") / "data" / "demo" / "schedule_b24.csv") as path:
        return fh.read_schedule(path, days="iso", season="B24")


@pytest.fixture(scope="module")
def plan(schedule: Schedule) -> Any:
    return fh.plan(WEST, schedule, "2024-11-27")


def season_at(station: Station, schedule: Schedule, days: list[str], **more: Any) -> xr.Dataset:
    return fh.season_study(station, schedule, "B24", dates=days, f107_sfu=180.0, **more)


@pytest.fixture(scope="module")
def season(schedule: Schedule) -> xr.Dataset:
    return season_at(WEST, schedule, [f"2024-11-{day:02}" for day in range(11, 25)])


@pytest.fixture(scope="module")
def log() -> Any:
    return made(evenings=30)


@pytest.fixture(scope="module")
def study(log: Any, tmp_path_factory: pytest.TempPathFactory) -> Any:
    folder = tmp_path_factory.mktemp("study") / "dusk"
    file = folder.parent / "log.csv"
    fh.write_log(log.frame, file)
    question = fh.Question(
        hunch="H1",
        text="Does 31 m open before 49 m?",
        parameters={"a": "31 m", "b": "49 m"},
        written_utc="2024-09-01T12:00Z",
    )
    fh.questions.add_question(folder, question)
    return fh.Study.create(
        folder, title="Invented dusk", station=log.station, log=fh.read_log(file), note="Invented."
    )


class Tags(HTMLParser):
    """Tags and text of a piece of HTML as a browser would see them."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data


def check(picture: Picture, tmp_path: Path) -> None:
    """A picture is shown with its words, and its file carries the digest of its table."""
    assert len(picture.alt) > 30
    assert isinstance(picture.data, pd.DataFrame)
    ((tag, attributes),) = Tags(picture._repr_html_()).tags
    assert tag == "img"
    assert attributes["alt"] == picture.alt
    sha256 = picture.save(tmp_path / "picture.png")
    with Image.open(tmp_path / "picture.png") as image:
        image.load()
        assert image.info["Data-SHA-256"] == sha256  # type: ignore[attr-defined]
        assert image.info["Description"] == picture.alt  # type: ignore[attr-defined]


# At their results -------------------------------------------------------------------------------


def test_a_result_brings_its_charts(plan: Any, schedule: Schedule, tmp_path: Path) -> None:
    pictures = [
        plan.plot.ladder(),
        plan.plot.budget(0),
        plan.plot.rays(0),
        plan.explanation(3).plot.budget(),
        schedule.plot.around(WEST, reach_km=4000.0),
        WEST.plot.day_night("2024-11-27T17:00Z", 45.0, 25.0),
        fh.load_indices().plot.strip("2024-10-01", "2024-12-31"),
    ]
    for picture in pictures:
        check(picture, tmp_path)
    assert len(pictures[-1].data) == 92
    assert "58.4" not in pictures[5].alt
    ladder = charts.evening_ladder_data(plan)
    pd.testing.assert_frame_equal(pictures[0].data, ladder)


def test_a_picture_is_drawn_where_it_is_told(plan: Any, season: xr.Dataset) -> None:
    page = charts.pictures.Figure()
    axes = page.subplots(2)
    first = plan.plot.ladder(ax=axes[0])
    second = season.farhear.plot.hours("49 m", ax=axes[1])
    assert first.drawn is axes[0]
    assert first.figure is second.figure is page


def test_season_has_pages_and_single_bands(season: xr.Dataset, tmp_path: Path) -> None:
    for picture in (
        season.farhear.plot.hours(),
        season.farhear.plot.hours("31 m"),
        season.farhear.plot.dusk(),
    ):
        check(picture, tmp_path)
    page = season.farhear.plot.hours()
    assert len(page.data) == season["far_likelihood"].size
    shown = page.data.set_index(["band", "date", "hour_utc"])["far_likelihood"]
    stamp = pd.Timestamp("2024-11-15")
    there = float(season["far_likelihood"].sel(band="31 m", date=stamp, hour_utc=17))
    assert shown["31 m", stamp, 17] == there
    check_contrast(page.figure)
    assert len(season.farhear.weeks()) > 0
    assert len(season.farhear.summary()) == season.sizes["band"]
    with pytest.raises(fh.InputError, match="1 m"):
        season.farhear.plot.hours("1 m")
    with pytest.raises(fh.InputError, match="without a band"):
        season.farhear.plot.hours(ax=page.figure.axes[0])


@pytest.mark.parametrize(
    "station",
    [
        FAR_NORTH,
        Station(name="East", lat_deg=-16.8, lon_deg=179.9, time_zone="Pacific/Fiji"),
        Station(name="Low", lat_deg=-0.1, lon_deg=-78.5, time_zone="America/Guayaquil"),
    ],
    ids=lambda one: one.name,
)
@pytest.mark.parametrize("days", [["2024-12-20"], ["2024-12-01", "2024-12-20", "2025-01-05"]])
def test_season_pages_at_the_ends_of_the_world(
    station: Station, days: list[str], schedule: Schedule, tmp_path: Path
) -> None:
    few = fh.Schedule(
        **{
            name: getattr(schedule, name)
            for name in ("rejects", "warnings", "source", "sha256", "season")
        },
        frame=schedule.frame.iloc[:12],
        rows_read=12 + schedule.rows_rejected,
    )
    season = season_at(station, few, days)
    check(season.farhear.plot.hours(), tmp_path)
    check(season.farhear.plot.dusk(), tmp_path)
    nothing = season.copy(deep=True)
    for name in ("far_likelihood", "dusk_opening_min"):
        nothing[name][:] = np.nan
    page = nothing.farhear.plot.hours()
    check(page, tmp_path)
    assert "no site beyond" in words(page.figure.axes[0])
    check(nothing.farhear.plot.dusk(), tmp_path)


def test_log_and_study_have_the_same_charts(log: Any, study: Any, tmp_path: Path) -> None:
    with pytest.raises(fh.InputError, match="run the study first"):
        _ = study.plot
    worked = study.run(page=False)
    read = fh.read_log(study.folder.parent / "log.csv")
    of_log = read.plot(log.station)
    for plots in (of_log, worked.plot, study.plot):
        check(plots.openings(), tmp_path)
        check(plots.openings("31 m"), tmp_path)
        check(plots.hearing(), tmp_path)
        check(plots.hearing("31 m"), tmp_path)
        with pytest.raises(fh.InputError, match="band = '13 m': there is"):
            plots.openings("13 m")
        with pytest.raises(fh.InputError, match="without a band"):
            plots.hearing(ax=plots.hearing("31 m").drawn)
    check(of_log.raster("31 m"), tmp_path)
    check(worked.plot.forest(), tmp_path)
    figures = ["effect", "low", "high", "word"]
    of_both = (one.plot.forest().data[figures] for one in (worked, study))
    pd.testing.assert_frame_equal(*of_both)
    pd.testing.assert_frame_equal(worked.plot.openings().data, study.plot.openings().data)
    assert (study.folder / "charts" / "openings.svg").read_text().count("<title>") == 1


def test_answers_and_reliability(log: Any, tmp_path: Path) -> None:
    verdict = fh.hunch.first_at_dusk(log.table, "31 m", "49 m")
    check(verdict.plot.forest(), tmp_path)
    random = np.random.default_rng(3)
    told = random.uniform(size=400)
    utc = np.datetime64("2024-10-01T18:00", "s") + np.arange(400) * np.timedelta64(6, "h")
    heard = (random.uniform(size=400) < told).astype(float)
    check(reliability(told, heard, utc).plot.diagram(), tmp_path)


def test_strip_takes_dates_only() -> None:
    plots = fh.load_indices().plot
    with pytest.raises(fh.InputError, match="first = 'soon' is no date"):
        plots.strip(first="soon")


# Pages of a log ---------------------------------------------------------------------------------


def test_pages_draw_every_evening_and_half_hour(log: Any) -> None:
    found = fh.evenings.openings(log.table)
    page = charts.openings_page(found, title="Invented")
    bars = sum(
        len(one.get_segments())
        for axis in page.axes
        for one in axis.collections
        if one.get_gid() == "interval"
    )
    both = np.isfinite(found["low_min"]) & np.isfinite(found["high_min"])
    assert bars == both.sum() > 0
    assert [axis.get_title("left") for axis in page.axes] == ["49 m", "41 m", "31 m"]
    data = charts.openings_page_data(found)
    assert len(data) == len(found)
    hours = hearing_by_hour(log.table, seed=1)
    page = charts.hearing_page(hours, title="Invented")
    drawn = sum(
        len(one.get_xdata())
        for axis in page.axes
        for one in axis.lines
        if one.get_gid() in ("share", "thin share")
    )
    assert drawn == len(charts.hearing_page_data(hours)) == len(hours)
    check_contrast(page)


def test_pages_of_nothing_say_so(log: Any) -> None:
    found = fh.evenings.openings(log.table)[:0]
    hours = hearing_by_hour(log.table, seed=1)[:0]
    assert "no evening" in words(charts.openings_page(found, title="Invented").axes[0])
    assert "no check" in words(charts.hearing_page(hours, title="Invented").axes[0])
    assert "no evening" in charts.openings_page_alt(found, title="Invented")
    assert "no check" in charts.hearing_page_alt(hours, title="Invented")
    assert charts.openings_page_data(found).empty
    assert charts.hearing_page_data(hours).empty


# In a notebook ----------------------------------------------------------------------------------


def test_home_is_not_given_away_by_looking_at_it() -> None:
    shown = WEST._repr_html_()
    assert "58.4" not in shown
    assert "26.7" not in shown
    assert "KO38" in shown


def test_text_of_a_file_is_shown_and_never_run(tmp_path: Path) -> None:
    file = tmp_path / "log.csv"
    cells = f"2024-11-27T17:00Z,2024-11-27T17:05Z,9485,heard,{SCRIPT},{SCRIPT}\n"
    bad = "soon,,9485,heard,<b>x</b>,\n"
    head = "start_utc,end_utc,freq_khz,outcome,identity,notes\n"
    file.write_text(head + cells + bad)
    read = fh.read_log(file)
    assert (len(read), read.rows_rejected) == (1, 1)
    station = Station(name=SCRIPT, lat_deg=58.4, lon_deg=26.7, time_zone="Europe/Tallinn")
    verdict = fh.verdicts.Verdict(
        hunch="H1", question=SCRIPT, word="NOT SHOWN", sentence=SCRIPT, notes=(SCRIPT,)
    )
    for result, count in ((read, 2), (station, 1), (verdict, 3)):
        seen = Tags(result._repr_html_())
        names = {tag for tag, _ in seen.tags}
        assert names <= {"div", "p", "strong", "small", "br"} | {"table", "thead", "tbody"} | {
            *("tr", "th", "td")
        }
        assert not any(attributes.keys() - {"scope"} for _, attributes in seen.tags)
        assert seen.text.count(SCRIPT) == count
    assert "line 3" in read._repr_html_()
    assert "refused: 1" in read._repr_html_()


def test_every_result_shows_itself(
    plan: Any, schedule: Schedule, study: Any, season: xr.Dataset
) -> None:
    seen = Tags(schedule._repr_html_()).text
    assert f"read: {schedule.rows_read} rows" in seen
    assert f"and {len(schedule) - 10} rows more" in seen
    seen = Tags(plan._repr_html_()).text
    assert "Evening at Home" in seen
    assert plan.frame["broadcaster"].iloc[0] in seen
    study.run(charts=False, page=False)
    assert "Invented dusk" in study._repr_html_()
    worked = study.worked_out()
    found = html.unescape(worked.answers._repr_html_())
    assert worked.answers.verdicts[0].sentence in found
    assert isinstance(season.farhear.weeks(), pd.DataFrame)


def test_picture_in_a_notebook_is_the_size_of_its_page(season: xr.Dataset) -> None:
    import base64

    picture = season.farhear.plot.dusk()
    ((_, attributes),) = Tags(picture._repr_html_()).tags
    code = str(attributes["src"]).removeprefix("data:image/png;base64,")
    with Image.open(BytesIO(base64.b64decode(code))) as image:
        wide, high = image.size
    assert wide / high == pytest.approx(charts.A5_IN[0] / charts.A5_IN[1], rel=0.01)
    assert "8.27in" in str(attributes["style"])

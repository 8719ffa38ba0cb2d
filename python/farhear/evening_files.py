"""A plan as files: CSV, calendar (iCalendar, RFC 5545), and a page that opens offline.

A plan tells distances and directions from home to known sites, and sunset at home: from these the
home can be worked out. Table and page are for your own use. The calendar leaves them out, and the
edge of a window too, which by default follows the sunset.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from farhear import clock
from farhear._core import __version__
from farhear._files import put
from farhear.errors import InputError
from farhear.tables import csv_text

if TYPE_CHECKING:
    import pandas as pd

    from farhear.evening import Plan

__all__ = ["write_calendar", "write_page", "write_table"]

_HALF_HOUR_S = 1800.0


def write_table(plan: Plan, path: str | Path) -> None:
    """Write all rows and columns of a plan as CSV; times as 2026-11-25T18:00Z and as wall time.

    Raises
    ------
    OSError
        When the file cannot be written.
    """
    out = plan.frame.copy()
    for name in out.columns:
        if name.endswith("_utc"):
            out[name] = out[name].dt.round("min").dt.strftime("%Y-%m-%dT%H:%MZ")
        elif name.endswith("_local"):
            out[name] = out[name].dt.strftime("%Y-%m-%dT%H:%M")
    out = out.round({"likelihood": 3, "likelihood_mean": 3, "snr_db": 1})
    out = out.round({"azimuth_deg": 0, "distance_km": 0})
    put(Path(path), csv_text(out).encode("utf-8"))


def write_calendar(plan: Plan, path: str | Path, *, at_least: float = 0.5) -> int:
    """Write the broadcasts of a plan as events; return how many.

    Parameters
    ----------
    plan
        From `farhear.plan`.
    path
        Ends in .ics by custom.
    at_least
        Likelihood from which a broadcast becomes an event, [0, 1].

    Raises
    ------
    InputError
        On a likelihood out of range.
    OSError
        When the file cannot be written.

    Notes
    -----
    Written again, the same plan gives the same bytes: the stamp is the half hour in which the
    window begins, and events have the same UID, so that a calendar renews them and does not double
    them. A broadcast that is on the air before the window begins has an event from that half hour
    on, or from its own start if that is later: sunset at home, less an hour, is not in the file.
    """
    from icalendar import Calendar, Event

    if not 0.0 <= at_least <= 1.0:
        raise InputError(f"at_least = {at_least!r} is outside [0, 1]")
    calendar = Calendar()
    calendar.add("prodid", f"-//farhear//{__version__}//EN")
    calendar.add("version", "2.0")
    begin_s = float(plan.window.unix_s[0])
    stamp = _instant(begin_s // _HALF_HOUR_S * _HALF_HOUR_S)
    wanted = plan.frame[plan.frame["likelihood"] >= at_least].sort_values(
        ["start_utc", "freq_khz"], kind="stable"
    )
    for rank, line in zip(wanted.index, wanted.to_dict("records"), strict=True):
        start, end = line["start_utc"].to_pydatetime(), line["end_utc"].to_pydatetime()
        is_cut = start.timestamp() == begin_s and bool(begin_s % _HALF_HOUR_S)
        if is_cut:
            start = max(stamp, _instant(_began_s(plan, rank, begin_s)))
        event = Event()
        key = f"{line['freq_khz']:g}|{line['broadcaster']}|{start.isoformat()}|{line['row']}"
        event.add("uid", f"{hashlib.sha256(key.encode()).hexdigest()[:32]}@farhear")
        event.add("dtstamp", stamp)
        event.add("dtstart", start)
        event.add("dtend", end)
        language = f" ({line['language']})" if line["language"] else ""
        event.add("summary", f"{line['freq_khz']:g} kHz {line['broadcaster']}{language}")
        event.add("description", "\n".join(_sentences(line, start, end, is_cut)))
        event.add("transp", "TRANSPARENT")
        calendar.add_component(event)
    put(Path(path), calendar.to_ical())
    return len(wanted)


def _instant(unix_s: float) -> dt.datetime:
    return dt.datetime.fromtimestamp(unix_s, dt.UTC)


def _began_s(plan: Plan, rank: int, begin_s: float) -> float:
    """When a broadcast that is on the air at the beginning of the window began. [s]"""
    position = plan._position[rank : rank + 1]
    _, from_s, _ = plan._air.schedule.stretches(position, begin_s - _HALF_HOUR_S, begin_s + 1.0)
    return float(from_s[-1])


def _sentences(
    line: dict[Any, Any], start: dt.datetime, end: dt.datetime, is_cut: bool
) -> list[str]:
    best = line["best_utc"]
    at = f" at {best:%H:%M} UTC ({line['best_local']:%H:%M} local time)"
    if is_cut and best.timestamp() % _HALF_HOUR_S:
        at = ""  # the middle of what is left tells where the window begins
    return [
        f"likelihood {line['likelihood']:.2f}{at}, {line['strength']}",
        f"{line['mode']}: {line['mode_reason']}",
        f"{clock.WEEKDAYS[start.weekday()][:3]} {start:%H:%M} to "
        f"{clock.WEEKDAYS[end.weekday()][:3]} {end:%H:%M} UTC",
    ]


def write_page(plan: Plan, path: str | Path, *, title: str) -> None:
    """Write a plan as one HTML page without anything from outside; prints on paper, too.

    Raises
    ------
    OSError
        When the file cannot be written.
    """
    import jinja2

    source = (files("farhear") / "templates" / "evening.html").read_text(encoding="utf-8")
    environment = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined)
    environment.globals["farhear_version"] = __version__
    text = environment.from_string(source).render(
        title=title,
        rows=plan.frame.to_dict("records"),
        ladder=ladder(plan),
        notes=plan.notes,
        sunset=home_sunset(plan),
    )
    put(Path(path), text.encode("utf-8"))


def home_sunset(plan: Plan) -> str:
    """Sunset at home, and sunrise when it is inside the window, in a sentence; empty for none."""
    if plan.frame.empty:
        return ""
    first = plan.frame.iloc[0]
    begin_s, end_s = plan.window.unix_s.tolist()
    parts = []
    for word in ("sunset", "sunrise"):
        when = first[f"home_{word}_utc"]
        if when == when and (word == "sunset" or begin_s <= when.timestamp() < end_s):
            when = when.round("min")
            local = clock.to_local(when, plan.time_zone).item()
            parts.append(f"{word} at home {when:%H:%M} UTC, {local:%H:%M} local time")
    return "; ".join(parts)


def ladder(plan: Plan) -> dict[str, Any]:
    """Best likelihood by band and time: `times` [(utc, local)], `bands` {name: {utc: group}}."""
    groups: pd.DataFrame = plan.groups
    times = groups[["utc", "local"]].drop_duplicates().sort_values("utc")
    bands: dict[str, dict[Any, Any]] = {}
    for group in groups.to_dict("records"):
        bands.setdefault(group["band"], {})[group["utc"]] = group
    return {"times": list(times.itertuples(index=False, name=None)), "bands": bands}

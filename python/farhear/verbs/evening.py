"""farhear evening, farhear identify: what to listen to tonight, and what that was."""

from __future__ import annotations

import argparse
import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.console import Console

from farhear import clock, listening
from farhear.errors import InputError
from farhear.tables import plain_name
from farhear.verbs.shared import (
    add_schedule,
    add_station,
    say_faults,
    say_schedule,
    say_table,
    schedule_of,
    station_of,
)

if TYPE_CHECKING:
    import pandas as pd

    from farhear.calibrate import Fit
    from farhear.evening import Plan
    from farhear.indices import Indices
    from farhear.schedule import Schedule
    from farhear.station import Station

_LADDER_COLUMNS = 14


def add(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Make the verbs known."""
    evening = verbs.add_parser("evening", help="what to listen to on one evening, ranked")
    evening.set_defaults(run=_evening)
    add_station(evening)
    add_schedule(evening)
    evening.add_argument("--date", help="local date, YYYY-MM-DD (default: today at home)")
    evening.add_argument("--start", help="local time HH:MM (default: an hour before sunset)")
    evening.add_argument("--end", help="local time HH:MM (default: midnight)")
    _add_physics(evening)
    only = evening.add_argument_group("leave out")
    only.add_argument("--language", action="append", help="only this ISO 639-3 code; repeatable")
    only.add_argument("--target", action="append", help="only this target zone; repeatable")
    only.add_argument("--new", type=Path, metavar="LOG", help="only who is not heard in this log")
    only.add_argument("--at-least", type=float, default=0.1, help="likelihood to be shown (0.1)")
    only.add_argument("--rows", type=int, default=25, help="most rows on the screen (25)")
    evening.add_argument(
        "--why", type=float, action="append", metavar="KHZ", help="explain what is on this channel"
    )
    files = evening.add_argument_group("files")
    files.add_argument("--csv", type=Path, help="all rows and columns")
    files.add_argument("--calendar", type=Path, help="likely broadcasts as events (.ics)")
    files.add_argument("--page", type=Path, help="the evening as one page (.html)")
    files.add_argument(
        "--predictions",
        type=Path,
        metavar="TABLE",
        help="add the likelihoods, with the time of writing, to this table (CSV), so that the log "
        "can be held against them (farhear hunch, H6)",
    )
    evening.add_argument(
        "--calibration", type=Path, help="what your log taught (farhear score --calibrate)"
    )

    identify = verbs.add_parser("identify", help="what may have been heard on a frequency")
    identify.set_defaults(run=_identify)
    identify.add_argument("freq_khz", type=float, help="frequency on the dial, kHz")
    add_station(identify)
    add_schedule(identify)
    identify.add_argument("--utc", help="instant, 2026-11-25T18:05Z (default: now)")
    identify.add_argument("--local", help="the same as wall time at home, 2026-11-25T20:05")
    identify.add_argument("--language", help="ISO 639-3 code of the language recognised")
    identify.add_argument("--drift-khz", type=float, default=0.5, help="dial may be off by (0.5)")
    identify.add_argument("--if-khz", type=float, help="intermediate frequency, for images: 455")
    identify.add_argument("--rows", type=int, default=12, help="most rows on the screen (12)")
    _add_physics(identify)


def _add_physics(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--want", choices=list(listening.LADDER), help="what counts as heard")
    parser.add_argument("--f107", type=float, help="a fixed solar flux instead of the record")
    parser.add_argument("--indices", type=Path, help="table of solar indices of your own")


def _indices(options: argparse.Namespace) -> Indices | None:
    from farhear.indices import read_indices

    return read_indices(options.indices) if options.indices else None


def _say_inputs(options: argparse.Namespace, schedule: Schedule, out: Console) -> None:
    if options.demo:
        out.print("Demonstration: home, broadcasters and schedule are invented.")
    say_schedule(schedule, out)


def _evening(options: argparse.Namespace, out: Console) -> None:
    from farhear import evening, evening_files

    station, schedule, date = _on_a_date(options)
    if not 0.0 <= options.at_least <= 1.0:
        raise InputError(f"--at-least = {options.at_least:g} is outside [0, 1]")
    plan = evening.plan(
        station,
        schedule,
        date,
        start=options.start,
        end=options.end,
        rung=options.want,
        languages=options.language,
        targets=options.target,
        heard=_heard_in(options.new, schedule, station, out) if options.new else (),
        indices=_indices(options),
        f107_sfu=options.f107,
        fit=_fit(options.calibration, out) if options.calibration else None,
    )
    _say_inputs(options, schedule, out)
    weekday = clock.WEEKDAYS[dt.date.fromisoformat(date).weekday()]
    title = f"{weekday} {date} at {station.name}, {station.time_zone}"
    out.print(title)
    sunset = evening_files.home_sunset(plan)
    if sunset:
        out.print(f"{sunset[0].upper()}{sunset[1:]}.")
    _say_ladder(plan, out)
    _say_rows(plan, options, out)
    for note in plan.notes:
        out.print(f"Basis: {note}.", soft_wrap=True)
    for khz in options.why or ():
        rows = [i for i, at in enumerate(plan.frame["freq_khz"]) if abs(at - khz) < 0.5]
        if not rows:
            out.print(f"\n{_why_absent(schedule, khz)}", soft_wrap=True)
        for row in rows:
            out.print(f"\n{plan.why_not(row)}", soft_wrap=True)
    if options.csv:
        evening_files.write_table(plan, options.csv)
        out.print(f"{options.csv}: {len(plan.frame)} rows. It can place your home: keep it.")
    if options.calendar:
        count = evening_files.write_calendar(plan, options.calendar, at_least=0.5)
        out.print(f"{options.calendar}: {count} broadcasts of likelihood 0.5 or more.")
    if options.page:
        evening_files.write_page(plan, options.page, title=title)
        out.print(f"{options.page}: the page. It can place your home: keep it.")
    if options.predictions:
        from farhear.predictions import write_predictions

        count = write_predictions(plan, options.predictions)
        out.print(f"{options.predictions}: {count} likelihoods added, dated now.")


def _fit(path: Path, out: Console) -> Fit:
    """What a log taught; one that does not help in weeks it has not seen is used, and named so."""
    from farhear.calibrate import read_fit

    fit = read_fit(path)
    if not fit.recommended:
        out.print(f"{path}: {fit.sentence}", soft_wrap=True)
    return fit


def _on_a_date(options: argparse.Namespace) -> tuple[Station, Schedule, str]:
    """Home, broadcasters, and the local date; the season of --as-if and --demo is that date's."""
    station = station_of(options)
    date = options.date or str(
        clock.to_local(dt.datetime.now(dt.UTC), station.time_zone).astype("datetime64[D]")
    )
    return station, schedule_of(options, str(clock.season(_date_utc(date)))), date


def _date_utc(text: str) -> dt.datetime:
    try:
        day = dt.date.fromisoformat(text)
    except ValueError:
        raise InputError(f"--date = {text!r} is no date written YYYY-MM-DD") from None
    return dt.datetime.combine(day, dt.time(18), dt.UTC)


def _heard_in(path: Path, schedule: Schedule, station: Station, out: Console) -> list[str]:
    """Broadcasters of the lists that a log has as heard; small and capital letters are the same."""
    from farhear.log import read_log

    log = read_log(path, time_zone=station.time_zone)
    if log.rows_rejected:
        out.print(f"{log.source}: {log.rows_rejected} rows refused; they do not count as heard:")
        say_faults(log, out)
    named = log.frame.loc[log.frame["outcome"] == "heard", "identity"]
    known = {plain_name(name) for name in named}
    listed = schedule.frame["broadcaster"].unique().tolist()
    return [name for name in listed if plain_name(name) in known]


def _why_absent(schedule: Schedule, khz: float) -> str:
    """Say what the lists have on a channel that the plan has nothing on."""
    frame = schedule.frame
    there = frame[(frame["freq_khz"] - khz).abs() < 0.5].to_dict("records")
    if not there:
        return f"{khz:g} kHz: the lists have nothing there at any hour."
    listed = [
        f"{line['broadcaster']} {line['start_utc']}-{line['stop_utc']} UTC"
        f"{'' if line['days'] == '1234567' else ' on days ' + line['days']}"
        f"{', digital' if line['modulation'] == 'DIGITAL' else ''}"
        for line in there
    ]
    return (
        f"{khz:g} kHz: nothing there in these hours, or it is left out of the plan. The lists "
        f"have: {'; '.join(listed)}."
    )


def _say_ladder(plan: Plan, out: Console) -> None:
    from farhear.evening_files import ladder

    found = ladder(plan)
    times = found["times"][:: max(1, -(-len(found["times"]) // _LADDER_COLUMNS))]
    if not times:
        return
    rows = [["local", *(f"{local:%H:%M}" for _, local in times)]]
    for band, cells in found["bands"].items():
        shown = [f"{cells[utc]['likelihood']:.2f}" if utc in cells else "" for utc, _ in times]
        rows.append([band, *shown])
    columns = ("UTC", *(f"{utc:%H:%M}" for utc, _ in times))
    say_table("Likelihood of the best broadcast on the air, by broadcast band", columns, rows, out)


def _say_rows(plan: Plan, options: argparse.Namespace, out: Console) -> None:
    enough = plan.frame[plan.frame["likelihood"] >= options.at_least]
    shown = enough.head(max(0, options.rows))
    rows = [
        (
            f"{line['freq_khz']:g}",
            line["band"],
            f"{line['likelihood']:.2f}",
            _span(line, "utc"),
            _span(line, "local"),
            f"{line['broadcaster']}{' ' + line['language'] if line['language'] else ''}",
            line["strength"],
            line["mode"],
            f"{line['azimuth_deg']:.0f}",
            f"{line['distance_km']:.0f}",
            ""
            if line["tx_sunset_utc"] != line["tx_sunset_utc"]
            else f"{line['tx_sunset_utc'].round('min'):%H:%M}",
        )
        for line in shown.to_dict("records")
    ]
    columns = (
        "kHz",
        "band",
        "likely",
        "UTC",
        "local",
        "who",
        "strength",
        "mode",
        "from",
        "km",
        "dusk",
    )
    title = "The likeliest first; dusk: sunset at the transmitter, UTC"
    say_table(title, columns, rows, out, shrink="who")
    if len(enough) > len(shown):
        out.print(f"and {len(enough) - len(shown)} more of {options.at_least:g} or more (--rows).")
    rest = len(plan.frame) - len(enough)
    if rest:
        out.print(f"{rest} on the air are less likely than {options.at_least:g} (--at-least).")
    for line in shown.to_dict("records"):
        if line["mode"] != "AM" or line["neighbours"]:
            out.print(
                f"{line['freq_khz']:g} {line['mode']}: {line['mode_reason']}.", soft_wrap=True
            )


def _span(line: dict[Any, Any], name: str) -> str:
    """Wed 18:00-19:00, with the second weekday where it is another."""
    first, last = line[f"start_{name}_weekday"], line[f"end_{name}_weekday"]
    end = f"{line[f'end_{name}']:%H:%M}"
    return f"{first} {line[f'start_{name}']:%H:%M}-{end if first == last else f'{last} {end}'}"


def _identify(options: argparse.Namespace, out: Console) -> None:
    from farhear.identification import identify

    if options.utc and options.local:
        raise InputError("give --utc or --local, not both")
    now = dt.datetime.now(dt.UTC)
    given = options.utc or options.local
    station = station_of(options)
    schedule = schedule_of(options, str(clock.season(now if given is None else _rough(given))))
    when: Any = now
    if options.utc:
        when = options.utc
    elif options.local:
        when = clock.to_utc(options.local, station.time_zone)
    found = identify(
        station,
        schedule,
        when,
        options.freq_khz,
        language=options.language,
        drift_khz=options.drift_khz,
        if_khz=options.if_khz,
        indices=_indices(options),
        f107_sfu=options.f107,
        **({"rung": options.want} if options.want else {}),
    )
    _say_inputs(options, schedule, out)
    _say_found(found, options, out)


def _rough(text: str) -> dt.datetime:
    """About that time, to know the season of --demo and --as-if."""
    try:
        return dt.datetime.fromisoformat(text).replace(tzinfo=dt.UTC)
    except ValueError:
        raise InputError(f"time {text!r} is not ISO 8601, for example 2026-11-25T18:00Z") from None


def _say_found(found: pd.DataFrame, options: argparse.Namespace, out: Console) -> None:
    rows = []
    for line in found.head(max(1, options.rows)).to_dict("records"):
        who = line["broadcaster"] or "something that no list holds"
        likely = "" if line["kind"] == "something else" else f"{line['likelihood']:.2f}"
        rows.append(
            (
                f"{line['posterior']:.2f}",
                f"{who}{' ' + line['language'] if line['language'] else ''}",
                line["relation"] or line["kind"],
                likely,
                f"{line['start_utc']}-{line['stop_utc']}" if line["start_utc"] else "",
                line["site"],
            )
        )
    columns = ("probability", "who", "how", "receivable", "UTC", "site")
    say_table(f"What may be on {options.freq_khz:g} kHz", columns, rows, out, shrink="site")
    for line in found.head(3).to_dict("records"):
        if line["parallels"]:
            also = ", ".join(f"{khz:g} ({likely:.2f})" for khz, likely in line["parallels"][:6])
            out.print(
                f"Compare {line['broadcaster']} on {also} kHz: the same programme settles it.",
                soft_wrap=True,
            )
    for note in found.attrs["notes"]:
        out.print(f"Basis: {note}.", soft_wrap=True)

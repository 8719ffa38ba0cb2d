"""farhear season: how a whole season runs at one home."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from rich.console import Console
from rich.table import Table

from farhear.errors import InputError
from farhear.verbs.shared import (
    add_schedule,
    add_station,
    progress,
    say_schedule,
    schedule_of,
    station_of,
)

if TYPE_CHECKING:
    import xarray as xr

    from farhear.study import Study


def add(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Make the verb known."""
    season = verbs.add_parser("season", help="how a whole season runs at one home")
    season.set_defaults(run=_season)
    add_station(season)
    add_schedule(season)
    season.add_argument(
        "--f107", type=float, help="fixed 12-month solar flux instead of the record"
    )
    season.add_argument("--far-km", type=float, default=3000.0, help="what counts as far (3000)")
    season.add_argument("--from", dest="first", help="first date, YYYY-MM-DD (default: the season)")
    season.add_argument("--to", dest="last", help="last date, YYYY-MM-DD (default: the season)")
    season.add_argument("--out", type=Path, help="folder for the files (default: farhear-SEASON)")
    season.add_argument(
        "--study", type=Path, help="put the season into this study, worked out from its cell"
    )


def _dates(options: argparse.Namespace, season: str) -> list[np.datetime64] | None:
    """Dates of --from and --to; None for the whole season."""
    if options.first is None and options.last is None:
        return None
    from farhear import clock

    begin, end = clock.season_span(season).unix_s.tolist()
    first = np.datetime64(int(begin // 86400), "D")
    last = np.datetime64(int((end - 1.0) // 86400), "D")
    try:
        first = np.datetime64(options.first, "D") if options.first else first
        last = np.datetime64(options.last, "D") if options.last else last
    except ValueError as cause:
        raise InputError(f"--from or --to is no date written YYYY-MM-DD: {cause}") from None
    return list(np.arange(first, last + 1))


def _study(options: argparse.Namespace) -> Study | None:
    """The study that the season is for."""
    if options.study is None:
        return None
    if options.out or options.station:
        raise InputError("--study brings its own place and folder; leave --station and --out out")
    from farhear.study import Study

    return Study.open(options.study)


def _season(options: argparse.Namespace, out: Console) -> None:
    from farhear.folder import write_season
    from farhear.season import season_study

    season = options.season or ("B24" if options.demo else None)
    if season is None:
        raise InputError("--season is missing (or say --demo)")
    shared = _study(options)
    station = shared.about.station if shared else station_of(options)
    schedule = schedule_of(options, season)
    folder = shared.folder / f"season-{season}" if shared else options.out
    folder = folder or Path(f"farhear-{season}")
    if options.demo:
        out.print("Demonstration: home, broadcasters and schedule are invented.")
    say_schedule(schedule, out, " (see rejects.csv)")
    dates = _dates(options, season)
    with progress() as tick:
        study = season_study(
            station,
            schedule,
            season,
            dates=dates,
            far_km=options.far_km,
            f107_sfu=options.f107,
            progress=tick,
        )
    written = write_season(study, schedule, folder)
    if shared:
        shared.seal()
    _say_study(study, out)
    _say_rules(study, out)
    out.print(f"Files in {folder}: {', '.join(path.name for path in written)}", soft_wrap=True)


def _say_study(study: xr.Dataset, out: Console) -> None:
    from farhear.season import summary

    table = Table(
        title=f"Season {study.attrs['season']} at {study.attrs['station']}: sites "
        f"{study.attrs['far_km']:g} km or more away",
        caption="open: mean likelihood of the best circuit, as if on the air, at least "
        f"{study.attrs['threshold']:g}; local: clock of the middle date",
    )
    for name in ("band", "open, UTC", "open, local", "best hour", "opens after sunset, min"):
        table.add_column(name, justify="left")
    for row in summary(study).to_dict("records"):
        if row["opening_days"]:
            opens = (
                f"{row['opens_after_sunset_min']:+.0f} "
                f"({row['opens_after_sunset_min_p25']:+.0f} to "
                f"{row['opens_after_sunset_min_p75']:+.0f}) on {row['opening_days']} d"
            )
        else:
            opens = "-"
        best = (
            f"{row['best_hour_utc']} ({row['best_likelihood']:.2f})"
            if row["best_hour_utc"]
            else "-"
        )
        table.add_row(
            row["band"], row["open_hours_utc"] or "-", row["open_hours_local"] or "-", best, opens
        )
    out.print(table)
    near = [str(b) for b in study["band"].to_numpy()[study["far_count"].to_numpy() == 0]]
    if near:
        out.print(
            f"No site of the list is that far away on {', '.join(near)}: --far-km 0 counts all.",
            soft_wrap=True,
        )
    out.print(f"Solar index: {study.attrs['index_status']}.", soft_wrap=True)
    if "predicted" in study.attrs["index_status"]:
        out.print(
            "The index of some dates is a PREDICTION, or a 12-month mean that includes one: "
            "results for these dates will move when it is measured.",
            soft_wrap=True,
        )


def _say_rules(study: xr.Dataset, out: Console) -> None:
    from farhear import rules

    found = rules.evaluate(study)
    counts = {v: sum(f.verdict == v for f in found) for v in (rules.HOLDS, rules.BROKEN)}
    out.print(
        f"Rules of thumb: {counts[rules.HOLDS]} hold, {counts[rules.BROKEN]} broken, "
        f"{len(found) - sum(counts.values())} not applicable (rules.csv)."
    )
    for finding in found:
        if finding.verdict == rules.BROKEN:
            out.print(f"  broken: {finding.name}. {finding.says}: {finding.detail}", soft_wrap=True)

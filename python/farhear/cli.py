"""The command line: `farhear season ...`, `farhear score ...`, `python -m farhear --versions`.

A mistake in the input is told in one line and ends with status 2; Ctrl-C ends with 130 and leaves
the files of an earlier run as they were.
"""

from __future__ import annotations

import argparse
import contextlib
import platform
import sys
from collections.abc import Callable, Iterator, Sequence
from importlib.resources import as_file, files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from rich import box
from rich.console import Console
from rich.progress import (
    BarColumn,
    MofNCompleteColumn,
    Progress,
    TextColumn,
    TimeRemainingColumn,
)
from rich.table import Table

import farhear
from farhear import tables
from farhear.errors import InputError
from farhear.schedule import DAY_CONVENTIONS, Schedule, read_schedule
from farhear.scoring import FLUXES
from farhear.station import Station, read_station

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr

    from farhear.scoring import Checks, FluxFit, Scores

__all__ = ["main", "versions"]

_SHOWN_REASONS = 5
_AGAINST = {
    "kp": "Kp",
    "zenith_deg": "sun from zenith",
    "geomagnetic_lat_deg": "geomagnetic lat.",
}
_LEGEND = (
    "Intervals hold 90 % of draws of whole days. Rates are those of your other days.",
    "ROC area: how often a heard check got more than one not heard; 0.5 is guessing, 1 perfect.",
    "Brier score: mean squared error, 0 is perfect. Brier skill: the share of it that is saved",
    "against the rate of all, of the path, of month and hour; below 0, counting does better.",
    "Corrected: by a and b, from other days; a below 0: it said too much, b below 1: too sure.",
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return the exit status (0, 2 for bad input, 130 for Ctrl-C)."""
    parser = _parser()
    options = parser.parse_args(arguments)
    out = Console(markup=False, highlight=False)
    if options.versions:
        out.print(versions(), soft_wrap=True)
        return 0
    if options.verb is None:
        parser.print_help()
        return 2
    try:
        _VERBS[options.verb](options, out)
    except (InputError, OSError) as fault:
        Console(stderr=True, markup=False, highlight=False).print(
            f"farhear: {fault}", soft_wrap=True
        )
        return 2
    except KeyboardInterrupt:
        Console(stderr=True, markup=False).print("farhear: stopped, nothing was written")
        return 130
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="farhear", description="What can be heard on the shortwave broadcast bands, and when."
    )
    parser.add_argument("--versions", action="store_true", help="print versions and data, and stop")
    verbs = parser.add_subparsers(dest="verb", metavar="verb")
    season = verbs.add_parser("season", help="how a whole season runs at one home")
    season.add_argument("--demo", action="store_true", help="the invented home and broadcasters")
    season.add_argument("--station", type=Path, help="station file (TOML)")
    season.add_argument("--schedule", type=Path, help="list of broadcasts (CSV)")
    season.add_argument("--season", help="for example B25 (default with --demo: B24)")
    season.add_argument("--days", choices=DAY_CONVENTIONS, help="what day digits in the list mean")
    season.add_argument("--encoding", help="encoding of the list if it is not UTF-8")
    season.add_argument("--delimiter", default=",", help="between the list's cells (default: ,)")
    season.add_argument(
        "--as-if", action="store_true", help="use a list of another season as if it were valid"
    )
    season.add_argument(
        "--f107", type=float, help="fixed 12-month solar flux instead of the record"
    )
    season.add_argument("--far-km", type=float, default=3000.0, help="what counts as far (3000)")
    season.add_argument("--from", dest="first", help="first date, YYYY-MM-DD (default: the season)")
    season.add_argument("--to", dest="last", help="last date, YYYY-MM-DD (default: the season)")
    season.add_argument("--out", type=Path, help="folder for the files (default: farhear-SEASON)")
    _add_score(
        verbs.add_parser(
            "score",
            help="does the likelihood agree with what was heard?",
            description="Hold the likelihood against what was heard and what was not.",
            epilog="A table of checks needs the columns utc (2026-11-25T18:00Z), tx_lat_deg, "
            "tx_lon_deg, rx_lat_deg, rx_lon_deg, freq_khz and heard (yes or no); a log needs "
            "start_utc, end_utc, freq_khz, outcome and identity.",
        )
    )
    return parser


def _add_score(score: argparse.ArgumentParser) -> None:
    score.add_argument("checks", nargs="?", type=Path, help="table of checks (CSV), or say --log")
    score.add_argument("--log", type=Path, help="your log (CSV) instead of a table of checks")
    score.add_argument("--station", type=Path, help="with --log: station file (TOML)")
    score.add_argument("--schedule", type=Path, help="with --log: list of broadcasts (CSV)")
    score.add_argument("--days", choices=DAY_CONVENTIONS, help="what day digits in the list mean")
    score.add_argument("--season", help="season of the list, for example B25")
    score.add_argument("--encoding", help="encoding of the checks or the log if it is not UTF-8")
    score.add_argument("--delimiter", default=",", help="between their cells (default: ,)")
    table = score.add_argument_group("for rows of a table of checks that do not say")
    table.add_argument("--power-kw", type=float, help="power of the emitter")
    table.add_argument("--tx-gain-dbi", type=float, help="its antenna towards the receiver (0)")
    table.add_argument("--bandwidth-hz", type=float, help="bandwidth of the receiver (9000)")
    table.add_argument("--required-snr-db", type=float, help="what counts as heard in it (17)")
    table.add_argument(
        "--noise", help="city, residential, rural, 'quiet rural', or a measured figure in dB"
    )
    flux = score.add_argument_group("solar flux")
    flux.add_argument(
        "--driver", choices=FLUXES, default="27day", help="mean of the record (%(default)s)"
    )
    flux.add_argument("--f107", type=float, help="one solar flux for all checks instead")
    flux.add_argument(
        "--index-offset", type=float, default=0.0, help="added to the flux, found in another log"
    )
    flux.add_argument("--fit-index", action="store_true", help="find that offset in these checks")
    score.add_argument(
        "--out", type=Path, default=Path("farhear-score"), help="folder (%(default)s)"
    )


def _inputs(options: argparse.Namespace) -> tuple[Station, Schedule, str]:
    if options.demo:
        if options.station or options.schedule:
            raise InputError("--demo brings its own station and schedule; leave the two out")
        return _demo_inputs(options.season or "B24")
    for name in ("station", "schedule", "season"):
        if getattr(options, name) is None:
            raise InputError(f"--{name} is missing (or say --demo)")
    station = read_station(options.station)
    schedule = read_schedule(
        options.schedule,
        days=options.days,
        season=None if options.as_if else options.season,
        encoding=options.encoding,
        delimiter=options.delimiter,
    )
    if options.as_if:
        schedule = schedule.as_if(options.season)
    return station, schedule, options.season


def _demo_inputs(season: str) -> tuple[Station, Schedule, str]:
    from farhear import clock

    clock.season_span(season)  # refuses what is no season
    half = "A24" if season.upper().startswith("A") else "B24"
    folder = files("farhear") / "data" / "demo"
    with as_file(folder / "station.toml") as path:
        station = read_station(path)
    with as_file(folder / f"schedule_{half.lower()}.csv") as path:
        schedule = read_schedule(path, days="iso", season=half)
    return station, schedule if season == half else schedule.as_if(season), season


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


def _season(options: argparse.Namespace, out: Console) -> None:
    from farhear.folder import write_season
    from farhear.season import season_study

    station, schedule, season = _inputs(options)
    folder = options.out or Path(f"farhear-{season}")
    if options.demo:
        out.print("Demonstration: home, broadcasters and schedule are invented.")
    _say_schedule(schedule, out)
    dates = _dates(options, season)
    with _progress() as tick:
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
    _say_study(study, out)
    _say_rules(study, out)
    out.print(f"Files in {folder}: {', '.join(path.name for path in written)}", soft_wrap=True)


def _score(options: argparse.Namespace, out: Console) -> None:
    from farhear.folder import write_scores
    from farhear.scoring import fit_flux, score

    checks = _checks(options)
    flux = {"f107_sfu": options.f107, "driver": options.driver}
    with _progress("checks") as tick:
        found = score(checks, offset_sfu=options.index_offset, progress=tick, **flux)
    fit = None
    if options.fit_index:
        with _progress("index") as tick:
            fit = fit_flux(checks, progress=tick, **flux)
    written = write_scores(found, checks, options.out, fit)
    _say_scores(found, checks, out)
    if fit is not None:
        _say_fit(fit, out)
    names = ", ".join(path.stem for path in written)
    out.print(f"Files in {options.out} (.csv): {names}", soft_wrap=True)
    out.print("checks.csv holds the places of the receivers: share it with care.")


def _checks(options: argparse.Namespace) -> Checks:
    """Read the table of checks, or the log with the station and the schedule."""
    from farhear.scoring import checks_from_log, read_checks

    of_log = ("station", "schedule", "days", "season")
    of_table = ("power_kw", "tx_gain_dbi", "bandwidth_hz", "required_snr_db", "noise")
    if (options.checks is None) == (options.log is None):
        raise InputError("give either a table of checks or --log")
    text = {"encoding": options.encoding, "delimiter": options.delimiter}
    if options.log is None:
        _refuse(options, of_log, "goes with --log")
        given = {name: getattr(options, name) for name in of_table}
        with contextlib.suppress(TypeError, ValueError):
            given["noise"] = float(options.noise)
        known = {name: value for name, value in given.items() if value is not None}
        return read_checks(options.checks, **known, **text)
    _refuse(options, of_table, "is for a table of checks; the station and the schedule say it")
    for name in ("station", "schedule"):
        if getattr(options, name) is None:
            raise InputError(f"--{name} is missing, --log needs it")
    station = read_station(options.station)
    schedule = read_schedule(options.schedule, days=options.days, season=options.season)
    return checks_from_log(options.log, station, schedule, **text)


def _refuse(options: argparse.Namespace, names: Sequence[str], reason: str) -> None:
    for name in names:
        if getattr(options, name) is not None:
            raise InputError(f"--{name.replace('_', '-')} {reason}")


_VERBS = {"season": _season, "score": _score}


@contextlib.contextmanager
def _progress(what: str = "circuits") -> Iterator[Callable[[int, int], None]]:
    """Progress bar on the error stream, so that standard output stays clean."""
    bar = Progress(
        TextColumn(what),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=Console(stderr=True),
        transient=True,
        disable=not sys.stderr.isatty(),
    )
    with bar:
        task = bar.add_task(what, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def _say_schedule(schedule: Schedule, out: Console) -> None:
    out.print(
        f"{schedule.source}: {schedule.rows_read} rows read, {len(schedule)} accepted, "
        f"{schedule.rows_rejected} refused, {len(schedule.warnings)} doubts (see rejects.csv)",
        soft_wrap=True,
    )
    _say_faults(schedule, out)
    if schedule.note:
        out.print(f"Assumption: {schedule.note}.", soft_wrap=True)


def _say_faults(table: tables.Table, out: Console) -> None:
    for fault in table.rejects.head(_SHOWN_REASONS).to_dict("records"):
        out.print(
            f"  line {fault['row']}, {fault['column'] or 'row'}: {fault['reason']}", soft_wrap=True
        )
    if len(table.rejects) > _SHOWN_REASONS:
        out.print(f"  and {len(table.rejects) - _SHOWN_REASONS} more")


def _say_scores(scores: Scores, checks: Checks, out: Console) -> None:
    for note in scores.notes:
        out.print(note, soft_wrap=True)
    if checks.rows_rejected:
        out.print("Refused (all in rejects.csv):")
    _say_faults(checks, out)
    if len(checks.warnings):
        out.print(f"{len(checks.warnings)} doubts, see rejects.csv.")
    _say_summary(scores.summary, out)
    for line in _LEGEND:
        out.print(line, soft_wrap=True)
    worth = ("roc_area", "recalibrated_skill_path")
    for title, frame in (("band", scores.by_band), ("distance, km", scores.by_distance)):
        rows = [(*_gap(row), *(_figure(row[k]) for k in worth)) for row in frame.to_dict("records")]
        columns = (title, *_GAP, "ROC area", "skill")
        _say_table(f"By {title.partition(',')[0]}", columns, rows, out)
    out.print("model: mean likelihood; gap: heard less model; skill: corrected, against the path.")
    curve = [
        (
            " to ".join(_figure(row[f"likelihood_{end}"]) for end in ("low", "high")),
            str(row["count"]),
            _figure(row["heard_ratio"]),
            _figure(row["likelihood_mean"]),
            _interval(row["low"], row["high"]),
        )
        for row in scores.calibration.to_dict("records")
    ]
    said = ("likelihood", "checks", "heard", "model", "heard, 90 %")
    _say_table("How many were heard when it said so much", said, curve, out)
    rest = [(_AGAINST[row["against"]], *_gap(row)) for row in scores.residuals.to_dict("records")]
    _say_table(
        "What is left; angles in degrees, at the middle of the path",
        ("by", "class", *_GAP),
        rest,
        out,
    )
    _say_in_short(scores, out)


def _say_table(
    title: str, columns: Sequence[str], rows: Sequence[Sequence[str]], out: Console
) -> None:
    table = Table(
        title=title,
        title_justify="left",
        box=box.SIMPLE_HEAD,
        pad_edge=False,
        collapse_padding=True,
    )
    for name in columns:
        table.add_column(name, no_wrap=True)
    for row in rows:
        table.add_row(*row)
    out.print(table)


def _say_summary(summary: pd.DataFrame, out: Console) -> None:
    """Both columns, as it is and corrected, side by side."""
    cells: dict[str, dict[str, tuple[str, str]]] = {}
    for row in summary.to_dict("records"):
        shown = _figure(row["value"]), _interval(row["low"], row["high"])
        cells.setdefault(row["name"], {})[row["of"].replace("checks", "as it is")] = shown
    rows = [
        (name, *of.get("as it is", ("", "")), *of.get("recalibrated", ("", "")))
        for name, of in cells.items()
    ]
    columns = ("score", "as it is", "90 %", "corrected", "90 %")
    _say_table("Likelihood against checks", columns, rows, out)


def _say_in_short(scores: Scores, out: Console) -> None:
    values = scores.summary.set_index(["name", "of"])["value"]
    area = values["ROC area", "as it is"]
    order = "all checks came out alike, so nothing is known of its order."
    if np.isfinite(area):
        order = (
            f"a heard check got more likelihood than one not heard {100.0 * area:.0f} times "
            "in 100 (guessing: 50)."
        )
    out.print(f"In short: {order}", soft_wrap=True)
    out.print(
        f"On average it said {values['mean likelihood', 'as it is'] * 100.0:.0f} %, and "
        f"{values['share heard', 'checks'] * 100.0:.0f} % were heard."
    )


def _say_fit(fit: FluxFit, out: Console) -> None:
    interval = _interval(fit.low_sfu, fit.high_sfu, "+.0f") or "no interval"
    out.print(
        f"Index from the checks: the flux of {fit.mean_f107_sfu:.0f} sfu {fit.offset_sfu:+.0f} "
        f"fits best ({interval})."
    )
    out.print(
        f"Score another log with --index-offset {fit.offset_sfu:+.0f}: these checks would judge "
        "themselves."
    )
    for note in fit.notes:
        out.print(note, soft_wrap=True)


_GAP = ("checks", "heard", "model", "gap", "gap, 90 %")


def _gap(row: dict[Any, Any]) -> tuple[str, ...]:
    return (
        row["class"].removesuffix(" km"),
        str(row["count"]),
        _figure(row["heard_ratio"]),
        _figure(row["likelihood_mean"]),
        _figure(row["gap"], "+.2f"),
        _interval(row["gap_low"], row["gap_high"], "+.2f"),
    )


def _interval(low: float, high: float, form: str = ".2f") -> str:
    return "" if np.isnan(low) else f"{low:{form}} to {high:{form}}"


def _figure(value: float, form: str = ".2f") -> str:
    """A number, or a minus sign for what is not known."""
    return "-" if np.isnan(value) else f"{value:{form}}"


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


def versions() -> str:
    """Text of `--versions`: package, build, libraries, zone rules, data sets with digests."""
    import matplotlib as mpl
    import pandas as pd
    import xarray as xr

    from farhear import _core, _data, clock

    lines = [
        f"farhear {farhear.__version__}",
        f"core {_core.build}",
        f"python {platform.python_version()} ({platform.machine()})",
        f"numpy {np.__version__}",
        f"pandas {pd.__version__}",
        f"xarray {xr.__version__}",
        f"matplotlib {mpl.__version__}",
        f"zone rules {clock.tzdata_edition()}",
    ]
    lines += [
        f"data {one.data_set}/{one.name}: {one.covers}; sha256 {one.sha256}"
        for one in _data.coverage()
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    sys.exit(main())

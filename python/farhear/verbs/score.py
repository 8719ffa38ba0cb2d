"""farhear score: does the likelihood agree with what was heard?"""

from __future__ import annotations

import argparse
import contextlib
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from rich.console import Console

from farhear.errors import InputError
from farhear.log import read_log
from farhear.schedule import DAY_CONVENTIONS
from farhear.scoring import FLUXES
from farhear.station import read_station
from farhear.verbs.shared import (
    figure,
    interval,
    joined_lists,
    progress,
    refuse,
    say_faults,
    say_table,
)

if TYPE_CHECKING:
    import pandas as pd

    from farhear.scoring import Checks, FluxFit, Scores

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


def add(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Make the verb known."""
    score = verbs.add_parser(
        "score",
        help="does the likelihood agree with what was heard?",
        description="Hold the likelihood against what was heard and what was not.",
        epilog="A table of checks needs the columns utc (2026-11-25T18:00Z), tx_lat_deg, "
        "tx_lon_deg, rx_lat_deg, rx_lon_deg, freq_khz and heard (yes or no); a log needs "
        "start_utc, end_utc, freq_khz, outcome and identity.",
    )
    score.set_defaults(run=_score)
    score.add_argument("checks", nargs="?", type=Path, help="table of checks (CSV), or say --log")
    score.add_argument("--log", type=Path, help="your log (CSV) instead of a table of checks")
    score.add_argument("--station", type=Path, help="with --log: station file (TOML)")
    score.add_argument(
        "--schedule", type=Path, action="append", help="with --log: list of broadcasts"
    )
    score.add_argument("--days", choices=DAY_CONVENTIONS, help="what day digits in the list mean")
    score.add_argument("--season", help="season of the list, for example B25")
    score.add_argument("--sites", type=Path, help="table of sites, for rows without coordinates")
    score.add_argument("--encoding", help="encoding of the checks or the log if it is not UTF-8")
    score.add_argument("--delimiter", help="between their cells (default: a comma)")
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
        "--calibrate",
        type=Path,
        metavar="FILE",
        help="learn what these checks teach about your place, and write it (TOML), for farhear "
        "evening --calibration",
    )
    score.add_argument(
        "--out", type=Path, default=Path("farhear-score"), help="folder (%(default)s)"
    )


def _score(options: argparse.Namespace, out: Console) -> None:
    from farhear.folder import write_scores
    from farhear.scoring import fit_flux, score

    checks = _checks(options)
    flux = {"f107_sfu": options.f107, "driver": options.driver}
    with progress("checks") as tick:
        found = score(checks, offset_sfu=options.index_offset, progress=tick, **flux)
    fit = None
    if options.fit_index:
        with progress("index") as tick:
            fit = fit_flux(checks, progress=tick, **flux)
    taught = None
    if options.calibrate:
        from farhear.calibrate import fit as learn

        with progress("calibration") as tick:
            taught = learn(checks, progress=tick, **flux)
    written = write_scores(found, checks, options.out, fit)
    _say_scores(found, checks, out)
    if fit is not None:
        _say_fit(fit, out)
    if taught is not None:
        taught.write(options.calibrate)
        out.print(f"Learnt from these checks, written to {options.calibrate}:", soft_wrap=True)
        out.print(taught.text(), soft_wrap=True)
    names = ", ".join(path.stem for path in written)
    out.print(f"Files in {options.out} (.csv): {names}", soft_wrap=True)
    out.print("checks.csv holds the places of the receivers: share it with care.")


def _checks(options: argparse.Namespace) -> Checks:
    """Read the table of checks, or the log with the station and the schedule."""
    from farhear.scoring import checks_from_log, read_checks

    of_log = ("station", "schedule", "days", "season", "sites")
    of_table = ("power_kw", "tx_gain_dbi", "bandwidth_hz", "required_snr_db", "noise")
    if (options.checks is None) == (options.log is None):
        raise InputError("give either a table of checks or --log")
    text = {"encoding": options.encoding, "delimiter": options.delimiter}
    if options.log is None:
        refuse(options, of_log, "goes with --log")
        given = {name: getattr(options, name) for name in of_table}
        with contextlib.suppress(TypeError, ValueError):
            given["noise"] = float(options.noise)
        known = {name: value for name, value in given.items() if value is not None}
        return read_checks(options.checks, **known, **text)
    refuse(options, of_table, "is for a table of checks; the station and the schedule say it")
    for name in ("station", "schedule"):
        if getattr(options, name) is None:
            raise InputError(f"--{name} is missing, --log needs it")
    schedule = joined_lists(
        options.schedule, days=options.days, season=options.season, sites=options.sites
    )
    return checks_from_log(read_log(options.log, **text), read_station(options.station), schedule)


def _say_scores(scores: Scores, checks: Checks, out: Console) -> None:
    for note in scores.notes:
        out.print(note, soft_wrap=True)
    if checks.rows_rejected:
        out.print("Refused (all in rejects.csv):")
    say_faults(checks, out)
    if len(checks.warnings):
        out.print(f"{len(checks.warnings)} doubts, see rejects.csv.")
    _say_summary(scores.summary, out)
    for line in _LEGEND:
        out.print(line, soft_wrap=True)
    worth = ("roc_area", "recalibrated_skill_path")
    for title, frame in (("band", scores.by_band), ("distance, km", scores.by_distance)):
        rows = [(*_gap(row), *(figure(row[k]) for k in worth)) for row in frame.to_dict("records")]
        columns = (title, *_GAP, "ROC area", "skill")
        say_table(f"By {title.partition(',')[0]}", columns, rows, out)
    out.print("model: mean likelihood; gap: heard less model; skill: corrected, against the path.")
    curve = [
        (
            " to ".join(figure(row[f"likelihood_{end}"]) for end in ("low", "high")),
            str(row["count"]),
            figure(row["heard_ratio"]),
            figure(row["likelihood_mean"]),
            interval(row["low"], row["high"]),
        )
        for row in scores.calibration.to_dict("records")
    ]
    said = ("likelihood", "checks", "heard", "model", "heard, 90 %")
    say_table("How many were heard when it said so much", said, curve, out)
    rest = [(_AGAINST[row["against"]], *_gap(row)) for row in scores.residuals.to_dict("records")]
    say_table(
        "What is left; angles in degrees, at the middle of the path",
        ("by", "class", *_GAP),
        rest,
        out,
    )
    _say_in_short(scores, out)


def _say_summary(summary: pd.DataFrame, out: Console) -> None:
    """Both columns, as it is and corrected, side by side."""
    cells: dict[str, dict[str, tuple[str, str]]] = {}
    for row in summary.to_dict("records"):
        shown = figure(row["value"]), interval(row["low"], row["high"])
        cells.setdefault(row["name"], {})[row["of"].replace("checks", "as it is")] = shown
    rows = [
        (name, *of.get("as it is", ("", "")), *of.get("recalibrated", ("", "")))
        for name, of in cells.items()
    ]
    columns = ("score", "as it is", "90 %", "corrected", "90 %")
    say_table("Likelihood against checks", columns, rows, out)


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
    between = interval(fit.low_sfu, fit.high_sfu, "+.0f") or "no interval"
    out.print(
        f"Index from the checks: the flux of {fit.mean_f107_sfu:.0f} sfu {fit.offset_sfu:+.0f} "
        f"fits best ({between})."
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
        figure(row["heard_ratio"]),
        figure(row["likelihood_mean"]),
        figure(row["gap"], "+.2f"),
        interval(row["gap_low"], row["gap_high"], "+.2f"),
    )

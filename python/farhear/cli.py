"""The command line: `farhear evening ...`, `farhear season ...`, `python -m farhear --versions`.

A mistake in the input is told in one line and ends with status 2; Ctrl-C ends with 130 (in `log` it
is an end like any other: what was answered is on the disk). Every file is then whole, the old or
the new one; a study that was stopped is not sealed until the verb is called again.
"""

from __future__ import annotations

import argparse
import io
import os
import platform
import sys
from collections.abc import Sequence

import numpy as np

import farhear
from farhear.errors import InputError
from farhear.verbs import evening, hunch, log, merge, score, season, study
from farhear.verbs.shared import Screen

__all__ = ["main", "versions"]

_LONGEST_LINE = 2000  # a value from a file may be longer than a screen


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return the exit status (0, 2 for bad input, 130 for Ctrl-C)."""
    parser = _parser()
    options = parser.parse_args(arguments)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a letter that the terminal lacks ends nothing
            stream.reconfigure(errors="backslashreplace")
    out = Screen()
    if options.versions:
        out.print(versions(), soft_wrap=True)
        return 0
    if options.verb is None:
        parser.print_help()
        return 2
    try:
        options.run(options, out)
    except (InputError, OSError) as fault:
        _let_go_of_output()
        line = " ".join(str(fault).splitlines())
        line = line if len(line) <= _LONGEST_LINE else f"{line[:_LONGEST_LINE]}..."
        Screen(stderr=True).print(f"farhear: {line}", soft_wrap=True)
        return 2
    except KeyboardInterrupt:
        Screen(stderr=True).print("farhear: stopped")
        return 130
    return 0


def _let_go_of_output() -> None:
    """Throw away what the output does not take, or the end of Python tries it again, and complains.

    Python 3.11.2 does, 3.11.7 does not (seen).
    """
    try:
        sys.stdout.flush()
    except OSError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="farhear", description="What can be heard on the shortwave broadcast bands, and when."
    )
    parser.add_argument("--versions", action="store_true", help="print versions and data, and stop")
    verbs = parser.add_subparsers(dest="verb", metavar="verb")
    for module in (evening, log, season, score, hunch, study, merge):
        module.add(verbs)
    return parser


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

"""The command line: `farhear evening ...`, `farhear season ...`, `python -m farhear --versions`.

A mistake in the input is told in one line and ends with status 2; Ctrl-C ends with 130 (in `log` it
is an end like any other: what was answered is on the disk) and leaves
the files of an earlier run as they were.
"""

from __future__ import annotations

import argparse
import platform
import sys
from collections.abc import Sequence

import numpy as np
from rich.console import Console

import farhear
from farhear.errors import InputError
from farhear.verbs import evening, hunch, log, merge, score, season, study

__all__ = ["main", "versions"]


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
        options.run(options, out)
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

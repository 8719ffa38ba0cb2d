"""Run by tests/check.sh inside a fresh environment that holds only the wheel."""

import importlib.util
import sys
from pathlib import Path

import farhear as fh
from farhear import _core

prefix = Path(sys.prefix).resolve()
for where in (fh.__file__, _core.__file__):
    assert prefix in Path(str(where)).resolve().parents, f"{where} is not in {prefix}"
assert importlib.util.find_spec("pytest") is None, "the test packages leaked into the wheel's needs"

# The overhead sun: near the equinox at noon it stands near the zenith of (0, 0). Geometry alone,
# so the bound is loose: declination below 0.5 deg, equation of time below 8 min = 2 deg.
zenith_deg, _ = fh.sun.position(fh.utc("2026-03-20T12:00Z"), 0.0, 0.0)
assert zenith_deg < 3.0, zenith_deg
print(f"installed: farhear {fh.__version__} from {prefix}")

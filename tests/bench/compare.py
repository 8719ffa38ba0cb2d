"""All benchmarks, against what was asked and against the figures kept in baseline.json.

Usage: .venv/bin/python tests/bench/compare.py [--save] [WORD ...]

With words only the scripts whose names hold one of them. `--save` keeps the figures. What is held
against one another is the ratio to a peer of the same run, which carries over from machine to
machine; a ratio that fell by a third, or one below what was asked, ends in an error. Run it on a
machine with nothing else to do; `--quick` only sees that it runs.
"""

import json
import os
import platform
import subprocess
import sys
import tempfile
from importlib.metadata import version
from pathlib import Path
from typing import Any

from _timing import QUICK

HERE = Path(__file__).parent
BASELINE = HERE / "baseline.json"
FALL = 2.0 / 3.0
PEERS = ("numpy", "pandas", "pvlib", "PyIRI", "pyproj")


def measured(words: list[str]) -> list[dict[str, Any]]:
    """Rows of all scripts, each in a process of its own."""
    rows = []
    for script in sorted(HERE.glob("bench_*.py")):
        if words and not any(word in script.stem for word in words):
            continue
        with tempfile.TemporaryDirectory() as folder:
            file = Path(folder) / "rows"
            file.touch()
            environment = os.environ | {"FARHEAR_BENCH_RECORD": str(file)}
            print(f"== {script.stem}", flush=True)
            quick = ["--quick"] if QUICK else []
            subprocess.run([sys.executable, script, *quick], check=True, env=environment)
            rows += [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]
    return rows


def verdict(row: dict[str, Any], before: dict[str, Any] | None) -> str:
    """What is wrong with a row, or nothing; quick runs tell nothing."""
    if QUICK:
        return ""
    if row.get("asked") and row["ratio"] < row["asked"]:
        return f"asked {row['asked']:g}"
    if "most" in row and row["value"] > row["most"]:
        return f"asked {row['most']:g} at most"
    kept = (before or {}).get("ratio")
    if kept and row.get("ratio") and row["ratio"] < FALL * kept:
        return f"fell from {kept:.3g}"
    return ""


def machine() -> dict[str, str]:
    """What the figures were measured on."""
    processor = next(
        (
            line.partition(":")[2].strip()
            for line in Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
            if line.startswith("model name")
        ),
        platform.processor(),
    )
    return {"processor": processor, "python": platform.python_version()} | {
        name: version(name) for name in PEERS
    }


def main() -> None:
    """Measure, compare, keep."""
    words = [one for one in sys.argv[1:] if not one.startswith("-")]
    kept = json.loads(BASELINE.read_text(encoding="utf-8")) if BASELINE.exists() else {"rows": []}
    before = {(row["script"], row["name"]): row for row in kept["rows"]}
    rows = measured(words)
    print(f"\n{'':64s} {'now':>9s} {'kept':>9s}")
    bad = 0
    for row in rows:
        old = before.get((row["script"], row["name"]))
        figure = row.get("ratio") or row.get("value")
        if not figure:
            continue
        then = (old.get("ratio") or old.get("value")) if old else None
        wrong = verdict(row, old)
        bad += bool(wrong)
        name = f"{row['script'].removeprefix('bench_')}: {row['name']}"
        text = f"{then:9.3g}" if then else f"{'-':>9s}"
        print(f"{name:64s} {figure:9.3g} {text} {wrong}")
    if "--save" in sys.argv:
        others = [row for key, row in before.items() if key[0] not in {r["script"] for r in rows}]
        content = {"machine": machine(), "rows": others + rows}
        BASELINE.write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
    print(f"{len(rows)} figures, {bad} of them wrong")
    sys.exit(bad > 0)


if __name__ == "__main__":
    main()

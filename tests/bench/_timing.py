"""What the benchmarks share. Ratios carry over from machine to machine, seconds do not."""

import json
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

QUICK = "--quick" in sys.argv
"""Only see that everything runs: small sizes, one repeat. The figures then mean nothing."""
RECORD = os.environ.get("FARHEAR_BENCH_RECORD")
"""File to which every row is added as a line of JSON, for compare.py."""


def size(full: int) -> int:
    """The number of elements to run: `full`, or a hundredth in a quick run."""
    return max(full // 100, 10) if QUICK else full


def best_s(
    call: Callable[[], object],
    repeats: int = 5,
    clock: Callable[[], float] = time.process_time,
) -> float:
    """Seconds of the fastest of some runs: of the processor, or of `clock`."""
    took = []
    for _ in range(1 if QUICK else repeats):
        start = clock()
        call()
        took.append(clock() - start)
    return max(min(took), 1e-9)


def row(
    name: str,
    seconds: float,
    n: int,
    peer: str = "",
    peer_seconds_each: float = 0.0,
    asked: float = 0.0,
) -> None:
    """Print one line: time per element, millions a second, ratio to a peer's time per element.

    `asked` is the least ratio that will do.
    """
    each = seconds / n
    ratio = peer_seconds_each / each if peer else 0.0
    words = f"{ratio:8.3g} x {peer}" if peer else ""
    if asked:
        words += f" (asked {asked:g}{'' if QUICK or ratio >= asked else ', MISSED'})"
    print(f"{name:52s} {each * 1e9:11.4g} ns {1e-6 / each:9.3g} M/s {words}")
    record(name, ratio=ratio, asked=asked, peer=peer, seconds_each=each)


def limit(name: str, value: float, unit: str, most: float) -> None:
    """Print one line: a figure that must not be larger than `most`."""
    over = "" if QUICK or value <= most else ", MISSED"
    print(f"{name:52s} {value:11.4g} {unit} (asked {most:g} at most{over})")
    record(name, value=value, unit=unit, most=most)


def record(name: str, **figures: object) -> None:
    """Keep a row for compare.py."""
    if RECORD:
        with Path(RECORD).open("a", encoding="utf-8") as file:
            file.write(
                json.dumps({"script": Path(sys.argv[0]).stem, "name": name, **figures}) + "\n"
            )

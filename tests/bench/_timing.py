"""What the benchmarks share. Ratios carry over from machine to machine, seconds do not."""

import sys
import time
from collections.abc import Callable

QUICK = "--quick" in sys.argv
"""Only see that everything runs: small sizes, one repeat. The figures then mean nothing."""


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


def row(name: str, seconds: float, n: int, peer: str = "", peer_seconds_each: float = 0.0) -> None:
    """Print one line: time per element, millions a second, ratio to a peer's time per element."""
    each = seconds / n
    ratio = f"{peer_seconds_each / each:8.1f} x {peer}" if peer else ""
    print(f"{name:52s} {each * 1e9:11.1f} ns {1e-6 / each:9.3f} M/s {ratio}")

"""How the engine does against open field recordings: ``python tests/field/score.py [--quick]``.

Recordings lie beside the checkout (see `_recordings.py`); an absent one is named and skipped.
``--quick`` takes fewer circuits; ``--series`` also prints the series behind the scores;
``--recent-flux`` drives the maps with the mean of the last 27 days instead of the 12-month flux.
"""

import sys
import time

import pandas as pd
from _scores import run

import farhear as fh


def main() -> None:
    begin = time.perf_counter()
    report, absent = run(
        fh.reception.likelihood,
        quick="--quick" in sys.argv,
        driver="27day" if "--recent-flux" in sys.argv else "12month",
    )
    pd.set_option("display.width", 250, "display.max_columns", 60, "display.max_colwidth", 80)
    if "--series" in sys.argv:
        for title, frame in report.series.items():
            print(f"\n{title}\n{frame.to_string(na_rep='-')}")
    print()
    for row in report.frame.itertuples(index=False):
        print(
            f"{row.recording:17s} {row.score:64s} {row.value:8.2f} {row.unit:4s} "
            f"{row.observed:26s} {row.predicted}".rstrip()
        )
    for text in absent:
        print(f"skipped: {text}")
    print(f"farhear {fh.__version__}, {time.perf_counter() - begin:.1f} s")


if __name__ == "__main__":
    main()

"""How the engine does against open field recordings: ``python tests/field/score.py``.

Recordings lie beside the checkout (see `_recordings.py`); an absent one is named and skipped.

  --driver NAME   flux behind the maps: 12month (default), 81day, 27day, daily, forecast (what was
                  known on the day, with its error), "forecast, exact"
  --disturbed HOW hours of Kp 5 and more: "left out" (default), "as quiet", "by Kp"
  --quick         fewer circuits and steps
  --tables        also the tables behind the scores
"""

import argparse
import time

import pandas as pd
from _hindcast import AZIMUTHS, Setting
from _scores import score_all

import farhear as fh


def main() -> None:
    parser = argparse.ArgumentParser(description="Scores against open field recordings.")
    parser.add_argument("--driver", default="12month")
    parser.add_argument(
        "--disturbed", default="left out", choices=["left out", "as quiet", "by Kp"]
    )
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--tables", action="store_true")
    given = parser.parse_args()
    begin = time.perf_counter()
    report = score_all(
        Setting(
            driver=given.driver,
            disturbed=given.disturbed,
            step_min=20 if given.quick else 10,
            azimuths=AZIMUTHS[::2] if given.quick else AZIMUTHS,
        )
    )
    pd.set_option("display.width", 250, "display.max_columns", 60)
    if given.tables:
        for title, frame in report.tables.items():
            print(f"\n{title}\n{frame.to_string(na_rep='-')}")
        print()
    for row in report.frame.itertuples(index=False):
        span = "" if pd.isna(row.low) else f"({row.low:.2f} to {row.high:.2f})"
        print(
            f"{row.recording:16s} {row.score:98s} {row.value:8.2f} {row.unit:4s}{span:20s} "
            f"{row.observed:22s} {row.predicted}".rstrip()
        )
    for text in report.absent:
        print(f"skipped: {text}")
    print(f"farhear {fh.__version__}, {given.driver} flux, {time.perf_counter() - begin:.0f} s")


if __name__ == "__main__":
    main()

"""Print the totals of two coverage reports and the files under 90 % of lines.

gaps.py PYTHON CPP    texts of `coverage report` and of gcovr
"""

import re
import sys
from pathlib import Path

LEAST_PERCENT = 90


def main(python: str, cpp: str) -> None:
    """Read both tables: a file, some counts, a percentage, perhaps the lines that lack."""
    for name, path in (("Python", python), ("C++", cpp)):
        for line in Path(path).read_text("utf-8").splitlines():
            found = re.match(r"(\S+)\s.*?(\d+(?:\.\d+)?)%", line)
            if found is None:
                continue
            share = float(found.group(2))
            if found.group(1) == "TOTAL":
                print(f"{name}: {share:.1f} % of the lines")
            elif share < LEAST_PERCENT:
                print(f"{name}, under {LEAST_PERCENT} %: {line.strip()}")


if __name__ == "__main__":
    main(*sys.argv[1:])

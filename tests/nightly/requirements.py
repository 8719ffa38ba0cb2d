"""Print requirements of pyproject.toml for tests/nightly.sh.

requirements.py                  what a listener installs
requirements.py --oldest         the same, each at its lower bound
requirements.py --oldest-large   the extra "large", each at its lower bound
requirements.py --tests          what tests/unit and tests/reference need besides
requirements.py --apart          of that, what does not go with the lower bounds
"""

import sys
import tomllib
from pathlib import Path

# Tools that judge text, build or browse: no test of those two folders needs them.
_NO_TEST = (
    "axe-playwright-python",
    "build",
    "clang-",
    "cmake",
    "ipykernel",
    "mypy",
    "nbmake",
    "nbstripout",
    "ninja",
    "pandas-stubs",
    "pybind11",
    "ruff",
    "types-",
)
_APART = ("PyIRI",)


def main(argument: str) -> None:
    """Print one requirement a line."""
    project = tomllib.loads(Path("pyproject.toml").read_text("utf-8"))["project"]
    extras = project["optional-dependencies"]
    lines = project["dependencies"]
    if argument == "--oldest":
        lines = [line.replace(">=", "==") for line in lines]
    elif argument == "--oldest-large":
        lines = [line.replace(">=", "==") for line in extras["large"]]
    elif argument == "--tests":
        left_out = (*_NO_TEST, *_APART, *(line.split(">=")[0] for line in extras["large"]))
        lines = [line for line in extras["test"] if not line.startswith(left_out)]
        lines += ["fortranformat", "opt-einsum"]  # of what stands apart
    elif argument == "--apart":
        lines = [line for line in extras["test"] if line.startswith(_APART)]
    print(*lines, sep="\n")


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "")

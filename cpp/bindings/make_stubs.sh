#!/usr/bin/env bash
# Rewrite python/farhear/_core/*.pyi from the installed extension; with --check only compare.
# Uses the tools of .venv (bash tests/setup.sh test), or of the interpreter named in PYTHON.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/../.."
python=${PYTHON:-.venv/bin/python}
stubs=python/farhear/_core
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

"$python" - "$work" <<'END'
"""Generate, then mend what a strict type checker would refuse."""

import enum
import importlib
import re
import sys
from pathlib import Path

from pybind11_stubgen import main

work = sys.argv[1]
sys.argv = ["pybind11-stubgen", "farhear._core", "--exit-code", "-o", work]
main()
MENDS = [
    (r"^__all__.*\n", ""),  # the extension has none, stubtest says so
    (r"^(__version__|build): str = .*", r"\1: str"),  # these change without the interface
    (r"^from \. import (\w+)$", r"from . import \1 as \1"),  # a stub re-exports only with "as"
    (r"(?<=-> )(dict|list|tuple)\b(?!\[)", r"\1[CONTENTS]"),  # strict typing wants the contents named
    (r"(?<=: )(dict|list|tuple)\b(?!\[)", r"\1[CONTENTS]"),
    (r"dict\[CONTENTS\]", "dict[str, typing.Any]"),
    (r"list\[CONTENTS\]", "list[typing.Any]"),
    (r"tuple\[CONTENTS\]", "tuple[typing.Any, ...]"),
]


def enum_members(module: str, text: str) -> str:
    """Give enum members the form a type checker counts as members: NAME = value."""
    classes = vars(importlib.import_module(module))
    for name, kind in classes.items():
        if isinstance(kind, type) and issubclass(kind, enum.Enum):
            for member in kind:
                old = f"    {member.name}: typing.ClassVar[{name}]"
                text = re.sub(f"^{re.escape(old)}.*$", f"    {member.name} = {member.value!r}",
                              text, flags=re.MULTILINE)
    # what every enum inherits
    text = re.sub(r"    @classmethod\n    def __new__\(cls, value\):\n        \.\.\.\n", "", text)
    return re.sub(r"    def __format__\(self, format_spec\):\n(        .*\n)+", "", text)


for path in Path(work).rglob("*.pyi"):
    module = "farhear._core" if path.stem == "__init__" else f"farhear._core.{path.stem}"
    text = enum_members(module, path.read_text())
    for pattern, replacement in MENDS:
        text = re.sub(pattern, replacement, text, flags=re.MULTILINE)
    if "typing." in text.replace("numpy.typing", "") and "\nimport typing\n" not in text:
        text = text.replace("import annotations\n", "import annotations\nimport typing\n", 1)
    path.write_text(text)
END
made=$work/farhear/_core
"$python" -m ruff format --quiet --no-cache --config pyproject.toml "$made"

if [[ ${1:-} == --check ]]; then
    if ! diff -ru "$stubs" "$made"; then
        echo "the stubs do not match the extension: run cpp/bindings/make_stubs.sh and commit" >&2
        exit 1
    fi
else
    mkdir -p "$stubs"
    rm -f "$stubs"/*.pyi
    cp "$made"/*.pyi "$stubs"/
fi

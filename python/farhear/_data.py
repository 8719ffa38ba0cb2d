"""Data sets that travel inside the package. No network, no guessing of folders."""

import re
from importlib.resources import files
from itertools import zip_longest
from typing import NamedTuple

_KEYS = (
    "file",
    "sha256",
    "covers",
    "source",
    "retrieved",
    "licence",
    "made by",
    "checked",
    "known errors",
)
# a key begins a line or stands two or more blanks after the field before it
_KEY = re.compile(rf"(?:^|(?<=\s\s))\s*({'|'.join(_KEYS)}):(?=\s|$)")


class DataFile(NamedTuple):
    """One shipped file: data set, name, what it covers, its digest, where it is from."""

    data_set: str
    name: str
    covers: str
    sha256: str
    source: str
    licence: str


def read_bytes(data_set: str, name: str) -> bytes:
    """Return the bytes of `data/<data_set>/<name>` as shipped."""
    return (files("farhear") / "data" / data_set / name).read_bytes()


def read_text(data_set: str, name: str) -> str:
    """Return the text of `data/<data_set>/<name>` as shipped, UTF-8."""
    return read_bytes(data_set, name).decode("utf-8")


def provenance(text: str) -> list[dict[str, str]]:
    """Return the entries of a PROVENANCE.md, one dictionary of fields per file.

    An entry begins with the key `file` and ends at an empty line or at the next `file`. Keys stand
    at the beginning of a line or after two blanks; a line without a key continues the field before.
    """
    entries: list[dict[str, str]] = []
    key = ""
    for line in text.splitlines():
        if not line.strip():
            key = ""
            continue
        marks = list(_KEY.finditer(line))
        head = line[: marks[0].start()] if marks else line
        if key and head.strip():
            entries[-1][key] += " " + head.strip()
        for mark, after in zip_longest(marks, marks[1:]):
            found = mark.group(1)
            if found == "file":
                entries.append({})
            elif not key:
                break  # prose that happens to hold a key word
            key = found
            entries[-1][key] = line[mark.end() : after.start() if after else None].strip()
    return entries


def coverage() -> list[DataFile]:
    """Return what each shipped data file covers, with its digest, from the PROVENANCE.md files."""
    out = []
    for folder in sorted((files("farhear") / "data").iterdir(), key=lambda entry: entry.name):
        note = folder / "PROVENANCE.md"
        if not folder.is_dir() or not note.is_file():
            continue
        out += [
            DataFile(
                folder.name,
                entry["file"],
                entry.get("covers", ""),
                entry.get("sha256", ""),
                entry.get("source", ""),
                entry.get("licence", ""),
            )
            for entry in provenance(note.read_text(encoding="utf-8"))
        ]
    return out

"""Whether a study is what it says: unchanged, well formed, and giving the same numbers again."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from farhear import bundle
from farhear._files import alone
from farhear.bundle import Fault
from farhear.errors import InputError
from farhear.study import BUSY, RESULTS, Study, csv_bytes
from farhear.tables import frame_of

if TYPE_CHECKING:
    from farhear.privacy import Attack

__all__ = ["RELATIVE", "Verification", "verify"]

RELATIVE = 1e-9
"""Numbers that are worked out again may differ by so much of themselves; prose is not compared."""
_TINY = 1e-12
_PROSE = ("sentence", "notes", "assumptions", "p_method", "question", "heading", "unit", "engine")
_MOST = 20  # differences that are told


@dataclass(frozen=True, slots=True, kw_only=True)
class Verification:
    """What was found.

    Attributes
    ----------
    name
        Of the folder or archive.
    faults
        Files that are missing, changed, not listed, or not well formed.
    differences
        Where results that were worked out again differ; None when they were not.
    attack
        What an attack on the home found; None when it was not made.
    """

    name: str
    faults: tuple[Fault, ...]
    differences: tuple[Fault, ...] | None = None
    attack: Attack | None = None

    @property
    def ok(self) -> bool:
        """Whether all that was looked at is right."""
        holds = self.attack is None or self.attack.holds
        return not self.faults and not self.differences and holds

    def text(self) -> str:
        """All of it, for reading."""
        lines = [f"{self.name}: {'as sealed' if not self.faults else 'NOT AS SEALED'}"]
        lines += [f"- {one}" for one in self.faults]
        if self.differences is not None:
            same = "the same numbers" if not self.differences else "OTHER NUMBERS"
            lines.append(f"Worked out again: {same}.")
            lines += [f"- {one}" for one in self.differences]
        if self.attack is not None:
            lines.append(self.attack.text())
        return "\n".join(lines)


def verify(path: str | Path, *, rerun: bool = False, privacy: bool = False) -> Verification:
    """Look a study over.

    Parameters
    ----------
    path
        Folder or archive.
    rerun
        Also work the results out again, from the data in the study alone, and compare.
    privacy
        Also attack the home, see :mod:`farhear.privacy`.

    Returns
    -------
    Verification

    Raises
    ------
    InputError
        On an archive that is damaged or holds what no study holds; on a form of study that this
        version does not know.
    OSError
        When it cannot be opened.
    """
    path = Path(path)
    with bundle.opened(path) as folder, alone(folder, busy=f"{path.name}: {BUSY}", shared=True):
        faults = bundle.seal_faults(folder)
        if not faults:
            faults = bundle.schema_faults(folder)
        if faults and any(one.path == bundle.MANIFEST for one in faults):
            return Verification(name=path.name, faults=tuple(faults))
        study = Study.open(folder)
        differences = attack = None
        if rerun:
            differences = tuple(_again(study))[:_MOST]
        if privacy:
            from farhear.privacy import attack as attacked

            attack = attacked(study)
        return Verification(
            name=path.name, faults=tuple(faults), differences=differences, attack=attack
        )


def _again(study: Study) -> Iterator[Fault]:
    """Work out again and compare."""
    try:
        worked = study.worked_out()
    except InputError as fault:
        yield Fault("data", f"cannot be worked out again: {fault}")
        return
    old = bundle.read_json(study.folder / RESULTS)
    new = worked.results()
    for place, said in differences_of(old, new):
        yield Fault(RESULTS, f"{place}: {said}")
    for name, frame in (("openings", worked.openings), ("hours", worked.hours)):
        file = study.folder / "data" / f"{name}.csv"
        yield from _table_differences(file, csv_bytes(frame))


def _table_differences(file: Path, again: bytes) -> Iterator[Fault]:
    import io

    if not file.is_file():
        yield Fault(f"data/{file.name}", "is missing")
        return
    data = file.read_bytes()
    if data == again:
        return
    try:
        old, new = (frame_of(io.BytesIO(one), file.name) for one in (data, again))
    except InputError as fault:
        yield Fault(f"data/{file.name}", str(fault))
        return
    if list(old.columns) != list(new.columns) or len(old) != len(new):
        yield Fault(f"data/{file.name}", "has other rows or columns")
        return
    for name in old.columns:
        for row, (a, b) in enumerate(zip(old[name].tolist(), new[name].tolist(), strict=True), 2):
            if not same_value(a, b):
                yield Fault(f"data/{file.name}", f"line {row}, {name}: {a!r}, and again {b!r}")


def same_value(a: Any, b: Any) -> bool:
    """Whether two values are the same, numbers to `RELATIVE`."""
    if isinstance(a, bool) or isinstance(b, bool) or a is None or b is None:
        return bool(a is b or a == b)
    if isinstance(a, (int, float)) and isinstance(b, (int, float)):
        if math.isnan(a) or math.isnan(b):
            return math.isnan(a) and math.isnan(b)
        return a == b or math.isclose(a, b, rel_tol=RELATIVE, abs_tol=_TINY)
    return bool(a == b)


def differences_of(old: Any, new: Any, place: str = "") -> Iterator[tuple[str, str]]:
    """Where two results differ: the place in words, and both values; prose is passed over."""
    if isinstance(old, dict) and isinstance(new, dict):
        for key in dict.fromkeys([*old, *new]):
            if key in _PROSE:
                continue
            where = f"{place}.{key}".lstrip(".")
            if key not in old or key not in new:
                yield where, "is only in one of the two"
            else:
                yield from differences_of(old[key], new[key], where)
    elif isinstance(old, list) and isinstance(new, list):
        if len(old) != len(new):
            yield place, f"has {len(old)} entries, and again {len(new)}"
        for i, (a, b) in enumerate(zip(old, new, strict=False)):
            yield from differences_of(a, b, f"{place}[{i}]")
    elif not same_value(old, new):
        yield place, f"{old!r}, and again {new!r}"

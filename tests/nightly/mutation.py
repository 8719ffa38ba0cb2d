"""Change the statistics and the readers in small ways and see whether their tests notice.

    mutation.py --environment VENV [--count 150] [--jobs 2] [--seed 1] [--subject NAME]

Run by tests/nightly.sh with the Python that has cosmic-ray, whose operators make the changes; VENV
has an installed farhear, which is copied (the copies are changed, nothing else), and the tests'
packages. Each mutant is tried on the tests of its subject alone. Drawn at random: first a place in
the source, all places alike, then one of the changes possible there. A mutant that leaves the
answers as they are survives by right: EQUIVALENT names those that were looked at.
"""

import argparse
import difflib
import os
import random
import shutil
import subprocess
import sys
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import Queue

import cosmic_ray.plugins
from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code

ROOT = Path(__file__).resolve().parents[2]
SUBJECTS = {
    "skill.py": "tests/unit/test_skill.py tests/unit/test_scoring.py",
    "agreement.py": "tests/reference/test_club_reference.py tests/unit/test_club.py",
    "verdicts.py": "tests/unit/test_verdicts.py tests/unit/test_questions.py "
    "tests/unit/test_hunch_asking.py",
    "hunch/dusk.py": "tests/unit/test_hunch_openings.py tests/reference/"
    "test_hunch_openings_reference.py",
    "hunch/sizes.py": "tests/unit/test_hunch_openings.py tests/reference/"
    "test_hunch_openings_reference.py",
    "tables.py": "tests/unit/test_tables.py tests/unit/test_layouts.py tests/unit/test_log.py "
    "tests/unit/test_schedule.py tests/unit/test_sites.py "
    "tests/unit/test_hostile.py::test_numbers_stay_numbers "
    "tests/unit/test_hostile.py::test_a_guarded_text_runs_nowhere_and_comes_back "
    "tests/property/test_bad_files_property.py::test_texts_that_a_spreadsheet_would_run_are_warned_of",
    "adif.py": "tests/unit/test_adif.py",
}
# Changes of what mypy reads, of what dataclass generates, and no changes at all.
_LEFT_OUT = ("BitOr", "NoOp", "RemoveDecorator")
_DECORATED = "-@dataclass"
EQUIVALENT = frozenset(
    {
        # a peak without a bend is none: its first neighbour would be as high, and taken
        "shift = 0.5 * (left - right) / bend if bend < 0.0 else 1.0",
        # any negative length stands for the rest
        "flat = draws.reshape(n, - 2)",
        "slope = self.tightness * at - np.asarray(self.slopes(at).sum(axis=0)).reshape(- 2)",
        # one seed is as good as another
        "seed: int | np.random.Generator = 2,",
        # weak connection, which scipy takes by itself, knows no direction
        "_, group = connected_components(graph, directed=True) if a.size else (0, codes)",
        # of one element
        "high=float(lead.high[ -1]),",
        # no share from 0.60 to 0.99 tells ten, eleven and twelve steady numbers apart
        "steady = np.lib.stride_tricks.sliding_window_view(enough, 12).all(axis=1)",
        # a cache of another size; lines of another width
        "@lru_cache(maxsize= 255)",
        "_WIDTH = 77",
        # only the first is used
        "near = difflib.get_close_matches(name.lower(), list(spelled), n= 2, cutoff=0.6)",
        # of AM, USB and LSB, or AM and SSB, only AM is not after AM
        'out |= {"MODE": "AM"} if demod <= "AM" else {"MODE": "SSB", "SUBMODE": demod}',
        'out["demod"] = "AM" if mode <= "AM" else record.get("SUBMODE", "").upper()',
        # beyond either the frequency is refused
        "if not value.is_finite() or abs(value) > 11**9:",
        # six digits each, or seven: a later digit decides nothing
        'if not _DATE.fullmatch(day) or end.ljust( 7, "0") >= start.ljust(6, "0"):',
        # four digits or six
        'seconds = f":{time[4:]}" if len(time) >= 6 else ""',
    }
)
"""Changed lines, as printed, that cannot be told apart by any answer, and why."""


@dataclass(frozen=True)
class Mutant:
    """A subject with one change."""

    subject: str
    name: str
    source: str
    diff: str


def mutants_of(subject: str, source: str, count: int, draw: random.Random) -> list[Mutant]:
    """Draw so many changes of a source."""
    tree = get_ast(source)
    places: dict[tuple[int, int], list[tuple[str, int]]] = {}
    for name in cosmic_ray.plugins.operator_names():
        made = cosmic_ray.plugins.get_operator(name)
        if made.arguments() or any(part in name for part in _LEFT_OUT):
            continue
        positions = [at for node in ast_nodes(tree) for at in made().mutation_positions(node)]
        for occurrence, (start, _) in enumerate(positions):
            places.setdefault(start, []).append((name, occurrence))
    out: list[Mutant] = []
    order = sorted(places)
    draw.shuffle(order)
    for place in order:
        name, occurrence = draw.choice(places[place])
        try:
            changed = mutate_code(source, cosmic_ray.plugins.get_operator(name)(), occurrence)
        except AttributeError:  # cosmic-ray 8.7 stumbles over `except a.b` in a tuple
            continue
        lines = difflib.unified_diff(source.splitlines(), changed.splitlines(), lineterm="", n=0)
        diff = "\n".join(line for line in lines if line[:2] not in {"--", "++"})
        if compiles(changed) and _DECORATED not in diff:
            out.append(Mutant(subject, f"{name} {occurrence}", changed, diff))
        if len(out) == count:
            break
    return out


def compiles(source: str) -> bool:
    try:
        compile(source, "mutant", "exec")
    except SyntaxError:
        return False
    return True


class Bench:
    """A copy of the package to be changed, and the tests beside it."""

    def __init__(self, environment: Path, folder: Path) -> None:
        python = environment / "bin" / "python"
        where = subprocess.run(
            [python, "-c", "import farhear; print(farhear.__path__[0])"],
            check=True,
            capture_output=True,
            text=True,
            cwd=folder.parent,
        ).stdout.strip()
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(where, folder / "farhear")
        self.python, self.folder = python, folder

    def passes(self, subject: str, source: str, wait_s: float) -> bool:
        """Whether the subject's tests pass with this source in its place."""
        place = self.folder / "farhear" / subject
        before = place.read_text("utf-8")
        place.write_text(source, "utf-8")
        for stale in (place.parent / "__pycache__").glob(f"{place.stem}.*"):
            stale.unlink()
        command = [self.python, "-c", _RUN, str(self.folder), "-q", "-x", "--no-header"]
        command += [
            "-p",
            "no:cacheprovider",
            "--hypothesis-profile=gate",
            *SUBJECTS[subject].split(),
        ]
        environment = {**os.environ, "PYTHONPATH": str(self.folder)}
        try:
            done = subprocess.run(
                command, cwd=ROOT, env=environment, capture_output=True, timeout=wait_s, check=False
            )
        except subprocess.TimeoutExpired:
            return False
        finally:
            place.write_text(before, "utf-8")
        if done.returncode not in {0, 1, 2, 4}:
            # 1: a test failed, 2 and 4: a file of tests or conftest.py could not be imported
            raise RuntimeError(f"{subject}: pytest ended with {done.returncode}: {done.stdout!r}")
        return done.returncode == 0


# pytest, and before it the proof that it is the copy that is tested
_RUN = """
import sys
import pytest
import importlib.util
found = importlib.util.find_spec("farhear").origin
assert found.startswith(sys.argv[1]), found
sys.exit(pytest.main(sys.argv[2:]))
"""


def main() -> None:
    """Print every survivor, then a table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--environment", type=Path, required=True)
    parser.add_argument("--count", type=int, default=150)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--subject", action="append", choices=list(SUBJECTS))
    given = parser.parse_args()
    subjects = given.subject or list(SUBJECTS)
    environment = given.environment.absolute()  # not resolved: its Python is a link
    benches: Queue[Bench] = Queue()
    for job in range(given.jobs):
        benches.put(Bench(environment, environment.parent / f"copy-{job}"))

    first = benches.get()
    sources = {s: (first.folder / "farhear" / s).read_text("utf-8") for s in subjects}
    wait_s = {}
    for subject in subjects:
        begin = time.monotonic()
        assert first.passes(subject, sources[subject], 3600), f"{subject} fails as it is"
        wait_s[subject] = 60.0 + 5.0 * (time.monotonic() - begin)
    benches.put(first)

    share = -(-given.count // len(subjects))
    mutants = [
        mutant
        for subject in subjects
        for mutant in mutants_of(subject, sources[subject], share, random.Random(given.seed))
    ]

    def survives(mutant: Mutant) -> bool:
        bench = benches.get()
        try:
            return bench.passes(mutant.subject, mutant.source, wait_s[mutant.subject])
        finally:
            benches.put(bench)

    left: Counter[str] = Counter()
    equivalent = 0
    with ThreadPoolExecutor(given.jobs) as pool:
        for mutant, alive in zip(mutants, pool.map(survives, mutants), strict=True):
            if alive:
                left[mutant.subject] += 1
                known = any(line[1:].strip() in EQUIVALENT for line in mutant.diff.splitlines())
                equivalent += known
                print(f"{mutant.subject}: {mutant.name}{' (equivalent)' if known else ''}")
                print(mutant.diff + "\n", flush=True)
    print("subject           mutants  killed  survived")
    for subject in subjects:
        of_all = sum(mutant.subject == subject for mutant in mutants)
        print(f"{subject:18}{of_all:7}{of_all - left[subject]:8}{left[subject]:10}")
    dead = len(mutants) - left.total()
    print(f"killed: {dead} of {len(mutants)}; {equivalent} of the others change no answer")


if __name__ == "__main__":
    sys.exit(main())

"""Fuzzing of every reader of the package: hostile bytes in, a refusal or a whole table out.

::

    python tests/fuzz/readers.py --seconds 60                  # in all, shared among the readers
    nice -n 19 python tests/fuzz/readers.py --seconds 3600     # the hour before a release
    python tests/fuzz/readers.py --seconds 600 --only log --only bundle

With the package atheris (``pip install atheris``, PyPI; Linux) inputs are steered by the lines of
farhear that they reach. Without it they are changed at random, and kept where what came of them is
new. Each reader runs in a process of its own, so that one that crashes the interpreter is found,
too. Printed are the executions of each reader and every fault, once for each place in the code; the
smallest input that showed it stays in `tests/fuzz/regressions`, which `tests/unit/test_hostile.py`
replays. The status is 1 where there was a fault.
"""

from __future__ import annotations

import argparse
import hashlib
import importlib.util
import json
import os
import random
import re
import subprocess
import sys
import tempfile
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
REGRESSIONS = HERE / "regressions"
MOST_KEPT_BYTES = 20_000
"""Larger inputs are told, not kept. [byte]"""
_LONGEST_BYTES = 200_000
_SHRINK_S = 20.0
_TOKENS = [
    *(b'"', b"'", b",", b";", b"\t", b"\n", b"\r", b"\r\n", b"\0", b"\x1b", b"#", b"=", b"-", b"+"),
    *(b"\xef\xbb\xbf", b"\xff", b"\xc3", b"\xed\xa0\x80", b"\xe2\x80\xae", "Ä".encode(), b" "),
    *(b"0", b"1", b"9" * 30, b"1e999", b"nan", b"inf", b"-0", b"1_0", b"0x1", "٣".encode()),
    *(b"2026-11-25T18:00Z", b"9999-12-31T23:59:59.999999Z", b"0001-01-01T00:00Z", b"T24:00Z"),
    *(b"25 Nov 2026 8 pm", b"+99:99", b"<EOR>", b"<EOH>", b"<A:9>", b"<A:999999999>", b"[", b"]"),
    *(b"{", b"}", b"[[a]]", b'"\\u0000"', b"\\ud800", b"null", b"true", b"1979-05-27", b"a.b=1"),
    *(b"../", b"/", b"..", b"<script>", b"&lt;", b"</c>", b"<v>", b't="s"', b't="d"', b'r="A1"'),
]


# One reader -------------------------------------------------------------------------------------


class Bench:
    """Runs one reader, counts, and keeps what went wrong."""

    def __init__(self, name: str, work: Path, until: float) -> None:
        from targets import TARGETS

        self.target, self.name, self.work, self.until = TARGETS[name], name, work, until
        self.counts = {"runs": 0, "read": 0, "refused": 0, "faults": 0}
        self.faults: dict[str, str] = {}

    def run(self, data: bytes) -> str:
        """What came of one input: read, refused, or the place of a fault."""
        (self.work / "last").write_bytes(data)
        self.counts["runs"] += 1
        word, said = outcome(self.target, data)
        if word in ("read", "refused"):
            self.counts[word] += 1
            return word + said
        self.counts["faults"] += 1
        if word not in self.faults:
            self.faults[word] = said
            self._keep(word, data)
        return word

    def _keep(self, word: str, data: bytes) -> None:
        data = shrunk(data, lambda part: outcome(self.target, part)[0] == word)
        digest = hashlib.sha256(data).hexdigest()[:12]
        name = f"{self.name}.{digest}.bin"
        if len(data) <= MOST_KEPT_BYTES:
            (REGRESSIONS / name).write_bytes(data)
        self.faults[word] += f"\n    input: {name}, {len(data)} bytes"

    def end(self) -> None:
        """Write what was found; the process is over."""
        found = {"counts": self.counts, "faults": self.faults}
        (self.work / "found").write_text(json.dumps(found), encoding="utf-8")
        sys.stdout.flush()
        os._exit(0)


def outcome(target: Any, data: bytes) -> tuple[str, str]:
    """The word read or refused and nothing, or the place of a fault and what it was."""
    try:
        return target.check(data), ""
    except (Exception, RecursionError) as fault:
        frames = traceback.extract_tb(fault.__traceback__)
        own = [one for one in frames if f"{os.sep}farhear{os.sep}" in one.filename] or frames
        place = f"{Path(own[-1].filename).name}:{own[-1].lineno}"
        return f"{type(fault).__name__} at {place}", f"{type(fault).__name__}: {str(fault)[:300]}"


def shrunk(data: bytes, is_same: Callable[[bytes], bool]) -> bytes:
    """A smaller input with the same fault: pieces are taken out while it stays."""
    end = time.monotonic() + _SHRINK_S
    size = max(1, len(data) // 2)
    while size >= 1 and time.monotonic() < end:
        at = 0
        while at < len(data) and time.monotonic() < end:
            less = data[:at] + data[at + size :]
            if is_same(less):
                data = less
            else:
                at += size
        size //= 2
    return data


# Engines ----------------------------------------------------------------------------------------


def changed(data: bytes, draw: random.Random, others: list[bytes]) -> bytes:
    """One input made of another."""
    out = bytearray(data)
    for _ in range(draw.choice((1, 1, 2, 3, 6))):
        at = draw.randrange(len(out) + 1)
        kind = draw.randrange(7)
        if kind == 0 and out:
            out[at % len(out)] ^= 1 << draw.randrange(8)
        elif kind == 1:
            del out[at : at + draw.choice((1, 2, 8, 64))]
        elif kind == 2:
            out[at:at] = draw.choice(_TOKENS)
        elif kind == 3:
            out[at : at + draw.randrange(1, 20)] = draw.choice(_TOKENS)
        elif kind == 4:
            piece = out[at : at + draw.choice((4, 40, 400))]
            out[at:at] = piece * draw.choice((1, 1, 2, 50))
        elif kind == 5:
            other = draw.choice(others)
            start = draw.randrange(len(other) + 1)
            out[at : at + 40] = other[start : start + draw.choice((8, 40, 400))]
        else:
            out = out[:at] if draw.random() < 0.2 else out
    return bytes(out[:_LONGEST_BYTES])


def plain(bench: Bench, seed: int) -> None:
    """Change at random; keep what had a new outcome."""
    draw = random.Random(seed)
    kept = bench.target.seeds()
    seen = {bench.run(one) for one in kept}
    while time.monotonic() < bench.until:
        data = changed(draw.choice(kept), draw, kept)
        word = bench.run(data)
        if word not in seen or draw.random() < 0.01:
            seen.add(word)
            kept.append(data)
            del kept[:-500]
    bench.end()


def guided(bench: Bench, seed: int) -> None:
    """By coverage, with atheris."""
    import atheris

    corpus = bench.work / "corpus"
    corpus.mkdir()
    for number, one in enumerate(bench.target.seeds()):
        (corpus / str(number)).write_bytes(one)
    words = ["".join(f"\\x{byte:02x}" for byte in token) for token in _TOKENS]
    (bench.work / "words").write_text("".join(f'"{word}"\n' for word in words))

    seeds = bench.target.seeds()

    def mutated(data: bytes, longest: int, seed: int) -> bytes:
        draw = random.Random(seed)
        if draw.random() < 0.3:
            return bytes(atheris.Mutate(data, longest))
        from_good = draw.random() < 0.5  # else few would get past the first check
        return changed(draw.choice(seeds) if from_good else data, draw, seeds)[:longest]

    def one(data: bytes) -> None:
        bench.run(data)
        if time.monotonic() >= bench.until:
            bench.end()

    options = [f"-seed={seed + 1}", f"-dict={bench.work / 'words'}", f"-max_len={_LONGEST_BYTES}"]
    options += ["-len_control=0", "-rss_limit_mb=4096", "-verbosity=0", "-timeout=120"]
    options += [f"-artifact_prefix={bench.work}{os.sep}"]
    atheris.Setup([sys.argv[0], *options, str(corpus)], one, custom_mutator=mutated)
    atheris.Fuzz()


def child(name: str, work: Path, seconds: float, seed: int) -> None:
    """One reader in its own process."""
    sys.path.insert(0, str(HERE))
    until = time.monotonic() + seconds
    if importlib.util.find_spec("atheris") is None:
        plain(Bench(name, work, until), seed)
        return
    import atheris

    with atheris.instrument_imports(include=["farhear"]):
        import targets  # noqa: F401
    guided(Bench(name, work, until), seed)


# All of them ------------------------------------------------------------------------------------


def fuzz(name: str, seconds: float, seed: int) -> dict[str, Any]:
    """Run one reader; a process that died is a fault, and its last input is kept."""
    with tempfile.TemporaryDirectory(prefix="fuzz-") as place:
        work = Path(place)
        command = [sys.executable, __file__, "--child", name, str(work)]
        command += ["--seconds", str(seconds), "--seed", str(seed)]
        environment = {**os.environ, "PYTHONFAULTHANDLER": "1"}
        try:
            done = subprocess.run(
                command,
                capture_output=True,
                env=environment,
                check=False,
                timeout=10.0 * seconds + 300.0,
            )
            status, err = str(done.returncode), done.stderr
        except subprocess.TimeoutExpired as late:
            status, err = "none, it did not end", late.stderr or b""
        found = work / "found"
        if found.exists():
            return json.loads(found.read_text(encoding="utf-8"))
        last = (work / "last").read_bytes() if (work / "last").exists() else b""
        digest = hashlib.sha256(last).hexdigest()[:12]
        if 0 < len(last) <= MOST_KEPT_BYTES:
            (REGRESSIONS / f"{name}.{digest}.bin").write_bytes(last)
        tail = re.sub(rb"[^\x20-\x7e\n]", b"?", err)[-3000:].decode()
        said = f"status {status}; input {name}.{digest}.bin\n{tail}"
        return {"counts": {"runs": 0, "faults": 1}, "faults": {"the process died": said}}


def main() -> int:
    parser = argparse.ArgumentParser(description="Fuzz every reader.")
    parser.add_argument("--seconds", type=float, default=60.0, help="in all")
    parser.add_argument("--only", action="append", help="one reader; repeatable")
    parser.add_argument("--seed", type=int, default=int(time.time()))
    parser.add_argument("--child", nargs=2, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.child:
        child(options.child[0], Path(options.child[1]), options.seconds, options.seed)
        return 0
    sys.path.insert(0, str(HERE))
    from targets import TARGETS

    names = options.only or list(TARGETS)
    each = options.seconds / len(names)
    engine = "atheris" if importlib.util.find_spec("atheris") else "random changes"
    print(f"{len(names)} readers, {each:.0f} s each, by {engine}, seed {options.seed}", flush=True)
    total = faults = 0
    for name in names:
        found = fuzz(name, each, options.seed)
        counts = found["counts"]
        total += counts["runs"]
        faults += len(found["faults"])
        words = ", ".join(f"{count} {what}" for what, count in counts.items())
        print(f"{name}: {words}", flush=True)
        for word, said in found["faults"].items():
            print(f"  {word}\n    {said}", flush=True)
    print(f"{total} executions, {faults} places with a fault")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())

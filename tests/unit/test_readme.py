"""The README must work as printed: its commands, its Python, what CI runs."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def fenced(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```$", README, flags=re.MULTILINE | re.DOTALL)


def test_two_commands_each_complete_by_itself() -> None:
    (block,) = fenced("sh")
    run, test = block.splitlines()
    assert run.startswith("bash tests/setup.sh run && .venv/bin/farhear ")
    assert test == "bash tests/check.sh"
    for script in re.findall(r"bash (\S+)", block):
        assert (ROOT / script).is_file()


def test_ci_runs_the_second_command_of_the_readme() -> None:
    (block,) = fenced("sh")
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    assert ci[0] == "#!/usr/bin/env bash"
    assert ci[-1] == block.splitlines()[1]
    assert (ROOT / ".ci" / "run").stat().st_mode & 0o111


def test_first_answer_runs(capsys: pytest.CaptureFixture[str]) -> None:
    (block,) = fenced("python")
    assert len(block.splitlines()) <= 11
    exec(compile(block, "README.md", "exec"), {})
    lines = capsys.readouterr().out.splitlines()
    hours = [line for line in lines if re.fullmatch(r"2026-03-15T\d\d:00Z +\d+%", line)]
    assert len(hours) == 12
    assert any("snr_db" in line for line in lines)

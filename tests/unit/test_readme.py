"""The README must work as printed: its commands, its Python, what CI runs."""

import re
import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image

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


def test_pictures_are_those_that_the_command_draws(tmp_path: Path) -> None:
    folder = ROOT / "notebooks" / "gallery"
    assert f"`.venv/bin/python {(folder / 'build.py').relative_to(ROOT)}`" in README
    subprocess.run([sys.executable, folder / "build.py", tmp_path], check=True, timeout=300)
    shown = re.findall(r"!\[([^]]+)\]\(notebooks/gallery/(\w+\.png)\)", README)
    names = sorted(path.name for path in folder.glob("*.png"))
    assert sorted(name for _, name in shown) == names == sorted(p.name for p in tmp_path.iterdir())
    for words, name in shown:
        assert len(words) > 30
        assert (folder / name).stat().st_size < 120_000
        with Image.open(folder / name) as kept, Image.open(tmp_path / name) as drawn:
            assert kept.size == drawn.size
            assert kept.info["Description"] == drawn.info["Description"], (
                f"{name} is of old numbers"
            )

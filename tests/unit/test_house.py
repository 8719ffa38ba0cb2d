"""House rules that a machine can check."""

import re
import subprocess
import tomllib
from pathlib import Path

import pytest

import farhear
from farhear import _core

ROOT = Path(__file__).resolve().parents[2]
TOP = {
    "CMakeLists.txt",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "cpp",
    "data",
    "notebooks",
    "pyproject.toml",
    "python",
    "shared",
    "tests",
}


@pytest.fixture(scope="module")
def tracked() -> list[Path]:
    """Files of the tree as git sees them, new ones included."""
    listing = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"],
        cwd=ROOT,
        capture_output=True,
        check=True,
    ).stdout.decode()
    return [path for name in listing.split("\0") if name and (path := ROOT / name).is_file()]


def texts(tracked: list[Path], *suffixes: str) -> list[tuple[str, str]]:
    return [
        (str(path.relative_to(ROOT)), path.read_text(encoding="utf-8"))
        for path in tracked
        if path.suffix in suffixes or path.name in suffixes
    ]


def core_texts(tracked: list[Path]) -> list[tuple[str, str]]:
    files = texts(tracked, ".hpp", ".cpp")
    return [(name, text) for name, text in files if name.startswith(("cpp/src", "cpp/include"))]


CODE = (".hpp", ".cpp", ".py", ".pyi", ".sh", ".toml", ".ipynb", ".md", "CMakeLists.txt", "run")


def hits(pattern: str, files: list[tuple[str, str]]) -> list[str]:
    return [
        f"{name}:{number}: {line.strip()}"
        for name, text in files
        for number, line in enumerate(text.splitlines(), 1)
        if re.search(pattern, line) and name != "tests/unit/test_house.py"
    ]


def test_top_level_holds_exactly_the_agreed_entries(tracked: list[Path]) -> None:
    seen = {path.relative_to(ROOT).parts[0] for path in tracked}
    assert {name for name in seen if not name.startswith(".")} == TOP


def test_one_version() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["version"] == _core.__version__ == farhear.__version__
    cmake = (ROOT / "CMakeLists.txt").read_text(encoding="utf-8")
    assert 'project(farhear VERSION "${SKBUILD_PROJECT_VERSION}"' in cmake, "a second version"
    assert f"- {project['version']}:" in (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_tests_run_this_tree() -> None:
    assert Path(str(farhear.__file__)).resolve() == ROOT / "python" / "farhear" / "__init__.py"


def test_cmake_fetches_nothing(tracked: list[Path]) -> None:
    cmake = texts(tracked, "CMakeLists.txt", ".cmake")
    assert cmake
    assert not hits(r"(?i)FetchContent|ExternalProject|file\s*\(\s*DOWNLOAD|https?://", cmake)


def test_nothing_needs_a_network_at_run_time(tracked: list[Path]) -> None:
    package = [(n, t) for n, t in texts(tracked, ".py") if n.startswith("python/")]
    # fetches when its caller asks for that by name; test_index_sources.py watches over it
    package = [(n, t) for n, t in package if not n.endswith("/_index_sources.py")]
    assert package
    assert not hits(r"^\s*(import|from) (urllib|http|socket|requests|ftplib)\b", package)


def test_no_pickle_no_eval(tracked: list[Path]) -> None:
    package = [(n, t) for n, t in texts(tracked, ".py") if n.startswith("python/")]
    assert not hits(r"^\s*(import|from) pickle\b|\b(eval|exec)\(|allow_pickle=True", package)


def test_no_machine_paths(tracked: list[Path]) -> None:
    assert not hits(r"(?<![\w.$}])/(home|root|work|opt|Users|mnt)/\w", texts(tracked, *CODE))


def test_nothing_is_left_half_done(tracked: list[Path]) -> None:
    words = r"\bTO" + r"DO\b|\bFIX" + r"ME\b|NotImplementedError|\bplaceholder\b"
    assert not hits(words, texts(tracked, *CODE))


def test_no_flag_that_breaks_reproducibility(tracked: list[Path]) -> None:
    build = texts(tracked, "CMakeLists.txt", "pyproject.toml")
    flags = [hit for hit in hits(r"-ffast-math|-Ofast|-march=native", build) if "#" not in hit]
    assert not flags
    assert "-ffp-contract=off" in (ROOT / "CMakeLists.txt").read_text(encoding="utf-8")


def test_core_takes_no_elementary_function_of_the_c_library(tracked: list[Path]) -> None:
    core = core_texts(tracked)
    names = "a?(sin|cos|tan)h?|atan2|exp[2m]?1?|log(10|1p|2)?|pow|hypot|cbrt|erfc?|[lt]gamma"
    assert core
    assert not hits(rf"\bstd::({names})\(", core)


def test_core_knows_no_python_no_files_no_clock(tracked: list[Path]) -> None:
    core = core_texts(tracked)
    assert core
    banned = r"pybind11|Python\.h|#include <(fstream|iostream|filesystem|cstdio)>|_clock::now"
    assert not hits(banned, core)


def test_heavy_headers_stay_private(tracked: list[Path]) -> None:
    public = [(n, t) for n, t in texts(tracked, ".hpp") if n.startswith("cpp/include")]
    assert public
    assert not hits(r"#include <(Eigen|boost|date)/", public)


def test_data_keeps_its_provenance(tracked: list[Path]) -> None:
    sets = {path.relative_to(ROOT).parts[1] for path in tracked if ROOT / "data" in path.parents}
    assert sets
    for name in sets:
        folder = ROOT / "data" / name
        if folder.is_dir():
            assert (folder / "PROVENANCE.md").is_file(), name

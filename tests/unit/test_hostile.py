"""Hostile surroundings and hostile files: a full disk, another locale, formulas, scripts, escapes.

Outside: OWASP, "CSV Injection" (which characters begin a formula); the Unicode database of Python
(control characters, bidirectional classes); the HTML and XML parsers of Python, openpyxl, the
operating system. Every name, place and check is invented.
"""

import ast
import csv
import io
import os
import re
import shutil
import subprocess
import sys
import unicodedata
import xml.etree.ElementTree as ET
import zipfile
from html.parser import HTMLParser
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import farhear as fh
from farhear import bundle, cards, club, evening_files, predictions
from farhear.errors import InputError
from farhear.layouts import write_layout
from farhear.study import Study
from farhear.tables import csv_text, guarded, unguarded

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "data" / "demo"
STATION = DEMO / "station.toml"
FUZZ = ROOT / "tests" / "fuzz"
CHECK = {
    "start_utc": "2026-11-25T18:00Z",
    "end_utc": "2026-11-25T18:20Z",
    "freq_khz": 6070,
    "outcome": "heard",
    "identity": "Radio Belmorant (invented)",
    "programme_notes": "1801 news; 1805 a song; 1812 weather",
}
posix = pytest.mark.skipif(os.name != "posix", reason="needs POSIX")


def command(*arguments, cwd, limit=None, before=(), **environment):
    """The command line in a process of its own; at most `limit` bytes go into any file."""

    def limited():
        import resource

        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))

    gone = {name for name, value in environment.items() if value is None}
    here = {**os.environ, **environment, "PYTHONDONTWRITEBYTECODE": "1"}
    return subprocess.run(
        [*before, sys.executable, "-m", "farhear", *map(str, arguments)],
        cwd=cwd,
        capture_output=True,
        env={name: value for name, value in here.items() if name not in gone},
        preexec_fn=None if limit is None else limited,
        check=False,
    )


def refused(done):
    """The one line that says why; nothing else is on the error stream."""
    err = done.stderr.decode()
    assert done.returncode == 2, err
    assert err.startswith("farhear: ")
    assert err.count("\n") == 1
    return err


def left(folder):
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())


def report_of(number=0):
    start = pd.Timestamp("2026-11-25T18:00Z") + pd.Timedelta(hours=number)
    check = {**CHECK, "start_utc": start, "end_utc": start + pd.Timedelta(minutes=20)}
    return fh.report.reception_report(check, fh.read_station(STATION), listener="a listener")


def log_with(text, path, days=6):
    """A log whose free texts are all `text`."""
    rows = [
        {
            "start_utc": f"2024-11-{day:02d}T{hour}:00Z",
            "end_utc": f"2024-11-{day:02d}T{hour}:04Z",
            "freq_khz": 6070,
            "outcome": "heard" if (day + hour) % 2 else "not_heard",
            **dict.fromkeys(("identity", "notes", "setup_id", "session_id", "s_meter"), text),
        }
        for day in range(1, days + 1)
        for hour in (15, 17, 19)
    ]
    fh.write_log(pd.DataFrame(rows), path)
    return fh.read_log(path)


# A disk that takes no more ----------------------------------------------------------------------


@posix
@pytest.mark.parametrize("more", [0, 1, 30, 90])
def test_a_check_that_the_disk_does_not_take_leaves_the_log_as_it_was(tmp_path, more):
    """The limit is met in the middle of the line; the file has no line end before, or has one."""
    for ending in ("", "ü"):
        path = tmp_path / "log.csv"
        path.unlink(missing_ok=True)
        fh.append_check(path, CHECK)
        data = path.read_bytes() + ("2026-11-25T19:00" + ending).encode()[: 17 * bool(ending)]
        path.write_bytes(data)
        size = len(data) + more
        script = (
            "import resource, farhear as fh\n"
            f"resource.setrlimit(resource.RLIMIT_FSIZE, ({size}, {size}))\n"
            f"fh.append_check('log.csv', {CHECK!r})"
        )
        done = subprocess.run(
            [sys.executable, "-B", "-c", script], cwd=tmp_path, capture_output=True, check=False
        )
        assert done.returncode == 1
        assert b"OSError: [Errno 27]" in done.stderr  # EFBIG, as from a disk that is full
        assert path.read_bytes() == data
        fh.append_check(path, CHECK)
        assert len(fh.read_log(path)) == 2
        assert left(tmp_path) == ["log.csv"]


@posix
@pytest.mark.parametrize("limit", [0, 300])
@pytest.mark.parametrize(
    "verb",
    [
        ("check", "log.csv", "--fix", "new.csv"),
        ("evening", "--demo", "--date", "2024-12-01", "--csv", "old.csv"),
        ("evening", "--demo", "--date", "2024-12-01", "--page", "old.html"),
        ("evening", "--demo", "--date", "2024-12-01", "--predictions", "said.csv"),
        ("season", "--demo", "--from", "2024-12-01", "--to", "2024-12-01", "--out", "season"),
        ("report", "log.csv", "--demo", "--row", "2", "--listener", "x", "--out", "old.pdf"),
        ("pack", "study"),
    ],
    ids=lambda verb: f"{verb[0]}{verb[-2] if len(verb) > 2 else ''}",
)
def test_a_full_disk_is_one_line_and_the_old_file_stays(tmp_path, verb, limit):
    fh.append_check(tmp_path / "log.csv", CHECK)
    for name in ("old.csv", "old.html", "old.pdf"):
        (tmp_path / name).write_text("old")
    if verb[0] == "pack":
        log = log_with("a", tmp_path / "other.csv")
        home = fh.read_station(STATION)
        Study.create(tmp_path / "study", title="x", station=home, log=log).run(
            charts=False, page=False
        )
    before = {name: (tmp_path / name).read_bytes() for name in left(tmp_path)}
    err = refused(command(*verb, cwd=tmp_path, limit=limit))
    # netCDF calls a first byte that does not get through a lack of permission
    assert any(why in err for why in ("too large", "full", "Permission denied: 'season/season.nc'"))
    assert ".part" not in err
    assert {name: (tmp_path / name).read_bytes() for name in left(tmp_path)} == before


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_a_screen_that_takes_nothing_is_told(tmp_path):
    fh.append_check(tmp_path / "log.csv", CHECK)
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            [sys.executable, "-m", "farhear", "check", "log.csv"],
            cwd=tmp_path,
            stdout=full,
            stderr=subprocess.PIPE,
            check=False,
        )
    assert "No space left on device" in refused(done)


# A folder that takes nothing --------------------------------------------------------------------


def unprivileged():
    """What takes away from root what no other user has; nothing for others."""
    if os.name != "posix" or not hasattr(os, "geteuid") or os.geteuid() != 0:
        return ()
    if shutil.which("setpriv") is None:
        pytest.skip("root may write anywhere, and setpriv is not there")
    return ("setpriv", "--bounding-set=-dac_override,-dac_read_search")


@posix
@pytest.mark.parametrize(
    "verb",
    [
        ("log", "there/log.csv", "--channels", "6070"),
        ("log", "there/new.csv", "--channels", "6070"),
        ("check", "log.csv", "--csv", "there/new.csv"),
        ("season", "--demo", "--from", "2024-12-01", "--to", "2024-12-01", "--out", "there/s"),
        ("pack", "there/study", "log.csv", "--demo"),
        ("hunch", "ask", "H4", "Does Kp count?", "--study", "there"),
    ],
    ids=lambda verb: " ".join(verb[:2]),
)
def test_a_folder_that_is_read_only_is_one_line(tmp_path, verb):
    fh.append_check(tmp_path / "log.csv", CHECK)
    there = tmp_path / "there"
    there.mkdir()
    (there / "log.csv").write_bytes((tmp_path / "log.csv").read_bytes())
    (there / "log.csv").chmod(0o444)
    there.chmod(0o555)
    before = {name: (tmp_path / name).read_bytes() for name in left(tmp_path)}
    try:
        arguments = list(verb)
        done = subprocess.run(
            [*unprivileged(), sys.executable, "-m", "farhear", *arguments],
            cwd=tmp_path,
            input=b"n\n",
            capture_output=True,
            check=False,
        )
        assert "Permission denied" in refused(done)
        assert "there" in done.stderr.decode()
        assert {name: (tmp_path / name).read_bytes() for name in left(tmp_path)} == before
    finally:
        there.chmod(0o755)


# Other machines ---------------------------------------------------------------------------------


def locales(folder):
    """Two locales that are not those of most machines, made here; where they cannot be: none."""
    if shutil.which("localedef") is None:
        return {}
    made = {}
    for name, language, letters in (
        ("tr_TR.UTF-8", "tr_TR", "UTF-8"),
        ("de_DE", "de_DE", "ISO-8859-1"),
    ):
        done = subprocess.run(
            ["localedef", "-i", language, "-f", letters, str(folder / name)],
            capture_output=True,
            check=False,
        )
        if done.returncode == 0:
            made[language] = {"LC_ALL": name, "LOCPATH": str(folder)}
    return made


@posix
def test_zone_locale_and_home_of_the_machine_change_no_byte(tmp_path):
    """Turkish has an i of its own, German a comma in numbers, and ISO 8859-1 few letters."""
    (tmp_path / "locales").mkdir()
    known = locales(tmp_path / "locales")
    places = {
        "plain": {},
        "kiritimati": {"TZ": "Pacific/Kiritimati", "HOME": "/nonexistent", "LC_ALL": "C"},
        "st john's": {"TZ": "America/St_Johns", "HOME": None, **known.get("tr_TR", {})},
        "Straße Ł 中": {"TZ": "Nowhere/At_All", **known.get("de_DE", {})},
    }
    made = {}
    for name, environment in places.items():
        folder = tmp_path / name
        folder.mkdir()
        log_with("Sığ İstasyon", folder / "log.csv")
        done = command(
            *("pack", "kış", "log.csv", "--station", STATION),
            cwd=folder,
            MPLCONFIGDIR=os.environ.get("MPLCONFIGDIR", ""),
            **environment,
        )
        assert done.returncode == 0, done.stderr
        shown = command(
            *("evening", "--demo", "--date", "2024-12-01", "--csv", "e.csv"),
            *("--calendar", "e.ics", "--page", "e.html"),
            cwd=folder,
            **environment,
        )
        assert (shown.returncode, shown.stderr) == (0, b"")
        made[name] = [(folder / n).read_bytes() for n in ("kış.zip", "e.csv", "e.ics", "e.html")]
    for name, files in made.items():
        assert files == made["plain"], name


def test_marks_and_line_ends_of_other_systems_stay_when_a_check_is_added(tmp_path):
    path = tmp_path / "log.csv"
    head = b"\xef\xbb\xbfstart_utc,end_utc,freq_khz,outcome\r\n"
    path.write_bytes(head + b"2026-11-25T17:00Z,2026-11-25T17:04Z,6070,heard\r\n")
    check = {k: CHECK[k] for k in ("start_utc", "end_utc", "freq_khz", "outcome")}
    fh.append_check(path, check)
    assert path.read_bytes().startswith(head)
    log = fh.read_log(path)
    assert (len(log), len(log.rejects)) == (2, 0)
    question = {"hunch": "H4", "text": "Kp?", "written_utc": "2026-01-01T00:00Z"}
    file = tmp_path / "study.toml"
    file.write_bytes(b"\xef\xbb\xbf# mine\r\n")
    fh.questions.add_question(tmp_path, fh.Question(parameters={}, **question))
    assert file.read_bytes().startswith(b"\xef\xbb\xbf# mine\r\n")
    assert [one.text for one in fh.questions.read_questions(tmp_path)] == ["Kp?"]


# What the package never does --------------------------------------------------------------------

_CALLS = {"eval", "exec", "compile", "__import__", "input", "breakpoint"}
_MODULES = {
    *("pickle", "marshal", "shelve", "dill", "cloudpickle", "joblib", "yaml", "subprocess"),
    *("ctypes", "pty", "code", "codeop", "telnetlib", "xmlrpc"),
}
_METHODS = {
    *("system", "popen", "eval", "query", "read_pickle", "to_pickle", "load_module"),
    *("startfile", "execv", "execve", "execl", "spawnl", "spawnv", "fromstring_unsafe"),
}


def dangers(source):
    """Calls and imports that could run what stands in a file."""
    found = []
    for node in ast.walk(ast.parse(source)):
        names = []
        if isinstance(node, ast.Import):
            names = [one.name.split(".")[0] for one in node.names]
        elif isinstance(node, ast.ImportFrom) and not node.level:
            names = [(node.module or "").split(".")[0]]
        found += [name for name in names if name in _MODULES]
        if isinstance(node, ast.Call):
            called = node.func
            if isinstance(called, ast.Name) and called.id in _CALLS:
                found.append(called.id)
            if isinstance(called, ast.Attribute) and called.attr in _METHODS:
                found.append(called.attr)
            for word in node.keywords:
                is_true = isinstance(word.value, ast.Constant) and word.value.value is True
                if word.arg in ("shell", "allow_pickle", "trusted") and is_true:
                    found.append(word.arg)
                if word.arg == "autoescape" and not is_true:
                    found.append(word.arg)
    return found


def test_nothing_in_the_package_runs_what_a_file_says():
    files = sorted((ROOT / "python" / "farhear").rglob("*.py"))
    assert len(files) > 50
    found = {f"{file.name}": dangers(file.read_text(encoding="utf-8")) for file in files}
    assert not {name: what for name, what in found.items() if what}


@pytest.mark.parametrize(
    "text",
    [
        "eval(x)",
        "import pickle",
        "from yaml import load",
        "import os\nos.system(x)",
        "np.load(x, allow_pickle=True)",
        "run(x, shell=True)",
        "frame.query(x)",
        "pd.read_pickle(x)",
        "jinja2.Environment(autoescape=False)",
    ],
)
def test_the_search_finds_what_it_looks_for(text):
    assert dangers(text)


def test_templates_mark_nothing_as_safe():
    """Of what the page puts in unescaped, all is its own: see `Markup` in page.py."""
    for file in (ROOT / "python" / "farhear" / "templates").iterdir():
        text = file.read_text(encoding="utf-8")
        assert not re.search(r"\|\s*safe\b|autoescape\s+false", text)


# Archives ---------------------------------------------------------------------------------------


def archive(path, *entries):
    with zipfile.ZipFile(path, "w") as made:
        for name, data in entries:
            entry = zipfile.ZipInfo(name)
            entry.external_attr = 0o100644 << 16
            made.writestr(entry, data)
    return path


@pytest.mark.parametrize(
    ("names", "says"),
    [
        (("a", "a/b"), "a is a file and a folder"),
        (("a/b", "A"), "a is a file and a folder"),
        (("\u00e9.txt", "e\u0301.txt"), "stands there twice"),  # the same to macOS
        (("a", "a/"), "stands there twice"),
        (("con.txt",), "is no name"),  # devices of Windows
        (("data/NUL",), "is no name"),
        (("a.txt.",), "is no name"),  # Windows drops dots and blanks at the end
        (("a /b",), "is no name"),
        (("a?.txt",), "is no name"),
        (("a\u202etxt.exe",), "is no name"),
        (("//host/share/a",), "is no name"),
    ],
)
def test_names_that_are_one_file_elsewhere_are_refused(tmp_path, names, says):
    path = archive(tmp_path / "bad.zip", *((name, b"x") for name in names))
    with pytest.raises(InputError, match=says):
        bundle.unpack(path, tmp_path / "out")
    assert left(tmp_path) == ["bad.zip"]
    assert [p.name for p in tmp_path.iterdir()] == ["bad.zip"]


def test_a_list_that_would_fill_the_memory_is_not_read(tmp_path, monkeypatch):
    monkeypatch.setattr(bundle, "MOST_FILES", 50)
    monkeypatch.setattr(bundle, "_LISTED_BYTES", 60)
    path = archive(tmp_path / "many.zip", *((f"{n}.txt", b"") for n in range(2000)))

    def read(*_):
        raise AssertionError("the list was read")

    monkeypatch.setattr(zipfile.ZipFile, "infolist", read)
    monkeypatch.setattr(zipfile.ZipFile, "_RealGetContents", read)
    with pytest.raises(InputError, match=r"many\.zip has too many entries; 50 are the most"):
        bundle.unpack(path, tmp_path / "out")
    data = path.read_bytes()
    at = data.rindex(b"PK\x05\x06")
    locator = b"PK\x06\x07" + bytes(16)  # of zip64, which no study needs
    path.write_bytes(data[:at] + locator + data[at : at + 12] + bytes(4) + data[at + 16 :])
    with pytest.raises(InputError, match="has too many entries"):
        bundle.unpack(path, tmp_path / "out")


def test_entries_that_share_their_bytes_are_no_bomb(tmp_path):
    """As in a better zip bomb (Fifield, WOOT 2019): one body, listed many times."""
    path = archive(tmp_path / "a.zip", ("a.txt", b"0" * 5000))
    data = path.read_bytes()
    at, end = data.index(b"PK\x01\x02"), data.index(b"PK\x05\x06")
    entry = data[at:end]
    again = b"".join(entry.replace(b"a.txt", b"%05d" % n) for n in range(200))
    tail = bytearray(data[end:])
    tail[8:10] = tail[10:12] = (201).to_bytes(2, "little")
    tail[12:16] = len(entry + again).to_bytes(4, "little")
    path.write_bytes(data[:end] + again + tail)
    with pytest.raises(InputError, match=r"a\.zip"):
        bundle.unpack(path, tmp_path / "out")
    assert [p.name for p in tmp_path.iterdir()] == ["a.zip"]


def test_names_of_files_with_a_zero_in_them_are_refused(tmp_path):
    head = '[[members]]\nname = "Birch"\nconsent = true\n'
    more = 'place = "KO38"\ntime_zone = "Europe/Tallinn"\nlicence = "CC0-1.0"\n'
    for text in (f'{head}study = "a\\u0000b"\n', f'{head}{more}log = "a\\u0000b"\n'):
        (tmp_path / "club.toml").write_text(text)
        with pytest.raises(
            InputError, match=r"club.toml: members\[0\] 'Birch': .* is not the name"
        ):
            club.read_members(tmp_path / "club.toml")
    schedule_with("a", tmp_path)
    write_layout(fh.layouts.Layout(sites="a\0"), tmp_path / "list.csv")
    with pytest.raises(InputError, match="is not the name of a file"):
        fh.read_schedule(tmp_path / "list.csv", days="iso", season="B24")


# Scripts ----------------------------------------------------------------------------------------

SCRIPTS = (
    "</script><script>alert(1)</script>",
    "<svg onload=alert(1)>",
    '" onmouseover="alert(1)',
    "javascript:alert(1)",
    "<img src=x onerror=alert(1)>",
    "]]><script>alert(1)</script>",
)


class Seen(HTMLParser):
    """Elements, their attributes, and the text a reader sees."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.attributes, self.words = [], [], []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data):
        self.words.append(data)

    def check(self, scripts):
        assert self.tags.count("script") == scripts
        assert not {"img", "iframe", "object", "embed", "base"} & set(self.tags)
        for name, value in self.attributes:
            assert not name.startswith("on")
            assert not (value or "").strip().lower().startswith("javascript:")


@pytest.mark.parametrize("text", SCRIPTS)
def test_scripts_in_a_log_are_text_on_the_page_and_in_the_pictures(tmp_path, text):
    plain = Study.create(
        tmp_path / "plain",
        title="x",
        station=fh.read_station(STATION),
        log=log_with("a", tmp_path / "plain.csv"),
    )
    plain.run()
    scripts = Seen((plain.folder / "index.html").read_text()).tags.count("script")
    study = Study.create(
        tmp_path / "study",
        title=text,
        station=fh.read_station(STATION),
        log=log_with(text, tmp_path / "log.csv"),
        member=text[:40],
        note=text,
    )
    study.run()
    made = Seen((study.folder / "index.html").read_text())
    made.check(scripts)
    assert text in "".join(made.words)
    Seen((study.folder / "README.md").read_text()).check(0)
    pictures = sorted((study.folder / "charts").glob("*.svg"))
    assert pictures
    for file in pictures:
        for node in ET.fromstring(file.read_text()).iter():
            assert not node.tag.endswith("}script")
            assert not [name for name in node.attrib if name.startswith("on")]
    for shown in (study, study.log()):
        Seen(shown._repr_html_()).check(0)


@pytest.mark.parametrize("text", SCRIPTS)
def test_scripts_in_a_list_are_text_on_the_evening_page(tmp_path, text):
    plan = fh.plan(fh.read_station(STATION), schedule_with(text, tmp_path), "2024-12-01")
    evening_files.write_page(plan, tmp_path / "e.html", title=text)
    made = Seen((tmp_path / "e.html").read_text())
    made.check(0)
    assert "".join(made.words).count(text) > 2
    for shown in (plan, plan.schedule if hasattr(plan, "schedule") else plan):
        Seen(shown._repr_html_()).check(0)


def schedule_with(text, folder):
    """The invented list, every broadcaster called `text`."""
    lines = (DEMO / "schedule_b24.csv").read_text().splitlines()
    body = "\n".join(line for line in lines if not line.startswith("#"))
    frame = pd.read_csv(io.StringIO(body), dtype=str, keep_default_na=False).head(40)
    frame["broadcaster"] = guarded(text)
    frame.to_csv(folder / "list.csv", index=False)
    return fh.read_schedule(folder / "list.csv", days="iso", season="B24")


def test_dollars_in_a_name_are_no_formula_of_a_picture(tmp_path):
    study = Study.create(
        tmp_path / "study",
        title="Radio $\\frac{1$ and $x^{$",
        station=fh.read_station(STATION),
        log=log_with("$\\frac{1$", tmp_path / "log.csv"),
    )
    study.run()
    assert (study.folder / "charts" / "hours.svg").exists()


# Formulas ---------------------------------------------------------------------------------------

FORMULAS = (
    *("=1+1", "+1+1", "-1+1", "@SUM(A1:A9)", "=cmd|' /C calc'!A0", "-2+3+cmd|' /C calc'!A0"),
    *("'=1+1", "''=1+1", "=", "-", "+", "@", "- what was heard", "-73 dBm", "=HYPERLINK(A1)"),
)
NUMBERS = ("-73", "+5", "-1.5e3", "0", "6070")
# OWASP, "CSV Injection": a cell that begins with one of these may be run
BEGIN = tuple("=+-@\t\r\n")


def runs(cell):
    """Whether a spreadsheet may take a cell for a formula: it is no plain number."""
    try:
        float(cell)
    except ValueError:
        return cell.startswith(BEGIN)
    return False


def cells_in(path, delimiter=","):
    with path.open(newline="", encoding="utf-8") as file:
        return [cell for row in csv.reader(file, delimiter=delimiter) for cell in row]


@settings(max_examples=300)
@given(st.text(max_size=12) | st.sampled_from([*FORMULAS, *NUMBERS]))
def test_a_guarded_text_runs_nowhere_and_comes_back(text):
    assert not runs(guarded(text))
    assert unguarded(guarded(text)) == text
    assert guarded(text) in (text, f"'{text}")


@pytest.mark.parametrize("text", NUMBERS)
def test_numbers_stay_numbers(text):
    assert guarded(text) == text
    assert csv_text(pd.DataFrame({"a": [text, "b"], "n": [-1.5, -2.0]})) == (
        f"a,n\n{text},-1.5\nb,-2.0\n"
    )


@pytest.mark.parametrize("suffix", [".csv", ".tsv", ".xlsx", ".parquet"])
@pytest.mark.parametrize("text", [*FORMULAS, *NUMBERS])
def test_a_log_keeps_formulas_as_texts(tmp_path, text, suffix):
    path = tmp_path / f"log{suffix}"
    log = log_with(text, path)
    names = ("identity", "notes", "setup_id", "session_id", "s_meter")
    for name in names:
        assert set(log.frame[name]) == {text}
    if suffix in (".csv", ".tsv"):
        cells = cells_in(path, "\t" if suffix == ".tsv" else ",")
        assert not [cell for cell in cells if runs(cell)]
    if suffix == ".xlsx":
        kinds = {cell.data_type for row in openpyxl.load_workbook(path).active for cell in row}
        assert kinds <= {"s", "n", "inlineStr"}  # no "f"
    again = tmp_path / "again.csv"
    fh.write_log(log, again)
    fh.append_check(again, {**CHECK, "identity": text, "notes": text})
    back = fh.read_log(again).frame
    assert set(back["notes"]) == {text}
    assert not [cell for cell in cells_in(again) if runs(cell)]


def test_a_last_column_is_guarded_too(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("start_utc,end_utc,freq_khz,outcome,notes\n")
    check = {k: CHECK[k] for k in ("start_utc", "end_utc", "freq_khz", "outcome")}
    fh.append_check(path, {**check, "notes": "=1+1"})
    assert path.read_text().endswith(',"\'=1+1"\n')
    assert fh.read_log(path).frame["notes"].tolist() == ["=1+1"]


@pytest.mark.parametrize("text", FORMULAS)
def test_cards_keep_formulas_as_texts(tmp_path, text):
    path = tmp_path / "cards.csv"
    key = cards.add_report(
        path, report_of(), sent_utc="2027-01-01T00:00Z", sent_by="post", sent_to=text
    )
    cards.add_card(path, key, card_utc="2027-02-01T00:00Z", card_kind="paper", site=text, note=text)
    cards.add_report(path, report_of(5), sent_utc="2027-01-01T00:00Z", sent_by="post", note=text)
    frame = cards.read_cards(path).frame
    assert frame["sent_to"].tolist() == [text, ""]
    assert frame["note"].tolist() == [text, text]
    assert frame["site"].tolist() == [text, ""]
    assert not [cell for cell in cells_in(path) if runs(cell)]


@pytest.mark.parametrize("text", ["=1+1", "@A1", "-1+1"])
def test_what_an_evening_and_a_look_at_a_log_export_runs_nowhere(tmp_path, text, run):
    plan = fh.plan(fh.read_station(STATION), schedule_with(text, tmp_path), "2024-12-01")
    evening_files.write_table(plan, tmp_path / "e.csv")
    predictions.write_predictions(plan, tmp_path / "p.csv", issued_utc="2024-11-30T00:00Z")
    predictions.write_predictions(plan, tmp_path / "p.csv", issued_utc="2024-12-01T00:00Z")
    said = predictions.read_predictions(tmp_path / "p.csv")
    assert set(said.frame["broadcaster"]) == {text}
    assert len(said.frame) == said.rows_read
    (tmp_path / "log.csv").write_text(
        "start_utc,end_utc,freq_khz,outcome,identity\n"
        f"2026-11-25T18:00Z,2026-11-25T18:04Z,{text},{text},{text}\n"
    )
    assert run("check", "log.csv", "--csv", "found.csv")[0] == 0
    for name in ("e.csv", "p.csv", "found.csv"):
        cells = cells_in(tmp_path / name)
        assert f"'{text}" in cells
        assert not [cell for cell in cells if runs(cell)]


@pytest.mark.parametrize("text", ["=1+1", "-1+1"])
def test_a_club_with_formulas_for_names_gives_the_same_numbers_again(tmp_path, text):
    members = [
        club.Member(
            name=name,
            place="KO38",
            time_zone="Europe/Tallinn",
            licence="CC0-1.0",
            consent=True,
            log=log_with(text, tmp_path / "log.csv"),
        )
        for name in (text, "Birch", "Rowan")
    ]
    study = Study.from_club(tmp_path / "club", club.merge(members), title="Club")
    study.run()
    study.pack(tmp_path / "club.zip")
    found = fh.verify(tmp_path / "club.zip", rerun=True, privacy=True)
    assert found.ok, found.text()
    assert set(study.log().frame["observer_id"]) == {text, "Birch", "Rowan"}
    for file in sorted((study.folder / "data").glob("*.csv")):
        assert not [cell for cell in cells_in(file) if runs(cell)], file.name


# Terminals --------------------------------------------------------------------------------------

ESCAPES = "\x1b[2J\x1b]0;title\x07", "\x9b31m", "\x90q\x9c", "a\u202eb\u2066c", "\x7f", "a\u2028b"
_TURNS = {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}


def obeyed(text):
    """Characters that a terminal obeys: controls, line separators, marks of direction."""
    return [
        letter
        for letter in text
        if (unicodedata.category(letter) in ("Cc", "Zl", "Zp") and letter != "\n")
        or unicodedata.bidirectional(letter) in _TURNS
    ]


@pytest.mark.parametrize("text", ESCAPES)
def test_what_a_terminal_would_obey_is_spelt_out(tmp_path, text, run):
    row = {**CHECK, "outcome": f"x{text}", "notes": text}
    pd.DataFrame([row]).astype(str).to_parquet(tmp_path / "log.parquet")
    status, out, err = run("check", "log.parquet")
    assert (status, err) == (0, "")
    assert not obeyed(out)
    assert "outcome = x" in out
    spelt = text.encode("unicode_escape").decode()
    home = STATION.read_text(encoding="utf-8")
    named = "".join(f"\\u{ord(letter):04x}" for letter in text)
    (tmp_path / "home.toml").write_text(re.sub('name = ".*"', lambda _: f'name = "{named}"', home))
    given = ("--schedule", DEMO / "schedule_b24.csv", "--days", "iso", "--season", "B24")
    status, out, err = run("evening", "--station", "home.toml", *given, "--date", "2024-12-01")
    assert (status, err) == (0, "")
    assert not obeyed(out)
    assert spelt in out
    status, out, err = run("check", f"no{text}.csv")
    assert status == 2
    assert not obeyed(out + err)
    assert err.count("\n") == 1


def test_letters_and_directions_of_other_scripts_stay(tmp_path, run):
    text = "Радио 中文 إذاعة קול"
    (tmp_path / "log.csv").write_text(
        "start_utc,end_utc,freq_khz,outcome\n2026-11-25T18:00Z,2026-11-25T18:04Z,6070," + text,
        encoding="utf-8",
    )
    assert f"outcome = {text}" in run("check", "log.csv")[1]


@pytest.mark.parametrize("letters", ["ascii", "latin-1", "cp1252", "utf-8:strict"])
def test_letters_that_a_screen_lacks_end_nothing(tmp_path, letters):
    name = "Ж\udcff.csv" if os.name == "posix" else "Ж.csv"  # a byte that is no UTF-8
    (tmp_path / os.fsencode(name).decode("utf-8", "surrogateescape")).write_text(
        "start_utc,end_utc,freq_khz,outcome\n2026-11-25T18:00Z,2026-11-25T18:04Z,6070,слышно\n",
        encoding="utf-8",
    )
    done = command("check", name, cwd=tmp_path, PYTHONIOENCODING=letters)
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"1 rows refused" in done.stdout
    assert (
        b"no"
        in refused(command("check", f"no{name}", cwd=tmp_path, PYTHONIOENCODING=letters)).encode()
    )


def test_a_fault_that_quotes_half_a_file_is_one_line_that_can_be_read(tmp_path):
    (tmp_path / "home.toml").write_text(f'"{"long" * 5000}" = 1\n')
    err = refused(command("evening", "--station", "home.toml", cwd=tmp_path))
    assert len(err) < 2100


# Files that made a reader fail once -------------------------------------------------------------


def targets():
    sys.path.insert(0, str(FUZZ))
    try:
        from targets import TARGETS
    finally:
        sys.path.remove(str(FUZZ))
    return TARGETS


FOUND = sorted((FUZZ / "regressions").glob("*.bin"))


@posix
@pytest.mark.parametrize("file", FOUND, ids=lambda file: file.name)
def test_a_file_that_made_a_reader_fail_is_refused_or_read(file):
    word = targets()[file.name.split(".")[0]].check(file.read_bytes())
    assert word in ("refused", "read")


@posix
def test_the_good_files_of_the_fuzzer_are_read():
    """Else it would only ever see refusals."""
    for name, target in targets().items():
        for data in target.seeds():
            assert target.check(data) == "read", name

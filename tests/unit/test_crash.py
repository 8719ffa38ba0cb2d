"""Killed, interrupted, or two at once: no row is lost, and every file is the old or the new one.

Nothing outside the project says what must hold here but POSIX: rename() puts a whole file in the
place of another, flock() ends with its process, SIGKILL cannot be caught (IEEE Std 1003.1, and
flock(2) of Linux). Every name, place and check is invented.

Run as a script it kills one writer as often as told, and says what it found::

    python tests/unit/test_crash.py pack /tmp/empty 500
"""

import contextlib
import json
import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import farhear as fh
from farhear import bundle, cards, cli, indices, questions
from farhear._files import alone
from farhear.errors import InputError
from farhear.folder import write_scores
from farhear.log import CUT_OFF
from farhear.simulate import season
from farhear.study import Study

KILLS = int(os.environ.get("FARHEAR_KILLS", "25"))
POSIX = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork and SIGKILL")
DEMO = Path(__file__).resolve().parents[2] / "data" / "demo"
WRITE = getattr(os, "O_WRONLY", 1) | getattr(os, "O_RDWR", 2)
STATION = DEMO / "station.toml"
ROW = {"start_utc": "2026-11-25T18:00Z", "end_utc": "2026-11-25T18:20Z", "freq_khz": 6070}
NOTES = "1801 news; 1805 a song; 1812 weather, ä"


# Writers ----------------------------------------------------------------------------------------
#
# Each is a function of the folder and of a version, 0 or 1, that writes the files of that version.
# `files` are those whose bytes must be of one of the two; `mended` looks at the rest.


def log_of(version, evenings=5):
    return season(
        np.random.default_rng(version),
        bands=["31 m", "49 m"],
        evenings=evenings,
        first="2024-11-01",
        station=fh.read_station(STATION),
        opening_min={"31 m": 40.0, "49 m": 60.0},
    ).frame


def write_log(folder, version):
    fh.write_log(log_of(version), folder / "log.csv")


def pack(folder, version):
    study = Study.create(
        folder / "winter",
        title=f"Winter {version}",
        station=fh.read_station(STATION),
        log=fh.read_log(folder / f"{version}.csv"),
    )
    study.run(charts=False, page=False)
    study.pack(folder / "winter.zip")


def merge(folder, version):
    members = [
        fh.club.Member(
            name=name,
            place="KO38",
            time_zone="Europe/Tallinn",
            licence="CC0-1.0",
            consent=True,
            log=fh.read_log(folder / f"{version}.csv"),
        )
        for name in ("Alder", "Birch", "Rowan")
    ]
    study = Study.from_club(folder / "winter", fh.club.merge(members), title=f"Club {version}")
    study.run(charts=False, page=False)
    study.pack(folder / "winter.zip")


def update(folder, version):
    indices.download = lambda *_: (folder / f"{version}.txt").read_bytes()
    indices.update(folder / "indices.csv", url="http://localhost/indices")


def scores(folder, version):
    checks = fh.scoring.read_checks(folder / f"{version}.checks", power_kw=100.0)
    found = fh.scoring.score(checks, n=20)
    write_scores(found, checks, folder / "scores")


def report(folder, version):
    row = fh.read_log(folder / "heard.csv").frame.iloc[version]
    made = fh.report.reception_report(row, fh.read_station(STATION), listener="a listener")
    made.write_pdf(folder / "report.pdf")


SLOW = {"merge": 3, "pack": 2, "scores": 2, "notes": 2}  # killed so many times less often
FILES = {
    "write_log": ("log.csv",),
    "pack": ("winter.zip",),
    "merge": ("winter.zip",),
    "update": ("indices.csv",),
    "scores": ("scores/summary.csv", "scores/checks.csv", "scores/rejects.csv"),
    "report": ("report.pdf",),
}


def prepared(folder):
    """What the writers read."""
    for version in (0, 1):
        frame = log_of(version).drop(columns=["observer_id", "session_id"], errors="ignore")
        fh.write_log(frame.head(40), folder / f"{version}.csv")
        days = [f"2024-05-{day:02d},{200 + day}.{version}\n" for day in range(1, 20)]
        (folder / f"{version}.txt").write_text("date,f107_obs_sfu\n" + "".join(days))
        checks = [
            f"2025-11-{day:02d}T18:0{version}Z,6070,40.5,19.25,58.4,26.7,{day % 2}\n"
            for day in range(1, 13)
        ]
        head = "utc,freq_khz,tx_lat_deg,tx_lon_deg,rx_lat_deg,rx_lon_deg,heard\n"
        (folder / f"{version}.checks").write_text(head + "".join(checks))
        heard = {**ROW, "outcome": "heard", "identity": f"Radio {version}", "sinpo": "34333"}
        fh.append_check(folder / "heard.csv", {**heard, "programme_notes": NOTES})


def by_fork(work):
    """Run in a child; its process."""
    child = os.fork()
    if child == 0:
        status = 1
        with contextlib.suppress(KeyboardInterrupt):
            work()
            status = 0
        os._exit(status)
    return child


def at_step(work, step):
    """Run `work`, and die of SIGKILL just before its step of that number that changes files."""
    steps = 0

    def watch(event, args):
        nonlocal steps
        is_write = event == "open" and isinstance(args[2], int) and args[2] & WRITE
        if is_write or event in ("os.rename", "os.remove", "os.mkdir", "os.truncate"):
            steps += 1
            if steps == step:
                os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(watch)
    work()
    return steps


def kill_writers(name, folder, kills):
    """Kill a writer again and again; after each kill all is as it was or as it was to be.

    In turns after a random time, which may be in the middle of a write, and before one of the steps
    that change files, each of which has its turn.
    """
    work = globals()[name]
    prepared(folder)
    whole = []
    for version in (0, 1):
        begin = time.monotonic()
        work(folder, version)
        longest_s = time.monotonic() - begin  # of the second: nothing is imported any more
        whole.append({file: (folder / file).read_bytes() for file in FILES[name]})
    out, into = os.pipe()
    os.waitpid(by_fork(lambda: os.write(into, b"%d" % at_step(lambda: work(folder, 1), 0))), 0)
    steps = int(os.read(out, 100))
    draw = random.Random(7)
    found = Counter(steps=steps)
    last = 1
    for turn in range(kills):
        version = 1 - last
        if turn % 2:
            child = by_fork(partial(work, folder, version))
            time.sleep(draw.uniform(0.0, 1.1 * longest_s))
            os.kill(child, signal.SIGKILL)
        else:
            step = 1 + (turn // 2 * 7) % (steps + 1)
            child = by_fork(partial(at_step, partial(work, folder, version), step))
        done = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        assert done in (0, -signal.SIGKILL), f"the writer failed: {done}"
        found["finished" if done == 0 else "killed"] += 1
        states = set()
        for file in FILES[name]:
            data = (folder / file).read_bytes()
            which = [data == one[file] for one in whole]
            assert any(which), f"{file} is neither the old nor the new one"
            states |= {which.index(True)} if not all(which) else set()
        assert done or states <= {version}
        found["new" if states == {version} else "mixed" if len(states) > 1 else "old"] += 1
        if name in ("pack", "merge"):
            found[looked_at(folder, whole)] += 1
        work(folder, version)  # the next run minds nothing that was left
        for file in FILES[name]:
            assert (folder / file).read_bytes() == whole[version][file]
        last = version
    return found


def looked_at(folder, whole):
    """A study's folder after a kill: as sealed, or told not to be; never a mixture that passes."""
    study = folder / "winter"
    try:
        opened = Study.open(study)
    except InputError as refused:
        assert "no log yet" in str(refused)  # noqa: PT017
        return "folder: no study yet"
    try:
        opened.pack(folder / "other.zip")  # what is left of a file that was being written goes
    except InputError as refused:
        assert "run the study again" in str(refused)  # noqa: PT017
        return "folder: not as sealed"
    assert not bundle.seal_faults(study)
    assert (folder / "other.zip").read_bytes() in [one["winter.zip"] for one in whole]
    return "folder: as sealed"


def append(folder, kills):
    """Two writers at one log; one of them is killed, the other goes on."""
    path = folder / "log.csv"
    draw = random.Random(3)
    told = []

    def work(into, mark):
        for number in range(10**6):
            key = f"{mark}-{number}"
            check = {**ROW, "check_id": key, "outcome": "heard", "notes": "ä, " * (number % 900)}
            fh.append_check(path, check)
            os.write(into, f"{key}\n".encode())

    for turn in range(kills):
        out, into = os.pipe()
        both = [by_fork(partial(work, into, f"{turn}{k}")) for k in "ab"]
        os.close(into)
        for child in both:
            time.sleep(draw.uniform(0.0, 0.06))
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
        with open(out) as stream:  # noqa: PTH123  a pipe
            told += stream.read().split()
    log = fh.read_log(path)
    keys = Counter(log.frame["check_id"])
    assert set(told) <= set(keys), "a check that was told of is lost"
    assert set(keys.values()) == {1}, "a check stands twice"
    cut = set(log.rejects["reason"]) - {"the line was cut off while it was written"}
    assert not cut
    assert path.read_text(encoding="utf-8").count(CUT_OFF) <= log.rows_rejected
    assert log.rows_read - len(told) <= 2 * kills  # one of each that was not yet told
    return {"told": len(told), "read": log.rows_read, "cut off": log.rows_rejected}


def notes(folder, kills):
    """Questions and cards, which are read, changed and written whole."""
    draw = random.Random(5)
    told = []
    demo = fh.read_station(STATION)
    path = folder / "cards.csv"

    def made(number):
        start = pd.Timestamp("2026-01-01T18:00Z") + pd.Timedelta(hours=number)
        check = {
            **ROW,
            "start_utc": start,
            "end_utc": start + pd.Timedelta(minutes=20),
            "outcome": "heard",
            "identity": "Radio Belmorant (invented)",
            "programme_notes": NOTES,
        }
        return fh.report.reception_report(check, demo, listener="a listener")

    def work(into, turn):
        for number in range(10**6):
            text = f"{turn}-{number}"
            given = {"a": "31 m", "b": "49 m", "to_min": 60.0 + turn + number / 1000}
            question = fh.Question(
                hunch="H1", text=text, parameters=given, written_utc="2024-09-01T00:00Z"
            )
            questions.add_question(folder / "study", question)
            os.write(into, f"q {text}\n".encode())
            key = cards.add_report(
                path, made(1000 * turn + number), sent_utc="2028-01-01T00:00Z", sent_by="post"
            )
            os.write(into, f"r {key}\n".encode())

    for turn in range(kills):
        out, into = os.pipe()
        child = by_fork(partial(work, into, turn))
        os.close(into)
        time.sleep(draw.uniform(0.0, 0.1))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        with open(out) as stream:  # noqa: PTH123  a pipe
            told += stream.read().splitlines()
        if (folder / "study" / "study.toml").exists():
            asked = [one.text for one in questions.read_questions(folder / "study")]
            assert {one[2:] for one in told if one[0] == "q"} <= set(asked)
            assert len(set(asked)) == len(asked)
        if path.exists():
            sent = cards.read_cards(path)
            assert not len(sent.rejects)
            assert {one[2:] for one in told if one[0] == "r"} <= set(sent.frame["report_id"])
    return {"told": len(told)}


def driver(name, folder, kills):
    folder.mkdir(parents=True, exist_ok=True)
    kill = partial(kill_writers, name) if name in FILES else globals()[name]
    found = kill(folder, kills)
    print(json.dumps(dict(found)))


# Killed -----------------------------------------------------------------------------------------


@POSIX
@pytest.mark.parametrize("name", [*FILES, "append", "notes"])
def test_killed_at_any_time(tmp_path, name):
    kills = max(4, KILLS // SLOW.get(name, 1))
    done = subprocess.run(
        [sys.executable, __file__, name, str(tmp_path / "work"), str(kills)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    found = json.loads(done.stdout)
    print(name, found)
    if name in FILES:
        assert found["killed"] >= kills // 3
        assert found.get("finished", 0) + found["killed"] == kills
        if len(FILES[name]) == 1:
            assert "mixed" not in found
    else:
        assert found["told"] > 0  # a busy machine begins few


# Two at once ------------------------------------------------------------------------------------


def script(folder, text):
    """A Python process that begins when a line comes in."""
    head = "import sys, farhear as fh, pandas as pd\nprint('ready', flush=True)\ninput()\n"
    return subprocess.Popen(
        [sys.executable, "-c", head + text],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=folder,
    )


def together(processes):
    """Let all begin at once; what each printed, when all are done."""
    for one in processes:
        assert one.stdout.readline() == "ready\n"
    for one in processes:
        one.stdin.write("\n")
        one.stdin.flush()
    told = []
    for one in processes:
        out, err = one.communicate(timeout=120)
        assert one.returncode == 0, err
        told += out.split()
    return told


APPEND = """
for number in range(60):
    key = f"{sys.argv[0]}{MARK}-{number}"
    fh.append_check("log.csv", {**ROW, "check_id": key, "outcome": "not_heard"})
    print(key, flush=True)
"""


@POSIX
def test_two_who_begin_a_log_at_once_lose_nothing(tmp_path):
    """The file is not there yet: neither may put its header over the other's checks."""
    texts = [f"ROW, MARK = {ROW!r}, {mark!r}\n{APPEND}" for mark in "abc"]
    told = together([script(tmp_path, text) for text in texts])
    log = fh.read_log(tmp_path / "log.csv")
    assert sorted(log.frame["check_id"]) == sorted(told)
    assert len(told) == 180
    assert (log.rows_read, len(log.rejects)) == (180, 0)
    assert [p.name for p in tmp_path.iterdir()] == ["log.csv"]


@POSIX
def test_threads_that_add_to_a_log_at_once_lose_nothing(tmp_path):
    path = tmp_path / "log.csv"
    keys = [str(number) for number in range(80)]
    with ThreadPoolExecutor(8) as pool:
        row = {**ROW, "outcome": "heard"}
        list(pool.map(lambda key: fh.append_check(path, {**row, "check_id": key}), keys))
    assert sorted(fh.read_log(path).frame["check_id"]) == sorted(keys)


CARDS = """
from farhear.cards import add_report
from farhear.questions import Question, add_question
home = fh.read_station(STATION)
for number in range(12):
    start = pd.Timestamp("2026-01-01T18:00Z") + pd.Timedelta(hours=100 * MARK + number)
    check = {"start_utc": start, "end_utc": start + pd.Timedelta(minutes=20), "freq_khz": 6070,
             "outcome": "heard", "identity": "Radio Belmorant", "programme_notes": NOTES}
    made = fh.report.reception_report(check, home, listener="a listener")
    print(add_report("cards.csv", made, sent_utc="2028-01-01T00:00Z", sent_by="post"), flush=True)
    given = {"a": "31 m", "b": "49 m", "to_min": 60.0 + MARK + number / 100}
    add_question("study", Question(hunch="H1", text=f"{MARK}-{number}", parameters=given,
                                   written_utc="2024-09-01T00:00Z"))
"""


@POSIX
def test_two_who_note_cards_and_questions_at_once_lose_nothing(tmp_path):
    head = f"STATION, NOTES = {str(STATION)!r}, {NOTES!r}\n"
    told = together([script(tmp_path, f"{head}MARK = {mark}\n{CARDS}") for mark in (1, 2)])
    sent = cards.read_cards(tmp_path / "cards.csv")
    assert sorted(sent.frame["report_id"]) == sorted(told)
    assert (len(told), len(sent.rejects)) == (24, 0)
    asked = [one.text for one in questions.read_questions(tmp_path / "study")]
    assert sorted(asked) == sorted(f"{mark}-{n}" for mark in (1, 2) for n in range(12))


@POSIX
def test_a_study_that_another_program_writes_is_refused(tmp_path, capsys):
    prepared(tmp_path)
    pack(tmp_path, 0)
    before = (tmp_path / "winter.zip").read_bytes()
    says = "winter: another program is writing this study; let it finish"
    with alone(tmp_path / "winter"):
        for work in (lambda: pack(tmp_path, 1), Study.open(tmp_path / "winter").run):
            with pytest.raises(InputError, match=says):
                work()
        with pytest.raises(InputError, match=says):
            fh.verify(tmp_path / "winter")
        assert cli.main(["pack", str(tmp_path / "winter")]) == 2
        assert says in capsys.readouterr().err
        assert fh.verify(tmp_path / "winter.zip").ok  # an archive can always be read
    assert (tmp_path / "winter.zip").read_bytes() == before
    assert fh.verify(tmp_path / "winter").ok


@POSIX
def test_readers_do_not_mind_each_other(tmp_path):
    with alone(tmp_path, shared=True), alone(tmp_path, busy="busy", shared=True):
        pass
    with (
        alone(tmp_path, shared=True),
        pytest.raises(InputError, match="busy"),
        alone(tmp_path, busy="busy"),
    ):
        pass


@POSIX
def test_an_archive_is_whole_while_it_is_written_anew(tmp_path):
    prepared(tmp_path)
    whole = []
    for version in (0, 1):
        pack(tmp_path, version)
        whole.append((tmp_path / "winter.zip").read_bytes())
    child = by_fork(lambda: [pack(tmp_path, turn % 2) for turn in range(6)])
    seen = set()
    while os.waitpid(child, os.WNOHANG) == (0, 0):
        with bundle.opened(tmp_path / "winter.zip") as folder:
            assert not bundle.seal_faults(folder)
        seen.add((tmp_path / "winter.zip").read_bytes())
    assert seen == set(whole)


def test_threads_that_read_at_once_read_the_same(tmp_path):
    """Readers share tables of languages, zones and bands that are loaded when first used."""
    prepared(tmp_path)
    jobs = [
        lambda: fh.read_log(tmp_path / "0.csv").frame,
        lambda: fh.read_schedule(DEMO / "schedule_b24.csv", days="iso", season="B24").frame,
        lambda: fh.read_indices(tmp_path / "1.txt").frame,
        lambda: fh.evenings.table(fh.read_log(tmp_path / "1.csv"), fh.read_station(STATION)),
    ] * 6
    with ThreadPoolExecutor(8) as pool:
        together = list(pool.map(lambda job: job(), jobs))
    for frame, job in zip(together, jobs, strict=True):
        pd.testing.assert_frame_equal(frame, job())


# Ctrl-C -----------------------------------------------------------------------------------------

LONG = {
    "season": "run = lambda: fh.season_study(home, lists, 'B24')",
    "likelihood": """
times = fh.utc(pd.date_range("2025-01-01", periods=2000, freq="h", tz="UTC"))
run = lambda: fh.reception.likelihood(
    np.linspace(-60.0, 70.0, 40)[:, None], 25.0, 58.4, 26.7, 9600.0, times, power_kw=100.0,
    f107_sfu=120.0)
""",
    "muf": """
times = fh.UtcTimes(1.7e9 + 3600.0 * np.arange(40_000))
run = lambda: fh.skywave.muf(np.linspace(-60.0, 70.0, 40_000), 25.0, 58.4, 26.7, times,
                             f107_sfu=120.0)
""",
    "fit": """
from farhear.calibrate import fit
from farhear.scoring import checks_from_log
checks = checks_from_log(fh.read_log("heard.csv"), home, lists)
run = lambda: fit(checks)
""",
    "verify": "run = lambda: fh.verify('winter.zip', rerun=True)",
    "answers": """
from farhear import bundle
from farhear.hunch import answers
from farhear.study import Study
bundle.unpack(Path("winter.zip"), Path(MARK))
study = Study.open(MARK)
evidence = study.evidence()
run = lambda: answers(study.questions, evidence)
""",
    "merge": """
members = [fh.club.Member(name=name, place="KO38", time_zone="Europe/Tallinn", licence="CC0-1.0",
                          consent=True, log=fh.read_log("long.csv")) for name in "abcdef"]
run = lambda: fh.club.merge(members)
""",
}
BEFORE = f"""
import sys, os, time
import numpy as np, pandas as pd, farhear as fh
from pathlib import Path
MARK = sys.argv[1]
home = fh.read_station({str(STATION)!r})
lists = fh.read_schedule({str(DEMO / "schedule_b24.csv")!r}, days="iso", season="B24")
"""
AFTER = """
import farhear.reception, farhear.season
try:
    print("begin", flush=True)
    while True:
        run()
except KeyboardInterrupt:
    print(repr(time.time()), repr(time.process_time()), flush=True)
    os._exit(0)
"""


@pytest.fixture(scope="module")
def long_work(tmp_path_factory):
    """What the long loops work on: a log of 60 evenings, and a study with questions."""
    folder = tmp_path_factory.mktemp("long")
    schedule = fh.read_schedule(DEMO / "schedule_b24.csv", days="iso", season="B24")
    frame = log_of(0, evenings=60).drop(columns=["observer_id"])
    fh.write_log(frame, folder / "long.csv")
    rows = schedule.frame[schedule.frame["modulation"] != "DIGITAL"]
    rng = np.random.default_rng(1)
    heard = []
    for day in pd.date_range("2024-11-01", periods=50, tz="UTC"):
        at = rows.iloc[rng.integers(0, len(rows), 12)]
        for one in at.to_dict("records"):
            start = day + pd.Timedelta(minutes=int(one["start_min"]) % 1440 + 2)
            heard.append(
                {
                    "start_utc": start,
                    "end_utc": start + pd.Timedelta(minutes=4),
                    "freq_khz": one["freq_khz"],
                    "outcome": ("heard", "not_heard")[int(rng.integers(2))],
                    "identity": one["broadcaster"],
                }
            )
    fh.write_log(pd.DataFrame(heard), folder / "heard.csv")
    for hunch, given in (("H1", {"a": "31 m", "b": "49 m"}), ("H3", {"band": "49 m"}), ("H4", {})):
        questions.add_question(
            folder / "winter",
            fh.Question(hunch=hunch, text=hunch, parameters=given, written_utc="2024-09-01T00:00Z"),
        )
    study = Study.create(
        folder / "winter",
        title="Winter",
        station=fh.read_station(STATION),
        log=fh.read_log(folder / "long.csv"),
    )
    study.run(charts=False, page=False)
    study.pack(folder / "winter.zip")
    return folder


def hear_ctrl_c():
    """Undo what a shell does to programs in its background: they do not hear Ctrl-C."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def processor_s(pid):
    """Time on processors of a process so far, where Linux tells it. [s]"""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="needs /proc")
@pytest.mark.parametrize("name", LONG)
def test_ctrl_c_gets_through(long_work, name):
    """At most 3 s; counted in time on processors, so that a busy machine changes little."""
    for wait_s in (0.4, 1.7):
        with subprocess.Popen(
            [sys.executable, "-c", BEFORE + LONG[name] + AFTER, f"{name}{wait_s}"],
            stdout=subprocess.PIPE,
            text=True,
            cwd=long_work,
            preexec_fn=hear_ctrl_c,
        ) as process:
            too_late = threading.Timer(100.0, process.kill)
            too_late.start()
            assert process.stdout.readline() == "begin\n"
            time.sleep(wait_s)
            before_s, sent = processor_s(process.pid), time.time()
            process.send_signal(signal.SIGINT)
            answer = process.stdout.readline().split()
            too_late.cancel()
        assert answer, "it did not end"
        at, spent_s = map(float, answer)
        print(f"{name}: {at - sent:.2f} s by the clock, {spent_s - before_s:.2f} s of processors")
        assert spent_s - before_s < 3.0 * (os.cpu_count() or 1)


@POSIX
def test_ctrl_c_at_the_command_line_is_one_line_and_leaves_whole_files(tmp_path):
    prepared(tmp_path)
    pack(tmp_path, 0)
    before = (tmp_path / "winter.zip").read_bytes()
    command = [sys.executable, "-m", "farhear", "season", "--demo", "--out", "out"]
    with subprocess.Popen(
        command,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=tmp_path,
        preexec_fn=hear_ctrl_c,
    ) as process:
        while "rows read" not in process.stdout.readline():
            pass
        time.sleep(0.3)
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=120)
    assert (process.returncode, err) == (130, "farhear: stopped\n")
    assert not (tmp_path / "out").exists()
    assert (tmp_path / "winter.zip").read_bytes() == before


if __name__ == "__main__":
    driver(sys.argv[1], Path(sys.argv[2]), int(sys.argv[3]))

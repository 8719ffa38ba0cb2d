"""`farhear log`, `check`, `report` and `cards`. Every broadcaster, name and check is invented."""

import csv
import datetime as dt
import io
import os
import signal
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pypdf
import pytest

import farhear as fh
from farhear import cli, listen
from farhear.errors import InputError

DEMO = Path(__file__).resolve().parents[2] / "data" / "demo"
HOME = 'name = "Home"\nlat_deg = 58.4\nlon_deg = 26.7\ntime_zone = "Europe/Tallinn"\n'
CHANNELS = [6070, 6195, 7325, 7340, 9485, 9500, 9705, 11800, 11850, 12090, 13690, 15395]
HEARD = """start_utc,end_utc,freq_khz,demod,outcome,identity,id_basis,id_confidence,sinpo,\
programme_notes
2024-11-27T17:00Z,2024-11-27T17:30Z,6195,AM,heard,Noverrin External,announced,sure,45433,\
1703 news; 1711 talk about forests; 1725 frequency announced
2024-11-27T17:10Z,2024-11-27T17:40Z,6195,AM,heard,noverrin external,announced,sure,,\
1712 talk; 1725 frequency announced; 1738 song
2024-11-27T18:00Z,2024-11-27T18:30Z,7375,AM,not_heard,Zephrine Waves,,,,
"""


@pytest.fixture
def run(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def call(*arguments, typed="", keyboard=io.StringIO):
        monkeypatch.setattr(sys, "stdin", keyboard(typed))
        status = cli.main([str(a) for a in arguments])
        captured = capsys.readouterr()
        return status, captured.out, captured.err

    return call


# At the radio -----------------------------------------------------------------------------------


def test_a_round_of_twelve_channels(run, tmp_path):
    # Acceptance scenario 6 of the trade: 3 heard, 7 not, 1 blocked, 1 skipped, one line a channel.
    typed = "h 34333 1803 news\nn\nn\nh id:Radio Belmorant, talk\nn\nn\nb jammer\nn\ns\nh\nn\nn\n"
    assert typed.count("\n") == len(CHANNELS)
    round_of = ",".join(map(str, CHANNELS))
    status, out, err = run("log", "log.csv", "--channels", round_of, typed=typed)
    assert (status, err) == (0, "")
    assert "12 checks, 10 of them tell: heard 3 of 10 (1 blocked, 1 not checked)." in out
    log = fh.read_log(tmp_path / "log.csv")
    assert log.frame["freq_khz"].tolist() == CHANNELS
    assert log.counts() == {
        "heard": 3,
        "carrier_only": 0,
        "not_heard": 7,
        "blocked": 1,
        "not_checked": 1,
    }
    first, fourth = log.frame.iloc[0], log.frame.iloc[3]
    assert (first["sinpo"], first["programme_notes"]) == ("34333", "1803 news")
    assert first["as_written"] == "h 34333 1803 news"
    assert (fourth["identity"], fourth["programme_notes"]) == ("Radio Belmorant", "talk")
    assert len(set(log.frame["session_id"])) == 1


def test_every_other_round_goes_backwards(run, tmp_path, monkeypatch):
    moments = iter(pd.date_range("2026-11-25T18:00Z", periods=100, freq="min").to_pydatetime())
    monkeypatch.setattr("farhear.verbs.log._now", lambda: next(moments))
    for _ in range(3):
        assert run("log", "log.csv", "--channels", "6070,7325", typed="n\nn\n")[0] == 0
    frame = fh.read_log(tmp_path / "log.csv").frame
    assert frame["freq_khz"].tolist() == [6070, 7325, 7325, 6070, 6070, 7325]
    with pytest.raises(InputError, match="twice"):
        listen.round_order([6070, 6070], 0)


def test_a_bad_answer_asks_again_and_loses_nothing(run, tmp_path):
    typed = "maybe\nh 46433 a\nh =9\nh 34333\nq\n"
    status, out, _ = run("log", "log.csv", "--channels", "6070,7325", typed=typed)
    assert status == 0
    assert "'maybe' is no answer" in out
    assert "not five digits 1 to 5" in out
    assert "=9: 0 are expected here" in out
    frame = fh.read_log(tmp_path / "log.csv").frame
    assert frame["as_written"].tolist() == ["h 34333"]
    assert "Nothing was noted." in run("log", "other.csv", "--channels", "6070", typed="")[1]
    assert not (tmp_path / "other.csv").exists()


def test_channels_one_by_one_with_what_the_list_expects(run, tmp_path):
    # the demonstration list as if of today: somebody is on 6195 or not, whatever the hour
    typed = "6195\nn\nsoon\n6.195\nq\n"
    status, out, _ = run("log", "log.csv", "--demo", typed=typed)
    assert status == 0
    assert "soon: not a number" in out
    assert "it looks like MHz" in out
    frame = fh.read_log(tmp_path / "log.csv").frame
    assert frame["freq_khz"].tolist() == [6195]
    assert frame["setup_id"].tolist() == ["2024-12-15"]  # the setup in use today


def test_who_was_expected_can_be_named_by_number(run, tmp_path):
    (tmp_path / "station.toml").write_text(HOME)
    (tmp_path / "list.csv").write_text(
        "freq_khz,start_utc,stop_utc,days,broadcaster,language,tx_lat_deg,tx_lon_deg,power_kw\n"
        "6070,0000,2400,daily,Radio Belmorant,eng,57.6,27.3,500\n"
    )
    typed = "h =1! 34333 song\nh =1\nn\n"
    channels = ("--channels", "6070,6072,6068")
    status, out, _ = run("log", "log.csv", "--schedule", "list.csv", *channels, typed=typed)
    assert status == 0
    assert "  1: Radio Belmorant eng, " in out
    frame = fh.read_log(tmp_path / "log.csv").frame
    assert frame["freq_khz"].tolist() == [6070, 6072]  # nobody is expected there: asked again
    assert frame["outcome"].tolist() == ["heard", "not_heard"]
    for answer, identity, basis, confidence in (
        ("h =1", "Radio Belmorant", "schedule", "tentative"),
        ("h =1!", "Radio Belmorant", "announced", "sure"),
        ("n", "Radio Belmorant", "", ""),
        ("h", "", "", ""),
    ):
        path = tmp_path / f"{len(answer)}{answer[0]}.csv"
        run("log", path, "--schedule", "list.csv", "--channels", "6070", typed=f"{answer}\n")
        row = fh.read_log(path).frame.iloc[0]
        assert (row["identity"], row["id_basis"], row["id_confidence"]) == (
            identity,
            basis,
            confidence,
        )


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs SIGKILL")
@pytest.mark.parametrize("answers", [0, 1, 3])
def test_killed_at_the_keyboard_it_has_all_answered_checks(tmp_path, answers):
    path = tmp_path / "log.csv"
    command = [
        sys.executable,
        "-m",
        "farhear",
        "log",
        str(path),
        "--channels",
        "6070,7325,9500,9705",
    ]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, cwd=tmp_path, bufsize=0
    ) as process:
        told = b""
        for number in range(1, answers + 2):
            while f"{number}/4 ".encode() not in told:
                told += process.stdout.read(1)
            if number <= answers:
                process.stdin.write(b"n\n")
        process.stdin.write(b"h 343")  # the line being typed
        process.send_signal(signal.SIGKILL)
        process.wait()
    if answers:
        log = fh.read_log(path)
        assert (log.rows_read, len(log)) == (answers, answers)
    else:
        assert not path.exists()


def test_note_check_says_now(tmp_path):
    path = tmp_path / "log.csv"
    home = fh.Station(name="x", lat_deg=58.4, lon_deg=26.7, time_zone="Europe/Tallinn")
    before = dt.datetime.now(dt.UTC).replace(microsecond=0)
    listen.note_check(path, 6070, "heard", identity="Radio Belmorant", station=home)
    row = fh.read_log(path).frame.iloc[0]
    assert before <= row["end_utc"] <= dt.datetime.now(dt.UTC)
    assert row["end_utc"] - row["start_utc"] == dt.timedelta(minutes=4)
    with pytest.raises(InputError, match="did you mean 'heard'"):
        listen.note_check(path, 6070, "herd")
    assert len(fh.read_log(path)) == 1


# Looking over -----------------------------------------------------------------------------------


def shifted_log(tmp_path, hours):
    """Heard checks of the demonstration list over some evenings, `hours` late for two of them."""
    demo = fh.read_schedule(DEMO / "schedule_b24.csv", days="iso", season="B24")
    frame = demo.frame[
        (demo.frame["modulation"] == "DSB")
        & (demo.frame["stop_min"] - demo.frame["start_min"] <= 60)
        & demo.frame["start_min"].between(15 * 60, 21 * 60)
        & (demo.frame["days"] == "1234567")
        & demo.frame["valid_from"].lt("2024-11-01")
        & demo.frame["valid_to"].gt("2025-01-01")
    ].sort_values(["start_min", "freq_khz"])
    assert frame["broadcaster"].nunique() >= 4
    rows = []
    for day in range(18, 28):
        for line in frame.to_dict("records")[day % 2 :: 2]:
            begin = dt.datetime(2024, 11, day, tzinfo=dt.UTC)
            begin += dt.timedelta(minutes=line["start_min"] + 10)
            if day in (22, 23):
                begin += dt.timedelta(hours=hours)
            end = begin + dt.timedelta(minutes=4)
            rows.append(
                {
                    "start_utc": f"{begin:%Y-%m-%dT%H:%MZ}",
                    "end_utc": f"{end:%Y-%m-%dT%H:%MZ}",
                    "freq_khz": f"{line['freq_khz']:g}",
                    "outcome": "heard",
                    "identity": line["broadcaster"],
                }
            )
    path = tmp_path / "log.csv"
    with path.open("w", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return path, rows


def test_a_stretch_in_local_time_is_found_and_mended(run, tmp_path):
    path, rows = shifted_log(tmp_path, hours=2)  # Tallinn is two hours ahead in November
    before = path.read_bytes()
    status, out, err = run("check", "log.csv", "--demo", "--fix", "mended.csv", "--csv", "all.csv")
    assert (status, err) == (0, "")
    assert "local time" in out
    assert path.read_bytes() == before
    fixed = fh.read_log(tmp_path / "mended.csv").frame
    changes = pd.read_csv(tmp_path / "mended.csv.changes.csv")
    true = [
        pd.Timestamp(row["start_utc"]) - pd.Timedelta(hours=2 * (row["start_utc"][8:10] in "2223"))
        for row in rows
    ]
    moved = [i for i, row in enumerate(rows) if row["start_utc"][8:10] in ("22", "23")]
    right = sum(fixed["start_utc"].iloc[i] == true[i] for i in moved)
    assert right >= 0.9 * len(moved)
    assert set(changes.loc[changes["column"] == "start_utc", "row"]) >= {i + 2 for i in moved[2:-2]}
    assert "is there already" in run("check", "log.csv", "--demo", "--fix", "mended.csv")[2]
    assert (
        pd.read_csv(tmp_path / "all.csv").columns == ["row", "column", "value", "kind", "reason"]
    ).all()


def test_faults_are_told_with_line_and_reason(run, tmp_path):
    (tmp_path / "log.csv").write_text(
        "start_utc,end_utc,freq_khz,outcome,identity,sinpo,band\n"
        "2024-11-27T17:00Z,2024-11-27T17:10Z,6195,heard,Noverrin External,46433,49 m\n"
        "2024-11-27T17:20Z,2024-11-27T17:10Z,6195,heard,Noverrin External,,\n"
        "2024-11-27T17:30Z,2024-11-27T17:40Z,6193,heard,Noverrin External,34334,41 m\n"
        "2024-11-27T17:50,2024-11-27T17:55,6195,heard,Noverrin External,,\n"
    )
    status, out, _ = run("check", "log.csv")
    assert status == 0
    for text in (
        "refused: line 2, sinpo = 46433: not five digits 1 to 5",
        "refused: line 3, end_utc = 2024-11-27T17:10Z: before start_utc",
        "refused: line 5, start_utc = 2024-11-27T17:50: no time zone",
        "doubt: line 4, freq_khz = 6193: not a multiple of 5 kHz",
        "doubt: line 4, band = 41 m: 6193 kHz is in the 49 m broadcast band",
        "doubt: line 4, sinpo = 34334: O is above the worst of the others",
        "With --schedule and --station the clock is checked, too.",
    ):
        assert text in out
    out = run("check", "log.csv", "--time-zone", "Europe/Tallinn")[1]
    assert "line 5" not in out


# Reports and cards ------------------------------------------------------------------------------


def test_from_the_check_to_the_card(run, tmp_path):
    (tmp_path / "log.csv").write_text(HEARD)
    report = ("report", "log.csv", "--demo", "--listener", "A. Listener", "--cards", "cards.csv")
    sent = ("--sent-utc", "2024-11-28T08:00Z", "--sent-by", "e-mail")
    files = ("--out", "r.txt", "--out", "r.pdf")
    status, out, err = run(*report, *sent, *files, "--row", "2")
    assert (status, err) == (0, "")
    text = (tmp_path / "r.txt").read_text(encoding="utf-8")
    for item in ("27 NOV 2024", "17:00 to 17:30 UTC", "6195 kHz", "Noverrin External", "45433"):
        assert item in text
        assert item in out
    pdf = "\n".join(page.extract_text() for page in pypdf.PdfReader(tmp_path / "r.pdf").pages)
    assert "27 NOV 2024" in pdf
    assert "58.4" not in text + pdf
    assert "A report goes to a stranger" in out
    key = pd.read_csv(tmp_path / "cards.csv")["report_id"].iloc[0]
    # the same reception again: other words, overlapping time
    status, out, err = run(*report, *sent, "--out", "again.pdf", "--row", "3")
    assert (status, out) == (2, "")
    assert "for the same reception" in err
    status, out, err = run(*report, *sent, "--out", "none.txt", "--row", "4")
    assert status == 2
    assert "not_heard" in err
    assert "no accepted check in line 99" in run(*report, "--row", "99")[2]
    assert "neither in .txt nor in .pdf" in run(*report, "--row", "2", "--out", "r.doc")[2]
    names = {path.name for path in tmp_path.iterdir()}
    assert names == {"log.csv", "cards.csv", "r.txt", "r.pdf"}
    status, out, _ = run("cards", "cards.csv", "--when", "2024-12-08T09:00Z")
    assert "1 reports, 1 wait for an answer." in out
    assert next(line for line in out.splitlines() if key in line).split()[-1] == "10"
    status, out, _ = run(
        *("cards", "cards.csv", "--came", key, "--kind", "paper"), "--when", "2025-01-02T10:00Z"
    )
    assert status == 0
    assert "1 reports, 0 wait for an answer." in out
    assert run("cards", "cards.csv", "--came", "r000000000000", "--kind", "paper")[0] == 2
    assert "--came needs --kind" in run("cards", "cards.csv", "--came", key)[2]


# What goes wrong --------------------------------------------------------------------------------


def test_after_a_crash_the_next_sitting_goes_on(run, tmp_path):
    run("log", "log.csv", "--channels", "6070,7325,9500", typed="n\nn\n")
    with (tmp_path / "log.csv").open("ab") as file:
        file.write(b',x,,2026-11-25T18:00Z,2026-11-25T18:04Z,"n')  # cut short by a crash
    status, _, err = run("log", "log.csv", "--channels", "6070,7325,9500", typed="n\nn\nh\n")
    assert (status, err) == (0, "")
    log = fh.read_log(tmp_path / "log.csv")
    assert (log.rows_read, log.rows_rejected) == (6, 1)
    assert log.frame["freq_khz"].tolist() == [6070, 7325, 9500, 7325, 6070]  # and backwards


def test_ctrl_c_tells_what_was_noted(run, tmp_path):
    class Keyboard(io.StringIO):
        def readline(self, *_):
            text = super().readline()
            if not text:
                raise KeyboardInterrupt
            return text

    typed = {"typed": "n\nh\n", "keyboard": Keyboard}
    status, out, err = run("log", "log.csv", "--channels", "6070,7325,9500", **typed)
    assert (status, err) == (0, "")
    assert "This sitting: 2 checks, 2 of them tell: heard 1 of 2." in out
    assert len(fh.read_log(tmp_path / "log.csv")) == 2


def test_a_log_that_cannot_hold_the_answers_is_refused_before_any(run, tmp_path):
    text = "start_utc,end_utc,freq_khz,outcome,identity\n"
    (tmp_path / "log.csv").write_text(text)
    status, out, err = run("log", "log.csv", "--channels", "6070", typed="n\n")
    assert (status, out) == (2, "")
    assert "the header has no session_id, as_written, demod" in err
    assert err.count("\n") == 1
    assert (tmp_path / "log.csv").read_text() == text


def test_odd_bytes_from_a_keyboard_end_no_sitting(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "farhear", "log", "log.csv", "--channels", "6070,7325"],
        input=b"h id:Radio Fj\xe4llbris, talk\nn\n",  # cp1252, while UTF-8 is spoken here
        cwd=tmp_path,
        capture_output=True,
        check=False,
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
    )
    assert (done.returncode, done.stderr) == (0, b"")
    frame = fh.read_log(tmp_path / "log.csv").frame
    assert frame["outcome"].tolist() == ["heard", "not_heard"]
    assert frame["identity"].iloc[0] == "Radio Fj\\xe4llbris"


def test_the_demonstration_list_is_taken_as_of_the_time_of_the_log(run, tmp_path):
    # 27 November is in season B of every year; a log of 2026 is set against B26
    (tmp_path / "log.csv").write_text(HEARD.replace("2024-", "2026-"))
    status, out, _ = run("check", "log.csv", "--demo")
    assert status == 0
    assert "not on the air then" not in out
    assert "2 heard checks set against the schedule" in out


def test_a_file_named_twice_is_refused_and_no_card_noted(run, tmp_path):
    (tmp_path / "log.csv").write_text(HEARD)
    report = ("report", "log.csv", "--demo", "--listener", "A. Listener", "--row", "2")
    (tmp_path / "dir.txt").mkdir()
    for out, why in ((("r.txt", "r.txt"), "names a file twice"), (("dir.txt",), "is a folder")):
        named = [word for one in out for word in ("--out", one)]
        status, _, err = run(*report, "--cards", "cards.csv", *named)
        assert status == 2
        assert why in err
    assert {path.name for path in tmp_path.iterdir()} == {"log.csv", "dir.txt"}

"""`farhear score`: what it prints and writes, and what it says about mistakes.

Every place, name and outcome in these tables is invented.
"""

import numpy as np
import pandas as pd
import pytest

import farhear as fh
from farhear import cli, folder, scoring

pytestmark = pytest.mark.filterwarnings("ignore:numpy.ndarray size changed:RuntimeWarning")

FILES = ("summary", "bands", "distances", "calibration", "residuals", "checks", "rejects")
HOME = 'name = "Home"\nlat_deg = 58.4\nlon_deg = 26.7\ntime_zone = "Europe/Tallinn"\n'
LIST = """freq_khz,start_utc,stop_utc,days,broadcaster,tx_lat_deg,tx_lon_deg,power_kw
6070,0000,2400,7,Radio Belmorant,50.6,19.3,100
9600,0000,2400,daily,Radio Umbasani,9.6,37.7,250
"""


def run(capsys, *arguments):
    status = cli.main([str(a) for a in arguments])
    captured = capsys.readouterr()
    return status, captured.out, captured.err


@pytest.fixture
def table(tmp_path):
    """Forty checks on eight days, heard by night."""
    days = pd.date_range("2024-12-01T02:00", periods=8, freq="D", tz="UTC")
    times = [day + pd.Timedelta(hours=2 * i) for day in days for i in range(5)]
    rows = pd.DataFrame(
        {
            "utc": [time.strftime("%Y-%m-%dT%H:%MZ") for time in times],
            "tx_lat_deg": 9.6,
            "tx_lon_deg": 37.7,
            "rx_lat_deg": 58.4,
            "rx_lon_deg": 26.7,
            "freq_khz": 6070.0,
            "heard": ["1" if time.hour < 5 else "0" for time in times],
        }
    )
    rows.loc[3, "heard"] = "blocked"
    rows.loc[4, "heard"] = "maybe"
    path = tmp_path / "checks.csv"
    rows.to_csv(path, index=False)
    return path


COMMON = ("--power-kw", "250", "--f107", "150")


def test_a_table_of_checks_from_the_command_line(table, tmp_path, capsys):
    out_folder = tmp_path / "out"
    status, out, err = run(capsys, "score", table, *COMMON, "--out", out_folder)
    assert (status, err) == (0, "")
    assert (
        "checks.csv: 40 rows read, 39 accepted, 1 refused; 38 count (left out: 1 blocked)." in out
    )
    assert "line 6, heard: not 1, 0, yes" in out
    for text in ("ROC area", "Brier skill, overall rate", "By band", "By distance", "49 m"):
        assert text in out
    assert "Kp" in out
    assert "In short: a heard check got more likelihood than one not heard" in out
    assert "\u2026" not in out  # no table is cut at the 80 columns of a pipe
    assert max(len(line) for line in out.splitlines() if str(out_folder) not in line) <= 100
    assert "share it with care" in out
    assert sorted(path.name for path in out_folder.iterdir()) == sorted(f"{n}.csv" for n in FILES)
    summary = pd.read_csv(out_folder / "summary.csv")
    assert set(summary.columns) == {"name", "of", "value", "low", "high", "count"}
    assert (summary["count"] == 38).all()
    rejects = pd.read_csv(out_folder / "rejects.csv")
    assert rejects[["row", "what"]].to_numpy().tolist() == [[6, "refused"]]
    # the file of checks is a table of checks, and gives the same scores again
    again = scoring.read_checks(out_folder / "checks.csv")
    assert again.rows_rejected == 0
    scores = scoring.score(again, f107_sfu=150.0)
    np.testing.assert_allclose(scores.summary["value"], summary["value"], rtol=1e-5)


def test_options_for_rows_that_do_not_say(table, tmp_path, capsys):
    more = (
        "--bandwidth-hz",
        "500",
        "--required-snr-db",
        "3",
        "--noise",
        "40",
        "--tx-gain-dbi",
        "5",
    )
    status, _, _ = run(capsys, "score", table, *COMMON, *more, "--out", tmp_path / "out")
    assert status == 0
    rows = pd.read_csv(tmp_path / "out" / "checks.csv")
    for name, value in (
        ("power_kw", 250),
        ("tx_gain_dbi", 5),
        ("bandwidth_hz", 500),
        ("required_snr_db", 3),
        ("noise_fa_db", 40),
        ("f107_sfu", 150),
    ):
        assert (rows[name] == value).all()
    more = ("--noise", "quiet rural", "--index-offset", "-20")
    status, out, _ = run(capsys, "score", table, *COMMON, *more, "--out", tmp_path / "out")
    assert status == 0
    assert "-20 sfu were added to it." in out
    rows = pd.read_csv(tmp_path / "out" / "checks.csv")
    assert (rows["f107_sfu"] == 130).all()
    assert (rows["noise"] == "quiet rural").all()


def test_an_index_from_the_command_line(table, tmp_path, capsys):
    status, out, _ = run(capsys, "score", table, *COMMON, "--fit-index", "--out", tmp_path / "out")
    assert status == 0
    assert "Index from the checks: the flux of 150 sfu " in out
    assert "Index fitted from 38 checks on 8 days." in out
    curve = pd.read_csv(tmp_path / "out" / "index.csv")
    assert {"offset_sfu", "log_likelihood", "a", "b"} == set(curve.columns)
    run(capsys, "score", table, *COMMON, "--out", tmp_path / "out")
    assert not (tmp_path / "out" / "index.csv").exists()  # of the earlier run


def test_a_log_from_the_command_line(tmp_path, capsys):
    (tmp_path / "home.toml").write_text(HOME)
    (tmp_path / "list.csv").write_text(LIST)
    (tmp_path / "log.csv").write_text(
        "start_utc;end_utc;freq_khz;outcome;identity\n"
        "2024-12-01T20:00Z;2024-12-01T20:05Z;6070;heard;radio belmorant\n"
        "2024-12-02T20:00Z;2024-12-02T20:05Z;6070;heard;radio belmorant\n"
        "2024-12-02T20:00Z;2024-12-02T20:05Z;9600;not_heard;Radio Umbasani\n"
    )
    log = ["score", "--log", tmp_path / "log.csv", "--delimiter", ";", "--f107", "150"]
    home = ["--station", tmp_path / "home.toml", "--schedule", tmp_path / "list.csv"]
    status, out, _ = run(
        capsys, *log, *home, "--days", "iso", "--season", "B24", "--out", tmp_path / "out"
    )
    assert status == 0
    assert "3 rows read, 2 accepted, 1 refused" in out  # 1 December 2024 was a Sunday
    assert "line 3, identity: not on the air on 6070 kHz" in out
    assert "Too few to judge: 2 checks on 2 days" in out
    rows = pd.read_csv(tmp_path / "out" / "checks.csv")
    assert rows["schedule_row"].tolist() == [2, 3]
    for missing in ("station", "schedule"):
        at = home.index(f"--{missing}")
        status, _, err = run(capsys, *log, *home[:at], *home[at + 2 :])
        assert (status, err) == (2, f"farhear: --{missing} is missing, --log needs it\n")
    status, _, err = run(capsys, *log, *home, "--noise", "rural")
    assert status == 2
    assert err == (
        "farhear: --noise is for a table of checks; the station and the schedule say it\n"
    )


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["score"], "either a table of checks or --log"),
        (["score", "a.csv", "--log", "b.csv"], "either a table of checks or --log"),
        (["score", "nowhere.csv"], "nowhere.csv"),
        (["score", "a.csv", "--station", "s.toml"], "--station goes with --log"),
        (["score", "TABLE"], "no column 'power_kw'"),
        (["score", "TABLE", "--power-kw", "250000"], "are these watts?"),
        (["score", "TABLE", "--power-kw", "250", "--noise", "suburb"], "noise = 'suburb'"),
        (["score", "TABLE", "--power-kw", "250", "--f107", "20"], "f107_sfu = 20"),
        (
            ["score", "TABLE", "--power-kw", "250", "--f107", "99", "--delimiter", ";"],
            "say delimiter",
        ),
    ],
)
def test_mistakes_are_one_line_and_write_nothing(table, tmp_path, capsys, arguments, message):
    given = [table if a == "TABLE" else a for a in arguments]
    status, out, err = run(capsys, *given, "--out", tmp_path / "out")
    assert (status, out) == (2, "")
    assert err.startswith("farhear: ")
    assert message in err
    assert err.count("\n") == 1
    assert not (tmp_path / "out").exists()


def test_a_failed_run_leaves_the_old_files(table, tmp_path, capsys, monkeypatch):
    out_folder = tmp_path / "out"
    run(capsys, "score", table, *COMMON, "--out", out_folder)
    before = {path.name: path.read_bytes() for path in out_folder.iterdir()}
    write, written = folder._write_csv, []

    def full_disc(frame, path, *rest):
        if len(written) == 3:
            raise OSError("no space left")
        written.append(path)
        write(frame, path, *rest)

    monkeypatch.setattr(folder, "_write_csv", full_disc)
    status, _, err = run(capsys, "score", table, *COMMON, "--out", out_folder, "--f107", "80")
    assert (status, err) == (2, "farhear: no space left\n")
    assert {path.name: path.read_bytes() for path in out_folder.iterdir()} == before


def test_scoring_is_of_the_package():
    assert fh.scoring is scoring
    assert "scoring" in dir(fh)


def test_checks_that_came_out_alike_have_no_order(table, tmp_path, capsys):
    rows = pd.read_csv(table).assign(heard="no")
    rows.to_csv(table, index=False)
    status, out, _ = run(capsys, "score", table, *COMMON, "--out", tmp_path / "out")
    assert status == 0
    assert "In short: all checks came out alike, so nothing is known of its order." in out
    assert "and 0 % were heard." in out

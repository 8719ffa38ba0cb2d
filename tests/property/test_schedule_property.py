"""No row is lost whatever happens to the file."""

import tempfile
from importlib.resources import files
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from farhear.errors import InputError
from farhear.schedule import read_schedule

LINES = (
    (files("farhear") / "data" / "demo" / "schedule_b24.csv").read_text("utf-8").splitlines()[:40]
)
CELLS = st.one_of(
    st.sampled_from(
        ["", "nan", "2400", "0000", "-1", "1e400", "8", "95.0", "2025-02-30", '"', "#"]
    ),
    st.text(max_size=8),
)


@settings(deadline=None, max_examples=60)
@given(
    changes=st.lists(
        st.tuples(st.integers(2, len(LINES) - 1), st.integers(0, 16), CELLS), max_size=8
    )
)
def test_accepted_and_rejected_make_up_what_was_read(changes):
    lines = [line.split(",") for line in LINES]
    for row, column, text in changes:
        lines[row][column] = text
    content = "\n".join(",".join(cells) for cells in lines) + "\n"
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "list.csv"
        path.write_text(content, encoding="utf-8", newline="", errors="surrogatepass")
        try:
            schedule = read_schedule(path, days="iso", season="B24")
        except InputError as refused:
            assert "list.csv" in str(refused)  # noqa: PT017 (both outcomes are allowed)
            return
    accepted, rejected = set(schedule.frame["row"]), set(schedule.rejects["row"])
    assert schedule.rows_read == len(accepted) + len(rejected)
    assert not accepted & rejected
    touched = {row + 1 for row, _, _ in changes}
    if not any('"' in t or "\r" in t or "\n" in t for _, _, t in changes):
        assert rejected <= touched
        assert schedule.rows_read == len(LINES) - 2
    assert schedule.frame["freq_khz"].between(1600.0, 30000.0).all()


@settings(deadline=None, max_examples=40)
@given(junk=st.binary(max_size=300))
def test_junk_is_refused_with_a_clear_error(junk):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "list.csv"
        path.write_bytes(junk)
        try:
            read_schedule(path)
        except InputError as refused:
            assert "list.csv" in str(refused)  # noqa: PT017
        else:
            raise AssertionError("junk was read as a schedule")

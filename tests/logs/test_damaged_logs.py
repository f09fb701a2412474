"""Damaged logs never end in a traceback, never hang, and never lose a row unseen."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.logs.mutations import CELLS, check_against_plain_reading, check_identity, try_many
from tests.logs.sheets import HEADER, WIDE, read

# A longer run, with the same checks: python -m tests.logs.mutations 5000


@pytest.mark.timeout(120)
def test_damaged_logs_are_read_or_refused_in_a_sentence(tmp_path: Path) -> None:
    outcomes, slowest = try_many(120, seed=20260302, folder=tmp_path)
    assert sum(outcomes.values()) == 120
    assert min(outcomes["read"], outcomes["read in part"], outcomes["refused"]) > 0
    assert slowest < 30


CELL = st.one_of(
    st.floats(-1e6, 1e6).map(lambda value: f"{value:.3f}"),
    st.sampled_from([cell.decode("utf-8", "replace") for cell in CELLS if not set(cell) & set(b',"\r\n')]),
    st.text(st.characters(exclude_characters=',"\r\n', exclude_categories=["Cs"]), max_size=6),
)
TIME = st.one_of(
    st.integers(0, 59).map(lambda second: f"2026-03-02T12:00:{second:02d}"),
    st.sampled_from(["", "soon", "2026-02-30", "2026-03-02 12:00", "2026-03-02T12:00:00.5Z"]),
)
ROW = st.tuples(TIME, st.lists(CELL, min_size=2, max_size=5)).map(lambda row: ",".join([row[0], *row[1]]))


@settings(max_examples=40, deadline=None)
@given(st.lists(ROW, max_size=12), st.sampled_from(["\n", "\r\n", "\n\n"]))
def test_every_row_is_kept_as_it_stands_or_set_aside(tmp_path_factory, rows: list[str], newline: str) -> None:
    folder = tmp_path_factory.mktemp("rows")
    content = newline.join([HEADER.strip(), "2026-03-02T12:00:00,1,8,0.44,0.45", *rows, ""]).encode()
    (folder / "log").write_bytes(content)
    run = read(folder, WIDE | {"files": ["log"]})
    check_identity(run)
    check_against_plain_reading(run, content)

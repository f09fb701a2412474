"""What edits of a log the program finds, from what size on, and what becomes of bad and good reels meanwhile.

Lines, wire and noise are of `tests.other_lines`, whose code owes nothing to the program's simulator. A size counts as
stated where the page of the clean run says that it would be shown. `REELPROOF_CONTRADICTIONS=10` runs ten seeds of
every size on every line; `REELPROOF_CONTRADICTIONS_KEEP=1` writes the rows that were run into the table,
`found.csv`, each with its day and method.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.contradiction_bench.cells import CELLS as FIRST
from tests.contradiction_bench.cells import Cell
from tests.contradiction_bench.counting import Row, as_text, claimed, row_of
from tests.contradiction_bench.every_channel import every_channel

CELLS = (*FIRST, *every_channel())
Record = Callable[[str, object], None]
SEEDS = int(os.environ.get("REELPROOF_CONTRADICTIONS", "0") or "0")
LINES = ("Q2", "K7", "N5", "T1")
# Clean runs of each line; of a hundred, one may be accused of one kind.
CLEAN = 25 if SEEDS else 2


def _rows(cell: Cell, number: int, folder: Path) -> list[Row]:
    """Every size on every line, or in the quick slice the largest on one line, in turn."""
    if SEEDS:
        # Seeds begin elsewhere from cell to cell, so that few of them meet every wire.
        seeds = range(number % 7, number % 7 + SEEDS)
        tried = [(size, line, seeds) for size in cell.sizes for line in LINES]
    else:
        tried = [(max(cell.sizes, key=abs), LINES[number % len(LINES)], range(number % 7, number % 7 + 1))]
    return [row for one in tried if (row := row_of(cell, one[0], one[1], one[2], folder)).runs]


# The quick slice, of under two minutes of one processor, takes every fourth cell.
TRIED = range(len(CELLS)) if SEEDS else range(0, len(CELLS), 4)


@pytest.mark.parametrize("number", TRIED, ids=lambda n: f"{CELLS[n].channel}, {CELLS[n].kind}")
def test_no_bad_reel_leaves_by_a_contradiction_of_a_stated_size(
    number: int, tmp_path: Path, record_property: Record
) -> None:
    rows = _rows(CELLS[number], number, tmp_path)
    for row in rows:
        record_property("contradictions", as_text(row))
    assert [row for row in rows if row.let_go_stated] == []
    if CELLS[number].stated:
        seen, stated = (sum(getattr(row, name) for row in rows) for name in ("found_stated", "stated"))
        assert seen >= 0.9 * stated - 1.0


@pytest.mark.parametrize("line", LINES)
def test_clean_runs_are_accused_of_nothing(line: str, tmp_path: Path, record_property: Record) -> None:
    rows = claimed((line,), range(CLEAN), tmp_path)
    for row in rows:
        record_property("contradictions", as_text(row))
    assert [row for row in rows if row.kind.startswith("accused: ") and row.found > 0.01 * row.runs] == []

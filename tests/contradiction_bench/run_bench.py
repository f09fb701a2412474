"""Runs cells over lines and seeds, and counts: found, bad reels let go, good reels held, false claims."""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.contradiction_bench.cells import Cell, cells
from tests.contradiction_bench.trial import case_of, clean, made, told_of

COLUMNS = ("channel", "kind", "size", "unit", "line", "runs", "found", "bad", "let_go", "good", "good_held")


@dataclass
class Row:
    """Counts of one cell at one size on one line."""

    channel: str
    kind: str
    size: float
    unit: str
    line: str
    runs: int = 0
    found: int = 0
    bad: int = 0
    let_go: int = 0
    good: int = 0
    good_held: int = 0

    @property
    def values(self) -> tuple[object, ...]:
        return tuple(getattr(self, one) for one in COLUMNS)


def rows_of(chosen: Iterable[Cell], lines: Iterable[str], seeds: Iterable[int], folder: Path) -> list[Row]:
    """One row a cell, size and line."""
    found = []
    lines, seeds = tuple(lines), tuple(seeds)
    for cell in chosen:
        for line in lines:
            for size in cell.sizes:
                row = Row(cell.channel, cell.kind, size, cell.unit, line)
                for seed in seeds:
                    wire = cell.wires[seed % len(cell.wires)]
                    edit = cell.make(made(line, wire, seed), size, np.random.default_rng((seed, 7)))
                    if edit is None:
                        continue
                    told = told_of(case_of(line, wire, seed, edit), folder / "edited")
                    usual = clean(line, wire, seed, folder / "clean")
                    row.runs += 1
                    row.found += bool(told.refused) or bool(told.claims - usual.claims)
                    row.bad += sum(one == "hold" for one in told.must.values())
                    row.let_go += told.let_go
                    row.good += sum(one == "release" for one in told.must.values())
                    row.good_held += told.good_held
                if row.runs:
                    found.append(row)
    return found


if __name__ == "__main__":
    import tempfile

    with tempfile.TemporaryDirectory() as place:
        out = csv.writer(sys.stdout)
        lines = sys.argv[3].split(",") if len(sys.argv) > 3 else ("Q2", "K7", "N5", "T1")
        for row in rows_of(cells(sys.argv[1]), lines, range(int(sys.argv[2])), Path(place)):
            out.writerow(row.values)

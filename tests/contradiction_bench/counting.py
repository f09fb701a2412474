"""Runs cells over lines and seeds: found, bad reels let go, good reels held; and what clean runs are accused of."""

from __future__ import annotations

import csv
import json
from collections import Counter
from collections.abc import Iterable
from dataclasses import asdict, dataclass, fields
from datetime import date
from pathlib import Path

import numpy as np

from tests.contradiction_bench.cells import Cell
from tests.contradiction_bench.trial import Told, case_of, clean, made, stated_mm, told_of
from tests.other_lines.lines import LINES


@dataclass
class Row:
    """Counts of one cell at one size on one line.

    Args:
        channel, kind, size, unit, line: the cell.
        stated: runs at whose size the page of the clean run says that it would be shown.
        runs: runs tried.
        found: runs of which the program says something that it does not say of the clean run.
        found_stated: the same of the stated ones.
        bad: bad reels.
        let_go: bad reels that may leave.
        let_go_stated: the same of stated runs.
        good: good reels.
        good_held: good reels that may not leave.
        first_seed: the first run's seed; the others follow.
    """

    channel: str
    kind: str
    size: float
    unit: str
    line: str
    runs: int = 0
    found: int = 0
    stated: int = 0
    found_stated: int = 0
    bad: int = 0
    let_go: int = 0
    let_go_stated: int = 0
    good: int = 0
    good_held: int = 0
    first_seed: int = 0


def row_of(cell: Cell, size: float, line: str, seeds: Iterable[int], folder: Path) -> Row:
    """The counts of a cell at one size on one line; no runs where the line has no such channel."""
    seeds = tuple(seeds)
    row = Row(cell.channel, cell.kind, size, cell.unit, line, first_seed=seeds[0])
    for seed in seeds:
        wire = cell.wires[seed % len(cell.wires)]
        edit = cell.make(made(line, wire, seed), size, np.random.default_rng((seed, 7)))
        if edit is None:
            continue
        told = told_of(case_of(line, wire, seed, edit), folder / "edited")
        usual = clean(line, wire, seed, folder / "clean")
        found = bool(told.refused) or bool(told.claims - usual.claims)
        # What has no size of its own is to be seen whenever it does harm.
        stated = _is_stated(cell, size, line, usual)
        row.runs += 1
        row.found += found
        row.stated += stated
        row.found_stated += found and stated
        row.bad += told.count("hold", releasable=True) + told.count("hold", releasable=False)
        row.let_go += told.count("hold", releasable=True)
        row.let_go_stated += stated * told.count("hold", releasable=True)
        row.good += told.count("release", releasable=True) + told.count("release", releasable=False)
        row.good_held += told.count("release", releasable=False)
    return row


def _is_stated(cell: Cell, size: float, line: str, usual: Told) -> bool:
    """Whether the page of the clean run says that a size would be shown; of delays there is a greatest too."""
    if cell.stated == "lag":
        metres = size * LINES[line].speed_m_s if cell.unit == "s" else size
        most = max((value for key, value in usual.stated.items() if key.endswith(" most")), default=0.0)
        return stated_mm(usual, "lag") <= metres <= most
    return size >= stated_mm(usual, cell.stated) if cell.stated else True


def smallest(rows: Iterable[Row]) -> list[str]:
    """For each channel and kind the smallest size from which on nine runs in ten were found, and what it let go."""
    cells: dict[tuple[str, str, str], dict[float, list[Row]]] = {}
    for row in rows:
        cells.setdefault((row.channel, row.kind, row.unit), {}).setdefault(row.size, []).append(row)
    out = []
    for (channel, kind, unit), sizes in cells.items():
        shares = {
            size: sum(one.found for one in those) / max(sum(one.runs for one in those), 1)
            for size, those in sizes.items()
        }
        rising = sorted(sizes, key=abs)
        least = None
        for size in reversed(rising):
            if shares[size] < 0.9:
                break
            least = size
        gone = sum(one.let_go_stated for those in sizes.values() for one in those)
        told = f"{least:.4g} {unit}".strip() if least is not None else "no size tried"
        out.append(f"{channel:22s}{kind:46s} nine in ten from {told}; let go at stated sizes {gone}")
    return out


def claimed(lines: Iterable[str], seeds: Iterable[int], folder: Path) -> list[Row]:
    """Clean runs of each line, and how many of them are accused, by kind."""
    rows = []
    for line in lines:
        runs, found = accused((line,), seeds, folder)
        rows.append(Row("clean", "accused of nothing", 0.0, "", line, runs, runs - sum(found.values())))
        rows += [
            Row("clean", f"accused: {kind}", 0.0, "", line, runs, count) for kind, count in found.items()
        ]
    return rows


def accused(lines: Iterable[str], seeds: Iterable[int], folder: Path) -> tuple[int, Counter[str]]:
    """Clean runs, and how many of them are accused of each kind of contradiction."""
    runs, found = 0, Counter[str]()
    seeds = tuple(seeds)
    for line in lines:
        for seed in seeds:
            runs += 1
            found.update(set(clean(line, "good", seed, folder / "clean").contradictions))
    return runs, found


def as_text(row: Row) -> str:
    """A row for another process to read."""
    return json.dumps(asdict(row))


def lines_of(rows: Iterable[Row]) -> list[str]:
    """The table as text, lines of a cell and size added up."""
    names = ("runs", "found", "stated", "bad", "let go", "good", "held")
    out = [f"{'channel':22s}{'kind':46s}{'size':>9s} {'unit':5s}" + "".join(f"{one:>8s}" for one in names)]
    cells: dict[tuple[str, str, float, str], list[Row]] = {}
    for row in rows:
        cells.setdefault((row.channel, row.kind, row.size, row.unit), []).append(row)
    for (channel, kind, size, unit), those in cells.items():
        sums = [
            sum(getattr(one, name) for one in those)
            for name in ("runs", "found", "stated", "bad", "let_go", "good", "good_held")
        ]
        out.append(f"{channel:22s}{kind:46s}{size:9.4g} {unit:5s}" + "".join(f"{one:8d}" for one in sums))
    return out


def write_table(path: Path, rows: Iterable[Row], on: date, method: str) -> None:
    """The table as CSV, each row with its day and the method's version; rows of cells not run again stay.

    Args:
        path: the table.
        rows: rows that were run.
        on: the day.
        method: version of the method they were run with.
    """
    names = [*(one.name for one in fields(Row)), "date", "method"]
    cell = ("channel", "kind", "size", "line")
    kept: dict[tuple[str, ...], dict[str, object]] = {}
    with path.open(newline="") as read:
        for one in csv.DictReader(read):
            kept[tuple(one[name] for name in cell)] = dict(one)
    for row in rows:
        said = {**asdict(row), "date": on.isoformat(), "method": method}
        kept[tuple(str(said[name]) for name in cell)] = said
    with path.open("w", newline="") as out:
        writer = csv.DictWriter(out, names, lineterminator="\n")
        writer.writeheader()
        writer.writerows(kept[key] for key in sorted(kept, key=lambda one: (*one[:2], float(one[2]), one[3])))

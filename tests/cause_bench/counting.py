"""Counts of the bench: found and rightly named, found but misnamed, missed, and claims that nothing explains."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass, fields
from datetime import date
from pathlib import Path
from typing import Literal

from tests.cause_bench.causes import Claim, Planted
from tests.cause_bench.trial import claims

Outcome = Literal["named", "misnamed", "missed"]
# A direction is right within this [deg].
ANGLE = 20.0


@dataclass
class Row:
    """Counts of one cause at one size on one line.

    Args:
        cause, size, line: the cell.
        runs: runs tried.
        named: found and rightly named.
        misnamed: something of its kind told, under another name or none.
        missed: nothing of its kind told.
        false: runs with a claim of another kind than the cause explains.
    """

    cause: str
    size: float
    line: str
    runs: int = 0
    named: int = 0
    misnamed: int = 0
    missed: int = 0
    false: int = 0


def outcome(told: Iterable[Claim], what: Planted) -> Outcome:
    """What came of the cause."""
    near = [one for one in told if one[0] in what.met]
    if any(_is(one, wanted) for one in near for wanted in what.named):
        return "named"
    return "misnamed" if near else "missed"


def _is(told: Claim, wanted: Claim) -> bool:
    if told[0] != wanted[0]:
        return False
    if wanted[0] == "die offset":
        return abs((float(told[1]) - float(wanted[1]) + 180.0) % 360.0 - 180.0) <= ANGLE
    if wanted[0] == "melt gain":
        low, high = (float(one) for one in told[1].split())
        return low <= float(wanted[1]) <= high
    return told[1] == wanted[1]


def row_of(cause: str, size: float, line: str, seeds: Iterable[int], folder: Path) -> Row:
    """The counts of a cause at one size on one line."""
    row = Row(cause, size, line)
    for seed in seeds:
        told, what = claims(line, cause, size, seed, folder)
        found = outcome(told, what) if size > 0.0 else None
        row.runs += 1
        row.named += found == "named"
        row.misnamed += found == "misnamed"
        row.missed += found == "missed"
        explained = what.met if size > 0.0 else frozenset[str]()
        row.false += any(one[0] not in explained for one in told)
    return row


def as_text(row: Row) -> str:
    """A row for another process to read."""
    return json.dumps(asdict(row))


def lines_of(rows: Iterable[Row]) -> list[str]:
    """The table as text, lines of a cause and size added up."""
    names = ("runs", "named", "misnamed", "missed", "false")
    out = [f"{'cause':20s}{'size':>6s}" + "".join(f"{one:>10s}" for one in names)]
    cells: dict[tuple[str, float], list[Row]] = {}
    for row in rows:
        cells.setdefault((row.cause, row.size), []).append(row)
    for (cause, size), those in sorted(cells.items()):
        sums = [sum(getattr(one, name) for one in those) for name in names]
        out.append(f"{cause:20s}{size:6.3g}" + "".join(f"{one:10d}" for one in sums))
    return out


def write_table(path: Path, rows: Iterable[Row], on: date) -> None:
    """The table as CSV with its day; seeds count from 0."""
    names = [one.name for one in fields(Row)]
    with path.open("w", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow([*names, "first seed", "date"])
        for row in rows:
            writer.writerow([*asdict(row).values(), 0, on.isoformat()])

"""The table of the release matrix: cases and reels by kind, what was caught, let go, released and held wrongly."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping
from datetime import date
from pathlib import Path

from tests.release_matrix.cases import Found

COLUMNS = (
    "kind", "cases", "reels", "bad", "caught", "let_go", "good", "released", "held_wrongly", "either",
)  # fmt: skip
Counts = dict[str, dict[str, int]]


def counts_of(found: Iterable[Found], cases: Mapping[str, int]) -> Counts:
    """Counts by kind; `bad` is bad or never judged, `either` is where the gauges cannot tell."""
    counts: Counts = {
        kind: {**dict.fromkeys(COLUMNS[1:], 0), "cases": number} for kind, number in cases.items()
    }
    for one in found:
        row = counts[one.kind]
        row["reels"] += 1
        row["bad"] += one.must == "hold"
        row["caught"] += one.must == "hold" and not one.let_go
        row["let_go"] += one.let_go
        row["good"] += one.must == "release"
        row["released"] += one.must == "release" and not one.held_wrongly
        row["held_wrongly"] += one.held_wrongly
        row["either"] += one.must == "either"
    return counts


def added(parts: Iterable[Counts]) -> Counts:
    """Several tables as one."""
    whole: Counts = {}
    for part in parts:
        for kind, row in part.items():
            own = whole.setdefault(kind, dict.fromkeys(COLUMNS[1:], 0))
            for name, value in row.items():
                own[name] += value
    return whole


def total(counts: Counts) -> dict[str, int]:
    """The sum of all kinds."""
    return {name: sum(row[name] for row in counts.values()) for name in COLUMNS[1:]}


def lines_of(counts: Counts) -> list[str]:
    """The table as text."""
    rows = [*sorted(counts.items()), ("all", total(counts))]
    head = f"{'kind':34s}" + "".join(f"{name.replace('_', ' '):>13s}" for name in COLUMNS[1:])
    return [
        head,
        *(f"{kind:34s}" + "".join(f"{row[name]:13d}" for name in COLUMNS[1:]) for kind, row in rows),
    ]


def write_table(path: Path, counts: Counts, seed: int, on: date) -> None:
    """The table as CSV with its seed and day."""
    with path.open("w", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow([*COLUMNS, "seed", "date"])
        for kind, row in [*sorted(counts.items()), ("all", total(counts))]:
            writer.writerow([kind, *(row[name] for name in COLUMNS[1:]), seed, on.isoformat()])

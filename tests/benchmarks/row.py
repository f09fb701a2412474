"""One row of the table: what was measured, what is wanted, and what was reached."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Row:
    """A figure held against its target.

    Args:
        what: what was measured, with the size of the work.
        target: what is wanted, in words; "" for a figure that has no target of its own.
        reached: the figure in the unit of the target, in words.
        verdict: whether the target was reached; None where there is none.
        wall_s: wall time [s].
        cpu_s: processor time, user and system, of all threads [s].
        peak_mb: greatest resident memory of the process [MB].
        ratio: processor time over that of the floor; None where there is no floor.
        note: what a reader must know to read the figure rightly.
    """

    what: str
    target: str
    reached: str
    verdict: bool | None = None
    wall_s: float | None = None
    cpu_s: float | None = None
    peak_mb: float | None = None
    ratio: float | None = None
    note: str = ""


HEADINGS = ("what", "target", "reached", "wall s", "CPU s", "peak MB", "CPU/floor", "verdict")


def table(rows: list[Row]) -> str:
    """The rows as lines of text, columns as wide as they need."""
    cells = [HEADINGS, *(_cells(row) for row in rows)]
    widths = [max(len(line[at]) for line in cells) for at in range(len(HEADINGS))]
    lines = [
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in cells
    ]
    lines.insert(1, "  ".join("-" * width for width in widths))
    notes = list(dict.fromkeys(row.note for row in rows if row.note))
    return "\n".join([*lines, *(f"Note: {note}" for note in notes)])


def _cells(row: Row) -> tuple[str, ...]:
    def number(value: float | None, form: str) -> str:
        return "" if value is None else format(value, form)

    verdict = {True: "held", False: "MISSED", None: ""}[row.verdict]
    return (
        row.what, row.target, row.reached, number(row.wall_s, ".3g"), number(row.cpu_s, ".3g"),
        number(row.peak_mb, ".0f"), number(row.ratio, ".2f"), verdict,
    )  # fmt: skip

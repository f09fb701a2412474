"""Which lines of a block cannot be read, and why: the closer look at a block that a strict reader refused.

Quoting follows RFC 4180, section 2. A quote that would swallow whole lines which look like rows of their own
is a stray mark: those lines stand for themselves, and the line that opens it is set aside.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import polars as pl
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.log_notes import SetAside, together_aside
from pipeline.logs.cells import Faults, TextTable, typed_columns
from pipeline.logs.log_plan import LogPlan
from pipeline.logs.whole_lines import Block
from pipeline.messages import Message, message, said_json

TEXT_CUT = 500
LINES_OF_A_RECORD = 100
# A file in which more lines than this are no rows, and twice as many as are, is spoilt or has the wrong mapping: each
# line set aside costs a kilobyte (chosen here).
HOPELESS = 100_000
SET_ASIDE_SCHEMA = {"line": pl.UInt32, "said": pl.String, "text": pl.String}


class MostLinesBad(Exception):  # noqa: N818 - carries a line and its reason to the caller, who complains
    """A block of which hardly a line is a row."""

    def __init__(self, line: int, reason: Message) -> None:
        self.line, self.reason = line, reason
        super().__init__(f"line {line}")


def is_hopeless(kept: int, aside: int) -> bool:
    """Whether so many lines are no rows that the others are not worth reading on."""
    return aside > HOPELESS and aside > 2 * kept


@dataclass(frozen=True, slots=True)
class CheckedBlock:
    """The good lines of a block as a typed table, and the others with their reasons."""

    table: pa.Table
    lines: NDArray[np.uint32]
    set_aside: pl.DataFrame


@dataclass(slots=True)
class _Records:
    """Lines put together to records: where each begins, its text, and why its shape is wrong, if it is."""

    places: list[int]
    texts: list[str]
    reasons: Faults


def checked_block(block: Block, plan: LogPlan) -> CheckedBlock:
    """Sort the lines of `block` into good rows and lines set aside.

    Raises:
        MostLinesBad: hardly a line has as many cells as the header.
    """
    # Bytes that are not UTF-8 become a mark that no number or time contains.
    text = block.text.decode("utf-8", "replace")
    whole = text.endswith("\n")
    records = _records(text[:-1].split("\n") if whole else text.split("\n"), plan, block.first_line)
    if not whole and len(records.texts) - 1 in records.reasons:
        records.reasons[len(records.texts) - 1] += (message(SetAside.CUT_SHORT),)
    shaped = np.array(
        [place for place in range(len(records.texts)) if place not in records.reasons], np.int64
    )
    cells = TextTable([records.texts[place] for place in shaped], plan)
    table, faults = typed_columns(cells, plan)
    fine = np.ones(shaped.size, np.bool_)
    fine[list(faults)] = False
    aside = records.reasons | {int(shaped[row]): reasons for row, reasons in faults.items()}
    lines = np.array(records.places, np.int64) + block.first_line
    return CheckedBlock(
        table.filter(pa.array(fine)), lines[shaped[fine]].astype(np.uint32), _set_aside(aside, lines, records)
    )


def _set_aside(aside: Faults, lines: NDArray[np.int64], records: _Records) -> pl.DataFrame:
    order = sorted(aside)
    return pl.DataFrame(
        {
            "line": [int(lines[place]) for place in order],
            "said": [said_json(together_aside(aside[place])) for place in order],
            "text": [records.texts[place][:TEXT_CUT] for place in order],
        },
        schema=SET_ASIDE_SCHEMA,
    )


def _records(lines: list[str], plan: LogPlan, first_line: int) -> _Records:
    """Records of `lines`, blank ones left out, with a reason for each that has the wrong number of cells."""
    column = pl.Series("text", lines, dtype=pl.String)
    looked = pl.DataFrame({"text": column}).select(
        blank=pl.col("text").str.strip_chars() == "",
        cells=pl.col("text").str.count_matches(plan.delimiter, literal=True) + 1,
        quoted=pl.col("text").str.contains('"', literal=True),
    )
    blank, quoted = looked["blank"].to_numpy(), looked["quoted"].to_numpy()
    plain_cells = looked["cells"].to_numpy()
    cells = plain_cells.astype(np.int64)
    absorbed = np.zeros(len(lines), np.bool_)
    texts = list(lines)
    reasons: Faults = {}
    for place in np.flatnonzero(quoted & ~blank):
        if absorbed[place]:
            continue
        end, count = _record_at(lines, int(place), plan, plain_cells)
        if count is None:
            reasons[int(place)] = (message(SetAside.OPEN_QUOTE),)
        else:
            cells[place] = count
            texts[place] = "\n".join(lines[place:end])
            absorbed[place + 1 : end] = True
    unlike = np.flatnonzero((cells != plan.width) & ~blank & ~absorbed)
    widths = {
        count: (message(SetAside.WRONG_WIDTH, cells=count, width=plan.width),)
        for count in np.unique(cells[unlike]).tolist()
    }
    if is_hopeless(len(lines) - unlike.size - int(blank.sum()), unlike.size):
        raise MostLinesBad(first_line + int(unlike[0]), widths[int(cells[unlike[0]])][0])
    for place in unlike:
        reasons.setdefault(int(place), widths[int(cells[place])])
    starts = np.flatnonzero(~(blank & ~absorbed) & ~absorbed)
    number = {int(place): row for row, place in enumerate(starts)}
    return _Records(
        starts.tolist(),
        [texts[place] for place in starts],
        {number[place]: reason for place, reason in reasons.items()},
    )


def _record_at(
    lines: list[str], place: int, plan: LogPlan, plain_cells: NDArray[np.uint32]
) -> tuple[int, int | None]:
    """Where the record that begins at `place` ends, and its number of cells; None if its quote stays open."""
    end = min(len(lines), place + LINES_OF_A_RECORD)
    used, count = _cells_of(iter(lines[place:end]), plan)
    if used == 1 or count is None:
        return place + 1, count
    inner = plain_cells[place + 1 : place + used]
    if count != plan.width or (inner == plan.width).any():
        return place + 1, None
    return place + used, count


def _cells_of(lines: Iterator[str], plan: LogPlan) -> tuple[int, int | None]:
    """How many lines the first record takes, and its number of cells; None if it is still open at the end."""
    ended = "\x00the lines end here"
    fed = (line + "\n" for line in lines)
    reader = csv.reader(_with_end(fed, ended), delimiter=plan.delimiter)
    try:
        row = next(reader)
    except csv.Error:
        return 1, None
    still_open = any(ended in cell for cell in row)
    return (1, None) if still_open else (reader.line_num, len(row))


def _with_end(lines: Iterator[str], ended: str) -> Iterator[str]:
    yield from lines
    yield ended

"""Rows of one file that share their instant with the row before them: logged twice, or a coarse clock."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.log_notes import LogNote
from pipeline.logs.parse_block import TIME_US
from pipeline.logs.sequence import rows_apart
from pipeline.messages import Message, message

# Above this share of rows the clock is coarser than the log, and equal instants say nothing.
_COARSE_SHARE = 0.02


def doubled_rows(frame: pl.DataFrame, name: str) -> tuple[NDArray[np.int64], list[Message]]:
    """Places of rows that repeat the row before them, instant and values, and what to tell.

    Args:
        frame: the rows of a file in its order: the time [us] and the channels.
        name: the file, for notes.
    """
    none = np.zeros(0, np.int64)
    times = frame[TIME_US].to_numpy()
    if times.size < 2:
        return none, []
    same = rows_apart(times, lambda apart: apart == 0)
    if same.size == 0:
        return none, []
    if same.size > max(_COARSE_SHARE * times.size, 2):
        _, counts = np.unique(times, return_counts=True)
        return none, [message(LogNote.TIMES_SHARED, file=name, most=int(counts.max()))]
    values = frame.select(pl.exclude("file_no", "line", "_key_us"))
    equal = np.ones(same.size, np.bool_)
    for column in values.iter_columns():
        equal &= (column.gather(same).eq_missing(column.gather(same - 1))).to_numpy()
    different = int((~equal).sum())
    notes = []
    if different:
        notes.append(message(LogNote.TIME_TWICE, file=name, rows=different))
    return same[equal], notes

"""Rows that stand in two files of one log: kept once, the later file's set aside with the reason.

Files of a log overlap when a logger is copied twice or starts a new file before it closes the last. A row is
a double if another file of the same log has the same instant and the same values, as often.

The text of certain lines of a log, read again for those who must be shown them.

Rows of one file that share their instant with the row before them: logged twice, or a coarse clock.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.log_notes import LogNote, SetAside
from pipeline.logs.bad_lines import TEXT_CUT
from pipeline.logs.open_log import OpenLog, is_parquet
from pipeline.logs.parse_block import TIME_US
from pipeline.logs.sequence import rows_apart
from pipeline.logs.whole_lines import whole_lines
from pipeline.messages import Message, message, said
from pipeline.sheets.run_sheet import LogFile

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
    again, told = _written_again(frame, times, name)
    same = rows_apart(times, lambda apart: apart == 0)
    if same.size == 0:
        return again, told
    if same.size > max(_COARSE_SHARE * times.size, 2):
        _, counts = np.unique(times, return_counts=True)
        return again, [*told, message(LogNote.TIMES_SHARED, file=name, most=int(counts.max()))]
    values = frame.select(pl.exclude("file_no", "line", "_key_us"))
    equal = np.ones(same.size, np.bool_)
    for column in values.iter_columns():
        equal &= (column.gather(same).eq_missing(column.gather(same - 1))).to_numpy()
    different = int((~equal).sum())
    notes = []
    if different:
        notes.append(message(LogNote.TIME_TWICE, file=name, rows=different))
    return np.union1d(again, same[equal]), [*told, *notes]


def _written_again(
    frame: pl.DataFrame, times: NDArray[np.int64], name: str
) -> tuple[NDArray[np.int64], list[Message]]:
    """Rows after a step back of the clock that stand earlier in the file already, time and all."""
    back = rows_apart(times, lambda apart: apart < 0)
    if back.size == 0:
        return np.zeros(0, np.int64), []
    first, last = int(times[back].min()), int(times[back - 1].max())
    within = frame.with_row_index("_place").filter(pl.col(TIME_US).is_between(first, last))
    values = pl.struct(pl.exclude("_place", "file_no", "line", "_key_us"))
    again = within.filter(~values.is_first_distinct())["_place"].to_numpy().astype(np.int64)
    again = again[times[again] < np.maximum.accumulate(times)[again]]
    if again.size == 0:
        return again, []
    return again, [message(LogNote.WRITTEN_AGAIN, file=name, rows=int(again.size))]


def lines_of_file(path: Path, encoding: str, wanted: Iterable[int]) -> dict[int, str]:
    """Text of each line in `wanted`, cut at 500 characters.

    Args:
        path: the log.
        encoding: its encoding.
        wanted: line numbers from 1.
    """
    left = sorted(set(wanted))
    found: dict[int, str] = {}
    with OpenLog(path, encoding) as opened:
        for block in whole_lines(opened.text()):
            here = [line for line in left if line < block.first_line + block.lines]
            if here:
                lines = block.text.split(b"\n")
                for line in here:
                    found[line] = lines[line - block.first_line].decode("utf-8", "replace")[:TEXT_CUT]
                left = left[len(here) :]
            if not left:
                break
    return found


_SCHEMA = {"file_no": pl.UInt16, "line": pl.UInt32, "said": pl.String, "text": pl.String}


def without_overlap(
    parts: list[pl.DataFrame], log: LogFile, folder: Path
) -> tuple[pl.DataFrame, pl.DataFrame, list[Message]]:
    """Rows of a log's files without doubles, the doubles as lines set aside, and what to tell.

    Args:
        parts: rows of each file, with ``file_no``, ``line`` and the time.
        log: the log's mapping.
        folder: the folder file names start from.
    """
    rows = parts[0] if len(parts) == 1 else pl.concat(parts, how="diagonal_relaxed")
    nothing = pl.DataFrame(schema=_SCHEMA)
    if len(parts) < 2 or _shared(parts) is None:
        return rows, nothing, []
    # Only rows in the time that two files share can be doubles.
    outside, rows = _parted(rows, parts)
    values = [name for name in rows.columns if name not in {"file_no", "line", "_key_us"}]
    numbered = rows.with_columns(_nth=pl.int_range(pl.len()).over(["file_no", *values]))
    first = pl.struct("file_no", "line").first().over([*values, "_nth"])
    found = numbered.select(
        "file_no", "line", is_first=first.struct.field("file_no") == pl.col("file_no"), first=first
    ).filter(~pl.col("is_first"))
    if found.height == 0:
        return pl.concat(parts, how="diagonal_relaxed"), nothing, []
    names = {
        int(part["file_no"][0]): name for part, name in zip(parts, log.files, strict=True) if part.height
    }
    doubled = pl.concat(
        _as_set_aside(part, folder / names[part["file_no"][0]], names, log)
        for part in found.partition_by("file_no")
    )
    rows = rows.join(
        found.select("file_no", "line"), on=["file_no", "line"], how="anti", maintain_order="left"
    )
    told = [
        message(LogNote.IN_EARLIER_FILE, file=names[number], rows=count)
        for number, count in sorted(doubled.group_by("file_no").len().iter_rows())
    ]
    return pl.concat([outside, rows]).sort("file_no", "line"), doubled, told


def _place(part: pl.DataFrame) -> str:
    """The column that tells where a row belongs: time, or length in a list without times."""
    return TIME_US if TIME_US in part.columns else "counter_m"


def _shared(parts: list[pl.DataFrame]) -> tuple[float, float] | None:
    """From where to where any two files reach over each other."""
    known = [part[_place(part)].drop_nulls().to_numpy() for part in parts if part.height]
    spans = sorted((float(values.min()), float(values.max())) for values in known if values.size)
    low, high, reach = np.inf, -np.inf, -np.inf
    for start, end in spans:
        if start <= reach:
            low, high = min(low, start), max(high, min(reach, end))
        reach = max(reach, end)
    return (low, high) if low <= high else None


def _parted(rows: pl.DataFrame, parts: list[pl.DataFrame]) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Rows outside the stretch that files share, and inside it."""
    shared = _shared(parts)
    if shared is None:
        return rows, rows.clear()
    inside = rows[_place(rows)].cast(pl.Float64).is_between(*shared).fill_null(value=True)
    return rows.filter(~inside), rows.filter(inside)


def _as_set_aside(found: pl.DataFrame, path: Path, names: dict[int, str], log: LogFile) -> pl.DataFrame:
    texts = {} if is_parquet(path) else lines_of_file(path, log.encoding, found["line"].to_list())
    return found.select(
        "file_no",
        "line",
        said=pl.Series(
            [
                said(SetAside.DOUBLED, line=first["line"], file=names[first["file_no"]])
                for first in found["first"].to_list()
            ],
            dtype=pl.String,
        ),
        text=pl.Series([texts.get(line, f"row {line}") for line in found["line"].to_list()], dtype=pl.String),
    )

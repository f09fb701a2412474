"""Which rows of the log saw this wire? From a metre of wire back to the line log, and forward again."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.length.placement import Placement
from pipeline.sheets.line_sheet import LineSheet


def rows_that_saw(placement: Placement, line: LineSheet, from_m: float, to_m: float) -> pl.DataFrame:
    """First and last row in which each instrument had a stretch of wire before it.

    Args:
        placement: the run's placement.
        line: the line's sheet.
        from_m: first metre of the wire [m].
        to_m: last metre [m].

    Returns:
        One row an instrument: instrument, kind, station_m, first_row, last_row, first_s, last_s (time since the
        first reading); rows are null for wire that had not reached it when the log ended.
    """
    front = placement.readings["front_m"].to_numpy()
    rows = placement.readings["row"].to_numpy()
    found = []
    for one in line.instruments:
        seen = _rows(front, from_m + one.station_m, to_m + one.station_m)
        first, last = (None, None) if seen is None else seen
        found.append(
            {
                "instrument": one.id,
                "kind": one.kind,
                "station_m": one.station_m,
                "first_row": None if first is None else int(rows[first]),
                "last_row": None if last is None else int(rows[last]),
                "first_s": None if first is None else float(placement.seconds[first]),
                "last_s": None if last is None else float(placement.seconds[last]),
            }
        )
    schema = {
        "instrument": pl.String,
        "kind": pl.String,
        "station_m": pl.Float64,
        "first_row": pl.UInt32,
        "last_row": pl.UInt32,
        "first_s": pl.Float64,
        "last_s": pl.Float64,
    }
    return pl.DataFrame(found, schema=schema)


def _rows(front_m: NDArray[np.float64], low_m: float, high_m: float) -> tuple[int, int] | None:
    """First and last position with the front between the two lengths, one reading more at either side."""
    if front_m.size == 0 or low_m > front_m[-1] or high_m < front_m[0]:
        return None
    first = int(np.searchsorted(front_m, low_m, side="left"))
    last = int(np.searchsorted(front_m, high_m, side="right")) - 1
    return max(0, min(first, front_m.size - 1) - 1), min(max(last, first) + 1, front_m.size - 1)

"""Did the spark tester's own counter go up where its list shows no fault? Then the list is not whole.

A plant may log the tester's counter beside the readings, its list of faults, or both. A count without an entry in the
list is a fault all the same; its place is known to the wire between two readings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.flags import ALL
from pipeline.length.placement import Placement
from pipeline.sheets.line_sheet import LineSheet

# The tester's own clock may differ from the logger's by so much before its entry counts as another fault (chosen here).
CLOCKS_APART_S = 2.0
_MASKING = [flag.code for flag in ALL if flag.masks_conformity]


@dataclass(frozen=True, slots=True)
class UnlistedCount:
    """Counts of the spark tester that its list does not show, on wire from `from_m` to `to_m` [m]."""

    from_m: float
    to_m: float
    counts: int


def unlisted_counts(
    readings: pl.DataFrame, flagged: pl.DataFrame, placement: Placement, line: LineSheet, events: pl.DataFrame
) -> tuple[UnlistedCount, ...]:
    """Rises of the spark tester's counter near which no spark fault is listed, in the order of the log.

    Args:
        readings: readings as logged (columns.LOGGED).
        flagged: reasons not to use readings (columns.FLAGGED).
        placement: the run on the wire.
        line: the line sheet.
        events: events on the wire (columns.PLACED_EVENTS).

    A counter that falls was cleared: what it shows afterwards was counted since. What it stood at when the log begins
    is of earlier wire.
    """
    tester = line.instrument("spark tester")
    if tester is None or "spark_counts" not in readings.columns:
        return ()
    counts = readings["spark_counts"].cast(pl.Float64).to_numpy().copy()
    bad = flagged.filter((pl.col("channel") == "spark_counts") & pl.col("flag").is_in(_MASKING))["row"]
    counts[np.searchsorted(readings["row"].to_numpy(), bad.unique().to_numpy())] = np.nan
    known = np.flatnonzero(np.isfinite(counts))
    step = np.diff(counts[known])
    more = np.where(step < 0.0, counts[known][1:], step)
    listed = np.sort(
        events.filter((pl.col("kind") == "spark fault") & pl.col("at_m").is_not_null())["at_m"].to_numpy()
    )
    speed = placement.readings["speed_m_s"].to_numpy()
    half = tester.window_m / 2.0
    found = []
    for at in np.flatnonzero(more > 0.0).tolist():
        before, row = int(known[at]), int(known[at + 1])
        low = float(placement.at_m[before]) - tester.station_m - half
        high = float(placement.at_m[row]) - tester.station_m + half
        slack = CLOCKS_APART_S * float(max(speed[before], speed[row], 0.0)) + placement.resolution_m
        near = np.searchsorted(listed, [low - slack, high + slack])
        if near[0] == near[1]:
            found.append(UnlistedCount(low, high, round(float(more[at]))))
    return tuple(found)

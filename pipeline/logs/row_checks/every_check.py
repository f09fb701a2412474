"""Every check of every channel of a run, as a sparse table of row, channel and reason."""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.columns import CHANNEL_BY_NAME, WALL_CHANNELS, Column
from pipeline.flags import COUNTER_RESET, MISSING, OUT_OF_RANGE, SPIKE, STEP, STUCK, Flag
from pipeline.logs.log_plan import mapped
from pipeline.logs.row_checks.counter_fall import counter_falls
from pipeline.logs.row_checks.grid import on_grid
from pipeline.logs.row_checks.missing import missing_rows
from pipeline.logs.row_checks.spike import spikes
from pipeline.logs.row_checks.step import step_rows
from pipeline.logs.row_checks.stuck import stuck_rows
from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.run_sheet import RunSheet

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]

FLAGGED_SCHEMA = {"row": pl.UInt32, "channel": pl.String, "flag": pl.UInt8}
THREADS = min(4, os.cpu_count() or 1)
# Which instrument of the line sheet gives a channel; the others have no resolution there.
GAUGES: dict[str, str] = {
    **dict.fromkeys(WALL_CHANNELS, "wall gauge"),
    "hot_diameter_mm": "hot diameter gauge",
    "diameter_x_mm": "cold diameter gauge",
    "diameter_y_mm": "cold diameter gauge",
    "conductor_mm": "conductor gauge",
}
# For a gauge that the line sheet leaves out: the line sheet's own defaults.
_RESOLUTION_MM, _NOISE_MM = 0.001, 0.004


def flag_readings(
    readings: pl.DataFrame, clock: pl.DataFrame, sheet: RunSheet, line: LineSheet
) -> pl.DataFrame:
    """Which readings carry a reason not to be used, as `pipeline.columns.FLAGGED`.

    Args:
        readings: the run's readings in their order.
        clock: rows with something wrong about their clock: file_no, line, flag.
        sheet: the run, which says what log carries what channel.
        line: the line, which says what its instruments resolve.
    """
    parts = [pl.DataFrame(schema=FLAGGED_SCHEMA)]
    if clock.height:
        parts.append(
            readings.select("row", "file_no", "line")
            .join(clock, on=["file_no", "line"], how="inner", maintain_order="left")
            .select("row", pl.lit("time_utc").alias("channel"), "flag")
        )
    carriers = carriers_of(sheet)
    files = {number for numbers in carriers.values() for number in numbers}

    def flags_of(name: str) -> list[pl.DataFrame]:
        rows, values = readings["row"], readings[name]
        if carriers[name] != files:
            carried = readings["file_no"].is_in(sorted(carriers[name]))
            rows, values = rows.filter(carried), values.filter(carried)
        number = rows.to_numpy()
        return [
            pl.DataFrame(
                {"row": number[places], "channel": name, "flag": flag.code}, schema_overrides=FLAGGED_SCHEMA
            )
            for places, flag in check_channel(CHANNEL_BY_NAME[name], values, *_gauge(name, line))
            if places.size
        ]

    # Channels do not depend on each other, and the array operations let other threads work meanwhile.
    with ThreadPoolExecutor(THREADS) as pool:
        for found in pool.map(flags_of, carriers):
            parts.extend(found)
    return pl.concat(parts).sort("row", "channel", "flag")


def check_channel(
    column: Column, values: pl.Series, resolution: float | None, noise: float | None
) -> Iterator[tuple[Rows, Flag]]:
    """Places with a reason, for one channel of the logs that carry it.

    Args:
        column: the channel in the data dictionary.
        values: its values in the order of the run, null where the log has none.
        resolution: the gauge's resolution; None for a channel that no gauge gives.
        noise: the gauge's standard uncertainty; None for a channel that no gauge gives.
    """
    known: Rows | None = None
    if values.null_count():
        empty = values.is_null().to_numpy()
        yield missing_rows(empty), MISSING
        known = np.flatnonzero(~empty)
        values = values.drop_nulls()
    figures: Floats = values.to_numpy()
    low = -np.inf if column.low is None else column.low
    high = np.inf if column.high is None else column.high
    if figures.size and (figures.min() < low or figures.max() > high):
        outside = (figures < low) | (figures > high)
        yield _at(known, np.flatnonzero(outside)), OUT_OF_RANGE
        known, figures = _at(known, np.flatnonzero(~outside)), figures[~outside]
    if column.name == "counter_m":
        resets, misread = counter_falls(figures)
        yield _at(known, resets), COUNTER_RESET
        yield _at(known, misread), SPIKE
    if resolution is not None and noise is not None:
        grid = on_grid(figures)
        shown = (grid.step or resolution) / grid.unit
        yield _at(known, stuck_rows(grid.values, shown, noise / grid.unit)), STUCK
        floor = max(resolution / grid.unit, shown)
        yield _at(known, np.flatnonzero(spikes(grid.values, floor))), SPIKE
        yield _at(known, step_rows(grid.values, grid.level, resolution / grid.unit)), STEP


def _at(known: Rows | None, places: Rows) -> Rows:
    """Places among all values of places among the known ones; `known` is None where all are known."""
    return places if known is None else known[places]


def _gauge(channel: str, line: LineSheet) -> tuple[float | None, float | None]:
    """Resolution and standard uncertainty [mm] of the gauge that gives a channel."""
    kind = GAUGES.get(channel)
    if kind is None:
        return None, None
    gauge = line.instrument(kind)
    if gauge is None:
        return _RESOLUTION_MM, _NOISE_MM
    return gauge.resolution_mm, gauge.uncertainty_mm


def carriers_of(sheet: RunSheet) -> dict[str, set[int]]:
    """For each channel, the numbers of the files whose log carries it."""
    carriers: dict[str, set[int]] = {}
    first = 0
    for log in sheet.logs:
        if log.kind == "readings":
            for channel, _, _ in mapped(log):
                carriers.setdefault(channel, set()).update(range(first, first + len(log.files)))
        first += len(log.files)
    return carriers

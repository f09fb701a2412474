"""Every check of every channel of a run, as a sparse table of row, channel and reason.

Where a channel holds no value although one was due.

A slow instrument in a fast table fills every n-th row only; the rows between are not missing readings. n is the
usual distance between its values, so a channel that fills every row is missing wherever it is empty.

Where the level of an instrument jumped at once by more than the process can move.

Between one reading and the next the level, taken as the median of the ten readings before and of the ten from
there on, moves by more than ten times the noise and by more than 5 % of itself. Wire, screw and melt need seconds
for that (common practice, no source); a knocked or re-zeroed gauge needs none.

Where the length counter fell back: started again, or showed a wrong figure for a moment.

A counter that falls by more than 10 m and stays there was reset or has wrapped. One that is back where it was
within three readings only misread; those readings are spikes. Smaller falls are wire pulled back, which
`pipeline.length` places. 10 m and three readings: common practice, no source.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.columns import CHANNEL_BY_NAME, WALL_CHANNELS, Column
from pipeline.flags import (
    COUNTER_RESET,
    DUPLICATE,
    FILLED,
    MISSING,
    OUT_OF_RANGE,
    REPEATED,
    SPIKE,
    STEP,
    STUCK,
    Flag,
)
from pipeline.logs.log_plan import mapped
from pipeline.logs.row_checks.filled import filled_rows
from pipeline.logs.row_checks.grid import Numbers, logged_step, on_grid
from pipeline.logs.row_checks.repeated import repeated_rows
from pipeline.logs.row_checks.spike import spikes
from pipeline.logs.row_checks.stuck import noise_of, stuck_rows
from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.run_sheet import RunSheet

FALL_M = 10.0
MOMENT = 3
_COUNTER_PART = 1 << 20
_SAMPLE = 100_000
_NONE = np.zeros(0, np.int64)


def counter_falls(counter_m: Floats) -> tuple[Rows, Rows]:
    """Places of the first reading after each reset, and places of misread figures.

    Args:
        counter_m: the length counter [m] in the order of the log, without gaps.
    """
    if counter_m.size < 2:
        return _NONE, _NONE
    falls = _falls(counter_m)
    if falls.size == 0:
        return _NONE, _NONE
    resets: list[int] = []
    misread: list[int] = []
    some = np.arange(0, counter_m.size - 1, max(1, counter_m.size // _SAMPLE))
    pace = FALL_M + MOMENT * 2.0 * float(np.median(np.abs(counter_m[some + 1] - counter_m[some])))
    for fall in falls.tolist():
        dip = _back_after_dip(counter_m, fall)
        peak = _up_before_fall(counter_m, fall, pace)
        if dip:
            misread.extend(range(fall, dip))
        elif peak:
            misread.extend(range(peak, fall))
        else:
            resets.append(fall)
    return np.array(resets, np.int64), np.array(misread, np.int64)


def _falls(counter: Floats) -> Rows:
    """Places of figures that are 10 m and more below the one before, looked for a part at a time."""
    found = [_NONE]
    for start in range(0, counter.size, _COUNTER_PART):
        part = counter[start : start + _COUNTER_PART + 1]
        found.append(np.flatnonzero(np.diff(part) < -FALL_M) + start + 1)
    return np.concatenate(found)


def _back_after_dip(counter: Floats, fall: int) -> int:
    """Where the counter is back at the level before `fall`, if that is within a moment; else 0."""
    for place in range(fall + 1, min(fall + MOMENT + 1, counter.size)):
        if counter[fall - 1] - FALL_M <= counter[place] <= counter[fall - 1] + FALL_M * MOMENT:
            return place
    return 0


def _up_before_fall(counter: Floats, fall: int, pace: float) -> int:
    """Where the counter leapt up within a moment before `fall`, if it then fell back to where it was; else 0."""
    for place in range(fall - 1, max(fall - MOMENT - 1, 0), -1):
        leapt = counter[place] - counter[place - 1] > pace
        if leapt and abs(counter[fall] - counter[place - 1]) <= pace:
            return place
    return 0


LEVEL = 10
NOISES = 10.0
SHARE = 0.05
_PART = 1 << 16


def step_rows(values: Numbers, level: float, least: float) -> Rows:
    """Places of the first reading on a new level.

    Args:
        values: readings of one instrument in the order of time, without gaps, counted from any level.
        level: the level that `values` are counted from, in their unit.
        least: smallest jump that counts, the instrument's resolution, in the unit of `values`.
    """
    if values.size < 2 * LEVEL:
        return np.zeros(0, np.int64)
    usual = level + float(np.median(values[:: max(1, values.size // 10_000)]))
    limit = max(NOISES * noise_of(values), SHARE * abs(usual), least)
    places = np.flatnonzero(np.abs(np.diff(values)) > limit) + 1
    places = places[(places >= LEVEL) & (places <= values.size - LEVEL)]
    found = [
        part[_jumps(values, part, limit)]
        for part in (places[start : start + _PART] for start in range(0, places.size, _PART))
    ]
    return np.concatenate([np.zeros(0, np.int64), *found])


def _jumps(values: Numbers, places: Rows, limit: float) -> NDArray[np.bool_]:
    around = places[:, None] + np.arange(-LEVEL, LEVEL)
    before = np.median(values[around[:, :LEVEL]], axis=1)
    after = np.median(values[around[:, LEVEL:]], axis=1)
    jumps: NDArray[np.bool_] = np.abs(after - before) > limit
    return jumps


def missing_rows(empty: NDArray[np.bool_]) -> Rows:
    """Places without a value where one was due.

    Args:
        empty: True where the channel is empty, in the order of the log.
    """
    holes = np.flatnonzero(empty)
    filled = np.flatnonzero(~empty)
    if holes.size == 0 or filled.size < 2:
        return holes
    usual = int(np.median(np.diff(filled)))
    if usual == 1:
        return holes
    behind = np.searchsorted(filled, holes)
    previous = filled[np.maximum(behind - 1, 0)]
    following = filled[np.minimum(behind, filled.size - 1)]
    between = (behind > 0) & (behind < filled.size)
    late = ~between | (following - previous > 1.5 * usual)
    away = np.where(behind == 0, filled[0] - holes, holes - previous)
    due: Rows = holes[late & (away % usual == 0)]
    return due


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
    carriers = carriers_of(sheet)
    if clock.height:
        told = readings.select("row", "file_no", "line").join(
            clock, on=["file_no", "line"], how="inner", maintain_order="left"
        )
        parts.append(told.select("row", pl.lit("time_utc").alias("channel"), "flag"))
        # A row logged twice was read once.
        twice = told.filter(pl.col("flag") == DUPLICATE.code)
        parts += [
            twice.select("row", pl.lit(name).alias("channel"), "flag") for name in carriers if name in GAUGES
        ]
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
    every = pl.concat([*parts, *_rows_repeated(readings, carriers), *_rows_filled(readings, carriers)])
    return every.unique().sort("row", "channel", "flag")


def _rows_repeated(readings: pl.DataFrame, carriers: dict[str, set[int]]) -> list[pl.DataFrame]:
    """Rows that repeat earlier ones in every gauge: few are enough to tell; the test voltage is repeated with them."""
    gauges = [name for name in carriers if name in GAUGES]
    if len(gauges) < 2:
        return []
    rows = readings.select("row", pl.struct(gauges).hash().rank("dense").alias("code"))
    rows = rows.filter(~readings.select(pl.all_horizontal(pl.col(gauges).is_null())).to_series())
    repeated = rows["row"].to_numpy()[repeated_rows(rows["code"].to_numpy().astype(np.float64))]
    told = [*gauges, *(name for name in ("spark_kv",) if name in carriers)]
    return [
        pl.DataFrame(
            {"row": repeated, "channel": name, "flag": REPEATED.code}, schema_overrides=FLAGGED_SCHEMA
        )
        for name in told
        if repeated.size
    ]


def _rows_filled(readings: pl.DataFrame, carriers: dict[str, set[int]]) -> list[pl.DataFrame]:
    """Rows that a historian filled in between the readings of a gauge; few are enough where all gauges tell."""
    gauges = [name for name in carriers if name in GAUGES]
    groups = [[name for name in gauges if GAUGES[name] == kind] for kind in dict.fromkeys(GAUGES.values())]
    told = []
    for names in [one for one in (*groups, gauges) if one]:
        known = readings.select("row", pl.col(names).cast(pl.Float64)).filter(
            pl.all_horizontal(pl.col(names).is_finite())
        )
        values = known.select(names).to_numpy()
        rows = known["row"].to_numpy()[filled_rows(values, np.array([logged_step(one) for one in values.T]))]
        told += [
            pl.DataFrame({"row": rows, "channel": name, "flag": FILLED.code}, schema_overrides=FLAGGED_SCHEMA)
            for name in names
            if rows.size
        ]
    return told


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
        yield _at(known, repeated_rows(grid.values)), REPEATED
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

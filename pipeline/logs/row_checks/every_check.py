"""Every check of every channel of a run, as a sparse table of row, channel and reason."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.columns import CHANNEL_BY_NAME
from pipeline.flags import COUNTER_RESET, MISSING, OUT_OF_RANGE
from pipeline.logs.log_plan import mapped
from pipeline.sheets.run_sheet import RunSheet

FLAGGED_SCHEMA = {"row": pl.UInt32, "channel": pl.String, "flag": pl.UInt8}
_RESET_M = 10.0


def flag_readings(
    readings: pl.DataFrame, clock: pl.DataFrame, sheet: RunSheet
) -> tuple[pl.DataFrame, list[str]]:
    """Which readings carry a reason not to be used, and what to tell of it."""
    carriers = _carriers(sheet)
    files = {number for numbers in carriers.values() for number in numbers}
    parts = [pl.DataFrame(schema=FLAGGED_SCHEMA)]
    if clock.height:
        parts.append(
            readings.select("row", "file_no", "line")
            .join(clock, on=["file_no", "line"], how="inner", maintain_order="left")
            .select("row", pl.lit("time_utc").alias("channel"), "flag")
        )
    for name in readings.columns:
        column = CHANNEL_BY_NAME.get(name)
        if column is None:
            continue
        rows, values = readings["row"], readings[name]
        if carriers[name] != files:
            carried = readings["file_no"].is_in(sorted(carriers[name]))
            rows, values = rows.filter(carried), values.filter(carried)
        number = rows.to_numpy()
        found: list[tuple[NDArray[np.int64], int]] = []
        if values.null_count():
            found.append((np.flatnonzero(values.is_null().to_numpy()), MISSING.code))
        figures = values.to_numpy()
        with np.errstate(invalid="ignore"):
            if column.low is not None and column.high is not None:
                outside = (figures < column.low) | (figures > column.high)
                found.append((np.flatnonzero(outside), OUT_OF_RANGE.code))
            if name == "counter_m":
                known = np.flatnonzero(np.isfinite(figures))
                fell = np.flatnonzero(np.diff(figures[known]) < -_RESET_M)
                found.append((known[fell + 1], COUNTER_RESET.code))
        parts += [
            pl.DataFrame(
                {"row": number[places], "channel": name, "flag": code}, schema_overrides=FLAGGED_SCHEMA
            )
            for places, code in found
            if places.size
        ]
    return pl.concat(parts).sort("row", "channel", "flag"), []


def _carriers(sheet: RunSheet) -> dict[str, set[int]]:
    """For each channel, the numbers of the files whose log carries it."""
    carriers: dict[str, set[int]] = {}
    first = 0
    for log in sheet.logs:
        if log.kind == "readings":
            for channel, _, _ in mapped(log):
                carriers.setdefault(channel, set()).update(range(first, first + len(log.files)))
        first += len(log.files)
    return carriers

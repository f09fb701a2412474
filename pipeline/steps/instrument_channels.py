"""Which logged channels does an instrument of each kind give, and did it read on this run?"""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.logs.row_checks.grid import logged_step
from pipeline.sheets.line_sheet import Instrument, LineSheet

# A wall gauge's channels are counted by its sensors; a surface vision gives events and no readings.
CHANNELS: dict[str, tuple[str, ...]] = {
    "encoder": ("counter_m", "line_speed_m_s"),
    "conductor gauge": ("conductor_mm",),
    "hot diameter gauge": ("hot_diameter_mm",),
    "cold diameter gauge": ("diameter_x_mm", "diameter_y_mm"),
    "spark tester": ("spark_kv", "spark_counts"),
    "melt sensors": ("melt_temperature_c", "melt_pressure_bar", "screw_speed_rpm"),
}
DIMENSION_KINDS = ("conductor gauge", "hot diameter gauge", "wall gauge", "cold diameter gauge")


def channels_of(instrument: Instrument) -> tuple[str, ...]:
    """The logged channels an instrument gives; empty for one that gives events only."""
    if instrument.kind == "wall gauge":
        return tuple(f"wall_{number}_mm" for number in range(1, (instrument.sensors or 0) + 1))
    return CHANNELS.get(instrument.kind, ())


# A log's step this many times the sheet's resolution is the log's own rounding (chosen here).
COARSER = 1.5


def as_logged(readings: pl.DataFrame, line: LineSheet) -> LineSheet:
    """The line with gauges no finer than their log shows them: a step q of the log adds q^2/12 to their variance.

    Args:
        readings: readings as logged (columns.LOGGED).
        line: the line sheet.
    """
    return line.model_copy(
        update={"instruments": tuple(_as_logged(readings, one) for one in line.instruments)}
    )


def _as_logged(readings: pl.DataFrame, instrument: Instrument) -> Instrument:
    names = [name for name in channels_of(instrument) if name in readings.columns]
    if instrument.kind not in DIMENSION_KINDS or not names:
        return instrument
    columns = (readings[name].cast(pl.Float64).to_numpy() for name in names)
    shown = [step for one in columns if (step := logged_step(one[np.isfinite(one)])) > 0.0]
    step = float(np.median(shown)) if shown else 0.0
    if step <= COARSER * instrument.resolution_mm:
        return instrument
    u = float(np.hypot(instrument.uncertainty_mm, step / np.sqrt(12.0)))
    return instrument.model_copy(update={"resolution_mm": step, "uncertainty_mm": u})


def instruments_that_read(readings: pl.DataFrame, line: LineSheet) -> tuple[Instrument, ...]:
    """The line's instruments with at least one reading on this run, in the order of the sheet.

    Args:
        readings: readings as logged (columns.LOGGED).
        line: the line sheet.
    """
    read = {name for name in readings.columns if readings[name].null_count() < readings.height}
    return tuple(one for one in line.instruments if read & set(channels_of(one)))


def carrying(readings: pl.DataFrame, channels: tuple[str, ...]) -> NDArray[np.bool_]:
    """True for rows of log files that carry at least one of these channels.

    Rows of another log beside them in time, which never has the channel, are no readings lost.

    Args:
        readings: readings as logged (columns.LOGGED).
        channels: logged channels of one instrument.
    """
    every = np.ones(readings.height, dtype=np.bool_)
    named = [name for name in channels if name in readings.columns]
    if "file_no" not in readings.columns or not named or readings["file_no"].n_unique() < 2:
        return every
    read = readings.select("file_no", pl.any_horizontal(pl.col(named).is_not_null()).alias("read"))
    files = read.filter(pl.col("read"))["file_no"].unique()
    carried = readings["file_no"].is_in(files.implode()).to_numpy()
    return carried if bool(carried.any()) else every

"""The logs as the plant's loggers write them: their own column names, units, decimals and clock."""

from __future__ import annotations

import gzip
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, cast

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.columns import CHANNEL_BY_NAME
from pipeline.simulator.scenario import LogStyle, RunScenario
from pipeline.simulator.sensor_events import Event
from pipeline.simulator.troubles import WrongUnit
from pipeline.units import scale_and_offset


@dataclass(frozen=True, slots=True)
class LogColumn:
    """A column of the plant's log: its name there, its unit and the decimals it is written with."""

    name: str
    unit: str
    decimals: int


@dataclass(frozen=True, slots=True)
class Logger:
    """How a line's logger writes.

    Args:
        time_column: name of the time column.
        time_pattern: pattern of the time.
        local: True if it writes local time without its offset, False for UTC.
        delimiter: column separator.
        columns: our channel -> the plant's column.
        wall: the wall sensors' columns, its name with ``{}`` for the sensor's number.
        flaw_size: size column of the vision system's list.
        flaw_class: class column of that list.
        flaws_with_length: True if the vision system gives the length counter besides the time.
    """

    time_column: str
    time_pattern: str
    local: bool
    delimiter: str
    columns: Mapping[str, LogColumn]
    wall: LogColumn
    flaw_size: LogColumn
    flaw_class: str
    flaws_with_length: bool


LOGGERS: dict[LogStyle, Logger] = {
    "us local": Logger(
        time_column="Timestamp",
        time_pattern="%Y-%m-%d %H:%M:%S%.3f",
        local=True,
        delimiter=",",
        columns={
            "counter_m": LogColumn("Footage_ft", "ft", 1),
            "line_speed_m_s": LogColumn("LineSpeed_fpm", "ft/min", 1),
            "conductor_mm": LogColumn("CondDia_in", "in", 5),
            "hot_diameter_mm": LogColumn("HotOD_in", "in", 5),
            "diameter_x_mm": LogColumn("ColdOD_X_in", "in", 5),
            "diameter_y_mm": LogColumn("ColdOD_Y_in", "in", 5),
            "screw_speed_rpm": LogColumn("Extr1_RPM", "rpm", 2),
            "covering_screw_speed_rpm": LogColumn("Extr2_RPM", "rpm", 2),
            "melt_temperature_c": LogColumn("Extr1_Melt_F", "degF", 1),
            "melt_pressure_bar": LogColumn("Extr1_Melt_psi", "psi", 0),
            "spark_kv": LogColumn("Spark_kV", "kV", 2),
            "spark_counts": LogColumn("Spark_Count", "", 0),
        },
        wall=LogColumn("Wall_{}_mil", "mil", 2),
        flaw_size=LogColumn("Size_mil", "mil", 1),
        flaw_class="Class",
        flaws_with_length=False,
    ),
    "metric utc": Logger(
        time_column="time_utc",
        time_pattern="%Y-%m-%dT%H:%M:%S%.3fZ",
        local=False,
        delimiter=";",
        columns={
            "counter_m": LogColumn("length_m", "m", 2),
            "line_speed_m_s": LogColumn("speed_m_min", "m/min", 2),
            "conductor_mm": LogColumn("conductor_dia_mm", "mm", 3),
            "hot_diameter_mm": LogColumn("hot_dia_mm", "mm", 3),
            "diameter_x_mm": LogColumn("cold_dia_a_mm", "mm", 3),
            "diameter_y_mm": LogColumn("cold_dia_b_mm", "mm", 3),
            "screw_speed_rpm": LogColumn("screw_rpm", "rpm", 2),
            "covering_screw_speed_rpm": LogColumn("covering_screw_rpm", "rpm", 2),
            "melt_temperature_c": LogColumn("melt_degC", "degC", 1),
            "melt_pressure_bar": LogColumn("melt_bar", "bar", 1),
            "spark_kv": LogColumn("hv_kV", "kV", 2),
            "spark_counts": LogColumn("hv_count", "", 0),
        },
        wall=LogColumn("wall_{}_mm", "mm", 3),
        flaw_size=LogColumn("size_mm", "mm", 2),
        flaw_class="class",
        flaws_with_length=True,
    ),
}


def column_of(channel: str, scenario: RunScenario) -> LogColumn:
    """The plant's column of our `channel`, in the unit in which the figures really are."""
    logger = LOGGERS[scenario.style]
    if not channel.startswith("wall_"):
        return logger.columns[channel]
    name = logger.wall.name.format(channel.split("_")[1])
    for trouble in scenario.troubles:
        if isinstance(trouble, WrongUnit):
            return LogColumn(name, trouble.written_in, 4)
    return LogColumn(name, logger.wall.unit, logger.wall.decimals)


def _figures(channel: str, values: NDArray[np.float64], column: LogColumn) -> pl.Series:
    """Store-unit `values` as the figures of `column`; NaN becomes no value."""
    factor, offset = scale_and_offset(column.unit, CHANNEL_BY_NAME[channel].unit, column.name)
    figures = np.round((values - offset) / factor, column.decimals) + 0.0
    series = pl.Series(column.name, figures, nan_to_null=True)
    return series.cast(pl.Int64) if column.decimals == 0 else series


def _stamps(name: str, start: datetime, t_s: NDArray[np.float64], scenario: RunScenario) -> pl.Series:
    logger = LOGGERS[scenario.style]
    first_us = round(start.astimezone(UTC).timestamp() * 1e6)
    stamps = pl.Series(name, first_us + np.round(t_s * 1e6).astype(np.int64)).cast(pl.Datetime("us", "UTC"))
    if logger.local:
        stamps = stamps.dt.convert_time_zone(scenario.zone)
    return stamps.dt.strftime(logger.time_pattern)


def log_frame(
    readings: Mapping[str, NDArray[np.float64]], t_s: NDArray[np.float64], scenario: RunScenario
) -> pl.DataFrame:
    """Readings by channel, metric, as the table the plant's logger writes."""
    logger = LOGGERS[scenario.style]
    columns = [_stamps(logger.time_column, scenario.start, t_s, scenario)]
    ordered = [name for name in CHANNEL_BY_NAME if name in readings]
    columns += [_figures(name, readings[name], column_of(name, scenario)) for name in ordered]
    return pl.DataFrame(columns)


def spark_frame(events: list[Event], scenario: RunScenario) -> pl.DataFrame:
    """The spark tester's list of counts."""
    logger = LOGGERS[scenario.style]
    faults = [one for one in events if one.kind == "spark fault"]
    at_t_s = np.array([one.at_t_s for one in faults], dtype=np.float64)
    kv = np.array([one.spark_kv for one in faults], dtype=np.float64)
    return pl.DataFrame(
        [
            _stamps(logger.time_column, scenario.start, at_t_s, scenario),
            _figures("spark_kv", kv, logger.columns["spark_kv"]),
        ]
    )


def flaw_frame(events: list[Event], scenario: RunScenario) -> pl.DataFrame:
    """The vision system's list of surface flaws."""
    logger = LOGGERS[scenario.style]
    flaws = [one for one in events if one.kind == "surface flaw"]
    sizes = np.array([one.flaw_size_mm for one in flaws], dtype=np.float64)
    at_t_s = np.array([one.at_t_s for one in flaws], dtype=np.float64)
    places = [_stamps(logger.time_column, scenario.start, at_t_s, scenario)]
    if logger.flaws_with_length:
        at_m = np.array([one.counter_m for one in flaws], dtype=np.float64)
        places.append(_figures("counter_m", at_m, logger.columns["counter_m"]))
    classes = pl.Series(logger.flaw_class, [one.flaw_class for one in flaws], dtype=pl.String)
    return pl.DataFrame([*places, _figures("flaw_size_mm", sizes, logger.flaw_size), classes])


class LogWriter:
    """One gzip-compressed CSV file, written frame by frame; the same frames give the same bytes.

    Args:
        path: the file to write.
        delimiter: column separator.
        level: gzip level; less is faster and larger.
    """

    def __init__(self, path: Path, delimiter: str, level: int = 9) -> None:
        self._delimiter = delimiter
        self._raw = path.open("wb")
        # No file name and no time inside, so that the bytes depend on the content alone.
        self._zip = gzip.GzipFile(filename="", mode="wb", compresslevel=level, fileobj=self._raw, mtime=0)
        self.rows = 0
        self._headed = False

    def write(self, frame: pl.DataFrame) -> None:
        """Add the rows of `frame`, with the header before the first."""
        frame.write_csv(
            cast(IO[bytes], self._zip), separator=self._delimiter, include_header=not self._headed
        )
        self._headed = True
        self.rows += frame.height

    def close(self) -> None:
        """Finish the file."""
        self._zip.close()
        self._raw.close()

"""What a run's own readings say of its line: stations, hot to cold, splices and the loggers' clocks.

Findings about the line are told beside the run. Readings stay placed by the line sheet; nothing is corrected.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.contradictions import Unseen
from pipeline.errors import Complaint, LogError
from pipeline.flags import ALL
from pipeline.length.clock_skew import ClockSkew, clock_skew
from pipeline.length.clock_steps import spread_stamps
from pipeline.length.placement import Placement
from pipeline.length.splices import Splice, find_splices
from pipeline.length.station_offset import StationFinding, tolerance_m, unit_of_distances
from pipeline.length.steady_wire import steady_readings
from pipeline.messages import Measure, Message, message
from pipeline.results import Refused, Result
from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.run_sheet import RunSheet
from pipeline.steps.instrument_channels import CHANNELS
from pipeline.steps.measure import Measured
from pipeline.trust.stations import station_findings
from pipeline.wall.shrinkage import shrinkage_of_run
from pipeline.warned import Warned
from pipeline.why import Unplaced

Floats = NDArray[np.float64]

# Readings of a log with which its clock may be compared at all.
FEWEST_READINGS = 50
# Wire by which a gauge may be late and be found, as a share of what both read: it leaves so much less to compare (by
# trial on invented lines, whose longest run of readings was a thousand).
LATE_SHARE = 0.1
# Standard deviations of a difference that is no chance over some hundred lags, and nine times in ten found.
SHOWN_SD = 4.6
JUDGED_PAIR = ("the wall gauge", "the cold diameter gauge")
_HARD = [flag.code for flag in ALL if flag.masks_conformity]


@dataclass(frozen=True, slots=True)
class Clocks:
    """Two logs of a run whose clocks were compared."""

    first: str
    second: str
    answer: ClockSkew | Refused


@dataclass(frozen=True, slots=True)
class LineChecks:
    """What a run's own readings say of its line.

    Args:
        stations: how far apart gauges stand by their readings, pair by pair.
        unsure_m: how far the places told by an instrument may be off, by its id, where its pair disagrees with
            the line sheet [m].
        shrinkage: cold over hot area of the insulation; None where the line has no hot gauge to ask.
        family: whether that is what earlier runs lead one to expect.
        splices: lumps that two gauges saw on the same wire.
        clocks: logs with a line speed of their own, compared with the first.
        warnings: what a reader must see.
    """

    stations: tuple[StationFinding, ...] = ()
    unsure_m: Mapping[str, float] = field(default_factory=dict)
    shrinkage: Result | Refused | None = None
    splices: tuple[Splice, ...] = ()
    clocks: tuple[Clocks, ...] = ()
    warnings: tuple[Message, ...] = ()


def check_line(
    readings: pl.DataFrame,
    flagged: pl.DataFrame,
    placement: Placement,
    measured: Measured,
    run: RunSheet,
    line: LineSheet,
    conductor_mm: float,
) -> LineChecks:
    """Check a line by a run's readings.

    Args:
        readings: readings as logged (columns.LOGGED).
        flagged: reasons not to use readings (columns.FLAGGED).
        placement: the run on the wire.
        measured: the run measured.
        run: the run sheet.
        line: the line sheet.
        conductor_mm: nominal conductor diameter [mm].

    Raises:
        LogError: gauges see the same wire at the sheet's distances only in another unit of length.
    """
    stations = station_findings(readings, flagged, measured.frame, placement, line)
    factor = unit_of_distances(stations)
    if factor is not None:
        raise LogError(
            Complaint(
                "length counter and line speed",
                message(Unplaced.GAUGES_IN_UNIT, factor=factor),
                message(Unplaced.CORRECT_UNITS_OF_LENGTH),
            )
        )
    shrunk = None
    if line.instrument("hot diameter gauge") is not None:
        shrunk = shrinkage_of_run(readings, flagged, measured.frame, placement, line, conductor_mm)
    splices = find_splices(_lump_gauges(readings, flagged, measured, placement, line))
    clocks = _clocks(readings, run)
    unsure = _unsure(stations, line)
    return LineChecks(
        stations,
        unsure,
        shrunk,
        splices,
        clocks,
        (
            *_station_warnings(stations, line),
            *_lags_shown(stations, line),
            *(one.told for one in splices),
            *_clock_warnings(clocks),
        ),
    )


def error_m(found: StationFinding) -> float:
    """How far a place told by either gauge of a pair may be off, the ends of the interval included [m]."""
    return max(abs(found.low_m - found.sheet_m), abs(found.high_m - found.sheet_m))


def _pair(found: StationFinding, line: LineSheet) -> tuple[str, str]:
    ids = []
    for name in (found.first, found.second):
        gauge = line.instrument(name.removeprefix("the "))
        ids.append(gauge.id if gauge is not None else name)
    return ids[0], ids[1]


def _unsure(stations: tuple[StationFinding, ...], line: LineSheet) -> dict[str, float]:
    """Which of a pair is wrong cannot be told from the pair, so both are unsure."""
    unsure: dict[str, float] = {}
    for found in stations:
        if found.verdict == "disagrees":
            for name in _pair(found, line):
                unsure[name] = max(unsure.get(name, 0.0), error_m(found))
    return unsure


def _station_warnings(stations: tuple[StationFinding, ...], line: LineSheet) -> tuple[Message, ...]:
    told = []
    for found in stations:
        if found.verdict != "disagrees":
            if found.drifts:
                told.append(found.told)
            continue
        first, second = _pair(found, line)
        told.append(
            message(
                Warned.STATION_UNSURE,
                found=found.told,
                one=first,
                other=second,
                unsure=Measure(error_m(found), "m"),
            )
        )
    return tuple(told)


def _lags_shown(stations: tuple[StationFinding, ...], line: LineSheet) -> tuple[Message, ...]:
    """The smallest delay between wall and diameter that this run shows, or that it shows none."""
    told = []
    for found in stations:
        one, other = _pair(found, line)
        if (found.first, found.second) != JUDGED_PAIR or found.verdict == "disagrees":
            continue
        # Another lag must correlate better than the sheet's by so much.
        if found.verdict == "agrees" and found.correlation > SHOWN_SD * math.sqrt(2.0 / found.n):
            lag = tolerance_m(found) + found.high_m - found.low_m
            most = Measure(LATE_SHARE * found.n * found.step_m, "m")
            told.append(message(Unseen.LAG_LEAST, one=one, other=other, lag=Measure(lag, "m"), most=most))
        else:
            told.append(message(Unseen.LAG_NOT_SEEN, one=one, other=other))
    return tuple(told)


def _lump_gauges(
    readings: pl.DataFrame, flagged: pl.DataFrame, measured: Measured, placement: Placement, line: LineSheet
) -> dict[str, tuple[Floats, Floats, float]]:
    """Gauges in which a splice shows, with their places, readings and noise."""
    gauges: dict[str, tuple[Floats, Floats, float]] = {}
    row = readings["row"].to_numpy()
    for kind in ("conductor gauge", "hot diameter gauge"):
        gauge, channel = line.instrument(kind), CHANNELS[kind][0]
        if gauge is None or channel not in readings.columns:
            continue
        values = readings[channel].cast(pl.Float64).to_numpy().copy()
        # A lump may carry the flag of a spike; what is missing, stuck or out of range is no lump.
        hard = flagged.filter((pl.col("channel") == channel) & pl.col("flag").is_in(_HARD))
        values[np.searchsorted(row, hard["row"].unique().to_numpy())] = np.nan
        at_m = placement.at_m - gauge.station_m
        # At start-up and restart every diameter swings: lumps are looked for on steady wire.
        values[~steady_readings(placement, at_m, line)] = np.nan
        gauges[f"the {kind}"] = (at_m, values, gauge.uncertainty_mm)
    diameter = measured.diameter
    if diameter is not None:
        values = np.where(diameter.fit & diameter.steady, diameter.value, np.nan)
        gauges["the cold diameter gauge"] = (diameter.at_m, values, diameter.instrument.uncertainty_mm)
    return gauges


def _clocks(readings: pl.DataFrame, run: RunSheet) -> tuple[Clocks, ...]:
    """Logs that carry a line speed of their own, each compared with the first."""
    if "line_speed_m_s" not in readings.columns:
        return ()
    logs = []
    file_no = 0
    for log in run.logs:
        files = range(file_no, file_no + len(log.files))
        file_no += len(log.files)
        if log.kind != "readings" or "line_speed_m_s" not in log.channels:
            continue
        own = readings.filter(
            pl.col("file_no").is_in(list(files)) & pl.col("line_speed_m_s").is_not_null()
        ).select(
            (pl.col("time_utc").dt.epoch("us") / 1e6).alias("at_s"),
            pl.col("line_speed_m_s").cast(pl.Float64),
        )
        if own.height >= FEWEST_READINGS:
            at_s = spread_stamps(own["at_s"].to_numpy())
            logs.append((log.files[0], at_s, own["line_speed_m_s"].to_numpy()))
    if len(logs) < 2:
        return ()
    name, at_s, speed = logs[0]
    start = float(at_s[0])
    return tuple(
        Clocks(name, other, clock_skew(at_s - start, speed, other_s - start, other_speed))
        for other, other_s, other_speed in logs[1:]
    )


def skews(found: ClockSkew) -> bool:
    """Whether two clocks differ by more than chance and a twentieth of a second."""
    return abs(found.seconds) > 2.0 * found.sd_s + 0.05


def _clock_warnings(clocks: tuple[Clocks, ...]) -> tuple[Message, ...]:
    return tuple(
        message(Warned.CLOCKS_OF_LOGS, first=one.first, second=one.second, found=one.answer.told)
        for one in clocks
        if isinstance(one.answer, ClockSkew) and skews(one.answer)
    )

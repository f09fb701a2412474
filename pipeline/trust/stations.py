"""Do a run's own readings agree with where its line sheet puts the gauges?

Pairs that share a cause are laid over each other: the wall and the diameter over it, hot and cold diameter, the
conductor and the diameter over it.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.length.placement import Placement
from pipeline.length.station_offset import StationFinding, check_distance
from pipeline.length.steady_state import STEADY
from pipeline.sheets.line_sheet import LineSheet

Floats = NDArray[np.float64]

PAIRS: tuple[tuple[str, str], ...] = (
    ("wall gauge", "cold diameter gauge"),
    ("hot diameter gauge", "cold diameter gauge"),
    ("conductor gauge", "cold diameter gauge"),
    ("conductor gauge", "hot diameter gauge"),
)
_CHANNELS = {"hot diameter gauge": "hot_diameter_mm", "conductor gauge": "conductor_mm"}


def station_findings(
    readings: pl.DataFrame,
    flagged: pl.DataFrame,
    measured: pl.DataFrame,
    placement: Placement,
    line: LineSheet,
) -> tuple[StationFinding, ...]:
    """How far apart a line's gauges stand by a run's readings, pair by pair.

    Args:
        readings: readings as logged (columns.LOGGED).
        flagged: reasons not to use readings (columns.FLAGGED); all of them are left out here.
        measured: the run measured (columns.MEASURED).
        placement: the run's placement.
        line: the line's sheet.

    Returns:
        One finding for each of `PAIRS` the line has. Only steady wire is used; nothing is moved by what is
        found.
    """
    series = {
        kind: (station, at_m, values)
        for kind in dict.fromkeys(one for pair in PAIRS for one in pair)
        if (found := _series(kind, readings, flagged, measured, placement, line)) is not None
        for station, at_m, values in (found,)
    }
    findings = []
    for first, second in PAIRS:
        if first in series and second in series:
            station_a, at_a, values_a = series[first]
            station_b, at_b, values_b = series[second]
            findings.append(
                check_distance(
                    f"the {first}", at_a, values_a, f"the {second}", at_b, values_b, station_b - station_a
                )
            )
    return tuple(findings)


def _series(
    kind: str,
    readings: pl.DataFrame,
    flagged: pl.DataFrame,
    measured: pl.DataFrame,
    placement: Placement,
    line: LineSheet,
) -> tuple[float, Floats, Floats] | None:
    """Station, places and steady readings of the line's gauge of that kind; None where it has none."""
    gauge = line.instrument(kind)
    if gauge is None:
        return None
    if kind == "wall gauge":
        frame, column, channels = measured, "mean_wall_mm", [f"wall_{n}_mm" for n in range(1, 17)]
    elif kind == "cold diameter gauge":
        frame, column, channels = measured, "diameter_mm", ["diameter_x_mm", "diameter_y_mm"]
    else:
        frame, column, channels = readings, _CHANNELS[kind], [_CHANNELS[kind]]
    if column not in frame.columns or frame[column].null_count() == frame.height:
        return None
    at_m = placement.at_m - gauge.station_m
    values = frame[column].cast(pl.Float64).to_numpy().copy()
    bad = flagged.filter(pl.col("channel").is_in(channels))["row"].unique().to_numpy()
    values[np.searchsorted(readings["row"].to_numpy(), bad)] = np.nan
    # A gauge before the die sees wire whose phase is still to come.
    values[placement.phase_on_wire(at_m) != STEADY] = np.nan
    return gauge.station_m, at_m, values

"""Which metre of wire was where when this row was logged? Time and counter turned into length on the wire.

The wire coordinate s [m] is the metre of wire that was at the die when the repaired counter stood at s. An
instrument at station d sees s = counter - d, at any speed: lags in time change with speed, lags in length do
not (derived).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline import flags
from pipeline.errors import Complaint, LogError
from pipeline.length.clock_steps import ClockSteps, clock_steps, spread_stamps
from pipeline.length.counter import CounterEvent, RepairedCounter
from pipeline.length.line_length import lengths_of_rows, speed_from_length, whole_speed
from pipeline.length.steady_state import (
    DEFAULT_RULE,
    PHASE_NAMES,
    STEADY,
    STOP,
    SteadyRule,
    phases_at_die,
)
from pipeline.messages import Measure, Message, message, said_json
from pipeline.sheets.line_sheet import LineSheet
from pipeline.warned import Counted
from pipeline.why import Unplaced

Floats = NDArray[np.float64]

# A gap in the log longer than this [s] is told: nothing was read on that wire.
TOLD_GAP_S = 2.0
_UNFIT = [flags.MISSING.code, flags.OUT_OF_RANGE.code, flags.DUPLICATE.code]


@dataclass(frozen=True)
class Placement:
    """Where every row of a run stands on the wire.

    Args:
        readings: one row a reading (columns.PLACED).
        counter_events: what happened to the counter: row, to_row, kind, at_m, size_m, unsure_m, said (JSON message).
        phases: phases at the die along the wire: from_m, to_m, phase, seconds; a stop has no length.
        at_m: repaired counter at each row [m]; unlike front_m it goes back where wire was pulled back.
        seconds: time of each row since the first [s].
        start_m: repaired counter at the first row [m].
        made_m: repaired counter's greatest value [m]; the wire of the run lies between the two.
        resolution_m: smallest step of the counter [m].
        warnings: what a reader must see.
        added_m: what was added to the counter as logged at each row [m].
        clock: steps of the logger's clock; `seconds` goes on over them by the time that passed.
    """

    readings: pl.DataFrame
    counter_events: pl.DataFrame
    phases: pl.DataFrame
    at_m: Floats
    seconds: Floats
    start_m: float
    made_m: float
    resolution_m: float
    warnings: tuple[Message, ...] = ()
    added_m: Floats = field(default_factory=lambda: np.zeros(0))
    clock: ClockSteps | None = None

    @cached_property
    def steady_m(self) -> Floats:
        """Stretches of steady wire in the order of the wire [m], a row each."""
        steady = self.phases.filter(
            (pl.col("phase") == PHASE_NAMES[STEADY]) & (pl.col("to_m") > pl.col("from_m"))
        )
        return steady.select("from_m", "to_m").to_numpy().astype(np.float64).reshape(-1, 2)

    @cached_property
    def _tiles(self) -> tuple[Floats, NDArray[np.uint8]]:
        """Edges and codes of the phases that have length, in the order of the wire."""
        codes = {name: code for code, name in PHASE_NAMES.items()}
        long = self.phases.filter(pl.col("to_m") > pl.col("from_m"))
        edges = np.append(long["from_m"].to_numpy(), self.made_m).astype(np.float64)
        return edges, np.array([codes[name] for name in long["phase"].to_list()], dtype=np.uint8)

    def phase_on_wire(self, wire_m: Floats, hot_zone_m: float = 0.0) -> NDArray[np.uint8]:
        """Code of the phase in which the wire at `wire_m` was at the die.

        Args:
            wire_m: positions on the wire [m].
            hot_zone_m: length of wire between die and trough that is spoilt when the line stops [m]; wire
                that stood there is given STOP.

        Returns:
            Codes of `PHASE_NAMES`; 0 for wire that was not made in this run, and where `wire_m` is NaN.
        """
        edges, codes = self._tiles
        inside = (wire_m >= self.start_m) & (wire_m <= self.made_m)
        found = np.zeros(wire_m.shape, dtype=np.uint8)
        if codes.size:
            tile = np.clip(np.searchsorted(edges, wire_m, side="right") - 1, 0, codes.size - 1)
            found = np.where(inside, codes[tile], 0).astype(np.uint8)
        if hot_zone_m > 0:
            for stood in self.phases.filter(pl.col("phase") == PHASE_NAMES[STOP])["from_m"].to_list():
                found[inside & (wire_m >= stood - hot_zone_m) & (wire_m <= stood)] = STOP
        return found


def place_readings(
    loaded_readings: pl.DataFrame, flagged: pl.DataFrame, line: LineSheet, rule: SteadyRule = DEFAULT_RULE
) -> Placement:
    """Every row of a run on the wire: the repaired counter, the speed used, and the phase at the die.

    Args:
        loaded_readings: readings of a run in the order of time (columns.LOGGED).
        flagged: reasons not to use readings (columns.FLAGGED).
        line: the line's sheet.
        rule: when wire counts as steady.

    Returns:
        The placement. Without a counter the length is the integral of speed over time (trapezoid): a scale
        error b then puts b x on every position x (0.1 % at 3 km is 3 m), so the warning says so.

    Raises:
        LogError: the run has neither a counter nor a speed, or no rows at all.
    """
    count = loaded_readings.height
    if count == 0:
        raise LogError(
            Complaint(
                "readings",
                message(Unplaced.NO_READING),
                message(Unplaced.SEE_SET_ASIDE),
            )
        )
    counter = _channel(loaded_readings, flagged, "counter_m")
    speed = _channel(loaded_readings, flagged, "line_speed_m_s")
    clock = clock_steps(clock_seconds(loaded_readings), counter, speed)
    seconds = clock.passed_s
    warnings: list[Message] = []
    if counter is None and speed is None:
        raise LogError(
            Complaint(
                f"line {line.id}",
                message(Unplaced.NO_LENGTH),
                message(Unplaced.MAP_LENGTH),
            )
        )
    speed = whole_speed(speed, seconds, warnings)
    files = loaded_readings["file_no"].to_numpy() if "file_no" in loaded_readings.columns else None
    repaired = lengths_of_rows(counter, speed, seconds, files, warnings)
    if speed is None:
        speed = speed_from_length(repaired.at_m, seconds)
    phase = phases_at_die(seconds, speed, rule)
    events = [*repaired.events, *_gaps(seconds, repaired)]
    rows = loaded_readings["row"]
    readings = pl.DataFrame(
        {"row": rows, "front_m": repaired.front_m, "speed_m_s": speed, "phase": phase},
        schema_overrides={"phase": pl.UInt8},
    )
    return Placement(
        readings=readings,
        counter_events=_events_frame(sorted(events, key=lambda one: one.from_row), rows.to_numpy()),
        phases=_phase_frame(phase, repaired.front_m, seconds),
        at_m=repaired.at_m,
        seconds=seconds,
        start_m=float(repaired.front_m[0]),
        made_m=float(repaired.front_m[-1]),
        resolution_m=repaired.resolution_m,
        warnings=tuple(warnings),
        added_m=repaired.added_m,
        clock=clock,
    )


def clock_seconds(readings: pl.DataFrame) -> Floats:
    """What the logger's clock showed at each row, from the first stamp [s]; it falls where the clock was set back.

    Rows that share a stamp coarser than the log lie evenly within it.
    """
    micro = readings["time_utc"].dt.epoch("us").to_numpy()
    return spread_stamps((micro - micro[0]) / 1e6)


def _channel(readings: pl.DataFrame, flagged: pl.DataFrame, name: str) -> Floats | None:
    """A channel as numbers, NaN where there is none or it may not be used; None if there is none at all."""
    if name not in readings.columns:
        return None
    values = readings[name].cast(pl.Float64).to_numpy()
    bad = flagged.filter((pl.col("channel") == name) & pl.col("flag").is_in(_UNFIT))["row"]
    if bad.len():
        values = values.copy()
        values[np.searchsorted(readings["row"].to_numpy(), bad.to_numpy())] = np.nan
    return None if bool(np.isnan(values).all()) else values


def _gaps(seconds: Floats, repaired: RepairedCounter) -> list[CounterEvent]:
    """Wire that ran while nothing was logged."""
    events = []
    for row in np.flatnonzero(np.diff(seconds) > TOLD_GAP_S).tolist():
        passed = float(repaired.at_m[row + 1] - repaired.at_m[row])
        if passed > 0.0:
            lasted = float(seconds[row + 1] - seconds[row])
            events.append(
                CounterEvent(
                    "gap",
                    row,
                    row + 1,
                    float(repaired.at_m[row]),
                    passed,
                    0.0,
                    message(Counted.GAP, seconds=lasted, length=Measure(passed, "m")),
                )
            )
    return events


def _events_frame(events: list[CounterEvent], rows: NDArray[np.generic]) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "row": [int(rows[one.from_row]) for one in events],
            "to_row": [int(rows[one.to_row]) for one in events],
            "kind": [one.kind for one in events],
            "at_m": [one.at_m for one in events],
            "size_m": [one.size_m for one in events],
            "unsure_m": [one.unsure_m for one in events],
            "said": [said_json(one.told) for one in events],
        },
        schema={
            "row": pl.UInt32,
            "to_row": pl.UInt32,
            "kind": pl.String,
            "at_m": pl.Float64,
            "size_m": pl.Float64,
            "unsure_m": pl.Float64,
            "said": pl.String,
        },
    )


def _phase_frame(phase: NDArray[np.uint8], front_m: Floats, seconds: Floats) -> pl.DataFrame:
    """Runs of one phase as stretches of wire."""
    first = np.flatnonzero(np.diff(phase, prepend=0))
    after = np.minimum(np.append(first[1:], phase.size - 1), phase.size - 1)
    return pl.DataFrame(
        {
            "from_m": front_m[first],
            "to_m": front_m[after],
            "phase": [PHASE_NAMES[int(code)] for code in phase[first]],
            "seconds": seconds[after] - seconds[first],
        },
        schema={"from_m": pl.Float64, "to_m": pl.Float64, "phase": pl.String, "seconds": pl.Float64},
    )

"""What tuning takes of a measured run: wall, offset, diameter and machine, row by row, and where the reels lie.

Only wire made at steady speed and read without a flag counts for what the line can do; ramps and starts have
their own question (`start_up`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.columns import WALL_CHANNELS
from pipeline.flags import ALL
from pipeline.length import intervals
from pipeline.length.placement import Placement
from pipeline.length.reels import PlacedReel
from pipeline.length.steady_state import DEFAULT_RULE
from pipeline.length.steady_wire import counted_readings, read_first
from pipeline.sheets.line_sheet import LineSheet

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

MACHINE = (
    "line_speed_m_s",
    "screw_speed_rpm",
    "covering_screw_speed_rpm",
    "melt_temperature_c",
    "melt_pressure_bar",
)
_JUDGING = [flag.code for flag in ALL if flag.masks_conformity]


@dataclass(frozen=True, slots=True)
class LineRun:
    """One run of one product, row by row in the order of the log; NaN where there is no value.

    Args:
        run_id: the run.
        started: instant of the first row.
        product: the product's name.
        conductor_mm: nominal conductor diameter [mm].
        seconds: time of each row since the first [s].
        die_m: repaired counter at each row: the metre of wire at the die [m].
        speed_m_s: line speed [m/s].
        phase: phase of the line at the die (pipeline.length.steady_state).
        machine: channels of `MACHINE` that the log carries; NaN where a reading is flagged too.
        wall_at_m: place on the wire of the spot the wall gauge saw [m].
        mean_mm: mean wall [mm].
        cos_mm: first harmonic of the wall, cosine part [mm].
        sin_mm: first harmonic of the wall, sine part [mm].
        thinnest_mm: thinnest wall around the section [mm].
        wall_counts: True where the wall counts in statistics (`pipeline.length.steady_wire`).
        diameter_at_m: place on the wire of the spot the cold diameter gauge saw [m].
        diameter_mm: overall diameter [mm].
        diameter_counts: True where the diameter counts in statistics.
        steady_m: stretches of steady wire in the order of the wire [m], a row each (`Placement.steady_m`).
        reels: the reels on the wire.
        reading_s: time between two readings of the wall gauge [s].
        left_out_m: stretches of wire left out because their cause is known and will not recur [m], a row each.
    """

    run_id: str
    started: datetime
    product: str
    conductor_mm: float
    seconds: Floats
    die_m: Floats
    speed_m_s: Floats
    phase: NDArray[np.uint8]
    machine: Mapping[str, Floats]
    wall_at_m: Floats
    mean_mm: Floats
    cos_mm: Floats
    sin_mm: Floats
    thinnest_mm: Floats
    wall_counts: Mask
    diameter_at_m: Floats
    diameter_mm: Floats
    diameter_counts: Mask
    steady_m: Floats
    reels: tuple[PlacedReel, ...]
    reading_s: float
    left_out_m: Floats

    @property
    def step_m(self) -> float:
        """Wire between two readings at the usual speed [m]."""
        counted = self.speed_m_s[self.wall_counts]
        running = counted if counted.size else self.speed_m_s[self.speed_m_s > DEFAULT_RULE.stop_m_s]
        return float(np.median(running)) * self.reading_s if running.size else float("nan")

    def mean_wall_mm(self) -> float:
        """Mean wall of the wire that counts, a meter of fast wire weighing as one of slow [mm]; NaN for none."""
        fit = self.wall_counts & np.isfinite(self.mean_mm) & (self.speed_m_s > 0.0)
        return (
            float(np.average(self.mean_mm[fit], weights=self.speed_m_s[fit])) if fit.any() else float("nan")
        )

    def level(self, channel: str) -> float | None:
        """Median of a channel of `machine` where the wall counts; None where no reading of it may be used there."""
        here = self.machine[channel][self.wall_counts] if channel in self.machine else np.zeros(0)
        known = here[np.isfinite(here)]
        return float(np.median(known)) if known.size else None

    @property
    def has_offset(self) -> bool:
        """Whether the line sees where the conductor lies in the insulation."""
        return bool(np.isfinite(self.cos_mm).any())


def line_run(
    run_id: str,
    started: datetime,
    product: str,
    conductor_mm: float,
    readings: pl.DataFrame,
    measured: pl.DataFrame,
    flagged: pl.DataFrame,
    placement: Placement,
    line: LineSheet,
    reels: tuple[PlacedReel, ...],
    left_out_m: Floats | None = None,
) -> LineRun:
    """A measured run as tuning takes it.

    Args:
        run_id: the run.
        started: instant of the first row.
        product: the product's name.
        conductor_mm: nominal conductor diameter [mm].
        readings: readings as logged (columns.LOGGED).
        measured: what they say of wall and diameter (columns.MEASURED).
        flagged: reasons not to use readings (columns.FLAGGED).
        placement: the run on the wire.
        line: the line sheet.
        reels: the reels on the wire.
        left_out_m: stretches of wire [m], a row each, whose cause was found and removed (a splice, a stop mark); they
            say nothing of what the line does now. Default: none.
    """
    gauge = line.instrument("wall gauge")
    out = np.zeros((0, 2)) if left_out_m is None else np.asarray(left_out_m, dtype=np.float64).reshape(-1, 2)
    columns = {
        name: measured[name].cast(pl.Float64).fill_null(float("nan")).to_numpy() for name in measured.columns
    }
    speed = placement.readings["speed_m_s"].to_numpy()
    row = readings["row"].to_numpy()

    def counts(recorded: str, at_m: Floats, value: Floats, channels: tuple[str, ...]) -> Mask:
        if recorded in measured.columns:
            # As the judgement counted them: it saw more than readings and flags, such as what contradicts what.
            return measured[recorded].to_numpy() & ~intervals.inside(intervals.merged(out), at_m)
        fit = read_first(placement) & np.isfinite(value) & np.isfinite(at_m)
        if len(channels) <= 2:
            # Of a wall gauge's sensors the section is solved from those that remain.
            bad = flagged.filter(pl.col("channel").is_in(channels) & pl.col("flag").is_in(_JUDGING))
            fit[np.searchsorted(row, bad["row"].unique().to_numpy())] = False
        return counted_readings(placement, at_m, line, fit, intervals.merged(out))

    wall_channels = WALL_CHANNELS if gauge is not None else ("diameter_x_mm", "diameter_y_mm")
    return LineRun(
        run_id=run_id,
        started=started,
        product=product,
        conductor_mm=conductor_mm,
        seconds=placement.seconds,
        die_m=placement.at_m,
        speed_m_s=speed,
        phase=placement.readings["phase"].to_numpy(),
        machine={
            name: _unflagged(readings, flagged, name)
            for name in MACHINE
            if name in readings.columns and readings[name].null_count() < readings.height
        },
        wall_at_m=columns["wall_at_m"],
        mean_mm=columns["mean_wall_mm"],
        cos_mm=columns["ecc_cos_mm"],
        sin_mm=columns["ecc_sin_mm"],
        thinnest_mm=columns["thinnest_wall_mm"],
        wall_counts=counts("wall_counts", columns["wall_at_m"], columns["mean_wall_mm"], wall_channels),
        diameter_at_m=columns["diameter_at_m"],
        diameter_mm=columns["diameter_mm"],
        diameter_counts=counts(
            "diameter_counts",
            columns["diameter_at_m"],
            columns["diameter_mm"],
            ("diameter_x_mm", "diameter_y_mm"),
        ),
        steady_m=placement.steady_m,
        reels=reels,
        reading_s=gauge.interval_s if gauge is not None else float(np.median(np.diff(placement.seconds))),
        left_out_m=out,
    )


def _unflagged(readings: pl.DataFrame, flagged: pl.DataFrame, channel: str) -> Floats:
    bad = flagged.filter(pl.col("channel") == channel)["row"].unique()
    kept = pl.when(~pl.col("row").is_in(bad.implode())).then(pl.col(channel).cast(pl.Float64))
    return readings.select(kept.fill_null(float("nan")).alias(channel))[channel].to_numpy()

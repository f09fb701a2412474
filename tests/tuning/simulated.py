"""Simulated runs as tuning takes them, placed and measured as the program does, with their truth."""

import math
import os
from collections.abc import Iterator
from functools import lru_cache

import polars as pl

from pipeline.length.placement import place_readings
from pipeline.length.reels import place_reels
from pipeline.length.settling import SettlingTrace
from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.run_sheet import Covering, Reel
from pipeline.simulator.scenario import PlannedReel, RunScenario
from pipeline.steps.sight import settled_placement
from pipeline.tuning.line_run import LineRun, line_run
from pipeline.wall.sections import measure_walls
from tests.simulator.in_memory import SimulatedRun, short_scenario, simulate_in_memory

# Longer evidence than the suite takes: REELPROOF_SEEDS=20 makes every recovery run over at least twenty seeds.
SEEDS = int(os.environ.get("REELPROOF_SEEDS", "0"))


def seeds(few: int) -> range:
    """As many seeds as the suite takes, or as the environment asks for."""
    return range(max(few, SEEDS))


def enough(looked_at: int) -> int:
    """Fewest of the intervals that must hold the truth: 95 % of them less two standard deviations."""
    return math.ceil(0.95 * looked_at - 2.0 * math.sqrt(0.95 * 0.05 * looked_at))


NO_FLAGS = pl.DataFrame(schema={"row": pl.UInt32, "channel": pl.String, "flag": pl.UInt8})


def reels_of(first_m: float, length_m: float, count: int, name: str) -> tuple[PlannedReel, ...]:
    return tuple(
        PlannedReel(f"{name}-{n + 1}", first_m + n * length_m, first_m + (n + 1) * length_m)
        for n in range(count)
    )


def tuning_run(simulated: SimulatedRun, line: LineSheet | None = None, by_wire: bool = False) -> LineRun:
    """A simulated run taken the way the program takes a real one; steady by the speed alone, or by the wire."""
    scenario: RunScenario = simulated.scenario
    sheet = line or scenario.line
    wire = scenario.wire
    covering = wire.covering and Covering(
        mean_mm=wire.covering.mean_mm,
        uncertainty_mm=wire.covering.stated_uncertainty_mm,
        offset_mm=wire.covering.stated_offset_mm,
        basis="invented cut samples",
    )
    readings = simulated.readings
    assert readings is not None
    placement = place_readings(readings, NO_FLAGS, sheet)
    measured = measure_walls(readings, NO_FLAGS, placement, sheet, covering, wire.conductor_mm)
    reels = place_reels(
        tuple(Reel(id=one.id, from_m=one.from_m, to_m=one.to_m) for one in scenario.reels),
        sheet,
        placement.made_m,
        placement.start_m,
    )
    return line_run(
        scenario.run_id,
        scenario.start,
        wire.name,
        wire.conductor_mm,
        readings,
        measured,
        NO_FLAGS,
        settled_placement(placement, list(_traces(measured)))[0] if by_wire else placement,
        sheet,
        reels,
    )


def _traces(measured: pl.DataFrame) -> Iterator[SettlingTrace]:
    """What shows when the wire had settled."""
    for name, at in (
        ("mean_wall_mm", "wall_at_m"),
        ("ecc_cos_mm", "wall_at_m"),
        ("ecc_sin_mm", "wall_at_m"),
        ("diameter_mm", "diameter_at_m"),
    ):
        values = measured[name].cast(pl.Float64).fill_null(float("nan")).to_numpy()
        yield SettlingTrace(measured[at].cast(pl.Float64).to_numpy(), values, name.startswith("ecc"))


@lru_cache(maxsize=40)
def l2_run(seed: int, reels: int = 6, run_id: str = "R-L2") -> tuple[LineRun, SimulatedRun]:
    """A run of XHHW-2 1/0 AWG on the invented line L2: one layer, reels of 304.8 m."""
    plans = reels_of(200.0, 304.8, reels, run_id)
    made = simulate_in_memory(
        short_scenario("1/0 AWG", plans[-1].to_m + 60.0, reels=plans, run_id=run_id), seed
    )
    return tuning_run(made), made


@lru_cache(maxsize=40)
def l1_run(seed: int, reels: int = 4, run_id: str = "R-L1") -> tuple[LineRun, SimulatedRun]:
    """A run of THHN/THWN-2 14 AWG on the invented line L1: two layers, reels of 2,286 m."""
    plans = reels_of(520.0, 2286.0, reels, run_id)
    made = simulate_in_memory(
        short_scenario("14 AWG", plans[-1].to_m + 300.0, reels=plans, run_id=run_id), seed
    )
    return tuning_run(made), made

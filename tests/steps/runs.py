"""Simulated runs put through every step, with changes to the line, the sheet or the readings on the way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from pathlib import Path

import polars as pl

from pipeline.products.product import find_product
from pipeline.sheets.line_sheet import Instrument, LineSheet
from pipeline.sheets.plant_sheet import PlantSheet, read_plant_sheet
from pipeline.sheets.run_sheet import RunSheet
from pipeline.simulator.lines import line_l1, line_l2
from pipeline.simulator.scenario import PlannedReel
from pipeline.simulator.troubles import Trouble
from pipeline.steps.answer_row import AnswerRow
from pipeline.steps.answers import answers_of
from pipeline.steps.bench import Bench, bench_of
from pipeline.steps.judge import Judged, judge_run
from pipeline.steps.line_checks import check_line
from pipeline.steps.measure import measure_run
from pipeline.steps.place import place_run
from pipeline.wording.say import plain
from tests.said import said
from tests.simulator.in_memory import SimulatedRun, short_scenario, simulate_in_memory

PLANT = Path(__file__).parents[2] / "sample_runs" / "plant.toml"
NO_FLAGS = pl.DataFrame(schema={"row": pl.UInt32, "channel": pl.String, "flag": pl.UInt8})
ON = date(2026, 3, 3)
# The smallest line of the demo plant: 1/0 AWG XHHW-2 at 83 m/min, one layer, take-up 124 m from the die.
REELS = (PlannedReel("A", 200.0, 500.0), PlannedReel("B", 500.0, 700.0))


def frame_of(simulated: SimulatedRun) -> pl.DataFrame:
    assert simulated.readings is not None
    return simulated.readings


def with_instrument(line: LineSheet, kind: str, **changes: object) -> LineSheet:
    """The line with one instrument changed."""
    instruments = tuple(
        Instrument.model_validate({**one.model_dump(), **changes}) if one.kind == kind else one
        for one in line.instruments
    )
    return line.model_copy(update={"instruments": instruments})


def without_instrument(line: LineSheet, kind: str) -> LineSheet:
    """The line without its instruments of that kind."""
    return line.model_copy(update={"instruments": tuple(x for x in line.instruments if x.kind != kind)})


@lru_cache(maxsize=16)
def made(
    product: str = "1/0 AWG",
    seed: int = 3,
    length_m: float = 760.0,
    reels: tuple[PlannedReel, ...] = REELS,
    troubles: tuple[Trouble, ...] = (),
    stations_m: tuple[tuple[str, float], ...] = (),
    stops: tuple[tuple[float, float], ...] = (),
) -> SimulatedRun:
    """A simulated run in memory."""
    scenario = short_scenario(
        product, length_m, reels=reels, troubles=troubles, stations_m=dict(stations_m), run_id="R-steps"
    )
    if stops:
        from pipeline.simulator.speed import plain_plan

        plan = plain_plan(scenario.wire.speed_m_s, length_m, scenario.wire.ramp_s, stops=stops)
        scenario = replace(scenario, speed=plan)
    return simulate_in_memory(scenario, seed)


def run_sheet(simulated: SimulatedRun, **changes: object) -> RunSheet:
    """The run sheet of a simulated run, with changes."""
    wire, scenario = simulated.scenario.wire, simulated.scenario
    covering = None
    if wire.covering is not None:
        covering = {
            "mean_mm": wire.covering.mean_mm,
            "uncertainty_mm": wire.covering.stated_uncertainty_mm,
            "offset_mm": wire.covering.stated_offset_mm,
            "basis": "invented cut samples",
        }
    whole = {
        "id": scenario.run_id,
        "plant": "Demo plant",
        "plant_sheet": "plant.toml",
        "line": scenario.line.id,
        "line_sheet": "line.toml",
        "shift": scenario.shift,
        "operator_role": "line operator",
        "product": {"construction": wire.construction, "size": wire.size, "conductor": wire.conductor},
        "covering": covering,
        "reels": [{"id": one.id, "from_m": one.from_m, "to_m": one.to_m} for one in scenario.reels],
        "logs": [log_sheet("log.csv")],
    }
    return RunSheet.model_validate({**whole, **changes})


def log_sheet(name: str) -> dict[str, object]:
    return {
        "kind": "readings",
        "files": [name],
        "time": {"column": "t"},
        "channels": {"line_speed_m_s": {"column": "v", "unit": "m/s"}},
    }


@dataclass(frozen=True)
class Done:
    """A run put through every step."""

    bench: Bench
    judged: Judged
    answers: tuple[AnswerRow, ...]

    def verdict(self, requirement: str, reel: str = "A") -> tuple[str, str]:
        row = next(
            one
            for one in self.judged.requirements
            if one.reel_id == reel and one.requirement == requirement and one.limit_id
        )
        return said(row.verdict), plain(row.told)

    def topic(self, name: str, subject: str = "R-steps") -> list[AnswerRow]:
        return [one for one in self.answers if one.topic == name and one.subject == subject]


def done(
    simulated: SimulatedRun,
    line: LineSheet | None = None,
    spoil: Callable[[pl.DataFrame], pl.DataFrame] | None = None,
    plant: PlantSheet | None = None,
    **sheet: object,
) -> Done:
    """A simulated run judged, as the program does it."""
    line = line or {"L1": line_l1, "L2": line_l2}[simulated.scenario.line.id]()
    readings = frame_of(simulated)
    if spoil is not None:
        readings = spoil(readings)
    run = run_sheet(simulated, **sheet)
    assert simulated.events is not None
    named = run.product
    product = find_product(named.construction, named.size, named.conductor, named.metal)
    plant = plant or read_plant_sheet(PLANT)
    placed = place_run(readings, simulated.events, NO_FLAGS, run, line)
    measured = measure_run(
        readings,
        NO_FLAGS,
        placed,
        line,
        run.covering,
        product.conductor_mm,
        product.covering is not None,
        line.mass_balance(named.construction, named.size),
        plant.spark_test,
    )
    checks = check_line(
        readings,
        NO_FLAGS,
        placed.placement,
        measured,
        run,
        line,
        product.conductor_mm,
    )
    bench = bench_of(run, line, plant, product, ON, placed, measured, checks)
    judged = judge_run(bench)
    return Done(bench, judged, answers_of(bench, judged))


def over_wire(
    readings: pl.DataFrame, channel: str, station_m: float, from_m: float, to_m: float, add: float
) -> pl.DataFrame:
    """Readings of one channel raised while the wire from `from_m` to `to_m` passes its instrument."""
    at = pl.col("counter_m") - station_m
    inside = (at >= from_m) & (at < to_m)
    return readings.with_columns(
        pl.when(inside).then(pl.col(channel) + add).otherwise(pl.col(channel)).alias(channel)
    )

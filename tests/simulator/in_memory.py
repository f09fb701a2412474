"""A short run with chosen troubles, without files, for trying out a method against a known truth."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.simulator.demo_plant import MADE_ON, ZONE, shift_named
from pipeline.simulator.lines import LINES
from pipeline.simulator.logs_out import LOGGERS
from pipeline.simulator.products_made import PRODUCTS
from pipeline.simulator.scenario import PlannedReel, RunScenario
from pipeline.simulator.sensor_events import Event
from pipeline.simulator.simulate import ROWS_AT_ONCE, made_readings
from pipeline.simulator.speed import SpeedPlan, plain_plan
from pipeline.simulator.target_folder import check_seed
from pipeline.simulator.troubles import Trouble
from pipeline.simulator.true_wire import MadeWire
from pipeline.simulator.truth import Truth, TruthKeeper


@dataclass(frozen=True, slots=True)
class SimulatedRun:
    """A simulated run, all in store units, the true wire by node."""

    scenario: RunScenario
    truth: Truth
    readings: pl.DataFrame
    events: pl.DataFrame
    wire: pl.DataFrame
    true_x_m: NDArray[np.float64]


def short_scenario(
    product: str = "14 AWG",
    length_m: float = 3000.0,
    speed_m_min: float | None = None,
    troubles: tuple[Trouble, ...] = (),
    reels: tuple[PlannedReel, ...] = (),
    plan: SpeedPlan | None = None,
    stations_m: Mapping[str, float] | None = None,
    run_id: str = "R-short",
) -> RunScenario:
    """A run of one product on its line.

    Args:
        product: ``14 AWG``, ``12 AWG`` (line L1) or ``1/0 AWG`` (line L2).
        length_m: length to make [m], ramps included.
        speed_m_min: set speed [m/min]; the product's own where left out.
        troubles: what goes wrong.
        reels: take-up reels on the counter.
        plan: speed plan in place of a plain run of `length_m`.
        stations_m: true distance from the die [m] of instruments, by id, where the line sheet is wrong.
        run_id: id, which also picks the random streams.
    """
    wire = PRODUCTS[product]()
    if speed_m_min is not None:
        wire = replace(wire, speed_m_s=speed_m_min / 60.0)
    line = LINES[MADE_ON[product]]()
    start = datetime(2026, 3, 3, 6, 40, tzinfo=ZoneInfo(ZONE))
    return RunScenario(
        run_id=run_id,
        line=line,
        wire=wire,
        start=start,
        shift=shift_named(start),
        speed=plan or plain_plan(wire.speed_m_s, length_m, wire.ramp_s),
        reels=reels,
        troubles=troubles,
        style="us local" if line.id == "L1" else "metric utc",
        zone=ZONE,
        stations_m=stations_m or {},
    )


def simulate_in_memory(scenario: RunScenario, seed: int, rows_at_once: int = ROWS_AT_ONCE) -> SimulatedRun:
    """Simulate one run without files: its readings and events in store units, its true wire and its truth.

    Readings are as an exact reader would load the log, save for the last rounding of the log's own unit.

    Args:
        scenario: the run.
        seed: seed of the run.
        rows_at_once: readings made at once; changes nothing but memory.
    """
    check_seed(seed)
    keeper = TruthKeeper(scenario, seed)
    stops_m: list[float] = []
    pieces = list(made_readings(scenario, seed, keeper, stops_m, rows_at_once))
    t_s = np.concatenate([one.motion.t_s for one in pieces])
    first_us = round(scenario.start.astimezone(UTC).timestamp() * 1e6)
    row = np.arange(t_s.size)
    readings = pl.DataFrame(
        {
            "row": row.astype(np.uint32),
            "file_no": np.zeros(t_s.size, dtype=np.uint16),
            "line": (row + 2).astype(np.uint32),
            "time_utc": pl.Series(first_us + np.round(t_s * 1e6).astype(np.int64)).cast(
                pl.Datetime("us", "UTC")
            ),
            **{
                name: pl.Series(np.concatenate([one.readings[name] for one in pieces]), nan_to_null=True)
                for name in pieces[0].readings
            },
        }
    )
    made = {name: np.concatenate([getattr(one.made, name) for one in pieces]) for name in MadeWire.__slots__}
    events = [event for one in pieces for event in one.events]
    return SimulatedRun(
        scenario,
        keeper.truth(tuple(stops_m), {}),
        readings,
        _event_frame(events, scenario, first_us),
        pl.DataFrame(made),
        np.concatenate([one.motion.x_m for one in pieces]),
    )


def _event_frame(events: list[Event], scenario: RunScenario, first_us: int) -> pl.DataFrame:
    """The events as a run keeps them, with the length counter where that line's logger gives it."""
    with_length = LOGGERS[scenario.style].flaws_with_length
    numbers = range(len(events))
    content = {
        "event": pl.Series(numbers, dtype=pl.UInt32),
        "file_no": pl.Series([1 if one.kind == "spark fault" else 2 for one in events], dtype=pl.UInt16),
        "line": pl.Series([number + 2 for number in numbers], dtype=pl.UInt32),
        "kind": pl.Series([one.kind for one in events], dtype=pl.String),
        "time_utc": pl.Series([first_us + round(one.at_t_s * 1e6) for one in events], dtype=pl.Int64).cast(
            pl.Datetime("us", "UTC")
        ),
        "counter_m": pl.Series(
            [one.counter_m if with_length and one.kind == "surface flaw" else None for one in events],
            dtype=pl.Float64,
        ),
        "spark_kv": pl.Series([one.spark_kv for one in events], dtype=pl.Float64),
        "flaw_size_mm": pl.Series([one.flaw_size_mm for one in events], dtype=pl.Float64),
        "flaw_class": pl.Series([one.flaw_class for one in events], dtype=pl.String),
    }
    return pl.DataFrame(content)

"""One short run with chosen troubles, for trying out a method against a known truth."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

from pipeline.simulator.demo_plant import MADE_ON, ZONE, shift_named
from pipeline.simulator.lines import LINES
from pipeline.simulator.products_made import PRODUCTS
from pipeline.simulator.scenario import PlannedReel, RunScenario
from pipeline.simulator.speed import SpeedPlan, plain_plan
from pipeline.simulator.troubles import Trouble


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

    No page asks for it: methods are tried out on it.
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

"""The demo plant's day: eighteen runs on two lines and three shifts, each with what went wrong.

Everything is invented. Reels of line L1 are 2,286 m (7,500 ft), of L2 305 m (1,000 ft). A reel's wire is what
was at the die while the counter stood at its start and end less the length of the line.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from pipeline.sheets.run_sheet import Lot
from pipeline.simulator.demo_runs import PlannedRun, day_and_evening_l1, line_l2, night_l1
from pipeline.simulator.lines import LINES
from pipeline.simulator.products_made import PRODUCTS
from pipeline.simulator.scenario import PlannedReel, RunScenario
from pipeline.simulator.speed import plain_plan

ZONE = "America/Chicago"
SEED = 20260303
MADE_ON = {"14 AWG": "L1", "12 AWG": "L1", "1/0 AWG": "L2"}
_REEL_M = {"L1": 2286.0, "L2": 304.8}
_FIRST_M = {"L1": 520.0, "L2": 200.0}


def shift_named(start: datetime) -> str:
    """The shift that starts at 06:00 (day), 14:00 (evening) or 22:00 (night), by the date it began on."""
    hour = start.hour
    if 6 <= hour < 14:
        return f"{start:%Y-%m-%d} day"
    if 14 <= hour < 22:
        return f"{start:%Y-%m-%d} evening"
    began = start.date() if hour >= 22 else start.date().fromordinal(start.date().toordinal() - 1)
    return f"{began:%Y-%m-%d} night"


_LOTS: dict[str, tuple[Lot, ...]] = {
    "14 AWG": (
        Lot(material="conductor", lot="CU14-0226"),
        Lot(material="insulation compound", lot="PVC-7740"),
        Lot(material="covering compound", lot="PA-0318"),
        Lot(material="colour", lot="BK-112"),
    ),
    "12 AWG": (
        Lot(material="conductor", lot="CU12-0219"),
        Lot(material="insulation compound", lot="PVC-7740"),
        Lot(material="covering compound", lot="PA-0318"),
        Lot(material="colour", lot="RD-087"),
    ),
    "1/0 AWG": (
        Lot(material="conductor", lot="CU10-0131"),
        Lot(material="insulation compound", lot="XLPE-2255"),
        Lot(material="colour", lot="BK-112"),
    ),
}


def scenario_of(run: PlannedRun) -> RunScenario:
    """The run as the simulator takes it."""
    wire = PRODUCTS[run.size]()
    line = LINES[MADE_ON[run.size]]()
    first_m = run.first_m if run.first_m is not None else _FIRST_M[line.id]
    ends = [first_m + _REEL_M[line.id] * number for number in range(run.reels + 1)]
    reels = tuple(
        PlannedReel(
            f"{line.id}-{run.number}-{number + 1:02d}", round(ends[number], 1), round(ends[number + 1], 1)
        )
        for number in range(run.reels)
    )
    hour, minute = (int(part) for part in run.clock.split(":"))
    start = datetime(2026, 3, run.day, hour, minute, tzinfo=ZoneInfo(ZONE))
    # The line slows down only after the last take-up change, and its last reel has passed every instrument.
    length_m = reels[-1].to_m + 0.5 * wire.speed_m_s * wire.ramp_s + 2.0 * wire.speed_m_s
    return RunScenario(
        run_id=f"R-{run.number}",
        line=line,
        wire=wire,
        start=start,
        shift=shift_named(start),
        speed=plain_plan(wire.speed_m_s, length_m, wire.ramp_s, run.dips, run.stops),
        reels=reels,
        troubles=run.troubles,
        lots=run.lots or _LOTS[run.size],
        style="us local" if line.id == "L1" else "metric utc",
        zone=ZONE,
        log_parts=run.log_parts,
        trial=run.trial,
        interval_s=run.interval_s,
    )


def planned_runs() -> Sequence[PlannedRun]:
    """Every run of the demo plant, in the order of the run numbers."""
    return (*day_and_evening_l1(), *night_l1(), *line_l2())

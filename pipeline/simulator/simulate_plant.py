"""Make the sample runs, or runs of full size: the whole invented plant, or one line for hours."""

from __future__ import annotations

import math
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from pipeline.errors import Complaint, NotFoundError, ReelproofError
from pipeline.simulator.demo_plant import MADE_ON, SEED, ZONE, planned_runs, scenario_of, shift_named
from pipeline.simulator.expected import ExpectedRun, expected_run, expected_toml, readme_text
from pipeline.simulator.lines import LINES
from pipeline.simulator.products_made import PRODUCTS
from pipeline.simulator.scenario import PlannedReel, RunScenario
from pipeline.simulator.sheets_out import line_sheet_text, plant_sheet_text, write_text
from pipeline.simulator.simulate import PLANT_NAME, OnProgress, simulate_run
from pipeline.simulator.speed import Leg, SpeedPlan
from pipeline.simulator.target_folder import check_seed, refuse_foreign_plant, written_to
from pipeline.simulator.truth import Truth


def simulate_plant(
    folder: Path, seed: int = SEED, on_progress: OnProgress | None = None
) -> tuple[ExpectedRun, ...]:
    """Simulate every run of the invented plant into `folder`, with its sheets and correct judgements.

    A `plant.toml` that is already there stays as it is, for a plant enters its own limits.

    Args:
        folder: folder to fill: `plant.toml`, `lines/`, `runs/`, `expected.toml`, `README.md`.
        seed: seed; the same seed gives the same bytes.
        on_progress: called with a run's id and 1 when it is written.

    Returns:
        The correct judgement of each run.

    Raises:
        ReelproofError: the folder cannot be written, or holds what a simulation did not make.
    """
    check_seed(seed)
    refuse_foreign_plant(folder)
    with written_to(folder):
        return _simulate_plant(folder, seed, on_progress)


def _simulate_plant(folder: Path, seed: int, on_progress: OnProgress | None) -> tuple[ExpectedRun, ...]:
    plant = folder / "plant.toml"
    if not plant.exists():
        write_text(plant, plant_sheet_text(PLANT_NAME, ZONE, "imperial"))
    for name, line in LINES.items():
        write_text(folder / "lines" / f"{name}.toml", line_sheet_text(line()))
    expected = []
    for run in planned_runs():
        scenario = scenario_of(run)
        truth = simulate_run(scenario, folder / "runs" / scenario.run_id, seed, None, plant_folder=folder)
        expected.append(expected_run(run, scenario, truth))
        if on_progress:
            on_progress(scenario.run_id, 1)
    write_text(folder / "expected.toml", expected_toml(expected))
    write_text(folder / "README.md", readme_text(expected, seed))
    return tuple(expected)


def _size_asked(line: str, product: str, hours: float, hz: float) -> str:
    """The size of the product asked for; a line, product, time or rate that there is not is refused."""
    if line not in LINES:
        raise NotFoundError(
            Complaint("--line", f"there is no line '{line}' to simulate", f"It may be {', '.join(LINES)}")
        )
    names = {size: model().name for size, model in PRODUCTS.items()}
    size = next((one for one, name in names.items() if product.strip() in {one, name}), None)
    if size is None:
        raise NotFoundError(
            Complaint(
                "--product",
                f"there is no product '{product}' to simulate",
                f"It may be {', '.join(names.values())}",
            )
        )
    if MADE_ON[size] != line:
        made = ", ".join(names[one] for one, where in MADE_ON.items() if where == line)
        raise NotFoundError(
            Complaint("--product", f"line {line} does not make {names[size]}", f"It makes {made}")
        )
    for what, figure in (("hours", hours), ("hz", hz)):
        if not 0.0 < figure < math.inf:
            raise ReelproofError(Complaint(f"--{what}", f"found {figure:g}", "Give a number above 0"))
    return size


def full_size_scenario(line: str, product: str, hours: float, hz: float) -> RunScenario:
    """A clean run of `hours` [h] at `hz` readings a second, one reel after another.

    Args:
        line: ``L1`` or ``L2``.
        product: its size, or its whole name such as ``THHN/THWN-2 14 AWG solid copper``.
        hours: length of the log [h].
        hz: readings a second.

    Raises:
        NotFoundError: there is no such line or product, or the time is too short for one reel.
        ReelproofError: the time or the rate is not a number above 0.
    """
    wire = PRODUCTS[_size_asked(line, product, hours, hz)]()
    sheet = LINES[line]()
    seconds = hours * 3600.0 - 1.0 / hz
    steady_s = seconds - 2.0 * wire.ramp_s
    reel_m = 2286.0 if wire.speed_m_s > 5.0 else 304.8
    first_m = sheet.take_up_station_m + 60.0 + wire.speed_m_s * wire.ramp_s
    count = int((wire.speed_m_s * (steady_s - 5.0) - first_m) // reel_m)
    if count < 1:
        raise NotFoundError(
            Complaint(
                "--hours",
                f"{hours:g} h is too short for one reel of {reel_m:g} m at {wire.speed_m_s:.2f} m/s",
                f"Give at least {(first_m + reel_m) / wire.speed_m_s / 3600 + wire.ramp_s / 1800 + 0.02:.2f}",
            )
        )
    start = datetime(2026, 3, 5, 6, 0, tzinfo=ZoneInfo(ZONE))
    legs = (
        Leg("start-up", wire.ramp_s, wire.speed_m_s),
        Leg("steady", steady_s, wire.speed_m_s),
        Leg("slow-down", wire.ramp_s, 0.0),
    )
    reels = tuple(
        PlannedReel(
            f"{line}-F-{number + 1:04d}",
            round(first_m + number * reel_m, 1),
            round(first_m + (number + 1) * reel_m, 1),
        )
        for number in range(count)
    )
    return RunScenario(
        run_id=f"R-{line}-full",
        line=sheet,
        wire=wire,
        start=start,
        shift=shift_named(start),
        speed=SpeedPlan(legs),
        reels=reels,
        style="us local" if line == "L1" else "metric utc",
        zone=ZONE,
        interval_s=1.0 / hz,
    )


def full_size(
    line: str,
    product: str,
    hours: float,
    hz: float,
    seed: int,
    folder: Path,
    on_progress: OnProgress | None = None,
) -> Truth:
    """Simulate a run of full size into `folder`, in memory that does not grow with its length.

    Args:
        line: ``L1`` or ``L2``.
        product: its size, or its whole name such as ``THHN/THWN-2 14 AWG solid copper``.
        hours: length of the log [h].
        hz: readings a second.
        seed: seed.
        folder: folder of the run; its plant and line sheets are written beside the run sheet.
        on_progress: called with the run's id and how many more rows are written.
    """
    return simulate_run(full_size_scenario(line, product, hours, hz), folder, seed, on_progress, level=1)

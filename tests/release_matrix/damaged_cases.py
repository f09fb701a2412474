"""Cutting plans of reels with damage on them, and laboratory samples of runs on lines drawn at random.

No piece that a plan sells or keeps may touch wire that is bad, or that nobody read or tested, wherever the program
thinks that wire lies.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import ReelproofError
from pipeline.record.cutting_on_file import plan_for_reel
from pipeline.store.database import open_to_write
from tests.other_lines import edits
from tests.other_lines.drawn import drawn_line
from tests.other_lines.lines import OtherLine
from tests.other_lines.products import Made
from tests.other_lines.running import READINGS_SEEN, MadeRun, Plan, ReelMade, run_of
from tests.other_lines.wire import ANGLES, Defect, smoothed
from tests.other_lines.writing import reel_id
from tests.release_matrix.cases import Found, Label
from tests.release_matrix.persons import OnFile, Scenario, release, ship
from tests.release_matrix.plants import CONCENTRICITY, PlantText, plant_for, target_mm, thin_by
from tests.release_matrix.store_cases import (
    PER_REEL,
    acted,
    covering_below,
    covering_not_sampled,
    covering_shown,
    good_sample_then_released,
    put_on_file,
    released_then_sample_below,
    sample,
    sample_below_a_limit,
)
from tests.release_matrix.truths import BEYOND, uncertainties

Spans = list[tuple[float, float]]
CUTTING = "[cutting]\nminimum_remnant_m = 1.0\nlengths = [{ length_m = 20, value = 9 }, { length_m = 4, value = 1 }]\n"
# Of a good reel at least this share must be in pieces; ends that may be the next reel's and short rests go.
LEAST_KEPT = 0.6


def _line(seed: int, covered: bool) -> tuple[int, OtherLine, Made]:
    """The next line drawn at random that is quick to read and makes wire with a covering, or without."""
    while True:
        line, made = drawn_line(seed)
        if line.interval_s >= 0.03 and (made.covering_mil is not None) == covered:
            return seed, line, made
        seed += 1


def bad_places(run: MadeRun) -> NDArray[np.bool_]:
    """Places of the wire's grid that are bad by more than the gauges are unsure of."""
    line, made, wire = run.line, run.made, run.wire
    step = float(wire.at_m[1] - wire.at_m[0])
    places = max(1, round(READINGS_SEEN * line.speed_m_s * line.interval_s / step))
    walls = np.stack([smoothed(wire.insulation(angle), places) for angle in ANGLES])
    thin, u = walls.min(axis=0), uncertainties(line, made)
    bad = walls.mean(axis=0) < made.average_mm - BEYOND * u[0]
    bad |= thin < made.point_mm - BEYOND * u[1]
    bad |= 100.0 * thin / walls.max(axis=0) < CONCENTRICITY - BEYOND * 200.0 * u[1] / made.average_mm
    for hole in wire.pinholes_m:
        bad |= np.abs(wire.at_m - hole) <= step
    return np.asarray(bad)


def _damage(line: OtherLine, made: Made, length: float) -> tuple[tuple[int, Defect], ...]:
    """Reels 1 to 4 with thin, off-center and faulty wire and a row of faults; the others are sound when made."""
    u, at, long = uncertainties(line, made), 0.4 * length, max(6.0, 5.0 * line.speed_m_s * line.interval_s)
    off = target_mm(made) - made.point_mm + 6.0 * u[1]
    row = tuple((4, Defect("pinhole", 0.3 * length + 2.0 * line.ripple[1] * k)) for k in range(5))
    return (
        (1, thin_by(made, 6.0 * u[0], at, long)),
        (2, Defect("off centre", at, long, off, 1.0)),
        (3, Defect("pinhole", 0.7 * length)),
        *row,
    )


def cut(folder: Path, number: int) -> Iterator[Found]:
    """A run of seven reels: one good, four damaged, one that was not read and one that was not tested on a stretch."""
    seed, line, made = _line(1200 + 31 * number, covered=False)
    length = 150.0 if line.speed_m_s > 5 else 60.0
    plan = Plan(reels=7, reel_m=length, defects=_damage(line, made, length), seed=seed)
    run = run_of(line, made, plan)
    assert line.ring is not None
    lost, dark = ((reel.from_m + 0.35 * length, reel.from_m + 0.6 * length) for reel in run.reels[5:])
    edit = edits.after(edits.untested(*dark, 0.0), edits.rows_lost(*lost, line.ring.station_m))
    sheet = plant_for(line, made)
    bad = bad_places(run)
    with open_to_write(folder / "store") as store:
        put_on_file(
            store, folder, "C1", line, made, plan, PlantText(**{**vars(sheet), "more": CUTTING}), edit
        )
        for one in run.reels:
            unread = [span for span in (lost, dark) if one.from_m <= span[0] < one.to_m]
            here = (run.wire.at_m >= one.from_m) & (run.wire.at_m < one.to_m)
            spans = [(at, at) for at in run.wire.at_m[bad & here].tolist()] + unread
            name = reel_id("C1", one.id)
            try:
                pieces = _kept(one, [p for p in plan_for_reel(store, name).plan.pieces if p.kind != "scrap"])
            except ReelproofError as fault:
                pieces, why = [], str(fault.complaints[0])
            else:
                why = f"pieces {pieces}"
            label: Label = ("hold", "damage in a piece") if spans else ("release", "")
            touched = any(low < to and high > start for low, high in spans for start, to in pieces)
            whole = sum(to - start for start, to in pieces) >= LEAST_KEPT * one.length_m
            got = "releasable" if (touched if spans else whole) else "is cut"
            yield Found("cutting plans", line.id, "whole", name, *label, got, (why,))


def _kept(reel: ReelMade, pieces: list) -> Spans:  # type: ignore[type-arg]
    """Pieces on the wire [m]: what comes off first was wound last."""
    return [(reel.to_m - piece.to_m, reel.to_m - piece.from_m) for piece in pieces]


def sample_contradicts(reel: OnFile) -> bool:
    """A sample above every limit and far from what the line read there: nothing of the run may be concluded."""
    sample(reel, "mean_wall_mm", 1.12 * target_mm(reel.made), reel.length_m - 2.0)
    with suppress(ReelproofError):
        release(reel)
    ship(reel)
    return False


ON_DRAWN: tuple[tuple[bool, tuple[Scenario, ...]], ...] = (
    (False, (good_sample_then_released, sample_below_a_limit, released_then_sample_below)),
    (True, (covering_shown, covering_not_sampled, covering_below)),
    (False, (good_sample_then_released, sample_contradicts, sample_below_a_limit)),
)


def sampled(folder: Path, number: int) -> Iterator[Found]:
    """A good run on a drawn line whose reels are sampled: below a limit, against the line, or not where it is asked."""
    covered, scenarios = ON_DRAWN[number % len(ON_DRAWN)]
    _, line, made = _line(1300 + 17 * number, covered)
    sheet = plant_for(line, made, [PER_REEL] if covered else None)
    yield from acted(folder, 9000 + number, "samples on drawn lines", line, made, sheet, False, scenarios)

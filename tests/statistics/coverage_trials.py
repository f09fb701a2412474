"""Coverage of printed intervals on the product's own path, from readings to the printed pair, over a grid of wire.

``python -m tests.statistics.coverage_trials REPETITIONS [WORDS]`` works out the cells whose name holds WORDS and writes
their rows into the kept table with the date. Truths are exact, or those of 6,000 reels drawn with a seed of their own.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import numpy as np

from pipeline.results import Refused, Result, standing
from pipeline.sheets.plant_sheet import Charts
from pipeline.steps.line_charts import line_charts
from pipeline.steps.line_indices import ReelLimit, index_answers
from pipeline.steps.line_reels import LineReel
from pipeline.steps.reel_minimum import reel_minimum
from tests.statistics.coverage_worlds import (
    CENTRE_MM,
    REEL_M,
    SHAPES,
    SPREAD_MM,
    World,
    limit_of,
    seen_of,
)
from tests.statistics.interval_trials import autoregression

KEPT = Path(__file__).with_name("coverage_grid_found.csv")
HEAD = ("cell", "repetitions", "answered", "coverage", "seed", "date")
SEED = 7
RISK = 0.02
INDEX = 1.5
Answer = Result | Refused


@dataclass(frozen=True, slots=True)
class Cell:
    """One interval on one kind of wire.

    Args:
        name: what it is called in the table.
        run: one repetition of a number: the answer and the truth.
    """

    name: str
    run: Callable[[int], tuple[Answer, float]]


@cache
def level_of_risk(world: World) -> float:
    """Level that the share `RISK` of reels of a world goes under [mm], from 6,000 of them."""
    return float(np.quantile(world.reels(6000, np.random.default_rng(99)).min(axis=1), RISK))


def risk(world: World, km: int) -> Callable[[int], tuple[Answer, float]]:
    """Chance that a reel has a point under a limit, of a run of so many reels of a kilometre."""

    def run(number: int) -> tuple[Answer, float]:
        wall = world.reels(km, np.random.default_rng((SEED, number))).ravel()
        spans = [(float(REEL_M * one), float(REEL_M * (one + 1))) for one in range(km)]
        limit = limit_of("minimum wall at any point", level_of_risk(world))
        return standing(
            reel_minimum(seen_of("thinnest_wall_mm", wall), limit, spans, float(REEL_M), 0.001)
        ), RISK

    return run


def index_of_reels(shape: str, phi: float, many: int) -> Callable[[int], tuple[Answer, float]]:
    """One-sided index of one value a reel, bound of 95 %; reels of a shape, neighbours correlated by phi."""

    def run(number: int) -> tuple[Answer, float]:
        random = np.random.default_rng((SEED, number))
        world = World(shape, phi)
        x = autoregression(phi, 1, many, random)[0] if shape == "normal" else None
        values = CENTRE_MM + SPREAD_MM * x if x is not None else world.reels(1, random)[0, :many]
        made = [
            LineReel("R", f"{one}", {"mean_wall_mm": float(value)}, length_m=1000.0)
            for one, value in enumerate(values)
        ]
        limit = ReelLimit(
            "invented",
            "minimum average wall",
            "mean_wall_mm",
            "at least",
            CENTRE_MM - 3 * INDEX * SPREAD_MM,
            "mm",
        )
        charts = line_charts(made, Charts())
        return standing(index_answers(made, (limit,), charts)[0][1]), INDEX

    return run


def cells() -> tuple[Cell, ...]:
    """The grid."""
    found = [
        Cell(f"reel risk, {shape}, lag-one {phi:g}, {km} km", risk(World(shape, phi), km))
        for km in (2, 6, 10, 60)
        for phi in (0.5, 0.95, 0.98)
        for shape in SHAPES
    ]
    found += [
        Cell(f"index of reels, {shape}, lag-one {phi:g}, {many} reels", index_of_reels(shape, phi, many))
        for many in (12, 24, 100)
        for shape, phi in (
            ("normal", 0.0),
            ("normal", 0.5),
            ("skewed thin", 0.0),
            ("skewed thick", 0.0),
            ("bounded", 0.0),
        )
    ]
    return tuple(found)


def tried(cell: Cell, repetitions: int) -> tuple[int, int]:
    """How many repetitions were answered, and how many of these held the truth."""
    answered = held = 0
    for number in range(repetitions):
        answer, truth = cell.run(number)
        if isinstance(answer, Result):
            answered += 1
            held += answer.low <= truth <= answer.high
    return answered, held


def kept() -> dict[str, dict[str, str]]:
    """The rows of the kept table, by cell."""
    if not KEPT.exists():
        return {}
    with KEPT.open(encoding="utf-8", newline="") as file:
        return {row["cell"]: row for row in csv.DictReader(file)}


def main(repetitions: int, words: str = "") -> None:
    """Work cells out and write their rows into the kept table."""
    for cell in cells():
        if words not in cell.name:
            continue
        answered, held = tried(cell, repetitions)
        coverage = f"{held / answered:.4f}" if answered else ""
        rows = kept()
        values = (cell.name, repetitions, answered, coverage, SEED, datetime.now(UTC).date().isoformat())
        rows[cell.name] = dict(zip(HEAD, map(str, values), strict=True))
        with KEPT.open("w", encoding="utf-8", newline="") as file:
            table = csv.DictWriter(file, HEAD, lineterminator="\n")
            table.writeheader()
            table.writerows(rows[name] for name in sorted(rows))


if __name__ == "__main__":
    main(int(sys.argv[1]), *sys.argv[2:3])

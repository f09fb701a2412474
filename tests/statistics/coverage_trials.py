"""Coverage of printed intervals on the product's own path, from readings to the printed pair, over a grid of wire.

``python -m tests.statistics.coverage_trials REPETITIONS [WORDS]`` works out the cells whose name holds WORDS and writes
their rows into ``pipeline/steps/coverage_grid.csv``, which decides what pages print. A cell that already has so many
repetitions of this seed is passed over, and one that has fewer goes on from there: the run may be stopped and started
again. Truths are exact, or those of 6,000 reels drawn with a seed of their own.
"""

from __future__ import annotations

import csv
import math
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import numpy as np

import pipeline.steps
from pipeline.results import Refused, Result, standing
from pipeline.sheets.plant_sheet import Charts
from pipeline.statistics.autocorrelation import effective_n
from pipeline.statistics.event_rate import event_rate
from pipeline.statistics.run_length import alarm_budget
from pipeline.steps.answers import _capability
from pipeline.steps.fault_patterns import scatter_of_faults
from pipeline.steps.held_share import FAULTS_A_REEL, TriedInterval, TriedKind, around, rate_as_held
from pipeline.steps.line_charts import WATCHED, LineCharts, _LineMaker
from pipeline.steps.line_indices import ReelLimit, _index
from pipeline.steps.line_reels import LineReel
from pipeline.steps.rates_of_reels import rate_of_reels, ratio_of_reels
from pipeline.steps.reel_minimum import reel_minimum
from pipeline.steps.run_patterns import _drift
from tests.statistics.coverage_paths import Looked, shortened
from tests.statistics.coverage_worlds import (
    BETWEEN,
    CENTRE_MM,
    REEL_M,
    SPREAD_MM,
    World,
    fault_counts,
    fault_places,
    limit_of,
    seen_of,
    shaped,
)
from tests.statistics.interval_trials import autoregression

KEPT = Path(pipeline.steps.__file__).with_name("coverage_grid.csv")
SEEN = Path(__file__).with_name("coverage_seen_found.csv")
HEAD = (
    "figure",
    "kind",
    "lag_one",
    "size",
    "repetitions",
    "answered",
    "held",
    "standard_error",
    "seed",
    "date",
)
# No part in the choice of any factor: those were chosen with seeds 5001 (risk) and 31 (index).
SEED = 20261129
RISK = 0.02
INDEX = 1.5
AT_A_TIME = 500
# Correlations of neighbouring readings.
LAGS = (0.5, 0.95, 0.98)
Answer = Result | Refused
Run = Callable[[np.random.Generator], tuple[Answer, float]]


@dataclass(frozen=True, slots=True)
class Cell:
    """One interval on one kind of wire.

    Args:
        figure: whose interval.
        kind: of the invented readings.
        lag_one: their correlation.
        size: thousands of readings, or reels.
        run: one repetition: the answer and the truth.
    """

    figure: TriedInterval
    kind: TriedKind
    lag_one: float
    size: int
    run: Run

    @property
    def key(self) -> tuple[str, str, str, str]:
        """What names its row."""
        return self.figure.value, self.kind.value, f"{self.lag_one:g}", f"{self.size}"


@cache
def level_of_risk(world: World) -> float:
    """Level that the share `RISK` of reels of a world goes under [mm], from 6,000 of them."""
    return float(np.quantile(world.reels(6000, np.random.default_rng(99)).min(axis=1), RISK))


def risk(kind: TriedKind, phi: float, km: int) -> Run:
    """Chance that a reel has a point under a limit, of a run of so many reels of a kilometre."""
    world = World(kind.value, phi)

    def run(random: np.random.Generator) -> tuple[Answer, float]:
        wall = world.reels(km, random).ravel()
        spans = [(float(REEL_M * one), float(REEL_M * (one + 1))) for one in range(km)]
        limit = limit_of("minimum wall at any point", level_of_risk(world))
        return reel_minimum(seen_of("thinnest_wall_mm", wall), limit, spans, float(REEL_M), 0.001), RISK

    return run


def index(kind: TriedKind, phi: float, many: int) -> Run:
    """One-sided index of one value a reel, bound of 95 %; neighbouring reels correlated by phi."""
    low = CENTRE_MM - 3 * INDEX * SPREAD_MM
    limit = ReelLimit("invented", "minimum average wall", "mean_wall_mm", "at least", low, "mm")

    def run(random: np.random.Generator) -> tuple[Answer, float]:
        values = CENTRE_MM + SPREAD_MM * shaped(autoregression(phi, 1, many, random)[0], kind.value)
        made = [
            LineReel("R", f"{one}", {"mean_wall_mm": float(value)}, length_m=1000.0)
            for one, value in enumerate(values)
        ]
        return _index(made, limit, stability(made)), INDEX

    return run


def stability(reels: list[LineReel]) -> LineCharts:
    """The charts that an index asks whether the process is stable, as `line_charts` makes them with all others."""
    settings = Charts()
    budget = alarm_budget(WATCHED, settings.reels_per_day, settings.false_alarms, settings.days)
    maker = _LineMaker(tuple(reels), min(settings.baseline_reels, len(reels)), budget.arl0, settings)
    maker.individuals()
    return LineCharts(tuple(maker.charts), (), budget.told)


def wire(kind: TriedKind, phi: float, km: int, random: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Readings of a run, one reel a row [mm], and the level of each reel [mm]: told of the wire made, not of others."""
    of_levels = kind is TriedKind.DIFFERENT_LEVELS
    wall = World(TriedKind.NORMAL.value if of_levels else kind.value, phi).reels(km, random)
    level = BETWEEN * SPREAD_MM * random.standard_normal(km) if of_levels else np.zeros(km)
    return wall + level[:, None], level


def readings(kind: TriedKind, phi: float, km: int) -> Run:
    """One-sided index of single readings of a run, bound of 95 %."""
    limit = limit_of("minimum average wall", CENTRE_MM - 3 * INDEX * SPREAD_MM)

    def run(random: np.random.Generator) -> tuple[Answer, float]:
        wall, level = wire(kind, phi, km, random)
        series = wall.ravel()
        seen = seen_of("mean_wall_mm", series)
        found = _capability(seen, limit, series, effective_n(series), from_m=0.0, to_m=float(series.size))
        if kind is not TriedKind.DIFFERENT_LEVELS:
            return found, World(kind.value, phi).index(limit.value)
        spread = float(np.hypot(SPREAD_MM, level.std()))
        return found, (CENTRE_MM + float(level.mean()) - limit.value) / (3.0 * spread)

    return run


def drift(kind: TriedKind, phi: float, km: int) -> Run:
    """Slope of the straight line through the levels of a run [mm/km]; 0 where all reels have one level."""

    def run(random: np.random.Generator) -> tuple[Answer, float]:
        wall, level = wire(kind, phi, km, random)
        found = _drift(seen_of("mean_wall_mm", wall.ravel()), 0.0, float(wall.size))[0]
        every = np.repeat(level, 20)
        return standing(found), float(np.polyfit(0.05 * np.arange(every.size), every, 1)[0])

    return run


def fault_rate(kind: TriedKind, _: float, many: int) -> Run:
    """Faults a kilometre over so many reels of one, each with its count."""

    def run(random: np.random.Generator) -> tuple[Answer, float]:
        counts = fault_counts(kind.value, FAULTS_A_REEL, many, random)
        return standing(rate_of_reels([(int(one), 1000.0) for one in counts])), FAULTS_A_REEL

    return run


def fault_rate_of_run(kind: TriedKind, _: float, many: int) -> Run:
    """Faults a kilometre over so many reels of one, each fault with its place."""
    known, spans = (
        np.array([[0.0, 1000.0 * many]]),
        [(1000.0 * one, 1000.0 * (one + 1)) for one in range(many)],
    )

    def run(random: np.random.Generator) -> tuple[Answer, float]:
        at = fault_places(kind.value, FAULTS_A_REEL, many, random)
        scatter = scatter_of_faults(at, known, spans)
        answer = event_rate(at.size, 1000.0 * many, dispersion=scatter)
        return standing(rate_as_held(answer, TriedInterval.FAULT_RATE_OF_RUN, scatter)), FAULTS_A_REEL

    return run


def fault_ratio(kind: TriedKind, _: float, many: int) -> Run:
    """Ratio of the rates of two classes of reels, half of the reels each, the second half as high."""

    def run(random: np.random.Generator) -> tuple[Answer, float]:
        sides = [
            [(int(one), 1000.0) for one in fault_counts(kind.value, mean, many // 2, random)]
            for mean in (FAULTS_A_REEL, FAULTS_A_REEL / 2.0)
        ]
        return standing(ratio_of_reels(*sides)), 2.0

    return run


def cells() -> tuple[Cell, ...]:
    """The grid, cheap cells first."""
    of_counts = (TriedKind.NORMAL, TriedKind.CLUSTERS, TriedKind.DIFFERENT_LEVELS)
    of_reels = (TriedKind.NORMAL, TriedKind.SKEWED_THIN, TriedKind.SKEWED_THICK, TriedKind.BOUNDED)
    plan: list[
        tuple[
            TriedInterval,
            Callable[[TriedKind, float, int], Run],
            tuple[TriedKind, ...],
            tuple[float, ...],
            tuple[int, ...],
        ]
    ]
    plan = [
        (TriedInterval.FAULT_RATE, fault_rate, of_counts, (0.0,), (1, 2, 6, 12, 24, 100)),
        (TriedInterval.FAULT_RATE_OF_RUN, fault_rate_of_run, of_counts, (0.0,), (1, 2, 6, 12, 24, 100)),
        (TriedInterval.FAULT_RATIO, fault_ratio, of_counts, (0.0,), (2, 6, 12, 24, 100)),
        (TriedInterval.INDEX_OF_REELS, index, of_reels, (0.0, 0.5), (12, 24, 100)),
        (TriedInterval.INDEX_OF_READINGS, readings, tuple(TriedKind), LAGS, (1, 2, 6, 10, 60)),
        (TriedInterval.DRIFT, drift, tuple(TriedKind), LAGS, (1, 2, 6, 10, 60)),
        (TriedInterval.REEL_RISK, risk, tuple(TriedKind), LAGS, (2, 6, 10, 60)),
    ]
    return tuple(
        Cell(figure, kind, phi, size, made(kind, phi, size))
        for figure, made, kinds, correlations, sizes in plan
        for size in sizes
        for kind in kinds
        for phi in correlations
    )


# Answers of a cell by how the program saw them: kinds, and the tried sizes and correlations around; how many held.
Sights = dict[tuple[str, str, str], list[int]]


def tried(cell: Cell, first: int, after: int, short: bool = True) -> tuple[int, int, Sights]:
    """How many repetitions of these numbers were answered, how many answers held the truth, and how they were seen.

    Args:
        cell: the cell.
        first: number of the first repetition.
        after: number after the last.
        short: whether by the short ways, which hold and fail as the product's own do.
    """
    answered = held = 0
    sights: Sights = {}
    eta = -math.log1p(-RISK) / REEL_M if cell.figure is TriedInterval.REEL_RISK else None
    with shortened(eta, short) as looked:
        for number in range(first, after):
            looked.clear()
            answer, truth = cell.run(np.random.default_rng((SEED, *map(ord, "".join(cell.key)), number)))
            if isinstance(answer, Result):
                holds = answer.low <= truth <= answer.high
                answered, held = answered + 1, held + holds
                both = sights.setdefault(seen_as(cell.figure, looked[-1]), [0, 0])
                both[0] += 1
                both[1] += holds
    return answered, held, sights


def seen_as(figure: TriedInterval, looked: Looked) -> tuple[str, str, str]:
    """A case as it is looked up: its kinds, the tried sizes and the tried correlations around it."""
    near = around(figure, *looked)
    kinds = " or ".join(one.value for one in looked[0])
    if near is None:
        return kinds, "none", "none"
    return kinds, *(" or ".join(f"{one:g}" for one in sorted(side)) for side in near)


def kept() -> dict[tuple[str, ...], dict[str, str]]:
    """The rows of the kept table, by cell."""
    if not KEPT.exists():
        return {}
    with KEPT.open(encoding="utf-8", newline="") as file:
        return {tuple(row[name] for name in HEAD[:4]): row for row in csv.DictReader(file)}


def kept_sights() -> dict[tuple[str, ...], Sights]:
    """How the answers of each cell were seen, by cell."""
    found: dict[tuple[str, ...], Sights] = {}
    if SEEN.exists():
        with SEEN.open(encoding="utf-8", newline="") as file:
            for row in csv.reader(list(file)[1:]):
                found.setdefault(tuple(row[:4]), {})[row[4], row[5], row[6]] = [int(row[7]), int(row[8])]
    return found


def write(cell: Cell, repetitions: int, answered: int, held: int, sights: Sights) -> None:
    """Put one cell into the kept tables."""
    rows, seen = kept(), kept_sights()
    share = held / answered if answered else float("nan")
    error = (max(share * (1 - share), 0.5 / answered) / answered) ** 0.5 if answered else float("nan")
    figures = (f"{share:.5f}", f"{error:.4f}") if answered else ("", "")
    values = (*cell.key, repetitions, answered, *figures, SEED, datetime.now(UTC).date().isoformat())
    rows[cell.key] = dict(zip(HEAD, map(str, values), strict=True))
    seen[cell.key] = sights
    order = [one.key for one in cells()]
    with KEPT.open("w", encoding="utf-8", newline="") as file:
        table = csv.DictWriter(file, HEAD, lineterminator="\n")
        table.writeheader()
        table.writerows(rows[key] for key in order if key in rows)
    with SEEN.open("w", encoding="utf-8", newline="") as file:
        plain = csv.writer(file, lineterminator="\n")
        plain.writerow((*HEAD[:4], "seen_as", "sizes", "lags", "answered", "held"))
        for key in order:
            plain.writerows((*key, *one, *both) for one, both in sorted(seen.get(key, {}).items()))


def main(repetitions: int, words: str = "") -> None:
    """Work cells out and write their rows into the kept tables."""
    for cell in cells():
        if words not in ", ".join(cell.key):
            continue
        row = kept().get(cell.key)
        done = answered = held = 0
        sights: Sights = {}
        if row is not None and int(row["seed"]) == SEED:
            done, answered = int(row["repetitions"]), int(row["answered"])
            held, sights = round(float(row["held"] or 0.0) * answered), kept_sights().get(cell.key, {})
        while done < repetitions:
            after = min(done + AT_A_TIME, repetitions)
            more = tried(cell, done, after)
            done, answered, held = after, answered + more[0], held + more[1]
            for key, (n, of) in more[2].items():
                both = sights.setdefault(key, [0, 0])
                both[0], both[1] = both[0] + n, both[1] + of
            write(cell, done, answered, held, sights)


if __name__ == "__main__":
    main(int(sys.argv[1]), *sys.argv[2:3])

"""How often the checks that pages show fail where nothing is wrong: their size at 5 %, over a grid of invented data.

``python -m tests.statistics.size_trials REPETITIONS [WORDS]`` works out the rows whose name holds WORDS and writes them
into ``sizes_found.csv``. Each repetition has a seed of its own.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from pipeline.departures import apart_from_neighbours, near_normal
from pipeline.errors import MethodRefusal
from pipeline.results import Refused, Result
from pipeline.statistics.autocorrelation import effective_n
from pipeline.statistics.change_points import OneChange, find_changes, one_change
from pipeline.statistics.event_clustering import dispersion_of_counts
from pipeline.statistics.rate_changes import RateChange, rate_change
from pipeline.statistics.tail_diagnostics import cluster_spacings, trend_along_length
from pipeline.steps.wall_tail import stable_tail
from tests.statistics.coverage_worlds import World, fault_counts, shaped
from tests.statistics.interval_trials import autoregression

KEPT = Path(__file__).with_name("sizes_found.csv")
HEAD = ("test", "data", "repetitions", "answered", "size", "seed", "date")
SEED = 20261130
# Whether the check failed; None where it was not made.
Run = Callable[[np.random.Generator], bool | None]


def normality(phi: float, n: int) -> Run:
    """Normal readings or values of reels."""

    def run(random: np.random.Generator) -> bool | None:
        x = autoregression(phi, 1, n, random)[0]
        held = near_normal(x, effective_n(x).for_variance if phi else float(n)).held
        return None if held is None else not held

    return run


def lag_one(shape: str, n: int) -> Run:
    """Independent values of reels."""

    def run(random: np.random.Generator) -> bool | None:
        held = apart_from_neighbours(shaped(random.standard_normal(n), shape)).held
        return None if held is None else not held

    return run


def dispersion(mean: float, many: int) -> Run:
    """Faults of Poisson."""

    def run(random: np.random.Generator) -> bool | None:
        found = dispersion_of_counts(fault_counts("normal", mean, many, random), np.full(many, 1000.0))
        return found.details["p_value"] < 0.05 if isinstance(found, Result) else None

    return run


def rate(mean: float, many: int) -> Run:
    """Faults of Poisson whose rate never changes."""

    def run(random: np.random.Generator) -> bool | None:
        found = rate_change(fault_counts("normal", mean, many, random), np.full(many, 1000.0))
        return found.p_value < 0.05 if isinstance(found, RateChange) else None

    return run


def tail(which: str, phi: float, km: int) -> Run:
    """A check of the clusters under the threshold, on stationary normal wire."""
    world = World("normal", phi)

    def run(random: np.random.Generator) -> bool | None:
        wall = world.reels(km, random).ravel()
        at = np.arange(wall.size) + 0.5
        try:
            found = stable_tail(wall, at, effective_n(wall))
            if isinstance(found, int):
                return None
            clusters = found.clusters
            if which == "spacings":
                ends = (np.searchsorted(at, one).astype(float) for one in (clusters.from_m, clusters.to_m))
                return cluster_spacings(*ends, step_m=1.0, repetitions=499).p_value < 0.05
            trend = trend_along_length(clusters.at_m, clusters.deficit, float(at[0]), float(at[-1]))
        except MethodRefusal:
            return None
        return (trend.rate_p if which == "rate" else trend.depth_p) < 0.05

    return run


def averages(phi: float, km: int, random: np.random.Generator) -> np.ndarray:
    """Averages over 50 m of stationary normal wire, as changes are looked for in."""
    return World("normal", phi).reels(km, random).reshape(-1, 50).mean(axis=1)


def changes(phi: float, km: int) -> Run:
    """Whether exact segmentation finds a change of level where there is none."""

    def run(random: np.random.Generator) -> bool | None:
        means = averages(phi, km, random)
        found = find_changes(means, 50.0 * np.arange(means.size) + 25.0)
        return None if isinstance(found, Refused) else bool(found.changes)

    return run


def cusum(phi: float, km: int) -> Run:
    """Whether the CUSUM test says so."""

    def run(random: np.random.Generator) -> bool | None:
        means = averages(phi, km, random)
        try:
            found = one_change(means, 50.0 * np.arange(means.size) + 25.0)
        except MethodRefusal:
            return None
        return found.p_value < 0.05 if isinstance(found, OneChange) else None

    return run


def trials() -> dict[tuple[str, str], Run]:
    """The grid, by test and data."""
    found: dict[tuple[str, str], Run] = {}
    for n in (12, 24, 100):
        found["normality", f"{n} reels"] = normality(0.0, n)
        for shape in ("normal", "skewed thin", "skewed thick", "bounded"):
            found["independence of neighbors", f"{n} reels, {shape}"] = lag_one(shape, n)
        for mean in (0.3, 3.0):
            found["scatter of fault counts", f"{n} reels, {mean:g} faults each"] = dispersion(mean, n)
            found["change of the fault rate", f"{n} reels, {mean:g} faults each"] = rate(mean, n)
    for km in (2, 6, 10, 60):
        for phi in (0.5, 0.95, 0.98):
            data = f"{km} km, lag one {phi:g}"
            found["normality", data] = normality(phi, 1000 * km)
            found["change of level, segmentation", data] = changes(phi, km)
            found["change of level, CUSUM", data] = cusum(phi, km)
            found["independence of clusters", data] = tail("spacings", phi, km)
            found["trend of the clusters' rate", data] = tail("rate", phi, km)
            found["trend of the clusters' depth", data] = tail("depth", phi, km)
    return found


def size(test: str, data: str, first: int, after: int) -> tuple[int, int]:
    """How many repetitions of these numbers were answered, and how many of the checks failed."""
    run, answered, failed = trials()[test, data], 0, 0
    for number in range(first, after):
        found = run(np.random.default_rng((SEED, *map(ord, test + data), number)))
        answered += found is not None
        failed += bool(found)
    return answered, failed


def kept() -> dict[tuple[str, str], dict[str, str]]:
    """The rows of the kept table."""
    if not KEPT.exists():
        return {}
    with KEPT.open(encoding="utf-8", newline="") as file:
        return {(row["test"], row["data"]): row for row in csv.DictReader(file)}


def main(repetitions: int, words: str = "") -> None:
    """Work rows out and write them into the kept table."""
    for test, data in trials():
        if words not in f"{test}, {data}":
            continue
        answered, failed = size(test, data, 0, repetitions)
        rows = kept()
        found = f"{failed / answered:.4f}" if answered else ""
        today = datetime.now(UTC).date().isoformat()
        values = (test, data, repetitions, answered, found, SEED, today)
        rows[test, data] = dict(zip(HEAD, map(str, values), strict=True))
        with KEPT.open("w", encoding="utf-8", newline="") as file:
            table = csv.DictWriter(file, HEAD, lineterminator="\n")
            table.writeheader()
            table.writerows(rows[key] for key in trials() if key in rows)


if __name__ == "__main__":
    main(int(sys.argv[1]), *sys.argv[2:3])

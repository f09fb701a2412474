"""How often each 95 % interval holds the truth: figures found by long simulation, and a short run that agrees.

``interval_coverage_found.csv`` keeps what long runs gave: repetitions, how many gave an interval, the shares that
held the truth for our method and for one that takes readings as independent. The suite repeats each trial a few
times and asks that its count be one the kept share makes; ``REELPROOF_COVERAGE_REPETITIONS=10000`` repeats them so
often. Intervals of plain counts are summed exactly, with no simulation. Trials that no long run was made of are not
in the table; their shorter runs stand in the tests of their own methods.
"""

from __future__ import annotations

import csv
import math
import os
import re
from pathlib import Path

import pytest
from scipy import stats

from pipeline.results import Result
from pipeline.statistics.event_rate import event_rate
from pipeline.statistics.rate_comparison import compare_rates
from pipeline.statistics.reels_needed import share_of_bad_reels
from tests.statistics.interval_trials import TRIALS, repeat

HERE = Path(__file__).parent
STATISTICS = HERE.parents[1] / "pipeline" / "statistics"
REPETITIONS = int(os.environ.get("REELPROOF_COVERAGE_REPETITIONS", "6"))
with (HERE / "interval_coverage_found.csv").open(encoding="utf-8", newline="") as file:
    KEPT = {row["interval"]: row for row in csv.DictReader(file)}
# Intervals summed exactly in this file, or that only pass on another's.
EXACT = {"event_rate", "rate_comparison", "reels_needed", "event_coincidence"}
# Intervals known to hold the truth less often than 95 %, each with the least it does; all are told (see below).
SHORT = {
    "block bootstrap of a mean, lag-one .95": 0.92,
    "extremal index, max-autoregression": 0.935,
    "fault rate ratio by regression, overdispersed": 0.935,
    "level of a reel, lag-one .95": 0.915,
    "risk from block minima, lag-one .95": 0.925,
    "shape of the tail": 0.935,
    "size of a change, independent": 0.93,
    "size of a change, lag-one .95": 0.93,
}
SOURCES = "".join(
    path.read_text(encoding="utf-8")
    for room in ("statistics", "steps", "wording")
    for path in sorted((STATISTICS.parent / room).rglob("*.*"))
    if path.suffix in {".py", ".json"}
)


@pytest.mark.parametrize("name", KEPT)
def test_a_short_run_agrees_with_the_figure_found(name: str) -> None:
    found = repeat(name, REPETITIONS, seed=77)
    kept = float(KEPT[name]["ours"])
    held = round(found.ours * found.answered) if found.answered else 0
    assert stats.binom.cdf(held, found.answered, min(kept + 0.01, 1.0)) > 1e-4
    assert stats.binom.sf(held - 1, found.answered, max(kept - 0.01, 0.0)) > 1e-4


@pytest.mark.parametrize("name", KEPT)
def test_every_interval_has_a_figure_and_a_short_one_is_known_to_be(name: str) -> None:
    row = KEPT[name]
    repetitions, ours = int(row["answered"]), float(row["ours"])
    error = (0.95 * 0.05 / repetitions) ** 0.5
    least = SHORT.get(name, 0.95 - 3.0 * error)
    assert ours >= least, f"{name} holds the truth in {ours:.3f} of {repetitions} repetitions"
    if row["naive"] and name.endswith("lag-one .95"):
        assert float(row["naive"]) < ours - 0.02


# Its share is looked up in the grid of trials by the case at hand, so that no sentence has one figure.
LOOKED_UP = {"level of a reel, lag-one .95"}


@pytest.mark.parametrize("name", sorted(SHORT.keys() - LOOKED_UP))
def test_a_result_whose_interval_is_short_tells_the_share_found(name: str) -> None:
    """The sentence beside the number holds the share of the table, so that neither changes without the other."""
    assert f"{100.0 * float(KEPT[name]['ours']):.1f} %" in SOURCES


def test_every_module_with_an_interval_has_a_trial() -> None:
    tried = {trial.module for trial in TRIALS.values()} | EXACT
    giving = set()
    for path in STATISTICS.glob("*.py"):
        if re.search(r"\bResult\(", path.read_text(encoding="utf-8")):
            giving.add(path.stem)
    assert giving <= tried


@pytest.mark.parametrize("mean", [0.5, 1.0, 3.0, 6.0, 20.0])
def test_the_interval_of_a_rate_holds_it_at_least_as_often_as_told(mean: float) -> None:
    covered = 0.0
    for count in range(80):
        found = event_rate(count, 1000.0)
        assert isinstance(found, Result)
        covered += float(stats.poisson.pmf(count, mean)) * (found.low <= mean <= found.high)
    assert 0.95 <= covered <= 1.0


def test_the_interval_of_a_ratio_holds_it_at_least_as_often_as_told() -> None:
    """4 faults expected on 40 km against 3 on 60 km: exact sum over every pair of counts that matters."""
    covered = total = 0.0
    for one in range(14):
        for other in range(12):
            if one + other == 0:
                continue  # refused: no fault on either side compares nothing
            chance = float(stats.poisson.pmf(one, 4) * stats.poisson.pmf(other, 3))
            found = compare_rates(one, 40_000.0, other, 60_000.0)
            assert isinstance(found, Result)
            total += chance
            covered += chance * (found.low <= 2.0 <= found.high)
    assert total > 0.998 * (1.0 - math.exp(-7.0))
    assert covered / total >= 0.95


def test_the_bound_of_a_share_holds_it_at_least_as_often_as_told() -> None:
    """60 reels, one in twenty bad. The share of faults with a thin spot has the same exact interval."""
    covered = 0.0
    for bad in range(61):
        found = share_of_bad_reels(bad, 60)
        assert isinstance(found, Result)
        covered += float(stats.binom.pmf(bad, 60, 0.05)) * (found.low <= 0.05 <= found.high)
    assert covered >= 0.95

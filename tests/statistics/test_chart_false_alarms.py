"""Every kind of control chart signals by chance as often as computed: a long simulation kept, and a short one here.

``chart_false_alarms_found.csv`` keeps what 4,000 repetitions gave (40,000 runs of a chart with memory, some 800,000
points of one without): the computed points from one false alarm to the next, the simulated ones and their standard
error. The suite runs a short form of each; ``REELPROOF_CHART_REPETITIONS=4000`` runs the long one.
"""

from __future__ import annotations

import csv
import os
from pathlib import Path

import pytest

from tests.statistics.chart_trials import TRIALS, Simulated, simulate

REPETITIONS = int(os.environ.get("REELPROOF_CHART_REPETITIONS", "24"))
with (Path(__file__).parent / "chart_false_alarms_found.csv").open(encoding="utf-8", newline="") as file:
    KEPT = {row["chart"]: row for row in csv.DictReader(file)}
# Share by which the computed figure is known to differ: the EWMA's average is that of limits that have run in.
KNOWN_SHARE = {"EWMA chart, limits as drawn": 0.06}


def agrees(name: str, found: Simulated) -> bool:
    allowed = 4.0 * found.error + KNOWN_SHARE.get(name, 0.002) * found.computed
    off = found.simulated - found.computed
    return abs(off) <= allowed


@pytest.mark.parametrize("name", TRIALS)
def test_false_alarms_come_as_often_as_computed(name: str) -> None:
    found = simulate(name, REPETITIONS, seed=3)
    assert agrees(name, found), found


@pytest.mark.parametrize("name", TRIALS)
def test_the_figures_kept_agree_and_are_of_a_long_run(name: str) -> None:
    row = KEPT[name]
    kept = Simulated(float(row["computed"]), float(row["simulated"]), float(row["standard_error"]))
    assert int(row["repetitions"]) >= 4000
    assert kept.error < 0.05 * kept.simulated
    assert agrees(name, kept), kept


def test_every_kind_is_kept() -> None:
    assert set(KEPT) == set(TRIALS)

"""Judging and tuning count the same readings of the same wire, on lines made apart from the program.

Lines: Q2 (an imperial log, wall and covering read together), K7 (slow, epoch clock, decimal comma) and N5 (fast, four
wall sensors, slip).
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from pipeline.job.tuning_runs import tuning_run
from pipeline.store.database import Store
from pipeline.tuning.reel_wall import reel_walls
from tests.job.test_samples_of_true_wire import made, on_file

WALLS = ("minimum average wall", "minimum wall at any point")


@pytest.mark.parametrize("line_id", ["Q2", "K7", "N5"])
def test_capability_and_tuning_count_the_same_readings(line_id: str, tmp_path: Path) -> None:
    with on_file(made(line_id, 7), tmp_path) as store:
        (head,) = store.ask("questions/current_runs")
        key = {"assessment_id": head["assessment_id"]}
        walls = {
            row["limit_id"]
            for row in store.ask("questions/limits_of_assessment", **key)
            if row["requirement"] in WALLS
        }
        counted = {
            subject: {
                row["n"]
                for row in store.ask(f"questions/results_of_{scope}", **key)
                if row["topic"] == "capability" and row["about"] in walls and row["subject"] == subject
            }
            for scope, subjects in (
                ("run", ["R1"]),
                ("reels", [row["reel_id"] for row in _reels(store, key)]),
            )
            for subject in subjects
        }
        run = tuning_run(store, head)
    first, last = run.reels[0].from_m, run.reels[-1].to_m
    on_run = run.wall_counts & (run.wall_at_m >= first) & (run.wall_at_m < last)
    assert counted.pop("R1") == {int(on_run.sum())}
    by_reel = {
        one.id: {int((on_run & (run.wall_at_m >= one.from_m) & (run.wall_at_m < one.to_m)).sum())}
        for one in run.reels
    }
    assert by_reel == counted
    assert max(size for sizes in counted.values() for size in sizes) >= 100
    # What a target stands on is that wire; a reel with too little of it is left out as a whole, and told.
    reels, told = reel_walls([run])
    assert len(reels) + len(told) == len(counted)
    assert all({one.at_m.size} == counted[one.reel_id] for one in reels)


def _reels(store: Store, key: dict[str, int]) -> list[dict[str, Any]]:
    return store.ask("questions/places_of_assessment", **key)

"""Killed at random instants of loading and judging, as a power cut would: nothing lost, nothing doubled.

The real command runs in a process of its own and gets SIGKILL. After each kill the store is opened as the next start
would, and at the end the work is finished. More kills with REELPROOF_KILLS=100.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.proofs.verifying import verified
from pipeline.store.database import open_to_read, open_to_write
from pipeline.store.readings import read_frame, sweep

ROOT = Path(__file__).parents[2]
KILLS = int(os.environ.get("REELPROOF_KILLS", "2"))
TABLES = ("reels", "findings", "requirements", "results")


def command(*arguments: str | Path) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "pipeline", *map(str, arguments)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env=dict(os.environ, PYTHONPATH=str(ROOT)),
    )


def finished(*arguments: str | Path) -> float:
    began = time.monotonic()
    assert command(*arguments).wait(timeout=600) == 0
    return time.monotonic() - began


def on_file(store_folder: Path) -> dict[str, pl.DataFrame]:
    """Everything that is on file of the run, but instants of the clock."""
    found: dict[str, pl.DataFrame] = {}
    with open_to_read(store_folder) as store:
        (load,) = store.ask("questions/loads_of_run", run_id="R-0415")
        (judged,) = store.ask("questions/assessments_of_run", run_id="R-0415")
        for name in ("logged", "events", "flagged"):
            found[name] = read_frame(store, load["folder"], name)
        folder = store.ask("questions/assessment", assessment_id=judged["assessment_id"])[0]["folder"]
        for name in ("placed", "measured"):
            found[name] = read_frame(store, folder, name)
        for name in TABLES:
            key = {"assessment_id": judged["assessment_id"]}
            found[name] = store.ask_frame(f"questions/{name}_of_assessment", **key)
        found["counts"] = store.ask_frame("checks/rows_by_table")
        for check in ("file_identity", "growth_identity", "rows_without_a_load"):
            assert store.ask(f"checks/{check}") == []
    return found


@pytest.mark.timeout(120 + 60 * KILLS)
def test_killed_at_random_instants_nothing_is_lost_or_doubled(small_run: Path, tmp_path: Path) -> None:
    whole = tmp_path / "whole"
    load = ("load", small_run, "--store")
    took = {"load": finished(*load, whole), "assess": finished("assess", "--store", whole)}
    expected = on_file(whole)
    rng = np.random.default_rng(20260305)
    landed = {"load": 0, "assess": 0}
    rounds = 0
    while sum(landed.values()) < KILLS:
        # Each round: kills while loading, then while judging, until the work is finished or has been killed enough.
        assert rounds < KILLS + 10, "the command ends before it can be killed"
        store = tmp_path / f"s{rounds}"
        rounds += 1
        for name in ("load", "assess"):
            arguments = (*load, store) if name == "load" else ("assess", "--store", store)
            for _ in range(1 if KILLS < 4 else 2 if KILLS < 20 else 6):
                process = command(*arguments)
                began = time.monotonic()
                try:
                    assert process.wait(timeout=float(rng.uniform(0.1, 1.0)) * took[name]) == 0
                    # The machine is faster now; what is finished cannot be killed.
                    took[name] = min(took[name], time.monotonic() - began)
                    break
                except subprocess.TimeoutExpired:
                    process.send_signal(signal.SIGKILL)
                    process.wait()
                    landed[name] += 1
                with open_to_write(store) as opened:
                    for check in ("file_identity", "growth_identity", "rows_without_a_load"):
                        assert opened.ask(f"checks/{check}") == []
            finished(*arguments)
        found = on_file(store)
        assert found.keys() == expected.keys()
        for name, frame in found.items():
            unlike = [column for column in frame.columns if column.endswith("_utc") and name in TABLES]
            assert frame.drop(unlike).equals(expected[name].drop(unlike)), name
        assert verified(store).changes == ()
        with open_to_write(store) as opened:
            assert sweep(opened) == ()
    print(f"{landed['load']} kills while loading and {landed['assess']} while judging, in {rounds} rounds")

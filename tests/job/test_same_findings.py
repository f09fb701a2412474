"""The same runs judged many times, in any order and by two processes: same findings, same numbers to the last bit.

A judgement on the same basis is not made twice, so each look is by the plant sheet with another comment at its
end: another basis, and nothing in it that could change a judgement. More looks with REELPROOF_LOOKS=50.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
from pathlib import Path

import pytest

from pipeline.job.assessing import assess_run, read_plant_for_judging
from pipeline.job.loading import load_sheets
from pipeline.proofs.changes import changes_in
from pipeline.record.sealing import ASSESSMENT_TABLES, frame_sha256
from pipeline.store.database import Store, open_to_read, open_to_write
from tests.acts.decided_store import copied

ROOT = Path(__file__).parents[2]
LOOKS = int(os.environ.get("REELPROOF_LOOKS", "1"))
# Thin spots and a spark fault, a gauge that dropped out, a reset counter, and a run nothing can be concluded of.
RUNS = ("R-0412", "R-0419", "R-0514", "R-0421")
# When and by which sheet it was judged, and how long that took, differ from look to look.
OWN = {"assessment_id", "basis_sha256", "plant_sheet_sha256", "assessed_utc", "duration_s", "folder"}


@pytest.fixture
def folder(judged_store: Path, tmp_path: Path) -> Path:
    return copied(judged_store, tmp_path / "store")


def seen(store: Store, assessment_id: int) -> dict[str, str]:
    """The hash of every table of a judgement, without what tells one judgement from another."""
    hashes = {}
    for table, question in ASSESSMENT_TABLES.items():
        frame = store.ask_frame(question, assessment_id=assessment_id)
        hashes[table] = frame_sha256(frame.drop(OWN & set(frame.columns)))
    return hashes


def judgements(store: Store, run_id: str) -> list[int]:
    return [row["assessment_id"] for row in store.ask("questions/assessments_of_run", run_id=run_id)]


def sheet(tmp_path: Path, name: str) -> Path:
    path = tmp_path / f"plant-{name}.toml"
    path.write_text(f"{(ROOT / 'sample_runs' / 'plant.toml').read_text()}\n# look {name}\n")
    return path


def test_any_number_of_looks_in_any_order_see_the_same(folder: Path, tmp_path: Path) -> None:
    rng = random.Random(20260303)
    with open_to_write(folder) as store:
        for look in range(LOOKS):
            plant = read_plant_for_judging(sheet(tmp_path, str(look)))
            for run_id in rng.sample(RUNS, len(RUNS)):
                assess_run(store, run_id, plant)
        for run_id in RUNS:
            first, *others = judgements(store, run_id)
            assert len(others) == LOOKS
            for other in others:
                assert seen(store, other) == seen(store, first), (run_id, other)
        assert changes_in(store) == ()


LOOKING = """
import sys
from pathlib import Path
from pipeline.job.assessing import assess_run, read_plant_for_judging
from pipeline.store.database import open_to_write
plant = read_plant_for_judging(Path(sys.argv[2]))
for run_id in sys.argv[3:]:
    with open_to_write(Path(sys.argv[1]), wait_s=120.0) as store:
        assess_run(store, run_id, plant)
"""


@pytest.mark.slow
def test_two_processes_see_the_same(folder: Path, tmp_path: Path) -> None:
    """The store has one writer: the second waits for the first, and both looks are on file."""
    processes = [
        subprocess.Popen(
            [sys.executable, "-c", LOOKING, str(folder), str(sheet(tmp_path, name)), *order],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            cwd=ROOT,
        )
        for name, order in (("one", ("R-0514", "R-0419")), ("two", ("R-0419", "R-0514")))
    ]
    told = [process.communicate(timeout=200) for process in processes]
    assert [process.returncode for process in processes] == [0, 0], told
    with open_to_read(folder) as store:
        for run_id in ("R-0514", "R-0419"):
            first, *others = judgements(store, run_id)
            assert len(others) == 2
            assert [seen(store, other) for other in others] == [seen(store, first)] * 2


@pytest.mark.slow
def test_new_stores_judged_in_opposite_orders_see_the_same(tmp_path: Path) -> None:
    runs = ("R-0415", "R-0416")
    looks: list[dict[str, dict[str, str]]] = []
    for order in (runs, runs[::-1]):
        with open_to_write(tmp_path / "-".join(order)) as store:
            load_sheets(store, tuple(ROOT / "sample_runs" / "runs" / run_id for run_id in runs))
            for run_id in order:
                assess_run(store, run_id)
            looks.append({run_id: seen(store, judgements(store, run_id)[0]) for run_id in runs})
    assert looks[0] == looks[1]

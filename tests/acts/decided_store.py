"""Stores for tests that write: a few sample runs loaded and judged, or a quick copy of the shared store."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from pipeline.job.assessing import assess_run
from pipeline.job.loading import load_sheets
from pipeline.nonconformance.disposition import Person
from pipeline.record.left_on_file import Override
from pipeline.store.database import open_to_write

# Roles of the demo's plant sheet, each with a mark of a person who is invented.
TECHNICIAN = Person("shift quality technician", "T-17")
ENGINEER = Person("quality engineer", "QE-1")
MANAGER = Person("quality manager", "QM-1")
# For tests of what comes after wire left: nobody had released it, and the one who may sent it all the same.
SENT = Override(MANAGER.role, MANAGER.person, "the customer takes it as it is")
RUNS = Path(__file__).parents[2] / "sample_runs" / "runs"


def judged(folder: Path, *runs: str) -> Path:
    """A new store in `folder` with these runs on file and judged."""
    with open_to_write(folder) as store:
        _, refused = load_sheets(store, tuple(RUNS / run for run in runs))
        assert refused == []
        for run in runs:
            assess_run(store, run)
    return folder


def copied(store: Path, folder: Path) -> Path:
    """A copy of a store as the folder `folder`; readings, which are never changed, are linked and not copied."""
    shutil.copytree(store / "readings", folder / "readings", copy_function=os.link)
    (folder / "published").mkdir()
    newest = max((store / "published").glob("reelproof-*.duckdb"))
    for path in (store / "reelproof.duckdb", newest):
        shutil.copy(path, folder / path.relative_to(store))
    return folder

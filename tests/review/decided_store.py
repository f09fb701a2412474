"""A store with a few sample runs loaded and judged, for tests that write to a copy of it."""

from __future__ import annotations

from pathlib import Path

from pipeline.review.assessing import assess_run
from pipeline.review.loading import load_sheets
from pipeline.store.database import open_to_write

RUNS = Path(__file__).parents[2] / "sample_runs" / "runs"


def judged(folder: Path, *runs: str) -> Path:
    """A new store in `folder` with these runs on file and judged."""
    with open_to_write(folder) as store:
        _, refused = load_sheets(store, tuple(RUNS / run for run in runs))
        assert refused == []
        for run in runs:
            assess_run(store, run)
    return folder

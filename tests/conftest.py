"""What several rooms' tests share: the sample runs, loaded and judged once for all workers."""

from __future__ import annotations

import fcntl
import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

import pipeline  # noqa: F401 - before NumPy, whose threads it sets

ROOT = Path(__file__).parents[1]
SAMPLE_RUNS = ROOT / "sample_runs"


def _chromium() -> str | None:
    for name in ("chromium", "chromium-browser", "google-chrome"):
        found = shutil.which(name)
        if found:
            return found
    return None


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Skip browser tests, with the reason, where no browser is installed; in CI that is a failure instead."""
    if _chromium() is not None or os.environ.get("REELPROOF_REQUIRE_BROWSER"):
        return
    skip = pytest.mark.skip(
        reason="no chromium on this machine; install Debian's package to run browser tests"
    )
    for item in items:
        if "browser" in item.keywords:
            item.add_marker(skip)


@pytest.fixture(scope="session")
def judged_store(tmp_path_factory: pytest.TempPathFactory, worker_id: str) -> Iterator[Path]:
    """A store with every sample run loaded and judged; made once, read by all workers, never written."""
    shared = tmp_path_factory.getbasetemp()
    if worker_id != "master":
        shared = shared.parent
    folder = shared / "judged_store"
    with (shared / "judged_store.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not (folder / "whole").exists():
            from pipeline.review.assessing import assess_runs
            from pipeline.review.loading import load_sheets
            from pipeline.store.database import open_to_write

            with open_to_write(folder) as store:
                _, refused = load_sheets(store, (SAMPLE_RUNS / "runs",))
                assert refused == []
                assess_runs(store, ())
            (folder / "whole").touch()
    yield folder


@pytest.fixture
def small_run(tmp_path: Path) -> Path:
    """A folder with the smallest sample run, its sheets and the line's and plant's, free to be spoiled."""
    home = tmp_path / "sample_runs"
    (home / "runs").mkdir(parents=True)
    shutil.copytree(SAMPLE_RUNS / "runs" / "R-0415", home / "runs" / "R-0415")
    shutil.copytree(SAMPLE_RUNS / "lines", home / "lines")
    shutil.copy(SAMPLE_RUNS / "plant.toml", home / "plant.toml")
    return home / "runs" / "R-0415" / "run.toml"

"""What several rooms' tests share: the sample runs, loaded and judged once for all workers."""

from __future__ import annotations

import fcntl
import os
import shutil
from collections.abc import Callable, Generator, Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest

import pipeline.cli  # noqa: F401 - before NumPy, whose threads it sets

# Prints the table of the release matrix at the end of a session.
pytest_plugins = (
    "tests.release_matrix.reporting",
    "tests.contradiction_bench.reporting",
    "tests.cause_bench.reporting",
)

ROOT = Path(__file__).parents[1]
SAMPLE_RUNS = ROOT / "sample_runs"

QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def chromium_on_path() -> str | None:
    for name in ("chromium", "chromium-browser", "google-chrome"):
        found = shutil.which(name)
        if found:
            return found
    return None


# Set in CI: a test that would be skipped there fails instead, whatever it misses.
SKIP_NOTHING = bool(os.environ.get("REELPROOF_SKIP_NOTHING"))


def _failed_if_skipped(report: pytest.CollectReport | pytest.TestReport) -> None:
    if SKIP_NOTHING and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped where nothing may be skipped: {report.longrepr}"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    _failed_if_skipped(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    report = yield
    _failed_if_skipped(report)
    return report


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Skip browser tests, with the reason, where no browser is installed."""
    if chromium_on_path() is not None:
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
            from pipeline.job.assessing import assess_runs
            from pipeline.job.loading import load_sheets
            from pipeline.store.database import open_to_write

            with open_to_write(folder) as store:
                _, refused = load_sheets(store, (SAMPLE_RUNS / "runs",))
                assert refused == []
                assess_runs(store, ())
            (folder / "whole").touch()
    yield folder


def copy_small_run(folder: Path) -> Path:
    """The sheet of the smallest sample run, copied into `folder` with its logs and the line's and plant's sheets."""
    home = folder / "sample_runs"
    (home / "runs").mkdir(parents=True)
    shutil.copytree(SAMPLE_RUNS / "runs" / "R-0415", home / "runs" / "R-0415")
    shutil.copytree(SAMPLE_RUNS / "lines", home / "lines")
    shutil.copy(SAMPLE_RUNS / "plant.toml", home / "plant.toml")
    return home / "runs" / "R-0415" / "run.toml"


@pytest.fixture
def small_run(tmp_path: Path) -> Path:
    """A folder with the smallest sample run, its sheets and the line's and plant's, free to be spoiled."""
    return copy_small_run(tmp_path)


@lru_cache(maxsize=64)
def _simulated(product: str, seed: int, frozen: tuple[tuple[str, Any], ...]) -> Any:
    from tests.simulator.in_memory import short_scenario, simulate_in_memory

    options = {name: dict(value) if name == "stations_m" else value for name, value in frozen}
    return simulate_in_memory(short_scenario(product, **options), seed)


@pytest.fixture(scope="session")
def simulated() -> Callable[..., Any]:
    """A simulated run with its truth, by product, seed and options of the scenario; each made once a session."""

    def make(product: str, seed: int, **options: Any) -> Any:
        frozen = tuple(
            (name, tuple(value.items()) if isinstance(value, dict) else value)
            for name, value in sorted(options.items())
        )
        return _simulated(product, seed, frozen)

    return make


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """One headless browser for every test of a worker: a second engine in one thread is refused."""
    found = chromium_on_path()
    if found is None:
        # Without a browser these tests are skipped before they start, except where one is required.
        pytest.fail("no chromium on the path: pages cannot be opened")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=found, args=QUIET)
        yield browser
        browser.close()

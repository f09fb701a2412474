"""Puts the parts of the release matrix together, prints its table and fails the session on what no part can see."""

from __future__ import annotations

import json
import os
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.release_matrix.table import Counts, added, lines_of, total, write_table

KEPT = Path(__file__).with_name("found.csv")
# Set to write the table beside the tests anew.
KEEP = bool(os.environ.get("REELPROOF_MATRIX_KEEP"))
# First seed of the runs; another makes other wire, lines and damage.
SEED = int(os.environ.get("REELPROOF_MATRIX_SEED") or "20261203")
# Of the good reels with full evidence at least this share must be releasable; told of so many reels or more.
LEAST_RELEASED, FEWEST_GOOD = 0.99, 200
_parts: list[Counts] = []


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    if report.when == "call":
        _parts.extend(json.loads(str(text)) for name, text in report.user_properties if name == "matrix")


def pytest_sessionfinish(session: pytest.Session) -> None:
    if hasattr(session.config, "workerinput"):
        return
    sums = total(added(_parts))
    if sums["good"] >= FEWEST_GOOD and sums["released"] < LEAST_RELEASED * sums["good"]:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    if not _parts:
        return
    counts = added(_parts)
    terminalreporter.section("release matrix")
    for line in lines_of(counts):
        terminalreporter.line(line)
    sums = total(counts)
    if sums["good"] >= FEWEST_GOOD and sums["released"] < LEAST_RELEASED * sums["good"]:
        terminalreporter.line(f"FAILED: of {sums['good']} good reels {sums['released']} were releasable")
    if KEEP:
        write_table(KEPT, counts, SEED, datetime.now(UTC).date())

"""Prints the table of the cause bench at the end of a session, and keeps it where asked."""

from __future__ import annotations

import json
import os
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.cause_bench.counting import Row, lines_of, write_table

KEPT = Path(__file__).with_name("found.csv")
_rows: list[Row] = []


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    if report.when == "call":
        _rows.extend(
            Row(**json.loads(str(text))) for name, text in report.user_properties if name == "causes"
        )


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    if not _rows:
        return
    terminalreporter.section("cause bench")
    for line in lines_of(_rows):
        terminalreporter.line(line)
    if os.environ.get("REELPROOF_CAUSES_KEEP"):
        write_table(KEPT, _rows, datetime.now(UTC).date())

"""Prints the table of the contradiction bench at the end of a session, and keeps it where asked."""

from __future__ import annotations

import json
import os
from datetime import UTC, datetime
from pathlib import Path

import pytest

from pipeline.job.basis import METHOD_VERSION
from tests.contradiction_bench.counting import Row, lines_of, smallest, write_table

KEPT = Path(__file__).with_name("found.csv")
_rows: list[Row] = []


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    if report.when == "call":
        _rows.extend(
            Row(**json.loads(str(text))) for name, text in report.user_properties if name == "contradictions"
        )


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    if not _rows:
        return
    terminalreporter.section("contradiction bench")
    rows = sorted(_rows, key=lambda one: (one.channel, one.kind, one.size, one.line))
    for line in lines_of(rows):
        terminalreporter.line(line)
    for line in smallest(one for one in rows if one.channel != "clean"):
        terminalreporter.line(line)
    if os.environ.get("REELPROOF_CONTRADICTIONS_KEEP"):
        write_table(KEPT, rows, datetime.now(UTC).date(), METHOD_VERSION)

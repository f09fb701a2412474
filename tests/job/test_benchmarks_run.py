"""Benchmarks still run: each once, on next to nothing, in this process. Their figures are not looked at."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.benchmarks.__main__ import BENCHMARKS, measure
from tests.benchmarks.own_process import WITHIN
from tests.benchmarks.row import HEADINGS, table


@pytest.mark.slow
def test_every_benchmark_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(WITHIN, "1")
    rows = measure(BENCHMARKS, "tiny", tmp_path)
    assert len(rows) >= 20
    assert all(row.reached for row in rows)
    assert table(rows).splitlines()[0].split()[0] == HEADINGS[0]

"""What a person at a notebook calls: the guide runs as printed, and importing it leaves the process as it was."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

import pipeline
from pipeline.errors import NotFoundError, ReelproofError

ROOT = Path(__file__).parents[2]


def test_the_guide_runs_as_printed(tmp_path: Path) -> None:
    (printed,) = re.findall(r"```python\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.S)
    calls = [line for line in printed.splitlines() if line.strip()]
    assert len(calls) <= 10
    (tmp_path / "sample_runs").symlink_to(ROOT / "sample_runs")
    done = subprocess.run(
        [sys.executable, "-c", printed],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
    )
    assert done.stderr == ""
    first, *_, last = done.stdout.splitlines()
    with_store = pipeline.open_store(tmp_path / "store")
    standing = pipeline.reel(with_store, "L1-0415-01").record
    assert first == f"L1-0415-01: {standing.code}."
    assert last.endswith(" mm")
    page = (tmp_path / "reel.html").read_text(encoding="utf-8")
    assert "Reel L1-0415-01" in page
    assert "minimum wall at any point" in page


STATE = """
import json, locale, logging, multiprocessing, os, signal, sys, threading, warnings

def state():
    return json.dumps({
        "environment": dict(os.environ),
        "folder": os.getcwd(),
        "locale": locale.setlocale(locale.LC_ALL),
        "signals": [str(signal.getsignal(one)) for one in sorted(signal.valid_signals())],
        "log": [logging.root.level, [str(one) for one in logging.root.handlers], logging.root.manager.disable],
        "start": str(multiprocessing.get_start_method(allow_none=True)),
        "threads": threading.active_count(),
        "warnings": len(warnings.filters),
        "hooks": [str(sys.excepthook), str(sys.displayhook), sys.getrecursionlimit()],
        "path": sys.path,
    })
"""


def test_importing_changes_nothing_in_the_process() -> None:
    script = (
        STATE
        + "before = state()\nimport pipeline\nafter = state()\n"
        + "light = sorted({'numpy', 'polars', 'duckdb', 'plotly', 'prefect'} & set(sys.modules))\n"
        + "from pipeline import *\nlast = state()\nprint(json.dumps([before, after, last, light]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        env={
            name: value for name, value in os.environ.items() if "OPENBLAS" not in name and "RJEM" not in name
        }
        | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
    )
    before, after, last, light = json.loads(done.stdout)
    assert json.loads(before) == json.loads(after)
    assert json.loads(before) == json.loads(last)
    assert light == []


def test_a_table_shows_itself_in_a_notebook() -> None:
    sheet = pipeline.product("THHN/THWN-2", "12 AWG")
    assert repr(sheet).startswith("THHN/THWN-2 12 AWG, concentric copper\nSection ")
    assert sheet._repr_html_().count("<tr>") == len(sheet.rows) + 1


def test_what_is_not_there_is_said(tmp_path: Path, judged_store: Path) -> None:
    with pytest.raises(ReelproofError) as refused:
        pipeline.assess(pipeline.open_store(tmp_path / "none"))
    assert "none" in str(refused.value)
    store = pipeline.open_store(judged_store)
    with pytest.raises(NotFoundError) as unknown:
        pipeline.readings(store, "R-0499")
    assert "R-0499" in str(unknown.value)
    with pytest.raises(NotFoundError):
        pipeline.plot(store, "L1-0411-01", "wall")
    with pytest.raises(AttributeError, match="no attribute 'judge'"):
        _ = pipeline.judge  # type: ignore[attr-defined]

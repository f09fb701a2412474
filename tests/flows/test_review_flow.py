"""The whole job and the watched inbox on Prefect's embedded engine: offline, and nothing left behind."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
pytestmark = pytest.mark.slow


def run(*arguments: str | Path, home: Path) -> subprocess.CompletedProcess[str]:
    environment = dict(os.environ, PYTHONPATH=str(ROOT), PREFECT_HOME=str(home), HOME=str(home))
    return subprocess.run(
        [sys.executable, "-m", "pipeline", *map(str, arguments)],
        capture_output=True,
        text=True,
        cwd=home,
        env=environment,
        timeout=280,
    )


@pytest.fixture(scope="module")
def engine_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("engine")


def processes_of(home: Path) -> list[str]:
    listed = subprocess.run(["ps", "-eo", "args"], capture_output=True, text=True, check=False).stdout
    return [line for line in listed.splitlines() if str(home) in line and "prefect" in line]


def test_review_loads_judges_and_writes_pages_in_one_go(
    small_run: Path, tmp_path: Path, engine_home: Path
) -> None:
    bad = small_run.parent.parent / "R-0001"
    bad.mkdir()
    (bad / "run.toml").write_text("[run]\nid = 'R-0001'\n")
    shown = run("review", small_run.parent.parent, "--store", tmp_path / "s", "--json", home=engine_home)
    answer = json.loads(shown.stdout)
    assert shown.returncode == 2  # one run could not be loaded, and the exit code says so
    assert [one["run_id"] for one in answer["loaded"]] == ["R-0415"]
    assert [(one["releasable"], one["held"]) for one in answer["assessed"]] == [(2, 1)]
    assert any("R-0001" in sentence for sentence in answer["refused"])
    assert Path(answer["index"]).is_file() or (engine_home / answer["index"]).is_file()
    assert "Traceback" not in shown.stderr
    assert processes_of(engine_home) == []


def test_an_inbox_is_watched_and_a_bad_run_blocks_none(
    small_run: Path, tmp_path: Path, engine_home: Path
) -> None:
    inbox = small_run.parents[1]
    spoiled = inbox / "R-0099"
    shutil.copytree(small_run.parent, spoiled)
    (spoiled / "R-0415_log.csv.gz").write_bytes(b"this is no gzip")
    text = (spoiled / "run.toml").read_text().replace('id = "R-0415"', 'id = "R-0099"')
    (spoiled / "run.toml").write_text(text)
    shown = run(
        "watch",
        inbox,
        "--store",
        tmp_path / "s",
        "--quiet",
        "0",
        "--every",
        "0.5",
        "--looks",
        "2",
        home=engine_home,
    )
    assert shown.returncode == 0, shown.stderr
    lines = shown.stdout.splitlines()
    assert "R-0415/run.toml: reviewed" in lines
    assert sum("R-0415" in line and "reviewed" in line for line in lines) == 1
    assert any(line.startswith("R-0099/run.toml: not done, will be tried again. ") for line in lines)
    assert (inbox / "R-0415" / "R-0415_log.csv.gz").exists()
    assert processes_of(engine_home) == []

"""The whole job and the watched inbox on Prefect's embedded engine: offline, and nothing left behind."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.conftest import copy_small_run

ROOT = Path(__file__).parents[2]
pytestmark = pytest.mark.slow


# One process does both, so that Prefect's libraries are loaded once.
BOTH = """
import contextlib, json, pathlib, sys
from pipeline.cli.app import run
for name, words in json.loads(sys.argv[1]).items():
    with open(name + ".out", "w") as out, open(name + ".err", "w") as err:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = run(words)
    pathlib.Path(name + ".code").write_text(str(code))
"""


@dataclass(frozen=True)
class Shown:
    """What a command printed, and its exit code."""

    stdout: str
    stderr: str
    code: int


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a run that is sound, one whose sheet is not whole, and one whose log is no log."""
    home = tmp_path_factory.mktemp("engine")
    sound = copy_small_run(home).parent
    bad = sound.parent / "R-0001"
    bad.mkdir()
    (bad / "run.toml").write_text("[run]\nid = 'R-0001'\n")
    inbox = home / "sample_runs" / "inbox"
    shutil.copytree(sound, inbox / "R-0415")
    spoiled = inbox / "R-0099"
    shutil.copytree(sound, spoiled)
    (spoiled / "R-0415_log.csv.gz").write_bytes(b"this is no gzip")
    text = (spoiled / "run.toml").read_text().replace('id = "R-0415"', 'id = "R-0099"')
    (spoiled / "run.toml").write_text(text)
    return home


@pytest.fixture(scope="module")
def shown(home: Path) -> dict[str, Shown]:
    commands = {
        "review": ["review", "sample_runs/runs", "--store", "reviewed", "--json"],
        "watch": ["watch", "sample_runs/inbox", "--store", "watched", "--quiet", "0", "--every", "0.5"],
    }
    commands["watch"] += ["--looks", "2"]
    done = subprocess.run(
        [sys.executable, "-c", BOTH, json.dumps(commands)],
        capture_output=True,
        text=True,
        cwd=home,
        env=dict(os.environ, PYTHONPATH=str(ROOT), PREFECT_HOME=str(home), HOME=str(home)),
        timeout=290,
    )
    assert done.returncode == 0, done.stderr
    return {name: told(home / name) for name in commands}


def told(path: Path) -> Shown:
    out, err, code = (path.with_suffix(f".{kind}").read_text() for kind in ("out", "err", "code"))
    return Shown(out, err, int(code))


def processes_of(home: Path) -> list[str]:
    listed = subprocess.run(["ps", "-eo", "args"], capture_output=True, text=True, check=False).stdout
    return [line for line in listed.splitlines() if str(home) in line and "prefect" in line]


def test_review_loads_judges_and_writes_pages_in_one_go(home: Path, shown: dict[str, Shown]) -> None:
    review = shown["review"]
    answer = json.loads(review.stdout)
    assert review.code == 2  # one run could not be loaded, and the exit code says so
    assert [one["run_id"] for one in answer["loaded"]] == ["R-0415"]
    assert [(one["releasable"], one["held"]) for one in answer["assessed"]] == [(2, 1)]
    assert any("R-0001" in sentence for sentence in answer["refused"])
    assert (home / answer["index"]).is_file()
    assert "Traceback" not in review.stderr
    assert processes_of(home) == []


def test_an_inbox_is_watched_and_a_bad_run_blocks_none(home: Path, shown: dict[str, Shown]) -> None:
    watch = shown["watch"]
    assert watch.code == 0, watch.stderr
    lines = watch.stdout.splitlines()
    assert "R-0415/run.toml: reviewed" in lines
    assert sum("R-0415" in line and "reviewed" in line for line in lines) == 1
    assert any(line.startswith("R-0099/run.toml: not done, will be tried again. ") for line in lines)
    assert (home / "sample_runs" / "inbox" / "R-0415" / "R-0415_log.csv.gz").exists()
    assert processes_of(home) == []

"""The whole job and the watched inbox on Prefect's embedded engine: offline, and nothing left behind."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.conftest import copy_small_run

ROOT = Path(__file__).parents[2]
pytestmark = pytest.mark.slow


# One process does both, so that Prefect's libraries are loaded once; the watch ends as a stopped command does.
BOTH = """
import contextlib, json, pathlib, sys
from pipeline import cli
from pipeline.cli.app import run
review, watch = json.loads(sys.argv[1])
with open("review.out", "w") as out, open("review.err", "w") as err:
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = run(review)
pathlib.Path("review.code").write_text(str(code))
sys.argv[1:] = watch
cli.main()
"""
REVIEW = ["review", "sample_runs/runs", "--store", "reviewed", "--json"]
WATCH = ["watch", "sample_runs/inbox", "--store", "watched", "--quiet", "0", "--every", "0.5"]


@dataclass
class Watched:
    """What the watch printed, how it ended, and the inbox before, while a run was spoiled, and at the end."""

    lines: list[str]
    code: int
    mended: dict[str, tuple[bytes, int]]
    inbox: list[dict[str, tuple[bytes, int]]]


def contents(folder: Path) -> dict[str, tuple[bytes, int]]:
    return {str(path): (path.read_bytes(), path.stat().st_mtime_ns) for path in folder.rglob("*.*")}


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a run that is sound, one whose sheet is not whole, and an inbox with one whose mapping is wrong."""
    home = tmp_path_factory.mktemp("engine")
    sound = copy_small_run(home).parent
    bad = sound.parent / "R-0001"
    bad.mkdir()
    (bad / "run.toml").write_text("[run]\nid = 'R-0001'\n")
    inbox = home / "sample_runs" / "inbox"
    shutil.copytree(sound, inbox / "R-0415")
    shutil.copytree(sound, inbox / "R-0099")
    return home


@pytest.fixture(scope="module")
def watched(home: Path) -> Iterator[Watched]:
    inbox = home / "sample_runs" / "inbox"
    sheet = inbox / "R-0099" / "run.toml"
    mended = sheet.read_text().replace('id = "R-0415"', 'id = "R-0099"')
    sheet.write_text(mended.replace("Footage_ft", "Footage_feet"))
    before = contents(inbox)
    process = subprocess.Popen(
        [sys.executable, "-c", BOTH, json.dumps([REVIEW, WATCH])],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=home,
        env=dict(os.environ, PYTHONPATH=str(ROOT), PREFECT_HOME=str(home), HOME=str(home)),
    )
    with process:
        assert process.stdout is not None
        lines = [process.stdout.readline(), process.stdout.readline()]
        while_spoiled = contents(inbox)
        sheet.write_text(mended)
        lines.append(process.stdout.readline())
        plant = home / "sample_runs" / "plant.toml"
        plant.write_text(plant.read_text() + "# edited\n")
        lines += [process.stdout.readline() for _ in range(3)]
        assert str(process.pid) in processes_of(home)
        process.send_signal(signal.SIGINT)
        out, told = process.communicate(timeout=120)
    assert told.splitlines()[-1:] == ["Stopped. What was finished is on file; nothing half-written was kept."]
    yield Watched(
        [*lines, *out.splitlines(keepends=True)],
        process.returncode,
        contents(sheet.parent),
        [before, while_spoiled, contents(inbox)],
    )


def processes_of(home: Path) -> list[str]:
    """Processes that were started with this home, by what they were given; an engine's own arguments do not name it."""
    found = []
    for given in Path("/proc").glob("[0-9]*/environ"):
        with suppress(OSError):  # It has ended meanwhile, or is another user's.
            if f"PREFECT_HOME={home}".encode() in given.read_bytes():
                found.append(given.parent.name)
    return found


def test_review_loads_judges_and_writes_pages_in_one_go(home: Path, watched: Watched) -> None:
    out, told, code = ((home / f"review.{kind}").read_text() for kind in ("out", "err", "code"))
    answer = json.loads(out)
    assert code == "2"  # one run could not be loaded, and the exit code says so
    assert [one["run_id"] for one in answer["loaded"]] == ["R-0415"]
    assert [(one["releasable"], one["held"]) for one in answer["assessed"]] == [(2, 1)]
    assert any("R-0001" in sentence for sentence in answer["refused"])
    assert (home / answer["index"]).is_file()
    assert "Traceback" not in told


def test_an_inbox_is_watched_a_bad_run_blocks_none_and_is_done_once_mended(watched: Watched) -> None:
    assert watched.lines[0] == "R-0415/run.toml: reviewed\n"
    assert watched.lines[1].startswith("R-0099/run.toml: not done, will be tried again. ")
    assert "there is no column 'Footage_feet'. The nearest is 'Footage_ft'" in watched.lines[1]
    assert watched.lines[2] == "R-0099/run.toml: reviewed\n"


def test_a_watch_tells_of_a_plant_sheet_that_was_edited_since_the_judgement(watched: Watched) -> None:
    assert watched.lines[3:5] == ["R-0099/run.toml: reviewed\n", "R-0415/run.toml: reviewed\n"]
    (told,) = watched.lines[5:]
    assert (
        "plant.toml was edited, or another sheet was named since: 2 runs are judged by another plant sheet"
        in told
    )
    assert "(R-0099, R-0415). To judge by it as it stands now: reelproof assess --plant " in told


def test_nothing_in_the_inbox_is_touched(watched: Watched) -> None:
    before, while_spoiled, after = watched.inbox
    assert while_spoiled == before
    assert after == before | watched.mended


def test_a_watch_that_is_stopped_leaves_no_process(home: Path, watched: Watched) -> None:
    assert watched.code == 130
    assert processes_of(home) == []

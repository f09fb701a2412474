"""Every command README.md shows runs as printed, in order, on the demo's store.

The whole job and the makers of long logs have tests of their own and take minutes, so they run here only with
REELPROOF_README=all, which begins with an empty folder as a new user would.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
from pathlib import Path

import pytest

from pipeline.cli.app import run
from tests.acts.decided_store import copied

ROOT = Path(__file__).parents[2]
ALL = os.environ.get("REELPROOF_README") == "all"
# Commands that take minutes, by how each begins; a watch has no end of its own.
LONG = ("demo", "review", "load", "assess", "pages", "simulate")
ENDLESS = "watch"
# They serve others until they are stopped; `tests/lots` and `tests/desk` try them in processes of their own.
SERVES = ("witness", "serve")
# A drift that reaches reels is told by the exit code too, as README.md says beside it.
CODES = {"drift": 1}


def commands() -> list[list[str]]:
    """The commands of README.md, word by word, without what stands behind them as a comment."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    block = text.split("## Commands", 1)[1].split("\n## ", 1)[0]
    lines = re.findall(r"^    reelproof (.+)$", block, re.M)
    return [shlex.split(line, comments=True) for line in lines]


def test_the_walk_from_a_log_to_a_loaded_run_goes_as_printed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "sample_runs").symlink_to(ROOT / "sample_runs")
    section = (ROOT / "README.md").read_text(encoding="utf-8").split("## Your own log, in ten minutes", 1)[1]
    lines = re.findall(r"^    (.+)$|^(\S.+)$", section.split("\n## ", 1)[0], re.M)
    out, sheet = "", ""
    for line, text in lines:
        if text:
            if sheet:
                Path("try/runs/R-1/run.toml").write_text(sheet)
            sheet = ""
        elif line.startswith("reelproof "):
            assert run(shlex.split(line)[1:]) == 0
            out = capsys.readouterr().out
        elif line.startswith(("mkdir ", "cp ", "cat ")):
            subprocess.run(["bash", "-c", line], check=True)
        elif line.startswith("R-1: "):
            assert out == f"{line}\n"
            out = "loaded"
        else:
            sheet += f"{line}\n"
    assert out == "loaded"


def test_readme_shows_what_each_command_is_called_with() -> None:
    shown = commands()
    assert len(shown) >= 25
    for words in shown:
        for word in words:
            if word.startswith("sample_runs"):
                assert (ROOT / word).exists(), word


def test_every_command_of_the_readme_runs_as_printed(
    judged_store: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("REELPROOF_STORE", raising=False)
    (tmp_path / "sample_runs").symlink_to(ROOT / "sample_runs")
    (tmp_path / "inbox").mkdir()
    (tmp_path / "outside").mkdir()  # a folder of another owner, which is there beforehand
    if not ALL:
        copied(judged_store, tmp_path / "store")
        page = tmp_path / "store" / "pages" / "runs" / "R-0412.html"
        page.parent.mkdir(parents=True)
        page.write_text("<!doctype html><title>R-0412</title>")  # 'mail' has tests of its own
    for words in commands():
        if words[0] in SERVES or (words[0] in LONG and not ALL):
            continue
        more = ["--looks", "1", "--every", "0.5"] if words[0] == ENDLESS else []
        code = run([*words, *more])
        shown = capsys.readouterr()
        assert code == CODES.get(words[0], 0), f"{' '.join(words)}\n{shown.out[-600:]}{shown.err}"
        assert shown.out or words[0] == ENDLESS, words
    made = {path.name for path in tmp_path.iterdir()}
    assert {"lot-PVC-7741", "lot-PVC-7741.zip", "quality.key", "quality.key.pub", "R-0412.html"} & made
    assert run(["verify", "--store", "store"]) == 0

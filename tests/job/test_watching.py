"""Which runs of an inbox are worked, and when: complete, quiet, once, and again after a failure."""

from __future__ import annotations

import shutil
from pathlib import Path

from pipeline.job.watching import MEMORY, Watched, look, note_done, note_failed, remember, remembered


def test_a_run_is_worked_once_when_it_is_complete_and_quiet(small_run: Path) -> None:
    inbox = small_run.parents[1]
    spark = small_run.parent / "R-0415_spark.csv.gz"
    held_back = spark.read_bytes()
    spark.unlink()
    ready, memory = look(inbox, {}, 1000.0, 10.0)
    assert ready == ()
    assert memory["R-0415/run.toml"].reason == "R-0415_spark.csv.gz is not there yet"
    spark.write_bytes(held_back)
    ready, memory = look(inbox, memory, 1020.0, 10.0)
    assert ready == ()  # it changed just now
    ready, memory = look(inbox, memory, 1031.0, 10.0)
    assert ready == (small_run,)
    note_done(memory, "R-0415/run.toml")
    ready, memory = look(inbox, memory, 1100.0, 10.0)
    assert ready == ()
    with spark.open("ab") as file:
        file.write(b"\n")
    ready, memory = look(inbox, memory, 1200.0, 10.0)
    ready, memory = look(inbox, memory, 1300.0, 10.0)
    assert ready == (small_run,)  # a changed file is new work


def test_a_failed_run_waits_longer_each_time_and_blocks_no_other(small_run: Path) -> None:
    inbox = small_run.parents[1]
    shutil.copytree(small_run.parent, inbox / "R-0416")
    _, memory = look(inbox, {}, 0.0, 0.0)
    note_failed(memory, "R-0415/run.toml", "no reading", 100.0)
    ready, memory = look(inbox, memory, 120.0, 0.0)
    assert ready == (inbox / "R-0416" / "run.toml",)
    ready, memory = look(inbox, memory, 160.0, 0.0)
    assert small_run in ready
    note_failed(memory, "R-0415/run.toml", "no reading", 160.0)
    assert memory["R-0415/run.toml"].again_s == 160.0 + 120.0
    assert memory["R-0415/run.toml"].tries == 2


def test_a_sheet_that_cannot_be_read_waits_with_its_reason(tmp_path: Path) -> None:
    (tmp_path / "R-1").mkdir()
    (tmp_path / "R-1" / "run.toml").write_text("[run")
    ready, memory = look(tmp_path, {}, 0.0, 0.0)
    assert ready == ()
    assert "this is not TOML" in memory["R-1/run.toml"].reason


def test_what_is_remembered_comes_back_and_damage_is_nothing(tmp_path: Path) -> None:
    memory = {"R-1/run.toml": Watched("a:1:2", 5.0, "failed", 2, 9.0, "why")}
    remember(tmp_path, memory)
    assert remembered(tmp_path) == memory
    (tmp_path / MEMORY).write_text("{half")
    assert remembered(tmp_path) == {}

"""Judging runs again: once each, from where it stood, the same figures whoever and however many did it."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.errors import NotFoundError
from pipeline.job import side_by_side
from pipeline.job.assessing import assess_runs
from pipeline.job.loading import load_sheet, load_sheets
from pipeline.job.local_crew import LocalCrew
from pipeline.job.reassess_work import made_by
from pipeline.job.reassessing import Alone, Batch, Wanted, reassess
from pipeline.store.database import open_to_read, open_to_write
from tests.conftest import copy_small_run
from tests.flows.test_reassess_on_cluster import copies_of
from tests.job.store_digest import digest_of

ROOT = Path(__file__).parents[2]
ALL_RUNS = os.environ.get("REELPROOF_EVERY_RUN")


@pytest.fixture(scope="module")
def loaded_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("loaded")
    folder = ROOT / "sample_runs" / "runs" if ALL_RUNS else copies_of(copy_small_run(home), 2)
    with open_to_write(home / "s") as store:
        load_sheets(store, (folder,))
    return home / "s"


@pytest.fixture
def loaded(loaded_once: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(loaded_once, tmp_path / "s"))


@pytest.fixture(scope="module")
def judged_alone(loaded_once: Path, tmp_path_factory: pytest.TempPathFactory) -> object:
    """What judging the same runs one after the other in this process comes to."""
    folder = Path(shutil.copytree(loaded_once, tmp_path_factory.mktemp("alone") / "s"))
    reassess(folder, Wanted(), Alone())
    return digest_of(folder)


def judgements(folder: Path) -> list[str]:
    with open_to_read(folder) as store:
        rows = store.connection.execute("SELECT run_id FROM judged.assessment ORDER BY run_id").fetchall()
    return [row[0] for row in rows]


class Stops(Alone):
    """Judges so many batches, then is stopped from outside."""

    def __init__(self, after: int) -> None:
        super().__init__()
        self.left = after

    def take(self) -> tuple[Batch, tuple[object, ...] | Exception]:  # type: ignore[override]
        if self.left == 0:
            raise KeyboardInterrupt
        self.left -= 1
        return super().take()


def test_stopped_it_goes_on_where_it_stood(loaded: Path) -> None:
    with pytest.raises(KeyboardInterrupt):
        reassess(loaded, Wanted(), Stops(1), batch=1, every_s=0.0)
    assert len(judgements(loaded)) == 1
    told: list[str] = []
    outcome = reassess(loaded, Wanted(), Alone(), batch=1, told=lambda run, _more: told.append(run))
    assert outcome.already == 1
    assert outcome.judged == outcome.asked - 1 == len(told)
    assert len(judgements(loaded)) == len(set(judgements(loaded))) == outcome.asked
    again = reassess(loaded, Wanted(), Alone())
    assert (again.already, again.judged) == (outcome.asked, 0)


def test_a_process_killed_in_a_batch_costs_that_batch_only(loaded: Path, judged_alone: object) -> None:
    killed: list[int] = []

    class Killed(LocalCrew):
        def take(self):  # type: ignore[no-untyped-def]
            self._start()
            processes = list((self._pool._processes or {}).values())
            if not killed and processes:
                killed.append(processes[0].pid)
                os.kill(processes[0].pid, signal.SIGKILL)
            return super().take()

    with Killed(2) as crew:
        outcome = reassess(loaded, Wanted(), crew, batch=1)
    assert len(killed) == 1
    assert outcome.refused == ()
    assert len(judgements(loaded)) == len(set(judgements(loaded))) == outcome.judged == outcome.asked
    assert digest_of(loaded) == judged_alone


class Gone:
    """A crew none of whose processes finishes anything."""

    def __init__(self, workers: int) -> None:
        self.workers = workers
        self.given: list[Batch] = []

    def __enter__(self) -> Gone:
        return self

    def __exit__(self, *_fault: object) -> None:
        assert self.given == []

    def give(self, batch: Batch) -> None:
        self.given.append(batch)

    def has_finished(self) -> bool:
        return bool(self.given)

    def take(self) -> tuple[Batch, Exception]:
        return self.given.pop(), RuntimeError("gone")


@pytest.mark.parametrize("crew", [LocalCrew, Gone])
def test_assessing_side_by_side_puts_the_same_on_file_in_the_same_order(
    loaded: Path, judged_alone: object, monkeypatch: pytest.MonkeyPatch, crew: type
) -> None:
    monkeypatch.setattr(side_by_side, "WORTH_READINGS", 0)
    monkeypatch.setattr(side_by_side, "cores", lambda: 2)
    monkeypatch.setattr(side_by_side, "LocalCrew", crew)
    with open_to_write(loaded) as store:
        told: list[str] = []
        outcomes = assess_runs(store, (), lambda run_id, _more: told.append(run_id))
        runs = [row["run_id"] for row in store.ask("questions/current_runs")]
        order = store.connection.execute(
            "SELECT run_id FROM judged.assessment ORDER BY assessment_id"
        ).fetchall()
        assert [one.was_new for one in assess_runs(store, ())] == [False] * len(runs)
    assert [one.run_id for one in outcomes] == [row[0] for row in order] == told == runs
    assert digest_of(loaded) == judged_alone


def test_processes_are_started_only_where_they_are_worth_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(side_by_side, "cores", lambda: 4)
    worth = side_by_side.WORTH_READINGS
    assert side_by_side.processes_for([]) == 1
    assert side_by_side.processes_for([worth - 1]) == 1
    assert side_by_side.processes_for([worth]) == 1
    # Three shifts of eight hours at ten readings a second fit together into 1.5 GB, or two days, or one of 30 hours.
    assert side_by_side.processes_for([288_000] * 5) == 3
    assert side_by_side.processes_for([864_000] * 5) == 2
    assert side_by_side.processes_for([1_080_000] * 5) == 1
    assert side_by_side.processes_for([100_000] * 5) == 4


def test_threads_are_as_many_as_the_largest_log_leaves_memory_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(side_by_side, "cores", lambda: 4)

    def sheet(name: str, log: str, size: int) -> Path:
        (tmp_path / name).mkdir()
        with (tmp_path / name / log).open("wb") as file:
            file.truncate(size)  # takes no room on disk
        return tmp_path / name / "run.toml"

    short = sheet("short", "log.csv", 3_000_000)
    assert side_by_side.threads_for(()) == 4
    assert side_by_side.threads_for((short,)) == 4
    # A day's 85 MB twice within 1.5 GB; the same packed is taken for eight times as much.
    assert side_by_side.threads_for((short, sheet("day", "log.csv", 85_000_000))) == 2
    assert side_by_side.threads_for((sheet("packed", "log.csv.gz", 30_000_000),)) == 1
    assert side_by_side.threads_for((sheet("long", "log.csv", 5_000_000_000), short)) == 1


def test_only_the_runs_that_are_meant(loaded: Path) -> None:
    with pytest.raises(NotFoundError):
        reassess(loaded, Wanted(runs=("R-0000",)), Alone())
    with pytest.raises(NotFoundError):
        reassess(loaded, Wanted(line="L9"), Alone())
    assert reassess(loaded, Wanted(runs=("R-0415",)), Alone()).asked == 1
    assert judgements(loaded) == ["R-0415"]


def gives(batch_maker: Callable[[Batch], Batch]) -> type[Alone]:
    class Changed(Alone):
        def give(self, batch: Batch) -> None:
            super().give(batch_maker(batch))

    return Changed


def test_readings_that_were_changed_are_not_judged(loaded: Path) -> None:
    path = next(loaded.glob("readings/**/run_id=R-0415/load_id=*/logged.parquet"))
    path.write_bytes(path.read_bytes()[:-1] + b"x")
    outcome = reassess(loaded, Wanted(runs=("R-0415",)), Alone())
    assert outcome.refused == (
        f"R-0415: not judged; {path} is not as it was written; see 'reelproof verify'.",
    )
    assert judgements(loaded) == []


def test_a_worker_of_another_release_judges_nothing(loaded: Path) -> None:
    from dataclasses import replace

    other = ("reelproof 9.9", *made_by()[1:])
    crew = gives(lambda batch: tuple(replace(one, made_by=other) for one in batch))()
    (told,) = reassess(loaded, Wanted(runs=("R-0415",)), crew).refused
    assert "where reelproof 9.9 is asked for" in told


@pytest.mark.skipif(ALL_RUNS, reason="needs the copied run")
def test_a_run_loaded_meanwhile_is_planned_again(loaded: Path, small_run: Path) -> None:
    done: list[Batch] = []

    def loads_first(batch: Batch) -> Batch:
        if not done:
            text = small_run.read_text().replace("[run.product]", 'note = "again"\n\n[run.product]', 1)
            small_run.write_text(text)
            with open_to_write(loaded) as store:
                load_sheet(store, small_run)
        done.append(batch)
        return batch

    outcome = reassess(loaded, Wanted(runs=("R-0415",)), gives(loads_first)())
    assert (outcome.judged, len(done)) == (1, 2)
    with open_to_read(loaded) as store:
        (row,) = store.ask("questions/assessments_of_run", run_id="R-0415")
        assert row["load_id"] == store.ask("questions/loads_of_run", run_id="R-0415")[-1]["load_id"]


@pytest.mark.slow
@pytest.mark.parametrize("threads", [1, 8])
def test_the_number_of_threads_changes_no_digit(loaded: Path, judged_alone: object, threads: int) -> None:
    """Polars, DuckDB and BLAS with 1 and 8 threads against as many as this process has."""
    names = ("POLARS_MAX_THREADS", "OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
    environment = {**os.environ, **dict.fromkeys(names, str(threads)), "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-c", IN_THREADS, str(loaded), str(threads)],
        env=environment,
        capture_output=True,
        text=True,
    )
    assert done.stdout == f"{threads} {threads}\n", done.stderr
    assert digest_of(loaded) == judged_alone


IN_THREADS = """
import sys
from pathlib import Path
import polars
from pipeline.job.reassessing import Alone, Wanted, reassess
from pipeline.store import database
threads = int(sys.argv[2])
database._CONFIG["threads"] = threads
reassess(Path(sys.argv[1]), Wanted(), Alone())
with database.open_to_read(Path(sys.argv[1])) as store:
    told = store.connection.execute("SELECT current_setting('threads')").fetchall()[0][0]
print(polars.thread_pool_size(), told)
"""

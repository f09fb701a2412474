"""Loading into a store: once for each content, nothing doubled, nothing half-written, whole after a kill."""

from __future__ import annotations

import gzip
import os
import shutil
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from threading import Barrier
from typing import Any

import polars as pl
import pytest

from pipeline.cli import STOPPED
from pipeline.errors import ReelproofError
from pipeline.job import loading
from pipeline.job.assessing import assess_run, assess_runs
from pipeline.job.loading import load_sheet, load_sheets
from pipeline.job.plant_in_force import told_of_plant
from pipeline.steps.load import Loaded, RunSheets, load_run
from pipeline.store.database import open_to_read, open_to_write
from pipeline.store.layout import READINGS, UNFINISHED
from pipeline.store.readings import read_frame, sweep
from pipeline.wording.say import plain
from tests.said import said


def counts(store_folder: Path) -> dict[str, int]:
    with open_to_read(store_folder) as store:
        return {row["name"]: row["rows"] for row in store.ask("checks/rows_by_table")}


def test_the_same_run_twice_doubles_nothing(small_run: Path, tmp_path: Path) -> None:
    with open_to_write(tmp_path / "s") as store:
        first = load_sheet(store, small_run)
    before = counts(tmp_path / "s")
    with open_to_write(tmp_path / "s") as store:
        second = load_sheet(store, small_run)
    assert first.was_new
    assert not second.was_new
    assert second.load_id == first.load_id
    assert counts(tmp_path / "s") == before


def test_changed_content_is_a_new_version_and_says_so(small_run: Path, tmp_path: Path) -> None:
    with open_to_write(tmp_path / "s") as store:
        first = load_sheet(store, small_run)
        assess_run(store, "R-0415")
        small_run.write_text(
            small_run.read_text().replace("[run.product]", 'note = "second look"\n\n[run.product]', 1)
        )
        second = load_sheet(store, small_run)
        assert second.was_new
        assert second.supersedes == first.load_id
        again = assess_run(store, "R-0415")
        assert again.was_new
        assert len(store.ask("questions/assessments_of_run", run_id="R-0415")) == 2


def test_a_second_assessment_on_the_same_basis_is_the_first(small_run: Path, tmp_path: Path) -> None:
    with open_to_write(tmp_path / "s") as store:
        load_sheet(store, small_run)
        first = assess_run(store, "R-0415")
        second = assess_run(store, "R-0415")
    assert not second.was_new
    assert (first.assessment_id, first.held, first.findings) == (
        second.assessment_id,
        second.held,
        second.findings,
    )


def test_a_run_that_cannot_be_loaded_does_not_stop_the_others(small_run: Path, tmp_path: Path) -> None:
    other = small_run.parent.parent / "R-9999"
    other.mkdir()
    (other / "run.toml").write_text("[run]\nid = 'R-9999'\n")
    with open_to_write(tmp_path / "s") as store:
        outcomes, refused = load_sheets(store, (small_run.parent.parent,))
    assert [one.run_id for one in outcomes] == ["R-0415"]
    assert refused[0] == f"{other / 'run.toml'}: run.plant: this key is missing. Add it to the sheet."


def copies_of(small_run: Path, *ids: str) -> list[Path]:
    """More runs beside `small_run`, with its logs and reels of their own."""
    made = []
    for run_id in ids:
        folder = small_run.parent.parent / run_id
        shutil.copytree(small_run.parent, folder)
        text = (folder / "run.toml").read_text().replace("L1-0415-", f"L1-{run_id}-")
        (folder / "run.toml").write_text(text.replace('id = "R-0415"', f'id = "{run_id}"'))
        made.append(folder / "run.toml")
    return made


def test_runs_read_side_by_side_are_put_on_file_in_the_order_of_their_sheets(
    small_run: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    second, third, fourth = copies_of(small_run, "R-0416", "R-0417", "R-0418")
    (third.parent / "R-0415_log.csv.gz").write_bytes(b"")
    began: list[str] = []
    both = Barrier(2)

    def slow_at_first(sheets: RunSheets, *rest: Any) -> Loaded:
        began.append(sheets.run.id)
        if sheets.run.id in ("R-0415", "R-0416"):
            both.wait(60.0)  # neither is read before the other has begun
        if sheets.run.id == "R-0415":
            time.sleep(0.3)
        return load_run(sheets, *rest)

    monkeypatch.setattr(loading, "load_run", slow_at_first)
    monkeypatch.setattr(loading, "cores", lambda: 2)
    told: list[str] = []
    with open_to_write(tmp_path / "s") as store:
        outcomes, refused = load_sheets(
            store, (small_run, second, third, fourth), lambda name, rows: told.extend([name] * (rows > 0))
        )
        on_file = [row["run_id"] for row in store.ask("questions/current_runs")]
    assert [(one.run_id, one.load_id) for one in outcomes] == [("R-0415", 1), ("R-0416", 2), ("R-0418", 3)]
    assert sorted(on_file) == ["R-0415", "R-0416", "R-0418"]
    assert len(refused) == 1
    assert "R-0417" in refused[0]
    assert set(told) == {"R-0415", "R-0416", "R-0418"}


def test_a_sheet_that_tells_a_run_anew_comes_in_a_load_of_its_own(small_run: Path, tmp_path: Path) -> None:
    (again,) = copies_of(small_run, "R-0416")
    again.write_text(small_run.read_text() + "\n")
    with open_to_write(tmp_path / "s") as store:
        outcomes, refused = load_sheets(store, (small_run, again))
        assert (outcomes, len(refused)) == ((), 1)
        outcomes = tuple(load_sheets(store, (one,))[0][0] for one in (small_run, again))
    assert [(one.run_id, one.supersedes) for one in outcomes] == [("R-0415", None), ("R-0415", 1)]


def test_long_logs_are_read_alone(small_run: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    others = copies_of(small_run, "R-0416", "R-0417")
    under_way: list[str] = []
    most: list[int] = []

    def watched(sheets: RunSheets, *rest: Any) -> Loaded:
        under_way.append(sheets.run.id)
        most.append(len(under_way))
        time.sleep(0.1)
        loaded = load_run(sheets, *rest)
        under_way.remove(sheets.run.id)
        return loaded

    monkeypatch.setattr(loading, "load_run", watched)
    monkeypatch.setattr(loading, "cores", lambda: 3)
    monkeypatch.setattr(loading, "LONG_LOGS_BYTES", 1)
    with open_to_write(tmp_path / "s") as store:
        outcomes, _ = load_sheets(store, (small_run, *others))
    assert [one.load_id for one in outcomes] == [1, 2, 3]
    assert most == [1, 1, 1]


def test_a_reel_outside_the_run_gives_no_conclusion_with_the_reason(small_run: Path, tmp_path: Path) -> None:
    text = small_run.read_text()
    small_run.write_text(text + '\n[[run.reels]]\nid = "L1-0415-99"\nfrom_m = 50000.0\nto_m = 52000.0\n')
    with open_to_write(tmp_path / "s") as store:
        load_sheet(store, small_run)
        outcome = assess_run(store, "R-0415")
        reels = store.ask("questions/reels_of_assessment", assessment_id=outcome.assessment_id)
    assert outcome.outcome == "no conclusion"
    assert "reel L1-0415-99: it starts at 50000.0 m, after the run ended" in said(outcome.reason)
    assert {row["standing"] for row in reels} == {"no conclusion"}


def test_a_sheet_naming_a_file_that_is_not_there(small_run: Path, tmp_path: Path) -> None:
    next(small_run.parent.glob("*_spark.csv.gz")).unlink()
    with open_to_write(tmp_path / "s") as store, pytest.raises(ReelproofError) as told:
        load_sheet(store, small_run)
    assert str(told.value) == (
        f"{small_run}: run.logs[2].files: there is no file 'R-0415_spark.csv.gz' beside the run sheet. "
        "Put the log there, or correct its name."
    )


def test_leftovers_of_a_killed_writer_are_swept(small_run: Path, tmp_path: Path) -> None:
    with open_to_write(tmp_path / "s") as store:
        load_sheet(store, small_run)
        (on_file,) = (row["folder"] for row in store.ask("questions/folders_on_file"))
        orphan = on_file.replace("load_id=1", "load_id=99")
        home = tmp_path / "s" / READINGS
        (home / orphan).mkdir()
        (home / orphan / "logged.parquet").write_bytes(b"half")
        (home / UNFINISHED / "a").mkdir()
        for name, noted in (("a", orphan), ("b", on_file), ("c", ""), ("d", on_file.rsplit("/", 1)[0])):
            (home / UNFINISHED / f"{name}.txt").write_text(noted)
        assert sweep(store) == (f"{UNFINISHED}/a", orphan)
        assert not (home / orphan).exists()
        assert list((home / UNFINISHED).iterdir()) == []
        assert read_frame(store, on_file, "logged").height > 0
        assert sweep(store) == ()


def test_readings_come_back_as_they_were_logged(small_run: Path, tmp_path: Path) -> None:
    with open_to_write(tmp_path / "s") as store:
        load_sheet(store, small_run)
        logged = read_frame(store, store.ask("questions/folders_on_file")[0]["folder"], "logged")
    with gzip.open(small_run.parent / "R-0415_log.csv.gz", "rb") as file:
        raw = pl.read_csv(file.read(), infer_schema_length=None)
    assert logged.height == raw.height
    feet = raw["Footage_ft"].to_numpy()
    assert logged["counter_m"].to_numpy() == pytest.approx(feet * 0.3048, abs=1e-9)
    assert logged["line"].to_list() == list(range(2, raw.height + 2))


KILLED = """
import sys
from pathlib import Path
from pipeline.job.loading import load_sheets
from pipeline.job.assessing import assess_runs
from pipeline.store.database import open_to_write
print("go", flush=True)
with open_to_write(Path(sys.argv[2])) as store:
    load_sheets(store, (Path(sys.argv[1]),))
    assess_runs(store, ())
print("done", flush=True)
"""


# More instants, and the real command: test_kills.py.
@pytest.mark.parametrize("after_s", [0.8])
def test_killed_at_any_instant_the_next_start_is_whole(
    small_run: Path, tmp_path: Path, after_s: float
) -> None:
    folder = tmp_path / "s"
    process = subprocess.Popen(
        [sys.executable, "-c", KILLED, str(small_run), str(folder)], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "go\n"
    time.sleep(after_s)
    os.kill(process.pid, signal.SIGKILL)
    process.communicate()
    with open_to_write(folder) as store:
        outcomes, refused = load_sheets(store, (small_run,))
        judged = assess_runs(store, ())
        assert refused == []
        assert len(outcomes) == 1
        assert (judged[0].releasable, judged[0].held) == (2, 1)
        assert len(store.ask("questions/loads_of_run", run_id="R-0415")) == 1
        assert store.ask("checks/rows_without_a_load") == []
        assert store.ask("checks/file_identity") == []
    on_disk = {path.parent.name for path in (folder / READINGS).rglob("*.parquet")}
    assert on_disk == {"load_id=1", "assessment_id=1"}
    assert list((folder / READINGS / UNFINISHED).iterdir()) == []


def test_of_two_loaders_one_waits_and_both_runs_are_on_file_once(small_run: Path, tmp_path: Path) -> None:
    other = small_run.parents[1] / "R-0416" / "run.toml"
    shutil.copytree(small_run.parent, other.parent)
    other.write_text(other.read_text().replace('id = "R-0415"', 'id = "R-0416"'))
    folder = tmp_path / "s"
    with open_to_write(folder) as store:
        process = subprocess.Popen(
            [sys.executable, "-m", "pipeline", "load", str(other.parents[1]), "--store", str(folder)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        assert process.stderr is not None
        assert process.stderr.readline() == f"Waiting: process {os.getpid()} is writing to this store.\n"
        assert load_sheet(store, small_run).was_new
    out, told = process.communicate(timeout=120)
    assert (process.returncode, told) == (0, "")
    assert out.splitlines() == [
        "R-0415: already on file with the same content (load 1)",
        "R-0416: 6507 rows read = 6507 kept + 0 set aside (load 2)",
    ]
    with open_to_read(folder) as store:
        for run_id in ("R-0415", "R-0416"):
            assert len(store.ask("questions/loads_of_run", run_id=run_id)) == 1


def test_a_stopped_load_leaves_the_store_whole(small_run: Path, tmp_path: Path) -> None:
    folder = tmp_path / "s"
    process = subprocess.Popen(
        [sys.executable, "-m", "pipeline", "load", str(small_run), "--store", str(folder)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    while not (folder / "reelproof.duckdb").exists() and process.poll() is None:
        time.sleep(0.02)
    time.sleep(0.1)
    process.send_signal(signal.SIGINT)
    _, told = process.communicate(timeout=60)
    if process.returncode != 0:
        assert process.returncode == 130
        assert (
            told.splitlines()[-1] == "Stopped. What was finished is on file; nothing half-written was kept."
        )
    with open_to_write(folder) as store:
        assert load_sheet(store, small_run).rows_set_aside == 0


SIDE_BY_SIDE = """
import sys
from pipeline.cli import main
from pipeline.job import side_by_side
side_by_side.WORTH_READINGS = 0
side_by_side.cores = lambda: 2
sys.argv = ["reelproof", "assess", "--store", sys.argv[1]]
main()
"""


def test_judging_side_by_side_is_stopped_with_one_sentence(small_run: Path, tmp_path: Path) -> None:
    copies_of(small_run, "R-0416", "R-0417", "R-0418")
    folder = tmp_path / "s"
    with open_to_write(folder) as store:
        load_sheets(store, (small_run.parents[1],))
    process = subprocess.Popen(
        [sys.executable, "-c", SIDE_BY_SIDE, str(folder)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    # The folder for what the others make is there just before they are started.
    while not list((folder / READINGS / UNFINISHED).glob("*")) and process.poll() is None:
        time.sleep(0.02)
    time.sleep(0.5)
    process.send_signal(signal.SIGINT)
    _, told = process.communicate(timeout=120)
    assert (process.returncode, told) == (130, f"{STOPPED}\n")
    assert list((folder / READINGS / UNFINISHED).glob("*")) == []
    with open_to_write(folder) as store:
        assert sweep(store) == ()
        assert {one.outcome for one in assess_runs(store, ())} == {"judged"}


def test_a_new_revision_of_a_limit_is_a_new_judgement_and_the_old_one_stays(
    small_run: Path, tmp_path: Path
) -> None:
    plant = small_run.parents[2] / "plant.toml"
    revised = tmp_path / "plant_b.toml"
    before = plant.read_text()
    old = 'id = "demo-THHN-concentricity-A"'
    assert old in before
    head, entry = before.split(old, 1)
    assert "value = 70" in entry.split("[[limits]]")[0]
    revised.write_text(
        head
        + old
        + entry.replace("value = 70", "value = 88", 1).replace('revision = "A"', 'revision = "C"', 1)
    )
    with open_to_write(tmp_path / "s") as store:
        load_sheet(store, small_run)
        first = assess_runs(store, ("R-0415",))[0]
        second = assess_runs(store, ("R-0415",), plant_sheet=revised)[0]
        assert second.was_new
        assert second.assessment_id != first.assessment_id
        revisions = {}
        for one in (first, second):
            limits = store.ask("questions/limits_of_assessment", assessment_id=one.assessment_id)
            revisions[one.assessment_id] = {
                (row["revision"], row["value"]) for row in limits if row["requirement"] == "concentricity"
            }
        assert revisions == {first.assessment_id: {("A", 70.0)}, second.assessment_id: {("C", 88.0)}}
        assert second.held > first.held
        judged = store.ask("questions/requirements_of_assessment", assessment_id=first.assessment_id)
        assert {row["verdict"] for row in judged if row["requirement"] == "concentricity"} == {
            "conforms",
            "does not conform",
        }
        now = load_sheet(store, small_run)
        (told,) = told_of_plant(store, (now,))
        assert plain(told) == (
            f"{plant} was edited, or another sheet was named since: 1 run is judged by another plant sheet and so it "
            f"stays (R-0415). To judge by it as it stands now: reelproof assess --plant {plant}."
        )
        # Without a sheet named, the one last named stays in force; one put back is judged by again, once.
        assert assess_runs(store, ("R-0415",))[0] == replace(second, was_new=False)
        back = assess_runs(store, ("R-0415",), plant_sheet=plant)[0]
        assert back.was_new
        assert (back.held, back.releasable) == (first.held, first.releasable)
        (head,) = store.ask("questions/current_run", run_id="R-0415")
        assert head["judged_plant_sheet_sha256"] == head["plant_sheet_sha256"]
        assert [row["assessment_id"] for row in store.ask("questions/current_runs")] == [back.assessment_id]
        for sheet in (None, plant):
            assert assess_runs(store, ("R-0415",), plant_sheet=sheet)[0] == replace(back, was_new=False)
        assert told_of_plant(store, (load_sheet(store, small_run),)) == ()
        plant.write_text(revised.read_text())  # edited in place: noticed, and nothing is judged by it unasked
        edited = load_sheet(store, small_run)
        assert (edited.was_new, edited.load_id) == (False, now.load_id)
        assert len(told_of_plant(store, (edited,))) == 1
        assert assess_runs(store, ("R-0415",))[0] == replace(back, was_new=False)

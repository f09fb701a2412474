"""Files the program keeps for itself: whatever stands in their place, nobody waits for it and nobody falls over it."""

from __future__ import annotations

import os
import pickle
import time
from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest

from pipeline.errors import ReelproofError, SheetError, StoreError
from pipeline.job.alone import refusal_of
from pipeline.job.watching import LONGEST_PAUSE_S, MEMORY, Watched, look, remember, remembered
from pipeline.lots.journal import anchor_from
from pipeline.lots.key_files import read_public_key
from pipeline.proofs.verifying import verified
from pipeline.record.gauge_tables import read_study
from pipeline.record.journal_on_file import journal_of, note
from pipeline.record.shipping_list import read_shipping_list
from pipeline.store import readings
from pipeline.store.database import open_to_read, open_to_write
from pipeline.store.heads import ELSEWHERE, HEAD, unread_heads
from pipeline.store.layout import READINGS
from pipeline.store.writer_lock import DEAD_AFTER_S, LOCK

FOLDER = "plant=P/line_id=L1/shift_date=2026-03-03/run_id=R-1/load_id=1"
DEEP = "[" * 200_000 + "]" * 200_000
SPOILT: dict[str, Callable[[Path], object]] = {
    "deep": lambda path: path.write_text(DEEP),
    "pipe": lambda path: (path.unlink(missing_ok=True), os.mkfifo(path)),
    "device": lambda path: (path.unlink(missing_ok=True), path.symlink_to("/dev/zero")),
    "no text": lambda path: path.write_bytes(b"\xff\xfe\x00"),
    "no number": lambda path: path.write_text('{"entries": 1e999, "chain": ""}'),
    "less than none": lambda path: path.write_text('{"entries": -3, "chain": ""}'),
    "too many digits": lambda path: path.write_text(f'{{"entries": {"9" * 5000}, "chain": ""}}'),
    "more than can be": lambda path: path.write_text(f'{{"entries": {10**40}, "chain": ""}}'),
}


def put(folder: Path, what: str) -> None:
    with open_to_write(folder, wait_s=0.0) as store, store.transaction():
        note(store, "remark", what, {"sentence": f"{what}."})


def test_a_head_that_cannot_be_read_stops_nobody_and_is_told(tmp_path: Path) -> None:
    put(tmp_path, "begun")
    told = f"{tmp_path / HEAD}: this head of the journal cannot be read."
    for number, (how, spoil) in enumerate(SPOILT.items(), 1):
        spoil(tmp_path / HEAD)
        assert list(unread_heads(tmp_path)) == [told], how
        with open_to_read(tmp_path) as store:
            assert len(journal_of(store)) == number
        if how == "deep":
            assert verified(tmp_path).changes == (told,)
        put(tmp_path, how)
    assert verified(tmp_path).changes == ()


def test_a_head_of_another_owner_that_cannot_be_read_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.setenv(ELSEWHERE, str(tmp_path / "elsewhere"))
    put(tmp_path / "store", "one")
    (kept,) = (tmp_path / "elsewhere").iterdir()
    kept.write_text("{")
    with pytest.raises(StoreError) as told:
        put(tmp_path / "store", "two")
    assert str(told.value) == (
        f"{kept}: this head of the journal cannot be read. Find out who changed it; then take it away, and the next "
        "command writes it anew."
    )
    kept.unlink()
    put(tmp_path / "store", "two")
    assert kept.exists()


@pytest.mark.parametrize("how", ["deep", "pipe", "no text"])
def test_a_lock_that_cannot_be_read_is_taken_over_like_any_other(how: str, tmp_path: Path) -> None:
    put(tmp_path, "one")
    SPOILT[how](tmp_path / LOCK)
    with pytest.raises(StoreError, match="another process is writing to this store"):
        put(tmp_path, "two")
    long_ago = time.time() - 2 * DEAD_AFTER_S
    os.utime(tmp_path / LOCK, (long_ago, long_ago))
    put(tmp_path, "two")
    assert not (tmp_path / LOCK).exists()


@pytest.mark.parametrize("how", ["deep", "pipe", "no text", "no number"])
def test_a_watch_whose_memory_cannot_be_read_begins_anew(how: str, tmp_path: Path) -> None:
    SPOILT[how](tmp_path / MEMORY)
    assert remembered(tmp_path) == {}
    one = {"R-1/run.toml": Watched("mark", 5.0)}
    remember(tmp_path, one)
    assert remembered(tmp_path) == one
    (tmp_path / MEMORY).write_text('{"R-1/run.toml": {"mark": 5, "since_s": "soon"}}')
    assert remembered(tmp_path) == {}


def test_no_run_waits_for_a_time_that_a_clock_set_back_left_ahead(small_run: Path) -> None:
    inbox, key = small_run.parents[1], "R-0415/run.toml"
    _, memory = look(inbox, {}, 1e9, 10.0)
    _, memory = look(inbox, memory, 1000.0, 10.0)  # the clock was set back by years
    assert look(inbox, memory, 1010.0, 10.0)[0] == (small_run,)
    failed = {key: Watched(memory[key].mark, 1000.0, "failed", 9, 1e9)}
    _, failed = look(inbox, failed, 1010.0, 10.0)
    assert look(inbox, failed, 1010.0 + LONGEST_PAUSE_S, 10.0)[0] == (small_run,)


@pytest.mark.parametrize("read", [read_study, read_shipping_list])
def test_a_pipe_handed_in_as_a_table_is_refused(read: Callable[[Path], object], tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    os.mkfifo(path)
    with pytest.raises(SheetError) as told:
        read(path)
    assert str(told.value) == (
        f"{path}: this is a pipe or a device, not a file. Name a table saved as CSV in UTF-8."
    )


def test_a_pipe_among_the_readings_is_told(tmp_path: Path) -> None:
    from pipeline.record.sealing import file_sha256

    os.mkfifo(tmp_path / "logged.parquet")
    with pytest.raises(OSError, match="this is a pipe or a device, not a file"):
        file_sha256(tmp_path / "logged.parquet")


def test_damaged_readings_are_told_as_such_and_concern_one_run(tmp_path: Path) -> None:
    with open_to_write(tmp_path) as store:
        with readings.written_folder(store, FOLDER, {"logged": pl.DataFrame({"row": [1]})}) as target:
            pass
        path = target / "logged.parquet"
        whole = path.read_bytes()
        for damage in (b"", whole[: len(whole) // 2], whole[:20] + b"x" * 20 + whole[40:], b"PAR1" * 30):
            path.write_bytes(damage)
            with pytest.raises(readings.ReadingsError) as told:
                readings.read_frame(store, FOLDER, "logged")
            assert str(told.value) == (
                f"{path}: these readings are damaged: they are not as they were written. Put a backup in their place, "
                "or load the run's logs again; see 'reelproof verify'."
            )
            assert refusal_of(told.value, "run R-1") is told.value
            assert str(pickle.loads(pickle.dumps(told.value))) == str(told.value)  # as from another process


def test_readings_are_on_the_disk_before_the_catalogue_names_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Their names too, down from the store's folder; `tests/store/power_cuts.py` cuts the power for real."""
    forced: list[Path] = []
    monkeypatch.setattr(readings, "force_out", forced.append)
    with (
        open_to_write(tmp_path) as store,
        readings.written_folder(store, FOLDER, {"logged": pl.DataFrame({"row": [1]})}) as target,
    ):
        names = [path.name for path in forced]
        assert names.index("logged.parquet") > names.index(".unfinished")  # the note of its name comes first
        assert set(target.parents) & set(tmp_path.rglob("*")) | {tmp_path, tmp_path / READINGS} <= set(forced)


def test_keys_and_roots_out_of_all_bounds_are_refused(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "plant.key.pub")
    with pytest.raises(ReelproofError, match="this file cannot be read"):
        read_public_key(tmp_path / "plant.key.pub")
    with pytest.raises(ReelproofError, match="this is no journal size and root"):
        anchor_from("9" * 5000 + ":" + "ab" * 32)


# Where a link is put in a store: in place of the notes' folder, of a partition, of a run's folder of version 1.
LINKED = (".unfinished", "plant=P", "plant=P/line_id=L1/shift_date=2026-03-03", "R-9")


@pytest.mark.parametrize("name", LINKED)
def test_what_a_link_in_a_store_leads_to_is_neither_swept_nor_written(name: str, tmp_path: Path) -> None:
    put(tmp_path / "s", "begun")
    home, outside = tmp_path / "s" / READINGS, tmp_path / "outside"
    below = FOLDER.removeprefix(name).strip("/") if name.startswith("plant") else ""
    mine = ("papers", "load-1", ".unfinished-1", below or "judged-1")
    for one in mine:
        (outside / one).mkdir(parents=True)
        (outside / one / "kept").write_text("kept")
    (outside / "note.txt").write_text(FOLDER)
    (home / name).parent.mkdir(parents=True)
    (home / name).symlink_to(outside)
    if name != ".unfinished":
        (home / ".unfinished").mkdir()
        (home / ".unfinished" / "n.txt").write_text(FOLDER)
    with open_to_write(tmp_path / "s") as store:
        if name.startswith("plant"):
            with (
                pytest.raises(StoreError) as told,
                readings.written_folder(
                    store, FOLDER.replace("R-1", "R-2"), {"logged": pl.DataFrame({"row": [1]})}
                ),
            ):
                pass
            assert "a link lies on the way to this folder of readings" in str(told.value)
        if name == ".unfinished":
            with pytest.raises(StoreError), readings.handing_over(store):
                pass
        readings.sweep(store)
        readings.sweep(store)
    assert {path.relative_to(outside).as_posix() for path in outside.rglob("*") if path.is_file()} == {
        "note.txt",
        *(f"{one}/kept" for one in mine),
    }
    assert (home / ".unfinished").is_symlink() is False

"""A journal that lost entries is neither written nor read, and goes on only by an act that says so."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from pipeline.acts.accepting_loss import accept_loss
from pipeline.errors import StoreError
from pipeline.proofs.verifying import verified
from pipeline.record.journal_on_file import journal_of, note
from pipeline.store.copies import PUBLISHED, copies_of, newest_copy, publish
from pipeline.store.damage import DamagedStoreError
from pipeline.store.database import DATABASE, open_to_read, open_to_write
from pipeline.store.heads import ELSEWHERE, HEAD, keep_head
from pipeline.store.layout import READINGS
from pipeline.store.readings import written_folder
from pipeline.wording.say import plain

FOLDER = "plant=P/line_id=L1/shift_date=2026-03-03/run_id=R-1/load_id=1"


def put(folder: Path, what: str) -> None:
    with open_to_write(folder, wait_s=1.0) as store, store.transaction():
        note(store, "remark", what, {"sentence": f"{what}."})


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A store whose journal has three entries; what it was after two is kept beside it."""
    folder = tmp_path / "store"
    put(folder, "one")
    put(folder, "two")
    shutil.copytree(folder, tmp_path / "earlier")
    put(folder, "three")
    return folder


def refused(folder: Path) -> str:
    with pytest.raises(StoreError) as told:
        put(folder, "four")
    return str(told.value)


def test_a_database_that_is_gone_is_not_begun_anew(folder: Path) -> None:
    (folder / DATABASE).unlink()
    assert refused(folder).startswith(
        f"{folder / DATABASE}: the store's database is not there, and what was made of it is. "
    )
    assert not (folder / DATABASE).exists()
    assert f"{folder / DATABASE}: the store's database is not there." in verified(folder).changes


def test_a_database_that_is_gone_with_its_copies_and_head_is_known_by_its_readings(folder: Path) -> None:
    with (
        open_to_write(folder) as store,
        written_folder(store, FOLDER, {"logged": pl.DataFrame({"row": [1]})}),
    ):
        pass
    (folder / DATABASE).unlink()
    (folder / HEAD).unlink()
    shutil.rmtree(folder / PUBLISHED)
    assert "the store's database is not there, and what was made of it is" in refused(folder)
    with open_to_write(folder.parent / "other"):
        pass
    shutil.copy(folder.parent / "other" / DATABASE, folder / DATABASE)
    assert "the journal here is empty, and 'readings' holds readings of earlier loads" in refused(folder)


def test_a_database_set_back_by_one_entry_is_not_written(folder: Path) -> None:
    shutil.copy(folder.parent / "earlier" / DATABASE, folder / DATABASE)
    assert refused(folder).startswith(
        f"{folder}: the journal here ends at entry 2, and {folder / HEAD} tells of 3: entries were lost. "
        f"Keep everything as it is; put the newest whole file of the '{PUBLISHED}' folder or of a backup in the "
    )
    (folder / HEAD).unlink()
    told = f"the journal here ends at entry 2, and {newest_copy(folder)} tells of 3: entries were lost"
    assert told in refused(folder)
    assert f"{told}." in verified(folder).changes


def test_two_versions_of_history_are_told_apart(folder: Path) -> None:
    """As when two writers on a share without locks both wrote the third entry."""
    other = folder.parent / "earlier"
    put(other, "another third")
    shutil.copy(other / DATABASE, folder / DATABASE)
    told = "entry 3 of the journal here is another than"
    assert told in refused(folder)
    assert any(told in one for one in verified(folder).changes)


def test_an_older_copy_in_the_newest_ones_place_is_not_read(folder: Path) -> None:
    newest = newest_copy(folder)
    assert newest is not None
    planted = newest.with_name("reelproof-00000099.duckdb")
    shutil.copy(newest_copy(folder.parent / "earlier") or "", planted)
    with pytest.raises(DamagedStoreError) as told, open_to_read(folder):
        pass
    assert str(told.value) == (
        f"{planted}: this copy is older than the store, or of another: the journal here ends at entry 2, and "
        f"{folder / HEAD} tells of 3: entries were lost. Move it out of the folder, run any writing command, "
        "which makes a new one, then 'reelproof verify'."
    )
    assert any(
        one.startswith(f"{planted}: this copy is older than the store") for one in verified(folder).changes
    )
    put(folder, "four")
    with open_to_read(folder) as store:
        assert len(journal_of(store)) == 4


def test_a_copy_of_another_name_is_no_copy(folder: Path) -> None:
    newest = newest_copy(folder)
    for name in ("reelproof-999999999.duckdb", "reelproof-x.duckdb", "reelproof-.duckdb"):
        shutil.copy(newest_copy(folder.parent / "earlier") or "", folder / PUBLISHED / name)
    assert newest_copy(folder) == newest


def test_a_clock_that_was_set_back_is_noted_in_the_journal(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pipeline.record import journal_on_file as journal

    now = datetime.now(UTC)
    for moved, behind in (
        (timedelta(seconds=-0.5), 0),
        (timedelta(days=-1), 86400),
        (timedelta(days=-2), 86400),
    ):
        monkeypatch.setattr(journal, "_now", lambda moved=moved: now + moved)
        put(folder, str(moved))
        with open_to_read(folder) as store:
            *_, before, last = journal_of(store)
        assert last.subject == str(moved)
        assert (before.kind == journal.CLOCK) == bool(behind)
        if behind:
            assert plain(before.told).startswith("The clock went back by 86,400 s: entry ") or behind != 86400
    assert verified(folder).changes == ()


def test_a_sealed_act_after_a_clock_was_set_back_is_sealed_under_its_own_number(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pipeline.record import journal_on_file as journal
    from pipeline.record.sealing import note_sealed

    then = datetime.now(UTC) - timedelta(days=1)
    monkeypatch.setattr(journal, "_now", lambda: then)
    item = {"item": "L1-1", "item_kind": "reel", "shipment": "S-1", "to_place": "one", "at_utc": then}
    with open_to_write(folder) as store:
        rows = pl.DataFrame([{**item, "at_utc": then.replace(tzinfo=None)}])
        with store.transaction():
            number = note_sealed(store, "shipment", "S-1", rows, {"sentence": "shipped."})
        assert [one.kind for one in journal_of(store)][-2:] == [journal.CLOCK, "shipment"]
        assert number == len(journal_of(store))
    assert verified(folder).changes == ()


def test_a_killed_writer_is_no_loss(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It leaves a journal longer than its copies and heads."""
    from pipeline.store import database

    with monkeypatch.context() as patch:
        patch.setattr(database, "publish", lambda _path: None)
        patch.setattr(database, "keep_head", lambda _folder, _head: None)
        put(folder, "four")
    put(folder, "five")
    assert verified(folder).changes == ()


def test_a_head_is_kept_in_a_folder_of_another_owner(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    elsewhere = tmp_path / "elsewhere"
    monkeypatch.setenv(ELSEWHERE, str(elsewhere))
    assert refused(folder) == (
        f"{ELSEWHERE} {elsewhere}: this folder, where the journal's head is kept, is not there. "
        "Mount it, or correct the variable."
    )
    elsewhere.mkdir()
    put(folder, "four")
    (kept,) = elsewhere.iterdir()
    assert json.loads(kept.read_text())["entries"] == 4
    # Everything in the store's own folder is set back, as from a backup.
    shutil.rmtree(folder)
    shutil.copytree(tmp_path / "earlier", folder)
    assert f"the journal here ends at entry 2, and {kept} tells of 4: entries were lost" in refused(folder)
    with pytest.raises(DamagedStoreError, match="this copy is older than the store"), open_to_read(folder):
        pass


def test_a_loss_is_accepted_by_an_act_that_stays_in_the_journal(folder: Path) -> None:
    with pytest.raises(StoreError, match="no entry of this journal is known to be lost"):
        accept_loss(folder, "quality manager", "the disk failed")
    shutil.copy(folder.parent / "earlier" / DATABASE, folder / DATABASE)
    (folder / READINGS / FOLDER).mkdir(parents=True)
    done = accept_loss(folder, "quality manager", "the disk failed, the backup is of yesterday")
    assert done.entry_no == 3
    assert plain(done.told) == (
        "The journal went on after entry 2 although it is known to have had 3 entries; the quality manager "
        "accepted the loss: the disk failed, the backup is of yesterday."
    )
    assert done.folder is not None
    assert sorted(path.name for path in done.folder.iterdir()) == [READINGS, "reelproof-00000003.duckdb"]
    found = verified(folder)
    assert found.changes == ()
    assert found.notes == (f"Entry 3: {plain(done.told)}",)
    put(folder, "four")


def test_readings_of_another_history_are_not_overwritten(folder: Path) -> None:
    (folder / READINGS / FOLDER).mkdir(parents=True)
    (folder / READINGS / FOLDER / "logged.parquet").write_bytes(b"of a load that was lost")
    with (
        open_to_write(folder) as store,
        pytest.raises(StoreError) as told,
        written_folder(store, FOLDER, {"logged": pl.DataFrame({"row": [1]})}),
    ):
        pass
    assert str(told.value) == (
        f"{folder / READINGS / FOLDER}: this folder holds the readings of a load or judgment that is not in this "
        "database. The database was set back or is another's: nothing was overwritten; run 'reelproof verify'."
    )
    assert (folder / READINGS / FOLDER / "logged.parquet").read_bytes() == b"of a load that was lost"
    assert list((folder / READINGS / ".unfinished").iterdir()) == []


def test_files_and_folders_nobody_put_on_file_are_told(folder: Path) -> None:
    home = folder / READINGS
    (home / FOLDER).mkdir(parents=True)
    (home / FOLDER / "measured.parquet").write_bytes(b"x")
    (home / "plant=P" / "measured.parquet").write_bytes(b"x")
    (home / "plant=P" / "line_id=L9").symlink_to("/etc")
    assert verified(folder).changes == (
        "plant=P/line_id=L9: a link among the readings, which this program never makes.",
        "plant=P: no load or judgment on file has this folder; it holds measured.parquet.",
        f"{FOLDER}: no load or judgment on file has this folder; it holds measured.parquet.",
    )


def test_a_log_of_changes_beside_a_copy_is_told(folder: Path) -> None:
    """The engine would replay it for whoever reads the copy."""
    copy = newest_copy(folder)
    assert copy is not None
    copy.with_name(f"{copy.name}.wal").write_bytes(b"")
    told = f"{copy.name}.wal: a published copy has no such file; somebody put it there."
    assert told in verified(folder).changes


def test_heads_survive_a_store_of_many_copies(folder: Path) -> None:
    for number in range(4, 8):
        put(folder, str(number))
    assert len(copies_of(folder)) == 2
    publish(folder / DATABASE)
    with open_to_read(folder) as store:
        from pipeline.store.heads import head_of

        keep_head(folder, head_of(store))
    assert verified(folder).changes == ()

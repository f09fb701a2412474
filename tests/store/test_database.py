"""The store: one writer, many readers, versions, and complaints in words."""

from __future__ import annotations

import subprocess
import sys
import textwrap
from datetime import datetime
from pathlib import Path

import polars as pl
import pytest

from pipeline.errors import StoreError
from pipeline.store import copies, database
from pipeline.store.database import open_to_read, open_to_write
from pipeline.store.sql_files import sql_folder, statement, statements


def note_version(store: database.Store, version: int) -> None:
    store.append(
        "journal.store_version",
        pl.DataFrame({"version": version, "since_utc": datetime(2026, 1, 1), "software": "9.9"}),
    )


def test_a_new_store_is_laid_out_and_published(tmp_path: Path) -> None:
    with open_to_write(tmp_path / "store") as store:
        assert store.ask("questions/store_version") == [{"version": database.STORE_VERSION}]
    with open_to_read(tmp_path / "store") as store:
        assert store.ask("questions/current_runs") == []


def test_a_reader_sees_the_last_published_state_while_a_writer_works(tmp_path: Path) -> None:
    with open_to_write(tmp_path) as store:
        pass
    with open_to_write(tmp_path) as store:
        store.append("logged.warning", pl.DataFrame({"load_id": 1, "sentence": "under way"}))
        with open_to_read(tmp_path) as reader:
            assert reader.ask("questions/warnings_of_load", load_id=1) == []
    with open_to_read(tmp_path) as reader:
        assert reader.ask("questions/warnings_of_load", load_id=1) == [
            {"load_id": 1, "sentence": "under way", "said": None}
        ]


def test_a_second_writer_is_told_who_holds_the_store(tmp_path: Path) -> None:
    other = subprocess.Popen(
        [
            sys.executable,
            "-c",
            textwrap.dedent(
                f"""
                import sys, time
                from pathlib import Path
                from pipeline.store.database import open_to_write
                with open_to_write(Path({str(tmp_path)!r})):
                    print("open", flush=True)
                    sys.stdin.read()
                """
            ),
        ],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert other.stdout is not None
        assert other.stdin is not None
        assert other.stdout.readline() == "open\n"
        waited: list[str] = []
        with pytest.raises(StoreError) as told, open_to_write(tmp_path, wait_s=0.5, on_wait=waited.append):
            pass
        assert str(told.value) == (
            f"{tmp_path / 'reelproof.duckdb'}: process {other.pid} is writing to this store. "
            "Wait until it has finished and run the same command again."
        )
        assert waited == [f"process {other.pid}"]
        other.stdin.close()
        other.wait(20)
        with open_to_write(tmp_path, wait_s=5.0) as store:
            assert store.writable
    finally:
        other.kill()
        other.wait(20)
        assert other.stdout is not None
        other.stdout.close()


def test_a_store_of_a_newer_version_is_refused(tmp_path: Path) -> None:
    with open_to_write(tmp_path) as store:
        note_version(store, 99)
    for opened in (open_to_write, open_to_read):
        with pytest.raises(StoreError) as told, opened(tmp_path):
            pass
        assert f"this store has version 99, newer than this program knows ({database.STORE_VERSION})" in str(
            told.value
        )
        assert str(told.value).endswith("Use the program version that wrote it, or a newer one.")


def test_no_store_where_one_is_read(tmp_path: Path) -> None:
    with pytest.raises(StoreError) as told, open_to_read(tmp_path / "nowhere"):
        pass
    assert str(told.value) == (
        f"{tmp_path / 'nowhere'}: there is no store here. "
        "Give --store the folder of a store, or load runs first with 'reelproof load'."
    )


def test_a_file_in_place_of_the_folder(tmp_path: Path) -> None:
    (tmp_path / "store").write_text("not a folder")
    with pytest.raises(StoreError) as told, open_to_write(tmp_path / "store"):
        pass
    assert (
        str(told.value)
        == f"{tmp_path / 'store'}: this is a file, not a store's folder. Give --store a folder."
    )


def test_a_damaged_database_is_told_in_words(tmp_path: Path) -> None:
    (tmp_path / "reelproof.duckdb").write_bytes(b"this is no database at all" * 500)
    with pytest.raises(StoreError) as told, open_to_write(tmp_path):
        pass
    assert "this is not a store's database, or it cannot be opened" in str(told.value)


def test_a_database_cut_short_anywhere_is_told_in_words_or_reads_as_it_was(tmp_path: Path) -> None:
    with open_to_write(tmp_path) as store:
        store.append("logged.warning", pl.DataFrame({"load_id": 1, "sentence": "one"}))
    path = tmp_path / database.DATABASE
    raw = path.read_bytes()
    told = set()
    for size in [0, 1, 100, 4096, 8192, 12288, 12289, *range(20_000, len(raw), len(raw) // 12)]:
        path.write_bytes(raw[:size])
        try:
            with open_to_write(tmp_path) as store:
                assert store.ask("questions/warnings_of_load", load_id=1) == [
                    {"load_id": 1, "sentence": "one", "said": None}
                ]
        except StoreError as fault:
            told.add(fault.complaints[0].found)
        path.write_bytes(raw)
        path.with_name(f"{path.name}.wal").unlink(missing_ok=True)
    assert told <= {
        "this is not a store's database, or it cannot be opened",
        "this file is damaged: it ends too early",
        "this file is damaged: a block of it does not have its checksum",
    }
    assert len(told) > 1


def test_a_full_disk_is_told_and_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import errno

    from pipeline.store.layout import READINGS
    from pipeline.store.readings import written_folder

    def full(*_args: object, **_more: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with open_to_write(tmp_path) as store:
        monkeypatch.setattr(pl.DataFrame, "write_parquet", full)
        with (
            pytest.raises(StoreError) as told,
            written_folder(
                store,
                "plant=P/line_id=L/shift_date=2026-01-01/run_id=R-1/load_id=1",
                {"logged": pl.DataFrame({"row": [1]})},
            ),
        ):
            pass
    assert "the disk is full or read-only; nothing half-written was kept" in str(told.value)
    assert list((tmp_path / READINGS).rglob("*.parquet")) == []


def test_a_transaction_that_fails_leaves_nothing(tmp_path: Path) -> None:
    with open_to_write(tmp_path) as store:
        with pytest.raises(RuntimeError), store.transaction():
            store.append("logged.warning", pl.DataFrame({"load_id": 1, "sentence": "lost"}))
            raise RuntimeError
        assert store.ask("questions/warnings_of_load", load_id=1) == []


def test_what_was_put_on_file_and_not_published_is_published_at_the_next_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_to_write(tmp_path):
        pass
    with monkeypatch.context() as patch:
        patch.setattr(database, "publish", lambda _folder: None)
        with open_to_write(tmp_path) as store:
            store.append("logged.warning", pl.DataFrame({"load_id": 1, "sentence": "one"}))
    (tmp_path / copies.PUBLISHED / ".copy-2").write_bytes(b"half")
    with open_to_read(tmp_path) as store:
        assert store.ask("questions/warnings_of_load", load_id=1) == []
    for _ in range(2):
        with open_to_write(tmp_path):
            pass
        names = sorted(path.name for path in (tmp_path / copies.PUBLISHED).iterdir())
        assert names == ["reelproof-00000001.duckdb", "reelproof-00000002.duckdb"]
    with open_to_read(tmp_path) as store:
        assert store.ask("questions/warnings_of_load", load_id=1) == [
            {"load_id": 1, "sentence": "one", "said": None}
        ]


def test_old_copies_are_dropped(tmp_path: Path) -> None:
    for number in range(5):
        with open_to_write(tmp_path) as store:
            store.append("logged.warning", pl.DataFrame({"load_id": number, "sentence": "one"}))
    names = sorted(path.name for path in (tmp_path / copies.PUBLISHED).iterdir())
    assert names == ["reelproof-00000004.duckdb", "reelproof-00000005.duckdb"]


@pytest.mark.parametrize("name", statements(""))
def test_every_sql_file_says_what_it_answers_and_holds_one_statement(name: str) -> None:
    text = statement(name)
    assert text.startswith("-- ") or name == "append"
    body = "\n".join(line.split("--")[0] for line in text.splitlines())
    assert body.count(";") == 0, "one statement a file, no semicolon"
    if name.startswith("questions/"):
        assert "Grain: " in text.splitlines()[0]


def test_sql_is_nowhere_but_in_its_folder() -> None:
    wrong = []
    for path in (Path(__file__).parents[2] / "pipeline").rglob("*.py"):
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            if any(word in line for word in ('"SELECT ', "'SELECT ", '"INSERT ', '"UPDATE ', '"DELETE ')):
                wrong.append(f"{path.name}:{number}")
    assert wrong == []
    assert sql_folder().name == "sql"

"""Published copies brought up to date block by block are the database, byte by byte, whoever reads meanwhile."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import duckdb
import pytest

from pipeline.store import copies
from pipeline.store.copies import copies_of, held_open, newest_copy, publish

STEPS = (
    "CREATE TABLE reading AS SELECT range AS row, random() AS wall FROM range(400000)",
    "INSERT INTO reading SELECT range, random() FROM range(3000)",
    "CREATE TABLE finding AS SELECT range AS number, 'thin wall ' || range AS sentence FROM range(20000)",
    "UPDATE reading SET wall = 0.5 WHERE row % 1000 = 3",
    "DELETE FROM reading WHERE row > 200000",
    "DROP TABLE finding",
    "INSERT INTO reading SELECT range, random() FROM range(600000)",
)


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder whose database is of any size brought up to date, not copied."""
    monkeypatch.setattr(copies, "WHOLE_BELOW_BYTES", 0)
    return tmp_path / "reelproof.duckdb"


def change(database: Path, statement: str) -> None:
    with duckdb.connect(str(database)) as connection:
        connection.execute(statement)
    publish(database)


def test_every_copy_is_the_database_byte_by_byte(store: Path) -> None:
    for number, statement in enumerate(STEPS, 1):
        change(store, statement)
        copy = newest_copy(store.parent)
        assert copy is not None and copy.name == f"reelproof-{number:08d}.duckdb"
        assert copy.read_bytes() == store.read_bytes(), statement
    assert len(copies_of(store.parent)) == copies.KEPT_COPIES


def test_only_blocks_that_changed_are_written(store: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for statement in STEPS[:3]:
        change(store, statement)
    written: list[int] = []
    real = os.pwrite
    monkeypatch.setattr(
        os, "pwrite", lambda file, data, at: written.append(len(data)) or real(file, data, at)
    )
    publish(store)  # nothing new since the newest copy; the one brought up to date is a step behind
    publish(store)  # nothing new at all
    blocks = store.stat().st_size // (1 << 18)
    assert blocks > 10
    assert 0 < sum(size == 1 << 18 for size in written) < blocks / 2
    assert written[-1] == 3 * 4096, "of the last copy only the header"


@pytest.mark.parametrize("reader", ["this process", "another process"])
def test_a_copy_that_is_being_read_is_not_written_over(store: Path, reader: str) -> None:
    for statement in STEPS[:2]:
        change(store, statement)
    oldest = copies_of(store.parent)[0]
    script = (
        "import duckdb, sys; c = duckdb.connect(sys.argv[1], read_only=True); print('open', flush=True); "
        "sys.stdin.read(); print(*c.execute('SELECT count(*) FROM reading').fetchall()[0])"
    )
    if reader == "this process":
        with held_open(oldest), oldest.open("rb") as file:
            before = oldest.read_bytes()
            change(store, STEPS[6])
            assert file.read() == before
    else:
        with subprocess.Popen(
            [sys.executable, "-c", script, str(oldest)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        ) as other:  # fmt: skip
            assert other.stdout is not None and other.stdout.readline() == "open\n"
            change(store, STEPS[6])
            counted, _ = other.communicate("")
        assert counted == "400000\n"
    newest = newest_copy(store.parent)
    assert newest is not None and newest.read_bytes() == store.read_bytes()
    assert not oldest.exists()


def test_what_a_killed_writer_left_is_cleared(store: Path) -> None:
    for statement in STEPS[:3]:
        change(store, statement)
    home = store.parent / copies.PUBLISHED
    copies_of(store.parent)[0].rename(home / ".copy-4")
    change(store, STEPS[3])
    assert sorted(path.name for path in home.iterdir()) == [
        "reelproof-00000003.duckdb",
        "reelproof-00000004.duckdb",
    ]
    newest = newest_copy(store.parent)
    assert newest is not None and newest.read_bytes() == store.read_bytes()


def test_now_and_then_a_copy_is_made_anew_so_that_damage_in_one_dies_out(
    store: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for statement in STEPS[:2]:
        change(store, statement)
    for copy in copies_of(store.parent):
        spoilt = bytearray(copy.read_bytes())
        spoilt[3 * 4096 + 1000] ^= 1
        copy.write_bytes(spoilt)
    publish(store)
    assert newest_copy(store.parent).read_bytes() != store.read_bytes()  # type: ignore[union-attr]
    monkeypatch.setattr(copies, "WHOLE_EVERY", 2)
    publish(store)
    assert newest_copy(store.parent).read_bytes() == store.read_bytes()  # type: ignore[union-attr]

"""Nothing in a database answers in a table's place, and no statement reaches a file."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path

import duckdb
import polars as pl
import pytest

from pipeline.errors import StoreError
from pipeline.record.journal_on_file import journal_of
from pipeline.store.catalogue import not_as_laid_out
from pipeline.store.copies import newest_copy
from pipeline.store.damage import DamagedStoreError
from pipeline.store.database import DATABASE, Store, open_to_read, open_to_write, opened_copy

HIDE = "ALTER TABLE logged.load RENAME TO hidden"
COMPUTED = "CREATE TABLE logged.warning (load_id INTEGER, sentence VARCHAR GENERATED ALWAYS AS ('all well'))"
NEVER = "which this program never makes."
# What somebody with write permission puts into the file, and what of it is told.
STAND_INS = {
    "a view in a table's place": (
        [HIDE, "CREATE VIEW logged.load AS SELECT * FROM logged.hidden WHERE false"],
        "view logged.load",
    ),
    "a view that reads a file": (
        [HIDE, "CREATE VIEW logged.load AS SELECT * FROM read_text('/etc/hostname')"],
        "view logged.load",
    ),
    "a macro in a function's place": (
        ["CREATE MACRO logged.count(x) AS 0"],
        "macro logged.count",
    ),
    "a table macro in the catalogue's place": (
        ["CREATE MACRO main.duckdb_views() AS TABLE SELECT 1 AS one"],
        "macro main.duckdb_views",
    ),
    "a view of an earlier version": (
        ["CREATE VIEW logged.current_load AS SELECT * FROM logged.load WHERE false"],
        "view logged.current_load",
    ),
    "a type": (["CREATE TYPE logged.note AS ENUM ('a')"], "type logged.note"),
    "computed columns": (
        ["DROP TABLE logged.warning", COMPUTED],
        "table logged.warning with computed columns",
    ),
}  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with open_to_write(tmp_path / "store") as store:
        store.append("logged.warning", pl.DataFrame({"load_id": 1, "sentence": "one"}))
    return tmp_path / "store"


def changed(path: Path, statements: list[str]) -> None:
    with duckdb.connect(str(path)) as connection:
        for statement in statements:
            connection.execute(statement)


@pytest.mark.parametrize("how", STAND_INS)
def test_a_writer_refuses_what_could_answer_in_a_tables_place(folder: Path, how: str) -> None:
    statements, named = STAND_INS[how]
    changed(folder / DATABASE, statements)
    with pytest.raises(DamagedStoreError) as told, open_to_write(folder):
        pass
    assert str(told.value) == (
        f"{folder / DATABASE}: this database holds the {named}, which this program never makes "
        "and which could answer in a table's place. Somebody changed this file: keep it as it is, put a backup "
        "in its place, then run 'reelproof verify'."
    )


@pytest.mark.parametrize("how", STAND_INS)
def test_a_reader_is_not_taken_in(folder: Path, how: str) -> None:
    """It refuses a view or computed column in a table's place, and never asks any other."""
    statements, _ = STAND_INS[how]
    copy = newest_copy(folder)
    assert copy is not None
    changed(copy, statements)
    if how.startswith(("a view that", "a view in", "computed")):
        with pytest.raises(DamagedStoreError, match="which this program never makes"), open_to_read(folder):
            pass
        return
    with open_to_read(folder) as store:
        assert store.ask("questions/warnings_of_load", load_id=1) == [
            {"load_id": 1, "sentence": "one", "said": None}
        ]
        assert store.ask("questions/numbers_on_file") == [
            {"name": "logged.warning", "kind": "load", "number": 1}
        ]
        assert store.ask("questions/current_runs") == []


@pytest.mark.parametrize("how", STAND_INS)
def test_each_is_told_of_a_database_as_it_is(folder: Path, how: str) -> None:
    statements, named = STAND_INS[how]
    path = folder / DATABASE
    changed(path, statements)
    with duckdb.connect(str(path)) as connection:
        told = not_as_laid_out(connection, "reelproof", of_version=True)
    if how == "computed columns":
        assert told[-1] == "the column sentence of the table logged.warning is not of the kind it was made."
    else:
        assert (
            f"the database holds the {named.replace('table_macro', 'macro')}, which this program never makes."
            in told
        )


def test_a_database_as_it_was_made_has_no_layout_fault(folder: Path) -> None:
    with open_to_write(folder) as store:
        assert store.layout_faults() == []
    with open_to_read(folder) as store:
        assert store.layout_faults() == []


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        ("ALTER TABLE judged.reel DROP COLUMN standing", "the table judged.reel has no column standing."),
        (
            "ALTER TABLE judged.reel ADD COLUMN note VARCHAR",
            "the table judged.reel has a column note, which this program never makes.",
        ),
        ("DROP TABLE judged.finding", "the table judged.finding is not there."),
        (
            "ALTER TABLE judged.reel ALTER standing SET DEFAULT 'releasable'",
            "the column standing of the table judged.reel is not of the kind it was made.",
        ),
        ("CREATE TABLE judged.more (a INTEGER)", f"the database holds the table judged.more, {NEVER}"),
        ("CREATE SEQUENCE judged.number", f"the database holds the sequence judged.number, {NEVER}"),
    ],
)  # fmt: skip
def test_each_difference_of_the_layout_is_told(folder: Path, statement: str, told: str) -> None:
    changed(folder / DATABASE, [statement])
    with open_to_write(folder) as store:
        assert store.layout_faults() == [told]


@pytest.mark.parametrize("opened", [open_to_write, open_to_read])
def test_no_statement_reaches_a_file_and_nobody_can_let_it(folder: Path, opened: object) -> None:
    other = folder / "other.duckdb"
    shutil.copy(folder / DATABASE, other)
    with opened(folder) as store:  # type: ignore[operator]
        for statement in (
            "SELECT * FROM read_text('/etc/hostname')",
            f"ATTACH '{other}' AS other",
            f"COPY (SELECT 1) TO '{folder / 'out.csv'}'",
        ):
            with pytest.raises(duckdb.PermissionException, match="disabled by config"):
                store.connection.execute(statement)
        with pytest.raises(duckdb.InvalidInputException, match="locked"):
            store.connection.execute("SET enable_external_access = true")


def test_a_store_of_version_7_is_read_and_its_views_go_at_the_next_writing(folder: Path) -> None:
    """Version 7 kept its views in the database; nobody asks them any more, whatever they say."""
    earlier = [
        "DELETE FROM journal.store_version",
        "INSERT INTO journal.store_version VALUES (6, now()::TIMESTAMP, '0')",
    ]
    views = [
        "CREATE VIEW logged.current_load AS SELECT 'faked' AS run_id",
        "CREATE VIEW judged.current_assessment AS SELECT 'faked' AS run_id",
    ]
    copy = newest_copy(folder)
    assert copy is not None
    for path in (copy, folder / DATABASE):
        changed(path, earlier + views)
    with open_to_read(folder) as store:
        assert store.ask("questions/current_runs") == []
        assert store.layout_faults() == []
    with open_to_write(folder) as store:
        assert store.ask("questions/current_runs") == []
        assert store.ask("questions/warnings_of_load", load_id=1) == [
            {"load_id": 1, "sentence": "one", "said": None}
        ]
    with duckdb.connect(str(folder / DATABASE), read_only=True) as connection:
        assert connection.execute("SELECT view_name FROM duckdb_views() WHERE NOT internal").fetchall() == []


def test_a_copy_in_a_folder_with_a_quote_in_its_name(tmp_path: Path) -> None:
    folder = tmp_path / "line 1's store"
    with open_to_write(folder):
        pass
    copy = newest_copy(folder)
    assert copy is not None
    with opened_copy(copy) as store:
        assert store.ask("questions/current_runs") == []


def test_a_store_that_is_no_store_is_still_refused_in_words(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="there is no store here"), open_to_read(tmp_path):
        pass


@pytest.mark.parametrize("opened", [open_to_write, open_to_read])
@pytest.mark.parametrize(
    ("statement", "told"),
    [
        ("DROP TABLE logged.warning", "the table logged.warning is not there"),
        (
            "ALTER TABLE logged.warning DROP COLUMN sentence",
            "the table logged.warning has no column sentence",
        ),
        ("ALTER TABLE journal.entry RENAME TO other", "the table journal.entry is not there"),
        ("ALTER TABLE logged.load RENAME TO other", "the table logged.load is not there"),
    ],
)
def test_a_table_or_column_that_was_taken_away_is_told_where_it_is_asked(
    folder: Path, statement: str, told: str, opened: Callable[[Path], AbstractContextManager[Store]]
) -> None:
    copy = newest_copy(folder)
    assert copy is not None
    for path in (folder / DATABASE, copy):
        changed(path, [statement])
    with pytest.raises(DamagedStoreError, match=re.escape(told)), opened(folder) as store:
        store.ask("questions/warnings_of_load", load_id=1)
        journal_of(store)
        store.ask("questions/current_runs")

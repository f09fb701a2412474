"""A cell changed anywhere in the store has another hash than its journal entry keeps: every table, every column.

More cells a column are tried with REELPROOF_MUTATED_ROWS=50 and up.
"""

from __future__ import annotations

import json
import os
import random
from pathlib import Path
from typing import Any

import duckdb
import pytest

from pipeline.acts.deciding import act_on
from pipeline.lots.journal import check_journal
from pipeline.record.journal_on_file import journal_of
from pipeline.record.sealing import ASSESSMENT_TABLES, ENTRY_TABLES, LINE_TABLES, LOAD_TABLES, frame_sha256
from pipeline.store.database import Store, open_to_write
from tests.acts.decided_store import ENGINEER, copied

ROWS = int(os.environ.get("REELPROOF_MUTATED_ROWS", "1"))
CHANGED = {
    "VARCHAR": "coalesce({0}, '') || 'x'",
    "VARCHAR[]": "list_append(coalesce({0}, []), 'x')",
    "INTEGER[]": "list_append(coalesce({0}, []), 7)",
    "BOOLEAN": "NOT {0}",
    "DATE": "coalesce({0}, DATE '2026-01-01') + 1",
    "TIMESTAMP": "coalesce({0}, TIMESTAMP '2026-01-01') + INTERVAL 1 MICROSECOND",
    # The next figure but one that a binary64 number can hold.
    "DOUBLE": "CASE WHEN {0} IS NULL OR {0} = 0 OR NOT isfinite({0}) THEN 1e-300 ELSE {0} * (1 + 4.5e-16) END",
}
# Nothing in the sample runs is set aside, and not every run has something to warn of.
MAY_BE_EMPTY = {
    "logged.set_aside", "logged.warning", "placed.warning", "journal.shipment", "placed.cut",
    "measured.stretch",  # only stores of earlier versions have rows there
}  # fmt: skip


@pytest.fixture(scope="module")
def store_folder(judged_store: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("mutated") / "store"
    copied(judged_store, folder)
    with open_to_write(folder) as store:
        name = store.ask("questions/finding_ids")[0]["finding_id"]
        act_on(store, name, "decide", ENGINEER, "seen on a slice", "scrap")
    return folder


def sealed_tables(store: Store) -> list[tuple[str, str, str, int, str]]:
    """Table, question, key, number and seal: of each table the newest load, judgement or entry with rows in it."""
    kept: dict[str, tuple[str, str, str, int, str]] = {}
    for row in store.ask("questions/journal"):
        record: dict[str, Any] = json.loads(row["record"])["record"]
        if row["kind"] == "load":
            tables, key, number = LOAD_TABLES, "load_id", record["load_id"]
        elif row["kind"] == "assessment":
            tables, key, number = ASSESSMENT_TABLES, "assessment_id", record["assessment_id"]
        elif row["kind"] == "line review":
            tables, key, number = LINE_TABLES, "line_review_id", record["line_review_id"]
        else:  # the entry of one reel keeps no rows of its own: it is held against those of its judgement
            tables, key, number = ENTRY_TABLES.get(row["kind"], {}), "entry_no", row["entry_no"]
        for table, question in tables.items():
            if store.ask(question, **{key: number}):
                kept[table] = (table, question, key, number, record["seals"]["rows"][table])
    return list(kept.values())


def columns_of(store: Store, table: str) -> list[tuple[str, str]]:
    described = store.connection.execute(f"DESCRIBE {_quoted(table)}").fetchall()
    return [(name, kind) for name, kind, *_ in described]


def _quoted(table: str) -> str:
    schema, name = table.split(".")
    return f'{schema}."{name}"'


def test_every_changed_cell_is_found(store_folder: Path) -> None:
    rng = random.Random(20260303)
    tried = 0
    with open_to_write(store_folder) as store:
        tables = sealed_tables(store)
        missing = {*LOAD_TABLES, *ASSESSMENT_TABLES, "journal.act"} - {table for table, *_ in tables}
        assert missing <= MAY_BE_EMPTY
        for table, question, key, number, seal in tables:
            assert frame_sha256(store.ask_frame(question, **{key: number})) == seal
            ids = [
                one
                for (one,) in store.connection.execute(
                    f"SELECT rowid FROM {_quoted(table)} WHERE {key} = {number} ORDER BY rowid"
                ).fetchall()
            ]
            for name, kind in columns_of(store, table):
                for row in rng.sample(ids, min(ROWS, len(ids))):
                    change = CHANGED.get(kind, "coalesce({0}, 0) + 1").format(f'"{name}"')
                    store.connection.execute("BEGIN TRANSACTION")
                    try:
                        store.connection.execute(
                            f'UPDATE {_quoted(table)} SET "{name}" = {change} WHERE rowid = {row}'
                        )
                        found = frame_sha256(store.ask_frame(question, **{key: number})) != seal
                        assert found, (table, name, row)
                        tried += 1
                    except duckdb.ConstraintException:
                        pass  # the table itself does not take such a row
                    finally:
                        store.connection.execute("ROLLBACK")
        store.changed = False
    assert tried >= 200


def test_every_changed_cell_of_the_journal_is_found(store_folder: Path) -> None:
    rng = random.Random(20260303)
    with open_to_write(store_folder) as store:
        assert check_journal(journal_of(store)) == ()
        numbers = [row["entry_no"] for row in store.ask("questions/journal")]
        for name, kind in columns_of(store, "journal.entry"):
            for entry_no in rng.sample(numbers, min(3 * ROWS, len(numbers))):
                change = CHANGED.get(kind, "{0} + 1000").format(f'"{name}"')
                store.connection.execute("BEGIN TRANSACTION")
                store.connection.execute(
                    f'UPDATE journal.entry SET "{name}" = {change} WHERE entry_no = {entry_no}'
                )
                assert check_journal(journal_of(store)), (name, entry_no)
                store.connection.execute("ROLLBACK")
        # An entry taken out of the middle breaks the chain; off the end only an anchor kept elsewhere tells it.
        store.connection.execute("BEGIN TRANSACTION")
        store.connection.execute("DELETE FROM journal.entry WHERE entry_no = 3")
        assert check_journal(journal_of(store))
        store.connection.execute("ROLLBACK")
        store.changed = False

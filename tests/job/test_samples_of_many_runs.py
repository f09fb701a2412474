"""How much is asked of the store to say what samples say of a run, where its lots served many sampled runs."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pytest

from pipeline.cli.app import run
from pipeline.record.sample_say import samples_on_run
from pipeline.store.database import Store, open_to_write

KEYS = {"run_id", "load_id", "assessment_id", "reel_id"}


def multiplied(store: Path, runs: int) -> None:
    """The only run of a store so many times over, each copy with reels of its own and the same material lots."""
    with duckdb.connect(str(store / "reelproof.duckdb")) as database:
        tables: dict[str, list[str]] = {}
        for table, column in database.execute(
            "SELECT schema_name || '.' || table_name, column_name FROM duckdb_columns() WHERE NOT internal"
        ).fetchall():
            tables.setdefault(table, []).append(column)
        for table, columns in tables.items():
            if table == "journal.entry" or not KEYS & set(columns):
                continue
            told = ", ".join(
                f"{name} || '-' || i AS {name}"
                if name in ("run_id", "reel_id", "sample_id", "finding_id", "subject")
                else f"{name} + 10 * i AS {name}"
                if name in ("load_id", "assessment_id")
                else name
                for name in columns
            )
            database.execute(f"INSERT INTO {table} SELECT {told} FROM {table}, range(1, {runs}) AS r(i)")


def test_the_store_is_asked_as_often_for_a_lot_of_forty_runs_as_of_two(
    small_run: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    rows = Store._rows
    monkeypatch.setattr(Store, "_rows", lambda self, text, told: asked.append(text) or rows(self, text, told))
    counts = {}
    for runs in (2, 40):
        folder = tmp_path / f"store{runs}"
        assert run(["load", str(small_run), "--store", str(folder)]) == 0
        assert run(["assess", "--store", str(folder)]) == 0
        multiplied(folder, runs)
        with open_to_write(folder) as store:
            asked.clear()
            said = samples_on_run(store, "R-0415-1")
            assert {one.shown for one in said.values()} == {frozenset({("covering at any point", "UL 83")})}
            counts[runs] = len(asked)
    assert counts[40] == counts[2] <= 16

"""Every case below this folder: small tables, the question's parameters, and the rows it must give.

A case is a folder ``<question>/<case>/`` with ``case.toml``: ``parameters``, ``[[rows."schema.table"]]`` and
``[[expected]]``. Columns a row leaves out get a plain value, so that a case shows only what matters to it.
"""

from __future__ import annotations

import tomllib
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest

from pipeline.store.database import Store, open_to_write

HERE = Path(__file__).parent
CASES = sorted(path.parent for path in HERE.rglob("case.toml"))

PLAIN: dict[str, Any] = {
    "INTEGER": 0,
    "UINTEGER": 0,
    "UTINYINT": 0,
    "BIGINT": 0,
    "DOUBLE": 0.0,
    "BOOLEAN": False,
    "VARCHAR": "",
    "VARCHAR[]": [],
    "INTEGER[]": [],
    "DATE": date(2026, 1, 1),
    "TIMESTAMP": datetime(2026, 1, 1),
}


def fill(store: Store, table: str, rows: list[dict[str, Any]]) -> None:
    columns = store.connection.execute(f"DESCRIBE {table}").fetchall()
    for row in rows:
        unknown = set(row) - {name for name, *_ in columns}
        assert not unknown, f"{table} has no column {unknown}"
        values = [row.get(name, PLAIN[kind] if null == "NO" else None) for name, kind, null, *_ in columns]
        marks = ", ".join("?" for _ in values)
        store.connection.execute(f"INSERT INTO {table} VALUES ({marks})", values)


@pytest.mark.parametrize("case", CASES, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_a_question_gives_the_rows_it_should(case: Path, tmp_path: Path) -> None:
    told = tomllib.loads((case / "case.toml").read_text(encoding="utf-8"))
    with open_to_write(tmp_path) as store:
        for table, rows in told.get("rows", {}).items():
            fill(store, table, rows)
        answer = store.ask(f"questions/{case.parent.name}", **told.get("parameters", {}))
    expected = told.get("expected", [])
    assert len(answer) == len(expected)
    for row, wanted in zip(answer, expected, strict=True):
        assert {name: row[name] for name in wanted} == {
            name: (None if value == "NULL" else value) for name, value in wanted.items()
        }


def test_the_questions_with_a_join_a_window_or_a_null_have_a_case() -> None:
    from pipeline.store.sql_files import statement, statements

    missing = []
    for name in statements("questions"):
        text = statement(name)
        if any(word in text for word in ("JOIN", "QUALIFY", "coalesce")):
            question = name.split("/")[1]
            if not list((HERE / question).glob("*/case.toml")):
                missing.append(question)
    assert missing == []

"""Is a database laid out as the files in ``sql/`` say, and does nothing in it stand in for a table?

A view, macro, computed column or trigger in a database file could answer a question otherwise than its rows do, or
read a file of whoever opens it. So a store holds tables and nothing else: the views of ``sql/views`` are made in the
memory of whoever opens it, and a database with anything else is refused.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

import duckdb

from pipeline.errors import Complaint
from pipeline.store.damage import DamagedStoreError
from pipeline.store.sql_files import statement, statements

SCHEMAS = ("logged", "placed", "measured", "judged", "journal")
# Name of the database of a store in a reader's memory, and of a writer's views.
KEPT, PROGRAM = "kept", "program"
_MEMORY = "memory"
# Version 7 and before kept these in the database; nobody reads them there any more.
EARLIER_VIEWS = frozenset({("logged", "current_load"), ("judged", "current_assessment")})
CHANGED_BY_SOMEBODY = (
    "Somebody changed this file: keep it as it is, put a backup in its place, then run 'reelproof verify'"
)
_HARMLESS = {"table", "sequence", "index"}


def _rows(connection: duckdb.DuckDBPyConnection, question: str, database: str) -> list[tuple[Any, ...]]:
    return connection.execute(statement(f"catalogue/{question}"), {"database": database}).fetchall()


@cache
def _tables() -> frozenset[tuple[str, str]]:
    """Schema and name of every table in ``sql/tables``; a file that adds a column to one makes none."""
    named = (name.split("/") for name in statements("tables") if "CREATE TABLE" in statement(name))
    return frozenset((schema, table) for _, schema, table in named)


@cache
def _columns() -> dict[tuple[str, str, str], tuple[Any, ...]]:
    """Kind, nullability, standard value and whether it is computed of every column in ``sql/tables``."""
    with duckdb.connect(":memory:") as connection:
        for schema in SCHEMAS:
            connection.execute(f"CREATE SCHEMA {schema}")
        for name in statements("tables"):
            connection.execute(statement(name))
        return {row[:3]: row[3:] for row in _rows(connection, "columns", _MEMORY)}


def refuse_stand_ins(
    connection: duckdb.DuckDBPyConnection, database: str, path: Path
) -> frozenset[tuple[str, str]]:
    """Refuse a database in which something could answer in a table's place.

    Args:
        connection: a connection to it, before anything else is asked.
        database: its name there.
        path: its file.

    Returns:
        the views that an earlier version kept there; in one of this version nobody may.

    Raises:
        DamagedStoreError: it holds a view, macro, type or trigger of somebody else, or computed columns.
    """
    objects = _rows(connection, "objects", database)
    computed = {row[:2] for row in _rows(connection, "columns", database) if row[6]}
    earlier = EARLIER_VIEWS & {(schema, name) for schema, name, kind in objects if kind == "view"}
    foreign = [
        f"{kind} {schema}.{name}"
        for schema, name, kind in objects
        if kind not in _HARMLESS and not (kind == "view" and (schema, name) in earlier)
    ]
    foreign += [f"table {schema}.{name} with computed columns" for schema, name in sorted(computed)]
    _refuse(foreign, path)
    return earlier


def refuse_views(views: Iterable[tuple[str, str]], path: Path) -> None:
    """Refuse a database of this version that holds views of an earlier one."""
    _refuse((f"view {schema}.{name}" for schema, name in sorted(views)), path)


def _refuse(foreign: Iterable[str], path: Path) -> None:
    complaints = [
        Complaint(
            str(path),
            f"this database holds the {one}, which this program never makes and which could answer in a table's place",
            CHANGED_BY_SOMEBODY,
        )
        for one in foreign
    ]
    if complaints:
        raise DamagedStoreError(complaints)


def views_over(connection: duckdb.DuckDBPyConnection, path: Path) -> None:
    """Put the views of ``sql/views`` into a reader's own memory, over the tables of the database `KEPT`.

    Names of functions and types find the engine's own first, so that none of the file's can stand in for them.

    Args:
        connection: a connection to a database in memory to which the store's is attached.
        path: the store's file.

    Raises:
        DamagedStoreError: something in it could answer in a table's place.
    """
    found = _rows(connection, "tables", KEPT)
    _refuse(
        [
            f"{kind} {schema}.{name}"
            for schema, name, kind, _ in found
            if kind == "view" and (schema, name) in _tables()
        ]
        + [
            f"table {schema}.{name} with computed columns"
            for schema, name, _, is_computed in found
            if is_computed
        ],
        path,
    )
    for schema in SCHEMAS:
        connection.execute(f"CREATE SCHEMA IF NOT EXISTS {schema}")
    there = set(connection.execute(statement("catalogue/schemas"), {"database": KEPT}).fetchall())
    homes = [f"{_MEMORY}.{schema}" for schema in SCHEMAS]
    homes += [f"{KEPT}.{schema}" for schema in SCHEMAS if (schema,) in there]
    if {("logged", "load"), ("judged", "assessment")} <= {(schema, name) for schema, name, _, _ in found}:
        # Made before this database's own names are looked for first, so that they are made in it.
        connection.execute(f"SET search_path = '{','.join(homes)}'")
        for name in statements("views"):
            connection.execute(statement(name))
    connection.execute(f"SET search_path = 'system.main,system.pg_catalog,{','.join(homes)}'")


def columns_beside(connection: duckdb.DuckDBPyConnection) -> None:
    """Give a reader of an earlier store the columns that its tables lack, empty, in the reader's own memory.

    Args:
        connection: a reader's connection, whose own database is in memory and comes first where names are looked up.
    """
    there: dict[tuple[str, str], set[str]] = {}
    for schema, table, column, *_ in _rows(connection, "columns", KEPT):
        there.setdefault((schema, table), set()).add(column)
    lacking: dict[tuple[str, str], list[str]] = {}
    for (schema, table, column), (kind, *_) in _columns().items():
        if column not in there.get((schema, table), {column}):
            lacking.setdefault((schema, table), []).append(f'NULL::{kind} AS "{column}"')
    for (schema, table), columns in lacking.items():
        connection.execute(
            f'CREATE VIEW memory.{schema}."{table}" AS SELECT *, {", ".join(columns)}, rowid '
            f'FROM {KEPT}.{schema}."{table}"'
        )


def views_beside(connection: duckdb.DuckDBPyConnection, database: str) -> None:
    """Put the views of ``sql/views`` into a database in memory beside the one a writer has open.

    Args:
        connection: the writer's connection, its tables laid out.
        database: name of the store's database there.
    """
    connection.execute(f"ATTACH ':memory:' AS {PROGRAM}")
    for schema in SCHEMAS:
        connection.execute(f"CREATE SCHEMA {PROGRAM}.{schema}")
    homes = (f"{home}.{schema}" for home in (database, PROGRAM) for schema in SCHEMAS)
    connection.execute(f"SET search_path = '{','.join(homes)}'")
    for name in statements("views"):
        connection.execute(statement(name).replace("VIEW ", f"VIEW {PROGRAM}.", 1))


def shut_in(connection: duckdb.DuckDBPyConnection) -> None:
    """Let a connection reach no file but those it has open, and nobody change that."""
    connection.execute("SET enable_external_access = false")
    connection.execute("SET lock_configuration = true")


def not_as_laid_out(connection: duckdb.DuckDBPyConnection, database: str, of_version: bool) -> list[str]:
    """In what a database is not laid out as the files in ``sql/`` say, a sentence each.

    Args:
        connection: a connection to it.
        database: its name there.
        of_version: whether it is of this program's version; an earlier one had fewer tables, and views.
    """
    told = []
    objects = _rows(connection, "objects", database)
    for schema, name, kind in objects:
        if kind == "table" and (schema, name) in _tables():
            continue
        if not of_version and kind == "view" and (schema, name) in EARLIER_VIEWS:
            continue
        told.append(f"the database holds the {kind} {schema}.{name}, which this program never makes.")
    there = {(schema, name) for schema, name, kind in objects if kind == "table"}
    if of_version:
        told += [f"the table {schema}.{name} is not there." for schema, name in sorted(_tables() - there)]
    columns = {row[:3]: row[3:] for row in _rows(connection, "columns", database)}
    for key in sorted(columns.keys() | _columns().keys()):
        schema, table, column = key
        if (schema, table) not in _tables() & there:
            continue
        if key not in columns:
            if of_version:
                told.append(f"the table {schema}.{table} has no column {column}.")
        elif key not in _columns():
            told.append(f"the table {schema}.{table} has a column {column}, which this program never makes.")
        elif columns[key] != _columns()[key]:
            told.append(f"the column {column} of the table {schema}.{table} is not of the kind it was made.")
    return told


@contextmanager
def told_of_layout(connection: duckdb.DuckDBPyConnection, database: str, path: Path) -> Iterator[None]:
    """Where a question finds no table or column, and somebody took it away, say that and not that we are at fault.

    Args:
        connection: a connection to a database of this program's version.
        database: its name there.
        path: its file.

    Raises:
        DamagedStoreError: it is not laid out as the files in ``sql/`` say.
    """
    try:
        yield
    except (duckdb.CatalogException, duckdb.BinderException):
        lacking = not_as_laid_out(connection, database, of_version=True)
        if not lacking:
            raise
        raise DamagedStoreError(
            Complaint(str(path), one.rstrip("."), CHANGED_BY_SOMEBODY) for one in lacking
        ) from None

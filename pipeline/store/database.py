"""The store's one DuckDB file: who may write it, who may read it, and how it is opened.

DuckDB lets one process at a time open a file that is being written, and no reader meanwhile. So a writer
works on ``reelproof.duckdb`` and, when it is done, publishes a copy under a new versioned name; readers only
ever open the newest published copy and never wait for a writer.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Collection, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import duckdb

from pipeline import __version__
from pipeline.durable import force_out
from pipeline.errors import Complaint, StoreError
from pipeline.store import catalogue
from pipeline.store.copies import held_open, is_unpublished, newest_copy, publish
from pipeline.store.damage import DamagedStoreError, not_a_database, told_of_damage, told_of_disk
from pipeline.store.heads import (
    head_of,
    keep_head,
    kept_heads,
    refuse_lost_history,
    refuse_no_database,
    refuse_older_copy,
)
from pipeline.store.sql_files import statement, statements
from pipeline.store.writer_lock import WriterLock, held_for_writing, is_written

if TYPE_CHECKING:
    import polars as pl

STORE_VERSION = 15
# Since this version answers are known by keys; before, by their sentences.
KEYED_SINCE = 9
# Since this version what the evidence of a reel lacks is known by codes; before, by its sentences.
LACKS_SINCE = 11
DATABASE = "reelproof.duckdb"

_CONFIG: dict[str, str | bool | int | float | list[str]] = {
    "autoinstall_known_extensions": "false",
    "autoload_known_extensions": "false",
}


@dataclass(slots=True)
class Store:
    """An open store.

    Args:
        folder: the store's folder.
        connection: DuckDB connection to its database, or to a published copy of it.
        writable: whether this process owns the store.
        changed: whether anything was written since it was opened.
        copy: the published copy that is open, None for the store's own database.
        lock: what shows that this process still owns the store it writes.
    """

    folder: Path
    connection: duckdb.DuckDBPyConnection
    writable: bool
    changed: bool = field(default=False)
    copy: Path | None = None
    lock: WriterLock | None = None

    @property
    def database(self) -> str:
        """Name of the database on this connection."""
        return Path(DATABASE).stem if self.writable else catalogue.KEPT

    def layout_faults(self) -> list[str]:
        """In what the database is not laid out as the files in ``sql/`` say, a sentence each."""
        return catalogue.not_as_laid_out(self.connection, self.database, self.version == STORE_VERSION)

    @property
    def version(self) -> int:
        """The version of the tables."""
        return _version_of(self.connection)

    def ask(self, question: str, **parameters: object) -> list[dict[str, Any]]:
        """The rows that answer the SQL file `question` below ``sql/``, as dictionaries."""
        return self._rows(statement(question), parameters)

    def _rows(self, text: str, parameters: dict[str, Any]) -> list[dict[str, Any]]:
        cursor = self.connection.execute(text, parameters or None)
        names = [column[0] for column in cursor.description or ()]
        return [dict(zip(names, row)) for row in cursor.fetchall()]  # noqa: B905 - a row is as long as its names

    def ask_of_each(
        self, question: str, key: str, keys: Collection[Any], **more: object
    ) -> dict[Any, list[dict[str, Any]]]:
        """What `question`, which is about one `key`, answers about each of many: one statement instead of one each.

        Args:
            question: an SQL file with the parameter `key` that it compares a column with, and a column of that name.
            key: name of the parameter.
            keys: its values.
            **more: its other parameters.

        Returns:
            The rows by key, in the order of the question.
        """
        text = statement(question).replace(f"= ${key}", f"IN (SELECT unnest(${key}))")
        found: dict[Any, list[dict[str, Any]]] = {one: [] for one in keys}
        for row in self._rows(text, {key: list(keys), **more}):
            found[row[key]].append(row)
        return found

    def ask_frame(self, question: str, **parameters: object) -> pl.DataFrame:
        """The rows that answer the SQL file `question` below ``sql/``, as a frame."""
        frame: pl.DataFrame = self.connection.sql(statement(question), params=parameters or None).pl()
        return frame

    def append(self, table: str, rows: pl.DataFrame) -> None:
        """Append `rows` to `table`, columns matched by name; nothing on file is ever changed."""
        if rows.height == 0:
            return
        self.connection.register("rows_to_append", rows.to_arrow())
        self.connection.execute(statement("append").format(table=table))
        self.connection.unregister("rows_to_append")
        self.changed = True

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Everything appended inside is on file as a whole, or not at all."""
        self.connection.execute("BEGIN TRANSACTION")
        try:
            yield
        except BaseException:
            self.connection.execute("ROLLBACK")
            raise
        if self.lock is not None and not self.lock.is_held():
            self.connection.execute("ROLLBACK")
            raise self.lock.lost()
        self.connection.execute("COMMIT")


def _connected_to_write(
    path: Path, wait_s: float, on_wait: Callable[[str], None] | None
) -> duckdb.DuckDBPyConnection:
    """A connection to a database that this process may write: a reader of the file itself is waited for."""
    deadline = time.monotonic() + wait_s
    told = False
    while True:
        try:
            return duckdb.connect(str(path), config=_CONFIG)
        except duckdb.IOException as fault:
            if "lock" not in str(fault):
                raise not_a_database(path) from None
            found = re.search(r"PID (\d+)", str(fault))
            who = f"process {found.group(1)}" if found else "another process"
            if time.monotonic() >= deadline:
                raise is_written(path, who) from None
            if on_wait and not told:
                on_wait(who)
                told = True
            time.sleep(0.2)


def _make_database(path: Path) -> None:
    """Make an empty database under another name, then give it its own: one half made could never be opened again."""
    unfinished = path.with_name(f".{path.name}.part")
    unfinished.unlink(missing_ok=True)
    duckdb.connect(str(unfinished), config=_CONFIG).close()
    force_out(unfinished)
    unfinished.rename(path)
    force_out(path.parent)


def _version_of(connection: duckdb.DuckDBPyConnection) -> int:
    """The version of the tables in an open database; 0 where it has none yet."""
    if not connection.execute(statement("questions/has_tables")).fetchall()[0][0]:
        return 0
    return int(connection.execute(statement("questions/store_version")).fetchall()[0][0] or 0)


def _check_version(connection: duckdb.DuckDBPyConnection, path: Path) -> int:
    version = _version_of(connection)
    if version > STORE_VERSION:
        raise StoreError(
            Complaint(
                str(path),
                f"this store has version {version}, newer than this program knows ({STORE_VERSION})",
                "Use the program version that wrote it, or a newer one",
            )
        )
    return version


def _lay_out(store: Store, version: int) -> None:
    for schema in catalogue.SCHEMAS:
        store.connection.execute(f"CREATE SCHEMA IF NOT EXISTS {schema}")
    for schema, view in catalogue.EARLIER_VIEWS:
        store.connection.execute(f"DROP VIEW IF EXISTS {schema}.{view}")
    for name in statements("tables"):
        store.connection.execute(statement(name))
    if 0 < version < KEYED_SINCE:
        from pipeline.store.earlier_answers import give_keys

        give_keys(store.connection)
    if 0 < version < LACKS_SINCE:
        from pipeline.store.earlier_lacks import give_lacks

        give_lacks(store.connection)
    store.connection.execute(
        statement("steps/note_version"),
        {
            "version": STORE_VERSION,
            "since_utc": datetime.now(UTC).replace(tzinfo=None),
            "software": __version__,
        },
    )
    store.changed = True


@contextmanager
def open_to_write(
    folder: Path,
    wait_s: float = 30.0,
    on_wait: Callable[[str], None] | None = None,
    must_exist: bool = False,
    accept_loss: bool = False,
) -> Iterator[Store]:
    """The store in `folder`, owned by this process until the block ends; made if it is not there.

    Args:
        folder: the store's folder.
        wait_s: how long to wait for another writer [s].
        on_wait: told once who is being waited for.
        must_exist: whether a folder without a store is refused: what asks for things on file makes none.
        accept_loss: whether a journal that is shorter than it is known to have been is opened all the same.

    Raises:
        StoreError: another process holds it, it is of a newer version, it cannot be written, it is not there, or its
            journal lacks what is known of it.
    """
    if folder.exists() and not folder.is_dir():
        raise StoreError(
            Complaint(str(folder), "this is a file, not a store's folder", "Give --store a folder")
        )
    if must_exist:
        _refuse_no_store(folder)
    path = folder / DATABASE
    with told_of_disk(folder):
        folder.mkdir(parents=True, exist_ok=True)
        with suppress(FileNotFoundError), path.open("r+b"):
            pass  # raises PermissionError in our words before DuckDB raises in its own
        with held_for_writing(folder, path, wait_s, on_wait) as lock:
            if not accept_loss:
                refuse_no_database(path)
            if not path.exists():
                _make_database(path)
            with told_of_damage(path):
                connection = _connected_to_write(path, wait_s, on_wait)
                store = Store(folder, connection, writable=True, lock=lock)
                try:
                    with catalogue.told_of_layout(connection, store.database, path):
                        _begin(store, path, accept_loss)
                        yield store
                        head = head_of(store)
                    if store.changed:
                        # Else a disk without room for it would leave the newest rows out of the copy.
                        connection.execute("CHECKPOINT")
                finally:
                    connection.close()
            if not lock.is_held():
                raise lock.lost()
            if store.changed:
                publish(path)
                keep_head(folder, head)


def _begin(store: Store, path: Path, accept_loss: bool) -> None:
    """Make a database that was just opened ready to be written."""
    connection = store.connection
    earlier_views = catalogue.refuse_stand_ins(connection, store.database, path)
    version = _check_version(connection, path)
    if version < STORE_VERSION:
        with store.transaction():
            _lay_out(store, version)
    else:
        catalogue.refuse_views(earlier_views, path)
    catalogue.views_beside(connection, store.database)
    catalogue.shut_in(connection)
    if not accept_loss:
        refuse_lost_history(store, opened_copy)
    store.changed = store.changed or is_unpublished(path)


def _refuse_no_store(folder: Path) -> None:
    if not (folder / DATABASE).exists() and newest_copy(folder) is None:
        raise StoreError(
            Complaint(
                str(folder),
                "there is no store here",
                "Give --store the folder of a store, or load runs first with 'reelproof load'",
            )
        )


@contextmanager
def open_to_read(folder: Path, copy: Path | None = None) -> Iterator[Store]:
    """The newest published copy of the store in `folder`, open for reading; never waits for a writer.

    Args:
        folder: the store's folder.
        copy: the copy to open, where it must be the one that another process has open.

    Raises:
        StoreError: there is no store, nothing was published yet, it is of a newer version, or an older copy stands in
            the newest one's place.
    """
    _refuse_no_store(folder)
    # Before the copy is chosen: a writer publishes first and writes the head down after.
    known = () if copy else kept_heads(folder, all_there=False)
    copy = copy or newest_copy(folder)
    if copy is None:
        raise StoreError(
            Complaint(
                str(folder),
                "this store has nothing to read yet",
                "Wait until the first load has finished, or run it again",
            )
        )
    with opened_copy(copy) as store:
        refuse_older_copy(store, known)
        yield store


@contextmanager
def opened_copy(copy: Path) -> Iterator[Store]:
    """One published copy of a store, open for reading.

    Raises:
        DamagedStoreError: it cannot be read.
    """
    with told_of_damage(copy), held_open(copy):
        try:
            connection = _connected_to_read(copy)
        except duckdb.IOException:
            raise DamagedStoreError(
                Complaint(
                    str(copy),
                    "this copy of the store cannot be read",
                    "Ask for read permission; if the file is damaged, any writing command makes a new one",
                )
            ) from None
        with closing(connection), catalogue.told_of_layout(connection, catalogue.KEPT, copy):
            yield Store(copy.parent.parent, connection, writable=False, copy=copy)


def _connected_to_read(path: Path) -> duckdb.DuckDBPyConnection:
    """A connection whose own database is in memory, with the one of `path` attached and views over its tables."""
    connection = duckdb.connect(":memory:", config=_CONFIG | {"temp_directory": f"{path}.tmp"})
    try:
        quoted = str(path).replace("'", "''")
        connection.execute(f"ATTACH '{quoted}' AS {catalogue.KEPT} (READ_ONLY)")
        catalogue.views_over(connection, path)
        version = _check_version(connection, path)
        if 0 < version < KEYED_SINCE:
            from pipeline.store.earlier_answers import give_keys_in_memory

            give_keys_in_memory(connection)
        if 0 < version < LACKS_SINCE:
            from pipeline.store.earlier_lacks import give_lacks_in_memory

            give_lacks_in_memory(connection)
        if version < STORE_VERSION:
            catalogue.columns_beside(connection)
        catalogue.shut_in(connection)
    except BaseException:
        connection.close()
        raise
    return connection


@contextmanager
def open_database_to_read(folder: Path) -> Iterator[Store | None]:
    """The store's own database, open for reading; None while another process is writing it."""
    path = folder / DATABASE
    with told_of_damage(path):
        try:
            connection = _connected_to_read(path)
        except duckdb.IOException as fault:
            if "lock" not in str(fault):
                raise not_a_database(path) from None
            yield None
            return
        with closing(connection), catalogue.told_of_layout(connection, catalogue.KEPT, path):
            yield Store(folder, connection, writable=False)

"""The store's one DuckDB file: who may write it, who may read it, and how it is opened.

DuckDB lets one process at a time open a file that is being written, and no reader meanwhile. So a writer
works on ``reelproof.duckdb`` and, when it is done, publishes a copy under a new versioned name; readers only
ever open the newest published copy and never wait for a writer.
"""

from __future__ import annotations

import errno
import re
import shutil
import time
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import duckdb

from pipeline import __version__
from pipeline.errors import Complaint, ReelproofError, StoreError
from pipeline.store.copies import PUBLISHED, held_open, is_unpublished, newest_copy, publish
from pipeline.store.sql_files import statement, statements

if TYPE_CHECKING:
    import polars as pl

STORE_VERSION = 7
SCHEMAS = ("logged", "placed", "measured", "judged", "journal")
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
    """

    folder: Path
    connection: duckdb.DuckDBPyConnection
    writable: bool
    changed: bool = field(default=False)
    copy: Path | None = None

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
        self.connection.execute("COMMIT")


class DamagedStoreError(StoreError):
    """A database file that is not as it was written, or is no database any more."""


# Errors of a disk that takes no more, by number and, where a library has put them into an error of its own, by text.
_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EFBIG}
_ROOM_BYTES = 100_000
_FULL_TEXT = re.compile(
    r"no space left|quota exceeded|read-only file system|file too large|disk is full", re.I
)


def is_full_disk(fault: BaseException) -> bool:
    """Whether a disk that is full or read-only lies behind `fault`, whichever library raised it."""
    if isinstance(fault, OSError) and fault.errno is not None:
        return fault.errno in _FULL
    return bool(_FULL_TEXT.search(str(fault)))


def _has_room(folder: Path) -> bool:
    with suppress(OSError):
        return shutil.disk_usage(folder).free > _ROOM_BYTES
    return True


@contextmanager
def told_of_disk(folder: Path) -> Iterator[None]:
    """Turn a full or forbidden disk into a complaint that says so."""
    try:
        yield
    except ReelproofError:
        raise
    except PermissionError as fault:
        raise StoreError(
            Complaint(
                str(fault.filename or folder),
                "this program may not write here",
                "Give it write permission, or choose another --store",
            )
        ) from None
    except Exception as fault:
        # Some libraries do not say why a file could not be written to its end.
        if not is_full_disk(fault) and _has_room(folder):
            raise
        raise StoreError(
            Complaint(
                str(folder),
                "the disk is full or read-only; nothing half-written was kept",
                "Free some space or choose another --store, then run the same command again",
            )
        ) from None


@contextmanager
def told_of_damage(path: Path) -> Iterator[None]:
    """Turn a database file whose blocks no longer have their checksums into a complaint that says so."""
    try:
        yield
    except duckdb.Error as fault:
        if "corrupt" not in str(fault).lower():
            raise
        raise DamagedStoreError(
            Complaint(
                str(path),
                "this file is damaged: a block of it does not have its checksum",
                f"Keep it as it is, put the newest whole file of the '{PUBLISHED}' folder or of a backup in its place, "
                "then run 'reelproof verify'",
            )
        ) from None


def _not_a_database(path: Path) -> DamagedStoreError:
    return DamagedStoreError(
        Complaint(
            str(path),
            "this is not a store's database, or it cannot be opened",
            "Check --store; if the file is damaged, load the logs into a new store",
        )
    )


def _held_by(fault: duckdb.Error) -> str | None:
    found = re.search(r"PID (\d+)", str(fault))
    return found.group(1) if found else None


def _connect_to_write(
    path: Path, wait_s: float, on_wait: Callable[[str], None] | None
) -> duckdb.DuckDBPyConnection:
    deadline = time.monotonic() + wait_s
    told = False
    while True:
        try:
            return duckdb.connect(str(path), config=_CONFIG)
        except duckdb.IOException as fault:
            if "lock" not in str(fault):
                raise _not_a_database(path) from None
            holder = _held_by(fault)
            who = f"process {holder}" if holder else "another process"
            if time.monotonic() >= deadline:
                raise StoreError(
                    Complaint(
                        str(path),
                        f"{who} is writing to this store",
                        "Wait until it has finished and run the same command again",
                    )
                ) from None
            if on_wait and not told:
                on_wait(who)
                told = True
            time.sleep(0.2)


def _check_version(connection: duckdb.DuckDBPyConnection, path: Path) -> int:
    """The version of the tables in an open database; 0 where it has none yet."""
    known = connection.execute(statement("questions/has_tables")).fetchall()
    if not known[0][0]:
        return 0
    version = int(connection.execute(statement("questions/store_version")).fetchall()[0][0] or 0)
    if version > STORE_VERSION:
        raise StoreError(
            Complaint(
                str(path),
                f"this store has version {version}, newer than this program knows ({STORE_VERSION})",
                "Use the program version that wrote it, or a newer one",
            )
        )
    return version


def _lay_out(store: Store) -> None:
    for schema in SCHEMAS:
        store.connection.execute(f"CREATE SCHEMA IF NOT EXISTS {schema}")
    for name in (*statements("tables"), *statements("views")):
        store.connection.execute(statement(name))
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
) -> Iterator[Store]:
    """The store in `folder`, owned by this process until the block ends; made if it is not there.

    Args:
        folder: the store's folder.
        wait_s: how long to wait for another writer [s].
        on_wait: told once who is being waited for.
        must_exist: whether a folder without a store is refused: what asks for things on file makes none.

    Raises:
        StoreError: another process holds it, it is of a newer version, it cannot be written, or it is not there.
    """
    if folder.exists() and not folder.is_dir():
        raise StoreError(
            Complaint(str(folder), "this is a file, not a store's folder", "Give --store a folder")
        )
    if must_exist:
        _refuse_no_store(folder)
    with told_of_disk(folder):
        folder.mkdir(parents=True, exist_ok=True)
        path = folder / DATABASE
        with suppress(FileNotFoundError), path.open("r+b"):
            pass  # raises PermissionError in our words before DuckDB raises in its own
        with told_of_damage(path):
            connection = _connect_to_write(path, wait_s, on_wait)
            store = Store(folder, connection, writable=True)
            try:
                if _check_version(connection, path) < STORE_VERSION:
                    with store.transaction():
                        _lay_out(store)
                store.changed = store.changed or is_unpublished(path)
                yield store
                if store.changed:
                    # Else a disk without room for it would leave the newest rows out of the copy.
                    connection.execute("CHECKPOINT")
            finally:
                connection.close()
        if store.changed:
            publish(path)


def _refuse_no_store(folder: Path) -> None:
    if not (folder / DATABASE).exists():
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
        StoreError: there is no store, nothing was published yet, or it is of a newer version.
    """
    _refuse_no_store(folder)
    copy = copy or newest_copy(folder)
    if copy is None:
        raise StoreError(
            Complaint(
                str(folder),
                "this store has nothing to read yet",
                "Wait until the first load has finished, or run it again",
            )
        )
    with told_of_damage(copy), held_open(copy), _opened(copy) as connection:
        yield Store(folder, connection, writable=False, copy=copy)


@contextmanager
def _opened(path: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    """A database file, open for reading."""
    try:
        connection = duckdb.connect(str(path), read_only=True, config=_CONFIG)
    except duckdb.IOException:
        raise DamagedStoreError(
            Complaint(
                str(path),
                "this copy of the store cannot be read",
                "Ask for read permission; if the file is damaged, any writing command makes a new one",
            )
        ) from None
    try:
        _check_version(connection, path)
        yield connection
    finally:
        connection.close()


@contextmanager
def open_database_to_read(folder: Path) -> Iterator[Store | None]:
    """The store's own database, open for reading; None while another process is writing it."""
    path = folder / DATABASE
    with told_of_damage(path):
        try:
            connection = duckdb.connect(str(path), read_only=True, config=_CONFIG)
        except duckdb.IOException as fault:
            if "lock" not in str(fault):
                raise _not_a_database(path) from None
            yield None
            return
        try:
            yield Store(folder, connection, writable=False)
        finally:
            connection.close()

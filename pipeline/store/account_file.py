"""The one SQLite file beside the store: accounts of the review site, who is signed in, and what happened at its door.

Only its owner may read it. It holds nothing of the plant's wire, and the store stands without it.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import RLock
from typing import Any

from pipeline.errors import Complaint, StoreError
from pipeline.store.sql_files import statement, statements

FOLDER = "desk"
ACCOUNTS = "accounts.sqlite"
_WAIT_S = 10.0


class AccountFile:
    """An open file of accounts; threads take turns."""

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self.path = path
        self._connection = connection
        self._turn = RLock()
        self._is_inside = False

    def ask(self, question: str, **parameters: object) -> list[dict[str, Any]]:
        """The rows that answer the SQL file `question` below ``sql/accounts``."""
        with self._turn, _told_of_damage(self.path):
            return [
                dict(row) for row in self._connection.execute(statement(f"accounts/{question}"), parameters)
            ]

    def do(self, step: str, **parameters: object) -> int:
        """Run the SQL file `step` below ``sql/accounts``; how many rows it changed."""
        with self._turn, _told_of_damage(self.path):
            return self._connection.execute(statement(f"accounts/{step}"), parameters).rowcount

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """What is done inside is on file as a whole, or not at all; one inside another is part of it."""
        with self._turn:
            if self._is_inside:
                yield
                return
            with _told_of_damage(self.path):
                self._connection.execute("BEGIN IMMEDIATE")
            self._is_inside = True
            try:
                yield
            except BaseException:
                self._connection.execute("ROLLBACK")
                raise
            else:
                with _told_of_damage(self.path):
                    self._connection.execute("COMMIT")
            finally:
                self._is_inside = False


def has_accounts(store_folder: Path) -> bool:
    """Whether the store has a file of accounts."""
    return (store_folder / FOLDER / ACCOUNTS).exists()


@contextmanager
def open_accounts(store_folder: Path) -> Iterator[AccountFile]:
    """The accounts beside a store, made where there are none; nobody but the owner may read them.

    Args:
        store_folder: the store's folder.

    Raises:
        StoreError: the file cannot be made or opened, or is none.
    """
    path = store_folder / FOLDER / ACCOUNTS
    try:
        path.parent.mkdir(mode=0o700, exist_ok=True)
        os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
        if os.name == "posix" and path.stat().st_mode & 0o077:
            path.chmod(0o600)
    except OSError as fault:
        raise StoreError(
            Complaint(
                str(path),
                f"the file of accounts cannot be opened ({fault.strerror or fault})",
                "Run the command as whoever owns the store's folder",
            )
        ) from None
    connection = sqlite3.connect(path, timeout=_WAIT_S, isolation_level=None, check_same_thread=False)
    try:
        connection.row_factory = sqlite3.Row
        with _told_of_damage(path):
            connection.execute("PRAGMA synchronous = FULL")
            for name in statements("accounts/tables"):
                connection.execute(statement(name))
        yield AccountFile(path, connection)
    finally:
        connection.close()


@contextmanager
def _told_of_damage(path: Path) -> Iterator[None]:
    try:
        yield
    except sqlite3.IntegrityError:
        raise
    except sqlite3.Error as fault:
        raise StoreError(
            Complaint(
                str(path),
                f"the file of accounts cannot be read or written ({fault})",
                "Put a backup of it back, or move it away and start 'reelproof serve' for a new first account",
            )
        ) from None

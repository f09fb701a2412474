"""The SQLite files beside the store: accounts of the review site with what happened at its door, and its board.

Only their owner may read them. The accounts hold nothing of the plant's wire. The board repeats what the store says,
so that lists are quick; the store stands without both.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import RLock
from typing import Any, Literal, TypeVar

from pipeline.errors import Complaint, StoreError
from pipeline.store.sql_files import statement, statements

FOLDER = "desk"
ACCOUNTS = "accounts.sqlite"
BOARD = "board.sqlite"
_WAIT_S = 10.0


class DeskFile:
    """An open SQLite file; threads take turns."""

    folder = ""  # of its statements, below ``sql/``
    remedy = ""

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self.path = path
        self._connection = connection
        self._turn = RLock()
        self._is_inside = False

    def ask(self, question: str, **parameters: object) -> list[dict[str, Any]]:
        """The rows that answer the SQL file `question` of its folder."""
        with self._turn, self._told_of_damage():
            text = statement(f"{self.folder}/{question}")
            return [dict(row) for row in self._connection.execute(text, parameters)]

    def do(self, step: str, **parameters: object) -> int:
        """Run the SQL file `step` of its folder; how many rows it changed."""
        with self._turn, self._told_of_damage():
            return self._connection.execute(statement(f"{self.folder}/{step}"), parameters).rowcount

    def lay_out(self) -> None:
        """Make the tables that are not there."""
        with self._told_of_damage():
            for name in statements(f"{self.folder}/tables"):
                self._connection.execute(statement(name))

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """What is done inside is on file as a whole, or not at all; one inside another is part of it."""
        with self._turn:
            if self._is_inside:
                yield
                return
            with self._told_of_damage():
                self._connection.execute("BEGIN IMMEDIATE")
            self._is_inside = True
            try:
                yield
            except BaseException:
                self._connection.execute("ROLLBACK")
                raise
            else:
                with self._told_of_damage():
                    self._connection.execute("COMMIT")
            finally:
                self._is_inside = False

    @contextmanager
    def _told_of_damage(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.IntegrityError:
            raise
        except sqlite3.Error as fault:
            raise StoreError(
                Complaint(
                    str(self.path), f"the {self.folder} file cannot be read or written ({fault})", self.remedy
                )
            ) from None


class AccountFile(DeskFile):
    """The accounts, who is signed in, and what happened at the door."""

    folder = "accounts"
    remedy = "Put a backup of it back, or move it away and start 'reelproof serve' for a new first account"


class BoardFile(DeskFile):
    """What lists are made of; it is made anew from the store where it is missing."""

    folder = "board"
    remedy = "Move it away and start 'reelproof serve' again; nothing is lost"


_File = TypeVar("_File", bound=DeskFile)


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
    with _opened(store_folder / FOLDER / ACCOUNTS, AccountFile, "FULL") as file:
        yield file


@contextmanager
def open_board(store_folder: Path) -> Iterator[BoardFile]:
    """The board beside a store, made where there is none.

    Args:
        store_folder: the store's folder.

    Raises:
        StoreError: the file cannot be made or opened, or is none.
    """
    with _opened(store_folder / FOLDER / BOARD, BoardFile, "OFF") as file:
        yield file


@contextmanager
def _opened(path: Path, kind: type[_File], forced_out: Literal["FULL", "OFF"]) -> Iterator[_File]:
    try:
        path.parent.mkdir(mode=0o700, exist_ok=True)
        os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
        if os.name == "posix" and path.stat().st_mode & 0o077:
            path.chmod(0o600)
    except OSError as fault:
        raise StoreError(
            Complaint(
                str(path),
                f"the file cannot be opened ({fault.strerror or fault})",
                "Run the command as whoever owns the store's folder",
            )
        ) from None
    connection = sqlite3.connect(path, timeout=_WAIT_S, isolation_level=None, check_same_thread=False)
    try:
        connection.row_factory = sqlite3.Row
        file = kind(path, connection)
        file.lay_out()
        connection.execute(f"PRAGMA synchronous = {forced_out}")
        yield file
    finally:
        connection.close()

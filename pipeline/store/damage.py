"""What is told when a store's disk is full or forbidden, or its database is not as it was written."""

from __future__ import annotations

import errno
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import duckdb

from pipeline.errors import Complaint, ReelproofError, StoreError
from pipeline.store.copies import PUBLISHED


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
        short = "could not read enough bytes" in str(fault).lower()
        if not short and "corrupt" not in str(fault).lower():
            raise
        raise DamagedStoreError(
            Complaint(
                str(path),
                "this file is damaged: it ends too early"
                if short
                else "this file is damaged: a block of it does not have its checksum",
                f"Keep it as it is, put the newest whole file of the '{PUBLISHED}' folder or of a backup in its place, "
                "then run 'reelproof verify'",
            )
        ) from None


def not_a_database(path: Path) -> DamagedStoreError:
    """The complaint that a file cannot be opened as a store's database."""
    if not path.exists():
        return DamagedStoreError(
            Complaint(
                str(path),
                "the store's database is not there",
                f"Put the newest whole file of the '{PUBLISHED}' folder or of a backup in its place, then run "
                "'reelproof verify'",
            )
        )
    return DamagedStoreError(
        Complaint(
            str(path),
            "this is not a store's database, or it cannot be opened",
            "Check --store; if the file is damaged, load the logs into a new store",
        )
    )

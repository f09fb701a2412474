"""What became of a log file since it was last loaded: the same, grown, or another.

A log that is still being written keeps its beginning, so the hash of as many bytes as were loaded before tells a
grown file from a changed one.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from io import BufferedReader
from pathlib import Path
from typing import Literal

from pipeline.logs.open_log import CHUNK, is_packed, open_file

Growth = Literal["new", "same", "grown", "changed"]


@dataclass(frozen=True, slots=True)
class FileOnRecord:
    """A log file as it was when last loaded.

    Args:
        sha256: hash of its bytes then.
        bytes: its size then.
        rows: rows it had then.
    """

    sha256: str
    bytes: int
    rows: int


@dataclass(frozen=True, slots=True)
class FileNow:
    """A log file as it is, against its record.

    Args:
        growth: ``new`` without a record; ``same`` byte for byte; ``grown`` if it begins with what was loaded;
            ``changed`` if what was loaded is no longer there.
        sha256: hash of the whole file.
        bytes: its size.
        rows_before: rows that were loaded and still stand at its start; 0 for a new or changed file. A last line
            that had no line end was perhaps unfinished then, and is not among them.
    """

    growth: Growth
    sha256: str
    bytes: int
    rows_before: int


def compare_with_record(path: Path, record: FileOnRecord | None) -> FileNow:
    """The file `path` against the record of its last load, read once from start to end.

    Args:
        path: the file.
        record: how it was; None if it was never loaded.

    Raises:
        LogError: the file cannot be opened.
    """
    digest = hashlib.sha256()
    size = 0
    begins_alike = record is not None and record.bytes == 0
    unfinished = False
    with open_file(path) as file:
        packed = is_packed(file.peek(4)[:4] if isinstance(file, BufferedReader) else b"")
        while chunk := file.read(CHUNK):
            if record is not None and size < record.bytes <= size + len(chunk):
                head = digest.copy()
                head.update(chunk[: record.bytes - size])
                begins_alike = head.hexdigest() == record.sha256
                unfinished = chunk[record.bytes - size - 1 : record.bytes - size] not in {b"\n", b"\r"}
            digest.update(chunk)
            size += len(chunk)
    whole = digest.hexdigest()
    if record is None:
        return FileNow("new", whole, size, 0)
    if size == record.bytes and whole == record.sha256:
        return FileNow("same", whole, size, record.rows)
    if size > record.bytes and begins_alike:
        again = 1 if unfinished and not packed and record.rows else 0
        return FileNow("grown", whole, size, record.rows - again)
    return FileNow("changed", whole, size, 0)

"""What became of a log file since it was last loaded: the same, grown, or another.

A log that is still being written keeps its beginning, so the hash of as many bytes as were loaded before tells a
grown file from a changed one.
"""

from __future__ import annotations

import codecs
import hashlib
from dataclasses import dataclass
from io import BufferedReader
from pathlib import Path
from typing import Literal

from pipeline.logs.open_log import CHUNK, is_packed, is_parquet, marked_encoding, open_file

Growth = Literal["new", "same", "grown", "changed"]
# A last line longer than this is no row of a log.
_LONGEST_UNFINISHED = 1 << 16


@dataclass(frozen=True, slots=True)
class FileOnRecord:
    """A log file as it was when last loaded.

    Args:
        sha256: hash of its bytes then.
        bytes: its size then.
    """

    sha256: str
    bytes: int


@dataclass(frozen=True, slots=True)
class FileNow:
    """A log file as it is, against its record.

    Args:
        growth: ``new`` without a record; ``same`` byte for byte; ``grown`` if it begins with what was loaded;
            ``changed`` if what was loaded is no longer there.
        sha256: hash of the bytes to be read.
        bytes: how many those are.
    """

    growth: Growth
    sha256: str
    bytes: int


def compare_with_record(path: Path, record: FileOnRecord | None, limit: int | None = None) -> FileNow:
    """The file `path` against the record of its last load, read once from start to end.

    Args:
        path: the file.
        record: how it was; None if it was never loaded.
        limit: look at so many bytes and no more; None for all.

    Raises:
        LogError: the file cannot be opened.
    """
    digest = hashlib.sha256()
    size = 0
    begins_alike = record is not None and record.bytes == 0
    with open_file(path) as file:
        while chunk := file.read(CHUNK if limit is None else min(CHUNK, limit - size)):
            if record is not None and size < record.bytes <= size + len(chunk):
                head = digest.copy()
                head.update(chunk[: record.bytes - size])
                begins_alike = head.hexdigest() == record.sha256
            digest.update(chunk)
            size += len(chunk)
    whole = digest.hexdigest()
    growth: Growth = "changed"
    if record is None:
        growth = "new"
    elif size == record.bytes and whole == record.sha256:
        growth = "same"
    elif size > record.bytes and begins_alike:
        growth = "grown"
    return FileNow(growth, whole, size)


def bytes_of_whole_lines(path: Path, encoding: str) -> int:
    """How many bytes of the file `path` are whole lines: all of them where its last line has its line end.

    A packed file and Parquet are whole or cannot be read at all; so is a file of one line.

    Args:
        path: the file.
        encoding: its encoding, where no byte order mark tells it.

    Raises:
        LogError: the file cannot be opened.
    """
    if is_parquet(path):
        return path.stat().st_size
    with open_file(path) as file:
        head = file.peek(4)[:4] if isinstance(file, BufferedReader) else b""
        size = file.seek(0, 2)
        if is_packed(head):
            return size
        ends = _line_ends(marked_encoding(head) or encoding)
        width = len(ends[0])
        start = max(0, size - _LONGEST_UNFINISHED) // width * width
        file.seek(start)
        tail = file.read(size - start)
    found = max(_last(tail, end) for end in ends)
    return start + found if found else size


def _line_ends(encoding: str) -> tuple[bytes, bytes]:
    try:
        name = codecs.lookup(encoding).name
    except LookupError:
        name = "utf-8"
    name = f"{name}-le" if name in {"utf-16", "utf-32"} else name
    return "\n".encode(name), "\r".encode(name)


def _last(text: bytes, end: bytes) -> int:
    """Place behind the last `end` in `text` that does not straddle two characters; 0 if there is none."""
    found = text.rfind(end)
    while found > 0 and found % len(end):
        found = text.rfind(end, 0, found + len(end) - 1)
    return found + len(end) if found >= 0 else 0

"""Is this a regular file of a size that can be what it should be? Asked before anything of it is read.

A pipe never ends and a device has no size, so that a sheet or log that is one would hold up a whole plant.
"""

from __future__ import annotations

import json
import os
import stat
from io import BufferedReader
from pathlib import Path
from typing import Any

# A thousand times a long sheet; a list of samples of ten years is a tenth of it.
LONGEST_SHEET_BYTES = 4_000_000
# What is remembered of a million runs or pages; a file of this program's own is never longer.
LONGEST_KEPT_BYTES = 500_000_000


class NotRegularError(OSError):
    """A pipe, device or socket in a file's place, or a file longer than what it should be can be."""

    def __init__(self, found: str) -> None:
        super().__init__(0, found)


def opened_regular(path: Path) -> BufferedReader:
    """A regular file, open for reading its bytes; nothing that would have to be waited for is opened.

    Raises:
        NotRegularError: it is a pipe, a device or a socket.
        OSError: it cannot be opened.
    """
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    mode = os.fstat(handle).st_mode
    if stat.S_ISREG(mode):
        return os.fdopen(handle, "rb")
    os.close(handle)
    if stat.S_ISDIR(mode):
        raise IsADirectoryError(0, "this is a folder")
    raise NotRegularError("this is a pipe or a device, not a file")


def text_of_file(path: Path, longest: int = LONGEST_SHEET_BYTES) -> str:
    """The text of a regular file as UTF-8, without a byte order mark.

    Args:
        path: the file.
        longest: bytes it may have.

    Raises:
        NotRegularError: it is no regular file, or longer.
        UnicodeDecodeError: it is not UTF-8.
        OSError: it cannot be read.
    """
    with opened_regular(path) as file:
        raw = file.read(longest + 1)
    if len(raw) > longest:
        raise NotRegularError(f"this file has more than {longest:,} bytes")
    return raw.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")


def json_of_file(path: Path, longest: int = LONGEST_KEPT_BYTES) -> Any:
    """What a regular file says as JSON.

    Args:
        path: the file.
        longest: bytes it may have.

    Raises:
        ValueError: it is no JSON in UTF-8, or lists stand in each other deeper than can be read.
        OSError: it cannot be read, is no regular file, or is longer.
    """
    try:
        return json.loads(text_of_file(path, longest))
    except RecursionError:
        raise ValueError("lists or objects stand in each other too deep") from None

"""A file that is whole after a power cut: written beside, forced onto the disk, then put in its place."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path


def force_out(path: Path) -> None:
    """Force a file's content, or a folder's names, onto the disk."""
    handle = os.open(path, os.O_RDONLY)
    try:
        # Some shares know no such call for a folder.
        with suppress(OSError):
            os.fsync(handle)
    finally:
        os.close(handle)


def write_whole(path: Path, content: bytes) -> None:
    """Write a file as a whole or not at all; what stood there before stays until then.

    Args:
        path: the file.
        content: all of it.
    """
    unfinished = path.with_name(f".{path.name}.part")
    try:
        with unfinished.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        unfinished.replace(path)
    except OSError:
        with suppress(OSError):
            unfinished.unlink()
        raise
    force_out(path.parent)

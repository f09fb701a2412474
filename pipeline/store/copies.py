"""Published copies of the store's database: what readers open, made anew without copying what has not changed.

The copy that nobody needs any more is brought up to date under the new name: of a catalogue of years a load changes
few blocks. A DuckDB file is a header and blocks of one size, each beginning with the checksum of the rest, so that
unlike blocks are found by eight bytes of each (seen in files of the pinned release; tests compare whole files).
"""

from __future__ import annotations

import os
import shutil
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from pipeline.durable import force_out

PUBLISHED = "published"
KEPT_COPIES = 2
# A smaller database is copied whole in less than a tenth of a second, and so is every fiftieth: what a disk spoilt in
# a copy does not live on for ever.
WHOLE_BELOW_BYTES = 64_000_000
WHOLE_EVERY = 50
_HEADER_BYTES, _BLOCK_BYTES, _CHECKSUM_BYTES = 3 * 4096, 1 << 18, 8
# Copies this process has open: a lock does not tell a process of its own.
_open_here: Counter[Path] = Counter()


def copies_of(folder: Path) -> list[Path]:
    """Published copies of the store in `folder`, oldest first; what is named otherwise is no copy of ours."""
    found = (path for path in (folder / PUBLISHED).glob("reelproof-*.duckdb") if _number(path) > 0)
    return sorted(found, key=_number)


def _number(copy: Path) -> int:
    digits = copy.stem.removeprefix("reelproof-")
    return int(digits) if len(digits) == 8 and digits.isascii() and digits.isdigit() else 0


def newest_copy(folder: Path) -> Path | None:
    """The newest published copy of the store in `folder`, None where nothing was published yet."""
    copies = copies_of(folder)
    return copies[-1] if copies else None


@contextmanager
def held_open(copy: Path) -> Iterator[None]:
    """Mark a copy as being read by this process, so that it is not written over."""
    _open_here[copy.absolute()] += 1
    try:
        yield
    finally:
        _open_here[copy.absolute()] -= 1


def is_unpublished(database: Path) -> bool:
    """Whether a writer was killed, or its disk was full, after it put something on file and before it was published."""
    copy = newest_copy(database.parent)
    if copy is None or database.with_name(f"{database.name}.wal").exists():
        return True
    return database.stat().st_mtime_ns > copy.stat().st_mtime_ns


def publish(database: Path) -> None:
    """Put a copy of a closed database under the next versioned name, then drop copies no reader needs.

    Args:
        database: the store's database, in the store's folder.
    """
    home = database.parent / PUBLISHED
    home.mkdir(exist_ok=True)
    for left in home.glob(".copy-*"):
        left.unlink()
    copies = copies_of(database.parent)
    number = 1 + (_number(copies[-1]) if copies else 0)
    unfinished = home / f".copy-{number}"
    needless = copies[: max(0, len(copies) + 1 - KEPT_COPIES)]
    anew = not needless or number % WHOLE_EVERY == 0 or database.stat().st_size < WHOLE_BELOW_BYTES
    try:
        if anew or not _brought_up_to_date(needless[-1], database, unfinished):
            shutil.copyfile(database, unfinished)
        # Onto the disk before it gets its name: after a power cut a name must not stand for half a file.
        force_out(unfinished)
    except OSError:
        unfinished.unlink(missing_ok=True)
        raise
    unfinished.rename(home / f"reelproof-{number:08d}.duckdb")
    force_out(home)
    for old in needless:
        with suppress(OSError):
            old.unlink()


def _brought_up_to_date(old: Path, database: Path, unfinished: Path) -> bool:
    """Make `old` the same as `database`, as `unfinished`; False where somebody reads it or it cannot be done."""
    try:
        import fcntl
    except ImportError:  # no such locks on this system
        return False
    if _open_here[old.absolute()]:
        return False
    try:
        # Out of the way first: from here on nobody can begin to read it.
        old.rename(unfinished)
        with unfinished.open("r+b") as copy, database.open("rb") as source:
            fcntl.lockf(copy, fcntl.LOCK_EX | fcntl.LOCK_NB)
            _take_over(source.fileno(), copy.fileno())
    except OSError:
        unfinished.unlink(missing_ok=True)
        return False
    return True


def _take_over(source: int, copy: int) -> None:
    """Write the blocks of one open file that the other does not have into it."""
    size = os.fstat(source).st_size
    before = os.fstat(copy).st_size
    os.pwrite(copy, os.pread(source, _HEADER_BYTES, 0), 0)
    for at in range(_HEADER_BYTES, size, _BLOCK_BYTES):
        mark = os.pread(source, _CHECKSUM_BYTES, at)
        if at + _BLOCK_BYTES > before or mark != os.pread(copy, _CHECKSUM_BYTES, at):
            os.pwrite(copy, os.pread(source, _BLOCK_BYTES, at), at)
    os.ftruncate(copy, size)

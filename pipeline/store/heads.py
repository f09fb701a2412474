"""Is the journal in this database at least as long as the longest anybody here has seen?

The head of a journal is the number of its entries and the chain up to the last. It is kept beside the database, in
every published copy, and, where ``REELPROOF_HEADS`` names a folder (another disk, another owner), there as well. A
database set back, removed, or written by two at once lacks a head that is known, and is neither written nor read.
"""

from __future__ import annotations

import hashlib
import json
import os
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.durable import write_whole
from pipeline.errors import Complaint, StoreError
from pipeline.regular_file import LONGEST_SHEET_BYTES, json_of_file
from pipeline.store.copies import PUBLISHED, copies_of, newest_copy
from pipeline.store.damage import DamagedStoreError
from pipeline.store.layout import READINGS, has_readings

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from contextlib import AbstractContextManager

    from pipeline.store.database import Store

    Opens = Callable[[Path], AbstractContextManager[Store]]

HEAD = "journal_head.json"
ELSEWHERE = "REELPROOF_HEADS"
# More than the database can number.
_MOST_ENTRIES = 1 << 62
_REMEDY = (
    f"Keep everything as it is; put the newest whole file of the '{PUBLISHED}' folder or of a backup in the "
    "database's place, then run 'reelproof verify'. If the entries are lost for good, 'reelproof journal "
    "--accept-loss REASON' notes it and goes on"
)


@dataclass(frozen=True, slots=True)
class Head:
    """How far a journal goes.

    Args:
        entries: how many entries it has.
        chain: the chain up to the last, hexadecimal; "" without any.
        where: where this is known from.
    """

    entries: int
    chain: str
    where: str = ""


def head_of(store: Store, where: str = "") -> Head:
    """The head of the journal in an open store."""
    last = store.ask("questions/last_entry")
    return Head(last[0]["entry_no"], last[0]["chain_sha256"], where) if last else Head(0, "", where)


def has_head(store: Store, head: Head) -> bool:
    """Whether the journal in an open store begins with all that `head` stands for."""
    if head.entries == 0:
        return True
    found = store.ask("questions/chain_of_entry", entry_no=head.entries)
    return bool(found) and found[0]["chain_sha256"] == head.chain


def _places(folder: Path) -> Iterator[Path]:
    yield folder / HEAD
    elsewhere = os.environ.get(ELSEWHERE)
    if elsewhere:
        whole = str(folder.absolute().resolve())
        yield Path(elsewhere) / f"{folder.name}-{hashlib.sha256(os.fsencode(whole)).hexdigest()[:16]}.json"


def kept_heads(folder: Path, *, all_there: bool = True) -> tuple[Head, ...]:
    """The heads that were written down of the store in `folder`, beside its database and elsewhere.

    Args:
        folder: the store's folder.
        all_there: whether a folder elsewhere that is not there is refused; a reader does without.

    Raises:
        StoreError: the folder elsewhere is not there, or the head in it cannot be read.
    """
    heads = []
    for path in _places(folder):
        if all_there and path.parent != folder and not path.parent.is_dir():
            raise StoreError(
                Complaint(
                    f"{ELSEWHERE} {path.parent}",
                    "this folder, where the journal's head is kept, is not there",
                    "Mount it, or correct the variable",
                )
            )
        head, fault = _read(path)
        if head is not None:
            heads.append(head)
        elif fault and all_there and path.parent != folder:
            raise StoreError(
                Complaint(
                    str(path),
                    fault,
                    "Find out who changed it; then take it away, and the next command writes it anew",
                )
            )
    return tuple(heads)


def _read(path: Path) -> tuple[Head | None, str]:
    """The head that was written down in a file, and what keeps it from being read; neither where there is none."""
    try:
        said = json_of_file(path, LONGEST_SHEET_BYTES)
        entries, chain = said["entries"], said["chain"]
        if type(entries) is int and 0 <= entries < _MOST_ENTRIES and isinstance(chain, str):
            return Head(entries, chain, str(path)), ""
    except FileNotFoundError:
        return None, ""
    except (OSError, ValueError, KeyError, TypeError):
        pass
    return None, "this head of the journal cannot be read"


def unread_heads(folder: Path) -> Iterator[str]:
    """Which heads were written down of the store in `folder` and cannot be read, a sentence each."""
    for path in _places(folder):
        fault = _read(path)[1]
        if fault:
            yield f"{path}: {fault}."


def keep_head(folder: Path, head: Head) -> None:
    """Write down how far the journal goes, after it was published."""
    text = json.dumps({"entries": head.entries, "chain": head.chain}) + "\n"
    for path in _places(folder):
        write_whole(path, text.encode())


def heads_of_copies(folder: Path, opened: Opens) -> tuple[Head, ...]:
    """The heads of the published copies that can be read."""
    heads = []
    for copy in copies_of(folder):
        with suppress(StoreError), opened(copy) as store:
            heads.append(head_of(store, str(copy)))
    return tuple(heads)


def lost_heads(store: Store, opened: Opens) -> tuple[Head, ...]:
    """The heads known of a store that its journal does not have.

    Args:
        store: the store, open on its own database.
        opened: opens a published copy.
    """
    known = (*kept_heads(store.folder), *heads_of_copies(store.folder, opened))
    return tuple(head for head in known if not has_head(store, head))


def told_of_loss(head: Head, entries: int) -> str:
    """What a head that a journal of `entries` entries does not have means, without a full stop."""
    if head.entries > entries:
        return f"the journal here ends at entry {entries}, and {head.where} tells of {head.entries}: entries were lost"
    return f"entry {head.entries} of the journal here is another than {head.where} tells of: it was rewritten"


def refuse_lost_history(store: Store, opened: Opens) -> None:
    """Refuse to write to a store whose journal lacks what is known of it.

    Args:
        store: the store, open on its own database.
        opened: opens a published copy.

    Raises:
        StoreError: entries were lost or rewritten.
    """
    entries = head_of(store).entries
    where = str(store.folder)
    lost = lost_heads(store, opened)
    if not lost and entries == 0 and has_readings(store.folder):
        raise StoreError(
            Complaint(
                where, f"the journal here is empty, and '{READINGS}' holds readings of earlier loads", _REMEDY
            )
        )
    if lost:
        raise StoreError(
            Complaint(where, told_of_loss(max(lost, key=lambda one: one.entries), entries), _REMEDY)
        )


def refuse_no_database(database: Path) -> None:
    """Refuse to begin a new database where there was one.

    Raises:
        StoreError: copies, a head or readings of it are there.
    """
    folder = database.parent
    if database.exists() or not (newest_copy(folder) or kept_heads(folder) or has_readings(folder)):
        return
    raise StoreError(
        Complaint(str(database), "the store's database is not there, and what was made of it is", _REMEDY)
    )


def refuse_older_copy(store: Store, known: tuple[Head, ...]) -> None:
    """Refuse to read a copy that lacks what was on file before it was opened.

    Args:
        store: the copy, open.
        known: the heads as they were written down before the copy was chosen.

    Raises:
        DamagedStoreError: an older or another copy stands in the newest one's place.
    """
    lost = [head for head in known if not has_head(store, head)]
    if lost:
        told = told_of_loss(max(lost, key=lambda one: one.entries), head_of(store).entries)
        raise DamagedStoreError(
            Complaint(
                str(store.copy),
                f"this copy is older than the store, or of another: {told}",
                "Move it out of the folder, run any writing command, which makes a new one, then 'reelproof verify'",
            )
        )

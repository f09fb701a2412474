"""Verify: is the store as it was written, in its database, its published copies and its readings?

Beside what `pipeline.record.sealing` finds of one database: copies that know more than it does, an older copy in the
newest one's place, files and folders nobody put on file, and a journal shorter than it is known to have been.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.errors import StoreError, in_words
from pipeline.proofs.changes import NOTHING_KNOWN, Known, changes_in
from pipeline.proofs.signed_roots import signed_up_to
from pipeline.record.access_log import access_faults
from pipeline.record.attached import evidence_faults
from pipeline.record.entry_kinds import LOSS
from pipeline.record.journal_on_file import journal_of
from pipeline.record.sealing import file_sha256
from pipeline.store.copies import copies_of, newest_copy
from pipeline.store.damage import DamagedStoreError
from pipeline.store.database import DATABASE, open_database_to_read, open_to_read, opened_copy
from pipeline.store.heads import has_head, head_of, kept_heads, told_of_loss, unread_heads
from pipeline.store.layout import READINGS, UNFINISHED, noted, path_of
from pipeline.wording.say import plain

if TYPE_CHECKING:
    from pipeline.lots.journal import Entry
    from pipeline.store.database import Store


@dataclass(frozen=True, slots=True)
class Verified:
    """What a store was found to be.

    Args:
        changes: everything that is not as it was written, a sentence each; empty where all is.
        notes: what could not be looked at just now or should be known, a sentence each.
        entries: entries of the journal.
        signed: how many of them the newest signed root covers, its own entry with them.
    """

    changes: tuple[str, ...]
    notes: tuple[str, ...] = ()
    entries: int = 0
    signed: int = 0


def verified(folder: Path, known: Known = NOTHING_KNOWN) -> Verified:
    """Everything in the store in `folder` that is not as it was written: in its database, its copies and its readings.

    Args:
        folder: the store's folder.
        known: what is known of its journal from elsewhere.

    Raises:
        StoreError: there is no store, nothing was published yet, or it is of a newer version.
    """
    told: dict[str, None] = {}
    notes: dict[str, None] = {}
    journals: list[tuple[Entry, ...]] = []
    with _told_of_damage_in(told), open_to_read(folder) as store:
        told |= dict.fromkeys(changes_in(store, known))
        try:
            told |= dict.fromkeys(access_faults(store))
        except StoreError as fault:  # it belongs to whoever serves the store
            notes[f"The access log was not checked. {fault.complaints[0]}"] = None
        told |= dict.fromkeys(evidence_faults(store))
        journals.append(journal_of(store))
    with _told_of_damage_in(told), open_database_to_read(folder) as store:
        if store is None:
            notes["Another process is writing to the store; its newest copy was verified."] = None
            return _verified(told, notes, journals, known)
        if not _is_copied(folder):
            told |= dict.fromkeys(changes_in(store, known))
            journals.append(journal_of(store))
            # A writer killed before it published leaves a longer journal; then the two files differ rightly.
            if not told and len({len(journal) for journal in journals}) == 1:
                told[
                    f"{folder / DATABASE} and {newest_copy(folder)} hold the same entries and differ: one of them was "
                    "changed on disk."
                ] = None
        told |= dict.fromkeys(_heads_missing(store))
        told |= dict.fromkeys(_not_on_file(store))
    return _verified(told, notes, journals, known)


def _verified(
    told: dict[str, None], notes: dict[str, None], journals: Sequence[tuple[Entry, ...]], known: Known
) -> Verified:
    journal = max(journals, key=len, default=())
    signed = signed_up_to(journal)
    notes |= {f"Entry {one.entry_no}: {plain(one.told)}": None for one in journal if one.kind == LOSS}
    if known.key is not None and journal:
        notes[f"Signed roots cover the first {signed} of {len(journal)} entries."] = None
    return Verified(tuple(told), tuple(notes), len(journal), signed)


@contextmanager
def _told_of_damage_in(told: dict[str, None]) -> Iterator[None]:
    """Put what is told of a damaged file among what was found, and go on."""
    try:
        yield
    except DamagedStoreError as fault:
        told.update(dict.fromkeys(f"{one.where}: {in_words(one.found)}." for one in fault.complaints))


def _is_copied(folder: Path) -> bool:
    """Whether the newest copy is the database, byte by byte."""
    copy, path = newest_copy(folder), folder / DATABASE
    return copy is not None and (
        copy.stat().st_size == path.stat().st_size and file_sha256(copy) == file_sha256(path)
    )


def _heads_missing(store: Store) -> Iterator[str]:
    """What copies and the heads that were written down know and this database does not."""
    entries = head_of(store).entries
    yield from unread_heads(store.folder)
    for head in kept_heads(store.folder, all_there=False):
        if not has_head(store, head):
            yield f"{told_of_loss(head, entries)}."
    for copy in copies_of(store.folder):
        if copy.with_name(f"{copy.name}.wal").exists():
            yield f"{copy.name}.wal: a published copy has no such file; somebody put it there."
        with suppress(StoreError), opened_copy(copy) as other:
            head = head_of(other, str(copy))
            if not has_head(store, head):
                yield f"{told_of_loss(head, entries)}."


def _not_on_file(store: Store) -> Iterator[str]:
    """Files and folders among the readings that nobody put on file."""
    home = store.folder / READINGS
    sealed: dict[Path, set[str]] = {}
    for row in store.ask("questions/folders_on_file"):
        sealed[path_of(store, row["folder"])] = set()
    for entry in journal_of(store):
        with suppress(json.JSONDecodeError, KeyError, TypeError, AttributeError):
            record = json.loads(entry.record)["record"]
            names = sealed.get(path_of(store, record["folder"])) if record.get("folder") else None
            if names is not None:
                names |= set(record["seals"]["files"])
    under_way = {home / name for name in noted(home)}
    for top, folders, files in os.walk(home):
        here = Path(top)
        if here == home and UNFINISHED in folders:
            folders.remove(UNFINISHED)
        if here in under_way:
            folders.clear()
            continue
        for name in [name for name in folders if (here / name).is_symlink()]:
            yield f"{(here / name).relative_to(home)}: a link among the readings, which this program never makes."
        stray = sorted(set(files) - sealed.get(here, set()))
        if stray and here not in sealed:
            yield (
                f"{here.relative_to(home)}: no load or judgment on file has this folder; it holds {stray[0]}"
                + (f" and {len(stray) - 1} more." if len(stray) > 1 else ".")
            )
            continue
        # A Parquet file that was added is told beside the load or judgement it was added to.
        for name in stray:
            if not name.endswith(".parquet"):
                yield f"{(here / name).relative_to(home)}: this file was not put there by a load or judgment."

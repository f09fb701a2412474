"""Go on after entries of the journal were lost for good: what is known of them is put into the journal, and told.

A backup that is older than the last entry is such a loss. Nothing is thrown away: copies that know more, and readings
that nothing on file stands on, are moved into a folder of their own.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.errors import Complaint, StoreError
from pipeline.found import Noted
from pipeline.messages import Message, message, said_json
from pipeline.record.entry_kinds import LOSS
from pipeline.record.journal_on_file import note
from pipeline.store.copies import copies_of
from pipeline.store.database import open_to_write, opened_copy
from pipeline.store.heads import Head, head_of, lost_heads
from pipeline.store.layout import READINGS, folders_there, path_of
from pipeline.store.readings import sweep

if TYPE_CHECKING:
    from pipeline.store.database import Store

SET_ASIDE = "set_aside"


@dataclass(frozen=True, slots=True)
class AcceptedLoss:
    """What was put into the journal.

    Args:
        entry_no: the entry.
        told: what it says.
        folder: where copies and readings were moved, None where there were none.
    """

    entry_no: int
    told: Message
    folder: Path | None


def accept_loss(
    folder: Path, role: str, reason: str, on_wait: Callable[[str], None] = lambda _who: None
) -> AcceptedLoss:
    """Put into the journal that entries after its last are lost, and by whom and why that is accepted.

    Args:
        folder: the store's folder.
        role: who accepts it.
        reason: why the entries are lost.
        on_wait: told who is writing to the store while this waits.

    Raises:
        StoreError: nothing is lost, or the store cannot be opened.
    """
    with open_to_write(folder, on_wait=on_wait, accept_loss=True) as store:
        sweep(store)
        lost = sorted(set(lost_heads(store, opened_copy)), key=lambda one: one.entries)
        strays = _strays(store)
        if not lost and not strays:
            raise StoreError(
                Complaint(
                    str(folder),
                    "no entry of this journal is known to be lost",
                    "Leave --accept-loss out; 'reelproof verify' tells what else may be wrong",
                )
            )
        aside = _move_aside(store, lost, strays)
        known = max((one.entries for one in lost), default=0)
        kept = head_of(store).entries
        of_known = {"known": known} if known else {}
        told = message(Noted.LOSS_ACCEPTED, kept=kept, **of_known, role=role, reason=reason)
        with store.transaction():
            entry_no = note(
                store,
                LOSS,
                "journal",
                {
                    "said": said_json(told),
                    "role": role,
                    "reason": reason,
                    "known": [
                        {"entries": one.entries, "chain": one.chain, "where": one.where} for one in lost
                    ],
                    "set_aside": sorted(strays),
                },
            )
    return AcceptedLoss(entry_no, told, aside)


def _strays(store: Store) -> list[str]:
    """Folders of readings that nothing on file stands on."""
    home = store.folder / READINGS
    on_file = {path_of(store, row["folder"]) for row in store.ask("questions/folders_on_file")}
    return [name for name in folders_there(home) if home / name not in on_file]


def _move_aside(store: Store, lost: list[Head], strays: list[str]) -> Path | None:
    copies = [copy for copy in copies_of(store.folder) if str(copy) in {one.where for one in lost}]
    if not copies and not strays:
        return None
    aside = store.folder / SET_ASIDE / f"{datetime.now(UTC):%Y%m%dT%H%M%S}Z"
    aside.mkdir(parents=True)
    for copy in copies:
        copy.rename(aside / copy.name)
    for name in strays:
        target = aside / READINGS / name
        target.parent.mkdir(parents=True, exist_ok=True)
        (store.folder / READINGS / name).rename(target)
    return aside

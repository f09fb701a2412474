"""Which tags were printed of a reel, and how did it stand then?

Each print is an entry of the journal; its number stands on the tag, so that whoever scans it is told what has changed.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from pipeline.found import Noted
from pipeline.messages import said
from pipeline.record.entry_kinds import TAG
from pipeline.record.journal_on_file import entry_of, note

if TYPE_CHECKING:
    from pipeline.lots.journal import Entry
    from pipeline.record.standing import Standing
    from pipeline.store.database import Store


@dataclass(frozen=True, slots=True)
class Tag:
    """One tag that was printed.

    Args:
        number: journal entry that keeps it; it stands on the tag.
        reel_id: the reel.
        at_utc: when, UTC.
        code: how the reel stood.
    """

    number: int
    reel_id: str
    at_utc: datetime
    code: str


def tags_of(store: Store, reel_id: str) -> tuple[Tag, ...]:
    """Every tag printed of a reel, oldest first."""
    entries = [entry_of(row) for row in store.ask("questions/entries_of_subject", subject=reel_id)]
    return tuple(_tag(one) for one in entries if one.kind == TAG)


def _tag(one: Entry) -> Tag:
    return Tag(one.entry_no, one.subject, one.at_utc, str(one.content["standing"]))


def tag_numbered(store: Store, number: int) -> Tag | None:
    """The tag of a number; None where no tag has it."""
    for row in store.ask("questions/entries_after", entry_no=number - 1, most=1):
        one = entry_of(row)
        if (one.entry_no, one.kind) == (number, TAG):
            return _tag(one)
    return None


def note_tag(store: Store, now: Standing, role: str) -> int:
    """Keep in the journal that a tag of a reel is printed; its number.

    Args:
        store: the store, open to write.
        now: how the reel stands.
        role: role of who prints it.
    """
    told = said(Noted.TAG_PRINTED, reel=now.reel_id, role=role, standing=now.code)
    with store.transaction():
        return note(store, TAG, now.reel_id, {"said": told, "standing": now.code, "role": role})

"""What persons added to a finding, reel or lot besides deciding: comments, owners, evidence and accepted plans.

All are entries of the journal, which keeps them; nothing else does. Nothing of it changes how a reel stands.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.record.entry_kinds import ASSIGNED, PLAN_ACCEPTED
from pipeline.record.journal_on_file import entry_of

if TYPE_CHECKING:
    from pipeline.lots.journal import Entry
    from pipeline.store.database import Store


@dataclass(frozen=True, slots=True)
class Owner:
    """To whom a finding was given.

    Args:
        role: their role.
        person: the plant's mark of one person; "" for anybody of the role.
        due_utc: by when they are asked to decide, UTC, ISO 8601; "" for the time by its severity.
    """

    role: str
    person: str
    due_utc: str


@dataclass(frozen=True, slots=True)
class FollowedUp:
    """What of it lists need, for all of the store.

    Args:
        owner_of: the newest owner of each finding that was given to somebody.
        plan_of: the journal entry of the newest cutting plan accepted for a reel.
    """

    owner_of: Mapping[str, Owner]
    plan_of: Mapping[str, int]


def followed_up(store: Store) -> FollowedUp:
    """Owners and accepted plans on file.

    Args:
        store: the store, open to read.
    """
    given = (entry_of(row) for row in store.ask("questions/entries_of_kind", kind=ASSIGNED))
    plans = store.ask("questions/entries_of_kind", kind=PLAN_ACCEPTED)
    return FollowedUp(
        {one.subject: owner_of(one) for one in given},
        {row["subject"]: row["entry_no"] for row in plans},
    )


def owner_of(entry: Entry) -> Owner:
    """The owner that an entry names."""
    told = entry.content
    return Owner(str(told["to_role"]), str(told["to_person"]), str(told["due_utc"]))

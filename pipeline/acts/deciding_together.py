"""One act of a person on several findings, reels or lengths at once: on all of them, or on none."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from pipeline.acts.deciding import put_inside
from pipeline.errors import Complaint, ReelproofError
from pipeline.nonconformance.disposition import DispositionRefused

if TYPE_CHECKING:
    from pipeline.acts.wanted_act import WantedAct
    from pipeline.store.database import Store


def act_on_all(store: Store, seen: Mapping[str, int], deed: WantedAct) -> dict[str, int]:
    """Put one act on several subjects on file; the journal entry of each.

    Args:
        store: the store, open to write.
        seen: how many acts the person had seen on each subject.
        deed: what they do, with one reason.

    Raises:
        DispositionRefused: it may not be done on one of them, or none was named; every complaint of every subject is
            told, and nothing is on file.
    """
    if not seen:
        raise DispositionRefused(Complaint("act", "nothing was chosen to act on", "Choose one or more"))
    entries: dict[str, int] = {}
    complaints: list[Complaint] = []
    with store.transaction():
        for name, version in seen.items():
            try:
                _, entries[name] = put_inside(store, name, deed, version)
            except ReelproofError as fault:
                complaints += fault.complaints
        if complaints:
            raise DispositionRefused(complaints)
    return entries

"""Keep in the journal that a containment was asked, by whom and why, with the answer as it was given."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pipeline.found import Noted
from pipeline.lots.genealogy import WHOLE
from pipeline.messages import said
from pipeline.record.journal_on_file import note_once
from pipeline.record.touched_wire import Contained, containment_id

if TYPE_CHECKING:
    from pipeline.store.database import Store


def note_containment(store: Store, answer: Contained, role: str, reason: str) -> str:
    """Put the question and its answer into the journal; the number the containment gets.

    Args:
        store: the store, open to write.
        answer: the answer as it was given.
        role: role of whoever asked.
        reason: why, in their words.
    """
    asked = answer.question
    record: dict[str, Any] = {
        "said": said(Noted.ASKED_WHAT_IT_TOUCHES, asked=asked.told, role=role, reason=reason),
        "role": role,
        "reason": reason,
        "kind": asked.kind,
        "name": asked.name,
        "since": asked.since.isoformat() if asked.since else "",
        "until": asked.until.isoformat() if asked.until else "",
        "span_m": "" if asked.span == WHOLE else f"{asked.span[0]!r} {asked.span[1]!r}",
        "residence_s": repr(asked.residence_s),
        "touched": [
            {
                "length": one.length_id,
                "where": one.where,
                "state": one.state,
                "spans_m": [f"{low:.3f} {high:.3f}" for low, high in one.spans],
            }
            for one in answer.touched
        ],
    }
    with store.transaction():
        entry_no = note_once(store, "containment", f"{asked.kind} {asked.name}".strip(), record)
    return containment_id(entry_no)

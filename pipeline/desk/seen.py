"""Is what a person acts on still as they saw it, and which place do they mean?"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.desk.offers import happened_since, sight_of
from pipeline.errors import Complaint, ReelproofError
from pipeline.nonconformance.disposition import DispositionRefused
from pipeline.units import m_from_foot

if TYPE_CHECKING:
    from pipeline.desk.door import Caller
    from pipeline.messages import Message
    from pipeline.store.database import Store


class ChangedMeanwhile(DispositionRefused):
    """Something about what a person acts on is not as they saw it.

    Args:
        complaints: what changed.
        happened: what the journal keeps since they looked.
    """

    def __init__(self, complaints: list[Complaint], happened: tuple[Message, ...]) -> None:
        super().__init__(complaints)
        self.happened = happened


def check_seen(store: Store, form: Caller, names: list[str]) -> None:
    """Refuse to act on what is no longer as the person saw it."""
    seen = dict(one.rpartition("|")[::2] for one in form.fields("seen"))
    changed = [name for name in names if seen.get(name) != sight_of(store, name)]
    if not changed:
        return
    entry = form.field("entry")
    entry_no = int(entry) if entry.isdecimal() and entry.isascii() and len(entry) < 17 else 0
    raise ChangedMeanwhile(
        [
            Complaint(
                name,
                "it is not as you saw it any more",
                "Nothing of yours was done. Read what happened, and decide again if you still must",
            )
            for name in changed
        ],
        happened_since(store, names, entry_no) if entry_no else (),
    )


def metres(form: Caller, name: str) -> float | None:
    """A place of the form in metres; None where it is left empty."""
    text = form.field(name).replace(",", "")
    if not text:
        return None
    try:
        figure = float(text)
    except ValueError:
        figure = float("nan")
    if not 0.0 <= figure < 1e9:
        raise ReelproofError(
            Complaint(
                name.partition("_")[0], f"'{text[:40]}' is no place", "Give a figure from 0 up, like 1,200"
            )
        )
    return m_from_foot(figure) if form.field("unit") == "ft" else figure

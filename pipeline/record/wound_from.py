"""What was decided about a length and about every length it was wound from: does any of it keep the wire here?

A new number on a new package takes nothing back: wire of a length that was decided to be scrap is scrap on whatever it
is wound onto, until the decision is taken back.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from pipeline.messages import Message, message
from pipeline.nonconformance.disposition import Disposition, state_of
from pipeline.record.decided import LETS_GO, RunActs
from pipeline.why import Stands

Row = Mapping[str, Any]


def kept_here_by(row: Row, lengths: Iterable[Row], decided: RunActs) -> dict[str, Disposition]:
    """The lengths by whose decisions the wire of a length may not leave, with what was decided; the nearest first.

    Args:
        row: the length, as of `lengths.lengths_on_file`.
        lengths: every length made on its reel.
        decided: persons' acts.
    """
    by_id = {one["length_id"]: one for one in lengths}
    found: dict[str, Disposition] = {}
    name, seen = row["length_id"], set[str]()
    while name in by_id and name not in seen:
        seen.add(name)
        state = state_of(name, decided.on(name))
        if state.disposition is not None and state.standing != "open" and state.disposition not in LETS_GO:
            found[name] = state.disposition
        name = by_id[name]["source_id"]
    return found


def kept_told(found: Mapping[str, Disposition]) -> tuple[Message, ...]:
    """The same, told."""
    return tuple(
        message(Stands.LENGTH_DECIDED, length=name, disposition=disposition)
        for name, disposition in found.items()
    )

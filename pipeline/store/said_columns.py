"""What rows say: the message they keep, or the sentence that an earlier version of this program wrote."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pipeline.found import advice_of
from pipeline.messages import Message, as_written
from pipeline.store.answer_columns import said_of

Row = Mapping[str, Any]


def told_of(row: Row, said: str = "said", written: str = "sentence") -> Message:
    """What a row says.

    Args:
        row: the row.
        said: its column with the message.
        written: its column with the sentence of an earlier version.
    """
    return said_of(row[said]) if row.get(said) else as_written(row[written])


def cause_of(row: Row) -> Message:
    """What a row of ``judged.finding`` says of its cause."""
    return told_of(row, "cause_said", "cause_sentence")


def first_advice(row: Row) -> Message:
    """What to do first about a row of ``judged.finding``."""
    return Message(advice_of(row["rule"])) if row.get("said") else as_written(row["advice"])


def holding_of(reel: Row, findings: Sequence[Row]) -> list[Row]:
    """The findings that hold a reel, in the order of its reasons.

    Args:
        reel: a row of ``judged.reel``; before version 10 it kept the sentences of its findings.
        findings: findings of the same judgement.
    """
    if reel["held_by"] is not None:
        by_id = {one["finding_id"]: one for one in findings}
        return [by_id[name] for name in reel["held_by"] if name in by_id]
    written = {one["sentence"]: one for one in findings if one["reel_id"] == reel["reel_id"]}
    return [written[one] for one in reel["reasons"] if one in written]


def lacking_of(reel: Row, findings: Sequence[Row]) -> tuple[str, ...]:
    """What the evidence lacks of a reel: the reasons that no finding gives.

    Args:
        reel: as `holding_of`.
        findings: findings of the same judgement.
    """
    located = set() if reel["held_by"] is not None else {one["sentence"] for one in findings}
    return tuple(one for one in reel["reasons"] if one not in located)

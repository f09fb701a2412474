"""What rows say: the message they keep, or the sentence that an earlier version of this program wrote."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pipeline.found import advice_of
from pipeline.messages import Message, as_written
from pipeline.store.answer_columns import said_of
from pipeline.why import Lacking, about_requirement

Row = Mapping[str, Any]


def told_of(row: Row, said: str = "said", written: str = "sentence") -> Message:
    """What a row says.

    Args:
        row: the row.
        said: its column with the message.
        written: its column with the sentence of an earlier version.
    """
    return said_of(row[said]) if row.get(said) else as_written(row[written])


def reason_of(row: Row) -> Message | None:
    """Why a judgement concludes nothing, of a row with its reason; None where it concludes."""
    return told_of(row, written="reason") if row.get("said") or row["reason"] else None


def cause_of(row: Row) -> Message:
    """What a row of ``judged.finding`` says of its cause."""
    return told_of(row, "cause_said", "cause_sentence")


def first_advice(row: Row) -> Message:
    """What to do first about a row of ``judged.finding``."""
    return Message(advice_of(row["rule"])) if row.get("said") else as_written(row["advice"])


def rule_of(requirement: Row) -> Message | None:
    """How a row of ``judged.requirement`` was decided with uncertainty; None where nothing was."""
    if requirement.get("decided_by"):
        return said_of(requirement["decided_by"])
    return as_written(requirement["decision_rule"]) if requirement["decision_rule"] else None


def first_of(reel: Row) -> Message | None:
    """What to do first about a row of ``judged.reel``; None for nothing."""
    if reel.get("first_said") is None:
        return as_written(reel["first_action"]) if reel["first_action"] else None
    return said_of(reel["first_said"]) if reel["first_said"] else None


def about_of(requirement: Row) -> str:
    """What a row of ``judged.requirement`` is known by among those of its reel."""
    return about_requirement(
        requirement["requirement"], requirement["requirement_set"], requirement["limit_id"]
    )


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


def lacking_of(lacks: Sequence[Row]) -> tuple[Lacking, ...]:
    """What the evidence of a reel lacks, of rows of ``judged.lack``."""
    return tuple(Lacking(one["code"], one["about"], said_of(one["said"])) for one in lacks)

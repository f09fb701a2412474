"""A finding and what was decided about it, as rows that several pages show."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from dashboards.records.every_page import Extreme
from pipeline.messages import Said
from pipeline.products.limits import Limit


@dataclass(frozen=True, slots=True)
class DispositionRow:
    """A decision a person took (ISO 9000: rework, repair, regrade, scrap, concession, release).

    Args:
        decision: the decision.
        role: role of the person who took it.
        reason: why, in their words.
        decided_at: when.
        second_role: role of the second person, where the plant asks for one.
        finding_id: finding it closes, "" where it is about a whole reel.
        reel_id: reel it is about.
        journal_entry: number or hash of its entry in the journal.
    """

    decision: str
    role: str
    reason: str
    decided_at: datetime | None = None
    second_role: str = ""
    finding_id: str = ""
    reel_id: str = ""
    journal_entry: str = ""


@dataclass(frozen=True, slots=True)
class FindingRow:
    """A finding as it stands in a list.

    Args:
        finding_id: its stable id.
        rule: rule that raised it.
        requirement: requirement it is against.
        severity: the rule's severity, in the rule's own word.
        status: ``open`` or ``closed``.
        sentence: what was found.
        run_id: run.
        line_id: line.
        product: product label.
        reel_ids: reels it touches.
        from_m: start on the wire [m].
        to_m: end on the wire [m].
        worst: worst reading within it.
        limit: limit it is against.
        cause: likely cause, "" where unknown.
        instruments: instruments that saw it.
        opened_at: when the run was assessed.
        closed_at: when a disposition closed it.
        disposition: that disposition.
        proposal: what the rule proposes; a person decides.
        judged_by: the row and revision it was judged by, in words; "" where none stands behind it.
        outer_m: where on its reel, from the outer end [m]; None where it is on no reel.
        core_m: the same from the core end [m].
        verdict: what is said of the wire there.
    """

    finding_id: str
    rule: str
    requirement: str
    severity: str
    status: Literal["open", "closed"]
    sentence: Said
    run_id: str = ""
    line_id: str = ""
    product: str = ""
    reel_ids: tuple[str, ...] = ()
    from_m: float | None = None
    to_m: float | None = None
    worst: Extreme | None = None
    limit: Limit | None = None
    cause: str = ""
    instruments: tuple[str, ...] = ()
    opened_at: datetime | None = None
    closed_at: datetime | None = None
    disposition: DispositionRow | None = None
    proposal: str = ""
    judged_by: str = ""
    outer_m: tuple[float, float] | None = None
    core_m: tuple[float, float] | None = None
    verdict: str = ""

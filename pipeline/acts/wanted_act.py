"""What a person does about a finding, reel or length, before it is known whether it may be done."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from pipeline.nonconformance.disposition import ActKind, Disposition, Person


@dataclass(frozen=True, slots=True)
class WantedAct:
    """What a person does, on whatever it is done.

    Args:
        kind: what.
        by: who.
        reason: why, in the person's words.
        disposition: what is decided; None for what stands on each subject.
        evidence: test report, sample or cut record that was seen.
        at_utc: the instant, UTC; the clock's where it is left out.
    """

    kind: ActKind
    by: Person
    reason: str
    disposition: Disposition | None = None
    evidence: str = ""
    at_utc: datetime | None = None

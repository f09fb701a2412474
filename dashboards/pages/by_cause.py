"""Open findings by likely cause: one entry a cause, with who owns it and by when it is to be decided."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from dashboards.records import FindingRow, Plant
from pipeline.length.intervals import wire_m

UNKNOWN = "not known"
SEVERITY = ("critical", "major", "minor", "observation")


@dataclass(frozen=True, slots=True)
class CauseEntry:
    """A likely cause on a line, with its findings.

    Args:
        cause: the cause.
        line_id: line.
        findings: its findings, the gravest first.
        length_m: wire they cover, each metre once [m].
        owner: role that owns the gravest; "" where the plant names none.
        due_at: when the first of them is to be decided; None where the plant says nothing.
    """

    cause: str
    line_id: str
    findings: tuple[FindingRow, ...]
    length_m: float
    owner: str
    due_at: datetime | None


def _grade(one: FindingRow) -> int:
    return SEVERITY.index(one.severity) if one.severity in SEVERITY else len(SEVERITY)


def by_cause(findings: Iterable[FindingRow], plant: Plant) -> tuple[CauseEntry, ...]:
    """Findings by line and likely cause, in Pareto order: most findings first, then most length.

    A finding whose cause is not known shares an entry with those of the same requirement or rule only.
    """
    groups: dict[tuple[str, str, str], list[FindingRow]] = defaultdict(list)
    for one in findings:
        known = bool(one.cause) and one.cause != UNKNOWN
        apart = "" if known else one.requirement or one.rule.replace("-", " ")
        groups[one.line_id, one.cause if known else UNKNOWN, apart].append(one)
    entries = []
    for (line, cause, apart), those in groups.items():
        ordered = tuple(sorted(those, key=_grade))
        dues = [at for one in those if (at := plant.due_at(one.severity, one.opened_at)) is not None]
        entries.append(
            CauseEntry(
                f"cause {cause}: {apart}" if apart else cause,
                line,
                ordered,
                wire_m((one.run_id, one.from_m, one.to_m) for one in those),
                plant.owner_of(ordered[0].severity),
                min(dues, default=None),
            )
        )
    return tuple(sorted(entries, key=lambda one: (-len(one.findings), -one.length_m, one.cause)))

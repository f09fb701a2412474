"""Which rules is the wire judged by, and how grave is each?

Rules are rows, not code: a rule names the requirement whose limit it takes, the measured column it reads and its
severity; ``english/findings.json`` has its name, what it says and what to do first. Severities and which rules hold
a release are common practice, no source; a plant may make them stricter or milder through `with_severities`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

from pipeline.errors import Complaint, SheetError
from pipeline.found import Found
from pipeline.messages import Measure, Message, message
from pipeline.products.limits import Limit

Severity = Literal["critical", "major", "minor"]
SEVERITIES: tuple[Severity, ...] = ("critical", "major", "minor")

# Families whose findings are places on the wire, which several instruments may see at once.
PLACES = ("wall", "covering", "diameter", "conductor", "concentricity", "electrical", "surface")


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule.

    Args:
        rule_id: short name, stored with every finding and never reused.
        requirement: requirement of the limit it takes; "" for a rule without a limit.
        family: what kind of defect it sees; findings keep their number within a family.
        column: measured column it reads, "" where it reads events or states.
        at_column: column of the place that was read.
        unit: unit of that column.
        severity: ``critical`` may harm a user, ``major`` fails a requirement or leaves it unproved, ``minor``
            weakens the evidence.
        holds_release: True if the wire may not be released while such a finding is open.
    """

    rule_id: str
    requirement: str
    family: str
    column: str
    at_column: str
    unit: str
    severity: Severity
    holds_release: bool


RULES: tuple[Rule, ...] = (
    Rule(
        "wall-point",
        "minimum wall at any point",
        "wall",
        "thinnest_wall_mm",
        "wall_at_m",
        "mm",
        "critical",
        True,
    ),
    Rule("spark-fault", "", "electrical", "", "", "", "critical", True),
    Rule("wall-average", "minimum average wall", "wall", "mean_wall_mm", "wall_at_m", "mm", "major", True),
    Rule("covering", "covering at any point", "covering", "covering_mm", "wall_at_m", "mm", "major", True),
    Rule("spark-voltage", "spark test voltage", "coverage", "spark_kv", "spark_at_m", "kV", "major", True),
    Rule("diameter", "overall diameter", "diameter", "diameter_mm", "diameter_at_m", "mm", "major", True),
    Rule(
        "conductor", "conductor diameter", "conductor", "conductor_mm", "conductor_at_m", "mm", "major", True
    ),
    Rule(
        "concentricity",
        "concentricity",
        "concentricity",
        "concentricity_pct",
        "wall_at_m",
        "%",
        "major",
        True,
    ),
    Rule("surface-flaw", "", "surface", "", "", "", "major", True),
    Rule("splice", "", "splice", "", "", "", "major", True),
    Rule("between-marks", "", "repeat", "", "", "", "major", True),
    Rule("unmonitored", "", "coverage", "", "", "", "major", True),
    Rule("calibration", "", "calibration", "", "", "", "major", True),
    Rule("instruments-disagree", "", "agreement", "", "", "", "major", True),
    Rule("unstable-process", "", "stability", "", "", "", "minor", False),
)
RULE_BY_ID: dict[str, Rule] = {rule.rule_id: rule for rule in RULES}
ORDER: dict[str, int] = {rule.rule_id: place for place, rule in enumerate(RULES)}


def rule_for(requirement: str) -> Rule | None:
    """The rule that judges a requirement, or None where none does."""
    return next((rule for rule in RULES if rule.requirement == requirement), None)


def with_severities(changes: Mapping[str, tuple[Severity, bool]], where: str) -> dict[str, Rule]:
    """The rules with a plant's own severities.

    Args:
        changes: rule id -> (severity, whether it holds a release).
        where: file and key, for the complaint.

    Raises:
        SheetError: a rule or severity that is not known, or a critical rule that would not hold a release.
    """
    complaints = []
    for name, (severity, holds) in changes.items():
        if name not in RULE_BY_ID:
            complaints.append(
                Complaint(where, f"'{name}' is not a rule", f"It may be {', '.join(RULE_BY_ID)}")
            )
        elif severity not in SEVERITIES:
            complaints.append(
                Complaint(where, f"'{severity}' is not a severity", f"It may be {', '.join(SEVERITIES)}")
            )
        elif severity == "critical" and not holds:
            complaints.append(
                Complaint(
                    where,
                    f"rule '{name}' is critical but would not hold a release",
                    "Let it hold the release, or give it another severity",
                )
            )
    if complaints:
        raise SheetError(complaints)
    changed = {
        name: replace(RULE_BY_ID[name], severity=severity, holds_release=holds)
        for name, (severity, holds) in changes.items()
    }
    return {**RULE_BY_ID, **changed}


def cited(limit: Limit) -> Message:
    """A limit with its document, table and revision."""
    source = {"document": limit.document, "table": limit.table}
    return message(
        Found.CITED,
        value=Measure(limit.value, limit.unit),
        **{name: text for name, text in source.items() if text},
        revision=str(limit.revision),
    )

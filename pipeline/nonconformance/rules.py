"""Which rules is the wire judged by, how grave is each, and in which words is a finding told?

Rules are rows, not code: a rule names the requirement whose limit it takes, the measured column it reads, its
severity and the sentence. Severities and which rules hold a release are common practice, no source; a plant
may make them stricter or milder through `with_severities`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

from pipeline.errors import Complaint, SheetError
from pipeline.products.limits import Limit
from pipeline.units import MM_PER_MIL

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
        sentence: the finding in words, with the fields of `told`.
        advice: what to do first.
    """

    rule_id: str
    requirement: str
    family: str
    column: str
    at_column: str
    unit: str
    severity: Severity
    holds_release: bool
    sentence: str
    advice: str

    @property
    def named(self) -> str:
        """The rule for readers: the requirement it is about, or its own name in words."""
        return self.requirement or self.rule_id.replace("-", " ")


_AGAINST = " against {sense} {limit} over {length} from {from_m} m to {to_m} m: {verdict}."

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
        "Thinnest wall {worst} at {worst_at_m} m" + _AGAINST,
        "Cut a full slice at the worst place, with the thin angle marked, and measure it by the standard's "
        "method",
    ),
    Rule(
        "spark-fault",
        "",
        "electrical",
        "",
        "",
        "",
        "critical",
        True,
        "{count} spark fault(s) within {length} from {from_m} m to {to_m} m at {voltage}.",
        "Cut out the fault with clearance on both sides and test again; spark testers are high voltage",
    ),
    Rule(
        "wall-average",
        "minimum average wall",
        "wall",
        "mean_wall_mm",
        "wall_at_m",
        "mm",
        "major",
        True,
        "Average wall {worst} at {worst_at_m} m" + _AGAINST,
        "Measure a cut sample by the standard's method before deciding on the length",
    ),
    Rule(
        "covering",
        "covering at any point",
        "covering",
        "covering_mm",
        "wall_at_m",
        "mm",
        "major",
        True,
        "Covering {worst} at {worst_at_m} m" + _AGAINST,
        "Measure the covering on a cut sample; a wall gauge that sees both layers only bounds it",
    ),
    Rule(
        "spark-voltage",
        "spark test voltage",
        "coverage",
        "spark_kv",
        "spark_at_m",
        "kV",
        "major",
        True,
        "Spark voltage {worst} at {worst_at_m} m" + _AGAINST,
        "Spark-test the length again at the voltage of record; spark testers are high voltage",
    ),
    Rule(
        "diameter",
        "overall diameter",
        "diameter",
        "diameter_mm",
        "diameter_at_m",
        "mm",
        "major",
        True,
        "Overall diameter {worst} at {worst_at_m} m" + _AGAINST,
        "Measure the diameter on two axes and look for a lump, a neck or a change of conductor",
    ),
    Rule(
        "conductor",
        "conductor diameter",
        "conductor",
        "conductor_mm",
        "conductor_at_m",
        "mm",
        "major",
        True,
        "Conductor diameter {worst} at {worst_at_m} m" + _AGAINST,
        "Measure the conductor on a stripped sample, and look at the wire that was drawn or stranded for it",
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
        "Concentricity (100 x thinnest / thickest wall) {worst} at {worst_at_m} m" + _AGAINST,
        "Check the centring of the die on a cut slice",
    ),
    Rule(
        "surface-flaw",
        "",
        "surface",
        "",
        "",
        "",
        "major",
        True,
        "{count} surface flaw(s) within {length} from {from_m} m to {to_m} m, the largest {size}.",
        "Look at the wire there; a flaw in the covering may hide one in the insulation",
    ),
    Rule(
        "splice",
        "",
        "splice",
        "",
        "",
        "",
        "major",
        True,
        "A lump {size} high within {length} from {from_m} m to {to_m} m, seen by {detail}: taken for a splice.",
        "Look at the wire there and cut the splice out of what is sold, with clearance on both sides",
    ),
    Rule(
        "unmonitored",
        "",
        "coverage",
        "",
        "",
        "",
        "major",
        True,
        "No usable reading of {subject} on {length} of the wire from {from_m} m to {to_m} m: {detail}.",
        "Inspect the length by other means, or do not release it on in-line evidence",
    ),
    Rule(
        "calibration",
        "",
        "calibration",
        "",
        "",
        "",
        "major",
        True,
        "The calibration of {subject} was out of date over {length} from {from_m} m to {to_m} m: {detail}.",
        "Calibrate the instrument, and judge the wire again if its readings have moved",
    ),
    Rule(
        "instruments-disagree",
        "",
        "agreement",
        "",
        "",
        "",
        "major",
        True,
        "Instruments disagree over {length} from {from_m} m to {to_m} m: {detail}. "
        "Nothing is concluded about the wire there.",
        "Measure a cut sample to find which instrument is wrong",
    ),
    Rule(
        "unstable-process",
        "",
        "stability",
        "",
        "",
        "",
        "minor",
        False,
        "The process was not stable in {subject} over {length} from {from_m} m to {to_m} m: {detail}.",
        "Do not read a capability index of this length as a forecast",
    ),
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


def figure(value: float, unit: str) -> str:
    """A figure with its unit as findings print it; walls and diameters in mm and mil."""
    if unit == "mm":
        return f"{value:.3f} mm ({value / MM_PER_MIL:.1f} mil)"
    return f"{value:.1f} {unit}".rstrip()


def limit_text(limit: Limit) -> str:
    """A limit as findings print it: value, value of record, document, table and revision."""
    if limit.unit == "mm":
        value = f"{limit.value:.3f} mm ({limit.value_of_record:g} {limit.unit_of_record})"
    else:
        value = f"{limit.value:g} {limit.unit}"
    source = ", ".join(part for part in (limit.document, limit.table) if part)
    return f"{value} [{source}; revision {limit.revision}]" if source else f"{value} [{limit.revision}]"


def length_text(length_m: float) -> str:
    """A length of wire as findings print it."""
    return f"{length_m:.1f} m" if length_m < 1000.0 else f"{length_m / 1000.0:.3f} km"


def told(rule: Rule, from_m: float, to_m: float, **fields: str) -> str:
    """The finding in words; lengths are filled in here, everything else comes in `fields`.

    Raises:
        KeyError: a field of the sentence is missing, which is a fault of the program.
    """
    filled = {
        "from_m": f"{from_m:.1f}",
        "to_m": f"{to_m:.1f}",
        "length": length_text(to_m - from_m),
        **fields,
    }
    return rule.sentence.format_map(filled).replace("(s)", "" if fields.get("count") == "1" else "s")

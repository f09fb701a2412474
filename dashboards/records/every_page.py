"""What every page shares: the plant, the limit behind a judgement, the way back to the log.

All figures are metric, with the unit in the name; a page converts them for display only. Positions called
``at_m``, ``from_m`` and ``to_m`` are metres on the wire of the run (from the first metre made); those called
``outer_m`` are metres from the reel's outer end, where places on a reel count from, and ``core_m`` from its
core end. Instants are aware ``datetime`` in UTC; a page shows them in the plant's zone. Nothing here is
worked out by a page: whoever fills a record has asked the store.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Literal

from pipeline.messages import Message, Said
from pipeline.products.limits import Limit
from pipeline.record.standing import Code
from pipeline.results import Refused, Result

UnitSystem = Literal["mil and foot", "mm and meter"]
# How a reel stands now, as every page, command and print has it.
Standing = Code
# What a standing asks of whoever looks: an alarm, or which of the shift's groups the reel is in.
Gate = Literal["left", "releasable", "held", "no conclusion", "released", "gone"]
GATE_OF: dict[str, Gate] = {
    "left while held": "left",
    "held since it left": "left",
    "left unreleased": "left",
    "held": "held",
    "no conclusion": "no conclusion",
    "releasable": "releasable",
    "awaiting a second person": "held",
    "decided": "held",
    "regraded": "held",
    "released": "released",
    "released by concession": "released",
    "scrapped": "gone",
    "cut": "gone",
    "shipped": "gone",
}
Outcome = Literal["conforms", "does not conform", "indeterminate", "not judged", "no conclusion"]
QualityState = Literal["green", "amber", "red"]
IntervalKind = Literal[
    "nonconforming",
    "indeterminate",
    "unmonitored",
    "untested",
    "unsteady",
    "either reel",
    "repaired",
    "cut out",
]
Answer = Result | Refused


@dataclass(frozen=True, slots=True)
class Alarm:
    """Wire that left although it might not, or that is held since: first on every page that concerns it."""

    reel_id: str
    sentence: Message


@dataclass(frozen=True, slots=True)
class AnswerGroup:
    """Answers that belong together, under a heading of a few words."""

    title: str
    answers: tuple[Answer, ...]


@dataclass(frozen=True, slots=True)
class Plant:
    """The plant the pages are for.

    Args:
        id: plant's id in the store.
        name: name shown at the head of every page.
        zone: IANA zone in which times are shown, for example ``America/Chicago``.
        units: units a page opens with; a reader may change them on the page.
        is_demo: True marks every page as invented data.
        cautions: sentences shown on every page beside the house's own cautions.
        call: roles with how to reach them, in the order to call.
        due: owner of a finding and hours to its decision, by severity.
    """

    id: str
    name: str
    zone: str
    units: UnitSystem = "mil and foot"
    is_demo: bool = False
    cautions: tuple[str, ...] = ()
    call: tuple[tuple[str, str], ...] = ()
    due: tuple[tuple[str, str, float], ...] = ()

    def owner_of(self, severity: str) -> str:
        """The role that owns open findings of a severity; "" where the plant names none."""
        return next((owner for name, owner, _ in self.due if name == severity), "")

    def due_at(self, severity: str, opened_at: datetime | None) -> datetime | None:
        """When a finding of a severity is to be decided; None where the plant says nothing."""
        hours = next((hours for name, _, hours in self.due if name == severity), None)
        return None if hours is None or opened_at is None else opened_at + timedelta(hours=hours)


@dataclass(frozen=True, slots=True)
class Evidence:
    """The way back from a number: judged by which assessment, seen where, logged in which line of which file.

    Every part may be left out; a page shows what is there and says nothing of the rest.

    Args:
        assessment_id: assessment that made the number.
        run_id: run the wire belongs to.
        at_m: place on the wire of that run [m].
        row: number of the reading in the run.
        instrument_id: instrument that read it.
        file: name of the log file.
        line: line in that file.
        file_sha256: hash of that file.
        finding_id: finding it belongs to.
        limit_id: limit it was held against.
    """

    assessment_id: str = ""
    run_id: str = ""
    at_m: float | None = None
    row: int | None = None
    instrument_id: str = ""
    file: str = ""
    line: int | None = None
    file_sha256: str = ""
    finding_id: str = ""
    limit_id: str = ""


@dataclass(frozen=True, slots=True)
class Stamp:
    """What a page says of the runs behind it: at its head wire that left held, at its foot where figures come from.

    Args:
        assessment_ids: assessments whose results are shown.
        assessed_at: instant of the latest of them.
        assessed_by: role or name of the account that ran it.
        program: program and version, for example ``reelproof 0.1.0``.
        revision: revision of the plant's limits in force.
        limits: every limit used on the page.
        decision_rules: how measurement uncertainty was treated, one sentence a requirement.
        journal_root: root of the journal that anchors the records, hexadecimal; "" where there is none.
        unseen: what the evidence does not reach of the run or reel shown: unmonitored and untested length, wire made
            while the line was not at steady speed.
        left_held: wire of these runs that left although it might not, or that is held or not judged since.
    """

    assessment_ids: tuple[str, ...] = ()
    assessed_at: datetime | None = None
    assessed_by: str = ""
    program: str = "reelproof"
    revision: str = ""
    limits: tuple[Limit, ...] = ()
    decision_rules: tuple[str, ...] = ()
    journal_root: str = ""
    unseen: tuple[Said, ...] = ()
    left_held: tuple[Alarm, ...] = ()


@dataclass(frozen=True, slots=True)
class ProductRow:
    """The product made: ``THHN/THWN-2``, ``14 AWG``, ``solid``, ``copper``, ``black``."""

    construction: str
    size: str
    conductor: str = ""
    metal: str = ""
    colour: str = ""

    @property
    def label(self) -> str:
        """One line that names it."""
        parts = (self.size, self.conductor, self.metal, self.construction, self.colour)
        return " ".join(part for part in parts if part)


@dataclass(frozen=True, slots=True)
class Extreme:
    """One reading that stands for many: the thinnest wall, the greatest diameter.

    Args:
        value: the reading, in `unit`.
        unit: ``mm`` or ``%``.
        at_m: place on the wire of the run [m].
        outer_m: place on its reel, from the outer end [m]; None where it is on no reel.
        core_m: the same from the core end [m].
        angle_deg: direction around the wire, from the first sensor [deg].
        standard_uncertainty: of this reading, in `unit`; None if unknown.
        evidence: the way back to the log.
    """

    value: float
    unit: str
    at_m: float
    outer_m: float | None = None
    core_m: float | None = None
    angle_deg: float | None = None
    standard_uncertainty: float | None = None
    evidence: Evidence = field(default_factory=Evidence)


@dataclass(frozen=True, slots=True)
class RequirementVerdict:
    """One requirement held against one reel or run.

    Args:
        requirement: the requirement's name.
        outcome: what was concluded.
        sentence: why, in a sentence.
        limit: the limit; None where none is on file (then the outcome is ``not judged``).
        worst: the reading nearest to or furthest beyond the limit.
        decision_rule: how uncertainty was treated.
        risk: how likely it conforms at its worst reading, in words; "" where that cannot be told.
        judged_m: length with a trustworthy reading for this requirement [m].
        unmonitored_m: length without one [m].
        evidence: the assessment and limit.
    """

    requirement: str
    outcome: Outcome
    sentence: Said
    limit: Limit | None = None
    worst: Extreme | None = None
    decision_rule: Message | None = None
    judged_m: float = 0.0
    unmonitored_m: float = 0.0
    evidence: Evidence = field(default_factory=Evidence)
    risk: str = ""


@dataclass(frozen=True, slots=True)
class ReasonShown:
    """Why something is held, or not concluded.

    Args:
        sentence: the reason in plain words, with figures.
        requirement: requirement or rule it comes under.
        finding_id: finding that says it; "" where no finding does (for example unmonitored length).
    """

    sentence: Said
    requirement: str = ""
    finding_id: str = ""


@dataclass(frozen=True, slots=True)
class Interval:
    """A stretch of wire worth marking on a map of the reel or run.

    Args:
        from_m: start [m], on the wire of the run.
        to_m: end [m].
        kind: what it is.
        label: sentence for it.
        finding_id: finding, if there is one.
    """

    from_m: float
    to_m: float
    kind: IntervalKind
    label: Said = ""
    finding_id: str = ""


@dataclass(frozen=True, slots=True)
class FaultMark:
    """A spark fault or surface flaw on the wire.

    Args:
        event: its number in the run.
        kind: ``spark fault`` or ``surface flaw``.
        at_m: place on the wire [m].
        at_sd_m: standard uncertainty of that place [m].
        reel_id: reel it is on, "" for none.
        outer_m: place on that reel, from the outer end [m].
        core_m: the same from the core end [m].
        spark_kv: test voltage [kV].
        flaw_size_mm: size of a flaw [mm].
        merged_counts: detector counts merged into it (same spot).
        label: what is known of it, for example the roll its repeats fit.
        evidence: the way back to the log.
    """

    event: int
    kind: str
    at_m: float
    at_sd_m: float | None = None
    reel_id: str = ""
    outer_m: float | None = None
    core_m: float | None = None
    spark_kv: float | None = None
    flaw_size_mm: float | None = None
    merged_counts: int = 1
    label: str = ""
    evidence: Evidence = field(default_factory=Evidence)


@dataclass(frozen=True, slots=True)
class DataQuality:
    """Whether the data of a run can carry a conclusion.

    Args:
        state: red means *no conclusion*, never *pass*.
        sentences: why.
        rows_read: log lines read.
        rows_kept: readings kept.
        rows_set_aside: lines set aside with a reason; read = kept + set aside.
        limits: the smallest errors of its gauges that the run could show, and what no run shows.
    """

    state: QualityState
    sentences: tuple[Said, ...] = ()
    rows_read: int = 0
    rows_kept: int = 0
    rows_set_aside: int = 0
    limits: tuple[Said, ...] = ()

"""Records of the pages on nonconformance: the summary of a period, one finding, and a containment."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from dashboards.records.every_page import Answer, Evidence, FaultMark, Plant, ProductRow, Stamp
from dashboards.records.finding_row import DispositionRow, FindingRow
from dashboards.records.run import LotRow, PanelLimit, Trace
from pipeline.messages import Message, Said


@dataclass(frozen=True, slots=True)
class TallyRow:
    """Findings counted by one heading.

    Args:
        heading: the value counted by, for example a rule's name.
        opened: findings opened in the period.
        closed: of those, closed.
        length_m: nonconforming length [m].
        made_m: length made under this heading [m]; None where it has no meaning.
        known_m: of that, length with a trustworthy reading [m].
        per_km: findings per km of known length with its interval; None or a refusal where it cannot be given.
    """

    heading: str
    opened: int
    closed: int
    length_m: float
    made_m: float | None = None
    known_m: float | None = None
    per_km: Answer | None = None


@dataclass(frozen=True, slots=True)
class Tally:
    """Findings of the period counted by rule, line, product or cause."""

    by: str
    rows: tuple[TallyRow, ...]


@dataclass(frozen=True, slots=True)
class NonconformanceSummary:
    """Everything the nonconformance page and its CSV show.

    Args:
        plant: plant.
        period_id: names the page's file, for example ``2026-03``; "" for everything on file.
        title: what a reader calls the period.
        from_day: first day.
        to_day: last day.
        findings: every finding of the period, open ones first.
        tallies: counts by rule, line, product, cause.
        median_days_to_disposition: median days from opening to closing; None where nothing was closed.
        oldest_open_days: age of the oldest open finding [d], counted to `to_day`.
        stamp: assessments, limits and rules.
        oldest_open_id: the oldest open finding, "" where none is open.
    """

    plant: Plant
    period_id: str
    title: str
    from_day: date
    to_day: date
    findings: tuple[FindingRow, ...]
    tallies: tuple[Tally, ...] = ()
    median_days_to_disposition: float | None = None
    oldest_open_days: float | None = None
    stamp: Stamp = field(default_factory=Stamp)
    oldest_open_id: str = ""


@dataclass(frozen=True, slots=True)
class SectionProfile:
    """The wall around the wire at the worst point.

    Args:
        at_m: place on the wire [m].
        conductor_mm: conductor diameter [mm].
        mean_wall_mm: mean wall [mm].
        eccentricity_mm: offset of the conductor [mm].
        thin_angle_deg: direction of the thin side [deg].
        sensor_angles_deg: direction of each sensor [deg].
        sensor_walls_mm: wall each sensor read [mm]; NaN where it gave none.
        limit_mm: smallest wall allowed [mm].
    """

    at_m: float
    conductor_mm: float
    mean_wall_mm: float
    eccentricity_mm: float
    thin_angle_deg: float
    sensor_angles_deg: NDArray[np.float64]
    sensor_walls_mm: NDArray[np.float64]
    limit_mm: float | None = None


@dataclass(frozen=True, slots=True)
class LoggedValue:
    """One value of a line of the log, as logged and as stored.

    Args:
        channel: our name of it.
        column: the log's own name of it.
        as_logged: the figure in the log's unit; None where the line gave none.
        unit: that unit, "" for none.
        stored: the figure in the store's unit.
        store_unit: that unit.
    """

    channel: str
    column: str
    as_logged: float | None
    unit: str
    stored: float | None
    store_unit: str


@dataclass(frozen=True, slots=True)
class LogWalk:
    """The way from one line of the log to a finding's worst figure.

    Args:
        file: name of the log file.
        line: line in it.
        sha256: hash of the file.
        at_utc: instant of the line.
        values: what the line held.
        front_m: wire past the counter at that instant [m]; None where it is not known.
        at_m: place of the reading on the run's wire, by its station [m].
        outer_m: the same from the reel's outer end [m]; None for wire on no reel.
        sensors: wall sensors that read, 0 where the figure is not of the wall.
        sensors_mean_mm: mean of their readings [mm].
        covering_mm: mean covering taken off [mm]; None where none is.
        covering_basis: where that figure comes from, as the run sheet has it.
        mean_wall_mm: mean insulation wall [mm].
        eccentricity_mm: eccentricity of the section [mm].
        measured: the judged quantity as measured [unit]; None for a quantity that is not kept as measured.
        quantity: its column.
        worst: the figure judged [unit]; the worse bound where only bounds are known.
        unit: unit of `measured` and `worst`.
        uncertainty: standard uncertainty of the figure [unit].
    """

    file: str
    line: int
    sha256: str
    at_utc: datetime
    values: tuple[LoggedValue, ...]
    front_m: float | None
    at_m: float
    outer_m: float | None
    sensors: int
    sensors_mean_mm: float | None
    covering_mm: float | None
    covering_basis: str
    mean_wall_mm: float | None
    eccentricity_mm: float | None
    measured: float | None
    quantity: str
    worst: float
    unit: str
    uncertainty: float | None


@dataclass(frozen=True, slots=True)
class FindingReview:
    """Everything the page of one finding shows.

    Args:
        plant: plant.
        finding: the finding.
        product: what was made.
        window: quantities over the evidence window, at full rate.
        limits: limits to draw.
        faults: faults in the window.
        section: the wall around the wire at the worst point.
        how_sure: how measurement uncertainty was treated, and how sure the verdict is by it.
        answers: for example the probability that the wall is under the limit.
        evidence: log lines behind the worst readings.
        same_cause: other findings thought to have the same cause.
        dispositions: decisions, oldest first.
        lots: material lots in the wire there.
        repair_guide: sentences on what may be done, from the rule; a person decides.
        stamp: assessments, limits and rules.
        walk: the way from the log's line to the worst figure; None where no reading stands behind it.
    """

    plant: Plant
    finding: FindingRow
    product: ProductRow
    window: tuple[Trace, ...] = ()
    limits: tuple[PanelLimit, ...] = ()
    faults: tuple[FaultMark, ...] = ()
    section: SectionProfile | None = None
    how_sure: tuple[Message, ...] = ()
    answers: tuple[Answer, ...] = ()
    evidence: tuple[Evidence, ...] = ()
    same_cause: tuple[FindingRow, ...] = ()
    dispositions: tuple[DispositionRow, ...] = ()
    lots: tuple[LotRow, ...] = ()
    repair_guide: tuple[Said, ...] = ()
    stamp: Stamp = field(default_factory=Stamp)
    walk: LogWalk | None = None


@dataclass(frozen=True, slots=True)
class TouchedLength:
    """A reel or shipped length that a suspect touches.

    Args:
        length_id: reel or cut length.
        run_id: run.
        from_m: start of the touched stretch, from the outer end of the reel or length [m].
        to_m: its end [m].
        where: where it is, in words: ``in house``, ``shipped in ... to ...``, ``scrapped``.
        state: ``in house``, ``not known``, ``shipped``, or ``elsewhere`` for wire scrapped or on lengths cut from it.
        standing: its present standing.
        path: the chain of ids from the suspect to it.
        core_m: the stretch from the core end [m]; None where how much lies on it is not known.
    """

    length_id: str
    run_id: str
    from_m: float
    to_m: float
    where: str
    state: Literal["in house", "not known", "shipped", "elsewhere"]
    standing: str
    path: tuple[str, ...]
    core_m: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Containment:
    """Everything the containment page shows.

    Args:
        plant: plant.
        containment_id: names the page's file.
        suspect: what is suspected.
        reason: why.
        asked_by: role that asked.
        asked_at: when.
        touched: every reel and shipped length it touches.
        in_house_m: length still in house [m].
        not_known_m: length of which nobody told where it is [m].
        shipped_m: length shipped [m].
        notes: what a reader must know of the list.
        stamp: assessments, limits and rules.
    """

    plant: Plant
    containment_id: str
    suspect: Message
    reason: str
    asked_by: str
    asked_at: datetime
    touched: tuple[TouchedLength, ...]
    in_house_m: float
    not_known_m: float
    shipped_m: float
    notes: tuple[Message, ...] = ()
    stamp: Stamp = field(default_factory=Stamp)

"""Records of the shift page: which reels may leave, which may not, why, and what to do first."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime

from dashboards.records.every_page import (
    AnswerGroup,
    DataQuality,
    Extreme,
    FaultMark,
    Interval,
    Plant,
    ProductRow,
    ReasonShown,
    RequirementVerdict,
    Stamp,
    Standing,
)
from dashboards.records.finding_row import DispositionRow, FindingRow
from pipeline.messages import Said


@dataclass(frozen=True, slots=True)
class ReelRow:
    """A reel as it stands in a list.

    Args:
        reel_id: plant's number of the reel.
        run_id: run it was made in.
        line_id: line it was made on.
        from_m: start on the wire of the run [m].
        to_m: end on the wire of the run [m].
        standing: how it stands now; a person releases.
        headline: what is said of it first.
        evidence: what the in-line evidence supports.
        reasons: why it is not releasable; empty when it is.
        thinnest_wall: thinnest insulation wall on it, None where none was read.
        mean_wall_mm: mean insulation wall over its known length [mm].
        judgements: one a requirement (and requirement set), in the order to show.
        spark_faults: spark faults on it, repeats at one spot merged; None where not tested.
        unmonitored_m: length without a trustworthy wall reading [m].
        untested_m: length without a full spark test [m]; None where the line logs none.
        intervals: stretches to mark on its map.
        faults: faults to mark on its map.
        disposition: the decision taken on it, if any.
        open_findings: number of open findings on it.
    """

    reel_id: str
    run_id: str
    line_id: str
    from_m: float
    to_m: float
    standing: Standing
    reasons: tuple[ReasonShown, ...] = ()
    thinnest_wall: Extreme | None = None
    mean_wall_mm: float | None = None
    judgements: tuple[RequirementVerdict, ...] = ()
    spark_faults: int | None = None
    unmonitored_m: float = 0.0
    untested_m: float | None = None
    intervals: tuple[Interval, ...] = ()
    faults: tuple[FaultMark, ...] = ()
    disposition: DispositionRow | None = None
    open_findings: int = 0
    headline: Said = ""
    evidence: str = ""


@dataclass(frozen=True, slots=True)
class RunRow:
    """A run as it stands on a shift page.

    Args:
        run_id: run.
        line_id: line.
        line_name: the line's name.
        product: what was made.
        operator_role: role on the run sheet.
        started_at: first reading.
        ended_at: last reading.
        made_m: length made [m].
        steady_m: length made at steady speed whose wall was read [m]: what capability rests on.
        reeled_m: length on reels [m], the length conformity rests on.
        scrap_m: length on no reel [m].
        quality: whether the data carry a conclusion.
        reels: reels of the run, in order.
        answers: capability, fault rate and the like, for the whole run.
        open_findings: number of open findings.
        note: note on the run sheet.
        trial: whether the run was a trial of settings.
    """

    run_id: str
    line_id: str
    line_name: str
    product: ProductRow
    operator_role: str
    started_at: datetime
    ended_at: datetime
    made_m: float
    steady_m: float
    reeled_m: float
    scrap_m: float
    quality: DataQuality
    reels: tuple[ReelRow, ...]
    answers: tuple[AnswerGroup, ...] = ()
    open_findings: int = 0
    note: str = ""
    trial: bool = False


@dataclass(frozen=True, slots=True)
class FirstThing:
    """Something to do, in the order of the list.

    Args:
        sentence: what to do, as a request.
        why: the reason, with figures.
        reel_id: reel to go to.
        run_id: run to go to.
        finding_id: finding to go to.
    """

    sentence: str
    why: Said = ""
    reel_id: str = ""
    run_id: str = ""
    finding_id: str = ""


@dataclass(frozen=True, slots=True)
class ShiftTotals:
    """Sums over the shift.

    Args:
        reels_releasable: reels the evidence would let go and nobody has.
        reels_held: reels held, or waiting for what was decided to be confirmed or done.
        reels_no_conclusion: reels on which nothing can be concluded.
        releasable_m: their length [m].
        held_m: their length [m].
        no_conclusion_m: their length [m].
        scrap_m: length on no reel [m].
        unmonitored_m: length on reels without a trustworthy wall reading [m].
        spark_faults: faults on reels, repeats at one spot merged.
        open_findings: open findings of the shift's runs.
        reels_released: reels that persons let go and that are at the plant.
        reels_gone: reels that were shipped, scrapped or cut up.
        reels_left: reels of which wire left although it might not.
        released_m: length of those released [m].
        gone_m: length of those gone [m].
        left_m: length of those of which wire left although it might not [m].
    """

    reels_releasable: int
    reels_held: int
    reels_no_conclusion: int
    releasable_m: float
    held_m: float
    no_conclusion_m: float
    scrap_m: float
    unmonitored_m: float
    spark_faults: int
    open_findings: int
    reels_released: int = 0
    reels_gone: int = 0
    reels_left: int = 0
    released_m: float = 0.0
    gone_m: float = 0.0
    left_m: float = 0.0


@dataclass(frozen=True, slots=True)
class ShiftReview:
    """Everything the shift page shows.

    Args:
        plant: plant.
        shift_id: stable id, which names the page's file, for example ``2026-03-12-2``.
        shift: the shift's name, for example ``Shift 2``.
        day: the production day.
        starts_at: start of the shift; None where the plant gives no clock times.
        ends_at: its end.
        totals: sums.
        first_things: what to do first, most pressing first.
        runs: runs, in the order of line and time.
        stamp: assessments, limits and rules behind the page.
        earlier_shift_id: shift before, "" for none.
        later_shift_id: shift after, "" for none.
        findings: open findings of the shift's runs.
    """

    plant: Plant
    shift_id: str
    shift: str
    day: date
    totals: ShiftTotals
    runs: tuple[RunRow, ...]
    first_things: tuple[FirstThing, ...] = ()
    starts_at: datetime | None = None
    ends_at: datetime | None = None
    stamp: Stamp = field(default_factory=Stamp)
    earlier_shift_id: str = ""
    later_shift_id: str = ""
    findings: tuple[FindingRow, ...] = ()

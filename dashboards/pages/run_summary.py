"""What a run page says on its first screen: capability by requirement, spark faults, scrap and likely causes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from dashboards.records import AnswerGroup, Extreme, FindingRow, ReelRow, RunReview
from pipeline.length.intervals import wire_m
from pipeline.messages import Said
from pipeline.products.limits import Limit
from pipeline.quantity import Quantity
from pipeline.results import Refused, Result

INDICES = (Quantity.PERFORMANCE_INDEX, Quantity.TWO_SIDED_PERFORMANCE_INDEX)
# Figures that stand in the summary, in this order, where the run has them.
FIGURES = (Quantity.FAULT_RATE, Quantity.SCRAP_LENGTH, Quantity.SCRAP_MASS, Quantity.INSULATION_EXCESS_MASS)
# No more causes than a reader takes in at once; the table of findings has them all.
MOST_CAUSES = 5
UNKNOWN_CAUSE = "not known"


@dataclass(frozen=True, slots=True)
class RequirementRow:
    """One requirement on the summary.

    Args:
        answer: its performance index, or why there is none.
        limit: the limit it is against; None where no reel was judged by it.
        reels_bad: reels found not to conform to it.
        reels_judged: reels of which the evidence says whether they conform.
        worst: the reading of those reels nearest to or furthest beyond the limit; None where none was judged.
        worst_reel: the reel it is on.
    """

    answer: Result | Refused
    limit: Limit | None
    reels_bad: int
    reels_judged: int
    worst: Extreme | None = None
    worst_reel: str = ""


@dataclass(frozen=True, slots=True)
class CauseRow:
    """A likely cause with how many findings name it and the wire they cover, each metre once [m]."""

    cause: str
    findings: tuple[FindingRow, ...]
    length_m: float


@dataclass(frozen=True, slots=True)
class Unanswered:
    """Questions of a page without a result, by the reason they share."""

    reason: Said
    those: tuple[Refused, ...]


@dataclass(frozen=True, slots=True)
class Summary:
    """The summary of a run page.

    Args:
        requirements: one row a limit.
        figures: other results that stand in it.
        causes: likely causes, the one with most findings first.
        faults: spark faults on reels; None where no reel was spark tested.
        untested_m: length on reels without a full spark test [m]; None where the line logs none.
    """

    requirements: tuple[RequirementRow, ...]
    figures: tuple[Result, ...]
    causes: tuple[CauseRow, ...]
    faults: int | None
    untested_m: float | None


def summary_of(record: RunReview) -> Summary:
    """The summary of a run."""
    run = record.run
    answers = [one for group in run.answers for one in group.answers]
    tested = [one.spark_faults for one in run.reels if one.spark_faults is not None]
    untested = [one.untested_m for one in run.reels if one.untested_m is not None]
    found = {
        one.question.quantity: one
        for one in reversed(answers)
        if isinstance(one, Result) and one.question.quantity in FIGURES
    }
    return Summary(
        requirements_of(run.answers, run.reels),
        tuple(found[name] for name in FIGURES if name in found),
        causes_of(record.findings),
        sum(tested) if tested else None,
        sum(untested) if untested else None,
    )


def requirements_of(groups: Iterable[AnswerGroup], reels: Sequence[ReelRow]) -> tuple[RequirementRow, ...]:
    """The performance index of each requirement, with the reels that were found bad beside it."""
    return tuple(
        _requirement(one, reels)
        for group in groups
        for one in group.answers
        if one.question.quantity in INDICES
    )


def _requirement(answer: Result | Refused, reels: Iterable[ReelRow]) -> RequirementRow:
    of_reels = [
        (one, reel.reel_id)
        for reel in reels
        for one in reel.judgements
        if one.limit is not None and one.limit.limit_id == answer.question.about
    ]
    held = [one for one, _ in of_reels]
    limit = held[0].limit if held else None
    read = [(one.worst, reel_id) for one, reel_id in of_reels if one.worst is not None]
    nearest = max if limit is not None and limit.sense == "at most" else min
    worst, worst_reel = nearest(read, key=lambda one: one[0].value) if read else (None, "")
    return RequirementRow(
        answer,
        limit,
        sum(one.outcome == "does not conform" for one in held),
        sum(one.outcome in ("conforms", "does not conform") for one in held),
        worst,
        worst_reel,
    )


def causes_of(findings: Iterable[FindingRow]) -> tuple[CauseRow, ...]:
    """Likely causes in Pareto order: by findings, then by length."""
    by: dict[str, list[FindingRow]] = defaultdict(list)
    for one in findings:
        by[one.cause or UNKNOWN_CAUSE].append(one)
    rows = [
        CauseRow(
            cause,
            tuple(those),
            wire_m((one.run_id, one.from_m, one.to_m) for one in those),
        )
        for cause, those in by.items()
    ]
    return tuple(sorted(rows, key=lambda row: (-len(row.findings), -row.length_m, row.cause)))


def results_by_topic(groups: Iterable[AnswerGroup]) -> tuple[AnswerGroup, ...]:
    """Results under their topics; what has no result is listed apart (`unanswered`)."""
    answered = (
        AnswerGroup(group.title, tuple(one for one in group.answers if isinstance(one, Result)))
        for group in groups
    )
    return tuple(group for group in answered if group.answers)


def unanswered(groups: Iterable[AnswerGroup]) -> tuple[Unanswered, ...]:
    """Questions without a result, those with one reason together."""
    by: dict[Said, list[Refused]] = defaultdict(list)
    for group in groups:
        for one in group.answers:
            if isinstance(one, Refused):
                by[one.reason].append(one)
    return tuple(Unanswered(reason, tuple(those)) for reason, those in by.items())

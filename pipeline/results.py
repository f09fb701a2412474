"""What a statistical result is: an estimate with its interval, how it was got, and what it stands on.

The rule of the house: no interval, no conclusion. A result that cannot carry an interval is refused with the
reason, and a refusal is kept and shown like a result.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import Complaint, ReelproofError
from pipeline.messages import Message, message
from pipeline.quantity import Asked
from pipeline.reasons import Reason

UnitOfInference = Literal["reading", "section average", "point at specimen scale", "reel", "event"]


@dataclass(frozen=True, slots=True)
class Assumption:
    """Something the method needs: checked and held, checked and failed, or not checked. Never a default.

    Args:
        name: what is assumed.
        held: True or False as checked on these data; None if it was not checked.
        evidence: the figures the check stands on, worked out of these data; why there are none where not checked.
        then: how the figure was changed because the check failed; a figure that was not changed is withdrawn.
    """

    name: Message
    held: bool | None
    evidence: Message
    then: Message | None = None

    def __post_init__(self) -> None:
        if self.then is not None and self.held is not False:
            raise ValueError("only what a failed check changed has a consequence")

    @property
    def withdraws(self) -> bool:
        """Whether the check failed and nothing in the figure was changed for it."""
        return self.held is False and self.then is None


@dataclass(frozen=True, slots=True)
class Result:
    """One answered question.

    Args:
        question: what was asked: the quantity, and of what.
        estimate: the answer, in `unit`.
        low: lower end of the interval, in `unit`; minus infinity for a one-sided interval.
        high: upper end of the interval, in `unit`; plus infinity for a one-sided interval.
        confidence: coverage the interval aims at, 0 to 1.
        unit: unit of the estimate, "" for a pure number.
        method: the method by its standard name, with its source.
        n: readings, reels or events used.
        effective_n: what `n` is worth after autocorrelation; None where the method does not need it.
        known_m: length of wire [m] with a trustworthy reading that stands behind it; None if not of wire.
        unit_of_inference: what the statement is about.
        assumptions: what was assumed and whether it held.
        warnings: what a reader must see beside the number.
        details: further figures by name, with units in the name.
    """

    question: Asked
    estimate: float
    low: float
    high: float
    confidence: float
    unit: str
    method: Message
    n: int
    effective_n: float | None
    known_m: float | None
    unit_of_inference: UnitOfInference
    assumptions: tuple[Assumption, ...] = ()
    warnings: tuple[Message, ...] = ()
    details: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Refused:
    """A question the data cannot answer.

    Args:
        question: what was asked: the quantity, and of what.
        method: the method that was refused.
        reason: why, and what would answer it.
        n: readings, reels or events on hand.
    """

    question: Asked
    method: Message
    reason: Message
    n: int


def refused_by(question: Asked, method: Message, fault: ReelproofError, n: int) -> Refused:
    """The refusal of a method that complained of what it was given.

    Args:
        question: what was asked.
        method: the method.
        fault: its complaint; the first counts.
        n: readings or things it had.
    """
    return Refused(question, method, complaint_of(fault), n)


def complaint_of(fault: ReelproofError) -> Message:
    """The first complaint of a fault, as what is told beside a figure."""
    return complaint_told(fault.complaints[0])


def complaint_told(one: Complaint) -> Message:
    """A complaint as what is told beside a figure or in place of one."""
    return message(Reason.COMPLAINT, where=one.where, found=one.found, remedy=one.remedy)


@dataclass(frozen=True, slots=True)
class Signal:
    """One point of a control chart that calls for a look, and what made it.

    Args:
        item: number of the plotted point, from 0, in the order handed in; it leads back to the reel or length.
        value: what was plotted there.
        limit: the limit it went beyond.
        side: 'above' or 'below'.
        rule: the rule that signalled.
        since: first point that took part in the signal; a CUSUM's or a run's estimate of when it began.
    """

    item: int
    value: float
    limit: float
    side: Literal["above", "below"]
    rule: Message
    since: int


@dataclass(frozen=True, slots=True)
class Chart:
    """A control chart: what is plotted, its limits, what they cost in false alarms, and its signals.

    Args:
        question: what was asked: the quantity, and of what.
        method: the chart by its standard name, with its source.
        phase: 'I' while the limits come from these points, 'II' while they are fixed beforehand.
        plotted: the plotted statistic, one for each item; not-a-number where an item had no value.
        centre: centre line at each item.
        lower: lower limit at each item; minus infinity where there is none.
        upper: upper limit at each item; plus infinity where there is none.
        unit: unit of what is plotted, "" for a pure number.
        signals: the points that call for a look.
        arl0: points from one false alarm to the next on average while nothing changes; None if not computed.
        unit_of_inference: what one plotted point is about.
        assumptions: what was assumed and whether it held.
        warnings: what a reader must see beside the chart.
        details: further figures by name.
    """

    question: Asked
    method: Message
    phase: Literal["I", "II"]
    plotted: NDArray[np.float64]
    centre: NDArray[np.float64]
    lower: NDArray[np.float64]
    upper: NDArray[np.float64]
    unit: str
    signals: tuple[Signal, ...]
    arl0: float | None
    unit_of_inference: UnitOfInference
    assumptions: tuple[Assumption, ...] = ()
    warnings: tuple[Message, ...] = ()
    details: Mapping[str, float] = field(default_factory=dict)


def standing(answer: Result | Refused) -> Result | Refused:
    """The answer; a refusal instead where an assumption was checked, failed, and changed nothing in the figure.

    Args:
        answer: what a method gave.
    """
    if isinstance(answer, Refused):
        return answer
    failed = next((one for one in answer.assumptions if one.withdraws), None)
    if failed is None:
        return answer
    reason = message(Reason.ASSUMPTION_FAILED, assumed=failed.name, evidence=failed.evidence)
    return Refused(answer.question, answer.method, reason, answer.n)


def asking(answer: Result | Refused, question: Asked) -> Result | Refused:
    """The same answer to what a step asked of a method; an index keeps its symbol.

    Args:
        answer: what the method gave.
        question: what the step asked.
    """
    return replace(answer, question=question.with_symbol_of(answer.question))

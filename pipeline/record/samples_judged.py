"""One laboratory sample against the limits in force, and what is said of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from pipeline.messages import Measure, Message, message
from pipeline.nonconformance.decision import ROUNDING, DecisionRule, Verdict, decide
from pipeline.record.samples_on_file import told_as
from pipeline.trust.sampled import SAMPLED, SampledQuantity
from pipeline.why import SampleSays

Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class AgainstLimit:
    """A sample against one limit.

    Args:
        requirement_set: whose limit it is.
        is_below: whether the value is on the wrong side of the limit.
        conforms: whether the plant's rule lets it be said that the limit is met.
        told: why not, None where it conforms.
    """

    requirement_set: str
    is_below: bool
    conforms: bool
    told: Message | None


@dataclass(frozen=True, slots=True)
class AgainstLine:
    """A sample against the line's reading of the same wire.

    Args:
        line: the line's reading, averaged over the wire around the sample [unit of the sample].
        sd: its standard uncertainty, with the spread of the readings there.
        e_n: normalized difference, 0 within the bounds of what is only bounded; above 1 in size they contradict.
    """

    line: float
    sd: float
    e_n: float

    @property
    def contradicts(self) -> bool:
        """Whether they differ by more than their uncertainties."""
        return abs(self.e_n) > 1.0


@dataclass(frozen=True, slots=True)
class JudgedSample:
    """A sample on file and what it says.

    Args:
        sample_id: its number.
        reel_id: the reel it was cut from.
        from_outer_m: place from the reel's outer end [m].
        quantity: what was measured.
        value: the result [unit of the quantity].
        uncertainty: its standard uncertainty; None where the laboratory gives none.
        measured_by: role of whoever measured.
        instrument: the laboratory's instrument, "" where none is named.
        entry_no: the journal entry that keeps it.
        limits: it against each limit in force on its requirement.
        line: it against the line's reading, None where there is none.
        withdrawn: who withdrew it and why; None for a sample that judges.
    """

    sample_id: str
    reel_id: str
    from_outer_m: float
    quantity: SampledQuantity
    value: float
    uncertainty: float | None
    measured_by: str
    instrument: str
    entry_no: int
    limits: tuple[AgainstLimit, ...]
    line: AgainstLine | None
    withdrawn: Message | None = None

    @property
    def is_below(self) -> bool:
        """Whether it is on the wrong side of a limit."""
        return any(one.is_below for one in self.limits)

    @property
    def verdict(self) -> str:
        """What is said of it in a few words."""
        if self.withdrawn:
            return "withdrawn"
        if not self.limits:
            return "no limit on file"
        if self.is_below:
            return "does not conform"
        if all(one.conforms for one in self.limits):
            return "conforms"
        return "indeterminate" if self.uncertainty is not None else "not judged"


def judged_sample(
    row: Row, limits: Iterable[Row], rule: DecisionRule, line: AgainstLine | None = None
) -> JudgedSample:
    """A sample on file against the limits on its requirement.

    Args:
        row: a row of ``journal.sample``.
        limits: rows of ``judged.limit``; those of other requirements are left out.
        rule: the plant's decision rule for the requirement.
        line: it against the line's reading.
    """
    quantity = SAMPLED[row["quantity"]]
    held = tuple(
        against_limit(row, one, rule) for one in limits if one["requirement"] == quantity.requirement
    )
    return JudgedSample(
        row["sample_id"],
        row["reel_id"],
        row["from_outer_m"],
        quantity,
        row["value"],
        row["uncertainty"],
        row["measured_by"],
        row["instrument"],
        row["entry_no"],
        held,
        line,
    )


def against_limit(row: Row, limit: Row, rule: DecisionRule) -> AgainstLimit:
    """A sample against one limit, by the plant's rule and the sample's own uncertainty.

    A value on the wrong side of the limit is below it whatever its uncertainty; one on the right side conforms only
    where the rule says so, and by a guard band never without an uncertainty.

    Args:
        row: a row of ``journal.sample``.
        limit: a row of ``judged.limit``.
        rule: the plant's decision rule.
    """
    quantity = SAMPLED[row["quantity"]]
    value, u, at = row["value"], row["uncertainty"], limit["value"]
    sign = -1.0 if limit["sense"] == "at most" else 1.0
    is_below = sign * (value - at) < -ROUNDING * max(1.0, abs(at))
    told = {
        "sample": told_as(row),
        "quantity": quantity.told,
        "value": Measure(value, quantity.unit),
        "sense": limit["sense"],
        "limit": Measure(at, quantity.unit),
        "requirement_set": limit["requirement_set"],
    }
    if is_below:
        return AgainstLimit(limit["requirement_set"], True, False, message(SampleSays.BELOW, **told))
    if u is None and rule.kind == "guard band":
        why = message(SampleSays.WITHOUT_UNCERTAINTY, **told)
        return AgainstLimit(limit["requirement_set"], False, False, why)
    decided = decide(value, u or 0.0, at, "at most" if sign < 0 else "at least", rule)
    if decided.verdict is Verdict.CONFORMS:
        return AgainstLimit(limit["requirement_set"], False, True, None)
    return AgainstLimit(limit["requirement_set"], False, False, message(SampleSays.TOO_NEAR, **told))

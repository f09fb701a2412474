"""What likely caused a finding: a roll, start-up, a gauge, a change of material, or drift?

A cause is a pointer for the process engineer, never a verdict: the finding stands whatever caused it. The
order in which causes are tried, most specific first, is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from pipeline.found import Because
from pipeline.messages import Measure, Message, message
from pipeline.nonconformance.decision import Sense
from pipeline.nonconformance.failing_lengths import Floats
from pipeline.nonconformance.finding import NOT_KNOWN, Cause, Finding

SPARK_FAULT = "spark-fault"
FEWEST_MEMBERS = 3


@dataclass(frozen=True, slots=True)
class Stretch:
    """A length of wire about which something is known.

    Args:
        from_m: its start [m].
        to_m: its end [m].
        name: which phase, instrument or change of lot it was: ``stop``, ``lot C7 to lot C8``; "" for a drift.
        told: what is said of a drift or contradiction.
    """

    from_m: float
    to_m: float
    name: str
    told: Message | None = None


@dataclass(frozen=True, slots=True)
class Repeat:
    """A spacing that was found to repeat, and what turns with it.

    Args:
        period_m: the spacing [m].
        element: the element of the line with that circumference, or the candidates.
        members: place of each spark fault that belongs to it [m], and the probability that it does.
    """

    period_m: float
    element: str
    members: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What else is known of the run.

    Args:
        unsteady: start-ups, stops, ramps, as lengths made at the die.
        disagreements: lengths over which the instruments contradict each other.
        changes: lengths over which one material lot gave way to the next.
        repeats: spacings that statistics found to repeat.
        drifts: lengths on which the mean moved steadily towards the limit, per family.
        lone_spikes: rows flagged as spikes.
    """

    unsteady: tuple[Stretch, ...] = ()
    disagreements: tuple[Stretch, ...] = ()
    changes: tuple[Stretch, ...] = ()
    repeats: tuple[Repeat, ...] = ()
    drifts: tuple[Stretch, ...] = ()
    lone_spikes: frozenset[int] = field(default_factory=frozenset)


def _meeting(finding: Finding, stretches: Sequence[Stretch]) -> Stretch | None:
    """The stretch that shares most wire with the finding, if they meet at all."""
    shared = [
        (min(finding.to_m, one.to_m) - max(finding.from_m, one.from_m), -one.from_m, place)
        for place, one in enumerate(stretches)
    ]
    best = max(shared, default=None)
    return stretches[best[2]] if best is not None and best[0] >= 0.0 else None


def _repeat(finding: Finding, repeats: Sequence[Repeat]) -> Cause | None:
    """The repeat that a spark fault belongs to; other findings, and faults out of phase, belong to none."""
    if any(one.rule_id != SPARK_FAULT for one in finding.sightings):
        return None
    for one in repeats:
        here = [sure for at, sure in one.members if finding.from_m <= at <= finding.to_m]
        if here and len(one.members) >= FEWEST_MEMBERS:
            told = message(
                Because.REPEATS,
                n=len(one.members),
                period=Measure(one.period_m, "m"),
                element=one.element,
                probability=max(here),
            )
            return Cause("roll", told, one.element)
    return None


def likely_cause(finding: Finding, known: Circumstances) -> Cause:
    """The likely cause of one finding from what else is known of the run.

    Args:
        finding: the finding.
        known: the circumstances.

    Returns:
        the first that applies of: instruments that contradict each other, a repeating spacing, a spike that
        one instrument alone saw, an unsteady line, a change of material, drift; else ``not known``.
    """
    if (stretch := _meeting(finding, known.disagreements)) is not None:
        return Cause("gauge", message(Because.CONTRADICTED, agreement=stretch.told), stretch.name)
    if (repeat := _repeat(finding, known.repeats)) is not None:
        return repeat
    rows = {one.row for one in finding.sightings}
    if (
        len(finding.instruments) == 1
        and rows <= known.lone_spikes
        and sum(one.readings for one in finding.sightings) == len(finding.sightings)
    ):
        return Cause(
            "gauge",
            message(Because.LONE_READING, instrument=finding.instruments[0]),
            finding.instruments[0],
        )
    if (stretch := _meeting(finding, known.unsteady)) is not None:
        return Cause("start-up", message(Because.UNSTEADY, phase=stretch.name), stretch.name)
    if (stretch := _meeting(finding, known.changes)) is not None:
        return Cause("material", message(Because.MATERIAL_CHANGED, change=stretch.name), stretch.name)
    if (stretch := _meeting(finding, known.drifts)) is not None and stretch.told is not None:
        return Cause("drift", stretch.told)
    return NOT_KNOWN


def with_causes(findings: Sequence[Finding], known: Circumstances) -> tuple[Finding, ...]:
    """The findings with their likely causes."""
    return tuple(replace(finding, cause=likely_cause(finding, known)) for finding in findings)


def drift_before(
    at_m: Floats,
    value: Floats,
    finding: Finding,
    sense: Sense,
    *,
    unit: str,
    back_m: float,
    blocks: int = 12,
) -> Stretch | None:
    """Whether the mean moved steadily towards the limit over the wire before a finding.

    The wire before is cut into blocks; Kendall's rank correlation of the block means with position is tested
    one-sided at 1 %, and the fitted move over the whole length must exceed the scatter of the block means
    about it.

    Args:
        at_m: position of each reading, in the order of the wire [m].
        value: the readings [any unit].
        finding: the finding that the trend may lead to.
        sense: sense of its limit.
        unit: unit of the readings.
        back_m: length looked at before the finding [m].
        blocks: number of blocks; 12 is our choice.

    Returns:
        the length with what is said of the trend, or None.

    Source: M.G. Kendall (1938), A new measure of rank correlation, Biometrika 30, 81 (from memory).
    """
    from scipy.stats import kendalltau  # here, so that naming the other causes does not wait for it

    start = finding.from_m - back_m
    inside = (at_m >= start) & (at_m < finding.from_m) & np.isfinite(value)
    if inside.sum() < 3 * blocks:
        return None
    block = np.minimum(((at_m[inside] - start) / back_m * blocks).astype(np.int64), blocks - 1)
    count = np.bincount(block, minlength=blocks)
    if np.any(count == 0):
        return None
    means = np.bincount(block, weights=value[inside], minlength=blocks) / count
    middle = start + (np.arange(blocks) + 0.5) * back_m / blocks
    tau = kendalltau(middle, means, alternative="less" if sense == "at least" else "greater")
    slope, intercept = np.polyfit(middle, means, 1)
    scatter = float(np.std(means - (slope * middle + intercept), ddof=2))
    if not tau.pvalue < 0.01 or abs(slope) * back_m <= scatter:
        return None
    told = message(Because.DRIFT, moved=Measure(slope * back_m, unit), back=Measure(back_m, "m"))
    return Stretch(start, finding.from_m, "", told)

"""Does a measured value conform to its limit, given its uncertainty, and how likely is the answer wrong?

Source: JCGM 106:2012, Evaluation of measurement data: the role of measurement uncertainty in conformity
assessment (clause numbers from memory); ISO 14253-1 for the default of 95 % (secondary text).

Which way does a limit hold, and when does a reading stand on it?
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum
from statistics import NormalDist
from typing import Literal

from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import Message, message
from pipeline.samples import not_negative
from pipeline.why import Why

Sense = Literal["at least", "at most"]
# Readings this close to a limit count as standing on it: what is left over from converting mil to mm.
ROUNDING = 1e-9


RuleKind = Literal["simple acceptance", "guard band"]


class Verdict(StrEnum):
    """What is said of a value against a limit."""

    CONFORMS = "conforms"
    DOES_NOT_CONFORM = "does not conform"
    CANNOT_BE_TOLD = "cannot be told"


@dataclass(frozen=True, slots=True)
class DecisionRule:
    """How a plant decides with uncertain values; printed on every record.

    Args:
        kind: ``guard band``, the default, wants conformity shown, and nonconformity shown, with `confidence`
            (JCGM 106, 8.3; ISO 14253-1, whose default it is); ``simple acceptance`` compares the value itself
            (JCGM 106, 8.2), where a plant writes it down.
        confidence: probability asked for by the guard band; 0.95 is the default of ISO 14253-1.
    """

    kind: RuleKind = "guard band"
    confidence: float = 0.95

    def __post_init__(self) -> None:
        if not 0.5 <= self.confidence < 1.0:
            raise MethodRefusal(
                Complaint(
                    "decision rule",
                    f"a confidence of {self.confidence:g}",
                    "Give a probability of at least 0.5 and below 1, for example 0.95",
                )
            )

    def guard(self, u: float) -> float:
        """Width of the guard band for standard uncertainty `u` [unit of the value]: z u, or 0."""
        return 0.0 if self.kind == "simple acceptance" else guard_band(u, self.confidence)

    def enter_guard(self, u: float) -> float:
        """The guard at which a reading starts a finding: as soon as it is not shown to conform."""
        return -self.guard(u) if self.kind == "guard band" else 0.0

    @property
    def told(self) -> Message:
        """The rule, to be said."""
        if self.kind == "simple acceptance":
            return message(Why.SIMPLE_ACCEPTANCE)
        return message(Why.GUARD_BAND, confidence=self.confidence)


@dataclass(frozen=True, slots=True)
class Decision:
    """A value judged.

    Args:
        verdict: what is said.
        conformance_probability: probability that the true value conforms, flat prior.
        acceptance_limit: the value from which on it is said to conform.
        rejection_limit: the value beyond which it is said not to conform.
        risk: probability that what is said is wrong; None where nothing is said.
    """

    verdict: Verdict
    conformance_probability: float
    acceptance_limit: float
    rejection_limit: float
    risk: float | None


def _phi(z: float) -> float:
    """Standard normal distribution function, accurate in both tails."""
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def guard_band(u: float, confidence: float = 0.95) -> float:
    """Width of a one-sided guard band, w = z u with z = Phi^-1(confidence).

    Args:
        u: standard uncertainty [unit of the value].
        confidence: conformance probability wanted at the acceptance limit.

    Source: JCGM 106:2012, 8.3; ISO 14253-1 (1.65 u at 95 %).
    """
    not_negative(u, "standard uncertainty")
    return NormalDist().inv_cdf(confidence) * u


def conformance_probability(
    value: float, u: float, *, lower: float | None = None, upper: float | None = None
) -> float:
    """Probability that the true value lies within the limits, p = Phi((U - y)/u) - Phi((L - y)/u).

    Args:
        value: measured value y [any unit].
        u: its standard uncertainty [same unit].
        lower: lower limit L, None for none.
        upper: upper limit U, None for none.

    Flat prior, normal errors. Not for a value picked as the worst of many: it is then too low (too high).

    Source: JCGM 106:2012, 7.3 and 7.4.
    """
    not_negative(u, "standard uncertainty")
    if u == 0.0:
        inside = (lower is None or value >= lower - ROUNDING) and (upper is None or value <= upper + ROUNDING)
        return 1.0 if inside else 0.0
    above = 1.0 if lower is None else _phi((value - lower) / u)
    beyond = 0.0 if upper is None else _phi((value - upper) / u)
    return max(above - beyond, 0.0)


def decide(value: float, u: float, limit: float, sense: Sense, rule: DecisionRule) -> Decision:
    """The verdict on one value against one limit under the plant's rule.

    Args:
        value: measured value [any unit]; NaN where there is none.
        u: its standard uncertainty [same unit].
        limit: the limit [same unit].
        sense: ``at least`` or ``at most``.
        rule: the plant's rule for this requirement.
    """
    sign = 1.0 if sense == "at least" else -1.0
    guard = rule.guard(u)
    accept, reject = limit + sign * guard, limit - sign * guard
    if value != value:
        return Decision(Verdict.CANNOT_BE_TOLD, float("nan"), accept, reject, None)
    probability = (
        conformance_probability(value, u, lower=limit)
        if sense == "at least"
        else conformance_probability(value, u, upper=limit)
    )
    eps = ROUNDING * max(1.0, abs(limit))
    if sign * (value - accept) >= -eps:
        return Decision(Verdict.CONFORMS, probability, accept, reject, 1.0 - probability)
    if rule.kind == "simple acceptance" or sign * (value - reject) <= eps:
        return Decision(Verdict.DOES_NOT_CONFORM, probability, accept, reject, probability)
    return Decision(Verdict.CANNOT_BE_TOLD, probability, accept, reject, None)


def decide_bounded(
    worst: float, best: float, u: float, limit: float, sense: Sense, rule: DecisionRule
) -> Decision:
    """The verdict on a value that is only known to lie between two bounds, under the plant's rule.

    It conforms only if the worse bound does, and fails for certain only if the better bound does; between them
    nothing is said, whatever the rule: a rule decides about uncertainty, and a bound is not one. The probability
    is that of the worse bound, so it is a lower bound.

    Args:
        worst: worse bound for this sense of limit [any unit].
        best: better bound [same unit]; equal to `worst` where the value itself was measured.
        u: standard uncertainty of either bound [same unit].
        limit: the limit [same unit].
        sense: ``at least`` or ``at most``.
        rule: the plant's rule for this requirement.

    Source: derived; acceptance and rejection as in JCGM 106:2012, clause 8.
    """
    found = decide(worst, u, limit, sense, rule)
    if found.verdict is not Verdict.DOES_NOT_CONFORM or best == worst:
        return found
    if decide(best, u, limit, sense, rule).verdict is Verdict.DOES_NOT_CONFORM:
        return found
    return replace(found, verdict=Verdict.CANNOT_BE_TOLD, risk=None)


def process_posterior(value: float, u: float, process_mean: float, process_sd: float) -> tuple[float, float]:
    """Mean and standard deviation of the true value when the process is known: w y + (1 - w) m0.

    w = s0^2/(s0^2 + u^2); sd = sqrt(w) u. Never for a flagged reading: the flag says the process changed.

    Args:
        value: measured value y.
        u: its standard uncertainty.
        process_mean: mean of the process m0.
        process_sd: standard deviation of the process s0, gauge noise taken out.

    Source: JCGM 106:2012, annex A (normal prior).
    """
    not_negative(u, "standard uncertainty")
    if process_sd <= 0.0 or u == 0.0:
        return (value, 0.0) if u == 0.0 else (process_mean, 0.0)
    weight = process_sd**2 / (process_sd**2 + u**2)
    return weight * value + (1.0 - weight) * process_mean, weight**0.5 * u


def global_risks(
    process_mean: float, process_sd: float, u: float, limit: float, sense: Sense, guard: float
) -> tuple[float, float]:
    """Consumer's and producer's risk of an acceptance limit for a process: share accepted though bad, and
    rejected though good.

    Args:
        process_mean: mean of the true values [any unit].
        process_sd: their standard deviation [same unit].
        u: standard uncertainty of a measurement [same unit].
        limit: the limit [same unit].
        sense: ``at least`` or ``at most``.
        guard: guard band inside the limit [same unit]; 0 is simple acceptance.

    Returns:
        (consumer's risk, producer's risk), shares of all items.

    Source: JCGM 106:2012, 9.5.
    """
    not_negative(u, "standard uncertainty")
    if not (process_sd > 0.0 and u > 0.0):
        raise MethodRefusal(
            Complaint(
                "global risks",
                f"a process standard deviation of {process_sd:g} and a standard uncertainty of {u:g}",
                "Give both above 0",
            )
        )
    from scipy.integrate import quad  # here, so that judging a reading does not wait for it

    # Turned so that the limit is at zero and good is positive; x is the true value, x + error the measured.
    mean = (process_mean - limit) if sense == "at least" else (limit - process_mean)

    def accepted_though_bad(x: float) -> float:
        return _density(x, mean, process_sd) * _phi((x - guard) / u)

    def rejected_though_good(x: float) -> float:
        return _density(x, mean, process_sd) * _phi((guard - x) / u)

    reach = abs(mean) + 12.0 * process_sd
    consumer = quad(accepted_though_bad, -reach, 0.0, points=[-u], limit=200)[0]
    producer = quad(rejected_though_good, 0.0, reach, points=[u], limit=200)[0]
    return float(consumer), float(producer)


def _density(x: float, mean: float, sd: float) -> float:
    return math.exp(-0.5 * ((x - mean) / sd) ** 2) / (sd * math.sqrt(2.0 * math.pi))


def false_events_per_km(margin: float, u: float, readings_per_m: float, consecutive: int = 1) -> float:
    """Findings that noise alone makes on good wire: 1000 n Phi(-margin/u)^k per km.

    Args:
        margin: distance of the true wall from the limit [unit of u].
        u: standard deviation of the gauge's noise.
        readings_per_m: readings per metre [1/m].
        consecutive: readings in a row that a finding needs.

    Independent noise only; correlated noise gives more runs than the power says.
    """
    not_negative(u, "standard uncertainty")
    single = _phi(-margin / u) if u > 0.0 else float(margin < 0.0)
    return 1000.0 * readings_per_m * single**consecutive

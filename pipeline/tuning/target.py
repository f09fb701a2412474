"""How far can the mean wall come down before a requirement fails more often than accepted, and which one?

For each rule the mean wall is sought at which the accepted risk is just met: a cut sample's average by the
spread of section averages, the thinnest point of a reel by the tail under its own level, mixed over reels. The
target is the greatest of them. Sources: Coles (2001) for the tail; the mixing over reels and the way rules are put
on the mean wall are derived in `within_reel_tail` and `requirement_rules`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy import special

from pipeline.assumed import Assumed
from pipeline.found import together
from pipeline.messages import Message, message, um
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.products.limits import Limit
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result
from pipeline.statistics.against_record import Observed, contradiction
from pipeline.tuned import Tuned
from pipeline.tuning.needed_mean import Need, Unknowns, needed_mean
from pipeline.tuning.reel_wall import ReelWall, levels_of
from pipeline.tuning.requirement_rules import AVERAGE, CONCENTRICITY, POINT, WallRequirement, rules_of
from pipeline.tuning.within_reel_tail import block_cuts

FEWEST_REELS = 3
FEW_REELS = 30
FEW_RUNS = 5  # fewer tell little of how runs differ (chosen here)
QUESTION = asks(Quantity.TARGET_WALL)
METHOD = message(Method.TAIL_MIXED_OVER_REELS)


@dataclass(frozen=True, slots=True)
class Risks:
    """How often a requirement may fail; chosen here unless the plant says otherwise.

    Args:
        cut_sample: accepted share of cut samples whose average is under the limit.
        reel: accepted share of reels with a point under the minimum at any point.
        plant_rule: accepted share of reels that break a rule of the plant itself (concentricity, diameter).
    """

    cut_sample: float = 0.001
    reel: float = 0.001
    plant_rule: float = 0.01

    def of(self, rule: WallRequirement) -> float:
        """The accepted risk of a rule."""
        if rule.unit_at_risk == "cut sample":
            return self.cut_sample
        return self.reel if rule.requirement == POINT else self.plant_rule


@dataclass(frozen=True, slots=True)
class RuleTarget:
    """What one rule asks of the mean wall.

    Args:
        rule: the requirement.
        limit: the limit with its document.
        bound: 'lower', or 'upper' for a rule that forbids a thicker wall.
        risk: accepted share of cut samples or reels.
        unit_at_risk: 'cut sample' or 'reel'.
        needed: mean wall it asks for [mm], with its interval.
        chance_now: share that fails at today's mean wall.
        mean_to_series_mm: mean wall less the level of what the rule looks at: what offset and lobes take [mm].
        observed: the reels on file found bad by it; None where none are counted.
    """

    rule: str
    limit: Message
    bound: str
    risk: float
    unit_at_risk: str
    needed: Result
    chance_now: float
    mean_to_series_mm: float
    observed: Message | None = None


@dataclass(frozen=True, slots=True)
class Target:
    """The smallest mean wall, and what stands on it.

    Args:
        result: the target [mm] with its interval; the unit of inference is the reel.
        binding: requirement that keeps the wall from coming down.
        rules: every rule.
        today: mean wall now [mm], with its interval.
        overwall: mean wall now less target [mm], with its interval; negative where today's wall is too thin.
        advised_mm: target to set: the upper end of the interval, since too thin is worse than too thick [mm].
        ceiling_mm: greatest mean wall a rule allows; None where none does [mm].
        reels: reels used.
        runs: runs used.
        warnings: what to read beside it.
        needs: what each rule stands on, for further questions (what-if, loss).
    """

    result: Result
    binding: str
    rules: tuple[RuleTarget, ...]
    today: Result
    overwall: Result
    advised_mm: float
    ceiling_mm: float | None
    reels: int
    runs: int
    warnings: tuple[Message, ...]
    needs: tuple[Need, ...] = field(default=(), repr=False)


def smallest_target(
    reels: Sequence[ReelWall],
    limits: Sequence[Limit],
    risks: Risks | None = None,
    unknowns: Unknowns | None = None,
    *,
    sensors: int = 1,
    reel_m: float | None = None,
    draws: int = 400,
    seed: int = 1,
    confidence: float = 0.95,
) -> Target | Refused:
    """Smallest mean wall for which every requirement holds at the accepted risk, from the line's own variation.

    Args:
        reels: reels of one product, as of `reel_wall.reel_walls`.
        limits: limits in force for it.
        risks: accepted risks; the defaults of `Risks`.
        unknowns: what the gauge adds, hides or leaves open; nothing where left out.
        sensors: wall sensors.
        reel_m: length of the reel the risk is about [m]; the median of the reels where left out.
        draws: bootstrap draws.
        seed: of the random numbers.
        confidence: of the interval.

    Returns:
        A `Target`, or a `Refused` for fewer than three reels, no limit, or a tail that cannot be followed.

    It stops being true where a new target changes the spread, where wire that was left out comes back, and
    beyond what the reels on hand can show: 60 km cannot demonstrate one bad reel in a thousand.
    """
    accepted, open_to = risks or Risks(), unknowns or Unknowns()
    if len(reels) < FEWEST_REELS:
        reason = message(Reason.TOO_FEW_REELS_WITH_STEADY_WIRE, reels=len(reels), fewest_reels=FEWEST_REELS)
        return Refused(QUESTION, METHOD, reason, len(reels))
    rules, told = rules_of(reels, limits, open_to.noise_mm or 0.0, sensors)
    if not any(one.bound == "lower" for one in rules):
        return Refused(QUESTION, METHOD, message(Reason.NO_LIMIT_FROM_BELOW), len(reels))
    length = reel_m if reel_m is not None else float(np.median([one.length_m for one in reels]))
    cuts = block_cuts([one.mean_mm for one in reels])
    needs: list[Need] = []
    for rule in rules:
        need = needed_mean(rule, reels, accepted.of(rule), open_to, length, cuts, draws, seed)
        if isinstance(need, Message):
            if rule.requirement == POINT:
                return Refused(QUESTION, METHOD, need, len(reels))
            told = (*told, need)
            continue
        needs.append(need)
    if not any(one.rule.bound == "lower" for one in needs):
        return Refused(QUESTION, METHOD, together(*told), len(reels))
    return _target(tuple(needs), reels, accepted, open_to, length, told, confidence)


def _target(
    needs: tuple[Need, ...],
    reels: Sequence[ReelWall],
    risks: Risks,
    unknowns: Unknowns,
    reel_m: float,
    told: tuple[Message, ...],
    confidence: float,
) -> Target:
    lower = [one for one in needs if one.rule.bound == "lower"]
    estimate = max(one.estimate for one in lower)
    best = np.max([one.draws for one in lower], axis=0)
    worst_open = np.max([one.draws + one.open_mm for one in lower], axis=0)
    least_open = np.max([one.draws - one.open_mm - one.open_below_mm for one in lower], axis=0)
    binding = max(lower, key=lambda one: one.estimate).rule.requirement
    tail = 0.5 * (1.0 - confidence)
    low, high = float(np.quantile(least_open, tail)), float(np.quantile(worst_open, 1.0 - tail))
    known = float(sum(one.known_m for one in reels))
    level = levels_of([float(one.mean_mm.mean()) for one in reels], [one.run_id for one in reels])
    t = float(special.stdtrit(max(level.freedom, 1.0), 1.0 - tail))
    spread = np.hypot(t * level.mean_sd, unknowns.level_mm * float(special.ndtri(1.0 - tail)))
    result = Result(
        question=QUESTION,
        estimate=estimate,
        low=min(low, estimate),
        high=max(high, estimate),
        confidence=confidence,
        unit="mm",
        method=METHOD,
        n=len(reels),
        effective_n=None,
        known_m=known,
        unit_of_inference="reel",
        assumptions=_assumptions(needs, unknowns),
        details={"reel_m": reel_m, "draws": float(best.size), "median_of_draws_mm": float(np.median(best))},
    )
    today = replace(
        result,
        question=asks(Quantity.MEAN_WALL),
        estimate=level.mean,
        low=level.mean - float(spread),
        high=level.mean + float(spread),
        details={},
    )
    over = float(np.hypot(spread, max(result.high - estimate, 0.0)))
    under = float(np.hypot(spread, max(estimate - result.low, 0.0)))
    overwall = replace(
        today,
        question=asks(Quantity.EXCESS_WALL),
        estimate=level.mean - estimate,
        low=level.mean - estimate - over,
        high=level.mean - estimate + under,
    )
    ceilings = [one.estimate for one in needs if one.rule.bound == "upper"]
    ceiling = min(ceilings) if ceilings else None
    rules = tuple(_rule_target(one, today, tail) for one in needs)
    return Target(
        result,
        binding,
        rules,
        today,
        overwall,
        result.high,
        ceiling,
        level.reels,
        len({one.run_id for one in reels}),
        (*told, *_warnings(result, overwall, ceiling, reels, risks, unknowns, needs)),
        needs,
    )


def _assumptions(needs: tuple[Need, ...], unknowns: Unknowns) -> tuple[Assumption, ...]:
    ends = all(one.shape <= 0.0 for one in needs)
    return (
        Assumption(message(Assumed.SPREAD_STAYS), None, message(Note.LOOK_AGAIN_AFTER_THE_CHANGE)),
        Assumption(message(Assumed.GAUGE_NOISE_KNOWN), unknowns.noise_mm is not None, _noise_told(unknowns)),
        Assumption(
            message(Assumed.SHORT_VARIATION_KNOWN),
            unknowns.small_scale_mm is not None,
            message(Tuned.CUT_SLICES),
        ),
        Assumption(message(Assumed.TAIL_HAS_AN_END), ends, message(Tuned.FITTED_SHAPES)),
    )


def _noise_told(unknowns: Unknowns) -> Message:
    if unknowns.noise_mm is None:
        return message(Tuned.NOISE_LEFT_IN)
    return message(Tuned.NOISE_TAKEN_OFF, noise=um(unknowns.noise_mm))


def _rule_target(need: Need, base: Result, tail: float) -> RuleTarget:
    low = float(np.quantile(need.draws - need.open_mm - need.open_below_mm, tail))
    high = float(np.quantile(need.draws + need.open_mm, 1.0 - tail))
    needed = replace(
        base,
        question=asks(Quantity.REQUIRED_MEAN_WALL, need.rule.requirement, requirement=need.rule.requirement),
        estimate=need.estimate,
        low=min(low, need.estimate),
        high=max(high, need.estimate),
    )
    return RuleTarget(
        need.rule.requirement,
        need.rule.limit,
        need.rule.bound,
        need.risk,
        need.rule.unit_at_risk,
        needed,
        need.chance_now,
        need.cost_mm,
    )


def _warnings(
    result: Result,
    overwall: Result,
    ceiling: float | None,
    reels: Sequence[ReelWall],
    risks: Risks,
    unknowns: Unknowns,
    needs: tuple[Need, ...],
) -> tuple[Message, ...]:
    told = []
    runs = len({one.run_id for one in reels})
    if runs == 1:
        told.append(message(Tuned.ONE_RUN))
    elif runs < FEW_RUNS:
        told.append(message(Tuned.FEW_RUNS, runs=runs, enough=FEW_RUNS))
    if len(reels) < FEW_REELS:
        bound = 100.0 * (1.0 - 0.05 ** (1.0 / len(reels)))
        risk = min(risks.reel, risks.cut_sample)
        told.append(message(Tuned.FEW_REELS, reels=len(reels), risk=risk, bound=bound))
    if unknowns.small_scale_mm is None:
        told.append(message(Tuned.NO_SMALL_SCALE))
    if any(one.shape > 0.0 for one in needs):
        told.append(message(Tuned.ENDLESS_TAIL))
    if any(one.open_mm > 0.0 for one in needs):
        told.append(message(Tuned.COVERING_BOUNDS))
    if ceiling is not None and ceiling < result.estimate:
        told.append(message(Tuned.CEILING_BELOW, ceiling=um(ceiling), needed=um(result.estimate)))
    if overwall.low < 0.0 < overwall.high:
        told.append(message(Tuned.WITHIN_DOUBT))
    told.append(message(Tuned.TARGET_CAUTION))
    return tuple(told)


def failed_reels(observed: Mapping[tuple[str, float], Observed]) -> Observed | None:
    """The record of the wall's requirement by which most reels on file were found bad; None where none was.

    Beside such reels no less wall is advised, whatever the target.

    Args:
        observed: reels on file found bad, by requirement and limit.
    """
    of_wall = [
        one for (requirement, _), one in observed.items() if requirement in (AVERAGE, POINT, CONCENTRICITY)
    ]
    worst = max(of_wall, key=lambda one: one.bad, default=None)
    return worst if worst is not None and worst.bad > 0 else None


def borne_out(target: Target | Refused, observed: Mapping[tuple[str, float], Observed]) -> Target | Refused:
    """The target, refused where the reels on file contradict the share of bad reels that it says today's wall has.

    Args:
        target: the target.
        observed: reels on file found bad, by requirement and limit.
    """
    if isinstance(target, Refused):
        return target
    rules = []
    for rule in target.rules:
        # The rules hold the hardest limit of each requirement, by which most reels are found bad.
        records = [
            one for (requirement, _), one in observed.items() if requirement == rule.rule and one.reels
        ]
        if rule.unit_at_risk != "reel" or not records:
            rules.append(rule)
            continue
        record = max(records, key=lambda one: one.bad)
        why = contradiction(record, rule.chance_now)
        if why is not None:
            return Refused(
                target.result.question,
                target.result.method,
                message(Tuned.CONTRADICTED, limit=rule.limit, why=why),
                target.reels,
            )
        rules.append(replace(rule, observed=record.told))
    return replace(target, rules=tuple(rules))

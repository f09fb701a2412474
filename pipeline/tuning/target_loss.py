"""Which target costs least on this line: plastic on every reel against a failed reel now and then.

The accepted risk of `target` is a rule; this asks what the plant's own prices say, over all that the line's
variation may be. It is shown beside the target and never takes its place: a limit is not for sale.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.messages import Message, message
from pipeline.methods import Method
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused
from pipeline.tuned import Tuned
from pipeline.tuning.giveaway import Price, giveaway
from pipeline.tuning.loss import LeastLoss, least_loss_target, optimum_per_item
from pipeline.tuning.needed_mean import Need
from pipeline.tuning.requirement_rules import AVERAGE, POINT
from pipeline.tuning.target import Target

Floats = NDArray[np.float64]

_POINTS = 61


@dataclass(frozen=True, slots=True)
class TargetLoss:
    """The target that costs least.

    Args:
        least: the optimum over what the line's variation may be.
        cost_per_um: cost of one micrometre more wall on one reel.
        failed_reel: cost of one failed reel.
        currency: of both.
        if_known_mm: the optimum if the variation were known exactly as estimated [mm]; it lies lower.
        per_reading_mm: what one would get by taking the reading for what is lost [mm]: too thin, shown to be
            recognised.
        warnings: what to read beside it.
    """

    least: LeastLoss
    cost_per_um: float
    failed_reel: float
    currency: str
    if_known_mm: float
    per_reading_mm: float
    warnings: tuple[Message, ...]


def target_loss(target: Target, price: Price, conductor_mm: float) -> TargetLoss | Refused:
    """Mean wall at which plastic and failed reels together cost least, the reel as the unit.

    c_m t + c_f E[P(reel fails at t)], the mean over the bootstrap draws of the target; c_m = dm/dt x price x reel,
    a covering that shrinks with it counted.

    Args:
        target: the target, with what it stands on.
        price: density, price of the compound, and cost of a failed reel.
        conductor_mm: conductor diameter [mm].

    Returns:
        The loss, or a `Refused` where the plant gives no price or the target stands on no wall limit.
    """
    question, method = asks(Quantity.TARGET_LOSS), message(Method.EXPECTED_LOSS)
    if price.per_kg is None or price.failed_reel is None:
        reason = message(Reason.NO_PRICES)
        return Refused(question, method, reason, target.reels)
    needs = [one for one in target.needs if one.rule.requirement in (AVERAGE, POINT)]
    if not needs:
        reason = message(Reason.TARGET_WITHOUT_WALL_LIMITS)
        return Refused(question, method, reason, target.reels)
    reel_m = target.result.details["reel_m"]
    worth = giveaway(
        target.result.estimate + 0.0005,
        target.result.estimate - 0.0005,
        conductor_mm,
        replace(price, km_per_month=1.0),
    )
    per_um = (worth.money_per_month or 0.0) * reel_m / 1000.0
    spread = max(math.hypot(one.level_sd, one.within_sd) for one in needs)
    low = target.result.estimate - 3.0 * spread
    high = max(target.result.high, target.result.estimate) + 6.0 * spread
    grid = np.linspace(low, high, _POINTS)
    by_draw = np.stack([_fails(needs, float(one)) for one in grid])
    least, known = (
        least_loss_target(_between(grid, one), 1000.0 * per_um, price.failed_reel, low, high)
        for one in (by_draw[:, 1:].mean(axis=1), by_draw[:, 0])
    )
    point = next((one for one in needs if one.rule.requirement == POINT), None)
    reading = float("nan")
    if point is not None:
        z = optimum_per_item(1000.0 * per_um, price.failed_reel, math.hypot(point.level_sd, point.within_sd))
        reading = point.rule.limit_mm + point.cost_mm + z * math.hypot(point.level_sd, point.within_sd)
    told = [message(Tuned.LOSS_CAUTION)]
    if least.target_mm < target.result.estimate:
        told.append(message(Tuned.LOSS_BELOW_TARGET, share=100.0 * least.chance))
    return TargetLoss(least, per_um, price.failed_reel, price.currency, known.target_mm, reading, tuple(told))


def _fails(needs: list[Need], mean_mm: float) -> Floats:
    """Share of reels that fail in any rule, for each draw; the estimate first."""
    passes = np.ones(needs[0].draws.size + 1)
    for one in needs:
        passes *= 1.0 - one.chance_at(mean_mm)
    return 1.0 - passes


def _between(grid: Floats, chance: Floats) -> Callable[[float], float]:
    """A share of failures between the walls where it was computed, straight in its logarithm."""
    log = np.log(np.maximum(chance, 1e-300))
    return lambda mean_mm: float(np.exp(np.interp(mean_mm, grid, log)))

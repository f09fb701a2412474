"""What would the target be if one thing were mended: the centring halved, a period gone, the drift stopped?

Each question changes the readings as the remedy would and asks for the target again, with the same bootstrap
draws, so that the difference has an interval of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.messages import Measure, Message, message, um
from pipeline.products.limits import Limit
from pipeline.results import Refused
from pipeline.tuned import Tuned
from pipeline.tuning.giveaway import Giveaway, Price, giveaway
from pipeline.tuning.needed_mean import Unknowns
from pipeline.tuning.periods import LOSES_STEP, LinePeriod
from pipeline.tuning.reel_wall import FEWEST_READINGS, ReelWall
from pipeline.tuning.swing_along import swing_along, swings_along
from pipeline.tuning.target import Risks, Target, smallest_target
from pipeline.tuning.wall_parts import SLOW_M, wall_parts
from pipeline.units import MM_PER_MIL

Floats = NDArray[np.float64]
FOUND_MARGIN_M = (
    30.0  # wire either side of a nonconforming stretch that is left out with it [m] (chosen here)
)
HARDLY_MM = 0.005 * MM_PER_MIL  # a saving that is not worth a figure (chosen here)
HALF_CENTRED = message(Tuned.IF_HALF_CENTRED)
Change = Callable[[Sequence[ReelWall]], tuple[ReelWall, ...]]


@dataclass(frozen=True, slots=True)
class WhatIf:
    """One remedy and what it is worth.

    Args:
        remedy: what is supposed to be mended.
        target_mm: smallest target then [mm].
        saving_mm: by how much the target could fall [mm]; 0 or near where the rule that binds is not touched.
        saving_low_mm: lower end of its interval [mm].
        saving_high_mm: upper end [mm].
        binding: requirement that binds then.
        worth: the saving as plastic and money.
        told: what is said of it.
    """

    remedy: Message
    target_mm: float
    saving_mm: float
    saving_low_mm: float
    saving_high_mm: float
    binding: str
    worth: Giveaway
    told: Message


def centred(reels: Sequence[ReelWall], share: float = 0.5) -> tuple[ReelWall, ...]:
    """The reels with a share of each run's standing offset taken away; wandering and lobes stay.

    t_min' = t_min + |E| - |E - share x mean E|, the mean over the run: a setting of the bolts outlasts a reel.

    Args:
        reels: the reels.
        share: share of the mean offset vector taken away, 0 to 1; one half for "the centring halved".
    """
    standing = {}
    for run in {one.run_id for one in reels}:
        mine = [one for one in reels if one.run_id == run]
        standing[run] = tuple(
            share * float(np.concatenate([getattr(one, axis) for one in mine]).mean())
            for axis in ("cos_mm", "sin_mm")
        )
    return tuple(_moved(one, *standing[one.run_id]) for one in reels)


def _moved(reel: ReelWall, cos_mm: float, sin_mm: float) -> ReelWall:
    """The reel with an offset vector taken off everywhere."""
    cos, sin = reel.cos_mm - cos_mm, reel.sin_mm - sin_mm
    gained = np.hypot(reel.cos_mm, reel.sin_mm) - np.hypot(cos, sin)
    return replace(reel, cos_mm=cos, sin_mm=sin, thinnest_mm=reel.thinnest_mm + gained)


def _with_mean(reel: ReelWall, change_mm: Floats | float) -> ReelWall:
    """The reel with its wall changed all round; the diameter, at other places, follows by interpolation."""
    change = np.broadcast_to(np.asarray(change_mm, dtype=np.float64), reel.mean_mm.shape)
    over = np.interp(reel.diameter_at_m, reel.at_m, change) if reel.diameter_at_m.size else 0.0
    return replace(
        reel,
        mean_mm=reel.mean_mm + change,
        thinnest_mm=reel.thinnest_mm + change,
        diameter_mm=reel.diameter_mm + 2.0 * over,
    )


def without_drift(reels: Sequence[ReelWall], periods: Sequence[LinePeriod] = ()) -> tuple[ReelWall, ...]:
    """The reels with the drift of the mean wall within them taken away; what swings periodically is no drift.

    Args:
        reels: the reels.
        periods: swings of the mean wall that were found.
    """
    swings = swings_along(reels, periods)
    return tuple(
        _with_mean(one, -wall_parts(one, swing, SLOW_M).slow)
        for one, swing in zip(reels, swings, strict=True)
    )


def without_period(reels: Sequence[ReelWall], found: LinePeriod) -> tuple[ReelWall, ...]:
    """The reels with one swing of the mean wall taken away, run by run.

    Args:
        reels: the reels.
        found: the swing.
    """
    return tuple(_with_mean(one, -swing) for one, swing in zip(reels, swing_along(reels, found), strict=True))


def with_equal_levels(reels: Sequence[ReelWall]) -> tuple[ReelWall, ...]:
    """The reels with all mean walls brought to the same level.

    Args:
        reels: the reels.
    """
    level = float(np.mean([one.mean_mm.mean() for one in reels]))
    return tuple(_with_mean(one, level - float(one.mean_mm.mean())) for one in reels)


def without_found(reels: Sequence[ReelWall], found_m: Mapping[str, Floats]) -> tuple[ReelWall, ...]:
    """The reels without the wire found nonconforming and a margin either side.

    Args:
        reels: the reels.
        found_m: by run, stretches of wire [m], a row each.
    """
    left = []
    for one in reels:
        wall, over = (np.ones(at.size, dtype=np.bool_) for at in (one.at_m, one.diameter_at_m))
        for from_m, to_m in np.asarray(found_m.get(one.run_id, np.zeros((0, 2)))).reshape(-1, 2):
            wall &= (one.at_m < from_m - FOUND_MARGIN_M) | (one.at_m > to_m + FOUND_MARGIN_M)
            over &= (one.diameter_at_m < from_m - FOUND_MARGIN_M) | (
                one.diameter_at_m > to_m + FOUND_MARGIN_M
            )
        if int(wall.sum()) < FEWEST_READINGS:
            continue
        kept = {
            name: getattr(one, name)[wall]
            for name in ("at_m", "made_s", "mean_mm", "cos_mm", "sin_mm", "thinnest_mm")
        }
        kept |= {name: getattr(one, name)[over] for name in ("diameter_at_m", "diameter_mm")}
        left.append(replace(one, **kept))
    return tuple(left)


def remedies(
    reels: Sequence[ReelWall], periods: Sequence[LinePeriod], found_m: Mapping[str, Floats] | None = None
) -> dict[Message, Change]:
    """The questions that can be asked of these reels, by the remedy.

    Args:
        reels: the reels.
        periods: swings of the mean wall that were found.
        found_m: by run, stretches of wire [m] found nonconforming.
    """
    asked: dict[Message, Change] = {}
    stretches = {run: one for run, one in (found_m or {}).items() if np.size(one)}
    if stretches:
        asked[message(Tuned.IF_NOT_MADE)] = lambda some: without_found(some, stretches)
    if all(np.isfinite(one.cos_mm).all() for one in reels):
        asked[HALF_CENTRED] = lambda some: centred(some, 0.5)
        asked[message(Tuned.IF_CENTRED)] = lambda some: centred(some, 1.0)
    for period in periods:
        asked[_if_gone(period)] = lambda some, p=period: without_period(some, p)  # type: ignore[misc]
    asked[message(Tuned.IF_NO_DRIFT)] = lambda some: without_drift(some, periods)
    asked[message(Tuned.IF_ONE_LEVEL)] = with_equal_levels
    return asked


def _if_gone(found: LinePeriod) -> Message:
    """The remedy by the part of the machine, where one is named."""
    period = Measure(found.period_m, "m")
    if found.element == LOSES_STEP:
        return message(Tuned.IF_NO_HUNTING, period=period)
    if found.harmonic:
        return message(Tuned.IF_NO_SWING, element=found.element, period=period)
    return message(Tuned.IF_NO_PERIOD, period=period)


def what_if(
    remedy: Message,
    change: Change,
    reels: Sequence[ReelWall],
    now: Target,
    limits: Sequence[Limit],
    price: Price,
    conductor_mm: float,
    risks: Risks | None = None,
    unknowns: Unknowns | None = None,
    *,
    sensors: int = 1,
    seed: int = 1,
) -> WhatIf | Refused:
    """The target with one thing mended, against the target now.

    Args:
        remedy: what is supposed to be mended.
        change: turns the reels into what they would be.
        reels: the reels.
        now: the target now, of the same reels, limits, risks, unknowns and seed.
        limits: limits in force.
        price: what plastic costs.
        conductor_mm: conductor diameter [mm].
        risks: accepted risks.
        unknowns: what the gauge adds, hides or leaves open.
        sensors: wall sensors.
        seed: seed of `now`.
    """
    draws = next(iter(now.needs)).draws.size
    reel_m = now.result.details["reel_m"]
    then = smallest_target(
        change(reels), limits, risks, unknowns, sensors=sensors, reel_m=reel_m, draws=draws, seed=seed
    )
    if isinstance(then, Refused):
        return then
    before, after = (
        np.max([need.draws for need in one.needs if need.rule.bound == "lower"], axis=0)
        for one in (now, then)
    )
    tail = 0.5 * (1.0 - now.result.confidence)
    saving = now.result.estimate - then.result.estimate
    low, high = (float(one) for one in np.quantile(before - after, [tail, 1.0 - tail]))
    worth = giveaway(now.result.estimate, then.result.estimate, conductor_mm, price)
    return WhatIf(
        remedy,
        then.result.estimate,
        saving,
        min(low, saving),
        max(high, saving),
        then.binding,
        worth,
        _told(remedy, saving, low, now.binding, then.binding, worth),
    )


def _told(remedy: Message, saving: float, low: float, before: str, after: str, worth: Giveaway) -> Message:
    if saving < 1e-6:
        return message(Tuned.MEND_NOTHING, remedy=remedy, binding=before)
    then = [message(Tuned.STILL_BINDS if after == before else Tuned.THEN_BINDS, binding=after)]
    if saving < HARDLY_MM:
        return message(Tuned.MEND_HARDLY, remedy=remedy, least=um(HARDLY_MM), then=then)
    if low <= 0.0:
        then.insert(0, message(Tuned.MEND_DOUBT))
    value: list[Measure | Message] = [Measure(worth.kg_km, "kg/km")]
    if worth.money_per_month is not None:
        value.append(message(Tuned.MEND_MONEY, money=worth.money_per_month, currency=worth.currency))
    return message(Tuned.MEND_SAVES, remedy=remedy, saving=um(saving), worth=value, then=then)

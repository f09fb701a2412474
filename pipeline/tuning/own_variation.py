"""Does wire found nonconforming belong to the line's own variation, or does it stand apart with a cause of its own?

A target stands on what the line does every day. A neck at a stop or a lump of start-up wire is held and cut as a
finding; left among the readings it would make the tail endless. But wire may be left out only where the rest of the
line's variation could hardly have made it: leaving out a tail that is the line's own would lower the target falsely.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.found import together
from pipeline.messages import Message, message, um
from pipeline.products.limits import Limit
from pipeline.results import Refused
from pipeline.tuned import Tuned
from pipeline.tuning.reel_wall import ReelWall
from pipeline.tuning.requirement_rules import rules_of
from pipeline.tuning.target import Target

Floats = NDArray[np.float64]

# Chance, over all reels on hand, below which a reel so deep is not taken for the line's own (chosen here).
OWN_P = 1e-3
SAMPLES_PER_REEL = 1000  # cut samples a reel stands for in the average's chance: a bound (chosen here)


@dataclass(frozen=True, slots=True)
class SetApart:
    """Reels with wire found nonconforming, and whether the target stands on the others alone.

    Args:
        reels: reels that are left out of the target: they have a cause of their own.
        kept: reels with such wire that stay in: it may be the line's own.
        p_value: greatest chance, among those left out, of a reel so deep by the other reels' variation; NaN for none.
        with_them: the target with those reels in it.
        told: what is said of it.
    """

    reels: tuple[str, ...]
    kept: tuple[str, ...]
    p_value: float
    with_them: Target | Refused
    told: Message


def split_found(
    reels: Sequence[ReelWall], found_m: Mapping[str, Floats]
) -> tuple[tuple[ReelWall, ...], tuple[ReelWall, ...]]:
    """Reels without and reels with wire found nonconforming; whole reels, since a drift spoils more than it fails.

    Args:
        reels: the reels.
        found_m: by run, stretches of wire [m] found nonconforming, a row each.
    """

    def holds(reel: ReelWall) -> bool:
        stretches = np.asarray(found_m.get(reel.run_id, np.zeros((0, 2))), dtype=np.float64).reshape(-1, 2)
        first, last = float(reel.at_m[0]), float(reel.at_m[-1])
        return bool(np.any((stretches[:, 1] >= first) & (stretches[:, 0] <= last)))

    marked = [holds(one) for one in reels]
    return (
        tuple(one for one, bad in zip(reels, marked, strict=True) if not bad),
        tuple(one for one, bad in zip(reels, marked, strict=True) if bad),
    )


def chance_of_depth(others: Target, reel: ReelWall, limits: Sequence[Limit], reels: int) -> float:
    """Chance that one of so many reels goes as deep as this one, were the other reels' variation all there is.

    For each rule 1 - (1 - P(a reel reaches its worst))^n, P averaged over the draws of what is not known; the least
    of the rules, times their number (Bonferroni). A cut sample's rule counts a thousand samples a reel, so that its
    chance is never taken too small.

    Args:
        others: the target of the other reels.
        reel: the reel with wire found nonconforming.
        limits: limits in force.
        reels: all reels.
    """
    needs = {(one.rule.requirement, one.rule.bound): one for one in others.needs}
    chances = []
    for rule in rules_of((reel,), limits)[0]:
        need = needs.get((rule.requirement, rule.bound))
        if need is None or rule.series[0].size == 0:
            continue
        at_worst = replace(need.rule, limit_mm=float(rule.series[0].min()))
        reached = np.minimum(replace(need, rule=at_worst).chance_at(others.today.estimate)[1:], 1.0)
        tries = reels * (SAMPLES_PER_REEL if rule.unit_at_risk == "cut sample" else 1)
        with np.errstate(divide="ignore"):
            chances.append(float(np.mean(-np.expm1(tries * np.log1p(-reached)))))
    return min(min(chances) * len(chances), 1.0) if chances else 1.0


def set_apart(
    found: Sequence[ReelWall],
    others: Target | Refused,
    with_them: Target | Refused,
    limits: Sequence[Limit],
    reels: int,
) -> SetApart:
    """Which reels with wire found nonconforming the target leaves out.

    Args:
        found: reels with wire found nonconforming.
        others: target of the other reels.
        with_them: target of all reels.
        limits: limits in force.
        reels: all reels.
    """
    names = tuple(one.reel_id for one in found)
    if isinstance(others, Refused):
        told = message(Tuned.OTHERS_TOO_FEW, n=len(names), reels=reels, names=names)
        return SetApart((), names, float("nan"), with_them, told)
    chances = {one.reel_id: chance_of_depth(others, one, limits, reels) for one in found}
    apart = tuple(name for name in names if chances[name] <= OWN_P)
    kept = tuple(name for name in names if chances[name] > OWN_P)
    p = max((chances[name] for name in apart), default=float("nan"))
    return SetApart(apart, kept, p, with_them, _told(apart, kept, p, with_them, reels))


def without_a_target(apart: SetApart, target: Refused, reels: int) -> SetApart:
    """The same where the target itself is refused in the end: none is told of all reels either.

    Args:
        apart: which reels the target leaves out.
        target: why there is no target.
        reels: all reels.
    """
    told = _told(apart.reels, apart.kept, apart.p_value, None, reels) if apart.reels else apart.told
    return replace(apart, with_them=target, told=told)


def _told(
    apart: tuple[str, ...], kept: tuple[str, ...], p: float, with_them: Target | Refused | None, reels: int
) -> Message:
    """What is said of reels with wire found nonconforming; `with_them` is None where no target is given at all."""
    told = []
    if apart:
        told.append(message(Tuned.APART, n=len(apart), reels=reels, names=apart, p=p))
        if isinstance(with_them, Refused):
            told.append(with_them.reason)
        elif with_them is not None:
            told.append(message(Tuned.WITH_ALL_REELS, target=um(with_them.result.estimate)))
    if kept:
        told.append(message(Tuned.KEPT_IN, n=len(kept), reels=reels, names=kept))
    return together(*told)

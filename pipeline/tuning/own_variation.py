"""Does wire found nonconforming belong to the line's own variation, or does it stand apart with a cause of its own?

A target stands on what the line does every day. A neck at a stop or a lump of start-up wire is held and cut as a
finding; left among the readings it would make the tail endless. But wire may be left out only where the rest of the
line's variation could hardly have made it: leaving out a tail that is the line's own would lower the target falsely.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from pipeline.results import Refused
from pipeline.tuning.reel_wall import ReelWall
from pipeline.tuning.requirement_rules import AVERAGE
from pipeline.tuning.target import Target

Floats = NDArray[np.float64]

# Chance at which wire found nonconforming is taken for the line's own, over all reels on hand (chosen here).
OWN_P = 1e-3
SAMPLES_PER_REEL = 1000  # bound on the cut samples a reel stands for in the average's risk (chosen here)


@dataclass(frozen=True, slots=True)
class SetApart:
    """Reels with wire found nonconforming, and whether the target stands on the others alone.

    Args:
        reels: reels that carry such wire.
        apart: True if the target stands on the other reels.
        p_value: chance of so many such reels by the variation of the other reels; NaN where it cannot be told.
        with_them: the target with those reels in it.
        sentence: the same in words.
    """

    reels: tuple[str, ...]
    apart: bool
    p_value: float
    with_them: Target | Refused
    sentence: str


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


def chance_of_found(others: Target, found: int, reels: int) -> float:
    """Chance of at least so many reels under a limit, were the other reels' variation all there is.

    The binomial tail with each reel's chance by every rule of the target together; the average rule counts a
    thousand cut samples a reel, so that the chance is not taken too small.

    Args:
        others: the target of the other reels, at today's mean wall.
        found: reels found nonconforming.
        reels: all reels.
    """
    passes = 1.0
    for one in others.rules:
        tries = SAMPLES_PER_REEL if one.rule == AVERAGE else 1
        passes *= (1.0 - min(one.chance_now, 1.0)) ** tries
    return float(stats.binom.sf(found - 1, reels, 1.0 - passes))


def set_apart(
    found: Sequence[ReelWall], others: Target | Refused, with_them: Target | Refused, reels: int
) -> SetApart:
    """Whether the target stands on the other reels alone.

    Args:
        found: reels with wire found nonconforming.
        others: target of the other reels.
        with_them: target of all reels.
        reels: all reels.
    """
    names = tuple(one.reel_id for one in found)
    listed = ", ".join(names)
    if isinstance(others, Refused):
        told = (
            f"{len(names)} of {reels} reels carry wire found nonconforming ({listed}). The others are too few to "
            "tell whether it is the line's own variation, so all reels stay in."
        )
        return SetApart(names, False, float("nan"), with_them, told)
    p = chance_of_found(others, len(names), reels)
    if p > OWN_P:
        told = (
            f"{len(names)} of {reels} reels carry wire found nonconforming ({listed}), and the line's own variation "
            f"could have made it (chance {p:.2g}): it stays in the target."
        )
        return SetApart(names, False, p, with_them, told)
    then = (
        with_them.reason
        if isinstance(with_them, Refused)
        else f"With them it would be {1000.0 * with_them.result.estimate:.0f} um."
    )
    are, they = ("is", "it carries") if len(names) == 1 else ("are", "they carry")
    told = (
        f"{len(names)} of {reels} reels {are} left out of the target: {they} wire found nonconforming ({listed}), "
        f"which the variation of the other reels would hardly have made (chance {p:.1g}). That wire is "
        f"held by its own findings, and its cause is to be removed. {then}"
    )
    return SetApart(names, True, p, with_them, told)

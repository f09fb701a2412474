"""Each requirement as a rule on the mean wall: which series it looks at, and how that moves with the mean.

A change of the mean wall by d moves the section average, the thinnest wall and half the diameter by d. For
concentricity, t_min + d >= c (t_max + d) is (t_min - c t_max)/(1 - c) + d >= 0, so it too is a series that
moves by d. What a change of target does to the spread is left out: the tool looks a few per cent away.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pipeline.messages import Measure, Message, message
from pipeline.products.limits import Limit
from pipeline.tuned import Tuned
from pipeline.tuning.reel_wall import ReelWall

Floats = NDArray[np.float64]
AVERAGE, POINT = "minimum average wall", "minimum wall at any point"
CONCENTRICITY, DIAMETER = "concentricity", "overall diameter"


@dataclass(frozen=True, slots=True)
class WallRequirement:
    """One requirement on the wall of one line.

    Args:
        requirement: the requirement.
        limit: the limit with its document.
        unit_at_risk: 'cut sample' for an average, 'reel' for the worst point of a reel.
        bound: 'lower' if the mean wall must be at least something, 'upper' if at most.
        limit_mm: the limit on the series [mm].
        series: the series of each reel [mm]; it moves with the mean wall one to one.
        at_m: places of the readings of each reel [m].
        noise_mm: standard deviation that the gauge's own noise gives the series [mm]; 0 where it is not known.
        of_offset: True if the covering's own offset leaves the series open by that much.
    """

    requirement: str
    limit: Message
    unit_at_risk: Literal["cut sample", "reel"]
    bound: Literal["lower", "upper"]
    limit_mm: float
    series: tuple[Floats, ...]
    at_m: tuple[Floats, ...]
    noise_mm: float
    of_offset: bool


def rules_of(
    reels: Sequence[ReelWall], limits: Sequence[Limit], noise_mm: float = 0.0, sensors: int = 1
) -> tuple[tuple[WallRequirement, ...], tuple[Message, ...]]:
    """The rules that bear on the mean wall, the hardest limit of each requirement, and what could not be made one.

    Args:
        reels: the reels.
        limits: limits in force for the product.
        noise_mm: standard deviation of one wall sensor's own noise, from standing wire [mm]; 0 where not known.
        sensors: wall sensors.

    Of several requirement sets the hardest limit counts, since the wire must meet all.
    """
    rules: list[WallRequirement] = []
    told: list[Message] = []
    for requirement, sense in (
        (AVERAGE, "at least"),
        (POINT, "at least"),
        (CONCENTRICITY, "at least"),
        (DIAMETER, "at least"),
        (DIAMETER, "at most"),
    ):
        asked = [one for one in limits if one.requirement == requirement and one.sense == sense]
        if not asked:
            if requirement in (AVERAGE, POINT):
                told.append(message(Tuned.NO_LIMIT, requirement=requirement))
            continue
        hardest = (max if sense == "at least" else min)(asked, key=lambda one: one.value)
        rule = _rule(reels, hardest, noise_mm, sensors)
        if isinstance(rule, Message):
            told.append(rule)
        else:
            rules.append(rule)
    return tuple(rules), tuple(told)


def _rule(
    reels: Sequence[ReelWall], limit: Limit, noise_mm: float, sensors: int
) -> WallRequirement | Message:
    """The rule of one limit, or why there is none."""
    wall_at = tuple(one.at_m for one in reels)
    told = limit.told(Measure(limit.value, limit.unit))
    if limit.requirement == AVERAGE:
        means = tuple(one.mean_mm for one in reels)
        noise = noise_mm / np.sqrt(sensors)
        return WallRequirement(
            AVERAGE, told, "cut sample", "lower", limit.value, means, wall_at, noise, False
        )
    if limit.requirement == DIAMETER:
        if any(one.diameter_mm.size == 0 for one in reels):
            return message(Tuned.NO_DIAMETER)
        lower = limit.sense == "at least"
        sign = 1.0 if lower else -1.0
        halves = tuple(sign * 0.5 * one.diameter_mm for one in reels)
        places = tuple(one.diameter_at_m for one in reels)
        return WallRequirement(
            DIAMETER,
            told,
            "reel",
            "lower" if lower else "upper",
            sign * 0.5 * limit.value,
            halves,
            places,
            0.0,
            False,
        )
    if not all(np.isfinite(one.thinnest_mm).all() for one in reels):
        return message(Tuned.CONDUCTOR_NOT_SEEN, requirement=limit.requirement)
    noise = noise_mm * np.sqrt(3.0 / sensors)
    if limit.requirement == POINT:
        thinnest = tuple(one.thinnest_mm for one in reels)
        return WallRequirement(POINT, told, "reel", "lower", limit.value, thinnest, wall_at, noise, True)
    share = limit.value / 100.0
    series = tuple(concentricity_margin_mm(one.mean_mm, one.thinnest_mm, share) for one in reels)
    # t_min carries the noise of mean and offset, t_max of the same with the other sign.
    scaled = float(
        np.hypot(noise_mm / np.sqrt(sensors), noise_mm * np.sqrt(2.0 / sensors) * (1 + share) / (1 - share))
    )
    return WallRequirement(CONCENTRICITY, told, "reel", "lower", 0.0, series, wall_at, scaled, True)


def concentricity_margin_mm(mean_mm: Floats, thinnest_mm: Floats, share: float) -> Floats:
    """Mean wall to spare under a concentricity limit: (t_min - c t_max)/(1 - c), t_max = 2 mean - t_min [mm].

    Args:
        mean_mm: mean wall of each section [mm].
        thinnest_mm: thinnest wall of each section [mm].
        share: c, least thinnest over thickest wall, 0 to 1.
    """
    return (thinnest_mm - share * (2.0 * mean_mm - thinnest_mm)) / (1.0 - share)

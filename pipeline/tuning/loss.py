"""How far above a limit to aim when too thin costs a reel and too thick costs plastic.

The loss is one-sided: a little thick costs a little on every metre, a little thin costs a reel now and then.
The unit that is lost is the reel; the optimum for a single reading lies far too low.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import optimize

from pipeline.samples import positive


def optimum_per_item(cost_per_mm: float, failed: float, sd_mm: float) -> float:
    """Distance z of mean above limit, in deviations, that costs least if one item is what fails.

    z* = sqrt(2 ln(c_f/(c_m s sqrt(2 pi)))).

    Args:
        cost_per_mm: c_m, cost of one millimetre more wall on one reel.
        failed: c_f, cost of one failure.
        sd_mm: s, standard deviation of an item [mm].

    For a wire this is the optimum per reading, and a reel holds thousands of them: `least_loss_target` takes reels.
    Source: derivative of c_m s z + c_f Phi(-z).
    """
    inside = positive(failed, "failed") / (positive(cost_per_mm, "cost_per_mm") * positive(sd_mm, "sd_mm"))
    inside /= math.sqrt(2.0 * math.pi)
    return math.sqrt(2.0 * math.log(inside)) if inside > 1.0 else 0.0


@dataclass(frozen=True, slots=True)
class LeastLoss:
    """The mean wall that costs least over all that is possible.

    Args:
        target_mm: that mean wall [mm].
        chance: share of reels that fail there, averaged over what the parameters may be.
        loss_per_reel: plastic above the lowest wall looked at, and failures, per reel.
        loss_if_thinner: the same with the mean 5 um lower.
        loss_if_thicker: the same with the mean 5 um higher.
    """

    target_mm: float
    chance: float
    loss_per_reel: float
    loss_if_thinner: float
    loss_if_thicker: float


def least_loss_target(
    chance: Callable[[float], float], cost_per_mm: float, failed: float, low_mm: float, high_mm: float
) -> LeastLoss:
    """Mean wall at which plastic and failed reels together cost least.

    c_m (t - t_low) + c_f P(reel fails at t), P averaged over the draws of the line's variation, so that what is
    not known of it makes the wall thicker and never thinner.

    Args:
        chance: P, share of reels that fail at a mean wall [mm].
        cost_per_mm: c_m, cost of one millimetre more wall on one reel.
        failed: c_f, cost of one failed reel.
        low_mm: lowest mean wall looked at [mm].
        high_mm: highest [mm].
    """
    slope, cost = positive(cost_per_mm, "cost_per_mm"), positive(failed, "failed")

    def loss(t: float) -> float:
        return slope * (t - low_mm) + cost * chance(t)

    grid = np.linspace(low_mm, high_mm, 81)
    losses = [loss(float(one)) for one in grid]
    best = int(np.argmin(losses))
    inner = (float(grid[max(best - 1, 0)]), float(grid[min(best + 1, 80)]))
    found = optimize.minimize_scalar(loss, bounds=inner, method="bounded", options={"xatol": 1e-5})
    t = float(found.x)
    return LeastLoss(t, chance(t), loss(t), loss(t - 0.005), loss(t + 0.005))

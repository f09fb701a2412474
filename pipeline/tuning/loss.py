"""How far above a limit to aim when too thin costs a reel and too thick costs plastic.

The loss is one-sided: a little thick costs a little on every metre, a little thin costs a reel now and then.
The unit that is lost is the reel; the optimum for a single reading lies far too low.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from pipeline.samples import positive


def chance_below(mean: float, sd: float, limit: float) -> float:
    """Probability that one normal item lies below a limit: Phi((L - mean)/s).

    Args:
        mean: process mean.
        sd: standard deviation of an item, same unit.
        limit: L, same unit.

    No page asks for it: it carries the published filling process.
    """
    return float(special.ndtr((limit - mean) / positive(sd, "sd")))


def optimum_with_giveaway(cost_ratio: float) -> float:
    """Best (mean - L)/s when an item above the limit brings more and every unit above it is given away.

    Income a per accepted item, r per rejected one, g per unit above L: phi(t)/Phi(t) = g s/(a - r).

    Args:
        cost_ratio: g s/(a - r), above 0.

    Source: W.G. Hunter and C.P. Kartha, Journal of Quality Technology 9 (1977), 176-181 (model, from memory).

    No page asks for it: the plant's loss is `least_loss_target`; it carries a published model of the same
    kind.
    """
    positive(cost_ratio, "cost_ratio")

    def over(t: float) -> float:
        return (
            math.exp(-0.5 * t * t - math.log(2.0 * math.pi) / 2.0 - float(special.log_ndtr(t))) - cost_ratio
        )

    return float(optimize.brentq(over, -40.0, 40.0, xtol=1e-13))


def least_cost_share(cost_short: float, cost_over: float) -> float:
    """Share of items that lie below the target at the least linear asymmetric loss: k2/(k1 + k2).

    Minimises k1 E(T - X)+ + k2 E(X - T)+ over a shift of X.

    Args:
        cost_short: k1, cost of one unit below the target.
        cost_over: k2, cost of one unit above it.

    Source: the newsvendor's rule; derived by setting the derivative to zero.

    No page asks for it: the plant's loss is `least_loss_target`; it carries a published model of the same
    kind.
    """
    return positive(cost_over, "cost_over") / (positive(cost_short, "cost_short") + cost_over)


def least_cost_shift(
    quantile: Callable[[float], float], target: float, cost_short: float, cost_over: float
) -> float:
    """Shift of a process that brings the linear asymmetric loss about a target to its least.

    Args:
        quantile: quantile function of the process as it runs.
        target: T.
        cost_short: k1.
        cost_over: k2.

    No page asks for it: the plant's loss is `least_loss_target`; it carries a published model of the same
    kind.
    """
    return target - quantile(least_cost_share(cost_short, cost_over))


def optimum_per_item(cost_per_mm: float, failed: float, sd_mm: float) -> float:
    """Distance z of mean above limit, in deviations, that costs least if one item is what fails.

    z* = sqrt(2 ln(c_f/(c_m s sqrt(2 pi)))).

    Args:
        cost_per_mm: c_m, cost of one millimetre more wall on one reel.
        failed: c_f, cost of one failure.
        sd_mm: s, standard deviation of an item [mm].

    For a wire this is the optimum per reading, and a reel holds thousands of them: use `optimum_per_reel`.
    Source: derivative of c_m s z + c_f Phi(-z).
    """
    inside = positive(failed, "failed") / (positive(cost_per_mm, "cost_per_mm") * positive(sd_mm, "sd_mm"))
    inside /= math.sqrt(2.0 * math.pi)
    return math.sqrt(2.0 * math.log(inside)) if inside > 1.0 else 0.0


def optimum_per_reel(
    cost_per_mm: float, failed: float, sd_mm: float, crossings: float
) -> tuple[float, float]:
    """Distance z and the share of bad reels that cost least when a reel fails as a whole.

    Minimises c_m s z + c_f (1 - exp(-N exp(-z^2/2))) over z.

    Args:
        cost_per_mm: c_m, cost of one millimetre more wall on one reel.
        failed: c_f, cost of one failed reel.
        sd_mm: s, standard deviation within reels [mm].
        crossings: N, passings of its own mean level by one reel (Rice: L/(2 pi a)).

    Source: derived; Rice (1944) for the passings. Normal and smooth walls only; `least_loss_target` has no such
    need.

    No page asks for it: `least_loss_target` needs no normal theory; this shows how far a reading's optimum
    lies below a reel's.
    """
    slope = positive(cost_per_mm, "cost_per_mm") * positive(sd_mm, "sd_mm")

    def bad(z: float) -> float:
        return -math.expm1(-positive(crossings, "crossings") * math.exp(-0.5 * z * z))

    def loss(z: float) -> float:
        return slope * z + positive(failed, "failed") * bad(z)

    grid = np.linspace(0.0, 12.0, 481)
    start = float(grid[int(np.argmin([loss(float(one)) for one in grid]))])
    found = optimize.minimize_scalar(
        loss, bounds=(max(start - 0.05, 0.0), start + 0.05), method="bounded", options={"xatol": 1e-10}
    )
    z = float(found.x)
    return z, bad(z)


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

"""The mean wall one rule asks for at one accepted risk, as an estimate and as draws of what it may be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import special

from pipeline.messages import Message, message
from pipeline.tuned import Tuned
from pipeline.tuning.level_draws import draw_levels
from pipeline.tuning.reel_wall import ReelWall, levels_of
from pipeline.tuning.requirement_rules import WallRequirement
from pipeline.tuning.within_reel_tail import (
    TailDraws,
    chance_of_reel,
    depth_for_chance,
    fit_draws,
    redraws,
    within_tail,
)

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Unknowns:
    """What the gauge adds to the spread, hides of it, or leaves open.

    Args:
        noise_mm: standard deviation of one wall sensor's noise, from standing wire [mm]; None leaves it in.
        small_scale_mm: standard deviation of the wall at distances under one reading's length, from neighbouring cut
            slices [mm]; None if never measured.
        level_mm: standard uncertainty of the wall's level: calibration, and a covering that is deducted [mm].
        offset_mm: greatest offset of a covering that the gauge sees together with the insulation [mm].
    """

    noise_mm: float | None = None
    small_scale_mm: float | None = None
    level_mm: float = 0.0
    offset_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Need:
    """The mean wall a rule asks for.

    Args:
        rule: the rule.
        risk: accepted share of cut samples or reels.
        estimate: that mean wall [mm].
        draws: what it may be, one value a draw [mm].
        open_mm: what stays open either way beyond the draws [mm].
        open_below_mm: what stays open downward besides [mm]: noise is taken off the depth of dips and not off their
            number, so the truth may lie lower by about as much again.
        chance_now: share that fails at today's mean.
        cost_mm: mean wall less the level of the rule's series [mm].
        level_sd: standard deviation of reel levels [mm].
        within_sd: standard deviation within reels, noise and small scale accounted for [mm].
        depth: level of the series above the limit [mm] at the accepted risk.
        shape: shape of the tail; -inf where no tail was needed.
        tail: draws of the tail, the estimate first; None for a cut sample's rule.
        threshold: deviation under which clusters were counted [mm].
        factor: what the deviations were multiplied by, the estimate first.
        level_draws: draws of the reel deviation, the estimate first.
        cost_draws: draws of `cost_mm`, level uncertainty included, the estimate first.
        reel_m: length of a reel [m].
    """

    rule: WallRequirement
    risk: float
    estimate: float
    draws: Floats
    open_mm: float
    open_below_mm: float
    chance_now: float
    cost_mm: float
    level_sd: float
    within_sd: float
    depth: float
    shape: float
    tail: TailDraws
    threshold: float
    factor: Floats
    level_draws: Floats
    cost_draws: Floats
    reel_m: float

    def chance_at(self, mean_mm: float) -> Floats:
        """Share of cut samples or reels that fail at a mean wall [mm], one value a draw, the estimate first."""
        sign = 1.0 if self.rule.bound == "lower" else -1.0
        depth = sign * (mean_mm - self.cost_draws) - self.rule.limit_mm
        if self.rule.unit_at_risk == "cut sample":
            spread = np.hypot(self.level_draws, self.tail.within_sd * self.factor)
            return np.asarray(special.ndtr(-depth / spread), dtype=np.float64)
        return chance_of_reel(depth, self.level_draws, self.tail, self.threshold, self.factor, self.reel_m)


def needed_mean(
    rule: WallRequirement,
    reels: Sequence[ReelWall],
    risk: float,
    unknowns: Unknowns,
    reel_m: float,
    cuts: Sequence[int],
    draws: int,
    seed: int,
) -> Need | Message:
    """The mean wall a rule asks for, or why it cannot be said.

    Cut sample: L + z s, z the normal quantile of the risk and s of reels and readings together. Reel: the depth at
    which E_b[1 - exp(-rate L q)] meets the risk. Both are then put on the scale of the mean wall.

    Args:
        rule: the rule.
        reels: the reels its series come from.
        risk: accepted share.
        unknowns: what the gauge adds, hides or leaves open.
        reel_m: length of a reel [m].
        cuts: blocks each reel is cut into for the bootstrap.
        draws: bootstrap draws.
        seed: of the random numbers.
    """
    step = float(np.median([one.step_m for one in reels]))
    tail = within_tail(rule.series, rule.at_m, step, cuts)
    if tail is None:
        return message(Tuned.FEW_DIPS, requirement=rule.requirement)
    blocks = tail.known_m.size
    taken = np.vstack([np.ones(blocks), redraws(blocks, draws, seed)])
    fitted = fit_draws(tail, taken)
    random = np.random.default_rng(seed + 1)
    even = (np.arange(draws) + 0.5) / draws
    sign = 1.0 if rule.bound == "lower" else -1.0
    levels = levels_of([float(one.mean()) for one in rule.series], [one.run_id for one in reels])
    runs = [one.run_id for one in reels]
    spread = draw_levels([float(one.mean()) for one in rule.series], runs, draws, random)
    level_draws = np.concatenate([[levels.sd], spread.sd])
    costs = np.array([float(one.mean_mm.mean()) for one in reels]) - sign * np.array(
        [float(one.mean()) for one in rule.series]
    )
    doubt = np.hypot(
        draw_levels(list(costs), runs, draws, random).mean_sd,
        0.0 if rule.limit_mm == 0.0 else unknowns.level_mm,
    )
    cost = float(costs.mean())
    cost_draws = cost + np.concatenate([[0.0], doubt * special.ndtri(random.permutation(even))])
    small = unknowns.small_scale_mm or 0.0
    variance = fitted.within_sd**2
    left = np.maximum(variance - rule.noise_mm**2, 0.05 * variance) + small**2
    factor = np.sqrt(left / variance)
    open_below = 0.0
    if rule.unit_at_risk == "cut sample":
        depth = float(-special.ndtri(risk)) * np.hypot(level_draws, fitted.within_sd * factor)
    else:
        depth = depth_for_chance(risk, level_draws, fitted, tail.threshold, factor, reel_m)
        if rule.noise_mm > 0.0:
            noisy = np.sqrt((variance[:1] + small**2) / variance[:1])
            left_in = depth_for_chance(risk, level_draws[:1], fitted.first, tail.threshold, noisy, reel_m)
            open_below = float(left_in[0] - depth[0])
    needed = sign * (rule.limit_mm + depth) + cost_draws
    need = Need(
        rule,
        risk,
        float(needed[0]),
        needed[1:],
        unknowns.offset_mm if rule.of_offset else 0.0,
        open_below,
        0.0,
        cost,
        levels.sd,
        float(fitted.within_sd[0] * factor[0]),
        float(depth[0]),
        float(fitted.shape[0]) if rule.unit_at_risk == "reel" else -np.inf,
        fitted,
        tail.threshold,
        factor,
        level_draws,
        cost_draws,
        reel_m,
    )
    today = float(np.mean([one.mean_mm.mean() for one in reels]))
    return replace(need, chance_now=float(need.chance_at(today)[0]))

"""Wire found nonconforming: set apart where it has a cause of its own, kept where it is the line's own tail."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from pipeline.products.limits import Limit
from pipeline.results import Refused
from pipeline.tuning.needed_mean import Unknowns
from pipeline.tuning.own_variation import chance_of_depth, set_apart, split_found, without_a_target
from pipeline.tuning.reel_wall import ReelWall, reel_walls
from pipeline.tuning.target import Risks, Target, smallest_target
from tests.said import said
from tests.tuning.invented_limits import XHHW, limit
from tests.tuning.simulated import l2_run, seeds

SOME = Unknowns(noise_mm=0.005)


def reels(seed: int) -> tuple[ReelWall, ...]:
    return reel_walls([l2_run(seed + n, 6, f"R-{seed + n}")[0] for n in range(2)])[0]


def limits_of(point_mm: float) -> tuple[Limit, ...]:
    return (XHHW[0], limit("minimum wall at any point", point_mm))


def target_of(some: tuple[ReelWall, ...], point_mm: float) -> Target | Refused:
    return smallest_target(some, limits_of(point_mm), Risks(), SOME, sensors=8, draws=60)


def under(some: tuple[ReelWall, ...], limit_mm: float) -> dict[str, np.ndarray]:
    """Stretches of wire whose thinnest wall is under a limit, by run."""
    found: dict[str, list[tuple[float, float]]] = {}
    for one in some:
        low = one.at_m[one.thinnest_mm < limit_mm]
        if low.size:
            found.setdefault(one.run_id, []).append((float(low.min()), float(low.max())))
    return {run: np.array(places) for run, places in found.items()}


def test_the_lines_own_tail_stays_in() -> None:
    # Trap: a limit that runs through the line's own tail. Leaving out the reels that fail would lower the target by
    # what makes it necessary; over seeds none may be left out.
    for seed in seeds(2):
        some = reels(100 + 2 * seed)
        limit_mm = float(np.sort([one.thinnest_mm.min() for one in some])[2]) + 1e-6
        others, found = split_found(some, under(some, limit_mm))
        assert len(found) == 3
        near = limits_of(limit_mm)
        apart = set_apart(found, target_of(others, limit_mm), target_of(some, limit_mm), near, len(some))
        assert apart.reels == ()
        assert said(apart.told) == (
            f"3 of 12 reels with wire found nonconforming ({', '.join(one.reel_id for one in found)}): what counts of "
            "their readings may be the line's own variation, so it stays in the target."
        )


def test_a_spot_with_a_cause_of_its_own_is_set_apart() -> None:
    some = reels(100)
    spot = (some[3].at_m > some[3].at_m[0] + 100.0) & (some[3].at_m < some[3].at_m[0] + 114.0)
    spoiled = (*some[:3], replace(some[3], thinnest_mm=some[3].thinnest_mm - 0.30 * spot), *some[4:])
    others, found = split_found(spoiled, under(spoiled, 1.27))
    assert [one.reel_id for one in found] == [some[3].reel_id]
    with_it, without = target_of(spoiled, 1.27), target_of(others, 1.27)
    assert isinstance(with_it, Target)
    assert isinstance(without, Target)
    apart = set_apart(found, without, with_it, limits_of(1.27), len(spoiled))
    assert apart.reels == (some[3].reel_id,)
    assert said(apart.told) == (
        f"Left out of the target: 1 of 12 reels ({some[3].reel_id}). The variation of the others would hardly reach "
        f"so deep (chance at most {apart.p_value:.2g}). That wire is held by its own findings, and its cause is to be "
        f"removed. With all reels the target would be {1000.0 * with_it.result.estimate:.1f} \u00b5m."
    )
    assert with_it.result.estimate > without.result.estimate + 0.05
    # Where the reels on file contradict the target, none is told of all reels either.
    reason = Refused(with_it.result.question, with_it.result.method, "The reels on file contradict it.", 12)
    refused = without_a_target(apart, reason, len(spoiled))
    assert said(refused.told) == said(apart.told).partition(" With all reels")[0]
    assert refused.with_them is reason


def test_the_chance_of_a_depth_by_hand() -> None:
    # The average rule alone, at a depth of five deviations of reel and reading: 12 reels of 1000 samples each.
    some = reels(100)
    target = target_of(some, 1.27)
    assert isinstance(target, Target)
    need = next(one for one in target.needs if one.rule.requirement == "minimum average wall")
    spread = np.hypot(need.level_draws, need.tail.within_sd * need.factor)
    deep = replace(some[0], mean_mm=some[0].mean_mm - 0.05)
    depth = target.today.estimate - need.cost_draws - float(deep.mean_mm.min())
    wanted = np.mean(1.0 - (1.0 - stats.norm.sf(depth / spread)[1:]) ** 12_000)
    alone = replace(target, needs=(need,))
    assert chance_of_depth(alone, deep, XHHW[:1], 12) == pytest.approx(wanted, rel=1e-3)


def test_too_few_others_keep_all_reels() -> None:
    some = reels(100)[:4]
    others, found = split_found(some, {some[0].run_id: np.array([[0.0, 900.0]])})
    assert len(others) < 3
    apart = set_apart(found, target_of(others, 1.27), target_of(some, 1.27), limits_of(1.27), len(some))
    assert apart.reels == ()
    assert "too few to tell" in said(apart.told)
    assert split_found(some, {}) == (some, ())

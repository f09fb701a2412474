"""The smallest mean wall: recovery of the simulator's truth, which rule binds, refusals, and properties."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.messages import message
from pipeline.results import Refused
from pipeline.statistics.below_threshold import fit_tail
from pipeline.statistics.turning_elements import NOTHING_FITS
from pipeline.tuned import Tuned
from pipeline.tuning.level_draws import draw_levels
from pipeline.tuning.needed_mean import Unknowns
from pipeline.tuning.periods import LinePeriod
from pipeline.tuning.reel_wall import ReelWall, levels_of, reel_walls
from pipeline.tuning.requirement_rules import AVERAGE, POINT, concentricity_margin_mm
from pipeline.tuning.target import Risks, Target, smallest_target
from pipeline.tuning.target_loss import target_loss
from pipeline.tuning.what_if import HALF_CENTRED, centred, remedies, what_if
from pipeline.tuning.within_reel_tail import block_cuts, fit_draws, within_tail
from tests.said import said
from tests.tuning.invented_limits import PRICE, THHN, XHHW, limit
from tests.tuning.recovery_trials import true_target_mm
from tests.tuning.simulated import enough, l1_run, l2_run

SOME = Unknowns(noise_mm=0.005)


def l2_reels(seed: int, runs: int = 2) -> tuple[ReelWall, ...]:
    return reel_walls([l2_run(seed + n, 6, f"R-{seed + n}")[0] for n in range(runs)])[0]


def found(answer: Target | Refused) -> Target:
    assert isinstance(answer, Target)
    return answer


def test_the_average_rule_binds_on_the_simulated_line() -> None:
    """How often the intervals hold the truth stands in `test_recovery`."""
    for seed in (100, 102):
        target = found(smallest_target(l2_reels(seed), XHHW, Risks(reel=0.01), SOME, sensors=8, draws=200))
        assert target.binding == AVERAGE
        assert target.result.estimate == pytest.approx(true_target_mm("1/0 AWG", AVERAGE), abs=0.004)


def test_target_under_a_covering_lies_in_its_interval() -> None:
    # The gauge sees both layers: the stated mean is deducted and the stated offset leaves the thin side open.
    reels = reel_walls([l1_run(7, 4)[0], l1_run(8, 4, "R-8")[0]])[0]
    unknowns = Unknowns(noise_mm=0.004, level_mm=0.003, offset_mm=0.009)
    target = found(smallest_target(reels, THHN, Risks(reel=0.01), unknowns, sensors=8, draws=200))
    by_rule = {one.rule: one.needed for one in target.rules}
    point, average = by_rule[POINT], by_rule[AVERAGE]
    assert point.low <= true_target_mm("14 AWG", POINT) <= point.high
    assert average.low <= true_target_mm("14 AWG", AVERAGE) <= average.high
    assert any(
        one.startswith("The gauge sees insulation and covering together") for one in said(target.warnings)
    )


def test_centring_pays_only_where_the_point_rule_binds() -> None:
    # Trap: which rule binds is always shown. The same wire under a far point limit and under a near one.
    reels = l2_reels(100)
    for limits, binding in (
        (XHHW, "minimum average wall"),
        ((XHHW[0], limit("minimum wall at any point", 1.34)), "minimum wall at any point"),
    ):
        now = found(smallest_target(reels, limits, Risks(), SOME, sensors=8, draws=100))
        assert now.binding == binding
        asked = remedies(reels, ())
        half = what_if(
            HALF_CENTRED, asked[HALF_CENTRED], reels, now, limits, PRICE, 9.47,
            Risks(), SOME, sensors=8,
        )  # fmt: skip
        assert not isinstance(half, Refused)
        if binding == "minimum average wall":
            assert half.saving_mm == half.worth.kg_km == 0.0
            assert said(half.told) == (
                "If the centering were halved, the target could not fall: minimum average wall binds and "
                "this does not touch it. It would make the other rules safer, not the wall cheaper."
            )
        else:
            # The standing offset of 45 um halved is 22 um of wall, as long as the point rule goes on binding.
            assert half.saving_mm == pytest.approx(0.0225, abs=0.005)
            assert half.saving_low_mm <= half.saving_mm <= half.saving_high_mm
            assert half.worth.kg_km > 0.5


def test_levels_and_drift_are_worth_something_under_the_average_rule() -> None:
    reels = l2_reels(100)
    now = found(smallest_target(reels, XHHW, Risks(), SOME, sensors=8, draws=100))
    runs = tuple(dict.fromkeys(one.run_id for one in reels))
    shown = tuple((run, 6.283, 1.4) for run in runs)
    none = message(Tuned.SWING_OF_NOTHING)
    swing = LinePeriod(
        "mean wall", 6.283, 1.0, 1.0, 0.1, NOTHING_FITS, 0, none, "length", runs, len(runs), shown, 0.0
    )
    asked = {said(name): (name, change) for name, change in remedies(reels, (swing,)).items()}
    savings = {}
    for name in (
        "the period of 6.28 m were gone",
        "the drift within reels were stopped",
        "all reels ran at one level",
    ):
        answer = what_if(*asked[name], reels, now, XHHW, PRICE, 9.47, Risks(), SOME, sensors=8)
        assert not isinstance(answer, Refused)
        savings[name] = answer.saving_mm
    assert savings["the drift within reels were stopped"] > savings["the period of 6.28 m were gone"] > 0.0001


def test_halved_centring_by_hand() -> None:
    # One section: offset (30, 40) um standing; halved it is 25 um, so the thinnest wall rises by 25 um.
    flat = np.full(300, 1.0)
    reel = ReelWall(
        "A",
        "R",
        300.0,
        1.0,
        np.arange(300.0),
        np.arange(300.0),
        flat,
        -0.03 * flat,
        -0.04 * flat,
        0.95 * flat,
        np.zeros(0),
        np.zeros(0),
    )
    assert centred([reel], 0.5)[0].thinnest_mm == pytest.approx(0.975)
    assert centred([reel], 1.0)[0].thinnest_mm == pytest.approx(1.0)
    assert centred([reel], 0.0)[0].thinnest_mm == pytest.approx(reel.thinnest_mm)


def test_found_stretches_are_asked_about_and_not_forgotten() -> None:
    # A thin spot of 14 m on one reel: with it the target stands far higher, and the tail is told to have no end.
    reels = l2_reels(100)
    spot = (reels[3].at_m > reels[3].at_m[0] + 100.0) & (reels[3].at_m < reels[3].at_m[0] + 114.0)
    spoiled = (*reels[:3], replace(reels[3], thinnest_mm=reels[3].thinnest_mm - 0.15 * spot), *reels[4:])
    near = (XHHW[0], limit("minimum wall at any point", 1.33))
    now = found(smallest_target(spoiled, near, Risks(), SOME, sensors=8, draws=60))
    clean = found(smallest_target(reels, near, Risks(), SOME, sensors=8, draws=60))
    assert now.result.estimate > clean.result.estimate + 0.02
    place = np.array([[reels[3].at_m[0] + 100.0, reels[3].at_m[0] + 114.0]])
    asked = remedies(spoiled, (), {reels[3].run_id: place})
    name = message(Tuned.IF_NOT_MADE)
    answer = what_if(name, asked[name], spoiled, now, near, PRICE, 9.47, Risks(), SOME, sensors=8)
    assert not isinstance(answer, Refused)
    assert answer.target_mm == pytest.approx(clean.result.estimate, abs=0.01)


def test_concentricity_as_a_rule_on_the_mean() -> None:
    # t_min 0.8, t_max 1.2 and c 0.7: margin (0.8 - 0.84)/0.3 = -0.1333; a mean higher by that just meets 70 %.
    margin = float(concentricity_margin_mm(np.array([1.0]), np.array([0.8]), 0.7)[0])
    assert margin == pytest.approx(-0.04 / 0.3)
    assert (0.8 - margin) / (1.2 - margin) == pytest.approx(0.7)


def test_a_thicker_wall_and_limit_move_the_target_one_to_one() -> None:
    reels = l2_reels(100)
    base = found(smallest_target(reels, XHHW, sensors=8, draws=60))
    moved = tuple(
        replace(one, mean_mm=one.mean_mm + 0.05, thinnest_mm=one.thinnest_mm + 0.05) for one in reels
    )
    same = found(smallest_target(moved, XHHW, sensors=8, draws=60))
    assert same.result.estimate == pytest.approx(base.result.estimate, abs=1e-9)
    assert same.overwall.estimate == pytest.approx(base.overwall.estimate + 0.05, abs=1e-9)
    raised = tuple(limit(one.requirement, one.value + 0.02) for one in XHHW)
    higher = found(smallest_target(reels, raised, sensors=8, draws=60))
    assert higher.result.estimate == pytest.approx(base.result.estimate + 0.02, abs=1e-9)
    # A smaller accepted risk never thins the wall; the chance at the needed wall is the risk.
    stricter = found(smallest_target(reels, XHHW, Risks(0.0001, 0.0001), sensors=8, draws=60))
    assert stricter.result.estimate > base.result.estimate
    for need in base.needs:
        assert float(need.chance_at(need.estimate)[0]) == pytest.approx(need.risk, rel=0.01)


def test_loss_over_what_is_not_known_is_never_thinner() -> None:
    target = found(smallest_target(l2_reels(100), XHHW, Risks(), SOME, sensors=8, draws=200))
    loss = target_loss(target, PRICE, 9.47)
    assert not isinstance(loss, Refused)
    assert loss.least.target_mm >= loss.if_known_mm
    # Trap: taking the reading for what is lost aims far too thin.
    assert loss.per_reading_mm < loss.least.target_mm - 0.010
    assert loss.least.loss_if_thinner > loss.least.loss_per_reel
    assert said(loss.warnings)[0] == (
        "The cheapest target is a figure of the plant's prices, not permission: the standard's limits hold "
        "for every reel, and a thin wall can hurt someone."
    )
    refused = target_loss(target, replace(PRICE, failed_reel=None), 9.47)
    assert isinstance(refused, Refused)
    assert said(refused.reason) == (
        "The plant sheet gives no price of the compound or no cost of a failed reel; enter both under "
        "[prices]."
    )


def test_upper_limit_of_the_diameter_is_a_ceiling() -> None:
    reels = l2_reels(100)
    tight = (*XHHW, limit("overall diameter", 12.32, "at most"))
    target = found(smallest_target(reels, tight, sensors=8, draws=60))
    assert target.ceiling_mm is not None
    assert target.ceiling_mm < target.result.estimate
    assert any("no mean wall meets both" in one for one in said(target.warnings))


def test_refusals_say_what_is_missing() -> None:
    reels = l2_reels(100)
    few = smallest_target(reels[:2], XHHW)
    assert isinstance(few, Refused)
    assert said(few.reason) == (
        "2 reels with enough steady wire are too few, 3 are needed to see how reels differ."
    )
    none = smallest_target(reels, ())
    assert isinstance(none, Refused)
    assert said(none.reason) == "No limit that bounds the wall from below is in force."
    # Trap: a diameter does not show where the conductor lies, so the point rule is told and never guessed.
    blind = tuple(
        replace(
            one, cos_mm=one.cos_mm * np.nan, sin_mm=one.sin_mm * np.nan, thinnest_mm=one.thinnest_mm * np.nan
        )
        for one in reels
    )
    only_average = found(smallest_target(blind, XHHW, draws=60))
    assert [one.rule for one in only_average.rules] == ["minimum average wall"]
    assert said(only_average.warnings)[0] == (
        "The line does not see where the conductor lies, so minimum wall at any point cannot be known from "
        "it: fit a wall gauge, or cut samples. A target from the diameter alone covers the average only."
    )


def test_levels_of_reels_and_runs() -> None:
    # Balanced one-way layout by hand: runs at 0, 3, 6, reels -1, 0, 1 about them: MS_runs 27, MS_reels 1, n0 3, so the
    # variance of a reel's level is 27/3 + 1 x 2/3.
    values = [run + reel for run in (0.0, 3.0, 6.0) for reel in (-1.0, 0.0, 1.0)]
    found_levels = levels_of(values, [name for name in "abc" for _ in range(3)])
    assert found_levels.sd**2 == pytest.approx(27.0 / 3.0 + 2.0 / 3.0)
    assert (found_levels.mean, found_levels.reels, found_levels.runs) == (pytest.approx(3.0), 9, 3)
    assert found_levels.freedom == pytest.approx((29.0 / 3.0) ** 2 / (9.0**2 / 2.0 + (2.0 / 3.0) ** 2 / 6.0))
    # Runs that do not differ are one pool.
    pooled = levels_of([0.0, 1.0, 2.0, 0.1, 1.1, 1.9], ["a"] * 3 + ["b"] * 3)
    assert pooled.runs == 1
    assert pooled.freedom == 5.0


def test_draws_of_levels_of_reels_in_runs() -> None:
    random = np.random.default_rng(3)
    names = [name for name in "abcdefghij" for _ in range(4)]
    held = 0
    for _ in range(60):
        runs = np.repeat(random.normal(0.0, 1.0, 10), 4)
        drawn = draw_levels(list(runs + random.normal(0.0, 1.0, 40)), names, 400, random)
        low, high = np.quantile(drawn.sd, (0.025, 0.975))
        held += bool(low <= np.sqrt(2.0) <= high)
    assert held >= enough(60)
    # Ten runs of four hardly leave a wrong mean; reels taken for themselves would claim sqrt(2/40) = 0.22.
    assert float(np.median(drawn.mean_sd)) > 0.25
    # One run: chi-square of the reels, whose median for four degrees of freedom is 3.357 (tables of chi-square).
    alone = draw_levels([0.0, 1.0, 2.0, 3.0, 4.0], ["a"] * 5, 401, random)
    assert float(np.median(alone.sd)) == pytest.approx(np.sqrt(10.0 / 3.357), rel=1e-3)
    # Two runs leave far more open than one run claims, but not without an end.
    two = draw_levels([0.0, 1.0, 2.0, 0.1, 1.1, 2.1], ["a"] * 3 + ["b"] * 3, 2000, random)
    assert 3.0 < float(np.quantile(two.sd, 0.975)) < 10.0


def test_the_weighted_tail_is_the_maximum_likelihood_tail() -> None:
    reels = l2_reels(100)
    values = [one.thinnest_mm for one in reels]
    tail = within_tail(values, [one.at_m for one in reels], reels[0].step_m, block_cuts(values))
    assert tail is not None
    drawn = fit_draws(tail, np.ones((1, tail.known_m.size)))
    fitted = fit_tail(tail.deficits)
    assert drawn.shape[0] == pytest.approx(fitted.shape, abs=2e-3)
    assert drawn.scale[0] == pytest.approx(fitted.scale, rel=2e-3)
    assert drawn.clusters_per_m[0] == pytest.approx(tail.deficits.size / tail.known_m.sum(), rel=1e-9)


def test_a_target_without_an_average_and_a_point_has_no_loss_and_no_crash() -> None:
    """Derivation: a failed reel's cost is weighed against the walls of the insulation only."""
    # Nominal diameter of 1/0 AWG strand 9.47 mm and 55 mil of wall on each side, 12.2 mm; the plant asks for 12.
    target = found(
        smallest_target(l2_reels(100), (limit("overall diameter", 12.0),), Risks(), SOME, sensors=8, draws=60)
    )
    assert target.binding == "overall diameter"
    loss = target_loss(target, PRICE, 9.47)
    assert isinstance(loss, Refused)
    assert said(loss.reason) == (
        "The target stands on no average wall and no wall at any point, so what a failed reel costs cannot be "
        "weighed; enter the missing limit under [[limits]]."
    )

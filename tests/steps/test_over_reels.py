"""Results over the reels of a line: where the spread comes from, what so many reels prove, how faults compare."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from pipeline.messages import Measure
from pipeline.quantity import Quantity
from pipeline.results import Refused, Result
from pipeline.sheets.plant_sheet import Charts
from pipeline.statistics.capability import performance_index_one_sided
from pipeline.statistics.rate_comparison import rate_p_value
from pipeline.steps.line_indices import ReelLimit
from pipeline.steps.line_reels import LineReel
from pipeline.steps.over_reels import OverReels, over_reels
from tests.said import said

AVERAGE = ReelLimit("average", "minimum average wall", "mean_wall_mm", "at least", 0.381, "mm")
POINT = ReelLimit("point", "minimum wall at any point", "thinnest_wall_mm", "at least", 0.3302, "mm")
LOWEST = ReelLimit("least", "overall diameter", "diameter_mm", "at least", 2.70, "mm")
GREATEST = ReelLimit("greatest", "overall diameter", "diameter_mm", "at most", 2.90, "mm")


def reels(n: int, between: float = 0.002, faults: object = None, seed: int = 6) -> list[LineReel]:
    rng = np.random.default_rng(seed)
    made = []
    for k in range(n):
        level = 0.41 + float(rng.normal(0, between))
        made.append(
            LineReel(
                f"R-{k // 4}",
                f"reel {k}",
                {
                    "mean_wall_mm": level,
                    "wall_sd_mm": 0.004,
                    "thinnest_wall_mm": level - 0.05 + float(rng.normal(0, 0.002)),
                    "diameter_mm": 2.80 + float(rng.normal(0, 0.004)),
                },
                stretch_means_mm=tuple(float(one) for one in rng.normal(level, 0.001, 8)),
                length_m=2000.0,
                readings=800,
                worth=(60.0, 110.0),
                faults=int(faults(k)) if callable(faults) else 0,
                tested_m=2000.0,
                circumstances={"shift": ("day", "night")[k % 2], "lot of insulation compound": f"A{k // 12}"},
            )
        )
    return made


def of(found: OverReels, topic: str) -> list[Result | Refused]:
    return [answer for name, answer in found.answers if name == topic]


def test_the_spread_is_led_to_where_it_comes_from_by_both_analyses() -> None:
    """Reels that differ by 5 um with 1 um between stretches: the share between reels must be the larger by far."""
    found = of(over_reels(reels(20, 0.005), (), Charts()), "components of variance")
    parts = {one.question.about: one.estimate for one in found if isinstance(one, Result)}
    assert parts["stretches between reels"] > 5 * (parts["stretches within reels"])
    assert parts["readings within reels"] == pytest.approx(0.004**2, rel=0.05)
    assert all(
        "set-up and reel change" in said(one.warnings)[0]
        for one in found
        if "stretches" in one.question.about
    )
    assert {said(one.method).split(",")[0] for one in found} >= {
        "restricted maximum likelihood on reel means"
    }


def test_the_index_of_reels_says_what_so_many_reels_prove() -> None:
    made = reels(24)
    found = of(over_reels(made, (AVERAGE,), Charts()), "capability of reels")
    (one,) = found
    assert isinstance(one, Result)
    walls = [reel.values["mean_wall_mm"] for reel in made]
    expected = performance_index_one_sided(walls, 0.381, unit_of_inference="reel")
    assert isinstance(expected, Result)
    assert (one.estimate, one.low) == pytest.approx((expected.estimate, expected.low))
    assert one.unit_of_inference == "reel"
    assert one.known_m == 48_000.0
    told = next(text for text in said(one.warnings) if "demonstrates 1.33" in text)
    assert told.startswith("With 24 reels, an observed index of ")
    assert "it takes 71 reels" in told  # the sheet of reels needed: 1.33 if true 1.67, four times in five


def test_an_index_is_refused_where_the_chart_of_the_reels_signals() -> None:
    made = reels(24)
    odd = made[7]
    made[7] = LineReel(odd.run_id, odd.reel_id, {**odd.values, "thinnest_wall_mm": 0.30}, length_m=2000.0)
    (one,) = of(over_reels(made, (POINT,), Charts()), "capability of reels")
    assert isinstance(one, Refused)
    assert said(one.reason).startswith(
        "The process is not stable (1 of 20 reels outside the phase I control limits)"
    )


def test_what_stands_beside_an_index_has_its_own_name() -> None:
    found = over_reels(reels(64), (AVERAGE, POINT, LOWEST, GREATEST), Charts())
    (within,) = of(found, "capability within reels")
    assert isinstance(within, Result) and within.details["overall_index"] < within.estimate
    keeps = of(found, "limit most reels keep")
    assert all(isinstance(one, Result) for one in keeps) and len(keeps) == 3
    (share,) = of(found, "share of bad reels")
    assert isinstance(share, Result)
    assert share.estimate == 0.0 and 0.0 < share.high < 0.06  # never without its upper bound
    (risk,) = of(found, "minimum of a reel")
    assert isinstance(risk, Result) and risk.n == 64
    assert any(
        one.question.arguments.get("low") == Measure(2.7, "mm") for one in of(found, "capability of reels")
    )
    assert {one.unit_of_inference for one in keeps if isinstance(one, Result)} == {"reel"}


def test_shifts_and_lots_are_compared_and_held_equal() -> None:
    rng = np.random.default_rng(9)
    made = reels(48, faults=lambda k: rng.poisson(0.5 if k % 2 == 0 else 3.0))
    found = of(over_reels(made, (), Charts()), "fault rates")
    pair = next(one for one in found if one.question.about == "shift day : shift night")
    assert isinstance(pair, Result)
    # By hand: phi is X^2 of both classes about their own means over 46 degrees of freedom; counts over phi and
    # Student's t in the place of the normal quantile (quasi-likelihood, McCullagh and Nelder 1989, from memory).
    counts = [
        np.array([reel.faults for reel in made if reel.circumstances["shift"] == one])
        for one in ("day", "night")
    ]
    phi = sum(float(((one - one.mean()) ** 2 / one.mean()).sum()) for one in counts) / 46
    assert pair.details["dispersion"] == pytest.approx(phi) and phi > 1.0
    one, other = (float(each.sum()) / phi for each in counts)
    tail = float(stats.norm.sf(stats.t.isf(0.025, 46)))
    low, high = stats.beta.ppf(tail, one, other + 1), stats.beta.ppf(1 - tail, one + 1, other)
    assert (pair.low, pair.high) == pytest.approx((low / (1 - low), high / (1 - high)))
    assert pair.estimate == pytest.approx(counts[0].sum() / counts[1].sum())
    regressed = [
        one for one in found if isinstance(one, Result) and "night" in one.question.about and one is not pair
    ]
    assert regressed and regressed[0].low > 1.5


def test_where_no_difference_shows_the_chance_to_see_one_is_told() -> None:
    """12 faults on 96 km a shift: 24 against 12 expected at twice the usual rate; how often told apart, by drawing."""
    made = reels(96, faults=lambda k: int(k % 8 in {0, 1}))
    (pair,) = (
        one
        for one in of(over_reels(made, (), Charts()), "fault rates")
        if one.question.about == "shift day : shift night"
    )
    drawn = np.random.default_rng(6).poisson((24.0, 12.0), (1000, 2)).tolist()
    seen = np.mean([rate_p_value(one, 96e3, other, 96e3, "mid-p") < 0.05 for one, other in drawn])
    assert isinstance(pair, Result)
    told = said(pair.warnings)[-1]
    assert told.startswith(
        "No difference shown. With this length, twice the rate of 0.125 per km would be detected in "
    )
    assert int(told.removesuffix(" % of cases.").rsplit(" ", 1)[1]) == pytest.approx(100 * seen, abs=5)


def test_a_change_of_the_rate_names_the_reel() -> None:
    made = reels(40, faults=lambda k: 0 if k < 30 else 4)
    found = of(over_reels(made, (), Charts()), "fault rates")
    change = next(one for one in found if one.question.quantity is Quantity.FAULT_RATE_CHANGE)
    assert isinstance(change, Result)
    assert change.estimate == 31.0
    assert "reel 30 (between" in said(change.warnings)[0]


def test_too_little_is_refused_and_nothing_is_a_traceback() -> None:
    for count in (0, 1, 2, 7):
        found = over_reels(reels(count), (AVERAGE, POINT, LOWEST, GREATEST), Charts())
        for _, answer in found.answers:
            if isinstance(answer, Refused):
                assert said(answer.reason).endswith("."), answer
            else:
                assert np.isfinite(answer.low) or np.isfinite(answer.high)
    nothing = over_reels([LineReel("R-1", "a")], (AVERAGE,), Charts())
    reason = "No reel of the line was fully spark-tested, so faults have no length to be counted over."
    assert [said(one.reason) for one in of(nothing, "fault rates") if isinstance(one, Refused)] == [reason]

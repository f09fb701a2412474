"""What stands beside the risk of a reel: clumping, levels, the normal figure, the shape of readings, fault patterns."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from runs import done, made
from scipy import special, stats
from scipy.signal import lfilter

from pipeline.products.limits import Limit
from pipeline.quantity import Quantity, asks
from pipeline.results import Refused, Result
from pipeline.simulator.troubles import SparkFaults
from pipeline.steps.answers import answers_of
from pipeline.steps.fault_patterns import TOPIC
from pipeline.steps.reading_shapes import shape_answer
from pipeline.steps.wall_tail import NORMAL, diagnostics, normal_risk, tail_answers, tail_of
from tests.said import said


def a_limit(value: float) -> Limit:
    found = done(made()).judged.limits
    return replace(next(one for one in found if one.requirement == "minimum wall at any point"), value=value)


# Scatter of clusters over reels that was not looked at.
UNSEEN = Refused(asks(Quantity.FAULT_DISPERSION), "", "not looked at", 0)


def wall(n: int, phi: float = 0.9, seed: int = 3) -> tuple[np.ndarray, np.ndarray]:
    noise = np.random.default_rng(seed).standard_normal(n + 500)
    x = lfilter([math.sqrt(1 - phi**2)], [1.0, -phi], noise)[500:]
    return 0.40 + 0.006 * x, np.arange(n) * 0.5


def test_the_usual_figure_is_what_it_says() -> None:
    """1 - (1 - Phi(-3 C))^n by hand, its interval from the effective number, and the label that it is the usual one."""
    value, _ = wall(20_000)
    found = normal_risk(value, 0.5, a_limit(0.376), 1500.0)
    assert isinstance(found, Result)
    assert found.method == NORMAL
    share = float(special.ndtr(-(value.mean() - 0.376) / value.std(ddof=1)))
    assert found.estimate == pytest.approx(1 - (1 - share) ** 3000, rel=1e-6)
    assert found.low < found.estimate < found.high
    assert found.effective_n is not None and found.effective_n < 0.1 * found.n
    assert found.unit_of_inference == "reel"
    # Wire of another wall altogether: every reel is under the limit, and that is told, not stumbled over.
    lost = normal_risk(value - 0.2, 0.5, a_limit(0.376), 1500.0)
    assert isinstance(lost, Result) and (lost.low, lost.estimate, lost.high) == (1.0, 1.0, 1.0)


def test_a_smooth_wall_is_told_by_its_crossings() -> None:
    kernel = np.exp(-((np.arange(-20, 21) * 0.5) ** 2) / 4.0)
    x = np.convolve(
        np.random.default_rng(1).standard_normal(40_040), kernel / np.sqrt((kernel**2).sum()), "valid"
    )
    found = normal_risk(0.40 + 0.006 * x, 0.5, a_limit(0.376), 1500.0)
    assert isinstance(found, Result)
    assert said(found.method).endswith("(Rice 1944)")


def test_thin_readings_clump_and_a_reel_gets_thinner_the_rarer_it_is_asked() -> None:
    value, at = wall(60_000)
    tail = tail_of(value, at, float(np.quantile(value, 0.01)))
    assert not isinstance(tail, int)
    clumping, half, thousandth = tail_answers(tail, 1500.0, 0.5, UNSEEN)
    assert isinstance(clumping, Result) and clumping.estimate < 0.7
    assert isinstance(half, Result) and isinstance(thousandth, Result)
    assert thousandth.estimate < half.estimate < tail.threshold
    # Half of all reels, counted: the median of the thinnest readings of reels cut from another such wall.
    thinnest = wall(3_000_000, seed=9)[0].reshape(-1, 3000).min(axis=1)
    assert half.low < np.median(thinnest) < half.high
    named = {said(one.name): one.held for one in diagnostics(tail)}
    assert named["depths of the clusters follow the fitted tail"] is True
    assert named["depths lie along the fitted quantiles"] is True
    assert len(named) == 7


def test_a_tail_that_is_a_mixture_is_told() -> None:
    value, at = wall(60_000)
    spoiled = np.where(np.arange(value.size) % 1500 < 3, 0.30, value)
    tail = tail_of(spoiled, at, float(np.quantile(spoiled, 0.01)))
    assert not isinstance(tail, int)
    assert diagnostics(tail)[0].held is False


def test_too_few_thin_readings_are_no_tail() -> None:
    value, at = wall(1000)
    assert tail_of(value, at, float(np.sort(value)[5])) == 5


def test_a_skewed_shape_is_found_and_few_readings_show_none() -> None:
    found = done(made())
    seen = found.bench.measured.seen["mean_wall_mm"]
    limit = next(one for one in found.judged.limits if one.requirement == "minimum average wall")
    skewed = limit.value + 0.02 + 0.01 * stats.gamma(3).ppf(np.random.default_rng(2).random(3000))
    answer = shape_answer(seen, limit, skewed, 1500.0)
    assert isinstance(answer, Result)
    assert answer.low <= answer.estimate
    assert "normal family" not in said(answer.warnings)[0]
    assert said(answer.assumptions[0].evidence).startswith("Anderson-Darling")
    few = shape_answer(seen, limit, skewed[:40], 20.0)
    assert isinstance(few, Refused)
    assert said(few.reason) == "40 steady readings that vary are too few to see a shape; 50 are needed."
    slow = shape_answer(seen, limit, limit.value + 0.05 + 0.01 * wall(3000, 0.99)[0], 1500.0)
    assert isinstance(slow, Refused) and "effective sample size of 50" in said(slow.reason)


def test_fault_patterns_of_a_run_reach_the_answers() -> None:
    places = tuple(float(one) for one in np.linspace(200.0, 215.0, 8))
    found = done(made(troubles=(SparkFaults("burst", places),)))
    rows = [one.answer for one in answers_of(found.bench, found.judged) if one.topic == TOPIC]
    bunches = next(one for one in rows if one.question.quantity is Quantity.FAULT_DISPERSION)
    assert isinstance(bunches, Result)
    assert bunches.low > 1.0
    assert any(
        one.held is False
        for one in bunches.assumptions
        if said(one.name).startswith(("gaps", "no more pairs"))
    )
    hidden = next(one for one in rows if one.question.quantity is Quantity.FAULT_RATE_UNMERGED)
    assert isinstance(hidden, Result)
    assert hidden.low < hidden.details["merged_per_km"] <= hidden.estimate < hidden.high
    beside = next(one for one in rows if one.question.about == "thinnest_wall_mm")
    assert isinstance(beside, Result) and 0.0 <= beside.low <= beside.estimate <= beside.high <= 1.0

"""Variance components against published examples; each case's file in data/ names its source.

Digits of a case marked B are from memory of the work, recomputed from its data.
"""

import math

import numpy as np
import pytest

from pipeline.statistics.variance_components import nested_table, variance_components
from pipeline.statistics.variance_components_reml import variance_components_of_reels
from tests.published.worked_cases import column, printed, rows


def test_dyestuff_batches() -> None:
    """Davies (1947); Box and Tiao (1973); lme4 documentation: REML 1764, 2451; sd 42.00, 49.51."""
    answers = printed("MSA-06-answers")
    yields, batches = column("MSA-06", "yield"), [row["batch"] for row in rows("MSA-06")]
    table = nested_table(yields, batches)
    within, between = variance_components(yields, batches, unit="g")
    by_batch = [yields[np.array(batches) == one] for one in sorted(set(batches))]
    five = [5.0] * 6
    reml = variance_components_of_reels(
        [one.mean() for one in by_batch], [one.var(ddof=1) for one in by_batch], five, five, five
    )
    for name, value in (
        ("between MS", table.lines[1].mean_square),
        ("within MS", table.lines[0].mean_square),
        ("between variance", between.estimate),
        ("sd between", between.details["standard_deviation"]),
        ("sd within", within.details["standard_deviation"]),
        ("grand mean", yields.mean()),
        ("between variance", reml[1].estimate),
        ("sd between", reml[1].details["standard_deviation"]),
        ("sd within", reml[0].details["standard_deviation"]),
    ):
        assert value == pytest.approx(answers[name][0], abs=answers[name][1]), name


def test_pins_of_five_machines() -> None:
    """NIST/SEMATECH e-Handbook, 3.2.3.1. The printed F 4.86 comes from rounded mean squares; exact 5.2061."""
    answers = printed("MSA-07-answers")
    table = nested_table(column("MSA-07", "diameter_in"), [row["machine"] for row in rows("MSA-07")])
    within, machine = table.lines
    for name, value in (
        ("SS machine", machine.sum_of_squares),
        ("SS residual", within.sum_of_squares),
        ("SS total", machine.sum_of_squares + within.sum_of_squares),
    ):
        assert value == pytest.approx(answers[name][0], abs=answers[name][1]), name
    assert (machine.freedom, within.freedom) == (4, 20)
    rounded = round(machine.mean_square, 6) / round(within.mean_square, 6)
    assert rounded == pytest.approx(answers["F"][0], abs=answers["F"][1])
    assert machine.mean_square / within.mean_square == pytest.approx(5.2061, abs=5e-5)


def test_mean_squares_of_a_two_level_design() -> None:
    # By hand: two runs of three reels of four, mean squares 4/3, 106, 864.
    within = np.array([1.0, -1.0, 1.0, -1.0])  # sum of squares 4 a reel, 3 degrees of freedom
    reels = np.array([-1.0, 0.0, 1.0]) * math.sqrt(26.5)  # 4 * 2 * 26.5 * 2 runs over 4 = 106
    runs = np.array([-1.0, 1.0]) * 6.0  # 12 * 2 * 36 over 1 = 864
    values, reel, run = [], [], []
    for i, level in enumerate(runs):
        for j, step in enumerate(reels):
            values += list(10.0 + level + step + within)
            reel += [f"{i}-{j}"] * 4
            run += [i] * 4
    table = nested_table(values, reel, run)
    assert [line.mean_square for line in table.lines] == pytest.approx([4 / 3, 106.0, 864.0], rel=1e-9)
    found = variance_components(values, reel, run, unit="mm")
    assert [one.estimate for one in found] == pytest.approx([1.3333, 26.1667, 63.1667], abs=5e-5)
    reel_result = found[1]
    assert reel_result.details["degrees_of_freedom"] == pytest.approx(3.90, abs=5e-3)
    assert (reel_result.low, reel_result.high) == pytest.approx((9.303, 224.96), rel=1e-3)

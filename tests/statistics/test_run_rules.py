"""Run rules and their exact cost."""

import math

import numpy as np
import pytest

from pipeline.errors import MethodRefusal
from pipeline.statistics.run_rules import (
    BEYOND_LIMIT,
    EIGHT_IN_A_ROW,
    FOUR_OF_FIVE,
    FOUR_RULES,
    TWO_OF_THREE,
    RunRule,
    run_rules_arl,
    run_signals,
)
from pipeline.wording.say import plain


@pytest.mark.parametrize(
    ("rules", "arl0", "tolerance"),
    [
        # Champ & Woodall, Technometrics 29 (1987): 91.75; the pairs worked out apart, rounded.
        (FOUR_RULES, 91.75, 0.005),
        ((BEYOND_LIMIT, TWO_OF_THREE), 226, 1.0),
        ((BEYOND_LIMIT, EIGHT_IN_A_ROW), 152, 1.0),
        ((BEYOND_LIMIT,), 370.40, 0.005),
    ],
)
def test_cost_of_rules(rules: tuple[RunRule, ...], arl0: float, tolerance: float) -> None:
    assert run_rules_arl(rules) == pytest.approx(arl0, abs=tolerance)


def test_one_rule_alone_by_hand() -> None:
    # k points in a row on one side of the centre: average 2^k - 1 for fair halves.
    assert run_rules_arl((RunRule(8, 8, 0.0),)) == pytest.approx(2**8 - 1)
    assert run_rules_arl((RunRule(3, 3, 0.0),)) == pytest.approx(2**3 - 1)


@pytest.mark.parametrize("shift", [0.0, 1.0])
def test_the_chain_agrees_with_the_rules_as_applied(shift: float) -> None:
    # The exact average against run_signals itself on simulated points.
    rng = np.random.default_rng(9)
    rules = (BEYOND_LIMIT, TWO_OF_THREE, FOUR_OF_FIVE)
    first = []
    for _ in range(250):
        found = run_signals(rng.normal(shift, 1.0, 4000 if shift == 0 else 400), 0.0, 1.0, rules)
        first.append(found[0].item + 1)
    error = np.std(first) / math.sqrt(len(first))
    assert np.mean(first) == pytest.approx(run_rules_arl(rules, shift), abs=4 * error)


def test_signals_say_which_point_which_rule_and_since_when() -> None:
    values = [0.0, 2.1, 0.5, 2.3, 0.0, -3.5]
    found = run_signals(values, 0.0, 1.0, (BEYOND_LIMIT, TWO_OF_THREE))
    assert [(one.item, one.side, one.since, plain(one.rule)) for one in found] == [
        (3, "above", 1, "2 of 3 points in a row beyond 2 standard deviations on one side"),
        (5, "below", 5, "1 point beyond 3 standard deviations"),
    ]
    assert (found[1].value, found[1].limit) == (-3.5, -3.0)


def test_rules_by_their_description() -> None:
    assert plain(EIGHT_IN_A_ROW.told) == "8 points in a row on one side of the center line"
    assert plain(FOUR_OF_FIVE.told) == "4 of 5 points in a row beyond 1 standard deviations on one side"


def test_a_point_without_a_value_breaks_a_run() -> None:
    values = [1.0] * 4 + [math.nan] + [1.0] * 4
    assert run_signals(values, 0.0, 1.0, (EIGHT_IN_A_ROW,)) == ()
    assert len(run_signals([1.0] * 9, 0.0, 1.0, (EIGHT_IN_A_ROW,))) == 2


def test_points_on_the_line_are_not_beyond_it() -> None:
    assert run_signals([3.0, 0.0, 0.0], 0.0, 1.0) == ()
    assert run_signals([], 0.0, 1.0) == ()


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (
            lambda: run_rules_arl((RunRule(5, 3, 1.0),)),
            (
                "rules: '5 of 3 points in a row beyond 1 standard deviations on one side' cannot be watched "
                "for. Give a number of points from 1 up to the row's length, a row of 20 at most, and a "
                "distance from 0."
            ),
        ),
        (lambda: run_rules_arl(()), "rules: no rule is given. Give at least the limit itself."),
        (lambda: run_signals([1.0], 0.0, 0.0), "sigma: 0 was given. Give a finite number above 0."),
    ],
)
def test_bad_input_is_told(call: object, text: str) -> None:
    with pytest.raises(MethodRefusal) as caught:
        call()  # type: ignore[operator]
    assert str(caught.value) == text

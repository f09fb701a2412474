"""Results in words: two figures of the interval's half width, one-sided intervals told as such, refusals kept."""

import math
from dataclasses import replace

import pytest

from dashboards.answers_shown import answer_shown, warnings_of_all
from dashboards.figures.dots import shared_scale, trend_lines
from pipeline.quantity import Quantity, asks
from pipeline.results import Result
from tests.dashboards.invented import REFUSED, capability


def result(estimate: float, low: float, high: float, unit: str = "") -> Result:
    asked = asks(Quantity.SETTING_RESPONSE)
    return replace(capability(1.0, 0.5), question=asked, estimate=estimate, low=low, high=high, unit=unit)


def test_an_index_is_told_to_two_decimals() -> None:
    shown = answer_shown(replace(capability(1.0, 0.5), estimate=2.8, low=1.74, high=math.inf))
    assert (shown.us.estimate, shown.us.interval) == ("2.80", "at least 1.74")


@pytest.mark.parametrize(
    ("estimate", "low", "high", "unit", "us", "si"),
    [
        (1.42, 1.2134, math.inf, "", ("1.42", "at least 1.21", ""), ("1.42", "at least 1.21", "")),
        (
            0.3969,
            0.3942,
            0.4011,
            "mm",
            ("15.63", "15.52 to 15.79", "mil"),
            ("0.3969", "0.3942 to 0.4011", "mm"),
        ),
        # No fault on the wire tested: not a rate of 0, and the unit stands with the bound.
        (
            0.0,
            0.0,
            1.42,
            "per km",
            ("none seen", "at most 0.43\u00a0per 1000 ft", ""),
            ("none seen", "at most 1.4\u00a0per km", ""),
        ),
        (0.0, 0.0, 8.8e-9, "", ("0", "0 to under 0.000001", ""), ("0", "0 to under 0.000001", "")),
        # Known to a hundredth of what the kind shows, and no further.
        (
            7.23479713,
            7.23463,
            7.23496,
            "m",
            ("23.74", "to within 0.01", "ft"),
            ("7.23", "to within 0.01", "m"),
        ),
        (
            0.999998,
            0.9991,
            1.0,
            "",
            ("over 0.99999", "0.99910 to 1.00000", ""),
            ("over 0.99999", "0.99910 to 1.00000", ""),
        ),
        (
            0.0048,
            5e-9,
            0.0099,
            "",
            ("0.0048", "under 0.0001 to 0.0099", ""),
            ("0.0048", "under 0.0001 to 0.0099", ""),
        ),
        (2.0, -math.inf, 3.0, "", ("2.0", "at most 3.0", ""), ("2.0", "at most 3.0", "")),
        (
            math.nan,
            math.nan,
            math.nan,
            "",
            ("not known", "no interval", ""),
            ("not known", "no interval", ""),
        ),
        (5.0, -math.inf, math.inf, "", ("5.00", "no bound", ""), ("5.00", "no bound", "")),
    ],
)
def test_estimates_and_intervals_in_words(
    estimate: float, low: float, high: float, unit: str, us: tuple[str, str, str], si: tuple[str, str, str]
) -> None:
    shown = answer_shown(result(estimate, low, high, unit))
    assert (shown.us.estimate, shown.us.interval, shown.us.unit) == us
    assert (shown.si.estimate, shown.si.interval, shown.si.unit) == si
    assert shown.confidence == "95\u00a0%"


def test_a_refusal_has_no_figure_and_no_scale() -> None:
    shown = answer_shown(REFUSED)
    assert shown.refused
    assert shown.us.estimate == ""
    assert shown.left_pct is None


def test_the_small_scale_keeps_order_and_marks_the_target() -> None:
    shown = answer_shown(result(1.42, 1.21, math.inf), target=1.33)
    assert shown.left_pct is not None and shown.mark_pct is not None and shown.target_pct is not None
    assert shown.left_pct < shown.target_pct < shown.mark_pct
    assert shown.right_pct == 100.0


def test_several_results_share_one_scale_and_refusals_leave_a_gap() -> None:
    scale = shared_scale([result(1.0, 0.5, 1.5), REFUSED, result(2.0, 1.5, math.inf)], target=1.33)
    assert scale.dots[1] is None
    first, last = scale.dots[0], scale.dots[2]
    assert first is not None and last is not None
    assert first.right == last.left
    assert last.open_right and last.right == 100.0
    # One wide interval takes no width from the others: the scale ends at the highest estimate.
    wide = shared_scale([result(0.2, 0.1, 0.4), result(2.0, 0.0, 25.0)], from_zero=True, to_estimates=True)
    small, great = wide.dots
    assert small is not None and great is not None
    assert (small.right - small.left > 10.0, small.open_right, great.open_right) == (True, False, True)
    zero = shared_scale([result(0.0, 0.0, 0.4)], from_zero=True)
    assert zero.dots[0] is not None and zero.dots[0].mark == 0.0
    assert shared_scale([]).dots == ()


def test_a_trend_stands_in_order_of_time() -> None:
    _, (line, other) = trend_lines(
        [[result(1.0, 0.9, 1.1), REFUSED, result(1.2, 1.1, 1.3)], [result(1.2, 1.1, 1.3)]], target=1.33
    )
    assert [mark[0] for mark in line.marks] == [8.0, 182.0]
    assert line.marks[0][1] > line.marks[1][1]
    assert line.target_y is not None and line.target_y < line.marks[1][1]
    # Two trends share one scale: the same figure stands at the same height.
    assert other.marks[0][1:] == line.marks[1][1:]
    assert other.target_y == line.target_y


def test_a_warning_is_said_once_for_a_list_only_where_every_result_carries_it() -> None:
    plain = result(1.0, 0.9, 1.1)
    one = replace(plain, warnings=("a", "b"))
    other = replace(plain, warnings=("b", "c"))
    assert warnings_of_all([one, REFUSED, other]) == ("b",)
    assert warnings_of_all([one, replace(plain, warnings=())]) == ()
    assert warnings_of_all([one]) == ()

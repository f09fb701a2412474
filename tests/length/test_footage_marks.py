"""Footage marks and our length; two loggers' clocks."""

import numpy as np
import pytest
from invented_line import made_by, speed_profile

from pipeline.errors import SheetError
from pipeline.length.clock_skew import clock_skew
from pipeline.length.footage_marks import FootageMap
from pipeline.results import Refused
from pipeline.wording.say import plain
from tests.said import said

SURVEYED = FootageMap((0.0, 304.1, 608.9, 912.6), (0.0, 304.8, 609.6, 914.4))


def test_the_worked_map() -> None:
    """By hand: 450 m is the mark 450.7 m; scale through the origin 1.001761."""
    assert SURVEYED.mark_at(450.0)[0] == pytest.approx(450.7)
    assert SURVEYED.line_at(450.7)[0] == pytest.approx(450.0)
    assert SURVEYED.scale == pytest.approx(1.0017605311, abs=1e-9)


def test_the_band_between_marks_is_a_bridge() -> None:
    """By hand: 4 cm2 a metre over 304.8 m: 0.175 m half way, against 0.349 m for a free walk."""
    marks = FootageMap((0.0, 304.8), (0.0, 304.8))
    assert marks.mark_at(152.4)[1] == pytest.approx(0.17459, abs=5e-6)
    assert marks.mark_at(0.0)[1] == 0.0
    assert marks.mark_at(304.8)[1] == 0.0
    assert marks.mark_at(609.6)[1] == pytest.approx(0.34917, abs=5e-6)
    read = FootageMap((0.0, 304.8), (0.0, 304.8), read_m=0.05)
    assert read.mark_at(0.0)[1] == pytest.approx(0.05)


def test_the_band_by_simulation() -> None:
    rng = np.random.default_rng(6)
    walk = np.cumsum(0.02 * rng.standard_normal((4000, 300)), axis=1)
    bridge = walk - np.linspace(1 / 300, 1, 300) * walk[:, -1:]
    marks = FootageMap((0.0, 300.0), (0.0, 300.0))
    assert bridge[:, 149].std() == pytest.approx(marks.mark_at(150.0)[1], rel=0.04)
    assert walk[:, -1].std() == pytest.approx(marks.mark_at(600.0)[1], rel=0.04)


def test_there_and_back() -> None:
    for at in (-50.0, 0.0, 10.0, 304.1, 700.0, 912.6, 1500.0):
        assert SURVEYED.line_at(SURVEYED.mark_at(at)[0])[0] == pytest.approx(at)


def test_too_few_marks_and_falling_marks_are_complaints() -> None:
    with pytest.raises(SheetError) as caught:
        FootageMap((0.0,), (0.0, 1.0))
    assert str(caught.value) == (
        "footage marks: 1 positions and 2 marks are given. Give two surveyed marks or more, each with its position."
    )
    with pytest.raises(SheetError) as caught:
        FootageMap((0.0, 10.0), (10.0, 0.0))
    assert str(caught.value) == (
        "footage marks: positions or marks do not rise. Give them in the order they were made; a reel that was "
        "rewound counts backwards, so turn its marks round first."
    )


@pytest.mark.parametrize("skew", [-7.3, -0.5, 0.0, 0.35, 12.0])
def test_clock_skew_from_a_ramp(skew: float) -> None:
    seconds = np.arange(6000) * 0.1
    speed = speed_profile(
        seconds, [(0, 0), (60, 0), (100, 10), (400, 10), (410, 6), (430, 6), (440, 10), (600, 10)]
    )
    rng = np.random.default_rng(1)
    first, second = (speed + 0.03 * rng.standard_normal(6000) for _ in range(2))
    found = clock_skew(seconds, first, seconds + skew, second)
    assert not isinstance(found, Refused)
    assert found.seconds == pytest.approx(skew, abs=0.05)
    assert found.sd_s < 0.05
    if skew == 12.0:
        assert plain(found.told) == (
            f"The second logger's clock stands {found.seconds:.2f} s ahead of the first's: "
            f"{found.length_m:.1f} m of wire at the usual speed. Set the clocks; events placed by the second clock "
            "are that much less sure."
        )
    if skew == 0.0:
        assert plain(found.told).startswith("The two loggers' clocks agree to 0.0")


def test_half_a_second_is_five_metres() -> None:
    """By hand: 0.5 s at 10 m/s is 5 m."""
    seconds = np.arange(3000) * 0.1
    speed = speed_profile(seconds, [(0, 0), (60, 0), (100, 10), (300, 10)])
    found = clock_skew(seconds, speed, seconds + 0.5, speed)
    assert not isinstance(found, Refused)
    assert found.length_m == pytest.approx(5.0, abs=0.05)
    assert made_by(seconds, speed)[-1] > 0


def test_a_steady_run_and_logs_apart_show_no_skew() -> None:
    seconds = np.arange(3000) * 0.1
    rng = np.random.default_rng(2)
    steady = clock_skew(
        seconds, 10 + 0.03 * rng.standard_normal(3000), seconds, 10 + 0.03 * rng.standard_normal(3000)
    )
    assert isinstance(steady, Refused)
    assert said(steady.reason) == (
        "The speed hardly changes in the time both logs share: a ramp, a dip or a stop shows the skew."
    )
    apart = clock_skew(seconds, seconds, seconds + 1e4, seconds)
    assert isinstance(apart, Refused)
    assert said(apart.reason) == "The two logs share too little time to compare their clocks."

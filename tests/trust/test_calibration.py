"""Calibration in date, and reels judged anew after a drift."""

from datetime import date, timedelta

import pytest

from pipeline.sheets.line_sheet import Instrument
from pipeline.trust.calibration import DriftFound, JudgedReel, calibration_on, readjudicate
from pipeline.wording.say import plain

GAUGE = Instrument(
    id="W1",
    kind="wall gauge",
    station_m=20.0,
    sensors=8,
    calibrated=date(2031, 1, 10),
    calibration_due=date(2031, 7, 10),
)
DAY0 = date(2031, 3, 1)


@pytest.mark.parametrize(
    ("day", "state", "sentence"),
    [
        (
            date(2031, 1, 9),
            "not yet calibrated",
            "W1 (wall gauge) was calibrated on 2031-01-10, after this run on 2031-01-09",
        ),
        (date(2031, 1, 10), "in date", "W1 (wall gauge) was in calibration until 2031-07-10"),
        (date(2031, 7, 10), "in date", "W1 (wall gauge) was in calibration until 2031-07-10"),
        (
            date(2031, 7, 11),
            "lapsed",
            "the calibration of W1 (wall gauge) held until 2031-07-10; the run was on 2031-07-11",
        ),
    ],
)
def test_calibration_on_the_day_of_the_run(day: date, state: str, sentence: str) -> None:
    found = calibration_on(GAUGE, day)
    assert (found.state, plain(found.told), found.trusted) == (state, sentence, state == "in date")


def test_a_calibration_not_on_file() -> None:
    bare = Instrument(id="W2", kind="wall gauge", station_m=20.0, sensors=8)
    found = calibration_on(bare, DAY0)
    assert (found.state, plain(found.told)) == (
        "not on file",
        "no calibration of W2 (wall gauge) is on file",
    )


def test_the_worked_drift() -> None:
    """By hand: 6 um in 30 days is 4 um on day 20; 0.348 mm becomes 0.344."""
    drift = DriftFound("W1", DAY0, DAY0 + timedelta(30), 0.006)
    assert drift.bias_on(DAY0 + timedelta(20)) == pytest.approx(0.004)
    assert drift.bias_on(DAY0) == 0.0
    assert drift.bias_on(DAY0 + timedelta(60)) == pytest.approx(0.006)
    reel = JudgedReel(
        "R1", DAY0 + timedelta(20), "minimum wall at any point", "at least", 0.348, 0.002, 0.345
    )
    (found,) = readjudicate(drift, [reel])
    assert found.corrected_mm == pytest.approx(0.344)
    assert (found.state, found.contained) == ("fails", True)
    assert plain(found.told) == (
        "Reel R1, made on 2031-03-21: minimum wall at any point 0.348 mm becomes 0.344 mm with the +0.004 mm of W1 "
        "taken off (limit at least 0.345 mm): fails."
    )


def test_scope_reaches_every_reel_whose_margin_is_less_than_bias_and_doubt() -> None:
    drift = DriftFound("W1", DAY0, DAY0 + timedelta(30), 0.006, bias_sd_mm=0.001)
    reels = [
        JudgedReel(
            "before", DAY0 - timedelta(1), "minimum wall at any point", "at least", 0.346, 0.002, 0.345
        ),
        JudgedReel(
            "thick", DAY0 + timedelta(10), "minimum wall at any point", "at least", 0.380, 0.002, 0.345
        ),
        JudgedReel(
            "near", DAY0 + timedelta(30), "minimum wall at any point", "at least", 0.354, 0.002, 0.345
        ),
        JudgedReel(
            "failed", DAY0 + timedelta(30), "minimum wall at any point", "at least", 0.340, 0.002, 0.345
        ),
        JudgedReel("wide", DAY0 + timedelta(30), "overall diameter", "at most", 2.600, 0.002, 2.597),
    ]
    found = {one.reel.reel: (one.state, one.contained) for one in readjudicate(drift, reels)}
    assert found == {
        "thick": ("unchanged", False),
        "near": ("in doubt", True),
        "failed": ("unchanged", True),
        "wide": ("passes", True),
    }


def test_a_check_and_a_finding_on_one_day_take_the_bias_in_full() -> None:
    assert DriftFound("W1", DAY0, DAY0, 0.006).bias_on(DAY0) == 0.006

"""Whether reel ends are counter readings or metres of wire, and in which unit. Lines and figures are invented."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from pydantic import ValidationError

from pipeline.length.ends_by_stops import ends_are_marked, ends_are_of_wire, ends_met_elsewhere
from pipeline.length.reels import place_reels, reels_on_counter
from pipeline.sheets.run_sheet import Reel
from pipeline.simulator.lines import line_l1

LINE = line_l1()
PATH = LINE.take_up_station_m
ENDS = (500.0, 1300.0, 2100.0)
REELS = tuple(Reel(id=str(n), from_m=a, to_m=b) for n, (a, b) in enumerate(pairwise(ENDS)))


def test_counter_readings_and_metres_of_wire_put_a_reel_where_they_say() -> None:
    counted = place_reels(reels_on_counter(REELS, "counter", LINE), LINE, 3000.0)
    wire = place_reels(reels_on_counter(REELS, "wire", LINE), LINE, 3000.0)
    assert [one.from_m for one in counted] == pytest.approx([500.0 - PATH, 1300.0 - PATH])
    assert [one.from_m for one in wire] + [one.to_m for one in wire] == pytest.approx([500, 1300, 1300, 2100])


def test_ends_that_meet_the_stops_only_as_wire_are_found() -> None:
    stops = [end + PATH + 1.0 for end in ENDS]
    assert ends_are_of_wire(REELS, stops, PATH)
    assert not ends_are_of_wire(REELS, list(ENDS), PATH)
    # A line without stops, or whose stops are at other places, says nothing.
    assert not ends_are_of_wire(REELS, [], PATH)
    assert not ends_are_of_wire(REELS, [700.0, 1700.0], PATH)
    assert not ends_are_of_wire(REELS, [*stops, 501.0], PATH)


def test_ends_that_meet_the_stops_only_further_on_or_in_another_unit_are_found() -> None:
    """How seldom chance does it is counted with stops anywhere, and with the line's own stops beside it."""
    ends = (500.0, 1300.0, 2110.0, 2870.0)
    reels = tuple(Reel(id=str(n), from_m=a, to_m=b) for n, (a, b) in enumerate(pairwise(ends)))
    stops = [end + 1.5 for end in ends]
    assert ends_met_elsewhere(reels, stops, 60.0) is None
    assert ends_met_elsewhere(reels, [one + 45.0 for one in stops], 60.0) is None
    assert ends_met_elsewhere(reels, [one - 210.0 for one in stops], 60.0) == (1.0, pytest.approx(-208.5))
    assert ends_met_elsewhere(reels, [one / 0.3048 for one in ends], 60.0) == (
        pytest.approx(3.2808, abs=1e-4),
        0.0,
    )
    # Two ends, or stops at places of their own, say nothing.
    assert ends_met_elsewhere(reels[:1], [one - 210.0 for one in stops], 60.0) is None
    rng = np.random.default_rng(1)
    assert [n for n in range(300) if ends_met_elsewhere(reels, list(rng.uniform(0, 3500, 8)), 60.0)] == []


def test_ends_are_marked_where_two_of_them_meet_a_stop() -> None:
    assert ends_are_marked(REELS, [501.0, 1298.0, 1700.0])
    assert not ends_are_marked(REELS, [501.0, 1700.0])
    assert not ends_are_marked(REELS, [end + PATH for end in ENDS])
    assert not ends_are_marked(REELS, [])


def test_ends_in_feet_are_ends_in_metres() -> None:
    """A foot is 0.3048 m exactly (yard and pound agreement, 1959)."""
    reel = Reel.model_validate({"id": "A", "from_ft": 1000, "to_ft": 3500.0})
    assert (reel.from_m, reel.to_m) == pytest.approx((304.8, 1066.8))
    for wrong in ({"from_ft": 1.0}, {"from_ft": 1.0, "to_m": 3.0}, {"from_ft": "1", "to_ft": 2.0}):
        with pytest.raises(ValidationError):
            Reel.model_validate({"id": "A", **wrong})

"""A reel end that meets no stop of the line, where the others do, beside a stop without an end: places by hand."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from pipeline.length.ends_by_stops import StrayEnd, ends_beside_stops_m, stray_ends, unsure_by_stops
from pipeline.length.reels import PlacedReel
from pipeline.sheets.run_sheet import Reel

REACH_M = 100.0


def reels(*ends: float) -> tuple[Reel, ...]:
    return tuple(Reel(id=f"K{k}", from_m=a, to_m=b) for k, (a, b) in enumerate(pairwise(ends)))


@pytest.mark.parametrize("late_m", [10.0, 40.0, 300.0, -200.0])
@pytest.mark.parametrize("shift_m", [0.0, 35.0])
def test_an_end_that_is_late_is_found_with_the_stop_that_has_none(late_m: float, shift_m: float) -> None:
    stops = [1000.0, 2500.0, 4000.0, 5500.0]
    ends = [one - shift_m for one in stops]
    ends[1] += late_m
    assert stray_ends(reels(*ends), stops, REACH_M) == (StrayEnd(ends[1], stops[1] - shift_m),)


def test_ends_that_meet_their_stops_are_not_doubted_nor_those_of_a_line_that_does_not_slow() -> None:
    ends = (1000.0, 2500.0, 4000.0, 5500.0)
    assert stray_ends(reels(*ends), ends, REACH_M) == ()
    assert (
        stray_ends(reels(*ends), [*ends, 3100.0, 3200.0], REACH_M) == ()
    )  # two more stops, which are no changes
    assert stray_ends(reels(*ends), [], REACH_M) == ()
    assert stray_ends(reels(1000.0, 2500.0), [1000.0, 2000.0], REACH_M) == ()  # one end alone shows nothing


def test_chance_seldom_doubts_an_end() -> None:
    """Twelve changes and eight stops anywhere: 2 of 2000 at the most, the chance of most ends meeting a stop."""
    rng = np.random.default_rng(16)
    doubted = 0
    for _ in range(2000):
        ends = np.sort(rng.uniform(0.0, 20_000.0, 12))
        doubted += bool(stray_ends(reels(*ends.tolist()), rng.uniform(0.0, 20_000.0, 8).tolist(), REACH_M))
    assert doubted <= 2


def test_both_reels_of_a_stray_end_are_unsure_by_its_distance() -> None:
    placed = [
        PlacedReel(f"K{k}", a - 50.0, a + 950.0, a, a + 1000.0, 1.0)
        for k, a in enumerate((0.0, 1000.0, 2000.0))
    ]
    found = unsure_by_stops(placed, [StrayEnd(1000.0, 850.0)])
    assert [one.end_unsure_m for one in found] == [151.0, 151.0, 1.0]


@pytest.mark.parametrize(
    ("shift_m", "half_m", "beside_m"),
    [(12.0, 3.0, 9.0), (-25.0, 5.0, 20.0), (12.0, 15.0, 0.0), (0.0, 3.0, 0.0), (6.0, 3.0, 0.0)],
)
def test_ends_that_all_lie_beside_their_stops_are_unsure_by_as_much(
    shift_m: float, half_m: float, beside_m: float
) -> None:
    """By hand: the middle lies `shift_m` on, and the line is slow `half_m` on both sides of it."""
    middles = np.array([1000.0, 2500.0, 4000.0, 5500.0])
    slow = [(one - half_m, one + half_m) for one in middles.tolist()]
    assert ends_beside_stops_m(reels(*(middles - shift_m).tolist()), slow, REACH_M) == pytest.approx(beside_m)
    assert ends_beside_stops_m(reels(*(middles - shift_m).tolist()), [], REACH_M) == 0.0


def test_chance_seldom_makes_ends_lie_beside_stops() -> None:
    """As for one end: 2 of 2000 at the most."""
    rng, claimed = np.random.default_rng(17), 0
    for _ in range(2000):
        ends, stops = np.sort(rng.uniform(0.0, 20_000.0, 12)), rng.uniform(0.0, 20_000.0, 8)
        slow = [(one - 3.0, one + 3.0) for one in stops.tolist()]
        claimed += bool(ends_beside_stops_m(reels(*ends.tolist()), slow, REACH_M))
    assert claimed <= 2

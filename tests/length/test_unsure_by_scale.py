"""Reel ends where the counter and the line speed disagree: how far a change of another counter may lie (by hand)."""

import pytest

from pipeline.length.reels import PlacedReel, unsure_by_scale


def placed(start_m: float) -> list[PlacedReel]:
    return [
        PlacedReel(f"K{k}", a - 50.0, a + 950.0, a, a + 1000.0)
        for k, a in enumerate((start_m + 100.0, start_m + 1100.0))
    ]


def unsure(start_m: float, scale: float, made_m: float) -> list[float]:
    return [one.end_unsure_m for one in unsure_by_scale(placed(start_m), scale, start_m, made_m)]


def test_counters_that_agree_leave_no_end_unsure() -> None:
    assert unsure(3000.0, 1.009, 5200.0) == [0.0, 0.0]


def test_a_counter_that_began_at_nought_is_off_by_its_share_of_the_run() -> None:
    assert unsure(0.0, 1.02, 2200.0) == pytest.approx([22.0, 42.0])


def test_a_counter_that_went_on_is_off_by_its_share_since_nought_as_far_as_the_run_has_wire() -> None:
    # 2 % of 4,100 m and 5,100 m, and 150 m of wire after the last end.
    assert unsure(3000.0, 1.02, 5250.0) == pytest.approx([82.0, 102.0])
    # 60 m of wire after the last end: no change lies further on.
    assert unsure(3000.0, 1.02, 5160.0) == pytest.approx([60.0, 60.0])
    # A short counter has its changes further back: 100 m before the first.
    assert unsure(9000.0, 0.98, 11_500.0) == pytest.approx([100.0, 100.0])

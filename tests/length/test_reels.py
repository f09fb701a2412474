"""Reels: take-up changes on the wire, scrap and gaps told, and reels that cannot be."""

import pytest
from invented_line import invented_line

from pipeline.errors import SheetError
from pipeline.length.reels import loose_wire, place_reels
from pipeline.sheets.run_sheet import Reel

LINE = invented_line()


def reels(*spans: tuple[float, float]) -> tuple[Reel, ...]:
    return tuple(Reel(id=f"R{n + 1}", from_m=a, to_m=b) for n, (a, b) in enumerate(spans))


def test_a_reel_cut_by_time_puts_85_m_on_the_wrong_reel() -> None:
    """Derived: wall gauge 20 m and take-up 105 m down the line; change at counter 1605 m.

    The wire crossing over was at the die at 1500 m. At that instant the wall gauge reads the metre 1585, so a
    cut by time gives 85 m of the second reel, 5.7 % of 1500 m, to the first.
    """
    first, second = place_reels(reels((105, 1605), (1605, 3105)), LINE, 3105.0)
    assert (first.from_m, first.to_m, second.to_m) == (0.0, 1500.0, 3000.0)
    at_gauge_when_cut = 1605.0 - 20.0
    assert at_gauge_when_cut - first.to_m == 85.0
    assert (at_gauge_when_cut - first.to_m) / first.length_m == pytest.approx(0.0567, abs=5e-5)
    assert 85.0 / 10.0 == 8.5  # seconds at 10 m/s
    assert tuple(one for one in (first, second) if one.holds(1584.0)) == (second,)


def test_positions_on_a_reel_walk_both_ways() -> None:
    (reel,) = place_reels(reels((200, 1200)), LINE, 1300.0)
    for wire in (reel.from_m, 500.0, reel.to_m):
        assert reel.from_core_m(wire) + reel.from_outer_end_m(wire) == pytest.approx(reel.length_m)
        assert reel.to_m - reel.from_outer_end_m(wire) == wire
    assert (reel.from_m, reel.to_m, reel.length_m) == (95.0, 1095.0, 1000.0)


def test_loose_wire_and_reels_cover_the_run_exactly() -> None:
    placed = place_reels(reels((405, 1105), (1125, 2105)), LINE, 2400.0)
    loose = loose_wire(placed, LINE, 2400.0)
    assert [(one.from_m, one.to_m, one.what) for one in loose] == [
        (0.0, 300.0, "before the first reel"),
        (1000.0, 1020.0, "between reels"),
        (2000.0, 2295.0, "after the last reel"),
        (2295.0, 2400.0, "still in the line"),
    ]
    assert sum(one.to_m - one.from_m for one in loose) + sum(r.length_m for r in placed) == 2400.0


def test_a_run_without_reels_is_all_loose() -> None:
    assert [(one.from_m, one.to_m, one.what) for one in loose_wire((), LINE, 500.0)] == [
        (0.0, 395.0, "before the first reel"),
        (395.0, 500.0, "still in the line"),
    ]


def test_an_accumulator_of_unknown_content_leaves_wire_on_either_reel() -> None:
    first, second = place_reels(reels((105, 1605), (1605, 3105)), LINE, 3105.0, accumulator_unsure_m=12.0)
    assert tuple(one for one in (first, second) if one.holds(1495.0)) == (first, second)
    assert tuple(one for one in (first, second) if one.holds(1505.0)) == (first, second)
    assert tuple(one for one in (first, second) if one.holds(1480.0)) == (first,)
    assert tuple(one for one in (first, second) if one.holds(1520.0)) == (second,)


def test_reels_outside_the_run_are_complaints_all_at_once() -> None:
    with pytest.raises(SheetError) as caught:
        place_reels(reels((100, 1200), (5000, 6000)), LINE, 1100.0, start_m=150.0)
    assert str(caught.value) == (
        "reel R1: it ends at 1200.0 m, after the run ended. The run's counter goes from 150.0 m to 1100.0 m, "
        "through any reset.\n"
        "reel R2: it starts at 5000.0 m, after the run ended. The run's counter goes from 150.0 m to 1100.0 m, "
        "through any reset."
    )
    with pytest.raises(SheetError) as caught:
        place_reels(reels((100, 1000)), LINE, 1100.0, start_m=150.0)
    assert str(caught.value) == (
        "reel R1: it starts at 100.0 m, before the run began. The run's counter goes from 150.0 m to 1100.0 m, "
        "through any reset."
    )


def test_overlapping_reels_are_a_complaint() -> None:
    with pytest.raises(SheetError) as caught:
        place_reels(reels((200, 700), (650, 1000)), LINE, 1100.0)
    assert str(caught.value) == (
        "reel R2: it starts at 650.0 m, before reel R1 ends at 700.0 m. One wire cannot be on two reels: correct "
        "the reel changes in the run sheet."
    )


def test_a_run_shorter_than_the_line_put_nothing_on_a_reel() -> None:
    with pytest.raises(SheetError) as caught:
        place_reels(reels((10, 80)), LINE, 80.0)
    assert str(caught.value) == (
        "line L9: the run made 80.0 m and the take-up stands 105.0 m down the line. No wire of this run reached a "
        "reel: correct 'take_up_station_m', or leave the reels out."
    )
    assert place_reels((), LINE, 80.0) == ()


def test_an_end_written_to_the_nearest_metre_is_accepted() -> None:
    (reel,) = place_reels(reels((105, 1101)), LINE, 1100.4)
    assert reel.to_m == 996.0

"""Cutting plans: what may never happen, remnants, instructions in the plant's units, texts."""

import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import MethodRefusal
from pipeline.length.reel_places import span_on_reel
from pipeline.length.reels import PlacedReel
from pipeline.nonconformance import cutting_demand
from pipeline.nonconformance.cut_instructions import counter_start, cut_instructions
from pipeline.nonconformance.cutting_plan import CuttingPlan, cutting_plan, naive_plan
from pipeline.nonconformance.cutting_rules import CuttingRules, MasterReel, SaleLength, sound_stretches
from pipeline.units import m_from_foot

LENGTHS = tuple(
    SaleLength(m_from_foot(feet), value) for feet, value in ((250, 90.0), (500, 185.0), (1000, 390))
)


def check_sound(plan: CuttingPlan, reels: tuple[MasterReel, ...], rules: CuttingRules) -> None:
    """Pieces touch and cover each reel; what is kept keeps clear of every nonconforming length."""
    reach = rules.clearance_m + rules.unsure_m
    for reel in reels:
        pieces = [one for one in plan.pieces if one.reel_id == reel.reel_id]
        assert pieces[0].from_m == 0.0
        assert pieces[-1].to_m == reel.length_m
        for before, after in pairwise(pieces):
            assert before.to_m == after.from_m
            assert "sale" in (before.kind, after.kind) or "remnant" in (before.kind, after.kind)
        for one in pieces:
            if one.kind == "scrap":
                assert one.value == 0.0
                continue
            for start, end in reel.nonconforming_m:
                assert one.to_m <= start - reach + 1e-6 or one.from_m >= end + reach - 1e-6
            if one.kind == "sale":
                assert one.to_m - one.from_m >= one.sold_m + rules.allowance_m - 1e-6
            else:
                assert one.to_m - one.from_m >= rules.minimum_remnant_m - 1e-6
    assert plan.value == pytest.approx(math.fsum(one.value for one in plan.pieces))


@settings(max_examples=150, deadline=None, derandomize=True)
@given(
    st.lists(st.tuples(st.floats(0, 1500), st.floats(0, 40)), max_size=6),
    st.floats(30, 1500),
    st.sampled_from(["ft", "m"]),
    st.sampled_from([0.0, 1.0, 3.3]),
    st.sampled_from([None, 2]),
)
def test_nothing_nonconforming_is_ever_kept_and_the_plan_beats_cutting_without_one(
    bad: list[tuple[float, float]], length_m: float, unit: str, reach: float, demand: int | None
) -> None:
    reel = MasterReel("K1", length_m, tuple((start, start + long) for start, long in bad))
    rules = CuttingRules(
        clearance_m=reach,
        unsure_m=reach / 2,
        allowance_m=0.2,
        cut_cost=1.5,
        minimum_remnant_m=20.0,
        remnant_value_per_m=0.1,
        unit="ft" if unit == "ft" else "m",
    )
    lengths = (*LENGTHS[:2], SaleLength(LENGTHS[2].length_m, LENGTHS[2].value, demand))
    best, naive = cutting_plan([reel], lengths, rules), naive_plan([reel], lengths, rules)
    for plan in (best, naive):
        check_sound(plan, (reel,), rules)
        if demand is not None:
            assert sum(one.sold_m == LENGTHS[2].length_m for one in plan.pieces) <= demand
    assert best.value >= naive.value - 1e-6


def test_sound_stretches_are_rounded_inward() -> None:
    # 10 ft of clearance and 3.28 ft of doubt at 100 ft to 101 ft of a 200 ft reel, on a grid of 0.1 ft.
    reel = MasterReel("K1", m_from_foot(200.05), ((m_from_foot(100.0), m_from_foot(101.0)),))
    rules = CuttingRules(clearance_m=m_from_foot(10.0), unsure_m=1.0)
    (first, second) = sound_stretches(reel, rules)
    assert (first.from_ticks, first.to_ticks) == (0, 867)  # 100 - 10 - 3.2808 = 86.7192 ft
    assert (second.from_ticks, second.to_ticks) == (1143, 1967)  # 114.2808 ft to 196.7692 ft


def test_a_remnant_is_kept_only_if_long_enough_and_worth_its_cut() -> None:
    reel = MasterReel("K1", m_from_foot(620.0))
    for least_ft, per_m, kinds in (
        (100.0, 0.5, ["sale", "remnant"]),
        (130.0, 0.5, ["sale", "scrap"]),
        (100.0, 0.01, ["sale", "scrap"]),
    ):
        rules = CuttingRules(cut_cost=2.0, minimum_remnant_m=m_from_foot(least_ft), remnant_value_per_m=per_m)
        plan = cutting_plan([reel], LENGTHS, rules)
        assert [one.kind for one in plan.pieces] == kinds
    kept = cutting_plan([reel], LENGTHS, CuttingRules(minimum_remnant_m=30.0, remnant_value_per_m=0.5))
    assert kept.pieces[1].value == pytest.approx(m_from_foot(120.0) * 0.5)


def test_a_remnant_may_be_worth_more_than_what_could_be_sold_of_it() -> None:
    plan = cutting_plan(
        [MasterReel("K1", m_from_foot(600.0))],
        LENGTHS,
        CuttingRules(minimum_remnant_m=m_from_foot(600.0), remnant_value_per_m=2.0),
    )
    assert [(one.kind, round(one.value, 2)) for one in plan.pieces] == [("remnant", 365.76)]


def test_instructions_speak_the_plants_units_as_the_wire_comes_off() -> None:
    placed = PlacedReel("K1", 500.0, 500.0 + m_from_foot(1600.0), 605.0, 605.0 + m_from_foot(1600.0))
    # A defect 1049 ft to 1050 ft from the core lies 550 ft to 551 ft from the outer end.
    defect = (500.0 + m_from_foot(1049.0), 500.0 + m_from_foot(1050.0))
    bad = (span_on_reel(*defect, placed.from_m, placed.to_m),)
    assert [(round(a / 0.3048, 6), round(b / 0.3048, 6)) for a, b in bad] == [(550.0, 551.0)]
    rules = CuttingRules(
        clearance_m=m_from_foot(5.0), allowance_m=m_from_foot(1.0), minimum_remnant_m=m_from_foot(40.0),
        remnant_value_per_m=0.3,
    )  # fmt: skip
    plan = cutting_plan([MasterReel("K1", placed.length_m, bad)], LENGTHS, rules)
    steps = cut_instructions(plan)
    package = "onto a package of {} with 1.0 ft for cut and end samples, and cut."
    assert [one.sentence for one in steps] == [
        "Run from 0.0 ft to 501.0 ft " + package.format("500.0 ft"),
        "Run from 501.0 ft to 545.0 ft onto a stock reel: remnant of 44.0 ft, and cut.",
        "Run from 545.0 ft to 556.0 ft to scrap (11.0 ft), and cut.",
        "Run from 556.0 ft to 1,557.0 ft " + package.format("1,000.0 ft"),
        "Run from 1,557.0 ft to 1,600.0 ft onto a stock reel: remnant of 43.0 ft, and cut.",
    ]
    assert [one.number for one in steps] == [1, 2, 3, 4, 5]
    assert (steps[3].counter_from, steps[3].counter_to) == (556.0, 1557.0)
    assert counter_start(0.0, "ft") == (
        "Set the counter to 0.0 ft at the reel's outer end: it then shows places from the outer end."
    )


def test_a_reel_that_was_begun_is_told_from_the_same_end() -> None:
    reel = MasterReel(
        "K1", m_from_foot(1600.0), ((m_from_foot(800.0), m_from_foot(801.0)),), m_from_foot(500.0)
    )
    steps = cut_instructions(cutting_plan([reel], LENGTHS, CuttingRules()))
    assert [one.sentence for one in steps] == [
        "Run from 500.0 ft to 750.0 ft onto a package of 250.0 ft, and cut.",
        "Run from 750.0 ft to 801.0 ft to scrap (51.0 ft), and cut.",
        "Run from 801.0 ft to 1,301.0 ft onto a package of 500.0 ft, and cut.",
        "Run from 1,301.0 ft to 1,551.0 ft onto a package of 250.0 ft, and cut.",
        "Run from 1,551.0 ft to 1,600.0 ft to scrap (49.0 ft), and cut.",
    ]
    assert counter_start(m_from_foot(500.0), "ft") == (
        "Set the counter to 500.0 ft where the wire was cut last: it then shows places from the outer end."
    )


def test_a_reel_that_is_all_bad_is_all_scrap() -> None:
    plan = cutting_plan([MasterReel("K1", 300.0, ((0.0, 300.0),))], LENGTHS, CuttingRules())
    assert [(one.kind, one.from_m, one.to_m) for one in plan.pieces] == [("scrap", 0.0, 300.0)]
    assert plan.value == 0.0
    limited = (SaleLength(100.0, 5.0, 1),)
    assert cutting_plan([MasterReel("K1", 300.0, ((0.0, 300.0),))], limited, CuttingRules()).value == 0.0


def test_a_length_worth_less_than_its_cut_is_not_cut() -> None:
    plan = cutting_plan([MasterReel("K1", 300.0)], [SaleLength(100.0, 5.0)], CuttingRules(cut_cost=5.0))
    assert [one.kind for one in plan.pieces] == ["scrap"]


def test_what_cannot_be_planned_is_told_all_at_once() -> None:
    with pytest.raises(MethodRefusal) as told:
        cutting_plan(
            [MasterReel("K1", 0.0, ((5.0, 4.0),))],
            [SaleLength(-100.0, 5.0, -1)],
            CuttingRules(cut_cost=float("nan")),
        )
    assert str(told.value) == (
        "cutting plan: a saleable length of -100 m is worth 5. Give a length and a value above 0.\n"
        "cutting plan: -1 of -100 m are wanted. Give 0 or more, or none.\n"
        "reel K1: it holds 0 m. Give the wire on it, above 0 m.\n"
        "reel K1: a nonconforming length runs from 5 m to 4 m. Give its start before its end.\n"
        "cutting plan: a rule is negative or not a number. Give figures of 0 or more."
    )
    with pytest.raises(MethodRefusal) as told:
        naive_plan([MasterReel("K1", 10.0)], [], CuttingRules())
    assert str(told.value) == ("cutting plan: no saleable length is given. Give the lengths the plant sells.")


def test_more_ways_to_cut_than_can_be_tried_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cutting_demand, "MOST_PATTERNS", 10)
    with pytest.raises(MethodRefusal) as told:
        cutting_plan([MasterReel("K1", 2000.0)], [SaleLength(50.0, 9.0, 30)], CuttingRules())
    assert str(told.value) == (
        "cutting plan: with limited demand there are more than 10 ways to cut the reels. "
        "Plan fewer reels or fewer lengths at a time, or leave the demand open."
    )

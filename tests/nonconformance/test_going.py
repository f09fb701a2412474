"""What goes from a reel, and that no piece of a plan touches it; the best plan against every way to cut."""

from __future__ import annotations

import itertools
import math
from datetime import UTC, datetime
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.nonconformance.cutting_plan import cutting_plan
from pipeline.nonconformance.cutting_rules import CuttingRules, MasterReel, SaleLength
from pipeline.nonconformance.disposition import Act, Person, State
from pipeline.nonconformance.going import Going, covered_m, repeat_zones, widened, wire_stays

KINDS = ("nonconforming", "unmonitored", "untested", "contradicted", "either reel", "held", "repeating cause")


def stretches(draw: st.DrawFn, length_m: float) -> tuple[Going, ...]:
    found = draw(
        st.lists(
            st.tuples(st.floats(0, 1), st.floats(0, 0.2), st.floats(0, 2), st.sampled_from(KINDS)),
            max_size=8,
        )
    )
    return tuple(
        one
        for start, long, unsure, kind in found
        for one in widened(
            (Going(start * length_m, min(start + long, 1.0) * length_m, kind, kind),),  # type: ignore[arg-type]
            unsure,
            length_m,
        )
    )


@st.composite
def reels(draw: st.DrawFn) -> tuple[MasterReel, tuple[Going, ...]]:
    length = draw(st.floats(30, 3000))
    going = stretches(draw, length)
    begun = draw(st.sampled_from([0.0, 0.1, 0.5])) * length
    reel = MasterReel(
        "K1",
        length,
        tuple((one.from_m, one.to_m) for one in going),
        begun,
        draw(st.sampled_from([0.0, 1.0, 7.0])),
    )
    return reel, going


@settings(max_examples=300, deadline=None, derandomize=True)
@given(reels(), st.sampled_from(["ft", "m"]), st.sampled_from([0.0, 1.0, 3.3]), st.sampled_from([0.0, 20.0]))
def test_no_piece_sold_or_kept_touches_what_goes(
    made: tuple[MasterReel, tuple[Going, ...]], unit: str, clearance: float, least: float
) -> None:
    reel, going = made
    rules = CuttingRules(
        clearance_m=clearance,
        minimum_remnant_m=least,
        remnant_value_per_m=0.2,
        unit="ft" if unit == "ft" else "m",
    )
    lengths = (SaleLength(30.0, 10.0), SaleLength(100.0, 40.0), SaleLength(152.4, 70.0))
    pieces = cutting_plan([reel], lengths, rules).pieces
    assert pieces[0].from_m == pytest.approx(reel.start_m)
    assert pieces[-1].to_m == pytest.approx(reel.length_m)
    for before, after in pairwise(pieces):
        assert before.to_m == after.from_m
    for piece in pieces:
        assert reel.start_m - 1e-9 <= piece.from_m < piece.to_m <= reel.length_m + 1e-9
        if piece.kind == "scrap":
            continue
        assert piece.to_m <= reel.length_m - reel.end_unsure_m + 1e-6
        for one in going:
            assert not one.meets(piece.from_m + 1e-6, piece.to_m - 1e-6)
            assert max(one.from_m - piece.to_m, piece.from_m - one.to_m) >= clearance - 1e-6


def best_by_hand(ticks: int, lengths: dict[int, float], least: int, per_tick: float) -> float:
    """The most a sound stretch is worth, by trying every number of every length (independent of the program)."""
    best = 0.0
    for counts in itertools.product(*(range(ticks // one + 1) for one in lengths)):
        used = sum(count * one for count, one in zip(counts, lengths, strict=True))
        if used <= ticks:
            rest = ticks - used
            worth = sum(count * value for count, value in zip(counts, lengths.values(), strict=True))
            best = max(best, worth + (rest * per_tick if rest >= max(least, 1) else 0.0))
    return best


@settings(max_examples=150, deadline=None, derandomize=True)
@given(
    st.integers(50, 400),
    st.lists(st.tuples(st.integers(0, 400), st.integers(0, 60)), max_size=3),
    st.dictionaries(st.integers(25, 160), st.integers(1, 50), min_size=1, max_size=3),
    st.integers(0, 5),
    st.integers(0, 60),
)
def test_the_value_is_that_of_the_best_of_all_ways(
    ticks: int, bad: list[tuple[int, int]], lengths: dict[int, int], clearance: int, least: int
) -> None:
    """In tenths of a metre throughout, so that no rounding is between the plan and the trial of every way."""
    reel = MasterReel("K1", ticks / 10, tuple((start / 10, (start + long) / 10) for start, long in bad))
    rules = CuttingRules(
        clearance_m=clearance / 10, minimum_remnant_m=least / 10, remnant_value_per_m=0.5, unit="m"
    )
    plan = cutting_plan([reel], [SaleLength(one / 10, float(value)) for one, value in lengths.items()], rules)
    taken = [False] * ticks
    for start, long in bad:
        for tick in range(max(start - clearance, 0), min(start + long + clearance, ticks)):
            taken[tick] = True
    runs = [sum(1 for _ in group) for gone, group in itertools.groupby(taken) if not gone]
    # A stretch without length parts its neighbours only where its clearance has a length.
    if clearance or all(long for _, long in bad):
        values = {one: float(value) for one, value in lengths.items()}
        assert plan.value == pytest.approx(math.fsum(best_by_hand(run, values, least, 0.05) for run in runs))


def finding(start: float, end: float, cause: str = "roll", of: str = "roll A") -> dict[str, object]:
    return {"rule": "spark-fault", "from_m": start, "to_m": end, "cause": cause, "cause_of": of}


def test_a_repeating_cause_is_in_doubt_from_its_first_mark_to_its_last_and_a_turn_beyond() -> None:
    """Derivation: marks at 100 m and 130 m of a roll of 1.257 m; between them every turn was made by the same roll."""
    (zone,) = repeat_zones(
        [finding(100.0, 101.0), finding(129.0, 130.0), finding(500.0, 501.0, "start-up", "ramp-up")],
        {"roll A": 1.257, "capstan": 4.0},
    )
    assert zone == ((pytest.approx(98.743), pytest.approx(131.257)), "roll A", 2)
    (unnamed,) = repeat_zones([finding(100.0, 101.0, of="roll A or capstan B")], {"capstan": 4.0})
    assert unnamed[0] == pytest.approx((96.0, 105.0))


def test_overlapping_stretches_cover_each_metre_once() -> None:
    going = [Going(0.0, 10.0, "held", ""), Going(5.0, 20.0, "untested", ""), Going(30.0, 31.0, "held", "")]
    assert covered_m(going, 0.0, 100.0) == pytest.approx(21.0)
    assert covered_m(going, 8.0, 30.5) == pytest.approx(12.5)


@pytest.mark.parametrize(
    ("standing", "disposition", "allowed", "evidence", "stays"),
    [
        ("closed", "release", ("release",), "report 7", True),
        ("closed", "release", ("release",), " ", False),
        ("closed", "release", (), "report 7", False),
        ("closed", "scrap", ("release",), "report 7", False),
        ("decided", "release", ("release",), "report 7", False),
    ],
)
def test_wire_stays_only_where_the_decision_is_closed_allowed_and_shown(
    standing: str, disposition: str, allowed: tuple[str, ...], evidence: str, stays: bool
) -> None:
    by, at = Person("quality engineer"), datetime(2026, 3, 5, tzinfo=UTC)
    act = Act("F1", 1, "decide", disposition, by, "seen on a slice", at, evidence)  # type: ignore[arg-type]
    state = State("F1", 1, standing, disposition, by, None)  # type: ignore[arg-type]
    assert wire_stays(state, (act,), allowed) is stays

"""Rewinding, splitting and joining: a point on a shipped length walks back to the line log and forward again."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_line import NO_FLAGS, invented_line, log_of

from pipeline.errors import SheetError
from pipeline.length.line_log import rows_that_saw
from pipeline.length.placement import place_readings
from pipeline.length.reels import PlacedReel
from pipeline.length.rewinds import (
    Rewind,
    Span,
    WirePlace,
    master_package,
    packages_after,
    rewind,
    where_is,
)


def test_a_rewound_length_runs_the_other_way_round() -> None:
    """By hand: a master of 1000 m, 300 m taken from outside: its outermost metre lies at the new core."""
    master = master_package("R1", "M1", 0.0, 1000.0)
    assert master.at_outer_m(0.0) == WirePlace("R1", "M1", 1000.0)
    rest, new = rewind(master, 300.0, "S1")
    assert rest.spans == (Span("R1", "M1", 0.0, 700.0),)
    assert new.spans == (Span("R1", "M1", 1000.0, 700.0),)
    assert new.at_core_m(0.0).wire_m == 1000.0
    assert new.at_outer_m(0.0).wire_m == 700.0
    assert new.at_outer_m(100.0).wire_m == 800.0


def test_rewound_twice_it_runs_the_first_way_again() -> None:
    master = master_package("R1", "M1", 50.0, 1050.0)
    empty, once = rewind(master, 1000.0, "A")
    assert empty.length_m == 0.0
    _, twice = rewind(once, 1000.0, "B")
    assert twice.spans == master.spans


def test_split_and_join_over_a_splice() -> None:
    _, first = rewind(master_package("R1", "M1", 0.0, 400.0), 400.0, "S")
    _, both = rewind(master_package("R2", "M7", 100.0, 300.0), 150.0, "S", start=first)
    assert both.length_m == 550.0
    assert both.splices_m == (150.0,)
    assert both.at_outer_m(0.0) == WirePlace("R2", "M7", 150.0)
    assert both.at_outer_m(149.0) == WirePlace("R2", "M7", 299.0)
    assert both.at_outer_m(151.0) == WirePlace("R1", "M1", 1.0)
    assert where_is((both,), WirePlace("R1", "M1", 1.0)) == (("S", pytest.approx(151.0)),)
    assert where_is((both,), WirePlace("R2", "M7", 120.0)) == ()


def test_cutting_without_turning_makes_no_splice() -> None:
    rest, part = rewind(master_package("R1", "M1", 0.0, 400.0), 100.0, "S")
    _, part = rewind(rest, 100.0, "S", start=part)
    assert part.splices_m == ()
    assert part.spans == (Span("R1", "M1", 400.0, 200.0),)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.floats(1.0, 400.0), min_size=1, max_size=8), st.floats(0.0, 1.0))
def test_every_point_walks_there_and_back(takes: list[float], share: float) -> None:
    """Whatever is wound onto whatever: nothing is lost, and a point found is the point asked for."""
    shelf = {"M1": master_package("R1", "M1", 20.0, 1020.0), "M2": master_package("R2", "M2", 0.0, 500.0)}
    names = ["M1", "M2"]
    for number, take in enumerate(takes):
        source = shelf[names[number % len(names)]]
        if source.length_m < take:
            continue
        onto = f"S{number // 2}"
        rest, wound = rewind(source, take, onto, start=shelf.get(onto))
        shelf[source.id], shelf[onto] = rest, wound
        if onto not in names:
            names.append(onto)
        if source.id == onto:  # a package cannot be wound onto itself
            return
    packages = tuple(one for one in shelf.values() if one.length_m > 1e-3)
    assert sum(one.length_m for one in packages) == pytest.approx(1500.0)
    for package in packages:
        at = share * package.length_m
        place = package.at_outer_m(at)
        found = where_is(packages, place)
        assert any(name == package.id and back == pytest.approx(at, abs=1e-6) for name, back in found)


def test_lengths_that_are_not_there_are_complaints() -> None:
    master = master_package("R1", "M1", 0.0, 400.0)
    with pytest.raises(SheetError) as caught:
        rewind(master, 500.0, "S")
    assert str(caught.value) == (
        "package M1: 500.0 m are to be taken from it. It holds 400.0 m; take more than 0 and no more than that."
    )
    with pytest.raises(SheetError) as caught:
        master.at_outer_m(500.0)
    assert str(caught.value) == ("package M1: there is no wire -100.0 m from its core. It holds 400.0 m.")


def test_the_line_log_of_a_stretch_of_wire() -> None:
    seconds = np.arange(1000) * 0.1
    line = invented_line()
    placement = place_readings(log_of(seconds, seconds * 10, np.full(1000, 10.0)), NO_FLAGS, line)
    found = rows_that_saw(placement, line, 500.0, 502.0)
    by_kind = {row["kind"]: row for row in found.to_dicts()}
    assert (by_kind["wall gauge"]["first_row"], by_kind["wall gauge"]["last_row"]) == (519, 523)
    assert (by_kind["spark tester"]["first_row"], by_kind["spark tester"]["last_row"]) == (589, 593)
    late = rows_that_saw(placement, line, 950.0, 951.0)
    assert late.filter(late["kind"] == "spark tester")["first_row"][0] is None


MASTERS = (PlacedReel("M1", 400.0, 1400.0, 510.0, 1510.0), PlacedReel("M2", 1400.0, 1900.0, 1510.0, 2010.0))


def test_a_length_cut_from_rewound_reels_walks_back_to_the_line() -> None:
    """By hand: 300 m from outside M1 run 1400 down to 1100 from the core of S1; 200 m of them onto C1 turn again."""
    steps = (Rewind("M1", 300.0, "S1"), Rewind("S1", 200.0, "C1"), Rewind("M2", None, "C1"))
    found = {one.id: one for one in packages_after("R1", MASTERS, steps)}
    assert set(found) == {"M1", "S1", "C1"}
    assert found["M1"].spans == (Span("R1", "M1", 400.0, 1100.0),)
    assert found["S1"].spans == (Span("R1", "M1", 1400.0, 1300.0),)
    assert found["C1"].spans == (Span("R1", "M1", 1100.0, 1300.0), Span("R1", "M2", 1900.0, 1400.0))
    assert found["C1"].splices_m == (500.0,)
    # 620 m from C1's outer end lies 80 m from its core.
    assert found["C1"].at_outer_m(620.0) == WirePlace("R1", "M1", 1180.0)
    assert where_is(tuple(found.values()), WirePlace("R1", "M1", 1180.0)) == (("C1", 620.0),)


@pytest.mark.parametrize(
    ("step", "text"),
    [
        (
            Rewind("X9", 10.0, "S1"),
            (
                "rewinding 1, package X9: it holds no wire. These hold wire then: M1, M2; check the order of "
                "the rewindings and the numbers."
            ),
        ),
        (
            Rewind("M1", 10.0, "M1"),
            (
                "rewinding 1, package M1: it is wound onto itself. These hold wire then: M1, M2; check the "
                "order of the rewindings and the numbers."
            ),
        ),
    ],
)
def test_a_rewinding_that_cannot_be(step: Rewind, text: str) -> None:
    with pytest.raises(SheetError) as fault:
        packages_after("R1", MASTERS, (step,))
    assert [str(one) for one in fault.value.complaints] == [text]

"""A finding has one stretch, no finding lies in another of its family, and sums count each metre once."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.length.intervals import union_m
from pipeline.nonconformance.finding import Finding, join_findings, place_sighting
from pipeline.nonconformance.rules import PLACES
from pipeline.wording.say import plain

SEEN = {"count": 1, "voltage": "7 kV", "size": "1 mm", "detail": "x", "subject": "the wall"}
AGAINST = {
    "worst": "0.3 mm",
    "at": "1.0 m",
    "sense": "at least",
    "limit": "0.33 mm",
    "lacking_m": "1.0 m",
    "verdict": "verdict/does not conform",
}
RULES = (
    "wall-point",
    "wall-average",
    "concentricity",
    "diameter",
    "spark-fault",
    "surface-flaw",
    "unmonitored",
)


def sighting(rule: str, from_m: float, to_m: float, reel: str = "A"):
    words = {**SEEN, **AGAINST}
    return place_sighting(rule, from_m, to_m, reel_id=reel, **words)


def kinds(finding: Finding) -> set[tuple[str, str]]:
    return {
        (one.rule.family, "") if one.rule.family in PLACES else (one.rule_id, one.subject)
        for one in finding.sightings
    }


def test_a_thin_spot_within_the_stretch_of_wall_and_concentricity_is_no_finding_of_its_own() -> None:
    """As seen: the wall fails over most of a low concentricity, and again further on within it."""
    found = join_findings(
        "R",
        [
            sighting("concentricity", 6000.0, 7200.0),
            sighting("wall-point", 6400.0, 7200.0),
            sighting("wall-point", 6100.0, 6110.0),
        ],
    )
    assert len(found) == 1
    assert (found[0].from_m, found[0].to_m) == (6000.0, 7200.0)


def test_the_sentence_tells_the_stretch_that_the_table_and_the_place_column_have() -> None:
    (found,) = join_findings(
        "R", [sighting("concentricity", 6000.0, 7200.0), sighting("wall-point", 6400.0, 7200.0)]
    )
    assert found.main.rule_id == "wall-point"
    assert "Over 1200.0 m from 6000.0 to 7200.0 m" in plain(found.told)
    assert plain(found.told).endswith("Also there: concentricity.")


def test_a_length_counted_by_hand() -> None:
    assert union_m([(0.0, 10.0), (5.0, 15.0), (20.0, 21.0)]) == 16.0
    assert union_m([(0.0, 10.0), (5.0, 15.0)], 8.0, 12.0) == 4.0
    assert union_m([]) == 0.0


stretches = st.lists(
    st.tuples(st.sampled_from(RULES), st.integers(0, 400), st.integers(1, 200), st.sampled_from(("A", "B"))),
    min_size=1,
    max_size=25,
)


@settings(max_examples=200, deadline=None)
@given(stretches)
def test_no_finding_meets_another_of_its_family(some: list[tuple[str, int, int, str]]) -> None:
    seen = [sighting(rule, float(at), float(at + long), reel) for rule, at, long, reel in some]
    found = join_findings("R", seen)
    assert sum(len(one.sightings) for one in found) == len(seen)
    for one, other in itertools.combinations(found, 2):
        if one.reel_id == other.reel_id and kinds(one) & kinds(other):
            assert one.to_m < other.from_m or other.to_m < one.from_m
    for one in found:
        told = plain(one.told)
        assert one.main.rule_id == "unmonitored" or f"{one.to_m - one.from_m:.1f} m from" in told
        assert f"from {one.from_m:.1f} to {one.to_m:.1f} m" in told
    again = join_findings("R", list(reversed(seen)))
    assert [(one.from_m, one.to_m) for one in again] == [(one.from_m, one.to_m) for one in found]


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 80), st.integers(0, 30)), max_size=12))
def test_the_union_against_a_painted_ruler(some: list[tuple[int, int]]) -> None:
    """Against a ruler of 120 cells painted one by one."""
    cells = np.zeros(120, dtype=bool)
    for at, long in some:
        cells[at : at + long] = True
    assert union_m([(float(at), float(at + long)) for at, long in some]) == pytest.approx(cells.sum())

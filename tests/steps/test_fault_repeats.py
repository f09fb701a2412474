"""Repeats of spark faults as a run's answers: listed elements, harmonics, any length."""

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import polars as pl
import pytest

from pipeline.results import Refused, Result
from pipeline.statistics.event_repeats import search_repeats
from pipeline.steps.circumstances import fault_places
from pipeline.steps.fault_repeats import by_harmonics, repeat_answer, repeat_answers, scan_answer
from pipeline.words import counted
from tests.said import said


def repeating(turn: float, reels: int = 3, each: int = 9, seed: int = 2) -> list[np.ndarray]:
    """Faults at whole turns, 3 % of a turn off, on reels of 1,500 m."""
    random = np.random.default_rng(seed)
    turns = [np.sort(random.choice(int(1500 / turn), each, replace=False)) for _ in range(reels)]
    return [turn * (one + random.normal(0.0, 0.03, each)) + random.random() for one in turns]


def test_a_listed_element_is_found_and_harmonics_stand_beside_it() -> None:
    places, turns = repeating(1.885), {"capstan": 1.88, "sheave": 1.3}
    told = by_harmonics(places, turns, {"capstan": 1.0, "sheave": 0.0})
    found = repeat_answer(search_repeats(places, turns, 0.0, 0.02), told)
    assert isinstance(found, Result)
    assert found.low < 1.885 < found.high
    assert said(found.warnings)[1] == told
    assert told.startswith("On the reel with most faults (9), ")
    assert " turns of the listed elements by each test, all paid for: Rayleigh " in told
    assert told.count(" at capstan, p = ") == 3 and "; Z^2 with 2 harmonics " in told and "; H " in told


def test_two_marks_a_turn_hide_from_rayleigh_but_not_from_the_harmonics() -> None:
    """Half a turn apart: the first harmonic cancels and the second stands out."""
    (one,) = repeating(1.885, reels=1, each=14)
    told = by_harmonics([np.sort(np.append(one, one + 0.9425))], {"capstan": 1.885}, {"capstan": 0.1})
    p = [float(part.split("p = ")[1].rstrip(".")) for part in told.split("; ")]
    assert p[0] > 0.2 and p[1] < 1e-6 and p[2] < 0.01
    assert by_harmonics([one[:4]], {"capstan": 1.885}, {"capstan": 0.1}) == ""


def test_a_length_nobody_listed_is_found_by_the_scan_and_chance_is_not() -> None:
    found = scan_answer(repeating(2.513), 0.1, 0.02)
    assert isinstance(found, Result)
    assert found.low < 2.513 < found.high
    assert found.details["trials"] > 1000
    assert "Look for a part 800 mm in diameter that touches the wire" in said(found.warnings)[0]
    random = np.random.default_rng(5)
    chance = scan_answer([np.sort(random.uniform(0.0, 1500.0, 9)) for _ in range(3)], 0.1, 0.02)
    assert isinstance(chance, Refused)
    assert said(chance.reason).startswith("No period beyond chance. The strongest is ")
    assert "independent lengths (" in said(chance.reason)


@pytest.mark.parametrize("places", [[], [np.zeros(0)], [np.array([3.0])], [np.full(9, 7.0)]])
def test_no_fault_one_fault_and_all_at_one_place_show_no_length(places: list[np.ndarray]) -> None:
    found = scan_answer(places, 0.1, 0.02)
    assert isinstance(found, Refused)
    n = sum(one.size for one in places)
    assert (
        said(found.reason)
        == f"{counted(n, 'fault')}, none of them three such lengths apart on one reel, cannot show it."
    )


def test_a_run_without_faults_tells_of_no_repeat() -> None:
    placed = SimpleNamespace(events=pl.DataFrame(), reels=())
    line = SimpleNamespace(instrument=lambda kind: None)
    bench = cast(Any, SimpleNamespace(placed=placed, line=line, run=SimpleNamespace(id="R")))
    assert fault_places(bench) == ([], 0.0)
    assert repeat_answers(bench, None) == []

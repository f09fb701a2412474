"""Repeats of spark faults as a run's answers: listed elements, harmonics, any length."""

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import polars as pl
import pytest

from pipeline.results import Refused, Result
from pipeline.statistics.event_repeats import search_repeats
from pipeline.steps.circumstances import fault_places
from pipeline.steps.fault_repeats import repeat_answer, repeat_answers, scan_answer, with_members, with_scale
from pipeline.words import counted
from tests.said import said


def repeating(turn: float, reels: int = 3, each: int = 9, seed: int = 2) -> list[np.ndarray]:
    """Faults at whole turns, 3 % of a turn off, on reels of 1,500 m."""
    random = np.random.default_rng(seed)
    turns = [np.sort(random.choice(int(1500 / turn), each, replace=False)) for _ in range(reels)]
    return [turn * (one + random.normal(0.0, 0.03, each)) + random.random() for one in turns]


def test_a_listed_element_is_found() -> None:
    found = repeat_answer(search_repeats(repeating(1.885), {"capstan": 1.88, "sheave": 1.3}, 0.0, 0.02))
    assert isinstance(found, Result)
    assert found.low < 1.885 < found.high


def test_what_is_not_cleared_stands_beside_the_answer() -> None:
    random = np.random.default_rng(5)
    chance = [np.sort(random.uniform(0.0, 1500.0, 9)) for _ in range(3)]
    found = repeat_answer(search_repeats(chance, {"roll": 0.5}, 0.6, 0.02))
    assert isinstance(found, Refused)
    assert said(found.reason) == (
        "The faults match no listed element. 1 listed element not cleared. roll not cleared: an electrode of 0.6 m is "
        "too long for a turn of 0.5 m (15 % of a match would show). Look for it in the wall or the diameter."
    )


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


def test_the_interval_of_a_period_holds_the_true_turn_whatever_the_counters_scale() -> None:
    """A counter 0.2 % off in standard deviation, 5 % of a turn of scatter: 19 in 20 hold; without the scale few do."""
    random = np.random.default_rng(11)
    with_it = without = 0
    for seed in range(60):
        off = 1.0 + 0.002 * float(random.standard_normal())
        places = [off * one for one in repeating(1.885, seed=seed)]
        found = repeat_answer(search_repeats(places, {"capstan": 1.885}, 0.0, 0.02))
        assert isinstance(found, Result)
        whole = with_scale(found, 0.002)
        with_it += whole.low < 1.885 < whole.high
        without += found.low < 1.885 < found.high
    assert with_it >= 54
    assert without < 20
    assert said(whole.warnings)[-1] == (
        "The interval includes the scale of the length counter, 0.20 % standard uncertainty."
    )


def test_members_are_told_as_a_list() -> None:
    found = repeat_answer(search_repeats(repeating(1.885), {"capstan": 1.885}, 0.0, 0.02))
    assert isinstance(found, Result)
    listed = with_members(found, ((12.0, 0.99), (13.9, 0.85)), 5)
    assert said(listed.warnings)[-1] == (
        "2 of 5 faults belong to it with a probability of 0.80 or more: 12.0 m (0.99), 13.9 m (0.85)."
    )
    assert said(with_members(found, (), 5).warnings)[-1] == (
        "No single one of the 5 faults belongs to it with a probability of 0.80 or more."
    )

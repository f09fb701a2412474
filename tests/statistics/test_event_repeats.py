"""Faults that come back with a turning element, and what cannot be convicted."""

import numpy as np
import pytest

from pipeline.errors import MethodRefusal
from pipeline.results import Refused
from pipeline.statistics.event_repeats import (
    EventRepeat,
    RepeatSearch,
    scan_repeats,
    search_repeats,
)
from pipeline.statistics.phase_agreement import _rayleigh_p, resolved_share
from tests.said import said

TURNS = np.array([3, 50, 51, 120, 300, 301, 500, 700])


def marked(turn_m: float, seed: int = 4) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return turn_m * TURNS + 0.3 * turn_m + rng.normal(0, 0.01 * turn_m, TURNS.size)


def search(*given: object, **named: object) -> RepeatSearch:
    found = search_repeats(*given, **named)  # type: ignore[arg-type]
    assert isinstance(found, RepeatSearch)
    return found


def test_smearing_by_position_and_electrode() -> None:
    # Worked out by a script apart: s = P/4 leaves .29; a 0.9 m electrode leaves .11 of 1.0 m and .67 of 1.885 m.
    assert resolved_share(1.0, 0.25, 0.0) == pytest.approx(0.29121293321402086)
    assert resolved_share(1.0, 0.0, 0.9) == pytest.approx(0.10929240478705181)
    assert resolved_share(1.885, 0.0, 0.9) == pytest.approx(0.6650106575352468)


def test_rayleigh_p_as_worked_out() -> None:
    # Worked out by a script apart: z 3, n 8 gives .0447 where exp(-z) gives .0498; z 7.952, n 8 gives 1.5e-5.
    assert _rayleigh_p(8, np.sqrt(3 * 8)) == pytest.approx(0.0447, abs=5e-5)
    assert _rayleigh_p(8, 8 * 0.9969945592723086) == pytest.approx(1.4765370566317693e-05)
    turns = np.random.default_rng(4).uniform(size=(100_000, 8))
    z = 8 * np.abs(np.exp(2j * np.pi * turns).mean(axis=1)) ** 2
    assert (z > 3).mean() == pytest.approx(0.0447, abs=0.003)


def test_smearing_by_simulation() -> None:
    rng = np.random.default_rng(1)
    at = rng.uniform(0, 0.9, 200_000) + rng.normal(0, 0.2, 200_000)
    vector = abs(np.exp(2j * np.pi * at / 1.885).mean())
    assert vector == pytest.approx(resolved_share(1.885, 0.2, 0.9), abs=0.005)


def test_a_roll_is_found_among_listed_elements() -> None:
    found = search([marked(1.885)], {"capstan": 1.885, "guide sheave": 3.1}, 0.9, 0.02)
    first = found.tested[0]
    assert first.name == "capstan"
    assert first.p_value < 0.02
    assert abs(first.period_m - 1.885) < 4 * first.period_sd_m
    assert said(found.verdict).startswith("Fault period matches capstan (every 1.885 m, p = 0.")
    assert found.tested[1].p_value > 0.05


def smeared(turn_m: float, electrode_m: float, n: int, seed: int) -> np.ndarray:
    """Faults at turns of a roll that fire anywhere in an electrode, over 4 km."""
    rng = np.random.default_rng(seed)
    turns = rng.choice(int(4000.0 / turn_m), n, replace=False)
    return np.sort(turns * turn_m + rng.uniform(0.0, electrode_m, n))


def test_an_electrode_as_long_as_the_roll_hides_few_faults_and_not_many() -> None:
    """A 0.78 m electrode leaves 26 % of a turn of 1.0 m (derived): 30 faults tell nothing, 800 convict.

    Rayleigh: z = n 0.26^2 is 2 for 30 and 54 for 800 faults.
    """
    few = search([smeared(1.0, 0.78, 30, 1)], {"small roll": 1.0, "capstan": 1.885}, 0.78, 0.02)
    assert min(one.p_value for one in few.tested) > 0.05
    assert said(tuple(one.reason for one in few.refused)) == (
        (
            "small roll not cleared: an electrode of 0.78 m is too long for a turn of 1 m (26 % of a match would "
            "show). Look for it in the wall or the diameter."
        ),
    )
    assert said(few.verdict) == ("The faults match no listed element. 1 listed element not cleared.")
    many = search([smeared(1.0, 0.78, 800, 1)], {"small roll": 1.0, "capstan": 1.885}, 0.78, 0.02)
    assert (many.tested[0].name, many.refused) == ("small roll", ())
    assert many.tested[0].p_value < 1e-9
    assert said(many.verdict).startswith("Fault period matches small roll (every 1.000 m, p < 0.0001)")


def test_uncertain_positions_clear_nobody() -> None:
    found = search([np.random.default_rng(2).uniform(0, 1500, 9)], {"capstan": 1.885}, 0.1, 0.8)
    assert said(found.refused[0].reason) == (
        "capstan not cleared: fault positions are known to 0.8 m, too coarse for a turn of 1.885 m (3 % of a match "
        "would show). Locate faults better."
    )


def test_two_marks_a_turn_are_told_of_the_element() -> None:
    """Half a turn apart they cancel at the turn itself."""
    at = np.sort(np.concatenate([marked(1.885), marked(1.885, 5) + 0.9425]))
    found = search([at], {"capstan": 1.885}, 0.05, 0.02).tested[0]
    assert (found.name, found.marks) == ("capstan", 2)
    assert found.period_m == pytest.approx(0.9425, abs=1e-3)
    assert "(every 0.942 m, 2 times a turn, p < 0.0001)" in said(
        search([at], {"capstan": 1.885}, 0.05, 0.02).verdict
    )


def test_phases_that_carry_over_from_reel_to_reel_need_few_faults_a_reel() -> None:
    rng = np.random.default_rng(6)
    reels = [
        np.sort(
            np.append(1.885 * rng.integers(530 * k, 530 * (k + 1), 3), rng.uniform(1e3 * k, 1e3 * k + 1e3))
        )
        for k in range(7)
    ]
    apart = search(reels, {"capstan": 1.885}, 0.0, 0.02, 0.3).tested[0]
    joined = search(reels, {"capstan": 1.885}, 0.0, 0.02, 0.3, one_wire=True).tested[0]
    assert joined.p_value < 0.002 < apart.p_value
    assert (joined.reels, apart.reels) == (1, 7)


def test_bunches_convict_nobody() -> None:
    """Faults in bunches of six within half a metre agree in phase at every long turn, whatever turns there."""
    rng = np.random.default_rng(12)
    called = 0
    for _ in range(60):
        at = np.concatenate([start + rng.uniform(0, 0.5, 6) for start in rng.uniform(0, 1500, 8)])
        tested = search([at], {"a": 1.9, "b": 3.1, "c": 10.0}, 0.1, 0.05, confidence=0.99).tested
        called += min(one.p_value for one in tested) < 0.01
    assert called <= 3


def test_a_half_turn_is_told_to_be_a_harmonic() -> None:
    found = search([marked(1.885)], {"half": 0.9425, "capstan": 1.885}, 0.05, 0.02, 0.1)
    by_name = {one.name: one for one in found.tested}
    assert by_name["half"].harmonic_of == "capstan"
    assert by_name["capstan"].harmonic_of == ""
    assert said(found.verdict).count("every") == 1


def test_two_elements_of_one_turn_are_both_named() -> None:
    found = search([marked(1.885)], {"capstan": 1.885, "roll": 1.89}, 0.1, 0.02)
    assert said(found.verdict).startswith(
        "More than one listed element fits, and the faults do not tell which: capstan (every 1.885 m"
    )
    assert ", roll (every 1.885 m" in said(found.verdict)


def test_reels_add_up_though_their_phases_differ() -> None:
    rng = np.random.default_rng(8)
    reels = [
        1.885 * rng.integers(0, 790, 3) + rng.uniform(0, 1.885) + rng.normal(0, 0.02, 3) for _ in range(8)
    ]
    together = search([*reels, [17.0]], {"capstan": 1.885}, 0.1, 0.02, 0.05).tested[0]
    assert (together.n, together.reels) == (24, 8)
    assert together.p_value < 0.001
    assert together.statistic > 0.9 * 48


@pytest.mark.parametrize("faults", [8, 30])
def test_false_alarms_pay_for_every_period_looked_at(faults: int) -> None:
    # 150 reels of faults placed anywhere; 5 % aimed at. Without the correction the scan alarms every time.
    rng = np.random.default_rng(faults)
    listed, scanned, naive = 0, 0, 0
    for _ in range(150):
        at = [rng.uniform(0, 1500, faults)]
        tests = search(at, {"a": 1.9, "b": 3.1, "c": 10.0}, 0.1, 0.05).tested
        listed += min(one.p_value for one in tests) < 0.05
        scan = scan_repeats(at, 1.8, 5.0, 0.1, 0.05)
        assert isinstance(scan, EventRepeat)
        scanned += scan.p_value < 0.05
        naive += scan.p_local < 0.05
    assert listed / 150 < 0.10
    assert scanned / 150 < 0.10
    assert naive / 150 > 0.95


def test_a_list_has_more_power_than_a_scan() -> None:
    at = [marked(1.885)]
    scan = scan_repeats(at, 1.5, 5.0, 0.1, 0.02)
    assert isinstance(scan, EventRepeat)
    listed = search(at, {"capstan": 1.885}, 0.1, 0.02, 0.1).tested[0]
    assert scan.period_m == pytest.approx(listed.period_m, abs=2e-3)
    assert listed.p_value < scan.p_value / 10


def test_bunches_of_faults_are_told() -> None:
    rng = np.random.default_rng(3)
    at = np.concatenate([start + rng.uniform(0, 0.5, 6) for start in (100.0, 700.0, 1300.0)])
    found = search([at], {"capstan": 1.885}, 0.1, 0.02).tested[0]
    assert said(found.warnings) == (
        (
            "15 of 17 gaps are shorter than half a turn, more than chance makes: these faults come in "
            "bunches. The p-value allows for it."
        ),
    )


def test_faults_at_one_place_and_too_few_faults_are_refused() -> None:
    found = search([[700.0] * 6], {"capstan": 1.885}, 0.1, 0.02)
    assert said(found.refused[0].reason) == (
        "capstan not cleared: on each reel the faults lie within 0 m, less than three turns of 1.885 m."
    )
    few = search_repeats([[1.0, 900.0], [5.0]], {"capstan": 1.885}, 0.1, 0.02)
    assert isinstance(few, Refused)
    assert (
        said(few.reason) == "2 faults on reels with two or more cannot show a repeat; at least 4 are needed."
    )
    none = scan_repeats([[]], 1.0, 5.0, 0.1, 0.02)
    assert isinstance(none, Refused)
    assert said(none.reason) == "0 faults cannot show a repeat; 4 are needed."


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (
            lambda: search_repeats([[1.0, 2.0]], {}, 0.1, 0.02),
            "turns_m: no element is listed. List what turns on the line sheet before looking.",
        ),
        (
            lambda: scan_repeats([[1.0, 2.0]], 5.0, 1.0, 0.1, 0.02),
            "longest_m: 1 m is not above 5 m. Give a longer length.",
        ),
        (
            lambda: resolved_share(0.0, 0.1, 0.1),
            "period_m: 0 m was given. Give a finite number above 0.",
        ),
    ],
)
def test_bad_input_is_told(call: object, text: str) -> None:
    with pytest.raises(MethodRefusal) as caught:
        call()  # type: ignore[operator]
    assert str(caught.value) == text


def test_each_element_may_have_a_tolerance_of_its_own() -> None:
    """As the line sheet gives them; one for all is the same as that one for each."""
    places = [np.arange(1.0, 60.0, 2.0)]
    turns = {"capstan": 2.0, "roll": 3.1}
    own = search_repeats(places, turns, 0.1, 0.05, dict.fromkeys(turns, 1.0))
    assert own == search_repeats(places, turns, 0.1, 0.05, 1.0)
    with pytest.raises(MethodRefusal, match="tolerance_pct of roll"):
        search_repeats(places, turns, 0.1, 0.05, {"capstan": 1.0, "roll": float("nan")})

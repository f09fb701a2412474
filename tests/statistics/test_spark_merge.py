"""Merging of repeated counts, against hand-worked cases and the theory of counters with dead time."""

import math

import numpy as np
import pytest

from pipeline.errors import MethodRefusal
from pipeline.statistics.spark_merge import hidden_faults, merge_events, merge_reach_m


def test_worked_example_as_worked_out_gives_four_events() -> None:
    # Worked out by a script apart: reach 1 m.
    merged = merge_events([100, 100.4, 101.1, 250, 251.3, 900.2], 1.0, 0.0, 5.0)
    assert merged.merged == 4
    assert list(zip(merged.at_m.tolist(), merged.to_m.tolist(), merged.counts.tolist(), strict=True)) == [
        (100.0, 101.1, 3),
        (250.0, 250.0, 1),
        (251.3, 251.3, 1),
        (900.2, 900.2, 1),
    ]
    assert merged.members.tolist() == [0, 0, 0, 1, 2, 3]
    assert merged.raw == 6


def test_a_fixed_window_does_not_extend() -> None:
    at_m = [0.0, 0.9, 1.8, 2.7]
    assert merge_events(at_m, 1.0, 0.0, 5.0).merged == 1
    assert merge_events(at_m, 1.0, 0.0, 5.0, rule="fixed window").counts.tolist() == [2, 2]


def test_reach_is_electrode_and_dead_time_but_never_under_610_mm() -> None:
    # 610 mm (2 ft): UL 444 (2010) 5.1 b, as a public specification gives it.
    assert merge_reach_m(0.9, 0.005, 10.0)[0] == pytest.approx(0.95)
    assert merge_reach_m(0.1, 0.005, 10.0)[0] == pytest.approx(0.610)
    assert merge_events([0.0, 0.605], 0.0, 0.0, 0.0).merged == 1
    assert merge_events([0.0, 0.615], 0.0, 0.0, 0.0).merged == 2


def test_each_count_may_have_its_own_speed() -> None:
    merged = merge_events([0.0, 1.0, 20.0, 21.0], 0.5, 0.1, [10.0, 10.0, 1.0, 1.0])
    assert merged.counts.tolist() == [2, 1, 1]


def test_order_of_the_log_does_not_matter_and_members_point_back() -> None:
    merged = merge_events([900.0, 100.4, 100.0], 0.9, 0.0, 5.0)
    assert merged.members.tolist() == [1, 0, 0]


def test_a_count_without_a_position_is_kept_as_a_fault_of_its_own() -> None:
    merged = merge_events([10.0, math.nan, 10.1], 0.9, 0.0, 5.0)
    assert (merged.raw, merged.merged, merged.without_position) == (3, 2, 1)
    assert merged.members.tolist() == [0, -1, 0]


@pytest.mark.parametrize("rule", ["chain", "fixed window"])
def test_no_count_and_counts_at_one_place(rule: str) -> None:
    nothing = merge_events([], 0.9, 0.0, 5.0, rule=rule)  # type: ignore[arg-type]
    assert (nothing.merged, nothing.raw) == (0, 0)
    one = merge_events([7.0, 7.0, 7.0], 0.9, 0.0, 5.0, rule=rule)  # type: ignore[arg-type]
    assert one.counts.tolist() == [3]


def test_simulation_agrees_with_the_theory_of_both_counters() -> None:
    # Worked out by a script apart: 0.1 per m, reach 1 m, 200 km; theory 18 097 (chain) and 18 182 (fixed).
    rng = np.random.default_rng(7)
    at_m = np.sort(rng.uniform(0, 200_000, rng.poisson(20_000)))
    chain = merge_events(at_m, 1.0, 0.0, 0.0)
    fixed = merge_events(at_m, 1.0, 0.0, 0.0, rule="fixed window")
    assert chain.merged == pytest.approx(200_000 * 0.1 * math.exp(-0.1), rel=0.015)
    assert fixed.merged == pytest.approx(200_000 * 0.1 / 1.1, rel=0.015)
    for merged in (chain, fixed):
        back = hidden_faults(merged.merged, 200_000, 1.0, merged.rule)
        assert back.corrected_per_km == pytest.approx(at_m.size / 200, rel=0.005)
        assert back.merged_per_km < at_m.size / 200


def test_correction_is_the_inverse_of_the_theory() -> None:
    shown = 1e6 * 0.1 * math.exp(-0.1)
    back = hidden_faults(round(shown), 1e6, 1.0, "chain")
    assert back.corrected_per_km == pytest.approx(100.0, abs=0.01)
    assert hidden_faults(0, 1e3, 1.0, "chain").corrected_per_km == 0.0


def test_a_density_no_independent_rate_can_show_is_not_corrected() -> None:
    assert hidden_faults(400, 1000.0, 1.0, "chain").corrected_per_km is None


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (
            lambda: merge_events([1.0, math.inf], 0.9, 0.0, 5.0),
            (
                "at_m: 1 of 2 values are infinite. Give finite numbers; leave a value that is not known as "
                "not-a-number."
            ),
        ),
        (
            lambda: merge_events([1.0], -0.9, 0.0, 5.0),
            "electrode_m: -0.9 m was given. Give a finite number from 0 upwards.",
        ),
        (
            lambda: merge_events([1.0, 2.0], 0.9, 0.0, [1.0, 2.0, 3.0]),
            "speed_m_s: 3 speeds stand against 2 counts. Give one speed for all or one for each count.",
        ),
        (
            lambda: merge_events([1.0], 0.9, 0.0, 5.0, rule="both"),  # type: ignore[arg-type]
            "rule: 'both' is not known. Give one of: chain, fixed window.",
        ),
        (
            lambda: hidden_faults(2, 0.0, 1.0, "chain"),
            "known_m: 0 m of wire had a working spark test. A rate needs a known length above 0 m.",
        ),
    ],
)
def test_bad_input_is_told(call: object, text: str) -> None:
    with pytest.raises(MethodRefusal) as caught:
        call()  # type: ignore[operator]
    assert str(caught.value) == text

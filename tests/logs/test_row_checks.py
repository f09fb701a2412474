"""Each check of single readings against its rule worked out plainly."""

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.columns import CHANNEL_BY_NAME
from pipeline.flags import COUNTER_RESET, MISSING, OUT_OF_RANGE, SPIKE, STEP, STUCK
from pipeline.logs.row_checks.every_check import check_channel, counter_falls, missing_rows, step_rows
from pipeline.logs.row_checks.grid import on_grid
from pipeline.logs.row_checks.spike import NETWORK, rolling_median, spikes
from pipeline.logs.row_checks.stuck import noise_of, stuck_length, stuck_rows


def plain_hampel(values, floor, window=21, k=5.0):
    """The rule as written: a loop over readings, the window cut at the ends."""
    half = window // 2
    found = []
    for place, value in enumerate(values):
        around = values[max(0, place - half) : place + half + 1]
        middle = np.median(around)
        mad = np.median(np.abs(around - middle))
        found.append(abs(value - middle) > k * 1.4826 * max(mad, floor))
    return np.array(found, bool)


@pytest.mark.parametrize("count", [0, 1, 2, 10, 20, 21, 22, 23, 400])
def test_spikes_are_those_of_the_plain_rule(count):
    rng = np.random.default_rng(count)
    values = np.round(0.44 + rng.normal(0, 0.004, count), 3)
    values[rng.random(count) < 0.05] += 0.05
    assert (spikes(values, 0.001) == plain_hampel(values, 0.001)).all()


def test_the_sorting_network_sorts():
    """0-1 principle (D. E. Knuth, The Art of Computer Programming 3, section 5.3.4, theorem Z): it sorts all if it
    sorts every sequence of noughts and ones."""
    for bits in range(2**7):
        values = [bits >> place & 1 for place in range(7)]
        for low, high in NETWORK:
            values[low], values[high] = min(values[low], values[high]), max(values[low], values[high])
        assert values == sorted(values)


@pytest.mark.parametrize("dtype", [np.float64, np.int16])
def test_the_rolling_median_is_numpys(dtype):
    values = np.random.default_rng(8).integers(-50, 50, 3000).astype(dtype)
    expected = np.median(np.lib.stride_tricks.sliding_window_view(values, 21), axis=1)
    assert (rolling_median(values) == expected).all()
    assert rolling_median(values).dtype == dtype


@pytest.mark.parametrize("step", [0.001, 0.00254, 0.01, 25.4e-4, 1 / 3])
def test_counting_in_steps_changes_no_outcome(step):
    rng = np.random.default_rng(9)
    values = (
        rng.normal(440, 4, 70_000).round() + rng.integers(-30, 30, 70_000) * (rng.random(70_000) < 0.01)
    ) * step
    values[500:540] = values[500]
    values[40_000:] += 80 * step
    grid = on_grid(values)
    assert grid.values.dtype == np.int16
    assert grid.step == pytest.approx(step)
    assert (spikes(grid.values, 1.0) == spikes(values, step)).all()
    assert (stuck_rows(grid.values, 1.0, 4.0) == stuck_rows(values, step, 4 * step)).all()
    assert (step_rows(grid.values, grid.level, 1.0) == step_rows(values, 0.0, step)).all()
    assert step_rows(grid.values, grid.level, 1.0).tolist() == [40_000]


def test_spikes_across_the_blocks_they_are_worked_out_in():
    rng = np.random.default_rng(10)
    values = rng.normal(440, 4, 66_000).round()
    values[32_700:32_840:7] += 60
    found = spikes(values.astype(np.int16), 1.0)
    assert (found == spikes(values, 1.0)).all()
    assert (found[32_600:32_900] == plain_hampel(values[32_590:32_910], 1.0)[10:-10]).all()


def test_readings_that_show_no_steps_stay_as_they_are():
    values = np.random.default_rng(11).normal(0.44, 0.004, 500)
    assert on_grid(values).values is values
    assert on_grid(np.full(5, 0.44)).step == 0.0
    assert on_grid(np.zeros(0)).step == 0.0
    late = np.full(30_000, 0.44)
    late[25_000:] = 0.441
    assert on_grid(late).step == pytest.approx(0.001)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(-40, 40), max_size=70), st.sampled_from([0.5, 1.0, 3.0]))
def test_spikes_are_those_of_the_plain_rule_with_ties_and_plateaus(values, floor):
    array = np.array(values, float)
    assert (spikes(array, floor) == plain_hampel(array, floor)).all()


def test_share_of_clean_noise_that_is_called_a_spike():
    # No published figure; 0.07 % is from a seeded simulation of ours with another generator.
    values = np.random.default_rng(7).normal(0, 1, 200_000)
    assert 100 * spikes(values, 0.0).mean() == pytest.approx(0.07, abs=0.03)


def test_a_spike_does_not_depend_on_unit_or_level():
    rng = np.random.default_rng(3)
    values = rng.normal(0, 4, 500).round()
    values[[40, 200, 201]] += 100
    found = spikes(values, 1.0)
    assert found[[40, 200, 201]].all()
    assert (spikes(values * 0.0254 + 7.0, 0.0254) == found).all()
    assert (spikes(values[::-1], 1.0)[::-1] == found).all()


def test_length_of_a_stuck_run():
    # By hand: p = 1 / (2 x 5 x sqrt(pi)) = 0.0564, and 0.0564^8 = 1.0e-10 < 1e-9 <= 0.0564^7, so 9 in a row.
    assert stuck_length(1.0, 5.0) == 9
    # Twice the noise makes equal neighbours rarer: p = 0.0282, 0.0282^6 = 5.0e-10, so 7.
    assert stuck_length(1.0, 10.0) == 7
    # Where the log itself repeats half of its readings, 0.5^30 = 9.3e-10, so 31.
    assert stuck_length(1.0, 5.0, equal_share=0.5) == 31


def test_equal_neighbours_of_gaussian_readings():
    # The density of the difference of two Gaussian readings at zero, times q: 0.0564 for s = 5 q.
    values = np.random.default_rng(1).normal(0, 5, 400_000).round()
    assert (np.diff(values) == 0).mean() == pytest.approx(0.0564, abs=0.002)
    assert noise_of(values) == pytest.approx(5.0, rel=0.06)


def test_a_stuck_run_is_found_and_nothing_else():
    values = np.random.default_rng(2).normal(440, 5, 20_000).round()
    values[3000:3100] = 441
    found = stuck_rows(values, 1.0, 4.0)
    assert set(range(3001, 3099)) <= set(found.tolist()) <= set(range(2998, 3102))


def test_a_sensor_stuck_from_end_to_end_is_stuck():
    assert stuck_rows(np.full(50, 0.44), 0.001, 0.004).size == 50
    assert stuck_rows(np.full(5, 0.44), 0.001, 0.004).size == 0
    assert stuck_rows(np.array([0.44]), 0.001, 0.004).size == 0


def test_a_coarse_log_is_not_called_stuck():
    # Noise of 4 shown in steps of 10 repeats its readings often; that is the log's resolution.
    values = (np.random.default_rng(4).normal(440, 4, 20_000) / 10).round() * 10
    assert stuck_rows(values, 10.0, 4.0).size == 0


def test_a_step_is_found_where_it_is():
    rng = np.random.default_rng(5)
    values = 0.44 + rng.normal(0, 0.004, 1000)
    values[600:] += 0.08
    values[300] += 0.2
    assert step_rows(values, 0.0, 0.001).tolist() == [600]
    slow = 0.44 + rng.normal(0, 0.004, 1000) + np.linspace(0, 0.2, 1000)
    assert step_rows(slow, 0.0, 0.001).size == 0
    assert step_rows(values[:19], 0.0, 0.001).size == 0


def test_missing_where_a_value_was_due():
    assert missing_rows(np.array([False, True, False, False])).tolist() == [1]
    assert missing_rows(np.array([True, True])).tolist() == [0, 1]
    # A value in every third row: rows between are not due; after a hole the due ones are.
    slow = np.ones(30, bool)
    slow[::3] = False
    assert missing_rows(slow).size == 0
    slow[[12, 15]] = True
    assert missing_rows(slow).tolist() == [12, 15]
    late = np.ones(30, bool)
    late[9:21:3] = False
    assert missing_rows(late).tolist() == [0, 3, 6, 21, 24, 27]


def test_counter_resets_and_misread_figures():
    up = np.arange(0, 100, 5.0)
    resets, misread = counter_falls(np.concatenate([up, up]))
    assert resets.tolist() == [20]
    assert misread.size == 0
    dip = up.copy()
    dip[10:12] = 0.0
    assert [found.tolist() for found in counter_falls(dip)] == [[], [10, 11]]
    peak = up.copy()
    peak[10] = 9999.0
    assert [found.tolist() for found in counter_falls(peak)] == [[], [10]]
    # Pulled back by 8 m: for the placing on the wire, not a reset.
    assert [found.size for found in counter_falls(np.array([50.0, 55.0, 47.0, 52.0]))] == [0, 0]
    assert [found.size for found in counter_falls(np.array([50.0]))] == [0, 0]


def test_a_reset_between_two_parts_of_a_long_counter():
    counter = np.arange(2**21 + 10, dtype=float)
    for reset in (2**20, 2**20 + 1, 2**21, 2**21 + 1):
        fallen = counter.copy()
        fallen[reset:] -= fallen[reset]
        assert counter_falls(fallen)[0].tolist() == [reset]


def test_one_channel_through_all_checks():
    rng = np.random.default_rng(6)
    values = (0.44 + rng.normal(0, 0.004, 600)).round(3).tolist()
    values[100] = 0.55
    values[200:230] = [0.441] * 30
    values[300] = None
    values[301] = 55.0
    values[302] = float("inf")
    found = {
        flag.code: places.tolist()
        for places, flag in check_channel(CHANNEL_BY_NAME["wall_1_mm"], pl.Series(values), 0.001, 0.004)
    }
    assert found[MISSING.code] == [300]
    assert found[OUT_OF_RANGE.code] == [301, 302]
    assert 100 in found[SPIKE.code]
    assert set(range(201, 229)) <= set(found[STUCK.code])
    assert found[STEP.code] == []


def test_the_counter_through_all_checks():
    values = pl.Series([0.0, 20.0, 40.0, None, 60.0, 0.0, 20.0, 40.0])
    found = {
        flag.code: places.tolist()
        for places, flag in check_channel(CHANNEL_BY_NAME["counter_m"], values, None, None)
    }
    assert found == {MISSING.code: [3], COUNTER_RESET.code: [5], SPIKE.code: []}


@pytest.mark.parametrize("values", [[], [None], [None, None], [0.44], [0.44] * 3])
def test_short_and_empty_channels_pass_every_check(values):
    series = pl.Series(values, dtype=pl.Float64)
    flags = {
        flag.code: places.tolist()
        for places, flag in check_channel(CHANNEL_BY_NAME["wall_1_mm"], series, 0.001, 0.004)
    }
    assert flags.pop(MISSING.code, []) == [place for place, value in enumerate(values) if value is None]
    assert not any(flags.values())

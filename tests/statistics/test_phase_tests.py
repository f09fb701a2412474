"""Tests of phases at a period named beforehand."""

import math

import numpy as np
import pytest
from scipy import stats

from pipeline.errors import MethodRefusal
from pipeline.statistics.phase_tests import (
    h_test,
    kuiper_p,
    kuiper_test,
    look_elsewhere,
    rayleigh_p,
    rayleigh_test,
    v_test,
    z2_test,
)

RNG = np.random.default_rng(4)
MARKED = 1.9 * np.array([3, 50, 51, 120, 300, 301, 500, 700]) + 0.7 + RNG.normal(0, 0.02, 8)


def test_rayleigh_p_as_worked_out() -> None:
    # Worked out by a script apart: z 3, n 8 gives .0447 where exp(-z) gives .0498; z 7.952, n 8 gives 1.5e-5.
    assert float(rayleigh_p(8, math.sqrt(3 * 8))) == pytest.approx(0.0447, abs=5e-5)
    assert float(rayleigh_p(8, 8 * 0.9969945592723086)) == pytest.approx(1.4765370566317693e-05)
    assert float(rayleigh_p(8, 8 * math.sqrt(0.9208406535392453 / 8))) == pytest.approx(0.4106684866656054)


def test_rayleigh_p_against_simulation() -> None:
    turns = RNG.uniform(size=(100_000, 8))
    z = 8 * np.abs(np.exp(2j * np.pi * turns).mean(axis=1)) ** 2
    assert (z > 3).mean() == pytest.approx(0.0447, abs=0.003)


def test_z2_is_twice_rayleigh_and_adds_harmonics() -> None:
    one = rayleigh_test(MARKED, 1.9)
    assert z2_test(MARKED, 1.9, 1).statistic == pytest.approx(2 * one.statistic)
    assert z2_test(MARKED, 1.9, 2).statistic == pytest.approx(
        2 * (one.statistic + rayleigh_test(MARKED, 1.9 / 2).statistic)
    )
    assert z2_test(MARKED, 1.9, 1).p_value == pytest.approx(math.exp(-one.statistic))


def test_h_is_the_best_of_twenty_penalised_sums() -> None:
    best = max(z2_test(MARKED, 1.9, m).statistic - 4 * m + 4 for m in range(1, 21))
    assert h_test(MARKED, 1.9).statistic == pytest.approx(best)
    assert h_test(MARKED, 1.9).p_value == pytest.approx(1 / 5000)


def test_h_of_many_faults_follows_its_law() -> None:
    # Worked out by a script apart: n 100, p .0186 simulated against exp(-.4 H) = .0183 at H 10.
    turns = RNG.uniform(size=(3000, 100))
    alarms = np.mean([h_test(row, 1.0).p_value < math.exp(-4) for row in turns])
    assert alarms == pytest.approx(math.exp(-4), abs=0.008)


def test_h_of_few_faults_is_simulated_and_uniform_under_chance() -> None:
    p = [h_test(row, 1.0, simulations=199).p_value for row in RNG.uniform(size=(300, 6))]
    assert stats.kstest(p, "uniform").pvalue > 0.01


def test_shifting_all_faults_changes_only_the_place_of_the_turn() -> None:
    here, there = rayleigh_test(MARKED, 1.9), rayleigh_test(MARKED + 0.475, 1.9)
    assert there.statistic == pytest.approx(here.statistic)
    assert (there.mean_turn - here.mean_turn) % 1 == pytest.approx(0.25)


def test_a_known_place_of_the_turn_has_more_power() -> None:
    place = rayleigh_test(MARKED, 1.9).mean_turn
    assert v_test(MARKED, 1.9, place).p_value < 1e-4
    assert v_test(MARKED, 1.9, place + 0.5).p_value > 0.999


def test_kuiper_against_scipy_and_its_law() -> None:
    turns = np.sort(RNG.uniform(size=40))
    up = stats.kstest(turns, "uniform", alternative="greater").statistic
    down = stats.kstest(turns, "uniform", alternative="less").statistic
    star = (up + down) * (math.sqrt(40) + 0.155 + 0.24 / math.sqrt(40))
    assert kuiper_test(turns, 1.0).statistic == pytest.approx(star)
    assert kuiper_p(0.0) == 1.0
    p = [kuiper_test(row, 1.0).p_value for row in RNG.uniform(size=(2000, 20))]
    assert np.mean(np.array(p) < 0.05) == pytest.approx(0.05, abs=0.015)


def test_a_range_of_periods_is_paid_for() -> None:
    # Worked out by a script apart: .2 to 1 per m over 1.5 km are 1.2e3 tries; H 97 survives, z 3 does not.
    tries = (1.0 - 0.2) * 1500
    assert tries == pytest.approx(1.2e3)
    assert look_elsewhere(1.187047598188167e-17, tries) == pytest.approx(1.4e-14, rel=0.02)
    assert look_elsewhere(0.0447, tries) == pytest.approx(1.0)
    assert look_elsewhere(0.01, 1) == pytest.approx(0.01)


def test_two_opposite_places_hide_from_rayleigh_and_not_from_h() -> None:
    at = np.arange(40) * 0.5
    assert rayleigh_test(at, 1.0).p_value > 0.9
    assert h_test(at, 1.0).p_value < 1e-6


def test_no_fault_and_one_fault() -> None:
    for test in (rayleigh_test, z2_test, h_test, kuiper_test):
        assert test([], 1.9).p_value == 1.0
    assert rayleigh_test([3.0], 1.9).p_value == pytest.approx(math.exp(math.sqrt(5) - 3))


def test_bad_input_is_told() -> None:
    with pytest.raises(MethodRefusal) as caught:
        rayleigh_test([1.0, 2.0], 0.0)
    assert str(caught.value) == "period_m: 0 m was given. Give a finite number above 0."
    with pytest.raises(MethodRefusal) as caught:
        h_test([1.0, math.inf], 1.0)
    assert str(caught.value) == (
        "at_m: 1 of 2 values are infinite. Give finite numbers; leave a value that is not known as "
        "not-a-number."
    )

"""Samples of a run against its line: the rate of false alarms over whole runs, and the smallest bias that is found.

The runs here are drawn by the standard normal laws that JCGM 100 speaks of: the gauge's and the laboratory's errors
either the same in every sample of a run or new in each; which of the two a plant has nobody knows.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from pipeline.trust.against_line import ComparedWithLine, comparisons_of, coverage_factor, mean_apart

U_LAB, U_LINE, PLACE = 0.0015, 0.004, 0.003


def test_the_factor_of_one_comparison_is_the_two_sided_normal_one_and_grows_with_their_number() -> None:
    """Normal quantiles by SciPy, an independent program."""
    assert coverage_factor(1, 0.01) == pytest.approx(float(stats.norm.isf(0.005)))
    assert coverage_factor(6, 0.01) == pytest.approx(float(stats.norm.isf(0.01 / 12.0)))
    assert comparisons_of({"mean_wall_mm": 1, "thinnest_wall_mm": 4}) == 6
    # The E_n number's k = 2 calls one good sample in twenty a contradiction: 2 (1 - Phi(2)) = 0.0455.
    assert 2.0 * float(stats.norm.sf(2.0)) == pytest.approx(0.0455, abs=5e-5)


def blocked(
    rng: np.random.Generator, samples: int, bias: float = 0.0, shared: bool = True, width: float = 0.0
) -> bool:
    """Whether a run's samples contradict its line; `width` is how far the line's bounds are apart, truth within."""
    line = bias + U_LINE * rng.standard_normal()
    errors = rng.standard_normal() * np.ones(samples) if shared else rng.standard_normal(samples)
    true = rng.uniform(-width / 2.0, width / 2.0, samples)
    compared = [
        ComparedWithLine(
            true[k] + U_LAB * errors[k] + PLACE * rng.standard_normal(),
            U_LAB,
            line - width / 2.0,
            line + width / 2.0,
            U_LINE,
            PLACE,
        )
        for k in range(samples)
    ]
    factor = coverage_factor(comparisons_of({"a": samples}), 0.01)
    means = [mean_apart(compared, factor).e_n] if samples > 1 else []
    return any(abs(one) > 1.0 for one in (*(each.e_n(factor) for each in compared), *means))


@pytest.mark.parametrize("samples", [1, 3, 8, 20])
@pytest.mark.parametrize("shared", [True, False])
def test_samples_of_a_good_run_block_it_at_most_once_in_a_hundred(samples: int, shared: bool) -> None:
    rng = np.random.default_rng(160 + samples)
    runs = 4000
    found = sum(blocked(rng, samples, shared=shared) for _ in range(runs))
    # 1 % of the runs and what chance may add to it: the 99.9 % point of the binomial law.
    assert found <= int(stats.binom.isf(0.001, runs, 0.01))


def test_a_wall_known_only_between_bounds_contradicts_no_sample_within_them() -> None:
    rng = np.random.default_rng(17)
    found = sum(blocked(rng, 5, width=0.02) for _ in range(3000))
    assert found <= int(stats.binom.isf(0.001, 3000, 0.01))
    assert ComparedWithLine(0.349, 0.001, 0.340, 0.352, 0.003, 0.0).e_n(2.0) == 0.0
    # By hand: 0.006 below the lower bound over 2 sqrt(0.001^2 + 0.003^2) = 0.00632.
    assert ComparedWithLine(0.334, 0.001, 0.340, 0.352, 0.003, 0.0).e_n(2.0) == pytest.approx(
        -0.006 / 0.0063246, rel=1e-4
    )


@pytest.mark.parametrize(("samples", "bias"), [(1, 0.0202), (5, 0.0185), (20, 0.0185)])
def test_the_smallest_bias_of_a_gauge_that_is_found_nine_times_in_ten(samples: int, bias: float) -> None:
    """Derivation for one sample: (z(0.995) + z(0.9)) sqrt(0.0015^2 + 0.004^2 + 0.003^2) = 3.858 x 0.00522 = 0.0201.

    Several find less than that by only a little: the gauge's own 0.004 mm is the same in each.
    """
    rng = np.random.default_rng(18)
    found = sum(blocked(rng, samples, bias) for _ in range(1500))
    assert found / 1500 >= 0.88
    fewer = sum(blocked(rng, samples, 0.75 * bias) for _ in range(1500))
    assert fewer / 1500 < 0.90

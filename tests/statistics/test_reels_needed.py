"""How many reels to claim an index."""

import numpy as np
import pytest
from scipy import stats

from pipeline.errors import MethodRefusal
from pipeline.statistics.capability import index_lower_bound
from pipeline.statistics.reels_needed import chance_to_prove, index_that_proves, reels_needed

# Own tables, computed from the noncentral t of scipy; no printed source was read.
KEPT_PROVES = {
    1.33: {10: 2.219, 20: 1.845, 30: 1.720, 50: 1.612, 100: 1.517, 200: 1.457, 400: 1.417},
    1.67: {10: 2.773, 20: 2.306, 30: 2.151, 50: 2.018, 100: 1.901, 200: 1.826, 400: 1.778},
}


@pytest.mark.parametrize("claimed", [1.33, 1.67])
def test_index_that_proves_is_the_inverse_of_the_lower_bound(claimed: float) -> None:
    for reels, kept in KEPT_PROVES[claimed].items():
        found = index_that_proves(claimed, reels)
        assert index_lower_bound(found, reels) == pytest.approx(claimed, abs=1e-9)
        assert found == pytest.approx(kept, abs=5e-4)


def test_the_proving_index_is_a_quantile_of_scipys_noncentral_t() -> None:
    scale = 3.0 * 30**0.5
    found = index_that_proves(1.33, 30)
    assert found == pytest.approx(stats.nct.ppf(0.95, 29, 1.33 * scale) / scale, rel=1e-6)
    assert chance_to_prove(1.33, 1.67, 30) == pytest.approx(
        stats.nct.sf(found * scale, 29, 1.67 * scale), abs=1e-6
    )


@pytest.mark.parametrize(
    ("claimed", "true", "kept"),
    [(1.33, 1.5, 245), (1.33, 1.67, 71), (1.33, 2.0, 24), (1.67, 2.0, 107), (1.67, 2.33, 34)],
)
def test_reels_for_an_80_percent_chance(claimed: float, true: float, kept: int) -> None:
    found = reels_needed(claimed, true)
    assert found == kept
    assert chance_to_prove(claimed, true, found) >= 0.8 > chance_to_prove(claimed, true, found - 1)


def test_chance_by_simulation() -> None:
    # 71 reels of true index 1.67: the exact bound proves 1.33 in 80 of 100 trials.
    x = np.random.default_rng(4).standard_normal((40_000, 71)) + 3 * 1.67
    index = x.mean(axis=1) / (3 * x.std(axis=1, ddof=1))
    assert np.mean(index >= index_that_proves(1.33, 71)) == pytest.approx(
        chance_to_prove(1.33, 1.67, 71), abs=0.006
    )


def test_many_reels_tend_to_the_normal_form() -> None:
    # C = C0 + z sqrt(1/(9 n) + C^2/(2 n)) solved by hand for n 90,000: the difference is of order 1/n.
    n, z = 90_000, 1.6448536269514722
    found = index_that_proves(1.33, n)
    assert found == pytest.approx(1.33 + z * (1 / (9 * n) + found**2 / (2 * n)) ** 0.5, abs=2e-5)


def test_complaints_in_full() -> None:
    with pytest.raises(MethodRefusal) as told:
        reels_needed(1.33, 1.33)
    assert str(told.value) == (
        "reels_needed: true: a process of true index 1.33 cannot prove 1.33. Assume a true index above "
        "the claim."
    )
    with pytest.raises(MethodRefusal) as told:
        reels_needed(1.33, 1.331)
    assert str(told.value) == (
        "reels_needed: true: more than 100000 reels would be needed to tell 1.331 from 1.33. Assume a "
        "true index further above the claim, or claim less."
    )
    with pytest.raises(MethodRefusal) as told:
        index_that_proves(1.33, 1)
    assert str(told.value) == "reels_needed: reels: 1 reels show no spread. Give two reels or more."
    with pytest.raises(MethodRefusal) as told:
        index_that_proves(1.33, 10, 1.5)
    assert str(told.value) == (
        "confidence: 1.5 was given. Give a share between 0 and 1, such as 0.95 for 95 %."
    )

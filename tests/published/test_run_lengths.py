"""Average run lengths against published tables; each data file names its source."""

import math

import pytest
from worked_cases import printed

from pipeline.statistics.run_length import cusum_arl, ewma_arl
from pipeline.statistics.run_rules import FOUR_RULES, run_rules_arl


@pytest.mark.parametrize("quantity", list(printed("ARL-01")))
def test_three_sigma_limits(quantity: str) -> None:
    # ARL-01: Champ & Woodall 1987, rule 1; Montgomery.
    value, half = printed("ARL-01")[quantity]
    # An EWMA of weight 1 forgets at once: it is the chart of single points.
    assert ewma_arl(1.0, 3.0, float(quantity.split()[-1])) == pytest.approx(value, abs=half)


@pytest.mark.parametrize("quantity", list(printed("ARL-03")))
def test_tabular_cusum(quantity: str) -> None:
    # ARL-03: Montgomery, table 9.3; NIST e-Handbook 6.3.2.3.1 for the one-sided 336 (one unit off).
    value, half = printed("ARL-03")[quantity]
    words = quantity.split()
    h, shift = float(words[-3].removeprefix("h=")), float(words[-1])
    one_sided = quantity.startswith("one-sided")
    found = cusum_arl(0.5, h, shift, two_sided=not one_sided)
    assert found == pytest.approx(value, abs=1.0 if one_sided else half)


@pytest.mark.parametrize("quantity", list(printed("ARL-04")))
def test_cusum_designs_for_370(quantity: str) -> None:
    # ARL-04: Hawkins 1993, Montgomery table 9.4; h is printed to two decimals, so 2 % is allowed.
    _, k, h = (word.split("=")[-1] for word in quantity.split())
    assert cusum_arl(float(k), float(h)) == pytest.approx(370, rel=0.02)


def siegmund_arl(k: float, h: float, shift: float = 0.0) -> float:
    """One side, approximately: (exp(-2 D b) + 2 D b - 1)/(2 D^2), D = shift - k, b = h + 1.166 (Siegmund 1985)."""
    drift, b = shift - k, h + 1.166
    if drift == 0.0:
        return b * b
    return (math.exp(-2 * drift * b) + 2 * drift * b - 1) / (2 * drift**2)


def test_siegmund_approximation() -> None:
    # ARL-05: Montgomery, section 9.1.3, k = 0.5, h = 5; the exact averages lie within 1 %.
    answers = printed("ARL-05")
    one = siegmund_arl(0.5, 5.0)
    assert one == pytest.approx(answers["one-sided ARL0"][0], abs=answers["one-sided ARL0"][1])
    assert one / 2 == pytest.approx(answers["two-sided ARL0"][0], abs=answers["two-sided ARL0"][1])
    up, down = siegmund_arl(0.5, 5.0, 0.5), siegmund_arl(0.5, 5.0, -0.5)
    value, half = answers["ARL shift 0.5"]
    assert 1 / (1 / up + 1 / down) == pytest.approx(value, abs=half)
    for shift in (0.0, 0.5):
        exact = cusum_arl(0.5, 5.0, shift, two_sided=False)
        assert siegmund_arl(0.5, 5.0, shift) == pytest.approx(exact, rel=0.01)


def test_four_run_rules_together() -> None:
    # Champ & Woodall, Technometrics 29 (1987) 393: 91.75 (from memory; a script apart gives the same).
    assert run_rules_arl(FOUR_RULES) == pytest.approx(91.75, abs=0.005)

"""Published figures of EWMA charts, run rules, small counts, shares and agreement; each data file names its source.

What a file says is from memory was not looked up; that whole tables come out to the printed digit speaks for it.
"""

import math

import pytest
from worked_cases import column, printed

from pipeline.results import Result
from pipeline.statistics.event_rate import event_rate
from pipeline.statistics.reels_needed import share_of_bad_reels
from pipeline.statistics.run_length import ewma_arl, mewma_limit
from pipeline.statistics.run_rules import (
    BEYOND_LIMIT,
    EIGHT_IN_A_ROW,
    FOUR_OF_FIVE,
    TWO_OF_THREE,
    run_rules_arl,
)
from pipeline.trust.laboratory import Agreement, agreement

RULES = {"1": BEYOND_LIMIT, "2": TWO_OF_THREE, "3": FOUR_OF_FIVE, "4": EIGHT_IN_A_ROW}
# Printed one unit of the last digit from what is found: 48.29, 84.01, 18.15 and 15.85.
ONE_UNIT_OFF = {
    "weight 0.25 width 2.998 shift 0.5",
    "weight 0.05 width 2.615 shift 0.25",
    "weight 0.2 width 2.962 shift 0.75",
    "weight 0.1 width 2.814 shift 0.75",
}


@pytest.mark.parametrize("quantity", list(printed("ARL-08")))
def test_ewma_charts_of_lucas_and_saccucci(quantity: str) -> None:
    value, half = printed("ARL-08")[quantity]
    weight, width, shift = (float(one) for one in quantity.split()[1::2])
    allowed = 2.0 * half if quantity in ONE_UNIT_OFF else half
    assert ewma_arl(weight, width, shift) == pytest.approx(value, abs=allowed * 1.001)


@pytest.mark.parametrize("quantity", list(printed("ARL-09")))
def test_run_rules_of_champ_and_woodall(quantity: str) -> None:
    value, half = printed("ARL-09")[quantity]
    rules = tuple(RULES[one] for one in quantity.split()[1].split("+"))
    assert run_rules_arl(rules) == pytest.approx(value, abs=half)


@pytest.mark.parametrize("quantity", list(printed("ARL-10")))
def test_multivariate_ewma_limits(quantity: str) -> None:
    # Found by simulation or a coarse Markov chain in both papers: 0.3 % apart at most.
    value, _ = printed("ARL-10")[quantity]
    assert mewma_limit(200.0, 0.1, int(quantity.split()[2])) == pytest.approx(value, rel=0.003)


@pytest.mark.parametrize("quantity", list(printed("POI-09")))
def test_limits_of_small_counts_of_gehrels(quantity: str) -> None:
    value, half = printed("POI-09")[quantity]
    count = int(quantity.split()[-1])
    # One-sided 84.13 % on each side, over one kilometre.
    found = event_rate(count, 1000.0, confidence=math.erf(1.0 / math.sqrt(2.0)))
    assert isinstance(found, Result)
    end = found.low if quantity.startswith("lower") else found.high
    assert end == pytest.approx(value, abs=1.01 * half)


@pytest.mark.parametrize("quantity", list(printed("BIN-02")))
def test_exact_limits_of_a_share(quantity: str) -> None:
    value, half = printed("BIN-02")[quantity]
    found = share_of_bad_reels(int(quantity.split()[3]), 20, two_sided=True)
    assert isinstance(found, Result)
    end = found.low if quantity.startswith("lower") else found.high
    assert end == pytest.approx(value, abs=half)


def test_agreement_of_two_meters() -> None:
    """AGR-01: mean difference -2.1, deviation 38.8, interval of the mean -22.0 to 17.8.

    The paper takes two deviations (-79.7 and 75.5, intervals -114.3 to -45.1 and 40.9 to 110.1, standard error 16.3).
    """
    found = agreement(column("AGR-01", "large"), column("AGR-01", "mini"))
    assert isinstance(found, Agreement)
    assert round(found.bias.estimate, 1) == -2.1
    assert round(found.spread, 1) == 38.8
    assert (round(found.bias.low, 1), round(found.bias.high, 1)) == (-22.0, 17.8)
    assert round(found.limit_sd_short, 1) == 16.3
    low, high = (found.bias.estimate + side * 2.0 * found.spread for side in (-1, 1))
    assert (low, high) == (pytest.approx(-79.7, abs=0.1), pytest.approx(75.5, abs=0.1))
    half = 2.12 * found.limit_sd_short
    assert (low - half, low + half) == pytest.approx((-114.3, -45.1), abs=0.2)
    assert (high - half, high + half) == pytest.approx((40.9, 110.1), abs=0.2)
    assert found.low_limit == pytest.approx(found.bias.estimate - 1.96 * found.spread)

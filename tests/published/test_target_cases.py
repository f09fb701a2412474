"""Where to aim against a lower limit: published models and examples; each data file names its source."""

import numpy as np
import pytest
from scipy import integrate, stats
from worked_cases import column, rows

from pipeline.tuning.loss import (
    chance_below,
    least_cost_share,
    least_cost_shift,
    optimum_with_giveaway,
)


def test_filling_process() -> None:
    # OPT-01: McClave & Sincich, Statistics, 12th ed., chapter 5: mean 10, sd 0.2, limit 10, fill 20 a unit, price 230.
    answers = {row["quantity"]: float(row["published"]) for row in rows("OPT-01")}
    assert chance_below(10.0, 0.2, 10.0) == pytest.approx(answers["a P(underfill)"], abs=1e-12)
    assert chance_below(10.5, 0.2, 10.0) == pytest.approx(0.0062, abs=5e-5)


def test_optimum_against_a_lower_limit() -> None:
    # OPT-02: Hunter & Kartha, JQT 9 (1977) 176-181 (model from memory): phi(t)/Phi(t) = g s/(a - r). No printed
    # optimum is known; the values are an independent computation, and the income is maximised here by quadrature.
    for ratio, t in zip(column("OPT-02", "cost_ratio"), column("OPT-02", "t"), strict=True):
        assert optimum_with_giveaway(float(ratio)) == pytest.approx(t, abs=5e-7)

    def income(mean: float) -> float:  # a = 1, r = 0, s = 1, L = 0, g = 0.1
        over, _ = integrate.quad(lambda x: x * stats.norm.pdf(x - mean), 0.0, mean + 10.0)
        return float(stats.norm.cdf(mean)) - 0.1 * over

    best = optimum_with_giveaway(0.1)
    assert income(best) > income(best + 0.02)
    assert income(best) > income(best - 0.02)


def test_optimum_of_a_beta_process_with_linear_loss() -> None:
    # OPT-03: Chen & Chou, J. Chinese Inst. Ind. Eng. 18 (2003) 27-32, inputs a 113, b 119, alpha 2, beta 4, T 115,
    # k1 2, k2 3. The share is the newsvendor's; shift and cost are an independent computation.
    answers = {row["quantity"]: float(row["published"]) for row in rows("OPT-03")}
    process = stats.beta(2.0, 4.0, loc=113.0, scale=6.0)
    assert least_cost_share(2.0, 3.0) == pytest.approx(answers["P(X<T) at optimum = k2/(k1+k2)"], abs=1e-12)
    shift = least_cost_shift(process.ppf, 115.0, 2.0, 3.0)
    assert shift == pytest.approx(answers["shift"], abs=5e-7)  # found by a minimiser
    x = np.linspace(113.0, 119.0, 600_001)
    loss = np.where(x + shift < 115.0, 2.0 * (115.0 - x - shift), 3.0 * (x + shift - 115.0))
    assert integrate.simpson(loss * process.pdf(x), x=x) == pytest.approx(answers["total cost"], abs=5e-6)

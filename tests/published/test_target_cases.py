"""Where to aim against a lower limit: published models and examples; each data file names its source."""

import pytest
from scipy import integrate, stats
from worked_cases import column, rows

from pipeline.tuning.loss import least_loss_target


def test_optimum_against_a_lower_limit() -> None:
    # OPT-02: Hunter & Kartha, JQT 9 (1977) 176-181 (model from memory): phi(t)/Phi(t) = g s/(a - r). No printed
    # optimum is known; the values are an independent computation. With L = 0, s = 1 and a - r = 1 the income lost is
    # g t + g E(shortfall) + P(short), least where the income is greatest.
    for ratio, t in zip(column("OPT-02", "cost_ratio"), column("OPT-02", "t"), strict=True):
        g = float(ratio)

        def lost(mean: float, g: float = g) -> float:
            short = float(stats.norm.cdf(-mean))
            return g * (float(stats.norm.pdf(mean)) - mean * short) + short

        found = least_loss_target(lost, g, 1.0, float(t) - 2.0, float(t) + 2.0)
        assert found.target_mm == pytest.approx(float(t), abs=1e-4)


def test_optimum_of_a_beta_process_with_linear_loss() -> None:
    # OPT-03: Chen & Chou, J. Chinese Inst. Ind. Eng. 18 (2003) 27-32, inputs a 113, b 119, alpha 2, beta 4, T 115,
    # k1 2, k2 3. Shift and cost are an independent computation. k1 E(T - X)+ + k2 E(X - T)+ is k2 (mean - T) +
    # (k1 + k2) E(T - X)+, with X shifted.
    answers = {row["quantity"]: float(row["published"]) for row in rows("OPT-03")}
    process = stats.beta(2.0, 4.0, loc=113.0, scale=6.0)

    def short(shift: float) -> float:
        return float(integrate.quad(process.cdf, 113.0, max(115.0 - shift, 113.0))[0])

    found = least_loss_target(short, 3.0, 5.0, -1.0, 2.0)
    assert found.target_mm == pytest.approx(answers["shift"], abs=1e-4)
    cost = 3.0 * (process.mean() + found.target_mm - 115.0) + 5.0 * short(found.target_mm)
    assert cost == pytest.approx(answers["total cost"], abs=1e-6)
    assert process.cdf(115.0 - found.target_mm) == pytest.approx(
        answers["P(X<T) at optimum = k2/(k1+k2)"], abs=1e-4
    )

"""Published figures of extremes, counts, normality and limits of agreement, and the same figures of kept libraries.

Printed digits and data are from memory of the work named; that both fit together to the last place speaks for both.
What a library gives is worked out beside it: SciPy and statsmodels share no code with ours.
"""

import math

import numpy as np
import pytest
from scipy import stats
from statsmodels.regression.linear_model import yule_walker
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.rates import confint_poisson
from statsmodels.tsa.stattools import acf

from pipeline.departures import near_normal
from pipeline.results import Result
from pipeline.statistics.autocorrelation import effective_n
from pipeline.statistics.below_threshold import fit_tail
from pipeline.statistics.block_minima import fit_block_minima
from pipeline.statistics.event_clustering import dispersion_of_counts
from pipeline.statistics.event_rate import event_rate
from pipeline.statistics.rate_comparison import compare_rates, rate_p_value
from pipeline.statistics.reels_needed import share_of_bad_reels
from pipeline.statistics.residual_charts import Autoregression, fit_autoregression
from pipeline.trust.laboratory import Agreement, agreement
from pipeline.wall.direction import mean_direction

# S. Coles, An Introduction to Statistical Modeling of Extreme Values (2001), section 3.4.1: highest sea level of each
# year at Port Pirie, 1923 to 1987 [m].
PORT_PIRIE = (
    "4.03 3.83 3.65 3.88 4.01 4.08 4.18 3.80 4.36 3.96 3.98 4.69 3.85 3.96 3.85 3.93 3.75 3.63 3.57 4.25 3.97 4.05 "
    "4.24 4.22 3.73 4.37 4.06 3.71 3.96 4.06 4.55 3.79 3.89 4.11 3.85 3.86 3.86 4.21 4.01 4.11 4.24 3.96 4.21 3.74 "
    "3.85 3.88 3.66 4.11 3.71 4.18 3.90 3.78 3.91 3.72 4.00 3.66 3.62 4.33 4.55 3.75 4.08 3.90 3.88 3.94 4.33"
)
PRINTED_BY_COLES = {
    "location": (3.87, 0.005),
    "scale": (0.198, 0.0005),
    "shape": (-0.050, 0.0005),
    "error of the location": (0.028, 0.0005),
    "error of the scale": (0.020, 0.0005),
    "error of the shape": (0.098, 0.0005),
    "log-likelihood": (4.34, 0.005),
    "level of ten years": (4.30, 0.005),
    "level of a hundred years": (4.69, 0.005),
    # By the delta method: variance of the first, and 95 % intervals.
    "variance of ten years": (0.00303, 0.000005),
    "ten years from": (4.19, 0.005),
    # Printed from the rounded 4.30.
    "ten years to": (4.41, 0.008),
    "a hundred years from": (4.38, 0.005),
    "a hundred years to": (5.00, 0.005),
}


def coles() -> dict[str, float]:
    """The same figures by our fit of the sea turned over."""
    fit = fit_block_minima(-np.array(PORT_PIRIE.split(), dtype=float))
    found = {
        "location": -fit.location,
        "scale": fit.scale,
        "shape": fit.shape,
        "log-likelihood": fit.log_likelihood,
    }
    names = ("location", "scale", "shape")
    found |= {f"error of the {name}": math.sqrt(fit.covariance[i][i]) for i, name in enumerate(names)}
    covariance = np.array(fit.covariance)
    # Signs of the location turn over with the sea.
    covariance[0, 1:] *= -1.0
    covariance[1:, 0] *= -1.0
    for years, name in ((10, "ten years"), (100, "a hundred years")):
        y = -math.log1p(-1.0 / years)
        found[f"level of {name}"] = -fit.location - fit.scale / fit.shape * (1.0 - y**-fit.shape)
        # Coles (2001), equation 3.11.
        slope = np.array(
            [
                1.0,
                -(1.0 - y**-fit.shape) / fit.shape,
                fit.scale * (1.0 - y**-fit.shape) / fit.shape**2
                - fit.scale / fit.shape * y**-fit.shape * math.log(y),
            ]
        )
        found[f"variance of {name}"] = float(slope @ covariance @ slope)
        half = 1.96 * math.sqrt(found[f"variance of {name}"])
        found[f"{name} from"], found[f"{name} to"] = (
            found[f"level of {name}"] + side * half for side in (-1, 1)
        )
        assert fit.chance_below(-found[f"level of {name}"]) == pytest.approx(1.0 / years, rel=1e-6)
    return found


def test_highest_sea_levels_of_port_pirie() -> None:
    found = coles()
    for name, (value, half) in PRINTED_BY_COLES.items():
        assert found[name] == pytest.approx(value, abs=1.02 * half), name


# Squares of a counting chamber or intervals of time, by how many things were counted in each.
COUNTED = {
    # Student (W. S. Gosset), Biometrika 5 (1907) 351-360: yeast cells on 400 squares, mean 0.6825, variance 0.8117.
    "yeast": ((213, 128, 37, 18, 3, 1), 0.6825, 0.8117),
    # And his fourth sample: mean 4.68, variance 4.46.
    "yeast, dense": ((0, 20, 43, 53, 86, 70, 54, 37, 18, 10, 5, 2, 2), 4.68, 4.46),
    # L. von Bortkiewicz (1898): 200 years of corps, mean 0.61, variance 0.6079.
    "horse kicks": ((109, 65, 22, 3, 1), 0.61, 0.6079),
    # E. Rutherford and H. Geiger, Phil. Mag. 20 (1910) 698-707: 2,608 intervals, mean 3.87, variance 3.70 (FM).
    "alpha particles": ((57, 203, 383, 525, 532, 408, 273, 139, 45, 27, 10, 4, 0, 1, 1), 3.87, 3.70),
}


@pytest.mark.parametrize("case", COUNTED)
def test_scatter_of_counts(case: str) -> None:
    """Mean and variance as printed, and so the index of dispersion n/(n - 1) of their ratio."""
    how_many, mean, variance = COUNTED[case]
    counts = np.repeat(np.arange(len(how_many)), how_many)
    found = dispersion_of_counts(counts, np.full(counts.size, 1000.0))
    assert isinstance(found, Result)
    assert counts.mean() == pytest.approx(mean, abs=0.006)
    n = counts.size
    assert found.estimate * counts.mean() * (n - 1) / n == pytest.approx(variance, abs=0.006)
    assert found.details["x_squared"] == pytest.approx(
        stats.chisquare(counts).statistic if mean else 0.0, rel=1e-12
    )


def test_eleven_weights_of_shapiro_and_wilk() -> None:
    """S. S. Shapiro and M. B. Wilk, Biometrika 52 (1965), example 3: W 0.79; their table has p under 0.01."""
    weights = np.array([148.0, 154, 158, 160, 161, 162, 166, 170, 182, 195, 236])
    held = near_normal(weights, 11.0)
    slots = dict(held.evidence.slots)
    assert held.held is False and 0.005 < slots["p_value"] < 0.01
    assert round(float(stats.shapiro(weights).statistic), 2) == 0.79


def test_agreement_of_two_ways_of_blood_pressure() -> None:
    """J. M. Bland and D. G. Altman, Stat. Methods Med. Res. 8 (1999) 135-160, table 1: 85 pairs, -16.29 and 19.61.

    Limits -54.7 and 22.1; interval of the mean -20.5 to -12.1; error of a limit 1.71 s/sqrt(n) = 3.64, intervals
    -61.9 to -47.5 and 14.9 to 29.3. Any 85 differences of that mean and deviation give them.
    """
    off = stats.norm.ppf((np.arange(85) + 0.5) / 85)
    differences = -16.29 + 19.61 * (off - off.mean()) / off.std(ddof=1)
    found = agreement(np.zeros(85) + 120.0, 120.0 - differences)
    assert isinstance(found, Agreement)
    assert (round(found.bias.estimate, 2), round(found.spread, 2)) == (-16.29, 19.61)
    assert (round(found.bias.low, 1), round(found.bias.high, 1)) == (-20.5, -12.1)
    assert (round(found.low_limit, 1), round(found.high_limit, 1)) == (-54.7, 22.1)
    error = found.limit_sd
    assert error == pytest.approx(3.64, abs=0.01)
    assert (found.low_limit - 1.99 * error, found.low_limit + 1.99 * error) == pytest.approx(
        (-61.9, -47.5), abs=0.12
    )
    assert (found.high_limit - 1.99 * error, found.high_limit + 1.99 * error) == pytest.approx(
        (14.9, 29.3), abs=0.12
    )


# --- kept libraries --------------------------------------------------------------------------------------


@pytest.mark.parametrize("count", [0, 1, 2, 3, 5, 8, 12, 20, 45, 100, 1000])
def test_the_interval_of_a_rate_is_that_of_statsmodels(count: int) -> None:
    found = event_rate(count, 1000.0, confidence=0.9)
    assert isinstance(found, Result)
    low, high = confint_poisson(count, 1.0, method="exact-c", alpha=0.1)
    assert (found.low, found.high) == pytest.approx((low if count else 0.0, high), rel=1e-9)


@pytest.mark.parametrize(("bad", "reels"), [(1, 12), (2, 24), (1, 100), (7, 100), (12, 12), (30, 60)])
def test_the_interval_of_a_share_is_that_of_statsmodels(bad: int, reels: int) -> None:
    found = share_of_bad_reels(bad, reels, two_sided=True)
    assert isinstance(found, Result)
    low, high = proportion_confint(bad, reels, method="beta")
    assert (found.low, found.high) == pytest.approx((low, high), rel=1e-9)


@pytest.mark.parametrize("pair", [(0, 4), (3, 0), (1, 1), (4, 9), (12, 3), (40, 61), (200, 150)])
def test_the_ratio_of_two_rates_is_that_of_scipy(pair: tuple[int, int]) -> None:
    """Clopper and Pearson's interval of the share on the first length, turned into a ratio; the exact p-value."""
    found = compare_rates(pair[0], 40_000.0, pair[1], 60_000.0)
    assert isinstance(found, Result)
    split = stats.binomtest(pair[0], sum(pair), 0.4)
    share = split.proportion_ci(method="exact")
    low, high = (one / (1.0 - one) * 1.5 if one < 1.0 else math.inf for one in share)
    assert (found.low, found.high) == pytest.approx((low, high), rel=1e-9)
    assert rate_p_value(pair[0], 4e4, pair[1], 6e4, "conditional exact") == pytest.approx(
        split.pvalue, rel=1e-9
    )
    # The ends of the mid-p interval are the shares whose mid-p tail is 2.5 %.
    for end, tail in ((found.details["mid_p_low"], 0.025), (found.details["mid_p_high"], 0.975)):
        if 0.0 < end < math.inf:
            p = end / (end + 1.5)
            law = stats.binom(sum(pair), p)
            assert law.sf(pair[0]) + law.pmf(pair[0]) / 2.0 == pytest.approx(tail, rel=1e-8)


@pytest.mark.parametrize("shape", [-0.3, -0.1, 0.2])
def test_the_fit_of_a_tail_is_that_of_scipy(shape: float) -> None:
    depths = stats.genpareto(shape, scale=0.008).rvs(400, random_state=4)
    found = fit_tail(depths)
    theirs = stats.genpareto.fit(1000.0 * depths, floc=0.0)
    assert (found.shape, 1000.0 * found.scale) == pytest.approx((theirs[0], theirs[2]), abs=2e-3)


@pytest.mark.parametrize("shape", [-0.2, 0.1])
def test_the_fit_of_minima_is_that_of_scipy(shape: float) -> None:
    highest = stats.genextreme(-shape, loc=4.0, scale=0.2).rvs(120, random_state=6)
    found = fit_block_minima(-highest)
    c, location, scale = stats.genextreme.fit(highest, 0.1, loc=4.0, scale=0.2)
    assert (found.shape, -found.location, found.scale) == pytest.approx((-c, location, scale), abs=2e-3)


@pytest.mark.parametrize("phi", [-0.4, 0.3, 0.9])
def test_lag_one_and_autoregression_are_those_of_statsmodels(phi: float) -> None:
    random = np.random.default_rng(8)
    x = np.zeros(800)
    for at in range(1, x.size):
        x[at] = phi * x[at - 1] + random.standard_normal()
    assert effective_n(x).lag_one == pytest.approx(acf(x, nlags=1, fft=False)[1], abs=1e-12)
    found = fit_autoregression(x, 3)
    assert isinstance(found, Autoregression)
    theirs, _ = yule_walker(x, order=len(found.phi), method="mle")
    assert found.phi == pytest.approx(theirs, abs=1e-10)


@pytest.mark.parametrize("around", [0.0, 95.0, 359.0])
def test_the_mean_direction_is_that_of_scipy(around: float) -> None:
    angles = np.random.default_rng(2).normal(around, 25.0, 60) % 360.0
    found = mean_direction(angles)
    assert found is not None
    assert found.angle_deg % 360.0 == pytest.approx(stats.circmean(angles, high=360.0), abs=1e-9)
    assert 1.0 - found.resultant == pytest.approx(stats.circvar(angles, high=360.0), abs=1e-12)

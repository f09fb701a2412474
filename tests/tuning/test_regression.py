"""Regression with remembered errors: against statsmodels, known standard errors, and closed loops."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import signal

from pipeline.results import Refused
from pipeline.tuning.regression import Regression, newey_west, regress, usual_lag
from pipeline.tuning.transfer_function import TransferFunction, fit_transfer_function
from tests.said import said


def ar1(phi: float, n: int, random: np.random.Generator) -> np.ndarray:
    start = random.standard_normal(n + 500)
    return signal.lfilter([np.sqrt(1.0 - phi**2)], [1.0, -phi], start)[500:]


def found(answer: Regression | Refused) -> Regression:
    assert isinstance(answer, Regression)
    return answer


def test_against_statsmodels() -> None:
    random = np.random.default_rng(2)
    x = np.column_stack([ar1(0.8, 800, random), ar1(0.5, 800, random)])
    y = 3.0 + x @ [2.0, -1.0] + ar1(0.7, 800, random)
    ours = found(regress(y, {"a": x[:, 0], "b": x[:, 1]}))
    theirs = sm.GLSAR(y, sm.add_constant(x), rho=1)
    fit = theirs.iterative_fit(maxiter=50)
    # GLSAR drops the first row and takes Yule-Walker's memory; the estimates agree to a tenth of their errors.
    assert ours.memory == pytest.approx(float(theirs.rho[0]), abs=5e-3)
    for one, value, error in zip(ours.coefficients, fit.params[1:], fit.bse[1:], strict=True):
        assert one.estimate == pytest.approx(value, abs=0.1 * error)
        assert one.gls_sd == pytest.approx(error, rel=1e-2)
    plain = sm.OLS(y, sm.add_constant(x)).fit(cov_type="HAC", cov_kwds={"maxlags": usual_lag(800)})
    for one, value, error in zip(ours.coefficients, plain.params[1:], plain.bse[1:], strict=True):
        assert one.naive_estimate == pytest.approx(value, rel=1e-9)
        assert one.least_squares_hac_sd == pytest.approx(error, rel=1e-9)
    design = sm.add_constant(x)
    assert newey_west(design, y - design @ plain.params, 40) == pytest.approx(
        sm.OLS(y, design).fit(cov_type="HAC", cov_kwds={"maxlags": 40}).cov_params(), rel=1e-9
    )


def test_standard_errors_with_memory() -> None:
    # Trap: phi 0.9, n 2000. True error of plain least squares 0.068; it claims 0.022; the usual lag of 7 makes 0.049 of
    # it; GLS AR(1) has 0.0208 and says 0.0224 (simulated there, and here again).
    assert usual_lag(2000) == 7
    plain, gls, said, naive, hac = [], [], [], [], []
    for seed in range(300):
        random = np.random.default_rng(1000 + seed)
        x, e = ar1(0.9, 2000, random), ar1(0.9, 2000, random)
        one = found(regress(e, {"x": x})).coefficients[0]
        plain.append(one.naive_estimate)
        gls.append(one.estimate)
        said.append(one.gls_sd)
        naive.append(one.naive_sd)
        hac.append(one.least_squares_hac_sd)
    assert np.std(plain) == pytest.approx(0.068, rel=0.12)
    assert np.mean(naive) == pytest.approx(0.022, abs=0.002)
    assert np.mean(hac) == pytest.approx(0.049, abs=0.003)
    assert np.std(gls) == pytest.approx(0.0220, rel=0.12)
    assert np.mean(said) == pytest.approx(0.0224, abs=0.0005)


def test_intervals_cover_and_units_do_not_matter() -> None:
    inside = 0
    for seed in range(60):
        random = np.random.default_rng(seed)
        x = ar1(0.9, 600, random)
        one = found(regress(5.0 + 0.3 * x + ar1(0.9, 600, random), {"x": x})).coefficients[0]
        inside += one.low <= 0.3 <= one.high
    assert inside >= 53  # 95 % of 60 less two standard deviations
    random = np.random.default_rng(1)
    x, y = ar1(0.9, 600, random), ar1(0.9, 600, random)
    first, other = (found(regress(y, {"x": scale * x + 7.0})).coefficients[0] for scale in (1.0, 25.4))
    assert other.estimate * 25.4 == pytest.approx(first.estimate, rel=1e-9)
    assert other.sd * 25.4 == pytest.approx(first.sd, rel=1e-9)


def test_gaps_are_not_bridged() -> None:
    random = np.random.default_rng(6)
    x = ar1(0.9, 1200, random)
    y = 2.0 * x + ar1(0.9, 1200, random)
    holes = y.copy()
    holes[300:420] = np.nan
    whole, gappy = found(regress(y, {"x": x})), found(regress(holes, {"x": x}))
    assert gappy.n == 1080
    assert gappy.coefficients[0].estimate == pytest.approx(whole.coefficients[0].estimate, abs=0.03)
    assert gappy.memory == pytest.approx(whole.memory, abs=0.03)


def test_a_longer_memory_than_first_order_is_told() -> None:
    random = np.random.default_rng(8)
    x = ar1(0.95, 3000, random)
    slow = ar1(0.99, 3000, random) + 0.7 * random.standard_normal(3000)
    answer = found(regress(slow, {"x": x}))
    assert not answer.first_order_enough
    assert answer.left_memory_p < 1e-6
    assert answer.coefficients[0].sd == max(answer.coefficients[0].gls_sd, answer.coefficients[0].check_sd)
    assert said(answer.warnings)[0] == (
        "What is left after a first-order memory still remembers: the larger standard error is used, and "
        "it may be too small."
    )


def test_what_cannot_be_fitted_is_refused() -> None:
    few = regress([1.0, 2.0, 3.0], {"x": [1.0, 2.0, 4.0]})
    assert isinstance(few, Refused)
    assert (
        said(few.reason) == "3 rows are too few for 1 inputs, 60 are needed, and every channel has to vary."
    )
    random = np.random.default_rng(1)
    x = random.standard_normal(200)
    tied = regress(x, {"speed": x, "screw": 3.0 * x + 1.0})
    assert isinstance(tied, Refused)
    assert said(tied.reason) == "Two inputs move exactly together: leave one of them out."


def test_transfer_function_recovers_a_made_one() -> None:
    inside = 0
    for seed in range(30):
        random = np.random.default_rng(seed)
        x = np.repeat(random.choice([-1.0, 1.0], 40), 25)
        answer = signal.lfilter([0.5, 0.2], [1.0, -0.6], np.concatenate((np.zeros(4), x))[:1000])
        fit = fit_transfer_function(x, 10.0 + answer + 0.5 * ar1(0.8, 1000, random), 4, 2, 1, 1)
        assert isinstance(fit, TransferFunction)
        inside += fit.gain_low <= 0.7 / 0.4 <= fit.gain_high
        assert fit.noise[0] == pytest.approx(0.8, abs=0.08)
    assert inside >= 25
    # In other units everything but the shape scales.
    scaled = fit_transfer_function(10.0 * x, 10.0 + answer, 4, 2, 1, 1)
    assert isinstance(scaled, TransferFunction)
    assert scaled.gain == pytest.approx(0.175, rel=1e-3)
    still = fit_transfer_function(np.ones(500), answer[:500], 0)
    assert isinstance(still, Refused)
    assert said(still.reason) == "A series that does not vary cannot answer."
    short = fit_transfer_function(x[:20], answer[:20], 0)
    assert isinstance(short, Refused)
    assert said(short.reason) == (
        "20 samples are too few for 4 coefficients, or the two series differ in length."
    )

"""Charts of one-step errors for values that follow one another."""

import math

import numpy as np
import pytest
from scipy.signal import lfilter

from pipeline.results import Refused
from pipeline.statistics.residual_charts import Autoregression, fit_autoregression, residual_chart
from tests.said import said


def ar1(phi: float, n: int, seed: int) -> np.ndarray:
    return lfilter([1.0], [1.0, -phi], np.random.default_rng(seed).normal(size=n + 500))[500:]


def fitted(*given: object) -> Autoregression:
    model = fit_autoregression(*given)  # type: ignore[arg-type]
    assert isinstance(model, Autoregression)
    return model


def test_autoregression_against_statsmodels() -> None:
    from statsmodels.regression.linear_model import yule_walker

    x = lfilter([1.0], [1.0, -0.5, -0.3], np.random.default_rng(1).normal(size=3000))
    model = fitted(x, 2)
    rho, sigma = yule_walker(x, order=2, method="mle", result_object=False)
    np.testing.assert_allclose(model.phi, rho, atol=1e-9)
    assert model.error_sd == pytest.approx(sigma, rel=2e-3)


def test_white_values_need_no_model() -> None:
    model = fitted(np.random.default_rng(3).normal(size=400), 3)
    assert all(abs(one) < 0.12 for one in model.phi)
    assert model.error_sd == pytest.approx(1.0, abs=0.1)


def test_a_residual_chart_keeps_its_false_alarms_where_moving_range_limits_do_not() -> None:
    model = fitted(ar1(0.8, 4000, 1))
    found = residual_chart(ar1(0.8, 100_000, 2), model)
    assert 100_000 / len(found.signals) == pytest.approx(370, rel=0.25)
    assert found.assumptions[0].held in (True, False)
    short = residual_chart(ar1(0.8, 300, 3), model)
    assert short.assumptions[0].held is True


def test_the_chart_forgets_a_lasting_shift() -> None:
    # Worked out by a script apart: phi .8 shows 1.67 sd once, then .33.
    first, later = 1.6666666666666667, 0.33333333333333337
    model = Autoregression(0.0, (0.8,), 1.0, 500)
    sd = 1 / math.sqrt(1 - 0.64)
    found = residual_chart([0.0, 0.0, sd, sd, sd], model)
    np.testing.assert_allclose(found.plotted[2:], [first, later, later])
    assert said(found.warnings) == (
        (
            "A lasting shift shows only 20 % of itself after its first point; read an EWMA of the values beside "
            "this chart."
        ),
        "1 of 5 items have no value, or none before them, and are not judged.",
    )


def test_gaps_leave_the_next_item_unjudged() -> None:
    found = residual_chart([1.0, math.nan, 9.0, 9.0], Autoregression(0.0, (0.5,), 1.0, 99))
    assert np.isnan(found.plotted[:3]).all()
    assert [(one.item, one.side) for one in found.signals] == [(3, "above")]


def test_too_little_is_refused() -> None:
    few = fit_autoregression([1.0] * 5)
    assert isinstance(few, Refused)
    assert said(few.reason) == "Needs at least 20 values for an autoregression; there are 5."
    flat = fit_autoregression([0.4] * 30)
    assert isinstance(flat, Refused)
    assert said(flat.reason) == "All 30 values equal 0.4, so nothing follows from anything."

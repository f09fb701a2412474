"""Autocorrelations and effective numbers against published examples; each case's file names its source.

Digits of a case marked B are from memory of the work, recomputed from its data.
"""

import numpy as np
import pytest

from pipeline.results import Result
from pipeline.statistics.capability import summarise
from pipeline.statistics.drift import linear_drift
from pipeline.statistics.residual_charts import Autoregression, fit_autoregression
from tests.published.worked_cases import column, printed
from tests.statistics.exact_sums import autocorrelation, effective_n_from_correlation


def test_seventeen_lags_of_alkalinity() -> None:
    """US EPA, Unified Guidance (2009), example 14-3."""
    found = autocorrelation(column("AC-02", "alkalinity"), 17)
    for lag in range(1, 18):
        value, half = printed("AC-02-answers")[f"r{lag}"]
        assert found[lag] == pytest.approx(value, abs=half), lag


def test_effective_number_of_an_autoregression() -> None:
    """Wilks, Statistical Methods in the Atmospheric Sciences, example 5.2: n 31, r1 0.076."""
    value, half = printed("AC-04")["n'"]
    # Printed from the limit of a long series, which the finite sum tends to.
    assert pytest.approx(value, abs=half) == 31 * (1 - 0.076) / (1 + 0.076)
    found = effective_n_from_correlation(31, 0.076 ** np.arange(1.0, 31))
    assert found[0] == pytest.approx(value, abs=0.2)


def test_ten_lags_of_batch_yields() -> None:
    """Box and Jenkins (1976), series F and table 2.2."""
    answers = printed("AC-05-answers")
    yields = column("AC-05", "yield")
    found = autocorrelation(yields, 10)
    for lag in range(1, 11):
        value, half = answers[f"r{lag}"]
        # r9 is -0.0048 and printed -0.01: one unit of the last digit.
        assert found[lag] == pytest.approx(value, abs=2 * half if lag == 9 else half), lag
    assert summarise(yields).mean == pytest.approx(answers["process mean"][0], abs=answers["process mean"][1])


def test_autoregressions_of_batch_yields_and_particle_sizes() -> None:
    """Box and Jenkins (1976), series F; NIST/SEMATECH e-Handbook, 6.4.4.9 and 6.6.2.

    The coefficients of series F are Yule and Walker's to the last digit. Those of the differenced particle
    sizes were printed from a likelihood: 0.003.
    """
    answers = printed("AC-05-answers")
    found = fit_autoregression(column("AC-05", "yield"))
    assert isinstance(found, Autoregression)
    for phi, name in zip(found.phi, ("phi1 (NIST)", "phi2 (NIST)"), strict=True):
        assert phi == pytest.approx(answers[name][0], abs=answers[name][1]), name
    assert found.error_sd == pytest.approx(answers["residual sd"][0], rel=2e-3)  # another divisor
    answers = printed("AC-10-answers")
    sizes = column("AC-10", "particle_size")
    assert sizes.size == answers["n"][0]
    found = fit_autoregression(np.diff(sizes))
    assert isinstance(found, Autoregression)
    assert found.phi == pytest.approx([answers["AR1"][0], answers["AR2"][0]], abs=0.003)


def test_drift_of_filter_transmittance() -> None:
    """NIST/SEMATECH e-Handbook, 1.4.2.6; printed in single precision: four significant digits."""
    answers = printed("AC-09")
    found = linear_drift(
        np.arange(1.0, 51.0), column("NIST-MAVRO", "y"), 10.0, unit="1", unit_of_place="reading"
    )
    assert isinstance(found, Result)
    assert found.estimate == pytest.approx(answers["slope"][0], abs=answers["slope"][1])
    assert found.details["intercept"] == pytest.approx(answers["intercept"][0], abs=1e-5)
    assert found.details["residual_sd"] == pytest.approx(answers["residual sd"][0], rel=1e-4)


def test_heat_flow_meter_summary() -> None:
    """NIST/SEMATECH e-Handbook, 1.4.2.8; printed in single precision, so five significant digits."""
    answers = printed("AC-08-answers")
    readings = column("AC-08", "y")
    found = summarise(readings)
    assert found.mean == pytest.approx(answers["mean"][0], rel=1e-6)
    assert found.sd == pytest.approx(answers["sd"][0], rel=1e-5)
    assert autocorrelation(readings, 1)[1] == pytest.approx(answers["r1"][0], rel=1e-5)

"""Autocorrelations and effective numbers against printed examples; each case's file names its source."""

import numpy as np
import pytest

from pipeline.statistics.autocorrelation import (
    autocorrelation,
    effective_n_from_correlation,
    effective_n_of_autoregression,
)
from pipeline.statistics.capability import summarise
from tests.published.worked_cases import column, printed


def test_seventeen_lags_of_alkalinity() -> None:
    """US EPA, Unified Guidance (2009), example 14-3."""
    found = autocorrelation(column("AC-02", "alkalinity"), 17)
    for lag in range(1, 18):
        value, half = printed("AC-02-answers")[f"r{lag}"]
        assert found[lag] == pytest.approx(value, abs=half), lag


def test_effective_number_of_an_autoregression() -> None:
    """Wilks, Statistical Methods in the Atmospheric Sciences, example 5.2: n 31, r1 0.076."""
    value, half = printed("AC-04")["n'"]
    assert effective_n_of_autoregression(31, 0.076)[0] == pytest.approx(value, abs=half)
    # The finite sum tends to the same figure.
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


def test_heat_flow_meter_summary() -> None:
    """NIST/SEMATECH e-Handbook, 1.4.2.8; printed in single precision, so five significant digits."""
    answers = printed("AC-08-answers")
    readings = column("AC-08", "y")
    found = summarise(readings)
    assert found.mean == pytest.approx(answers["mean"][0], rel=1e-6)
    assert found.sd == pytest.approx(answers["sd"][0], rel=1e-5)
    assert autocorrelation(readings, 1)[1] == pytest.approx(answers["r1"][0], rel=1e-5)

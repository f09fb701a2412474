"""The delay of a published pair of series."""

import numpy as np
import pytest
from worked_cases import column

from pipeline.length.cross_correlation import delay_between
from pipeline.results import Refused


def test_gas_furnace_delay_of_three_samples() -> None:
    """Box, Jenkins, Reinsel & Ljung, Time Series Analysis, series J: delay 3, while the raw peak is at 5.

    The prewhitened correlations at lags 0 to 10 were computed by an independent script with the AR(3) of the
    input (about 1.97, -1.37, 0.34).
    """
    found = delay_between(column("LAG-01", "X"), column("LAG-01", "Y"), 20, order=3)
    assert not isinstance(found, Refused)
    assert found.ar == pytest.approx([1.97, -1.37, 0.34], abs=0.01)
    from_zero = found.correlation[20:31]
    assert from_zero == pytest.approx(
        [0.00, 0.05, -0.03, -0.28, -0.33, -0.46, -0.27, -0.17, -0.03, 0.03, -0.05], abs=0.0075
    )
    assert found.raw_correlation[20:31] == pytest.approx(
        [-0.484, -0.598, -0.725, -0.843, -0.925, -0.951, -0.915, -0.830, -0.717, -0.600, -0.496], abs=1.2e-3
    )
    assert found.first_lag == 3
    assert int(np.argmax(np.abs(found.raw_correlation[20:]))) == 5  # the trap
    assert found.lag_limit == pytest.approx(0.117, abs=5e-4)

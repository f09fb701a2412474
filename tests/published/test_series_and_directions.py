"""Published autoregressions, dispersion of directions and a quality index of sampling by variables.

Printed digits are from memory of the work named, unless said otherwise; that data and digits fit together to the last
place speaks for both.
"""

import math

import numpy as np
import pytest
from statsmodels.datasets import sunspots

from pipeline.results import Result
from pipeline.statistics import capability
from pipeline.statistics.capability import performance_index_one_sided
from pipeline.statistics.event_rate import event_rate
from pipeline.statistics.residual_charts import Autoregression, fit_autoregression
from pipeline.wall.direction import mean_direction

# P. J. Diggle, Time Series: A Biostatistical Introduction (1990), table A.1, series 3: a hormone every ten minutes.
HORMONE = (
    "2.4 2.4 2.4 2.2 2.1 1.5 2.3 2.3 2.5 2.0 1.9 1.7 2.2 1.8 3.2 3.2 2.7 2.2 2.2 1.9 1.9 1.8 2.7 3.0 "
    "2.3 2.0 2.0 2.9 2.9 2.7 2.7 2.3 2.6 2.4 1.8 1.7 1.5 1.4 2.1 3.3 3.5 3.5 3.1 2.6 2.1 3.4 3.0 2.9"
)


def fitted(values: np.ndarray, longest: int) -> Autoregression:
    found = fit_autoregression(values, longest)
    assert isinstance(found, Autoregression)
    return found


def test_autoregression_of_a_hormone() -> None:
    """R, stats::ar, its example ``ar(lh)``: order 3, printed to four decimals; so is the error variance, 0.1959."""
    found = fitted(np.array(HORMONE.split(), dtype=float), 16)
    assert [round(one, 4) for one in found.phi] == [0.6534, -0.0636, -0.2269]
    assert round(found.error_sd**2, 4) == 0.1959


def test_autoregression_of_sunspots() -> None:
    """R, stats::ar, its example ``ar(sunspot.year)``: order 9, error variance 267.5, 1700 to 1988.

    The counts here are another issue of the same series (statsmodels), hence 0.001 and 0.1 %.
    """
    table = sunspots.load_pandas().data
    found = fitted(table.SUNACTIVITY[table.YEAR <= 1988].to_numpy(), 24)
    told = [1.1305, -0.3524, -0.1745, 0.1403, -0.1358, 0.0963, -0.0556, 0.0076, 0.1941]
    assert found.phi == pytest.approx(told, abs=1e-3)
    assert found.error_sd**2 == pytest.approx(267.5, rel=1e-3)


def test_a_century_of_sunspots() -> None:
    """Box and Jenkins (1976), series E, 1770 to 1869: of second order by Yule and Walker 1.32 and -0.63."""
    table = sunspots.load_pandas().data
    century = table.SUNACTIVITY[(table.YEAR >= 1770) & (table.YEAR < 1870)].to_numpy()
    assert century.size == 100
    assert [round(one, 2) for one in fitted(century, 2).phi] == [1.32, -0.63]


def test_dispersion_of_eight_directions() -> None:
    """J. H. Zar, Biostatistical Analysis (2010), examples 26.4 and 26.5.

    Mean 99 degrees, r 0.82522; angular variance 2 (1 - r), angular deviation and circular deviation 0.34956, 34 and 36
    degrees.
    """
    found = mean_direction(np.array([45.0, 55.0, 81.0, 96.0, 110.0, 117.0, 132.0, 154.0]))
    assert found is not None
    assert (round(found.angle_deg), round(found.resultant, 5)) == (99, 0.82522)
    spread = 2.0 * (1.0 - found.resultant)
    assert round(spread, 5) == 0.34956
    assert round(math.degrees(math.sqrt(spread))) == 34
    assert round(math.degrees(math.sqrt(-2.0 * math.log(found.resultant)))) == 36


def test_directions_about_one_named_beforehand() -> None:
    """Zar (2010), example 27.2, read in the tests of a public package of circular statistics: V 9.498, u 4.248.

    V = n r cos(mean - 90 degrees), u = V sqrt(2/n), worked out there from the rounded V.
    """
    found = mean_direction(np.array([66.0, 75.0, 86.0, 88.0, 88.0, 93.0, 97.0, 101.0, 118.0, 130.0]))
    assert found is not None
    v = found.n * found.resultant * math.cos(math.radians(found.angle_deg - 90.0))
    assert v == pytest.approx(9.498, abs=5e-4)
    assert v * math.sqrt(2.0 / found.n) == pytest.approx(4.248, abs=1e-3)


def test_quality_index_of_sampling_by_variables(monkeypatch: pytest.MonkeyPatch) -> None:
    """MIL-STD-414 (1957), section B, one upper limit of 209 degrees, five specimens: mean 195, Q 1.59.

    Q = (U - mean)/s is three times the one-sided index; the deviation is printed 8.81 and is 8.803.
    """
    # The standard samples five; our fewest is a rule of ours, not of the sum.
    monkeypatch.setattr(capability, "FEWEST", 2.0)
    found = performance_index_one_sided([197.0, 188.0, 184.0, 205.0, 201.0], 209.0, sense="at most")
    assert isinstance(found, Result)
    assert found.details["mean"] == pytest.approx(195.0)
    assert found.details["sd"] == pytest.approx(8.81, abs=0.01)
    assert round(3.0 * found.estimate, 2) == 1.59


def test_lower_limit_of_one_event() -> None:
    """Gehrels (1986) prints 0.173 for one event at one sigma: exactly, exp(-m) = 0.8413 at m = 0.17275."""
    sigma = math.erf(1.0 / math.sqrt(2.0))
    exact = -math.log(0.5 + sigma / 2.0)
    assert round(exact, 3) == 0.173
    found = event_rate(1, 1000.0, confidence=sigma)
    assert isinstance(found, Result) and found.low == pytest.approx(exact, rel=1e-9)

"""Fault rates and phases against published tables and worked examples; each data file names its source."""

import numpy as np
import pytest
from scipy import stats
from worked_cases import column, printed

from pipeline.results import Result
from pipeline.statistics.event_clustering import dispersion_of_counts
from pipeline.statistics.event_rate import event_rate


def rate(count: int, known_m: float, confidence: float = 0.95) -> Result:
    found = event_rate(count, known_m, confidence)
    assert isinstance(found, Result)
    return found


@pytest.mark.parametrize("quantity", list(printed("POI-01")))
def test_garwood_table(quantity: str) -> None:
    # POI-01: Garwood, Biometrika 28 (1936); Pearson & Hartley, Biometrika Tables, table 40.
    value, half = printed("POI-01")[quantity]
    count, side = quantity.removeprefix("x=").split()
    found = rate(int(count), 1000.0)
    assert (found.low if side == "lower" else found.high) == pytest.approx(value, abs=half)


def test_no_event_and_the_rule_of_three() -> None:
    # POI-02: Hanley & Lippman-Hand, JAMA 249 (1983) 1743.
    answers = printed("POI-02")
    for quantity, count, confidence in (
        ("95 % upper, Poisson", 0, 0.95),
        ("99 % upper", 0, 0.99),
        ("90 % upper", 0, 0.90),
        ("1 event 95 % one-sided upper", 1, 0.95),
        ("2 events", 2, 0.95),
        ("3 events", 3, 0.95),
    ):
        value, half = answers[quantity]
        upper = rate(count, 1000.0, confidence).details["upper_one_sided_per_km"]
        assert upper == pytest.approx(value, abs=half)


def test_one_rate_of_a_documented_example() -> None:
    # POI-03: R stats::poisson.test, Examples (137 events on 24.19893).
    found, answers = rate(137, 24198.93), printed("POI-03")
    for name, value in (("rate", found.estimate), ("lower", found.low), ("upper", found.high)):
        assert value == pytest.approx(answers[name][0], abs=answers[name][1])


def test_horse_kicks_scatter_as_poisson() -> None:
    # POI-07: von Bortkiewicz 1898; Fisher, Statistical Methods for Research Workers, sections 15-16.
    deaths, frequency = column("POI-07", "deaths"), column("POI-07", "frequency").astype(int)
    answers = printed("POI-07-answers")
    counts = np.repeat(deaths, frequency)
    assert counts.mean() == pytest.approx(answers["mean"][0], abs=0.005)
    for k in range(5):
        value, half = answers[f"expected {k}"]
        assert 200 * stats.poisson.pmf(k, counts.mean()) == pytest.approx(value, abs=half)
    found = dispersion_of_counts(counts, np.ones(200))
    assert isinstance(found, Result)
    assert found.details["x_squared"] / 199 * counts.mean() == pytest.approx(
        answers["variance (n-1)"][0], abs=5e-4
    )
    assert found.details["p_value"] == pytest.approx(0.4804, abs=0.04)


def test_seedlings_in_quadrats() -> None:
    # POI-08: Davison & Hinkley, Bootstrap Methods (1997), example 4.9: t = 55.15, p = 0.25.
    found = dispersion_of_counts(column("POI-08", "count"), np.ones(50))
    assert isinstance(found, Result)
    answers = printed("POI-08-answers")
    assert found.details["x_squared"] == pytest.approx(answers["T"][0], abs=answers["T"][1])
    assert found.details["p_value"] == pytest.approx(answers["p (chi2_49)"][0], abs=0.005)

"""Conformity decisions against the examples of JCGM 106:2012, ISO 14253-1 and ILAC-G8.

Their digits are from memory of the documents, recomputed.
"""

import pytest

from pipeline.nonconformance.decision import (
    DecisionRule,
    Verdict,
    conformance_probability,
    decide,
    guard_band,
)
from tests.published.worked_cases import printed
from tests.said import said


def test_breakdown_voltage_one_upper_limit() -> None:
    """JCGM 106:2012, 7.3/7.4: T_U = -5.40 V, y = -5.47 V, u = 0.05 V."""
    answers = printed("JCG-01")
    value, half = answers["(T_U-y)/u"]
    distance = (-5.40 + 5.47) / 0.05
    assert distance == pytest.approx(value, abs=half)
    value, half = answers["p_c"]
    assert conformance_probability(-5.47, 0.05, upper=-5.40) == pytest.approx(value, abs=half)
    judged = decide(-5.47, 0.05, -5.40, "at most", DecisionRule("guard band", 0.95))
    assert said(judged.verdict) is Verdict.CANNOT_BE_TOLD


def test_oil_viscosity_two_limits() -> None:
    """JCGM 106:2012, 7.4: T_L = 12.50, T_U = 16.30, y = 13.6, u = 1.8 mm2/s."""
    value, half = printed("JCG-02")["p_c"]
    assert conformance_probability(13.6, 1.8, lower=12.5, upper=16.3) == pytest.approx(value, abs=half)


def test_speed_limit_guarded_rejection() -> None:
    """JCGM 106:2012, 8.3.3: 100 km/h, u/v = 0.02, 99.9 %."""
    answers = printed("JCG-03")
    value, half = answers["z at 0.999"]
    assert guard_band(1.0, 0.999) == pytest.approx(value, abs=half)
    # The uncertainty grows with the value: v - z 0.02 v = 100.
    limit = 100.0 / (1.0 - guard_band(0.02, 0.999))
    assert limit == pytest.approx(answers["v_max"][0], abs=answers["v_max"][1])
    assert limit - 100.0 == pytest.approx(answers["guard band w"][0], abs=answers["guard band w"][1])


def test_guard_bands_and_worst_case_false_acceptance() -> None:
    """ISO 14253-1:2017 default; ILAC-G8:09/2019, table 1, with U = 2u."""
    answers = printed("JCG-05")
    # 1.65 is rounded up from 1.6449 in the standard: one unit of the last digit.
    assert guard_band(1.0, 0.95) == pytest.approx(answers["z 95 % one-sided"][0], abs=0.01)
    for name, width in (("PFA % at w=U (k=2)", 2.0), ("PFA % at w=1.5U", 3.0), ("PFA at w=0 %", 0.0)):
        value, half = answers[name]
        at_acceptance_limit = conformance_probability(width, 1.0, lower=0.0)
        assert 100.0 * (1.0 - at_acceptance_limit) == pytest.approx(value, abs=half)

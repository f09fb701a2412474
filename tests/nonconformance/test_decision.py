"""Conformity decisions: values worked by hand or by an independent integral, properties, texts."""

import math

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from pipeline.errors import MethodRefusal
from pipeline.nonconformance.decision import (
    DecisionRule,
    Verdict,
    conformance_probability,
    decide,
    false_events_per_km,
    global_risks,
    process_posterior,
)
from pipeline.wording.say import plain

GUARDED = DecisionRule("guard band", 0.95)
SIMPLE = DecisionRule("simple acceptance")


def test_three_answers_around_a_lower_limit() -> None:
    # L = 0.343 mm, u = 4 um, z = 1.644854: accept from 0.3495794, reject to 0.3364206.
    judged = decide(0.347, 0.004, 0.343, "at least", GUARDED)
    assert judged.verdict is Verdict.CANNOT_BE_TOLD
    assert judged.risk is None
    assert judged.conformance_probability == pytest.approx(0.8413447460685398)  # Phi(1)
    assert judged.acceptance_limit == pytest.approx(0.3495794144)
    assert judged.rejection_limit == pytest.approx(0.3364205856)
    assert decide(0.3496, 0.004, 0.343, "at least", GUARDED).verdict is Verdict.CONFORMS
    assert decide(0.3364, 0.004, 0.343, "at least", GUARDED).verdict is Verdict.DOES_NOT_CONFORM


def test_simple_acceptance_compares_the_value_itself_and_tells_the_risk() -> None:
    at_limit = decide(0.343, 0.004, 0.343, "at least", SIMPLE)
    assert (at_limit.verdict, at_limit.risk) == (Verdict.CONFORMS, 0.5)
    below = decide(0.3429, 0.004, 0.343, "at least", SIMPLE)
    assert below.verdict is Verdict.DOES_NOT_CONFORM
    assert below.risk == pytest.approx(0.4900275)  # Phi(-0.025)
    assert plain(SIMPLE.told) == "simple acceptance: the value itself is compared with the limit"
    assert plain(GUARDED.told) == "guard band: conformity must be shown with 95 %"


@pytest.mark.parametrize("rule", [SIMPLE, GUARDED])
@pytest.mark.parametrize("value", [0.33, 0.3364206, 0.343, 0.345, 0.36])
def test_an_upper_limit_mirrors_a_lower_one(rule: DecisionRule, value: float) -> None:
    low = decide(value, 0.004, 0.343, "at least", rule)
    high = decide(-value, 0.004, -0.343, "at most", rule)
    assert low.verdict is high.verdict
    assert low.conformance_probability == pytest.approx(high.conformance_probability)


def test_no_value_cannot_be_told() -> None:
    judged = decide(float("nan"), 0.004, 0.343, "at least", SIMPLE)
    assert judged.verdict is Verdict.CANNOT_BE_TOLD
    assert math.isnan(judged.conformance_probability)


def test_without_uncertainty_both_rules_say_the_same() -> None:
    for value in (0.3429, 0.343, 0.3431):
        simple, guarded = (decide(value, 0.0, 0.343, "at least", rule) for rule in (SIMPLE, GUARDED))
        assert simple.verdict is guarded.verdict
        assert simple.conformance_probability in (0.0, 1.0)


def test_a_reading_starts_a_finding_where_the_rule_stops_accepting() -> None:
    assert SIMPLE.enter_guard(0.004) == 0.0
    assert GUARDED.enter_guard(0.004) == pytest.approx(-0.0065794144)


def test_what_the_process_says_pulls_the_estimate() -> None:
    # w = 0.008^2/(0.008^2 + 0.004^2) = 0.8; mean 0.8 x 0.345 + 0.2 x 0.380; sd = sqrt(0.8) x 0.004.
    mean, sd = process_posterior(0.345, 0.004, 0.380, 0.008)
    assert mean == pytest.approx(0.352)
    assert sd == pytest.approx(0.0035777087639996636)
    assert conformance_probability(mean, sd, lower=0.343) == pytest.approx(0.9940581053789261)
    assert conformance_probability(0.345, 0.004, lower=0.343) == pytest.approx(0.6914624612740083)


@pytest.mark.parametrize("guard_u", [0.0, 1.0, 1.645])
def test_global_risks_equal_the_bivariate_normal(guard_u: float) -> None:
    # Independent: true and measured value are jointly normal; scipy's bivariate normal distribution function.
    mean, sd, u, limit = 0.360, 0.008, 0.004, 0.343
    accept = limit + guard_u * u
    joint = multivariate_normal([mean, mean], [[sd**2, sd**2], [sd**2, sd**2 + u**2]])
    bad, rejected = (limit - mean) / sd, accept
    both = float(joint.cdf([limit, rejected]))
    bad_share = 0.5 * math.erfc(-bad / math.sqrt(2))
    rejected_share = 0.5 * math.erfc(-(rejected - mean) / math.hypot(sd, u) / math.sqrt(2))
    consumer, producer = global_risks(mean, sd, u, limit, "at least", guard_u * u)
    assert consumer == pytest.approx(bad_share - both, abs=2e-6)
    assert producer == pytest.approx(rejected_share - both, abs=2e-6)
    mirrored = global_risks(-mean, sd, u, -limit, "at most", guard_u * u)
    assert mirrored == pytest.approx((consumer, producer))


def test_noise_alone_makes_findings() -> None:
    assert false_events_per_km(2.0, 1.0, 1.0) == pytest.approx(22.750131948179195)  # 1000 Phi(-2)
    assert false_events_per_km(2.0, 1.0, 1.0, consecutive=2) == pytest.approx(0.5175685036595636)


def test_conformance_probability_is_monotone_and_within_bounds() -> None:
    p = [
        conformance_probability(float(v), 0.004, lower=0.343, upper=0.4) for v in np.linspace(0.33, 0.37, 41)
    ]
    assert all(0.0 <= one <= 1.0 for one in p)
    assert p == sorted(p)


def test_what_cannot_be_asked_is_told_in_full() -> None:
    with pytest.raises(MethodRefusal) as told:
        decide(0.35, -0.1, 0.343, "at least", SIMPLE)
    assert str(told.value) == "standard uncertainty: -0.1 was given. Give a finite number from 0 upwards."
    with pytest.raises(MethodRefusal) as told:
        DecisionRule("guard band", 95.0)
    assert str(told.value) == (
        "decision rule: a confidence of 95. Give a probability of at least 0.5 and below 1, for example 0.95."
    )
    with pytest.raises(MethodRefusal) as told:
        global_risks(0.36, 0.0, 0.004, 0.343, "at least", 0.0)
    assert str(told.value) == (
        "global risks: a process standard deviation of 0 and a standard uncertainty of 0.004. "
        "Give both above 0."
    )

"""Every public function of the statistics that can refuse is handed bad input: it answers, refuses or says why not.

The functions are found by looking, so a new one is tried as well. Each is first called with plain arguments, which
must not raise; then one argument at a time is made bad: nothing, one value, all equal, ties, not-a-number, infinite,
zero, negative, all at one place, a limit on the wrong side, a length of zero.
"""

from __future__ import annotations

import importlib
import inspect
import math
import pkgutil
import warnings
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

import pipeline.statistics
from pipeline.errors import ReelproofError
from pipeline.results import Refused, Result
from pipeline.statistics.against_record import Observed
from pipeline.statistics.below_threshold import fit_tail
from pipeline.statistics.block_minima import fit_block_minima
from pipeline.statistics.bootstrap import redraw
from pipeline.statistics.capability import performance_index_one_sided
from pipeline.statistics.distribution_families import FAMILIES
from pipeline.statistics.event_rate import event_rate
from pipeline.statistics.event_repeats import search_repeats
from pipeline.statistics.lomb_scargle import gappy_period
from pipeline.statistics.minimum_of_reel import LowerTail, reel_risk
from pipeline.statistics.periodicity import find_periods
from tests.said import said

RANDOM = np.random.default_rng(5)
SERIES = 0.40 + 0.005 * RANDOM.standard_normal(120)
DEPTHS = RANDOM.exponential(0.004, 60)
FAULTS = np.sort(RANDOM.uniform(0, 1900, 12))
COUNTS = RANDOM.poisson(3.0, 24)
VECTORS = RANDOM.normal(0.4, 0.005, (30, 4))

PLAIN: dict[str, Any] = {
    "announced_m": 60.0, "mixed_m": 2.0,
    "values": SERIES, "baseline": SERIES[:40], "deficits": DEPTHS, "minima": SERIES[:40], "counts": COUNTS,
    "known_m": np.full(24, 2000.0), "at_m": np.arange(120.0), "at": np.arange(120.0), "vectors": VECTORS,
    "walls_mm": VECTORS, "subgroups": VECTORS, "gaps_m": RANDOM.exponential(500.0, 20), "mean_gap_m": 500.0,
    "reel_means": SERIES[:12], "reel_sds": np.full(12, 0.004), "n_for_mean": np.full(12, 40.0),
    "n_for_variance": np.full(12, 60.0), "means": SERIES[:12], "variances": np.full(12, 1.6e-5),
    "n": np.full(12, 500.0), "limit": 0.37, "lower_limit": 0.37, "upper_limit": 0.43, "reels": [FAULTS, FAULTS + 1.3],
    "turns_m": {"capstan": 1.885}, "electrode_m": 0.3, "position_sd_m": 0.1, "shortest_m": 3.0, "longest_m": 30.0,
    "faults_m": [FAULTS], "events_m": [FAULTS + 0.4], "reel_m": 2000.0, "window_m": 2.0, "step_m": 0.5,
    "effective_n": 60.0, "threshold": 0.396, "scale": 0.004, "shape": 0.0, "centre": 0.40, "sigma": 0.005,
    "alpha": 0.001, "circumstances": {"shift": ["day", "night"] * 12}, "share": 0.9, "unit": "mm",
    "bad": 1, "count_1": 8, "known_1_m": 40_000.0, "count_2": 3, "known_2_m": 60_000.0, "count": 3,
    "margin_mm": 0.05, "observed_sd_mm": 0.012, "noise_sd_mm": 0.004, "small_scale_sd_mm": 0.009,
    "n_observed": 400.0, "n_noise": 200.0, "n_small_scale": 60.0, "index": 1.3, "index_low": 1.2, "index_high": 1.4,
    "correlation_m": 0.5, "question": "mean", "unit_of_inference": "reel", "lag_one": 0.0, "good_between": COUNTS + 1,
    "chance": 0.01, "pieces": np.full(24, 50), "times": 0.01, "within_m": 10.0, "reel": list("aabbccddee") * 12,
    "block_m": 1000.0, "families": FAMILIES,
}  # fmt: skip
# Arguments that mean something else in one function.
OWN: dict[str, dict[str, Any]] = {
    "against_record.against_record": {"answer": event_rate(3, 9000.0), "observed": Observed(0, 5)},
    "event_clustering.trend_along": {"at_m": FAULTS, "known_m": 2000.0},
    "event_clustering.gap_clustering": {"at_m": FAULTS, "known_m": 2000.0},
    "event_clustering.close_pairs": {"at_m": FAULTS, "known_m": 2000.0},
    "event_rate.event_rate": {"known_m": 20_000.0},
    "event_coincidence.coincidence": {"reel_m": [2000.0], "shifts": 19},
    "reels_needed.share_of_bad_reels": {"reels": 60, "known_m": None},
    "count_charts.share_chart": {"bad": RANDOM.binomial(50, 0.1, 24)},
    "minimum_of_reel.reel_risk": {"limit": 0.39, "tail": LowerTail(0.396, 0.004, 0.0, 0.001)},
    "return_level.reel_level": {"known_m": 60_000.0, "tail": LowerTail(0.396, 0.004, 0.0, 0.001)},
    "block_minima.reel_risk_from_blocks": {"fit": fit_block_minima(SERIES[:40]), "limit": 0.38},
    "nonnormal_capability.quantile_index_one_sided": {"redrawn": redraw(120, 1.0, 30, 1)},
    "bootstrap.bootstrap_interval": {"statistic": lambda rows: rows.mean(axis=1), "repetitions": 50},
    "level_crossings.correlation_length_m": {"values": np.cumsum(np.cumsum(RANDOM.standard_normal(1200)))},
    "level_crossings.reel_risk_from_index": {"n": 100, "known_m": None},
    "averaging_gauge.margin_at_specimen_scale": {"known_m": None},
    "rate_changes.rate_change": {"simulations": 19},
    "capability.performance_index_one_sided": {"n_for_mean": 60.0, "n_for_variance": 60.0, "known_m": None},
    "capability_two_sided.performance_index_two_sided": {"n_for_mean": 60.0, "n_for_variance": 60.0, "known_m": None},
    "variance_components.variance_components": {"run": None},
    "order_tracking.track": {"axes": {"length": np.arange(120.0), "time": np.arange(120.0) ** 1.1}},
    "multivariate_charts.t2_chart": {"centre": None, "covariance": None, "baseline": None},
    "shewhart.individuals_chart": {"centre": None, "sigma": None, "baseline": None},
    "residual_charts.fit_autoregression": {},
    "tolerance.lower_tolerance_limit": {"shape": "normal"},
    "change_points.find_changes": {"at_m": np.arange(120.0)},
}  # fmt: skip
NAN, INF = math.nan, math.inf
BAD_ROWS: dict[str, Any] = {
    "nothing": [],
    "one value": [0.4],
    "two values": [0.4, 0.41],
    "all equal": [0.4] * 60,
    "zeros": [0.0] * 24,
    "ties": [0.4, 0.41] * 30,
    "a not-a-number": [0.4, NAN, *SERIES[:58].tolist()],
    "only not-a-numbers": [NAN] * 30,
    "infinite": [0.4, INF, *SERIES[:58].tolist()],
    "negative": [-0.4, *SERIES[:59].tolist()],
}
BAD_NUMBERS: dict[str, Any] = {"zero": 0.0, "negative": -1.0, "not-a-number": NAN, "infinite": INF}
BAD_COUNTS: dict[str, Any] = {"zero": 0, "negative": -1}
# A repetition count is the caller's own and no input of a plant.
NOT_INPUT = {"shifts", "simulations", "repetitions", "seed", "redrawn"}
# Profile likelihoods and regressions take seconds a call: left out here, their own tests hand them bad input.
SLOW = {"block_minima.reel_risk_from_blocks", "return_level.reel_level", "minimum_of_reel.reel_risk",
        "rate_regression.rate_regression"}  # fmt: skip


def refusing() -> dict[str, Callable[..., Any]]:
    found = {}
    for module in pkgutil.iter_modules(pipeline.statistics.__path__):
        loaded = importlib.import_module(f"pipeline.statistics.{module.name}")
        for name, function in inspect.getmembers(loaded, inspect.isfunction):
            told = str(inspect.signature(function).return_annotation)
            if function.__module__ == loaded.__name__ and not name.startswith("_") and "Refused" in told:
                found[f"{module.name}.{name}"] = function
    return found


FUNCTIONS = refusing()


def arguments(name: str) -> dict[str, Any]:
    given = {}
    for parameter in inspect.signature(FUNCTIONS[name]).parameters.values():
        if parameter.name in OWN.get(name, {}):
            given[parameter.name] = OWN[name][parameter.name]
        elif parameter.default is inspect.Parameter.empty:
            given[parameter.name] = PLAIN[parameter.name]
    return given


def call(name: str, given: dict[str, Any]) -> object:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return FUNCTIONS[name](**given)


def test_the_functions_are_found() -> None:
    assert len(FUNCTIONS) > 40


@pytest.mark.parametrize("name", FUNCTIONS)
def test_plain_input_is_answered(name: str) -> None:
    call(name, arguments(name))


@pytest.mark.parametrize("name", [one for one in FUNCTIONS if one not in SLOW])
def test_bad_input_is_answered_refused_or_told_in_words(name: str) -> None:
    plain = arguments(name)
    for argument, value in plain.items():
        rows = isinstance(value, np.ndarray) or (isinstance(value, list) and argument in {"values", "counts"})
        if argument in NOT_INPUT:
            continue
        numbers = BAD_COUNTS if isinstance(value, int) else BAD_NUMBERS if isinstance(value, float) else {}
        tried = BAD_ROWS if rows else numbers
        for words, bad in tried.items():
            given = {**plain, argument: bad}
            if rows and "at_m" in given and argument == "values" and isinstance(bad, list):
                given["at_m"] = np.arange(float(len(bad)))
            try:
                answer = call(name, given)
            except ReelproofError as fault:
                told = str(fault)
                assert told.strip() and "{" not in told, (argument, words)
                continue
            except Exception as fault:
                raise AssertionError(f"{argument} as {words} ({bad!r:.60}) gave {fault!r}") from fault
            for one in answer if isinstance(answer, tuple) else (answer,):
                if isinstance(one, Refused):
                    assert said(one.reason).strip().endswith("."), (argument, words, said(one.reason))
                elif isinstance(one, Result):
                    # No interval, no conclusion: an end that is not a number is no interval.
                    assert not (math.isnan(one.low) or math.isnan(one.high)), (argument, words)


def test_a_fit_that_does_not_converge_says_so() -> None:
    """Depths that pile up at an end: the search runs into its edge and the exponential tail stands in, openly."""
    fit = fit_tail(np.concatenate([np.full(40, 1.0), np.linspace(0.98, 1.0, 40)]))
    assert fit.converged is False
    assert fit.shape == 0.0


WALL = SERIES
FAR = RANDOM.exponential(0.004, 60)
SWING = np.sin(2 * np.pi * np.arange(400.0) / 1.5) + 0.1 * RANDOM.standard_normal(400)
TAIL = LowerTail(0.396, 0.004, 0.0, len(FAR) / 6e4)
# What a reader is told of each bad input, by a method that meets it.
TOLD: dict[str, tuple[Callable[[], Any], str]] = {
    "all equal": (
        lambda: performance_index_one_sided([0.4] * 60, 0.38),
        (
            "All 60 values are equal, so there is no spread to measure; look for a stuck instrument or a resolution "
            "coarser than the process."
        ),
    ),
    "one reading": (
        lambda: performance_index_one_sided([0.4], 0.38),
        "Needs an effective sample size of 10; 1 value gives 1.0. Gather more reels.",
    ),
    "no number": (
        lambda: performance_index_one_sided([NAN] * 30, 0.38),
        "Needs an effective sample size of 10; 0 values give 0.0. Gather more reels.",
    ),
    "infinite": (
        lambda: performance_index_one_sided([0.4, INF, *WALL], 0.38),
        "1 of 122 values are infinite; flag them and ask again.",
    ),
    "mean on the wrong side of the limit": (
        lambda: performance_index_one_sided(WALL, 0.45),
        "The mean lies on or beyond the limit: the index is not positive.",
    ),
    "limit on the wrong side of the threshold": (
        lambda: reel_risk(FAR, TAIL, limit=0.40, reel_m=2000.0),
        "The limit lies above the threshold, where the tail is not fitted; choose a threshold above it.",
    ),
    "zero faults": (
        lambda: event_rate(0, 5000.0),
        "0 faults in 5000 m. Upper 95 % bound: 0.599 per km.",
    ),
    "zero length": (
        lambda: event_rate(3, 0.0),
        "The detector was working on no known length, so 3 faults have no rate; give the length on which it worked.",
    ),
    "zero length of a tail": (
        lambda: reel_risk(FAR, replace(TAIL, clusters_per_m=INF), limit=0.39, reel_m=2000.0),
        "The known length and the reel must be longer than zero; without known wire there is no rate.",
    ),
    "all faults at one place": (
        lambda: search_repeats([np.full(9, 7.0)], {"capstan": 1.885}, 0.3, 0.1).refused[0],
        "capstan not cleared: on each reel the faults lie within 0 m, less than three turns of 1.885 m.",
    ),
    "a period under twice the step": (
        lambda: gappy_period(np.arange(400.0), SWING, 1.2, 20.0),
        (
            "Aliasing: readings are usually 1 m apart, so a period below 2 m may be an alias. See "
            "the alias table."
        ),
    ),
    "a period under twice the step, even readings": (
        lambda: find_periods(np.tile(SWING, 10), 0.5),
        (
            "Aliasing: periods below 1 m appear at another length, because readings are 0.5 m "
            "apart. See the alias table."
        ),
    ),
    "a fit that does not converge": (
        lambda: reel_risk(FAR, TAIL, limit=0.39, reel_m=2000.0, converged=False),
        "The tail fit did not converge; an exponential tail stands in, which is no bound.",
    ),
}


@pytest.mark.parametrize("case", TOLD)
def test_each_bad_input_is_told_in_its_own_words(case: str) -> None:
    asked, sentence = TOLD[case]
    answer = asked()
    told = (said(answer.reason),) if isinstance(answer, Refused) else said(answer.warnings)
    assert sentence in told, told


def test_ties_are_values_like_others() -> None:
    found = performance_index_one_sided([0.4, 0.41] * 30, 0.38)
    assert isinstance(found, Result)
    assert found.details["sd"] == pytest.approx(0.005 * math.sqrt(60 / 59))

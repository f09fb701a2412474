"""Every public function of the statistics is called with every bad value at every argument: never a number comes back.

The functions are found by looking. Each is called with plain arguments first, so that it is known to answer; then one
argument at a time is bad. What comes back is an error in words or a refusal. What is not a number for some readings
only (unknown readings, none at all) may be answered from the others.
"""

from __future__ import annotations

import dataclasses
import inspect
import math
import types
import typing
import warnings
from collections import abc
from contextlib import suppress
from dataclasses import replace
from typing import Any, Literal, get_args, get_origin

import numpy as np
import pytest

from pipeline.arguments import is_row, kinds_of
from pipeline.errors import ReelproofError
from pipeline.quantity import Asked, Quantity
from pipeline.results import Refused, Result
from pipeline.statistics.against_record import Observed
from pipeline.statistics.below_threshold import fit_tail_rows, tail_cdf, tail_quantile
from pipeline.statistics.event_clustering import dispersion_of_counts
from pipeline.statistics.event_rate import event_rate
from pipeline.statistics.multivariate_charts import wall_baseline
from pipeline.statistics.residual_charts import Autoregression
from pipeline.statistics.turning_elements import alias_table, driven_by_wire
from pipeline.statistics.variance_components_reml import _prepared
from tests.statistics.test_arguments import PUBLIC
from tests.statistics.test_bad_input import FAULTS, FUNCTIONS, OWN, PLAIN, SERIES, VECTORS

NAN, INF = math.nan, math.inf
LONG = np.random.default_rng(3).standard_normal(2000)
REELS = _prepared(
    [np.asarray(PLAIN[one], dtype=float) for one in ("means", "variances", "n", "n", "n")], None
)
OWNED = replace(
    event_rate(3, 9000.0),
    question=Asked(Quantity.VARIANCE_COMPONENT, "between reels"),
    details={"share_of_variance": 0.6},
)
SCATTER = dispersion_of_counts([3, 1, 4, 1, 5], [1000.0] * 5)
WIRE = driven_by_wire("capstan", 1.885, 1.0)
MORE: dict[str, Any] = {
    "observed": Observed(1, 20), "charts": 4, "points_per_day": 60.0,
    "arl0": 200.0, "lags": 5, "correlation": [0.5, 0.2],
    "phi": 0.4, "rows": np.abs(VECTORS),
    "parameters": np.array([[0.004, -0.1]]), "probabilities": np.array([[0.2, 0.7]]),
    "depths": PLAIN["deficits"], "level": 0.01, "eta": 0.001,
    "block": 3.0, "repetitions": 30, "seed": 1, "freedom": 12.0,
    "confidence": 0.95, "sense": "at least", "mean": 0.40, "sd": 0.005, "penalty": 4.0, "rate_per_km": 3.0,
    "x": np.abs(VECTORS.T), "power": np.array([[0.5]]), "faults": 4, "events": 6, "covered_m": 20.0, "length_m": 2000.0,
    "at_least": 2, "period_m": 1.885, "weight": 0.2,
    "run_m": 5.0, "spacings": [1, 3, 40, 1, 70, 2, 9], "exceedances": 8,
    "readings": 500, "theta": 0.5, "fit": fit_tail_rows, "cdf": tail_cdf, "quantile": tail_quantile,
    "known": [[0.0, 60.0], [80.0, 120.0]], "depth_sd": 3.0,
    "between_sd": 0.3, "crossings_at_mean": 400.0, "power_": 0.2,
    "highest": 0.4, "lowest": 0.1, "share_below": 0.01, "readings_per_m": 2.0, "depth": 0.004, "passings_per_m": 1e-4,
    "covariance": np.eye(4) * 2.5e-5, "variables": 4, "phase": "I", "size": 5, "low": 0.38, "median": 0.4, "high": 0.42,
    "first": SERIES, "second": SERIES[::-1], "step": 0.5, "averages": 16.0, "phi_1": 0.9, "phi_2": -0.5,
    "amplitude": 0.003, "statistic": 1.2, "p_value": 0.01, "trials": 20.0, "resultant_sum": 4.0, "turn": 0.2,
    "reference": 0.5, "rate_1_per_km": 2.0, "rate_2_per_km": 1.0, "known_1": 40.0, "known_2": 60.0, "test": "mid-p",
    "claimed": 1.33, "true": 1.67, "model": Autoregression(0.4, (0.3,), 0.005, 100),
    "arl": 200.0, "q": 0.5, "width": 3.0,
    "low_m": 10.0, "high_m": 20.0, "noted_m": [12.0], "noted": ["a lot"], "raw": 8, "merged": 6.0, "reach_m": 1.0,
    "rule": "chain", "dead_time_s": 0.1, "speed_m_s": 10.0, "below": [0.0, 0.002],
    "from_m": 0.0, "to_m": 120.0, "elements": [WIRE], "period_sd_m": 0.001, "table": alias_table([WIRE], 0.5, 0.5),
    "name": "capstan", "period_s": 2.0, "tolerance_pct": 1.0, "circumference_m": 1.885, "found": event_rate(3, 9000.0),
    "frequency": 0.5, "mean_squares": [4.0, 2.0], "freedoms": [5.0, 20.0], "weights": [0.1, -0.1], "components": [],
    "within": 1e-5, "between": 1e-5, "over": 1e-5, "tau": np.array([-1.0, 0.0, 2.0]),
}  # fmt: skip
MINE: dict[str, dict[str, Any]] = {
    "beyond_wander.chance_of_wander": {"design": np.ones((len(SERIES), 1)), "tested": [0]},
    "minimum_of_reel.reels_alike": {"dispersion": None},
    "event_family.family_probabilities": {"reels": [[1.0, 2.9, 4.8], [10.2, 12.1, 13.0]], "least_sd_m": 0.05},
    "run_length.prediction_width": {"baseline": 20},
    "bootstrap.redraw": {"n": 100},
    "capability.index_lower_bound": {"n_for_mean": 40.0},
    "capability.index_standard_error": {"n_for_mean": 40.0, "n_for_variance": 40.0},
    "capability.widening_by_shape": {"values": SERIES},
    "count_charts.poisson_limits": {"mean": [2.0, 3.0]},
    "event_coincidence.poisson_coincidence_p": {},
    "lomb_scargle.baluev_fap": {"power": 0.2, "n": 120},
    "minimum_of_reel.likelihood_drop": {"known_m": 60_000.0},
    "multivariate_charts.mewma_chart": {"centre": np.full(4, 0.4), "limit": 12.0},
    "multivariate_charts.t_squared": {"centre": np.full(4, 0.4)},
    "multivariate_charts.t2_limit": {"baseline": 40},
    "multivariate_charts.wall_chart": {"baseline": wall_baseline(VECTORS)},
    "multivariate_charts.wall_parts": {"baseline": wall_baseline(VECTORS)},
    "rare_event_charts.faults_to_signal": {"times": 5.0},
    "rare_event_charts.gap_cusum_arl": {"limit": 3.0},
    "reels_needed.chance_to_prove": {"reels": 30},
    "reels_needed.index_that_proves": {"reels": 30},
    "run_length.cusum_arl": {"limit": 4.0},
    "run_length.mewma_arl0": {"limit": 9.0},
    "shewhart.chart_constants": {"n": 5},
    "spark_merge.hidden_faults": {"known_m": 9000.0},
    "spark_merge.merge_events": {"at_m": FAULTS},
    "tail_diagnostics.cluster_spacings": {"at_m": FAULTS},
    "tail_diagnostics.trend_along_length": {"at_m": np.linspace(1.0, 119.0, 60)},
    "tolerance.confidence_of_extreme": {"n": 40},
    "tolerance.one_sided_factor": {"n": 40},
    "variance_components_reml.restricted_log_likelihood": {"reels": REELS},
    "variance_components_reml.owner_of_the_spread": {"components": [OWNED]},
}  # fmt: skip


# An upper bound of an index that there is not is told so.
ENDLESS = {("level_crossings.reel_risk_from_index", "index_high")}


def plain(name: str) -> dict[str, Any]:
    own = {**OWN.get(name, {}), **MINE.get(name, {})}
    given = {}
    for parameter in inspect.signature(PUBLIC[name]).parameters.values():
        if parameter.name in own:
            given[parameter.name] = own[parameter.name]
        elif parameter.default is inspect.Parameter.empty:
            known = {**MORE, **PLAIN} if name in FUNCTIONS else {**PLAIN, **MORE}
            given[parameter.name] = known[parameter.name]
    return given


def answer_of(name: str, given: dict[str, Any]) -> object:
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        return PUBLIC[name](**given)


def refused(answer: object) -> bool:
    if isinstance(answer, tuple):
        return any(isinstance(one, Refused) for one in answer) or all(refused(one) for one in answer)
    if isinstance(answer, np.ndarray | float):
        return bool(np.isnan(answer).all())
    return isinstance(answer, Refused) or bool(getattr(answer, "refused", ()))


def bad_for(kind: Any, value: Any) -> dict[str, Any]:
    """Bad values of an argument of this kind, by what is wrong with them; made of a good value where there is one."""
    kinds = get_args(kind) if get_origin(kind) in {types.UnionType, typing.Union} else (kind,)
    if any(get_origin(one) is Literal for one in kinds):
        return {"an unknown word": "no such word"}
    if is_row(kind):
        row = np.array(SERIES if value is None else value, dtype=np.float64)
        endless = row.copy()
        endless.flat[0] = INF
        return {"text": ["a", "b"], "an object": object(), "a mapping": {"a": 1.0},
                "infinite": endless, "all unknown": np.full(row.shape, NAN)}  # fmt: skip
    if float in kinds or int in kinds:
        return {
            "text": "0.4",
            "an object": object(),
            "not-a-number": NAN,
            "infinite": INF,
            "minus infinite": -INF,
        }
    if bool in kinds:
        return {"text": "yes", "a figure": 0.4}
    if kind is str:
        return {"a figure": 3.0}
    if Result in kinds and value is None:
        return bad_records(SCATTER)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return bad_records(value)
    return bad_parts(kind, value)


def bad_parts(kind: Any, value: Any) -> dict[str, Any]:
    """Bad values of an argument that holds several rows or figures."""
    origin, of = get_origin(kind), get_args(kind)
    if origin is abc.Sequence and is_row(of[0]):
        rows = [np.array(one, dtype=np.float64) for one in value]
        return {"a figure": 3.0, "text": [["a"]], "infinite": [np.append(rows[0], INF), *rows[1:]],
                "all unknown": [np.full(one.shape, NAN) for one in rows]}  # fmt: skip
    if origin is abc.Sequence and of[0] is float:
        return {"text": ["a"], "infinite": [INF], "all unknown": [NAN]}
    if origin is abc.Mapping and of[1] is float:
        return {
            words: dict.fromkeys(value, bad)
            for words, bad in (("text", "a"), ("infinite", INF), ("unknown", NAN))
        }
    if origin is abc.Mapping and is_row(of[1]):
        return {"all unknown": {key: np.full(len(one), NAN) for key, one in value.items()}}
    return {}


def bad_records(value: Any) -> dict[str, Any]:
    """A record handed in, each of its figures unknown or without end in turn."""
    found = {}
    for one in dataclasses.fields(value):
        figure = getattr(value, one.name)
        if isinstance(figure, bool) or not isinstance(figure, int | float):
            continue
        for words, bad in (("unknown", NAN), ("infinite", INF)):
            # A ratio over nothing has no end, and no upper end.
            if words == "unknown" or one.name not in {"estimate", "high"}:
                with suppress(ReelproofError, ValueError):
                    found[f"{one.name} {words}"] = replace(value, **{one.name: bad})
    return found


def test_the_kinds_with_no_bad_value_are_known() -> None:
    """What is thrown at nothing: functions of ours, rules, families, labels, codes; and rows that were prepared."""
    known = {"statistic", "fit", "cdf", "quantile", "goodness", "families", "rules", "elements", "table", "components",
             "reel", "run", "noted", "tested", "reels", "question", "stability_evidence", "family",
             "shortest", "longest", "circumstances", "covariance", "long_run_sd"}  # fmt: skip
    bare = set()
    for name, function in PUBLIC.items():
        given, kinds = plain(name), kinds_of(inspect.unwrap(function))
        for argument, parameter in inspect.signature(function).parameters.items():
            if not bad_for(kinds.get(argument, Any), given.get(argument, parameter.default)):
                bare.add(argument)
    assert bare <= known, bare - known


@pytest.mark.parametrize("name", PUBLIC)
def test_plain_arguments_are_answered(name: str) -> None:
    answer_of(name, plain(name))


@pytest.mark.parametrize("name", PUBLIC)
def test_never_a_number_from_bad_input(name: str) -> None:
    given, kinds = plain(name), kinds_of(inspect.unwrap(PUBLIC[name]))
    wrong = []
    for argument, parameter in inspect.signature(PUBLIC[name]).parameters.items():
        good = given.get(argument, parameter.default)
        for words, bad in bad_for(kinds.get(argument, Any), good).items():
            if words == "infinite" and (name, argument) in ENDLESS:
                continue
            try:
                answer = answer_of(name, {**given, argument: bad})
            except ReelproofError as told:
                if not str(told).strip().endswith(".") or "{" in str(told):
                    wrong.append((argument, words, str(told)))
            except Exception as fault:
                wrong.append((argument, words, repr(fault)))
            else:
                if not refused(answer):
                    wrong.append((argument, words, repr(answer)[:80]))
    assert wrong == []

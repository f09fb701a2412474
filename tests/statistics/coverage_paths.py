"""The product's own path in fewer steps: what enters no decision of a trial is left out, what does is the product's.

Inside `shortened`, a bootstrap whose p-value is only held against a level stops once it cannot fall under it, an
interval is asked whether it holds the truth, not where it ends, and figures that stand beside are not worked out.
Random numbers are drawn in the product's order, so that each answer holds or fails as the product's would; a test runs
both (`tests/steps/test_held_share.py`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from functools import lru_cache
from typing import Any
from unittest.mock import patch

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from pipeline.statistics import below_threshold, event_clustering, minimum_of_reel
from pipeline.statistics.goodness_of_fit import GoodnessOfFit, anderson_darling
from pipeline.statistics.tail_diagnostics import Spacings, _lattice_distance
from pipeline.steps.held_share import TriedKind
from pipeline.steps.wall_tail import LEVEL

Array = NDArray[np.float64]
AT_ONCE = 8


# What an answer is looked up by: kinds it may be of, correlations of neighbours, size.
Looked = tuple[tuple[TriedKind, ...], tuple[float, ...], float]
LOOKING = ("held_share", "reel_minimum", "line_indices", "answers", "run_patterns")


@contextmanager
def shortened(eta: float | None, short: bool = True) -> Iterator[list[Looked]]:
    """Inside, answers are not looked up in the table of trials but told as they are, and trials take the short ways.

    Args:
        eta: true rate of passing the limit [1/m], where the risk of a reel is tried.
        short: whether by the short ways; else by the product's own.

    Yields:
        What each answer would have been looked up by, in order.
    """
    looked: list[Looked] = []

    def note(answer: Any, figure: Any, kinds: Any, lags: Any, size: float, refuse_under: float = 0.0) -> Any:
        looked.append((kinds, lags, size))
        return answer

    ways: dict[str, Any] = {f"pipeline.steps.{one}.as_held": note for one in LOOKING}
    if short:
        ways |= {
            "pipeline.steps.wall_tail.bootstrap_goodness_of_fit": _fits,
            "pipeline.steps.wall_tail.cluster_spacings": _spacings,
            "pipeline.steps.wall_tail.shape_interval": _sign_of_shape,
            "pipeline.statistics.below_threshold.fit_tail_rows": _fitted,
            "pipeline.statistics.tail_diagnostics.fit_tail_rows": _fitted,
            "pipeline.steps.run_patterns.chance_of_wander": lambda *_: 1.0,
            "pipeline.statistics.event_clustering._x_squared_of_splits": _splits,
            "pipeline.steps.rates_of_reels.power_of_comparison": lambda *_: 0.5,
            "pipeline.steps.line_indices._proofs": lambda *_: [],
        }
        if eta is not None:
            ways["pipeline.statistics.minimum_of_reel._rate_interval"] = _holding(eta)
    with ExitStack() as stack:
        for name, way in ways.items():
            stack.enter_context(patch(name, way))
        yield looked


def _fits(
    values: Array, fit: Any, cdf: Any, quantile: Any, *, repetitions: int, most: int, seed: int = 1
) -> GoodnessOfFit:
    """The test of fit, stopped at the first samples that lie further off: its p-value is over the level then."""
    sample = values[:: -(-values.size // most)][None, :]
    parameters = _fitted(sample)
    observed = float(anderson_darling(cdf(parameters, sample))[0])
    random, done, further = np.random.default_rng(seed), 0, 0
    while done < repetitions and (further + 1.0) / (repetitions + 1.0) < LEVEL:
        wanted = min(AT_ONCE, repetitions - done)
        drawn = quantile(np.repeat(parameters, wanted, axis=0), random.random((wanted, sample.shape[1])))
        further += int(np.sum(~(anderson_darling(cdf(fit(drawn), drawn)) < observed)))
        done += wanted
    return GoodnessOfFit(observed, (further + 1.0) / (repetitions + 1.0), sample.shape[1], repetitions)


def _spacings(first: Array, last: Array, *, step_m: float, repetitions: int, seed: int = 1) -> Spacings:
    """The test of gaps between clusters, stopped likewise."""
    gaps = np.sort(first[1:] - last[:-1])
    beyond = np.rint((gaps - gaps[0]) / step_m)
    found = _lattice_distance(beyond[None, :])[0]
    random, done, further = np.random.default_rng(seed), 0, 0
    while done < repetitions and (further + 1.0) / (repetitions + 1.0) < LEVEL:
        wanted = min(AT_ONCE, repetitions - done)
        waits = random.geometric(1.0 / (1.0 + beyond.mean()), size=(wanted, gaps.size))
        waits = np.sort(waits, axis=1).astype(np.float64)
        further += int(np.sum(_lattice_distance(waits - waits[:, :1]) >= found))
        done += wanted
    return Spacings(gaps, gaps, (further + 1.0) / (repetitions + 1.0))


def _fitted(rows: Array) -> Array:
    """The fit, kept for one sample that several checks of a repetition ask for."""
    if rows.shape[0] > 1:
        return FITTED(rows)
    key = rows.tobytes()
    if key not in LAST:
        if len(LAST) > 20:
            LAST.clear()
        LAST[key] = FITTED(rows)
    return LAST[key]


def _sign_of_shape(deficits: Array) -> tuple[float, float]:
    """An interval on the side of 0 on which the shape's own lies."""
    fit = below_threshold.fit_tail(deficits)
    drop = float(stats.chi2.ppf(0.95, 1)) / 2.0
    exponential = -deficits.size * (math.log(float(deficits.mean())) + 1.0)
    if exponential - fit.log_likelihood + drop >= 0.0:
        return -1.0, 1.0
    return (0.5, 1.0) if fit.shape > 0.0 else (-1.0, -0.5)


def _holding(eta: float) -> Callable[..., tuple[float, float]]:
    """An interval that holds the true rate where the product's does, and ends on the right side of it where not."""

    def interval(
        y: Array, tail: minimum_of_reel.LowerTail, depth: float, known_m: float, drop: float
    ) -> tuple[float, float]:
        if depth <= 0.0 or eta <= 0.0:
            return PLAIN(y, tail, depth, known_m, drop)
        fall = minimum_of_reel._top(y, tail, known_m) - minimum_of_reel._Profile(y, depth, known_m).height(
            eta
        )
        if fall <= drop:
            return 0.0, math.inf
        fitted = tail.clusters_per_m * tail.deeper(tail.threshold - depth)
        return (0.0, 0.5 * eta) if fitted < eta else (2.0 * eta, math.inf)

    return interval


LAST: dict[bytes, Array] = {}
FITTED = below_threshold.fit_tail_rows
PLAIN = minimum_of_reel._rate_interval
SPLITS = event_clustering._x_squared_of_splits


def _splits(faults: int, length: ArrayLike, seed: int) -> Array:
    """Simulated splits over lengths, kept where the lengths are all one."""
    lengths = np.asarray(length, dtype=np.float64)
    if np.ptp(lengths) == 0.0:
        return _even_splits(faults, lengths.size, float(lengths[0]), seed)
    return SPLITS(faults, lengths, seed)


@lru_cache(maxsize=1500)
def _even_splits(faults: int, many: int, length: float, seed: int) -> Array:
    return SPLITS(faults, np.full(many, length), seed)

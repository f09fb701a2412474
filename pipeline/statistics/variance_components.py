"""Where the spread comes from: within reels, between reels, between runs (or shifts, or lots), by analysis of
variance.

Sources: Searle, Casella and McCulloch, Variance Components (1992), chapters 3 and 5; Satterthwaite,
Biometrics Bulletin 2 (1946), 110-114 (both from memory). For values that are independent within a reel, such
as cut samples; for readings, and where sizes differ much, see `pipeline.statistics.variance_components_reml`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.messages import Message, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result, UnitOfInference

METHOD = message(Method.NESTED_ANALYSIS_OF_VARIANCE)

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class MeanSquare:
    """One line of the table of the analysis of variance.

    Args:
        source: where the spread is measured.
        sum_of_squares: in the unit of the values squared.
        freedom: degrees of freedom.
    """

    source: str
    sum_of_squares: float
    freedom: int

    @property
    def mean_square(self) -> float:
        """Sum of squares over degrees of freedom."""
        return self.sum_of_squares / self.freedom


@dataclass(frozen=True, slots=True)
class Nested:
    """Table of a nested analysis of variance and the weights of its expected mean squares.

    Args:
        lines: within reels, reels, and runs if there are any, in this order.
        reel_weight: weight of the reel variance in the mean square of reels.
        reel_weight_in_runs: its weight in the mean square of runs; NaN without runs.
        run_weight: weight of the run variance in the mean square of runs; NaN without runs.
        balanced: True if all reels hold as many values and all runs as many reels.
    """

    lines: tuple[MeanSquare, ...]
    reel_weight: float
    reel_weight_in_runs: float
    run_weight: float
    balanced: bool


@checked
def nested_table(values: ArrayLike, reel: Sequence[object], run: Sequence[object] | None = None) -> Nested:
    """Nested analysis of variance of values in reels, and of reels in runs.

    Args:
        values: finite values, in any unit.
        reel: reel of each value; a reel belongs to one run.
        run: run, shift or lot of each value; None for one level.

    Source: Searle, Casella and McCulloch (1992), tables 3.1 and 5.3 for unequal sizes.
    """
    y = np.asarray(values, dtype=np.float64).ravel()
    y = y - y[0]  # off one value: no digits lost to a large level
    run_of = (
        np.unique(_codes(run), return_inverse=True)[1]
        if run is not None
        else np.zeros(y.size, dtype=np.int64)
    )
    pair = run_of * (int(_codes(reel).max()) + 1) + _codes(reel)
    reel_of = np.unique(pair, return_inverse=True)[1]
    n = np.bincount(reel_of).astype(np.float64)
    reel_mean = np.bincount(reel_of, y) / n
    run_of_reel = np.zeros(n.size, dtype=np.int64)
    run_of_reel[reel_of] = run_of
    run_n = np.bincount(run_of_reel, n)
    run_mean = np.bincount(run_of_reel, n * reel_mean) / run_n
    total, reels, runs = y.size, n.size, run_n.size
    within = MeanSquare("within reels", float(np.sum((y - reel_mean[reel_of]) ** 2)), total - reels)
    between = MeanSquare("reels", float(np.sum(n * (reel_mean - run_mean[run_of_reel]) ** 2)), reels - runs)
    square_in_run = float(np.sum(np.bincount(run_of_reel, n**2) / run_n))
    nan = float("nan")
    reel_weight = (total - square_in_run) / max(reels - runs, 1)
    counts = np.bincount(run_of_reel)
    balanced = bool(np.ptp(n) == 0.0 and np.ptp(counts) == 0)
    if runs < 2:
        return Nested((within, between), reel_weight, nan, nan, balanced)
    over = MeanSquare("runs", float(np.sum(run_n * (run_mean - y.mean()) ** 2)), runs - 1)
    return Nested(
        (within, between, over),
        reel_weight,
        (square_in_run - float(np.sum(n**2)) / total) / (runs - 1),
        (total - float(np.sum(run_n**2)) / total) / (runs - 1),
        balanced,
    )


@checked
def satterthwaite_interval(
    mean_squares: ArrayLike, freedoms: ArrayLike, weights: ArrayLike, confidence: float = 0.95
) -> tuple[float, float, float, float]:
    """Estimate, degrees of freedom and interval of a weighted sum of mean squares.

    v = sum c MS; f = v^2 / sum ((c MS)^2/f_k); interval f v/chi2_f. Where f falls under 1, or v is not above
    zero, the lower end is 0 and the upper one takes the first mean square at its chi-square limit less the
    rest (chosen here: chi-square has no use below one degree of freedom).

    Args:
        mean_squares: MS, the one with the positive weight first.
        freedoms: their degrees of freedom.
        weights: c.
        confidence: coverage aimed at.

    Returns:
        (v, f, low, high).

    Source: Satterthwaite (1946). With few groups the interval is very wide, and rightly so.
    """
    square, freedom, weight = (np.asarray(one, dtype=np.float64) for one in (mean_squares, freedoms, weights))
    part = weight * square
    value = float(part.sum())
    tail = (1.0 - confidence) / 2.0
    f = value**2 / float(np.sum(part**2 / freedom)) if value > 0.0 else 0.0
    if f < 1.0:
        widest = part[0] * freedom[0] / float(stats.chi2.ppf(tail, freedom[0])) + float(part[1:].sum())
        return value, f if value > 0.0 else float("nan"), 0.0, max(float(widest), 0.0)
    return value, f, f * value / float(stats.chi2.isf(tail, f)), f * value / float(stats.chi2.ppf(tail, f))


@checked
def variance_components(
    values: ArrayLike,
    reel: Sequence[object],
    run: Sequence[object] | None = None,
    *,
    unit: str = "mm",
    confidence: float = 0.95,
    unit_of_inference: UnitOfInference = "section average",
) -> tuple[Result, ...] | Refused:
    """Variances within reels, between reels and between runs, with Satterthwaite's intervals.

    s_within^2 = MS_w; s_reel^2 = (MS_b - MS_w)/n; s_run^2 = (MS_r - ...)/(b n), weights as in `nested_table`.

    Args:
        values: independent values, such as cut samples; NaN is left out with its labels.
        reel: reel of each value.
        run: run, shift or lot of each value; None for one level.
        unit: unit of the values; the variances carry its square.
        confidence: coverage aimed at.
        unit_of_inference: what one value is; readings are refused, their correlation leaks upward.

    Returns:
        One `Result` a component, within first, each with its share of the total and, from a negative
        difference, an estimate of 0; or a `Refused`.
    """
    y = np.asarray(values, dtype=np.float64).ravel()
    question = asks(Quantity.VARIANCE_COMPONENT)
    reason = _refusal(y, reel, run, unit_of_inference)
    if reason is not None:
        return Refused(question, METHOD, reason, int(y.size))
    known = ~np.isnan(y)
    keep = [int(one) for one in np.flatnonzero(known)]
    table = nested_table(
        y[known], [reel[one] for one in keep], None if run is None else [run[one] for one in keep]
    )
    if min(line.freedom for line in table.lines) < 1:
        reason = message(Reason.TOO_FEW_GROUPS)
        return Refused(question, METHOD, reason, int(y.size))
    squares = [line.mean_square for line in table.lines]
    freedoms = [float(line.freedom) for line in table.lines]
    if squares[0] == 0.0 and squares[1] == 0.0:
        return Refused(question, METHOD, message(Reason.ALL_VALUES_EQUAL), int(y.size))
    found = [("within reels", satterthwaite_interval(squares[:1], freedoms[:1], [1.0], confidence))]
    weights = [1.0 / table.reel_weight, -1.0 / table.reel_weight]
    found.append(
        ("between reels", satterthwaite_interval(squares[1::-1], freedoms[1::-1], weights, confidence))
    )
    if len(squares) == 3:
        share = table.reel_weight_in_runs / table.reel_weight
        weights = [1.0 / table.run_weight, -share / table.run_weight, (share - 1.0) / table.run_weight]
        found.append(
            ("between runs", satterthwaite_interval(squares[::-1], freedoms[::-1], weights, confidence))
        )
    total = sum(max(one[0], 0.0) for _, one in found)
    return tuple(
        _result(name, one, total, table, int(known.sum()), unit, confidence, unit_of_inference)
        for name, one in found
    )


def _result(
    name: str,
    found: tuple[float, float, float, float],
    total: float,
    table: Nested,
    n: int,
    unit: str,
    confidence: float,
    unit_of_inference: UnitOfInference,
) -> Result:
    value, freedom, low, high = found
    told = []
    if value <= 0.0:
        told.append(message(Note.VARIANCE_ESTIMATE_ZERO_BY_SQUARES))
    elif freedom < 10.0:
        told.append(message(Note.FEW_DEGREES_OF_FREEDOM, freedom=freedom))
    if not table.balanced:
        told.append(message(Note.SIZES_DIFFER))
    return Result(
        question=asks(Quantity.VARIANCE_COMPONENT, name),
        estimate=max(value, 0.0),
        low=low,
        high=high,
        confidence=confidence,
        unit=f"{unit}^2",
        method=METHOD,
        n=n,
        effective_n=None,
        known_m=None,
        unit_of_inference=unit_of_inference,
        assumptions=(
            Assumption(message(Assumed.VALUES_INDEPENDENT_WITHIN_REEL), None, message(Note.TAKEN_AS_GIVEN)),
        ),
        warnings=tuple(told),
        details={
            "standard_deviation": math.sqrt(max(value, 0.0)),
            "share_of_variance": max(value, 0.0) / total if total > 0.0 else math.nan,
            "degrees_of_freedom": freedom,
            "difference_of_mean_squares": value,
        },
    )


def _codes(labels: Sequence[object]) -> NDArray[np.int64]:
    seen: dict[object, int] = {}
    return np.array([seen.setdefault(one, len(seen)) for one in labels], dtype=np.int64)


def _refusal(
    y: Array, reel: Sequence[object], run: Sequence[object] | None, unit_of_inference: UnitOfInference
) -> Message | None:
    if len(reel) != y.size or (run is not None and len(run) != y.size):
        return message(Reason.VALUES_WITHOUT_REEL)
    if unit_of_inference == "reading":
        return message(Reason.READINGS_LEAK_BETWEEN_REELS)
    if np.isinf(y).any():
        return message(Reason.VALUE_INFINITE)
    if int((~np.isnan(y)).sum()) < 4:
        return message(Reason.TOO_FEW_VALUES_FOR_VARIANCE, sum=int((~np.isnan(y)).sum()))
    return None

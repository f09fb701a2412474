"""How sure a figure is that has no formula for its error: redraw the wire in blocks and compute it again.

Blocks keep the correlation of neighbouring readings, which redrawing single readings destroys. Sources:
Politis and Romano, "A circular block-resampling procedure" (1992); Politis and White, "Automatic block-length
selection for the dependent bootstrap", Econometric Reviews 23 (2004), 53-70, corrected by Patton, Politis and
White, 28 (2009), 372-375 (all from memory; the algorithm also as documented for the `arch` package,
optimal_block_length).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import fft, special

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Asked
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result
from pipeline.words import counted

# Simulated means of series worth some 77 readings (tests/statistics/interval_coverage_found.csv).
HELD = message(Note.HELD_REDRAWN_MEAN)
Statistic = Callable[[NDArray[np.float64]], NDArray[np.float64]]


@dataclass(frozen=True, slots=True)
class BlockLength:
    """Automatic block lengths [readings].

    Args:
        circular: for blocks of fixed length on the series closed to a ring.
        stationary: mean length for blocks of random length.
        cut_off: sum |k| c_k over sum c_k [readings]: blocks of l readings lose this share over l of the variance.
    """

    circular: float
    stationary: float
    cut_off: float

    def widening(self, n: int, block: float, confidence: float) -> float:
        """How much longer redrawn deviations must be made: what blocks lose, and how well so few are known.

        t/z sqrt(1/((1 - g/(S l)) (1 - l/n))): blocks of l readings lose the share g/(S l) of the long-run variance
        at their ends and 1 - l/n to the mean of the series (Kuensch, Ann. Statist. 17 (1989), 1217-1241, for
        the order of the first; derived here); Student's t on n/l - 1 for the normal quantile.

        Args:
            n: readings.
            block: length l of the blocks [readings].
            confidence: one-sided, above 0.5.
        """
        lost = (1.0 - min(max(self.cut_off / block, 0.0), 0.5)) * (1.0 - min(block / n, 0.5))
        t = special.stdtrit(max(n / block - 1.0, 1.0), confidence) / special.ndtri(confidence)
        return float(t) / math.sqrt(lost)


@checked
def block_length(values: ArrayLike) -> BlockLength:
    """Block length that keeps the error of a bootstrap variance smallest.

    b = ((2 g^2 / d) n)^(1/3); g = sum |k| lambda(k/M) c_k, S = sum lambda(k/M) c_k, d = (4/3) S^2 for
    circular and 2 S^2 for stationary blocks; lambda the flat-top window, M twice the lag after which
    correlations stay small. For a first-order autoregression: (1.5 (2 phi/(1 - phi^2))^2 n)^(1/3), circular.

    Args:
        values: readings at equal steps; unknown ones must be left out or filled by the caller.

    Raises:
        MethodRefusal: fewer than 20 readings, a reading that is not finite, or readings that do not vary.

    Source: Politis and White (2004) with the correction of 2009. Capped at min(3 sqrt(n), n/3) as there.
    """
    series = _checked(values)
    n = series.size
    centred = series - series.mean()
    length = fft.next_fast_len(2 * n, real=True)
    spectrum = fft.rfft(centred, length)
    covariance = np.asarray(fft.irfft(spectrum * spectrum.conj(), length)[:n], dtype=np.float64) / n
    bandwidth = _bandwidth(covariance / covariance[0], n)
    lags = np.arange(1, bandwidth + 1)
    window = np.minimum(1.0, 2.0 * (1.0 - lags / bandwidth)) * covariance[1 : bandwidth + 1]
    spread = 2.0 * float(np.sum(lags * window))
    level = float(covariance[0] + 2.0 * np.sum(window))
    cap = math.ceil(min(3.0 * math.sqrt(n), n / 3.0))

    def chosen(d: float) -> float:
        if d <= 0.0:
            return float(cap)
        return float(np.clip((2.0 * spread**2 / d * n) ** (1.0 / 3.0), 1.0, cap))

    cut_off = spread / level if level > 0.0 else float(cap)
    return BlockLength(chosen(4.0 / 3.0 * level**2), chosen(2.0 * level**2), cut_off)


@checked
def redraw(n: int, block: float, repetitions: int, seed: int, stationary: bool = False) -> NDArray[np.int64]:
    """Positions of redrawn readings, one repetition a row, in blocks on the series closed to a ring.

    Args:
        n: readings in the series, above zero.
        block: block length [readings]; the mean of a geometric length if `stationary`. At 1 single readings
            are drawn.
        repetitions: rows wanted.
        seed: of the random numbers; the same seed gives the same rows.
        stationary: True for blocks of random length (Politis and Romano 1994).
    """
    random = np.random.default_rng(seed)
    if stationary:
        fresh = random.random((repetitions, n)) < 1.0 / max(block, 1.0)
        fresh[:, 0] = True
        starts = random.integers(0, n, (repetitions, n))
        position = np.arange(n)
        since = position - np.maximum.accumulate(np.where(fresh, position, 0), axis=1)
        origin = np.take_along_axis(starts, position - since, axis=1)
        return np.asarray((origin + since) % n, dtype=np.int64)
    length = max(1, min(n, round(block)))
    starts = random.integers(0, n, (repetitions, -(-n // length)))
    rows = (starts[:, :, None] + np.arange(length)).reshape(repetitions, -1)[:, :n] % n
    return np.asarray(rows, dtype=np.int64)


@checked
def bootstrap_interval(
    values: ArrayLike,
    statistic: Statistic,
    *,
    question: Asked,
    unit: str,
    block: float | None = None,
    repetitions: int = 2000,
    seed: int = 1,
    confidence: float = 0.95,
) -> Result | Refused:
    """A figure of a correlated series with a bias-corrected percentile interval from circular blocks.

    The ends are the percentiles Phi(2 z0 +- z), z0 the normal score of the share of redrawn figures below the
    observed one (Efron and Tibshirani, An Introduction to the Bootstrap, 1993, section 14.3), of deviations
    from the observed figure made longer by `BlockLength.widening` (Student's t for few blocks: Hesterberg, The
    American Statistician 69 (2015), 371-386; both from memory).

    Args:
        values: readings at equal steps; NaN is left out and its neighbours are taken to adjoin.
        statistic: figure of each row of a two-dimensional array.
        question: what is asked.
        unit: unit of the figure.
        block: block length [readings]; None for the automatic one, 1 for independent values such as one a
            reel.
        repetitions: redrawn series; two thousand chosen here.
        seed: of the random numbers.
        confidence: coverage aimed at.

    Returns:
        A `Result`, or a `Refused` for too few, constant or infinite values, or fewer than ten blocks.

    How often it holds the truth stands in tests/statistics/interval_coverage_found.csv.

    Stops being true for tail figures (X0.135) of fewer than some thousand *effective* readings and for
    figures that hang on the very largest or smallest reading.
    """
    series = np.asarray(values, dtype=np.float64).ravel()
    kept = series[~np.isnan(series)]
    method = message(Method.BLOCK_BOOTSTRAP)
    if kept.size < 20 or not np.isfinite(kept).all() or np.ptp(kept) == 0.0:
        reason = message(Reason.TOO_FEW_DIFFERING_VALUES)
        return Refused(question, method, reason, int(kept.size))
    sized = block_length(kept)
    length = sized.circular if block is None else float(block)
    if length <= 1.0:  # values taken as independent: blocks lose nothing at their ends
        sized = replace(sized, cut_off=0.0)
    if kept.size / length < 10.0:
        reason = message(Reason.TOO_FEW_BLOCKS_REDRAWN, length=length, kept=kept.size / length)
        return Refused(question, method, reason, int(kept.size))
    observed = float(np.asarray(statistic(kept[None, :]))[0])
    drawn = _statistics(kept, statistic, length, repetitions, seed)
    usable = drawn[np.isfinite(drawn)]
    if not math.isfinite(observed) or usable.size < 0.95 * repetitions:
        reason = message(Reason.FIGURE_FAILS_ON_REDRAWN)
        return Refused(question, method, reason, int(kept.size))
    level = 0.5 + confidence / 2.0
    longer = observed + sized.widening(kept.size, length, level) * (usable - observed)
    low, high = _bias_corrected(longer, observed, level)
    told = [HELD] if length > 1.0 else []
    if kept.size < series.size:
        told.insert(
            0,
            message(Note.UNKNOWN_VALUES_LEFT_OUT, n=series.size - kept.size),
        )
    return Result(
        question=question,
        estimate=observed,
        low=low,
        high=high,
        confidence=confidence,
        unit=unit,
        method=method,
        n=int(kept.size),
        effective_n=None,
        known_m=None,
        unit_of_inference="reading",
        assumptions=(Assumption(message(Assumed.STATIONARY), None, message(Note.NOT_CHECKED)),),
        warnings=tuple(told),
        details={
            "block_length_readings": length,
            "repetitions": float(repetitions),
            "standard_error": float(usable.std(ddof=1)),
        },
    )


def _statistics(
    kept: NDArray[np.float64], statistic: Statistic, length: float, repetitions: int, seed: int
) -> NDArray[np.float64]:
    """The figure of every redrawn series, a few rows at a time so that memory stays small."""
    rows = max(1, min(repetitions, 4_000_000 // kept.size))
    parts = []
    for first in range(0, repetitions, rows):
        wanted = min(rows, repetitions - first)
        parts.append(
            np.asarray(statistic(kept[redraw(kept.size, length, wanted, seed + first)]), dtype=np.float64)
        )
    return np.concatenate(parts)


def _bias_corrected(drawn: NDArray[np.float64], observed: float, level: float) -> tuple[float, float]:
    below = (np.sum(drawn < observed) + 0.5 * np.sum(drawn == observed)) / drawn.size
    z0 = float(special.ndtri(np.clip(below, 0.5 / drawn.size, 1.0 - 0.5 / drawn.size)))
    z = float(special.ndtri(level))
    low = float(np.quantile(drawn, special.ndtr(2.0 * z0 - z)))
    return low, float(np.quantile(drawn, special.ndtr(2.0 * z0 + z)))


def _bandwidth(rho: NDArray[np.float64], n: int) -> int:
    """Twice the first lag after which a run of correlations stays within 2 sqrt(log10 n / n)."""
    run = max(5, math.ceil(math.sqrt(math.log10(n))))
    reach = min(n - 1, math.ceil(math.sqrt(n)) + run)
    large = np.flatnonzero(np.abs(rho[1 : reach + 1]) > 2.0 * math.sqrt(math.log10(n) / n)) + 1
    last = 0
    for lag in large:  # at most some hundred lags
        if lag - last > run:
            break
        last = int(lag)
    return int(min(2 * max(last, 1), reach))


def _checked(values: ArrayLike) -> NDArray[np.float64]:
    series = np.asarray(values, dtype=np.float64).ravel()
    found = None
    if series.size < 20:
        found = f"{counted(series.size, 'reading is', 'readings are')} too few, 20 are needed"
    elif not np.isfinite(series).all():
        found = f"{int((~np.isfinite(series)).sum())} of {series.size} readings are not finite"
    elif np.ptp(series) == 0.0:
        found = f"all {counted(series.size, 'reading is', 'readings are')} equal"
    if found is not None:
        remedy = "Give finite readings that vary, leaving out the flagged ones"
        raise MethodRefusal(Complaint("block_length: values", found, remedy))
    return series

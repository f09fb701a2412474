"""How much does a gauge scatter by itself? A line stop is a free study: the gauge watches one spot.

Heat and vibration of a running line are not in it, so it is compared with wire read twice and with three
instruments on one wire.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from pipeline.results import Assumption, Refused, Result

Floats = NDArray[np.float64]

FEWEST_AT_A_STOP = 10
_QUESTION = "repeatability of a gauge"


def stops_of(
    phase: NDArray[np.uint8], stop_code: int, speed_m_s: Floats, skip: int = 5
) -> list[NDArray[np.intp]]:
    """Rows of each stop in which the wire stood, the first few after it came to rest left out.

    Args:
        phase: code of the phase at each row.
        stop_code: the code of a stop.
        speed_m_s: line speed [m/s].
        skip: rows left out at either end.
    """
    standing = (phase == stop_code) & (np.abs(speed_m_s) <= 0.02)
    edges = np.flatnonzero(np.diff(standing.astype(np.int8), prepend=0, append=0))
    return [
        np.arange(a + skip, b - skip)
        for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
        if b - a - 2 * skip >= FEWEST_AT_A_STOP
    ]


def stop_repeatability(
    readings: Floats, stops: list[NDArray[np.intp]], resolution_mm: float, confidence: float = 0.95
) -> Result | Refused:
    """Standard deviation of a gauge on one spot, pooled over stops, with its chi-square interval.

    s^2 = sum over stops of (x - mean)^2 / sum (n - 1); a slow drift within a stop (cooling wire) is taken off
    as a straight line.

    Args:
        readings: the gauge's readings [mm]; NaN left out.
        stops: rows of each stop.
        resolution_mm: smallest step it shows [mm]; s is not told below resolution/sqrt(12).
        confidence: coverage of the interval.

    Returns:
        The repeatability, or a refusal without a stop of ten readings.
    """
    method = "pooled standard deviation at line stops, chi-square interval"
    squares, free, used = 0.0, 0, 0
    for rows in stops:
        x = readings[rows]
        x = x[np.isfinite(x)]
        if x.size < FEWEST_AT_A_STOP:
            continue
        line = np.polynomial.polynomial.polyfit(np.arange(x.size), x, 1)
        away = x - np.polynomial.polynomial.polyval(np.arange(x.size), line)
        squares += float(away @ away)
        free += x.size - 2
        used += x.size
    if free < FEWEST_AT_A_STOP - 2:
        return Refused(
            _QUESTION,
            method,
            f"The run has no stop of {FEWEST_AT_A_STOP} readings of this gauge: its noise cannot be told from "
            "the wire's own variation.",
            used,
        )
    floor = resolution_mm / np.sqrt(12.0)
    s = np.sqrt(squares / free)
    tail = (1.0 - confidence) / 2.0
    low = np.sqrt(squares / stats.chi2.isf(tail, free))
    high = np.sqrt(squares / stats.chi2.ppf(tail, free))
    coarse = bool(s < floor)
    return Result(
        question=_QUESTION,
        estimate=float(max(s, floor)),
        low=float(low),
        high=float(max(high, floor)),
        confidence=confidence,
        unit="mm",
        method=method,
        n=used,
        effective_n=float(free),
        known_m=None,
        unit_of_inference="reading",
        assumptions=(
            Assumption("heat and vibration of the running line add nothing", None, "compare wire read twice"),
        ),
        warnings=("The gauge's step is coarser than its noise; the step decides.",) if coarse else (),
        details={"stops": float(len(stops))},
    )


def rerun_repeatability(first: Floats, second: Floats, confidence: float = 0.95) -> Result | Refused:
    """Standard deviation of one reading from wire read twice, laid over each other: sd(difference)/sqrt 2.

    Args:
        first: readings on the first pass [mm].
        second: readings of the same wire on the second [mm].
        confidence: coverage of the chi-square interval.
    """
    method = "wire read twice, sd of differences over sqrt 2, chi-square interval"
    apart = (first - second)[np.isfinite(first) & np.isfinite(second)]
    if apart.size < FEWEST_AT_A_STOP:
        return Refused(
            _QUESTION, method, f"It needs {FEWEST_AT_A_STOP} readings of wire read twice.", apart.size
        )
    free = apart.size - 1
    s2 = float(apart.var(ddof=1)) / 2.0
    tail = (1.0 - confidence) / 2.0
    return Result(
        question=_QUESTION,
        estimate=float(np.sqrt(s2)),
        low=float(np.sqrt(s2 * free / stats.chi2.isf(tail, free))),
        high=float(np.sqrt(s2 * free / stats.chi2.ppf(tail, free))),
        confidence=confidence,
        unit="mm",
        method=method,
        n=int(apart.size),
        effective_n=float(free),
        known_m=None,
        unit_of_inference="reading",
        details={"mean_difference_mm": float(apart.mean())},
    )


def three_instruments(first: Floats, second: Floats, third: Floats) -> tuple[float, float, float] | Refused:
    """Each instrument's own standard deviation from three on the same wire: s1^2 = C11 - C12 - C13 + C23.

    Args:
        first: readings of the first [mm], on the same wire as the others.
        second: readings of the second [mm].
        third: readings of the third [mm].

    Returns:
        The three; one that comes out below nothing is 0. Two instruments alone need very many readings and
        are not offered.

    Source:
        F.E. Grubbs, On estimating precision of measuring instruments and product variability, J. Amer.
        Statist. Assoc. 43 (1948), from memory.
    """
    known = np.isfinite(first) & np.isfinite(second) & np.isfinite(third)
    if int(known.sum()) < 30:
        return Refused(
            _QUESTION,
            "three instruments on one wire (Grubbs)",
            f"It needs thirty readings of the same wire by all three; there are {int(known.sum())}.",
            int(known.sum()),
        )
    c = np.cov(np.stack([first[known], second[known], third[known]]))
    own = (
        c[0, 0] - c[0, 1] - c[0, 2] + c[1, 2],
        c[1, 1] - c[0, 1] - c[1, 2] + c[0, 2],
        c[2, 2] - c[0, 2] - c[1, 2] + c[0, 1],
    )
    a, b, d = (float(np.sqrt(max(one, 0.0))) for one in own)
    return a, b, d


def index_without_noise(observed: float, spread: float, noise: float) -> float:
    """Capability index with the gauge's noise taken off: C s / sqrt(s^2 - s_g^2).

    Told beside the observed index and never in its place: a certificate stands on what was observed.

    Args:
        observed: C, the index as observed.
        spread: s, standard deviation as observed.
        noise: s_g, standard deviation of the gauge.
    """
    left = spread**2 - noise**2
    return observed * spread / float(np.sqrt(left)) if left > 0 else float("nan")

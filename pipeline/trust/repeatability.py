"""How much does a gauge scatter by itself? A line stop is a free study: the gauge watches one spot.

Heat and vibration of a running line are not in it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from pipeline.assumed import Assumed
from pipeline.messages import message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result

SKIPPED = 5  # rows left out at either end of a stop (chosen here)

Floats = NDArray[np.float64]

FEWEST_AT_A_STOP = 10
_QUESTION = asks(Quantity.GAUGE_NOISE)


def stops_of(phase: NDArray[np.uint8], stop_code: int, speed_m_s: Floats) -> list[NDArray[np.intp]]:
    """Rows of each stop in which the wire stood, the first few after it came to rest left out.

    Args:
        phase: code of the phase at each row.
        stop_code: the code of a stop.
        speed_m_s: line speed [m/s].
    """
    standing = (phase == stop_code) & (np.abs(speed_m_s) <= 0.02)
    edges = np.flatnonzero(np.diff(standing.astype(np.int8), prepend=0, append=0))
    return [
        np.arange(a + SKIPPED, b - SKIPPED)
        for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
        if b - a - 2 * SKIPPED >= FEWEST_AT_A_STOP
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
    method = message(Method.POOLED_AT_STOPS)
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
            message(Reason.NO_STOP, fewest_at_a_stop=FEWEST_AT_A_STOP),
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
            Assumption(message(Assumed.RUNNING_ADDS_NOTHING), None, message(Note.COMPARE_WIRE_TWICE)),
        ),
        warnings=(message(Note.STEP_DECIDES),) if coarse else (),
        details={"stops": float(len(stops))},
    )

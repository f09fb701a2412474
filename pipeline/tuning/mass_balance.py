"""Does the plastic on the wire agree with what the screw delivers? Specific output as a check of the gauges.

Plastic on the wire is density x area x speed; over the screw speed it is the specific output, which a good line
keeps. A drift is the feed, the screens, the screw, or a gauge that lies.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from pipeline.assumed import Assumed
from pipeline.messages import Measure, Message, message
from pipeline.methods import Method
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result
from pipeline.statistics.autocorrelation import effective_n
from pipeline.tuned import Tuned
from pipeline.tuning.line_run import LineRun

TOLERANCE_PCT = 2.0  # how far a run may be off before it is told (chosen here)

Floats = NDArray[np.float64]

BLOCK_M = 50.0  # wire averaged for one value [m] (chosen here)
FEWEST_BLOCKS = 10
DRIFT_TOLD_PCT = 2.0  # a smaller drift over a run is told without a call to look (chosen here)
SCREW = "screw_speed_rpm"


@dataclass(frozen=True, slots=True)
class SpecificOutput:
    """Specific output over one run.

    Args:
        result: mean specific output [kg/h per rpm] with its interval.
        flow_kg_h: mean mass flow [kg/h].
        at_m: middle of each block on the wire [m].
        value: specific output of each block [kg/h per rpm].
        drift_pct: change over the run [%].
        drift_low_pct: lower end of its interval [%].
        drift_high_pct: upper end [%].
        told: what to read of it.
    """

    result: Result
    flow_kg_h: float
    at_m: Floats
    value: Floats
    drift_pct: float
    drift_low_pct: float
    drift_high_pct: float
    told: Message


def specific_output(run: LineRun, density_g_cm3: float, confidence: float = 0.95) -> SpecificOutput | Refused:
    """Specific output of the insulation extruder over a run, and whether it drifts.

    Wall, speed and screw speed are all taken when the wire was at the die.

    Args:
        run: the run.
        density_g_cm3: density of the insulation [g/cm3].
        confidence: coverage of the intervals.
    """
    question, method = asks(Quantity.SPECIFIC_OUTPUT), message(Method.SPECIFIC_OUTPUT)
    if SCREW not in run.machine:
        return Refused(question, method, message(Reason.NO_SCREW_SPEED), 0)
    blocks = _blocks(run, density_g_cm3)
    if blocks is None:
        reason = message(
            Reason.TOO_FEW_STRETCHES_FOR_OUTPUT, fewest_blocks=FEWEST_BLOCKS, block_m=Measure(BLOCK_M, "m")
        )
        return Refused(question, method, reason, 0)
    at, value, flow = blocks
    worth = effective_n(value)
    n = max(worth.for_mean, 2.0)
    mean, sd = float(value.mean()), float(value.std(ddof=1))
    half = float(stats.t.ppf(0.5 + confidence / 2.0, n - 1.0)) * sd / np.sqrt(n)
    drift, drift_half = _drift(at, value, confidence)
    result = Result(
        question=question,
        estimate=mean,
        low=mean - float(half),
        high=mean + float(half),
        confidence=confidence,
        unit="kg/h per rpm",
        method=method,
        n=int(value.size),
        effective_n=n,
        known_m=value.size * BLOCK_M,
        unit_of_inference="section average",
        assumptions=(
            Assumption(
                message(Assumed.DENSITY_AS_GIVEN), None, message(Tuned.DENSITY, density=density_g_cm3)
            ),
            Assumption(
                message(Assumed.BLOCKS_WORTH_THEIR_NUMBER),
                worth.resolved,
                message(Tuned.WORTH_OF_BLOCKS, n=n, blocks=int(value.size)),
            ),
        ),
    )
    low, high = drift - drift_half, drift + drift_half
    told = _told(drift, low, high)
    return SpecificOutput(result, float(flow.mean()), at, value, drift, low, high, told)


def _blocks(run: LineRun, density: float) -> tuple[Floats, Floats, Floats] | None:
    """Place, specific output and flow of each block of steady wire."""
    inside = run.wall_counts
    at = run.wall_at_m[inside]
    if at.size == 0:
        return None
    front = np.maximum.accumulate(run.die_m)
    fresh = np.concatenate(([True], np.diff(front) > 0.0))
    screw = np.interp(at, front[fresh], run.machine[SCREW][fresh])
    speed = np.interp(at, front[fresh], run.speed_m_s[fresh])
    wall = run.mean_mm[inside]
    area = np.pi * wall * (run.conductor_mm + wall)
    number = ((at - at.min()) / BLOCK_M).astype(np.int64)
    count = np.bincount(number).astype(np.float64)
    full = count >= 0.5 * float(np.median(count[count > 0]))
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = {
            name: (np.bincount(number, one) / count)[full]
            for name, one in (("at", at), ("area", area), ("speed", speed), ("screw", screw))
        }
    good = np.isfinite(mean["screw"]) & (mean["screw"] > 0.0)
    if int(good.sum()) < FEWEST_BLOCKS:
        return None
    flow = 3.6 * density * mean["area"][good] * mean["speed"][good]
    return mean["at"][good], flow / mean["screw"][good], flow


def _drift(at_m: Floats, value: Floats, confidence: float) -> tuple[float, float]:
    """Change over the run [%] and half its interval, memory of neighbouring blocks accounted for."""
    x = (at_m - at_m.mean()) / float(np.ptp(at_m))
    y = 100.0 * (value / value.mean() - 1.0)
    slope = float(x @ y / (x @ x))
    rest = y - slope * x
    worth = effective_n(rest).for_mean
    variance = float(rest @ rest) / (y.size - 2) / float(x @ x) * y.size / worth
    t = float(stats.t.ppf(0.5 + confidence / 2.0, max(worth - 2.0, 1.0)))
    return slope, t * float(np.sqrt(variance))


def _told(drift: float, low: float, high: float) -> Message:
    span = {"drift": drift, "low": low, "high": high}
    if low <= 0.0 <= high:
        return message(Tuned.OUTPUT_KEEPS, **span)
    if abs(drift) < DRIFT_TOLD_PCT:
        return message(Tuned.OUTPUT_CHANGED, **span, told_from=DRIFT_TOLD_PCT)
    return message(Tuned.OUTPUT_DRIFTED, **span)


def gauge_check(outputs: dict[str, SpecificOutput]) -> tuple[Message, ...]:
    """What is said of runs whose specific output is off the others'.

    Args:
        outputs: specific output by run; the median of the runs is the level they are held against.
    """
    if not outputs:
        return ()
    level = float(np.median([one.result.estimate for one in outputs.values()]))
    told = []
    for name, one in outputs.items():
        off = 100.0 * (one.result.estimate / level - 1.0)
        sure = not one.result.low <= level <= one.result.high
        if abs(off) > TOLERANCE_PCT and sure:
            told.append(
                message(Tuned.OUTPUT_MORE if off > 0.0 else Tuned.OUTPUT_LESS, run=name, off=abs(off))
            )
    return tuple(told)

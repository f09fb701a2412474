"""Where is the conductor off centre, by how much, does it stay there, and is it worth turning a bolt?

Vectors are averaged, never lengths: a single section's offset is a length and never reads zero. Only what
persists can be corrected; correcting what one reading shows doubles the variance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from pipeline.messages import Measure, Message, message
from pipeline.methods import Method
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused
from pipeline.statistics.autocorrelation import effective_n
from pipeline.statistics.beyond_wander import WANDER_P, chance_of_wander
from pipeline.tuned import Tuned
from pipeline.tuning.line_run import LineRun
from pipeline.wall.direction import mean_direction
from pipeline.wall.offset import mean_offset

Floats = NDArray[np.float64]

QUESTION = asks(Quantity.CENTRE_OFFSET)
METHOD = message(Method.MEAN_FIRST_HARMONIC)
BLOCK_M = 50.0  # wire over which offsets are averaged for drift and steadiness [m] (chosen here)
FEWEST_BLOCKS = 8
# Chance of such a mean in a center that wanders about none: of runs of a few memories it errs on the safe side, so more
# is allowed than of other questions (chosen here).
OFFSET_P = 0.02
ENDS = 3  # blocks whose average bounds where a curve may begin and end (chosen here)


@dataclass(frozen=True, slots=True)
class Centring:
    """How the conductor lies in the insulation over a stretch of wire.

    Args:
        size_um: its size [um].
        size_low_um: lower end of the interval of the size [um].
        size_high_um: upper end [um].
        thin_deg: direction of the thin side from twelve o'clock, clockwise, looking against the travel [deg].
        angle_half_deg: half-width of the interval of the direction [deg]; 180 where it is not known.
        drift_um: from where the center lay at the beginning to where it lay at the end, by a smooth curve [um].
        drift_p: probability of such a curve where the center only wanders.
        wandering_um: root mean square distance of single sections from the mean, noise taken off [um].
        steadiness: resultant length of the direction of block means, 1 for one direction, 0 for all round.
        persistent_share: S/(S + noise): what part of what one reading shows persists; the gain a correction may have.
        dead_zone_um: offset below which nothing is seen but noise and wandering [um].
        beyond_noise: whether the offset is outside that zone, and wandering alone seldom makes such a mean.
        effective_n: readings' worth behind it, for the less certain of the two axes.
        known_m: wire read [m].
        confidence: coverage the intervals aim at.
        warnings: what to read beside it.
    """

    size_um: float
    size_low_um: float
    size_high_um: float
    thin_deg: float
    angle_half_deg: float
    drift_um: float
    drift_p: float
    wandering_um: float
    steadiness: float
    persistent_share: float
    dead_zone_um: float
    beyond_noise: bool
    effective_n: float
    known_m: float
    confidence: float
    warnings: tuple[Message, ...]


def correction_gain(persistent: float, noise: float) -> float:
    """Share of an observed offset that is worth correcting: S/(S + noise), S and noise as variances.

    Args:
        persistent: S, variance of what lasts until the correction acts.
        noise: variance of what does not.

    Source: least mean square error of a one-step correction (derived). A full correction of noise alone adds the
    noise once more and doubles the variance.
    """
    total = persistent + noise
    return persistent / total if total > 0.0 else 0.0


def centring_of_run(
    run: LineRun,
    first_angle_deg: float,
    noise_mm: float,
    sensors: int,
    from_m: float | None = None,
    confidence: float = 0.95,
) -> Centring | Refused:
    """How the conductor lay over a run or a part of it.

    Args:
        run: the run.
        first_angle_deg: angle of the first sensor from twelve o'clock, clockwise, looking against the travel [deg].
        noise_mm: standard deviation of one sensor's noise [mm].
        sensors: equally spaced wall sensors.
        from_m: first metre [m]; the run's where left out.
        confidence: coverage of the intervals.
    """
    inside = run.wall_counts & np.isfinite(run.cos_mm) & np.isfinite(run.sin_mm)
    if from_m is not None:
        inside &= run.wall_at_m >= from_m
    at = run.wall_at_m[inside]
    order = np.argsort(at, kind="stable")
    return centring(
        at[order],
        run.cos_mm[inside][order],
        run.sin_mm[inside][order],
        run.step_m,
        first_angle_deg,
        noise_mm,
        sensors,
        confidence,
    )


def centring(
    at_m: Floats,
    cos_mm: Floats,
    sin_mm: Floats,
    step_m: float,
    first_angle_deg: float,
    noise_mm: float,
    sensors: int,
    confidence: float = 0.95,
) -> Centring | Refused:
    """How the conductor lay over a stretch of wire.

    Args:
        at_m: places of the readings, rising [m].
        cos_mm: first harmonic of the wall, cosine part [mm].
        sin_mm: sine part [mm].
        step_m: wire between two readings [m].
        first_angle_deg: angle of the first sensor from twelve o'clock, clockwise, looking against the travel [deg].
        noise_mm: standard deviation of one sensor's noise [mm].
        sensors: equally spaced wall sensors; three at least.
        confidence: coverage of the intervals.

    Returns:
        A `Centring`, or a `Refused` where the gauge cannot tell or there is too little wire. Intervals take the two
        axes as equally and independently uncertain, by the worse of them.
    """
    if sensors < 3 or not np.isfinite(cos_mm).any():
        reason = message(Reason.TOO_FEW_WALL_SENSORS)
        return Refused(QUESTION, METHOD, reason, int(at_m.size))
    blocks = _blocks(at_m, cos_mm, sin_mm)
    if blocks is None:
        reason = message(Reason.TOO_FEW_STRETCHES, fewest_blocks=FEWEST_BLOCKS, block_m=Measure(BLOCK_M, "m"))
        return Refused(QUESTION, METHOD, reason, int(at_m.size))
    worth = [effective_n(one) for one in (cos_mm, sin_mm)]
    n = min(one.for_mean for one in worth)
    found = mean_offset(cos_mm, sin_mm, noise_mm, sensors)
    assert found is not None  # noqa: S101 - blocks were made from these readings
    sd = float(max(cos_mm.std(ddof=1), sin_mm.std(ddof=1))) / math.sqrt(n)
    reach = sd * math.sqrt(2.0 * float(stats.f.ppf(confidence, 2, max(n - 1.0, 2.0))))
    t = sd * float(stats.t.ppf(0.5 + confidence / 2.0, max(n - 1.0, 1.0)))
    size = found.size_mm
    half = 180.0 if size <= reach else math.degrees(math.asin(min(t / size, 1.0)))
    thin = (first_angle_deg + found.thin_angle_deg) % 360.0
    drift_x, drift_y, drift_p = _drift(*blocks)
    offset_p = chance_of_wander(np.column_stack(blocks[1:]), np.ones((blocks[0].size, 1)), [0])
    directions = mean_direction(np.degrees(np.arctan2(-blocks[2], -blocks[1])))
    scatter = float(np.var(cos_mm) + np.var(sin_mm)) / 2.0
    warnings = list(_warnings(half, worth[0].resolved and worth[1].resolved, drift_p))
    return Centring(
        1000.0 * size,
        1000.0 * max(size - t, 0.0),
        1000.0 * (size + t),
        thin,
        half,
        1000.0 * math.hypot(drift_x, drift_y),
        drift_p,
        1000.0 * found.wandering_mm,
        directions.resultant if directions is not None else float("nan"),
        correction_gain(max(size**2 / 2.0 - sd**2, 0.0), scatter),
        1000.0 * reach,
        size > reach and offset_p < OFFSET_P,
        n,
        at_m.size * step_m,
        confidence,
        tuple(warnings),
    )


def _blocks(at_m: Floats, cos_mm: Floats, sin_mm: Floats) -> tuple[Floats, Floats, Floats] | None:
    """Places and mean offsets of stretches of 50 m; None where there are too few."""
    if at_m.size == 0:
        return None
    number = ((at_m - at_m[0]) / BLOCK_M).astype(np.int64)
    count = np.bincount(number).astype(np.float64)
    full = count >= 0.5 * float(np.median(count[count > 0]))
    if int(full.sum()) < FEWEST_BLOCKS:
        return None
    with np.errstate(invalid="ignore"):
        place, cos, sin = (np.bincount(number, one) / count for one in (at_m, cos_mm, sin_mm))
    return place[full], cos[full], sin[full]


def _drift(at_m: Floats, cos: Floats, sin: Floats) -> tuple[float, float, float]:
    """Change of the offset from the beginning to the end [mm], and the chance of such a curve in a wandering centre.

    A cubic through the block means: a centre that settles runs on no straight line. Its ends are held within what
    averages of `ENDS` blocks were, so that no more is told than was seen.
    """
    x = 2.0 * (at_m - at_m[0]) / float(np.ptp(at_m)) - 1.0
    curve = np.polynomial.legendre.legvander(x, 3)
    rows = np.column_stack([cos, sin])
    fitted = curve @ np.linalg.lstsq(curve, rows, rcond=None)[0]
    seen = np.stack([np.convolve(one, np.full(ENDS, 1.0 / ENDS), mode="valid") for one in rows.T])
    first, last = (np.clip(fitted[end], seen.min(axis=1), seen.max(axis=1)) for end in (0, -1))
    moved = last - first
    return float(moved[0]), float(moved[1]), chance_of_wander(rows, curve, [1, 2, 3])


def _warnings(half_deg: float, resolved: bool, drift_p: float) -> tuple[Message, ...]:
    told = []
    if half_deg >= 180.0:
        told.append(message(Tuned.NO_DIRECTION))
    if not resolved:
        told.append(message(Tuned.OFFSET_WANDERS))
    if drift_p < WANDER_P:
        told.append(message(Tuned.CENTRE_DRIFTS))
    told.append(message(Tuned.SENSORS_MAY_TURN))
    return tuple(told)

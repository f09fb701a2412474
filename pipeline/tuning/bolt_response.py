"""What does a turn of a centring bolt do to the wall? Learned from logged turns, or plainly not known.

K, the change of the offset vector a turn of each bolt, comes from steps whose before and after were both
measured: K = dE dB'(dB dB')^-1. Until enough steps were logged the answer is that it is not known.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.messages import Message, message
from pipeline.methods import Method
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused
from pipeline.sheets.line_sheet import Bolt
from pipeline.statistics.autocorrelation import effective_n
from pipeline.tuned import Tuned
from pipeline.tuning.line_run import LineRun

Floats = NDArray[np.float64]

QUESTION = asks(Quantity.BOLT_RESPONSE)
METHOD = message(Method.LEAST_SQUARES_OF_ADJUSTMENTS)
FEWEST_STEPS = (
    2  # one a bolt shows nothing of how steps differ, but a trial of two bolts is one (chosen here)
)
WINDOW_M = 150.0  # wire averaged before and after an adjustment [m] (chosen here)
SURE = 3.0  # a bolt's response is known where it is this many standard errors long (chosen here)


@dataclass(frozen=True, slots=True)
class Adjustment:
    """One logged turn of bolts.

    Args:
        at_m: metre of wire at the die when it was done [m].
        turns: turns of each bolt by its id; turning in is positive.
    """

    at_m: float
    turns: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class BoltStep:
    """An adjustment with what the wire did.

    Args:
        adjustment: what was turned.
        before_um: offset toward the thin side before it, from twelve o'clock clockwise: (cos, sin) [um].
        after_um: the same after it had settled [um].
        sd_um: standard error of the change of either axis [um].
    """

    adjustment: Adjustment
    before_um: tuple[float, float]
    after_um: tuple[float, float]
    sd_um: float


@dataclass(frozen=True, slots=True)
class BoltResponse:
    """What one bolt does.

    Args:
        bolt: its id.
        per_turn_um: change of the offset vector a turn in: (cos, sin) from twelve o'clock [um].
        sd_um: standard error of either part [um].
        known: whether it stands out of its error.
        um_per_turn: its size [um].
        off_sheet_deg: direction measured less direction by the line sheet's geometry [deg]; NaN where not known.
    """

    bolt: str
    per_turn_um: tuple[float, float]
    sd_um: float
    known: bool
    um_per_turn: float
    off_sheet_deg: float


@dataclass(frozen=True, slots=True)
class Response:
    """What the bolts do, as learned.

    Args:
        bolts: one entry a bolt that was turned, in the order of the line sheet.
        steps: adjustments used.
        misfit: mean square of the residuals over what their standard errors say, about 1 where the rule fits; NaN
            where there are as many unknowns as steps.
        warnings: what to read beside it.
    """

    bolts: tuple[BoltResponse, ...]
    steps: int
    misfit: float
    warnings: tuple[Message, ...]

    def matrix(self, bolts: Sequence[Bolt]) -> Floats | None:
        """K for these bolts [um a turn], two rows; None unless every one of them is known."""
        known = {one.bolt: one.per_turn_um for one in self.bolts if one.known}
        if not all(one.id in known for one in bolts):
            return None
        return np.array([known[one.id] for one in bolts], dtype=np.float64).T


def sheet_direction(bolt: Bolt) -> Floats:
    """Unit vector in which the thin side's offset changes when the bolt is turned in, by the line sheet.

    A die pushed away from a bolt carries the outer circle with it, so the wall thins on the bolt's side; a tip pushed
    away does the opposite.

    Args:
        bolt: the bolt.
    """
    sign = 1.0 if bolt.sense == "in pushes away" else -1.0
    sign *= 1.0 if bolt.moves == "die" else -1.0
    angle = math.radians(bolt.angle_deg)
    return sign * np.array([math.cos(angle), math.sin(angle)])


def steps_of(
    run: LineRun,
    adjustments: Sequence[Adjustment],
    first_angle_deg: float,
    settle_m: float,
    window_m: float = WINDOW_M,
) -> tuple[BoltStep, ...]:
    """What the wire did at each adjustment of a run; those without enough steady wire around them are left out.

    The standard error comes from the wandering about the levels between adjustments over the whole run: a window is
    too short to show it.

    Args:
        run: the run.
        adjustments: what was turned, and at which metre.
        first_angle_deg: angle of the first sensor from twelve o'clock [deg].
        settle_m: wire that passes until a change has settled: the crosshead's purge [m].
        window_m: wire averaged on either side [m].
    """
    fit = run.wall_counts & np.isfinite(run.cos_mm)
    order = np.flatnonzero(fit)[np.argsort(run.wall_at_m[fit], kind="stable")]
    at, axes = run.wall_at_m[order], (run.cos_mm[order], run.sin_mm[order])
    ordered = sorted(adjustments, key=lambda one: one.at_m)
    wander = _wander_um(at, axes, [one.at_m for one in ordered], settle_m, window_m, run.step_m)
    turn = np.exp(1j * math.radians(first_angle_deg))
    found = []
    places = [-math.inf, *(one.at_m for one in ordered), math.inf]
    for number, one in enumerate(ordered, start=1):
        # Wire of the turn before or after is no part of this one.
        clear = (at >= places[number - 1] + settle_m) & (at < places[number + 1])
        means = []
        for low in (one.at_m - window_m, one.at_m + settle_m):
            inside = clear & (at >= low) & (at < low + window_m)
            if int(inside.sum()) * run.step_m < 0.5 * window_m:
                break
            means.append(-1000.0 * complex(axes[0][inside].mean(), axes[1][inside].mean()) * turn)
        if len(means) == 2:
            before, after = means
            found.append(BoltStep(one, (before.real, before.imag), (after.real, after.imag), wander))
    return tuple(found)


def _wander_um(
    at_m: Floats,
    axes: tuple[Floats, Floats],
    changes_m: list[float],
    settle_m: float,
    window_m: float,
    step_m: float,
) -> float:
    """Standard error of the difference of two window means on the worse axis [um]."""
    segment = np.searchsorted(np.asarray(changes_m), at_m, side="right")
    for change in changes_m:
        segment = np.where((at_m >= change) & (at_m < change + settle_m), -1, segment)
    worst = 1e-3
    for axis in axes:
        rest = np.full(at_m.size, np.nan)
        for one in range(len(changes_m) + 1):
            inside = segment == one
            if int(inside.sum()) > 2:
                rest[inside] = axis[inside] - axis[inside].mean()
        known = np.isfinite(rest)
        if int(known.sum()) < 50 or float(np.ptp(rest[known])) == 0.0:
            continue
        worth = effective_n(rest).for_mean / (float(known.sum()) * step_m) * window_m
        worst = max(worst, 1000.0 * float(rest[known].std()) * math.sqrt(2.0 / max(worth, 0.5)))
    return worst


def learn_response(steps: Sequence[BoltStep], bolts: Sequence[Bolt]) -> Response | Refused:
    """What a turn of each bolt does, from logged steps.

    Args:
        steps: adjustments with before and after.
        bolts: the line sheet's bolts.

    Returns:
        A `Response`, or a `Refused` that says what to log next. A bolt that was never turned is not in it; one whose
        effect drowns in noise is in it as not known.

    Stops being true where other settings changed between before and after, and where the response bends: keep steps
    small.
    """
    names = [one.id for one in bolts if any(step.adjustment.turns.get(one.id, 0.0) != 0.0 for step in steps)]
    if len(steps) < FEWEST_STEPS or not names:
        reason = message(Reason.TOO_FEW_ADJUSTMENTS, steps=len(steps), fewest_steps=FEWEST_STEPS)
        return Refused(QUESTION, METHOD, reason, len(steps))
    turned = np.array([[step.adjustment.turns.get(name, 0.0) for name in names] for step in steps])
    if np.linalg.matrix_rank(turned, tol=1e-6) < len(names):
        reason = message(Reason.BOLTS_TURNED_TOGETHER, bolts=names)
        return Refused(QUESTION, METHOD, reason, len(steps))
    sd = np.array([step.sd_um for step in steps])
    change = np.array([np.subtract(step.after_um, step.before_um) for step in steps])
    weighted = turned / sd[:, None]
    inverse = np.linalg.inv(weighted.T @ weighted)
    per_turn = inverse @ weighted.T @ (change / sd[:, None])
    errors = np.sqrt(np.diag(inverse))
    rest = (change - turned @ per_turn) / sd[:, None]
    freedom = 2 * (len(steps) - len(names))
    misfit = float((rest**2).sum() / freedom) if freedom > 0 else float("nan")
    errors = errors * math.sqrt(max(misfit, 1.0)) if freedom > 0 else errors
    by_id = {one.id: one for one in bolts}
    found = tuple(
        _one(by_id[name], per_turn[place], float(errors[place])) for place, name in enumerate(names)
    )
    return Response(found, len(steps), misfit, _warnings(found, misfit, bolts))


def _one(bolt: Bolt, per_turn: Floats, sd: float) -> BoltResponse:
    size = float(np.hypot(*per_turn))
    known = size > SURE * sd
    off = float("nan")
    if known:
        sheet = sheet_direction(bolt)
        cross = sheet[0] * per_turn[1] - sheet[1] * per_turn[0]
        off = math.degrees(math.atan2(float(cross), float(sheet @ per_turn)))
    return BoltResponse(bolt.id, (float(per_turn[0]), float(per_turn[1])), sd, known, size, off)


def _warnings(found: tuple[BoltResponse, ...], misfit: float, bolts: Sequence[Bolt]) -> tuple[Message, ...]:
    told = []
    unknown = [one.bolt for one in found if not one.known]
    if unknown:
        told.append(message(Tuned.BOLT_DROWNS, bolts=unknown))
    never = [one.id for one in bolts if one.id not in {f.bolt for f in found}]
    if never:
        told.append(message(Tuned.NEVER_TURNED, bolts=never))
    if misfit > 4.0:
        told.append(message(Tuned.STEPS_DISAGREE))
    off = [one.off_sheet_deg for one in found if one.known]
    if off and (abs(float(np.mean(off))) > 15.0):
        told.append(message(Tuned.TURNED_AWAY, off=float(np.mean(off))))
    return tuple(told)

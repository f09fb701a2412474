"""Do the instruments agree with each other? Wall, diameters and mass tied together by what must hold.

The wall, the overall diameter and the conductor's diameter are one geometry, and the plastic the extruder
delivers is its area. What is left over is weighed against the instruments' uncertainties. Where they
contradict each other there is no conclusion about the wire, and never a pass.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import special

from pipeline.messages import Measure, Message, message
from pipeline.methods import Method
from pipeline.quantity import Asked
from pipeline.reasons import Reason
from pipeline.results import Refused
from pipeline.warned import Agrees

STRETCH_M = 100.0  # on so much wire instruments are compared (chosen here)
MOST_M = 5.0  # beside a gap a reading speaks for no more wire than that on either side (chosen here)

Floats = NDArray[np.float64]
State = Literal["green", "amber", "red", "unknown"]

NAMES = ("wall gauge", "diameter gauge", "conductor diameter", "mass balance")
# A stretch is amber below the first probability and red below the second; a plant may set its own.
AMBER_P = 0.05
RED_P = 0.001


@dataclass(frozen=True, slots=True)
class Reconciliation:
    """Instruments of one stretch of wire weighed against each other.

    Args:
        chi2: weighted sum of squares of what is left over.
        degrees: number of relations tested.
        p: probability of so much by the stated uncertainties alone.
        adjusted: values that satisfy the relations (wall, diameter, conductor [mm], area [mm2]).
        z: each instrument's share, in standard deviations; NaN where it took no part.
        chi2_without: chi-square left with that instrument taken out, on one relation fewer.
        p_without: its probability; NaN where nothing is left to test.
        suspect: the one instrument whose removal alone restores agreement; '' where none can be named.
        state: 'green', 'amber', 'red', or 'unknown' where nothing could be compared.
        told: what a reader should know.
    """

    chi2: float
    degrees: int
    p: float
    adjusted: tuple[float, ...]
    z: tuple[float, ...]
    chi2_without: tuple[float, ...]
    p_without: tuple[float, ...]
    suspect: str
    state: State
    told: Message


def reconcile_all(values: Floats, sd: tuple[float, float, float, float]) -> list[Reconciliation]:
    """Weigh wall, diameters and mass against each other, stretch by stretch.

    Relations D - d - 2t = 0 and A - pi/4 (D^2 - d^2) = 0; r what is left over, J its Jacobian, V the
    variances: chi2 = r' W r with W = (J V J')^-1, adjusted y - V J' W r, z = a / sqrt(diag(J' W J)) with
    a = J' W r; chi-square without instrument i is chi2 - z_i^2 (derived).

    Args:
        values: rows of t, mean wall over the conductor, covering included, D and d, diameters [mm], and A, area
            from mass flow and speed [mm2]; A is NaN where it is not known.
        sd: standard uncertainties of the four [mm, mm, mm, mm2].

    Returns:
        A reconciliation a row. A suspect is named only if taking out exactly one instrument gives p above 0.05;
        without the mass there is one relation only and none can be named.

    Source:
        R.S.H. Mah, A.C. Tamhane, Detection of gross errors in process data, AIChE J. 28 (1982), from memory.
        For stranded conductor the mass includes the valleys: calibrate an offset first.
    """
    found: list[Reconciliation] = [_UNKNOWN] * values.shape[0]
    known = np.isfinite(values[:, :3]).all(axis=1)
    weighed = np.isfinite(values[:, 3])
    for rows in (np.flatnonzero(known & weighed), np.flatnonzero(known & ~weighed)):
        if rows.size:
            for row, one in zip(rows.tolist(), _weighed(values[rows], sd), strict=True):
                found[row] = one
    for row in np.flatnonzero(~known).tolist():
        found[row] = replace(_UNKNOWN, adjusted=tuple(values[row].tolist()))
    return found


_NOTHING = (float("nan"),) * 4
_UNKNOWN = Reconciliation(
    float("nan"),
    0,
    float("nan"),
    _NOTHING,
    _NOTHING,
    _NOTHING,
    _NOTHING,
    "",
    "unknown",
    message(Agrees.NOT_ALL_KNOWN),
)


def _weighed(values: Floats, sd: tuple[float, float, float, float]) -> list[Reconciliation]:
    """Rows that all have a mass, or all have none."""
    jacobian, left = _relations(values)
    degrees, taking_part = jacobian.shape[1:]
    variance = np.square(np.array(sd[:taking_part], dtype=np.float64))
    across = jacobian.transpose(0, 2, 1)
    weight = np.linalg.inv((jacobian * variance) @ across)
    pull = (weight @ left[:, :, None])[:, :, 0]
    a = (across @ pull[:, :, None])[:, :, 0]
    chi2 = (left * pull).sum(axis=1)
    z = a / np.sqrt(np.einsum("nki,nkl,nli->ni", jacobian, weight, jacobian))
    without = np.maximum(chi2[:, None] - z**2, 0.0)
    p_without = special.chdtrc(degrees - 1, without) if degrees > 1 else np.full(z.shape, np.nan)
    p = special.chdtrc(degrees, chi2)
    adjusted = values[:, :taking_part] - variance * a
    found = []
    columns = (chi2, p, adjusted, z, without, p_without, left[:, 0])
    for chi, one_p, after, one_z, less, p_less, gap in zip(*(one.tolist() for one in columns), strict=True):
        suspect = _suspect(one_p, p_less)
        state: State = "red" if one_p < RED_P else "amber" if one_p < AMBER_P else "green"
        found.append(
            Reconciliation(
                chi, degrees, one_p, tuple(after), tuple(one_z), tuple(less), tuple(p_less), suspect, state,
                _told(state, suspect, gap),
            )
        )  # fmt: skip
    return found


def _relations(values: Floats) -> tuple[Floats, Floats]:
    """Jacobians and what is left over, of one relation without the mass and two with it."""
    t, D, d, A = values.T
    geometry = np.broadcast_to([-2.0, 1.0, -1.0], (t.size, 3))
    if not np.isfinite(A).all():
        return geometry[:, None, :], (D - d - 2.0 * t)[:, None]
    zero, one = np.zeros(t.size), np.ones(t.size)
    mass = np.stack([zero, -np.pi / 2.0 * D, np.pi / 2.0 * d, one], axis=1)
    left = np.stack([D - d - 2.0 * t, A - np.pi / 4.0 * (D * D - d * d)], axis=1)
    return np.stack([np.column_stack([geometry, zero]), mass], axis=1), left


def _suspect(p: float, p_without: list[float]) -> str:
    if p >= AMBER_P or not all(map(math.isfinite, p_without)):
        return ""
    restores = [name for name, less in zip(NAMES, p_without, strict=False) if less > AMBER_P]
    return restores[0] if len(restores) == 1 else ""


def _told(state: State, suspect: str, geometry_mm: float) -> Message:
    if state == "green":
        return message(Agrees.AGREE)
    gap = Measure(geometry_mm / 2, "mm")
    if suspect:
        code = Agrees.SUSPECT_SETTLE if state == "red" else Agrees.SUSPECT
        return message(code, gap=gap, suspect=suspect)
    return message(Agrees.UNKNOWN_SETTLE if state == "red" else Agrees.UNKNOWN, gap=gap)


@dataclass(frozen=True, slots=True)
class AgreementStretch:
    """A stretch of wire and how its instruments agree; `left_mm` is the wall (D - d)/2 - t that they leave over."""

    from_m: float
    to_m: float
    agreement: Reconciliation
    left_mm: float = float("nan")


def over_read_stretch(
    from_m: float, to_m: float, more_mm: float, code: Agrees = Agrees.OVER_READ
) -> AgreementStretch:
    """Wire on which the ring reads more wall than a diameter has room for: nothing is concluded about it.

    Args:
        from_m: its start [m].
        to_m: its end [m].
        more_mm: wall read beyond what the diameter usually leaves in the run [mm].
        code: what is said of it.
    """
    told = message(code, more=Measure(more_mm, "mm"))
    return AgreementStretch(from_m, to_m, replace(_UNKNOWN, state="red", told=told), -more_mm)


def agreement_by_stretch(
    at_m: Floats,
    wall_mm: Floats,
    diameter_at_m: Floats,
    diameter_mm: Floats,
    conductor_mm: float,
    sd: tuple[float, float, float, float],
    area_at_m: Floats | None = None,
    area_mm2: Floats | None = None,
) -> tuple[AgreementStretch, ...]:
    """The instruments' agreement on every 100 m of a run, each on the same wire.

    Args:
        at_m: places of the wall readings [m].
        wall_mm: mean wall over the conductor, covering included [mm]; NaN where there is none.
        diameter_at_m: places of the diameter readings [m].
        diameter_mm: overall diameter [mm].
        conductor_mm: diameter of the conductor [mm].
        sd: standard uncertainties of a stretch's means [mm, mm, mm, mm2]; what calibration leaves, which
            averaging does not take away.
        area_at_m: places of the area readings [m].
        area_mm2: area from mass flow and speed [mm2].

    Returns:
        One entry a stretch from the first wire read to the last.
    """
    places = np.concatenate([at_m[np.isfinite(wall_mm)], diameter_at_m[np.isfinite(diameter_mm)]])
    if places.size == 0:
        return ()
    first = int(np.floor(places.min() / STRETCH_M))
    count = int(np.floor(places.max() / STRETCH_M)) - first + 1
    wall = _means(at_m, wall_mm, first, count, STRETCH_M)
    diameter = _means(diameter_at_m, diameter_mm, first, count, STRETCH_M)
    area = np.full(count, np.nan)
    if area_at_m is not None and area_mm2 is not None:
        area = _means(area_at_m, area_mm2, first, count, STRETCH_M)
    weighed = reconcile_all(np.column_stack([wall, diameter, np.full(count, conductor_mm), area]), sd)
    left = (diameter - conductor_mm) / 2.0 - wall
    return tuple(
        AgreementStretch((first + k) * STRETCH_M, (first + k + 1) * STRETCH_M, one, float(left[k]))
        for k, one in enumerate(weighed)
    )


def _means(at_m: Floats, values: Floats, first: int, count: int, stretch_m: float) -> Floats:
    known = np.isfinite(values) & np.isfinite(at_m)
    block = np.floor(at_m[known] / stretch_m).astype(np.int64) - first
    inside = (block >= 0) & (block < count)
    width = _widths(at_m[known])[inside]
    number = np.bincount(block[inside], width, minlength=count)
    total = np.bincount(block[inside], width * values[known][inside], minlength=count)
    return np.where(number > 0.0, total / np.where(number > 0.0, number, 1.0), np.nan)


def _widths(at_m: Floats) -> Floats:
    """Wire that each reading speaks for [m]: a line that creeps logs many readings of little wire."""
    if at_m.size < 2:
        return np.ones(at_m.size)
    step = np.clip(np.diff(at_m), 0.0, MOST_M)
    return np.asarray((np.append(step[:1], step) + np.append(step, step[-1:])) / 2.0, dtype=np.float64)


def no_conclusion(question: Asked, stretch: AgreementStretch) -> Refused | None:
    """The refusal of any verdict on wire whose data-quality state is red or unknown.

    Args:
        question: what was asked.
        stretch: the stretch it is about.

    Returns:
        The refusal ('no conclusion', never 'pass'), or None where a verdict may be given.
    """
    if stretch.agreement.state in {"green", "amber"}:
        return None
    return Refused(
        question,
        message(Method.REDUNDANT_INSTRUMENTS),
        message(
            Reason.INSTRUMENTS_CONTRADICT,
            low=Measure(stretch.from_m, "m"),
            high=Measure(stretch.to_m, "m"),
            agreement=stretch.agreement.told,
        ),
        0,
    )


def area_from_screw_mm2(screw_rpm: Floats, speed_m_s: Floats, output_mm3_per_turn: float) -> Floats:
    """Area of the insulation from what a turn of the screw delivers: A = k n / (60 v) / 1000 [mm2].

    Args:
        screw_rpm: n, screw speed [rpm].
        speed_m_s: v, line speed [m/s].
        output_mm3_per_turn: k, volume a turn delivers [mm3]; calibrated on runs whose gauges were trusted.
    """
    running = speed_m_s > 0
    area: Floats = np.where(
        running, output_mm3_per_turn * screw_rpm / 60.0 / (1000.0 * np.where(running, speed_m_s, 1.0)), np.nan
    )
    return area

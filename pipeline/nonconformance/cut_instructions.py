"""What does the person at the rewinder do, step by step, in the units of the plant's counter?"""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.length.reel_places import OUTER, in_unit, length_told
from pipeline.nonconformance.cutting_plan import CuttingPlan, Piece
from pipeline.nonconformance.cutting_rules import Unit
from pipeline.units import m_from_foot

CAUTION = (
    "The plan is a proposal; the responsible person decides. Before cutting, check the start of every nonconforming "
    "length on the wire. Keep the pieces cut out identified until their disposition."
)


@dataclass(frozen=True, slots=True)
class RewinderStep:
    """One step at the rewinder.

    Args:
        reel_id: the reel.
        number: number of the step on its reel.
        counter_from: counter at its start, in `unit`; it shows places from the reel's outer end (`counter_start`).
        counter_to: counter at which to stop and cut, in `unit`.
        unit: ft or m.
        sentence: the step in words.
    """

    reel_id: str
    number: int
    counter_from: float
    counter_to: float
    unit: Unit
    sentence: str


def _sentence(piece: Piece, unit: Unit) -> str:
    run = f"Run from {length_told(piece.from_m, unit)} to {length_told(piece.to_m, unit)}"
    if piece.kind == "sale":
        extra = piece.to_m - piece.from_m - piece.sold_m
        more = (
            f" with {length_told(extra, unit)} for cut and end samples"
            if extra > 0.5 * m_from_foot(0.1)
            else ""
        )
        return f"{run} onto a package of {length_told(piece.sold_m, unit)}{more}, and cut."
    if piece.kind == "remnant":
        return f"{run} onto a stock reel: remnant of {length_told(piece.to_m - piece.from_m, unit)}, and cut."
    return f"{run} to scrap ({length_told(piece.to_m - piece.from_m, unit)}), and cut."


def cut_instructions(plan: CuttingPlan) -> tuple[RewinderStep, ...]:
    """The plan as steps at the rewinder, in the plant's unit, reel by reel as the wire comes off.

    Args:
        plan: the plan.
    """
    steps: list[RewinderStep] = []
    for piece in plan.pieces:
        number = steps[-1].number + 1 if steps and steps[-1].reel_id == piece.reel_id else 1
        start, end = (round(in_unit(at, plan.unit), 1) for at in (piece.from_m, piece.to_m))
        steps.append(RewinderStep(piece.reel_id, number, start, end, plan.unit, _sentence(piece, plan.unit)))
    return tuple(steps)


def counter_start(begun_m: float, unit: Unit) -> str:
    """How the rewinder's counter is set before the first step, so that it shows places on the reel.

    Args:
        begun_m: wire cut from the reel's outer end already [m].
        unit: the plant's unit.
    """
    where = "where the wire was cut last" if begun_m else f"at the reel's {OUTER}"
    return f"Set the counter to {length_told(begun_m, unit)} {where}: it then shows places from the {OUTER}."

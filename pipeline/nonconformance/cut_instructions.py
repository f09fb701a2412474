"""What does the person at the rewinder do, step by step, in the units of the plant's counter?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.length.reels import PlacedReel
from pipeline.nonconformance.cutting_plan import CuttingPlan, Piece
from pipeline.nonconformance.cutting_rules import Unit
from pipeline.units import foot_from_m, m_from_foot

CAUTION = (
    "The plan proposes; whoever is responsible decides. Check the start of every nonconforming length on the "
    "wire before cutting, and keep the pieces that are cut out identified until they are disposed of."
)


@dataclass(frozen=True, slots=True)
class Step:
    """One step at the rewinder.

    Args:
        reel_id: the reel.
        number: number of the step on its reel.
        counter_from: counter at its start, in `unit`, set to 0 at the end that comes off first.
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


def off_first(reel: PlacedReel, lengths_m: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    """Lengths on the wire turned into distances from the end that comes off first, and kept to the reel.

    Args:
        reel: the reel.
        lengths_m: lengths on the wire of the run [m].

    Returns:
        those that meet the reel, from its outer end [m], in the order they come off.
    """
    turned = [
        (max(reel.from_outer_end_m(end), 0.0), min(reel.from_outer_end_m(start), reel.length_m))
        for start, end in lengths_m
        if end > reel.from_m and start < reel.to_m
    ]
    return tuple(sorted(turned))


def _shown(length_m: float, unit: Unit) -> str:
    return f"{round(foot_from_m(length_m) if unit == 'ft' else length_m, 1):,.1f} {unit}"


def _sentence(piece: Piece, unit: Unit) -> str:
    run = f"Run from {_shown(piece.from_m, unit)} to {_shown(piece.to_m, unit)}"
    if piece.kind == "sale":
        extra = piece.to_m - piece.from_m - piece.sold_m
        more = (
            f" with {_shown(extra, unit)} for cut and end samples" if extra > 0.5 * m_from_foot(0.1) else ""
        )
        return f"{run} onto a package of {_shown(piece.sold_m, unit)}{more}, and cut."
    if piece.kind == "remnant":
        return f"{run} onto a stock reel: remnant of {_shown(piece.to_m - piece.from_m, unit)}, and cut."
    return f"{run} to scrap: {_shown(piece.to_m - piece.from_m, unit)} is not sold, and cut."


def cut_instructions(plan: CuttingPlan) -> tuple[Step, ...]:
    """The plan as steps at the rewinder, in the plant's unit, reel by reel as the wire comes off.

    Args:
        plan: the plan.
    """
    steps: list[Step] = []
    for piece in plan.pieces:
        number = steps[-1].number + 1 if steps and steps[-1].reel_id == piece.reel_id else 1
        start, end = (
            round(foot_from_m(at) if plan.unit == "ft" else at, 1) for at in (piece.from_m, piece.to_m)
        )
        steps.append(Step(piece.reel_id, number, start, end, plan.unit, _sentence(piece, plan.unit)))
    return tuple(steps)

"""Whether the walls of the insulation were judged and met to every requirement set that applies to the wire."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Protocol

from pipeline.messages import message
from pipeline.products.limits import Limit, is_limit_of
from pipeline.products.requirement_sets import AVERAGE, POINT, SetRequirement, asked_of_wire
from pipeline.steps.bench import Bench
from pipeline.why import Lack, Lacking


class OnReel(Protocol):
    """A requirement as judged on one reel."""

    @property
    def limit_id(self) -> str:
        """The limit it was judged by, "" for none."""
        ...

    @property
    def verdict(self) -> str:
        """What the evidence supports."""
        ...


def walls_not_shown(bench: Bench, own: Iterable[OnReel]) -> tuple[Lacking, ...]:
    """Why a reel may not leave though nothing was found: each wall of the insulation not judged and met.

    Every requirement set that applies to a type on the wire must have an average and a point of the insulation judged
    and met, or a limit that the plant's sheet names as shown by samples, which then decide. A set that asks for no
    average is not asked for one. This looks at what should be there, so that a judgement that was lost holds the reel.

    Args:
        bench: the run.
        own: the reel's requirements as judged.
    """
    verdicts: dict[str, set[str]] = {}
    for one in own:
        verdicts.setdefault(one.limit_id, set()).add(one.verdict)
    names = tuple(one.name for one in bench.product.types)
    asked = asked_of_wire(names, bench.plant.certificate, bench.on)
    reasons = [
        _lacking(
            Lack.WALL_NOT_SHOWN,
            f"{one.requirement_set}: {one.requirement}: {one.type_name}",
            requirement=one.requirement,
            requirement_set=one.requirement_set,
            type=one.type_name,
        )
        for one in asked
        if one.requirement in (AVERAGE, POINT) and not _shown(bench, one, names, verdicts)
    ]
    if not any(one.requirement == AVERAGE for one in asked):
        reasons.append(_lacking(Lack.NO_AVERAGE_ASKED, construction=bench.product.construction))
    if not any(one.requirement == POINT for one in asked):
        reasons.append(_lacking(Lack.NO_POINT_ASKED, construction=bench.product.construction))
    return tuple(dict.fromkeys(reasons))


def _lacking(code: Lack, about: str = "", **arguments: str) -> Lacking:
    return Lacking(code, about, message(code, **arguments))


def _shown(bench: Bench, asked: SetRequirement, names: Sequence[str], verdicts: dict[str, set[str]]) -> bool:
    limits: list[Limit] = [
        one
        for one in bench.limits
        if is_limit_of(one, asked.requirement, asked.requirement_set, asked.type_name)
    ]
    if any(verdicts.get(one.limit_id) == {"conforms"} for one in limits):
        return True
    by_samples = bench.plant.samples.asked_of(asked.requirement, names)
    return bool(limits) and by_samples is not None and by_samples.per != "none"

"""Whether the walls of the insulation were judged and met to every requirement set that applies to the wire.

What is said of a requirement that no instrument of the line can see? It is not judged, and never passed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Literal, Protocol

from pipeline.length.reel_places import from_other_end, place_on_reel
from pipeline.length.reels import PlacedReel
from pipeline.messages import Measure, Message, message
from pipeline.nonconformance.rules import rule_for
from pipeline.products.limits import Limit, is_limit_of
from pipeline.products.requirement_sets import AVERAGE, POINT, SetRequirement, asked_of_wire
from pipeline.results import Refused
from pipeline.steps.bench import Bench
from pipeline.steps.measure import WALL_NAMES
from pipeline.steps.sight import DIAMETER_NAMES
from pipeline.wall.diameter_only import minimum_wall_verdict
from pipeline.wall.two_layers import covering_minimum
from pipeline.why import Lack, Lacking, Why

Outcome = Literal["conforms", "does not conform", "indeterminate", "not judged", "no conclusion"]

INSTRUMENT_OF = {
    **dict.fromkeys(WALL_NAMES, "wall gauge"),
    **dict.fromkeys(DIAMETER_NAMES, "cold diameter gauge"),
    "conductor_mm": "conductor gauge",
    "spark_kv": "spark tester",
}
CANNOT_SEE = {
    "covering at any point": Why.COVERING_NOT_SEEN,
    "concentricity": Why.CENTRING_NOT_SEEN,
}


def worst_told(
    place_m: float, value: float, reel: PlacedReel, limit: Limit, bounded: bool = False
) -> Message:
    """The worst figure on a reel, with its place from both of the reel's ends.

    Args:
        place_m: its place on the wire of the run [m].
        value: the figure [unit of the limit].
        reel: the reel.
        limit: the limit it is held against.
        bounded: whether it is the worse of two bounds.
    """
    from_outer_m = place_on_reel(place_m, reel.to_m)
    return message(
        Why.WORST_BOUND if bounded else Why.WORST,
        limit=Measure(limit.value, limit.unit),
        at=Measure(from_outer_m, "m"),
        from_core=Measure(from_other_end(from_outer_m, reel.length_m), "m"),
        # A diameter is told to its own digits.
        **{"diameter" if "diameter" in limit.requirement else "value": Measure(value, limit.unit)},
    )


def verdict_unseen(bench: Bench, reel: PlacedReel, limit: Limit) -> tuple[Outcome, Message]:
    """The verdict on a requirement whose quantity the run has no reading of, and why.

    A minimum wall on a line that measures the diameter only can fail for certain, where the mean wall itself
    is at or under the limit; it can never pass.
    """
    gauge = bench.line.instrument("wall gauge")
    if limit.requirement == "covering at any point":
        stated = bench.run.covering
        if stated is not None and limit.sense == "at least" and stated.mean_mm < limit.value:
            return "does not conform", message(
                Why.STATED_COVERING_FAILS,
                stated=Measure(stated.mean_mm, limit.unit),
                sense=limit.sense,
                limit=Measure(limit.value, limit.unit),
            )
        layered = gauge is not None and gauge.sees == "insulation and covering"
        if layered:
            return "not judged", covering_minimum().reason
        return "not judged", message(CANNOT_SEE[limit.requirement])
    rule = rule_for(limit.requirement)
    unknown = bench.measured.refused.get(rule.column) if rule is not None else None
    if unknown is not None:
        return "not judged", unknown.reason
    if limit.requirement == "minimum wall at any point" and gauge is None:
        return _by_diameter(bench, reel, limit)
    if rule is not None and bench.line.instrument(INSTRUMENT_OF.get(rule.column, "")) is not None:
        return "no conclusion", message(Why.NO_READING, requirement=limit.requirement)
    if limit.requirement in CANNOT_SEE:
        return "not judged", message(CANNOT_SEE[limit.requirement])
    return "not judged", message(Why.NO_INSTRUMENT, requirement=limit.requirement)


def _by_diameter(bench: Bench, reel: PlacedReel, limit: Limit) -> tuple[Outcome, Message]:
    mean = bench.measured.seen.get("mean_wall_mm")
    worst = mean.worst(reel.may_from_m, reel.may_to_m, limit.sense) if mean is not None else None
    if mean is None or worst is None:
        found = minimum_wall_verdict(float("nan"), 0.0, limit.value)
    else:
        found = minimum_wall_verdict(worst[0], mean.uncertainty, limit.value)
    if isinstance(found, Refused):
        return "not judged", found.reason
    at_m, value = (worst[1], worst[0]) if worst is not None else (reel.to_m, 0.0)
    return "does not conform", message(
        Why.MEAN_FAILS,
        worst=worst_told(at_m, value, reel, limit),
        sense=limit.sense,
        limit=Measure(limit.value, limit.unit),
    )


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

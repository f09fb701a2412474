"""What is said of a requirement that no instrument of the line can see? It is not judged, and never passed."""

from __future__ import annotations

from typing import Literal

from pipeline.length.reel_places import place_on_reel, place_told
from pipeline.length.reels import PlacedReel
from pipeline.nonconformance.rules import figure, rule_for
from pipeline.products.limits import Limit
from pipeline.results import Refused
from pipeline.steps.bench import Bench
from pipeline.steps.measure import DIAMETER_NAMES, WALL_NAMES
from pipeline.wall.diameter_only import minimum_wall_verdict
from pipeline.wall.two_layers import covering_minimum
from pipeline.wording.say import plain

Outcome = Literal["conforms", "does not conform", "indeterminate", "not judged", "no conclusion"]

INSTRUMENT_OF = {
    **dict.fromkeys(WALL_NAMES, "wall gauge"),
    **dict.fromkeys(DIAMETER_NAMES, "cold diameter gauge"),
    "conductor_mm": "conductor gauge",
    "spark_kv": "spark tester",
}
CANNOT_SEE = {
    "covering at any point": (
        "No instrument of this line sees the covering by itself. Judge the covering on cut samples."
    ),
    "concentricity": (
        "The line has no wall gauge. A diameter does not show how well the conductor is centred; judge it on cut "
        "samples."
    ),
}


def verdict_unseen(bench: Bench, reel: PlacedReel, limit: Limit) -> tuple[Outcome, str]:
    """The verdict on a requirement whose quantity the run has no reading of, and why.

    A minimum wall on a line that measures the diameter only can fail for certain, where the mean wall itself
    is at or under the limit; it can never pass.
    """
    gauge = bench.line.instrument("wall gauge")
    if limit.requirement == "covering at any point":
        stated = bench.run.covering
        if stated is not None and limit.sense == "at least" and stated.mean_mm < limit.value:
            return "does not conform", (
                f"The run sheet states a covering of {figure(stated.mean_mm, limit.unit)} on average, and its thinnest "
                f"point is no thicker; {limit.sense} {figure(limit.value, limit.unit)} is required."
            )
        layered = gauge is not None and gauge.sees == "insulation and covering"
        return "not judged", plain(covering_minimum().reason) if layered else CANNOT_SEE[limit.requirement]
    rule = rule_for(limit.requirement)
    unknown = bench.measured.refused.get(rule.column) if rule is not None else None
    if unknown is not None:
        return "not judged", plain(unknown.reason)
    if limit.requirement == "minimum wall at any point" and gauge is None:
        return _by_diameter(bench, reel, limit)
    if rule is not None and bench.line.instrument(INSTRUMENT_OF.get(rule.column, "")) is not None:
        return "no conclusion", f"No usable reading of {limit.requirement} lies on this reel."
    nothing = f"No instrument of this line reads what '{limit.requirement}' needs; judge it on cut samples."
    return "not judged", CANNOT_SEE.get(limit.requirement, nothing)


def _by_diameter(bench: Bench, reel: PlacedReel, limit: Limit) -> tuple[Outcome, str]:
    mean = bench.measured.seen.get("mean_wall_mm")
    worst = mean.worst(reel.may_from_m, reel.may_to_m, limit.sense) if mean is not None else None
    if mean is None or worst is None:
        found = minimum_wall_verdict(float("nan"), 0.0, limit.value)
    else:
        found = minimum_wall_verdict(worst[0], mean.uncertainty, limit.value)
    if isinstance(found, Refused):
        return "not judged", plain(found.reason)
    place = place_told(place_on_reel(worst[1], reel.to_m) if worst is not None else 0.0, reel.length_m)
    return "does not conform", (
        f"The mean wall by the diameter is {figure(worst[0] if worst else 0.0, limit.unit)} at {place}, "
        f"and the wall at any point is no thicker; {limit.sense} {figure(limit.value, limit.unit)} is required."
    )

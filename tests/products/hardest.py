"""The limit that is hardest to meet, of several requirement sets: what a simulated wire's truth is held against."""

from collections.abc import Iterable

from pipeline.products.limits import Limit


def most_demanding(limits: Iterable[Limit]) -> tuple[Limit, ...]:
    """For each requirement and sense the limit that is hardest to meet; ties keep the first."""
    hardest: dict[tuple[str, str], Limit] = {}
    for one in limits:
        key = (one.requirement, one.sense)
        held = hardest.get(key)
        if held is None or (one.value > held.value if one.sense == "at least" else one.value < held.value):
            hardest[key] = one
    return tuple(hardest.values())

"""How well centred the conductor must be for the thinnest wall still to meet its minimum."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from pipeline.messages import Measure, Message, message
from pipeline.products.limits import Limit
from pipeline.why import Why


@dataclass(frozen=True, slots=True)
class ImpliedConcentricity:
    """The concentricity that a minimum wall at any point implies at a mean wall.

    Args:
        limit_id: row of the minimum wall at any point.
        requirement_set: whose requirement it is.
        point_mm: the minimum wall at any point [mm].
        mean_wall_mm: the mean wall it was worked out at [mm].
        at_least_pct: smallest concentricity t_min/t_max that still meets it [%]; None if the mean wall
            itself is below the minimum at any point, so that none does.
        told: the same, to be said.
    """

    limit_id: str
    requirement_set: str
    point_mm: float
    mean_wall_mm: float
    at_least_pct: float | None
    told: Message


def implied_concentricity_pct(point_mm: float, mean_wall_mm: float) -> float:
    """Smallest concentricity that still meets the minimum at any point: 100 t_point / (2 t_mean - t_point).

    Args:
        point_mm: minimum wall at any point [mm].
        mean_wall_mm: mean wall [mm], not below `point_mm`.

    Returns:
        100 x thinnest / thickest wall [%]; it falls as the mean wall rises.

    Round conductor in a round outside: thickest + thinnest wall = 2 x mean wall. With lobes or an oval
    outside the thinnest wall is thinner than this geometry says. Derived; no source needed.
    """
    return 100.0 * point_mm / (2.0 * mean_wall_mm - point_mm)


def implied_concentricities(limits: Iterable[Limit], mean_wall_mm: float) -> tuple[ImpliedConcentricity, ...]:
    """For each minimum wall at any point, the concentricity it implies at a mean wall.

    Args:
        limits: limits in force for the wire.
        mean_wall_mm: measured mean wall [mm].
    """
    return tuple(
        _implied(limit, mean_wall_mm) for limit in limits if limit.requirement == "minimum wall at any point"
    )


def _implied(limit: Limit, mean_wall_mm: float) -> ImpliedConcentricity:
    beside = {
        "mean": Measure(mean_wall_mm, "mm"),
        "point": Measure(limit.value, limit.unit),
        "requirement_set": limit.requirement_set,
    }
    if not mean_wall_mm > 0.0 or mean_wall_mm < limit.value:
        least = None
        told = message(Why.NO_CENTRING_MEETS, **beside)
    else:
        least = implied_concentricity_pct(limit.value, mean_wall_mm)
        told = message(Why.IMPLIED_CONCENTRICITY, least=Measure(least, "%"), **beside)
    return ImpliedConcentricity(limit.limit_id, limit.requirement_set, limit.value, mean_wall_mm, least, told)

"""How thin may the covering be? It is deducted from what the gauge sees, so it is stated and not measured."""

from __future__ import annotations

from dataclasses import dataclass

from scipy import special

from pipeline.messages import Measure, Message, message, um
from pipeline.methods import Method
from pipeline.products.limits import Limit
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused
from pipeline.sheets.run_sheet import Covering
from pipeline.tuned import Tuned
from pipeline.tuning.giveaway import Giveaway, Price, giveaway

REQUIREMENT = "covering at any point"


@dataclass(frozen=True, slots=True)
class CoveringTarget:
    """Smallest mean wall of the covering.

    Args:
        limit: the limit with its document.
        needed_mm: smallest mean wall of the covering [mm].
        stated_mm: mean wall stated on the run sheet [mm].
        margin_mm: stated less needed [mm]; negative where the statement does not carry the limit.
        worth: the margin as plastic and money.
        status: always 'stated, not measured'.
        told: what is said of it.
    """

    limit: Message
    needed_mm: float
    stated_mm: float
    margin_mm: float
    worth: Giveaway
    status: str
    told: Message


def covering_target(
    covering: Covering | None,
    limits: tuple[Limit, ...],
    inner_mm: float,
    price: Price,
    risk: float = 0.001,
) -> CoveringTarget | Refused:
    """Smallest mean wall of the covering: limit + greatest offset + z u, with the run sheet's own figures.

    Args:
        covering: what the run sheet states of the covering; None where it states nothing.
        limits: limits in force.
        inner_mm: diameter under the covering [mm].
        price: density and price of the covering.
        risk: accepted chance that the covering's mean is thinner than its uncertainty allows.

    Source: derived; offset as a bound, uncertainty as a normal deviation. Its own thin spots are not in it.
    """
    question, method = asks(Quantity.TARGET_WALL, "covering"), message(Method.STATED_COVERING)
    asked = [one for one in limits if one.requirement == REQUIREMENT]
    if covering is None:
        return Refused(question, method, message(Reason.NO_COVERING_STATED), 0)
    if not asked:
        return Refused(question, method, message(Reason.NO_COVERING_LIMIT), 0)
    hardest = max(asked, key=lambda one: one.value)
    needed = hardest.value + covering.offset_mm - float(special.ndtri(risk)) * covering.uncertainty_mm
    margin = covering.mean_mm - needed
    worth = giveaway(covering.mean_mm, needed, inner_mm, price)
    told = message(
        Tuned.COVERING_NEEDS,
        mean=um(covering.mean_mm),
        offset=um(covering.offset_mm),
        uncertainty=um(covering.uncertainty_mm),
        needed=um(needed),
        basis=covering.basis,
    )
    limit = hardest.told(Measure(hardest.value, hardest.unit))
    return CoveringTarget(limit, needed, covering.mean_mm, margin, worth, "stated, not measured", told)

"""What does too much wall cost, in plastic and money?"""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.samples import positive
from pipeline.wall.mass import insulation_area_mm2, mass_kg_km


@dataclass(frozen=True, slots=True)
class Giveaway:
    """A difference of mean wall as plastic and money.

    Args:
        wall_mm: difference of the mean wall [mm].
        kg_km: as mass per length [kg/km].
        money_per_month: at the plant's price and length a month; None where the plant gives neither.
        currency: of it; "" where there is none.
    """

    wall_mm: float
    kg_km: float
    money_per_month: float | None
    currency: str


@dataclass(frozen=True, slots=True)
class Over:
    """The covering over the layer that is priced: at one wall of its own it takes less over thinner wire.

    Args:
        wall_mm: its mean wall [mm].
        density_g_cm3: its density [g/cm3].
        per_kg: price of its compound; None where the plant gives none.
    """

    wall_mm: float
    density_g_cm3: float
    per_kg: float | None = None


@dataclass(frozen=True, slots=True)
class Price:
    """What a kilometre more of plastic means to the plant.

    Args:
        density_g_cm3: density of the layer [g/cm3].
        per_kg: price of its compound; None where the plant gives none.
        km_per_month: length made a month [km]; None where the plant gives none.
        currency: of the price.
        failed_reel: cost of one reel found nonconforming after release; None where the plant gives none.
        over: the covering that shrinks with the layer; None where there is none or its wall is not stated.
    """

    density_g_cm3: float
    per_kg: float | None = None
    km_per_month: float | None = None
    currency: str = ""
    failed_reel: float | None = None
    over: Over | None = None


def per_km(wall_mm: float, conductor_mm: float, price: Price) -> tuple[float, float | None]:
    """Plastic of the layer and of the covering over it [kg/km], and its price; None where the layer has none.

    A covering without a price is in the mass alone.

    Args:
        wall_mm: mean wall of the layer [mm].
        conductor_mm: diameter under it [mm].
        price: densities, and prices where the plant gives them.
    """
    layer = mass_kg_km(insulation_area_mm2(wall_mm, conductor_mm), price.density_g_cm3)
    cost = None if price.per_kg is None else layer * price.per_kg
    if price.over is None:
        return layer, cost
    area = insulation_area_mm2(price.over.wall_mm, conductor_mm + 2.0 * wall_mm)
    over = mass_kg_km(area, price.over.density_g_cm3)
    return layer + over, None if cost is None else cost + over * (price.over.per_kg or 0.0)


def giveaway(from_wall_mm: float, to_wall_mm: float, conductor_mm: float, price: Price) -> Giveaway:
    """What lowering the mean wall from one value to another saves; negative where it costs.

    pi rho ((r + t1)^2 - (r + t2)^2), which is 2 pi rho (r + mean t) dt exactly; of a covering of wall c over it,
    which keeps that wall, 2 pi rho c dt besides. Source: derived.

    Args:
        from_wall_mm: mean wall now [mm].
        to_wall_mm: mean wall then [mm].
        conductor_mm: conductor diameter [mm].
        price: densities, and prices and length where the plant gives them.
    """
    (kg_now, cost_now), (kg_then, cost_then) = (
        per_km(wall, conductor_mm, price) for wall in (from_wall_mm, to_wall_mm)
    )
    money = None
    if cost_now is not None and cost_then is not None and price.km_per_month is not None:
        money = (cost_now - cost_then) * price.km_per_month
    return Giveaway(
        from_wall_mm - to_wall_mm, kg_now - kg_then, money, price.currency if money is not None else ""
    )


def speed_for_wall(wall_mm: float, wanted_mm: float, conductor_mm: float, speed_m_s: float) -> float:
    """Line speed that gives the wanted mean wall at the same output: v2 = v1 A1/A2 [m/s].

    Args:
        wall_mm: mean wall now [mm].
        wanted_mm: mean wall wanted [mm].
        conductor_mm: conductor diameter [mm].
        speed_m_s: v1, line speed now [m/s].

    Stops being true where the output changes with head pressure or the melt slips. Source: derived.
    """
    positive(wanted_mm, "wanted_mm", "mm")
    now = insulation_area_mm2(wall_mm, conductor_mm)
    return speed_m_s * now / insulation_area_mm2(wanted_mm, conductor_mm)

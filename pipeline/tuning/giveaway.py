"""What too much wall costs, and which rule keeps the wall from coming down.

Eccentricity adds no plastic by itself: the area is that of two circles. It costs because the mean must rise to
keep the thin side legal, and only where that rule binds.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pipeline.samples import positive
from pipeline.wall.mass import insulation_area_mm2, mass_kg_km

Binding = Literal["minimum average wall", "minimum wall at any point"]


@dataclass(frozen=True, slots=True)
class TwoRules:
    """Smallest mean wall under the two rules of a sheet.

    Args:
        average_mm: mean wall the average rule asks for [mm].
        point_mm: mean wall the point rule asks for [mm].
        target_mm: the greater of them [mm].
        binding: which it is.
        switch_mm: offset of the centre at which both ask for the same [mm]; under it better centring saves nothing.
    """

    average_mm: float
    point_mm: float
    target_mm: float
    binding: Binding
    switch_mm: float


def two_rules(
    average_limit_mm: float,
    point_limit_mm: float,
    offset_mm: float,
    average_sd_mm: float,
    point_sd_mm: float,
    average_k: float,
    point_k: float,
) -> TwoRules:
    """Smallest mean wall t* = max(L_avg + k_a s_avg, L_pt + e + k_p s_min), and which term it is.

    Args:
        average_limit_mm: L_avg, minimum average wall [mm].
        point_limit_mm: L_pt, minimum wall at any point [mm].
        offset_mm: e, offset of the conductor's centre [mm].
        average_sd_mm: s_avg, standard deviation of section averages [mm].
        point_sd_mm: s_min, standard deviation of the thinnest wall [mm].
        average_k: k_a, from the accepted risk of a cut sample.
        point_k: k_p, from the accepted risk of a reel; not three by habit.

    Source: derived; `target` solves the same question from a line's own readings, without normal theory for the
    thinnest point.

    No page asks for it: `target` asks the same of a line's own readings; this shows where the rule that binds
    changes.
    """
    average = average_limit_mm + average_k * average_sd_mm
    point = point_limit_mm + offset_mm + point_k * point_sd_mm
    binding: Binding = "minimum average wall" if average >= point else "minimum wall at any point"
    switch = average - point_limit_mm - point_k * point_sd_mm
    return TwoRules(average, point, max(average, point), binding, switch)


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
class Price:
    """What a kilometre more of plastic means to the plant.

    Args:
        density_g_cm3: density of the layer [g/cm3].
        per_kg: price of its compound; None where the plant gives none.
        km_per_month: length made a month [km]; None where the plant gives none.
        currency: of the price.
        failed_reel: cost of one reel found nonconforming after release; None where the plant gives none.
    """

    density_g_cm3: float
    per_kg: float | None = None
    km_per_month: float | None = None
    currency: str = ""
    failed_reel: float | None = None


def giveaway(from_wall_mm: float, to_wall_mm: float, conductor_mm: float, price: Price) -> Giveaway:
    """What lowering the mean wall from one value to another saves; negative where it costs.

    pi rho ((r + t1)^2 - (r + t2)^2), which is 2 pi rho (r + mean t) dt exactly.

    Args:
        from_wall_mm: mean wall now [mm].
        to_wall_mm: mean wall then [mm].
        conductor_mm: conductor diameter [mm].
        price: the layer's density, and price and length where the plant gives them.
    """
    kg_km = mass_kg_km(insulation_area_mm2(from_wall_mm, conductor_mm), price.density_g_cm3) - mass_kg_km(
        insulation_area_mm2(to_wall_mm, conductor_mm), price.density_g_cm3
    )
    money = None
    if price.per_kg is not None and price.km_per_month is not None:
        money = kg_km * price.km_per_month * price.per_kg
    return Giveaway(from_wall_mm - to_wall_mm, kg_km, money, price.currency if money is not None else "")


def speed_for_wall(
    wall_mm: float, wanted_mm: float, conductor_mm: float, speed_m_s: float, valleys_mm2: float = 0.0
) -> float:
    """Line speed that gives the wanted mean wall at the same output: v2 = v1 A1/A2 [m/s].

    Args:
        wall_mm: mean wall now [mm].
        wanted_mm: mean wall wanted [mm].
        conductor_mm: conductor diameter [mm].
        speed_m_s: v1, line speed now [m/s].
        valleys_mm2: area of strand valleys that plastic fills [mm2].

    Stops being true where the output changes with head pressure or the melt slips. Source: derived.
    """
    positive(wanted_mm, "wanted_mm", "mm")
    now = insulation_area_mm2(wall_mm, conductor_mm, valleys_mm2)
    return speed_m_s * now / insulation_area_mm2(wanted_mm, conductor_mm, valleys_mm2)


def wall_change_for_speed_mm(wall_mm: float, conductor_mm: float, speed_share: float) -> float:
    """Change of mean wall when the line speed changes by a share, output unchanged [mm]; exact.

    A' = A/(1 + share), t' = sqrt(r^2 + A'/pi) - r; to first order -A/(2 pi R) share.

    Args:
        wall_mm: mean wall [mm].
        conductor_mm: conductor diameter [mm].
        speed_share: relative change of speed, 0.01 for one per cent faster.

    No page asks for it: `speed_for_wall` answers it the other way round; this carries the worked example.
    """
    r = 0.5 * conductor_mm
    area_over_pi = (r + wall_mm) ** 2 - r**2
    after: float = (r**2 + area_over_pi / (1.0 + speed_share)) ** 0.5 - r
    return after - wall_mm

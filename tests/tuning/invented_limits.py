"""Limits and prices invented for tests of tuning."""

from datetime import date

from pipeline.products.limits import Limit
from pipeline.products.source_standing import SourceStanding
from pipeline.tuning.giveaway import Price

PRICE = Price(density_g_cm3=1.05, per_kg=2.4, km_per_month=300.0, currency="USD", failed_reel=400.0)


def limit(requirement: str, value: float, sense: str = "at least", unit: str = "mm") -> Limit:
    return Limit(
        limit_id=f"invented {requirement}",
        requirement=requirement,
        sense=sense,
        value=value,
        unit=unit,
        value_of_record=value,
        unit_of_record=unit,
        requirement_set="invented",
        document="invented list",
        edition="1",
        table="1",
        revision="A",
        effective_from=date(2026, 1, 1),
        effective_to=None,
        entered_by="quality engineer",
        checked_by="quality manager",
        source="invented",
        standing=SourceStanding.PLANT,
    )


# 55 mil average of XHHW-2 1/0 AWG and 50 mil at any point; 15 and 13 mil of THHN/THWN-2 14 AWG.
XHHW = (limit("minimum average wall", 1.397), limit("minimum wall at any point", 1.27))
THHN = (limit("minimum average wall", 0.381), limit("minimum wall at any point", 0.3302))

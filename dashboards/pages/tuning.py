"""The tuning page of a line: what to turn, what it is worth, and what stands behind each figure."""

from __future__ import annotations

from dashboards.figures.dots import Dot, Scale, shared_scale
from dashboards.records import RuleNeed, TunedProduct, TuningReview
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile
from pipeline.results import Refused

Placed = tuple[Scale, list[tuple[RuleNeed, Dot | None]]]


def rules_on_a_scale(product: TunedProduct) -> Placed:
    """What each rule asks for, on one scale with today's wall marked."""
    today = product.today
    now = None if today is None or isinstance(today, Refused) else today.estimate
    scale = shared_scale([one.needed for one in product.rules], now)
    return scale, list(zip(product.rules, scale.dots, strict=True))


def write_tuning_page(record: TuningReview, site: Site) -> WrittenFile:
    """Writes the tuning page of one line.

    Args:
        record: what it shows.
        site: where.
    """
    return write_page(
        site,
        "tuning",
        record.line_id,
        "tuning.html.j2",
        record,
        products=[(one, *rules_on_a_scale(one)) for one in record.products],
    )

"""The overwall page: compound above what the requirements need, what holds the wall up, mass and money.

The record of the overwall page: what is above the requirements, what it is spent on, in mass and money.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from dashboards.fillers.rows import stamp_of
from dashboards.fillers.tuning import overwall_of, told_of, worth_of
from dashboards.records import OverwallReview, OverwallRow, Plant, WallShare
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile
from pipeline.results import Refused
from pipeline.tuned import Tuned
from pipeline.tuning.giveaway import giveaway
from pipeline.tuning.requirement_rules import AVERAGE
from pipeline.tuning.target import RuleTarget, Target
from pipeline.tuning.what_if import WhatIf

if TYPE_CHECKING:
    from dashboards.fillers.run_book import RunBook
    from pipeline.job.tuning_on_file import LineOnFile, ProductTuning


# What each part of the wall is needed for; the offset is a part of its own where the thinnest point binds.
PARTS = (
    ("mean", "reels at different levels"),
    ("slow_drift", "slow drift within reels"),
    ("periodic", "periods"),
    ("fast", "fast variation and noise"),
)

OF_MONEY = (Tuned.MONEY_SHARED, Tuned.MONEY_FOR, Tuned.NO_PRICE)


ABOVE = "above the target"
# The remedy that takes each part away.
MENDS: Mapping[str, str] = {
    Tuned.IF_ONE_LEVEL: "mean",
    Tuned.IF_NO_DRIFT: "slow_drift",
    Tuned.IF_NO_PERIOD: "periodic",
    Tuned.IF_NO_SWING: "periodic",
    Tuned.IF_NO_HUNTING: "periodic",
}


def overwall_review(plant: Plant, lines: Sequence[LineOnFile], books: list[RunBook]) -> OverwallReview:
    """Everything the overwall page shows.

    Args:
        plant: the plant.
        lines: what is on file of each line.
        books: the runs it stands on.
    """
    rows = tuple(_row(found.line, one) for found in lines for one in found.products)
    priced = any(row.overwall is not None and row.overwall.money is not None for row in rows)
    if priced:
        note = (
            "Prices and length a month are the plant's own; where a construction is made on several lines or in "
            "several sizes, its length is shared out by what is on file."
        )
    elif any(one.price.per_kg is not None for found in lines for one in found.products):
        note = "No product has a target, so no excess wall and no money are shown."
    else:
        note = "The plant sheet gives no prices, so there is mass and no money: enter them under [prices]."
    return OverwallReview(
        plant, "Excess wall, everything on file", rows, note if rows else "", stamp_of(books)
    )


def _row(line: str, one: ProductTuning) -> OverwallRow:
    tuning = one.tuning
    target = tuning.target
    what_ifs = tuple(what.told for what in tuning.what_ifs if not isinstance(what, Refused))
    if isinstance(target, Refused):
        # Without a target there is no excess to price.
        told = tuple(each for each in told_of(one) if each.code not in OF_MONEY)
        return OverwallRow(line, one.product, "", None, None, target, "", made_km=one.made_km, told=told)
    rule = next(each for each in target.rules if each.bound == "lower" and each.rule == target.binding)
    need = next(
        each
        for each in target.needs
        if each.rule.bound == "lower" and each.rule.requirement == target.binding
    )
    overwall, low, high = overwall_of(tuning)
    return OverwallRow(
        line_id=line,
        product=one.product,
        limit=rule.limit,
        # A concentricity limit is a share, held against a series whose own limit is nought.
        limit_mm=need.rule.limit_mm or None,
        today=target.today,
        target=target.result,
        binding=target.binding,
        shares=_shares(one, target, rule),
        overwall=overwall,
        overwall_low=low,
        overwall_high=high,
        made_km=one.made_km,
        sentences=what_ifs,
        told=told_of(one),
    )


def _shares(one: ProductTuning, target: Target, rule: RuleTarget) -> tuple[WallShare, ...]:
    """The wall above the limit that binds, from the limit upward: offset, the spread's parts, and what is above.

    Of the distance that the accepted risk asks for a part that can be mended takes what mending it is worth, as every
    page says it; the rest is shared out by the other parts' variances.
    """
    spread = one.tuning.shares
    if spread is None:
        return ()
    cost = rule.mean_to_series_mm
    limit = next(
        need.rule.limit_mm
        for need in target.needs
        if need.rule.bound == "lower" and need.rule.requirement == rule.rule
    )
    depth = target.result.estimate - limit - cost
    names = PARTS if rule.rule == AVERAGE else (("eccentricity", "a center that drifts"), *PARTS)
    mended = _mended(one)
    rest = max(depth - sum(mended.values()), 0.0)
    weights = {name: max(getattr(spread, name), 0.0) for name, _ in names if name not in mended}
    whole = sum(weights.values()) or 1.0
    parts = [
        (words, mended[name] if name in mended else rest * weights[name] / whole, "") for name, words in names
    ]
    if rule.rule != AVERAGE:
        parts.insert(0, ("offset of the center and lobes", cost, "The thin side must still meet the limit."))
    above = target.overwall.estimate
    if above > 0.0:
        parts.append((ABOVE, above, "No requirement needs it at the accepted risk."))
    shares = []
    # Every part is priced from the target down, as mending it is.
    aim = target.result.estimate
    for words, wall, sentence in parts:
        high, low = (aim + wall, aim) if words == ABOVE else (aim, aim - wall)
        worth = worth_of(giveaway(high, low, one.conductor_mm, one.price))
        if worth is not None:
            shares.append(WallShare(words, worth, sentence))
    return tuple(shares)


def _mended(one: ProductTuning) -> dict[str, float]:
    """What mending each part of the spread is worth [mm of mean wall]."""
    found: dict[str, float] = {}
    for what in one.tuning.what_ifs:
        part = MENDS.get(what.remedy.code) if isinstance(what, WhatIf) else None
        if isinstance(what, WhatIf) and part is not None:
            found[part] = found.get(part, 0.0) + max(what.saving_mm, 0.0)
    return found


def write_overwall_page(record: OverwallReview, site: Site) -> WrittenFile:
    """Writes the overwall page.

    Args:
        record: what it shows.
        site: where.
    """
    return write_page(site, "overwall", "", "overwall.html.j2", record)

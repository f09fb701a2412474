"""The record of a line's tuning page: what to turn, and what it is worth."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from dashboards.fillers.rows import stamp_of
from dashboards.records import (
    CentringRow,
    Plant,
    ReplyRow,
    RuleNeed,
    SpreadPart,
    StartRow,
    SwingRow,
    ToolRow,
    TunedProduct,
    TuningAct,
    TuningReview,
    Worth,
)
from pipeline.job.tuning_in_words import (
    SHARES,
    balance_told,
    before_after_told,
    bolts_told,
    delay_told,
    delays_told,
    hidden_told,
    loss_told,
    runs_told,
    settings_told,
    tooling_told,
)
from pipeline.messages import Message, message, um
from pipeline.results import Refused
from pipeline.tuned import Tuned
from pipeline.tuning.giveaway import Giveaway, giveaway
from pipeline.tuning.periods import LinePeriod, advice_on_period
from pipeline.tuning.target import Target
from pipeline.wording.templates import CHANNELS

if TYPE_CHECKING:
    from dashboards.fillers.run_book import RunBook
    from pipeline.job.tuning_on_file import LineOnFile, ProductTuning
    from pipeline.tuning.centring import Centring
    from pipeline.tuning.line_tuning import LineTuning
    from pipeline.tuning.response import SettingAnswer as Reply
    from pipeline.tuning.start_up import Start

OWNERS = {
    "mean": "set-up and material",
    "eccentricity": "centering",
    "slow_drift": "material and temperature",
    "periodic": "a turning element",
    "fast": "everything quick, the gauge's noise in it",
}


def tuning_review(plant: Plant, found: LineOnFile, books: list[RunBook]) -> TuningReview:
    """Everything the tuning page of one line shows.

    Args:
        plant: the plant.
        found: what is on file of the line.
        books: the runs it stands on.
    """
    good = found.good_starts
    return TuningReview(
        plant,
        found.line,
        tuple(_product(one) for one in found.products),
        tuple(_start(one) for one in found.starts),
        (good.reason,) if isinstance(good, Refused) else good.told,
        found.told,
        stamp_of(books),
    )


def worth_of(given: Giveaway | None) -> Worth | None:
    """A difference of wall as pages show it."""
    if given is None:
        return None
    return Worth(given.wall_mm, given.kg_km, given.money_per_month, given.currency)


def overwall_of(tuning: LineTuning) -> tuple[Worth | None, Worth | None, Worth | None]:
    """Today's overwall, and the ends of its interval."""
    low, high = tuning.overwall_interval or (None, None)
    return worth_of(tuning.overwall), worth_of(low), worth_of(high)


def told_of(one: ProductTuning) -> tuple[Message, ...]:
    """What to read beside a product's figures."""
    tuning = one.tuning
    if not isinstance(tuning.target, Target):
        return (*one.told, *tuning.warnings)
    apart = () if tuning.apart is None else (tuning.apart.told,)
    return (*one.told, *apart, *tuning.warnings, *tuning.target.warnings)


def _product(one: ProductTuning) -> TunedProduct:
    tuning = one.tuning
    target = tuning.target
    known = isinstance(target, Target)
    shares = tuning.shares
    return TunedProduct(
        product=one.product,
        runs=runs_told(one),
        today=target.today if isinstance(target, Target) else None,
        target=target.result if isinstance(target, Target) else target,
        advised_mm=target.advised_mm if isinstance(target, Target) else None,
        binding=target.binding if isinstance(target, Target) else "",
        **dict(zip(("overwall", "overwall_low", "overwall_high"), overwall_of(tuning), strict=True)),
        acts=_acts(one) if known else (),
        rules=_rules(target) if isinstance(target, Target) else (),
        parts=()
        if shares is None
        else tuple(SpreadPart(words, getattr(shares, name), OWNERS[name]) for name, words in SHARES),
        spread_mm=None if shares is None else shares.sd_mm,
        centring=tuple(_centring(run, found) for run, found in tuning.centring.items()),
        advice=() if tuning.centring_now is None else tuning.centring_now.told,
        bolts=tuple(bolts_told(tuning)),
        swings=tuple(_swing(found) for found in tuning.periods),
        unshown=tuple(hidden_told(tuning)),
        compared=tuple(before_after_told(one)),
        settings=tuple(settings_told(tuning)),
        replies=tuple(_reply(found) for found in tuning.answers),
        delays_told=tuple(delays_told(tuning)),
        tools=tuple(ToolRow(tooling_told(draw), draw.told) for draw in tuning.draws),
        balance=tuple(balance_told(tuning)),
        loss=tuple(loss_told(tuning)),
        told=told_of(one),
    )


def _acts(one: ProductTuning) -> tuple[TuningAct, ...]:
    """What could be done, dearest first; lowering the wall itself stands first where it is shown to be worth it."""
    tuning = one.tuning
    target = tuning.target
    if not isinstance(target, Target):
        return ()
    mended = [
        TuningAct(
            message(Tuned.MEND, remedy=what.remedy),
            worth_of(what.worth),
            what.saving_low_mm,
            what.saving_high_mm,
            what.told,
        )
        for what in tuning.what_ifs
        if not isinstance(what, Refused)
    ]
    mended.sort(key=lambda act: -(act.worth.wall_mm if act.worth else 0.0))
    return (_wall_itself(one, target), *mended)


def _wall_itself(one: ProductTuning, target: Target) -> TuningAct:
    """What to do about the wall as it is set."""
    now, aim = target.today.estimate, target.advised_mm
    failed = one.tuning.failed
    if failed is not None and target.overwall.high >= 0.0:
        told = message(Tuned.LEAVE_FAILED, bad=failed.bad, reels=failed.reels)
        return TuningAct("the wall left as it is", None, None, None, told)
    if target.overwall.low > 0.0 and now > aim:
        worth = giveaway(now, aim, one.conductor_mm, one.price)
        told = message(Tuned.LOWER_WALL, now=um(now), aim=um(aim))
        return TuningAct("the wall lowered to what is advised", worth_of(worth), now - aim, now - aim, told)
    if target.overwall.high < 0.0:
        worth = giveaway(now, aim, one.conductor_mm, one.price)
        told = message(Tuned.RAISE_WALL, now=um(now), aim=um(aim))
        return TuningAct("the wall raised to what is advised", worth_of(worth), now - aim, now - aim, told)
    return TuningAct("the wall left as it is", None, None, None, message(Tuned.LEAVE_WALL))


def _rules(target: Target) -> tuple[RuleNeed, ...]:
    return tuple(
        RuleNeed(
            rule.limit,
            rule.bound == "upper",
            f"{100.0 * rule.risk:g} % of {rule.unit_at_risk}s",
            rule.needed,
            rule.chance_now,
            rule.bound == "lower" and rule.rule == target.binding,
            rule.observed,
        )
        for rule in target.rules
    )


def _centring(run: str, found: Centring | Refused) -> CentringRow:
    if isinstance(found, Refused):
        return CentringRow(run, refused=found.reason)
    return CentringRow(
        run,
        found.size_um / 1000.0,
        found.size_low_um / 1000.0,
        found.size_high_um / 1000.0,
        found.thin_deg,
        found.angle_half_deg,
        found.drift_um / 1000.0,
        found.drift_p,
        found.steadiness,
    )


def _swing(found: LinePeriod) -> SwingRow:
    return SwingRow(
        found.channel,
        found.period_m,
        found.amplitude_um / 1000.0,
        found.share_of_variance,
        found.element,
        f"{len(found.runs_with)} of {found.runs_looked_at}",
        advice_on_period(found),
    )


def _reply(found: Reply | Refused) -> ReplyRow:
    if isinstance(found, Refused):
        return ReplyRow(CHANNELS[found.question.about], "not known", found, None, ())
    # The gain stands in a column of its own.
    told = tuple(one for one in found.told if one.code != Tuned.GAIN)
    return ReplyRow(CHANNELS[found.setting], found.kind, found.gain, delay_told(found), told)


def _start(start: Start) -> StartRow:
    def known(figure: float) -> float | None:
        return figure if math.isfinite(figure) else None

    return StartRow(
        start.run_id,
        start.labels.get("product", ""),
        start.from_m,
        known(start.scrap_m),
        known(start.steady_m),
        known(start.settled_m),
        known(start.good_m),
        start.held_by,
    )

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
    SETTING,
    SHARES,
    before_after_in_words,
    bolts_in_words,
    delay_in_words,
    delays_told,
    hidden_in_words,
    loss_in_words,
    runs_of,
    with_settings_named,
)
from pipeline.results import Refused
from pipeline.tuning.giveaway import Giveaway, giveaway
from pipeline.tuning.periods import LinePeriod, advice_on_period
from pipeline.tuning.target import Target
from pipeline.units import mil_from_mm
from pipeline.wording.say import plain

if TYPE_CHECKING:
    from dashboards.fillers.run_book import RunBook
    from pipeline.job.tuning_on_file import LineOnFile, ProductTuning
    from pipeline.tuning.bolt_advice import CentringAdvice
    from pipeline.tuning.centring import Centring
    from pipeline.tuning.line_tuning import LineTuning
    from pipeline.tuning.response import SettingAnswer as Reply
    from pipeline.tuning.start_up import Start

OWNERS = {
    "mean": "set-up and material",
    "eccentricity": "centring",
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
        (plain(good.reason),)
        if isinstance(good, Refused)
        else tuple(map(with_settings_named, good.sentences)),
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


def told_of(one: ProductTuning) -> tuple[str, ...]:
    """What to read beside a product's figures."""
    tuning = one.tuning
    apart = () if tuning.apart is None else (tuning.apart.sentence,)
    warnings = tuning.target.warnings if isinstance(tuning.target, Target) else ()
    return (*one.told, *apart, *tuning.warnings, *warnings)


def _product(one: ProductTuning) -> TunedProduct:
    tuning = one.tuning
    target = tuning.target
    known = isinstance(target, Target)
    shares = tuning.shares
    return TunedProduct(
        product=one.product,
        runs=f"{runs_of(one.runs)} and {one.made_km:.1f} km on file, {runs_of(one.read)} read in full",
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
        advice=_advice(tuning.centring_now),
        bolts=tuple(bolts_in_words(tuning)),
        swings=tuple(_swing(found) for found in tuning.periods),
        unshown=tuple(hidden_in_words(tuning)),
        compared=tuple(before_after_in_words(one)),
        settings=tuple(
            sentence if place else f"By {way.way}: {sentence}"
            for way in tuning.settings
            for place, sentence in enumerate(way.sentences[:-1])
        )
        + ((tuning.settings[0].sentences[-1],) if tuning.settings else ()),
        replies=tuple(_reply(found) for found in tuning.answers),
        delays_told=delays_told(tuning),
        tools=tuple(
            ToolRow(
                f"{draw.tooling.layer.capitalize()}: {draw.tooling.method} tooling, die {draw.tooling.die_mm:g} mm, "
                f"tip {draw.tooling.tip_mm:g} mm",
                draw.sentences,
            )
            for draw in tuning.draws
        ),
        balance=(
            *(
                f"{run}: {plain(found.reason)}"
                if isinstance(found, Refused)
                else f"{run}: {found.result.estimate:.3f} kg/h per rpm. {found.sentence}"
                for run, found in tuning.outputs.items()
            ),
            *tuning.balance,
        ),
        loss=tuple(loss_in_words(tuning)),
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
            f"if {what.remedy}",
            worth_of(what.worth),
            what.saving_low_mm,
            what.saving_high_mm,
            what.sentence,
        )
        for what in tuning.what_ifs
        if not isinstance(what, Refused)
    ]
    mended.sort(key=lambda act: -(act.worth.wall_mm if act.worth else 0.0))
    return (_wall_itself(one, target), *mended)


def _wall_itself(one: ProductTuning, target: Target) -> TuningAct:
    """What to do about the wall as it is set."""
    now, aim = target.today.estimate, target.advised_mm
    if target.overwall.low > 0.0 and now > aim:
        worth = giveaway(now, aim, one.conductor_mm, one.price)
        told = (
            f"Lower the mean wall from {_wall(now)} to {_wall(aim)}, the upper end of the target's interval."
        )
        return TuningAct("the wall lowered to what is advised", worth_of(worth), now - aim, now - aim, told)
    if target.overwall.high < 0.0:
        worth = giveaway(now, aim, one.conductor_mm, one.price)
        told = f"Raise the mean wall from {_wall(now)} to {_wall(aim)}: at today's wall too many reels would fail."
        return TuningAct("the wall raised to what is advised", worth_of(worth), now - aim, now - aim, told)
    told = "Leave the wall as it is: any excess wall is within the uncertainty."
    return TuningAct("the wall left as it is", None, None, None, told)


def _wall(mm: float) -> str:
    return f"{mm:.3f} mm ({mil_from_mm(mm):.2f} mil)"


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
        return CentringRow(run, refused=plain(found.reason))
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


def _advice(now: CentringAdvice | None) -> tuple[str, ...]:
    return () if now is None else now.sentences


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
        name = found.question.about
        return ReplyRow(SETTING.get(name, name), "not known", found, "", ())
    # The gain stands in a column of its own, in the reader's units.
    told = tuple(with_settings_named(one) for one in (found.sentences[0], *found.sentences[2:]))
    return ReplyRow(
        SETTING.get(found.setting, found.setting), found.kind, found.gain, delay_in_words(found), told
    )


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

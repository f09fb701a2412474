"""What is known of tuning a line, in the order in which it is told; each figure is shown where its words are made."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from typing import TYPE_CHECKING

from pipeline.found import together
from pipeline.messages import Measure, Message, Place, message, um
from pipeline.results import Refused
from pipeline.tuned import Tuned
from pipeline.tuning.periods import advice_on_period
from pipeline.wording.say import plain

if TYPE_CHECKING:
    from pipeline.job.tuning_on_file import LineOnFile, ProductTuning
    from pipeline.tuning.draw import Draw
    from pipeline.tuning.line_tuning import LineTuning
    from pipeline.tuning.mass_balance import SpecificOutput
    from pipeline.tuning.response import SettingAnswer
    from pipeline.tuning.start_up import Start
    from pipeline.tuning.target import RuleTarget, Target

SHARES = (
    ("mean", "level of the mean wall, from reel to reel"),
    ("eccentricity", "eccentricity: offset of the center and lobes"),
    ("slow_drift", "slow drift within reels"),
    ("periodic", "periodic"),
    ("fast", "fast, not periodic"),
)


def in_words(found: LineOnFile, say: Callable[[Message], str] = plain) -> Iterator[str]:
    """Everything, a line at a time.

    Args:
        found: what is on file.
        say: makes words of a message.
    """
    for one in found.products:
        name = f"{found.line}, {one.product}"
        yield name
        yield "=" * len(name)
        yield say(runs_told(one))
        yield from map(say, (*one.told, *one.tuning.warnings))
        for title, told in _sections(one):
            yield from _section(title, map(say, told))
        yield ""
    yield from _section("Starts of the line", map(say, _starts(found)))
    yield ""
    yield from (f"Caution: {say(one)}" for one in found.told)


def _section(title: str, lines: Iterable[str]) -> Iterator[str]:
    listed = list(lines)
    if listed:
        yield f"\n{title}"
        yield from (f"  {one}" for one in listed)


def _sections(one: ProductTuning) -> Iterator[tuple[str, Iterable[Message]]]:
    tuning = one.tuning
    yield "How far may the wall come down?", _target(tuning)
    yield "What the spread of the thinnest wall is made of", _shares(tuning)
    mended = [what.reason if isinstance(what, Refused) else what.told for what in tuning.what_ifs]
    yield "What mending one thing is worth", mended
    yield "Too thin against too thick", loss_told(tuning)
    yield "Ways to the advised wall", settings_told(tuning)
    yield "Centring", _centring(tuning)
    yield "What repeats", _periods(tuning)
    yield "Die and tip", _draws(tuning)
    yield "What answers to which setting", _answers(tuning)
    yield "Plastic on the wire against turns of the screw", balance_told(tuning)
    yield "Before and after", before_after_told(one)


def runs_told(one: ProductTuning) -> Message:
    """What is on file of a product and what was read of it."""
    made = Measure(1000.0 * one.made_km, "m")
    return message(Tuned.RUNS_ON_FILE, runs=one.runs, made=made, read=one.read)


def _target(tuning: LineTuning) -> Iterator[Message]:
    target = tuning.target
    apart = () if tuning.apart is None else (tuning.apart.told,)
    if isinstance(target, Refused):
        yield message(Tuned.NO_TARGET, why=target.reason)
        yield from apart
        return
    result = target.result
    yield message(
        Tuned.SMALLEST,
        target=um(result.estimate),
        confidence=100.0 * result.confidence,
        low=um(result.low),
        high=um(result.high),
        advised=um(target.advised_mm),
    )
    if tuning.failed is not None:
        yield message(Tuned.LEAVE_FAILED, bad=tuning.failed.bad, reels=tuning.failed.reels)
    yield message(Tuned.HELD_UP, binding=target.binding)
    yield from _overwall(tuning, target)
    yield message(Tuned.STANDS_ON, reels=target.reels, runs=target.runs)
    yield from (_rule(rule) for rule in target.rules)
    yield from apart
    covering = tuning.covering
    if covering is not None:
        told = covering.reason if isinstance(covering, Refused) else covering.told
        yield message(Tuned.COVERING, told=told)
    yield from target.warnings


def _rule(rule: RuleTarget) -> Message:
    told = message(
        Tuned.AT_MOST if rule.bound == "upper" else Tuned.AT_LEAST,
        limit=rule.limit,
        needed=um(rule.needed.estimate),
        low=um(rule.needed.low),
        high=um(rule.needed.high),
        risk=rule.risk,
        unit=rule.unit_at_risk,
        now=100.0 * rule.chance_now,
    )
    return told if rule.observed is None else together(told, rule.observed)


def _overwall(tuning: LineTuning, target: Target) -> Iterator[Message]:
    over = target.overwall
    today, span = um(target.today.estimate), {"low": um(over.low), "high": um(over.high)}
    yield message(Tuned.TODAY, today=today, over=um(over.estimate), **span)
    if tuning.overwall is None or tuning.overwall_interval is None:
        return
    now, low, high = tuning.overwall, *tuning.overwall_interval
    mass, least, most = (Measure(one.kg_km, "kg/km") for one in (now, low, high))
    money = [one.money_per_month for one in (now, low, high)]
    if None in money:
        yield message(Tuned.OVER_MASS, mass=mass, low=least, high=most)
        return
    told = dict(zip(("money", "least", "most"), money, strict=True))
    yield message(Tuned.OVER_MONEY, mass=mass, low=least, high=most, **told, currency=now.currency)


def _shares(tuning: LineTuning) -> Iterator[Message]:
    shares = tuning.shares
    if shares is None:
        yield message(Tuned.NO_REEL_READ)
        return
    yield message(Tuned.SPREAD, spread=um(shares.sd_mm), reels=shares.reels)
    for name, part in SHARES:
        yield message(Tuned.SPREAD_PART, share=100.0 * getattr(shares, name), part=part)
    if math.isfinite(shares.noise):
        yield message(Tuned.SPREAD_NOISE, share=100.0 * shares.noise)


def loss_told(tuning: LineTuning) -> Iterator[Message]:
    """What being wrong costs on either side."""
    loss = tuning.loss
    if loss is None:
        return
    if isinstance(loss, Refused):
        yield loss.reason
        return
    least = loss.least
    yield message(
        Tuned.CHEAPEST,
        step=Measure(1.0, "um"),
        cost=loss.cost_per_um,
        currency=loss.currency,
        failed=loss.failed_reel,
        target=um(least.target_mm),
        share=100.0 * least.chance,
    )
    yield message(
        Tuned.DEARER_SIDE,
        step=Measure(5.0, "um"),
        thinner=least.loss_if_thinner - least.loss_per_reel,
        currency=loss.currency,
        thicker=least.loss_if_thicker - least.loss_per_reel,
    )
    yield from loss.warnings


def settings_told(tuning: LineTuning) -> Iterator[Message]:
    """The ways to the advised wall, what follows with each, and the caution once."""
    for way in tuning.settings:
        first, *rest = way.told[:-1]
        yield message(Tuned.BY_SETTING, setting=way.change.quantity, told=first)
        yield from rest
    if tuning.settings:
        yield tuning.settings[0].told[-1]


def _centring(tuning: LineTuning) -> Iterator[Message]:
    for run, found in tuning.centring.items():
        if isinstance(found, Refused):
            yield message(Tuned.OF_RUN, run=run, told=found.reason)
            continue
        figures = {"size": found.size_um, "low": found.size_low_um, "high": found.size_high_um}
        yield message(
            Tuned.CENTRED_SO,
            run=run,
            thin=found.thin_deg,
            **{name: Measure(one, "um") for name, one in (figures | {"drift": found.drift_um}).items()},
            p=found.drift_p,
            steadiness=found.steadiness,
        )
    if tuning.centring_now is not None:
        yield message(Tuned.NOW)
        yield from tuning.centring_now.told
    yield from bolts_told(tuning)


def bolts_told(tuning: LineTuning) -> Iterator[Message]:
    """What a turn of each bolt does, or that it is not known."""
    bolts = tuning.bolts
    if isinstance(bolts, Refused):
        yield bolts.reason
        return
    for bolt in bolts.bolts:
        if bolt.known:
            moves, sd = Measure(bolt.um_per_turn, "um"), Measure(bolt.sd_um, "um")
            yield message(Tuned.BOLT_DOES, bolt=bolt.bolt, moves=moves, sd=sd, off=bolt.off_sheet_deg)
    yield message(Tuned.LEARNED_FROM, steps=bolts.steps)
    yield from bolts.warnings


def _periods(tuning: LineTuning) -> Iterator[Message]:
    if not tuning.periods:
        yield message(Tuned.NOTHING_REPEATS)
    yield from (advice_on_period(one) for one in tuning.periods)
    yield from hidden_told(tuning)


def hidden_told(tuning: LineTuning) -> Iterator[Message]:
    """What of a line's turning parts the readings cannot show."""
    if tuning.hidden:
        turns = [message(Tuned.TURN_OF, element=one.element, harmonic=one.harmonic) for one in tuning.hidden]
        yield message(Tuned.NOT_SHOWN, elements=turns)


def tooling_told(draw: Draw) -> Message:
    """Die and tip of one layer."""
    tool = draw.tooling
    bores = {"die": Measure(tool.die_mm, "mm"), "tip": Measure(tool.tip_mm, "mm")}
    return message(Tuned.TOOLING, layer=tool.layer, method=tool.method, **bores)


def _draws(tuning: LineTuning) -> Iterator[Message]:
    for one in tuning.draws:
        yield tooling_told(one)
        yield from one.told
    if not tuning.draws:
        yield message(Tuned.NO_TOOLING)


def _answers(tuning: LineTuning) -> Iterator[Message]:
    for one in tuning.answers:
        if isinstance(one, Refused):
            told = one.reason
            yield message(Tuned.ANSWER_OF, output="mean wall", setting=one.question.about, told=(told,))
            continue
        late = delay_told(one)
        after = () if late is None else (message(Tuned.HALF_AFTER, late=late),)
        yield message(Tuned.ANSWER_OF, output=one.output, setting=one.setting, told=(*one.told, *after))
    yield from delays_told(tuning)


def delays_told(tuning: LineTuning) -> Iterator[Message]:
    """What the delays stand on and their intervals leave out; nothing where none is told."""
    if any(delay_told(one) for one in tuning.answers if not isinstance(one, Refused)):
        yield message(Tuned.DELAYS_STAND_ON)


def delay_told(answer: SettingAnswer) -> Message | None:
    """When half of a response has come, with its interval and its beginning; None where it is not known."""
    if answer.kind != "response" or not math.isfinite(answer.delay_s):
        return None
    half, low, high = (Measure(one, "s") for one in (answer.delay_s, answer.delay_low_s, answer.delay_high_s))
    begins = {"begins": Measure(answer.begins_s, "s")} if math.isfinite(answer.begins_s) else {}
    return message(Tuned.DELAY, half=half, low=low, high=high, **begins)


def balance_told(tuning: LineTuning) -> Iterator[Message]:
    """Plastic on the wire against turns of the screw, run by run, and what is off."""

    def of_run(run: str, one: SpecificOutput | Refused) -> Message:
        if isinstance(one, Refused):
            return message(Tuned.OF_RUN, run=run, told=one.reason)
        return message(
            Tuned.OUTPUT, run=run, output=Measure(one.result.estimate, "kg/h per rpm"), told=one.told
        )

    yield from (of_run(run, one) for run, one in tuning.outputs.items())
    yield from tuning.balance


def before_after_told(one: ProductTuning) -> Iterator[Message]:
    """What a change did, each figure in turn; a reason that holds for all of them is told once."""
    told = one.tuning.before_after
    if told and one.change is not None:
        yield one.change
    yield from dict.fromkeys(found.reason for found in told if isinstance(found, Refused))
    answered = [found.told for found in told if not isinstance(found, Refused)]
    shared = [one for one in answered[0] if all(one in others for others in answered[1:])] if answered else []
    yield from (one for some in answered for one in some if one not in shared)
    yield from shared


def _starts(found: LineOnFile) -> Iterator[Message]:
    yield from (_start(one) for one in found.starts)
    good = found.good_starts
    yield from (good.reason,) if isinstance(good, Refused) else good.told


def _start(start: Start) -> Message:
    at = Place(start.from_m)
    if not math.isfinite(start.scrap_m):
        return message(Tuned.START_NOT_OVER, run=start.run_id, at=at)
    lengths = {
        "scrap": start.scrap_m,
        "steady": start.steady_m,
        "settled": start.settled_m,
        "good": start.good_m,
    }
    told = {name: Measure(one, "m") for name, one in lengths.items()}
    return message(Tuned.START, run=start.run_id, at=at, **told, held_by=start.held_by)

"""What is known of tuning a line, as lines a person reads in a terminal."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from pipeline.results import Refused
from pipeline.tuning.periods import advice_on_period
from pipeline.units import mil_from_mm
from pipeline.wording.say import plain, text_in
from pipeline.words import counted

if TYPE_CHECKING:
    from pipeline.job.tuning_on_file import LineOnFile, ProductTuning
    from pipeline.tuning.line_tuning import LineTuning
    from pipeline.tuning.response import SettingAnswer
    from pipeline.tuning.start_up import Start
    from pipeline.tuning.target import Target

SHARES = (
    ("mean", "level of the mean wall, from reel to reel"),
    ("eccentricity", "eccentricity: offset of the centre and lobes"),
    ("slow_drift", "slow drift within reels"),
    ("periodic", "periodic"),
    ("fast", "fast, not periodic"),
)
SETTING = {
    "line_speed_m_s": "line speed",
    "screw_speed_rpm": "screw speed",
    "covering_screw_speed_rpm": "screw speed of the covering",
    "melt_temperature_c": "melt temperature",
    "melt_pressure_bar": "melt pressure",
}
CIRCUMSTANCE = {"stood_s": "time stood before", "ramp_s": "time to steady speed"}


def with_settings_named(sentence: str) -> str:
    """A sentence with settings and circumstances by their names instead of their columns'."""
    for column, words in sorted((SETTING | CIRCUMSTANCE).items(), key=lambda pair: -len(pair[0])):
        sentence = sentence.replace(column, words)
    return sentence


def both(mm: float) -> str:
    """A wall in both units, as ``394.6 um (15.54 mil)``."""
    return f"{1000.0 * mm:.1f} um ({mil_from_mm(mm):.2f} mil)"


def runs_of(count: int) -> str:
    """How many runs, as ``1 run`` or ``12 runs``."""
    return "1 run" if count == 1 else f"{count} runs"


def in_words(found: LineOnFile) -> Iterator[str]:
    """Everything, a line at a time."""
    for one in found.products:
        yield from _product(found.line, one)
    yield from _section("Starts of the line", _starts(found))
    yield ""
    for caution in found.told:
        yield f"Caution: {caution}"


def _section(title: str, lines: Iterable[str]) -> Iterator[str]:
    listed = list(lines)
    if listed:
        yield f"\n{title}"
        yield from (f"  {one}" for one in listed)


def _product(line: str, one: ProductTuning) -> Iterator[str]:
    tuning = one.tuning
    name = f"{line}, {one.product}"
    yield name
    yield "=" * len(name)
    yield f"{runs_of(one.runs)}, {one.made_km:.1f} km in the period; {runs_of(one.read)} read in full."
    yield from one.told
    yield from tuning.warnings
    yield from _section("How far may the wall come down?", _target(tuning))
    yield from _section("What the spread of the thinnest wall is made of", _shares(tuning))
    yield from _section(
        "What mending one thing is worth",
        (plain(what.reason) if isinstance(what, Refused) else what.sentence for what in tuning.what_ifs),
    )
    yield from _section("Too thin against too thick", loss_in_words(tuning))
    yield from _section("Ways to the advised wall", _settings(tuning))
    yield from _section("Centring", _centring(tuning))
    yield from _section("What repeats", _periods(tuning))
    yield from _section("Die and tip", _draws(tuning))
    yield from _section("What answers to which setting", _answers(tuning))
    yield from _section("Plastic on the wire against turns of the screw", _balance(tuning))
    yield from _section("Before and after", before_after_in_words(one))
    yield ""


def _target(tuning: LineTuning) -> Iterator[str]:
    target = tuning.target
    if isinstance(target, Refused):
        yield f"No target: {plain(target.reason)}"
        if tuning.apart is not None:
            yield tuning.apart.sentence
        return
    result = target.result
    yield (
        f"Smallest mean wall: {both(result.estimate)}, {100.0 * result.confidence:.0f} % interval "
        f"{1000.0 * result.low:.1f} to {1000.0 * result.high:.1f} um; aim no lower than {both(target.advised_mm)}."
    )
    yield f"What holds it up: {target.binding}."
    yield from _overwall(tuning, target)
    yield f"It stands on {counted(target.reels, 'reel')} of {runs_of(target.runs)}. Rule by rule:"
    for rule in target.rules:
        at_most = "at most" if rule.bound == "upper" else "at least"
        yield (
            f"  {rule.limit}: mean wall {at_most} {1000.0 * rule.needed.estimate:.1f} um "
            f"({1000.0 * rule.needed.low:.1f} to {1000.0 * rule.needed.high:.1f}) for {100.0 * rule.risk:g} % of "
            f"{rule.unit_at_risk}s; now {100.0 * rule.chance_now:.2g} %. {rule.observed}".rstrip()
        )
    if tuning.apart is not None:
        yield tuning.apart.sentence
    covering = tuning.covering
    if covering is not None:
        yield f"Covering: {plain(covering.reason) if isinstance(covering, Refused) else covering.sentence}"
    yield from target.warnings


def _overwall(tuning: LineTuning, target: Target) -> Iterator[str]:
    over = target.overwall
    yield (
        f"Today's mean wall: {both(target.today.estimate)}. Overwall {both(over.estimate)}, "
        f"{1000.0 * over.low:.1f} to {1000.0 * over.high:.1f} um."
    )
    if tuning.overwall is not None and tuning.overwall_interval is not None:
        low, high = tuning.overwall_interval
        mass = f"{tuning.overwall.kg_km:.3f} kg/km ({low.kg_km:.3f} to {high.kg_km:.3f})"
        money = tuning.overwall.money_per_month
        if money is None or low.money_per_month is None or high.money_per_month is None:
            yield f"That is {mass}."
        else:
            yield (
                f"That is {mass}, {money:,.0f} {tuning.overwall.currency} a month "
                f"({low.money_per_month:,.0f} to {high.money_per_month:,.0f})."
            )


def _shares(tuning: LineTuning) -> Iterator[str]:
    shares = tuning.shares
    if shares is None:
        yield "No reel with enough steady wire was read."
        return
    yield f"Standard deviation {1000.0 * shares.sd_mm:.1f} um over {counted(shares.reels, 'reel')}, of its variance:"
    for name, words in SHARES:
        yield f"  {100.0 * getattr(shares, name):5.1f} %  {words}"
    if math.isfinite(shares.noise):
        yield f"  of which {100.0 * shares.noise:.1f} % is the gauge's own noise"


def loss_in_words(tuning: LineTuning) -> Iterator[str]:
    """What being wrong costs on either side."""
    loss = tuning.loss
    if loss is None:
        return
    if isinstance(loss, Refused):
        yield plain(loss.reason)
        return
    least = loss.least
    yield (
        f"One more micrometre on a reel costs {loss.cost_per_um:.3f} {loss.currency}, a failed reel "
        f"{loss.failed_reel:,.0f}: cheapest is {both(least.target_mm)}, with {100.0 * least.chance:.2g} % failed reels."
    )
    yield (
        f"5 um thinner would cost {least.loss_if_thinner - least.loss_per_reel:.2f} {loss.currency} a reel more, 5 um "
        f"thicker {least.loss_if_thicker - least.loss_per_reel:.2f}: being wrong is dearer on the thin side."
    )
    yield from loss.warnings


def _settings(tuning: LineTuning) -> Iterator[str]:
    for way in tuning.settings:
        yield from (f"By {way.way}: {one}" if not place else one for place, one in enumerate(way.sentences))


def _centring(tuning: LineTuning) -> Iterator[str]:
    for run, found in tuning.centring.items():
        if isinstance(found, Refused):
            yield f"{run}: {plain(found.reason)}"
        else:
            yield (
                f"{run}: thin at {found.thin_deg:.0f} degrees by {found.size_um:.0f} um ({found.size_low_um:.0f} to "
                f"{found.size_high_um:.0f}); drift {found.drift_um:.0f} um over the run (p {found.drift_p:.2g}), "
                f"steadiness {found.steadiness:.2f}."
            )
    if tuning.centring_now is not None:
        yield "Now, by the latest run:"
        yield from tuning.centring_now.sentences
    yield from bolts_in_words(tuning)


def bolts_in_words(tuning: LineTuning) -> Iterator[str]:
    """What a turn of each bolt does, or that it is not known."""
    bolts = tuning.bolts
    if isinstance(bolts, Refused):
        yield plain(bolts.reason)
        return
    for bolt in bolts.bolts:
        if bolt.known:
            yield (
                f"{bolt.bolt}: a turn in moves the thin side by {bolt.um_per_turn:.0f} um (+/- {bolt.sd_um:.0f}), "
                f"{bolt.off_sheet_deg:+.0f} degrees off the line sheet's geometry."
            )
    yield f"Learned from {counted(bolts.steps, 'logged adjustment')}."
    yield from bolts.warnings


def _periods(tuning: LineTuning) -> Iterator[str]:
    if not tuning.periods:
        yield "Nothing repeats beyond chance."
    yield from (advice_on_period(one) for one in tuning.periods)
    yield from hidden_in_words(tuning)


def hidden_in_words(tuning: LineTuning) -> Iterator[str]:
    """What of a line's turning parts the readings cannot show."""
    if tuning.hidden:
        listed = ", ".join(f"{one.element} ({one.harmonic} a turn)" for one in tuning.hidden)
        yield f"The readings stand too far apart to show: {listed}."


def _draws(tuning: LineTuning) -> Iterator[str]:
    for one in tuning.draws:
        tool = one.tooling
        yield f"{tool.layer.capitalize()}, {tool.method} tooling, die {tool.die_mm:g} mm on tip {tool.tip_mm:g} mm:"
        yield from (f"  {sentence}" for sentence in one.sentences)
    if not tuning.draws:
        yield "The line sheet names no die and tip for this product: enter them as [[line.tooling]]."


def _answers(tuning: LineTuning) -> Iterator[str]:
    for one in tuning.answers:
        if isinstance(one, Refused):
            yield f"{text_in(one.question, 'si')}: {plain(one.reason)}"
            continue
        late = delay_in_words(one)
        after = f" Half of it has come after {late}." if late else ""
        told = with_settings_named(" ".join(one.sentences))
        yield f"{one.output} on {SETTING.get(one.setting, one.setting)}: {told}{after}"
    if said := delays_told(tuning):
        yield said


def delays_told(tuning: LineTuning) -> str:
    """What the delays stand on and their intervals leave out; "" where none is told."""
    if any(delay_in_words(one) for one in tuning.answers if not isinstance(one, Refused)):
        return (
            "These delays take the gauge's distance from the die as the line sheet has it: where the gauge stands a "
            "metre off, each is off by the time the wire takes for a metre, and its interval does not allow for that."
        )
    return ""


def delay_in_words(answer: SettingAnswer) -> str:
    """When half of a response has come, with its interval and its beginning; "" where it is not known."""
    if answer.kind != "response" or not math.isfinite(answer.delay_s):
        return ""
    digits = 2 if answer.delay_high_s - answer.delay_low_s < 1.0 else 1
    half, low, high = (
        f"{one:.{digits}f}" for one in (answer.delay_s, answer.delay_low_s, answer.delay_high_s)
    )
    begins = f", begun after {answer.begins_s:.1f} s" if math.isfinite(answer.begins_s) else ""
    return f"{half} s ({low} to {high}){begins}"


def _balance(tuning: LineTuning) -> Iterator[str]:
    for run, one in tuning.outputs.items():
        if isinstance(one, Refused):
            yield f"{run}: {plain(one.reason)}"
        else:
            yield f"{run}: {one.result.estimate:.3f} kg/h per rpm. {one.sentence}"
    yield from tuning.balance


def before_after_in_words(one: ProductTuning) -> Iterator[str]:
    """What a change did, each figure in turn; a reason that holds for all of them is told once."""
    told = one.tuning.before_after
    if told and one.change:
        yield one.change
    yield from dict.fromkeys(plain(found.reason) for found in told if isinstance(found, Refused))
    answered = [found.sentences for found in told if not isinstance(found, Refused)]
    shared = [one for one in answered[0] if all(one in others for others in answered[1:])] if answered else []
    yield from (one for sentences in answered for one in sentences if one not in shared)
    yield from shared


def _starts(found: LineOnFile) -> Iterator[str]:
    yield from (start_in_words(one) for one in found.starts)
    good = found.good_starts
    if isinstance(good, Refused):
        yield plain(good.reason)
    else:
        yield from map(with_settings_named, good.sentences)


def start_in_words(start: Start) -> str:
    """One start in a sentence."""
    where = f"{start.run_id} at {start.from_m:.0f} m"
    if not math.isfinite(start.scrap_m):
        return f"{where}: the run ended before the start was over."
    return (
        f"{where}: {start.scrap_m:.0f} m of scrap (steady speed after {start.steady_m:.0f} m, wall settled after "
        f"{start.settled_m:.0f} m, within limits after {start.good_m:.0f} m); the last was {start.held_by}."
    )

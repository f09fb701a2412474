"""Records of the pages about tuning a line: what to turn, and what the wall above the requirements costs."""

from __future__ import annotations

from dataclasses import dataclass, field

from dashboards.records.every_page import Answer, Plant, Stamp
from pipeline.messages import Message, Said


@dataclass(frozen=True, slots=True)
class Worth:
    """A difference of mean wall as plastic and money; money is None where the plant gives no price.

    Args:
        wall_mm: difference of the mean wall [mm].
        kg_per_km: as mass per length [kg/km].
        money: a month, in the plant's currency.
        currency: of the money.
    """

    wall_mm: float
    kg_per_km: float
    money: float | None = None
    currency: str = ""


@dataclass(frozen=True, slots=True)
class TuningAct:
    """One thing that could be turned or mended.

    Args:
        what: what, in a few words.
        worth: what it is worth; None where that is not known.
        low_mm: lower end of the saved wall's interval [mm]; None where not known.
        high_mm: upper end [mm].
        sentence: the same in words, with what binds.
    """

    what: Said
    worth: Worth | None
    low_mm: float | None = None
    high_mm: float | None = None
    sentence: Said = ""


@dataclass(frozen=True, slots=True)
class RuleNeed:
    """What one requirement asks of the mean wall.

    Args:
        limit: the limit with its document.
        at_most: True for a rule that forbids a thicker wall.
        risk: accepted share that may fail, and of what, in words.
        needed: mean wall it asks for [mm].
        chance_now: share that fails at today's mean wall, 0 to 1.
        binds: whether it is the one that keeps the wall up.
        observed: the reels on file found bad by it; None where none are counted.
    """

    limit: Said
    at_most: bool
    risk: str
    needed: Answer
    chance_now: float
    binds: bool
    observed: Message | None = None


@dataclass(frozen=True, slots=True)
class SpreadPart:
    """A part of the spread of the thinnest wall: its name, its share of the variance, and what owns it."""

    name: str
    share: float
    owner: str = ""


@dataclass(frozen=True, slots=True)
class CentringRow:
    """How the conductor lay in one run: a sentence where it could not be told.

    Args:
        run_id: the run.
        size_mm: offset [mm].
        low_mm: lower end of its interval [mm].
        high_mm: upper end [mm].
        thin_deg: direction of the thin side from twelve o'clock, clockwise, looking against the travel [deg].
        half_deg: half-width of its interval [deg].
        drift_mm: change over the run [mm].
        drift_p: chance of such a drift where there is none.
        steadiness: 1 where the direction never changes, 0 where it goes all round.
        refused: why it could not be told.
    """

    run_id: str
    size_mm: float | None = None
    low_mm: float | None = None
    high_mm: float | None = None
    thin_deg: float | None = None
    half_deg: float | None = None
    drift_mm: float | None = None
    drift_p: float | None = None
    steadiness: float | None = None
    refused: Said = ""


@dataclass(frozen=True, slots=True)
class SwingRow:
    """Something that repeats.

    Args:
        channel: what swings.
        period_m: length at which it repeats [m].
        amplitude_mm: half the swing as read [mm].
        share: share of the channel's variance, 0 to 1.
        element: what turns with that length, or that nothing fits.
        runs: how many of the runs show it, in words.
        sentence: what to look at.
    """

    channel: str
    period_m: float
    amplitude_mm: float
    share: float
    element: str
    runs: str
    sentence: Said


@dataclass(frozen=True, slots=True)
class ReplyRow:
    """How the wall goes with one setting: the setting in words, what it is called, gain and delay, what to read."""

    setting: str
    kind: str
    gain: Answer
    delay: Message | None
    sentences: tuple[Said, ...]


@dataclass(frozen=True, slots=True)
class ToolRow:
    """Die and tip of one layer: the tooling in words, and each ratio against its usual range in a sentence."""

    name: Said
    sentences: tuple[Said, ...]


@dataclass(frozen=True, slots=True)
class StartRow:
    """One start of the line, lengths in metres of wire; None where the run ended before the start was over."""

    run_id: str
    product: str
    from_m: float
    scrap_m: float | None
    steady_m: float | None
    settled_m: float | None
    good_m: float | None
    held_by: str


@dataclass(frozen=True, slots=True)
class TunedProduct:
    """What is known of one product on the line.

    Args:
        product: the product.
        runs: runs and length on file, and what was read in full, in words.
        today: mean wall now [mm]; None without a target.
        target: smallest mean wall [mm].
        advised_mm: mean wall to aim at no lower than [mm]; None without a target.
        binding: requirement that keeps the wall up.
        overwall: today's wall less the target; None without a target.
        overwall_low: lower end of its interval.
        overwall_high: upper end.
        acts: what could be turned or mended, dearest first.
        rules: what each requirement asks for.
        parts: what the spread of the thinnest wall is made of.
        spread_mm: its standard deviation [mm].
        centring: how the conductor lay, by run.
        advice: what to do about the centring now, in sentences.
        bolts: what a turn of each bolt does, or that it is not known.
        swings: what repeats.
        unshown: what the readings stand too far apart to show, in sentences.
        compared: reels before and after the newest change on run sheets, in sentences; empty where there is none.
        settings: ways to the advised wall, held to the plant's ceilings.
        replies: how the wall goes with each setting.
        delays_told: what their delays stand on; empty where none has one.
        tools: how die and tip fit.
        balance: plastic on the wire against turns of the screw, in sentences.
        loss: too thin against too thick, in sentences.
        told: what to read beside all of it.
    """

    product: str
    runs: Said
    today: Answer | None
    target: Answer
    advised_mm: float | None
    binding: str
    overwall: Worth | None
    overwall_low: Worth | None
    overwall_high: Worth | None
    acts: tuple[TuningAct, ...] = ()
    rules: tuple[RuleNeed, ...] = ()
    parts: tuple[SpreadPart, ...] = ()
    spread_mm: float | None = None
    centring: tuple[CentringRow, ...] = ()
    advice: tuple[Said, ...] = ()
    bolts: tuple[Said, ...] = ()
    swings: tuple[SwingRow, ...] = ()
    unshown: tuple[Said, ...] = ()
    compared: tuple[Said, ...] = ()
    settings: tuple[Said, ...] = ()
    replies: tuple[ReplyRow, ...] = ()
    delays_told: tuple[Said, ...] = ()
    tools: tuple[ToolRow, ...] = ()
    balance: tuple[Said, ...] = ()
    loss: tuple[Said, ...] = ()
    told: tuple[Said, ...] = ()


@dataclass(frozen=True, slots=True)
class TuningReview:
    """Everything the tuning page of one line shows."""

    plant: Plant
    line_id: str
    products: tuple[TunedProduct, ...]
    starts: tuple[StartRow, ...] = ()
    starts_told: tuple[Said, ...] = ()
    cautions: tuple[Said, ...] = ()
    stamp: Stamp = field(default_factory=Stamp)


@dataclass(frozen=True, slots=True)
class WallShare:
    """A part of the wall above the limit that binds: what makes it necessary, and how much it is."""

    name: str
    worth: Worth
    sentence: str = ""


@dataclass(frozen=True, slots=True)
class OverwallRow:
    """One line and product.

    Args:
        line_id: line.
        product: product.
        limit: the limit that binds, in words; "" without a target.
        limit_mm: the same [mm]; None without a target.
        today: mean wall now [mm].
        target: smallest mean wall at which every requirement holds at the stated risk [mm].
        binding: requirement that binds.
        shares: what the wall above the limit that binds is spent on.
        overwall: today's wall less the target; None without a target.
        overwall_low: lower end of its interval.
        overwall_high: upper end.
        made_km: length on file [km].
        sentences: what mending one thing would allow, for example halving the offset.
        told: what to read beside the figures.
    """

    line_id: str
    product: str
    limit: Said
    limit_mm: float | None
    today: Answer | None
    target: Answer
    binding: str
    shares: tuple[WallShare, ...] = ()
    overwall: Worth | None = None
    overwall_low: Worth | None = None
    overwall_high: Worth | None = None
    made_km: float = 0.0
    sentences: tuple[Said, ...] = ()
    told: tuple[Said, ...] = ()


@dataclass(frozen=True, slots=True)
class OverwallReview:
    """Everything the overwall page shows."""

    plant: Plant
    title: str
    rows: tuple[OverwallRow, ...]
    price_note: str = ""
    stamp: Stamp = field(default_factory=Stamp)

"""Do die and tip fit the product: draw-down, draw balance and sizing, with what a tenth of a millimetre changes?

Tube tooling draws a tube of melt down onto the wire; pressure tooling fills the die. Usual ranges are common
practice and plant settings, not limits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import Measure, Message, message
from pipeline.samples import positive
from pipeline.sheets.line_sheet import Tooling
from pipeline.tuned import Tuned


@dataclass(frozen=True, slots=True)
class UsualRange:
    """A range that is usual, and on whose word.

    Args:
        name: the ratio.
        low: lower end.
        high: upper end.
        source: where it comes from.
    """

    name: str
    low: float
    high: float
    source: str


DRAW_BALANCE = UsualRange(
    "draw balance",
    1.05,
    1.15,
    "Society of Plastics Engineers, section technical column Draw Down Ratios (excerpt)",
)
DRAW_DOWN = UsualRange(
    "draw-down ratio", 3.0, 10.0, "common practice for nylon, no source; sources vary widely"
)
SIZING = UsualRange("sizing ratio", 0.98, 1.08, "common practice, no source")
TIP_CLEARANCE_MM = UsualRange("tip clearance", 0.02, 0.15, "common practice, no source")
USUAL = (DRAW_BALANCE, DRAW_DOWN, SIZING, TIP_CLEARANCE_MM)


@dataclass(frozen=True, slots=True)
class ToolingRatio:
    """One ratio of the tooling against its usual range.

    Args:
        name: the ratio.
        value: as it is; in mm for the tip clearance.
        usual: the usual range; None where there is none.
        inside: whether it lies inside; None without a range.
        for_larger_tip: change for a tip 0.1 mm larger.
        for_larger_die: change for a die 0.1 mm larger.
    """

    name: str
    value: float
    usual: UsualRange | None
    inside: bool | None
    for_larger_tip: float
    for_larger_die: float


@dataclass(frozen=True, slots=True)
class Draw:
    """How one layer's tooling stands to its product.

    Args:
        tooling: die and tip.
        outer_mm: diameter over the layer [mm].
        inner_mm: diameter under it [mm].
        ratios: the ratios that matter for this kind of tooling.
        told: what to read of it.
    """

    tooling: Tooling
    outer_mm: float
    inner_mm: float
    ratios: tuple[ToolingRatio, ...]
    told: tuple[Message, ...]


def draw_down_ratio(die_mm: float, tip_mm: float, outer_mm: float, inner_mm: float) -> float:
    """Area of melt leaving the die over area on the wire: (Dd^2 - Dt^2)/(Do^2 - Di^2).

    Args:
        die_mm: Dd, bore of the die [mm].
        tip_mm: Dt, outer diameter of the tip [mm].
        outer_mm: Do, diameter over the layer [mm].
        inner_mm: Di, diameter under it [mm].

    Source: annular areas; derived, and a general calculator page (5, 3, 2, 1 gives 5.33). Swelling and shrinkage are
    left out.
    """
    _check(die_mm, tip_mm, outer_mm, inner_mm)
    return (die_mm**2 - tip_mm**2) / (outer_mm**2 - inner_mm**2)


def draw_balance(die_mm: float, tip_mm: float, outer_mm: float, inner_mm: float) -> float:
    """Draw of the outer surface over draw of the inner one: (Dd/Do)/(Dt/Di).

    Args:
        die_mm: Dd [mm].
        tip_mm: Dt [mm].
        outer_mm: Do [mm].
        inner_mm: Di [mm].

    Source: Society of Plastics Engineers, section technical column "Draw Down Ratios" (excerpt).
    """
    _check(die_mm, tip_mm, outer_mm, inner_mm)
    return (die_mm / outer_mm) / (tip_mm / inner_mm)


def tooling_for(draw_down: float, balance: float, outer_mm: float, inner_mm: float) -> tuple[float, float]:
    """Die and tip that give a draw-down and a draw balance: (die, tip) [mm].

    k = DRB Do/Di; Dt = sqrt(DDR (Do^2 - Di^2)/(k^2 - 1)); Dd = k Dt.

    Args:
        draw_down: DDR.
        balance: DRB.
        outer_mm: Do [mm].
        inner_mm: Di [mm].

    Ill-conditioned for thin skins: k^2 - 1 is small there and a tenth of a millimetre of tip matters. Source: derived.
    """
    ratio = (
        positive(balance, "balance")
        * positive(outer_mm, "outer_mm", "mm")
        / positive(inner_mm, "inner_mm", "mm")
    )
    if ratio <= 1.0:
        raise MethodRefusal(
            Complaint(
                "balance",
                f"{balance:g} on {outer_mm:g} over {inner_mm:g} mm would need a tip as large as the die",
                "Ask for a larger draw balance",
            )
        )
    tip = math.sqrt(positive(draw_down, "draw_down") * (outer_mm**2 - inner_mm**2) / (ratio**2 - 1.0))
    return ratio * tip, tip


def draw_of(
    tooling: Tooling, outer_mm: float, inner_mm: float, usual: tuple[UsualRange, ...] = USUAL
) -> Draw:
    """How a layer's tooling stands to its product.

    Args:
        tooling: die and tip.
        outer_mm: diameter over the layer [mm].
        inner_mm: diameter under it: the conductor's for the insulation [mm].
        usual: usual ranges; a plant may give its own.
    """
    ranges = {one.name: one for one in usual}
    if tooling.method == "pressure":
        return _pressure(tooling, outer_mm, inner_mm, ranges)
    die, tip = tooling.die_mm, tooling.tip_mm
    down, balance = draw_down_ratio(die, tip, outer_mm, inner_mm), draw_balance(die, tip, outer_mm, inner_mm)
    section = outer_mm**2 - inner_mm**2
    ratios = (
        _ratio("draw-down ratio", down, ranges, -0.2 * tip / section, 0.2 * die / section),
        _ratio("draw balance", balance, ranges, -0.1 * balance / tip, 0.1 * balance / die),
    )
    wanted = (math.nan, math.nan)
    if "draw-down ratio" in ranges and "draw balance" in ranges:
        middle = [
            0.5 * (ranges[name].low + ranges[name].high) for name in ("draw-down ratio", "draw balance")
        ]
        wanted = tooling_for(middle[0], middle[1], outer_mm, inner_mm)
    told = [_told(one) for one in ratios]
    if abs(ratios[1].for_larger_tip) * 2.0 > _width(ranges.get("draw balance")):
        told.append(message(Tuned.THIN_SKIN, step=Measure(0.1, "mm"), moves=ratios[1].for_larger_tip))
    if math.isfinite(wanted[0]):
        told.append(message(Tuned.MIDDLE_TOOLS, die=Measure(wanted[0], "mm"), tip=Measure(wanted[1], "mm")))
    return Draw(tooling, outer_mm, inner_mm, ratios, tuple(told))


def _pressure(tooling: Tooling, outer_mm: float, inner_mm: float, ranges: dict[str, UsualRange]) -> Draw:
    """Pressure tooling: the die is near the finished diameter, the tip just clears the conductor."""
    ratios = (
        _ratio("sizing ratio", tooling.die_mm / outer_mm, ranges, 0.0, 0.1 / outer_mm),
        _ratio("tip clearance", tooling.tip_mm - inner_mm, ranges, 0.1, 0.0),
    )
    told = [_told(one) for one in ratios]
    if tooling.tip_mm <= inner_mm:
        bores = {"tip": Measure(tooling.tip_mm, "mm"), "conductor": Measure(inner_mm, "mm")}
        told.append(message(Tuned.TIP_DOES_NOT_CLEAR, **bores))
    return Draw(tooling, outer_mm, inner_mm, ratios, tuple(told))


def _ratio(name: str, value: float, ranges: dict[str, UsualRange], tip: float, die: float) -> ToolingRatio:
    usual = ranges.get(name)
    return ToolingRatio(
        name, value, usual, None if usual is None else usual.low <= value <= usual.high, tip, die
    )


def _told(one: ToolingRatio) -> Message:
    unit = "mm" if one.name == TIP_CLEARANCE_MM.name else ""
    value = Measure(one.value, unit)
    if one.usual is None:
        return message(Tuned.RATIO, name=one.name, value=value)
    return message(
        Tuned.RATIO_USUAL,
        name=one.name,
        value=value,
        where="inside" if one.inside else "below" if one.value < one.usual.low else "above",
        low=Measure(one.usual.low, unit),
        high=Measure(one.usual.high, unit),
        source=one.usual.source,
    )


def _width(usual: UsualRange | None) -> float:
    return math.inf if usual is None else usual.high - usual.low


def _check(die_mm: float, tip_mm: float, outer_mm: float, inner_mm: float) -> None:
    for value, name in (
        (die_mm, "die_mm"),
        (tip_mm, "tip_mm"),
        (outer_mm, "outer_mm"),
        (inner_mm, "inner_mm"),
    ):
        positive(value, name, "mm")
    if tip_mm >= die_mm or inner_mm >= outer_mm:
        raise MethodRefusal(
            Complaint(
                "draw",
                f"tip {tip_mm:g} and die {die_mm:g} mm, under {inner_mm:g} and over {outer_mm:g} mm",
                "The tip must be smaller than the die and the inner diameter smaller than the outer",
            )
        )

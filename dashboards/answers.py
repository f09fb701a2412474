"""How a statistical result is put into words and onto a small scale; every page says it in the same words."""

from __future__ import annotations

import math
from dataclasses import dataclass

from dashboards.quantities import Kind, System, decimals_for_width, grouped, kind_of
from pipeline.results import Refused, Result


@dataclass(frozen=True, slots=True)
class Shown:
    """A result as texts in one unit system.

    Args:
        estimate: the estimate.
        interval: the interval in words.
        unit: unit, "" for none.
    """

    estimate: str
    interval: str
    unit: str


@dataclass(frozen=True, slots=True)
class AnswerShown:
    """A result or refusal ready for a template.

    Args:
        refused: True where there is no estimate.
        us: texts in mil and foot.
        si: texts in mm and metre.
        confidence: for example ``95 %``.
        left_pct: left end of the interval on a small scale [% of its width]; None without a scale.
        right_pct: its right end.
        mark_pct: the estimate.
        target_pct: the target, None without one.
    """

    refused: bool
    us: Shown
    si: Shown
    confidence: str
    left_pct: float | None = None
    right_pct: float | None = None
    mark_pct: float | None = None
    target_pct: float | None = None


def _finite(*figures: float) -> list[float]:
    return [one for one in figures if math.isfinite(one)]


def _decimals(result: Result, kind: Kind, system: System) -> int:
    factor = kind.side(system).factor
    ends = _finite(result.low, result.high)
    if not ends:
        return kind.side(system).decimals
    width = max(abs(end - result.estimate) for end in ends) * factor
    return decimals_for_width(width, 6) if width > 0 else kind.side(system).decimals


def share_text(figure: float, decimals: int, system: System) -> str:
    """A figure between 0 and 1, which may be a probability: never shown as exactly 0 or 1.

    Args:
        figure: the figure.
        decimals: digits after the point.
        system: unit system, for the digits' grouping.
    """
    least = 10.0**-decimals
    if figure < least / 2:
        return f"under {grouped(least, decimals, system)}"
    if figure > 1.0 - least / 2:
        return f"over {grouped(1.0 - least, decimals, system)}"
    return grouped(figure, decimals, system)


def shown_in(result: Result, system: System) -> Shown:
    """The result's texts in one unit system, with two figures of its half width."""
    kind = kind_of(result.unit)
    side = kind.side(system)
    decimals = _decimals(result, kind, system)

    def text(figure: float) -> str:
        if result.unit == "" and 0.0 < figure < 1.0:
            return share_text(figure, decimals, system)
        return grouped(figure * side.factor + side.offset, decimals, system)

    if math.isnan(result.low) or math.isnan(result.high):
        interval = "no interval"
    elif math.isinf(result.low) and math.isinf(result.high):
        interval = "no bound"
    elif math.isinf(result.low):
        interval = f"at most {text(result.high)}"
    elif math.isinf(result.high):
        interval = f"at least {text(result.low)}"
    else:
        interval = f"{text(result.low)} to {text(result.high)}"
    estimate = "not known" if math.isnan(result.estimate) else text(result.estimate)
    return Shown(estimate, interval, side.unit)


def confidence_text(confidence: float) -> str:
    """A coverage as ``95 %``, with the digits it needs."""
    return f"{100 * confidence:.4g}\u00a0%"


def answer_shown(answer: Result | Refused, target: float | None = None) -> AnswerShown:
    """A result or refusal ready for a template.

    Args:
        answer: the result or refusal.
        target: figure the plant asks for, in the result's unit, to mark on the scale.
    """
    if isinstance(answer, Refused):
        blank = Shown("", "", "")
        return AnswerShown(True, blank, blank, "")
    us, si = shown_in(answer, "us"), shown_in(answer, "si")
    ends = _finite(answer.low, answer.estimate, answer.high, *([] if target is None else [target]))
    confidence = confidence_text(answer.confidence)
    if len(ends) < 2 or min(ends) == max(ends):
        return AnswerShown(False, us, si, confidence)
    spread = max(ends) - min(ends)
    start, end = min(ends) - 0.12 * spread, max(ends) + 0.12 * spread

    def place(figure: float) -> float:
        if math.isinf(figure):
            return 0.0 if figure < 0 else 100.0
        return round(100.0 * (figure - start) / (end - start), 2)

    return AnswerShown(
        False,
        us,
        si,
        confidence,
        place(answer.low),
        place(answer.high),
        place(answer.estimate),
        None if target is None else place(target),
    )

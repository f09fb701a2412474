"""How a statistical result is put into words and onto a small scale; every page says it in the same words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from dashboards.records import FindingRow
from pipeline.messages import Said, as_message
from pipeline.notes import INFORMS
from pipeline.quantity import Quantity
from pipeline.results import Refused, Result
from pipeline.warned import Clock, Station
from pipeline.wording.kinds import KINDS, Kind, System, decimals_for_width, grouped, kind_of

# Indices against a limit are told to two decimals, as is usual for them (common practice, no source).
INDICES = frozenset(
    {
        Quantity.PERFORMANCE_INDEX,
        Quantity.TWO_SIDED_PERFORMANCE_INDEX,
        Quantity.WITHIN_REEL_INDEX,
        Quantity.QUANTILE_INDEX,
        Quantity.REDRAWN_INDEX,
    }
)


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
    if result.question.quantity in INDICES:
        return 2
    factor = kind.side(system).factor
    usual = kind.side(system).decimals
    # A figure with a unit never shows more than a hundredth of what its kind shows: nobody reads on.
    most = usual + 2 if kind.side(system).unit else 6
    ends = _finite(result.low, result.high)
    if not ends:
        return 6 if result.unit == "" and 0.0 < result.estimate < 0.01 else usual
    if math.isinf(result.estimate):
        return decimals_for_width(max(abs(end) for end in ends) * factor, most)
    width = max(abs(end - result.estimate) for end in ends) * factor
    return decimals_for_width(width, most) if width > 0 else usual


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


def warnings_of_all(answers: Sequence[Result | Refused]) -> tuple[Said, ...]:
    """Warnings that every result of a list carries, when there are several: a page says them once."""
    told = [one.warnings for one in answers if isinstance(one, Result)]
    if len(told) < 2:
        return ()
    return tuple(one for one in told[0] if all(one in others for others in told[1:]))


def note_icon(told: Said) -> str:
    """The sign before a note: a caution, or plain information."""
    return "note" if as_message(told).code in INFORMS | {Station.AGREES, Clock.AGREE} else "caution"


def said_of_all(findings: Sequence[FindingRow], field: str) -> str:
    """What several open findings share in a text field, so that a table says it once; "" where they differ."""
    told = {getattr(one, field) for one in findings}
    waiting = all(one.disposition is None for one in findings)
    return str(told.pop()) if len(findings) > 1 and len(told) == 1 and waiting else ""


# A sentence under the heading of a group of answers, where the figures need one to be read.
GROUP_NOTES = {
    "Capability": "Ppk 1.00 = the limit is three standard deviations from the mean.",
    "Shape of the readings": "The same index by quantiles of the readings, without assuming a normal distribution.",
}


def answered_first(
    answers: Sequence[Result | Refused],
) -> tuple[list[Result | Refused], list[tuple[Said, list[Refused]]]]:
    """Answers to show in full, and questions that are not answered, put together by their reason.

    A lone question that is not answered is shown in full as well.
    """
    refused = [one for one in answers if isinstance(one, Refused)]
    if len(refused) < 2:
        return list(answers), []
    reasons: dict[Said, list[Refused]] = {}
    for one in refused:
        reasons.setdefault(one.reason, []).append(one)
    return [one for one in answers if isinstance(one, Result)], list(reasons.items())


def shown_in(result: Result, system: System) -> Shown:
    """The result's texts in one unit system, with two figures of its half width."""
    kind = kind_of(result.unit)
    side = kind.side(system)
    decimals = _decimals(result, kind, system)

    if result.estimate == 0.0 and result.low == 0.0 and kind is KINDS["per length"]:
        # No event on the length tested: a rate of 0 is not what that shows. "At most" is said of one side.
        bound = result.details.get("upper_one_sided_per_km", result.high)
        most = grouped(bound * side.factor, decimals, system)
        return Shown("none seen", f"at most {most}\u00a0{side.unit}", "")

    def text(figure: float) -> str:
        if result.unit == "" and figure == 0.0:
            return "0"
        if result.unit == "" and 0.0 < figure < 1.0:
            if not 0.0 <= result.low <= result.high <= 1.0:  # a ratio, no share
                return grouped(figure, max(decimals, min(2, 1 - math.floor(math.log10(figure)))), system)
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
        low, high = text(result.low), text(result.high)
        interval = (
            f"{low} to {high}" if low != high else f"to within {grouped(10.0**-decimals, decimals, system)}"
        )
    estimate = "not known" if math.isnan(result.estimate) else text(result.estimate)
    if math.isinf(result.estimate):
        # Nothing to divide by on one side: what can be said is the end that is known.
        return Shown(
            f"{interval} {side.unit}".strip(), "no upper end" if result.estimate > 0.0 else "no lower end", ""
        )
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

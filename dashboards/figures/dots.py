"""Estimates with their intervals on one scale, for a column of a table: trend of an index, rates side by side."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.results import Refused, Result


@dataclass(frozen=True, slots=True)
class Dot:
    """An estimate's place on a shared scale [% of its width]; open where it goes on to the right."""

    left: float
    right: float
    mark: float
    open_right: bool


@dataclass(frozen=True, slots=True)
class Scale:
    """A shared scale: its ends in the results' unit, the target's place [%] if it has one, and its dots."""

    low: float
    high: float
    target: float | None
    dots: tuple[Dot | None, ...]


def shared_scale(
    answers: Sequence[Result | Refused],
    target: float | None = None,
    from_zero: bool = False,
    to_estimates: bool = False,
) -> Scale:
    """Places of several results on one scale.

    Args:
        answers: the results, in order.
        target: figure to mark, in their unit.
        from_zero: whether the scale starts at zero.
        to_estimates: whether it ends at the highest estimate, however far one interval goes on: one wide interval
            would leave the others no width.
    """
    given = [one for one in answers if isinstance(one, Result) and math.isfinite(one.estimate)]
    ends = [x for one in given for x in (one.low, one.estimate, one.high) if math.isfinite(x)]
    ends += [] if target is None else [target]
    ends += [0.0] if from_zero else []
    low, high = (min(ends), max(ends)) if ends else (0.0, 1.0)
    if to_estimates:
        high = max((one.estimate for one in given if one.estimate > 0.0), default=high)
    room = 0.06 * (high - low) or 1.0
    start, end = (low if from_zero else low - room), high + room

    def place(figure: float) -> float:
        return round(100.0 * (min(max(figure, start), end) - start) / (end - start), 2)

    dots = tuple(
        Dot(place(one.low), place(one.high), place(one.estimate), one.high > end)
        if isinstance(one, Result) and math.isfinite(one.estimate)
        else None
        for one in answers
    )
    return Scale(start, end, None if target is None else place(target), dots)


@dataclass(frozen=True, slots=True)
class TrendLine:
    """A small trend on a drawing of `width` by `height` units: a whisker and a dot for each result, a target."""

    width: int
    height: int
    marks: tuple[tuple[float, float, float, float], ...]
    target_y: float | None


def trend_lines(
    trends: Sequence[Sequence[Result | Refused]], target: float | None = None
) -> tuple[Scale, tuple[TrendLine, ...]]:
    """The drawings of several trends on one scale, and that scale; each oldest first.

    Args:
        trends: results in order of time; refusals leave a gap.
        target: figure to mark.
    """
    scale = shared_scale([one for trend in trends for one in trend], target)
    drawn, start = [], 0
    for trend in trends:
        drawn.append(_drawn(scale.dots[start : start + len(trend)], scale.target))
        start += len(trend)
    return scale, tuple(drawn)


def _drawn(dots: Sequence[Dot | None], target: float | None) -> TrendLine:
    width, height = 190, 54
    step = (width - 16) / max(len(dots) - 1, 1)

    def y(percent: float) -> float:
        return round(height - 4 - percent / 100.0 * (height - 8), 2)

    marks = tuple(
        (round(8 + step * k, 2), y(dot.mark), y(dot.left), y(dot.right))
        for k, dot in enumerate(dots)
        if dot is not None
    )
    return TrendLine(width, height, marks, None if target is None else y(target))

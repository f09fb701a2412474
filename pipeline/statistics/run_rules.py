"""Which runs of points on a chart are rare, and what does watching for them cost in false alarms?

Rules are named by what they look for; each set of rules comes with its exact average run length from a Markov
chain. C. W. Champ & W. H. Woodall, Technometrics 29 (1987) 393. Many rules together signal far too often, so
none but the limits is on unless the plant asks for it (Trip & Does, Quality Engineering 22, 2010, 351).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from pipeline.arguments import checked
from pipeline.errors import Complaint, MethodRefusal, in_words
from pipeline.messages import Message, message
from pipeline.methods import ChartRule
from pipeline.results import Signal
from pipeline.samples import positive, readings


@dataclass(frozen=True, slots=True)
class RunRule:
    """`of` successive points of which `points` lie beyond `beyond` standard deviations on one side.

    Args:
        points: how many must lie there.
        of: among how many successive points.
        beyond: distance from the centre line [standard deviations], 0 for "same side".
    """

    points: int
    of: int
    beyond: float

    @property
    def told(self) -> Message:
        """The rule, to be said."""
        if self.of == 1:
            return message(ChartRule.POINT_BEYOND, width=self.beyond)
        if self.points == self.of:
            if self.beyond == 0:
                return message(ChartRule.RUN_ON_A_SIDE, of=self.of)
            return message(ChartRule.RUN_BEYOND, of=self.of, beyond=self.beyond)
        if self.beyond == 0:
            return message(ChartRule.MOST_ON_A_SIDE, points=self.points, of=self.of)
        return message(ChartRule.MOST_BEYOND, points=self.points, of=self.of, beyond=self.beyond)


BEYOND_LIMIT = RunRule(1, 1, 3.0)
TWO_OF_THREE = RunRule(2, 3, 2.0)
FOUR_OF_FIVE = RunRule(4, 5, 1.0)
EIGHT_IN_A_ROW = RunRule(8, 8, 0.0)
FOUR_RULES = (BEYOND_LIMIT, TWO_OF_THREE, FOUR_OF_FIVE, EIGHT_IN_A_ROW)
"""The rules of the public literature (Champ & Woodall 1987, rules 1 to 4)."""


@checked
def run_signals(
    values: ArrayLike, centre: float, sigma: float, rules: Sequence[RunRule] = (BEYOND_LIMIT,)
) -> tuple[Signal, ...]:
    """Every point at which a rule is fulfilled by that point and those before it.

    Args:
        values: plotted values; not-a-number breaks every run.
        centre: centre line.
        sigma: standard deviation of the plotted value.
        rules: rules to look for.

    A rule signals at each point that completes it anew, and the point itself must lie beyond the line.
    """
    z = (readings(values, "values") - centre) / positive(sigma, "sigma")
    found = []
    for rule in _checked(rules):
        for side, sign in (("above", 1.0), ("below", -1.0)):
            beyond = np.nan_to_num(sign * z, nan=-np.inf) > rule.beyond
            within = _of_the_last(beyond, rule.of)
            broken = _broken(z, rule.of)
            for item in np.flatnonzero(beyond & (within >= rule.points) & ~broken).tolist():
                line = centre + sign * rule.beyond * sigma
                since = max(item - rule.of + 1, 0)
                since += int(np.flatnonzero(beyond[since : item + 1])[0])
                value = float(np.asarray(values, dtype=np.float64)[item])
                found.append(
                    Signal(item, value, line, "above" if side == "above" else "below", rule.told, since)
                )
    return tuple(sorted(found, key=lambda one: (one.item, -one.limit if one.side == "above" else one.limit)))


def _broken(z: NDArray[np.float64], of: int) -> NDArray[np.bool_]:
    """Items whose run of `of` points holds one without a value."""
    return _of_the_last(np.isnan(z), of) > 0


def _of_the_last(marked: NDArray[np.bool_], of: int) -> NDArray[np.int64]:
    """At each item, how many of the last `of` items are marked."""
    total = np.concatenate([np.zeros(of, dtype=np.int64), np.cumsum(marked)])
    return np.asarray(total[of:] - total[:-of], dtype=np.int64)


@checked
def run_rules_arl(rules: Sequence[RunRule] = FOUR_RULES, shift: float = 0.0) -> float:
    """Average run length of a chart watched by these rules together, for independent normal points.

    Markov chain whose states are, for each rule and side, which of the last points still count towards it.

    Args:
        rules: the rules.
        shift: shift of the mean [standard deviations of the plotted value].

    Source: Champ & Woodall 1987 (all four rules: 91.75).
    """
    checked = _checked(rules)
    cuts = sorted({sign * rule.beyond for rule in checked for sign in (1.0, -1.0)})
    edges = np.array([-np.inf, *cuts, np.inf])
    chance = np.diff(stats.norm.cdf(edges - shift))
    middle = [_inside(edges[i], edges[i + 1]) for i in range(edges.size - 1)]
    start = tuple(0 for _ in range(2 * len(checked)))
    number, todo, moves = {start: 0}, [start], []
    while todo:
        state = todo.pop()
        for place, p in zip(middle, chance, strict=True):
            after = _after(state, place, checked)
            if after is None or p == 0.0:
                continue
            if after not in number:
                number[after] = len(number)
                todo.append(after)
            moves.append((number[state], number[after], p))
    matrix = np.eye(len(number))
    for before, behind, p in moves:
        matrix[before, behind] -= p
    return float(np.linalg.solve(matrix, np.ones(len(number)))[0])


def _inside(low: float, high: float) -> float:
    """A value inside a zone."""
    if np.isinf(low):
        return float(high) - 1.0
    return float(low) + 1.0 if np.isinf(high) else (float(low) + float(high)) / 2


def _after(state: tuple[int, ...], value: float, rules: Sequence[RunRule]) -> tuple[int, ...] | None:
    """Memory after one more point; None if a rule signals.

    Each memory is a row of bits, the newest lowest: 1 where a point lay beyond the line.
    """
    memory = []
    for i, rule in enumerate(rules):
        for side, sign in enumerate((1.0, -1.0)):
            bit = int(sign * value > rule.beyond)
            bits = (state[2 * i + side] << 1 | bit) & ((1 << rule.of) - 1)
            if bit and bits.bit_count() >= rule.points:
                return None
            memory.append(_useful(bits & ((1 << (rule.of - 1)) - 1), rule))
    return tuple(memory)


def _useful(bits: int, rule: RunRule) -> int:
    """Memory without points that are too old to complete the rule any more."""
    for age in range(rule.of - 2, -1, -1):
        recent = bits & ((1 << (age + 1)) - 1)
        if bits >> age & 1 and recent.bit_count() + rule.of - 1 - age < rule.points:
            bits &= ~(1 << age)
    return bits


def _checked(rules: Sequence[RunRule]) -> Sequence[RunRule]:
    if not rules:
        raise MethodRefusal(Complaint("rules", "no rule is given", "Give at least the limit itself"))
    for rule in rules:
        if not (1 <= rule.points <= rule.of <= 20 and rule.beyond >= 0):
            raise MethodRefusal(
                Complaint(
                    "rules",
                    f"'{in_words(rule.told)}' cannot be watched for",
                    "Give a number of points from 1 up to the row's length, a row of 20 at most, and a distance "
                    "from 0",
                )
            )
    return rules

"""What one instrument gives the judgement: values on the wire, their uncertainty, and where it was reading."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.length import intervals
from pipeline.nonconformance.failing_lengths import cell_widths
from pipeline.notes import Note
from pipeline.sheets.line_sheet import Instrument

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
Rows = NDArray[np.int64]


class LeftOut(NamedTuple):
    """Readings of some wire that do not count in statistics: why, how many, and how many of them fail a limit."""

    cause: Note
    readings: int
    nonconforming: int


class Worst(NamedTuple):
    """The worst reading of a stretch: its value at the worse bound, its place [m], its value at the better bound."""

    value: float
    at_m: float
    at_best: float


@dataclass(frozen=True)
class Seen:
    """One quantity along the wire as one instrument saw it, in the order of the log.

    Args:
        name: column of the data dictionary.
        unit: its unit.
        instrument: the instrument.
        row: number of each reading in the run.
        at_m: place of each reading on the wire [m].
        value: the reading [unit], as logged, flagged or not.
        fit: True where the reading may judge the wire.
        fit_for_statistics: True where it may enter statistics as well.
        steady: True where the wire was made at steady speed.
        uncertainty: standard uncertainty of one reading [unit].
        extent_m: wire one reading averages over [m].
        hole_m: distance between readings beyond which the wire between them was not seen [m].
        known: stretches of wire with trustworthy evidence [m], one row a stretch.
        low: least value that each reading leaves possible [unit], None where the quantity itself was read.
        high: greatest value that each reading leaves possible [unit], None where the quantity itself was read.
        spared: wire left out of statistics, merged [m], by what it is.
        like: another quantity of the instrument with the same fit readings, or None; what is worked out of these
            is then worked out and held once.
    """

    name: str
    unit: str
    instrument: Instrument
    row: Rows
    at_m: Floats
    value: Floats
    fit: Mask
    fit_for_statistics: Mask
    steady: Mask
    uncertainty: float
    extent_m: float
    hole_m: float
    known: Floats
    low: Floats | None = None
    high: Floats | None = None
    spared: tuple[tuple[Note, Floats], ...] = ()
    like: Seen | None = field(default=None, repr=False, compare=False)

    @cached_property
    def _in_order(self) -> tuple[Rows, Floats]:
        """Fit readings in the order of the wire, and their places: a stretch of wire is then a slice of them."""
        if self.like is not None and self.like.fit is self.fit:
            return self.like._in_order
        fit = np.flatnonzero(self.fit)
        places = self.at_m[fit]
        if places.size and bool((np.diff(places) < 0).any()):
            order = np.argsort(places, kind="stable")
            return fit[order], places[order]
        return fit, places

    @cached_property
    def _by_place(self) -> tuple[Rows, Floats]:
        """Every reading that has a place in the order of the wire, fit or not, and its place."""
        if self.like is not None and self.like.at_m is self.at_m:
            return self.like._by_place
        order = np.argsort(self.at_m, kind="stable")[: int((~np.isnan(self.at_m)).sum())]
        return order, self.at_m[order]

    def rows_within(self, from_m: float, to_m: float) -> Rows:
        """Numbers, in the arrays, of the fit readings on the wire from `from_m` up to `to_m` [m], in its order."""
        rows, places = self._in_order
        first, last = np.searchsorted(places, [from_m, to_m], side="left")
        return rows[first:last]

    def per_metre(self, rows: Rows) -> tuple[float, float]:
        """Mean and standard deviation [unit] over the wire that readings speak for, not over readings.

        A line that ramps or creeps logs many readings of little wire. Weights are the wire each speaks for,
        s^2 = sum w (x - mean)^2 / (sum w - sum w^2 / sum w) (derived; plain for equal weights).

        Args:
            rows: numbers of fit readings in the arrays, at least one.
        """
        value, weight = self.value[rows], self.widths()[rows]
        total = float(weight.sum())
        if total <= 0.0:
            weight, total = np.ones(value.size), float(value.size)
        mean = float(weight @ value) / total
        free = total - float(weight @ weight) / total
        spread = float(np.sqrt(weight @ (value - mean) ** 2 / free)) if free > 0.0 else float("nan")
        return mean, spread

    def gaps(self, from_m: float, to_m: float) -> tuple[tuple[float, float], ...]:
        """Wire between `from_m` and `to_m` [m] without trustworthy evidence."""
        return tuple((float(a), float(b)) for a, b in intervals.outside(self.known, from_m, to_m))

    def known_m(self, from_m: float, to_m: float) -> float:
        """Length between `from_m` and `to_m` [m] with trustworthy evidence."""
        return intervals.length_m(intervals.within(self.known, from_m, to_m))

    @property
    def bounded(self) -> bool:
        """Whether the readings only tell between which bounds the quantity lies."""
        return self.low is not None or self.high is not None

    def at_worst(self, sense: str) -> Floats:
        """The readings [unit] as a limit of that sense judges them: where only bounds are known, the worse one."""
        bound = self.low if sense == "at least" else self.high
        return self.value if bound is None else bound

    def at_best(self, sense: str) -> Floats:
        """The readings [unit] at the better of their bounds for a limit of that sense."""
        return self.at_worst("at most" if sense == "at least" else "at least")

    def worst(self, from_m: float, to_m: float, sense: str) -> Worst | None:
        """The fit reading nearest to or furthest beyond a limit of that sense, and its place; None without one."""
        here = self.rows_within(from_m, to_m)
        if here.size == 0:
            return None
        values = self.at_worst(sense)[here]
        place = here[int(np.argmin(values) if sense == "at least" else np.argmax(values))]
        return Worst(
            float(self.at_worst(sense)[place]), float(self.at_m[place]), float(self.at_best(sense)[place])
        )

    def series(self, from_m: float, to_m: float, sense: str) -> Floats:
        """Steady readings for statistics in the order of the log, NaN where a piece does not adjoin the next.

        Args:
            from_m: start of the wire [m].
            to_m: its end [m].
            sense: sense of the limit they are held against; bounded readings count at their worse bound.
        """
        here = self.rows_within(from_m, to_m)
        counts = here[self.steady[here] & self.fit_for_statistics[here]]
        if counts.size == 0:
            return np.zeros(0)
        first, last = int(counts.min()), int(counts.max())
        series = np.full(last - first + 1, np.nan)
        series[counts - first] = self.at_worst(sense)[counts]
        return series

    def left_out(self, from_m: float, to_m: float, limit: float, sense: str) -> tuple[LeftOut, ...]:
        """Readings between two places [m] that do not count in statistics, by cause, most of them first.

        Args:
            from_m: start of the wire [m].
            to_m: its end [m].
            limit: the limit they are held against [unit].
            sense: its sense.
        """
        order, places = self._by_place
        here_m = slice(*np.searchsorted(places, [from_m, to_m], side="left").tolist())
        inside = order[here_m]
        value, fit, steady = self.at_worst(sense)[inside], self.fit[inside], self.steady[inside]
        fails = fit & ((value < limit) if sense == "at least" else (value > limit))
        rest = ~(fit & steady & self.fit_for_statistics[inside])
        found = []
        for cause, rows in (
            (Note.LEFT_UNREAD, ~fit),
            *((name, intervals.inside(wire, places[here_m])) for name, wire in self.spared),
            (Note.LEFT_UNSTEADY, ~steady),
        ):
            here = rest & rows
            found.append(LeftOut(cause, int(here.sum()), int((here & fails).sum())))
            rest &= ~rows
        return tuple(sorted((one for one in found if one.readings), key=lambda one: -one.readings))

    @cached_property
    def _widths(self) -> Floats:
        if self.like is not None and self.like.fit is self.fit:
            return self.like._widths
        widths = np.zeros(self.at_m.size)
        rows, places = self._in_order
        widths[rows] = cell_widths(places, self.hole_m)
        return widths

    def widths(self) -> Floats:
        """Wire each reading speaks for [m], 0 where it is not fit."""
        return self._widths


def usual_step_m(at_m: Floats) -> float:
    """Usual distance between readings [m]; above 0 also where a coarse counter puts most of them on one place.

    Args:
        at_m: places in rising order, not all one [m].
    """
    apart = np.diff(at_m)
    usual = float(np.median(apart))
    if usual > 0.0:
        return usual
    # The mean, without gaps: steps of the counter are many and alike.
    steps = apart[apart > 0.0]
    if not steps.size:
        return 0.0
    return float(apart[apart <= 5.0 * np.median(steps)].mean())

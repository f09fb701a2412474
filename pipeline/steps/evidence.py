"""What one instrument gives the judgement: values on the wire, their uncertainty, and where it was reading."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.length import intervals
from pipeline.nonconformance.intervals import cell_widths
from pipeline.sheets.line_sheet import Instrument

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
Rows = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
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

    def within(self, from_m: float, to_m: float) -> Mask:
        """True for fit readings on the wire from `from_m` up to `to_m` [m]."""
        return self.fit & (self.at_m >= from_m) & (self.at_m < to_m)

    def gaps(self, from_m: float, to_m: float) -> tuple[tuple[float, float], ...]:
        """Wire between `from_m` and `to_m` [m] without trustworthy evidence."""
        return tuple((float(a), float(b)) for a, b in intervals.outside(self.known, from_m, to_m))

    def known_m(self, from_m: float, to_m: float) -> float:
        """Length between `from_m` and `to_m` [m] with trustworthy evidence."""
        return intervals.length_m(intervals.within(self.known, from_m, to_m))

    def worst(self, from_m: float, to_m: float, sense: str) -> tuple[float, float] | None:
        """The fit reading nearest to or furthest beyond a limit of that sense, and its place; None without one."""
        here = np.flatnonzero(self.within(from_m, to_m))
        if here.size == 0:
            return None
        values = self.value[here]
        place = here[int(np.argmin(values) if sense == "at least" else np.argmax(values))]
        return float(self.value[place]), float(self.at_m[place])

    def series(self, from_m: float, to_m: float) -> Floats:
        """Steady readings for statistics in the order of the log, NaN where a piece does not adjoin the next."""
        inside = (self.at_m >= from_m) & (self.at_m < to_m)
        good = inside & self.steady & self.fit_for_statistics
        first, last = np.argmax(good), good.size - np.argmax(good[::-1])
        return np.where(good, self.value, np.nan)[first:last]

    def widths(self) -> Floats:
        """Wire each reading speaks for [m], 0 where it is not fit."""
        widths = np.zeros(self.at_m.size)
        fit = np.flatnonzero(self.fit)
        order = fit[np.argsort(self.at_m[fit], kind="stable")]
        widths[order] = cell_widths(self.at_m[order], self.hole_m)
        return widths

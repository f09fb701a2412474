"""Charts of one line as they are made: each kept with the reels behind its points, or why it could not be made."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import ReelproofError
from pipeline.messages import Message, message
from pipeline.notes import Note
from pipeline.quantity import Asked, Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Chart, Refused, refused_by
from pipeline.sheets.plant_sheet import Charts
from pipeline.steps.charted import VALUE_OF, Charted, ChartFamily
from pipeline.steps.line_reels import LineReel, values_of

Array = NDArray[np.float64]
FEWEST_REELS = 8


@dataclass(frozen=True, slots=True)
class ChartOf:
    """A chart, what it is of, and the reel behind each of its points.

    Args:
        charted: what is charted.
        family: kind of chart; a phase I and a phase II of the same kind belong together.
        chart: the chart.
        reels: the reel behind each point.
    """

    charted: Charted
    family: ChartFamily
    chart: Chart
    reels: tuple[LineReel, ...]

    @property
    def quantity(self) -> str:
        """The charted value's name in the records."""
        return VALUE_OF[self.charted]


def chart_asked(charted: Charted, family: ChartFamily) -> Asked:
    """What a chart of a line answers."""
    return asks(Quantity.CONTROL_CHART, charted, charted=charted, family=family)


class ChartMaker:
    """Makes the charts of one line one after the other; what cannot be made is kept as a refusal.

    Args:
        reels: its reels in the order they were made.
        first: how many of the first ones set the limits.
        arl0: reels to a false alarm that each chart must reach.
        settings: the plant's alarm budget and the runs it watches for.
    """

    def __init__(self, reels: tuple[LineReel, ...], first: int, arl0: float, settings: Charts) -> None:
        self.reels, self.first, self.arl0, self.settings = reels, first, arl0, settings
        self.charts: list[ChartOf] = []
        self.refused: list[Refused] = []

    def keep(
        self,
        charted: Charted,
        family: ChartFamily,
        made: Callable[[], Chart | Refused],
        reels: Sequence[LineReel],
    ) -> Chart | None:
        """Make a chart and keep it, or keep why it could not be made."""
        question = chart_asked(charted, family)
        try:
            found = made()
        except ReelproofError as fault:
            found = refused_by(question, Message(family), fault, len(reels))
        if isinstance(found, Refused):
            self.refused.append(replace(found, question=question))
            return None
        self.charts.append(ChartOf(charted, family, replace(found, question=question), tuple(reels)))
        return found

    def baseline(self, charted: Charted, family: ChartFamily) -> Array | None:
        """The charted value over all reels, if enough of the first ones have it."""
        values = values_of(self.reels, VALUE_OF[charted])
        known = int(np.isfinite(values[: self.first]).sum())
        if known < FEWEST_REELS:
            reason = message(Reason.TOO_FEW_REELS_FOR_LIMITS, known=known, fewest_reels=FEWEST_REELS)
            self.refused.append(Refused(chart_asked(charted, family), Message(family), reason, known))
            return None
        return values

    def parts(
        self, values: NDArray[np.generic]
    ) -> list[tuple[Literal["I", "II"], NDArray[np.generic], tuple[LineReel, ...]]]:
        """The first reels as phase I and the later ones as phase II, where there are any with a value."""
        found: list[tuple[Literal["I", "II"], NDArray[np.generic], tuple[LineReel, ...]]] = [
            ("I", values[: self.first], self.reels[: self.first])
        ]
        later = np.asarray(values[self.first :], dtype=np.float64)
        if later.size and np.isfinite(later).any():
            found.append(("II", values[self.first :], self.reels[self.first :]))
        return found

    def told(self, chart: Chart | Refused, phase: Literal["I", "II"]) -> Chart | Refused:
        """The chart with its phase, and what its limits rest on."""
        if isinstance(chart, Refused):
            return chart
        rests = message(Note.LIMITS_REST_ON_REELS, first=self.first)
        same = message(Note.LIMITS_OF_THE_SAME_REELS)
        said = (*((same,) if phase == "I" else ()), *((rests,) if self.first < 100 else ()))
        return replace(chart, phase=phase, warnings=(*chart.warnings, *said))

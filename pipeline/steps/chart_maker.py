"""Charts of one line as they are made: each kept with the reels behind its points, or why it could not be made."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import ReelproofError
from pipeline.results import Chart, Refused
from pipeline.sheets.plant_sheet import Charts
from pipeline.steps.line_reels import LineReel, values_of
from pipeline.words import counted

Array = NDArray[np.float64]
FEWEST_REELS = 8


@dataclass(frozen=True, slots=True)
class ChartOf:
    """A chart, what it is of, and the reel behind each of its points.

    Args:
        title: what is charted, in plain words.
        quantity: its name in the records.
        family: kind of chart; a phase I and a phase II of the same title and family belong together.
        chart: the chart.
        reels: the reel behind each point.
    """

    title: str
    quantity: str
    family: str
    chart: Chart
    reels: tuple[LineReel, ...]


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
        title: str,
        quantity: str,
        family: str,
        made: Callable[[], Chart | Refused],
        reels: Sequence[LineReel],
    ) -> Chart | None:
        """Make a chart and keep it, or keep why it could not be made."""
        question = f"Is any reel out of the ordinary in its {title}?"
        try:
            found = made()
        except ReelproofError as fault:
            found = Refused(question, family, str(fault.complaints[0]), len(reels))
        if isinstance(found, Refused):
            self.refused.append(replace(found, question=question))
            return None
        self.charts.append(ChartOf(title, quantity, family, replace(found, question=question), tuple(reels)))
        return found

    def baseline(self, quantity: str, title: str, family: str) -> Array | None:
        """The quantity over all reels, if enough of the first ones have it."""
        values = values_of(self.reels, quantity)
        known = int(np.isfinite(values[: self.first]).sum())
        if known < FEWEST_REELS:
            reason = f"{counted(known, 'reel sets', 'reels set')} no limits; {FEWEST_REELS} are needed."
            self.refused.append(
                Refused(f"Is any reel out of the ordinary in its {title}?", family, reason, known)
            )
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
        rests = f"The limits rest on {counted(self.first, 'reel')}; their false alarms may differ from those computed."
        same = "The limits come from these same reels: the chart looks back and predicts nothing."
        said = (*((same,) if phase == "I" else ()), *((rests,) if self.first < 100 else ()))
        return replace(chart, phase=phase, warnings=(*chart.warnings, *said))

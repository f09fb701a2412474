"""Record of the page that lays a run over the product's earlier runs."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from dashboards.records.every_page import Plant, Stamp

if TYPE_CHECKING:
    from dashboards.records.run import LotRow
    from pipeline.tuning.run_profile import RunProfile


# Part of a figure by which it must differ to be called another (chosen here).
SAME = 0.005


@dataclass(frozen=True, slots=True)
class ComparedChannel:
    """One channel of a run beside that of the earlier runs.

    Args:
        channel: its name in the store.
        title: what readers call it.
        unit: the store's unit.
        mean: average over the run's steady wire, a stretch of wire weighing as the next.
        lowest: lowest such average of the earlier runs; None where none of them has it.
        highest: the highest; None likewise.
    """

    channel: str
    title: str
    unit: str
    mean: float
    lowest: float | None
    highest: float | None

    @property
    def is_outside(self) -> bool:
        """Whether the run lies beyond all of the earlier ones, by more than readers would call the same."""
        if self.lowest is None or self.highest is None:
            return False
        least = SAME * abs(self.mean)
        return self.mean < self.lowest - least or self.mean > self.highest + least


@dataclass(frozen=True, slots=True)
class RunCompared:
    """Everything the page shows.

    Args:
        plant: plant.
        run_id: run.
        line_id: line.
        product: product label.
        own: the run's averages along the wire.
        others: those of the earlier runs, the latest first.
        are_good: whether each of the earlier runs had no held reel; otherwise it is the run before, as it was.
        channels: what is compared.
        new_lots: lots of the run that none of the earlier runs used.
        stamp: assessments, limits and rules.
    """

    plant: Plant
    run_id: str
    line_id: str
    product: str
    own: RunProfile
    others: tuple[RunProfile, ...]
    are_good: bool
    channels: tuple[ComparedChannel, ...]
    new_lots: tuple[LotRow, ...]
    stamp: Stamp = field(default_factory=Stamp)

"""Record of the page of a line's settings: how each run was set, and the wall it made."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from dashboards.records.every_page import Plant, Stamp

if TYPE_CHECKING:
    from datetime import datetime

    from dashboards.records.run import LotRow


@dataclass(frozen=True, slots=True)
class RunSettings:
    """How one run was set and what wall it made.

    Args:
        run_id: run.
        started: instant of its first reading.
        product: product label.
        lots: lots of its insulation, covering and color.
        settings: median of each channel at steady speed, in the order of `SettingsHistory.channels`; None where it was
            not logged, not usable or the readings were thinned.
        mean_wall_mm: mean wall over its reels, by their length [mm]; None where no wall was read.
        thinnest_wall_mm: thinnest wall on its reels [mm]; None likewise.
        changed: for each channel whether it is a speed and differs from the earlier run of the product by half a
            percent or more; temperature and pressure follow what is set.
    """

    run_id: str
    started: datetime
    product: str
    lots: tuple[LotRow, ...]
    settings: tuple[float | None, ...]
    mean_wall_mm: float | None
    thinnest_wall_mm: float | None
    changed: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class SettingsHistory:
    """Everything the page of a line's settings shows.

    Args:
        plant: plant.
        line_id: line.
        channels: title and unit of each setting shown.
        runs: the runs, oldest first.
        earlier: earlier runs that are not shown.
        stamp: assessments, limits and rules.
    """

    plant: Plant
    line_id: str
    channels: tuple[tuple[str, str], ...]
    runs: tuple[RunSettings, ...]
    earlier: int = 0
    stamp: Stamp = field(default_factory=Stamp)

"""Record of the page of a run's swings: spectra along the wire and in time, as the run went on, and beside changes."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from dashboards.records.every_page import Plant, Stamp

if TYPE_CHECKING:
    from pipeline.messages import Said
    from pipeline.tuning.swing_spectra import RunSpectra, SwingSpectrum


@dataclass(frozen=True, slots=True)
class TurningRow:
    """An element that turns, or a harmonic of it, with the swings of its period.

    Args:
        element: the element.
        harmonic: swings a turn.
        period_m: along the wire, as the readings show it [m].
        period_s: in time at the usual speed [s].
        is_alias: whether the readings stand too far apart to show its true period.
        wall_um: amplitude of the mean wall there [um]; None where it was not read so finely.
        diameter_um: of the diameter [um].
    """

    element: str
    harmonic: int
    period_m: float
    period_s: float
    is_alias: bool
    wall_um: float | None
    diameter_um: float | None


@dataclass(frozen=True, slots=True)
class BesideChange:
    """The wall's swings on both sides of a change.

    Args:
        what: what was changed.
        at_m: where [m].
        before: spectrum before it.
        after: spectrum after it.
    """

    what: str
    at_m: float
    before: SwingSpectrum
    after: SwingSpectrum


@dataclass(frozen=True, slots=True)
class SpectraReview:
    """Everything the page of a run's swings shows.

    Args:
        plant: plant.
        run_id: run.
        line_id: line.
        product: product label.
        spectra: the spectra; None where there are none.
        turning: what turns, first harmonics first.
        changes: the changes with enough wire on both sides, at most three.
        changes_left: further changes in the run.
        refused: why there are no spectra.
        stamp: assessments, limits and rules.
    """

    plant: Plant
    run_id: str
    line_id: str
    product: str
    spectra: RunSpectra | None
    turning: tuple[TurningRow, ...] = ()
    changes: tuple[BesideChange, ...] = ()
    changes_left: int = 0
    refused: Said | None = None
    stamp: Stamp = field(default_factory=Stamp)

"""Do the instruments of the run agree? Wall, diameter, conductor and, where the plant knows it, the screw's output."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.length.placement import Placement
from pipeline.length.steady_state import STEADY
from pipeline.sheets.line_sheet import LineSheet, MassBalance
from pipeline.sheets.run_sheet import Covering
from pipeline.steps.evidence import Seen
from pipeline.trust.redundancy import Stretch, agreement_by_stretch, area_from_screw_mm2
from pipeline.trust.uncertainty import Uncertainty

Floats = NDArray[np.float64]


def conductor_of(readings: pl.DataFrame, line: LineSheet, nominal_mm: float) -> tuple[float, float]:
    """Diameter of the conductor and its standard uncertainty [mm].

    The middle of what the conductor gauge read; without one the nominal diameter, even within 1 % (chosen
    here).
    """
    gauge = line.instrument("conductor gauge")
    if gauge is not None and "conductor_mm" in readings.columns:
        middle = readings["conductor_mm"].median()
        if isinstance(middle, float):
            return middle, gauge.uncertainty_mm
    return nominal_mm, 0.01 * nominal_mm / float(np.sqrt(3.0))


def agreement_of_run(
    readings: pl.DataFrame,
    placement: Placement,
    seen: Mapping[str, Seen],
    known: Mapping[str, Uncertainty],
    conductor: tuple[float, float],
    covering: Covering | None,
    balance: MassBalance | None,
) -> tuple[Stretch, ...]:
    """The wall gauge held against the diameter over the conductor, on the same wire, stretch by stretch.

    Args:
        readings: readings as logged (columns.LOGGED).
        placement: the run on the wire.
        seen: each quantity along the wire.
        known: uncertainty of each quantity; what calibration leaves is used, which averaging does not take away.
        conductor: diameter of the conductor and its standard uncertainty [mm].
        covering: what is known of the covering, None for a single layer.
        balance: what a turn of the screw delivers; not used under a covering, which has a screw of its own.
    """
    wall, diameter = seen.get("mean_wall_mm"), seen.get("diameter_mm")
    if wall is None or diameter is None or wall.instrument.kind != "wall gauge":
        return ()
    # The diameter has the covering in it whether the wall gauge saw it or not.
    deducted = 0.0 if covering is None else covering.mean_mm
    area_at, area, area_sd = None, None, 1.0
    if balance is not None and covering is None and "screw_speed_rpm" in readings.columns:
        area_at, area = placement.at_m, _area(readings, placement, balance)
        middle = float(np.nanmedian(area)) if bool(np.isfinite(area).any()) else float("nan")
        area_sd = max(0.01 * balance.uncertainty_pct * middle, 1e-9) if np.isfinite(middle) else 1.0
    return agreement_by_stretch(
        wall.at_m,
        np.where(wall.fit_for_statistics, wall.value + deducted, np.nan),
        diameter.at_m,
        np.where(diameter.fit_for_statistics, diameter.value, np.nan),
        conductor[0],
        (known["mean_wall_mm"].lasting_mm, known["diameter_mm"].lasting_mm, conductor[1], area_sd),
        area_at,
        area,
    )


def _area(readings: pl.DataFrame, placement: Placement, balance: MassBalance) -> Floats:
    """Area of the insulation over the circle of the conductor by the screw's output [mm2]; NaN off steady wire."""
    rpm = readings["screw_speed_rpm"].cast(pl.Float64).to_numpy()
    speed = placement.readings["speed_m_s"].to_numpy()
    area = area_from_screw_mm2(rpm, speed, balance.output_mm3_per_turn) - balance.valleys_mm2
    steady = placement.phase_on_wire(placement.at_m) == STEADY
    return np.where(steady, area, np.nan)

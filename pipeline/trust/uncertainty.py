"""How sure is each measured quantity, from the gauge's noise and from what its calibration leaves?

Noise averages over sensors; a bias of calibration does not, nor does what is assumed of a covering. The two
are kept apart so that a decision can use both.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.run_sheet import Covering

Quantity = str


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """Standard uncertainty of a quantity at one reading.

    Args:
        quantity: the measured column.
        noise_mm: part that averages over readings [mm].
        lasting_mm: part that does not: calibration, resolution, the covering [mm].
        basis: what it stands on.
    """

    quantity: Quantity
    noise_mm: float
    lasting_mm: float
    basis: str

    @property
    def total_mm(self) -> float:
        """Both parts together [mm]."""
        return float(np.hypot(self.noise_mm, self.lasting_mm))

    def of_mean_mm(self, effective_n: float) -> float:
        """Standard uncertainty of a mean of readings worth `effective_n` independent ones [mm]."""
        return float(np.hypot(self.noise_mm / np.sqrt(max(effective_n, 1.0)), self.lasting_mm))


def measured_uncertainty(
    line: LineSheet, covering: Covering | None, wall_noise_mm: float | None = None, used: int | None = None
) -> dict[Quantity, Uncertainty]:
    """Standard uncertainty of each measured quantity of a line.

    With s the noise at line stops, u the sheet's uncertainty and b^2 = max(u^2 - s^2, resolution^2/12): mean
    wall s/sqrt(N), thinnest wall s sqrt(3/N), each with b, and with the covering's uncertainty where its mean
    is deducted; the largest lobes widen the thinnest wall by lobes/sqrt 3 where fewer than five sensors work. The
    covering's offset is not in it: it bounds the thinnest wall, which is judged at its worse bound. Without a stop all
    of u is taken to last, which is the safe side.

    Args:
        line: the line's sheet.
        covering: what is known of the covering, None for a single layer.
        wall_noise_mm: noise of one wall sensor found at stops [mm]; None where there was no stop.
        used: fewest wall sensors a section stands on; all where left out.

    Returns:
        By column: mean_wall_mm, thinnest_wall_mm, diameter_mm; those the line has gauges for.

    Source:
        Derived; JCGM 100 (GUM) for adding variances.
    """
    found: dict[Quantity, Uncertainty] = {}
    gauge, cold = line.instrument("wall gauge"), line.instrument("cold diameter gauge")
    cover = covering.uncertainty_mm if covering is not None else 0.0
    if gauge is not None and gauge.sensors is not None:
        n = used or gauge.sensors
        lobes = (gauge.largest_lobes_mm or 0.0) / np.sqrt(3.0) if n < 5 else 0.0
        noise, lasting, basis = _split(gauge.uncertainty_mm, wall_noise_mm, gauge.resolution_mm)
        layered = gauge.sees == "insulation and covering"
        wide = float(np.hypot(lasting, cover)) if layered else lasting
        thin = float(np.hypot(wide, lobes))
        found["mean_wall_mm"] = Uncertainty("mean_wall_mm", noise / float(np.sqrt(n)), wide, basis)
        found["thinnest_wall_mm"] = Uncertainty(
            "thinnest_wall_mm", noise * float(np.sqrt(3.0 / n)), thin, basis
        )
    if cold is not None:
        noise, lasting, basis = _split(cold.uncertainty_mm, None, cold.resolution_mm)
        found["diameter_mm"] = Uncertainty("diameter_mm", noise / float(np.sqrt(2.0)), lasting, basis)
        if "mean_wall_mm" not in found:
            wide = float(np.hypot(lasting / 2.0, cover))
            found["mean_wall_mm"] = Uncertainty("mean_wall_mm", noise / float(np.sqrt(8.0)), wide, basis)
    return found


def _split(sheet_mm: float, noise_mm: float | None, resolution_mm: float) -> tuple[float, float, str]:
    """Noise and lasting part of a sheet's uncertainty, and what that stands on."""
    step = resolution_mm / float(np.sqrt(12.0))
    if noise_mm is None:
        lasts = max(sheet_mm, step)
        return 0.0, lasts, "the line sheet's uncertainty, all of it taken to last: no stop told noise apart"
    lasting = max(float(np.sqrt(max(sheet_mm**2 - noise_mm**2, 0.0))), step)
    return noise_mm, lasting, "noise at line stops; the rest of the line sheet's uncertainty lasts"

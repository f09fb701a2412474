"""The laboratory sample of a simulated run with a covering, which no instrument of the line sees by itself."""

from __future__ import annotations

import numpy as np

from pipeline.simulator.randomness import stream
from pipeline.simulator.scenario import RunScenario
from pipeline.simulator.true_wire import MadeWire
from pipeline.units import MM_PER_MIL, foot_from_m

# Invented: how far from the outer end of the run's first reel it is cut [m], and the laboratory's uncertainty [mm].
_FROM_OUTER_M = 3.048
_SD_MM = 0.00254


class CoveringSample:
    """The thinnest covering of one section near the outer end of the run's first reel, as a laboratory found it.

    Args:
        scenario: the run.
        seed: seed of the run.
    """

    def __init__(self, scenario: RunScenario, seed: int) -> None:
        self._scenario = scenario
        self._reel = scenario.reels[0] if scenario.reels and scenario.wire.covering else None
        end_m = self._reel.to_m if self._reel else 0.0
        self._at_m = end_m - scenario.line.take_up_station_m - _FROM_OUTER_M
        self._error_mm = _SD_MM * float(stream(seed, scenario.run_id, "samples").standard_normal())
        self._found_mm: float | None = None

    def see(self, made: MadeWire) -> None:
        """Look for the section on a piece of wire."""
        if self._reel is not None and made.s_m.size and made.s_m[0] <= self._at_m <= made.s_m[-1]:
            self._found_mm = float(np.interp(self._at_m, made.s_m, made.thinnest_covering_mm))

    @property
    def text(self) -> str:
        """The table of samples as CSV, "" where there is none."""
        if self._reel is None or self._found_mm is None:
            return ""
        value = self._found_mm + self._error_mm
        imperial = self._scenario.style == "us local"
        place = f"{foot_from_m(_FROM_OUTER_M):.0f}" if imperial else f"{_FROM_OUTER_M:g}"
        figures = (
            f"{value / MM_PER_MIL:.2f},{_SD_MM / MM_PER_MIL:g}" if imperial else f"{value:.4f},{_SD_MM:g}"
        )
        head = "at_ft,quantity,value_mil,sd_mil" if imperial else "at_m,quantity,value_mm,sd_mm"
        return (
            f"reel,{head},measured_by,instrument\n"
            f"{self._reel.id},{place},covering_mm,{figures},laboratory technician,measuring microscope\n"
        )

"""Three unlike lines of the bench, quiet but for their noise and wander, with what turns on them and the unit of size.

A size of 1 is the standard deviation of a reel's mean on sound wire: what of the wander and of a drifting gauge is left
in a mean over one reel.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from tests.other_lines import noise
from tests.other_lines.lines import K, N, OtherLine, T
from tests.other_lines.products import THHN10, XHHW2_0, XHHW12, Made
from tests.release_matrix.plants import target_mm

REELS = 12


@dataclass(frozen=True)
class Place:
    """A line of the bench: what it makes, its reels' length, turns of what turns [m], and the screw's turn [s].

    The turn of roll-C is 1.3 electrodes, which leave a quarter of a mark's phase.
    """

    line: OtherLine
    made: Made
    reel_m: float
    turns_m: Mapping[str, float]
    screw_s: float

    @property
    def wall_unit_mm(self) -> float:
        """Standard deviation of a reel's mean wall on sound wire [mm]."""
        share, memory = self.line.wander
        gauge = self.line.ring.u_mm * math.sqrt(0.25) if self.line.ring.law is noise.drifting else 0.0
        return math.hypot(
            target_mm(self.made) * share * math.sqrt(_kept(self.reel_m / memory)), gauge / self._sensors
        )

    @property
    def centre_unit_mm(self) -> float:
        """Standard deviation of either part of a reel's mean offset on sound wire [mm]."""
        return target_mm(self.made) * self.line.offset[1] * math.sqrt(_kept(self.reel_m / 200.0))

    @property
    def _sensors(self) -> float:
        return math.sqrt(self.line.ring.sensors)

    @property
    def elements_text(self) -> str:
        """The elements as the line sheet lists them."""
        listed = [
            f'[[line.elements]]\nid = "{name}"\nkind = "{name.split("-")[0]}"\n'
            f"circumference_m = {turn}\ntolerance_pct = 0.5\n"
            for name, turn in self.turns_m.items()
        ]
        screw = f'[[line.elements]]\nid = "screw"\nkind = "screw"\nperiod_s = {self.screw_s}\ntolerance_pct = 2.0\n'
        return "\n".join([*listed, screw])


def _kept(reels: float) -> float:
    """Variance of a mean over so many memories of a first-order wander, as a share of the variance."""
    return 2.0 / reels**2 * (reels - 1.0 + math.exp(-reels))


def _quiet(line: OtherLine) -> OtherLine:
    return replace(line, surge=(0.0, line.surge[1]), ripple=(0.0, line.ripple[1]), slip_m=0.0)


def _place(line: OtherLine, made: Made, reel_m: float, screw_s: float, *turns_m: float) -> Place:
    turns = dict(zip(("capstan", "roll-A", "roll-B", "roll-C"), turns_m, strict=True))
    return Place(_quiet(line), made, reel_m, turns, screw_s)


PLACES: dict[str, Place] = {
    "K7": _place(replace(K, offset=(0.0, 0.008)), XHHW2_0, 180.0, 6.0, 3.1, 1.75, 2.42, 0.325),
    "N5": _place(replace(N, offset=(0.0, 0.01)), THHN10, 900.0, 0.8, 4.7, 1.9, 3.3, 0.65),
    "T1": _place(replace(T, offset=(0.0, 0.012)), XHHW12, 250.0, 3.1, 3.77, 1.9, 2.83, 0.79),
}

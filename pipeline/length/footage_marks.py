"""Which printed footage mark stands at this metre, and how sure is that?

The printer counts by its own wheel, so marks and our length drift apart. Between two surveyed marks both
ends are known, and the doubt is a Brownian bridge: greatest half way. Beyond the last survey it grows freely.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import Complaint, SheetError

Floats = NDArray[np.float64]

# Variance that the two counts drift apart by, per metre run [m2/m]: 2 cm on a metre (common practice, no
# source); a plant estimates its own from surveyed marks.
DRIFT_M2_PER_M = 4.0e-4
# Standard uncertainty of a mark read off a passing wire [m]: half a mark's own length (common practice, no source).
MARK_READ_M = 0.3


@dataclass(frozen=True, slots=True)
class FootageMap:
    """Surveyed marks, and what lies between.

    Args:
        line_m: our length at the surveyed marks, rising [m].
        mark_m: length printed there, rising [m].
        read_m: standard uncertainty of reading a mark off [m].
        drift_m2_per_m: variance the two counts drift apart by, per metre [m2/m].
    """

    line_m: tuple[float, ...]
    mark_m: tuple[float, ...]
    read_m: float = 0.0
    drift_m2_per_m: float = DRIFT_M2_PER_M

    def __post_init__(self) -> None:
        complaints = []
        if len(self.line_m) != len(self.mark_m) or len(self.line_m) < 2:
            complaints.append(
                Complaint(
                    "footage marks",
                    f"{len(self.line_m)} positions and {len(self.mark_m)} marks are given",
                    "Give two surveyed marks or more, each with its position",
                )
            )
        elif min(np.diff(self.line_m).min(), np.diff(self.mark_m).min()) <= 0:
            complaints.append(
                Complaint(
                    "footage marks",
                    "positions or marks do not rise",
                    "Give them in the order they were made; a reel that was rewound counts backwards, so turn "
                    "its marks round first",
                )
            )
        if complaints:
            raise SheetError(complaints)

    @property
    def scale(self) -> float:
        """Marked length per length of ours: least squares through the first mark."""
        x = np.array(self.line_m) - self.line_m[0]
        y = np.array(self.mark_m) - self.mark_m[0]
        return float((x @ y) / (x @ x))

    def mark_at(self, line_m: float) -> tuple[float, float]:
        """Printed length at our length `line_m` [m], and its standard uncertainty [m]."""
        return self._across(line_m, np.array(self.line_m), np.array(self.mark_m), self.scale)

    def line_at(self, mark_m: float) -> tuple[float, float]:
        """Our length at the printed length `mark_m` [m], and its standard uncertainty [m]."""
        return self._across(mark_m, np.array(self.mark_m), np.array(self.line_m), 1.0 / self.scale)

    def _across(self, at: float, known: Floats, wanted: Floats, scale: float) -> tuple[float, float]:
        if at < known[0] or at > known[-1]:
            end = 0 if at < known[0] else -1
            away = abs(at - float(known[end]))
            value = float(wanted[end]) + scale * (at - float(known[end]))
            return value, float(np.sqrt(self.drift_m2_per_m * away + self.read_m**2))
        piece = min(int(np.searchsorted(known, at, side="right")) - 1, known.size - 2)
        low, high = float(known[piece]), float(known[piece + 1])
        share = (at - low) / (high - low)
        value = float(wanted[piece] + share * (wanted[piece + 1] - wanted[piece]))
        bridge = self.drift_m2_per_m * (at - low) * (high - at) / (high - low)
        ends = self.read_m**2 * (share**2 + (1.0 - share) ** 2)
        return value, float(np.sqrt(bridge + ends))

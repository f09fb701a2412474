"""What must become of a reel by its truth: held, released, or either where gauges cannot tell."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from tests.other_lines.lines import OtherLine
from tests.other_lines.products import Made
from tests.other_lines.running import ReelTruth
from tests.release_matrix.plants import CONCENTRICITY, FLAW_MM, diameter_limits

Must = Literal["hold", "release", "either"]
# A reel is bad for certain where its truth is beyond a limit by this many standard uncertainties of one reading, as
# stated on the line sheet, and good for certain from so many within it: the guard of 1.645 (one-sided 95 %) and the
# lowest of some thousand readings (about 4, more with heavy tails). Between the two either answer is right.
BEYOND, WITHIN = 2.0, 7.0
CYCLES_ASKED, DWELL_ASKED_S = 9.0, 0.05


@dataclass(frozen=True)
class Margin:
    """How far the truth is within one limit (negative beyond it), in standard uncertainties."""

    requirement: str
    inside_u: float


def uncertainties(line: OtherLine, made: Made) -> tuple[float, float, float]:
    """Standard uncertainty of mean wall, thinnest wall and diameter, as the sheets state it [mm]."""
    covering = 0.002 if made.covering_mil is not None else 0.0
    ring = line.ring
    if ring is None:
        return line.cold.u_mm, line.cold.u_mm, line.cold.u_mm
    mean = float(np.hypot(ring.u_mm, covering if ring.both else 0.0))
    bound = 0.006 if ring.both and made.covering_mil is not None else 0.0
    return mean, float(np.hypot(mean, bound / np.sqrt(3.0))), line.cold.u_mm


def margins(line: OtherLine, made: Made, truth: ReelTruth) -> list[Margin]:
    """The reel's truth against every limit."""
    u_mean, u_thin, u_diameter = uncertainties(line, made)
    least, greatest = diameter_limits(made)
    bound = (0.006 + 0.004) if line.ring is not None and line.ring.both else 0.0
    bound += 2.0 * (line.ring.lobes_mm or 0.0) if line.ring is not None else 0.0
    point = (truth.point_mm - made.point_mm) / u_thin
    u_concentricity = 200.0 * u_thin / made.average_mm
    return [
        Margin("minimum average wall", (truth.average_mm - made.average_mm) / u_mean),
        # What is bounded only is judged at its worst end.
        Margin("minimum wall at any point", point - (bound / u_thin if point > 0 else 0.0)),
        Margin("concentricity", (truth.concentricity_pct - CONCENTRICITY) / u_concentricity),
        Margin(
            "overall diameter",
            min(truth.least_diameter_mm - least, greatest - truth.greatest_diameter_mm) / u_diameter,
        ),
    ]


def must(
    line: OtherLine, made: Made, truth: ReelTruth, fewest_cycles: float | None = None
) -> tuple[Must, str]:
    """What must become of a reel whose evidence is whole, and why."""
    found = margins(line, made, truth)
    bad = [one.requirement for one in found if one.inside_u < -BEYOND]
    if truth.pinholes:
        bad.append("spark fault")
    if truth.greatest_flaw_mm >= FLAW_MM:
        bad.append("surface flaw")
    asked = CYCLES_ASKED if line.spark.hz is not None else DWELL_ASKED_S
    if (truth.fewest_cycles if fewest_cycles is None else fewest_cycles) < 0.98 * asked:
        bad.append("spark test")
    if bad:
        return "hold", ", ".join(bad)
    if line.ring is None:
        return "hold", "minimum wall at any point never judged"
    if all(one.inside_u > WITHIN for one in found):
        return "release", ""
    return "either", ""

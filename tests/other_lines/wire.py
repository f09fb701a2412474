"""The wire itself along its length, as truth: what the conductor, the insulation and the covering really are.

The insulation around one section is the gap between two circles, exact, with lobes of order two and three on top; the
covering is a wall of its own with a centre of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tests.other_lines.lines import OtherLine
from tests.other_lines.noise import slow
from tests.other_lines.products import Made

Floats = NDArray[np.float64]
AROUND = 36
ANGLES = np.linspace(0.0, 2.0 * np.pi, AROUND, endpoint=False)

DefectKind = Literal[
    "thin", "sinking", "off centre", "oval", "thick", "thin covering", "small conductor", "pinhole", "flaw",
    "neck", "nick", "bubble",
]  # fmt: skip


@dataclass(frozen=True)
class Defect:
    """Something wrong with the wire from `at_m` on for `length_m`; `size` is mm of depth (or of a flaw)."""

    kind: DefectKind
    at_m: float
    length_m: float = 0.0
    size: float = 0.0
    angle: float = 0.0


@dataclass(frozen=True)
class Wire:
    """Wire on an even grid of places [m]; walls and offsets in mm."""

    at_m: Floats
    conductor_mm: Floats
    mean_mm: Floats
    offset: NDArray[np.complex128]
    lobes: NDArray[np.complex128]
    covering_mm: Floats
    covering_offset: NDArray[np.complex128]
    pinholes_m: tuple[float, ...] = ()
    flaws: tuple[tuple[float, float], ...] = ()

    def insulation(self, angle: float) -> Floats:
        """Wall of the insulation at an angle [mm]."""
        outer = self.conductor_mm / 2.0 + self.mean_mm
        turned = self.offset * np.exp(-1j * angle)
        gap = np.sqrt(outer**2 - turned.imag**2) + turned.real - self.conductor_mm / 2.0
        two = (self.lobes[0] * np.exp(-2j * angle)).real
        three = (self.lobes[1] * np.exp(-3j * angle)).real
        return np.asarray(gap + two + three, dtype=np.float64)

    def covering(self, angle: float) -> Floats:
        """Wall of the covering at an angle [mm]."""
        return np.asarray(
            self.covering_mm + (self.covering_offset * np.exp(-1j * angle)).real, dtype=np.float64
        )

    def total(self, angle: float) -> Floats:
        """Insulation and covering at an angle [mm]."""
        return self.insulation(angle) + self.covering(angle)

    def diameter(self, angle: float) -> Floats:
        """Overall diameter on the axis at an angle [mm]."""
        return self.conductor_mm + self.total(angle) + self.total(angle + np.pi)


def made_wire(
    line: OtherLine, made: Made, length_m: float, seconds_at: Floats, grid_m: float, rng: np.random.Generator
) -> Wire:
    """Sound wire of a line: walls a little over what is asked, swings and wanders as the line has them.

    Args:
        line: the line.
        made: what it makes.
        length_m: wire made [m].
        seconds_at: time at which each place of the grid was at the die [s].
        grid_m: step of the grid [m].
        rng: the source of chance.
    """
    at_m = np.arange(seconds_at.size) * grid_m
    n = at_m.size
    share, period = line.surge
    wander, memory = line.wander
    # The target leaves room for the wander, the offset and the gauge, as a plant's target must.
    margin = 0.10 if made.covering_mil is None else 0.20
    target = max(made.average_mm * (1.0 + margin), made.average_mm + 0.05)
    mean = target * (
        1.0
        + wander * slow(rng, n, memory / grid_m)
        + share * np.sin(2.0 * np.pi * seconds_at / period + rng.uniform(0.0, 6.0))
    )
    # Start-up: the wall settles from too thick, over some fifteen metres.
    mean = mean * (1.0 + 0.25 * np.exp(-at_m / 15.0))
    ripple, turn = line.ripple
    conductor = made.conductor_mm * (
        1.0 + ripple * np.sin(2.0 * np.pi * at_m / turn) + 0.0004 * slow(rng, n, 60.0 / grid_m)
    )
    steady, swing = line.offset
    centre = steady * np.exp(1j * rng.uniform(0.0, 2.0 * np.pi))
    offset = target * (centre + swing * (slow(rng, n, 200.0 / grid_m) + 1j * slow(rng, n, 200.0 / grid_m)))
    lobes = np.array(
        [
            0.0015 * np.exp(1j * rng.uniform(0.0, 6.0)) * (1.0 + 0.2 * slow(rng, n, 100.0 / grid_m)),
            0.0008 * np.exp(1j * rng.uniform(0.0, 6.0)) * (1.0 + 0.2 * slow(rng, n, 100.0 / grid_m)),
        ]
    )
    covering = np.zeros(n)
    covering_offset = np.zeros(n, dtype=np.complex128)
    if made.covering_mm is not None:
        covering = made.covering_mm * (1.25 + 0.01 * slow(rng, n, 150.0 / grid_m))
        covering_offset = np.full(n, 0.004 * np.exp(1j * rng.uniform(0.0, 6.0)))
    return Wire(at_m, conductor, mean, offset, lobes, covering, covering_offset)


def with_defects(wire: Wire, defects: Sequence[Defect]) -> Wire:
    """The wire with things wrong with it; the edges of a defect are as sharp as the grid."""
    for one in defects:
        here = (wire.at_m >= one.at_m) & (wire.at_m < one.at_m + one.length_m)
        turned = np.exp(1j * one.angle)
        if one.kind == "thin":
            wire = replace(wire, mean_mm=wire.mean_mm - one.size * here)
        elif one.kind == "sinking":
            along = np.clip((wire.at_m - one.at_m) / max(one.length_m, 1e-9), 0.0, 1.0)
            # From the end of the stretch on the wall comes back over fifteen metres.
            back = np.clip(1.0 - (wire.at_m - one.at_m - one.length_m) / 15.0, 0.0, 1.0)
            wire = replace(wire, mean_mm=wire.mean_mm - one.size * np.minimum(along, back))
        elif one.kind == "thick":
            wire = replace(wire, mean_mm=wire.mean_mm + one.size * here)
        elif one.kind == "off centre":
            wire = replace(wire, offset=wire.offset + one.size * turned * here)
        elif one.kind == "oval":
            lobes = wire.lobes.copy()
            lobes[0] += one.size * turned * here
            wire = replace(wire, lobes=lobes)
        elif one.kind == "thin covering":
            wire = replace(wire, covering_mm=np.maximum(wire.covering_mm - one.size * here, 0.01))
        elif one.kind == "small conductor":
            wire = replace(wire, conductor_mm=wire.conductor_mm - one.size * here)
        elif one.kind in ("neck", "nick", "bubble"):
            wire = _shorter_than_a_step(wire, one)
        elif one.kind == "pinhole":
            wire = replace(wire, pinholes_m=(*wire.pinholes_m, one.at_m))
        else:
            wire = replace(wire, flaws=(*wire.flaws, (one.at_m, one.size)))
    return wire


def _shorter_than_a_step(wire: Wire, one: Defect) -> Wire:
    """The wire with a defect that may be shorter than a step of the grid: of each it changes what it takes up."""
    depth = one.size * _taken_up(wire.at_m, one)
    if one.kind == "neck":
        return replace(wire, mean_mm=wire.mean_mm - depth)
    if one.kind == "nick":
        # The die fills a nick of the conductor with insulation: the outside stays as it was.
        return replace(wire, conductor_mm=wire.conductor_mm - 2.0 * depth, mean_mm=wire.mean_mm + depth)
    # A bubble within the wall that does not break down moves no surface.
    return wire


def _taken_up(at_m: Floats, one: Defect) -> Floats:
    """What share of each step of the grid a defect takes up."""
    step = float(at_m[1] - at_m[0])
    low, high = (
        np.maximum(at_m - step / 2.0, one.at_m),
        np.minimum(at_m + step / 2.0, one.at_m + one.length_m),
    )
    return np.asarray(np.clip(high - low, 0.0, None) / step, dtype=np.float64)


def smoothed(values: Floats, places: int) -> Floats:
    """Running mean over `places` places, shorter at the ends."""
    if places <= 1:
        return values
    summed = np.concatenate(([0.0], np.cumsum(values)))
    first = np.clip(np.arange(values.size) - places // 2, 0, values.size)
    after = np.clip(first + places, 0, values.size)
    return np.asarray((summed[after] - summed[first]) / np.maximum(after - first, 1), dtype=np.float64)

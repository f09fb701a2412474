"""What a laboratory measures on a cut sample: which requirement each quantity shows, and which values cannot be."""

from __future__ import annotations

import math
from dataclasses import dataclass

# Laboratory samples that lie beside a run sheet are put on file when the run is loaded.
SAMPLE_TABLE = "samples.csv"


@dataclass(frozen=True, slots=True)
class SampledQuantity:
    """A quantity a laboratory measures on a cut sample.

    Args:
        name: column of the data dictionary, or a name like one.
        told: what a reader calls it.
        unit: unit of its values, ``mm`` or ``%``.
        requirement: the requirement that it shows.
        material: material whose lot it belongs to.
        instrument: kind of the line's instrument that reads the same, "" for none.
        place: column with the place of that instrument's readings, "" for none.
    """

    name: str
    told: str
    unit: str
    requirement: str
    material: str
    instrument: str = ""
    place: str = ""


_INSULATION = "insulation compound"
_WALL = ("wall gauge", "wall_at_m")
SAMPLED: dict[str, SampledQuantity] = {
    one.name: one
    for one in (
        SampledQuantity("mean_wall_mm", "average wall", "mm", "minimum average wall", _INSULATION, *_WALL),
        SampledQuantity(
            "thinnest_wall_mm", "thinnest wall", "mm", "minimum wall at any point", _INSULATION, *_WALL
        ),
        SampledQuantity(
            "covering_mm", "thinnest covering", "mm", "covering at any point", "covering compound"
        ),
        SampledQuantity("conductor_mm", "conductor diameter", "mm", "conductor diameter", "conductor"),
        SampledQuantity("concentricity_pct", "concentricity", "%", "concentricity", _INSULATION, *_WALL),
        SampledQuantity(
            "diameter_mm",
            "overall diameter",
            "mm",
            "overall diameter",
            _INSULATION,
            "cold diameter gauge",
            "diameter_at_m",
        ),
    )
}
QUANTITY_OF = {one.requirement: one for one in SAMPLED.values()}


@dataclass(frozen=True, slots=True)
class Build:
    """The wire that samples are held against for what is possible.

    Args:
        name: the product in words.
        conductor_mm: nominal conductor diameter [mm].
        overall_mm: overall diameter built up at minimum walls [mm].
        has_covering: whether it has a covering.
        average_mm: minimum average wall of the insulation [mm]; None where it is not known.
    """

    name: str
    conductor_mm: float
    overall_mm: float
    has_covering: bool
    average_mm: float | None = None


def impossible(quantity: str, value: float, build: Build) -> str:
    """Why a wire cannot have this value, as the part of a sentence; "" where it can.

    A wall takes up twice itself of the diameter; a wire more than twice as thick, or less than half as thick, as it is
    built up at minimum walls is another wire (derivation, and for the factor of two: chosen here).

    Args:
        quantity: a key of `SAMPLED`.
        value: the value [its unit].
        build: the wire.
    """
    one = SAMPLED[quantity]
    if not math.isfinite(value) or value <= 0.0:
        return f"{one.told} of {value:g} {one.unit} is not above 0"
    if one.unit == "%":
        return f"{one.told} of {value:g} % is above 100 %" if value > 100.0 else ""
    if quantity == "covering_mm" and not build.has_covering:
        return f"{build.name} has no covering"
    if quantity == "covering_mm" and build.average_mm is not None and value >= build.average_mm:
        # As of a run sheet's covering: one in mil, read as mm, would meet any limit.
        return (
            f"{one.told} of {value:g} mm is not thinner than the minimum average wall of {build.average_mm:.4g} mm "
            "that it covers"
        )
    if quantity == "conductor_mm":
        low, high, of = 0.5 * build.conductor_mm, 2.0 * build.conductor_mm, "conductor"
    elif quantity == "diameter_mm":
        low, high, of = build.conductor_mm, 2.0 * build.overall_mm, "overall diameter"
    else:
        low, high, of = 0.0, 0.5 * build.overall_mm, "overall diameter"
    if low <= value <= high:
        return ""
    whole = build.conductor_mm if of == "conductor" else build.overall_mm
    return f"{one.told} of {value:g} mm cannot be: {build.name} has a nominal {of} of {whole:.3f} mm"


def average_below_thinnest(mean: float, thinnest: float, sd: float) -> bool:
    """Whether a section's average wall is below its thinnest wall by more than three standard uncertainties.

    Args:
        mean: average wall of the section [mm].
        thinnest: its thinnest wall [mm].
        sd: standard uncertainty of their difference [mm].
    """
    return mean < thinnest - 3.0 * sd

"""How round about its conductor is the insulation, and by which formula?

Sources disagree on the word, so a figure never goes without its formula. No standard seen has a numeric limit
of it for building wire; the average wall and the minimum at any point govern.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ConcentricityFormula:
    """One meaning of the word.

    Args:
        name: how we call it.
        formula: the formula, as printed beside every figure.
        source: where it is used.
        of_walls: figure [%] from thinnest and thickest wall [mm]; their mean is the mean wall of round wire.
        higher_is_better: True for a concentricity, False for an eccentricity.
    """

    name: str
    formula: str
    source: str
    of_walls: Callable[[float, float], float]
    higher_is_better: bool


MINIMUM_OVER_MAXIMUM = ConcentricityFormula(
    "concentricity",
    "100 t_min / t_max",
    "MIL-DTL-8777F, 4.6.3.1.1; the widest use in the trade",
    lambda thin, thick: 100.0 * thin / thick,
    True,
)
MINIMUM_OVER_AVERAGE = ConcentricityFormula(
    "minimum over average",
    "100 t_min / t_mean",
    "MIL-DTL-25038J, 4.6.2: thinnest over the mean of four readings at 90 degrees from it",
    lambda thin, thick: 200.0 * thin / (thin + thick),
    True,
)
ECCENTRICITY = ConcentricityFormula(
    "eccentricity",
    "100 (t_max - t_min) / (t_max + t_min)",
    "geometry: offset of the centres over the mean wall; common practice, no source",
    lambda thin, thick: 100.0 * (thick - thin) / (thick + thin),
    False,
)
RANGE_OVER_AVERAGE = ConcentricityFormula(
    "range over average",
    "100 (t_max - t_min) / t_mean",
    "telecommunication cable, from memory",
    lambda thin, thick: 200.0 * (thick - thin) / (thin + thick),
    False,
)
RANGE_OVER_MAXIMUM = ConcentricityFormula(
    "range over maximum",
    "100 (t_max - t_min) / t_max",
    "power cable (IEC 60502-2, IEC 60840), from memory",
    lambda thin, thick: 100.0 * (thick - thin) / thick,
    False,
)
FORMULAE: dict[str, ConcentricityFormula] = {
    one.name: one
    for one in (
        MINIMUM_OVER_MAXIMUM,
        MINIMUM_OVER_AVERAGE,
        ECCENTRICITY,
        RANGE_OVER_AVERAGE,
        RANGE_OVER_MAXIMUM,
    )
}


def figure_pct(
    mean_wall_mm: float, offset_mm: float, formula: ConcentricityFormula = MINIMUM_OVER_MAXIMUM
) -> float:
    """Concentricity or eccentricity of round wire [%] from its mean wall and the offset of its centre.

    t_min = mean - e and t_max = mean + e.

    Args:
        mean_wall_mm: mean wall [mm].
        offset_mm: e, offset of the conductor's centre [mm].
        formula: which meaning; t_min/t_max unless the plant says otherwise (our default).

    Returns:
        The figure; NaN where the mean wall is not above 0. Lobes of the outside are left out.
    """
    if not mean_wall_mm > 0:
        return float("nan")
    return formula.of_walls(mean_wall_mm - offset_mm, mean_wall_mm + offset_mm)


def relative_offset(concentricity_pct: float) -> float:
    """Offset over mean wall, e/t, that gives a concentricity t_min/t_max [%]: (1 - C)/(1 + C).

    Args:
        concentricity_pct: 100 t_min / t_max [%].
    """
    share = concentricity_pct / 100.0
    return (1.0 - share) / (1.0 + share)

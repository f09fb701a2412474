"""How hard a product's layers are stressed at its rated voltage, as ranges over the permittivities.

How hard the insulation is stressed, and what capacitance it makes, as layers around a round conductor.

Exact for a smooth round conductor centred in round layers with an earthed outer surface. Strands raise the
stress at the conductor locally, an off-centre conductor raises it on the thin side, and a wire in free air
sees less: none of that is in these figures.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from itertools import product as every

from pipeline.errors import Complaint, MethodRefusal
from pipeline.products.layers import layers_of
from pipeline.products.product import Product
from pipeline.products.sheet_line import SheetLine, computed_line, line_of

# Vacuum permittivity [F/m], CODATA 2018 recommended value.
EPSILON_0 = 8.8541878128e-12


@dataclass(frozen=True, slots=True)
class CoaxialField:
    """The field in each layer, from the conductor outwards.

    Args:
        inner_kv_mm: stress at each layer's inner surface [kV/mm].
        outer_kv_mm: stress at each layer's outer surface [kV/mm].
        mean_kv_mm: voltage over each layer divided by its wall [kV/mm].
        share: share of the voltage over each layer, 0 to 1.
        overall_kv_mm: whole voltage divided by the whole wall [kV/mm].
        capacitance_pf_m: capacitance to the earthed outer surface [pF/m].
    """

    inner_kv_mm: tuple[float, ...]
    outer_kv_mm: tuple[float, ...]
    mean_kv_mm: tuple[float, ...]
    share: tuple[float, ...]
    overall_kv_mm: float
    capacitance_pf_m: float


def coaxial_field(
    voltage_kv: float, radii_mm: Sequence[float], permittivities: Sequence[float]
) -> CoaxialField:
    """Field and capacitance of coaxial layers: E(r) = V / (r e_k S), C = 2 pi e0 / S.

    S is the sum of ln(outer radius / inner radius) / e_k over the layers, e_k their relative permittivity.

    Args:
        voltage_kv: voltage between conductor and earthed outer surface [kV].
        radii_mm: radius of the conductor, then the outer radius of each layer [mm], rising.
        permittivities: relative permittivity of each layer.

    Raises:
        MethodRefusal: the radii do not rise, or a permittivity is below 1.

    Source: Gauss's law with D = e E continuous across the layers, as in any textbook of electromagnetics;
    derived in the tests. Alternating voltage, no losses; for direct current the conductivities divide it.
    """
    _check(radii_mm, permittivities)
    layers = [(a, b, epsilon) for (a, b), epsilon in zip(pairwise(radii_mm), permittivities, strict=True)]
    parts = [math.log(outer / inner) / epsilon for inner, outer, epsilon in layers]
    total = math.fsum(parts)
    return CoaxialField(
        inner_kv_mm=tuple(voltage_kv / (inner * epsilon * total) for inner, _, epsilon in layers),
        outer_kv_mm=tuple(voltage_kv / (outer * epsilon * total) for _, outer, epsilon in layers),
        mean_kv_mm=tuple(
            voltage_kv * part / total / (outer - inner)
            for part, (inner, outer, _) in zip(parts, layers, strict=True)
        ),
        share=tuple(part / total for part in parts),
        overall_kv_mm=voltage_kv / (radii_mm[-1] - radii_mm[0]),
        capacitance_pf_m=2.0 * math.pi * EPSILON_0 / total * 1e12,
    )


def _check(radii_mm: Sequence[float], permittivities: Sequence[float]) -> None:
    if len(radii_mm) != len(permittivities) + 1 or not permittivities:
        raise MethodRefusal(
            Complaint(
                "coaxial layers",
                f"{len(radii_mm)} radii were given for {len(permittivities)} layers",
                "Give the conductor's radius and then one outer radius for each layer",
            )
        )
    if not radii_mm[0] > 0.0 or not all(a < b for a, b in pairwise(radii_mm)):
        raise MethodRefusal(
            Complaint(
                "coaxial layers",
                f"the radii {', '.join(f'{radius:g}' for radius in radii_mm)} mm do not rise",
                "Give them from the conductor outwards",
            )
        )
    if any(not one >= 1.0 for one in permittivities):
        raise MethodRefusal(
            Complaint(
                "coaxial layers",
                f"a relative permittivity of {min(permittivities):g} is below that of vacuum",
                "Give a value of 1 or more",
            )
        )


SECTION = "electrical"


def fields_of(product: Product, volts: float) -> tuple[CoaxialField, tuple[CoaxialField, ...]]:
    """The field at typical permittivities, and at every corner of their ranges.

    Args:
        product: the wire, at minimum walls.
        volts: voltage between conductor and earthed outer surface [V].

    Every quantity of the field is monotone in each permittivity, so its extremes lie at the corners.
    """
    layers = layers_of(product)
    radii = [product.conductor_mm / 2.0, *(layer.outer_mm / 2.0 for layer in layers)]
    figures = [layer.material.permittivity for layer in layers]
    typical = coaxial_field(volts / 1000.0, radii, [one.value for one in figures])
    corners = tuple(
        coaxial_field(volts / 1000.0, radii, corner)
        for corner in every(*((one.low, one.high) for one in figures))
    )
    return typical, corners


def electrical_lines(product: Product, volts: float) -> list[SheetLine]:
    """Stress and capacitance at a voltage, as lines.

    Args:
        product: the wire.
        volts: voltage [V], taken as the whole of the rated voltage across the layers: the greatest case.
    """
    layers = layers_of(product)
    typical, corners = fields_of(product, volts)
    geometry = (product.conductor.diameter, *(layer.wall for layer in layers))
    stands_on = (*geometry, *(layer.material.permittivity for layer in layers))
    assumed = f"{volts:g} V between a smooth centered conductor and a grounded outer surface, minimum walls"
    wanted: list[tuple[str, str, str, Callable[[CoaxialField], float]]] = [
        ("stress at the conductor", "kV/mm", "V / (r e1 S)", lambda one: one.inner_kv_mm[0]),
        ("mean stress in the insulation", "kV/mm", "voltage over it / wall", lambda one: one.mean_kv_mm[0]),
        ("mean stress over the whole wall", "kV/mm", "V / whole wall", lambda one: one.overall_kv_mm),
        ("capacitance", "pF/m", "2 pi e0 / S", lambda one: one.capacitance_pf_m),
    ]
    if len(layers) > 1:
        wanted += [
            ("stress at the inside of the covering", "kV/mm", "V / (r e2 S)", lambda one: one.inner_kv_mm[1]),
            ("mean stress in the covering", "kV/mm", "voltage over it / wall", lambda one: one.mean_kv_mm[1]),
            ("share of the voltage over the insulation", "%", "", lambda one: 100.0 * one.share[0]),
        ]
    lines = [line_of(SECTION, layer.material.permittivity) for layer in layers]
    for name, unit, formula, pick in wanted:
        over = [pick(one) for one in corners]
        note = f"{formula}; {assumed}" if formula else assumed
        lines.append(
            computed_line(SECTION, name, unit, (min(over), pick(typical), max(over)), stands_on, note)
        )
    return lines

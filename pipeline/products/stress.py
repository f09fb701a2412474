"""How hard a product's layers are stressed at its rated voltage, as ranges over the permittivities."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product as every

from pipeline.products.coaxial import CoaxialField, coaxial_field
from pipeline.products.layers import layers_of
from pipeline.products.product import Product
from pipeline.products.sheet_line import SheetLine, computed_line, line_of

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
    assumed = f"{volts:g} V between a smooth centred conductor and an earthed outer surface, minimum walls"
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

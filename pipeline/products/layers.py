"""How large and how heavy each layer of a wire is at minimum walls, and what a little more wall weighs."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pipeline.products.materials import Material
from pipeline.products.product import Product
from pipeline.products.sheet_line import SheetLine, computed_line, line_of
from pipeline.products.table_rows import Figure, figure_of, table_rows
from pipeline.units import M_PER_FOOT

# Exact: 1 lb = 453.59237 g (NIST SP 811, appendix B.8).
G_M_PER_LB_KFT = 453.59237 / (1000.0 * M_PER_FOOT)


@dataclass(frozen=True, slots=True)
class Layer:
    """One round layer at its minimum wall.

    Args:
        name: insulation or covering.
        inner_mm: inner diameter [mm].
        outer_mm: outer diameter [mm].
        material: what it is made of.
        wall: the wall it is built at [mm].
    """

    name: str
    inner_mm: float
    outer_mm: float
    material: Material
    wall: Figure


def layers_of(product: Product) -> tuple[Layer, ...]:
    """The layers over the conductor from the inside, at minimum average wall and minimum covering."""
    inner = product.conductor_mm
    outer = inner + 2.0 * product.average_wall_mm
    layers = [Layer("insulation", inner, outer, product.insulation, product.average_wall)]
    if product.covering is not None and product.covering_wall is not None:
        over = outer + 2.0 * product.covering_wall.value
        layers.append(Layer("covering", outer, over, product.covering, product.covering_wall))
    return tuple(layers)


def ring_area_mm2(inner_mm: float, outer_mm: float) -> float:
    """Area of a round layer [mm2]: pi (D2^2 - D1^2) / 4.

    Args:
        inner_mm: inner diameter [mm].
        outer_mm: outer diameter [mm].

    Holds whether or not the conductor is centred; strand valleys are not counted.
    """
    return math.pi / 4.0 * (outer_mm**2 - inner_mm**2)


def layer_lines(product: Product) -> list[SheetLine]:
    """Area and mass per length of conductor and layers, as lines."""
    lines = _conductor_mass(product)
    for layer in layers_of(product):
        lines += _one_layer(layer, product.conductor.diameter)
    lines += [line_of("published for comparison", one) for one in _published_masses(product)]
    return lines


def _conductor_mass(product: Product) -> list[SheetLine]:
    made = product.conductor
    increment = made.increment_pct
    factor = 1.0 if increment is None else 1.0 + increment.value / 100.0
    density = made.density
    mass = (
        product.area_mm2 * density.low * factor,
        product.area_mm2 * density.value * factor,
        product.area_mm2 * density.high * factor,
    )
    figures = tuple(one for one in (product.area, density, increment) if one is not None)
    extra = "" if increment is None else f", {increment.value:g} % longer wires in strand"
    return [computed_line("conductor", "conductor mass", "g/m", mass, figures, f"area x density{extra}")]


def _one_layer(layer: Layer, diameter: Figure) -> list[SheetLine]:
    section, density = layer.name, layer.material.density
    area = ring_area_mm2(layer.inner_mm, layer.outer_mm)
    around = math.pi * layer.outer_mm * 0.01
    geometry = (diameter, layer.wall)
    return [
        line_of(section, density),
        computed_line(
            section, f"{section} outer diameter", "mm", (layer.outer_mm,) * 3, geometry, "at minimum walls"
        ),
        computed_line(
            section, f"{section} area", "mm2", (area, area, area), geometry,
            "pi (D2^2 - D1^2)/4 at minimum wall, smooth conductor",
        ),
        computed_line(
            section, f"{section} mass", "g/m",
            (area * density.low, area * density.value, area * density.high),
            (*geometry, density), "area x density; strand valleys not counted",
        ),
        computed_line(
            section, f"{section} mass for each 0.01 mm more wall", "g/m",
            (around * density.low, around * density.value, around * density.high),
            (*geometry, density), "pi D2 x density x 0.01 mm at minimum wall",
        ),
    ]  # fmt: skip


def _published_masses(product: Product) -> list[Figure]:
    """Masses a published table gives, as they are printed for copper conductors."""
    if product.conductor.metal != "copper" or product.conductor.make == "solid":
        return []
    return [
        figure_of(row, f"{row['quantity']} mass, {row['document']}", "value", "g/m", G_M_PER_LB_KFT)
        for row in table_rows("published_masses")
        if (row["family"], row["size"]) == (product.family, product.size.name)
    ]

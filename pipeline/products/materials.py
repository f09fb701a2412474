"""How heavy the materials are and how they behave in an electric field, each as a range with its source."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from pipeline.products.table_rows import Figure, figure_of, table_rows


@dataclass(frozen=True, slots=True)
class Material:
    """A polymer layer's material.

    Args:
        name: what it is.
        density: density [g/cm3], low to high.
        permittivity: relative permittivity, low to high.
    """

    name: str
    density: Figure
    permittivity: Figure


@cache
def material_figure(material: str, name: str, unit: str) -> Figure:
    """The figure called `name` of a material; KeyError where none is on file."""
    for row in table_rows("materials"):
        if row["material"] == material and row["property"] == name:
            return figure_of(row, f"{name} of {material}", "typical", unit)
    raise KeyError(f"{name} of {material}")


@cache
def material_named(name: str) -> Material:
    """The polymer called `name`; KeyError where it is not on file."""
    return Material(
        name,
        material_figure(name, "density", "g/cm3"),
        material_figure(name, "relative permittivity", ""),
    )


INSULATION: dict[str, str] = {"THHN/THWN-2": "PVC, heat resistant", "XHHW-2": "XLPE, lightly filled"}
COVERING: dict[str, str | None] = {"THHN/THWN-2": "nylon", "XHHW-2": None}

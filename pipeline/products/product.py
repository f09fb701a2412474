"""What the wire named on a run sheet is: conductor, insulation, covering and overall diameter.

`find_product` looks the product up in the tables of this folder. Walls are the requirement, not a target.
"""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.products.conductors import Conductor, find_conductor
from pipeline.products.limit_rows import LimitRow, package_rows
from pipeline.products.materials import COVERING, INSULATION, Material, material_named
from pipeline.products.sizes import Size, area_figure, size_named
from pipeline.products.source_standing import SourceStanding
from pipeline.products.table_rows import Figure, figure_of, table_rows
from pipeline.products.type_letters import WireType, types_named
from pipeline.units import MM_PER_INCH


@dataclass(frozen=True, slots=True)
class Product:
    """A wire as it must be made.

    Args:
        construction: the type letters as named, in this program's spelling.
        family: how it is made: ``THHN/THWN-2`` (PVC and nylon) or ``XHHW-2`` (one layer of XLPE).
        types: the types it carries.
        size: conductor size.
        conductor: the conductor.
        area: conductor area [mm2].
        average_wall: greatest minimum average wall any of its types asks for [mm].
        covering_wall: covering's minimum wall at any point [mm]; None where there is no covering.
        overall: diameter built up from conductor, average wall and covering [mm].
        published_overall: overall diameters others publish, for comparison [mm].
        insulation: material of the insulation.
        covering: material of the covering; None where there is none.
        cautions: sentences to show beside it.
    """

    construction: str
    family: str
    types: tuple[WireType, ...]
    size: Size
    conductor: Conductor
    area: Figure
    average_wall: Figure
    covering_wall: Figure | None
    overall: Figure
    published_overall: tuple[Figure, ...]
    insulation: Material
    covering: Material | None
    cautions: tuple[str, ...]

    @property
    def name(self) -> str:
        """The product in words, for example ``XHHW-2 1/0 AWG, concentric copper``."""
        return f"{self.construction} {self.size.name}, {self.conductor.make} {self.conductor.metal}"

    @property
    def conductor_mm(self) -> float:
        """Nominal conductor diameter [mm]."""
        return self.conductor.diameter.value

    @property
    def area_mm2(self) -> float:
        """Conductor area [mm2]."""
        return self.area.value

    @property
    def strands(self) -> int | None:
        """Number of wires of the conductor; None where it was not seen."""
        return self.conductor.strands

    @property
    def average_wall_mm(self) -> float:
        """Minimum average insulation wall [mm]."""
        return self.average_wall.value

    @property
    def covering_mm(self) -> float | None:
        """Minimum covering wall at any point [mm]; None where there is no covering."""
        return None if self.covering_wall is None else self.covering_wall.value

    @property
    def overall_mm(self) -> float:
        """Overall diameter built up from conductor, minimum average wall and covering [mm]."""
        return self.overall.value


def find_product(
    construction: str, size: str, conductor: str, metal: str = "copper", strand_class: str = "B"
) -> Product:
    """The product that a run sheet or command names.

    Args:
        construction: type letters, for example ``THHN/THWN-2`` or ``XHHW-2``.
        size: conductor size, for example ``14 AWG`` or ``500 kcmil``.
        conductor: solid, concentric, compressed or compact.
        metal: copper or aluminum.
        strand_class: B or C for concentric strand.

    Raises:
        NotFoundError: a type, size or make is not on file; the complaint says the nearest.
    """
    types = types_named(construction)
    wire_size = size_named(size)
    made = find_conductor(wire_size, conductor, metal, strand_class)
    family = types[0].family
    rows = [row for row in package_rows() if row.applies_to(tuple(t.name for t in types), wire_size)]
    average = _most_demanding(rows, "minimum average wall")
    covering = _most_demanding(rows, "covering at any point")
    covering_name = COVERING[family]
    return Product(
        construction="/".join(one.name for one in types),
        family=family,
        types=types,
        size=wire_size,
        conductor=made,
        area=area_figure(wire_size),
        average_wall=_wall(average),
        covering_wall=_wall(covering) if covering_name else None,
        overall=_built_up(made, average, covering if covering_name else None),
        published_overall=_published(family, wire_size, conductor),
        insulation=material_named(INSULATION[family]),
        covering=material_named(covering_name) if covering_name else None,
        cautions=made.cautions,
    )


def _most_demanding(rows: list[LimitRow], requirement: str) -> LimitRow | None:
    """The greatest of the rows now in force; rows of a closed revision and percentages are left out."""
    walls = [r for r in rows if r.requirement == requirement and r.effective_to is None and not r.relative]
    return max(walls, key=lambda row: row.value, default=None)


def _wall(row: LimitRow | None) -> Figure:
    if row is None:
        raise LookupError("the product tables hold a type without a wall")
    record = f"{row.value_of_record:g} {row.unit_of_record}"
    note = row.note
    if row.stated:
        note = " ".join(part for part in (f"{record} beside it is stricter and judges.", note) if part)
    value = _stated_mm(row)
    return Figure(
        row.requirement, value, value, value, "mm", row.stated or record,
        row.cited, row.sources, row.standing, note,
    )  # fmt: skip


def _stated_mm(row: LimitRow) -> float:
    """The wall as its document states it [mm]; what judges may be a few micrometres stricter."""
    return row.value if row.stated_mm is None else row.stated_mm


def _built_up(made: Conductor, average: LimitRow | None, covering: LimitRow | None) -> Figure:
    """Diameter over conductor, minimum average wall and covering: D = d + 2 (t + c)."""
    parts = [row for row in (average, covering) if row is not None]
    value = made.diameter.value + 2.0 * sum(_stated_mm(row) for row in parts)
    sources = dict.fromkeys((*made.diameter.sources, *(s for row in parts for s in row.sources)))
    known = (
        SourceStanding.MEMORY if made.diameter.standing is SourceStanding.MEMORY else SourceStanding.COMPUTED
    )
    return Figure(
        "overall diameter at minimum walls", value, value, value, "mm",
        f"{value / MM_PER_INCH:.4f} in", "", tuple(sources), known,
        "conductor diameter + 2 x (minimum average wall + covering)",
    )  # fmt: skip


def _published(family: str, size: Size, make: str) -> tuple[Figure, ...]:
    alike = "compact" if make == "compact" else "solid" if make == "solid" else "concentric"
    return tuple(
        figure_of(
            row,
            f"overall diameter, {row['document']}",
            "value",
            "mm",
            MM_PER_INCH if row["unit"] == "in" else 1.0,
        )
        for row in table_rows("published_diameters")
        if (row["family"], row["size"], row["conductor"]) == (family, size.name, alike)
    )

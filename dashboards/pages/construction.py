"""The construction comparison: two wires to one scale, property by property, each value with its source.

The record of a construction comparison: the wire a plant makes beside the other construction of its size.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from dashboards.addresses import address
from dashboards.fillers.run_book import RunBook
from dashboards.records import ConstructionComparison, ConstructionRow, PageEntry, Plant
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile
from pipeline.errors import ReelproofError
from pipeline.products.comparison import compare_constructions
from pipeline.products.construction_sheet import ConstructionSheet, construction_sheet
from pipeline.products.product import Product, find_product
from pipeline.products.sheet_line import References, SheetLine

OTHER = {"THHN/THWN-2": "XHHW-2", "XHHW-2": "THHN/THWN-2"}


def comparisons_of(plant: Plant, books: list[RunBook]) -> list[ConstructionComparison]:
    """One comparison a product made, each beside the other construction of the same size and conductor."""
    made = {
        (book.head["construction"], book.head["size"], book.head["conductor"], book.head["metal"]): None
        for book in books
    }
    found = []
    for construction, size, conductor, metal in sorted(made):
        other = OTHER.get(construction)
        if other is None:
            continue
        try:
            left = find_product(construction, size, conductor, metal)
            right = find_product(other, size, conductor, metal)
        except ReelproofError:
            continue
        found.append(_comparison(plant, left, right))
    return found


def _comparison(plant: Plant, left: Product, right: Product) -> ConstructionComparison:
    first, second = construction_sheet(left), construction_sheet(right)
    compared = compare_constructions(first, second)
    references = References()
    size = left.size.name.replace(" ", "-").replace("/", "_")
    return ConstructionComparison(
        plant=plant,
        comparison_id=f"{size}-{left.conductor.make}-{left.conductor.metal}".upper(),
        left=left.name,
        right=right.name,
        left_radii_mm=_radii(left, first),
        right_radii_mm=_radii(right, second),
        left_layers=_layers(left),
        right_layers=_layers(right),
        rows=tuple(
            ConstructionRow(
                group=line.section,
                property=line.name,
                unit=line.unit,
                left=line.first.value if line.first is not None else None,
                right=line.second.value if line.second is not None else None,
                left_range=_range(line.first),
                right_range=_range(line.second),
                left_source=_source(line.first, references),
                right_source=_source(line.second, references),
                note=references.in_text(_note(line.first, line.second)),
            )
            for line in compared.lines
        ),
        sources=tuple((mark, one.document) for mark, one in references.listed()),
    )


def _layers(product: Product) -> tuple[str, ...]:
    layers = ["conductor", product.insulation.name]
    return tuple(layers + ([product.covering.name] if product.covering is not None else []))


def _radii(product: Product, sheet: ConstructionSheet) -> tuple[float, ...]:
    """Radii of the layers' outsides at minimum walls [mm], from the sheet's own outer diameters."""
    outer = {line.name: line.value for line in sheet.lines if line.value is not None}
    radii = [product.conductor_mm / 2.0, outer["insulation outer diameter"] / 2.0]
    if product.covering is not None:
        radii.append(outer["covering outer diameter"] / 2.0)
    return tuple(radii)


def _range(line: SheetLine | None) -> tuple[float, float] | None:
    if line is None or line.low is None or line.high is None or line.low == line.high:
        return None
    return line.low, line.high


def _source(line: SheetLine | None, references: References) -> str:
    if line is None:
        return ""
    stands_on = line.document or references.cited(line.sources)
    how_sure = f"{line.standing}: {line.where}" if line.document and line.where else line.standing
    return f"{stands_on} ({how_sure})" if stands_on else how_sure


def _note(first: SheetLine | None, second: SheetLine | None) -> str:
    """What is noted of either, each clause once."""
    notes = [line.note for line in (first, second) if line is not None and line.note]
    clauses = dict.fromkeys(clause.rstrip(";") for note in notes for clause in re.split(r"(?<=[.;]) ", note))
    return "; ".join(clauses).replace(".; ", ". ")


def grouped_rows(record: ConstructionComparison) -> list[tuple[str, list[ConstructionRow]]]:
    """Rows under their headings, in the order of their first row."""
    names = dict.fromkeys(row.group for row in record.rows)
    return [(name, [row for row in record.rows if row.group == name]) for name in names]


def write_construction_page(record: ConstructionComparison, site: Site) -> WrittenFile:
    """Writes the construction comparison.

    Args:
        record: what it shows.
        site: where.
    """
    return write_page(
        site,
        "construction",
        record.comparison_id,
        "construction.html.j2",
        record,
        groups=grouped_rows(record),
        biggest=max((*record.left_radii_mm, *record.right_radii_mm), default=1.0),
    )


def construction_entries(comparisons: Iterable[ConstructionComparison]) -> list[PageEntry]:
    """What the index says of these pages."""
    asked = "What are the requirements, and how do they differ?"
    return [
        PageEntry(address("construction", one.comparison_id), f"{one.left} and {one.right}", asked)
        for one in comparisons
    ]

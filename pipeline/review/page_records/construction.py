"""The record of a construction comparison: the wire a plant makes beside the other construction of its size."""

from __future__ import annotations

from dashboards.records import ConstructionComparison, ConstructionRow, Plant
from pipeline.errors import ReelproofError
from pipeline.products.comparison import compare_constructions
from pipeline.products.construction_sheet import ConstructionSheet, construction_sheet
from pipeline.products.product import Product, find_product
from pipeline.products.sheet_line import SheetLine
from pipeline.review.page_records.run_book import RunBook

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
                left=_value(line.first),
                right=_value(line.second),
                left_source=_source(line.first),
                right_source=_source(line.second),
                note=_note(line.first, line.second),
            )
            for line in compared.lines
        ),
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


def _value(line: SheetLine | None) -> float | str | None:
    if line is None or line.value is None:
        return None
    if line.low is not None and line.high is not None and line.low != line.high:
        return f"{line.value:.4g} ({line.low:.4g} to {line.high:.4g})"
    return line.value


def _source(line: SheetLine | None) -> str:
    if line is None:
        return ""
    stands_on = line.document or ", ".join(line.sources)
    return f"{stands_on} ({line.status})" if stands_on else line.status


def _note(first: SheetLine | None, second: SheetLine | None) -> str:
    notes = dict.fromkeys(line.note for line in (first, second) if line is not None and line.note)
    return " ".join(notes)

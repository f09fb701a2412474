"""What this wire must be, on one sheet: every value with its unit, range, source and how sure it is.

Layers are worked out at minimum walls on a smooth round conductor; a stranded conductor holds more insulation
in its valleys, and a real wire carries overwall.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import chain

from pipeline.products.concentricity import ImpliedConcentricity, implied_concentricities
from pipeline.products.conductors import resistance_ohm_km
from pipeline.products.layers import layer_lines
from pipeline.products.limit_rows import LimitRow
from pipeline.products.limits import Limit, Missing, limits_in_force, missing_requirements
from pipeline.products.listing import ListingOption
from pipeline.products.product import Product
from pipeline.products.ratings import Rating, rated_volts, ratings_of
from pipeline.products.requirement_sets import EVERY_SET, Certificate
from pipeline.products.sheet_line import SheetLine, absent_line, line_of
from pipeline.products.source_standing import SourceStanding
from pipeline.products.stress import electrical_lines
from pipeline.products.table_rows import Figure, Source, source_named, table_rows
from pipeline.products.type_letters import Letter, letters_of

CAUTIONS: tuple[str, ...] = (
    "Most values were seen in public excerpts or transcriptions: verify on the licensed standard before use.",
    "The adopted standard, the local code and licensed practice decide; this sheet decides nothing.",
)
SECTIONS: tuple[str, ...] = (
    "conductor",
    "walls and diameters",
    "insulation",
    "covering",
    "electrical",
    "published for comparison",
)


@dataclass(frozen=True, slots=True)
class TypeExplained:
    """A type on the wire, its letters explained."""

    name: str
    meaning: str
    letters: tuple[Letter, ...]
    note: str


@dataclass(frozen=True, slots=True)
class ConstructionSheet:
    """A product on one sheet.

    Args:
        name: the product in words.
        construction: the type letters.
        family: how it is made.
        size: conductor size.
        conductor: solid, concentric, compressed or compact.
        metal: copper or aluminum.
        types: each type explained.
        lines: the values, in sections.
        ratings: what it is rated for at its size.
        listings: options of the plant's listing, empty where no plant sheet was given.
        limits: limits in force, of every requirement set.
        missing: requirements without a limit on file.
        implied: concentricity each minimum at any point implies at the minimum average wall.
        sources: every source a line, rating or limit names.
        cautions: sentences to show with it.
    """

    name: str
    construction: str
    family: str
    size: str
    conductor: str
    metal: str
    types: tuple[TypeExplained, ...]
    lines: tuple[SheetLine, ...]
    ratings: tuple[Rating, ...]
    listings: tuple[ListingOption, ...]
    limits: tuple[Limit, ...]
    missing: tuple[Missing, ...]
    implied: tuple[ImpliedConcentricity, ...]
    sources: tuple[Source, ...]
    cautions: tuple[str, ...]

    def line(self, section: str, name: str) -> SheetLine:
        """The line called `name` in a section; KeyError where the sheet has none."""
        for one in self.lines:
            if (one.section, one.name) == (section, name):
                return one
        raise KeyError(f"{section}: {name}")


def construction_sheet(
    product: Product,
    on: date | None = None,
    plant_limits: Sequence[LimitRow] = (),
    certificate: Certificate = EVERY_SET,
    listings: Sequence[ListingOption] = (),
) -> ConstructionSheet:
    """The construction sheet of a product.

    Args:
        product: the wire.
        on: day whose limits are shown; None for the limits with no end set.
        plant_limits: the plant's own rows (``PlantSheet.limit_rows``).
        certificate: what the plant's lots are certified to (``PlantSheet.certificate``); every set on file where
            left out.
        listings: options of the plant's listing that cover its size.
    """
    limits = limits_in_force(product, on, plant_limits, certificate)
    ratings = ratings_of(product)
    lines: tuple[SheetLine, ...] = (
        *_conductor_lines(product),
        *_wall_lines(product, limits),
        *layer_lines(product),
        *electrical_lines(product, rated_volts(product)),
    )
    lines = tuple(sorted(lines, key=lambda line: SECTIONS.index(line.section)))
    return ConstructionSheet(
        name=product.name,
        construction=product.construction,
        family=product.family,
        size=product.size.name,
        conductor=product.conductor.make,
        metal=product.conductor.metal,
        types=tuple(
            TypeExplained(one.name, one.meaning, letters_of(one.name), one.note) for one in product.types
        ),
        lines=lines,
        ratings=ratings,
        listings=tuple(listings),
        limits=limits,
        missing=missing_requirements(product, on, plant_limits, certificate),
        implied=implied_concentricities(limits, product.average_wall_mm),
        sources=_sources(lines, ratings, limits),
        cautions=(*product.cautions, *CAUTIONS),
    )


def _conductor_lines(product: Product) -> list[SheetLine]:
    made, section = product.conductor, "conductor"
    lines = [line_of(section, product.area), line_of(section, made.diameter)]
    for name, figure in (
        ("minimum conductor diameter", made.minimum_diameter),
        ("maximum conductor diameter", made.maximum_diameter),
    ):
        if figure is None:
            why = "No source on file gives limits for the diameter of a solid conductor"
            lines.append(absent_line(section, name, "mm", why))
        else:
            lines.append(line_of(section, figure))
    wires = "number of wires"
    if made.strands is None:
        lines.append(absent_line(section, wires, "", "Not seen for compact conductors"))
    else:
        count = float(made.strands)
        stands_on = made.diameter
        lines.append(
            line_of(
                section,
                Figure(
                    wires, count, count, count, "", f"{made.strands}", stands_on.document,
                    stands_on.sources, stands_on.standing,
                    f"class {made.strand_class}" if made.strand_class else "",
                ),
            )
        )  # fmt: skip
    return [*lines, *_resistance_lines(product)]


def _resistance_lines(product: Product) -> list[SheetLine]:
    made, section = product.conductor, "conductor"
    known = made.resistance_75c
    names = {at_c: f"direct-current resistance at {at_c:g} degC" for at_c in (20.0, 25.0, 75.0, 90.0)}
    if known is None:
        why = f"No source on file gives the resistance of a {made.make} {made.metal} {product.size.name}"
        return [absent_line(section, name, "ohm/km", why) for name in names.values()]
    lines = []
    for at_c, name in names.items():
        value = resistance_ohm_km(made, at_c) or known.value
        if at_c == 75.0:
            lines.append(line_of(section, known))
            continue
        coefficient = made.temperature_coefficient
        figure = Figure(
            name, value, value, value, "ohm/km", known.record, coefficient.document,
            tuple(dict.fromkeys((*known.sources, *coefficient.sources))), SourceStanding.COMPUTED,
            f"R2 = R1 [1 + {coefficient.value:g} (T2 - 75)] from the value at 75 degC",
        )  # fmt: skip
        lines.append(line_of(section, figure))
    return lines


def _wall_lines(product: Product, limits: Sequence[Limit]) -> list[SheetLine]:
    """Walls and diameters; a minimum at any point only where a limit is on file."""
    section = "walls and diameters"
    lines = [line_of(section, product.average_wall)]
    points = [one for one in limits if one.requirement == "minimum wall at any point"]
    lines += [_limit_line(section, one) for one in points]
    if not points:
        why = "No printed value is on file"
        lines.append(absent_line(section, "minimum wall at any point", "mm", why))
    if product.covering_wall is not None:
        lines.append(line_of(section, product.covering_wall))
    lines.append(line_of(section, product.overall))
    lines += [line_of("published for comparison", one) for one in product.published_overall]
    return lines


def _limit_line(section: str, limit: Limit) -> SheetLine:
    return SheetLine(
        section=section,
        name=f"{limit.requirement}, {limit.requirement_set}",
        value=limit.value,
        low=limit.value,
        high=limit.value,
        unit=limit.unit,
        record=f"{limit.value_of_record:g} {limit.unit_of_record}",
        document=", ".join(part for part in (limit.document, limit.edition, limit.table) if part),
        sources=tuple(limit.source.split(";")),
        standing=limit.standing,
        note=limit.note,
        where=limit.where,
    )


def _sources(
    lines: Sequence[SheetLine], ratings: Sequence[Rating], limits: Sequence[Limit]
) -> tuple[Source, ...]:
    """Every source named, in order of first mention; a plant's own words are left in its limit."""
    named = [one.sources for one in lines] + [one.sources for one in ratings]
    named += [tuple(one.source.split(";")) for one in limits]
    on_file = {row["source"] for row in table_rows("sources")}
    return tuple(source_named(name) for name in dict.fromkeys(chain(*named)) if name in on_file)

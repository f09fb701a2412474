"""The command that answers what a wire must be: product."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from pipeline.cli.showing import JSON, print_json, print_table
from pipeline.cli.typed import day_of
from pipeline.products.sheet_line import References, value_told

if TYPE_CHECKING:
    from pipeline.products.comparison import ConstructionComparison
    from pipeline.products.construction_sheet import ConstructionSheet
    from pipeline.products.sheet_line import SheetLine


def add_to(app: typer.Typer) -> None:
    """Add this command to `app`."""
    app.command()(product)


def product(
    construction: str = typer.Argument(metavar="TYPE", help="Type letters, as THHN/THWN-2 or XHHW-2."),
    size: str = typer.Argument(metavar="SIZE", help="Conductor size, as '14 AWG', '1/0 AWG' or '500 kcmil'."),
    conductor: str = typer.Option("concentric", help="solid, concentric, compressed or compact."),
    metal: str = typer.Option("copper", help="copper or aluminum."),
    against: tuple[str, str] | None = typer.Option(
        None,
        metavar="TYPE SIZE",
        help="A second wire to set beside it, of the same conductor make and metal.",
    ),
    plant: Path | None = typer.Option(None, help="A plant sheet: its limits and listings are shown as well."),
    on: str | None = typer.Option(
        None,
        metavar="DAY",
        help="Day the limits must be in force, like 2026-03-31; those without an end date otherwise.",
    ),
    as_json: bool = JSON,
) -> int:
    """Show what a wire must be. Every limit, size and rating stands with its source and how sure it is.

    Example: reelproof product THHN/THWN-2 "14 AWG" --conductor solid

    Example: reelproof product THHN/THWN-2 "4/0 AWG" --against XHHW-2 "4/0 AWG"
    """
    day = day_of(on, "--on") if on is not None else None
    sheet = _sheet(construction, size, conductor, metal, plant, day)
    if against is None:
        if as_json:
            from pipeline.products.json_form import as_json as form

            print_json(form(sheet))
        else:
            _print_sheet(sheet)
        return 0
    from pipeline.products.comparison import compare_constructions

    compared = compare_constructions(sheet, _sheet(against[0], against[1], conductor, metal, plant, day))
    if as_json:
        from pipeline.products.json_form import as_json as form

        print_json(form(compared))
    else:
        _print_comparison(compared)
    return 0


def _sheet(
    construction: str, size: str, conductor: str, metal: str, plant: Path | None, day: date | None
) -> ConstructionSheet:
    from pipeline.products.construction_sheet import construction_sheet
    from pipeline.products.product import find_product

    wire = find_product(construction, size, conductor, metal)
    if plant is None:
        return construction_sheet(wire, day)
    from pipeline.sheets.plant_sheet import read_plant_sheet

    entered = read_plant_sheet(plant)
    return construction_sheet(
        wire,
        day,
        entered.limit_rows,
        entered.certificate,
        entered.listings_for(tuple(one.name for one in wire.types), wire.size.name),
    )


def _where_from(line: SheetLine, references: References) -> str:
    if not line.document:
        return references.cited(line.sources)
    return f"{line.document} ({line.where})" if line.where else line.document


def _print_sheet(sheet: ConstructionSheet) -> None:
    from pipeline.wording.say import plain

    print(sheet.name)
    for one in sheet.types:
        print(f"  {one.name}: {one.meaning}" + (f" ({one.note})" if one.note else ""))
    section = ""
    references = References()
    rows: list[tuple[str, ...]] = []
    for line in sheet.lines:
        rows.append(
            (
                line.section if line.section != section else "",
                line.name,
                value_told(line),
                line.standing,
                _where_from(line, references),
            )
        )
        section = line.section
    print()
    print_table(("Section", "What", "Value", "How sure", "Document"), rows)
    notes = [
        f"  {line.name}: {references.in_text(line.note)}"
        for line in sheet.lines
        if line.note and line.standing != "computed"
    ]
    print("\nSources")
    for mark, source in references.listed():
        print(f"  {mark} {source.document} ({source.standing}; {source.where_seen})")
    print("\nNotes", *notes, sep="\n")
    print("\nLimits in force")
    for limit in sheet.limits:
        print(f"  {plain(limit.told())}")
        for beside in (f"Read in: {limit.where}." if limit.where else "", limit.note):
            if beside:
                print(f"    {beside}")
    for missing in sheet.missing:
        print(f"  {plain(missing.told)} {plain(missing.remedy)}")
    for rating in sheet.ratings:
        value = rating.text if rating.value is None else f"{rating.value:g} {rating.unit}"
        stands_on = f"{rating.document}; {rating.where}" if rating.document else ""
        told = "; ".join(part for part in (rating.standing, stands_on, rating.note) if part)
        print(f"  {rating.name}: {value}" + ("" if rating.standing == "not seen" else f" ({told})"))
    for option in sheet.listings:
        print(f"  Listing: {option.option}, {option.size_from} to {option.size_to} ({option.source})")
    for caution in sheet.cautions:
        print(f"Caution: {caution}")


def _print_comparison(compared: ConstructionComparison) -> None:
    print_table(
        ("Section", "What", compared.first.name, compared.second.name, "Ratio"),
        [
            (
                line.section,
                line.name,
                value_told(line.first),
                value_told(line.second),
                f"{line.ratio:.3f}" if line.ratio is not None else "",
            )
            for line in compared.lines
        ],
    )
    for caution in compared.cautions:
        print(f"Caution: {caution}")

"""The command that says what to turn on a line, and what it is worth: tune."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from pipeline.cli.showing import JSON, STORE, print_json, progress
from pipeline.cli.typed import moment_of

if TYPE_CHECKING:
    from pipeline.store.database import Store


def add_to(app: typer.Typer) -> None:
    """Add this command to `app`."""
    app.command()(tune)


def tune(
    line: str = typer.Argument(metavar="LINE", help="The line."),
    product: str | None = typer.Option(
        None,
        "--product",
        help="Words of the product's name, as '14 AWG'; every product of the line otherwise.",
    ),
    start: str | None = typer.Option(
        None, "--from", help="Runs that started then or later, like 2026-03-03."
    ),
    end: str | None = typer.Option(None, "--to", help="Runs that started before then."),
    changed: str | None = typer.Option(
        None, "--changed-at", help="Compare reels before and after this time, like 2026-03-03T14:00."
    ),
    store: Path = STORE,
    as_json: bool = JSON,
) -> int:
    """Show how far a line's wall may come down, and how. It says what to turn and what each thing is worth.

    Example: reelproof tune L2 --store store

    Example: reelproof tune L1 --product "14 AWG" --changed-at 2026-03-03T22:00 --store store
    """
    from pipeline.cli.plant_units import InUnits
    from pipeline.job.tuning_on_file import tuning_on_file
    from pipeline.record.plant_sheet_on_file import unit_of_plant
    from pipeline.store.database import open_to_read

    with open_to_read(store) as opened, progress("Tuning", None) as under_way:
        zone = _zone_of(opened)
        found = tuning_on_file(
            opened,
            line,
            product,
            moment_of(start, zone, "--from") if start else None,
            moment_of(end, zone, "--to") if end else None,
            moment_of(changed, zone, "--changed-at") if changed else None,
            under_way,
        )
        shown = InUnits(unit_of_plant(opened))
    if as_json:
        from pipeline.products.json_form import as_json as form

        print_json(form(found))
        return 0
    from pipeline.job.tuning_in_words import in_words

    print("\n".join(in_words(found, shown.sentence)))
    return 0


def _zone_of(store: Store) -> str:
    """The zone of the plant's clocks, by the newest run's sheet."""
    from pipeline.job.tuning_runs import plant_sheet_of

    judged = [head for head in store.ask("questions/current_runs") if head["assessment_id"] is not None]
    return plant_sheet_of(store, judged[-1]).zone if judged else "UTC"

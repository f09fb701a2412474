"""The command on an instrument that was found to have drifted: drift."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from pipeline.cli.plant_units import InUnits
from pipeline.cli.showing import JSON, STORE, print_json, print_table
from pipeline.cli.typed import day_of
from pipeline.errors import Complaint, ReelproofError
from pipeline.units import mm_from_mil

if TYPE_CHECKING:
    from pipeline.job.readjudicating import Reach

_BIAS = re.compile(r"([+-]?\d{1,4}(?:\.\d+)?)\s*(mm|um|mil)")


def add_to(app: typer.Typer) -> None:
    """Add this command to `app`."""
    app.command()(drift)


def drift(
    line: str = typer.Argument(metavar="LINE", help="The line."),
    instrument: str = typer.Argument(metavar="INSTRUMENT", help="Its wall gauge or cold diameter gauge."),
    bias: str = typer.Option(..., "--bias", help="Bias found, reading less truth, like 0.004mm or -0.2mil."),
    found: str = typer.Option(..., "--found", help="Day it was found, like 2026-03-31."),
    last_good: str = typer.Option(..., "--last-good", help="Day of the last check at which it read true."),
    unsure: str = typer.Option("0mm", "--unsure", help="Standard uncertainty of that bias, like 0.001mm."),
    store: Path = STORE,
    as_json: bool = JSON,
) -> int:
    """List the reels a gauge's drift puts in doubt. Their margin no longer holds once the drift found at
    calibration is taken off; exit 1 if there are any.

    Example: reelproof drift L1 L1-WG --bias 0.004mm --found 2026-03-31 --last-good 2026-01-12 --store store
    """
    from pipeline.job.readjudicating import reach_of_drift
    from pipeline.record.plant_sheet_on_file import unit_of_plant
    from pipeline.store.database import open_to_read
    from pipeline.trust.calibration import DriftFound

    told = DriftFound(
        instrument,
        day_of(last_good, "--last-good"),
        day_of(found, "--found"),
        millimetres_of(bias, "--bias"),
        abs(millimetres_of(unsure, "--unsure")),
    )
    with open_to_read(store) as opened:
        reach = reach_of_drift(opened, line, told)
        shown = InUnits(unit_of_plant(opened))
    print_json(_as_json(reach)) if as_json else _print(reach, shown)
    return 1 if reach.contained else 0


def millimetres_of(text: str, option: str) -> float:
    """A small length like ``0.004mm``, ``4um`` or ``-0.2mil`` [mm].

    Args:
        text: as typed.
        option: the option it was given with, for the complaint.

    Raises:
        ReelproofError: it is no small length with a unit.
    """
    match = _BIAS.fullmatch(text.strip())
    if not match:
        raise ReelproofError(
            Complaint(
                option, f"'{text}' is no small length with a unit", "Write it like 0.004mm, 4um or -0.2mil"
            )
        )
    figure = float(match.group(1))
    return {"mm": figure, "um": figure / 1000.0, "mil": mm_from_mil(figure)}[match.group(2)]


def _as_json(reach: Reach) -> dict[str, object]:
    return {
        "line": reach.line,
        "instrument": reach.drift.instrument,
        "last_good": reach.drift.good_on,
        "found": reach.drift.found_on,
        "bias_mm": reach.drift.bias_mm,
        "told": list(reach.told),
        "not_read": [{"reel": reel, "requirement": requirement} for reel, requirement in reach.unread],
        "judged_anew": [
            {
                "reel": one.reel.reel,
                "made_on": one.reel.made_on,
                "requirement": one.reel.requirement,
                "bias_mm": one.bias_mm,
                "worst_mm": one.reel.worst_mm,
                "corrected_mm": one.corrected_mm,
                "limit_mm": one.reel.limit_mm,
                "margin_mm": one.margin_mm,
                "state": one.state,
                "contained": one.contained,
                "sentence": one.told,
            }
            for one in reach.judged
        ],
    }


def _print(reach: Reach, shown: InUnits) -> None:
    contained = reach.contained
    if contained:
        print_table(
            ("Reel", "Made on", "Requirement", "Worst", "Corrected", "Limit", "Now"),
            [
                (
                    one.reel.reel,
                    str(one.reel.made_on),
                    one.reel.requirement,
                    *(
                        shown.quantity(value, "mm")
                        for value in (one.reel.worst_mm, one.corrected_mm, one.reel.limit_mm)
                    ),
                    "failed already" if one.margin_mm < 0 and one.state == "unchanged" else one.state,
                )
                for one in contained
            ],
        )
        print()
    for sentence in reach.told:
        print(shown.sentence(sentence))
    if contained:
        print("Hold these reels until they are measured by other means; shipped lengths: reelproof contain.")

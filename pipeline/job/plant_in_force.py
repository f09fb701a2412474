"""Which runs are judged by another plant sheet than the one their run sheet names, as that stands now?

A run stays judged by the sheet on file until somebody says otherwise, so that a slip in a file changes no verdict;
but a sheet that was edited must not go unnoticed.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.errors import Complaint, SheetError
from pipeline.found import SheetNote
from pipeline.job.load_on_file import LoadOutcome
from pipeline.messages import Message, message

if TYPE_CHECKING:
    from pipeline.steps.load import SheetText
    from pipeline.store.database import Store

# So many runs are named; of more, only how many.
NAMED = 5


def told_of_plant(store: Store, loads: Sequence[LoadOutcome]) -> tuple[Message, ...]:
    """A message for each plant sheet that is not the one its runs are judged by.

    Args:
        store: the store.
        loads: runs that were loaded or found on file, each with its plant sheet as it stands now.
    """
    in_force = {
        row["run_id"]: row["judged_plant_sheet_sha256"] or row["plant_sheet_sha256"]
        for row in store.ask("questions/current_runs")
    }
    apart: dict[Path, list[str]] = {}
    for one in loads:
        if one.plant_sheet is not None and in_force.get(one.run_id) != one.plant_sha256:
            apart.setdefault(one.plant_sheet, []).append(one.run_id)
    return tuple(_told(path, runs) for path, runs in apart.items())


def runs_it_is_for(
    heads: Iterable[dict[str, Any]], named: Sequence[str], plant: SheetText | None
) -> list[dict[str, Any]]:
    """The runs that are to be judged by a plant sheet: those named, else those of that plant.

    Args:
        heads: rows of the question ``current_runs``.
        named: runs that were named; none means all.
        plant: the plant sheet; None where each run is judged by its own.

    Raises:
        SheetError: a run that was named is of another plant, or no run is of this one.
    """
    chosen = [head for head in heads if not named or head["run_id"] in named]
    if plant is None:
        return chosen
    name = tomllib.loads(plant.text)["plant"]["name"]
    own = [head for head in chosen if head["plant"] == name]
    other = [head for head in chosen if head["plant"] != name]
    if other and (named or not own):
        raise SheetError(
            Complaint(
                f"{plant.name}: plant.name",
                f"the sheet is of plant '{name}', and run {head['run_id']} is of '{head['plant']}'",
                "Judge a run by its own plant's sheet: limits, roles and clocks are that plant's",
            )
            for head in other[:NAMED]
        )
    return own


def _told(path: Path, runs: list[str]) -> Message:
    if len(runs) == 1:
        return message(SheetNote.OTHER_OF_ONE, path=str(path), run=runs[0])
    more = {"more": len(runs) - NAMED} if len(runs) > NAMED else {}
    return message(SheetNote.OTHER, path=str(path), runs=len(runs), named=runs[:NAMED], **more)

"""Which plant sheet is a run judged by now, and in which units does the plant count its wire?"""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING

from pipeline.sheets.plant_sheet import PlantSheet

if TYPE_CHECKING:
    from pipeline.length.reel_places import Unit
    from pipeline.store.database import Store


def plant_sheet_of(store: Store, run_id: str) -> tuple[PlantSheet, str]:
    """The plant sheet the run is judged by now, and its hash."""
    (head,) = store.ask("questions/current_run", run_id=run_id)
    sha256 = head["judged_plant_sheet_sha256"] or head["plant_sheet_sha256"]
    text = store.ask("questions/sheet", sha256=sha256)[0]["text"]
    return PlantSheet.model_validate(tomllib.loads(text)), sha256


def unit_of_run(store: Store, run_id: str) -> Unit:
    """Feet or metres, as the plant sheet says that the run is judged by.

    Args:
        store: the store.
        run_id: a run on file.
    """
    return plant_sheet_of(store, run_id)[0].unit


def unit_of_plant(store: Store) -> Unit:
    """Feet or metres, by the sheet of the newest run on file; metres where nothing is on file."""
    heads = store.ask("questions/current_runs")
    return unit_of_run(store, heads[-1]["run_id"]) if heads else "m"


def plant_zone(store: Store) -> str:
    """The plant's zone, by the sheet of the newest run; UTC where nothing is on file."""
    heads = store.ask("questions/current_runs")
    return plant_sheet_of(store, heads[-1]["run_id"])[0].zone if heads else "UTC"


def roles_of_plant(store: Store) -> tuple[str, ...]:
    """The roles that the sheet of the newest run on file names, each once; none where nothing is on file."""
    heads = store.ask("questions/current_runs")
    if not heads:
        return ()
    plant, _ = plant_sheet_of(store, heads[-1]["run_id"])
    named = [role for roles in plant.may_decide.values() for role in roles]
    named += [*plant.response.call, *(one.owner for one in plant.response.due.values())]
    return tuple(dict.fromkeys(named))

"""What a judgement stands on, read from the store: enough to judge the run anywhere, without the store."""

from __future__ import annotations

import hashlib
import json
import tomllib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline import __version__
from pipeline.nonconformance.numbering import KnownFinding
from pipeline.nonconformance.numbering import known as remembered
from pipeline.record.finding_on_file import finding_of
from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.plant_sheet import PlantSheet
from pipeline.sheets.run_sheet import RunSheet
from pipeline.steps.load import SheetText

if TYPE_CHECKING:
    from pipeline.store.database import Store

# Raised when a change of method can change a judgement, so that runs are judged again.
METHOD_VERSION = "35"


@dataclass(frozen=True, slots=True)
class Basis:
    """What a judgement stands on, read back from the store.

    Args:
        head: the run's newest load, a row of the question ``current_run`` or ``current_runs``.
        run: its run sheet.
        line: its line sheet.
        plant: the plant sheet it is judged by.
        plant_sha256: hash of that sheet's text.
        sha256: identity of the judgement: load, plant sheet, method and software.
        known: every finding the run ever had, as last seen.
        earlier: the run's newest judgement on file, 0 where there is none.
    """

    head: dict[str, Any]
    run: RunSheet
    line: LineSheet
    plant: PlantSheet
    plant_sha256: str
    sha256: str
    known: tuple[KnownFinding, ...]
    earlier: int


def _plant_sha256(head: dict[str, Any], plant: SheetText | None) -> str:
    """The plant sheet named, else that of the load's newest judgement, else the one it was loaded with.

    A revised sheet stays in force when a later version of the program judges again without being told of it.
    """
    if plant is not None:
        return plant.sha256
    return str(head["judged_plant_sheet_sha256"] or head["plant_sheet_sha256"])


def basis_sha256(head: dict[str, Any], plant: SheetText | None) -> str:
    """Identity of a judgement of the run `head`: its load, the plant sheet, the method and the software."""
    parts = [head["load_id"], _plant_sha256(head, plant), METHOD_VERSION, __version__]
    return hashlib.sha256(json.dumps(parts, separators=(",", ":")).encode()).hexdigest()


def basis_of(store: Store, head: dict[str, Any], plant: SheetText | None) -> Basis:
    """The basis of a judgement of the run `head`.

    Args:
        store: the store.
        head: a row of the question ``current_run`` or ``current_runs``.
        plant: plant sheet to judge by; that of the newest judgement, else of the load, where it is None.
    """
    hashes = {kind: head[f"{kind}_sheet_sha256"] for kind in ("run", "line")}
    if plant is None:
        hashes["plant"] = _plant_sha256(head, None)
    texts = {kind: store.ask("questions/sheet", sha256=digest)[0]["text"] for kind, digest in hashes.items()}
    if plant is not None:
        texts["plant"] = plant.text
    sheets = {kind: tomllib.loads(text) for kind, text in texts.items()}
    run_id = head["run_id"]
    earlier = store.ask("questions/assessments_of_run", run_id=run_id)
    return Basis(
        head,
        RunSheet.model_validate(sheets["run"]["run"]),
        LineSheet.model_validate(sheets["line"]["line"]),
        PlantSheet.model_validate(sheets["plant"]),
        _plant_sha256(head, plant),
        basis_sha256(head, plant),
        tuple(remembered(finding_of(row)) for row in store.ask("questions/known_findings", run_id=run_id)),
        max((row["assessment_id"] for row in earlier), default=0),
    )

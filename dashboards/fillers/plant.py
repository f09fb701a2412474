"""The plant at the head of every page, from the plant sheet the runs were loaded with."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Any

from dashboards.records import Plant
from pipeline.sheets.plant_response import FindingResponse

if TYPE_CHECKING:
    from dashboards.fillers.run_book import RunBook
    from pipeline.store.database import Store

CAUTIONS = (
    "A page proposes; a qualified person decides, by the adopted standard, the local code and the plant's rules.",
)


def plant_of(store: Store, books: list[RunBook]) -> Plant:
    """The plant of the newest run on file; a plain one where nothing is on file."""
    if not books:
        return Plant("plant", "Plant", "UTC", cautions=CAUTIONS)
    head = books[-1].head
    sheet = store.ask("questions/sheet", sha256=head["plant_sheet_sha256"])
    written: dict[str, Any] = tomllib.loads(sheet[0]["text"]) if sheet else {}
    entry, response = written.get("plant", {}), FindingResponse.model_validate(written.get("response", {}))
    return Plant(
        id="".join(sign if sign.isalnum() else "-" for sign in head["plant"].lower()),
        name=str(entry.get("name", head["plant"])),
        zone=str(entry.get("zone", "UTC")),
        units="mm and meter" if entry.get("units") == "metric" else "mil and foot",
        is_demo=bool(entry.get("demo", False)),
        cautions=CAUTIONS,
        call=tuple(response.call.items()),
        due=tuple((name, one.owner, one.hours) for name, one in response.due.items()),
    )

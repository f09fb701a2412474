"""Which runs were trials of settings: by the load, or by the run sheet of a load that did not keep it apart."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipeline.store.database import Store


def trials_of_line(store: Store, line: str) -> frozenset[str]:
    """Runs of a line that their run sheets call trials of settings."""
    rows = store.ask("questions/trials_of_line", line=line)
    return frozenset(row["run_id"] for row in rows if row["trial"] or is_trial(row["text"]))


def is_trial(run_sheet: str) -> bool:
    """Whether a run sheet, a text on file, calls its run a trial of settings."""
    return bool(tomllib.loads(run_sheet).get("run", {}).get("trial", False))

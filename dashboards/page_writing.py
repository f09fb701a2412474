"""Pages: the site of everything on file, of which only what changed is written again.

A page stands on the loads and assessments it shows. What each page stood on is remembered beside the site, so
that an unchanged page is not even composed again.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from dashboards.page_hashes import keep_hashes, kept_hashes
from dashboards.page_planning import kinds_of, planned_pages
from dashboards.run_pages import OF_ONE_RUN, Outcome, Planned, batches_of, written_side_by_side
from dashboards.site import Site, write_assets
from pipeline.durable import write_whole
from pipeline.regular_file import json_of_file

if TYPE_CHECKING:
    from dashboards.records import Plant
    from pipeline.store.database import Store

MADE = ".made.json"


def write_pages(
    store: Store, out: Path, told: Callable[[str, int], None], refused: list[str] | None = None
) -> tuple[Path, int]:
    """Write the pages of everything on file into the folder `out`; a page that cannot be written stops no other.

    Args:
        store: the store, open to read.
        out: root of the site.
        told: told which page is under way.
        refused: gets a sentence for each page that could not be written; such a page is taken away.

    Returns:
        The index page, and how many pages were written because something in them changed.
    """
    refused = [] if refused is None else refused
    plant, planned = planned_pages(store)
    site = Site(out, frozenset(one.address for one in planned))
    assets = write_assets(site)
    made, known = _made(out), kept_hashes(out)
    kinds = kinds_of(planned)
    anew = []
    for one in planned:
        basis = f"{one.basis} {kinds}"
        if made.get(one.address) == basis and one.address in known and (out / one.address).is_file():
            told(one.record_id or one.kind, 1)
        else:
            anew.append(one)
            made[one.address] = basis
    written = 0
    hashes = {file.address: file.sha256 for file in assets}
    gone: list[str] = []
    for one, outcome in write_planned(anew, store, plant, site):
        written += outcome.changed
        hashes |= outcome.hashes
        if outcome.refused:
            del made[one.address]
            gone.append(one.address)
            refused.append(outcome.refused)
        told(one.record_id or one.kind, 1)
    write_whole(out / MADE, json.dumps(made, indent=0, sort_keys=True).encode())
    keep_hashes(out, hashes, gone)
    return out / "index.html", written


def write_planned(
    planned: Sequence[Planned], store: Store, plant: Plant, site: Site
) -> Iterator[tuple[Planned, Outcome]]:
    """Write pages, those about one run each in other processes where that is worth it; what came of each."""
    by_address = {one.address: one for one in planned}
    of_runs = [one for one in planned if one.kind in OF_ONE_RUN]
    others = [one for one in planned if one.kind not in OF_ONE_RUN]
    for where, outcome in written_side_by_side(batches_of(of_runs), others, store, plant, site):
        yield by_address[where], outcome


def _made(out: Path) -> dict[str, str]:
    """What each page stood on when it was last written; nothing where that is not known."""
    try:
        known = json_of_file(out / MADE)
    except (OSError, ValueError):
        return {}
    return known if isinstance(known, dict) else {}

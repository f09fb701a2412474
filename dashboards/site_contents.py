"""Which pages there are, remembered while persons only act, so that one page is planned from the runs it shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dashboards.fillers.run_book import Row, RunBook, ShelfBook
from dashboards.page_planning import PLANNERS, OnFile, all_planned, everything_on, kinds_of
from pipeline.record.entry_kinds import (
    ACCESS,
    ASSIGNED,
    COMMENT,
    EVIDENCE,
    PLAN_ACCEPTED,
    SAMPLE_WITHDRAWN,
    TAG,
)
from pipeline.record.holds_on_file import HOLD, LIFT

if TYPE_CHECKING:
    from dashboards.addresses import PageKind
    from dashboards.records import ConstructionComparison, Plant
    from dashboards.run_pages import Planned
    from pipeline.record.sample_say import SampleSay
    from pipeline.store.database import Store

# Pages that are planned alike from the runs they show alone; the others ask what comes before, after or besides.
_OF_THEIR_RUNS: frozenset[PageKind] = frozenset(
    ("run", "reel", "centring", "spectra", "lot", "finding", "nonconformance", "tuning", "charts")
)
# Journal entries after which samples say what they said, and those after which there are the same pages.
SAMPLES_SAY_THE_SAME = frozenset(
    ("disposition", HOLD, LIFT, "shipment", ACCESS, ASSIGNED, COMMENT, EVIDENCE, PLAN_ACCEPTED, TAG)
)
SAME_PAGES = SAMPLES_SAY_THE_SAME | {"sample", SAMPLE_WITHDRAWN}


@dataclass(frozen=True, slots=True)
class KnownPage:
    """A page that there is.

    Args:
        kind: its kind.
        record_id: id of what it is about.
        runs: the runs it is planned from; None for all.
    """

    kind: PageKind
    record_id: str
    runs: tuple[str, ...] | None


@dataclass(frozen=True, slots=True)
class Contents:
    """Which pages there are, as long as no run is loaded or judged and no containment asked for.

    Args:
        plant: the plant.
        heads: rows of the question ``current_runs``.
        comparisons: one a product made.
        pages: the pages by their addresses.
        kinds: the kinds of page there are.
    """

    plant: Plant
    heads: tuple[Row, ...]
    comparisons: list[ConstructionComparison]
    pages: Mapping[str, KnownPage]
    kinds: str


def contents_of(store: Store) -> Contents:
    """Which pages there are.

    Args:
        store: the store, open to read.
    """
    on_file = everything_on(store)
    planned = all_planned(on_file)
    runs: dict[tuple[str, ...], tuple[str, ...]] = {}  # many pages stand on the same ones

    def known(page: Planned) -> KnownPage:
        if page.kind not in _OF_THEIR_RUNS:
            return KnownPage(page.kind, page.record_id, None)
        ids = tuple(book.run_id for book in page.books)
        return KnownPage(page.kind, page.record_id, runs.setdefault(ids, ids))

    return Contents(
        on_file.plant,
        tuple(book.head for book in on_file.books),
        on_file.comparisons,
        {page.address: known(page) for page in planned},
        kinds_of(planned),
    )


def planned_page(
    contents: Contents, where: str, store: Store, samples: dict[str, Mapping[str, SampleSay]]
) -> Planned:
    """One page, planned as `planned_pages` would from what is on file now.

    Args:
        contents: which pages there are.
        where: its address, one of theirs.
        store: the store, open to read as long as the page is written.
        samples: what samples say of the reels of each run, as far as it is known; filled where it is asked for.
    """
    wanted = contents.pages[where]
    ids = None if wanted.runs is None else {*wanted.runs}
    heads = [head for head in contents.heads if ids is None or head["run_id"] in ids]
    shelf = ShelfBook(store, heads)
    shelf.take_samples(samples)
    books = [RunBook(store, head, shelf) for head in heads]
    planner = next(one for kinds, one in PLANNERS if wanted.kind in kinds)
    on_file = OnFile(store, contents.plant, books, contents.comparisons)
    return [page for page in planner(on_file) if page.address == where][-1]

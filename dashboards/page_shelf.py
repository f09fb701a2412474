"""Pages for the review site: each is written when somebody asks for it and what it shows has changed since.

They are the pages of the static site from the same records and templates, in a folder of their own, with marks where
the review site puts who is signed in and what they may do. Threads compose different pages side by side, each on a
connection and books of its own.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from threading import Lock, RLock
from typing import TYPE_CHECKING, Any

from dashboards.page_writing import MADE
from dashboards.site import Site, write_assets
from dashboards.site_contents import (
    SAME_PAGES,
    SAMPLES_SAY_THE_SAME,
    Contents,
    KnownPage,
    contents_of,
    planned_page,
)
from pipeline.durable import write_whole
from pipeline.errors import Complaint, StoreError
from pipeline.regular_file import json_of_file
from pipeline.store.copies import newest_copy
from pipeline.store.database import open_to_read

if TYPE_CHECKING:
    from dashboards.records import Plant
    from dashboards.run_pages import Planned
    from pipeline.record.sample_say import SampleSay
    from pipeline.store.database import Store


@dataclass(frozen=True, slots=True)
class OnShelf:
    """A file of the site as it is now.

    Args:
        path: where it is.
        page: the page it is, None for what a page needs besides.
        plant: the plant it is about.
    """

    path: Path
    page: KnownPage | None
    plant: Plant


@dataclass(frozen=True, slots=True)
class Plan:
    """What there is to show of one published copy of the store.

    Args:
        copy: the copy.
        contents: which pages there are.
        newest: number and chain of the journal's newest entry; None for an empty journal.
        site: where they are written.
        samples: what samples say of the reels of each run, as far as somebody asked.
        fresh: pages that were looked at since this copy came.
        kept: what else was worked out of this copy, which no act changes, by what it is.
        idle: connections to the copy that nobody reads from now, each with what closes it.
    """

    copy: Path
    contents: Contents
    newest: tuple[int, str] | None
    site: Site
    samples: dict[str, Mapping[str, SampleSay]]
    fresh: set[str] = field(default_factory=set)
    kept: dict[tuple[str, ...], Any] = field(default_factory=dict)
    idle: list[tuple[Store, ExitStack]] = field(default_factory=list)


class PageShelf:
    """The pages of one store, for one process.

    Args:
        store: the store's folder.
        folder: where the pages are written; nobody else may write there.
    """

    def __init__(self, store: Path, folder: Path) -> None:
        self.store = store
        self.folder = folder
        # Held for as long as it takes to open a copy, never while a page is composed.
        self._turn = RLock()
        self._of_page: defaultdict[str, Lock] = defaultdict(Lock)
        self._plan: Plan | None = None
        # What each page stood on, and the files that were written with it.
        self._made: dict[str, tuple[str, list[str]]] = _remembered(folder)
        self._page_of = {name: where for where, (_, names) in self._made.items() for name in names}
        self._assets: frozenset[str] = frozenset()

    def begin(self) -> None:
        """Make the folder and put the assets there, which a page for signing in needs."""
        self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        written = write_assets(Site(self.folder, served=True))
        self._assets = frozenset(one.address for one in written)

    def plan(self) -> Plan:
        """What there is to show of the newest copy of the store.

        Raises:
            StoreError: the store cannot be read.
        """
        known = self._plan
        if known is not None and known.copy == newest_copy(self.store):
            return known
        with self._turn:
            known = self._plan
            if known is not None and known.copy == newest_copy(self.store):
                return known
            with ExitStack() as opened:
                store = opened.enter_context(open_to_read(self.store))
                plan = self._planned(store, known)
                plan.idle.append((store, opened.pop_all()))
            self._plan = plan
            _let_go(known)
            return plan

    def _planned(self, store: Store, known: Plan | None) -> Plan:
        """The plan of a copy; what acts of persons cannot have changed since the last one is not asked anew."""
        copy = store.copy or self.folder
        last = store.ask("questions/last_entry")
        newest = (int(last[0]["entry_no"]), str(last[0]["chain_sha256"])) if last else None
        kinds = _kinds_since(store, known)
        if known is None or kinds is None or not kinds <= SAME_PAGES:
            contents = contents_of(store)
            site = Site(self.folder, frozenset(contents.pages), served=True)
            return Plan(copy, contents, newest, site, {})
        samples = dict(known.samples) if kinds <= SAMPLES_SAY_THE_SAME else {}
        return Plan(copy, known.contents, newest, known.site, samples)

    @contextmanager
    def reading(self) -> Iterator[tuple[Plan, Store]]:
        """What there is to show, and the store to ask as long as the block lasts, by this thread alone.

        Raises:
            StoreError: the store cannot be read.
        """
        with self._turn:
            plan = self.plan()
            if plan.idle:
                store, opened = plan.idle.pop()
            else:
                with ExitStack() as opening:
                    store = opening.enter_context(open_to_read(self.store, plan.copy))
                    opened = opening.pop_all()
        try:
            yield plan, store
        finally:
            with self._turn:
                if plan is self._plan:
                    plan.idle.append((store, opened))
                else:
                    opened.close()

    def runs_behind(self, where: str) -> tuple[str, ...] | None:
        """The runs that a page is planned from, as far as it was planned; None for all of them."""
        page = self._plan.contents.pages.get(where) if self._plan is not None else None
        return None if page is None else page.runs

    def asset(self, where: str) -> Path | None:
        """A style sheet or script that every page needs; None where there is none of that address."""
        return self.folder / where if where in self._assets else None

    def file(self, where: str) -> OnShelf | None:
        """The file at an address of the site, written anew where what it shows has changed; None where there is none.

        Args:
            where: address from the site's root, for example ``reels/R-1041.html``.

        Raises:
            StoreError: the store cannot be read, or the page cannot be written.
        """
        plan = self.plan()
        pages = plan.contents.pages
        page = where if where in pages else self._page_of.get(where, "")
        if page not in pages:
            return None
        if page not in plan.fresh:
            with self._of_page[page]:
                self._freshen(page)
        written = self._made.get(page)
        if written is None or where not in (page, *written[1]):
            return None
        return OnShelf(self.folder / where, pages[page] if where == page else None, plan.contents.plant)

    def _freshen(self, where: str) -> None:
        with self.reading() as (plan, store):
            if where in plan.fresh:
                return
            if where not in plan.contents.pages:  # a copy came meanwhile that has no such page
                self._made.pop(where, None)
                return
            page = planned_page(plan.contents, where, store, plan.samples)
            basis = f"{page.basis} {plan.contents.kinds}"
            known = self._made.get(where)
            if known is None or known[0] != basis or not (self.folder / where).is_file():
                self._write(page, basis, plan.site)
            plan.fresh.add(where)

    def _write(self, page: Planned, basis: str, site: Site) -> None:
        outcome = page.written(site)
        if outcome.refused:
            self._made.pop(page.address, None)
            raise StoreError(
                Complaint(f"page {page.address}", outcome.refused.rstrip("."), "The other pages can be read")
            )
        self._made[page.address] = (basis, sorted(outcome.hashes))
        self._page_of |= dict.fromkeys(outcome.hashes, page.address)

    def close(self) -> None:
        """Remember what was written, and let the store go."""
        with self._turn:
            _let_go(self._plan)
            self._plan = None
            with suppress(OSError):
                write_whole(self.folder / MADE, json.dumps(dict(self._made), sort_keys=True).encode())


def _let_go(plan: Plan | None) -> None:
    """Close a copy; who still reads from it closes their connection themselves."""
    while plan is not None and plan.idle:
        _, opened = plan.idle.pop()
        opened.close()


def _kinds_since(store: Store, known: Plan | None) -> frozenset[str] | None:
    """The kinds of journal entries since an earlier copy; None where the journal does not go on from it."""
    if known is None or known.newest is None:
        return None
    number, chain = known.newest
    there = store.ask("questions/chain_of_entry", entry_no=number)
    if not there or there[0]["chain_sha256"] != chain:
        return None
    return frozenset(row["kind"] for row in store.ask("questions/kinds_since", entry_no=number))


def _remembered(folder: Path) -> dict[str, tuple[str, list[str]]]:
    """What each page stood on when it was last written; nothing where that is not known."""
    try:
        known = json_of_file(folder / MADE)
        return {
            str(where): (str(basis), [str(name) for name in names]) for where, (basis, names) in known.items()
        }
    except (OSError, ValueError, AttributeError, TypeError):
        return {}

"""Pages for the review site: each is written when somebody asks for it and what it shows has changed since.

They are the pages of the static site from the same records and templates, in a folder of their own, with marks where
the review site puts who is signed in and what they may do.
"""

from __future__ import annotations

import json
from contextlib import ExitStack, suppress
from dataclasses import dataclass, field
from pathlib import Path
from threading import RLock
from typing import TYPE_CHECKING

from dashboards.page_writing import MADE, kinds_of, planned_pages
from dashboards.site import Site, write_assets
from pipeline.durable import write_whole
from pipeline.errors import Complaint, StoreError
from pipeline.regular_file import json_of_file
from pipeline.store.copies import newest_copy
from pipeline.store.database import open_to_read

if TYPE_CHECKING:
    from dashboards.records import Plant
    from dashboards.run_pages import Planned
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
    page: Planned | None
    plant: Plant


@dataclass(frozen=True, slots=True)
class _Plan:
    """What there is to show of one published copy of the store."""

    store: Store
    copy: Path
    plant: Plant
    pages: dict[str, Planned]
    kinds: str
    site: Site
    fresh: set[str] = field(default_factory=set)  # pages that were looked at since this copy came


class PageShelf:
    """The pages of one store, for one process; threads take turns in composing them.

    Args:
        store: the store's folder.
        folder: where the pages are written; nobody else may write there.
    """

    def __init__(self, store: Path, folder: Path) -> None:
        self.store = store
        self.folder = folder
        self._turn = RLock()
        self._open = ExitStack()
        self._plan: _Plan | None = None
        # What each page stood on, and the files that were written with it.
        self._made: dict[str, tuple[str, list[str]]] = _remembered(folder)
        self._page_of = {name: where for where, (_, names) in self._made.items() for name in names}
        self._assets: frozenset[str] = frozenset()

    def begin(self) -> None:
        """Make the folder and put the assets there, which a page for signing in needs."""
        self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        written = write_assets(Site(self.folder, served=True))
        self._assets = frozenset(one.address for one in written)

    def plan(self) -> _Plan:
        """What there is to show of the newest copy of the store.

        Raises:
            StoreError: the store cannot be read.
        """
        known = self._plan
        if known is not None and known.copy == newest_copy(self.store):
            return known
        with self._turn:
            if self._plan is not None and self._plan.copy == newest_copy(self.store):
                return self._plan
            self._open.close()
            self._plan = None
            store = self._open.enter_context(open_to_read(self.store))
            plant, planned = planned_pages(store)
            pages = {one.address: one for one in planned}
            site = Site(self.folder, frozenset(pages), served=True)
            self._plan = _Plan(store, store.copy or self.folder, plant, pages, kinds_of(planned), site)
            return self._plan

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
        page = plan.pages.get(where) or plan.pages.get(self._page_of.get(where, ""))
        if page is None:
            return None
        if page.address not in plan.fresh:
            with self._turn:
                self._freshen(page, plan)
        if where != page.address and where not in self._made[page.address][1]:
            return None
        return OnShelf(self.folder / where, page if where == page.address else None, plan.plant)

    def _freshen(self, page: Planned, plan: _Plan) -> None:
        if page.address in plan.fresh:
            return
        if plan is not self._plan:
            plan = self.plan()
            page = plan.pages.get(page.address, page)
        basis = f"{page.basis} {plan.kinds}"
        known = self._made.get(page.address)
        if known is None or known[0] != basis or not (self.folder / page.address).is_file():
            self._write(page, basis, plan.site)
        plan.fresh.add(page.address)

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
            self._open.close()
            self._plan = None
            with suppress(OSError):
                write_whole(self.folder / MADE, json.dumps(self._made, sort_keys=True).encode())


def _remembered(folder: Path) -> dict[str, tuple[str, list[str]]]:
    """What each page stood on when it was last written; nothing where that is not known."""
    try:
        known = json_of_file(folder / MADE)
        return {
            str(where): (str(basis), [str(name) for name in names]) for where, (basis, names) in known.items()
        }
    except (OSError, ValueError, AttributeError, TypeError):
        return {}

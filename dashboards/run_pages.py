"""Pages about one run each: its own, those of its reels and its centring, written side by side by several processes.

They are most of the work of a site and stand on their run alone, so any process that has the same published copy of
the store open may write them; which one did does not show in them.
"""

from __future__ import annotations

import hashlib
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, nullcontext
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from dashboards.addresses import PageKind, address
from dashboards.fillers.run import run_review
from dashboards.fillers.run_book import Row, RunBook, run_books
from dashboards.site import Site, style_mark
from pipeline import __version__
from pipeline.job.alone import refusal_of
from pipeline.job.local_crew import LocalCrew
from pipeline.job.processes import cores, seldom_swept
from pipeline.record.run_facts import MOST_AHEAD
from pipeline.store.database import Store, open_to_read

if TYPE_CHECKING:
    from dashboards.records import Plant
    from dashboards.site import WrittenFile

OF_ONE_RUN: tuple[PageKind, ...] = ("run", "reel", "centring", "spectra")
# A process takes about a second to start, in which the pages of four runs of eight hours are written.
WORTH_READINGS = 1_200_000
# What is given to a process at once: a run of eight hours, or many short ones.
BATCH_READINGS = 250_000
# All processes together, and what one takes beside the readings of one run.
MEMORY_BYTES = 1.5e9
_BYTES_A_PROCESS, _BYTES_A_READING = 0.3e9, 400.0


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of writing a page.

    Args:
        changed: whether its file changed.
        hashes: address -> SHA-256 of every file written for it.
        refused: why it could not be written, "" where it was.
    """

    changed: bool
    hashes: dict[str, str]
    refused: str = ""

    def __bool__(self) -> bool:
        return self.changed


@dataclass(frozen=True, slots=True)
class Planned:
    """One page: what it is, what it stands on, and how it is written; decisions do not bear on every page."""

    kind: PageKind
    record_id: str
    books: tuple[RunBook, ...]
    write: Callable[[Site], Iterable[WrittenFile]]
    also: str = ""  # what else it shows, for example the shifts before and after
    of_decisions: bool = True

    @property
    def address(self) -> str:
        """Where it is, from the root of the site."""
        return address(self.kind, self.record_id)

    @property
    def basis(self) -> str:
        """Digest of what the page stands on: loads, assessments, like runs, decisions, program, style."""
        digest = hashlib.sha256()
        for book in self.books:
            # Wire that left while held heads every page.
            digest.update(f"{book.basis} {book.told if self.of_decisions or book.has_left else 0}\n".encode())
        digest.update(f"{self.also} {__version__} {style_mark()}".encode())
        return digest.hexdigest()

    def written(self, site: Site) -> Outcome:
        """Write it; whether that changed it, or why it cannot be written. Then none of an earlier state is left."""
        try:
            with seldom_swept():
                files = tuple(self.write(site))
        except Exception as fault:
            refused = refusal_of(fault, f"page {self.address}")
            (site.folder / self.address).unlink(missing_ok=True)
            return Outcome(False, {}, str(refused.complaints[0]))
        changed = any(file.changed and file.address == self.address for file in files)
        return Outcome(changed, {file.address: file.sha256 for file in files})


def pages_of_run(plant: Plant, book: RunBook) -> list[Planned]:
    """The run's own page, and where it was judged those of its reels, its centring and its swings."""
    pages = [Planned("run", book.run_id, (book,), partial(_write_run, plant, book))]
    if book.is_judged and book.head["outcome"] == "judged":
        pages += [
            Planned("reel", reel["reel_id"], (book,), partial(_write_reel, plant, book, reel))
            for reel in book.reels
        ]
        pages.append(Planned("centring", book.run_id, (book,), partial(_write_centring, plant, book)))
        swings = partial(_write_spectra, plant, book)
        pages.append(Planned("spectra", book.run_id, (book,), swings, of_decisions=False))
    return pages


# A process that helps imports only what the pages it writes need: centring alone takes a second.
def _write_run(plant: Plant, book: RunBook, site: Site) -> Iterable[WrittenFile]:
    from dashboards.pages.run import write_run_page

    return write_run_page(run_review(plant, book), site)


def _write_reel(plant: Plant, book: RunBook, reel: Row, site: Site) -> Iterable[WrittenFile]:
    from dashboards.pages.reel import reel_review, write_reel_page

    return (write_reel_page(reel_review(plant, book, reel), site),)


def _write_centring(plant: Plant, book: RunBook, site: Site) -> Iterable[WrittenFile]:
    from dashboards.pages.centring import centring_review, write_centring_page

    return (write_centring_page(centring_review(plant, book), site),)


def _write_spectra(plant: Plant, book: RunBook, site: Site) -> Iterable[WrittenFile]:
    from dashboards.pages.spectra import spectra_review, write_spectra_page

    return (write_spectra_page(spectra_review(plant, book), site),)


@dataclass(frozen=True, slots=True)
class Batch:
    """Some runs and the addresses of their pages that are to be written."""

    heads: tuple[Row, ...]
    addresses: frozenset[str]


def batches_of(planned: Sequence[Planned]) -> list[Batch]:
    """Pages about one run each, put together by runs that follow each other."""
    wanted: dict[str, tuple[Row, list[str]]] = {}
    for one in planned:
        book = one.books[0]
        wanted.setdefault(book.run_id, (book.head, []))[1].append(one.address)
    batches: list[Batch] = []
    room = 0
    for head, addresses in wanted.values():
        if room < head["rows_kept"] or len(batches[-1].heads) == MOST_AHEAD:
            batches.append(Batch((), frozenset()))
            room = max(BATCH_READINGS, head["rows_kept"])
        batches[-1] = Batch((*batches[-1].heads, head), batches[-1].addresses.union(addresses))
        room -= head["rows_kept"]
    return batches


def write_batch(batch: Batch, store: Store, plant: Plant, site: Site) -> list[tuple[str, Outcome]]:
    """Write the pages of a batch; the address of each and what came of it.

    The books of its runs are opened anew, so that what they hold is let go with them.
    """
    return [
        (page.address, page.written(site))
        for book in run_books(store, batch.heads)
        for page in pages_of_run(plant, book)
        if page.address in batch.addresses
    ]


def processes_for(batches: Sequence[Batch]) -> int:
    """How many processes, this one counted, are worth having to write so much."""
    readings = [head["rows_kept"] for batch in batches for head in batch.heads]
    if sum(readings) < WORTH_READINGS:
        return 1
    each = _BYTES_A_PROCESS + _BYTES_A_READING * max(readings)
    return max(1, min(len(batches), cores(), int(MEMORY_BYTES / each)))


# What a process that helps works with: the store's folder and copy, the plant and the site, and the store once opened.
_given: list[tuple[Path, Path, Plant, Site]] = []
_opened: list[Store] = []
_held = ExitStack()


def _begin(folder: Path, copy: Path, plant: Plant, site: Site) -> None:
    _given.append((folder, copy, plant, site))


def _write(batch: Batch) -> list[tuple[str, Outcome]]:
    folder, copy, plant, site = _given[0]
    if not _opened:
        _opened.append(_held.enter_context(open_to_read(folder, copy)))
    return write_batch(batch, _opened[0], plant, site)


def written_side_by_side(
    batches: Sequence[Batch], others: Sequence[Planned], store: Store, plant: Plant, site: Site
) -> Iterator[tuple[str, Outcome]]:
    """Write batches in other processes and this one, which writes the other pages first; what came of each.

    What another process could not write this one does, so that a fault is told as it would be without the others.
    """
    processes = processes_for(batches) if store.copy is not None else 1
    own, waiting, under_way = deque(others), deque(batches), 0
    begin = (_begin, store.folder, store.copy, plant, site)
    with LocalCrew(processes - 1, _write, begin) if processes > 1 else nullcontext() as crew:
        while own or waiting or under_way:
            # As long as this process has other pages, the others must have enough.
            ahead = 0 if crew is None else 4 * crew.workers if own else crew.workers + 1
            while crew is not None and waiting and under_way < ahead:
                crew.give(waiting.popleft())
                under_way += 1
            if crew is not None and (crew.has_finished() or (not own and not waiting)):
                batch, outcome = crew.take()
                under_way -= 1
                failed = isinstance(outcome, Exception)
                yield from write_batch(batch, store, plant, site) if failed else outcome
            elif own:
                page = own.popleft()
                yield page.address, page.written(site)
            else:
                yield from write_batch(waiting.popleft(), store, plant, site)

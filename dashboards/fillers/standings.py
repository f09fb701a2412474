"""Standings as pages show them: the alarms first, then each reel's own."""

from __future__ import annotations

from collections.abc import Iterable, Set

from dashboards.fillers.run_book import RunBook
from dashboards.records import Alarm


def alarms_of(books: Iterable[RunBook], reels: Set[str] | None = None) -> tuple[Alarm, ...]:
    """Wire that left although it might not, or that no judgement stands behind now, of the reels of some runs.

    Args:
        books: the runs.
        reels: the reels to look at; None for all.
    """
    found: list[Alarm] = []
    for book in books:
        found += [
            Alarm(one.reel_id, one.sentence)
            for one in book.shelf.unjudged.get(book.run_id, ())
            if reels is None or one.reel_id in reels or not book.is_judged
        ]
        found += [
            Alarm(name, sentence)
            for name, one in book.standings.items()
            if one.left_while_held and (reels is None or name in reels)
            for sentence in one.alarms
        ]
    return tuple(found)

"""Standings as pages show them: the alarms first, then each reel's own."""

from __future__ import annotations

from collections.abc import Iterable, Set

from dashboards.fillers.run_book import RunBook
from dashboards.records import Alarm
from pipeline.record.standing import ALARMS, Standing


def alarms_of(books: Iterable[RunBook], reels: Set[str] | None = None) -> tuple[Alarm, ...]:
    """Wire that left although it might not, of the reels of some runs.

    Args:
        books: the runs.
        reels: the reels to look at; None for all.
    """
    return tuple(
        Alarm(name, sentence)
        for book in books
        for name, one in book.standings.items()
        if one.left_while_held and (reels is None or name in reels)
        for sentence in _sentences(one)
    )


def _sentences(one: Standing) -> tuple[str, ...]:
    """Every alarm of a reel: its own, and those of its lengths."""
    own = [one.headline] if one.code in ALARMS else []
    return tuple(dict.fromkeys([*own, *(each.headline for each in one.lengths if each.code in ALARMS)]))

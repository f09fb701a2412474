"""Note and check: what happens to the store is written in its journal, each entry chained to the one before."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline.lots.journal import Entry, next_entry

if TYPE_CHECKING:
    from pipeline.store.database import Store


def note(store: Store, kind: str, subject: str, record: Mapping[str, Any]) -> int:
    """Append an entry to the journal inside the caller's transaction; its number.

    Args:
        store: the store, open to write.
        kind: what happened: ``load``, ``assessment`` or a decision.
        subject: the run, reel or lot it happened to.
        record: what is kept of it: text, whole numbers, and lists and objects of these.
    """
    return note_all(store, kind, {subject: record})[0]


def note_all(store: Store, kind: str, records: Mapping[str, Mapping[str, Any]]) -> list[int]:
    """Append entries of one kind, one a subject, inside the caller's transaction; their numbers.

    Args:
        store: the store, open to write.
        kind: what happened.
        records: subject -> what is kept of it.
    """
    last = store.ask("questions/last_entry")
    before = entry_of(last[0]) if last else None
    at_utc = datetime.now(UTC)
    made: list[Entry] = []
    for subject, record in records.items():
        made.append(next_entry(made[-1] if made else before, at_utc, kind, subject, record))
    if made:
        names = [field.name for field in fields(Entry)]
        columns = {name: [getattr(entry, name) for entry in made] for name in names}
        columns["at_utc"] = [entry.at_utc.replace(tzinfo=None) for entry in made]
        store.append("journal.entry", pl.DataFrame(columns))
    return [entry.entry_no for entry in made]


def entry_of(row: Mapping[str, Any]) -> Entry:
    """A row of ``journal.entry`` as the entry it is."""
    return Entry(
        row["entry_no"],
        row["at_utc"].replace(tzinfo=UTC),
        row["kind"],
        row["subject"],
        row["record"],
        row["record_sha256"],
        row["chain_sha256"],
    )


def journal_of(store: Store) -> tuple[Entry, ...]:
    """The whole journal, in order."""
    return tuple(entry_of(row) for row in store.ask("questions/journal"))

"""Note and check: what happens to the store is written in its journal, each entry chained to the one before."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline.lots.journal import Broken, Entry, check_journal, next_entry

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
    last = store.ask("questions/last_entry")
    before = entry_of(last[0]) if last else None
    entry = next_entry(before, datetime.now(UTC), kind, subject, record)
    store.append(
        "journal.entry",
        pl.DataFrame(
            {
                "entry_no": entry.entry_no,
                "at_utc": entry.at_utc.replace(tzinfo=None),
                "kind": entry.kind,
                "subject": entry.subject,
                "record": entry.record,
                "record_sha256": entry.record_sha256,
                "chain_sha256": entry.chain_sha256,
            }
        ),
    )
    return entry.entry_no


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


def broken_entries(store: Store) -> tuple[Broken, ...]:
    """Every entry of the journal that is not as it was written; empty where all are."""
    return check_journal(journal_of(store))

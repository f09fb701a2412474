"""Note and check: what happens to the store is written in its journal, each entry chained to the one before."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import fields
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from pipeline.found import Noted
from pipeline.lots.journal import Entry, next_entry
from pipeline.messages import said
from pipeline.record.entry_kinds import CLOCK, SIGNED_ROOT

if TYPE_CHECKING:
    from pipeline.store.database import Store


# Clocks that are kept right by a server move by less.
CLOCK_STEP = timedelta(seconds=1)


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
    before = last_after_clock(store)
    at_utc = _now()
    made: list[Entry] = []
    for subject, record in records.items():
        made.append(next_entry(made[-1] if made else before, at_utc, kind, subject, record))
    _append(store, made)
    return [entry.entry_no for entry in made]


def note_once(store: Store, kind: str, subject: str, record: Mapping[str, Any]) -> int:
    """Append an entry unless the newest of its kind about this subject says the same; its number either way.

    A command that was killed after it had noted something is given again, and must not note it twice.

    Args:
        store: the store, open to write.
        kind: what happened.
        subject: what it happened to.
        record: what is kept of it, as for `note`.
    """
    of_kind = store.ask("questions/entries_of_kind", kind=kind)
    newest = next((entry_of(row) for row in reversed(of_kind) if row["subject"] == subject), None)
    if newest and newest.content == json.loads(json.dumps(record)):
        return newest.entry_no
    return note(store, kind, subject, record)


def _now() -> datetime:
    return datetime.now(UTC)


def last_after_clock(store: Store) -> Entry | None:
    """The entry that the next one follows, None for none; where the clock was set back, one that says so."""
    last = store.ask("questions/last_entry")
    if not last:
        return None
    before, at_utc = entry_of(last[0]), _now()
    if before.at_utc - at_utc < CLOCK_STEP:
        return before
    behind = (before.at_utc - at_utc).total_seconds()
    when = {"then": f"{before.at_utc:%Y-%m-%d %H:%M:%S}", "now": f"{at_utc:%Y-%m-%d %H:%M:%S}"}
    record = {"said": said(Noted.CLOCK_WENT_BACK, seconds=behind, entry=before.entry_no, **when)}
    told = next_entry(before, at_utc, CLOCK, "clock", record)
    _append(store, [told])
    return told


def _append(store: Store, made: list[Entry]) -> None:
    if made:
        import polars as pl  # late: commands that only read the journal start without it

        names = [field.name for field in fields(Entry)]
        columns = {name: [getattr(entry, name) for entry in made] for name in names}
        columns["at_utc"] = [entry.at_utc.replace(tzinfo=None) for entry in made]
        store.append("journal.entry", pl.DataFrame(columns))


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


def newest_signed(entries: Sequence[Entry]) -> str:
    """The newest signed root with the key that signed it, as a record prints both; "" where none was signed."""
    for entry in reversed(entries):
        if entry.kind == SIGNED_ROOT and "root" in entry.content:
            said = entry.content
            return f"{said['size']}:{said['root']}, by key {said['key']}"
    return ""

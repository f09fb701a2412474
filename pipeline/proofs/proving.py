"""Prove: the journal's entries about one reel, finding or shipment as a pack that shows nothing of any other.

Each entry carries its proof against the journal's root (RFC 9162), and where an earlier root is known from a
certificate, the pack proves as well that nothing before it was rewritten.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import TYPE_CHECKING

import polars as pl

from pipeline import __version__
from pipeline.errors import Complaint, ReelproofError
from pipeline.lots.journal import Anchor, Entry, anchor_of, check_journal, prove, prove_unchanged
from pipeline.lots.pack import PackContent
from pipeline.record.journal_on_file import journal_of
from pipeline.record.lengths import KIND, lengths_of_reel, lengths_on_file
from pipeline.record.not_found import not_on_file
from pipeline.wording.say import plain

if TYPE_CHECKING:
    from pipeline.store.database import Store


def entries_about(store: Store, name: str, entries: Sequence[Entry]) -> list[Entry]:
    """The journal's entries about one thing: its own, and of a reel those of its findings and of its lengths.

    Of a cut or rewound length: the cut it comes from, each rewinding on its way and of it, and what names it.

    Args:
        store: the store.
        name: a reel, length, finding, shipment, declaration, run or lot.
        entries: the journal.
    """
    about, wire = {name}, {name}
    if store.ask("questions/reel", reel_id=name):
        about |= {row["finding_id"] for row in store.ask("questions/finding_ids_of_reel", reel_id=name)}
        wire |= {row["length_id"] for row in lengths_of_reel(store, name)}
        way: set[str] = set()
    else:
        way = _way_to(store, name)
    return [
        entry
        for entry in entries
        if entry.subject in about or wire & _wire_named(entry) or _made(entry, way, name)
    ]


def _way_to(store: Store, name: str) -> set[str]:
    """A length and the lengths it was rewound from; none where no such length is on file."""
    source_of = {row["length_id"]: row["source_id"] for row in lengths_on_file(store)}
    way: set[str] = set()
    while name in source_of and name not in way:
        way.add(name)
        name = source_of[name]
    return way


def _made(entry: Entry, way: set[str], name: str) -> bool:
    """Whether an entry tells how a length on the way was made, or that `name` was rewound in its turn."""
    if entry.kind == "cut":
        return not way.isdisjoint(entry.content["lengths"])
    return (
        entry.kind == KIND
        and bool(way)
        and (entry.content["length"] in way or entry.content["source"] == name)
    )


def _wire_named(entry: Entry) -> set[str]:
    """The reels and lengths a shipment or declaration names."""
    if entry.kind not in ("shipment", "declaration"):
        return set()
    return {*entry.content.get("contents", ()), *entry.content.get("wire", ())}


def proof_content(
    store: Store, names: Iterable[str], at_utc: datetime, earlier: Anchor | None = None
) -> PackContent:
    """Everything that goes into a proof.

    Args:
        store: the store, open to read.
        names: whose entries are proved; none, with `earlier`, proves only that nothing was rewritten.
        at_utc: when it is made, UTC.
        earlier: size and root of the journal as a certificate prints them.

    Raises:
        NotFoundError: the journal holds nothing about a name; the nearest are named.
        ReelproofError: the journal is not whole, no longer has the earlier root, or nothing was asked.
    """
    entries = journal_of(store)
    wanted = tuple(names)
    broken = check_journal(entries)
    if broken or not entries:
        raise ReelproofError(
            [
                Complaint("journal", one.sentence, "Nothing can be proved from it; run 'reelproof verify'")
                for one in broken
            ]
            or Complaint("journal", "nothing stands in it yet", "Load and assess runs first")
        )
    if not wanted and earlier is None:
        raise ReelproofError(
            Complaint("prove", "nothing was asked", "Name a reel, finding or shipment, or give --since")
        )
    shown: dict[int, Entry] = {}
    for name in wanted:
        found = entries_about(store, name, entries)
        if not found:
            raise not_on_file("journal entry", name, sorted({entry.subject for entry in entries}))
        shown |= {entry.entry_no: entry for entry in found}
    chosen = [shown[number] for number in sorted(shown)]
    return PackContent(
        f"Proof of {', '.join(wanted)}" if wanted else "Proof that the journal was not rewritten",
        at_utc,
        f"reelproof {__version__}",
        {"entries": _readable(chosen)} if chosen else {},
        entries=prove(entries, sorted(shown)),
        anchor=anchor_of(entries),
        earlier=earlier,
        consistency=() if earlier is None else prove_unchanged(entries, earlier),
    )


def _readable(entries: Sequence[Entry]) -> pl.DataFrame:
    """The entries as a table a person can read; journal.json holds them whole."""
    return pl.DataFrame(
        [
            {
                "entry_no": entry.entry_no,
                "at_utc": entry.at_utc.replace(tzinfo=None),
                "kind": entry.kind,
                "subject": entry.subject,
                "sentence": plain(entry.told),
            }
            for entry in entries
        ]
    )

"""Was anything in the journal changed since it was written, and if so which entry?

Every entry's record is canonical JSON (RFC 8785) that holds its number, time, kind and subject; its SHA-256 is
chained to the entry before: chain_i = SHA-256(chain_(i-1) || SHA-256(record_i)). The records are the leaves of
a Merkle tree (RFC 9162), whose root of the day is printed on certificates.

What this shows: *unchanged since anchored*. It does not show that an entry was true when it was written, nor
anything about a journal rewritten as a whole whose roots nobody else keeps.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from pipeline.errors import Complaint, ReelproofError
from pipeline.found import Found
from pipeline.lots.canonical import canonical_text, read_canonical
from pipeline.lots.merkle import consistency_proof, inclusion_proof, leaf_hash, root_hash
from pipeline.messages import Message, as_written, message, message_of


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry; never changed.

    Args:
        entry_no: number, from 1 without a gap.
        at_utc: instant it was written, UTC.
        kind: what happened: ``load``, ``assessment``, ``disposition``.
        subject: run, reel, finding or lot it happened to.
        record: canonical JSON of the whole entry.
        record_sha256: its SHA-256, hexadecimal.
        chain_sha256: the chain up to here, hexadecimal.
    """

    entry_no: int
    at_utc: datetime
    kind: str
    subject: str
    record: str
    record_sha256: str
    chain_sha256: str

    @property
    def content(self) -> dict[str, Any]:
        """What is kept of what happened; empty where the record cannot be read."""
        try:
            held = read_canonical(self.record)["record"]
        except (ValueError, KeyError, TypeError):
            return {}
        return held if isinstance(held, dict) else {}

    @property
    def told(self) -> Message:
        """What happened; entries of earlier versions keep a sentence."""
        return told_of_record(self.content) or message(Found.ENTRY, kind=self.kind, subject=self.subject)


def told_of_record(content: Mapping[str, Any]) -> Message | None:
    """What the record of an entry says of itself; None where it says nothing."""
    if content.get("said"):
        return message_of(json.loads(str(content["said"])))
    return as_written(str(content["sentence"])) if content.get("sentence") else None


@dataclass(frozen=True, slots=True)
class Anchor:
    """What someone else knows of the journal: its size and root at some time, as printed on a certificate.

    Args:
        size: entries then.
        root: Merkle root then, hexadecimal.
    """

    size: int
    root: str

    def __str__(self) -> str:
        return f"{self.size}:{self.root}"


def anchor_from(text: str) -> Anchor:
    """Size and root as a certificate prints them, ``SIZE:ROOT``.

    Raises:
        ReelproofError: it is no such text.
    """
    size, _, root = text.strip().lower().partition(":")
    if not (
        size.isdecimal() and size.isascii() and len(size) < 17 and 0 < int(size) < 2**53 and _is_hash(root)
    ):
        raise ReelproofError(
            Complaint(
                f"'{text}'",
                "this is no journal size and root",
                "Give both as the certificate prints them, like 120:9f86d0...: entries, a colon, 64 hexadecimal "
                "digits",
            )
        )
    return Anchor(int(size), root)


@dataclass(frozen=True, slots=True)
class Broken:
    """Something in the journal that is not as it was written.

    Args:
        entry_no: the entry, 0 for the journal as a whole.
        sentence: what is wrong.
    """

    entry_no: int
    sentence: str


def _time_text(at_utc: datetime) -> str:
    return at_utc.astimezone(UTC).replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"


def next_entry(
    last: Entry | None, at_utc: datetime, kind: str, subject: str, record: Mapping[str, Any]
) -> Entry:
    """The entry that follows the last one.

    Args:
        last: the newest entry, None for the first.
        at_utc: when it is written, with the offset +00:00; a clock set back is kept as it was read.
        kind: what happened.
        subject: what it happened to.
        record: what is kept of it; whole numbers and text by preference, so that no reader rounds it.

    Raises:
        ReelproofError: the time is not in UTC, or the record has no canonical form.
    """
    if at_utc.utcoffset() != timedelta(0):
        raise ReelproofError(
            Complaint("journal", "the time of an entry is not in UTC", "Give the time with the offset +00:00")
        )
    entry_no = last.entry_no + 1 if last else 1
    whole = {
        "entry_no": entry_no,
        "at_utc": _time_text(at_utc),
        "kind": kind,
        "subject": subject,
        "record": dict(record),
    }
    text = canonical_text(whole, f"journal entry {entry_no}")
    digest = hashlib.sha256(text.encode()).digest()
    return Entry(
        entry_no,
        at_utc,
        kind,
        subject,
        text,
        digest.hex(),
        _chained(last.chain_sha256 if last else "", digest),
    )


def _chained(before: str, digest: bytes) -> str:
    return hashlib.sha256(bytes.fromhex(before) + digest).hexdigest()


def _entry_faults(entry: Entry, before: str) -> list[str]:
    """What is wrong with one entry, given the chain before it."""
    faults = []
    digest = hashlib.sha256(entry.record.encode("utf-8", "surrogatepass")).digest()
    if digest.hex() != entry.record_sha256:
        faults.append("its record does not have the hash that was written with it")
    try:
        chained = _chained(before, bytes.fromhex(entry.record_sha256))
    except ValueError:
        chained = ""
    if chained != entry.chain_sha256:
        faults.append("its chain does not follow from the entry before it")
    try:
        held = read_canonical(entry.record)
        canonical = canonical_text(held) == entry.record
    except (ValueError, ReelproofError):
        return [*faults, "its record is not canonical JSON"]
    shown = {"entry_no": entry.entry_no, "kind": entry.kind, "subject": entry.subject}
    shown["at_utc"] = _time_text(entry.at_utc)
    if not canonical:
        faults.append("its record is not canonical JSON")
    elif not isinstance(held, dict) or {name: held.get(name) for name in shown} != shown:
        faults.append("its number, time, kind or subject is not what its record says")
    return faults


def check_journal(entries: Sequence[Entry], anchors: Sequence[Anchor] = ()) -> tuple[Broken, ...]:
    """Everything in the journal that is not as it was written; empty if it is whole.

    Args:
        entries: every entry, in order.
        anchors: sizes and roots kept elsewhere; without one, entries cut off the end and a journal rewritten as
            a whole cannot be told.

    Returns:
        what is broken, in the order of the journal.
    """
    broken = []
    before = ""
    for place, entry in enumerate(entries, start=1):
        if entry.entry_no != place:
            broken.append(Broken(entry.entry_no, f"entry {entry.entry_no} stands where entry {place} should"))
        broken += [
            Broken(entry.entry_no, f"entry {entry.entry_no}: {fault}")
            for fault in _entry_faults(entry, before)
        ]
        before = entry.chain_sha256 if _is_hash(entry.chain_sha256) else ""
    leaves = _leaves(entries)
    for anchor in anchors:
        if anchor.size > len(entries):
            broken.append(
                Broken(0, f"the journal had {anchor.size} entries when it was anchored, now {len(entries)}")
            )
        elif root_hash(leaves[: anchor.size]).hex() != anchor.root:
            broken.append(
                Broken(0, f"the first {anchor.size} entries no longer have the root that was anchored")
            )
    return tuple(broken)


def _is_hash(text: str) -> bool:
    return len(text) == 64 and all(sign in "0123456789abcdef" for sign in text)


def _leaves(entries: Sequence[Entry]) -> list[bytes]:
    return [leaf_hash(entry.record.encode("utf-8", "surrogatepass")) for entry in entries]


def anchor_of(entries: Sequence[Entry]) -> Anchor:
    """Size and Merkle root of the journal as it stands: what is printed on certificates."""
    return Anchor(len(entries), root_hash(_leaves(entries)).hex())


def anchor_of_day(entries: Sequence[Entry], day: date) -> Anchor:
    """Size and root of the journal at the end of a day, UTC: of all before the first entry that is dated later.

    Where the clock was set back, entries after that one may be dated within the day and are not in it, for a root that
    was handed out must stay the root.
    """
    later = (place for place, entry in enumerate(entries) if entry.at_utc.astimezone(UTC).date() > day)
    return anchor_of(entries[: next(later, len(entries))])


@dataclass(frozen=True, slots=True)
class Proved:
    """One entry with the proof that it stands in a journal of a known root.

    Args:
        entry_no: its number.
        record: its canonical JSON.
        proof: hashes from the leaf up, hexadecimal.
    """

    entry_no: int
    record: str
    proof: tuple[str, ...]


def prove(entries: Sequence[Entry], wanted: Sequence[int]) -> tuple[Proved, ...]:
    """Entries with their proofs, so that they can be shown without the rest of the journal.

    Args:
        entries: every entry, in order.
        wanted: numbers of the entries to show.
    """
    leaves = _leaves(entries)
    return tuple(
        Proved(
            entry_no,
            entries[entry_no - 1].record,
            tuple(one.hex() for one in inclusion_proof(entry_no - 1, leaves)),
        )
        for entry_no in sorted(set(wanted))
    )


def prove_unchanged(entries: Sequence[Entry], earlier: Anchor) -> tuple[str, ...]:
    """The proof that the journal still begins as it did when an earlier root was given out, hexadecimal hashes.

    Args:
        entries: every entry, in order.
        earlier: the size and root of then.

    Raises:
        ReelproofError: the journal is shorter than it was, or no longer has that root; that is the finding.
    """
    broken = check_journal(entries, (earlier,))
    told = [one for one in broken if one.entry_no == 0]
    if told:
        raise ReelproofError(
            [
                Complaint(
                    "journal",
                    one.sentence,
                    "Check the root as the certificate prints it; if it stands, the journal was rewritten since",
                )
                for one in told
            ]
        )
    return tuple(one.hex() for one in consistency_proof(earlier.size, _leaves(entries)))


def consistency_from(entries: Sequence[Entry], earlier: int) -> tuple[bytes, ...]:
    """The hashes that show that a journal begins with its first `earlier` entries as somebody else knows them.

    Args:
        entries: every entry, in order.
        earlier: how many entries the other knows; none from 0 or from more than there are.
    """
    return consistency_proof(earlier, _leaves(entries)) if 0 < earlier <= len(entries) else ()


SIGNED_ROOT = "reelproof journal root 1"


def signed_bytes(anchor: Anchor) -> bytes:
    """The bytes that are signed to vouch for a journal's size and root."""
    return canonical_text(
        {"format": SIGNED_ROOT, "size": anchor.size, "root": anchor.root}, "journal root"
    ).encode()

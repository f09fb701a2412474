"""Sign the journal's root, and check the signatures: who vouches for the journal as it stood on a day?

A signed root stands in the journal itself and is handed out on certificates. Someone without the private key can
neither make one nor change anything before it unseen.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.errors import Complaint, ReelproofError
from pipeline.found import Noted
from pipeline.lots.journal import Anchor, Entry, anchor_of, check_journal, signed_bytes
from pipeline.lots.signing import is_signed, public_key, sign
from pipeline.messages import said
from pipeline.record.entry_kinds import SIGNED_ROOT
from pipeline.record.journal_on_file import journal_of, note

if TYPE_CHECKING:
    from pipeline.store.database import Store


@dataclass(frozen=True, slots=True)
class SignedRoot:
    """A root that was signed.

    Args:
        anchor: the journal's size and root.
        key: public key, hexadecimal.
        entry_no: the journal entry that keeps the signature.
    """

    anchor: Anchor
    key: str
    entry_no: int


def sign_root(store: Store, private_key: bytes, role: str) -> SignedRoot:
    """Sign the journal as it stands, and keep the signature in it.

    Args:
        store: the store, open to write.
        private_key: Ed25519 key, 32 bytes.
        role: role of whoever signs.

    Raises:
        ReelproofError: the journal is empty, or it is not whole and must not be vouched for.
    """
    entries = journal_of(store)
    if not entries:
        raise ReelproofError(
            Complaint("journal", "nothing stands in it yet", "Load and assess runs before signing it")
        )
    broken = check_journal(entries)
    if broken:
        raise ReelproofError(
            Complaint("journal", one.sentence, "Nothing was signed; find out who changed it first")
            for one in broken
        )
    key = public_key(private_key).hex()
    last = entries[-1]
    if (
        last.kind == SIGNED_ROOT
        and last.content.get("key") == key
        and last.content.get("size") == len(entries) - 1
    ):
        # The command was killed after it had signed, and given again: nothing came in between to sign.
        return SignedRoot(Anchor(len(entries) - 1, str(last.content["root"])), key, last.entry_no)
    anchor = anchor_of(entries)
    record = {
        "said": said(Noted.ROOT_SIGNED, size=anchor.size, role=role, key=key),
        "role": role,
        "size": anchor.size,
        "root": anchor.root,
        "key": key,
        "signature": sign(private_key, signed_bytes(anchor)).hex(),
    }
    with store.transaction():
        entry_no = note(store, SIGNED_ROOT, f"root {anchor.size}", record)
    return SignedRoot(anchor, key, entry_no)


def signature_faults(entries: Sequence[Entry], key: bytes | None = None) -> list[str]:
    """What is wrong with the signed roots in a journal, a sentence each.

    Args:
        entries: every entry, in order.
        key: public key known to be the plant's; None to take each signature by the key it names.
    """
    signed = [entry for entry in entries if entry.kind == SIGNED_ROOT]
    faults = [fault for entry in signed if (fault := _fault(entries, entry, key))]
    if key is not None and not signed:
        faults.append("no root of this journal was ever signed, so the key shows nothing about it.")
    return faults


def signed_up_to(entries: Sequence[Entry]) -> int:
    """How many entries the newest signed root covers, its own with them; 0 where none was ever signed."""
    covered = 0
    for entry in entries:
        if entry.kind == SIGNED_ROOT:
            size = entry.content.get("size", 0)
            covered = max(covered, size + 1 if size + 1 == entry.entry_no else size)
    return covered


def _fault(entries: Sequence[Entry], entry: Entry, key: bytes | None) -> str:
    """What is wrong with one signed root, "" for nothing."""
    try:
        record: dict[str, Any] = json.loads(entry.record)["record"]
        anchor = Anchor(int(record["size"]), str(record["root"]))
        public, signature = bytes.fromhex(record["key"]), bytes.fromhex(record["signature"])
        right = len(public) == 32 and is_signed(public, signed_bytes(anchor), signature)
    except (ValueError, KeyError, TypeError):
        return f"entry {entry.entry_no}: it holds no signed root that can be read."
    if not right:
        return f"entry {entry.entry_no}: the signature of its root does not fit the key it names."
    if anchor_of(entries[: anchor.size]) != anchor:
        return f"entry {entry.entry_no}: the first {anchor.size} entries no longer have the root that was signed."
    if key is not None and public != key:
        return f"entry {entry.entry_no}: its root was signed by another key: {public.hex()}."
    return ""

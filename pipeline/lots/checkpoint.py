"""How does somebody outside keep the journal's root so that any tool can check it? As a signed checkpoint.

A checkpoint is a note of three lines: the log's name, its size, its root. The plant's key signs it; a witness that
has seen every earlier one signs it too, with the time, once it has checked that nothing before was rewritten.

Source: C2SP signed-note, tlog-checkpoint and tlog-cosignature, version 1 (c2sp.org); RFC 8032 (Ed25519).
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import re
from dataclasses import dataclass

from pipeline.errors import Complaint, ReelproofError
from pipeline.lots.journal import Anchor, Entry
from pipeline.lots.signing import is_signed, public_key, sign

NOTE, COSIGNATURE = 0x01, 0x04
_NAME = re.compile(r"[^\s+]+")
_SIGNATURE = re.compile(r"\u2014 ([^\s+]+) ([A-Za-z0-9+/]+={0,2})")
# More than any note of ours; a file that somebody else wrote is not read without end.
LONGEST_NOTE = 65_536


@dataclass(frozen=True, slots=True)
class Verifier:
    """A name and a public key, as they are handed out: ``NAME+ID+KEY``.

    Args:
        name: name of the log or of the witness.
        key: public key, 32 bytes.
        kind: `NOTE` for a log's own signature, `COSIGNATURE` for a witness's.
    """

    name: str
    key: bytes
    kind: int = NOTE

    @property
    def key_id(self) -> bytes:
        """The four bytes that name the key in a signature line."""
        whole = self.name.encode() + b"\n" + bytes([self.kind]) + self.key
        return hashlib.sha256(whole).digest()[:4]

    def __str__(self) -> str:
        held = base64.b64encode(bytes([self.kind]) + self.key).decode()
        return f"{self.name}+{self.key_id.hex()}+{held}"


def verifier_from(text: str) -> Verifier:
    """A verifier as it is handed out, ``NAME+ID+KEY``.

    Raises:
        ReelproofError: it is none.
    """
    name, _, rest = text.strip().partition("+")
    key_id, _, held = rest.partition("+")
    try:
        raw = base64.b64decode(held, validate=True)
    except (binascii.Error, ValueError):
        raw = b""
    found = Verifier(name, raw[1:], raw[0] if raw else 0)
    if (
        len(raw) != 33
        or found.kind not in (NOTE, COSIGNATURE)
        or not _NAME.fullmatch(name)
        or found.key_id.hex() != key_id
    ):
        raise ReelproofError(
            Complaint(
                f"'{text}'",
                "this is no name with a public key",
                "Give it as the witness prints it at its start, like witness.example+1a2b3c4d+BF...",
            )
        )
    return found


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """What a checkpoint says, and the lines that sign it.

    Args:
        origin: the log's name.
        anchor: the journal's size and root.
        signatures: name, and key id with signature, in the order they stand.
    """

    origin: str
    anchor: Anchor
    signatures: tuple[tuple[str, bytes], ...] = ()

    @property
    def body(self) -> str:
        """The three lines that are signed."""
        root = base64.b64encode(bytes.fromhex(self.anchor.root)).decode()
        return f"{self.origin}\n{self.anchor.size}\n{root}\n"

    @property
    def text(self) -> str:
        """The whole note."""
        return f"{self.body}\n{''.join(signature_line(name, raw) for name, raw in self.signatures)}"

    def with_signatures(self, more: tuple[tuple[str, bytes], ...]) -> Checkpoint:
        """The same with further signatures."""
        return Checkpoint(self.origin, self.anchor, (*self.signatures, *more))


def origin_of(entries: tuple[Entry, ...] | list[Entry]) -> str:
    """The name of a journal as a log, from its first entry, which no two journals share."""
    return f"reelproof/journal/{entries[0].chain_sha256[:16]}"


def signature_line(name: str, raw: bytes) -> str:
    """A signature as a line of a note."""
    return f"\u2014 {name} {base64.b64encode(raw).decode()}\n"


def signatures_in(text: str) -> tuple[tuple[str, bytes], ...]:
    """The signatures that lines of a note hold.

    Raises:
        ValueError: a line is no signature.
    """
    found = []
    for line in text.splitlines():
        matched = _SIGNATURE.fullmatch(line)
        if matched is None:
            raise ValueError(f"'{line[:60]}' is no signature line")
        raw = base64.b64decode(matched.group(2), validate=True)
        if len(raw) < 5:
            raise ValueError(f"'{line[:60]}' is no signature line")
        found.append((matched.group(1), raw))
    return tuple(found)


def checkpoint_from(text: str) -> Checkpoint:
    """A checkpoint as it was written.

    Raises:
        ValueError: it is none, with the reason.
    """
    if len(text) > LONGEST_NOTE:
        raise ValueError("it is longer than a checkpoint can be")
    body, parted, signatures = text.partition("\n\n")
    lines = body.split("\n")
    if not parted or len(lines) < 3:
        raise ValueError("it has no three lines and a blank one before its signatures")
    origin, size, root = lines[:3]
    if len(lines) > 3:
        raise ValueError("it has lines beside name, size and root")
    raw = base64.b64decode(root, validate=True)
    if not re.fullmatch(r"0|[1-9][0-9]{0,15}", size) or len(raw) != 32 or not origin:
        raise ValueError("its size or root is none")
    return Checkpoint(origin, Anchor(int(size), raw.hex()), signatures_in(signatures))


def signed_checkpoint(origin: str, anchor: Anchor, private_key: bytes) -> Checkpoint:
    """A checkpoint with the signature of the log itself.

    Args:
        origin: the log's name; no spaces and no plus sign.
        anchor: the journal's size and root.
        private_key: Ed25519 key, 32 bytes.
    """
    plain = Checkpoint(origin, anchor)
    by = Verifier(origin, public_key(private_key))
    return plain.with_signatures(((origin, by.key_id + sign(private_key, plain.body.encode())),))


def cosigned(checkpoint: Checkpoint, name: str, private_key: bytes, at_s: int) -> tuple[str, bytes]:
    """The signature of a witness on a checkpoint, with the time at which it checked it.

    Args:
        checkpoint: what is signed.
        name: name of the witness.
        private_key: Ed25519 key, 32 bytes.
        at_s: time [s since 1970].
    """
    by = Verifier(name, public_key(private_key), COSIGNATURE)
    raw = sign(private_key, _said_at(checkpoint, at_s))
    return name, by.key_id + at_s.to_bytes(8, "big") + raw


def _said_at(checkpoint: Checkpoint, at_s: int) -> bytes:
    return f"cosignature/v1\ntime {at_s}\n{checkpoint.body}".encode()


def is_signed_by(checkpoint: Checkpoint, by: Verifier) -> bool:
    """Whether a checkpoint carries a right signature of a verifier."""
    for name, raw in checkpoint.signatures:
        if name != by.name or raw[:4] != by.key_id:
            continue
        if by.kind == NOTE and is_signed(by.key, checkpoint.body.encode(), raw[4:]):
            return True
        if by.kind == COSIGNATURE and len(raw) == 76:
            at_s = int.from_bytes(raw[4:12], "big")
            if is_signed(by.key, _said_at(checkpoint, at_s), raw[12:]):
                return True
    return False

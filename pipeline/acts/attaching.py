"""Attach a photo or a PDF to a finding, reel or lot: kept as it came, named by its hash, and sealed by the journal.

What a file is, its content says and not its name. PNG is ISO/IEC 15948, JPEG ISO/IEC 10918-1, PDF ISO 32000-1; the
marks that are looked for here are from memory.
"""

from __future__ import annotations

import hashlib
import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from pipeline.acts.following_up import check_role, put_once
from pipeline.durable import write_whole
from pipeline.errors import Complaint, ReelproofError
from pipeline.found import Noted
from pipeline.messages import said
from pipeline.record.attached import evidence_path
from pipeline.record.entry_kinds import EVIDENCE

if TYPE_CHECKING:
    from pipeline.nonconformance.disposition import Person
    from pipeline.store.database import Store

FileKind = Literal["png", "jpeg", "pdf"]
MOST_BYTES = 10_000_000
# A picture that unpacks to more would take a reader's memory (chosen here).
MOST_PIXELS = 60_000_000
LONGEST_NAME = 120
_PNG = b"\x89PNG\r\n\x1a\n"
_SIZE_MARKERS = {*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC}


@dataclass(frozen=True, slots=True)
class EvidenceFile:
    """A file as it came: its name, and its bytes."""

    name: str
    content: bytes


def kind_of_file(file: EvidenceFile) -> FileKind:
    """What a file is, by its content.

    Raises:
        ReelproofError: it is empty, too large, or neither a whole PNG, JPEG nor PDF.
    """
    content = file.content
    if not content or len(content) > MOST_BYTES:
        raise _refused(file, f"it has {len(content):,} bytes", f"Attach a file of 1 to {MOST_BYTES:,} bytes")
    if content.startswith(_PNG) and b"IEND" in content[24:][-16:] and content[12:16] == b"IHDR":
        width, height = struct.unpack(">II", content[16:24])
        _check_pixels(file, width, height)
        return "png"
    if content.startswith(b"\xff\xd8\xff") and content.rstrip(b"\0").endswith(b"\xff\xd9"):
        _check_pixels(file, *_jpeg_size(file))
        return "jpeg"
    if content.startswith(b"%PDF-") and b"%%EOF" in content[-2048:]:
        return "pdf"
    raise _refused(file, "by its content it is no whole PNG, JPEG or PDF", "Attach a photo or a PDF")


def _jpeg_size(file: EvidenceFile) -> tuple[int, int]:
    content, at = file.content, 2
    while at + 9 < len(content) and content[at] == 0xFF:
        marker = content[at + 1]
        if marker in _SIZE_MARKERS:
            height, width = struct.unpack(">HH", content[at + 5 : at + 9])
            return width, height
        at += 1 if marker == 0xFF else 2 + int.from_bytes(content[at + 2 : at + 4], "big")
    return 0, 0


def _check_pixels(file: EvidenceFile, width: int, height: int) -> None:
    if not 0 < width * height <= MOST_PIXELS:
        raise _refused(
            file,
            f"the picture has {width:,} by {height:,} points",
            f"Attach one of up to {MOST_PIXELS:,} points",
        )


def _refused(file: EvidenceFile, found: str, remedy: str) -> ReelproofError:
    return ReelproofError(Complaint(f"file {plain_name(file.name)}", found, remedy))


def plain_name(name: str) -> str:
    """A file's name without folders and unprintable signs, for people only: nothing is kept under it."""
    last = name.replace("\\", "/").rpartition("/")[2]
    return "".join(sign for sign in last if sign.isprintable())[:LONGEST_NAME].strip() or "without a name"


def attach(store: Store, subject: str, by: Person, reason: str, file: EvidenceFile) -> int:
    """Keep a file as evidence; the journal entry that seals it.

    Args:
        store: the store, open to write.
        subject: a finding, reel, cut length or lot.
        by: who.
        reason: what it shows.
        file: the file.

    Raises:
        NotFoundError: there is no such subject.
        DispositionRefused: the role is none of the plant's, or the words are missing.
        ReelproofError: the file is none that is kept.
    """
    kind = kind_of_file(file)
    digest = hashlib.sha256(file.content).hexdigest()
    with store.transaction():
        check_role(store, subject, by, reason)
        path = evidence_path(store.folder, digest)
        # On the disk before the journal names it; a file that no entry names is none.
        if not path.exists():
            path.parent.mkdir(parents=True, exist_ok=True)
            write_whole(path, file.content)
        name = plain_name(file.name)
        told = said(
            Noted.ATTACHED, subject=subject, by=str(by), name=name, reason=reason.rstrip("."), sha256=digest
        )
        record = {
            "said": told, **by.kept, "person": by.person, "reason": reason,
            "sha256": digest, "bytes": len(file.content), "type": kind, "name": name,
        }  # fmt: skip
        return put_once(store, EVIDENCE, subject, record)

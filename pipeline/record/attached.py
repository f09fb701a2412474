"""Which files are kept as evidence, and is each still as it was attached?"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.record.entry_kinds import EVIDENCE
from pipeline.record.journal_on_file import entry_of

if TYPE_CHECKING:
    from pipeline.store.database import Store

FOLDER = "evidence"
MEDIA_TYPES = {"png": "image/png", "jpeg": "image/jpeg", "pdf": "application/pdf"}


@dataclass(frozen=True, slots=True)
class Attached:
    """A file on file.

    Args:
        entry_no: the journal entry that seals it.
        subject: what it was attached to.
        sha256: hash of its bytes, hexadecimal.
        kind: png, jpeg or pdf.
        name: the name it came with.
    """

    entry_no: int
    subject: str
    sha256: str
    kind: str
    name: str


def evidence_path(store_folder: Path, sha256: str) -> Path:
    """Where a file of that hash is kept."""
    return store_folder / FOLDER / sha256[:2] / sha256


def attached(store: Store) -> tuple[Attached, ...]:
    """Every file that the journal knows, oldest first."""
    found = []
    for row in store.ask("questions/entries_of_kind", kind=EVIDENCE):
        told = entry_of(row).content
        sha256, kind = str(told.get("sha256", "")), str(told.get("type", ""))
        if re.fullmatch(r"[0-9a-f]{64}", sha256) and kind in MEDIA_TYPES:
            found.append(Attached(row["entry_no"], row["subject"], sha256, kind, str(told.get("name", ""))))
    return tuple(found)


def evidence_faults(store: Store) -> Iterator[str]:
    """Files of evidence that are not as they were attached; a sentence each."""
    for one in attached(store):
        try:
            content = evidence_path(store.folder, one.sha256).read_bytes()
        except OSError:
            yield f"Evidence {one.name} of {one.subject} (journal entry {one.entry_no}) is not there."
            continue
        if hashlib.sha256(content).hexdigest() != one.sha256:
            yield f"Evidence {one.name} of {one.subject} (journal entry {one.entry_no}) was changed."

"""Hand a pack over: it is written, and that it was handed out stands in the journal, both or neither."""

from __future__ import annotations

import shutil
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.errors import Complaint, ReelproofError
from pipeline.found import Noted
from pipeline.lots.journal import Anchor
from pipeline.lots.pack import PackContent, WrittenPack, packed, write_pack, zip_pack
from pipeline.lots.signing import public_key
from pipeline.messages import said
from pipeline.record.entry_kinds import HANDED_OUT
from pipeline.record.journal_on_file import note

if TYPE_CHECKING:
    from pipeline.store.database import Store


@dataclass(frozen=True, slots=True)
class HandedOver:
    """A pack that was handed over.

    Args:
        pack: the folder, its manifest's hash and its files.
        zip_file: the same as a zip file.
        anchor: the journal it is proved against, as it stood before this was noted.
        key: public key it was signed with, hexadecimal; "" where it was not.
        entry_no: the journal entry that keeps that it was handed over.
    """

    pack: WrittenPack
    zip_file: Path
    anchor: Anchor
    key: str
    entry_no: int


def zip_beside(folder: Path) -> Path:
    """Where the zip file of a pack's folder goes.

    Raises:
        ReelproofError: there is something of the folder's or the zip file's name already.
    """
    zip_file = folder.with_name(f"{folder.name}.zip")
    for taken in (folder, zip_file):
        if taken.exists():
            raise ReelproofError(
                Complaint(str(taken), "there is something of that name already", "Give a new folder")
            )
    return zip_file


def hand_over(
    store: Store,
    subject: str,
    content: PackContent,
    folder: Path,
    role: str,
    private_key: bytes | None = None,
) -> HandedOver:
    """Write a pack as a new folder and as a zip file beside it, and note it in the journal.

    Args:
        store: the store, open to write.
        subject: what the pack is about, as the journal names it.
        content: what goes in, with the journal's anchor.
        folder: where; must not be there yet.
        role: role of whoever hands it over.
        private_key: Ed25519 key to sign the manifest with.

    Raises:
        ReelproofError: the folder or its zip file is there already or cannot be written; nothing is then noted.
    """
    zip_file = zip_beside(folder)
    anchor = content.anchor or Anchor(0, "")
    key = "" if private_key is None else public_key(private_key).hex()
    files = packed(content, private_key)
    pack = write_pack(folder, files)
    with ExitStack() as taken_back:
        taken_back.callback(shutil.rmtree, folder, ignore_errors=True)
        zip_pack(folder, zip_file)
        taken_back.callback(zip_file.unlink, missing_ok=True)
        record = {
            "said": said(
                Noted.HANDED_OVER,
                subject=content.subject,
                role=role,
                pack=folder.name,
                files=pack.files,
                manifest=pack.manifest_sha256,
                **({"key": key} if key else {}),
            ),
            "role": role,
            "pack": folder.name,
            "files": pack.files,
            "manifest_sha256": pack.manifest_sha256,
            "journal_size": anchor.size,
            "journal_root": anchor.root,
            "signed_by": key,
        }
        with store.transaction():
            entry_no = note(store, HANDED_OUT, subject, record)
        taken_back.pop_all()
    return HandedOver(pack, zip_file, anchor, key, entry_no)

"""How is a lot's history handed to someone who has neither the store nor this program?

A pack is a folder (and the same as a zip file): a printable document, the data as CSV and Parquet, the lot's
journal entries with their Merkle proofs, a manifest of hashes, and a script that checks all of it with
Python's standard library alone. The manifest's own hash is printed on the certificate: that is the anchor
outside the pack.
"""

from __future__ import annotations

import hashlib
import io
import re
import shutil
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.errors import Complaint, ReelproofError
from pipeline.lots import verify_pack
from pipeline.lots.canonical import canonical_bytes
from pipeline.lots.journal import Anchor, Proved
from pipeline.lots.signing import public_key, sign

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*(/[A-Za-z0-9][A-Za-z0-9._-]*)*")
_FORMULA = r"^[=+\-@\t\r]"
_NUMBER = r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$"
# Sizes in a plain zip file have 32 bits.
GREATEST_ZIP = 2**32 - 1

READ_ME = """{subject}

What this is: what was on file about it when the pack was exported ({made_utc}).
  data/          the records as CSV and as Parquet, with the same rows in both; in the CSV an apostrophe stands
                 before a text that a spreadsheet would take for a formula
  journal.json   its journal entries, each with its proof against the journal's root
  manifest.json  every file with its size and SHA-256 hash
  verify.py      checks all of it: python3 verify.py

What verify.py shows: that nothing changed since the export. It does not show that what was recorded is true,
and someone who makes a whole new pack can make its hashes fit. So compare with what you know from elsewhere:
  python3 verify.py --manifest HASH    the manifest hash printed on the certificate
  python3 verify.py --root SIZE:ROOT   a journal root printed on an earlier certificate
  python3 verify.py --key HEX          the plant's public key, where the pack is signed

In-line evidence supports and does not replace the tests the adopted standard asks for. Whether wire may be
used or stay in service is decided by qualified people under the adopted codes, never by this pack.
"""


@dataclass(frozen=True, slots=True)
class PackContent:
    """What goes into a pack.

    Args:
        subject: what it is about, in words, for example ``Lot 2411-07``.
        made_utc: when it is exported, UTC.
        software: program and version.
        frames: name -> table; written as CSV and Parquet.
        documents: path in the pack -> content, such as the printable PDF.
        entries: the lot's journal entries with proofs.
        anchor: the journal's size and root that the proofs lead to; None without entries.
        earlier: size and root of the journal at some earlier time, shown to be its beginning; None for none.
        consistency: the proof of that, hashes in hexadecimal.
    """

    subject: str
    made_utc: datetime
    software: str
    frames: Mapping[str, pl.DataFrame]
    documents: Mapping[str, bytes] = field(default_factory=dict)
    entries: tuple[Proved, ...] = ()
    anchor: Anchor | None = None
    earlier: Anchor | None = None
    consistency: tuple[str, ...] = ()

    @property
    def journal(self) -> dict[str, Any] | None:
        """What the manifest says of the journal."""
        if self.anchor is None:
            return None
        before = self.earlier
        return {
            "size": self.anchor.size,
            "root": self.anchor.root,
            "earlier": None
            if before is None
            else {"size": before.size, "root": before.root, "proof": list(self.consistency)},
        }


@dataclass(frozen=True, slots=True)
class WrittenPack:
    """A pack as written.

    Args:
        folder: where it lies.
        manifest_sha256: hash to print on the certificate.
        files: files in it.
    """

    folder: Path
    manifest_sha256: str
    files: int


def _refuse(where: str, found: str, remedy: str) -> ReelproofError:
    return ReelproofError(Complaint(where, found, remedy))


def _flat(name: str, frame: pl.DataFrame) -> pl.DataFrame:
    """A frame that CSV can hold and a spreadsheet only shows: lists of text are joined by a semicolon."""
    lists = [column for column, kind in frame.schema.items() if kind == pl.List(pl.String)]
    nested = [
        column for column, kind in frame.schema.items() if kind.is_nested() and kind != pl.List(pl.String)
    ]
    if nested:
        raise _refuse(
            f"pack: table {name}",
            f"column {nested[0]} holds a {frame.schema[nested[0]]}",
            "Unfold it into columns of single values; CSV holds nothing else",
        )
    flat = frame.with_columns(pl.col(column).list.join("; ") for column in lists)
    # A text that a spreadsheet might take for a formula gets an apostrophe in front; the Parquet file has it as it is.
    texts = [column for column, kind in flat.schema.items() if kind == pl.String]
    risky = {
        column: pl.col(column).str.contains(_FORMULA) & ~pl.col(column).str.contains(_NUMBER)
        for column in texts
    }
    return flat.with_columns(
        pl.when(risky[column]).then("'" + pl.col(column)).otherwise(pl.col(column)).alias(column)
        for column in texts
    )


def _table_files(name: str, frame: pl.DataFrame) -> dict[str, bytes]:
    parquet = io.BytesIO()
    frame.write_parquet(parquet, compression="zstd")
    text = _flat(name, frame).write_csv(datetime_format="%Y-%m-%dT%H:%M:%S%.6fZ")
    return {f"data/{name}.csv": text.encode(), f"data/{name}.parquet": parquet.getvalue()}


def packed(content: PackContent, private_key: bytes | None = None) -> dict[str, bytes]:
    """Every file of a pack: path -> bytes.

    Args:
        content: what goes in.
        private_key: Ed25519 key to sign the manifest with; None to leave it unsigned.

    Raises:
        ReelproofError: a name cannot stand in a pack, or a table holds nested columns.
    """
    made = content.made_utc.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    files = dict(content.documents)
    for name, frame in content.frames.items():
        files |= _table_files(name, frame)
    files["README.txt"] = READ_ME.format(subject=content.subject, made_utc=made).encode()
    files["verify.py"] = Path(verify_pack.__file__).read_bytes()
    if content.anchor is not None:
        files["journal.json"] = canonical_bytes(
            [
                {"entry_no": one.entry_no, "record": one.record, "proof": list(one.proof)}
                for one in content.entries
            ]
        )
    wrong = [name for name in files if not _NAME.fullmatch(name)]
    if wrong:
        raise _refuse(
            "pack",
            f"'{wrong[0]}' cannot name a file in it",
            "Use letters, digits, dots, dashes and underscores",
        )
    manifest = canonical_bytes(
        {
            "format": verify_pack.FORMAT,
            "subject": content.subject,
            "made_utc": made,
            "software": content.software,
            "files": [
                {"path": name, "bytes": len(files[name]), "sha256": hashlib.sha256(files[name]).hexdigest()}
                for name in sorted(files)
            ],
            "journal": content.journal,
            "signed_by": None if private_key is None else public_key(private_key).hex(),
        }
    )
    files[verify_pack.MANIFEST] = manifest
    digest = hashlib.sha256(manifest).hexdigest()
    files[verify_pack.MANIFEST_HASH] = f"{digest}  {verify_pack.MANIFEST}\n".encode()
    if private_key is not None:
        files[verify_pack.SIGNATURE] = f"{sign(private_key, manifest).hex()}\n".encode()
    return files


def write_pack(folder: Path, files: Mapping[str, bytes]) -> WrittenPack:
    """Write a pack as a new folder; it appears whole or not at all.

    Args:
        folder: where; must not be there yet.
        files: every file of it (`packed`).

    Raises:
        ReelproofError: the folder is there already or cannot be written.
    """
    if folder.exists():
        raise _refuse(
            f"{folder}", "there is something of that name already", "Give a new folder for the pack"
        )
    partial = folder.with_name(f".{folder.name}.partial")
    try:
        shutil.rmtree(partial, ignore_errors=True)
        for name, raw in files.items():
            path = partial / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(raw)
        partial.rename(folder)
    except OSError as why:
        shutil.rmtree(partial, ignore_errors=True)
        raise _refuse(
            f"{folder}", f"the pack cannot be written ({why.strerror})", "Give a folder you may write in"
        ) from None
    return WrittenPack(folder, hashlib.sha256(files[verify_pack.MANIFEST]).hexdigest(), len(files))


def zip_pack(folder: Path, path: Path) -> Path:
    """The pack of a folder as a zip file in which every byte is fixed by what it holds.

    Args:
        folder: a pack.
        path: the zip file to write; must not be there yet.

    Raises:
        ReelproofError: the folder is no whole pack, the zip file is there already or would be too large.
    """
    files = verify_pack.files_of_folder(folder)
    problems = verify_pack.problems_of(files)
    if problems:
        raise ReelproofError([Complaint(f"{folder}", one, "Export the pack again") for one in problems])
    if sum(len(raw) + 200 for raw in files.values()) > GREATEST_ZIP:
        raise _refuse(f"{folder}", "the pack is larger than a zip file holds", "Hand over the folder instead")
    if path.exists():
        raise _refuse(
            f"{path}", "there is something of that name already", "Give a new name for the zip file"
        )
    named = [(f"{folder.name}/{name}", files[name]) for name in sorted(files)]
    partial = path.with_name(f".{path.name}.partial")
    try:
        partial.write_bytes(verify_pack.zip_bytes(named))
        partial.rename(path)
    except OSError as why:
        raise _refuse(
            f"{path}", f"the zip file cannot be written ({why.strerror})", "Give a folder you may write in"
        ) from None
    return path


def verify_files(
    path: Path, manifest_sha256: str = "", *, root: Anchor | None = None, key: bytes | None = None
) -> tuple[str, ...]:
    """Everything in a pack (folder or zip file) that is not as it was exported; empty if it is whole.

    Args:
        path: the pack.
        manifest_sha256: manifest hash from the certificate; "" where there is none to compare with.
        root: journal size and root from a certificate.
        key: public key known to be the plant's, 32 bytes.

    Raises:
        ReelproofError: there is no such folder or file.
    """
    if path.is_dir():
        files = verify_pack.files_of_folder(path)
        problems = verify_pack.problems_of(files)
    elif path.is_file():
        content = path.read_bytes()
        files, of_zip = verify_pack.files_of_zip(content, path)
        problems = (verify_pack.problems_of(files) if files else []) or of_zip
    else:
        raise _refuse(f"{path}", "there is no such folder or file", "Give the pack's folder or zip file")
    if not problems:
        problems = verify_pack.not_as_known(
            files, manifest_sha256, str(root) if root else "", key.hex() if key else ""
        )
    return tuple(problems)

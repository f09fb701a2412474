"""Anchor: the journal's root handed to somebody outside the store, so that no roll-back goes unseen.

Each way is apart: a folder of another owner, a witness on another machine, a time-stamp service, a webhook, e-mail.
What one of them refuses is told, and the others go on.
"""

from __future__ import annotations

import http.client
import json
import shutil
import smtplib
import subprocess
import tempfile
import urllib.error
import urllib.request
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from email.message import EmailMessage
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.durable import write_whole
from pipeline.errors import Complaint, ReelproofError
from pipeline.lots.checkpoint import (
    LONGEST_NOTE,
    Checkpoint,
    Verifier,
    checkpoint_from,
    is_signed_by,
    origin_of,
    signatures_in,
    signed_checkpoint,
)
from pipeline.lots.journal import Entry, anchor_of, check_journal, consistency_from
from pipeline.lots.witness import ADD, request_of
from pipeline.record.journal_on_file import journal_of
from pipeline.regular_file import text_of_file

if TYPE_CHECKING:
    from pipeline.store.database import Store

ENDING, STAMP_ENDING = ".checkpoint", ".tsr"
WAIT_S = 20.0


@dataclass(frozen=True, slots=True)
class Outside:
    """Who is told of the root.

    Args:
        folder: a folder of another owner, None for none.
        witness: address of a witness, "" for none.
        witness_key: its name and public key.
        stamp: address of an RFC 3161 time-stamp service, "" for none.
        stamp_ca: certificates its answers are checked with, PEM.
        webhook: address that gets the root as JSON, "" for none.
        mail: who gets it by e-mail, "" for none.
        mail_from: sender.
        mail_server: HOST:PORT of the mail server.
    """

    folder: Path | None = None
    witness: str = ""
    witness_key: Verifier | None = None
    stamp: str = ""
    stamp_ca: Path | None = None
    webhook: str = ""
    mail: str = ""
    mail_from: str = ""
    mail_server: str = "localhost:25"


@dataclass(frozen=True, slots=True)
class Anchored:
    """What came of handing the root out.

    Args:
        checkpoint: the signed root, with the witness's signature where there is one.
        done: whom it reached, a sentence each.
        failed: whom it did not reach and why, a sentence each.
    """

    checkpoint: Checkpoint
    done: tuple[str, ...]
    failed: tuple[str, ...]


class _RefusedError(Exception):
    """One way did not take the root; the text says why."""


def anchor_outside(store: Store, private_key: bytes, outside: Outside) -> Anchored:
    """Sign the journal's root as it stands and hand it out.

    Args:
        store: the store, open to read.
        private_key: Ed25519 key, 32 bytes.
        outside: to whom.

    Raises:
        ReelproofError: the journal is empty, or it is not whole and must not be vouched for.
    """
    entries = journal_of(store)
    broken = [one.sentence for one in check_journal(entries)] or (
        [] if entries else ["nothing stands in it yet"]
    )
    if broken:
        raise ReelproofError(
            Complaint("journal", one, "Nothing was signed; run 'reelproof verify'") for one in broken
        )
    checkpoint = signed_checkpoint(origin_of(entries), anchor_of(entries), private_key)
    done: list[str] = []
    failed: list[str] = []

    def tried(name: str, act: Callable[[], str]) -> None:
        try:
            done.append(f"{name}: {act()}")
        except (
            _RefusedError,
            OSError,
            ValueError,  # an address or answer that is none
            http.client.HTTPException,
            smtplib.SMTPException,
            subprocess.TimeoutExpired,
        ) as fault:
            failed.append(f"{name}: {str(fault).rstrip('.') or type(fault).__name__}.")

    if outside.witness and outside.witness_key is not None:
        given: list[Checkpoint] = []
        by = outside.witness_key
        tried(
            f"witness {outside.witness}", lambda: _witnessed(entries, checkpoint, outside.witness, by, given)
        )
        checkpoint = given[0] if given else checkpoint
    if outside.folder is not None:
        home = outside.folder
        tried(f"folder {home}", lambda: _filed(checkpoint, home))
    if outside.stamp:
        tried(f"time-stamp service {outside.stamp}", lambda: _stamped(checkpoint, outside))
    if outside.webhook:
        tried(f"webhook {outside.webhook}", lambda: _posted(checkpoint, outside.webhook))
    if outside.mail:
        tried(f"e-mail to {outside.mail}", lambda: _mailed(checkpoint, outside))
    return Anchored(checkpoint, tuple(done), tuple(failed))


def _post(address: str, content: bytes, kind: str) -> tuple[int, bytes]:
    """The status and body that an address answers with."""
    if not address.startswith(("http://", "https://")):
        raise _RefusedError("it is no address; give one that begins with https:// or http://")
    asked = urllib.request.Request(address, content, {"Content-Type": kind}, method="POST")  # noqa: S310
    try:
        with urllib.request.urlopen(asked, timeout=WAIT_S) as answer:  # noqa: S310 - checked above
            return answer.status, answer.read(1_000_000)
    except urllib.error.HTTPError as fault:
        return fault.code, fault.read(10_000)
    except (urllib.error.URLError, TimeoutError) as fault:
        raise _RefusedError(f"nobody answers there ({getattr(fault, 'reason', fault)})") from None


def _witnessed(
    entries: Sequence[Entry], checkpoint: Checkpoint, address: str, by: Verifier, given: list[Checkpoint]
) -> str:
    """Have a witness cosign; it is asked again from where it says it stands."""
    where = address.rstrip("/") + ADD
    old = 0
    for _ in range(2):
        proof = consistency_from(entries, old)
        status, body = _post(where, request_of(old, proof, checkpoint), "text/plain; charset=utf-8")
        text = body.decode("utf-8", "replace").strip()
        if status != 409 or not (text.isascii() and text.isdigit()) or int(text) == old:
            break
        old = int(text)
        if old > checkpoint.anchor.size:
            raise _RefusedError(
                f"it has cosigned {old} entries and this journal has {checkpoint.anchor.size}: the store was set back"
            )
    if status in (409, 422):
        raise _RefusedError(
            f"entries before {old} are others than those it cosigned: the journal was rewritten"
        )
    if status != 200:
        raise _RefusedError(f"it did not cosign (answer {status}: {text[:200]})")
    try:
        with_it = checkpoint.with_signatures(signatures_in(body.decode()))
    except ValueError as fault:
        raise _RefusedError(f"its answer is no cosignature ({fault})") from None
    if not is_signed_by(with_it, by):
        raise _RefusedError("its answer is not signed by the key given with --witness-key")
    given.append(with_it)
    return f"cosigned {checkpoint.anchor.size} entries."


def _filed(checkpoint: Checkpoint, home: Path) -> str:
    if not home.is_dir():
        raise _RefusedError("there is no such folder")
    path = home / f"{checkpoint.anchor.size:012d}{ENDING}"
    if path.exists():
        earlier = checkpoint_from(text_of_file(path, LONGEST_NOTE))
        if earlier.anchor != checkpoint.anchor:
            raise _RefusedError(f"{path.name} holds another root of as many entries: there are two histories")
    write_whole(path, checkpoint.text.encode())
    return f"{path.name} written."


def _stamped(checkpoint: Checkpoint, outside: Outside) -> str:
    """Have the checkpoint's three lines time-stamped, and check the stamp before it is kept."""
    if outside.folder is None or outside.stamp_ca is None:
        raise _RefusedError("give --folder, where stamps are kept, and --stamp-ca, its certificates")
    with tempfile.TemporaryDirectory() as scratch:
        data, query, answer = (Path(scratch) / name for name in ("data", "query", "answer"))
        data.write_bytes(checkpoint.body.encode())
        _openssl("ts", "-query", "-data", str(data), "-sha256", "-cert", "-out", str(query))
        status, body = _post(outside.stamp, query.read_bytes(), "application/timestamp-query")
        if status != 200:
            raise _RefusedError(f"it gave no stamp (answer {status})")
        answer.write_bytes(body)
        if not _openssl(
            "ts", "-verify", "-in", str(answer), "-queryfile", str(query), "-CAfile", str(outside.stamp_ca)
        ):
            raise _RefusedError("its stamp does not hold against the certificates given with --stamp-ca")
    path = outside.folder / f"{checkpoint.anchor.size:012d}{STAMP_ENDING}"
    write_whole(path, body)
    return f"{path.name} written."


def _openssl(*arguments: str) -> bool:
    """Run the time-stamp client of OpenSSL; whether it found what it was asked to be right."""
    program = shutil.which("openssl")
    if program is None:
        raise _RefusedError("the program openssl, which asks for stamps and checks them, is not installed")
    done = subprocess.run([program, *arguments], capture_output=True, check=False, timeout=WAIT_S)
    return done.returncode == 0


def _posted(checkpoint: Checkpoint, address: str) -> str:
    said = {
        "origin": checkpoint.origin,
        "size": checkpoint.anchor.size,
        "root": checkpoint.anchor.root,
        "checkpoint": checkpoint.text,
    }
    status, _ = _post(address, json.dumps(said).encode(), "application/json")
    if not 200 <= status < 300:
        raise _RefusedError(f"it was not taken (answer {status})")
    return f"taken (answer {status})."


def _mailed(checkpoint: Checkpoint, outside: Outside) -> str:
    host, _, port = outside.mail_server.partition(":")
    letter = EmailMessage()
    letter["From"], letter["To"] = outside.mail_from, outside.mail
    letter["Subject"] = f"Journal root, {checkpoint.anchor.size} entries"
    letter.set_content(
        "Keep this letter: it shows later whether the journal was set back or rewritten.\n\n"
        f"{checkpoint.anchor}\n\n{checkpoint.text}"
    )
    with smtplib.SMTP(host, int(port or 25), timeout=WAIT_S) as server:
        server.ehlo()
        if server.has_extn("starttls"):
            server.starttls()
            server.ehlo()
        server.send_message(letter)
    return "sent."


def anchors_against(
    entries: Sequence[Entry],
    home: Path,
    key: bytes,
    witness: Verifier | None = None,
    stamp_ca: Path | None = None,
) -> tuple[tuple[str, ...], int]:
    """What the checkpoints in a folder outside tell of a journal: what does not fit, and how far they reach.

    Args:
        entries: the journal.
        home: the folder.
        key: the plant's public key, 32 bytes.
        witness: whose cosignature each must carry, None for nobody's.
        stamp_ca: certificates that stamps are checked with, None to leave stamps unread.

    Raises:
        ReelproofError: the folder is not there or holds no checkpoint.
    """
    paths = sorted(home.glob(f"*{ENDING}")) if home.is_dir() else []
    if not paths:
        raise ReelproofError(
            Complaint(
                str(home),
                "no checkpoint lies there",
                "Name the folder that 'reelproof anchor --folder' wrote",
            )
        )
    told: list[str] = []
    reach = 0
    for path in paths:
        found = _against(entries, path, key, witness, stamp_ca)
        told += [f"{path.name}: {one}" for one in found[0]]
        reach = max(reach, found[1])
    return tuple(told), reach


def _against(
    entries: Sequence[Entry], path: Path, key: bytes, witness: Verifier | None, stamp_ca: Path | None
) -> tuple[list[str], int]:
    try:
        checkpoint = checkpoint_from(text_of_file(path, LONGEST_NOTE))
    except (ValueError, OSError) as fault:
        return [f"this is no checkpoint ({fault})."], 0
    told = []
    if not is_signed_by(checkpoint, Verifier(checkpoint.origin, key)):
        told.append("the plant's key did not sign it.")
    if entries and checkpoint.origin != origin_of(list(entries)):
        told.append(
            f"it is of the journal {checkpoint.origin}, and this one began anew: {origin_of(list(entries))}."
        )
    told += [f"{one.sentence}." for one in check_journal(entries, [checkpoint.anchor]) if one.entry_no == 0]
    if witness is not None and not is_signed_by(checkpoint, witness):
        told.append(f"the witness {witness.name} did not cosign it.")
    stamp = path.with_suffix(STAMP_ENDING)
    if stamp_ca is not None and stamp.exists():
        with tempfile.NamedTemporaryFile() as data:
            data.write(checkpoint.body.encode())
            data.flush()
            if not _openssl("ts", "-verify", "-in", str(stamp), "-data", data.name, "-CAfile", str(stamp_ca)):
                told.append(f"the stamp {stamp.name} does not hold for it.")
    return told, 0 if told else checkpoint.anchor.size

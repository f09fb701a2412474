"""Does every root a plant hands out continue the one before? A witness on another machine keeps the last it saw.

It cosigns a checkpoint only if the plant's key signed it and a proof shows that it begins with the last one. A journal
set back, or two versions of it, then get no cosignature, and nobody needs to remember anything.

Source: C2SP tlog-witness, version 1 (c2sp.org); RFC 9162, 2.1.4 (consistency proofs).
"""

from __future__ import annotations

import base64
import hashlib
import json
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Lock

from pipeline.durable import write_whole
from pipeline.errors import Complaint, ReelproofError
from pipeline.lots.checkpoint import (
    COSIGNATURE,
    Checkpoint,
    Verifier,
    checkpoint_from,
    cosigned,
    is_signed_by,
    signature_line,
)
from pipeline.lots.journal import Anchor
from pipeline.lots.signing import public_key
from pipeline.lots.verify_pack import consistent
from pipeline.regular_file import json_of_file

ADD = "/add-checkpoint"
LONGEST_REQUEST = 65_536
_SIZE = "text/x.tlog.size"


@dataclass(frozen=True, slots=True)
class WitnessAnswer:
    """What a witness answers.

    Args:
        status: HTTP status.
        text: body.
        kind: its media type.
    """

    status: int
    text: str
    kind: str = "text/plain; charset=utf-8"


class Witness:
    """The last checkpoint seen of each log, kept in a folder.

    Args:
        folder: where it is kept; made if it is not there.
        name: name of the witness.
        private_key: its Ed25519 key, 32 bytes.
        logs: public keys whose checkpoints it takes, 32 bytes each.
        now_s: the clock [s since 1970].
    """

    def __init__(
        self,
        folder: Path,
        name: str,
        private_key: bytes,
        logs: tuple[bytes, ...],
        now_s: Callable[[], float] = time.time,
    ) -> None:
        self._folder, self._name, self._key, self._logs, self._now_s = folder, name, private_key, logs, now_s
        self._turn = Lock()
        folder.mkdir(parents=True, exist_ok=True)

    @property
    def verifier(self) -> Verifier:
        """Name and public key to hand out."""
        return Verifier(self._name, public_key(self._key), COSIGNATURE)

    def _place(self, origin: str) -> Path:
        return self._folder / f"{hashlib.sha256(origin.encode()).hexdigest()}.json"

    def last_of(self, origin: str) -> Anchor | None:
        """The newest size and root cosigned of a log, None where it was never seen.

        Raises:
            ReelproofError: what was kept cannot be read; nothing is cosigned then.
        """
        place = self._place(origin)
        if not place.exists():
            return None
        try:
            held = json_of_file(place)
            return Anchor(int(held["size"]), str(held["root"]))
        except (OSError, ValueError, KeyError, TypeError):
            raise ReelproofError(
                Complaint(str(place), "what was kept of this log cannot be read", "Put a backup in its place")
            ) from None

    def add(self, request: bytes) -> WitnessAnswer:
        """Check a request of a log and answer with a cosignature, or with why there is none."""
        try:
            old, proof, checkpoint = _read(request)
        except ValueError as fault:
            return WitnessAnswer(400, f"{fault}\n")
        if not any(is_signed_by(checkpoint, Verifier(checkpoint.origin, key)) for key in self._logs):
            return WitnessAnswer(403, "no key known here signed this checkpoint\n")
        with self._turn:
            return self._add(old, proof, checkpoint)

    def _add(self, old: int, proof: tuple[bytes, ...], checkpoint: Checkpoint) -> WitnessAnswer:
        last, new = self.last_of(checkpoint.origin), checkpoint.anchor
        seen = last.size if last else 0
        if old != seen:
            return WitnessAnswer(409, f"{seen}\n", _SIZE)
        if old > new.size:
            return WitnessAnswer(400, "the checkpoint is older than the size it is said to follow\n")
        if last is not None and not consistent(
            last.size, new.size, bytes.fromhex(last.root), bytes.fromhex(new.root), list(proof)
        ):
            # Of the same size with another root, the protocol asks for a conflict.
            return (
                WitnessAnswer(409, f"{seen}\n", _SIZE)
                if old == new.size
                else WitnessAnswer(422, "it was rewritten\n")
            )
        if last is None and proof:
            return WitnessAnswer(400, "a first checkpoint has no proof\n")
        place = self._place(checkpoint.origin)
        kept = {"origin": checkpoint.origin, "size": new.size, "root": new.root}
        # What was promised must be known after a power cut.
        write_whole(place, json.dumps(kept).encode())
        return WitnessAnswer(
            200, signature_line(*cosigned(checkpoint, self._name, self._key, int(self._now_s())))
        )


def request_of(old: int, proof: tuple[bytes, ...], checkpoint: Checkpoint) -> bytes:
    """What a log asks a witness.

    Args:
        old: size of the last checkpoint the witness cosigned, 0 for none.
        proof: hashes that show that the new one begins with it.
        checkpoint: the new one.
    """
    lines = "".join(f"{base64.b64encode(one).decode()}\n" for one in proof)
    return f"old {old}\n{lines}\n{checkpoint.text}".encode()


def _read(request: bytes) -> tuple[int, tuple[bytes, ...], Checkpoint]:
    if len(request) > LONGEST_REQUEST:
        raise ValueError("the request is longer than any can be")
    head, parted, note = request.decode("utf-8").partition("\n\n")
    first, *lines = head.split("\n")
    word, _, size = first.partition(" ")
    if not parted or word != "old" or not (size.isascii() and size.isdigit() and len(size) < 16):
        raise ValueError("it does not begin with the size of the last checkpoint")
    if len(lines) > 63:
        raise ValueError("a proof has at most 63 hashes")
    proof = tuple(base64.b64decode(line, validate=True) for line in lines)
    if any(len(one) != 32 for one in proof):
        raise ValueError("a hash of the proof has not 32 bytes")
    return int(size), proof, checkpoint_from(note)


def server_of(witness: Witness, host: str, port: int) -> ThreadingHTTPServer:
    """A server for `witness`, listening and not yet serving.

    Args:
        witness: who answers.
        host: address to listen on.
        port: port; 0 for any.

    Raises:
        ReelproofError: the address is taken or not of this machine.
    """

    class Asked(BaseHTTPRequestHandler):
        timeout = 10.0

        def do_POST(self) -> None:
            size = self.headers.get("Content-Length", "")
            if self.path != ADD or not (size.isascii() and size.isdigit()) or int(size) > LONGEST_REQUEST:
                self._answer(WitnessAnswer(404, "only checkpoints are taken here\n"))
                return
            try:
                answer = witness.add(self.rfile.read(int(size)))
            except (ReelproofError, OSError) as fault:
                answer = WitnessAnswer(500, f"{fault}\n")
            self._answer(answer)

        def _answer(self, answer: WitnessAnswer) -> None:
            raw = answer.text.encode()
            headers: Mapping[str, str] = {"Content-Type": answer.kind, "Content-Length": str(len(raw))}
            self.send_response(answer.status)
            for name, value in headers.items():
                self.send_header(name, value)
            self.end_headers()
            self.wfile.write(raw)

        def log_message(self, *_what: object) -> None:
            return

    try:
        return ThreadingHTTPServer((host, port), Asked)
    except OSError as fault:
        raise ReelproofError(
            Complaint(f"{host}:{port}", f"it cannot listen there ({fault.strerror})", "Give another --listen")
        ) from None

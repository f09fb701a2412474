"""Roots handed out to a folder, a witness, a time-stamp service, a webhook and by e-mail, each real, on loopback."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from email import message_from_bytes
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from socket import socket
from threading import Thread
from typing import Any

import pytest

from pipeline.errors import ReelproofError
from pipeline.lots.checkpoint import checkpoint_from, verifier_from
from pipeline.lots.journal import anchor_of
from pipeline.lots.key_files import read_private_key, read_public_key, write_new_key
from pipeline.proofs.anchoring import Anchored, Outside, anchor_outside, anchors_against
from pipeline.proofs.signed_roots import sign_root
from pipeline.proofs.verifying import verified
from pipeline.record.journal_on_file import journal_of, newest_signed, note
from pipeline.store.database import open_to_read, open_to_write

ROOT = Path(__file__).parents[2]


def put(folder: Path, *subjects: str) -> None:
    with open_to_write(folder) as store, store.transaction():
        for subject in subjects:
            note(store, "remark", subject, {"sentence": f"{subject}."})


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    put(tmp_path / "store", "one", "two", "three")
    (tmp_path / "outside").mkdir()
    for name in ("plant.key", "witness.key"):
        write_new_key(tmp_path / name)
    return tmp_path / "store"


def anchored(home: Path, **more: Any) -> Anchored:
    outside = Outside(**{"folder": home.parent / "outside", **more})
    with open_to_read(home) as store:
        return anchor_outside(store, read_private_key(home.parent / "plant.key"), outside)


def against(folder: Path, **more: Any) -> tuple[tuple[str, ...], int]:
    with open_to_read(folder) as store:
        entries = journal_of(store)
    key = read_public_key(folder.parent / "plant.key.pub")
    return anchors_against(entries, folder.parent / "outside", key, **more)


def set_back(folder: Path) -> None:
    """The whole store as it was earlier, heads and copies with it."""
    shutil.rmtree(folder)
    shutil.copytree(folder.parent / "earlier", folder)


def test_a_folder_of_another_owner_shows_that_the_store_was_set_back(folder: Path) -> None:
    shutil.copytree(folder, folder.parent / "earlier")
    put(folder, "four")
    assert anchored(folder).done == (f"folder {folder.parent / 'outside'}: 000000000004.checkpoint written.",)
    assert against(folder) == ((), 4)
    put(folder, "five")
    assert against(folder) == ((), 4)
    set_back(folder)
    assert verified(folder).changes == (), "the store alone shows nothing"
    assert against(folder) == (
        ("000000000004.checkpoint: the journal had 4 entries when it was anchored, now 3.",),
        0,
    )


def test_two_versions_of_history_are_found(folder: Path) -> None:
    shutil.copytree(folder, folder.parent / "earlier")
    put(folder, "four")
    anchored(folder)
    set_back(folder)
    put(folder, "another four")
    assert against(folder)[0] == (
        "000000000004.checkpoint: the first 4 entries no longer have the root that was anchored.",
    )
    (failed,) = anchored(folder).failed
    assert failed == (
        f"folder {folder.parent / 'outside'}: 000000000004.checkpoint holds another root of as many entries: "
        "there are two histories."
    )


def test_a_journal_begun_anew_and_a_checkpoint_of_another_key_are_told(folder: Path) -> None:
    anchored(folder)
    shutil.rmtree(folder)
    put(folder, "one", "two", "three")
    told, reach = against(folder)
    assert "it is of the journal reelproof/journal/" in told[0] and "and this one began anew" in told[0]
    assert reach == 0
    place = folder.parent / "outside" / "000000000003.checkpoint"
    place.write_text(place.read_text().replace("\u2014", "-"))
    assert against(folder)[0][0].startswith("000000000003.checkpoint: this is no checkpoint (")
    write_new_key(folder.parent / "other.key")
    with open_to_read(folder) as store:
        entries = journal_of(store)
        place.unlink()
        anchored(folder)
    key = read_public_key(folder.parent / "other.key.pub")
    told, _ = anchors_against(entries, folder.parent / "outside", key)
    assert told == ("000000000003.checkpoint: the plant's key did not sign it.",)


def test_a_folder_without_checkpoints_is_refused(folder: Path) -> None:
    with pytest.raises(ReelproofError, match="no checkpoint lies there"):
        against(folder)
    assert anchored(folder, folder=folder.parent / "nowhere").failed == (
        f"folder {folder.parent / 'nowhere'}: there is no such folder.",
    )


def test_a_witness_on_loopback_cosigns_and_finds_a_store_set_back(folder: Path) -> None:
    with a_witness(folder.parent) as (address, key):
        more = {"witness": address, "witness_key": verifier_from(key)}
        shutil.copytree(folder, folder.parent / "earlier")
        assert anchored(folder, **more).done[0] == f"witness {address}: cosigned 3 entries."
        put(folder, "four", "five")
        assert anchored(folder, **more).done[0] == f"witness {address}: cosigned 5 entries."
        assert against(folder, witness=verifier_from(key)) == ((), 5)
        set_back(folder)
        assert anchored(folder, folder=None, **more).failed == (
            f"witness {address}: it has cosigned 5 entries and this journal has 3: the store was set back.",
        )
        put(folder, "four", "x")
        told = f"witness {address}: entries before 5 are others than those it cosigned: the journal was rewritten."
        assert anchored(folder, folder=None, **more).failed == (told,)
        put(folder, "six")
        assert anchored(folder, folder=None, **more).failed == (told,)
    (failed,) = anchored(folder, folder=None, **more).failed
    assert failed.startswith(f"witness {address}: nobody answers there (")


@contextmanager
def a_witness(home: Path) -> Iterator[tuple[str, str]]:
    """The command itself in a process of its own; its address and key."""
    asked = [
        sys.executable,
        "-m",
        "pipeline",
        "witness",
        str(home / "seen"),
        "--sign",
        str(home / "witness.key"),
    ]
    asked += ["--log", str(home / "plant.key.pub"), "--listen", "127.0.0.1:0"]
    environment = dict(os.environ, PYTHONPATH=str(ROOT))
    with subprocess.Popen(asked, stdout=subprocess.PIPE, text=True, env=environment) as process:
        assert process.stdout is not None
        key = process.stdout.readline().removeprefix("Witness key: ").strip()
        address = process.stdout.readline().removeprefix("Listening on ").partition(";")[0]
        try:
            yield address, key
        finally:
            process.send_signal(signal.SIGINT)
            assert process.wait(30) == 130


def test_a_checkpoint_the_witness_did_not_cosign_is_told(folder: Path) -> None:
    anchored(folder)
    with a_witness(folder.parent) as (_, key):
        told, _ = against(folder, witness=verifier_from(key))
    assert told == ("000000000003.checkpoint: the witness witness did not cosign it.",)


class _Asked(BaseHTTPRequestHandler):
    """Keeps what it is sent, and answers as its server says."""

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        status, answer = self.server.answers(body)  # type: ignore[attr-defined]
        self.send_response(status)
        self.end_headers()
        self.wfile.write(answer)

    def log_message(self, *_what: object) -> None:
        return


@contextmanager
def listening(answers: Any) -> Iterator[str]:
    server = HTTPServer(("127.0.0.1", 0), _Asked)
    server.answers = answers  # type: ignore[attr-defined]
    Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_address[1]}/"
    server.shutdown()
    server.server_close()


def test_a_webhook_gets_the_signed_root(folder: Path) -> None:
    got: list[bytes] = []

    def taken(body: bytes) -> tuple[int, bytes]:
        got.append(body)
        return 204, b""

    with listening(taken) as address:
        done = anchored(folder, folder=None, webhook=address)
    assert done.done == (f"webhook {address}: taken (answer 204).",)
    said = json.loads(got[0])
    assert checkpoint_from(said["checkpoint"]) == done.checkpoint
    assert (said["size"], said["root"]) == (3, done.checkpoint.anchor.root)
    with listening(lambda _body: (500, b"")) as address:
        assert anchored(folder, folder=None, webhook=address).failed == (
            f"webhook {address}: it was not taken (answer 500).",
        )
    odd = {
        "http://[": "webhook http://[: Invalid IPv6 URL.",
        "http://127.0.0.1:x/": "webhook http://127.0.0.1:x/: nonnumeric port: 'x'.",
    }
    for address, told in odd.items():
        assert anchored(folder, folder=None, webhook=address).failed == (told,)
    (folder.parent / "outside" / f"{3:012d}.checkpoint").write_text("no checkpoint")
    assert "it has no three lines and a blank one" in anchored(folder).failed[0]
    assert (
        "give one that begins with https://" in anchored(folder, folder=None, webhook="file:///etc").failed[0]
    )


def test_a_letter_holds_the_signed_root(folder: Path) -> None:
    from aiosmtpd.controller import Controller

    letters: list[bytes] = []

    class Box:
        async def handle_DATA(self, _server: object, _session: object, envelope: Any) -> str:
            letters.append(envelope.content)
            return "250 taken"

    with socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = Controller(Box(), hostname="127.0.0.1", port=port)
    server.start()
    try:
        to = {
            "mail": "audit@plant.example",
            "mail_from": "line@plant.example",
            "mail_server": f"127.0.0.1:{port}",
        }
        done = anchored(folder, folder=None, **to)
    finally:
        server.stop()
    assert done.done == ("e-mail to audit@plant.example: sent.",)
    letter = message_from_bytes(letters[0])
    assert letter["Subject"] == "Journal root, 3 entries"
    text = letter.get_payload(decode=True).decode()  # type: ignore[union-attr]
    assert str(done.checkpoint.anchor) in text
    assert anchored(folder, folder=None, **to).failed[0].startswith("e-mail to audit@plant.example: ")


def test_a_time_stamp_service_of_openssl_stamps_the_root(folder: Path) -> None:
    """RFC 3161, by `openssl ts -reply` behind HTTP; another's certificate does not do."""
    home = folder.parent / "tsa"
    authority(home)
    more = {"stamp_ca": home / "ca.pem"}
    with listening(lambda body: (200, stamped(home, body))) as address:
        done = anchored(folder, stamp=address, **more)
        assert done.failed == ()
        assert done.done[1] == f"time-stamp service {address}: 000000000003.tsr written."
        authority(folder.parent / "other")
        wrong = anchored(folder, stamp=address, stamp_ca=folder.parent / "other" / "ca.pem")
        assert wrong.failed == (
            f"time-stamp service {address}: its stamp does not hold against the certificates given with --stamp-ca.",
        )
    assert against(folder, **more) == ((), 3)
    put(folder, "four")
    anchored(folder)
    shutil.copy(
        folder.parent / "outside" / "000000000003.tsr", folder.parent / "outside" / "000000000004.tsr"
    )
    assert against(folder, **more)[0] == (
        "000000000004.checkpoint: the stamp 000000000004.tsr does not hold for it.",
    )


CONFIGURATION = """
[ tsa ]
default_tsa = one
[ one ]
serial = {home}/serial
signer_cert = {home}/tsa.pem
signer_key = {home}/tsa.key
certs = {home}/ca.pem
default_policy = 1.2.3.4.1
digests = sha256
signer_digest = sha256
ess_cert_id_alg = sha256
[ stamping ]
extendedKeyUsage = critical,timeStamping
"""


def authority(home: Path) -> None:
    """A time-stamp authority of our own: its certificates, for a day."""
    if shutil.which("openssl") is None:
        pytest.skip("needs the program openssl")
    home.mkdir()
    (home / "serial").write_text("01")
    (home / "ts.cnf").write_text(CONFIGURATION.format(home=home))
    new = ["req", "-newkey", "rsa:2048", "-nodes", "-subj"]
    openssl(*new, "/CN=root", "-x509", "-days", "1", "-keyout", home / "ca.key", "-out", home / "ca.pem")
    openssl(*new, "/CN=stamps", "-keyout", home / "tsa.key", "-out", home / "tsa.csr")
    signed = [
        "x509",
        "-req",
        "-in",
        home / "tsa.csr",
        "-CA",
        home / "ca.pem",
        "-CAkey",
        home / "ca.key",
        "-days",
        "1",
    ]
    openssl(*signed, "-extfile", home / "ts.cnf", "-extensions", "stamping", "-out", home / "tsa.pem")


def openssl(*arguments: object) -> None:
    subprocess.run(["openssl", *map(str, arguments)], check=True, capture_output=True)


def stamped(home: Path, query: bytes) -> bytes:
    (home / "query").write_bytes(query)
    asked = [
        "-queryfile",
        home / "query",
        "-config",
        home / "ts.cnf",
        "-section",
        "one",
        "-out",
        home / "reply",
    ]
    openssl("ts", "-reply", *asked)
    return (home / "reply").read_bytes()


def test_a_signature_given_again_after_a_kill_is_on_file_once(folder: Path) -> None:
    key = read_private_key(folder.parent / "plant.key")
    for _ in range(2):
        with open_to_write(folder) as store:
            done = sign_root(store, key, "quality manager")
            assert (done.entry_no, done.anchor.size, len(journal_of(store))) == (4, 3, 4)
    put(folder, "five")
    with open_to_write(folder) as store:
        assert sign_root(store, key, "quality manager").entry_no == 6


def test_verify_says_signed_only_where_the_newest_entry_is(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from pipeline.cli.app import run

    key = folder.parent / "plant.key"
    asked = ["verify", "--store", str(folder), "--key", f"{key}.pub"]
    with open_to_write(folder) as store:
        sign_root(store, read_private_key(key), "quality manager")
    assert run(asked) == 0
    told = capsys.readouterr().out
    assert "Signed roots cover the first 4 of 4 entries." in told
    assert "It was signed with the key given." in told
    put(folder, "five", "six")
    assert run(asked) == 0
    told = capsys.readouterr().out
    assert "Signed roots cover the first 4 of 6 entries." in told
    assert "It was signed" not in told
    assert told.endswith(
        "Not signed by anybody: the newest 2 entries. Whoever can write the store could have made them; sign "
        "again with 'reelproof journal --sign'.\n"
    )
    anchored(folder)
    assert run([*asked, "--anchors", str(folder.parent / "outside")]) == 0
    told = capsys.readouterr().out
    assert "Checkpoints outside the store cover the first 6 of 6 entries." in told
    with open_to_read(folder) as store:
        entries = journal_of(store)
    assert anchor_of(entries).size == 6
    # What a printed shift, finding or lot shows beside its journal root.
    assert newest_signed(entries) == f"{anchor_of(entries[:3])}, by key {read_public_key(key).hex()}"
    assert newest_signed(entries[:3]) == ""

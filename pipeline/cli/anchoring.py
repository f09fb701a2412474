"""Commands that hand the journal's root out and watch over it from another machine: anchor, witness."""

from __future__ import annotations

import sys
from pathlib import Path

import typer

from pipeline.cli.showing import JSON, STORE, print_json
from pipeline.errors import Complaint, ReelproofError


def add_to(app: typer.Typer) -> None:
    """Add these commands to `app`."""
    app.command()(anchor)
    app.command()(witness)


def anchor(
    signing: Path = typer.Option(..., "--sign", help="Sign the root with the private key in this file."),
    folder: Path | None = typer.Option(
        None, "--folder", help="Folder of another owner, another disk: the signed root is written there."
    ),
    witness_at: str = typer.Option("", "--witness", help="Address of a witness, as http://HOST:7441."),
    witness_key: str = typer.Option(
        "", "--witness-key", help="The witness's name and key, as it prints them at its start."
    ),
    stamp: str = typer.Option("", "--stamp", help="Address of an RFC 3161 time-stamp service."),
    stamp_ca: Path | None = typer.Option(
        None, "--stamp-ca", help="Certificates its stamps are checked with, PEM."
    ),
    webhook: str = typer.Option("", "--webhook", help="Address that gets the root as JSON."),
    mail: str = typer.Option("", "--mail", help="Who gets the root by e-mail."),
    mail_from: str = typer.Option("reelproof@localhost", "--mail-from", help="Sender of the e-mail."),
    mail_server: str = typer.Option("localhost:25", "--mail-server", help="Mail server, as HOST:PORT."),
    store: Path = STORE,
    as_json: bool = JSON,
) -> int:
    """Sign the journal's root and hand it to somebody outside.

    What lies outside shows later whether the store was set back or rewritten: reelproof verify --anchors FOLDER.

    Example: reelproof anchor --sign quality.key --folder /mnt/audit --store store
    """
    from pipeline.lots.checkpoint import verifier_from
    from pipeline.lots.key_files import read_private_key
    from pipeline.proofs.anchoring import Outside, anchor_outside
    from pipeline.store.database import open_to_read

    if not (folder or witness_at or stamp or webhook or mail):
        raise ReelproofError(
            Complaint(
                "anchor",
                "nobody outside is named",
                "Give --folder, --witness, --stamp, --webhook or --mail; several may be given",
            )
        )
    if bool(witness_at) != bool(witness_key):
        raise ReelproofError(
            Complaint(
                "anchor",
                "a witness needs its address and its key",
                "Give --witness and --witness-key; the witness prints its key at its start",
            )
        )
    by = verifier_from(witness_key) if witness_key else None
    outside = Outside(folder, witness_at, by, stamp, stamp_ca, webhook, mail, mail_from, mail_server)
    private_key = read_private_key(signing)
    with open_to_read(store) as opened:
        done = anchor_outside(opened, private_key, outside)
    if as_json:
        print_json(
            {
                "size": done.checkpoint.anchor.size,
                "root": done.checkpoint.anchor.root,
                "checkpoint": done.checkpoint.text,
                "done": list(done.done),
                "failed": list(done.failed),
            }
        )
    else:
        print(f"Signed: {done.checkpoint.anchor}")
        for sentence in done.done:
            print(sentence)
    for sentence in done.failed:
        print(sentence, file=sys.stderr)
    return 1 if done.failed else 0


def witness(
    folder: Path = typer.Argument(help="Folder that keeps the last root seen of each store."),
    signing: Path = typer.Option(
        ..., "--sign", help="The witness's own private key; make one with 'reelproof key'."
    ),
    logs: list[Path] = typer.Option(
        ..., "--log", help="Public key of a plant whose roots it takes; may be repeated."
    ),
    name: str = typer.Option(
        "witness", "--name", help="Name of this witness, without spaces or a plus sign."
    ),
    listen: str = typer.Option("127.0.0.1:7441", "--listen", help="Address to listen on, as HOST:PORT."),
) -> int:
    """Watch over journals from another machine. It signs each root that goes on from the last.

    It shows where a store was set back or rewritten.

    It speaks the C2SP tlog-witness protocol, version 1. Run it where nobody who can write the store can write.

    Example: reelproof witness seen --sign witness.key --log quality.key.pub --listen 0.0.0.0:7441
    """
    import signal
    from contextlib import suppress

    from pipeline.lots.key_files import read_private_key, read_public_key
    from pipeline.lots.witness import Witness, server_of

    host, _, port = listen.rpartition(":")
    if not (host and port.isascii() and port.isdigit() and int(port) < 65536):
        raise ReelproofError(
            Complaint(f"--listen {listen}", "this is no address with a port", "Give it as 127.0.0.1:7441")
        )
    if not name or any(sign.isspace() or sign == "+" for sign in name):
        raise ReelproofError(
            Complaint(f"--name '{name}'", "it is empty or has a space or a plus sign", "Give a plain name")
        )
    one = Witness(folder, name, read_private_key(signing), tuple(read_public_key(path) for path in logs))
    server = server_of(one, host, int(port))
    with suppress(ValueError):  # Only a main thread may set it.
        signal.signal(signal.SIGTERM, signal.default_int_handler)
    print(f"Witness key: {one.verifier}", flush=True)
    print(f"Listening on http://{host}:{server.server_address[1]}; Ctrl-C stops it.", flush=True)
    with server:
        server.serve_forever()
    return 0

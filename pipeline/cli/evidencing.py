"""Commands an auditor checks the evidence with: key, journal, prove, verify."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from pipeline.cli.showing import JSON, STORE, print_json, print_table, tell_of_wait
from pipeline.cli.typed import day_of, role_or_refused
from pipeline.errors import Complaint, ReelproofError
from pipeline.wording.say import plain
from pipeline.words import counted

if TYPE_CHECKING:
    from pipeline.acts.handing_over import HandedOver
    from pipeline.lots.journal import Anchor


def add_to(app: typer.Typer) -> None:
    """Add these commands to `app`."""
    app.command()(key)
    app.command()(journal)
    app.command()(prove)
    app.command()(verify)


def key(
    file: Path = typer.Argument(help="New file for the private key, outside every store."),
    as_json: bool = JSON,
) -> int:
    """Make a signing key (Ed25519). The private half is in FILE, for its owner's eyes alone, the public in
    FILE.pub.

    Whoever holds the private key can sign in the plant's name: keep it off shared disks and backups of the store,
    and hand the public key out by another way than the packs. Who may hold it is the plant's own rule.

    Example: reelproof key quality.key
    """
    from pipeline.lots.key_files import public_path, write_new_key

    _check_outside_stores(file)
    public = write_new_key(file)
    if as_json:
        print_json({"private_key": file, "public_key": public_path(file), "public_key_hex": public})
        return 0
    print(f"Written: {file} (private, readable by its owner alone) and {public_path(file)} (public).")
    print(f"Public key: {public}")
    print(
        "Keep the private file out of stores, packs and shared folders; whoever holds it signs in your name."
    )
    return 0


def _check_outside_stores(file: Path) -> None:
    from pipeline.store.database import DATABASE

    for folder in file.absolute().resolve().parents:
        if (folder / DATABASE).exists():
            raise ReelproofError(
                Complaint(
                    str(file),
                    f"this lies inside the store {folder}",
                    "A key kept with what it signs proves nothing; give a place outside every store",
                )
            )


def journal(
    subject: str | None = typer.Argument(
        None, metavar="SUBJECT", help="Only what is about this reel, finding, run, lot or shipment."
    ),
    day: str | None = typer.Option(
        None, "--day", help="The root at the end of this day, like 2026-03-05 (UTC)."
    ),
    sign: Path | None = typer.Option(None, "--sign", help="Sign the root with the private key in this file."),
    role: str = typer.Option(
        "", "--role", help="Your role in the plant; needed with --sign and --accept-loss."
    ),
    accept_loss: str = typer.Option(
        "",
        "--accept-loss",
        metavar="REASON",
        help="Entries of the journal are lost for good, for this reason: note it and go on.",
    ),
    store: Path = STORE,
    as_json: bool = JSON,
) -> int:
    """List what stands in the journal, or sign its root.

    The root is what certificates print. Written down elsewhere, it shows later whether anything before it changed.

    Example: reelproof journal L1-0412-02 --store store

    Example: reelproof journal --sign quality.key --role "quality manager" --store store
    """
    from pipeline.lots.journal import anchor_of, anchor_of_day
    from pipeline.record.journal_on_file import journal_of
    from pipeline.store.database import open_to_read

    if accept_loss:
        return _accept_loss(accept_loss, role, store, as_json)
    if sign is not None:
        return _sign(sign, role, store, as_json)
    with open_to_read(store) as opened:
        entries = journal_of(opened)
        anchor = anchor_of(entries) if day is None else anchor_of_day(entries, day_of(day, "--day"))
        shown = list(entries[: anchor.size])
        if subject is not None:
            from pipeline.proofs.proving import entries_about
            from pipeline.record.not_found import not_on_file

            shown = entries_about(opened, subject, shown)
            if not shown:
                raise not_on_file("journal entry", subject, sorted({one.subject for one in entries}))
    rows = [
        {
            "entry_no": one.entry_no,
            "at_utc": one.at_utc.replace(tzinfo=None),
            "kind": one.kind,
            "subject": one.subject,
            "sentence": plain(one.told),
        }
        for one in shown
    ]
    if as_json:
        print_json({"size": anchor.size, "root": anchor.root, "entries": rows})
        return 0
    print_table(
        ("Entry", "At UTC", "Kind", "Subject", "What"),
        [
            (
                str(one.entry_no),
                f"{one.at_utc:%Y-%m-%d %H:%M:%S}",
                one.kind,
                one.subject,
                plain(one.told),
            )
            for one in shown
        ],
    )
    print(f"\nJournal of {anchor.size} entries; its root, to be kept elsewhere: {anchor}")
    return 0


def _accept_loss(reason: str, role: str, store: Path, as_json: bool) -> int:
    from pipeline.acts.accepting_loss import accept_loss

    role_or_refused("journal --accept-loss", role)
    done = accept_loss(store, role, reason.rstrip("."), tell_of_wait)
    if as_json:
        print_json({"journal_entry": done.entry_no, "sentence": done.told, "set_aside": done.folder})
        return 0
    print(f"Entry {done.entry_no}: {plain(done.told)}")
    if done.folder is not None:
        print(f"What the journal does not know was moved to {done.folder}; keep it.")
    return 0


def _sign(file: Path, role: str, store: Path, as_json: bool) -> int:
    from pipeline.lots.key_files import read_private_key
    from pipeline.proofs.signed_roots import sign_root
    from pipeline.store.database import open_to_write

    role_or_refused("journal --sign", role)
    private_key = read_private_key(file)
    with open_to_write(store, on_wait=tell_of_wait, must_exist=True) as opened:
        done = sign_root(opened, private_key, role)
    if as_json:
        print_json(
            {
                "size": done.anchor.size,
                "root": done.anchor.root,
                "key": done.key,
                "journal_entry": done.entry_no,
            }
        )
    else:
        print(f"Signed: {done.anchor} by key {done.key}, journal entry {done.entry_no}.")
        print("Check it with: reelproof verify --key PUBLIC")
    return 0


def prove(
    names: list[str] = typer.Argument(
        None, metavar="SUBJECT", help="Reels, lengths, findings, shipments or runs."
    ),
    out: Path = typer.Option(..., "--out", help="New folder for the proof; a zip file is written beside it."),
    since: str | None = typer.Option(
        None, "--since", help="Journal size and root from an earlier certificate, as SIZE:ROOT."
    ),
    signing: Path | None = typer.Option(
        None, "--key", help="Sign the proof with the private key in this file."
    ),
    role: str = typer.Option("", "--role", help="Your role in the plant."),
    store: Path = STORE,
    as_json: bool = JSON,
) -> int:
    """Prove that a reel's record stands in the journal. No other reel's record is shown.

    With --since it proves as well that nothing before that root was rewritten. Whoever gets the folder or its zip
    file checks it with its own verify.py and Python alone, or with 'reelproof verify'.

    Example: reelproof prove L1-0412-02 --out proof-L1-0412-02 --role "quality engineer" --store store
    """
    from datetime import UTC, datetime

    from pipeline.acts.handing_over import hand_over, zip_beside
    from pipeline.lots.journal import anchor_from
    from pipeline.lots.key_files import read_private_key
    from pipeline.proofs.proving import proof_content
    from pipeline.store.database import open_to_read, open_to_write

    role_or_refused("prove", role)
    earlier = anchor_from(since) if since is not None else None
    private_key = read_private_key(signing) if signing is not None else None
    zip_beside(out)
    with open_to_read(store) as opened:
        content = proof_content(opened, names or (), datetime.now(UTC), earlier)
    subject = ", ".join(names or ()) or "journal"
    with open_to_write(store, on_wait=tell_of_wait, must_exist=True) as opened:
        done = hand_over(opened, subject, content, out, role, private_key)
    tell_of_pack(done, as_json)
    return 0


def tell_of_pack(done: HandedOver, as_json: bool) -> None:
    """Print where a pack was written and what its reader compares it with."""
    if as_json:
        print_json(
            {
                "folder": done.pack.folder,
                "zip": done.zip_file,
                "files": done.pack.files,
                "manifest_sha256": done.pack.manifest_sha256,
                "journal_size": done.anchor.size,
                "journal_root": done.anchor.root,
                "signed_by": done.key or None,
                "journal_entry": done.entry_no,
            }
        )
        return
    print(f"Written: {done.pack.folder} and {done.zip_file}, {done.pack.files} files.")
    print(f"Manifest hash, to be kept elsewhere and compared: {done.pack.manifest_sha256}")
    print(f"Journal of {done.anchor.size} entries, root {done.anchor}")
    if done.key:
        print(f"Signed by key {done.key}")
    print(f"Put into the journal as entry {done.entry_no}.")
    print(f"Whoever gets it checks it with: python3 {done.pack.folder}/verify.py, or reelproof verify PACK")


def verify(
    path: Path | None = typer.Argument(
        None, help="An exported pack, folder or zip; the store where it is left out."
    ),
    manifest: str = typer.Option("", "--manifest", help="Manifest hash from the certificate, for a pack."),
    root: str | None = typer.Option(
        None, "--root", help="Journal size and root from a certificate, as SIZE:ROOT."
    ),
    public: Path | None = typer.Option(None, "--key", help="The plant's public key (FILE.pub): who signed?"),
    anchors: Path | None = typer.Option(
        None, "--anchors", help="Folder that 'reelproof anchor --folder' writes, of the store; needs --key."
    ),
    witness_key: str = typer.Option(
        "", "--witness-key", help="With --anchors: name and key of the witness that must have cosigned."
    ),
    stamp_ca: Path | None = typer.Option(
        None, "--stamp-ca", help="With --anchors: certificates that time stamps are checked with, PEM."
    ),
    pages: Path | None = typer.Option(None, "--pages", help="Folder of pages to check as well."),
    store: Path = STORE,
    as_json: bool = JSON,
) -> int:
    """Check that nothing was changed since it was written. The store is checked, or an exported pack.

    Example: reelproof verify --store store

    Example: reelproof verify lot-PVC-7741.zip --key quality.key.pub
    """
    from pipeline.lots.journal import anchor_from
    from pipeline.lots.key_files import read_public_key

    anchor = anchor_from(root) if root is not None else None
    known = read_public_key(public) if public is not None else None
    if path is not None:
        changes, notes = _of_pack(path, manifest, anchor, known), tuple[str, ...]()
        signed = entries = 0
    else:
        from pipeline.proofs.changes import Known
        from pipeline.proofs.verifying import verified

        if manifest:
            raise ReelproofError(
                Complaint("--manifest", "a store has no manifest", "Name the pack, or leave --manifest out")
            )
        found = verified(store, Known(anchor, known))
        changes, notes = found.changes, found.notes
        signed, entries = found.signed, found.entries
        if pages is not None:
            from dashboards.page_hashes import pages_changed

            changes = (*changes, *pages_changed(pages))
        if anchors is not None:
            told, reach = _against_anchors(store, anchors, known, witness_key, stamp_ca)
            changes = (*changes, *told)
            notes = (*notes, f"Checkpoints outside the store cover the first {reach} of {entries} entries.")
    if as_json:
        shown: dict[str, object] = {"whole": not changes, "changes": list(changes), "notes": list(notes)}
        if path is None:
            shown |= {"entries": entries, "signed_entries": signed if known is not None else None}
        print_json(shown)
        return 1 if changes else 0
    for note in notes:
        print(note)
    for sentence in changes:
        print(sentence)
    if not changes:
        left = entries - signed if path is None and known is not None else 0
        certified = anchor is not None or bool(manifest)
        print(_whole(path is not None, certified, known is not None and not left))
        if left:
            print(
                f"Not signed by anybody: the newest {counted(left, 'entry', 'entries')}. Whoever can write the store "
                "could have made them; sign again with 'reelproof journal --sign'."
            )
    return 1 if changes else 0


def _against_anchors(
    store: Path, anchors: Path, key: bytes | None, witness_key: str, stamp_ca: Path | None
) -> tuple[tuple[str, ...], int]:
    from pipeline.lots.checkpoint import verifier_from
    from pipeline.proofs.anchoring import anchors_against
    from pipeline.record.journal_on_file import journal_of
    from pipeline.store.database import open_to_read

    if key is None:
        raise ReelproofError(
            Complaint(
                "--anchors",
                "the plant's public key is missing",
                "Give --key FILE.pub: it signed the checkpoints",
            )
        )
    by = verifier_from(witness_key) if witness_key else None
    with open_to_read(store) as opened:
        entries = journal_of(opened)
    return anchors_against(entries, anchors, key, by, stamp_ca)


def _of_pack(path: Path, manifest: str, anchor: Anchor | None, known: bytes | None) -> tuple[str, ...]:
    from pipeline.lots.pack import verify_files

    return verify_files(path, manifest, root=anchor, key=known)


def _whole(is_pack: bool, anchored: bool, signed: bool) -> str:
    """What was shown and what was not."""
    text = "Whole: every entry, row and file is as it was written."
    if anchored:
        text += " It fits what was printed on the certificate."
    if signed:
        text += " It was signed with the key given."
    text += " This does not show that it was true then"
    if anchored or signed:
        return f"{text}."
    what = "pack made" if is_pack else "store rewritten"
    return (
        f"{text}, nor anything about a {what} as a whole: compare a root or a signature with --root or --key."
    )

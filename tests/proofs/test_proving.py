"""One reel's record is proved without the others'; nothing earlier was rewritten; the root is signed and checked."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import duckdb
import pytest

from pipeline.acts.deciding import act_on
from pipeline.acts.shipping import put_shipping_on_file
from pipeline.errors import NotFoundError, ReelproofError
from pipeline.lots.journal import Anchor, anchor_of, next_entry
from pipeline.lots.pack import packed, verify_files, write_pack
from pipeline.lots.signing import public_key
from pipeline.proofs.changes import Known, changes_in
from pipeline.proofs.proving import proof_content
from pipeline.proofs.signed_roots import sign_root
from pipeline.proofs.verifying import verified
from pipeline.record.journal_on_file import journal_of
from pipeline.record.shipping_list import CutLength, Shipment, ShippingList
from pipeline.store.database import Store, open_to_write
from tests.acts.decided_store import ENGINEER, SENT, copied

AT = datetime(2026, 3, 6, 12, 0, tzinfo=UTC)
KEY = bytes(range(32))


@pytest.fixture
def store(judged_store: Path, tmp_path: Path) -> Store:  # type: ignore[misc]
    with open_to_write(copied(judged_store, tmp_path / "store")) as opened:
        yield opened


def test_one_reels_record_stands_alone(store: Store, tmp_path: Path) -> None:
    act_on(store, "R-0412-F01", "decide", ENGINEER, "thin", "scrap", now=AT)
    cut = CutLength(reel="L1-0412-02", length="L1-0412-02-A", from_ft=0, to_ft=2500)
    left = Shipment(id="S-1", to="a customer", contents=("L1-0412-02-A",))
    put_shipping_on_file(store, ShippingList(cuts=(cut,), shipments=(left,)), "shipping clerk", SENT)
    content = proof_content(store, ["L1-0412-02"], AT)
    shown = [json.loads(one.record) for one in content.entries]
    assert [(one["kind"], one["subject"]) for one in shown] == [
        ("reel", "L1-0412-02"),
        ("disposition", "R-0412-F01"),
        ("cut", "L1-0412-02"),
        ("shipment", "S-1"),
    ]
    judged = shown[0]["record"]
    assert judged["standing"] == "held"
    assert [one["finding_id"] for one in judged["findings"]] == ["R-0412-F01"]
    point = next(one for one in judged["requirements"] if one["requirement"] == "minimum wall at any point")
    assert (point["limit_id"], point["limit_revision"]) == ("UL83-point-14..12", "1")
    assert {one["name"] for one in judged["log_files"]} >= {"R-0412_log.csv.gz"}
    # Nothing of the run's other reels is shown.
    text = "".join(one.record for one in content.entries)
    assert "L1-0412-01" not in text and "L1-0412-03" not in text and "R-0412-F02" not in text
    write_pack(tmp_path / "proof", packed(content))
    assert verify_files(tmp_path / "proof", root=anchor_of(journal_of(store))) == ()


def test_every_reel_of_every_judgement_has_an_entry_of_its_own(store: Store) -> None:
    held = {(one.subject, one.content["assessment_id"]) for one in journal_of(store) if one.kind == "reel"}
    heads = store.ask("questions/current_runs")
    reels = 0
    for head in heads:
        rows = store.ask("questions/reels_of_assessment", assessment_id=head["assessment_id"])
        assert {(row["reel_id"], row["assessment_id"]) for row in rows} <= held
        reels += len(rows)
    assert len(held) == reels == 61  # sample_runs/README.md
    assert changes_in(store) == ()


def test_nothing_before_a_certificates_root_was_rewritten(store: Store, tmp_path: Path) -> None:
    then = anchor_of(journal_of(store))
    act_on(store, "R-0412-F01", "decide", ENGINEER, "thin", "scrap", now=AT)
    content = proof_content(store, (), AT, then)
    assert (content.entries, content.earlier, bool(content.consistency)) == ((), then, True)
    write_pack(tmp_path / "proof", packed(content))
    assert verify_files(tmp_path / "proof", root=then) == ()
    with pytest.raises(ReelproofError) as told:
        proof_content(store, (), AT, Anchor(then.size, "0" * 64))
    assert str(told.value) == (
        f"journal: the first {then.size} entries no longer have the root that was anchored. Check the root as the "
        "certificate prints it; if it stands, the journal was rewritten since."
    )


def test_what_cannot_be_proved_is_told(store: Store) -> None:
    with pytest.raises(NotFoundError) as told:
        proof_content(store, ["L1-0412-2"], AT)
    assert str(told.value).startswith(
        "L1-0412-2: no journal entry of this number is on file. The nearest on file:"
    )
    with pytest.raises(ReelproofError) as refused:
        proof_content(store, (), AT)
    assert str(refused.value) == (
        "prove: nothing was asked. Name a reel, finding or shipment, or give --since."
    )


def test_a_journal_rewritten_as_a_whole_is_found_by_its_root_and_its_key(
    judged_store: Path, tmp_path: Path
) -> None:
    """Every hash is made anew, as someone with the program could; only what is kept elsewhere tells."""
    folder = copied(judged_store, tmp_path / "store")
    with open_to_write(folder) as store:
        signed = sign_root(store, KEY, "quality manager")
        now = anchor_of(journal_of(store))
        assert signed.anchor.size == now.size - 1
    known = Known(now, public_key(KEY))
    assert verified(folder, known).changes == ()
    other = public_key(bytes(32))
    assert verified(folder, Known(key=other)).changes == (
        f"entry {signed.entry_no}: its root was signed by another key: {signed.key}.",
    )
    with open_to_write(folder) as store:
        entries = [entry for entry in journal_of(store) if entry.kind != "signed root"]
        made = []
        for entry in entries:
            content = {**entry.content, "outcome": "judged"}
            if entry.kind == "reel" and entry.content["standing"] == "held":
                content["reasons"] = []
            made.append(
                next_entry(made[-1] if made else None, entry.at_utc, entry.kind, entry.subject, content)
            )
        connection = store.connection
        connection.execute("DELETE FROM journal.entry WHERE kind = 'signed root'")
        for entry in made:
            connection.execute(
                "UPDATE journal.entry SET record = ?, record_sha256 = ?, chain_sha256 = ? WHERE entry_no = ?",
                [entry.record, entry.record_sha256, entry.chain_sha256, entry.entry_no],
            )
        found = changes_in(store, known)
        assert f"the journal had {now.size} entries when it was anchored, now {now.size - 1}" in found
        assert "no root of this journal was ever signed, so the key shows nothing about it." in found


def test_a_reel_changed_in_its_rows_and_a_forged_signature_are_found(
    judged_store: Path, tmp_path: Path
) -> None:
    folder = copied(judged_store, tmp_path / "store")
    with open_to_write(folder) as store:
        entry_no = sign_root(store, KEY, "quality manager").entry_no
    with duckdb.connect(str(folder / "reelproof.duckdb")) as connection:
        connection.execute("UPDATE judged.reel SET standing = 'releasable' WHERE reel_id = 'L1-0412-02'")
        connection.execute(
            'UPDATE journal.entry SET record = replace(record, \'"signature":"\', \'"signature":"00\') '
            f"WHERE entry_no = {entry_no}"
        )
    with open_to_write(folder) as store:
        told = changes_in(store)
    number = next(one for one in told if one.endswith("no longer say of reel L1-0412-02 what it keeps."))
    assert number.startswith("entry ")
    assert f"entry {entry_no}: the signature of its root does not fit the key it names." in told

"""Signed notes, checkpoints and cosignatures, held to published ones and to what a witness must refuse."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from pipeline.errors import ReelproofError
from pipeline.lots.checkpoint import (
    COSIGNATURE,
    Checkpoint,
    Verifier,
    checkpoint_from,
    is_signed_by,
    origin_of,
    signatures_in,
    signed_checkpoint,
    verifier_from,
)
from pipeline.lots.journal import Anchor, Entry, anchor_of, consistency_from, next_entry
from pipeline.lots.signing import is_signed, public_key
from pipeline.lots.witness import LONGEST_REQUEST, Witness, request_of

# The example of the documentation of Go's package golang.org/x/mod/sumdb/note, from which the signed-note format comes.
GO_KEY = "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW"
GO_TEXT = (
    "If you think cryptography is the answer to your problem,\nthen you don't know what your problem is.\n"
)
GO_LINE = (
    "\u2014 PeterNeumann "
    "x08go/ZJkuBS9UG/SffcvIAQxVBtiFupLLr8pAcElZInNIuGUgYN1FFYC2pZSNXgKvqfqdngotpRZb6KE6RyyBwJnAM="
)
# The example of C2SP tlog-cosignature, a checkpoint with the signature of its log and one cosignature.
C2SP = """example.com/behind-the-sofa
20852163
CsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=

\u2014 example.com/behind-the-sofa Az3grlgtzPICa5OS8npVmf1Myq/5IZniMp+ZJurmRDeOoRDe4URYN7u5/Zhcyv2q1gGzGku9nTo+zyWE+xeMcTOAYQ8=
\u2014 witness.example.com/w1 jWbPPwAAAABkGFDLEZMHwSRaJNiIDoe9DYn/zXcrtPHeolMI5OWXEhZCB9dlrDJsX3b2oyin1nPZqhf5nNo0xUe+mbIUBkBIfZ+qnA==
"""  # noqa: E501 - lines as published
BAD_REQUESTS = [
    b"",
    b"\xff",
    b"old 0",
    b"old x\n\n" + C2SP.encode(),
    b"old 0\nAAAA\n\n" + C2SP.encode(),
    b"x" * (LONGEST_REQUEST + 1),
]
PLANT, OTHER, WITNESS = bytes([1]) * 32, bytes([2]) * 32, bytes([3]) * 32


def journal(*subjects: str) -> list[Entry]:
    entries: list[Entry] = []
    for number, subject in enumerate(subjects):
        at = datetime(2026, 3, 3, 6, number, tzinfo=UTC)
        entries.append(next_entry(entries[-1] if entries else None, at, "load", subject, {"n": number}))
    return entries


def test_a_published_note_is_signed_by_its_published_key() -> None:
    by = verifier_from(GO_KEY)
    assert str(by) == GO_KEY
    ((name, raw),) = signatures_in(GO_LINE)
    assert name == by.name and raw[:4] == by.key_id
    assert is_signed(by.key, GO_TEXT.encode(), raw[4:])


def test_a_published_checkpoint_is_read_and_written_as_it_stands() -> None:
    found = checkpoint_from(C2SP)
    assert (found.origin, found.anchor.size) == ("example.com/behind-the-sofa", 20852163)
    assert found.anchor.root.startswith("0ac5186a91863e8e1d90c808")
    assert found.text == C2SP
    assert [len(raw) for _, raw in found.signatures] == [68, 76]


@pytest.mark.parametrize(
    "text", [GO_KEY[:-4], GO_KEY.replace("c74f20a3", "c74f20a4"), "no key", "", "a b+00+AA=="]
)
def test_a_key_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(ReelproofError, match="this is no name with a public key"):
        verifier_from(text)


@pytest.mark.parametrize(
    "text",
    [
        "", "a\n1\n", C2SP.replace("CsUYapGG", ""),
        C2SP.replace("20852163", "020852163"), C2SP.replace("20852163", "-1"),
        C2SP.replace("\n\n", "\nmore\n\n"), C2SP.replace("\u2014", "-"), C2SP + "x" * 70_000,
    ],
)  # fmt: skip
def test_a_checkpoint_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r".+"):
        checkpoint_from(text)


def test_only_the_plants_own_signature_counts() -> None:
    mine = signed_checkpoint("reelproof/journal/a", Anchor(3, "00" * 32), PLANT)
    assert is_signed_by(mine, Verifier(mine.origin, public_key(PLANT)))
    assert not is_signed_by(mine, Verifier(mine.origin, public_key(OTHER)))
    assert not is_signed_by(mine, Verifier(mine.origin, public_key(PLANT), COSIGNATURE))
    other = signed_checkpoint(mine.origin, Anchor(4, "00" * 32), PLANT)
    moved = Checkpoint(mine.origin, mine.anchor, other.signatures)
    assert not is_signed_by(moved, Verifier(mine.origin, public_key(PLANT)))


@pytest.fixture
def witness(tmp_path: Path) -> Witness:
    return Witness(tmp_path / "seen", "w1", WITNESS, (public_key(PLANT),), lambda: 1_772_000_000.0)


def asked(witness: Witness, entries: list[Entry], old: int, key: bytes = PLANT) -> tuple[int, str]:
    checkpoint = signed_checkpoint(origin_of(entries[:1]), anchor_of(entries), key)
    answer = witness.add(request_of(old, consistency_from(entries, old), checkpoint))
    if answer.status == 200:
        assert is_signed_by(checkpoint.with_signatures(signatures_in(answer.text)), witness.verifier)
    return answer.status, answer.text.strip() if answer.status != 200 else ""


def test_a_witness_cosigns_what_goes_on_from_what_it_saw(witness: Witness) -> None:
    entries = journal("a", "b", "c", "d", "e", "f", "g")
    assert asked(witness, entries[:3], 0) == (200, "")
    assert asked(witness, entries[:3], 3) == (200, "")
    assert asked(witness, entries, 3) == (200, "")


def test_a_witness_refuses_a_journal_that_was_set_back_or_rewritten(witness: Witness) -> None:
    entries = journal("a", "b", "c", "d", "e")
    assert asked(witness, entries, 0) == (200, "")
    assert asked(witness, entries[:4], 0) == (409, "5"), "it says how far it saw"
    assert asked(witness, entries[:4], 5)[0] == 400, "no proof leads back"
    other = journal("a", "b", "x", "d", "e")
    assert asked(witness, other, 5) == (409, "5"), "two histories of one length"
    assert asked(witness, journal("a", "b", "x", "d", "e", "f"), 5) == (422, "it was rewritten")
    assert asked(witness, entries, 5) == (200, ""), "what it saw stays"


def test_a_witness_takes_only_keys_it_knows(witness: Witness) -> None:
    assert asked(witness, journal("a"), 0, OTHER)[0] == 403


@pytest.mark.parametrize("request_", BAD_REQUESTS)
def test_a_witness_says_what_is_wrong_with_a_request(witness: Witness, request_: bytes) -> None:
    assert witness.add(request_).status == 400


def test_a_witness_that_lost_what_it_saw_cosigns_nothing(witness: Witness, tmp_path: Path) -> None:
    asked(witness, journal("a"), 0)
    (kept,) = (tmp_path / "seen").iterdir()
    kept.write_text("{")
    with pytest.raises(ReelproofError, match="what was kept of this log cannot be read"):
        asked(witness, journal("a"), 1)

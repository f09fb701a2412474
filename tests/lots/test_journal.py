"""The journal: every byte that changes is found, cuts and rewrites need an anchor, texts."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import MethodRefusal, ReelproofError
from pipeline.lots.canonical import canonical_text, number_text, read_canonical
from pipeline.lots.journal import (
    Anchor,
    Broken,
    Entry,
    anchor_of,
    anchor_of_day,
    check_journal,
    next_entry,
    prove,
)
from pipeline.lots.merkle import consistency_proof, inclusion_proof, leaf_hash
from pipeline.lots.signing import is_signed, new_key, public_key, sign
from pipeline.lots.verify_pack import included

START = datetime(2025, 3, 4, 6, 30, tzinfo=UTC)


def journal(length: int = 8) -> list[Entry]:
    entries: list[Entry] = []
    for number in range(length):
        entries.append(
            next_entry(
                entries[-1] if entries else None,
                START + timedelta(hours=9 * number),
                "assessment" if number % 2 else "load",
                f"R{number // 2}",
                {"reel": f"K{number}", "length_mm": 1_500_000, "thinnest_wall_um": 381 - number},
            )
        )
    return entries


def test_an_entry_holds_everything_in_its_record() -> None:
    (first,) = journal(1)
    assert first.record == (
        '{"at_utc":"2025-03-04T06:30:00.000000Z","entry_no":1,"kind":"load",'
        '"record":{"length_mm":1500000,"reel":"K0","thinnest_wall_um":381},"subject":"R0"}'
    )
    assert check_journal(journal()) == ()
    assert check_journal([]) == ()


def flipped(text: str, place: int) -> str:
    raw = bytearray(text.encode())
    raw[place] ^= 1
    return raw.decode("utf-8", "surrogateescape")


def test_every_byte_of_every_entry_is_watched() -> None:
    entries = journal()
    tried = 0
    for place, entry in enumerate(entries):
        for name in ("kind", "subject", "record", "record_sha256", "chain_sha256"):
            text = getattr(entry, name)
            for byte in range(len(text.encode())):
                changed: dict[str, Any] = {name: flipped(text, byte)}
                tampered = [*entries[:place], replace(entry, **changed), *entries[place + 1 :]]
                found = check_journal(tampered)
                assert found, f"entry {entry.entry_no}, {name}, byte {byte}"
                assert found[0].entry_no == entry.entry_no
                tried += 1
        for change in ({"entry_no": 99}, {"at_utc": entry.at_utc + timedelta(microseconds=1)}):
            changed = dict(change)
            tampered = [*entries[:place], replace(entry, **changed), *entries[place + 1 :]]
            assert check_journal(tampered)[0].entry_no in (entry.entry_no, 99)
            tried += 1
    assert tried > 2000


def test_what_is_wrong_is_said_in_full() -> None:
    entries = journal(4)
    changed = [entries[0], replace(entries[1], record=entries[1].record.replace("380", "389")), *entries[2:]]
    assert check_journal(changed) == (
        Broken(2, "entry 2: its record does not have the hash that was written with it"),
    )
    missing = [entries[0], *entries[2:]]
    assert check_journal(missing) == (
        Broken(3, "entry 3 stands where entry 2 should"),
        Broken(3, "entry 3: its chain does not follow from the entry before it"),
        Broken(4, "entry 4 stands where entry 3 should"),
    )
    shown = [replace(entries[0], subject="R9"), *entries[1:]]
    assert check_journal(shown) == (
        Broken(1, "entry 1: its number, time, kind or subject is not what its record says"),
    )


def rewritten(entries: list[Entry]) -> list[Entry]:
    """The same journal with one figure changed and every hash made again, as someone with the store could."""
    made: list[Entry] = []
    for entry in entries:
        record = {"thinnest_wall_um": 400} if entry.entry_no == 2 else {"reel": "K"}
        made.append(next_entry(made[-1] if made else None, entry.at_utc, entry.kind, entry.subject, record))
    return made


def test_a_cut_end_and_a_whole_rewrite_are_told_only_by_an_anchor() -> None:
    entries = journal()
    anchor = anchor_of(entries[:6])
    assert check_journal(entries, [anchor]) == ()
    assert check_journal(entries[:5]) == ()
    assert check_journal(entries[:5], [anchor]) == (
        Broken(0, "the journal had 6 entries when it was anchored, now 5"),
    )
    assert check_journal(rewritten(entries)) == ()
    assert check_journal(rewritten(entries), [anchor, Anchor(0, anchor_of([]).root)]) == (
        Broken(0, "the first 6 entries no longer have the root that was anchored"),
    )


def test_the_root_of_a_day() -> None:
    entries = journal()
    assert anchor_of_day(entries, date(2025, 3, 4)) == anchor_of(entries[:2])
    assert anchor_of_day(entries, date(2025, 3, 3)) == anchor_of([])


def test_the_root_of_a_day_stays_when_the_clock_was_set_back() -> None:
    """A root that was handed out is not accused of having changed by entries that are dated into its day later."""
    entries = journal()
    day = date(2025, 3, 4)
    given = anchor_of_day(entries, day)
    assert given.size == 2 < len(entries)
    back = next_entry(entries[-1], datetime(2025, 3, 4, 7, tzinfo=UTC), "load", "late", {})
    assert anchor_of_day([*entries, back], day) == given
    assert check_journal([*entries, back], [given]) == ()


def test_entries_are_proved_without_the_rest() -> None:
    entries = journal()
    anchor = anchor_of(entries)
    proved = prove(entries, [7, 2, 2])
    assert [one.entry_no for one in proved] == [2, 7]
    for one in proved:
        path = [bytes.fromhex(other) for other in one.proof]
        root = bytes.fromhex(anchor.root)
        assert included(one.record.encode(), one.entry_no, anchor.size, path, root)
        changed = one.record.replace("K", "L")
        assert not included(changed.encode(), one.entry_no, anchor.size, path, root)


def test_a_root_may_be_signed() -> None:
    key = new_key()
    root = anchor_of(journal()).root.encode()
    signature = sign(key, root)
    assert is_signed(public_key(key), root, signature)
    assert not is_signed(public_key(new_key()), root, signature)
    assert not is_signed(public_key(key), root, b"short")
    with pytest.raises(ReelproofError) as told:
        sign(key[:5], root)
    assert str(told.value) == "signing key: the private key has 5 bytes. Give one of 32 bytes."


@settings(max_examples=150, deadline=None, derandomize=True)
@given(
    st.recursive(
        st.none()
        | st.booleans()
        | st.integers(-(2**53) + 1, 2**53 - 1)
        | st.floats(allow_nan=False, allow_infinity=False)
        | st.text(st.characters(exclude_categories=("Cs",))),
        lambda inner: (
            st.lists(inner, max_size=4) | st.dictionaries(st.text("abé€", max_size=3), inner, max_size=4)
        ),
        max_leaves=8,
    )
)
def test_canonical_json_says_the_same_and_has_one_form(value: Any) -> None:
    text = canonical_text(value)
    assert read_canonical(text) == value
    assert canonical_text(read_canonical(text)) == text


@settings(max_examples=500, deadline=None, derandomize=True)
@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_number_is_given_back_exactly(value: float) -> None:
    assert float(number_text(value)) == value


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (float("nan"), "canonical JSON: nan is no JSON number. Leave the field out or write it as text."),
        (
            2**53,
            "record: 9007199254740992 is too great for a JSON number. Write whole numbers beyond 2^53 as text.",
        ),
        (
            {1: 2},
            "record: a name is no text. Name every field by text.",
        ),
        (
            {"at": START},
            (
                "record: a datetime has no place in JSON. "
                "Use text, numbers, true, false, null, lists and objects."
            ),
        ),
        (
            "\ud800",
            "record: a text holds half of a surrogate pair. Give text that can be written as UTF-8.",
        ),
    ],
)
def test_what_has_no_canonical_form_is_told(value: Any, text: str) -> None:
    with pytest.raises(ReelproofError) as told:
        canonical_text(value)
    assert str(told.value) == text


def test_proofs_of_what_is_not_there_are_refused() -> None:
    leaves = [leaf_hash(b"a")]
    with pytest.raises(MethodRefusal) as told:
        inclusion_proof(1, leaves)
    assert str(told.value) == (
        "inclusion proof: leaf 1 of a tree of 1 leaves. "
        "Give a leaf from 0 to one less than the size of the tree."
    )
    with pytest.raises(MethodRefusal) as told:
        consistency_proof(0, leaves)
    assert str(told.value) == (
        "consistency proof: from 0 to 1 leaves. Give an earlier size from 1 to the size of the later tree."
    )
    with pytest.raises(ReelproofError) as refused:
        next_entry(None, START.replace(tzinfo=None), "load", "R1", {})
    assert str(refused.value) == (
        "journal: the time of an entry is not in UTC. Give the time with the offset +00:00."
    )

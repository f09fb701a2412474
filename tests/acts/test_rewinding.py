"""Rewound lengths: turned round, their marks, followed by complaints, containment, packs and pages; by hand."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from dashboards.fillers.lot import _where_next
from dashboards.fillers.run_book import run_books
from dashboards.pages.reel import _children, plan_of
from pipeline.acts.deciding import act_on
from pipeline.acts.shipping import put_shipping_on_file
from pipeline.errors import NotFoundError, ReelproofError
from pipeline.lots.complaint import Marks
from pipeline.lots.epcis import Naming
from pipeline.lots.journal import check_journal
from pipeline.nonconformance.disposition import DispositionRefused, Person
from pipeline.proofs.lot_pack import gather_lot
from pipeline.proofs.proving import proof_content
from pipeline.proofs.shared_events import _of_reel
from pipeline.record.complaint_on_file import answer_complaint
from pipeline.record.journal_on_file import journal_of
from pipeline.record.lengths import lengths_of_reel
from pipeline.record.reel_and_lot import reel_and_standing
from pipeline.record.shipping_list import CutLength, Rewound, Shipment, ShippingList, read_shipping_list
from pipeline.record.standing import standing_of
from pipeline.record.touched_wire import Question, contained
from pipeline.record.wire_named import pieces_of
from pipeline.store.database import Store, open_to_write
from pipeline.wording.say import plain
from tests.acts.decided_store import ENGINEER, MANAGER, SENT, copied

REEL = "L1-0412-02"
# A is 200 m to 1200 m from the outer end of the reel. All of it is wound onto P, which so lies the other way round: its
# outer end is 1200 m into the reel. 300 m of P onto Q turn again: Q is 900 m to 1200 m and its outer end is 900 m in.
LIST = f"""
[[cuts]]
reel = "{REEL}"
length = "A"
from_m = 200
to_m = 1200

[[rewinds]]
source = "A"
onto = "P"
outer_mark_ft = 5000
marks = "falling"
at = 2026-03-05T10:00:00-06:00

[[rewinds]]
source = "P"
onto = "Q"
take_m = 300
use = "stock"

[[shipments]]
id = "S-1"
to = "a customer"
contents = ["P"]
"""
FOOT = 0.3048


@pytest.fixture
def store(judged_store: Path, tmp_path: Path) -> Store:  # type: ignore[misc]
    with open_to_write(copied(judged_store, tmp_path / "store")) as opened:
        put_shipping_on_file(opened, sheet(tmp_path, LIST), "shipping clerk", SENT)
        yield opened


def sheet(tmp_path: Path, text: str) -> ShippingList:
    path = tmp_path / "shipped.toml"
    path.write_text(text)
    return read_shipping_list(path)


def test_what_was_taken_from_a_length_is_no_longer_on_it(store: Store, tmp_path: Path) -> None:
    rows = {row["length_id"]: row for row in lengths_of_reel(store, REEL)}
    assert {
        name: (row["from_outer_m"], row["to_outer_m"], row["turned"], row["use"])
        for name, row in rows.items()
    } == {
        "A": (200.0, 1200.0, False, "rewound"),
        "P": (200.0, 900.0, True, "package"),
        "Q": (900.0, 1200.0, False, "stock"),
    }
    told = [row["subject"] for row in store.ask("questions/journal")][-4:]
    assert told == [REEL, REEL, REEL, "S-1"]
    again = put_shipping_on_file(store, sheet(tmp_path, LIST), "shipping clerk")
    assert (again.cuts, again.rewound, again.items) == ((), (), ())
    assert set(again.known) == {"A", "P", "Q"}
    assert check_journal(journal_of(store)) == ()


def test_a_mark_on_a_rewound_length_is_the_wire_it_was(store: Store) -> None:
    """P holds 200 m to 900 m of the reel, outermost at 900 m; Q is outermost at 900 m too, and runs to 1200 m."""
    end = store.ask("questions/reel", reel_id=REEL)[0]["to_m"]

    def place(name: str, mark: float, marks: Marks, **more: bool) -> float:
        record = answer_complaint(store, name, mark, marks, **more).record
        assert record.place.wire_m == pytest.approx(end - record.place.from_outer_m)
        return record.place.from_outer_m

    metres = Marks(0.0, unit="m")
    assert place("P", 0.0, metres) == pytest.approx(900.0)
    assert place("P", 250.0, metres) == pytest.approx(650.0)
    assert place("P", 700.0, metres) == pytest.approx(200.0)
    assert place("Q", 120.0, metres) == pytest.approx(1020.0)
    # As told when it was rewound: 5000 ft at the outer end then, 1200 m into the reel, and falling to the core. The
    # user who gives no mark goes by it; P lost 300 m of it to Q since, so its outer end shows 5000 ft - 984.25 ft, and
    # 4000 ft lies 15.75 ft from it: 900 m - 4.8 m = 895.2 m into the reel.
    told = Marks(0.0)
    assert place("P", 4000.0, told, as_told=True) == pytest.approx(1200.0 - 1000.0 * FOOT)
    assert place("P", 4000.0 * FOOT, Marks(0.0, unit="m"), as_told=True) == pytest.approx(895.2)
    with pytest.raises(NotFoundError) as fault:
        place("P", 4900.0, told, as_told=True)
    assert str(fault.value) == (
        "length P: the mark 4900 ft is not on it. Its marks run from 1719 to 4016 ft; read the mark again."
    )
    of_p = answer_complaint(store, "P", 4000.0, told, as_told=True).length_told
    assert of_p is not None and plain(of_p) == (
        "Length P lies the other way round than it was made, by rewinding; its outer end is 900.0 m from the outer "
        f"end of reel {REEL}. By what was told when it was rewound, marks fall to the core from 4015.7 ft."
    )
    with pytest.raises(NotFoundError) as fault:
        reel_and_standing(store, "Q")
    assert str(fault.value) == (
        f"Q: this is a length of reel {REEL} and no reel. Ask for reel {REEL}, or for a mark on the length with --at."
    )
    answer = answer_complaint(store, "A", 400.0, metres)
    assert answer.length_told is not None
    assert (
        plain(answer.length_told) == f"Length A: its outer end is 200.0 m from the outer end of reel {REEL}."
    )
    assert answer.record.place.from_outer_m == pytest.approx(600.0)
    assert answer.whereabouts == (
        "It is on length P by what is on file. P left in shipment S-1 for a customer."
    )


def test_containment_packs_and_pages_follow_it(store: Store) -> None:
    found = {
        one.length_id: one for one in contained(store, Question("length", "A", span=(400.0, 800.0))).touched
    }
    # 400 m to 800 m of A is 600 m to 1000 m of the reel: 300 m of P from its outer end, and 100 m of Q.
    assert set(found) == {"A", "P", "Q"}
    assert found["P"].spans == (pytest.approx((0.0, 300.0)),)
    assert found["Q"].spans == (pytest.approx((0.0, 100.0)),)
    assert (found["A"].where, found["A"].state) == ("rewound onto other lengths", "elsewhere")
    assert (found["P"].state, found["P"].gone_m) == ("shipped", pytest.approx(300.0))
    assert (found["Q"].state, found["Q"].in_house_m) == ("in house", pytest.approx(100.0))
    reel = {one.length_id: one for one in contained(store, Question("reel", REEL)).touched}
    total = store.ask("questions/reel", reel_id=REEL)[0]["length_m"]
    held = contained(store, Question("reel", REEL))
    assert held.gone_m == pytest.approx(700.0)
    assert {"P", "Q"} <= set(reel)
    assert held.in_house_m == pytest.approx(total - 700.0)
    lots = gather_lot(store, "CU14-0226")
    assert {row["length_id"] for row in lots.lengths} >= {"A", "P", "Q"}
    assert "S-1" in {row["shipment"] for row in lots.shipments}
    naming = Naming("https://id.example.com/", "-06:00", "demo plant")
    wound = {
        (one["inputEPCList"][0].rpartition("/")[2], one["outputEPCList"][0].rpartition("/")[2])
        for one in _of_reel(store, naming, standing_of(store, REEL))
        if one["type"] == "TransformationEvent"
    }
    assert wound == {(REEL, "A"), ("A", "P"), ("P", "Q")}
    assert [one.name for one in pieces_of(store, [REEL])] == ["P", "Q"]
    assert [(one.name, one.to_m - one.from_m) for one in pieces_of(store, ["S-1"])] == [
        ("P", pytest.approx(700.0))
    ]
    rest = CutLength(reel=REEL, length="Z", from_m=0, to_m=200, use="scrap")
    put_shipping_on_file(store, ShippingList(cuts=(rest,)), "shipping clerk")
    book = next(one for one in run_books(store) if one.run_id == "R-0412")
    plan, _ = plan_of(book, next(row for row in book.reels if row["reel_id"] == REEL))
    assert plan is not None
    assert [(one.label, one.use) for one in plan.pieces if one.label.endswith(", cut")] == [
        ("Z, cut", "scrap"),
        ("P, cut", "ship"),
        ("Q, cut", "remnant"),
    ]
    ways = {(edge.from_node, edge.to_node) for _, edge in _where_next(book, {REEL})}
    assert ways == {(REEL, "A"), (REEL, "Z"), ("A", "P"), ("P", "Q"), ("P", "S-1")}
    children = _children(book, next(row for row in book.reels if row["reel_id"] == REEL))
    (child,) = [one for one in children if one.length_id == "P"]
    assert (child.turned, child.from_m, child.to_m) == (
        True,
        pytest.approx(200.0),
        pytest.approx(900.0),
    )


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (
            '[[rewinds]]\nsource = "X"\nonto = "Y"\n',
            "rewinding of X onto Y: X is no length and no reel on file. Check its number, or tell its cut first.",
        ),
        (
            '[[rewinds]]\nsource = "A"\nonto = "Y"\n',
            (
                "rewinding of A onto Y: A holds no wire any more: all of it was rewound. Check the order of the "
                "rewindings and the numbers."
            ),
        ),
        (
            '[[rewinds]]\nsource = "P"\nonto = "Y"\n',
            "rewinding of P onto Y: P left in shipment S-1. Check the number.",
        ),
        (
            '[[rewinds]]\nsource = "Q"\nonto = "Y"\ntake_m = 400\n',
            "rewinding of Q onto Y: 1,312.3 ft is taken and Q holds 984.3 ft. Check the length and its unit.",
        ),
        (
            f'[[rewinds]]\nsource = "Q"\nonto = "{REEL}"\n',
            (
                f"rewinding of Q onto {REEL}: a length or reel on file has the number {REEL}. Give the new package a "
                "number of its own; wire joined onto another length cannot be told."
            ),
        ),
        (
            '[[rewinds]]\nsource = "A"\nonto = "P"\ntake_m = 250\n',
            (
                "rewinding of A onto P: it is on file with 3,280.8 ft. What is on file stays; give the new length a "
                "number of its own."
            ),
        ),
        (
            '[[shipments]]\nid = "S-2"\nto = "b"\ncontents = ["A"]\n',
            "shipment S-2: all of length A was rewound. Name cut lengths, or reels that were not cut, each once.",
        ),
        (
            f'[[cuts]]\nreel = "{REEL}"\nlength = "Z"\nfrom_m = 1100\nto_m = 1300\n',
            (
                f"length Z: it overlaps length Q, 2,952.8 ft to 3,937.0 ft of reel {REEL}. One wire cannot be in two "
                "lengths: correct the places."
            ),
        ),
    ],
)
def test_what_cannot_have_been_so_is_told(store: Store, tmp_path: Path, text: str, sentence: str) -> None:
    with pytest.raises(ReelproofError) as told:
        put_shipping_on_file(store, sheet(tmp_path, text), "shipping clerk")
    assert str(told.value) == sentence


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ("take_m = 1\ntake_ft = 1", "give 'take_ft' or 'take_m', and not both"),
        ("outer_mark_m = 1\nouter_mark_ft = 1", "give 'outer_mark_ft' or 'outer_mark_m', and not both"),
        (
            "at = 2026-03-05T10:00:00",
            "the time has no offset from UTC; write it like 2026-03-05T10:00:00-06:00",
        ),
    ],
)
def test_a_rewinding_that_is_not_whole_is_told(tmp_path: Path, more: str, sentence: str) -> None:
    with pytest.raises(ReelproofError) as told:
        sheet(tmp_path, f'[[rewinds]]\nsource = "A"\nonto = "P"\n{more}\n')
    assert f"rewinding of A onto P: {sentence}" in str(told.value)


def test_wire_straight_from_a_reel(judged_store: Path, tmp_path: Path) -> None:
    """500 ft wound off the reel's outer end, then 500 ft more: the first lies at 0 m to 152.4 m, both turned."""
    text = "".join(f'[[rewinds]]\nsource = "{REEL}"\nonto = "{name}"\ntake_ft = 500\n' for name in "BC")
    with open_to_write(copied(judged_store, tmp_path / "store")) as store:
        done = put_shipping_on_file(store, sheet(tmp_path, text), "shipping clerk")
        assert done.rewound == ("B", "C")
        rows = [
            (row["from_outer_m"], row["to_outer_m"], row["turned"]) for row in lengths_of_reel(store, REEL)
        ]
        assert rows == [(0.0, pytest.approx(152.4), True), (pytest.approx(152.4), pytest.approx(304.8), True)]


def test_the_proof_of_a_rewound_length_holds_its_way_to_it(store: Store) -> None:
    """A was cut, all of it wound onto P, 300 m of P onto Q, and P shipped."""

    def told(name: str) -> list[tuple[str, str]]:
        shown = [
            json.loads(one.record)
            for one in proof_content(store, [name], datetime(2026, 3, 6, tzinfo=UTC)).entries
        ]
        return [(one["kind"], one["record"].get("length", one["subject"])) for one in shown]

    assert told("P") == [("cut", REEL), ("rewind", "P"), ("rewind", "Q"), ("shipment", "S-1")]
    assert told("Q") == [("cut", REEL), ("rewind", "P"), ("rewind", "Q")]
    assert told("A") == [("cut", REEL), ("rewind", "P")]


def decided(store: Store, name: str, kind: str, by: Person, disposition: str | None = None) -> None:
    act_on(store, name, kind, by, "seen", disposition, evidence="record 4")  # type: ignore[arg-type]


def released(store: Store, name: str) -> None:
    decided(store, name, "decide", ENGINEER, "release")
    decided(store, name, "confirm", MANAGER)


def sent(store: Store, name: str) -> None:
    left = Shipment(id=f"S-{name}", to="a customer", contents=(name,))
    put_shipping_on_file(store, ShippingList(shipments=(left,)), "shipping clerk")


@pytest.mark.parametrize("reel_is_released", [False, True])
def test_scrap_wound_onto_another_package_stays_scrap(
    judged_store: Path, tmp_path: Path, reel_is_released: bool
) -> None:
    """Seen: a length decided to be scrap, wound onto a new number, was released and shipped without an alarm."""
    reel = "L1-0412-01"
    with open_to_write(copied(judged_store, tmp_path / "store")) as store:
        if reel_is_released:
            released(store, reel)
        cut = CutLength(reel=reel, length="A", from_m=100, to_m=300)
        put_shipping_on_file(store, ShippingList(cuts=(cut,)), "rewinder")
        decided(store, "A", "decide", ENGINEER, "scrap")
        onto = (Rewound(source="A", onto="B"), Rewound(source="B", onto="C", take_m=50.0))
        put_shipping_on_file(store, ShippingList(rewinds=onto), "rewinder")
        lengths = {one.length_id: one for one in standing_of(store, reel).lengths}
        assert (lengths["B"].code, lengths["C"].code) == ("held", "held")
        assert [*map(plain, lengths["C"].reasons)] == ["Length A was decided for scrap."]
        for name in ("B", "C"):
            with pytest.raises(DispositionRefused) as told:
                decided(store, name, "decide", ENGINEER, "release")
            assert str(told.value) == (
                f"{name}: release is refused: length A, which it was wound from, was decided for scrap. Take that back "
                "first: reelproof disposition A reopen."
            )
            with pytest.raises(ReelproofError):
                sent(store, name)
        decided(store, "A", "reopen", ENGINEER)
        released(store, "C")
        sent(store, "C")
        assert not standing_of(store, reel).left_while_held


@pytest.mark.parametrize("disposition", ["rework", "regrade", "scrap"])
def test_a_length_decided_for_something_else_does_not_leave_on_the_release_of_its_reel(
    judged_store: Path, tmp_path: Path, disposition: str
) -> None:
    """Seen: a length decided for rework was shipped without an alarm, for its reel had been released before."""
    reel = "L1-0412-01"
    with open_to_write(copied(judged_store, tmp_path / "store")) as store:
        released(store, reel)
        cut = CutLength(reel=reel, length="A", from_m=100, to_m=300)
        put_shipping_on_file(store, ShippingList(cuts=(cut,)), "rewinder")
        assert standing_of(store, reel).lengths[0].may_leave
        decided(store, "A", "decide", ENGINEER, disposition)
        assert not standing_of(store, reel).lengths[0].may_leave
        with pytest.raises(ReelproofError):
            sent(store, "A")

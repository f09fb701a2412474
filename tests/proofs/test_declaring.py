"""A declaration is drafted where the evidence carries it; otherwise everything that is missing is told at once.

The parts and their order are those of ISO/IEC 17050-1 as far as a public excerpt shows them: identification,
issuer, object, statement, documents; date, place, signature and limitations from memory.
"""

from __future__ import annotations

import hashlib
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from pipeline.acts.deciding import act_on
from pipeline.acts.holding import put_hold
from pipeline.acts.shipping import put_shipping_on_file
from pipeline.errors import NotFoundError, ReelproofError, SheetError
from pipeline.lots.declaration import DeclarationRefused
from pipeline.lots.epcis import document_faults
from pipeline.lots.journal import anchor_of
from pipeline.nonconformance.disposition import Disposition, Person
from pipeline.products.requirement_sets import known_sets
from pipeline.proofs.changes import changes_in
from pipeline.proofs.declaring import declaration_text, declare
from pipeline.proofs.shared_events import events_of_wire
from pipeline.record.issuer_sheet import DocumentPart, EnteredTestPart, IssuerSheet, read_issuer_sheet
from pipeline.record.journal_on_file import journal_of
from pipeline.record.shipping_list import CutLength, Shipment, ShippingList
from pipeline.record.standing import standing_of
from pipeline.record.wire_named import pieces_of
from pipeline.store.database import Store, open_to_write
from pipeline.wording.say import plain
from tests.acts.decided_store import ENGINEER, MANAGER, SENT, TECHNICIAN, copied

AT = datetime(2026, 3, 6, 18, 0, tzinfo=UTC)
SHEET = """
[issuer]
name = "Demo plant"
address = "1 Example Road, Exampleton"
place = "Exampleton"
signatory = "A. Person"
function = "quality manager"

[[documents]]
name = "UL 44"
edition = "as adopted by the plant"

[[documents]]
name = "ICEA S-95-658/NEMA WC 70"
edition = "2009"

[naming]
base = "https://id.example.com"

[naming.places]
"a customer" = "https://id.example.com/party/17"
"""


@pytest.fixture
def store(judged_store: Path, tmp_path: Path) -> Store:  # type: ignore[misc]
    with open_to_write(copied(judged_store, tmp_path / "store")) as opened:
        yield opened


@pytest.fixture
def sheet(tmp_path: Path) -> IssuerSheet:
    (tmp_path / "issuer.toml").write_text(SHEET)
    return read_issuer_sheet(tmp_path / "issuer.toml")


def thhn(sheet: IssuerSheet, *tests: EnteredTestPart) -> IssuerSheet:
    documents = (DocumentPart(name="UL 83", edition="as adopted"),)
    return sheet.model_copy(update={"documents": documents, "tests": tests})


def entered(**more: object) -> EnteredTestPart:
    return EnteredTestPart(
        **{  # type: ignore[arg-type]
            "document": "UL 83",
            "test": "covering, clause of the licensed text",
            "result": "4.6 mil",
            "conforms": True,
            "report": "T-1",
            "on": date(2026, 3, 5),
            **more,
        }
    )


def release(store: Store, *reels: str) -> None:
    for reel in reels:
        act_on(store, reel, "decide", TECHNICIAN, "evidence seen", "release", now=AT)
        act_on(store, reel, "confirm", ENGINEER, "evidence seen", now=AT)


def close(store: Store, name: str, disposition: Disposition, evidence: str = "") -> None:
    by = MANAGER if disposition == "concession" else TECHNICIAN
    act_on(store, name, "decide", by, "seen on a slice", disposition, now=AT)
    if disposition == "concession":
        act_on(store, name, "confirm", ENGINEER, "agreed", now=AT)
    if evidence:
        act_on(store, name, "complete", ENGINEER, "done", evidence=evidence, now=AT)


def refusal(store: Store, names: list[str], sheet: IssuerSheet) -> list[str]:
    with pytest.raises(DeclarationRefused) as told:
        declare(store, names, sheet, keep=False, now=AT)
    return str(told.value).splitlines()


def cut(store: Store, reel: str, *ends_m: tuple[str, float, float, str]) -> None:
    cuts = [
        CutLength(reel=reel, length=f"{reel}-{name}", from_m=start, to_m=end, use=use)  # type: ignore[arg-type]
        for name, start, end, use in ends_m
    ]
    put_shipping_on_file(store, ShippingList(cuts=tuple(cuts)), "shipping clerk")


def test_a_declaration_has_every_part_and_says_what_it_is_not(store: Store, sheet: IssuerSheet) -> None:
    release(store, "L2-0511-01", "L2-0511-02")
    anchor = anchor_of(journal_of(store))
    done = declare(store, ["L2-0511-01", "L2-0511-02"], sheet, role="quality manager", now=AT)
    drafted = done.declaration
    assert drafted.number == "2026-0001"
    assert drafted.issuer == "Demo plant, 1 Example Road, Exampleton"
    assert drafted.object == (
        "XHHW-2 1/0 AWG concentric copper black; lot L2-0511-01, L2-0511-02; reel L2-0511-01, 1,000.0 ft; "
        "reel L2-0511-02, 1,000.0 ft; 2,000.0 ft together"
    )
    assert drafted.documents == (
        "UL 44, as adopted by the plant",
        "ICEA S-95-658/NEMA WC 70, 2009",
    )
    assert drafted.requirements == (
        "minimum average wall",
        "minimum wall at any point",
        "spark test voltage",
    )
    assert drafted.limitations[0].startswith("This declaration is not a test report")
    assert drafted.place_and_date == "Exampleton, 2026-03-06"
    assert drafted.signatory == "A. Person, quality manager (draft until signed)"
    assert f"Journal at issue, 2026-03-06: {anchor.size} entries, root {anchor}." in drafted.additional
    assert (
        "Decision rule: minimum wall at any point: guard band: conformity must be shown with 95 %."
        in drafted.additional
    )
    text = declaration_text(drafted)
    assert done.text_sha256 == hashlib.sha256(text.encode()).hexdigest()
    entry = journal_of(store)[-1]
    assert (entry.entry_no, entry.kind, entry.subject) == (done.entry_no, "declaration", "2026-0001")
    assert done.text_sha256 in entry.record
    assert changes_in(store) == ()
    again = declare(store, ["L2-0511-01"], sheet, role="quality manager", now=AT)
    assert again.declaration.number == "2026-0002"
    # The command was killed after it had kept it, and given again: it is the same declaration.
    assert declare(store, ["L2-0511-01"], sheet, role="quality manager", now=AT) == again
    assert declare(store, ["L2-0511-01"], sheet, number="2026-0002", role="quality manager", now=AT) == again
    with pytest.raises(DeclarationRefused) as told:
        declare(store, ["L2-0511-01"], sheet, number="2026-0001", now=AT)
    assert str(told.value) == (
        "declaration 2026-0001: this number was given before. Give another; a number is given once."
    )


def headline_of(store: Store, reel_id: str) -> str:
    """What is said of a reel first, in the plant's units."""
    return plain(standing_of(store, reel_id).headline, "us")


def test_everything_that_is_missing_is_told_at_once(store: Store, sheet: IssuerSheet) -> None:
    where = "declaration 2026-0001, reel"
    assert refusal(store, ["L2-0511-01", "L2-0513-02"], sheet) == [
        f"{where} L2-0511-01: nobody has released it. Have it released by the person responsible.",
        f"{where} L2-0513-02: finding R-0513-F01 is open. Decide and close it, or leave the reel out.",
        (
            f"{where} L2-0513-02: minimum average wall is not shown to conform over its whole length. Cut the length "
            "out or leave it out."
        ),
        (
            f"{where} L2-0513-02: minimum wall at any point is not shown to conform over its whole length. Cut the "
            "length out or leave it out."
        ),
        f"{where} L2-0513-02: {headline_of(store, 'L2-0513-02')} Settle it first, or leave it out.",
    ]
    assert [entry.kind for entry in journal_of(store)].count("declaration") == 0


def test_wire_a_person_holds_is_not_declared(store: Store, sheet: IssuerSheet) -> None:
    release(store, "L2-0511-01")
    put_hold(store, "L2-0511-01", Person("line operator"), "scuffed")
    where = "declaration 2026-0001, reel"
    assert refusal(store, ["L2-0511-01"], sheet) == [
        f"{where} L2-0511-01: {headline_of(store, 'L2-0511-01')} Settle it first, or leave it out."
    ]


def test_a_requirement_set_that_nobody_knows_is_refused_with_the_list(
    store: Store, sheet: IssuerSheet
) -> None:
    release(store, "L2-0511-01")
    document = DocumentPart(name="UL 44", edition="2020", requirement_sets=("UL44", "UL 44"))
    told = refusal(store, ["L2-0511-01"], sheet.model_copy(update={"documents": (document,)}))
    assert told[0].startswith(
        "issuer's sheet, requirement_sets of UL 44: 'UL44' is not a requirement set on file. The nearest is UL 44. On "
        "file are "
    )
    assert all(name in told[0] for name in known_sets())
    assert len([one for one in told if "requirement_sets of" in one]) == 1


def test_a_sheet_without_its_parts_is_told(store: Store, sheet: IssuerSheet, tmp_path: Path) -> None:
    release(store, "L2-0511-01")
    (tmp_path / "bare.toml").write_text("[issuer]\n")
    told = refusal(store, ["L2-0511-01"], read_issuer_sheet(tmp_path / "bare.toml"))
    assert told[0] == (
        "declaration 2026-0001: the issuer's name is missing. ISO/IEC 17050-1 asks for it; give it."
    )
    assert [one.split(": ")[1].split(".")[0] for one in told] == [
        "the issuer's name is missing",
        "the issuer's address is missing",
        "the place of issue is missing",
        "the name of the signatory is missing",
        "the function of the signatory is missing",
        "a document that conformity is declared to is missing",
        "a requirement that was judged is missing",
        "the decision rule is missing",
    ]
    (tmp_path / "bad.toml").write_text("[issuer]\nnmae = 'x'\n")
    with pytest.raises(SheetError) as fault:
        read_issuer_sheet(tmp_path / "bad.toml")
    assert str(fault.value) == (
        f"{tmp_path / 'bad.toml'}: issuer.nmae: this key is not known here. Check its spelling, or take it out."
    )


def test_what_the_line_cannot_judge_needs_the_documents_own_test(store: Store, sheet: IssuerSheet) -> None:
    release(store, "L1-0411-01")
    assert refusal(store, ["L1-0411-01"], thhn(sheet)) == [
        (
            "declaration 2026-0001, reel L1-0411-01: covering at any point was not judged. Judge it, or enter the "
            "results of the document's own test."
        )
    ]
    covering = entered(requirement="covering at any point")
    done = declare(store, ["L1-0411-01"], thhn(sheet, covering), keep=False, now=AT)
    assert "covering at any point" not in done.declaration.requirements
    assert (
        "Test: covering, clause of the licensed text of UL 83: 4.6 mil, report T-1, 2026-03-05."
        in done.declaration.additional
    )
    other = entered(requirement="covering at any point", wire=("L1-0411-02",))
    assert len(refusal(store, ["L1-0411-01"], thhn(sheet, other))) == 1
    failed = entered(requirement="covering at any point", conforms=False, result="3.1 mil")
    assert refusal(store, ["L1-0411-01"], thhn(sheet, failed))[-1] == (
        "declaration 2026-0001: the covering, clause of the licensed text of UL 83 does not conform (3.1 mil, report "
        "T-1). Clear the result before anything is declared."
    )


def test_a_test_does_not_outweigh_what_the_line_saw(store: Store, sheet: IssuerSheet) -> None:
    """A sample from somewhere on the reel says nothing of the place where the wall was found thin."""
    tests = (
        entered(requirement="covering at any point"),
        entered(requirement="minimum wall at any point", test="wall", result="14 mil"),
    )
    close(store, "R-0412-F02", "release")
    act_on(store, "R-0412-F02", "confirm", ENGINEER, "agreed", now=AT)
    release(store, "L1-0412-03")
    told = refusal(store, ["L1-0412-03"], thhn(sheet, *tests))
    assert (
        "declaration 2026-0001, reel L1-0412-03: minimum wall at any point is not shown to conform over its whole "
        "length. Cut the length out or leave it out." in told
    )
    of_place = entered(finding="R-0412-F02", test="wall at the worst place", result="13.2 mil")
    done = declare(store, ["L1-0412-03"], thhn(sheet, tests[0], of_place), keep=False, now=AT)
    assert "minimum wall at any point" in done.declaration.requirements
    assert any("wall at the worst place" in one for one in done.declaration.additional)


def test_a_length_without_evidence_is_not_passed_by_a_test(store: Store, sheet: IssuerSheet) -> None:
    """The wall gauge gave nothing over 540 m of L1-0419-02; a slice does not speak for 540 m."""
    close(store, "R-0419-F01", "regrade")
    release(store, "L1-0419-02")
    tests = (
        entered(requirement="covering at any point"),
        entered(requirement="minimum wall at any point"),
        entered(requirement="minimum average wall"),
    )
    told = refusal(store, ["L1-0419-02"], thhn(sheet, *tests))
    assert any("the readings allow no conclusion on minimum wall at any point" in one for one in told)
    assert any("closed by a regrade, so this wire is of another grade" in one for one in told)


@pytest.mark.parametrize(
    ("disposition", "evidence", "sentence"),
    [
        (
            "concession",
            "",
            (
                "finding R-0513-F01 was closed by a concession, so this wire does not conform. Deliver it under the "
                "concession and leave it out of the declaration."
            ),
        ),
        (
            "repair",
            "repair record 3",
            (
                "finding R-0513-F01 was closed by repair, and the line has not seen the wire since. Enter the test "
                'made after it, with finding = "R-0513-F01".'
            ),
        ),
        (
            "scrap",
            "cut record 12",
            (
                "finding R-0513-F01 was closed by scrap and its wire is still on this piece by what is on file. Tell "
                "the cuts with 'reelproof ship', and declare the lengths."
            ),
        ),
    ],
)
def test_how_a_finding_was_closed_matters(
    store: Store, sheet: IssuerSheet, disposition: Disposition, evidence: str, sentence: str
) -> None:
    close(store, "R-0513-F01", disposition, evidence)
    release(store, "L2-0513-02")
    told = refusal(store, ["L2-0513-02"], sheet)
    assert f"declaration 2026-0001, reel L2-0513-02: {sentence}" in told


def test_lengths_cut_clear_of_a_finding_may_be_declared(store: Store, sheet: IssuerSheet) -> None:
    reel = store.ask("questions/reel", reel_id="L2-0514-03")[0]
    finding = store.ask("questions/finding", finding_id="R-0514-F01")[0]
    outer, inner = reel["to_m"] - finding["to_m"], reel["to_m"] - finding["from_m"]
    close(store, "R-0514-F01", "scrap", "cut record 12")
    release(store, "L2-0514-03")
    cut(
        store,
        "L2-0514-03",
        ("A", 0.0, outer - 2.0, "package"),
        ("B", outer - 2.0, inner + 2.0, "scrap"),
        ("C", inner + 2.0, reel["length_m"], "package"),
    )
    assert [one.name for one in pieces_of(store, ["L2-0514-03"])] == ["L2-0514-03-A", "L2-0514-03-C"]
    done = declare(store, ["L2-0514-03"], sheet, keep=False, now=AT)
    assert done.wire == ("L2-0514-03-A", "L2-0514-03-C")
    assert "reel L2-0514-03-A, " in done.declaration.object


def test_a_length_that_holds_a_finding_may_not(store: Store, sheet: IssuerSheet) -> None:
    reel = store.ask("questions/reel", reel_id="L2-0513-02")[0]
    cut(
        store,
        "L2-0513-02",
        ("A", 0.0, reel["length_m"] / 2, "package"),
        ("B", reel["length_m"] / 2, 300.0, "stock"),
    )
    found = [
        name
        for name in ("A", "B")
        if any("finding R-0513-F01 is open" in one for one in refusal(store, [f"L2-0513-02-{name}"], sheet))
    ]
    finding = store.ask("questions/finding", finding_id="R-0513-F01")[0]
    middle = reel["to_m"] - reel["length_m"] / 2
    assert found == (["A"] if finding["from_m"] > middle else ["B"])


def test_lots_shipments_and_several_products(store: Store, sheet: IssuerSheet) -> None:
    assert {one.reel_id for one in pieces_of(store, ["PVC-7741"])} == {
        "L1-0414-02",
        "L1-0414-03",
        "L1-0414-04",
    }
    left = Shipment(id="S-7", to="a customer", contents=("L2-0511-01", "L2-0511-02"))
    put_shipping_on_file(store, ShippingList(shipments=(left,)), "shipping clerk", SENT)
    assert [one.name for one in pieces_of(store, ["S-7", "L2-0511-01"])] == ["L2-0511-01", "L2-0511-02"]
    with pytest.raises(NotFoundError) as told:
        pieces_of(store, ["S-7", "S-8x", "L9"])
    assert [one.split(":")[0] for one in str(told.value).splitlines()] == ["S-8x", "L9"]
    release(store, "L2-0511-01", "L1-0411-01")
    assert refusal(store, ["L2-0511-01", "L1-0411-01"], sheet)[0] == (
        "declaration 2026-0001: the wire is of 2 products: THHN/THWN-2 14 AWG solid copper black; XHHW-2 1/0 AWG "
        "concentric copper black. Declare each product by itself."
    )


def test_events_for_others_follow_the_wire(store: Store, sheet: IssuerSheet) -> None:
    release(store, "L2-0511-01")
    cut(store, "L2-0511-01", ("A", 0.0, 150.0, "package"), ("B", 150.0, 160.0, "scrap"))
    left = Shipment(id="S-7", to="a customer", contents=("L2-0511-01-A", "L2-0511-02"), at=AT)
    put_shipping_on_file(store, ShippingList(shipments=(left,)), "shipping clerk", SENT)
    document = events_of_wire(store, ["L2-0511-01", "L2-0511-02"], sheet, AT)
    assert document_faults(document) == ()
    events = document["epcisBody"]["eventList"]
    assert [(one["type"], one["bizStep"]) for one in events if "made" in one["eventID"]] == [
        ("TransformationEvent", "commissioning")
    ]
    (shipped,) = [one for one in events if one["bizStep"] == "shipping"]
    assert shipped["epcList"] == [
        "https://id.example.com/cut-length/L2-0511-01-A",
        "https://id.example.com/reel/L2-0511-02",
    ]
    assert shipped["destinationList"][0]["destination"] == "https://id.example.com/party/17"
    assert shipped["eventTime"] == "2026-03-06T18:00:00.000Z"
    (split,) = [one for one in events if one["bizStep"] == "repackaging"]
    assert split["outputEPCList"] == ["https://id.example.com/cut-length/L2-0511-01-A"]
    assert split["outputQuantityList"][0]["quantity"] == 10.0
    assert [one["disposition"] for one in events if one["bizStep"] == "accepting"] == ["conformant"]
    assert {one["eventTimeZoneOffset"] for one in events} == {"-06:00"}
    bare = sheet.model_copy(update={"naming": None})
    with pytest.raises(ReelproofError) as told:
        events_of_wire(store, ["L2-0511-01"], bare)
    assert str(told.value) == (
        "events for others: the issuer's sheet does not say how the plant names things to others. Add [naming] with "
        "base, an address under the plant's own domain."
    )

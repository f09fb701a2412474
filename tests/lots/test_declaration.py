"""Declarations: what ISO/IEC 17050-1 asks for, refused with everything that is missing, what it is not."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from pipeline.lots.declaration import (
    IS_NOT,
    NO_TESTS,
    Declaration,
    DeclarationRefused,
    Document,
    EnteredTest,
    Issuer,
    ReelEvidence,
    ToDeclare,
    draft_declaration,
)
from pipeline.lots.journal import Anchor

ISSUER = Issuer("Demo plant (invented)", "1 Mill Road", "Demo town", "A. Signatory", "quality manager")
AVERAGE, POINT = "minimum average wall", "minimum wall at any point"
REEL = ReelEvidence("K1", 1500.0, (AVERAGE, POINT), released_by="quality engineer")
UL = Document("UL 83", "2017", "THHN")
TEST = EnteredTest("UL 83", "insulation resistance", "0.21 Gohm.m", True, "T-114", date(2025, 3, 1))


def draft(**changes: Any) -> Declaration:
    given: dict[str, Any] = {
        "number": "D-1",
        "issuer": ISSUER,
        "product": "THHN 14 AWG, black",
        "lot": "2503-04",
        "reels": [REEL, replace(REEL, name="K2")],
        "documents": [UL],
        "requirements": [AVERAGE, POINT],
        "on": date(2025, 3, 4),
        "decision_rules": ["simple acceptance: the value itself is compared with the limit"],
    }
    return draft_declaration(ToDeclare(**{**given, **changes}))


def test_it_holds_what_the_standard_asks_for() -> None:
    # ISO/IEC 17050-1: identification, issuer, object, statement, documents (public excerpt); date, place,
    # signature and limitations (from memory).
    assert draft(anchor=Anchor(12, "ab" * 32)) == Declaration(
        "D-1",
        "Demo plant (invented), 1 Mill Road",
        "THHN 14 AWG, black; lot 2503-04; reel K1, 1,500.0 m; reel K2, 1,500.0 m; 3,000.0 m together",
        "The object of the declaration described above is in conformity with the requirements named here of the "
        "following documents.",
        ("UL 83, 2017, THHN",),
        (AVERAGE, POINT),
        (
            "Decision rule: simple acceptance: the value itself is compared with the limit.",
            f"Journal at issue, 2025-03-04: 12 entries, root 12:{'ab' * 32}.",
        ),
        (
            IS_NOT,
            NO_TESTS,
            "It holds for the wire as it left the plant, and not for what happened to it since.",
        ),
        "Demo town, 2025-03-04",
        "A. Signatory, quality manager (draft until signed)",
    )


def test_it_says_what_it_is_not_until_tests_are_entered() -> None:
    tested = draft(tests=[TEST])
    assert NO_TESTS not in tested.limitations
    assert IS_NOT in tested.limitations
    assert "Test: insulation resistance of UL 83: 0.21 Gohm.m, report T-114, 2025-03-01." in tested.additional
    two = draft(tests=[TEST], documents=[UL, Document("NEMA WC 70", "2009")])
    assert two.limitations[1] == (
        "No test results were entered for NEMA WC 70: conformity to it is declared only for the requirements "
        "listed as judged in line."
    )


def refusal(**changes: Any) -> list[str]:
    with pytest.raises(DeclarationRefused) as told:
        draft(**changes)
    return str(told.value).splitlines()


def test_everything_missing_is_told_at_once() -> None:
    empty = Issuer("", " ", "", "", "")
    assert refusal(
        number="",
        issuer=empty,
        product="",
        lot="",
        reels=[],
        documents=[Document("UL 83", "")],
        requirements=[],
        decision_rules=[],
    ) == [
        f"declaration (without a number): {name} is missing. ISO/IEC 17050-1 asks for it; give it."
        for name in (
            "its number",
            "the issuer's name",
            "the issuer's address",
            "the place of issue",
            "the name of the signatory",
            "the function of the signatory",
            "the product",
            "the lot or shipment",
            "a reel",
            "a requirement that was judged",
            "the decision rule",
            "the edition of UL 83",
        )
    ]


def test_evidence_that_does_not_carry_it_is_told_reel_by_reel() -> None:
    bad = ReelEvidence(
        "K1",
        1500.0,
        judged=(),
        not_judged=(AVERAGE,),
        failed=(POINT,),
        open_findings=("R1-F01",),
        conceded=("R1-F02",),
        untested_m=12.5,
    )
    where = "declaration D-1, reel K1"
    assert refusal(reels=[bad]) == [
        f"{where}: finding R1-F01 is open. Decide and close it, or leave the reel out.",
        (
            f"{where}: finding R1-F02 was closed by a concession, so this wire does not conform. "
            "Deliver it under the concession and leave it out of the declaration."
        ),
        (
            f"{where}: minimum wall at any point is not shown to conform over its whole length. "
            "Cut the length out or leave it out."
        ),
        (
            f"{where}: minimum average wall was not judged. "
            "Judge it, or enter the results of the document's own test."
        ),
        f"{where}: 12.5 m have no evidence. Inspect the length by other means or cut it out.",
        f"{where}: nobody has released it. Have it released by the person responsible.",
    ]


def test_a_requirement_nobody_spoke_of_was_not_judged() -> None:
    assert refusal(reels=[replace(REEL, judged=(AVERAGE,))]) == [
        (
            "declaration D-1, reel K1: minimum wall at any point was not judged. "
            "Judge it, or enter the results of the document's own test."
        )
    ]


def test_a_failed_test_stops_it() -> None:
    assert refusal(tests=[replace(TEST, conforms=False)]) == [
        (
            "declaration D-1: the insulation resistance of UL 83 does not conform (0.21 Gohm.m, report T-114). "
            "Clear the result before anything is declared."
        )
    ]

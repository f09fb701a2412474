"""May the plant declare that a lot conforms, and what does such a declaration hold?

The contents follow ISO/IEC 17050-1 (identification, issuer, object, statement and documents seen in a public
excerpt; date, place, signature and limitations from memory). The program drafts; a named person signs. It
refuses where the evidence does not carry the declaration and says what is missing, all at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from pipeline.errors import Complaint, ReelproofError
from pipeline.length.reel_places import Unit, length_told
from pipeline.lots.journal import Anchor

IS_NOT = (
    "This declaration is not a test report and not a certificate of a certification body. In-line readings "
    "support and do not replace the tests that the documents listed ask for."
)
NO_TESTS = (
    "No test results were entered by the plant: conformity is declared to the requirements listed as judged in "
    "line and to no other requirement of the documents listed."
)


class DeclarationRefused(ReelproofError):  # noqa: N818 - a refusal is an answer, not a fault
    """A declaration the evidence does not carry."""


@dataclass(frozen=True, slots=True)
class Issuer:
    """Who declares.

    Args:
        name: the plant or company.
        address: its contact address.
        place: where the declaration is issued.
        signatory: name of the person who will sign.
        function: that person's function.
    """

    name: str
    address: str
    place: str
    signatory: str
    function: str


@dataclass(frozen=True, slots=True)
class Document:
    """A document that conformity is declared to.

    Args:
        name: its name and number.
        edition: its edition or date of issue.
        options: options or clauses it is declared to, where it offers any.
    """

    name: str
    edition: str
    options: str = ""

    def __str__(self) -> str:
        return ", ".join(part for part in (self.name, self.edition, self.options) if part)


@dataclass(frozen=True, slots=True)
class EnteredTest:
    """A result of a test that a document itself asks for, entered by the plant.

    Args:
        document: which document.
        test: which test, with its clause.
        result: what was found, with its unit.
        conforms: whether the plant says it conforms.
        report: number of the test report.
        on: day of the test.
    """

    document: str
    test: str
    result: str
    conforms: bool
    report: str
    on: date


@dataclass(frozen=True, slots=True)
class ReelEvidence:
    """What is on file for one reel or cut length of the lot.

    Args:
        name: the reel.
        length_m: its length [m].
        judged: requirements judged in line to conform.
        not_judged: requirements without a limit or an instrument.
        no_conclusion: requirements that the evidence does not reach a conclusion on.
        failed: requirements not said to conform over some length.
        open_findings: findings that hold a release and are not closed.
        conceded: findings closed by a concession: wire that does not conform and is let go all the same.
        untested_m: length with no evidence for at least one requirement [m].
        released_by: role that released it; "" if nobody has.
        held: how it stands where it may not leave, in words; "" where it may or only a release is missing.
        unit: the unit in which the plant tells lengths.
    """

    name: str
    length_m: float
    judged: tuple[str, ...]
    not_judged: tuple[str, ...] = ()
    no_conclusion: tuple[str, ...] = ()
    failed: tuple[str, ...] = ()
    open_findings: tuple[str, ...] = ()
    conceded: tuple[str, ...] = ()
    untested_m: float = 0.0
    released_by: str = ""
    held: str = ""
    unit: Unit = "m"


@dataclass(frozen=True, slots=True)
class Declaration:
    """A declaration ready to be signed; each part in the order of ISO/IEC 17050-1.

    Args:
        number: its unique identification.
        issuer: name and address.
        object: what it is about: product, lot, reels and lengths.
        statement: the statement of conformity.
        documents: the documents, with editions and options.
        requirements: requirements judged in line on every reel.
        additional: decision rule, uncertainty, test results, journal root.
        limitations: what it is not, and what it does not cover.
        place_and_date: where and when issued.
        signatory: name and function; it is a draft until signed.
    """

    number: str
    issuer: str
    object: str
    statement: str
    documents: tuple[str, ...]
    requirements: tuple[str, ...]
    additional: tuple[str, ...]
    limitations: tuple[str, ...]
    place_and_date: str
    signatory: str


def _said(number: str, parts: dict[str, str]) -> list[Complaint]:
    return [
        Complaint(
            f"declaration {number or '(without a number)'}",
            f"{name} is missing",
            "ISO/IEC 17050-1 asks for it; give it",
        )
        for name, text in parts.items()
        if not text.strip()
    ]


def _evidence_complaints(number: str, reel: ReelEvidence, needed: Sequence[str]) -> list[Complaint]:
    where = f"declaration {number}, reel {reel.name}"
    complaints = []

    def add(found: str, remedy: str) -> None:
        complaints.append(Complaint(where, found, remedy))

    for finding in reel.open_findings:
        add(f"finding {finding} is open", "Decide and close it, or leave the reel out")
    for finding in reel.conceded:
        add(
            f"finding {finding} was closed by a concession, so this wire does not conform",
            "Deliver it under the concession and leave it out of the declaration",
        )
    for requirement in reel.failed:
        add(
            f"{requirement} is not shown to conform over its whole length",
            "Cut the length out or leave it out",
        )
    for requirement in needed:
        if requirement in reel.no_conclusion:
            add(
                f"the readings allow no conclusion on {requirement}",
                "Inspect the wire by other means, or enter the results of the document's own test",
            )
        elif requirement in reel.not_judged or requirement not in (*reel.judged, *reel.failed):
            add(f"{requirement} was not judged", "Judge it, or enter the results of the document's own test")
    if reel.untested_m > 0.0:
        add(
            f"{length_told(reel.untested_m, reel.unit)} have no evidence",
            "Inspect the length by other means or cut it out",
        )
    if reel.held:
        add(reel.held.rstrip("."), "Settle it first, or leave it out")
    elif not reel.released_by.strip():
        add("nobody has released it", "Have it released by the person responsible")
    return complaints


@dataclass(frozen=True, slots=True, kw_only=True)
class ToDeclare:
    """What a declaration of conformity is asked for.

    Args:
        number: unique identification.
        issuer: who declares.
        product: the product, in the words of its marking.
        lot: lot or shipment.
        reels: the evidence, reel by reel.
        documents: documents that conformity is declared to.
        requirements: requirements that every reel must have been judged by, from these documents.
        on: date of issue.
        decision_rules: how uncertainty was taken into account, in words.
        tests: results of the documents' own tests, entered by the plant.
        anchor: the journal's size and root of the day.
    """

    number: str
    issuer: Issuer
    product: str
    lot: str
    reels: Sequence[ReelEvidence]
    documents: Sequence[Document]
    requirements: Sequence[str]
    on: date
    decision_rules: Sequence[str]
    tests: Sequence[EnteredTest] = ()
    anchor: Anchor | None = None


def draft_declaration(asked: ToDeclare) -> Declaration:
    """A declaration of conformity for a lot or shipment, if the evidence carries it.

    Args:
        asked: what is declared, of which wire and by whom.

    Returns:
        a draft; it becomes a declaration when the person named signs it.

    Raises:
        DeclarationRefused: with everything that is missing or in the way.
    """
    issuer = asked.issuer
    complaints = _said(
        asked.number,
        {
            "its number": asked.number,
            "the issuer's name": issuer.name,
            "the issuer's address": issuer.address,
            "the place of issue": issuer.place,
            "the name of the signatory": issuer.signatory,
            "the function of the signatory": issuer.function,
            "the product": asked.product,
            "the lot or shipment": asked.lot,
            "a document that conformity is declared to": " ".join(one.name for one in asked.documents),
            "a reel": " ".join(reel.name for reel in asked.reels),
            "a requirement that was judged": " ".join(asked.requirements),
            "the decision rule": " ".join(asked.decision_rules),
            **{f"the edition of {one.name}": one.edition for one in asked.documents},
        },
    )
    for reel in asked.reels:
        complaints += _evidence_complaints(asked.number, reel, asked.requirements)
    complaints += [
        Complaint(
            f"declaration {asked.number}",
            f"the {one.test} of {one.document} does not conform ({one.result}, report {one.report})",
            "Clear the result before anything is declared",
        )
        for one in asked.tests
        if not one.conforms
    ]
    if complaints:
        raise DeclarationRefused(complaints)
    return _drafted(asked)


def _drafted(asked: ToDeclare) -> Declaration:
    issuer, reels, tests, on = asked.issuer, asked.reels, asked.tests, asked.on
    wire = "; ".join(f"reel {reel.name}, {length_told(reel.length_m, reel.unit)}" for reel in reels)
    total = length_told(sum(reel.length_m for reel in reels), reels[0].unit if reels else "m")
    untested = [one.name for one in asked.documents if one.name not in {test.document for test in tests}]
    limits = [IS_NOT]
    if not tests:
        limits.append(NO_TESTS)
    elif untested:
        limits.append(
            f"No test results were entered for {', '.join(untested)}: conformity to it is declared only for the "
            "requirements listed as judged in line."
        )
    limits.append("It holds for the wire as it left the plant, and not for what happened to it since.")
    additional = [f"Decision rule: {one}." for one in asked.decision_rules]
    additional += [
        f"Test: {one.test} of {one.document}: {one.result}, report {one.report}, {one.on.isoformat()}."
        for one in tests
    ]
    if asked.anchor is not None:
        additional.append(
            f"Journal at issue, {on.isoformat()}: {asked.anchor.size} entries, root {asked.anchor}."
        )
    return Declaration(
        asked.number,
        f"{issuer.name}, {issuer.address}",
        f"{asked.product}; lot {asked.lot}; {wire}; {total} together",
        "The object of the declaration described above is in conformity with the requirements named here of the "
        "following documents.",
        tuple(str(one) for one in asked.documents),
        tuple(asked.requirements),
        tuple(additional),
        tuple(limits),
        f"{issuer.place}, {on.isoformat()}",
        f"{issuer.signatory}, {issuer.function} (draft until signed)",
    )

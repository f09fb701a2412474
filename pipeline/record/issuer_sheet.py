"""Who declares conformity, to which documents, on which tests: the sheet a plant writes once and keeps."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

from pydantic import Field

from pipeline.lots.declaration import Document, EnteredTest, Issuer
from pipeline.sheets.toml_file import Sheet, read_sheet

Told = Annotated[str, Field(min_length=1)]


class IssuerPart(Sheet):
    """Name and address of who declares, the place of issue, and who signs with which function."""

    name: str = ""
    address: str = ""
    place: str = ""
    signatory: str = ""
    function: str = ""


class DocumentPart(Sheet):
    """A document that conformity is declared to.

    Args:
        name: its name and number.
        edition: its edition or date of issue.
        options: options or clauses it is declared to, where it offers any.
        requirement_sets: names the limits of this document carry in the store; its own name where left out.
    """

    name: Told
    edition: str = ""
    options: str = ""
    requirement_sets: tuple[Told, ...] = ()

    @property
    def sets(self) -> tuple[str, ...]:
        """The requirement sets whose limits are this document's."""
        return self.requirement_sets or (self.name,)


class EnteredTestPart(Sheet):
    """A result of a test that a document itself asks for.

    Args:
        document: which document.
        test: which test, with its clause.
        result: what was found, with its unit.
        conforms: whether the plant says it conforms.
        report: number of the test report.
        on: day of the test.
        requirement: the requirement it stands for where the line cannot judge it, "" for none.
        finding: a closed finding whose wire it was made on after the decision, "" for none.
        wire: reels or cut lengths it covers; every one of the declaration where left out.
    """

    document: Told
    test: Told
    result: Told
    conforms: bool
    report: Told
    on: date
    requirement: str = ""
    finding: str = ""
    wire: tuple[Told, ...] = ()


class NamingPart(Sheet):
    """How the plant names things to others in traceability events.

    Args:
        base: an address under the plant's own domain.
        places: names of places shipments go to -> their address.
    """

    base: Annotated[str, Field(pattern=r"^https?://[^\s]+$")]
    places: dict[str, str] = Field(default_factory=dict)


class IssuerSheet(Sheet):
    """The sheet as a whole."""

    issuer: IssuerPart
    documents: tuple[DocumentPart, ...] = ()
    tests: tuple[EnteredTestPart, ...] = ()
    naming: NamingPart | None = None

    @property
    def who(self) -> Issuer:
        """Who declares."""
        one = self.issuer
        return Issuer(one.name, one.address, one.place, one.signatory, one.function)

    @property
    def declared_to(self) -> tuple[Document, ...]:
        """The documents that conformity is declared to."""
        return tuple(Document(one.name, one.edition, one.options) for one in self.documents)

    @property
    def results(self) -> tuple[EnteredTest, ...]:
        """The tests as the declaration lists them."""
        return tuple(
            EnteredTest(one.document, one.test, one.result, one.conforms, one.report, one.on)
            for one in self.tests
        )


def read_issuer_sheet(path: Path) -> IssuerSheet:
    """The issuer's sheet in the TOML file `path`.

    Raises:
        SheetError: the sheet cannot be read or is not whole.
    """
    return read_sheet(path, IssuerSheet)

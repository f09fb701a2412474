"""A declaration of conformity on paper, in the order of ISO/IEC 17050-1; a draft until a person signs it."""

from __future__ import annotations

from dataclasses import asdict

from dashboards.records import Plant, Stamp
from dashboards.site import record_sha256
from pipeline.lots.declaration import Declaration
from pipeline.reports.typesetting import Printing, shared_data, typeset


def declaration_pdf(declaration: Declaration, plant: Plant, stamp: Stamp, printing: Printing) -> bytes:
    """The declaration as a PDF.

    Args:
        declaration: what it says; the evidence was weighed when it was drafted.
        plant: the plant.
        stamp: assessments, limits and rules behind it.
        printing: who prints it, when, by which revision of the form.
    """
    data = {
        **shared_data(plant, stamp, record_sha256(declaration), printing, "declaration of conformity"),
        **asdict(declaration),
        "title": "Declaration of conformity",
        "question": "What does the maker declare, about which wire, and what does it not say?",
        "subtitle": f"Number {declaration.number}",
    }
    return typeset("declaration.typ", data, printing.at)

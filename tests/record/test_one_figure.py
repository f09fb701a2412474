"""One figure per reel and finding: every command, page, print, pack, refusal and the Python surface show the same.

What is compared is what a person reads, read back out of the text (`shown_figures.py`).
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import pipeline
from pipeline.acts.shipping import put_shipping_on_file
from pipeline.cli.app import run
from pipeline.errors import Complaint, ReelproofError
from pipeline.lots.declaration import DeclarationRefused
from pipeline.proofs.declaring import declaration_text, declare
from pipeline.proofs.lot_pack import lot_content
from pipeline.record.issuer_sheet import DocumentPart, IssuerPart, IssuerSheet
from pipeline.record.shipping_list import Shipment, ShippingList
from pipeline.reports.printed import printed
from pipeline.sheets.plant_sheet import PlantSheet
from pipeline.store.database import open_to_read, open_to_write
from tests.acts.decided_store import copied
from tests.record.every_state import AT, LOTS
from tests.record.shown_figures import (
    Figures,
    of_at_record,
    of_at_told,
    of_capability,
    of_declaration,
    of_indices,
    of_pack,
    of_plan,
    of_print,
    of_reasons,
    of_reel_record,
    of_reel_told,
    of_shift_print,
)
from tests.reports.test_printed_records import text_of

# A thin spot with others beside it, wire that left held, one held for its wall, a clean one that was cut, one a third
# of which nobody saw, one that was released.
COMPARED = ("L1-0412-02", "L1-0412-03", "L1-0413-03", "L1-0413-02", "L2-0517-01", "L1-0411-01", "L1-0415-02")
# The finding of a thin wall on a reel, and its place.
THIN = {
    "L1-0412-02": ("R-0412-F01", "4519.6ft"),
    "L1-0412-03": ("R-0412-F02", "3823.4ft"),
    "L1-0413-03": ("R-0413-F02", "4466.4ft"),
}
SHIFTS = ("2026-03-03-DAY", "2026-03-03-EVENING", "2026-03-03-NIGHT")
ISSUER = IssuerSheet(
    issuer=IssuerPart(
        name="Demo plant", address="a street", place="a town", signatory="a name", function="quality"
    ),
    documents=(DocumentPart(name="Demo plant standard", edition="2026"),),
)


def refused_shipping(states: Path, folder: Path, name: str) -> str:
    """What `ship` says of a reel that may not leave."""
    with open_to_write(copied(states, folder)) as store, pytest.raises(ReelproofError) as told:
        sent = ShippingList(shipments=(Shipment(id="S-9", to="a customer", contents=(name,)),))
        put_shipping_on_file(store, sent, "shipping clerk")
    return " ".join(map(str, told.value.complaints))


def declared(states: Path, name: str) -> str:
    """A declaration of conformity for a reel, or why it is refused."""
    with open_to_read(states) as store:
        try:
            return declaration_text(declare(store, [name], ISSUER, keep=False, now=AT).declaration)
        except DeclarationRefused as refused:
            complaints: tuple[Complaint, ...] = refused.complaints
    return "\n".join(map(str, complaints))


@pytest.mark.parametrize("unit", ["ft", "m"])
def test_every_figure_of_a_reel_is_one_figure(
    states: Path,
    state_pages: Path,
    tmp_path: Path,
    unit: str,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Length, unmonitored, untested, faults, walls, Ppk; stretch, length and worst value of each finding, both ends."""

    def told(*words: str) -> str:
        run([*words, "--store", str(states)])
        return capsys.readouterr().out

    found = Figures()
    monkeypatch.setattr(PlantSheet, "unit", property(lambda _sheet: unit))
    for name in COMPARED:
        answer = json.loads(told("reel", name, "--json"))
        of_reel_told(found, "reel", name, told("reel", name))
        of_reel_record(found, "reel --json", answer)
        of_indices(found, "reel --json", answer["results"])
    for name, (finding, at) in THIN.items():
        of_at_told(found, "reel --at", name, finding, told("reel", name, "--at", at))
        of_at_record(found, "reel --at --json", json.loads(told("reel", name, "--at", at, "--json")), finding)
    if unit == "m":
        assert list(found.apart()) == []
        return
    opened = pipeline.open_store(states)
    for name, (finding, _) in THIN.items():
        of_reasons(found, "python", finding, str(pipeline.reel(opened, name)))
        of_declaration(found, "declare, refused", declared(states, name))
    of_reasons(found, "ship", "R-0413-F02", refused_shipping(states, tmp_path / "store", "L1-0413-03"))
    of_reasons(found, "declare, refused", "R-0413-F02", declared(states, "L1-0413-03"))
    of_declaration(found, "declare, refused", declared(states, "L2-0517-01"))
    of_declaration(found, "declare", declared(states, "L1-0411-01"))
    name = COMPARED[0]
    of_plan(found, "cut", json.loads(told("cut", name, "--json")), told("cut", name))
    for kind in ("shifts", "runs", "reels", "lots", "nonconformance"):
        for path in (state_pages / kind).glob("*.html"):
            found.tables(f"{kind}/{path.stem}", path.read_text())
            of_capability(found, f"{kind}/{path.stem}", path.stem, path.read_text())
    with open_to_read(states) as store:
        frames = lot_content(store, LOTS[0], AT, lambda _anchor: b"").frames
        of_pack(found, frames)
        of_indices(found, "pack", frames["results"].to_dicts())
        for kind, one in (("lot", LOTS[0]), ("finding", "R-0412-F01")):
            of_print(found, f"print {kind}", text_of(printed(store, kind, one, "quality engineer", AT)))
        for shift in SHIFTS:
            of_shift_print(
                found, "print shift", text_of(printed(store, "shift", shift, "quality engineer", AT))
            )
    assert list(found.apart()) == []
    # Each was really compared: so many kinds of places say it.
    for subject, quantity, least in (
        (name, "length", 8),
        (name, "thinnest", 8),
        (name, "mean", 4),
        (name, "unmonitored", 6),
        ("L1-0411-01", "length", 8),
        ("L2-0517-01", "unmonitored", 6),
        ("R-0415", "PpkL minimum wall at any point", 4),
        ("R-0415", "PpkL minimum wall at any point, bound", 4),
        ("L1-0415-02", "PpkL minimum average wall", 3),
        *(("R-0412-F01", one, 10) for one in ("from outer end", "to outer end", "length", "worst")),
        *(("R-0413-F02", one, 9) for one in ("from outer end", "to outer end", "length", "worst")),
        *(("R-0412-F01", one, 6) for one in ("from core end", "to core end")),
    ):
        places = {where.partition("/")[0] for where, *_ in found.said[subject, quantity]}
        assert len(places) >= least, (subject, quantity, places)
    assert found.said["L2-0517-01", "unmonitored"][0][1] > 90.0

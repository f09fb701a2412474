"""One standing per reel: every page, command and print of a store with every state says the same code.

The states are derived by hand from what is put on file; the walk asks each place that shows a reel.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from dashboards.fillers.finding import finding_review
from dashboards.fillers.lot import lot_history, lots_of
from dashboards.fillers.nonconformance import nonconformance_summary
from dashboards.fillers.plant import plant_of
from dashboards.fillers.reel import reel_review
from dashboards.fillers.run import run_review
from dashboards.fillers.run_book import run_books
from dashboards.fillers.shift import shift_review, shifts_of
from dashboards.fillers.site_index import site_index
from dashboards.records import GATE_OF
from pipeline.acts.deciding import act_on
from pipeline.acts.holding import put_hold
from pipeline.acts.shipping import put_shipping_on_file
from pipeline.cli.app import run
from pipeline.nonconformance.disposition import Person
from pipeline.record.reel_and_lot import lot_on_file, reel_on_file
from pipeline.record.shipping_list import Shipment, ShippingList
from pipeline.record.standing import standing_of
from pipeline.record.touched_wire import Question, contained
from pipeline.reports.shift_summary import reel_data
from pipeline.reports.typesetting import Wording
from pipeline.store.database import Store, open_to_read, open_to_write
from tests.acts.decided_store import ENGINEER, MANAGER, SENT, judged

EXPECTED = {
    "L1-0411-01": "released",
    "L1-0411-02": "shipped",
    "L1-0411-03": "scrapped",
    "L1-0411-04": "awaiting a second person",
    "L1-0412-01": "held",  # by a person: the evidence says releasable
    "L1-0412-02": "held",
    "L1-0412-03": "left while held",
    "L1-0412-04": "releasable",
}


def release(store: Store, reel: str) -> None:
    act_on(store, reel, "decide", ENGINEER, "seen", "release")
    act_on(store, reel, "confirm", MANAGER, "agreed")


def ship(store: Store, number: str, reel: str, *, sent: bool = False) -> None:
    told = ShippingList(shipments=(Shipment(id=number, to="a customer", contents=(reel,)),))
    put_shipping_on_file(store, told, "shipping clerk", SENT if sent else None)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = judged(tmp_path_factory.mktemp("states") / "store", "R-0411", "R-0412")
    with open_to_write(made) as store:
        release(store, "L1-0411-01")
        release(store, "L1-0411-02")
        ship(store, "S-1", "L1-0411-02")
        act_on(store, "L1-0411-03", "decide", ENGINEER, "crushed", "scrap")
        act_on(store, "L1-0411-03", "complete", ENGINEER, "gone", evidence="scrap ticket 4")
        act_on(store, "L1-0411-04", "decide", ENGINEER, "seen", "release")
        release(store, "L1-0412-01")
        put_hold(store, "L1-0412-01", Person("line operator"), "scuffed")
        ship(store, "S-2", "L1-0412-03", sent=True)
    return made


def test_the_records_of_every_page_say_the_same(folder: Path) -> None:
    with open_to_read(folder) as store:
        books = run_books(store)
        plant = plant_of(store, books)
        shifts, lots = shifts_of(books), lots_of(books)
        assert {name: one.code for book in books for name, one in book.standings.items()} == EXPECTED
        index = site_index(plant, shifts, lots, ())
        assert {one.reel_id: one.standing for one in index.reels} == EXPECTED
        shown = {}
        for shift_id, group in shifts:
            page = shift_review(plant, shift_id, group)
            shown |= {reel.reel_id: reel.standing for run_ in page.runs for reel in run_.reels}
            assert page.totals.reels_left == sum(GATE_OF[EXPECTED[name]] == "left" for name in shown)
            wording = Wording(plant)
            printed = [reel_data(reel, wording) for run_ in page.runs for reel in run_.reels]
            assert {one["id"]: one["standing"] for one in printed} == shown
        assert shown == EXPECTED
        for book in books:
            assert {one.reel_id: one.standing for one in run_review(plant, book).run.reels} == {
                row["reel_id"]: EXPECTED[row["reel_id"]] for row in book.reels
            }
            for row in book.reels:
                assert reel_review(plant, book, row).reel.standing == EXPECTED[row["reel_id"]]
        for lot, group in lots.items():
            for one in lot_history(plant, lot, group).reels:
                assert one.standing == EXPECTED[one.reel_id]


def test_wire_that_left_while_held_heads_every_page_that_concerns_it(folder: Path) -> None:
    with open_to_read(folder) as store:
        books = run_books(store)
        plant = plant_of(store, books)
        sentence = standing_of(store, "L1-0412-03").headline
        book = next(one for one in books if one.run_id == "R-0412")
        reel = next(row for row in book.reels if row["reel_id"] == "L1-0412-03")
        other = next(row for row in book.reels if row["reel_id"] == "L1-0412-04")
        finding = next(row for row in book.findings if row["reel_id"] == "L1-0412-03")
        (shift_id, group), *_ = [one for one in shifts_of(books) if book in one[1]]
        day = book.head["shift_date"]
        lot = next(name for name, runs in lots_of(books).items() if book in runs)
        shift = shift_review(plant, shift_id, group)
        for page in (
            shift,
            run_review(plant, book),
            reel_review(plant, book, reel),
            finding_review(plant, book, finding, books),
            lot_history(plant, lot, lots_of(books)[lot]),
            nonconformance_summary(plant, "x", "x", day, day, books),
            site_index(plant, shifts_of(books), lots_of(books), ()),
        ):
            assert [one.sentence for one in page.left_held] == [sentence]
        assert reel_review(plant, book, other).left_held == ()
        assert (shift.first_things[0].reel_id, shift.first_things[0].why) == ("L1-0412-03", sentence)


def test_commands_say_the_same(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with open_to_read(folder) as store:
        for name, code in EXPECTED.items():
            assert reel_on_file(store, name)["standing"]["code"] == code
        lot = lot_on_file(store, "PVC-7740")
        assert {row["reel_id"]: row["standing"] for row in lot["reels"]} == EXPECTED
        touched = contained(store, Question("lot", "PVC-7740")).touched
        assert {one.length_id: one.standing for one in touched} == EXPECTED
    assert run(["reel", "L1-0411-01", "--store", str(folder)]) == 0
    told = capsys.readouterr().out
    assert told.startswith("Reel L1-0411-01: released. ")
    assert "Released by quality engineer and quality manager on 20" in told
    assert run(["reel", "L1-0412-03", "--at", "100ft", "--store", str(folder), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["standing"] == "left while held"

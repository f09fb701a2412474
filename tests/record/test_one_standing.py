"""One standing per reel: every page, command and print of a store with every state says the same code.

The states are derived by hand from what is put on file; the walk asks each place that shows a reel.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import UTC, datetime
from html import unescape
from pathlib import Path
from typing import Any, get_args

import pytest

from dashboards.addresses import FOLDERS, PageKind
from dashboards.fillers.lot import lot_history, lots_of
from dashboards.fillers.plant import plant_of
from dashboards.fillers.run import run_review
from dashboards.fillers.run_book import run_books
from dashboards.fillers.shift import shift_review, shifts_of
from dashboards.page_writing import write_pages
from dashboards.pages.index import site_index
from dashboards.pages.reel import reel_review
from dashboards.records import GATE_OF
from pipeline.acts.deciding import act_on
from pipeline.acts.holding import put_hold
from pipeline.acts.sampling import reels_sampled
from pipeline.acts.shipping import put_shipping_on_file
from pipeline.acts.withdrawing import withdraw_sample
from pipeline.cli.app import run
from pipeline.errors import Complaint
from pipeline.lots.declaration import DeclarationRefused
from pipeline.nonconformance.disposition import Person
from pipeline.proofs.declaring import declare
from pipeline.proofs.lot_pack import lot_content
from pipeline.proofs.shared_events import events_of_wire
from pipeline.record.gauge_tables import Sample
from pipeline.record.issuer_sheet import IssuerPart, IssuerSheet, NamingPart
from pipeline.record.samples_on_file import keep_samples
from pipeline.record.shipping_list import CutLength, Shipment, ShippingList
from pipeline.record.standing import Code, standing_of
from pipeline.reports.printed import printed
from pipeline.reports.shift_summary import reel_data
from pipeline.reports.typesetting import Wording
from pipeline.store.database import Store, open_to_read, open_to_write
from pipeline.wording.say import plain
from tests.acts.decided_store import ENGINEER, MANAGER, SENT, judged
from tests.record.shown_figures import Figures, of_pack, of_plan, of_print, of_reel_record, of_reel_told
from tests.reports.test_printed_records import text_of

EXPECTED = {
    "L1-0411-01": "released",
    "L1-0411-02": "shipped",
    "L1-0411-03": "scrapped",
    "L1-0411-04": "awaiting a second person",
    "L1-0412-01": "held",  # by a person: the evidence says releasable
    "L1-0412-02": "decided",  # to be reworked, and not done yet
    "L1-0412-03": "left while held",
    "L1-0412-04": "releasable",
    "L1-0415-01": "held",  # reworked and done: nobody has released it since
    "L1-0415-02": "releasable",  # its release was taken back
    "L1-0415-03": "releasable",  # the laboratory sample that held it was withdrawn
    "L1-0413-01": "releasable",
    "L1-0413-02": "released",  # and cut
    "L1-0413-03": "held",
    "L1-0413-04": "held since it left",
    "L2-0517-01": "held",  # a third of it was not monitored
}
LENGTHS = {"A-1": "shipped", "A-2": "released"}
CODES = get_args(Code)
ALARMS = ("L1-0412-03", "L1-0413-04")
NAMING = NamingPart(base="https://id.example.com")
AT = datetime(2026, 3, 9, 12, 0, tzinfo=UTC)
LOTS = ("PVC-7740",)


def release(store: Store, reel: str) -> None:
    act_on(store, reel, "decide", ENGINEER, "seen", "release")
    act_on(store, reel, "confirm", MANAGER, "agreed")


def ship(store: Store, number: str, reel: str, *, sent: bool = False) -> None:
    told = ShippingList(shipments=(Shipment(id=number, to="a customer", contents=(reel,)),))
    put_shipping_on_file(store, told, "shipping clerk", SENT if sent else None)


def sample(store: Store, reel: str) -> str:
    """A thinnest wall of the laboratory far below the limit; its number."""
    taken = Sample(
        "laboratory.csv:2", reel, 100.0, "thinnest_wall_mm", 0.25, 0.002, "laboratory", "microscope"
    )
    reels = {name: one.sampled for name, one in reels_sampled(store, [taken]).items()}
    with store.transaction():
        (number,) = keep_samples(store, [taken], reels, "laboratory")
    return number


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = judged(
        tmp_path_factory.mktemp("states") / "store", "R-0411", "R-0412", "R-0413", "R-0415", "R-0517"
    )
    with open_to_write(made) as store:
        number = sample(store, "L1-0415-03")
        assert standing_of(store, "L1-0415-03").code == "held"
        withdraw_sample(store, number, MANAGER, "another reel's")
        release(store, "L1-0411-01")
        release(store, "L1-0411-02")
        ship(store, "S-1", "L1-0411-02")
        act_on(store, "L1-0411-03", "decide", ENGINEER, "crushed", "scrap")
        act_on(store, "L1-0411-03", "complete", ENGINEER, "gone", evidence="scrap ticket 4")
        act_on(store, "L1-0411-04", "decide", ENGINEER, "seen", "release")
        release(store, "L1-0412-01")
        put_hold(store, "L1-0412-01", Person("line operator"), "scuffed")
        ship(store, "S-2", "L1-0412-03", sent=True)
        act_on(store, "L1-0412-02", "decide", ENGINEER, "strip it", "rework")
        act_on(store, "L1-0415-01", "decide", ENGINEER, "strip it", "rework")
        act_on(store, "L1-0415-01", "complete", ENGINEER, "stripped", evidence="work order 9")
        release(store, "L1-0415-02")
        act_on(store, "L1-0415-02", "reopen", ENGINEER, "released by mistake")
        release(store, "L1-0413-02")
        cuts = (
            CutLength(reel="L1-0413-02", length="A-1", from_m=0, to_m=100),
            CutLength(reel="L1-0413-02", length="A-2", from_m=100, to_m=200, use="stock"),
        )
        left = Shipment(id="S-3", to="a customer", contents=("A-1",))
        put_shipping_on_file(store, ShippingList(cuts=cuts, shipments=(left,)), "shipping clerk")
        release(store, "L1-0413-04")
        ship(store, "S-4", "L1-0413-04")
        put_hold(store, "L1-0413-04", Person("line operator"), "the next reel is scuffed")
    asked = ("contain", "lot", LOTS[0], "--role", "quality engineer", "--reason", "a complaint")
    assert run([*asked, "--store", str(made)]) == 0
    return made


def test_the_records_of_every_page_say_the_same(folder: Path) -> None:
    with open_to_read(folder) as store:
        books = run_books(store)
        plant = plant_of(store, books)
        shifts, lots = shifts_of(books), lots_of(books)
        assert {name: one.code for book in books for name, one in book.standings.items()} == EXPECTED
        index = site_index(plant, shifts, lots, ())
        assert {one.reel_id: one.standing for one in index.reels} == EXPECTED
        shown: dict[str, str] = {}
        for shift_id, group in shifts:
            page = shift_review(plant, shift_id, group)
            if left := [row["reel_id"] for one in group for row in one.reels if row["reel_id"] in ALARMS]:
                assert [one.reel_id for one in page.first_things[: len(left)]] == left
            shown |= {reel.reel_id: reel.standing for run_ in page.runs for reel in run_.reels}
            here = [reel.reel_id for run_ in page.runs for reel in run_.reels]
            assert page.totals.reels_left == sum(GATE_OF[EXPECTED[name]] == "left" for name in here)
            wording = Wording(plant)
            printed = [reel_data(reel, wording) for run_ in page.runs for reel in run_.reels]
            assert {one["id"]: one["standing"] for one in printed} == {name: EXPECTED[name] for name in here}
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


def reels_of(lot: str, folder: Path) -> set[str]:
    with open_to_read(folder) as store:
        return {row["reel_id"] for row in store.ask("questions/lot_reels", lot=lot)}


def test_commands_say_the_same(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def answer(*words: str) -> dict[str, Any]:
        assert run([*words, "--store", str(folder), "--json"]) == 0
        return dict(json.loads(capsys.readouterr().out))

    for name, code in EXPECTED.items():
        told = answer("reel", name)["standing"]
        assert told["code"] == code
        assert bool(told["alarms"]) == (name in ALARMS)
        assert answer("disposition", name)["standing"] == code
        at = answer("reel", name, "--at", "100ft")
        assert (at["standing"], bool(at["alarms"])) == (code, name in ALARMS)
    for name, code in LENGTHS.items():
        assert answer("disposition", name)["standing"] == code
        assert answer("reel", name, "--at", "10ft")["standing"] == code
    for lot in LOTS:
        reels = reels_of(lot, folder)
        here = {name: code for name, code in EXPECTED.items() if name in reels}
        told_of_lot = answer("lot", lot)
        assert {row["reel_id"]: row["standing"] for row in told_of_lot["reels"]} == here
        touched = answer("contain", "lot", lot)
        lengths = LENGTHS if "L1-0413-02" in reels else {}
        found = {one["length_id"]: one["standing"] for one in touched["touched"]}
        assert found == {name: code for name, code in (here | lengths).items() if name in found}
        assert set(here) <= set(found)
        for one in (told_of_lot, touched):
            assert len(one["alarms"]) == sum(name in reels for name in ALARMS)
    assert run(["reel", "L1-0411-01", "--store", str(folder)]) == 0
    shown = capsys.readouterr().out
    assert shown.startswith("Reel L1-0411-01: released. ")
    assert "Released by quality engineer and quality manager on 20" in shown


def test_commands_begin_with_the_alarm(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with open_to_read(folder) as store:
        sentence = plain(standing_of(store, "L1-0412-03").headline)
    for words in (
        ("reel", "L1-0412-03"),
        ("reel", "L1-0412-03", "--at", "100ft"),
        ("lot", "PVC-7740"),
        ("contain", "reel", "L1-0412-03"),
        ("contain", "lot", "PVC-7740"),
    ):
        assert run([*words, "--store", str(folder)]) == 0
        out = capsys.readouterr().out
        assert out.startswith("ALARM: "), words
        assert f"ALARM: {sentence}\n" in out, words


def test_packs_declarations_and_events_for_others_say_the_same(folder: Path) -> None:
    sheet = IssuerSheet(issuer=IssuerPart(name="Demo plant"), naming=NAMING)
    with open_to_read(folder) as store:
        for lot in LOTS:
            reels = reels_of(lot, folder)
            now = {
                row["item"]: row
                for row in lot_content(store, lot, AT, lambda _anchor: b"").frames["standings_now"].to_dicts()
            }
            lengths = LENGTHS if "L1-0413-02" in reels else {}
            expected = {name: code for name, code in EXPECTED.items() if name in reels} | lengths
            assert {name: row["standing"] for name, row in now.items()} == expected
            for name, row in now.items():
                assert row["headline"] == (
                    plain(standing_of(store, name).headline) if name in EXPECTED else row["headline"]
                )
                # What is left of a reel that was cut does not leave under the reel's number.
                assert row["may_leave"] == (row["standing"] == "released" and name != "L1-0413-02")
        document = events_of_wire(store, [*EXPECTED], sheet, AT)
        events = [one for one in document["epcisBody"]["eventList"] if "wire:standing" in one]
        told = {one["epcList"][0].rpartition("/")[2]: one["wire:standing"] for one in events}
        assert told == EXPECTED | LENGTHS
        # One reel of each standing: a declaration looks at the whole history of each.
        for code, name in {code: name for name, code in EXPECTED.items()}.items():
            held = [
                str(one)
                for one in refused(store, name, sheet)
                if one.found == plain(standing_of(store, name).headline, "us").rstrip(".")
            ]
            wanted = code not in ("released", "shipped", "releasable") and name != "L1-0413-02"
            assert bool(held) == wanted, (name, code)


def refused(store: Store, name: str, sheet: IssuerSheet) -> tuple[Complaint, ...]:
    with pytest.raises(DeclarationRefused) as told:
        declare(store, [name], sheet, keep=False, now=AT)
    return told.value.complaints


def test_prints_say_the_same_and_begin_with_the_alarm(folder: Path) -> None:
    with open_to_read(folder) as store:
        books = run_books(store)
        of_shift = {
            shift_id: [row["reel_id"] for book in group for row in book.reels]
            for shift_id, group in shifts_of(books)
        }
        held = next(row for book in books for row in book.findings if row["reel_id"] == "L1-0412-03")
        prints = [("shift", shift_id, reels) for shift_id, reels in of_shift.items()]
        prints += [("lot", lot, sorted(reels_of(lot, folder))) for lot in LOTS]
        prints += [("finding", held["finding_id"], ["L1-0412-03"])]
        for kind, name, reels in prints:
            text = text_of(printed(store, kind, name, "quality engineer", AT))
            title = {"shift": "What to do first", "lot": "Reels and their standing"}.get(kind, "")
            listed = text.partition(title)[2] if title else ""
            for reel in reels if title else ():
                rows = re.findall(
                    rf"{reel} (?:R-\d+ )?. ({'|'.join(sorted(CODES, key=len, reverse=True))})\b", listed
                )
                assert set(rows) == {EXPECTED[reel]}, (kind, name, reel)
            alarms = [
                f"Reel {one}: {plain(standing_of(store, one).headline)}" for one in ALARMS if one in reels
            ]
            # The plant and the title stand above every sheet; the alarm is the first statement of the record.
            start = text.index("■ ALARM.") if alarms else 0
            for one in alarms:
                assert f"■ ALARM. {one.replace(chr(160), ' ')}" in text
            if alarms:
                assert "Invented data" not in text[:start]
                assert not any(f" {code}" in text[:start] for code in CODES)
            else:
                assert "ALARM" not in text


@pytest.fixture(scope="module")
def pages(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("site") / "pages"
    with open_to_read(folder) as store:
        write_pages(store, out, lambda _what, _more: None)
    return out


def test_the_pages_as_written_say_the_same(folder: Path, pages: Path) -> None:
    with open_to_read(folder) as store:
        runs = {row["reel_id"]: book.run_id for book in run_books(store) for row in book.reels}
        shifts = {book.run_id: book.shift_id for book in run_books(store)}
    badge = rf"<span class=\"badge[^>]*>(?:<svg.*?</svg>)?({'|'.join(CODES)})</span>"
    listed = (pages / "data" / "index.js").read_text()
    for name, code in EXPECTED.items():
        assert f'["reel","{name}","{code}, ' in listed
        of_reel = (pages / "reels" / f"{name}.html").read_text()
        assert re.search(badge, of_reel[of_reel.index("<h1") :], re.DOTALL)[1] == code
        of_run = (pages / "runs" / f"{runs[name]}.html").read_text()
        assert re.search(rf"<strong>{name}</strong> {badge}", of_run, re.DOTALL)[1] == code
        of_shift = (pages / "shifts" / f"{shifts[runs[name]]}.html").read_text()
        row = of_shift[of_shift.index('<tr class="row-', of_shift.index("<caption")) :]
        cell = re.search(rf'data-v="{name}".*?data-l="Standing" data-v="([^"]*)"', row, re.DOTALL)
        assert cell is not None
        assert cell[1] == code
        for lot in LOTS:
            if name in reels_of(lot, folder):
                of_lot = (pages / "lots" / f"{lot}.html").read_text()
                rows = of_lot[of_lot.index('id="reels-title"') :]
                assert re.search(rf'data-v="{name}".*?{badge}', rows, re.DOTALL)[1] == code


def concerned(store: Store, name: str) -> dict[PageKind, Callable[[str], bool]]:
    """By the kind of page: whether the one of an id concerns a reel, its run, its shift, its line or its lots."""
    book = next(one for one in run_books(store) if name in one.standings)
    lots = {row["lot"] for row in book.materials}
    findings = {row["finding_id"] for row in book.findings if row["reel_id"] == name}

    def always(_name: str) -> bool:
        return True

    return {
        "shift": book.shift_id.__eq__,
        "run": book.run_id.__eq__,
        "centring": book.run_id.__eq__,
        "reel": name.__eq__,
        "lot": lots.__contains__,
        "finding": findings.__contains__,
        "containment": always,  # the one on file asks of a lot that is in every reel
        "charts": str(book.head["line"]).__eq__,
        "tuning": str(book.head["line"]).__eq__,
        "construction": lambda _name: False,  # of products, not of wire
        **dict.fromkeys(("index", "morning", "nonconformance", "capability", "faults"), always),
        **dict.fromkeys(("overwall", "data quality", "guide"), always),
    }


def test_wire_that_left_while_held_heads_every_page_that_concerns_it(folder: Path, pages: Path) -> None:
    with open_to_read(folder) as store:
        rules = {name: concerned(store, name) for name in ALARMS}
        sentences = {name: f"<strong>{plain(standing_of(store, name).headline)}</strong>" for name in ALARMS}
    kinds = {path: kind for kind, path in FOLDERS.items()}
    seen: dict[tuple[str, str], int] = {}
    for path in pages.rglob("*.html"):
        kind, text = kinds["" if path.parent == pages else path.parent.name], path.read_text()
        names = [name for name in ALARMS if rules[name][kind](path.stem)]
        assert [name for name in ALARMS if sentences[name] in text] == names, path
        if names:
            # Nothing but the site's own head and another alarm stands before it.
            before = text[text.index("</header>") : text.index(sentences[names[-1]])]
            for name in names:
                before = before.replace(sentences[name], "").replace(f"Reel {name}", "")
            assert not re.sub(r"<[^>]*>|\s", "", before), path
        seen |= {(kind, name): 1 for name in names}
    assert {kind for kind, _ in seen} == set(get_args(PageKind)) - {"construction"}
    assert all(rules[name].keys() == set(get_args(PageKind)) for name in ALARMS)


def prose(markup: str) -> str:
    """What a reader of mil and foot reads of a page; scripts, the log's own figures and limits of record left out."""
    kept = re.sub(r"<(script|style|svg|footer|code|time)\b.*?</\1>", "", markup, flags=re.DOTALL)
    kept = re.sub(r'<table[^>]* id="as-logged".*?</table>', "", kept, flags=re.DOTALL)
    kept = re.sub(r'<span class="unit">(.*?)</span>', r"\1", kept)
    kept = re.sub(r'<span class="si">[^<]*(?:<sub>[^<]*</sub>[^<]*)*</span>', "", kept)
    text = re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", kept)))
    return re.sub(r"\bat (?:least|most) [\d.]+ mm\b", "", text)


def test_no_page_shows_millimeters_in_mil_mode_or_more_digits_than_are_known(pages: Path) -> None:
    """Seen: 0.3701433225290074, and 1.26 mm, kg and per km beside mil, lb and per 1000 ft."""
    other, long, read = [], [], 0
    for path in pages.rglob("*.html"):
        if path.parent.name in (
            "guides",
            "constructions",
        ):  # tables of trials, and values as documents print them
            continue
        text = prose(path.read_text())
        read += len(text)
        other += [
            (path.name, one) for one in re.findall(r".{30}\d (?:mm|km|kg|kg/km|m/min|bar|per km)\b", text)
        ]
        long += [
            (path.name, one)
            for one in re.findall(r"(?<![\w.-])\d+\.\d+(?![\w.-])", text)
            if len(one.replace(".", "").lstrip("0")) > 6
        ]
    assert read > 100_000
    assert (other, long) == ([], [])


# A thin spot with others beside it, wire that left held, a clean one that was cut, one a third of which nobody saw.
COMPARED = ("L1-0412-02", "L1-0412-03", "L1-0413-02", "L2-0517-01")


@pytest.mark.parametrize("unit", ["ft", "m"])
def test_every_figure_of_a_reel_is_one_figure(
    folder: Path, pages: Path, unit: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Length, unmonitored, untested, faults, walls; stretch, length and worst value of each finding, from both ends."""

    def told(*words: str) -> str:
        run([*words, "--store", str(folder)])
        return capsys.readouterr().out

    found = Figures()
    monkeypatch.setattr("pipeline.record.reel_and_lot.unit_of_run", lambda _store, _run: unit)
    for name in COMPARED:
        of_reel_told(found, "reel", name, told("reel", name))
        of_reel_record(found, "reel --json", json.loads(told("reel", name, "--json")))
    if unit == "m":
        assert list(found.apart()) == []
        return
    name = COMPARED[0]
    of_plan(found, "cut", json.loads(told("cut", name, "--json")), told("cut", name))
    for kind in ("shifts", "runs", "reels", "lots", "nonconformance"):
        for path in (pages / kind).glob("*.html"):
            found.tables(f"{kind}/{path.stem}", path.read_text())
    with open_to_read(folder) as store:
        of_pack(found, lot_content(store, LOTS[0], AT, lambda _anchor: b"").frames)
        for kind, one in (("lot", LOTS[0]), ("finding", "R-0412-F01")):
            of_print(found, f"print {kind}", text_of(printed(store, kind, one, "quality engineer", AT)))
    assert list(found.apart()) == []
    # Each was really compared: so many kinds of places say it.
    for subject, quantity, least in (
        (name, "length", 6),
        (name, "thinnest", 4),
        (name, "unmonitored", 5),
        *(("R-0412-F01", one, 8) for one in ("from outer end", "to outer end", "length", "worst")),
        *(("R-0412-F01", one, 6) for one in ("from core end", "to core end")),
    ):
        assert len({where.partition("/")[0] for where, *_ in found.said[subject, quantity]}) >= least
    assert found.said["L2-0517-01", "unmonitored"][0][1] > 90.0

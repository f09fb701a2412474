"""One standing per reel: every page, command and print of a store with every state says the same code.

The states are derived by hand from what is put on file; the walk asks each place that shows a reel.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from html import unescape
from pathlib import Path
from typing import Any, get_args

import pytest

import pipeline
from dashboards.addresses import FOLDERS, PageKind
from dashboards.fillers.lot import lot_history, lots_of
from dashboards.fillers.plant import plant_of
from dashboards.fillers.run import run_review
from dashboards.fillers.run_book import run_books
from dashboards.fillers.shift import shift_review, shifts_of
from dashboards.pages.index import site_index
from dashboards.pages.reel import reel_review
from dashboards.records import GATE_OF
from pipeline.acts.leaving import held_back
from pipeline.acts.shipping import put_shipping_on_file
from pipeline.cli.app import run
from pipeline.errors import Complaint, ReelproofError
from pipeline.lots.declaration import DeclarationRefused
from pipeline.proofs.declaring import declare
from pipeline.proofs.lot_pack import lot_content
from pipeline.proofs.shared_events import events_of_wire
from pipeline.record.issuer_sheet import IssuerPart, IssuerSheet
from pipeline.record.shipping_list import Shipment, ShippingList
from pipeline.record.standing import ALARMS as LEFT
from pipeline.record.standing import standing_of
from pipeline.reports.printed import printed
from pipeline.reports.shift_summary import reel_data
from pipeline.reports.typesetting import Wording
from pipeline.store.database import Store, open_to_read, open_to_write
from pipeline.wording.say import plain
from tests.acts.decided_store import copied
from tests.record.every_state import ALARMS, AT, CODES, EXPECTED, LENGTHS, LOTS, NAMING
from tests.reports.test_printed_records import text_of


def test_the_records_of_every_page_say_the_same(states: Path) -> None:
    with open_to_read(states) as store:
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


# Of these `ship` says nothing of their standing: they may leave, or left already.
GONE_OR_FREE = ("released", "shipped", *LEFT)


def reels_of(lot: str, states: Path) -> set[str]:
    with open_to_read(states) as store:
        return {row["reel_id"] for row in store.ask("questions/lot_reels", lot=lot)}


def test_commands_say_the_same(states: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def answer(*words: str) -> dict[str, Any]:
        assert run([*words, "--store", str(states), "--json"]) == 0
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
        reels = reels_of(lot, states)
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
    assert run(["reel", "L1-0411-01", "--store", str(states)]) == 0
    shown = capsys.readouterr().out
    assert shown.startswith("Reel L1-0411-01: released. ")
    assert "Released by quality engineer and quality manager on 20" in shown


def test_the_python_surface_says_the_same(states: Path) -> None:
    """What `pipeline.reel` prints: the standing, its sentence and every reason, in the plant's units as `reel` does."""
    opened = pipeline.open_store(states)
    for name, code in EXPECTED.items():
        with open_to_read(states) as store:
            now = standing_of(store, name)
        given = pipeline.reel(opened, name)
        alarms = [f"ALARM: {plain(one, 'us')}" for one in now.alarms]
        said = [plain(one, "us") for one in (now.headline, *now.reasons)]
        assert list(given.text) == [*alarms, f"{name}: {code}.", *dict.fromkeys(said)]
        assert (given.record.code, bool(alarms)) == (code, name in ALARMS)


def test_ship_refuses_what_may_not_leave_in_the_same_words(states: Path, tmp_path: Path) -> None:
    """Each standing by itself: nothing is put on file, and the reason is the one that pages give."""
    with open_to_read(states) as store:
        held = held_back(store, [*EXPECTED, *LENGTHS])
        for name, code in (EXPECTED | LENGTHS).items():
            may = code == "released" and name != "L1-0413-02"
            # What is left of a reel that was cut does not leave under the reel's number.
            assert (name in held) != may, (name, code)
            if name in EXPECTED and not may:
                assert held[name][1] == standing_of(store, name).headline
    with open_to_write(copied(states, tmp_path / "store")) as store:
        for name in EXPECTED:
            if EXPECTED[name] in GONE_OR_FREE or name == "L1-0413-02":
                continue
            told = ShippingList(shipments=(Shipment(id="S-9", to="a customer", contents=(name,)),))
            with pytest.raises(ReelproofError) as refused:
                put_shipping_on_file(store, told, "shipping clerk")
            (one,) = refused.value.complaints
            words = plain(standing_of(store, name).headline, "us").rstrip(".")
            assert one.found == f"{name} may not leave: {words}"


def test_commands_begin_with_the_alarm(states: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with open_to_read(states) as store:
        sentence = plain(standing_of(store, "L1-0412-03").headline)
    for words in (
        ("reel", "L1-0412-03"),
        ("reel", "L1-0412-03", "--at", "100ft"),
        ("lot", "PVC-7740"),
        ("contain", "reel", "L1-0412-03"),
        ("contain", "lot", "PVC-7740"),
    ):
        assert run([*words, "--store", str(states)]) == 0
        out = capsys.readouterr().out
        assert out.startswith("ALARM: "), words
        assert f"ALARM: {sentence}\n" in out, words


def test_packs_declarations_and_events_for_others_say_the_same(states: Path) -> None:
    sheet = IssuerSheet(issuer=IssuerPart(name="Demo plant"), naming=NAMING)
    with open_to_read(states) as store:
        for lot in LOTS:
            reels = reels_of(lot, states)
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


def test_prints_say_the_same_and_begin_with_the_alarm(states: Path) -> None:
    with open_to_read(states) as store:
        books = run_books(store)
        of_shift = {
            shift_id: [row["reel_id"] for book in group for row in book.reels]
            for shift_id, group in shifts_of(books)
        }
        held = next(row for book in books for row in book.findings if row["reel_id"] == "L1-0412-03")
        prints = [("shift", shift_id, reels) for shift_id, reels in of_shift.items()]
        prints += [("lot", lot, sorted(reels_of(lot, states))) for lot in LOTS]
        prints += [("finding", held["finding_id"], ["L1-0412-03"])]
        for kind, name, reels in prints:
            text = text_of(printed(store, kind, name, "quality engineer", AT))
            for reel in reels if kind == "shift" else ():
                gate = re.escape(GATE_OF[EXPECTED[reel]])
                (said,) = re.findall(
                    rf"[■○◇] {gate} ([^■○◇]*?{reel}[^■○◇]*)", text.partition("What to do first")[0]
                )
                # What is held is told with why.
                assert re.search(rf"{reel}: \S", said) or gate in ("releasable", "released"), (
                    name,
                    reel,
                    said,
                )
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


def test_the_pages_as_written_say_the_same(states: Path, state_pages: Path) -> None:
    with open_to_read(states) as store:
        runs = {row["reel_id"]: book.run_id for book in run_books(store) for row in book.reels}
        shifts = {book.run_id: book.shift_id for book in run_books(store)}
    badge = rf"<span class=\"badge[^>]*>(?:<svg.*?</svg>)?({'|'.join(CODES)})</span>"
    listed = (state_pages / "data" / "index.js").read_text()
    for name, code in EXPECTED.items():
        assert f'["reel","{name}","{code}, ' in listed
        of_reel = (state_pages / "reels" / f"{name}.html").read_text()
        assert re.search(badge, of_reel[of_reel.index("<h1") :], re.DOTALL)[1] == code
        of_run = (state_pages / "runs" / f"{runs[name]}.html").read_text()
        assert re.search(rf"<strong>{name}</strong> {badge}", of_run, re.DOTALL)[1] == code
        of_shift = (state_pages / "shifts" / f"{shifts[runs[name]]}.html").read_text()
        row = of_shift[of_shift.index('<tr class="row-', of_shift.index("<caption")) :]
        cell = re.search(rf'data-v="{name}".*?data-l="Standing" data-v="([^"]*)"', row, re.DOTALL)
        assert cell is not None
        assert cell[1] == code
        for lot in LOTS:
            if name in reels_of(lot, states):
                of_lot = (state_pages / "lots" / f"{lot}.html").read_text()
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
        "spectra": book.run_id.__eq__,
        "compare": book.run_id.__eq__,
        "reel": name.__eq__,
        "lot": lots.__contains__,
        "finding": findings.__contains__,
        "containment": always,  # the one on file asks of a lot that is in every reel
        "charts": str(book.head["line"]).__eq__,
        "tuning": str(book.head["line"]).__eq__,
        "settings": str(book.head["line"]).__eq__,
        "construction": lambda _name: False,  # of products, not of wire
        **dict.fromkeys(("index", "morning", "nonconformance", "capability", "faults"), always),
        **dict.fromkeys(("overwall", "data quality", "guide"), always),
    }


def test_wire_that_left_while_held_heads_every_page_that_concerns_it(states: Path, state_pages: Path) -> None:
    with open_to_read(states) as store:
        rules = {name: concerned(store, name) for name in ALARMS}
        sentences = {name: f"<strong>{plain(standing_of(store, name).headline)}</strong>" for name in ALARMS}
    kinds = {path: kind for kind, path in FOLDERS.items()}
    seen: dict[tuple[str, str], int] = {}
    for path in state_pages.rglob("*.html"):
        kind, text = kinds["" if path.parent == state_pages else path.parent.name], path.read_text()
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


def test_no_page_shows_millimeters_in_mil_mode_or_more_digits_than_are_known(state_pages: Path) -> None:
    """Seen: 0.3701433225290074, and 1.26 mm, kg and per km beside mil, lb and per 1000 ft."""
    other, long, read = [], [], 0
    for path in state_pages.rglob("*.html"):
        if path.parent.name in (
            "guides",
            "constructions",
        ):  # tables of trials, and values as documents print them
            continue
        text = prose(path.read_text())
        read += len(text)
        # A limit stands in its unit of record with the reader's beside it.
        text = re.sub(
            r"[\d.]+ mm \([\d.]+ mil\)|[\d.]+ mil \([\d.]+ mm\)|\([\d.]+ mil\) \([\d.]+ mm\)", "", text
        )
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

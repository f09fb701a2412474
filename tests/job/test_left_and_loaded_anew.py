"""Wire that left is never forgotten: between a load and its judgement, and when a judgement turns against it.

The log that is loaded anew has the same readings but for three walls that one sensor reads at six tenths over one reel.
"""

from __future__ import annotations

import gzip
import json
import shutil
from pathlib import Path

import pytest

from dashboards.fillers.lot import lot_history, lots_of
from dashboards.fillers.plant import plant_of
from dashboards.fillers.run_book import run_books
from dashboards.fillers.shift import shift_review, shifts_of
from dashboards.pages.index import site_index
from pipeline.acts.deciding import act_on
from pipeline.acts.shipping import put_shipping_on_file
from pipeline.cli.app import run
from pipeline.record.shipping_list import CutLength, Shipment, ShippingList
from pipeline.store.database import open_to_read, open_to_write
from pipeline.wording.say import plain
from tests.acts.decided_store import ENGINEER, MANAGER
from tests.conftest import SAMPLE_RUNS

RUN, WHOLE, CUT = "R-0412", "L1-0412-01", "L1-0412-04"


@pytest.fixture
def plant(tmp_path: Path) -> Path:
    """A folder of one run, judged in a store; one of its reels left whole, of another a length that was cut."""
    shutil.copytree(SAMPLE_RUNS / "runs" / RUN, tmp_path / "runs" / RUN)
    shutil.copytree(SAMPLE_RUNS / "lines", tmp_path / "lines")
    shutil.copy(SAMPLE_RUNS / "plant.toml", tmp_path / "plant.toml")
    assert run(["load", str(tmp_path / "runs"), "--store", str(tmp_path / "store")]) == 0
    assert run(["assess", "--store", str(tmp_path / "store")]) == 0
    with open_to_write(tmp_path / "store") as store:
        for reel in (WHOLE, CUT):
            act_on(store, reel, "decide", ENGINEER, "seen", "release")
            act_on(store, reel, "confirm", MANAGER, "agreed")
        cut = CutLength(reel=CUT, length="A-1", from_m=0, to_m=200)
        left = Shipment(id="S-1", to="a customer", contents=(WHOLE, "A-1"))
        put_shipping_on_file(store, ShippingList(cuts=(cut,), shipments=(left,)), "shipping clerk")
    return tmp_path


def read_thinner(log: Path, from_ft: float, to_ft: float) -> None:
    """Let every wall sensor read six tenths over a stretch of the length counter."""
    head, *rows = gzip.decompress(log.read_bytes()).decode().splitlines()
    names = head.split(",")
    walls = [place for place, name in enumerate(names) if name.startswith("Wall_")]
    for number, row in enumerate(rows):
        cells = row.split(",")
        if from_ft <= float(cells[1] or -1.0) <= to_ft:
            for place in walls:
                cells[place] = f"{0.6 * float(cells[place]):.2f}" if cells[place] else ""
            rows[number] = ",".join(cells)
    log.write_bytes(gzip.compress("\n".join([head, *rows, ""]).encode()))


def test_a_load_that_is_not_judged_yet_is_told_at_once_and_stands_first(
    plant: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store_folder = plant / "store"
    read_thinner(plant / "runs" / RUN / f"{RUN}_log.csv.gz", 6000.0, 6200.0)
    capsys.readouterr()
    assert run(["load", str(plant / "runs"), "--store", str(store_folder)]) == 0
    told = capsys.readouterr().out.splitlines()
    gone = (
        f"left (shipped in S-1 to a customer) and is not judged now: run {RUN} was loaded anew. Judge it with "
        f"'reelproof assess {RUN}'."
    )
    expected = [f"{WHOLE} {gone}", f"A-1 {gone}"]
    assert told[:2] == [f"ALARM: {one}" for one in expected]
    with open_to_read(store_folder) as store:
        books = run_books(store)
        site = plant_of(store, books)
        ((shift_id, group),), lots = shifts_of(books), lots_of(books)
        pages = [shift_review(site, shift_id, group), site_index(site, [(shift_id, group)], lots, ())]
        pages += [lot_history(site, lot, runs) for lot, runs in lots.items()]
        assert all([plain(one.sentence) for one in page.stamp.left_held] == expected for page in pages)
        assert [plain(one.why) for one in pages[0].first_things[:2]] == expected
    assert run(["reel", WHOLE, "--store", str(store_folder)]) == 2
    assert capsys.readouterr().err == (
        f"{WHOLE}: ALARM: it left in S-1 to a customer, and run {RUN} was loaded anew and is not judged. Judge it with "
        f"'reelproof assess {RUN}'.\n"
    )
    for words in (("lot", "PVC-7740"), ("contain", "lot", "PVC-7740")):
        assert run([*words, "--store", str(store_folder)]) == 0
        assert capsys.readouterr().out.splitlines()[0] == f"ALARM: {expected[0]}"


def test_a_judgement_that_turns_against_wire_that_left_is_told_at_once(
    plant: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store_folder = plant / "store"
    read_thinner(plant / "runs" / RUN / f"{RUN}_log.csv.gz", 6000.0, 6200.0)
    assert run(["load", str(plant / "runs"), "--store", str(store_folder)]) == 0
    capsys.readouterr()
    assert run(["assess", "--store", str(store_folder)]) == 1
    assert capsys.readouterr().out.splitlines()[0] == (
        f"ALARM: {WHOLE} left and is held since: shipped in S-1 to a customer."
    )
    assert run(["assess", "--store", str(store_folder)]) == 0  # nothing new
    capsys.readouterr()
    assert run(["reel", WHOLE, "--store", str(store_folder), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["standing"]["code"] == "held since it left"


def test_a_reel_whose_name_a_changed_sheet_no_longer_has_is_not_forgotten(
    plant: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store_folder, sheet = plant / "store", plant / "runs" / RUN / "run.toml"
    sheet.write_text(sheet.read_text().replace(WHOLE, "L1-0412-91"))
    capsys.readouterr()
    assert run(["review", str(plant / "runs"), "--store", str(store_folder)]) == 1
    assert capsys.readouterr().out.splitlines()[0] == (
        f"ALARM: {WHOLE} left (shipped in S-1 to a customer) and is not judged now: the newest judgment of run {RUN} "
        "knows no such reel. Correct its run sheet."
    )
    index = (store_folder / "pages" / "index.html").read_text()
    assert "knows no such reel" in index[: index.index("<h1")]


def test_a_hold_on_wire_that_left_is_told_at_once(plant: Path, capsys: pytest.CaptureFixture[str]) -> None:
    store_folder = str(plant / "store")
    by = ("--role", "line operator", "--reason", "the next reel is scuffed")
    capsys.readouterr()
    assert run(["hold", "PVC-7740", *by, "--store", store_folder]) == 0
    assert capsys.readouterr().out.splitlines()[:2] == [
        f"ALARM: {WHOLE} left and is held since: shipped in S-1 to a customer.",
        "ALARM: A-1 left and is held since: shipped in S-1 to a customer.",
    ]

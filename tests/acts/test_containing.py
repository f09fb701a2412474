"""A suspect is followed through the store to reels, cut lengths and shipments, and only to those."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from dashboards.fillers.plant import plant_of
from dashboards.fillers.run_book import run_books
from dashboards.pages.containment import containment_entries, containment_of
from pipeline.acts.containing import note_containment
from pipeline.acts.shipping import put_shipping_on_file
from pipeline.errors import NotFoundError, ReelproofError
from pipeline.found import TouchedNote
from pipeline.job.assessing import assess_run, read_plant_for_judging
from pipeline.job.loading import load_sheets
from pipeline.lots.genealogy import changeover_tail_m
from pipeline.messages import message
from pipeline.proofs.changes import changes_in
from pipeline.record.reel_and_lot import lot_on_file
from pipeline.record.shipping_list import CutLength, Shipment, ShippingList
from pipeline.record.touched_wire import (
    Question,
    contained,
    containment_id,
    question_of,
)
from pipeline.store.database import Store, open_to_read, open_to_write
from pipeline.wording.say import plain
from tests.acts.decided_store import SENT, copied

ROOT = Path(__file__).parents[2]
FOOT = 0.3048


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


@pytest.fixture
def store(judged_store: Path, tmp_path: Path) -> Store:  # type: ignore[misc]
    with open_to_write(copied(judged_store, tmp_path / "store")) as opened:
        yield opened


def names(store: Store, *question: object, **more: object) -> set[str]:
    answer = contained(store, Question(*question, **more))  # type: ignore[arg-type]
    return {one.length_id for one in answer.touched}


def cut_and_ship(store: Store) -> None:
    """Reel L1-0412-02 cut in two and a scrap, the first length shipped."""
    ends = (("A", 0, 4480, "package"), ("B", 4480, 4540, "scrap"), ("C", 4540, 7039, "package"))
    cuts = [
        CutLength(reel="L1-0412-02", length=f"L1-0412-02-{name}", from_ft=start, to_ft=end, use=use)
        for name, start, end, use in ends  # type: ignore[arg-type]
    ]
    left = Shipment(id="S-1", to="a customer", contents=("L1-0412-02-A", "L1-0411-01"))
    put_shipping_on_file(store, ShippingList(cuts=tuple(cuts), shipments=(left,)), "shipping clerk", SENT)


def test_a_compound_lot_is_followed_over_its_stretch_of_the_counter(judged_store: Path) -> None:
    """R-0414 changed to PVC-7741 at 4200 m; its second reel holds 2696 m to 4982 m of the wire (run sheet)."""
    with open_to_read(judged_store) as store:
        answer = contained(store, Question("lot", "PVC-7741"))
        (second, third, fourth) = answer.touched
        assert [one.length_id for one in answer.touched] == ["L1-0414-02", "L1-0414-03", "L1-0414-04"]
        assert second.spans == ((0.0, pytest.approx(4982.0 - 4200.0)),)
        assert third.spans == fourth.spans == ((0.0, pytest.approx(2286.0)),)
        assert answer.runs == ("R-0414",)
        assert third.path == (
            "material lot insulation compound PVC-7741",
            "run R-0414",
            "reel L1-0414-03",
        )


def test_the_lot_that_ended_is_in_the_wire_of_the_change_over_too(judged_store: Path) -> None:
    """tail = v tau ln(1/share), an ideal mixer; with none the earlier lot ends where the sheet says."""
    with open_to_read(judged_store) as store:
        head = next(row for row in store.ask("questions/current_runs") if row["run_id"] == "R-0414")
        seconds = (head["ended_utc"] - head["started_utc"]).total_seconds()
        speed = max(head["made_m"], 9664.0) / seconds
        for residence in (0.0, 20.0):
            answer = contained(store, Question("lot", "PVC-7740", residence_s=residence))
            second = next(one for one in answer.touched if one.length_id == "L1-0414-02")
            tail = changeover_tail_m(speed, residence)
            # The reel is wound from the core: what came later lies outside and comes off first.
            assert second.spans == ((pytest.approx(max(4982.0 - 4200.0 - tail, 0.0), abs=1.0), 2286.0),)
            assert f"residence of {residence:g} s" in " ".join(map(plain, answer.notes))


def test_a_gauge_a_limit_a_version_and_a_roll(judged_store: Path) -> None:
    with open_to_read(judged_store) as store:
        every = {row["reel_id"] for row in store.ask("questions/reel_ids")}
        first_line = {name for name in every if name.startswith("L1-")}
        assert names(store, "gauge", "L1-WG") == first_line
        assert names(store, "element", "L1-capstan") == first_line
        assert names(store, "software", "0.1.0") == every
        assert names(store, "limit", "demo-XHHW2-concentricity-A") == every - first_line
        night = names(store, "gauge", "L1-WG", since=at("2026-03-04T06:00"))
        assert night == {name for name in first_line if name[3:7] in ("0419", "0420", "0421")}
        day = names(store, "window", "", since=at("2026-03-03T12:00"), until=at("2026-03-03T13:00"))
        assert {name[3:7] for name in day} == {"0411", "0511"}


def test_a_length_of_a_run_is_followed_to_the_cut_length(store: Store) -> None:
    cut_and_ship(store)
    answer = contained(store, Question("run", "R-0412", span=(3600.4, 3613.8)))
    found = {one.length_id: (one.where, one.spans) for one in answer.touched}
    # 4982 m - 3613.8 m = 1368.2 m from the outer end; length A ends at 4480 ft, 1365.5 m, B at 4540 ft, 1383.8 m.
    assert found == {
        "L1-0412-02": ("on lengths cut from it", ((pytest.approx(1368.2), pytest.approx(1381.6)),)),
        "L1-0412-02-B": (
            "scrapped",
            ((pytest.approx(1368.2 - 4480 * FOOT), pytest.approx(1381.6 - 4480 * FOOT)),),
        ),
    }


def test_where_wire_is_and_how_much(store: Store) -> None:
    before = contained(store, Question("reel", "L1-0412-02"))
    assert {one.where for one in before.touched} == {"not known"}
    assert before.notes[0] == message(TouchedNote.NOTHING_TOLD)
    assert {one.state for one in before.touched} == {"not known"}
    assert (before.in_house_m, before.not_known_m, before.gone_m) == (0.0, pytest.approx(2286.0), 0.0)
    cut_and_ship(store)
    after = contained(store, Question("reel", "L1-0412-02"))
    assert [(one.length_id, one.where) for one in after.touched] == [
        ("L1-0412-02", "in house"),
        ("L1-0412-02-C", "in house"),
        ("L1-0412-02-A", "shipped in S-1 to a customer"),
        ("L1-0412-02-B", "scrapped"),
    ]
    assert [one.state for one in after.touched] == ["in house", "in house", "shipped", "elsewhere"]
    assert after.not_known_m == 0.0
    # In house: length C and the 461 ft left on the reel; gone: length A.
    assert after.in_house_m == pytest.approx((7039 - 4540) * FOOT + 2286.0 - 7039 * FOOT)
    assert after.gone_m == pytest.approx(4480 * FOOT)
    assert after.shipments == {"S-1": "a customer"}
    assert after.notes[0] == message(TouchedNote.IN_HOUSE_MEANS)


def test_a_limit_of_an_earlier_judgement_still_reaches_the_wire(store: Store, tmp_path: Path) -> None:
    """The run is judged anew without a limit: wire may have left while the earlier judgement stood."""
    text = (ROOT / "sample_runs" / "plant.toml").read_text()
    path = tmp_path / "revised.toml"
    path.write_text(text.replace('revision = "A"', 'revision = "Z"'))
    assess_run(store, "R-0415", read_plant_for_judging(path))
    reels = {"L1-0415-01", "L1-0415-02", "L1-0415-03"}
    assert names(store, "limit", "demo-THHN-concentricity-A revision Z") == reels
    assert reels <= names(store, "limit", "demo-THHN-concentricity-A revision A")


def sheet_of(tmp_path: Path) -> tuple[Path, str]:
    """The run sheet of a copy of R-0415, and its text."""
    home = tmp_path / "sample_runs"
    for part in ("lines", "runs/R-0415"):
        shutil.copytree(ROOT / "sample_runs" / part, home / part)
    shutil.copy(ROOT / "sample_runs" / "plant.toml", home / "plant.toml")
    path = home / "runs" / "R-0415" / "run.toml"
    return path, path.read_text()


def test_a_lot_or_reel_of_a_replaced_load_is_followed(store: Store, tmp_path: Path) -> None:
    """R-0415 is loaded again with a corrected sheet: another compound lot, and its first reel by another number."""
    sheet, text = sheet_of(tmp_path)
    (before,) = [row["load_id"] for row in store.ask("questions/loads_of_run", run_id="R-0415")]
    sheet.write_text(text.replace("PVC-7740", "PVC-7799").replace('"L1-0415-01"', '"L1-0415-91"'))
    assert load_sheets(store, (sheet,))[1] == []
    assess_run(store, "R-0415")
    (_, after) = [row["load_id"] for row in store.ask("questions/loads_of_run", run_id="R-0415")]
    answer = contained(store, Question("lot", "PVC-7740"))
    found = {one.length_id: one for one in answer.touched if one.run_id == "R-0415"}
    assert set(found) == {"L1-0415-01", "L1-0415-91", "L1-0415-02", "L1-0415-03"}
    replaced = f"R-0415 load {before}, replaced by load {after}"
    assert found["L1-0415-02"].path[1] == f"load {replaced}"
    assert message(TouchedNote.BY_EARLIER_SHEET, run=replaced) in answer.notes
    assert names(store, "lot", "PVC-7799") == set(found) - {"L1-0415-01"}


def test_a_lot_of_a_replaced_load_alone_says_how_to_follow_it(store: Store, tmp_path: Path) -> None:
    sheet, text = sheet_of(tmp_path)
    sheet.write_text(text.replace("PVC-7740", "PVC-7755"))
    load_sheets(store, (sheet,))
    (_, second) = [row["load_id"] for row in store.ask("questions/loads_of_run", run_id="R-0415")]
    sheet.write_text(text.replace("PVC-7740", "PVC-7756"))
    load_sheets(store, (sheet,))
    with pytest.raises(NotFoundError) as told:
        lot_on_file(store, "PVC-7755")
    assert str(told.value) == (
        f"PVC-7755: this lot stands only in load {second} of run R-0415, which a later one replaced. Follow it with "
        "'reelproof contain lot PVC-7755', and find out which sheet is right."
    )
    assert {name[:7] for name in names(store, "lot", "PVC-7755")} == {"L1-0415"}


def test_what_is_not_on_file_is_told(judged_store: Path) -> None:
    with open_to_read(judged_store) as store:
        for question, sentence in (
            (
                Question("lot", "PVC-774"),
                "PVC-774: no lot of this number is on file. The nearest on file: PVC-7741, PVC-7740.",
            ),
            (
                Question("gauge", "L1-WGX"),
                "L1-WGX: no gauge of this number is on file. The nearest on file: L1-WG, L2-WG, L1-CG.",
            ),
        ):
            with pytest.raises(NotFoundError) as told:
                contained(store, question)
            assert str(told.value) == sentence
        with pytest.raises(ReelproofError) as refused:
            contained(store, Question("day", "monday"))
        assert str(refused.value) == (
            "contain: 'day' cannot be asked about. It may be lot, gauge, limit, software, element, run, reel, length, "
            "window."
        )
        with pytest.raises(ReelproofError) as refused:
            contained(store, Question("window", "", since=at("2026-03-03")))
        assert str(refused.value) == (
            "contain window: a window needs a start and an end. Give both --from and --to as times."
        )


def test_the_question_is_in_the_journal_and_its_page_is_as_of_now(store: Store) -> None:
    question = Question("run", "R-0412", span=(3600.4, 3613.8), residence_s=45.0)
    number = note_containment(store, contained(store, question), "quality engineer", "Thin wall.")
    (entry,) = containment_entries(store)
    assert number == containment_id(entry["entry_no"])
    # The command was killed after it had noted it, and given again.
    assert note_containment(store, contained(store, question), "quality engineer", "Thin wall.") == number
    assert len(containment_entries(store)) == 1
    assert question_of(entry["record"]) == question
    cut_and_ship(store)
    books = run_books(store)
    record = containment_of(store, plant_of(store, books), books, entry)
    assert (record.containment_id, record.reason, record.asked_by) == (
        number,
        "Thin wall.",
        "quality engineer",
    )
    assert plain(record.suspect) == "Run R-0412, 3600.4 to 3613.8 m of the run"
    reel = next(one for one in record.touched if one.length_id == "L1-0412-02")
    # Pages count from the reel's outer end, which lies at 4982 m of the run; its core end at 2696 m.
    assert (reel.from_m, reel.to_m) == (pytest.approx(4982.0 - 3613.8), pytest.approx(4982.0 - 3600.4))
    assert reel.core_m == (pytest.approx(3600.4 - 2696.0), pytest.approx(3613.8 - 2696.0))
    assert record.stamp.assessment_ids
    assert changes_in(store) == ()
    window = Question("gauge", "L1-WG", at("2026-03-01"), at("2026-03-04"))
    note_containment(store, contained(store, window), "quality engineer", "Drifted.")
    assert question_of(containment_entries(store)[-1]["record"]) == window

"""A footage mark is followed to the wire that was at the die then, and to everything on record around it."""

from __future__ import annotations

import csv
import gzip
import tomllib
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline.acts.deciding import act_on
from pipeline.acts.shipping import put_shipping_on_file
from pipeline.errors import NotFoundError
from pipeline.length.reel_places import told_on_reel
from pipeline.lots.complaint import Marks
from pipeline.lots.genealogy import Node
from pipeline.record.complaint_on_file import answer_complaint
from pipeline.record.genealogy_of_store import genealogy_of
from pipeline.record.reel_and_lot import reel_and_standing
from pipeline.record.shipping_list import CutLength, Shipment, ShippingList
from pipeline.store.database import Store, open_to_read, open_to_write
from pipeline.store.said_columns import told_of
from pipeline.wording.say import plain
from tests.acts.decided_store import ENGINEER, SENT, copied

ROOT = Path(__file__).parents[2]
FOOT = 0.3048
FROM_OUTER = Marks(0.0)


@pytest.fixture
def store(judged_store: Path, tmp_path: Path) -> Store:  # type: ignore[misc]
    with open_to_write(copied(judged_store, tmp_path / "store")) as opened:
        yield opened


def mark_of(store: Store, finding_id: str) -> float:
    """The mark in feet, from the outer end, at which a finding's worst reading lies."""
    row = store.ask("questions/finding", finding_id=finding_id)[0]
    reel = store.ask("questions/reel", reel_id=row["reel_id"])[0]
    return float((reel["to_m"] - row["worst_at_m"]) / FOOT)


def store_reel(folder: Path, reel_id: str) -> dict[str, Any]:
    with open_to_read(folder) as store:
        return store.ask("questions/reel", reel_id=reel_id)[0]


def test_the_record_around_the_mark(judged_store: Path) -> None:
    with open_to_read(judged_store) as store:
        row = store.ask("questions/finding", finding_id="R-0412-F01")[0]
        answer = answer_complaint(store, "L1-0412-02", mark_of(store, "R-0412-F01"), FROM_OUTER)
    record = answer.record
    assert record.place.wire_m == pytest.approx(row["worst_at_m"])
    assert answer.finding_ids == {"here": ("R-0412-F01",), "near": (), "same cause": ()}
    # The finding's sentence is the one on file with its places counted from the reel's outer end.
    reel = store_reel(judged_store, row["reel_id"])
    assert record.told[1] == told_on_reel(told_of(row), reel["to_m"])
    figures = {one["quantity"]: one for one in record.figures.iter_rows(named=True)}
    # Under a covering figure and finding are the worse bound; the readings beside it are as measured.
    near = record.around["wall"].filter(pl.col("row") == row["row"])
    assert figures["thinnest_wall_low_mm"]["least"] == pytest.approx(row["worst"], abs=1e-9)
    assert near["thinnest_wall_mm"].item() > row["worst"]
    assert set(record.around["events"]["kind"]) == {"spark fault", "surface flaw"}
    assert [one["lot"] for one in answer.lots] == ["BK-112", "CU14-0226", "PA-0318", "PVC-7740"]
    assert record.cautions[0].startswith("De-energize the circuit")
    assert plain(record.told[-1]).startswith("The record shows what the line's instruments saw")


def test_a_reading_of_the_record_is_the_line_of_the_log(judged_store: Path) -> None:
    """The thinnest wall around the mark stands in the log as the simulator wrote it, covering included."""
    with open_to_read(judged_store) as store:
        row = store.ask("questions/finding", finding_id="R-0412-F01")[0]
        answer = answer_complaint(store, "L1-0412-02", mark_of(store, "R-0412-F01"), FROM_OUTER)
    walls = answer.record.around["wall"].sort("thinnest_wall_mm")
    assert walls["row"][0] == row["row"]
    sheet = tomllib.loads((ROOT / "sample_runs/runs/R-0412/run.toml").read_text())["run"]
    with gzip.open(ROOT / "sample_runs/runs/R-0412/R-0412_log.csv.gz", "rt") as file:
        lines = list(csv.reader(file))
    line = lines[row["line"] - 1]
    read = [
        float(line[lines[0].index(f"Wall_{number}_mil")]) * 0.0254 - sheet["covering"]["mean_mm"]
        for number in range(1, 9)
    ]
    # The thinnest wall lies at or just under the lowest of eight sensors.
    assert min(read) == pytest.approx(walls["thinnest_wall_mm"][0], abs=0.012)


def test_marks_may_fall_and_start_anywhere(judged_store: Path) -> None:
    with open_to_read(judged_store) as store:
        mark = mark_of(store, "R-0412-F01")
        wanted = answer_complaint(store, "L1-0412-02", mark, FROM_OUTER).record.place.wire_m
        for marks, shown in (
            (Marks(12000.0), 12000.0 + mark),
            (Marks(12000.0, rising=False), 12000.0 - mark),
            (Marks(0.0, unit="m"), mark * FOOT),
        ):
            place = answer_complaint(store, "L1-0412-02", shown, marks).record.place
            assert place.wire_m == pytest.approx(wanted)
        with pytest.raises(NotFoundError) as told:
            answer_complaint(store, "L1-0412-02", 7600.0, FROM_OUTER)
        assert str(told.value) == (
            "reel L1-0412-02: the mark 7600 ft is not on it. Its marks run from 0 to 7500 ft; read the mark again."
        )


def test_sound_wire_and_wire_that_was_not_seen(judged_store: Path) -> None:
    """R-0419: the wall gauge gave nothing from 3300 m to 3840 m of the run."""
    with open_to_read(judged_store) as store:
        sound = answer_complaint(store, "L1-0411-01", 1000.0, FROM_OUTER)
        assert "No finding is on file for this wire." in map(plain, sound.record.told)
        end = store.ask("questions/reel", reel_id="L1-0419-02")[0]["to_m"]
        blind = answer_complaint(store, "L1-0419-02", (end - 3500.0) / FOOT, FROM_OUTER)
    assert "22.0 m of the 22.0 m around it were not seen by the wall gauge." in map(plain, blind.record.told)
    thinnest = blind.record.figures.filter(blind.record.figures["quantity"] == "thinnest_wall_low_mm")
    assert thinnest["least"].to_list() == [None]


def test_a_shipped_length_is_followed_to_its_reel(store: Store) -> None:
    mark = mark_of(store, "R-0412-F01")
    cuts = (
        CutLength(reel="L1-0412-02", length="A", from_ft=0, to_ft=4000),
        CutLength(reel="L1-0412-02", length="B", from_ft=4000, to_ft=7000),
    )
    left = Shipment(id="S-1", to="a customer", contents=("B",))
    put_shipping_on_file(store, ShippingList(cuts=cuts, shipments=(left,)), "shipping clerk", SENT)
    act_on(store, "R-0412-F01", "decide", ENGINEER, "customer agreed", "regrade")
    by_reel = answer_complaint(store, "L1-0412-02", mark, FROM_OUTER)
    by_length = answer_complaint(store, "B", mark - 4000.0, FROM_OUTER)
    assert by_length.record.place.wire_m == pytest.approx(by_reel.record.place.wire_m)
    assert by_length.finding_ids["here"] == ("R-0412-F01",)
    assert by_length.whereabouts == "B left in shipment S-1 for a customer."
    assert by_reel.whereabouts == (
        "It is on length B by what is on file. B left in shipment S-1 for a customer."
    )
    (decided,) = by_length.decisions
    assert decided.startswith("R-0412-F01: decide regrade by quality engineer (QE-1) on ")
    with pytest.raises(NotFoundError) as told:
        answer_complaint(store, "B", 3100.0, FROM_OUTER)
    assert str(told.value) == (
        "length B: the mark 3100 ft is not on it. Its marks run from 0 to 3000 ft; read the mark again."
    )


def test_what_an_accumulator_leaves_unsure_is_told(store: Store) -> None:
    """Its half-range of 4 m is on file as wire that may be on either reel; a mark is known to 1 m more."""
    reel = store.ask("questions/reel", reel_id="L1-0411-01")[0]
    either = [
        {
            "assessment_id": reel["assessment_id"],
            "reel_id": "L1-0411-01",
            "kind": "either reel",
            "from_m": at - 4.0,
            "to_m": at + 4.0,
            "sentence": "So near a reel's end that this wire may be on this reel or the next.",
        }
        for at in (reel["from_m"], reel["to_m"])
    ]
    store.append("measured.gap", pl.DataFrame(either))
    record = answer_complaint(store, "L1-0411-01", 1000.0, FROM_OUTER).record
    assert record.place.unsure_m == 5.0
    assert plain(record.told[0]).endswith(
        "known to 5.0 m (1.0 m for reading the mark and placing the wire, which this program assumes, and 4.0 m "
        "because the place of the reel change is not known better); what lies within that counts as at the "
        "mark."
    )
    assert reel_and_standing(store, "L1-0411-01")[0]["end_unsure_m"] == 4.0
    (edge,) = [one for one in genealogy_of(store).edges if one.child == Node("reel", "L1-0411-01")]
    assert edge.unsure_m == 4.0


def test_the_guide_speaks_of_a_covering_only_where_there_is_one(judged_store: Path) -> None:
    with open_to_read(judged_store) as store:
        nylon = answer_complaint(store, "L1-0411-01", 10.0, FROM_OUTER)
        single = answer_complaint(store, "L2-0511-01", 10.0, FROM_OUTER)
    advice = {(one.reaches, one.advice) for one in nylon.guide}
    assert {("covering", "repairable"), ("insulation", "replace"), ("conductor", "replace")} <= advice
    assert {one.reaches for one in single.guide} == {"insulation", "conductor", "not known"}


def test_what_has_no_record_is_told(judged_store: Path) -> None:
    with open_to_read(judged_store) as store:
        with pytest.raises(NotFoundError) as told:
            answer_complaint(store, "L1-0412-2", 10.0, FROM_OUTER)
        assert str(told.value).startswith("L1-0412-2: no reel or cut length of this number is on file.")
        with pytest.raises(NotFoundError) as told:
            answer_complaint(store, "L1-0421-01", 10.0, FROM_OUTER)
        assert str(told.value).startswith("reel L1-0421-01: no reading of it has a place on the wire: ")

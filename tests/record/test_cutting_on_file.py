"""A reel on file is cut for greatest value: what goes, what stays, against every other way, in the plant's units."""

from __future__ import annotations

import itertools
import math
from datetime import UTC, datetime
from pathlib import Path

import polars as pl
import pytest

from dashboards.fillers.plant import plant_of
from dashboards.fillers.run_book import run_books
from dashboards.pages.reel import plan_of, reel_review
from pipeline.acts.deciding import act_on
from pipeline.acts.shipping import put_shipping_on_file
from pipeline.errors import MethodRefusal, NotFoundError
from pipeline.nonconformance.disposition import Person
from pipeline.nonconformance.hold import Hold
from pipeline.record.cutting_on_file import plan_for_reel
from pipeline.record.shipping_list import CutLength, Shipment, ShippingList
from pipeline.record.stretches_that_go import UNSURE_M, ReelFacts, going_of, stretches_that_go
from pipeline.store.database import Store, open_to_read, open_to_write
from pipeline.wording.say import plain
from tests.acts.decided_store import ENGINEER, SENT, copied

FOOT = 0.3048
NOW = datetime(2026, 3, 5, tzinfo=UTC)
# The demo plant's own figures (sample_runs/plant.toml).
VALUES = {500: 70.0, 1000: 150.0, 2500: 390.0}
CUT_COST, REMNANT_FT, REMNANT_VALUE_FT, CLEARANCE_M = 4.0, 30.0 / FOOT, 0.10 * FOOT, 1.0


@pytest.fixture
def folder(judged_store: Path, tmp_path: Path) -> Path:
    return copied(judged_store, tmp_path / "store")


def best_of_stretch(length_ft: float) -> float:
    """The most a sound stretch is worth, by trying every number of every length (independent of the program)."""
    best = 0.0
    for counts in itertools.product(*(range(int(length_ft // one) + 1) for one in VALUES)):
        used = sum(count * one for count, one in zip(counts, VALUES, strict=True))
        if used <= length_ft:
            worth = sum(
                count * (value - CUT_COST) for count, value in zip(counts, VALUES.values(), strict=True)
            )
            rest = length_ft - used
            if rest >= REMNANT_FT:
                worth += max(rest * REMNANT_VALUE_FT - CUT_COST, 0.0)
            best = max(best, worth)
    return best


@pytest.mark.parametrize("reel_id", ["L1-0412-02", "L1-0413-03", "L1-0416-01", "L1-0411-01"])
def test_the_plan_is_worth_as_much_as_the_best_of_all_ways(judged_store: Path, reel_id: str) -> None:
    with open_to_read(judged_store) as store:
        planned = plan_for_reel(store, reel_id)
        reel = store.ask("questions/reel", reel_id=reel_id)[0]
    ends, start = [], 0.0
    for one in planned.bad:
        ends.append((start, one.from_m - CLEARANCE_M))
        start = max(start, one.to_m + CLEARANCE_M)
    ends.append((start, reel["length_m"] - UNSURE_M))
    # Sound stretches are rounded inward to the counter's tenth of a foot.
    lengths = [
        (math.floor(end / FOOT * 10 + 1e-6) - math.ceil(begin / FOOT * 10 - 1e-6)) / 10 for begin, end in ends
    ]
    wanted = sum(best_of_stretch(length) for length in lengths if length > 0)
    assert planned.plan.value == pytest.approx(wanted, abs=1e-6)
    assert planned.plan.value >= planned.naive.value
    assert planned.plan.unit == "ft"
    assert planned.currency == "USD"


def test_nothing_that_is_kept_lies_near_a_length_that_must_go(judged_store: Path) -> None:
    with open_to_read(judged_store) as store:
        for reel_id in ("L1-0412-02", "L1-0413-03", "L1-0414-03", "L1-0417-02", "L1-0418-02", "L2-0513-02"):
            planned = plan_for_reel(store, reel_id)
            assert planned.bad
            at = 0.0
            for piece in planned.plan.pieces:
                assert piece.from_m == pytest.approx(at)
                at = piece.to_m
                if piece.kind != "scrap":
                    for one in planned.bad:
                        gap = max(one.from_m - piece.to_m, piece.from_m - one.to_m)
                        assert gap >= CLEARANCE_M - 1e-9, (reel_id, piece, one)
            assert at == pytest.approx(planned.length_m)


def test_places_count_from_the_end_that_comes_off_first(judged_store: Path) -> None:
    """Finding R-0412-F01 lies from 3600.4 m to 3613.8 m of a reel that ends, outside, at 4982 m of the run."""
    with open_to_read(judged_store) as store:
        planned = plan_for_reel(store, "L1-0412-02")
        row = store.ask("questions/finding", finding_id="R-0412-F01")[0]
        end = store.ask("questions/reel", reel_id="L1-0412-02")[0]["to_m"]
    (one,) = planned.bad
    assert (one.from_m, one.to_m) == pytest.approx((end - row["to_m"], end - row["from_m"]))
    assert planned.steps[0].sentence == "Run from 0.0 ft to 2,500.0 ft onto a package of 2,500.0 ft, and cut."


def closed(store: Store, name: str, disposition: str) -> None:
    act_on(store, name, "decide", ENGINEER, "seen on a slice", disposition)  # type: ignore[arg-type]


def test_closed_wire_stays_only_where_the_plants_sheet_and_the_decision_say_so(folder: Path) -> None:
    """Seen before: any decision but scrap let a finding's wire be sold, also one that gave no evidence."""
    with open_to_write(folder) as store:
        closed(store, "R-0412-F01", "regrade")
        facts = ReelFacts(store, "L1-0412-02")
        assert [one.finding_id for one in going_of(facts)] == ["R-0412-F01"]
        cutting = facts.plant.cutting.model_copy(update={"stays_after": ("release",)})
        facts.plant = facts.plant.model_copy(update={"cutting": cutting})
        assert [one.finding_id for one in going_of(facts)] == ["R-0412-F01"]


@pytest.mark.parametrize("holds", [True, False])
def test_a_splice_is_cut_out_unless_the_plants_own_rule_lets_it_stay(folder: Path, holds: bool) -> None:
    with open_to_write(folder) as store:
        reel = store.ask("questions/reel", reel_id="L1-0411-01")[0]
        before = plan_for_reel(store, "L1-0411-01")
        # A splice of 3 m, 1000 m from the end that comes off first, as a judgement would put it on file.
        row = store.ask_frame(
            "questions/findings_of_assessment",
            assessment_id=store.ask("questions/reel", reel_id="L1-0412-02")[0]["assessment_id"],
        ).head(1)
        spliced = {
            "assessment_id": pl.lit(reel["assessment_id"], pl.Int32),
            "finding_id": pl.lit("R-0411-F90"),
            "number": pl.lit(90, pl.Int32),
            "run_id": pl.lit("R-0411"),
            "reel_id": pl.lit("L1-0411-01"),
            "rule": pl.lit("splice"),
            "holds_release": pl.lit(holds),
            "from_m": pl.lit(reel["to_m"] - 1001.5),
            "to_m": pl.lit(reel["to_m"] - 998.5),
        }
        store.append("judged.finding", row.with_columns(**spliced))
        planned = plan_for_reel(store, "L1-0411-01")
    place = [(pytest.approx(998.5), pytest.approx(1001.5))]
    told_of = [(one.from_m, one.to_m) for one in planned.bad] if holds else list(planned.splices)
    assert told_of == place
    assert (planned.splices if holds else planned.bad) == ()
    sold = [one for one in planned.plan.pieces if one.kind != "scrap"]
    assert any(one.from_m < 1000.0 < one.to_m for one in sold) is not holds
    told = (
        " A splice at 3,280.8 ft from the outer end (4,219.2 ft from the core end) may stay in what is sold: "
    )
    assert (told in " ".join(plain(one, "us") for one in planned.told)) is not holds
    assert (planned.plan.value < before.plan.value) is holds


def lengths(reel: str, *ends_ft: float) -> ShippingList:
    return ShippingList(
        cuts=tuple(
            CutLength(reel=reel, length=f"{reel}-{number}", from_ft=start, to_ft=end)
            for number, (start, end) in enumerate(itertools.pairwise(ends_ft))
        )
    )


def test_wire_already_cut_is_left_out(folder: Path) -> None:
    with open_to_write(folder) as store:
        before = plan_for_reel(store, "L1-0412-02")
        put_shipping_on_file(store, lengths("L1-0412-02", 0, 2500), "shipping clerk")
        after = plan_for_reel(store, "L1-0412-02")
        assert after.begun_m == pytest.approx(2500 * FOOT)
        # One origin: what was cut already moves no place of the reel.
        assert after.length_m == before.length_m
        assert after.bad == before.bad
        assert after.plan.pieces[0].from_m == pytest.approx(2500 * FOOT)
        assert after.steps[0].counter_from == 2500.0
        assert after.plan.value == pytest.approx(before.plan.value - 386.0)


def test_what_cannot_be_planned_is_told(folder: Path) -> None:
    with open_to_write(folder) as store:
        with pytest.raises(NotFoundError) as told:
            plan_for_reel(store, "L1-0412-2")
        assert str(told.value).startswith("L1-0412-2: no reel of this number is on file.")
        with pytest.raises(MethodRefusal) as refused:
            plan_for_reel(store, "L1-0421-01")
        assert str(refused.value).startswith(
            "reel L1-0421-01: No conclusion about reel L1-0421-01. R-0421_log.csv.gz: column 'Wall_1_mil'"
        )
        put_shipping_on_file(store, lengths("L1-0412-01", 0, 3000, 7500), "shipping clerk")
        with pytest.raises(NotFoundError) as told:
            plan_for_reel(store, "L1-0412-01")
        assert str(told.value) == "reel L1-0412-01: all of it was cut already. Plan another reel."
        shipped = Shipment(id="S-1", to="somebody", contents=("L1-0411-01",))
        put_shipping_on_file(store, ShippingList(shipments=(shipped,)), "shipping clerk", SENT)
        with pytest.raises(NotFoundError) as told:
            plan_for_reel(store, "L1-0411-01")
        assert str(told.value) == "reel L1-0411-01: it left in shipment S-1. Plan another reel."
        put_shipping_on_file(store, lengths("L1-0411-02", 500, 1000), "shipping clerk")
        with pytest.raises(MethodRefusal) as refused:
            plan_for_reel(store, "L1-0411-02")
        assert str(refused.value) == (
            "reel L1-0411-02: length L1-0411-02-0 was cut at 500.0 ft and nothing is on file of the wire from 0.0 ft "
            "to there. Tell that length with 'reelproof ship', as stock or scrap, then plan again."
        )


def test_the_reel_page_shows_the_plan_from_the_reels_outer_end(folder: Path) -> None:
    with open_to_write(folder) as store:
        put_shipping_on_file(store, lengths("L1-0412-02", 0, 500), "shipping clerk")
        books = run_books(store)
        book = next(one for one in books if one.run_id == "R-0412")
        reel = next(row for row in book.reels if row["reel_id"] == "L1-0412-02")
        plan, _ = plan_of(book, reel)
        record = reel_review(plant_of(store, books), book, reel)
        releasable = next(row for row in book.reels if row["reel_id"] == "L1-0412-01")
        assert plan_of(book, releasable) == (None, ())
    assert plan is not None
    assert plan == record.plan
    length = reel["to_m"] - reel["from_m"]
    assert plan.pieces[0].from_m == pytest.approx(0.0)
    assert plan.pieces[-1].to_m == pytest.approx(length)
    for one, other in itertools.pairwise(plan.pieces):
        assert one.to_m == pytest.approx(other.from_m)
    assert plan.pieces[0].label == "L1-0412-02-0, cut"
    assert {one.use for one in plan.pieces} == {"ship", "remnant", "scrap"}
    finding = next(row for row in book.findings if row["reel_id"] == "L1-0412-02")
    (gone,) = [one for one in plan.pieces if one.use == "scrap" and one.to_m - one.from_m > 5.0]
    assert gone.from_m < reel["to_m"] - finding["to_m"] < reel["to_m"] - finding["from_m"] < gone.to_m
    assert [(one.length_id, one.from_m, one.to_m) for one in record.children] == [
        ("L1-0412-02-0", pytest.approx(0.0), pytest.approx(500 * FOOT))
    ]


def test_unseen_wire_is_neither_sold_nor_kept(folder: Path) -> None:
    """Seen before: of a reel two thirds unmonitored, two pieces of half a metre were lost and the rest was sold."""
    with open_to_write(folder) as store:
        reel = store.ask("questions/reel", reel_id="L1-0411-01")[0]
        blind = (reel["from_m"] + 500.0, reel["from_m"] + 500.0 + 0.67 * reel["length_m"])
        gap = {
            "assessment_id": [reel["assessment_id"]] * 2,
            "reel_id": ["L1-0411-01"] * 2,
            "kind": ["wall unmonitored", "spark untested"],
            "from_m": [blind[0], reel["from_m"] + 100.0],
            "to_m": [blind[1], reel["from_m"] + 100.4],
            "sentence": ["No usable wall reading here.", "No full spark test is on record here."],
        }
        frame = pl.DataFrame(gap, schema_overrides={"assessment_id": pl.Int32})
        store.append("measured.gap", frame)
        planned = plan_for_reel(store, "L1-0411-01")
        going = stretches_that_go(store, "L1-0411-01")
    assert {one.kind for one in going} == {"unmonitored", "untested"}
    assert planned.bad == going
    unseen = [
        (reel["to_m"] - end, reel["to_m"] - start)
        for start, end in zip(gap["from_m"], gap["to_m"], strict=True)
    ]
    for piece in planned.plan.pieces:
        for start, end in unseen:
            assert piece.kind == "scrap" or piece.to_m <= start - UNSURE_M or piece.from_m >= end + UNSURE_M
    assert (
        sum(one.to_m - one.from_m for one in planned.plan.pieces if one.kind == "scrap")
        > 0.67 * reel["length_m"]
    )


def test_no_remnant_lies_in_the_zone_of_a_damaged_roll(judged_store: Path) -> None:
    """Seen before: remnants were kept between the marks of roll L1-roll-A on reel L1-0418-02."""
    with open_to_read(judged_store) as store:
        planned = plan_for_reel(store, "L1-0418-02")
        reel = store.ask("questions/reel", reel_id="L1-0418-02")[0]
        marks = [
            (reel["to_m"] - row["to_m"], reel["to_m"] - row["from_m"])
            for row in store.ask("questions/findings_of_assessment", assessment_id=reel["assessment_id"])
            if row["cause"] == "roll" and row["reel_id"] == "L1-0418-02"
        ]
    assert len(marks) > 3
    low, high = min(start for start, _ in marks), max(end for _, end in marks)
    assert [one.kind for one in planned.bad].count("repeating cause") == 1
    for piece in planned.plan.pieces:
        assert piece.kind == "scrap" or piece.to_m < low or piece.from_m > high


def test_a_persons_hold_on_a_stretch_goes_and_one_on_the_reel_refuses(
    judged_store: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def put(start: float | None, end: float | None) -> None:
        hold = Hold(7, "reel", "L1-0411-01", start, end, Person("process engineer"), "odd look", NOW)
        monkeypatch.setattr(ReelFacts, "holds", (hold,))

    with open_to_read(judged_store) as store:
        put(100.0, 120.0)
        (one,) = plan_for_reel(store, "L1-0411-01").bad
        assert (one.kind, one.from_m, one.to_m) == ("held", 100.0 - UNSURE_M, 120.0 + UNSURE_M)
        put(None, None)
        with pytest.raises(MethodRefusal) as refused:
            plan_for_reel(store, "L1-0411-01")
        assert str(refused.value) == (
            "reel L1-0411-01: Hold 7 on reel L1-0411-01, put by process engineer on 2026-03-05: odd look. No length of "
            "it is shown to be sound; settle this first."
        )
        (whole,) = stretches_that_go(store, "L1-0411-01")
        assert (whole.from_m, whole.to_m) == (0.0, pytest.approx(2286.0))


def test_wire_on_which_the_instruments_contradict_each_other_goes(judged_store: Path) -> None:
    with open_to_read(judged_store) as store:
        facts = ReelFacts(store, "L1-0411-01")
        start, end = facts.reel["to_m"] - 220.0, facts.reel["to_m"] - 200.0
        said = {
            "from_m": start,
            "to_m": end,
            "sentence": f"The gauges disagree from {start:.1f} m to {end:.1f} m.",
        }
        facts.run.__dict__["contradictions"] = [said]
        (one,) = going_of(facts)
    assert (one.kind, one.from_m, one.to_m) == (
        "contradicted",
        pytest.approx(200.0 - UNSURE_M),
        pytest.approx(220.0 + UNSURE_M),
    )
    assert plain(one.told) == "The gauges disagree from 200.0 m to 220.0 m from the outer end."

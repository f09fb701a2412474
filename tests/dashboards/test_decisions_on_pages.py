"""Decisions flow to pages: what is open and closed, who decided, how long it took, and pages written anew for it."""

from __future__ import annotations

import re
from datetime import UTC, date, timedelta
from pathlib import Path

import numpy as np
import pytest

from dashboards.fillers.finding import finding_review
from dashboards.fillers.lot import lot_history, lots_of
from dashboards.fillers.plant import plant_of
from dashboards.fillers.rows import finding_row
from dashboards.fillers.run_book import RunBook, run_books
from dashboards.fillers.run_rows import run_row
from dashboards.fillers.shift import shift_review
from dashboards.page_writing import write_pages
from dashboards.pages.nonconformance import nonconformance_summary
from dashboards.pages.reel import reel_review
from pipeline.acts.containing import note_containment
from pipeline.acts.deciding import act_on
from pipeline.record.touched_wire import Question, contained
from pipeline.store.database import Store, open_to_read, open_to_write
from pipeline.wording.say import plain
from tests.acts.decided_store import ENGINEER, TECHNICIAN, copied, judged


@pytest.fixture
def folder(judged_store: Path, tmp_path: Path) -> Path:
    return copied(judged_store, tmp_path / "store")


def book_of(store: Store, run_id: str) -> RunBook:
    return next(book for book in run_books(store) if book.run_id == run_id)


def scrap(store: Store, name: str, days: float) -> None:
    """Decide and complete a number of days after the finding was first found."""
    run_id = name.rpartition("-")[0]
    found = book_of(store, run_id).first_seen[name].replace(tzinfo=UTC)
    at = found + timedelta(days=days)
    act_on(store, name, "decide", TECHNICIAN, "thin on a slice", "scrap", now=at)
    act_on(store, name, "complete", ENGINEER, "cut out", evidence="cut record 12", now=at)


def test_a_finding_row_is_open_decided_and_closed(folder: Path) -> None:
    with open_to_write(folder) as store:

        def row() -> object:
            book = book_of(store, "R-0412")
            return finding_row(book, next(one for one in book.findings if one["finding_id"] == "R-0412-F02"))

        before = row()
        assert (before.status, before.disposition, before.closed_at) == ("open", None, None)  # type: ignore[attr-defined]
        assert before.proposal.startswith("Cut the length out with clearance")  # type: ignore[attr-defined]
        act_on(store, "R-0412-F02", "decide", TECHNICIAN, "thin on a slice", "scrap")
        decided = row()
        assert decided.status == "open"  # type: ignore[attr-defined]
        assert decided.disposition.decision == "scrap (decided, not closed)"  # type: ignore[attr-defined]
        done = act_on(store, "R-0412-F02", "complete", ENGINEER, "cut out", evidence="cut record 12")
        closed = row()
        assert (closed.status, closed.closed_at) == ("closed", done.act.at_utc)  # type: ignore[attr-defined]
        assert closed.disposition.decision == "scrap"  # type: ignore[attr-defined]
        assert closed.disposition.role == str(TECHNICIAN)  # type: ignore[attr-defined]


def test_what_is_still_open_is_counted_on_every_page(folder: Path) -> None:
    with open_to_write(folder) as store:
        scrap(store, "R-0412-F02", 2.0)
        books = [book_of(store, "R-0412")]
        plant = plant_of(store, books)
        assert run_row(books[0]).open_findings == 1
        by_reel = {row.reel_id: row.open_findings for row in run_row(books[0]).reels}
        assert by_reel == {"L1-0412-01": 0, "L1-0412-02": 1, "L1-0412-03": 0, "L1-0412-04": 0}
        shift = shift_review(plant, "2026-03-03-DAY", books)
        assert shift.totals.open_findings == 1
        # A reel whose findings are all decided and done is no first thing to do any more; its standing stays.
        assert [one.reel_id for one in shift.first_things] == ["L1-0412-02"]
        assert shift.totals.reels_held == 2


def test_the_summary_counts_closed_ones_and_the_time_it_took(folder: Path) -> None:
    with open_to_write(folder) as store:
        books = [book_of(store, run_id) for run_id in ("R-0412", "R-0413")]
        days = (date(2026, 3, 1), date(2026, 3, 31))
        plant = plant_of(store, books)
        before = nonconformance_summary(plant, "2026-03", "March 2026", *days, books)
        assert before.median_days_to_disposition is None
        assert before.oldest_open_days == 28.0
        for name, took in (("R-0412-F01", 1.0), ("R-0412-F02", 2.5), ("R-0413-F01", 9.0)):
            scrap(store, name, took)
        books = [book_of(store, run_id) for run_id in ("R-0412", "R-0413")]
        after = nonconformance_summary(plant, "2026-03", "March 2026", *days, books)
    assert after.median_days_to_disposition == pytest.approx(2.5)
    closed = [one.finding_id for one in after.findings if one.status == "closed"]
    assert closed == ["R-0412-F01", "R-0412-F02", "R-0413-F01"]
    statuses = [one.status for one in after.findings]
    assert statuses == sorted(statuses, reverse=True)  # open ones first
    for tally in after.tallies:
        assert sum(row.closed for row in tally.rows) == 3
        assert sum(row.opened for row in tally.rows) == len(after.findings)


def test_a_reel_page_and_a_lot_page_show_who_decided(folder: Path) -> None:
    with open_to_write(folder) as store:
        scrap(store, "R-0412-F02", 1.0)
        act_on(store, "L1-0412-03", "decide", TECHNICIAN, "the rest is sound", "release")
        act_on(store, "L1-0412-03", "confirm", ENGINEER, "agreed")
        books = run_books(store)
        plant = plant_of(store, books)
        book = book_of(store, "R-0412")
        reel = next(row for row in book.reels if row["reel_id"] == "L1-0412-03")
        record = reel_review(plant, book, reel)
        assert [(one.decision, one.role) for one in record.dispositions] == [
            ("scrap", str(TECHNICIAN)),
            ("scrap completed", str(ENGINEER)),
            ("release", str(TECHNICIAN)),
            ("release confirmed", str(ENGINEER)),
        ]
        assert record.dispositions[1].reason == "cut out. Evidence: cut record 12."
        decision = record.reel.disposition
        assert decision is not None
        assert (decision.decision, decision.role, decision.second_role) == (
            "release",
            str(TECHNICIAN),
            str(ENGINEER),
        )
        # What the evidence says does not change by a decision; the reel is released all the same.
        assert (record.reel.standing, record.reel.evidence) == ("released", "held")
        assert plain(record.reel.headline).startswith(
            "Released by shift quality technician and quality engineer on 20"
        )
        assert record.reel.reasons == ()
        lot = lot_history(plant, "CU14-0226", lots_of(books)["CU14-0226"])
        assert [one.decision for one in lot.dispositions] == [one.decision for one in record.dispositions]
        told = [one for one in lot.events if one.kind == "disposition"]
        assert len(told) == 4
        assert all(one.digest for one in told)


def test_the_page_of_a_finding_walks_back_to_the_log(judged_store: Path) -> None:
    with open_to_read(judged_store) as store:
        books = run_books(store)
        book = book_of(store, "R-0412")
        row = next(one for one in book.findings if one["finding_id"] == "R-0412-F01")
        record = finding_review(plant_of(store, books), book, row, books)
        spark = book_of(store, "R-0418")
        counted = finding_review(plant_of(store, books), spark, spark.findings[0], books)
    assert record.evidence[0].line == row["line"]
    assert record.evidence[0].row == row["row"]
    assert len(record.evidence[0].file_sha256) == 64
    assert {one.name for one in record.window} >= {"mean_wall_mm", "thinnest_wall_mm", "diameter_mm"}
    for trace in record.window:
        assert trace.at_m.min() >= row["evidence_from_m"]
        assert trace.at_m.max() <= row["evidence_to_m"]
    section = record.section
    assert section is not None
    assert section.at_m == pytest.approx(row["worst_at_m"])
    # The harmonic's thinnest wall is the mean less the offset; the lowest sensor lies at or above it.
    assert section.mean_wall_mm - section.eccentricity_mm == pytest.approx(row["worst"], abs=0.012)
    assert float(np.nanmin(section.sensor_walls_mm)) >= row["worst"] - 0.002
    assert section.limit_mm == pytest.approx(13 * 0.0254)
    told = " ".join(plain(one) for one in record.how_sure)
    assert told.startswith("guard band: conformity must be shown with 95 %.")
    assert "Probability of conformance at the worst reading: under 0.001 (" in told
    averaged = re.search(r"One reading averages (\d\.\d+) m of wire at this speed\.", told)
    assert averaged is not None and 0.3 < float(averaged.group(1)) < 3.0
    assert {one.lot_id for one in record.lots} == {"BK-112", "CU14-0226", "PA-0318", "PVC-7740"}
    # A finding of events shows the lines of the events themselves.
    assert counted.section is None
    assert counted.evidence
    assert all(one.file.endswith("_spark.csv.gz") for one in counted.evidence)


@pytest.mark.slow
def test_a_decision_writes_its_pages_anew_and_no_others(tmp_path: Path) -> None:
    folder, out = judged(tmp_path / "store", "R-0513", "R-0415"), tmp_path / "pages"

    def write() -> dict[str, bytes]:
        with open_to_read(folder) as store:
            write_pages(store, out, lambda _what, _more: None)
        return {
            path.relative_to(out).as_posix(): path.read_bytes()
            for path in out.rglob("*.html")
            if path.is_file()
        }

    before = write()
    with open_to_write(folder) as store:
        scrap(store, "R-0513-F01", 1.0)
        asked = contained(store, Question("lot", "XLPE-2255"))
        number = note_containment(store, asked, "quality engineer", "The supplier recalled it.")
    after = write()
    changed = {name for name in after if after[name] != before.get(name)}
    assert {
        f"containments/{number}.html",
        "findings/R-0513-F01.html",
        "reels/L2-0513-02.html",
        "runs/R-0513.html",
        "index.html",
    } <= changed
    assert {"reels/L1-0415-01.html", "runs/R-0415.html"} <= set(after)
    assert not any(name.startswith(("reels/L1-", "runs/R-04")) for name in changed)

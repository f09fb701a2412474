"""A plant that has not entered a limit yet: every reel is held for that, and the shift page says so once."""

from __future__ import annotations

import re
from pathlib import Path

from dashboards.fillers.plant import plant_of
from dashboards.fillers.run_book import run_books
from dashboards.fillers.shift import shift_review, shifts_of
from dashboards.page_writing import write_pages
from dashboards.pages.shift import gates, shared_reasons
from pipeline.job.assessing import assess_runs
from pipeline.job.loading import load_sheets
from pipeline.store.database import open_to_read, open_to_write
from tests.said import said

MISSING = "Not judged: no limit on file for concentricity of THHN/THWN-2 12 AWG"


def without_concentricity(sheet: Path) -> None:
    """Take the entry of the product's concentricity out of the plant sheet."""
    plant = sheet.parents[2] / "plant.toml"
    entries = re.split(r"(?m)^(?=\[\[limits\]\]$)", plant.read_text())
    kept = [one for one in entries if 'id = "demo-THHN-concentricity-A"' not in one]
    assert len(kept) == len(entries) - 1
    plant.write_text("".join(kept))


def test_a_reason_that_stands_against_every_reel_is_told_once(small_run: Path, tmp_path: Path) -> None:
    without_concentricity(small_run)
    with open_to_write(tmp_path / "s") as store:
        load_sheets(store, (small_run,))
        (judged,) = assess_runs(store, ())
        assert judged.held == 3
    with open_to_read(tmp_path / "s") as store:
        books = run_books(store)
        ((shift_id, group),) = shifts_of(books)
        record = shift_review(plant_of(store, books), shift_id, group)
        write_pages(store, tmp_path / "pages", lambda _what, _more: None)
    (run,) = record.runs
    (told,) = shared_reasons(run)
    assert said(told).startswith(MISSING)
    # The reel with a finding comes first and by itself; what holds the other two is one thing to do.
    first, second = record.first_things
    assert (first.reel_id, first.finding_id) == ("L1-0415-01", "R-0415-F01")
    assert (second.reel_id, second.run_id) == ("", "R-0415")
    assert (
        second.sentence
        == "Enter the missing limit or gather the missing evidence, then assess the run again."
    )
    assert said(second.why) == f"{said(told)} For this alone 2 reels are held: L1-0415-02, L1-0415-03."
    (held,) = (gate.reels for gate in gates(record) if gate.standing == "held")
    assert [(one.reel.reel_id, one.turn) for one in held] == [
        ("L1-0415-01", 1),
        ("L1-0415-02", 2),
        ("L1-0415-03", 2),
    ]
    assert [one.why for one in held[1:]] == ["1 reason against every reel of run R-0415"] * 2
    page = (tmp_path / "pages" / "shifts" / f"{shift_id}.html").read_text()
    shown = re.sub(r' data-v="[^"]*"', "", page)  # what a saved table says of each reel stays whole
    assert shown.count(f"<li>{MISSING}") == 1
    assert shown.count("what stands against every reel of the run") == 3
    assert page.count(MISSING) > shown.count(MISSING)


def test_one_reel_alone_tells_its_own_reasons(small_run: Path, tmp_path: Path) -> None:
    without_concentricity(small_run)
    head, first, _, last = small_run.read_text().split("[[run.reels]]")
    small_run.write_text(f"{head}[[run.reels]]{first}{last[last.index('[[') :]}")
    with open_to_write(tmp_path / "s") as store:
        _, refused = load_sheets(store, (small_run,))
        assert refused == []
        assess_runs(store, ())
        books = run_books(store)
        record = shift_review(plant_of(store, books), "2026-03-03-EVENING", books)
    (run,) = record.runs
    assert shared_reasons(run) == ()
    assert any(said(one.sentence).startswith(MISSING) for one in run.reels[0].reasons)

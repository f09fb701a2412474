"""What a look over a line says of a run among its like hangs on when runs were made, never on when they were judged."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from dashboards.fillers.run_book import run_books
from pipeline.job import line_review
from pipeline.job.line_review import review_lines
from pipeline.quantity import Quantity, asks
from pipeline.results import Result
from pipeline.sheets.plant_sheet import Charts
from pipeline.store.answer_columns import columns_of, warnings_of
from pipeline.store.database import Store, open_to_write
from pipeline.store.said_columns import told_of
from pipeline.wording.say import plain
from tests.sql.test_questions import fill

# Invented shrinkages of six runs of one product, as they were made; the last is out of family.
SHRUNK = Result(
    asks(Quantity.HOT_TO_COLD),
    0.94,
    0.94,
    0.94,
    0.95,
    "",
    "ratio of areas",
    20,
    None,
    None,
    "section average",
)
MADE = {"R-1": 0.940, "R-2": 0.941, "R-3": 0.939, "R-4": 0.9405, "R-5": 0.9395, "R-6": 0.900}


def judged(folder: Path, order: list[str]) -> Store:
    """A store in which the runs were loaded and judged in this order."""
    with open_to_write(folder) as store:
        for number, run_id in enumerate(order, 1):
            made = datetime(2026, 3, 1, 6) + timedelta(days=list(MADE).index(run_id))
            same = {"run_id": run_id, "load_id": number}
            product = {"size": "14 AWG", "conductor": "solid", "metal": "copper"}
            fill(store, "logged.load", [{**same, **product, "line": "L1", "started_utc": made}])
            told = {"assessment_id": number, "outcome": "judged"}
            fill(store, "judged.assessment", [{**same, **told}])
            answer: dict[str, Any] = {"scope": "run", "subject": run_id, "topic": "hot to cold"}
            result = replace(SHRUNK, estimate=MADE[run_id], low=MADE[run_id], high=MADE[run_id])
            fill(store, "judged.answer", [{**answer, **columns_of(result), "assessment_id": number}])
    return store


@pytest.mark.parametrize("order", [list(MADE), list(MADE)[::-1]], ids=["as made", "newest first"])
def test_usual_shrinkage_whatever_the_order_of_judging(tmp_path: Path, order: list[str]) -> None:
    judged(tmp_path, order)
    with open_to_write(tmp_path) as store:
        assert review_lines(store) == 1
        books = {book.run_id: book for book in run_books(store)}
        told = {run_id: book.among_its_like for run_id, book in books.items()}
        assert [told[run_id][0]["n"] for run_id in MADE] == [0, 1, 2, 3, 4, 5]
        assert all(told[run_id][0]["refusal"] for run_id in list(MADE)[:5])
        # Mean 0.94, sd 0.00079057, t(0.995, 4) = 4.6041: 0.94 -+ 4.6041 x 0.00079057 x sqrt(1.2) = 0.93601, 0.94399.
        last = told["R-6"][0]
        assert last["estimate"] == pytest.approx(0.94)
        assert last["low"] == pytest.approx(0.936013, abs=1e-6)
        assert last["high"] == pytest.approx(0.943987, abs=1e-6)
        sentence = (
            "The insulation shrank to 90.00 % of its hot area; earlier runs of this product lead one to expect "
            "93.60 to 94.40 %. It is out of family: another compound, a colder trough, voids, or a gauge that has "
            "moved."
        )
        assert [plain(one) for one in warnings_of(last["warnings"])] == [sentence]
        assert sentence in [plain(one) for one in books["R-6"].warnings]
        assert all(book.warnings == [] for run_id, book in books.items() if run_id != "R-6")
        asked = [
            one.question.quantity for group in books["R-6"].answers("run", "R-6") for one in group.answers
        ]
        assert asked == [Quantity.HOT_TO_COLD, Quantity.USUAL_HOT_TO_COLD]
        assert review_lines(store) == 0


def test_a_look_takes_the_first_reels_and_the_newest_whatever_lies_between(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # 30 runs of four reels with a mean wall each, by hand: 8 first reels are 2 runs, 50 newest are the last 13.
    settings = Charts(baseline_reels=8, newest_reels=50)
    monkeypatch.setattr(line_review, "_settings", lambda _store, _head: settings)
    with open_to_write(tmp_path) as store:
        for number in range(1, 31):
            run = {"run_id": f"R-{number:02d}", "load_id": number}
            made = datetime(2026, 3, 1, 6) + timedelta(days=number)
            product = {"size": "14 AWG", "conductor": "solid", "metal": "copper"}
            fill(store, "logged.load", [{**run, **product, "line": "L1", "started_utc": made}])
            fill(store, "judged.assessment", [{**run, "assessment_id": number, "outcome": "judged"}])
            for reel in "ABCD":
                key = {"assessment_id": number, "reel_id": f"R-{number:02d}-{reel}"}
                fill(store, "judged.reel", [key])
                fill(store, "placed.reel", [{**key, "to_m": 900.0}])
                wall = {"quantity": "mean_wall_mm", "mean": 0.4 + number * ord(reel) % 7 / 1e4}
                fill(store, "measured.reel", [{**key, **wall, "sd": 0.004, "steady_readings": 900}])
        assert review_lines(store) == 1
        (look,) = store.ask("questions/line_reviews")
        kept = [1, 2, *range(18, 31)]
        charts = store.ask("questions/line_charts", line_review_id=look["line_review_id"])
        points = store.ask("questions/line_points", line_review_id=look["line_review_id"])
        assert {int(row["run_id"][2:]) for row in points} == set(kept)
        told = "Left out: 60 reels made between those and the newest 52."
        assert charts and all(plain(told_of(row, written="budget")).endswith(told) for row in charts)
        assert review_lines(store) == 0

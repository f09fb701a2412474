"""Look over a line: charts, components of variance, indices and fault rates over all of a line and product on file.

What it finds hangs only on which assessments are current and on the plant's alarm budget, so it is worked once for
each set of them, whatever the order in which runs were judged.
"""

from __future__ import annotations

import hashlib
import json
import tomllib
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import polars as pl

from pipeline import __version__
from pipeline.found import together
from pipeline.messages import message
from pipeline.notes import Note
from pipeline.record.journal_on_file import note
from pipeline.record.sealing import LINE_TABLES, seals_of
from pipeline.results import Refused, Result
from pipeline.sheets.plant_sheet import Charts, PlantSheet

if TYPE_CHECKING:
    from pipeline.steps.line_reels import LineReel
    from pipeline.steps.over_reels import OverReels
    from pipeline.store.database import Store

Head = dict[str, Any]
# Raised when a change of method can change what a look finds, so that lines are looked over again.
LOOK_VERSION = "4"


def review_lines(store: Store) -> int:
    """Look over every line and product whose current assessments changed; how many looks were new."""
    groups: dict[tuple[str, str], list[Head]] = {}
    for head in store.ask("questions/current_runs"):
        if head["assessment_id"] is not None and head["outcome"] == "judged":
            product = f"{head['size']} {head['conductor']} {head['metal']} {head['construction']}"
            groups.setdefault((head["line"], product), []).append(head)
    known = {
        (row["line"], row["product"]): row["basis_sha256"] for row in store.ask("questions/line_reviews")
    }
    new = 0
    for (line, product), heads in sorted(groups.items()):
        every = sorted(heads, key=lambda head: (head["started_utc"], head["run_id"]))
        settings = _settings(store, every[-1])
        ordered, between, newest = _looked_at(store, every, settings)
        ids = [head["assessment_id"] for head in ordered]
        whole = json.dumps([ids, __version__, LOOK_VERSION, settings.model_dump()])
        basis = hashlib.sha256(whole.encode()).hexdigest()
        if known.get((line, product)) == basis:
            continue
        # Here, so that nobody waits for the statistics where nothing is new.
        from pipeline.record.reels_of_line import limits_of_line, reels_of_runs
        from pipeline.steps.over_reels import over_reels

        reels = reels_of_runs(store, ordered)
        looked = over_reels(reels, limits_of_line(store, ordered[-1]), settings)
        if between:
            told = together(looked.charts.budget, message(Note.REELS_BETWEEN, n=between, newest=newest))
            looked = replace(looked, charts=replace(looked.charts, budget=told))
        _put_on_file(store, line, product, basis, ids, reels, looked, _shrinkages(store, ordered))
        new += 1
    return new


def _looked_at(store: Store, heads: list[Head], settings: Charts) -> tuple[list[Head], int, int]:
    """The runs that a look takes in, how many reels lie between its first and its newest ones, and how many those are.

    A look does not grow with the years on file: it takes the first runs, whose reels set the limits, and the newest.
    """
    rows = store.ask(
        "questions/reel_counts_of_assessments", assessments=[head["assessment_id"] for head in heads]
    )
    counted = {row["assessment_id"]: row["reels"] for row in rows}
    reels = [counted.get(head["assessment_id"], 0) for head in heads]
    first, early = 0, 0
    while first < len(heads) and early < settings.baseline_reels:
        early += reels[first]
        first += 1
    newest, late = len(heads), 0
    while newest > first and late < settings.newest_reels:
        newest -= 1
        late += reels[newest]
    return [*heads[:first], *heads[newest:]], sum(reels[first:newest]), late


def _settings(store: Store, head: Head) -> Charts:
    """The alarm budget of the plant sheet that the newest run was judged by."""
    sha256 = head["judged_plant_sheet_sha256"] or head["plant_sheet_sha256"]
    texts = store.ask("questions/sheet", sha256=sha256)
    if not texts:
        return Charts()
    return PlantSheet.model_validate(tomllib.loads(texts[0]["text"])).charts


def _shrinkages(store: Store, heads: list[Head]) -> list[tuple[str, Result | Refused]]:
    """For each run that tells its shrinkage, what the runs made before it lead one to expect."""
    from pipeline.wall.shrinkage import usual_shrinkage

    earlier: list[float] = []
    answers: list[tuple[str, Result | Refused]] = []
    ids = [head["assessment_id"] for head in heads]
    told = {
        (row["assessment_id"], row["subject"]): row["estimate"]
        for row in store.ask("questions/hot_to_cold_of_assessments", assessments=ids)
    }
    for head in heads:
        shrinkage = told.get((head["assessment_id"], head["run_id"]))
        if shrinkage is not None:
            answers.append((head["run_id"], usual_shrinkage(shrinkage, np.array(earlier))))
            earlier.append(shrinkage)
    return answers


def _put_on_file(
    store: Store,
    line: str,
    product: str,
    basis: str,
    ids: list[int],
    reels: list[LineReel],
    looked: OverReels,
    shrinkages: list[tuple[str, Result | Refused]],
) -> None:
    from pipeline.record.judged_rows import answer_row
    from pipeline.record.line_rows import chart_rows

    number = int(store.ask("questions/next_line_review_id")[0]["line_review_id"])
    charts, points, signals = chart_rows(looked.charts)
    with store.transaction():
        store.append(
            "judged.line_review",
            pl.DataFrame(
                {
                    "line_review_id": [number],
                    "line": [line],
                    "product": [product],
                    "basis_sha256": [basis],
                    "assessments": [ids],
                    "reels": [len(reels)],
                    "reviewed_utc": [datetime.now(UTC).replace(tzinfo=None)],
                    "software": [__version__],
                }
            ),
        )
        rows = [answer_row("line", f"{line} | {product}", topic, answer) for topic, answer in looked.answers]
        rows += [answer_row("run", run_id, "usual shrinkage", answer) for run_id, answer in shrinkages]
        store.append("judged.line_answer", _numbered(rows, number))
        for table, found in (
            ("judged.control_chart", charts),
            ("judged.line_point", points),
            ("judged.line_signal", signals),
        ):
            store.append(table, _numbered(found, number))
        note(
            store,
            "line review",
            line,
            {
                "line_review_id": number,
                "folder": "",
                "product": product,
                "assessments": ids,
                "signals": len(signals),
                "seals": seals_of(store, LINE_TABLES, "", line_review_id=number),
            },
        )


def _numbered(rows: list[dict[str, Any]], number: int) -> pl.DataFrame:
    if not rows:
        return pl.DataFrame()
    return pl.DataFrame(rows, infer_schema_length=None).with_columns(
        pl.lit(number, pl.Int32).alias("line_review_id")
    )

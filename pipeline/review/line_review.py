"""Look over a line: charts, components of variance and usual shrinkage over all of a line and product on file.

What it finds hangs only on which assessments are current, so it is worked once for each set of them, whatever the
order in which runs were judged.
"""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import polars as pl

from pipeline import __version__
from pipeline.results import Chart, Refused, Result
from pipeline.review.journal import note
from pipeline.review.judged_rows import result_row
from pipeline.review.sealing import LINE_TABLES, seals_of
from pipeline.steps.over_reels import ChartOf, OverReels, ReelValue, StretchMean, over_reels
from pipeline.wall.shrinkage import usual_shrinkage

if TYPE_CHECKING:
    from pipeline.store.database import Store

Head = dict[str, Any]
# Every so many stretches one is taken, so that neighbours are far enough apart to count as independent (chosen here).
EVERY_STRETCH = 8


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
        ordered = sorted(heads, key=lambda head: (head["started_utc"], head["run_id"]))
        ids = [head["assessment_id"] for head in ordered]
        basis = hashlib.sha256(json.dumps([ids, __version__]).encode()).hexdigest()
        if known.get((line, product)) == basis:
            continue
        _put_on_file(store, line, product, basis, ids, _look(store, ordered), _shrinkages(store, ordered))
        new += 1
    return new


def _look(store: Store, heads: list[Head]) -> tuple[OverReels, int]:
    values: list[ReelValue] = []
    stretches: list[StretchMean] = []
    reels = 0
    for head in heads:
        key = {"assessment_id": head["assessment_id"]}
        places = {row["reel_id"]: row for row in store.ask("questions/places_of_assessment", **key)}
        reels += len(places)
        summaries = store.ask("questions/reel_summaries_of_assessment", **key)
        order = {reel: number for number, reel in enumerate(places)}
        values += [
            ReelValue(head["run_id"], row["reel_id"], row["quantity"], row["mean"], row["low"])
            for row in sorted(summaries, key=lambda row: (order.get(row["reel_id"], 0), row["quantity"]))
        ]
        for row in store.ask("questions/stretches_of_assessment", **key)[::EVERY_STRETCH]:
            reel = next(
                (r for r, p in places.items() if p["from_m"] <= row["from_m"] and row["to_m"] <= p["to_m"]),
                None,
            )
            if reel is not None and row["mean_wall_mm"] is not None:
                stretches.append(StretchMean(head["run_id"], reel, row["mean_wall_mm"]))
    return over_reels(values, stretches), reels


def _shrinkages(store: Store, heads: list[Head]) -> list[tuple[str, Result | Refused]]:
    """For each run that tells its shrinkage, what the runs made before it lead one to expect."""
    earlier: list[float] = []
    answers: list[tuple[str, Result | Refused]] = []
    for head in heads:
        asked = {"assessment_id": head["assessment_id"], "subject": head["run_id"]}
        for row in store.ask("questions/results_of_subject", **asked):
            if row["topic"] == "hot to cold" and row["estimate"] is not None:
                answers.append((head["run_id"], usual_shrinkage(row["estimate"], np.array(earlier))))
                earlier.append(row["estimate"])
    return answers


def _put_on_file(
    store: Store,
    line: str,
    product: str,
    basis: str,
    ids: list[int],
    found: tuple[OverReels, int],
    shrinkages: list[tuple[str, Result | Refused]],
) -> None:
    number = int(store.ask("questions/next_line_review_id")[0]["line_review_id"])
    looked, reels = found
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
                    "reels": [reels],
                    "reviewed_utc": [datetime.now(UTC).replace(tzinfo=None)],
                    "software": [__version__],
                }
            ),
        )
        rows = [result_row("line", f"{line} | {product}", topic, answer) for topic, answer in looked.answers]
        rows += [result_row("run", run_id, "usual shrinkage", answer) for run_id, answer in shrinkages]
        store.append("judged.line_result", _numbered(rows, number))
        signals = [row for one in looked.charts for row in _signals(one)]
        store.append("judged.line_signal", _numbered(signals, number))
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


def _signals(one: ChartOf) -> list[dict[str, Any]]:
    chart: Chart = one.chart
    return [
        {
            "quantity": one.quantity,
            "chart": chart.method,
            "phase": chart.phase,
            "reel_id": one.reels[signal.item].reel_id,
            "run_id": one.reels[signal.item].run_id,
            "value": signal.value,
            "limit_value": signal.limit,
            "side": signal.side,
            "rule": signal.rule,
            "since_reel_id": one.reels[signal.since].reel_id,
        }
        for signal in chart.signals
    ]

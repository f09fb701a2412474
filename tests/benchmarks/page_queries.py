"""What pages ask of a store with many readings on file: a shift, a reel with its trace, a lot, a line's year."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import polars as pl

from dashboards.fillers.plant import plant_of
from dashboards.fillers.run_book import run_books
from dashboards.pages.capability import capability_matrix
from pipeline.store.database import Store, open_to_read
from pipeline.store.readings import READINGS
from tests.benchmarks.many_runs import store_of
from tests.benchmarks.own_process import cost_of
from tests.benchmarks.row import Row
from tests.benchmarks.scale import Scale

LINES = 5
LIMITS_MS = {"shift": 50.0, "reel": 50.0, "lot": 50.0, "line's year of capability": 300.0}


def ask_all(folder: str, repeats: int) -> dict[str, list[float]]:
    """Median wall and processor time [ms] of what each page asks."""
    with open_to_read(Path(folder)) as store:
        runs = store.ask("questions/current_runs")
        run = runs[len(runs) // 2]
        reels = store.ask("questions/places_of_assessment", assessment_id=run["assessment_id"])
        reel = reels[len(reels) // 2]
        lot = store.ask("questions/materials_of_load", load_id=run["load_id"])[0]["lot"]
        asked: dict[str, Callable[[], Any]] = {
            "shift": lambda: _shift(store, run),
            "reel": lambda: _reel(store, run, reel["reel_id"]),
            "lot": lambda: [store.ask(f"questions/{one}", lot=lot) for one in ("lot_runs", "lot_reels")],
            "line's year of capability": lambda: _year(store, run),
        }
        return {name: _median_ms(ask, repeats) for name, ask in asked.items()}


def _median_ms(ask: Callable[[], Any], repeats: int) -> list[float]:
    ask()
    walls, cpus = [], []
    for _ in range(repeats):
        wall, cpu = time.perf_counter(), time.process_time()
        ask()
        walls.append(time.perf_counter() - wall)
        cpus.append(time.process_time() - cpu)
    return [1000.0 * statistics.median(walls), 1000.0 * statistics.median(cpus)]


def _shift(store: Store, run: dict[str, Any]) -> None:
    """Runs of one shift on every line as its page asks: standings, places, findings."""
    wanted = (run["shift_date"], run["shift"])
    heads = store.ask("questions/current_runs")
    for book in run_books(store, [head for head in heads if (head["shift_date"], head["shift"]) == wanted]):
        if not book.reels:
            raise RuntimeError(f"run {book.run_id} has no reels")
        _ = book.findings


def _reel(store: Store, run: dict[str, Any], reel_id: str) -> None:
    """One reel: standing, requirements, findings, results, lots, and its readings at full rate."""
    row = store.ask("questions/reel", reel_id=reel_id)[0]
    key = {"assessment_id": row["assessment_id"], "reel_id": reel_id}
    store.ask("questions/reel_requirements", **key)
    store.ask("questions/reel_findings", **key)
    store.ask("questions/results_of_subject", assessment_id=row["assessment_id"], subject=reel_id)
    store.ask("questions/reel_lots", load_id=row["load_id"], **key)
    file = store.folder / READINGS / run["assessment_folder"] / "measured.parquet"
    wanted = pl.col("wall_at_m").is_between(row["from_m"], row["to_m"])
    trace = (
        pl.scan_parquet(file).filter(wanted).select("wall_at_m", "thinnest_wall_mm", "diameter_mm").collect()
    )
    if trace.height == 0:
        raise RuntimeError(f"reel {reel_id} has no readings")


def _year(store: Store, run: dict[str, Any]) -> None:
    """All that the capability page shows of a line's newest year."""
    ours = [book for book in run_books(store) if book.head["line"] == run["line"]][-365:]
    matrix = capability_matrix(plant_of(store, ours), ours)
    if not any(len(cell.trend) == len(ours) for cell in matrix.cells):
        raise RuntimeError("some runs of the year have no index")


def run(scale: Scale) -> list[Row]:
    rows = []
    for readings in scale.readings:
        runs = max(2, round(readings / (scale.hours * 36_000)))
        store = store_of(scale.fresh("pages"), scale.data, runs, LINES, scale.hours)
        cost = cost_of("page_queries:ask_all", store, max(3, scale.repeats))
        size = (store / "reelproof.duckdb").stat().st_size / 1e6
        for name, (wall, cpu) in cost.answer.items():
            limit = LIMITS_MS[name]
            rows.append(
                Row(
                    f"{name}, {readings / 1e6:,.0f} M readings on file",
                    f"< {limit:.0f} ms",
                    f"{wall:.1f} ms",
                    wall < limit,
                    wall / 1000.0,
                    cpu / 1000.0,
                    cost.peak_mb,
                    note=f"{readings / 1e6:,.0f} M readings are {runs:,} runs of {scale.hours:g} h repeated from one; "
                    f"their catalogue is {size:,.0f} MB, their readings share that run's Parquet files.",
                )
            )
    return rows

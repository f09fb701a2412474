"""The pages of a line's settings, of a run's swings and of a run beside earlier ones, from what is on file."""

from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from dashboards.fillers.plant import plant_of
from dashboards.fillers.run_book import run_books
from dashboards.pages import compare, settings
from dashboards.pages.compare import compare_pages, compared_figure, others_of, run_compared
from dashboards.pages.settings import settings_history
from dashboards.pages.spectra import spectra_review
from pipeline.flags import OUT_OF_RANGE
from pipeline.length.steady_state import PHASE_NAMES, STEADY
from pipeline.store.database import Store, open_to_read
from pipeline.store.readings import read_frame


def test_settings_are_the_medians_of_the_log_and_the_wall_that_of_the_reels(judged_store: Path) -> None:
    """Steady wire by the phases on file, apart from the phases of the rows; the figures are worked out anew."""
    with open_to_read(judged_store) as store:
        books = [
            one for one in run_books(store) if one.head["line"] == "L1" and one.head["outcome"] == "judged"
        ]
        found = settings_history(plant_of(store, books), "L1", books, 2)
        book = next(one for one in books if one.run_id == "R-0418")
        logged = read_frame(store, book.head["load_folder"], "logged")
        front = read_frame(store, book.head["assessment_folder"], "placed")["front_m"].to_numpy()
        phases, reels = book.phases, book.reels
    row = next(one for one in found.runs if one.run_id == "R-0418")
    steady = np.zeros(front.size, dtype=bool)
    for one in phases:
        if one["phase"] == PHASE_NAMES[STEADY]:
            steady |= (front >= one["from_m"]) & (front < one["to_m"])
    by_title = dict(zip([title for title, _ in found.channels], row.settings, strict=True))
    for title, name in (("Melt temperature", "melt_temperature_c"), ("Screw speed", "screw_speed_rpm")):
        median = logged[name].cast(pl.Float64).filter(pl.Series(steady)).median()
        assert by_title[title] == pytest.approx(median, rel=1e-3)
    assert row.mean_wall_mm is not None
    assert min(one["mean_wall_mm"] for one in reels) <= row.mean_wall_mm
    assert row.mean_wall_mm <= max(one["mean_wall_mm"] for one in reels)
    assert row.thinnest_wall_mm == min(one["thinnest_wall_mm"] for one in reels)
    assert found.earlier == 2
    assert [one.started for one in found.runs] == sorted(one.started for one in found.runs)
    # Only against a run of the same product.
    first = {one.product: one for one in reversed(found.runs)}
    assert not any(any(one.changed) for one in first.values())


def test_a_flagged_reading_has_no_say_in_a_median(
    judged_store: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every third temperature reads 440 degC and is flagged; the median is that of the others alone."""

    def read(store: Store, folder: str, file: str, **asked: Any) -> pl.DataFrame:
        frame = read_frame(store, folder, file, **asked)
        if file == "logged":
            hot = pl.when(pl.col("row") % 3 == 0).then(440.0).otherwise(pl.col("melt_temperature_c"))
            return frame.with_columns(hot.alias("melt_temperature_c"))
        if file == "flagged":
            rows = read_frame(store, folder, "logged", only={"row"}).filter(pl.col("row") % 3 == 0)
            spoiled = rows.select(
                pl.col("row"),
                pl.lit("melt_temperature_c").alias("channel"),
                pl.lit(OUT_OF_RANGE.code).alias("flag"),
            )
            return pl.concat([frame.select("row", "channel", "flag"), spoiled], how="vertical_relaxed")
        return frame

    monkeypatch.setattr(settings, "read_frame", read)
    with open_to_read(judged_store) as store:
        book = next(one for one in run_books(store) if one.run_id == "R-0418")
        (found,) = settings_history(plant_of(store, [book]), "L1", [book], 0).runs
        names = [title for title, _ in settings_history(plant_of(store, [book]), "L1", [book], 0).channels]
        logged = read_frame(store, book.head["load_folder"], "logged")
        placed = read_frame(store, book.head["assessment_folder"], "placed", only={"row", "phase"})
    kept = logged.join(placed, on="row").filter((pl.col("phase") == STEADY) & (pl.col("row") % 3 != 0))
    assert (
        found.settings[names.index("Melt temperature")]
        == kept["melt_temperature_c"].cast(pl.Float64).median()
    )


def test_lots_are_named_by_their_material_and_only_speeds_are_marked(judged_store: Path) -> None:
    with open_to_read(judged_store) as store:
        books = [one for one in run_books(store) if one.run_id in {"R-0411", "R-0412", "R-0413"}]
        found = settings_history(plant_of(store, books), "L1", books, 0)
    assert {(lot.material, lot.lot_id) for lot in found.runs[0].lots} == {
        ("insulation compound", "PVC-7740"),
        ("covering compound", "PA-0318"),
        ("color", "BK-112"),
    }
    follow = [k for k, (title, _) in enumerate(found.channels) if title.startswith("Melt")]
    assert follow and not any(run.changed[k] for run in found.runs for k in follow)


def test_swings_of_a_run_on_file_name_what_turns_and_what_was_changed(judged_store: Path) -> None:
    with open_to_read(judged_store) as store:
        book = next(one for one in run_books(store) if one.run_id == "R-0516")
        found = spectra_review(plant_of(store, [book]), book)
    assert found.spectra is not None
    assert {one.element for one in found.turning} == {"L2-screw", "L2-capstan", "L2-roll-A"}
    assert [one.what for one in found.changes] == ["Screw speed"] * 3
    assert found.changes_left == 4
    assert all(one.wall_um is None or one.wall_um > 0.0 for one in found.turning)


def test_a_run_is_laid_over_the_latest_good_runs_before_it(judged_store: Path) -> None:
    """Which runs were good is asked of the reels anew, and the averages of the wall of what judging kept of it."""
    with open_to_read(judged_store) as store:
        books = run_books(store)
        by_id = {one.run_id: one for one in books}
        held = store.connection.execute(
            "SELECT DISTINCT run_id FROM judged.reel WHERE standing <> 'releasable'"
        )
        not_good = {run for (run,) in held.fetchall()}
        planned = {one.record_id: one for one in compare_pages(plant_of(store, books), books)}
        assert "R-0511" not in planned  # the first of its product
        beside = {name: [one.run_id for one in page.books[1:]] for name, page in planned.items()}
        assert beside["R-0514"] == ["R-0512", "R-0511"]
        assert not not_good & set(beside["R-0514"])
        for name, runs in beside.items():
            assert all(by_id[one].head["started_utc"] < by_id[name].head["started_utc"] for one in runs)
            if not_good & set(runs):
                assert len(runs) == 1  # none was good: the run before, and the page says so
        found = run_compared(
            plant_of(store, books), by_id["R-0514"], [by_id["R-0512"], by_id["R-0511"]], True
        )
        measured = read_frame(store, by_id["R-0514"].head["assessment_folder"], "measured")
    counted = measured.filter(pl.col("wall_counts"))
    by_title = {one.title: one for one in found.channels}
    # The line ran at one speed, so that the mean of the rows is nearly that of the wire.
    assert by_title["Mean wall"].mean == pytest.approx(counted["mean_wall_mm"].mean(), rel=2e-3)
    names = {trace["name"]: trace.get("visible", True) for trace in compared_figure(found)["data"]}
    assert names["R-0514"] is True and names["R-0512"] == names["R-0511"] == "legendonly"


def test_a_trial_is_nothing_to_be_compared_with(judged_store: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with open_to_read(judged_store) as store:
        books = [one for one in run_books(store) if one.run_id in {"R-0511", "R-0512"}]
        assert [one.run_id for one in others_of(books)[0]] == ["R-0512", "R-0511"]
        monkeypatch.setattr(compare, "is_trial_run", lambda book: book.run_id == "R-0512")
        assert [one.run_id for one in others_of(books)[0]] == ["R-0511"]

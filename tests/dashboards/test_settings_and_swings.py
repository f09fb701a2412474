"""The pages of a line's settings and of a run's swings, from what is on file."""

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from dashboards.fillers.plant import plant_of
from dashboards.fillers.run_book import run_books
from dashboards.pages.settings import settings_history
from dashboards.pages.spectra import spectra_review
from pipeline.length.steady_state import PHASE_NAMES, STEADY
from pipeline.store.database import open_to_read
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


def test_swings_of_a_run_on_file_name_what_turns_and_what_was_changed(judged_store: Path) -> None:
    with open_to_read(judged_store) as store:
        book = next(one for one in run_books(store) if one.run_id == "R-0516")
        found = spectra_review(plant_of(store, [book]), book)
    assert found.spectra is not None
    assert {one.element for one in found.turning} == {"L2-screw", "L2-capstan", "L2-roll-A"}
    assert [one.what for one in found.changes] == ["Screw speed"] * 3
    assert found.changes_left == 4
    assert all(one.wall_um is None or one.wall_um > 0.0 for one in found.turning)

"""What is judged as it is logged, conductor and spark voltage, is drawn and walked back like what is measured."""

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from dashboards.fillers.finding import finding_review
from dashboards.fillers.plant import plant_of
from dashboards.fillers.run import AS_LOGGED, run_review
from dashboards.fillers.run_book import run_books
from pipeline.nonconformance.rules import RULES
from pipeline.store.database import open_to_read
from pipeline.store.readings import read_frame


@pytest.mark.parametrize("requirement", AS_LOGGED)
def test_pages_show_what_is_judged_as_logged_where_a_limit_on_it_is_on_file(
    judged_store: Path, requirement: str
) -> None:
    rule = next(one for one in RULES if one.requirement == requirement)
    with open_to_read(judged_store) as store:
        book = next(one for one in run_books(store) if one.run_id == "R-0412")
        plant = plant_of(store, [book])
        flagged = read_frame(store, book.head["load_folder"], "flagged")
        logged = read_frame(store, book.head["load_folder"], "logged").drop_nulls(rule.column)
        sound = logged.join(flagged.filter(pl.col("channel") == rule.column), on="row", how="anti")
        like = next(one for one in book.limits if one["requirement"] == "overall diameter")
        # As a plant's own limit is on file; the demo has none on either.
        book.__dict__["limits"] = [*book.limits, {**like, "limit_id": "own", "requirement": requirement}]
        if requirement == "conductor diameter":
            (drawn,) = [one.values for one in run_review(plant, book).traces if one.name == rule.column]
            assert drawn[np.isfinite(drawn)] == pytest.approx(sound[rule.column].to_numpy())
        line = sound.row(2000, named=True)
        seen = {"row": line["row"], "worst": line[rule.column], "unit": rule.unit, "limit_id": "own"}
        found = next(one for one in book.findings if one["rule"] == "wall-point")
        row = {**found, **seen, "rule": rule.rule_id, "families": rule.family}
        walk = finding_review(plant, book, row, [book]).walk
    assert walk is not None
    assert (walk.line, walk.measured, walk.worst) == (line["line"], line[rule.column], line[rule.column])

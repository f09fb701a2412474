"""A run's page and tuning name a period alike, on lines made by other code than the product's."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.quantity import Quantity
from pipeline.results import Result
from pipeline.steps.run_patterns import patterns_of
from pipeline.tuning.periods import LOSES_STEP, periods_of_line, periods_of_run
from tests.cause_bench.lines import PLACES
from tests.cause_bench.trial import bench_for, period_claim, planted, tuning_of

CASES = [
    (cause, size, line, seed)
    for line, seed in (("K7", 0), ("T1", 1), ("N5", 0))
    for cause, size in (("capstan swing", 2.0), ("screw swing", 2.0), ("screw swing", 5.0), ("nothing", 0.0))
]


@pytest.mark.parametrize(("cause", "size", "line", "seed"), CASES)
def test_the_page_and_tuning_name_a_period_alike(
    cause: str, size: float, line: str, seed: int, tmp_path: Path
) -> None:
    """Whatever turns that either names is named by the other; with speed steps (odd seeds) and without."""
    bench, found = bench_for(PLACES[line], planted(PLACES[line], cause, size, seed), seed, tmp_path)
    page = {
        period_claim(row.answer)
        for row in patterns_of(bench)
        if isinstance(row.answer, Result)
        and row.answer.question.quantity is Quantity.PERIOD
        and row.answer.question.about == "mean_wall_mm"
    }
    tune = {
        ("hunting", "wall") if one.element == LOSES_STEP else ("period", one.element if one.harmonic else "")
        for one in periods_of_line([periods_of_run(tuning_of(bench, found), bench.line)])
        if one.channel == "mean wall"
    }
    assert {one for one in page if one[0] == "period" and one[1]} == {
        one for one in tune if one[0] == "period" and one[1]
    }
    if cause != "nothing":
        assert ("period", cause.removesuffix(" swing")) in tune

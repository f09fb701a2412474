"""What does not count in statistics is called by its name, and judging, capability and tuning count the same wire."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from runs import NO_FLAGS, done, frame_of, made, run_sheet
from scipy import stats

from pipeline import flags
from pipeline.messages import Measure
from pipeline.notes import Note
from pipeline.products.product import find_product
from pipeline.quantity import Quantity
from pipeline.results import Refused, Result
from pipeline.simulator.lines import line_l2
from pipeline.simulator.troubles import ThinAllRound, ThinOneSide
from pipeline.steps.measure import measure_run
from pipeline.steps.place import place_run
from pipeline.tuning.line_run import line_run
from pipeline.wording.say import named
from tests.said import said

POINT = "minimum wall at any point"


def answer_on(found, subject: str = "A") -> Result | Refused:
    (answer,) = (
        one.answer
        for one in found.topic("capability", subject)
        if one.answer.question.arguments["requirement"] == POINT
        and one.answer.question.arguments["limit"] == Measure(1.27, "mm")
    )
    return answer


def index_of(found, subject: str = "A") -> Result:
    answer = answer_on(found, subject)
    assert isinstance(answer, Result)
    return answer


def test_readings_that_fail_on_steady_wire_are_in_the_index_and_nothing_is_called_unknown() -> None:
    """They skew the readings so far that the index, which needs normal ones, is withdrawn and says by how much."""
    run = made(troubles=(ThinAllRound(280.0, 6.0, 0.2),))
    found = done(run)
    answer = answer_on(found)
    wall = found.bench.measured.seen["thinnest_wall_mm"]
    reel = found.bench.placed.reels[0]
    here = wall.rows_within(reel.from_m, reel.to_m)
    steady = wall.value[here][wall.steady[here]]
    assert (steady < 1.27).any()
    assert answer.n == steady.size
    assert isinstance(answer, Refused)
    # Skewness of all of them, those that fail among them: scipy.stats.skew, moments with divisor n.
    told = said(answer.reason)
    assert told.startswith("Withdrawn: the check that values are near normal failed (skewness ")
    assert f"skewness {stats.skew(steady):.2f}, excess kurtosis {stats.kurtosis(steady):.2f}" in told
    assert stats.skew(steady) < -1.0 and "unknown" not in told


def test_readings_that_fail_on_unsteady_wire_are_counted_named_and_in_an_index_beside() -> None:
    """The reel begins in the ramp, where 6 m are thin: no index of the steady wire speaks for that reel."""
    from pipeline.simulator.scenario import PlannedReel

    run = made(reels=(PlannedReel("A", 126.0, 500.0),), troubles=(ThinAllRound(14.0, 6.0, 0.35),))
    found = done(run)
    answer = index_of(found)
    wall = found.bench.measured.seen["thinnest_wall_mm"]
    here = wall.rows_within(2.0, 376.0)
    failing = int((wall.value[here] < 1.27).sum())
    assert failing > 0
    assert answer.details["nonconforming_left_out"] == failing
    assert answer.details["index_of_every_reading"] < answer.estimate
    assert any(named(Note.LEFT_UNSTEADY) in one for one in said(answer.warnings))
    assert any(
        one.startswith(f"{failing:,} of the readings not used fail the limit.")
        for one in said(answer.warnings)
    )


def test_judging_capability_and_tuning_count_the_same_readings() -> None:
    """With a spike that nothing contradicts, and a sensor stuck: sections are judged, and so they count."""
    run = made(troubles=(ThinOneSide(300.0, 4.0, 0.06, 90.0),), stops=((430.0, 60.0),))
    line = line_l2()
    readings = frame_of(run)
    rows = readings["row"].to_list()
    flagged = pl.DataFrame(
        {
            "row": [rows[3000], *rows[3100:3200]],
            "channel": ["wall_2_mm"] * 101,
            "flag": [flags.SPIKE.code] + [flags.STUCK.code] * 100,
        },
        schema=NO_FLAGS.schema,
    )
    sheet = run_sheet(run)
    product = find_product(sheet.product.construction, sheet.product.size, sheet.product.conductor, "copper")
    assert run.events is not None
    placed = place_run(readings, run.events, flagged, sheet, line)
    measured = measure_run(readings, flagged, placed, line, sheet.covering, product.conductor_mm)
    wall = measured.seen["mean_wall_mm"]
    judged = wall.steady & wall.fit_for_statistics
    kept = measured.recorded()
    taken = line_run(
        "R",
        run.scenario.start,
        "p",
        product.conductor_mm,
        readings,
        kept,
        flagged,
        placed.placement,
        line,
        placed.reels,
    )
    assert np.array_equal(taken.wall_counts, judged)
    over = measured.seen["diameter_mm"]
    assert np.array_equal(taken.diameter_counts, over.steady & over.fit_for_statistics)
    assert judged[3100:3200].any() or not wall.steady[3100:3200].any()
    # An older judgement on file does not say which readings it counted: the same definition works it out.
    from dataclasses import replace

    again = line_run(
        "R",
        run.scenario.start,
        "p",
        product.conductor_mm,
        readings,
        measured.frame,
        flagged,
        replace(placed.placement, phases=measured.phases),
        line,
        placed.reels,
    )
    lone = judged ^ again.wall_counts
    assert lone.sum() <= 0.001 * judged.sum()


def test_an_index_by_redrawing_says_how_many_readings_fail_and_of_how_much_wire_it_is() -> None:
    """The main index is withdrawn there; five failing readings in a thousand hardly move the one beside it."""
    found = done(made(troubles=(ThinAllRound(280.0, 6.0, 0.2),)))
    wall = found.bench.measured.seen["thinnest_wall_mm"]
    reels = found.bench.placed.reels
    here = wall.rows_within(reels[0].from_m, reels[-1].to_m)
    counted = here[wall.steady[here] & wall.fit_for_statistics[here]]
    answers = [
        one.answer
        for one in found.topic("shape of the readings", found.bench.run.id)
        if one.answer.question.quantity is Quantity.REDRAWN_INDEX
        and one.answer.question.arguments["limit"] == Measure(1.27, "mm")
    ]
    (index,) = answers
    assert isinstance(index, Result)
    assert index.known_m == pytest.approx(float(wall.widths()[counted].sum()), rel=0.05)
    (told,) = [one for one in index.warnings if one.code is Note.READINGS_FAIL]
    assert told.arguments["failing"] == int((wall.value[counted] < 1.27).sum()) > 0

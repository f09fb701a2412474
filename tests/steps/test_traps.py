"""Traps of putting a run through the steps: what must never be passed, and which wire a figure is about."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from runs import Done, done, frame_of, made, over_wire, run_sheet, with_instrument, without_instrument

from pipeline.nonconformance.statements import judged_by
from pipeline.results import Result
from pipeline.simulator.lines import line_l1, line_l2
from pipeline.simulator.scenario import PlannedReel
from pipeline.simulator.troubles import ThinAllRound
from pipeline.steps.place import place_run
from pipeline.trust.redundancy import RED_P
from pipeline.wording.say import plain
from tests.simulator.in_memory import short_scenario, simulate_in_memory

DIAMETER_ONLY = (
    "This line measures the diameter only, which stays the same however far the conductor sits off center: the "
    "thinnest wall cannot be known. Fit a wall gauge, or judge cut samples."
)


def test_a_reel_cut_by_time_puts_85_m_on_the_wrong_reel() -> None:
    """Worked case, by hand: a wall gauge 20 m and a take-up 105 m down the line are 85 m of wire apart."""
    line = with_instrument(line_l2(), "wall gauge", station_m=20.0).model_copy(
        update={
            "take_up_station_m": 105.0,
            "instruments": tuple(
                one.model_copy(update={"station_m": min(one.station_m, 104.0)})
                for one in with_instrument(line_l2(), "wall gauge", station_m=20.0).instruments
            ),
        }
    )
    scenario = replace(short_scenario("1/0 AWG", 760.0, reels=(PlannedReel("A", 250.0, 650.0),)), line=line)
    simulated = simulate_in_memory(scenario, 3)
    assert simulated.events is not None
    readings = frame_of(simulated)
    flags = pl.DataFrame(schema={"row": pl.UInt32, "channel": pl.String, "flag": pl.UInt8})
    placed = place_run(readings, simulated.events, flags, run_sheet(simulated), line)
    reel = placed.reels[0]
    assert (reel.from_m, reel.to_m) == (145.0, 545.0)
    counter = readings["counter_m"].to_numpy()
    by_time = (counter >= 250.0) & (counter < 650.0)
    wall_at = placed.placement.at_m - 20.0
    stray = wall_at[by_time & ~((wall_at >= reel.from_m) & (wall_at < reel.to_m))]
    assert stray.max() - stray.min() == pytest.approx(85.0, abs=0.5)


def test_capability_is_of_steady_wire_and_conformity_of_all_wire_on_the_reel() -> None:
    """A reel that begins in the ramp: a thin place there fails the reel and is in no index; both lengths are told."""
    simulated = made(reels=(PlannedReel("A", 126.0, 500.0),), troubles=(ThinAllRound(14.0, 6.0, 0.35),))
    found = done(simulated)
    assert found.verdict("minimum wall at any point")[0] == "does not conform"
    row = next(one for one in found.judged.requirements if one.requirement == "minimum wall at any point")
    index = next(
        one.answer
        for one in found.topic("capability", "A")
        if one.answer.question.arguments["requirement"] == "minimum wall at any point"
    )
    wall = found.bench.measured.seen["thinnest_wall_mm"]
    steady = wall.steady & wall.fit_for_statistics & (wall.at_m >= 2.0) & (wall.at_m < 376.0)
    assert row.worst is not None and row.worst < wall.value[steady].min()
    assert row.known_m == pytest.approx(374.0, abs=0.5)
    summed = float(wall.widths()[steady].sum())
    assert summed < row.known_m - 40.0
    assert isinstance(index, Result)
    assert index.known_m == pytest.approx(summed)
    assert index.n == int(steady.sum())


def od_only() -> Done:
    walls = [f"wall_{number}_mm" for number in range(1, 9)]
    return done(made(), without_instrument(line_l2(), "wall gauge"), lambda frame: frame.drop(walls))


def test_a_line_that_measures_the_diameter_only_never_passes_a_minimum_wall() -> None:
    found = od_only()
    assert found.verdict("minimum wall at any point") == ("not judged", DIAMETER_ONLY)
    verdict, sentence = found.verdict("minimum average wall")
    assert verdict == "conforms" and sentence.startswith("Worst 1.4")
    for reel in found.judged.reels:
        assert reel.standing == "held"
        assert DIAMETER_ONLY in [plain(one.told) for one in reel.lacks]


def test_a_diameter_shows_a_certain_failure() -> None:
    """The mean wall is never less than the thinnest: at or under the limit it fails for certain."""
    walls = [f"wall_{number}_mm" for number in range(1, 9)]

    def spoil(frame: pl.DataFrame) -> pl.DataFrame:
        for axis in ("diameter_x_mm", "diameter_y_mm"):
            frame = over_wire(frame, axis, 72.0, 200.0, 230.0, -0.6)
        return frame.drop(walls)

    found = done(made(), without_instrument(line_l2(), "wall gauge"), spoil)
    verdict, sentence = found.verdict("minimum wall at any point")
    worst = found.bench.measured.seen["mean_wall_mm"].worst(76.0, 376.0, "at least")
    assert worst is not None and verdict == "does not conform"
    assert sentence == (
        f"The mean wall by the diameter is {worst[0]:.3f} mm at "
        f"{376.0 - worst[1]:.1f} m from the outer end ({worst[1] - 76.0:.1f} m from the core end), and the wall at any "
        "point is no thicker; at least 1.27 mm is required."
    )


def test_no_conclusion_while_instruments_disagree() -> None:
    def spoil(frame: pl.DataFrame) -> pl.DataFrame:
        for axis in ("diameter_x_mm", "diameter_y_mm"):
            frame = over_wire(frame, axis, 72.0, 100.0, 300.0, 0.08)
        return frame

    found = done(made(), spoil=spoil)
    verdict, sentence = found.verdict("minimum wall at any point")
    assert verdict == "no conclusion"
    assert sentence == ("The instruments disagree over 200 m of this reel: no conclusion there.")
    assert {one.reel.id: one.standing for one in found.judged.reels} == {"A": "held", "B": "releasable"}
    (told,) = [one.main for one in found.judged.findings if one.main.rule_id == "instruments-disagree"]
    assert (told.limit_id, told.limit_revision) == ("method statement: instruments-disagree", "2")
    assert judged_by(told.limit_id, told.limit_revision) == (
        "method statement: instruments-disagree, revision 2: Wall, overall diameter, conductor and output of one "
        "stretch of steady wire must fit each other; where what is left over has a probability below "
        f"{RED_P:g} by the uncertainties on file, or has moved away from the run's usual by more than the gauges may "
        "drift, nothing is concluded there"
    )


def test_both_ends_of_a_drop_out_are_exact_to_the_row() -> None:
    """A gap ends half way between the last reading that is there and the first that is not."""

    def spoil(frame: pl.DataFrame) -> pl.DataFrame:
        out = (pl.col("counter_m") - 70.0).is_between(150.0, 250.0)
        walls = [f"wall_{number}_mm" for number in range(1, 9)]
        return frame.with_columns(
            pl.when(out).then(None).otherwise(pl.col(name)).alias(name) for name in walls
        )

    found = done(made(), with_instrument(line_l2(), "wall gauge", station_m=70.0), spoil)
    (gap,) = [one for one in found.judged.gaps if one.kind == "wall unmonitored"]
    at = found.bench.placed.placement.at_m - 70.0
    missing = np.flatnonzero(
        found.bench.measured.frame["mean_wall_mm"].is_null().to_numpy() & (at > 100.0) & (at < 300.0)
    )
    first, last = missing[[0, -1]]
    assert (gap.from_m, gap.to_m) == pytest.approx(
        ((at[first - 1] + at[first]) / 2.0, (at[last] + at[last + 1]) / 2.0), abs=1e-6
    )
    assert (gap.from_m, gap.to_m) == pytest.approx((150.0, 250.0), abs=0.3)


def test_wire_with_too_few_cycles_is_untested() -> None:
    """12 Hz over 0.9 m at 1.39 m/s is 7.8 cycles, fewer than the nine asked (by hand)."""
    found = done(made(), with_instrument(line_l2(), "spark tester", frequency_hz=12.0))
    untested = [one for one in found.judged.gaps if one.kind == "spark untested"]
    assert sum(one.to_m - one.from_m for one in untested) == pytest.approx(500.0, abs=1.0)
    assert {plain(one.told) for one in untested} == {"No full spark test is on record here."}
    assert {one.standing for one in found.judged.reels} == {"held"}
    whole = done(made())
    assert [one for one in whole.judged.gaps if one.kind == "spark untested"] == []
    assert {one.standing for one in whole.judged.reels} == {"releasable"}


def test_a_covering_of_which_nothing_is_said_leaves_the_insulation_unknown() -> None:
    simulated = made("14 AWG", length_m=2400.0, reels=(PlannedReel("A", 700.0, 2000.0),))
    found = done(simulated, covering=None)
    expected = (
        "The product has a covering, the instruments read it together with the insulation, and the run sheet "
        "says nothing of it: taking the total for insulation would pass thin wire. Give [run.covering]."
    )
    for requirement in ("minimum average wall", "minimum wall at any point"):
        assert found.verdict(requirement) == ("not judged", expected)
    assert found.judged.reels[0].standing == "held"
    assert expected in [plain(one.told) for one in found.judged.reels[0].lacks]


def test_a_covering_read_with_the_insulation_is_judged_on_cut_samples() -> None:
    simulated = made("14 AWG", length_m=2400.0, reels=(PlannedReel("A", 700.0, 2000.0),))
    found = done(simulated)
    assert found.verdict("covering at any point") == (
        "not judged",
        (
            "The gauge reads insulation and covering as one wall: where the covering is thin cannot be seen in "
            "it. Measure the covering on cut samples, or with a gauge that separates the layers."
        ),
    )
    assert found.judged.reels[0].standing == "releasable"
    bare = done(simulated, with_instrument(line_l1(), "wall gauge", sees="insulation"))
    assert bare.verdict("covering at any point")[1] == (
        "No instrument of this line sees the covering by itself. Judge the covering on cut samples."
    )


def test_all_sensors_out_is_no_conclusion_and_not_a_missing_gauge() -> None:
    walls = [f"wall_{number}_mm" for number in range(1, 9)]
    nothing = [pl.lit(None, dtype=pl.Float64).alias(name) for name in walls]
    found = done(made(), spoil=lambda frame: frame.with_columns(nothing))
    assert found.verdict("minimum wall at any point") == (
        "no conclusion",
        "No usable reading of minimum wall at any point lies on this reel.",
    )
    assert {one.standing for one in found.judged.reels} == {"held"}


def test_an_instrument_without_a_calibration_on_file_holds_its_reels() -> None:
    line = with_instrument(line_l2(), "wall gauge", calibrated=None, calibration_due=None)
    found = done(made(), line)
    told = [one for one in found.judged.findings if one.main.rule_id == "calibration"]
    assert [plain(one.told) for one in told] == [
        (
            "No calibration in date behind L2-WG over 300.0 m from 76.0 to 376.0 m: no calibration of "
            "L2-WG (wall gauge) is on file."
        ),
        (
            "No calibration in date behind L2-WG over 200.0 m from 376.0 to 576.0 m: no calibration of "
            "L2-WG (wall gauge) is on file."
        ),
    ]
    assert np.all([one.holds_release for one in told])

"""What a run tells of its line: stations, gauge noise, hot to cold, splices, clocks, marks, mass and scrap."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from pydantic import ValidationError
from runs import NO_FLAGS, REELS, done, frame_of, log_sheet, made, over_wire, run_sheet

from pipeline.length.known_length import known_wire
from pipeline.length.placement import place_readings
from pipeline.length.settling import SettlingTrace
from pipeline.quantity import Quantity
from pipeline.results import Refused, Result
from pipeline.sheets.line_sheet import MassBalance
from pipeline.simulator.lines import line_l2
from pipeline.simulator.scenario import PlannedReel
from pipeline.steps.could_show import gauge_noise, noise_mm
from pipeline.steps.measure import measure_run
from pipeline.steps.place import place_run
from pipeline.steps.sight import settled_placement
from pipeline.trust.uncertainty import measured_uncertainty
from pipeline.wording.say import plain
from tests.said import said


def result(answer: Result | Refused) -> Result:
    assert isinstance(answer, Result), answer
    return answer


def test_a_coarse_counter_at_low_speed_leaves_no_false_gaps() -> None:
    """A counter in whole feet, no speed logged, 1/0 AWG: readings 0.14 m apart stand 0.3048 m apart or nowhere."""
    simulated = made()

    def coarse(frame: pl.DataFrame) -> pl.DataFrame:
        return frame.drop("line_speed_m_s").with_columns((pl.col("counter_m") / 0.3048).floor() * 0.3048)

    readings = coarse(frame_of(simulated))
    assert simulated.events is not None
    placed = place_run(readings, simulated.events, NO_FLAGS, run_sheet(simulated), line_l2())
    assert placed.placement.resolution_m == pytest.approx(0.3048)
    measured = measure_run(readings, NO_FLAGS, placed, line_l2(), None, 9.45)
    wall = measured.seen["thinnest_wall_mm"]
    assert wall.gaps(80.0, 570.0) == ()
    # The trap: without the counter's step a twentieth of the wire and more looks unread.
    speed = placed.placement.readings["speed_m_s"].to_numpy()
    blind = known_wire(wall.at_m, speed, wall.fit, 0.1, 0.0)
    assert float(np.diff(np.clip(blind, 80.0, 570.0), axis=1).sum()) < 0.95 * 490.0


def test_a_stop_tells_the_gauges_own_noise_and_the_uncertainty_follows() -> None:
    """The wall gauge's noise is 5 um a reading (invented); its interval must hold that."""
    simulated = made(stops=((300.0, 20.0),))
    found = done(simulated)
    answers = {one.answer.question.about: one.answer for one in found.topic("gauge noise")}
    wall = result(answers["L2-WG"])
    assert wall.low <= 0.005 <= wall.high and wall.unit == "mm" and wall.n > 1500
    known = found.bench.measured.uncertainty["thinnest_wall_mm"]
    assert known.noise_mm == pytest.approx(wall.estimate * np.sqrt(3.0 / 8.0))
    assert known == measured_uncertainty(line_l2(), None, wall.estimate)["thinnest_wall_mm"]
    assert found.bench.measured.seen["thinnest_wall_mm"].uncertainty == known.total_mm


def test_without_a_stop_all_of_the_sheets_uncertainty_lasts() -> None:
    running = frame_of(made()).filter(pl.col("line_speed_m_s") > 0.2)
    placement = place_readings(running, NO_FLAGS, line_l2())
    found = gauge_noise(running, NO_FLAGS, placement, line_l2())
    assert noise_mm(found, "wall gauge") is None
    wall = found["wall gauge"]
    assert isinstance(wall, Refused)
    assert said(wall.reason) == (
        "Needs a stop of at least 10 readings of this gauge. Without one, gauge noise and wire "
        "variation cannot be separated."
    )
    assert measured_uncertainty(line_l2(), None, None)["thinnest_wall_mm"].noise_mm == 0.0


def test_gauges_that_do_not_stand_where_the_sheet_says_are_told_and_nothing_is_moved() -> None:
    """The wall gauge truly stands at 74 m, the sheet says 70 m: 2 m before the cold gauge is 2 m after it."""
    moved = done(made(length_m=1100.0, stations_m=(("L2-WG", 74.0),)))
    pair = next(one for one in moved.bench.checks.stations if one.first == "the wall gauge")
    assert said(pair.verdict) == "disagrees"
    # The station is told in the counter's metres: 74.02 m of them, and a reading is 0.14 m of wire.
    assert pair.found_m == pytest.approx(72.0 - 74.0, abs=0.07)
    unsure = moved.bench.checks.unsure_m
    assert set(unsure) == {"L2-WG", "L2-CD"}
    assert unsure["L2-WG"] == pytest.approx(4.0, abs=0.2)
    told = [one for one in said(moved.bench.placed.warnings) if "see the same wire" in one]
    assert told == [
        (
            f"The wall gauge and the cold diameter gauge see the same wire {pair.found_m:.3f} m apart "
            f"({pair.low_m:.3f} m to {pair.high_m:.3f} m); the line sheet says 2.000 m. Measure the line and "
            "correct 'station_m', or look for a slipping wheel; readings stay placed by the line sheet. Places "
            f"by L2-WG and L2-CD are unsure by {unsure['L2-WG']:.1f} m: their findings are widened by that "
            "much, and wire that near a reel's end may lie on the neighboring reel. No reel is held for this alone."
        )
    ]
    assert {one.standing for one in moved.judged.reels} == {"releasable"}
    right = done(made(length_m=1100.0))
    assert [one for one in said(right.bench.placed.warnings) if "see the same wire" in one] == []
    wall = right.bench.measured.seen["mean_wall_mm"]
    same = moved.bench.measured.seen["mean_wall_mm"]
    assert np.array_equal(wall.at_m, same.at_m)
    answer = result(right.topic("station offsets")[0].answer)
    assert answer.low <= 2.0 <= answer.high and answer.unit == "m"


def test_findings_of_an_instrument_whose_place_is_unsure_are_widened() -> None:
    def spoil(frame: pl.DataFrame) -> pl.DataFrame:
        for number in range(1, 9):
            frame = over_wire(frame, f"wall_{number}_mm", 70.0, 300.0, 310.0, -0.4)
        return frame

    plain = done(made(), spoil=spoil)
    bench = replace(plain.bench, checks=replace(plain.bench.checks, unsure_m={"L2-WG": 3.0}))
    from pipeline.steps.judge import judge_run

    before = [one for one in plain.judged.findings if "wall" in one.families]
    after = [one for one in judge_run(bench).findings if "wall" in one.families]
    assert len(before) == len(after) == 1
    assert after[0].from_m == pytest.approx(before[0].from_m - 3.0)
    assert after[0].to_m == pytest.approx(before[0].to_m + 3.0)


def test_shrinkage_of_the_run() -> None:
    """The invented compound's cold area is 0.935 of its hot area."""
    found = done(made(length_m=1100.0))
    answer = result(found.topic("hot to cold")[0].answer)
    assert answer.estimate == pytest.approx(0.935, abs=0.004)
    assert said(answer.warnings) == ()


def test_a_lump_two_gauges_see_is_told_as_a_splice() -> None:
    def spoil(frame: pl.DataFrame) -> pl.DataFrame:
        for channel, station in (
            ("conductor_mm", -8.0),
            ("hot_diameter_mm", 1.5),
            ("diameter_x_mm", 72.0),
            ("diameter_y_mm", 72.0),
        ):
            frame = over_wire(frame, channel, station, 300.0, 300.5, 0.5)
        return frame

    found = done(made(), spoil=spoil)
    (splice,) = found.bench.checks.splices
    assert splice.from_m == pytest.approx(300.0, abs=0.3)
    assert plain(splice.told) in said(found.bench.placed.warnings)
    assert plain(splice.told) == (
        f"Lump {splice.height_mm:.3f} mm high at {splice.from_m:.1f} m, seen by the cold diameter gauge and "
        "the conductor gauge and the hot diameter gauge: taken as a splice. Saleable lengths leave it out."
    )
    assert done(made()).bench.checks.splices == ()


def test_two_logs_with_a_speed_of_their_own_show_how_far_their_clocks_differ() -> None:
    """The second log is the first again with its clock set 1.5 s ahead."""

    def doubled(frame: pl.DataFrame) -> pl.DataFrame:
        ahead = frame.select(
            "line", (pl.col("time_utc") + pl.duration(milliseconds=1500)), "line_speed_m_s"
        ).with_columns(
            pl.lit(1, dtype=frame["file_no"].dtype).alias("file_no"),
            pl.col("line_speed_m_s") + 0.003 * np.random.default_rng(5).standard_normal(frame.height),
        )
        both = pl.concat([frame.drop("row"), ahead], how="diagonal").sort("time_utc", "file_no")
        return both.select(pl.int_range(pl.len(), dtype=pl.UInt32).alias("row"), pl.all())

    from pipeline.steps.line_answers import clock_answer
    from pipeline.steps.line_checks import _clock_warnings, _clocks

    simulated = made()
    sheet = run_sheet(simulated, logs=[log_sheet("line.csv"), log_sheet("tester.csv")])
    clocks = _clocks(doubled(frame_of(simulated)), sheet)
    answer = result(clock_answer(clocks[0]))
    assert answer.question.key == (Quantity.CLOCK_OFFSET, "tester.csv : line.csv")
    assert answer.low <= 1.5 <= answer.high
    assert answer.estimate == pytest.approx(1.5, abs=0.02) and answer.n > 1000
    metres = 1.5 * 83.3 / 60.0
    (told,) = _clock_warnings(clocks)
    assert plain(told) == (
        "Logs line.csv (first) and tester.csv (second): The second logger's clock stands 1.50 s ahead of the "
        f"first's: {metres:.1f} m of wire at the usual speed. Set the clocks; events placed by the second "
        "clock are that much less sure."
    )
    assert _clocks(frame_of(simulated), run_sheet(simulated)) == ()


MARKS = [
    {"counter_m": 200.0, "printed": 1000.0, "unit": "ft"},
    {"counter_m": 700.0, "printed": 2640.0, "unit": "ft"},
]


def test_printed_marks_at_the_ends_of_reels_carry_their_error() -> None:
    """By hand: 1640 ft are 499.872 m over 500 m; 300 m on lies 60 % of the way, sd of the bridge sqrt(4e-4 x 120)."""
    found = done(made(), marks=MARKS)
    inner, outer = (result(one.answer) for one in found.topic("footage marks", "A"))
    assert inner.question.key == (Quantity.PRINTED_LENGTH, "inner")
    assert inner.estimate == pytest.approx(304.8)
    assert inner.high - inner.estimate == pytest.approx(1.96 * 0.3)
    assert outer.estimate == pytest.approx(304.8 + 0.6 * 499.872)
    sd = np.sqrt(4e-4 * 300.0 * 200.0 / 500.0 + 0.09 * (0.36 + 0.16))
    assert outer.high - outer.estimate == pytest.approx(1.96 * sd)


@pytest.mark.parametrize(
    ("marks", "text"),
    [
        (MARKS[:1], "one footage mark relates nothing: give two of 'marks' or more, or none"),
        (
            MARKS[::-1],
            "the footage marks do not rise from counter 700 m to 200 m; give them in the order they were made",
        ),
        (
            [{**one, "unit": "m"} for one in MARKS],
            (
                "from counter 200 m to 700 m the footage marks count 1640 m where the counter counts 500 m; "
                "check 'unit' of the marks, and the figures"
            ),
        ),
    ],
)
def test_marks_that_cannot_be(marks: list[dict[str, object]], text: str) -> None:
    with pytest.raises(ValidationError) as fault:
        run_sheet(made(), marks=marks)
    assert [one["msg"] for one in fault.value.errors()] == [f"Value error, {text}"]


def test_mass_and_scrap_stand_in_their_intervals() -> None:
    """Against hand figures: rho pi t (d + t) with the measured mean wall, and 760 m less 500 m on reels."""
    found = done(made())
    mass, over = (result(one.answer) for one in found.topic("mass"))
    product = found.bench.product
    wall = found.bench.measured.seen["mean_wall_mm"]
    t = float(wall.value[wall.fit_for_statistics & (wall.at_m >= 76.0) & (wall.at_m < 576.0)].mean())
    rho, d = product.insulation.density, product.conductor_mm
    assert mass.estimate == pytest.approx(rho.value * np.pi * t * (d + t), rel=1e-4)
    assert mass.low < rho.value * 0.98 * np.pi * t * (d + t) and mass.unit == "kg/km"
    # 55 mil are 1.397 mm; UL 44 states millimetres first, and the stricter of the two units of record judges.
    least = 1.40
    assert over.estimate == pytest.approx(rho.value * np.pi * (t * (d + t) - least * (d + least)), rel=1e-2)
    assert said(mass.warnings) == ("Compound between the strands is not included.",)
    metres, kg = (result(one.answer) for one in found.topic("scrap"))
    made_m = found.bench.placed.placement.made_m
    assert metres.estimate == pytest.approx(made_m - 500.0, abs=0.01)
    # Two ends at reel changes, each written to a metre: sd sqrt(2/3) m.
    assert metres.high - metres.estimate == pytest.approx(1.96 * np.sqrt(2.0 / 3.0), rel=1e-6)
    assert kg.estimate == pytest.approx(mass.estimate * metres.estimate / 1000.0, rel=0.02)
    assert kg.low < kg.estimate < kg.high


def test_the_insulation_under_a_covering_is_bounded_and_not_measured() -> None:
    simulated = made("14 AWG", length_m=2400.0, reels=(PlannedReel("A", 700.0, 2000.0),))
    found = done(simulated)
    answer = result(found.topic("insulation thinnest", "A")[0].answer)
    worst, best = answer.details["at_worst_mm"], answer.details["at_best_mm"]
    # The covering's largest offset is 9 um either way (invented).
    assert best - worst == pytest.approx(0.018)
    assert answer.low < worst < answer.estimate < best < answer.high
    reel = found.bench.placed.reels[0]
    core, outer = answer.details["at_m"] - reel.from_m, reel.to_m - answer.details["at_m"]
    assert said(answer.warnings) == (
        (
            "The insulation's thinnest wall is bounded, not measured: the gauge reads insulation and covering "
            f"as one wall. At {outer:.1f} m from the outer end ({core:.1f} m from the core end) it lies between "
            f"{worst:.3f} mm and {best:.3f} mm, depending on where the covering is thin. The "
            "uncertainty of the gauge and of the covering's mean adds to that."
        ),
    )
    assert done(made()).topic("insulation thinnest") == []


def test_a_mass_balance_names_the_wall_gauge_that_diameter_and_screw_contradict() -> None:
    """Wall gauge 40 um thick over 200 m: the diameters alone say they disagree, the screw's output says which."""

    def spoil(frame: pl.DataFrame) -> pl.DataFrame:
        for number in range(1, 9):
            frame = over_wire(frame, f"wall_{number}_mm", 70.0, 200.0, 400.0, 0.04)
        return frame

    simulated = made()
    plain = done(simulated)
    frame, wall = frame_of(simulated), plain.bench.measured.seen["mean_wall_mm"]
    steady = wall.steady & wall.fit
    t = float(wall.value[steady].mean())
    conductor = float(frame["conductor_mm"].median())  # type: ignore[arg-type]
    running = frame.filter(pl.col("line_speed_m_s") > 1.3)
    rpm, speed = running["screw_speed_rpm"].to_numpy(), running["line_speed_m_s"].to_numpy()
    output = float(np.median(60_000.0 * np.pi * t * (conductor + t) * speed / rpm))
    balance = MassBalance(
        construction="XHHW-2",
        size="1/0 AWG",
        output_mm3_per_turn=output,
        uncertainty_pct=0.5,
        basis="weighed",
    )
    line = line_l2().model_copy(update={"mass_balances": (balance,)})
    without = [one for one in done(simulated, spoil=spoil).bench.measured.agreement if one.from_m == 300.0]
    with_it = [one for one in done(simulated, line, spoil).bench.measured.agreement if one.from_m == 300.0]
    assert without[0].agreement.state == "red" and without[0].agreement.suspect == ""
    assert with_it[0].agreement.state == "red" and with_it[0].agreement.suspect == "wall gauge"
    sound = [one.agreement.state for one in done(simulated, line).bench.measured.agreement]
    assert "red" not in sound


def test_wire_that_settled_late_is_no_steady_wire() -> None:
    """A wall that falls as exp(-s/30 m) once the speed is steady; a wall that wanders all along stays steady."""
    frame = frame_of(made())
    placement = place_readings(frame, NO_FLAGS, line_l2())
    steady = placement.phases.filter(pl.col("phase") == "STEADY").row(0, named=True)
    rng = np.random.default_rng(7)
    at = placement.at_m
    noise = 0.004 * rng.standard_normal(at.size)
    wall = 1.45 + 0.08 * np.exp(-(at - steady["from_m"]) / 30.0) + noise
    late, told = settled_placement(placement, [SettlingTrace(at, wall)])
    first = late.phases.filter(pl.col("phase") == "STEADY").row(0, named=True)
    reached = placement.phases.filter(pl.col("phase") == "SETTLE")["from_m"][0]
    assert steady["from_m"] + 40.0 <= first["from_m"] <= steady["from_m"] + 124.0
    assert said(told) == (
        (
            f"Speed steady from {reached:.1f} m, wall settled at "
            f"{first['from_m']:.1f} m: the wire between counts as settling."
        ),
    )
    length = steady["to_m"] - steady["from_m"]
    slow = 1.45 + 0.05 * np.cos(np.pi * (at - steady["from_m"]) / length) + noise
    same, nothing = settled_placement(placement, [SettlingTrace(at, slow)])
    assert same.phases.equals(placement.phases) and nothing == ()


def test_reels_are_those_of_the_sheet() -> None:
    assert [one.id for one in done(made()).bench.placed.reels] == [one.id for one in REELS]

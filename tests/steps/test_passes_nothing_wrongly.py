"""Wire that could pass on weak evidence and must not: each case fails without the mend it stands for."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import polars as pl
import pytest
from runs import NO_FLAGS, PLANT, Done, done, frame_of, made, over_wire, with_instrument, without_instrument

from pipeline import flags
from pipeline.length.spark_exposure import fastest_speed_m_s
from pipeline.length.splices import LUMP_SIGMA
from pipeline.nonconformance.statements import judged_by
from pipeline.results import Refused, Result
from pipeline.sheets.line_sheet import Instrument
from pipeline.sheets.plant_rules import SparkTest
from pipeline.sheets.plant_sheet import read_plant_sheet
from pipeline.simulator.lines import line_l2
from pipeline.steps.measure import measure_run
from pipeline.steps.place import place_run
from pipeline.trust.calibration import days_of_run
from pipeline.wording.say import plain, text_in
from tests.said import said

WALLS = [f"wall_{number}_mm" for number in range(1, 9)]


def standing(found: Done) -> dict[str, str]:
    return {one.reel.id: one.standing for one in found.judged.reels}


def spark_answer(found: Done, subject: str = "A") -> Result | Refused:
    (row,) = found.topic("spark exposure", subject)
    return row.answer


def test_a_tester_without_its_frequency_tests_nothing() -> None:
    line = with_instrument(line_l2(), "spark tester", frequency_hz=None)
    found = done(made(), line)
    reason = (
        "The line sheet does not give the frequency and the electrode of L2-HV: how long each point was tested cannot "
        "be known, so all of it counts as untested. Add 'frequency_hz' (or 'direct_current') and 'window_m'."
    )
    untested = [one for one in found.judged.gaps if one.kind == "spark untested"]
    assert sum(one.to_m - one.from_m for one in untested) == pytest.approx(500.0)
    assert {plain(one.told) for one in untested} == {reason}
    assert reason in said(found.bench.placed.warnings)
    assert standing(found) == {"A": "held", "B": "held"}
    answer = spark_answer(found)
    assert isinstance(answer, Refused) and said(answer.reason) == reason
    # A plant without a rule for unmonitored length is not given the reel for that.
    lenient = read_plant_sheet(PLANT)
    lenient = lenient.model_copy(
        update={
            "holds": lenient.holds.model_copy(update={"longest_unmonitored_m": None, "unmonitored_pct": None})
        }
    )
    assert standing(done(made(), line, plant=lenient)) == {"A": "held", "B": "held"}


def test_the_exposure_is_told_for_every_reel_and_the_plant_sets_what_is_asked() -> None:
    """3000 Hz over 0.9 m: cycles f L / v at the reel's own speed; 12 Hz at 1.39 m/s is 7.8 (by hand)."""
    plant = read_plant_sheet(PLANT)
    found = done(made())
    answer = spark_answer(found)
    assert isinstance(answer, Result)
    assert answer.estimate == pytest.approx(3000.0 * 0.9 / (83.3 / 60.0), rel=0.03)
    assert answer.unit == "cycles" and answer.low < answer.estimate < answer.high
    assert answer.details["fastest_speed_m_s"] == fastest_speed_m_s(3000.0, 0.9, 9.0) == 300.0
    assert answer.details["untested_m"] == pytest.approx(0.0, abs=0.05)
    slow = with_instrument(line_l2(), "spark tester", frequency_hz=12.0)
    assert standing(done(made(), slow)) == {"A": "held", "B": "held"}
    fewer = plant.model_copy(update={"spark_test": SparkTest(cycles_asked=5.0, chance_per_crest=0.05)})
    milder = done(made(), slow, plant=fewer)
    assert standing(milder) == {"A": "releasable", "B": "releasable"}
    told = spark_answer(milder)
    assert isinstance(told, Result)
    assert told.details["asked_cycles"] == 5.0
    # 1 - (1 - 0.05)^(2 x cycles), by hand.
    assert told.details["chance_of_detection_at_least"] == pytest.approx(1 - 0.95 ** (2 * told.estimate))
    direct = with_instrument(line_l2(), "spark tester", frequency_hz=None, direct_current=True)
    held = spark_answer(done(made(), direct))
    assert isinstance(held, Result) and held.unit == "s"
    assert held.estimate == pytest.approx(0.9 / (83.3 / 60.0), rel=0.03)


def disagreeing(frame: pl.DataFrame) -> pl.DataFrame:
    for axis in ("diameter_x_mm", "diameter_y_mm"):
        frame = over_wire(frame, axis, 72.0, 100.0, 300.0, 0.08)
    return frame


def thin(frame: pl.DataFrame, from_m: float, to_m: float) -> pl.DataFrame:
    """Thin all round, so that the diameter agrees with the wall gauge."""
    for name in WALLS:
        frame = over_wire(frame, name, 70.0, from_m, to_m, -0.4)
    for axis in ("diameter_x_mm", "diameter_y_mm"):
        frame = over_wire(frame, axis, 72.0, from_m, to_m, -0.8)
    return frame


def test_a_failure_on_contradicted_wire_concludes_nothing_and_one_on_sound_wire_stands() -> None:
    doubted = done(made(), spoil=lambda frame: thin(disagreeing(frame), 150.0, 160.0))
    assert doubted.verdict("minimum wall at any point")[0] == "no conclusion"
    wall = next(one for one in doubted.judged.findings if one.main.rule_id == "wall-point")
    assert (
        plain(wall.told)
        .split(" Also there")[0]
        .endswith(": no conclusion, because the instruments contradict each other there.")
    )
    assert said(wall.verdict).value == "cannot be told"
    sound = done(made(), spoil=lambda frame: thin(disagreeing(frame), 350.0, 360.0))
    verdict, sentence = sound.verdict("minimum wall at any point")
    assert verdict == "does not conform"
    worst = sound.bench.measured.seen["thinnest_wall_mm"].worst(350.0, 360.0, "at least")
    assert worst is not None and f"{worst[0]:.3f} mm" in sentence
    assert standing(doubted)["A"] == standing(sound)["A"] == "held"


def test_capability_leaves_contradicted_wire_out_and_is_refused_without_other() -> None:
    plain, some = done(made()), done(made(), spoil=disagreeing)

    def index(found: Done) -> Result | Refused:
        return next(
            one.answer
            for one in found.topic("capability", "A")
            if one.answer.question.arguments["requirement"] == "minimum wall at any point"
        )

    whole, part = index(plain), index(some)
    assert isinstance(whole, Result)
    assert isinstance(part, Refused) or part.n < 0.5 * whole.n
    seen = some.bench.measured.seen["thinnest_wall_mm"]
    assert not seen.fit_for_statistics[(seen.at_m > 100.0) & (seen.at_m < 300.0)].any()
    assert any("is left out of capability" in one for one in said(some.bench.placed.warnings))

    def all_of_it(frame: pl.DataFrame) -> pl.DataFrame:
        return frame.with_columns(pl.col("diameter_x_mm", "diameter_y_mm") + 0.08)

    none = index(done(made(), spoil=all_of_it))
    assert isinstance(none, Refused)
    assert said(none.reason).startswith("No conclusion from ") and "against the wall gauge" in said(
        none.reason
    )


def test_wire_near_an_unsure_reel_end_counts_against_both_reels() -> None:
    """Reel A ends at 376 m; the wire at 380 m is on B, or on A where the accumulator may hold 10 m more or less."""

    def spoil(frame: pl.DataFrame) -> pl.DataFrame:
        return thin(frame, 378.0, 382.0)

    plain = done(made(), spoil=spoil)
    assert standing(plain) == {"A": "releasable", "B": "held"}
    unsure = line_l2().model_copy(update={"accumulator_unsure_m": 10.0})
    found = done(made(), unsure, spoil=spoil)
    assert standing(found) == {"A": "held", "B": "held"}
    assert found.verdict("minimum wall at any point", "A")[0] == "does not conform"
    assert {one.reel_id for one in found.judged.findings if one.main.rule_id == "wall-point"} == {"A", "B"}
    assert any("may lie on reel A" in text_in(one.told, "si") for one in found.judged.findings)
    either = [one for one in found.judged.gaps if one.kind == "either reel" and one.reel_id == "A"]
    assert [(one.from_m, one.to_m) for one in either] == [(66.0, 86.0), (366.0, 386.0)]


def test_few_sensors_judge_no_thinnest_wall_unless_the_lobes_are_known() -> None:
    def four(frame: pl.DataFrame) -> pl.DataFrame:
        kept = {f"wall_{number}_mm": f"wall_{2 * number - 1}_mm" for number in range(1, 5)}
        return frame.with_columns(
            *(pl.col(old).alias(new) for new, old in kept.items()),
            *(pl.lit(None, dtype=pl.Float64).alias(f"wall_{number}_mm") for number in range(5, 9)),
        )

    line = with_instrument(line_l2(), "wall gauge", sensors=4)
    unknown = done(made(), line, four)
    verdict, sentence = unknown.verdict("minimum wall at any point")
    assert verdict == "not judged"
    assert sentence == (
        "L2-WG has 4 wall sensors, too few to see lobes of the outside, and the line sheet does not say how large they "
        "get: how thin the wall is between the sensors cannot be known. Give 'largest_lobes_mm' from cut samples."
    )
    assert unknown.verdict("minimum average wall")[0] == "conforms"
    assert standing(unknown) == {"A": "held", "B": "held"}
    told = done(made(), with_instrument(line, "wall gauge", sensors=4, largest_lobes_mm=0.012), four)
    none = done(made(), with_instrument(line, "wall gauge", sensors=4, largest_lobes_mm=0.0), four)
    walls = [one.bench.measured.seen["thinnest_wall_mm"] for one in (told, none)]
    both = walls[0].fit & walls[1].fit
    assert np.allclose(walls[1].value[both] - walls[0].value[both], 0.012)
    # Rectangular within the largest lobes: 0.012/sqrt 3 added as a variance (derived).
    assert walls[0].uncertainty == pytest.approx(np.hypot(walls[1].uncertainty, 0.012 / np.sqrt(3.0)))
    (sensors,) = [one for one in said(told.bench.placed.warnings) if "has 4 wall sensors" in one]
    assert "lobes of order 3 and 5 and 7 and 9 pass for an offset" in sensors
    assert sensors.endswith("The thinnest wall is given 0.012 mm thinner for it.")


@pytest.mark.parametrize("sensors", [1, 2, 17])
def test_a_wall_gauge_has_3_to_16_sensors(sensors: int) -> None:
    with pytest.raises(ValueError, match="sensors"):
        Instrument(id="W", kind="wall gauge", station_m=1.0, sensors=sensors)


@pytest.mark.parametrize("kind", ["encoder", "conductor gauge", "hot diameter gauge"])
def test_every_instrument_that_read_must_be_in_calibration(kind: str) -> None:
    lapsed = with_instrument(line_l2(), kind, calibrated=date(2025, 1, 1), calibration_due=date(2026, 3, 2))
    found = done(made(), lapsed)
    name = lapsed.instrument(kind)
    assert name is not None
    assert standing(found) == {"A": "held", "B": "held"}
    assert f"the calibration of {name.id} ({kind}) held until 2026-03-02; the run was on 2026-03-03" in str(
        [text_in(one.told, "si") for one in found.judged.findings]
    )
    # An instrument that gave no reading judges nothing.
    silent = done(made(), lapsed, lambda frame: frame.drop("hot_diameter_mm", strict=False))
    if kind == "hot diameter gauge":
        assert standing(silent) == {"A": "releasable", "B": "releasable"}


def test_a_run_over_midnight_is_held_by_either_day() -> None:
    days = days_of_run(
        datetime(2026, 3, 4, 4, 0, tzinfo=UTC), datetime(2026, 3, 4, 9, 0, tzinfo=UTC), "America/Chicago"
    )
    assert days == (date(2026, 3, 3), date(2026, 3, 4))
    from pipeline.steps.judge import judge_run

    due = with_instrument(line_l2(), "wall gauge", calibration_due=date(2026, 3, 3))
    plain = done(made(), due)
    assert standing(plain) == {"A": "releasable", "B": "releasable"}
    over = judge_run(replace(plain.bench, days=days))
    assert {one.standing for one in over.reels} == {"held"}


def test_an_unmeasured_conductor_is_told() -> None:
    found = done(made(), without_instrument(line_l2(), "conductor gauge"), lambda x: x.drop("conductor_mm"))
    (told,) = [one for one in said(found.bench.measured.warnings) if "conductor's" in one]
    assert told == (
        "No usable reading of the conductor's diameter: it is taken as the nominal 9.469 mm, even within 1 %, where "
        "wall and diameter are held against each other. Fit or mend a conductor gauge before the crosshead."
    )
    assert not [one for one in said(done(made()).bench.measured.warnings) if "conductor's" in one]


def test_a_splice_holds_its_wire_and_is_in_no_statistic() -> None:
    def spoil(frame: pl.DataFrame) -> pl.DataFrame:
        for channel, station in (("conductor_mm", -8.0), ("hot_diameter_mm", 1.5)):
            frame = over_wire(frame, channel, station, 300.0, 300.5, 0.5)
        return frame

    found = done(made(), spoil=spoil)
    (splice,) = [one for one in found.judged.findings if one.main.rule_id == "splice"]
    assert splice.holds_release and splice.reel_id == "A"
    assert judged_by(splice.main.limit_id, splice.main.limit_revision) == (
        "method statement: splice, revision 2: A lump that stands out of the steady wire around it by "
        f"{LUMP_SIGMA:g} standard deviations or more, seen by two diameter gauges on the same wire, is taken for a "
        "splice; the threshold rises until chance makes fewer than one in a hundred runs"
    )
    assert splice.from_m <= 299.1 and splice.to_m >= 301.4
    assert standing(found) == {"A": "held", "B": "releasable"}
    seen = found.bench.measured.seen["mean_wall_mm"]
    lump = found.bench.checks.splices[0]
    inside = (seen.at_m >= lump.from_m) & (seen.at_m <= lump.to_m)
    assert inside.any() and not seen.fit_for_statistics[inside].any() and seen.fit[inside].all()


def stuck_over(frame: pl.DataFrame, from_m: float, to_m: float) -> pl.DataFrame:
    """Flags of the third wall sensor while the wire from `from_m` to `to_m` passes it."""
    at = frame["counter_m"] - 70.0
    rows = frame.filter((at >= from_m) & (at < to_m))["row"]
    return pl.DataFrame(
        {"row": rows, "channel": ["wall_3_mm"] * rows.len(), "flag": [flags.STUCK.code] * rows.len()},
        schema=NO_FLAGS.schema,
    )


def test_a_stuck_sensor_ends_neither_the_check_nor_the_need_of_one() -> None:
    """With a sensor stuck the diameter still confirms the wall, and where it cannot the wire is unmonitored."""
    simulated, line = made(), line_l2()
    assert simulated.events is not None

    def states(frame: pl.DataFrame) -> tuple[set[str], float, tuple[str, ...]]:
        from runs import run_sheet

        stuck = stuck_over(frame, 100.0, 300.0)
        placed = place_run(frame, simulated.events, stuck, run_sheet(simulated), line)
        measured = measure_run(frame, stuck, placed, line, None, 9.449)
        seen = measured.seen["thinnest_wall_mm"]
        here = {one.agreement.state for one in measured.agreement if 100.0 <= one.from_m < 300.0}
        return here, 200.0 - seen.known_m(100.0, 300.0), said(measured.warnings)

    sound = frame_of(simulated)
    assert states(sound)[:2] == ({"green"}, pytest.approx(0.0, abs=0.1))
    assert states(disagreeing(sound))[0] == {"red"}
    blind = sound
    for axis in ("diameter_x_mm", "diameter_y_mm"):
        at = pl.col("counter_m") - 72.0
        blind = blind.with_columns(
            pl.when((at > 150.0) & (at < 250.0)).then(None).otherwise(axis).alias(axis)
        )
    found, unknown, told = states(blind)
    assert "red" not in found
    assert unknown == pytest.approx(100.0, abs=2.0)
    assert any("have a sensor out and no usable diameter" in one for one in told)

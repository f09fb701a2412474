"""Control charts of a line: phases apart, limits from the plant's budget, each signal led back to its reel."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from pipeline.methods import ChartRule, Method
from pipeline.sheets.plant_sheet import Charts
from pipeline.statistics.run_length import prediction_width
from pipeline.statistics.run_rules import EIGHT_IN_A_ROW, FOUR_OF_FIVE, TWO_OF_THREE, run_rules_arl
from pipeline.steps.chart_maker import FEWEST_REELS, ChartOf
from pipeline.steps.charted import ChartFamily
from pipeline.steps.line_charts import WATCHED, LineCharts, line_charts
from pipeline.steps.line_reels import LineReel
from tests.said import said
from tests.steps.line_alarm_trials import CASES, alarms

SETTINGS = Charts(false_alarms=1.0, days=7.0, reels_per_day=60.0, baseline_reels=24)
ARL0 = WATCHED * 60.0 * 7.0


def reels(mean_wall: Sequence[float], seed: int = 3, **more: object) -> list[LineReel]:
    rng = np.random.default_rng(seed)
    n = len(mean_wall)
    offset = rng.normal(0.02, 0.002, (n, 2))
    return [
        LineReel(
            f"R-{k // 4}",
            f"reel {k}",
            {
                "mean_wall_mm": float(wall),
                "thinnest_wall_mm": float(wall) - 0.03 + float(rng.normal(0, 0.001)),
                "wall_sd_mm": 0.004 + float(rng.normal(0, 0.0002)),
                "diameter_mm": 2.8 + float(rng.normal(0, 0.004)),
                "ecc_cos_mm": float(offset[k, 0]),
                "ecc_sin_mm": float(offset[k, 1]),
            },
            stretch_means_mm=tuple(float(one) for one in wall + rng.normal(0, 0.001, 9)),
            readings=900,
            faults=int(rng.poisson(0.4)),
            tested_m=2000.0,
        )
        for k, wall in enumerate(mean_wall)
    ]


def of(found: LineCharts, family: str, phase: str, quantity: str = "mean_wall_mm") -> ChartOf:
    return next(
        one
        for one in found.charts
        if (one.family, one.chart.phase, one.quantity) == (family, phase, quantity)
    )


def quiet(n: int, seed: int = 4) -> np.ndarray:
    return np.random.default_rng(seed).normal(0.410, 0.002, n)


def test_later_reels_are_held_against_limits_of_the_first_ones_only() -> None:
    wall = quiet(40)
    found = line_charts(reels(wall), SETTINGS)
    moved = wall.copy()
    moved[30:] += 0.02
    other = line_charts(reels(moved), SETTINGS)
    for family in ("individuals chart", "EWMA chart", "CUSUM chart"):
        first, second = of(found, family, "I"), of(other, family, "I")
        assert first.chart.plotted.size == 24
        assert first.chart.upper == pytest.approx(second.chart.upper)
        later = of(other, family, "II")
        assert later.chart.plotted.size == 16
        assert later.reels[later.chart.signals[0].item].reel_id in {"reel 30", "reel 31"}
        assert of(found, family, "II").chart.upper == pytest.approx(later.chart.upper)


def test_limits_are_those_of_the_plants_alarm_budget() -> None:
    found = line_charts(reels(quiet(40)), SETTINGS)
    assert said(found.budget).startswith(
        "Alarm budget: 1 false alarm in 7 days, shared by all charts a line may have, at 60 points a day. "
        "Each chart: one in 7,980 points."
    )
    individuals = of(found, "individuals chart", "I").chart
    assert individuals.arl0 == pytest.approx(ARL0)
    half = (individuals.upper - individuals.centre) / individuals.details["sigma"]
    assert half == pytest.approx(stats.norm.isf(0.5 / ARL0))
    later = of(found, "individuals chart", "II").chart
    assert later.details["width"] == pytest.approx(prediction_width(ARL0, 24))
    for family in ("EWMA chart", "CUSUM chart"):
        assert of(found, family, "II").chart.arl0 == pytest.approx(ARL0)
    stricter = line_charts(reels(quiet(40)), Charts(false_alarms=0.1, baseline_reels=24))
    assert (
        of(stricter, "EWMA chart", "II").chart.details["width"]
        > of(found, "EWMA chart", "II").chart.details["width"]
    )


def test_every_chart_the_page_promises_is_made() -> None:
    found = line_charts(reels(quiet(60)), SETTINGS)
    families = {(one.family, one.chart.phase) for one in found.charts}
    for family in (
        "individuals chart",
        "EWMA chart",
        "CUSUM chart",
        "residual chart",
        "T^2 chart",
        "multivariate EWMA",
        "u-chart",
    ):
        assert {(family, "I"), (family, "II")} <= families
    assert ("s chart", "I") in families
    # Reels that differ by more than their stretches would all alarm on a chart of means.
    assert [
        said(one.reason) for one in found.refused if one.question.arguments["family"] == "mean chart"
    ] == [
        (
            "Reels differ by more than their inner scatter explains; limits from within the reel alarm too often. Plot "
            "the reel means on an individuals chart."
        )
    ]
    assert found.refused == () or all(said(one.reason) for one in found.refused)
    for one in found.charts:
        assert len(one.reels) == one.chart.plotted.size
        assert one.chart.arl0 is None or one.chart.arl0 > 0


def test_a_vector_signal_names_the_part_that_makes_it() -> None:
    made = reels(quiet(40))
    odd = made[33]
    made[33] = LineReel(odd.run_id, odd.reel_id, {**odd.values, "ecc_cos_mm": 0.08}, tested_m=2000.0)
    signals = of(line_charts(made, SETTINGS), "T^2 chart", "II", "wall_vector_mm").chart.signals
    assert [one.item for one in signals] == [9]
    assert signals[0].rule.code == ChartRule.T2_BY_OFFSET


def test_a_signal_of_the_wall_sensors_names_its_order_around_the_wire() -> None:
    """Eight sensors, invented: the reel whose sensors swing twice around the wire is oval, and nothing else."""
    random, turn = np.random.default_rng(8), 2 * np.pi * np.arange(8) / 8
    made = []
    for k, one in enumerate(reels(quiet(40))):
        walls = 0.41 + random.normal(0, 0.002, 8) + (0.02 * np.cos(2 * turn - 0.4) if k == 30 else 0.0)
        sensors = {f"wall_{number}_mm": float(wall) for number, wall in enumerate(walls, 1)}
        made.append(replace(one, values={**one.values, **sensors}))
    later = of(line_charts(made, SETTINGS), ChartFamily.T2_BY_ORDER, "II", "wall_sensors_mm")
    assert [later.reels[one.item].reel_id for one in later.chart.signals] == ["reel 30"]
    assert said(later.chart.signals[0].rule).startswith("T² of ovality (")
    for lost in made[:20]:
        lost.values.pop("wall_8_mm")  # type: ignore[attr-defined]
    refused = {one.method.code: said(one.reason) for one in line_charts(made, SETTINGS).refused}
    assert (
        refused[Method.T2_BY_ORDER]
        == "4 reels of 8 sensors cannot set a baseline; give 10 reels of 3 sensors at least."
    )


def test_faults_that_come_closer_together_are_seen() -> None:
    made = []
    for k in range(60):
        places = (500.0,) if k % 4 == 0 and k < 30 else ((300.0, 900.0, 1500.0) if k >= 45 else ())
        made.append(LineReel("R-1", f"reel {k}", faults=len(places), tested_m=2000.0, fault_at_m=places))
    chart = of(
        line_charts(made, Charts(baseline_reels=30)), "CUSUM of gaps between faults", "II", "fault_gap_m"
    )
    named = [chart.reels[one.item].reel_id for one in chart.chart.signals]
    assert named and all(int(one.split()[1]) >= 45 for one in named)


def test_few_reels_set_no_limits_and_say_so() -> None:
    found = line_charts(reels(quiet(FEWEST_REELS - 1)), SETTINGS)
    assert all(one.family == "u-chart" for one in found.charts)
    told = {said(one.reason) for one in found.refused}
    assert f"{FEWEST_REELS - 1} reels set no limits; {FEWEST_REELS} are needed." in told


def test_equal_values_are_refused_and_no_reels_make_nothing() -> None:
    found = line_charts(reels([0.41] * 12), SETTINGS)
    told = [said(one.reason) for one in found.refused]
    assert "All 12 values equal 0.41 mm, so chance has no size; check the instrument." in told
    empty = line_charts((), SETTINGS)
    assert empty.charts == ()
    assert all(said(one.reason) for one in empty.refused)


def test_false_alarms_of_all_charts_keep_to_the_budget() -> None:
    """One in a week is accepted; kept: 40 to 80 lines a case by `line_alarm_trials`, without faults' places."""
    kept = Path(__file__).with_name("line_alarms_found.csv")
    with kept.open(encoding="utf-8", newline="") as file:
        found = {(int(row["baseline"]), float(row["repeats"])): row for row in csv.DictReader(file)}
    assert set(found) == set(CASES)
    for row in found.values():
        assert int(row["lines"]) >= 40
        assert 0.25 <= float(row["alarms"]) <= 1.5 + 2.0 * float(row["standard_error"])
    assert sum(alarms(24, 0.0, 4, 7)) <= stats.poisson.ppf(0.999, 4.0)


def test_runs_the_plant_chose_are_watched_for_and_their_cost_is_told() -> None:
    """All four rules at three deviations alarm once in 91.75 points (Champ and Woodall 1987, table 1)."""
    wall = quiet(60)
    wall[40:48] = wall[:24].mean() + 0.3 * wall[:24].std() + 1e-4 * np.arange(8)
    plain = of(line_charts(reels(wall), SETTINGS), "individuals chart", "II").chart
    chosen = SETTINGS.model_copy(update={"rules": ("two of three", "four of five", "eight in a row")})
    found = of(line_charts(reels(wall), chosen), "individuals chart", "II").chart
    assert plain.arl0 == pytest.approx(ARL0)
    assert not any("in a row" in said(one.rule) for one in plain.signals)
    # Wider limits than three deviations leave the three runs alone: between 91.75 and the runs' own run length.
    alone = run_rules_arl((TWO_OF_THREE, FOUR_OF_FIVE, EIGHT_IN_A_ROW))
    assert 91.75 < found.arl0 < alone
    assert said(found.warnings)[-1] == (
        "Runs are watched for too (2 of 3 points in a row beyond 2 standard deviations on one side, 4 of 5 points in "
        "a row beyond 1 standard deviations on one side, 8 points in a row on one side of the center line). With the "
        f"limits they alarm for nothing once in {found.arl0:.0f} reels on average, limits alone once in {ARL0:,.0f}: "
        f"{420 / found.arl0:.2g} false alarms in 7 days on this chart in place of {420 / ARL0:.2g}; the budget of all "
        "charts together is 1."
    )
    run = [one for one in found.signals if said(one.rule).startswith("8 points")]
    assert run[0].item == 47 - 24 and run[0].since == 40 - 24


def test_good_reels_between_reels_with_a_fault_come_closer_together() -> None:
    """One bad reel in ten, then every one: with 1/10 the chance of no good reel between two is .1 each time."""
    made = [
        LineReel("R-1", f"reel {k}", faults=int(k % 10 == 5 or k >= 60), tested_m=2000.0, fault_at_m=(900.0,))
        for k in range(70)
    ]
    chart = of(line_charts(made, Charts(baseline_reels=40)), "g-chart", "II", "good_reels")
    assert chart.chart.plotted.tolist() == [9.0, 9.0, 4.0, *[0.0] * 9]
    assert chart.reels[0].reel_id == "reel 45" and chart.reels[-1].reel_id == "reel 69"
    few = line_charts(made[:40], Charts(baseline_reels=20))
    told = [one for one in few.refused if one.method.code == "g-chart"]
    assert said(told[0].reason) == (
        "Needs at least 3 reels with a fault among the first 20 tested; found 2. Above 50 % use the u-chart."
    )


def test_a_long_gap_between_faults_lies_outside_the_t_chart() -> None:
    """Usual gap 10 km; a gap of that size times ln(2/alpha) or more has a chance of alpha/2 or less (exponential)."""
    made = [
        LineReel(
            "R-1", f"reel {k}", faults=int(k % 5 == 0), tested_m=2000.0, fault_at_m=(900.0,) * int(k % 5 == 0)
        )
        for k in range(40)
    ] + [LineReel("R-1", f"reel {k}", tested_m=2000.0) for k in range(40, 140)]
    made.append(LineReel("R-1", "last", faults=1, tested_m=2000.0, fault_at_m=(100.0,)))
    chart = of(line_charts(made, Charts(baseline_reels=30)), "t-chart", "II", "fault_gap_m").chart
    assert chart.plotted[-1] == pytest.approx(2000.0 * 105 - 800.0)
    alpha = 1.0 / chart.arl0
    assert chart.upper[0] == pytest.approx(10_000.0 * np.log(2.0 / alpha), rel=1e-6)
    assert [one.item for one in chart.signals] == [chart.plotted.size - 1]


def test_counts_that_scatter_more_than_poissons_have_a_widened_chart() -> None:
    """Runs of four reels with six faults each and of four with none: dispersion far over 1."""
    made = [
        LineReel(
            "R-1",
            f"reel {k}",
            faults=6 * (k // 4 % 2),
            tested_m=2000.0,
            fault_at_m=(500.0,) * (6 * (k // 4 % 2)),
        )
        for k in range(32)
    ]
    chart = of(line_charts(made, SETTINGS), "u'-chart", "I", "spark_faults").chart
    assert chart.details["dispersion_p"] < 0.001 and chart.plotted.size == 24
    steady = [LineReel("R-1", f"reel {k}", faults=1 + k % 2, tested_m=2000.0) for k in range(32)]
    assert not [one for one in line_charts(steady, SETTINGS).charts if one.family == "u'-chart"]

"""Instruments weighed against each other: worked numbers, naming, and no verdict where they contradict."""

import numpy as np
import pytest
from scipy import optimize, stats

from pipeline.results import Refused
from pipeline.sheets.line_sheet import MassBalance
from pipeline.steps.could_show import least_alike_mm
from pipeline.trust.reading_drift import least_drift_mm, movement_sd_mm
from pipeline.trust.redundancy import (
    NAMES,
    Reconciliation,
    agreement_by_stretch,
    area_from_screw_mm2,
    no_conclusion,
    reconcile_all,
)
from pipeline.wording.say import plain
from tests.said import said

SD = (0.002, 0.002, 0.004, 0.030)
GOOD = (0.446, 2.508, 1.628, 2.85)


def reconcile(
    wall: float, diameter: float, conductor: float, area: float | None, sd: tuple[float, ...]
) -> Reconciliation:
    values = np.array([[wall, diameter, conductor, np.nan if area is None else area]])
    return reconcile_all(values, sd)[0]


def test_the_worked_instruments() -> None:
    """By an independent script: chi-square 4.77 on 2, p 0.092; adjusted 0.44298, 2.50907, 1.62311, 2.87531."""
    found = reconcile(*GOOD, SD)
    assert found.chi2 == pytest.approx(4.773069, abs=5e-7)
    assert found.p == pytest.approx(0.0919478, abs=5e-8)
    assert found.adjusted == pytest.approx((0.4429792, 2.5090673, 1.6231090, 2.8753102), abs=5e-8)
    assert found.z == pytest.approx((2.168817, -1.457749, 1.802351, -0.879244), abs=5e-7)
    assert (found.state, found.suspect) == ("green", "")
    assert plain(found.told) == "The instruments agree within their uncertainties."


def test_a_wall_gauge_12_um_high_is_named() -> None:
    """By an independent script: chi-square 40.36; left without each 0.07, 19.2, 10.0, 36.0: only the wall gauge."""
    found = reconcile(0.458, *GOOD[1:], SD)
    assert found.chi2 == pytest.approx(40.358580, abs=5e-7)
    assert np.abs(found.z) == pytest.approx((6.347384, 4.600580, 5.509009, 2.087721), abs=5e-7)
    assert found.chi2_without == pytest.approx((0.069302, 19.19324, 10.0094, 36.0), abs=2e-5)
    assert found.p_without[0] == pytest.approx(0.792356, abs=5e-7)
    assert (found.state, found.suspect) == ("red", "wall gauge")
    assert plain(found.told) == (
        "The diameters leave -0.018 mm of wall against the wall gauge; taking out the wall gauge alone restores "
        "agreement: check it first. No conclusion about this wire until it is settled."
    )


@pytest.mark.parametrize("guilty", range(4))
def test_taking_an_instrument_out_equals_reconciling_without_it(guilty: int) -> None:
    """chi2 - z^2 against giving that instrument a boundless uncertainty."""
    values = np.array(GOOD)
    values[guilty] += (0.02, 0.03, -0.03, 0.2)[guilty]
    found = reconcile(*values, SD)
    loose = list(SD)
    loose[guilty] = 1e4
    assert found.chi2_without[guilty] == pytest.approx(reconcile(*values, tuple(loose)).chi2, rel=1e-3)


def test_the_adjustment_is_the_weighted_least_squares_one() -> None:
    """Against a general minimiser of sum ((x - y)/sd)^2 under the same relations."""
    y, sd = np.array(GOOD), np.array(SD)
    solved = optimize.minimize(
        lambda x: float((((x - y) / sd) ** 2).sum()),
        y,
        constraints=[
            {"type": "eq", "fun": lambda x: 1e3 * (x[1] - x[2] - 2 * x[0])},
            {"type": "eq", "fun": lambda x: 1e3 * (x[3] - np.pi / 4 * (x[1] ** 2 - x[2] ** 2))},
        ],
        method="SLSQP",
        options={"ftol": 1e-14, "maxiter": 500},
    )
    found = reconcile(*GOOD, SD)
    assert np.array(found.adjusted) == pytest.approx(solved.x, abs=2e-4)
    assert found.chi2 == pytest.approx(solved.fun, rel=0.01)


def test_without_the_mass_no_suspect_is_named() -> None:
    found = reconcile(0.470, 2.508, 1.628, None, SD)
    assert found.degrees == 1
    assert (found.state, found.suspect) == ("red", "")
    assert plain(found.told) == (
        "The diameters leave -0.030 mm of wall against the wall gauge; the instruments disagree, cause unknown. No "
        "conclusion about this wire until it is settled."
    )


def test_two_faults_at_once_name_nobody() -> None:
    found = reconcile(0.470, 2.508, 1.628, 3.4, SD)
    assert found.state == "red"
    assert found.suspect == ""


def test_the_false_alarm_rate_is_the_stated_one() -> None:
    rng = np.random.default_rng(1)
    truth = np.array([0.44, 2.508, 1.628, np.pi / 4 * (2.508**2 - 1.628**2)])
    ps = [reconcile(*(truth + np.array(SD) * rng.standard_normal(4)), SD).p for _ in range(1000)]
    assert np.mean(np.array(ps) < 0.05) == pytest.approx(0.05, abs=0.02)


def test_a_missing_instrument_is_unknown_and_gives_no_verdict() -> None:
    found = reconcile(float("nan"), 2.508, 1.628, 2.85, SD)
    assert found.state == "unknown"
    assert plain(found.told) == (
        "Wall, overall diameter and conductor diameter are not all known here: nothing can be compared."
    )


def test_every_hundred_metres_and_red_is_no_conclusion() -> None:
    """The trap: a red state gives no conclusion, never a pass."""
    at = np.arange(0.0, 500.0)
    wall = np.where((at >= 200) & (at < 300), 0.460, 0.440)
    found = agreement_by_stretch(at, wall, at, np.full(500, 2.508), 1.628, SD)
    assert [one.agreement.state for one in found] == ["green", "green", "red", "green", "green"]
    assert [(one.from_m, one.to_m) for one in found][2] == (200.0, 300.0)
    refused = no_conclusion("minimum wall at any point", found[2])
    assert isinstance(refused, Refused)
    assert said(refused.reason) == (
        "No conclusion from 200 m to 300 m: The diameters leave -0.020 mm of wall against the wall gauge; the "
        "instruments disagree, cause unknown. No conclusion about this wire until it is settled."
    )
    assert no_conclusion("minimum wall at any point", found[0]) is None
    gone = agreement_by_stretch(at, np.where(at < 100, wall, np.nan), at, np.full(500, 2.508), 1.628, SD)
    assert [one.agreement.state for one in gone] == ["green", "unknown", "unknown", "unknown", "unknown"]
    assert isinstance(no_conclusion("minimum wall", gone[1]), Refused)
    assert agreement_by_stretch(at, np.full(500, np.nan), at, np.full(500, np.nan), 1.628, SD) == ()


def test_a_drift_of_a_gauge_within_the_run_is_named_with_the_mass(simulated) -> None:
    """The simulator's truth, ours: the wall gauge is made to drift; the mass balance names it."""
    import polars as pl
    from invented_trust import NO_FLAGS

    from pipeline.length.placement import place_readings

    run = simulated("1/0 AWG", 4, length_m=1500.0)
    line = run.scenario.line
    placement = place_readings(run.readings, NO_FLAGS, line)
    wall_at, cold_at = placement.at_m - 70.0, placement.at_m - 72.0
    wall = (
        run.readings.select(pl.mean_horizontal([f"wall_{k}_mm" for k in range(1, 9)])).to_series().to_numpy()
    )
    cold = run.readings.select(pl.mean_horizontal("diameter_x_mm", "diameter_y_mm")).to_series().to_numpy()
    d = run.scenario.wire.conductor_mm
    speed, screw = (run.readings[name].to_numpy() for name in ("line_speed_m_s", "screw_speed_rpm"))
    steady = (placement.phase_on_wire(wall_at) == 5) & (wall_at < 1200)
    geometry = np.pi / 4 * (cold**2 - d**2)
    early = steady & (wall_at < 500)
    per_turn = np.median((60_000.0 * geometry * speed)[early] / screw[early])  # by the gauges, on this run
    area = area_from_screw_mm2(screw, speed, per_turn)
    drifting = np.where(steady, wall + 0.08 * np.clip((wall_at - 600) / 500, 0, 1), np.nan)
    found = agreement_by_stretch(
        wall_at,
        drifting,
        cold_at,
        np.where(steady, cold, np.nan),
        d,
        (0.005, 0.006, 0.010, 0.6),
        placement.at_m,  # what the screw delivers now is at the die now
        area,
    )
    known = [one for one in found if one.agreement.state != "unknown"]
    assert all(one.agreement.state == "green" for one in known if one.to_m <= 600)
    assert known[-1].agreement.state == "red"
    named = [one.agreement.suspect for one in known if one.agreement.state == "red"]
    assert known[-1].agreement.suspect == NAMES[0] == "wall gauge"
    assert set(named) == {"wall gauge"}


def test_a_bias_that_wall_and_diameter_share_is_found_nine_times_in_ten_at_the_size_stated() -> None:
    """Drawn 4,000 times from the stated uncertainties; nine in ten within four standard deviations of a share."""
    rng = np.random.default_rng(8)
    wall, bare = 0.45, 1.628
    across = bare + 2.0 * wall
    area = np.pi / 4.0 * (across**2 - bare**2)
    sd = (0.002, 0.003, 0.002, 0.005 * area)
    balance = MassBalance(
        construction="a", size="b", output_mm3_per_turn=1.0, uncertainty_pct=0.5, basis="invented"
    )
    clean = agreement_by_stretch(
        np.arange(100.0), np.full(100, wall), np.arange(100.0), np.full(100, across), bare, sd,
        np.arange(100.0), np.full(100, area),
    )  # fmt: skip
    least = least_alike_mm(clean, sd[:3], balance)
    assert least is not None
    drawn = np.array([wall + least, across + 2.0 * least, bare, area]) + sd * rng.standard_normal((4_000, 4))
    found = np.mean([one.state == "red" for one in reconcile_all(drawn, sd)])
    assert found == pytest.approx(0.9, abs=4.0 * np.sqrt(0.09 / 4_000))
    assert least_alike_mm(clean, sd[:3], None) is None


def test_a_stretch_has_the_mean_of_its_wire_and_not_of_its_rows() -> None:
    """Rows ten times as dense over the first tenth: a straight line's mean is its middle (derivation)."""
    at = np.concatenate((np.arange(0.0, 10.0, 0.1), np.arange(10.0, 100.0, 1.0)))
    (one,) = agreement_by_stretch(
        at, 0.4 + 0.001 * at, at, np.full(at.size, 2.0), 1.0, (0.01, 0.01, 0.01, 1.0)
    )
    assert one.left_mm == pytest.approx(0.5 - 0.45, abs=5e-4)


@pytest.mark.parametrize("count", [1, 3, 6, 30])
def test_a_drift_over_a_run_is_found_nine_times_in_ten_at_the_size_stated(count: int) -> None:
    """Drawn 2,000 times; a run that begins with 100 m nobody compares. It may be found oftener, at both of its ends."""
    rng = np.random.default_rng(count)
    sd = (0.003, 0.003, 0.002)
    moves = movement_sd_mm(sd, 1.6, True)
    bias = (
        (np.sqrt(stats.chi2.isf(0.001, 1)) + 1.2816) * np.sqrt(sd[1] ** 2 + sd[2] ** 2 + 4 * sd[0] ** 2) / 2.0
    )
    made = (0.0, 100.0 * (count + 1))
    at = np.arange(100.0, made[1]) + 0.5
    level = np.full(at.size, 0.5)
    clean = agreement_by_stretch(at, level, at, 1.6 + 2.0 * level, 1.6, (*sd, 1.0))
    least = least_drift_mm(clean, moves, bias, made)
    found = 0
    for _ in range(2_000):
        lasting = sd * rng.standard_normal(3)
        off = lasting[1] - lasting[2] - 2.0 * lasting[0]
        drift = least * (np.arange(count) + 1.5) / (count + 1)
        left = off / 2.0 - drift + (moves * rng.standard_normal(count) if count >= 3 else 0.0)
        moved = count >= 3 and np.abs(left - np.median(left)).max() > 4.57 * moves
        z = 2.0 * np.abs(left) / np.sqrt(sd[1] ** 2 + sd[2] ** 2 + 4 * sd[0] ** 2)
        found += bool(moved or (stats.chi2.sf(z**2, 1) < 0.001).any())
    assert found / 2_000 > 0.9 - 4.0 * np.sqrt(0.09 / 2_000)

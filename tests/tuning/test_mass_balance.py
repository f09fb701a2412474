"""Specific output as a check of the gauges, on simulated runs with a known balance."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.results import Refused
from pipeline.tuning.mass_balance import SpecificOutput, gauge_check, specific_output
from pipeline.wall.mass import insulation_area_mm2
from tests.said import said
from tests.tuning.simulated import l1_run, l2_run


def output_of(run) -> SpecificOutput:
    found = specific_output(run, 1.05)
    assert isinstance(found, SpecificOutput)
    return found


def test_specific_output_of_the_simulated_line() -> None:
    # The line makes a mean wall of 1.465 mm at 1.4 m/s with 25 rpm: flow and specific output by hand.
    inside = 0
    for seed in range(6):
        run, _ = l2_run(seed)
        found = output_of(run)
        flow = 3.6 * 1.05 * insulation_area_mm2(1.465, run.conductor_mm) * 1.4  # rho A v [kg/h]
        assert found.flow_kg_h == pytest.approx(flow, rel=0.01)
        inside += found.result.low <= flow / 25.0 <= found.result.high
        assert found.drift_low_pct <= found.drift_pct <= found.drift_high_pct
    assert inside >= 5


def _along(seed: int) -> np.ndarray:
    run, _ = l2_run(seed)
    return (run.wall_at_m - np.nanmin(run.wall_at_m)) / float(np.ptp(run.wall_at_m[run.wall_counts]))


def test_a_drift_of_feed_or_gauge_is_told() -> None:
    run, _ = l1_run(7)
    along = (run.wall_at_m - np.nanmin(run.wall_at_m)) / float(np.ptp(run.wall_at_m[run.wall_counts]))
    thicker = output_of(replace(run, mean_mm=run.mean_mm * (1.0 + 0.05 * along)))
    assert thicker.drift_low_pct > 0.0
    assert said(thicker.told).endswith(
        "look at the feed, the screens and the screw, and at whether the wall gauge or the length counter "
        "has moved."
    )
    assert said(output_of(run).told).startswith("The specific output keeps")
    # A sure but small change is told without a call to look.
    small = output_of(
        replace(l2_run(2)[0], mean_mm=l2_run(2)[0].mean_mm * 0.0 + 1.465 * (1.0 + 0.01 * _along(2)))
    )
    assert small.drift_pct == pytest.approx(1.0, abs=0.2)
    assert said(small.told).endswith("less than the 2 % that call for a look.")


def test_a_run_with_another_balance_is_named() -> None:
    outputs = {f"R-{seed}": output_of(l2_run(seed)[0]) for seed in range(3)}
    assert gauge_check(outputs) == ()
    lying = replace(l2_run(1)[0], mean_mm=l2_run(1)[0].mean_mm * 1.05)
    told = gauge_check({**outputs, "R-9": output_of(lying)})
    assert len(told) == 1
    assert said(told[0]).startswith("Run R-9 has ")
    assert said(told[0]).endswith(
        "% more plastic on the wire per turn of the screw than usual: a gauge or the length counter may be "
        "wrong there, or the feed changed."
    )
    assert gauge_check({}) == ()


def test_what_is_missing_is_refused() -> None:
    run, _ = l2_run(0)
    no_screw = specific_output(replace(run, machine={}), 1.05)
    assert isinstance(no_screw, Refused)
    assert said(no_screw.reason) == "The log carries no screw speed; map 'screw_speed_rpm'."
    nothing = specific_output(replace(run, wall_counts=np.zeros_like(run.wall_counts)), 1.05)
    assert isinstance(nothing, Refused)
    assert said(nothing.reason) == "Less than 10 stretches of 50 m of steady wire were read."

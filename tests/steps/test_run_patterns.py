"""Periods through gaps, and the CUSUM's estimate of one change, as a run's patterns tell them."""

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import polars as pl
import pytest
from scipy import signal

from pipeline.quantity import Quantity
from pipeline.results import Refused, Result
from pipeline.statistics.change_points import ChangePoint, Changes, Shift
from pipeline.steps.bench import Bench
from pipeline.steps.evidence import Seen
from pipeline.steps.run_patterns import _by_cusum, _locked_to, _periods, _raw_drift
from tests.published.worked_cases import column
from tests.said import said


def with_wall(at: np.ndarray, value: np.ndarray, seconds: np.ndarray | None = None) -> tuple[Bench, Seen]:
    """A line without turning elements, and a mean wall read at these places, at 2 m/s or at the times given."""
    yes = np.ones(at.size, dtype=bool)
    placed = pl.DataFrame({"speed_m_s": np.full(at.size, 2.0), "front_m": at})
    placement = SimpleNamespace(readings=placed, seconds=at / 2.0 if seconds is None else seconds)
    bench = SimpleNamespace(line=SimpleNamespace(elements=()), placed=SimpleNamespace(placement=placement))
    seen = Seen(
        name="mean_wall_mm", unit="mm", instrument=cast(Any, None), row=np.arange(at.size), at_m=at, value=value,
        fit=yes, fit_for_statistics=yes, steady=yes, uncertainty=0.002, extent_m=0.1, hole_m=2.0,
        known=np.array([[0.0, 2400.0]]),
    )  # fmt: skip
    return cast(Any, bench), seen


def test_wire_with_gaps_is_looked_through_as_it_stands() -> None:
    """A swing of 7.3 m; a third of the wire is lost in pieces, so that no piece of the averaged spectrum is whole."""
    random = np.random.default_rng(3)
    at = np.arange(0.0, 1200.0, 1.0)
    at = at[(at % 30.0) < 20.0]
    wall = 0.4 + 0.003 * random.standard_normal(at.size) + 0.004 * np.sin(2 * np.pi * at / 7.3)
    bench, seen = with_wall(at, wall)
    plain, through = _periods(bench, seen, 0.0, 1200.0)
    assert isinstance(plain, Refused)
    assert said(plain.reason).endswith("pieces have no gap; use the spectrum for gappy readings.")
    assert isinstance(through, Result)
    assert through.question.key == (Quantity.PERIOD_THROUGH_GAPS, "mean_wall_mm")
    assert through.low < 7.3 < through.high
    bench, seen = with_wall(at, 0.4 + 0.003 * random.standard_normal(at.size))
    _, chance = _periods(bench, seen, 0.0, 1200.0)
    assert isinstance(chance, Refused)
    assert said(chance.reason).startswith("No period stands above the noise: the strongest, ")


def test_a_swing_that_is_found_and_not_named_is_not_denied() -> None:
    """A swing of 12 m whose step wanders: beyond chance, broad, and little of the variance beside a slow wander."""
    random = np.random.default_rng(8)
    at = np.arange(0.0, 4000.0, 0.5)
    wander = signal.lfilter([1.0], [1.0, -0.999], random.standard_normal(at.size))
    step = np.cumsum(0.15 * random.standard_normal(at.size))
    swing = np.sin(2 * np.pi * at / 12.0 + step)
    wall = 0.4 + 0.004 * wander / wander.std() + 0.0006 * swing + 0.0002 * random.standard_normal(at.size)
    bench, seen = with_wall(at, wall)
    (told,) = _periods(bench, seen, 0.0, 4000.0)
    assert isinstance(told, Refused)
    assert said(told.reason) == (
        "No period is named: what stands above the background is unsteady and holds under 2 % of the variance."
    )


def test_the_cusum_tells_of_the_nile() -> None:
    """Flow at Aswan 1871-1970: one change, after 1898 (Cobb, Biometrika 65 (1978), 243; case CPT-02), by -247.8.

    The means before and after, 1097.75 and 849.97 (10^8 m^3), are of the published series.
    """
    flow = column("CPT-02", "flow")
    assert (flow[:28].mean(), flow[28:].mean()) == (pytest.approx(1097.75), pytest.approx(849.97, abs=0.005))
    (told,) = _by_cusum(flow, 1871.0 + np.arange(flow.size), "units")
    assert said(told).startswith("The CUSUM's estimate of a single change: at 1899 m (")
    assert told.arguments["size"].value == pytest.approx(-247.78, abs=0.01)


def test_the_cusum_finds_nothing_in_chance_and_says_so() -> None:
    quiet = np.random.default_rng(1).standard_normal(100)
    (told,) = _by_cusum(quiet, np.arange(100.0), "mm")
    assert said(told).startswith("The CUSUM test for a single change finds none (p ")
    assert _by_cusum(np.full(100, 0.4), np.arange(100.0), "mm") == ()


@pytest.mark.parametrize("axis", ["the wire's length", "time"])
def test_a_change_of_speed_tells_what_a_swing_is_locked_to(axis: str) -> None:
    """A line that slows from 4 to 2 m/s, evenly or by steps; a swing of 8 m of wire, or of 2 s."""
    at = np.arange(0.0, 2400.0, 0.5)
    seconds = np.interp(at, [0.0, 1200.0, 1800.0, 2400.0], [0.0, 300.0, 500.0, 800.0])
    if axis == "the wire's length":
        seconds = 1200.0 * np.log(2400.0 / (2400.0 - 0.5 * at))  # speed 4 - at/1200 m/s, by hand
    turns = at / 8.0 if axis == "the wire's length" else seconds / 2.0
    random = np.random.default_rng(4)
    wall = 0.4 + 0.003 * random.standard_normal(at.size) + 0.004 * np.sin(2 * np.pi * turns)
    bench, seen = with_wall(at, wall, seconds)
    found = next(one for one in _periods(bench, seen, 0.0, 2400.0) if isinstance(one, Result))
    assert found.estimate == pytest.approx(8.0, abs=0.1)
    assert any(
        one.startswith(f"The period is locked to {axis}: its line holds ") for one in said(found.warnings)
    )
    bench, seen = with_wall(at, wall)
    steady = next(one for one in _periods(bench, seen, 0.0, 2400.0) if isinstance(one, Result))
    assert any("the line kept its speed" in one for one in said(steady.warnings))


def test_a_swing_finer_than_the_unbroken_wire_is_read_leaves_the_lock_untold() -> None:
    """Places 0.4 m apart at two speeds: a period of 0.65 m cannot be told there, which stops nothing."""
    at = 0.4 * np.arange(400)
    when = np.interp(np.arange(400), [0, 200, 399], [0.0, 40.0, 160.0])
    swing = np.sin(2 * np.pi * at / 0.65) + 0.1 * np.random.default_rng(4).standard_normal(400)
    assert _locked_to((at, when, swing), 0.65) == ()


def test_a_drift_along_the_run_has_an_interval_or_is_refused() -> None:
    """.004 mm a km over 2.4 km (invented) in noise; a straight line through a wall that only wanders is refused."""
    at = np.arange(0.0, 2400.0, 0.5)
    noise = np.random.default_rng(5).standard_normal(at.size)
    _, seen = with_wall(at, 0.4 + 4e-6 * at + 0.003 * noise)
    (found,) = _raw_drift(seen, 0.0, 2400.0)
    assert isinstance(found, Result)
    assert found.low < 0.004 < found.high and found.low > 0.003
    assert (*found.question.key, found.unit) == (Quantity.DRIFT, "mean_wall_mm", "mm/km")
    _, seen = with_wall(at, 0.4 + 1e-4 * np.cumsum(noise))
    (wandering,) = _raw_drift(seen, 0.0, 2400.0)
    assert isinstance(wandering, Refused)
    assert "See the change points." in said(wandering.reason)
    (short,) = _raw_drift(seen, 0.0, 600.0)
    assert isinstance(short, Refused)
    assert said(short.reason) == "12 averages over 50 m cannot carry a line; 20 are needed."


def test_a_change_whose_size_may_be_nothing_is_none() -> None:
    sizes = {"up": (0.002, 0.001, 0.003), "down": (-0.002, -0.003, -0.001), "nothing": (0.0013, -0.03, 0.032)}
    points = {
        name: ChangePoint(5, 250.0, 200.0, 300.0, (Shift(0.4, 0.4 + size, size, low, high),))
        for name, (size, low, high) in sizes.items()
    }
    found = Changes(tuple(points.values()), "", 0.95, 4.0, (0.01,), (0.01,), 40, ())
    assert found.shown == (points["up"], points["down"])

"""T^2, its limits, its split around the wire, and the multivariate EWMA."""

import math

import numpy as np
import pytest
from scipy import linalg, stats

from pipeline.errors import MethodRefusal
from pipeline.results import Chart, Refused
from pipeline.statistics.multivariate_charts import (
    WallBaseline,
    mewma_chart,
    t2_chart,
    t2_limit,
    t_squared,
    wall_baseline,
    wall_chart,
    wall_parts,
)
from pipeline.wording.say import plain
from tests.said import said


def test_limits_as_worked_out() -> None:
    # Worked out by a script apart: p 4, m 100, alpha .0027.
    assert t2_limit(4, 100, 0.0027, "I") == pytest.approx(15.265924231753601)
    assert t2_limit(4, 100, 0.0027, "II") == pytest.approx(18.241083825417864)
    assert t2_limit(4, 10**7, 0.0027, "II") == pytest.approx(16.251171152210564, rel=1e-5)


def test_false_alarms_of_both_phases_by_simulation() -> None:
    rng = np.random.default_rng(1)
    first = second = 0
    for _ in range(400):
        base = rng.normal(size=(30, 3))
        one = t2_chart(base, 0.05)
        new = t2_chart(rng.normal(size=(30, 3)), 0.05, base.mean(axis=0), np.cov(base.T), 30)
        assert isinstance(one, Chart)
        assert isinstance(new, Chart)
        first += len(one.signals)
        second += len(new.signals)
    assert first / 12_000 == pytest.approx(0.05, abs=0.006)
    assert second / 12_000 == pytest.approx(0.05, abs=0.008)


def test_t2_is_blind_to_a_change_of_units() -> None:
    rng = np.random.default_rng(2)
    x = rng.normal(size=(40, 3))
    mix = np.array([[1.0, 0.2, 0.0], [0.0, 25.4, 3.0], [0.5, 0.0, 0.01]])
    one, other = t2_chart(x, 0.01), t2_chart(x @ mix, 0.01)
    assert isinstance(one, Chart)
    assert isinstance(other, Chart)
    np.testing.assert_allclose(one.plotted, other.plotted)


@pytest.mark.parametrize("n", [3, 4, 5, 8])
def test_the_parts_around_the_wire_add_up_to_t2_exactly(n: int) -> None:
    # Independent: T^2 with the full circulant covariance against the sum of the orders.
    variances = [4.0, 2.0, 1.0, 0.7, 0.5][: n // 2 + 1]
    spectrum = [variances[min(k, n - k)] for k in range(n)]
    covariance = linalg.circulant(np.fft.ifft(spectrum).real)
    base = WallBaseline(np.full(n, 0.4), tuple(variances), 100)
    walls = 0.4 + np.random.default_rng(3).normal(size=(6, n))
    found = wall_parts(walls, base)
    total = np.sum(list(found.values()), axis=0)
    np.testing.assert_allclose(total, t_squared(walls, np.full(n, 0.4), covariance))
    assert list(found)[:2] == ["mean wall", "eccentricity"]


def test_worked_split_of_four_sensors() -> None:
    # Worked out apart: 27.183 = 0.100 + 27.083 + 0.000 -> eccentricity. By hand, N = 4: departures
    # (a + e, a, a - e, a) have F0 = 4a, F1 = 2e, F2 = 0: parts 4a^2/v0, 2e^2/v1, 0.
    base = WallBaseline(np.zeros(4), (10.0, 12.0, 5.0), 100)
    a, e = 0.5, math.sqrt(162.5)
    parts = {name: part[0] for name, part in wall_parts([[a + e, a, a - e, a]], base).items()}
    assert sum(parts.values()) == pytest.approx(27.183333333333334)
    assert parts == pytest.approx({"mean wall": 0.1, "eccentricity": 27.083333333333332, "ovality": 0.0})
    found = wall_chart([[a + e, a, a - e, a]], base, 0.0027)
    # Share of .0027 for three parts: 1 - .9973^(1/3); limit 2 x 101/100 F(2, 198) by scipy's own quantile.
    limit = 2.02 * stats.f.ppf(0.9973 ** (1 / 3), 2, 198)
    assert found.details["limit of eccentricity"] == pytest.approx(limit)
    assert found.plotted[0] == pytest.approx(27.083333333333332 / limit)
    assert [plain(one.rule) for one in found.signals] == [
        f"T² of eccentricity (27.1, limit {limit:.1f}) beyond its limit"
    ]


def test_limits_of_one_direction_are_those_of_single_values() -> None:
    base = WallBaseline(np.zeros(4), (10.0, 12.0, 5.0), 30)
    single = 1 - 0.99 ** (1 / 3)
    for phase in ("I", "II"):
        found = wall_chart(np.zeros((1, 4)), base, 0.01, phase)
        assert found.details["limit of mean wall"] == pytest.approx(t2_limit(1, 30, single, phase))


def test_false_alarms_of_the_parts_by_simulation() -> None:
    rng = np.random.default_rng(4)
    looking_back = alarms = 0
    for _ in range(300):
        first = rng.normal(0.4, 0.01, (40, 8))
        base = wall_baseline(first)
        assert isinstance(base, WallBaseline)
        looking_back += len(wall_chart(first, base, 0.02, "I").signals)
        alarms += len(wall_chart(rng.normal(0.4, 0.01, (50, 8)), base, 0.02).signals)
    assert looking_back / 12_000 == pytest.approx(0.02, abs=0.005)
    assert alarms / 15_000 == pytest.approx(0.02, abs=0.005)


def test_a_turn_of_the_eccentricity_is_named() -> None:
    rng = np.random.default_rng(5)
    base = wall_baseline(rng.normal(0.4, 0.004, (100, 8)))
    assert isinstance(base, WallBaseline)
    angle = 2 * np.pi * np.arange(8) / 8
    walls = np.vstack(
        [rng.normal(0.4, 0.004, 8), 0.4 + 0.02 * np.cos(angle - 1.0), np.full(8, 0.42), [np.nan] * 8]
    )
    found = wall_chart(walls, base, 1 / 5040)
    assert [(one.item, plain(one.rule).split(" (")[0]) for one in found.signals] == [
        (1, "T² of eccentricity"),
        (2, "T² of mean wall"),
    ]
    assert said(found.warnings) == ("1 of 4 items lack a value and are not judged.",)


def test_multivariate_ewma_by_hand_and_its_false_alarms() -> None:
    found = mewma_chart([[1.0, 0.0], [np.nan, 0.0], [1.0, 2.0]], [0, 0], np.eye(2), 0.5, 9.0, 200.0)
    z = np.array([0.75, 1.0])
    assert found.plotted[2] == pytest.approx((z**2).sum() * 3)
    rng = np.random.default_rng(6)
    # Limit 8.66 for p 2, r .1: ARL0 200 (Prabhu & Runger 1997).
    first = []
    for _ in range(500):
        chart = mewma_chart(rng.normal(size=(3000, 2)), [0, 0], np.eye(2), 0.1, 8.66, 200.0)
        first.append(chart.signals[0].item + 1 if chart.signals else 3000)
    assert np.mean(first) == pytest.approx(200, rel=0.13)


def test_what_cannot_set_limits_is_refused() -> None:
    few = t2_chart(np.ones((4, 3)), 0.01)
    assert isinstance(few, Refused)
    assert said(few.reason) == "4 vectors cannot set limits for 3 variables; at least 5 are needed."
    still = wall_baseline(np.full((20, 4), 0.4))
    assert isinstance(still, Refused)
    assert said(still.reason) == (
        "The sensors stand still or repeat one another in one order, so chance has no size; check them."
    )


def test_t2_of_one_variable_is_a_squared_z() -> None:
    assert t_squared([[3.0]], [1.0], [[4.0]])[0] == 1.0
    assert t2_limit(1, 10**7, 0.0027, "II") == pytest.approx(stats.norm.isf(0.00135) ** 2, rel=1e-5)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (
            lambda: t_squared([[1.0, 1.0]], [0, 0], [[1.0, 1.0], [1.0, 1.0]]),
            (
                "covariance: has no inverse: two variables move as one, or one stands still. Leave one of them "
                "out, or give more vectors."
            ),
        ),
        (
            lambda: t2_limit(4, 5, 0.01, "I"),
            "baseline: 5 vectors for 4 variables. Give at least 6 vectors.",
        ),
        (
            lambda: wall_chart([[1.0] * 4], WallBaseline(np.zeros(8), (1.0,) * 5, 50), 0.01),
            "walls_mm: 4 sensors stand against 8 of the baseline. Give the same.",
        ),
        (
            lambda: t2_chart([1.0, 2.0], 0.01),
            "vectors: is not a table of finite numbers. Give one row for each item.",
        ),
        (
            lambda: mewma_chart([[1.0]], [0], [[1.0]], 0.0, 9.0, 200.0),
            "weight: 0 was given. Give a share above 0 and up to 1.",
        ),
    ],
)
def test_bad_input_is_told(call: object, text: str) -> None:
    with pytest.raises(MethodRefusal) as caught:
        call()  # type: ignore[operator]
    assert str(caught.value) == text

"""When and by how much a level changed."""

import math

import numpy as np
import pytest
from scipy import linalg, signal, stats

from pipeline.errors import MethodRefusal
from pipeline.level_noise import PHI
from pipeline.results import Refused
from pipeline.statistics.change_points import (
    HELD,
    Changes,
    OneChange,
    find_changes,
    one_change,
)
from pipeline.statistics.run_sheet_notes import noted_nearby
from pipeline.statistics.segmentation import long_run_variance, pelt, place_quantile
from tests.said import said


def changes(*given: object, **named: object) -> Changes:
    answer = find_changes(*given, **named)  # type: ignore[arg-type]
    assert isinstance(answer, Changes)
    return answer


def ar1(phi: float, n: int, rng: np.random.Generator) -> np.ndarray:
    """Unit variance."""
    return signal.lfilter([1.0], [1.0, -phi], rng.normal(size=n + 300))[300:] * math.sqrt(1 - phi * phi)


def best_partition(x: np.ndarray, penalty: float, shortest: int) -> tuple[int, ...]:
    """Every start tried at every end: the same optimum without pruning."""
    n = len(x)
    best, last = [-penalty] + [math.inf] * n, [0] * (n + 1)
    for t in range(shortest, n + 1):
        for s in range(t - shortest + 1):
            if math.isinf(best[s]):
                continue
            value = best[s] + ((x[s:t] - x[s:t].mean()) ** 2).sum() + penalty
            if value < best[t] - 1e-12:
                best[t], last[t] = value, s
    found, t = [], n
    while last[t] > 0:
        t = last[t]
        found.append(t)
    return tuple(reversed(found))


def test_worked_example_as_worked_out() -> None:
    # Worked out by a script apart: penalty 2 (.01) ln 10 -> change at 5.
    x = [0, 0.1, -0.1, 0, 0.05, 3, 3.1, 2.9, 3.05, 3]
    assert pelt(x, 2 * 0.01 * math.log(10)) == (5,)


@pytest.mark.parametrize("shortest", [1, 2, 4])
def test_pruning_keeps_the_optimum(shortest: int) -> None:
    rng = np.random.default_rng(1)
    for trial in range(25):
        x = rng.normal(size=40) + np.repeat(rng.normal(0, 2, 4), 10)
        penalty = (0.5, 2.0, 6.0)[trial % 3]
        assert pelt(x, penalty, shortest) == best_partition(x, penalty, shortest)


def test_plain_variance_calls_changes_that_are_mere_memory() -> None:
    # Worked out by a script apart: phi .8, 400 points: 7.4 false changes with the plain variance, 0.0 with the long-run
    # one; white noise .08.
    rng = np.random.default_rng(2)
    naive = known = estimated = white = 0
    for _ in range(20):
        x = ar1(0.8, 400, rng)
        naive += len(pelt(x, 2 * math.log(400)))
        known += len(changes(x, long_run_sd=[3.0]).changes)
        estimated += len(changes(x).changes)
        white += len(changes(rng.normal(size=400)).changes)
    assert naive / 20 == pytest.approx(7.4, abs=1.2)
    assert known / 20 <= 0.05
    assert estimated / 20 < 0.5
    assert white / 20 <= 0.1


@pytest.mark.parametrize(("phi", "factor"), [(0.0, 1.0), (0.5, 3.0), (0.8, 9.0)])
def test_long_run_variance_is_not_moved_by_jumps(phi: float, factor: float) -> None:
    found = []
    for seed in range(10):
        x = ar1(phi, 6000, np.random.default_rng(seed))
        x[2000:4000] += 8.0
        found.append(long_run_variance(x))
    long_run, white = np.mean(found, axis=0)
    assert long_run == pytest.approx(factor, rel=0.25)
    assert white == pytest.approx(1.0, rel=0.1)


@pytest.mark.parametrize(("phi", "size"), [(0.0, 1.2), (0.6, 3.0)])
def test_place_and_size_within_their_intervals(phi: float, size: float) -> None:
    rng = np.random.default_rng(4)
    inside = np.zeros(3)
    for _ in range(70):
        x = ar1(phi, 300, rng)
        x[120:] += size
        found = changes(x).changes
        if not found:
            continue
        one = min(found, key=lambda c: abs(c.item - 120))
        inside += [one.low <= 120 <= one.high, one.shifts[0].low <= size <= one.shifts[0].high, 1]
    assert inside[2] >= 63
    assert (inside[:2] / inside[2] > 0.85).all()


def test_the_interval_of_a_size_weighs_every_correlation_by_its_restricted_likelihood() -> None:
    """Independent: the whole covariance matrix, scipy's normal density, and Student's t by scipy."""
    x = ar1(0.7, 90, np.random.default_rng(9))
    x[40:] += 6.0
    (found,) = changes(x).changes
    assert found.item == 40
    levels = np.column_stack([np.arange(90) < 40, np.arange(90) >= 40]).astype(float)
    contrast = np.linalg.pinv(levels)[1] - np.linalg.pinv(levels)[0]
    shares, errors = [], []
    for phi in PHI:
        v = linalg.toeplitz(phi ** np.arange(90.0))
        inverse = np.linalg.inv(v)
        away = x - levels @ np.linalg.solve(levels.T @ inverse @ levels, levels.T @ inverse @ x)
        variance = away @ inverse @ away / 88
        full = stats.multivariate_normal.logpdf(away, cov=variance * v)
        # Restricted likelihood: less what the two levels take (Patterson & Thompson 1971).
        shares.append(full - 0.5 * np.linalg.slogdet(levels.T @ inverse @ levels / variance)[1])
        errors.append(math.sqrt(variance * (contrast @ v @ contrast)))
    weight = np.exp(np.array(shares) - max(shares))
    shift = found.shifts[0]
    half = (shift.high - shift.low) / 2
    held = 2 * stats.t.cdf(half / np.array(errors), 88) - 1
    assert weight @ held / weight.sum() == pytest.approx(0.95, abs=1e-6)
    assert shift.size == pytest.approx(float(contrast @ x))


def test_quantiles_of_the_place() -> None:
    # Bai 1997: 7.7 for 90 %, 11.0 for 95 %.
    assert place_quantile(0.95) == pytest.approx(11.03, abs=0.005)
    assert place_quantile(0.90) == pytest.approx(7.69, abs=0.005)


def test_places_in_metres_and_items_without_a_value() -> None:
    rng = np.random.default_rng(7)
    x = np.append(rng.normal(0.40, 0.002, 60), rng.normal(0.42, 0.002, 60))
    x[10] = math.nan
    found = changes(x, at_m=np.arange(120) * 10.0)
    assert said(found.warnings) == ("1 item not used: no valid value.", said(HELD))
    assert [one.at for one in found.changes] == [600.0]
    assert found.changes[0].shifts[0].size == pytest.approx(0.02, abs=0.001)


def test_a_vector_shows_a_turn_that_its_length_hides() -> None:
    # An eccentricity of the same size that turns by 90 degrees: no change of its magnitude.
    rng = np.random.default_rng(6)
    angle = np.repeat([0.0, math.pi / 2], 80)
    vector = 0.03 * np.column_stack([np.cos(angle), np.sin(angle)]) + rng.normal(0, 0.004, (160, 2))
    assert [one.item for one in changes(vector).changes] == [80]
    assert len(changes(vector).changes[0].shifts) == 2
    assert changes(np.hypot(vector[:, 0], vector[:, 1])).changes == ()


def test_shift_and_scale_leave_the_places() -> None:
    x = np.random.default_rng(7).normal(size=200)
    x[90:] += 2.5
    one, other = changes(x), changes(0.4 + 0.01 * x)
    assert [c.item for c in one.changes] == [c.item for c in other.changes]
    assert other.changes[0].shifts[0].size == pytest.approx(0.01 * one.changes[0].shifts[0].size)


def test_one_change_and_its_false_alarms() -> None:
    rng = np.random.default_rng(8)
    calls = 0
    for _ in range(200):
        answer = one_change(rng.normal(size=200))
        assert isinstance(answer, OneChange)
        calls += answer.p_value < 0.05
    assert calls / 200 < 0.08
    x = rng.normal(size=200)
    x[60:] += 1.5
    answer = one_change(x)
    assert isinstance(answer, OneChange)
    assert answer.p_value < 1e-4
    assert abs(answer.change.item - 60) <= 6


def test_what_cannot_be_looked_at_is_refused() -> None:
    for answer, reason in (
        (find_changes([1.0] * 5), "5 items are too few to look for changes; 20 are needed."),
        (find_changes([0.4] * 50), "The values do not move; nothing changed."),
        (one_change([1.0]), "One value of 20 items at least is needed; 1 were given."),
        (one_change([1.0] * 40), "The values do not move; nothing changed."),
    ):
        assert isinstance(answer, Refused)
        assert said(answer.reason) == reason


def test_values_that_repeat_exactly_still_show_their_change() -> None:
    assert [one.item for one in changes([0.4] * 30 + [0.5] * 30).changes] == [30]


def test_what_the_run_sheet_notes_there() -> None:
    assert said(noted_nearby(590.0, 630.0, [605.0, 2000.0], ["New compound lot B2", "Shift change"])) == (
        "New compound lot B2 at 605.0 m, 5 m before the change.",
    )
    assert said(noted_nearby(590.0, 630.0, [100.0], ["Shift change"])) == (
        "The run sheet notes no change there.",
    )
    assert said(noted_nearby(590.0, 630.0, [640.0], ["Screen pack changed"], 20.0)) == (
        "Screen pack changed at 640.0 m, 30 m after the change.",
    )


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (
            lambda: find_changes([1.0, math.inf]),
            "values: is not a table of finite numbers. Give one row for each item.",
        ),
        (
            lambda: find_changes([1.0] * 30, at_m=[1.0]),
            "at_m: 1 places for 30 items. Give one for each item.",
        ),
        (
            lambda: find_changes([1.0, 2.0], at_m=[2.0, 1.0]),
            "at_m: runs backwards. Give items in the order of the wire.",
        ),
        (
            lambda: find_changes(np.arange(30.0) % 7, long_run_sd=[1.0, 2.0]),
            "long_run_sd: 2 for 1 values. Give one for each value.",
        ),
        (
            lambda: noted_nearby(5.0, 1.0, [], []),
            "high_m: 1 m is before 5 m. Give the ends in order.",
        ),
        (
            lambda: noted_nearby(1.0, 5.0, [2.0], []),
            "noted: 0 notes for 1 places. Give one for each.",
        ),
    ],
)
def test_bad_input_is_told(call: object, text: str) -> None:
    with pytest.raises(MethodRefusal) as caught:
        call()  # type: ignore[operator]
    assert str(caught.value) == text


@pytest.mark.parametrize("middle", [1, 2, 3, 4])
def test_no_level_is_made_up_between_two_real_ones(middle: int) -> None:
    """Levels 0 and 12 with a few items of 6 between (invented): every level told lies at one that was there."""
    random, apart = np.random.default_rng(5), 0
    for _ in range(30):
        x = random.standard_normal(120)
        x[60 : 60 + middle] += 6.0
        x[60 + middle :] += 12.0
        found = find_changes(x)
        assert isinstance(found, Changes)
        levels = [found.changes[0].shifts[0].before, *(one.shifts[0].after for one in found.changes)]
        assert max(min(abs(level - true) for true in (0.0, 6.0, 12.0)) for level in levels) < 2.0
        assert any(one.low <= 60 + middle and one.high >= 60 for one in found.changes)
        told = any(text.startswith(f"{found.apart} item") for text in said(found.warnings))
        assert told is (found.apart > 0)
        apart += found.apart > 0
    assert apart > 20


def test_items_are_counted_as_handed_in() -> None:
    x = np.random.default_rng(2).standard_normal(100)
    x[50:] += 8.0
    x[[3, 4, 20, 60]] = math.nan
    found = find_changes(x)
    assert isinstance(found, Changes)
    assert [one.item for one in found.changes] == [50]


@pytest.mark.parametrize(("phi", "n", "step"), [(0.6, 45, 4.0), (0.85, 120, 4.0)])
def test_a_step_is_found_and_a_mere_wander_is_not(phi: float, n: int, step: float) -> None:
    """First-order wanders of unit deviation; the penalty alone calls one in five of those without a step."""
    rng = np.random.default_rng(11)
    calls = {0.0: 0, step: 0}
    for size in calls:
        for _ in range(40):
            x = signal.lfilter([1.0], [1.0, -phi], rng.standard_normal(n + 200))[200:] * math.sqrt(1 - phi**2)
            x[n // 2 :] += size
            found = find_changes(x)
            calls[size] += isinstance(found, Changes) and bool(found.changes)
    assert calls[0.0] <= 3
    assert calls[step] >= 30

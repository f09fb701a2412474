"""Periods in records with gaps."""

import math

import numpy as np
import pytest
from scipy import signal

from pipeline.errors import MethodRefusal
from pipeline.results import Refused, Result
from pipeline.statistics import lomb_scargle
from pipeline.statistics.lomb_scargle import baluev_fap, gappy_period, prewhiten
from tests.said import said


def memory_noise(at: np.ndarray, memory: float, rng: np.random.Generator) -> np.ndarray:
    keep = np.exp(-np.diff(at) / memory)
    x = np.empty(at.size)
    x[0] = rng.normal()
    noise = rng.normal(size=at.size) * np.sqrt(np.append(1.0, 1 - keep**2))
    for i in range(1, at.size):
        x[i] = keep[i - 1] * x[i - 1] + noise[i]
    return x


def places(n: int, rng: np.random.Generator) -> np.ndarray:
    at = np.arange(n) * 1.0
    return at[rng.uniform(size=n) < 0.6]


def result(*given: object) -> Result:
    answer = gappy_period(*given)  # type: ignore[arg-type]
    assert isinstance(answer, Result)
    return answer


def test_false_alarm_probability_as_worked_out() -> None:
    # Worked out by a script apart: N 80 on 0..100, z .25, fmax .39: .00226 (Baluev 2008).
    assert baluev_fap(0.25, 80, 0.39, np.linspace(0, 100, 80)) == pytest.approx(0.0022616980932540364)
    assert baluev_fap(0.0, 80, 0.39, np.linspace(0, 100, 80)) == pytest.approx(1.0)
    assert baluev_fap(1.0, 80, 0.39, np.linspace(0, 100, 80)) == 0.0


def test_false_alarm_probability_of_white_noise_is_a_bound() -> None:
    # Worked out by a script apart: conservative (simulated .1 where .149 is told).
    rng = np.random.default_rng(1)
    at = np.sort(rng.uniform(0, 100, 60))
    omega = 2 * np.pi * np.linspace(0.01, 0.4, 400)
    fap = [
        baluev_fap(
            float(
                signal.lombscargle(at, rng.normal(size=60), omega, normalize=True, floating_mean=True).max()
            ),
            60,
            0.4,
            at,
        )
        for _ in range(200)
    ]
    assert np.mean(np.array(fap) < 0.1) <= 0.13
    assert np.mean(np.array(fap) < 0.1) >= 0.02


def test_prewhitening_keeps_false_alarms_where_white_levels_do_not() -> None:
    # Trap: memory of 3 m, readings 1 m apart with gaps, 5 % aimed at.
    rng = np.random.default_rng(2)
    ours = white = 0
    omega = 2 * np.pi * np.linspace(1 / 50, 1 / 2.2, 1000)
    for _ in range(24):
        at = places(300, rng)
        x = memory_noise(at, 3.0, rng)
        ours += result(at, x, 2.2, 50.0).details["p_value"] < 0.05
        z = float(signal.lombscargle(at, x, omega, normalize=True, floating_mean=True).max())
        white += baluev_fap(z, at.size, 1 / 2.2, at) < 0.05
    assert ours <= 4
    assert white >= 14


def test_memory_is_found() -> None:
    rng = np.random.default_rng(3)
    at = places(4000, rng)
    white = prewhiten(at, memory_noise(at, 5.0, rng))
    assert white.memory_m == pytest.approx(5.0, rel=0.2)
    assert abs(white.lag_one) < 0.05
    assert prewhiten(at, rng.normal(size=at.size)).memory_m < 0.5


def test_a_period_is_found_in_gappy_red_noise() -> None:
    rng = np.random.default_rng(4)
    at = places(1500, rng)
    x = memory_noise(at, 3.0, rng) + 0.6 * np.sin(2 * np.pi * at / 7.3)
    found = result(at, x, 2.2, 50.0)
    assert found.details["p_value"] < 1e-6
    assert abs(found.estimate - 7.3) < 4 * found.details["period_sd_m"]
    assert found.details["amplitude"] == pytest.approx(0.6, abs=0.15)
    assert said(found.warnings) == ()


def test_no_period_is_said_so() -> None:
    rng = np.random.default_rng(5)
    at = places(300, rng)
    found = result(at, rng.normal(size=at.size), 1.5, 50.0)
    assert said(found.warnings) == (
        (
            "Aliasing: readings are usually 1 m apart, so a period below 2 m may be an alias. See "
            "the alias table."
        ),
        "No period stands above the noise; the figures are those of the strongest chance swing.",
    )


@pytest.mark.parametrize(
    ("at", "x", "reason"),
    [
        (np.arange(5.0), np.arange(5.0), "5 readings are too few; 20 are needed."),
        (np.arange(100.0), np.full(100, 0.4), "The readings do not move; there is nothing to swing."),
        (np.arange(60.0), np.arange(60.0), "A period of 50 m needs two turns; the readings span 59 m."),
    ],
)
def test_what_cannot_be_looked_at_is_refused(at: np.ndarray, x: np.ndarray, reason: str) -> None:
    found = gappy_period(at, x, 2.0, 50.0)
    assert isinstance(found, Refused)
    assert said(found.reason) == reason


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (
            lambda: gappy_period([1.0, 1.0], [1.0, 1.0], 2.0, 5.0),
            "at_m: does not rise from each reading to the next. Give each place once, in order.",
        ),
        (
            lambda: gappy_period([1.0, 2.0], [1.0, 1.0], 5.0, 2.0),
            "longest_m: 2 m is not above 5 m. Give a longer length.",
        ),
        (
            lambda: baluev_fap(1.5, 80, 0.4, [0.0, 1.0]),
            "power: 1.5 was given. Give the standard power, 0 to 1.",
        ),
        (
            lambda: gappy_period([1.0, 2.0], [1.0, math.inf], 2.0, 5.0),
            (
                "values: 1 of 2 values are infinite. Give finite numbers; leave a value that is not known as "
                "not-a-number."
            ),
        ),
    ],
)
def test_bad_input_is_told(call: object, text: str) -> None:
    with pytest.raises(MethodRefusal) as caught:
        call()  # type: ignore[operator]
    assert str(caught.value) == text


def test_a_last_part_of_one_frequency_is_an_array_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """A million readings and frequencies are worked at once; what is left over may be a single frequency."""
    at = np.arange(50.0)
    x, grid = np.sin(at), np.linspace(0.1, 0.3, 11)
    whole = lomb_scargle._power(at, x, grid)
    monkeypatch.setattr(lomb_scargle, "_TABLE", 5 * at.size)
    assert lomb_scargle._power(at, x, grid).tolist() == pytest.approx(whole.tolist())

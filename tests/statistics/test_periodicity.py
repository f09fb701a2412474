"""Periods along the wire against a red background."""

import math
from unittest import mock

import numpy as np
import pytest
from scipy import signal, stats

from pipeline import fourier_sums
from pipeline.errors import MethodRefusal
from pipeline.results import Refused
from pipeline.statistics.periodicity import (
    Periods,
    Spectrum,
    find_periods,
    fit_sinusoid,
    spectrum,
)
from pipeline.statistics.uniform_length import on_uniform_length
from tests.said import said


def red(phi: float, n: int, rng: np.random.Generator) -> np.ndarray:
    return signal.lfilter([1.0], [1.0, -phi], rng.normal(size=n + 300))[300:]


def periods(*given: object, **named: object) -> Periods:
    answer = find_periods(*given, **named)  # type: ignore[arg-type]
    assert isinstance(answer, Periods)
    return answer


def spectrum_of(*given: object) -> Spectrum:
    answer = spectrum(*given)  # type: ignore[arg-type]
    assert isinstance(answer, Spectrum)
    return answer


def test_the_averaged_spectrum_is_welchs() -> None:
    x = red(0.5, 3000, np.random.default_rng(1))
    found = spectrum_of(x, 0.5, 11)
    f, p = signal.welch(x, 2.0, "hann", nperseg=500, detrend="linear")
    np.testing.assert_allclose(found.frequency, f[2:-3])
    np.testing.assert_allclose(found.power, p[2:-3], rtol=1e-9)


def test_white_background_calls_periods_on_red_noise_every_time() -> None:
    # Trap "white-noise false-alarm levels": worked out by a script apart: AR(.7), nominal 5 %: 100 % against a white
    # background, 4.3 % against a red one.
    rng = np.random.default_rng(2)
    white = ours = 0
    for _ in range(100):
        found = spectrum_of(red(0.7, 1500, rng), 1.0)
        k, bins = found.averages, found.power.size
        per_bin = 1 - 0.95 ** (1 / bins)
        naive = stats.chi2.sf(2 * k * found.power / found.power.mean(), 2 * k)
        white += naive.min() < per_bin
        ours += found.p_value.min() < per_bin
    assert white == 100
    assert ours <= 11


@pytest.mark.parametrize("kind", ["white", "red", "very red", "wandering and white"])
def test_false_alarms_on_several_backgrounds(kind: str) -> None:
    # 5 % aimed at over all bins; 80 records each, so up to 11 (99.8 %) may be called.
    rng = np.random.default_rng(3)
    called = 0
    for _ in range(80):
        if kind == "wandering and white":
            x = 0.1 * np.cumsum(rng.normal(size=3000)) + rng.normal(size=3000)
        else:
            x = red({"white": 0.0, "red": 0.7, "very red": 0.97}[kind], 3000, rng)
        found = spectrum_of(x, 1.0)
        called += found.p_value.min() < 1 - 0.95 ** (1 / found.power.size)
    assert called <= 11


def test_threshold_of_sixteen_averages() -> None:
    # Worked out by a script apart: per-bin 1e-4, K 16: 2.205.
    assert stats.chi2.isf(1e-4, 32) / 32 == pytest.approx(2.2053514867294526)


def test_a_capstan_and_its_half_turn_are_found_with_intervals() -> None:
    rng = np.random.default_rng(4)
    s = np.arange(6000) * 0.25
    x = 0.004 * red(0.9, 6000, rng) + 0.003 * np.sin(2 * np.pi * s / 1.885 + 1)
    x = x + 0.002 * np.sin(2 * np.pi * s / 0.9425)
    found = periods(x, 0.25)
    assert sorted(round(one.estimate, 3) for one in found.found) == [0.943, 1.885]
    for one in found.found:
        truth = 1.885 / one.details["harmonic"]
        assert one.details["comb"] == 1.0
        assert abs(one.estimate - truth) < 4 * one.details["period_sd_m"]
        amplitude = 0.003 if one.details["harmonic"] == 1 else 0.002
        assert one.details["amplitude_low"] < amplitude * 1.05
        assert one.details["amplitude_high"] > amplitude * 0.95
        assert one.details["coherence"] > 0.9
        assert said(one.warnings) == ()
    assert said(found.verdict).startswith("2 periods stand above the background: 0.94")
    assert "harmonic 2" in said(found.verdict)


def test_a_hunting_control_is_not_taken_for_a_turning_element() -> None:
    rng = np.random.default_rng(6)
    # A swing whose phase wanders: period 20, correlation over about ten turns.
    phase = 2 * np.pi * np.arange(6000) / 20 + np.cumsum(rng.normal(0, 0.15, 6000))
    found = periods(np.sin(phase) + 0.3 * rng.normal(size=6000), 1.0)
    assert found.found
    assert found.found[0].details["coherence"] < 0.7
    assert said(found.found[0].warnings)[0].startswith("The period does not hold along the length")


def test_sinusoid_uncertainty_as_worked_out() -> None:
    # Worked out by a script apart: L 1500, A 3, s 6 um, N 1500: sd of the frequency 2.68e-5, of 1.885 m .095 mm.
    rng = np.random.default_rng(7)
    s = np.arange(1500) * 1500 / 1499
    error = []
    for _ in range(120):
        fit = fit_sinusoid(s, 3 * np.sin(2 * np.pi * 0.3 * s + 1) + rng.normal(0, 6, 1500), 0.298, 0.302)
        error.append(fit.frequency - 0.3)
    assert np.std(error) == pytest.approx(2.684e-5, rel=0.25)
    at_capstan = 2.6842246455726414e-05 * 1.8849555921538759**2
    assert at_capstan == pytest.approx(9.5377e-05, rel=1e-4)


def test_an_exact_sine_is_fitted_exactly() -> None:
    s = np.sort(np.random.default_rng(8).uniform(0, 100, 60))
    fit = fit_sinusoid(s, 5 + 2 * np.sin(2 * np.pi * 0.31 * s + 0.7), 0.28, 0.34)
    assert (fit.level, fit.amplitude, fit.frequency) == pytest.approx((5.0, 2.0, 0.31), abs=1e-6)
    assert fit.phase == pytest.approx(0.7, abs=1e-4)


def test_gaps_are_left_out_and_told() -> None:
    rng = np.random.default_rng(9)
    x = rng.normal(size=4000)
    x[1000:1010] = math.nan
    found = periods(x, 0.5)
    assert found.spectrum.left_out_m == 5.0
    assert said(found.warnings) == (
        (
            "Aliasing: periods below 1 m appear at another length, because readings are 0.5 m "
            "apart. See the alias table."
        ),
        "5 m without a reading not used.",
    )
    assert said(found.verdict) == "No period stands above the background."


def test_what_cannot_be_looked_at_is_refused() -> None:
    few = find_periods(np.arange(50.0), 1.0)
    assert isinstance(few, Refused)
    assert said(few.reason) == "50 readings are too few for 16 pieces; 272 are needed."
    flat = find_periods(np.full(2000, 0.4), 1.0)
    assert isinstance(flat, Refused)
    assert said(flat.reason) == "The readings do not move; there is nothing to swing."
    holes = np.random.default_rng(1).normal(size=2000)
    holes[::50] = math.nan
    gappy = find_periods(holes, 1.0)
    assert isinstance(gappy, Refused)
    assert said(gappy.reason) == "Only 0 of 16 pieces have no gap; use the spectrum for gappy readings."


def test_equal_steps_along_the_wire() -> None:
    at = [0.0, 1.0, 2.0, 6.0, 7.0]
    even = on_uniform_length(at, [0.0, 1.0, 2.0, 6.0, math.nan], 1.0)
    np.testing.assert_allclose(even, [0.0, 1.0, 2.0, math.nan, math.nan, math.nan, 6.0])
    fine = on_uniform_length([0.0, 1.0, 2.0], [0.0, 2.0, 4.0], 0.5)
    np.testing.assert_allclose(fine, [0.0, 1.0, 2.0, 3.0, 4.0])
    assert on_uniform_length([3.0], [1.0], 1.0).tolist() == [1.0]


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: find_periods([1.0] * 900, 0.0), "step_m: 0 m was given. Give a finite number above 0."),
        (
            lambda: find_periods([1.0] * 900, 1.0, 5.0),
            "level: 5 was given. Give a share between 0 and 1, such as 0.95 for 95 %.",
        ),
        (
            lambda: on_uniform_length([1.0, 0.0], [1.0, 1.0], 1.0),
            "at_m: runs backwards. Give readings in the order of the wire.",
        ),
        (
            lambda: on_uniform_length([1.0], [1.0, 1.0], 1.0),
            "at_m: 1 places for 2 values. Give one for each.",
        ),
        (
            lambda: fit_sinusoid([1.0, 2.0], [1.0, 2.0], 0.1, 0.2),
            "values: 2 readings over 1 m fit no sinusoid. Give at least 5 places.",
        ),
    ],
)
def test_bad_input_is_told(call: object, text: str) -> None:
    with pytest.raises(MethodRefusal) as caught:
        call()  # type: ignore[operator]
    assert str(caught.value) == text


def test_a_sinusoid_is_found_beside_missing_places_of_an_even_grid() -> None:
    """The short way over an even grid with holes gives the plain Fourier sum (its definition)."""
    rng = np.random.default_rng(3)
    at = np.delete(np.arange(2000) * 0.37, rng.choice(2000, 150, replace=False)) - 311.0
    x = np.sin(2 * np.pi * 0.3 * at) + rng.normal(0, 1, at.size)
    grid = np.linspace(0.29, 0.31, 200)
    plain = np.array([abs(np.exp(-2j * np.pi * f * at) @ x) for f in grid])
    np.testing.assert_allclose(fourier_sums.strength(at, x, grid), plain, rtol=1e-8)


def test_a_long_even_series_is_known_to_be_even() -> None:
    """400,000 places 1.33 m apart about their middle: rounding must not make them a series without a grid."""
    at = np.arange(400_000) * 1.33
    at -= at.mean()
    x = np.sin(2 * np.pi * at / 7.3)
    with mock.patch.object(fourier_sums.signal, "zoom_fft", wraps=fourier_sums.signal.zoom_fft) as quick:
        found = fourier_sums.strength(at, x, np.array([0.9 / 7.3, 1.0 / 7.3, 1.1 / 7.3]))
    assert quick.called
    assert found[1] == pytest.approx(200_000, rel=1e-3)


@pytest.mark.parametrize("rows", [40, 3000, 60_000])
def test_sums_by_blocks_are_the_plain_sums(rows: int) -> None:
    """Their definition: sums over every reading, and the squares left by a least-squares fit of NumPy's."""
    rng = np.random.default_rng(rows)
    at = np.sort(rng.uniform(-900.0, 900.0, rows))
    at = at[(at < 100.0) | (at > 180.0)]
    x = 3.0 + np.sin(2 * np.pi * 0.21 * at + 1.0) + rng.normal(0, 1, at.size)
    low, high = 0.2, 0.22
    near = fourier_sums.NearSums(at, x, low, high)
    grid = np.linspace(low, high, 7)
    plain = np.array([np.exp(-2j * np.pi * f * at) @ x for f in grid])
    np.testing.assert_allclose(near.weighed(grid), plain, atol=1e-10 * float(np.abs(x).sum()))
    for f in grid:
        columns = np.stack([np.ones(at.size), np.sin(2 * np.pi * f * at), np.cos(2 * np.pi * f * at)], axis=1)
        left = np.linalg.lstsq(columns, x, rcond=None)[1][0]
        assert near.left(f) == pytest.approx(left, rel=1e-9)

"""Block length and block bootstrap."""

import math

import numpy as np
import pytest
from scipy.signal import lfilter

from pipeline.errors import MethodRefusal
from pipeline.quantity import Quantity, asks
from pipeline.results import Refused, Result
from pipeline.statistics.bootstrap import (
    HELD,
    BlockLength,
    block_length,
    bootstrap_interval,
    redraw,
)
from tests.said import said


def autoregression(phi: float, n: int, series: int, seed: int) -> np.ndarray:
    noise = np.random.default_rng(seed).standard_normal((series, n + 600))
    return lfilter([np.sqrt(1.0 - phi**2)], [1.0, -phi], noise, axis=1)[:, 600:]


def mean_of_rows(rows: np.ndarray) -> np.ndarray:
    return rows.mean(axis=1)


def closed_form(phi: float, readings: int) -> tuple[float, float]:
    """Circular and stationary block length of a first-order autoregression, from g/S = 2 phi/(1 - phi^2)."""
    square = (2.0 * phi / (1.0 - phi**2)) ** 2 * readings
    return (1.5 * square) ** (1 / 3), square ** (1 / 3)


def quantile_index(rows: np.ndarray) -> np.ndarray:
    """(X50 - 0)/(X50 - X0.135) of each row from its own quantiles."""
    low, median = np.quantile(rows, [0.00135, 0.5], axis=1)
    return median / (median - low)


def test_closed_form_for_autoregressions() -> None:
    # By hand: g = 2 phi s2/((1-phi)^2 ...), S = s2 (1+phi)/(1-phi); g/S = 2 phi/(1 - phi^2).
    lags = np.arange(-4000, 4001)
    covariance = 0.9 ** np.abs(lags)
    ratio = np.sum(np.abs(lags) * covariance) / np.sum(covariance)
    assert ratio == pytest.approx(2 * 0.9 / (1 - 0.81), rel=1e-9)
    circular, stationary = closed_form(0.9, 10_000)
    assert circular == pytest.approx((1.5 * ratio**2 * 1e4) ** (1 / 3), rel=1e-9)
    assert (round(circular, 1), round(stationary, 1)) == (110.4, 96.5)
    assert round(closed_form(0.5, 1000)[0], 1) == 13.9


def test_automatic_length_finds_the_closed_form() -> None:
    found = [block_length(row) for row in autoregression(0.9, 10_000, 60, 1)]
    assert np.median([one.circular for one in found]) == pytest.approx(110.4, rel=0.12)
    assert np.median([one.stationary for one in found]) == pytest.approx(96.5, rel=0.12)
    white = [block_length(row).circular for row in autoregression(0.0, 5000, 40, 2)]
    assert np.median(white) < 8.0


def test_circular_redraw_keeps_neighbours_and_uses_all_readings_alike() -> None:
    rows = redraw(97, 10, 4000, 5)
    assert rows.shape == (4000, 97)
    steps = (np.diff(rows, axis=1) % 97 == 1).mean()
    assert steps == pytest.approx(87 / 96 + 9 / 96 / 97, abs=0.002)
    share = np.bincount(rows.ravel(), minlength=97) / rows.size
    assert share == pytest.approx(np.full(97, 1 / 97), rel=0.05)
    assert (rows == redraw(97, 10, 4000, 5)).all()


def test_stationary_redraw_has_geometric_blocks() -> None:
    rows = redraw(500, 20, 400, 6, stationary=True)
    assert (np.diff(rows, axis=1) % 500 == 1).mean() == pytest.approx(1 - 1 / 20 + 1 / 20 / 500, abs=0.002)
    assert rows.min() >= 0 and rows.max() < 500


def test_single_readings_when_the_block_is_one() -> None:
    rows = redraw(50, 1, 2000, 7)
    assert (np.diff(rows, axis=1) % 50 == 1).mean() == pytest.approx(1 / 50, abs=0.002)


def test_error_of_a_quantile_index_blocked_and_unblocked() -> None:
    """Lag-1 correlation .9, 10,000 readings, true index 1.5: .086 in truth; blocks find it, single readings half.

    The truth is the spread of the index over 400 independent series of the same process.
    """
    rows = autoregression(0.9, 10_000, 400, 8) + 4.5
    truth = quantile_index(rows).std(ddof=1)
    blocked, single = [], []
    for row in rows[:8]:
        for length, kept in ((None, blocked), (1.0, single)):
            found = bootstrap_interval(
                row,
                quantile_index,
                question=asks(Quantity.REDRAWN_INDEX),
                unit="",
                block=length,
                repetitions=300,
            )
            assert isinstance(found, Result)
            kept.append(found.details["standard_error"])
    assert truth == pytest.approx(0.086, abs=0.012)
    assert np.mean(blocked) == pytest.approx(truth, rel=0.25)
    assert np.mean(single) < 0.6 * truth


def test_blocks_are_widened_for_what_they_lose_at_their_ends() -> None:
    """Lag-one .95, blocks of 120 of 3,000: g/S = 2 phi/(1 - phi^2) = 19.487; t of 24 at .975 = 2.0639 (tables)."""
    exact = BlockLength(120.0, 105.0, 2 * 0.95 / (1 - 0.95**2))
    by_hand = 2.0639 / 1.95996 / math.sqrt((1 - 19.487 / 120) * (1 - 120 / 3000))
    assert exact.widening(3000, 120.0, 0.975) == pytest.approx(by_hand, rel=1e-4)
    # The variance of a mean over such blocks falls short by just that share: sum (1 - |k|/l) rho_k over sum rho_k.
    lags = np.arange(-119, 120)
    kept = np.sum((1 - np.abs(lags) / 120) * 0.95 ** np.abs(lags)) / ((1 + 0.95) / (1 - 0.95))
    assert kept == pytest.approx(1 - 19.487 / 120, abs=1e-3)
    found = np.median([block_length(row).cut_off for row in autoregression(0.95, 40_000, 10, 4)])
    assert found == pytest.approx(19.5, rel=0.15)


def test_unknown_values_are_told() -> None:
    row = autoregression(0.5, 500, 1, 3)[0]
    row[:3] = np.nan
    found = bootstrap_interval(
        row,
        mean_of_rows,
        question=asks(Quantity.MEAN_WALL),
        unit="mm",
    )
    assert isinstance(found, Result)
    assert found.n == 497
    assert said(found.warnings) == ("3 values not used: no valid value.", said(HELD))


@pytest.mark.parametrize(
    ("values", "reason"),
    [
        (
            [1.0] * 50,
            "At least 20 finite values that differ are needed; gather more or flag the faulty ones.",
        ),
        ([1.0], "At least 20 finite values that differ are needed; gather more or flag the faulty ones."),
        (
            [1.0, 2.0, math.inf] * 20,
            "At least 20 finite values that differ are needed; gather more or flag the faulty ones.",
        ),
        (
            np.linspace(0.0, 1.0, 60),
            "Blocks of 12 readings leave 5.0 of them, ten are needed; take a longer piece.",
        ),
    ],
)
def test_refusals_in_full(values: list[float], reason: str) -> None:
    found = bootstrap_interval(values, mean_of_rows, question=asks(Quantity.MEAN_WALL), unit="mm")
    assert isinstance(found, Refused)
    assert said(found.reason) == reason


def test_a_figure_that_fails_on_redrawn_series_is_refused() -> None:
    found = bootstrap_interval(
        np.random.default_rng(0).standard_normal(100),
        lambda rows: np.full(rows.shape[0], np.nan),
        question=asks(Quantity.MEAN_WALL),
        unit="mm",
    )
    assert isinstance(found, Refused)
    assert said(found.reason) == "The figure cannot be computed on the redrawn series; ask for a simpler one."


def test_complaint_in_full() -> None:
    with pytest.raises(MethodRefusal) as told:
        block_length([1.0, np.nan] * 20)
    assert str(told.value) == (
        "block_length: values: 20 of 40 readings are not finite. Give finite readings that vary, leaving "
        "out the flagged ones."
    )

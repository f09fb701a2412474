"""Gauge studies: components recovered, pooling, refusals, one-sided margin."""

import numpy as np
import pytest
import statsmodels.api as sm
from statsmodels.formula.api import ols

from pipeline.results import Refused
from pipeline.trust.gauge_study import average_and_range_study, crossed_gauge_study
from tests.said import said


def cube(seed, parts=10, operators=3, trials=3, part=10.0, operator=1.0, cross=0.0, repeat=0.8):
    rng = np.random.default_rng(seed)
    return (
        100
        + part * rng.standard_normal((parts, 1, 1))
        + operator * rng.standard_normal((1, operators, 1))
        + cross * rng.standard_normal((parts, operators, 1))
        + repeat * rng.standard_normal((parts, operators, trials))
    )


def test_sums_of_squares_against_a_general_library() -> None:
    """Against statsmodels' analysis of variance of the same data."""
    import pandas as pd

    y = cube(3, parts=5, operators=2, trials=2, cross=1.5)
    p, o, _ = np.meshgrid(*(np.arange(n) for n in y.shape), indexing="ij")
    table = sm.stats.anova_lm(
        ols("y ~ C(p) * C(o)", pd.DataFrame({"y": y.ravel(), "p": p.ravel(), "o": o.ravel()})).fit()
    )
    study = crossed_gauge_study(y)
    assert not isinstance(study, Refused)
    rows = {one.name: one for one in study.rows}
    assert rows["parts"].ss == pytest.approx(table.loc["C(p)", "sum_sq"])
    assert rows["operators"].ss == pytest.approx(table.loc["C(o)", "sum_sq"])
    assert rows["parts x operators"].ss == pytest.approx(table.loc["C(p):C(o)", "sum_sq"])
    assert rows["parts x operators"].p == pytest.approx(table.loc["C(p):C(o)", "PR(>F)"])


def test_components_by_hand() -> None:
    """By hand, 5 parts, 2 operators, 2 trials: MS 378.55, 11.25, 0.25, 0.65 give 0.65, 1.10, 0 (clipped), 94.575."""
    study = crossed_gauge_study(_with_mean_squares(378.55, 11.25, 0.25, 0.65), pool_above_p=1.0)
    assert not isinstance(study, Refused)
    ms = {one.name: one.ms for one in study.rows}
    assert (ms["parts"], ms["operators"], ms["parts x operators"], ms["repeats"]) == pytest.approx(
        (378.55, 11.25, 0.25, 0.65)
    )
    assert study.repeatability**2 == pytest.approx(0.65)
    assert study.reproducibility**2 == pytest.approx(1.10)
    assert study.parts**2 == pytest.approx(94.575)
    assert study.gauge == pytest.approx(1.3229, abs=5e-5)
    assert study.categories == 10


def _with_mean_squares(part: float, operator: float, cross: float, repeat: float) -> np.ndarray:
    """Readings made so that their mean squares are exactly these (orthogonal contrasts)."""
    p, o, n = 5, 2, 2
    a = np.array([2.0, -1, -1, 1, -1])
    a *= np.sqrt(part * (p - 1) / (o * n) / (a @ a))
    b = np.array([1.0, -1]) * np.sqrt(operator * (o - 1) / (p * n) / 2)
    c = np.array([1.0, -1, 0, 0, 0])
    c *= np.sqrt(cross * (p - 1) * (o - 1) / n / (c @ c) / 2)
    e = np.zeros((p, o, n))
    e[0, 0] = np.array([1.0, -1]) * np.sqrt(repeat * p * o * (n - 1) / 2)
    return a[:, None, None] + b[None, :, None] + (c[:, None] * np.array([1.0, -1]))[:, :, None] + e


def test_the_interval_of_the_gauge_holds_the_truth() -> None:
    """200 studies: repeat 0.8, operator 1.0, so 1.281; 95 % asked."""
    inside = 0
    for seed in range(200):
        study = crossed_gauge_study(cube(seed))
        assert not isinstance(study, Refused)
        inside += study.gauge_low <= np.hypot(0.8, 1.0) <= study.gauge_high
    assert 184 <= inside <= 197


def test_a_true_interaction_is_kept() -> None:
    study = crossed_gauge_study(cube(1, cross=5.0))
    assert not isinstance(study, Refused)
    assert not study.pooled
    assert study.rows[-1].name == "total"


def test_identical_readings_and_a_perfect_gauge() -> None:
    study = crossed_gauge_study(np.full((5, 2, 2), 3.0))
    assert not isinstance(study, Refused)
    assert study.gauge == 0.0
    assert np.isnan(study.gauge_pct)
    perfect = crossed_gauge_study(np.repeat(np.repeat(np.arange(5.0)[:, None, None], 2, 1), 2, 2))
    assert not isinstance(perfect, Refused)
    assert (perfect.gauge, perfect.gauge_pct, perfect.categories) == (0.0, 0.0, 0)


def test_a_one_sided_limit_takes_the_margin() -> None:
    """By hand: a gauge of 4 um against 0.38 mm over a limit of 0.33 mm is 8 % of the margin."""
    study = crossed_gauge_study(cube(2))
    assert not isinstance(study, Refused)
    assert study.share_of_margin_pct(0.38, 0.33) == pytest.approx(100 * study.gauge / 0.05)
    assert study.share_of_margin_pct(0.33, 0.33) == float("inf")


def test_incomplete_and_uncrossed_studies_are_refused() -> None:
    flat = crossed_gauge_study(np.zeros((5, 1, 2)))
    assert isinstance(flat, Refused)
    assert said(flat.reason) == (
        "A crossed study needs two parts, two operators and two trials or more, each operator on each part."
    )
    holed = cube(1)
    holed[0, 0, 0] = np.nan
    missing = crossed_gauge_study(holed)
    assert isinstance(missing, Refused)
    assert said(missing.reason) == (
        "A reading is missing: a crossed study needs every operator's every trial on every part."
    )
    many = average_and_range_study(np.zeros((12, 3, 3)))
    assert isinstance(many, Refused)
    assert said(many.reason) == (
        "The constants on file are for 2 or 3 trials, 2 or 3 operators and 2 to 10 parts; use the analysis of "
        "variance."
    )
